//! Files and folders that cannot be used: a clear error, and not one byte changed.

use std::fs;
use std::path::Path;
use std::sync::Barrier;
use std::thread;

use barwright_records::{FILE_NAME, Kind, RecordsError, Store};

use crate::support::{acknowledge, acknowledged, again, batch, other_command, store, today};

/// Backups made at once.
const BACKUPS: usize = 4;

/// A folder of records with something in every kind of page.
fn filled() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let rows: String = (0..200).map(|index| format!("26-{index},2026-11-20,hand bar,600.25,wax 1,225\n")).collect();
    let table = format!("batch,poured_on,formula,mass_g,lot,lot_mass_g\n{rows}");
    store.import_csv(Kind::Batches, &table, today()).unwrap();
    folder
}

/// Returns every file of a folder with its bytes.
fn everything(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = folder
        .read_dir()
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap()))
        .collect();
    files.sort();
    files
}

/// Spoils the records, opens them, and returns the error once sure that nothing was changed.
fn spoil(change: impl FnOnce(&mut Vec<u8>)) -> RecordsError {
    let folder = filled();
    let path = folder.path().join(FILE_NAME);
    let mut bytes = fs::read(&path).unwrap();
    change(&mut bytes);
    fs::write(&path, &bytes).unwrap();
    let before = everything(folder.path());
    let error = Store::open(folder.path()).unwrap_err();
    assert_eq!(everything(folder.path()), before, "{error}");
    error
}

#[test]
fn a_damaged_file_is_told_and_untouched() {
    let damaged = |error: RecordsError| assert!(matches!(error, RecordsError::Damaged { .. }), "{error:?}");
    damaged(spoil(|bytes| bytes[..100].fill(0)));
    damaged(spoil(|bytes| bytes[..100].fill(0xA5)));
    damaged(spoil(|bytes| bytes.truncate(bytes.len() / 2)));
    damaged(spoil(|bytes| bytes.truncate(bytes.len() - 100)));
    damaged(spoil(|bytes| bytes.truncate(10)));
    damaged(spoil(|bytes| *bytes = b"a shopping list".repeat(1000)));
    assert!(matches!(spoil(Vec::clear), RecordsError::Empty { .. }));
    // The application id at byte 68: a database of some other program. The version at byte 60.
    assert!(matches!(spoil(|bytes| bytes[68..72].fill(7)), RecordsError::Foreign { .. }));
    assert!(matches!(spoil(|bytes| bytes[60..64].fill(1)), RecordsError::Newer { found: 0x0101_0101, .. }));
}

#[test]
fn damage_inside_is_found_when_read_written_or_checked() {
    const PAGE: usize = 4096;
    let folder = filled();
    let path = folder.path().join(FILE_NAME);
    let mut bytes = fs::read(&path).unwrap();
    // Not the first two pages: the tables' names stay readable, everything in them does not.
    bytes[2 * PAGE..].fill(0xA5);
    fs::write(&path, &bytes).unwrap();
    {
        let mut store = Store::open(folder.path()).unwrap();
        for error in [
            store.check(today()).unwrap_err(),
            store.batches().map(|_| ()).unwrap_err(),
            store.add_batch(&batch("26-new", &[("wax 1", 225.0)]), today()).unwrap_err(),
            store.backup(&folder.path().join("copy")).unwrap_err(),
        ] {
            assert!(matches!(error, RecordsError::Damaged { .. }), "{error:?}");
        }
    }
    assert_eq!(everything(folder.path()), [(FILE_NAME.to_owned(), bytes)]);
}

#[test]
fn no_folder_is_told() {
    let folder = tempfile::tempdir().unwrap();
    assert!(matches!(Store::open(&folder.path().join("none")), Err(RecordsError::NoFolder { .. })));
}

#[test]
fn what_is_no_file_and_cannot_be_opened_is_not_said_to_be_read_only() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join(FILE_NAME)).unwrap();
    let error = Store::open(folder.path()).unwrap_err();
    assert!(matches!(error, RecordsError::Database { .. }), "{error:?}");
}

#[test]
#[cfg(unix)]
fn a_link_that_leads_nowhere_is_told_and_left() {
    use std::os::unix::fs::symlink;

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE_NAME);
    symlink("nowhere", &path).unwrap();
    let error = Store::open(folder.path()).unwrap_err();
    assert!(matches!(error, RecordsError::Database { .. }), "{error:?}");
    fs::remove_file(&path).unwrap();
    // To itself: that is not the same as no file, so none is made.
    symlink(FILE_NAME, &path).unwrap();
    let error = Store::open(folder.path()).unwrap_err();
    assert!(matches!(error, RecordsError::Io { .. }), "{error:?}");
    assert_eq!(folder.path().read_dir().unwrap().count(), 1);
    assert!(path.is_symlink());
}

#[test]
fn of_backups_at_once_to_one_name_one_is_made_and_the_others_told() {
    let (folder, elsewhere) = (filled(), tempfile::tempdir().unwrap());
    let target = elsewhere.path().join(FILE_NAME);
    let begin = Barrier::new(BACKUPS);
    let done: Vec<_> = thread::scope(|scope| {
        let commands: Vec<_> = (0..BACKUPS)
            .map(|_| {
                scope.spawn(|| {
                    let store = Store::open(folder.path()).unwrap();
                    // All of them see that the name is free, and each copies for longer than it takes to see that.
                    begin.wait();
                    store.backup(&target)
                })
            })
            .collect();
        commands.into_iter().map(|command| command.join().unwrap()).collect()
    });
    assert_eq!(done.iter().filter(|done| done.is_ok()).count(), 1, "{done:?}");
    for error in done.into_iter().filter_map(Result::err) {
        assert!(matches!(error, RecordsError::BackupExists { .. }), "{error:?}");
    }
    Store::open(elsewhere.path()).unwrap().check(today()).unwrap();
    assert_eq!(elsewhere.path().read_dir().unwrap().count(), 1);
}

#[test]
fn a_backup_replaces_nothing() {
    let folder = filled();
    let store = Store::open(folder.path()).unwrap();
    let target = folder.path().join("copy");
    fs::write(&target, "mine").unwrap();
    assert!(matches!(store.backup(&target), Err(RecordsError::BackupExists { .. })));
    assert_eq!(fs::read(&target).unwrap(), b"mine");
    assert!(matches!(store.backup(&folder.path().join("none/copy")), Err(RecordsError::NoFolder { .. })));
    assert_eq!(everything(folder.path()).len(), 2);
}

#[test]
fn a_backup_has_what_was_there_when_it_began() {
    let (folder, elsewhere) = (filled(), tempfile::tempdir().unwrap());
    let mut store = Store::open(folder.path()).unwrap();
    store.backup(&elsewhere.path().join(FILE_NAME)).unwrap();
    let before = store.batches().unwrap();
    store.add_batch(&batch("26-later", &[]), today()).unwrap();
    let copy = Store::open(elsewhere.path()).unwrap();
    copy.check(today()).unwrap();
    assert_eq!(copy.batches().unwrap(), before);
    assert_eq!(elsewhere.path().read_dir().unwrap().count(), 1);
}

/// Gives a file or a folder its rights.
#[cfg(unix)]
fn mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

/// Runs a test again as another command on a folder with these rights, and returns what it printed. Who may do everything is made
/// somebody who may not, so that this tests the same for every user.
#[cfg(unix)]
fn as_nobody(test: &str, folder: &Path, rights: u32) -> String {
    use std::os::unix::fs::MetadataExt;
    use std::os::unix::process::CommandExt;
    /// The user and group that own nothing.
    const NOBODY: u32 = 65_534;

    let root = fs::metadata(folder).unwrap().uid() == 0;
    mode(folder, rights);
    let mut command = again(test, folder, "folder");
    if root {
        command.uid(NOBODY).gid(NOBODY);
    }
    let output = command.output().unwrap();
    mode(folder, 0o755);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{text}");
    text
}

/// The name of new records is on the disk only when the folder is.
#[test]
#[cfg(unix)]
fn new_records_whose_folder_cannot_be_synced_are_not_said_to_be_made() {
    if let Some((folder, _)) = other_command() {
        let error = Store::open(&folder).unwrap_err();
        assert!(matches!(error, RecordsError::ReadOnly { .. }), "{error:?}");
        acknowledge("told");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    // Files can be made in it, but nobody can open the folder itself.
    let test = "refused::new_records_whose_folder_cannot_be_synced_are_not_said_to_be_made";
    assert_eq!(acknowledged(&as_nobody(test, folder.path(), 0o333)), ["told"]);
}

#[test]
#[cfg(unix)]
fn a_read_only_folder_is_told_and_still_read() {
    if let Some((folder, tag)) = other_command() {
        match Store::open(&folder) {
            Ok(mut store) => {
                assert_eq!(store.batches().unwrap().len(), 200);
                store.check(today()).unwrap();
                let error = store.add_batch(&batch("26-new", &[]), today()).unwrap_err();
                assert!(matches!(error, RecordsError::ReadOnly { .. }), "{error:?}");
                let error = store.backup(&folder.join("copy")).unwrap_err();
                assert!(matches!(error, RecordsError::ReadOnly { .. }), "{error:?}");
                acknowledge(&format!("{tag} read"));
            }
            Err(error) => {
                assert!(matches!(error, RecordsError::ReadOnly { .. }), "{error:?}");
                acknowledge(&format!("{tag} refused"));
            }
        }
        return;
    }
    let (records, empty) = (filled(), tempfile::tempdir().unwrap());
    let file = records.path().join(FILE_NAME);
    let before = fs::read(&file).unwrap();
    for (folder, file_mode, expected) in [
        (records.path(), Some(0o444), "read"),
        // The file may be written to, but the folder takes no journal.
        (records.path(), Some(0o666), "read"),
        (empty.path(), None, "refused"),
    ] {
        if let Some(file_mode) = file_mode {
            mode(&file, file_mode);
        }
        let text = as_nobody("refused::a_read_only_folder_is_told_and_still_read", folder, 0o555);
        assert_eq!(acknowledged(&text), [format!("folder {expected}")]);
    }
    assert_eq!(everything(records.path()), [(FILE_NAME.to_owned(), before)]);
    assert_eq!(everything(empty.path()), []);
}
