//! The maker's own deliveries, which stand in for an ingredient.

use std::ops::{Range, RangeInclusive};

use jiff::civil::Date;
use toml::de::{DeTable, DeValue};

use crate::finder::Finder;
use crate::findings::Findings;
use crate::formula::BYTE_ORDER_MARK;
use crate::ingredient::AND;
use crate::names::{Claim, Lookup, normalise};
use crate::number::{Scan, scan};
use crate::stand_in::{stand_in, widened};
use crate::suggest::nearest;
use crate::tables::{DENSITY_G_ML, DIAMETER_UM, GRAIN_DENSITY_G_ML, MELT_C, NEEDLE_DMM, kind_named};
use crate::toml_text::{Entry, entries, filled_text, number_text, read, unknown_key, wrong_kind};
use crate::wording::{list, quote, short};
use crate::{
    AnimalOrigin, Component, Diagnostic, Diagnostics, InciPart, Ingredient, IngredientId, IngredientKind, Library,
    NutOrigin, Powder, Status,
};

/// The source of every figure stated in a lot.
pub const LOT_SOURCE: &str = "lot";

/// The keys a lot can have.
const KEYS: &[&str] = &[
    "like",
    "kind",
    "grain_um",
    "name",
    "species",
    "melt_c",
    "needle_dmm",
    "price_per_kg",
    "density_g_ml",
    "nut_origin",
    "animal_origin",
    "flash_c",
    "inci",
    "limit_percent",
    "allergens",
    "best_before",
];

/// The kinds of what the table lacks.
const KINDS: [&str; 10] =
    ["wax", "butter", "oil", "ester", "fatty-alcohol", "fatty-acid", "hydrocarbon", "scent", "powder", "other"];

/// Keys that are written where `kind` is meant.
const CALLED_KIND: [&str; 3] = ["class", "type", "category"];

/// Sums of stated shares that are taken as complete, mass %.
const COMPLETE_PERCENT: RangeInclusive<f64> = 98.0..=102.0;
/// Sums this near to 100 are 100, mass %.
const SUM_NOISE_PERCENT: f64 = 1e-9;
/// Prices taken, per kilogram in the maker's own money.
pub(crate) const PRICE_PER_KG: RangeInclusive<f64> = 0.0..=1e6;
/// A lot that flashes below this is a scent, °C: oils and waxes flash from some 180 °C on, scents below 130 (judgement).
pub const SCENT_FLASH_C: f64 = 150.0;

/// What a lot is declared as that is a scent.
const SCENT_NAMES: [&str; 2] = ["parfum", "fragrance"];

/// Flash points taken, °C.
const FLASH_C: RangeInclusive<f64> = 20.0..=400.0;
/// Limits of certificates taken, mass % of the bar.
const LIMIT_PERCENT: RangeInclusive<f64> = 0.0001..=100.0;
/// How a date is written.
const ISO_DATE: &str = "YYYY-MM-DD";
/// Years taken in dates: what a delivery can carry, and no slip of the pen.
const YEARS: RangeInclusive<i16> = 1990..=2100;
/// Error of an analysis, absolute mass %.
const ANALYSIS_SD_PERCENT: f64 = 0.5;
/// Error of an analysis, relative to the share.
const ANALYSIS_SD_RELATIVE: f64 = 0.05;

impl Library {
    /// Returns this library with the maker's lots appended as ingredients, and notes on how they were read.
    ///
    /// A lot is a copy of the ingredient it is `like`; what the file states replaces the copied figures. A stated composition
    /// is scaled to 100 %, and its spread shrinks to the error of an analysis: 0.5 % absolute or 5 % of the share, whichever
    /// is larger. A lot with a `kind` is of something the table lacks: see [`Ingredient::stands_alone`]. What a melting point or a needle penetration says of the composition takes a model, which is not here: both are kept with the lot.
    ///
    /// # Errors
    /// Every error of the text.
    ///
    /// ```
    /// use barwright_reference::{Library, Lookup};
    /// let library = Library::builtin()?;
    /// let text = "[lot.spring-wax]\nlike = \"beeswax\"\nprice_per_kg = 14.5\n";
    /// let (library, notes) = library.with_lots(text)?;
    /// assert!(notes.is_empty());
    /// assert_eq!(library.ingredient("spring-wax").and_then(|lot| lot.price_per_kg), Some(14.5));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn with_lots(&self, text: &str) -> Result<(Library, Vec<Diagnostic>), Diagnostics> {
        let mut findings = Findings::default();
        let mut library = self.clone();
        let body = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
        let offset = text.len() - body.len();
        let mut any = false;
        for entry in read(body, offset, &mut findings) {
            match (entry.key.as_str(), &entry.value) {
                ("lot", DeValue::Table(_)) => {}
                ("lot", _) => {
                    findings.push(wrong_kind(&entry, "a table").hint("Write a line such as `[lot.my-cocoa]`."));
                    continue;
                }
                _ => {
                    findings.push(
                        unknown_key(&entry, &["lot"]).hint("Start each lot with a line such as `[lot.my-cocoa]`."),
                    );
                    continue;
                }
            }
            let DeValue::Table(lots) = entry.value else { continue };
            for lot in entries(lots, offset) {
                any = true;
                add_lot(self, &mut library, lot, offset, &mut findings);
            }
        }
        if !any && !findings.has_errors() {
            findings.push(
                Diagnostic::error("no-lots", "the file has no lots", 0..text.len()).hint(
                    "Start each lot with a line such as `[lot.my-cocoa]`, and below it `like = \"cocoa-butter\"`.",
                ),
            );
        }
        findings.finish(library)
    }
}

/// Reads one lot and appends it; `base` is the library without lots.
fn add_lot(base: &Library, library: &mut Library, lot: Entry<'_>, offset: usize, findings: &mut Findings) {
    let (key, key_span) = (lot.key.clone(), lot.key_span.clone());
    let DeValue::Table(table) = lot.value else {
        findings
            .push(wrong_kind(&lot, "a table").hint(format!("Write a line `[lot.{key}]` and the lot's keys below it.")));
        return;
    };
    check_name(library, &key, key_span.clone(), findings);
    let stated = Stated::read(base, table, offset, findings);
    let Some(like) = stated.parent(base, &key, key_span, findings) else { return };
    let Some(listed) = base.get(like) else { return };
    stated.check_density(listed, findings);
    stated.check_tests(listed, findings);
    let own = stated.kind.map(|kind| widened(listed, kind));
    let parent = own.as_ref().unwrap_or(listed);
    if let Some((name, span)) = &stated.name {
        check_name(library, name, span.clone(), findings);
    }
    let id = IngredientId::new(library.ingredients.len(), &key);
    library.names.add(&key, id, Claim::Own);
    if let Some((name, _)) = &stated.name {
        library.names.add(name, id, Claim::Own);
    }
    let scent = stated.is_scent();
    let unstated = if scent { NutOrigin::No } else { parent.nut_origin };
    let density = stated.density_g_ml.map(|(density, _)| density);
    let common_name = stated.name.map_or_else(|| key.clone(), |(name, _)| name);
    let (inci_name, inci_parts) = match stated.inci {
        Some(inci) => inci.beside(parent),
        // Nobody knows what else it is declared by.
        None if own.is_some() && parent.inci_name.is_empty() => (common_name.clone(), Vec::new()),
        None => (parent.inci_name.clone(), parent.inci_parts.clone()),
    };
    let powder = parent.powder.clone().map(|powder| match stated.grain_um {
        Some((diameter_um, _)) => Powder { diameter_um, status: Status::Read, source: LOT_SOURCE.to_owned(), ..powder },
        None => powder,
    });
    library.ingredients.push(Ingredient {
        common_name,
        key,
        powder,
        stands_alone: own.is_some(),
        synonyms: Vec::new(),
        nut_origin: stated.nut_origin.unwrap_or(unstated),
        lot_nut_origin: stated.nut_origin,
        sensitiser: parent.sensitiser.clone().filter(|_| !scent),
        animal_origin: stated.animal_origin.unwrap_or(parent.animal_origin),
        density_g_ml: density.unwrap_or(parent.density_g_ml),
        density_status: if density.is_some() { Status::Read } else { parent.density_status },
        density_source: if density.is_some() { LOT_SOURCE.to_owned() } else { parent.density_source.clone() },
        composition: stated.composition.unwrap_or_else(|| parent.composition.clone()),
        price_per_kg: stated.price_per_kg.map(|(price, _)| price),
        lot_of: Some(like),
        lot_melt_c: stated.melt_c.map(|(melt_c, _)| melt_c),
        lot_needle_dmm: stated.needle_dmm.map(|(needle_dmm, _)| needle_dmm),
        lot_flash_c: stated.flash_c.map(|(flash_c, _)| flash_c),
        lot_limit_percent: stated.limit_percent.map(|(limit_percent, _)| limit_percent),
        lot_allergens: stated.allergens,
        lot_best_before: stated.best_before,
        inci_name,
        inci_parts,
        ..parent.clone()
    });
}

/// Reports a name that has no letters or is somebody's already.
fn check_name(library: &Library, name: &str, span: Range<usize>, findings: &mut Findings) {
    if !name.chars().any(char::is_alphanumeric) {
        let message = format!("{} has no letters or digits", quote(name));
        findings
            .push(Diagnostic::error("lot-name-empty", message, span).hint("Give the lot a name such as `my-cocoa`."));
    } else if library.names.is_taken(name) {
        let owner = match library.find(name) {
            Lookup::Found(owner) => list(library.keys(&[owner]), "and"),
            Lookup::Ambiguous(owners) => list(library.keys(&owners), "and"),
            Lookup::Unknown { .. } => String::new(),
        };
        let message = format!("{} is already a name of {owner}", quote(name));
        findings.push(
            Diagnostic::error("lot-name-taken", message, span).label("taken").hint("Give the lot a name of its own."),
        );
    }
}

/// A figure with its place.
type Figure = Option<(f64, Range<usize>)>;

/// What a lot is declared by.
enum Inci {
    /// One name, or those of a blend as its supplier writes them.
    Name(String),
    /// The names of a blend with their shares.
    Blend(Vec<InciPart>),
}

impl Inci {
    /// Returns the declared name and the names of a blend.
    ///
    /// A blend without shares has those of the ingredient it is like, where the names are the same; else they are unknown, and shared out
    /// evenly, and may be anything.
    fn beside(self, parent: &Ingredient) -> (String, Vec<InciPart>) {
        match self {
            Inci::Blend(parts) => {
                (parts.iter().map(|part| part.inci_name.as_str()).collect::<Vec<_>>().join(AND), parts)
            }
            Inci::Name(name) if normalise(&name) == normalise(&parent.inci_name) => {
                (parent.inci_name.clone(), parent.inci_parts.clone())
            }
            Inci::Name(name) => {
                let names = names_of_blend(&name);
                let count: f64 = names.iter().map(|_| 1.0).sum();
                let even = |inci_name: &str| InciPart {
                    inci_name: inci_name.to_owned(),
                    percent: 100.0 / count,
                    low_percent: 0.0,
                    high_percent: 100.0,
                    status: Status::Estimated,
                    source: LOT_SOURCE.to_owned(),
                    note: "shared out evenly: the lot states no shares".to_owned(),
                };
                if names.len() > 1 {
                    (names.join(AND), names.iter().map(|name| even(name)).collect())
                } else {
                    (name, Vec::new())
                }
            }
        }
    }
}

/// Returns the names of a blend, which its supplier writes with `(and)` between them.
fn names_of_blend(name: &str) -> Vec<&str> {
    // The mark is plain ASCII, so that its places are those of the name itself.
    let lower = name.to_ascii_lowercase();
    let mark = AND.trim();
    let mut names = Vec::new();
    let mut start = 0;
    for (at, _) in lower.match_indices(mark) {
        names.push(name.get(start..at).unwrap_or("").trim());
        start = at + mark.len();
    }
    names.push(name.get(start..).unwrap_or("").trim());
    names.retain(|name| !name.is_empty());
    names
}

/// What a lot file states about one lot.
#[derive(Default)]
struct Stated {
    like: Option<IngredientId>,
    like_written: bool,
    kind: Option<IngredientKind>,
    kind_written: bool,
    grain_um: Figure,
    name: Option<(String, Range<usize>)>,
    composition: Option<Vec<Component>>,
    /// Where they stand.
    species: Option<Range<usize>>,
    melt_c: Figure,
    needle_dmm: Figure,
    price_per_kg: Figure,
    density_g_ml: Figure,
    nut_origin: Option<NutOrigin>,
    animal_origin: Option<AnimalOrigin>,
    flash_c: Figure,
    inci: Option<Inci>,
    limit_percent: Figure,
    allergens: Vec<(String, f64)>,
    best_before: Option<Date>,
}

impl Stated {
    /// Whether the lot is a scent: its certificate has a limit or scent allergens, it flashes as no oil does, or it is declared as one. Such a lot is `like` an
    /// oil for its physics alone.
    fn is_scent(&self) -> bool {
        let declared = |name: &str| SCENT_NAMES.iter().any(|scent| name.trim().eq_ignore_ascii_case(scent));
        self.limit_percent.is_some()
            || !self.allergens.is_empty()
            || self.flash_c.as_ref().is_some_and(|(flash_c, _)| *flash_c < SCENT_FLASH_C)
            || matches!(&self.inci, Some(Inci::Name(name)) if declared(name))
    }

    /// Reads the table of one lot.
    fn read(base: &Library, table: DeTable<'_>, offset: usize, findings: &mut Findings) -> Stated {
        let mut stated = Stated::default();
        for entry in entries(table, offset) {
            match entry.key.as_str() {
                "like" => {
                    stated.like_written = true;
                    if let Some(name) = filled_text(&entry, findings) {
                        stated.like = Finder::new(base).find(&name, entry.value_span, findings);
                    }
                }
                "kind" => {
                    stated.kind_written = true;
                    stated.kind = kind(&entry, findings);
                }
                "grain_um" => stated.grain_um = figure(&entry, DIAMETER_UM, "µm", findings),
                "name" => stated.name = filled_text(&entry, findings).map(|name| (name, entry.value_span)),
                "melt_c" => stated.melt_c = figure(&entry, MELT_C, "°C", findings),
                "needle_dmm" => stated.needle_dmm = figure(&entry, NEEDLE_DMM, "tenths of a millimetre", findings),
                "price_per_kg" => stated.price_per_kg = figure(&entry, PRICE_PER_KG, "per kilogram", findings),
                "density_g_ml" => stated.density_g_ml = figure(&entry, GRAIN_DENSITY_G_ML, "g/ml", findings),
                "flash_c" => stated.flash_c = figure(&entry, FLASH_C, "°C", findings),
                "inci" => stated.inci = inci(entry, offset, findings),
                "limit_percent" => stated.limit_percent = figure(&entry, LIMIT_PERCENT, "mass %", findings),
                "allergens" => stated.allergens = allergens(entry, offset, findings),
                "best_before" => stated.best_before = date(&entry, findings),
                "nut_origin" => {
                    let all = NutOrigin::ALL.map(|origin| (origin.word(), origin));
                    stated.nut_origin = one_of(&entry, &all, "unknown-nut-origin", "a nut origin", findings);
                }
                "animal_origin" => {
                    let all = AnimalOrigin::ALL.map(|origin| (origin.word(), origin));
                    stated.animal_origin = one_of(&entry, &all, "unknown-animal-origin", "an animal origin", findings);
                }
                "species" => {
                    stated.species = Some(entry.key_span.clone());
                    stated.composition = composition(base, entry, offset, findings);
                }
                key if CALLED_KIND.contains(&key) => {
                    let message = format!("{} is not a key here", quote(key));
                    findings.push(
                        Diagnostic::error("unknown-key", message, entry.key_span)
                            .hint("What the table lacks is described by its `kind`, such as `kind = \"wax\"`."),
                    );
                }
                _ => findings.push(unknown_key(&entry, KEYS)),
            }
        }
        stated
    }

    /// Returns what the lot is like: what it says, or what stands in for its kind; or reports that it says neither.
    fn parent(
        &self,
        base: &Library,
        key: &str,
        key_span: Range<usize>,
        findings: &mut Findings,
    ) -> Option<IngredientId> {
        if self.like_written {
            return self.like;
        }
        if self.kind_written && self.kind.is_none() {
            return None;
        }
        let Some(kind) = self.kind else {
            findings.push(
                Diagnostic::error("like-missing", format!("the lot {} has no key `like`", quote(key)), key_span).hint(
                    "Write the ingredient the lot is a delivery of, such as `like = \"cocoa-butter\"`; for what the table \
                     lacks its `kind`, such as `kind = \"scent\"`.",
                ),
            );
            return None;
        };
        let found = stand_in(base, kind, self.melt_c.as_ref().map(|(melt_c, _)| *melt_c));
        if found.is_none() {
            let message = format!("the lot {} is of a kind that melts, and has no key `melt_c`", quote(key));
            findings.push(
                Diagnostic::error("melt-missing", message, key_span)
                    .hint("Write the melting point of its certificate, such as `melt_c = 34`, or what it is `like`."),
            );
        }
        found
    }

    /// Reports a test that says nothing of a powder, or of what it is stated for.
    fn check_tests(&self, parent: &Ingredient, findings: &mut Findings) {
        let is_powder = parent.powder.is_some();
        let place = |figure: &Figure| figure.as_ref().map(|(_, span)| span.clone());
        for (key, span, of_powder) in [
            ("melt_c", place(&self.melt_c), false),
            ("needle_dmm", place(&self.needle_dmm), false),
            ("species", self.species.clone(), false),
            ("grain_um", place(&self.grain_um), true),
        ] {
            let Some(span) = span.filter(|_| is_powder != of_powder) else { continue };
            let what = if is_powder { "is a powder, which stays as it is" } else { "is no powder" };
            let message = format!("{} says nothing here: what the lot is like {what}", quote(key));
            findings.push(Diagnostic::error("test-of-another-kind", message, span).hint("Leave it out."));
        }
    }

    /// Reports a density that only a powder can have.
    fn check_density(&self, parent: &Ingredient, findings: &mut Findings) {
        let Some((density, span)) = &self.density_g_ml else { return };
        if parent.powder.is_none() && !DENSITY_G_ML.contains(density) {
            let (low, high) = (short(*DENSITY_G_ML.start()), short(*DENSITY_G_ML.end()));
            let message = format!("`density_g_ml` is {density}, outside {low} to {high} g/ml");
            findings
                .push(Diagnostic::error("out-of-range", message, span.clone()).hint("Check the number and its unit."));
        }
    }
}

/// Reads the kind of something the table lacks, or reports it.
fn kind(entry: &Entry<'_>, findings: &mut Findings) -> Option<IngredientKind> {
    let word = filled_text(entry, findings)?;
    let found = kind_named(&word);
    if found.is_none() {
        let near = nearest(&word, KINDS.into_iter().enumerate(), 1);
        let near = near.first().and_then(|index| KINDS.get(*index));
        let near = near.map_or_else(String::new, |near| format!("The nearest kind is `{near}`. "));
        findings.push(
            Diagnostic::error("unknown-kind", format!("{} is not a kind", quote(&word)), entry.value_span.clone())
                .hint(format!("{near}Write {}.", list(KINDS, "or"))),
        );
    }
    found
}

/// Reads a number in a range, or reports it.
fn figure(entry: &Entry<'_>, range: RangeInclusive<f64>, unit: &str, findings: &mut Findings) -> Figure {
    let Some(number) = number_text(&entry.value) else {
        findings.push(wrong_kind(entry, "a decimal number").hint(format!("Write a plain number, {unit}.")));
        return None;
    };
    match scan(number) {
        Scan::Number { value, .. } if range.contains(&value) => Some((value, entry.value_span.clone())),
        _ => {
            let (low, high) = (short(*range.start()), short(*range.end()));
            let message = format!("{} is {number}, outside {low} to {high} {unit}", quote(&entry.key));
            findings.push(
                Diagnostic::error("out-of-range", message, entry.value_span.clone())
                    .hint(out_of_range_hint(&entry.key)),
            );
            None
        }
    }
}

/// What to do about a figure that cannot be.
fn out_of_range_hint(key: &str) -> &'static str {
    match key {
        "flash_c" => "Write the flash point of its data sheet in °C; what flashes in a room does not go into a melt.",
        "limit_percent" => "Write the most that its certificate allows, in % of the bar.",
        _ => "Check the number and its unit.",
    }
}

/// Reads a date, written as TOML's own or as a text, or reports it.
fn date(entry: &Entry<'_>, findings: &mut Findings) -> Option<Date> {
    let written = match &entry.value {
        DeValue::String(text) => text.trim().to_owned(),
        DeValue::Datetime(date) => date.to_string(),
        _ => {
            findings.push(wrong_kind(entry, "a date").hint("Write year, month and day, such as `2027-06-30`."));
            return None;
        }
    };
    let day = |text: &str| (text.len() == ISO_DATE.len()).then(|| text.parse::<Date>().ok()).flatten();
    let found = day(&written).filter(|day| YEARS.contains(&day.year()));
    if found.is_none() {
        let (first, last) = (YEARS.start(), YEARS.end());
        let message = format!("{} is {}, which is no day from {first} to {last}", quote(&entry.key), quote(&written));
        findings.push(
            Diagnostic::error("bad-date", message, entry.value_span.clone())
                .hint(format!("Write year, month and day, {ISO_DATE}, such as `2027-06-30`.")),
        );
    }
    found
}

/// Reads one of a few words, or reports it.
fn one_of<T: Copy>(
    entry: &Entry<'_>,
    all: &[(&str, T)],
    code: &'static str,
    what: &str,
    findings: &mut Findings,
) -> Option<T> {
    let word = filled_text(entry, findings)?;
    let found = all.iter().find(|(known, _)| *known == word).map(|(_, value)| *value);
    if found.is_none() {
        let names = list(all.iter().map(|(known, _)| *known), "or");
        findings.push(
            Diagnostic::error(code, format!("{} is not {what}", quote(&word)), entry.value_span.clone())
                .hint(format!("Write {names}.")),
        );
    }
    found
}

/// Reads what the lot is declared by: a text, or the names of a blend with their mass %.
fn inci(entry: Entry<'_>, offset: usize, findings: &mut Findings) -> Option<Inci> {
    let DeValue::Table(table) = entry.value else { return filled_text(&entry, findings).map(Inci::Name) };
    let mut parts: Vec<InciPart> = Vec::new();
    let mut sound = true;
    for share in entries(table, offset) {
        let percent = figure(&share, 0.0..=100.0, "mass %", findings);
        match percent {
            Some((percent, _)) if !share.key.trim().is_empty() => parts.push(InciPart {
                inci_name: share.key.trim().to_owned(),
                percent,
                low_percent: percent,
                high_percent: percent,
                status: Status::Read,
                source: LOT_SOURCE.to_owned(),
                note: String::new(),
            }),
            Some((_, span)) => {
                findings.push(
                    Diagnostic::error("empty-text", "a part of the blend has no name", span)
                        .hint("Write its name in quotes, such as `\"Tocopherol\" = 0.5`."),
                );
                sound = false;
            }
            None => sound = false,
        }
    }
    let total: f64 = parts.iter().map(|part| part.percent).sum();
    if sound && !COMPLETE_PERCENT.contains(&total) {
        let (low, high) = (COMPLETE_PERCENT.start(), COMPLETE_PERCENT.end());
        let message = format!("the parts of the blend sum to {} %, outside {low} to {high} %", short(total));
        findings.push(
            Diagnostic::error("inci-sum", message, entry.key_span)
                .hint("State every name of the composition sheet by mass %, so that they sum to 100."),
        );
        return None;
    }
    // What sums to 100 already is taken as it is, so that what was read once is read the same again.
    if (total - 100.0).abs() > SUM_NOISE_PERCENT {
        for part in &mut parts {
            let percent = 100.0 * part.percent / total;
            (part.percent, part.low_percent, part.high_percent) = (percent, percent, percent);
        }
    }
    parts.sort_by(|a, b| b.percent.total_cmp(&a.percent).then_with(|| a.inci_name.cmp(&b.inci_name)));
    sound.then_some(Inci::Blend(parts))
}

/// Reads the scent allergens of a certificate, mass % of the lot each.
fn allergens(entry: Entry<'_>, offset: usize, findings: &mut Findings) -> Vec<(String, f64)> {
    let DeValue::Table(table) = entry.value else {
        findings.push(
            wrong_kind(&entry, "a table")
                .hint("Write the mass % of each in the lot, such as `{ Linalool = 8.2, Limonene = 3 }`."),
        );
        return Vec::new();
    };
    let shares = entries(table, offset).into_iter();
    shares
        .filter_map(|share| figure(&share, 0.0..=100.0, "mass %", findings).map(|(percent, _)| (share.key, percent)))
        .collect()
}

/// Reads a stated composition and scales it to 100 %, or reports what is wrong with it.
fn composition(base: &Library, entry: Entry<'_>, offset: usize, findings: &mut Findings) -> Option<Vec<Component>> {
    let DeValue::Table(table) = entry.value else {
        findings.push(
            wrong_kind(&entry, "a table").hint("Write the mass % of each species, such as `{ POP = 16, POS = 39 }`."),
        );
        return None;
    };
    let mut shares: Vec<(usize, f64)> = Vec::new();
    let mut sound = true;
    for share in entries(table, offset) {
        let species = base.species_index(&share.key);
        if species.is_none() {
            let names = base.species.iter().enumerate().map(|(index, species)| (index, species.key.as_str()));
            let near = nearest(&share.key, names, 3);
            let names = list(near.iter().filter_map(|index| base.species.get(*index)).map(|s| s.key.as_str()), "and");
            let message = format!("no species is called {}", quote(&share.key));
            findings.push(
                Diagnostic::error("unknown-species", message, share.key_span.clone())
                    .hint(format!("The nearest species are {names}.")),
            );
        }
        let percent = match figure(&share, 0.0..=100.0, "mass %", findings) {
            Some((0.0, span)) => {
                let message = format!("the share of {} is zero", quote(&share.key));
                findings.push(Diagnostic::error("zero-amount", message, span).hint("Leave the species out."));
                None
            }
            figure => figure,
        };
        match (species, percent) {
            (Some(species), Some((percent, _))) => shares.push((species, percent)),
            _ => sound = false,
        }
    }
    let total: f64 = shares.iter().map(|(_, percent)| percent).sum();
    if sound && !COMPLETE_PERCENT.contains(&total) {
        let (low, high) = (COMPLETE_PERCENT.start(), COMPLETE_PERCENT.end());
        let message = format!("the species sum to {} %, outside {low} to {high} %", short(total));
        findings.push(
            Diagnostic::error("species-sum", message, entry.key_span)
                .hint("State every species of the ingredient by mass %, so that they sum to 100."),
        );
        return None;
    }
    sound.then(|| {
        shares
            .into_iter()
            .map(|(species, stated)| {
                let percent = 100.0 * stated / total;
                Component {
                    species,
                    percent,
                    sd_percent: ANALYSIS_SD_PERCENT.max(ANALYSIS_SD_RELATIVE * percent),
                    status: Status::Read,
                    source: LOT_SOURCE.to_owned(),
                    note: String::new(),
                }
            })
            .collect()
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::TableTexts;
    use crate::formula::read_inline;
    use crate::sample::{INGREDIENTS, TEXTS, codes, id, library, parts};

    /// By its certificate, by where it flashes, or by its name; an oil that flashes as oils do is one.
    #[test]
    fn a_scent_inherits_no_nut_and_no_sensitiser() {
        let mut library = library();
        for one in &mut library.ingredients {
            (one.nut_origin, one.sensitiser) = (NutOrigin::TreeNut, Some("wool alcohols".to_owned()));
        }
        let lot = |stated: &str| {
            let (library, _) = library.with_lots(&format!("[lot.a]\nlike = 'castor-oil'\n{stated}")).unwrap();
            let lot = library.ingredient("a").unwrap();
            (lot.nut_origin, lot.nut_origin_as_scent(), lot.sensitiser.is_some())
        };
        use NutOrigin::{No, TreeNut};
        for scent in ["limit_percent = 2", "allergens = { Linalool = 1 }", "flash_c = 65", "inci = 'Parfum'"] {
            assert_eq!(lot(scent), (No, No, false), "{scent}");
            assert_eq!(lot(&format!("{scent}\nnut_origin = 'tree-nut'")), (TreeNut, TreeNut, false), "{scent}");
        }
        for oil in ["", "flash_c = 250", "inci = 'Ricinus Communis Seed Oil'"] {
            assert_eq!(lot(oil), (TreeNut, No, true), "{oil}");
        }
    }

    #[test]
    fn a_lot_copies_its_parent_and_states_its_own() {
        let text = "\u{feff}[lot.my-wax]\nlike = 'bees wax'\nname = 'May wax'\nspecies = { POS = 80, POP = 19 }\n\
                    melt_c = 63.5\nneedle_dmm = 18\nprice_per_kg = 12\ndensity_g_ml = 0.95\nnut_origin = 'possible'\nflash_c = 250\n\
                    best_before = '2027-06-30'\nlimit_percent = 2.5\nallergens = { Linalool = 8.2, Limonene = 3 }\n\
                    [lot.oil-2]\nlike = 'castor-oil'\n";
        let (library, notes) = library().with_lots(text).unwrap();
        let lot = library.ingredient("my-wax").unwrap();
        assert!(lot.synonyms.is_empty(), "its parent's other names are its parent's: {:?}", lot.synonyms);
        assert_eq!((lot.density_status, lot.density_source.as_str()), (Status::Read, LOT_SOURCE));
        assert_eq!((lot.lot_of, lot.lot_melt_c, lot.lot_needle_dmm), (Some(id(0)), Some(63.5), Some(18.0)));
        assert_eq!((lot.lot_flash_c, lot.lot_limit_percent), (Some(250.0), Some(2.5)));
        assert_eq!(lot.lot_allergens, [("Linalool".to_owned(), 8.2), ("Limonene".to_owned(), 3.0)]);
        assert_eq!((lot.common_name.as_str(), lot.inci_name.as_str()), ("May wax", "Cera Flava"));
        assert_eq!((lot.price_per_kg, lot.density_g_ml, lot.density_at_c), (Some(12.0), 0.95, 20.0));
        assert_eq!(lot.nut_origin, NutOrigin::Possible);
        let shares: Vec<_> = lot.composition.iter().map(|c| (c.species, c.percent, c.sd_percent)).collect();
        assert_eq!(shares, [(1, 8000.0 / 99.0, 0.05 * (8000.0 / 99.0)), (0, 1900.0 / 99.0, 0.05 * (1900.0 / 99.0))]);
        assert!(lot.composition.iter().all(|c| c.status == Status::Read && c.source == LOT_SOURCE));
        assert_eq!(library.ingredients[6].composition, library.ingredients[3].composition);
        assert_eq!(lot.lot_best_before, Some(jiff::civil::date(2027, 6, 30)));
        assert!(notes.is_empty(), "{notes:?}");

        assert_eq!(library.find("cera flava"), Lookup::Found(id(0)), "a lot does not share its parent's declared name");
        let reading = read_inline("may wax 1, my-wax 1, oil 2 2", "x", &library);
        assert_eq!(parts(&library, reading), [("my-wax", 50.0), ("oil-2", 50.0)]);
    }

    /// The nearest right thing, and where it is written.
    #[test]
    fn what_a_lot_cannot_say_is_told_the_nearest() {
        let told = |stated: &str| {
            let text = format!("[lot.a]\nlike = 'castor-oil'\n{stated}\n");
            let errors = library().with_lots(&text).unwrap_err();
            assert_eq!(errors.len(), 1, "{errors:?}");
            (text[errors[0].span.clone()].to_owned(), errors[0].hints[0].clone())
        };
        let (place, hint) = told("kind = 'buters'");
        assert!(place == "'buters'" && hint.starts_with("The nearest kind is `butter`. "), "{place}: {hint}");
        for (stated, seen, word) in [
            ("class = 'wax'", "class", "`kind`"),
            ("flash_c = 15", "15", "data sheet"),
            ("limit_percent = 120", "120", "certificate"),
            ("price_per_kg = -3", "-3", "Check the number"),
        ] {
            let (place, hint) = told(stated);
            assert!(place == seen && hint.contains(word), "{place}: {hint}");
        }
    }

    /// The kinds that are named are those that are read.
    #[test]
    fn every_kind_named_is_one() {
        assert!(KINDS.iter().all(|word| kind_named(word).is_some()));
    }

    #[test]
    fn what_the_table_lacks_is_described_by_its_kind() {
        let text = "[lot.clay]\nkind='powder'\nname='Blue clay'\ndensity_g_ml=2.4\ngrain_um=7\n\
                    [lot.seed-oil]\nkind='oil'\ninci='Seed Oil'\nnut_origin='no'\n\
                    [lot.odd-wax]\nkind='wax'\nmelt_c=79\n[lot.soft-wax]\nkind='wax'\nmelt_c=52\n";
        let (library, _) = library().with_lots(text).unwrap();
        let lot = |key: &str| library.ingredient(key).unwrap();
        let clay = lot("clay");
        assert_eq!(
            (clay.common_name.as_str(), clay.inci_name.as_str(), clay.density_g_ml),
            ("Blue clay", "Blue clay", 2.4)
        );
        assert_eq!((clay.powder.as_ref().map(|it| it.diameter_um), clay.composition.len()), (Some(7.0), 0));
        let oil = lot("seed-oil");
        assert_eq!((oil.lot_of, oil.stands_alone, oil.inci_name.as_str()), (Some(id(3)), true, "Seed Oil"));
        assert_eq!((oil.nut_origin, oil.animal_origin), (NutOrigin::No, AnimalOrigin::Possible));
        assert!(oil.inci_parts.is_empty() && oil.sensitiser.is_none());
        // The wax that melts nearest stands in for it, with a wider spread, and nothing of its name.
        assert_eq!((lot("odd-wax").lot_of, lot("soft-wax").lot_of), (Some(id(2)), Some(id(1))));
        assert_eq!((lot("odd-wax").inci_name.as_str(), lot("odd-wax").nut_origin), ("odd-wax", NutOrigin::Possible));
        assert!(lot("odd-wax").composition[0].sd_percent > 5.0 * library.ingredients[2].composition[0].sd_percent);
    }

    #[test]
    fn a_lot_inherits_name_and_origins_of_what_it_is_like() {
        let text =
            "[lot.wax]\nlike='beeswax'\n[lot.free]\nlike='beeswax'\nanimal_origin='no'\n[lot.oil-2]\nlike='castor-oil'";
        let (library, _) = library().with_lots(text).unwrap();
        let of = |key: &str| {
            let lot = library.ingredient(key).unwrap();
            (lot.common_name.as_str(), lot.inci_name.as_str(), lot.animal_origin, lot.sensitiser.as_deref())
        };
        assert_eq!(of("wax"), ("wax", "Cera Flava", AnimalOrigin::Yes, Some("pollen")));
        assert_eq!(of("free"), ("free", "Cera Flava", AnimalOrigin::No, Some("pollen")));
        let oil = "Ricinus Communis Seed Oil (and) Tocopherol";
        assert_eq!(of("oil-2"), ("oil-2", oil, AnimalOrigin::Possible, None));
        assert_eq!(library.ingredients[7].inci_parts, library.ingredients[3].inci_parts);
    }

    #[test]
    fn a_density_is_as_good_as_the_lot_or_as_what_it_is_like() {
        let ingredients = INGREDIENTS.replace("0.96,20,read,s1,20", "0.96,20,estimated,s1,20");
        let library = Library::from_tables(&TableTexts { ingredients: &ingredients, ..TEXTS }).unwrap();
        let text = "[lot.weighed]\nlike='beeswax'\ndensity_g_ml=0.95\n[lot.copied]\nlike='beeswax'";
        let (library, _) = library.with_lots(text).unwrap();
        let of = |key: &str| {
            let lot = library.ingredient(key).unwrap();
            (lot.density_g_ml, lot.density_status, lot.density_source.as_str())
        };
        assert_eq!(of("weighed"), (0.95, Status::Read, LOT_SOURCE));
        assert_eq!(of("copied"), (0.96, Status::Estimated, "s1"));
    }

    /// 16.4 + 49.8 + 33.8 is 100 but for the last bit, and a scaling would make 49.8 into 49.800000000000004.
    #[test]
    fn parts_of_a_blend_that_sum_to_100_stay_as_written() {
        let (library, _) =
            library().with_lots("[lot.a]\nlike='castor-oil'\ninci={ A = 16.4, B = 49.8, C = 33.8 }").unwrap();
        let shares: Vec<f64> = library.ingredients[5].inci_parts.iter().map(|part| part.percent).collect();
        assert_eq!(shares, [49.8, 33.8, 16.4]);
    }

    #[test]
    fn a_blend_is_declared_by_the_shares_of_its_lot_of_its_parent_or_by_nobody_knows() {
        let parts = |inci: &str| -> Vec<(String, f64, f64, f64)> {
            let (library, _) = library().with_lots(&format!("[lot.a]\nlike='castor-oil'\ninci={inci}")).unwrap();
            let lot = library.ingredient("a").unwrap();
            assert_eq!(lot.inci_name.matches(AND).count() + 1, lot.inci_parts.len().max(1), "{}", lot.inci_name);
            let shares = lot
                .inci_parts
                .iter()
                .map(|part| (part.inci_name.clone(), part.percent, part.low_percent, part.high_percent));
            shares.collect()
        };
        let one = |name: &str, percent: f64, low: f64, high: f64| (name.to_owned(), percent, low, high);
        assert_eq!(
            parts("{ A = 59.4, \"B (Bee) Oil\" = 39.6 }"),
            [one("A", 60.0, 60.0, 60.0), one("B (Bee) Oil", 40.0, 40.0, 40.0)]
        );
        let same = [one("Ricinus Communis Seed Oil", 99.0, 95.0, 99.5), one("Tocopherol", 1.0, 0.5, 5.0)];
        assert_eq!(
            parts("{ A = 60, B = 40 }"),
            [one("A", 60.0, 60.0, 60.0), one("B", 40.0, 40.0, 40.0)],
            "as they were written"
        );
        assert_eq!(parts("'ricinus communis seed oil (AND) tocopherol'"), same);
        assert_eq!(parts("'A (and)B'"), [one("A", 50.0, 0.0, 100.0), one("B", 50.0, 0.0, 100.0)]);
        assert_eq!(parts("'Caprylic/Capric Triglyceride'"), []);
        assert_eq!(parts("'Parfum'"), []);
    }

    #[test]
    fn a_date_is_taken_as_a_text_and_as_it_is() {
        for written in ["'2027-06-30'", "' 2027-06-30 '", "2027-06-30"] {
            let (library, _) = library().with_lots(&format!("[lot.a]\nlike='beeswax'\nbest_before={written}")).unwrap();
            assert_eq!(library.ingredients[5].lot_best_before, Some(jiff::civil::date(2027, 6, 30)), "{written}");
        }
    }

    #[test]
    fn a_small_share_keeps_the_absolute_error() {
        let (library, _) = library().with_lots("[lot.a]\nlike='beeswax'\nspecies={POP=95,oil=5}").unwrap();
        let spread: Vec<f64> = library.ingredients[5].composition.iter().map(|c| c.sd_percent).collect();
        assert_eq!(spread, [4.75, 0.5]);
    }

    #[test]
    #[rustfmt::skip]
    fn every_refusal_has_its_code_and_place() {
        for (text, code, place) in [
            ("", "no-lots", ""),
            ("[lot]\n", "no-lots", "[lot]\n"),
            ("lot = 1", "wrong-kind", "1"),
            ("[lots.a]\nlike='beeswax'", "unknown-key", "lots"),
            ("[lot]\na = 1", "wrong-kind", "1"),
            ("[lot.a]\n", "like-missing", "a"),
            ("[lot.a]\nkind = 'stone'", "unknown-kind", "'stone'"),
            ("[lot.a]\nkind = 'wax'", "melt-missing", "a"),
            ("[lot.a]\nkind = 'oil'\ndensity_g_ml = 2.6", "out-of-range", "2.6"),
            ("[lot.a]\nkind = 'powder'\ndensity_g_ml = 26", "out-of-range", "26"),
            ("[lot.a]\nkind = 'powder'\ngrain_um = 0", "out-of-range", "0"),
            ("[lot.a]\nlike = 'white clay'\nmelt_c = 60", "test-of-another-kind", "60"),
            ("[lot.a]\nkind = 'powder'\nneedle_dmm = 60", "test-of-another-kind", "60"),
            ("[lot.a]\nkind = 'powder'\nspecies = { POP = 100 }", "test-of-another-kind", "species"),
            ("[lot.a]\nlike = 'beeswax'\ngrain_um = 6", "test-of-another-kind", "6"),
            ("[lot.a]\nlike = 3", "wrong-kind", "3"),
            ("[lot.a]\nlike = 'beswax'", "unknown-ingredient", "'beswax'"),
            ("[lot.a]\nlike = 'shared wax'", "ambiguous-ingredient", "'shared wax'"),
            ("[lot.cera-flava]\nlike = 'beeswax'", "lot-name-taken", "cera-flava"),
            ("[lot.a]\nlike='beeswax'\n[lot.A]\nlike='beeswax'", "lot-name-taken", "A"),
            ("[lot.a]\nlike='beeswax'\nname='Castor oil'", "lot-name-taken", "'Castor oil'"),
            ("[lot.'-']\nlike='beeswax'", "lot-name-empty", "'-'"),
            ("[lot.a]\nlike='beeswax'\nprice=3", "unknown-key", "price"),
            ("[lot.a]\nlike='beeswax'\nmelt_c='63'", "wrong-kind", "'63'"),
            ("[lot.a]\nlike='beeswax'\nmelt_c=251", "out-of-range", "251"),
            ("[lot.a]\nlike='beeswax'\nneedle_dmm=0", "out-of-range", "0"),
            ("[lot.a]\nlike='beeswax'\nprice_per_kg=-1", "out-of-range", "-1"),
            ("[lot.a]\nlike='beeswax'\ndensity_g_ml=nan", "out-of-range", "nan"),
            ("[lot.a]\nlike='beeswax'\nnut_origin='hazel'", "unknown-nut-origin", "'hazel'"),
            ("[lot.a]\nlike='beeswax'\nanimal_origin='perhaps'", "unknown-animal-origin", "'perhaps'"),
            ("[lot.a]\nlike='beeswax'\nanimal_origin=false", "wrong-kind", "false"),
            ("[lot.a]\nlike='beeswax'\ninci=3", "wrong-kind", "3"),
            ("[lot.a]\nlike='beeswax'\ninci=''", "empty-text", "''"),
            ("[lot.a]\nlike='beeswax'\ninci={A=60}", "inci-sum", "inci"),
            ("[lot.a]\nlike='beeswax'\ninci={}", "inci-sum", "inci"),
            ("[lot.a]\nlike='beeswax'\ninci={' '=100}", "empty-text", "100"),
            ("[lot.a]\nlike='beeswax'\ninci={A='x'}", "wrong-kind", "'x'"),
            ("[lot.a]\nlike='beeswax'\nbest_before=2027", "wrong-kind", "2027"),
            ("[lot.a]\nlike='beeswax'\nbest_before='30.6.2027'", "bad-date", "'30.6.2027'"),
            ("[lot.a]\nlike='beeswax'\nbest_before='2027-02-29'", "bad-date", "'2027-02-29'"),
            ("[lot.a]\nlike='beeswax'\nbest_before='20270630'", "bad-date", "'20270630'"),
            ("[lot.a]\nlike='beeswax'\nbest_before=0027-06-30", "bad-date", "0027-06-30"),
            ("[lot.a]\nlike='beeswax'\nbest_before=2027-06-30T10:00:00", "bad-date", "2027-06-30T10:00:00"),
            ("[lot.a]\nlike='beeswax'\nbest_before=10:00:00", "bad-date", "10:00:00"),
            ("[lot.a]\nlike='beeswax'\nspecies=3", "wrong-kind", "3"),
            ("[lot.a]\nlike='beeswax'\nspecies={POP=97.9}", "species-sum", "species"),
            ("[lot.a]\nlike='beeswax'\nspecies={}", "species-sum", "species"),
            ("[lot.a]\nlike='beeswax'\nspecies={POX=100}", "unknown-species", "POX"),
            ("[lot.a]\nlike='beeswax'\nspecies={POP=100,POS=0}", "zero-amount", "0"),
            ("[lot.a]\nlike='beeswax'\nspecies={POP=100}\nlike='x'", "duplicate-key", "like"),
        ] {
            let errors = library().with_lots(text).map(|_| ()).unwrap_err();
            let seen: Vec<_> = errors.iter().map(|error| (error.code, &text[error.span.clone()])).collect();
            assert_eq!(seen, [(code, place)], "{text:?}: {errors:?}");
        }
    }

    #[test]
    fn all_errors_come_at_once() {
        let text = "[lot.a]\nlike='x'\nmelt_c=999\n[lot.beeswax]\nlik='beeswax'";
        let mut seen = codes(library().with_lots(text).map(|_| ()));
        seen.sort_unstable();
        assert_eq!(seen, ["like-missing", "lot-name-taken", "out-of-range", "unknown-ingredient", "unknown-key"]);
    }
}
