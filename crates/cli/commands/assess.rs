//! `assess`: the whole answer for one formula.

use barwright_answer::Engine;
use barwright_answer::assess::{Assess as Asked, assess};

use crate::args::Assess;
use crate::error::CliError;
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;

/// Runs the subcommand.
pub fn run(args: &Assess, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&args.formula], profile.lots(args.wishes.making.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, args.named.as_deref(), "assess")?;
    let mould = args.mould.as_deref().map(load_mould).transpose()?;
    let mut options = args.wishes.options();
    if let (None, Some(relief_mm)) = (args.wishes.relief, mould.as_ref().and_then(|mould| mould.relief_mm)) {
        options.relief_mm = relief_mm;
    }
    let showing = &args.wishes.showing;
    let asked = Asked {
        formula: loaded.recipe(index)?,
        options,
        mould,
        why: args.why,
        curves: args.drawing.is_wanted(),
        units: showing.units,
    };
    let engine = Engine { library: loaded.library, parameters: profile.parameters(streams)? };
    let answer = assess(&engine, &asked)?;
    streams.answer(&answer, showing.form(), &args.drawing)
}
