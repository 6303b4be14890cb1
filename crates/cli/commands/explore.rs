//! `explore`: the best trade-offs of a space of formulas.

use std::ffi::{OsStr, OsString};
use std::fs;
use std::io::ErrorKind;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crate::save::save;
use barwright_answer::aim::Aim;
use barwright_answer::engine::Recipe;
use barwright_answer::explore::{Explore, explore, search};
use barwright_answer::space::{self, ReadSpace, WrittenSpace};
use barwright_answer::{Engine, Fault, Refusal};
use barwright_reference::text_cell::guard;
use barwright_reference::{IngredientId, Library};
use barwright_reformulate::explore::{Exploration, FirmnessAim, Progress};
use clap::ValueEnum;

use crate::args::{Making, OUTPUT, Showing, model_temperature, options, whole};
use crate::drawing::Drawing;
use crate::error::CliError;
use crate::input::{Lots, check_stdin_once, library_with, load as formulas, read_bar, read_text};
use crate::output::Streams;
use crate::profile::Profile;
use crate::progress::Bar;
use crate::stop::Stop;

/// Time between two savings of what was found.
const SAVED_EVERY: Duration = Duration::from_secs(20);

/// The bar of progress.
const BAR: &str = "{bar:30} {percent:>3} %  {msg}  {eta} left, Ctrl-C stops with what there is";

/// Arguments of `explore`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A SPACE is a .toml file of your shelf, in % of the bar; all but [ingredients] can be left out:
  [ingredients]
  beeswax         = \"5..30\"       # from 5 to 30 %; `..30` and `5..` have an open end
  'sunflower oil' = \"20..\"
  [totals]
  waxes           = \"20..35\"      # or a kind: butters, oils, esters, hydrocarbons
  nutty           = { of = ['shea butter', 'sweet almond oil'], range = \"..10\" }
  [prices]                          # of a kilogram
  beeswax         = 18.5
  [demands]                         # as for `adjust`
  hold            = \"40C\"
  detail          = \"0.8mm\"
  firmness        = \"20..45%@25C\"
  like            = \"market-bar.toml\"    # your bench tests on a bar of unknown formula, beside this file
  skin            = 60
  max_price       = 12

Examples:
  barwright explore shelf.toml
  barwright explore shelf.toml --candidates 100000 --out trade-offs.csv --plot trade-offs.svg
  barwright explore shelf.toml --candidates 1000000 --resume shelf-kept.json
  barwright explore shelf.toml --aim cheapest
  barwright explore shelf.toml --aim nearest --near winter.toml")]
pub struct Args {
    /// The space: a file with your ingredients, how much of each may be in, and what you ask
    #[arg(value_name = "SPACE")]
    pub space: OsString,
    /// Candidate bars tried across the space; beyond 100000, more seldom find anything better
    #[arg(long, value_name = "N", default_value_t = 20_000)]
    #[arg(value_parser = whole::<u64>(1..=10_000_000))]
    pub candidates: u64,
    /// Temperature at which firmness is weighed up
    #[arg(long, value_name = "TEMP", default_value = "25", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    pub firmness_at: f64,
    /// Count softer as better, for a balm or a stick; otherwise firmer is better
    #[arg(long)]
    pub softer: bool,
    /// One bar that is best in this way and meets your demands, shown before the trade-offs
    #[arg(long, value_name = "AIM", value_enum)]
    pub aim: Option<AimArg>,
    /// The formula that `--aim nearest` stays as near to as it can: a file or a text
    #[arg(long, value_name = "FORMULA", required_if_eq("aim", "nearest"))]
    pub near: Option<OsString>,
    /// Trade-offs shown, a representative selection; `--out` writes them all
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = whole::<u64>(1..=26))]
    pub show: u64,
    /// Write every trade-off to this CSV file, one a line, for a spreadsheet
    #[arg(long, help_heading = OUTPUT, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Picture: the trade-offs.
    #[command(flatten)]
    pub drawing: Drawing,
    /// Save the search in this file and resume from it next time: after Ctrl-C, or with more candidates
    #[arg(long, value_name = "FILE")]
    pub resume: Option<PathBuf>,
    /// How the bar is made.
    #[command(flatten)]
    pub making: Making,
    /// How the answer is computed and shown.
    #[command(flatten)]
    pub showing: Showing,
}

/// Way in which one bar is to be the best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum AimArg {
    /// Costs least a kilogram; needs a price of each ingredient
    Cheapest,
    /// Firmest at `--firmness-at`
    Firmest,
    /// Softest at `--firmness-at`
    Softest,
    /// Farthest from smearing and from dragging on skin
    Glide,
    /// Least mass moved from the formula behind `--near`
    Nearest,
}

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let showing = &args.showing;
    let lots = profile.lots(args.making.lots.as_deref());
    let Input { library, written, space, near } = load(args, lots.as_deref(), streams)?;
    let engine = Engine { library, model: profile.model(streams)? };
    let asked = Explore {
        space: written,
        options: options(&args.making, &showing.drawn),
        candidates: usize::try_from(args.candidates).unwrap_or(usize::MAX),
        firmness_at_c: args.firmness_at,
        firmness: if args.softer { FirmnessAim::Softer } else { FirmnessAim::Firmer },
        aim: args.aim.map(|aim| match aim {
            AimArg::Cheapest => Aim::Cheapest,
            AimArg::Firmest => Aim::Firmest,
            AimArg::Softest => Aim::Softest,
            AimArg::Glide => Aim::Glide,
            AimArg::Nearest => Aim::Nearest(near.unwrap_or_default()),
        }),
        max_shown: usize::try_from(args.show).unwrap_or(usize::MAX),
        picture: args.drawing.is_wanted(),
        units: showing.units,
    };
    let previous = args.resume.as_deref().map(kept).transpose()?.flatten();
    let found = watched(&engine, &asked, previous, args.resume.as_deref())?;
    streams.answer(&explore(&engine, &asked, &found)?, showing.form(), &args.drawing)?;
    if let Some(path) = &args.out {
        save(path, &table(&engine.library, &space, &found, args.firmness_at)?)?;
        streams.remarks.note(&format!("{} trade-offs written into {}", found.front.len(), path.display()))?;
    }
    if !found.finished {
        let on = match &args.resume {
            Some(path) => format!("the same command goes on from {}", path.display()),
            None => "with `--resume FILE` the same command could go on later".to_owned(),
        };
        streams.remarks.note(&format!("stopped early, after {} bars; {on}", found.judged))?;
    }
    Ok(())
}

/// What is read.
struct Input {
    library: Library,
    written: WrittenSpace,
    space: ReadSpace,
    /// The formula to be near to.
    near: Option<Recipe>,
}

/// Loads lots, a space and the formula to be near to, and writes the notes on how they were read.
///
/// # Errors
/// Everything that is wrong with the formula; with the lots and the space.
fn load(args: &Args, lots: Option<&Path>, streams: &mut Streams<'_>) -> Result<Input, CliError> {
    if args.near.is_some() && args.aim != Some(AimArg::Nearest) {
        let message = "`--near` says nothing without `--aim nearest`";
        return Err(CliError::command_line(Fault::new("near", message)));
    }
    let argument = args.space.as_os_str();
    let read_twice: Vec<&OsStr> = std::iter::once(argument).chain(args.near.as_deref()).collect();
    check_stdin_once(&read_twice, lots)?;
    let (library, mut faults, about, near) = match &args.near {
        Some(near) => {
            let loaded = formulas(&[near], lots, streams)?;
            if loaded.formulas.len() != 1 {
                let message = format!("there are {} formulas, and `--near` takes one", loaded.formulas.len());
                let hint = "Write the one you mean as a text in quotes, or into a file of its own.";
                return Err(Fault::new("several-formulas", message).hint(hint).into());
            }
            let near = loaded.recipe(0)?;
            (loaded.library, Vec::new(), loaded.about, Some(near))
        }
        None => {
            let Lots { library, faults, notes, about } = library_with(lots)?;
            for note in notes {
                streams.remarks.note(&note)?;
            }
            (library, faults, about, None)
        }
    };
    let lots_known = faults.is_empty();
    let path = Path::new(argument);
    let (text, origin) = match read_text(path) {
        Ok(read) => read,
        Err(fault) => {
            faults.push(*fault);
            return Err(CliError::input(faults));
        }
    };
    let stem = path.file_stem().filter(|_| argument != "-").map(|stem| stem.to_string_lossy().into_owned());
    let name = stem.unwrap_or_else(|| "space".to_owned());
    let like = match space::named_bar(&text, &library) {
        Some(bar) => match read_bar(&path.with_file_name(bar)) {
            Ok(like) => Some(like),
            Err(fault) => {
                faults.push(*fault);
                return Err(CliError::input(faults));
            }
        },
        None => None,
    };
    let written = WrittenSpace { text: text.as_ref().to_owned(), origin, name, like };
    let space = match space::read(&written, &library, args.showing.drawn.seed) {
        Ok(space) if faults.is_empty() => space,
        read => {
            let own = read.err().map_or_else(Vec::new, |refusal| refusal.faults);
            // A name may be that of a lot in the file that could not be read.
            faults.extend(own.into_iter().filter(|fault| lots_known || fault.code != "unknown-ingredient"));
            return Err(CliError::input(faults));
        }
    };
    about.write(space.filler.space().ingredients.iter().copied(), streams)?;
    if let Some(without) = &space.without_price {
        streams.remarks.note(&format!("price is not weighed: there is no price of {without}"))?;
    }
    Ok(Input { library, written, space, near })
}

/// Reads an earlier exploration; `None` when there is no such file yet.
fn kept(path: &Path) -> Result<Option<Exploration>, CliError> {
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => {
            return Err(
                Fault::new("unreadable", format!("--resume: `{}` cannot be read: {error}", path.display())).into()
            );
        }
    };
    serde_json::from_slice(&bytes).map(Some).map_err(|error| {
        Fault::new("not-kept", format!("--resume: `{}` is not a kept exploration: {error}", path.display()))
            .hint("Name a file that `--resume` has written, or one that is not there yet; this one is left as it is.")
            .into()
    })
}

/// Searches until all is done or the user stops it, with a bar on a terminal, and keeps what was found.
fn watched(
    engine: &Engine,
    asked: &Explore,
    mut state: Option<Exploration>,
    resume: Option<&Path>,
) -> Result<Exploration, CliError> {
    let stop = Stop::listen()?;
    let bar = Bar::new(BAR);
    loop {
        let started = Instant::now();
        let go_on = |progress: Progress| {
            bar.moved(progress.done, progress.total);
            bar.say(format!("{} trade-offs so far", progress.front));
            let save_now = resume.is_some() && started.elapsed() > SAVED_EVERY;
            if stop.asked() || save_now { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        let found = search(engine, asked, state.take(), &go_on).map_err(|refusal| of_kept(refusal, resume))?;
        if let Some(path) = resume {
            save(path, &serde_json::to_vec(&found)?)?;
        }
        if found.finished || stop.asked() {
            bar.clear();
            return Ok(found);
        }
        state = Some(found);
    }
}

/// Says which file holds another exploration.
fn of_kept(mut refusal: Refusal, resume: Option<&Path>) -> CliError {
    for fault in refusal.faults.iter_mut().filter(|fault| fault.code == "other-exploration") {
        let path = resume.unwrap_or(Path::new("")).display();
        fault.message = format!("--resume: `{path}`: {}", fault.message);
    }
    refusal.into()
}

/// Every trade-off as CSV.
fn table(library: &Library, space: &ReadSpace, found: &Exploration, firmness_at_c: f64) -> Result<Vec<u8>, CliError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut header = vec![
        "number".to_owned(),
        format!("yield_stress_kpa_at_{firmness_at_c}_c"),
        "hold_c".to_owned(),
        "finest_mm".to_owned(),
        "skin_ln_off".to_owned(),
        "price_per_kg".to_owned(),
    ];
    let key = |&id: &IngredientId| library.get(id).map_or_else(String::new, |one| guard(&one.key));
    header.extend(space.filler.space().ingredients.iter().map(key));
    let failed = |error: csv::Error| CliError::internal(format!("the table could not be made: {error}"));
    writer.write_record(&header).map_err(failed)?;
    for (number, one) in found.front.iter().enumerate() {
        let of = &one.properties;
        let maybe = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.3}"));
        let mut row = vec![
            (number + 1).to_string(),
            format!("{:.3}", of.firmness_kpa),
            maybe(of.hold_c),
            format!("{:.4}", of.finest_mm),
            format!("{:.4}", of.skin_ln_off),
            maybe(of.price),
        ];
        row.extend(one.percent.iter().map(|percent| format!("{percent:.3}")));
        writer.write_record(&row).map_err(failed)?;
    }
    writer.into_inner().map_err(|error| CliError::internal(format!("the table could not be made: {error}")))
}
