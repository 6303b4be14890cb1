//! The report: sound, whole, safe whatever a name says, small, and the same bytes each time.

use std::collections::BTreeSet;
use std::path::Path;

use scraper::{Html, Selector};
use tempfile::TempDir;

use crate::page::{assert_sound, texts};
use crate::{Run, demo_folder, run, run_in};

/// Most bytes of a page of four formulas.
const MAX_BYTES: usize = 500_000;

const MOULD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/moulds/fern-tray.toml");

fn demo(name: &str) -> String {
    demo_folder().join(name).display().to_string()
}

/// Makes a report in a folder.
fn report_in(folder: &Path, arguments: &[&str]) -> (Run, String) {
    let done = run_in(folder, &[&["report"], arguments, &["--out", "r.html"]].concat(), b"");
    (done, std::fs::read_to_string(folder.join("r.html")).unwrap_or_default())
}

fn report(arguments: &[&str]) -> String {
    let (done, written) = report_in(TempDir::new().unwrap().path(), arguments);
    assert_eq!((done.status, done.stdout.as_str()), (0, ""), "{}", done.shown());
    written
}

/// Asserts that pictures are named and described for those who do not see them.
fn assert_told(document: &Html) {
    let mut seen = BTreeSet::new();
    for one in document.select(&Selector::parse("[id]").unwrap()) {
        assert!(seen.insert(one.value().attr("id").unwrap().to_owned()), "an id comes twice");
    }
    for picture in document.select(&Selector::parse("svg").unwrap()) {
        assert_eq!(picture.value().attr("role"), Some("img"));
        let ids = picture.value().attr("aria-labelledby").unwrap().split(' ').collect::<Vec<_>>();
        assert!(ids.len() == 2 && ids.iter().all(|id| seen.contains(*id)), "{ids:?}");
        for selector in ["title", "desc"] {
            let words = picture.select(&Selector::parse(selector).unwrap()).next().unwrap();
            assert!(!words.text().collect::<String>().trim().is_empty());
        }
    }
}

#[test]
fn one_formula_has_answer_curves_tables_sources_and_cautions() {
    let written = report(&[&demo("fern-hand-bar-winter.toml")]);
    let document = assert_sound(&written);
    assert_told(&document);
    assert!(texts(&document, "dd").iter().any(|text| text.contains("follow your local rules")));
    assert_eq!(texts(&document, "h1"), ["Fern hand bar, winter"]);
    assert_eq!(
        texts(&document, "h2"),
        [
            "The answer",
            "Solids and firmness against temperature",
            "Parts",
            "Melting",
            "Solids and firmness",
            "Cautions",
            "What this rests on",
            "Where the figures of the ingredients come from"
        ]
    );
    assert_eq!(texts(&document, "svg > title"), ["How much of it is solid", "How firm it is"]);
    // It says what the command says.
    let said =
        run(&["assess", &demo("fern-hand-bar-winter.toml")]).stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    for sentence in texts(&document, "section:first-of-type li") {
        assert!(said.contains(&sentence), "{sentence}");
    }
    assert!(written.contains("rule of thumb") && written.contains("256 simulated draws (seed"), "{written}");
}

#[test]
fn every_figure_of_every_ingredient_has_its_way_and_its_reference() {
    let written = report(&[&demo("fern-hand-bar-winter.toml"), "--draws", "16"]);
    let document = Html::parse_document(&written);
    let captions = texts(&document, "caption");
    for ingredient in ["Beeswax (Cera Flava)", "Mango butter (Mangifera Indica (Mango) Seed Butter)"] {
        assert!(captions.iter().any(|caption| caption == ingredient), "{captions:?}");
    }
    let references: BTreeSet<String> = texts(&document, "dt").into_iter().collect();
    let mut figures = 0;
    for table in document.select(&Selector::parse("table").unwrap()) {
        let cells = |selector: &str| -> Vec<String> {
            table.select(&Selector::parse(selector).unwrap()).map(|one| one.text().collect()).collect()
        };
        if cells("thead th") != ["figure", "value", "how", "source"] {
            continue;
        }
        for (how, source) in cells("tbody td:nth-child(3)").iter().zip(cells("tbody td:nth-child(4)")) {
            assert!(["read", "recalled", "estimated"].contains(&how.as_str()), "{how}");
            assert!(source == "–" || references.contains(&source), "{source} has no reference");
            figures += 1;
        }
    }
    assert!(figures > 30, "{figures}");
}

#[test]
fn plans_come_where_asked_and_the_bytes_are_the_same() {
    let (winter, summer) = (demo("fern-hand-bar-winter.toml"), demo("fern-hand-bar-summer.toml"));
    let asked =
        [&*winter, &*summer, "--pour", "--mould", MOULD, "--route", "parked-car", "--draws", "16", "--units", "us"];
    let written = report(&asked);
    let document = assert_sound(&written);
    assert_told(&document);
    let headings = texts(&document, "h2");
    for title in ["Fern hand bar, winter", "Fern hand bar, summer"] {
        for plan in ["pouring", "setting", "in the post"] {
            assert!(headings.contains(&format!("{title}: {plan}")), "{headings:?}");
        }
    }
    assert_eq!(texts(&document, "svg").len(), 2 + 2 * 2);
    for words in ["What helps, the most reliable first.", "relief of 0.028 in", "temperature, °F", "16 simulated draws"]
    {
        assert!(written.contains(words), "{words}");
    }
    assert_eq!(written, report(&asked));
}

#[test]
fn four_formulas_are_a_small_page() {
    let names =
        ["fern-hand-bar-winter.toml", "fern-hand-bar-summer.toml", "cocoa-rich-bar.toml", "rice-bran-wax-bar.toml"];
    let files = names.map(demo);
    let written =
        report(&[&files[0], &files[1], &files[2], &files[3], "--pour", "--size", "60x40x20mm", "--draws", "16"]);
    let document = assert_sound(&written);
    assert_told(&document);
    assert!(written.len() < MAX_BYTES, "{}", written.len());
    assert_eq!(texts(&document, "head > title"), ["4 formulas: report"]);
    assert!(texts(&document, "h2").contains(&"Side by side".to_owned()));
    // Three beside each other, then the fourth.
    assert_eq!(texts(&document, "caption").iter().filter(|caption| caption.starts_with("Mass %")).count(), 2);
}

#[test]
fn nothing_a_name_says_becomes_markup() {
    let folder = TempDir::new().unwrap();
    let lots = "[lot.'<b>wax</b>']\nlike = 'beeswax'\nname = '</svg><script>alert(1)</script>'\nprice_per_kg = 19\n";
    std::fs::write(folder.path().join("lots.toml"), lots).unwrap();
    let bar = "name = '</title><img src=x onerror=alert(1)>'\n[parts]\n'<b>wax</b>' = 30\n'mango butter' = 70\n";
    std::fs::write(folder.path().join("bar.toml"), bar).unwrap();
    let usual = ["bar.toml", "beeswax 30, <i>olive oil 70", "--lots", "lots.toml", "--draws", "16"];
    let (refused, _) = report_in(folder.path(), &usual);
    assert_eq!(refused.status, 1, "{}", refused.shown());
    let (done, written) =
        report_in(folder.path(), &["bar.toml", "beeswax 30, olive oil 70", "--lots", "lots.toml", "--draws", "16"]);
    assert_eq!(done.status, 0, "{}", done.shown());
    assert_told(&assert_sound(&written));
    assert!(written.contains("&lt;/title&gt;&lt;img"), "{written}");
}

#[test]
fn what_cannot_be_is_refused_and_nothing_is_written() {
    let folder = TempDir::new().unwrap();
    for (arguments, status, words) in [
        (vec!["beeswax 100", "--route", "hot dya"], 1, "no route is called `hot dya`"),
        (vec!["none.toml"], 1, "there is no file `none.toml`"),
        (vec!["beeswax 30, oil 70"], 1, "oil"),
        (vec![], 2, "FORMULA"),
    ] {
        let (done, written) = report_in(folder.path(), &arguments);
        assert_eq!((done.status, written.as_str()), (status, ""), "{arguments:?}: {}", done.shown());
        assert!(done.stderr.contains(words), "{arguments:?}: {}", done.shown());
    }
    let done = run(&["report", "beeswax 100"]);
    assert!(done.status == 2 && done.stderr.contains("--out"), "{}", done.shown());
    let done = run(&["report", "beeswax 100", "--draws", "16", "--out", "no/such/folder.html"]);
    assert!(done.status == 1 && done.stderr.contains("cannot be written"), "{}", done.shown());
}
