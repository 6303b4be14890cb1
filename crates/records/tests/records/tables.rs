//! CSV out and in.

use barwright_records::{
    Bars, Batch, Figures, Imported, Kind, Lot, LotUse, MAX_TABLE_BYTES, PouredFormula, RecordsError, Store, Trial,
    TrialKind, Went,
};
use barwright_reference::NutOrigin;
use proptest::prelude::*;

use crate::support::{bars, batch, formula, outcome, store, today, trial};

/// Exports every table of one store into another and returns them.
fn move_over(from: &Store, to: &mut Store) -> Vec<String> {
    Kind::ALL
        .into_iter()
        .map(|kind| {
            let table = from.export_csv(kind).unwrap();
            let imported = to.import_csv(kind, &table, today()).unwrap();
            assert_eq!(imported.already_there, 0, "{kind:?}");
            assert_eq!(to.export_csv(kind).unwrap(), table);
            // Said twice, nothing is added.
            let again = to.import_csv(kind, &table, today()).unwrap();
            assert_eq!(again, Imported { added: 0, already_there: imported.added }, "{kind:?}");
            table
        })
        .collect()
}

/// Fills a store with records whose every text is one of these.
fn fill(store: &mut Store, name: &str, text: &str, number: f64) {
    let note = Some(text.to_owned());
    let figures = Figures::from_iter([(text.to_owned(), number.into()), ("seen".to_owned(), text.into())]);
    let name_of = || name.to_owned();
    store.add_formula(&PouredFormula { note: note.clone(), ..formula(name) }).unwrap();
    let lot = Lot {
        delivered_on: Some("2026-10-01".parse().unwrap()),
        best_before: Some("2027-10-01".parse().unwrap()),
        certificate: note.clone(),
        figures: figures.clone(),
        price_per_kg: Some(number),
        nut_origin: Some(NutOrigin::Possible),
        flash_c: Some(61.7),
        note: note.clone(),
        delivered_g: Some(number),
        ..Lot::new(name, name)
    };
    store.add_lot(&lot, today()).unwrap();
    let lots = ["zz", name].map(|lot| LotUse { lot: lot.to_owned(), mass_g: number }).to_vec();
    store
        .add_batch(&Batch { formula: name_of(), lots, note: note.clone(), mass_g: number, ..batch(name, &[]) }, today())
        .unwrap();
    let entry = Bars { to: Some(name_of()), note: note.clone(), ..bars(name, 1, 2, Went::Sold) };
    store.add_bars(&entry, today()).unwrap();
    for kind in TrialKind::ALL {
        let trial = Trial { kind, formula: name_of(), figures: figures.clone(), note: note.clone(), ..trial("") };
        // Twice the same is two trials.
        store.add_trial(&trial, today()).unwrap();
        store.add_trial(&trial, today()).unwrap();
    }
    store.add_outcome(&outcome(name, text), today()).unwrap();
}

/// Compares everything two stores have.
fn same(one: &Store, other: &Store, batch: &str) {
    assert_eq!(one.formulas().unwrap(), other.formulas().unwrap());
    assert_eq!(one.lots().unwrap(), other.lots().unwrap());
    assert_eq!(one.batches().unwrap(), other.batches().unwrap());
    assert_eq!(one.trials(None).unwrap(), other.trials(None).unwrap());
    assert_eq!(one.trace_batch(batch).unwrap(), other.trace_batch(batch).unwrap());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn everything_comes_back(
        name in "['=+@,;\"/\\-＝][a-c =+'\",;/\\-é🐝]{0,8}[a-c'\"=]",
        text in "[=+@' \t\r\n\",;\\-＝]{0,4}[a-c=]['\"\r\n;, \t=]{0,4}",
        number in 0.001..1e6,
    ) {
        let (here, there) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let mut one = Store::open(here.path()).unwrap();
        one.add_lot(&Lot::new("zz", "beeswax"), today()).unwrap();
        fill(&mut one, &name, &text, number);
        let mut other = Store::open(there.path()).unwrap();
        let tables = move_over(&one, &mut other);
        same(&one, &other, &name);
        // No cell of any table begins as a formula does.
        for table in tables {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(table.as_bytes());
            for cell in reader.records().flat_map(|row| row.unwrap().iter().map(str::to_owned).collect::<Vec<_>>()) {
                prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝']), "{:?}", cell);
            }
        }
    }
}

#[test]
fn formulas_in_cells_are_text_both_ways() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let table = "batch,poured_on,formula,mass_g,note\n26-1,2026-11-20,hand bar,600,\"=HYPERLINK(\"\"http://x\"\",1)\"\n\
                 26-2,2026-11-20,hand bar,600,'=1+1\n26-3,2026-11-20,hand bar,600,'tis fine\n";
    store.import_csv(Kind::Batches, table, today()).unwrap();
    let notes: Vec<_> = store.batches().unwrap().into_iter().map(|batch| batch.note.unwrap()).collect();
    assert_eq!(notes, ["=HYPERLINK(\"http://x\",1)", "=1+1", "'tis fine"]);
    let out = store.export_csv(Kind::Batches).unwrap();
    assert_eq!(
        out,
        "\"batch\",\"poured_on\",\"formula\",\"mass_g\",\"cavities\",\"lot\",\"lot_mass_g\",\"note\"\n\
         \"26-1\",\"2026-11-20\",\"hand bar\",600,\"\",\"\",\"\",\"'=HYPERLINK(\"\"http://x\"\",1)\"\n\
         \"26-2\",\"2026-11-20\",\"hand bar\",600,\"\",\"\",\"\",\"'=1+1\"\n\
         \"26-3\",\"2026-11-20\",\"hand bar\",600,\"\",\"\",\"\",\"'tis fine\"\n"
    );
}

#[test]
fn a_bad_row_is_told_by_its_line_and_nothing_of_the_table_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let good = "26-1,2026-11-20,hand bar,600,wax 1,225\n";
    for (row, line, part) in [
        ("26-2,2026-11-20,hand bar,=300*2,wax 1,225", 3, "not a plain number"),
        ("26-2,2026-11-20,hand bar,-600,wax 1,225", 3, "outside"),
        ("26-2,2026-11-20,hand bar,NaN,wax 1,225", 3, "outside"),
        ("26-2,20/11/2026,hand bar,600,wax 1,225", 3, "not a date"),
        ("26-2,2026-11-26,hand bar,600,wax 1,225", 3, "in the future"),
        ("26-2,2026-11-20,never,600,wax 1,225", 3, "no formula is called"),
        ("26-2,2026-11-20,hand bar,600,wax 9,225", 3, "no lot is called"),
        ("26-2,2026-11-20,hand bar,600,,225", 3, "without a `lot`"),
        ("26-2,2026-11-20,hand bar,600,wax 1,", 3, "`lot_mass_g` is blank"),
        ("26-2,2026-11-20,hand bar,600", 3, "has 4 cells, the header 6"),
        ("26-1,2026-11-20,hand bar,601,oil 1,225", 3, "something else about \"26-1\""),
        ("\"\n\n\",2026-11-20,hand bar,600,,", 3, "`batch` is blank"),
        (",,,,,\n26-1,2026-11-20,hand bar,600,oil 1,0", 4, "outside"),
    ] {
        let table = format!("batch,poured_on,formula,mass_g,lot,lot_mass_g\n{good}{row}\n");
        let error = store.import_csv(Kind::Batches, &table, today()).unwrap_err();
        let message = error.to_string();
        assert!(message.contains(part), "{message}");
        match error {
            RecordsError::Table { line: seen, .. } => assert_eq!(seen, line, "{message}"),
            // A batch of several rows is told by its first.
            RecordsError::Row { line: seen, .. } => assert!(seen == line || row.starts_with(','), "{message}"),
            error => panic!("{error:?}"),
        }
        assert_eq!(store.batches().unwrap(), [], "{row}");
    }
    for header in ["batch,colour\n", "batch,batch\n", "colour\n", "\n", ""] {
        let told = store.import_csv(Kind::Batches, header, today());
        assert!(matches!(told, Err(RecordsError::Table { line: 1, .. })), "{told:?}");
    }
}

#[test]
fn bad_rows_are_all_told_up_to_twenty_and_the_rest_counted() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let mut faults_of = |bad: usize| {
        let rows = "wax 7,beeswax,much\n".repeat(bad);
        store.import_csv(Kind::Lots, &format!("lot,like,price_per_kg\n{rows}"), today()).unwrap_err()
    };
    assert!(matches!(faults_of(1), RecordsError::Table { line: 2, .. }));
    for (bad, told, further) in [(2, 2, 0), (20, 20, 0), (23, 20, 3)] {
        let error = faults_of(bad);
        let RecordsError::Faults { faults, more } = &error else { panic!("{error:?}") };
        let lines: Vec<_> = faults
            .iter()
            .map(|fault| match fault {
                RecordsError::Table { line, .. } => *line,
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!((lines, *more), ((2..2 + told).collect(), further));
        assert_eq!(error.to_string().ends_with("; and 3 more"), further == 3, "{error}");
    }
    assert_eq!(store.lots().unwrap().len(), 2);
}

#[test]
fn rows_of_one_formula_follow_one_another_and_another_name_is_another_formula() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let table = "formula,ingredient,percent\nfoot bar,beeswax,37.5\nfoot bar,sunflower-oil,62.5\n\
                 hand bar,beeswax,37.5\nhand bar,sunflower-oil,62.5\n";
    assert_eq!(store.import_csv(Kind::Formulas, table, today()).unwrap(), Imported { added: 2, already_there: 0 });
    for name in ["foot bar", "hand bar"] {
        assert_eq!(store.formula(name).unwrap(), formula(name));
    }
}

#[test]
fn a_table_longer_than_is_read_is_refused_unread() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let table = String::from_utf8(vec![0; MAX_TABLE_BYTES + 1]).unwrap();
    let error = store.import_csv(Kind::Lots, &table, today()).unwrap_err();
    assert!(matches!(error, RecordsError::TooLong { what: "table", most: 268_435_456, .. }), "{error:?}");
}

#[test]
fn tables_of_other_spreadsheets_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    for (number, separator) in [(1, ';'), (2, '\t'), (3, ',')] {
        let table = format!(
            "\u{feff}formula;batch;mass_g;poured_on;cavities\r\nhand bar;26-{number}; 600.25 ;2026-11-20;12\r\n;;;;\r\n"
        )
        .replace(';', &separator.to_string());
        let imported = store.import_csv(Kind::Batches, &table, today()).unwrap();
        assert_eq!(imported, Imported { added: 1, already_there: 0 });
        assert_eq!(store.batch(&format!("26-{number}")).unwrap(), batch(&format!("26-{number}"), &[]));
    }
}

#[test]
fn a_number_that_is_taken_is_refused_unless_it_says_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    store.add_batch(&batch("26-1", &[]), today()).unwrap();
    store.add_outcome(&outcome("26-1", "bloom"), today()).unwrap();
    let mut import = |rows: &str| {
        store.import_csv(Kind::Outcomes, &format!("id,batch,noted_on,note\n{rows}"), today()).map_err(|e| e.to_string())
    };
    assert_eq!(import("1,26-1,2026-11-25,bloom\n"), Ok(Imported { added: 0, already_there: 1 }));
    let told = import(",26-1,2026-11-25,new\n1,26-1,2026-11-25,sweat\n");
    assert_eq!(told, Err("line 3: outcome \"1\" is kept already, and nothing kept is replaced".to_owned()));
    assert_eq!(
        import(",26-1,2026-11-25,bloom\n7,26-1,2026-11-25,sweat\n"),
        Ok(Imported { added: 2, already_there: 0 })
    );
    assert!(import("0,26-1,2026-11-25,x\n").is_err() && import("-1,26-1,2026-11-25,x\n").is_err());
    let ids: Vec<i64> = store.outcomes("26-1").unwrap().into_iter().map(|kept| kept.id).collect();
    assert_eq!(ids, [1, 2, 7]);
}
