//! A pour plan for people: the temperatures that matter, then the steps, then how thick it is.

use std::io;

use barwright_blend::Assessment;
use barwright_blend::viscosity::HIGHEST_C;
use barwright_making::Pouring;
use barwright_making::pour::{BURST_S, FLASH_MARGIN_K, Limit, MeltStep};
use barwright_reference::{Formula, Library};

use super::cool::times;
use super::in_text;
use super::table::Sheet;
use super::write_cautions;
use super::{capital, name};
use crate::output::Output;
use barwright_answer::assess::{interval_words, share};
use barwright_answer::mould::mass;
use barwright_answer::words::number::{interval, significant};
use barwright_answer::words::units::Units;
use barwright_answer::words::units::with_unit;
use barwright_answer::words::visible::visible;

/// Spacing of the table of viscosities, K.
const STEP_C: f64 = 5.0;

/// Rows of that table.
const ROWS: usize = 7;

/// Of a blend that is held hot for the sake of old crystals.
pub const SEEDS: &str =
    "This blend may go grainy: so hot no old crystal is left to seed it. Cool it quickly afterwards, in a fridge.";

/// What it rests on.
pub const RESTS_ON: &str = "Clear points are the model's; viscosities are blended from published ones by two rules, those of molten waxes recalled. The time in the jug takes it stirred, as high as wide, thin-walled, in still air. The margins (10 °C above clear, 5 °C above the haze, a water bath to 90 °C) are common practice.";

/// What is told of each step of melting.
pub const STEPS: [&str; 5] = ["", "ingredient", "part, %", "mass", "melts up to"];

/// What is shown.
pub struct View<'a> {
    /// The plan.
    pub found: &'a Pouring,
    /// The formula.
    pub formula: &'a Formula,
    /// The second melt.
    pub second: Option<&'a Formula>,
    /// Reference tables.
    pub library: &'a Library,
    /// Mass in the jug, kg.
    pub mass_kg: f64,
    /// Mass melted at once, before it is parted into jugs, kg.
    pub melt_kg: f64,
    /// Whether that is what the mould takes.
    pub of_mould: bool,
    /// Power of a microwave, W.
    pub microwave: Option<f64>,
    /// Flash point of the scent, °C.
    pub scent: Option<f64>,
    /// For the cautions.
    pub assessment: &'a Assessment,
    /// Units shown.
    pub units: Units,
}

/// Temperatures viscosities are shown at: from the first haze up.
pub fn temperatures(found: &Pouring) -> Vec<f64> {
    let from = found.haze_c.map_or(found.pour_c, |haze| haze.value);
    let first = (from / STEP_C).ceil() * STEP_C;
    (0..ROWS).map(|row| first + STEP_C * row as f64).filter(|celsius| *celsius <= HIGHEST_C).collect()
}

/// Writes the plan.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, units, .. } = *view;
    let given = |celsius: f64| units.whole_degrees(celsius);
    output.title(&capital(&name(&view.formula.name)), "melt")?;
    output.blank()?;
    for sentence in decisive(view) {
        output.text(&sentence, 2)?;
    }
    two_streams(output, view)?;

    output.heading("Melting, the hardest first")?;
    let mut sheet = Sheet::new(&STEPS).right(&[0, 2, 3]);
    for row in steps(view) {
        sheet.row(&row);
    }
    sheet.write(output)?;

    output.heading("In a water bath")?;
    output.text(
        &format!(
            "  Melt the first ones, add the rest in order, and hold the melt at {} until it is clear, some ten minutes more. The water simmers, it does not boil; no drop of it into the melt.",
            given(found.hold_c)
        ),
        4,
    )?;
    if found.seeds {
        output.text(&format!("  {SEEDS}"), 4)?;
    }
    let cooled = found.hold_c > found.pour_c;
    let wait = match (&found.down_s, cooled) {
        (Some(time), true) => {
            format!("Let it cool to {}, stirring, which takes {}; then ", given(found.pour_c), times(Some(time)))
        }
        _ => String::new(),
    };
    let step = format!("{wait}{}pour at {}.", scent_words(view), given(found.pour_c));
    output.text(&format!("  {}", capital(&step)), 4)?;
    if let Some(watts) = view.microwave {
        output.heading("In a microwave, instead")?;
        output.text(
            &format!(
                "  The same order; the wax cut small, with some of the oil over it: wax alone hardly warms. About {} bursts of {BURST_S:.0} s at {watts:.0} W, perhaps half or twice as many, stirred and measured after each; stop at {}.",
                found.bursts(watts),
                given(found.hold_c)
            ),
            4,
        )?;
        output.text(
            "  It heats in spots that nobody sees: never in one go, never unattended, no metal, no lid, a vessel made for it, gloves. The manual of the oven comes first.",
            4,
        )?;
    }

    output.heading("How thick it is")?;
    let mut sheet = Sheet::new(&[units.degree(), "viscosity, mPa·s"]).right(&[0]);
    for celsius in temperatures(found) {
        sheet.row(&[units.given(celsius), interval(&found.viscosity.at(celsius), |mpa_s| significant(mpa_s, 2))]);
    }
    sheet.write(output)?;
    output.text("  Water at room temperature has 1, olive oil about 80.", 2)?;

    output.heading("What this rests on")?;
    output.text(&format!("  {RESTS_ON}"), 2)?;
    output.text(&format!("  {}", interval_words(view.assessment)), 2)?;
    write_cautions(output, view.assessment)
}

/// What is told of each step of melting, under the heads of [`STEPS`].
pub fn steps(view: &View<'_>) -> Vec<[String; STEPS.len()]> {
    let row = |(number, step): (usize, &MeltStep)| {
        let called = view.library.ingredients.get(step.ingredient).map_or("", |one| one.common_name.as_str());
        [
            (number + 1).to_string(),
            visible(called),
            share(step.percent),
            mass(10.0 * view.mass_kg * step.percent, view.units),
            step.melts_c.map_or_else(|| "liquid".to_owned(), |melts_c| view.units.whole_degrees(melts_c)),
        ]
    };
    view.found.order.iter().enumerate().map(row).collect()
}

/// The sentences that decide: how hot, when to pour, no hotter than, and how long a jug lasts.
pub fn decisive(view: &View<'_>) -> Vec<String> {
    let View { found, units, .. } = *view;
    let given = |celsius: f64| units.whole_degrees(celsius);
    let all = match (&found.clear_c, &found.haze_c) {
        (Some(clear), Some(haze)) => format!(
            "All is dissolved at {}; as it cools, the first haze comes at {}.",
            units.degrees(clear),
            units.degrees(haze)
        ),
        (Some(clear), None) => format!("All is dissolved at {}; as it cools, it stays clear.", units.degrees(clear)),
        _ => "It is liquid in your room and needs no melting.".to_owned(),
    };
    let ceiling = format!("No hotter than {}: {}.", given(found.ceiling_c), because(view));
    let jug = found.workable_s.as_ref().map(|workable| {
        format!(
            "A jug of {}, taken off at {}, pours well for {}.",
            mass(1e3 * view.mass_kg, units),
            given(found.hold_c.max(found.pour_c)),
            times(Some(workable))
        )
    });
    [window(view), all, ceiling].into_iter().chain(jug).collect()
}

/// The sentence that matters.
fn window(view: &View<'_>) -> String {
    let View { found, units, .. } = *view;
    let given = |celsius: f64| units.whole_degrees(celsius);
    let clear_c = found.clear_c.map_or(f64::NEG_INFINITY, |clear| clear.value);
    match (&found.haze_c, found.scent_below_c) {
        _ if found.window => {}
        (Some(haze), Some(scent_c)) if clear_c < found.ceiling_c => {
            return format!(
                "There is no safe window for this scent: the melt has its first haze at {}, and the scent goes in below {}.",
                given(haze.value),
                given(scent_c)
            );
        }
        _ => {
            return format!(
                "There is no safe window: it must be hotter than {} to be clear, and may not be hotter than {}.",
                given(clear_c),
                given(found.ceiling_c)
            );
        }
    }
    let of = if view.of_mould { ", the mould's filling and what stays in the jug," } else { "" };
    format!(
        "Melt {}{of} to {}, then pour at {}.",
        mass(1e3 * view.melt_kg, units),
        given(found.hold_c),
        given(found.pour_c)
    )
}

/// Why it may not get hotter.
fn because(view: &View<'_>) -> String {
    match view.found.limit {
        Limit::Bath => "what a water bath gives, and butters and oils keep well below it".to_owned(),
        Limit::Flash(index) => {
            let called = view.library.ingredients.get(index).map_or("", |one| one.common_name.as_str());
            format!("{} from the flash point of {}", view.units.difference(FLASH_MARGIN_K), in_text(called))
        }
        Limit::Mould => "what the mould takes".to_owned(),
    }
}

/// When the scent goes in.
fn scent_words(view: &View<'_>) -> String {
    view.scent.map_or_else(String::new, |_| format!("{} and ", scent(view)))
}

/// How hot the melt may be when the scent goes in; empty without one.
pub fn scent(view: &View<'_>) -> String {
    view.scent.map_or_else(String::new, |flash_c| {
        format!(
            "stir in the scent (below {}, {} from its flash point; as much as its certificate allows for leave-on use)",
            view.units.whole_degrees(flash_c - FLASH_MARGIN_K),
            view.units.difference(FLASH_MARGIN_K)
        )
    })
}

/// Two melts in one stream.
fn two_streams(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, units, .. } = *view;
    if view.second.is_none() {
        return Ok(());
    }
    let thick = with_unit(&interval(&found.viscosity.at(found.pour_c), |mpa_s| significant(mpa_s, 2)), "mPa·s");
    let first = format!("At {} the first is {thick} thick", units.whole_degrees(found.pour_c));
    let text = match (&found.second_c, &found.second_haze_c) {
        (Some(at), Some(haze)) if at.value <= haze.value => format!(
            "{first}; the second would be as thin only at {}, below its own first haze at {}: pour the first hotter.",
            units.degrees(at),
            units.whole_degrees(haze.value)
        ),
        (Some(at), _) => format!(
            "{first}; the second is as thick at {}: pour both at these temperatures for even streams.",
            units.degrees(at)
        ),
        (None, _) => format!("{first}; the second is that thick at no temperature it can have."),
    };
    output.text(&format!("{text} Colour thickens a melt a little, which is left out."), 2)
}
