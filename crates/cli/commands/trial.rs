//! `trial`: bench tests kept, listed, learned from.

pub mod args;

use barwright_answer::Engine;
use barwright_answer::engine::{Recipe, builtin_model};
use barwright_answer::refusal::{Fault, Place};
use barwright_answer::trial::{self, BenchTest, KeptTest, Learn, LeftOut, added, expected, learn};
use barwright_answer::words::names::{self, nameless};
use barwright_records::{Date, Kept, PouredFormula, RecordsError, Store, Trial as KeptTrial};
use barwright_reference::{Formula, Library};

use args::{Add, Fit, List, Trial, TrialAction};

use crate::error::CliError;
use crate::input::{Lots, library_with, load};
use crate::kept::{figures_of, formula_of, keep_formula, keep_lots, kind_of, test_of, with_kept_lots};
use crate::output::{Form, Streams};
use crate::pick::pick;
use crate::profile::Profile;
use crate::today::today;

/// Runs the subcommand.
pub fn run(args: &Trial, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    match &args.action {
        TrialAction::Add(args) => add(args, profile, streams),
        TrialAction::List(args) => list(args, profile, streams),
        TrialAction::Fit(args) => fit(args, profile, streams),
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
fn tested(args: &Add, profile: &Profile, store: Option<&Store>, streams: &mut Streams<'_>) -> Result<Tested, CliError> {
    let lots = profile.lots(args.lots.as_deref());
    let name = args.formula.to_str();
    if let Some((store, kept)) = store.zip(name).and_then(|(store, name)| Some((store, store.formula(name).ok()?))) {
        let library = known(library_with(lots.as_deref())?, store)?;
        let formula = formula_of(&library, &kept).map_err(|unknown| unreadable(&kept, &unknown))?;
        return Ok(Tested { library, formula, nameless: false });
    }
    let loaded = load(&[&args.formula], lots.as_deref(), streams).map_err(|error| match (store, name) {
        // What has no figure in it and is no file is no formula: it was meant as a name.
        (Some(store), Some(name))
            if !name.contains(|letter: char| letter.is_ascii_digit()) && !is_file_fault(&error) =>
        {
            unknown_formula(name, store)
        }
        _ => error,
    })?;
    let index = pick(&loaded.formulas, args.named.as_deref(), "trial add")?;
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
    Ok(with_kept_lots(lots.library, &store.lots()?)?.0)
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

/// A test of the records for people and programs.
fn kept_test(kept: Kept<KeptTrial>) -> KeptTest {
    let (test, tempered, fault) = match test_of(&kept) {
        Ok((test, tempered)) => (Some(test), tempered, None),
        Err(fault) => (None, false, Some(fault)),
    };
    let Kept { id, record } = kept;
    KeptTest {
        id,
        kind: record.kind.word(),
        formula: record.formula,
        tested_on: record.tested_on.to_string(),
        days_since_pouring: record.days_since_pouring,
        tempered,
        test,
        note: record.note,
        fault,
        expected: None,
    }
}

/// `trial add`.
fn add(args: &Add, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let test = args.test().map_err(|what| CliError::command_line(Fault::new("test", what)))?;
    let (today, tested_on) = days(args.date)?;
    let Tested { library, formula, nameless } = tested(args, profile, profile.store_if_any()?.as_ref(), streams)?;
    let recipe = Recipe::of(&formula, &library);
    let asked = BenchTest { id: 0, formula: recipe, days: args.days, tempered: args.tempered, test };
    let engine = Engine { library, model: profile.model_to_write(streams)? };
    let expected = Some(expected(&engine, &asked)?);
    let mut store = profile.store_to_write(streams)?;
    keep_lots(&mut store, &engine.library, &formula, &[], streams)?;
    let name = keep_formula(&mut store, &engine.library, &formula, nameless)?;
    if !nameless && name != formula.name.trim() {
        streams
            .remarks
            .note(&format!("the records keep another formula as `{}`; this one is kept as `{name}`", formula.name))?;
    }
    let record = KeptTrial {
        formula: name,
        kind: kind_of(&test),
        figures: figures_of(&test, args.tempered)?,
        tested_on,
        days_since_pouring: args.days,
        note: args.note.clone(),
    };
    let id = store.add_trial(&record, today)?;
    let kept = KeptTest { expected, ..kept_test(Kept { id, record }) };
    streams.figures(&added(kept, args.units), Form::of(args.json))
}

/// Today, and the day written or today; one in the future is refused before anything is kept.
pub fn days(written: Option<Date>) -> Result<(Date, Date), CliError> {
    let today = today()?;
    let date = written.unwrap_or(today);
    if date > today {
        return Err(CliError::from(RecordsError::Future { what: "day written", date, today }));
    }
    Ok((today, date))
}

/// `trial list`.
fn list(args: &List, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let tests = profile.store()?.trials(args.named.as_deref())?;
    let tests = tests.into_iter().map(kept_test).collect();
    streams.figures(&trial::list(tests, args.units), Form::of(args.json))
}

/// `trial fit`.
fn fit(args: &Fit, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let store = profile.store()?;
    let kept = store.trials(None)?;
    let Some(last) = kept.last() else {
        return Err(Fault::new("no-trials", "the records hold no bench test yet")
            .hint("Keep one with `barwright trial add`; `barwright help trial` says how.")
            .into());
    };
    let library = known(library_with(profile.lots(args.lots.as_deref()).as_deref())?, &store)?;
    let mut asked = Learn { units: args.units, ..Learn::default() };
    for one in &kept {
        match read(&store, &library, one)? {
            Ok(test) => asked.tests.push(test),
            Err(fault) => asked.left_out.push(LeftOut { id: one.id, fault }),
        }
    }
    let answer = learn(&Engine { library, model: builtin_model()? }, &asked)?;
    let path = profile.keep_learned(&answer.figures.learned, last.id)?;
    streams.figures(&answer, Form::of(args.json))?;
    if !args.json {
        streams.remarks.note(&format!("what was learned is kept in {}", path.display()))?;
    }
    Ok(())
}

/// Reads a test of the records, or says why it cannot be read; only a refusal of the file is an error.
fn read(store: &Store, library: &Library, kept: &Kept<KeptTrial>) -> Result<Result<BenchTest, String>, CliError> {
    let (test, tempered) = match test_of(kept) {
        Ok(read) => read,
        Err(fault) => return Ok(Err(fault)),
    };
    let poured = store.formula(&kept.record.formula)?;
    Ok(match formula_of(library, &poured) {
        Ok(formula) => {
            let formula = Recipe::of(&formula, library);
            Ok(BenchTest { id: kept.id, formula, days: kept.record.days_since_pouring, tempered, test })
        }
        Err(unknown) => Err(format!("no ingredient is called {}", names::list(&unknown, "or"))),
    })
}
