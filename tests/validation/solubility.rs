//! Solubility of one solid against the `chemicals` Python library (made by `solubility_cases.py`; read).

use barwright_blend::equilibrium::{Problem, Solver, SpeciesAmount};
use barwright_blend::solubility::solid_solubility;
use serde::Deserialize;

use crate::{check_provenance, rows};

#[derive(Deserialize)]
struct Row {
    temperature_k: f64,
    melt_k: f64,
    heat_j_mol: f64,
    gamma: f64,
    mole_fraction: f64,
    source: String,
    status: String,
}

#[test]
fn closed_form_agrees_with_the_library() {
    let rows: Vec<Row> = rows("solubility.csv");
    assert_eq!(rows.len(), 61);
    for row in &rows {
        check_provenance(&row.source, &row.status);
        let x = solid_solubility(row.temperature_k, row.melt_k, row.heat_j_mol, row.gamma);
        // The library uses the same gas constant; what is left is rounding.
        assert!(((x - row.mole_fraction) / row.mole_fraction).abs() < 1e-8, "{x} against {}", row.mole_fraction);
    }
    assert!((rows[0].mole_fraction - 0.243400713).abs() < 1e-8, "the worked example of the issue");
}

#[test]
fn the_equilibrium_reproduces_the_closed_form() {
    for row in rows::<Row>("solubility.csv") {
        // A solvent that never crystallises, and one mole of solid to half a mole of it. γ is constant in the closed form: an
        // ideal liquid with the melting point that brings the same K.
        let ln_k =
            row.heat_j_mol / 8.314_462_618_153_24 * (1.0 / row.temperature_k - 1.0 / row.melt_k) + row.gamma.ln();
        let melt_k = 1.0 / (1.0 / row.temperature_k - ln_k * 8.314_462_618_153_24 / row.heat_j_mol);
        if ln_k <= 0.0 || !(220.0..470.0).contains(&row.temperature_k) {
            continue;
        }
        let solid = SpeciesAmount::crystal(1.0, 1.0, 0, melt_k, row.heat_j_mol);
        let problem = Problem::new(&[solid, SpeciesAmount::amorphous(0.5, 1.0)], 1).unwrap();
        let mut solver = Solver::new(&problem);
        let phases = solver.solve(&problem, row.temperature_k).unwrap();
        if phases.solid_moles(0) == 0.0 {
            continue;
        }
        let x = phases.species_liquid_moles(0) / phases.liquid_moles();
        assert!((x - row.mole_fraction).abs() < 1e-8, "{x} against {}", row.mole_fraction);
    }
}
