//! What the README shows is what the command prints. After a wanted change: `TRYCMD=overwrite cargo test --test cli readme`.

#[test]
fn the_readme_shows_real_output() {
    trycmd::TestCases::new().case(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).env("COLUMNS", "100").run();
}
