//! Lays the heat curves of a formula, draw by draw: see [`crate::heat_curve`].

use std::sync::Arc;

use barwright_reference::Formula;

use crate::assess::Workbench;
use crate::equilibrium::EquilibriumError;
use crate::error::BlendError;
use crate::heat_curve::{HeatCurves, HeatPoint, ZERO_C};
use crate::heat_properties::HeatProperties;
use crate::interval::Spread;
use crate::landmarks::{Evaluator, LOWEST_LANDMARK_C};
use crate::sampler::Sampler;
use crate::suitability::yield_kpa_for_feature;

/// Spacing of a curve, K: between two points solids are straight within about a tenth of a percent.
const STEP_K: f64 = 1.0;

/// A curve from the coldest landmark up to the melt; `fat_share` is what is no powder, by mass.
fn curve(
    evaluator: &mut Evaluator<'_>,
    properties: &HeatProperties,
    fat_share: f64,
    clear_c: Option<f64>,
) -> Result<Vec<HeatPoint>, EquilibriumError> {
    let HeatProperties { solid_j_per_kgk: solid, liquid_j_per_kgk: liquid, .. } = *properties;
    let top_c = clear_c.unwrap_or(LOWEST_LANDMARK_C);
    let mut points = Vec::new();
    // From the melt down, so that each equilibrium starts from its neighbour.
    let mut temperature_c = top_c;
    loop {
        let (state, latent_j_per_kg) = evaluator.point_with_latent(temperature_c)?;
        let capacity = liquid + state.solids * (solid - liquid);
        let enthalpy_j_per_kg = capacity * (temperature_c - ZERO_C) - fat_share * latent_j_per_kg;
        points.push(HeatPoint { enthalpy_j_per_kg, state });
        if temperature_c <= LOWEST_LANDMARK_C {
            break;
        }
        temperature_c = (temperature_c - STEP_K).max(LOWEST_LANDMARK_C);
    }
    points.reverse();
    Ok(points)
}

impl Workbench<'_> {
    /// Computes heat and volume of a formula.
    ///
    /// # Arguments
    /// * `formula`: parts in mass %.
    /// * `draws`: number of draws; fewer will do where much is computed from each.
    ///
    /// # Returns
    /// The curves; the workbench keeps those of the last formula for who asks next.
    ///
    /// # Errors
    /// [`BlendError`].
    ///
    /// # Example
    /// ```
    /// use barwright_blend::assess::Workbench;
    /// use barwright_blend::{Model, Options};
    /// use barwright_reference::{Library, formula};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin()?;
    /// let reading = formula::read_inline("cocoa butter 100", "bar", &library)?;
    /// let model = Model::builtin()?;
    /// let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() })?;
    /// let curves = &bench.heat_curves(&reading.formulas[0], 0)?.central;
    /// // Published: 157 kJ/kg to melt, and 2 kJ/kgK (Beckett 2009); to 60 °C that is some 230 kJ/kg.
    /// let heat = curves.heat_j_per_kg(&curves.in_use, 20.0, 60.0);
    /// assert!((200e3..260e3).contains(&heat), "{heat}");
    /// assert!(curves.haze_c < curves.clear_c);
    /// # Ok(())
    /// # }
    /// ```
    pub fn heat_curves(&self, formula: &Formula, draws: usize) -> Result<Arc<Spread<HeatCurves>>, BlendError> {
        self.kept_curves.or_make(&formula.parts, draws, || self.computed_heat_curves(formula, draws))
    }

    fn computed_heat_curves(&self, formula: &Formula, draws: usize) -> Result<Spread<HeatCurves>, BlendError> {
        let options = self.options();
        let in_use = self.sampler(formula, options.state)?;
        let setting = Sampler::new(self.mixture(formula, options.release_state())?.without_recrystallising());
        let curves = self.models().spread(draws.min(options.draws), [in_use, setting], |[in_use, setting], draw| {
            let model = draw.model;
            let filler = in_use.mixture().filler(draw.number);
            let (properties, fat_share) = (model.heat.filled(filler), 1.0 - filler.mass);
            let mut evaluator = in_use.at(draw)?;
            let clear_c = evaluator.clear_point_c();
            let warmed = curve(&mut evaluator, &properties, fat_share, clear_c)?;
            let mut evaluator = setting.at(draw)?;
            let haze_c = evaluator.clear_point_c();
            let cooled = curve(&mut evaluator, &properties, fat_share, haze_c)?;
            let release_kpa = yield_kpa_for_feature(&self.parameters().detail, model, options.relief_mm);
            Ok(HeatCurves {
                in_use: warmed,
                setting: cooled,
                clear_c,
                haze_c,
                properties,
                load_kpa: model.load_kpa,
                weep_below: model.weep_below,
                release_kpa,
            })
        })?;
        Ok(curves)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_reference::{Library, formula};

    use super::*;
    use crate::{Model, Options};

    #[test]
    fn powder_takes_up_heat_and_no_latent_heat() {
        let plain = curves("beeswax 26, shea butter 30, sunflower oil 44");
        let filled = curves("beeswax 20.8, shea butter 24, sunflower oil 35.2, kaolin 20");
        let heat = |of: &HeatCurves| of.heat_j_per_kg(&of.in_use, 20.0, 80.0);
        // Four parts of the fat, and one of grains at 900 J/kgK.
        let expected = 0.8 * heat(&plain) + 0.2 * 900.0 * 60.0;
        assert!((heat(&filled) / expected - 1.0).abs() < 1e-9, "{} {expected}", heat(&filled));
        assert!((filled.clear_c.unwrap_or(0.0) - plain.clear_c.unwrap_or(1.0)).abs() < 1e-9);
        assert!(filled.shrinkage(70.0, 20.0) < 0.95 * plain.shrinkage(70.0, 20.0));
    }

    fn curves(text: &str) -> HeatCurves {
        let library = Library::builtin().unwrap();
        let model = Model::builtin().unwrap();
        let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() }).unwrap();
        let bar = formula::read_inline(text, "bar", &library).unwrap();
        bench.heat_curves(&bar.formulas[0], 0).unwrap().central.clone()
    }

    #[test]
    fn heat_capacities_are_those_of_the_handbook() {
        // Cocoa butter: 2010 J/kgK solid at 15 to 21 °C, 2090 liquid (Beckett 2009, tables; read).
        let cocoa = curves("cocoa butter 100");
        let of = cocoa.properties;
        assert!((of.solid_j_per_kgk / 2010.0 - 1.0).abs() < 0.03, "{}", of.solid_j_per_kgk);
        assert!((of.liquid_j_per_kgk / 2090.0 - 1.0).abs() < 0.03, "{}", of.liquid_j_per_kgk);
        // The curve has them as its slopes: of the melt above, of crystals beyond its cold end.
        let slope = |curve, from_c: f64, to_c: f64| cocoa.heat_j_per_kg(curve, from_c, to_c) / (to_c - from_c);
        assert!((slope(&cocoa.in_use, 70.0, 90.0) - of.liquid_j_per_kgk).abs() < 1e-6);
        assert!((slope(&cocoa.in_use, -40.0, -30.0) - of.solid_j_per_kgk).abs() < 1e-6);
        // 157 kJ/kg to melt (Beckett 2009; read): what the way from 20 to 60 °C takes beyond warming, crystals being 80 % there.
        let latent = cocoa.heat_j_per_kg(&cocoa.in_use, 0.0, 60.0) - 60.0 * 2050.0;
        assert!((latent / 157e3 - 1.0).abs() < 0.15, "{latent}");
        assert!(cocoa.enthalpy_j_per_kg(&cocoa.in_use, ZERO_C).abs() < 1.0);
        assert!(cocoa.enthalpy_j_per_kg(&[], 61.0) > 0.0);
    }
}
