//! Tables of records taken in.

use std::cell::RefCell;

use barwright_records::{Date, Kind, Store};
use tempfile::TempDir;

use crate::claims;

/// The day of the maker.
const TODAY: &str = "2026-11-25";

/// Marks in a text that holds several tables: a line of this and the word of the table.
const MARK: &str = "%% ";

thread_local! {
    /// A store without records, kept from input to input while nothing is added.
    static EMPTY: RefCell<Option<(TempDir, Store)>> = const { RefCell::new(None) };
}

fn empty() -> (TempDir, Store) {
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(folder.path()).expect("new records");
    (folder, store)
}

/// Tables one after the other, each behind a line `%% ` and its word; what was taken in is given out and taken in again, the same.
pub fn records(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let today: Date = TODAY.parse().expect("a day");
    let (folder, mut store) = EMPTY.with(|kept| kept.borrow_mut().take()).unwrap_or_else(empty);
    let mut how = Vec::new();
    for table in text.split(MARK) {
        let (word, body) = table.split_once('\n').unwrap_or((table, ""));
        let Some(kind) = Kind::called(word.trim()) else { continue };
        match store.import_csv(kind, body, today) {
            Ok(done) => how.push((kind.word(), Ok((done.added.min(3), done.already_there.min(2))))),
            Err(error) => {
                claims::sentence(&error.to_string().replace('\n', " "));
                assert!(error.hint().trim_end().ends_with('.'), "{error}: {}", error.hint());
                how.push((kind.word(), Err(std::mem::discriminant(&error))));
            }
        }
    }
    let counts = store.counts().expect("records are counted");
    if counts.iter().all(|(_, count)| *count == 0) {
        EMPTY.with(|kept| *kept.borrow_mut() = Some((folder, store)));
        return claims::digest(how);
    }
    store.check(today).expect("the records are sound");
    let (_folder, mut copy) = empty();
    for (kind, count) in counts {
        let table = store.export_csv(kind).expect("a table is given out");
        let taken = copy.import_csv(kind, &table, today).unwrap_or_else(|error| panic!("{kind:?}: {error}\n{table}"));
        assert_eq!(taken.added as u64, count, "{table}");
        assert_eq!(copy.export_csv(kind).expect("a table is given out"), table, "given out again");
        let twice = copy.import_csv(kind, &table, today).unwrap_or_else(|error| panic!("{kind:?}: {error}\n{table}"));
        let all_there = twice.added == 0 && twice.already_there as u64 == count;
        assert!(all_there, "{kind:?} taken in twice: {twice:?}\n{table}");
    }
    claims::digest(how)
}
