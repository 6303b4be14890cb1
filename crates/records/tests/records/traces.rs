//! From a lot to every batch and bar, and back.

use barwright_records::{Bars, Kept, RecordsError, Went};

use crate::support::{bars, batch, formula, outcome, store, today, trial};

#[test]
fn a_lot_leads_to_its_batches_and_bars_and_they_lead_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let batches = [
        batch("26-1", &[("wax 1", 225.0), ("oil 1", 375.0)]),
        batch("26-2", &[("oil 1", 375.5)]),
        batch("26-3", &[("oil 1", 1.0), ("wax 1", 2.5)]),
        batch("26-4", &[]),
    ];
    for batch in &batches {
        store.add_batch(batch, today()).unwrap();
    }
    let entries = [
        bars("26-3", 1, 12, Went::Kept),
        bars("26-1", 1, 4, Went::Sold),
        bars("26-2", 1, 12, Went::Gifted),
        bars("26-3", 7, 7, Went::Sold),
    ];
    let ids: Vec<i64> = entries.iter().map(|bars| store.add_bars(bars, today()).unwrap()).collect();
    let kept = |index: usize| -> Kept<Bars> { Kept { id: ids[index], record: entries[index].clone() } };
    store.add_outcome(&outcome("26-3", "bloom"), today()).unwrap();

    let trace = store.trace_lot("wax 1").unwrap();
    assert_eq!(trace.lot.key, "wax 1");
    let found: Vec<_> = trace.batches.iter().map(|traced| (&traced.batch, traced.lot_mass_g)).collect();
    assert_eq!(found, [(&batches[0], 225.0), (&batches[2], 2.5)]);
    assert_eq!(trace.batches[0].bars, [kept(1)]);
    assert_eq!(trace.batches[1].bars, [kept(0), kept(3)]);
    assert_eq!(trace.batches[0].outcomes, []);
    assert_eq!(trace.batches[1].outcomes[0].record, outcome("26-3", "bloom"));
    assert_eq!(store.trace_lot("oil 1").unwrap().batches.len(), 3);

    let back = store.trace_batch("26-3").unwrap();
    assert_eq!((&back.batch, &back.formula), (&batches[2], &formula("hand bar")));
    let lots: Vec<_> = back.lots.iter().map(|traced| (traced.lot.key.as_str(), traced.mass_g)).collect();
    assert_eq!(lots, [("oil 1", 1.0), ("wax 1", 2.5)]);
    assert_eq!(back.bars, [kept(0), kept(3)]);
    assert_eq!(store.trace_bar("26-3", 7).unwrap().bars, [kept(0), kept(3)]);
    assert_eq!(store.trace_bar("26-3", 8).unwrap().bars, [kept(0)]);
    assert!(matches!(store.trace_bar("26-3", 13), Err(RecordsError::NoSuchBars { first: 13, .. })));
    assert!(matches!(store.trace_bar("26-3", 0), Err(RecordsError::NoSuchBars { first: 0, .. })));
    assert!(matches!(store.trace_lot("wax 2"), Err(RecordsError::Unknown { what: "lot", .. })));

    // What is kept is what was given, whichever way it is asked for.
    assert_eq!(store.batches().unwrap(), batches);
    assert_eq!(store.batches_of_formula("hand bar").unwrap(), batches);
    assert_eq!(store.bars("26-1").unwrap(), [kept(1)]);
    let id = store.add_trial(&trial("soft"), today()).unwrap();
    assert_eq!(store.trial(id).unwrap(), trial("soft"));
    assert_eq!(store.trials(Some("hand bar")).unwrap(), [Kept { id, record: trial("soft") }]);
}
