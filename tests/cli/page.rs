//! Pages to print: valid, readable by a screen reader, safe whatever a name says, and the same bytes each time.

use barwright_answer::palette::{FAINT, INK, SOFT, STYLES, TINT};
use scraper::{Html, Selector};
use tempfile::TempDir;

use crate::{Run, run_in};

const LOTS: &str = "\
[lot.'<b>wax</b>']
like = 'beeswax'
price_per_kg = 19
[lot.'a\"b & c/d']
like = 'sunflower oil'
name = '</style><script>alert(1)</script>'
price_per_kg = 5
";

const FORMULA: &str =
    "name = '<img src=x onerror=alert(1)>'\n[parts]\n'<b>wax</b>' = 30\n'a\"b & c/d' = 40\n'mango butter' = 30\n";

fn page(more: &[&str]) -> (Run, String) {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("lots.toml"), LOTS).unwrap();
    std::fs::write(folder.path().join("bar.toml"), FORMULA).unwrap();
    let usual = ["batch", "bar.toml", "--lots", "lots.toml", "--bars", "8", "--bar", "60g", "--page", "sheet.html"];
    let done = run_in(folder.path(), &[&usual[..], more].concat(), b"");
    let written = std::fs::read_to_string(folder.path().join("sheet.html")).unwrap_or_default();
    (done, written)
}

pub fn texts(document: &Html, selector: &str) -> Vec<String> {
    let selector = Selector::parse(selector).unwrap();
    document.select(&selector).map(|one| one.text().collect::<String>()).collect()
}

/// Asserts what every page must be.
pub fn assert_sound(written: &str) -> Html {
    let document = Html::parse_document(written);
    assert!(document.errors.is_empty(), "{:?}", document.errors);
    let count = |selector: &str| texts(&document, selector).len();
    assert_eq!([count("html[lang]"), count("head > title"), count("h1"), count("main"), count("footer")], [1; 5]);
    assert!(!texts(&document, "head > title")[0].trim().is_empty());
    let levels: Vec<u8> = document
        .select(&Selector::parse("h1, h2, h3, h4, h5, h6").unwrap())
        .map(|heading| heading.value().name().as_bytes()[1] - b'0')
        .collect();
    assert!(levels[0] == 1 && levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    for table in document.select(&Selector::parse("table").unwrap()) {
        let rows = |selector: &str| table.select(&Selector::parse(selector).unwrap()).count();
        assert_eq!(rows("caption"), 1, "{}", table.html());
        assert!(rows("thead th[scope=col]") > 0 && rows("thead td, th:not([scope])") == 0, "{}", table.html());
        assert_eq!(rows("tbody tr"), rows("tbody tr th[scope=row]"), "{}", table.html());
    }
    // Nothing runs, nothing is fetched.
    for selector in ["script", "img", "link", "iframe", "object", "[src]", "[href]", "[onerror]", "[style]"] {
        assert_eq!(count(selector), 0, "{selector}");
    }
    assert!(!written.contains("url(") && !written.contains("@import") && !written.contains("http:"), "{written}");
    document
}

#[test]
fn a_sheet_in_full_is_sound_whatever_names_say() {
    let more = [
        "--split",
        "2",
        "--pigment",
        "<i>green</i>=1/4 tsp@0.35#2",
        "--pigment",
        "\"white\"=2g",
        "--number",
        "</title>7",
        "--labour",
        "20",
        "--draws",
        "16",
    ];
    let (done, written) = page(&more);
    assert_eq!(done.status, 0, "{}", done.shown());
    let document = assert_sound(&written);
    assert!(texts(&document, "svg").is_empty());
    assert_eq!(texts(&document, "h1"), ["<img src=x onerror=alert(1)>"]);
    assert!(texts(&document, "head > title")[0].contains("batch </title>7"));
    assert_eq!(
        texts(&document, "h2"),
        [
            "Weigh, in the order of melting",
            "Jugs and colour",
            "Melt and pour",
            "At the bench",
            "Lots used",
            "Cost",
            "Label, a draft",
            "Keeping",
            "Cautions"
        ]
    );
    let rows = texts(&document, "tbody th[scope=row]");
    for name in ["<b>wax</b>", "</style><script>alert(1)</script>", "Mango butter", "<i>green</i>"] {
        assert!(rows.iter().any(|row| row == name), "{name}: {rows:?}");
    }
    // A box for every line, jug and colour, step and lot.
    assert_eq!(texts(&document, "[aria-label='box to tick']").len(), 3 + 3 + 6 + 5);
    assert_eq!(page(&more).1, written);
}

#[test]
fn a_plain_sheet_is_sound() {
    let (done, written) = page(&["--no-plans", "--units", "us"]);
    assert_eq!(done.status, 0, "{}", done.shown());
    let document = assert_sound(&written);
    assert!(!texts(&document, "h2").iter().any(|heading| heading.contains("pour") || heading.contains("olour")));
    assert!(texts(&document, "thead th").iter().any(|head| head == "weigh, oz"));
}

#[test]
fn style_sheets_have_the_colours_of_the_palette() {
    for sheet in
        [include_str!("../../crates/answer/src/style.css"), include_str!("../../crates/cli/bench_page/assets/page.css")]
    {
        let (variables, rules) = sheet.split_once("* {").unwrap();
        let variables: Vec<&str> =
            variables.split(['{', ';']).filter(|one| one.contains("--")).map(str::trim).collect();
        assert!(variables.len() >= 4, "{variables:?}");
        for variable in variables {
            let known = STYLES.iter().any(|(name, colour)| variable == format!("--{name}: {colour}"));
            assert!(known, "{variable} is not in the palette");
        }
        let hex = |word: &str| word.len() >= 6 && word.chars().take(6).all(|letter| letter.is_ascii_hexdigit());
        assert!(!rules.split('#').skip(1).any(hex), "a colour stands outside the variables");
    }
}

#[test]
fn ink_stands_out_from_paper() {
    // Relative luminance and contrast of WCAG 2.2.
    let light = |colour: &str| {
        let [r, g, b] = [1, 3, 5].map(|at| {
            let v = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap()) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    for paper in ["#ffffff", TINT] {
        let contrast = |dark: &str| (light(paper) + 0.05) / (light(dark) + 0.05);
        assert!(contrast(INK) >= 7.0 && contrast(SOFT) >= 4.5);
        assert!(contrast(FAINT) >= 2.5);
    }
}
