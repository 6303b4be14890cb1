//! Times at which something along a route is looked at.

use barwright_heat::Ambient;

/// Returns times evenly apart from the start of a route to its end, and those of its kinks between.
///
/// # Arguments
/// * `air`: along the route.
/// * `length_s`: of the route, s.
/// * `count`: steps of the even ones.
///
/// # Returns
/// Rising times, s; the first is 0 and the last the length itself, to the last bit.
pub fn along(air: &Ambient, length_s: f64, count: usize) -> Vec<f64> {
    let mut times_s: Vec<f64> = (0..count).map(|step| length_s * step as f64 / count as f64).collect();
    times_s.push(length_s);
    times_s.extend(air.kinks_s().iter().copied().filter(|&time| time > 0.0 && time < length_s));
    times_s.sort_by(f64::total_cmp);
    times_s.dedup();
    times_s
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 4096, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn times_rise_to_the_end_and_not_beyond(length_s in 1e-3..1e6_f64, count in 1..600_usize, kinks in prop::collection::vec(0.0..1.2_f64, 1..5)) {
            let mut kinks: Vec<f64> = kinks.iter().map(|share| share * length_s).collect();
            kinks.sort_by(f64::total_cmp);
            kinks.dedup();
            let rows: Vec<(f64, f64)> = kinks.iter().zip(0..).map(|(&time_s, row)| (time_s, f64::from(row % 2))).collect();
            let times_s = along(&Ambient::route(&rows).unwrap(), length_s, count);
            prop_assert_eq!((times_s[0], *times_s.last().unwrap()), (0.0, length_s));
            prop_assert!(times_s.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(kinks.iter().filter(|kink| **kink < length_s).all(|kink| times_s.contains(kink)));
        }
    }
}
