//! `drive`: runs the targets on stable Rust. Seeds first, then mutated ones, for some seconds; one table at the end.
//!
//! Exit status 0 when nothing was found, 1 when something was, 2 for a wrong command line.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a program speaks to whoever runs it")]

mod mutator;

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{Seek, Write};
use std::panic::{self, AssertUnwindSafe};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use barwright_fuzz_driver::{TARGETS, Target, called, page};
use clap::Parser;
use cpu_time::ProcessTime;
use mutator::Mutator;

/// Inputs of a target that are kept because they went another way than those before.
const MAX_KEPT: usize = 4096;

/// An input that takes so many times its limit by the clock ends the run: it may never end by itself. The limit itself is one of computing time, so that
/// a busy computer finds nothing.
const HOPELESS: u32 = 20;

/// How often the watchdog looks.
const WATCH: Duration = Duration::from_millis(100);

/// No input is running.
const NONE: u64 = u64::MAX;

/// Runs the fuzz targets on stable Rust.
#[derive(Debug, Parser)]
struct Order {
    /// Seconds in all, shared out among the targets by their weights; 0 replays the seeds only
    #[arg(long, default_value_t = 60.0)]
    seconds: f64,
    /// Seed of the mutations
    #[arg(long, default_value_t = 20)]
    seed: u64,
    /// Only this target; may be given several times
    #[arg(long = "target", value_name = "NAME")]
    targets: Vec<String>,
    /// File of known faults: findings whose message holds one of its lines are counted, not reported
    #[arg(long, value_name = "FILE", default_value = concat!(env!("CARGO_MANIFEST_DIR"), "/../known-faults.txt"))]
    known: PathBuf,
    /// Folder of the seeds, one folder a target in it
    #[arg(long, default_value = concat!(env!("CARGO_MANIFEST_DIR"), "/../seeds"))]
    seeds: PathBuf,
    /// Folder that inputs are written to when something is found
    #[arg(long, default_value = concat!(env!("CARGO_MANIFEST_DIR"), "/../findings"))]
    findings: PathBuf,
    /// Files to run instead of the seeds, with one `--target`; nothing is mutated
    files: Vec<PathBuf>,
}

/// What came of one target.
#[derive(Debug, Default)]
struct Tally {
    inputs: u64,
    time: Duration,
    slowest: Duration,
    kept: usize,
    findings: u64,
    passed_over: u64,
}

/// What the watchdog looks at.
struct Watched {
    began: Instant,
    /// Milliseconds from `began` to the start of the running input.
    since: AtomicU64,
    target: AtomicUsize,
}

/// A run.
struct Run<'a> {
    order: &'a Order,
    watched: &'a Watched,
    /// Always holds the running input, for what no panic tells of: a stack or a memory at its end.
    last: File,
    /// Faults that are passed over.
    known: Vec<String>,
    /// What was found: one input each is kept.
    found: HashSet<String>,
}

static MESSAGE: Mutex<String> = Mutex::new(String::new());

fn main() -> ExitCode {
    let order = Order::parse();
    if let Some(unknown) = order.targets.iter().find(|name| called(name).is_none()) {
        eprintln!("there is no target {unknown:?}; there are {}", TARGETS.map(|target| target.name).join(", "));
        return ExitCode::from(2);
    }
    if order.targets.len() != 1 && !order.files.is_empty() {
        eprintln!("files are run with one --target");
        return ExitCode::from(2);
    }
    match drive(&order) {
        Ok(found) => ExitCode::from(u8::from(found)),
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

/// Runs everything; says whether something was found.
fn drive(order: &Order) -> std::io::Result<bool> {
    fs::create_dir_all(&order.findings)?;
    let last_path = order.findings.join("last-input");
    let watched = Watched { began: Instant::now(), since: AtomicU64::new(NONE), target: AtomicUsize::new(0) };
    let mut run = Run {
        order,
        watched: &watched,
        last: File::create(&last_path)?,
        known: known(&order.known)?,
        found: HashSet::new(),
    };
    panic::set_hook(Box::new(|info| {
        let place = info.location().map(|place| format!("{}:{}", place.file(), place.line())).unwrap_or_default();
        let said = info.payload_as_str().unwrap_or("");
        let mut message = MESSAGE.lock().unwrap_or_else(PoisonError::into_inner);
        if message.is_empty() {
            *message = format!("{place}: {said}");
        }
    }));
    let chosen: Vec<&Target> = TARGETS
        .iter()
        .filter(|one| order.targets.is_empty() || order.targets.iter().any(|name| name == one.name))
        .collect();
    let weights: u32 = chosen.iter().map(|target| target.weight).sum();
    let tallies = std::thread::scope(|scope| -> std::io::Result<Vec<Tally>> {
        let (stop, stopped) = std::sync::mpsc::channel::<()>();
        scope.spawn(|| watch(&watched, order, stopped));
        let mut tallies = Vec::with_capacity(chosen.len());
        for target in &chosen {
            let seconds = order.seconds * f64::from(target.weight) / f64::from(weights.max(1));
            tallies.push(run.target(target, Duration::from_secs_f64(seconds.max(0.0)))?);
        }
        drop(stop);
        Ok(tallies)
    })?;
    page::end();
    fs::remove_file(last_path)?;
    print_table(&chosen, &tallies);
    if chosen.iter().any(|target| target.name == "page") && page::command().is_none() {
        println!(
            "page: SKIPPED, nothing was asked: there is no `barwright` beside this program; {} can name one",
            page::COMMAND
        );
    }
    println!("seed {}", order.seed);
    Ok(tallies.iter().any(|tally| tally.findings > 0))
}

/// Tells of inputs that take too long, and ends the run where one may never end.
fn watch(watched: &Watched, order: &Order, stopped: std::sync::mpsc::Receiver<()>) {
    while stopped.recv_timeout(WATCH) == Err(std::sync::mpsc::RecvTimeoutError::Timeout) {
        let (since, target) = (watched.since.load(Ordering::Acquire), watched.target.load(Ordering::Acquire));
        let Some(target) = TARGETS.get(target).filter(|_| since != NONE) else { continue };
        let took = watched.began.elapsed().saturating_sub(Duration::from_millis(since));
        if took > target.limit * HOPELESS {
            let kept = order.findings.join(format!("{}-endless", target.name));
            let _ = fs::copy(order.findings.join("last-input"), &kept);
            eprintln!("{}: {took:.0?} and no end, {}", target.name, kept.display());
            std::process::exit(1);
        }
    }
}

impl Run<'_> {
    /// Runs the seeds of a target, then mutated ones.
    fn target(&mut self, target: &Target, time: Duration) -> std::io::Result<Tally> {
        let place = TARGETS.iter().position(|one| one.name == target.name).unwrap_or(0);
        self.watched.target.store(place, Ordering::Release);
        let mut tally = Tally::default();
        let files = if self.order.files.is_empty() {
            files_in(&self.order.seeds.join(target.name))?
        } else {
            self.order.files.clone()
        };
        let mut inputs = files.iter().map(fs::read).collect::<std::io::Result<Vec<_>>>()?;
        let mut ways: HashSet<u64> = HashSet::new();
        let began = Instant::now();
        for input in &inputs {
            ways.extend(self.input(target, input, &mut tally)?);
        }
        if self.order.files.is_empty() {
            let mut mutator = Mutator::new(self.order.seed ^ (place as u64) << 32, &inputs);
            while began.elapsed() < time {
                let input = mutator.next(&inputs);
                let way = self.input(target, &input, &mut tally)?;
                if way.is_some_and(|way| ways.insert(way)) && inputs.len() < MAX_KEPT {
                    inputs.push(input);
                }
            }
        }
        tally.time = began.elapsed();
        tally.kept = ways.len();
        Ok(tally)
    }

    /// Runs one input; returns how it went.
    fn input(&mut self, target: &Target, input: &[u8], tally: &mut Tally) -> std::io::Result<Option<u64>> {
        self.last.rewind()?;
        self.last.write_all(input)?;
        self.last.set_len(input.len() as u64)?;
        let since = u64::try_from(self.watched.began.elapsed().as_millis()).unwrap_or(0);
        self.watched.since.store(since, Ordering::Release);
        let began = ProcessTime::now();
        let way = panic::catch_unwind(AssertUnwindSafe(|| (target.run)(input)));
        let took = began.elapsed();
        self.watched.since.store(NONE, Ordering::Release);
        tally.inputs += 1;
        tally.slowest = tally.slowest.max(took);
        if way.is_err() {
            let message = std::mem::take(&mut *MESSAGE.lock().unwrap_or_else(PoisonError::into_inner));
            self.found(target, &message, input, tally)?;
        }
        if took > target.limit {
            self.found(target, &format!("slow: {took:.1?} of computing"), input, tally)?;
        }
        Ok(way.ok())
    }

    /// Keeps an input, unless one that went wrong in the same way is kept.
    fn found(&mut self, target: &Target, message: &str, input: &[u8], tally: &mut Tally) -> std::io::Result<()> {
        if self.known.iter().any(|text| message.contains(text.as_str())) {
            tally.passed_over += 1;
            return Ok(());
        }
        tally.findings += 1;
        // Figures tell two inputs apart, not two faults.
        let kind: String = message.chars().filter(|letter| !letter.is_ascii_digit()).take(60).collect();
        if !self.found.insert(format!("{} {kind}", target.name)) {
            return Ok(());
        }
        let path = self.order.findings.join(format!("{}-{:02}", target.name, self.found.len()));
        fs::write(&path, input)?;
        eprintln!("{}: {message}\n  {}", target.name, path.display());
        Ok(())
    }
}

/// The lines of a file of known faults.
fn known(path: &Path) -> std::io::Result<Vec<String>> {
    let text = fs::read_to_string(path)?;
    Ok(text
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .map(str::to_owned)
        .collect())
}

/// The files of a folder, in the order of their names; none when it is not there.
fn files_in(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let mut files = fs::read_dir(folder)?.map(|one| Ok(one?.path())).collect::<std::io::Result<Vec<_>>>()?;
    files.retain(|path| path.is_file());
    files.sort();
    Ok(files)
}

fn print_table(chosen: &[&Target], tallies: &[Tally]) {
    println!(
        "{:<16} {:>10} {:>9} {:>9} {:>10} {:>6} {:>9} {:>12}",
        "target", "inputs", "inputs/s", "seconds", "slowest ms", "ways", "findings", "passed over"
    );
    let row = |name: &str, tally: &Tally| {
        let seconds = tally.time.as_secs_f64();
        let (rate, slowest_ms) = (tally.inputs as f64 / seconds.max(1e-3), 1e3 * tally.slowest.as_secs_f64());
        println!(
            "{name:<16} {:>10} {rate:>9.0} {seconds:>9.1} {slowest_ms:>10.1} {:>6} {:>9} {:>12}",
            tally.inputs, tally.kept, tally.findings, tally.passed_over
        );
    };
    let mut all = Tally::default();
    for (target, tally) in chosen.iter().zip(tallies) {
        row(target.name, tally);
        all.inputs += tally.inputs;
        all.time += tally.time;
        all.slowest = all.slowest.max(tally.slowest);
        all.kept += tally.kept;
        all.findings += tally.findings;
        all.passed_over += tally.passed_over;
    }
    row("all", &all);
}
