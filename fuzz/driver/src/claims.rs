//! What must hold of every answer, whatever it answers.

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hash, Hasher};

use barwright_reference::{Diagnostic, Formula, Ingredient, IngredientId, Library, Severity};
use serde_json::Value;

/// Rounding of a sum of shares, mass %.
pub const SUM_PERCENT: f64 = 1e-9;

/// The bytes as a reader gets them: as text.
pub fn text(data: &[u8]) -> Cow<'_, str> {
    String::from_utf8_lossy(data)
}

/// A digest of how an input went.
pub fn digest(how: impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    how.hash(&mut hasher);
    hasher.finish()
}

/// The digest of a text's findings: which codes there are.
pub fn digest_of(findings: &[Diagnostic]) -> u64 {
    digest(findings.iter().map(|one| one.code).collect::<BTreeSet<_>>())
}

/// Notes on a text that was read.
pub fn notes(text: &str, notes: &[Diagnostic]) {
    assert!(notes.iter().all(|note| note.severity == Severity::Note), "an error among the notes: {notes:?}");
    findings(text, notes);
}

/// Errors of a text that was refused.
pub fn errors(text: &str, errors: &[Diagnostic]) {
    assert!(errors.iter().any(|error| error.severity == Severity::Error), "refused without an error: {errors:?}");
    findings(text, errors);
}

/// Every place can be shown, and every message is a sentence without a full stop.
fn findings(text: &str, findings: &[Diagnostic]) {
    for finding in findings {
        assert!(text.get(finding.span.clone()).is_some(), "no such place in {} bytes: {finding:?}", text.len());
        assert!(!finding.code.is_empty(), "no code: {finding:?}");
        sentence(&finding.message);
        for hint in &finding.hints {
            assert!(hint.trim_end().ends_with('.') && !hint.contains('\n'), "a hint is no sentence: {finding:?}");
        }
    }
}

/// A message is one line, without a full stop.
pub fn sentence(message: &str) {
    assert!(!message.trim().is_empty(), "an empty message");
    assert!(!message.ends_with('.') && !message.contains('\n'), "a message is no sentence: {message:?}");
}

/// A formula that may be computed with.
pub fn formula(formula: &Formula, library: &Library) {
    assert!(!formula.parts.is_empty(), "no parts: {formula:?}");
    shares(formula.parts.iter().map(|part| part.percent));
    let places: BTreeSet<IngredientId> = formula.parts.iter().map(|part| part.ingredient).collect();
    assert_eq!(places.len(), formula.parts.len(), "an ingredient twice: {formula:?}");
    assert!(places.iter().all(|place| library.get(*place).is_some()), "no such ingredient: {formula:?}");
    assert!(formula.parts.iter().all(|part| part.percent > 0.0), "a part of nothing: {formula:?}");
}

/// What an ingredient is made of: nothing where it is a powder.
pub fn composition(ingredient: &Ingredient) {
    if ingredient.powder.is_some() {
        assert!(ingredient.composition.is_empty(), "a powder of species: {ingredient:?}");
    } else {
        shares(ingredient.composition.iter().map(|one| one.percent));
    }
}

/// Shares of one whole.
pub fn shares(percents: impl Iterator<Item = f64> + Clone) {
    let all = || percents.clone().collect::<Vec<_>>();
    assert!(percents.clone().all(|percent| percent.is_finite() && percent >= 0.0), "no shares: {:?}", all());
    let sum: f64 = percents.clone().sum();
    assert!((sum - 100.0).abs() <= SUM_PERCENT, "shares sum to {sum}: {:?}", all());
}

/// A figure in a range.
pub fn within(what: &str, value: f64, low: f64, high: f64) {
    assert!(value >= low && value <= high, "{what} is {value}, outside {low} to {high}");
}

/// Every figure of an answer as it is given to programs: estimates have all three figures, in order, and probabilities are 0 to 1.
///
/// A figure that is not finite becomes `null` in JSON, so a `null` inside an estimate is one.
pub fn figures(answer: &Value) {
    let mut way = String::new();
    walk(answer, &mut way);
}

fn walk(value: &Value, way: &mut String) {
    let end = way.len();
    match value {
        Value::Object(fields) => {
            if let (Some(value), Some(low), Some(high)) = (fields.get("value"), fields.get("low"), fields.get("high")) {
                let of = |one: &Value| one.as_f64().unwrap_or(f64::NAN);
                let (value, low, high) = (of(value), of(low), of(high));
                assert!(low <= value && value <= high, "{way}: {low} to {high} does not hold {value}");
            }
            for (key, inner) in fields {
                way.push('/');
                way.push_str(key);
                if key.starts_with("probability") {
                    probabilities(inner, way);
                }
                walk(inner, way);
                way.truncate(end);
            }
        }
        Value::Array(all) => {
            for inner in all {
                way.push_str("/[]");
                walk(inner, way);
                way.truncate(end);
            }
        }
        _ => {}
    }
}

fn probabilities(value: &Value, way: &str) {
    match value {
        Value::Array(all) => all.iter().for_each(|one| probabilities(one, way)),
        Value::Null => {}
        one => {
            let share = one.as_f64().unwrap_or(f64::NAN);
            assert!((-1e-9..=1.0 + 1e-9).contains(&share), "{way} is {share}");
        }
    }
}
