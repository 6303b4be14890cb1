//! `assess`: the whole answer for one formula.

use barwright_reference::suggest::nearest;
use barwright_reference::{Formula, names::normalise};

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
    let loaded = load(&[&order.formula], order.wishes.lots().as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref())?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let options = order.wishes.options();
    let answer = barwright_blend::assess(&loaded.library, &builtin_parameters()?, formula, &options)?;
    if order.wishes.json {
        return streams.data.json(&answer);
    }
    let remark = loaded.remarks.get(index).and_then(Option::as_deref);
    render::assess::write(&mut streams.data, &answer, formula, &loaded.library, &options, order.wishes.units, remark)?;
    Ok(())
}

/// Picks the formula that is meant: the named one, or the only one.
fn pick(formulas: &[Formula], named: Option<&str>) -> Result<usize, CliError> {
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
            let message = format!("there are {} formulas, and `assess` takes one", formulas.len());
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
