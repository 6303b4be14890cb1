//! n-alkanes share a crystal when they are two carbons apart and not when they are four.
//!
//! Source: Mnyukh 1960, J. Struct. Chem. 1:346, and Dorset 1990, Macromolecules 23:623 (both recalled): C24 + C26 solid solution,
//! C24 + C28 eutectic.

use barwright_blend::{Assessment, Options, assess};
use barwright_reference::{CrystalState, formula};

use crate::{LIBRARY, MODEL};

const LOTS: &str = "
[lot.pure-c24]
like = \"paraffin\"
species = { \"n-C24\" = 100 }
[lot.pure-c26]
like = \"paraffin\"
species = { \"n-C26\" = 100 }
[lot.pure-c28]
like = \"paraffin\"
species = { \"n-C28\" = 100 }
";

fn answer(text: &str, at_c: &[f64]) -> Assessment {
    let (library, _) = LIBRARY.with_lots(LOTS).unwrap();
    let formula = formula::read_inline(text, "row", &library).unwrap().formulas.remove(0);
    let options = Options { state: CrystalState::Rested, at_c: at_c.to_vec(), draws: 0, ..Options::default() };
    assess(&library, &MODEL, &formula, &options).unwrap()
}

/// Temperature of the first melt: the solids fall below 99.9 %.
fn first_melt_c(text: &str) -> f64 {
    let at_c: Vec<f64> = (300..700).map(|tenths| 0.1 * f64::from(tenths)).collect();
    let found = answer(text, &at_c);
    let first = found.solids.iter().find(|point| point.percent.value < 99.9);
    first.unwrap().temperature_c
}

#[test]
fn two_carbons_apart_co_crystallise_and_four_apart_separate() {
    let clear_c = |text: &str| answer(text, &[20.0]).melt.clear_point_c.unwrap().value;
    let shortest_c = clear_c("pure-c24 100");
    let (near_c, far_c) = (first_melt_c("pure-c24 50, pure-c26 50"), first_melt_c("pure-c24 50, pure-c28 50"));
    println!("C24 {shortest_c:.1}; first melt with C26 {near_c:.1}, with C28 {far_c:.1}");
    // A solid solution starts to melt above its lower member, a eutectic below it.
    assert!(near_c > shortest_c + 0.5, "{near_c} {shortest_c}");
    assert!(far_c < shortest_c - 0.5, "{far_c} {shortest_c}");
    // A eutectic: adding some of the other lowers the melting point of each.
    assert!(clear_c("pure-c28 90, pure-c24 10") < clear_c("pure-c28 100"));
    assert!(clear_c("pure-c28 10, pure-c24 90") < shortest_c);
    // A length in between bridges the gap.
    assert!(first_melt_c("pure-c24 34, pure-c26 33, pure-c28 33") > shortest_c);
}
