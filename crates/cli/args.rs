//! Options that several subcommands share, and how values are read; the rest of each command's arguments.

use std::ffi::{OsStr, OsString};

pub use barwright_answer::reading::{MODEL_C, model_temperature, number_in, parse_relief, positive};
use barwright_answer::reading::{in_model, in_range, number};
use barwright_answer::words::units::Units;
use barwright_blend::Options;
use barwright_blend::assess::{DEFAULT_DRAWS, DEFAULT_SEED};
use barwright_records::Date;
use barwright_reference::formula::quantity::{Unit, parse_quantity};
use barwright_reference::mould::Mould;
use barwright_reference::temperature::parse_temperatures;
use barwright_reference::{CrystalState, Market, short};
use barwright_reformulate::limits::STEP_PERCENT;
use clap::ValueEnum;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

use crate::output::Form;

/// Masses taken, of a jug or an ice pack, g.
pub const MASS_G: std::ops::RangeInclusive<f64> = 1.0..=1e6;

/// Last digits of scales taken, g.
pub const DIGIT_G: std::ops::RangeInclusive<f64> = 1e-3..=100.0;

/// Shares of the melt left in the jug that are taken, %.
pub const LEFT_PERCENT: std::ops::RangeInclusive<f64> = 0.0..=50.0;

/// Most temperatures in one table.
const MAX_TEMPERATURES: usize = 40;

/// Heading of the options that say how an answer is shown, and where it goes.
pub const OUTPUT: &str = "Output";

/// Heading of the options that say how finely it is computed.
pub const PRECISION: &str = "Precision";

/// Heading of the options that every command has.
pub const EVERYWHERE: &str = "Every command";

/// The environment variable that names the maker's folder.
pub const PROFILE_VARIABLE: &str = "BARWRIGHT_PROFILE";

/// What a FORMULA can be, for the help of the subcommands.
const FORMULA_HELP: &str = "\
A FORMULA is one of:
  a text            'beeswax 26, mango butter 22, sunflower oil 52'
  a .toml file      a [parts] table with one `ingredient = amount` a line
  a .csv file       one formula a column, or columns formula, ingredient, percent
  -                 any of these from standard input
Amounts are parts by mass of any total, percent, or masses (g, oz, ...); volumes are not taken.
";

/// What a mould file says, for the help of the subcommands.
const MOULD_HELP: &str = "\
A mould FILE is a .toml file; all but shape and sizes can be left out:
  shape    = \"box\"      # with length, width, height; or \"round\" with diameter and height
  length   = \"68mm\"
  width    = \"46mm\"
  height   = \"22mm\"
  cavities = 6
  relief   = \"0.7mm\"    # the finest that must come out whole
  wall     = \"5mm\"      # of the silicone
  volume   = \"62ml\"     # of one cavity, measured with water
  most     = \"200C\"     # hottest it may be filled
";

/// Puts what a FORMULA and a mould file can be before the examples.
pub fn with_mould_help(examples: &str) -> String {
    format!("{FORMULA_HELP}\n{MOULD_HELP}\n{examples}")
}

/// Puts what a FORMULA can be before the examples.
pub fn with_formula_help(examples: &str) -> String {
    format!("{FORMULA_HELP}\n{examples}")
}

/// How the bar is made.
#[derive(Debug, clap::Args)]
pub struct Making {
    /// Crystal state of the bar in use: `fresh` if it is used within hours, `tempered` if you temper
    #[arg(long, value_enum, default_value = "rested")]
    pub state: State,
    /// Your own deliveries, when a lot differs from the usual; its lots can be used by name
    #[arg(long, value_name = "FILE")]
    pub lots: Option<OsString>,
    /// Temperature of the bar when it leaves the mould: lower it if you unmould from a fridge
    #[arg(long, value_name = "TEMP", default_value = "20", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    pub release: f64,
}

/// How the answer is computed and shown.
#[derive(Debug, clap::Args)]
pub struct Showing {
    /// Units shown: `us` for °F, oz, psi and inches; JSON is always metric
    #[arg(long, help_heading = OUTPUT, default_value = "metric", value_parser = units())]
    pub units: Units,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
    /// Show every caution in full: heat, scent, nuts, labels
    #[arg(long, help_heading = OUTPUT, conflicts_with = "json")]
    pub cautions: bool,
    /// What the intervals are from.
    #[command(flatten)]
    pub drawn: Drawn,
}

/// What intervals are from.
#[derive(Debug, clap::Args)]
pub struct Drawn {
    /// Simulated draws behind each interval, 16 to 4096: more make its ends steadier
    #[arg(long, help_heading = PRECISION, value_name = "N", default_value_t = DEFAULT_DRAWS as u64)]
    #[arg(value_parser = whole::<u64>(16..=4096))]
    draws: u64,
    /// Random seed: change it to see how much of an interval is luck of the draw
    #[arg(long, help_heading = PRECISION, value_name = "N", default_value_t = DEFAULT_SEED, value_parser = whole::<u64>(0..=u64::MAX))]
    pub seed: u64,
}

/// What is asked of formulas.
#[derive(Debug, clap::Args)]
pub struct Conditions {
    /// Temperatures in the tables: include those of your coldest store and hottest van
    #[arg(long, value_name = "TEMPS", default_value = "20,25,30,35", value_parser = table_temperatures)]
    #[arg(allow_hyphen_values = true)]
    at: Temperatures,
    /// How the bar is made.
    #[command(flatten)]
    pub making: Making,
    /// Finest relief of your mould, in mm or in: the thinnest raised line that must come out whole. Without it, 0.8 mm
    #[arg(long, value_name = "LENGTH", value_parser = parse_relief, allow_hyphen_values = true)]
    relief: Option<f64>,
    /// Temperature the bar must keep its shape at for a day: raise it for summer post
    #[arg(long, value_name = "TEMP", default_value = "40", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    hold: f64,
}

/// What is asked of formulas, and how the answer is computed and shown.
#[derive(Debug, clap::Args)]
pub struct Wishes {
    /// What is asked of formulas.
    #[command(flatten)]
    pub conditions: Conditions,
    /// How the answer is computed and shown.
    #[command(flatten)]
    pub showing: Showing,
}

/// Temperatures, °C.
#[derive(Debug, Clone, PartialEq)]
pub struct Temperatures(pub Vec<f64>);

/// When to use colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set
    Auto,
    /// In any case
    Always,
    /// In no case
    Never,
}

impl Colour {
    /// Returns what the command line says before it is read, for messages about the command line itself.
    pub fn written(arguments: &[OsString]) -> Self {
        let after = |first: &OsStr, second: Option<&OsString>| match first.to_str() {
            Some("--color") => second.and_then(|value| value.to_str()).map(str::to_owned),
            Some(word) => word.strip_prefix("--color=").map(str::to_owned),
            None => None,
        };
        arguments
            .iter()
            .enumerate()
            .find_map(|(index, word)| after(word, arguments.get(index + 1)))
            .and_then(|value| Colour::from_str(&value, false).ok())
            .unwrap_or(Colour::Auto)
    }
}

impl From<Colour> for clap::ColorChoice {
    fn from(colour: Colour) -> Self {
        match colour {
            Colour::Auto => clap::ColorChoice::Auto,
            Colour::Always => clap::ColorChoice::Always,
            Colour::Never => clap::ColorChoice::Never,
        }
    }
}

/// Reads the units shown.
pub fn units() -> impl TypedValueParser<Value = Units> {
    let known = [("metric", "°C, g, kPa, mm"), ("us", "°F, oz, psi, in")];
    PossibleValuesParser::new(known.map(|(name, help)| PossibleValue::new(name).help(help)))
        .map(|name| if name == "us" { Units::Us } else { Units::Metric })
}

/// Market of a label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LabelMarket {
    /// Names of the EU: Cera Alba, Parfum, plants in Latin alone
    Eu,
    /// Names of the US: Beeswax, Fragrance, plants with their English word; ounces first
    Us,
}

impl From<LabelMarket> for Market {
    fn from(market: LabelMarket) -> Self {
        match market {
            LabelMarket::Eu => Market::Eu,
            LabelMarket::Us => Market::Us,
        }
    }
}

/// Crystal state of the bar in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum State {
    /// Quick-chilled and just set
    Fresh,
    /// After days at room temperature
    Rested,
    /// Tempered before pouring
    Tempered,
}

impl From<State> for CrystalState {
    fn from(state: State) -> Self {
        match state {
            State::Fresh => CrystalState::Fresh,
            State::Rested => CrystalState::Rested,
            State::Tempered => CrystalState::Tempered,
        }
    }
}

impl Conditions {
    /// Returns what the model is asked to compute.
    ///
    /// # Arguments
    /// * `mould`: whose finest relief is taken where none is written.
    pub fn options(&self, drawn: &Drawn, mould: Option<&Mould>) -> Options {
        let usual = options(&self.making, drawn);
        let relief_mm = self.relief.or_else(|| mould?.relief_mm).unwrap_or(usual.relief_mm);
        Options { at_c: self.at.0.clone(), relief_mm, hold_c: self.hold, ..usual }
    }
}

impl Wishes {
    /// Returns what the model is asked to compute.
    ///
    /// # Arguments
    /// * `mould`: whose finest relief is taken where none is written.
    pub fn options(&self, mould: Option<&Mould>) -> Options {
        self.conditions.options(&self.showing.drawn, mould)
    }
}

impl Drawn {
    /// What a computation at the bench is told, where the bar is rested and leaves its mould at the usual temperature.
    pub fn options(&self) -> Options {
        let draws = usize::try_from(self.draws).unwrap_or(DEFAULT_DRAWS);
        Options { draws, seed: self.seed, ..Options::default() }
    }
}

impl Showing {
    /// How the answer of a command is written that always tells its cautions in full.
    pub fn whole_form(&self) -> Form {
        if self.json { Form::Json } else { Form::Whole }
    }

    /// How the answer is written.
    pub fn form(&self) -> Form {
        if self.json {
            Form::Json
        } else if self.cautions {
            Form::Whole
        } else {
            Form::Folded
        }
    }
}

/// What every computation is told; the rest as usual.
pub fn options(making: &Making, drawn: &Drawn) -> Options {
    Options { state: making.state.into(), release_c: making.release, ..drawn.options() }
}

/// Reads a day.
pub fn date(text: &str) -> Result<Date, String> {
    text.trim().parse().map_err(|_| format!("`{text}` is no day; write year, month and day, such as `2026-11-25`"))
}

/// Reads a mass; returns kg.
pub fn mass(text: &str) -> Result<f64, String> {
    mass_in(text, MASS_G, "`350g`, `1.2kg` or `12oz`")
}

/// Reads the last digit of a scale; returns kg.
pub fn digit(text: &str) -> Result<f64, String> {
    mass_in(text, DIGIT_G, "`1g` or `0.1g`")
}

/// Reads a mass in a range of g; returns kg.
fn mass_in(text: &str, range: std::ops::RangeInclusive<f64>, such_as: &str) -> Result<f64, String> {
    let quantity = parse_quantity(text).map_err(|error| format!("{error}; write such as {such_as}"))?;
    match quantity.unit {
        Unit::Gram if range.contains(&quantity.value) => Ok(1e-3 * quantity.value),
        Unit::Gram => Err(format!("{} g is outside {} to {} g", short(quantity.value), range.start(), range.end())),
        _ => Err(format!("`{text}` has no unit of mass; write such as {such_as}")),
    }
}

/// Reads the share left in the jug, %.
pub fn loss(text: &str) -> Result<f64, String> {
    number_in(text, LEFT_PERCENT, " %")
}

/// Reads a whole number in a range.
pub fn whole<T>(
    range: std::ops::RangeInclusive<u64>,
) -> impl Fn(&str) -> Result<T, String> + Clone + Send + Sync + 'static
where
    T: TryFrom<u64> + Send + Sync + 'static,
{
    move |text: &str| {
        let number = text.trim().parse::<u64>().ok().filter(|number| range.contains(number));
        let wrong = || format!("write a whole number from {} to {}", range.start(), range.end());
        number.and_then(|number| T::try_from(number).ok()).ok_or_else(wrong)
    }
}

/// Reads a step of amounts; 0 is any amount.
pub fn step(text: &str) -> Result<f64, String> {
    match number(text)? {
        // The negative zero too.
        0.0 => Ok(0.0),
        step => in_range(text, step, STEP_PERCENT, " %").map_err(|error| format!("{error}; 0 is any amount")),
    }
}

/// Reads a relative humidity.
pub fn humidity(text: &str) -> Result<f64, String> {
    number_in(text, 1.0..=100.0, " %")
}

/// Reads the list of `--at`; a temperature written twice counts once.
pub fn table_temperatures(text: &str) -> Result<Temperatures, String> {
    let read = parse_temperatures(text).map_err(|errors| {
        let mut sentences: Vec<String> = errors.iter().map(|error| error.message.clone()).collect();
        sentences.push("write temperatures such as `20,25,95F`".to_owned());
        sentences.join("; ")
    })?;
    let mut temperatures: Vec<f64> = Vec::new();
    for celsius in read {
        let celsius = in_model(celsius)?;
        if !temperatures.contains(&celsius) {
            temperatures.push(celsius);
        }
    }
    if temperatures.len() > MAX_TEMPERATURES {
        return Err(format!("{} temperatures are more than {MAX_TEMPERATURES}", temperatures.len()));
    }
    Ok(Temperatures(temperatures))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn temperatures_are_rounded_and_kept_once() {
        assert_eq!(table_temperatures("20; 100F,20,-0"), Ok(Temperatures(vec![20.0, 37.78, 0.0])));
        for text in ["", "20,,25", "20,warm", "-21", "121", "nan", "1e999"] {
            assert!(table_temperatures(text).is_err(), "{text}");
        }
        let many: Vec<String> = (0..41).map(|number| number.to_string()).collect();
        assert!(table_temperatures(&many.join(",")).is_err());
    }

    #[test]
    fn colour_is_known_before_the_rest_is_read() {
        let of = |words: &[&str]| Colour::written(&words.iter().map(OsString::from).collect::<Vec<_>>());
        assert_eq!(of(&["x", "--color", "never"]), Colour::Never);
        assert_eq!(of(&["x", "--color=always"]), Colour::Always);
        assert_eq!(of(&["x", "--color"]), Colour::Auto);
    }
}
