//! The guide shows what the command prints. After a wanted change: `TRYCMD=overwrite cargo test --test cli guide`.

use std::path::Path;

/// The chapters.
const CHAPTERS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/guide/src");

/// Chapters to look things up in: they run in the folder of the repository.
const TO_LOOK_UP: [&str; 3] = ["answers", "using", "trust"];

#[test]
fn the_guide_shows_real_output() {
    trycmd::TestCases::new().case(format!("{CHAPTERS}/*.md")).env("COLUMNS", "100").env("NO_COLOR", "1").run();
}

#[test]
fn every_chapter_is_in_the_summary_and_has_its_folder() {
    let summary = std::fs::read_to_string(Path::new(CHAPTERS).join("SUMMARY.md")).unwrap();
    let mut chapters = 0;
    for entry in std::fs::read_dir(CHAPTERS).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let Some(chapter) = name.strip_suffix(".md").filter(|chapter| *chapter != "SUMMARY") else { continue };
        chapters += 1;
        assert!(summary.contains(&format!("({name})")), "{name} is not in the summary");
        let has_folder = Path::new(CHAPTERS).join(format!("{chapter}.in")).is_dir();
        assert_ne!(has_folder, TO_LOOK_UP.contains(&chapter), "{name}");
    }
    assert!(chapters >= 6);
}
