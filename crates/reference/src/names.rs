//! Names of ingredients: how they are made comparable, and which ingredient a name belongs to.

use std::collections::HashMap;

use crate::id::IngredientId;
use crate::suggest::near;

/// A name less like another than this is no misspelling of it, 0 to 1.
const LEAST_LIKENESS: f64 = 0.6;

/// What a name turned out to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lookup {
    /// The name of exactly one ingredient.
    Found(IngredientId),
    /// A name several ingredients share.
    Ambiguous(Vec<IngredientId>),
    /// A name that no ingredient has.
    Unknown {
        /// Those with the nearest names, best first, at most three.
        nearest: Vec<IngredientId>,
    },
}

/// Returns a name in lower case, accents folded, with nothing but letters and digits.
///
/// ```
/// assert_eq!(barwright_reference::names::normalise("Açaí  Butter (raw)"), "acaibutterraw");
/// ```
pub fn normalise(name: &str) -> String {
    words(name).concat()
}

/// How strongly an ingredient owns a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Claim {
    /// Its key, common name or synonym.
    Own,
    /// Its declared name, which others may share.
    Declared,
}

/// The ingredients that go by one name.
#[derive(Debug, Clone, Default)]
struct Owners {
    own: Vec<IngredientId>,
    declared: Vec<IngredientId>,
}

impl Owners {
    /// Returns the owners that count: those by an own name before those by a declared one.
    fn counting(&self) -> &[IngredientId] {
        if self.own.is_empty() { &self.declared } else { &self.own }
    }

    /// Adds an owner once.
    fn add(&mut self, owner: IngredientId, claim: Claim) {
        let owners = match claim {
            Claim::Own => &mut self.own,
            Claim::Declared => &mut self.declared,
        };
        if !owners.contains(&owner) {
            owners.push(owner);
        }
    }
}

/// Every name of every ingredient.
#[derive(Debug, Clone, Default)]
pub(crate) struct NameIndex {
    exact: HashMap<String, Owners>,
    loose: HashMap<String, Owners>,
    written: Vec<(IngredientId, String)>,
}

impl NameIndex {
    /// Adds a name; returns the ingredient that owned it before, if another one did.
    pub(crate) fn add(&mut self, name: &str, owner: IngredientId, claim: Claim) -> Option<IngredientId> {
        let words = words(name);
        let exact = words.concat();
        if exact.is_empty() {
            return None;
        }
        for loose in loose_forms(&words) {
            self.loose.entry(loose).or_default().add(owner, claim);
        }
        let owners = self.exact.entry(exact.clone()).or_default();
        let earlier = owners.own.iter().copied().find(|earlier| *earlier != owner && claim == Claim::Own);
        owners.add(owner, claim);
        if self.written.last().is_none_or(|last| *last != (owner, exact.clone())) {
            self.written.push((owner, exact));
        }
        earlier
    }

    /// Finds whose name this is.
    pub(crate) fn find(&self, name: &str) -> Lookup {
        let words = words(name);
        let exact = words.concat();
        let [in_order, sorted] = loose_forms(&words);
        let owners = self.exact.get(&exact).or_else(|| self.loose.get(&in_order)).or_else(|| self.loose.get(&sorted));
        match owners.map(Owners::counting) {
            Some([only]) => Lookup::Found(*only),
            Some([]) | None => {
                let names = self.written.iter().map(|(owner, name)| (*owner, name.as_str()));
                Lookup::Unknown { nearest: near(&exact, names, 3, LEAST_LIKENESS) }
            }
            Some(several) => Lookup::Ambiguous(several.to_vec()),
        }
    }

    /// Whether this is anybody's name, however loosely.
    pub(crate) fn is_taken(&self, name: &str) -> bool {
        let words = words(name);
        self.exact.contains_key(&words.concat())
            || loose_forms(&words).iter().any(|loose| self.loose.contains_key(loose))
    }
}

/// Returns the two looser forms: singular words as written, and singular words in alphabetical order.
fn loose_forms(words: &[String]) -> [String; 2] {
    let mut singular: Vec<&str> = words.iter().map(|word| singular(word)).collect();
    let in_order = singular.concat();
    singular.sort_unstable();
    [in_order, singular.concat()]
}

/// Returns a word without the ending of the plural.
fn singular(word: &str) -> &str {
    match word.strip_suffix('s') {
        Some(stem) if stem.ends_with("xe") => stem.strip_suffix('e').unwrap_or(stem),
        Some(stem) if stem.len() >= 3 && !stem.ends_with('s') => stem,
        _ => word,
    }
}

/// Splits a name into words of folded letters and digits.
pub(crate) fn words(name: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = String::new();
    for letter in name.chars() {
        if letter.is_alphanumeric() {
            match fold(letter) {
                Some(folded) => word.push_str(folded),
                None => word.extend(letter.to_lowercase().filter(|lower| lower.is_alphanumeric())),
            }
        } else if !is_joiner(letter) && !word.is_empty() {
            words.push(std::mem::take(&mut word));
        }
    }
    if !word.is_empty() {
        words.push(word);
    }
    words
}

/// Whether a character vanishes inside a word: combining accents and apostrophes.
fn is_joiner(letter: char) -> bool {
    matches!(letter, '\u{300}'..='\u{36f}' | '\'' | '\u{2019}' | '\u{ad}')
}

/// Returns the plain letters for an accented Latin letter.
fn fold(letter: char) -> Option<&'static str> {
    Some(match letter {
        'À'..='Å' | 'à'..='å' | 'Ā'..='ą' => "a",
        'Æ' | 'æ' => "ae",
        'Ç' | 'ç' | 'Ć'..='č' => "c",
        'Ď'..='đ' | 'Ð' | 'ð' => "d",
        'È'..='Ë' | 'è'..='ë' | 'Ē'..='ě' => "e",
        'Ĝ'..='ģ' => "g",
        'Ì'..='Ï' | 'ì'..='ï' | 'Ĩ'..='ı' => "i",
        'Ĺ'..='ł' => "l",
        'Ñ' | 'ñ' | 'Ń'..='ň' => "n",
        'Ò'..='Ö' | 'Ø' | 'ò'..='ö' | 'ø' | 'Ō'..='ő' => "o",
        'Œ' | 'œ' => "oe",
        'Ŕ'..='ř' => "r",
        'Ś'..='š' | 'Ș' | 'ș' => "s",
        'ß' | 'ẞ' => "ss",
        'Ţ'..='ŧ' | 'Ț' | 'ț' => "t",
        'Ù'..='Ü' | 'ù'..='ü' | 'Ũ'..='ų' => "u",
        'Ý' | 'ý' | 'ÿ' | 'Ŷ'..='Ÿ' => "y",
        'Ź'..='ž' => "z",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(owner: usize) -> IngredientId {
        IngredientId::new(owner, "")
    }

    fn index() -> NameIndex {
        let mut index = NameIndex::default();
        for (owner, names) in
            [["beeswax", "cera alba"], ["shea-butter", "karité"], ["soft-shea", "soft karite"]].into_iter().enumerate()
        {
            for name in names {
                assert_eq!(index.add(name, id(owner), Claim::Own), None);
            }
        }
        index.add("Butyrospermum Parkii Butter", id(1), Claim::Declared);
        index.add("Butyrospermum Parkii Butter", id(2), Claim::Declared);
        index.add("Cera Alba", id(1), Claim::Declared);
        index
    }

    #[test]
    fn names_match_through_spelling_order_and_plural() {
        for (name, owner) in [
            ("Beeswax", 0),
            ("bees wax", 0),
            ("beeswaxes", 0),
            ("CERA-ALBA", 0),
            ("alba, cera", 0),
            ("shea butters", 1),
            ("Karité", 1),
            ("karite\u{301}", 1),
            ("butter (shea)", 1),
        ] {
            assert_eq!(index().find(name), Lookup::Found(id(owner)), "{name}");
        }
    }

    #[test]
    fn a_shared_declared_name_is_ambiguous() {
        assert_eq!(index().find("butyrospermum parkii butter"), Lookup::Ambiguous(vec![id(1), id(2)]));
    }

    #[test]
    fn an_unknown_name_carries_the_nearest() {
        let Lookup::Unknown { nearest } = index().find("beswax") else { unreachable!() };
        assert_eq!(nearest.first(), Some(&id(0)));
        assert_eq!(index().find("honey"), Lookup::Unknown { nearest: Vec::new() });
        assert!(matches!(index().find(""), Lookup::Unknown { .. }));
        assert!(!index().is_taken("beswax") && index().is_taken("Bees-Wax"));
    }

    #[test]
    fn a_second_owner_is_told() {
        assert_eq!(index().add("Cera alba", id(2), Claim::Own), Some(id(0)));
        assert_eq!(index().add("Cera alba", id(0), Claim::Own), None, "one's own name once more");
        assert_eq!(index().add("Cera alba", id(2), Claim::Declared), None, "a declared name may be shared");
        assert_eq!(index().add("cera", id(2), Claim::Declared), None);
    }

    #[test]
    fn accents_fold() {
        for (name, plain) in [
            ("Ærø ŁŚŻ", "aerolsz"),
            ("ÑÕÜß", "nouss"),
            ("İ", "i"),
            ("ÂåĀą", "aaaa"),
            ("Æœ", "aeoe"),
            ("Çčĉ", "ccc"),
            ("ĎđÐð", "dddd"),
            ("Èëęě", "eeee"),
            ("ĝģ", "gg"),
            ("Ìïĩı", "iiii"),
            ("ĺł", "ll"),
            ("ñńň", "nnn"),
            ("Òøöő", "oooo"),
            ("ŕř", "rr"),
            ("śšș", "sss"),
            ("ţŧț", "ttt"),
            ("Ùüũų", "uuuu"),
            ("ýÿŷŸ", "yyyy"),
            ("źž", "zz"),
            ("麻油", "麻油"),
            ("½", "½"),
        ] {
            assert_eq!(normalise(name), plain, "{name}");
        }
    }

    #[test]
    fn a_plural_loses_its_ending_and_no_other_word_does() {
        for (word, one) in [
            ("waxes", "wax"),
            ("butters", "butter"),
            ("olives", "olive"),
            ("gas", "gas"),
            ("grass", "grass"),
            ("s", "s"),
        ] {
            assert_eq!(singular(word), one);
        }
    }

    #[test]
    fn words_are_parted_by_all_but_letters_digits_and_what_joins() {
        assert_eq!(words("  bees -- wax "), ["bees", "wax"]);
        assert_eq!(words("bee's wax, c12\u{ad}13"), ["bees", "wax", "c1213"]);
    }
}
