//! `ingredients`: the reference table and the card of one ingredient.

use barwright_answer::engine::builtin_library;
use barwright_answer::ingredients::{Ingredients, ingredients};
use barwright_reference::IngredientKind;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

use crate::args::OUTPUT;
use crate::error::CliError;
use crate::output::{Form, Streams};

/// Kinds of ingredients, as they are written, with the help for each.
const KINDS: [(&str, &str, IngredientKind); 10] = [
    ("wax", "Waxes", IngredientKind::Wax),
    ("butter", "Butters and other soft fats", IngredientKind::Butter),
    ("oil", "Liquid oils", IngredientKind::Oil),
    ("ester", "Simple esters", IngredientKind::Ester),
    ("fatty-alcohol", "Fatty alcohols", IngredientKind::FattyAlcohol),
    ("fatty-acid", "Fatty acids", IngredientKind::FattyAcid),
    ("hydrocarbon", "Hydrocarbons, solid or liquid", IngredientKind::Hydrocarbon),
    ("scent", "Essential oils, fragrances, menthol", IngredientKind::Scent),
    ("powder", "Clays, starches, pigments and other powders", IngredientKind::Powder),
    ("other", "Anything else", IngredientKind::Other),
];

/// Arguments of `ingredients`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright ingredients --kind wax
  barwright ingredients 'cera alba'
  barwright ingredients butter --sources")]
pub struct Args {
    /// A name or part of one; the full name of an ingredient shows all there is about it
    #[arg(value_name = "QUERY")]
    pub query: Option<String>,
    /// List only this kind, to see what could stand in for an ingredient that ran out
    #[arg(long, value_parser = kind())]
    pub kind: Option<IngredientKind>,
    /// Show where each figure comes from, to judge how far to trust it
    #[arg(long)]
    pub sources: bool,
    /// Print one JSON document with every figure, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}

/// Runs the subcommand.
pub fn run(args: &Args, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let asked = Ingredients { query: args.query.clone(), kind: args.kind, sources: args.sources };
    streams.figures(&ingredients(&builtin_library()?, &asked)?, Form::of(args.json))
}

/// Reads a kind of ingredient.
fn kind() -> impl TypedValueParser<Value = IngredientKind> {
    let known = KINDS.map(|(word, help, _)| PossibleValue::new(word).help(help));
    PossibleValuesParser::new(known)
        .try_map(|word| KINDS.into_iter().find(|one| one.0 == word).map(|one| one.2).ok_or("not a kind of ingredient"))
}
