//! Between the records, which know no model, and the model: formulas, deliveries, bench tests.

use barwright_answer::words::names;
use barwright_answer::words::number::amount;
use barwright_blend::certificate::fit_lots;
use barwright_records::{
    Figures, Kept, Lot, MAX_NAME_BYTES, PouredFormula, PouredPart, RecordsError, Store, TrialKind,
};
use barwright_reference::lots::LOT_SOURCE;
use barwright_reference::{Formula, Ingredient, IngredientId, Library, Part, Status};
use barwright_trials::Test;
use serde_json::Value;

use crate::error::CliError;
use crate::output::Streams;
use crate::today::today;
use barwright_answer::engine::builtin_model;
use barwright_answer::words::visible::visible;

/// Difference of a share below which two formulas are the same, mass %.
const SAME_PERCENT: f64 = 1e-6;

/// Bytes kept free at the end of a name for what tells it from others.
const NAME_ROOM_BYTES: usize = 12;

/// Key of the figures of a trial that says how the bar was made.
const TEMPERED: &str = "tempered";

/// Returns a formula as the records keep it, under the name given.
fn poured(library: &Library, formula: &Formula, name: String) -> PouredFormula {
    let parts = formula.parts.iter().filter_map(|part| {
        let ingredient = library.get(part.ingredient)?.key.clone();
        Some(PouredPart { ingredient, percent: part.percent })
    });
    PouredFormula { name, parts: parts.collect(), note: None }
}

/// Returns a formula of the records as the model takes it.
///
/// # Errors
/// The ingredients that are none.
pub fn formula_of(library: &Library, kept: &PouredFormula) -> Result<Formula, Vec<String>> {
    let mut unknown = Vec::new();
    let mut parts = Vec::with_capacity(kept.parts.len());
    for part in &kept.parts {
        match library.id_of(&part.ingredient) {
            Some(ingredient) => parts.push(Part { ingredient, percent: part.percent }),
            None => unknown.push(part.ingredient.clone()),
        }
    }
    if unknown.is_empty() { Ok(Formula { name: kept.name.clone(), parts }) } else { Err(unknown) }
}

/// Keeps a formula unless it is kept already, and returns its name in the records, which is another where the name is that of
/// another formula.
///
/// # Arguments
/// * `nameless`: nobody gave it a name; its parts are its name then.
pub fn keep_formula(
    store: &mut Store,
    library: &Library,
    formula: &Formula,
    nameless: bool,
) -> Result<String, CliError> {
    let mut wanted = poured(library, formula, String::new());
    let own = if nameless { parts_in_words(&wanted) } else { visible(formula.name.trim()) };
    let own = cut(&own, MAX_NAME_BYTES - NAME_ROOM_BYTES);
    let mut count = 1;
    loop {
        wanted.name = if count == 1 { own.to_owned() } else { format!("{own} ({count})") };
        match store.formula(&wanted.name) {
            Ok(kept) if same(&kept, &wanted) => return Ok(wanted.name),
            Ok(_) => count += 1,
            Err(RecordsError::Unknown { .. }) => match store.add_formula(&wanted) {
                Ok(()) => return Ok(wanted.name),
                // Another command was faster: look again.
                Err(RecordsError::AlreadyThere { .. }) => {}
                Err(error) => return Err(error.into()),
            },
            Err(error) => return Err(error.into()),
        }
    }
}

/// The parts of a formula in words, as its name.
fn parts_in_words(formula: &PouredFormula) -> String {
    let parts = formula.parts.iter().map(|part| format!("{} {}", part.ingredient, amount(part.percent)));
    parts.collect::<Vec<_>>().join(", ")
}

/// Cuts a text to so many bytes, between two letters.
fn cut(text: &str, most: usize) -> &str {
    let end = (0..=most.min(text.len())).rev().find(|end| text.is_char_boundary(*end)).unwrap_or(0);
    text.get(..end).unwrap_or("").trim_end()
}

/// Whether two formulas have the same parts, in any order.
fn same(one: &PouredFormula, other: &PouredFormula) -> bool {
    one.parts.len() == other.parts.len()
        && one.parts.iter().all(|part| {
            other
                .parts
                .iter()
                .any(|its| its.ingredient == part.ingredient && (its.percent - part.percent).abs() <= SAME_PERCENT)
        })
}

/// Keeps the deliveries that a formula names, with a note on those that the records hold with other figures, which stay.
pub fn keep_lots(
    store: &mut Store,
    library: &Library,
    formula: &Formula,
    scents: &[IngredientId],
    streams: &mut Streams<'_>,
) -> Result<(), CliError> {
    for part in &formula.parts {
        let Some(one) = library.get(part.ingredient) else { continue };
        let Some(parent) = one.lot_of.and_then(|parent| library.get(parent)) else { continue };
        let mut lot = lot_of(library, one, parent);
        if scents.contains(&part.ingredient) {
            let origin = one.nut_origin_as_scent();
            lot.nut_origin = (origin != parent.nut_origin).then_some(origin);
        }
        if !keep_lot(store, &lot)? {
            streams.remarks.note(&format!(
                "the records keep the lot `{}` with other figures, and nothing kept is replaced: a new delivery needs a key of its own",
                names::name(&one.key)
            ))?;
        }
    }
    Ok(())
}

/// Keeps a delivery unless it is kept already; returns whether what is kept is the same.
pub fn keep_lot(store: &mut Store, lot: &Lot) -> Result<bool, CliError> {
    loop {
        match store.lot(&lot.key) {
            Ok(kept) => {
                let told = Lot {
                    delivered_on: kept.delivered_on,
                    certificate: kept.certificate.clone(),
                    note: kept.note.clone(),
                    delivered_g: kept.delivered_g,
                    ..lot.clone()
                };
                return Ok(kept == told);
            }
            Err(RecordsError::Unknown { .. }) => match store.add_lot(lot, today()?) {
                Ok(()) => return Ok(true),
                Err(RecordsError::AlreadyThere { .. }) => {}
                Err(error) => return Err(error.into()),
            },
            Err(error) => return Err(error.into()),
        }
    }
}

/// A delivery as the records keep it: its figures are the keys of a lot file, so that it can be read back.
fn lot_of(library: &Library, one: &Ingredient, parent: &Ingredient) -> Lot {
    let mut figures = Figures::new();
    let mut put = |key: &str, value: Value| figures.insert(key.to_owned(), value);
    if one.common_name != one.key {
        put("name", one.common_name.clone().into());
    }
    if one.stands_alone {
        put("kind", serde_json::to_value(one.kind).unwrap_or_default());
    }
    if let Some(powder) = one.powder.as_ref().filter(|powder| powder.source == LOT_SOURCE) {
        put("grain_um", powder.diameter_um.into());
    }
    let shares =
        |of: Vec<(String, f64)>| Value::Object(of.into_iter().map(|(key, percent)| (key, percent.into())).collect());
    let stated = |status: Status, source: &str| status == Status::Read && source == LOT_SOURCE;
    if !one.inci_parts.is_empty() && one.inci_parts.iter().all(|part| stated(part.status, &part.source)) {
        put("inci", shares(one.inci_parts.iter().map(|part| (part.inci_name.clone(), part.percent)).collect()));
    } else if one.inci_name != parent.inci_name {
        put("inci", one.inci_name.clone().into());
    }
    if one.animal_origin != parent.animal_origin {
        put("animal_origin", one.animal_origin.word().into());
    }
    if one.density_g_ml != parent.density_g_ml {
        put("density_g_ml", one.density_g_ml.into());
    }
    let numbers =
        [("melt_c", one.lot_melt_c), ("needle_dmm", one.lot_needle_dmm), ("limit_percent", one.lot_limit_percent)];
    for (key, number) in numbers {
        number.and_then(|number| put(key, number.into()));
    }
    if !one.lot_allergens.is_empty() {
        put("allergens", shares(one.lot_allergens.clone()));
    }
    if one.composition.iter().all(|component| stated(component.status, &component.source)) {
        let species = one.composition.iter().filter_map(|component| {
            library.species.get(component.species).map(|species| (species.key.clone(), component.percent))
        });
        put("species", shares(species.collect()));
    }
    Lot {
        best_before: one.lot_best_before,
        price_per_kg: one.price_per_kg,
        nut_origin: (one.nut_origin != parent.nut_origin).then_some(one.nut_origin),
        flash_c: one.lot_flash_c,
        figures,
        ..Lot::new(&one.key, &parent.key)
    }
}

/// Returns the library with those deliveries of the records that it does not know, and the keys of those that cannot be read.
pub fn with_kept_lots(library: Library, lots: &[Lot]) -> Result<(Library, Vec<String>), CliError> {
    let mut whole = library;
    let mut unreadable = Vec::new();
    for lot in lots {
        if whole.ingredient(&lot.key).is_some() {
            continue;
        }
        match lot_text(lot).and_then(|text| whole.with_lots(&text).ok()) {
            Some((with, _)) => whole = with,
            None => unreadable.push(lot.key.clone()),
        }
    }
    // Those that were fitted to their certificates before count as stated, and stay.
    let (fitted, _) = fit_lots(&whole, &builtin_model()?.parameters)?;
    Ok((fitted, unreadable))
}

/// A delivery of the records as a lot file.
fn lot_text(lot: &Lot) -> Option<String> {
    let mut table = lot.figures.clone();
    table.insert("like".to_owned(), lot.like.clone().into());
    lot.best_before.and_then(|date| table.insert("best_before".to_owned(), date.to_string().into()));
    lot.price_per_kg.and_then(|price| table.insert("price_per_kg".to_owned(), price.into()));
    lot.nut_origin.and_then(|origin| table.insert("nut_origin".to_owned(), origin.word().into()));
    lot.flash_c.and_then(|flash_c| table.insert("flash_c".to_owned(), flash_c.into()));
    let nested = |key: &str, inner: Value| Value::Object(Figures::from_iter([(key.to_owned(), inner)]));
    toml::to_string(&nested("lot", nested(&lot.key, Value::Object(table)))).ok()
}

/// Returns the kind of record a test is.
pub fn kind_of(test: &Test) -> TrialKind {
    match test {
        Test::Tube { .. } => TrialKind::OpenTube,
        Test::Needle { .. } => TrialKind::Needle,
        Test::Rod { .. } => TrialKind::Rod,
        Test::Shelf { .. } => TrialKind::WarmShelf,
        Test::Relief { .. } => TrialKind::Relief,
        Test::Grain { .. } => TrialKind::Grain,
    }
}

/// Name of a kind of test where the figures are written.
fn tag(kind: TrialKind) -> &'static str {
    match kind {
        TrialKind::OpenTube => "tube",
        TrialKind::Needle => "needle",
        TrialKind::Rod => "rod",
        TrialKind::WarmShelf => "shelf",
        TrialKind::Relief => "relief",
        TrialKind::Grain => "grain",
    }
}

/// Returns the figures of a test as the records keep them.
pub fn figures_of(test: &Test, tempered: bool) -> Result<Figures, CliError> {
    let Value::Object(mut figures) = serde_json::to_value(test)? else {
        return Err(CliError::internal("a test has no figures"));
    };
    figures.remove("kind");
    figures.retain(|_, value| !value.is_null());
    if tempered {
        figures.insert(TEMPERED.to_owned(), true.into());
    }
    Ok(figures)
}

/// Returns a test of the records as the model takes it, and whether the bar was tempered.
///
/// # Errors
/// What is wrong with its figures.
pub fn test_of(kept: &Kept<barwright_records::Trial>) -> Result<(Test, bool), String> {
    let mut figures = kept.record.figures.clone();
    let tempered = match figures.remove(TEMPERED) {
        None => false,
        Some(Value::Bool(tempered)) => tempered,
        Some(other) => return Err(format!("`{TEMPERED}` is {other}, neither true nor false")),
    };
    figures.insert("kind".to_owned(), tag(kept.record.kind).into());
    let test: Test = serde_json::from_value(Value::Object(figures)).map_err(|error| error.to_string())?;
    test.check().map_err(|error| error.to_string())?;
    Ok((test, tempered))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use barwright_answer::engine::builtin_library;

    #[test]
    fn every_test_is_read_back_as_it_was_kept() {
        let tests = [
            Test::Tube { melt_c: 54.5, sd_k: None },
            Test::Tube { melt_c: 54.5, sd_k: Some(0.5) },
            Test::Needle { depth_dmm: 32.0, at_c: 25.0 },
            Test::Rod { diameter_mm: 3.0, grams: 640.0, at_c: 20.0 },
            Test::Shelf { at_c: 42.0, hours: 24.0, kept: false },
            Test::Relief { survived_mm: Some(0.8), broke_mm: None, release_c: 18.0 },
            Test::Grain { seen: true },
        ];
        for test in tests {
            for tempered in [false, true] {
                let record = barwright_records::Trial {
                    formula: "bar".to_owned(),
                    kind: kind_of(&test),
                    figures: figures_of(&test, tempered).unwrap(),
                    tested_on: today().unwrap(),
                    days_since_pouring: 3,
                    note: None,
                };
                assert_eq!(test_of(&Kept { id: 1, record }), Ok((test, tempered)));
            }
        }
    }

    /// An ingredient with its species in the order of the tables, which no answer depends on.
    fn sorted(one: Option<&Ingredient>) -> Option<Ingredient> {
        let mut one = one.cloned();
        one.iter_mut().for_each(|one| one.composition.sort_by_key(|component| component.species));
        one
    }

    #[test]
    fn a_delivery_is_read_back_as_the_lot_it_was() {
        let text = "[lot.'my \"cocoa\"']\nlike = 'cocoa butter'\nname = 'Mine'\nprice_per_kg = 14.5\nflash_c = 200\n\
                    density_g_ml = 0.9\nlimit_percent = 2\nallergens = { Linalool = 1.5 }\n\
                    species = { POP = 16, POS = 40, SOS = 28, POO = 8, SOO = 8 }\n[lot.plain]\nlike = 'beeswax'\n\
                    [lot.hard]\nlike = 'cocoa butter'\nmelt_c = 33\nbest_before = 2030-06-30\n\
                    [lot.acid]\nlike = 'stearic acid'\nanimal_origin = 'no'\n[lot.blend]\nlike = 'avocado butter'\n\
                    inci = { \"Persea Gratissima (Avocado) Oil\" = 79.7, \"Hydrogenated Vegetable Oil\" = 20.3 }\n\
                    [lot.unknown]\nlike = 'tocopherol'\ninci = 'Tocopherol (and) Olea Europaea (Olive) Fruit Oil'\n";
        let base = builtin_library().unwrap();
        let (library, _) = base.with_lots(text).unwrap();
        let (library, _) = fit_lots(&library, &builtin_model().unwrap().parameters).unwrap();
        for key in ["my \"cocoa\"", "plain", "hard", "acid", "blend", "unknown"] {
            let one = library.ingredient(key).unwrap();
            let parent = library.get(one.lot_of.unwrap()).unwrap();
            let lot = lot_of(&library, one, parent);
            let (again, unreadable) = with_kept_lots(base.clone(), std::slice::from_ref(&lot)).unwrap();
            assert!(unreadable.is_empty());
            assert_eq!(sorted(again.ingredient(key)), sorted(Some(one)));
            let twice = with_kept_lots(again.clone(), &[lot]).unwrap().0;
            assert_eq!(sorted(twice.ingredient(key)), sorted(Some(one)), "{key} is fitted once");
        }
    }

    #[test]
    fn a_name_taken_by_another_formula_gets_a_number() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let library = builtin_library().unwrap();
        let mut formula = Formula {
            name: "bar".to_owned(),
            parts: [(0, 40.0), (1, 60.0)]
                .map(|(index, percent)| Part { ingredient: library.id_at(index).unwrap(), percent })
                .to_vec(),
        };
        let mut keep = |formula: &Formula, nameless| keep_formula(&mut store, &library, formula, nameless).unwrap();
        assert_eq!(keep(&formula, false), "bar");
        assert_eq!(keep(&formula, false), "bar");
        formula.parts.reverse();
        assert_eq!(keep(&formula, false), "bar");
        formula.parts[0].percent = 59.0;
        formula.parts[1].percent = 41.0;
        assert_eq!(keep(&formula, false), "bar (2)");
        let (one, other) = (&library.ingredients[1].key, &library.ingredients[0].key);
        assert_eq!(keep(&formula, true), format!("{one} 59, {other} 41"));
        assert_eq!(formula_of(&library, &store.formula("bar (2)").unwrap()).unwrap().parts, formula.parts);
    }

    #[test]
    fn a_name_is_cut_between_letters() {
        assert_eq!(cut("fé né", 3), "fé");
        assert_eq!(cut("fé né", 2), "f");
        assert_eq!(cut("fern", 200), "fern");
    }
}
