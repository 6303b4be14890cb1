//! One computation over all draws, in parallel, with progress and a way to stop.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use barwright_blend::heat_curve::HeatCurves;
use barwright_blend::interval::Spread;
use barwright_blend::sampling::Draws;
use rayon::prelude::*;

use crate::MakingError;

/// Standard deviation of the logarithm of a film coefficient: correlations for still air agree with measurements within about 20 %, and no
/// bench is free of draughts (judgement).
pub const FILM_LN_SD: f64 = 0.2;

/// Called as computations end: how many of how many are done. Says whether to go on. May be called from several threads.
pub type Control<'a> = &'a (dyn Fn(usize, usize) -> ControlFlow<()> + Sync);

/// Computes with the central model and with every draw; the same for any number of threads.
///
/// # Arguments
/// * `curves`: heat curves of each draw.
/// * `seed`: of the factors on the film.
/// * `control`: progress.
/// * `of`: the computation: number of the draw (`None` for the central model), its curves, and the factor on the film.
///
/// # Errors
/// The first error of the lowest draw; [`MakingError::Stopped`].
pub fn compute<T: Send>(
    curves: &Spread<HeatCurves>,
    seed: u64,
    control: Control<'_>,
    of: impl Fn(Option<usize>, &HeatCurves, f64) -> Result<T, MakingError> + Sync,
) -> Result<Spread<T>, MakingError> {
    let total = curves.drawn.len() + 1;
    let factors: Vec<f64> =
        Draws::new(seed, curves.drawn.len()).dimension("film").iter().map(|z| (FILM_LN_SD * z).exp()).collect();
    let (done, stopped) = (AtomicUsize::new(0), AtomicBool::new(false));
    let step = |draw: Option<usize>, curves: &HeatCurves, factor: f64| {
        if stopped.load(Ordering::Relaxed) {
            return Err(MakingError::Stopped);
        }
        let found = of(draw, curves, factor);
        if control(done.fetch_add(1, Ordering::Relaxed) + 1, total).is_break() {
            stopped.store(true, Ordering::Relaxed);
        }
        found
    };
    let central = step(None, &curves.central, 1.0)?;
    let drawn = curves.drawn.par_iter().zip(factors).enumerate();
    let drawn: Vec<Result<T, MakingError>> =
        drawn.map(|(draw, (curves, factor))| step(Some(draw), curves, factor)).collect();
    Ok(Spread { central, drawn: drawn.into_iter().collect::<Result<_, _>>()? })
}
