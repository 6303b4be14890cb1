//! Tasks drawn from bytes: formulas of the built-in ingredients, options, moulds. The same bytes give the same task.

use std::fmt::Debug;
use std::sync::LazyLock;

use arbitrary::{Error, Result, Unstructured};
use barwright_blend::certificate::fit_lots;
use barwright_blend::{Model, Options};
use barwright_reference::mould::{BarShape, Mould};
use barwright_reference::{CrystalState, Formula, IngredientId, Library, Part};

/// Temperatures of the model, °C.
pub const MODEL_C: (f64, f64) = (-20.0, 120.0);

/// The built-in tables.
pub static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().expect("the tables are sound"));

/// The built-in tables with a few deliveries, their certificates followed.
pub static STOCKED: LazyLock<Library> = LazyLock::new(|| {
    let lots = include_str!("../../seeds/certificate/both-figures.toml");
    let (library, _) = LIBRARY.with_lots(lots).expect("the deliveries are sound");
    fit_lots(&library, &MODEL.parameters).expect("the deliveries are followed").0
});

/// The model.
pub static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().expect("the model is sound"));

/// The environment variable that has tasks shown before they are run, to see what an input stands for.
pub const SHOW: &str = "BARWRIGHT_SHOW_TASK";

/// Shows a task, if that is wished for.
#[expect(clippy::print_stderr, reason = "asked for by whoever looks into a finding")]
pub fn show(task: &dyn Debug) {
    static WISHED: LazyLock<bool> = LazyLock::new(|| std::env::var_os(SHOW).is_some());
    if *WISHED {
        eprintln!("{task:?}");
    }
}

/// Draws the tables, with deliveries or without.
pub fn library(bytes: &mut Unstructured<'_>) -> Result<&'static Library> {
    Ok(if bytes.ratio(1, 4)? { &STOCKED } else { &LIBRARY })
}

/// Draws a figure from a range: its ends, round figures and any other.
pub fn figure(bytes: &mut Unstructured<'_>, low: f64, high: f64) -> Result<f64> {
    Ok(match bytes.int_in_range(0..=15_u8)? {
        0 => low,
        1 => high,
        2..=8 => (low + (high - low) * f64::from(bytes.int_in_range(0..=100_u8)?) / 100.0).round().clamp(low, high),
        _ => low + (high - low) * f64::from(bytes.arbitrary::<u32>()?) / f64::from(u32::MAX),
    })
}

/// Draws a positive figure from a range by its magnitude.
pub fn magnitude(bytes: &mut Unstructured<'_>, low: f64, high: f64) -> Result<f64> {
    Ok(figure(bytes, low.ln(), high.ln())?.exp().clamp(low, high))
}

/// Draws an ingredient.
pub fn ingredient(bytes: &mut Unstructured<'_>, library: &Library) -> Result<IngredientId> {
    let index = bytes.choose_index(library.ingredients.len())?;
    library.id_at(index).ok_or(Error::IncorrectFormat)
}

/// Draws a formula of one to so many parts; the first may be a trace or nearly all.
pub fn formula(bytes: &mut Unstructured<'_>, library: &Library, most: usize) -> Result<Formula> {
    let count = bytes.int_in_range(1..=most)?;
    let mut parts: Vec<Part> = Vec::with_capacity(count);
    for _ in 0..count {
        let ingredient = ingredient(bytes, library)?;
        let amount = match bytes.int_in_range(0..=7_u8)? {
            0 => magnitude(bytes, 1e-7, 1e3)?,
            _ => f64::from(bytes.int_in_range(1..=100_u8)?),
        };
        if parts.iter().all(|part| part.ingredient != ingredient) {
            parts.push(Part { ingredient, percent: amount });
        }
    }
    let total: f64 = parts.iter().map(|part| part.percent).sum();
    parts.iter_mut().for_each(|part| part.percent *= 100.0 / total);
    Ok(Formula { name: "bar".to_owned(), parts })
}

/// Draws options with at most so many draws.
pub fn options(bytes: &mut Unstructured<'_>, most_draws: usize) -> Result<Options> {
    let (low, high) = MODEL_C;
    let mut at_c = Vec::new();
    for _ in 0..bytes.int_in_range(0..=4_u8)? {
        at_c.push(figure(bytes, low, high)?);
    }
    Ok(Options {
        at_c,
        state: *bytes.choose(&CrystalState::ALL)?,
        release_c: figure(bytes, low, 60.0)?,
        relief_mm: magnitude(bytes, 0.05, 50.0)?,
        hold_c: figure(bytes, low, high)?,
        draws: bytes.int_in_range(0..=most_draws)?,
        seed: u64::from(bytes.arbitrary::<u16>()?),
    })
}

/// Draws the outer shape of a bar.
pub fn shape(bytes: &mut Unstructured<'_>) -> Result<BarShape> {
    let mut side = || magnitude(bytes, 2.0, 1000.0);
    let (one, two, three) = (side()?, side()?, side()?);
    Ok(if bytes.arbitrary()? {
        BarShape::Box { length_mm: one, width_mm: two, height_mm: three }
    } else {
        BarShape::Round { diameter_mm: one, height_mm: two }
    })
}

/// Draws a mould.
pub fn mould(bytes: &mut Unstructured<'_>) -> Result<Mould> {
    let plain = Mould::plain(shape(bytes)?);
    Ok(Mould { wall_mm: magnitude(bytes, 0.2, 200.0)?, ..plain })
}
