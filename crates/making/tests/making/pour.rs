//! A melt from the shelf to the mould: limits, order, temperatures and times against what is worked out beside them.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::ops::ControlFlow;
use std::sync::LazyLock;

use barwright_blend::assess::Workbench;
use barwright_blend::{Model, Options};
use barwright_making::pour::{BATH_C, FLASH_MARGIN_K, Limit, SEEDLESS_C, melting_order};
use barwright_making::{MakingError, PourTask, Pouring, pour};
use barwright_reference::{Formula, IngredientId, Library, Part, formula};

const LOTS: &str = "[lot.scent]\nlike = 'isopropyl myristate'\nflash_c = 75\n";

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap().with_lots(LOTS).unwrap().0);
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());

fn bar(text: &str) -> Formula {
    formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0)
}

/// Half a kilogram in a room of 20 °C.
fn half_kilogram(formula: &Formula) -> PourTask<'_> {
    PourTask { formula, second: None, mass_kg: 0.5, room_c: 20.0, mould_most_c: None, flash_c: None, pour_c: None }
}

fn planned(task: &PourTask<'_>) -> Result<Pouring, MakingError> {
    let bench = Workbench::new(&LIBRARY, &MODEL, Options { draws: 0, ..Options::default() }).unwrap();
    pour(&bench, task, &|_, _| ControlFlow::Continue(()))
}

fn plan(text: &str) -> Pouring {
    planned(&half_kilogram(&bar(text))).unwrap()
}

#[test]
fn it_is_held_above_the_clear_point_and_poured_above_the_haze() {
    let plan = plan("beeswax 30, sunflower oil 70");
    let (clear_c, haze_c) = (plan.clear_c.unwrap().value, plan.haze_c.unwrap().value);
    assert!(!plan.seeds && plan.window, "{plan:?}");
    assert!(
        plan.hold_c >= clear_c + 10.0 && plan.hold_c < clear_c + 11.0 && plan.hold_c.fract() == 0.0,
        "{}",
        plan.hold_c
    );
    assert!(plan.pour_c >= haze_c + 5.0 && plan.pour_c < haze_c + 6.0 && plan.pour_c.fract() == 0.0, "{}", plan.pour_c);
    assert_eq!((plan.ceiling_c, plan.limit), (BATH_C, Limit::Bath));
    assert_eq!((plan.scent_below_c, plan.second_c, plan.second_haze_c), (None, None, None));
}

/// Common practice, no source: shea is held hot, so that no old crystal is left.
#[test]
fn what_may_go_grainy_is_held_hot() {
    let plan = plan("shea butter 60, sunflower oil 40");
    assert!(plan.seeds && plan.hold_c == SEEDLESS_C, "{}", plan.hold_c);
}

#[test]
fn the_lowest_limit_is_the_ceiling() {
    let (wax, scented) = (bar("beeswax 30, sunflower oil 70"), bar("beeswax 30, sunflower oil 68, scent 2"));
    let of = |task: &PourTask<'_>| planned(task).map(|plan| (plan.ceiling_c, plan.limit)).unwrap();
    assert_eq!(of(&PourTask { mould_most_c: Some(80.0), ..half_kilogram(&wax) }), (80.0, Limit::Mould));
    assert_eq!(of(&PourTask { mould_most_c: Some(230.0), ..half_kilogram(&wax) }), (BATH_C, Limit::Bath));
    let flash = (75.0 - FLASH_MARGIN_K, Limit::Flash(scented.parts[2].ingredient));
    assert_eq!(of(&half_kilogram(&scented)), flash);
    assert_eq!(of(&PourTask { mould_most_c: Some(80.0), ..half_kilogram(&scented) }), flash);
    // Nothing is held above the ceiling, and a ceiling below the clear point leaves no window.
    let hot = planned(&PourTask { mould_most_c: Some(40.0), ..half_kilogram(&wax) }).unwrap();
    assert!(hot.hold_c == 40.0 && !hot.window && !hot.melts, "{hot:?}");
}

#[test]
fn the_pour_is_cool_enough_for_the_scent() {
    let wax = bar("beeswax 30, sunflower oil 70");
    let free = planned(&half_kilogram(&wax)).unwrap();
    let haze_c = free.haze_c.unwrap().value;
    let flash_c = haze_c + FLASH_MARGIN_K + 2.0;
    let with = planned(&PourTask { flash_c: Some(flash_c), ..half_kilogram(&wax) }).unwrap();
    assert_eq!(with.scent_below_c, Some(flash_c - FLASH_MARGIN_K));
    assert!(with.pour_c == haze_c + 2.0 && with.window && with.hold_c == free.hold_c, "{with:?}");
    // One that goes in nowhere is left out: the melt is poured as without it.
    let low = planned(&PourTask { flash_c: Some(haze_c + FLASH_MARGIN_K - 2.0), ..half_kilogram(&wax) }).unwrap();
    assert!(low.pour_c == free.pour_c && !low.window && low.melts && low.scent_time.is_none(), "{low:?}");
    // With the flash point asked for, the scent changes nothing.
    let needed_c = low.flash_needed_c.unwrap();
    let fit = planned(&PourTask { flash_c: Some(needed_c), ..half_kilogram(&wax) }).unwrap();
    assert!(fit.window && fit.pour_c == free.pour_c, "{fit:?}");
    assert!(needed_c - FLASH_MARGIN_K - 1.0 < free.pour_c, "{needed_c}");
    assert_eq!((free.flash_needed_c, free.scent_time), (None, None));
    // A pour hotter than the scent may be is refused, one at its limit is not.
    let at = |pour_c: f64| planned(&PourTask { flash_c: Some(flash_c), pour_c: Some(pour_c), ..half_kilogram(&wax) });
    assert_eq!(at(haze_c + 2.0).unwrap().pour_c, haze_c + 2.0);
    assert!(matches!(at(haze_c + 2.5), Err(MakingError::TooHotForScent { .. })));
}

/// From where the scent may go in to the haze: Newton's law as in the jug; a lid makes it longer by at most the share of the top, a jug of half the mass shorter by
/// the cube root of 2, since its outside over its mass is larger by as much.
#[test]
fn a_lid_and_a_smaller_jug_change_how_long_a_scent_can_go_in() {
    let wax = bar("beeswax 30, sunflower oil 70");
    let plan = planned(&PourTask { flash_c: Some(78.0), ..half_kilogram(&wax) }).unwrap();
    let time = plan.scent_time.unwrap();
    let [jug_s, lid_s, half_s] = [time.jug_s, time.lid_s, time.half_s].map(|time| time.unwrap().value);
    assert!(jug_s < plan.workable_s.unwrap().value, "{jug_s}");
    assert!((1.05..1.25).contains(&(lid_s / jug_s)), "{lid_s} {jug_s}");
    assert!((1.2..1.35).contains(&(jug_s / half_s)), "{jug_s} {half_s}");
}

#[test]
fn a_pour_that_is_asked_for_is_taken_down_to_the_haze() {
    let wax = bar("beeswax 30, sunflower oil 70");
    let haze_c = planned(&half_kilogram(&wax)).unwrap().haze_c.unwrap().value;
    let of = |pour_c: f64| planned(&PourTask { pour_c: Some(pour_c), ..half_kilogram(&wax) });
    assert_eq!(of(haze_c + 1.0).unwrap().pour_c, haze_c + 1.0);
    assert_eq!(of(haze_c).unwrap().pour_c, haze_c);
    assert!(matches!(of(haze_c - 1.0), Err(MakingError::NotMelted { .. })));
    // Hotter than it is held: the jug starts from there.
    let hot = of(88.0).unwrap();
    assert!(hot.hold_c < 88.0 && hot.down_s.unwrap().value < 1.0, "{:?}", hot.down_s);
}

#[test]
fn what_melts_highest_is_melted_first_and_of_liquids_the_most() {
    let plan = plan("olive oil 10, sunflower oil 30, mango butter 20, carnauba wax 5, beeswax 15, olive oil 20");
    let order: Vec<(&str, f64, bool)> = plan
        .order
        .iter()
        .map(|step| (LIBRARY.get(step.ingredient).unwrap().key.as_str(), step.percent, step.melts_c.is_some()))
        .collect();
    let expected = [
        ("carnauba-wax", 5.0, true),
        ("beeswax", 15.0, true),
        ("mango-butter", 20.0, true),
        ("olive-oil", 30.0, false),
        ("sunflower-oil", 30.0, false),
    ];
    assert_eq!(order, expected);
    assert_eq!(plan.order[1].melts_c, Some(LIBRARY.ingredient("beeswax").unwrap().melt_high_c));
}

/// A formula that was read has each ingredient once; one put together elsewhere may not.
#[test]
fn an_ingredient_that_comes_twice_is_melted_at_once() {
    let [olive, wax] = ["olive-oil", "beeswax"].map(|key| LIBRARY.id_of(key).unwrap_or_else(|| unreachable!()));
    let part = |ingredient: IngredientId, percent: f64| Part { ingredient, percent };
    let twice = Formula { name: String::new(), parts: vec![part(olive, 10.0), part(wax, 30.0), part(olive, 60.0)] };
    let order = melting_order(&twice, |index| LIBRARY.get(index));
    let seen: Vec<(IngredientId, f64)> = order.iter().map(|step| (step.ingredient, step.percent)).collect();
    assert_eq!(seen, [(wax, 30.0), (olive, 70.0)]);
}

#[test]
fn heat_is_that_of_warming_and_melting_and_goes_with_the_mass() {
    let wax = bar("beeswax 30, sunflower oil 70");
    let half = planned(&half_kilogram(&wax)).unwrap();
    let whole = planned(&PourTask { mass_kg: 1.0, ..half_kilogram(&wax) }).unwrap();
    assert!((whole.heat_j.value / half.heat_j.value - 2.0).abs() < 1e-12);
    // 2.0 to 2.4 kJ/kgK of oils and molten waxes, and at most 200 kJ/kg for the 30 % that are wax.
    let warming_j = |capacity: f64| 0.5 * capacity * (half.hold_c - 20.0);
    let heat_j = half.heat_j.value;
    assert!(warming_j(1900.0) < heat_j && heat_j < warming_j(2400.0) + 0.5 * 0.3 * 200e3, "{heat_j}");
    // 40 % of 800 W for 30 s are 9.6 kJ.
    assert_eq!(half.bursts(800.0), (heat_j / 9600.0).ceil() as u32);
    assert_eq!(half.bursts(1e9), 1);
}

/// A stirred jug has one temperature: m c dT/dt = −h A (T − room), over the whole outside of a cylinder as high as wide, with 10 to 14 W/m²K for a bare face in
/// still air that is 40 to 50 K warmer: 7 by radiation, 0.95 · 4 σ T³ at 320 K, and 3 (below) to 7 (side and top) by the air, 1.4 (ΔT/L)^¼ (Holman, recalled).
#[test]
fn a_jug_cools_as_one_temperature_does() {
    let wax = bar("beeswax 30, sunflower oil 70");
    let plan = planned(&half_kilogram(&wax)).unwrap();
    let (down_s, workable_s) = (plan.down_s.unwrap().value, plan.workable_s.unwrap().value);
    assert!(down_s < workable_s);
    let side_m = (4.0 * 0.5 / 900.0 / std::f64::consts::PI).cbrt();
    let outside_m2 = 1.5 * std::f64::consts::PI * side_m * side_m;
    let ratio = (plan.hold_c - 20.0) / (plan.pour_c - 20.0);
    let cooled_s = |w_per_m2k: f64| 0.5 * 2100.0 / (w_per_m2k * outside_m2) * ratio.ln();
    assert!(cooled_s(14.0) < down_s && down_s < cooled_s(10.0), "{} < {down_s} < {}", cooled_s(14.0), cooled_s(10.0));
    // Twice as wide holds eight times as much and takes about twice as long.
    let large = planned(&PourTask { mass_kg: 4.0, ..half_kilogram(&wax) }).unwrap();
    let longer = large.down_s.unwrap().value / down_s;
    assert!((1.9..2.4).contains(&longer), "{longer}");
}

/// The same for 20 kg in a room little colder than the first haze: 9 to 12 W/m²K, 8 of them by radiation at 335 K. With 2 K left the haze comes after
/// ln(12.7 / 2) of 20 · 2100 / (h · 0.44 m²), 4.1 to 5.5 h; with half a kelvin left it would take 6.9 h at the least, longer than a jug is watched.
#[test]
fn a_jug_is_followed_for_six_hours() {
    let wax = bar("beeswax 30, sunflower oil 70");
    let haze_c = planned(&half_kilogram(&wax)).unwrap().haze_c.unwrap().value;
    let workable =
        |room_c: f64| planned(&PourTask { mass_kg: 20.0, room_c, ..half_kilogram(&wax) }).unwrap().workable_s;
    let hours = workable(haze_c - 2.0).unwrap().value / 3600.0;
    assert!((4.1..5.5).contains(&hours), "{hours}");
    assert_eq!(workable(haze_c - 0.5), None);
}

/// Hard fats set some degrees below where their old crystals dissolve (67 and 64 °C of soy wax): down to the first haze the jug is all liquid and has no heat of
/// setting to give up, by which it would take some nine times as long.
#[test]
fn no_heat_of_setting_holds_up_the_jug_above_the_haze() {
    let soy = bar("soy-wax-fully-hydrogenated 100");
    let free = planned(&half_kilogram(&soy)).unwrap();
    let (clear_c, haze_c) = (free.clear_c.unwrap().value, free.haze_c.unwrap().value);
    assert!(clear_c > haze_c + 2.0, "{clear_c} {haze_c}");
    let plan = planned(&PourTask { pour_c: Some(clear_c + 1.0), ..half_kilogram(&soy) }).unwrap();
    let length = |to_c: f64| ((plan.hold_c - 20.0) / (to_c - 20.0)).ln();
    let longer = plan.workable_s.unwrap().value / plan.down_s.unwrap().value * length(plan.pour_c) / length(haze_c);
    assert!((1.0..1.2).contains(&longer), "{longer}");
}

#[test]
fn a_melt_beside_itself_is_as_thick_at_the_same_temperature() {
    let wax = bar("beeswax 30, sunflower oil 70");
    let plan = planned(&PourTask { second: Some(&wax), ..half_kilogram(&wax) }).unwrap();
    assert!((plan.second_c.unwrap().value - plan.pour_c).abs() < 0.1, "{:?}", plan.second_c);
    assert_eq!(plan.second_haze_c.map(|haze| haze.value), plan.haze_c.map(|haze| haze.value));
}

#[test]
fn what_is_liquid_in_the_room_needs_no_heat() {
    let plan = plan("olive oil 50, sunflower oil 50");
    assert_eq!((plan.clear_c, plan.haze_c), (None, None));
    assert!(plan.hold_c == 30.0 && plan.pour_c == 25.0, "{plan:?}");
}
