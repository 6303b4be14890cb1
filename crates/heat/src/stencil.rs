//! The symmetric linear equations of one step, and their solution.
//!
//! ```text
//! A w = b,   A = diag − Σ_axes (link to the next cell, and its mirror)
//! ```
//! Each link is stored once. All vectors over cells that are read at neighbours carry a margin of [`Stencil::margin`] zeros on both sides, and links
//! that would leave the grid are 0, so that no loop needs a branch.
//!
//! Solved by conjugate gradients with an incomplete factor that keeps row sums, `M = (E − L) E⁻¹ (E − Lᵀ)`:
//!
//! ```text
//! e_i = d_i − Σ_axes a_j (a_j + ω Σ_{other axes} a'_j)/e_j,      j the cell before i along the axis
//! ```
//! Along a single axis it is the exact factor, and one iteration is enough.
//!
//! # Source
//! Gustafsson 1978, BIT 18, 142 (the factor); Saad, Iterative methods for sparse linear systems, sections 9.2 and 10.3.5 (recalled).

/// Share of the dropped fill that is moved to the diagonal: 1 keeps row sums, 0 is the plain incomplete factor. A little below 1 is the usual safe choice.
const KEPT_FILL: f64 = 0.97;

/// Iterations before the solution is taken as it is.
pub(crate) const MAX_ITERATIONS: usize = 500;

/// Least pivot over its diagonal.
const MIN_PIVOT: f64 = 1e-12;

/// The matrix, its factor and the vectors of the iteration.
#[derive(Debug, Clone)]
pub(crate) struct Stencil {
    cells: usize,
    strides: [usize; 3],
    margin: usize,
    /// Diagonal.
    pub diagonal: Vec<f64>,
    /// Size of the entry towards the next cell along each axis; with margin.
    pub links: [Vec<f64>; 3],
    /// 1/e; with margin.
    pivot: Vec<f64>,
    /// Residual: the right-hand side at the start, what is left of it at the end.
    pub residual: Vec<f64>,
    /// The solution.
    pub solution: Vec<f64>,
    direction: Vec<f64>,
    image: Vec<f64>,
    corrected: Vec<f64>,
}

impl Stencil {
    /// A stencil of zeros for cells counted along each axis.
    pub fn new(counts: [usize; 3]) -> Self {
        let cells = counts.iter().product();
        let strides = [1, counts[0], counts[0] * counts[1]];
        let margin = strides[2];
        let padded = || vec![0.0; cells + 2 * margin];
        Stencil {
            cells,
            strides,
            margin,
            diagonal: vec![1.0; cells],
            links: [padded(), padded(), padded()],
            pivot: padded(),
            residual: vec![0.0; cells],
            solution: vec![0.0; cells],
            direction: padded(),
            image: vec![0.0; cells],
            corrected: padded(),
        }
    }

    /// Zeros before and after a padded vector.
    pub fn margin(&self) -> usize {
        self.margin
    }

    /// Steps from a cell to the next along each axis.
    pub fn strides(&self) -> [usize; 3] {
        self.strides
    }

    /// Makes the factor of the matrix as it stands.
    pub fn factor(&mut self) {
        let (n, m) = (self.cells, self.margin);
        let [sx, sy, sz] = self.strides;
        let [gx, gy, gz] = &self.links;
        // Entries of the cell before along an axis: its own link here, and the other two.
        let before = |g: &[f64], a: &[f64], b: &[f64], at: usize, pivot: &[f64]| {
            let own = g[at];
            own * (own + KEPT_FILL * (a[at] + b[at])) * pivot[at]
        };
        for i in 0..n {
            let at = m + i;
            let taken = before(gx, gy, gz, at - sx, &self.pivot)
                + before(gy, gx, gz, at - sy, &self.pivot)
                + before(gz, gx, gy, at - sz, &self.pivot);
            let d = self.diagonal[i];
            self.pivot[at] = 1.0 / (d - taken).max(MIN_PIVOT * d);
        }
    }

    /// Solves `A w = b` for the `b` in [`Stencil::residual`], until the residual's root mean square, in J/kg, is at most `enough`.
    ///
    /// # Arguments
    /// * `counts`: weight of the squared residual of each cell in its mean square, 1/kg².
    ///
    /// # Returns
    /// Iterations. The solution is in [`Stencil::solution`], what is left in [`Stencil::residual`].
    pub fn solve(&mut self, counts: &[f64], enough: f64) -> usize {
        let goal = enough * enough;
        self.solution.fill(0.0);
        let mut rho = self.precondition();
        let m = self.margin;
        let n = self.cells;
        self.direction[m..m + n].copy_from_slice(&self.corrected[m..m + n]);
        for iteration in 1..=MAX_ITERATIONS {
            let curvature = self.multiply();
            let step = rho / curvature;
            if !step.is_finite() {
                return iteration;
            }
            let left = self.advance(step, counts);
            if left <= goal {
                return iteration;
            }
            let next = self.precondition();
            let turn = next / rho;
            rho = next;
            for (p, z) in self.direction[m..m + n].iter_mut().zip(&self.corrected[m..m + n]) {
                *p = z + turn * *p;
            }
        }
        MAX_ITERATIONS
    }

    /// `image = A direction`; returns `direction · image`.
    fn multiply(&mut self) -> f64 {
        let (n, m) = (self.cells, self.margin);
        let [_, sy, sz] = self.strides;
        let x = &self.direction;
        let [gx, gy, gz] = &self.links;
        let (xc, xe, xw) = (&x[m..m + n], &x[m + 1..m + 1 + n], &x[m - 1..m - 1 + n]);
        let (xn, xs) = (&x[m + sy..m + sy + n], &x[m - sy..m - sy + n]);
        let (xu, xd) = (&x[m + sz..m + sz + n], &x[m - sz..m - sz + n]);
        let (ge, gw) = (&gx[m..m + n], &gx[m - 1..m - 1 + n]);
        let (gn, gs) = (&gy[m..m + n], &gy[m - sy..m - sy + n]);
        let (gu, gd) = (&gz[m..m + n], &gz[m - sz..m - sz + n]);
        let diagonal = &self.diagonal[..n];
        let out = &mut self.image[..n];
        for i in 0..n {
            out[i] = diagonal[i] * xc[i]
                - (ge[i] * xe[i] + gw[i] * xw[i])
                - (gn[i] * xn[i] + gs[i] * xs[i])
                - (gu[i] * xu[i] + gd[i] * xd[i]);
        }
        dot(xc, out)
    }

    /// `solution += step direction`, `residual −= step image`; returns the residual's mean square.
    fn advance(&mut self, step: f64, counts: &[f64]) -> f64 {
        let (n, m) = (self.cells, self.margin);
        for (x, p) in self.solution.iter_mut().zip(&self.direction[m..m + n]) {
            *x += step * p;
        }
        let mut sums = [0.0; LANES];
        let (r, q) = (&mut self.residual[..n], &self.image[..n]);
        let counts = &counts[..n];
        let whole = n - n % LANES;
        for ((r, q), w) in r[..whole]
            .chunks_exact_mut(LANES)
            .zip(q[..whole].chunks_exact(LANES))
            .zip(counts[..whole].chunks_exact(LANES))
        {
            for lane in 0..LANES {
                r[lane] -= step * q[lane];
                sums[lane] += r[lane] * r[lane] * w[lane];
            }
        }
        let mut sum: f64 = sums.iter().sum();
        for i in whole..n {
            r[i] -= step * q[i];
            sum += r[i] * r[i] * counts[i];
        }
        sum
    }

    /// `corrected = M⁻¹ residual`; returns `residual · corrected`.
    fn precondition(&mut self) -> f64 {
        let (n, m) = (self.cells, self.margin);
        let [_, sy, sz] = self.strides;
        let [gx, gy, gz] = &self.links;
        let z = &mut self.corrected;
        let pivot = &self.pivot[m..m + n];
        let residual = &self.residual[..n];
        {
            let (gw, gs, gd) = (&gx[m - 1..m - 1 + n], &gy[m - sy..m - sy + n], &gz[m - sz..m - sz + n]);
            let mut west = 0.0;
            for i in 0..n {
                let others = residual[i] + gs[i] * z[m + i - sy] + gd[i] * z[m + i - sz];
                // The chain from cell to cell is one product and one sum.
                west = others * pivot[i] + (gw[i] * pivot[i]) * west;
                z[m + i] = west;
            }
        }
        let (ge, gn, gu) = (&gx[m..m + n], &gy[m..m + n], &gz[m..m + n]);
        let mut east = 0.0;
        for i in (0..n).rev() {
            let others = z[m + i] + (gn[i] * z[m + i + sy] + gu[i] * z[m + i + sz]) * pivot[i];
            east = others + (ge[i] * pivot[i]) * east;
            z[m + i] = east;
        }
        dot(residual, &z[m..m + n])
    }
}

/// Partial sums kept side by side, so that they do not wait for each other.
const LANES: usize = 8;

/// Scalar product.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; LANES];
    let (a_lanes, b_lanes) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest: f64 = a_lanes.remainder().iter().zip(b_lanes.remainder()).map(|(a, b)| a * b).sum();
    for (a, b) in a_lanes.zip(b_lanes) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    sums.iter().sum::<f64>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A matrix like that of a step, and a right-hand side.
    fn example(counts: [usize; 3], storage: f64) -> (Stencil, Vec<f64>) {
        let mut stencil = Stencil::new(counts);
        let (m, strides) = (stencil.margin(), stencil.strides());
        let mut seed = 1_u64;
        let mut random = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64
        };
        let cells = counts.iter().product();
        for d in &mut stencil.diagonal {
            *d = storage * (0.5 + random());
        }
        for axis in 0..3 {
            for i in 0..cells {
                if (i / strides[axis]) % counts[axis] + 1 < counts[axis] {
                    let g = 0.2 + random();
                    stencil.links[axis][m + i] = g;
                    stencil.diagonal[i] += g;
                    stencil.diagonal[i + strides[axis]] += g;
                }
            }
        }
        let b: Vec<f64> = (0..cells).map(|_| random() - 0.5).collect();
        (stencil, b)
    }

    fn solved(counts: [usize; 3], storage: f64) -> (usize, f64) {
        let (mut stencil, b) = example(counts, storage);
        let counts = vec![1.0 / b.len() as f64; b.len()];
        stencil.residual.copy_from_slice(&b);
        stencil.factor();
        let iterations = stencil.solve(&counts, 1e-11);
        // Once more from the definition.
        let m = stencil.margin();
        stencil.direction[m..m + b.len()].copy_from_slice(&stencil.solution);
        stencil.multiply();
        let worst = stencil.image.iter().zip(&b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        (iterations, worst)
    }

    #[test]
    fn the_equations_are_solved() {
        for counts in [[7, 5, 3], [1, 1, 30], [30, 1, 1], [12, 1, 9], [1, 1, 1], [2, 2, 2]] {
            for storage in [1e-3, 1.0, 1e6] {
                let (iterations, worst) = solved(counts, storage);
                assert!(worst < 1e-9 && iterations < 60, "{counts:?} {storage}: {iterations} {worst}");
            }
        }
    }

    #[test]
    fn along_one_axis_the_factor_is_exact() {
        for counts in [[400, 1, 1], [1, 400, 1], [1, 1, 400]] {
            let (iterations, worst) = solved(counts, 1e-4);
            assert!(iterations <= 2 && worst < 1e-8, "{counts:?}: {iterations} {worst}");
        }
    }
}
