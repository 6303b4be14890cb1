//! What a computer may not give: threads (the answer is the same, from one), and open files (it is told).

use crate::{command, demo_folder};

/// A stack no computer has room for: the system refuses every thread that asks for it, as it does where a limit is reached.
const NO_ROOM: (&str, &str) = ("RUST_MIN_STACK", "1125899906842624");

const BAR: &str = "beeswax 26, mango butter 22, sunflower oil 52";

#[test]
fn without_threads_the_answer_is_the_same() {
    let shelf = demo_folder().join("../spaces/fern-hand-bar-shelf.toml");
    let shelf = shelf.to_str().unwrap();
    for arguments in [
        &["assess", BAR, "--draws", "16"][..],
        &["adjust", BAR, "--hold", "45C", "--draws", "16"],
        &["swap", BAR, "--replace", "mango butter", "--with", "shea butter", "--draws", "16"],
        &["explore", shelf, "--candidates", "40", "--show", "1", "--draws", "16"],
        &["cool", BAR, "--place", "room=20C", "--draws", "16"],
    ] {
        let usual = command().args(arguments).output().unwrap();
        let alone = command().args(arguments).env(NO_ROOM.0, NO_ROOM.1).output().unwrap();
        let told = String::from_utf8_lossy(&alone.stderr).into_owned();
        assert_eq!(alone.status.code(), Some(0), "{arguments:?}: {told}");
        assert!(alone.stdout == usual.stdout && !usual.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn a_page_that_can_start_no_thread_says_so() {
    let folder = tempfile::TempDir::new().unwrap();
    let output = command().current_dir(folder.path()).arg("page").env(NO_ROOM.0, NO_ROOM.1).output().unwrap();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("error[threads]: the page cannot be served: the system starts no thread for it"), "{told}");
}

#[cfg(unix)]
#[test]
fn too_many_open_files_are_told_as_what_they_are() {
    let folder = tempfile::TempDir::new().unwrap();
    // The program itself is loaded through one file beside the three streams.
    let script = "exec 3>&- 4>&- 5>&- 6>&- 7>&- 8>&- 9>&-; ulimit -n 4; exec \"$0\" \"$@\"";
    for arguments in [&["page"][..], &["--profile", ".", "records", "lot", "W-2311", "--like", "beeswax"]] {
        let mut command = std::process::Command::new("sh");
        command.args(["-c", script, env!("CARGO_BIN_EXE_barwright")]).args(arguments).current_dir(folder.path());
        let output = command.env_remove("BARWRIGHT_PROFILE").stdin(std::process::Stdio::null()).output().unwrap();
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {told}");
        assert!(told.contains("too many files are open") && told.contains("ulimit -n"), "{arguments:?}: {told}");
    }
}
