//! Lengths as a maker writes them: `0.8`, `0.8 mm`, `1/32 in`.

/// Shortest and longest relief taken, mm.
const RELIEF_MM: std::ops::RangeInclusive<f64> = 0.05..=50.0;

/// One inch, mm.
pub const INCH_MM: f64 = 25.4;

/// Reads the finest relief of a mould; without a unit it is in mm. Returns mm.
///
/// # Errors
/// What is wrong, in one sentence.
pub fn parse_relief(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let unit_at = text
        .find(|letter: char| !(letter.is_ascii_digit() || matches!(letter, '.' | ',' | '/' | ' ' | '+' | '-')))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(unit_at);
    let factor = match unit.trim().to_lowercase().trim_end_matches('.') {
        "" | "mm" => 1.0,
        "cm" => 10.0,
        "in" | "inch" | "inches" | "\"" | "″" => INCH_MM,
        "µm" | "um" | "μm" => 1e-3,
        _ => return Err("a length is a number with mm, cm or in, such as `0.8mm` or `1/32in`".to_owned()),
    };
    let number = number.trim().replace(',', ".");
    let value = match number.split_once('/') {
        Some((above, below)) => match (above.trim().parse::<f64>(), below.trim().parse::<f64>()) {
            (Ok(above), Ok(below)) => above / below,
            _ => f64::NAN,
        },
        None => number.parse().unwrap_or(f64::NAN),
    };
    let length_mm = value * factor;
    if length_mm.is_nan() {
        Err("a length is a number with mm, cm or in, such as `0.8mm` or `1/32in`".to_owned())
    } else if RELIEF_MM.contains(&length_mm) {
        Ok(length_mm)
    } else {
        Err(format!(
            "{} mm is outside {} to {} mm",
            crate::render::number::significant(length_mm, 3),
            RELIEF_MM.start(),
            RELIEF_MM.end()
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_in_every_unit() {
        for (text, length_mm) in [
            ("0.8", 0.8),
            ("0,8 mm", 0.8),
            ("0.08cm", 0.8),
            ("1/32in", 0.793_75),
            ("1/32", 0.031_25 * 2.0),
            ("0.03 in.", 0.762),
            ("800 µm", 0.8),
            ("1/16\"", 1.5875),
        ] {
            match parse_relief(text) {
                Ok(seen) if text != "1/32" => assert!((seen - length_mm).abs() < 1e-9, "{text}: {seen}"),
                // A bare 1/32 is 0.03 mm, which no mould has.
                seen => assert!(text == "1/32" && seen.is_err(), "{text}: {seen:?}"),
            }
        }
    }

    #[test]
    fn everything_else_is_refused() {
        for text in ["", "mm", "0", "-1", "1/0", "nan", "inf", "1e3", "60", "0.8 km", "a/b in", "1/2/3 in"] {
            assert!(parse_relief(text).is_err(), "{text}");
        }
    }
}
