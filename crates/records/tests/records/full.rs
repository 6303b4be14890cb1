//! A disk without room: the system refuses the write, by a limit on the size of files (`ulimit -f`).

use std::env;
use std::process::Command;

use barwright_records::{RecordsError, Store};

use crate::support::{acknowledge, acknowledged, batch, other_command, outcome, prepare, store, today};

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
    let script = "trap '' XFSZ; ulimit -f 400; exec \"$0\" \"$@\"";
    let mut command = Command::new("sh");
    let test = "full::a_write_the_system_refuses_leaves_what_was_there";
    let program = env::current_exe().unwrap().into_os_string();
    let arguments = ["-c".into(), script.into(), program, test.into(), "--exact".into(), "--nocapture".into()];
    prepare(&mut command, arguments, folder.path(), "full");
    let output = command.output().unwrap();
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
