//! What the README shows is what the command prints, and the commands of the other documents run. After a wanted change: `TRYCMD=overwrite cargo test --test cli readme`.

#[test]
fn the_readme_shows_real_output() {
    trycmd::TestCases::new().case(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).env("COLUMNS", "100").run();
}

/// The commands in a text: lines that begin with the name of the command.
fn commands(text: &str) -> Vec<Vec<String>> {
    let lines = text.lines().filter_map(|line| line.strip_prefix("barwright "));
    lines
        .map(|line| {
            // Every other piece between quotes is one word.
            let pieces = line.split('"').enumerate();
            pieces
                .flat_map(|(index, piece)| match index % 2 {
                    1 => vec![piece.to_owned()],
                    _ => piece.split_whitespace().map(str::to_owned).collect(),
                })
                .collect()
        })
        .collect()
}

#[test]
fn every_command_of_the_bench_tests_runs() {
    let text = include_str!("../../docs/bench-tests.md");
    let folder = tempfile::TempDir::new().unwrap();
    let bar = crate::demo_folder().join("fern-hand-bar-winter.toml");
    std::fs::copy(bar, folder.path().join("winter.toml")).unwrap();
    let all = commands(text);
    assert!(all.len() >= 11, "{all:?}");
    for arguments in &all {
        let arguments: Vec<&str> =
            ["--profile", "bench"].into_iter().chain(arguments.iter().map(String::as_str)).collect();
        let run = crate::run_in(folder.path(), &arguments, b"");
        assert_eq!(run.status, 0, "{arguments:?}: {}", run.shown());
    }
}
