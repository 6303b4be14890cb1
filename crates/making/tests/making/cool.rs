//! A bar in its mould against what must hold of it.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::ops::ControlFlow;
use std::sync::LazyLock;

use barwright_blend::assess::Workbench;
use barwright_blend::heat_curve::at;
use barwright_blend::{Estimate, Model, Options};
use barwright_making::cool::PlaceOutcome;
use barwright_making::parcel::Record as Sample;
use barwright_making::{CoolTask, Cooling, MakingError, Place, cool};
use barwright_reference::mould::Mould;
use barwright_reference::{Library, formula};

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap_or_else(|_| unreachable!()));
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());

/// Cools a bar poured at 75 °C.
fn cooled(text: &str, draws: usize, air_c: &[f64]) -> Cooling {
    let formula = formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0);
    let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20").unwrap_or_else(|_| unreachable!());
    let bench = Workbench::new(&LIBRARY, &MODEL, Options { draws, ..Options::default() }).unwrap();
    let places: Vec<Place> = air_c.iter().map(|&air_c| Place { name: format!("{air_c}"), air_c, fan: false }).collect();
    let task = CoolTask {
        formula: &formula,
        mould: &mould,
        pour_c: 75.0,
        mould_c: 20.0,
        places: &places,
        room: (20.0, 50.0),
        fine: false,
    };
    cool(&bench, &task, &|_, _| ControlFlow::Continue(())).unwrap()
}

/// Slower cooling runs more risk, up to that of the slowest: a share of it, in every place.
#[test]
fn the_risk_of_grain_is_a_share_of_the_slowest_in_every_place() {
    let mut places: Vec<f64> = (0..60).map(|step| -20.0 + 1.3 * f64::from(step)).collect();
    places.extend([36.9, 36.999, 36.999_99, 37.0, 37.001, 38.7, 39.999, 40.0, 40.001]);
    let found = cooled("shea butter 60, sunflower oil 40", 0, &places);
    let most = found.assessment.grain.risk.value;
    assert!(most > 0.1, "{most}");
    for one in &found.places {
        let (air_c, grain) = (one.place.air_c, one.grain);
        assert!((0.0..=most).contains(&grain), "{air_c} °C: {grain}, {most} at most");
        assert!(one.slow_s.is_none_or(|time| time >= 0.0), "{air_c} °C: {:?}", one.slow_s);
        // A place that is hardly colder than where coarse crystals begin to grow never takes the bar through.
        assert_eq!(one.slow_s.is_none(), air_c >= 37.0, "{air_c} °C: {:?}", one.slow_s);
        assert!(one.slow_s.is_some() || grain == most, "{air_c} °C: {grain}");
    }
}

#[test]
fn times_are_in_order_in_every_place() {
    let ordered =
        |one: &Estimate| one.low.is_finite() && one.low <= one.value && one.value <= one.high && one.high.is_finite();
    for text in ["beeswax 26, mango butter 32, sunflower oil 42", "carnauba wax 2, olive oil 98", "sunflower oil 1"] {
        let found = cooled(text, 4, &[-20.0, 5.0, 20.0, 38.7, 52.0]);
        for one in &found.places {
            assert!(one.skin_s.iter().chain(&one.set_s).chain(&one.release_s).all(ordered), "{text}: {one:?}");
            assert!((0.0..=1.0).contains(&one.releases) && one.surface_c.is_finite(), "{text}: {one:?}");
        }
        assert!(ordered(&found.shrinkage) && found.dew_point_c.is_finite() && found.bar_kg > 0.0, "{text}");
    }
}

/// The same of any task of one beeswax-rich bar.
fn of(text: &str, room: (f64, f64), air_c: &[f64]) -> Cooling {
    let formula = formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0);
    let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20").unwrap_or_else(|_| unreachable!());
    let bench = Workbench::new(&LIBRARY, &MODEL, Options { draws: 0, ..Options::default() }).unwrap();
    let places: Vec<Place> = air_c.iter().map(|&air_c| Place { name: format!("{air_c}"), air_c, fan: false }).collect();
    let task =
        CoolTask { formula: &formula, mould: &mould, pour_c: 75.0, mould_c: 20.0, places: &places, room, fine: false };
    cool(&bench, &task, &|_, _| ControlFlow::Continue(())).unwrap()
}

/// When a figure of the records falls through a level, by a straight line between records, and the length of that record.
fn falls(found: &PlaceOutcome, level: f64, figure: fn(&Sample) -> f64) -> (f64, f64) {
    let pair = found.history.windows(2).find(|pair| figure(&pair[1]) <= level);
    let pair = pair.unwrap_or_else(|| unreachable!("never at {level}: {:?}", found.history.last()));
    let (before, after) = (figure(&pair[0]), figure(&pair[1]));
    let step_s = pair[1].time_s - pair[0].time_s;
    (pair[0].time_s + step_s * (before - level) / (before - after), step_s)
}

#[test]
fn the_records_run_from_the_pour_for_a_day_and_the_times_are_theirs() {
    let found = of("beeswax 20, shea butter 50, sunflower oil 30", (20.0, 50.0), &[5.0, 20.0]);
    assert!(found.assessment.grain.risk.value > 0.1);
    for one in &found.places {
        let (first, last) = (&one.history[0], &one.history[one.history.len() - 1]);
        assert_eq!((first.time_s, first.centre_c, first.coolest_c, last.time_s), (0.0, 75.0, 75.0, 86_400.0));
        assert!((last.centre_c - one.place.air_c).abs() < 0.5, "{last:?}");
        // Records stand close where much happens: the square root of time in equal steps.
        let middle = &one.history[one.history.len() / 2];
        assert!((middle.time_s - 21_600.0).abs() < 1e-6, "{middle:?}");
        let near = |(seen_s, step_s): (f64, f64), told_s: f64, what: &str| {
            assert!(
                (seen_s - told_s).abs() <= step_s,
                "{what} in {} °C: {told_s} s, {seen_s} s by the records",
                one.place.air_c
            );
        };
        let warmest = |one: &Sample| one.warmest_c;
        near(falls(one, found.sets_c.unwrap(), warmest), one.set_s.unwrap().value, "set");
        near(falls(one, found.releases_c.unwrap(), warmest), one.release_s.unwrap().value, "release");
        let cooled_c = 20.0_f64.max(one.place.air_c + 3.0);
        let (from, to) = (falls(one, 40.0, |one| one.centre_c), falls(one, cooled_c, |one| one.centre_c));
        near((to.0 - from.0, to.1 + from.1), one.slow_s.unwrap(), "between 40 °C and 20 °C");
        // An hour there halves the risk of the slowest cooling.
        let share = one.slow_s.unwrap() / (one.slow_s.unwrap() + 3600.0);
        assert!((one.grain - found.assessment.grain.risk.value * share).abs() < 1e-12);
        let (released_s, step_s) = (one.release_s.unwrap().value, 2.0 * 86_400.0 / one.history.len() as f64);
        let at = one.history.iter().find(|record| record.time_s >= released_s).unwrap();
        assert!((one.surface_c - at.surface_c).abs() < 1e-12 && at.time_s - released_s < step_s);
    }
    assert!(
        found.places[0].slow_s < found.places[1].slow_s
            && found.places[0].release_s.unwrap().value < found.places[1].release_s.unwrap().value
    );
}

#[test]
fn a_bar_weighs_its_volume_times_its_density() {
    let found = of("beeswax 100", (20.0, 50.0), &[20.0]);
    let density_g_ml = LIBRARY.ingredient("beeswax").unwrap().density_g_ml;
    assert!((found.bar_kg - 0.048 * density_g_ml).abs() < 1e-12, "{}", found.bar_kg);
}

/// Dew points by the Magnus formula of `barwright-heat`: 6 °C in air of 20 °C and 40 %, 18 °C at 90 %.
#[test]
fn the_best_place_is_the_soonest_without_dew() {
    let text = "beeswax 30, sunflower oil 70";
    let (dry, humid) = (of(text, (20.0, 20.0), &[20.0, 5.0, 30.0]), of(text, (20.0, 90.0), &[20.0, 5.0, 30.0]));
    assert_eq!(dry.places.iter().map(|one| one.dew).collect::<Vec<_>>(), [false; 3]);
    assert_eq!((humid.places[0].dew, humid.places[1].dew), (false, true));
    assert_eq!((dry.best, humid.best), (Some(1), Some(0)));
    assert_eq!(of(text, (20.0, 20.0), &[70.0]).best, None);
    assert_eq!(of(text, (20.0, 20.0), &[70.0, 20.0]).best, Some(1));
}

#[test]
fn how_far_it_is_is_told_place_by_place() {
    let formula = formula::read_inline("beeswax 30, sunflower oil 70", "bar", &LIBRARY).unwrap().formulas.remove(0);
    let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20").unwrap_or_else(|_| unreachable!());
    let bench = Workbench::new(&LIBRARY, &MODEL, Options { draws: 3, ..Options::default() }).unwrap();
    let places = [5.0, 20.0].map(|air_c| Place { name: String::new(), air_c, fan: true });
    let task = CoolTask {
        formula: &formula,
        mould: &mould,
        pour_c: 75.0,
        mould_c: 20.0,
        places: &places,
        room: (20.0, 50.0),
        fine: false,
    };
    let told = std::sync::Mutex::new(Vec::new());
    cool(&bench, &task, &|done, total| {
        told.lock().unwrap().push((done, total));
        ControlFlow::Continue(())
    })
    .unwrap();
    let told = told.into_inner().unwrap();
    let total = told[0].1;
    assert!(total >= 6 && told.iter().all(|one| one.1 == total && one.0 <= total), "{told:?}");
    assert!(told.windows(2).all(|pair| pair[0].0 <= pair[1].0), "{told:?}");
    assert_eq!(told.iter().map(|one| one.0).max(), Some(total));
    // What is not melted cannot be poured, and what is not colder cools nothing.
    let refused = |pour_c: f64, air_c: f64| {
        let places = [Place { name: String::new(), air_c, fan: true }];
        cool(&bench, &CoolTask { pour_c, places: &places, ..task }, &|_, _| ControlFlow::Continue(())).unwrap_err()
    };
    assert!(matches!(refused(40.0, 20.0), MakingError::NotMelted { pour_c: 40.0, .. }));
    assert!(matches!(refused(75.0, 75.0), MakingError::NotCooled { .. }));
}

/// What sets is not yet the bar in use: after a day it is as solid as its setting curve says.
#[test]
fn a_bar_sets_along_its_setting_curve() {
    let text = "cocoa butter 60, sunflower oil 40";
    let found = of(text, (20.0, 50.0), &[24.0]);
    let formula = formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0);
    let bench = Workbench::new(&LIBRARY, &MODEL, Options { draws: 0, ..Options::default() }).unwrap();
    let curves = &bench.heat_curves(&formula, 0).unwrap().central;
    let last = found.places[0].history.last().unwrap();
    let melted = |points| at(points, last.mean_c, |one| one.melted_share());
    let (setting, in_use) = (melted(&curves.setting), melted(&curves.in_use));
    assert!((last.melted_share - setting).abs() < 0.01, "{last:?} {setting}");
    assert!((setting - in_use).abs() > 0.1, "{setting} {in_use}");
}

#[test]
fn a_warm_mould_sets_later() {
    let formula = formula::read_inline("beeswax 30, sunflower oil 70", "bar", &LIBRARY).unwrap().formulas.remove(0);
    let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20\nwall = 10")
        .unwrap_or_else(|_| unreachable!());
    let bench = Workbench::new(&LIBRARY, &MODEL, Options { draws: 0, ..Options::default() }).unwrap();
    let places = [Place { name: String::new(), air_c: 20.0, fan: false }];
    let set_s = |mould_c: f64| {
        let room = (20.0, 50.0);
        let task =
            CoolTask { formula: &formula, mould: &mould, pour_c: 75.0, mould_c, places: &places, room, fine: false };
        cool(&bench, &task, &|_, _| ControlFlow::Continue(())).unwrap().places[0].set_s.unwrap().value
    };
    assert!(set_s(75.0) > 1.2 * set_s(20.0), "{} {}", set_s(75.0), set_s(20.0));
}

/// Most draws are run on a rough grid and corrected: their intervals are those of as many runs on the fine one.
#[test]
fn corrected_draws_are_as_those_on_the_fine_grid() {
    let formula = formula::read_inline("beeswax 26, mango butter 32, sunflower oil 42", "bar", &LIBRARY)
        .unwrap()
        .formulas
        .remove(0);
    let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20").unwrap_or_else(|_| unreachable!());
    let bench = Workbench::new(&LIBRARY, &MODEL, Options { draws: 96, ..Options::default() }).unwrap();
    let places = [("room", 20.0, false), ("fan", 8.0, true)];
    let places = places.map(|(name, air_c, fan)| Place { name: name.into(), air_c, fan });
    let task = CoolTask {
        formula: &formula,
        mould: &mould,
        pour_c: 75.0,
        mould_c: 20.0,
        places: &places,
        room: (20.0, 50.0),
        fine: false,
    };
    let cooled =
        |fine: bool| cool(&bench, &CoolTask { fine, ..task }, &|_, _| ControlFlow::Continue(())).unwrap().places;
    for (quick, fine) in cooled(false).iter().zip(&cooled(true)) {
        assert!((quick.releases - fine.releases).abs() <= 0.02, "{} {}", quick.releases, fine.releases);
        for (quick, fine) in [(quick.skin_s, fine.skin_s), (quick.set_s, fine.set_s), (quick.release_s, fine.release_s)]
        {
            let (quick, fine) = match (quick, fine) {
                (Some(quick), Some(fine)) => (quick, fine),
                neither => {
                    assert_eq!(neither, (None, None));
                    continue;
                }
            };
            for (quick, fine) in [(quick.low, fine.low), (quick.value, fine.value), (quick.high, fine.high)] {
                // The seconds of a skin are no figure to hold to a percent.
                assert!((quick - fine).abs() < 0.03 * fine + 10.0, "{quick} s for {fine} s");
            }
        }
    }
}
