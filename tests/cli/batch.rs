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
        "--colour",
        "CI 77491=2g",
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
    Bar  (batch F-0007)

    12 bars of 57 g in the fern tray: weigh 726 g, of which 5 % may stay in the jug.

    Weigh sheet, in the order of melting
            ingredient        %   weigh, g   scale shows, g
     ───────────────────────────────────────────────────────
      [ ]   my-wax         25.6        186              186
      [ ]   =cmd           31.7        230              416
      [ ]   my-oil         41.5        301              717
      [ ]   Spring scent    1.2          9              726
      Each is right within 0.5 g, half of what the scale shows.
      That is much for spring scent: weigh so little on a finer scale.
      [ ] 2 g CI 77491, rubbed into a little warm oil of the batch first. Colour can stain
          mould, skin and cloth: try it.
      [ ] Part the melt into 2 jugs of 363 g.

    At the bench
      [ ] melted in this order, clear, no drop of water
      [ ] temperature at the pour: ________
      [ ] poured; time: ________
      [ ] out of the mould; relief whole; no grain seen
      [ ] mean mass of ten bars: ________
      [ ] lots used written down; one bar kept back
      Temperatures and times: `barwright pour` and `barwright cool`.

    Cost, in the money of your prices
                    batch   a bar
     ─────────────────────────────
      ingredients    9.70    0.81
      packaging      3.60    0.30
      labour        20.00    1.67
      together      33.30    2.77
      A gram sold costs 0.048.

    Label, a draft
      Ingredients: Helianthus Annuus (Sunflower) Seed Oil, Mangifera Indica (Mango) Seed
        Butter, Cera Flava, Parfum, Linalool, Limonene, CI 77491
      Allergens of the scent: above 0.001 %: Linalool 0.10 % and Limonene 0.038 %
      Content: 57 g, 2.0 oz; the mean of the bars at least that, none lighter by 9.0 g
        (twice the tolerable error, EU)
      Also: who answers for it, with address; batch number; how long it keeps; how to use it

    Mind
      Nuts: From nuts, or by some rules or lots: spring scent. Say so plainly on the label.
      Origin: From animals: my-wax. The bar is not vegan.
      Safety: Check label, claims and safety assessment with your local authority or a
        safety assessor.
    stderr:
    note: weigh sheet written into sheet.csv
    ingredient,percent,mass_g,running_g,price
    my-wax,25.6198,186,186,3.5340
    '=cmd,31.6804,230,416,3.2200
    my-oil,41.4601,301,717,1.5050
    spring-scent,1.2397,9,726,1.4400
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

#[test]
fn ounces_come_first_in_us_units() {
    let done =
        run(&["batch", "beeswax 30, olive oil 70", "--bars", "4", "--bar", "2oz", "--scale", "0.1g", "--units", "us"]);
    let lines: Vec<&str> = done.stdout.lines().take(10).collect();
    assert_snapshot!(lines.join("\n"), @"
    Formula 1  (no number yet)

    4 bars of 2.0 oz: weigh 8.420 oz, of which 5 % may stay in the jug.

    Weigh sheet, in the order of melting
            ingredient      %   weigh, oz   scale shows, oz
     ───────────────────────────────────────────────────────
      [ ]   Beeswax      30.0       2.526             2.526
      [ ]   Olive oil    70.0       5.894             8.420
      Each is right within 0.002 oz, half of what the scale shows.
    ");
}

#[test]
fn what_cannot_be_is_refused() {
    for (more, status, words) in [
        (vec![], 2, "nobody said how many bars"),
        (vec!["--bars", "4"], 2, "--bar <MASS>"),
        (vec!["--bars", "4", "--bar", "50g", "--fillings", "2"], 2, "cannot be used with"),
        (vec!["--bars", "0", "--bar", "50g"], 2, "0 is not in 1..=1000000"),
        (vec!["--bars", "4", "--bar", "-50g"], 2, "is negative"),
        (vec!["--bars", "4", "--bar", "50ml"], 2, "volume"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "spring-scent"], 1, "has no `=`"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "sprong=5ml"], 1, "no ingredient is called `sprong`"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "spring-scent=5"], 1, "has no unit"),
        (vec!["--bars", "4", "--bar", "50g", "--scent", "spring-scent=1kg"], 1, "as much as the melt"),
        (vec!["--bars", "1", "--bar", "1g"], 1, "cannot weigh"),
        (vec!["--bars", "4", "--bar", "50g", "--colour", "=2g"], 2, "the colour has no name"),
        (vec!["--bars", "4", "--bar", "50g", "--colour", "red=1ml"], 2, "volume"),
        (vec!["--bars", "4", "--bar", "50g", "--left", "90"], 2, "outside 0 to 50 %"),
        (vec!["--bars", "4", "--bar", "50g", "--scale", "0g"], 2, "is zero"),
    ] {
        let done = batch(&more);
        assert_eq!(done.status, status, "{more:?}: {}", done.shown());
        assert!(done.shown().contains(words), "{more:?}: {}", done.shown());
    }
}
