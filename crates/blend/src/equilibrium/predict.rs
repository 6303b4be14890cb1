//! Starting point for a neighbouring temperature: a polynomial through the last solutions.

use super::sums::Work;

/// Solutions remembered; three make a parabola.
const MAX_REMEMBERED: usize = 3;

/// Two temperatures nearer than this make no slope, K.
const SMALLEST_STEP_K: f64 = 1e-3;

/// Extrapolation reaches at most this many times as far as the remembered solutions span.
const LONGEST_REACH: f64 = 1.6;

/// One remembered solution.
#[derive(Debug, Clone, Default)]
struct Solution {
    temperature_k: f64,
    liquid: f64,
    delta_bar: f64,
    solids: Vec<f64>,
}

/// The last solutions of a solver, newest first.
#[derive(Debug, Clone, Default)]
pub(super) struct History {
    solutions: [Solution; MAX_REMEMBERED],
    count: usize,
}

impl History {
    /// Forgets everything.
    pub fn clear(&mut self) {
        self.count = 0;
    }

    /// Remembers the solution in `work`.
    pub fn remember(&mut self, work: &Work) {
        let newest = self.count.checked_sub(1).map(|_| &self.solutions[0]);
        if newest.is_some_and(|one| (one.temperature_k - work.temperature_k).abs() < SMALLEST_STEP_K) {
            return;
        }
        self.solutions.rotate_right(1);
        let slot = &mut self.solutions[0];
        slot.temperature_k = work.temperature_k;
        slot.liquid = work.liquid;
        slot.delta_bar = work.delta_bar;
        slot.solids.clear();
        slot.solids.extend_from_slice(&work.solids);
        self.count = (self.count + 1).min(MAX_REMEMBERED);
    }

    /// Replaces the state in `work` by the polynomial at its temperature, where that stays physical.
    pub fn predict(&self, work: &mut Work) {
        let (weights, used) = self.weights(work.temperature_k);
        let Some(newest) = self.solutions[..used].first() else {
            return;
        };
        let sum = |of: &dyn Fn(&Solution) -> f64| -> f64 {
            self.solutions[..used].iter().zip(&weights).map(|(one, weight)| weight * of(one)).sum()
        };
        let liquid = sum(&|one| one.liquid);
        work.liquid = if liquid > 0.0 { liquid } else { newest.liquid };
        work.delta_bar = sum(&|one| one.delta_bar);
        for (index, solid) in work.solids.iter_mut().enumerate() {
            let last = newest.solids[index];
            let next = sum(&|one| one.solids[index]);
            *solid = if last > 0.0 && next > 0.0 { next } else { last };
        }
    }

    /// Lagrange weights at `temperature_k` and how many solutions they use.
    fn weights(&self, temperature_k: f64) -> ([f64; MAX_REMEMBERED], usize) {
        let at = |index: usize| self.solutions[index].temperature_k;
        let mut used = self.count;
        while used > 1 {
            let (first, last) = (at(0), at(used - 1));
            let span = last - first;
            let reach = (temperature_k - first) / span;
            // Forward, not much farther than what is known, and with temperatures in order.
            let ordered = (1..used).all(|index| (at(index) - at(index - 1)) * span > 0.0);
            let size = self.solutions[0].solids.len();
            let alike = self.solutions[..used].iter().all(|one| one.solids.len() == size);
            if ordered && alike && reach < 0.0 && -reach <= LONGEST_REACH {
                break;
            }
            used -= 1;
        }
        let mut weights = [0.0; MAX_REMEMBERED];
        for (index, weight) in weights.iter_mut().enumerate().take(used) {
            *weight = (0..used)
                .filter(|&other| other != index)
                .map(|other| (temperature_k - at(other)) / (at(index) - at(other)))
                .product();
        }
        (weights, used)
    }
}
