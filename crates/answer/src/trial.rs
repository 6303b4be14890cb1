//! Bench tests of a maker's bars: what is expected of one, how they read, what they teach.

mod words;

use std::cmp::Reverse;

use barwright_blend::assess::{DEFAULT_DRAWS, DEFAULT_SEED};
use barwright_blend::{Assessment, BlendError, Estimate, Model, Options};
use barwright_reference::{Formula, Library};
use barwright_trials::{Expected, LearnError, Learned, Test, Told, Trial, predict};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::assess::interval_words;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{capital, count, cut, name};
use crate::words::number::{in_hundred, signed, significant};
use crate::words::units::Units;
use crate::words::visible::visible;

/// Formulas shown before and after learning: those tested most.
const MAX_SHOWN: usize = 3;

/// Share of the prior's variance below which a score is not worth a line.
const MIN_SHARE: f64 = 0.05;

/// Scores listed.
const MAX_SCORES: usize = 8;

/// Narrowing of an interval, as a ratio of the logarithms, that is worth saying.
const MIN_NARROWING: f64 = 1.05;

/// Characters of a note shown in the list.
const MAX_NOTE_LETTERS: usize = 40;

/// A bench test of a bar.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BenchTest {
    /// Its number.
    pub id: i64,
    /// The bar.
    pub formula: Recipe,
    /// Days from pouring to the test.
    pub days: u32,
    /// Whether the bar was tempered before pouring.
    pub tempered: bool,
    /// What was tested, and what came out.
    pub test: Test,
}

/// A bench test in the records.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct KeptTest {
    /// Its number.
    pub id: i64,
    /// What was tested, in a word; for one that cannot be read.
    #[serde(skip)]
    pub kind: &'static str,
    /// Name of the formula.
    pub formula: String,
    /// Day of the test.
    pub tested_on: String,
    /// Days from pouring to the test.
    pub days_since_pouring: u32,
    /// Whether the bar was tempered before pouring.
    pub tempered: bool,
    /// What was tested, and what came out; `None` where it cannot be read.
    pub test: Option<Test>,
    /// What else was written.
    pub note: Option<String>,
    /// Why it cannot be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault: Option<String>,
    /// What was expected of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected: Option<Expected>,
}

/// What do these bench tests teach?
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Learn {
    /// The tests.
    pub tests: Vec<BenchTest>,
    /// Tests that cannot be read, for the answer to name.
    pub left_out: Vec<LeftOut>,
    /// Units of the words.
    pub units: Units,
}

/// A test that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LeftOut {
    /// Its number.
    pub id: i64,
    /// Why.
    pub fault: String,
}

/// What was learned.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Taught {
    /// What is kept of it.
    #[serde(skip)]
    pub learned: Learned,
    trials: usize,
    untaught: usize,
    left_out: Vec<LeftOut>,
    flagged: Vec<Flagged>,
    scores: Vec<Told>,
    formulas: Vec<Change>,
}

/// A test that does not fit.
#[derive(Debug, Clone, Serialize, JsonSchema)]
struct Flagged {
    id: i64,
    surprise: f64,
    weight: f64,
}

/// A formula before and after learning.
#[derive(Debug, Clone, Serialize, JsonSchema)]
struct Change {
    /// By the tables alone.
    before: Assessment,
    /// With what was learned.
    after: Assessment,
}

impl BenchTest {
    /// As the model takes it.
    fn trial(&self, engine: &Engine) -> Result<Trial, Refusal> {
        Ok(Trial {
            label: self.id.to_string(),
            formula: engine.formula(&self.formula)?,
            days: f64::from(self.days),
            tempered: self.tempered,
            test: self.test,
        })
    }
}

/// What the model expects of a bench test, with what was learned before.
///
/// # Errors
/// The test makes no sense, or the formula is not one.
pub fn expected(engine: &Engine, test: &BenchTest) -> Result<Expected, Refusal> {
    let trial = test.trial(engine)?;
    trial.check().map_err(|error| Fault::new("trial", error.to_string()))?;
    predict(&engine.library, &engine.model, &trial, DEFAULT_DRAWS, DEFAULT_SEED).map_err(not_learned)
}

/// Says that a test was kept, and what was expected of it.
pub fn added(kept: KeptTest, units: Units) -> Answered<KeptTest> {
    let mut said = Vec::new();
    if let (Some(test), Some(expected)) = (&kept.test, &kept.expected) {
        let (set, came) = words::words(test, units);
        said.push(format!("{}, {}: {came}.", capital(&set), words::age(kept.days_since_pouring)));
        said.push(expected_sentence(test, expected, units));
        let teaches = if test.teaches() {
            "Predictions learn from it with `barwright trial fit`."
        } else {
            "It is kept but teaches nothing yet: the model has no parameter for grain."
        };
        said.push(teaches.to_owned());
    }
    let document = Document::new(format!("Bench test {} kept", kept.id), name(&kept.formula)).lead([Block::said(said)]);
    Answered { figures: kept, document, picture: None }
}

/// What was expected of a test, and whether it came out so.
fn expected_sentence(test: &Test, expected: &Expected, units: Units) -> String {
    let rests = match expected.trials {
        0 => "by the tables alone".to_owned(),
        trials => format!("by the tables and {} of yours", count(trials, "bench test", "bench tests")),
    };
    let verdict = match (words::measured(test), expected.probability) {
        (Some(value), _) if value < expected.value.low => " What you measured lies below.".to_owned(),
        (Some(value), _) if value > expected.value.high => " What you measured lies above.".to_owned(),
        (Some(_), _) => " What you measured lies inside.".to_owned(),
        (None, Some(probability)) => format!(" What came out had a chance of {}.", in_hundred(probability)),
        (None, None) => String::new(),
    };
    format!("Expected {rests}: {}.{verdict}", words::expected_words(test, &expected.value, units))
}

/// Lists bench tests.
pub fn list(tests: Vec<KeptTest>, units: Units) -> Answered<Vec<KeptTest>> {
    let row = |kept: &KeptTest| {
        let (set, came) = match (&kept.test, &kept.fault) {
            (Some(test), _) => {
                let (set, came) = words::words(test, units);
                (if kept.tempered { format!("{set}, tempered") } else { set }, came)
            }
            (None, fault) => {
                (kept.kind.to_owned(), format!("cannot be read: {}", visible(fault.as_deref().unwrap_or(""))))
            }
        };
        [
            kept.id.to_string(),
            kept.tested_on.clone(),
            name(&kept.formula),
            set,
            came,
            kept.days_since_pouring.to_string(),
            cut(kept.note.as_deref().unwrap_or(""), MAX_NOTE_LETTERS),
        ]
    };
    let table = Table::new("")
        .columns(Kind::Number, [""])
        .columns(Kind::Figure, ["tested on"])
        .columns(Kind::Words, ["formula", "test", "result"])
        .columns(Kind::Number, ["days"])
        .columns(Kind::Words, ["note"])
        .rows(tests.iter().map(row));
    let document = Document::new("Bench tests", format!("{} kept", tests.len())).lead([Block::Table(table)]);
    Answered { figures: tests, document, picture: None }
}

/// Answers [`Learn`].
///
/// # Arguments
/// * `engine`: with the model's own parameters: nothing learned before counts.
///
/// # Errors
/// A test makes no sense, a formula is not one, or no maker fits all tests.
pub fn learn(engine: &Engine, asked: &Learn) -> Result<Answered<Taught>, Refusal> {
    let Engine { library, model } = engine;
    let trials = asked.tests.iter().map(|test| test.trial(engine)).collect::<Result<Vec<_>, _>>()?;
    let learned = barwright_trials::learn(library, &model.parameters, &trials).map_err(not_learned)?;
    let after = learned.applied(&model.parameters).map_err(|error| Refusal::internal(error.to_string()))?;
    let flagged = learned.flagged.iter().filter_map(|flag| {
        let id = asked.tests.get(flag.trial)?.id;
        Some(Flagged { id, surprise: flag.surprise, weight: flag.weight })
    });
    let figures = Taught {
        trials: learned.trials,
        untaught: learned.untaught,
        left_out: asked.left_out.clone(),
        flagged: flagged.collect(),
        scores: learned.told(),
        formulas: changes(library, model, &after, &trials)?,
        learned,
    };
    let document = document(asked, &figures);
    Ok(Answered { figures, document, picture: None })
}

/// The formulas tested most, before and after learning.
fn changes(library: &Library, before: &Model, after: &Model, trials: &[Trial]) -> Result<Vec<Change>, BlendError> {
    let mut counted: Vec<(&Formula, usize)> = Vec::new();
    for trial in trials {
        match counted.iter_mut().find(|(formula, _)| *formula == &trial.formula) {
            Some((_, count)) => *count += 1,
            None => counted.push((&trial.formula, 1)),
        }
    }
    counted.sort_by_key(|(_, count)| Reverse(*count));
    let options = Options::default();
    let assess = |model, formula| barwright_blend::assess(library, model, formula, &options);
    let shown = counted.into_iter().take(MAX_SHOWN);
    shown.map(|(formula, _)| Ok(Change { before: assess(before, formula)?, after: assess(after, formula)? })).collect()
}

/// Says why nothing was learned or expected.
fn not_learned(error: LearnError) -> Refusal {
    match error {
        LearnError::Blend(error) => error.into(),
        LearnError::Trial { .. } => Fault::new("trial", error.to_string()).into(),
        _ => Fault::new("not-learned", error.to_string())
            .hint("The tests may contradict each other: `barwright trial list` shows them.")
            .into(),
    }
}

/// Puts into words what was learned: how the bars come out now, which tests do not fit, what the tests told.
fn document(asked: &Learn, taught: &Taught) -> Document {
    let units = asked.units;
    let mut said: Vec<String> = taught.formulas.iter().filter_map(|change| change_sentence(change, units)).collect();
    if taught.untaught > 0 {
        let kept = taught.untaught;
        said.push(format!("Grain: {kept} kept; the model has no parameter for it yet, so they teach nothing."));
    }
    said.extend(taught.flagged.iter().filter_map(|flag| flag_sentence(flag, asked)));
    said.extend(
        (asked.left_out.iter()).map(|left| format!("Test {} was left out: {}.", left.id, visible(&left.fault))),
    );
    let mut document =
        Document::new("Learned from your bench tests", count(taught.trials, "test", "tests")).lead([Block::said(said)]);
    document.sections.extend(taught.formulas.iter().map(|change| before_and_now(change, units)));
    let scores = taught.scores.iter().take(MAX_SCORES).filter(|told| told.share >= MIN_SHARE);
    let scores =
        scores.map(|told| [words::score_words(&told.name), format!("{:.0}", 100.0 * told.share), signed(told.mean, 1)]);
    let scores = Table::new("")
        .columns(Kind::Words, ["figure of the model"])
        .columns(Kind::Number, ["told, %", "moved, in its own spread"])
        .rows(scores);
    let rests_on = format!(
        "{}, and the tables where they are silent. The tables are not changed. Every prediction with this profile now uses what \
         was learned.",
        count(taught.trials, "bench test", "bench tests")
    );
    let intervals = taught.formulas.first().map(|first| interval_words(&first.after));
    document
        .section("What the tests told most about", [Block::Table(scores)])
        .section("What this rests on", [Block::said(std::iter::once(rests_on).chain(intervals))])
}

/// How much firmer a bar is with what was learned, and how much more surely that is known.
fn change_sentence(change: &Change, units: Units) -> Option<String> {
    let (before, after) = (change.before.firmness.first()?, change.after.firmness.first()?);
    let (was, is) = (&before.yield_stress_kpa, &after.yield_stress_kpa);
    let narrowing = (was.high / was.low).ln() / (is.high / is.low).ln();
    let surer = if narrowing > MIN_NARROWING {
        format!(", and known {} times as closely", significant(narrowing, 2))
    } else {
        String::new()
    };
    Some(format!(
        "{} is {} times as firm as the tables alone say at {}{surer}.",
        capital(&name(&change.after.formula.name)),
        significant(is.value / was.value, 2),
        units.given_degrees(before.temperature_c)
    ))
}

/// Names a test that does not fit.
fn flag_sentence(flag: &Flagged, asked: &Learn) -> Option<String> {
    let (set, came) = words::words(&asked.tests.iter().find(|test| test.id == flag.id)?.test, asked.units);
    Some(format!(
        "Test {} does not fit ({set}: {came}): {} standard deviations from what all else says. Its weight is {} %. Make it \
         again, or check what was written.",
        flag.id,
        significant(flag.surprise.abs(), 2),
        significant(100.0 * flag.weight, 1)
    ))
}

/// A formula by the tables alone and with what was learned.
fn before_and_now(change: &Change, units: Units) -> Section {
    let (before, after) = (&change.before, &change.after);
    let mut table = Table::new("").columns(Kind::Words, ["", "by the tables alone", "with your bench tests"]);
    for (was, is) in before.firmness.iter().zip(&after.firmness) {
        table.row([
            format!("yield stress at {}, {}", units.given_degrees(was.temperature_c), units.stress()),
            units.yield_stress(&was.yield_stress_kpa),
            units.yield_stress(&is.yield_stress_kpa),
        ]);
    }
    let mut row = |what: String, of: &dyn Fn(&Assessment) -> String| table.row([what, of(before), of(after)]);
    let degrees = |one: Option<&Estimate>| one.map_or_else(|| "none".to_owned(), |one| units.temperature(one));
    row(format!("slip point, {}", units.degree()), &|one| degrees(one.melt.slip_point_c.as_ref()));
    row(format!("keeps its shape for a day up to, {}", units.degree()), &|one| degrees(one.warmth.hold_c.as_ref()));
    row(format!("finest relief, {}", units.length_unit()), &|one| units.relief(one.detail.finest_feature_mm.as_ref()));
    Section::new(format!("{}, before and now", capital(&name(&after.formula.name))), [Block::Table(table)])
}
