//! A space of formulas as TOML text: ingredients with ranges, totals, prices, and demands on the bars.
//!
//! ```toml
//! name = "..."              note = "..."
//! [ingredients]             ingredient = "5..30" (either end open), or one amount; mass % of the bar
//! [totals]                  a kind (waxes, butters, ...) = "20..35", or a name = { of = [ingredients, kinds], range = "..10" }
//! [prices]                  ingredient = money for a kilogram
//! [demands]                 hold, detail, firmness, like, skin, max_price
//! ```
//! Demands are kept as written: what they mean is the model's to say.

use std::ops::{Range, RangeInclusive};

use toml::de::{DeTable, DeValue};

use crate::finder::Finder;
use crate::findings::Findings;
use crate::formula::BYTE_ORDER_MARK;
use crate::lots::PRICE_PER_KG;
use crate::number::{Scan, scan};
use crate::range::parse_range;
use crate::toml_text::{Entry, entries, filled_text, number_text, read, unknown_key, wrong_kind};
use crate::wording::{list, quote};
use crate::{Diagnostic, Diagnostics, IngredientId, IngredientKind, Library, Lookup};

/// The keys a space file can have.
const KEYS: &[&str] = &["name", "note", "ingredients", "totals", "prices", "demands"];

/// The keys a total of its own can have.
const TOTAL_KEYS: &[&str] = &["of", "range"];

/// Bounds of a range whose end is open, mass %.
const WHOLE: RangeInclusive<f64> = 0.0..=100.0;

/// How a range is written.
const RANGE_HINT: &str = "Write amounts in % of the bar: `\"5..30\"`, `\"..25\"`, `\"20..\"` or `20`.";

/// What can be demanded of the bars of a space.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wish {
    /// Keeps its shape at a temperature.
    Hold,
    /// Leaves a mould of this relief whole.
    Detail,
    /// So firm, at least or at most.
    Firmness,
    /// As firm as a bar of unknown formula, whose tests are in a file of this name.
    Like,
    /// Melts on skin by this share.
    Skin,
    /// Costs at most this.
    MaxPrice,
}

impl Wish {
    /// Every wish.
    pub const ALL: [Wish; 6] = [Wish::Hold, Wish::Detail, Wish::Firmness, Wish::Like, Wish::Skin, Wish::MaxPrice];

    /// The words written in a space file.
    const WORDS: [&'static str; 6] = ["hold", "detail", "firmness", "like", "skin", "max_price"];

    /// Returns the word written in a space file.
    pub fn word(self) -> &'static str {
        Self::ALL.iter().zip(Self::WORDS).find(|(wish, _)| **wish == self).map_or("", |(_, word)| word)
    }
}

/// An ingredient with its range.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranged {
    /// The ingredient.
    pub ingredient: IngredientId,
    /// Least mass %.
    pub least: f64,
    /// Most mass %.
    pub most: f64,
    /// Where its name stands.
    pub span: Range<usize>,
}

/// A total with its range.
#[derive(Debug, Clone, PartialEq)]
pub struct Total {
    /// Its name.
    pub name: String,
    /// Positions in [`SpaceText::ingredients`].
    pub members: Vec<usize>,
    /// Least mass %.
    pub least: f64,
    /// Most mass %.
    pub most: f64,
    /// Where its name stands.
    pub span: Range<usize>,
}

/// A demand on the bars, as written.
#[derive(Debug, Clone, PartialEq)]
pub struct WishText {
    /// What it is about.
    pub wish: Wish,
    /// As written.
    pub text: String,
    /// Where it is written.
    pub span: Range<usize>,
}

/// A space of formulas as written.
#[derive(Debug, Clone, PartialEq)]
pub struct SpaceText {
    /// Its name.
    pub name: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// Ingredients in the order written.
    pub ingredients: Vec<Ranged>,
    /// Totals in the order written.
    pub totals: Vec<Total>,
    /// Price per kilogram of ingredients; may hold ingredients that are not in the space.
    pub prices: Vec<(IngredientId, f64)>,
    /// Where `[prices]` is written.
    pub prices_span: Option<Range<usize>>,
    /// Demands on the bars.
    pub wishes: Vec<WishText>,
    /// Where `[ingredients]` is written.
    pub span: Range<usize>,
}

impl SpaceText {
    /// Reads a space from TOML text.
    ///
    /// # Errors
    /// Every error of the text.
    ///
    /// ```
    /// use barwright_reference::{Library, space::SpaceText};
    /// let library = Library::builtin()?;
    /// let text = "[ingredients]\nbeeswax = '5..30'\n'sunflower oil' = '20..'\n[totals]\nwaxes = '20..35'\n[demands]\nhold = '40C'\n";
    /// let space = SpaceText::read(text, &library)?;
    /// assert_eq!((space.ingredients[0].most, space.totals[0].members.as_slice()), (30.0, [0].as_slice()));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn read(text: &str, library: &Library) -> Result<SpaceText, Diagnostics> {
        let body = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
        let offset = text.len() - body.len();
        let mut reader = Reader {
            offset,
            library,
            finder: Finder::new(library),
            findings: Findings::default(),
            space: SpaceText {
                name: None,
                note: None,
                ingredients: Vec::new(),
                totals: Vec::new(),
                prices: Vec::new(),
                prices_span: None,
                wishes: Vec::new(),
                span: 0..text.len(),
            },
        };
        let mut tables: Vec<(String, Vec<Entry<'_>>)> = Vec::new();
        for entry in read(body, offset, &mut reader.findings) {
            if !KEYS.contains(&entry.key.as_str()) {
                reader.unknown(&entry);
                continue;
            }
            match entry.key.as_str() {
                "name" => reader.space.name = filled_text(&entry, &mut reader.findings),
                "note" => reader.space.note = filled_text(&entry, &mut reader.findings),
                _ => match entry.value {
                    DeValue::Table(table) => {
                        match entry.key.as_str() {
                            "ingredients" => reader.space.span = entry.key_span,
                            "prices" => reader.space.prices_span = Some(entry.key_span),
                            _ => {}
                        }
                        tables.push((entry.key, entries(table, offset)));
                    }
                    _ => {
                        let hint = format!("Write a line `[{}]` and below it one `key = value` a line.", entry.key);
                        reader.findings.push(wrong_kind(&entry, "a table").hint(hint));
                    }
                },
            }
        }
        // Totals are made of the ingredients, wherever they are written.
        for wanted in KEYS {
            for (_, entries) in tables.iter().filter(|(key, _)| key == wanted) {
                entries.iter().for_each(|entry| reader.line(wanted, entry));
            }
        }
        let Reader { mut findings, space, .. } = reader;
        if space.ingredients.is_empty() && !findings.has_errors() {
            findings.push(
                Diagnostic::error("no-ingredients", "the space has no ingredients", space.span.clone()).hint(
                    "Write a line `[ingredients]` and below it what is on your shelf, such as `beeswax = \"5..30\"`.",
                ),
            );
        }
        findings.finish(space).map(|(space, _)| space)
    }
}

/// A text being read.
struct Reader<'l> {
    offset: usize,
    library: &'l Library,
    finder: Finder<'l>,
    findings: Findings,
    space: SpaceText,
}

impl Reader<'_> {
    fn unknown(&mut self, entry: &Entry<'_>) {
        let known = unknown_key(entry, KEYS);
        self.findings.push(match self.library.find(&entry.key) {
            Lookup::Unknown { .. } => known,
            Lookup::Found(_) | Lookup::Ambiguous(_) => {
                known.hint("An ingredient belongs below a line `[ingredients]`.")
            }
        });
    }

    /// Reads one line of a table.
    fn line(&mut self, table: &str, entry: &Entry<'_>) {
        match table {
            "ingredients" => self.ingredient(entry),
            "totals" => self.total(entry),
            "prices" => self.price(entry),
            "demands" => self.demand(entry),
            _ => {}
        }
    }

    /// Returns a range, or reports what is wrong with it.
    fn range(&mut self, entry: &Entry<'_>) -> Option<(f64, f64)> {
        let text = match &entry.value {
            DeValue::String(text) => text.as_ref(),
            value => match number_text(value) {
                Some(number) => number,
                None => {
                    self.findings.push(wrong_kind(entry, "a range").hint(RANGE_HINT));
                    return None;
                }
            },
        };
        match parse_range(text) {
            Ok((least, most)) => Some((least.unwrap_or(*WHOLE.start()), most.unwrap_or(*WHOLE.end()))),
            Err(message) => {
                self.findings.push(Diagnostic::error("bad-range", message, entry.value_span.clone()).hint(RANGE_HINT));
                None
            }
        }
    }

    fn ingredient(&mut self, entry: &Entry<'_>) {
        let found = self.finder.find(&entry.key, entry.key_span.clone(), &mut self.findings);
        let range = self.range(entry);
        let (Some(ingredient), Some((least, most))) = (found, range) else { return };
        if self.space.ingredients.iter().any(|known| known.ingredient == ingredient) {
            let message = format!("{} is an ingredient that is written above", quote(&entry.key));
            self.findings.push(
                Diagnostic::error("ingredient-twice", message, entry.key_span.clone()).hint("Keep one of the lines."),
            );
            return;
        }
        self.space.ingredients.push(Ranged { ingredient, least, most, span: entry.key_span.clone() });
    }

    /// Positions among the ingredients of what a name or a kind means.
    fn members(&mut self, word: &str, span: Range<usize>) -> Vec<usize> {
        let kind = IngredientKind::called(word);
        let found = match kind {
            Some(_) => None,
            None => match self.finder.find(word, span.clone(), &mut self.findings) {
                Some(index) => Some(index),
                None => return Vec::new(),
            },
        };
        let belongs = |one: &Ranged| match kind {
            Some(kind) => self.library.get(one.ingredient).is_some_and(|known| known.kind == kind),
            None => Some(one.ingredient) == found,
        };
        let places: Vec<usize> =
            self.space.ingredients.iter().enumerate().filter(|(_, one)| belongs(one)).map(|(place, _)| place).collect();
        if places.is_empty() {
            let message = format!("there is no {} among the ingredients of the space", quote(word));
            self.findings.push(
                Diagnostic::error("not-in-space", message, span)
                    .hint("Write it below `[ingredients]`, or leave it out here."),
            );
        }
        places
    }

    fn total(&mut self, entry: &Entry<'_>) {
        let (members, range) = match &entry.value {
            DeValue::Table(table) => self.own_total(entry, table),
            _ if IngredientKind::called(&entry.key).is_some() => {
                (self.members(&entry.key, entry.key_span.clone()), self.range(entry))
            }
            _ => {
                let message = format!("{} is not a kind of ingredient", quote(&entry.key));
                let kinds = list(IngredientKind::PLURALS, "or");
                let hint =
                    format!("Write {kinds}, or a name of your own with `{{ of = [\"...\"], range = \"..10\" }}`.");
                let of_one = !matches!(self.library.find(&entry.key), Lookup::Unknown { .. });
                let wrong = Diagnostic::error("unknown-total", message, entry.key_span.clone()).hint(hint);
                let at_home = "The range of one ingredient belongs below `[ingredients]`.";
                self.findings.push(if of_one { wrong.hint(at_home) } else { wrong });
                return;
            }
        };
        if let (false, Some((least, most))) = (members.is_empty(), range) {
            self.space.totals.push(Total {
                name: entry.key.clone(),
                members,
                least,
                most,
                span: entry.key_span.clone(),
            });
        }
    }

    /// Reads a total with members of its own.
    fn own_total(&mut self, entry: &Entry<'_>, table: &DeTable<'_>) -> (Vec<usize>, Option<(f64, f64)>) {
        let (mut members, mut range) = (Vec::new(), None);
        let (mut has_members, mut has_range) = (false, false);
        for line in entries(table.clone(), self.offset) {
            match (line.key.as_str(), &line.value) {
                ("range", _) => {
                    has_range = true;
                    range = self.range(&line);
                }
                ("of", DeValue::Array(names)) => {
                    has_members = true;
                    for name in names.iter() {
                        let span = self.offset + name.span().start..self.offset + name.span().end;
                        match name.get_ref() {
                            DeValue::String(word) => members.extend(self.members(word, span)),
                            _ => self.findings.push(
                                Diagnostic::error("wrong-kind", "a member of a total is not a text in quotes", span)
                                    .hint("Write `of = [\"shea butter\", \"mango butter\"]`."),
                            ),
                        }
                    }
                }
                ("of", _) => {
                    has_members = true;
                    self.findings.push(
                        wrong_kind(&line, "a list of names").hint("Write `of = [\"shea butter\", \"mango butter\"]`."),
                    );
                }
                _ => self.findings.push(unknown_key(&line, TOTAL_KEYS)),
            }
        }
        for (has, key) in [(has_members, "of"), (has_range, "range")] {
            if !has {
                let message = format!("the total {} has no `{key}`", quote(&entry.key));
                self.findings.push(
                    Diagnostic::error("total-incomplete", message, entry.key_span.clone())
                        .hint("Write `{ of = [\"shea butter\", \"mango butter\"], range = \"..30\" }`."),
                );
            }
        }
        members.sort_unstable();
        members.dedup();
        (members, range)
    }

    fn price(&mut self, entry: &Entry<'_>) {
        let found = self.finder.find(&entry.key, entry.key_span.clone(), &mut self.findings);
        let Some(number) = number_text(&entry.value) else {
            self.findings
                .push(wrong_kind(entry, "a number").hint("Write the price of a kilogram, without a currency."));
            return;
        };
        match scan(number) {
            Scan::Number { value, .. } if PRICE_PER_KG.contains(&value) => {
                let known = found.is_some_and(|index| self.space.prices.iter().any(|(one, _)| *one == index));
                if known {
                    let message = format!("the price of {} is written above", quote(&entry.key));
                    self.findings.push(
                        Diagnostic::error("price-twice", message, entry.key_span.clone())
                            .hint("Keep one of the lines."),
                    );
                }
                self.space.prices.extend(found.filter(|_| !known).map(|index| (index, value)));
            }
            _ => self.findings.push(
                Diagnostic::error("out-of-range", format!("{number} is not a price"), entry.value_span.clone())
                    .hint("Write the price of a kilogram, 0 or more."),
            ),
        }
    }

    fn demand(&mut self, entry: &Entry<'_>) {
        let Some(wish) = Wish::ALL.into_iter().find(|wish| wish.word() == entry.key) else {
            self.findings.push(unknown_key(entry, &Wish::WORDS));
            return;
        };
        let written = |value: &DeValue<'_>| match value {
            DeValue::String(text) => Some(text.to_string()),
            value => number_text(value).map(str::to_owned),
        };
        let texts: Vec<(Option<String>, Range<usize>)> = match &entry.value {
            DeValue::Array(several) if wish == Wish::Firmness => {
                let place = |span: Range<usize>| self.offset + span.start..self.offset + span.end;
                several.iter().map(|one| (written(one.get_ref()), place(one.span()))).collect()
            }
            value => vec![(written(value), entry.value_span.clone())],
        };
        for (text, span) in texts {
            match text {
                Some(text) => self.space.wishes.push(WishText { wish, text, span }),
                None => self.findings.push(
                    Diagnostic::error("wrong-kind", format!("{} is neither a number nor a text in quotes", quote(&entry.key)), span)
                        .hint("Write such as `hold = \"45C\"`, `detail = \"0.8mm\"`, `firmness = \"20..45%@25C\"`, `skin = 60`, `max_price = 12`."),
                ),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sample::library;

    #[test]
    fn everything_a_space_can_say_is_read() {
        let text = "\u{feff}name = 'shelf'\nnote = 'invented'\n[demands]\nfirmness = ['20..45%@25C', '80kPa']\nskin = 60\n\
            [totals]\nwaxes = '20..35'\nhome = { of = ['castor oil', 'waxes'], range = '..40' }\n\
            [ingredients]\nbeeswax = '5..30'\n'hard wax' = 3\n'castor-oil' = '20..'\n[prices]\nbeeswax = 18.5\n'castor oil' = 4\n";
        let space = SpaceText::read(text, &library()).unwrap();
        assert_eq!((space.name.as_deref(), space.note.as_deref()), (Some("shelf"), Some("invented")));
        let ranges: Vec<_> = space.ingredients.iter().map(|one| (one.least, one.most)).collect();
        assert_eq!(ranges, [(5.0, 30.0), (3.0, 3.0), (20.0, 100.0)]);
        let totals: Vec<_> =
            space.totals.iter().map(|one| (one.name.as_str(), one.members.clone(), one.most)).collect();
        assert_eq!(totals, [("waxes", vec![0, 1], 35.0), ("home", vec![0, 1, 2], 40.0)]);
        assert_eq!(space.prices.iter().map(|(_, price)| *price).collect::<Vec<_>>(), [18.5, 4.0]);
        let wishes: Vec<_> = space.wishes.iter().map(|one| (one.wish.word(), one.text.as_str())).collect();
        assert_eq!(wishes, [("firmness", "20..45%@25C"), ("firmness", "80kPa"), ("skin", "60")]);
        assert_eq!(&text[space.wishes[2].span.clone()], "60");
        assert_eq!(&text[space.totals[1].span.clone()], "home");
        assert_eq!(&text[space.span], "ingredients");
        assert_eq!(space.prices_span.map(|span| &text[span]), Some("prices"));
    }

    #[test]
    fn the_range_of_one_ingredient_is_sent_home() {
        for (name, hints) in [("beeswax", 2), ("waxs", 1)] {
            let text = format!("[ingredients]\nbeeswax = '5..30'\n[totals]\n{name} = '..30'");
            let errors = SpaceText::read(&text, &library()).unwrap_err();
            assert_eq!(errors[0].hints.len(), hints, "{errors:?}");
        }
    }

    #[test]
    fn every_refusal_has_its_code_and_place() {
        let after = "[ingredients]\nbeeswax = '5..30'\n";
        for (text, code, place) in [
            ("# x\n", "no-ingredients", "# x\n"),
            ("[ingredients]\n", "no-ingredients", "ingredients"),
            ("ingredients = 3", "wrong-kind", "3"),
            ("ingredeints = 3", "unknown-key", "ingredeints"),
            ("beeswax = 3", "unknown-key", "beeswax"),
            ("[ingredients]\nbeeswax = '30..5'", "bad-range", "'30..5'"),
            ("[ingredients]\nbeeswax = 130", "bad-range", "130"),
            ("[ingredients]\nbeeswax = [1, 2]", "wrong-kind", "[1, 2]"),
            ("[ingredients]\nbees = 3", "unknown-ingredient", "bees"),
            ("[ingredients]\nbeeswax = 3\n'bees wax' = 4", "ingredient-twice", "'bees wax'"),
            ("[totals]\nwaxs = '..30'", "unknown-total", "waxs"),
            ("[totals]\nbeeswax = '..30'", "unknown-total", "beeswax"),
            ("[totals]\nbutters = '..30'", "not-in-space", "butters"),
            ("[totals]\nwaxes = 'x'", "bad-range", "'x'"),
            ("[totals]\nx = { of = ['castor oil'], range = 5 }", "not-in-space", "'castor oil'"),
            ("[totals]\nx = { of = 'waxes', range = 5 }", "wrong-kind", "'waxes'"),
            ("[totals]\nx = { of = [3], range = 5 }", "wrong-kind", "3"),
            ("[totals]\nx = { of = ['waxes'] }", "total-incomplete", "x"),
            ("[totals]\nx = { of = ['waxes'], rnage = 4, range = 5 }", "unknown-key", "rnage"),
            ("[prices]\nbeeswax = -1", "out-of-range", "-1"),
            ("[prices]\nbeeswax = '3'", "wrong-kind", "'3'"),
            ("[prices]\nbeeswax = 3\n'bees wax' = 3", "price-twice", "'bees wax'"),
            ("[demands]\nhodl = 45", "unknown-key", "hodl"),
            ("[demands]\nhold = [45]", "wrong-kind", "[45]"),
            ("[demands]\nfirmness = [true]", "wrong-kind", "true"),
        ] {
            let text = if text.starts_with("[t") || text.starts_with("[p") || text.starts_with("[d") {
                format!("{after}{text}")
            } else {
                text.to_owned()
            };
            let errors = SpaceText::read(&text, &library()).unwrap_err();
            let seen: Vec<_> = errors.iter().map(|error| (error.code, &text[error.span.clone()])).collect();
            assert_eq!(seen, [(code, place)], "{text:?}: {errors:?}");
        }
    }

    #[test]
    fn every_error_is_reported_at_once() {
        let text = "[ingredients]\nbeeswax = '9..5'\nbees = 3\n[totals]\nmelts = 3\n[demands]\nhodl = 4\n";
        let errors = SpaceText::read(text, &library()).unwrap_err();
        let codes: Vec<_> = errors.iter().map(|error| error.code).collect();
        assert_eq!(codes, ["bad-range", "unknown-ingredient", "unknown-total", "unknown-key"]);
    }
}
