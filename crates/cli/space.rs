//! Loads a space of formulas: its file, lots, prices, and what is asked of the bars.

use barwright_answer::words::names;
use std::ffi::OsStr;
use std::path::Path;

use barwright_reference::space::{SpaceText, Wish, WishText};
use barwright_reference::{Diagnostic, Library};
use barwright_reformulate::space::{Filler, Group, SpaceError};
use barwright_reformulate::{Demand, Space};

use crate::error::CliError;
use crate::input::{Lots, check_stdin_once, library_with, read_text};
use crate::output::Streams;
use barwright_answer::Fault;
use barwright_answer::firmness::parse_firmness;
use barwright_answer::reading::{model_temperature, parse_relief, percent, positive};

/// A space with everything that belongs to it.
#[derive(Debug)]
pub struct LoadedSpace {
    /// Reference tables and lots.
    pub library: Library,
    /// Its name.
    pub name: String,
    /// A remark.
    pub note: Option<String>,
    /// The formulas.
    pub space: Space,
    /// The space, checked.
    pub filler: Filler,
    /// What is asked of the bars.
    pub demands: Vec<Demand>,
    /// Highest price per kilogram.
    pub most_price: Option<f64>,
}

/// Loads a space, and writes the notes on how it was read.
///
/// # Arguments
/// * `seed`: of the points that fill it.
///
/// # Errors
/// Everything that is wrong with the lots and the space.
pub fn load_space(
    argument: &OsStr,
    lots: Option<&Path>,
    seed: u64,
    streams: &mut Streams<'_>,
) -> Result<LoadedSpace, CliError> {
    check_stdin_once(&[argument], lots)?;
    let Lots { library, mut faults, notes, about } = library_with(lots)?;
    let lots_known = faults.is_empty();
    for note in notes {
        streams.remarks.note(&note)?;
    }
    let path = Path::new(argument);
    let (text, origin) = match read_text(path) {
        Ok(read) => read,
        Err(fault) => {
            faults.push(*fault);
            return Err(CliError::input(faults));
        }
    };
    let found =
        SpaceText::read(&text, &library).and_then(|written| Ok((understood(&written, &library, seed)?, written)));
    let (meant, written) = match found {
        Ok(found) if faults.is_empty() => found,
        Ok(_) => return Err(CliError::input(faults)),
        Err(errors) => {
            // A name may be that of a lot in the file that could not be read.
            let own = errors.into_iter().filter(|error| lots_known || error.code != "unknown-ingredient");
            faults.extend(own.map(|error| Fault::from_diagnostic(error, &origin, &text)));
            return Err(CliError::input(faults));
        }
    };
    about.write(meant.filler.space().ingredients.iter().copied(), streams)?;
    if let Some(without) = &meant.without_price {
        streams.remarks.note(&format!("price is not weighed: there is no price of {without}"))?;
    }
    let stem = path.file_stem().filter(|_| argument != "-").map(|stem| stem.to_string_lossy().into_owned());
    Ok(LoadedSpace {
        name: written.name.or(stem).unwrap_or_else(|| "space".to_owned()),
        note: written.note,
        space: meant.filler.space().clone(),
        filler: meant.filler,
        demands: meant.demands,
        most_price: meant.most_price,
        library,
    })
}

/// What a space file means.
struct Meant {
    filler: Filler,
    demands: Vec<Demand>,
    most_price: Option<f64>,
    /// Ingredients without a price, where others have one.
    without_price: Option<String>,
}

/// Works out what a space file means, or everything that is wrong with it.
fn understood(written: &SpaceText, library: &Library, seed: u64) -> Result<Meant, Vec<Diagnostic>> {
    let mut errors = Vec::new();
    let (mut demands, mut most_price) = (Vec::new(), None);
    for wish in &written.wishes {
        match demand(wish) {
            Ok(Asked::Demands(asked)) => demands.extend(asked),
            Ok(Asked::Price(most)) => most_price = Some(most),
            Err(message) => {
                errors.push(Diagnostic::error(
                    "bad-demand",
                    format!("`{}`: {message}", wish.wish.word()),
                    wish.span.clone(),
                ));
            }
        }
    }
    let mut space = Space {
        ingredients: written.ingredients.iter().map(|one| one.ingredient).collect(),
        least: written.ingredients.iter().map(|one| one.least).collect(),
        most: written.ingredients.iter().map(|one| one.most).collect(),
        groups: (written.totals.iter())
            .map(|total| Group {
                name: total.name.clone(),
                members: total.members.clone(),
                least: total.least,
                most: total.most,
            })
            .collect(),
        price: None,
    };
    let stated = |index: usize| {
        let here = written.prices.iter().find(|(one, _)| *one == index).map(|(_, price)| *price);
        here.or_else(|| library.ingredients.get(index).and_then(|one| one.price_per_kg))
    };
    let prices: Vec<Option<f64>> = space.ingredients.iter().map(|&index| stated(index)).collect();
    let without: Vec<String> = (space.ingredients.iter().zip(&prices))
        .filter(|(_, price)| price.is_none())
        .filter_map(|(&index, _)| library.ingredients.get(index))
        .map(|one| format!("`{}`", one.key))
        .collect();
    let mut without_price = None;
    if without.is_empty() {
        space.price = Some(prices.into_iter().flatten().collect());
    } else {
        let missing = names::list(&without, "and");
        let needed = written
            .prices_span
            .clone()
            .or_else(|| written.wishes.iter().find(|wish| wish.wish == Wish::MaxPrice).map(|wish| wish.span.clone()));
        match needed {
            Some(span) => errors.push(
                Diagnostic::error("no-price", format!("there is no price of {missing}"), span)
                    .hint("Write a line for each below `[prices]`, or `price_per_kg` into its lot."),
            ),
            None => without_price = prices.iter().any(Option::is_some).then_some(missing),
        }
    }
    match Filler::new(&space, seed) {
        Ok(filler) if errors.is_empty() => Ok(Meant { filler, demands, most_price, without_price }),
        checked => {
            errors.extend(checked.err().map(|error| placed(error, written)));
            errors.sort_by_key(|error| error.span.start);
            Err(errors)
        }
    }
}

/// What one wish asks.
enum Asked {
    Demands(Vec<Demand>),
    Price(f64),
}

fn demand(wish: &WishText) -> Result<Asked, String> {
    let one = |demand: Demand| Asked::Demands(vec![demand]);
    match wish.wish {
        Wish::Hold => model_temperature(&wish.text).map(|temperature_c| one(Demand::Hold { temperature_c })),
        Wish::Detail => parse_relief(&wish.text).map(|relief_mm| one(Demand::Detail { relief_mm })),
        Wish::Firmness => parse_firmness(&wish.text).map(|firmness| Asked::Demands(firmness.0)),
        Wish::Skin => percent(&wish.text).map(|percent| one(Demand::Melts { percent })),
        Wish::MaxPrice => positive(&wish.text).map(Asked::Price),
    }
}

/// Places what is wrong with a space as a whole.
fn placed(error: SpaceError, written: &SpaceText) -> Diagnostic {
    let named = |name: &str| written.totals.iter().find(|total| total.name == name).map(|total| total.span.clone());
    let span = match &error {
        SpaceError::GroupOver { group, .. } | SpaceError::GroupUnder { group, .. } => named(group),
        SpaceError::Crossing { groups } => groups.first().and_then(|group| named(group)),
        _ => None,
    };
    let hint = match &error {
        SpaceError::LeastOverWhole { .. } => "Lower the least amounts, so that they leave room for each other.",
        SpaceError::MostUnderWhole { .. } => {
            "Raise the most amounts, or add an ingredient that may fill the rest, such as an oil."
        }
        SpaceError::GroupOver { .. } => "Raise the most of this total, or lower the least of what is in it.",
        SpaceError::GroupUnder { .. } => "Lower the least of this total, or raise the most of what is in it.",
        _ => "Loosen one of these ranges.",
    };
    Diagnostic::error("no-room", error.to_string(), span.unwrap_or_else(|| written.span.clone())).hint(hint)
}
