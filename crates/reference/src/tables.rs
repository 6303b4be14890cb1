//! Reads the reference tables and checks every row.

use std::collections::HashMap;
use std::ops::RangeInclusive;

use serde::Deserialize;
use serde::de::value::{Error as WordError, StrDeserializer};
use serde::de::{DeserializeOwned, IntoDeserializer};

use crate::columns::columns;
use crate::data_fault::DataFault;
use crate::ingredient::AND;
use crate::label_name::LabelName;
use crate::wording::{list, quote, short};
use crate::{
    AnimalOrigin, Component, CrystalForm, FormRef, InciPart, Induction, Ingredient, IngredientKind, NutOrigin, Origin,
    Powder, Species, Status, ViscosityPoint, ViscosityUnit,
};

/// Melting points that can occur in the tables and in a lot, °C.
pub(crate) const MELT_C: RangeInclusive<f64> = -150.0..=250.0;
/// Heats of fusion that can occur, kJ/mol.
const HEAT_KJ_MOL: RangeInclusive<f64> = 1.0..=500.0;
/// Molar masses that can occur, g/mol.
const MOLAR_MASS_G_MOL: RangeInclusive<f64> = 50.0..=3000.0;
/// Densities that can occur in the tables and in a lot, g/ml.
pub(crate) const DENSITY_G_ML: RangeInclusive<f64> = 0.7..=1.2;
/// Those of a powder's grains, g/ml.
pub(crate) const GRAIN_DENSITY_G_ML: RangeInclusive<f64> = 0.7..=8.0;
/// Temperatures at which a powder melts or breaks up, °C.
const GRAIN_MELT_C: RangeInclusive<f64> = 40.0..=4000.0;
/// Diameters of grains that can occur, µm.
pub(crate) const DIAMETER_UM: RangeInclusive<f64> = 0.01..=2000.0;
/// Spreads of their logarithm that can occur.
const DIAMETER_LN_SD: RangeInclusive<f64> = 0.0..=2.0;
/// Largest packings that can occur: needles and plates to mixtures of round grains.
const MAX_PACKING: RangeInclusive<f64> = 0.1..=0.8;
/// Induction times that can occur, h.
const INDUCTION_H: RangeInclusive<f64> = 0.1..=1000.0;
/// Temperatures of the test of it, °C.
const INDUCTION_AT_C: RangeInclusive<f64> = 60.0..=160.0;
/// Spreads of its logarithm that can occur.
const INDUCTION_LN_SD: RangeInclusive<f64> = 0.0..=2.0;
/// Spreads of it that can occur.
const MAX_PACKING_SD: RangeInclusive<f64> = 0.0..=0.2;
/// Temperatures a density can belong to, °C.
const DENSITY_AT_C: RangeInclusive<f64> = -20.0..=200.0;
/// Needle penetrations that can occur in the tables and in a lot, 0.1 mm.
pub(crate) const NEEDLE_DMM: RangeInclusive<f64> = 0.1..=1000.0;
/// Firmness relative to beeswax that can occur.
const RELATIVE_FIRMNESS: RangeInclusive<f64> = 0.0..=100.0;
/// Standard deviations that can occur, in the unit of their figure.
const SD: RangeInclusive<f64> = 0.0..=100.0;
/// Temperatures a viscosity can belong to, °C.
const VISCOSITY_AT_C: RangeInclusive<f64> = -20.0..=200.0;
/// Viscosities that can occur, mPa·s or mm²/s.
const VISCOSITY: RangeInclusive<f64> = 0.5..=100_000.0;
/// Spreads of the logarithm of a viscosity that can occur.
const VISCOSITY_LN_SD: RangeInclusive<f64> = 0.0..=2.0;
/// Nearer temperatures do not fix how a viscosity falls, K.
const SMALLEST_SPAN_K: f64 = 5.0;
/// Before a kind, in place of the key of an ingredient.
const OF_KIND: &str = "kind:";
/// Shares that can occur, mass %.
const PERCENT: RangeInclusive<f64> = 0.0..=100.0;
/// How far the shares of one ingredient may be from 100, mass %.
const CLOSURE_PERCENT: f64 = 0.01;

/// A row with the line it starts on.
pub(crate) struct Row<R> {
    /// Line, counted from 1.
    pub(crate) line: u64,
    /// What the row says.
    pub(crate) row: R,
}

/// One of the files: its name, its columns and the faults found so far.
pub(crate) struct Table<'f> {
    pub(crate) file: &'static str,
    pub(crate) faults: &'f mut Vec<DataFault>,
}

impl Table<'_> {
    /// Adds a fault.
    pub(crate) fn fault(&mut self, line: u64, what: impl Into<String>) {
        self.faults.push(DataFault { file: self.file, line, what: what.into() });
    }

    /// Reads every row that can be read; the header must have exactly the fields of `R`, in their order, so that no row
    /// needs to look its columns up.
    pub(crate) fn rows<R: DeserializeOwned>(&mut self, text: &str) -> Vec<Row<R>> {
        let columns = columns::<R>();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let headers = match reader.headers() {
            Ok(headers) => headers.clone(),
            Err(error) => {
                self.fault(1, format!("the header cannot be read: {error}"));
                return Vec::new();
            }
        };
        let missing: Vec<&str> = columns.iter().copied().filter(|name| !headers.iter().any(|h| h == *name)).collect();
        let extra: Vec<&str> = headers.iter().filter(|name| !columns.contains(name)).collect();
        if headers != *columns {
            if !missing.is_empty() {
                self.fault(1, format!("the column {} is missing", list(missing.iter().copied(), "and")));
            }
            if !extra.is_empty() {
                self.fault(1, format!("the column {} is not known", list(extra.iter().copied(), "and")));
            }
            if missing.is_empty() && extra.is_empty() {
                self.fault(1, format!("the columns must stand in the order {}", list(columns.iter().copied(), "and")));
            }
            return Vec::new();
        }
        let mut rows = Vec::new();
        for record in reader.records() {
            match record {
                Ok(record) => {
                    let line = record.position().map_or(0, csv::Position::line);
                    match record.deserialize(None) {
                        Ok(row) => rows.push(Row { line, row }),
                        Err(error) => self.fault(line, in_column(&error, &headers)),
                    }
                }
                Err(error) => self.fault(error.position().map_or(0, csv::Position::line), error.to_string()),
            }
        }
        rows
    }

    /// Checks that a figure is finite and in its range.
    pub(crate) fn range(&mut self, line: u64, column: &str, value: f64, range: RangeInclusive<f64>) {
        if !range.contains(&value) {
            let (low, high) = (short(*range.start()), short(*range.end()));
            self.fault(line, format!("{column} is {value}, outside {low} to {high}"));
        }
    }

    /// Faults every row left over because its owner is in no other table.
    fn orphans<R>(&mut self, left: HashMap<String, Vec<Row<R>>>, what: &str, file: &str) {
        let mut rows: Vec<(u64, String)> = left
            .into_iter()
            .flat_map(|(owner, rows)| rows.into_iter().map(move |row| (row.line, owner.clone())))
            .collect();
        rows.sort_unstable();
        for (line, owner) in rows {
            self.fault(line, format!("{what} {} is not in {file}", quote(&owner)));
        }
    }

    /// Checks that a text is not empty.
    pub(crate) fn filled(&mut self, line: u64, column: &str, text: &str) {
        if text.trim().is_empty() {
            self.fault(line, format!("{column} is empty"));
        }
    }
}

/// Says what a row's error is, with the name of the column.
fn in_column(error: &csv::Error, headers: &csv::StringRecord) -> String {
    let csv::ErrorKind::Deserialize { err, .. } = error.kind() else {
        return error.to_string();
    };
    match err.field().and_then(|field| headers.get(usize::try_from(field).ok()?)) {
        Some(column) => format!("{column}: {}", err.kind()),
        None => err.to_string(),
    }
}

#[derive(Deserialize)]
struct SpeciesRow {
    key: String,
    name: String,
    class: String,
    molar_mass_g_mol: f64,
    liquid_class: String,
    fresh_form: String,
    fresh_family: String,
    rested_form: String,
    rested_family: String,
    tempered_form: String,
    tempered_family: String,
    note: String,
}

#[derive(Deserialize)]
struct FormRow {
    species: String,
    form: String,
    melt_c: f64,
    melt_sd_c: f64,
    melt_status: Status,
    heat_kj_mol: f64,
    heat_sd_kj_mol: f64,
    heat_status: Status,
    source: String,
    note: String,
}

#[derive(Deserialize)]
struct IngredientRow {
    key: String,
    common_name: String,
    inci_name: String,
    synonyms: String,
    kind: IngredientKind,
    nut_origin: NutOrigin,
    origin: Origin,
    animal_origin: AnimalOrigin,
    sensitiser: Option<String>,
    melt_low_c: f64,
    melt_high_c: f64,
    melt_test: String,
    melt_status: Status,
    melt_source: String,
    density_g_ml: f64,
    density_at_c: f64,
    density_status: Status,
    density_source: String,
    needle_dmm_25c: Option<f64>,
    needle_status: Option<Status>,
    needle_source: Option<String>,
    relative_firmness: f64,
    relative_firmness_status: Status,
    relative_firmness_source: String,
    note: String,
}

#[derive(Deserialize)]
struct CompositionRow {
    ingredient: String,
    species: String,
    percent: f64,
    sd_percent: f64,
    status: Status,
    source: String,
    note: String,
}

#[derive(Deserialize)]
struct KeepingRow {
    ingredient: String,
    induction_h: f64,
    at_c: f64,
    ln_sd: f64,
    status: Status,
    source: String,
    note: String,
}

#[derive(Deserialize)]
struct PowderRow {
    ingredient: String,
    diameter_um: f64,
    diameter_ln_sd: f64,
    max_packing: f64,
    max_packing_sd: f64,
    status: Status,
    source: String,
    note: String,
}

#[derive(Deserialize)]
struct ViscosityRow {
    ingredient: String,
    temperature_c: f64,
    viscosity: f64,
    unit: ViscosityUnit,
    ln_sd: f64,
    status: Status,
    source: String,
    note: String,
}

#[derive(Deserialize)]
struct InciPartRow {
    ingredient: String,
    inci_name: String,
    percent: f64,
    low_percent: f64,
    high_percent: f64,
    status: Status,
    source: String,
    note: String,
}

#[derive(Deserialize)]
struct LabelNameRow {
    inci_name: String,
    eu_name: String,
    us_name: String,
    status: Status,
    source: String,
    note: String,
}

/// Reads and checks the species with their crystal forms.
pub(crate) fn read_species(species: &str, forms: &str, faults: &mut Vec<DataFault>) -> Vec<Species> {
    let mut table = Table { file: "species_forms.csv", faults };
    let mut forms_of: HashMap<String, Vec<Row<CrystalForm>>> = HashMap::new();
    for Row { line, row } in table.rows::<FormRow>(forms) {
        table.filled(line, "form", &row.form);
        table.filled(line, "source", &row.source);
        table.range(line, "melt_c", row.melt_c, MELT_C);
        table.range(line, "melt_sd_c", row.melt_sd_c, SD);
        table.range(line, "heat_kj_mol", row.heat_kj_mol, HEAT_KJ_MOL);
        table.range(line, "heat_sd_kj_mol", row.heat_sd_kj_mol, SD);
        let known = forms_of.entry(row.species.clone()).or_default();
        if let Some(earlier) = known.iter().find(|earlier| earlier.row.form == row.form) {
            let (form, species) = (quote(&row.form), quote(&row.species));
            table.fault(line, format!("the form {form} of {species} stands on line {} already", earlier.line));
        }
        let form = CrystalForm {
            form: row.form,
            melt_c: row.melt_c,
            melt_sd_c: row.melt_sd_c,
            melt_status: row.melt_status,
            heat_kj_mol: row.heat_kj_mol,
            heat_sd_kj_mol: row.heat_sd_kj_mol,
            heat_status: row.heat_status,
            source: row.source,
            note: row.note,
        };
        known.push(Row { line, row: form });
    }

    let mut table = Table { file: "species.csv", faults };
    let mut lines: HashMap<String, u64> = HashMap::new();
    let mut read = Vec::new();
    for Row { line, row } in table.rows::<SpeciesRow>(species) {
        for (column, text) in
            [("key", &row.key), ("name", &row.name), ("class", &row.class), ("liquid_class", &row.liquid_class)]
        {
            table.filled(line, column, text);
        }
        table.range(line, "molar_mass_g_mol", row.molar_mass_g_mol, MOLAR_MASS_G_MOL);
        if let Some(earlier) = lines.insert(row.key.clone(), line) {
            table.fault(line, format!("the key {} stands on line {earlier} already", quote(&row.key)));
        }
        let forms: Vec<CrystalForm> =
            forms_of.remove(&row.key).unwrap_or_default().into_iter().map(|form| form.row).collect();
        let mut reference = |state: &str, form: &str, family: &str| {
            if form.is_empty() && family.is_empty() {
                return None;
            }
            let index = forms.iter().position(|known| known.form == form);
            if form.is_empty() || family.is_empty() {
                table.fault(line, format!("{state}_form and {state}_family must both be filled or both be empty"));
            } else if index.is_none() {
                table.fault(line, format!("{state}_form {} has no row in species_forms.csv", quote(form)));
            }
            index.map(|form| FormRef { form, family: family.to_owned() })
        };
        let fresh = reference("fresh", &row.fresh_form, &row.fresh_family);
        let rested = reference("rested", &row.rested_form, &row.rested_family);
        let tempered = reference("tempered", &row.tempered_form, &row.tempered_family);
        let states = [&row.fresh_form, &row.rested_form, &row.tempered_form];
        if states.iter().any(|form| form.is_empty()) && states.iter().any(|form| !form.is_empty()) {
            table
                .fault(line, "a species crystallises in every state or in none, but only some form columns are filled");
        }
        let melt_c = |reference: &Option<FormRef>| Some(forms.get(reference.as_ref()?.form)?.melt_c);
        if let (Some(fresh_c), Some(rested_c)) = (melt_c(&fresh), melt_c(&rested))
            && rested_c < fresh_c
        {
            table.fault(line, format!("the rested form melts at {rested_c} °C, below the fresh form at {fresh_c} °C"));
        }
        read.push(Species {
            key: row.key,
            name: row.name,
            class: row.class,
            molar_mass_g_mol: row.molar_mass_g_mol,
            liquid_class: row.liquid_class,
            forms,
            fresh,
            rested,
            tempered,
            note: row.note,
        });
    }
    let mut table = Table { file: "species_forms.csv", faults };
    table.orphans(forms_of, "the species", "species.csv");
    read
}

/// Reads and checks the ingredients with their compositions; `species_of` maps species keys to indices.
pub(crate) fn read_ingredients(
    ingredients: &str,
    compositions: &str,
    species_of: &HashMap<String, usize>,
    faults: &mut Vec<DataFault>,
) -> Vec<Row<Ingredient>> {
    let mut table = Table { file: "compositions.csv", faults };
    let mut made_of: HashMap<String, Vec<Row<Component>>> = HashMap::new();
    for Row { line, row } in table.rows::<CompositionRow>(compositions) {
        table.filled(line, "source", &row.source);
        table.range(line, "sd_percent", row.sd_percent, SD);
        if !(row.percent > 0.0 && row.percent <= 100.0) {
            table.fault(line, format!("percent is {}, not above 0 and up to 100", row.percent));
        }
        let Some(species) = species_of.get(&row.species).copied() else {
            table.fault(line, format!("the species {} is not in species.csv", quote(&row.species)));
            continue;
        };
        let known = made_of.entry(row.ingredient.clone()).or_default();
        if let Some(earlier) = known.iter().find(|earlier| earlier.row.species == species) {
            let (species, ingredient) = (quote(&row.species), quote(&row.ingredient));
            table.fault(line, format!("{species} in {ingredient} stands on line {} already", earlier.line));
        }
        let component = Component {
            species,
            percent: row.percent,
            sd_percent: row.sd_percent,
            status: row.status,
            source: row.source,
            note: row.note,
        };
        known.push(Row { line, row: component });
    }

    let mut table = Table { file: "ingredients.csv", faults };
    let mut lines: HashMap<String, u64> = HashMap::new();
    let mut read = Vec::new();
    for Row { line, row } in table.rows::<IngredientRow>(ingredients) {
        check_ingredient(&mut table, line, &row);
        if let Some(earlier) = lines.insert(row.key.clone(), line) {
            table.fault(line, format!("the key {} stands on line {earlier} already", quote(&row.key)));
        }
        let composition: Vec<Component> =
            made_of.remove(&row.key).unwrap_or_default().into_iter().map(|component| component.row).collect();
        let total: f64 = composition.iter().map(|component| component.percent).sum();
        let closes = match row.kind {
            IngredientKind::Powder => composition.is_empty(),
            _ => (total - 100.0).abs() <= CLOSURE_PERCENT,
        };
        if !closes && row.kind == IngredientKind::Powder {
            table.fault(line, format!("{} is a powder and has a composition", quote(&row.key)));
        } else if !closes {
            table.fault(line, format!("the composition of {} sums to {total:.3} %, not 100", quote(&row.key)));
        }
        read.push(Row { line, row: ingredient(row, composition) });
    }
    let mut table = Table { file: "compositions.csv", faults };
    table.orphans(made_of, "the ingredient", "ingredients.csv");
    read
}

/// Reads and checks the grains of the powders and gives each powder its own.
pub(crate) fn add_powders(powders: &str, ingredients: &mut [Row<Ingredient>], faults: &mut Vec<DataFault>) {
    let mut table = Table { file: "powders.csv", faults };
    let mut powder_of: HashMap<String, Row<Powder>> = HashMap::new();
    for Row { line, row } in table.rows::<PowderRow>(powders) {
        table.filled(line, "source", &row.source);
        table.range(line, "diameter_um", row.diameter_um, DIAMETER_UM);
        table.range(line, "diameter_ln_sd", row.diameter_ln_sd, DIAMETER_LN_SD);
        table.range(line, "max_packing", row.max_packing, MAX_PACKING);
        table.range(line, "max_packing_sd", row.max_packing_sd, MAX_PACKING_SD);
        let PowderRow { diameter_um, diameter_ln_sd, max_packing, max_packing_sd, status, source, note, .. } = row;
        let powder = Powder { diameter_um, diameter_ln_sd, max_packing, max_packing_sd, status, source, note };
        let name = quote(&row.ingredient);
        if let Some(earlier) = powder_of.insert(row.ingredient, Row { line, row: powder }) {
            table.fault(line, format!("the powder {name} stands on line {} already", earlier.line));
        }
    }
    for entry in ingredients.iter_mut() {
        let powder = powder_of.remove(&entry.row.key);
        if powder.is_some() != (entry.row.kind == IngredientKind::Powder) {
            let what =
                format!("{} has a row in powders.csv where it is a powder, and else none", quote(&entry.row.key));
            table.faults.push(DataFault { file: "ingredients.csv", line: entry.line, what });
        }
        entry.row.powder = powder.map(|powder| powder.row);
    }
    let left = powder_of.into_iter().map(|(owner, row)| (owner, vec![row])).collect();
    table.orphans(left, "the ingredient", "ingredients.csv");
}

/// Reads and checks the induction times and gives each fat its own.
pub(crate) fn add_keeping(keeping: &str, ingredients: &mut [Row<Ingredient>], faults: &mut Vec<DataFault>) {
    let mut table = Table { file: "keeping.csv", faults };
    let mut induction_of: HashMap<String, Row<Induction>> = HashMap::new();
    for Row { line, row } in table.rows::<KeepingRow>(keeping) {
        table.filled(line, "source", &row.source);
        table.range(line, "induction_h", row.induction_h, INDUCTION_H);
        table.range(line, "at_c", row.at_c, INDUCTION_AT_C);
        table.range(line, "ln_sd", row.ln_sd, INDUCTION_LN_SD);
        let KeepingRow { ingredient, induction_h: hours, at_c, ln_sd, status, source, note } = row;
        let (name, induction) = (quote(&ingredient), Induction { hours, at_c, ln_sd, status, source, note });
        if let Some(earlier) = induction_of.insert(ingredient, Row { line, row: induction }) {
            table.fault(line, format!("the induction time of {name} stands on line {} already", earlier.line));
        }
    }
    for entry in ingredients.iter_mut() {
        entry.row.induction = induction_of.remove(&entry.row.key).map(|induction| induction.row);
    }
    let left = induction_of.into_iter().map(|(owner, row)| (owner, vec![row])).collect();
    table.orphans(left, "the ingredient", "ingredients.csv");
}

/// Reads and checks the viscosities and gives each ingredient its own, or those of its kind.
pub(crate) fn add_viscosity(viscosity: &str, ingredients: &mut [Row<Ingredient>], faults: &mut Vec<DataFault>) {
    let mut table = Table { file: "viscosity.csv", faults };
    let mut points_of: HashMap<String, Vec<Row<ViscosityPoint>>> = HashMap::new();
    for Row { line, row } in table.rows::<ViscosityRow>(viscosity) {
        table.filled(line, "source", &row.source);
        table.range(line, "temperature_c", row.temperature_c, VISCOSITY_AT_C);
        table.range(line, "viscosity", row.viscosity, VISCOSITY);
        table.range(line, "ln_sd", row.ln_sd, VISCOSITY_LN_SD);
        let point = ViscosityPoint {
            temperature_c: row.temperature_c,
            viscosity: row.viscosity,
            unit: row.unit,
            ln_sd: row.ln_sd,
            status: row.status,
            source: row.source,
            of_kind: row.ingredient.starts_with(OF_KIND),
            note: row.note,
        };
        points_of.entry(row.ingredient).or_default().push(Row { line, row: point });
    }
    let mut unspanned: Vec<(u64, String)> = Vec::new();
    for (owner, points) in &points_of {
        let (low_c, high_c) = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), point| {
            (low.min(point.row.temperature_c), high.max(point.row.temperature_c))
        });
        if high_c - low_c < SMALLEST_SPAN_K {
            let line = points.iter().map(|point| point.line).min().unwrap_or(0);
            let what = format!("{} has no two temperatures {} K apart", quote(owner), short(SMALLEST_SPAN_K));
            unspanned.push((line, what));
        }
    }
    unspanned.sort_unstable();
    for (line, what) in unspanned {
        table.fault(line, what);
    }

    let mut of_kinds: HashMap<IngredientKind, Vec<ViscosityPoint>> = HashMap::new();
    points_of.retain(|owner, points| {
        let kind = owner.strip_prefix(OF_KIND).and_then(kind_named);
        if let Some(kind) = kind {
            of_kinds.insert(kind, points.drain(..).map(|point| point.row).collect());
        }
        kind.is_none()
    });
    let mut without: Vec<(u64, String)> = Vec::new();
    for Row { line, row: ingredient } in ingredients.iter_mut() {
        if ingredient.kind == IngredientKind::Powder {
            continue;
        }
        if let Some(own) = points_of.remove(&ingredient.key) {
            ingredient.viscosity = own.into_iter().map(|point| point.row).collect();
        } else if let Some(of_kind) = of_kinds.get(&ingredient.kind) {
            ingredient.viscosity.clone_from(of_kind);
        } else {
            without.push((*line, format!("{} has no viscosity, nor has its kind", quote(&ingredient.key))));
        }
    }
    table.orphans(points_of, "the ingredient or kind", "ingredients.csv");
    let mut table = Table { file: "ingredients.csv", faults };
    for (line, what) in without {
        table.fault(line, what);
    }
}

/// Reads and checks what blends are declared by and gives each ingredient its own.
pub(crate) fn add_inci_parts(inci_parts: &str, ingredients: &mut [Row<Ingredient>], faults: &mut Vec<DataFault>) {
    let mut table = Table { file: "inci_parts.csv", faults };
    let mut parts_of: HashMap<String, Vec<Row<InciPart>>> = HashMap::new();
    for Row { line, row } in table.rows::<InciPartRow>(inci_parts) {
        table.filled(line, "inci_name", &row.inci_name);
        table.filled(line, "source", &row.source);
        for (column, percent) in
            [("percent", row.percent), ("low_percent", row.low_percent), ("high_percent", row.high_percent)]
        {
            table.range(line, column, percent, PERCENT);
        }
        if !(row.low_percent <= row.percent && row.percent <= row.high_percent) {
            let (low, high) = (row.low_percent, row.high_percent);
            table.fault(line, format!("percent is {}, outside its own range of {low} to {high}", row.percent));
        }
        let part = InciPart {
            inci_name: row.inci_name,
            percent: row.percent,
            low_percent: row.low_percent,
            high_percent: row.high_percent,
            status: row.status,
            source: row.source,
            note: row.note,
        };
        parts_of.entry(row.ingredient).or_default().push(Row { line, row: part });
    }
    let mut wrong: Vec<(u64, String)> = Vec::new();
    for Row { line, row: ingredient } in ingredients.iter_mut() {
        let key = quote(&ingredient.key);
        let parts: Vec<InciPart> =
            parts_of.remove(&ingredient.key).unwrap_or_default().into_iter().map(|part| part.row).collect();
        let total: f64 = parts.iter().map(|part| part.percent).sum();
        let named = parts.iter().map(|part| part.inci_name.as_str()).collect::<Vec<_>>().join(AND);
        if parts.is_empty() {
            if ingredient.inci_name.contains(AND) {
                wrong.push((*line, format!("{key} is declared as a blend and has no rows in inci_parts.csv")));
            }
        } else if named != ingredient.inci_name {
            wrong.push((
                *line,
                format!("{key} is declared as {}, its parts as {}", quote(&ingredient.inci_name), quote(&named)),
            ));
        } else if (total - 100.0).abs() > CLOSURE_PERCENT {
            wrong.push((*line, format!("the declared parts of {key} sum to {total:.3} %, not 100")));
        }
        ingredient.inci_parts = parts;
    }
    table.orphans(parts_of, "the ingredient", "ingredients.csv");
    let mut table = Table { file: "ingredients.csv", faults };
    for (line, what) in wrong {
        table.fault(line, what);
    }
}

/// Reads and checks the names on labels.
pub(crate) fn read_label_names(label_names: &str, faults: &mut Vec<DataFault>) -> Vec<LabelName> {
    let mut table = Table { file: "label_names.csv", faults };
    let mut lines: HashMap<String, u64> = HashMap::new();
    let mut read = Vec::new();
    for Row { line, row } in table.rows::<LabelNameRow>(label_names) {
        for (column, text) in [
            ("inci_name", &row.inci_name),
            ("eu_name", &row.eu_name),
            ("us_name", &row.us_name),
            ("source", &row.source),
        ] {
            table.filled(line, column, text);
        }
        if let Some(earlier) = lines.insert(row.inci_name.clone(), line) {
            table.fault(line, format!("the name {} stands on line {earlier} already", quote(&row.inci_name)));
        }
        read.push(LabelName {
            inci_name: row.inci_name,
            eu_name: row.eu_name,
            us_name: row.us_name,
            status: row.status,
            source: row.source,
            note: row.note,
        });
    }
    read
}

/// The kind with this word of the tables.
pub(crate) fn kind_named(word: &str) -> Option<IngredientKind> {
    let word: StrDeserializer<'_, WordError> = word.into_deserializer();
    IngredientKind::deserialize(word).ok()
}

/// Checks the figures and words of one ingredient.
fn check_ingredient(table: &mut Table<'_>, line: u64, row: &IngredientRow) {
    for (column, text) in [
        ("common_name", &row.common_name),
        ("inci_name", &row.inci_name),
        ("melt_test", &row.melt_test),
        ("melt_source", &row.melt_source),
        ("density_source", &row.density_source),
        ("relative_firmness_source", &row.relative_firmness_source),
    ] {
        table.filled(line, column, text);
    }
    if row.key.is_empty() || !row.key.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-') {
        table.fault(line, format!("the key {} is not small letters, digits and hyphens", quote(&row.key)));
    }
    let (melt_c, density_g_ml) = match row.kind {
        IngredientKind::Powder => (GRAIN_MELT_C, GRAIN_DENSITY_G_ML),
        _ => (MELT_C, DENSITY_G_ML),
    };
    table.range(line, "melt_low_c", row.melt_low_c, melt_c.clone());
    table.range(line, "melt_high_c", row.melt_high_c, melt_c);
    table.range(line, "density_g_ml", row.density_g_ml, density_g_ml);
    table.range(line, "density_at_c", row.density_at_c, DENSITY_AT_C);
    table.range(line, "relative_firmness", row.relative_firmness, RELATIVE_FIRMNESS);
    if row.melt_low_c > row.melt_high_c {
        table.fault(line, format!("melt_low_c {} is above melt_high_c {}", row.melt_low_c, row.melt_high_c));
    }
    if (row.origin == Origin::Animal) != (row.animal_origin == AnimalOrigin::Yes) {
        table.fault(line, "origin is animal where animal_origin is yes, and nowhere else");
    }
    if let Some(needle_dmm) = row.needle_dmm_25c {
        table.range(line, "needle_dmm_25c", needle_dmm, NEEDLE_DMM);
        if row.needle_status.is_none() || row.needle_source.is_none() {
            table.fault(line, "needle_dmm_25c has no needle_status or no needle_source");
        }
    }
}

/// Turns a row into an ingredient.
fn ingredient(row: IngredientRow, composition: Vec<Component>) -> Ingredient {
    let synonyms = row.synonyms.split(';').map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned).collect();
    Ingredient {
        key: row.key,
        common_name: row.common_name,
        inci_name: row.inci_name,
        inci_parts: Vec::new(),
        synonyms,
        kind: row.kind,
        nut_origin: row.nut_origin,
        origin: row.origin,
        animal_origin: row.animal_origin,
        sensitiser: row.sensitiser,
        melt_low_c: row.melt_low_c,
        melt_high_c: row.melt_high_c,
        melt_test: row.melt_test,
        melt_status: row.melt_status,
        melt_source: row.melt_source,
        density_g_ml: row.density_g_ml,
        density_at_c: row.density_at_c,
        density_status: row.density_status,
        density_source: row.density_source,
        needle_dmm_25c: row.needle_dmm_25c,
        needle_status: row.needle_status,
        needle_source: row.needle_source,
        relative_firmness: row.relative_firmness,
        relative_firmness_status: row.relative_firmness_status,
        relative_firmness_source: row.relative_firmness_source,
        composition,
        powder: None,
        induction: None,
        viscosity: Vec::new(),
        price_per_kg: None,
        lot_of: None,
        stands_alone: false,
        lot_melt_c: None,
        lot_needle_dmm: None,
        lot_flash_c: None,
        lot_nut_origin: None,
        lot_limit_percent: None,
        lot_allergens: Vec::new(),
        lot_best_before: None,
        note: row.note,
    }
}

#[cfg(test)]
mod tests {
    use crate::sample::{
        COMPOSITIONS, FORMS, INCI_PARTS, INGREDIENTS, KEEPING, LABEL_NAMES, POWDERS, SPECIES, TEXTS, VISCOSITY, library,
    };
    use crate::{Library, TableTexts, ViscosityUnit};

    /// The faults after replacing one piece of one table.
    fn faults(file: usize, from: &str, to: &str) -> Vec<String> {
        let mut tables =
            [SPECIES, FORMS, INGREDIENTS, COMPOSITIONS, VISCOSITY, INCI_PARTS, LABEL_NAMES, POWDERS, KEEPING]
                .map(str::to_owned);
        assert!(tables[file].contains(from), "{from}");
        tables[file] = tables[file].replacen(from, to, 1);
        let [species, forms, ingredients, compositions, viscosity, inci_parts, label_names, powders, keeping] = &tables;
        let texts = TableTexts {
            species,
            forms,
            ingredients,
            compositions,
            powders,
            keeping,
            viscosity,
            inci_parts,
            label_names,
        };
        Library::from_tables(&texts).err().unwrap_or_default().iter().map(ToString::to_string).collect()
    }

    #[test]
    fn sound_tables_have_no_faults() {
        assert!(faults(0, "POP", "POP").is_empty());
    }

    #[test]
    fn limits_themselves_are_taken() {
        for (file, from, to) in [(2, "62,65", "65,65"), (4, "80,17", "95,17"), (0, "833.4", "50"), (0, "833.4", "3000")]
        {
            assert_eq!(faults(file, from, to), [""; 0], "{to}");
        }
    }

    #[test]
    fn a_wrong_header_is_told_once_each_way() {
        let of = |what: &str| format!("species.csv, line 1: the column {what}");
        assert_eq!(
            faults(0, "liquid_class", "liquid")[..2],
            [of("`liquid_class` is missing"), of("`liquid` is not known")]
        );
        let told = |from: &str, to: &str| {
            let faults = faults(0, from, to);
            faults.into_iter().filter(|fault| fault.starts_with("species.csv, line 1:")).collect::<Vec<_>>()
        };
        assert_eq!(told("key,name", "key,name,extra"), [of("`extra` is not known")]);
        assert_eq!(told("key,name,", "key,"), [of("`name` is missing")]);
        let order = told("key,name", "name,key");
        assert!(order.len() == 1 && order[0].contains("must stand in the order `key`, `name`"), "{order:?}");
    }

    #[test]
    #[rustfmt::skip]
    fn each_fault_names_file_and_line() {
        for (file, from, to, fault) in [
            (0, "liquid_class", "liquid", "species.csv, line 1: the column `liquid_class` is missing"),
            (3, "percent,sd_percent", "sd_percent,percent", "compositions.csv, line 1: the columns must stand in the order"),
            (0, "833.4", "49", "species.csv, line 2: molar_mass_g_mol is 49, outside 50 to 3000"),
            (0, "833.4", "NaN", "species.csv, line 2: molar_mass_g_mol is NaN, outside 50 to 3000"),
            (0, "833.4", "x", "species.csv, line 2: molar_mass_g_mol: invalid float literal"),
            (0, "alpha,fat", "gamma,fat", "species.csv, line 2: fresh_form `gamma` has no row in species_forms.csv"),
            (0, "alpha,fat", "alpha,", "species.csv, line 2: fresh_form and fresh_family must both be filled or both be empty"),
            (0, "alpha,fat", ",", "species.csv, line 2: a species crystallises in every state or in none"),
            (0, "alpha,fat,beta", "beta,fat,alpha", "species.csv, line 2: the rested form melts at 16 °C, below the fresh form"),
            (0, "POS,", "POP,", "species.csv, line 3: the key `POP` stands on line 2 already"),
            (0, ",liquid,880", ",,880", "species.csv, line 4: class is empty"),
            (1, "alpha,16", "alpha,-151", "species_forms.csv, line 2: melt_c is -151, outside -150 to 250"),
            (1, "read,140", "read,501", "species_forms.csv, line 3: heat_kj_mol is 501, outside 1 to 500"),
            (1, "37,0.5", "37,-0.5", "species_forms.csv, line 3: melt_sd_c is -0.5, outside 0 to 100"),
            (1, "POP,alpha", "PPP,alpha", "species_forms.csv, line 2: the species `PPP` is not in species.csv"),
            (1, "POP,alpha", "POP,beta", "species_forms.csv, line 3: the form `beta` of `POP` stands on line 2 already"),
            (1, "recalled", "guessed", "species_forms.csv, line 2: unknown variant `guessed`"),
            (1, "s1,\n", "s1\n", "species_forms.csv, line 2"),
            (2, "0.96", "1.3", "ingredients.csv, line 2: density_g_ml is 1.3, outside 0.7 to 1.2"),
            (2, "62,65", "66,65", "ingredients.csv, line 2: melt_low_c 66 is above melt_high_c 65"),
            (2, "20,recalled", "20,", "ingredients.csv, line 2: needle_dmm_25c has no needle_status or no needle_source"),
            (2, "plain-wax", "Plain wax", "ingredients.csv, line 3: the key `Plain wax` is not small letters, digits and hyphens"),
            (2, "hard-wax", "plain-wax", "ingredients.csv, line 4: the key `plain-wax` stands on line 3 already"),
            (3, "POP,60", "POP,59.98", "ingredients.csv, line 2: the composition of `beeswax` sums to 99.980 %, not 100"),
            (3, "POP,60", "POP,0", "compositions.csv, line 2: percent is 0, not above 0 and up to 100"),
            (3, "POP,60", "OOO,60", "compositions.csv, line 2: the species `OOO` is not in species.csv"),
            (3, "beeswax,POS", "beeswax,POP", "compositions.csv, line 3: `POP` in `beeswax` stands on line 2 already"),
            (3, "castor-oil", "castor", "compositions.csv, line 6: the ingredient `castor` is not in ingredients.csv"),
            (4, "ln_sd", "sd", "viscosity.csv, line 1: the column `ln_sd` is missing"),
            (4, "80,17", "-80,17", "viscosity.csv, line 2: temperature_c is -80, outside -20 to 200"),
            (4, "80,17", "80,0.1", "viscosity.csv, line 2: viscosity is 0.1, outside 0.5 to 100000"),
            (4, "80,17", "80,nan", "viscosity.csv, line 2: viscosity is NaN, outside 0.5 to 100000"),
            (4, "0.2", "-0.2", "viscosity.csv, line 2: ln_sd is -0.2, outside 0 to 2"),
            (4, "recalled,s1", "recalled,", "viscosity.csv, line 2: source is empty"),
            (4, "dynamic", "poise", "viscosity.csv, line 2: unknown variant `poise`"),
            (4, "80,17", "97,17", "viscosity.csv, line 2: `beeswax` has no two temperatures 5 K apart"),
            (4, "castor-oil", "castor", "viscosity.csv, line 4: the ingredient or kind `castor` is not in ingredients.csv"),
            (4, "kind:wax", "kind:rock", "viscosity.csv, line 6: the ingredient or kind `kind:rock` is not in ingredients.csv"),
            (4, "kind:wax,90,14,dynamic,0.5,estimated,s1,\nkind:wax,110,8.5,dynamic,0.5,estimated,s1,\n", "",
             "ingredients.csv, line 3: `plain-wax` has no viscosity, nor has its kind"),
            (2, "animal,yes", "animal,no", "ingredients.csv, line 2: origin is animal where animal_origin is yes, and nowhere else"),
            (2, "plant,possible", "plant,yes", "ingredients.csv, line 5: origin is animal where animal_origin is yes, and nowhere else"),
            (5, "99,95", "98,95", "ingredients.csv, line 5: the declared parts of `castor-oil` sum to 99.000 %, not 100"),
            (5, "99,95", "94,95", "inci_parts.csv, line 2: percent is 94, outside its own range of 95 to 99.5"),
            (5, "Tocopherol", "Vitamin", "ingredients.csv, line 5: `castor-oil` is declared as `Ricinus Communis Seed Oil (and) Tocopherol`, its parts as"),
            (5, "castor-oil,T", "castor,T", "inci_parts.csv, line 3: the ingredient `castor` is not in ingredients.csv"),
            (2, "Cera Flava", "Cera Flava (and) Honey", "ingredients.csv, line 2: `beeswax` is declared as a blend and has no rows in inci_parts.csv"),
            (7, "white-clay", "black-clay", "powders.csv, line 2: the ingredient `black-clay` is not in ingredients.csv"),
            (7, "white-clay", "black-clay", "ingredients.csv, line 6: `white-clay` has a row in powders.csv where it is a powder"),
            (7, "white-clay", "beeswax", "ingredients.csv, line 2: `beeswax` has a row in powders.csv where it is a powder"),
            (7, ",3,", ",3000,", "powders.csv, line 2: diameter_um is 3000, outside 0.01 to 2000"),
            (7, "0.45", "0.9", "powders.csv, line 2: max_packing is 0.9, outside 0.1 to 0.8"),
            (7, "s1,\n", "s1,\nwhite-clay,3,0.6,0.4,0,read,s1,\n", "powders.csv, line 3: the powder `white-clay` stands on line 2 already"),
            (8, "castor-oil", "castor", "keeping.csv, line 2: the ingredient `castor` is not in ingredients.csv"),
            (8, ",50,", ",0,", "keeping.csv, line 2: induction_h is 0, outside 0.1 to 1000"),
            (8, ",110,", ",20,", "keeping.csv, line 2: at_c is 20, outside 60 to 160"),
            (8, "s1,\n", "s1,\ncastor-oil,9,110,0.4,read,s1,\n", "keeping.csv, line 3: the induction time of `castor-oil` stands on line 2 already"),
            (2, ",2.6,", ",9,", "ingredients.csv, line 6: density_g_ml is 9, outside 0.7 to 8"),
            (2, "450,450", "450,5000", "ingredients.csv, line 6: melt_high_c is 5000, outside 40 to 4000"),
            (3, "castor-oil", "white-clay", "ingredients.csv, line 6: `white-clay` is a powder and has a composition"),
            (6, "Beeswax", "", "label_names.csv, line 2: us_name is empty"),
            (6, "recalled,s1,\n", "recalled,s1,\nCera Flava,a,b,read,s1,\n", "label_names.csv, line 3: the name `Cera Flava` stands on line 2 already"),
        ] {
            let faults = faults(file, from, to);
            assert!(faults.iter().any(|seen| seen.starts_with(fault)), "{fault}: {faults:?}");
        }
    }

    #[test]
    fn faults_of_all_tables_come_at_once() {
        let species = SPECIES.replace("833.4", "1");
        let forms = FORMS.replace("alpha,16", "alpha,999");
        let ingredients = INGREDIENTS.replacen("0.96", "9", 1);
        let compositions = COMPOSITIONS.replace("POP,60", "POP,61");
        let texts = TableTexts {
            species: &species,
            forms: &forms,
            ingredients: &ingredients,
            compositions: &compositions,
            ..TEXTS
        };
        let faults = Library::from_tables(&texts).err().unwrap_or_default();
        let files: Vec<&str> = faults.iter().map(|fault| fault.file).collect();
        let expected = ["species_forms.csv", "species.csv", "species.csv", "ingredients.csv", "ingredients.csv"];
        assert_eq!(files, expected, "{faults:?}");
    }

    #[test]
    fn an_ingredient_has_its_own_viscosity_or_that_of_its_kind_and_a_lot_that_of_its_parent() {
        let (library, _) = library().with_lots("[lot.a]\nlike='castor-oil'").unwrap_or_default();
        let of = |key: &str| library.ingredient(key).map_or(Vec::new(), |ingredient| ingredient.viscosity.clone());
        assert_eq!(of("beeswax").iter().map(|point| point.viscosity).collect::<Vec<_>>(), [17.0, 9.5]);
        assert!(of("beeswax").iter().all(|point| !point.of_kind && point.unit == ViscosityUnit::Dynamic));
        assert_eq!(of("plain-wax").iter().map(|point| point.temperature_c).collect::<Vec<_>>(), [90.0, 110.0]);
        assert!(of("plain-wax").iter().all(|point| point.of_kind));
        assert_eq!(of("a"), of("castor-oil"));
        assert_eq!(of("a").len(), 2);
    }
}
