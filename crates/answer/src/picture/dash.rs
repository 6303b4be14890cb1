//! A line cut into its dashes.

/// Cuts a line into its dashes, which go on around its corners.
///
/// # Arguments
/// * `points`: corners of the line.
/// * `pattern`: lengths on and off in turn; empty for a solid line.
pub fn cut(points: &[(f64, f64)], pattern: &[f64]) -> Vec<Vec<(f64, f64)>> {
    if pattern.is_empty() {
        return vec![points.to_vec()];
    }
    let mut dashes: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut parts = [true, false].into_iter().cycle().zip(pattern.iter().copied().cycle());
    let (mut on, mut left) = parts.next().unwrap_or((true, f64::INFINITY));
    let mut begins = true;
    for (a, b) in points.iter().zip(points.iter().skip(1)) {
        let length = (b.0 - a.0).hypot(b.1 - a.1);
        let at = |along: f64| (a.0 + along / length * (b.0 - a.0), a.1 + along / length * (b.1 - a.1));
        let mut gone = 0.0;
        while gone < length {
            let step = left.min(length - gone);
            if on {
                match dashes.last_mut() {
                    Some(dash) if !begins => dash.push(at(gone + step)),
                    _ => dashes.push(vec![at(gone), at(gone + step)]),
                }
                begins = false;
            }
            gone += step;
            left -= step;
            if left <= 0.0 {
                (on, left) = parts.next().unwrap_or((true, f64::INFINITY));
                begins = true;
            }
        }
    }
    dashes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_go_on_around_corners() {
        let corner = vec![(0.0, 0.0), (7.0, 0.0), (7.0, 3.0)];
        assert_eq!(cut(&[(0.0, 0.0), (7.0, 0.0), (7.0, 20.0)], &[10.0, 4.0]), [corner, vec![(7.0, 7.0), (7.0, 17.0)]]);
        assert_eq!(cut(&[(0.0, 0.0), (9.0, 0.0)], &[]), [[(0.0, 0.0), (9.0, 0.0)]]);
        assert!(cut(&[(1.0, 1.0), (1.0, 1.0)], &[8.0, 4.0]).is_empty());
    }
}
