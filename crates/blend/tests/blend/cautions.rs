//! What a maker must mind of an ingredient is said of the maker's own lots of it, too.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use barwright_blend::{Model, Options, assess};
use barwright_reference::Library;

/// The cautions of a text, with some lots of the maker.
fn texts(text: &str) -> Vec<(&'static str, String)> {
    let lots = "[lot.my-peanut]\nlike = \"peanut-oil\"\n[lot.my-shea]\nlike = \"shea-butter\"\nname = \"Village butter\"\n\
                [lot.my-castor]\nlike = \"castor-oil\"\n[lot.my-wool]\nlike = \"lanolin\"\n[lot.plant-acid]\nlike = \"stearic-acid\"\nanimal_origin = \"no\"\n";
    let (library, _) = Library::builtin().unwrap().with_lots(lots).unwrap();
    let formula = barwright_reference::formula::read_inline(text, "bar", &library).unwrap().formulas.remove(0);
    let options = Options { draws: 0, ..Options::default() };
    let found = assess(&library, &Model::builtin().unwrap(), &formula, &options).unwrap();
    found.cautions.into_iter().map(|caution| (caution.about, caution.text)).collect()
}

fn about<'c>(cautions: &'c [(&'static str, String)], wanted: &str) -> Vec<&'c str> {
    cautions.iter().filter(|(about, _)| *about == wanted).map(|(_, text)| text.as_str()).collect()
}

#[test]
fn lots_of_peanut_and_shea_are_named_as_nuts() {
    let found = texts("my-peanut 40, my-shea 30, candelilla wax 30");
    assert_eq!(about(&found, "nuts"), ["Nut-derived: my-peanut, village butter. Say so plainly on the label."]);
    assert_eq!(about(&texts("sunflower oil 70, candelilla wax 30"), "nuts"), [] as [&str; 0]);
}

#[test]
fn what_may_be_from_animals_is_named_until_the_lot_says_it_is_not() {
    let found = texts("stearic acid 10, squalane 30, candelilla wax 60");
    let [only] = about(&found, "origin")[..] else { unreachable!("{found:?}") };
    assert!(only.contains("stearic acid, squalane") && only.contains("plant-origin statement"), "{only}");
    assert_eq!(about(&texts("plant-acid 10, sunflower oil 60, candelilla wax 30"), "origin"), [] as [&str; 0]);
    let both = texts("stearic acid 10, beeswax 30, sunflower oil 60");
    assert_eq!(about(&both, "origin").len(), 2, "{both:?}");
}

#[test]
fn lanolin_and_lots_of_it_sensitise() {
    for (text, named) in [("lanolin 10", "lanolin (wool alcohols)"), ("my-wool 10", "my-wool (wool alcohols)")] {
        let found = texts(&format!("{text}, sunflower oil 60, candelilla wax 30"));
        let [only] = about(&found, "skin")[..] else { unreachable!("{found:?}") };
        assert!(only.contains(named) && only.contains("on the label"), "{only}");
    }
    assert_eq!(about(&texts("sunflower oil 70, candelilla wax 30"), "skin"), [] as [&str; 0]);
}

#[test]
fn a_lot_of_castor_oil_parts_from_mineral_oil_as_castor_oil_does() {
    for castor in ["castor oil", "my-castor"] {
        let found = texts(&format!("{castor} 40, light mineral oil 40, candelilla wax 20"));
        assert_eq!(about(&found, "mixing").len(), 1, "{castor}: {found:?}");
    }
}

#[test]
fn castor_oil_parts_only_from_much_hydrocarbon_that_is_liquid() {
    for (text, parts) in [
        ("castor oil 5.1, light mineral oil 5.1, candelilla wax 89.8", true),
        ("castor oil 5, light mineral oil 50, candelilla wax 45", false),
        ("castor oil 50, light mineral oil 5, candelilla wax 45", false),
        ("castor oil 50, sunflower oil 30, candelilla wax 20", false),
        // Paraffin is a hydrocarbon, and no oil.
        ("castor oil 50, paraffin wax 30, candelilla wax 20", false),
        ("light mineral oil 50, sunflower oil 30, candelilla wax 20", false),
    ] {
        assert_eq!(about(&texts(text), "mixing").len(), usize::from(parts), "{text}");
    }
}

#[test]
fn what_does_not_set_is_told() {
    for (text, sets) in [
        ("sunflower oil 100", false),
        ("coconut oil 20, sunflower oil 80", false),
        ("sunflower oil 70, candelilla wax 30", true),
        ("cocoa butter 100", true),
    ] {
        assert_eq!(about(&texts(text), "setting").is_empty(), sets, "{text}");
    }
}

#[test]
fn every_formula_defers_to_local_rules() {
    let found = texts("sunflower oil 70, candelilla wax 30");
    assert!(about(&found, "safety")[0].contains("local rules"), "{found:?}");
}
