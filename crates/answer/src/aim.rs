//! The one bar of a space that is best in one way, in words and figures.

use barwright_reference::Formula;
use barwright_reformulate::aim::{self, AimError, Goal, Optimum};
use barwright_reformulate::explore::{ExploreError, Settings};
use barwright_reformulate::{Exploration, Space};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::engine::{Engine, Recipe};
use crate::refusal::{Fault, Refusal};
use crate::space::ReadSpace;
use crate::words::number::{amount, significant, trimmed};
use crate::words::units::Units;

/// Way in which one bar of a space is to be the best.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Aim {
    /// Costs least.
    Cheapest,
    /// Highest yield stress, at the temperature of the firmness that is weighed.
    Firmest,
    /// Lowest yield stress, at the same temperature.
    Softest,
    /// Farthest from smearing and from dragging on skin.
    Glide,
    /// Least mass moved from this bar.
    Nearest(Recipe),
}

/// Finds the best bar; `None` when none meets everything.
///
/// # Arguments
/// * `steps_percent`: steps of the amounts, the one most wished for first.
///
/// # Errors
/// There are no prices, the bar to be near to has a fault, or the model fails.
pub(crate) fn best(
    engine: &Engine,
    aimed: &Aim,
    space: &ReadSpace,
    settings: &Settings,
    found: &Exploration,
    steps_percent: &[f64],
) -> Result<Option<Optimum>, Refusal> {
    let aim = match aimed {
        Aim::Cheapest => aim::Aim::Cheapest,
        Aim::Firmest => aim::Aim::Firmest,
        Aim::Softest => aim::Aim::Softest,
        Aim::Glide => aim::Aim::Glide,
        Aim::Nearest(recipe) => aim::Aim::Nearest { percent: shares(space.filler.space(), &engine.formula(recipe)?) },
    };
    let goal = Goal { aim, steps_percent: steps_percent.to_vec() };
    aim::best(&engine.library, &engine.model, &space.filler, settings, &space.demands, &goal, &found.front)
        .map_err(|error| refused(error, space))
}

/// Mass % of each ingredient of a space in a formula.
fn shares(space: &Space, formula: &Formula) -> Vec<f64> {
    let share = |&ingredient| {
        let parts = formula.parts.iter().filter(|part| part.ingredient == ingredient);
        parts.map(|part| part.percent).sum::<f64>() + 0.0
    };
    space.ingredients.iter().map(share).collect()
}

/// Says why there is nothing to aim at.
fn refused(error: AimError, space: &ReadSpace) -> Refusal {
    match error {
        AimError::Explore(ExploreError::Blend(error)) => error.into(),
        AimError::NoPrices => {
            let of = space.without_price.as_ref().map_or_else(String::new, |names| format!(" of {names}"));
            Fault::new("no-price", format!("`--aim cheapest`: there is no price{of}"))
                .hint("Write a line for each ingredient below `[prices]`, or `price_per_kg` into its lot.")
                .into()
        }
        error => Fault::new("space", error.to_string()).into(),
    }
}

/// The answer in words: what it is and what it is made of, then how it was found.
///
/// # Arguments
/// * `parts`: what is in it, in words.
/// * `limited`: whether anything is demanded.
/// * `firmness_at_c`: temperature of the firmness, °C.
pub(crate) fn sentences(
    aim: &Aim,
    best: &Optimum,
    parts: &str,
    limited: bool,
    firmness_at_c: f64,
    units: Units,
) -> [String; 2] {
    let value = |value: f64| match aim {
        Aim::Cheapest => format!("{} per kilogram", trimmed(value, 2)),
        Aim::Firmest | Aim::Softest => {
            format!("{} at {}", units.given_stress(value), units.given_degrees(firmness_at_c))
        }
        Aim::Glide if value < 0.0 => {
            format!("a factor of {} from smearing or dragging", significant((-value).exp(), 2))
        }
        Aim::Glide => "still smearing or dragging".to_owned(),
        Aim::Nearest(_) => format!("{} % moved", amount(value)),
    };
    let which = match aim {
        Aim::Cheapest => "The cheapest bar",
        Aim::Firmest => "The firmest bar",
        Aim::Softest => "The softest bar",
        Aim::Glide => "The bar with the most glide",
        Aim::Nearest(_) => "The nearest bar",
    };
    let that_meets = if limited { " that meets your limits" } else { "" };
    let answer = format!("{which}{that_meets}: {parts}; {}.", value(best.value));
    let better = match aim {
        Aim::Cheapest => "cheaper",
        Aim::Firmest => "firmer",
        Aim::Softest => "softer",
        Aim::Glide => "better",
        Aim::Nearest(_) => "nearer",
    };
    let ended = match (best.searches, best.agree) {
        (1, _) => "One search".to_owned(),
        (all, agree) if agree == all => format!("All {all} searches from all over the space"),
        (all, agree) => format!("{agree} of {all} searches from all over the space"),
    };
    let still = if limited { " and still meets your limits" } else { "" };
    let tried = format!("{ended} came out as good ({} more bars tried)", best.judged);
    let how = match best.step_percent {
        Some(step) => {
            let step = trimmed(step, 1);
            let (there, free) = (value(best.value), value(best.unrounded));
            let unrounded = if there == free { String::new() } else { format!(" In any amounts it would be {free}.") };
            format!("{tried}. No exchange of {step} % between two ingredients makes it {better}{still}.{unrounded}")
        }
        None => format!("{tried}. No bar near it in round amounts meets your limits."),
    };
    [answer, how]
}
