//! One set of model parameters: the central one, or a draw from their spread.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use crate::coordinate::{self, Coordinate};
use crate::equilibrium::{EquilibriumError, LARGEST_DELTA_RANGE_SQUARED};
use crate::heat_properties::HeatProperties;
use crate::interval::Spread;
use crate::maker;
use crate::misfit::Misfit;
use crate::model::Model;
use crate::parameters::Parameters;
use crate::sampling::Draws;

/// Model parameters of one draw; vectors follow the order of [`Parameters`].
#[derive(Debug, Clone, PartialEq)]
pub struct ModelDraw {
    /// δ of each liquid class.
    pub delta: Vec<f64>,
    /// Structuring power of each family.
    pub structuring: Vec<f64>,
    /// Critical gelling level of each family, mass %.
    pub critical_percent: Vec<f64>,
    /// Shift of each family's melting points, K.
    pub melt_shift_k: Vec<f64>,
    /// Misfit of unlike molecules in each family's crystal, `w`.
    pub misfit: Vec<Misfit>,
    /// Share of its species in each packing.
    pub packing_share: Vec<f64>,
    /// Yield stress of the reference structure, kPa, with the spread between casts.
    pub yield_kpa: f64,
    /// Network exponent.
    pub exponent: f64,
    /// Exponent of the stiffness of the crystals on `1 − T/Tm`.
    pub softening_exponent: f64,
    /// Structure at the drop point over that at the slip point.
    pub drop_over_slip: f64,
    /// Solids at which a calorimeter sees the end of melting, mass %.
    pub end_percent: f64,
    /// Detail: geometry times modulus over yield stress.
    pub compliance: f64,
    /// Warmth: load, kPa.
    pub load_kpa: f64,
    /// Warmth: crystals over their critical gelling level below which oil weeps.
    pub weep_below: f64,
    /// Heat and volume.
    pub heat: HeatProperties,
}

/// The central parameters and all draws.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelDraws {
    /// Every parameter at its central value.
    pub central: ModelDraw,
    /// The draws.
    pub drawn: Vec<ModelDraw>,
}

/// One draw of everything that is uncertain: the model in it, and its number in the lists of all other scores.
#[derive(Debug, Clone, Copy)]
pub struct Draw<'a> {
    /// Its number; `None` for the central values.
    pub number: Option<usize>,
    /// The model in it.
    pub model: &'a ModelDraw,
}

impl<'a> Draw<'a> {
    /// The central values, with a model.
    pub fn central(model: &'a ModelDraw) -> Self {
        Draw { number: None, model }
    }
}

impl ModelDraw {
    /// Every parameter at its central value.
    fn central(parameters: &Parameters) -> Self {
        ModelDraw {
            delta: parameters.liquid_classes.iter().map(|class| class.delta).collect(),
            structuring: parameters.families.iter().map(|family| family.structuring).collect(),
            critical_percent: parameters.families.iter().map(|family| family.critical_percent).collect(),
            melt_shift_k: parameters.families.iter().map(|family| family.melt_shift_k).collect(),
            misfit: (parameters.families.iter())
                .map(|family| Misfit { w: family.misfit, between: family.misfit_between })
                .collect(),
            packing_share: parameters.packings.iter().map(|packing| packing.share).collect(),
            yield_kpa: parameters.firmness.yield_kpa,
            exponent: parameters.firmness.exponent,
            softening_exponent: parameters.firmness.softening_exponent,
            drop_over_slip: parameters.landmarks.drop_over_slip,
            end_percent: parameters.landmarks.end_percent,
            compliance: parameters.detail.compliance,
            load_kpa: parameters.warmth.load_kpa,
            weep_below: parameters.warmth.weep_below,
            heat: HeatProperties::central(&parameters.heat),
        }
    }

    /// The model at given scores: 0 is the centre of each parameter, 1 one standard deviation above.
    ///
    /// ```text
    /// parameter = centre + sd (R z),      R the Cholesky factor of the correlation of the fitted parameters; a factor exp(sd z) for the rules of thumb
    /// ```
    ///
    /// # Arguments
    /// * `parameters`: centres and spreads; what a maker's trials say is not used.
    /// * `score`: the score of a name, as [`Draws::dimension`] has them.
    ///
    /// # Returns
    /// The model; its heat properties are the central ones. With all scores 0 it is the central one to the last bit.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::{ModelDraw, Parameters};
    /// let parameters = Parameters::builtin()?;
    /// let load_kpa = |z: f64| ModelDraw::at(&parameters, |name| if name == "load" { z } else { 0.0 }).load_kpa;
    /// assert!((load_kpa(1.0) / load_kpa(0.0) - parameters.warmth.load_ln_sd.exp()).abs() < 1e-12);
    /// # Ok::<(), barwright_blend::ParameterError>(())
    /// ```
    ///
    /// # Source
    /// As [`crate::maker`].
    pub fn at(parameters: &Parameters, score: impl Fn(&str) -> f64) -> Self {
        ModelScores::new(parameters).draw(score)
    }
}

/// Which scores move the model, and how: made once where the model is wanted at many scores.
#[derive(Debug, Clone)]
pub struct ModelScores<'a> {
    parameters: &'a Parameters,
    /// Every coordinate with its name, and its place among the correlated ones.
    coordinates: Vec<(Coordinate, String, Option<usize>)>,
    /// Root of the correlation; `None` when it is not positive definite.
    root: Option<DMatrix<f64>>,
}

impl<'a> ModelScores<'a> {
    /// Looks up every name.
    pub fn new(parameters: &'a Parameters) -> Self {
        let named = |one: Coordinate| {
            let name = one.name(parameters);
            let place = parameters.correlation.names.iter().position(|known| *known == name);
            (one, name, place)
        };
        let coordinates = coordinate::all(parameters).into_iter().map(named).collect();
        ModelScores { parameters, coordinates, root: parameters.correlation.root() }
    }

    /// The model at given scores, see [`ModelDraw::at`].
    pub fn draw(&self, score: impl Fn(&str) -> f64) -> ModelDraw {
        let ModelScores { parameters, coordinates, root } = self;
        let mut draw = ModelDraw::central(parameters);
        let names = &parameters.correlation.names;
        let mut together = DVector::from_iterator(names.len(), names.iter().map(|name| score(name)));
        if let Some(root) = root.as_ref().filter(|_| together.iter().any(|z| *z != 0.0)) {
            together = root * together;
        }
        let mut moved = false;
        for (one, name, place) in coordinates {
            let z = place.map_or_else(|| score(name), |place| together[place]);
            let (centre, sd) = one.spread(parameters);
            if sd != 0.0 && z != 0.0 {
                one.apply(&mut draw, centre + sd * z);
                moved = true;
            }
        }
        draw.yield_kpa *= (parameters.firmness.cast_ln_sd * score(maker::CAST)).exp();
        draw.compliance *= (parameters.detail.compliance_ln_sd * score(maker::COMPLIANCE)).exp();
        draw.load_kpa *= (parameters.warmth.load_ln_sd * score(maker::LOAD)).exp();
        draw.weep_below *= (parameters.warmth.weep_ln_sd * score(maker::WEEP)).exp();
        if moved {
            keep_one_liquid(&mut draw.delta);
        }
        draw
    }
}

impl ModelDraws {
    /// Draws every model parameter: fitted ones with their correlation, the others each on its own, all given the maker's trials.
    pub fn new(model: &Model, draws: &Draws) -> Self {
        let Model { parameters, maker } = model;
        let plain = ModelDraw::central(parameters);
        let central =
            if maker.is_empty() { plain.clone() } else { ModelDraw::at(parameters, |name| maker.centre(name)) };
        let mut drawn = vec![plain; draws.count()];
        if drawn.is_empty() {
            return ModelDraws { central, drawn };
        }
        let names = &parameters.correlation.names;
        let mut together = DMatrix::zeros(draws.count(), names.len());
        for (index, name) in names.iter().enumerate() {
            together.set_column(index, &DVector::from_vec(maker.scores(draws, name)));
        }
        if let Some(root) = parameters.correlation.root() {
            together *= root.transpose();
        }
        for one in coordinate::all(parameters) {
            let (centre, sd) = one.spread(parameters);
            if sd == 0.0 {
                continue;
            }
            let name = one.name(parameters);
            let scores = match names.iter().position(|known| *known == name) {
                Some(index) => together.column(index).iter().copied().collect(),
                None => maker.scores(draws, &name),
            };
            for (draw, z) in drawn.iter_mut().zip(scores) {
                one.apply(draw, centre + sd * z);
            }
        }
        let scores = |name| maker.scores(draws, name).into_iter();
        let heuristics = scores(maker::CAST).zip(scores(maker::COMPLIANCE)).zip(scores(maker::LOAD));
        for (draw, ((cast, compliance), load)) in drawn.iter_mut().zip(heuristics) {
            draw.yield_kpa *= (parameters.firmness.cast_ln_sd * cast).exp();
            draw.compliance *= (parameters.detail.compliance_ln_sd * compliance).exp();
            draw.load_kpa *= (parameters.warmth.load_ln_sd * load).exp();
        }
        for (draw, weep) in drawn.iter_mut().zip(scores(maker::WEEP)) {
            draw.weep_below *= (parameters.warmth.weep_ln_sd * weep).exp();
        }
        for (draw, heat) in drawn.iter_mut().zip(HeatProperties::draw(&parameters.heat, draws)) {
            draw.heat = heat;
        }
        for draw in &mut drawn {
            keep_one_liquid(&mut draw.delta);
        }
        ModelDraws { central, drawn }
    }
}

impl ModelDraws {
    /// A draw by its number; the central one for `None`.
    pub fn draw(&self, number: Option<usize>) -> Draw<'_> {
        Draw { number, model: number.and_then(|index| self.drawn.get(index)).unwrap_or(&self.central) }
    }

    /// Computes something for the central draw, and for others on all cores. Each begins cold, so that the number of cores does not change the result.
    ///
    /// # Arguments
    /// * `count`: number of other draws, at most all there are.
    /// * `buffers`: copied for each core.
    /// * `of`: the computation for one draw.
    ///
    /// # Errors
    /// Those of `of`.
    pub fn spread<B: Clone + Sync, T: Send>(
        &self,
        count: usize,
        mut buffers: B,
        of: impl Fn(&mut B, Draw<'_>) -> Result<T, EquilibriumError> + Sync + Send,
    ) -> Result<Spread<T>, EquilibriumError> {
        let central = of(&mut buffers, self.draw(None))?;
        let numbers = (0..count.min(self.drawn.len())).into_par_iter();
        let drawn: Vec<_> =
            numbers.map_init(|| buffers.clone(), |buffers, number| of(buffers, self.draw(Some(number)))).collect();
        Ok(Spread { central, drawn: drawn.into_iter().collect::<Result<_, _>>()? })
    }
}

/// Draws whose δ lie too far apart are drawn together until the melt is one liquid again.
fn keep_one_liquid(delta: &mut [f64]) {
    let (low, high) = delta.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &d| (l.min(d), h.max(d)));
    let range = high - low;
    let allowed = 0.999 * LARGEST_DELTA_RANGE_SQUARED.sqrt();
    if range > allowed {
        let middle = 0.5 * (low + high);
        for one in delta {
            *one = middle + (*one - middle) * allowed / range;
        }
    }
}

impl Coordinate {
    /// Writes `value`, on its own scale, into a draw.
    pub(crate) fn apply(self, draw: &mut ModelDraw, value: f64) {
        let place = match self {
            Coordinate::Delta(i) => draw.delta.get_mut(i),
            Coordinate::Structuring(i) => draw.structuring.get_mut(i),
            Coordinate::Critical(i) => draw.critical_percent.get_mut(i),
            Coordinate::MeltShift(i) => draw.melt_shift_k.get_mut(i),
            Coordinate::Misfit(i) => draw.misfit.get_mut(i).map(|one| &mut one.w),
            Coordinate::Packing(i) => draw.packing_share.get_mut(i),
            Coordinate::Yield => Some(&mut draw.yield_kpa),
            Coordinate::Exponent => Some(&mut draw.exponent),
            Coordinate::Softening => Some(&mut draw.softening_exponent),
            Coordinate::Drop => Some(&mut draw.drop_over_slip),
            Coordinate::End => Some(&mut draw.end_percent),
        };
        if let Some(place) = place {
            *place = self.figure(value);
        }
    }
}
