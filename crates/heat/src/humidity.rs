//! Moisture of air: whether a cold bar draws dew.

use crate::error::{HeatError, within};

/// Vapour pressure at 0 °C, hPa.
const PRESSURE_HPA: f64 = 6.1094;
/// Slope of the exponent.
const SLOPE: f64 = 17.625;
/// Offset of the temperature, K.
const OFFSET_K: f64 = 243.04;

/// Range of validity of the equation, °C.
const RANGE_C: (f64, f64) = (-40.0, 50.0);

/// Accepted relative humidity, %. Dry air has no dew point.
const HUMIDITY_RANGE_PERCENT: (f64, f64) = (0.1, 100.0);

/// Returns the pressure of water vapour over liquid water.
///
/// `e(t) = 6.1094 exp(17.625 t / (243.04 + t))`
///
/// # Arguments
/// * `temperature_c`: of the air, °C.
///
/// # Returns
/// hPa.
///
/// # Errors
/// [`HeatError::OutOfRange`] outside of that.
///
/// # Validity
/// −40 to 50 °C, over water, also below 0 °C; within 0.384 % there.
///
/// # Example
/// ```
/// let pressure_hpa = barwright_heat::humidity::vapour_pressure_hpa(20.0)?;
/// assert!((pressure_hpa - 23.39).abs() < 0.09); // steam tables: 23.39 hPa at 20 °C (recalled)
/// # Ok::<(), barwright_heat::HeatError>(())
/// ```
///
/// # Source
/// Magnus equation with the constants of Alduchov and Eskridge 1996, J. Appl. Meteorol. 35, 601, equation 21 and its bound (recalled).
pub fn vapour_pressure_hpa(temperature_c: f64) -> Result<f64, HeatError> {
    let t = within("the air temperature", temperature_c, "°C", RANGE_C)?;
    Ok(PRESSURE_HPA * (SLOPE * t / (OFFSET_K + t)).exp())
}

/// Returns the temperature below which a surface draws dew from air.
///
/// `t_d = 243.04 x / (17.625 − x)`, `x = ln(U/100) + 17.625 t / (243.04 + t)`
///
/// # Arguments
/// * `temperature_c`: of the air, °C.
/// * `relative_humidity_percent`: of the air, %.
///
/// # Returns
/// °C, at most the temperature of the air.
///
/// # Errors
/// [`HeatError::OutOfRange`] outside of that.
///
/// # Validity
/// Air of −40 to 50 °C and 0.1 to 100 %. In very dry air the dew point falls below −40 °C, where the equation goes beyond its range.
///
/// # Example
/// ```
/// let dew_c = barwright_heat::humidity::dew_point_c(22.0, 50.0)?;
/// assert!((dew_c - 11.1).abs() < 0.1);
/// # Ok::<(), barwright_heat::HeatError>(())
/// ```
///
/// # Source
/// As [`vapour_pressure_hpa`], solved for the temperature.
pub fn dew_point_c(temperature_c: f64, relative_humidity_percent: f64) -> Result<f64, HeatError> {
    let t = within("the air temperature", temperature_c, "°C", RANGE_C)?;
    let humidity = within("the relative humidity", relative_humidity_percent, "%", HUMIDITY_RANGE_PERCENT)?;
    let x = (humidity / 100.0).ln() + SLOPE * t / (OFFSET_K + t);
    Ok((OFFSET_K * x / (SLOPE - x)).min(t))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn the_pressure_is_that_of_steam_tables() {
        // IAPWS steam tables, hPa (recalled).
        for (t, table) in [(0.01, 6.117), (10.0, 12.28), (25.0, 31.70), (40.0, 73.85), (50.0, 123.52)] {
            let ours = vapour_pressure_hpa(t).unwrap();
            assert!((ours / table - 1.0).abs() < 3.84e-3, "{t} °C: {ours} against {table}");
        }
    }

    #[test]
    fn dew_point_undoes_the_pressure() {
        for t in [-10.0, 0.0, 4.0, 22.0, 35.0, 50.0] {
            for humidity in [15.0, 50.0, 80.0, 100.0] {
                let dew = dew_point_c(t, humidity).unwrap();
                let found = vapour_pressure_hpa(dew).unwrap() / vapour_pressure_hpa(t).unwrap();
                assert!((100.0 * found - humidity).abs() < 1e-9, "{t} {humidity}");
            }
            assert!((dew_point_c(t, 100.0).unwrap() - t).abs() < 1e-9);
        }
    }

    #[test]
    fn what_is_not_air_is_refused() {
        for (t, humidity) in
            [(f64::NAN, 50.0), (20.0, f64::NAN), (-300.0, 50.0), (20.0, 0.0), (20.0, 101.0), (20.0, -1.0)]
        {
            assert!(matches!(dew_point_c(t, humidity), Err(HeatError::OutOfRange { .. })), "{t} {humidity}");
        }
    }
}
