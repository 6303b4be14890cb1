//! Routes of parcels: how a question names one, and the built-in ones.

use barwright_reference::names::normalise;
use barwright_reference::route::{KnownRoute, known_routes};
use barwright_reference::sources::source_citation;
use barwright_reference::suggest::nearest;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::document::{Block, Document, Kind, Table};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{capital, name, quoted};
use crate::words::number::significant;
use crate::words::units::Units;

/// Names in a hint.
const MAX_NEAREST: usize = 3;

/// The air a parcel goes through.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Route {
    /// A built-in route, by its name.
    BuiltIn(String),
    /// Air that was measured, or is expected.
    Measured {
        /// What it is called.
        name: String,
        /// Time since the first row in s, and temperature in °C, in order; two rows at one time are a step.
        rows: Vec<(f64, f64)>,
        /// Time of day of the first row, s after midnight, where it is known.
        clock_s: Option<f64>,
    },
}

impl Default for Route {
    fn default() -> Self {
        Route::BuiltIn(String::new())
    }
}

/// A route that was found.
pub(crate) struct Found {
    /// Its name.
    pub(crate) name: String,
    /// The air.
    pub(crate) route: barwright_reference::route::Route,
    /// What is known of a built-in one.
    pub(crate) known: Option<KnownRoute>,
}

impl Route {
    /// Finds it.
    ///
    /// # Errors
    /// No built-in route has the name.
    pub(crate) fn find(&self) -> Result<Found, Refusal> {
        match self {
            Route::BuiltIn(name) => {
                let known = built_in(name)?;
                Ok(Found { name: known.name.clone(), route: known.route.clone(), known: Some(known) })
            }
            Route::Measured { name, rows, clock_s } => {
                let route = barwright_reference::route::Route { rows: rows.clone(), clock_s: *clock_s };
                Ok(Found { name: name.clone(), route, known: None })
            }
        }
    }
}

/// Returns the built-in route of a name.
///
/// # Errors
/// There is none.
pub fn built_in(written: &str) -> Result<KnownRoute, Refusal> {
    let known = known()?;
    let wanted = normalise(written);
    if let Some(one) = known.iter().find(|one| normalise(&one.name) == wanted) {
        return Ok(one.clone());
    }
    let near = nearest(&wanted, known.iter().map(|one| one.name.as_str()).enumerate(), MAX_NEAREST);
    let near: Vec<&str> = near.iter().filter_map(|at| known.get(*at)).map(|one| one.name.as_str()).collect();
    let near = quoted(&near, "and");
    Err(Fault::new("unknown-route", format!("no route is called `{}`", name(written)))
        .hint(format!("The nearest names are {near}; `barwright parcel --routes` lists all."))
        .hint("To name a file, write its ending too, such as `.csv`.")
        .into())
}

/// The built-in routes.
fn known() -> Result<Vec<KnownRoute>, Refusal> {
    known_routes().map_err(|faults| {
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        Refusal::internal(format!("the table of routes is faulty: {}", faults.join("; ")))
    })
}

/// A built-in route in a list.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Listed {
    name: String,
    note: String,
    status: String,
    source: Option<String>,
    /// Hours and °C.
    rows: Vec<(f64, f64)>,
}

/// Lists the built-in routes.
///
/// # Errors
/// Their table is faulty, which is a fault of this program.
pub fn routes(units: Units) -> Result<Answered<Vec<Listed>>, Refusal> {
    let known = known()?;
    let listed = known.iter().map(|one| Listed {
        name: one.name.clone(),
        note: one.note.clone(),
        status: one.status.word().to_owned(),
        source: source_citation(&one.source),
        rows: one.route.rows.iter().map(|&(time_s, celsius)| (time_s / 3600.0, celsius)).collect(),
    });
    let row = |one: &KnownRoute| {
        let all = one.route.rows.iter().map(|row| row.1);
        let (low, high) = (all.clone().fold(f64::INFINITY, f64::min), all.fold(f64::NEG_INFINITY, f64::max));
        let air = if low == high { units.given(low) } else { format!("{} to {}", units.given(low), units.given(high)) };
        let length = significant(one.route.length_s() / 3600.0, 2);
        [one.name.clone(), air, length, one.status.word().to_owned()]
    };
    let table = Table::new("")
        .columns(Kind::Figure, ["route", &format!("air, {}", units.degree())])
        .columns(Kind::Number, ["h"])
        .columns(Kind::Figure, ["status"])
        .rows(known.iter().map(row));
    let statuses = "Status: read, seen in the source; recalled, quoted from memory of it; estimated, worked out by us.";
    let origins = known.iter().map(|one| (one.name.clone(), format!("{}.", origin(one))));
    let document = Document::new("Built-in routes", "for --route")
        .lead([Block::Table(table), Block::Small(statuses.to_owned())])
        .section("What they stand for, and where they come from", [Block::terms(origins)]);
    Ok(Answered { figures: listed.collect(), document, picture: None })
}

/// Where a built-in route is from.
pub(crate) fn origin(known: &KnownRoute) -> String {
    let source = source_citation(&known.source).unwrap_or_default();
    format!("{}. {}: {}", capital(&known.note), capital(known.status.word()), source.trim_end_matches('.'))
}
