//! A route: the air around a parcel against time, as CSV text or from the built-in table.
//!
//! ```text
//! hours,temperature_c          minutes;temp (°F)          timestamp,temperature_c
//! 0,22                         0;71,6                     2026-07-01 08:00,22
//! 4.5,38                       30;100,4                   2026-07-01 12:30,38
//! ```
//! | column | names taken |
//! |---|---|
//! | time | `seconds`, `minutes`, `hours`, `days`; `time` or `timestamp` for times of day and dates with time; `date` beside `time` |
//! | temperature | one that says `c`, `celsius` or `°C`, or `f`, `fahrenheit` or `°F`, with or without `temperature`, `temp` or `air` |
//!
//! Other columns are passed over. Between two rows the air goes in a straight line; two rows at one time are a step.

use std::ops::Range;

use serde::Deserialize;

use crate::DataFaults;
use crate::findings::Findings;
use crate::formula::BYTE_ORDER_MARK;
use crate::formula::delimited::{Field, Row, Splitter, delimiter};
use crate::names::normalise;
use crate::number::{Scan, scan};
use crate::tables::Table;
use crate::temperature::{Scale, parse_temperature_in};
use crate::wording::{list, quote, short};
use crate::{Diagnostic, Diagnostics, Status};

/// The built-in routes as CSV; the columns are those of `data/README.md`.
const ROUTES: &str = include_str!("../../../data/routes.csv");

/// Temperatures of the built-in routes, °C.
const KNOWN_C: std::ops::RangeInclusive<f64> = -40.0..=90.0;

/// Hours of the built-in routes.
const KNOWN_HOURS: std::ops::RangeInclusive<f64> = 0.0..=240.0;

/// Time between two rows that is told, s: in less than six hours the air seldom goes up and down again.
const GAP_S: f64 = 6.0 * HOUR_S;

/// Largest number of gaps listed one by one.
const MAX_GAPS: usize = 5;

/// Longest route taken, s: a year.
pub const LONGEST_S: f64 = 365.0 * DAY_S;

/// Most rows taken.
pub const MAX_ROWS: usize = 3_000_000;

/// A clock that jumps back by more has passed midnight, s.
const MIDNIGHT_S: f64 = 0.5 * DAY_S;

/// One minute, s.
const MINUTE_S: f64 = 60.0;
/// One hour, s.
const HOUR_S: f64 = 3600.0;
/// One day, s.
const DAY_S: f64 = 24.0 * HOUR_S;

/// Air against time.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// Time since the first row in s, and temperature in °C, in order; two rows at one time are a step.
    pub rows: Vec<(f64, f64)>,
    /// Time of day of the first row, s after midnight, where it is known.
    pub clock_s: Option<f64>,
}

impl Route {
    /// Reads a route from delimited text.
    ///
    /// # Arguments
    /// * `text`: a header line, then one row a time; comma, semicolon or tab between fields; decimal point or comma.
    ///
    /// # Returns
    /// The route, and notes on how it was read: gaps, steps, rows without a temperature, columns passed over.
    ///
    /// # Errors
    /// Every error of the text: no time or temperature column or two of one, fields missing, an invalid time or temperature, below absolute zero,
    /// rows out of order, three rows at one time, longer than [`LONGEST_S`], more than [`MAX_ROWS`].
    ///
    /// # Example
    /// ```
    /// use barwright_reference::route::Route;
    /// let (route, notes) = Route::read("time;temp (°F)\n22:30;68,0\n00:30;50\n")?;
    /// assert_eq!(route.rows, [(0.0, 20.0), (7200.0, 10.0)]);
    /// assert_eq!((route.clock_s, notes.len()), (Some(81000.0), 0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn read(text: &str) -> Result<(Route, Vec<Diagnostic>), Diagnostics> {
        let mut findings = Findings::default();
        let start = if text.starts_with(BYTE_ORDER_MARK) { BYTE_ORDER_MARK.len() } else { 0 };
        let body = text.get(start..).unwrap_or("");
        let header = body.lines().find(|line| !line.trim().is_empty() && !line.starts_with('#')).unwrap_or("");
        let mark = delimiter(header);
        let mut splitter = Splitter::new(text, start, mark);
        let columns = match splitter.next(&mut findings) {
            Some(header) => Columns::of(&header, mark, &mut findings),
            None => None,
        };
        let mut collector = Collector::default();
        if let Some(columns) = &columns {
            while let Some(row) = splitter.next(&mut findings) {
                if findings.is_full() || !collector.take(columns, &row, &mut findings) {
                    break;
                }
            }
        }
        if collector.rows.is_empty() && !findings.has_errors() {
            findings.push(
                Diagnostic::error("no-rows", "the route has no rows", 0..text.len())
                    .hint("Write a header line such as `hours,temperature_c` and one line for each time."),
            );
        }
        collector.tell(&mut findings);
        let route = Route { clock_s: collector.clock_s(), rows: collector.rows };
        findings.finish(route)
    }

    /// Length, s.
    pub fn length_s(&self) -> f64 {
        self.rows.last().map_or(0.0, |last| last.0)
    }
}

/// A built-in route.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownRoute {
    /// Its name.
    pub name: String,
    /// What it stands for.
    pub note: String,
    /// How its figures were obtained.
    pub status: Status,
    /// Key of its publication.
    pub source: String,
    /// The air.
    pub route: Route,
}

#[derive(Deserialize)]
struct KnownRow {
    name: String,
    hour: f64,
    temperature_c: f64,
    status: Status,
    source: String,
    note: String,
}

/// Returns the built-in routes, in the order of the table.
///
/// # Errors
/// Every fault of the table, with its line.
///
/// # Example
/// ```
/// let routes = barwright_reference::route::known_routes()?;
/// let car = routes.iter().find(|one| one.name == "parked-car").ok_or("no such route")?;
/// assert_eq!(car.route.rows[0], (0.0, 26.0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Source
/// As each row says; the levels in `data/routes.csv`, the publications in `data/sources.bib`.
pub fn known_routes() -> Result<Vec<KnownRoute>, DataFaults> {
    read_known(ROUTES)
}

/// Reads a table of routes.
fn read_known(text: &str) -> Result<Vec<KnownRoute>, DataFaults> {
    let mut faults = Vec::new();
    let mut table = Table { file: "routes.csv", faults: &mut faults };
    let mut routes: Vec<KnownRoute> = Vec::new();
    for one in table.rows::<KnownRow>(text) {
        let (line, row) = (one.line, one.row);
        table.filled(line, "name", &row.name);
        table.filled(line, "source", &row.source);
        table.range(line, "hour", row.hour, KNOWN_HOURS);
        table.range(line, "temperature_c", row.temperature_c, KNOWN_C);
        let time_s = row.hour * HOUR_S;
        match routes.last_mut() {
            Some(route) if route.name == row.name => {
                if (route.status, &route.source) != (row.status, &row.source) {
                    table.fault(line, "a route has one status and one source");
                }
                if time_s < route.route.length_s() {
                    table.fault(line, "hour falls");
                }
                route.route.rows.push((time_s, row.temperature_c));
            }
            _ => {
                table.filled(line, "note", &row.note);
                if routes.iter().any(|route| route.name == row.name) {
                    table.fault(line, format!("{} comes twice", quote(&row.name)));
                }
                if row.hour != 0.0 {
                    table.fault(line, "a route starts at hour 0");
                }
                let route = Route { rows: vec![(0.0, row.temperature_c)], clock_s: None };
                let KnownRow { name, note, status, source, .. } = row;
                routes.push(KnownRoute { name, note, status, source, route });
            }
        }
    }
    if faults.is_empty() { Ok(routes) } else { Err(faults.into()) }
}

/// How the time column is written.
#[derive(Debug, Clone, Copy, PartialEq)]
enum TimeForm {
    /// Numbers of this many seconds.
    Count(f64),
    /// Times of day, or dates with time.
    Clock,
}

/// Returns how a column of this name tells time.
fn time_form(name: &str) -> Option<TimeForm> {
    let plain = normalise(name);
    let unit = plain.strip_prefix("elapsed").or_else(|| plain.strip_prefix("time")).unwrap_or(&plain);
    match unit {
        "h" | "hr" | "hrs" | "hour" | "hours" => Some(TimeForm::Count(HOUR_S)),
        "m" | "min" | "mins" | "minute" | "minutes" => Some(TimeForm::Count(MINUTE_S)),
        "s" | "sec" | "secs" | "second" | "seconds" => Some(TimeForm::Count(1.0)),
        "d" | "day" | "days" => Some(TimeForm::Count(DAY_S)),
        "" | "stamp" | "ofday" | "datetime" | "clock" | "utc" | "local" if !plain.is_empty() => Some(TimeForm::Clock),
        _ => None,
    }
}

/// Returns the scale of a column of this name, or `Some(None)` for a temperature that does not say which.
fn temperature_scale(name: &str) -> Option<Option<Scale>> {
    let plain = normalise(name);
    let unit = ["temperature", "temp", "air"]
        .iter()
        .fold(plain.as_str(), |rest, word| rest.strip_prefix(word).or_else(|| rest.strip_suffix(word)).unwrap_or(rest));
    match unit {
        "" if !plain.is_empty() => Some(None),
        _ => crate::temperature::scale(unit).map(Some),
    }
}

/// Which columns are read.
struct Columns {
    count: usize,
    time: usize,
    form: TimeForm,
    date: Option<usize>,
    temperature: usize,
    scale: Scale,
    /// Whether a comma in a number can only be a decimal comma.
    decimal_comma: bool,
}

impl Columns {
    /// Finds the columns of a header, or reports what is missing.
    fn of(header: &Row<'_>, mark: char, findings: &mut Findings) -> Option<Columns> {
        let (mut time, mut temperature, mut date, mut passed) = (None, None, None, Vec::new());
        let mut sound = true;
        for (place, field) in header.fields.iter().enumerate() {
            let twice = |what: &str, earlier: usize| {
                let message = format!("columns {} and {} both tell the {what}", earlier + 1, place + 1);
                Diagnostic::error("column-twice", message, field.span.clone()).hint("Keep one of them.")
            };
            if normalise(&field.text) == "date" {
                date = Some(place);
            } else if let Some(form) = time_form(&field.text) {
                match time.replace((place, form)) {
                    Some((earlier, _)) => {
                        findings.push(twice("time", earlier));
                        sound = false;
                    }
                    None => continue,
                }
            } else if let Some(scale) = temperature_scale(&field.text) {
                let Some(scale) = scale else {
                    let message = format!("{} does not say °C or °F", quote(&field.text));
                    findings.push(
                        Diagnostic::error("no-scale", message, field.span.clone())
                            .hint("Name the column `temperature_c` or `temperature_f`."),
                    );
                    sound = false;
                    temperature = temperature.or(Some((place, Scale::Celsius)));
                    continue;
                };
                if let Some((earlier, _)) = temperature.replace((place, scale)) {
                    findings.push(twice("temperature", earlier));
                    sound = false;
                }
            } else if !field.text.is_empty() {
                passed.push(field);
            }
        }
        let whole = header.fields.first().map_or(0, |first| first.span.start)
            ..header.fields.last().map_or(0, |last| last.span.end);
        let missing = |what: &str, names: &str| {
            Diagnostic::error("column-missing", format!("no column tells the {what}"), whole.clone())
                .hint(format!("Name one {names} in the first line."))
        };
        if time.is_none() {
            findings.push(missing("time", "`hours`, `minutes` or `timestamp`"));
        }
        if temperature.is_none() {
            findings.push(missing("temperature", "`temperature_c` or `temperature_f`"));
        }
        let ((time, form), (temperature, scale)) = time.zip(temperature).filter(|_| sound)?;
        if let Some(first) = passed.first() {
            let names = list(passed.iter().map(|field| field.text.as_ref()), "and");
            findings.push(Diagnostic::note("column-passed", format!("not used: {names}"), first.span.clone()));
        }
        Some(Columns {
            count: header.fields.len(),
            time,
            form,
            date: date.filter(|_| form == TimeForm::Clock),
            temperature,
            scale,
            decimal_comma: mark != ',',
        })
    }
}

/// A time as written.
enum Written {
    /// Seconds from some start that is the same for all rows.
    Absolute(f64),
    /// Seconds after midnight of a day not told.
    OfDay(f64),
}

/// Rows being collected.
#[derive(Default)]
struct Collector {
    /// Time since the first row, s, and temperature, °C.
    rows: Vec<(f64, f64)>,
    /// Time of the first row as written, s.
    first_s: f64,
    /// Whether the first row tells a time of day.
    clock: bool,
    /// Days a bare clock has passed.
    days: f64,
    /// Time as written of the row before, s, and its line.
    before: Option<(f64, usize)>,
    /// Rows without a temperature, and the first such field.
    empty: usize,
    first_empty: Range<usize>,
    /// Rows that repeat the one before.
    repeated: usize,
    first_repeated: Range<usize>,
    /// Steps.
    steps: usize,
    first_step: Range<usize>,
    /// Gaps: how many, and the first ones.
    gaps: Vec<(f64, usize, Range<usize>)>,
    gap_count: usize,
    first_row: Range<usize>,
}

impl Collector {
    /// Takes a row; whether to go on.
    fn take(&mut self, columns: &Columns, row: &Row<'_>, findings: &mut Findings) -> bool {
        let seen = row.fields.len();
        let (Some(time), Some(temperature)) = (row.fields.get(columns.time), row.fields.get(columns.temperature))
        else {
            let place = row.fields.last().map_or(0..0, |field| field.span.clone());
            let message = format!("line {} has {seen} fields, the header has {}", row.line, columns.count);
            findings.push(Diagnostic::error("ragged-row", message, place).hint(RAGGED));
            return true;
        };
        if seen > columns.count {
            let place = row.fields.get(columns.count).map_or(0..0, |field| field.span.clone());
            let message = format!("line {} has {seen} fields, the header has {}", row.line, columns.count);
            findings.push(Diagnostic::error("ragged-row", message, place).hint(RAGGED));
            return true;
        }
        if temperature.text.is_empty() {
            if self.empty == 0 {
                self.first_empty = time.span.clone();
            }
            self.empty += 1;
            return true;
        }
        let date = columns.date.and_then(|place| row.fields.get(place));
        let written = match read_time(columns, date, time) {
            Ok(written) => Some(written),
            Err(error) => {
                findings.push(*error);
                None
            }
        };
        let celsius = match parse_temperature_in(&temperature.text, columns.scale) {
            Ok(celsius) => Some(celsius),
            Err(error) => {
                findings.push(error.diagnostic(temperature.span.clone()));
                None
            }
        };
        if let Some((written, celsius)) = written.zip(celsius) {
            if self.before.is_none() {
                self.clock = columns.form == TimeForm::Clock && !zoned(&time.text);
            }
            return self.add(&written, celsius, row.line, &time.span, findings);
        }
        true
    }

    /// Adds a reading.
    fn add(
        &mut self,
        written: &Written,
        celsius: f64,
        line: usize,
        span: &Range<usize>,
        findings: &mut Findings,
    ) -> bool {
        let time_s = match *written {
            Written::Absolute(time_s) => time_s,
            Written::OfDay(time_s) => {
                let at = time_s + self.days * DAY_S;
                let midnight = self.before.is_some_and(|(before, _)| before - at > MIDNIGHT_S);
                self.days += f64::from(u8::from(midnight));
                time_s + self.days * DAY_S
            }
        };
        let Some((before_s, before_line)) = self.before else {
            self.before = Some((time_s, line));
            self.first_s = time_s;
            self.first_row = span.clone();
            self.rows.push((0.0, celsius));
            return true;
        };
        if time_s < before_s {
            let message = format!("line {line} is {} before line {before_line}", lasting(before_s - time_s));
            findings.push(
                Diagnostic::error("route-unsorted", message, span.clone())
                    .hint("Sort the rows by time, earliest first."),
            );
            return true;
        }
        let since_s = time_s - self.first_s;
        if since_s > LONGEST_S {
            let message = format!("line {line} is {} after the first", lasting(since_s));
            findings.push(
                Diagnostic::error("route-too-long", message, span.clone())
                    .hint("A route may last a year: cut it to the days of the parcel."),
            );
            return false;
        }
        if self.rows.len() >= MAX_ROWS {
            let message = format!("the route has more than {MAX_ROWS} rows");
            findings.push(
                Diagnostic::error("too-many-rows", message, span.clone())
                    .hint("Keep one row a minute: that is plenty."),
            );
            return false;
        }
        if time_s == before_s {
            let behind = |back: usize| self.rows.len().checked_sub(back).and_then(|at| self.rows.get(at)).copied();
            if behind(1).is_some_and(|row| row.1 == celsius) {
                if self.repeated == 0 {
                    self.first_repeated = span.clone();
                }
                self.repeated += 1;
                return true;
            }
            if behind(2).is_some_and(|row| row.0 == since_s) {
                let message = format!("line {line} is the third temperature at one time");
                findings.push(
                    Diagnostic::error("time-twice", message, span.clone())
                        .hint("Two rows at one time are a step; for readings within a minute, write the seconds too."),
                );
                return true;
            }
            if self.steps == 0 {
                self.first_step = span.clone();
            }
            self.steps += 1;
        } else if time_s - before_s > GAP_S {
            if self.gaps.len() < MAX_GAPS {
                self.gaps.push((time_s - before_s, line, span.clone()));
            }
            self.gap_count += 1;
        }
        self.before = Some((time_s, line));
        self.rows.push((since_s, celsius));
        true
    }

    /// Tells how it was read.
    fn tell(&self, findings: &mut Findings) {
        let mut note = |code, message: String, span: &Range<usize>| {
            findings.push(Diagnostic::note(code, message, span.clone()));
        };
        for (gap_s, line, span) in &self.gaps {
            let message = format!(
                "no reading for {} before line {line}: a straight line bridges it, and what was hotter in between is lost",
                lasting(*gap_s)
            );
            note("route-gap", message, span);
        }
        if let Some((_, _, span)) = self.gaps.last().filter(|_| self.gap_count > self.gaps.len()) {
            note("route-gap", format!("{} more gaps are bridged too", self.gap_count - self.gaps.len()), span);
        }
        if self.empty > 0 {
            let message = format!("{} rows without a temperature are left out", self.empty);
            note("temperature-missing", message, &self.first_empty);
        }
        if self.repeated > 0 {
            note("row-repeated", format!("{} rows that come twice count once", self.repeated), &self.first_repeated);
        }
        if self.steps > 0 {
            let message = format!("two temperatures at one time are a step; there are {}", self.steps);
            note("route-step", message, &self.first_step);
        }
        if self.rows.len() == 1 {
            note("one-row", "the route has one row: its temperature is held".to_owned(), &self.first_row);
        }
    }

    /// Time of day of the first row, s after midnight.
    fn clock_s(&self) -> Option<f64> {
        self.clock.then(|| self.first_s.rem_euclid(DAY_S))
    }
}

/// What to do about a row of too few or too many fields.
const RAGGED: &str = "Give every row as many fields as the header; put a field with the delimiter in it into quotes.";

/// Returns a time span in words.
fn lasting(span_s: f64) -> String {
    if span_s >= 2.0 * DAY_S {
        format!("{} days", short(span_s / DAY_S))
    } else if span_s >= HOUR_S {
        format!("{} h", short(span_s / HOUR_S))
    } else if span_s >= MINUTE_S {
        format!("{} min", short(span_s / MINUTE_S))
    } else {
        format!("{} s", short(span_s))
    }
}

/// Reads the time of a row.
fn read_time(columns: &Columns, date: Option<&Field<'_>>, time: &Field<'_>) -> Result<Written, Box<Diagnostic>> {
    let wrong = |code, message: String, hint: &str| {
        Box::new(Diagnostic::error(code, message, time.span.clone()).hint(hint.to_owned()))
    };
    match columns.form {
        TimeForm::Count(unit_s) => {
            let plain = "Write a number, such as `4.5`; for a clock, name the column `time`.";
            let value = match scan(&time.text) {
                Scan::Number { value, rest, .. } if rest.trim().is_empty() => value,
                Scan::Ambiguous { decimal, rest, .. } if rest.trim().is_empty() && columns.decimal_comma => decimal,
                Scan::Ambiguous { .. } => {
                    let message = format!("the comma in {} may part thousands or decimals", quote(&time.text));
                    return Err(wrong(
                        "ambiguous-comma",
                        message,
                        "Write a decimal point, and nothing between thousands.",
                    ));
                }
                _ => return Err(wrong("not-a-time", format!("{} is not a time", quote(&time.text)), plain)),
            };
            let time_s = value * unit_s;
            if time_s.is_finite() && time_s.abs() < 1e12 {
                Ok(Written::Absolute(time_s))
            } else {
                Err(wrong("not-a-time", format!("{} is not a finite time", quote(&time.text)), plain))
            }
        }
        TimeForm::Clock => {
            let bad = || {
                let message = format!("{} is not a time of day or a date with time", quote(&time.text));
                let hint = "Write `14:30`, `2:30 pm` or `2026-07-01 14:30`; for numbers, name the column `hours` or `minutes`.";
                wrong("not-a-time", message, hint)
            };
            match date {
                Some(date) => {
                    let day_s = calendar_s(&date.text).ok_or_else(|| {
                        let message = format!("{} is not a date", quote(&date.text));
                        Box::new(
                            Diagnostic::error("not-a-date", message, date.span.clone())
                                .hint("Write it as `2026-07-01`: year, month, day."),
                        )
                    })?;
                    clock_s(&time.text).map(|of_day| Written::Absolute(day_s + of_day)).ok_or_else(bad)
                }
                None => stamp(&time.text).ok_or_else(bad),
            }
        }
    }
}

/// Reads a time of day, or a date with time.
fn stamp(text: &str) -> Option<Written> {
    let Some((day, clock)) = text.split_once(['T', 't', ' ']).filter(|(day, _)| day.contains('-')) else {
        return clock_s(text).map(Written::OfDay);
    };
    // An offset from UTC behind the clock.
    let clock = clock.trim();
    let (clock, offset_s) = match clock.strip_suffix(['Z', 'z']) {
        Some(clock) => (clock, 0.0),
        None => match clock.rfind(['+', '-']).and_then(|at| clock.split_at_checked(at)) {
            Some((clock, offset)) => {
                let sign = if offset.starts_with('-') { -1.0 } else { 1.0 };
                let digits = offset.get(1..)?;
                let (hours, minutes) = match digits.split_once(':') {
                    Some(parts) => parts,
                    None if digits.len() == 4 => digits.split_at_checked(2)?,
                    None => (digits, "0"),
                };
                (clock, sign * (whole(hours, 14)? * HOUR_S + whole(minutes, 59)? * MINUTE_S))
            }
            None => (clock, 0.0),
        },
    };
    Some(Written::Absolute(calendar_s(day)? + clock_s(clock)? - offset_s))
}

/// Whether a stamp counts from UTC: its time of day is not that of the place.
fn zoned(text: &str) -> bool {
    let clock = text.rsplit(['T', 't', ' ']).next().unwrap_or("");
    clock.ends_with(['Z', 'z']) || clock.contains(['+', '-'])
}

/// Reads a whole number up to a limit.
fn whole(text: &str, most: u32) -> Option<f64> {
    let digits = !text.is_empty() && text.len() <= 4 && text.bytes().all(|byte| byte.is_ascii_digit());
    text.parse::<u32>().ok().filter(|value| digits && *value <= most).map(f64::from)
}

/// Reads a date `2026-07-01` as seconds since 1970-01-01.
fn calendar_s(text: &str) -> Option<f64> {
    let mut parts = text.trim().split('-');
    let (year, month, day) = (whole(parts.next()?, 9999)?, whole(parts.next()?, 12)?, whole(parts.next()?, 31)?);
    if parts.next().is_some() || year < 1.0 {
        return None;
    }
    let date = jiff::civil::Date::new(year as i16, month as i8, day as i8).ok()?;
    Some(date.duration_since(jiff::civil::date(1970, 1, 1)).as_secs_f64())
}

/// Reads a time of day as seconds after midnight: `14:30`, `14:30:05.5`, `2:30 pm`.
fn clock_s(text: &str) -> Option<f64> {
    let lower = text.trim().to_ascii_lowercase();
    let half = |mark: &str| lower.strip_suffix(mark).map(str::trim_end);
    let (clock, half_h) = match (half("am"), half("pm")) {
        (Some(clock), _) => (clock, Some(0.0)),
        (_, Some(clock)) => (clock, Some(12.0)),
        _ => (lower.as_str(), None),
    };
    let mut parts = clock.split(':');
    let (hours, minutes) = (whole(parts.next()?, 24)?, whole(parts.next()?, 59)?);
    let seconds = match parts.next() {
        None => 0.0,
        Some(text) => match scan(text) {
            Scan::Number { value, rest: "", .. } if (0.0..60.0).contains(&value) => value,
            _ => return None,
        },
    };
    let hours = match half_h {
        None => hours,
        Some(_) if !(1.0..=12.0).contains(&hours) => return None,
        Some(half_h) => hours % 12.0 + half_h,
    };
    let time_s = hours * HOUR_S + minutes * MINUTE_S + seconds;
    (parts.next().is_none() && time_s <= DAY_S).then_some(time_s)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sources::source_citation;
    use proptest::prelude::*;

    fn rows(text: &str) -> Vec<(f64, f64)> {
        Route::read(text).unwrap_or_else(|errors| unreachable!("{text:?}: {errors:?}")).0.rows
    }

    /// Codes and places of what is wrong.
    fn errors(text: &str) -> Vec<(&'static str, &str)> {
        let errors = Route::read(text).err().unwrap_or_default();
        errors.into_iter().map(|error| (error.code, text.get(error.span).unwrap_or("?"))).collect()
    }

    #[test]
    fn every_way_to_write_a_route_is_read() {
        for text in [
            "hours,temperature_c\n0,20\n1.5,30\n",
            "\u{feff}Minutes;Temp (°F)\r\n0;68,0\r\n\r\n90;86\r\n",
            "# logger 2, shed\ndays;c\n0;20\n0,0625;30\n",
            "\n\ndays;c\n0;20\n0,0625;30\n",
            "# logger\ntime_s\thumidity\tair_c\n100\t40\t20\n5500\t41\t30",
            "time,celsius\n08:00,20\n9:30:00,30\n",
            "time,celsius\n23:00,20\n00:30,30\n",
            "time,celsius\n11:15 AM,20\n12:45 pm,30\n",
            "timestamp,°C\n2026-07-01T23:00:00Z,20\n2026-07-02 00:30,30\n",
            "timestamp,°C\n2024-02-28T23:30+02:00,20\n2024-02-28T22:00-01:00,30 °C\n",
            "date,time,temperature_c\n2024-02-29,22:30,20\n2024-03-01,00:00,86F\n",
            "days;c\n0;20\n0,0625;30\n",
        ] {
            let seen = rows(text);
            assert_eq!(seen.len(), 2, "{text:?}");
            assert!((seen[1].0 - 5400.0).abs() < 1e-6 && seen[0] == (0.0, 20.0), "{text:?}: {seen:?}");
            assert!((seen[1].1 - 30.0).abs() < 1e-9, "{text:?}: {seen:?}");
        }
    }

    #[test]
    fn every_refusal_has_its_code_and_place() {
        for (text, code, place) in [
            ("", "no-rows", ""),
            ("hours,temperature_c\n", "no-rows", "hours,temperature_c\n"),
            ("hours,temperature\n0,20\n", "no-scale", "temperature"),
            ("hours,humidity\n0,20\n", "column-missing", "hours,humidity"),
            ("when,temperature_c\n0,20\n", "column-missing", "when,temperature_c"),
            ("hours,minutes,temperature_c\n0,0,20\n", "column-twice", "minutes"),
            ("hours,temperature_c,temp_f\n0,20,68\n", "column-twice", "temp_f"),
            ("hours,temperature_c\n0\n", "ragged-row", "0"),
            ("hours,temperature_c\n0,20,3\n", "ragged-row", "3"),
            ("hours,temperature_c\n0,20\nlater,30\n", "not-a-time", "later"),
            ("hours,temperature_c\n0,20\nnan,30\n", "not-a-time", "nan"),
            ("hours,temperature_c\n0,20\n1e300,30\n", "not-a-time", "1e300"),
            ("hours,temperature_c\n0,20\n08:30,30\n", "not-a-time", "08:30"),
            ("hours,temperature_c\n0,20\n\"1,250\",30\n", "ambiguous-comma", "\"1,250\""),
            ("time,temperature_c\n3.5,20\n", "not-a-time", "3.5"),
            ("time,temperature_c\n25:00,20\n", "not-a-time", "25:00"),
            ("time,temperature_c\n13:00 pm,20\n", "not-a-time", "13:00 pm"),
            ("time,temperature_c\n07/01/2026 08:00,20\n", "not-a-time", "07/01/2026 08:00"),
            ("time,temperature_c\n2026-02-29 08:00,20\n", "not-a-time", "2026-02-29 08:00"),
            ("date,time,temperature_c\n1.7.2026,08:00,20\n", "not-a-date", "1.7.2026"),
            ("hours,temperature_c\n0,20\n1,warm\n", "not-a-temperature", "warm"),
            ("hours,temperature_c\n0,20\n1,NaN\n", "temperature-not-finite", "NaN"),
            ("hours,temperature_c\n0,20\n1,-274\n", "below-absolute-zero", "-274"),
            ("hours,temperature_f\n0,68\n1,-460\n", "below-absolute-zero", "-460"),
            ("hours,temperature_c\n0,20\n1,500\n", "temperature-too-high", "500"),
            ("hours,temperature_c\n0,20\n2,30\n1,25\n", "route-unsorted", "1"),
            ("time,temperature_c\n10:00,20\n09:00,25\n", "route-unsorted", "09:00"),
            ("hours,temperature_c\n0,20\n1,30\n1,31\n1,32\n", "time-twice", "1"),
            ("hours,temperature_c\n0,20\n9000,30\n", "route-too-long", "9000"),
            ("hours,temperature_c\n0,\"20\n", "quote-not-closed", "\""),
        ] {
            assert_eq!(errors(text), [(code, place)], "{text:?}");
        }
        let both = errors("hours,temperature_c\nx,y\n");
        assert_eq!(both, [("not-a-time", "x"), ("not-a-temperature", "y")]);
    }

    #[test]
    fn dates_stamps_and_clocks() {
        // Days from 1970-01-01: 20 635 to 2026-07-01, -719 162 to 0001-01-01 (`date -d 2026-07-01 +%s` and its like).
        assert_eq!(calendar_s("2026-07-01"), Some(20_635.0 * DAY_S));
        assert_eq!(calendar_s(" 2024-2-29 "), Some(19_782.0 * DAY_S));
        assert_eq!(calendar_s("0001-01-01"), Some(-719_162.0 * DAY_S));
        for none in [
            "2026-02-29",
            "1900-02-29",
            "2026-04-31",
            "2026-13-01",
            "2026-00-10",
            "2026-01-00",
            "0000-01-01",
            "2026-07-01-02",
            "2026-07",
        ] {
            assert_eq!(calendar_s(none), None, "{none}");
        }
        let at = |text: &str| match stamp(text) {
            Some(Written::Absolute(time_s)) => Some(time_s - 20_635.0 * DAY_S),
            _ => None,
        };
        for (text, hours) in [
            ("2026-07-01 14:30", 14.5),
            ("2026-07-01T14:30Z", 14.5),
            ("2026-07-01t14:30+02", 12.5),
            ("2026-07-01 14:30 +0545", 8.75),
            ("2026-07-01T14:30-03:30", 18.0),
        ] {
            assert_eq!(at(text), Some(hours * HOUR_S), "{text}");
        }
        for none in [
            "2026-07-01 14:30+15",
            "2026-07-01 14:30+02:60",
            "2026-07-01 14:30+020",
            "2026-07-01 14:30+",
            "2026-07-01 ",
        ] {
            assert_eq!(at(none), None, "{none}");
        }
        for (text, hours) in
            [("14:30", Some(14.5)), ("12:15 am", Some(0.25)), ("12:15PM", Some(12.25)), ("24:00", Some(24.0))]
        {
            assert_eq!(clock_s(text), hours.map(|hours| hours * HOUR_S), "{text}");
        }
        for none in ["24:01", "0:30 am", "14", "14:60", "14:30:60", "14:30:05:01", "+4:30"] {
            assert_eq!(clock_s(none), None, "{none}");
        }
        assert_eq!(clock_s("14:30:05.5"), Some(14.5 * HOUR_S + 5.5));
        assert_eq!([whole("9", 9), whole("0009", 9)], [Some(9.0); 2]);
        for none in ["10", "+5", "", "00009", "1.0"] {
            assert_eq!(whole(none, 9), None, "{none}");
        }
    }

    /// A start at a time of day is one only where the rows tell the place's own.
    #[test]
    fn the_time_of_day_is_that_of_the_first_row() {
        for (text, hours) in [
            ("time,c\n22:30,20\n", Some(22.5)),
            ("timestamp,c\n2026-07-01 14:30,20\n", Some(14.5)),
            ("timestamp,c\n2026-07-01T14:30,20\n2026-07-01T15:30Z,20\n", Some(14.5)),
            ("timestamp,c\n1969-12-31 14:30,20\n", Some(14.5)),
            ("timestamp,c\n2026-07-01T14:30Z,20\n", None),
            ("timestamp,c\n2026-07-01T14:30+02:00,20\n", None),
            ("timestamp,c\n2026-07-01 14:30-02,20\n", None),
            ("date,time,c\n2026-07-01,06:00,20\n", Some(6.0)),
            ("hours,c\n6,20\n", None),
        ] {
            assert_eq!(Route::read(text).unwrap().0.clock_s, hours.map(|hours| hours * HOUR_S), "{text:?}");
        }
    }

    #[test]
    fn a_bare_clock_goes_through_midnight_after_midnight() {
        let text = "time,c\n23:00,1\n00:30,2\n23:00,3\n00:30,4\n01:00,5\n";
        assert_eq!(rows(text).iter().map(|row| row.0 / HOUR_S).collect::<Vec<_>>(), [0.0, 1.5, 24.0, 25.5, 26.0]);
    }

    #[test]
    fn a_decimal_comma_is_one_where_commas_part_no_fields() {
        assert_eq!(rows("hours;c\n0;20\n1,250;30\n")[1].0, 1.25 * HOUR_S);
    }

    #[test]
    fn the_longest_route_and_the_longest_wait_are_taken() {
        let (route, notes) = Route::read("days,c\n10,20\n10.25,30\n").unwrap();
        assert_eq!((route.length_s(), notes.len()), (GAP_S, 0));
        let year: String = (0..=1460).map(|n| format!("{},20\n", 0.25 * f64::from(n))).collect();
        assert_eq!(rows(&format!("days,c\n{year}")).last().unwrap().0, LONGEST_S);
    }

    #[test]
    fn lengths_of_time_are_told_in_the_unit_that_suits_them() {
        for (span_s, words) in [
            (5.0, "5 s"),
            (60.0, "1 min"),
            (5400.0, "1.5 h"),
            (172_799.0, "48 h"),
            (172_800.0, "2 days"),
            (9000.0 * HOUR_S, "375 days"),
        ] {
            assert_eq!(lasting(span_s), words);
        }
    }

    #[test]
    fn what_is_told_points_at_the_first_of_its_kind() {
        for (text, places) in [
            ("hours,c\n0,20\n1,\n2,\n3,30\n", vec!["1"]),
            ("hours,c\n0,20\n1,21\n1,21\n2,22\n2,22\n3,30\n", vec!["1"]),
            ("hours,c\n0,20\n1,20\n1,40\n2,40\n2,20\n3,20\n", vec!["1"]),
        ] {
            let notes = Route::read(text).unwrap().1;
            assert_eq!(
                notes.iter().map(|note| &text[note.span.clone()]).collect::<Vec<_>>(),
                places,
                "{text:?}: {notes:?}"
            );
        }
        let later = Route::read("hours,c\n0,20\n1,30\n15,20\n").unwrap().1;
        assert!(later[0].message.starts_with("no reading for 14 h before line 4"), "{}", later[0].message);
    }

    #[test]
    fn columns_need_a_name() {
        assert_eq!(errors(",c\n0,20\n"), [("column-missing", ",c")]);
        assert_eq!(errors("hours,\n0,20\n"), [("column-missing", "hours,")]);
    }

    #[test]
    fn what_is_bridged_left_out_or_held_is_told() {
        for (text, count, codes) in [
            ("hours,temperature_c\n0,20\n14,30\n", 2, vec!["route-gap"]),
            ("hours,temperature_c\n5,31\n", 1, vec!["one-row"]),
            ("hours,temperature_c\n0,20\n1,\n2,30\n", 2, vec!["temperature-missing"]),
            ("hours,temperature_c\n0,20\n0,20\n2,30\n", 2, vec!["row-repeated"]),
            ("hours,temperature_c\n0,20\n2,20\n2,40\n3,40\n", 4, vec!["route-step"]),
            ("hours,humidity,temperature_c\n0,50,20\n1,50,30\n", 2, vec!["column-passed"]),
        ] {
            let (route, notes) = Route::read(text).unwrap();
            assert_eq!(route.rows.len(), count, "{text:?}");
            assert_eq!(notes.iter().map(|note| note.code).collect::<Vec<_>>(), codes, "{text:?}: {notes:?}");
        }
        let gap = Route::read("hours,temperature_c\n0,20\n14,30\n").unwrap().1;
        assert!(gap[0].message.starts_with("no reading for 14 h before line 3: a straight line"), "{}", gap[0].message);
        let gaps: String = (0..10).map(|n| format!("{},20\n", 7 * n)).collect();
        assert_eq!(Route::read(&format!("hours,c\n{gaps}")).unwrap().1.len(), MAX_GAPS + 1);
    }

    #[test]
    fn a_million_rows_are_read() {
        let text: String = std::iter::once("seconds,temperature_c\n".to_owned())
            .chain((0..1_000_000).map(|n| format!("{n},{}\n", 20 + n % 7)))
            .collect();
        let (route, notes) = Route::read(&text).unwrap();
        assert_eq!((route.rows.len(), route.length_s(), notes.len()), (1_000_000, 999_999.0, 0));
    }

    #[test]
    fn the_built_in_routes_are_sound_and_sourced() {
        let routes = known_routes().unwrap();
        assert!(routes.len() >= 8);
        for one in &routes {
            assert!(source_citation(&one.source).is_some(), "{}: {}", one.name, one.source);
            assert!(one.route.length_s() > 0.0, "{}", one.name);
        }
    }

    #[test]
    fn faults_of_the_table_are_named() {
        let head = "name,hour,temperature_c,status,source,note\n";
        for (rows, line) in [
            ("a,0,20,read,x,n\na,1,20,recalled,x,\n", 3),
            ("a,0,20,read,x,n\na,2,20,read,x,\na,1,20,read,x,\n", 4),
            ("a,1,20,read,x,n\n", 2),
            ("a,0,20,read,x,n\nb,0,20,read,x,n\na,0,20,read,x,n\n", 4),
            ("a,0,200,read,x,n\n", 2),
            ("a,0,20,read,,n\n", 2),
            ("a,0,20,read,x,\n", 2),
            ("a,0,20,guessed,x,n\n", 2),
        ] {
            let faults = read_known(&format!("{head}{rows}")).unwrap_err();
            assert_eq!(faults.iter().map(|fault| fault.line).collect::<Vec<_>>(), [line], "{rows:?}: {faults:?}");
        }
    }

    /// Source: McLaren 2005, Pediatrics 116:e109 (read): +22 K in 60 min whatever the air outside, 80 % of it in the first 30.
    #[test]
    fn the_parked_car_warms_as_measured() {
        let routes = known_routes().unwrap();
        let car = &routes.iter().find(|one| one.name == "parked-car").unwrap().route;
        let at = |minutes: f64| car.rows.iter().find(|row| (row.0 - 60.0 * minutes).abs() < 1.0).unwrap().1;
        let (half, hour) = (at(30.0) - at(0.0), at(60.0) - at(0.0));
        assert!((hour - 22.0).abs() < 0.5, "{hour}");
        assert!((half / hour - 0.80).abs() < 0.01, "{}", half / hour);
        let level = car.rows.last().unwrap().1;
        assert!((47.0..=50.0).contains(&level), "{level}");
    }

    proptest! {
        #[test]
        fn any_text_gives_a_route_or_errors(text in "(hours|minutes|time|date)?[,;]?(temperature_c|°F|x)?\n([0-9:,;.\" \n-]|nan|pm|T){0,60}") {
            match Route::read(&text) {
                Ok((route, _)) => {
                    prop_assert!(!route.rows.is_empty());
                    prop_assert!(route.rows.windows(2).all(|pair| pair[0].0 <= pair[1].0));
                    prop_assert!(route.rows.iter().all(|row| row.0.is_finite() && row.1 >= -273.15));
                }
                Err(errors) => prop_assert!(!errors.is_empty()),
            }
        }
    }
}
