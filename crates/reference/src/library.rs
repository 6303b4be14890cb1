//! The built-in tables, parsed and checked, and the look-up by name.

use std::collections::HashMap;

use crate::DataFaults;
use crate::data_fault::DataFault;
use crate::label_name::LabelName;
use crate::names::{Claim, Lookup, NameIndex, normalise};
use crate::tables::{
    add_inci_parts, add_keeping, add_powders, add_viscosity, read_ingredients, read_label_names, read_species,
};
use crate::wording::quote;
use crate::{Ingredient, IngredientId, Species};

/// The tables as CSV text; the columns are those of `data/README.md`.
#[derive(Debug, Clone, Copy)]
pub struct TableTexts<'t> {
    /// `species.csv`.
    pub species: &'t str,
    /// `species_forms.csv`.
    pub forms: &'t str,
    /// `ingredients.csv`.
    pub ingredients: &'t str,
    /// `compositions.csv`.
    pub compositions: &'t str,
    /// `powders.csv`.
    pub powders: &'t str,
    /// `keeping.csv`.
    pub keeping: &'t str,
    /// `viscosity.csv`.
    pub viscosity: &'t str,
    /// `inci_parts.csv`.
    pub inci_parts: &'t str,
    /// `label_names.csv`.
    pub label_names: &'t str,
}

/// Species and ingredients, with look-up.
#[derive(Debug, Clone, Default)]
pub struct Library {
    /// Every species, in file order.
    pub species: Vec<Species>,
    /// Every ingredient, in file order; lots are appended.
    pub ingredients: Vec<Ingredient>,
    /// Names on labels that no rule gives, in file order.
    pub label_names: Vec<LabelName>,
    pub(crate) names: NameIndex,
    species_of: HashMap<String, usize>,
    /// Position in `label_names` of each name, whichever market's it is.
    pub(crate) label_name_of: HashMap<String, usize>,
}

impl Library {
    /// Reads and checks the tables that come with this crate.
    ///
    /// # Errors
    /// Every fault of every table, with file and line.
    ///
    /// ```
    /// use barwright_reference::{Library, Lookup};
    /// let library = Library::builtin()?;
    /// assert!(matches!(library.find("Bees Wax"), Lookup::Found(_)));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn builtin() -> Result<Library, DataFaults> {
        Library::from_tables(&TableTexts {
            species: include_str!("../../../data/species.csv"),
            forms: include_str!("../../../data/species_forms.csv"),
            ingredients: include_str!("../../../data/ingredients.csv"),
            compositions: include_str!("../../../data/compositions.csv"),
            powders: include_str!("../../../data/powders.csv"),
            keeping: include_str!("../../../data/keeping.csv"),
            viscosity: include_str!("../../../data/viscosity.csv"),
            inci_parts: include_str!("../../../data/inci_parts.csv"),
            label_names: include_str!("../../../data/label_names.csv"),
        })
    }

    /// Reads and checks tables given as CSV text.
    ///
    /// # Errors
    /// Every fault of every table, with file and line.
    pub fn from_tables(texts: &TableTexts<'_>) -> Result<Library, DataFaults> {
        let mut faults = Vec::new();
        let species = read_species(texts.species, texts.forms, &mut faults);
        let species_of: HashMap<String, usize> =
            species.iter().enumerate().map(|(index, species)| (species.key.clone(), index)).collect();
        let mut rows = read_ingredients(texts.ingredients, texts.compositions, &species_of, &mut faults);
        add_powders(texts.powders, &mut rows, &mut faults);
        add_keeping(texts.keeping, &mut rows, &mut faults);
        add_viscosity(texts.viscosity, &mut rows, &mut faults);
        add_inci_parts(texts.inci_parts, &mut rows, &mut faults);
        let label_names = read_label_names(texts.label_names, &mut faults);

        let mut names = NameIndex::default();
        for (index, entry) in rows.iter().enumerate() {
            let ingredient = &entry.row;
            let id = IngredientId::new(index, &ingredient.key);
            let own = [&ingredient.key, &ingredient.common_name].into_iter().chain(&ingredient.synonyms);
            for name in own {
                let earlier = names.add(name, id, Claim::Own).and_then(|earlier| rows.get(earlier.index()));
                if let Some(earlier) = earlier.filter(|earlier| earlier.row.key != ingredient.key) {
                    let (name, key) = (quote(name), quote(&earlier.row.key));
                    let what = format!("the name {name} belongs to {key} on line {} already", earlier.line);
                    faults.push(DataFault { file: "ingredients.csv", line: entry.line, what });
                }
            }
            names.add(&ingredient.inci_name, id, Claim::Declared);
        }
        if !faults.is_empty() {
            return Err(faults.into());
        }
        let mut label_name_of = HashMap::new();
        for (index, name) in label_names.iter().enumerate() {
            for known in [&name.inci_name, &name.eu_name, &name.us_name] {
                label_name_of.entry(normalise(known)).or_insert(index);
            }
        }
        let ingredients = rows.into_iter().map(|entry| entry.row).collect();
        Ok(Library { species, ingredients, label_names, names, species_of, label_name_of })
    }

    /// Finds the ingredient a name belongs to.
    ///
    /// Key, common name, synonyms and declared (INCI) name count; case, accents, punctuation, the plural and the order of
    /// the words do not. A declared name that several ingredients share is ambiguous unless it is one ingredient's own name.
    ///
    /// ```
    /// use barwright_reference::{Library, Lookup};
    /// let library = Library::builtin()?;
    /// let Lookup::Unknown { nearest } = library.find("beswax") else { return Err("found".into()) };
    /// assert_eq!(library.key(nearest[0]), "beeswax");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn find(&self, name: &str) -> Lookup {
        self.names.find(name)
    }

    /// Returns an ingredient of this library; `None` for the id of another library's.
    pub fn get(&self, id: IngredientId) -> Option<&Ingredient> {
        let found = self.ingredients.get(id.index())?;
        (IngredientId::new(id.index(), &found.key) == id).then_some(found)
    }

    /// Returns the id of the ingredient with exactly this key.
    pub fn id_of(&self, key: &str) -> Option<IngredientId> {
        self.id_at(self.ingredients.iter().position(|one| one.key == key)?)
    }

    /// Returns the id of the ingredient at a position of [`Library::ingredients`].
    pub fn id_at(&self, index: usize) -> Option<IngredientId> {
        self.ingredients.get(index).map(|one| IngredientId::new(index, &one.key))
    }

    /// Every ingredient with its id, in file order.
    pub fn by_id(&self) -> impl Iterator<Item = (IngredientId, &Ingredient)> {
        self.ingredients.iter().enumerate().map(|(index, one)| (IngredientId::new(index, &one.key), one))
    }

    /// Returns the ingredient with exactly this key.
    pub fn ingredient(&self, key: &str) -> Option<&Ingredient> {
        self.ingredients.iter().find(|ingredient| ingredient.key == key)
    }

    /// Returns the key of an ingredient; nothing for the id of another library's.
    pub fn key(&self, id: IngredientId) -> &str {
        self.get(id).map_or("", |ingredient| &ingredient.key)
    }

    /// Returns the common name of an ingredient; nothing for the id of another library's.
    pub fn common_name(&self, id: IngredientId) -> &str {
        self.get(id).map_or("", |ingredient| &ingredient.common_name)
    }

    /// Returns the index of the species with exactly this key.
    pub fn species_index(&self, key: &str) -> Option<usize> {
        self.species_of.get(key).copied()
    }

    /// Returns the keys of ingredients, leaving out any that are not of this library.
    pub(crate) fn keys<'l>(&'l self, ids: &'l [IngredientId]) -> impl Iterator<Item = &'l str> {
        ids.iter().filter_map(|id| self.get(*id)).map(|ingredient| ingredient.key.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{INGREDIENTS, TEXTS, id, library};

    #[test]
    fn names_and_keys_are_found() {
        let library = library();
        for (name, found) in [
            ("beeswax", Lookup::Found(id(0))),
            ("CERA FLAVA", Lookup::Found(id(0))),
            ("bee-waxes", Lookup::Found(id(0))),
            ("oil, castor", Lookup::Found(id(3))),
            ("shared wax", Lookup::Ambiguous(vec![id(1), id(2)])),
        ] {
            assert_eq!(library.find(name), found, "{name}");
        }
        assert!(matches!(library.find("castr oil"), Lookup::Unknown { nearest } if nearest.first() == Some(&id(3))));
        assert_eq!(library.species_index("POS"), Some(1));
        assert_eq!(library.species_index("pos"), None);
        assert_eq!(library.ingredient("hard-wax").map(|wax| wax.density_g_ml), Some(0.99));
    }

    #[test]
    fn a_name_with_two_owners_is_a_fault() {
        let tables = INGREDIENTS.replace("Plain wax", "Bee-wax");
        let texts = TableTexts { ingredients: &tables, ..TEXTS };
        let faults = Library::from_tables(&texts).err().unwrap_or_default();
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        assert_eq!(faults, ["ingredients.csv, line 3: the name `Bee-wax` belongs to `beeswax` on line 2 already"]);
    }
}
