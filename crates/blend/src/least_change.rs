//! The least change that agrees with what was observed, within limits: a small quadratic program.
//!
//! ```text
//! min ½ Σ z_i² + ½ Σ_j (b_j − Σ_i a_ji z_i)²      with  Σ c_i z_i = 0,  l_i ≤ z_i ≤ u_i
//! ```
//! | symbol | what |
//! |---|---|
//! | `z` | change of each figure, in its standard deviations |
//! | `a_j`, `b_j` | rates of an observed property and how far off it is, in standard deviations of the observation |
//! | `c` | what must not change in sum |
//!
//! # Method
//! A primal active set. With some figures held at their limits, the rest is `z = Aᵀ y + μ c` with as many unknowns as observations and one more:
//!
//! ```text
//! (1 + A Aᵀ) y + A c μ = b − A_h z_h
//!     cᵀAᵀ y + cᵀc μ = − c_h z_h          A, c of the free figures; A_h, c_h, z_h of those held
//! ```
//! A step towards it ends at the first limit in its way, which is held from then on; where nothing is in the way, the figure that its limit keeps back most against the
//! slope is let go, until there is none. The sum is kept at every step.
//!
//! # Source
//! Nocedal and Wright 2006, Numerical Optimization, chapter 16 (recalled).

use nalgebra::{DMatrix, DVector};

/// Steps before it ends where it is; each figure is held or let go once or twice.
const MAX_STEPS: usize = 1000;

/// Slope at a limit that counts as none, over the largest.
const TOLERANCE: f64 = 1e-12;

/// One observation.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Rate of the observed property along each figure, in standard deviations of both.
    pub rates: Vec<f64>,
    /// How far the property must rise, in standard deviations of the observation.
    pub wanted: f64,
}

/// Returns the least change.
///
/// # Arguments
/// * `observations`: any number; more than a few make it slow.
/// * `sum`: `c`, one for each figure.
/// * `limits`: lowest and highest `z` of each figure; each must hold 0.
///
/// # Returns
/// `z` of each figure. Figures beyond the shortest of the lists do not change.
pub(crate) fn least_change(observations: &[Observation], sum: &[f64], limits: &[(f64, f64)]) -> Vec<f64> {
    let (soft, figures) = (observations.len(), limits.len());
    // The last row is the sum, the last multiplier is its own.
    let rows = DMatrix::from_fn(soft + 1, figures, |row, figure| {
        let row = observations.get(row).map_or(sum, |one| one.rates.as_slice());
        row.get(figure).copied().unwrap_or(0.0)
    });
    let wanted = DVector::from_fn(soft + 1, |row, _| observations.get(row).map_or(0.0, |one| one.wanted));
    let mut z = DVector::<f64>::zeros(figures);
    let mut free: Vec<bool> = limits.iter().map(|&(low, high)| low < 0.0 && high > 0.0).collect();
    for _ in 0..MAX_STEPS {
        let mut matrix = DMatrix::from_fn(soft + 1, soft + 1, |i, j| if i == j && i < soft { 1.0 } else { 0.0 });
        let mut right = wanted.clone();
        for (figure, row) in rows.column_iter().enumerate() {
            if free[figure] {
                matrix += row * row.transpose();
            } else {
                right -= row * z[figure];
            }
        }
        if matrix[(soft, soft)] == 0.0 {
            // Nothing free counts in the sum.
            (matrix[(soft, soft)], right[soft]) = (1.0, 0.0);
        }
        let Some(multipliers) = matrix.lu().solve(&right) else { break };
        let mut aimed = rows.tr_mul(&multipliers);
        // Strong observations leave little of the sum's last digits: it is set right along itself.
        let (mut off, mut square) = (0.0, 0.0);
        for (figure, c) in rows.row(soft).iter().enumerate() {
            off += c * if free[figure] { aimed[figure] } else { z[figure] };
            square += if free[figure] { c * c } else { 0.0 };
        }
        if square > 0.0 {
            aimed -= rows.row(soft).transpose() * (off / square);
        }
        let (mut length, mut blocking) = (1.0, None);
        for figure in (0..figures).filter(|&figure| free[figure]) {
            let (step, (low, high)) = (aimed[figure] - z[figure], limits[figure]);
            let limit = if step > 0.0 { high } else { low };
            let room = limit - z[figure];
            if (step * length).abs() > room.abs() {
                (length, blocking) = (room / step, Some((figure, limit)));
            }
        }
        for figure in (0..figures).filter(|&figure| free[figure]) {
            z[figure] += length * (aimed[figure] - z[figure]);
        }
        if let Some((figure, limit)) = blocking {
            (z[figure], free[figure]) = (limit, false);
            continue;
        }
        // Positive where the figure would leave its limit for the inside.
        let pull = |figure: usize| {
            let inward = aimed[figure] - z[figure];
            let (low, high) = limits[figure];
            if z[figure] >= high && low < high {
                -inward
            } else if z[figure] <= low && low < high {
                inward
            } else {
                0.0
            }
        };
        let kept_back = (0..figures).filter(|&figure| !free[figure]).map(|figure| (pull(figure), figure));
        match kept_back.max_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((pull, figure)) if pull > TOLERANCE * (1.0 + aimed.amax()) => free[figure] = true,
            _ => break,
        }
    }
    z.iter().copied().collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The same by the projected gradient, slowly: from each point a short way downhill, then to the nearest point that keeps the sum and the limits.
    fn by_projected_gradient(observations: &[Observation], sum: &[f64], limits: &[(f64, f64)]) -> Vec<f64> {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let steepest = 1.0 + observations.iter().map(|one| dot(&one.rates, &one.rates)).sum::<f64>();
        let mut z = vec![0.0; limits.len()];
        for _ in 0..4_000 {
            let left: Vec<f64> = observations.iter().map(|one| one.wanted - dot(&one.rates, &z)).collect();
            let downhill = |i: usize| {
                let pull: f64 = observations.iter().zip(&left).map(|(one, left)| left * one.rates[i]).sum();
                z[i] + (pull - z[i]) / steepest
            };
            let aim: Vec<f64> = (0..z.len()).map(downhill).collect();
            let at = |mu: f64| -> Vec<f64> {
                (0..aim.len()).map(|i| (aim[i] + mu * sum[i]).clamp(limits[i].0, limits[i].1)).collect()
            };
            let (mut low, mut high) = (-1e3, 1e3);
            for _ in 0..60 {
                let mu = 0.5 * (low + high);
                if dot(&at(mu), sum) < 0.0 { low = mu } else { high = mu }
            }
            z = at(0.5 * (low + high));
        }
        z
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        #[test]
        fn it_is_that_of_the_projected_gradient(
            figures in prop::collection::vec((-1.0..1.0_f64, -1.0..1.0_f64, 0.1..4.0_f64, 0.0..3.0_f64), 2..9),
            wanted in prop::collection::vec(-6.0..6.0_f64, 0..3),
        ) {
            let rates = |row: usize| figures.iter().map(|f| if row == 0 { f.0 } else { f.1 }).collect();
            let observations: Vec<_> =
                wanted.iter().enumerate().map(|(row, &wanted)| Observation { rates: rates(row), wanted }).collect();
            let sum: Vec<f64> = figures.iter().map(|f| f.2).collect();
            let limits: Vec<_> = figures.iter().map(|f| (-f.3, 3.0)).collect();
            let (found, peer) = (least_change(&observations, &sum, &limits), by_projected_gradient(&observations, &sum, &limits));
            for (found, peer) in found.iter().zip(&peer) {
                prop_assert!((found - peer).abs() < 1e-4, "{found} {peer}");
            }
            let kept: f64 = found.iter().zip(&sum).map(|(z, c)| z * c).sum();
            prop_assert!(kept.abs() < 1e-9, "{kept}");
        }
    }

    #[test]
    fn what_is_out_of_reach_is_met_as_nearly_as_it_can_be() {
        // Two figures, one sum: one rises as the other falls, to its limit.
        let seen = Observation { rates: vec![1e4, 0.0], wanted: 1e6 };
        let z = least_change(&[seen], &[1.0, 2.0], &[(-3.0, 3.0), (-0.5, 3.0)]);
        assert!((z[0] - 1.0).abs() < 1e-12 && (z[1] + 0.5).abs() < 1e-12, "{z:?}");
        assert_eq!(least_change(&[], &[1.0, 1.0], &[(-3.0, 3.0); 2]), [0.0, 0.0]);
    }

    #[test]
    fn what_is_seen_as_surely_as_it_was_known_moves_half_of_the_way() {
        let seen = Observation { rates: vec![1.0, 0.0], wanted: 0.5 };
        let z = least_change(&[seen], &[0.0, 0.0], &[(-3.0, 3.0); 2]);
        assert!((z[0] - 0.25).abs() < 1e-12 && z[1].abs() < 1e-12, "{z:?}");
    }
}
