//! Rules of the trade. Common practice, no source: each is asserted as an ordering or a broad range, never as a number.

use std::ops::ControlFlow;

use barwright_blend::assess::Workbench;
use barwright_blend::penetration::{BEARING_FACTOR, PASCAL_PER_GRAM_CM2};
use barwright_blend::suitability::{GrainRisk, SkinFeel, Verdict};
use barwright_blend::{Options, assess};
use barwright_making::{CoolTask, Place, cool};
use barwright_reference::mould::Mould;
use barwright_reference::{CrystalState, IngredientId, IngredientKind, formula};
use barwright_reformulate::adjust::{Least, Task, adjust};
use barwright_reformulate::{Demand, Limits};

use crate::{LIBRARY, MODEL, answer};

const HARD_BUTTERS: [&str; 4] = ["cocoa butter", "kokum butter", "illipe butter", "sal butter"];
const OILS: [&str; 4] = ["sunflower oil", "sweet almond oil", "jojoba oil", "olive oil"];

fn firmness_kpa(text: &str) -> f64 {
    answer(text, CrystalState::Rested, &[25.0]).firmness[0].yield_stress_kpa.value
}

#[test]
fn thirty_thirty_forty_with_a_hard_butter_is_a_hard_bar_right_for_detail() {
    // Common practice, no source: about 30 % wax, 30 % butter, 40 % liquid; with a hard butter a hard bar, for detailed moulds.
    for butter in HARD_BUTTERS {
        for oil in OILS {
            let found = answer(&format!("beeswax 30, {butter} 30, {oil} 40"), CrystalState::Rested, &[20.0]);
            let detail = &found.detail;
            let bwe = found.firmness[0].beeswax_equivalent.percent().unwrap().value;
            println!("{butter} + {oil}: {:?} p {:.2}, {bwe:.0} % BWE", detail.verdict, detail.probability);
            assert!(matches!(detail.verdict, Verdict::Yes | Verdict::Likely), "{butter} + {oil}: {detail:?}");
            assert!(bwe > 40.0, "{butter} + {oil} is no hard bar: {bwe:.0} % BWE");
        }
    }
}

#[test]
fn a_third_less_wax_is_no_bar_for_detail() {
    // Common practice, no source: 15 to 25 % wax with a soft butter belongs in a tin.
    let detail = answer("beeswax 15, shea butter 25, sunflower oil 60", CrystalState::Rested, &[20.0]).detail;
    assert!(matches!(detail.verdict, Verdict::No | Verdict::Unlikely), "{detail:?}");
}

#[test]
fn half_to_four_fifths_of_candelilla_replaces_beeswax() {
    // Common practice, no source.
    for (butter, oil) in
        [("mango butter", "sunflower oil"), ("shea butter", "olive oil"), ("cocoa butter", "jojoba oil")]
    {
        let blend =
            |wax: &str, percent: f64| firmness_kpa(&format!("{wax} {percent}, {butter} 25, {oil} {}", 75.0 - percent));
        let beeswax = blend("beeswax", 25.0);
        let (half, most) = (blend("candelilla wax", 12.5), blend("candelilla wax", 20.0));
        println!("{butter} + {oil}: beeswax 25 % {beeswax:.1} kPa, candelilla 12.5 % {half:.1}, 20 % {most:.1}");
        assert!(half <= beeswax && beeswax <= most, "{butter} + {oil}: {half:.1} ≤ {beeswax:.1} ≤ {most:.1} kPa");
    }
}

#[test]
fn carnauba_stiffens_more_than_candelilla_and_candelilla_more_than_beeswax() {
    // Common practice, no source.
    for oil in OILS {
        let gel = |wax: &str| firmness_kpa(&format!("{wax} 20, {oil} 80"));
        let (beeswax, candelilla, carnauba) = (gel("beeswax"), gel("candelilla wax"), gel("carnauba wax"));
        assert!(
            beeswax < candelilla && candelilla < carnauba,
            "{oil}: {beeswax:.1}, {candelilla:.1}, {carnauba:.1} kPa"
        );
    }
}

#[test]
fn more_liquid_is_softer() {
    // Common practice, no source.
    for butter in HARD_BUTTERS {
        for oil in OILS {
            let mut last = f64::INFINITY;
            for liquid in [30.0, 40.0, 50.0, 60.0] {
                let rest = (100.0 - liquid) / 2.0;
                let kpa = firmness_kpa(&format!("beeswax {rest}, {butter} {rest}, {oil} {liquid}"));
                assert!(kpa < last, "{butter} + {oil}: {kpa:.1} kPa at {liquid} % liquid, {last:.1} before");
                last = kpa;
            }
        }
    }
}

/// Common practice, no source: summer post takes 3 to 10 points more wax, out of the oil. The model agrees for an even chance; nine times in
/// ten it asks for more, because it knows the temperature up to which a bar keeps its shape only to about 8 °C either way.
#[test]
fn summer_post_takes_three_to_ten_points_of_wax_out_of_the_oil() {
    for text in [
        "beeswax 26, mango butter 22, shea butter 10, sunflower oil 42",
        "beeswax 25, cocoa butter 25, sweet almond oil 50",
        "beeswax 28, shea butter 25, olive oil 47",
        "candelilla wax 10, shea butter 30, sunflower oil 60",
    ] {
        let bar = formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0);
        let options = Options::default();
        let held = assess(&LIBRARY, &MODEL, &bar, &options).unwrap().warmth.hold_c.unwrap().value;
        let ingredients: Vec<IngredientId> = bar.parts.iter().map(|part| part.ingredient).collect();
        let now: Vec<f64> = bar.parts.iter().map(|part| part.percent).collect();
        let kind = |id: IngredientId| LIBRARY.get(id).unwrap().kind;
        let mut limits = Limits { min_percent: now.clone(), max_percent: now.clone(), price: None };
        for (at, &id) in ingredients.iter().enumerate() {
            match kind(id) {
                IngredientKind::Wax => limits.max_percent[at] = 100.0,
                IngredientKind::Oil => limits.min_percent[at] = 0.0,
                _ => {}
            }
        }
        // A parcel in summer.
        let demands = vec![Demand::Hold { temperature_c: 45.0 }];
        let answer = |confidence| {
            let limits = limits.clone();
            let task = Task {
                demands: demands.clone(),
                confidence,
                ingredients: ingredients.clone(),
                limits,
                step_percent: Some(0.5),
                least: Least::Moved,
            };
            adjust(&LIBRARY, &MODEL, &options, &bar, &task).unwrap()
        };
        let (even, sure) = (answer(0.5), answer(0.9));
        println!(
            "{text}: holds {held:.1}; +{:.1} points of wax for an even chance, +{:.1} (met: {}) for nine in ten",
            even.mass_moved, sure.mass_moved, sure.feasible
        );
        assert!(even.feasible && (3.0..=10.0).contains(&even.mass_moved));
        assert!(sure.mass_moved > even.mass_moved);
    }
}

/// What a palm-sized bar does in one place.
struct Cooled {
    /// Until it can leave the mould, h.
    release_h: f64,
    /// Until its warmest spot is within 3 K of the air, h.
    cold_h: f64,
    /// Risk of grain.
    grain: f64,
}

/// A palm-sized bar cooled in a room and in a fridge.
fn cooled(text: &str) -> [Cooled; 2] {
    let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20\nrelief = 0.8").unwrap();
    let bar = formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0);
    let options = Options { draws: 0, ..Options::default() };
    let bench = Workbench::new(&LIBRARY, &MODEL, options).unwrap();
    let places = [("room", 20.0), ("fridge", 5.0)].map(|(name, air_c)| Place { name: name.into(), air_c, fan: false });
    let task = CoolTask {
        formula: &bar,
        mould: &mould,
        pour_c: 75.0,
        mould_c: 20.0,
        places: &places,
        room: (20.0, 50.0),
        fine: false,
    };
    let found = cool(&bench, &task, &|_, _| ControlFlow::Continue(())).unwrap();
    [0, 1].map(|at| {
        let one = &found.places[at];
        let cold = one.history.iter().find(|sample| sample.warmest_c <= one.place.air_c + 3.0).unwrap();
        let release_h = one.release_s.map_or(f64::INFINITY, |time| time.value / 3600.0);
        Cooled { release_h, cold_h: cold.time_s / 3600.0, grain: one.grain }
    })
}

#[test]
fn a_palm_sized_bar_sets_in_some_two_to_four_hours_or_sooner_cold() {
    // Common practice, no source: 2 to 4 hours, a broad range asserted. Taken as cold through, within 3 K of the room; a firm bar can leave the mould
    // before that.
    for text in [
        "beeswax 26, mango butter 22, shea butter 10, sunflower oil 30, jojoba oil 12",
        "beeswax 30, cocoa butter 30, sunflower oil 40",
        "beeswax 25, cocoa butter 25, shea butter 10, olive oil 40",
        "candelilla wax 16, mango butter 34, sunflower oil 50",
    ] {
        let [room, fridge] = cooled(text);
        println!(
            "{text}: cold through {:.1} h in a room, out of the mould after {:.1} h, in a fridge {:.1} h",
            room.cold_h, room.release_h, fridge.release_h
        );
        assert!((1.5..=5.0).contains(&room.cold_h), "{text}: {}", room.cold_h);
        assert!(room.release_h < 4.0, "{text}: {}", room.release_h);
        assert!(fridge.release_h < 0.7 * room.release_h, "{text}: {} of {}", fridge.release_h, room.release_h);
    }
}

#[test]
fn bars_rich_in_cocoa_or_shea_go_grainy_when_cooled_slowly() {
    // Common practice, no source.
    for text in [
        "cocoa butter 100",
        "cocoa butter 60, beeswax 10, sunflower oil 30",
        "shea butter 50, cocoa butter 20, olive oil 30",
    ] {
        let [slow, quick] = cooled(text).map(|one| one.grain);
        println!("{text}: {slow:.2} in a room, {quick:.2} in a fridge");
        assert_ne!(GrainRisk::from_index(slow), GrainRisk::Low, "{text}");
        assert!(quick < 0.8 * slow, "{text}: {quick} of {slow}");
    }
    let [waxy, _] = cooled("beeswax 30, sunflower oil 70");
    assert_eq!(GrainRisk::from_index(waxy.grain), GrainRisk::Low);
}

/// Pressure a finger or thumb dents with, over the bearing factor of a round punch (Shield 1955, recalled): kPa of yield stress.
fn dented_below_kpa(newton: f64, square_cm: f64) -> f64 {
    newton / (square_cm * 1e-4) / 1e3 / BEARING_FACTOR
}

fn room_kpa(text: &str) -> f64 {
    answer(text, CrystalState::Rested, &[20.0]).firmness[0].yield_stress_kpa.value
}

#[test]
fn beeswax_one_to_four_is_a_salve_one_to_two_a_stick_one_to_one_to_one_a_firm_bar() {
    // Common practice, no source. A finger presses with some 10 N on a square centimetre.
    let finger = dented_below_kpa(10.0, 1.0);
    let salve = room_kpa("beeswax 20, olive oil 80");
    let stick = room_kpa("beeswax 33.3, olive oil 66.7");
    println!("salve {salve:.0}, stick {stick:.0} kPa; a finger dents below {finger:.0}");
    assert!(salve < finger && finger < stick);
    for butter in ["shea butter", "mango butter", "cocoa butter"] {
        let bar = room_kpa(&format!("beeswax 33.3, {butter} 33.3, olive oil 33.4"));
        println!("1:1:1 with {butter} {bar:.0} kPa");
        assert!(bar > 2.0 * stick, "{butter}: {bar}");
    }
}

#[test]
fn shea_alone_is_firm_but_dents_under_a_hard_thumb() {
    // Common practice, no source. A thumb presses with up to 100 N on a square centimetre and a half. Among the figures behind the structuring
    // power of fats: no independent test of it.
    let shea = room_kpa("shea butter 100");
    println!(
        "shea {shea:.0} kPa; a finger dents below {:.0}, a thumb below {:.0}",
        dented_below_kpa(10.0, 1.0),
        dented_below_kpa(100.0, 1.5)
    );
    assert!(dented_below_kpa(10.0, 1.0) < shea && shea < dented_below_kpa(100.0, 1.5), "{shea}");
}

#[test]
fn a_coconut_bar_with_candelilla_softens_near_25_degrees() {
    // Common practice, no source: coconut oil melts away at 24 °C, whatever wax holds the bar up.
    let melt = answer("candelilla wax 15, coconut oil 85", CrystalState::Rested, &[20.0]).melt;
    let (softening, slip) = (melt.softening_c.unwrap().value, melt.slip_point_c.unwrap().value);
    println!("softens at {softening:.1}, slips at {slip:.1} °C");
    assert!((22.0..28.0).contains(&softening) && slip > 50.0, "{softening} {slip}");
}

#[test]
fn a_cocoa_butter_bar_is_hard_and_dry_in_the_room_and_melts_in_the_hand() {
    // Common practice, no source: it is sold as a dry stick, which glides on what melts.
    for state in [CrystalState::Rested, CrystalState::Tempered] {
        let found = answer("cocoa butter 100", state, &[20.0]);
        let (kpa, melted) = (found.firmness[0].yield_stress_kpa.value, found.skin.melted_percent.value);
        println!("{state:?}: {kpa:.0} kPa at 20 °C, {melted:.0} % melted at 33 °C, {}", found.skin.verdict.word());
        assert!(melted > 80.0 && kpa > dented_below_kpa(100.0, 1.5), "{state:?}: {melted} {kpa}");
        assert_eq!(found.skin.verdict, SkinFeel::Glides);
    }
}

#[test]
fn beeswax_above_half_of_the_oil_drags_and_a_third_glides() {
    // Common practice, no source; the limits of the feel were set with it.
    let feel = |percent: u32| {
        answer(&format!("beeswax {percent}, olive oil {}", 100 - percent), CrystalState::Rested, &[]).skin
    };
    for (percent, expected) in
        [(15, SkinFeel::Smears), (33, SkinFeel::Glides), (60, SkinFeel::Drags), (80, SkinFeel::Drags)]
    {
        let found = feel(percent);
        println!("{percent} %: {} ({:.2})", found.verdict.word(), found.probability);
        assert_eq!(found.verdict, expected, "{percent} %: {found:?}");
    }
    assert_eq!(feel(52).likeliest, SkinFeel::Drags);
}

#[test]
fn soy_wax_bars_do_not_soften_as_they_rest() {
    // Common practice, no source: they harden for days.
    for text in ["soy wax 100", "soy wax 70, sunflower oil 30", "soy wax 50, shea butter 20, olive oil 30"] {
        let [fresh, rested] = [CrystalState::Fresh, CrystalState::Rested]
            .map(|state| answer(text, state, &[20.0]).firmness[0].yield_stress_kpa.value);
        println!("{text}: {fresh:.0} kPa fresh, {rested:.0} rested");
        // By less than one cast differs from the next.
        assert!(rested > 0.85 * fresh, "{text}: {rested} after {fresh}");
    }
}

/// What a cone says of a fat: yield value, g/cm² (Haighton 1959, J. Am. Oil Chem. Soc. 36:345; the classes recalled).
#[test]
fn butters_fall_into_their_cone_classes_at_20_degrees() {
    let class = |text: &str| {
        let g_cm2 = room_kpa(text) * 1e3 / PASCAL_PER_GRAM_CM2;
        println!("{text}: {g_cm2:.0} g/cm²");
        [100.0, 200.0, 800.0, 1500.0].iter().filter(|&&limit| g_cm2 > limit).count()
    };
    // 2: plastic and spreadable, 200 to 800; 3: hard, to 1500; 4: too hard to spread.
    let classes = [("kokum butter", 4), ("cocoa butter", 4), ("mango butter", 4), ("shea butter", 3), ("palm oil", 2)];
    for (butter, expected) in classes {
        assert_eq!(class(&format!("{butter} 100")), expected, "{butter}");
    }
}
