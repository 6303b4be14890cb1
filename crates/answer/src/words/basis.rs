//! What a prediction rests on: how the composition figures behind it were obtained.

use barwright_reference::lots::LOT_SOURCE;
use barwright_reference::{Formula, Library, Status};

/// A count of figures and the share of the bar's mass they describe.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Tally {
    /// How many figures.
    pub figures: usize,
    /// Mass % of the bar.
    pub percent: f64,
}

/// The composition figures behind one formula, by how they were obtained.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Basis {
    /// Stated in the maker's own lot file.
    pub own: Tally,
    /// Read in the named publication.
    pub read: Tally,
    /// Quoted from memory of it.
    pub recalled: Tally,
    /// Worked out.
    pub estimated: Tally,
}

impl Basis {
    /// Counts the composition figures of a formula's ingredients.
    pub fn of(library: &Library, formula: &Formula) -> Self {
        let mut basis = Basis::default();
        for part in &formula.parts {
            let Some(ingredient) = library.get(part.ingredient) else {
                continue;
            };
            for component in &ingredient.composition {
                let tally = match component.status {
                    Status::Read if component.source == LOT_SOURCE => &mut basis.own,
                    Status::Read => &mut basis.read,
                    Status::Recalled => &mut basis.recalled,
                    Status::Estimated => &mut basis.estimated,
                };
                tally.figures += 1;
                tally.percent += part.percent * component.percent / 100.0;
            }
        }
        basis
    }

    /// Says it in one sentence.
    pub fn sentence(&self) -> String {
        let kinds = [
            (self.own, "from your own lots"),
            (self.read, "read in their source"),
            (self.recalled, "quoted from memory of it"),
            (self.estimated, "estimated"),
        ];
        let count: usize = kinds.iter().map(|(tally, _)| tally.figures).sum();
        let said: Vec<String> = kinds
            .iter()
            .filter(|(tally, _)| tally.figures > 0)
            .enumerate()
            .map(|(index, (tally, words))| {
                let words = if index == 0 { words.replace(" of it", " of their source") } else { (*words).to_owned() };
                format!("{} {words} ({:.0} % of the mass)", tally.figures, tally.percent)
            })
            .collect();
        match said.split_last() {
            None => "No composition figures.".to_owned(),
            Some((only, [])) => format!("Composition: {count} figures, {only}."),
            Some((last, rest)) => format!("Composition: {count} figures, {} and {last}.", rest.join(", ")),
        }
    }
}

#[cfg(test)]
mod tests {
    use barwright_reference::formula::read_inline;

    use super::*;

    #[test]
    fn every_gram_is_counted_once() {
        let library = Library::builtin().unwrap_or_default();
        let reading = read_inline("beeswax 30, cocoa butter 20, olive oil 50", "bar", &library);
        let formula = reading.map(|reading| reading.formulas).unwrap_or_default();
        let basis = formula.first().map(|formula| Basis::of(&library, formula)).unwrap_or_default();
        let whole = basis.read.percent + basis.recalled.percent + basis.estimated.percent;
        assert!((whole - 100.0).abs() < 0.5, "{basis:?}");
        assert_eq!(basis.own.figures, 0);
        assert!(basis.sentence().starts_with("Composition: "));
    }
}
