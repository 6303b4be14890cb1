//! Amounts that a maker would weigh: whole steps near amounts that were computed, and no crumbs.
//!
//! What changes becomes a multiple of the step itself, whatever it was before (35.5 from 33.3, not 35.8); what does not change stays. Where the amounts that
//! stay leave no whole number of steps, the largest that changes takes what is left.

use barwright_blend::BlendError;

use crate::judge::{Judge, MARGIN_TOLERANCE};
use crate::limits::{Limits, is_crumb};
use crate::linear::weighed;
use crate::search::{Found, MAX_STEPS, MIN_GAIN, Search};

/// A change below this is none, mass %.
const NO_CHANGE: f64 = 1e-3;

/// Multiples that are tried of each amount, from the one below it: of up to four that change, of five, and of more.
const MULTIPLES: [&[f64]; 3] = [&[-2.0, -1.0, 0.0, 1.0, 2.0, 3.0], &[-1.0, 0.0, 1.0, 2.0], &[0.0, 1.0]];

/// Combinations of multiples, at most.
const MAX_COMBINATIONS: usize = 1 << 14;

/// How far a number of steps may be from a whole one.
const WHOLE_TOLERANCE: f64 = 1e-6;

/// Margins by which the demands are overfulfilled, one after the other, until a formula in whole steps nearby meets them.
const TIGHTER: [f64; 5] = [0.0, 0.01, 0.03, 0.1, 0.3];

/// Halvings between the last that had none and the first that had one.
const HALVINGS: usize = 2;

/// Formulas in whole steps that are judged at a time: those that tangents say meet everything, then others.
const MAX_PROMISING: usize = 160;
const MAX_OTHERS: usize = 40;

/// What tangents may say is missing of a formula that is worth judging.
const PROMISING: f64 = 0.02;

/// Formulas in whole steps that are judged where none meets everything: those that tangents say miss least.
const MAX_NEAREST: usize = 16;

/// Searches with a crumb left out, kept, or made a part of its own.
const MAX_BRANCHES: usize = 16;

/// Finds amounts in whole steps near some, as [`near`].
pub(crate) type Near = fn(&[f64], &[f64], f64, bool) -> Vec<Vec<f64>>;

/// How amounts become what a maker would weigh.
pub(crate) struct Rounding {
    /// Finds amounts in whole steps near some.
    pub near: Near,
    /// Whether amounts that did not change may, too.
    pub wide: bool,
    /// Which of the amounts may be a crumb: those a bar is built of.
    pub may_crumble: Vec<bool>,
}

impl Rounding {
    /// The smallest crumb that a change leaves.
    ///
    /// # Arguments
    /// * `original`, `percent`: amounts before and after, mass %.
    pub(crate) fn crumb(&self, original: &[f64], percent: &[f64]) -> Option<usize> {
        let crumbs = (0..percent.len()).filter(|&at| self.may_crumble[at] && is_crumb(original[at], percent[at]));
        crumbs.min_by(|&a, &b| percent[a].total_cmp(&percent[b]))
    }
}

impl Search<'_> {
    /// What a maker would weigh: in whole steps and without crumbs where a formula like that meets everything, in steps with crumbs or without crumbs where
    /// only such a one does; and whether it is in steps.
    pub(crate) fn weighable(
        &mut self,
        all: &Judge<'_>,
        found: Found,
        rounding: &Rounding,
        step_percent: Option<f64>,
    ) -> Result<(Found, bool), BlendError> {
        if let Some(step) = step_percent {
            for (wide, crumbs) in [(false, false), (true, false), (false, true), (true, true)] {
                let may_crumble = rounding.may_crumble.iter().map(|may| *may && !crumbs).collect();
                let rounding = Rounding { near: rounding.near, wide, may_crumble };
                if let Some(neat) = self.without_crumbs(all, &found, &rounding, Some(step))? {
                    return Ok((neat, true));
                }
            }
            for left_out in 0..found.percent.len() {
                let Some(limits) = self.limits.without(left_out) else { continue };
                let end = self.settled(all, &limits, &found.percent)?;
                let rounded = match end {
                    Some(end) => self.within(&limits, 0.0, |inner| inner.in_steps(all, &end, rounding, step))?,
                    None => None,
                };
                if let Some(rounded) = rounded {
                    return Ok((rounded, true));
                }
            }
        }
        Ok((self.without_crumbs(all, &found, rounding, None)?.unwrap_or(found), false))
    }

    /// Of a formula that misses something, the one in whole steps near it that misses least, without crumbs where any near it is.
    pub(crate) fn nearest_in_steps(
        &mut self,
        all: &Judge<'_>,
        found: Found,
        rounding: &Rounding,
        step: f64,
    ) -> Result<(Found, bool), BlendError> {
        // What is over its price stays within its bounds.
        let bounds = Limits { price: None, ..self.limits.clone() };
        let mut candidates = (rounding.near)(self.original, &found.percent, step, false);
        candidates.extend((rounding.near)(self.original, &found.percent, step, true));
        candidates.retain(|one| bounds.hold(one));
        if candidates.iter().any(|one| rounding.crumb(self.original, one).is_none()) {
            candidates.retain(|one| rounding.crumb(self.original, one).is_none());
        }
        let standings = self.judge(all, &found.percent, true)?;
        let by_tangents = |one: &[f64]| {
            let missing = standings.iter().map(|standing| {
                let least = standing.tangents.iter().map(|tangent| tangent.margin_at(&found.percent, one));
                (-least.fold(f64::INFINITY, f64::min)).max(0.0)
            });
            weighed(self.value(one), missing.sum::<f64>() + self.limits.over_price(one))
        };
        let mut told: Vec<(f64, Vec<f64>)> = candidates.into_iter().map(|one| (by_tangents(&one), one)).collect();
        told.sort_by(|a, b| a.0.total_cmp(&b.0));
        told.dedup_by(|a, b| a.1 == b.1);
        let mut best: Option<Found> = None;
        for (_, one) in told.into_iter().take(MAX_NEAREST) {
            let one = self.found(all, one, false)?;
            if best.as_ref().is_none_or(|best| one.cost < best.cost) {
                best = Some(one);
            }
        }
        Ok(best.map_or((found, false), |best| (best, true)))
    }

    /// The nearest formula without crumbs, in whole steps where any are given: where the search ends with one, that ingredient is left out, left as it was,
    /// or held above it, the most promising first.
    fn without_crumbs(
        &mut self,
        all: &Judge<'_>,
        found: &Found,
        rounding: &Rounding,
        step_percent: Option<f64>,
    ) -> Result<Option<Found>, BlendError> {
        let mut open = vec![(self.limits.clone(), found.clone())];
        let mut best: Option<Found> = None;
        for _ in 0..MAX_BRANCHES {
            let next = (0..open.len()).min_by(|&a, &b| open[a].1.cost.total_cmp(&open[b].1.cost));
            let Some((limits, node)) = next.map(|next| open.swap_remove(next)) else { break };
            if best.as_ref().is_some_and(|best| best.cost <= node.cost + MIN_GAIN) {
                break;
            }
            if let Some(crumb) = rounding.crumb(self.original, &node.percent) {
                for limits in limits.without_crumb(crumb, self.original[crumb]) {
                    if let Some(end) = self.settled(all, &limits, &node.percent)? {
                        open.push((limits, end));
                    }
                }
                continue;
            }
            let neat = match step_percent {
                Some(step) => {
                    self.within(&limits, self.inside_by, |inner| inner.in_steps(all, &node, rounding, step))?
                }
                None => Some(node),
            };
            if let Some(neat) = neat.filter(|neat| best.as_ref().is_none_or(|best| neat.cost < best.cost)) {
                best = Some(neat);
            }
        }
        Ok(best)
    }

    /// Where a search within other limits ends, from near some amounts; `None` where that does not meet everything.
    fn settled(&mut self, all: &Judge<'_>, limits: &Limits, percent: &[f64]) -> Result<Option<Found>, BlendError> {
        let end = self.within(limits, 0.0, |inner| {
            let start = inner.inside(percent);
            let end = inner.descend(all, start, MAX_STEPS)?;
            let end = inner.nudged(all, end)?;
            inner.confirmed(all, end)
        })?;
        Ok(Some(end).filter(|end| end.missing <= MARGIN_TOLERANCE && limits.hold(&end.percent)))
    }

    /// The nearest formula in whole steps that meets everything; where none near what was found does, near what overfulfils the demands by ever more. `None` when
    /// there is none either.
    fn in_steps(
        &mut self,
        all: &Judge<'_>,
        found: &Found,
        rounding: &Rounding,
        step: f64,
    ) -> Result<Option<Found>, BlendError> {
        let mut tried: Vec<Vec<f64>> = Vec::new();
        let (mut before, mut goal) = (found.percent.clone(), found.percent.clone());
        for inside_by in TIGHTER {
            if inside_by > 0.0 {
                before.clone_from(&goal);
                let limits = self.limits;
                goal = self.within(limits, inside_by, |inner| inner.descend(all, before.clone(), MAX_STEPS))?.percent;
            }
            let Some(mut best) = self.near(all, &goal, rounding, step, &mut tried)? else { continue };
            for _ in 0..HALVINGS {
                let middle: Vec<f64> = before.iter().zip(&goal).map(|(a, b)| 0.5 * (a + b)).collect();
                match self.near(all, &middle, rounding, step, &mut tried)? {
                    Some(nearer) => {
                        goal = middle;
                        best = if nearer.cost < best.cost { nearer } else { best };
                    }
                    None => before = middle,
                }
            }
            return Ok(Some(best));
        }
        Ok(None)
    }

    /// The first formula in whole steps near a goal that meets everything, in the order of mass moved or of price.
    ///
    /// # Arguments
    /// * `tried`: those that were judged and do not.
    fn near(
        &mut self,
        all: &Judge<'_>,
        goal: &[f64],
        rounding: &Rounding,
        step: f64,
        tried: &mut Vec<Vec<f64>>,
    ) -> Result<Option<Found>, BlendError> {
        let mut candidates = (rounding.near)(self.original, goal, step, rounding.wide);
        candidates.retain(|one| self.limits.hold(one) && rounding.crumb(self.original, one).is_none());
        let changed = |one: &[f64]| one.iter().zip(self.original).filter(|(after, before)| after != before).count();
        // Of those that move the same, the one that touches less.
        let moved = |one: &[f64]| (self.value(one) / step / WHOLE_TOLERANCE).round();
        candidates.sort_by(|a, b| moved(a).total_cmp(&moved(b)).then_with(|| changed(a).cmp(&changed(b))));
        let standings = self.judge(all, goal, true)?;
        let promising = |one: &Vec<f64>| {
            let tangents = standings.iter().flat_map(|one| &one.tangents);
            tangents.map(|tangent| tangent.margin_at(goal, one)).all(|margin| margin >= -PROMISING)
        };
        let (first, then): (Vec<_>, Vec<_>) = candidates.into_iter().partition(promising);
        for one in first.into_iter().take(MAX_PROMISING).chain(then.into_iter().take(MAX_OTHERS)) {
            if tried.contains(&one) {
                continue;
            }
            if let Some(found) = self.met(all, one.clone())? {
                return Ok(Some(found));
            }
            tried.push(one);
        }
        Ok(None)
    }
}

/// Formulas in whole steps near some amounts: of all that changes, each in multiples below and above it or as it was, but for one with what is left: the largest
/// that changes, or the largest of all; where it is wide, any.
///
/// # Arguments
/// * `original`, `percent`: amounts before and after, mass %.
/// * `step`: the step, mass %.
/// * `wide`: whether what does not change may as well, and each may take what is left.
pub(crate) fn near(original: &[f64], percent: &[f64], step: f64, wide: bool) -> Vec<Vec<f64>> {
    let changes = |at: &usize| wide || (percent[*at] - original[*at]).abs() > NO_CHANGE;
    let moved: Vec<usize> = (0..percent.len()).filter(changes).collect();
    let larger = |a: &usize, b: &usize| percent[*a].total_cmp(&percent[*b]);
    let Some(largest) = moved.iter().copied().max_by(larger) else { return vec![original.to_vec()] };
    let all = 0..percent.len();
    let rests: Vec<usize> = if wide {
        all.collect()
    } else {
        all.max_by(larger).filter(|at| *at != largest).into_iter().chain([largest]).collect()
    };
    rests.into_iter().flat_map(|rest| with_rest(original, percent, step, &moved, rest)).collect()
}

/// Those where one ingredient takes what is left.
fn with_rest(original: &[f64], percent: &[f64], step: f64, moved: &[usize], rest: usize) -> Vec<Vec<f64>> {
    let multiples = match moved.len() {
        0..=4 => MULTIPLES[0],
        5 => MULTIPLES[1],
        _ => MULTIPLES[2],
    };
    let mut formulas = vec![original.to_vec()];
    for &at in moved.iter().filter(|at| **at != rest) {
        let below = (percent[at] / step + WHOLE_TOLERANCE).floor();
        let mut amounts: Vec<f64> = multiples.iter().map(|extra| (below + extra) * step).collect();
        amounts.retain(|amount| (0.0..=100.0).contains(amount));
        if (percent[at] - original[at]).abs() <= step && !amounts.contains(&original[at]) {
            amounts.push(original[at]);
        }
        let with = |formula: &Vec<f64>, amount: f64| {
            let mut formula = formula.clone();
            formula[at] = amount;
            formula
        };
        let longer = formulas.iter().flat_map(|one| amounts.iter().map(|&amount| with(one, amount)));
        formulas = longer.take(MAX_COMBINATIONS).collect();
    }
    for formula in &mut formulas {
        formula[rest] = 0.0;
        let left = 100.0 - formula.iter().sum::<f64>();
        let whole = (left / step).round();
        formula[rest] = if (left / step - whole).abs() < WHOLE_TOLERANCE { whole * step } else { left };
    }
    formulas.retain(|formula| formula[rest] >= 0.0);
    formulas
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holds(found: &[Vec<f64>], wanted: &[f64]) -> bool {
        found.iter().any(|one| one.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-9))
    }

    #[test]
    fn amounts_near_are_multiples_and_the_largest_takes_what_is_left() {
        let original = [33.3, 33.3, 33.4];
        let found = near(&original, &[35.6, 33.3, 31.1], 0.5, false);
        // Of two that change one is a multiple, and the other what is left.
        assert!(holds(&found, &[35.7, 33.3, 31.0]) && holds(&found, &[35.2, 33.3, 31.5]), "{found:?}");
        // It need not change.
        assert!(!holds(&found, &[35.5, 33.5, 31.0]));
        assert!(holds(&near(&original, &[35.6, 33.3, 31.1], 0.5, true), &[35.5, 33.5, 31.0]));
        // Two steps below and three above, and what is a step or less from what it was may be that.
        let whole = [30.0, 10.0, 60.0];
        let found = near(&whole, &[30.0, 12.2, 57.8], 1.0, false);
        for (amount, is_tried) in [(9.0, false), (10.0, true), (12.0, true), (15.0, true), (16.0, false)] {
            assert_eq!(holds(&found, &[30.0, amount, 70.0 - amount]), is_tried, "{amount}");
        }
        assert!(holds(&near(&original, &[33.7, 33.3, 33.0], 0.5, false), &original));
        assert_eq!(near(&whole, &whole, 1.0, false), [whole.to_vec()]);
        for one in near(&original, &[20.0, 1.2, 78.8], 0.7, false) {
            assert!(
                (one.iter().sum::<f64>() - 100.0).abs() < 1e-9 && one.iter().all(|amount| *amount >= 0.0),
                "{one:?}"
            );
        }
    }

    #[test]
    fn the_smallest_crumb_of_what_a_bar_is_built_of_is_found() {
        let rounding = Rounding { near, wide: false, may_crumble: vec![true, true, true, false] };
        let of = |after: [f64; 4]| rounding.crumb(&[4.0, 1.5, 0.0, 4.0], &after);
        assert_eq!(of([2.0, 1.5, 0.0, 96.5]), None);
        assert_eq!(of([1.9, 1.4, 1.0, 95.7]), Some(2));
        assert_eq!(of([1.9, 1.4, 2.0, 0.5]), Some(1));
        assert_eq!(of([1.9, 0.0, 0.0, 98.1]), Some(0));
    }
}
