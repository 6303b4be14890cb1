//! One assessment for people.

use barwright_blend::assess::{FirmnessAt, SolidsAt};
use barwright_blend::beeswax::BeeswaxEquivalent;
use barwright_blend::suitability::{SkinFeel, Verdict};
use barwright_blend::{Assessment, Estimate, Options, sensitivity};
use barwright_making::bar::density_kg_per_m3;
use barwright_reference::mould::Mould;
use barwright_reference::{CrystalState, Formula, Library};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::cautions;
use crate::document::{Block, Document, Kind, Sentence, Table};
use crate::engine::{Engine, Recipe};
use crate::mould::filling;
use crate::picture::curves;
use crate::refusal::Refusal;
use crate::why;
use crate::words::basis::Basis;
use crate::words::group::Group;
use crate::words::names::{name, title};
use crate::words::number::{in_hundred, interval, significant, whole};
use crate::words::units::{Units, needle, with_unit};
use crate::words::visible::visible;

/// What is one bar like?
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Assess {
    /// The bar.
    pub formula: Recipe,
    /// Demands and options.
    pub options: Options,
    /// The mould, of which bars and masses are worked out.
    pub mould: Option<Mould>,
    /// Whether to say what one more percent of each ingredient does.
    pub why: bool,
    /// Whether to draw solids and firmness against temperature.
    pub curves: bool,
    /// Units of the words.
    pub units: Units,
}

/// What one bar is like.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Assessed {
    /// Every figure.
    #[serde(flatten)]
    pub assessment: Assessment,
    /// What fills the mould.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mould: Option<MouldFilled>,
    /// What one more percent of each ingredient does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub effects: Option<Vec<sensitivity::Effect>>,
}

/// A mould and what one bar of it weighs.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct MouldFilled {
    name: Option<String>,
    cavities: u32,
    volume_ml: f64,
    bar_g: f64,
}

/// Answers [`Assess`].
///
/// # Errors
/// The formula is not one, or the options are outside the model.
pub fn assess(engine: &Engine, asked: &Assess) -> Result<Answered<Assessed>, Refusal> {
    let formula = engine.formula(&asked.formula)?;
    let (library, options, units) = (&engine.library, &asked.options, asked.units);
    let assessment = barwright_blend::assess(library, &engine.model, &formula, options)?;
    let effects = if asked.why {
        let central = Options { draws: 0, ..options.clone() };
        Some(sensitivity::effects(&engine.bench(&central)?, &formula)?)
    } else {
        None
    };
    let bar_kg = |mould: &Mould| 1e-6 * mould.volume_ml * density_kg_per_m3(library, &formula);
    let filled = asked.mould.as_ref().map(|mould| format!("{}.", filling(mould, "Mould", bar_kg(mould), units)));

    let mut document = Document::new(title(&formula, library), assessment.state.word())
        .remark(asked.formula.remark.as_deref())
        .lead([Block::Said(sentences(&assessment, options, units))])
        .lead(filled.map(|filled| Block::said([filled])))
        .lead([Block::Small(RULE_OF_THUMB.to_owned())])
        .section("Parts, % by mass", [Block::Table(parts(&formula, library))])
        .section("Melting", [Block::Table(melting_table(&assessment, units)), half_as_firm(units)])
        .section("Solids and firmness", [Block::Table(firmness_table(&assessment, units))]);
    document.sections.extend(effects.as_ref().map(|effects| why::section(&assessment, effects, options, units)));
    let rests_on = [Basis::of(library, &formula).sentence(), interval_words(&assessment)];
    document = document.ending(rests_on, cautions::section(&[&assessment], &[]));

    let picture = if asked.curves {
        let (formulas, answers) = (std::slice::from_ref(&formula), std::slice::from_ref(&assessment));
        let computed = curves::computed(engine, formulas, answers, options)?;
        Some(curves::picture(formulas, library, &computed, units))
    } else {
        None
    };
    let mould = asked.mould.as_ref().map(|mould| MouldFilled {
        name: mould.name.clone(),
        cavities: mould.cavities,
        volume_ml: mould.volume_ml,
        bar_g: 1e3 * bar_kg(mould),
    });
    Ok(Answered { figures: Assessed { assessment, mould, effects }, document, picture })
}

/// What the tables call the parts of the bar a rule of thumb speaks about.
pub const RULE_OF_THUMB: &str = "Detail, warmth, skin feel and grain: rule of thumb, no published relation.";

/// The landmark that an open tube tests.
pub(crate) const SLIP_POINT: &str = "slip point";

/// The landmarks with the test each belongs to.
pub(crate) const LANDMARKS: [(&str, &str); 5] = [
    ("half as firm as at 20 °C", "needle at several temperatures; ASTM D1321"),
    (SLIP_POINT, "open tube; ISO 6321, AOCS Cc 3-25"),
    ("drop point", "falling drop; AOCS Cc 18-80, ASTM D127"),
    ("end of melting", "1 % of crystals left; calorimetry, AOCS Cj 1-94"),
    ("clear point", "last crystal gone; AOCS Cc 1-25"),
];

/// How the first landmark goes together with what a bar keeps its shape to.
pub(crate) fn half_as_firm(units: Units) -> Block {
    let text = "Half as firm as at 20 °C is how early a bar softens under a finger; it keeps its shape until it sinks under its own weight or weeps oil, as a rule much hotter.";
    Block::Small(in_units(text, units))
}

/// Landmarks of melting, each with the test it belongs to.
pub(crate) fn melting_table(answer: &Assessment, units: Units) -> Table {
    let rows = landmarks(answer).into_iter().zip(LANDMARKS).map(|((landmark, estimate), (_, test))| {
        let shown = estimate.map_or_else(|| below_the_scale(units), |estimate| units.temperature(estimate));
        [in_units(landmark, units), shown, test.to_owned()]
    });
    Table::new("").columns(Kind::Figure, ["landmark", units.degree()]).columns(Kind::Words, ["test"]).rows(rows)
}

/// Solids and firmness at each temperature.
pub(crate) fn firmness_table(answer: &Assessment, units: Units) -> Table {
    let row = |(solids, firmness): (&SolidsAt, &FirmnessAt)| {
        [
            units.given(solids.temperature_c),
            interval(&solids.percent, whole),
            units.yield_stress(&firmness.yield_stress_kpa),
            beeswax_in_oil(&firmness.beeswax_equivalent),
            needle(firmness.needle_dmm.as_ref()),
        ]
    };
    let figures = [
        "solids, %".to_owned(),
        format!("yield stress, {}", units.stress()),
        "as firm as beeswax in oil, %".to_owned(),
    ];
    Table::new("")
        .columns(Kind::Number, [units.degree()])
        .columns(Kind::Figure, figures)
        .columns(Kind::Figure, ["needle, 0.1 mm"])
        .rows(answer.solids.iter().zip(&answer.firmness).map(row))
}

/// Says where the numbers in brackets come from, and how many of the maker's own bench tests they rest on.
pub(crate) fn interval_words(answer: &Assessment) -> String {
    let words = format!(
        "In brackets: 90 % intervals from {} simulated draws (seed {}) over lots, melting points and model parameters.",
        answer.draws, answer.seed
    );
    match answer.trials {
        0 => words,
        1 => format!("{words} Also uses 1 of your bench tests."),
        trials => format!("{words} Also uses {trials} of your bench tests."),
    }
}

/// Returns the landmarks with their names.
pub(crate) fn landmarks(answer: &Assessment) -> [(&'static str, Option<&Estimate>); LANDMARKS.len()] {
    let melt = &answer.melt;
    let estimates = [&melt.softening_c, &melt.slip_point_c, &melt.drop_point_c, &melt.melt_end_c, &melt.clear_point_c];
    let mut named = [("", None); LANDMARKS.len()];
    for (entry, (estimate, (landmark, _))) in named.iter_mut().zip(estimates.into_iter().zip(LANDMARKS)) {
        *entry = (landmark, estimate.as_ref());
    }
    named
}

/// What is shown for a landmark that was not found.
pub(crate) fn below_the_scale(units: Units) -> String {
    format!("below {}", units.given(barwright_blend::landmarks::LOWEST_LANDMARK_C))
}

/// Returns a percentage of beeswax in oil.
fn beeswax_percent(percent: f64) -> String {
    if percent < 10.0 { significant(percent, 2) } else { whole(percent) }
}

/// Returns a beeswax equivalent without its unit: `43 (31 to 62)`, `95 (60 to harder)`, `harder`.
pub(crate) fn beeswax_in_oil(equivalent: &BeeswaxEquivalent) -> String {
    match *equivalent {
        BeeswaxEquivalent::Percent { value, low, high: Some(high) } => {
            interval(&Estimate { value, low, high }, beeswax_percent)
        }
        BeeswaxEquivalent::Percent { value, low, high: None } => {
            format!("{} ({} to harder)", beeswax_percent(value), beeswax_percent(low))
        }
        BeeswaxEquivalent::HarderThanBeeswax { low: Some(low) } => format!("harder (from {})", beeswax_percent(low)),
        BeeswaxEquivalent::HarderThanBeeswax { low: None } => "harder".to_owned(),
        BeeswaxEquivalent::BeeswaxIsLiquid => "beeswax is liquid".to_owned(),
    }
}

/// Replaces the temperature in the name of a landmark by one in the units shown.
pub(crate) fn in_units(landmark: &str, units: Units) -> String {
    landmark.replace("20 °C", &units.given_degrees(20.0))
}

/// Returns the plain answer, one sentence an entry.
pub fn sentences(answer: &Assessment, options: &Options, units: Units) -> Vec<Sentence> {
    let mut said = Vec::new();
    let mut add = |about, text| said.push(Sentence { about, text });
    if !answer.sets_at_room() {
        let words = answer.cautions.iter().find(|caution| caution.about == "setting");
        let plain = "This blend does not set into a bar at room temperature.";
        add("setting", words.map_or_else(|| plain.to_owned(), |caution| visible(&caution.text)));
    }
    add("detail", detail_sentence(answer, options, units));
    if let Some(firmness) = firmness_sentence(answer, options, units) {
        add("firmness", firmness);
    }
    add("warmth", warmth_sentence(answer, units));
    add("skin", skin_sentence(answer, units));
    add("grain", grain_sentence(answer));
    said
}

/// Says whether the finest relief leaves the mould whole.
fn detail_sentence(answer: &Assessment, options: &Options, units: Units) -> String {
    let detail = &answer.detail;
    let relief = units.given_length(detail.relief_mm);
    let probability = in_hundred(detail.probability);
    let cold = units.given_degrees(detail.release_c);
    let (verdict, outcome) = match detail.verdict {
        Verdict::Yes => ("yes", format!("Relief of {relief} leaves the mould whole")),
        Verdict::Likely => ("likely", format!("Relief of {relief} should leave the mould whole")),
        Verdict::Open => ("uncertain", format!("Relief of {relief} may or may not leave the mould whole")),
        Verdict::Unlikely => ("unlikely", format!("Relief of {relief} will often break in the mould")),
        Verdict::No => ("no", format!("Relief of {relief} will not leave the mould whole")),
    };
    let finest = with_unit(&units.relief(detail.finest_feature_mm.as_ref()), units.length_unit());
    let state = bar_word(options.release_state());
    format!(
        "Firm enough for fine detail: {verdict}. {outcome} at {cold}, {state} ({probability}). Finest relief: {finest}."
    )
}

/// What a bar in a crystal state is called.
pub(crate) fn bar_word(state: CrystalState) -> &'static str {
    match state {
        CrystalState::Fresh => "just set",
        CrystalState::Rested => "once rested",
        CrystalState::Tempered => "tempered",
    }
}

/// Says how firm the bar is at the temperature of the table that is nearest to a room.
fn firmness_sentence(answer: &Assessment, options: &Options, units: Units) -> Option<String> {
    let nearest = answer.firmness.iter().min_by(|a, b| {
        let distance = |celsius: f64| (celsius - options.release_c).abs();
        distance(a.temperature_c).total_cmp(&distance(b.temperature_c))
    })?;
    let state = bar_word(answer.state);
    let at = units.given_degrees(nearest.temperature_c);
    Some(match nearest.beeswax_equivalent {
        BeeswaxEquivalent::Percent { high: Some(_), .. } => {
            let percent = with_unit(&beeswax_in_oil(&nearest.beeswax_equivalent), "%");
            format!("At {at}, {state}, it is as firm as liquid oil with {percent} beeswax in it.")
        }
        BeeswaxEquivalent::Percent { value, low, high: None } => format!(
            "At {at}, {state}, it is as firm as liquid oil with {} % beeswax in it ({} % to harder than beeswax).",
            beeswax_percent(value),
            beeswax_percent(low)
        ),
        BeeswaxEquivalent::HarderThanBeeswax { low: Some(low) } => format!(
            "At {at}, {state}, it is harder than beeswax (from as firm as oil with {} % of it upwards).",
            beeswax_percent(low)
        ),
        BeeswaxEquivalent::HarderThanBeeswax { low: None } => {
            format!("At {at}, {state}, it is harder than beeswax.")
        }
        BeeswaxEquivalent::BeeswaxIsLiquid => {
            format!("At {at} beeswax itself is liquid: there is no saying how much of it would be as firm.")
        }
    })
}

/// Says up to what temperature the bar keeps its shape.
fn warmth_sentence(answer: &Assessment, units: Units) -> String {
    let warmth = &answer.warmth;
    let wanted = units.given_degrees(warmth.wanted_c);
    let probability = in_hundred(warmth.probability);
    let verdict = warmth.verdict.word();
    match &warmth.hold_c {
        Some(hold) => {
            format!("Keeps its shape for a day up to {}; at {wanted}: {verdict}, {probability}.", units.degrees(hold))
        }
        None => format!("Does not keep its shape at any temperature above {}.", units.given_degrees(-20.0)),
    }
}

/// Says how the bar feels on skin.
fn skin_sentence(answer: &Assessment, units: Units) -> String {
    let skin = &answer.skin;
    let odds = in_hundred(skin.probability);
    let feel = match skin.verdict {
        SkinFeel::Glides => format!("On skin it glides ({odds})"),
        SkinFeel::Smears => format!("On skin it smears, being too soft ({odds})"),
        SkinFeel::Drags => format!("On skin it drags, being too hard ({odds})"),
        SkinFeel::Open => format!("How it feels on skin is uncertain ({}: {odds})", skin.likeliest.word()),
    };
    format!(
        "{feel}: {} of it is melted at {}.",
        with_unit(&interval(&skin.melted_percent, whole), "%"),
        units.given_degrees(skin.temperature_c)
    )
}

/// Says how likely grain is.
fn grain_sentence(answer: &Assessment) -> String {
    let grain = &answer.grain;
    format!(
        "Risk of grain when cooled slowly: {}, {} on a scale from 0 to 1.",
        grain.verdict.word(),
        interval(&grain.risk, |risk| format!("{risk:.2}"))
    )
}

/// Makes the table of parts, in groups with their sums.
fn parts(formula: &Formula, library: &Library) -> Table {
    let mut table = Table::new("")
        .columns(Kind::Figure, ["group"])
        .columns(Kind::Words, ["ingredient"])
        .columns(Kind::Number, ["part", "group sum"]);
    for group in Group::ALL {
        let members: Vec<_> = formula
            .parts
            .iter()
            .filter_map(|part| library.get(part.ingredient).map(|known| (known, part.percent)))
            .filter(|(known, _)| Group::of(known) == group)
            .collect();
        let sum: f64 = members.iter().map(|(_, percent)| percent).sum();
        for (index, (known, percent)) in members.iter().enumerate() {
            let first = |text: String| if index == 0 { text } else { String::new() };
            table.row([first(group.word().to_owned()), name(&known.common_name), share(*percent), first(share(sum))]);
        }
    }
    table
}

/// Returns a share with one decimal, or two digits below 1.
pub fn share(percent: f64) -> String {
    if percent < 1.0 { significant(percent, 2) } else { format!("{percent:.1}") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{flowing, recipe};

    /// The relief is that of the bar as it leaves the mould, the firmness that of the bar in use; half as firm is told apart from out of shape.
    #[test]
    fn every_sentence_says_which_bar_it_speaks_of() {
        let engine = Engine::builtin().unwrap_or_else(|_| unreachable!());
        for (state, [leaving, used]) in [
            (CrystalState::Fresh, ["just set"; 2]),
            (CrystalState::Rested, ["just set", "once rested"]),
            (CrystalState::Tempered, ["tempered"; 2]),
        ] {
            let options = Options { draws: 16, state, ..Options::default() };
            let formula = recipe(&engine, "candelilla wax 18, mango butter 30, jojoba oil 52");
            let asked = Assess { formula, options, ..Assess::default() };
            let text = flowing(assess(&engine, &asked).unwrap_or_else(|_| unreachable!()));
            assert!(text.contains(&format!("at 20 °C, {leaving} (")), "{text}");
            assert!(text.contains(&format!("At 20 °C, {used}, it is as firm")), "{text}");
            let note = text.find("Half as firm as at 20 °C is").zip(text.find("half as firm as at 20 °C "));
            assert!(note.is_some_and(|(note, row)| row < note), "{text}");
        }
    }

    #[test]
    fn a_beeswax_equivalent_beyond_beeswax_says_so() {
        for (equivalent, shown) in [
            (BeeswaxEquivalent::Percent { value: 42.6, low: 31.2, high: Some(61.9) }, "43 (31 to 62)"),
            (BeeswaxEquivalent::Percent { value: 0.0, low: 0.0, high: Some(0.0) }, "0"),
            (BeeswaxEquivalent::Percent { value: 95.0, low: 59.6, high: None }, "95 (60 to harder)"),
            (BeeswaxEquivalent::HarderThanBeeswax { low: Some(83.2) }, "harder (from 83)"),
            (BeeswaxEquivalent::HarderThanBeeswax { low: None }, "harder"),
            (BeeswaxEquivalent::BeeswaxIsLiquid, "beeswax is liquid"),
        ] {
            assert_eq!(beeswax_in_oil(&equivalent), shown);
        }
    }
}
