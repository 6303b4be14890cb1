//! How the species pack into crystals: which form each takes in a state, and whose solid solution it joins.
//!
//! ```text
//! part of the species in packing p:  x_p Π_(q after p) (1 − x_q)          the rest, as in the species table:  Π_q (1 − x_q)
//! ```
//! The species table gives one answer for each state. Where the literature leaves more than one open, the parameter file lists the
//! others as [`Packing`]s, each with the share `x` of its species that packs so: crystals that formed early, or that have turned already, stand beside
//! the others. The calibration takes those that the fitting rows prefer, and fits their shares. Amounts in each packing are fixed before the
//! equilibrium is solved: molecules do not change from one to the other as the bar warms.
//!
//! One change is made while it warms: in a fresh bar, the melt that the first crystals leave holds more of some triglycerides than their stable form
//! allows, and they crystallise anew ([`Recrystallised`]). The bar then has the crystals that hold more at that temperature ([`crate::landmarks::Evaluator`]).
//!
//! # Source
//! Our own bookkeeping; where each packing comes from stands in `data/priors.toml`.

use barwright_reference::{CrystalForm, CrystalState, Species};
use serde::Deserialize;

/// Another way to pack: some species take another form, or join another family, in some states.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Packing {
    /// Name.
    pub name: String,
    /// Whether the model packs this way.
    pub chosen: bool,
    /// Share of the species that does, 0 to 1.
    pub share: f64,
    /// Standard deviation of the share.
    pub share_sd: f64,
    /// Which species move where.
    #[serde(rename = "move")]
    pub moves: Vec<Move>,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

/// Species of a fresh fat that crystallise anew, in their stable form, from the melt that their first crystals leave.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recrystallised {
    /// Families of their stable form.
    pub families: Vec<String>,
    /// How it was obtained.
    pub status: String,
    /// What it is based on.
    pub basis: String,
}

impl Recrystallised {
    /// The stable form of a species and its family, where it is one of those that take it.
    pub(crate) fn crystal<'a>(&self, species: &'a Species, state: CrystalState) -> Option<(&'a CrystalForm, &'a str)> {
        let fresh = state == CrystalState::Fresh && species.crystal(state).is_some();
        let stable =
            species.crystal(CrystalState::Rested).filter(|(_, family)| self.families.iter().any(|one| one == family));
        stable.filter(|_| fresh)
    }
}

/// Species that move together.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    /// In which crystal states.
    pub states: Vec<CrystalState>,
    /// Keys of the species.
    pub species: Vec<String>,
    /// The form they take; that of the species table where it is left out.
    #[serde(default)]
    pub form: Option<String>,
    /// The family they join.
    pub family: String,
}

impl Move {
    fn concerns(&self, species: &Species, state: CrystalState) -> bool {
        self.states.contains(&state) && self.species.contains(&species.key)
    }
}

/// One way a part of a species packs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Branch<'a> {
    /// Position of the packing; `None` for the species table.
    pub packing: Option<usize>,
    /// Form it takes.
    pub form: &'a CrystalForm,
    /// Family it joins.
    pub family: &'a str,
}

/// Returns every way `species` packs in `state`, the last packing first, the species table last; nothing when it stays amorphous.
///
/// # Arguments
/// * `packings`: those not chosen are passed over.
/// * `species`: one that has not the form a packing asks for keeps that of the table.
/// * `state`: crystal state.
/// * `recrystallised`: which species have crystallised anew, if any; no packing concerns them.
pub(crate) fn branches<'a>(
    packings: &'a [Packing],
    species: &'a Species,
    state: CrystalState,
    recrystallised: Option<&Recrystallised>,
) -> Vec<Branch<'a>> {
    if let Some((form, family)) = recrystallised.and_then(|one| one.crystal(species, state)) {
        return vec![Branch { packing: None, form, family }];
    }
    let Some((form, family)) = species.crystal(state) else { return Vec::new() };
    let mut branches = Vec::new();
    for (index, packing) in packings.iter().enumerate().rev().filter(|(_, packing)| packing.chosen) {
        if let Some(found) = packing.moves.iter().find(|one| one.concerns(species, state)) {
            let named = |name: &String| species.forms.iter().find(|form| form.form == *name);
            let form = found.form.as_ref().and_then(named).unwrap_or(form);
            branches.push(Branch { packing: Some(index), form, family: &found.family });
        }
    }
    branches.push(Branch { packing: None, form, family });
    branches
}

/// Returns the part of a species in each of its branches.
///
/// # Arguments
/// * `branches`: packing of each, as from [`branches`].
/// * `shares`: share of each packing.
pub(crate) fn parts(branches: impl IntoIterator<Item = Option<usize>>, shares: &[f64]) -> impl Iterator<Item = f64> {
    let mut left = 1.0;
    branches.into_iter().map(move |packing| {
        let share = packing.map_or(1.0, |index| shares.get(index).copied().unwrap_or(0.0));
        let part = left * share;
        left -= part;
        part
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;
    use crate::Parameters;
    use barwright_reference::Library;

    fn packing(chosen: bool, form: Option<&str>, family: &str) -> Packing {
        Packing {
            name: "test".to_owned(),
            chosen,
            share: 0.5,
            share_sd: 0.1,
            moves: vec![Move {
                states: vec![CrystalState::Fresh],
                species: vec!["POP".to_owned()],
                form: form.map(str::to_owned),
                family: family.to_owned(),
            }],
            status: String::new(),
            basis: String::new(),
        }
    }

    #[test]
    fn only_chosen_packings_count_the_later_one_first() {
        let library = Library::builtin().unwrap();
        let pop = library.species.iter().find(|species| species.key == "POP").unwrap();
        let seen = |packings: &[Packing], state| -> Vec<(Option<usize>, String, String)> {
            let found = branches(packings, pop, state, None).into_iter();
            found.map(|one| (one.packing, one.form.form.clone(), one.family.to_owned())).collect()
        };
        let table = seen(&[], CrystalState::Fresh);
        let [(None, form, _)] = &table[..] else { panic!("{table:?}") };
        assert_eq!(seen(&[packing(false, Some("beta-1"), "pop")], CrystalState::Fresh), table);
        let one = packing(true, Some("beta-1"), "pop");
        assert_eq!(seen(std::slice::from_ref(&one), CrystalState::Rested), seen(&[], CrystalState::Rested));
        let two = seen(&[one, packing(true, None, "sat")], CrystalState::Fresh);
        let expected = [
            (Some(1), form.clone(), "sat".to_owned()),
            (Some(0), "beta-1".to_owned(), "pop".to_owned()),
            table[0].clone(),
        ];
        assert_eq!(two, expected);
    }

    #[test]
    fn parts_are_what_each_packing_takes_of_what_the_later_ones_left() {
        let found: Vec<f64> = parts([Some(2), Some(0), None], &[0.25, 0.9, 0.4]).collect();
        let expected = [0.4, 0.6 * 0.25, 0.6 * 0.75];
        assert_eq!(found.len(), expected.len());
        assert!(found.iter().zip(expected).all(|(found, expected)| (found - expected).abs() < 1e-12), "{found:?}");
        // A packing beyond the shares takes nothing.
        assert_eq!(parts([Some(7), None], &[0.3]).collect::<Vec<_>>(), [0.0, 1.0]);
    }

    #[test]
    fn only_what_the_parameters_name_crystallises_anew_and_only_in_a_fresh_bar() {
        let library = Library::builtin().unwrap();
        let parameters = Parameters::builtin().unwrap();
        let anew = &parameters.recrystallised;
        for family in &anew.families {
            assert!(parameters.family_index(family).is_some(), "{family}");
        }
        let of = |key: &str, state| {
            let species = library.species.iter().find(|species| species.key == key).unwrap();
            let packings = [packing(true, None, "pop")];
            let found = branches(&packings, species, state, Some(anew));
            found.into_iter().map(|one| (one.packing, one.form.form.clone(), one.family.to_owned())).collect::<Vec<_>>()
        };
        // The stable form of tripalmitin is beta; none of what a packing says of POP is changed.
        let beta = [(None, "beta".to_owned(), "sat".to_owned())];
        assert_eq!(of("PPP", CrystalState::Fresh), beta);
        assert_eq!(of("PPP", CrystalState::Rested), beta);
        assert_eq!(of("POP", CrystalState::Fresh).len(), 2);
        assert_eq!(of("POP", CrystalState::Fresh)[0].2, "pop");
        let species = |key: &str| library.species.iter().find(|species| species.key == key).unwrap();
        assert_eq!(anew.crystal(species("PPP"), CrystalState::Rested), None);
        assert_eq!(anew.crystal(species("POP"), CrystalState::Fresh), None);
        assert_eq!(Recrystallised::default().crystal(species("PPP"), CrystalState::Fresh), None);
    }

    #[test]
    fn built_in_packings_name_known_species_forms_and_families() {
        let library = Library::builtin().unwrap();
        let parameters = Parameters::builtin().unwrap();
        for packing in &parameters.packings {
            assert!(!packing.moves.is_empty(), "{}", packing.name);
            for one in &packing.moves {
                assert!(parameters.family_index(&one.family).is_some(), "{}: {}", packing.name, one.family);
                for key in &one.species {
                    let species = library.species.iter().find(|species| species.key == *key);
                    let species = species.unwrap_or_else(|| panic!("{}: no species {key}", packing.name));
                    let known = one.form.iter().all(|form| species.forms.iter().any(|known| known.form == *form));
                    assert!(known, "{}: {key} has no form {:?}", packing.name, one.form);
                }
            }
        }
    }
}
