//! Derivatives by differences.

use super::Bounds;

/// Step of the central difference over the size of the parameter: `ε^{1/3}`, where rounding `ε/h` and truncation `h²` meet.
pub const RELATIVE_STEP: f64 = 6.055_454_452_393_343e-6;

/// Least size the step rule takes a parameter to have, over its typical size.
///
/// The typical size is the first positive one of: the size of the starting value, the standard deviation of the prior, the width of the
/// box, 1. A parameter that ends much nearer to 0 than that loses up to 2 digits of its derivative, so start from a sensible size or from 0.
pub const LEAST_SIZE: f64 = 1e-2;

/// Points and factors of one derivative: `Σ factor · r(point)`.
pub(crate) type Stencil = Vec<(f64, f64)>;

/// Where to evaluate for `∂/∂x` at `x`, inside the bounds.
///
/// Central, `(r(x+h) − r(x−h)) / 2h`; at a bound one-sided with the same order, `(−3 r(x) + 4 r(x+h) − r(x+2h)) / 2h`.
/// `h = ε^{1/3} max(|x|, 10⁻² typical)`, at most a quarter of the box. Empty when the box has no width.
pub(crate) fn stencil(x: f64, typical: f64, bounds: Bounds) -> Stencil {
    let room = bounds.upper - bounds.lower;
    if room <= 0.0 {
        return Vec::new();
    }
    let h = (RELATIVE_STEP * x.abs().max(LEAST_SIZE * typical)).min(0.25 * room);
    if x - h >= bounds.lower && x + h <= bounds.upper {
        let (left, right) = (x - h, x + h);
        let width = right - left; // as stored, not as asked for
        return vec![(left, -1.0 / width), (right, 1.0 / width)];
    }
    let signed = if x - h < bounds.lower { h } else { -h };
    let near = x + signed;
    let step = near - x;
    let far = x + 2.0 * step;
    vec![(x, -1.5 / step), (near, 2.0 / step), (far, -0.5 / step)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slope(f: impl Fn(f64) -> f64, stencil: &Stencil) -> f64 {
        stencil.iter().map(|(x, factor)| factor * f(*x)).sum()
    }

    #[test]
    fn central_differences_are_good_to_ten_digits() {
        let found = slope(f64::exp, &stencil(1.3, 1.0, Bounds::NONE));
        assert!((found / 1.3_f64.exp() - 1.0).abs() < 1e-10);
    }

    #[test]
    fn at_a_bound_no_point_is_outside() {
        for (x, bounds) in
            [(1.0, Bounds::new(1.0, 9.0)), (9.0, Bounds::new(1.0, 9.0)), (2.0, Bounds::new(2.0, 2.0 + 1e-9))]
        {
            let points = stencil(x, 1.0, bounds);
            assert!(points.iter().all(|(p, _)| (bounds.lower..=bounds.upper).contains(p)), "{points:?}");
            let tolerance = if bounds.upper - bounds.lower < 1.0 { 1e-5 } else { 1e-8 };
            assert!((slope(|p| p * p, &points) / (2.0 * x) - 1.0).abs() < tolerance);
        }
        assert!(stencil(1.0, 1.0, Bounds::new(1.0, 1.0)).is_empty());
    }
}
