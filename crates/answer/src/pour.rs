//! What to melt first, how hot, and when to pour: the temperatures that matter, then the steps, then how thick the melt is.

use barwright_blend::assess::Workbench;
use barwright_blend::cautions::Caution;
use barwright_blend::viscosity::HIGHEST_C;
use barwright_blend::{Estimate, Options};
use barwright_making::pour::{
    BURST_S, FLASH_MARGIN_K, JUG_WATCHED_S, Limit, MeltStep, POURED_ABOVE_K, ScentTime, Stage,
};
use barwright_making::sinking::Sinking;
use barwright_making::{MakingError, PourTask, Pouring};
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, IngredientId, Library};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::assess::{interval_words, share};
use crate::cool::times;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::mould::mass;
use crate::places::Room;
use crate::refusal::{Fault, Refusal};
use crate::usual::{USUAL_KG, filling_kg};
use crate::words::names::{capital, in_text, title};
use crate::words::number::{interval, significant};
use crate::words::units::{Units, with_unit};
use crate::words::visible::visible;
use crate::{Answered, Control, cautions};

/// Spacing of the table of viscosities, K.
const STEP_C: f64 = 5.0;

/// Rows of that table.
const ROWS: usize = 7;

/// What a flash point is.
const FIRE: &str = "A flash point is a fire figure: from there on the vapour of the scent catches fire at a flame. Top notes are another matter: they leave a warm melt at any temperature, the sooner the hotter, so the scent goes in last and is poured at once.";

/// Of a pour that a scent does not fit.
const WITHOUT_SCENT: &str = ", without this scent";

/// Of a blend that is held hot for the sake of old crystals.
pub(crate) const SEEDS: &str =
    "This blend may go grainy: so hot no old crystal is left to seed it. Cool it quickly afterwards, in a fridge.";

/// Of powders.
const GRAINS: &str = "By Stokes's law for single round grains. Fine oxides clump, and the clump sinks: rub them smooth in a little oil first.";

/// What it rests on.
const RESTS_ON: &str = "Clear points are the model's; viscosities are blended from published ones by two rules, those of molten waxes recalled. The time in the jug assumes a stirred jug, as high as wide, thin-walled, in still air. The margins (10 °C above clear, 5 °C above the haze, a water bath to 90 °C) are common practice.";

/// How is a bar melted and poured?
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Pour {
    /// The bar.
    pub formula: Recipe,
    /// A second melt poured into the same stream.
    pub second: Option<Recipe>,
    /// How it is computed.
    pub options: Options,
    /// Mass in the jug, kg; without it, what the mould takes, or half a kilogram.
    pub mass_kg: Option<f64>,
    /// The mould, which says how much it takes and how hot it may be filled.
    pub mould: Option<Mould>,
    /// The room.
    pub room: Room,
    /// Flash point of a scent that is not in the formula, °C.
    pub flash_c: Option<f64>,
    /// Temperature of the pour, °C; without it, a little above the first haze.
    pub pour_c: Option<f64>,
    /// Power of a microwave, W, for a plan in short bursts.
    pub microwave_w: Option<f64>,
    /// Units of the words.
    pub units: Units,
}

/// How a bar is melted and poured.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Poured {
    formula: String,
    mass_kg: f64,
    order: Vec<Step>,
    clear_c: Option<Estimate>,
    haze_c: Option<Estimate>,
    ceiling_c: f64,
    scent_below_c: Option<f64>,
    /// Flash point from which a scent changes nothing in the pour, °C.
    flash_needed_c: Option<f64>,
    /// From where the scent may go in until the first haze.
    scent_min: Option<Estimate>,
    /// The same with a lid on the jug.
    scent_lid_min: Option<Estimate>,
    /// The same in a jug of half the mass.
    scent_half_jug_min: Option<Estimate>,
    limit: Limit,
    window: bool,
    hold_c: f64,
    pour_c: f64,
    workable_min: Option<Estimate>,
    heat_kj: Estimate,
    viscosity: Vec<ViscosityAt>,
    second_c: Option<Estimate>,
    microwave_bursts: Option<u32>,
    /// How its powders sink.
    sinking: Vec<Sinks>,
    cautions: Vec<Caution>,
}

/// How a powder sinks in the melt.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct Sinks {
    /// Key of the powder.
    ingredient: String,
    /// At the pour; negative where it rises.
    mm_per_min: Estimate,
    /// Below it the powder sinks slower than a millimetre a minute, °C; none where the melt hazes before.
    slow_below_c: Option<f64>,
}

/// One step of melting.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct Step {
    /// Key of the ingredient.
    ingredient: String,
    #[serde(flatten)]
    step: MeltStep,
}

/// Viscosity at one temperature.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct ViscosityAt {
    temperature_c: f64,
    viscosity_mpa_s: Estimate,
}

/// Answers [`Pour`].
///
/// # Errors
/// A formula is not one, the options are outside the model, a flash point is none for this room, the pour is too cold to be clear or too hot for the scent,
/// or `control` stopped it.
pub fn pour(engine: &Engine, asked: &Pour, control: Control<'_>) -> Result<Answered<Poured>, Refusal> {
    let formula = engine.formula(&asked.formula)?;
    flash_above_room(&engine.library, asked, &formula, &[])?;
    let second = asked.second.as_ref().map(|second| engine.formula(second)).transpose()?;
    let plan = Plan::new(&engine.bench(&asked.options)?, asked, &formula, second.as_ref(), control)?;
    let assessment = &plan.found.assessment;
    let rests_on = [RESTS_ON.to_owned(), interval_words(assessment)];
    let document = Document { title: title(&formula, &engine.library), aside: "melt".to_owned(), ..plan.document() }
        .ending(rests_on, cautions::section(&[assessment], &[]));
    Ok(Answered { figures: plan.figures(&formula.name), document, picture: None })
}

/// Refuses a flash point that the room itself reaches: of the scent named beside the formula, of what is in it, of scents by their lots.
///
/// # Errors
/// Names the option or the lot.
pub(crate) fn flash_above_room(
    library: &Library,
    asked: &Pour,
    formula: &Formula,
    scents: &[IngredientId],
) -> Result<(), Refusal> {
    let (room_c, units) = (asked.room.air_c, asked.units);
    let refused = |of: String, flash_c: f64, correct: &str| {
        let [flash, room] = [flash_c, room_c].map(|celsius| units.given_degrees(celsius));
        Fault::new("flash-below-room", format!("{of}: a flash point of {flash} is no higher than your room's {room}"))
            .hint(format!(
                "Look it up in its certificate, mind the unit (°C or °F), and {correct}. Where it is right, this is nothing to stir into a warm melt; `--room` says how warm your room is."
            ))
    };
    let parts = formula.parts.iter().map(|part| part.ingredient).chain(scents.iter().copied());
    let lots = parts.filter_map(|id| library.get(id)).filter_map(|one| {
        let flash_c = one.lot_flash_c.filter(|flash_c| *flash_c <= room_c)?;
        Some(refused(format!("`flash_c` of the lot `{}`", one.key), flash_c, "correct it in your lot file"))
    });
    let named = scents.is_empty().then_some(asked.flash_c).flatten().filter(|flash_c| *flash_c <= room_c);
    let named = named.map(|flash_c| refused("--flash".to_owned(), flash_c, "write it such as `65C` or `150F`"));
    match named.into_iter().chain(lots).next() {
        Some(fault) => Err(fault.into()),
        None => Ok(()),
    }
}

/// A plan, with what it is put into words with.
pub(crate) struct Plan<'a> {
    /// What was found.
    pub(crate) found: Pouring,
    /// Reference tables.
    library: &'a Library,
    /// Mass in the jug, kg.
    mass_kg: f64,
    /// Mass melted at once, before it is parted into jugs, kg.
    pub(crate) melt_kg: f64,
    /// Whether that is what the mould takes.
    of_mould: bool,
    /// Whether a second melt is poured into the same stream.
    two_streams: bool,
    /// Power of a microwave, W.
    microwave_w: Option<f64>,
    /// Units shown.
    units: Units,
}

impl<'a> Plan<'a> {
    /// Plans a pour of a formula, or of two in one stream; its own amounts are not looked at.
    ///
    /// # Arguments
    /// * `bench`: made with the options asked.
    ///
    /// # Errors
    /// As [`barwright_making::pour()`].
    pub(crate) fn new(
        bench: &Workbench<'a>,
        asked: &Pour,
        formula: &Formula,
        second: Option<&Formula>,
        control: Control<'_>,
    ) -> Result<Self, MakingError> {
        let (library, mould) = (bench.library(), asked.mould.as_ref());
        let filling_kg = mould.map(|mould| filling_kg(mould, library, formula));
        let mass_kg = asked.mass_kg.or(filling_kg).unwrap_or(USUAL_KG);
        let task = PourTask {
            formula,
            second,
            mass_kg,
            room_c: asked.room.air_c,
            mould_most_c: mould.and_then(|mould| mould.most_c),
            flash_c: asked.flash_c,
            pour_c: asked.pour_c,
        };
        Ok(Plan {
            found: barwright_making::pour(bench, &task, control)?,
            library,
            mass_kg,
            melt_kg: mass_kg,
            of_mould: asked.mass_kg.is_none() && mould.is_some(),
            two_streams: second.is_some(),
            microwave_w: asked.microwave_w,
            units: asked.units,
        })
    }

    /// Its figures.
    ///
    /// # Arguments
    /// * `formula`: its name.
    pub(crate) fn figures(&self, formula: &str) -> Poured {
        let Plan { found, library, .. } = self;
        let order = found
            .order
            .iter()
            .map(|step| Step { ingredient: library.key(step.ingredient).to_owned(), step: step.clone() });
        let viscosity = temperatures(found)
            .into_iter()
            .map(|temperature_c| ViscosityAt { temperature_c, viscosity_mpa_s: found.viscosity.at(temperature_c) });
        let minutes = |time_s: &Option<Estimate>| time_s.map(|time| time.map(|time_s| time_s * (1.0 / 60.0)));
        let scent_min = |of: fn(&ScentTime) -> &Option<Estimate>| minutes(found.scent_time.as_ref().map(of)?);
        Poured {
            formula: formula.to_owned(),
            mass_kg: self.mass_kg,
            order: order.collect(),
            clear_c: found.clear_c,
            haze_c: found.haze_c,
            ceiling_c: found.ceiling_c,
            scent_below_c: found.scent_below_c,
            flash_needed_c: found.flash_needed_c,
            scent_min: scent_min(|time| &time.jug_s),
            scent_lid_min: scent_min(|time| &time.lid_s),
            scent_half_jug_min: scent_min(|time| &time.half_s),
            limit: found.limit.clone(),
            window: found.window,
            hold_c: found.hold_c,
            pour_c: found.pour_c,
            workable_min: minutes(&found.workable_s),
            heat_kj: found.heat_j.map(|heat_j| 1e-3 * heat_j),
            viscosity: viscosity.collect(),
            second_c: found.second_c,
            microwave_bursts: self.microwave_w.map(|watts| found.bursts(watts)),
            sinking: found
                .sinking
                .iter()
                .map(|one| Sinks {
                    ingredient: library.key(one.ingredient).to_owned(),
                    mm_per_min: one.mm_per_min,
                    slow_below_c: one.slow_below_c,
                })
                .collect(),
            cautions: found.assessment.cautions.clone(),
        }
    }

    /// It as a section of a report.
    pub(crate) fn section(&self) -> Section {
        let mut section = self.document().into_section("Pouring");
        section.blocks.push(Block::Small(RESTS_ON.to_owned()));
        section
    }

    /// It in words: what decides, the order of melting, how to heat it, how thick it is.
    fn document(&self) -> Document {
        let (found, units) = (&self.found, self.units);
        let hold = units.whole_degrees(found.hold_c);
        let bath = format!(
            "Melt the first ones, add the rest in order, and hold the melt at {hold} until it is clear, some ten minutes more. The water simmers, it does not boil; no drop of it into the melt."
        );
        let bath = [Some(bath), found.seeds.then(|| SEEDS.to_owned()), Some(self.filling_sentence())];
        let mut document = Document::default()
            .lead([Block::said(self.decisive().into_iter().chain(self.two_streams()))])
            .section("Melting, the hardest first", [Block::Table(self.steps())]);
        if found.melts {
            document = document.section("In a water bath", [Block::said(bath.into_iter().flatten())]);
        }
        if let Some(watts) = self.microwave_w.filter(|_| found.melts) {
            let bursts = format!(
                "The same order; the wax cut small, with some of the oil over it: wax alone hardly warms. About {} bursts of {BURST_S:.0} s at {watts:.0} W, perhaps half or twice as many, stirred and measured after each; stop at {hold}.",
                found.bursts(watts)
            );
            let care = "It heats in spots that nobody sees: never in one go, never unattended, no metal, no lid, a vessel made for it, gloves. The manual of the oven comes first.";
            document = document.section("In a microwave, instead", [Block::said([bursts, care.to_owned()])]);
        }
        let thick = temperatures(found).into_iter().map(|celsius| [units.given(celsius), viscosity(found, celsius)]);
        let thick = Table::new("Of the melt.")
            .columns(Kind::Number, [units.degree()])
            .columns(Kind::Figure, ["viscosity, mPa·s"])
            .rows(thick);
        let scent = self.scent();
        if !scent.is_empty() {
            document = document.section("The scent", [Block::said(scent)]);
        }
        let known = "Water at room temperature has 1, olive oil about 80.";
        document = document.section("How thick it is", [Block::Table(thick), Block::said([known])]);
        if !found.sinking.is_empty() {
            let sentences = found.sinking.iter().map(|one| self.sinks(one));
            document =
                document.section("Powder in the melt", [Block::said(sentences), Block::Small(GRAINS.to_owned())]);
        }
        document
    }

    /// How a powder sinks, and what to do.
    fn sinks(&self, one: &Sinking) -> String {
        let (units, found) = (self.units, &self.found);
        let powder = visible(self.library.common_name(one.ingredient));
        let Estimate { value, low, high } = one.mm_per_min;
        let (way, speed) = if value < 0.0 {
            ("rises", Estimate { value: -value, low: -high, high: -low })
        } else {
            ("sinks", one.mm_per_min)
        };
        let speed = interval(&speed, |mm| significant(mm, 2));
        let advice = match one.slow_below_c {
            Some(slow_c) if slow_c >= found.pour_c => {
                "It stays where it is stirred to until a small bar sets.".to_owned()
            }
            Some(slow_c) => format!(
                "Stirred all the time and poured at {} or below, it stays where it is.",
                units.whole_degrees(slow_c.floor())
            ),
            None => {
                "Even at the first haze it does not stay: stir until the melt is opaque, pour shallow bars, and let \
                     them set fast."
                    .to_owned()
            }
        };
        format!("{powder} {way} {speed} mm a minute at {}. {advice}", units.whole_degrees(found.pour_c))
    }

    /// From the bath into the mould: when to stir in the scent and to pour.
    fn filling_sentence(&self) -> String {
        let pour = self.units.whole_degrees(self.found.pour_c);
        let wait = match &self.found.down_s {
            Some(time) if self.found.hold_c > self.found.pour_c => {
                format!("let it cool to {pour}, stirring, which takes {}; then ", times(Some(time)))
            }
            _ => String::new(),
        };
        let (scent, without) = match (self.found.scent_below_c, &self.found.scent_time) {
            (Some(_), Some(_)) => ("stir in the scent and ", ""),
            (Some(_), None) => ("", WITHOUT_SCENT),
            (None, _) => ("", ""),
        };
        capital(&format!("{wait}{scent}pour at {pour}{without}."))
    }

    /// What to melt, the hardest first.
    fn steps(&self) -> Table {
        let row = |(number, step): (usize, &MeltStep)| {
            let called = self.library.common_name(step.ingredient);
            [
                (number + 1).to_string(),
                visible(called),
                share(step.percent),
                mass(10.0 * self.mass_kg * step.percent, self.units),
                match step.stage {
                    Stage::Melt => step.melts_c.map_or_else(String::new, |melts_c| self.units.whole_degrees(melts_c)),
                    Stage::Liquid => "liquid".to_owned(),
                    Stage::Powder => "powder: stir in".to_owned(),
                    Stage::Scent => "scent: last, at the pour".to_owned(),
                },
            ]
        };
        Table::new("What to melt, the hardest first.")
            .columns(Kind::Number, ["step"])
            .columns(Kind::Words, ["ingredient"])
            .columns(Kind::Number, ["part, %", "mass"])
            .columns(Kind::Words, ["melts up to"])
            .rows(self.found.order.iter().enumerate().map(row))
    }

    /// The sentences that decide: how hot, when to pour, no hotter than, and how long a jug lasts.
    pub(crate) fn decisive(&self) -> Vec<String> {
        let (found, units) = (&self.found, self.units);
        let given = |celsius: f64| units.whole_degrees(celsius);
        let all = match (&found.clear_c, &found.haze_c) {
            (Some(clear), Some(haze)) => format!(
                "All is dissolved at {}; as it cools, the first haze comes at {}.",
                units.degrees(clear),
                units.degrees(haze)
            ),
            (Some(clear), None) => {
                format!("All is dissolved at {}; as it cools, it stays clear.", units.degrees(clear))
            }
            _ => "It is liquid in your room and needs no melting.".to_owned(),
        };
        let ceiling = format!("No hotter than {}: {}.", given(found.ceiling_c), self.because());
        if !found.melts {
            return vec![self.window(), all, ceiling, self.way_out()];
        }
        let jug = found.workable_s.as_ref().map(|workable| {
            format!(
                "A jug of {}, taken off at {}, pours well for {}.",
                mass(1e3 * self.mass_kg, units),
                given(found.hold_c.max(found.pour_c)),
                times(Some(workable))
            )
        });
        [self.window(), all, ceiling].into_iter().chain(jug).collect()
    }

    /// The sentence that matters.
    fn window(&self) -> String {
        let (found, units) = (&self.found, self.units);
        let given = |celsius: f64| units.whole_degrees(celsius);
        if !found.melts {
            let clear_c = found.clear_c.map_or(found.ceiling_c, |clear| clear.value);
            return format!(
                "It cannot be melted like this: it is clear only above {}, and may not be hotter than {}.",
                given(clear_c),
                given(found.ceiling_c)
            );
        }
        let without = if found.window { "" } else { WITHOUT_SCENT };
        let of = if self.of_mould { ", the mould's filling and what stays in the jug," } else { "" };
        format!(
            "Melt {}{of} to {}, then pour at {}{without}.",
            mass(1e3 * self.melt_kg, units),
            given(found.hold_c),
            given(found.pour_c)
        )
    }

    /// What can be done where it cannot be melted.
    fn way_out(&self) -> String {
        match self.found.limit {
            Limit::Bath => format!("What can be done: less of {}, or a wax that melts lower.", self.hardest()),
            Limit::Flash(index) => {
                let scent = in_text(self.library.common_name(index));
                format!(
                    "What can be done: leave {scent} out of the formula, and ask for a plan with `--flash`: stirred in last it need not be as hot as the wax."
                )
            }
            Limit::Mould => {
                let least_c = self.found.haze_c.map_or(self.found.pour_c, |haze| haze.value) + POURED_ABOVE_K;
                let least = self.units.whole_degrees(least_c.ceil());
                format!("What can be done: a mould that takes {least} or more, or less of {}.", self.hardest())
            }
        }
    }

    /// What melts highest.
    fn hardest(&self) -> String {
        self.found.order.first().map_or_else(String::new, |step| in_text(self.library.common_name(step.ingredient)))
    }

    /// Why it may not get hotter.
    fn because(&self) -> String {
        match self.found.limit {
            Limit::Bath => "what a water bath gives, and butters and oils keep well below it".to_owned(),
            Limit::Flash(index) => {
                let called = self.library.common_name(index);
                format!("{} from the flash point of {}", self.units.difference(FLASH_MARGIN_K), in_text(called))
            }
            Limit::Mould => "what the mould takes".to_owned(),
        }
    }

    /// When the scent goes in, and how long that lasts; or why it does not, and what can be done; nothing without a scent, or where nothing melts.
    pub(crate) fn scent(&self) -> Vec<String> {
        let (found, units) = (&self.found, self.units);
        let given = |celsius: f64| units.whole_degrees(celsius);
        let (Some(below_c), Some(needed_c), true) = (found.scent_below_c, found.flash_needed_c, found.melts) else {
            return Vec::new();
        };
        let below = format!(
            "below {}, {} from its flash point of {}",
            given(below_c),
            units.difference(FLASH_MARGIN_K),
            given(below_c + FLASH_MARGIN_K)
        );
        let mut said = match &found.scent_time {
            Some(ScentTime { jug_s, lid_s, half_s }) => {
                let long = || format!("over {:.0} h", JUG_WATCHED_S / 3600.0);
                let jug = jug_s.as_ref().map_or_else(long, |time_s| times(Some(time_s)));
                let [lid, half] = [lid_s, half_s].map(|time_s| {
                    let minutes = |time_s: &Estimate| format!("{} min", significant(time_s.value / 60.0, 2));
                    time_s.as_ref().map_or_else(long, minutes)
                });
                vec![
                    format!("The scent goes in {below}; as much as its certificate allows for leave-on use."),
                    format!(
                        "From there to the first haze, the last moment to pour: {jug} in this jug, {lid} with a lid on it between stirs, {half} in a jug of half as much, which is stirred and poured sooner."
                    ),
                ]
            }
            None => {
                let haze = found.haze_c.map_or_else(
                    || "your room is no colder".to_owned(),
                    |haze| format!("the first haze comes at {} already", given(haze.value)),
                );
                vec![
                    format!(
                        "This scent does not go into this melt: it may go in {below}, and {haze}. A lid or a smaller jug changes how fast it cools, not this."
                    ),
                    format!(
                        "What can be done: pour it without; or take a scent with a flash point of {} or more; or a formula with its first haze below {}, of less {} or of a wax that melts lower.",
                        given(needed_c),
                        given(below_c),
                        self.hardest()
                    ),
                ]
            }
        };
        said.push(FIRE.to_owned());
        said
    }

    /// At which temperatures two melts pour alike in one stream.
    fn two_streams(&self) -> Option<String> {
        let (found, units) = (&self.found, self.units);
        if !self.two_streams {
            return None;
        }
        let thick = with_unit(&viscosity(found, found.pour_c), "mPa·s");
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
        Some(format!("{text} Colour thickens a melt a little, which is left out."))
    }
}

/// Temperatures viscosities are shown at: from the first haze up.
fn temperatures(found: &Pouring) -> Vec<f64> {
    let from = found.haze_c.map_or(found.pour_c, |haze| haze.value);
    let first = (from / STEP_C).ceil() * STEP_C;
    (0..ROWS).map(|row| first + STEP_C * row as f64).filter(|celsius| *celsius <= HIGHEST_C).collect()
}

/// Viscosity at a temperature, mPa·s, as shown.
fn viscosity(found: &Pouring, celsius: f64) -> String {
    interval(&found.viscosity.at(celsius), |mpa_s| significant(mpa_s, 2))
}
