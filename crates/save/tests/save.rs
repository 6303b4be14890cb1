//! A file is written whole, keeps what it was, and leaves nothing behind.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::fs::{self, File};
use std::path::Path;
use std::time::{Duration, SystemTime};

use barwright_save::{STALE_AFTER, SaveError, save, sweep};
use tempfile::tempdir;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_file_is_made_and_replaced_and_nothing_else_stays() {
    let folder = tempdir().unwrap();
    let path = folder.path().join("bar.toml");
    for contents in ["a much longer first text", "short", ""] {
        save(&path, contents.as_bytes()).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), contents);
        assert_eq!(names(folder.path()), ["bar.toml"]);
    }
}

#[test]
fn a_folder_is_refused_and_untouched() {
    let folder = tempdir().unwrap();
    fs::create_dir(folder.path().join("inner")).unwrap();
    for name in ["inner", "inner/", "inner/.", "inner/..", "."] {
        let error = save(&folder.path().join(name), b"x").unwrap_err();
        assert!(matches!(error, SaveError::IsFolder { .. }), "{name}: {error}");
        assert!(error.to_string().ends_with("cannot be written: it is a folder"), "{error}");
    }
    assert_eq!(names(folder.path()), ["inner"]);
    assert!(names(&folder.path().join("inner")).is_empty());
}

#[test]
fn a_missing_folder_and_a_file_taken_for_one_are_named() {
    let folder = tempdir().unwrap();
    let error = save(&folder.path().join("no/such.toml"), b"x").unwrap_err();
    assert!(matches!(&error, SaveError::NoFolder { folder, .. } if folder.ends_with("no")), "{error}");
    let error = save(&folder.path().join("later/"), b"x").unwrap_err();
    assert!(error.to_string().contains("later/` cannot be written"), "{error}");
    fs::write(folder.path().join("file"), "kept").unwrap();
    let error = save(&folder.path().join("file/bar.toml"), b"x").unwrap_err();
    assert!(error.to_string().contains("cannot be written"), "{error}");
    assert_eq!(names(folder.path()), ["file"]);
    assert_eq!(fs::read_to_string(folder.path().join("file")).unwrap(), "kept");
}

#[test]
fn a_read_only_file_is_left_as_it_is() {
    let folder = tempdir().unwrap();
    let path = folder.path().join("bar.toml");
    fs::write(&path, "kept").unwrap();
    let mut permissions = fs::metadata(&path).unwrap().permissions();
    permissions.set_readonly(true);
    fs::set_permissions(&path, permissions).unwrap();
    assert!(matches!(save(&path, b"x"), Err(SaveError::ReadOnly { .. })));
    assert_eq!(fs::read_to_string(&path).unwrap(), "kept");
    assert_eq!(names(folder.path()), ["bar.toml"]);
}

/// Makes a file that was last written to at this age.
fn aged(path: &Path, age: Duration) {
    File::create(path).unwrap().set_modified(SystemTime::now() - age).unwrap();
}

#[test]
fn part_files_of_killed_runs_go_and_nothing_else() {
    const MINUTE: Duration = Duration::from_secs(60);
    let folder = tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let gone = [".barwright-a1B2c3.part", ".barwright-Zz.part"];
    for name in gone {
        aged(&at(name), STALE_AFTER + MINUTE);
    }
    // Another name, younger, or no file: none of our business.
    let others = [
        "bar.part",
        ".barwright-.part",
        ".barwright-a1B2c3.part.toml",
        ".barwright-a b.part",
        ".barwright-a1B2c3",
        "x.barwright-a1B2c3.part",
        ".other-a1B2c3.part",
    ];
    for name in others {
        aged(&at(name), 30 * STALE_AFTER);
    }
    aged(&at(".barwright-young1.part"), STALE_AFTER - MINUTE);
    File::create(at(".barwright-future.part")).unwrap().set_modified(SystemTime::now() + 2 * STALE_AFTER).unwrap();
    fs::create_dir(at(".barwright-folder.part")).unwrap();
    fs::create_dir(at("inner")).unwrap();
    aged(&at("inner/.barwright-deeper.part"), 30 * STALE_AFTER);
    let mut kept: Vec<&str> = others.to_vec();
    kept.extend([".barwright-young1.part", ".barwright-future.part", ".barwright-folder.part", "inner", "bar.toml"]);
    save(&at("bar.toml"), b"x").unwrap();
    kept.sort();
    assert_eq!(names(folder.path()), kept);
    assert_eq!(names(&at("inner")), [".barwright-deeper.part"]);
    sweep(&at("no such folder"));
}

#[test]
fn a_part_file_is_left_for_a_day_in_which_a_run_may_still_write_it() {
    const HOUR: Duration = Duration::from_secs(3600);
    let folder = tempdir().unwrap();
    for (name, hours) in [("hour2", 2), ("hour23", 23), ("hour25", 25)] {
        aged(&folder.path().join(format!(".barwright-{name}.part")), hours * HOUR);
    }
    sweep(folder.path());
    assert_eq!(names(folder.path()), [".barwright-hour2.part", ".barwright-hour23.part"]);
}

#[cfg(unix)]
mod unix {
    use std::fs::OpenOptions;
    use std::io::Read;
    use std::os::unix::fs::{FileTypeExt, OpenOptionsExt, PermissionsExt, symlink};
    use std::process::Command;

    use super::*;

    /// A user that owns no file.
    const NOBODY: u32 = 65_534;

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).unwrap().permissions().mode() & 0o7777
    }

    #[test]
    fn permissions_are_the_old_files_or_what_the_mask_makes_them() {
        let folder = tempdir().unwrap();
        let (old, plain, new) = (folder.path().join("old"), folder.path().join("plain"), folder.path().join("new"));
        fs::write(&old, "x").unwrap();
        for wanted in [0o640, 0o600, 0o755] {
            fs::set_permissions(&old, fs::Permissions::from_mode(wanted)).unwrap();
            save(&old, b"y").unwrap();
            assert_eq!(mode(&old), wanted);
        }
        fs::write(&plain, "x").unwrap();
        save(&new, b"y").unwrap();
        assert_eq!(mode(&new), mode(&plain));
    }

    #[test]
    fn a_link_stays_a_link_to_the_new_contents() {
        let folder = tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("inner")).unwrap();
        fs::write(at("inner/bar"), "old").unwrap();
        symlink("inner/bar", at("first")).unwrap();
        symlink("first", at("second")).unwrap();
        symlink("inner/new", at("dangling")).unwrap();
        symlink("inner", at("folder")).unwrap();
        save(&at("second"), b"new").unwrap();
        save(&at("dangling"), b"made").unwrap();
        assert!(matches!(save(&at("folder"), b"x"), Err(SaveError::IsFolder { .. })));
        assert_eq!(fs::read_to_string(at("inner/bar")).unwrap(), "new");
        assert_eq!(fs::read_to_string(at("inner/new")).unwrap(), "made");
        for name in ["first", "second", "dangling", "folder"] {
            assert!(fs::symlink_metadata(at(name)).unwrap().is_symlink(), "{name}");
        }
        assert_eq!(names(&at("inner")), ["bar", "new"]);
    }

    #[test]
    fn links_in_a_circle_are_an_error() {
        let folder = tempdir().unwrap();
        symlink("b", folder.path().join("a")).unwrap();
        symlink("a", folder.path().join("b")).unwrap();
        let error = save(&folder.path().join("a"), b"x").unwrap_err();
        assert!(matches!(error, SaveError::Circle { .. }), "{error}");
        assert_eq!(names(folder.path()), ["a", "b"]);
    }

    #[test]
    fn a_link_with_the_name_of_a_part_file_and_what_it_leads_to_stay() {
        let folder = tempdir().unwrap();
        let target = folder.path().join("kept.toml");
        aged(&target, 30 * STALE_AFTER);
        for (name, to) in [(".barwright-a1.part", "kept.toml"), (".barwright-b2.part", "nowhere")] {
            symlink(to, folder.path().join(name)).unwrap();
        }
        sweep(folder.path());
        assert_eq!(names(folder.path()), [".barwright-a1.part", ".barwright-b2.part", "kept.toml"]);
    }

    #[test]
    fn a_part_file_of_another_user_stays() {
        let folder = tempdir().unwrap();
        let path = folder.path().join(".barwright-theirs.part");
        aged(&path, 30 * STALE_AFTER);
        // Only the superuser can give a file away; for everyone else the system itself keeps it.
        if std::os::unix::fs::chown(&path, Some(NOBODY), None).is_err() {
            return;
        }
        sweep(folder.path());
        assert!(path.exists());
    }

    /// A pipe of the test's own stands for every device: a fault in `save` must not be able to replace one of the machine's.
    #[test]
    fn a_pipe_is_written_to_and_stays_a_pipe() {
        let folder = tempdir().unwrap();
        let path = folder.path().join("pipe");
        assert!(Command::new("mkfifo").arg(&path).status().unwrap().success());
        // Open both ways and without waiting, so that neither end holds up the other.
        let at_once = rustix::fs::OFlags::NONBLOCK.bits().cast_signed();
        let mut reader = OpenOptions::new().read(true).write(true).custom_flags(at_once).open(&path).unwrap();
        save(&path, b"bar").unwrap();
        assert!(fs::symlink_metadata(&path).unwrap().file_type().is_fifo());
        let mut read = [0; 3];
        reader.read_exact(&mut read).unwrap();
        assert_eq!(&read, b"bar");
        assert_eq!(names(folder.path()), ["pipe"]);
    }

    #[test]
    fn a_name_the_system_refuses_leaves_no_part_file() {
        let folder = tempdir().unwrap();
        let name = "x".repeat(255);
        save(&folder.path().join(&name), b"fits").unwrap();
        let error = save(&folder.path().join(format!("{name}x")), b"too long").unwrap_err();
        assert!(matches!(error, SaveError::Io { .. }), "{error}");
        assert_eq!(names(folder.path()), [name]);
    }
}
