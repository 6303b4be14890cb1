//! What a name that is in no table is likely to be, by the words in it.

use crate::names::words;

/// What a word of a name says of what it names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Class {
    /// Something that holds water, and so has no place in a bar of wax and oil.
    Watery(&'static str),
    /// Something that is listed under these keys, any of which can stand for it.
    Listed(&'static [&'static str]),
}

/// What to do in place of something watery.
const DRIED: &str = "use it dried and finely ground, as a powder";
const INFUSED: &str = "take an oil that the plant was steeped in (`infused-oil`), or a little of its essential oil";
const NOTHING: &str = "leave it out";

/// Words, most telling first, and what they say.
const CLASSES: &[(&[&str], Class)] = &[
    (&["honey"], Class::Watery("leave it out; beeswax smells of it, and a fragrance can")),
    (&["essential", "eo", "absolute", "attar"], Class::Listed(&["essential-oil"])),
    (&["fragrance", "perfume", "parfum", "scent", "aroma", "flavour", "flavor"], Class::Listed(&["fragrance-oil"])),
    (&["infused", "infusion", "macerate", "macerated", "oleoresin"], Class::Listed(&["infused-oil"])),
    (&["powder", "flour", "ground", "dried"], Class::Listed(&["corn-starch", "kaolin", "mica"])),
    (&["milk", "yogurt", "yoghurt", "cream", "buttermilk"], Class::Watery(DRIED)),
    (&["aloe", "cucumber", "hydrosol", "hydrolat", "tea", "decoction", "distillate", "hazel"], Class::Watery(INFUSED)),
    (&["juice", "puree", "pulp", "fruit"], Class::Watery(DRIED)),
    (
        &["water", "vinegar", "wine", "beer", "gel", "glycerin", "glycerine", "glycerol", "syrup"],
        Class::Watery(NOTHING),
    ),
    (&["tincture", "alcohol", "vodka", "ethanol"], Class::Watery(INFUSED)),
    (&["clay"], Class::Listed(&["kaolin", "green-clay", "bentonite"])),
    (&["mica", "shimmer", "pearl", "glitter"], Class::Listed(&["mica"])),
    (&["oxide", "pigment", "ci"], Class::Listed(&["red-iron-oxide", "titanium-dioxide", "ultramarine"])),
    (&["colour", "color", "dye", "colorant", "colourant", "lake"], Class::Listed(&["oil-soluble-colour", "mica"])),
    (&["starch"], Class::Listed(&["corn-starch", "arrowroot", "tapioca-starch"])),
    (&["oat", "meal", "bran"], Class::Listed(&["oat-flour"])),
    (&["salt"], Class::Listed(&["salt"])),
    (&["sugar"], Class::Listed(&["sugar"])),
    (&["vitamin", "tocopherol", "antioxidant"], Class::Listed(&["tocopherol"])),
    (&["resin", "gum", "balsam", "copal", "dammar", "benzoin", "mastic"], Class::Listed(&["rosin"])),
    (&["emulsifier", "emulsifying"], Class::Listed(&["emulsifying-wax", "lecithin"])),
    (&["jelly"], Class::Listed(&["petrolatum"])),
    (&["extract"], Class::Listed(&["infused-oil"])),
];

/// Returns what a name is likely to be; `None` where no word of it tells.
pub(crate) fn class_of(name: &str) -> Option<Class> {
    let words = words(name);
    // `oats` as well as `oat`.
    let said = |known: &&str| words.iter().any(|word| word == known || word.strip_suffix('s') == Some(known));
    CLASSES.iter().find(|(known, _)| known.iter().any(said)).map(|(_, class)| *class)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Library;

    #[test]
    fn a_word_tells_what_a_name_is() {
        let listed = |name: &str| match class_of(name) {
            Some(Class::Listed(keys)) => keys[0],
            other => unreachable!("{name}: {other:?}"),
        };
        for (name, key) in [
            ("vetiver essential oil", "essential-oil"),
            ("Neroli EO", "essential-oil"),
            ("strawberry fragrance", "fragrance-oil"),
            ("rose clay", "kaolin"),
            ("gold mica", "mica"),
            ("goat milk powder", "corn-starch"),
            ("green oxide", "red-iron-oxide"),
            ("potato starch", "corn-starch"),
            ("milled oats", "oat-flour"),
            ("benzoin resin", "rosin"),
            ("chamomile-infused oil", "infused-oil"),
        ] {
            assert_eq!(listed(name), key, "{name}");
        }
        for name in ["raw honey", "aloe vera gel", "goat's milk", "rose water", "lavender hydrosol", "Glycerine"] {
            assert!(matches!(class_of(name), Some(Class::Watery(_))), "{name}");
        }
        for name in ["beewsax", "moringa oil", "fever tree butter"] {
            assert_eq!(class_of(name), None, "{name}");
        }
    }

    #[test]
    fn every_key_named_is_in_the_table() {
        let library = Library::builtin().unwrap_or_default();
        for (words, class) in CLASSES {
            if let Class::Listed(keys) = class {
                assert!(keys.iter().all(|key| library.ingredient(key).is_some()), "{words:?}");
            }
        }
    }
}
