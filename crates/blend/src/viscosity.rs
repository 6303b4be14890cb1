//! Viscosity of a fully molten blend.
//!
//! Each ingredient has a line of ASTM D341 through its published viscosities; the lines are blended at one temperature by the double logarithm of the ASTM
//! D7152 family, and the density of the melt turns mm²/s into mPa·s:
//!
//! ```text
//! ν_i(T)           line of the ingredient                              [line]
//! ν(T)             blend of the ν_i by mass                            [rules]
//! μ(T) = ν(T) ρ(T),     1/ρ = Σ w_i / ρ_i,     ρ_i = ρ_i0 (1 − ε φ_i0) / (1 + β (T − T_i0))
//! ```
//! | symbol | what |
//! |---|---|
//! | `ρ_i0`, `T_i0` | density of the ingredient in the table and its temperature |
//! | `φ_i0` | solid share there: 1 below the melting range, 0 above it, straight between |
//! | `ε`, `β` | contraction of crystals, expansion of the melt ([`crate::parameters::Heat`]) |
//!
//! Powder multiplies μ by the rule of `filler.rs`; ν and ρ stay those of the melt between its grains.
//!
//! # Spread
//! In each draw an ingredient's line is shifted as a whole, by the root mean square of the `ln_sd` of its points. The rule of blending is an error of the
//! model: the two rules diverge as the parts of a blend differ in `ln μ`, and their distance at a temperature is one standard deviation of `ln ν` there
//! (nothing for a neat ingredient, 0.56 for halves of 10 and 1000 mm²/s). A drawn blend stays between its drawn parts.
//!
//! # Validity
//! Above the clear point only ([`crate::heat_curve::HeatCurves::clear_c`]): crystals thicken a melt, and are not modelled here. [`LOWEST_C`] to
//! [`HIGHEST_C`]; a melt is taken as Newtonian. Densities of molten waxes come out some 4 % high (0.87 g/ml for beeswax at 80 °C against 0.82 to 0.84,
//! recalled), and so does what is computed from figures in mm²/s.
//!
//! # Source
//! As `line.rs` and `rules.rs`; figures and their sources in `data/viscosity.csv`.

pub(crate) mod line;
mod rules;

pub use line::LineError;

use barwright_reference::{Formula, Ingredient, ViscosityUnit};

use crate::assess::Workbench;
use crate::error::BlendError;
use crate::filler::{Filler, Space};
use crate::heat_properties::HeatProperties;
use crate::interval::Estimate;
use crate::mixture::known;
use crate::root::{End, Tolerance, find_root};
use line::{THINNEST_MM2_S, ViscosityLine};
use rules::{double_logarithm_rule, logarithm_rule};

/// Lowest temperature of a melt, °C.
pub const LOWEST_C: f64 = -20.0;

/// Highest temperature of a melt, °C.
pub const HIGHEST_C: f64 = 200.0;

/// When the search for a temperature ends: K, and `ln μ`.
const TOLERANCE: Tolerance = Tolerance { argument: 1e-9, value: 1e-10 };

/// Density of a molten ingredient, g/ml.
///
/// # Arguments
/// * `ingredient`: its density, the temperature of that, and its melting range.
/// * `properties`: contraction of crystals and expansion of the melt.
/// * `temperature_c`: °C.
///
/// # Errors
/// 1 % for a vegetable oil up to 110 °C, some 4 % for a wax (a third of the contraction, which is one figure for all).
pub(crate) fn melt_density_g_ml(ingredient: &Ingredient, properties: &HeatProperties, temperature_c: f64) -> f64 {
    let Ingredient { melt_low_c, melt_high_c, density_g_ml, density_at_c, .. } = *ingredient;
    let solid = if density_at_c <= melt_low_c {
        1.0
    } else if density_at_c >= melt_high_c {
        0.0
    } else {
        (melt_high_c - density_at_c) / (melt_high_c - melt_low_c)
    };
    let molten = density_g_ml * (1.0 - properties.crystal_contraction * solid);
    molten / (1.0 + properties.expansion_per_k * (temperature_c - density_at_c))
}

/// The line of an ingredient, from its points in the table.
///
/// # Arguments
/// * `ingredient`: with its viscosities.
/// * `properties`: for the density that turns mPa·s into mm²/s.
///
/// # Errors
/// [`LineError`]; the built-in table has none.
pub(crate) fn ingredient_line(
    ingredient: &Ingredient,
    properties: &HeatProperties,
) -> Result<ViscosityLine, LineError> {
    let points: Vec<(f64, f64)> = ingredient
        .viscosity
        .iter()
        .map(|point| {
            let kinematic = match point.unit {
                ViscosityUnit::Kinematic => point.viscosity,
                ViscosityUnit::Dynamic => {
                    point.viscosity / melt_density_g_ml(ingredient, properties, point.temperature_c)
                }
            };
            (point.temperature_c, kinematic)
        })
        .collect();
    ViscosityLine::through(&points)
}

/// One ingredient of a melt.
#[derive(Debug, Clone, Copy, PartialEq)]
struct MeltPart {
    fraction: f64,
    line: ViscosityLine,
    /// What its viscosity is multiplied by in this draw.
    factor: f64,
    /// Density at `density_at_c`, molten, g/ml.
    density_g_ml: f64,
    density_at_c: f64,
}

/// Viscosity of one formula against temperature, in one draw.
#[derive(Debug, Clone, PartialEq)]
pub struct MeltCurve {
    parts: Vec<MeltPart>,
    expansion_per_k: f64,
    /// Distances of the two rules by which `ln ν` is moved in this draw.
    rule_score: f64,
    /// What powder in the melt multiplies the viscosity by.
    thickening: f64,
}

impl MeltCurve {
    /// Mass fractions and kinematic viscosities of the parts, mm²/s.
    fn parts_at(&self, temperature_c: f64) -> Vec<(f64, f64)> {
        let of = |part: &MeltPart| (part.line.at_mm2_s(temperature_c) * part.factor).max(THINNEST_MM2_S);
        self.parts.iter().map(|part| (part.fraction, of(part))).collect()
    }

    /// Kinematic viscosity, mm²/s.
    ///
    /// # Arguments
    /// * `temperature_c`: °C, above the clear point; beyond [`LOWEST_C`] and [`HIGHEST_C`] the value there.
    pub(crate) fn kinematic_mm2_s(&self, temperature_c: f64) -> f64 {
        let parts = self.parts_at(temperature_c.clamp(LOWEST_C, HIGHEST_C));
        let double = double_logarithm_rule(&parts);
        if self.rule_score == 0.0 {
            return double;
        }
        let moved = double * (self.rule_score * (logarithm_rule(&parts) / double).ln()).exp();
        let (thinnest, thickest) = parts
            .iter()
            .fold((f64::INFINITY, 0.0_f64), |(low, high), (_, viscosity)| (low.min(*viscosity), high.max(*viscosity)));
        moved.max(thinnest).min(thickest)
    }

    /// Density of the melt without its powder, g/ml.
    ///
    /// # Arguments
    /// * `temperature_c`: °C, above the clear point; beyond [`LOWEST_C`] and [`HIGHEST_C`] the value there.
    pub fn density_g_ml(&self, temperature_c: f64) -> f64 {
        let celsius = temperature_c.clamp(LOWEST_C, HIGHEST_C);
        let volume = |part: &MeltPart| {
            part.fraction * (1.0 + self.expansion_per_k * (celsius - part.density_at_c)) / part.density_g_ml
        };
        1.0 / self.parts.iter().map(volume).sum::<f64>()
    }

    /// Dynamic viscosity, mPa·s; with powder in the melt, of both together.
    ///
    /// # Arguments
    /// * `temperature_c`: °C, above the clear point; beyond [`LOWEST_C`] and [`HIGHEST_C`] the value there.
    pub fn at(&self, temperature_c: f64) -> f64 {
        self.thickening * self.melt_mpa_s(temperature_c)
    }

    /// Dynamic viscosity of the melt between the grains of a powder, mPa·s.
    ///
    /// # Arguments
    /// * `temperature_c`: as for [`MeltCurve::at`].
    pub fn melt_mpa_s(&self, temperature_c: f64) -> f64 {
        self.kinematic_mm2_s(temperature_c) * self.density_g_ml(temperature_c)
    }

    /// Temperature at which the melt has a viscosity, °C.
    ///
    /// # Arguments
    /// * `viscosity_mpa_s`: dynamic, mPa·s.
    ///
    /// # Returns
    /// `None` when it has it nowhere from [`LOWEST_C`] to [`HIGHEST_C`].
    pub(crate) fn temperature_at(&self, viscosity_mpa_s: f64) -> Option<f64> {
        let thicker = |temperature_c: f64| (self.at(temperature_c) / viscosity_mpa_s).ln();
        let cold = End { at: LOWEST_C, value: thicker(LOWEST_C) };
        let hot = End { at: HIGHEST_C, value: thicker(HIGHEST_C) };
        (cold.value >= 0.0 && hot.value <= 0.0 && hot.value.is_finite())
            .then(|| find_root(cold, hot, TOLERANCE, thicker))
    }

    /// As [`MeltCurve::temperature_at`], with the end of the range where the viscosity lies beyond it.
    fn temperature_or_end(&self, viscosity_mpa_s: f64) -> f64 {
        let beyond = if viscosity_mpa_s > self.at(LOWEST_C) { LOWEST_C } else { HIGHEST_C };
        self.temperature_at(viscosity_mpa_s).unwrap_or(beyond)
    }
}

/// Viscosity of one formula: by the central model, and in each draw.
#[derive(Debug, Clone, PartialEq)]
pub struct MeltViscosity {
    /// By the central model.
    pub central: MeltCurve,
    /// In each draw.
    pub drawn: Vec<MeltCurve>,
    /// Keys of the ingredients that have no viscosity of their own in the table but that of their kind.
    pub of_kind: Vec<String>,
}

impl MeltViscosity {
    /// Dynamic viscosity, mPa·s.
    ///
    /// # Arguments
    /// * `temperature_c`: °C, above the clear point (for the caller to check); beyond [`LOWEST_C`] and [`HIGHEST_C`] the value there.
    pub fn at(&self, temperature_c: f64) -> Estimate {
        let drawn = if temperature_c.is_nan() { &[][..] } else { &self.drawn };
        Estimate::from_draws(
            self.central.at(temperature_c),
            drawn.iter().map(|curve| curve.at(temperature_c)).collect(),
        )
    }
}

/// Temperature at which a melt has the viscosity that another has at a given one, °C: for two streams poured side by side.
///
/// The draws are paired: ingredients that both melts share shift both alike, so that small differences between formulas are resolved.
///
/// # Arguments
/// * `first`, `first_c`: a melt, and its temperature, °C.
/// * `second`: the melt whose temperature is looked for; from the same [`Workbench`].
///
/// # Returns
/// °C; `None` when the central melt has that viscosity nowhere from [`LOWEST_C`] to [`HIGHEST_C`].
///
/// # Example
/// ```
/// use barwright_blend::assess::Workbench;
/// use barwright_blend::viscosity::equal_viscosity;
/// use barwright_blend::{Model, Options};
/// use barwright_reference::{Library, formula};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let model = Model::builtin()?;
/// let bench = Workbench::new(&library, &model, Options { draws: 32, ..Options::default() })?;
/// let melt = |text: &str| -> Result<_, Box<dyn std::error::Error>> {
///     let reading = formula::read_inline(text, "bar", &library)?;
///     Ok(bench.melt_viscosity(&reading.formulas[0], 32)?)
/// };
/// let plain = melt("beeswax 30, sunflower oil 70")?;
/// let castor = melt("beeswax 30, castor oil 70")?;
/// let celsius = equal_viscosity(&plain, 75.0, &castor).ok_or("never")?;
/// assert!(celsius.value > 90.0);
/// assert!((castor.central.at(celsius.value) / plain.central.at(75.0) - 1.0).abs() < 1e-6);
/// # Ok(())
/// # }
/// ```
pub fn equal_viscosity(first: &MeltViscosity, first_c: f64, second: &MeltViscosity) -> Option<Estimate> {
    let central = second.central.temperature_at(first.central.at(first_c))?;
    let pairs = first.drawn.iter().zip(&second.drawn);
    let drawn = pairs.map(|(first, second)| second.temperature_or_end(first.at(first_c))).collect();
    Some(Estimate::from_draws(central, drawn))
}

/// Root mean square of the spreads of an ingredient's points.
fn ln_sd(ingredient: &Ingredient) -> f64 {
    let squares: f64 = ingredient.viscosity.iter().map(|point| point.ln_sd * point.ln_sd).sum();
    (squares / ingredient.viscosity.len().max(1) as f64).sqrt()
}

impl Workbench<'_> {
    /// Computes the viscosity of a melt.
    ///
    /// # Arguments
    /// * `formula`: parts in mass %.
    /// * `draws`: number of draws.
    ///
    /// # Errors
    /// [`BlendError::NoParts`], [`BlendError::UnknownIngredient`], [`BlendError::Viscosity`].
    ///
    /// # Validity
    /// See [`crate::viscosity`]: above the clear point only.
    ///
    /// # Example
    /// A melt poured at 75 °C is some 10 to 30 mPa·s unless it is rich in castor oil.
    /// ```
    /// use barwright_blend::assess::Workbench;
    /// use barwright_blend::{Model, Options};
    /// use barwright_reference::{Library, formula};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin()?;
    /// let reading = formula::read_inline("beeswax 30, cocoa butter 30, sunflower oil 40", "bar", &library)?;
    /// let model = Model::builtin()?;
    /// let bench = Workbench::new(&library, &model, Options { draws: 64, ..Options::default() })?;
    /// let viscosity = bench.melt_viscosity(&reading.formulas[0], 64)?.at(75.0);
    /// assert!((10.0..30.0).contains(&viscosity.value), "{viscosity:?}");
    /// assert!(viscosity.low < viscosity.value && viscosity.value < viscosity.high);
    /// # Ok(())
    /// # }
    /// ```
    pub fn melt_viscosity(&self, formula: &Formula, draws: usize) -> Result<MeltViscosity, BlendError> {
        let library = self.library();
        let (mut parts, mut spaces) = (Vec::with_capacity(formula.parts.len()), Vec::new());
        for part in formula.parts.iter().filter(|part| part.percent > 0.0) {
            let ingredient = known(library, part.ingredient)?;
            spaces.push((part.percent, Space::of(ingredient, self.draws())));
            if ingredient.powder.is_none() {
                parts.push((ingredient, part.percent));
            }
        }
        // Neither the order of the parts nor that of the table changes a figure.
        parts.sort_by(|a, b| a.0.key.cmp(&b.0.key).then(a.1.total_cmp(&b.1)));
        let total: f64 = parts.iter().map(|(_, percent)| percent).sum();
        if parts.is_empty() && !spaces.is_empty() {
            return Err(BlendError::OnlyPowder);
        }
        if !(total > 0.0 && total.is_finite()) {
            return Err(BlendError::NoParts);
        }
        let names = parts.iter().map(|(ingredient, _)| ingredient.key.as_str()).collect::<Vec<_>>().join("+");
        let rule_scores = self.draws().dimension(&format!("viscosity-rule:{names}"));
        let scores: Vec<Vec<f64>> = parts
            .iter()
            .map(|(ingredient, _)| self.draws().dimension(&format!("viscosity:{}", ingredient.key)))
            .collect();
        let curve = |draw: Option<usize>| -> Result<MeltCurve, BlendError> {
            let properties = &self.draw(draw).model.heat;
            let score = |scores: &[f64]| draw.and_then(|index| scores.get(index)).copied().unwrap_or(0.0);
            let part = |(&(ingredient, percent), scores): (&(&Ingredient, f64), &Vec<f64>)| {
                let line = ingredient_line(ingredient, properties)
                    .map_err(|error| BlendError::Viscosity { ingredient: ingredient.key.clone(), error })?;
                Ok(MeltPart {
                    fraction: percent / total,
                    line,
                    factor: (ln_sd(ingredient) * score(scores)).exp(),
                    density_g_ml: melt_density_g_ml(ingredient, properties, ingredient.density_at_c),
                    density_at_c: ingredient.density_at_c,
                })
            };
            Ok(MeltCurve {
                parts: parts.iter().zip(&scores).map(part).collect::<Result<_, BlendError>>()?,
                expansion_per_k: properties.expansion_per_k,
                rule_score: score(&rule_scores),
                thickening: Filler::of(spaces.iter().map(|(percent, space)| (*percent, space)), draw).thickening(),
            })
        };
        let central = curve(None)?;
        let count = draws.min(self.options().draws);
        let drawn = (0..count).map(|draw| curve(Some(draw))).collect::<Result<_, _>>()?;
        let mut of_kind: Vec<String> = parts
            .iter()
            .filter(|(ingredient, _)| ingredient.viscosity.iter().any(|point| point.of_kind))
            .map(|(ingredient, _)| ingredient.key.clone())
            .collect();
        of_kind.dedup();
        Ok(MeltViscosity { central, drawn, of_kind })
    }
}

#[cfg(test)]
mod tests;
