//! `report`: one page to keep, of one formula or several.

use std::ffi::{OsStr, OsString};
use std::path::PathBuf;

use crate::save::save;
use barwright_answer::Engine;
use barwright_answer::places::Room;
use barwright_answer::report::{Report, page, report};
use barwright_answer::words::units::Units;

use crate::args::{Conditions, Drawn, OUTPUT, humidity, model_temperature, units, with_mould_help};
use crate::error::CliError;
use crate::input::{check_stdin_once, load};
use crate::mould::MouldArgs;
use crate::output::Streams;
use crate::profile::Profile;
use crate::{progress, route};

/// Arguments of `report`.
#[derive(Debug, clap::Args)]
#[command(
    mut_arg("relief", |relief| relief.help("Finest relief of your mould, in mm or in; without it, the mould's, or 0.8 mm")),
    after_help = with_mould_help("\
Examples:
  barwright report winter.toml --out winter.html
  barwright report winter.toml summer.toml --out season.html
  barwright report winter.toml --pour --mould fern-tray.toml --route hot-day --out winter.html")
)]
pub struct Args {
    /// One formula or several: files, `-` for standard input, or texts; a .csv file can hold several
    #[arg(value_name = "FORMULA", required = true)]
    pub formulas: Vec<OsString>,
    /// File to write: one HTML page that needs no network, to keep and to print
    #[arg(long, value_name = "FILE", required = true)]
    pub out: PathBuf,
    /// Add how to melt and pour each formula
    #[arg(long)]
    pub pour: bool,
    /// The mould: with one, how each sets in it is added.
    #[command(flatten)]
    pub mould: MouldArgs,
    /// Add how each fares on a route: a built-in one (`barwright parcel --routes` lists them) or a logger's file
    #[arg(long, value_name = "ROUTE")]
    pub route: Option<OsString>,
    /// Temperature of your room, for the plans
    #[arg(long, value_name = "TEMP", default_value = "20", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    pub room: f64,
    /// Humidity of your room in %, to tell whether a cold bar sweats
    #[arg(long, value_name = "PERCENT", default_value = "50", value_parser = humidity)]
    pub humidity: f64,
    /// What is asked of the formulas.
    #[command(flatten)]
    pub conditions: Conditions,
    /// Units shown: `us` for °F, oz, psi and inches
    #[arg(long, help_heading = OUTPUT, default_value = "metric", value_parser = units())]
    pub units: Units,
    /// What the intervals are from.
    #[command(flatten)]
    pub drawn: Drawn,
}

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let written: Vec<&OsStr> = args.formulas.iter().map(|formula| formula.as_os_str()).collect();
    let lots = profile.lots(args.conditions.making.lots.as_deref());
    let read: Vec<&OsStr> = written.iter().copied().chain(args.route.as_deref()).collect();
    check_stdin_once(&read, lots.as_deref())?;
    let route = args.route.as_deref().map(|route| route::read(route, streams)).transpose()?;
    let loaded = load(&written, lots.as_deref(), streams)?;
    let mould = args.mould.load()?;
    let asked = Report {
        formulas: loaded.recipes(),
        options: args.conditions.options(&args.drawn, mould.as_ref()),
        pour: args.pour,
        mould,
        route,
        room: Room { air_c: args.room, humidity_percent: args.humidity },
        units: args.units,
    };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = progress::watched(|control| report(&engine, &asked, control))??;
    answer.figures.notes.iter().try_for_each(|note| streams.remarks.note(note))?;
    save(&args.out, page(&answer).as_bytes())?;
    Ok(streams.remarks.note(&format!("the report is in {}", args.out.display()))?)
}
