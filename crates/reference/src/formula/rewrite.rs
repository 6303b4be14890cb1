//! Changes the amounts in a formula's TOML text and nothing else.
//!
//! The text is not taken apart and put together again: each change replaces the bytes of one amount, line or name at the place the
//! reader gives for it, so comments, order, spelling, spaces and line ends stay because they are never touched.

use std::ops::Range;

use toml::de::DeValue;

use super::assemble::WHOLE_PERCENT;
use super::quantity::{Unit, parse_quantity};
use super::rounding::{Wanted, round};
use super::toml::read_toml;
use super::write::{WriteError, checked, key, plain_name, quoted, shares};
use super::{BYTE_ORDER_MARK, Part};
use crate::findings::Findings;
use crate::number::scan;
use crate::toml_text::{Entry, entries, number_text, read};
use crate::{IngredientId, Library, Lookup};

/// Returns the text of a TOML formula with other parts, and with another name if one is given.
///
/// Comments, blank lines, order, quoting, line ends and a byte-order mark stay. Each amount keeps its kind: a number stays a number
/// and a text keeps its unit, and together they keep the file's total, be it 100, 500 or 1.2 kg; where a share marked % would come to more than the whole
/// bar by that, they sum to 100. Digits are those that matter: a
/// thousandth of the total, or two digits of a smaller dose. An amount that does not change is not written again. A part that falls
/// to nothing loses its line and the comment on it; a comment above stays, and between braces (`parts = { ... }`) every comment does. A new ingredient is appended to the parts.
///
/// # Arguments
/// * `text`: the text of the file.
/// * `parts`: all parts of the changed formula, by index into the library's ingredients; shares of any sum are scaled to 100 %, and
///   an ingredient of the file that is missing here, or falls below 0.000001 %, is taken out.
/// * `name`: the new name; the file's own stays without one.
/// * `library`: the library the formula was read with.
///
/// # Errors
/// [`WriteError`] when the text is not a formula, or the parts or the name cannot be one.
///
/// ```
/// use barwright_reference::{Library, Part, formula::{read_toml, rewrite_toml}};
/// let library = Library::builtin()?;
/// let text = "# for sheds\n[parts]\nbeeswax = \"130 g\" # from next door\n'sunflower oil' = \"370 g\"\n";
/// let reading = read_toml(text, "winter", &library)?;
/// let mut parts = reading.formulas[0].parts.clone();
/// (parts[0].percent, parts[1].percent) = (28.0, 72.0);
/// let changed = rewrite_toml(text, &parts, None, &library).map_err(|error| error.to_string())?;
/// assert_eq!(changed, "# for sheds\n[parts]\nbeeswax = \"140 g\" # from next door\n'sunflower oil' = \"360 g\"\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn rewrite_toml(text: &str, parts: &[Part], name: Option<&str>, library: &Library) -> Result<String, WriteError> {
    let reading = read_toml(text, "", library).map_err(WriteError::Unreadable)?;
    let old = reading.formulas.first().map_or(&[][..], |formula| &formula.parts);
    let mut shares = shares(parts, old, library)?;
    let (mark, body) = match text.strip_prefix(BYTE_ORDER_MARK) {
        Some(body) => (BYTE_ORDER_MARK, body),
        None => ("", text),
    };
    let file = File::read(body, library);
    let mut edits = Vec::new();
    if let Some(name) = name {
        edits.push(file.rename(name.trim())?);
    }

    let template = file.lines.iter().max_by(|one, other| one.mass().total_cmp(&other.mass()));
    let total = file.total(&shares, template);
    // What each line is to hold; an ingredient written twice keeps the ratio of its amounts.
    let wanted: Vec<Option<Wanted>> = file
        .lines
        .iter()
        .map(|line| {
            let share = shares.iter().find(|part| part.ingredient == line.ingredient)?;
            let amount = line.number * (share.percent / 100.0 * total / file.mass_of(line.ingredient));
            Some(Wanted { amount, per_unit: line.per_unit, old: Some(line.number) })
        })
        .collect();
    shares.retain(|part| file.lines.iter().all(|line| line.ingredient != part.ingredient));
    let per_unit = template.map_or(1.0, |line| line.per_unit);
    let new = shares.iter().map(|part| Wanted { amount: part.percent / 100.0 * total / per_unit, per_unit, old: None });
    let all: Vec<Wanted> = wanted.iter().flatten().copied().chain(new).collect();

    let mut amounts = round(&all, total).into_iter();
    for (line, _) in file.lines.iter().zip(&wanted).filter(|(_, wanted)| wanted.is_some()) {
        if let Some(number) = amounts.next().flatten() {
            edits.push(line.amount(body, &number, file.comma));
        }
    }
    let mut added = Vec::new();
    for (part, number) in shares.iter().zip(amounts) {
        let (Some(number), Some(template)) = (number, template) else { continue };
        let name = key(&plain_name(part.ingredient, library)?, file.literal_keys());
        added.push((name, template.value_of_a_new_one(body, &number, file.comma)));
    }
    let kept: Vec<bool> = wanted.iter().map(Option::is_some).collect();
    match file.layout {
        Layout::Inline => file.change_list(&kept, &added, &mut edits),
        Layout::Header | Layout::Dotted => file.change_lines(&kept, &added, &mut edits),
    }
    checked(format!("{mark}{}", apply(body, edits)), library)
}

/// How the parts are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Layout {
    /// A line `[parts]` with one line a part below it.
    Header,
    /// One line `parts.name = amount` a part.
    Dotted,
    /// `parts = { name = amount, … }`.
    Inline,
}

/// Bytes to be replaced, and what by.
#[derive(Debug)]
struct Edit {
    range: Range<usize>,
    text: String,
}

/// One part as written.
#[derive(Debug)]
struct Line {
    ingredient: IngredientId,
    key: Range<usize>,
    value: Range<usize>,
    /// The text in quotes; `None` for a number.
    text: Option<String>,
    /// The number before the unit.
    number: f64,
    /// What one of the unit is in grams, or 1 for a share.
    per_unit: f64,
    /// Whether it is marked %.
    percent: bool,
}

/// A formula file and the places in it.
#[derive(Debug)]
struct File<'t> {
    body: &'t str,
    lines: Vec<Line>,
    layout: Layout,
    /// Place of the name's value.
    name: Option<Range<usize>>,
    /// Place of the first key.
    first: usize,
    /// Whether amounts in quotes are written with a decimal comma.
    comma: bool,
}

impl<'t> File<'t> {
    /// Finds the places in a text that is known to be a formula.
    fn read(body: &'t str, library: &Library) -> File<'t> {
        let mut file =
            File { body, lines: Vec::new(), layout: Layout::Header, name: None, first: body.len(), comma: false };
        for entry in read(body, 0, &mut Findings::default()) {
            file.first = file.first.min(entry.key_span.start);
            match (entry.key.as_str(), entry.value) {
                ("name", _) => file.name = Some(entry.value_span),
                ("parts", DeValue::Table(table)) => {
                    file.layout = match piece(body, entry.key_span.end..body.len()).trim_start().chars().next() {
                        Some('=') => Layout::Inline,
                        Some('.') => Layout::Dotted,
                        _ => Layout::Header,
                    };
                    file.lines = entries(table, 0).iter().filter_map(|entry| Line::read(entry, library)).collect();
                }
                _ => {}
            }
        }
        let texts = file.lines.iter().filter_map(|line| line.text.as_deref());
        file.comma = texts.map(number_of).any(|number| number.contains(','));
        file
    }

    /// Amounts of an ingredient, in grams or in shares.
    fn mass_of(&self, ingredient: IngredientId) -> f64 {
        self.lines.iter().filter(|line| line.ingredient == ingredient).map(Line::mass).sum()
    }

    /// What the amounts of other shares sum to, in grams or in shares: as they do now, unless one marked % would be more than the whole bar.
    ///
    /// # Arguments
    /// * `template`: the line whose unit a new ingredient has.
    fn total(&self, shares: &[Part], template: Option<&Line>) -> f64 {
        let total: f64 = self.lines.iter().map(Line::mass).sum();
        let over = |part: &Part| {
            let of_part = || self.lines.iter().filter(|line| line.ingredient == part.ingredient);
            let amount = part.percent / 100.0 * total;
            let new = of_part().next().is_none() && template.is_some_and(|line| line.percent) && amount > WHOLE_PERCENT;
            new || of_part()
                .any(|line| line.percent && line.number * amount / self.mass_of(part.ingredient) > WHOLE_PERCENT)
        };
        if shares.iter().any(over) { WHOLE_PERCENT } else { total }
    }

    fn literal_keys(&self) -> bool {
        self.lines.iter().any(|line| piece(self.body, line.key.clone()).starts_with('\''))
    }

    fn line_end(&self) -> &'static str {
        if self.body.contains("\r\n") { "\r\n" } else { "\n" }
    }

    /// Gives the formula another name.
    fn rename(&self, name: &str) -> Result<Edit, WriteError> {
        if name.is_empty() {
            return Err(WriteError::EmptyName);
        }
        Ok(match &self.name {
            Some(range) => {
                let literal = piece(self.body, range.clone()).starts_with('\'');
                Edit { range: range.clone(), text: quoted(name, literal) }
            }
            None => {
                let start = line_start(self.body, self.first);
                let (line_end, blank) = (self.line_end(), self.layout == Layout::Header);
                let text = format!("name = {}{line_end}{}", quoted(name, false), if blank { line_end } else { "" });
                Edit { range: start..start, text }
            }
        })
    }

    /// Takes out and appends parts that have a line each.
    fn change_lines(&self, kept: &[bool], added: &[(String, String)], edits: &mut Vec<Edit>) {
        let body = self.body;
        for (line, _) in self.lines.iter().zip(kept).filter(|(_, kept)| !**kept) {
            let range = line_start(body, line.key.start)..line_after(body, line.value.end);
            edits.push(Edit { range, text: String::new() });
        }
        let (Some(last), Some(last_kept)) = (self.lines.last(), kept.last()) else { return };
        let after = line_after(body, last.value.end);
        let open = !piece(body, 0..after).ends_with('\n');
        // What stands before the name is the indent, and `parts.` where each line has that.
        let before = piece(body, line_start(body, last.key.start)..last.key.start);
        let equals = if piece(body, last.key.end..last.value.start) == "=" { "=" } else { " = " };
        let lines: Vec<String> = added.iter().map(|(name, value)| format!("{before}{name}{equals}{value}")).collect();
        if lines.is_empty() {
            return;
        }
        let text = lines.join(self.line_end());
        let text = match (open, *last_kept) {
            (true, true) => format!("{}{text}", self.line_end()),
            (true, false) => text,
            (false, _) => format!("{text}{}", self.line_end()),
        };
        edits.push(Edit { range: after..after, text });
    }

    /// Takes out and appends parts that stand in braces.
    fn change_list(&self, kept: &[bool], added: &[(String, String)], edits: &mut Vec<Edit>) {
        let body = self.body;
        let (Some(first), Some(last)) = (self.lines.first(), self.lines.last()) else { return };
        let closing_comma = comma_after(body, last.value.end).is_some();
        for (line, _) in self.lines.iter().zip(kept).filter(|(_, kept)| !**kept) {
            self.take_out(line, edits);
        }
        let added: Vec<String> = added.iter().map(|(name, value)| format!("{name} = {value}")).collect();
        let Some(end) = kept.iter().rposition(|kept| *kept) else {
            // All are gone; what is new stands where they stood.
            let place = blank_before(body, first.key.start);
            let text = match self.own_line(first) {
                Some(indent) => {
                    let between = format!(",{}{indent}", self.line_end());
                    format!("{indent}{}{}", added.join(&between), self.line_end())
                }
                None => format!(" {}", added.join(", ")),
            };
            edits.push(Edit { range: place..place, text });
            return;
        };
        let Some(line) = self.lines.get(end) else { return };
        if !closing_comma {
            edits.extend(comma_after(body, line.value.end).map(|at| Edit { range: at..at + 1, text: String::new() }));
        }
        let between = self.own_line(line).map_or(", ".to_owned(), |indent| format!(",{}{indent}", self.line_end()));
        let text = added.iter().fold(String::new(), |text, one| text + &between + one);
        edits.push(Edit { range: line.value.end..line.value.end, text });
    }

    /// Returns the indent of a part with which a line starts.
    fn own_line(&self, line: &Line) -> Option<&'t str> {
        let indent = piece(self.body, line_start(self.body, line.key.start)..line.key.start);
        indent.trim().is_empty().then_some(indent)
    }

    /// Takes one part out of the braces with its comma; comments between stay.
    fn take_out(&self, line: &Line, edits: &mut Vec<Edit>) {
        let body = self.body;
        let start = blank_before(body, line.key.start);
        let comma = comma_after(body, line.value.end);
        let near = comma.filter(|at| piece(body, line.value.end..*at).trim_matches([' ', '\t']).is_empty());
        let end = near.map_or(line.value.end, |at| at + 1);
        let rest = piece(body, end..body.len());
        let blank = rest.len() - rest.trim_start_matches([' ', '\t', '\r']).len();
        // A line that holds nothing else goes as a whole.
        let whole = start == line_start(body, start) && piece(body, end + blank..body.len()).starts_with('\n');
        edits.push(Edit { range: start..if whole { end + blank + 1 } else { end }, text: String::new() });
        if near.is_none() {
            edits.extend(comma.map(|at| Edit { range: at..at + 1, text: String::new() }));
        }
    }
}

impl Line {
    /// Reads a part that is known to be sound.
    fn read(entry: &Entry<'_>, library: &Library) -> Option<Line> {
        let Lookup::Found(ingredient) = library.find(&entry.key) else { return None };
        let (text, written) = match &entry.value {
            DeValue::String(text) => (Some(text.clone().into_owned()), text.as_ref()),
            value => (None, number_text(value)?),
        };
        let unit = scan(written.trim()).rest()?;
        let one = parse_quantity(&format!("1 {unit}")).ok()?;
        let (per_unit, percent) = (one.value, one.unit == Unit::Percent);
        let number = parse_quantity(written).ok()?.value / per_unit;
        let (key, value) = (entry.key_span.clone(), entry.value_span.clone());
        Some(Line { ingredient, key, value, text, number, per_unit, percent })
    }

    /// The amount in grams or in shares.
    fn mass(&self) -> f64 {
        self.number * self.per_unit
    }

    /// Replaces the number of an amount.
    fn amount(&self, body: &str, number: &str, comma: bool) -> Edit {
        let raw = piece(body, self.value.clone());
        let Some(text) = &self.text else {
            return Edit { range: self.value.clone(), text: number.to_owned() };
        };
        let old = number_of(text);
        let new = with_comma(number, comma && !old.contains('.'));
        let lead = text.len() - text.trim_start().len();
        match raw.find(text.as_str()) {
            Some(at) => {
                let start = self.value.start + at + lead;
                Edit { range: start..start + old.len(), text: new }
            }
            // The text holds escapes, so its bytes are not those of the amount.
            None => {
                let unit = piece(text, lead + old.len()..text.len()).trim_end();
                Edit { range: self.value.clone(), text: quoted(&format!("{new}{unit}"), false) }
            }
        }
    }

    /// Returns the value of a new part in the kind of this one.
    fn value_of_a_new_one(&self, body: &str, number: &str, comma: bool) -> String {
        let Some(text) = &self.text else {
            return number.to_owned();
        };
        let unit = piece(text.trim(), number_of(text).len()..text.trim().len());
        let blank = if unit.starts_with(char::is_whitespace) { " " } else { "" };
        let text = format!("{}{blank}{}", with_comma(number, comma), unit.trim());
        quoted(&text, piece(body, self.value.clone()).starts_with('\''))
    }
}

/// Returns the number at the start of an amount as written.
fn number_of(text: &str) -> &str {
    let text = text.trim();
    let rest = scan(text).rest().map_or(0, str::len);
    piece(text, 0..text.len() - rest)
}

/// Returns a number with a decimal comma if wanted; three decimals after it would read as thousands, so they become four.
fn with_comma(number: &str, comma: bool) -> String {
    match number.split_once('.') {
        Some((whole, fraction)) if comma => {
            let thousands = fraction.len() == 3 && !whole.starts_with('0');
            format!("{whole},{fraction}{}", if thousands { "0" } else { "" })
        }
        _ => number.to_owned(),
    }
}

/// Returns a piece of a text; empty when there is none.
fn piece(text: &str, range: Range<usize>) -> &str {
    text.get(range).unwrap_or("")
}

/// Returns where the line of a place starts.
fn line_start(body: &str, place: usize) -> usize {
    piece(body, 0..place).rfind('\n').map_or(0, |at| at + 1)
}

/// Returns where the line after that of a place starts.
fn line_after(body: &str, place: usize) -> usize {
    piece(body, place..body.len()).find('\n').map_or(body.len(), |at| place + at + 1)
}

/// Returns where the blanks before a place start.
fn blank_before(body: &str, place: usize) -> usize {
    piece(body, 0..place).trim_end_matches([' ', '\t']).len()
}

/// Returns the place of the comma that comes next, past blanks, line ends and comments.
fn comma_after(body: &str, place: usize) -> Option<usize> {
    let mut place = place;
    loop {
        let rest = piece(body, place..body.len());
        let bare = rest.trim_start_matches([' ', '\t', '\r', '\n']);
        place += rest.len() - bare.len();
        match bare.chars().next()? {
            ',' => return Some(place),
            '#' => place = line_after(body, place),
            _ => return None,
        }
    }
}

/// Applies edits that do not overlap; at one place, insertions come first.
fn apply(body: &str, mut edits: Vec<Edit>) -> String {
    edits.sort_by_key(|edit| (edit.range.start, edit.range.end));
    let (mut text, mut place) = (String::with_capacity(body.len()), 0);
    for edit in edits {
        text.push_str(piece(body, place..edit.range.start));
        text.push_str(&edit.text);
        place = edit.range.end.max(place);
    }
    text + piece(body, place..body.len())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sample::{id, library};

    /// Rewrites a text; indices are beeswax 0, plain wax 1, hard wax 2, castor oil 3.
    fn rewritten(text: &str, parts: &[(usize, f64)], name: Option<&str>) -> String {
        let parts: Vec<Part> =
            parts.iter().map(|(ingredient, percent)| Part { ingredient: id(*ingredient), percent: *percent }).collect();
        rewrite_toml(text, &parts, name, &library()).unwrap()
    }

    #[test]
    fn amounts_change_in_their_own_kind_and_nothing_else_does() {
        for (text, changed) in [
            ("[parts]\nbeeswax = 30\n\"Castor Oil\" = 70", "[parts]\nbeeswax = 40\n\"Castor Oil\" = 60"),
            (
                "[parts]\nbeeswax=30.0 # a\n\n# b\ncastor-oil   =7_0\n",
                "[parts]\nbeeswax=40 # a\n\n# b\ncastor-oil   =60\n",
            ),
            ("parts = { beeswax = 150, castor-oil = 350 }", "parts = { beeswax = 200, castor-oil = 300 }"),
            (
                "parts.beeswax = '3g'\nparts.castor-oil = \"7  g \"",
                "parts.beeswax = '4g'\nparts.castor-oil = \"6  g \"",
            ),
            ("[parts]\nbeeswax = '  30 g'\ncastor-oil = '70 g'", "[parts]\nbeeswax = '  40 g'\ncastor-oil = '60 g'"),
            ("[parts]\nbeeswax = '30 %'\ncastor-oil = '70'\n", "[parts]\nbeeswax = '40 %'\ncastor-oil = '60'\n"),
            (
                "[parts]\nbeeswax = '0,3 kg'\ncastor-oil = '0,7 kg'",
                "[parts]\nbeeswax = '0,4 kg'\ncastor-oil = '0,6 kg'",
            ),
            (
                "[parts]\nbeeswax = \"30\\u0020g\"\ncastor-oil = '70 g'",
                "[parts]\nbeeswax = \"40 g\"\ncastor-oil = '60 g'",
            ),
            (
                "[parts]\nbeeswax = '''\n30 g'''\ncastor-oil = '70 g'",
                "[parts]\nbeeswax = '''\n40 g'''\ncastor-oil = '60 g'",
            ),
            ("[parts]\r\nbeeswax = 30\r\ncastor-oil = 70\r\n", "[parts]\r\nbeeswax = 40\r\ncastor-oil = 60\r\n"),
            ("\u{feff}[parts]\nbeeswax = 3e1\ncastor-oil = 70", "\u{feff}[parts]\nbeeswax = 40\ncastor-oil = 60"),
        ] {
            assert_eq!(rewritten(text, &[(0, 40.0), (3, 60.0)], None), changed);
            assert_eq!(rewritten(text, &[(3, 70.0), (0, 30.0)], None), text, "unchanged");
        }
    }

    #[test]
    fn mixed_units_keep_each_its_own() {
        let text = "[parts]\nbeeswax = '1 oz'\nplain-wax = '28.349523125 g'\ncastor-oil = '0.056699046 kg'\n";
        let changed = rewritten(text, &[(0, 20.0), (1, 40.0), (3, 40.0)], None);
        assert_eq!(changed, "[parts]\nbeeswax = '0.8 oz'\nplain-wax = '45.4 g'\ncastor-oil = '0.0454 kg'\n");
    }

    #[test]
    fn a_decimal_comma_never_reads_as_thousands() {
        let text = "[parts]\nbeeswax = '1,5 kg'\ncastor-oil = '0,0625 kg'\n";
        let changed = rewritten(text, &[(0, 80.0), (3, 20.0)], None);
        assert_eq!(changed, "[parts]\nbeeswax = '1,25 kg'\ncastor-oil = '0,312 kg'\n");
        assert_eq!(with_comma("1.255", true), "1,2550");
    }

    #[test]
    fn an_ingredient_written_twice_keeps_its_ratio() {
        let text = "[parts]\nbeeswax = 10\ncastor-oil = 70\n'bee wax' = 20\n";
        let changed = rewritten(text, &[(0, 60.0), (3, 40.0)], None);
        assert_eq!(changed, "[parts]\nbeeswax = 20\ncastor-oil = 40\n'bee wax' = 40\n");
    }

    #[test]
    fn a_part_at_nothing_goes_and_the_comment_above_it_stays() {
        for (text, changed) in [
            (
                "# top\n[parts]\nbeeswax = 30\n\n# soft one\nplain-wax = 20 # dear\ncastor-oil = 50\n# end\n",
                "# top\n[parts]\nbeeswax = 40\n\n# soft one\ncastor-oil = 60\n# end\n",
            ),
            ("[parts]\nbeeswax=30\ncastor-oil=50\nplain-wax='''\n20'''", "[parts]\nbeeswax=40\ncastor-oil=60\n"),
            (
                "parts.plain-wax = 20\nname = 'x'\nparts.beeswax = 30\nparts.castor-oil = 50",
                "name = 'x'\nparts.beeswax = 40\nparts.castor-oil = 60",
            ),
            ("parts = {plain-wax=20,beeswax=30,castor-oil=50}", "parts = {beeswax=40,castor-oil=60}"),
            ("parts = { beeswax = 30, plain-wax = 20, castor-oil = 50 }", "parts = { beeswax = 40, castor-oil = 60 }"),
            ("parts = { beeswax = 30, castor-oil = 50, plain-wax = 20 }", "parts = { beeswax = 40, castor-oil = 60 }"),
            (
                "parts = {\n  beeswax = 30, # one, two\n  # soft\n  plain-wax = 20,\n  castor-oil = 50, # last\n}\n",
                "parts = {\n  beeswax = 40, # one, two\n  # soft\n  castor-oil = 60, # last\n}\n",
            ),
            (
                "parts = {\n  beeswax = 30\n  , castor-oil = 50 # no, not yet\n  , plain-wax = 20 # soft\n}\n",
                "parts = {\n  beeswax = 40\n  , castor-oil = 60 # no, not yet\n   # soft\n}\n",
            ),
            (
                "parts = {\n  plain-wax = 20 # soft\n  , beeswax = 30\n  , castor-oil = 50\n}\n",
                "parts = {\n # soft\n   beeswax = 40\n  , castor-oil = 60\n}\n",
            ),
            (
                "parts = {\n  beeswax = 30,\n  castor-oil = 50,\n  plain-wax = 20,\n}\n",
                "parts = {\n  beeswax = 40,\n  castor-oil = 60,\n}\n",
            ),
            (
                "parts = {\n  plain-wax = 20, beeswax = 30,\n  castor-oil = 50,\n}\n",
                "parts = {\n beeswax = 40,\n  castor-oil = 60,\n}\n",
            ),
            (
                "parts = {\n  beeswax = 30, plain-wax = 20,\n  castor-oil = 50,\n}\n",
                "parts = {\n  beeswax = 40,\n  castor-oil = 60,\n}\n",
            ),
        ] {
            assert_eq!(rewritten(text, &[(0, 40.0), (3, 60.0)], None), changed);
        }
    }

    #[test]
    fn new_parts_are_appended_in_the_kind_of_the_largest() {
        let new = [(0, 40.0), (3, 50.0), (2, 10.0)];
        for (text, changed) in [
            (
                "[parts]\n  beeswax = '50 g'\n  castor-oil = '50g' # b\n\n# end\n",
                "[parts]\n  beeswax = '40 g'\n  castor-oil = '50g' # b\n  \"hard wax\" = '10g'\n\n# end\n",
            ),
            (
                "[parts]\r\n'castor oil'='0,5 g'\r\nbeeswax='0,5 g'",
                "[parts]\r\n'castor oil'='0,5 g'\r\nbeeswax='0,4 g'\r\n'hard wax'='0,1 g'",
            ),
            (
                "parts.beeswax = 50\nparts.castor-oil = 50\nname = 'x'",
                "parts.beeswax = 40\nparts.castor-oil = 50\nparts.\"hard wax\" = 10\nname = 'x'",
            ),
            (
                "parts = { beeswax = 50, castor-oil = 50 } # x",
                "parts = { beeswax = 40, castor-oil = 50, \"hard wax\" = 10 } # x",
            ),
            (
                "parts = {\n  beeswax = 50,\n  castor-oil = 50,\n}\n",
                "parts = {\n  beeswax = 40,\n  castor-oil = 50,\n  \"hard wax\" = 10,\n}\n",
            ),
        ] {
            assert_eq!(rewritten(text, &new, None), changed);
        }
    }

    #[test]
    fn everything_can_be_replaced_at_once() {
        for (text, changed) in [
            ("[parts]\nbeeswax = 1\n# c\nplain-wax = 9\n", "[parts]\n# c\n\"hard wax\" = 4\n\"castor oil\" = 6\n"),
            ("[parts]\nbeeswax = 1\nplain-wax = 9", "[parts]\n\"hard wax\" = 4\n\"castor oil\" = 6"),
            ("parts = { beeswax = 1, plain-wax = 9 }", "parts = { \"hard wax\" = 4, \"castor oil\" = 6 }"),
            (
                "parts = {\n  beeswax = 1,\n  plain-wax = 9,\n}",
                "parts = {\n  \"hard wax\" = 4,\n  \"castor oil\" = 6\n}",
            ),
        ] {
            assert_eq!(rewritten(text, &[(2, 40.0), (3, 60.0)], None), changed);
        }
        let swapped = rewritten("parts = { beeswax = 4, castor-oil = 6 }", &[(0, 40.0), (2, 60.0)], None);
        assert_eq!(swapped, "parts = { beeswax = 4, \"hard wax\" = 6 }");
    }

    #[test]
    fn the_name_changes_only_when_one_is_given() {
        for (text, changed) in [
            ("name = 'a' # n\nparts.beeswax = 1", "name = 'b c' # n\nparts.beeswax = 1"),
            ("name = \"\"\"a\nb\"\"\"\n[parts]\nbeeswax = 1", "name = \"b c\"\n[parts]\nbeeswax = 1"),
            ("# top\n\n[parts]\r\nbeeswax = 1", "# top\n\nname = \"b c\"\r\n\r\n[parts]\r\nbeeswax = 1"),
            ("\u{feff}note = 'n'\n[parts]\nbeeswax = 1", "\u{feff}name = \"b c\"\n\nnote = 'n'\n[parts]\nbeeswax = 1"),
            ("parts = { beeswax = 1 }", "name = \"b c\"\nparts = { beeswax = 1 }"),
        ] {
            assert_eq!(rewritten(text, &[(0, 100.0)], Some(" b c ")), changed);
            assert_eq!(rewritten(text, &[(0, 100.0)], None), text);
        }
    }

    #[test]
    fn what_cannot_be_written_is_refused() {
        let refused = |text: &str, parts: &[(usize, f64)], name: Option<&str>| {
            let parts: Vec<Part> = parts
                .iter()
                .map(|(ingredient, percent)| Part { ingredient: id(*ingredient), percent: *percent })
                .collect();
            rewrite_toml(text, &parts, name, &library()).unwrap_err()
        };
        let text = "[parts]\nbeeswax = 2e-9\n";
        assert!(matches!(refused("parts = 3", &[(0, 1.0)], None), WriteError::Unreadable(_)));
        assert!(matches!(refused(text, &[(0, 9.0), (1, 1.0)], None), WriteError::Rejected(_)));
        assert_eq!(refused(text, &[(0, 0.0)], None), WriteError::NothingLeft);
        assert_eq!(refused(text, &[(0, 1.0)], Some(" ")), WriteError::EmptyName);
    }
}
