//! Cooling for people: where and how long, then the table, then what it rests on.

use std::io;

use barwright_answer::mould::filling;
use barwright_blend::suitability::GrainRisk;
use barwright_blend::{Assessment, Estimate, Options};
use barwright_making::Cooling;
use barwright_making::cool::{PlaceOutcome, WATCHED_S};
use barwright_reference::Formula;
use barwright_reference::mould::Mould;

use super::table::Sheet;
use super::write_cautions;
use super::{capital, name};
use crate::output::Output;
use barwright_answer::assess::interval_words;
use barwright_answer::words::number::{in_hundred, interval, significant};
use barwright_answer::words::units::Units;
use barwright_answer::words::units::with_unit;
use barwright_answer::words::visible::visible;

/// What is shown.
pub struct View<'a> {
    /// What was found.
    pub found: &'a Cooling,
    /// The formula.
    pub formula: &'a Formula,
    /// The mould.
    pub mould: &'a Mould,
    /// Whether nobody said how large the bar is.
    pub usual_size: bool,
    /// Temperature of the pour, °C.
    pub pour_c: f64,
    /// How it was computed.
    pub options: &'a Options,
    /// For the cautions.
    pub assessment: &'a Assessment,
    /// Units shown.
    pub units: Units,
}

/// What it rests on.
pub const RESTS_ON: &str = "Heat conduction with the melting curve of this blend; still air unless a fan is named; a silicone mould on a board, apart from others. Currents in the melt and late crystals are left out. When it can leave the mould, and grain, are rules of thumb.";

/// Times shown in minutes end here, s.
const MINUTES_UP_TO_S: f64 = 100.0 * 60.0;

/// Returns a time with its interval: `74 min (46 to 110)`, `3.3 h (1.2 to over 24)`; one that is reached on no day, in words.
pub fn times(estimate: Option<&Estimate>) -> String {
    let Some(estimate) = estimate else { return "not within a day".to_owned() };
    let (unit, shown): (&str, &dyn Fn(f64) -> String) = if estimate.value < MINUTES_UP_TO_S {
        ("min", &|seconds| match seconds / 60.0 {
            _ if seconds >= WATCHED_S => "over a day".to_owned(),
            minutes if minutes < 10.0 => format!("{:.0}", minutes.max(0.0)),
            minutes => significant(minutes, 2),
        })
    } else {
        ("h", &|seconds| if seconds >= WATCHED_S { "over 24".to_owned() } else { significant(seconds / 3600.0, 2) })
    };
    with_unit(&interval(estimate, shown), unit)
}

/// Writes the answer.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, mould, units, .. } = *view;
    output.title(&capital(&name(&view.formula.name)), "setting")?;
    output.blank()?;
    output.text(&answer(view), 2)?;
    let called = if view.usual_size { "No mould was named, so a palm-sized bar is taken" } else { "Mould" };
    let filling = filling(mould, called, found.bar_kg, units);
    output.text(&format!("{filling}; poured at {}.", units.whole_degrees(view.pour_c)), 2)?;

    output.heading("Where it cools")?;
    let mut sheet = Sheet::new(&PLACES).whole(&[0, 1, 2, 3, 4, 5]);
    for row in places(view) {
        sheet.row(&row);
    }
    sheet.write(output)?;
    if let Some(below) = below(view) {
        output.text(&format!("  {below}"), 2)?;
    }
    output.text(&format!("  {}", dew(view)), 2)?;

    output.heading("Shrinkage")?;
    let volume = interval(&found.shrinkage, |share| format!("{:.1}", 100.0 * share));
    output.text(
        &format!(
            "  From the pour to your room it gives up {} of its volume, some {} % of its length: fill again when the skin forms, or pour a little over the rim.",
            with_unit(&volume, "%"),
            significant(100.0 * found.shrinkage.value / 3.0, 2)
        ),
        2,
    )?;

    output.heading("What this rests on")?;
    output.text(&format!("  {RESTS_ON}"), 2)?;
    output.text(&format!("  {}", interval_words(view.assessment)), 2)?;
    write_cautions(output, view.assessment)
}

/// What is told of each place.
pub const PLACES: [&str; 6] = ["place", "skin", "set through", "out of the mould", "grain", "dew"];

/// What is told of each place, under the heads of [`PLACES`].
pub fn places(view: &View<'_>) -> Vec<[String; PLACES.len()]> {
    let row = |one: &PlaceOutcome| {
        [
            format!("{} {}", visible(&one.place.name), view.units.given_degrees(one.place.air_c)),
            times(one.skin_s.as_ref()),
            times(one.set_s.as_ref()),
            times(one.release_s.as_ref()),
            GrainRisk::from_index(one.grain).word().to_owned(),
            if one.dew { "yes" } else { "no" }.to_owned(),
        ]
    };
    view.found.places.iter().map(row).collect()
}

/// Below which temperatures it sets and comes out of its mould.
pub fn below(view: &View<'_>) -> Option<String> {
    let View { found, options, units, .. } = *view;
    let sets = found.sets_c.map(|sets_c| format!("It sets below {}", units.whole_degrees(sets_c)));
    let releases = found.releases_c.map(|releases_c| {
        let relief = units.given_length(options.relief_mm);
        format!("its relief of {relief} comes out whole below {}", units.whole_degrees(releases_c))
    });
    let both: Vec<String> = sets.into_iter().chain(releases).collect();
    (!both.is_empty()).then(|| format!("{}, at its warmest spot.", capital(&both.join("; "))))
}

/// When a cold bar gets wet.
pub fn dew(view: &View<'_>) -> String {
    format!(
        "Dew settles below {} in your room: let a cold bar warm up in its mould or in a bag first.",
        view.units.whole_degrees(view.found.dew_point_c)
    )
}

/// The sentence that matters.
pub fn answer(view: &View<'_>) -> String {
    let View { found, options, units, .. } = *view;
    let Some(best) = found.best.and_then(|best| found.places.get(best)) else {
        let reason = match found.releases_c {
            Some(releases_c) if releases_c > -20.0 => {
                format!("it would have to be colder than {}", units.whole_degrees(releases_c))
            }
            _ => "it is too soft at any temperature".to_owned(),
        };
        let relief = units.given_length(options.relief_mm);
        return format!("Relief of {relief} does not come out whole from any of these places within a day: {reason}.");
    };
    let sure = if best.releases < 0.95 { format!(" ({})", in_hundred(best.releases)) } else { String::new() };
    let others = if found.places.len() > 1 { "Best" } else { "In" };
    format!(
        "{others} {}: out of the mould after {}{sure}, with relief of {} whole{}.",
        place(best, units, found.places.len() > 1),
        times(best.release_s.as_ref()),
        units.given_length(options.relief_mm),
        if best.dew { "; dew will settle on it" } else { "" }
    )
}

fn place(one: &PlaceOutcome, units: Units, among: bool) -> String {
    let article = if among { "in the " } else { "the " };
    format!("{article}{} at {}", visible(&one.place.name), units.given_degrees(one.place.air_c))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_have_the_digits_they_deserve() {
        let of = |value, low, high| times(Some(&Estimate { value: value * 60.0, low: low * 60.0, high: high * 60.0 }));
        assert_eq!(of(74.2, 46.4, 112.0), "74 min (46 to 110)");
        assert_eq!(of(0.4, 0.2, 2.1), "0 min (0 to 2)");
        assert_eq!(of(200.0, 69.0, 1440.0), "3.3 h (1.1 to over 24)");
        assert_eq!(of(70.0, 60.0, 1440.0), "70 min (60 to over a day)");
        assert_eq!(times(None), "not within a day");
    }
}
