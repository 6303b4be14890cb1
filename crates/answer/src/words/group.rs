//! The groups a maker thinks of a formula in.

use barwright_reference::{Ingredient, IngredientKind};

/// An ingredient below this melting point counts as liquid in the groups shown, °C.
const LIQUID_BELOW_C: f64 = 20.0;

/// An ingredient above this melting point that is neither wax nor butter counts with the waxes, °C.
const WAXY_ABOVE_C: f64 = 40.0;

/// The groups a maker thinks of a formula in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Waxes and what hardens like one.
    Wax,
    /// Butters and other soft solids.
    Butter,
    /// What is liquid at room temperature.
    Liquid,
    /// Powders.
    Powder,
    /// Scents.
    Scent,
}

impl Group {
    /// Every group, in the order shown.
    pub const ALL: [Group; 5] = [Group::Wax, Group::Butter, Group::Liquid, Group::Powder, Group::Scent];

    /// Returns the group of an ingredient.
    pub fn of(ingredient: &Ingredient) -> Self {
        match ingredient.kind {
            IngredientKind::Wax => Group::Wax,
            IngredientKind::Butter => Group::Butter,
            IngredientKind::Oil => Group::Liquid,
            IngredientKind::Powder => Group::Powder,
            IngredientKind::Scent => Group::Scent,
            _ if ingredient.melt_high_c < LIQUID_BELOW_C => Group::Liquid,
            _ if ingredient.melt_high_c > WAXY_ABOVE_C => Group::Wax,
            _ => Group::Butter,
        }
    }

    /// Returns the word shown.
    pub fn word(self) -> &'static str {
        match self {
            Group::Wax => "wax",
            Group::Butter => "butter",
            Group::Liquid => "liquid",
            Group::Powder => "powder",
            Group::Scent => "scent",
        }
    }
}
