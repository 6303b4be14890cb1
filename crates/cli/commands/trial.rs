//! `trial`: bench tests kept, listed, learned from.

use barwright_answer::words::names;
use barwright_blend::assess::{DEFAULT_DRAWS, DEFAULT_SEED};
use barwright_blend::{Assessment, BlendError, Model, Options};
use barwright_records::{Date, Kept, PouredFormula, RecordsError, Store, Trial as KeptTrial};
use barwright_reference::{Formula, Library};
use barwright_trials::{Expected, LearnError, Learned, Test, Trial, learn, predict};
use serde::Serialize;

use crate::args::trial::{Add, Fit, List, Trial as Order, TrialAction};
use crate::error::CliError;
use crate::input::{Lots, library_with, load};
use crate::kept::{figures_of, formula_of, keep_formula, keep_lots, kind_of, test_of, with_kept_lots};
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::{Profile, refused};
use crate::render;
use crate::today::today;
use barwright_answer::engine::builtin_model;
use barwright_answer::refusal::{Fault, Place};
use barwright_answer::words::names::nameless;

/// Formulas shown before and after learning: those tested most.
const MOST_SHOWN: usize = 3;

/// Runs the subcommand.
pub fn run(order: &Order, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    match &order.action {
        TrialAction::Add(order) => add(order, profile, streams),
        TrialAction::List(order) => list(order, profile, streams),
        TrialAction::Fit(order) => fit(order, profile, streams),
    }
}

/// A formula to be tested, with the library it was read with.
struct Tested {
    library: Library,
    formula: Formula,
    /// Nobody gave it a name.
    nameless: bool,
}

/// Finds the formula that is meant: one the records keep under that name, or one that is written.
fn tested(
    order: &Add,
    profile: &Profile,
    store: Option<&Store>,
    streams: &mut Streams<'_>,
) -> Result<Tested, CliError> {
    let lots = profile.lots(order.lots.as_deref());
    let name = order.formula.to_str();
    if let Some((store, kept)) = store.zip(name).and_then(|(store, name)| Some((store, store.formula(name).ok()?))) {
        let library = known(library_with(lots.as_deref())?, store)?;
        let formula = formula_of(&library, &kept).map_err(|unknown| unreadable(&kept, &unknown))?;
        return Ok(Tested { library, formula, nameless: false });
    }
    let loaded = load(&[&order.formula], lots.as_deref(), streams).map_err(|error| match (store, name) {
        // What has no figure in it and is no file is no formula: it was meant as a name.
        (Some(store), Some(name))
            if !name.contains(|letter: char| letter.is_ascii_digit()) && !is_file_fault(&error) =>
        {
            unknown_formula(name, store)
        }
        _ => error,
    })?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "trial add")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let nameless = formula.name == nameless(1);
    Ok(Tested { formula: formula.clone(), library: loaded.library, nameless })
}

/// Whether a failure is about a file, and not about what was written on the command line.
fn is_file_fault(error: &CliError) -> bool {
    error.faults.iter().any(|fault| match &fault.place {
        Place::File { .. } => true,
        Place::Text { origin, .. } => *origin != nameless(1),
        Place::None => false,
    })
}

/// Says that the records keep no formula of a name, and which are near.
fn unknown_formula(name: &str, store: &Store) -> CliError {
    let kept: Vec<String> =
        store.formulas().map_or_else(|_| Vec::new(), |all| all.into_iter().map(|one| one.name).collect());
    let message = format!("the records keep no formula called `{}`", names::name(name));
    let fault = Fault::new("unknown-formula", message);
    let fault = match names::nearest_names(name, &kept) {
        Some(near) => fault.hint(format!("The nearest names are {near}.")),
        None => fault,
    };
    fault.hint("Or name a file, or write the formula: 'beeswax 26, sunflower oil 74'.").into()
}

/// The library with the maker's deliveries, those of the records included.
fn known(lots: Lots, store: &Store) -> Result<Library, CliError> {
    if !lots.faults.is_empty() {
        return Err(CliError::input(lots.faults));
    }
    Ok(with_kept_lots(lots.library, &store.lots().map_err(refused)?)?.0)
}

/// Says that a formula of the records cannot be read any more.
fn unreadable(kept: &PouredFormula, unknown: &[String]) -> CliError {
    Fault::new(
        "unknown-ingredient",
        format!(
            "no ingredient is called {}, of which `{}` was made",
            names::quoted(unknown, "or"),
            names::name(&kept.name)
        ),
    )
    .hint("Name the file with those deliveries behind `--lots`.")
    .into()
}

/// One test as JSON.
#[derive(Debug, Serialize)]
struct TrialJson<'a> {
    id: i64,
    formula: &'a str,
    tested_on: String,
    days_since_pouring: u32,
    tempered: bool,
    test: Option<Test>,
    note: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fault: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expected: Option<Expected>,
}

impl<'a> TrialJson<'a> {
    fn of(kept: &'a Kept<KeptTrial>) -> Self {
        let read = test_of(kept);
        TrialJson {
            id: kept.id,
            formula: &kept.record.formula,
            tested_on: kept.record.tested_on.to_string(),
            days_since_pouring: kept.record.days_since_pouring,
            tempered: read.as_ref().is_ok_and(|(_, tempered)| *tempered),
            test: read.as_ref().ok().map(|(test, _)| *test),
            note: kept.record.note.as_deref(),
            fault: read.err(),
            expected: None,
        }
    }
}

/// `trial add`.
fn add(order: &Add, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let test = order.test().map_err(|what| CliError::command_line(Fault::new("test", what)))?;
    let (today, tested_on) = days(order.date)?;
    let Tested { library, formula, nameless } = tested(order, profile, profile.store_if_any()?.as_ref(), streams)?;
    let trial = Trial { label: String::new(), formula, days: f64::from(order.days), tempered: order.tempered, test };
    trial.check().map_err(|error| Fault::new("trial", error.to_string()))?;
    let model = profile.model_to_write(streams)?;
    let expected = predict(&library, &model, &trial, DEFAULT_DRAWS, DEFAULT_SEED).map_err(not_learned)?;
    let mut store = profile.store_to_write(streams)?;
    keep_lots(&mut store, &library, &trial.formula, streams)?;
    let name = keep_formula(&mut store, &library, &trial.formula, nameless)?;
    if !nameless && name != trial.formula.name.trim() {
        streams.remarks.note(&format!(
            "the records keep another formula as `{}`; this one is kept as `{name}`",
            trial.formula.name
        ))?;
    }
    let record = KeptTrial {
        formula: name,
        kind: kind_of(&test),
        figures: figures_of(&test, order.tempered)?,
        tested_on,
        days_since_pouring: order.days,
        note: order.note.clone(),
    };
    let id = store.add_trial(&record, today).map_err(refused)?;
    let kept = Kept { id, record };
    if order.json {
        return streams.data.json(&TrialJson { expected: Some(expected), ..TrialJson::of(&kept) });
    }
    Ok(render::trial::added(&mut streams.data, &kept, &test, &expected, order.units)?)
}

/// Today, and the day written or today; one in the future is refused before anything is kept.
pub fn days(written: Option<Date>) -> Result<(Date, Date), CliError> {
    let today = today()?;
    let date = written.unwrap_or(today);
    if date > today {
        return Err(refused(RecordsError::Future { what: "day written", date, today }));
    }
    Ok((today, date))
}

/// `trial list`.
fn list(order: &List, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let trials = profile.store()?.trials(order.named.as_deref()).map_err(refused)?;
    if order.json {
        let all: Vec<TrialJson<'_>> = trials.iter().map(TrialJson::of).collect();
        return streams.data.json(&all);
    }
    let rows: Vec<_> = trials.iter().map(|kept| (kept, test_of(kept))).collect();
    Ok(render::trial::list(&mut streams.data, &rows, order.units)?)
}

/// A formula before and after learning.
#[derive(Debug, Serialize)]
pub struct Change {
    /// By the tables alone.
    pub before: Assessment,
    /// With what was learned.
    pub after: Assessment,
}

/// What was learned as JSON.
#[derive(Debug, Serialize)]
struct FitJson<'a> {
    trials: usize,
    untaught: usize,
    left_out: Vec<LeftOut>,
    flagged: Vec<FlagJson>,
    scores: Vec<barwright_trials::Told<'a>>,
    formulas: &'a [Change],
}

/// A test that does not fit, as JSON.
#[derive(Debug, Serialize)]
struct FlagJson {
    id: i64,
    surprise: f64,
    weight: f64,
}

/// A test that could not be read.
#[derive(Debug, Serialize)]
pub struct LeftOut {
    /// Its number.
    pub id: i64,
    /// Why.
    pub fault: String,
}

/// What `trial fit` shows.
pub struct Fitted<'a> {
    /// What was learned.
    pub learned: &'a Learned,
    /// The tests it was learned from, in the order of its flags.
    pub trials: &'a [&'a Kept<KeptTrial>],
    /// The tests themselves.
    pub tests: &'a [Trial],
    /// Those that could not be read.
    pub left_out: &'a [LeftOut],
    /// The formulas tested most.
    pub changes: &'a [Change],
}

/// `trial fit`.
fn fit(order: &Fit, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let store = profile.store()?;
    let kept = store.trials(None).map_err(refused)?;
    let Some(last) = kept.last() else {
        return Err(Fault::new("no-trials", "the records hold no bench test yet")
            .hint("Keep one with `barwright trial add`; `barwright help trial` says how.")
            .into());
    };
    let library = known(library_with(profile.lots(order.lots.as_deref()).as_deref())?, &store)?;
    let (mut from, mut trials, mut left_out) = (Vec::new(), Vec::new(), Vec::new());
    for one in &kept {
        match read(&store, &library, one)? {
            Ok(trial) => {
                from.push(one);
                trials.push(trial);
            }
            Err(fault) => left_out.push(LeftOut { id: one.id, fault }),
        }
    }
    let model = builtin_model()?;
    let learned = learn(&library, &model.parameters, &trials).map_err(not_learned)?;
    let taught = learned.applied(&model.parameters).map_err(|error| CliError::internal(error.to_string()))?;
    let path = profile.keep_learned(&learned, last.id)?;
    let changes = changes(&library, &model, &taught, &trials)?;
    if order.json {
        let flagged = learned.flagged.iter().filter_map(|flag| {
            let id = from.get(flag.trial)?.id;
            Some(FlagJson { id, surprise: flag.surprise, weight: flag.weight })
        });
        return streams.data.json(&FitJson {
            trials: learned.trials,
            untaught: learned.untaught,
            flagged: flagged.collect(),
            left_out,
            scores: learned.told(),
            formulas: &changes,
        });
    }
    let fitted = Fitted { learned: &learned, trials: &from, tests: &trials, left_out: &left_out, changes: &changes };
    render::trial::fitted(&mut streams.data, &fitted, order.units)?;
    streams.remarks.note(&format!("what was learned is kept in {}", path.display()))?;
    Ok(())
}

/// Reads a test of the records, or says why it cannot be read; only a refusal of the file is an error.
fn read(store: &Store, library: &Library, kept: &Kept<KeptTrial>) -> Result<Result<Trial, String>, CliError> {
    let (test, tempered) = match test_of(kept) {
        Ok(read) => read,
        Err(fault) => return Ok(Err(fault)),
    };
    let poured = store.formula(&kept.record.formula).map_err(refused)?;
    Ok(match formula_of(library, &poured) {
        Ok(formula) => Ok(Trial {
            label: kept.id.to_string(),
            formula,
            days: f64::from(kept.record.days_since_pouring),
            tempered,
            test,
        }),
        Err(unknown) => Err(format!("no ingredient is called {}", names::list(&unknown, "or"))),
    })
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
    counted.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let options = Options::default();
    let assess = |model, formula| barwright_blend::assess(library, model, formula, &options);
    let shown = counted.into_iter().take(MOST_SHOWN);
    shown.map(|(formula, _)| Ok(Change { before: assess(before, formula)?, after: assess(after, formula)? })).collect()
}

/// Says why nothing was learned or expected.
fn not_learned(error: LearnError) -> CliError {
    match error {
        LearnError::Blend(error) => error.into(),
        LearnError::Trial { .. } => Fault::new("trial", error.to_string()).into(),
        _ => Fault::new("not-learned", error.to_string())
            .hint("The tests may contradict each other: `barwright trial list` shows them.")
            .into(),
    }
}
