//! One computation over all draws, in parallel, with progress and a way to stop.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use barwright_blend::Spread;
use barwright_blend::heat_curve::HeatCurves;
use barwright_blend::sampling::Draws;
use rayon::prelude::*;

use crate::MakingError;

/// Standard deviation of the logarithm of a film coefficient: correlations for still air agree with measurements within about 20 %, and no
/// bench is free of draughts (judgement).
const FILM_LN_SD: f64 = 0.2;

/// Called as computations end with how many are done, and out of how many; returns whether to go on. May be called from several threads.
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
    let film = Film::new(seed, curves.drawn.len());
    let runs = Runs::new(control, curves.drawn.len() + 1);
    let central = runs.run(|| of(None, &curves.central, 1.0))?;
    let drawn = curves.drawn.par_iter().zip(film.factors).enumerate();
    let drawn: Vec<Result<T, MakingError>> =
        drawn.map(|(draw, (curves, factor))| runs.run(|| of(Some(draw), curves, factor))).collect();
    Ok(Spread { central, drawn: drawn.into_iter().collect::<Result<_, _>>()? })
}

/// The film coefficient of each draw.
#[derive(Debug)]
pub(crate) struct Film {
    /// Standard deviations from its centre.
    pub scores: Vec<f64>,
    /// Factors on it.
    pub factors: Vec<f64>,
}

impl Film {
    /// Draws it.
    pub fn new(seed: u64, count: usize) -> Self {
        let scores = Draws::new(seed, count).dimension("film");
        let factors = scores.iter().map(|z| (FILM_LN_SD * z).exp()).collect();
        Film { scores, factors }
    }
}

/// Runs that report their progress and can be stopped, from any thread.
pub(crate) struct Runs<'a> {
    control: Control<'a>,
    total: usize,
    done: AtomicUsize,
    stopped: AtomicBool,
}

impl<'a> Runs<'a> {
    /// None done yet of about so many.
    pub fn new(control: Control<'a>, total: usize) -> Self {
        Runs { control, total, done: AtomicUsize::new(0), stopped: AtomicBool::new(false) }
    }

    /// Makes one, unless they were stopped.
    ///
    /// # Errors
    /// Its own; [`MakingError::Stopped`].
    pub fn run<T>(&self, of: impl FnOnce() -> Result<T, MakingError>) -> Result<T, MakingError> {
        if self.stopped.load(Ordering::Relaxed) {
            return Err(MakingError::Stopped);
        }
        let found = of();
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        if (self.control)(done.min(self.total), self.total).is_break() {
            self.stopped.store(true, Ordering::Relaxed);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use barwright_blend::assess::Workbench;
    use barwright_blend::{Model, Options};
    use barwright_reference::{Library, formula};

    /// The logarithm of the factor has mean 0 and standard deviation 0.2, by which 5 % of 200 factors lie below 0.72 and 5 % above 1.39.
    #[test]
    fn the_film_is_known_to_a_fifth_either_way() {
        let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
        let bar = formula::read_inline("beeswax 30, sunflower oil 70", "bar", &library).unwrap().formulas.remove(0);
        let bench = Workbench::new(&library, &model, Options { draws: 200, ..Options::default() }).unwrap();
        let curves = bench.heat_curves(&bar, 200).unwrap();
        let factors = compute(&curves, 1, &|_, _| ControlFlow::Continue(()), |_, _, factor| Ok(factor)).unwrap();
        assert_eq!((factors.central, factors.drawn.len()), (1.0, 200));
        let mut drawn = factors.drawn;
        drawn.sort_by(f64::total_cmp);
        let (low, middle, high) = (drawn[10], drawn[100], drawn[190]);
        assert!((low - 0.72).abs() < 0.05 && (middle - 1.0).abs() < 0.05 && (high - 1.39).abs() < 0.08, "{drawn:?}");
    }
}
