//! What an ingredient is called on a label, market by market.
//!
//! The dictionary name of a plant ingredient has its English word in brackets: the EU list leaves it out, the US list keeps it. What no rule
//! gives, such as `Cera Alba` for beeswax, stands in `data/label_names.csv`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Library;
use crate::label_name::LabelName;
use crate::names::normalise;

/// Where a label is to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Market {
    /// The European Union, and those that follow its names.
    #[default]
    Eu,
    /// The United States.
    Us,
}

impl Market {
    /// Every market.
    pub const ALL: [Market; 2] = [Market::Eu, Market::Us];

    /// Returns the word used on the command line and in JSON.
    pub fn word(self) -> &'static str {
        match self {
            Market::Eu => "eu",
            Market::Us => "us",
        }
    }

    /// Returns it in capitals, as it stands in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Market::Eu => "EU",
            Market::Us => "US",
        }
    }
}

impl Library {
    /// Returns what an ingredient is called on a label.
    ///
    /// A name of the table, whichever market's it is, becomes that of `market`; any other loses its English word in brackets for the EU and stays
    /// as it is for the US. Case and punctuation do not count.
    ///
    /// # Arguments
    /// * `inci_name`: dictionary name of one ingredient, not of a blend.
    /// * `market`: where the label is to be read.
    ///
    /// # Validity
    /// The names are recalled but for a few; a safety assessor or the authority has the list in force.
    ///
    /// ```
    /// use barwright_reference::{Library, Market};
    /// let library = Library::builtin()?;
    /// assert_eq!(library.label_name("Cera Flava", Market::Us), "Beeswax");
    /// assert_eq!(library.label_name("MINERAL OIL", Market::Eu), "Paraffinum Liquidum");
    /// assert_eq!(library.label_name("Olea Europaea (Olive) Fruit Oil", Market::Eu), "Olea Europaea Fruit Oil");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Source
    /// Commission Implementing Decision (EU) 2022/677 (names recalled); 21 CFR 701.3 with the names of the dictionary (recalled).
    pub fn label_name(&self, inci_name: &str, market: Market) -> String {
        let of = |name: &LabelName| match market {
            Market::Eu => name.eu_name.clone(),
            Market::Us => name.us_name.clone(),
        };
        let known = self.label_name_of.get(&normalise(inci_name)).and_then(|&index| self.label_names.get(index));
        match (known, market) {
            (Some(known), _) => of(known),
            (None, Market::Eu) => without_english(inci_name),
            (None, Market::Us) => inci_name.to_owned(),
        }
    }
}

/// Takes words in brackets out of a name: `Olea Europaea (Olive) Fruit Oil` becomes `Olea Europaea Fruit Oil`.
fn without_english(name: &str) -> String {
    let mut rest = name;
    let mut kept = String::new();
    while let Some((before, after)) = rest.split_once(" (") {
        let Some((inside, behind)) = after.split_once(')') else { break };
        kept.push_str(before);
        if !inside.chars().all(|letter| letter.is_alphabetic() || " -'".contains(letter)) {
            kept.push_str(" (");
            kept.push_str(inside);
            kept.push(')');
        }
        rest = behind;
    }
    kept.push_str(rest);
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markets_have_a_word_and_a_name() {
        assert_eq!(Market::ALL.map(Market::word), ["eu", "us"]);
        assert_eq!(Market::ALL.map(Market::name), ["EU", "US"]);
    }

    #[test]
    fn only_words_in_brackets_are_taken_out() {
        for (name, left) in [
            ("Zea Mays (Corn) Germ Oil", "Zea Mays Germ Oil"),
            ("Prunus Amygdalus Dulcis (Sweet Almond) Oil", "Prunus Amygdalus Dulcis Oil"),
            ("Tocopherol", "Tocopherol"),
            ("Hydrogenated Poly(C6-14 Olefin)", "Hydrogenated Poly(C6-14 Olefin)"),
            ("Dye (CI 77891)", "Dye (CI 77891)"),
            ("Half (open", "Half (open"),
            ("(Olive) Oil", "(Olive) Oil"),
            ("", ""),
        ] {
            assert_eq!(without_english(name), left);
        }
    }
}
