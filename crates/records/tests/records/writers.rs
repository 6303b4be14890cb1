//! Several commands at once.

use std::collections::HashSet;
use std::time::Instant;

use barwright_records::Store;

use crate::support::{acknowledge, acknowledged, again, batch, other_command, store, today};

/// Commands at once.
const WRITERS: usize = 10;
/// Records of each.
const RECORDS: usize = 100;

#[test]
fn ten_writers_of_a_hundred_records_make_a_thousand() {
    if let Some((folder, tag)) = other_command() {
        // The first of them makes the records; the others find them or wait.
        let mut store = store(&folder);
        for index in 0..RECORDS {
            store.add_batch(&batch(&format!("{tag}-{index}"), &[("wax 1", 225.0)]), today()).unwrap();
            acknowledge(&format!("{tag}-{index}"));
        }
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let start = Instant::now();
    let test = "writers::ten_writers_of_a_hundred_records_make_a_thousand";
    let writers: Vec<_> =
        (0..WRITERS).map(|writer| again(test, folder.path(), &format!("w{writer}")).spawn().unwrap()).collect();
    let mut said = HashSet::new();
    for writer in writers {
        let output = writer.wait_with_output().unwrap();
        assert!(output.status.success());
        let text = String::from_utf8(output.stdout).unwrap();
        said.extend(acknowledged(&text).into_iter().map(str::to_owned));
    }
    println!("{WRITERS} writers of {RECORDS} records each: {:.1} s", start.elapsed().as_secs_f64());
    let store = Store::open(folder.path()).unwrap();
    store.check(today()).unwrap();
    let there: HashSet<String> = store.batches().unwrap().into_iter().map(|batch| batch.number).collect();
    assert_eq!(there.len(), WRITERS * RECORDS);
    assert_eq!(there, said);
    // Nobody's half-made records stay behind.
    let names: Vec<_> = folder.path().read_dir().unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, [barwright_records::FILE_NAME]);
}
