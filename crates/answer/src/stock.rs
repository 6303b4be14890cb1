//! What is in the drawer: how many bars it makes, what runs out first, what is left, what to buy.

use barwright_making::batch::{Colour, WeighLine};
use barwright_making::stock::{Held, THERE_G, There, hold, taken_for};
use barwright_reference::{IngredientId, Library};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::document::{Block, Kind, Section, Table};
use crate::engine::find;
use crate::refusal::{Fault, Refusal};
use crate::words::names::{in_text, list};
use crate::words::scale::Scale;
use crate::words::units::Units;
use crate::words::visible::visible;

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

impl Stocked {
    /// Holds a sheet against what is there; `None` when nobody asked.
    pub(crate) fn of(
        library: &Library,
        lines: &[WeighLine],
        there: Vec<There>,
        batches: Option<u32>,
        runs_out: Option<IngredientId>,
    ) -> Option<Stocked> {
        let asked = !there.is_empty() || batches.is_some();
        let held = || hold(library, lines, &there, batches.unwrap_or(1));
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
        let there = |held: &Held| held.there_g.map_or_else(|| "not stated".to_owned(), |grams| scale.stock(grams));
        let heads = |heads: [&str; 3]| heads.map(|head| format!("{head}, {}", scale.unit()));
        let table = |caption: &str, numbers: [&str; 3]| {
            Table::new(caption).columns(Kind::Words, ["ingredient"]).columns(Kind::Number, heads(numbers))
        };
        let Some(batches) = self.batches else {
            let left = |left_g: f64| match left_g < 0.0 {
                true => format!("{} short", scale.stock(-left_g)),
                false => scale.stock(left_g),
            };
            let row = |held: &Held| {
                let left = held.left_g().map_or_else(|| "not stated".to_owned(), left);
                [called(held.ingredient), there(held), scale.stock(held.needed_g), left]
            };
            let table = table("What is left once the batch is weighed.", ["there", "goes in", "left"]);
            let table = table.rows(self.held.iter().map(row));
            return Section::new("Stock", [Block::Table(table), Block::said(self.said(library))]);
        };
        let row = |held: &Held| {
            [called(held.ingredient), scale.stock(held.needed_g), there(held), scale.stock(held.lacking_g())]
        };
        let colour = |colour: &Colour| {
            let needed = scale.stock(f64::from(batches) * colour.mass_g);
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
