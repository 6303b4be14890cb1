//! `cool`: from the poured melt to a bar out of its mould.

use std::ffi::OsString;

use barwright_answer::Engine;
use barwright_answer::cool::{Cool, cool};
use barwright_answer::places::{Room, usual};
use barwright_blend::Options;
use barwright_making::Place;

use crate::args::{Showing, humidity, model_temperature, parse_relief, with_mould_help};
use crate::drawing::Drawing;
use crate::error::CliError;
use crate::input::load;
use crate::mould::MouldArgs;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::progress;

/// Arguments of `cool`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = with_mould_help("\
Examples:
  barwright cool winter.toml --mould fern-tray.toml
  barwright cool winter.toml --size 60x40x20mm --place cellar=12C --place fridge=5C
  barwright cool 'cocoa butter 60, beeswax 10, olive oil 30' --pour 60C --plot cooling.svg")
)]
pub struct Args {
    /// The formula: a file, `-` for standard input, or a text
    #[arg(value_name = "FORMULA")]
    pub formula: OsString,
    /// Take the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// The mould.
    #[command(flatten)]
    pub mould: MouldArgs,
    /// Temperature of the melt in the mould; without it, 5 °C above the clear point
    #[arg(long, value_name = "TEMP", value_parser = model_temperature, allow_hyphen_values = true)]
    pub pour: Option<f64>,
    /// Temperature of your room: the mould starts at it, and the bar comes out into it
    #[arg(long, value_name = "TEMP", default_value = "20", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    pub room: f64,
    /// Humidity of your room in %, to tell whether a cold bar sweats
    #[arg(long, value_name = "PERCENT", default_value = "50", value_parser = humidity)]
    pub humidity: f64,
    /// Where it could cool, such as `cellar=12C`; several are compared. Without it: room, fridge 5 °C, freezer -18 °C
    #[arg(long, value_name = "NAME=TEMP", value_parser = place)]
    pub place: Vec<(String, f64)>,
    /// A fan blows on the mould, in every place
    #[arg(long)]
    pub fan: bool,
    /// Finest relief that must come out whole, in mm or in; without it, the mould's, or 0.8 mm
    #[arg(long, value_name = "LENGTH", value_parser = parse_relief)]
    pub relief: Option<f64>,
    /// Picture: middle and surface against time.
    #[command(flatten)]
    pub drawing: Drawing,
    /// Your own deliveries, when a lot differs from the usual; its lots can be used by name
    #[arg(long, value_name = "FILE")]
    pub lots: Option<OsString>,
    /// How the answer is computed and shown.
    #[command(flatten)]
    pub showing: Showing,
}

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&args.formula], profile.lots(args.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, args.named.as_deref(), "cool")?;
    let mould = args.mould.load()?;
    let usual_options = args.showing.drawn.options();
    let relief_mm = args.relief.or_else(|| mould.as_ref()?.relief_mm).unwrap_or(usual_options.relief_mm);
    let named = args.place.iter().map(|(name, air_c)| Place { name: name.clone(), air_c: *air_c, fan: args.fan });
    let asked = Cool {
        formula: loaded.recipe(index)?,
        options: Options { relief_mm, ..usual_options },
        mould,
        pour_c: args.pour,
        room: Room { air_c: args.room, humidity_percent: args.humidity },
        places: if args.place.is_empty() { usual(args.room, args.fan) } else { named.collect() },
        picture: args.drawing.is_wanted(),
        units: args.showing.units,
    };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = progress::watched(|control| cool(&engine, &asked, control))??;
    streams.answer(&answer, args.showing.whole_form(), &args.drawing)
}

/// Reads a place and its temperature.
fn place(text: &str) -> Result<(String, f64), String> {
    let (name, temperature) =
        text.split_once('=').ok_or("write a name and a temperature, such as `cellar=12C`".to_owned())?;
    if name.trim().is_empty() {
        return Err("the place has no name; write such as `cellar=12C`".to_owned());
    }
    Ok((name.trim().to_owned(), model_temperature(temperature)?))
}
