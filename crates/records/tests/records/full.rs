//! What the system does not give: room on the disk, by a limit on the size of files (`ulimit -f`), and open files (`ulimit -n`).

use std::env;
use std::fs::File;
use std::path::Path;
use std::process::{Command, Output};

use barwright_records::{Lot, RecordsError, Store};

use crate::support::{acknowledge, acknowledged, batch, other_command, outcome, prepare, store, today};

/// Runs a test again as another command, under a limit that the shell sets.
fn limited(limit: &str, test: &str, folder: &Path, tag: &str) -> Output {
    let script = format!("{limit}; exec \"$0\" \"$@\"");
    let mut command = Command::new("sh");
    let program = env::current_exe().unwrap().into_os_string();
    let arguments = ["-c".into(), script.into(), program, test.into(), "--exact".into(), "--nocapture".into()];
    prepare(&mut command, arguments, folder, tag);
    command.output().unwrap()
}

#[test]
#[cfg(unix)]
fn a_write_the_system_refuses_leaves_what_was_there() {
    if let Some((folder, _)) = other_command() {
        let mut store = store(&folder);
        for index in 0.. {
            match store.add_outcome(&outcome("26-1", &format!("{index} {}", "x".repeat(4000))), today()) {
                Ok(_) => acknowledge(&format!("kept {index}")),
                Err(error) => {
                    assert!(matches!(error, RecordsError::Full { .. }), "{error:?}");
                    // Refused once, the same command still reads.
                    assert_eq!(store.outcomes("26-1").unwrap().len(), index);
                    acknowledge(&format!("full {index}"));
                    return;
                }
            }
        }
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    store(folder.path()).add_batch(&batch("26-1", &[]), today()).unwrap();
    // The limit is in blocks of 512 or 1,024 bytes; the signal that comes with it is ignored, as on a full disk.
    let output = limited(
        "trap '' XFSZ; ulimit -f 400",
        "full::a_write_the_system_refuses_leaves_what_was_there",
        folder.path(),
        "full",
    );
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{text}");
    let said = acknowledged(&text);
    let kept = said.len() - 1;
    assert_eq!(said.last(), Some(&format!("full {kept}").as_str()));
    assert!(kept > 10, "{kept}");
    let mut store = Store::open(folder.path()).unwrap();
    store.check(today()).unwrap();
    assert_eq!(store.outcomes("26-1").unwrap().len(), kept);
    // With room again, the next record is taken.
    store.add_outcome(&outcome("26-1", "room"), today()).unwrap();
}

/// Opens files until no more can be opened, then closes so many.
fn open_all_but(count: usize) -> Vec<File> {
    let mut open: Vec<File> = std::iter::from_fn(|| File::open("/dev/null").ok()).collect();
    open.truncate(open.len() - count);
    open
}

#[test]
#[cfg(unix)]
fn too_many_open_files_are_told_as_what_they_are() {
    if let Some((folder, tag)) = other_command() {
        // The file itself, its journal, the folder that is synced: each may be the one too many.
        for free in 0..4 {
            let open = open_all_but(free);
            let done = Store::open(&folder).and_then(|mut store| store.add_lot(&Lot::new(&tag, "beeswax"), today()));
            drop(open);
            match done {
                Ok(()) => return acknowledge(&format!("kept with {free}")),
                Err(error @ RecordsError::TooManyOpen { .. }) => assert!(error.hint().contains("ulimit -n")),
                Err(error) => panic!("{free} free: {error:?}"),
            }
        }
        return;
    }
    let (there, empty) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    store(there.path()).add_batch(&batch("26-1", &[]), today()).unwrap();
    for folder in [there.path(), empty.path()] {
        let test = "full::too_many_open_files_are_told_as_what_they_are";
        let output = limited("ulimit -n 40", test, folder, "files");
        let text = String::from_utf8(output.stdout).unwrap();
        let kept = acknowledged(&text);
        let told = kept.first().is_some_and(|kept| kept.starts_with("kept with") && *kept != "kept with 0");
        assert!(told, "{text}{}", String::from_utf8_lossy(&output.stderr));
    }
}
