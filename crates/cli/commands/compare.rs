//! `compare`: several formulas side by side.

use std::ffi::OsStr;

use super::curves;
use crate::args::Compare;
use crate::error::{CliError, Complaint};
use crate::input::load;
use crate::output::Streams;
use crate::profile::Profile;
use crate::render;

/// Runs the subcommand.
pub fn run(order: &Compare, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let written: Vec<&OsStr> = order.formulas.iter().map(|formula| formula.as_os_str()).collect();
    let loaded = load(&written, profile.lots(order.wishes.making.lots.as_deref()).as_deref(), streams)?;
    if loaded.formulas.len() < 2 {
        return Err(Complaint::new("one-formula", "there is one formula, and `compare` takes two or more")
            .hint("Name a second formula, or use `barwright assess`.")
            .into());
    }
    let options = order.wishes.options();
    let parameters = profile.parameters(streams)?;
    let comparison = barwright_blend::compare(&loaded.library, &parameters, &loaded.formulas, &options)?;
    if order.wishes.showing.json {
        streams.data.json(&comparison)?;
    } else {
        let view = render::compare::View {
            comparison: &comparison,
            formulas: &loaded.formulas,
            library: &loaded.library,
            options: &options,
            units: order.wishes.showing.units,
        };
        render::compare::write(&mut streams.data, &view)?;
    }
    if order.drawing.is_wanted() {
        let (library, formulas) = (&loaded.library, &loaded.formulas);
        let computed = curves::computed(library, &parameters, formulas, &comparison.formulas, &options)?;
        order.drawing.show(&curves::picture(formulas, &computed, order.wishes.showing.units), streams)?;
    }
    Ok(())
}
