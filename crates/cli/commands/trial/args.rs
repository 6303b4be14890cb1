//! Arguments of `trial`.

use std::ffi::OsString;

use barwright_answer::reading::{grams, hours, kelvin, needle_depth, rod_diameter};
use barwright_answer::words::units::Units;
use barwright_records::Date;
use barwright_trials::Test;
use clap::{ArgGroup, Subcommand};

use crate::args::{OUTPUT, date, model_temperature, parse_relief, units, whole, with_formula_help};

/// `trial`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench trial add winter.toml --rod 3mm --grams 640 --at 20C --days 7
  barwright --profile bench trial fit
  barwright --profile bench assess winter.toml       # now with what your bars taught

How each test is made at the bench, with its cautions: docs/bench-tests.md.")]
pub struct Trial {
    /// What to do.
    #[command(subcommand)]
    pub action: TrialAction,
}

/// What to do with bench tests.
#[derive(Debug, Subcommand)]
pub enum TrialAction {
    /// Keep one bench test of a bar, and say what was expected of it
    Add(Box<Add>),
    /// List the bench tests kept
    List(List),
    /// Learn from all of them: every later prediction with this profile uses it
    Fit(Fit),
}

/// `trial add`.
#[derive(Debug, clap::Args)]
#[command(
    group(ArgGroup::new("test").required(true).args(["tube", "needle", "rod", "shelf", "survived", "broke", "grain", "smooth"]).multiple(true)),
    after_help = with_formula_help("\
Or the name of a formula that the records keep.

Examples:
  barwright --profile bench trial add winter.toml --tube 54.5C --days 7
  barwright --profile bench trial add winter.toml --needle 32dmm --at 25C --days 7
  barwright --profile bench trial add winter.toml --rod 3mm --grams 640 --at 20C --days 7
  barwright --profile bench trial add winter.toml --shelf 42C --hours 24 --kept --days 7
  barwright --profile bench trial add winter.toml --survived 0.8mm --broke 0.5mm --release 18C --days 0
  barwright --profile bench trial add winter.toml --smooth --days 30"))]
pub struct Add {
    /// The formula of the bar: a file, `-` for standard input, a text, or a name the records keep
    #[arg(value_name = "FORMULA")]
    pub formula: OsString,
    /// Take the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// Open tube: the temperature at which the plug slips
    #[arg(long, value_name = "TEMP", value_parser = model_temperature, allow_hyphen_values = true)]
    pub tube: Option<f64>,
    /// Spread of the tube readings, one standard deviation; without it, 1 °C
    #[arg(long, value_name = "KELVIN", value_parser = kelvin, requires = "tube")]
    pub spread: Option<f64>,
    /// Standard needle, 100 g for 5 s: its depth, in 0.1 mm (`32` or `32dmm`) or mm (`3.2mm`)
    #[arg(long, value_name = "DEPTH", value_parser = needle_depth, requires = "at", allow_hyphen_values = true)]
    pub needle: Option<f64>,
    /// Flat rod pressed into the bar on a kitchen scale: its diameter
    #[arg(long, value_name = "LENGTH", value_parser = rod_diameter, requires = "grams", requires = "at", allow_hyphen_values = true)]
    pub rod: Option<f64>,
    /// What the scale shows as the rod goes in, less the weight of the bar
    #[arg(long, value_name = "GRAMS", value_parser = grams, requires = "rod", allow_hyphen_values = true)]
    pub grams: Option<f64>,
    /// Temperature of the bar under the needle or the rod
    #[arg(long, value_name = "TEMP", value_parser = model_temperature, allow_hyphen_values = true)]
    pub at: Option<f64>,
    /// Warm shelf: its temperature
    #[arg(long, value_name = "TEMP", value_parser = model_temperature, requires = "hours", allow_hyphen_values = true)]
    pub shelf: Option<f64>,
    /// How long the bar stood there
    #[arg(long, value_name = "HOURS", value_parser = hours, requires = "shelf", allow_hyphen_values = true)]
    pub hours: Option<f64>,
    /// The bar kept its shape on the shelf
    #[arg(long, requires = "shelf", conflicts_with = "slumped")]
    pub kept: bool,
    /// The bar slumped on the shelf
    #[arg(long, requires = "shelf")]
    pub slumped: bool,
    /// Relief: the finest feature that came out whole
    #[arg(long, value_name = "LENGTH", value_parser = parse_relief, requires = "release")]
    pub survived: Option<f64>,
    /// Relief: the coarsest feature that broke
    #[arg(long, value_name = "LENGTH", value_parser = parse_relief, requires = "release")]
    pub broke: Option<f64>,
    /// Temperature of the bar as it left the mould
    #[arg(long, value_name = "TEMP", value_parser = model_temperature, allow_hyphen_values = true)]
    pub release: Option<f64>,
    /// Grain can be seen or felt
    #[arg(long, conflicts_with = "smooth")]
    pub grain: bool,
    /// No grain can be seen or felt
    #[arg(long)]
    pub smooth: bool,
    /// Days from pouring to the test
    #[arg(long, value_name = "DAYS", value_parser = whole::<u32>(0..=3650), allow_hyphen_values = true)]
    pub days: u32,
    /// The bar was tempered before pouring, as confectioners do
    #[arg(long)]
    pub tempered: bool,
    /// Day of the test, as 2026-11-25; without it, today
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub date: Option<Date>,
    /// Anything else worth keeping
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Your own deliveries, in place of `lots.toml` of the profile; its lots can be used by name
    #[arg(long, value_name = "FILE")]
    pub lots: Option<OsString>,
    /// Units shown: `us` for °F, oz, psi and inches; JSON is always metric
    #[arg(long, help_heading = OUTPUT, default_value = "metric", value_parser = units())]
    pub units: Units,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}

impl Add {
    /// Returns the test written, or what is missing from it or too much.
    pub fn test(&self) -> Result<Test, &'static str> {
        let relief = self.survived.is_some() || self.broke.is_some();
        let written = [
            self.tube.is_some(),
            self.needle.is_some(),
            self.rod.is_some(),
            self.shelf.is_some(),
            relief,
            self.grain || self.smooth,
        ];
        if written.iter().filter(|one| **one).count() != 1 {
            return Err("one test at a time: say `trial add` once for each");
        }
        if let Some(melt_c) = self.tube {
            return Ok(Test::Tube { melt_c, sd_k: self.spread });
        }
        if let (Some(depth_dmm), Some(at_c)) = (self.needle, self.at) {
            return Ok(Test::Needle { depth_dmm, at_c });
        }
        if let (Some(diameter_mm), Some(grams), Some(at_c)) = (self.rod, self.grams, self.at) {
            return Ok(Test::Rod { diameter_mm, grams, at_c });
        }
        if let (Some(at_c), Some(hours)) = (self.shelf, self.hours) {
            if self.kept == self.slumped {
                return Err("say what came out on the shelf: `--kept` or `--slumped`");
            }
            return Ok(Test::Shelf { at_c, hours, kept: self.kept });
        }
        if let (true, Some(release_c)) = (relief, self.release) {
            return Ok(Test::Relief { survived_mm: self.survived, broke_mm: self.broke, release_c });
        }
        Ok(Test::Grain { seen: self.grain })
    }
}

/// `trial list`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench trial list
  barwright --profile bench trial list --formula 'Fern hand bar, winter'")]
pub struct List {
    /// List only tests of the formula the records keep under this name
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// Units shown: `us` for °F, oz, psi and inches; JSON is always metric
    #[arg(long, help_heading = OUTPUT, default_value = "metric", value_parser = units())]
    pub units: Units,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}

/// `trial fit`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench trial fit
  barwright --profile bench trial fit --json")]
pub struct Fit {
    /// Your own deliveries, in place of `lots.toml` of the profile
    #[arg(long, value_name = "FILE")]
    pub lots: Option<OsString>,
    /// Units shown: `us` for °F, oz, psi and inches; JSON is always metric
    #[arg(long, help_heading = OUTPUT, default_value = "metric", value_parser = units())]
    pub units: Units,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}
