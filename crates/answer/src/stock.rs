//! What is in the drawer: how many bars it makes, what runs out first, what is left, what to buy.

use barwright_making::batch::{self as making, BatchTask, Colour};
use barwright_making::stock::{Held, THERE_G, There, hold, most_bars, taken_for};
use barwright_reference::{IngredientId, Library};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::batch::refused;
use crate::document::{Block, Kind, Section, Table};
use crate::engine::find;
use crate::refusal::{Fault, Refusal};
use crate::weigh_sheet::{Scale, plain};
use crate::words::names::{in_text, list};
use crate::words::units::Units;
use crate::words::visible::visible;

/// A share of a bar below which a number of bars is a whole one: what a division leaves.
const WHOLE_BAR: f64 = 1e-9;

/// What decides how many bars are made.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum BarsFrom {
    /// The count of the size.
    #[default]
    Size,
    /// What is weighed out in all, g: as many whole bars as it makes.
    Weighed(f64),
    /// What is there: as many as the ingredient that runs out first makes.
    Stock,
}

/// What is there of an ingredient.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Have {
    /// Any name of it, or the key of a delivery.
    pub ingredient: String,
    /// Mass, g.
    pub mass_g: f64,
}

/// An ingredient held against what is there.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StockLine {
    /// Key of the ingredient.
    pub ingredient: String,
    /// What the batches take, g.
    pub needed_g: f64,
    /// What is there, g.
    pub there_g: Option<f64>,
    /// What is left of it, g; below 0 when there is too little.
    pub left_g: Option<f64>,
    /// What is to be bought, g: all of it when nobody said what is there.
    pub buy_g: f64,
}

/// What is there beside what a sheet takes.
pub(crate) struct Stocked {
    /// What was said to be there.
    there: Vec<There>,
    /// The ingredients of the sheet, held against it.
    held: Vec<Held>,
    /// How many batches are bought for; `None` for the one of the sheet.
    batches: Option<u32>,
    /// What does not reach for one bar more.
    runs_out: Option<IngredientId>,
}

/// Reads what is there.
pub(crate) fn there(library: &Library, have: &[Have]) -> Result<Vec<There>, Refusal> {
    let one = |have: &Have| {
        if !THERE_G.contains(&have.mass_g) {
            let (what, least, most) = (visible(&have.ingredient), THERE_G.start(), THERE_G.end());
            let message = format!("there are {} g of `{what}`, outside {least} to {most} g", have.mass_g);
            return Err(Fault::new("have", message).into());
        }
        Ok(There { ingredient: find(library, &have.ingredient, "have")?, mass_g: have.mass_g })
    };
    have.iter().map(one).collect()
}

/// Sets the number of bars of a batch; returns the ingredient that runs out first, where that decides.
pub(crate) fn set_bars(
    library: &Library,
    task: &mut BatchTask<'_>,
    from: BarsFrom,
    there: &[There],
) -> Result<Option<IngredientId>, Refusal> {
    match from {
        BarsFrom::Size => Ok(None),
        BarsFrom::Weighed(mass_g) => {
            let bars = (mass_g * (1.0 - task.left_share) / task.bar_g + WHOLE_BAR).floor();
            if !(1.0..=f64::from(making::MAX_BARS)).contains(&bars) {
                let message = format!("{} g make {bars} bars of {} g", plain(mass_g), plain(task.bar_g));
                let hint =
                    format!("A batch has 1 to {} bars. Weigh another mass, or make smaller bars.", making::MAX_BARS);
                return Err(Fault::new("batch", message).hint(hint).into());
            }
            task.bars = bars as u32;
            task.left_share = 1.0 - bars * task.bar_g / mass_g;
            Ok(None)
        }
        BarsFrom::Stock => {
            let most = most_bars(library, task, there).map_err(refused)?;
            task.bars = most.bars;
            Ok(Some(most.runs_out))
        }
    }
}

impl Stocked {
    /// Holds a sheet against what is there; `None` when nobody asked.
    pub(crate) fn of(
        library: &Library,
        sheet: &making::Batch,
        there: Vec<There>,
        batches: Option<u32>,
        runs_out: Option<IngredientId>,
    ) -> Option<Stocked> {
        let asked = !there.is_empty() || batches.is_some();
        let held = || hold(library, &sheet.lines, &there, batches.unwrap_or(1));
        asked.then(held).map(|held| Stocked { there, held, batches, runs_out })
    }

    /// The figures.
    pub(crate) fn lines(&self, library: &Library) -> Vec<StockLine> {
        let line = |held: &Held| StockLine {
            ingredient: library.key(held.ingredient).to_owned(),
            needed_g: held.needed_g,
            there_g: held.there_g,
            left_g: held.left_g(),
            buy_g: held.lacking_g(),
        };
        self.held.iter().map(line).collect()
    }

    /// Key of what runs out first.
    pub(crate) fn runs_out(&self, library: &Library) -> Option<String> {
        self.runs_out.map(|id| library.key(id).to_owned())
    }

    /// What there is too little of for the batch of the sheet.
    pub(crate) fn short(&self, library: &Library, units: Units) -> Option<String> {
        let lacking = self.held.iter().filter(|held| held.left_g().is_some_and(|left_g| left_g < 0.0));
        let lacking: Vec<String> = lacking
            .map(|held| {
                format!("{} of {}", Scale(units).mass(held.lacking_g()), in_text(library.common_name(held.ingredient)))
            })
            .collect();
        let said = self.batches.is_none() && !lacking.is_empty();
        said.then(|| format!("There is too little for this batch: it lacks {}.", list(&lacking, "and")))
    }

    /// What is left of each ingredient, or what to buy.
    pub(crate) fn section(&self, library: &Library, colours: &[Colour], units: Units) -> Section {
        let scale = Scale(units);
        let called = |id: IngredientId| visible(library.common_name(id));
        let there = |held: &Held| held.there_g.map_or_else(|| "not stated".to_owned(), |grams| scale.number(grams));
        let heads = |heads: [&str; 3]| heads.map(|head| format!("{head}, {}", scale.unit()));
        let table = |caption: &str, numbers: [&str; 3]| {
            Table::new(caption).columns(Kind::Words, ["ingredient"]).columns(Kind::Number, heads(numbers))
        };
        let Some(batches) = self.batches else {
            let left = |left_g: f64| match left_g < 0.0 {
                true => format!("{} short", scale.number(-left_g)),
                false => scale.number(left_g),
            };
            let row = |held: &Held| {
                let left = held.left_g().map_or_else(|| "not stated".to_owned(), left);
                [called(held.ingredient), there(held), scale.number(held.needed_g), left]
            };
            let table = table("What is left once the batch is weighed.", ["there", "goes in", "left"]);
            let table = table.rows(self.held.iter().map(row));
            return Section::new("Stock", [Block::Table(table), Block::said(self.said(library))]);
        };
        let row = |held: &Held| {
            [called(held.ingredient), scale.number(held.needed_g), there(held), scale.number(held.lacking_g())]
        };
        let colour = |colour: &Colour| {
            let needed = scale.number(f64::from(batches) * colour.mass_g);
            [visible(&colour.name), needed.clone(), "not stated".to_owned(), needed]
        };
        let table = table("Of what nobody said is there, all is to buy.", ["needed", "there", "to buy"])
            .with_ticks()
            .rows(self.held.iter().map(row).chain(colours.iter().map(colour)));
        let heading = match batches {
            1 => "To buy for 1 batch".to_owned(),
            _ => format!("To buy for {batches} batches"),
        };
        Section::new(
            heading,
            std::iter::once(Block::Table(table)).chain(self.costs(library).map(|costs| Block::said([costs]))),
        )
    }

    /// What decides, and what the bar has none of.
    fn said(&self, library: &Library) -> Vec<String> {
        let called = |id: IngredientId| in_text(library.common_name(id));
        let runs_out = self
            .runs_out
            .map(|id| format!("It is the {} that runs out first: it does not reach for one bar more.", called(id)));
        let needed: Vec<(IngredientId, f64)> = self.held.iter().map(|held| (held.ingredient, held.needed_g)).collect();
        let idle = self.there.iter().filter(|there| taken_for(library, &needed, there.ingredient).is_none());
        let idle: Vec<String> = idle.map(|there| called(there.ingredient)).collect();
        let idle = (!idle.is_empty()).then(|| format!("Not in this bar: {}.", list(&idle, "and")));
        runs_out.into_iter().chain(idle).collect()
    }

    /// What is to be bought costs, where every price of it is known.
    fn costs(&self, library: &Library) -> Option<String> {
        let lacking = self.held.iter().filter(|held| held.lacking_g() > 0.0);
        let cost = |held: &Held| Some(1e-3 * held.lacking_g() * library.get(held.ingredient)?.price_per_kg?);
        let costs = lacking.map(cost).collect::<Option<Vec<f64>>>()?;
        (!costs.is_empty())
            .then(|| format!("That costs {:.2}, in the money of your prices.", costs.iter().sum::<f64>()))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use std::ops::ControlFlow;

    use super::*;
    use crate::Engine;
    use crate::batch::{Batch, Batched, Size, batch};
    use crate::engine::Recipe;

    fn asked(from: BarsFrom, have: &[(&str, f64)], batches: Option<u32>) -> Result<Batched, Refusal> {
        let engine = Engine::builtin().unwrap();
        let bar =
            barwright_reference::formula::read_inline("beeswax 25, sunflower oil 75", "bar", &engine.library).unwrap();
        let have = have.iter().map(|(name, mass_g)| Have { ingredient: (*name).to_owned(), mass_g: *mass_g });
        let asked = Batch {
            formula: Recipe::of(&bar.formulas[0], &engine.library),
            size: Size::Bars { count: 10, bar_g: 40.0 },
            bars_from: from,
            have: have.collect(),
            batches,
            left_percent: 0.0,
            ..Batch::default()
        };
        batch(&engine, &asked, &|_, _| ControlFlow::Continue(())).map(|answer| answer.figures)
    }

    #[test]
    fn a_mass_makes_whole_bars_and_is_weighed_out_in_full() {
        for (mass_g, bars) in [(40.0, 1), (439.0, 10), (440.0, 11), (1200.0, 30)] {
            let made = asked(BarsFrom::Weighed(mass_g), &[], None).unwrap();
            assert_eq!((made.bars, made.melt_g, made.stock.len()), (bars, mass_g, 0), "{mass_g} g");
        }
        assert!(asked(BarsFrom::Weighed(39.0), &[], None).is_err());
        assert!(asked(BarsFrom::Weighed(f64::NAN), &[], None).is_err());
    }

    #[test]
    fn what_is_there_decides_and_what_is_left_is_told() {
        let made = asked(BarsFrom::Stock, &[("beeswax", 125.0), ("cocoa butter", 9.0)], None).unwrap();
        assert_eq!((made.bars, made.runs_out.as_deref()), (12, Some("beeswax")));
        let told: Vec<_> = made.stock.iter().map(|line| (line.needed_g, line.there_g, line.left_g)).collect();
        assert_eq!(told, [(120.0, Some(125.0), Some(5.0)), (360.0, None, None)]);
        assert!(asked(BarsFrom::Stock, &[("beeswax", -1.0)], None).is_err());
        assert!(asked(BarsFrom::Stock, &[("beeswax", f64::NAN)], None).is_err());
    }

    #[test]
    fn what_to_buy_is_the_sum_less_what_is_there() {
        let made = asked(BarsFrom::Size, &[("beeswax", 120.0)], Some(3)).unwrap();
        let told: Vec<_> = made.stock.iter().map(|line| (line.needed_g, line.buy_g)).collect();
        assert_eq!((made.bars, made.batches), (10, 3));
        assert_eq!(told, [(300.0, 180.0), (900.0, 900.0)]);
        assert!(asked(BarsFrom::Size, &[], Some(0)).is_err());
    }
}
