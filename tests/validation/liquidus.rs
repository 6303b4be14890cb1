//! Where the first crystal appears in two fatty acids or alcohols: 130 points of three papers, read in their machine-readable records.
//!
//! With the papers' own melting points and heats the solver must give the ideal liquidus, which has a closed form; with the species table, and chain
//! lengths kept apart by [`chain_length`], it is held against what was measured.

use barwright_blend::chain_length;
use barwright_blend::equilibrium::{Problem, SpeciesAmount};
use barwright_blend::{Options, assess};
use barwright_reference::{CrystalState, formula};
use serde::Deserialize;

use crate::{LIBRARY, MODEL, check_provenance, rows};

/// J/(mol K).
const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// 0 °C in kelvin.
const ZERO_K: f64 = 273.15;

/// A point of a phase diagram.
#[derive(Deserialize)]
struct Row {
    id: String,
    component_1: String,
    component_2: String,
    mole_fraction_1: Option<f64>,
    quantity: String,
    value_c: f64,
    crystal: String,
    source: String,
    status: String,
}

/// A component as its paper has it.
#[derive(Deserialize)]
struct Component {
    component: String,
    source: String,
    molar_mass_g_mol: f64,
    melt_c: f64,
    melt_status: String,
    heat_kj_mol: Option<f64>,
    heat_status: String,
}

/// A crystal: g/mol, °C, J/mol.
#[derive(Clone, Copy)]
struct Crystal {
    molar_mass_g_mol: f64,
    melt_c: f64,
    heat_j_mol: f64,
}

/// Error of a set of points: how many, mean, root mean square, K.
fn errors(list: &[f64]) -> (usize, f64, f64) {
    let count = list.len() as f64;
    let square: f64 = list.iter().map(|one| one * one).sum();
    (list.len(), list.iter().sum::<f64>() / count, (square / count).sqrt())
}

/// Temperature at which one crystal is in equilibrium with an ideal liquid that holds `x` of it, K (Schröder and van Laar; recalled).
fn ideal_k(crystal: Crystal, x: f64) -> f64 {
    1.0 / (1.0 / (crystal.melt_c + ZERO_K) - GAS_CONSTANT * x.ln() / crystal.heat_j_mol)
}

/// The first crystal of two components, K: where the solver's liquid is just saturated, in an ideal liquid.
fn liquidus_k(crystals: [Crystal; 2], x: f64, solutions: [usize; 2]) -> f64 {
    let amount = |which: usize, x: f64| {
        let Crystal { molar_mass_g_mol, melt_c, heat_j_mol } = crystals[which];
        let molar_mass = 1e-3 * molar_mass_g_mol;
        let mut one = SpeciesAmount::crystal(x * molar_mass, molar_mass, 0, melt_c + ZERO_K, heat_j_mol);
        one.solution = solutions[which];
        one
    };
    let amounts: Vec<SpeciesAmount> =
        [(0, x), (1, 1.0 - x)].into_iter().filter(|(_, x)| *x > 0.0).map(|(which, x)| amount(which, x)).collect();
    let problem = Problem::new(&amounts, 1).unwrap();
    let (mut low, mut high) = (230.0, 400.0);
    while high - low > 1e-10 {
        let middle = 0.5 * (low + high);
        if problem.largest_saturation(middle) > 1.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

fn points() -> Vec<Row> {
    let rows: Vec<Row> = rows("liquidus.csv");
    for row in &rows {
        check_provenance(&row.source, &row.status);
    }
    rows.into_iter().filter(|row| row.quantity == "liquidus").collect()
}

fn components() -> Vec<Component> {
    let rows: Vec<Component> = rows("liquidus_components.csv");
    for row in &rows {
        check_provenance(&row.source, &row.melt_status);
        assert_eq!(row.heat_kj_mol.is_some(), !row.heat_status.is_empty());
    }
    rows
}

/// A component as its paper has it, if the paper gives its heat.
fn of_the_paper(components: &[Component], key: &str, source: &str) -> Option<Crystal> {
    let found = components.iter().find(|one| one.component == key && one.source == source)?;
    let heat_j_mol = 1e3 * found.heat_kj_mol.filter(|_| found.heat_status == "read")?;
    Some(Crystal { molar_mass_g_mol: found.molar_mass_g_mol, melt_c: found.melt_c, heat_j_mol })
}

/// A component as the species table has it, or as the papers have it where the table does not.
fn of_the_table(components: &[Component], key: &str) -> (Crystal, bool) {
    if let Some(species) = LIBRARY.species.iter().find(|one| one.key == key) {
        let form = &species.forms[0];
        let crystal = Crystal {
            molar_mass_g_mol: species.molar_mass_g_mol,
            melt_c: form.melt_c,
            heat_j_mol: 1e3 * form.heat_kj_mol,
        };
        return (crystal, true);
    }
    let found = components.iter().find(|one| one.component == key).expect(key);
    let heat_j_mol = 1e3 * found.heat_kj_mol.expect(key);
    (Crystal { molar_mass_g_mol: found.molar_mass_g_mol, melt_c: found.melt_c, heat_j_mol }, false)
}

#[test]
fn the_solver_gives_the_ideal_liquidus() {
    let components = components();
    let points = points();
    assert_eq!(points.len(), 130);
    let mut missed = Vec::new();
    for row in &points {
        let x = row.mole_fraction_1.unwrap();
        let of = |key: &str| of_the_paper(&components, key, &row.source);
        let (Some(first), Some(second)) = (of(&row.component_1), of(&row.component_2)) else { continue };
        let closed = ideal_k(first, x).max(if x < 1.0 { ideal_k(second, 1.0 - x) } else { 0.0 });
        let solved = liquidus_k([first, second], x, [0, 1]);
        assert!((solved - closed).abs() <= 1e-8, "{}: {solved} against {closed} K", row.id);
        if x < 1.0 {
            missed.push(solved - ZERO_K - row.value_c);
        }
    }
    // 0.94 K was found by an independent reckoning when the records were read (shared notes of the search).
    let (count, bias, rms) = errors(&missed);
    println!("with the papers' own heats: {count} points, bias {bias:+.2}, RMS {rms:.2} K");
    assert_eq!(count, 54);
    assert!((rms - 0.94).abs() < 0.005, "{rms}");
}

#[test]
fn the_species_table_meets_what_was_measured() {
    let components = components();
    let (mut all, mut own, mut by_system) = (Vec::new(), Vec::new(), Vec::<(String, Vec<f64>)>::new());
    for row in points() {
        let x = row.mole_fraction_1.unwrap();
        let [(first, ours), (second, also)] =
            [&row.component_1, &row.component_2].map(|key| of_the_table(&components, key));
        let unsaturated = row.component_2.contains(':');
        let carbons = [first, second].map(|one| chain_length::carbons(one.molar_mass_g_mol));
        let numbers = chain_length::solutions(&carbons);
        // A double bond keeps a chain out of the crystals of the straight ones.
        let solutions = if unsaturated { [0, 1] } else { [numbers[0], numbers[1]] };
        assert_ne!(solutions[0], solutions[1], "{}", row.id);
        let error = liquidus_k([first, second], x, solutions) - ZERO_K - row.value_c;
        all.push(error);
        if ours && (also || unsaturated) {
            own.push(error);
        }
        let system = format!("{} + {}", row.component_1, row.component_2);
        match by_system.iter_mut().find(|(known, _)| *known == system) {
            Some((_, list)) => list.push(error),
            None => by_system.push((system, vec![error])),
        }
    }
    for (system, list) in &by_system {
        let (count, bias, rms) = errors(list);
        println!("{system:<26} {count:>3} points, bias {bias:+.2}, RMS {rms:.2} K");
    }
    let (count, bias, rms) = errors(&all);
    println!("{:<26} {count:>3} points, bias {bias:+.2}, RMS {rms:.2} K", "all");
    assert_eq!(count, 130);
    assert!(bias.abs() <= 1.0 && rms <= 2.0, "bias {bias}, RMS {rms}");
    // Those whose crystals are all in the table.
    let (count, bias, rms) = errors(&own);
    println!("{:<26} {count:>3} points, bias {bias:+.2}, RMS {rms:.2} K", "of the table alone");
    assert!(count >= 90 && bias.abs() <= 1.0 && rms <= 2.0, "{count}: bias {bias}, RMS {rms}");
}

/// Two crystals and the liquid: where the two ideal liquidus lines meet, with the papers' own figures.
#[test]
fn eutectics_are_where_the_lines_meet() {
    let components = components();
    let rows: Vec<Row> = rows("liquidus.csv");
    let mut seen = 0;
    for row in rows.iter().filter(|row| row.quantity == "eutectic" && row.crystal == "pure") {
        let of = |key: &str| of_the_paper(&components, key, &row.source);
        let (Some(first), Some(second)) = (of(&row.component_1), of(&row.component_2)) else { continue };
        let (mut low, mut high) = (1e-6, 1.0 - 1e-6);
        while high - low > 1e-12 {
            let x = 0.5 * (low + high);
            if ideal_k(first, x) < ideal_k(second, 1.0 - x) { low = x } else { high = x }
        }
        let x = 0.5 * (low + high);
        let found_c = liquidus_k([first, second], x, [0, 1]) - ZERO_K;
        println!("{} + {}: {found_c:.1} °C at {x:.3}, measured {}", row.component_1, row.component_2, row.value_c);
        assert!((found_c - row.value_c).abs() <= 2.5, "{}: {found_c} against {}", row.id, row.value_c);
        seen += 1;
    }
    assert_eq!(seen, 6);
}

/// Pure lots of two lengths, through the whole model: the first crystal is that of one of them alone.
#[test]
fn the_model_keeps_chain_lengths_apart() {
    const LOTS: &str = "
[lot.acid-C12]
like = \"purified-stearic-acid\"
species = { \"acid-C12\" = 100 }
[lot.acid-C18]
like = \"purified-stearic-acid\"
species = { \"acid-C18\" = 100 }
[lot.alcohol-C14]
like = \"stearyl-alcohol\"
species = { \"alcohol-C14\" = 100 }
[lot.alcohol-C18]
like = \"stearyl-alcohol\"
species = { \"alcohol-C18\" = 100 }
";
    let (library, _) = LIBRARY.with_lots(LOTS).unwrap();
    let masses = |key: &str| library.species.iter().find(|one| one.key == key).expect(key).molar_mass_g_mol;
    let mut missed = Vec::new();
    for row in points() {
        let (first, second) = (&row.component_1, &row.component_2);
        if !LOTS.contains(&format!("[lot.{first}]")) || !LOTS.contains(&format!("[lot.{second}]")) {
            continue;
        }
        let x = row.mole_fraction_1.unwrap();
        let parts: Vec<String> = [(first, x), (second, 1.0 - x)]
            .into_iter()
            .filter(|(_, x)| *x > 0.0)
            .map(|(key, x)| format!("{key} {}", x * masses(key)))
            .collect();
        let formula = formula::read_inline(&parts.join(", "), "row", &library).unwrap().formulas.remove(0);
        let options = Options { state: CrystalState::Rested, draws: 0, ..Options::default() };
        let found = assess(&library, &MODEL, &formula, &options).unwrap();
        missed.push(found.melt.clear_point_c.unwrap().value - row.value_c);
    }
    // With one crystal of both the bias was +5.4 K, the RMS 7.0 K.
    let (count, bias, rms) = errors(&missed);
    println!("through the whole model: {count} points, bias {bias:+.2}, RMS {rms:.2} K");
    assert_eq!(count, 30);
    assert!(bias.abs() <= 1.5 && rms <= 2.2, "bias {bias}, RMS {rms}");
}
