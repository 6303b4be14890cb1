//! Bars poured, cooled and sent.

use std::ops::ControlFlow;

use arbitrary::{Result, Unstructured};
use barwright_blend::assess::Workbench;
use barwright_blend::{BlendError, Estimate, Options};
use barwright_heat::HeatError;
use barwright_making::{CoolTask, MakingError, Packing, ParcelTask, Place, PourTask};
use barwright_reference::{Formula, Library};

use crate::task::{self, MODEL};
use crate::{assessing, claims};

/// Draws of one input: one run of the heat model each.
const MAX_DRAWS: usize = 2;

/// Parts of one formula.
const MAX_PARTS: usize = 5;

/// Temperatures stay inside those they start from and are driven by, but for the errors of a few steps, 0.2 K allowed each (`crates/making`,
/// `ACCURACY`).
const STEP_ERRORS_K: f64 = 1.0;

/// Rounding of a temperature that is worked out without steps, K.
const ROUNDING_K: f64 = 1e-9;

/// Largest gap of the heat balance (`crates/heat`: what leaves one cell enters the next to the last bit).
const ENERGY_GAP: f64 = 1e-6;

/// Cell of a bar, m: coarse, so that an input is short.
const CELL_M: f64 = 8e-3;

/// Longest route, s: four days.
const LONGEST_S: f64 = 4.0 * 86_400.0;

/// Goes on to the end.
fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// Draws a formula with a workbench of few draws.
fn options(bytes: &mut Unstructured<'_>) -> Result<Options> {
    Ok(Options { at_c: Vec::new(), ..task::options(bytes, MAX_DRAWS)? })
}

fn bench<'l>(library: &'l Library, options: Options) -> Workbench<'l> {
    Workbench::new(library, &MODEL, options).expect("a workbench")
}

/// Whether a refusal is one that the maker is told; anything else is a failure of the model.
fn refused(error: &MakingError) -> u64 {
    claims::sentence(&error.to_string());
    let told = matches!(
        error,
        MakingError::NotMelted { .. }
            | MakingError::NotCooled { .. }
            | MakingError::TooHotForScent { .. }
            | MakingError::Blend(BlendError::OnlyPowder)
            // A box too large for the heat model, for example.
            | MakingError::Heat(HeatError::OutOfRange { .. })
    );
    assert!(told, "{error}");
    claims::digest(std::mem::discriminant(error))
}

/// Three figures in order, in a range.
fn estimate(what: &str, one: &Estimate, low: f64, high: f64) {
    assert!(one.low <= one.value && one.value <= one.high, "{what}: {one:?}");
    claims::within(what, one.low, low, high);
    claims::within(what, one.high, low, high);
}

/// Melting and pouring.
pub fn pour(data: &[u8]) -> u64 {
    pour_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn pour_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let options = options(bytes)?;
    let formula = task::formula(bytes, library, MAX_PARTS)?;
    let second: Option<Formula> = if bytes.ratio(1, 4)? { Some(task::formula(bytes, library, 3)?) } else { None };
    let maybe = |bytes: &mut Unstructured<'_>, low: f64, high: f64| -> Result<Option<f64>> {
        Ok(if bytes.ratio(1, 3)? { Some(task::figure(bytes, low, high)?) } else { None })
    };
    let task = PourTask {
        formula: &formula,
        second: second.as_ref(),
        mass_kg: task::magnitude(bytes, 1e-3, 1e3)?,
        room_c: task::figure(bytes, -20.0, 60.0)?,
        mould_most_c: maybe(bytes, 0.0, 250.0)?,
        flash_c: maybe(bytes, 20.0, 400.0)?,
        pour_c: maybe(bytes, -20.0, 120.0)?,
    };
    let bench = bench(library, options.clone());
    task::show(&(bench.options(), &task));
    let plan = match barwright_making::pour(&bench, &task, &go_on) {
        Ok(plan) => plan,
        Err(error) => return Ok(refused(&error)),
    };
    assessing::sound(library, &formula, &options, &plan.assessment);
    claims::shares(plan.order.iter().map(|step| step.percent));
    assert!(plan.order.len() == formula.parts.len(), "{:?}", plan.order);
    let melts = |at: usize| plan.order[at].melts_c.unwrap_or(f64::NEG_INFINITY);
    assert!((1..plan.order.len()).all(|at| melts(at) <= melts(at - 1)), "not the hardest first: {:?}", plan.order);
    for (what, one) in [("clear point", &plan.clear_c), ("haze", &plan.haze_c), ("second haze", &plan.second_haze_c)] {
        if let Some(one) = one {
            estimate(what, one, -20.0, 200.0);
        }
    }
    if let Some(second_c) = &plan.second_c {
        estimate("second pour", second_c, -100.0, 400.0);
    }
    for figure in [plan.ceiling_c, plan.hold_c, plan.pour_c] {
        assert!(figure.is_finite(), "{plan:?}");
    }
    assert!(plan.hold_c <= plan.ceiling_c + ROUNDING_K, "held at {} above {}", plan.hold_c, plan.ceiling_c);
    let watched_s = barwright_making::pour::JUG_WATCHED_S;
    for time in [&plan.workable_s, &plan.down_s].into_iter().flatten() {
        estimate("time, s", time, 0.0, watched_s);
    }
    assert!(plan.heat_j.low.is_finite() && plan.heat_j.high.is_finite(), "{:?}", plan.heat_j);
    estimate("heat, J", &plan.heat_j, f64::MIN, f64::MAX);
    assert!(plan.bursts(700.0) >= 1);
    Ok(claims::digest((
        (plan.window, plan.seeds, plan.clear_c.is_some(), plan.haze_c.is_some()),
        (plan.workable_s.is_some(), plan.down_s.is_some(), plan.second_c.is_some(), plan.second_haze_c.is_some()),
    )))
}

/// From the pour to the release.
pub fn cool(data: &[u8]) -> u64 {
    cool_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn cool_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let options = options(bytes)?;
    let formula = task::formula(bytes, library, MAX_PARTS)?;
    let mould = task::mould(bytes)?;
    let mut places = Vec::new();
    for _ in 0..bytes.int_in_range(1..=2_u8)? {
        let air_c = task::figure(bytes, -30.0, 60.0)?;
        places.push(Place { name: "place".to_owned(), air_c, fan: bytes.arbitrary()? });
    }
    let task = CoolTask {
        formula: &formula,
        mould: &mould,
        pour_c: task::figure(bytes, 20.0, 120.0)?,
        mould_c: task::figure(bytes, -30.0, 100.0)?,
        places: &places,
        room: (task::figure(bytes, -20.0, 50.0)?, task::figure(bytes, 1.0, 100.0)?),
        fine: false,
    };
    let bench = bench(library, options.clone());
    task::show(&(bench.options(), &task));
    let found = match barwright_making::cool(&bench, &task, &go_on) {
        Ok(found) => found,
        Err(error) => return Ok(refused(&error)),
    };
    assessing::sound(library, &formula, &options, &found.assessment);
    assert_eq!(found.places.len(), places.len());
    assert!(found.best.is_none_or(|best| best < places.len()), "{:?}", found.best);
    assert!(found.bar_kg > 0.0 && found.bar_kg.is_finite(), "{}", found.bar_kg);
    assert!(found.dew_point_c <= task.room.0 + ROUNDING_K, "dew at {} in air of {}", found.dew_point_c, task.room.0);
    estimate("shrinkage", &found.shrinkage, -1.0, 1.0);
    let watched_s = barwright_making::cool::WATCHED_S;
    for one in &found.places {
        let low = one.place.air_c.min(task.mould_c).min(task.pour_c) - STEP_ERRORS_K;
        let high = one.place.air_c.max(task.mould_c).max(task.pour_c) + STEP_ERRORS_K;
        claims::within("probability of release", one.releases, 0.0, 1.0);
        claims::within("risk of grain", one.grain, 0.0, 1.0);
        claims::within("the surface, °C", one.surface_c, low, high);
        for time in [&one.skin_s, &one.set_s, &one.release_s].into_iter().flatten() {
            estimate("time, s", time, 0.0, watched_s);
        }
        if let Some(slow_s) = one.slow_s {
            claims::within("time between 40 °C and 20 °C, s", slow_s, 0.0, watched_s);
        }
        // Where the air is warmer than the mould it may be the open face that sets last.
        let face_first = one.place.air_c <= task.mould_c;
        if let (true, Some(skin), Some(set)) = (face_first, one.skin_s, one.set_s) {
            assert!(skin.value <= set.value, "set through before it has a skin: {skin:?}, {set:?}");
        }
        if let (Some(set), Some(release), Some(sets_c), Some(releases_c)) =
            (one.set_s, one.release_s, found.sets_c, found.releases_c)
        {
            let ordered = if releases_c <= sets_c { set.value <= release.value } else { release.value <= set.value };
            assert!(ordered, "released at {releases_c} °C, set at {sets_c} °C: {release:?}, {set:?}");
        }
        history(&one.history, low, high);
    }
    let of = |one: &barwright_making::cool::PlaceOutcome| {
        (one.skin_s.is_some(), one.set_s.is_some(), one.release_s.is_some(), one.slow_s.is_some(), one.dew)
    };
    Ok(claims::digest((found.best, found.places.iter().map(of).collect::<Vec<_>>(), found.sets_c.is_some())))
}

/// Records in order of time, temperatures in their range, shares of the whole.
fn history(records: &[barwright_making::parcel::Record], low: f64, high: f64) {
    assert!(!records.is_empty(), "no history");
    assert!(records.windows(2).all(|two| two[0].time_s <= two[1].time_s), "records out of order");
    for one in records {
        for celsius in [one.centre_c, one.surface_c, one.warmest_surface_c, one.mean_c, one.coolest_c, one.warmest_c] {
            claims::within("a temperature, °C", celsius, low, high);
        }
        let inside = one.coolest_c - ROUNDING_K <= one.mean_c && one.mean_c <= one.warmest_c + ROUNDING_K;
        assert!(inside, "the mean is outside the coolest and the warmest: {one:?}");
        for share in [one.melted_share, one.least_melted, one.most_melted] {
            claims::within("a melted share", share, -claims::SUM_PERCENT, 1.0 + claims::SUM_PERCENT);
        }
    }
}

/// A parcel along a route.
pub fn parcel(data: &[u8]) -> u64 {
    parcel_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn parcel_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let options = options(bytes)?;
    let formula = task::formula(bytes, library, MAX_PARTS)?;
    let shape = task::shape(bytes)?;
    let packing = Packing {
        shape,
        bars: if bytes.arbitrary()? { 1 } else { bytes.int_in_range(1..=1000)? },
        foam_m: if bytes.arbitrary()? { 0.0 } else { task::magnitude(bytes, 1e-3, 0.2)? },
        ice_kg: if bytes.ratio(2, 3)? { 0.0 } else { task::magnitude(bytes, 1e-3, 50.0)? },
    };
    let route = route(bytes)?;
    let start_c = task::figure(bytes, -20.0, 60.0)?;
    let volume_ml = shape.volume_ml() * task::figure(bytes, 0.1, 1.0)?;
    let task = ParcelTask {
        formula: &formula,
        packing,
        bar_ml: volume_ml,
        start_c,
        route: &route,
        cell_m: CELL_M,
        fine: false,
    };
    let bench = bench(library, options);
    task::show(&(bench.options(), &task));
    let found = match barwright_making::parcel(&bench, &task, &go_on) {
        Ok(found) => found,
        Err(error) => return Ok(refused(&error)),
    };
    assert!(found.finished && found.length_s > 0.0 && found.bars_kg > 0.0, "{found:?}");
    let (coldest_c, hottest_c) = found.extremes_c;
    // The mean of a window may round past what it is the mean of.
    claims::within("the coldest air, °C", coldest_c, -40.0 - ROUNDING_K, hottest_c);
    claims::within("the hottest air, °C", hottest_c, coldest_c, 90.0 + ROUNDING_K);
    if let Some(holds_c) = &found.holds_c {
        estimate("shape kept to, °C", holds_c, -100.0, 200.0);
    }
    // The warmest bar is followed on a grid of its own.
    let mean_c = found.asked.mean_c.value;
    assert!(found.needed_c >= mean_c - STEP_ERRORS_K, "{} °C is needed, {mean_c} °C the mean", found.needed_c);
    assert!(found.ways.contains(&found.asked), "what was asked for is not among the ways");
    assert!(found.ways.windows(2).all(|two| two[0].keeps >= two[1].keeps), "not the surest first");
    for one in &found.ways {
        // An ice pack is at 0 °C, or colder where the air is.
        let low = start_c.min(coldest_c).min(0.0) - STEP_ERRORS_K;
        let high = start_c.max(hottest_c).max(0.0) + STEP_ERRORS_K;
        estimate("the core, °C", &one.core_c, low, high);
        estimate("the mean, °C", &one.mean_c, low, high);
        estimate("the edge, °C", &one.edge_c, low, high);
        let rounding = claims::SUM_PERCENT;
        estimate("melted", &one.melted_share, -rounding, 1.0 + rounding);
        estimate("melted before", &one.melted_before, -rounding, 1.0 + rounding);
        assert!(one.melted_before.value <= one.melted_share.value + rounding, "{one:?}");
        assert!(one.mean_c.value <= one.edge_c.value + ROUNDING_K, "the mean is above the warmest: {one:?}");
        claims::within("probability to keep its shape", one.keeps, 0.0, 1.0);
        if let Some(fails_s) = &one.fails_s {
            estimate("until it fails, s", fails_s, 0.0, found.length_s);
        }
        if let Some(gone_s) = one.ice_gone_s {
            claims::within("until the ice is gone, s", gone_s, 0.0, found.length_s);
        }
        claims::within("gap of the heat balance", one.energy_gap, 0.0, ENERGY_GAP);
        history(&one.history, low, high);
    }
    assert_eq!(found.outside.len(), found.asked.history.len());
    Ok(claims::digest((
        (found.window_s.is_some(), found.ways.len(), found.holds_c.is_some(), packing.bars > 1, packing.lined()),
        found.ways.iter().map(|one| (one.fails_s.is_some(), one.ice_gone_s.is_some())).collect::<Vec<_>>(),
        (found.asked.melted_share.value > 0.0, found.asked.melted_share.value < 1.0),
    )))
}

/// Draws a route: steps, slopes, one row, or the many rows of a logger.
fn route(bytes: &mut Unstructured<'_>) -> Result<Vec<(f64, f64)>> {
    let rows = if bytes.ratio(1, 8)? { bytes.int_in_range(1..=400)? } else { bytes.int_in_range(1..=6)? };
    let mut route = vec![(0.0, task::figure(bytes, -40.0, 90.0)?)];
    let longest_s = task::magnitude(bytes, 1.0, LONGEST_S)?;
    for _ in 1..rows {
        let (time_s, before_c) = route[route.len() - 1];
        let step = route.len() > 1 && route[route.len() - 2].0 == time_s;
        let gap_s = if !step && bytes.ratio(1, 6)? { 0.0 } else { task::figure(bytes, 1e-3, longest_s / rows as f64)? };
        let celsius = if bytes.ratio(1, 4)? { before_c } else { task::figure(bytes, -40.0, 90.0)? };
        route.push((time_s + gap_s, celsius));
    }
    Ok(route)
}
