//! `assess`: the whole answer for one formula.

use barwright_blend::assess::Workbench;
use barwright_blend::{Assessment, sensitivity};
use barwright_reference::suggest::nearest;
use barwright_reference::{Formula, names::normalise};
use serde::Serialize;

use crate::args::Assess;
use crate::commands::builtin_parameters;
use crate::error::{CliError, Complaint};
use crate::input::load;
use crate::output::Streams;
use crate::render;

/// Most formulas named in a hint.
const MOST_NAMED: usize = 8;

/// Runs the subcommand.
pub fn run(order: &Assess, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&order.formula], order.wishes.making.lots().as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "assess")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let options = order.wishes.options();
    let parameters = builtin_parameters()?;
    let answer = barwright_blend::assess(&loaded.library, &parameters, formula, &options)?;
    let effects = if order.why {
        let central = barwright_blend::Options { draws: 0, ..options.clone() };
        sensitivity::effects(&Workbench::new(&loaded.library, &parameters, central)?, formula)?
    } else {
        Vec::new()
    };
    if order.wishes.showing.json {
        return if order.why {
            streams.data.json(&Explained { assessment: &answer, effects: &effects })
        } else {
            streams.data.json(&answer)
        };
    }
    let remark = loaded.remarks.get(index).and_then(Option::as_deref);
    render::assess::write(
        &mut streams.data,
        &answer,
        formula,
        &loaded.library,
        &options,
        order.wishes.showing.units,
        remark,
    )?;
    if order.why {
        render::why::write(&mut streams.data, &answer, &effects, &options, order.wishes.showing.units)?;
    }
    Ok(())
}

/// An assessment and what each ingredient does to it.
#[derive(Serialize)]
struct Explained<'a> {
    #[serde(flatten)]
    assessment: &'a Assessment,
    effects: &'a [sensitivity::Effect],
}

/// Picks the formula that is meant: the named one, or the only one.
pub fn pick(formulas: &[Formula], named: Option<&str>, command: &str) -> Result<usize, CliError> {
    let known: Vec<String> = formulas.iter().map(|formula| normalise(&formula.name)).collect();
    let quoted = |indices: &[usize]| -> String {
        let names: Vec<String> = indices
            .iter()
            .filter_map(|index| formulas.get(*index))
            .map(|formula| format!("`{}`", render::name(&formula.name)))
            .collect();
        render::list(&names, "and")
    };
    match named {
        None if formulas.len() == 1 => Ok(0),
        None => {
            let first: Vec<usize> = (0..formulas.len().min(MOST_NAMED)).collect();
            let message = format!("there are {} formulas, and `{command}` takes one", formulas.len());
            Err(Complaint::new("several-formulas", message)
                .hint("To see them side by side, use `barwright compare`.")
                .hint(format!(
                    "To pick one, add `--formula NAME`; the names are {}{}.",
                    quoted(&first),
                    if formulas.len() > MOST_NAMED { " and others" } else { "" }
                ))
                .into())
        }
        Some(name) => {
            let exact = formulas.iter().position(|formula| formula.name == name);
            let wanted = normalise(name);
            exact.or_else(|| known.iter().position(|known| *known == wanted)).ok_or_else(|| {
                let near = nearest(&wanted, known.iter().map(String::as_str).enumerate(), 3);
                Complaint::new("unknown-formula", format!("no formula is called `{}`", render::name(name)))
                    .hint(format!("The nearest names are {}.", quoted(&near)))
                    .into()
            })
        }
    }
}
