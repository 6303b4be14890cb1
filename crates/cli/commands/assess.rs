//! `assess`: the whole answer for one formula.

use barwright_blend::assess::Workbench;
use barwright_blend::{Assessment, sensitivity};
use barwright_making::bar::density_kg_per_m3;
use barwright_reference::mould::Mould;
use barwright_reference::suggest::nearest;
use barwright_reference::{Formula, names::normalise};
use serde::Serialize;

use super::curves;
use crate::args::Assess;
use crate::error::{CliError, Complaint};
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::Streams;
use crate::profile::Profile;
use crate::render;

/// Most formulas named in a hint.
const MOST_NAMED: usize = 8;

/// Runs the subcommand.
pub fn run(order: &Assess, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&order.formula], profile.lots(order.wishes.making.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "assess")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let mould = order.mould.as_deref().map(load_mould).transpose()?;
    let mut options = order.wishes.options();
    if let (None, Some(relief_mm)) = (order.wishes.relief, mould.as_ref().and_then(|mould| mould.relief_mm)) {
        options.relief_mm = relief_mm;
    }
    let parameters = profile.parameters(streams)?;
    let answer = barwright_blend::assess(&loaded.library, &parameters, formula, &options)?;
    let effects = if order.why {
        let central = barwright_blend::Options { draws: 0, ..options.clone() };
        sensitivity::effects(&Workbench::new(&loaded.library, &parameters, central)?, formula)?
    } else {
        Vec::new()
    };
    let bar_kg = |mould: &Mould| 1e-6 * mould.volume_ml * density_kg_per_m3(&loaded.library, formula);
    if order.wishes.showing.json {
        let mould = mould.as_ref().map(|mould| MouldJson {
            name: mould.name.as_deref(),
            cavities: mould.cavities,
            volume_ml: mould.volume_ml,
            bar_g: 1e3 * bar_kg(mould),
        });
        let effects = order.why.then_some(effects.as_slice());
        streams.data.json(&Answer { assessment: &answer, mould, effects })?;
    } else {
        let units = order.wishes.showing.units;
        let filling = mould.as_ref().map(|mould| render::cool::filling(mould, "Mould", bar_kg(mould), units));
        let remark = loaded.remarks.get(index).and_then(Option::as_deref);
        render::assess::write(
            &mut streams.data,
            &answer,
            formula,
            &loaded.library,
            &options,
            units,
            remark,
            filling.as_deref(),
        )?;
        if order.why {
            render::why::write(&mut streams.data, &answer, &effects, &options, units)?;
        }
    }
    if order.drawing.is_wanted() {
        let formulas = std::slice::from_ref(formula);
        let computed =
            curves::computed(&loaded.library, &parameters, formulas, std::slice::from_ref(&answer), &options)?;
        order.drawing.show(&curves::picture(formulas, &computed, order.wishes.showing.units), streams)?;
    }
    Ok(())
}

/// A mould and what one bar of it weighs, as JSON.
#[derive(Serialize)]
struct MouldJson<'a> {
    name: Option<&'a str>,
    cavities: u32,
    volume_ml: f64,
    bar_g: f64,
}

/// An assessment, with what it was asked beside.
#[derive(Serialize)]
struct Answer<'a> {
    #[serde(flatten)]
    assessment: &'a Assessment,
    #[serde(skip_serializing_if = "Option::is_none")]
    mould: Option<MouldJson<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    effects: Option<&'a [sensitivity::Effect]>,
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
