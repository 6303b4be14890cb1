//! Every figure of every answer is one: finite, low ≤ value ≤ high, shares and percentages where they can be; no `null` but where docs/json.md says what
//! it means; in text no infinity, no number that is none, no minus before zero.

use std::path::Path;
use std::sync::LazyLock;

use barwright_reference::Library;
use tempfile::TempDir;

use crate::kit::figures::faults;
use crate::kit::random;
use crate::{Run, run_in};

/// What `null` means, key by key.
static DOCUMENT: LazyLock<String> =
    LazyLock::new(|| std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/docs/json.md")).unwrap());

/// Keys whose `null` is documented: the first column of the table.
static NULLS: LazyLock<Vec<&str>> = LazyLock::new(|| {
    let keys = DOCUMENT.lines().filter_map(|line| line.strip_prefix("| `")?.split_once('`'));
    keys.map(|(key, _)| key).collect()
});

/// Bars that lie at some end: of one species, of one part, of nearly nothing, of nothing solid, of nothing liquid.
const ENDS: [&str; 9] = [
    "sunflower oil 1",
    "carnauba wax 1",
    "carnauba wax 30, sunflower oil 70",
    "beeswax 1, sunflower oil 1e-9",
    "sunflower oil 1, carnauba wax 1e-9",
    "isopropyl myristate 1",
    "stearic acid 100",
    "cocoa butter 1",
    "cetyl alcohol 1, castor oil 1e9",
];

/// A bar as makers pour it.
const BAR: &str = "beeswax 26, mango butter 22, shea butter 10, sunflower oil 42";

/// Temperatures of the tables: of a store, a room, a van, molten beeswax, the end of the model.
const AT: &str = "--at=-20,0,20,35,61,63,65,70,120";

/// Random blends of the reference table, and one of forty parts.
fn blends(count: u64) -> Vec<String> {
    let library = Library::builtin().unwrap();
    let mut made: Vec<String> = (0..count)
        .map(|seed| {
            let formula = random::formula(&mut random::generator(seed), &library, 12);
            let part = |part: &barwright_reference::Part| {
                format!("{} {:e}", library.get(part.ingredient).unwrap().key, part.percent)
            };
            formula.parts.iter().map(part).collect::<Vec<_>>().join(", ")
        })
        .collect();
    let forty = library.ingredients.iter().take(40).zip(1..).map(|(one, mass)| format!("{} {mass}", one.key));
    made.push(forty.collect::<Vec<_>>().join(", "));
    made
}

/// A folder with what some commands need.
fn bench() -> TempDir {
    let folder = TempDir::new().unwrap();
    let path = folder.path();
    let file = |name: &str, text: &str| std::fs::write(path.join(name), text).unwrap();
    std::fs::create_dir(path.join("bench")).unwrap();
    file(
        "bench/lots.toml",
        "[lot.my-wax]\nlike = 'beeswax'\nprice_per_kg = 12\n[lot.scent]\nlike = 'isopropyl myristate'\nflash_c = 95\nlimit_percent = 2\n",
    );
    file(
        "mould.toml",
        "shape = 'box'\nlength = 60\nwidth = 40\nheight = 20\ncavities = 6\nrelief = 0.7\nmost = '80C'\n",
    );
    file("short.csv", "hours,temperature_c\n0,25\n0.1018,40\n");
    file("frost.csv", "hours,temperature_c\n0,-20\n2,-20\n2,60\n30,0\n");
    file("space.toml", "[ingredients]\nbeeswax = '10..40'\n'cocoa butter' = '..60'\n'sunflower oil' = '20..'\n");
    file("liquids.toml", "[ingredients]\n'castor oil' = '0..100'\n'sunflower oil' = '0..'\n");
    folder
}

/// Runs a command in its folder; what it says in text and in JSON is looked at. Whether it answered.
fn sound(folder: &Path, arguments: &[&str]) -> bool {
    let said = run_in(folder, arguments, b"");
    assert!(matches!(said.status, 0..=2), "{arguments:?}: {}", said.shown());
    assert_eq!(in_text(&said), Vec::<String>::new(), "{arguments:?}: {}", said.shown());
    let json = run_in(folder, &[arguments, &["--json"]].concat(), b"");
    assert_eq!(json.status, said.status, "{arguments:?}: {}", json.shown());
    if said.status == 0 {
        assert_eq!(faults(&json.json(), &NULLS), Vec::<String>::new(), "{arguments:?}");
    }
    said.status == 0
}

/// What is wrong with the figures of a text.
fn in_text(said: &Run) -> Vec<String> {
    let words = said.stdout.split(|letter: char| letter.is_whitespace() || "()[],;:=|".contains(letter));
    let wrong = |word: &&str| {
        let number: Result<f64, _> = word.trim_end_matches(['.', '%', '°']).parse();
        number.is_ok_and(|number| !number.is_finite() || (number == 0.0 && word.starts_with('-')))
    };
    words.filter(wrong).map(str::to_owned).collect()
}

#[test]
fn infinities_and_minus_zeros_of_a_text_are_found() {
    let of = |text: &str| in_text(&Run { status: 0, stdout: text.to_owned(), stderr: String::new() }).len();
    for text in ["at inf %", "7 (1 to NaN)", "-0.0 %", "a -0, b", "x: -inf."] {
        assert_eq!(of(text), 1, "{text}");
    }
    assert_eq!(of("-0.035 0 -18 to -1, infinite nano"), 0);
}

#[test]
fn a_bar_beyond_beeswax_says_so() {
    let folder = bench();
    let run = |arguments: &[&str]| run_in(folder.path(), arguments, b"");
    let carnauba = ["assess", "carnauba wax 30, sunflower oil 70", "--draws", "64", "--at", "25,46,70"];
    let row = |celsius: &str, shown: &str| {
        let said = run(&carnauba);
        let line = said.stdout.lines().find(|line| line.trim_start().starts_with(&format!("{celsius}   ")));
        assert!(line.is_some_and(|line| line.contains(shown)), "{celsius}, {shown}: {}", said.shown());
    };
    row("25", "83 (61 to harder)");
    row("46", "harder (from ");
    row("70", "beeswax is liquid");
    let json = run(&[&carnauba[..], &["--json"]].concat()).json();
    let status = |row: usize| &json["firmness"][row]["beeswax_equivalent"];
    assert_eq!(*status(0), serde_json::json!({ "status": "percent", "high_end": "harder_than_beeswax" }));
    assert_eq!(json["firmness"][0]["beeswax_equivalent_percent"]["high"], 100.0);
    assert_eq!(status(1)["status"], "harder_than_beeswax");
    assert_eq!(*status(2), serde_json::json!({ "status": "beeswax_is_liquid" }));
    assert!(json["firmness"][2].get("beeswax_equivalent_percent").is_none());
    for (at, shown) in
        [("70", "At 70 °C beeswax itself is liquid"), ("60", "At 60 °C, once rested, it is harder than beeswax")]
    {
        let said = run(&["assess", carnauba[1], "--at", at]);
        assert!(said.stdout.contains(shown), "{}", said.shown());
    }
    // Bars without a percentage are told apart by their yield stress.
    let compared =
        run(&["compare", carnauba[1], "carnauba wax 10, sunflower oil 90", "--at", "70", "--draws", "64", "--json"])
            .json();
    let firmer =
        compared["differences"].as_array().unwrap().iter().find(|one| one["property"] == "yield_stress_kpa_at_70c");
    assert!(firmer.is_some_and(|one| one["probability_first_higher"].as_f64() > Some(0.8)), "{firmer:?}");
    // No bar is asked to be as firm as what is liquid, or firmer than all beeswax in that unit.
    let adjust = |firmness: &str| run(&["adjust", BAR, "--draws", "16", "--firmness", firmness]);
    let (liquid, beyond) = (adjust("1%@60C"), adjust("150%@20C"));
    assert!(
        liquid.status == 1 && liquid.stderr.contains("oil with 1 % of beeswax in it is liquid at 60 °C"),
        "{}",
        liquid.shown()
    );
    assert!(beyond.status == 2 && beyond.stderr.contains("ask in kPa"), "{}", beyond.shown());
}

#[test]
fn assess_and_compare() {
    let folder = bench();
    let formulas = ENDS.into_iter().map(str::to_owned).chain(blends(9));
    for (formula, state) in formulas.zip(["fresh", "rested", "tempered"].into_iter().cycle()) {
        let more = ["--draws", "16", "--state", state, AT, "--mould", "mould.toml"];
        assert!(sound(folder.path(), &[&["assess", &formula][..], &more].concat()), "{formula}");
        if state == "rested" {
            // Few columns, so that no figure is wrapped.
            assert!(sound(folder.path(), &["assess", &formula, "--draws", "16", "--at=-20,65", "--why"]), "{formula}");
            let more = ["--draws", "16", AT, "--hold=-20", "--relief", "0.05mm", "--release=-20"];
            assert!(sound(folder.path(), &[&["compare", BAR, &formula, ENDS[1]][..], &more].concat()), "{formula}");
        }
    }
}

#[test]
fn adjust_swap_and_explore() {
    let folder = bench();
    let asked = [&["--hold", "45"][..], &["--firmness", "20..60%@58C"], &["--firmness", "100%@-20C", "--skin", "90"]];
    let formulas = ENDS.into_iter().map(str::to_owned).chain(blends(1));
    let mut answered = 0;
    for (formula, asked) in formulas.zip(asked.into_iter().cycle()) {
        let adjust = ["adjust", &formula, "--draws", "16", "--add", "candelilla wax"];
        answered += usize::from(sound(folder.path(), &[&adjust[..], asked].concat()));
        let first = formula.split(',').next().and_then(|part| part.rsplit_once(' ')).map_or("", |(name, _)| name);
        let swap = ["swap", &formula, "--replace", first, "--most", "2", "--draws", "16"];
        answered += usize::from(sound(folder.path(), &swap));
    }
    assert!(answered > 15, "{answered}");
    for (space, more) in [("space.toml", &["--softer"][..]), ("liquids.toml", &["--firmness-at", "120"])] {
        let explore = ["explore", space, "--candidates", "60", "--draws", "16", "--show", "3"];
        assert!(sound(folder.path(), &[&explore[..], more].concat()), "{space}");
    }
}

#[test]
fn batch_pour_and_cool() {
    let folder = bench();
    let formulas = ENDS.into_iter().map(str::to_owned).chain(blends(0)).chain([BAR.to_owned()]);
    let mut answered = 0;
    for (number, formula) in formulas.enumerate() {
        let batch =
            ["batch", &formula, "--bars", "7", "--bar", "33.3g", "--pigment", "CI 77491=1tsp@0.8g/ml", "--no-plans"];
        answered += usize::from(sound(folder.path(), &batch));
        if number % 2 == 0 {
            let pour = ["pour", &formula, "--draws", "16", "--flash", "60C", "--microwave", "800", "--with", BAR];
            answered += usize::from(sound(folder.path(), &pour));
        } else {
            let places = ["--place", "warm=38.7C", "--place", "freezer=-20C", "--draws", "16"];
            let cool = ["cool", &formula, "--size", "60x40x20mm"];
            answered += usize::from(sound(folder.path(), &[&cool[..], &places].concat()));
        }
    }
    assert!(answered > 15, "{answered}");
    let plans =
        ["--profile", "bench", "batch", "my-wax 3, sunflower oil 7", "--mould", "mould.toml", "--scent", "scent=3g"];
    assert!(sound(folder.path(), &[&plans[..], &["--draws", "16"]].concat()));
}

#[test]
fn parcel() {
    let folder = bench();
    assert!(sound(folder.path(), &["parcel", "--routes"]));
    for formula in [BAR, ENDS[0], ENDS[1]] {
        for route in ["short.csv", "frost.csv"] {
            let parcel = ["parcel", formula, "--route", route, "--draws", "16", "--cell", "20mm"];
            assert!(sound(
                folder.path(),
                &[&parcel[..], &["--insulate", "20mm", "--ice", "100g", "--start=-5"]].concat()
            ));
        }
    }
}

#[test]
fn trials_records_and_tables() {
    let folder = bench();
    let at = |arguments: &[&str]| sound(folder.path(), &[&["--profile", "bench"], arguments].concat());
    for (formula, test) in [
        ("carnauba wax 1", &["--rod", "3mm", "--grams", "9000", "--at", "20C"][..]),
        ("sunflower oil 1", &["--rod", "3mm", "--grams", "5", "--at", "20C"]),
        (BAR, &["--tube", "62C"]),
        (BAR, &["--needle", "3.2mm", "--at", "25C"]),
        (BAR, &["--shelf", "60C", "--hours", "1", "--kept"]),
        ("sunflower oil 1", &["--survived", "0.1mm", "--release", "18C"]),
        (BAR, &["--smooth"]),
    ] {
        let add = ["trial", "add", formula, "--date", "2026-11-20", "--days", "7"];
        assert!(at(&[&add[..], test].concat()), "{formula} {test:?}");
    }
    assert!(at(&["trial", "list"]) && at(&["trial", "fit"]));
    assert!(at(&["assess", "carnauba wax 1", AT]));
    let batch = ["batch", "my-wax 3, sunflower oil 7", "--bars", "6", "--bar", "50g", "--no-plans", "--record"];
    let batch = run_in(folder.path(), &[&["--profile", "bench"], &batch[..], &["--number", "F-1"]].concat(), b"");
    assert_eq!(batch.status, 0, "{}", batch.shown());
    for kind in ["formulas", "lots", "batches", "bars", "trials", "outcomes"] {
        assert!(at(&["records", "list", kind]), "{kind}");
    }
    assert!(at(&["records", "list"]) && at(&["records", "trace", "F-1"]) && at(&["records", "trace", "my-wax"]));
    assert!(at(&["ingredients"]) && at(&["ingredients", "cera alba"]) && at(&["ingredients", "wax", "--sources"]));
    assert!(at(&["validate", "--draws", "16", "--rows"]));
}
