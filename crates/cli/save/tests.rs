//! A file is written whole, keeps what it was, and leaves nothing behind.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::time::SystemTime;

use barwright_records::STALE_AFTER;
use tempfile::tempdir;

use super::*;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// What is said of a file that was not written.
fn told(refused: Result<(), CliError>) -> String {
    refused.unwrap_err().faults.remove(0).message
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
        let told = told(save(&folder.path().join(name), b"x"));
        assert!(told.ends_with("cannot be written: it is a folder"), "{name}: {told}");
    }
    assert_eq!(names(folder.path()), ["inner"]);
    assert!(names(&folder.path().join("inner")).is_empty());
}

#[test]
fn a_missing_folder_and_a_file_taken_for_one_are_named() {
    let folder = tempdir().unwrap();
    let to = |name: &str| told(save(&folder.path().join(name), b"x"));
    let no_folder = format!("cannot be written: there is no folder `{}`", folder.path().join("no").display());
    assert!(to("no/such.toml").ends_with(&no_folder), "{}", to("no/such.toml"));
    assert!(to("later/").contains("later/` cannot be written"), "{}", to("later/"));
    fs::write(folder.path().join("file"), "kept").unwrap();
    assert!(to("file/bar.toml").contains("file/bar.toml` cannot be written"), "{}", to("file/bar.toml"));
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
    assert!(told(save(&path, b"x")).ends_with("bar.toml` cannot be written: it is marked read-only"));
    assert_eq!(fs::read_to_string(&path).unwrap(), "kept");
    assert_eq!(names(folder.path()), ["bar.toml"]);
}

#[test]
fn what_a_killed_run_left_beside_the_file_goes() {
    let folder = tempdir().unwrap();
    let left = fs::File::create(folder.path().join(".barwright-a1B2c3.part")).unwrap();
    left.set_modified(SystemTime::now() - 2 * STALE_AFTER).unwrap();
    save(&folder.path().join("bar.toml"), b"x").unwrap();
    assert_eq!(names(folder.path()), ["bar.toml"]);
}

#[test]
fn a_refused_rename_leaves_no_part_file() {
    let folder = tempdir().unwrap();
    let target = folder.path().join("taken");
    fs::create_dir(&target).unwrap();
    assert!(replace(&target, folder.path(), None, b"x").is_err());
    assert_eq!(names(folder.path()), ["taken"]);
}

#[cfg(unix)]
mod unix {
    use std::fs::OpenOptions;
    use std::io::Read;
    use std::os::unix::fs::{FileTypeExt, OpenOptionsExt, PermissionsExt, symlink};
    use std::process::Command;

    use super::*;

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
        assert!(told(save(&at("folder"), b"x")).ends_with("it is a folder"));
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
        let told = told(save(&folder.path().join("a"), b"x"));
        assert!(told.ends_with("a` cannot be written: it is a link that leads in a circle"), "{told}");
        assert_eq!(names(folder.path()), ["a", "b"]);
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
        assert_eq!(error.faults[0].hints, ["Name a file in a folder you may write to."]);
        assert_eq!(names(folder.path()), [name]);
    }

    #[test]
    fn a_limit_on_open_files_is_told_as_what_it_is() {
        let error = refused(Path::new("bar.toml"), &rustix::io::Errno::MFILE.into());
        assert_eq!(error.faults[0].message, "`bar.toml` cannot be written: too many files are open");
        assert!(error.faults[0].hints[0].contains("ulimit -n"));
    }

    /// A name that leads nowhere yet is taken as it is; one that cannot be looked at, below a file as if that were a folder (POSIX `lstat`: ENOTDIR), is refused.
    #[test]
    fn links_end_at_a_name_that_is_free_and_not_at_one_that_cannot_be() {
        let folder = tempdir().unwrap();
        let (file, free) = (folder.path().join("file"), folder.path().join("free"));
        fs::write(&file, b"x").unwrap();
        for (link, to) in [("to-free", "free"), ("to-none", "file/bar.toml")] {
            symlink(to, folder.path().join(link)).unwrap();
        }
        assert_eq!(follow_links(&folder.path().join("to-free")).unwrap(), free);
        let refused = |path: &Path| follow_links(path).unwrap_err().kind();
        assert_eq!(refused(&file.join("bar.toml")), ErrorKind::NotADirectory);
        assert_eq!(refused(&folder.path().join("to-none")), ErrorKind::NotADirectory);
    }

    /// A pipe takes what is written and refuses to be synced (POSIX `fsync`: EINVAL): without the call there would be no refusal.
    #[test]
    fn what_is_written_is_synced_and_a_refusal_is_told() {
        let (mut reader, writer) = io::pipe().unwrap();
        let file = fs::File::from(std::os::fd::OwnedFd::from(writer));
        let refused = write_to_disk(&file, b"all of it").unwrap_err();
        assert_eq!(refused.kind(), ErrorKind::InvalidInput);
        drop(file);
        let mut arrived = String::new();
        reader.read_to_string(&mut arrived).unwrap();
        assert_eq!(arrived, "all of it");
    }
}
