//! A search for the formula of least cost: the mass moved or the price, and what is missing of the demands.
//!
//! Sequential linear programming with a trust region: every margin is replaced by its tangent ([`crate::judge`] gives exact derivatives), the linear
//! program is solved inside the region ([`crate::linear`]), the step is judged, the region grows or shrinks. It starts from the
//! formula itself and from it with one ingredient raised or lowered, first with few draws, then goes on from the best with all. Where that ends
//! without an answer, it starts again from points spread over the limits, then, where each demand alone can be met, from the formulas that do that, half way
//! between them, and without each ingredient in turn. Margins jump where an ingredient comes or goes, since what the model leaves out belongs to a set of
//! ingredients: these last searches try a step that such a jump spoils again within the set. It says then that none was found, which is no proof.
//!
//! # Source
//! Fletcher and Sainz de la Maza 1989, Math. Program. 43:235 (sequential linear programming with a trust region; recalled).

use std::borrow::Cow;

use barwright_blend::BlendError;

use crate::judge::{Judge, MARGIN_TOLERANCE, Standing, TRACE_PERCENT};
use crate::limits::{Limits, mass_moved};
use crate::linear::{Objective, Program, Step, missing, most_missing, weighed};

/// First reach of a step, mass %.
const FIRST_REACH: f64 = 8.0;

/// Reach below which a search ends, mass %.
const LAST_REACH: f64 = 0.01;

/// Steps of one search.
pub(crate) const MAX_STEPS: usize = 30;

/// Steps of one of the first searches.
const FEW_STEPS: usize = 12;

/// Gain below which a search ends, mass % moved.
pub(crate) const MIN_GAIN: f64 = 1e-3;

/// Share of the promised gain that a step must bring.
const SUFFICIENT: f64 = 0.05;

/// Other starts have one ingredient this much higher or lower, mass %.
const START_CHANGE: f64 = 8.0;

/// Starts that are followed: all of them for up to six ingredients.
const FOLLOWED: usize = 13;

/// Starts that go on to the search with all draws.
const FINALISTS: usize = 4;

/// Points spread over the limits when nothing else finds an answer.
pub(crate) const SPREAD_STARTS: usize = 96;

/// Number of those that are followed.
const SPREAD_FOLLOWED: usize = 6;

/// What may be missing of a formula that is polished: about as much as a transfer brings.
const NEAR_MISS: f64 = 0.2;

/// What is there of an ingredient stays there while it is this much, mass %.
const LEAST_KEPT: f64 = 0.01;

/// Where more than this is missing, starting again was never seen to help: three times too soft, say.
const HOPELESS: f64 = 1.0;

/// Margin that a nudge aims at.
const INSIDE: f64 = 1e-3;

/// First and last size of a transfer in polishing, mass %.
const FIRST_TRANSFER: f64 = 0.8;
const LAST_TRANSFER: f64 = 0.05;

/// Ingredients of less than this are left out altogether, to see whether that is better, mass %.
const LARGEST_DROP: f64 = 4.0;

/// Transfers tried where something is missing, from [`FIRST_REACH`] down.
const MAX_REPAIRS: usize = 300;

/// Transfers tried in polishing.
const MAX_TRANSFERS: usize = 60;

/// How often a formula was judged in so many draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// Draws each time.
    pub draws: usize,
    /// How often.
    pub times: usize,
}

/// A formula and how far it meets the demands.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub percent: Vec<f64>,
    pub standings: Vec<Standing>,
    pub cost: f64,
    pub missing: f64,
}

/// Which ingredients are there.
fn set(percent: &[f64]) -> impl Iterator<Item = bool> {
    percent.iter().map(|percent| *percent > TRACE_PERCENT)
}

/// Every pair of ingredients, in order.
fn transfers(count: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..count).flat_map(move |from| (0..count).filter(move |to| *to != from).map(move |to| (from, to)))
}

/// A search, and what it has judged.
pub(crate) struct Search<'a> {
    pub original: &'a [f64],
    /// What is made as small as can be, beside what is missing.
    pub objective: Objective<'a>,
    pub limits: &'a Limits,
    /// Calls of the judge, by its number of draws.
    pub judged: Vec<Judged>,
    /// Whether a step that leads nowhere because an ingredient comes or goes is tried without that.
    same_set: bool,
    /// Margin by which the demands are to be met.
    pub inside_by: f64,
}

impl<'a> Search<'a> {
    /// A search for the nearest to some amounts, mass %.
    pub(crate) fn new(original: &'a [f64], limits: &'a Limits) -> Self {
        let objective = Objective::Moved(original);
        Search { original, objective, limits, judged: Vec::new(), same_set: false, inside_by: 0.0 }
    }

    fn count(&mut self, judge: &Judge<'_>) {
        let draws = judge.draws();
        match self.judged.iter_mut().find(|known| known.draws == draws) {
            Some(known) => known.times += 1,
            None => self.judged.push(Judged { draws, times: 1 }),
        }
    }

    pub(crate) fn judge(
        &mut self,
        judge: &Judge<'_>,
        percent: &[f64],
        gradients: bool,
    ) -> Result<Vec<Standing>, BlendError> {
        self.count(judge);
        Ok(self.tightened(judge.judge(percent, gradients)?))
    }

    /// Margins as they count here.
    fn tightened(&self, mut standings: Vec<Standing>) -> Vec<Standing> {
        for standing in &mut standings {
            standing.margin -= self.inside_by;
            standing.tangents.iter_mut().for_each(|tangent| tangent.margin -= self.inside_by);
        }
        standings
    }

    pub(crate) fn found(&mut self, judge: &Judge<'_>, percent: Vec<f64>, gradients: bool) -> Result<Found, BlendError> {
        let standings = self.judge(judge, &percent, gradients)?;
        Ok(self.with(percent, standings))
    }

    /// What is made as small as can be.
    pub(crate) fn value(&self, percent: &[f64]) -> f64 {
        self.objective.value(percent, &[])
    }

    fn with(&self, percent: Vec<f64>, standings: Vec<Standing>) -> Found {
        let missing = missing(&standings, self.limits, &percent);
        let cost = weighed(self.value(&percent), missing);
        Found { percent, standings, cost, missing }
    }

    /// The same where the cost is below a limit; elsewhere judging stops as soon as that is sure.
    fn found_below(
        &mut self,
        judge: &Judge<'_>,
        most_cost: f64,
        percent: Vec<f64>,
        gradients: bool,
    ) -> Result<Option<Found>, BlendError> {
        let most_missing = most_missing(self.value(&percent), &percent, self.limits, most_cost);
        if most_missing < 0.0 {
            return Ok(None);
        }
        self.count(judge);
        let standings = judge.judge_within(&percent, most_missing - self.inside_by, gradients)?;
        Ok(standings
            .map(|standings| self.with(percent, self.tightened(standings)))
            .filter(|found| found.cost < most_cost))
    }

    /// A formula, where it meets everything in all draws.
    ///
    /// # Errors
    /// As [`Judge::judge`].
    pub(crate) fn met(&mut self, all: &Judge<'_>, percent: Vec<f64>) -> Result<Option<Found>, BlendError> {
        self.count(all);
        if all.judge_within(&percent, MARGIN_TOLERANCE, false)?.is_none() {
            return Ok(None);
        }
        Ok(Some(self.found(all, percent, false)?).filter(|found| found.missing <= MARGIN_TOLERANCE))
    }

    /// The best step when every margin is taken as linear.
    fn best_step(&self, current: &[f64], standings: &[Standing], limits: &Limits, reach: f64) -> Option<Step> {
        let objective = self.objective;
        Program { objective, current, standings, aimed: &[], limits, groups: &[], reach }.best()
    }

    /// The same formula judged in all draws; where the search was wrong about it, what it leads to from there.
    pub(crate) fn confirmed(&mut self, all: &Judge<'_>, found: Found) -> Result<Found, BlendError> {
        let exact = self.found(all, found.percent, false)?;
        if exact.missing <= found.missing + MARGIN_TOLERANCE {
            return Ok(exact);
        }
        let again = self.descend(all, exact.percent, MAX_STEPS)?;
        let exact = self.found(all, again.percent, false)?;
        self.nudged(all, exact)
    }

    /// The best formula found with `all` draws where the usual starts led to none that meets everything: from formulas that each meet one demand, from those
    /// half way between two, and from the nearest one without one of its ingredients.
    pub(crate) fn restart(
        &mut self,
        few: &Judge<'_>,
        all: &Judge<'_>,
        nearest: &Found,
        alone: &[Found],
    ) -> Result<Found, BlendError> {
        if nearest.missing > HOPELESS {
            return Ok(nearest.clone());
        }
        let mut starts = vec![nearest.percent.clone()];
        starts.extend(alone.iter().map(|one| one.percent.clone()));
        for (index, one) in alone.iter().enumerate() {
            for other in &alone[index + 1..] {
                starts.push(one.percent.iter().zip(&other.percent).map(|(a, b)| 0.5 * (a + b)).collect());
            }
        }
        let droppable = |&i: &usize| nearest.percent[i] > 0.0 && self.limits.min_percent[i] <= 0.0;
        starts.extend((0..nearest.percent.len()).filter(droppable).map(|i| {
            let mut percent = nearest.percent.clone();
            percent[i] = 0.0;
            self.closed(percent, Some(i))
        }));
        let most = starts.len();
        self.same_set = true;
        let coarse = self.followed(few, starts, most)?;
        let best = self.finish(all, coarse, FINALISTS)?;
        let best = self.polish(all, best)?;
        let best = self.confirmed(all, best)?;
        self.same_set = false;
        Ok(best)
    }

    /// The best formula found with `all` draws.
    ///
    /// # Arguments
    /// * `others`: where it may start, too.
    pub(crate) fn solve(
        &mut self,
        few: &Judge<'_>,
        all: &Judge<'_>,
        others: Vec<Vec<f64>>,
    ) -> Result<Found, BlendError> {
        let now = self.found(all, self.inside(self.original), false)?;
        if now.missing <= MARGIN_TOLERANCE && now.cost < MIN_GAIN {
            return Ok(now);
        }
        let mut starts = self.starts();
        starts.extend(others);
        let coarse = self.followed(few, starts, FOLLOWED)?;
        let mut best = self.finish(all, coarse, FINALISTS)?;
        if best.missing > MARGIN_TOLERANCE {
            let coarse = self.followed(few, self.spread_starts(), SPREAD_FOLLOWED)?;
            let other = self.finish(all, coarse, SPREAD_FOLLOWED)?;
            if other.cost < best.cost {
                best = other;
            }
        }
        let best = self.polish(all, best)?;
        self.confirmed(all, best)
    }

    /// Searches from the first and the best of some starts.
    fn followed(&mut self, few: &Judge<'_>, mut starts: Vec<Vec<f64>>, most: usize) -> Result<Vec<Found>, BlendError> {
        if starts.len() > most {
            let judged = starts.into_iter().map(|start| self.found(few, start, false));
            let mut judged = judged.collect::<Result<Vec<_>, _>>()?;
            judged[1..].sort_by(|a, b| a.cost.total_cmp(&b.cost));
            starts = judged.into_iter().take(most).map(|one| one.percent).collect();
        }
        starts.into_iter().map(|start| self.descend(few, start, FEW_STEPS)).collect()
    }

    /// Transfers from one ingredient to another that lower the cost. The margin that decides is that of one draw and then of another, so it
    /// has kinks in which tangents get stuck; trying each transfer does not.
    fn polish(&mut self, all: &Judge<'_>, mut best: Found) -> Result<Found, BlendError> {
        if best.missing > NEAR_MISS || best.cost < MIN_GAIN {
            return Ok(best);
        }
        // Without a trace of it, an ingredient takes with it what the model leaves out of the set it was in: margins jump there.
        for i in 0..best.percent.len() {
            let little =
                self.original[i].min(best.percent[i]) <= LARGEST_DROP && self.original[i].max(best.percent[i]) > 0.0;
            if self.limits.min_percent[i] > 0.0 || !little || best.percent[i] == 0.0 {
                continue;
            }
            let mut limits = self.limits.clone();
            limits.max_percent[i] = 0.0;
            let near = if best.percent[i] <= LARGEST_DROP { &best.percent } else { self.original };
            let mut percent = near.to_vec();
            percent[i] = 0.0;
            if limits.check(percent.len()).is_err() {
                continue;
            }
            // The original may lie outside the limits.
            let dropped = self.within(&limits, self.inside_by, |inner| {
                let start = inner.inside(&percent);
                inner.descend(all, start, MAX_STEPS)
            })?;
            if dropped.cost < best.cost - MIN_GAIN {
                best = dropped;
            }
        }
        best = self.nudged(all, best)?;
        let (mut left, mut size) =
            if best.missing > MARGIN_TOLERANCE { (MAX_REPAIRS, FIRST_REACH) } else { (MAX_TRANSFERS, FIRST_TRANSFER) };
        while size >= LAST_TRANSFER && left > 0 {
            let mut better = None;
            for (from, to) in transfers(best.percent.len()) {
                let mut percent = best.percent.clone();
                percent[from] -= size;
                percent[to] += size;
                // Only what brings the formula nearer to the original, or makes it cheaper, can be a gain.
                let nearer = self.value(&percent) < best.cost - MIN_GAIN;
                if left == 0 || percent[from] < 0.0 || !nearer || !self.limits.hold(&percent) {
                    continue;
                }
                left -= 1;
                better = self.found_below(all, best.cost - MIN_GAIN, percent, false)?;
                if better.is_some() {
                    break;
                }
            }
            match better {
                Some(next) => best = next,
                None => size *= 0.5,
            }
        }
        Ok(best)
    }

    /// The limits, with what is not there left out and what is there kept.
    fn of_set(&self, percent: &[f64]) -> Limits {
        let mut limits = self.limits.clone();
        for (i, (&percent, there)) in percent.iter().zip(set(percent)).enumerate() {
            if there {
                limits.min_percent[i] = limits.min_percent[i].max(percent.min(LEAST_KEPT)).min(limits.max_percent[i]);
            } else {
                limits.max_percent[i] = limits.min_percent[i].max(0.0);
            }
        }
        limits
    }

    /// A step to a little inside the demands, where tangents end a hair's breadth outside.
    pub(crate) fn nudged(&mut self, all: &Judge<'_>, near: Found) -> Result<Found, BlendError> {
        if near.missing <= MARGIN_TOLERANCE {
            return Ok(near);
        }
        let mut standings = self.judge(all, &near.percent, true)?;
        standings.iter_mut().flat_map(|one| &mut one.tangents).for_each(|tangent| tangent.margin -= INSIDE);
        let limits = self.of_set(&near.percent);
        let Some(step) = self.best_step(&near.percent, &standings, &limits, FIRST_TRANSFER) else {
            return Ok(near);
        };
        let inside = self.met(all, step.percent)?;
        Ok(inside.unwrap_or(near))
    }

    /// Follows the best of `coarse` with `all` draws.
    fn finish(&mut self, all: &Judge<'_>, mut coarse: Vec<Found>, most: usize) -> Result<Found, BlendError> {
        coarse.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        coarse.dedup_by(|a, b| mass_moved(&a.percent, &b.percent) < 2.0 * MIN_GAIN.max(LAST_REACH));
        let mut best: Option<Found> = None;
        for one in coarse.into_iter().take(most) {
            let found = self.descend(all, one.percent, MAX_STEPS)?;
            if best.as_ref().is_none_or(|best| found.cost < best.cost) {
                best = Some(found);
            }
        }
        match best {
            Some(best) => Ok(best),
            None => self.found(all, self.original.to_vec(), false),
        }
    }

    /// The formula itself, and with one ingredient raised or lowered, the others giving or taking in proportion.
    fn starts(&self) -> Vec<Vec<f64>> {
        let inside = self.inside(self.original);
        let mut starts = vec![inside.clone()];
        for i in 0..inside.len() {
            for change in [START_CHANGE, -START_CHANGE] {
                let to = (inside[i] + change).clamp(self.limits.min_percent[i], self.limits.max_percent[i]);
                if (to - inside[i]).abs() < 1.0 {
                    continue;
                }
                let mut start = inside.clone();
                start[i] = to;
                starts.push(self.closed(start, Some(i)));
            }
        }
        starts
    }

    /// Points spread over the limits by the golden ratio's generalisation, one coordinate for each ingredient.
    fn spread_starts(&self) -> Vec<Vec<f64>> {
        let count = self.original.len();
        // The one root above 1 of x^(n + 1) = x + 1, by repeated roots.
        let ratio = (0..64).fold(2.0_f64, |x, _| (1.0 + x).powf(1.0 / (count as f64 + 1.0)));
        let range = |i: usize| (self.limits.min_percent[i], self.limits.max_percent[i]);
        (0..SPREAD_STARTS)
            .map(|number| {
                let point = (0..count)
                    .map(|i| {
                        let share = (0.5 + (number as f64 + 1.0) * ratio.powi(-(i as i32) - 1)).fract();
                        let (least, most) = range(i);
                        least + (most - least) * share
                    })
                    .collect();
                self.closed(point, None)
            })
            .collect()
    }

    /// Moved inside the bounds, closed to 100 %.
    pub(crate) fn inside(&self, percent: &[f64]) -> Vec<f64> {
        let bounded = percent.iter().zip(&self.limits.min_percent).zip(&self.limits.max_percent);
        self.closed(bounded.map(|((p, least), most)| p.clamp(*least, *most)).collect(), None)
    }

    /// Closed to 100 % by moving all but `fixed` towards their bounds, each by the same part of its room.
    fn closed(&self, mut percent: Vec<f64>, fixed: Option<usize>) -> Vec<f64> {
        for held in [fixed, None] {
            let excess = percent.iter().sum::<f64>() - 100.0;
            let room = |i: usize, p: f64| {
                if held == Some(i) {
                    0.0
                } else if excess > 0.0 {
                    p - self.limits.min_percent[i]
                } else {
                    self.limits.max_percent[i] - p
                }
            };
            let total: f64 = percent.iter().enumerate().map(|(i, &p)| room(i, p)).sum();
            if total <= 0.0 {
                continue;
            }
            let part = (excess.abs() / total).min(1.0);
            let moves: Vec<f64> = percent.iter().enumerate().map(|(i, &p)| room(i, p) * part).collect();
            for (p, change) in percent.iter_mut().zip(moves) {
                *p -= excess.signum() * change;
            }
        }
        percent
    }

    /// Sequential linear programming from one start.
    pub(crate) fn descend(
        &mut self,
        judge: &Judge<'_>,
        start: Vec<f64>,
        most_steps: usize,
    ) -> Result<Found, BlendError> {
        self.count(judge);
        let standings = judge.judge_within(&start, f64::INFINITY, true)?.unwrap_or_default();
        let mut now = self.with(start, self.tightened(standings));
        let mut reach = FIRST_REACH;
        let mut limits = Cow::Borrowed(self.limits);
        for _ in 0..most_steps {
            let Some(step) = self.best_step(&now.percent, &now.standings, &limits, reach) else { break };
            let promised = now.cost - step.cost;
            if promised < MIN_GAIN {
                break;
            }
            let size = mass_moved(&now.percent, &step.percent);
            let other_set = set(&step.percent).ne(set(&now.percent));
            if let Some(next) = self.found_below(judge, now.cost - SUFFICIENT * promised, step.percent, true)? {
                if now.cost - next.cost > 0.7 * promised {
                    reach *= 2.0;
                }
                now = next;
                limits = Cow::Borrowed(self.limits);
            } else if self.same_set && other_set && matches!(limits, Cow::Borrowed(_)) {
                limits = Cow::Owned(self.of_set(&now.percent));
                continue;
            } else {
                reach = 0.3 * reach.min(size.max(LAST_REACH));
            }
            if reach < LAST_REACH {
                break;
            }
        }
        Ok(now)
    }

    /// Runs a search within other limits, with another margin.
    pub(crate) fn within<T>(&mut self, limits: &Limits, inside_by: f64, run: impl FnOnce(&mut Search<'_>) -> T) -> T {
        let judged = std::mem::take(&mut self.judged);
        let mut inner = Search { limits, judged, inside_by, ..*self };
        let found = run(&mut inner);
        self.judged = inner.judged;
        found
    }
}

#[cfg(test)]
mod tests;
