//! A bar of unknown formula, such as a bought one, as TOML text: the bench tests made on it.
//!
//! ```toml
//! name = "..."              note = "..."
//! [[test]]                  one for each test, by one tool
//! rod = "3mm"               grams = 640          at = "20C"
//! needle = "32dmm"          at = "20C"
//! tube = "54.5C"            spread = "1K"
//! ```
//! Figures are kept as written: what they mean is for bench tests to say.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use crate::Diagnostic;
use crate::findings::Findings;
use crate::formula::BYTE_ORDER_MARK;
use crate::toml_text::{Entry, entries, filled_text, number_text, read, unknown_key, wrong_kind};
use crate::wording::{list, quote};

/// The keys a bar can have.
const KEYS: &[&str] = &["name", "note", "test"];

/// The keys a test can have.
const TEST_KEYS: &[&str] = &["rod", "needle", "tube", "grams", "at", "spread"];

/// A tool, and what is written with it.
struct Tool {
    key: &'static str,
    needed: &'static [&'static str],
    other: &'static [&'static str],
    /// What to write where something is missing.
    hint: &'static str,
}

/// The tools that a bar is tested with.
const TOOLS: [Tool; 3] = [
    Tool {
        key: "rod",
        needed: &["grams", "at"],
        other: &[],
        hint: "Write what the scale shows as `grams = 640`, and the temperature of the bar as `at = \"20C\"`.",
    },
    Tool { key: "needle", needed: &["at"], other: &[], hint: "Write the temperature of the bar as `at = \"20C\"`." },
    Tool { key: "tube", needed: &[], other: &["spread"], hint: "" },
];

/// Most tests taken of one bar.
const MAX_TESTS: usize = 100;

/// How a test is written.
const HOW: &str = "Write below a line `[[test]]` such as `rod = \"3mm\"`, `grams = 640` and `at = \"20C\"`.";

/// What to do with a formula.
const NO_FORMULA: &str = "A bar whose formula is known is named as a formula, not by its tests.";

/// A figure as written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Number with or without its unit.
    pub text: String,
    /// Where it stands.
    pub span: Range<usize>,
}

/// A bench test as written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TestText {
    /// A flat rod on a kitchen scale.
    Rod {
        /// Diameter of its end.
        diameter: Written,
        /// What the scale shows.
        grams: Written,
        /// Temperature of the bar.
        at: Written,
    },
    /// The standard needle.
    Needle {
        /// Its depth.
        depth: Written,
        /// Temperature of the bar.
        at: Written,
    },
    /// The open tube.
    Tube {
        /// Temperature at which the plug slips.
        melt: Written,
        /// Spread of the readings.
        spread: Option<Written>,
    },
}

impl TestText {
    /// Where its reading stands.
    pub fn span(&self) -> Range<usize> {
        match self {
            TestText::Rod { grams, .. } => grams.span.clone(),
            TestText::Needle { depth, .. } => depth.span.clone(),
            TestText::Tube { melt, .. } => melt.span.clone(),
        }
    }
}

/// A bar known by its tests, as written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct BoughtText {
    /// Its name.
    pub name: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// Its tests, in the order written.
    pub tests: Vec<TestText>,
}

impl BoughtText {
    /// Reads a bar from TOML text.
    ///
    /// # Returns
    /// What could be read, and every error of the text: the figures of sound tests may have errors of their own. A bar without an error has a test of
    /// its firmness.
    ///
    /// ```
    /// use barwright_reference::bought::BoughtText;
    /// let (bar, errors) = BoughtText::read("name = 'market bar'\n[[test]]\nrod = '3mm'\ngrams = 640\nat = '20C'\n");
    /// assert_eq!((bar.name.as_deref(), bar.tests.len(), errors.len()), (Some("market bar"), 1, 0));
    /// ```
    pub fn read(text: &str) -> (BoughtText, Vec<Diagnostic>) {
        let body = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
        let offset = text.len() - body.len();
        let mut findings = Findings::default();
        let mut bar = BoughtText::default();
        let mut written = 0;
        for entry in read(body, offset, &mut findings) {
            match (entry.key.as_str(), entry.value) {
                ("test", DeValue::Array(tests)) => {
                    written = tests.len();
                    if written > MAX_TESTS {
                        let message = format!("there are {written} tests, at most {MAX_TESTS} are taken");
                        findings.push(Diagnostic::error("too-many-tests", message, entry.key_span));
                        continue;
                    }
                    for test in tests {
                        let span = offset + test.span().start..offset + test.span().end;
                        match test.into_inner() {
                            DeValue::Table(table) => bar.tests.extend(read_test(table, span, offset, &mut findings)),
                            _ => {
                                findings.push(Diagnostic::error("wrong-kind", "a test is not a table", span).hint(HOW))
                            }
                        }
                    }
                }
                (key, value) => {
                    let key = key.to_owned();
                    let entry = Entry { value, ..entry };
                    match key.as_str() {
                        "name" => bar.name = filled_text(&entry, &mut findings),
                        "note" => bar.note = filled_text(&entry, &mut findings),
                        "test" => findings.push(wrong_kind(&entry, "a list of tests").hint(HOW)),
                        "parts" => findings.push(unknown_key(&entry, KEYS).hint(NO_FORMULA)),
                        _ => findings.push(unknown_key(&entry, KEYS)),
                    }
                }
            }
        }
        let firm = bar.tests.iter().any(|test| !matches!(test, TestText::Tube { .. }));
        if !firm && !findings.has_errors() {
            let message =
                if written == 0 { "the bar has no tests" } else { "none of the tests says how firm the bar is" };
            findings.push(Diagnostic::error("no-firmness", message, 0..text.len()).hint(HOW));
        }
        let errors = findings.finish(()).err().map_or_else(Vec::new, |errors| errors.into_iter().collect());
        (bar, errors)
    }
}

/// Reads one test.
///
/// # Arguments
/// * `span`: where it begins.
fn read_test(table: DeTable<'_>, span: Range<usize>, offset: usize, findings: &mut Findings) -> Option<TestText> {
    let mut figures: Vec<(String, Written)> = Vec::new();
    let mut sound = true;
    for entry in entries(table, offset) {
        let text = match &entry.value {
            DeValue::String(text) => Some(text.to_string()),
            value => number_text(value).map(str::to_owned),
        };
        match text {
            _ if !TEST_KEYS.contains(&entry.key.as_str()) => findings.push(unknown_key(&entry, TEST_KEYS)),
            None => findings.push(wrong_kind(&entry, "a number").hint(HOW)),
            Some(text) => {
                figures.push((entry.key, Written { text, span: entry.value_span }));
                continue;
            }
        }
        sound = false;
    }
    let figure = |key: &str| figures.iter().find(|(known, _)| known == key).map(|(_, written)| written.clone());
    let named: Vec<&Tool> = TOOLS.iter().filter(|tool| figure(tool.key).is_some()).collect();
    let &[tool] = &named[..] else {
        if sound || named.len() > 1 {
            let message = if named.is_empty() { "a test names no tool" } else { "a test names two tools" };
            let hint = "Write one of `rod`, `needle` and `tube` below each line `[[test]]`.";
            findings.push(Diagnostic::error("one-tool", message, span).hint(hint));
        }
        return None;
    };
    let belongs = |key: &str| key == tool.key || tool.needed.contains(&key) || tool.other.contains(&key);
    for (key, stray) in figures.iter().filter(|(key, _)| !belongs(key)) {
        let message = format!("{} says nothing of a {}", quote(key), tool.key);
        findings.push(Diagnostic::error("stray-key", message, stray.span.clone()).hint("Leave it out."));
        sound = false;
    }
    let missing: Vec<&str> = tool.needed.iter().copied().filter(|key| figure(key).is_none()).collect();
    if sound && !missing.is_empty() {
        let message = format!("the test with the {} has no {}", tool.key, list(missing, "and no"));
        let place = figure(tool.key).map_or(span, |written| written.span);
        findings.push(Diagnostic::error("test-incomplete", message, place).hint(tool.hint));
    }
    if !sound {
        return None;
    }
    match tool.key {
        "rod" => Some(TestText::Rod { diameter: figure("rod")?, grams: figure("grams")?, at: figure("at")? }),
        "needle" => Some(TestText::Needle { depth: figure("needle")?, at: figure("at")? }),
        _ => Some(TestText::Tube { melt: figure("tube")?, spread: figure("spread") }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_a_bar_can_say_is_read() {
        let text = "\u{feff}name = 'market bar'\nnote = 'invented'\n[[test]]\nrod = '3mm'\ngrams = 640\nat = 20.5\n\
            [[test]]\nneedle = '32dmm'\nat = '68F'\n[[test]]\ntube = '54.5C'\nspread = 0.8\n";
        let (bar, errors) = BoughtText::read(text);
        assert_eq!(errors, []);
        assert_eq!((bar.name.as_deref(), bar.note.as_deref()), (Some("market bar"), Some("invented")));
        let [TestText::Rod { diameter, grams, at }, TestText::Needle { depth, .. }, TestText::Tube { spread, .. }] =
            &bar.tests[..]
        else {
            unreachable!("{bar:?}")
        };
        assert_eq!([&diameter.text, &grams.text, &at.text, &depth.text], ["3mm", "640", "20.5", "32dmm"]);
        assert_eq!(spread.as_ref().map(|one| &text[one.span.clone()]), Some("0.8"));
        assert_eq!(&text[bar.tests[1].span()], "'32dmm'");
    }

    #[test]
    fn every_refusal_has_its_code_and_place() {
        let rod = "[[test]]\nrod = '3mm'\ngrams = 640\nat = '20C'\n";
        for (text, code, place) in [
            ("# x\n", "no-firmness", "# x\n"),
            ("[[test]]\ntube = '54C'\n", "no-firmness", "[[test]]\ntube = '54C'\n"),
            ("test = 3", "wrong-kind", "3"),
            ("test = [3]", "wrong-kind", "3"),
            ("tset = 3", "unknown-key", "tset"),
            ("[parts]\nbeeswax = 3", "unknown-key", "parts"),
            ("name = ''", "empty-text", "''"),
            ("[[test]]\nrod = [3]\ngrams = 640\nat = '20C'", "wrong-kind", "[3]"),
            ("[[test]]\nrod = '3mm'\ngram = 640\nat = '20C'", "unknown-key", "gram"),
            ("[[test]]\nat = '20C'", "one-tool", "[[test]]"),
            ("[[test]]\nrod = 3\nneedle = 30\nat = '20C'", "one-tool", "[[test]]"),
            ("[[test]]\nrod = '3mm'\nat = '20C'", "test-incomplete", "'3mm'"),
            ("[[test]]\nneedle = 30", "test-incomplete", "30"),
            ("[[test]]\nneedle = 30\nat = 20\ngrams = 4", "stray-key", "4"),
        ] {
            let text = if text.starts_with("name") { format!("{text}\n{rod}") } else { text.to_owned() };
            let (_, errors) = BoughtText::read(&text);
            let seen: Vec<_> = errors.iter().map(|error| (error.code, &text[error.span.clone()])).collect();
            assert_eq!(seen, [(code, place)], "{text:?}: {errors:?}");
        }
        let many = rod.repeat(MAX_TESTS + 1);
        assert_eq!(BoughtText::read(&many).1[0].code, "too-many-tests");
    }

    #[test]
    fn every_error_is_reported_at_once() {
        let text =
            "nmae = 'x'\n[[test]]\nrod = '3mm'\n[[test]]\ngrams = 5\n[[test]]\nrod = '3mm'\ngrams = 5\nat = true\n";
        let (_, errors) = BoughtText::read(text);
        let codes: Vec<_> = errors.iter().map(|error| error.code).collect();
        assert_eq!(codes, ["unknown-key", "test-incomplete", "one-tool", "wrong-kind"]);
    }
}
