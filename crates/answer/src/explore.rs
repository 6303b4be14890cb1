//! The best trade-offs of a space: how many there are, a selection that represents them, what is in each.

use std::ops::ControlFlow;
use std::sync::Arc;

use barwright_blend::{Assessment, Options};
use barwright_reference::{Formula, Library, Part};
use barwright_reformulate::aim::Optimum;
use barwright_reformulate::explore::{Candidate, Exploration, ExploreError, FirmnessAim, Progress, Settings};
use barwright_reformulate::judge::Judge;
use barwright_reformulate::limits::price_per_kg;
use barwright_reformulate::{Demand, Space};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize, Serializer};

use crate::Answered;
use crate::aim::{self, Aim};
use crate::assess::{RULE_OF_THUMB, interval_words};
use crate::demand;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::Engine;
use crate::picture::trade_offs::{self, letter};
use crate::refusal::{Fault, Refusal};
use crate::space::{self, ReadSpace, WrittenSpace};
use crate::words::names::{capital, in_text, list, name};
use crate::words::number::{amount, in_hundred, interval, significant, whole};
use crate::words::units::Units;
use crate::words::visible::visible;

/// Steps of the amounts shown, mass %: the first that the space allows.
const SHOWN_STEPS_PERCENT: [f64; 2] = [0.5, 0.1];

/// Less than this is not in a bar, mass %.
const NOTHING_PERCENT: f64 = 0.005;

/// Candidates tried without one of the demands, to say which one is too much.
const TRIED_WITHOUT: usize = 4000;

/// What the bar that was aimed at is called.
const BEST: &str = "*";

/// An even chance.
const EVEN: f64 = 0.5;

/// Told how far a search is; says whether to go on.
pub type SearchControl<'c> = &'c (dyn Fn(Progress) -> ControlFlow<()> + Sync);

/// Which bars of a space are the best trade-offs?
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Explore {
    /// The space, and the demands on its bars.
    pub space: WrittenSpace,
    /// How it is computed; where relief or warmth is demanded, that of the demand is taken.
    pub options: Options,
    /// Bars tried all over the space.
    pub candidates: usize,
    /// Temperature of the firmness that is weighed, °C.
    pub firmness_at_c: f64,
    /// Which way firmness is better.
    pub firmness: FirmnessAim,
    /// Way in which one bar is to be the best, shown beside the trade-offs; none: only those.
    pub aim: Option<Aim>,
    /// Trade-offs shown, at most.
    pub max_shown: usize,
    /// Whether to draw the trade-offs.
    pub picture: bool,
    /// Units of the words.
    pub units: Units,
}

impl Default for Explore {
    fn default() -> Self {
        let Settings { candidates, firmness_at_c, firmness, .. } = Settings::default();
        Explore {
            space: WrittenSpace::default(),
            options: Options::default(),
            candidates,
            firmness_at_c,
            firmness,
            aim: None,
            max_shown: 6,
            picture: false,
            units: Units::default(),
        }
    }
}

/// The best trade-offs of a space.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Explored {
    /// Name of the space.
    pub space: String,
    /// Whether the search came to its end.
    pub finished: bool,
    /// Bars judged.
    pub judged: usize,
    /// Bars outside the space, where totals cross.
    pub rejected: usize,
    /// Temperature of the firmness that is weighed, °C.
    pub firmness_at_c: f64,
    /// The one bar that was aimed at; none where nothing was, or nothing meets every demand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub best: Option<Best>,
    /// Every trade-off.
    pub front: Vec<TradeOff>,
    /// Those that represent them.
    pub shown: Vec<Shown>,
}

/// A trade-off, by the central model.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct TradeOff {
    /// What is in it.
    #[schemars(with = "Vec<Share<'static>>")]
    pub parts: Parts,
    /// Yield stress, kPa.
    pub firmness_kpa: f64,
    /// Temperature it keeps its shape at for a day, °C.
    pub hold_c: Option<f64>,
    /// Finest relief that leaves the mould whole, mm.
    pub finest_mm: f64,
    /// How near it is to smearing or dragging: below 0 it glides.
    pub skin_ln_off: f64,
    /// Price of a kilogram.
    pub price_per_kg: Option<f64>,
}

/// What is in a trade-off: its [`Share`]s when written. The keys are there once for all trade-offs, of which there are tens of thousands.
#[derive(Debug, Clone)]
pub struct Parts {
    keys: Arc<[String]>,
    /// Mass % of each.
    percent: Vec<f64>,
}

impl Serialize for Parts {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let there = self.keys.iter().zip(&self.percent).filter(|(_, percent)| **percent > 0.0);
        serializer.collect_seq(there.map(|(ingredient, &percent)| Share { ingredient, percent }))
    }
}

/// A part of a trade-off.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Share<'k> {
    /// Key of the ingredient.
    pub ingredient: &'k str,
    /// Mass %.
    pub percent: f64,
}

/// A trade-off that is shown, its amounts rounded where the space allows.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Shown {
    /// What it is.
    pub assessment: Assessment,
    /// How surely it meets each demand.
    pub demands: Vec<Odds>,
}

/// The best bar of a space.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Best {
    /// What it is.
    #[serde(flatten)]
    pub shown: Shown,
    /// What was aimed at: price of a kilogram, yield stress in kPa, `skin_ln_off`, or mass moved, %.
    pub value: f64,
    /// The same where the amounts need not be in whole steps.
    pub value_unrounded: f64,
    /// Step of its amounts, % of the bar.
    pub step_percent: Option<f64>,
    /// Price of a kilogram.
    pub price_per_kg: Option<f64>,
    /// Searches that ended in a bar that meets everything.
    pub searches: usize,
    /// Of those, how many ended in one as good as this, to a thousandth.
    pub agree: usize,
    /// Bars judged on the way, beside those of the trade-offs.
    pub judged: usize,
}

/// How surely a demand is met.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Odds {
    /// The demand.
    #[serde(flatten)]
    pub demand: Demand,
    /// Share of draws that meet it.
    pub probability: f64,
}

/// A bar that is shown.
struct Bar<'s> {
    /// What it is called.
    called: String,
    formula: &'s Formula,
    shown: &'s Shown,
    price_per_kg: Option<f64>,
}

/// Searches a space, which may take long.
///
/// # Arguments
/// * `previous`: an exploration of the same space and demands to go on with.
/// * `control`: called on the calling thread a few times a second; stops the search with what it has.
///
/// # Errors
/// All faults of the space; the exploration to resume is a different one (`other-exploration`).
pub fn search(
    engine: &Engine,
    asked: &Explore,
    previous: Option<Exploration>,
    control: SearchControl<'_>,
) -> Result<Exploration, Refusal> {
    let question = Question::new(engine, asked)?;
    question.search(&question.settings, &question.space.demands, previous, control)
}

/// Answers [`Explore`].
///
/// # Arguments
/// * `found`: what [`search`] found.
///
/// # Errors
/// All faults of the space, or options outside the model.
pub fn explore(engine: &Engine, asked: &Explore, found: &Exploration) -> Result<Answered<Explored>, Refusal> {
    let question = Question::new(engine, asked)?;
    let picked = found.thinned(asked.max_shown, asked.firmness);
    let percents = picked.iter().map(|one| question.rounded(&one.percent));
    let shown = question.shown(percents)?;
    let best = match &asked.aim {
        Some(aim) => question.best(aim, found)?,
        None => None,
    };
    let mut document = Document::new(capital(&name(&question.space.name)), asked.options.state.word())
        .lead(question.space.note.as_deref().map(|note| Block::Small(visible(note))));
    if let (Some(aim), Some((optimum, formula, _))) = (&asked.aim, &best) {
        let parts = question.parts(formula);
        let limited = question.limited();
        let said = aim::sentences(aim, optimum, &parts, limited, asked.firmness_at_c, asked.units);
        document = document.lead([Block::said(said)]);
    }
    document = document.lead(match found.front.is_empty() {
        true => vec![question.nothing(found)?],
        false => question.trade_offs_said(found),
    });
    let bars = question.bars(best.as_ref(), &picked, &shown);
    if !bars.is_empty() {
        document.sections = question.sections(shown.len() == found.front.len(), &bars);
    }
    let draw = || trade_offs::picture(&found.front, &picked, (asked.firmness, asked.firmness_at_c), asked.units);
    let picture = asked.picture.then(draw);
    let figures = Explored {
        space: question.space.name.clone(),
        finished: found.finished,
        judged: found.judged,
        rejected: found.rejected,
        firmness_at_c: asked.firmness_at_c,
        best: best.map(|(_, _, best)| best),
        front: question.trade_offs(&found.front),
        shown: shown.into_iter().map(|(_, shown)| shown).collect(),
    };
    Ok(Answered { figures, document, picture })
}

/// Says why nothing was explored.
fn refused(error: ExploreError) -> Refusal {
    match error {
        ExploreError::Blend(error) => error.into(),
        ExploreError::OtherExploration => Fault::new("other-exploration", error.to_string())
            .hint("Name another file, or take the space and options it was kept with; this one is left as it is.")
            .into(),
        ExploreError::Demand(error) => demand::unmeasurable(error).into(),
        error => Fault::new("space", error.to_string()).into(),
    }
}

/// The request, with the space read.
struct Question<'a> {
    engine: &'a Engine,
    asked: &'a Explore,
    space: ReadSpace,
    settings: Settings,
}

impl<'a> Question<'a> {
    fn new(engine: &'a Engine, asked: &'a Explore) -> Result<Self, Refusal> {
        let seed = asked.options.seed;
        let space = space::read(&asked.space, &engine.library, seed)?;
        let settings = Settings {
            candidates: asked.candidates,
            seed,
            options: Options { at_c: vec![asked.firmness_at_c], ..demand::options(&asked.options, &space.demands) },
            firmness_at_c: asked.firmness_at_c,
            firmness: asked.firmness,
            max_price: space.max_price,
            ..Settings::default()
        };
        Ok(Question { engine, asked, space, settings })
    }

    /// The formulas of the space.
    fn formulas(&self) -> &Space {
        self.space.filler.space()
    }

    fn library(&self) -> &Library {
        &self.engine.library
    }

    fn search(
        &self,
        settings: &Settings,
        demands: &[Demand],
        previous: Option<Exploration>,
        control: SearchControl<'_>,
    ) -> Result<Exploration, Refusal> {
        let parameters = &self.engine.model;
        barwright_reformulate::explore(
            self.library(),
            parameters,
            self.formulas(),
            settings,
            demands,
            previous,
            control,
        )
        .map_err(refused)
    }

    /// Whether anything is demanded of the bars.
    fn limited(&self) -> bool {
        !self.space.demands.is_empty() || self.space.max_price.is_some()
    }

    /// Amounts rounded where the space allows.
    fn rounded(&self, percent: &[f64]) -> Vec<f64> {
        let rounded = |step| self.space.filler.rounded(percent, step);
        SHOWN_STEPS_PERCENT.into_iter().find_map(rounded).unwrap_or_else(|| percent.to_vec())
    }

    /// Assesses bars of the space, given in mass % of each ingredient.
    fn shown(&self, bars: impl Iterator<Item = Vec<f64>>) -> Result<Vec<(Formula, Shown)>, Refusal> {
        let (space, demands, options) = (self.formulas(), &self.space.demands, &self.settings.options);
        // The confidence decides a margin that is not used here.
        let judge = Judge::new(self.library(), &self.engine.model, options, &space.ingredients, demands, EVEN)?;
        let bench = self.engine.bench(options)?;
        let shown = |percent: Vec<f64>| {
            let parts = (space.ingredients.iter().zip(&percent))
                .filter(|(_, percent)| **percent > NOTHING_PERCENT)
                .map(|(&ingredient, &percent)| Part { ingredient, percent })
                .collect();
            let formula = Formula { name: self.space.name.clone(), parts };
            let assessment = bench.assess(&formula)?;
            let standings = judge.judge(&percent, false)?;
            let odds = demands.iter().zip(standings);
            let odds = odds.map(|(&demand, standing)| Odds { demand, probability: standing.probability });
            Ok((formula, Shown { assessment, demands: odds.collect() }))
        };
        bars.map(shown).collect()
    }

    /// The bar that is best in the way aimed at.
    fn best(&self, aim: &Aim, found: &Exploration) -> Result<Option<(Optimum, Formula, Best)>, Refusal> {
        let best = aim::best(self.engine, aim, &self.space, &self.settings, found, &SHOWN_STEPS_PERCENT)?;
        let Some(optimum) = best else { return Ok(None) };
        let price_per_kg = self.formulas().price.as_ref().map(|price| price_per_kg(price, &optimum.percent));
        let shown = self.shown(std::iter::once(optimum.percent.clone()))?.pop();
        Ok(shown.map(|(formula, shown)| {
            let best = Best {
                shown,
                value: optimum.value,
                value_unrounded: optimum.unrounded,
                step_percent: optimum.step_percent,
                price_per_kg,
                searches: optimum.searches,
                agree: optimum.agree,
                judged: optimum.judged,
            };
            (optimum, formula, best)
        }))
    }

    /// What is shown of each bar: the one aimed at first, then the trade-offs.
    fn bars<'s>(
        &self,
        best: Option<&'s (Optimum, Formula, Best)>,
        picked: &[Candidate],
        shown: &'s [(Formula, Shown)],
    ) -> Vec<Bar<'s>> {
        let best = best.map(|(_, formula, best)| Bar {
            called: BEST.to_owned(),
            formula,
            shown: &best.shown,
            price_per_kg: best.price_per_kg,
        });
        let trade_offs = picked.iter().zip(shown).enumerate().map(|(number, (one, (formula, shown)))| Bar {
            called: letter(number),
            formula,
            shown,
            price_per_kg: one.properties.price,
        });
        best.into_iter().chain(trade_offs).collect()
    }

    /// The figures of the trade-offs.
    fn trade_offs(&self, front: &[Candidate]) -> Vec<TradeOff> {
        let keys: Arc<[String]> =
            self.formulas().ingredients.iter().map(|&id| self.library().key(id).to_owned()).collect();
        let trade_off = |one: &Candidate| TradeOff {
            parts: Parts { keys: Arc::clone(&keys), percent: one.percent.clone() },
            firmness_kpa: one.properties.firmness_kpa,
            hold_c: one.properties.hold_c,
            finest_mm: one.properties.finest_mm,
            skin_ln_off: one.properties.skin_ln_off,
            price_per_kg: one.properties.price,
        };
        front.iter().map(trade_off).collect()
    }

    /// How many there are, and what was weighed.
    fn trade_offs_said(&self, found: &Exploration) -> Vec<Block> {
        let asked = self.limited();
        let that_meet = if asked { " that meet your limits" } else { "" };
        let refined = match found.judged_across() {
            across if across < found.judged => {
                format!(" ({across} across the space, the others close to the best of these)")
            }
            _ => String::new(),
        };
        let best = match (found.judged, found.front.len()) {
            (1, _) if asked => "The space is one bar, and it meets your limits.".to_owned(),
            (1, _) => "The space is one bar.".to_owned(),
            (tried, 1) => {
                format!("Of {tried} bars tried{refined}, one is better than all others in every way, or as good.")
            }
            (tried, count) => format!(
                "Of {tried} bars tried{refined}, {count}{that_meet} are the best trade-offs: what is better in one way is worse in another."
            ),
        };
        let firmness = match self.asked.firmness {
            FirmnessAim::Firmer => "firmness",
            FirmnessAim::Softer => "softness",
        };
        let price = self.formulas().price.as_ref().map(|_| "price");
        let weighed: Vec<String> =
            [firmness, "warmth", "fine relief", "feel on skin"].into_iter().chain(price).map(str::to_owned).collect();
        let weighed = format!("Weighed by central estimates: {}.", list(&weighed, "and"));
        vec![Block::said([best]), Block::Small(weighed), Block::Small(RULE_OF_THUMB.to_owned())]
    }

    /// Bars side by side: their properties, how surely they meet the demands, their parts.
    ///
    /// # Arguments
    /// * `all`: whether every trade-off is among them.
    fn sections(&self, all: bool, bars: &[Bar<'_>]) -> Vec<Section> {
        let heading = if all { "All of them" } else { "A representative selection" };
        let legend = bars.first().map(|first| {
            let best = if first.called == BEST { "*: the bar named above. " } else { "" };
            Block::Small(format!(
                "{best}Keeps shape: for a day. Relief: the finest that leaves the mould. Melts: share on skin, at {}.",
                self.asked.units.given_degrees(first.shown.assessment.skin.temperature_c)
            ))
        });
        let table = Block::Table(self.properties(bars));
        let mut sections = vec![Section::new(heading, std::iter::once(table).chain(legend))];
        if !self.space.demands.is_empty() {
            let surer = "To be surer of one of them, give it to `adjust` with the same demands.".to_owned();
            sections.push(Section::new(
                "Chance that each meets your limits",
                [Block::Table(self.odds(bars)), Block::Small(surer)],
            ));
        }
        let parts = bars.iter().map(|bar| (bar.called.clone(), self.parts(bar.formula)));
        let next = "Give the one you like to `assess`, as a text in quotes: it has the cautions.".to_owned();
        sections.push(Section::new("Parts, % by mass", [Block::terms(parts), Block::Small(next)]));
        let intervals = bars.first().map(|first| interval_words(&first.shown.assessment));
        sections.push(Section::new("What this rests on", [Block::said(intervals)]));
        sections
    }

    /// What the bars shown are.
    fn properties(&self, bars: &[Bar<'_>]) -> Table {
        let units = self.asked.units;
        let priced = self.formulas().price.is_some();
        let mut table = Table::new("").columns(
            Kind::Figure,
            [
                String::new(),
                format!("{} at {}", units.stress(), units.given_degrees(self.asked.firmness_at_c)),
                format!("keeps shape to, {}", units.degree()),
                format!("relief, {}", units.length_unit()),
                "melts, %".to_owned(),
                "on skin".to_owned(),
            ],
        );
        if priced {
            table = table.columns(Kind::Number, ["per kg"]);
        }
        for bar in bars {
            let answer = &bar.shown.assessment;
            let mut row = vec![
                bar.called.clone(),
                answer.firmness.first().map_or_else(String::new, |at| units.yield_stress(&at.yield_stress_kpa)),
                answer.warmth.hold_c.as_ref().map_or_else(|| "never".to_owned(), |hold| units.temperature(hold)),
                units.relief(answer.detail.finest_feature_mm.as_ref()),
                interval(&answer.skin.melted_percent, whole),
                answer.skin.verdict.word().to_owned(),
            ];
            if priced {
                row.push(bar.price_per_kg.map_or_else(String::new, |price| significant(price, 3)));
            }
            table.row(row);
        }
        table
    }

    /// How surely each meets each demand.
    fn odds(&self, bars: &[Bar<'_>]) -> Table {
        let demands = self.space.demands.iter().map(|one| demand::words(one, self.asked.units));
        let mut table = Table::new("").columns(Kind::Figure, [""]).columns(Kind::Words, demands);
        for bar in bars {
            let odds = bar.shown.demands.iter().map(|one| in_hundred(one.probability));
            table.row(std::iter::once(bar.called.clone()).chain(odds));
        }
        table
    }

    /// What is in a formula, the most first.
    fn parts(&self, formula: &Formula) -> String {
        let mut parts: Vec<&Part> = formula.parts.iter().collect();
        parts.sort_by(|a, b| b.percent.total_cmp(&a.percent));
        let words = parts.into_iter().filter_map(|part| {
            let known = self.library().get(part.ingredient)?;
            Some(format!("{} {}", in_text(&known.common_name), amount(part.percent)))
        });
        words.collect::<Vec<_>>().join(", ")
    }

    /// Says that nothing was found, and what stands in the way.
    fn nothing(&self, found: &Exploration) -> Result<Block, Refusal> {
        if !found.finished {
            return Ok(Block::said(["Nothing was found before it was stopped."]));
        }
        let words: Vec<String> = self.too_much()?.into_iter().map(|words| format!("\"{words}\"")).collect();
        let why = match words.as_slice() {
            [] => "Leaving out any one demand does not help: two or more ask too much of this shelf.".to_owned(),
            _ => format!("There would be some without {}.", list(&words, "or without")),
        };
        Ok(Block::said([format!("None of the {} bars tried meets all your limits.", found.judged), why]))
    }

    /// Demands that leave nothing, in words: without one of these alone, there would be bars.
    fn too_much(&self) -> Result<Vec<String>, Refusal> {
        let fewer = Settings { candidates: self.settings.candidates.min(TRIED_WITHOUT), ..self.settings.clone() };
        let found_with = |settings: &Settings, demands: &[Demand]| {
            let found = self.search(settings, demands, None, &|_| ControlFlow::Continue(()))?;
            Ok::<bool, Refusal>(!found.front.is_empty())
        };
        let mut words = Vec::new();
        for (at, left_out) in self.space.demands.iter().enumerate() {
            let mut demands = self.space.demands.clone();
            demands.remove(at);
            if found_with(&fewer, &demands)? {
                words.push(demand::words(left_out, self.asked.units));
            }
        }
        if let Some(price) = self.space.max_price
            && found_with(&Settings { max_price: None, ..fewer }, &self.space.demands)?
        {
            words.push(format!("costs at most {}", significant(price, 4)));
        }
        Ok(words)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    fn asked(demands: &str) -> Explore {
        let text = format!("[ingredients]\nbeeswax = '10..40'\n'sunflower oil' = '20..'\n[demands]\n{demands}");
        Explore {
            space: WrittenSpace { text, origin: "shelf".to_owned(), name: "shelf".to_owned(), like: None },
            options: Options { draws: 16, ..Options::default() },
            candidates: 60,
            max_shown: 2,
            picture: true,
            ..Explore::default()
        }
    }

    #[test]
    fn a_space_is_searched_and_told() {
        let (engine, asked) = (Engine::builtin().unwrap(), asked("hold = 40"));
        let found = search(&engine, &asked, None, &|_| ControlFlow::Continue(())).unwrap();
        let Answered { figures, document, picture } = explore(&engine, &asked, &found).unwrap();
        assert!(figures.finished && figures.shown.len() == 2 && picture.is_some());
        assert_eq!(figures.front.len(), found.front.len());
        assert!(document.said()[0].contains("that meet your limits"), "{:?}", document.said());
    }

    /// The cheapest has as much oil as its limits allow; the nearest to a bar that meets them is that bar.
    #[test]
    fn one_bar_is_aimed_at() {
        let engine = Engine::builtin().unwrap();
        let mut asked = asked("hold = 40\n[prices]\nbeeswax = 20\n'sunflower oil' = 5");
        let answered = |asked: &Explore| {
            let found = search(&engine, asked, None, &|_| ControlFlow::Continue(())).unwrap();
            explore(&engine, asked, &found)
        };
        assert!(answered(&asked).unwrap().figures.best.is_none());
        asked.aim = Some(Aim::Cheapest);
        let Answered { figures, document, .. } = answered(&asked).unwrap();
        let best = figures.best.unwrap();
        let oil =
            best.shown.assessment.formula.parts.iter().find(|part| part.ingredient == "sunflower-oil").unwrap().percent;
        assert!((best.price_per_kg.unwrap() - (20.0 - 0.15 * oil)).abs() < 1e-9 && best.step_percent == Some(0.5));
        assert!(figures.front.iter().all(|one| one.price_per_kg.unwrap() > best.value_unrounded - 1e-6));
        let said = document.said();
        assert!(said[0].starts_with("The cheapest bar that meets your limits: sunflower oil"), "{said:?}");
        assert!(said[0].ends_with(" per kilogram.") && said[1].contains("No exchange of 0.5 %"), "{said:?}");
        let amount =
            |ingredient: &str, amount: f64| crate::engine::Amount { ingredient: ingredient.to_owned(), amount };
        let parts = vec![amount("beeswax", 1.0), amount("sunflower oil", 3.0)];
        asked.aim = Some(Aim::Nearest(crate::engine::Recipe { name: "mine".to_owned(), parts, remark: None }));
        let best = answered(&asked).unwrap().figures.best.unwrap();
        assert!(best.value < 1e-9 && best.shown.assessment.formula.parts[0].percent == 25.0, "{best:?}");
        let json = serde_json::to_value(&asked.aim).unwrap();
        assert_eq!(json["nearest"]["name"], "mine");
        // Without prices there is no cheapest.
        let without = Explore { aim: Some(Aim::Cheapest), ..self::asked("hold = 40") };
        assert_eq!(answered(&without).err().unwrap().faults[0].code, "no-price");
    }

    #[test]
    fn what_asks_too_much_is_named() {
        let (engine, asked) = (Engine::builtin().unwrap(), asked("hold = 110\nskin = 10"));
        let found = search(&engine, &asked, None, &|_| ControlFlow::Continue(())).unwrap();
        let said = explore(&engine, &asked, &found).unwrap().document;
        assert_eq!(said.said()[1], "There would be some without \"keeps its shape for a day at 110 °C\".");
        let other = Explore { firmness_at_c: 30.0, ..asked };
        let refusal = search(&engine, &other, Some(found), &|_| ControlFlow::Continue(())).err().unwrap();
        assert_eq!(refusal.faults[0].code, "other-exploration");
    }
}
