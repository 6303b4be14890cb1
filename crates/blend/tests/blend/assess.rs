//! What the whole answer says at one temperature is what it says at every other place that asks for that temperature.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::sync::LazyLock;

use barwright_blend::assess::Melt;
use barwright_blend::suitability::{GrainRisk, SkinFeel, Verdict, grain_index};
use barwright_blend::{Assessment, Model, Options, assess};
use barwright_reference::{Library, formula};

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap());
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());

/// By the central model alone.
fn assessed(text: &str, options: Options) -> Assessment {
    let bar = formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0);
    assess(&LIBRARY, &MODEL, &bar, &Options { draws: 0, ..options }).unwrap()
}

/// At these temperatures.
fn at(text: &str, at_c: &[f64]) -> Assessment {
    assessed(text, Options { at_c: at_c.to_vec(), ..Options::default() })
}

const STICK: &str = "beeswax 30, sunflower oil 70";

#[test]
fn a_bar_has_softened_where_half_of_its_firmness_in_a_room_is_gone() {
    let softening_c = at(STICK, &[]).melt.softening_c.unwrap().value;
    let firmness = at(STICK, &[20.0, softening_c]).firmness;
    let [room_kpa, soft_kpa] = [0, 1].map(|index: usize| firmness[index].yield_stress_kpa.value);
    assert!((soft_kpa / room_kpa - 0.5).abs() < 1e-3, "{room_kpa} {soft_kpa}");
}

#[test]
fn a_bar_that_slips_before_half_of_its_firmness_is_gone_has_softened_there() {
    // As much coconut oil as slips a little above room temperature.
    let just_above = (80..140).map(|halves| {
        let coconut = 0.5 * f64::from(halves);
        at(&format!("coconut oil {coconut}, sunflower oil {}", 100.0 - coconut), &[]).melt
    });
    let slips = |melt: &Melt| melt.slip_point_c.is_some_and(|slip| (20.0..20.4).contains(&slip.value));
    let melt = just_above.into_iter().find(slips).unwrap();
    assert_eq!(melt.softening_c.unwrap().value, melt.slip_point_c.unwrap().value);
}

#[test]
fn what_slips_below_room_temperature_has_no_softening() {
    let melt = at("coconut oil 20, sunflower oil 80", &[]).melt;
    assert!(melt.slip_point_c.unwrap().value < 20.0, "{melt:?}");
    assert_eq!(melt.softening_c, None);
}

#[test]
fn grain_grows_in_what_is_liquid_in_the_warm() {
    let grain = &MODEL.parameters.grain;
    let bar = at("shea butter 60, beeswax 5, sunflower oil 35", &[grain.growth_c]);
    let liquid_percent = 100.0 - bar.solids[0].percent.value;
    let index = grain_index(grain, bar.grain.symmetric_percent, liquid_percent, bar.grain.wax_percent);
    assert!((0.05..0.95).contains(&index), "{index}");
    assert!((bar.grain.risk.value - index).abs() < 1e-9, "{index} {:?}", bar.grain);
    assert_eq!(bar.grain.verdict, GrainRisk::from_index(index));
}

/// The bar as it is picked up smears, the film on skin drags: neat cocoa butter is too hard for skin in the room, and oil on it.
#[test]
fn skin_feels_the_bar_at_one_temperature_and_the_film_at_another() {
    let skin = &MODEL.parameters.skin;
    for (text, feel) in [
        ("beeswax 10, sunflower oil 90", SkinFeel::Smears),
        (STICK, SkinFeel::Glides),
        ("cocoa butter 100", SkinFeel::Glides),
        ("beeswax 100", SkinFeel::Drags),
    ] {
        let bar = at(text, &[skin.body_c, skin.temperature_c]);
        let [body_kpa, film_kpa] = [0, 1].map(|index: usize| bar.firmness[index].yield_stress_kpa.value);
        assert_eq!((bar.skin.verdict, bar.skin.likeliest, bar.skin.probability), (feel, feel, 1.0), "{text}");
        assert_eq!(SkinFeel::from_yield(skin, body_kpa, film_kpa), feel, "{text}");
        assert!((bar.skin.yield_stress_kpa.value / film_kpa - 1.0).abs() < 1e-9, "{text}");
        let melted_percent = 100.0 - bar.solids[1].percent.value;
        assert!((bar.skin.melted_percent.value - melted_percent).abs() < 1e-9, "{text}");
    }
}

#[test]
fn what_is_just_kept_is_kept() {
    let free = at(STICK, &[]);
    let (hold_c, finest_mm) = (free.warmth.hold_c.unwrap().value, free.detail.finest_feature_mm.unwrap().value);
    for (further, verdict) in [(0.0, Verdict::Yes), (1e-6, Verdict::No)] {
        let options = Options { hold_c: hold_c + further, relief_mm: finest_mm - further, ..Options::default() };
        let found = assessed(STICK, options);
        assert_eq!((found.warmth.verdict, found.detail.verdict), (verdict, verdict), "{further}");
    }
}
