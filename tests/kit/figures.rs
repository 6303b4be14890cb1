//! Whether the figures of an answer are figures: finite, in order, and where a share or a percentage can be.

use ciborium::Value;
use serde::Serialize;

/// Keys that end in `percent` and are rates: percent of a property for one more percent of an ingredient.
const RATES: [&str; 2] = ["firmness_percent", "finest_feature_percent"];

/// Keys of shares and probabilities that their names do not tell.
const SHARES: [&str; 4] = ["keeps_shape", "keeps", "grain", "grain_risk"];

/// Rounding of sums of parts, %.
const ROUNDING_PERCENT: f64 = 1e-9;

/// Returns what is wrong with the figures of an answer.
///
/// | what | must be |
/// |---|---|
/// | a number | finite, and no negative zero |
/// | an object with `value`, `low` and `high` | `low` ≤ `value` ≤ `high` |
/// | a share or a probability | from 0 to 1 |
/// | a percentage | from 0 to 100 |
/// | nothing (`null`, `None`) | under one of `nulls` |
///
/// # Arguments
/// * `answer`: anything that serialises; one read from JSON, where a number that is not finite is `null`, or the answer itself, where the two differ.
/// * `nulls`: keys whose `null` says that there is none.
///
/// # Returns
/// One text a fault, with the place.
pub fn faults(answer: &impl Serialize, nulls: &[&str]) -> Vec<String> {
    let mut walk = Walk { nulls, faults: Vec::new() };
    match Value::serialized(answer) {
        Ok(value) => walk.value(&value, "", ""),
        Err(error) => walk.faults.push(error.to_string()),
    }
    walk.faults
}

/// A walk through an answer.
struct Walk<'a> {
    nulls: &'a [&'a str],
    faults: Vec<String>,
}

impl Walk<'_> {
    /// Looks at a value; `key` is the last one on the way that names what it is.
    fn value(&mut self, value: &Value, key: &str, place: &str) {
        match value {
            Value::Null if !self.nulls.contains(&key) => self.faults.push(format!("{place} is null")),
            Value::Float(number) => self.number(*number, key, place),
            Value::Integer(number) => self.number(i128::from(*number) as f64, key, place),
            Value::Array(values) => {
                for (index, one) in values.iter().enumerate() {
                    self.value(one, key, &format!("{place}[{index}]"));
                }
            }
            Value::Map(entries) => {
                self.order(value, place);
                for (name, one) in entries {
                    let name = name.as_text().unwrap_or_default();
                    let key = if ["value", "low", "high"].contains(&name) { key } else { name };
                    self.value(one, key, &format!("{place}.{name}"));
                }
            }
            _ => {}
        }
    }

    fn number(&mut self, number: f64, key: &str, place: &str) {
        let mut must = |holds: bool, be: &str| {
            if !holds {
                self.faults.push(format!("{place} is {number:?}, not {be}"));
            }
        };
        must(number.is_finite(), "finite");
        must(number != 0.0 || number.is_sign_positive(), "plain zero");
        let named = |end: &str| key == end || key.ends_with(&format!("_{end}"));
        if named("probability")
            || key.starts_with("probability_")
            || named("share")
            || named("risk")
            || SHARES.contains(&key)
        {
            must((0.0..=1.0).contains(&number), "a share from 0 to 1");
        }
        if named("percent") && !RATES.contains(&key) {
            let range = -ROUNDING_PERCENT..=100.0 + ROUNDING_PERCENT;
            must(range.contains(&number), "a percentage from 0 to 100");
        }
    }

    fn order(&mut self, map: &Value, place: &str) {
        let of = |wanted: &str| {
            let entry = map.as_map()?.iter().find(|(name, _)| name.as_text() == Some(wanted));
            entry.map(|(_, value)| value.as_float())
        };
        match (of("value"), of("low"), of("high")) {
            (Some(Some(value)), Some(Some(low)), Some(Some(high))) if low <= value && value <= high => {}
            (Some(value), Some(low), Some(high)) => {
                self.faults.push(format!("{place} is {value:?} from {low:?} to {high:?}"));
            }
            _ => {}
        }
    }
}
