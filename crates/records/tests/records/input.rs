//! What must not get in, and what may although it looks odd.

use barwright_records::{
    Bars, Batch, Date, Figures, Lot, LotUse, MAX_NAME_BYTES, MAX_TEXT_BYTES, Outcome, PouredFormula, PouredPart,
    RecordsError, Store, Trial, Went,
};

use crate::support::{bars, batch, formula, outcome, store, today, trial};

/// Checks that every batch is refused in the way told and that none of it is kept.
fn refuse(batches: impl IntoIterator<Item = (Batch, fn(&RecordsError) -> bool)>) {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    for (batch, expected) in batches {
        let error = store.add_batch(&batch, today()).unwrap_err();
        assert!(expected(&error), "{error:?}");
        assert!(!error.to_string().is_empty() && error.hint().ends_with('.'));
        assert!(error.to_string().len() < 1000, "{error}");
    }
    assert_eq!(store.batches().unwrap(), []);
    store.check(today()).unwrap();
}

#[test]
fn bad_batches_are_refused_whole() {
    let good = || batch("26-1", &[("wax 1", 225.0)]);
    let out_of_range: fn(&RecordsError) -> bool = |error| matches!(error, RecordsError::OutOfRange { .. });
    let bad_text: fn(&RecordsError) -> bool = |error| matches!(error, RecordsError::BadText { .. });
    let too_long: fn(&RecordsError) -> bool = |error| matches!(error, RecordsError::TooLong { .. });
    let lots = |uses: &[(&str, f64)]| batch("26-1", uses);
    refuse([
        (Batch { mass_g: -5.0, ..good() }, out_of_range),
        (Batch { mass_g: 0.0, ..good() }, out_of_range),
        (Batch { mass_g: f64::NAN, ..good() }, out_of_range),
        (Batch { mass_g: f64::INFINITY, ..good() }, out_of_range),
        (Batch { cavities: Some(0), ..good() }, out_of_range),
        (lots(&[("oil 1", 10.0), ("wax 1", -0.5)]), out_of_range),
        (lots(&[("oil 1", 10.0), ("wax 9", 1.0)]), |error| matches!(error, RecordsError::Unknown { what: "lot", .. })),
        (lots(&[("oil 1", 10.0), ("oil 1", 1.0)]), |error| matches!(error, RecordsError::Twice { .. })),
        (Batch { formula: "never poured".to_owned(), ..good() }, |error| {
            matches!(error, RecordsError::Unknown { what: "formula", .. })
        }),
        (Batch { poured_on: "2026-11-26".parse().unwrap(), ..good() }, |error| {
            matches!(error, RecordsError::Future { .. })
        }),
        (Batch { poured_on: "0226-11-20".parse().unwrap(), ..good() }, |error| {
            matches!(error, RecordsError::LongAgo { .. })
        }),
        (Batch { number: String::new(), ..good() }, |error| matches!(error, RecordsError::Blank { .. })),
        (Batch { number: "26\0-1".to_owned(), ..good() }, bad_text),
        (Batch { number: "26\n-1".to_owned(), ..good() }, bad_text),
        (Batch { number: " 26-1".to_owned(), ..good() }, bad_text),
        (Batch { number: "x".repeat(MAX_NAME_BYTES + 1), ..good() }, too_long),
        (Batch { note: Some("x".repeat(10_000_000)), ..good() }, too_long),
        (Batch { note: Some("a\0b".to_owned()), ..good() }, bad_text),
        (Batch { note: Some("  ".to_owned()), ..good() }, |error| matches!(error, RecordsError::Blank { .. })),
        (Batch { formula: "y".repeat(10_000_000), ..good() }, |error| {
            matches!(error, RecordsError::Unknown { what: "formula", .. })
        }),
    ]);
}

#[test]
fn odd_names_are_only_names() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let names = [
        "../../etc/26",
        "a/b\\c",
        "'; DROP TABLE batches; --",
        "\"quoted\" 'twice'",
        "=1+1",
        "%_*?",
        "Ünïcødé 蜜蝋 🐝",
        &"x".repeat(MAX_NAME_BYTES),
    ];
    for name in names {
        store.add_formula(&formula(name)).unwrap();
        store.add_lot(&Lot::new(name, name), today()).unwrap();
        let note = Some(format!("{name}\r\n\t{name}"));
        let lots = vec![LotUse { lot: name.to_owned(), mass_g: 0.001 }];
        let batch = Batch { formula: name.to_owned(), lots, note, ..batch(name, &[]) };
        store.add_batch(&batch, today()).unwrap();
        let to = Some(name.to_owned());
        store.add_bars(&Bars { to, ..bars(name, 1, 1, Went::Sold) }, today()).unwrap();
        assert_eq!(store.batch(name).unwrap(), batch);
        assert_eq!(store.trace_lot(name).unwrap().batches.len(), 1);
        assert_eq!(store.trace_batch(name).unwrap().formula, formula(name));
    }
    let note = "n".repeat(MAX_TEXT_BYTES);
    store.add_outcome(&outcome(names[0], &note), today()).unwrap();
    assert_eq!(store.outcomes(names[0]).unwrap()[0].record.note, note);
    assert_eq!(folder.path().read_dir().unwrap().count(), 1);
}

#[test]
fn a_name_is_taken_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    store.add_batch(&batch("26-1", &[]), today()).unwrap();
    for error in [
        store.add_batch(&batch("26-1", &[]), today()),
        store.add_formula(&formula("hand bar")),
        store.add_lot(&Lot::new("wax 1", "beeswax"), today()),
    ] {
        assert!(matches!(error, Err(RecordsError::AlreadyThere { .. })), "{error:?}");
    }
    assert!(matches!(store.batch("26-2"), Err(RecordsError::Unknown { what: "batch", .. })));
    assert!(matches!(store.formula("hand"), Err(RecordsError::Unknown { what: "formula", .. })));
    assert!(matches!(store.lot("wax"), Err(RecordsError::Unknown { what: "lot", .. })));
    assert!(matches!(store.trial(1), Err(RecordsError::Unknown { what: "trial", .. })));
}

#[test]
fn a_bar_goes_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    store.add_batch(&batch("26-1", &[]), today()).unwrap();
    store.add_bars(&bars("26-1", 3, 6, Went::Kept), today()).unwrap();
    store.add_bars(&bars("26-1", 5, 8, Went::Sold), today()).unwrap();
    for (first, last) in [(8, 9), (1, 5), (6, 6), (1, 12)] {
        for went in Went::ALL {
            let error = store.add_bars(&bars("26-1", first, last, went), today());
            assert!(matches!(error, Err(RecordsError::BarsGone { first: 5, last: 8, went: "sold", .. })), "{error:?}");
        }
    }
    for (first, last) in [(0, 1), (9, 13), (10, 9), (u32::MAX, u32::MAX)] {
        let error = store.add_bars(&bars("26-1", first, last, Went::Sold), today());
        assert!(matches!(error, Err(RecordsError::NoSuchBars { .. })), "{error:?}");
    }
    let before = Bars { on: "2026-11-19".parse().unwrap(), ..bars("26-1", 9, 9, Went::Sold) };
    assert!(matches!(store.add_bars(&before, today()), Err(RecordsError::BeforePour { .. })));
    let later = Bars { on: "2026-11-26".parse().unwrap(), ..bars("26-1", 9, 9, Went::Sold) };
    assert!(matches!(store.add_bars(&later, today()), Err(RecordsError::Future { .. })));
    store.add_bars(&bars("26-1", 9, 12, Went::Gifted), today()).unwrap();
    assert_eq!(store.bars("26-1").unwrap().len(), 3);
}

#[test]
fn bad_formulas_lots_trials_and_remarks_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let part = |ingredient: &str, percent| PouredPart { ingredient: ingredient.to_owned(), percent };
    let of = |parts: Vec<PouredPart>| PouredFormula { name: "new".to_owned(), parts, note: None };
    let mut formula_fault = |parts| store.add_formula(&of(parts)).unwrap_err();
    assert!(matches!(formula_fault(vec![]), RecordsError::PartsSum { .. }));
    assert!(matches!(formula_fault(vec![part("a", 60.0), part("b", 39.9)]), RecordsError::PartsSum { .. }));
    assert!(matches!(formula_fault(vec![part("a", 110.0), part("b", -10.0)]), RecordsError::OutOfRange { .. }));
    assert!(matches!(formula_fault(vec![part("a", 50.0), part("a", 50.0)]), RecordsError::Twice { .. }));

    let lot = || Lot::new("wax 2", "beeswax");
    let mut lot_fault = |lot: Lot| store.add_lot(&lot, today()).unwrap_err();
    let tomorrow: Date = "2026-11-26".parse().unwrap();
    assert!(matches!(lot_fault(Lot { price_per_kg: Some(-1.0), ..lot() }), RecordsError::OutOfRange { .. }));
    assert!(matches!(lot_fault(Lot { flash_c: Some(f64::NAN), ..lot() }), RecordsError::OutOfRange { .. }));
    assert!(matches!(lot_fault(Lot { delivered_on: Some(tomorrow), ..lot() }), RecordsError::Future { .. }));
    let long = Some("x".repeat(10_000_000));
    assert!(matches!(lot_fault(Lot { certificate: long, ..lot() }), RecordsError::TooLong { .. }));
    let mut deep = serde_json::Value::Null;
    for _ in 0..200 {
        deep = serde_json::Value::Array(vec![deep]);
    }
    let figures = Figures::from_iter([("deep".to_owned(), deep)]);
    assert!(matches!(lot_fault(Lot { figures, ..lot() }), RecordsError::BadFigures { .. }));
    store.add_lot(&Lot { best_before: Some(tomorrow), ..lot() }, today()).unwrap();

    let unknown = Trial { formula: "never poured".to_owned(), ..trial("x") };
    assert!(matches!(store.add_trial(&unknown, today()), Err(RecordsError::Unknown { what: "formula", .. })));
    let later = Trial { tested_on: tomorrow, ..trial("x") };
    assert!(matches!(store.add_trial(&later, today()), Err(RecordsError::Future { .. })));
    let old = Trial { days_since_pouring: 40_000, ..trial("x") };
    assert!(matches!(store.add_trial(&old, today()), Err(RecordsError::OutOfRange { .. })));

    store.add_batch(&batch("26-1", &[]), today()).unwrap();
    let later = Outcome { noted_on: tomorrow, ..outcome("26-1", "x") };
    assert!(matches!(store.add_outcome(&later, today()), Err(RecordsError::Future { .. })));
    let long = outcome("26-1", &"x".repeat(10_000_000));
    assert!(matches!(store.add_outcome(&long, today()), Err(RecordsError::TooLong { bytes: 10_000_000, .. })));

    drop(store);
    let store = Store::open(folder.path()).unwrap();
    assert_eq!(store.formulas().unwrap().len(), 1);
    assert_eq!(store.lots().unwrap().len(), 3);
    assert_eq!(store.trials(None).unwrap(), []);
    assert_eq!(store.outcomes("26-1").unwrap(), []);
}
