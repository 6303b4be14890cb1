//! Conversions between yield stress and the penetration tests that measure it.

use std::f64::consts::PI;

/// Standard gravity, m/s².
pub const STANDARD_GRAVITY: f64 = 9.806_65;

/// One gram-force per square centimetre, Pa.
pub const PASCAL_PER_GRAM_CM2: f64 = 98.0665;

/// Load on the needle of ASTM D1321, kg (100 g in all).
const NEEDLE_LOAD_KG: f64 = 0.100;

/// Radius of the needle's flat tip, m (0.14 to 0.16 mm across; recalled from the needle of ASTM D5).
const NEEDLE_TIP_RADIUS_M: f64 = 0.075e-3;

/// Radius of the needle's shaft, m (1.00 to 1.02 mm across; recalled).
const NEEDLE_SHAFT_RADIUS_M: f64 = 0.505e-3;

/// Half of the needle's taper, rad (8°40' to 9°40' in all; recalled).
const NEEDLE_HALF_ANGLE: f64 = 4.583 * PI / 180.0;

/// Bearing capacity of a rigid-plastic body under a smooth circular punch, in yield stresses (Shield 1955; recalled).
pub const BEARING_FACTOR: f64 = 5.69;

/// Drag along the needle's flank, in yield stresses (estimated; between smooth 0 and rough 1).
const FLANK_DRAG: f64 = 0.5;

/// Longest penetration the needle test allows, 0.1 mm.
pub const NEEDLE_LIMIT_DMM: f64 = 250.0;

/// Loaded area per unit of yield stress at `depth_m`, m².
fn needle_area_m2(depth_m: f64) -> f64 {
    let taper_m = (NEEDLE_SHAFT_RADIUS_M - NEEDLE_TIP_RADIUS_M) / NEEDLE_HALF_ANGLE.tan();
    let in_taper = depth_m.min(taper_m);
    let radius = NEEDLE_TIP_RADIUS_M + in_taper * NEEDLE_HALF_ANGLE.tan();
    let cone_flank = PI * (NEEDLE_TIP_RADIUS_M + radius) * in_taper / NEEDLE_HALF_ANGLE.cos();
    let shaft_flank = 2.0 * PI * NEEDLE_SHAFT_RADIUS_M * (depth_m - in_taper);
    BEARING_FACTOR * PI * radius * radius + FLANK_DRAG * (cone_flank + shaft_flank)
}

/// Returns the yield stress at which the needle of ASTM D1321 stops at a given depth.
///
/// `load · g = τ [N_c π r(p)² + a A_flank(p)]`, with the needle's truncated cone and shaft as geometry.
///
/// # Arguments
/// * `needle_dmm`: penetration, 0.1 mm, above 0 and up to [`NEEDLE_LIMIT_DMM`].
///
/// # Returns
/// Yield stress, kPa; `None` outside the range of the test.
///
/// # Validity
/// Order of magnitude: the geometry is recalled and the flank drag estimated. No published conversion was found.
///
/// # Example
/// Beeswax, needle about 20 at 25 °C (recalled), has a yield stress of about half a megapascal:
/// ```
/// let kpa = barwright_blend::penetration::yield_kpa_from_needle(20.0).unwrap();
/// assert!((400.0..600.0).contains(&kpa));
/// ```
///
/// # Source
/// ASTM D1321 (needle, load, 5 s; read in part); Shield 1955, Proc. R. Soc. A 233:267 (bearing factor; recalled).
pub fn yield_kpa_from_needle(needle_dmm: f64) -> Option<f64> {
    (needle_dmm > 0.0 && needle_dmm <= NEEDLE_LIMIT_DMM)
        .then(|| NEEDLE_LOAD_KG * STANDARD_GRAVITY / needle_area_m2(needle_dmm * 1e-4) / 1e3)
}

/// Returns the needle penetration of a body of given yield stress: the inverse of [`yield_kpa_from_needle`].
///
/// # Arguments
/// * `yield_kpa`: yield stress, kPa, positive.
///
/// # Returns
/// Penetration, 0.1 mm; `None` when softer than the test allows (deeper than [`NEEDLE_LIMIT_DMM`]). A body too hard to be
/// marked gives 0.
///
/// # Example
/// ```
/// use barwright_blend::penetration::{needle_dmm_from_yield, yield_kpa_from_needle};
/// let depth = needle_dmm_from_yield(yield_kpa_from_needle(33.0).unwrap()).unwrap();
/// assert!((depth - 33.0).abs() < 1e-9);
/// ```
///
/// # Source
/// As [`yield_kpa_from_needle`].
pub fn needle_dmm_from_yield(yield_kpa: f64) -> Option<f64> {
    if yield_kpa.is_nan() || yield_kpa <= 0.0 {
        return None;
    }
    let target = NEEDLE_LOAD_KG * STANDARD_GRAVITY / (yield_kpa * 1e3);
    let (mut low, mut high) = (0.0, NEEDLE_LIMIT_DMM);
    if needle_area_m2(low) >= target {
        return Some(0.0);
    }
    if needle_area_m2(high * 1e-4) < target {
        return None;
    }
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if needle_area_m2(middle * 1e-4) < target { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

/// A cone of Haighton's method, with its constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cone {
    /// Cone angle, degrees.
    pub angle_deg: f64,
    /// Haighton's K, g/cm² · (0.1 mm)^1.6 per g.
    pub k: f64,
}

impl Cone {
    /// The 40° cone, K = 5840 (recalled, quoted by deMan 1983).
    pub const DEG_40: Cone = Cone { angle_deg: 40.0, k: 5840.0 };
}

/// Yield values over which Haighton's relation was shown to hold, g/cm².
pub const HAIGHTON_RANGE_G_CM2: std::ops::RangeInclusive<f64> = 45.0..=8300.0;

/// A cone yield value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConeYield {
    /// Haighton's C, g/cm².
    pub g_cm2: f64,
    /// The same as a stress, kPa.
    pub kpa: f64,
    /// Whether it lies in the range over which the relation was shown to hold.
    pub in_range: bool,
}

/// Returns the cone yield value of a fat from a penetration.
///
/// `C = K W / p^1.6`
///
/// # Arguments
/// * `cone`: the cone and its K.
/// * `mass_g`: mass of cone and carrier, g, positive.
/// * `penetration_dmm`: depth after 5 s, 0.1 mm, positive.
///
/// # Returns
/// The yield value with a flag when it is outside [`HAIGHTON_RANGE_G_CM2`]; `None` for arguments that are not positive.
///
/// # Validity
/// Cones of 15 to 90°, C from 45 to 8300 g/cm².
///
/// # Example
/// ```
/// use barwright_blend::penetration::{Cone, cone_yield};
/// let c = cone_yield(Cone::DEG_40, 100.0, 50.0).unwrap();
/// assert_eq!(c.g_cm2.round(), 1117.0);
/// assert!(c.in_range);
/// ```
///
/// # Source
/// Haighton 1959, J. Am. Oil Chem. Soc. 36:345 (relation and range read in the abstract).
pub fn cone_yield(cone: Cone, mass_g: f64, penetration_dmm: f64) -> Option<ConeYield> {
    if !(mass_g > 0.0 && penetration_dmm > 0.0 && mass_g.is_finite() && penetration_dmm.is_finite()) {
        return None;
    }
    let g_cm2 = cone.k * mass_g / penetration_dmm.powf(1.6);
    Some(ConeYield { g_cm2, kpa: g_cm2 * PASCAL_PER_GRAM_CM2 / 1e3, in_range: HAIGHTON_RANGE_G_CM2.contains(&g_cm2) })
}

/// Returns the penetration at which a cone stops in a fat of given yield value: the inverse of [`cone_yield`].
///
/// # Arguments
/// * `cone`, `mass_g`: as for [`cone_yield`].
/// * `yield_kpa`: yield value, kPa, positive.
///
/// # Returns
/// Depth, 0.1 mm; `None` for arguments that are not positive.
///
/// # Example
/// ```
/// use barwright_blend::penetration::{Cone, cone_penetration_dmm, cone_yield};
/// let kpa = cone_yield(Cone::DEG_40, 80.0, 100.0).unwrap().kpa;
/// assert!((cone_penetration_dmm(Cone::DEG_40, 80.0, kpa).unwrap() - 100.0).abs() < 1e-9);
/// ```
///
/// # Source
/// As [`cone_yield`].
pub fn cone_penetration_dmm(cone: Cone, mass_g: f64, yield_kpa: f64) -> Option<f64> {
    if !(mass_g > 0.0 && yield_kpa > 0.0 && mass_g.is_finite() && yield_kpa.is_finite()) {
        return None;
    }
    Some((cone.k * mass_g * PASCAL_PER_GRAM_CM2 / 1e3 / yield_kpa).powf(1.0 / 1.6))
}

/// Stress at which a cylinder squeezed between smooth plates flows, in yield stresses in shear (von Mises).
const COMPRESSION_FACTOR: f64 = 1.732_050_807_568_877_2;

/// Returns the yield stress from the force on a flat-ended round probe pushed into a body wider than it.
///
/// `F / A = N_c τ`
///
/// # Arguments
/// * `face_stress_kpa`: force at the plateau over the area of the probe's face, kPa, positive.
///
/// # Returns
/// Yield stress in shear, kPa; `None` when not positive.
///
/// # Validity
/// Depth of at least a probe radius, body at least four probe diameters wide, slow push. A narrower pot raises the force; where
/// the body cracks before it flows, the force is a lower bound.
///
/// # Example
/// A rod 4 mm across that carries 500 g: 390 kPa on its face.
/// ```
/// use barwright_blend::penetration::{STANDARD_GRAVITY, yield_kpa_from_punch};
/// let face_kpa = 0.5 * STANDARD_GRAVITY / (std::f64::consts::PI * 0.002_f64.powi(2)) / 1e3;
/// assert!((yield_kpa_from_punch(face_kpa).unwrap() - 68.6).abs() < 0.1);
/// ```
///
/// # Source
/// Shield 1955, Proc. R. Soc. A 233:267 (factor of a smooth circular punch; recalled).
pub fn yield_kpa_from_punch(face_stress_kpa: f64) -> Option<f64> {
    (face_stress_kpa > 0.0 && face_stress_kpa.is_finite()).then(|| face_stress_kpa / BEARING_FACTOR)
}

/// Returns the yield stress from a cylinder squeezed between plates.
///
/// `F / A = √3 τ`
///
/// # Arguments
/// * `stress_kpa`: peak force over the original cross-section, kPa, positive.
///
/// # Returns
/// Yield stress in shear, kPa; `None` when not positive.
///
/// # Validity
/// Smooth plates, height about the diameter, strain below about 0.2. Friction on the plates raises the force by some tens of percent.
///
/// # Example
/// ```
/// let kpa = barwright_blend::penetration::yield_kpa_from_compression(100.0).unwrap();
/// assert!((kpa - 57.7).abs() < 0.1);
/// ```
///
/// # Source
/// Yield criterion of von Mises (textbook).
pub fn yield_kpa_from_compression(stress_kpa: f64) -> Option<f64> {
    (stress_kpa > 0.0 && stress_kpa.is_finite()).then(|| stress_kpa / COMPRESSION_FACTOR)
}
