//! How a figure was obtained.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a figure of the reference tables was obtained.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Seen in the named publication, or in a page or excerpt of it.
    Read,
    /// Quoted from memory of the named publication, not checked against it.
    Recalled,
    /// Worked out by us; the row's note says how.
    Estimated,
}

impl Status {
    /// Returns the word used in tables and messages.
    pub fn word(self) -> &'static str {
        match self {
            Status::Read => "read",
            Status::Recalled => "recalled",
            Status::Estimated => "estimated",
        }
    }
}

#[cfg(test)]
mod tests {
    use serde::de::value::{Error, StrDeserializer};
    use serde::de::{Deserialize, IntoDeserializer};

    use super::*;

    #[test]
    fn words_are_those_of_the_tables() {
        for status in [Status::Read, Status::Recalled, Status::Estimated] {
            let word: StrDeserializer<'_, Error> = status.word().into_deserializer();
            assert_eq!(Status::deserialize(word), Ok(status));
        }
    }
}
