//! Heat capacity, conductivity and expansion of crystals and melt.

use crate::filler::Filler;
use crate::parameters::Heat;
use crate::sampling::Draws;

/// Heat capacity of grains, J/kgK: clays and oxides 500 to 1000, starch 1200 to 1500 (recalled).
const GRAIN_J_PER_KGK: f64 = 900.0;

/// Properties of crystals and melt, in one draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatProperties {
    /// Heat capacity of crystals, J/kgK.
    pub solid_j_per_kgk: f64,
    /// Heat capacity of the melt, J/kgK.
    pub liquid_j_per_kgk: f64,
    /// Conductivity of crystals, W/mK.
    pub solid_w_per_mk: f64,
    /// Conductivity of the melt, W/mK.
    pub liquid_w_per_mk: f64,
    /// Volume expansion of the melt, 1/K.
    pub expansion_per_k: f64,
    /// Share of its volume that the melt gives up as it crystallises.
    pub crystal_contraction: f64,
}

impl HeatProperties {
    /// The central values.
    pub(crate) fn central(heat: &Heat) -> Self {
        HeatProperties {
            solid_j_per_kgk: heat.solid_j_per_kgk,
            liquid_j_per_kgk: heat.liquid_j_per_kgk,
            solid_w_per_mk: heat.solid_w_per_mk,
            liquid_w_per_mk: heat.liquid_w_per_mk,
            expansion_per_k: heat.expansion_per_k,
            crystal_contraction: heat.crystal_contraction,
        }
    }

    /// Those of a bar with powder in it; that grains conduct better is left out.
    pub(crate) fn filled(self, filler: Filler) -> Self {
        let capacity = |fat: f64| fat + filler.mass * (GRAIN_J_PER_KGK - fat);
        HeatProperties {
            solid_j_per_kgk: capacity(self.solid_j_per_kgk),
            liquid_j_per_kgk: capacity(self.liquid_j_per_kgk),
            expansion_per_k: self.expansion_per_k * (1.0 - filler.volume),
            crystal_contraction: self.crystal_contraction * (1.0 - filler.volume),
            ..self
        }
    }

    /// Draws them, each on its own.
    pub(crate) fn draw(heat: &Heat, draws: &Draws) -> Vec<Self> {
        let dimension = |name: &str| draws.dimension(&format!("heat:{name}"));
        let mut drawn = vec![Self::central(heat); draws.count()];
        let mut scale = |name: &str, ln_sd: f64, of: fn(&mut Self) -> &mut f64| {
            for (one, z) in drawn.iter_mut().zip(dimension(name)) {
                *of(one) *= (ln_sd * z).exp();
            }
        };
        scale("solid", heat.solid_ln_sd, |one| &mut one.solid_j_per_kgk);
        scale("liquid", heat.liquid_ln_sd, |one| &mut one.liquid_j_per_kgk);
        scale("solid-conductivity", heat.solid_conductivity_ln_sd, |one| &mut one.solid_w_per_mk);
        scale("liquid-conductivity", heat.liquid_conductivity_ln_sd, |one| &mut one.liquid_w_per_mk);
        for (one, z) in drawn.iter_mut().zip(dimension("contraction")) {
            one.crystal_contraction = (heat.crystal_contraction + heat.crystal_contraction_sd * z).max(0.0);
        }
        drawn
    }
}
