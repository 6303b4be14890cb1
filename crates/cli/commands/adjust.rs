//! `adjust`: the smallest change of a formula that meets every target.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use crate::save::save;
use barwright_answer::adjust::{Adjust, ChangeAim, adjust};
use barwright_answer::engine::Recipe;
use barwright_answer::firmness::{FirmnessWish, parse_firmness};
use barwright_answer::limits::{NamedLimits, Shelved};
use barwright_answer::reading::{model_temperature, number_in, parse_relief, percent, positive};
use barwright_answer::{Engine, Fault, demand};
use barwright_reference::formula::{rewrite_toml, to_toml};
use barwright_reference::{Formula, Library};
use barwright_reformulate::Demand;
use clap::ValueEnum;

use crate::args::{Making, OUTPUT, Showing, mass, options, step, with_formula_help};
use crate::error::CliError;
use crate::input::{load, read_bar, read_file};
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;

/// Arguments of `adjust`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = with_formula_help("\
A NAME is an ingredient, or a kind: waxes, butters, oils, esters, hydrocarbons.

Examples:
  barwright adjust winter.toml --hold 45C
  barwright adjust winter.toml --hold 45C --raise waxes --lower oils --out summer.toml
  barwright adjust winter.toml --hold 45C --poured 500g
  barwright adjust winter.toml --like market-bar.toml
  barwright adjust 'beeswax 20, shea butter 30, olive oil 50' --firmness 30%@25C --add 'candelilla wax' --bound 'beeswax=..25'")
)]
pub struct Args {
    /// The formula: a file, `-` for standard input, or a text
    #[arg(value_name = "FORMULA")]
    pub formula: OsString,
    /// Adjust the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// Keep its shape for a day at this temperature: that of the hottest van or shelf
    #[arg(long, value_name = "TEMP", value_parser = model_temperature, allow_hyphen_values = true)]
    pub hold: Option<f64>,
    /// Leave the mould whole with relief this fine, in mm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_relief)]
    pub detail: Option<f64>,
    /// Be at least this firm: `30%@25C` (as oil with 30 % beeswax) or `80kPa`; `20..40%` for a range
    #[arg(long, value_name = "FIRMNESS", value_parser = parse_firmness)]
    pub firmness: Vec<FirmnessWish>,
    /// Be as firm as a bar whose formula you do not know, such as a bought one: a file of your bench tests on it
    ///
    /// Of each test a line `[[test]]`, and below it `rod = "3mm"`, `grams = 640`, `at = "20C"` or `needle = "32dmm"`, `at = "25C"`, as for `trial add`. At each
    /// temperature the bar is to be at most 1.3 times softer and at most 1.3 times firmer; the odds count the spread of your tests, too.
    #[arg(long, value_name = "FILE")]
    pub like: Option<PathBuf>,
    /// Melt at least this share on skin (33 °C), so that it still glides
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    pub skin: Option<f64>,
    /// Cost at most this per kilogram, in the currency of your lots' prices
    #[arg(long, value_name = "PRICE", value_parser = positive)]
    pub max_price: Option<f64>,
    /// Which change is best: the smallest, or the one that makes the cheapest bar
    #[arg(long, value_name = "AIM", value_enum, default_value_t = AimArg::Smallest)]
    pub aim: AimArg,
    /// How sure you want to be that the targets are met, in %; above 50 the change for an even chance is told first [default: 90; 50 for `--like`]
    #[arg(long, value_name = "PERCENT", value_parser = confidence)]
    pub confidence: Option<f64>,
    /// Leave this ingredient as it is
    #[arg(long, value_name = "NAME")]
    pub keep: Vec<String>,
    /// Raise only this; everything else may only fall
    #[arg(long, value_name = "NAME")]
    pub raise: Vec<String>,
    /// Lower only this; everything else may only rise
    #[arg(long, value_name = "NAME")]
    pub lower: Vec<String>,
    /// Hold an ingredient between two amounts, as `beeswax=15..25` in % of the bar
    #[arg(long, value_name = "NAME=LOW..HIGH")]
    pub bound: Vec<String>,
    /// An ingredient from your shelf that is not in the formula yet and may be used
    #[arg(long, value_name = "NAME")]
    pub add: Vec<String>,
    /// A list of what is on your shelf, one ingredient a line: any of them may be used
    #[arg(long, value_name = "FILE")]
    pub shelf: Option<PathBuf>,
    /// Make amounts that change multiples of this many percent of the bar, as a scale shows them; 0 for any amount
    #[arg(long, value_name = "PERCENT", default_value = "0.5", value_parser = step)]
    pub step: f64,
    /// This much is poured or molten already: say what to add to it, since nothing can be taken out
    #[arg(long, value_name = "MASS", value_parser = mass, conflicts_with_all = ["lower", "bound", "step"])]
    pub poured: Option<f64>,
    /// Write the formula changed for `--confidence` here; a formula file keeps its comments and order
    #[arg(long, help_heading = OUTPUT, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// How the bar is made.
    #[command(flatten)]
    pub making: Making,
    /// How the answer is computed and shown.
    #[command(flatten)]
    pub showing: Showing,
}

/// Which change is best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum AimArg {
    /// Moves the least mass
    Smallest,
    /// Costs least a kilogram; needs a price of each ingredient in your lots
    Cheapest,
}

impl Args {
    /// Everything asked of the bar but its price.
    fn demands(&self) -> Vec<Demand> {
        let hold = self.hold.map(|temperature_c| Demand::Hold { temperature_c });
        let detail = self.detail.map(|relief_mm| Demand::Detail { relief_mm });
        let firmness = self.firmness.iter().flat_map(|wish| wish.0.iter().copied());
        let skin = self.skin.map(|percent| Demand::Melts { percent });
        hold.into_iter().chain(detail).chain(firmness).chain(skin).collect()
    }

    /// What may be added, each with where it was written.
    fn shelf(&self) -> Result<Vec<Shelved>, Box<Fault>> {
        let added = self.add.iter().map(|name| Shelved { name: name.clone(), written_at: "--add".to_owned() });
        let mut shelf: Vec<Shelved> = added.collect();
        if let Some(path) = &self.shelf {
            let text = read_file(path, &path.display().to_string())?;
            for (number, line) in text.lines().enumerate() {
                let name = line.split('#').next().unwrap_or("").trim().trim_start_matches('\u{feff}');
                if !name.is_empty() {
                    let written_at = format!("{}:{}", path.display(), number + 1);
                    shelf.push(Shelved { name: name.to_owned(), written_at });
                }
            }
        }
        Ok(shelf)
    }

    /// The question about a formula.
    fn asked(&self, formula: Recipe) -> Result<Adjust, CliError> {
        let demands = self.demands();
        if demands.is_empty() && self.max_price.is_none() && self.like.is_none() {
            return Err(CliError::command_line(demand::none()));
        }
        Ok(Adjust {
            formula,
            options: options(&self.making, &self.showing.drawn),
            demands,
            like: self.like.as_deref().map(read_bar).transpose()?,
            confidence: self.confidence.map(|percent| percent / 100.0),
            limits: NamedLimits {
                shelf: self.shelf()?,
                keep: self.keep.clone(),
                raise: self.raise.clone(),
                lower: self.lower.clone(),
                bounds: self.bound.clone(),
                max_price: self.max_price,
            },
            aim: match self.aim {
                AimArg::Smallest => ChangeAim::Smallest,
                AimArg::Cheapest => ChangeAim::Cheapest,
            },
            step_percent: (self.step > 0.0).then_some(self.step),
            poured_kg: self.poured,
            units: self.showing.units,
        })
    }
}

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&args.formula], profile.lots(args.making.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, args.named.as_deref(), "adjust")?;
    let asked = args.asked(loaded.recipe(index)?)?;
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = adjust(&engine, &asked)?;
    streams.figures(&answer, args.showing.form())?;
    let Some(path) = &args.out else { return Ok(()) };
    if !answer.figures.feasible {
        return Err(Fault::new(
            "not-written",
            format!("`{}` is not written: nothing within the limits meets everything", path.display()),
        )
        .hint(match answer.figures.even {
            Some(_) => "`--confidence 50` writes the change for an even chance.",
            None => "Ask for less, loosen a limit, or lower `--confidence`.",
        })
        .into());
    }
    let text = loaded.texts.get(index).and_then(Option::as_deref);
    write_formula(path, text, &answer.figures.formula, &engine.library, streams)?;
    if answer.figures.even.is_some() {
        let what = format!(
            "that is the change for {} %; `--confidence 50` writes the one for an even chance",
            100.0 * answer.figures.confidence
        );
        streams.remarks.note(&what)?;
    }
    Ok(())
}

/// Writes a changed formula: into the text it came from, where that is a formula file, or as a fresh one.
pub fn write_formula(
    path: &Path,
    text: Option<&str>,
    formula: &Formula,
    library: &Library,
    streams: &mut Streams<'_>,
) -> Result<(), CliError> {
    let text = match text {
        Some(text) => rewrite_toml(text, &formula.parts, None, library),
        None => to_toml(formula, None, "", library),
    };
    let text = text.map_err(|error| CliError::internal(format!("the formula could not be written: {error}")))?;
    save(path, text.as_bytes())?;
    streams.remarks.note(&format!("written into {}", path.display()))?;
    Ok(())
}

/// Reads a confidence, in %.
fn confidence(text: &str) -> Result<f64, String> {
    number_in(text, 50.0..=99.0, " %")
}
