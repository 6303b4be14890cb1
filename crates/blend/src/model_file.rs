//! Reads `data/model.toml` and checks every figure of it.

use thiserror::Error;

use crate::coordinate;
use crate::parameters::{Correlation, Parameters};

/// The parameter file that ships with barwright.
const BUILTIN: &str = include_str!("../../../data/model.toml");

/// The layout of the parameter file this version reads.
const SCHEMA: u32 = 3;

/// Why a parameter file was refused.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ParameterError {
    /// Not valid TOML, an unknown key, or a missing one.
    #[error("parameter file: {message}")]
    Syntax {
        /// What the reader said.
        message: String,
    },
    /// A layout this version does not read.
    #[error("parameter file has schema {found}, this version reads {SCHEMA}")]
    Schema {
        /// What the file says.
        found: u32,
    },
    /// Two entries of one name.
    #[error("parameter file names {what} `{name}` twice")]
    Duplicate {
        /// `family`, `liquid_class` or `packing`.
        what: &'static str,
        /// The name.
        name: String,
    },
    /// Correlations that belong to no set of parameters.
    #[error("parameter file, correlation: {what}")]
    Correlation {
        /// What is wrong with them.
        what: String,
    },
    /// A figure outside its physical range.
    #[error("parameter file: {what} of `{name}` is {value}, outside {low} to {high}")]
    OutOfRange {
        /// Which figure.
        what: &'static str,
        /// Of which entry.
        name: String,
        /// What it was.
        value: f64,
        /// Smallest allowed.
        low: f64,
        /// Largest allowed.
        high: f64,
    },
}

impl Parameters {
    /// Returns the parameters that ship with barwright.
    ///
    /// # Errors
    /// [`ParameterError`] when the built-in file is damaged; the tests exclude it.
    pub fn builtin() -> Result<Self, ParameterError> {
        Self::from_toml(BUILTIN)
    }

    /// Returns the text of the parameters that ship with barwright, to tell one version of the model from another.
    pub fn builtin_text() -> &'static str {
        BUILTIN
    }

    /// Reads parameters from the text of a `model.toml`.
    ///
    /// # Errors
    /// Every variant of [`ParameterError`].
    pub fn from_toml(text: &str) -> Result<Self, ParameterError> {
        let parameters: Parameters =
            toml::from_str(text).map_err(|error| ParameterError::Syntax { message: error.to_string() })?;
        parameters.check()?;
        Ok(parameters)
    }

    fn check(&self) -> Result<(), ParameterError> {
        if self.schema != SCHEMA {
            return Err(ParameterError::Schema { found: self.schema });
        }
        let range = |what, name: &str, value: f64, low: f64, high: f64| {
            if value >= low && value <= high {
                Ok(())
            } else {
                Err(ParameterError::OutOfRange { what, name: name.to_owned(), value, low, high })
            }
        };
        for (index, class) in self.liquid_classes.iter().enumerate() {
            range("delta", &class.name, class.delta, -2.0, 2.0)?;
            range("sd", &class.name, class.sd, 0.0, 1.0)?;
            if self.liquid_class_index(&class.name) != Some(index) {
                return Err(ParameterError::Duplicate { what: "liquid_class", name: class.name.clone() });
            }
        }
        for (index, family) in self.families.iter().enumerate() {
            range("structuring", &family.name, family.structuring, 0.01, 100.0)?;
            range("ln_sd", &family.name, family.ln_sd, 0.0, 2.0)?;
            range("critical_percent", &family.name, family.critical_percent, 0.01, 50.0)?;
            range("critical_ln_sd", &family.name, family.critical_ln_sd, 0.0, 2.0)?;
            range("melt_shift_k", &family.name, family.melt_shift_k, -30.0, 30.0)?;
            range("melt_shift_sd_k", &family.name, family.melt_shift_sd_k, 0.0, 20.0)?;
            range("misfit", &family.name, family.misfit, 0.0, 10.0)?;
            range("misfit_sd", &family.name, family.misfit_sd, 0.0, 5.0)?;
            if self.family_index(&family.name) != Some(index) {
                return Err(ParameterError::Duplicate { what: "family", name: family.name.clone() });
            }
        }
        for (index, packing) in self.packings.iter().enumerate() {
            if self.packings.iter().position(|one| one.name == packing.name) != Some(index) {
                return Err(ParameterError::Duplicate { what: "packing", name: packing.name.clone() });
            }
            range("share", &packing.name, packing.share, 0.0, 1.0)?;
            range("share_sd", &packing.name, packing.share_sd, 0.0, 1.0)?;
        }
        let firmness = &self.firmness;
        range("yield_kpa", "firmness", firmness.yield_kpa, 1.0, 1e5)?;
        range("yield_ln_sd", "firmness", firmness.yield_ln_sd, 0.0, 2.0)?;
        range("exponent", "firmness", firmness.exponent, 1.0, 6.0)?;
        range("exponent_sd", "firmness", firmness.exponent_sd, 0.0, 2.0)?;
        range("softening_exponent", "firmness", firmness.softening_exponent, 0.0, 5.0)?;
        range("softening_exponent_sd", "firmness", firmness.softening_exponent_sd, 0.0, 2.0)?;
        range("cast_ln_sd", "firmness", firmness.cast_ln_sd, 0.0, 2.0)?;
        range("interplay_ln_sd", "firmness", firmness.interplay_ln_sd, 0.0, 2.0)?;
        range("melt_shift_sd_k", "discrepancy", self.discrepancy.melt_shift_sd_k, 0.0, 20.0)?;
        range("holding_ln_sd", "discrepancy", self.discrepancy.holding_ln_sd, 0.0, 2.0)?;
        range("drop_over_slip", "landmarks", self.landmarks.drop_over_slip, 0.01, 1.0)?;
        range("drop_over_slip_ln_sd", "landmarks", self.landmarks.drop_over_slip_ln_sd, 0.0, 2.0)?;
        range("end_percent", "landmarks", self.landmarks.end_percent, 0.01, 10.0)?;
        range("end_ln_sd", "landmarks", self.landmarks.end_ln_sd, 0.0, 2.0)?;
        range("softening_from_c", "landmarks", self.landmarks.softening_from_c, -20.0, 60.0)?;
        range("softening_share", "landmarks", self.landmarks.softening_share, 0.01, 0.99)?;
        range("adhesion_j_m2", "detail", self.detail.adhesion_j_m2, 1e-4, 10.0)?;
        range("compliance", "detail", self.detail.compliance, 1.0, 1e6)?;
        range("compliance_ln_sd", "detail", self.detail.compliance_ln_sd, 0.0, 2.0)?;
        range("load_kpa", "warmth", self.warmth.load_kpa, 0.01, 1e3)?;
        range("load_ln_sd", "warmth", self.warmth.load_ln_sd, 0.0, 2.0)?;
        range("weep_below", "warmth", self.warmth.weep_below, 0.1, 100.0)?;
        range("weep_ln_sd", "warmth", self.warmth.weep_ln_sd, 0.0, 2.0)?;
        range("temperature_c", "skin", self.skin.temperature_c, 20.0, 45.0)?;
        range("body_c", "skin", self.skin.body_c, 0.0, self.skin.temperature_c)?;
        range("smears_below_kpa", "skin", self.skin.smears_below_kpa, 0.0, 1e4)?;
        range("drags_above_kpa", "skin", self.skin.drags_above_kpa, self.skin.smears_below_kpa, 1e5)?;
        range("growth_c", "grain", self.grain.growth_c, 0.0, 60.0)?;
        range("symmetric_percent", "grain", self.grain.symmetric_percent, 0.1, 100.0)?;
        range("liquid_percent", "grain", self.grain.liquid_percent, 0.1, 100.0)?;
        range("wax_percent", "grain", self.grain.wax_percent, 0.1, 100.0)?;
        let heat = &self.heat;
        range("solid_j_per_kgk", "heat", heat.solid_j_per_kgk, 500.0, 5000.0)?;
        range("liquid_j_per_kgk", "heat", heat.liquid_j_per_kgk, 500.0, 5000.0)?;
        range("solid_w_per_mk", "heat", heat.solid_w_per_mk, 0.01, 10.0)?;
        range("liquid_w_per_mk", "heat", heat.liquid_w_per_mk, 0.01, 10.0)?;
        range("expansion_per_k", "heat", heat.expansion_per_k, 0.0, 1e-2)?;
        range("crystal_contraction", "heat", heat.crystal_contraction, 0.0, 0.3)?;
        range("crystal_contraction_sd", "heat", heat.crystal_contraction_sd, 0.0, 0.1)?;
        for (what, ln_sd) in [
            ("solid_ln_sd", heat.solid_ln_sd),
            ("liquid_ln_sd", heat.liquid_ln_sd),
            ("solid_conductivity_ln_sd", heat.solid_conductivity_ln_sd),
            ("liquid_conductivity_ln_sd", heat.liquid_conductivity_ln_sd),
        ] {
            range(what, "heat", ln_sd, 0.0, 1.0)?;
        }
        self.check_correlation()
    }

    fn check_correlation(&self) -> Result<(), ParameterError> {
        let known: Vec<String> = coordinate::all(self).iter().map(|one| one.name(self)).collect();
        let Correlation { names, rows } = &self.correlation;
        let fault = |what: String| Err(ParameterError::Correlation { what });
        if rows.len() != names.len() {
            return fault(format!("{} names but {} rows", names.len(), rows.len()));
        }
        for (index, (name, row)) in names.iter().zip(rows).enumerate() {
            if !known.contains(name) || names[..index].contains(name) {
                return fault(format!("`{name}` is no parameter, or is named twice"));
            }
            let sound = row.len() == index + 1 && row[..index].iter().all(|r| r.abs() <= 1.0) && row[index] == 1.0;
            if !sound {
                return fault(format!("the row of `{name}` is not {index} correlations and a 1"));
            }
        }
        if self.correlation.root().is_none() {
            return fault("it is not positive definite".to_owned());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::equilibrium::LARGEST_DELTA_RANGE_SQUARED;

    #[test]
    fn built_in_parameters_are_sound_and_keep_one_liquid() {
        let parameters = Parameters::builtin().unwrap();
        let deltas = parameters.liquid_classes.iter().map(|class| class.delta);
        let (low, high) = deltas.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| (low.min(d), high.max(d)));
        assert!((high - low).powi(2) < LARGEST_DELTA_RANGE_SQUARED);
    }

    #[test]
    fn damaged_parameters_are_refused() {
        let text = BUILTIN;
        let refused = |from: &str, to: &str| {
            assert!(text.contains(from), "{from}");
            Parameters::from_toml(&text.replacen(from, to, 1)).unwrap_err()
        };
        assert_eq!(refused("schema = 3", "schema = 9"), ParameterError::Schema { found: 9 });
        assert!(matches!(refused("schema = 3", "schema = 3\nextra = 2"), ParameterError::Syntax { .. }));
        assert!(matches!(refused("\nexponent = ", "\nexponent = 9"), ParameterError::OutOfRange { .. }));
        assert!(matches!(refused("name = \"pos\"", "name = \"sos\""), ParameterError::Duplicate { .. }));
        assert!(matches!(refused("\nyield_kpa = ", "\nyield_kpa = -"), ParameterError::OutOfRange { .. }));
    }
}
