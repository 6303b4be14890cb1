//! Formulas as text, and changed in their own text.

use arbitrary::Unstructured;
use barwright_reference::formula::{Format, WriteError, read, read_toml, rewrite_toml, sniff, to_toml};
use barwright_reference::{Formula, Part};
use toml::de::{DeTable, DeValue};

use crate::claims;
use crate::task::{self, LIBRARY};

/// Coarsest step of a share that is written, mass %: parts below 1 % have two digits.
const WRITTEN_PERCENT: f64 = 0.1;

/// Bytes before the text of [`formula_rewrite`] that say how it is changed.
const CHANGE_BYTES: usize = 16;

/// A part of at most this share of the whole is nothing (`rewrite_toml`).
const SMALLEST_SHARE: f64 = 1e-8;

/// The byte-order mark some programs put before text.
const BYTE_ORDER_MARK: &str = "\u{feff}";

/// A formula as it is written on the command line.
pub fn formula_inline(data: &[u8]) -> u64 {
    formula(data, Format::Inline)
}

/// A formula file.
pub fn formula_toml(data: &[u8]) -> u64 {
    formula(data, Format::Toml)
}

/// A table of formulas.
pub fn formula_csv(data: &[u8]) -> u64 {
    formula(data, Format::Csv)
}

fn formula(data: &[u8], format: Format) -> u64 {
    let text = claims::text(data);
    sniff(&text);
    match read(&text, format, "bar", &LIBRARY) {
        Ok(reading) => {
            claims::notes(&text, &reading.notes);
            assert!(!reading.formulas.is_empty(), "read without a formula");
            for one in &reading.formulas {
                claims::formula(one, &LIBRARY);
                written_and_read(one, reading.remark.as_deref());
            }
            claims::digest((claims::digest_of(&reading.notes), reading.formulas.len().min(4)))
        }
        Err(errors) => {
            claims::errors(&text, &errors);
            claims::digest_of(&errors)
        }
    }
}

/// A formula is written as a fresh file and read again: the same but for the rounding; and written once more, the same to the letter.
fn written_and_read(formula: &Formula, remark: Option<&str>) {
    let written = to_toml(formula, remark, "", &LIBRARY).unwrap_or_else(|error| panic!("{formula:?}: {error}"));
    let again = read_toml(&written, "", &LIBRARY).unwrap_or_else(|errors| panic!("{written}\n{errors:?}"));
    let one = again.formulas.first().expect("a file has a formula");
    assert_eq!(one.name, formula.name.trim(), "{written}");
    assert_eq!(again.remark.as_deref(), remark.map(str::trim), "{written}");
    for part in &formula.parts {
        let now = one.parts.iter().find(|one| one.ingredient == part.ingredient).map_or(0.0, |part| part.percent);
        assert!((now - part.percent).abs() <= WRITTEN_PERCENT, "{} % became {now} %:\n{written}", part.percent);
    }
    assert_eq!(to_toml(one, remark, "", &LIBRARY).as_deref(), Ok(written.as_str()), "written again");
}

/// A formula file whose amounts change: nothing but its amounts does.
///
/// The first bytes say how, the others are the text.
pub fn formula_rewrite(data: &[u8]) -> u64 {
    let (change, data) = data.split_at(data.len().min(CHANGE_BYTES));
    let text = claims::text(data);
    let Ok(reading) = read_toml(&text, "bar", &LIBRARY) else { return 0 };
    let Some(formula) = reading.formulas.first() else { return 0 };
    assert_eq!(rewrite_toml(&text, &formula.parts, None, &LIBRARY).as_deref(), Ok(&*text), "nothing was changed");
    let Ok((parts, name, same)) = changed(&mut Unstructured::new(change), formula) else { return 1 };
    let after = match rewrite_toml(&text, &parts, name, &LIBRARY) {
        Ok(after) => after,
        // An amount beyond those taken, for example.
        Err(WriteError::NothingLeft | WriteError::Rejected(_)) => return 2,
        Err(error) => panic!("{parts:?} cannot be written: {error}"),
    };
    let again = read_toml(&after, "bar", &LIBRARY).unwrap_or_else(|errors| panic!("{after}\n{errors:?}"));
    let new = again.formulas.first().expect("a file has a formula");
    assert_eq!(new.name, name.map_or(formula.name.as_str(), str::trim), "{after}");
    assert_eq!(again.remark, reading.remark, "{after}");
    let total: f64 = parts.iter().map(|part| part.percent).sum();
    // What falls to nothing is taken out.
    let same = same && parts.iter().all(|part| part.percent / total > SMALLEST_SHARE);
    for part in &parts {
        let wanted = 100.0 * part.percent / total;
        let now = new.parts.iter().find(|one| one.ingredient == part.ingredient).map_or(0.0, |part| part.percent);
        assert!((now - wanted).abs() <= WRITTEN_PERCENT, "{wanted} % became {now} %:\n{after}");
    }
    if same && name.is_none() {
        assert_eq!(around_amounts(&after), around_amounts(&text), "something besides the amounts changed:\n{after}");
    }
    claims::digest((same, name.is_some(), new.parts.len().cmp(&formula.parts.len()), text.contains('{')))
}

/// Draws other amounts, whether ingredients come and go, and another name; says whether the ingredients are the same.
fn changed<'b>(
    bytes: &mut Unstructured<'b>,
    formula: &Formula,
) -> arbitrary::Result<(Vec<Part>, Option<&'b str>, bool)> {
    let mut parts = formula.parts.clone();
    for part in &mut parts {
        part.percent *= f64::from(bytes.int_in_range(1..=64_u8)?);
    }
    let mut same = true;
    if bytes.ratio(1, 4)? {
        let gone = bytes.choose_index(parts.len())?;
        parts.remove(gone);
        same = false;
    }
    if bytes.ratio(1, 4)? {
        let ingredient = task::ingredient(bytes, &LIBRARY)?;
        if parts.iter().all(|part| part.ingredient != ingredient) {
            parts.push(Part { ingredient, percent: 1000.0 });
            same = false;
        }
    }
    let name = if bytes.ratio(1, 4)? { Some(*bytes.choose(&["other", "it's", "a \"b\" \\ c", " é "])?) } else { None };
    Ok((parts, name, same))
}

/// The pieces of a formula file between its amounts.
fn around_amounts(text: &str) -> Vec<&str> {
    let body = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
    let (table, _) = DeTable::parse_recoverable(body);
    let mut places = Vec::new();
    for (key, value) in table.get_ref().iter() {
        if let ("parts", DeValue::Table(parts)) = (key.get_ref().as_ref(), value.get_ref()) {
            places.extend(parts.iter().map(|(_, amount)| amount.span()));
        }
    }
    places.sort_by_key(|place| place.start);
    let ends = places.iter().map(|place| place.start).chain([body.len()]);
    let starts = [0].into_iter().chain(places.iter().map(|place| place.end));
    starts.zip(ends).map(|(start, end)| body.get(start..end).unwrap_or("")).collect()
}
