//! Starting point at a temperature: a polynomial through the solutions at the temperatures around it.

use super::sums::Work;

/// Solutions kept; then the one at the far end gives way.
const MAX_KEPT: usize = 48;

/// Solutions on either side that the polynomial goes through.
const MAX_BESIDE: usize = 2;

/// Solutions it goes through beyond the last of them.
const MAX_BEYOND: usize = 3;

/// Two temperatures nearer than this are one, K.
const SMALLEST_STEP_K: f64 = 1e-3;

/// It reaches beyond its solutions at most this many times as far as they are apart.
const LONGEST_REACH: f64 = 1.6;

/// Farther from the nearest solution than this, a cold start is the better one, K.
const LONGEST_STEP_K: f64 = 8.5;

/// The solutions of one mixture that hold both crystals and liquid.
#[derive(Debug, Clone, Default)]
pub(super) struct Known {
    /// Rising.
    temperature_k: Vec<f64>,
    /// Liquid, δ̄ and solids of each.
    states: Vec<f64>,
    /// The polynomial.
    sums: Vec<f64>,
}

impl Known {
    /// Forgets everything.
    pub fn clear(&mut self) {
        self.temperature_k.clear();
        self.states.clear();
    }

    /// Keeps the solution in `work`.
    pub fn keep(&mut self, work: &Work) {
        let (size, kelvin) = (work.solids.len() + 2, work.temperature_k);
        if self.states.len() != size * self.temperature_k.len() {
            self.clear();
        }
        if !(work.liquid > 0.0 && work.solids.iter().any(|&solid| solid > 0.0)) {
            return;
        }
        let (mut place, state) = (self.above(kelvin), [work.liquid, work.delta_bar]);
        let state = state.into_iter().chain(work.solids.iter().copied());
        if let Some(nearest) = self.nearest(kelvin).filter(|&index| self.apart_k(index, kelvin) < SMALLEST_STEP_K) {
            self.states[nearest * size..].iter_mut().zip(state).for_each(|(into, from)| *into = from);
            return;
        }
        if self.temperature_k.len() == MAX_KEPT {
            let far = if place > MAX_KEPT / 2 { 0 } else { MAX_KEPT - 1 };
            self.temperature_k.remove(far);
            self.states.drain(far * size..(far + 1) * size);
            place -= usize::from(far == 0);
        }
        self.temperature_k.insert(place, kelvin);
        self.states.splice(place * size..place * size, state);
    }

    /// Replaces the state in `work` by the polynomial at its temperature, where that stays physical; false where no solution is near.
    pub fn predict(&mut self, work: &mut Work) -> bool {
        let (size, kelvin) = (work.solids.len() + 2, work.temperature_k);
        let nearest = self.nearest(kelvin).filter(|&index| self.apart_k(index, kelvin) <= LONGEST_STEP_K);
        let Some(nearest) = nearest.filter(|_| self.states.len() == size * self.temperature_k.len()) else {
            return false;
        };
        let (above, count) = (self.above(kelvin), self.temperature_k.len());
        let mut first = above.saturating_sub(MAX_BESIDE).min(count.saturating_sub(MAX_BEYOND));
        let mut end = (above + MAX_BESIDE).max(MAX_BEYOND).min(count);
        while end - first > 1 {
            let (low, high) = (self.temperature_k[first], self.temperature_k[end - 1]);
            let longest_k = LONGEST_REACH * (high - low);
            if kelvin - high > longest_k {
                first += 1;
            } else if low - kelvin > longest_k {
                end -= 1;
            } else {
                break;
            }
        }
        self.sums.clear();
        self.sums.resize(size, 0.0);
        for index in first..end {
            let at = self.temperature_k[index];
            let others = (first..end).filter(|&other| other != index).map(|other| self.temperature_k[other]);
            let weight: f64 = others.map(|other| (kelvin - other) / (at - other)).product();
            for (sum, one) in self.sums.iter_mut().zip(&self.states[index * size..]) {
                *sum += weight * one;
            }
        }
        let last = &self.states[nearest * size..(nearest + 1) * size];
        work.liquid = if self.sums[0] > 0.0 { self.sums[0] } else { last[0] };
        work.delta_bar = self.sums[1];
        for ((solid, &next), &last) in work.solids.iter_mut().zip(&self.sums[2..]).zip(&last[2..]) {
            *solid = if last > 0.0 && next > 0.0 { next } else { last };
        }
        true
    }

    /// Position of the first solution that is not colder.
    fn above(&self, kelvin: f64) -> usize {
        self.temperature_k.partition_point(|&one| one < kelvin)
    }

    fn apart_k(&self, index: usize, kelvin: f64) -> f64 {
        (self.temperature_k[index] - kelvin).abs()
    }

    /// Position of the nearest solution.
    fn nearest(&self, kelvin: f64) -> Option<usize> {
        let above = self.above(kelvin);
        let beside = above.saturating_sub(1)..self.temperature_k.len().min(above + 1);
        beside.min_by(|&a, &b| self.apart_k(a, kelvin).total_cmp(&self.apart_k(b, kelvin)))
    }
}
