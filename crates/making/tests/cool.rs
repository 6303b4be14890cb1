//! A bar in its mould against what must hold of it.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::ops::ControlFlow;
use std::sync::LazyLock;

use barwright_blend::assess::Workbench;
use barwright_blend::{Estimate, Options, Parameters};
use barwright_making::{CoolTask, Cooling, Place, cool};
use barwright_reference::mould::Mould;
use barwright_reference::{Library, formula};

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap_or_else(|_| unreachable!()));
static PARAMETERS: LazyLock<Parameters> = LazyLock::new(|| Parameters::builtin().unwrap());

/// Cools a bar poured at 75 °C.
fn cooled(text: &str, draws: usize, air_c: &[f64]) -> Cooling {
    let formula = formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0);
    let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20").unwrap_or_else(|_| unreachable!());
    let bench = Workbench::new(&LIBRARY, &PARAMETERS, Options { draws, ..Options::default() }).unwrap();
    let places: Vec<Place> = air_c.iter().map(|&air_c| Place { name: format!("{air_c}"), air_c, fan: false }).collect();
    let task =
        CoolTask { formula: &formula, mould: &mould, pour_c: 75.0, mould_c: 20.0, places: &places, room: (20.0, 50.0) };
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
