//! Loads what the user wrote: formulas from files, standard input or the command line, and lots.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::fs::File;
use std::io::{self, ErrorKind, IsTerminal, Read};
use std::path::Path;
use std::sync::Arc;

use barwright_blend::certificate::{LotShift, fit_lots};
use barwright_records::MAX_TABLE_BYTES;
use barwright_reference::formula::{Format, read, sniff};
use barwright_reference::suggest::nearest;
use barwright_reference::{Date, Diagnostic, Formula, IngredientId, Library, Lookup};

use crate::error::CliError;
use crate::output::Streams;
use crate::save::refusal;
use crate::today::today;
use barwright_answer::bought::WrittenBar;
use barwright_answer::engine::{Recipe, builtin_library, builtin_model};
use barwright_answer::lot;
use barwright_answer::refusal::{Fault, Place};
use barwright_answer::words::names::nameless;
use barwright_answer::words::visible::visible;

/// What a text is, for how large it may be and what to say when it is too large or empty.
pub struct TextKind {
    /// Largest text taken, bytes.
    largest_bytes: u64,
    too_large: &'static str,
    empty: &'static str,
}

/// Formulas and what goes with them: a formula of two hundred parts has a few thousand bytes.
const SMALL: TextKind = TextKind {
    largest_bytes: 1_000_000,
    too_large: "A formula has a few lines; check that this is the right file.",
    empty: "Write each ingredient with its amount by mass, such as `beeswax 26, sunflower oil 74`.",
};

/// Bench tests of a bar of unknown formula.
const TESTS: TextKind = TextKind {
    largest_bytes: 1_000_000,
    too_large: "A bar has a few tests; check that this is the right file.",
    empty: "Write below a line `[[test]]` such as `rod = \"3mm\"`, `grams = 640` and `at = \"20C\"`.",
};

/// Routes: a logger's million rows have some thirty million bytes.
pub const ROUTE: TextKind = TextKind {
    largest_bytes: 100_000_000,
    too_large: "Keep one row a minute: that is plenty.",
    empty: "Write a header line such as `hours,temperature_c` and one line for each time.",
};

/// What `trial fit` learned: hundreds of scores have some hundred thousand figures.
pub const LEARNED: TextKind = TextKind {
    largest_bytes: 100_000_000,
    too_large: "Say `barwright trial fit` again to write it anew.",
    empty: "Say `barwright trial fit` again to write it anew.",
};

/// Tables of records.
pub const RECORDS: TextKind = TextKind {
    largest_bytes: MAX_TABLE_BYTES as u64,
    too_large: "Cut the table into several: each begins with the header line.",
    empty: "Export a table to see how one is written.",
};

/// Endings that make an argument a file name, even when there is no such file.
const ENDINGS: [&str; 3] = ["toml", "csv", "txt"];

/// Most names of a folder looked at for a hint.
const MAX_NAMES: usize = 5000;

/// What formulas are read from.
#[derive(Debug)]
struct Source {
    /// Name shown in messages.
    origin: String,
    text: Arc<str>,
    format: Format,
    /// How the format was told, where the name does not say.
    note: Option<String>,
    /// Name of a formula that the text gives none.
    name: String,
}

/// Formulas with the library they were read with.
#[derive(Debug)]
pub struct Loaded {
    /// Reference tables and lots.
    pub library: Library,
    /// The formulas in the order written.
    pub formulas: Vec<Formula>,
    /// Remark of each formula's file, where it has one.
    pub remarks: Vec<Option<String>>,
    /// Text of each formula's file, where it is one that can be written back.
    pub texts: Vec<Option<Arc<str>>>,
    /// What to say of lots that come into a formula later.
    pub about: AboutLots,
}

impl Loaded {
    /// Asks about every formula.
    pub fn recipes(&self) -> Vec<Recipe> {
        let remarks = self.remarks.iter().cloned();
        let recipe = |(formula, remark)| Recipe { remark, ..Recipe::of(formula, &self.library) };
        self.formulas.iter().zip(remarks).map(recipe).collect()
    }

    /// Asks about one formula.
    ///
    /// # Errors
    /// There is none at that place, which is a fault of this program.
    pub fn recipe(&self, index: usize) -> Result<Recipe, CliError> {
        self.recipes().into_iter().nth(index).ok_or_else(|| CliError::internal("a formula was read and lost"))
    }
}

/// The library with the maker's lots.
pub struct Lots {
    /// Reference tables, and the lots where they could be read.
    pub library: Library,
    /// Everything that is wrong with the lots.
    pub faults: Vec<Fault>,
    /// Notes on how they were read.
    pub notes: Vec<String>,
    /// What to say of the lots that are used.
    pub about: AboutLots,
}

/// What to say of each lot that is used: what its certificate did to it, and whether it is past its date.
#[derive(Debug, Default)]
pub struct AboutLots(BTreeMap<IngredientId, Vec<String>>);

impl AboutLots {
    /// What there is to say of the lots of a library.
    ///
    /// # Errors
    /// A lot has a last day, and there is no telling whether it is past.
    fn new(
        library: &Library,
        shifts: &[LotShift],
        today: impl Fn() -> Result<Date, CliError>,
    ) -> Result<Self, CliError> {
        let mut about: BTreeMap<IngredientId, Vec<String>> = BTreeMap::new();
        for shift in shifts {
            about.entry(shift.ingredient).or_default().extend(lot::shift(shift, library));
        }
        for (id, lot) in library.by_id().filter(|(_, lot)| lot.lot_best_before.is_some()) {
            about.entry(id).or_default().extend(lot::past_best_before(lot, today()?));
        }
        Ok(AboutLots(about))
    }

    /// Writes what there is to say of those among some ingredients, each once and in the order of the file.
    ///
    /// # Arguments
    /// * `used`: positions in the library.
    pub fn write(&self, used: impl Iterator<Item = IngredientId>, streams: &mut Streams<'_>) -> Result<(), CliError> {
        let used: BTreeSet<IngredientId> = used.collect();
        for note in used.iter().filter_map(|index| self.0.get(index)).flatten() {
            streams.remarks.note(note)?;
        }
        Ok(())
    }
}

/// Returns the built-in tables with the lots of a file, if any: each as its certificate says.
///
/// # Errors
/// When the model fails, or a lot has a last day and the clock shows none; what is wrong with the lots is in
/// [`Lots::faults`].
pub fn library_with(lots: Option<&Path>) -> Result<Lots, CliError> {
    let library = builtin_library()?;
    let Some(path) = lots else {
        return Ok(Lots { library, faults: Vec::new(), notes: Vec::new(), about: AboutLots::default() });
    };
    let (library, notes) = match load_lots(&library, path) {
        Ok(found) => found,
        Err(faults) => return Ok(Lots { library, faults, notes: Vec::new(), about: AboutLots::default() }),
    };
    let (library, shifts) = fit_lots(&library, &builtin_model()?.parameters)?;
    let about = AboutLots::new(&library, &shifts, today)?;
    Ok(Lots { library, faults: Vec::new(), notes, about })
}

/// Loads lots and formulas and writes the notes on how they were read.
///
/// # Errors
/// Everything that is wrong with any of them.
pub fn load(written: &[&OsStr], lots: Option<&Path>, streams: &mut Streams<'_>) -> Result<Loaded, CliError> {
    check_stdin_once(written, lots)?;
    let Lots { library, mut faults, mut notes, about } = library_with(lots)?;
    let lots_known = faults.is_empty();
    let (mut formulas, mut remarks, mut texts) = (Vec::new(), Vec::new(), Vec::new());
    for (index, argument) in written.iter().enumerate() {
        let source = match resolve(argument, index + 1, &library) {
            Ok(source) => source,
            Err(fault) => {
                faults.push(*fault);
                continue;
            }
        };
        notes.extend(source.note.clone());
        match read(&source.text, source.format, &source.name, &library) {
            Ok(reading) => {
                notes.extend(reading.notes.iter().map(|note| say(note, &source.origin, &source.text)));
                remarks.extend(reading.formulas.iter().map(|_| reading.remark.clone()));
                let text = (source.format == Format::Toml).then(|| Arc::clone(&source.text));
                texts.extend(reading.formulas.iter().map(|_| text.clone()));
                formulas.extend(reading.formulas);
            }
            Err(mut errors) => faults.extend({
                // A table with several formulas names the same wrong ingredient once for each.
                errors.dedup();
                errors
                    .into_iter()
                    // A name may be that of a lot in the file that could not be read.
                    .filter(|error| lots_known || error.code != "unknown-ingredient")
                    .map(|error| complaint_in(error, &source, &library))
            }),
        }
    }
    let used = formulas.iter().flat_map(|formula: &Formula| formula.parts.iter().map(|part| part.ingredient));
    for note in notes {
        streams.remarks.note(&note)?;
    }
    about.write(used, streams)?;
    if faults.is_empty() {
        Ok(Loaded { library, formulas, remarks, texts, about })
    } else {
        Err(CliError::input(faults))
    }
}

/// Reads the bench tests of a bar of unknown formula; it is called by the name of its file where the text gives none.
pub fn read_bar(path: &Path) -> Result<WrittenBar, Box<Fault>> {
    let (text, origin) = read_text_of(path, &TESTS)?;
    let name = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    Ok(WrittenBar { text: text.as_ref().to_owned(), origin, name })
}

/// Refuses to read standard input twice.
pub fn check_stdin_once(written: &[&OsStr], lots: Option<&Path>) -> Result<(), CliError> {
    let on_stdin = written.iter().filter(|argument| **argument == "-").count();
    if on_stdin + usize::from(lots == Some(Path::new("-"))) <= 1 {
        return Ok(());
    }
    Err(CliError::command_line(
        Fault::new("stdin-twice", "`-` is written more than once, and standard input can be read only once")
            .hint("Put the other text into a file and write its name."),
    ))
}

/// Returns a note on one line with its place.
pub fn say(note: &Diagnostic, origin: &str, text: &str) -> String {
    let (line, column) = barwright_reference::diagnostic::line_column(text, note.span.start);
    let place = if !text.trim_end().contains('\n') { origin.to_owned() } else { format!("{origin}:{line}:{column}") };
    let mut said = format!("{place}: {}", note.message);
    for hint in &note.hints {
        said.push_str(". ");
        said.push_str(hint.trim_end_matches('.'));
    }
    said
}

/// Places a finding in its source, and adds what the source as a whole lets one guess.
fn complaint_in(error: Diagnostic, source: &Source, library: &Library) -> Fault {
    let fault = Fault::from_diagnostic(error, &source.origin, &source.text);
    let text = source.text.as_ref();
    let one_word = !text.contains(|letter: char| letter.is_ascii_digit() || matches!(letter, '\n' | ','));
    if fault.code == "unknown-key" && text.contains("[lot") {
        fault.hint("A file of lots is named behind `--lots`.")
    } else if source.format == Format::Inline && one_word && matches!(library.find(text), Lookup::Unknown { .. }) {
        fault.hint("This was read as a formula; to name a file, write its ending too, such as `.toml`.")
    } else {
        fault
    }
}

/// Reads the maker's lots into a copy of the library, with the notes on how they were read.
fn load_lots(library: &Library, path: &Path) -> Result<(Library, Vec<String>), Vec<Fault>> {
    let (text, origin) = read_text(path).map_err(|fault| vec![*fault])?;
    match library.with_lots(&text) {
        Ok((library, notes)) => {
            let notes = notes.iter().map(|note| say(note, &origin, &text)).collect();
            Ok((library, notes))
        }
        Err(errors) => Err(errors.into_iter().map(|error| Fault::from_diagnostic(error, &origin, &text)).collect()),
    }
}

/// Reads a file, or standard input for `-`; returns the text and its name as shown.
pub fn read_text(path: &Path) -> Result<(Arc<str>, String), Box<Fault>> {
    read_text_of(path, &SMALL)
}

/// The same for a kind of text.
pub fn read_text_of(path: &Path, kind: &TextKind) -> Result<(Arc<str>, String), Box<Fault>> {
    if path == Path::new("-") {
        let origin = "standard input".to_owned();
        Ok((read_stdin(&origin, kind)?, origin))
    } else {
        let origin = path.display().to_string();
        Ok((read_file_of(path, &origin, kind)?, origin))
    }
}

/// Finds out what an argument is, and reads it.
///
/// An existing file, or what has the ending of one, is a file; what has a slash in it is a file unless it reads as a formula
/// (`caprylic/capric triglyceride 20`); anything else is a formula.
fn resolve(argument: &OsStr, number: usize, library: &Library) -> Result<Source, Box<Fault>> {
    let inline_name = nameless(number);
    if argument == "-" {
        let (text, origin) = read_text(Path::new(argument))?;
        return Ok(Source { format: sniff(&text), note: None, origin, text, name: inline_name });
    }
    let path = Path::new(argument);
    let ending = path.extension().and_then(OsStr::to_str).map(str::to_lowercase).unwrap_or_default();
    let written = argument.to_str();
    if written != Some("") && may_be_there(path) || written.is_none_or(|text| names_file(text, &ending, library)) {
        let origin = path.display().to_string();
        let text = read_file(path, &origin).map_err(|fault| {
            let missing = fault.code == "no-file";
            let instead = "A formula can be written in place of a file: 'beeswax 26, sunflower oil 74'.";
            if missing { Box::new(fault.hint(instead)) } else { fault }
        })?;
        let (format, note) = format_of(&ending, &origin, &text);
        return Ok(Source {
            format,
            note,
            name: path.file_stem().map_or(inline_name, |stem| stem.to_string_lossy().into_owned()),
            origin,
            text,
        });
    }
    let text = check_filled(written.unwrap_or(""), &inline_name, &SMALL)?;
    if text.len() as u64 > SMALL.largest_bytes {
        return Err(Box::new(too_large(&inline_name, text.len() as u64, &SMALL)));
    }
    Ok(Source { format: sniff(&text), note: None, origin: inline_name.clone(), text, name: inline_name })
}

/// Whether there is something under a name; what may not be looked at may be there.
fn may_be_there(path: &Path) -> bool {
    // The name itself, not what a link leads to: a link that leads nowhere was still meant.
    match path.symlink_metadata() {
        Ok(_) => true,
        // No file can have such a name: there is none, it is too long, it goes through a file, or a NUL is in it.
        Err(error) => !matches!(
            error.kind(),
            ErrorKind::NotFound | ErrorKind::InvalidFilename | ErrorKind::NotADirectory | ErrorKind::InvalidInput
        ),
    }
}

/// Returns the format of a file: by its ending, else by its text, with a note on what it was taken for.
fn format_of(ending: &str, origin: &str, text: &str) -> (Format, Option<String>) {
    match ending {
        "toml" => return (Format::Toml, None),
        "csv" => return (Format::Csv, None),
        _ => {}
    }
    let format = sniff(text);
    let taken_for = match format {
        Format::Toml => "a .toml file",
        Format::Csv => "a .csv file",
        // As the name says.
        Format::Inline if ending == "txt" => return (format, None),
        Format::Inline => "plain text",
    };
    (format, Some(format!("{origin}: read as {taken_for}, going by its content")))
}

/// Whether a text that names no existing file is still meant as the name of one.
fn names_file(text: &str, ending: &str, library: &Library) -> bool {
    let one_line = !text.contains('\n');
    (one_line && ENDINGS.contains(&ending))
        || (text.contains(['/', '\\'])
            && one_line
            && read(text, Format::Inline, "", library).is_err()
            && !text.contains(','))
}

/// Reads standard input up to the largest size.
fn read_stdin(origin: &str, kind: &TextKind) -> Result<Arc<str>, Box<Fault>> {
    let stdin = io::stdin();
    if stdin.is_terminal() {
        // Whoever typed `-` by mistake would wait for ever; a failure to say so changes nothing.
        let _ = io::Write::write_all(
            &mut io::stderr(),
            b"note: reading from the keyboard; end it with Ctrl-D on a new line\n",
        );
    }
    read_capped(stdin.lock(), origin, kind)
}

/// Reads a file, refusing by its size before reading it.
pub fn read_file(path: &Path, origin: &str) -> Result<Arc<str>, Box<Fault>> {
    read_file_of(path, origin, &SMALL)
}

/// The same for a kind of text.
fn read_file_of(path: &Path, origin: &str, kind: &TextKind) -> Result<Arc<str>, Box<Fault>> {
    let failed = |error: io::Error| Box::new(unreadable(path, origin, &error));
    let facts = std::fs::metadata(path).map_err(failed)?;
    if facts.is_dir() {
        return Err(Box::new(
            Fault::about_file("directory", format!("`{}` is a folder, not a file", short(origin)), origin)
                .hint("Write the name of a formula file in it."),
        ));
    }
    if facts.is_file() && facts.len() > kind.largest_bytes {
        return Err(Box::new(too_large(origin, facts.len(), kind)));
    }
    read_capped(File::open(path).map_err(failed)?, origin, kind)
}

/// Reads at most the largest size, and checks that it is text and not empty.
fn read_capped(reader: impl Read, origin: &str, kind: &TextKind) -> Result<Arc<str>, Box<Fault>> {
    let mut bytes = Vec::new();
    let capped = reader.take(kind.largest_bytes + 1).read_to_end(&mut bytes);
    capped.map_err(|error| Box::new(unreadable(Path::new(origin), origin, &error)))?;
    if bytes.len() as u64 > kind.largest_bytes {
        return Err(Box::new(too_large(origin, bytes.len() as u64, kind)));
    }
    match std::str::from_utf8(&bytes) {
        Ok(text) => check_filled(text, origin, kind),
        Err(error) => Err(Box::new(not_text(&bytes, error.valid_up_to(), origin))),
    }
}

/// Refuses a text with nothing in it.
fn check_filled(text: &str, origin: &str, kind: &TextKind) -> Result<Arc<str>, Box<Fault>> {
    if text.trim_matches(|letter: char| letter.is_whitespace() || letter == '\u{feff}').is_empty() {
        return Err(Box::new(
            Fault::about_file("empty", format!("{} is empty", named(origin)), origin).hint(kind.empty),
        ));
    }
    Ok(Arc::from(text))
}

fn too_large(origin: &str, bytes: u64, kind: &TextKind) -> Fault {
    let most = kind.largest_bytes;
    let size = if bytes > most + 1 { format!("has {:.1} MB", bytes as f64 / 1e6) } else { "goes on".to_owned() };
    let message = format!("{} {size}, above the {} MB taken", named(origin), most / 1_000_000);
    Fault::about_file("too-large", message, origin).hint(kind.too_large)
}

fn not_text(bytes: &[u8], at: usize, origin: &str) -> Fault {
    let before = bytes.get(..at).unwrap_or(&[]);
    let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
    let byte = bytes.get(at).copied().unwrap_or(0);
    let line_start = before.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
    let on_line = std::str::from_utf8(before.get(line_start..).unwrap_or(&[])).unwrap_or("");
    let message = format!("{} is not UTF-8 text: the byte at offset {at} is 0x{byte:02X}", named(origin));
    let fault = Fault {
        place: Place::File { origin: origin.to_owned(), at: Some((line, on_line.chars().count() + 1)) },
        ..Fault::new("not-utf8", message)
    };
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        fault.hint("It is UTF-16; save it again as UTF-8.")
    } else {
        fault.hint("Save it again as UTF-8.")
    }
}

/// Says why a file cannot be read; for a missing one, which one may be meant.
fn unreadable(path: &Path, origin: &str, error: &io::Error) -> Fault {
    let shown = short(origin);
    if refusal::is_too_many_open(error) {
        let message = format!("`{shown}` cannot be read: too many files are open");
        return Fault::about_file("open-files", message, origin).hint(refusal::TOO_MANY_OPEN_HINT);
    }
    if refusal::is_circle(error) {
        let message = format!("`{shown}` cannot be read: it is a link that leads in a circle");
        return Fault::about_file("link", message, origin).hint("Name the file itself, or make the link anew.");
    }
    match error.kind() {
        ErrorKind::NotFound if path.is_symlink() => {
            let to = path.read_link().map(|to| short(&to.display().to_string())).unwrap_or_default();
            let message = format!("`{shown}` cannot be read: it is a link to `{to}`, and there is no such file");
            Fault::about_file("link", message, origin).hint("Name the file itself, or make the link anew.")
        }
        ErrorKind::InvalidFilename => {
            let length = path.file_name().map_or(0, OsStr::len);
            let message =
                format!("there is no file `{shown}`: its name of {length} bytes is longer than the system takes");
            Fault::about_file("no-file", message, origin)
        }
        ErrorKind::NotFound => {
            let fault = Fault::about_file("no-file", format!("there is no file `{shown}`"), origin);
            match neighbour(path) {
                Neighbour::File(name) => fault.hint(format!("The nearest file there is `{name}`.")),
                Neighbour::None => fault.hint("There is no formula file in that folder."),
                Neighbour::NoFolder(folder) => fault.hint(format!("There is no folder `{folder}`.")),
            }
        }
        ErrorKind::PermissionDenied => Fault::about_file("no-permission", format!("`{shown}` may not be read"), origin)
            .hint("Allow reading it, or copy it to where you may read it."),
        ErrorKind::NotADirectory => Fault::about_file(
            "no-file",
            format!("there is no file `{shown}`: a part of its path is a file, not a folder"),
            origin,
        ),
        _ => Fault::about_file("unreadable", format!("`{shown}` cannot be read: {error}"), origin),
    }
}

/// What there is beside a missing file.
enum Neighbour {
    File(String),
    None,
    NoFolder(String),
}

/// Looks for the file of the folder whose name is nearest to that of `path`.
fn neighbour(path: &Path) -> Neighbour {
    let folder = match path.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Neighbour::NoFolder(short(&folder.display().to_string()));
    };
    let mut names: Vec<String> = entries
        .take(MAX_NAMES)
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter(|name| {
            let ending = Path::new(name).extension().and_then(OsStr::to_str).unwrap_or("");
            ENDINGS.iter().any(|known| ending.eq_ignore_ascii_case(known))
        })
        .collect();
    names.sort_unstable();
    let wanted = path.file_name().map(OsStr::to_string_lossy).unwrap_or_default();
    let best = nearest(&wanted.to_lowercase(), names.iter().map(String::as_str).enumerate(), 1);
    match best.first().and_then(|index| names.get(*index)) {
        Some(name) => Neighbour::File(visible(&folder.join(name).display().to_string().replacen("./", "", 1))),
        None => Neighbour::None,
    }
}

/// Returns the name of a source for a sentence: a file's in back quotes.
fn named(origin: &str) -> String {
    if origin == "standard input" || origin.starts_with("formula ") {
        origin.to_owned()
    } else {
        format!("`{}`", short(origin))
    }
}

/// Returns a name cut to a length that fits a sentence, keeping its end.
fn short(name: &str) -> String {
    const MAX_LETTERS: usize = 80;
    let count = name.chars().count();
    if count <= MAX_LETTERS {
        visible(name)
    } else {
        format!("…{}", visible(&name.chars().skip(count - MAX_LETTERS).collect::<String>()))
    }
}
