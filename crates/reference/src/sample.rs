//! Small tables for tests.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use crate::{Diagnostics, IngredientId, Library, Reading, TableTexts};

/// Species table.
pub(crate) const SPECIES: &str = "\
key,name,class,molar_mass_g_mol,liquid_class,fresh_form,fresh_family,rested_form,rested_family,tempered_form,tempered_family,note
POP,palmitic-oleic-palmitic,triglyceride,833.4,triglyceride,alpha,fat,beta,pop,beta,pop,
POS,palmitic-oleic-stearic,triglyceride,861.4,triglyceride,alpha,fat,beta,pop,beta,pop,
oil,liquid oil,liquid,880,triglyceride,,,,,,,never solid
";

/// Crystal form table.
pub(crate) const FORMS: &str = "\
species,form,melt_c,melt_sd_c,melt_status,heat_kj_mol,heat_sd_kj_mol,heat_status,source,note
POP,alpha,16,1,recalled,90,5,recalled,s1,
POP,beta,37,0.5,read,140,5,recalled,s1,
POS,alpha,19,1,recalled,95,5,recalled,s1,
POS,beta,36,0.5,read,145,5,estimated,s1,
";

/// Ingredient table.
pub(crate) const INGREDIENTS: &str = "\
key,common_name,inci_name,synonyms,kind,nut_origin,origin,animal_origin,sensitiser,melt_low_c,melt_high_c,melt_test,melt_status,melt_source,\
density_g_ml,density_at_c,density_status,density_source,needle_dmm_25c,needle_status,needle_source,relative_firmness,\
relative_firmness_status,relative_firmness_source,note
beeswax,Beeswax,Cera Flava,yellow beeswax;bee wax,wax,no,animal,yes,pollen,62,65,drop point,read,s1,0.96,20,read,s1,20,recalled,s1,1,estimated,s1,
plain-wax,Plain wax,Shared Wax,,wax,no,mineral,no,,50,56,drop point,read,s1,0.9,20,read,s1,,,,0.7,estimated,s1,
hard-wax,Hard wax,Shared Wax,,wax,no,plant,no,,80,84,drop point,read,s1,0.99,20,read,s1,2,recalled,s1,6,estimated,s1,
castor-oil,Castor oil,Ricinus Communis Seed Oil (and) Tocopherol,,oil,no,plant,possible,,-18,-10,pour point,read,s1,0.96,25,read,s1,,,,0,estimated,s1,
white-clay,White clay,Kaolin,,powder,no,mineral,no,,450,450,decomposes,read,s1,2.6,20,read,s1,,,,0,estimated,s1,
";

/// Composition table.
pub(crate) const COMPOSITIONS: &str = "\
ingredient,species,percent,sd_percent,status,source,note
beeswax,POP,60,3,estimated,s1,
beeswax,POS,40,3,estimated,s1,
plain-wax,POS,100,1,estimated,s1,
hard-wax,POP,100,1,estimated,s1,
castor-oil,oil,100,1,read,s1,
";

/// Powder table.
pub(crate) const POWDERS: &str = "\
ingredient,diameter_um,diameter_ln_sd,max_packing,max_packing_sd,status,source,note
white-clay,3,0.6,0.45,0.06,estimated,s1,
";

/// Table of induction times.
pub(crate) const KEEPING: &str = "\
ingredient,induction_h,at_c,ln_sd,status,source,note
castor-oil,50,110,0.6,estimated,s1,
";

/// Viscosity table.
pub(crate) const VISCOSITY: &str = "\
ingredient,temperature_c,viscosity,unit,ln_sd,status,source,note
beeswax,80,17,dynamic,0.2,recalled,s1,
beeswax,100,9.5,dynamic,0.2,recalled,s1,
castor-oil,40,262,kinematic,0.1,read,s1,
castor-oil,100,20,kinematic,0.1,read,s1,
kind:wax,90,14,dynamic,0.5,estimated,s1,
kind:wax,110,8.5,dynamic,0.5,estimated,s1,
";

/// Table of blends.
pub(crate) const INCI_PARTS: &str = "\
ingredient,inci_name,percent,low_percent,high_percent,status,source,note
castor-oil,Ricinus Communis Seed Oil,99,95,99.5,estimated,s1,
castor-oil,Tocopherol,1,0.5,5,estimated,s1,
";

/// Table of names on labels.
pub(crate) const LABEL_NAMES: &str = "\
inci_name,eu_name,us_name,status,source,note
Cera Flava,Cera Flava,Beeswax,recalled,s1,
";

/// All of them.
pub(crate) const TEXTS: TableTexts<'static> = TableTexts {
    species: SPECIES,
    forms: FORMS,
    ingredients: INGREDIENTS,
    compositions: COMPOSITIONS,
    powders: POWDERS,
    keeping: KEEPING,
    viscosity: VISCOSITY,
    inci_parts: INCI_PARTS,
    label_names: LABEL_NAMES,
};

/// The library of these tables.
pub(crate) fn library() -> Library {
    Library::from_tables(&TEXTS).unwrap()
}

/// The id of one of its ingredients.
pub(crate) fn id(index: usize) -> IngredientId {
    library().id_at(index).unwrap()
}

/// The parts of the first formula as keys and percent.
pub(crate) fn parts(library: &Library, reading: Result<Reading, Diagnostics>) -> Vec<(&str, f64)> {
    let reading = reading.unwrap();
    let name = |id: IngredientId| library.get(id).unwrap().key.as_str();
    reading.formulas[0].parts.iter().map(|part| (name(part.ingredient), (part.percent * 1e9).round() / 1e9)).collect()
}

/// The codes of the errors.
pub(crate) fn codes<T: std::fmt::Debug>(reading: Result<T, Diagnostics>) -> Vec<&'static str> {
    reading.unwrap_err().iter().map(|error| error.code).collect()
}
