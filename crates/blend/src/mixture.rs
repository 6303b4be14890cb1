//! From a formula to the species the equilibrium works on: the mass-weighted sum of what its ingredients are made of.

use crate::discrepancy::{DiscrepancyDraws, DrawnDiscrepancy};
use crate::units::ZERO_CELSIUS_K;
use std::ops::Range;

use barwright_reference::{CrystalState, Formula, Ingredient, IngredientId, Library, Part};

use crate::chain_length;
use crate::equilibrium::{Change, SpeciesAmount};
use crate::error::BlendError;
use crate::filler::{Filler, Space};
use crate::maker;
use crate::misfit;
use crate::model::Model;
use crate::model_draw::Draw;
use crate::packing::{self, Recrystallised};
use crate::parameters::Parameters;
use crate::sampling::Draws;

/// The families whose species crystallise with those of nearly their own chain length only.
const CHAIN_LENGTH_FAMILIES: [&str; 3] = ["alkane", "acid", "alcohol"];

/// A drawn share of a species falls at most to this part of its central value, so that no species vanishes.
const SMALLEST_SHARE: f64 = 1e-3;

/// A drawn heat of fusion falls at most to this part of its central value.
const SMALLEST_HEAT: f64 = 0.3;

/// One species of the blend in one packing.
#[derive(Debug, Clone)]
struct Slot {
    species: usize,
    packing: Option<usize>,
    molar_mass_kg_mol: f64,
    family: Option<usize>,
    solution: usize,
    liquid_class: usize,
    melt_k: f64,
    melt_sd_k: f64,
    heat_j_mol: f64,
    heat_sd_j_mol: f64,
    /// Score of the melting point.
    melt: Option<usize>,
    /// Score of the heat of fusion.
    heat: Option<usize>,
}

/// One species of one ingredient.
#[derive(Debug, Clone)]
struct Share {
    species: usize,
    /// One for each packing, side by side.
    slots: Range<usize>,
    percent: f64,
    sd_percent: f64,
    score: Option<usize>,
}

/// A score of one species or lot.
#[derive(Debug, Clone)]
struct Score {
    name: String,
    central: f64,
    drawn: Vec<f64>,
}

/// One ingredient of the blend.
#[derive(Debug, Clone)]
struct Lot {
    ingredient: IngredientId,
    percent: f64,
    /// None of a powder.
    shares: Vec<Share>,
    space: Space,
}

impl Lot {
    /// Whether some of its species are of the families `chained`.
    fn has_chains(&self, slots: &[Slot], chained: &[usize]) -> bool {
        let mut families =
            self.shares.iter().flat_map(|share| &slots[share.slots.clone()]).filter_map(|slot| slot.family);
        families.any(|family| chained.contains(&family))
    }
}

/// What one draw says of the species of a mixture, whatever their amounts.
#[derive(Debug, Clone, Default)]
pub(crate) struct DrawnSpecies {
    /// In the order of the slots, without mass, their melting points as those of pure crystals.
    species: Vec<SpeciesAmount>,
    /// Slots and their parts of the mass of a lot, one lot after the other.
    parts: Vec<(usize, f64)>,
    /// Where those of each lot end.
    parts_of: Vec<usize>,
}

/// What the species of a mixture are looked up in.
struct Source<'a> {
    library: &'a Library,
    model: &'a Model,
    draws: &'a Draws,
}

/// A formula as species, in one crystal state, with the spread of every figure.
#[derive(Debug, Clone)]
pub struct Mixture {
    families: usize,
    /// The families of [`CHAIN_LENGTH_FAMILIES`].
    chained: Vec<usize>,
    slots: Vec<Slot>,
    lots: Vec<Lot>,
    scores: Vec<Score>,
    state: CrystalState,
    discrepancy: DiscrepancyDraws,
    /// The same with what can crystallise anew in its stable form; `None` where nothing can.
    recrystallised: Option<Box<Mixture>>,
}

/// The ingredient of an id; refused when the library does not have it.
pub(crate) fn known(library: &Library, id: IngredientId) -> Result<&Ingredient, BlendError> {
    library.get(id).ok_or(BlendError::UnknownIngredient { index: id.index() })
}

impl Mixture {
    /// Sums the species of every part of `formula`.
    ///
    /// Neither the order of the parts nor that of the tables changes any figure.
    ///
    /// # Arguments
    /// * `library`: reference tables (with the maker's lots).
    /// * `model`: every family and liquid class of the species must be among its parameters.
    /// * `formula`: parts in mass %.
    /// * `state`: crystal state.
    /// * `draws`: source of draws; [`Draws::count`] may be 0.
    ///
    /// # Errors
    /// [`BlendError::UnknownIngredient`], [`BlendError::UnknownSpecies`], [`BlendError::UnknownFamily`], [`BlendError::UnknownLiquidClass`].
    pub fn new(
        library: &Library,
        model: &Model,
        formula: &Formula,
        state: CrystalState,
        draws: &Draws,
    ) -> Result<Self, BlendError> {
        let anew = &model.parameters.recrystallised;
        let present = formula.parts.iter().filter(|part| part.percent > 0.0);
        let mut parts =
            present.map(|part| Ok((part, known(library, part.ingredient)?))).collect::<Result<Vec<_>, BlendError>>()?;
        parts.sort_by(|(_, a), (_, b)| a.key.cmp(&b.key));
        if !parts.is_empty() && parts.iter().all(|(_, ingredient)| ingredient.powder.is_some()) {
            return Err(BlendError::OnlyPowder);
        }
        let recrystallises = |(_, ingredient): &(&Part, &Ingredient)| {
            let mut species = ingredient.composition.iter().map(|one| one.species);
            species.any(|one| library.species.get(one).is_some_and(|one| anew.crystal(one, state).is_some()))
        };
        let source = Source { library, model, draws };
        let mut mixture = Mixture::of_parts(&source, &parts, state, None)?;
        if parts.iter().any(recrystallises) {
            mixture.recrystallised = Some(Box::new(Mixture::of_parts(&source, &parts, state, Some(anew))?));
        }
        Ok(mixture)
    }

    /// The mixture with its crystals as they set, or with some of them crystallised anew.
    fn of_parts(
        source: &Source<'_>,
        parts: &[(&Part, &Ingredient)],
        state: CrystalState,
        recrystallised: Option<&Recrystallised>,
    ) -> Result<Self, BlendError> {
        let Source { library, model, draws } = *source;
        let mut mixture = Mixture::empty(&model.parameters, state);
        let mut names: Vec<&str> = Vec::new();
        for (part, ingredient) in parts {
            names.push(&ingredient.key);
            let mut shares = Vec::with_capacity(ingredient.composition.len());
            for component in &ingredient.composition {
                let slots = mixture.slots(source, component.species, recrystallised)?;
                let species = library.species.get(component.species).map_or("", |species| species.key.as_str());
                let score = (component.sd_percent > 0.0)
                    .then(|| mixture.score(source, format!("{}:{}:{species}", maker::LOT, ingredient.key)));
                shares.push(Share {
                    species: component.species,
                    slots,
                    percent: component.percent,
                    sd_percent: component.sd_percent,
                    score,
                });
            }
            let space = Space::of(ingredient, draws);
            mixture.lots.push(Lot { ingredient: part.ingredient, percent: part.percent, shares, space });
        }
        mixture.separate_chain_lengths();
        mixture.discrepancy = DiscrepancyDraws::new(&names, model, draws);
        Ok(mixture)
    }

    /// One ingredient alone, each of its species a part of its own, without spread: to see the effect of its composition.
    ///
    /// # Arguments
    /// * `library`, `state`: as for [`Mixture::new`].
    /// * `parameters`: those of the model; what a maker's trials say is not used.
    /// * `ingredient`: of the library.
    ///
    /// # Returns
    /// [`Mixture::parts`] are its species in the order of its composition, each with the id of the ingredient.
    ///
    /// # Errors
    /// As [`Mixture::new`].
    pub(crate) fn of_species(
        library: &Library,
        parameters: &Parameters,
        ingredient: IngredientId,
        state: CrystalState,
    ) -> Result<Self, BlendError> {
        let one = known(library, ingredient)?;
        let (model, none) = (Model::from(parameters.clone()), Draws::none());
        let source = Source { library, model: &model, draws: &none };
        let mut mixture = Mixture::empty(parameters, state);
        for component in &one.composition {
            let slots = mixture.slots(&source, component.species, None)?;
            let share = Share { species: component.species, slots, percent: 100.0, sd_percent: 0.0, score: None };
            let space = Space::of(one, &none);
            mixture.lots.push(Lot { ingredient, percent: component.percent, shares: vec![share], space });
        }
        mixture.separate_chain_lengths();
        Ok(mixture)
    }

    /// Nothing yet.
    fn empty(parameters: &Parameters, state: CrystalState) -> Self {
        Mixture {
            families: parameters.families.len(),
            chained: CHAIN_LENGTH_FAMILIES.iter().filter_map(|name| parameters.family_index(name)).collect(),
            slots: Vec::new(),
            lots: Vec::new(),
            scores: Vec::new(),
            state,
            discrepancy: DiscrepancyDraws::default(),
            recrystallised: None,
        }
    }

    /// The same with what can crystallise anew in its stable form; `None` where nothing can.
    pub fn recrystallised(&self) -> Option<&Mixture> {
        self.recrystallised.as_deref()
    }

    /// The same with its crystals as they set, without recrystallising.
    pub(crate) fn without_recrystallising(self) -> Mixture {
        Mixture { recrystallised: None, ..self }
    }

    /// The slots of a species, one for each packing.
    fn slots(
        &mut self,
        source: &Source<'_>,
        species: usize,
        recrystallised: Option<&Recrystallised>,
    ) -> Result<Range<usize>, BlendError> {
        let (library, parameters) = (source.library, &source.model.parameters);
        if let Some(first) = self.slots.iter().position(|slot| slot.species == species) {
            let count = self.slots[first..].iter().take_while(|slot| slot.species == species).count();
            return Ok(first..first + count);
        }
        let one = library.species.get(species).ok_or(BlendError::UnknownSpecies { index: species })?;
        let liquid_class = parameters.liquid_class_index(&one.liquid_class).ok_or_else(|| {
            BlendError::UnknownLiquidClass { species: one.key.clone(), liquid_class: one.liquid_class.clone() }
        })?;
        let amorphous = Slot {
            species,
            packing: None,
            molar_mass_kg_mol: one.molar_mass_g_mol * 1e-3,
            family: None,
            solution: 0,
            liquid_class,
            melt_k: 1.0,
            melt_sd_k: 0.0,
            heat_j_mol: 1.0,
            heat_sd_j_mol: 0.0,
            melt: None,
            heat: None,
        };
        let first = self.slots.len();
        for branch in packing::branches(&parameters.packings, one, self.state, recrystallised) {
            let family = parameters.family_index(branch.family).ok_or_else(|| BlendError::UnknownFamily {
                species: one.key.clone(),
                family: branch.family.to_owned(),
            })?;
            let slot = Slot {
                packing: branch.packing,
                family: Some(family),
                melt_k: branch.form.melt_c + ZERO_CELSIUS_K,
                melt_sd_k: branch.form.melt_sd_c,
                heat_j_mol: branch.form.heat_kj_mol * 1e3,
                heat_sd_j_mol: branch.form.heat_sd_kj_mol * 1e3,
                melt: Some(self.score(source, format!("{}:{}", maker::MELT, one.key))),
                heat: Some(self.score(source, format!("{}:{}", maker::HEAT, one.key))),
                ..amorphous.clone()
            };
            self.slots.push(slot);
        }
        if self.slots.len() == first {
            self.slots.push(amorphous);
        }
        Ok(first..self.slots.len())
    }

    /// Position of a score, drawn when it is new.
    fn score(&mut self, source: &Source<'_>, name: String) -> usize {
        if let Some(known) = self.scores.iter().position(|score| score.name == name) {
            return known;
        }
        let maker = &source.model.maker;
        let (central, drawn) = (maker.centre(&name), maker.scores(source.draws, &name));
        self.scores.push(Score { name, central, drawn });
        self.scores.len() - 1
    }

    /// A score in one draw; its central value for `None`.
    fn scored(&self, score: Option<usize>, draw: Option<usize>) -> f64 {
        let Some(score) = score.and_then(|index| self.scores.get(index)) else { return 0.0 };
        draw.and_then(|index| score.drawn.get(index)).copied().unwrap_or(score.central)
    }

    /// Names of the scores of its species and lots.
    pub fn score_names(&self) -> impl Iterator<Item = &str> {
        self.scores.iter().map(|score| score.name.as_str())
    }

    /// Sets the central value of every score of its species and lots, and of what the model leaves out.
    ///
    /// # Arguments
    /// * `central`: one for each of [`Mixture::score_names`]; 0 is the model's own.
    /// * `discrepancy`: from [`DiscrepancyDraws::at`]; the default leaves nothing out.
    pub fn set_scores(&mut self, central: impl Iterator<Item = f64> + Clone, discrepancy: DiscrepancyDraws) {
        if let Some(other) = &mut self.recrystallised {
            other.set_scores(central.clone(), discrepancy.clone());
        }
        self.scores.iter_mut().zip(central).for_each(|(score, central)| score.central = central);
        self.discrepancy = discrepancy;
    }

    /// The families and the liquid classes of its species, as positions in the parameters.
    pub fn kinds(&self) -> impl Iterator<Item = (Option<usize>, usize)> + '_ {
        let anew = self.recrystallised.iter().flat_map(|other| &other.slots);
        self.slots.iter().chain(anew).map(|slot| (slot.family, slot.liquid_class))
    }

    /// Gives species of unlike chain length solid solutions of their own, by the lengths that are present.
    fn separate_chain_lengths(&mut self) {
        for &family in &self.chained {
            let lots = self.lots.iter().filter(|lot| lot.percent > 0.0);
            let slots = lots.flat_map(|lot| lot.shares.iter().flat_map(|share| share.slots.clone()));
            let mut there: Vec<usize> = slots.filter(|&slot| self.slots[slot].family == Some(family)).collect();
            there.sort_unstable();
            there.dedup();
            let carbons: Vec<f64> =
                there.iter().map(|&slot| chain_length::carbons(1e3 * self.slots[slot].molar_mass_kg_mol)).collect();
            for (slot, number) in there.into_iter().zip(chain_length::solutions(&carbons)) {
                self.slots[slot].solution = number;
            }
        }
    }

    /// Crystal state.
    pub fn state(&self) -> CrystalState {
        self.state
    }

    /// Number of crystal families of the parameter file.
    pub fn family_count(&self) -> usize {
        self.families
    }

    /// Ingredients and their mass %, in the order of their keys.
    pub fn parts(&self) -> impl Iterator<Item = (IngredientId, f64)> + '_ {
        self.lots.iter().map(|lot| (lot.ingredient, lot.percent))
    }

    /// Whether nothing but powder is in it, which is no bar and has no equilibrium.
    pub fn is_powder_alone(&self) -> bool {
        self.lots.iter().all(|lot| lot.percent <= 0.0 || lot.shares.is_empty())
    }

    /// What the model leaves out of this set of ingredients: in the central draw what the maker's trials say, without any nothing.
    pub(crate) fn discrepancy(&self, draw: Option<usize>) -> DrawnDiscrepancy {
        let of = |list: &[f64], central: f64| draw.and_then(|index| list.get(index)).copied().unwrap_or(central);
        let DiscrepancyDraws { central, interplay, holding, .. } = &self.discrepancy;
        DrawnDiscrepancy { interplay: of(interplay, central.interplay), holding: of(holding, central.holding) }
    }

    /// Central mass % of each species in the whole, as (index into the library, mass %).
    pub(crate) fn species_percent(&self) -> Vec<(usize, f64)> {
        let mut percent: Vec<(usize, f64)> = Vec::new();
        for (lot, share) in self.lots.iter().flat_map(|lot| lot.shares.iter().map(move |share| (lot, share))) {
            let part = lot.percent * share.percent / 100.0;
            match percent.iter_mut().find(|(species, _)| *species == share.species) {
                Some((_, sum)) => *sum += part,
                None => percent.push((share.species, part)),
            }
        }
        percent
    }

    /// Takes over what the model leaves out of another set of ingredients: the set without its traces, when some amounts are traces.
    pub fn set_discrepancy(&mut self, discrepancy: &DiscrepancyDraws) {
        self.discrepancy.clone_from(discrepancy);
        if let Some(other) = &mut self.recrystallised {
            other.set_discrepancy(discrepancy);
        }
    }

    /// Sets other amounts of the same ingredients.
    ///
    /// # Arguments
    /// * `percent`: mass % of each of [`Mixture::parts`], in that order; 0 leaves an ingredient out. What the model leaves out is still that of the
    ///   whole set then, unless [`Mixture::set_discrepancy`] says otherwise.
    pub fn set_percents(&mut self, percent: &[f64]) {
        let mut other_chains = false;
        for (lot, &percent) in self.lots.iter_mut().zip(percent) {
            let comes_or_goes = (lot.percent > 0.0) != (percent > 0.0);
            other_chains |= comes_or_goes && lot.has_chains(&self.slots, &self.chained);
            lot.percent = percent;
        }
        if other_chains {
            self.separate_chain_lengths();
        }
        if let Some(other) = &mut self.recrystallised {
            other.set_percents(percent);
        }
    }

    /// How the species change when the amounts do.
    ///
    /// # Arguments
    /// * `amounts`: what [`Mixture::amounts`] wrote for `draw`.
    /// * `rates`: change of each of [`Mixture::parts`], mass %.
    pub(crate) fn change(&self, draw: Draw<'_>, amounts: &[SpeciesAmount], rates: &[f64]) -> Change {
        let mut change = Change { mass: vec![0.0; self.slots.len()], ..Change::default() };
        for (lot, &rate) in self.lots.iter().zip(rates).filter(|(_, rate)| **rate != 0.0) {
            self.share_out(lot, draw, rate, |slot, mass| change.mass[slot] += mass);
        }
        misfit::rates(amounts, &change.mass, &draw.model.misfit, &mut change.misfit);
        let spaces = || self.lots.iter().map(|lot| &lot.space);
        let filler = self.filler(draw.number);
        change.ln_stiffening =
            filler.ln_stiffening_rate(self.taken_up(), rates.iter().copied().zip(spaces()), draw.number);
        change
    }

    /// Mass % of each part and the space it takes.
    fn taken_up(&self) -> impl Iterator<Item = (f64, &Space)> {
        self.lots.iter().map(|lot| (lot.percent, &lot.space))
    }

    /// Its powder in a draw; in the central one for `None`.
    pub(crate) fn filler(&self, draw: Option<usize>) -> Filler {
        Filler::of(self.taken_up(), draw)
    }

    /// Shares `percent` of a lot out among its species in their packings.
    fn share_out(&self, lot: &Lot, draw: Draw<'_>, percent: f64, mut add: impl FnMut(usize, f64)) {
        let drawn = |share: &Share| {
            (share.percent + share.sd_percent * self.scored(share.score, draw.number))
                .max(SMALLEST_SHARE * share.percent)
        };
        let total: f64 = lot.shares.iter().map(drawn).sum();
        for share in &lot.shares {
            let mass = percent * drawn(share) / total;
            let packings = self.slots[share.slots.clone()].iter().map(|slot| slot.packing);
            for (slot, part) in share.slots.clone().zip(packing::parts(packings, &draw.model.packing_share)) {
                add(slot, mass * part);
            }
        }
    }

    /// Writes what a draw says of the species, whatever their amounts.
    pub(crate) fn draw(&self, draw: Draw<'_>, drawn: &mut DrawnSpecies) {
        let Draw { number, model } = draw;
        drawn.species.clear();
        drawn.species.extend(self.slots.iter().map(|slot| {
            let shift = slot.family.and_then(|family| model.melt_shift_k.get(family)).copied().unwrap_or(0.0);
            SpeciesAmount {
                mass: 0.0,
                molar_mass_kg_mol: slot.molar_mass_kg_mol,
                family: slot.family,
                solution: slot.solution,
                melt_k: slot.melt_k + shift + slot.melt_sd_k * self.scored(slot.melt, number),
                heat_j_mol: (slot.heat_j_mol + slot.heat_sd_j_mol * self.scored(slot.heat, number))
                    .max(SMALLEST_HEAT * slot.heat_j_mol),
                delta: model.delta.get(slot.liquid_class).copied().unwrap_or(0.0),
            }
        }));
        drawn.parts.clear();
        drawn.parts_of.clear();
        for lot in &self.lots {
            self.share_out(lot, draw, 1.0, |slot, part| drawn.parts.push((slot, part)));
            drawn.parts_of.push(drawn.parts.len());
        }
    }

    /// The species of one draw, always in the same order and number.
    pub fn species(&self, draw: Draw<'_>) -> Vec<SpeciesAmount> {
        let (mut drawn, mut amounts) = (DrawnSpecies::default(), Vec::new());
        self.draw(draw, &mut drawn);
        self.amounts(draw, &drawn, &mut amounts);
        amounts
    }

    /// Writes the species at the amounts there are into `amounts`, always in the same order and number.
    ///
    /// # Arguments
    /// * `draw`: the draw.
    /// * `drawn`: what [`Mixture::draw`] wrote for it.
    pub(crate) fn amounts(&self, draw: Draw<'_>, drawn: &DrawnSpecies, amounts: &mut Vec<SpeciesAmount>) {
        let discrepancy_k = draw.number.and_then(|index| self.discrepancy.melt_shift_k.get(index)).copied();
        let discrepancy_k = discrepancy_k.unwrap_or(self.discrepancy.central_melt_shift_k);
        amounts.clone_from(&drawn.species);
        for (one, slot) in amounts.iter_mut().zip(&self.slots) {
            one.solution = slot.solution;
            one.melt_k += discrepancy_k;
        }
        let mut first = 0;
        for (lot, &end) in self.lots.iter().zip(&drawn.parts_of) {
            if lot.percent > 0.0 {
                drawn.parts[first..end].iter().for_each(|&(slot, part)| amounts[slot].mass += lot.percent * part);
            }
            first = end;
        }
        misfit::lower_melting_points(amounts, &draw.model.misfit);
    }
}
