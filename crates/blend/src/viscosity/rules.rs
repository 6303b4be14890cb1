//! Viscosity of a blend from those of its parts: two rules.
//!
//! | rule | blend |
//! |---|---|
//! | double logarithm | `I = Σ w_i I_i`, `I = 14.534 ln ln(ν + 0.8) + 10.975` |
//! | logarithm | `ln ν = Σ w_i ln ν_i` |
//!
//! `ν` kinematic viscosity, mm²/s; `w` mass fraction. The double logarithm leans to the thin part: halves of 10 and 1000 mm²/s give 56.9 by it and 100 by
//! the plain one.
//!
//! # Validity
//! Liquids that mix without a reaction. For vegetable oils in esters and hydrocarbons a chart of the first kind was within 5 %, the plain logarithm nearer
//! still, and mineral oils off both (Erhan, Asadauskas and Adhvaryu 2002, JAOCS 79:1157, abstract read).
//!
//! # Source
//! Index: family of ASTM D7152 (Maples 2000, with natural logarithms, quoted on a page that was read).

use super::line::THINNEST_MM2_S;

const FACTOR: f64 = 14.534;
const CONSTANT: f64 = 10.975;
const OFFSET_MM2_S: f64 = 0.8;

/// Blending index of a liquid.
///
/// # Arguments
/// * `viscosity_mm2_s`: kinematic viscosity, mm²/s; taken as at least [`THINNEST_MM2_S`].
fn blending_index(viscosity_mm2_s: f64) -> f64 {
    FACTOR * (viscosity_mm2_s.max(THINNEST_MM2_S) + OFFSET_MM2_S).ln().ln() + CONSTANT
}

/// Kinematic viscosity of a liquid with a blending index, mm²/s: the inverse of [`blending_index`].
fn viscosity_of_index(index: f64) -> f64 {
    ((index - CONSTANT) / FACTOR).exp().exp() - OFFSET_MM2_S
}

/// Kinematic viscosity of a blend by the double logarithm, mm²/s.
///
/// # Arguments
/// * `parts`: mass fraction, and kinematic viscosity, mm²/s; the fractions sum to 1.
pub fn double_logarithm_rule(parts: &[(f64, f64)]) -> f64 {
    viscosity_of_index(parts.iter().map(|(fraction, viscosity)| fraction * blending_index(*viscosity)).sum())
}

/// Kinematic viscosity of a blend by the plain logarithm, mm²/s.
///
/// # Arguments
/// * `parts`: as for [`double_logarithm_rule`].
pub fn logarithm_rule(parts: &[(f64, f64)]) -> f64 {
    parts.iter().map(|(fraction, viscosity)| fraction * viscosity.max(THINNEST_MM2_S).ln()).sum::<f64>().exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_index_has_its_inverse() {
        for viscosity in [0.3, 1.0, 2.234, 10.0, 1e5] {
            let back = viscosity_of_index(blending_index(viscosity));
            assert!((back / viscosity - 1.0).abs() < 1e-9, "{viscosity}: {back}");
        }
        // The equation worked apart from this code, in Python: 12.490221765; a page with this example prints 12.492.
        assert!((blending_index(2.234) - 12.490).abs() < 5e-4);
    }

    #[test]
    fn the_double_logarithm_gives_the_thinner_blend() {
        for (thin, thick) in [(1.0, 2.0), (10.0, 1000.0), (5.0, 6.0), (2.0, 1e4)] {
            for share in [0.1, 0.5, 0.9] {
                let parts = [(share, thin), (1.0 - share, thick)];
                let (double, plain) = (double_logarithm_rule(&parts), logarithm_rule(&parts));
                assert!(thin < double && double < plain && plain < thick, "{parts:?}: {double}, {plain}");
            }
        }
    }

    #[test]
    fn blends_are_those_of_the_rules() {
        assert!((blending_index(5.0) - 19.1736).abs() < 5e-5 && (blending_index(20.0) - 27.1106).abs() < 5e-5);
        assert!((double_logarithm_rule(&[(0.6, 5.0), (0.4, 20.0)]) - 8.1085).abs() < 5e-5);
        assert!((double_logarithm_rule(&[(0.5, 10.0), (0.5, 1000.0)]) - 56.86).abs() < 5e-3);
        assert!((logarithm_rule(&[(0.5, 10.0), (0.5, 1000.0)]) - 100.0).abs() < 1e-9);
    }
}
