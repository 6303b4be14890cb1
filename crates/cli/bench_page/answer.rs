//! What the page asks, held to what a page may ask, and what it is told: figures, and what they say as markup.

use std::ops::{ControlFlow, RangeInclusive};

use axum::http::StatusCode;
use barwright_answer::adjust::Adjust;
use barwright_answer::assess::RULE_OF_THUMB;
use barwright_answer::batch::{Batch, Size, batch};
use barwright_answer::engine::Recipe;
use barwright_answer::limits::NamedLimits;
use barwright_answer::live::{Live, LiveEngine, MOVING_DRAWS};
use barwright_answer::question::{self, Request};
use barwright_answer::swap::Swap;
use barwright_answer::words::group::Group;
use barwright_answer::{Answered, Control, Fault, html, places, weigh_sheet};
use barwright_blend::Options;
use barwright_reference::formula::quantity::SMALLEST;
use barwright_reference::mould::RELIEF_MM;
use barwright_reference::short;
use barwright_reformulate::Demand;
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::files::{Folder, NotSaved};
use super::guard::policy_with_style;
use super::reply::Reply;
use crate::args::{DIGIT_G, LEFT_PERCENT, MASS_G, MODEL_C};
use crate::error::CliError;

/// Most parts of a bar.
const MAX_PARTS: usize = 40;

/// Amounts of a part, in whatever it is weighed in.
const AMOUNT: RangeInclusive<f64> = SMALLEST..=1e6;

/// Longest name of a bar, characters.
const MAX_NAME: usize = 120;

/// Most bars of one batch.
const MAX_BARS: u32 = 1_000_000;

/// Every question is answered to its end, or cut off with its connection.
const TO_THE_END: Control<'static> = &|_, _| ControlFlow::Continue(());

/// What every question is answered from.
#[derive(Debug)]
pub struct Backend<'a> {
    /// Tables and model.
    pub live: LiveEngine<'a>,
    /// The maker's folder.
    pub folder: Folder,
}

/// A file to save.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SaveAsked {
    bar: Recipe,
    /// Digest of the file when it was opened; nothing when it is to be new.
    digest: Option<String>,
}

/// Tells what the page must know to begin.
pub fn start(backend: &Backend<'_>) -> Reply {
    let usual = Options::default();
    let ingredients = backend.live.engine.library.ingredients.iter().map(|one| {
        let group = Group::of(one).word();
        json!({ "key": one.key, "common_name": one.common_name, "inci_name": one.inci_name, "synonyms": one.synonyms, "group": group })
    });
    let range =
        |usual: f64, ends: &RangeInclusive<f64>| json!({ "usual": usual, "low": ends.start(), "high": ends.end() });
    Reply::json(&json!({
        "version": env!("CARGO_PKG_VERSION"),
        "folder": backend.folder.shown(),
        "ingredients": ingredients.collect::<Vec<_>>(),
        "moving_draws": MOVING_DRAWS,
        "resting_draws": usual.draws,
        "hold_c": range(usual.hold_c, &MODEL_C),
        "relief_mm": range(usual.relief_mm, &RELIEF_MM),
        "places": places::MARKED,
        "rule_of_thumb": RULE_OF_THUMB,
        "heat": barwright_blend::cautions::HEAT,
    }))
}

/// Says what one bar or two are like.
pub fn look(backend: &Backend<'_>, asked: Live) -> Result<Reply, CliError> {
    let formulas = asked.formulas.into_iter().map(bar).collect::<Result<_, _>>()?;
    let asked = Live { formulas, options: conditions(&asked.options)?, ..asked };
    Ok(told(&backend.live.look(&asked)?))
}

/// Answers a question.
pub fn ask(backend: &Backend<'_>, asked: Request) -> Result<Reply, CliError> {
    Ok(told(&question::answer(backend.live.engine, &held(asked)?, TO_THE_END)?))
}

/// Makes the weigh sheet to print.
pub fn sheet(backend: &Backend<'_>, asked: Batch) -> Result<Reply, CliError> {
    let Size::Bars { count, bar_g } = asked.size else { return Err(not_here().into()) };
    if count == 0 || count > MAX_BARS {
        return Err(Fault::new("bars", format!("{count} is no number of bars from 1 to {MAX_BARS}")).into());
    }
    if asked.number.as_ref().is_some_and(|number| number.chars().count() > MAX_NAME) {
        return Err(Fault::new("number", "the number of the batch is too long").into());
    }
    let asked = Batch {
        formula: bar(asked.formula)?,
        size: Size::Bars { count, bar_g: within(bar_g, &MASS_G, "the mass of a bar, g")? },
        left_percent: within(asked.left_percent, &LEFT_PERCENT, "what stays in the jug, %")?,
        scale_g: within(asked.scale_g, &DIGIT_G, "the last digit of the scale, g")?,
        number: asked.number,
        market: asked.market,
        ..Batch::default()
    };
    let sheet = batch(backend.live.engine, &asked, TO_THE_END)?.document;
    Ok(Reply {
        status: StatusCode::OK,
        media: "text/html; charset=utf-8",
        body: weigh_sheet::page(&sheet, asked.number.as_deref()).into_bytes(),
        policy: Some(policy_with_style(html::STYLE)),
    })
}

/// Lists the files.
pub fn files(backend: &Backend<'_>) -> Result<Reply, CliError> {
    Ok(Reply::json(&json!({ "files": backend.folder.list()? })))
}

/// Opens a file.
pub fn open(backend: &Backend<'_>, name: &str) -> Result<Reply, CliError> {
    let library = &backend.live.engine.library;
    let opened = backend.folder.read(name, library)?;
    let formula = Recipe::of(&opened.formula, library);
    Ok(Reply::json(
        &json!({ "digest": opened.digest, "formula": formula, "remark": opened.remark, "notes": opened.notes }),
    ))
}

/// Saves a file.
pub fn save(backend: &Backend<'_>, name: &str, asked: SaveAsked) -> Result<Reply, CliError> {
    let engine = backend.live.engine;
    let formula = engine.formula(&bar(asked.bar)?)?;
    let (status, digest) = match backend.folder.write(name, asked.digest.as_deref(), &formula, &engine.library) {
        Ok(digest) => (StatusCode::OK, Some(digest)),
        Err(NotSaved::Changed(found)) => (StatusCode::CONFLICT, found),
        Err(NotSaved::Failed(error)) => return Err(error),
    };
    Ok(Reply::json_as(status, &json!({ "digest": digest })))
}

/// An answer for the page: its figures as with `--json`, and what stands under its title and under its headings as markup.
fn told<F: Serialize>(answer: &Answered<F>) -> Reply {
    let [lead, sections] = html::pieces(&answer.document);
    Reply::json(&json!({ "figures": answer.figures, "lead": lead, "sections": sections }))
}

/// Holds a question to what the page asks: the rest of it is as usual, and its work has an end.
fn held(asked: Request) -> Result<Request, Box<Fault>> {
    match asked {
        Request::Adjust(asked) => Ok(Request::Adjust(Box::new(Adjust {
            formula: bar(asked.formula)?,
            options: conditions(&asked.options)?,
            demands: asked.demands.into_iter().map(demand).collect::<Result<_, _>>()?,
            limits: NamedLimits { keep: asked.limits.keep, ..NamedLimits::default() },
            ..Adjust::default()
        }))),
        Request::Swap(asked) => Ok(Request::Swap(Box::new(Swap {
            formula: bar(asked.formula)?,
            options: conditions(&asked.options)?,
            replace: asked.replace,
            with: asked.with,
            vegan: asked.vegan,
            nut_free: asked.nut_free,
            ..Swap::default()
        }))),
        _ => Err(not_here()),
    }
}

/// Says that a question is none of the page's.
fn not_here() -> Box<Fault> {
    Box::new(Fault::new("question", "the page does not ask this").hint("The command does."))
}

/// Holds a bar to what fits on the page.
fn bar(asked: Recipe) -> Result<Recipe, Box<Fault>> {
    let name = asked.name.trim().to_owned();
    if name.is_empty() || name.chars().count() > MAX_NAME {
        return Err(Box::new(Fault::new("name", "the bar needs a name of a few words")));
    }
    if asked.parts.len() > MAX_PARTS {
        return Err(Box::new(Fault::new("parts", format!("{} parts are more than {MAX_PARTS}", asked.parts.len()))));
    }
    for part in asked.parts.iter().filter(|part| part.amount != 0.0) {
        within(part.amount, &AMOUNT, "an amount other than 0")?;
    }
    Ok(Recipe { name, ..asked })
}

/// Holds conditions to what the model takes; draws, seed and temperatures are the usual ones.
fn conditions(asked: &Options) -> Result<Options, Box<Fault>> {
    Ok(Options {
        state: asked.state,
        hold_c: within(asked.hold_c, &MODEL_C, "the temperature to hold, °C")?,
        relief_mm: within(asked.relief_mm, &RELIEF_MM, "the finest relief, mm")?,
        ..Options::default()
    })
}

/// Holds a demand to what the model takes.
fn demand(asked: Demand) -> Result<Demand, Box<Fault>> {
    match asked {
        Demand::Hold { temperature_c } => within(temperature_c, &MODEL_C, "the temperature to hold, °C")?,
        Demand::Detail { relief_mm } => within(relief_mm, &RELIEF_MM, "the finest relief, mm")?,
        _ => return Err(not_here()),
    };
    Ok(asked)
}

/// A number in a range.
fn within(value: f64, range: &RangeInclusive<f64>, what: &str) -> Result<f64, Box<Fault>> {
    if range.contains(&value) {
        return Ok(value);
    }
    let [value, low, high] = [value, *range.start(), *range.end()].map(short);
    Err(Box::new(Fault::new("range", format!("{what}: {value} is outside {low} to {high}"))))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_answer::Engine;
    use barwright_answer::engine::Amount;

    use super::*;

    /// A share of 5e-324 % was taken, and ended in a mass without end.
    #[test]
    fn an_amount_no_scale_shows_is_refused_as_it_is_in_a_text() {
        let engine = Engine::builtin().unwrap();
        let asked = |amount: f64| Recipe {
            name: "Leaf bar".to_owned(),
            parts: [("beeswax", 26.0), ("olive-oil", 70.0), ("sunflower-oil", amount)]
                .map(|(name, amount)| Amount { ingredient: name.to_owned(), amount })
                .into(),
            remark: None,
        };
        let parts = |amount: f64| engine.formula(&bar(asked(amount)).unwrap()).unwrap().parts.len();
        assert_eq!((parts(0.0), parts(SMALLEST)), (2, 3));
        for amount in [5e-324, 0.99 * SMALLEST, -1.0, 1.01 * AMOUNT.end(), f64::INFINITY, f64::NAN] {
            let fault = bar(asked(amount)).unwrap_err();
            assert_eq!(fault.code, "range", "{amount}");
            assert!(fault.message.len() < 100, "{}", fault.message);
        }
    }

    #[test]
    fn what_the_page_does_not_ask_is_refused_and_what_it_asks_has_an_end() {
        let read = |json: &str| held(serde_json::from_str(json).unwrap());
        for json in [
            r#"{ "validate": {} }"#,
            r#"{ "adjust": { "formula": { "name": "x", "parts": [] }, "demands": [{ "demand": "melts", "percent": 60 }] } }"#,
        ] {
            assert_eq!(read(json).unwrap_err().code, "question", "{json}");
        }
        let endless = r#"{ "swap": { "formula": { "name": " x ", "parts": [] }, "options": { "draws": 1000000000 }, "replace": "beeswax" } }"#;
        let Request::Swap(asked) = read(endless).unwrap() else { unreachable!("a swap stays one") };
        assert_eq!((asked.options.draws, asked.formula.name.as_str()), (Options::default().draws, "x"));
    }
}
