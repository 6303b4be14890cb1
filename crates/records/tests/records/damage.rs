//! Files as a failing disk leaves them: none is both taken for sound and another than it was.

use std::env;
use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::time::Instant;

use barwright_records::{BatchTrace, FILE_NAME, Kind, LotTrace, RecordsError, Store};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use crate::support::{batch, outcome, store, today};

/// Damaged files of a usual run.
const FILES: usize = 150;
/// Says that more files are wanted, and how many.
const MORE: &str = "BARWRIGHT_DAMAGE";
/// Bytes of a page.
const PAGE: usize = 4096;
/// Bytes of a block of a disk.
const BLOCK: usize = 512;
/// Batches, each with a lot of its own and a certificate on several pages.
const BATCHES: u32 = 40;
/// One in this many lots and batches is traced.
const TRACED: usize = 7;

/// Everything a maker can see of some records.
#[derive(Debug, PartialEq)]
struct Seen {
    tables: Vec<String>,
    lots: Vec<LotTrace>,
    batches: Vec<BatchTrace>,
}

impl Seen {
    fn of(store: &Store) -> Result<Seen, RecordsError> {
        let tables = Kind::ALL.into_iter().map(|kind| store.export_csv(kind)).collect::<Result<_, _>>()?;
        let lots =
            store.lots()?.iter().step_by(TRACED).map(|lot| store.trace_lot(&lot.key)).collect::<Result<_, _>>()?;
        let batches = store
            .batches()?
            .iter()
            .step_by(TRACED)
            .map(|batch| store.trace_batch(&batch.number))
            .collect::<Result<_, _>>()?;
        Ok(Seen { tables, lots, batches })
    }
}

/// Records of every kind, and the bytes of the file some records ago.
fn kept(folder: &Path) -> Vec<u8> {
    let mut store = store(folder);
    let mut lots = "lot,like,delivered_on,certificate,price_per_kg\n".to_owned();
    let mut batches = "batch,poured_on,formula,mass_g,cavities,lot,lot_mass_g,note\n".to_owned();
    let mut bars = "batch,first,last,went,to,on\n".to_owned();
    let mut trials = "formula,kind,tested_on,days_since_pouring,figures,note\n".to_owned();
    for b in 0..BATCHES {
        let certificate = "melts at 63.5 C ".repeat(if b % 10 == 0 { 600 } else { 8 });
        writeln!(lots, "lot {b},beeswax,2026-03-01,{certificate},14.{b:02}").unwrap();
        write!(batches, "26-{b:03},2026-11-20,hand bar,600.25,12,lot {b},225.5,poured at the second bench\n26-{b:03},2026-11-20,hand bar,600.25,12,oil 1,374.5,poured at the second bench\n").unwrap();
        write!(bars, "26-{b:03},1,8,sold,order {b},2026-11-21\n26-{b:03},9,12,kept,,2026-11-22\n").unwrap();
        writeln!(trials, "hand bar,open-tube,2026-11-24,4,\"{{\"\"melt_c\"\":54.{b:02}}}\",tube {b}").unwrap();
    }
    for (kind, table) in [(Kind::Lots, lots), (Kind::Batches, batches), (Kind::Bars, bars), (Kind::Trials, trials)] {
        store.import_csv(kind, &table, today()).unwrap();
    }
    let before = fs::read(folder.join(FILE_NAME)).unwrap();
    for b in 0..BATCHES {
        store.add_batch(&batch(&format!("27-{b:03}"), &[("wax 1", 225.0), ("oil 1", 375.0)]), today()).unwrap();
        store.add_outcome(&outcome(&format!("26-{b:03}"), "white bloom on bar 3"), today()).unwrap();
    }
    before
}

/// Damages a file in one of the ways disks and copies do, and says which.
fn damage(bytes: &mut Vec<u8>, before: &[u8], random: &mut Pcg64) -> &'static str {
    let pages = bytes.len() / PAGE;
    let [one, other] = [(); 2].map(|()| PAGE * random.random_range(0..pages));
    let at = random.random_range(0..bytes.len());
    match random.random_range(0..10) {
        0..3 => {
            bytes[at] ^= 1 << random.random_range(0..8);
            "a bit flipped"
        }
        3 => {
            for _ in 0..random.random_range(2..20) {
                let at = random.random_range(0..bytes.len());
                bytes[at] = random.random();
            }
            "several bytes changed"
        }
        4 => {
            // In the header or where the tables are described.
            bytes[at % (2 * PAGE)] ^= random.random_range(1..=255);
            "a byte of the first pages changed"
        }
        5 => {
            let start = at / BLOCK * BLOCK;
            bytes[start..start + BLOCK].fill(0);
            "a block zeroed"
        }
        6 => {
            bytes.truncate(if random.random() { one } else { at });
            "cut short"
        }
        7 => {
            let first = bytes[one..one + PAGE].to_vec();
            bytes.copy_within(other..other + PAGE, one);
            bytes[other..other + PAGE].copy_from_slice(&first);
            "two pages swapped"
        }
        8 => {
            bytes.copy_within(other..other + PAGE, one);
            "a page over another"
        }
        _ => {
            if let Some(old) = before.get(one..one + PAGE) {
                bytes[one..one + PAGE].copy_from_slice(old);
            }
            "a page as it was before"
        }
    }
}

#[test]
fn no_damaged_file_is_both_taken_and_different() {
    let files = env::var(MORE).map_or(FILES, |count| count.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let before = kept(folder.path());
    let path = folder.path().join(FILE_NAME);
    let good = fs::read(&path).unwrap();
    let all = Seen::of(&Store::open(folder.path()).unwrap()).unwrap();
    let mut random = Pcg64::seed_from_u64(11);
    let (mut at_open, mut by_check, mut same, mut astray) = (0, 0, 0, 0);
    let start = Instant::now();
    for file in 0..files {
        let mut bytes = good.clone();
        let how = damage(&mut bytes, &before, &mut random);
        fs::write(&path, &bytes).unwrap();
        let Ok(store) = Store::open(folder.path()) else {
            assert_eq!(fs::read(&path).unwrap(), bytes, "{file}: {how}");
            at_open += 1;
            continue;
        };
        // Whole tables are shown as they were or not at all, checked or not.
        for (kind, table) in Kind::ALL.into_iter().zip(&all.tables) {
            if let Ok(shown) = store.export_csv(kind) {
                assert!(shown == *table, "{file}: {how}: {kind:?}");
            }
        }
        match store.check(today()) {
            Ok(_) => {
                assert!(Seen::of(&store).unwrap() == all, "{file}: {how}");
                same += 1;
            }
            Err(_) => {
                by_check += 1;
                astray +=
                    all.lots.iter().filter(|lot| store.trace_lot(&lot.lot.key).is_ok_and(|now| now != **lot)).count();
            }
        }
    }
    println!(
        "{files} damaged files of {} pages: {at_open} refused at open, {by_check} refused by the check, {same} taken and \
         the same, none taken and different; {astray} traces of refused files lacked something; {:.1} s",
        good.len() / PAGE,
        start.elapsed().as_secs_f64()
    );
    assert!(at_open > 0 && by_check > 0 && same > 0);
}
