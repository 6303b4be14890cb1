//! What can go wrong with the records, and what to do about it.

use std::io;
use std::path::{Path, PathBuf};

use jiff::civil::Date;

/// Characters of a text that a message shows before it is cut.
const SHOWN_CHARACTERS: usize = 60;

/// Why the records were not opened, read or added to; whatever stood in them before is untouched.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordsError {
    /// The profile folder does not exist or is no folder.
    #[error("there is no folder `{}` to keep records in", folder.display())]
    NoFolder {
        /// The folder given.
        folder: PathBuf,
    },
    /// The file exists and holds nothing; records are never made that way.
    #[error("`{}` is empty: its records are gone or were never there", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The file is a database of some other program.
    #[error("`{}` is a database, but not one of barwright's records", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// A newer barwright wrote the file.
    #[error("`{}` has records of version {found}; this barwright knows versions up to {known}", path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// The version of the file.
        found: i64,
        /// The newest version this crate knows.
        known: i64,
    },
    /// The file cannot be read as what it should be.
    #[error("`{}` is damaged: {what}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was seen in it.
        what: String,
    },
    /// The file has not the tables and indexes barwright makes, or more than those.
    #[error("{}", schema_words(path, object, fault))]
    Schema {
        /// The file.
        path: PathBuf,
        /// What is not as it should be: its kind and name.
        object: String,
        /// What is wrong with it.
        fault: SchemaFault,
    },
    /// The file took another number of rows than one; nothing of the record was kept.
    #[error("the file took {changed} rows of {kind} where one was to be kept: nothing was added")]
    NotKept {
        /// Kind of the record.
        kind: &'static str,
        /// How many rows were changed.
        changed: usize,
    },
    /// There is no room left for the record.
    #[error("there is no room for what `{}` should take: {what}", path.display())]
    Full {
        /// The file.
        path: PathBuf,
        /// What the system said.
        what: String,
    },
    /// The file or its folder may not be read, or not be written to: the system does not say which.
    #[error("`{}` cannot be kept: the file or its folder may not be read and written here", path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// The system lets this program open no more files.
    #[error("`{}` cannot be opened: too many files are open", path.display())]
    TooManyOpen {
        /// The file.
        path: PathBuf,
    },
    /// Another command kept the file to itself for too long.
    #[error("`{}` is in use: another command wrote to it for more than {waited_s} s", path.display())]
    Busy {
        /// The file.
        path: PathBuf,
        /// How long this one waited, s.
        waited_s: u64,
    },
    /// The system refused.
    #[error("`{}`: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The database refused in a way none of the others names.
    #[error("`{}`: {source}", path.display())]
    Database {
        /// The file.
        path: PathBuf,
        /// What the database said.
        source: rusqlite::Error,
    },
    /// A backup would replace a file.
    #[error("`{}` is there already and is not replaced", path.display())]
    BackupExists {
        /// The name given.
        path: PathBuf,
    },
    /// A name or a text is blank.
    #[error("the {what} is blank")]
    Blank {
        /// What it would have been.
        what: &'static str,
    },
    /// A name begins or ends with a blank, or has a character nobody can see.
    #[error("the {what} {seen:?} has {fault}")]
    BadText {
        /// What it would have been.
        what: &'static str,
        /// Its beginning.
        seen: String,
        /// What is wrong with it.
        fault: &'static str,
    },
    /// A text is longer than is kept.
    #[error("the {what} has {bytes} bytes; at most {most} are kept")]
    TooLong {
        /// What it would have been.
        what: &'static str,
        /// Its length, bytes.
        bytes: usize,
        /// The most that is kept, bytes.
        most: usize,
    },
    /// A number is outside what makes sense.
    #[error("the {what} is {value} {unit}, outside {low} to {high} {unit}")]
    OutOfRange {
        /// What it would have been.
        what: &'static str,
        /// The number given.
        value: f64,
        /// The smallest taken.
        low: f64,
        /// The largest taken.
        high: f64,
        /// Unit of all three.
        unit: &'static str,
    },
    /// A date lies after today.
    #[error("the {what}, {date}, is in the future: today is {today}")]
    Future {
        /// Whose date it is.
        what: &'static str,
        /// The date given.
        date: Date,
        /// The caller's today.
        today: Date,
    },
    /// A date lies before any maker's records.
    #[error("the {what}, {date}, is before {earliest}")]
    LongAgo {
        /// Whose date it is.
        what: &'static str,
        /// The date given.
        date: Date,
        /// The earliest taken.
        earliest: Date,
    },
    /// Bars left before the batch was poured.
    #[error("bars of batch {batch:?} cannot have gone on {date}: it was poured on {poured_on}")]
    BeforePour {
        /// The batch.
        batch: String,
        /// The date given.
        date: Date,
        /// The date of the batch.
        poured_on: Date,
    },
    /// No record has this name.
    #[error("no {what} is called {name:?}")]
    Unknown {
        /// What was looked for.
        what: &'static str,
        /// The name given.
        name: String,
    },
    /// A record of this name is kept and says something else.
    #[error("{what} {name:?} is kept already, and nothing kept is replaced")]
    AlreadyThere {
        /// What it is.
        what: &'static str,
        /// Its name.
        name: String,
    },
    /// One record names the same thing twice.
    #[error("{name:?} is named twice in {within:?}")]
    Twice {
        /// What is named twice.
        name: String,
        /// The record that does so.
        within: String,
    },
    /// The parts of a formula do not make a whole.
    #[error("the parts of {formula:?} sum to {sum_percent} %, not to 100 %")]
    PartsSum {
        /// The formula.
        formula: String,
        /// Their sum, mass %.
        sum_percent: f64,
    },
    /// The batch has no such bars.
    #[error("batch {batch:?} has no {}: it has {bars}", if first == last { format!("bar {first}") } else { format!("bars {first} to {last}") })]
    NoSuchBars {
        /// The batch.
        batch: String,
        /// First bar given.
        first: u32,
        /// Last bar given.
        last: u32,
        /// Bars of the batch in words: a number, or that it is not known.
        bars: String,
    },
    /// Some of the bars are sold or gifted already.
    #[error("bars {first} to {last} of batch {batch:?} are {went} already")]
    BarsGone {
        /// The batch.
        batch: String,
        /// First bar of the entry in the way.
        first: u32,
        /// Last bar of the entry in the way.
        last: u32,
        /// Where they went.
        went: &'static str,
    },
    /// Figures that would not be read back as they are.
    #[error("the figures of {of} cannot be kept: {what}")]
    BadFigures {
        /// Whose figures.
        of: &'static str,
        /// What was seen.
        what: String,
    },
    /// A table cannot be read.
    #[error("line {line}: {what}")]
    Table {
        /// Line, counted from 1.
        line: u64,
        /// What was seen.
        what: String,
    },
    /// Several rows of a table cannot be read or kept; nothing of the table was.
    #[error("{}{}", faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "), if *more > 0 { format!("; and {more} more") } else { String::new() })]
    Faults {
        /// The first of them, in the order of their lines.
        faults: Vec<RecordsError>,
        /// How many more there are.
        more: usize,
    },
    /// A batch takes more of some lots than is left.
    #[error("{}", shortage_words(shortages))]
    TooLittle {
        /// The lots.
        shortages: Vec<Shortage>,
    },
    /// A row of a table cannot be kept; nothing of the table was.
    #[error("line {line}: {source}")]
    Row {
        /// Line, counted from 1.
        line: u64,
        /// Why.
        source: Box<RecordsError>,
    },
}

/// A delivery of which a batch takes more than is left.
#[derive(Debug, Clone, PartialEq)]
pub struct Shortage {
    /// Its key.
    pub lot: String,
    /// What is left, g.
    pub left_g: f64,
    /// What the batch takes, g.
    pub needed_g: f64,
}

/// What is wrong with one of the tables, indexes and other things a file is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum SchemaFault {
    /// It is gone.
    Missing,
    /// Something else has its name.
    Replaced {
        /// What it is: a view, a trigger.
        by: String,
    },
    /// It is another than barwright makes.
    Changed,
    /// Barwright makes none such.
    Added,
}

/// Says what is wrong with a part of a file.
fn schema_words(path: &Path, object: &str, fault: &SchemaFault) -> String {
    let path = path.display();
    match fault {
        SchemaFault::Missing => format!("`{path}` has lost its {object}"),
        SchemaFault::Replaced { by } => format!("`{path}` has a {by} in place of its {object}"),
        SchemaFault::Changed => format!("the {object} of `{path}` is not the one barwright made"),
        SchemaFault::Added => {
            let article = if object.starts_with('i') { "an" } else { "a" };
            format!("`{path}` has {article} {object}, which barwright did not make")
        }
    }
}

/// Says of which lots a batch takes more than is left.
fn shortage_words(shortages: &[Shortage]) -> String {
    let one = |Shortage { lot, left_g, needed_g }: &Shortage| {
        format!("of the lot `{lot}` {left_g} g are left, and the batch takes {needed_g} g")
    };
    shortages.iter().map(one).collect::<Vec<_>>().join("; ")
}

impl RecordsError {
    /// Returns what to do about it, one sentence.
    ///
    /// ```
    /// use barwright_records::RecordsError;
    /// let error = RecordsError::Blank { what: "batch number" };
    /// assert_eq!(error.hint(), "Write something, or leave it out where it may be left out.");
    /// ```
    pub fn hint(&self) -> &'static str {
        match self {
            RecordsError::NoFolder { .. } => "Make the folder first, or name one that exists.",
            RecordsError::Schema { fault: SchemaFault::Added, .. } | RecordsError::NotKept { .. } => {
                "Take away whatever another program added to the file, or put a backup in its place."
            }
            RecordsError::Empty { .. } | RecordsError::Damaged { .. } | RecordsError::Schema { .. } => {
                "Keep this file as it is, and put a backup in its place."
            }
            RecordsError::Foreign { .. } => "Name another folder, or move that file away.",
            RecordsError::Newer { .. } => "Use the newer barwright; nothing was changed.",
            RecordsError::Full { .. } => "Make room on the disk and say it again; nothing was lost.",
            RecordsError::ReadOnly { .. } => {
                "Allow the folder and the file to be read and written, or name another folder."
            }
            RecordsError::TooManyOpen { .. } => crate::refusal::TOO_MANY_OPEN_HINT,
            RecordsError::Busy { .. } => "Let the other command end and say it again.",
            RecordsError::Io { .. } | RecordsError::Database { .. } => "See to what the system said and say it again.",
            RecordsError::BackupExists { .. } => "Name a file that is not there yet.",
            RecordsError::Blank { .. } => "Write something, or leave it out where it may be left out.",
            RecordsError::BadText { .. } => "Leave out blanks at both ends and characters that cannot be seen.",
            RecordsError::TooLong { .. } => "Shorten it, and keep the long text in a file of its own.",
            RecordsError::OutOfRange { .. } => "Check the number and its unit.",
            RecordsError::Future { .. } => "Check the date and the computer's clock.",
            RecordsError::LongAgo { .. } => "Check the year.",
            RecordsError::BeforePour { .. } => "Check both dates.",
            RecordsError::Unknown { .. } => "Check the spelling, or record that first.",
            RecordsError::AlreadyThere { .. } => "Give the new one a name of its own.",
            RecordsError::Twice { .. } => "Name it once, with the amounts added up.",
            RecordsError::PartsSum { .. } => "State each part in mass %, so that they sum to 100.",
            RecordsError::NoSuchBars { .. } => "Bars are counted from 1 to the number of cavities.",
            RecordsError::BarsGone { .. } => "Check the bar numbers.",
            RecordsError::BadFigures { .. } => "Keep the figures short and plain.",
            RecordsError::Table { .. } => "Export a table to see how one is written.",
            RecordsError::Faults { .. } => "Mend every row named and import the table again.",
            RecordsError::TooLittle { .. } => "Name another delivery for the rest, or check what was weighed.",
            RecordsError::Row { source, .. } => source.hint(),
        }
    }
}

/// What stops an inner function: the database, or something with a name.
#[derive(Debug)]
pub(crate) enum Stop {
    /// The database; the store adds its path and tells what kind it is.
    Sql(rusqlite::Error),
    /// Anything else.
    Known(RecordsError),
    /// Something kept that cannot be what was once put there.
    Unreadable(String),
}

impl Stop {
    /// Says which record could not be read, where that is what happened.
    pub(crate) fn of(self, label: impl FnOnce() -> String) -> Stop {
        match self {
            Stop::Unreadable(what) => Stop::Unreadable(format!("{}: {what}", label())),
            Stop::Sql(
                error @ (rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::IntegralValueOutOfRange(..)
                | rusqlite::Error::InvalidColumnType(..)),
            ) => Stop::Unreadable(format!("{}: {error}", label())),
            stop => stop,
        }
    }
}

impl From<rusqlite::Error> for Stop {
    fn from(error: rusqlite::Error) -> Stop {
        Stop::Sql(error)
    }
}

impl From<RecordsError> for Stop {
    fn from(error: RecordsError) -> Stop {
        Stop::Known(error)
    }
}

/// Returns the beginning of a text, for a message.
pub(crate) fn beginning(text: &str) -> String {
    match text.char_indices().nth(SHOWN_CHARACTERS) {
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or_default()),
        None => text.to_owned(),
    }
}
