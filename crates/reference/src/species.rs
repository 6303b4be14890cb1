//! Crystallising species and their crystal forms.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Status;

/// The crystal state a bar is in: how it was cooled and how long it has stood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CrystalState {
    /// Quick-chilled and just set: the less stable form. Right for leaving the mould.
    Fresh,
    /// After days at room temperature: the stable form. Right for use and shipping.
    Rested,
    /// Tempered before pouring, as confectioners do with cocoa butter.
    Tempered,
}

impl CrystalState {
    /// Every state, in the order fresh, rested, tempered.
    pub const ALL: [CrystalState; 3] = [CrystalState::Fresh, CrystalState::Rested, CrystalState::Tempered];

    /// Returns the word used on the command line and in files.
    pub fn word(self) -> &'static str {
        match self {
            CrystalState::Fresh => "fresh",
            CrystalState::Rested => "rested",
            CrystalState::Tempered => "tempered",
        }
    }
}

/// One crystal form of one species.
#[derive(Debug, Clone, PartialEq)]
pub struct CrystalForm {
    /// Name of the form (`alpha`, `beta-prime`, `beta-1`, `ordered`, ...).
    pub form: String,
    /// Melting point, °C.
    pub melt_c: f64,
    /// Standard deviation of the melting point, K.
    pub melt_sd_c: f64,
    /// How the melting point was obtained.
    pub melt_status: Status,
    /// Heat from the ordered crystal to the liquid, kJ/mol.
    pub heat_kj_mol: f64,
    /// Standard deviation of the heat, kJ/mol.
    pub heat_sd_kj_mol: f64,
    /// How the heat was obtained.
    pub heat_status: Status,
    /// Key of the source in `data/sources.bib`.
    pub source: String,
    /// Remarks.
    pub note: String,
}

/// The form a species takes in one crystal state, and the solid solution it joins.
#[derive(Debug, Clone, PartialEq)]
pub struct FormRef {
    /// Index into [`Species::forms`].
    pub form: usize,
    /// Name of the crystal family (one solid solution each).
    pub family: String,
}

/// A species that crystallises, or an amorphous one that never does.
#[derive(Debug, Clone, PartialEq)]
pub struct Species {
    /// Unique key, e.g. `POS` or `n-C31`.
    pub key: String,
    /// Plain name.
    pub name: String,
    /// Chemical class.
    pub class: String,
    /// Molar mass, g/mol.
    pub molar_mass_g_mol: f64,
    /// Which regular-solution parameter it takes in the melt.
    pub liquid_class: String,
    /// Known crystal forms.
    pub forms: Vec<CrystalForm>,
    /// Form and family when fresh; `None` when it never crystallises.
    pub fresh: Option<FormRef>,
    /// Form and family when rested.
    pub rested: Option<FormRef>,
    /// Form and family when tempered.
    pub tempered: Option<FormRef>,
    /// Remarks.
    pub note: String,
}

impl Species {
    /// Returns the crystal form and the family this species takes in `state`, or `None` when it stays amorphous.
    pub fn crystal(&self, state: CrystalState) -> Option<(&CrystalForm, &str)> {
        let reference = match state {
            CrystalState::Fresh => self.fresh.as_ref(),
            CrystalState::Rested => self.rested.as_ref(),
            CrystalState::Tempered => self.tempered.as_ref(),
        }?;
        self.forms.get(reference.form).map(|form| (form, reference.family.as_str()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::library;

    #[test]
    fn each_state_has_its_form_and_family() {
        let library = library();
        let seen = |species: usize, state| {
            library
                .species
                .get(species)
                .and_then(|species| species.crystal(state))
                .map(|(form, family)| (form.melt_c, family))
        };
        assert_eq!(CrystalState::ALL.map(CrystalState::word), ["fresh", "rested", "tempered"]);
        assert_eq!(seen(0, CrystalState::Fresh), Some((16.0, "fat")));
        assert_eq!(seen(0, CrystalState::Rested), Some((37.0, "pop")));
        assert_eq!(CrystalState::ALL.map(|state| seen(2, state)), [None; 3]);
    }
}
