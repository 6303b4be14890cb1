#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
use std::sync::LazyLock;

use barwright_reference::{Library, Part};
use proptest::prelude::*;

use super::*;
use crate::{Model, Options};

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap());
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());
static BENCH: LazyLock<Workbench<'static>> = LazyLock::new(|| {
    Workbench::new(&LIBRARY, &MODEL, Options { draws: DRAWS, at_c: vec![25.0], ..Options::default() }).unwrap()
});

const DRAWS: usize = 64;

/// Distance, relative, of a viscosity from that of a temperature found for it.
const FOUND: f64 = 1e-8;

/// Distance of two results that are the same but for rounding.
const SAME: f64 = 1e-9;

fn formula(parts: &[(&str, f64)]) -> Formula {
    let index = |key: &str| LIBRARY.id_of(key).unwrap();
    let parts = parts.iter().map(|(key, percent)| Part { ingredient: index(key), percent: *percent }).collect();
    Formula { name: String::new(), parts }
}

fn melt(parts: &[(&str, f64)]) -> MeltViscosity {
    BENCH.melt_viscosity(&formula(parts), DRAWS).unwrap()
}

/// Mean and root mean square of ln(ours / published).
fn score(ours_and_published: &[(f64, f64)]) -> (f64, f64) {
    let logs: Vec<f64> = ours_and_published.iter().map(|(ours, published)| (ours / published).ln()).collect();
    let count = logs.len() as f64;
    (logs.iter().sum::<f64>() / count, (logs.iter().map(|one| one * one).sum::<f64>() / count).sqrt())
}

#[test]
fn every_ingredient_has_a_falling_line_near_its_points() {
    for ingredient in LIBRARY.ingredients.iter().filter(|one| one.powder.is_none()) {
        let properties = &BENCH.draw(None).model.heat;
        let line = ingredient_line(ingredient, properties).unwrap();
        for point in &ingredient.viscosity {
            let density = match point.unit {
                ViscosityUnit::Kinematic => 1.0,
                ViscosityUnit::Dynamic => melt_density_g_ml(ingredient, properties, point.temperature_c),
            };
            let off = (line.at_mm2_s(point.temperature_c) * density / point.viscosity).ln();
            // Whole mm²/s and several sources in one line: 10 % at the most, as measured.
            assert!(off.abs() < 0.10, "{} at {} °C: {off:+.3}", ingredient.key, point.temperature_c);
        }
        let at = |celsius: f64| line.at_mm2_s(celsius);
        assert!(at(60.0) > at(80.0) && at(80.0) > at(120.0), "{}", ingredient.key);
        // Rosin is a glass that has just softened there, lecithin a paste.
        let thickest = match ingredient.key.as_str() {
            "rosin" => 5000.0,
            "lecithin" => 500.0,
            _ => 200.0,
        };
        assert!((0.5..thickest).contains(&at(100.0)), "{}: {}", ingredient.key, at(100.0));
    }
}

/// Oils of other sources than the table's: published mPa·s. None of these figures is in the table.
///
/// Source: Viswanath and Natarajan 1989, three-term coefficients of sunflower, soybean, olive, corn, peanut and rapeseed oil, 290 to 340 K (read in an open data
/// file), evaluated here.
#[test]
fn oils_of_a_data_book_are_met() {
    let (mut all, mut covered) = (Vec::new(), 0);
    for (key, a, b, c) in [
        ("sunflower-oil", -0.6505, -304.27, 168.98),
        ("soybean-oil", -1.4977, -581.28, 115.28),
        ("olive-oil", -1.911, -699.7, 110.3),
        ("corn-oil", -0.5581, -263.32, 183.6),
        ("peanut-oil", -0.9621, -407.46, 151.23),
        ("rapeseed-oil", -1.4802, -597.2, 119.99),
    ] {
        let melt = melt(&[(key, 100.0)]);
        for celsius in [25.0, 40.0, 60.0] {
            let published = 10.0_f64.powf(a + b / (c - (celsius + 273.15)));
            let ours = melt.at(celsius);
            covered += usize::from((ours.low..=ours.high).contains(&published));
            all.push((ours.value, published));
        }
    }
    let (bias, rms) = score(&all);
    // Measured: -0.017, 0.112 (rapeseed oil -20 %: that of the book is likely the thicker, high-erucic kind; olive oil +10 to +17 %), 16 of 18 in their 90 % interval.
    assert!(bias.abs() < 0.03 && rms < 0.12 && covered >= 16, "{bias:+.3}, {rms:.3}, {covered} of {}", all.len());
}

/// Oils of other sources than the table's: published mm²/s. None of these figures is in the table.
///
/// Source: Magne and Skau 1945 and Ryan and others 1984 for soybean and peanut oil, in the compilation the table was read in; castor oil of an unnamed pump
/// handbook, in an open table of liquids (read).
#[test]
fn kinematic_figures_of_other_sources_are_met() {
    let score_of = |rows: &[(&str, f64, f64)]| {
        let ours = |key: &str, celsius: f64| melt(&[(key, 100.0)]).central.kinematic_mm2_s(celsius);
        score(&rows.iter().map(|(key, celsius, published)| (ours(key, *celsius), *published)).collect::<Vec<_>>())
    };
    let oils = score_of(&[
        ("soybean-oil", 0.0, 184.9),
        ("soybean-oil", 10.0, 107.5),
        ("soybean-oil", 25.0, 55.0),
        ("soybean-oil", 40.0, 32.0),
        ("soybean-oil", 20.0, 65.3),
        ("soybean-oil", 40.0, 31.3),
        ("soybean-oil", 100.0, 7.7),
        ("peanut-oil", 10.0, 154.0),
        ("peanut-oil", 25.0, 73.0),
        ("peanut-oil", 40.0, 41.0),
    ]);
    // Measured: -0.034, 0.079.
    assert!(oils.0.abs() < 0.04 && oils.1 < 0.08, "{oils:?}");
    let castor = score_of(&[
        ("castor-oil", 20.0, 1017.0),
        ("castor-oil", 30.0, 580.0),
        ("castor-oil", 40.0, 315.0),
        ("castor-oil", 50.0, 200.0),
        ("castor-oil", 60.0, 115.0),
    ]);
    // Measured: -0.171, 0.224; +9 % at 20 °C, -33 % at 50 °C. The two sources do not agree, and the line has two points. A miss that stays.
    assert!(castor.0.abs() < 0.18 && castor.1 < 0.23, "{castor:?}");
}

/// Densities of liquid oils over 85 K: Noureddini and others 1992, in the same compilation (read).
#[test]
fn densities_of_oils_are_met() {
    let mut worst = 0.0_f64;
    for (key, celsius, published) in [
        ("corn-oil", 23.9, 0.9188),
        ("corn-oil", 60.0, 0.8939),
        ("corn-oil", 110.0, 0.861),
        ("soybean-oil", 23.9, 0.9193),
        ("soybean-oil", 60.0, 0.8939),
        ("soybean-oil", 110.0, 0.8615),
        ("coconut-oil-76", 60.0, 0.8949),
        ("coconut-oil-76", 110.0, 0.8605),
    ] {
        let ours = melt(&[(key, 100.0)]).central.density_g_ml(celsius);
        worst = worst.max((ours / published - 1.0).abs());
    }
    // Measured: 1.1 % (coconut oil at 110 °C).
    assert!(worst < 0.012, "{worst}");
}

#[test]
fn the_rules_part_by_what_the_documentation_says() {
    let apart = (logarithm_rule(&[(0.5, 10.0), (0.5, 1000.0)]) / 56.86).ln();
    assert!((apart - 0.56).abs() < 0.01, "{apart}");
    let rule_ln_sd = |parts: &[(&str, f64)], temperature_c: f64| {
        let parts = melt(parts).central.parts_at(temperature_c);
        (logarithm_rule(&parts) / double_logarithm_rule(&parts)).ln().max(0.0)
    };
    let wide = rule_ln_sd(&[("castor-oil", 50.0), ("isopropyl-myristate", 50.0)], 30.0);
    let near = rule_ln_sd(&[("castor-oil", 50.0), ("olive-oil", 50.0)], 30.0);
    let hot = rule_ln_sd(&[("castor-oil", 50.0), ("isopropyl-myristate", 50.0)], 90.0);
    assert!(wide > 0.4 && near < 0.15 && near > 0.0 && hot < wide, "{wide}, {near}, {hot}");
    assert!(rule_ln_sd(&[("olive-oil", 100.0)], 30.0) < SAME);
}

#[test]
fn a_neat_melt_has_its_own_line() {
    for key in ["beeswax", "castor-oil", "sugarcane-wax", "paraffin"] {
        let ingredient = LIBRARY.ingredient(key).unwrap();
        let properties = &BENCH.draw(None).model.heat;
        let line = ingredient_line(ingredient, properties).unwrap();
        let melt = melt(&[(key, 100.0)]);
        for celsius in [65.0, 90.0, 140.0] {
            let own = line.at_mm2_s(celsius) * melt_density_g_ml(ingredient, properties, celsius);
            assert!((melt.central.at(celsius) / own - 1.0).abs() < SAME, "{key}");
        }
        assert_eq!(melt.of_kind.is_empty(), key != "sugarcane-wax");
    }
    // A dynamic viscosity of the table comes back whatever the density.
    assert!((melt(&[("beeswax", 100.0)]).at(80.0).value - 17.0).abs() < SAME);
}

#[test]
fn the_spread_of_a_neat_melt_is_that_of_the_table() {
    let beeswax = melt(&[("beeswax", 100.0)]).at(80.0);
    // ±1.645 · 0.25 in ln μ, on 64 draws.
    assert!(((beeswax.high / beeswax.low).ln() / (2.0 * 1.645 * 0.25) - 1.0).abs() < 0.05, "{beeswax:?}");
}

#[test]
fn temperatures_of_a_viscosity_and_of_another_melt_are_found() {
    let (plain, castor) =
        (melt(&[("beeswax", 30.0), ("olive-oil", 70.0)]), melt(&[("beeswax", 30.0), ("castor-oil", 70.0)]));
    let celsius = plain.central.temperature_at(15.0).unwrap();
    assert!((plain.central.at(celsius) - 15.0).abs() < 1e-6);
    let equal = equal_viscosity(&plain, 70.0, &castor).unwrap();
    assert!((castor.central.at(equal.value) / plain.central.at(70.0) - 1.0).abs() < FOUND);
    let back = equal_viscosity(&castor, equal.value, &plain).unwrap();
    assert!((back.value - 70.0).abs() < 1e-4, "{back:?}");
    // The same melt beside itself: the draws are paired, so nothing is spread.
    let itself = equal_viscosity(&plain, 70.0, &plain).unwrap();
    assert!((itself.high - itself.low).abs() < 1e-4 && (itself.value - 70.0).abs() < 1e-5, "{itself:?}");
}

#[test]
fn viscosities_no_melt_has_are_not_found() {
    let melt = melt(&[("olive-oil", 100.0)]);
    for bad in [0.0, -1.0, 1e-3, 1e9, f64::NAN, f64::INFINITY] {
        assert_eq!(melt.central.temperature_at(bad), None, "{bad}");
    }
    assert!(melt.at(f64::NAN).value.is_nan());
    assert_eq!(melt.at(1e6), melt.at(HIGHEST_C));
    assert_eq!(melt.at(-300.0), melt.at(LOWEST_C));
}

#[test]
fn formulas_without_a_melt_are_refused() {
    let of = |parts: Vec<Part>| BENCH.melt_viscosity(&Formula { name: String::new(), parts }, 0).map(|_| ());
    let first = LIBRARY.id_at(0).unwrap();
    assert_eq!(of(vec![]), Err(BlendError::NoParts));
    for percent in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(of(vec![Part { ingredient: first, percent }]), Err(BlendError::NoParts), "{percent}");
    }
    let (other, _) = LIBRARY.with_lots("[lot.mine]\nlike = 'beeswax'\n").unwrap();
    let parts = vec![Part { ingredient: other.id_of("mine").unwrap(), percent: 1.0 }];
    assert_eq!(of(parts), Err(BlendError::UnknownIngredient { index: LIBRARY.ingredients.len() }));
    let mut broken = LIBRARY.clone();
    broken.ingredients[0].viscosity.clear();
    let bench = Workbench::new(&broken, &MODEL, Options { draws: 0, at_c: vec![], ..Options::default() }).unwrap();
    let error = bench
        .melt_viscosity(&Formula { name: String::new(), parts: vec![Part { ingredient: first, percent: 1.0 }] }, 0);
    assert!(matches!(error, Err(BlendError::Viscosity { error: LineError::TooFewTemperatures, .. })), "{error:?}");
}

proptest! {
    #[test]
    fn a_blend_lies_between_its_parts_falls_and_has_no_order(
        chosen in proptest::collection::vec((0..84_usize, 0.1..100.0_f64), 1..7),
        celsius in 20.0..150.0_f64,
    ) {
        let parts: Vec<Part> = chosen.iter()
            .map(|(index, percent)| Part { ingredient: LIBRARY.id_at(index % LIBRARY.ingredients.len()).unwrap(), percent: *percent }).collect();
        let of = |parts: &[Part]| {
            BENCH.melt_viscosity(&Formula { name: String::new(), parts: parts.to_vec() }, DRAWS).unwrap()
        };
        let melt = of(&parts);
        for curve in std::iter::once(&melt.central).chain(&melt.drawn) {
            let each = curve.parts_at(celsius);
            let low = each.iter().map(|(_, viscosity)| *viscosity).fold(f64::INFINITY, f64::min);
            let high = each.iter().map(|(_, viscosity)| *viscosity).fold(0.0, f64::max);
            let blend = curve.kinematic_mm2_s(celsius);
            prop_assert!(blend >= low * (1.0 - SAME) && blend <= high * (1.0 + SAME), "{blend} of {low} to {high}");
            prop_assert!(curve.at(celsius) > curve.at(celsius + 1.0));
        }
        let mut turned = parts.clone();
        turned.reverse();
        prop_assert_eq!(of(&turned), melt.clone());
        let doubled: Vec<Part> = parts.iter().map(|part| Part { percent: 2.0 * part.percent, ..part.clone() }).collect();
        prop_assert!((of(&doubled).central.at(celsius) / melt.central.at(celsius) - 1.0).abs() < SAME);
    }
}

#[test]
fn a_line_goes_through_its_points() {
    // From 36 mm²/s at 40 °C and 8.2 at 100 °C: 15.35 at 70 °C, 62.34 at 25 °C.
    let line = ViscosityLine::through(&[(40.0, 36.0), (100.0, 8.2)]).unwrap();
    assert!((line.at_mm2_s(70.0) - 15.35).abs() < 0.005 && (line.at_mm2_s(25.0) - 62.34).abs() < 0.005);
}
