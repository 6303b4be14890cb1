//! Parameters of the model, read from `data/model.toml`, each with its spread.

use nalgebra::{Cholesky, DMatrix};
use serde::Deserialize;

use crate::known_off::KnownOff;
use crate::misfit::Between;
use crate::packing::{Packing, Recrystallised};

/// Regular-solution parameter of one class of species in the melt.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LiquidClass {
    /// Name, as in `species.csv`.
    pub name: String,
    /// δ relative to triglyceride oil, dimensionless.
    pub delta: f64,
    /// Standard deviation of δ.
    pub sd: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Effect of one crystal family on firmness and melting.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Family {
    /// Name, as in `species.csv`.
    pub name: String,
    /// Structuring power per gram relative to the crystals of beeswax.
    pub structuring: f64,
    /// Standard deviation of its logarithm.
    pub ln_sd: f64,
    /// Critical gelling level: mass % of crystals that just holds oil.
    pub critical_percent: f64,
    /// Standard deviation of its logarithm.
    pub critical_ln_sd: f64,
    /// Shift of the family's melting points as a group, K: what the ideal solid solution leaves out.
    pub melt_shift_k: f64,
    /// Standard deviation of that shift, K.
    pub melt_shift_sd_k: f64,
    /// Misfit `w` of unlike molecules in one crystal, in units of RT: see [`crate::theory`].
    pub misfit: f64,
    /// Standard deviation of the misfit.
    pub misfit_sd: f64,
    /// Which molecules the misfit is between.
    #[serde(default)]
    pub misfit_between: Between,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Yield stress from structure: `τ = yield_kpa · φ_eff^exponent`; the crystals soften with homologous temperature.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Firmness {
    /// Yield stress of neat beeswax at 25 °C, kPa.
    pub yield_kpa: f64,
    /// Standard deviation of its logarithm.
    pub yield_ln_sd: f64,
    /// Network exponent.
    pub exponent: f64,
    /// Its standard deviation.
    pub exponent_sd: f64,
    /// Exponent of the stiffness of the crystals on `1 − T/Tm`.
    pub softening_exponent: f64,
    /// Its standard deviation.
    pub softening_exponent_sd: f64,
    /// Spread of ln τ between casts of one formula: cooling rate, pour.
    pub cast_ln_sd: f64,
    /// Spread of ln τ between sets of ingredients of equal structure: how their crystals work together.
    pub interplay_ln_sd: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Where the melt landmarks sit on the structure curve.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Landmarks {
    /// Structure at the drop point over that at the slip point.
    pub drop_over_slip: f64,
    /// Standard deviation of its logarithm.
    pub drop_over_slip_ln_sd: f64,
    /// Solids at which a calorimeter sees the end of melting, mass %.
    pub end_percent: f64,
    /// Standard deviation of its logarithm.
    pub end_ln_sd: f64,
    /// Temperature whose yield stress the softening onset is measured against, °C.
    pub softening_from_c: f64,
    /// Share of that yield stress left at the softening onset.
    pub softening_share: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Fine detail: `w_min = compliance · adhesion / τ`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Detail {
    /// Work of adhesion of the silicone, J/m².
    pub adhesion_j_m2: f64,
    /// Dimensionless: geometry times modulus over yield stress.
    pub compliance: f64,
    /// Standard deviation of its logarithm.
    pub compliance_ln_sd: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Warmth: the bar keeps its shape while its yield stress exceeds the load and its crystals hold the oil.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Warmth {
    /// Stress a standing bar must carry for a day, kPa.
    pub load_kpa: f64,
    /// Standard deviation of its logarithm.
    pub load_ln_sd: f64,
    /// Crystals over their critical gelling level below which oil weeps out within a day.
    pub weep_below: f64,
    /// Standard deviation of its logarithm.
    pub weep_ln_sd: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Skin feel.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Skin {
    /// Skin temperature, °C: that of the film which melts.
    pub temperature_c: f64,
    /// Temperature of the bar behind that film, °C.
    pub body_c: f64,
    /// Below this yield stress of the bar at [`Skin::body_c`] it smears, kPa.
    pub smears_below_kpa: f64,
    /// Above this yield stress at skin temperature it drags, kPa.
    pub drags_above_kpa: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Thresholds of the risk of graininess.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Grain {
    /// Temperature at which coarse crystals grow, °C.
    pub growth_c: f64,
    /// Symmetric stearic triglycerides at which the risk is half, mass % of the bar.
    pub symmetric_percent: f64,
    /// Liquid share at [`Grain::growth_c`] at which the risk is half, mass %.
    pub liquid_percent: f64,
    /// Crystallised wax at which the risk has fallen by half, mass %.
    pub wax_percent: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Heat and volume, the same for all ingredients: they differ by less than their published values scatter.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Heat {
    /// Heat capacity of crystals, J/kgK.
    pub solid_j_per_kgk: f64,
    /// Standard deviation of its logarithm.
    pub solid_ln_sd: f64,
    /// Heat capacity of the melt, J/kgK.
    pub liquid_j_per_kgk: f64,
    /// Standard deviation of its logarithm.
    pub liquid_ln_sd: f64,
    /// Conductivity of crystals, W/mK.
    pub solid_w_per_mk: f64,
    /// Standard deviation of its logarithm.
    pub solid_conductivity_ln_sd: f64,
    /// Conductivity of the melt, W/mK.
    pub liquid_w_per_mk: f64,
    /// Standard deviation of its logarithm.
    pub liquid_conductivity_ln_sd: f64,
    /// Volume expansion of the melt, 1/K.
    pub expansion_per_k: f64,
    /// Share of its volume that the melt gives up as it crystallises.
    pub crystal_contraction: f64,
    /// Standard deviation of that share.
    pub crystal_contraction_sd: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// What the model leaves out of one set of ingredients, whatever their proportions: crystals that form elsewhere than at equilibrium,
/// species nobody listed.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Discrepancy {
    /// Standard deviation of a common shift of all melting points, K.
    pub melt_shift_sd_k: f64,
    /// Standard deviation of the logarithm of how well the crystals hold oil.
    pub holding_ln_sd: f64,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Correlation of the fitted parameters.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correlation {
    /// Names of [`crate::coordinate::Coordinate`]s.
    pub names: Vec<String>,
    /// Lower triangle with its diagonal of ones, a row for each name.
    pub rows: Vec<Vec<f64>>,
}

impl Correlation {
    /// Its lower Cholesky factor; `None` when it is not positive definite.
    pub(crate) fn root(&self) -> Option<DMatrix<f64>> {
        let size = self.names.len();
        let entry = |i: usize, j: usize| self.rows.get(i).and_then(|row| row.get(j)).copied().unwrap_or(0.0);
        let full = DMatrix::from_fn(size, size, |i, j| entry(i.max(j), i.min(j)));
        Some(Cholesky::new(full)?.l())
    }
}

/// All parameters of the model.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Parameters {
    /// Layout of the file.
    pub schema: u32,
    /// Classes of species in the melt.
    #[serde(rename = "liquid_class")]
    pub liquid_classes: Vec<LiquidClass>,
    /// Crystal families.
    #[serde(rename = "family")]
    pub families: Vec<Family>,
    /// Other ways to pack the species into crystals.
    #[serde(rename = "packing", default)]
    pub packings: Vec<Packing>,
    /// What crystallises anew while a fresh bar melts.
    #[serde(default)]
    pub recrystallised: Recrystallised,
    /// Firmness.
    pub firmness: Firmness,
    /// What the model leaves out.
    pub discrepancy: Discrepancy,
    /// Landmarks.
    pub landmarks: Landmarks,
    /// Fine detail.
    pub detail: Detail,
    /// Warmth.
    pub warmth: Warmth,
    /// Skin feel.
    pub skin: Skin,
    /// Graininess.
    pub grain: Grain,
    /// Heat and volume.
    pub heat: Heat,
    /// Known errors of the model for neat ingredients, from the residuals of the fit.
    #[serde(default)]
    pub known_off: Vec<KnownOff>,
    /// Correlation of the fitted parameters; all others are independent.
    #[serde(default)]
    pub correlation: Correlation,
}

impl Parameters {
    /// Returns the position of a family by name.
    pub fn family_index(&self, name: &str) -> Option<usize> {
        self.families.iter().position(|family| family.name == name)
    }

    /// Returns the position of a liquid class by name.
    pub(crate) fn liquid_class_index(&self, name: &str) -> Option<usize> {
        self.liquid_classes.iter().position(|class| class.name == name)
    }
}
