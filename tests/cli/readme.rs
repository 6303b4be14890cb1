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
    for season in ["winter", "summer"] {
        let bar = crate::demo_folder().join(format!("fern-hand-bar-{season}.toml"));
        std::fs::copy(bar, folder.path().join(format!("{season}.toml"))).unwrap();
    }
    // The file of a bought bar is the one that the text shows.
    let tests = text.split("```toml").nth(1).and_then(|rest| rest.split("```").next()).unwrap();
    std::fs::write(folder.path().join("market-bar.toml"), tests).unwrap();
    let all = commands(text);
    assert!(all.len() >= 11, "{all:?}");
    for arguments in &all {
        let arguments: Vec<&str> =
            ["--profile", "bench"].into_iter().chain(arguments.iter().map(String::as_str)).collect();
        let run = crate::run_in(folder.path(), &arguments, b"");
        assert_eq!(run.status, 0, "{arguments:?}: {}", run.shown());
    }
}
