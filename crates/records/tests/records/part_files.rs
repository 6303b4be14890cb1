//! Part files that killed runs left are swept; nothing else is.

use std::fs::{self, File};
use std::path::Path;
use std::time::{Duration, SystemTime};

use barwright_records::{STALE_AFTER, sweep};
use tempfile::tempdir;

/// A user that owns no file.
const NOBODY: u32 = 65_534;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
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
    kept.extend([".barwright-young1.part", ".barwright-future.part", ".barwright-folder.part", "inner"]);
    sweep(folder.path());
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

#[test]
#[cfg(unix)]
fn a_link_with_the_name_of_a_part_file_and_what_it_leads_to_stay() {
    let folder = tempdir().unwrap();
    let target = folder.path().join("kept.toml");
    aged(&target, 30 * STALE_AFTER);
    for (name, to) in [(".barwright-a1.part", "kept.toml"), (".barwright-b2.part", "nowhere")] {
        std::os::unix::fs::symlink(to, folder.path().join(name)).unwrap();
    }
    sweep(folder.path());
    assert_eq!(names(folder.path()), [".barwright-a1.part", ".barwright-b2.part", "kept.toml"]);
}

#[test]
#[cfg(unix)]
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
