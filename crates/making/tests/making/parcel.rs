//! A bar in the post against what must hold of it.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::ops::ControlFlow;
use std::sync::LazyLock;

use barwright_blend::assess::Workbench;
use barwright_blend::heat_curve::at;
use barwright_blend::{Estimate, Model, Options};
use barwright_making::{MakingError, Packing, Parcel, ParcelTask, Way, parcel};
use barwright_reference::mould::BarShape;
use barwright_reference::route::known_routes;
use barwright_reference::{Formula, Library, formula};

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap_or_else(|_| unreachable!()));
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());

const PALM: BarShape = BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
const ALONE: Packing = Packing { shape: PALM, bars: 1, foam_m: 0.0, ice_kg: 0.0 };
const DAY_S: f64 = 86_400.0;
const CELL_M: f64 = 3e-3;

fn bar() -> Formula {
    let text = "beeswax 26, mango butter 32, sunflower oil 42";
    formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0)
}

fn bench(draws: usize) -> Workbench<'static> {
    Workbench::new(&LIBRARY, &MODEL, Options { draws, ..Options::default() }).unwrap()
}

fn send(draws: usize, packing: Packing, route: &[(f64, f64)]) -> Parcel {
    let formula = bar();
    let task =
        ParcelTask { formula: &formula, packing, bar_ml: 48.0, start_c: 20.0, route, cell_m: CELL_M, fine: false };
    parcel(&bench(draws), &task, &|_, _| ControlFlow::Continue(())).unwrap()
}

fn steady(celsius: f64, days: f64) -> [(f64, f64); 2] {
    [(0.0, celsius), (days * DAY_S, celsius)]
}

/// Design, 2.6: keeps its shape up to T for a day. Constant air well below T is kept, well above is not.
#[test]
fn what_holds_to_a_temperature_keeps_its_shape_below_it_and_fails_above() {
    let holds_c = bench(0).assess(&bar()).unwrap().warmth.hold_c.unwrap().value;
    for packing in [ALONE, Packing { bars: 6, ..ALONE }] {
        let cool = send(0, packing, &steady(holds_c - 3.0, 3.0));
        assert!((cool.holds_c.unwrap().value - holds_c).abs() < 0.3, "{:?} {holds_c}", cool.holds_c);
        assert_eq!((cool.asked.keeps, cool.asked.fails_s), (1.0, None));
        let hot = send(0, packing, &steady(holds_c + 3.0, 3.0));
        assert!(hot.asked.keeps == 0.0 && hot.asked.fails_s.is_some_and(|time| time.value > 600.0));
    }
}

/// The mean that decides, against time: by the central model it is that of the course, and in most of the draws it lies in its band.
#[test]
fn the_mean_has_a_band_along_the_way() {
    let Parcel { asked, .. } = send(64, ALONE, &[(0.0, 25.0), (7200.0, 60.0), (DAY_S, 60.0)]);
    assert!(asked.course_c.len() > 50 && asked.course_c.last().unwrap().0 == DAY_S);
    for (time_s, mean_c) in &asked.course_c {
        let then = asked.history.iter().find(|one| one.time_s == *time_s).unwrap();
        assert!(mean_c.value == then.mean_c && mean_c.low <= mean_c.value && mean_c.value <= mean_c.high);
    }
    let wide = |from_s: f64, to_s: f64| {
        let within = asked.course_c.iter().filter(|(time_s, _)| (from_s..=to_s).contains(time_s));
        within.map(|(_, one)| one.high - one.low).fold(0.0, f64::max)
    };
    // Nothing is unsure at the start; underway the film and the melting are; in the end it is as warm as the air.
    assert!(wide(0.0, 0.0) < 1e-12 * asked.course_c[0].1.value, "{:?}", asked.course_c[0]);
    assert!(wide(3600.0, 4.0 * 3600.0) > 1.0 && wide(DAY_S, DAY_S) < 0.1, "{:?}", asked.course_c);
}

/// With intervals: what `assess` gives as the ends of the hold decides too.
#[test]
fn the_probability_follows_the_hold() {
    let hold = bench(64).assess(&bar()).unwrap().warmth.hold_c.unwrap();
    assert!(send(64, ALONE, &steady(hold.low - 2.0, 2.0)).asked.keeps > 0.9);
    assert!(send(64, ALONE, &steady(hold.high + 2.0, 2.0)).asked.keeps < 0.1);
}

/// Sixty bars in hot air for some hours: those at the corners are past what they hold to while the mean of all is far below it, and the box fails.
#[test]
fn the_warmest_bar_of_a_box_decides() {
    let sixty = Packing { bars: 60, ..ALONE };
    let found = send(16, sixty, &[(0.0, 60.0), (3.0 * 3600.0, 60.0)]);
    let (asked, holds_c) = (&found.asked, found.holds_c.unwrap().value);
    assert!(asked.mean_c.value + 1.0 < holds_c && holds_c < asked.warmest_bar_c.value, "{asked:?} {holds_c}");
    assert!(asked.keeps < 0.5 && asked.fails_s.is_some(), "{}", asked.keeps);
    assert_eq!(found.needed_c, asked.warmest_bar_c.high);
    let highest = asked.course_c.iter().map(|(_, one)| one.value).fold(f64::NEG_INFINITY, f64::max);
    assert!((highest - asked.warmest_bar_c.value).abs() < 0.1, "{highest}");
    // One bar is its own warmest.
    let one = send(16, ALONE, &[(0.0, 60.0), (3600.0, 60.0)]).asked;
    assert_eq!(one.mean_c, one.warmest_bar_c);
}

/// Conservation of energy, every draw, every way; as `heat` promises.
#[test]
fn energy_closes() {
    let routes = known_routes().unwrap();
    let hot = &routes.iter().find(|one| one.name == "hot-day").unwrap().route;
    for packing in [ALONE, Packing { bars: 12, foam_m: 0.01, ice_kg: 0.2, ..ALONE }] {
        for way in send(16, packing, &hot.rows).ways {
            assert!(way.energy_gap < 1e-6, "{:?}: {}", way.way, way.energy_gap);
        }
    }
}

/// Beside what was asked for: 2 cm more foam, two packs of 100 g more ice (or a pack for each 100 g of bars), both; bare, where there was anything.
#[test]
fn the_other_ways_are_more_foam_more_ice_both_and_none() {
    let six = Packing { bars: 6, ..ALONE };
    let found = send(0, six, &steady(30.0, 0.2));
    let parts = bar()
        .parts
        .iter()
        .map(|part| 0.01 * part.percent / LIBRARY.get(part.ingredient).unwrap().density_g_ml)
        .sum::<f64>();
    assert!((found.bars_kg - 6.0 * 0.048 / parts).abs() < 1e-9, "{}", found.bars_kg);
    let tried = |found: &Parcel| -> Vec<(f64, f64)> {
        let mut tried: Vec<(f64, f64)> = found
            .ways
            .iter()
            .filter_map(|one| match one.way {
                Way::Packed { foam_mm, ice_g } => Some((foam_mm.round(), ice_g.round())),
                _ => None,
            })
            .collect();
        tried.sort_by(|a, b| a.partial_cmp(b).unwrap());
        tried
    };
    assert_eq!(tried(&found), [(0.0, 300.0), (20.0, 0.0), (20.0, 300.0)]);
    assert!(found.ways.iter().all(|one| one.way != Way::Bare));
    assert!(
        found
            .ways
            .windows(2)
            .all(|two| two[0].keeps > two[1].keeps || two[0].warmest_bar_c.value <= two[1].warmest_bar_c.value)
    );
    let lined = send(0, Packing { foam_m: 0.01, ice_kg: 0.1, ..ALONE }, &steady(30.0, 0.2));
    assert_eq!(tried(&lined), [(10.0, 300.0), (30.0, 100.0), (30.0, 300.0)]);
    assert_eq!(lined.ways.iter().filter(|one| one.way == Way::Bare).count(), 1);
}

/// A run a draw and one of the central values, for every way; all of them are told, none twice.
#[test]
fn how_far_it_is_is_told_over_all_ways() {
    let formula = bar();
    let told = |packing: Packing, route: &[(f64, f64)]| {
        let task =
            ParcelTask { formula: &formula, packing, bar_ml: 48.0, start_c: 20.0, route, cell_m: 4e-3, fine: false };
        let list = std::sync::Mutex::new(Vec::new());
        let found = parcel(&bench(3), &task, &|done, total| {
            list.lock().unwrap().push((done, total));
            ControlFlow::Continue(())
        });
        let mut list = list.into_inner().unwrap();
        list.sort_unstable();
        (found.unwrap().ways.len(), list)
    };
    let cold_later = [(0.0, 45.0), (21_600.0, 45.0), (21_600.0, 5.0), (DAY_S, 5.0)];
    for (packing, route, ways) in [
        (ALONE, &steady(30.0, 0.2)[..], 4),
        (Packing { foam_m: 0.01, ..ALONE }, &steady(30.0, 0.2)[..], 5),
        (Packing { foam_m: 0.05, bars: 12, ..ALONE }, &cold_later[..], 6),
    ] {
        let (count, list) = told(packing, route);
        assert_eq!(count, ways);
        let total = list[0].1;
        assert!(list.iter().all(|one| one.1 == total), "{list:?}");
        let done: Vec<usize> = list.iter().map(|one| one.0).collect();
        assert!(done.windows(2).all(|two| two[0] < two[1]), "{done:?}");
        assert_eq!((done.len(), *done.last().unwrap(), total % ways), (total, total, 0), "{done:?}");
    }
}

/// Long enough in one air, the bar is at equilibrium with it: the share melted is that of the curve.
#[test]
fn a_long_stay_ends_at_equilibrium() {
    let curves = bench(0).heat_curves(&bar(), 0).unwrap().central.clone();
    for celsius in [25.0, 33.0, 41.0, 52.0] {
        let found = send(0, ALONE, &steady(celsius, 6.0)).asked;
        let wanted = at(&curves.in_use, celsius, |one| one.melted_share());
        assert!((found.melted_share.value - wanted).abs() < 0.003, "{celsius}: {:?} {wanted}", found.melted_share);
        assert!((found.core_c.value - celsius).abs() < 0.05, "{celsius}: {:?}", found.core_c);
    }
}

#[test]
fn no_ice_is_none_and_more_of_anything_is_cooler() {
    let route = [(0.0, 22.0), (7200.0, 50.0), (DAY_S, 50.0)];
    let none = send(0, ALONE, &route).asked;
    assert_eq!(none, send(0, Packing { ice_kg: 0.0, ..ALONE }, &route).asked);
    // A gram of ice in foam is about the foam alone.
    let foam = Packing { foam_m: 0.02, ..ALONE };
    let gram = send(0, Packing { ice_kg: 0.001, ..foam }, &route).asked;
    assert!((gram.core_c.value - send(0, foam, &route).asked.core_c.value).abs() < 0.3);
    for bars in [1, 4] {
        let core = |foam_m: f64, ice_kg: f64| {
            send(0, Packing { bars, foam_m, ice_kg, ..ALONE }, &[(0.0, 22.0), (7200.0, 50.0), (14_400.0, 50.0)])
                .asked
                .core_c
                .value
        };
        let foams: Vec<f64> = [0.0, 0.002, 0.005, 0.01, 0.02, 0.05].iter().map(|&foam_m| core(foam_m, 0.0)).collect();
        assert!(foams.windows(2).all(|pair| pair[1] <= pair[0] + 0.02), "{foams:?}");
        let ices: Vec<f64> = [0.05, 0.1, 0.2, 0.5].iter().map(|&ice_kg| core(0.02, ice_kg)).collect();
        assert!(ices.windows(2).all(|pair| pair[1] <= pair[0] + 0.02), "{ices:?}");
    }
}

#[test]
fn a_later_start_is_offered_only_where_there_is_a_night() {
    let routes = known_routes().unwrap();
    let later = |name: &str| {
        let route = &routes.iter().find(|one| one.name == name).unwrap().route;
        send(0, Packing { foam_m: 0.05, ..ALONE }, &route.rows)
            .ways
            .iter()
            .any(|one| matches!(one.way, Way::Later { .. }))
    };
    for name in ["hot-parcel", "parked-car"] {
        assert!(!later(name), "{name}");
    }
    // Sent into the sun at once, or after a cold night: the second is cooler when the sun comes.
    let foam = Packing { foam_m: 0.05, bars: 12, ..ALONE };
    let found = send(0, foam, &[(0.0, 45.0), (21_600.0, 45.0), (21_600.0, 5.0), (DAY_S, 5.0)]);
    let later = found.ways.iter().find(|one| matches!(one.way, Way::Later { .. }));
    assert!(later.is_some_and(|one| one.warmest_bar_c.value < found.asked.warmest_bar_c.value - 1.0));
}

/// Twelve bars in foam, from a shed: hours and highest mean temperature of the warmest bar of the later start, and that as asked.
fn later(start_c: f64, route: &[(f64, f64)]) -> (Option<(f64, f64)>, f64) {
    let formula = bar();
    let packing = Packing { foam_m: 0.05, bars: 12, ..ALONE };
    let task = ParcelTask { formula: &formula, packing, bar_ml: 48.0, start_c, route, cell_m: CELL_M, fine: false };
    let found = parcel(&bench(0), &task, &|_, _| ControlFlow::Continue(())).unwrap();
    let later = found.ways.iter().find_map(|one| match one.way {
        Way::Later { hours } => Some((hours, one.warmest_bar_c.value)),
        _ => None,
    });
    (later, found.asked.warmest_bar_c.value)
}

/// Six hours of sun and eighteen of cold. Sent some hours later, in whole ones, the bars have the cold before most of the sun comes; in frost it is no other.
#[test]
fn the_best_later_start_has_the_cold_before_most_of_the_sun() {
    let day = |sun_c: f64, cold_c: f64| [(0.0, sun_c), (21_600.0, sun_c), (21_600.0, cold_c), (DAY_S, cold_c)];
    for (start_c, sun_c, cold_c) in [(20.0, 45.0, 5.0), (-10.0, 15.0, -20.0)] {
        let (best, asked_c) = later(start_c, &day(sun_c, cold_c));
        let (hours, mean_c) = best.unwrap();
        assert!((4.0..=6.0).contains(&hours) && hours.fract() == 0.0, "{sun_c} °C: {hours} h");
        assert!(mean_c < asked_c - 1.0, "{mean_c} {asked_c}");
    }
}

/// Air of 30 °C with an hour of 25 °C in it: whenever they are sent, the bars come to 30 °C.
#[test]
fn a_later_start_that_spares_nothing_is_none() {
    let route =
        [(0.0, 30.0), (43_200.0, 30.0), (43_200.0, 25.0), (46_800.0, 25.0), (46_800.0, 30.0), (4.0 * DAY_S, 30.0)];
    let (best, asked_c) = later(20.0, &route);
    assert!(best.is_none() && (asked_c - 30.0).abs() < 0.1, "{best:?} {asked_c}");
}

/// A logger's rows in a zigzag of 2 K, hot for the first quarter and cold for the rest: of a day they are averaged over some ten minutes, of ten days over more
/// than an hour, in which the hours of a day are lost.
#[test]
fn a_later_start_is_tried_where_the_windows_are_shorter_than_an_hour() {
    let route = |days: f64| -> Vec<(f64, f64)> {
        let row = |row: u32| if row < 100 { 43.0 } else { 4.0 } + 2.0 * f64::from(row % 2);
        (0..=400).map(|number| (days * DAY_S / 400.0 * f64::from(number), row(number))).collect()
    };
    assert!(later(20.0, &route(1.0)).0.is_some());
    assert_eq!(later(20.0, &route(10.0)).0, None);
}

#[test]
fn a_million_rows_are_averaged() {
    let rows: Vec<(f64, f64)> =
        (0..1_000_000_u32).map(|n| (0.2 * f64::from(n), 30.0 + f64::from(n % 11) + 5.0 * f64::from(n % 2))).collect();
    let found = send(0, ALONE, &rows);
    assert!(found.window_s.is_some_and(|window| window > 60.0));
    // Mean of the rows 37.5; the bar follows no second.
    assert!((found.asked.core_c.value - 37.5).abs() < 0.3, "{:?}", found.asked.core_c);
}

#[test]
fn odd_tasks_have_an_answer_or_an_error() {
    let one = send(0, ALONE, &[(0.0, 30.0)]);
    assert_eq!(one.length_s, DAY_S);
    assert!((one.asked.core_c.value - 30.0).abs() < 0.1);
    let metre = BarShape::Box { length_mm: 1000.0, width_mm: 1000.0, height_mm: 1000.0 };
    let block = send(0, Packing { shape: metre, ..ALONE }, &steady(60.0, 1.0));
    // √(a t) of a day is 8 cm: its middle has felt nothing.
    assert!((block.asked.core_c.value - 20.0).abs() < 0.2 && block.asked.edge_c.value > 55.0);
    let zero = BarShape::Box { length_mm: 60.0, width_mm: 0.0, height_mm: 20.0 };
    let formula = bar();
    let cell_m = CELL_M;
    for (shape, route) in
        [(zero, &[(0.0, 30.0)][..]), (PALM, &[]), (PALM, &[(0.0, -300.0)]), (PALM, &[(0.0, f64::NAN)])]
    {
        let task = ParcelTask {
            formula: &formula,
            packing: Packing { shape, ..ALONE },
            bar_ml: 48.0,
            start_c: 20.0,
            route,
            cell_m,
            fine: false,
        };
        let refused = parcel(&bench(0), &task, &|_, _| ControlFlow::Continue(()));
        assert!(matches!(refused, Err(MakingError::Heat(_))), "{refused:?}");
    }
    let rows = steady(40.0, 1.0);
    let task = ParcelTask {
        formula: &formula,
        packing: ALONE,
        bar_ml: 48.0,
        start_c: 20.0,
        route: &rows,
        cell_m,
        fine: false,
    };
    assert!(matches!(parcel(&bench(0), &task, &|_, _| ControlFlow::Break(())), Err(MakingError::Stopped) | Ok(_)));
}

/// Most draws are run on a rough grid and corrected: their intervals are those of as many runs on the fine one.
#[test]
fn corrected_draws_are_as_those_on_the_fine_grid() {
    let formula = bar();
    let day = [(0.0, 25.0), (4.0 * 3600.0, 30.0), (8.0 * 3600.0, 46.0), (14.0 * 3600.0, 38.0), (DAY_S, 24.0)];
    let packed = Packing { bars: 3, ..ALONE };
    let task = ParcelTask {
        formula: &formula,
        packing: packed,
        bar_ml: 48.0,
        start_c: 20.0,
        route: &day,
        cell_m: CELL_M,
        fine: false,
    };
    let one_way = |fine: bool| {
        // Only the way asked for: stopped when it is done.
        let control = |done: usize, total: usize| {
            if done * 5 > total { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        parcel(&bench(96), &ParcelTask { fine, ..task }, &control).unwrap().asked
    };
    let (quick, fine) = (one_way(false), one_way(true));
    let near = |a: Estimate, b: Estimate, most: f64| {
        assert!(
            (a.low - b.low).abs() < most && (a.value - b.value).abs() < most && (a.high - b.high).abs() < most,
            "{a:?} {b:?}"
        );
    };
    near(quick.core_c, fine.core_c, 0.3);
    near(quick.mean_c, fine.mean_c, 0.3);
    near(quick.edge_c, fine.edge_c, 0.3);
    near(quick.melted_share, fine.melted_share, 0.01);
    for (quick, fine) in quick.course_c.iter().zip(&fine.course_c) {
        near(quick.1, fine.1, 0.3);
    }
    assert!((quick.keeps - fine.keeps).abs() <= 0.02, "{} {}", quick.keeps, fine.keeps);
    let (quick_s, fine_s) = (quick.fails_s.unwrap(), fine.fails_s.unwrap());
    for (quick, fine) in [(quick_s.low, fine_s.low), (quick_s.value, fine_s.value), (quick_s.high, fine_s.high)] {
        assert!((quick / fine - 1.0).abs() < 0.03, "{quick_s:?} {fine_s:?}");
    }
}
