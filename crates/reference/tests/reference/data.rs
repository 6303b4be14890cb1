//! The real tables: complete, sound, and not changed unawares.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::collections::{BTreeSet, HashMap};
use std::sync::LazyLock;

use barwright_reference::names::normalise;
use barwright_reference::sources::{SOURCES, read_sources, source_citation};
use barwright_reference::{AnimalOrigin, Library, Lookup, Market, Origin};
use expect_test::expect;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| {
    Library::builtin().unwrap_or_else(|faults| {
        let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
        unreachable!("{} faults\n{}", faults.len(), lines.join("\n"))
    })
});

/// Row counts and column sums of the tables as they are.
fn counted() -> Vec<(&'static str, f64)> {
    let forms = || LIBRARY.species.iter().flat_map(|species| &species.forms);
    let components = || LIBRARY.ingredients.iter().flat_map(|ingredient| &ingredient.composition);
    let ingredients = || LIBRARY.ingredients.iter();
    let viscosities = || ingredients().flat_map(|ingredient| &ingredient.viscosity);
    let count = |number: usize| f64::from(u32::try_from(number).unwrap());
    vec![
        ("species", count(LIBRARY.species.len())),
        ("forms", count(forms().count())),
        ("ingredients", count(LIBRARY.ingredients.len())),
        ("components", count(components().count())),
        ("synonyms", count(ingredients().map(|ingredient| ingredient.synonyms.len()).sum())),
        ("sources", count(read_sources(SOURCES).unwrap().len())),
        ("viscosities", count(viscosities().count())),
        ("parts of blends", count(ingredients().map(|ingredient| ingredient.inci_parts.len()).sum())),
        ("names on labels", count(LIBRARY.label_names.len())),
        (
            "possibly from animals",
            count(ingredients().filter(|one| one.animal_origin == AnimalOrigin::Possible).count()),
        ),
        ("sum of molar_mass_g_mol", LIBRARY.species.iter().map(|species| species.molar_mass_g_mol).sum()),
        ("sum of melt_c", forms().map(|form| form.melt_c).sum()),
        ("sum of heat_kj_mol", forms().map(|form| form.heat_kj_mol).sum()),
        ("sum of percent", components().map(|component| component.percent).sum()),
        ("sum of sd_percent", components().map(|component| component.sd_percent).sum()),
        ("sum of density_g_ml", ingredients().map(|ingredient| ingredient.density_g_ml).sum()),
        ("sum of melt_low_c", ingredients().map(|ingredient| ingredient.melt_low_c).sum()),
        ("sum of melt_high_c", ingredients().map(|ingredient| ingredient.melt_high_c).sum()),
        ("sum of relative_firmness", ingredients().map(|ingredient| ingredient.relative_firmness).sum()),
        ("powders", count(ingredients().filter(|one| one.powder.is_some()).count())),
        ("sum of max_packing", ingredients().filter_map(|one| Some(one.powder.as_ref()?.max_packing)).sum()),
        ("sum of ln induction time", ingredients().filter_map(|one| Some(one.induction.as_ref()?.hours.ln())).sum()),
        ("sum of ln viscosity", viscosities().map(|point| point.viscosity.ln()).sum()),
        ("sum of ln_sd of viscosity", viscosities().map(|point| point.ln_sd).sum()),
    ]
}

/// After a change of the tables that is meant: `UPDATE_EXPECT=1 cargo test -p barwright-reference`.
#[test]
fn the_tables_are_as_frozen() {
    let print: String = counted().iter().map(|(what, number)| format!("{what}: {number:.3}\n")).collect();
    expect![[r#"
        species: 224.000
        forms: 268.000
        ingredients: 131.000
        components: 936.000
        synonyms: 556.000
        sources: 135.000
        viscosities: 255.000
        parts of blends: 12.000
        names on labels: 23.000
        possibly from animals: 12.000
        sum of molar_mass_g_mol: 147781.310
        sum of melt_c: 11463.190
        sum of heat_kj_mol: 29800.100
        sum of percent: 10800.000
        sum of sd_percent: 1507.750
        sum of density_g_ml: 161.656
        sum of melt_low_c: 17401.800
        sum of melt_high_c: 18932.700
        sum of relative_firmness: 64.730
        powders: 23.000
        sum of max_packing: 11.200
        sum of ln induction time: 136.341
        sum of ln viscosity: 649.374
        sum of ln_sd of viscosity: 75.580
    "#]]
    .assert_eq(&print);
}

#[test]
fn the_tables_are_complete_enough() {
    assert!(LIBRARY.ingredients.len() >= 65, "{} ingredients", LIBRARY.ingredients.len());
    assert!(LIBRARY.species.len() >= 120, "{} species", LIBRARY.species.len());
}

#[test]
fn every_composition_closes() {
    for ingredient in LIBRARY.ingredients.iter().filter(|one| one.powder.is_none()) {
        let total: f64 = ingredient.composition.iter().map(|component| component.percent).sum();
        assert!((total - 100.0).abs() <= 0.01, "{}: {total}", ingredient.key);
    }
}

#[test]
fn keys_are_unique() {
    let species: BTreeSet<&str> = LIBRARY.species.iter().map(|species| species.key.as_str()).collect();
    let ingredients: BTreeSet<&str> = LIBRARY.ingredients.iter().map(|ingredient| ingredient.key.as_str()).collect();
    assert_eq!((species.len(), ingredients.len()), (LIBRARY.species.len(), LIBRARY.ingredients.len()));
}

#[test]
fn every_name_of_an_ingredient_finds_it() {
    let mut owners: HashMap<String, &str> = HashMap::new();
    for (id, ingredient) in LIBRARY.by_id() {
        let mut own: BTreeSet<String> = BTreeSet::new();
        for name in ingredient.synonyms.iter().chain([&ingredient.key, &ingredient.common_name]) {
            assert_eq!(LIBRARY.find(name), Lookup::Found(id), "{name} of {}", ingredient.key);
            own.insert(normalise(name));
        }
        for name in own {
            let earlier = owners.insert(name.clone(), &ingredient.key);
            assert_eq!(earlier, None, "{name} of {}", ingredient.key);
        }
        assert!(!matches!(LIBRARY.find(&ingredient.inci_name), Lookup::Unknown { .. }), "{}", ingredient.inci_name);
    }
}

#[test]
fn every_source_is_in_the_bibliography() {
    let known: BTreeSet<String> =
        read_sources(SOURCES).unwrap().into_iter().map(|source| source.key.to_owned()).collect();
    let mut named: BTreeSet<&str> = BTreeSet::new();
    for species in &LIBRARY.species {
        named.extend(species.forms.iter().map(|form| form.source.as_str()));
    }
    for ingredient in &LIBRARY.ingredients {
        named.extend([&*ingredient.melt_source, &*ingredient.density_source, &*ingredient.relative_firmness_source]);
        named.extend(ingredient.needle_source.as_deref());
        named.extend(ingredient.composition.iter().map(|component| component.source.as_str()));
        named.extend(ingredient.induction.as_ref().map(|induction| induction.source.as_str()));
        named.extend(ingredient.powder.as_ref().map(|powder| powder.source.as_str()));
        named.extend(ingredient.viscosity.iter().map(|point| point.source.as_str()));
        named.extend(ingredient.inci_parts.iter().map(|part| part.source.as_str()));
    }
    named.extend(LIBRARY.label_names.iter().map(|name| name.source.as_str()));
    let missing: Vec<&&str> = named.iter().filter(|key| !known.contains(**key)).collect();
    assert!(missing.is_empty(), "{missing:?}");
    for key in named {
        let citation = source_citation(key).unwrap();
        assert!(citation.len() > 10 && !citation.contains('\n'), "{key}: {citation}");
    }
}

/// Whoever adds an oil or a butter says how long it keeps.
#[test]
fn every_fat_that_turns_rancid_has_an_induction_time() {
    use barwright_reference::IngredientKind::{Butter, Oil};
    let fats = LIBRARY.ingredients.iter().filter(|one| matches!(one.kind, Oil | Butter));
    let without: Vec<&str> = fats.filter(|one| one.induction.is_none()).map(|one| one.key.as_str()).collect();
    assert!(without.is_empty(), "{without:?}");
}

#[test]
fn figures_are_physical() {
    for species in &LIBRARY.species {
        assert!((50.0..=3000.0).contains(&species.molar_mass_g_mol), "{}", species.key);
        for form in &species.forms {
            assert!((-150.0..=250.0).contains(&form.melt_c), "{} {}", species.key, form.form);
            assert!((1.0..=500.0).contains(&form.heat_kj_mol), "{} {}", species.key, form.form);
            assert!(form.melt_sd_c >= 0.0 && form.heat_sd_kj_mol >= 0.0, "{} {}", species.key, form.form);
            // No organic crystal takes more than 300 J/g to melt.
            assert!(1000.0 * form.heat_kj_mol / species.molar_mass_g_mol < 300.0, "{} {}", species.key, form.form);
        }
    }
    for ingredient in &LIBRARY.ingredients {
        let heaviest = if ingredient.powder.is_some() { 6.0 } else { 1.2 };
        assert!((0.7..=heaviest).contains(&ingredient.density_g_ml), "{}", ingredient.key);
        assert!(ingredient.melt_low_c <= ingredient.melt_high_c, "{}", ingredient.key);
        assert!(ingredient.composition.iter().all(|c| c.percent > 0.0 && c.sd_percent >= 0.0), "{}", ingredient.key);
    }
}

#[test]
fn the_stable_form_melts_no_lower() {
    use barwright_reference::CrystalState::{Fresh, Rested};
    for species in &LIBRARY.species {
        if let (Some((fresh, _)), Some((rested, _))) = (species.crystal(Fresh), species.crystal(Rested)) {
            assert!(rested.melt_c >= fresh.melt_c, "{}: {} below {}", species.key, rested.melt_c, fresh.melt_c);
        }
    }
}

#[test]
fn a_blend_has_the_shares_that_its_composition_was_made_with() {
    // compositions.csv: "35 % half-hardened fat (two thirds stearic and palmitic) in .. oil".
    for key in ["avocado-butter", "almond-butter", "olive-butter", "soy-butter"] {
        let butter = LIBRARY.ingredient(key).unwrap();
        let hardened = butter.inci_parts.iter().find(|part| part.inci_name.starts_with("Hydrogenated")).unwrap();
        assert!(
            butter.composition.iter().all(|component| component.note.starts_with(&format!("{} % ", hardened.percent))),
            "{key}"
        );
    }
}

#[test]
fn what_may_come_from_tallow_or_sharks_is_flagged() {
    // Common practice; squalane from sharks read in an encyclopaedia copy.
    for key in [
        "stearic-acid",
        "purified-stearic-acid",
        "cetyl-alcohol",
        "cetearyl-alcohol",
        "stearyl-alcohol",
        "cetyl-esters-wax",
        "cetyl-palmitate",
        "squalane",
        "isopropyl-myristate",
        "isopropyl-palmitate",
        "mct-oil",
    ] {
        assert_eq!(LIBRARY.ingredient(key).unwrap().animal_origin, AnimalOrigin::Possible, "{key}");
    }
    let sure: Vec<&str> =
        LIBRARY.ingredients.iter().filter(|one| one.origin == Origin::Animal).map(|one| &*one.key).collect();
    assert_eq!(sure, ["beeswax", "white-beeswax", "lanolin"]);
    assert!(LIBRARY.ingredient("lanolin").unwrap().sensitiser.is_some());
}

#[test]
fn every_name_of_the_label_table_leads_to_the_same_pair() {
    let both = |name: &str| Market::ALL.map(|market| LIBRARY.label_name(name, market));
    for name in &LIBRARY.label_names {
        assert_eq!(both(&name.inci_name), both(&name.eu_name), "{name:?}");
        assert_eq!(both(&name.inci_name), [name.eu_name.clone(), name.us_name.clone()], "{name:?}");
        // Two beeswaxes have one name in the US; the bleached one is meant by it.
        let us = if name.us_name == "Beeswax" { "Cera Alba" } else { &name.inci_name };
        assert_eq!(both(&name.us_name), both(us), "{name:?}");
    }
}
