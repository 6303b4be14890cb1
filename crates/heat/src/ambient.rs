//! The temperature around a bar, against time.

use crate::error::{HeatError, temperature, within};

/// Rows nearer than this to the line through their neighbours are left out, K: far below the resolution of any logger.
pub const THINNING_K: f64 = 0.01;

/// Rows a route may have after thinning: each kink ends a step.
pub const MAX_ROWS: usize = 10_000;

/// Accepted times, s: up to a year.
pub const TIME_RANGE_S: (f64, f64) = (0.0, 3.2e7);

/// Air temperature against time: straight between rows, held before the first and after the last.
#[derive(Debug, Clone, PartialEq)]
pub struct Ambient {
    /// Times, s, never falling; two equal ones are a step.
    time_s: Vec<f64>,
    temperature_c: Vec<f64>,
}

/// Time in s and temperature in °C.
type Row = (f64, f64);

/// Which side of a step in the air temperature is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// What came before.
    Before,
    /// What comes after.
    After,
}

impl Ambient {
    /// Makes air of one temperature.
    ///
    /// # Arguments
    /// * `temperature_c`: °C.
    ///
    /// # Errors
    /// [`HeatError::OutOfRange`] for an invalid temperature.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::ambient::{Ambient, Side};
    /// let room = Ambient::constant(22.0)?;
    /// assert_eq!(room.temperature_c(3600.0, Side::After), 22.0);
    /// assert!(Ambient::constant(-300.0).is_err());
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn constant(temperature_c: f64) -> Result<Self, HeatError> {
        Ok(Ambient { time_s: vec![0.0], temperature_c: vec![temperature("the air temperature", temperature_c)?] })
    }

    /// Makes a route.
    ///
    /// # Arguments
    /// * `rows`: time in s and temperature in °C, in order of time. Two rows at one time make a step.
    ///
    /// # Errors
    /// * [`HeatError::TooFewRows`] when empty,
    /// * [`HeatError::TooManyRows`] when more than [`MAX_ROWS`] remain: see [`Ambient::averaged`],
    /// * [`HeatError::Unsorted`] when time runs backwards or stands still for a third row,
    /// * [`HeatError::OutOfRange`] for an invalid time or temperature.
    ///
    /// # Validity
    /// Rows within [`THINNING_K`] of the line through the rows kept are left out. Each row kept ends a step of a run, so a route of thousands of kinks
    /// takes thousands of steps.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::ambient::{Ambient, Side};
    /// let van = Ambient::route(&[(0.0, 22.0), (3600.0, 40.0), (3600.0, 30.0)])?;
    /// assert_eq!(van.temperature_c(1800.0, Side::After), 31.0);
    /// assert_eq!((van.temperature_c(3600.0, Side::Before), van.temperature_c(3600.0, Side::After)), (40.0, 30.0));
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn route(rows: &[(f64, f64)]) -> Result<Self, HeatError> {
        check(rows)?;
        let kept = thin(rows);
        if kept.len() > MAX_ROWS {
            return Err(HeatError::TooManyRows { what: "the route", rows: kept.len(), most: MAX_ROWS });
        }
        let (time_s, temperature_c) = kept.into_iter().unzip();
        Ok(Ambient { time_s, temperature_c })
    }

    /// Makes a route from a logger's many rows, by means over windows.
    ///
    /// Each window's mean, of the straight lines between the rows, stands at the window's middle; the route is straight between them. The
    /// first and the last row stay as they are.
    ///
    /// # Arguments
    /// * `rows`: as [`Ambient::route`]; any number.
    /// * `window_s`: length of a window, s.
    ///
    /// # Errors
    /// As [`Ambient::route`].
    ///
    /// # Validity
    /// Changes quicker than the window are lost. The air around a bar reaches its middle in some minutes at the soonest: a minute loses nothing.
    ///
    /// # Example
    /// ```
    /// use barwright_heat::ambient::{Ambient, Side};
    /// let rows: Vec<(f64, f64)> = (0..100_000).map(|n| (f64::from(n), if n % 2 == 0 { 29.0 } else { 31.0 })).collect();
    /// let van = Ambient::averaged(&rows, 60.0)?;
    /// assert!((van.temperature_c(50_000.0, Side::After) - 30.0).abs() < 0.01);
    /// # Ok::<(), barwright_heat::HeatError>(())
    /// ```
    pub fn averaged(rows: &[(f64, f64)], window_s: f64) -> Result<Self, HeatError> {
        within("the window", window_s, "s", (1e-3, TIME_RANGE_S.1))?;
        let (first, last) = check(rows)?;
        let windows = ((last.0 - first.0) / window_s).ceil();
        if windows > MAX_ROWS as f64 {
            return Err(HeatError::TooManyRows { what: "the averaged route", rows: windows as usize, most: MAX_ROWS });
        }
        let windows = windows as usize;
        let start_s = |window: usize| first.0 + window as f64 * window_s;
        let end_s = |window: usize| if window + 1 < windows { start_s(window + 1).min(last.0) } else { last.0 };
        // Integral of the temperature in each window, K s.
        let mut sums = vec![0.0; windows];
        let mut window = 0;
        for pair in rows.windows(2) {
            let &[(from_s, from_c), (to_s, to_c)] = pair else { continue };
            let slope = if to_s > from_s { (to_c - from_c) / (to_s - from_s) } else { 0.0 };
            let mut at = from_s;
            while at < to_s {
                // Counted up, not divided out: by rounding, the end of a window can be a time within it.
                while end_s(window) <= at && window + 1 < windows {
                    window += 1;
                }
                let end = end_s(window).min(to_s);
                if let Some(sum) = sums.get_mut(window) {
                    *sum += (end - at) * (from_c + slope * (0.5 * (at + end) - from_s));
                }
                at = end;
            }
        }
        let mut means = vec![first];
        for (window, sum) in sums.iter().enumerate() {
            let (from, to) = (start_s(window), end_s(window));
            if to > from {
                means.push((0.5 * (from + to), sum / (to - from)));
            }
        }
        means.push(last);
        Ambient::route(&means)
    }

    /// Returns the temperature at a time.
    ///
    /// # Arguments
    /// * `time_s`: s.
    /// * `side`: which of two, at a step.
    ///
    /// # Returns
    /// °C.
    pub fn temperature_c(&self, time_s: f64, side: Side) -> f64 {
        // First row that is later than the time; at a step, of the two rows at the time the one meant.
        let next = match side {
            Side::After => self.time_s.partition_point(|&t| t <= time_s),
            Side::Before => self.time_s.partition_point(|&t| t < time_s),
        };
        let row = |k: usize| Some((*self.time_s.get(k)?, *self.temperature_c.get(k)?));
        match (next.checked_sub(1).and_then(row), row(next)) {
            (Some((from_s, from_c)), Some((to_s, to_c))) if to_s > from_s => {
                from_c + (to_c - from_c) * ((time_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0)
            }
            (_, Some((_, to_c))) => to_c,
            (Some((_, from_c)), None) => from_c,
            (None, None) => f64::NAN,
        }
    }

    /// Times at which the slope or the temperature itself changes, in order.
    pub fn kinks_s(&self) -> &[f64] {
        &self.time_s
    }

    /// Whether the temperature steps at a time.
    pub(crate) fn steps_at(&self, time_s: f64) -> bool {
        self.temperature_c(time_s, Side::Before) != self.temperature_c(time_s, Side::After)
    }

    /// Lowest and highest temperature of the route, °C.
    pub fn extremes_c(&self) -> (f64, f64) {
        self.temperature_c.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &t| (low.min(t), high.max(t)))
    }
}

/// First and last row, once every row is in order and in range.
fn check(rows: &[Row]) -> Result<(Row, Row), HeatError> {
    let (Some(&first), Some(&last)) = (rows.first(), rows.last()) else {
        return Err(HeatError::TooFewRows { what: "the route", rows: 0, least: 1 });
    };
    for (k, &(time_s, temperature_c)) in rows.iter().enumerate() {
        within("a time of the route", time_s, "s", TIME_RANGE_S)?;
        temperature("a temperature of the route", temperature_c)?;
        let before = |back: usize| k.checked_sub(back).and_then(|k| rows.get(k)).map(|row| row.0);
        if let Some(one) = before(1)
            && (time_s < one || (time_s == one && before(2) == Some(time_s)))
        {
            return Err(HeatError::Unsorted { what: "time of the route", row: k + 1, value: time_s, before: one });
        }
    }
    Ok((first, last))
}

/// Keeps the rows without which a straight line between those kept would miss a row by more than [`THINNING_K`].
///
/// From the last row kept, the slopes that pass every row since are a cone, narrowed row by row; when a row lies outside of it, the row before is kept
/// and a new cone starts there. Both rows of a step are kept.
fn thin(rows: &[Row]) -> Vec<Row> {
    let mut kept: Vec<Row> = Vec::new();
    let Some((&first, rest)) = rows.split_first() else { return kept };
    kept.push(first);
    let everything = (f64::NEG_INFINITY, f64::INFINITY);
    let (mut from, mut before, mut cone) = (first, first, everything);
    for &row in rest {
        let slope = |from: Row, margin: f64| (row.1 + margin - from.1) / (row.0 - from.0);
        let step = row.0 == before.0;
        if before != from && (step || !(cone.0..=cone.1).contains(&slope(from, 0.0))) {
            kept.push(before);
            (from, cone) = (before, everything);
        }
        if step {
            kept.push(row);
            (from, cone) = (row, everything);
        } else {
            cone = (cone.0.max(slope(from, -THINNING_K)), cone.1.min(slope(from, THINNING_K)));
        }
        before = row;
    }
    if before != from {
        kept.push(before);
    }
    kept
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use proptest::prelude::*;

    #[test]
    fn thinning_keeps_the_shape() {
        let mut rows: Vec<(f64, f64)> = (0..5000).map(|n| (f64::from(n), 20.0 + 0.002 * f64::from(n))).collect();
        rows.extend((5000..9000).map(|n| (f64::from(n), 30.0 + 5.0 * (f64::from(n - 5000) / 700.0).sin())));
        rows.push((9000.0, 10.0));
        rows.push((9000.0, 40.0));
        rows.push((9600.0, 41.0));
        let route = Ambient::route(&rows).unwrap();
        assert!(route.time_s.len() < 200, "{}", route.time_s.len());
        for &(t, c) in &rows[..9000] {
            assert!((route.temperature_c(t, Side::After) - c).abs() <= 1.001 * THINNING_K, "{t}");
        }
        assert_eq!(route.temperature_c(9000.0, Side::Before), 10.0);
        assert_eq!(route.temperature_c(9000.0, Side::After), 40.0);
        assert_eq!(route.temperature_c(1e6, Side::After), 41.0);
        assert!(route.steps_at(9000.0) && !route.steps_at(8999.0));
    }

    #[test]
    fn a_single_row_and_a_plain_step() {
        assert_eq!(Ambient::route(&[(50.0, 31.0)]).unwrap().temperature_c(0.0, Side::After), 31.0);
        let step = Ambient::route(&[(0.0, 20.0), (10.0, 20.0), (10.0, 50.0), (20.0, 50.0)]).unwrap();
        assert_eq!(step.temperature_c(9.0, Side::After), 20.0);
        assert_eq!(step.temperature_c(10.0, Side::Before), 20.0);
        assert_eq!(step.temperature_c(10.0, Side::After), 50.0);
        // A step at the very start.
        let start = Ambient::route(&[(0.0, 20.0), (0.0, 50.0), (20.0, 50.0)]).unwrap();
        assert_eq!(start.temperature_c(0.0, Side::After), 50.0);
    }

    #[test]
    fn what_is_no_route_is_refused() {
        assert_eq!(Ambient::route(&[]), Err(HeatError::TooFewRows { what: "the route", rows: 0, least: 1 }));
        assert!(matches!(
            Ambient::route(&[(0.0, 20.0), (60.0, 21.0), (30.0, 22.0)]),
            Err(HeatError::Unsorted { row: 3, value: 30.0, before: 60.0, .. })
        ));
        assert!(matches!(
            Ambient::route(&[(0.0, 20.0), (60.0, 21.0), (60.0, 22.0), (60.0, 23.0)]),
            Err(HeatError::Unsorted { row: 4, .. })
        ));
        for bad in [f64::NAN, f64::INFINITY, -300.0, 5000.0] {
            assert!(matches!(Ambient::route(&[(0.0, 20.0), (60.0, bad)]), Err(HeatError::OutOfRange { .. })));
        }
        for bad in [f64::NAN, f64::INFINITY, -1.0, 1e9] {
            assert!(matches!(Ambient::route(&[(bad, 20.0)]), Err(HeatError::OutOfRange { .. })));
        }
    }

    proptest! {
        #[test]
        fn thinned_routes_pass_every_row(steps in prop::collection::vec((prop_oneof![Just(0.0), 1.0..50.0_f64], -0.03..0.03_f64), 0..60)) {
            let mut rows = vec![(0.0, 20.0)];
            for (wait_s, rise_k) in steps {
                let &(time_s, air_c) = rows.last().unwrap();
                let wait_s = if rows.len() > 1 && rows[rows.len() - 2].0 == time_s { wait_s + 1.0 } else { wait_s };
                rows.push((time_s + wait_s, air_c + rise_k));
            }
            let route = Ambient::route(&rows).unwrap();
            prop_assert!(route.time_s.len() <= rows.len());
            for (k, &(time_s, air_c)) in rows.iter().enumerate() {
                let side = if rows.get(k + 1).is_some_and(|next| next.0 == time_s) { Side::Before } else { Side::After };
                let found = route.temperature_c(time_s, side);
                prop_assert!((found - air_c).abs() <= 1.001 * THINNING_K, "row {k}: {found} {air_c}");
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

        /// Means of a temperature that lies between two lie between the two, whatever the windows.
        #[test]
        fn averaged_routes_stay_within_their_rows(
            steps in prop::collection::vec((prop_oneof![0.01..3.0_f64, 100.0..5000.0_f64], 30.0..31.0_f64), 2..20),
            windows in 1.0..300.0_f64,
        ) {
            let mut rows = vec![(0.0, 30.0)];
            for (wait_s, air_c) in steps {
                rows.push((rows.last().unwrap().0 + wait_s, air_c));
            }
            let length_s = rows.last().unwrap().0;
            // A window is no shorter than a millisecond.
            let averaged = Ambient::averaged(&rows, (length_s / windows).max(1e-3)).unwrap();
            let (low_c, high_c) = averaged.extremes_c();
            prop_assert!(low_c >= 30.0 - 1e-6 && high_c <= 31.0 + 1e-6, "{low_c} to {high_c}");
            prop_assert_eq!(averaged.kinks_s().last().copied(), Some(length_s));
        }
    }

    #[test]
    fn a_million_rows_need_windows() {
        let rows: Vec<(f64, f64)> = (0..1_000_000).map(|n| (f64::from(n), f64::from(n % 7))).collect();
        assert!(matches!(Ambient::route(&rows), Err(HeatError::TooManyRows { .. })));
        let averaged = Ambient::averaged(&rows, 140.0).unwrap();
        let (low, high) = averaged.extremes_c();
        assert!(low >= 0.0 && high <= 6.0);
        // Straight lines between 0, 1, … 6, 0: mean of a period is 3.
        assert!((averaged.temperature_c(500_005.0, Side::After) - 3.0).abs() < 0.05);
    }
}
