//! The exponential of many numbers: without a branch, so that the compiler takes several at a time.
//!
//! ```text
//! x = k ln 2 + r,  |r| ≤ ln 2 / 2        exp x = 2^k (1 + r + r²/2! + … + r¹³/13!)
//! ```
//! Products and sums alone, in one order: the same bits on every machine, whatever it has for wider arithmetic. The one of the standard library is that of
//! the platform, and is called number by number.
//!
//! # Validity
//! Within one unit in the last place of the true value for −708 ≤ x ≤ 709; beyond, the value at that end. Not a number stays so.
//!
//! # Source
//! Taylor's series; range reduction with ln 2 in two parts: Cody and Waite 1980, Software Manual for the Elementary Functions (recalled).

use std::f64::consts::LOG2_E;

/// Below this the result would be subnormal.
const LOWEST: f64 = -708.0;

/// Above this it would not be finite.
const HIGHEST: f64 = 709.0;

/// Added to a number below 2⁵¹ in size it leaves the nearest integer in the last bits.
const ROUNDING: f64 = 6_755_399_441_055_744.0;

/// ln 2, in a part whose products with small integers are exact, and the rest.
const LN_2: [f64; 2] = [0.693_147_180_369_123_8, 1.908_214_929_270_587_7e-10];

/// Bits of the fraction of a number.
const FRACTION_BITS: u32 = 52;

/// Returns `exp x`.
#[inline(always)]
pub(crate) fn exponential(x: f64) -> f64 {
    let x = if x < LOWEST { LOWEST } else { x };
    let x = if x > HIGHEST { HIGHEST } else { x };
    let shifted = x * LOG2_E + ROUNDING;
    let k = shifted - ROUNDING;
    let r = (x - k * LN_2[0]) - k * LN_2[1];
    let r2 = r * r;
    let low = (1.0 / 2.0 + r * (1.0 / 6.0)) + r2 * (1.0 / 24.0 + r * (1.0 / 120.0));
    let middle = (1.0 / 720.0 + r * (1.0 / 5_040.0)) + r2 * (1.0 / 40_320.0 + r * (1.0 / 362_880.0));
    let high =
        (1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0)) + r2 * (1.0 / 479_001_600.0 + r * (1.0 / 6_227_020_800.0));
    let r4 = r2 * r2;
    let fraction = 1.0 + (r + r2 * (low + r4 * (middle + r4 * high)));
    f64::from_bits(fraction.to_bits().wrapping_add(shifted.to_bits() << FRACTION_BITS))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Arguments, and the exponential to 20 digits (Python's `decimal` at 40 digits).
    const KNOWN: [(f64, &str); 9] = [
        (-708.0, "3.3075530036384079962e-308"),
        (-46.3, "7.8012732135030510066e-21"),
        (-10.0, "4.5399929762484851536e-5"),
        (-0.34657, "7.0710931990241990210e-1"),
        (-1e-09, "9.9999999900000000050e-1"),
        (0.125, "1.1331484530668263168e0"),
        (1.0, "2.7182818284590452354e0"),
        (33.3, "2.8973852666366051912e14"),
        (709.0, "8.2184074615549721892e307"),
    ];

    #[test]
    fn it_is_within_a_unit_in_the_last_place_of_what_is_known() {
        for (x, digits) in KNOWN {
            let known: f64 = digits.parse().unwrap_or(f64::NAN);
            let apart = exponential(x).to_bits().abs_diff(known.to_bits());
            assert!(apart <= 1, "exp {x} is {} in place of {known}", exponential(x));
        }
        for step in -70_800..=70_900 {
            let x = 0.01 * f64::from(step) + 1e-3 * f64::from(step).sin();
            let x = x.clamp(LOWEST, HIGHEST);
            assert!((exponential(x) / x.exp() - 1.0).abs() < 5e-16, "exp {x}");
        }
    }

    #[test]
    fn its_bits_are_the_same_on_every_machine() {
        for (x, bits) in [
            (-708.0, 0x0017_c8ab_2288_c9ac),
            (-46.3, 0x3bc2_6b94_8efd_21e5),
            (-10.0, 0x3f07_cd79_b564_7c9a),
            (-0.34657, 0x3fe6_a0a3_b975_afae),
            (-1e-09, 0x3fef_ffff_ff76_8fa1),
            (0.125, 0x3ff2_2160_45b6_f5cd),
        ] {
            assert_eq!(exponential(x).to_bits(), bits, "exp {x}");
        }
        // As many at a time as the compiler likes.
        let many: Vec<f64> = (0..1001).map(|step| 0.37 * f64::from(step - 500)).collect();
        let at_once: Vec<f64> = many.iter().map(|&x| exponential(x)).collect();
        let sum = at_once.iter().fold(0_u64, |sum, one| sum.rotate_left(1) ^ one.to_bits());
        assert_eq!(sum, 0x512d_db25_c8d9_19d8);
    }

    #[test]
    fn beyond_its_range_it_stays_finite_and_not_a_number_stays_so() {
        assert_eq!(exponential(f64::NEG_INFINITY), exponential(LOWEST));
        assert_eq!(exponential(f64::INFINITY), exponential(HIGHEST));
        assert!(exponential(LOWEST) > 0.0 && exponential(HIGHEST).is_finite());
        assert!(exponential(f64::NAN).is_nan());
        assert_eq!(exponential(0.0), 1.0);
    }
}
