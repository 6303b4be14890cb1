//! Haighton's cone relation (J. Am. Oil Chem. Soc. 36:345, 1959): check values worked out to the digits shown; K read second-hand.

use barwright_blend::penetration::{Cone, PASCAL_PER_GRAM_CM2, cone_penetration_dmm, cone_yield};

#[test]
fn cone_yield_values_of_haighton() {
    for (mass_g, penetration_dmm, g_cm2, in_range) in [
        (100.0, 10.0, 14_669.0, false),
        (100.0, 20.0, 4839.0, true),
        (100.0, 50.0, 1117.0, true),
        (100.0, 100.0, 368.5, true),
        (100.0, 200.0, 121.6, true),
        (80.0, 100.0, 294.8, true),
        (100.0, 400.0, 40.1, false),
    ] {
        let found = cone_yield(Cone::DEG_40, mass_g, penetration_dmm).unwrap();
        assert!((found.g_cm2 / g_cm2 - 1.0).abs() < 1e-3, "{} against {g_cm2}", found.g_cm2);
        assert_eq!(found.in_range, in_range, "the warning outside 45 to 8300 g/cm²: {g_cm2}");
        assert!((found.kpa - g_cm2 * 0.09807).abs() / found.kpa < 1e-3);
        let back = cone_penetration_dmm(Cone::DEG_40, mass_g, found.kpa).unwrap();
        assert!((back - penetration_dmm).abs() < 1e-9);
    }
    // 1 gram-force per square centimetre: standard gravity over 1e-3 kg and 1e-4 m².
    assert!((PASCAL_PER_GRAM_CM2 - 98.07).abs() < 0.01);
}
