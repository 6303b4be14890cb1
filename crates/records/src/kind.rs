//! The kinds of records and what each is called.

/// A kind of record: one table of records, one CSV file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Formulas: one row for each part.
    Formulas,
    /// Lots: one row each.
    Lots,
    /// Batches: one row for each lot that went into one, or one row without a lot.
    Batches,
    /// Where bars went: one row for each entry.
    Bars,
    /// Trials: one row each.
    Trials,
    /// Outcomes: one row each.
    Outcomes,
}

impl Kind {
    /// Every table, in an order in which they can be imported: what others refer to comes first.
    pub const ALL: [Kind; 6] = [Kind::Formulas, Kind::Lots, Kind::Batches, Kind::Bars, Kind::Trials, Kind::Outcomes];

    /// Returns the word for a table.
    ///
    /// ```
    /// assert_eq!(barwright_records::Kind::Bars.word(), "bars");
    /// ```
    pub fn word(self) -> &'static str {
        match self {
            Kind::Formulas => "formulas",
            Kind::Lots => "lots",
            Kind::Batches => "batches",
            Kind::Bars => "bars",
            Kind::Trials => "trials",
            Kind::Outcomes => "outcomes",
        }
    }

    /// Returns what one record of the kind is called in messages.
    pub(crate) fn one(self) -> &'static str {
        match self {
            Kind::Formulas => "formula",
            Kind::Lots => "lot",
            Kind::Batches => "batch",
            Kind::Bars => "entry of bars",
            Kind::Trials => "trial",
            Kind::Outcomes => "outcome",
        }
    }

    /// Returns the table a word names.
    ///
    /// ```
    /// use barwright_records::Kind;
    /// assert_eq!(Kind::called("lots"), Some(Kind::Lots));
    /// assert_eq!(Kind::called("sales"), None);
    /// ```
    pub fn called(word: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Returns the columns of a table, in the order they are written.
    ///
    /// ```
    /// use barwright_records::Kind;
    /// assert_eq!(Kind::Outcomes.columns(), ["id", "batch", "noted_on", "note"]);
    /// ```
    pub fn columns(self) -> &'static [&'static str] {
        match self {
            Kind::Formulas => &["formula", "ingredient", "percent", "note"],
            Kind::Lots => &[
                "lot",
                "like",
                "delivered_on",
                "best_before",
                "certificate",
                "figures",
                "price_per_kg",
                "nut_origin",
                "flash_c",
                "note",
                "delivered_g",
            ],
            Kind::Batches => &["batch", "poured_on", "formula", "mass_g", "cavities", "lot", "lot_mass_g", "note"],
            Kind::Bars => &["id", "batch", "first", "last", "went", "to", "on", "note"],
            Kind::Trials => &["id", "formula", "kind", "tested_on", "days_since_pouring", "figures", "note"],
            Kind::Outcomes => &["id", "batch", "noted_on", "note"],
        }
    }
}
