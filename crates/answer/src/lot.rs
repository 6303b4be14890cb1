//! What is said of a maker's lots: what a certificate did to one, and which are too old.

use barwright_blend::certificate::{Figure, LotShift, MAX_SD, NEEDLE_C, Test};
use barwright_reference::{Date, Ingredient, Library};

use crate::words::number::{fixed, significant};

/// Shares named, at most.
const MAX_SHARES: usize = 3;

/// A share that moved less than this is not named, mass %.
const MIN_PERCENT: f64 = 0.05;

/// A shift below this says nothing, in standard deviations of what lots vary.
const MIN_SD: f64 = 0.05;

/// What a certificate that cannot be met may mean.
const DOUBT: &str = "the certificate may be of another material or another test, or the table wrong about this one";

/// Says what the certificate of a lot did to it; `None` when there is nothing to say.
pub fn shift(shift: &LotShift, library: &Library) -> Option<String> {
    let lot = library.get(shift.ingredient)?;
    if shift.species_stated {
        let far: Vec<String> = shift.figures.iter().filter(|one| one.is_doubtful()).map(by_species).collect();
        let figures = far.join(", and ");
        return (!far.is_empty()).then(|| format!("lot `{}` {figures}; its species stand, and {DOUBT}", lot.key));
    }
    let figures: Vec<String> = shift.figures.iter().map(by_table).collect();
    let mut said = format!("lot `{}` {}", lot.key, figures.join(", and "));
    let usable = || shift.figures.iter().filter(|one| one.off_sd.is_some());
    if usable().count() == 0 {
        return Some(said);
    }
    let changed: Vec<String> = (shift.moved.iter())
        .filter(|one| (one.to_percent - one.from_percent).abs() >= MIN_PERCENT)
        .take(MAX_SHARES)
        .filter_map(|one| {
            let key = &library.species.get(one.species)?.key;
            Some(format!("{key} {:.1} to {:.1} %", one.from_percent, one.to_percent))
        })
        .collect();
    if shift.most_sd < MIN_SD || changed.is_empty() {
        said.push_str(": its species stay those of the table");
    } else {
        said.push_str(&format!(
            ": its species are shifted by up to {:.1} times what lots vary ({})",
            shift.most_sd,
            changed.join(", ")
        ));
    }
    let missed: Vec<String> = usable().filter(|one| !one.is_met()).map(reached).collect();
    if !missed.is_empty() {
        said.push_str(&format!(
            ", and none may move further than {MAX_SD}: that reaches {}; {DOUBT}",
            missed.join(" and ")
        ));
    }
    Some(said)
}

/// A figure of the certificate beside that of the table.
fn by_table(figure: &Figure) -> String {
    let table = match (figure.before, figure.test) {
        (Some(value), _) => format!("{} by the table", value_of(figure.test, value)),
        (None, Test::SlipPoint) => "but has no melting point by the table, which stands".to_owned(),
        (None, Test::Needle) if figure.off_sd.is_some() => "and is too soft for the needle by the table".to_owned(),
        (None, Test::Needle) => format!("but is liquid at {NEEDLE_C} °C by the table, which stands"),
    };
    let joint = if figure.before.is_some() { "," } else { "" };
    format!("{} by its certificate{joint} {table}", stated(figure))
}

/// A figure of the certificate beside that of the species that are stated.
fn by_species(figure: &Figure) -> String {
    let species = figure.now.map_or_else(|| "none".to_owned(), |value| value_of(figure.test, value));
    format!("{} by its certificate, {species} by its species", stated(figure))
}

/// What a certificate says, as the end of a sentence about the lot.
fn stated(figure: &Figure) -> String {
    match figure.test {
        Test::SlipPoint => format!("melts at {:.1} °C", figure.stated),
        Test::Needle => format!("has a needle penetration of {} dmm", significant(figure.stated, 2)),
    }
}

/// What the lot does now, where its certificate says something else.
fn reached(figure: &Figure) -> String {
    let unit = match figure.test {
        Test::SlipPoint => "°C",
        Test::Needle => "dmm",
    };
    figure.now.map_or_else(
        || "no penetration that the needle could measure".to_owned(),
        |value| format!("{} {unit}", value_of(figure.test, value)),
    )
}

fn value_of(test: Test, value: f64) -> String {
    match test {
        Test::SlipPoint => fixed(value, 1),
        Test::Needle => significant(value, 3),
    }
}

/// Says that a lot is past its date; `None` when it is not, or has none.
pub fn past_best_before(lot: &Ingredient, today: Date) -> Option<String> {
    let best_before = lot.lot_best_before.filter(|best_before| today > *best_before)?;
    Some(format!("lot `{}` is past its best-before date of {best_before}", lot.key))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lot_is_good_on_its_last_day() {
        let library = Library::builtin().unwrap_or_default();
        let text = "[lot.old]\nlike = 'beeswax'\nbest_before = 2026-06-30\n";
        let (library, _) = library.with_lots(text).unwrap_or_default();
        let said = |lot: Option<&Ingredient>, month: i8, day: i8| {
            lot.map(|lot| past_best_before(lot, Date::constant(2026, month, day)))
        };
        let past = "lot `old` is past its best-before date of 2026-06-30".to_owned();
        assert_eq!(said(library.ingredients.last(), 7, 1), Some(Some(past)));
        assert_eq!(said(library.ingredients.last(), 6, 30), Some(None));
        assert_eq!(said(library.ingredients.first(), 7, 1), Some(None));
    }
}
