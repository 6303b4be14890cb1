//! Heat of melting and shrinkage of neat ingredients, beside published figures. Nothing is fitted on them.

use barwright_blend::assess::Workbench;
use barwright_blend::heat_curve::HeatCurves;
use barwright_blend::{Model, Options};
use barwright_reference::{CrystalState, Library, formula};

fn curves(text: &str, state: CrystalState) -> HeatCurves {
    let library = Library::builtin().unwrap();
    let model = Model::builtin().unwrap();
    let bar = formula::read_inline(&format!("{text} 1"), "x", &library).unwrap().formulas.remove(0);
    let options = Options { draws: 0, state, ..Options::default() };
    Workbench::new(&library, &model, options).unwrap().heat_curves(&bar, 0).unwrap().central.clone()
}

/// Heat of fusion between two temperatures: what is taken up beyond warming, J/kg.
fn latent_j_per_kg(curves: &HeatCurves, from_c: f64, to_c: f64) -> f64 {
    let heat = curves.heat_j_per_kg(&curves.in_use, from_c, to_c);
    heat - curves.properties.solid_j_per_kgk * (to_c - from_c)
}

/// Published heats of melting scatter by about this between studies of one material.
const SCATTER: f64 = 0.15;

#[test]
fn heat_of_melting() {
    for (name, state, from_c, to_c, low_kj_per_kg, high_kj_per_kg, source) in [
        ("cocoa butter", CrystalState::Tempered, 15.0, 45.0, 157.0, 157.0, "tables of Beckett 2009, read"),
        (
            "beeswax",
            CrystalState::Rested,
            20.0,
            75.0,
            145.0,
            206.0,
            "206: review PMC12131709, read; 145 to 180: recalled",
        ),
        ("coconut oil", CrystalState::Rested, 0.0, 35.0, 133.0, 133.0, "review PMC12131709, read"),
        ("paraffin wax", CrystalState::Rested, 20.0, 75.0, 200.0, 220.0, "handbooks, second hand"),
    ] {
        let found = latent_j_per_kg(&curves(name, state), from_c, to_c) / 1e3;
        println!("{name}: {found:.0} kJ/kg, published {low_kj_per_kg} to {high_kj_per_kg} ({source})");
        assert!(
            ((1.0 - SCATTER) * low_kj_per_kg..(1.0 + SCATTER) * high_kj_per_kg).contains(&found),
            "{name}: {found}"
        );
    }
}

#[test]
fn shrinkage_from_melt_to_cold() {
    for (name, state, pour_c, cold_c, low, high, source) in [
        // Linear 1.2 % in a closed fed mould, 1.9 to 3.4 % in an open one.
        ("beeswax", CrystalState::Rested, 70.0, 9.0, 0.036, 0.100, "PMC11876593, read"),
        ("cocoa butter", CrystalState::Tempered, 45.0, 15.0, 0.06, 0.12, "densities of solid and liquid, read"),
    ] {
        let found = curves(name, state).shrinkage(pour_c, cold_c);
        println!(
            "{name}: {:.1} % of the volume, published {:.1} to {:.1} ({source})",
            100.0 * found,
            100.0 * low,
            100.0 * high
        );
        assert!((low..=high).contains(&found), "{name}: {found}");
    }
}

#[test]
fn heat_rises_with_temperature_and_no_branch_loses_any() {
    let found = curves("beeswax 26, shea butter 32, sunflower oil 42, stearic acid", CrystalState::Rested);
    for curve in [&found.in_use, &found.setting] {
        for pair in curve.windows(2) {
            let rise = pair[1].enthalpy_j_per_kg - pair[0].enthalpy_j_per_kg;
            let warmer = pair[1].state.temperature_c - pair[0].state.temperature_c;
            // Never less than by heat capacity alone, but for the little its change with melting takes.
            assert!(rise > 0.95 * found.properties.solid_j_per_kgk * warmer, "{pair:?}");
        }
        let last = curve.last().unwrap();
        assert_eq!(last.state.solids, 0.0);
        let alike = found.enthalpy_j_per_kg(curve, 95.0) - found.enthalpy_j_per_kg(&found.in_use, 95.0);
        assert!(alike.abs() < 1e-6, "{alike}");
    }
    // Wax sets as it melts; a soft butter sets into crystals that melt lower.
    assert_eq!(found.haze_c, found.clear_c);
    let shea = curves("shea butter", CrystalState::Rested);
    assert!(shea.haze_c < shea.clear_c);
}
