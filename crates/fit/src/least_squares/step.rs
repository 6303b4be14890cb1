//! The step of Levenberg and Marquardt that stays inside a region, after Moré.

use crate::qr::PivotedQr;
use nalgebra::{DMatrix, DVector};

/// How near to the edge of the region a damped step must end, as a share of its radius (Moré 1978).
const EDGE_TOLERANCE: f64 = 0.1;

/// Most values of the damping tried for one step (Moré 1978 finds fewer than two are needed on average).
const MAX_DAMPINGS: usize = 10;

/// The linear problem `min ‖A z + r‖` at one point, factored.
pub(crate) struct LinearModel {
    /// `R Pᵀ`, as many rows as columns.
    triangle: DMatrix<f64>,
    /// First rows of `−Qᵀ r`.
    target: DVector<f64>,
    qr: PivotedQr,
    rank: usize,
    full_step: DVector<f64>,
    /// `‖Q₁ᵀ r‖ / ‖r‖`: what is left to gain by the linear model.
    pub(crate) relative_offset: f64,
}

/// A step in scaled parameters.
pub(crate) struct Step {
    pub(crate) scaled: DVector<f64>,
    pub(crate) damping: f64,
}

impl LinearModel {
    /// Factors `A` (at least as many rows as columns, finite) once for all steps from this point.
    ///
    /// Columns whose pivot is below `singular` of the largest count as combinations of the others: what sets them apart is rounding.
    pub(crate) fn new(matrix: DMatrix<f64>, residuals: &DVector<f64>, singular: f64) -> LinearModel {
        let columns = matrix.ncols();
        let qr = PivotedQr::new(matrix);
        let rotated = -qr.rotate(residuals);
        let rank = qr.rank(singular);
        let full_step = qr.solve(&rotated, rank);
        let size = residuals.norm();
        let relative_offset = if size > 0.0 { rotated.rows(0, rank).norm() / size } else { 0.0 };
        let target = rotated.rows(0, columns).into_owned();
        LinearModel { triangle: qr.triangle_in_place(), target, qr, rank, full_step, relative_offset }
    }

    /// The step of Gauss and Newton, without damping.
    pub(crate) fn full_step(&self) -> &DVector<f64> {
        &self.full_step
    }

    /// The step that solves `min ‖A z + r‖² + λ ‖z‖²` with `λ` such that `‖z‖` is about `radius`, or 0 if the full step is inside.
    ///
    /// `λ` by Newton's method on `1/‖z(λ)‖ − 1/radius` between bounds, `z(λ)` by QR of `A` over `√λ I`.
    pub(crate) fn step(&self, radius: f64, last_damping: f64) -> Step {
        let columns = self.target.len();
        let full_size = self.full_step.norm();
        let full_rank = self.rank == columns;
        if full_size <= (1.0 + EDGE_TOLERANCE) * radius {
            return Step { scaled: self.full_step.clone(), damping: 0.0 };
        }
        let gradient_size = self.triangle.tr_mul(&self.target).norm();
        let mut excess = full_size - radius;
        let mut lower = 0.0;
        if full_rank && full_size > 0.0 {
            let direction = &self.full_step / full_size;
            lower = (excess / (radius * self.qr.inverse_gram_form(&direction))).max(0.0);
        }
        let mut upper = (gradient_size / radius).max(f64::MIN_POSITIVE);
        let mut damping = last_damping.clamp(lower.min(upper), upper);
        if damping == 0.0 {
            damping = if full_size > 0.0 { gradient_size / full_size } else { upper };
        }
        let mut scaled = self.full_step.clone();
        for _ in 0..MAX_DAMPINGS {
            damping = damping.max(1e-3 * upper * f64::EPSILON).max(f64::MIN_POSITIVE);
            let damped = self.damped(damping);
            let rhs = DVector::from_fn(2 * columns, |i, _| if i < columns { self.target[i] } else { 0.0 });
            scaled = damped.solve(&damped.rotate(&rhs), columns);
            let size = scaled.norm();
            let last_excess = excess;
            excess = size - radius;
            if excess.abs() <= EDGE_TOLERANCE * radius
                || (lower == 0.0 && excess <= last_excess && last_excess < 0.0)
                || size == 0.0
            {
                break;
            }
            let slope = damped.inverse_gram_form(&(&scaled / size));
            if excess > 0.0 {
                lower = lower.max(damping)
            } else {
                upper = upper.min(damping)
            }
            damping = (damping + excess / (radius * slope)).max(lower);
        }
        Step { scaled, damping }
    }

    fn damped(&self, damping: f64) -> PivotedQr {
        let columns = self.target.len();
        let root = damping.sqrt();
        PivotedQr::new(DMatrix::from_fn(2 * columns, columns, |i, j| {
            if i < columns {
                self.triangle[(i, j)]
            } else if i - columns == j {
                root
            } else {
                0.0
            }
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn model() -> LinearModel {
        let matrix = DMatrix::from_row_slice(4, 2, &[1.0, 2.0, 0.5, -1.0, 0.2, 0.3, 1.0, 1.0]);
        LinearModel::new(matrix, &DVector::from_vec(vec![1.0, -2.0, 0.5, 3.0]), 1e-14)
    }

    #[test]
    fn a_wide_region_gives_the_full_step() {
        let step = model().step(100.0, 0.0);
        assert_eq!((step.damping, &step.scaled), (0.0, model().full_step()));
    }

    #[test]
    fn a_narrow_region_is_filled_along_its_edge() {
        for radius in [1.0, 0.1, 1e-3, 1e-9] {
            let step = model().step(radius, 0.0);
            assert!(step.damping > 0.0);
            assert!((step.scaled.norm() / radius - 1.0).abs() <= EDGE_TOLERANCE, "{radius}: {}", step.scaled.norm());
        }
    }

    #[test]
    fn without_curvature_in_one_direction_the_step_is_still_bounded() {
        let matrix = DMatrix::from_row_slice(3, 2, &[1.0, 2.0, 2.0, 4.0, 3.0, 6.0]);
        let model = LinearModel::new(matrix, &DVector::from_vec(vec![1.0, 1.0, 1.0]), 1e-14);
        let step = model.step(0.1, 0.0);
        assert!(step.scaled.norm() <= 0.11 && step.scaled.norm() > 0.0);
    }
}
