//! The columns of a table, as the names of its row's fields.

use serde::de::value::Error;
use serde::de::{Deserializer, Error as _, Visitor};
use serde::{Deserialize, forward_to_deserialize_any};

/// Returns the names of the fields of a row, in their order: what its derived reader asks for.
pub(crate) fn columns<'de, R: Deserialize<'de>>() -> &'static [&'static str] {
    let mut names: &'static [&'static str] = &[];
    // It reads nothing, and says so once it has been told the names.
    let _ = R::deserialize(Listener(&mut names));
    names
}

/// Hears which fields a row has.
struct Listener<'n>(&'n mut &'static [&'static str]);

impl<'de> Deserializer<'de> for Listener<'_> {
    type Error = Error;

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        _: V,
    ) -> Result<V::Value, Error> {
        *self.0 = fields;
        Err(Error::custom("only the names were asked for"))
    }

    fn deserialize_any<V: Visitor<'de>>(self, _: V) -> Result<V::Value, Error> {
        Err(Error::custom("no row"))
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 u8 u16 u32 u64 f32 f64 char str string bytes byte_buf option unit unit_struct newtype_struct
        seq tuple tuple_struct map enum identifier ignored_any
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_the_fields_in_their_order() {
        #[derive(Deserialize)]
        #[expect(dead_code, reason = "only the names are read")]
        struct Row {
            species: String,
            melt_c: f64,
            note: Option<String>,
        }
        assert_eq!(columns::<Row>(), ["species", "melt_c", "note"]);
        assert!(columns::<f64>().is_empty());
    }
}
