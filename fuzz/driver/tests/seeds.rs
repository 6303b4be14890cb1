//! Every seed is run as it is: inputs that once found something, and examples of what each target takes.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::process::Command;

use barwright_fuzz_driver::TARGETS;

#[test]
fn nothing_is_found_in_the_seeds() {
    let folder = tempfile::tempdir().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_drive"))
        .args(["--seconds", "0", "--findings"])
        .arg(folder.path())
        .output()
        .unwrap();
    let (said, told) = (String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
    assert!(run.status.success(), "{told}\n{said}");
}

#[test]
fn every_target_has_its_seeds_and_its_file_for_libfuzzer() {
    let fuzz = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let manifest = std::fs::read_to_string(format!("{fuzz}/Cargo.toml")).unwrap();
    for target in TARGETS {
        let seeds = std::fs::read_dir(format!("{fuzz}/seeds/{}", target.name)).unwrap();
        assert!(seeds.count() > 0, "{}", target.name);
        let file = std::fs::read_to_string(format!("{fuzz}/fuzz_targets/{}.rs", target.name)).unwrap();
        assert!(file.contains(&format!("::{}(data)", target.name)), "{file}");
        assert!(manifest.contains(&format!("name = \"{}\"", target.name)), "{} is not in fuzz/Cargo.toml", target.name);
    }
}
