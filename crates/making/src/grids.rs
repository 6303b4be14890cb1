//! Every draw on a rough grid, a few of them on a middling one, the central model on a fine one, and what lies between them.
//!
//! A run on a fine grid costs as much as dozens on a rough one, and what a rougher one gets wrong is nearly the same in all draws. So what the middling grid
//! adds to the rough one is fitted on some draws that were run on both, what the fine one adds to that is taken from the central model, and both are
//! added to every draw:
//!
//! ```text
//! y_fine = y_rough + (a + b y_rough + c z) + (y_fine − y_middling of the central model)
//! y = ln(t + 1 min) for times, the figure itself for temperatures and shares
//! ```
//! `z` is the draw's score of the film. The draws run on two grids are evenly spread over what the rough grid says; there are more of them until the line is known well
//! enough. How well is judged by each of them left out of the fit in turn: with `n` draws and `p` numbers in the line,
//!
//! ```text
//! e_i = r_i / (1 − H_ii),      error of the line  √(p/n · mean e²)
//! ```
//!
//! # Validity
//! Where the line does not do, all draws end up on the middling grid. A figure that is missing on the rough grid is missing.
//!
//! # Source
//! A cheap code as predictor of a dear one: Kennedy and O'Hagan 2000, Biometrika 87, 1. Residuals left out: Allen 1974, Technometrics 16, 125 (both recalled).

use barwright_blend::Spread;
use barwright_blend::heat_curve::HeatCurves;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use crate::MakingError;
use crate::spread::{Control, Film, Runs};

/// Draws run on two grids at first, and how many more each time.
const DRAWS_A_ROUND: usize = 8;

/// The logarithm of a time is taken with this added, s: nobody counts the seconds of a bar.
pub(crate) const MINUTE_S: f64 = 60.0;

/// A left-out draw may miss by this many times the error allowed of the line.
const MAX_SCATTER: f64 = 4.0;

/// Singular values below this share of the largest count as none: a column of the fit that says nothing new.
const MIN_SINGULAR: f64 = 1e-9;

/// Numbers in the line.
const COLUMNS: usize = 3;

/// On which grid a run is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grid {
    /// A handful of cells.
    Rough,
    /// Some hundred cells.
    Middling,
    /// As many as the answer needs.
    Fine,
}

/// What kind of figure is read off a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Kind {
    /// A time, s, in a run watched this long; one that is later does not come.
    Time {
        /// s.
        watched_s: f64,
        /// Added before its logarithm is taken, s.
        added_s: f64,
    },
    /// °C.
    Temperature,
    /// 0 to 1.
    Share,
}

impl Kind {
    /// The figure as it is fitted.
    fn fitted(self, figure: f64) -> f64 {
        match self {
            Kind::Time { added_s, .. } => (figure + added_s).ln(),
            Kind::Temperature | Kind::Share => figure,
        }
    }

    /// The figure of what was fitted; none for a time beyond those watched.
    fn figure(self, fitted: f64) -> Option<f64> {
        match self {
            Kind::Time { watched_s, added_s } => {
                Some((fitted.exp() - added_s).max(0.0)).filter(|time_s| *time_s <= watched_s)
            }
            Kind::Temperature => Some(fitted),
            Kind::Share => Some(fitted.clamp(0.0, 1.0)),
        }
    }

    /// Error allowed of the line: 0.7 % of a time, 0.1 K, 0.7 % of the bar.
    fn allowed(self) -> f64 {
        match self {
            Kind::Time { .. } | Kind::Share => 0.007,
            Kind::Temperature => 0.1,
        }
    }
}

/// Figures of one run.
pub(crate) type Figures = Vec<Option<f64>>;

/// The line of one figure, over the columns of [`columns`].
struct Line {
    weights: [f64; COLUMNS],
    /// Its error, and that of a draw left out, over what is allowed.
    excess: f64,
}

/// What is run.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sweep<'a> {
    /// Curves of each draw.
    pub curves: &'a Spread<HeatCurves>,
    /// Its film.
    pub film: &'a Film,
    /// Whether every draw is run on the fine grid.
    pub fine: bool,
}

/// Runs every draw.
///
/// # Arguments
/// * `sweep`: the draws.
/// * `central`: figures of the central model on the fine grid.
/// * `control`: progress; may stop it.
/// * `kinds`: of the figures, in their order.
/// * `first`: the figure over which the draws run on both grids are spread at first.
/// * `of`: a run: curves, factor on the film, grid.
///
/// # Returns
/// Figures of each draw as if all had been run on the fine grid.
///
/// # Errors
/// The first error of the lowest draw; [`MakingError::Stopped`].
pub(crate) fn every_draw(
    sweep: Sweep<'_>,
    central: &[Option<f64>],
    control: Control<'_>,
    kinds: &[Kind],
    first: usize,
    of: impl Fn(&HeatCurves, f64, Grid) -> Result<Figures, MakingError> + Sync,
) -> Result<Vec<Figures>, MakingError> {
    let Sweep { curves, film, fine } = sweep;
    let count = curves.drawn.len();
    let runs = Runs::new(control, count);
    let on = |grid: Grid, draws: Vec<usize>| -> Result<Vec<(usize, Figures)>, MakingError> {
        let found: Vec<Result<_, _>> = draws
            .into_par_iter()
            .map(|draw| runs.run(|| Ok((draw, of(&curves.drawn[draw], film.factors[draw], grid)?))))
            .collect();
        found.into_iter().collect()
    };
    let figures_of = |found: Vec<(usize, Figures)>| found.into_iter().map(|(_, figures)| figures).collect();
    if fine || count <= 2 * DRAWS_A_ROUND {
        return Ok(figures_of(on(Grid::Fine, (0..count).collect())?));
    }
    let middle = of(&curves.central, 1.0, Grid::Middling)?;
    let finer: Vec<f64> = (kinds.iter().zip(central).zip(&middle))
        .map(|((kind, fine), middle)| {
            fine.zip(*middle).map_or(0.0, |(fine, middle)| kind.fitted(fine) - kind.fitted(middle))
        })
        .collect();
    let rough: Vec<Figures> = figures_of(on(Grid::Rough, (0..count).collect())?);
    let mut middling: Vec<Option<Figures>> = vec![None; count];
    let lines = loop {
        let lines: Vec<Line> =
            (0..kinds.len()).map(|figure| Line::new(figure, kinds[figure], &rough, &middling, &film.scores)).collect();
        // The figure known worst; at the start, when none is known at all, the one asked for.
        let worst = (0..kinds.len()).filter(|&figure| lines[figure].excess > 1.0 || lines[figure].excess.is_nan());
        let worst =
            worst.max_by(|&a, &b| lines[a].excess.total_cmp(&lines[b].excess).then((a == first).cmp(&(b == first))));
        let Some(figure) = worst else { break lines };
        for (draw, figures) in on(Grid::Middling, spread_over(figure, &rough, &middling))? {
            middling[draw] = Some(figures);
        }
    };
    let corrected = |draw: usize| {
        let figure = |(figure, kind): (usize, &Kind)| {
            let fitted = match &middling[draw] {
                Some(figures) => kind.fitted(figures[figure]?),
                None => {
                    let fitted = kind.fitted(rough[draw][figure]?);
                    fitted + lines[figure].at(fitted, film.scores[draw])
                }
            };
            kind.figure(fitted + finer[figure])
        };
        kinds.iter().enumerate().map(figure).collect()
    };
    Ok((0..count).map(corrected).collect())
}

/// What the line is made of.
fn columns(fitted: f64, film: f64) -> [f64; COLUMNS] {
    [1.0, fitted, film]
}

impl Line {
    /// Fits the line of a figure to the draws that were run on both grids.
    fn new(figure: usize, kind: Kind, rough: &[Figures], middling: &[Option<Figures>], film: &[f64]) -> Self {
        let pairs: Vec<([f64; COLUMNS], f64)> = (0..rough.len())
            .filter_map(|draw| {
                let (rough, middling) =
                    (kind.fitted(rough[draw][figure]?), kind.fitted(middling[draw].as_ref()?[figure]?));
                Some((columns(rough, film[draw]), middling - rough))
            })
            .collect();
        let none = Line { weights: [0.0; COLUMNS], excess: 0.0 };
        if spread_over(figure, rough, middling).is_empty() {
            // No draw is left to correct.
            return none;
        }
        let (count, unknown) = (pairs.len(), Line { excess: f64::INFINITY, ..none });
        if count < COLUMNS + 2 {
            return unknown;
        }
        let matrix = DMatrix::from_fn(count, COLUMNS, |row, column| pairs[row].0[column]);
        let differences = DVector::from_iterator(count, pairs.iter().map(|pair| pair.1));
        let parts = matrix.clone().svd(true, true);
        let (Some(left), Ok(weights)) =
            (&parts.u, parts.solve(&differences, MIN_SINGULAR * parts.singular_values.max()))
        else {
            return unknown;
        };
        let residuals = differences - matrix * &weights;
        let squares = residuals.iter().zip(left.row_iter()).map(|(residual, row)| {
            let hat: f64 = row.norm_squared();
            (residual / (1.0 - hat)).powi(2)
        });
        let scatter = (squares.sum::<f64>() / count as f64).sqrt();
        let error = scatter * (COLUMNS as f64 / count as f64).sqrt();
        let excess = (error / kind.allowed()).max(scatter / (MAX_SCATTER * kind.allowed()));
        Line { weights: [weights[0], weights[1], weights[2]], excess }
    }

    /// The difference between the grids.
    fn at(&self, fitted: f64, film: f64) -> f64 {
        columns(fitted, film).iter().zip(&self.weights).map(|(column, weight)| column * weight).sum()
    }
}

/// Draws not yet run on the middling grid, evenly spread over a figure of the rough one.
fn spread_over(figure: usize, rough: &[Figures], middling: &[Option<Figures>]) -> Vec<usize> {
    let mut left: Vec<(f64, usize)> = (0..rough.len())
        .filter(|&draw| middling[draw].is_none())
        .filter_map(|draw| Some((rough[draw][figure]?, draw)))
        .collect();
    left.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let count = left.len().min(DRAWS_A_ROUND);
    (0..count).map(|one| left[(2 * one + 1) * left.len() / (2 * count)].1).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use std::ops::ControlFlow;
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;
    use barwright_blend::assess::Workbench;
    use barwright_blend::{Model, Options};
    use barwright_reference::{Library, formula};

    const DRAWS: usize = 100;

    /// So many draws of one bar, which differ by their film alone.
    fn draws() -> Spread<HeatCurves> {
        let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
        let bar = formula::read_inline("beeswax 30, sunflower oil 70", "bar", &library).unwrap().formulas.remove(0);
        let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() }).unwrap();
        let central = bench.heat_curves(&bar, 0).unwrap().central.clone();
        Spread { drawn: vec![central.clone(); DRAWS], central }
    }

    /// Every draw of runs that are functions of the factor on the film and of the grid; and how many were run on the middling one.
    fn found(kinds: &[Kind], of: impl Fn(f64, Grid) -> Figures + Sync) -> (Vec<Figures>, Vec<f64>, usize) {
        let (curves, film, middling) = (draws(), Film::new(7, DRAWS), AtomicUsize::new(0));
        let run = |_: &HeatCurves, factor: f64, grid: Grid| {
            middling.fetch_add(usize::from(grid == Grid::Middling), Ordering::Relaxed);
            Ok(of(factor, grid))
        };
        let sweep = Sweep { curves: &curves, film: &film, fine: false };
        let found = every_draw(sweep, &of(1.0, Grid::Fine), &|_, _| ControlFlow::Continue(()), kinds, 0, run).unwrap();
        (found, film.factors, middling.into_inner())
    }

    #[test]
    fn where_grids_differ_by_a_line_eight_draws_tell_the_others() {
        let kinds = [Kind::Time { watched_s: 1e6, added_s: MINUTE_S }, Kind::Temperature];
        let of = |factor: f64, grid: Grid| {
            // A time: a power of the film, of its logarithm a line. A temperature that differs by two shares of itself, and by as much everywhere from fine to middling.
            let (more, finer) = match grid {
                Grid::Rough => (1.0, 0.0),
                Grid::Middling => (1.1, 0.0),
                Grid::Fine => (1.1, 0.4),
            };
            let time_s = more * 4000.0 * factor.powf(-0.7) - MINUTE_S;
            vec![Some(time_s), Some(more * (30.0 + 2.0 * factor) + finer)]
        };
        let (found, factors, middling) = found(&kinds, of);
        assert_eq!(middling, DRAWS_A_ROUND + 1);
        for (figures, factor) in found.iter().zip(factors) {
            for (got, wanted) in figures.iter().zip(of(factor, Grid::Fine)) {
                assert!((got.unwrap() / wanted.unwrap() - 1.0).abs() < 1e-9, "{got:?} {wanted:?}");
            }
        }
    }

    #[test]
    fn where_no_line_does_every_draw_is_run_again() {
        let of = |factor: f64, grid: Grid| {
            vec![Some(if grid == Grid::Rough { 30.0 } else { 30.0 + 5.0 * (1e3 * factor).sin() })]
        };
        let (found, factors, middling) = found(&[Kind::Temperature], of);
        assert_eq!(middling, DRAWS + 1);
        for (figures, factor) in found.iter().zip(factors) {
            assert!((figures[0].unwrap() - of(factor, Grid::Fine)[0].unwrap()).abs() < 1e-9);
        }
    }

    #[test]
    fn what_never_comes_is_missing_and_what_comes_too_late_too() {
        let watched_s = 4000.0;
        let kinds =
            [Kind::Time { watched_s, added_s: MINUTE_S }, Kind::Time { watched_s, added_s: MINUTE_S }, Kind::Share];
        let of = |factor: f64, grid: Grid| {
            let more = if grid == Grid::Rough { 1.0 } else { 1.2 };
            let time_s = more * (3000.0 * factor + MINUTE_S) - MINUTE_S;
            vec![None, Some(time_s).filter(|time_s| *time_s <= watched_s), Some((more - 0.2).min(1.0))]
        };
        let (found, factors, _) = found(&kinds, of);
        for (figures, factor) in found.iter().zip(factors) {
            assert_eq!((figures[0], figures[1].is_some()), (None, of(factor, Grid::Fine)[1].is_some()), "{factor}");
            assert!((figures[2].unwrap() - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn it_stops_when_told_to() {
        let (curves, film) = (draws(), Film::new(7, DRAWS));
        let sweep = Sweep { curves: &curves, film: &film, fine: false };
        let control =
            |done: usize, _: usize| if done >= 10 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
        let run = |_: &HeatCurves, _: f64, _: Grid| Ok(vec![Some(1.0)]);
        assert!(matches!(every_draw(sweep, &[None], &control, &[Kind::Share], 0, run), Err(MakingError::Stopped)));
    }
}
