//! Arguments of `records`.

use std::path::PathBuf;

use barwright_answer::words::units::Units;
use barwright_records::{Date, Kind};
use clap::builder::PossibleValue;
use clap::{ArgGroup, Subcommand, ValueEnum};

use crate::args::{OUTPUT, date, whole};

/// `records`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Records are kept by `batch --record` and `trial add`, and by the commands here. They are one file in the profile folder,
`records.sqlite`; nothing kept is changed or taken away, and nothing leaves the computer.

Examples:
  barwright --profile bench records list batches
  barwright --profile bench records trace my-wax                 # a recall: every batch and bar with this lot
  barwright --profile bench records trace F-0007 --bar 4         # and back: what is in that bar
  barwright --profile bench records went F-0007 --bars 1-4 --sold --to 'order 17'
  barwright --profile bench records stock                        # what is left of each delivery
  barwright --profile bench records backup /media/stick/records-november.sqlite")]
pub struct Records {
    /// What to do.
    #[command(subcommand)]
    pub action: RecordsAction,
}

/// What to do with the records.
#[derive(Debug, Subcommand)]
pub enum RecordsAction {
    /// List one kind of record, or count all kinds
    List(ListKind),
    /// What is left of each delivery
    Stock(Stock),
    /// Follow a lot to every batch and bar, or a batch or a bar back to its lots
    Trace(Trace),
    /// Keep a delivery
    Lot(Box<LotArgs>),
    /// Keep where bars of a batch went
    Went(WentArgs),
    /// Keep a remark on a batch: a fault, a bloom, a correction
    Remark(Remark),
    /// Write one kind of record, or all, as CSV
    Export(Export),
    /// Add the records of a CSV file, all of them or none
    Import(Import),
    /// Copy the records to a new file
    Backup(Backup),
    /// Read every page and every record of the file, to see that it is sound
    Check(Check),
}

/// Kind of record, as written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KindArg(pub Kind);

impl ValueEnum for KindArg {
    fn value_variants<'a>() -> &'a [Self] {
        const ALL: [KindArg; 6] = [
            KindArg(Kind::Formulas),
            KindArg(Kind::Lots),
            KindArg(Kind::Batches),
            KindArg(Kind::Bars),
            KindArg(Kind::Trials),
            KindArg(Kind::Outcomes),
        ];
        &ALL
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        let help = match self.0 {
            Kind::Formulas => "formulas as poured",
            Kind::Lots => "deliveries",
            Kind::Batches => "pours, with the lots weighed in",
            Kind::Bars => "where bars went",
            Kind::Trials => "bench tests",
            Kind::Outcomes => "remarks on batches",
        };
        Some(PossibleValue::new(self.0.word()).help(help))
    }
}

/// `records list`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records list
  barwright --profile bench records list batches
  barwright --profile bench records list lots --json")]
pub struct ListKind {
    /// Kind of record; without it, how many there are of each
    #[arg(value_enum, value_name = "KIND")]
    pub kind: Option<KindArg>,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}

/// `records stock`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
What came (`records lot --mass`), less what went into batches (`batch --record`).

Examples:
  barwright --profile bench records stock
  barwright --profile bench records stock --json")]
pub struct Stock {
    /// Units shown: `us` for ounces; JSON is always metric
    #[arg(long, help_heading = OUTPUT, default_value = "metric", value_parser = crate::args::units())]
    pub units: Units,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}

/// `records trace`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records trace my-wax              # a recall
  barwright --profile bench records trace F-0007              # what is in a batch, where its bars went
  barwright --profile bench records trace F-0007 --bar 4      # one bar")]
pub struct Trace {
    /// Key of a lot or number of a batch
    #[arg(value_name = "NAME")]
    pub name: String,
    /// Only this bar of the batch, counted from 1
    #[arg(long, value_name = "N", value_parser = whole::<u32>(1..=u64::from(u32::MAX)))]
    pub bar: Option<u32>,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}

/// `records lot`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records lot W-2311 --like beeswax --delivered 2026-03-01 --best-before 2028-03-01
  barwright --profile bench records lot S-88 --mass 1kg --like 'shea butter' --certificate 'folder 3, page 12'")]
pub struct LotArgs {
    /// Key of the lot: what stands on the bag
    #[arg(value_name = "LOT")]
    pub key: String,
    /// Ingredient it is a delivery of
    #[arg(long, value_name = "INGREDIENT")]
    pub like: String,
    /// Day it came, as 2026-11-25
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub delivered: Option<Date>,
    /// Last day the supplier answers for
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub best_before: Option<Date>,
    /// Text of the certificate, or where it is kept
    #[arg(long, value_name = "TEXT")]
    pub certificate: Option<String>,
    /// How much came, such as `1kg`: `batch --record` takes what is weighed in off it
    #[arg(long, value_name = "MASS", value_parser = crate::args::mass, allow_hyphen_values = true)]
    pub mass: Option<f64>,
    /// Price of a kilogram
    #[arg(long, value_name = "PRICE", value_parser = crate::args::positive, allow_hyphen_values = true)]
    pub price: Option<f64>,
    /// Anything else worth keeping
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
}

/// `records went`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records went F-0007 --bars 1-4 --sold --to 'order 17'
  barwright --profile bench records went F-0007 --bars 12 --kept --note 'sample'")]
#[command(group(ArgGroup::new("where").required(true).args(["sold", "gifted", "kept"])))]
pub struct WentArgs {
    /// Number of the batch
    #[arg(value_name = "BATCH")]
    pub batch: String,
    /// Which bars, counted from 1: `4` or `1-4`
    #[arg(long, value_name = "BARS", value_parser = bars, allow_hyphen_values = true)]
    pub bars: (u32, u32),
    /// They were sold
    #[arg(long)]
    pub sold: bool,
    /// They were given away
    #[arg(long)]
    pub gifted: bool,
    /// They are kept back, as samples or for later
    #[arg(long)]
    pub kept: bool,
    /// To whom or where; an order number tells less about a person than a name
    #[arg(long, value_name = "TEXT")]
    pub to: Option<String>,
    /// Day they went, as 2026-11-25; without it, today
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub date: Option<Date>,
    /// Anything else worth keeping
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
}

/// `records remark`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records remark F-0007 'white bloom on bar 3'")]
pub struct Remark {
    /// Number of the batch
    #[arg(value_name = "BATCH")]
    pub batch: String,
    /// The remark
    #[arg(value_name = "TEXT")]
    pub text: String,
    /// Day of the remark, as 2026-11-25; without it, today
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub date: Option<Date>,
}

/// `records export`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records export batches > batches.csv
  barwright --profile bench records export batches --out batches.csv
  barwright --profile bench records export --folder tables        # all kinds, one file each")]
pub struct Export {
    /// Kind of record
    #[arg(value_enum, value_name = "KIND", required_unless_present = "folder", conflicts_with = "folder")]
    pub kind: Option<KindArg>,
    /// Write into this file; without it, to standard output
    #[arg(long, value_name = "FILE", conflicts_with = "folder")]
    pub out: Option<PathBuf>,
    /// Write every kind into this folder, as `formulas.csv`, `lots.csv` and so on
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}

/// `records import`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Export a kind to see its columns. No cell is ever computed. A record kept already, word for word, is left as it is.

Examples:
  barwright --profile bench records import lots lots.csv
  barwright --profile bench records import --folder tables")]
pub struct Import {
    /// Kind of record
    #[arg(value_enum, value_name = "KIND", required_unless_present = "folder", conflicts_with = "folder")]
    pub kind: Option<KindArg>,
    /// The CSV file, or `-` for standard input
    #[arg(value_name = "FILE", required_unless_present = "folder", conflicts_with = "folder")]
    pub file: Option<PathBuf>,
    /// Read every kind there is a file of in this folder
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}

/// `records backup`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records backup /media/stick/records-november.sqlite")]
pub struct Backup {
    /// The file to make, best on another disk; one that is there is not replaced
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
}

/// `records check`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright --profile bench records check")]
pub struct Check {}

/// Reads `4` or `1-4`.
fn bars(text: &str) -> Result<(u32, u32), String> {
    let wrong = || format!("`{text}` is not a bar or a range of bars; write such as `4` or `1-4`");
    let number = |text: &str| text.trim().parse::<u32>().map_err(|_| wrong());
    match text.split_once(['-', '–']) {
        Some((first, last)) => Ok((number(first)?, number(last)?)),
        None => number(text).map(|bar| (bar, bar)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_one_or_a_range() {
        assert_eq!([bars("4"), bars("1-4")], [Ok((4, 4)), Ok((1, 4))]);
        for text in ["", "-4", "1-", "four"] {
            assert!(bars(text).is_err(), "{text}");
        }
    }
}
