//! Viscosity of one liquid against temperature: a straight line on the scales of ASTM D341.
//!
//! ```text
//! log10 log10(ν + 0.7) = A − B log10 T
//! ```
//! `ν` kinematic viscosity, mm²/s; `T` temperature, K. Two points fix the line, more are fitted by least squares of the left side.
//!
//! # Validity
//! Liquids without crystals, ν above 2 mm²/s (below, the standard adds terms that are left out here), and not far beyond the points.
//!
//! # Source
//! ASTM D341 (form recalled).

use thiserror::Error;

use crate::units::ZERO_CELSIUS_K;

/// Added to a viscosity before its logarithms are taken, mm²/s.
const OFFSET_MM2_S: f64 = 0.7;

/// The thinnest liquid a line has, mm²/s: what the scales of the standard end at.
pub const THINNEST_MM2_S: f64 = 0.3;

/// Sums of squared distances of `log10 T` up to this count as 0.
const SMALLEST_SPREAD: f64 = 1e-12;

/// Why no line can be laid.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[non_exhaustive]
pub enum LineError {
    /// Fewer than two temperatures.
    #[error("a line of viscosity against temperature needs points at two temperatures")]
    TooFewTemperatures,
    /// A point outside the range of liquids.
    #[error("no liquid has {viscosity_mm2_s} mm²/s at {temperature_c} °C")]
    OutOfRange {
        /// °C.
        temperature_c: f64,
        /// mm²/s.
        viscosity_mm2_s: f64,
    },
    /// The points get thicker as they get warmer.
    #[error("the viscosity does not fall with temperature")]
    Rises,
}

/// One liquid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViscosityLine {
    /// `A`.
    pub intercept: f64,
    /// `B`, positive.
    pub slope: f64,
}

impl ViscosityLine {
    /// Lays the line through points.
    ///
    /// # Arguments
    /// * `points`: temperature, °C, and kinematic viscosity, mm²/s.
    ///
    /// # Errors
    /// [`LineError`].
    pub fn through(points: &[(f64, f64)]) -> Result<Self, LineError> {
        let mut scaled = Vec::with_capacity(points.len());
        for &(temperature_c, viscosity_mm2_s) in points {
            let x = (temperature_c + ZERO_CELSIUS_K).log10();
            let y = (viscosity_mm2_s + OFFSET_MM2_S).log10().log10();
            if !(x.is_finite() && y.is_finite()) {
                return Err(LineError::OutOfRange { temperature_c, viscosity_mm2_s });
            }
            scaled.push((x, y));
        }
        let count = scaled.len().max(1) as f64;
        let mean_x = scaled.iter().map(|(x, _)| x).sum::<f64>() / count;
        let mean_y = scaled.iter().map(|(_, y)| y).sum::<f64>() / count;
        let spread: f64 = scaled.iter().map(|(x, _)| (x - mean_x).powi(2)).sum();
        if spread < SMALLEST_SPREAD {
            return Err(LineError::TooFewTemperatures);
        }
        let slope = -scaled.iter().map(|(x, y)| (x - mean_x) * (y - mean_y)).sum::<f64>() / spread;
        if slope <= 0.0 {
            return Err(LineError::Rises);
        }
        Ok(ViscosityLine { intercept: mean_y + slope * mean_x, slope })
    }

    /// Kinematic viscosity at a temperature, mm²/s.
    ///
    /// # Arguments
    /// * `temperature_c`: °C, above −273.15.
    ///
    /// # Returns
    /// At least [`THINNEST_MM2_S`]; infinite far in the cold.
    pub fn at_mm2_s(&self, temperature_c: f64) -> f64 {
        let scaled = self.intercept - self.slope * (temperature_c + ZERO_CELSIUS_K).log10();
        10.0_f64.powf(10.0_f64.powf(scaled)) - OFFSET_MM2_S
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn constants_are_those_of_the_worked_example() {
        // The two equations worked apart from this code, in Python: A 7.307433150, B 2.850046920. No worked example of the standard was read.
        let line = ViscosityLine::through(&[(40.0, 36.0), (100.0, 8.2)]).unwrap();
        assert!((line.intercept - 7.30743).abs() < 5e-6 && (line.slope - 2.85005).abs() < 5e-6, "{line:?}");
    }

    #[test]
    fn more_points_of_one_line_give_that_line_and_others_its_middle() {
        let line = ViscosityLine::through(&[(40.0, 36.0), (100.0, 8.2)]).unwrap();
        let points = [20.0, 45.0, 80.0, 110.0].map(|celsius| (celsius, line.at_mm2_s(celsius)));
        let again = ViscosityLine::through(&points).unwrap();
        assert!((again.intercept - line.intercept).abs() < 1e-9 && (again.slope - line.slope).abs() < 1e-9);
        let middle = ViscosityLine::through(&[(40.0, 30.0), (40.0, 34.0), (100.0, 8.0)]).unwrap();
        assert!((31.9..32.0).contains(&middle.at_mm2_s(40.0)), "{}", middle.at_mm2_s(40.0));
        assert!((middle.at_mm2_s(100.0) - 8.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_line_is_refused() {
        for (points, error) in [
            (&[][..], LineError::TooFewTemperatures),
            (&[(40.0, 30.0)], LineError::TooFewTemperatures),
            (&[(40.0, 30.0), (40.0, 31.0)], LineError::TooFewTemperatures),
            (&[(40.0, 30.0), (60.0, 31.0)], LineError::Rises),
            (&[(40.0, 30.0), (60.0, 0.2)], LineError::OutOfRange { temperature_c: 60.0, viscosity_mm2_s: 0.2 }),
            (&[(-300.0, 30.0), (60.0, 3.0)], LineError::OutOfRange { temperature_c: -300.0, viscosity_mm2_s: 30.0 }),
        ] {
            assert_eq!(ViscosityLine::through(points), Err(error), "{points:?}");
        }
        for bad in [f64::NAN, f64::INFINITY, -5.0] {
            assert!(ViscosityLine::through(&[(40.0, bad), (60.0, 3.0)]).is_err(), "{bad}");
            let hot = ViscosityLine::through(&[(bad, 30.0), (60.0, 3.0)]);
            assert_eq!(hot.is_err(), !bad.is_finite(), "{bad}");
        }
    }
}
