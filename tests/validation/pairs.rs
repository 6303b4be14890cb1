//! Which fats get on in one crystal: pairs that publications call compatible or eutectic, in words and without figures.
//!
//! Zhang, Ueno, Miura and Sato 2007 (POP + POO), Lu and others 2019 (PPP + POO, PPP + POP), Zaliha and others 2012, J. Oil Palm Res. 24:1349 (cocoa butter + palm mid
//! fraction, + a cocoa butter equivalent of iodine value 32.4, + a hardened lauric fat), Eur. J. Lipid Sci. Technol. 2007, doi 10.1002/ejlt.200600198 (palm stearin + palm kernel
//! olein), a preprint on wax esters (451125): each read in its abstract. What fractions are made of is ours: no composition was in the abstracts.
//!
//! Not held, because the model does not have it: the 1:1 compounds of POP with OPO and PPO and of SOS with SSO (Bayés-García 2015), which it takes for eutectic pairs.

use std::sync::LazyLock;

use barwright_blend::{Options, assess};
use barwright_reference::{CrystalState, Library, formula};

use crate::{LIBRARY, MODEL};

/// Pure triglycerides and esters, and fractions as they are typically made of.
const SAMPLES: &str = r#"
[lot.pure-pop]
like = "palm-oil"
species = { POP = 100 }
[lot.pure-poo]
like = "palm-oil"
species = { POO = 100 }
[lot.pure-ppp]
like = "palm-stearin"
species = { PPP = 100 }
[lot.palm-mid-fraction]
like = "palm-oil"
species = { POP = 58, POS = 12, POO = 10, PLP = 10, PPP = 4, PPO = 4, SOS = 2 }
[lot.cocoa-butter-equivalent]
like = "cocoa-butter"
species = { POP = 30, POS = 15, SOS = 40, POO = 5, SOO = 5, PLP = 3, SOA = 2 }
[lot.hardened-lauric-fat]
like = "palm-kernel-oil"
species = { LaLaLa = 24, LaLaM = 22, CLaLa = 8, LaMM = 10, LaLaP = 8, LaMP = 8, LaPP = 4, MMM = 3, CLaM = 5, MMP = 3, PSS = 3, SSS = 2 }
[lot.palm-kernel-olein]
like = "palm-kernel-oil"
species = { LaLaLa = 12, LaLaM = 10, C8LaLa = 8, CLaLa = 6, LaLaO = 10, LaMO = 12, LaOO = 11, LaPO = 8, POO = 8, MOO = 6, OOO = 5, C8LaM = 4 }
[lot.short-ester]
like = "cetyl-palmitate"
species = { ester-C32-short = 100 }
[lot.long-ester]
like = "sunflower-wax"
species = { ester-C44-long = 100 }
[lot.longer-ester]
like = "sunflower-wax"
species = { ester-C46-long = 100 }
"#;

static SAMPLED: LazyLock<Library> = LazyLock::new(|| LIBRARY.with_lots(SAMPLES).expect("sound lots").0);

/// Solids at one temperature and the clear point.
fn of(text: &str, state: CrystalState, at_c: f64) -> (f64, f64) {
    let formula = formula::read_inline(text, "row", &SAMPLED).expect(text).formulas.remove(0);
    let options = Options { state, at_c: vec![at_c], draws: 0, ..Options::default() };
    let found = assess(&SAMPLED, &MODEL, &formula, &options).expect(text);
    (found.solids[0].percent.value, found.melt.clear_point_c.map_or(f64::NAN, |one| one.value))
}

fn mix(first: &str, percent: f64, second: &str) -> String {
    format!("{first} {percent}, {second} {}", 100.0 - percent)
}

/// Solids of a mix less those of its parts by mass, points: far below zero in a eutectic.
fn beside_the_mean(first: &str, percent: f64, second: &str, state: CrystalState, at_c: f64) -> f64 {
    let alone = |name: &str| of(&format!("{name} 100"), state, at_c).0;
    let mean = percent / 100.0 * alone(first) + (1.0 - percent / 100.0) * alone(second);
    of(&mix(first, percent, second), state, at_c).0 - mean
}

/// Two crystals: the last liquid of every mix freezes at one temperature, and a little above it the lower one is gone.
fn assert_eutectic(high: &str, low: &str, percents: &[f64], [below_c, above_c]: [f64; 2]) {
    for &percent in percents {
        let text = mix(high, percent, low);
        let (cold, warm) = (of(&text, CrystalState::Rested, below_c).0, of(&text, CrystalState::Rested, above_c).0);
        println!("{text}: {cold:.1} % at {below_c} °C, {warm:.1} % at {above_c} °C");
        assert!(cold > 97.0, "{text}: {cold} % at {below_c} °C");
        assert!(warm < percent + 0.1, "{text}: {warm} % at {above_c} °C");
    }
}

/// POP + POO: eutectic in stable and less stable states (Zhang 2007). The first crystals of little POP in POO come at a lower temperature than either alone.
#[test]
fn pop_and_poo_are_eutectic() {
    assert_eutectic("pure-pop", "pure-poo", &[30.0, 50.0, 80.0], [17.5, 19.5]);
    for state in [CrystalState::Rested, CrystalState::Fresh] {
        let clear_c = |percent: f64| of(&mix("pure-pop", percent, "pure-poo"), state, 10.0).1;
        let least_c = [1.0, 2.0, 3.0, 5.0].map(clear_c).into_iter().fold(f64::INFINITY, f64::min);
        assert!(least_c < of("pure-poo 100", state, 10.0).1 && clear_c(60.0) > least_c + 10.0, "{least_c}");
    }
}

/// PPP + POO below 90 % and PPP + POP below 80 %: eutectic. The solid solution that is above those the model has not.
#[test]
fn tripalmitin_crystallises_apart_from_oleic_triglycerides() {
    assert_eutectic("pure-ppp", "pure-poo", &[20.0, 50.0, 85.0], [17.5, 19.5]);
    assert_eutectic("pure-ppp", "pure-pop", &[20.0, 50.0, 75.0], [33.5, 36.0]);
}

/// Cocoa butter and an equivalent are compatible at every ratio; with 10 to 20 % of palm mid fraction or of a hardened lauric fat they soften each other.
#[test]
fn what_gets_on_with_cocoa_butter() {
    let tempered = |other: &str, percent: f64, at_c: f64| {
        beside_the_mean(other, percent, "cocoa-butter", CrystalState::Tempered, at_c)
    };
    for percent in [10.0, 20.0, 50.0, 80.0, 90.0] {
        for at_c in [20.0, 25.0] {
            let equivalent = tempered("cocoa-butter-equivalent", percent, at_c);
            assert!(equivalent.abs() < 1.0, "{percent} % at {at_c} °C: {equivalent}");
        }
    }
    for percent in [10.0, 20.0] {
        let mid_fraction = tempered("palm-mid-fraction", percent, 20.0);
        assert!(mid_fraction < -0.5, "{percent} %: {mid_fraction}");
        let lauric = tempered("hardened-lauric-fat", percent, 20.0);
        assert!(lauric < -4.0 && lauric < 3.0 * mid_fraction, "{percent} %: {lauric}");
    }
}

#[test]
fn palm_stearin_and_palm_kernel_olein_are_eutectic() {
    for percent in [20.0, 50.0, 80.0] {
        let less = beside_the_mean("palm-stearin", percent, "palm-kernel-olein", CrystalState::Fresh, 20.0);
        assert!(less < -3.0, "{percent} %: {less}");
    }
}

/// At 10 % in a medium-chain oil the larger ester is less dissolved; gels clear below the neat ester; near chains share a crystal, far ones do not.
#[test]
fn esters_dissolve_by_their_length_and_crystallise_with_their_neighbours() {
    let gel = |ester: &str| of(&mix(ester, 10.0, "mct-oil"), CrystalState::Rested, 20.0);
    let ((short, short_c), (long, long_c)) = (gel("short-ester"), gel("long-ester"));
    println!("10 % in the oil: {short:.2} % solid, clear {short_c:.1}; {long:.2} %, {long_c:.1}");
    assert!(long > short && short > 5.0, "{short} {long}");
    let neat_c = |ester: &str| of(&format!("{ester} 100"), CrystalState::Rested, 20.0).1;
    assert!(short_c < neat_c("short-ester") - 5.0 && long_c < neat_c("long-ester") - 5.0, "{short_c} {long_c}");
    // Far: C32 with C44, the clear point dips below that of the shorter. Near: C44 with C46, it never does.
    let dip_k = |first: &str, second: &str| {
        let clear_c = |percent: f64| of(&mix(first, percent, second), CrystalState::Rested, 20.0).1;
        neat_c(first).min(neat_c(second))
            - [90.0, 95.0, 97.0, 98.0].map(clear_c).into_iter().fold(f64::INFINITY, f64::min)
    };
    assert!(dip_k("short-ester", "long-ester") > 0.1, "{}", dip_k("short-ester", "long-ester"));
    assert!(dip_k("long-ester", "longer-ester") < 1e-3, "{}", dip_k("long-ester", "longer-ester"));
}
