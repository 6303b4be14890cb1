//! A hundred thousand batches: how large the file is and how long an answer takes.

use std::fmt::Write;
use std::time::{Duration, Instant};

use barwright_records::{FILE_NAME, Kind, Lot, Store};

use crate::support::{formula, today};

/// Batches.
const BATCHES: u32 = 100_000;
/// Lots, each in 150 batches.
const LOTS: u32 = 2_001;
/// Lots of one batch.
const LOTS_A_BATCH: u32 = 3;
/// Formulas, each of 500 batches.
const FORMULAS: u32 = 200;
/// One in this many batches has the lot `salt`, for a trace far beyond any real one.
const ONE_IN: u32 = 10;
/// Questions of each kind.
const QUESTIONS: u32 = 200;
/// Questions whose answer is ten thousand batches long.
const LONG_QUESTIONS: u32 = 20;
/// The largest file, bytes.
const MAX_BYTES: u64 = 100_000_000;

/// Asks many times and prints how long the middle and the longest answer took.
fn ask(what: &str, question: impl FnMut(u32)) {
    ask_times(QUESTIONS, what, question);
}

/// Asks so many times.
fn ask_times(count: u32, what: &str, mut question: impl FnMut(u32)) {
    let mut times: Vec<Duration> = (0..count)
        .map(|index| {
            let start = Instant::now();
            question(index);
            start.elapsed()
        })
        .collect();
    times.sort();
    let ms = |time: Duration| 1e3 * time.as_secs_f64();
    println!("{what}: median {:.2} ms, longest {:.2} ms", ms(times[times.len() / 2]), ms(times[times.len() - 1]));
}

#[test]
fn a_hundred_thousand_batches_fit_and_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let start = Instant::now();
    let mut text = "formula,ingredient,percent\n".to_owned();
    (0..FORMULAS).for_each(|f| write!(text, "formula {f},beeswax,37.5\nformula {f},sunflower-oil,62.5\n").unwrap());
    store.import_csv(Kind::Formulas, &text, today()).unwrap();
    let mut text = "lot,like,certificate\n".to_owned();
    (0..LOTS).for_each(|l| writeln!(text, "lot {l},beeswax,{}", "certificate ".repeat(20)).unwrap());
    store.import_csv(Kind::Lots, &text, today()).unwrap();
    store.add_lot(&Lot::new("salt", "salt"), today()).unwrap();

    let mut text = "batch,poured_on,formula,mass_g,cavities,lot,lot_mass_g,note\n".to_owned();
    let mut bars = "batch,first,last,went,to,on\n".to_owned();
    for b in 0..BATCHES {
        let mut row = |lot: &str| {
            let f = b % FORMULAS;
            writeln!(text, "B{b:06},2026-11-20,formula {f},600.25,12,{lot},200.5,poured at the second bench").unwrap();
        };
        // Lots follow one another as they are used up: each goes into batches near in time.
        (0..LOTS_A_BATCH).for_each(|l| row(&format!("lot {}", (b / 150 * LOTS_A_BATCH + l) % LOTS)));
        if b % ONE_IN == 0 {
            row("salt");
        }
        write!(bars, "B{b:06},1,8,sold,order {b},2026-11-21\nB{b:06},9,12,kept,,2026-11-22\n").unwrap();
    }
    store.import_csv(Kind::Batches, &text, today()).unwrap();
    println!("import of {BATCHES} batches: {:.1} s", start.elapsed().as_secs_f64());
    store.import_csv(Kind::Bars, &bars, today()).unwrap();
    println!("import of {BATCHES} batches and their bars: {:.1} s", start.elapsed().as_secs_f64());
    drop(store);

    let bytes = folder.path().join(FILE_NAME).metadata().unwrap().len();
    println!("file: {:.1} MB", 1e-6 * f64::from(u32::try_from(bytes).unwrap()));
    assert!(bytes < MAX_BYTES, "{bytes}");

    let mut store = Store::open(folder.path()).unwrap();
    let number = |index: u32| format!("B{:06}", index.wrapping_mul(7_919) % BATCHES);
    ask("open", |_| drop(Store::open(folder.path()).unwrap()));
    ask("batch", |q| assert!(store.batch(&number(q)).unwrap().lots.len() >= 3));
    ask("bars of a batch", |q| assert_eq!(store.bars(&number(q)).unwrap().len(), 2));
    ask("trace of a batch", |q| assert_eq!(store.trace_batch(&number(q)).unwrap().bars.len(), 2));
    ask("trace of a bar", |q| assert_eq!(store.trace_bar(&number(q), 9).unwrap().bars.len(), 1));
    ask("trace of a lot (150 batches)", |q| {
        let trace = store.trace_lot(&format!("lot {}", q * 7 % LOTS)).unwrap();
        assert!((100..=150).contains(&trace.batches.len()), "{}", trace.batches.len());
        assert!(trace.batches.iter().all(|traced| traced.bars.len() == 2 && traced.lot_mass_g == 200.5));
    });
    ask("batches of a formula (500)", |q| {
        assert_eq!(store.batches_of_formula(&format!("formula {}", q % FORMULAS)).unwrap().len(), 500);
    });
    ask("a formula added", |q| store.add_formula(&formula(&format!("more {q}"))).unwrap());
    let salt = |store: &Store| assert_eq!(store.trace_lot("salt").unwrap().batches.len(), 10_000);
    ask_times(LONG_QUESTIONS, "trace of a lot in 10,000 batches", |_| salt(&store));
    ask_times(LONG_QUESTIONS, "opened anew and the same", |_| salt(&Store::open(folder.path()).unwrap()));
    let start = Instant::now();
    store.check(today()).unwrap();
    println!("check: {:.1} s", start.elapsed().as_secs_f64());
    let start = Instant::now();
    store.backup(&folder.path().join("copy")).unwrap();
    println!("backup: {:.1} s", start.elapsed().as_secs_f64());
    let start = Instant::now();
    let table = store.export_csv(Kind::Batches).unwrap();
    assert_eq!(table.lines().count(), 310_001);
    println!("export of the batches: {:.1} s", start.elapsed().as_secs_f64());
}
