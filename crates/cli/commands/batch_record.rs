//! `batch --record`: the pour goes into the records, with the deliveries weighed in.

use barwright_answer::Fault;
use barwright_answer::batch::{Batch as Asked, Batched, Line};
use barwright_answer::engine::find;
use barwright_answer::words::names::{self, capital};
use barwright_answer::words::scale::plain;
use barwright_making::batch::uses;
use barwright_records::{Batch, Date, Lot, LotUse, RecordsError, Shortage, Store};
use barwright_reference::formula::quantity::{Quantity, Unit, parse_quantity};
use barwright_reference::{Formula, IngredientId, Library};

use super::trial::days;
use crate::args::date;
use crate::error::CliError;
use crate::kept::{keep_formula, keep_lot, keep_lots};
use crate::output::Streams;
use crate::profile::Profile;

/// Arguments of the record.
#[derive(Debug, clap::Args)]
pub struct Recording {
    /// Keep the batch in your records: formula, deliveries weighed in, bars; needs `--profile` and `--number`
    #[arg(long, requires = "number")]
    pub record: bool,
    /// A delivery used, by the code on its bag: `beeswax=W-2311`, or part of the mass, `beeswax=W-2311:120g`;
    /// deliveries of your lot file are known by themselves
    #[arg(long, value_name = "INGREDIENT=LOT", requires = "record", allow_hyphen_values = true)]
    from: Vec<String>,
    /// Keep the batch even where it takes more of a delivery than your records say is left; a note says so
    #[arg(long, requires = "record")]
    beyond_stock: bool,
    /// Day of the pour, as 2026-11-25; without it, today
    #[arg(long, value_name = "DATE", value_parser = date, requires = "record")]
    date: Option<Date>,
    /// Anything else worth keeping
    #[arg(long, value_name = "TEXT", requires = "record")]
    note: Option<String>,
}

/// What was poured.
pub struct Pour<'a> {
    /// What the command line says of the record.
    pub recording: &'a Recording,
    /// What was asked.
    pub asked: &'a Asked,
    /// Reference tables and deliveries.
    pub library: &'a Library,
    /// The formula as poured, scents in it.
    pub formula: &'a Formula,
    /// Nobody gave the formula a name.
    pub nameless: bool,
    /// The batch.
    pub figures: &'a Batched,
}

/// A delivery named on the command line.
struct Named {
    ingredient: IngredientId,
    lot: String,
    mass_g: Option<f64>,
}

/// Keeps a pour in the records: all of it is checked first.
pub fn record(pour: &Pour<'_>, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let (today, poured_on) = days(pour.recording.date)?;
    let number = pour.asked.number.clone().unwrap_or_default();
    let WeighedIn { used, own, unnamed } = weighed_in(pour)?;
    let mut store = profile.store_to_write(streams)?;
    if store.batch(&number).is_ok() {
        return Err(CliError::from(RecordsError::AlreadyThere { what: "batch", name: names::name(&number) }));
    }
    let scents = pour.asked.scents.iter().filter_map(|scent| pour.library.id_of(&scent.ingredient));
    let short = store.shortages(&used)?;
    if !short.is_empty() && !pour.recording.beyond_stock {
        return Err(beyond_stock(&RecordsError::TooLittle { shortages: short }));
    }
    keep_lots(&mut store, pour.library, pour.formula, &scents.collect::<Vec<_>>(), streams)?;
    for lot in &own {
        keep_named(&mut store, lot)?;
    }
    let formula = keep_formula(&mut store, pour.library, pour.formula, pour.nameless)?;
    let batch = Batch {
        number: number.clone(),
        formula: formula.clone(),
        poured_on,
        mass_g: pour.figures.melt_g,
        cavities: Some(pour.figures.bars),
        lots: used,
        note: note(pour, &short),
    };
    // Another command may have taken of it meanwhile.
    match pour.recording.beyond_stock {
        true => store.add_batch(&batch, today)?,
        false => store.add_batch_from_stock(&batch, today)?,
    }
    let lots = match batch.lots.len() {
        0 => "no delivery named".to_owned(),
        1 => "1 delivery".to_owned(),
        count => format!("{count} deliveries"),
    };
    streams.remarks.note(&format!(
        "batch {} is in the records as {}: {} bars, {lots}",
        names::name(&number),
        names::name(&formula),
        pour.figures.bars
    ))?;
    if !unnamed.is_empty() {
        streams.remarks.note(&format!(
            "no delivery was named for {}: `--from '{}=WHAT STANDS ON THE BAG'` lets a recall find it",
            names::list(&unnamed, "and"),
            unnamed.first().map_or("", String::as_str)
        ))?;
    }
    Ok(())
}

/// Says that a batch takes more of a delivery than is left.
fn beyond_stock(error: &RecordsError) -> CliError {
    let fault = Fault::new("stock", format!("{error}; nothing was kept"))
        .hint("Name another delivery for the rest, as `--from 'beeswax=A:120g' --from 'beeswax=B'`.")
        .hint("`--beyond-stock` keeps the batch all the same, with a note.");
    fault.into()
}

/// The remark on a batch: what was written, the colours, and what was weighed in beyond the stock.
fn note(pour: &Pour<'_>, short: &[Shortage]) -> Option<String> {
    let colours = pour.asked.colours.iter().map(|colour| format!("{} {} g", colour.name, plain(colour.mass_g)));
    let colours = colours.collect::<Vec<_>>();
    let colours = (!colours.is_empty()).then(|| format!("Colour: {}.", colours.join(", ")));
    let beyond =
        short.iter().map(|one| format!("Beyond stock: {} by {} g.", one.lot, plain(one.needed_g - one.left_g)));
    let parts: Vec<String> = pour.recording.note.clone().into_iter().chain(colours).chain(beyond).collect();
    (!parts.is_empty()).then(|| parts.join("\n"))
}

/// Keeps a delivery of which only the key is known; one that is kept must be of the same ingredient.
fn keep_named(store: &mut Store, lot: &Lot) -> Result<(), CliError> {
    match store.lot(&lot.key) {
        Ok(kept) if kept.like != lot.like => {
            let message = format!(
                "--from: the records keep the lot `{}` as a delivery of {}, not of {}",
                names::name(&lot.key),
                kept.like,
                lot.like
            );
            Err(Fault::new("other-lot", message).hint("Check what stands on the bag.").into())
        }
        Ok(_) => Ok(()),
        Err(RecordsError::Unknown { .. }) => keep_lot(store, lot).map(|_| ()),
        Err(error) => Err(error.into()),
    }
}

/// What the records are told of the deliveries of a pour.
#[derive(Default)]
struct WeighedIn {
    /// All of them, with their masses.
    used: Vec<LotUse>,
    /// Those that the lot file does not know.
    own: Vec<Lot>,
    /// Ingredients without one.
    unnamed: Vec<String>,
}

/// Reads the deliveries weighed in.
fn weighed_in(pour: &Pour<'_>) -> Result<WeighedIn, CliError> {
    let library = pour.library;
    let (mut named, mut faults) = (Vec::new(), Vec::new());
    for text in &pour.recording.from {
        match read(pour, text) {
            Ok(one) => named.push(one),
            Err(fault) => faults.push(*fault),
        }
    }
    let WeighedIn { mut used, mut own, mut unnamed } = WeighedIn::default();
    let mut put = |lot: &str, mass_g: f64| match used.iter_mut().find(|one| one.lot == lot) {
        Some(one) => one.mass_g += mass_g,
        None => used.push(LotUse { lot: lot.to_owned(), mass_g }),
    };
    for (index, line_g) in uses(pour.figures.lines.iter().map(|Line { line, .. }| line)) {
        let Some(ingredient) = library.get(index) else { continue };
        if ingredient.lot_of.is_some() {
            put(&ingredient.key, line_g);
            continue;
        }
        let its: Vec<&Named> = named.iter().filter(|one| one.ingredient == index).collect();
        if its.is_empty() {
            unnamed.push(ingredient.key.clone());
            continue;
        }
        let open = its.iter().filter(|one| one.mass_g.is_none()).count();
        let stated_g: f64 = its.iter().filter_map(|one| one.mass_g).sum();
        let left_g = line_g - stated_g;
        let half_digit_g = 0.5 * pour.asked.scale_g;
        let closes = match open {
            0 => left_g.abs() <= half_digit_g,
            1 => left_g > 0.0,
            _ => false,
        };
        if !closes {
            let message = format!(
                "--from: {} is weighed in with {} g, and its deliveries {}",
                ingredient.key,
                plain(line_g),
                if open > 1 { "do not say how much of each".to_owned() } else { format!("make {} g", plain(stated_g)) }
            );
            faults.push(Fault::new("lot-masses", message).hint(format!("Write the mass of each, as `--from '{0}=A:120g' --from '{0}=B:66g'`; one may go without, and takes the rest.", ingredient.key)));
            continue;
        }
        for one in its {
            put(&one.lot, one.mass_g.unwrap_or(left_g));
            if !own.iter().any(|lot| lot.key == one.lot) {
                own.push(Lot::new(&one.lot, &ingredient.key));
            }
        }
    }
    if faults.is_empty() { Ok(WeighedIn { used, own, unnamed }) } else { Err(CliError::input(faults)) }
}

/// Reads `INGREDIENT=LOT` or `INGREDIENT=LOT:MASS`.
fn read(pour: &Pour<'_>, text: &str) -> Result<Named, Box<Fault>> {
    let wrong = |what: String| {
        let hint =
            "Write the ingredient and what stands on the bag, and the mass where it is a part: `beeswax=W-2311:120g`.";
        Box::new(Fault::new("bad-lot", format!("--from: {what}")).hint(hint))
    };
    let (name, lot) = text.split_once('=').ok_or_else(|| wrong(format!("`{}` has no `=`", names::name(text))))?;
    let ingredient = find(pour.library, name.trim(), "--from")?;
    if !pour.formula.parts.iter().any(|part| part.ingredient == ingredient) {
        return Err(wrong(format!("the bar has no {}", names::name(name))));
    }
    let known = pour.library.get(ingredient);
    if known.is_some_and(|one| one.lot_of.is_some()) {
        return Err(wrong(format!("{} is a delivery of your lot file already", capital(&names::name(name)))));
    }
    // A mass is only what reads as one: a key may have a colon in it.
    let (lot, mass_g) = match lot.rsplit_once(':') {
        Some((lot, mass)) => match parse_quantity(mass) {
            Ok(Quantity { value, unit: Unit::Gram }) => (lot, Some(value)),
            Err(error) if mass.trim_start().starts_with('-') => return Err(wrong(error.to_string())),
            _ => (text.split_once('=').map_or("", |(_, lot)| lot), None),
        },
        None => (lot, None),
    };
    let lot = lot.trim().to_owned();
    if lot.is_empty() {
        return Err(wrong(format!("`{}` names no delivery", names::name(text))));
    }
    Ok(Named { ingredient, lot, mass_g })
}
