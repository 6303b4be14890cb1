//! `batch`: the sheet, the table written, what is refused.

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, run, run_in};

/// The demonstration mould.
const TRAY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/moulds/fern-tray.toml");

const LOTS: &str = "\
[lot.spring-scent]
like = 'isopropyl myristate'
name = 'Spring scent'
inci = 'Parfum'
density_g_ml = 0.92
limit_percent = 1.5
price_per_kg = 160
allergens = { Linalool = 8.2, Limonene = 3.1, Coumarin = 0.04 }
[lot.my-wax]
like = 'beeswax'
price_per_kg = 19
[lot.my-oil]
like = 'sunflower oil'
price_per_kg = 5
['lot'.'=cmd']
like = 'mango butter'
price_per_kg = 14
";

fn batch(more: &[&str]) -> Run {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("lots.toml"), LOTS).unwrap();
    let formula = "[parts]\nmy-wax = 26\n'=cmd' = 32\nmy-oil = 42\n";
    std::fs::write(folder.path().join("bar.toml"), formula).unwrap();
    let arguments = [&["batch", "bar.toml", "--lots", "lots.toml"], more].concat();
    let mut done = run_in(folder.path(), &arguments, b"");
    if let Ok(written) = std::fs::read_to_string(folder.path().join("sheet.csv")) {
        done.stderr.push_str(&written);
    }
    done
}

#[test]
fn a_scented_and_coloured_batch_in_full() {
    let more = [
        "--mould",
        TRAY,
        "--fillings",
        "2",
        "--scent",
        "spring-scent=10ml",
        "--pigment",
        "CI 77491=2g@0.9",
        "--pigment",
        "green mica=1/4 tsp@0.35g/ml#2",
        "--split",
        "2",
        "--number",
        "F-0007",
        "--labour",
        "20",
        "--packaging",
        "0.3",
        "--out",
        "sheet.csv",
    ];
    assert_snapshot!(batch(&more).shown(), @"
    exit 0
    stdout:
    Bar

    Batch F-0007; Date ________; Made by ________
    12 bars of 57 g in the fern tray: weigh 726 g, of which 5 % may stay in the jug.

    Weigh, in the order of melting
            ingredient         %   weigh, g   scale shows, g
     ────────────────────────────────────────────────────────
      [ ]   my-wax         25.67        186              186
      [ ]   =cmd           31.59        230              416
      [ ]   my-oil         41.47        301              717
      [ ]   Spring scent    1.27          9              726
      The scale is right within ±0.5 g, half its last digit; the % are the recipe's, before
        rounding to it.
      That is coarse for spring scent and CI 77491: weigh such small amounts on a finer
        scale.

    Jugs and colour
            jug    melt   colour            by mass   by spoon
     ────────────────────────────────────────────────────────────────────────────────────────
      [ ]   1     363 g   CI 77491              1 g   0.22 level tsp of 5 ml, 0.9 g/ml loose
      [ ]   2     363 g   CI 77491              1 g   0.22 level tsp of 5 ml, 0.9 g/ml loose
      [ ]   2             green mica   about 0.44 g   1/4 level tsp of 5 ml, 0.35 g/ml loose
      Colour comes on top of the melt: rub it into a little of the batch's warm oil first.
        It can stain mould, skin and cloth: test it. Powder can be inhaled: raise no dust.
      A spoon is only as accurate as its density: level it, do not press. Where your scale
        can weigh it, weigh it.

    Melt and pour
      my-wax first, the hardest: it melts up to 65 °C. Then the rest, in the order of the
        sheet.
      Melt 726 g to 72 °C, then pour at 67 °C.
      All is dissolved at 61 °C (58 to 66); as it cools, the first haze comes at 61 °C (58
        to 66).
      No hotter than 90 °C: what a water bath gives, and butters and oils keep well below
        it.
      A jug of 363 g, taken off at 72 °C, pours well for 7 min (4 to 11).
      The scent goes in last. Its lot states no `flash_c`: look up in its certificate how
        hot the melt may be.

    Cool and unmould
      Best in the fridge at 5 °C: out of the mould after 72 min (46 to 100), with relief of
        0.7 mm whole.
      It sets below 57 °C; its relief of 0.7 mm comes out whole below 21 °C, at its warmest
        spot.
      Dew settles below 9 °C in your room: let a cold bar warm up in its mould or in a bag
        first.

    At the bench
      [ ] melted in this order, clear, no drop of water
      [ ] temperature at the pour, 67 °C planned: ________
      [ ] poured; time: ________
      [ ] out of the mould; relief whole; no grain seen; time: ________
      [ ] mean mass of ten bars: ________
      [ ] lots used written down; one bar kept back
      `barwright pour` and `barwright cool` say more, and what it rests on; when a bar can
        leave its mould is a rule of thumb. In brackets: 90 % intervals from 64 simulated
        draws (seed 20) over lots, melting points and model parameters.

    Lots used
            what                    mass   lot
     ───────────────────────────────────────────────────
      [ ]   Beeswax                186 g   my-wax
      [ ]   Mango butter           230 g   =cmd
      [ ]   Sunflower oil          301 g   my-oil
      [ ]   Spring scent             9 g   spring-scent
      [ ]   CI 77491                 2 g   ________
      [ ]   green mica      about 0.44 g   ________

    Cost, in the money of your prices
      what          batch   a bar
     ─────────────────────────────
      ingredients    9.70    0.81
      packaging      3.60    0.30
      labour        20.00    1.67
      total         33.30    2.77
      A gram sold costs 0.048.

    Label, a draft
      Ingredients: Helianthus Annuus Seed Oil, Mangifera Indica Seed Butter, Cera Flava,
        Parfum, Linalool, Limonene, CI 77491, green mica
      Allergens of the scent: above 0.001 %: Linalool 0.10 % and Limonene 0.039 %
      Content: 57 g (2.01 oz), rounded down; the mean of the bars at least that, few of them
        (in general no more than 2.5 %) short by more than 4.5 g, the tolerable error, and
        none by more than 9 g, twice that (EU)
      Names: in EU style, most from memory and not looked up: check them; `--market us` has
        the US style
      Also: name and address of whoever answers for it; batch number; how long it keeps; how
        to use it
      Certificate: A certificate from before the longer list of Regulation (EU) 2023/1545
        (about 80 names; new products from 31 July 2026, those on sale before until 31 July
        2028) may list too few: ask the supplier for one by the longer list.
      Rules: A draft: your local rules decide what a label must say, and in which language.
        Have it checked by your authority or a safety assessor before you sell.

    Keeping
      my-oil turns rancid first: the bar keeps some 11 (3.5 to 32) months in a room, 34 in a
        fridge.
      No lot states a date, so the label has none: a `best_before` in each lot gives one.
      From induction times in hot air, most of them recalled, carried down to a room: an
        order of things, no date. Vitamin E, a fifth of a percent to one, slows it; light,
        warmth, metal and oil that was old before hasten it. A bar that smells of crayons or
        old nuts is past it.

    Cautions
      Origin: Animal-derived: my-wax. The bar is not vegan.
      Origin: From animals or from plants, by the lot: spring scent. Ask the supplier for a
        plant-origin statement before you call the bar vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Check label, claims and safety assessment with your local authority or a
        safety assessor.
    stderr:
    note: weigh sheet written into sheet.csv
    ingredient,percent,mass_g,running_g,price
    my-wax,25.6705,186,186,3.5340
    '=cmd,31.5945,230,416,3.2200
    my-oil,41.4678,301,717,1.5050
    spring-scent,1.2672,9,726,1.4400
    ");
}

#[test]
fn too_much_scent_is_said() {
    let done = batch(&["--bars", "10", "--bar", "50g", "--scent", "spring-scent=10g"]);
    assert!(done.stdout.contains("its certificate allows 1.5 %"), "{}", done.shown());
    let json = batch(&["--bars", "10", "--bar", "50g", "--scent", "spring-scent=10g", "--json"]).json();
    assert_eq!(json["over_limit"][0]["ingredient"], "spring-scent");
    let masses: f64 = json["lines"].as_array().unwrap().iter().map(|line| line["mass_g"].as_f64().unwrap()).sum();
    assert!((masses - json["melt_g"].as_f64().unwrap()).abs() < 1e-9);
    assert_eq!(json["tolerable_error_g"], 4.5);
    // 10 g of scent in 526 g, 8.2 % of it linalool; coumarin stays below 0.001 %.
    let allergens = json["declaration"]["allergens"].as_array().unwrap();
    assert_eq!(allergens.len(), 2, "{allergens:?}");
    assert!((allergens[0]["percent"].as_f64().unwrap() - 8.2 * 10.0 / 526.0).abs() < 1e-3);
}

/// The label of a text formula, as one line.
fn label_shown(more: &[&str]) -> String {
    let done = run(&[&["batch", "beeswax 30, olive oil 70", "--no-plans", "--bars", "6"], more].concat());
    assert_eq!(done.status, 0, "{}", done.shown());
    let (_, label) = done.stdout.split_once("Label, a draft").unwrap();
    label.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn no_label_states_more_than_the_bar_holds() {
    for (bar, stated) in [
        ("127g", "Content: 127 g (4.47 oz); the mean of the bars at least that"),
        ("147g", "Content: 147 g (5.18 oz); the mean"),
        ("4oz", "Content: 113 g (3.98 oz), rounded down; the mean"),
        ("9.99g", "Content: 9.9 g (0.34 oz), rounded down; the mean"),
        ("57g", "Content: 57 g (2.01 oz); the mean"),
    ] {
        let label = label_shown(&["--bar", bar]);
        assert!(label.contains(stated), "{bar}: {label}");
        let json =
            run(&["batch", "beeswax 30, olive oil 70", "--no-plans", "--bars", "6", "--bar", bar, "--json"]).json();
        let (grams, bar_g) = (json["content"]["grams"].as_f64().unwrap(), json["bar_g"].as_f64().unwrap());
        assert!(grams <= bar_g * (1.0 + 1e-12) && grams > bar_g - 1.0, "{bar}: {grams} of {bar_g}");
        assert_eq!(json["tolerable_error_g"], json["content"]["tolerable_error_g"]);
    }
    // Few short by one tolerable error, none by two.
    let label = label_shown(&["--bar", "127g"]);
    assert!(
        label.contains("no more than 2.5 %) short by more than 5.8 g") && label.contains("none by more than 11.6 g")
    );
}

#[test]
fn a_market_has_its_names_and_its_rule_of_the_content() {
    let eu = label_shown(&["--bar", "50g"]);
    assert!(eu.contains("Ingredients: Olea Europaea Fruit Oil, Cera Flava ") && eu.contains("EU style"), "{eu}");
    assert_eq!(eu, label_shown(&["--bar", "50g", "--market", "eu"]));
    let us = label_shown(&["--bar", "50g", "--market", "us"]);
    assert!(us.contains("Ingredients: Olea Europaea (Olive) Fruit Oil, Beeswax ") && us.contains("US style"), "{us}");
    assert!(us.contains("Content: 1.76 oz (50 g) net weight") && !us.contains("(EU)"), "{us}");
    let scented = ["--bars", "4", "--bar", "50g", "--no-plans", "--scent", "spring-scent=2g", "--json"];
    for (market, scent) in [("eu", "Parfum"), ("us", "Fragrance")] {
        let json = batch(&[&scented[..], &["--market", market]].concat()).json();
        assert_eq!(json["declaration"]["market"], market);
        assert!(json["declaration_text"].as_str().unwrap().contains(scent), "{json}");
    }
    let wrong = run(&["batch", "beeswax 1", "--bars", "1", "--bar", "50g", "--market", "mars"]);
    assert_eq!(wrong.status, 2, "{}", wrong.shown());
}

#[test]
fn a_label_defers_to_local_rules_and_tells_of_old_certificates_on_every_medium() {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("lots.toml"), LOTS).unwrap();
    let asked = ["batch", "my-oil 70, my-wax 30", "--lots", "lots.toml", "--bars", "4", "--bar", "50g", "--no-plans"];
    let scent = ["--scent", "spring-scent=2g"];
    let told = |more: &[&str]| run_in(folder.path(), &[&asked[..], &scent, more].concat(), b"");
    let text = told(&[]).stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let json = told(&["--json"]).json();
    assert_eq!(told(&["--page", "sheet.html"]).status, 0);
    let page = std::fs::read_to_string(folder.path().join("sheet.html")).unwrap();
    let notes = json["declaration"]["notes"].as_array().unwrap();
    for (about, words) in [("Rules", "your local rules decide"), ("Certificate", "2023/1545 (about 80 names")] {
        let note = notes.iter().find(|note| note["about"] == about).unwrap_or_else(|| unreachable!("{notes:?}"));
        assert!(note["text"].as_str().unwrap().contains(words), "{note}");
        assert!(text.contains(words), "{text}");
        assert!(page.split_whitespace().collect::<Vec<_>>().join(" ").contains(words), "{page}");
    }
    let plain = run(&["batch", "olive oil 70, beeswax 30", "--bars", "4", "--bar", "50g", "--no-plans"]).stdout;
    assert!(plain.contains("your local rules") && !plain.contains("2023/1545"), "{plain}");
}

#[test]
fn lanolin_and_what_may_be_from_animals_stand_on_the_sheet() {
    let bar = "lanolin 5, stearic acid 10, avocado butter 35, candelilla wax 15, sunflower oil 35";
    let done = run(&["batch", bar, "--bars", "4", "--bar", "50g", "--no-plans"]);
    let text = done.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "A known contact allergen: lanolin (wool alcohols).",
        "Animal-derived: lanolin. The bar is not vegan.",
        "by the lot: stearic acid. Ask the supplier for a plant-origin statement",
        "rest on an estimate of what a blend holds",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn ounces_come_first_in_us_units() {
    let done =
        run(&["batch", "beeswax 30, olive oil 70", "--bars", "4", "--bar", "2oz", "--scale", "0.1g", "--units", "us"]);
    let lines: Vec<&str> = done.stdout.lines().take(10).collect();
    assert_snapshot!(lines.join("\n"), @"
    Olive oil 70 / beeswax 30

    Batch ________; Date ________; Made by ________
    4 bars of 2.0 oz: weigh 8.420 oz, of which 5 % may stay in the jug.

    Weigh, in the order of melting
            ingredient    %   weigh, oz   scale shows, oz
     ─────────────────────────────────────────────────────
      [ ]   Beeswax      30       2.526             2.526
      [ ]   Olive oil    70       5.894             8.420
    ");
}

#[test]
fn what_cannot_be_is_refused() {
    for (more, status, words) in [
        (vec![], 2, "nobody said how many bars"),
        (vec!["--bars", "4"], 2, "--bar <MASS>"),
        (vec!["--bars", "4", "--bar", "50g", "--fillings", "2"], 2, "cannot be used with"),
        (vec!["--bars", "0", "--bar", "50g"], 2, "write a whole number from 1 to 1000000"),
        (vec!["--bars", "4", "--bar", "-50g"], 2, "is negative"),
        (vec!["--bars", "4", "--bar", "50ml"], 2, "volume"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "spring-scent"], 1, "has no `=`"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "sprong=5ml"], 1, "no ingredient is called `sprong`"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "spring-scent=5"], 1, "has no unit"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "spring-scent=1kg"], 1, "as much as the melt"),
        (vec!["--bars", "1", "--bar", "1g"], 1, "cannot weigh"),
        (vec!["--bars", "4", "--bar", "50g", "--pigment", "=2g"], 2, "the pigment has no name"),
        (vec!["--bars", "4", "--bar", "50g", "--pigment", "red=1ml"], 2, "weigh ten level spoons"),
        (vec!["--bars", "4", "--bar", "50g", "--pigment", "red=-1/4 tsp@0.3"], 2, "is negative"),
        (vec!["--bars", "4", "--bar", "50g", "--pigment", "red=1/0 tsp@0.3"], 2, "not a finite amount"),
        (vec!["--bars", "4", "--bar", "50g", "--pigment", "red=1 tsp@0"], 2, "outside 0.02 to 8 g/ml"),
        (vec!["--bars", "4", "--bar", "50g", "--pigment", "red=1 shovel@0.3"], 2, "is not a unit"),
        (vec!["--bars", "4", "--bar", "50g", "--pigment", "red=1g#2"], 1, "goes into jug 2, and there are 1"),
        (vec!["--bars", "1", "--bar", "10g", "--split", "12"], 1, "cannot part 11 g into 12 jugs"),
        (vec!["--bars", "4", "--bar", "50g", "--left", "90"], 2, "outside 0 to 50 %"),
        (vec!["--bars", "4", "--bar", "50g", "--scale", "0g"], 2, "is zero"),
    ] {
        let done = batch(&more);
        assert_eq!(done.status, status, "{more:?}: {}", done.shown());
        assert!(done.shown().contains(words), "{more:?}: {}", done.shown());
    }
}

/// A scent that is like almond oil for its density is no nut, on the sheet and in what is kept of it; and one that does not go into the melt is told before anything
/// is weighed.
#[test]
fn a_scent_is_no_nut_and_is_left_out_where_it_does_not_go() {
    let folder = TempDir::new().unwrap();
    let lots = "[lot.spice]\nlike = 'sweet almond oil'\ndensity_g_ml = 0.95\nlimit_percent = 2\nflash_c = 62\n\
                [lot.mild]\nlike = 'sweet almond oil'\n";
    std::fs::write(folder.path().join("lots.toml"), lots).unwrap();
    let bar = ["batch", "candelilla wax 22, cupuacu butter 30, jojoba oil 48", "--bars", "6", "--bar", "50g"];
    let sheet = |more: &[&str]| {
        let done = run_in(folder.path(), &[&bar[..], &["--lots", "lots.toml"], more].concat(), b"");
        done.stdout.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let spice = sheet(&["--scent", "spice=5g"]);
    assert!(!spice.contains("Nuts:") && spice.contains("Parfum") && !spice.contains("Dulcis"), "{spice}");
    let [alarm, weigh] =
        ["The scent does not go into this melt: see", "Weigh, in the order"].map(|text| spice.find(text));
    assert!(alarm.is_some() && alarm < weigh, "{spice}");
    assert!(!spice.contains("stir in the scent"), "{spice}");
    // Without a scent a recipe's % are as written, on any scale.
    assert!(spice.contains("Candelilla wax 21.65"), "{spice}");
    let plain = sheet(&["--scale", "5g", "--no-plans"]);
    assert!(plain.contains("Candelilla wax 22 ") && plain.contains("Jojoba oil 48 "), "{plain}");
    assert!(plain.contains("right within ±2.5 g, half its last digit"), "{plain}");
    assert!(!sheet(&["--scent", "mild=5g", "--no-plans"]).contains("Nuts:"));
    assert!(sheet(&["--scent", "sweet almond oil=5g", "--no-plans"]).contains("Nuts:"));
}

const ROUND: [&str; 4] = ["--bars", "4", "--bar", "50g"];

#[test]
fn spoons_are_five_millilitres_and_in_us_units_less() {
    let colour = ["--no-plans", "--pigment", "green mica=1 tsp@0.4", "--json"];
    let metric = batch(&[&ROUND[..], &colour].concat()).json();
    let us = batch(&[&ROUND[..], &colour, &["--units", "us"]].concat()).json();
    assert_eq!(metric["colours"][0]["mass_g"], 2.0);
    assert_eq!(metric["colours"][0]["volume_ml"], 5.0);
    assert!((us["colours"][0]["mass_g"].as_f64().unwrap() - 0.4 * 4.928_921_593_75).abs() < 1e-9);
    // A scent is measured with the same spoons.
    let scent = ["--no-plans", "--scale", "0.01g", "--scent", "spring-scent=1/2 tsp", "--json"];
    let lines = batch(&[&ROUND[..], &scent].concat()).json()["lines"].clone();
    assert_eq!(lines[3]["mass_g"], 2.3);
    // What is given by mass keeps it, and its spoons are told where its density is.
    let shown = batch(&[&ROUND[..], &["--no-plans", "--pigment", "CI 77491=2g@0.8"]].concat()).stdout;
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(shown.contains("[ ] CI 77491 2 g 1/2 level tsp of 5 ml, 0.8 g/ml loose"), "{shown}");
}

#[test]
fn jugs_and_lots_are_told_to_scripts() {
    let more = ["--no-plans", "--split", "2", "--pigment", "white=3g", "--pigment", "green=1g#2", "--json"];
    let json = batch(&[&ROUND[..], &more].concat()).json();
    let jugs = json["jugs"].as_array().unwrap();
    assert_eq!(jugs.len(), 2);
    assert_eq!(jugs[0]["colours"].as_array().unwrap().len(), 1);
    assert_eq!(jugs[1]["colours"][1]["name"], "green");
    assert_eq!(
        json["lots"][0],
        serde_json::json!({ "lot": "my-wax", "like": "beeswax", "mass_g": json["lines"][0]["mass_g"] })
    );
    assert!(json["pour"].is_null() && json["cool"].is_null());
}

#[test]
fn the_plans_are_those_of_pour_and_cool() {
    let bar = "beeswax 26, mango butter 32, sunflower oil 42";
    let json = run(&["batch", bar, "--mould", TRAY, "--draws", "16", "--json"]).json();
    let mass = format!("{}g", json["melt_g"]);
    assert_eq!(json["pour"], run(&["pour", bar, "--mould", TRAY, "--mass", &mass, "--draws", "16", "--json"]).json());
    let pour = format!("{}C", json["pour"]["pour_c"]);
    assert_eq!(json["cool"], run(&["cool", bar, "--mould", TRAY, "--pour", &pour, "--draws", "16", "--json"]).json());
}

#[test]
fn without_a_mould_nothing_is_said_of_cooling() {
    let plain = batch(&[&ROUND[..], &["--draws", "16"]].concat()).stdout;
    assert!(plain.contains("Melt and pour") && !plain.contains("Cool and unmould"), "{plain}");
    let none = batch(&[&ROUND[..], &["--no-plans"]].concat()).stdout;
    assert!(!none.contains("Melt and pour") && none.contains("water bath"), "{none}");
    // A jug of a swimming pool: the sheet stands, the plan does not.
    let huge = batch(&["--bars", "1000000", "--bar", "100kg", "--draws", "16"]);
    assert_eq!(huge.status, 0, "{}", huge.shown());
}
