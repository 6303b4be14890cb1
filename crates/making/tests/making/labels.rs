//! What the label says is safe: never more content than there is, every name of every blend, nuts, allergens, animals, one style of names.
#![allow(clippy::unwrap_used, missing_docs)]

use barwright_making::declaration::{
    ALLERGEN_PERCENT, Content, Declaration, Declared, LabelTask, OLD_CERTIFICATE, OUNCE_G, tolerable_error_g,
};
use barwright_reference::{Library, Market, formula};
use proptest::prelude::*;

/// A library with lots of a maker.
fn with_lots(lots: &str) -> Library {
    let library = Library::builtin().unwrap();
    if lots.is_empty() { library } else { library.with_lots(lots).unwrap().0 }
}

/// The label of a formula, in mass %, with some lots.
fn label_of(lots: &str, text: &str, market: Market) -> Declaration {
    let library = with_lots(lots);
    let bar = formula::read_inline(text, "bar", &library).unwrap().formulas.remove(0);
    Declaration::of(&library, &LabelTask { whole: &bar, scents: &[], colours: &[], market })
}

fn eu(text: &str) -> Declaration {
    label_of("", text, Market::Eu)
}

fn named<'l>(list: &'l [Declared], name: &str) -> &'l Declared {
    list.iter().find(|one| one.name == name).unwrap_or_else(|| unreachable!("{name} is not among {list:?}"))
}

fn note<'l>(label: &'l Declaration, about: &str) -> Option<&'l str> {
    label.notes.iter().find(|note| note.about == about).map(|note| note.text.as_str())
}

#[test]
fn content_is_rounded_down() {
    // (bar, g; stated, g; stated, oz)
    for (bar_g, grams, ounces) in [
        (127.0, 127.0, 4.47),
        (147.0, 147.0, 5.18),
        (4.0 * OUNCE_G, 113.0, 3.98),
        (99.999, 99.0, 3.49),
        (57.0, 57.0, 2.01),
        (2.0106 * OUNCE_G, 56.0, 1.97),
        (10.0, 10.0, 0.35),
        (9.99, 9.9, 0.34),
        (4.25, 4.2, 0.14),
        (0.1, 0.1, 0.0),
    ] {
        let content = Content::of(bar_g).unwrap();
        assert_eq!((content.grams, content.ounces), (grams, ounces), "{bar_g}");
    }
    for bar_g in [0.0, 0.09, -5.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert_eq!(Content::of(bar_g), None, "{bar_g}");
    }
}

#[test]
fn a_mass_that_is_whole_in_decimal_loses_nothing_in_binary() {
    for whole in 10..=10_000_u32 {
        let grams = f64::from(whole);
        // As the command makes grams of kilograms, of ounces, of a volume, and of a sum.
        for bar_g in [1e3 * (grams * 1e-3), grams / OUNCE_G * OUNCE_G, (grams / 0.93) * 0.93, 0.1 * grams + 0.9 * grams]
        {
            assert_eq!(Content::of(bar_g).unwrap().grams, grams, "{bar_g:?}");
        }
    }
    for tenths in 1..100_u32 {
        let grams = f64::from(tenths) / 10.0;
        for bar_g in [0.1 * f64::from(tenths), 1e3 * (grams * 1e-3), 0.3 * grams + 0.7 * grams] {
            assert_eq!(Content::of(bar_g).unwrap().grams, grams, "{bar_g:?}");
        }
    }
}

proptest! {
    #[test]
    fn nothing_is_stated_that_is_not_there(bar_g in prop_oneof![0.1..10.0_f64, 9.5..10.5_f64, 10.0..200.0_f64, 0.1..20_000.0_f64]) {
        let content = Content::of(bar_g).unwrap();
        // What is lost in binary is some 1e-16 of a mass; nobody weighs a billionth of it.
        prop_assert!(content.grams <= bar_g * (1.0 + 1e-11), "{content:?} of {bar_g:?}");
        let digit = if content.grams < 10.0 { 0.1 } else { 1.0 };
        prop_assert!(content.grams > bar_g - digit - 1e-9, "{content:?} of {bar_g:?} loses more than its last digit");
        let digits = content.grams / digit;
        prop_assert!((digits - digits.round()).abs() < 1e-9, "{content:?}");
        prop_assert!(content.ounces * OUNCE_G <= content.grams, "{content:?}: ounces above grams");
        prop_assert!((content.ounces + 0.01) * OUNCE_G > content.grams * (1.0 - 1e-12), "{content:?}: ounces too low");
        prop_assert_eq!(content.tolerable_error_g, tolerable_error_g(content.grams));
    }
}

#[test]
fn tolerable_errors_are_those_of_the_directive() {
    // Directive 76/211/EEC, Annex I, 2.4 (read up to 1 kg), and the packaged goods page of gov.uk (read): the steps, and that what is worked out
    // from a share is rounded up to a tenth of a gram.
    for (content_g, error_g) in [
        (5.0, 0.5),
        (20.0, 1.8),
        (45.0, 4.1),
        (50.0, 4.5),
        (80.0, 4.5),
        (100.0, 4.5),
        (127.0, 5.8),
        (150.0, 6.8),
        (200.0, 9.0),
        (250.0, 9.0),
        (300.0, 9.0),
        (400.0, 12.0),
        (401.0, 12.1),
        (700.0, 15.0),
        (1000.0, 15.0),
        (1001.0, 15.1),
        (2000.0, 30.0),
        (10_000.0, 150.0),
    ] {
        assert_eq!(tolerable_error_g(content_g), Some(error_g), "{content_g}");
    }
    for content_g in [0.0, 4.9, 10_001.0, f64::NAN, f64::INFINITY, -5.0] {
        assert_eq!(tolerable_error_g(content_g), None, "{content_g}");
    }
    // 131 bars of 30 g: 9 % is 2.7 g, and stays so.
    for tenths in 50..=500_u32 {
        let content_g = f64::from(tenths) / 10.0;
        let exact_g = 9.0 * f64::from(tenths) / 1000.0;
        let error_g = tolerable_error_g(content_g).unwrap();
        assert!(error_g >= exact_g - 1e-12 && error_g < exact_g + 0.1 - 1e-9, "{content_g}: {error_g} for {exact_g}");
    }
}

#[test]
fn a_blend_is_declared_by_its_own_ingredients_merged_with_the_same_elsewhere() {
    let label = eu("avocado butter 40, avocado oil 10, sunflower oil 30, beeswax 20");
    let names: Vec<&str> = label.ingredients.iter().map(|one| one.name.as_str()).collect();
    // 65 % of the butter is oil: 26 % of the bar, and 10 % of its own; the fat is 14 %.
    let expected = ["Persea Gratissima Oil", "Helianthus Annuus Seed Oil", "Cera Flava", "Hydrogenated Vegetable Oil"];
    assert_eq!(names, expected);
    let oil = named(&label.ingredients, "Persea Gratissima Oil");
    assert!((oil.percent - 36.0).abs() < 1e-9 && oil.is_estimated(), "{oil:?}");
    assert!(
        (oil.low_percent - 30.0).abs() < 1e-9 && (oil.high_percent - 44.0).abs() < 1e-9,
        "50 to 85 % of 40, and 10: {oil:?}"
    );
    assert!(!named(&label.ingredients, "Cera Flava").is_estimated());
    let order = note(&label, "Order").unwrap();
    assert!(order.contains("Persea Gratissima Oil") && order.contains("Hydrogenated Vegetable Oil"), "{order}");
    assert!(order.contains("estimate") && order.contains("composition sheet"), "{order}");
    assert_eq!(note(&eu("avocado oil 70, beeswax 30"), "Order"), None);
}

#[test]
fn two_blends_share_what_is_in_both() {
    let label = eu("avocado butter 50, almond butter 50");
    assert_eq!(label.text().matches("Hydrogenated Vegetable Oil").count(), 1, "{}", label.text());
    assert!((named(&label.ingredients, "Hydrogenated Vegetable Oil").percent - 35.0).abs() < 1e-9);
}

#[test]
fn no_label_says_and_and_a_slash_parts_nothing() {
    let library = Library::builtin().unwrap();
    for one in &library.ingredients {
        for market in Market::ALL {
            let label = label_of("", &format!("{} 100", one.key), market);
            assert!(!label.text().to_lowercase().contains("(and)"), "{}: {}", one.key, label.text());
            let total: f64 = label.ingredients.iter().map(|one| one.percent).sum();
            assert!((total - 100.0).abs() < 1e-9, "{}: {total}", one.key);
            assert_eq!(label.ingredients.len(), one.inci_name.matches("(and)").count() + 1, "{}", one.key);
        }
    }
    assert_eq!(eu("mct oil 100").text(), "Caprylic/Capric Triglyceride");
}

#[test]
fn a_lot_says_what_is_in_its_blend() {
    let lots = "[lot.sheet]\nlike = 'avocado-butter'\ninci = { 'Persea Gratissima (Avocado) Oil' = 80, 'Hydrogenated Vegetable Oil' = 20 }\n\
                [lot.nothing]\nlike = 'tocopherol'\ninci = 'Tocopherol (and) Helianthus Annuus (Sunflower) Seed Oil'";
    let label = label_of(lots, "sheet 100", Market::Eu);
    assert!((named(&label.ingredients, "Persea Gratissima Oil").percent - 80.0).abs() < 1e-9);
    assert_eq!(note(&label, "Order"), None);
    let label = label_of(lots, "nothing 4, olive oil 96", Market::Eu);
    let oil = named(&label.ingredients, "Helianthus Annuus Seed Oil");
    assert_eq!((oil.low_percent, oil.high_percent), (0.0, 4.0));
    assert!(note(&label, "Order").unwrap().contains("Helianthus Annuus Seed Oil"));
}

#[test]
fn one_list_has_one_style_of_names() {
    let text = "beeswax 10, white beeswax 10, microcrystalline wax 10, carnauba wax 10, light mineral oil 10, sunflower oil 20, kokum butter 10, \
                squalane 18, spring-scent 2";
    let lots = "[lot.spring-scent]\nlike = 'isopropyl myristate'\ninci = 'PARFUM'\nallergens = { Linalool = 8 }";
    assert_eq!(
        label_of(lots, text, Market::Eu).text(),
        "Helianthus Annuus Seed Oil, Squalane, Cera Alba, Cera Flava, Cera Microcristallina, Copernicia Cerifera Cera, Garcinia Indica Seed Butter, \
         Paraffinum Liquidum, Parfum, Linalool"
    );
    // Both beeswaxes are one name in the US.
    assert_eq!(
        label_of(lots, text, Market::Us).text(),
        "Beeswax, Helianthus Annuus (Sunflower) Seed Oil, Squalane, Copernicia Cerifera (Carnauba) Wax, Garcinia Indica (Kokum) Seed Butter, \
         Microcrystalline Wax, Mineral Oil, Fragrance, Linalool"
    );
}

#[test]
fn no_ingredient_mixes_the_styles() {
    let library = Library::builtin().unwrap();
    for one in &library.ingredients {
        let text = |market| label_of("", &format!("{} 100", one.key), market).text();
        let (eu, us) = (text(Market::Eu), text(Market::Us));
        let us_words = ["Beeswax", "Mineral Oil", "Microcrystalline Wax", "Fragrance", " Wax"];
        assert!(!eu.contains('(') && us_words.iter().all(|word| !eu.contains(word)), "{}: {eu}", one.key);
        let eu_words = ["Cera ", "Cera,", "Paraffinum", "Parfum"];
        assert!(!us.ends_with("Cera") && eu_words.iter().all(|word| !us.contains(word)), "{}: {us}", one.key);
    }
}

#[test]
fn order_is_free_below_one_percent_in_the_eu_and_at_it_in_the_us() {
    // Regulation (EC) 1223/2009, Art. 19(1)(g): "less than 1 %"; 21 CFR 701.3(f): "1 percent or less" (both read as pages for makers quote them).
    let minor = |market| {
        let label = label_of("", "olive oil 98.5, tocopherol 1, squalane 0.5", market);
        label.minor().map(|one| one.name.clone()).collect::<Vec<_>>()
    };
    assert_eq!(minor(Market::Eu), ["Squalane"]);
    assert_eq!(minor(Market::Us), ["Tocopherol", "Squalane"]);
}

#[test]
fn lots_of_peanut_and_shea_are_named_as_nuts() {
    let lots = "[lot.spring-peanut]\nlike = \"peanut-oil\"\n[lot.village]\nlike = \"shea-butter\"\nname = \"Village butter\"\n";
    let label = label_of(lots, "spring-peanut 40, village 30, candelilla wax 30", Market::Eu);
    assert_eq!(label.nuts, ["spring-peanut", "Village butter"]);
    // A lot without a declared name of its own has that of what it is like.
    assert_eq!(label.text(), "Arachis Hypogaea Oil, Butyrospermum Parkii Butter, Euphorbia Cerifera Cera");
    assert_eq!(eu("sunflower oil 70, candelilla wax 30").nuts, [] as [&str; 0]);
    // Almond stays a nut in a blend.
    assert_eq!(eu("almond butter 100").nuts, ["Almond butter (cosmetic)"]);
}

#[test]
fn allergens_are_named_just_above_a_thousandth_of_a_percent_and_not_just_below() {
    // Regulation (EU) 2023/1545: "exceeds 0,001 % in leave-on products" (read as quoted). 1 % of scent in the bar: 0.1 % of the scent is at the limit.
    let named_at = |of_scent: f64| {
        let lots = format!(
            "[lot.scent]\nlike = 'isopropyl myristate'\ninci = 'Parfum'\nallergens = {{ Linalool = {of_scent}, Limonene = 5 }}"
        );
        let label = label_of(&lots, "scent 1, olive oil 99", Market::Eu);
        (label.allergens.iter().any(|one| one.name == "Linalool"), label.text().contains("Linalool"))
    };
    assert_eq!(named_at(0.1001), (true, true));
    assert_eq!(named_at(0.0999), (false, false));
    assert_eq!(ALLERGEN_PERCENT, 0.001);
    // Two scents, each below: together above.
    let lots = "[lot.a]\nlike = 'isopropyl myristate'\nallergens = { Linalool = 0.06 }\n[lot.b]\nlike = 'isopropyl myristate'\nallergens = { linalool = 0.06 }";
    let label = label_of(lots, "a 1.5, b 1, olive oil 97.5", Market::Eu);
    assert_eq!(label.allergens.len(), 1, "{label:?}");
    let linalool = &label.allergens[0];
    for percent in [linalool.percent, linalool.low_percent, linalool.high_percent] {
        assert!((percent - 0.0015).abs() < 1e-12, "0.06 % of each of two lots, 1.5 % and 1 %: {percent}");
    }
}

#[test]
fn a_scent_brings_the_note_on_old_certificates() {
    for (lots, scented) in [
        ("[lot.s]\nlike = 'isopropyl myristate'\ninci = 'Fragrance'", true),
        ("[lot.s]\nlike = 'isopropyl myristate'\nallergens = { Linalool = 0.00001 }", true),
        ("[lot.s]\nlike = 'isopropyl myristate'", false),
    ] {
        let label = label_of(lots, "s 1, olive oil 99", Market::Eu);
        assert_eq!(note(&label, "Certificate"), scented.then_some(OLD_CERTIFICATE), "{lots}");
    }
    for words in ["2023/1545", "about 80", "31 July 2026", "31 July 2028", "too few"] {
        assert!(OLD_CERTIFICATE.contains(words), "{words}");
    }
}

#[test]
fn a_scent_declared_as_what_its_lot_is_like_is_said() {
    let library = with_lots("[lot.s]\nlike = 'isopropyl myristate'\nname = 'Spring scent'");
    let bar = formula::read_inline("s 1, olive oil 99", "bar", &library).unwrap().formulas.remove(0);
    let scents = [bar.parts[0].ingredient];
    let label =
        Declaration::of(&library, &LabelTask { whole: &bar, scents: &scents, colours: &[], market: Market::Eu });
    let scent = note(&label, "Scent").unwrap();
    assert!(scent.contains("Spring scent is declared as Parfum") && scent.contains("inci"), "{scent}");
    assert_eq!(label.text(), "Olea Europaea Fruit Oil, Parfum");
    assert!(note(&label, "Certificate").is_some());
}

/// A scent is like an oil for its density: neither the nut nor the sensitiser nor the name of that oil is its own. What it states of itself is, and a nut oil weighed
/// as a scent stays one.
#[test]
fn a_scent_is_no_nut_unless_it_says_so() {
    let of = |lot: &str, name: &str| {
        let library = with_lots(&format!("[lot.s]\nlike = 'sweet almond oil'\n{lot}\n[lot.w]\nlike = 'lanolin'"));
        let bar =
            formula::read_inline(&format!("{name} 1, sunflower oil 99"), "bar", &library).unwrap().formulas.remove(0);
        let scents = [bar.parts[0].ingredient];
        Declaration::of(&library, &LabelTask { whole: &bar, scents: &scents, colours: &[], market: Market::Eu })
    };
    let plain = of("", "s");
    assert_eq!((plain.nuts.as_slice(), plain.text().as_str()), (&[][..], "Helianthus Annuus Seed Oil, Parfum"));
    assert_eq!(of("nut_origin = 'tree-nut'", "s").nuts, ["s"]);
    assert_eq!(of("", "sweet almond oil").nuts, ["Sweet almond oil"]);
    assert!(of("", "w").sensitisers.is_empty());
}

#[test]
fn animals_sure_and_possible_are_kept_apart() {
    let label = eu(
        "beeswax 20, lanolin 10, stearic acid 10, purified stearic acid 10, squalane 20, cetyl alcohol 10, olive oil 20",
    );
    assert_eq!(label.animal, ["Beeswax", "Lanolin"]);
    assert_eq!(label.possibly_animal, ["Stearic acid", "Purified stearic acid", "Squalane", "Cetyl alcohol"]);
    assert_eq!(label.sensitisers, ["Lanolin (wool alcohols)"]);
    let lots = "[lot.palm-acid]\nlike = 'stearic-acid'\nanimal_origin = 'no'\n[lot.acid]\nlike = 'stearic-acid'";
    let label = label_of(lots, "palm-acid 10, acid 10, olive oil 80", Market::Eu);
    assert_eq!(label.possibly_animal, ["acid"]);
}

#[test]
fn every_label_defers_to_local_rules() {
    for market in Market::ALL {
        let label = label_of("", "olive oil 70, beeswax 30", market);
        let last = label.notes.last().unwrap();
        assert!(last.text.contains("local rules") && last.text.contains("draft"), "{last:?}");
    }
}
