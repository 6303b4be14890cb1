//! Crystal forms of cocoa butter.

use barwright_reference::CrystalState;

use crate::answer;

#[test]
fn form_v_of_cocoa_butter() {
    // 33.8 °C, Wille and Lutton 1966, J. Am. Oil Chem. Soc. 43:491 (read through tertiary copies). Tempered lots are form V. The central figure misses it by
    // 1.5 °C, as `validate` says of row CLR-006: with the solids of five tempered lots in the fit, which want little left at 35 °C, it cannot do both.
    let end = answer("cocoa butter 100", CrystalState::Tempered, &[20.0]).melt.melt_end_c.unwrap();
    println!("form V: measured 33.8, ours {:.1} ({:.1} to {:.1})", end.value, end.low, end.high);
    assert!(end.low <= 33.8 && 33.8 <= end.high, "{end:?}");
}
