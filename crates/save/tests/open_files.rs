//! No file can be opened any more. A file of its own: the limit is that of the whole process.
#![cfg(unix)]
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::fs::{self, File};

use barwright_save::{SaveError, part_in, refusal, save};
use rustix::process::{Resource, getrlimit, setrlimit};
use tempfile::tempdir;

#[test]
fn too_many_open_files_are_told_as_what_they_are() {
    let folder = tempdir().unwrap();
    let path = folder.path().join("bar.toml");
    fs::write(&path, "kept").unwrap();
    let usual = getrlimit(Resource::Nofile);
    setrlimit(Resource::Nofile, rustix::process::Rlimit { current: Some(64), ..usual }).unwrap();
    let open: Vec<File> = std::iter::from_fn(|| File::open("/dev/null").ok()).collect();
    let (saved, part) = (save(&path, b"x"), part_in(folder.path()));
    drop(open);
    setrlimit(Resource::Nofile, usual).unwrap();
    let error = saved.unwrap_err();
    assert!(matches!(error, SaveError::TooManyOpen { .. }), "{error}");
    assert!(error.to_string().ends_with("bar.toml` cannot be written: too many files are open"), "{error}");
    assert!(error.hint().contains("ulimit -n"));
    assert!(part.is_err_and(|error| refusal::is_too_many_open(&error)));
    assert_eq!(fs::read_to_string(&path).unwrap(), "kept");
    save(&path, b"new").unwrap();
}
