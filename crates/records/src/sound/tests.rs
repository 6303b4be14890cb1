//! Whatever no maker could have put in is found, and whatever was lost or changed since is missed.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use tempfile::TempDir;

use super::*;
use crate::{Lot, LotUse, Outcome, PouredFormula, PouredPart, Trial, TrialKind, migrate::seal_all};

/// A day for records.
const TODAY: Date = jiff::civil::date(2026, 11, 25);

/// Records with something of each kind.
fn filled() -> (TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let parts = [("beeswax", 40.0), ("sunflower-oil", 60.0)];
    let parts = parts.map(|(ingredient, percent)| PouredPart { ingredient: ingredient.to_owned(), percent }).to_vec();
    store.add_formula(&PouredFormula { name: "hand bar".to_owned(), parts, note: None }).unwrap();
    let lot = |key| Lot {
        delivered_on: Some(jiff::civil::date(2026, 3, 1)),
        flash_c: Some(200.0),
        ..Lot::new(key, "beeswax")
    };
    ["spring wax", "summer wax"].into_iter().for_each(|key| store.add_lot(&lot(key), TODAY).unwrap());
    for number in ["26-1", "26-2"] {
        let lots = ["spring wax", "summer wax"].map(|lot| LotUse { lot: lot.to_owned(), mass_g: 120.0 }).to_vec();
        store.add_batch(&batch(number, lots), TODAY).unwrap();
        for (first, last, went) in [(1, 4, Went::Sold), (5, 6, Went::Gifted), (7, 7, Went::Kept)] {
            store.add_bars(&bars(number, first, last, went), TODAY).unwrap();
        }
        let outcome = Outcome { batch: number.to_owned(), noted_on: TODAY, note: "bloom".to_owned() };
        store.add_outcome(&outcome, TODAY).unwrap();
    }
    store.add_trial(&trial(), TODAY).unwrap();
    (folder, store)
}

fn batch(number: &str, lots: Vec<LotUse>) -> Batch {
    Batch {
        number: number.to_owned(),
        formula: "hand bar".to_owned(),
        poured_on: jiff::civil::date(2026, 11, 20),
        mass_g: 600.25,
        cavities: Some(12),
        lots,
        note: None,
    }
}

fn bars(batch: &str, first: u32, last: u32, went: Went) -> Bars {
    Bars { batch: batch.to_owned(), first, last, went, to: None, on: TODAY, note: None }
}

fn trial() -> Trial {
    Trial {
        formula: "hand bar".to_owned(),
        kind: TrialKind::OpenTube,
        figures: [("melt_c".to_owned(), 54.1.into())].into_iter().collect(),
        tested_on: TODAY,
        days_since_pouring: 5,
        note: None,
    }
}

/// Edits records as another program could, past every rule of the tables.
fn edit(store: &Store, sql: &str) {
    store
        .connection
        .execute_batch(&format!("PRAGMA ignore_check_constraints = ON; PRAGMA foreign_keys = OFF; {sql}"))
        .unwrap();
    store.connection.execute_batch("PRAGMA ignore_check_constraints = OFF; PRAGMA foreign_keys = ON").unwrap();
}

/// Edits that no rule allows, and what is said of them.
const FORBIDDEN: [(&str, &str); 28] = [
    (
        "UPDATE batches SET poured_on = 'last spring' WHERE id = 1",
        "batch \"26-1\" (record 1): \"last spring\" is kept where a date",
    ),
    ("UPDATE batches SET poured_on = '6026-11-20' WHERE id = 1", "in the future: today is 2026-11-25"),
    ("UPDATE batches SET poured_on = '0226-11-20' WHERE id = 1", "before 1900-01-01"),
    ("UPDATE batches SET mass_g = 9e999 WHERE id = 1", "the mass of the batch is inf g"),
    ("UPDATE batches SET mass_g = -5 WHERE id = 1", "CHECK"),
    ("UPDATE batches SET number = ' 26-1' WHERE id = 1", "has a blank at an end"),
    ("UPDATE batches SET cavities = 3 WHERE id = 1", "has no bars 1 to 4: it has 3"),
    ("UPDATE batches SET cavities = 5000000000 WHERE id = 1", "batch \"26-1\" (record 1)"),
    ("UPDATE batches SET note = '' WHERE id = 1", "the note of the batch is blank"),
    ("UPDATE batch_lots SET mass_g = 9e999 WHERE batch_id = 1", "the mass of a lot used is inf g"),
    ("UPDATE formula_parts SET percent = 40.5 WHERE position = 0", "sum to 100.5 %"),
    ("DELETE FROM formula_parts", "sum to 0 %"),
    ("UPDATE formula_parts SET ingredient = 'beeswax'", "named twice"),
    ("UPDATE formulas SET name = 'hand' || char(7) || 'bar'", "a control character"),
    ("UPDATE lots SET figures = '{\"a\":1e999}' WHERE id = 1", "lot \"spring wax\" (record 1)"),
    (
        "UPDATE lots SET delivered_on = '6026-03-01' WHERE id = 1",
        "the delivery of the lot, 6026-03-01, is in the future",
    ),
    ("UPDATE lots SET best_before = '0026-03-01' WHERE id = 1", "the best before of the lot, 0026-03-01, is before"),
    ("UPDATE lots SET price_per_kg = 9e999 WHERE id = 1", "the price of the lot is inf"),
    ("UPDATE lots SET delivered_g = 9e999 WHERE id = 1", "the mass of the lot is inf g"),
    ("UPDATE lots SET flash_c = -300 WHERE id = 1", "the flash point of the lot is -300 °C"),
    ("UPDATE lots SET nut_origin = 'maybe' WHERE id = 1", "\"maybe\" is kept where a nut origin should be"),
    ("UPDATE bars SET last_bar = 5 WHERE id = 1", "entry of bars 2: bars 1 to 5 of batch \"26-1\" are sold already"),
    ("UPDATE bars SET went_on = '2026-11-19' WHERE id = 1", "it was poured on 2026-11-20"),
    ("UPDATE bars SET first_bar = 5000000000, last_bar = 5000000001 WHERE id = 3", "entry of bars 3: "),
    ("UPDATE trials SET kind = 'taste'", "trial 1: \"taste\" is kept where the kind of a trial should be"),
    ("UPDATE trials SET days_since_pouring = 40000", "the age of the bar is 40000 days"),
    ("UPDATE outcomes SET noted_on = '2026-02-30' WHERE id = 1", "outcome 1: \"2026-02-30\" is kept where a date"),
    ("UPDATE outcomes SET note = 'x' || char(0) WHERE id = 1", "the remark \"x\\0\" has a control character"),
];

#[test]
fn what_no_rule_allows_is_found_even_under_a_right_digest() {
    for (sql, expected) in FORBIDDEN {
        let (_folder, store) = filled();
        edit(&store, sql);
        // As records of version 1 are sealed: whatever they say.
        edit(&store, "UPDATE seals SET records = 0, digest = zeroblob(32)");
        seal_all(&store.connection).unwrap();
        let error = store.check(TODAY).unwrap_err();
        assert!(matches!(&error, RecordsError::Damaged { what, .. } if what.contains(expected)), "{sql}: {error}");
    }
}

#[test]
fn a_record_that_changed_is_told_by_name_wherever_it_is_read() {
    type Ask = fn(&Store) -> Result<(), RecordsError>;
    let lots: Ask = |store| store.lots().map(|_| ());
    let lot: Ask = |store| store.lot("spring wax").map(|_| ());
    let batches: Ask = |store| store.batches().map(|_| ());
    let of_formula: Ask = |store| store.batches_of_formula("hand bar").map(|_| ());
    let forward: Ask = |store| store.trace_lot("spring wax").map(|_| ());
    let back: Ask = |store| store.trace_batch("26-1").map(|_| ());
    let bar: Ask = |store| store.trace_bar("26-1", 2).map(|_| ());
    let formulas: Ask = |store| store.formulas().map(|_| ());
    let of_batch: Ask = |store| store.bars("26-1").map(|_| ());
    let trials: Ask = |store| store.trials(None).map(|_| ());
    let one_trial: Ask = |store| store.trial(1).map(|_| ());
    let outcomes: Ask = |store| store.outcomes("26-1").map(|_| ());
    for (sql, name, asks) in [
        (
            "UPDATE lots SET price_per_kg = 3 WHERE id = 1",
            "lot \"spring wax\" (record 1)",
            vec![lots, lot, forward, back],
        ),
        (
            "UPDATE batches SET mass_g = 601 WHERE id = 1",
            "batch \"26-1\" (record 1)",
            vec![batches, of_formula, forward, back, bar],
        ),
        (
            "UPDATE batch_lots SET mass_g = 1 WHERE batch_id = 1",
            "batch \"26-1\" (record 1)",
            vec![batches, of_formula, forward, back],
        ),
        (
            "DELETE FROM batch_lots WHERE batch_id = 1 AND position = 1",
            "batch \"26-1\" (record 1)",
            vec![batches, of_formula, forward, back],
        ),
        (
            "UPDATE formula_parts SET percent = 41 WHERE position = 0",
            "formula \"hand bar\" (record 1)",
            vec![formulas, back],
        ),
        ("UPDATE bars SET went = 'kept' WHERE id = 1", "entry of bars 1", vec![of_batch, forward, back, bar]),
        ("UPDATE bars SET batch_id = 2 WHERE id = 1", "entry of bars 1", vec![forward]),
        ("UPDATE trials SET figures = '{\"melt_c\":54.2}'", "trial 1", vec![trials, one_trial]),
        ("UPDATE outcomes SET note = 'Bloom' WHERE id = 1", "outcome 1", vec![outcomes, forward, back]),
        ("UPDATE outcomes SET digest = NULL WHERE id = 1", "outcome 1", vec![outcomes, forward, back]),
    ] {
        let (_folder, store) = filled();
        edit(&store, sql);
        let asked = asks.into_iter().map(|ask| ask(&store));
        for error in asked.chain([store.check(TODAY).map(|_| ())]) {
            let error = error.unwrap_err();
            assert!(matches!(&error, RecordsError::Damaged { what, .. } if what.contains(name)), "{sql}: {error}");
        }
    }
}

#[test]
fn a_record_that_vanished_is_missed() {
    for (kind, sql) in [
        (Kind::Formulas, "DELETE FROM trials; DELETE FROM formula_parts; DELETE FROM formulas"),
        (Kind::Lots, "DELETE FROM batch_lots WHERE lot_id = 2; DELETE FROM lots WHERE id = 2"),
        (
            Kind::Batches,
            "DELETE FROM outcomes; DELETE FROM bars; DELETE FROM batch_lots; DELETE FROM batches WHERE id = 2",
        ),
        (Kind::Bars, "DELETE FROM bars WHERE id = 6"),
        (Kind::Trials, "DELETE FROM trials"),
        (Kind::Outcomes, "DELETE FROM outcomes WHERE id = 1"),
        // As many as were kept, and not the same.
        (Kind::Bars, "UPDATE bars SET digest = (SELECT digest FROM bars WHERE id = 1)"),
        (Kind::Bars, "DELETE FROM seals WHERE kind = 'bars'"),
    ] {
        let (_folder, store) = filled();
        edit(&store, sql);
        for error in [
            store.export_csv(kind).map(|_| ()),
            store.counts().map(|_| ()),
            store.check(TODAY).map(|_| ()),
            store.check_complete(),
        ] {
            assert!(matches!(error, Err(RecordsError::Damaged { .. })), "{sql}: {error:?}");
        }
        assert!(store.backup(&_folder.path().join("copy")).is_err(), "{sql}");
    }
    let (_folder, store) = filled();
    edit(&store, "DELETE FROM bars WHERE id = 6");
    let error = store.check(TODAY).unwrap_err().to_string();
    assert!(error.ends_with("6 bars were kept and 5 are there"), "{error}");
}

#[test]
fn the_first_findings_are_told_and_the_others_counted() {
    let told = |count: usize| {
        let mut findings = Findings::default();
        (1..=count).for_each(|number| findings.add(number.to_string()));
        findings.words()
    };
    assert_eq!([0, 1, 5].map(told), [None, Some("1".to_owned()), Some("1; 2; 3; 4; 5".to_owned())]);
    assert_eq!([6, 8].map(told), ["1", "3"].map(|more| Some(format!("1; 2; 3; 4; 5; and {more} more"))));
}

#[test]
fn what_is_complete_need_not_be_of_today() {
    let (_folder, store) = filled();
    store.check_complete().unwrap();
    let yesterday = jiff::civil::date(2026, 11, 24);
    assert!(store.check(yesterday).is_err() && store.check_complete().is_ok());
}

#[test]
fn trials_are_counted_from_one_on() {
    let (_folder, mut store) = filled();
    store.add_trial(&trial(), TODAY).unwrap();
    assert_eq!([0, 1, 2].map(|id| store.trials_after(id).unwrap()), [2, 1, 0]);
}

#[test]
fn every_kind_is_found_by_its_word() {
    assert_eq!(Kind::ALL.map(|kind| Kind::called(kind.word())), Kind::ALL.map(Some));
    assert_eq!(Kind::called("sales"), None);
}

#[test]
fn a_record_the_file_swallows_is_not_said_to_be_kept() {
    for table in ["formulas", "formula_parts", "lots", "batches", "batch_lots", "bars", "trials", "outcomes"] {
        let (_folder, mut store) = filled();
        let before: Vec<_> = Kind::ALL.map(|kind| store.export_csv(kind).unwrap()).into();
        // Put there after the file was opened: at open it would be refused.
        edit(&store, &format!("CREATE TRIGGER t BEFORE INSERT ON {table} BEGIN SELECT RAISE(IGNORE); END"));
        let parts = vec![PouredPart { ingredient: "beeswax".to_owned(), percent: 100.0 }];
        let uses = vec![LotUse { lot: "spring wax".to_owned(), mass_g: 1.0 }];
        let outcome = Outcome { batch: "26-1".to_owned(), noted_on: TODAY, note: "soft".to_owned() };
        let done = match table {
            "lots" => store.add_lot(&Lot::new("autumn wax", "beeswax"), TODAY),
            "bars" => store.add_bars(&bars("26-1", 9, 9, Went::Sold), TODAY).map(|_| ()),
            "trials" => store.add_trial(&trial(), TODAY).map(|_| ()),
            "outcomes" => store.add_outcome(&outcome, TODAY).map(|_| ()),
            "formulas" | "formula_parts" => {
                store.add_formula(&PouredFormula { name: "new".to_owned(), parts, note: None })
            }
            _ => store.add_batch(&batch("26-3", uses), TODAY),
        };
        assert!(matches!(done, Err(RecordsError::NotKept { changed: 0, .. })), "{table}: {done:?}");
        let after: Vec<_> = Kind::ALL.map(|kind| store.export_csv(kind).unwrap()).into();
        assert_eq!(after, before, "{table}");
    }
    for trigger in [
        "AFTER INSERT ON outcomes BEGIN DELETE FROM outcomes WHERE id = new.id; END",
        "BEFORE UPDATE ON outcomes BEGIN SELECT RAISE(IGNORE); END",
        "BEFORE UPDATE ON seals BEGIN SELECT RAISE(IGNORE); END",
    ] {
        let (_folder, mut store) = filled();
        edit(&store, &format!("CREATE TRIGGER t {trigger}"));
        let outcome = Outcome { batch: "26-1".to_owned(), noted_on: TODAY, note: "soft".to_owned() };
        let done = store.add_outcome(&outcome, TODAY);
        assert!(matches!(done, Err(RecordsError::NotKept { changed: 0, .. })), "{trigger}: {done:?}");
        assert_eq!(store.outcomes("26-1").unwrap().len(), 1);
    }
}

#[test]
fn a_file_with_other_tables_is_refused_and_untouched() {
    for (sql, words) in [
        (
            "CREATE TRIGGER t AFTER INSERT ON lots BEGIN SELECT 1; END",
            "has a trigger `t`, which barwright did not make",
        ),
        ("CREATE TRIGGER lots AFTER INSERT ON bars BEGIN SELECT 1; END", "has a trigger `lots`, which"),
        ("CREATE TABLE t (x)", "has a table `t`, which"),
        ("CREATE VIEW v AS SELECT 1", "has a view `v`, which"),
        ("CREATE INDEX i ON lots (note)", "has an index `i`, which"),
        ("DROP INDEX bars_of_batch", "has lost its index `bars_of_batch`"),
        ("DROP TABLE outcomes", "has lost its table `outcomes`"),
        (
            "PRAGMA legacy_alter_table = ON; ALTER TABLE lots RENAME TO l; CREATE VIEW lots AS SELECT * FROM l",
            "has a view in place of its table `lots`",
        ),
        ("ALTER TABLE lots ADD COLUMN colour TEXT", "the table `lots` of"),
        (
            "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, 'mass_g > 0', 'mass_g > -9') WHERE name = 'batches'",
            "the table `batches` of",
        ),
    ] {
        let (folder, store) = filled();
        edit(&store, sql);
        let at_check = store.check(TODAY).map(|_| ());
        drop(store);
        let path = folder.path().join(crate::FILE_NAME);
        let before = std::fs::read(&path).unwrap();
        for error in [at_check, Store::open(folder.path()).map(|_| ())] {
            let error = error.unwrap_err();
            assert!(
                matches!(&error, RecordsError::Schema { .. }) && error.to_string().contains(words),
                "{sql}: {error}"
            );
            assert!(error.hint().ends_with('.'));
        }
        assert_eq!(std::fs::read(&path).unwrap(), before);
    }
}

#[test]
fn statistics_of_the_database_itself_and_other_blanks_are_no_fault() {
    let (folder, store) = filled();
    edit(&store, "ANALYZE");
    let sql = "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, ', digest', ',  digest')";
    edit(&store, sql);
    drop(store);
    Store::open(folder.path()).unwrap().check(TODAY).unwrap();
}
