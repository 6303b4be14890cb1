//! `pour`: what to melt first, how hot, when to pour.

use std::ffi::{OsStr, OsString};
use std::path::PathBuf;

use barwright_answer::places::Room;
use barwright_answer::pour::{Pour, pour};
use barwright_answer::{Engine, Fault};
use barwright_reference::short;
use barwright_reference::temperature::parse_temperature;

use crate::args::{Showing, mass, model_temperature, number_in, with_formula_help};
use crate::error::CliError;
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::progress;

/// Arguments of `pour`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = with_formula_help("\
Examples:
  barwright pour winter.toml --mass 350g
  barwright pour winter.toml --mould fern-tray.toml --flash 65C --microwave 800
  barwright pour winter.toml --with 'beeswax 30, castor oil 70'    # two colours in one stream")
)]
pub struct Args {
    /// The formula: a file, `-` for standard input, or a text
    #[arg(value_name = "FORMULA")]
    pub formula: OsString,
    /// Take the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// A second melt to swirl with the first: finds the temperature at which both are equally thick
    #[arg(long, value_name = "FORMULA")]
    pub with: Option<OsString>,
    /// Mass in the jug, in g, kg, oz or lb; without it, what the mould holds, or 500 g
    #[arg(long, value_name = "MASS", value_parser = mass, allow_hyphen_values = true)]
    pub mass: Option<f64>,
    /// Your mould, a .toml file: how hot it may be filled, and how much it holds
    #[arg(long, value_name = "FILE")]
    pub mould: Option<PathBuf>,
    /// Temperature of your room
    #[arg(long, value_name = "TEMP", default_value = "20", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    pub room: f64,
    /// Flash point of your scent, from its certificate: the melt must be cooler when it goes in
    #[arg(long, value_name = "TEMP", value_parser = flash)]
    pub flash: Option<f64>,
    /// Pour at this temperature; without it, 5 °C above the first haze
    #[arg(long, value_name = "TEMP", value_parser = model_temperature, allow_hyphen_values = true)]
    pub pour: Option<f64>,
    /// Power of your microwave in watts: adds a plan in short bursts
    #[arg(long, value_name = "WATTS", value_parser = watts)]
    pub microwave: Option<f64>,
    /// Your own deliveries, with `flash_c` where a certificate has one; its lots can be used by name
    #[arg(long, value_name = "FILE")]
    pub lots: Option<OsString>,
    /// How the answer is computed and shown.
    #[command(flatten)]
    pub showing: Showing,
}

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let written: Vec<&OsStr> = std::iter::once(args.formula.as_os_str()).chain(args.with.as_deref()).collect();
    let loaded = load(&written, profile.lots(args.lots.as_deref()).as_deref(), streams)?;
    let (index, second) = match &args.with {
        None => (pick(&loaded.formulas, args.named.as_deref(), "pour")?, None),
        Some(_) if loaded.formulas.len() == 2 => (0, Some(loaded.recipe(1)?)),
        Some(_) => {
            return Err(Fault::new("several-formulas", "with `--with`, each of the two must be one formula")
                .hint("Write one of them as a text, or put it into a file of its own.")
                .into());
        }
    };
    let asked = Pour {
        formula: loaded.recipe(index)?,
        second,
        options: args.showing.drawn.options(),
        mass_kg: args.mass,
        mould: args.mould.as_deref().map(load_mould).transpose()?,
        room: Room { air_c: args.room, ..Room::default() },
        flash_c: args.flash,
        pour_c: args.pour,
        microwave_w: args.microwave,
        units: args.showing.units,
    };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = progress::watched(|control| pour(&engine, &asked, control))??;
    streams.figures(&answer, args.showing.whole_form())
}

/// Reads a flash point.
fn flash(text: &str) -> Result<f64, String> {
    let celsius = parse_temperature(text).map_err(|error| error.to_string())?;
    if (20.0..=400.0).contains(&celsius) {
        Ok(celsius)
    } else {
        Err(format!(
            "{} °C is no flash point of a scent to stir into a warm melt, which lie between 20 and 400 °C: look it up in its certificate, and write its unit, such as `65C` or `150F`",
            short(celsius)
        ))
    }
}

/// Reads the power of a microwave.
fn watts(text: &str) -> Result<f64, String> {
    number_in(text.trim().trim_end_matches(['W', 'w']), 50.0..=5000.0, " W")
}
