//! Scent as a light solvent and powder as a filler, against published relations.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use barwright_blend::assess::FirmnessAt;
use barwright_blend::{Assessment, Model, Options, assess};
use barwright_reference::{Library, formula};

fn assessed(text: &str) -> Assessment {
    let lots = "[lot.pure]\nlike = 'soy-wax-fully-hydrogenated'\nspecies = { SSS = 100 }\n";
    let (library, _) = Library::builtin().unwrap().with_lots(lots).unwrap();
    let bar = formula::read_inline(text, "bar", &library).unwrap();
    let options = Options { draws: 0, ..Options::default() };
    assess(&library, &Model::builtin().unwrap(), &bar.formulas[0], &options).unwrap()
}

/// Schröder and van Laar: `ln x γ = −(ΔH/R)(1/T − 1/T_m)` (textbook; recalled), with the heat of tristearin, 194.2 kJ/mol, and the molar masses 891.5 and
/// 152.0 g/mol (Wesdorp 1990, handbooks; recalled). The activity is that of a regular solution, whose parameter for light esters is 0.2 (estimated).
#[test]
fn a_scent_lowers_the_melting_of_tristearin_as_a_light_solvent_does() {
    let clear_k = |text: &str| assessed(text).melt.clear_point_c.unwrap().value + 273.15;
    let pure_k = clear_k("pure 100");
    for percent in [2.0_f64, 5.0, 20.0] {
        let (fat, scent) = ((100.0 - percent) / 891.5, percent / 152.0);
        let x = fat / (fat + scent);
        let ln_gamma = (0.2 * (1.0 - x)).powi(2);
        let expected_k = 1.0 / (1.0 / pure_k - 8.314_46 / 194.2e3 * (x.ln() + ln_gamma));
        let found_k = clear_k(&format!("pure {}, menthol {percent}", 100.0 - percent));
        assert!((found_k - expected_k).abs() < 0.01, "{percent} %: {found_k} K, {expected_k} K");
        assert!(pure_k - found_k > 0.5, "{percent} %");
    }
}

/// Chateau, Ovarlez and Trung 2008: `τ/τ_0 = √((1 − φ) η/η_0)`, with `η/η_0` by Maron and Pierce 1956 (both recalled).
#[test]
fn powder_stiffens_a_bar_as_grains_stiffen_a_paste() {
    let plain = assessed("beeswax 25, cocoa butter 25, sunflower oil 50");
    let filled = assessed("beeswax 20, cocoa butter 20, sunflower oil 40, corn starch 20");
    // Densities of the table: 0.960, 0.975, 0.920 and 1.50 g/ml.
    let (fat_ml, starch_ml) = (20.0_f64 / 0.960 + 20.0 / 0.975 + 40.0 / 0.920, 20.0_f64 / 1.50);
    let volume = starch_ml / (fat_ml + starch_ml);
    let stiffer = (1.0 - volume).sqrt() / (1.0 - volume / 0.60);
    let (p, f) = (&plain, &filled);
    for (plain, filled) in p.firmness.iter().zip(&f.firmness) {
        let ratio = filled.yield_stress_kpa.value / plain.yield_stress_kpa.value;
        assert!((ratio / stiffer - 1.0).abs() < 1e-6, "{ratio} {stiffer}");
        // As firm as more beeswax in oil, and harder for the needle.
        assert!(filled.beeswax_equivalent.percent().unwrap().value > plain.beeswax_equivalent.percent().unwrap().value);
        // Softer than the test allows counts as its limit.
        let needle_dmm = |one: &FirmnessAt| one.needle_dmm.map_or(f64::INFINITY, |found| found.value);
        assert!(needle_dmm(filled) <= needle_dmm(plain) && needle_dmm(&f.firmness[0]) < needle_dmm(&p.firmness[0]));
    }
    // Grains do not melt, and leave the fat as it is: solids are of the fat.
    for (plain, filled) in p.solids.iter().zip(&f.solids) {
        assert!((filled.percent.value - plain.percent.value).abs() < 1e-9);
    }
    let slip_c = |one: &Assessment| one.melt.slip_point_c.unwrap().value;
    assert!((slip_c(f) - slip_c(p)).abs() < 1e-6);
    assert!(filled.warmth.hold_c.unwrap().value >= plain.warmth.hold_c.unwrap().value);
}

#[test]
fn powder_beyond_what_packs_is_said() {
    let about = |text: &str| assessed(text).cautions.iter().filter(|one| one.about == "powder").count();
    assert_eq!(about("beeswax 25, sunflower oil 75"), 0);
    assert_eq!(about("beeswax 20, sunflower oil 60, mica 20"), 1);
    assert_eq!(about("beeswax 10, sunflower oil 20, mica 70"), 2);
}
