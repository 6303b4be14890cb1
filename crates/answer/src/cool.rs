//! From the poured melt to a bar out of its mould: where it cools best and how long it takes, then each place, then what that rests on.

use barwright_blend::assess::Workbench;
use barwright_blend::cautions::Caution;
use barwright_blend::suitability::GrainRisk;
use barwright_blend::{Estimate, Options};
use barwright_making::cool::{PlaceOutcome, WATCHED_S};
use barwright_making::{CoolTask, Cooling, MakingError, Place};
use barwright_reference::mould::Mould;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::assess::interval_words;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::mould::{filling, usual_mould};
use crate::picture::cooling;
use crate::places::{self, Room};
use crate::refusal::Refusal;
use crate::usual::{too_hot, usual_pour_c};
use crate::words::names::{capital, title};
use crate::words::number::{in_hundred, interval, significant};
use crate::words::units::{Units, with_unit};
use crate::words::visible::visible;
use crate::{Answered, Control, cautions};

/// What it rests on.
const RESTS_ON: &str = "Heat conduction with the melting curve of this blend; still air unless a fan is named; a silicone mould on a board, apart from others. Currents in the melt and late crystals are left out. When it can leave the mould, and grain, are rules of thumb.";

/// Times shown in minutes end here, s.
const MINUTES_UP_TO_S: f64 = 100.0 * 60.0;

/// Returns a time with its interval: `74 min (46 to 110)`, `3.3 h (1.2 to over 24)`; one that is reached on no day, in words.
pub(crate) fn times(estimate: Option<&Estimate>) -> String {
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

/// How long does a bar cool, and where best?
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Cool {
    /// The bar.
    pub formula: Recipe,
    /// Demands and options.
    pub options: Options,
    /// The mould; without one, that of a palm-sized bar.
    pub mould: Option<Mould>,
    /// Temperature of the melt in the mould, °C; without it, a little above the temperature at which the last crystal dissolves.
    pub pour_c: Option<f64>,
    /// The room: the mould starts at its temperature, and the bar comes out into it.
    pub room: Room,
    /// Where it could cool; without any, in the room, a fridge and a freezer.
    pub places: Vec<Place>,
    /// Whether to draw middle and surface against time.
    pub picture: bool,
    /// Units of the words.
    pub units: Units,
}

/// How long a bar cools, and where best.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Cooled {
    formula: String,
    pour_c: f64,
    relief_mm: f64,
    bar_g: f64,
    sets_c: Option<f64>,
    releases_c: Option<f64>,
    shrinkage_percent: Estimate,
    dew_point_c: f64,
    best: Option<String>,
    places: Vec<CooledAt>,
    cautions: Vec<Caution>,
}

/// How a bar cools in one place.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct CooledAt {
    place: String,
    air_c: f64,
    skin_min: Option<Estimate>,
    set_min: Option<Estimate>,
    release_min: Option<Estimate>,
    probability_within_a_day: f64,
    grain_risk: f64,
    minutes_from_40c_to_20c: Option<f64>,
    surface_c: f64,
    dew: bool,
}

/// Answers [`Cool`].
///
/// # Errors
/// The formula is not one, the options are outside the model, the melt is too hot for the mould or too cold to be clear, a place does not cool it, or
/// `control` stopped it.
pub fn cool(engine: &Engine, asked: &Cool, control: Control<'_>) -> Result<Answered<Cooled>, Refusal> {
    let formula = engine.formula(&asked.formula)?;
    let (bench, units) = (engine.bench(&asked.options)?, asked.units);
    let mould = asked.mould.clone().unwrap_or_else(usual_mould);
    let room_c = asked.room.air_c;
    let pour_c = asked.pour_c.map_or_else(|| usual_pour_c(&bench, &formula, room_c), Ok)?;
    too_hot(&mould, pour_c)?;
    let usual = if asked.places.is_empty() { places::usual(room_c, false) } else { Vec::new() };
    let places = if asked.places.is_empty() { &usual } else { &asked.places };
    let task = CoolTask {
        formula: &formula,
        mould: &mould,
        pour_c,
        mould_c: room_c,
        places,
        room: asked.room.pair(),
        fine: false,
    };
    let plan = Plan { usual_size: asked.mould.is_none(), ..Plan::new(&bench, &task, units, control)? };
    let assessment = &plan.found.assessment;
    let rests_on = [RESTS_ON.to_owned(), interval_words(assessment)];
    let document = Document { title: title(&formula, &engine.library), aside: "setting".to_owned(), ..plan.document() }
        .ending(rests_on, cautions::section(&[assessment], &[]));
    let picture = asked.picture.then(|| cooling::picture(&plan.found, pour_c, units));
    Ok(Answered { figures: plan.figures(&formula.name), document, picture })
}

/// A cooling, with what it is put into words with.
pub(crate) struct Plan {
    /// What was found.
    pub(crate) found: Cooling,
    /// The mould.
    mould: Mould,
    /// Whether nobody said how large the bar is.
    usual_size: bool,
    /// Temperature of the pour, °C.
    pour_c: f64,
    /// Finest relief that must come out whole, mm.
    relief_mm: f64,
    /// Units shown.
    units: Units,
}

impl Plan {
    /// Plans a cooling.
    ///
    /// # Errors
    /// As [`barwright_making::cool()`].
    pub(crate) fn new(
        bench: &Workbench<'_>,
        task: &CoolTask<'_>,
        units: Units,
        control: Control<'_>,
    ) -> Result<Self, MakingError> {
        let found = barwright_making::cool(bench, task, control)?;
        let relief_mm = bench.options().relief_mm;
        Ok(Plan { found, mould: task.mould.clone(), usual_size: false, pour_c: task.pour_c, relief_mm, units })
    }

    /// Its figures.
    ///
    /// # Arguments
    /// * `formula`: its name.
    pub(crate) fn figures(&self, formula: &str) -> Cooled {
        let found = &self.found;
        let minutes = |time: &Option<Estimate>| time.map(|time| time.map(|time_s| time_s / 60.0));
        let places = found.places.iter().map(|one| CooledAt {
            place: one.place.name.clone(),
            air_c: one.place.air_c,
            skin_min: minutes(&one.skin_s),
            set_min: minutes(&one.set_s),
            release_min: minutes(&one.release_s),
            probability_within_a_day: one.releases,
            grain_risk: one.grain,
            minutes_from_40c_to_20c: one.slow_s.map(|time| time / 60.0),
            surface_c: one.surface_c,
            dew: one.dew,
        });
        Cooled {
            formula: formula.to_owned(),
            pour_c: self.pour_c,
            relief_mm: self.relief_mm,
            bar_g: 1e3 * found.bar_kg,
            sets_c: found.sets_c,
            releases_c: found.releases_c,
            shrinkage_percent: found.shrinkage.map(|share| 100.0 * share),
            dew_point_c: found.dew_point_c,
            best: found.best.and_then(|best| found.places.get(best)).map(|one| one.place.name.clone()),
            places: places.collect(),
            cautions: found.assessment.cautions.clone(),
        }
    }

    /// It as a section of a report, with its picture.
    pub(crate) fn section(&self) -> Section {
        let mut section = self.document().into_section("Setting");
        let picture = cooling::picture(&self.found, self.pour_c, self.units);
        section.blocks.extend([Block::Picture(picture), Block::Small(RESTS_ON.to_owned())]);
        section
    }

    /// It in words: where best, each place, how much the bar shrinks.
    fn document(&self) -> Document {
        let (found, units) = (&self.found, self.units);
        let called = if self.usual_size { "No mould was named, so a palm-sized bar is taken" } else { "Mould" };
        let filling = filling(&self.mould, called, found.bar_kg, units);
        let poured = format!("{filling}; poured at {}.", units.whole_degrees(self.pour_c));
        let volume = interval(&found.shrinkage, |share| format!("{:.1}", 100.0 * share));
        let shrinkage = format!(
            "From the pour to your room it gives up {} of its volume, some {} % of its length: fill again when the skin forms, or pour a little over the rim.",
            with_unit(&volume, "%"),
            significant(100.0 * found.shrinkage.value / 3.0, 2)
        );
        let below = Block::said(self.below().into_iter().chain([self.dew()]));
        Document::default()
            .lead([Block::said([self.best_place(), poured])])
            .section("Where it cools", [Block::Table(self.places()), below])
            .section("Shrinkage", [Block::said([shrinkage])])
    }

    /// What is told of each place.
    fn places(&self) -> Table {
        let row = |one: &PlaceOutcome| {
            [
                format!("{} {}", visible(&one.place.name), self.units.given_degrees(one.place.air_c)),
                times(one.skin_s.as_ref()),
                times(one.set_s.as_ref()),
                times(one.release_s.as_ref()),
                GrainRisk::from_index(one.grain).word().to_owned(),
                if one.dew { "yes" } else { "no" }.to_owned(),
            ]
        };
        Table::new("Where it cools, with 90 % intervals.")
            .columns(Kind::Figure, ["place", "skin", "set through", "out of the mould"])
            .columns(Kind::Words, ["grain", "dew"])
            .rows(self.found.places.iter().map(row))
    }

    /// Below which temperatures it sets and comes out of its mould.
    pub(crate) fn below(&self) -> Option<String> {
        let (found, relief_mm, units) = (&self.found, self.relief_mm, self.units);
        let sets = found.sets_c.map(|sets_c| format!("It sets below {}", units.whole_degrees(sets_c)));
        let releases = found.releases_c.map(|releases_c| {
            let relief = units.given_length(relief_mm);
            format!("its relief of {relief} comes out whole below {}", units.whole_degrees(releases_c))
        });
        let both: Vec<String> = sets.into_iter().chain(releases).collect();
        (!both.is_empty()).then(|| format!("{}, at its warmest spot.", capital(&both.join("; "))))
    }

    /// When a cold bar gets wet.
    pub(crate) fn dew(&self) -> String {
        format!(
            "Dew settles below {} in your room: let a cold bar warm up in its mould or in a bag first.",
            self.units.whole_degrees(self.found.dew_point_c)
        )
    }

    /// The sentence that matters: where it cools best, and how long that takes.
    pub(crate) fn best_place(&self) -> String {
        let (found, relief_mm, units) = (&self.found, self.relief_mm, self.units);
        let Some(best) = found.best.and_then(|best| found.places.get(best)) else {
            let reason = match found.releases_c {
                Some(releases_c) if releases_c > -20.0 => {
                    format!("it would have to be colder than {}", units.whole_degrees(releases_c))
                }
                _ => "it is too soft at any temperature".to_owned(),
            };
            let relief = units.given_length(relief_mm);
            return format!(
                "Relief of {relief} does not come out whole from any of these places within a day: {reason}."
            );
        };
        let sure = if best.releases < 0.95 { format!(" ({})", in_hundred(best.releases)) } else { String::new() };
        let others = if found.places.len() > 1 { "Best" } else { "In" };
        format!(
            "{others} {}: out of the mould after {}{sure}, with relief of {} whole{}.",
            place(best, units, found.places.len() > 1),
            times(best.release_s.as_ref()),
            units.given_length(relief_mm),
            if best.dew { "; dew will settle on it" } else { "" }
        )
    }
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
