//! `parcel`: a bar along a hot route.

use std::ffi::OsString;
use std::path::PathBuf;

use crate::save::save;
use barwright_answer::Engine;
use barwright_answer::parcel::{Moment, Parcel, parcel};
use barwright_answer::routes::routes;
use barwright_answer::words::number::fixed;
use barwright_blend::Options;
use barwright_reference::formula::quantity::{Quantity, Unit, parse_quantity};
use barwright_reference::length::parse_length;

use crate::args::{OUTPUT, PRECISION, Showing, State, mass, model_temperature, whole, with_formula_help};
use crate::drawing::Drawing;
use crate::error::CliError;
use crate::input::{check_stdin_once, load};
use crate::mould::MouldArgs;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::{progress, route};

/// Arguments of `parcel`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = with_formula_help("\
A ROUTE is the name of a built-in one, which `--routes` lists, or a .csv file, such as of a logger:
  hours,temperature_c         or  timestamp;temp (°F)
  0,22                            2026-07-01 08:00;71,6
  4.5,38                          2026-07-01 12:30;100,4

Examples:
  barwright parcel winter.toml --route parked-car
  barwright parcel winter.toml --route logger.csv --bars 12 --mould fern-tray.toml
  barwright parcel winter.toml --route hot-day --insulate 20mm --ice 300g --plot hot-day.svg
  barwright parcel --routes")
)]
pub struct Args {
    /// The formula: a file, `-` for standard input, or a text
    #[arg(value_name = "FORMULA", required_unless_present = "routes")]
    pub formula: Option<OsString>,
    /// Take the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// The temperatures on the way: a built-in route to compare formulas on, or the file of your own logger
    #[arg(long, value_name = "ROUTE", required_unless_present = "routes")]
    pub route: Option<OsString>,
    /// List the built-in routes: how hot, how long, how well founded, from what source
    #[arg(long, conflicts_with_all = ["formula", "route"])]
    pub routes: bool,
    /// The mould.
    #[command(flatten)]
    pub mould: MouldArgs,
    /// Bars in one box: many together warm up more slowly than one alone
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u32>(1..=1000))]
    pub bars: u32,
    /// Temperature of the bars when they are sent: lower it if they come from a fridge
    #[arg(long, value_name = "TEMP", default_value = "20", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    pub start: f64,
    /// Thickness of foam on all sides, if you line your boxes
    #[arg(long, value_name = "LENGTH", default_value = "0mm", value_parser = foam)]
    pub insulate: f64,
    /// Mass of a frozen ice pack, if you put one in
    #[arg(long, value_name = "MASS", default_value = "0g", value_parser = ice)]
    pub ice: f64,
    /// Crystal state of the bar when it is sent: `fresh` within hours of the mould, `tempered` if you temper
    #[arg(long, value_enum, default_value = "rested")]
    pub state: State,
    /// Write air, core, mean and melted share against time to this CSV file, for a spreadsheet
    #[arg(long, help_heading = OUTPUT, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Picture: air and core against time.
    #[command(flatten)]
    pub drawing: Drawing,
    /// Cell size of the computation: `1mm` checks that 3 mm is fine enough, and takes ten times as long
    #[arg(long, help_heading = PRECISION, value_name = "LENGTH", default_value = "3mm", value_parser = cell)]
    pub cell: f64,
    /// Your own deliveries, when a lot differs from the usual; its lots can be used by name
    #[arg(long, value_name = "FILE")]
    pub lots: Option<OsString>,
    /// How the answer is computed and shown.
    #[command(flatten)]
    pub showing: Showing,
}

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let showing = &args.showing;
    let (Some(formula), Some(route)) = (&args.formula, &args.route) else {
        return streams.figures(&routes(showing.units)?, showing.whole_form());
    };
    let lots = profile.lots(args.lots.as_deref());
    check_stdin_once(&[formula, route], lots.as_deref())?;
    let route = route::read(route, streams)?;
    let loaded = load(&[formula], lots.as_deref(), streams)?;
    let asked = Parcel {
        formula: loaded.recipe(pick(&loaded.formulas, args.named.as_deref(), "parcel")?)?,
        options: Options { state: args.state.into(), ..showing.drawn.options() },
        route,
        mould: args.mould.load()?,
        bars: args.bars,
        start_c: args.start,
        foam_mm: args.insulate,
        ice_kg: args.ice,
        cell_mm: args.cell,
        picture: args.drawing.is_wanted(),
        units: showing.units,
    };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = progress::watched(|control| parcel(&engine, &asked, control))??;
    let found = &answer.figures;
    if let Some(minutes) = found.route.averaged_over_min {
        let (rows, minutes) = (found.route.rows, minutes.round());
        streams.remarks.note(&format!("the {rows} rows of the route are averaged over {minutes} min each"))?;
    }
    streams.answer(&answer, showing.whole_form(), &args.drawing)?;
    if let Some(path) = &args.out {
        save(path, &table(&found.history)?)?;
        streams.remarks.note(&format!("{} times written into {}", found.history.len(), path.display()))?;
    }
    if !found.finished {
        streams.remarks.note("stopped early: not everything that may help was tried")?;
    }
    Ok(())
}

/// The course of the bar as CSV.
fn table(history: &[Moment]) -> Result<Vec<u8>, CliError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |error: csv::Error| CliError::internal(format!("the table could not be made: {error}"));
    let header = ["hours", "outside_c", "inside_c", "core_c", "mean_c", "warmest_c", "melted_percent", "corner_bar_c"];
    writer.write_record(header).map_err(failed)?;
    for one in history {
        let figures =
            [one.outside_c, one.inside_c, one.core_c, one.mean_c, one.warmest_c, one.melted_percent, one.corner_bar_c];
        let row = std::iter::once(format!("{:.4}", one.hours)).chain(figures.map(|figure| fixed(figure, 2)));
        writer.write_record(row).map_err(failed)?;
    }
    writer.into_inner().map_err(|error| CliError::internal(format!("the table could not be made: {error}")))
}

/// Reads the thickness of foam. Returns mm.
fn foam(text: &str) -> Result<f64, String> {
    parse_length(text, 0.0..=300.0)
}

/// Reads the width of a cell. Returns mm.
fn cell(text: &str) -> Result<f64, String> {
    parse_length(text, 0.5..=20.0)
}

/// Reads the mass of an ice pack, or none, which has a unit of mass or no unit; returns kg.
fn ice(text: &str) -> Result<f64, String> {
    let digits = text.trim().trim_end_matches(|letter: char| letter.is_alphabetic() || letter == ' ');
    if digits.parse() != Ok(0.0) {
        return mass(text);
    }
    let unit = text.trim().trim_start_matches(digits).trim();
    let weighed = |quantity: Quantity| quantity.unit == Unit::Gram;
    if unit.is_empty() || parse_quantity(&format!("1{unit}")).is_ok_and(weighed) {
        Ok(0.0)
    } else {
        Err(format!("`{text}` has no unit of mass; write such as `300g` or `12oz`, or `0g` for none"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_ice_is_a_mass_of_none() {
        for none in ["0", "0g", "0.0 oz", " 0 kg "] {
            assert_eq!(ice(none), Ok(0.0), "{none}");
        }
        assert_eq!(ice("300g"), Ok(0.3));
        for wrong in ["0 spoons", "0tsp", "0 ml", "0 %", "0C", "spoons", "", "300", "-0.5g"] {
            assert!(ice(wrong).is_err(), "{wrong}");
        }
    }
}
