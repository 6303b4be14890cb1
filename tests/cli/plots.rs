//! Pictures: what is on them, by structure; that no words stand on each other; and what is refused.

use insta::assert_snapshot;
use scraper::{ElementRef, Html, Selector};
use tempfile::TempDir;

use crate::{demo_folder, run, run_in};

const WINTER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/formulas/fern-hand-bar-winter.toml");
const SUMMER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/formulas/fern-hand-bar-summer.toml");
const SHELF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/spaces/fern-hand-bar-shelf.toml");

/// Width of a letter as a share of its size: a wide sans serif has about this on the average.
const LETTER: f64 = 0.55;

/// Runs a command that draws, and returns what it drew.
fn drawn(arguments: &[&str]) -> String {
    let folder = TempDir::new().unwrap();
    let done = run_in(folder.path(), &[arguments, &["--plot", "p.svg"]].concat(), b"");
    assert_eq!((done.status, done.stderr.contains("note: drawn into p.svg")), (0, true), "{}", done.shown());
    std::fs::read_to_string(folder.path().join("p.svg")).unwrap()
}

fn all<'d>(document: &'d Html, selector: &str) -> Vec<ElementRef<'d>> {
    document.select(&Selector::parse(selector).unwrap()).collect()
}

fn number(element: ElementRef<'_>, name: &str) -> f64 {
    element.value().attr(name).unwrap_or("0").parse().unwrap()
}

/// What a picture is made of: its words in order, and its lines, bands and points by look.
fn structure(svg: &str) -> String {
    let document = Html::parse_fragment(svg);
    let of = |selector: &str| all(&document, selector);
    let text = |element: ElementRef<'_>| element.text().collect::<String>();
    let mut said =
        vec![format!("title: {}", text(of("svg > title")[0])), format!("desc: {}", text(of("svg > desc")[0]))];
    said.push(format!("words: {}", of("text").into_iter().map(text).collect::<Vec<_>>().join(" | ")));
    let mut looks: Vec<(String, usize)> = Vec::new();
    for one in of("path, polyline, line, circle, rect") {
        let name = one.value().name();
        let attribute = |name: &str| one.value().attr(name).unwrap_or("-").to_owned();
        let points = match name {
            "path" => format!(", {} points", attribute("d").matches(['M', 'L']).count()),
            _ => String::new(),
        };
        let look = format!(
            "{name} stroke {} {} fill {}{points}",
            attribute("stroke"),
            attribute("stroke-dasharray"),
            attribute("fill")
        );
        match looks.iter_mut().find(|(known, _)| *known == look) {
            Some((_, count)) => *count += 1,
            None => looks.push((look, 1)),
        }
    }
    said.extend(looks.into_iter().map(|(look, count)| format!("{count} × {look}")));
    said.join("\n")
}

/// Asserts that no two words touch, and that all are on the paper.
fn assert_apart(svg: &str) {
    let document = Html::parse_fragment(svg);
    let root = all(&document, "svg")[0];
    let (width, height) = (number(root, "width"), number(root, "height"));
    let boxes: Vec<(String, [f64; 4])> = all(&document, "text")
        .into_iter()
        .map(|one| {
            let (x, y, size) = (number(one, "x"), number(one, "y"), number(one, "font-size"));
            let words: String = one.text().collect();
            assert_eq!(one.value().attr("text-anchor"), Some("start"));
            let right = x + LETTER * size * words.chars().count() as f64;
            (words, [x, y - 0.75 * size, right, y + 0.2 * size])
        })
        .collect();
    for (index, (words, a)) in boxes.iter().enumerate() {
        assert!(a[0] >= 0.0 && a[1] >= 0.0 && a[2] <= width && a[3] <= height, "{words} is cut off");
        for (others, b) in &boxes[index + 1..] {
            let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(apart, "`{words}` and `{others}` touch");
        }
    }
}

#[test]
fn one_formula() {
    let svg = drawn(&["assess", WINTER]);
    assert_apart(&svg);
    assert_snapshot!(structure(&svg), @"
    title: Fern hand bar, winter: solids and firmness
    desc: solids, % by mass against temperature, °C: Fern hand bar, winter. Marked: fridge 5 °C, room 20 °C, skin 33 °C, hot parcel 45 °C. firmness: yield stress, kPa against temperature, °C: Fern hand bar, winter. Marked: fridge 5 °C, room 20 °C, skin 33 °C, hot parcel 45 °C. Line: central estimate. Shaded: 90 % band from 64 simulated draws, fewer than behind the figures of the tables.
    words: Fern hand bar, winter: solids and firmness | solids, % by mass | fridge | 5 °C | room | 20 °C | skin | 33 °C | hot parcel | 45 °C | 0 | 20 | 40 | 60 | 80 | 100 | 0 | 10 | 20 | 30 | 40 | 50 | 60 | temperature, °C | firmness: yield stress, kPa | fridge | 5 °C | room | 20 °C | skin | 33 °C | hot parcel | 45 °C | 0.1 | 1 | 10 | 100 | 1000 | 0 | 10 | 20 | 30 | 40 | 50 | 60 | temperature, °C | Line: central estimate. Shaded: 90 % band from 64 simulated draws, fewer than behind the | figures of the tables.
    1 × rect stroke - - fill white
    2 × path stroke none - fill #1f4e79, 132 points
    8 × line stroke #8a8f84 2,3 fill -
    2 × rect stroke #1c1f1a - fill none
    25 × line stroke #1c1f1a - fill -
    1 × path stroke #1f4e79 - fill none, 66 points
    1 × path stroke #1f4e79 - fill none, 54 points
    ");
}

#[test]
fn two_formulas_have_bands_and_their_names_at_the_ends_of_their_lines() {
    let svg = drawn(&["compare", WINTER, SUMMER]);
    assert_apart(&svg);
    assert_snapshot!(structure(&svg), @"
    title: Fern hand bar, winter and Fern hand bar, summer: solids and firmness
    desc: solids, % by mass against temperature, °C: Fern hand bar, winter; Fern hand bar, summer. Marked: fridge 5 °C, room 20 °C, skin 33 °C, hot parcel 45 °C. firmness: yield stress, kPa against temperature, °C: Fern hand bar, winter; Fern hand bar, summer. Marked: fridge 5 °C, room 20 °C, skin 33 °C, hot parcel 45 °C. Line: central estimate. Shaded: 90 % band from 64 simulated draws, fewer than behind the figures of the tables.
    words: Fern hand bar, winter and Fern hand bar, summer: solids and firmness | solids, % by mass | fridge | 5 °C | room | 20 °C | skin | 33 °C | hot parcel | 45 °C | 0 | 20 | 40 | 60 | 80 | 100 | 0 | 10 | 20 | 30 | 40 | 50 | 60 | 70 | temperature, °C | Fern hand bar, summer | Fern hand bar, winter | firmness: yield stress, kPa | fridge | 5 °C | room | 20 °C | skin | 33 °C | hot parcel | 45 °C | 0.1 | 1 | 10 | 100 | 1000 | 0 | 10 | 20 | 30 | 40 | 50 | 60 | 70 | temperature, °C | Fern hand bar, summer | Fern hand bar, winter | Line: central estimate. Shaded: 90 % band from 64 simulated draws, fewer than behind the | figures of the tables.
    1 × rect stroke - - fill white
    2 × path stroke none - fill #1f4e79, 142 points
    5 × path stroke #1f4e79 - fill none, 71 points
    2 × path stroke none - fill #97580b, 142 points
    5 × path stroke #97580b 8,4 fill none, 71 points
    8 × line stroke #8a8f84 2,3 fill -
    2 × rect stroke #1c1f1a - fill none
    27 × line stroke #1c1f1a - fill -
    2 × path stroke #97580b 8,4 fill none, 2 points
    2 × path stroke #1f4e79 - fill none, 2 points
    1 × path stroke #1f4e79 - fill none, 54 points
    1 × path stroke #97580b 8,4 fill none, 56 points
    ");
}

/// Draws that many formulas of the demonstration.
fn compared(count: usize) -> String {
    let folder = demo_folder().display().to_string();
    let named =
        ["fern-hand-bar-winter", "fern-hand-bar-summer", "cocoa-rich-bar", "coconut-soft-bar", "rice-bran-wax-bar"];
    let files = named.map(|name| format!("{folder}/{name}.toml"));
    let arguments: Vec<&str> = std::iter::once("compare").chain(files[..count].iter().map(String::as_str)).collect();
    drawn(&[&arguments[..], &["--units", "us", "--draws", "16"]].concat())
}

#[test]
fn four_formulas_keep_their_bands_outlined_in_the_dashes_of_their_lines() {
    let svg = compared(4);
    assert_apart(&svg);
    let document = Html::parse_fragment(&svg);
    // Those that are no samples.
    let looks = |width: &str| {
        let lines = all(&document, &format!("path[stroke-width='{width}']")).into_iter();
        let lines = lines.filter(|one| one.value().attr("d").unwrap().matches('L').count() > 1);
        lines.map(|one| ["stroke", "stroke-dasharray"].map(|name| one.value().attr(name))).collect::<Vec<_>>()
    };
    let (lines, outlines) = (looks("1.8"), looks("0.6"));
    let bands = all(&document, "path[fill-opacity]");
    assert_eq!((lines.len(), outlines.len(), bands.len()), (2 * 4, 2 * 8, 2 * 4));
    for (index, line) in lines[..4].iter().enumerate() {
        assert_eq!([&outlines[2 * index], &outlines[2 * index + 1]], [line, line]);
        assert_eq!(bands[index].value().attr("fill"), line[0]);
        // Its name is in its ink, beside a sample.
        let name = ["Fern hand bar, winter", "Fern hand bar, summer", "Cocoa-rich bar", "Coconut soft bar"][index];
        let name = all(&document, "text").into_iter().find(|one| one.text().collect::<String>() == name).unwrap();
        assert_eq!(name.value().attr("fill"), line[0]);
    }
    assert!(!svg.contains("left out"));
}

#[test]
fn many_formulas_differ_by_dashes_and_have_no_bands() {
    let svg = compared(5);
    assert_apart(&svg);
    let shown = structure(&svg);
    for words in [
        "temperature, °F",
        "yield stress, psi",
        "41 °F | room",
        "8,4",
        "2,4",
        "8,3,2,3",
        "bands are left out",
        "Cocoa-rich bar",
    ] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
    assert!(!svg.contains("opacity"), "{shown}");
}

#[test]
fn cooling() {
    let svg = drawn(&["cool", WINTER, "--draws", "16"]);
    assert_apart(&svg);
    assert_snapshot!(structure(&svg), @"
    title: Cooling in the mould
    desc: temperature, °C against time, h: sets; leaves the mould; room, middle; room, surface; fridge, middle; fridge, surface; freezer, middle; freezer, surface. By the central estimates. Below its levels, at the warmest spot, the bar sets and leaves the mould; the latter is a rule of thumb.
    words: Cooling in the mould | temperature, °C | -20 | -10 | 0 | 10 | 20 | 30 | 40 | 50 | 60 | 0.0 | 0.5 | 1.0 | 1.5 | 2.0 | 2.5 | 3.0 | time, h | sets | leaves the mould | room, middle | room, surface | fridge, middle | fridge, surface | freezer, middle | freezer, surface | By the central estimates. Below its levels, at the warmest spot, the bar sets and leaves the | mould; the latter is a rule of thumb.
    1 × rect stroke - - fill white
    1 × rect stroke #1c1f1a - fill none
    16 × line stroke #1c1f1a - fill -
    4 × path stroke #7a4a6d 2,4 fill none, 2 points
    2 × path stroke #1f4e79 - fill none, 91 points
    2 × path stroke #97580b 8,4 fill none, 91 points
    2 × path stroke #3c6b4b 2,4 fill none, 91 points
    2 × path stroke #1f4e79 - fill none, 2 points
    2 × path stroke #97580b 8,4 fill none, 2 points
    2 × path stroke #3c6b4b 2,4 fill none, 2 points
    ");
}

#[test]
fn a_parcel() {
    let svg = drawn(&["parcel", WINTER, "--draws", "16", "--route", "parked-car", "--ice", "100g"]);
    assert_apart(&svg);
    assert_snapshot!(structure(&svg), @"
    title: Along parked-car
    desc: over 99 %: 20 mm of foam, 100 g of ice: temperature, °C against time, h: air outside; air in the box; keeps its shape to; mean of the bar. over 99 %: 20 mm of foam, 300 g of ice: temperature, °C against time, h: air outside; air in the box; keeps its shape to; mean of the bar. over 99 %: 300 g of ice: temperature, °C against time, h: air outside; air in the box; keeps its shape to; mean of the bar. 94 %: as planned: 100 g of ice: temperature, °C against time, h: air outside; air in the box; keeps its shape to; mean of the bar. 13 %: paper only: temperature, °C against time, h: air outside; keeps its shape to; mean of the bar; fails after. The surest way first, each with its chance to keep its shape. Lines: central estimates; shaded, and the bar at a failure: 90 % band. In a draw it fails where its own mean, of several bars that of the warmest, meets its own level, a rule of thumb. The air in the box is without the bars' heat.
    words: Along parked-car | over 99 %: 20 mm of foam, 100 g of ice | temperature, °C | 10 | 20 | 30 | 40 | 50 | 0 | 1 | 2 | 3 | 4 | time, h | air outside | keeps its shape to | mean of the bar | air in the box | over 99 %: 20 mm of foam, 300 g of ice | temperature, °C | 10 | 20 | 30 | 40 | 50 | 0 | 1 | 2 | 3 | 4 | time, h | air outside | keeps its shape to | mean of the bar | air in the box | over 99 %: 300 g of ice | temperature, °C | 10 | 20 | 30 | 40 | 50 | 0 | 1 | 2 | 3 | 4 | time, h | air outside | keeps its shape to | air in the box | mean of the bar | 94 %: as planned: 100 g of ice | temperature, °C | 10 | 20 | 30 | 40 | 50 | 0 | 1 | 2 | 3 | 4 | time, h | air outside | keeps its shape to | air in the box | mean of the bar | 13 %: paper only | temperature, °C | 10 | 20 | 30 | 40 | 50 | 0 | 1 | 2 | 3 | 4 | time, h | air outside | mean of the bar | keeps its shape to | 0.98 h | fails after | The surest way first, each with its chance to keep its shape. Lines: central estimates; shaded, and the bar at a failure: 90 % band. | In a draw it fails where its own mean, of several bars that of the warmest, meets its own level, a rule of thumb. The air in the box | is without the bars' heat.
    1 × rect stroke - - fill white
    5 × path stroke none - fill #7a4a6d, 4 points
    20 × path stroke #7a4a6d 8,3,2,3 fill none, 2 points
    5 × path stroke none - fill #1f4e79, 144 points
    15 × path stroke #1f4e79 - fill none, 72 points
    5 × rect stroke #1c1f1a - fill none
    50 × line stroke #1c1f1a - fill -
    5 × path stroke #97580b 8,4 fill none, 249 points
    4 × path stroke #3c6b4b 2,4 fill none, 249 points
    5 × path stroke #97580b 8,4 fill none, 2 points
    6 × path stroke #1f4e79 - fill none, 2 points
    4 × path stroke #3c6b4b 2,4 fill none, 2 points
    2 × rect stroke - - fill #1f4e79
    ");
}

#[test]
fn a_parcel_shows_what_decides_and_where_it_fails() {
    let arguments = ["parcel", WINTER, "--draws", "16", "--route", "parked-car", "--json"];
    let folder = TempDir::new().unwrap();
    let done = run_in(folder.path(), &[&arguments[..], &["--plot", "p.svg"]].concat(), b"");
    let (json, svg) = (done.json(), std::fs::read_to_string(folder.path().join("p.svg")).unwrap());
    assert_apart(&svg);
    let document = Html::parse_fragment(&svg);
    let ways = json["ways"].as_array().unwrap();
    let failing = ways.iter().filter(|one| one["fails_h"].is_object()).count();
    assert!(failing > 0 && failing < ways.len(), "{failing} of {}", ways.len());
    // In each chart a band of the mean and one of the level; where one fails a mark, its sample, the time, and a bar of its interval.
    assert_eq!(all(&document, "path[fill-opacity='0.1']").len(), 2 * ways.len());
    assert_eq!(all(&document, "rect[width='6.4']").len(), 2 * failing);
    let bars = all(&document, "path[stroke-width='0.75']");
    assert_eq!(bars.len(), failing);
    let asked = json["asked"]["fails_h"]["value"].as_f64().unwrap();
    assert!(structure(&svg).contains(&format!("{asked:.2} h")), "{}", structure(&svg));
}

#[test]
fn trade_offs() {
    let svg = drawn(&["explore", SHELF, "--candidates", "300", "--draws", "16"]);
    assert_apart(&svg);
    assert_snapshot!(structure(&svg), @"
    title: Trade-offs
    desc: Firmness and warmth: yield stress at 25 °C, kPa; better ↑ against keeps its shape up to, °C; better →: all trade-offs; those shown, by letter. Relief and skin feel: near smearing or dragging (ln; glides below 0); better ↓ against finest relief, mm; better ←: all trade-offs; those shown, by letter. Price and warmth: price of a kilogram; better ↓ against keeps its shape up to, °C; better →: all trade-offs; those shown, by letter. Price and relief: price of a kilogram; better ↓ against finest relief, mm; better ←: all trade-offs; those shown, by letter. Central estimates. Nothing shown is better in all respects than anything else shown; skin feel and relief are rules of thumb.
    words: Trade-offs | Firmness and warmth | yield stress at 25 °C, kPa; better ↑ | 20 | 50 | 100 | 40 | 42 | 44 | 46 | 48 | 50 | keeps its shape up to, °C; better → | A | B | C | D | E | F | all trade-offs | those shown, by letter | Relief and skin feel | near smearing or dragging (ln; glides below 0); better ↓ | -2.00 | -1.75 | -1.50 | -1.25 | -1.00 | -0.75 | -0.50 | -0.25 | 0.2 | 0.4 | 0.6 | 0.8 | finest relief, mm; better ← | A | B | C | D | E | F | all trade-offs | those shown, by letter | Price and warmth | price of a kilogram; better ↓ | 10 | 12 | 14 | 16 | 18 | 40 | 42 | 44 | 46 | 48 | 50 | keeps its shape up to, °C; better → | A | B | C | D | E | F | all trade-offs | those shown, by letter | Price and relief | price of a kilogram; better ↓ | 10 | 12 | 14 | 16 | 18 | 0.2 | 0.4 | 0.6 | 0.8 | finest relief, mm; better ← | A | B | C | D | E | F | all trade-offs | those shown, by letter | Central estimates. Nothing shown is better in all respects than anything else shown; skin feel and relief are rules of thumb.
    1 × rect stroke - - fill white
    4 × rect stroke #1c1f1a - fill none
    41 × line stroke #1c1f1a - fill -
    21753 × circle stroke - - fill #bcc1b6
    28 × rect stroke - - fill #1f4e79
    ");
}

#[test]
fn the_better_way_of_firmness_is_the_one_asked_for() {
    let explore = ["explore", SHELF, "--candidates", "100", "--draws", "16"];
    for (more, arrow) in [(&[][..], '↑'), (&["--softer"][..], '↓')] {
        let shown = structure(&drawn(&[&explore[..], more].concat()));
        for words in [
            format!("yield stress at 25 °C, kPa; better {arrow}"),
            "keeps its shape up to, °C; better →".to_owned(),
            "finest relief, mm; better ←".to_owned(),
            "price of a kilogram; better ↓".to_owned(),
        ] {
            assert!(shown.contains(&words), "{words}: {shown}");
        }
    }
}

#[test]
fn measured_and_predicted() {
    let svg = drawn(&["validate", "--draws", "16"]);
    assert_apart(&svg);
    let document = Html::parse_fragment(&svg);
    // The goal in each of five charts, and an interval upwards of every point in the frame; those with a scatter have one across, too.
    assert_eq!(all(&document, "path[fill-opacity='0.16']").len(), 5);
    let (upwards, across): (Vec<_>, Vec<_>) =
        all(&document, "path[stroke-width='0.75']").into_iter().partition(|bar| {
            let d = bar.value().attr("d").unwrap();
            let x = |at: char| d.split(at).nth(1).unwrap().split_whitespace().next().unwrap().to_owned();
            x('M') == x('L')
        });
    let points = all(&document, "circle, rect[width='6.4']").len()
        - all(&document, "text")
            .into_iter()
            .filter(|one| ["unseen", "fitting rows", "scored apart"].contains(&one.text().collect::<String>().as_str()))
            .count();
    assert_eq!(upwards.len(), points);
    assert!(across.len() > 50 && across.len() < points, "{} of {points}", across.len());
    let shown = structure(&svg);
    for words in ["measured, % solids", "predicted, °C", "unseen", "fitting rows", "gelling level"] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
    assert_eq!(svg, drawn(&["validate", "--draws", "16"]));
}

#[test]
fn a_terminal_gets_it_in_letters() {
    let done = run(&["assess", WINTER, "--draw"]);
    assert_eq!((done.status, done.stderr.as_str()), (0, ""));
    let start = done.stdout.find("\n Fern hand bar, winter: solids").unwrap() + 1;
    let picture = &done.stdout[start..];
    assert!(picture.lines().all(|line| line.chars().count() <= 100 && !line.contains('\u{1b}')), "{picture}");
    assert_snapshot!(picture, @"
    Fern hand bar, winter: solids and firmness
    solids, % by mass
              fridge                room              skin         hot parcel
               5 °C                20 °C             33 °C            45 °C
     100 ┤      ┊                    ┊                 ┊                ┊
         │      ┊                    ┊                 ┊                ┊
         │      ┊                    ┊                 ┊                ┊
      80 ┤      ┊                    ┊                 ┊                ┊
         │⣀░    ┊                    ┊                 ┊                ┊
         │░⠉⠉⠓⠒⠤⣄⣀░░                 ┊                 ┊                ┊
      60 ┤    ░░┊⠈⠉⠒⠤⣀░░░            ┊                 ┊                ┊
         │      ┊ ░░░⠈⠑⠦⣀░░░░        ┊                 ┊                ┊
         │      ┊       ⠈⠑⠦⠤⣄⣀⣀░     ┊                 ┊                ┊
      40 ┤      ┊             ⠈⠉⠉⠉⠓⠒⠲⠤⢤⣀⣀              ┊                ┊
         │      ┊                    ┊  ⠈⠉⠉⠓⠒⠲⠤⢄⣀░     ┊                ┊
         │      ┊                    ┊         ░⠈⠙⠲⢤⣀⣀⡀┊                ┊
      20 ┤      ┊                    ┊                ⠉⠉⠉⠉⠉⠉⠉⠒⠒⠒⠲⠤⠤⣄⣀⡀  ┊
         │      ┊                    ┊                 ┊             ⠉⠉⠓⠒⠤⠤⣄⣀⣀⣀⡀
         │      ┊                    ┊                 ┊                ┊      ⠈⠉⠉⠉⠓⠒⠒⠦⠤⣄⣀⣀⣀⣀
       0 ┤┬─────┬──────┬──────┬──────┬──────┬──────┬──────┬──────┬──────┬──────┬──────┬──────⠉⠉⠉⠉⠉⠉⠉⠁
          0     5      10     15     20     25     30    35     40     45     50     55     60     65
                                                temperature, °C
    firmness: yield stress, kPa
              fridge                room              skin         hot parcel
               5 °C                20 °C             33 °C            45 °C
         │░░░   ┊                    ┊                 ┊                ┊
    1000 ┤⡀░░░░░┊░░░░░               ┊                 ┊                ┊
         │⠉⠉⠉⠒⠒⠢⠤⢤⣀⣀░░░░░░░░░        ┊                 ┊                ┊
         │ ░░░░░┊░░⠈⠉⠉⠒⠢⠤⣄⣀⡀░░░░░░░░ ┊                 ┊                ┊
     100 ┤      ┊   ░░░░░░░⠉⠉⠑⠒⠒⠤⠤⣄⣀⡀┊░░░░░            ┊                ┊
         │      ┊           ░░░░░░░░⠉⠉⠒⠢⠤⣀⣀░░░░░░      ┊                ┊
         │      ┊                   ░┊░░░░⠈⠉⠓⠒⠤⣀⡀░░░░  ┊                ┊
         │      ┊                    ┊    ░░░░░░⠉⠑⠢⣄⡀░░┊░░░             ┊
      10 ┤      ┊                    ┊          ░░░░⠉⠉⠒⠒⠦⠤⣄⣀⡀░░░░       ┊
         │      ┊                    ┊                ░┊░░░░⠉⠙⠒⠦⢄⣀░░░░░ ┊
         │      ┊                    ┊                 ┊   ░░░░░░⠈⠙⠲⢄⡀░░┊░░░
       1 ┤      ┊                    ┊                 ┊        ░░░░░⠉⠲⢤⡀░░░░░░░
         │      ┊                    ┊                 ┊           ░░░░░⠈⠲⢄⡀░░░░░░░
         │      ┊                    ┊                 ┊              ░░┊░░⠉⠓⠦⣄⡀░░░░░
         │      ┊                    ┊                 ┊                ┊ ░░░░░⠉⠲⢄⡀░░░░
     0.1 ┤┬─────┬──────┬──────┬──────┬──────┬──────┬──────┬──────┬──────┬──────┬──⠁───┬──────┬──────┬
          0     5      10     15     20     25     30    35     40     45     50     55     60     65
                                                temperature, °C
    Line: central estimate. Shaded: 90 % band from 64 simulated draws, fewer than behind the figures
    of the tables.
    ");
    for other in [
        vec!["compare", WINTER, SUMMER, "--draws", "16"],
        vec!["cool", WINTER, "--draws", "16"],
        vec!["explore", SHELF, "--candidates", "100", "--draws", "16"],
        vec!["parcel", WINTER, "--route", "parked-car", "--draws", "16"],
        vec!["validate", "--draws", "16"],
    ] {
        let done = run(&[&other[..], &["--draw"]].concat());
        assert!(done.status == 0 && done.stdout.contains('┤'), "{}", done.shown());
    }
}

#[test]
fn png_by_its_ending() {
    let folder = TempDir::new().unwrap();
    let done = run_in(folder.path(), &["assess", WINTER, "--json", "--draws", "16", "--plot", "p.PNG"], b"");
    assert!(done.stderr.contains("drawn into p.PNG"), "{}", done.shown());
    done.json();
    let bytes = std::fs::read(folder.path().join("p.PNG")).unwrap();
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    let size = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    assert!(size(16) == 1240 && size(20) > 1200, "{} × {}", size(16), size(20));
}

#[test]
fn other_endings_and_letters_in_json_are_refused() {
    let folder = TempDir::new().unwrap();
    for name in ["p.pdf", "p", "svg"] {
        let done = run_in(folder.path(), &["assess", WINTER, "--plot", name], b"");
        assert!(done.status == 2 && done.stderr.contains(".svg or .png"), "{}", done.shown());
    }
    let done = run_in(folder.path(), &["compare", WINTER, SUMMER, "--draw", "--json"], b"");
    assert_eq!((done.status, done.stdout.as_str()), (2, ""), "{}", done.shown());
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}
