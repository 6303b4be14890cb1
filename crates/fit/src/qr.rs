//! Householder QR with pivoted columns, each column scaled by a power of two first.

use nalgebra::{ColPivQR, DMatrix, DVector};

/// Factors of a tall matrix, `A S P = Q R` with `S` the column scales and `P` the order of columns.
pub(crate) struct PivotedQr {
    r: DMatrix<f64>,
    /// `order[k]`: the column of `A` behind column `k` of `R`.
    order: Vec<usize>,
    /// Factor each column of `A` was multiplied by, a power of two: exact.
    scale: Vec<f64>,
    factors: ColPivQR<f64, nalgebra::Dyn, nalgebra::Dyn>,
}

impl PivotedQr {
    /// Factors a matrix of finite entries with at least as many rows as columns.
    pub(crate) fn new(mut matrix: DMatrix<f64>) -> PivotedQr {
        let scale: Vec<f64> = matrix.column_iter().map(|column| power_of_two_scale(column.amax())).collect();
        for (mut column, &factor) in matrix.column_iter_mut().zip(&scale) {
            column *= factor;
        }
        let factors = ColPivQR::new(matrix);
        let mut positions = nalgebra::RowDVector::from_fn(scale.len(), |_, j| j as f64);
        factors.p().permute_columns(&mut positions);
        let order = positions.iter().map(|&position| position as usize).collect();
        PivotedQr { r: factors.r(), order, scale, factors }
    }

    /// `Qᵀ rhs`, whole.
    pub(crate) fn rotate(&self, rhs: &DVector<f64>) -> DVector<f64> {
        let mut rotated = rhs.clone();
        self.factors.q_tr_mul(&mut rotated);
        rotated
    }

    /// Number of columns that are more than `tolerance` away from the span of the ones before them, in units of the first.
    ///
    /// The pivot holds the largest entry left, so nothing after a small pivot is larger than it.
    pub(crate) fn rank(&self, tolerance: f64) -> usize {
        let first = if self.r.is_empty() { 0.0 } else { self.r[(0, 0)].abs() };
        (0..self.order.len()).take_while(|&k| self.r[(k, k)].abs() > tolerance * first).count()
    }

    /// The column of `A` behind column `k` of `R`.
    pub(crate) fn column(&self, k: usize) -> usize {
        self.order[k]
    }

    /// Size of the diagonal entry `k` of `R` over the first.
    pub(crate) fn relative_pivot(&self, k: usize) -> f64 {
        let first = self.r[(0, 0)].abs();
        if first > 0.0 { self.r[(k, k)].abs() / first } else { 0.0 }
    }

    /// `R P'`: the triangle with its columns back in the order and the scale of `A`.
    pub(crate) fn triangle_in_place(&self) -> DMatrix<f64> {
        let mut out = DMatrix::zeros(self.r.nrows(), self.r.ncols());
        for (k, &j) in self.order.iter().enumerate() {
            out.set_column(j, &(self.r.column(k) / self.scale[j]));
        }
        out
    }

    /// Solves `min ‖A x − b‖` from `rotated = Qᵀ b`, using the first `rank` pivots and leaving the other parameters at 0.
    pub(crate) fn solve(&self, rotated: &DVector<f64>, rank: usize) -> DVector<f64> {
        let mut x = DVector::zeros(self.order.len());
        let mut solved = vec![0.0; rank];
        for k in (0..rank).rev() {
            let known: f64 = (k + 1..rank).map(|l| self.r[(k, l)] * solved[l]).sum();
            solved[k] = (rotated[k] - known) / self.r[(k, k)];
            x[self.order[k]] = solved[k] * self.scale[self.order[k]];
        }
        x
    }

    /// `vᵀ (AᵀA)⁻¹ v` as `‖R⁻ᵀ v‖²`; `A` must have full rank.
    pub(crate) fn inverse_gram_form(&self, v: &DVector<f64>) -> f64 {
        let mut u = vec![0.0; self.order.len()];
        for (k, &j) in self.order.iter().enumerate() {
            let known: f64 = (0..k).map(|l| self.r[(l, k)] * u[l]).sum();
            u[k] = (v[j] * self.scale[j] - known) / self.r[(k, k)];
        }
        u.iter().map(|x| x * x).sum()
    }

    /// `(AᵀA)⁻¹` from `R⁻¹ R⁻ᵀ`; `A` must have full rank.
    pub(crate) fn inverse_gram(&self) -> DMatrix<f64> {
        let n = self.order.len();
        let mut inverse = DMatrix::<f64>::zeros(n, n);
        for column in 0..n {
            for k in (0..=column).rev() {
                let unit = if k == column { 1.0 } else { 0.0 };
                let known: f64 = (k + 1..=column).map(|l| self.r[(k, l)] * inverse[(l, column)]).sum();
                inverse[(k, column)] = (unit - known) / self.r[(k, k)];
            }
        }
        let mut gram = DMatrix::zeros(n, n);
        for a in 0..n {
            for b in a..n {
                let (i, j) = (self.order[a], self.order[b]);
                let dot: f64 = (b..n).map(|l| inverse[(a, l)] * inverse[(b, l)]).sum();
                let entry = dot * self.scale[i] * self.scale[j];
                gram[(i, j)] = entry;
                gram[(j, i)] = entry;
            }
        }
        gram
    }
}

/// The power of two that brings `size` to between 1/2 and 2; 1 when it cannot.
fn power_of_two_scale(size: f64) -> f64 {
    let factor = (-size.log2().round()).exp2();
    if factor.is_finite() && factor > 0.0 { factor } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> DMatrix<f64> {
        DMatrix::from_row_slice(4, 3, &[1.0, 200.0, 3e-5, 2.0, -100.0, 1e-5, 0.5, 40.0, -2e-5, 3.0, 7.0, 9e-5])
    }

    #[test]
    fn the_triangle_in_place_has_the_gram_matrix_of_the_columns() {
        let triangle = PivotedQr::new(example()).triangle_in_place();
        let (a, b) = (example().tr_mul(&example()), triangle.tr_mul(&triangle));
        for (x, y) in a.iter().zip(b.iter()) {
            assert!((x - y).abs() <= 1e-13 * a.amax().min(x.abs().max(1e-8)), "{x} {y}");
        }
    }

    #[test]
    fn the_inverse_gram_matrix_inverts() {
        let qr = PivotedQr::new(example());
        let product = qr.inverse_gram() * example().tr_mul(&example());
        let scale = |j: usize| example().column(j).norm();
        let v = DVector::from_vec(vec![1.0, 300.0, -2e-5]);
        assert!((qr.inverse_gram_form(&v) / v.dot(&(qr.inverse_gram() * &v)) - 1.0).abs() < 1e-12);
        for i in 0..3 {
            for j in 0..3 {
                let unit = if i == j { 1.0 } else { 0.0 };
                assert!((product[(i, j)] * scale(i) / scale(j) - unit).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn a_repeated_column_lowers_the_rank() {
        let mut matrix = example();
        let double = matrix.column(0) * 2.0;
        matrix.set_column(2, &double);
        let qr = PivotedQr::new(matrix);
        assert_eq!(qr.rank(1e-14), 2);
        assert_ne!(qr.column(2), 1);
    }

    #[test]
    fn a_zero_column_lowers_the_rank() {
        let mut matrix = example();
        matrix.column_mut(1).fill(0.0);
        let qr = PivotedQr::new(matrix);
        assert_eq!((qr.rank(1e-14), qr.column(2)), (2, 1));
    }
}
