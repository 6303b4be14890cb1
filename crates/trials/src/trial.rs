//! A bench test of one formula, as a maker with a kitchen scale and a thermometer can do it.
//!
//! | test | what is measured | what it stands for |
//! |---|---|---|
//! | open tube | temperature at which the plug slips | slip point |
//! | needle | depth of the standard needle at a temperature | yield stress, [`yield_kpa_from_needle`] |
//! | rod | grams at which a flat rod goes in | yield stress, `m g / (A N_c)` |
//! | warm shelf | whether the bar kept its shape | highest temperature it holds for a day |
//! | relief | finest feature that survived, coarsest that broke | finest feature that leaves the mould whole |
//! | grain | whether grain is seen | index of graininess; teaches nothing, the model has no parameter for it |
//!
//! Standard deviations are those of one test by one maker, and judgement where no source is named.

use std::f64::consts::PI;

use barwright_blend::penetration::{
    NEEDLE_LIMIT_DMM, STANDARD_GRAVITY, needle_dmm_from_yield, yield_kpa_from_needle, yield_kpa_from_punch,
};
use barwright_blend::suitability::COARSEST_FEATURE_MM;
use barwright_reference::{CrystalState, Formula, short};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Temperatures of the model, °C: from its lowest landmark to the end of its validity.
const TEMPERATURES_C: (f64, f64) = (-20.0, 120.0);

/// Rods that are accepted, mm: a thinner one is a needle, a thicker one flattens the bar (judgement).
pub const ROD_MM: (f64, f64) = (0.5, 30.0);

/// Largest load on a rod, g: more than a person presses with a hand (judgement).
const MAX_GRAMS: f64 = 100_000.0;

/// Longest stay on a warm shelf, hours: 60 days. Longer is not a test of shape (judgement).
const MAX_HOURS: f64 = 1440.0;

/// Oldest bar tested, days: 10 years. Older is a slip of the pen (judgement).
const MAX_DAYS: f64 = 3650.0;

/// Days after pouring from which a bar counts as rested: firmness settles in 24 to 48 h (common practice, no source; bars rich in cocoa
/// butter take 1 to 2 weeks).
pub const RESTED_AFTER_DAYS: f64 = 2.0;

/// Smallest depth (0.1 mm), mass (g), time (hours), size (mm) or spread (K) accepted: below what any bench gives.
const MIN_FIGURE: f64 = 0.001;

/// Standard deviation of one open tube read by a maker, K: laboratories agree to about 1 °C (recalled), a kitchen thermometer adds its own.
pub const TUBE_SD_K: f64 = 1.0;

/// Least standard deviation of an open tube, K: repeats in one laboratory (ISO 6321, 0.5 °C; recalled).
pub const MIN_TUBE_SD_K: f64 = 0.5;

/// Largest standard deviation of an open tube that still says something, K (judgement).
const LARGEST_TUBE_SD_K: f64 = 20.0;

/// Spread of the logarithm of a yield stress from one needle or rod to the next, the pour-to-pour scatter of one maker in it (judgement; that of
/// the published tests, `barwright_calibration::published::reproducibility::FIRMNESS_LN_SD`).
pub const FIRMNESS_LN_SD: f64 = 0.3;

/// Standard deviation of the temperature at which one bar slumps, K: shelf, thermometer, and what counts as slumped (judgement).
pub const SHELF_SD_K: f64 = 1.5;

/// Added for each factor e between the hours on the shelf and the day the model speaks of, K: creep is not modelled (judgement).
pub const SHELF_SD_K_PER_LN_HOUR: f64 = 1.0;

/// Hours of the hold that the model predicts.
pub const DAY_HOURS: f64 = 24.0;

/// Spread of the logarithm of the finest feature from one cavity to the next (judgement).
pub const RELIEF_LN_SD: f64 = 0.3;

/// Why a trial is refused.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum TrialError {
    /// A figure that is not a number.
    #[error("{what} is {value}, no number")]
    NotFinite {
        /// Which figure.
        what: &'static str,
        /// What it was.
        value: f64,
    },
    /// A rod without a face.
    #[error("a rod of {} mm: give the diameter of its flat end, {low} to {high} mm", short(*.diameter_mm), low = ROD_MM.0, high = ROD_MM.1)]
    Rod {
        /// Diameter, mm.
        diameter_mm: f64,
    },
    /// A mass out of range.
    #[error("{} g on the rod: give what the scale shows as the rod goes in, above 0", short(*.grams))]
    Grams {
        /// Mass, g.
        grams: f64,
    },
    /// A temperature outside the model.
    #[error("{what} of {} °C is outside {low} to {high} °C, where the model speaks", short(*.celsius), low = TEMPERATURES_C.0, high = TEMPERATURES_C.1)]
    Temperature {
        /// Of what.
        what: &'static str,
        /// °C.
        celsius: f64,
    },
    /// Any other figure outside its range.
    #[error("{what} is {}, outside {low} to {high}", short(*.value))]
    OutOfRange {
        /// Which figure, with its unit.
        what: &'static str,
        /// What it was.
        value: f64,
        /// Smallest allowed.
        low: f64,
        /// Largest allowed.
        high: f64,
    },
    /// A relief test without a result.
    #[error("a relief test needs the finest feature that survived, the coarsest that broke, or both")]
    NoRelief,
    /// A formula without parts.
    #[error("the formula has no part with a share above 0 %")]
    NoParts,
}

/// A test and its result.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Test {
    /// Melting point in an open tube.
    Tube {
        /// Temperature at which the plug slips, °C.
        melt_c: f64,
        /// Its standard deviation, K; [`TUBE_SD_K`] when not known.
        #[serde(default)]
        sd_k: Option<f64>,
    },
    /// The standard needle of ASTM D1321.
    Needle {
        /// Depth, 0.1 mm.
        depth_dmm: f64,
        /// Temperature of the bar, °C.
        at_c: f64,
    },
    /// A flat-ended rod pushed into a bar that stands on a kitchen scale.
    Rod {
        /// Diameter of the rod, mm.
        diameter_mm: f64,
        /// What the scale shows as the rod goes in, less the bar, g.
        grams: f64,
        /// Temperature of the bar, °C.
        at_c: f64,
    },
    /// A bar on a warm shelf.
    Shelf {
        /// Temperature of the shelf, °C.
        at_c: f64,
        /// How long, hours.
        hours: f64,
        /// Whether it kept its shape.
        kept: bool,
    },
    /// How a relief left its mould.
    Relief {
        /// Finest feature that came out whole, mm.
        #[serde(default)]
        survived_mm: Option<f64>,
        /// Coarsest feature that broke, mm.
        #[serde(default)]
        broke_mm: Option<f64>,
        /// Temperature of the bar as it left the mould, °C.
        release_c: f64,
    },
    /// Whether grain is seen or felt.
    Grain {
        /// The answer.
        seen: bool,
    },
}

impl Test {
    /// Checks every figure.
    ///
    /// # Errors
    /// The first fault, as a [`TrialError`].
    ///
    /// # Example
    /// ```
    /// use barwright_trials::{Test, TrialError};
    /// let flat = Test::Rod { diameter_mm: 0.0, grams: 300.0, at_c: 21.0 };
    /// assert_eq!(flat.check(), Err(TrialError::Rod { diameter_mm: 0.0 }));
    /// assert!(Test::Rod { diameter_mm: 4.0, grams: 300.0, at_c: 21.0 }.check().is_ok());
    /// ```
    pub fn check(&self) -> Result<(), TrialError> {
        match *self {
            Test::Tube { melt_c, sd_k } => {
                temperature("a melting point", melt_c)?;
                sd_k.map_or(Ok(()), |sd| range("standard deviation, K", sd, MIN_FIGURE, LARGEST_TUBE_SD_K))
            }
            Test::Needle { depth_dmm, at_c } => {
                temperature("a bar", at_c)?;
                range("depth of the needle, 0.1 mm", depth_dmm, MIN_FIGURE, NEEDLE_LIMIT_DMM)
            }
            Test::Rod { diameter_mm, grams, at_c } => {
                temperature("a bar", at_c)?;
                finite("diameter of the rod, mm", diameter_mm)?;
                finite("mass on the rod, g", grams)?;
                if !(ROD_MM.0..=ROD_MM.1).contains(&diameter_mm) {
                    return Err(TrialError::Rod { diameter_mm });
                }
                if grams <= 0.0 {
                    return Err(TrialError::Grams { grams });
                }
                range("mass on the rod, g", grams, MIN_FIGURE, MAX_GRAMS)
            }
            Test::Shelf { at_c, hours, .. } => {
                temperature("a shelf", at_c)?;
                range("time on the shelf, hours", hours, MIN_FIGURE, MAX_HOURS)
            }
            Test::Relief { survived_mm, broke_mm, release_c } => {
                temperature("a bar", release_c)?;
                if survived_mm.is_none() && broke_mm.is_none() {
                    return Err(TrialError::NoRelief);
                }
                for size in [survived_mm, broke_mm].into_iter().flatten() {
                    range("size of a feature, mm", size, MIN_FIGURE, COARSEST_FEATURE_MM)?;
                }
                Ok(())
            }
            Test::Grain { .. } => Ok(()),
        }
    }

    /// Whether the model has a parameter that the test can move.
    pub fn teaches(&self) -> bool {
        !matches!(self, Test::Grain { .. })
    }
}

/// A bench test of one formula.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// The maker's name for it; shown where it does not fit.
    pub label: String,
    /// The formula of the bar.
    pub formula: Formula,
    /// Days from pouring to the test.
    pub days: f64,
    /// Whether it was tempered before pouring, as confectioners do.
    pub tempered: bool,
    /// The test.
    pub test: Test,
}

impl Trial {
    /// Checks the formula, the age and the test.
    ///
    /// # Errors
    /// The first fault, as a [`TrialError`].
    pub fn check(&self) -> Result<(), TrialError> {
        if !self.formula.parts.iter().any(|part| part.percent > 0.0) {
            return Err(TrialError::NoParts);
        }
        range("age of the bar, days", self.days, 0.0, MAX_DAYS)?;
        self.test.check()
    }

    /// Crystal state of what was tested: fresh until [`RESTED_AFTER_DAYS`], and always as a relief leaves its mould; tempered
    /// from the start for a tempered bar.
    ///
    /// # Validity
    /// Bars rich in cocoa butter are still on their way between 2 and 14 days: test them later.
    pub fn state(&self) -> CrystalState {
        if self.tempered {
            CrystalState::Tempered
        } else if self.days < RESTED_AFTER_DAYS || matches!(self.test, Test::Relief { .. }) {
            CrystalState::Fresh
        } else {
            CrystalState::Rested
        }
    }
}

/// Returns the yield stress at which a rod goes in.
///
/// `τ = m g / (N_c π d² / 4)`, `N_c` 5.69, the bearing factor of a smooth flat round punch.
///
/// # Arguments
/// * `diameter_mm`: of the rod's flat end, mm, positive.
/// * `grams`: on the scale as it goes in, g, positive.
///
/// # Returns
/// Yield stress in shear, kPa; `None` for arguments that are not positive.
///
/// # Validity
/// As [`yield_kpa_from_punch`]: the bar is at least four rods wide, the rod goes in by at least its radius, slowly. A bar that cracks first
/// gives a lower bound.
///
/// # Example
/// ```
/// let kpa = barwright_trials::trial::yield_kpa_from_rod(4.0, 500.0).unwrap();
/// assert!((kpa - 68.6).abs() < 0.1);
/// ```
///
/// # Source
/// Shield 1955, Proc. R. Soc. A 233:267 (factor of a smooth circular punch; recalled).
pub fn yield_kpa_from_rod(diameter_mm: f64, grams: f64) -> Option<f64> {
    if !(diameter_mm > 0.0 && diameter_mm.is_finite()) {
        return None;
    }
    yield_kpa_from_punch(grams * 1e-3 * STANDARD_GRAVITY / rod_area_m2(diameter_mm) / 1e3)
}

/// Returns the grams at which a rod goes in: the inverse of [`yield_kpa_from_rod`].
///
/// # Arguments
/// * `diameter_mm`: of the rod's flat end, mm.
/// * `yield_kpa`: yield stress in shear, kPa.
///
/// # Returns
/// g.
///
/// # Example
/// ```
/// use barwright_trials::trial::{grams_from_yield, yield_kpa_from_rod};
/// assert!((grams_from_yield(3.0, yield_kpa_from_rod(3.0, 640.0).unwrap()) - 640.0).abs() < 1e-9);
/// ```
///
/// # Source
/// As [`yield_kpa_from_rod`].
pub fn grams_from_yield(diameter_mm: f64, yield_kpa: f64) -> f64 {
    barwright_blend::penetration::BEARING_FACTOR * yield_kpa * 1e3 * rod_area_m2(diameter_mm) / STANDARD_GRAVITY * 1e3
}

fn rod_area_m2(diameter_mm: f64) -> f64 {
    0.25 * PI * (diameter_mm * 1e-3).powi(2)
}

/// The yield stress that a needle or rod stands for, kPa.
pub(crate) fn measured_kpa(test: &Test) -> Option<f64> {
    match *test {
        Test::Needle { depth_dmm, .. } => yield_kpa_from_needle(depth_dmm),
        Test::Rod { diameter_mm, grams, .. } => yield_kpa_from_rod(diameter_mm, grams),
        _ => None,
    }
}

/// A yield stress as the test would show it; the needle's limit where it would go deeper.
pub(crate) fn shown(test: &Test, yield_kpa: f64) -> f64 {
    match *test {
        Test::Needle { .. } => needle_dmm_from_yield(yield_kpa).unwrap_or(NEEDLE_LIMIT_DMM),
        Test::Rod { diameter_mm, .. } => grams_from_yield(diameter_mm, yield_kpa),
        _ => yield_kpa,
    }
}

fn finite(what: &'static str, value: f64) -> Result<(), TrialError> {
    if value.is_finite() { Ok(()) } else { Err(TrialError::NotFinite { what, value }) }
}

fn range(what: &'static str, value: f64, low: f64, high: f64) -> Result<(), TrialError> {
    finite(what, value)?;
    if (low..=high).contains(&value) { Ok(()) } else { Err(TrialError::OutOfRange { what, value, low, high }) }
}

fn temperature(what: &'static str, celsius: f64) -> Result<(), TrialError> {
    finite("a temperature, °C", celsius)?;
    if (TEMPERATURES_C.0..=TEMPERATURES_C.1).contains(&celsius) {
        Ok(())
    } else {
        Err(TrialError::Temperature { what, celsius })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn figures_no_bench_gives_are_refused_by_name() {
        let rod = |diameter_mm, grams, at_c| Test::Rod { diameter_mm, grams, at_c }.check();
        assert_eq!(rod(0.0, 300.0, 20.0), Err(TrialError::Rod { diameter_mm: 0.0 }));
        assert_eq!(rod(-4.0, 300.0, 20.0), Err(TrialError::Rod { diameter_mm: -4.0 }));
        assert_eq!(rod(4.0, -3.0, 20.0), Err(TrialError::Grams { grams: -3.0 }));
        assert_eq!(rod(4.0, 0.0, 20.0), Err(TrialError::Grams { grams: 0.0 }));
        assert!(matches!(rod(4.0, 300.0, 400.0), Err(TrialError::Temperature { .. })));
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(matches!(rod(bad, 300.0, 20.0), Err(TrialError::NotFinite { .. })));
            assert!(matches!(rod(4.0, bad, 20.0), Err(TrialError::NotFinite { .. })));
            assert!(matches!(rod(4.0, 300.0, bad), Err(TrialError::NotFinite { .. })));
            assert!(matches!(Test::Tube { melt_c: bad, sd_k: None }.check(), Err(TrialError::NotFinite { .. })));
            assert!(Test::Tube { melt_c: 40.0, sd_k: Some(bad) }.check().is_err());
            assert!(Test::Needle { depth_dmm: bad, at_c: 25.0 }.check().is_err());
            assert!(Test::Shelf { at_c: 40.0, hours: bad, kept: true }.check().is_err());
            let relief = |survived_mm, broke_mm| Test::Relief { survived_mm, broke_mm, release_c: 20.0 }.check();
            assert!(relief(Some(bad), None).is_err() && relief(None, Some(bad)).is_err());
        }
        for (depth_dmm, good) in [(0.0, false), (0.1, true), (250.0, true), (251.0, false)] {
            assert_eq!(Test::Needle { depth_dmm, at_c: 25.0 }.check().is_ok(), good, "{depth_dmm}");
        }
        assert!(Test::Tube { melt_c: 40.0, sd_k: Some(0.0) }.check().is_err());
        assert!(Test::Shelf { at_c: 40.0, hours: 0.0, kept: true }.check().is_err());
        let nothing = Test::Relief { survived_mm: None, broke_mm: None, release_c: 20.0 };
        assert_eq!(nothing.check(), Err(TrialError::NoRelief));
    }

    #[test]
    fn age_and_tempering_decide_the_crystals() {
        let formula = Formula { name: String::new(), parts: vec![] };
        let test = Test::Needle { depth_dmm: 20.0, at_c: 25.0 };
        let trial =
            |days, tempered, test| Trial { label: String::new(), formula: formula.clone(), days, tempered, test };
        assert_eq!(trial(0.5, false, test).state(), CrystalState::Fresh);
        assert_eq!(trial(3.0, false, test).state(), CrystalState::Rested);
        assert_eq!(trial(0.5, true, test).state(), CrystalState::Tempered);
        let relief = Test::Relief { survived_mm: Some(0.8), broke_mm: None, release_c: 18.0 };
        assert_eq!(trial(3.0, false, relief).state(), CrystalState::Fresh);
        assert_eq!(trial(3.0, false, test).check(), Err(TrialError::NoParts));
    }

    #[test]
    fn needle_and_rod_read_back_their_own_yield_stress() {
        for test in
            [Test::Needle { depth_dmm: 33.0, at_c: 25.0 }, Test::Rod { diameter_mm: 3.0, grams: 700.0, at_c: 25.0 }]
        {
            let value = if let Test::Rod { grams, .. } = test { grams } else { 33.0 };
            assert!((shown(&test, measured_kpa(&test).unwrap()) - value).abs() < 1e-9);
        }
    }
}
