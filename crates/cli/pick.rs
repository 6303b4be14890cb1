//! Which formula of a file is meant.

use barwright_answer::Fault;
use barwright_answer::words::names;
use barwright_reference::suggest::nearest;
use barwright_reference::{Formula, names::normalise};

use crate::error::CliError;

/// Most formulas named in a hint.
const MAX_NAMED: usize = 8;

/// Picks the formula that is meant: the named one, or the only one.
pub fn pick(formulas: &[Formula], named: Option<&str>, command: &str) -> Result<usize, CliError> {
    let known: Vec<String> = formulas.iter().map(|formula| normalise(&formula.name)).collect();
    let quoted = |indices: &[usize]| -> String {
        let names: Vec<String> = indices
            .iter()
            .filter_map(|index| formulas.get(*index))
            .map(|formula| format!("`{}`", names::name(&formula.name)))
            .collect();
        names::list(&names, "and")
    };
    match named {
        None if formulas.len() == 1 => Ok(0),
        None => {
            let first: Vec<usize> = (0..formulas.len().min(MAX_NAMED)).collect();
            let message = format!("there are {} formulas, and `{command}` takes one", formulas.len());
            Err(Fault::new("several-formulas", message)
                .hint("To see them side by side, use `barwright compare`.")
                .hint(format!(
                    "To pick one, add `--formula NAME`; the names are {}{}.",
                    quoted(&first),
                    if formulas.len() > MAX_NAMED { " and others" } else { "" }
                ))
                .into())
        }
        Some(name) => {
            let exact = formulas.iter().position(|formula| formula.name == name);
            let wanted = normalise(name);
            exact.or_else(|| known.iter().position(|known| *known == wanted)).ok_or_else(|| {
                let near = nearest(&wanted, known.iter().map(String::as_str).enumerate(), 3);
                Fault::new("unknown-formula", format!("no formula is called `{}`", names::name(name)))
                    .hint(format!("The nearest names are {}.", quoted(&near)))
                    .into()
            })
        }
    }
}
