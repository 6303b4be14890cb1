//! A parcel for people: whether the bar keeps its shape, what helps, the course, and what it rests on.

use std::io;

use barwright_blend::cautions::Caution;
use barwright_blend::suitability::Verdict;
use barwright_blend::{Assessment, Estimate, Options};
use barwright_making::parcel::Outcome;
use barwright_making::{Packing, Parcel, ParcelTask, Way};
use barwright_reference::mould::BarShape;
use barwright_reference::route::KnownRoute;
use barwright_reference::sources::source_citation;

use super::table::Sheet;
use super::write_cautions;
use super::{capital, name};
use crate::commands::parcel::Sent;
use crate::output::Output;
use barwright_answer::assess::interval_words;
use barwright_answer::mould::{mass, size};
use barwright_answer::words::number::{in_hundred, interval, significant, whole};
use barwright_answer::words::units::Units;
use barwright_answer::words::units::with_unit;
use barwright_answer::words::visible::visible;

/// Rows of the table along the way, about.
const SHOWN: usize = 9;

/// The edges of a bar are told when they get warmer than the mean by this, K.
const TOLD_K: f64 = 3.0;

/// A bar as sure as that needs no more wax.
const SURE: f64 = 0.9;

/// How the bar is computed, and what is left out.
const CONDUCTION: &str = "Conduction with the melting curve of this blend, along the crystals it has. It fails when its mean temperature reaches that to which it keeps its shape for a day (a rule of thumb): a short peak is judged strictly. Still air; sun on the parcel, shocks and the weight of other parcels are left out.";

/// What is shown.
pub struct View<'a> {
    /// What was found.
    pub found: &'a Parcel,
    /// The route.
    pub sent: &'a Sent,
    /// What was asked.
    pub task: &'a ParcelTask<'a>,
    /// Whether nobody said how large the bar is.
    pub usual_size: bool,
    /// How it was computed.
    pub options: &'a Options,
    /// For the cautions.
    pub assessment: &'a Assessment,
    /// Units shown.
    pub units: Units,
}

/// What to mind of the parcel itself.
pub fn cautions(packing: &Packing) -> Vec<Caution> {
    let mut cautions = vec![Caution {
            of: String::new(),
        about: "leaks",
        text: "A bar that melts leaks oil, which goes through paper and board and stains other mail: close each in a bag or \
               a tin that holds oil."
            .to_owned(),
    }];
    if packing.ice_kg > 0.0 {
        cautions.push(Caution {
            of: String::new(),
            about: "ice",
            text: "Water settles on cold bars and cold packs: bag both, and let the bars warm up in their bag. Keep paper \
                   between ice and bars."
                .to_owned(),
        });
    }
    cautions.push(Caution {
        of: String::new(),
        about: "carriers",
        text:
            "Ask your carrier what it takes: wet packs and dry ice have rules of their own, and no carrier promises a \
               temperature unless it says so."
                .to_owned(),
    });
    cautions
}

/// Writes the answer.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, options, units, .. } = *view;
    output.title(&capital(&name(&view.task.formula.name)), &format!("{}, in the post", options.state.word()))?;
    output.blank()?;
    for sentence in answer(view) {
        output.text(&sentence, 2)?;
    }
    helps(output, view)?;

    output.heading("Along the way, by the middle values")?;
    let boxed = view.task.packing.ice_kg > 0.0;
    let mut header = vec!["h".to_owned(), format!("air, {}", units.degree())];
    header.extend(boxed.then(|| "air in the box".to_owned()));
    header.extend(["core", "mean", "liquid, %"].map(str::to_owned));
    let columns: Vec<usize> = (0..header.len()).collect();
    let mut sheet = Sheet::new(&header).right(&columns).whole(&columns);
    let course: Vec<_> = found.asked.history.iter().zip(&found.outside).collect();
    let step_s = found.length_s / (SHOWN - 1) as f64;
    let mut next_s = 0.0;
    for (number, (one, (_, outside_c))) in course.iter().enumerate() {
        if one.time_s + 1.0 < next_s && number + 1 < course.len() {
            continue;
        }
        while next_s <= one.time_s + 1.0 {
            next_s += step_s;
        }
        let mut row = vec![hours(one.time_s), degrees(units, *outside_c)];
        row.extend(boxed.then(|| degrees(units, one.ambient_c)));
        row.extend([degrees(units, one.centre_c), degrees(units, one.mean_c), whole(100.0 * one.melted_share)]);
        sheet.row(&row);
    }
    sheet.write(output)?;

    output.heading("What this rests on")?;
    for sentence in rests_on(view) {
        output.text(&format!("  {sentence}"), 2)?;
    }
    output.text(&format!("  {}", interval_words(view.assessment)), 2)?;
    write_cautions(output, view.assessment)?;
    for caution in cautions(&view.task.packing) {
        output.item(&capital(caution.about), &caution.text)?;
    }
    Ok(())
}

/// What it rests on, in sentences.
pub fn rests_on(view: &View<'_>) -> Vec<String> {
    let route = view.sent.known.as_ref().map(|known| format!("The route. {}.", origin(known)));
    [CONDUCTION.to_owned(), packed(&view.task.packing)].into_iter().chain(route).collect()
}

/// The sentences that matter.
pub fn answer(view: &View<'_>) -> Vec<String> {
    let mut said = Vec::new();
    let View { found, task, sent, units, .. } = *view;
    let asked = &found.asked;
    let (low_c, high_c) = found.extremes_c;
    let air = match (units.given_degrees(low_c.round()), units.given_degrees(high_c.round())) {
        (low, high) if low == high => low,
        (_, high) => format!("{} to {high}", units.given(low_c.round())),
    };
    let verdict = Verdict::from_probability(asked.keeps).word();
    said.push(format!("Keeps its shape on this route: {verdict} ({}).", in_hundred(asked.keeps)));
    said.push(format!(
        "The core gets to {}; at the most {} of the bar is liquid, its oils included, against {} when it is sent.",
        units.degrees(&asked.core_c),
        with_unit(&interval(&asked.melted_share, |share| whole(100.0 * share)), "%"),
        with_unit(&whole(100.0 * asked.melted_before.value), "%"),
    ));
    let holds = match &found.holds_c {
        Some(holds) => format!("It keeps its shape for a day up to {}", units.degrees(holds)),
        None => "It has no temperature to which it keeps its shape".to_owned(),
    };
    let gets = format!("here its mean temperature gets to {}", units.degrees(&asked.mean_c));
    said.push(format!("{holds}; {gets}."));
    if let Some(fails) = &asked.fails_s {
        said.push(format!("It fails after {}.", failure(fails, found.length_s)));
    }
    if asked.edge_c.value - asked.mean_c.value > TOLD_K {
        let whose = if task.packing.bars > 1 { "The bars at the outside of the box get" } else { "Its edges get" };
        said.push(format!("{whose} to {}: they go first.", units.degrees(&asked.edge_c)));
    }
    let what = match task.packing.bars {
        1 => format!("One bar of {}, {}", mass(1e3 * found.bars_kg, units), size(task.packing.shape, units)),
        bars => {
            let one = mass(1e3 * found.bars_kg / f64::from(bars), units);
            format!("{bars} bars of {one}, each {}", size(task.packing.shape, units))
        }
    };
    let unnamed = if view.usual_size { " (no size was named)" } else { "" };
    said.push(format!(
        "{what}{unnamed}; sent at {} along {} ({}, {air}).",
        units.given_degrees(task.start_c),
        visible(&name(&sent.name)),
        with_unit(&hours(found.length_s), "h"),
    ));
    said
}

/// What helps, the surest first.
fn helps(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, units, .. } = *view;
    output.heading("What helps, the surest first")?;
    let mut sheet = Sheet::new(&WAYS).right(&[3]).whole(&[0, 1, 2, 3, 4]);
    for row in ways(view) {
        sheet.row(&row);
    }
    sheet.write(output)?;
    let gone: Vec<String> = found
        .ways
        .iter()
        .filter_map(|one| Some((one, one.ice_gone_s?)))
        .map(|(one, time_s)| format!("{} after {}", way(one, view), with_unit(&hours(time_s), "h")))
        .collect();
    if !gone.is_empty() {
        output.text(&format!("  The ice has melted: {}.", gone.join("; ")), 2)?;
    }
    if found.asked.keeps < SURE {
        let needed = match units {
            Units::Metric => (found.needed_c.ceil(), "C"),
            Units::Us => ((found.needed_c * 1.8 + 32.0).ceil(), "F"),
        };
        output.text(
            &format!(
                "  More wax: a bar that holds to {0} {1} would keep its shape sent like this; `barwright adjust FORMULA --hold {0}{2}` says whether there is one.",
                whole(needed.0),
                units.degree(),
                needed.1
            ),
            2,
        )?;
    }
    Ok(())
}

/// What is told of each way.
pub const WAYS: [&str; 5] = ["packed", "keeps its shape", "core gets to", "liquid, %", "fails after"];

/// What is told of each way, under the heads of [`WAYS`].
pub fn ways(view: &View<'_>) -> Vec<[String; WAYS.len()]> {
    let row = |one: &Outcome| {
        [
            way(one, view),
            in_hundred(one.keeps),
            view.units.degrees(&one.core_c),
            whole(100.0 * one.melted_share.value),
            one.fails_s.as_ref().map_or_else(|| "-".to_owned(), |fails| failure(fails, view.found.length_s)),
        ]
    };
    view.found.ways.iter().map(row).collect()
}

/// A way in words.
fn way(one: &Outcome, view: &View<'_>) -> String {
    let (asked, units) = (&view.task.packing, view.units);
    let with = |foam_mm: f64, ice_g: f64| {
        let foam = (foam_mm > 0.0).then(|| format!("{} of foam", units.given_length(foam_mm)));
        let ice = (ice_g > 0.0).then(|| format!("{} of ice", mass(ice_g, units)));
        let parts: Vec<String> = foam.into_iter().chain(ice).collect();
        if parts.is_empty() { bare(asked).to_owned() } else { parts.join(", ") }
    };
    match one.way {
        Way::AsAsked => format!("as asked: {}", with(1e3 * asked.foam_m, 1e3 * asked.ice_kg)),
        Way::Bare => bare(asked).to_owned(),
        Way::Packed { foam_mm, ice_g } => with(foam_mm, ice_g),
        Way::Later { hours } => {
            let clock = view.sent.route.clock_s.map_or_else(String::new, |clock_s| {
                let minutes = ((clock_s / 60.0 + 60.0 * hours).round() as u64) % (24 * 60);
                format!(", at {:02}:{:02}", minutes / 60, minutes % 60)
            });
            format!("sent {hours:.0} h later on this route{clock}")
        }
    }
}

/// A packing without foam and ice, in words.
fn bare(packing: &Packing) -> &'static str {
    if packing.bars > 1 { "carton only" } else { "paper only" }
}

/// How it is packed, in a sentence.
fn packed(packing: &Packing) -> String {
    let round = matches!(packing.shape, BarShape::Round { .. });
    let mut text = match packing.bars {
        1 => "The bar is wrapped in paper and hangs free in the air; foam and ice come with a carton around it"
            .to_owned(),
        _ => {
            let [a, b, c] = packing.counts();
            let square = if round { ", round ones as square ones of their volume" } else { "" };
            format!(
                "The bars, in paper, are stacked {a} × {b} × {c} in a carton that touches them, as one block{square}"
            )
        }
    };
    text.push_str(". Foam has 0.035 W/mK and no gaps. Ice is frozen at 0 °C, lies in flat packs of 20 mm and takes 334 kJ/kg; the bars' own heat does not melt it. How well a pack cools the air of its box is a judgement: try it once with a thermometer.");
    text
}

/// When it fails: `2.3 h (1.1 to over 4)`.
fn failure(fails: &Estimate, length_s: f64) -> String {
    let shown = |seconds: f64| match seconds >= length_s {
        true => format!("over {}", significant(length_s / 3600.0, 2)),
        false => hours(seconds),
    };
    with_unit(&interval(fails, shown), "h")
}

/// Hours, with two digits.
fn hours(seconds: f64) -> String {
    let hours = seconds / 3600.0;
    if hours < 0.05 { "0".to_owned() } else { significant(hours, if hours < 100.0 { 2 } else { 3 }) }
}

/// A temperature of the course: in whole degrees.
fn degrees(units: Units, celsius: f64) -> String {
    match units {
        Units::Metric => whole(celsius),
        Units::Us => whole(celsius * 1.8 + 32.0),
    }
}

/// Where a built-in route is from.
fn origin(known: &KnownRoute) -> String {
    let source = source_citation(&known.source).unwrap_or_default();
    format!("{}. {}: {}", capital(&known.note), capital(known.status.word()), source.trim_end_matches('.'))
}

/// Writes the list of the built-in routes.
pub fn write_routes(output: &mut Output<'_>, known: &[KnownRoute], units: Units) -> io::Result<()> {
    output.title("Built-in routes", "for --route")?;
    output.blank()?;
    let mut sheet =
        Sheet::new(&["route", &format!("air, {}", units.degree()), "h", "status"]).right(&[2]).whole(&[0, 1, 2, 3]);
    for one in known {
        let all = one.route.rows.iter().map(|row| row.1);
        let (low, high) = (all.clone().fold(f64::INFINITY, f64::min), all.fold(f64::NEG_INFINITY, f64::max));
        let air = if low == high { units.given(low) } else { format!("{} to {}", units.given(low), units.given(high)) };
        let length = significant(one.route.length_s() / 3600.0, 2);
        sheet.row(&[one.name.clone(), air, length, one.status.word().to_owned()]);
    }
    sheet.write(output)?;
    output.text("  read: seen in the source; recalled: quoted from memory of it; estimated: worked out by us.", 2)?;
    output.heading("What they stand for, and where they come from")?;
    for one in known {
        output.item(&one.name, &format!("{}.", origin(one)))?;
    }
    Ok(())
}
