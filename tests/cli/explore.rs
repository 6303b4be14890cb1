//! `explore`: the answer, the files written, stopping and going on, and what is refused.

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, run, run_in, run_on, run_with};

/// The demonstration space.
const SHELF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/spaces/fern-hand-bar-shelf.toml");

/// A space of three.
const THREE: &str = "[ingredients]\nbeeswax = '10..40'\n'cocoa butter' = '..60'\n'sunflower oil' = '20..'\n";

fn explore(text: &str, more: &[&str]) -> Run {
    let few = ["explore", "s.toml", "--candidates", "60", "--draws", "16"];
    run_on("s.toml", text, &[&few, more].concat())
}

#[test]
fn a_shelf_in_full() {
    assert_snapshot!(run(&["explore", SHELF, "--candidates", "500", "--draws", "64"]).shown(), @"
    exit 0
    stdout:
    Fern hand bar, from the shelf  (rested)

    Invented. Which bars could be poured from this shelf for summer?
    Of 19289 bars tried (500 across the space, the others close to the best of these), 10028
      that meet your limits are the best trade-offs: what is better in one way is worse in
      another.
    Weighed by central estimates: firmness, warmth, fine relief, feel on skin and price.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    A representative selection
          kPa at 25 °C      keeps shape     relief, mm              melts, %        on skin     per kg
                            to, °C
     ──────────────────────────────────────────────────────────────────────────────────────────────────
      A   160 (72 to 420)   50 (42 to 54)   0.091 (0.029 to 0.25)   72 (67 to 73)   uncertain     16.8
      B   93 (38 to 270)    50 (42 to 55)   0.18 (0.064 to 0.41)    72 (70 to 73)   uncertain     13.8
      C   91 (33 to 260)    46 (36 to 52)   0.16 (0.046 to 0.58)    83 (78 to 84)   glides        18.0
      D   54 (21 to 180)    45 (32 to 53)   0.29 (0.079 to 0.85)    86 (83 to 87)   glides        13.3
      E   51 (19 to 160)    41 (30 to 50)   0.31 (0.076 to 1.0)     90 (86 to 91)   glides        18.0
      F   18 (8.0 to 52)    42 (30 to 51)   0.85 (0.32 to 2.0)      87 (86 to 88)   glides        10.3
      Keeps shape: for a day. Relief: the finest that leaves the mould. Melts: share on
        skin, at 33 °C.

    Chance that each meets your limits
          keeps its shape for a day at 40 °C   leaves a mould with relief of 0.8 mm whole
     ─────────────────────────────────────────────────────────────────────────────────────
      A   98 %                                 over 99 %
      B   98 %                                 over 99 %
      C   88 %                                 98 %
      D   81 %                                 92 %
      E   52 %                                 91 %
      F   69 %                                 47 %
      To be surer of one of them, give it to `adjust` with the same demands.

    Parts, % by mass
      A: mango butter 28.5, beeswax 23, cocoa butter 21.5, candelilla wax 12, sunflower oil
        10, jojoba oil 5
      B: sunflower oil 38, beeswax 23, mango butter 22, candelilla wax 12, jojoba oil 5
      C: mango butter 28.5, cocoa butter 24.5, jojoba oil 15, candelilla wax 12, beeswax 10,
        sunflower oil 10
      D: sunflower oil 30, shea butter 21, mango butter 18, candelilla wax 12, cocoa butter
        8.5, beeswax 5.5, jojoba oil 5
      E: mango butter 29, cocoa butter 22.5, jojoba oil 20, sunflower oil 12.5, candelilla
        wax 11, shea butter 3.5, beeswax 1.5
      F: sunflower oil 61.5, shea butter 14.5, candelilla wax 9, beeswax 8, jojoba oil 5,
        mango butter 2
      Give the one you like to `assess`, as a text in quotes: it has the cautions.

    What this rests on
      In brackets: 90 % intervals from 64 simulated draws (seed 20) over lots, melting
        points and model parameters.
    ");
}

#[test]
fn without_demands_and_prices_in_us_units() {
    assert_snapshot!(explore(THREE, &["--units", "us", "--show", "3", "--softer"]).shown(), @"
    exit 0
    stdout:
    S  (rested)

    Of 18788 bars tried (60 across the space, the others close to the best of these), 18052
      are the best trade-offs: what is better in one way is worse in another.
    Weighed by central estimates: softness, warmth, fine relief and feel on skin.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    A representative selection
          psi at 77 °F          keeps shape to,    relief, in                 melts, %        on skin
                                °F
     ─────────────────────────────────────────────────────────────────────────────────────────────────
      A   0.20 (0.068 to 1.0)   63 (47 to 100)     0.34 (0.059 to 0.93)       93 (92 to 95)   smears
      B   7.4 (3.2 to 34)       117 (103 to 133)   0.010 (0.0027 to 0.029)    67 (65 to 69)   glides
      C   15 (5.6 to 74)        116 (104 to 132)   0.0055 (0.0011 to 0.018)   67 (65 to 70)   glides
      Keeps shape: for a day. Relief: the finest that leaves the mould. Melts: share on
        skin, at 91.4 °F.

    Parts, % by mass
      A: sunflower oil 83.5, beeswax 10, cocoa butter 6.5
      B: sunflower oil 60, beeswax 40
      C: beeswax 40, cocoa butter 40, sunflower oil 20
      Give the one you like to `assess`, as a text in quotes: it has the cautions.

    What this rests on
      In brackets: 90 % intervals from 16 simulated draws (seed 20) over lots, melting
        points and model parameters.
    ");
}

#[test]
fn one_point_is_judged_once() {
    let one = "[ingredients]\nbeeswax = 30\n'sunflower oil' = '50..100'\n'jojoba oil' = 20\n";
    assert_snapshot!(explore(one, &[]).shown(), @"
    exit 0
    stdout:
    S  (rested)

    The space is one bar.
    Weighed by central estimates: firmness, warmth, fine relief and feel on skin.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    All of them
          kPa at 25 °C     keeps shape to, °C   relief, mm           melts, %        on skin
     ────────────────────────────────────────────────────────────────────────────────────────
      A   23 (7.5 to 66)   41 (29 to 51)        0.55 (0.15 to 1.6)   77 (76 to 80)   glides
      Keeps shape: for a day. Relief: the finest that leaves the mould. Melts: share on
        skin, at 33 °C.

    Parts, % by mass
      A: sunflower oil 50, beeswax 30, jojoba oil 20
      Give the one you like to `assess`, as a text in quotes: it has the cautions.

    What this rests on
      In brackets: 90 % intervals from 16 simulated draws (seed 20) over lots, melting
        points and model parameters.
    ");
}

#[test]
fn what_asks_too_much_is_named() {
    let text = format!("{THREE}[demands]\nhold = '75C'\nskin = 10\n");
    assert_snapshot!(explore(&text, &[]).shown(), @r#"
    exit 0
    stdout:
    S  (rested)

    None of the 60 bars tried meets all your limits.
    There would be some without "keeps its shape for a day at 75 °C".
    "#);
    let two = "[ingredients]\nbeeswax = '10..40'\n'sunflower oil' = '20..'\n[demands]\nfirmness = ['200kPa', '..0.02kPa']\nhold = 80\n";
    assert_snapshot!(explore(two, &[]).shown(), @"
    exit 0
    stdout:
    S  (rested)

    None of the 60 bars tried meets all your limits.
    Leaving out any one demand does not help: two or more ask too much of this shelf.
    ");
}

#[test]
fn every_error_of_a_space_at_once() {
    let text = "[ingredients]\nbeeswax = '40..10'\n'bees wax oil' = 3\n[totals]\nwax = '..20'\nshea = 3\n[prices]\nbeeswax = -1\n\
        [demands]\nhold = '500C'\ndetial = '0.8mm'\nfirmness = '30'\n";
    assert_snapshot!(explore(text, &[]).shown(), @r#"
    exit 1
    stderr:
    error[bad-range]: 40 % is more than 10 %
     --> s.toml:2:11
      |
    2 | beeswax = '40..10'
      |           ^^^^^^^^
      |
      = hint: Write amounts in % of the bar: `"5..30"`, `"..25"`, `"20.."` or `20`.

    error[unknown-ingredient]: no ingredient is called `bees wax oil`
     --> s.toml:3:1
      |
    3 | 'bees wax oil' = 3
      | ^^^^^^^^^^^^^^ not in the table
      |
      = hint: The nearest names are `beeswax`, `white-beeswax` and `sesame-oil`.

    error[not-in-space]: there is no `wax` among the ingredients of the space
     --> s.toml:5:1
      |
    5 | wax = '..20'
      | ^^^
      |
      = hint: Write it below `[ingredients]`, or leave it out here.

    error[unknown-total]: `shea` is not a kind of ingredient
     --> s.toml:6:1
      |
    6 | shea = 3
      | ^^^^
      |
      = hint: Write `waxes`, `butters`, `oils`, `esters`, `hydrocarbons`, `scents` or `powders`,
              or a name of your own with `{ of = ["..."], range = "..10" }`.
      = hint: The range of one ingredient belongs below `[ingredients]`.

    error[out-of-range]: -1 is not a price
     --> s.toml:8:11
      |
    8 | beeswax = -1
      |           ^^
      |
      = hint: Write the price of a kilogram, 0 or more.

    error[unknown-key]: `detial` is not a key here
      --> s.toml:11:1
       |
    11 | detial = '0.8mm'
       | ^^^^^^
       |
       = hint: The nearest key is `detail`; `hold`, `detail`, `firmness`, `like`, `skin` and
               `max_price` can be written here.

    6 errors in all
    "#);
    let later = format!(
        "{THREE}[prices]\nbeeswax = 3\n[demands]\nhold = '500C'\ndetail = '9m'\nfirmness = '30'\nskin = 140\nmax_price = 'x'\n"
    );
    assert_snapshot!(explore(&later, &[]).shown(), @"
    exit 1
    stderr:
    error[no-price]: there is no price of `cocoa-butter` and `sunflower-oil`
     --> s.toml:5:2
      |
    5 | [prices]
      |  ^^^^^^
      |
      = hint: Write a line for each below `[prices]`, or `price_per_kg` into its lot.

    error[bad-demand]: `hold`: `500C` is 500 °C, above the highest temperature taken, 400 °C; write a temperature such as `45`, `45C` or `113F`
     --> s.toml:8:8
      |
    8 | hold = '500C'
      |        ^^^^^^

    error[bad-demand]: `detail`: 9000 mm is outside 0.05 to 50 mm
     --> s.toml:9:10
      |
    9 | detail = '9m'
      |          ^^^^

    error[bad-demand]: `firmness`: `30` has no unit; write `30%@25C` (as firm as oil with 30 % beeswax in it, at 25 °C), `80kPa`, `12psi`, or a range such as `20..40%`
      --> s.toml:10:12
       |
    10 | firmness = '30'
       |            ^^^^

    error[bad-demand]: `skin`: `140` is outside 0 to 100 %
      --> s.toml:11:8
       |
    11 | skin = 140
       |        ^^^

    error[bad-demand]: `max_price`: `x` is not a number
      --> s.toml:12:13
       |
    12 | max_price = 'x'
       |             ^^^

    6 errors in all
    ");
}

#[test]
fn a_space_of_zero_volume_is_named() {
    let over = "[ingredients]\nbeeswax = '60..'\n'sunflower oil' = '50..'\n";
    assert_snapshot!(explore(over, &[]).shown(), @"
    exit 1
    stderr:
    error[no-room]: the least amounts, of totals and of ingredients outside them, add up to 110 %, more than 100 %
     --> s.toml:1:2
      |
    1 | [ingredients]
      |  ^^^^^^^^^^^
      |
      = hint: Lower the least amounts, so that they leave room for each other.
    ");
    let under = format!("{THREE}[totals]\nwaxes = '..10'\nbutters = '..5'\noils = '..60'\n");
    assert_snapshot!(explore(&under, &[]).shown(), @"
    exit 1
    stderr:
    error[no-room]: the most amounts, of totals and of ingredients outside them, add up to 75 %, less than 100 %
     --> s.toml:1:2
      |
    1 | [ingredients]
      |  ^^^^^^^^^^^
      |
      = hint: Raise the most amounts, or add an ingredient that may fill the rest, such as an oil.
    ");
    let total = format!("{THREE}[totals]\nwaxes = '50..'\n");
    assert_snapshot!(explore(&total, &[]).shown(), @"
    exit 1
    stderr:
    error[no-room]: total `waxes`: the most amounts in it add up to 40 %, less than its least of 50 %
     --> s.toml:6:1
      |
    6 | waxes = '50..'
      | ^^^^^
      |
      = hint: Lower the least of this total, or raise the most of what is in it.
    ");
    assert_snapshot!(explore("", &[]).shown(), @"
    exit 1
    stderr:
    error[empty]: `s.toml` is empty
    --> s.toml
     = hint: Write each ingredient with its amount by mass, such as `beeswax 26, sunflower oil
             74`.
    ");
    assert_snapshot!(run(&["explore", "none.toml"]).shown(), @"
    exit 1
    stderr:
    error[no-file]: there is no file `none.toml`
    --> none.toml
     = hint: There is no formula file in that folder.
    ");
    assert_snapshot!(run(&["explore", "s.toml", "--candidates", "0"]).shown(), @"
    exit 2
    stderr:
    error: invalid value '0' for '--candidates <N>': write a whole number from 1 to 10000000

    For more information, try '--help'.
    ");
}

#[test]
fn forty_ingredients() {
    let table = run(&["ingredients", "--json"]).json();
    let keys = table["ingredients"].as_array().unwrap().iter().filter_map(|one| one["key"].as_str());
    let lines: Vec<String> = keys.take(40).map(|key| format!("{key} = '..60'\n")).collect();
    assert_eq!(lines.len(), 40);
    let answer = explore(&format!("[ingredients]\n{}", lines.concat()), &["--json"]).json();
    assert_eq!(answer["finished"], true);
    for one in answer["front"].as_array().unwrap() {
        let sum: f64 = one["parts"].as_array().unwrap().iter().map(|part| part["percent"].as_f64().unwrap()).sum();
        assert!((sum - 100.0).abs() < 1e-6, "{sum}");
    }
}

#[test]
fn the_table_holds_every_trade_off() {
    let folder = TempDir::new().unwrap();
    let arguments =
        ["explore", SHELF, "--candidates", "300", "--draws", "16", "--json", "--out", "t.csv", "--plot", "t.svg"];
    let answer = run_in(folder.path(), &arguments, b"").json();
    let front = answer["front"].as_array().unwrap();
    let mut reader = csv::Reader::from_path(folder.path().join("t.csv")).unwrap();
    let header = reader.headers().unwrap().clone();
    assert_eq!(&header.iter().collect::<Vec<_>>()[..3], ["number", "yield_stress_kpa_at_25_c", "hold_c"]);
    assert_eq!(header.len(), 6 + 7);
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), front.len());
    for (row, one) in rows.iter().zip(front) {
        let cell = |at: usize| row[at].parse::<f64>().unwrap();
        assert!((cell(2) - one["hold_c"].as_f64().unwrap()).abs() < 1e-3);
        assert!(((6..13).map(cell).sum::<f64>() - 100.0).abs() < 0.01);
        assert!(cell(2) >= 40.0 && cell(3) <= 0.8, "a demand is not met: {row:?}");
    }
    let drawn = std::fs::read_to_string(folder.path().join("t.svg")).unwrap();
    for words in ["Firmness and warmth", "Relief and skin feel", "Price and warmth", "finest relief, mm"] {
        assert!(drawn.contains(words), "{words}");
    }
}

#[test]
fn the_seed_decides_and_lots_bring_prices() {
    let first = explore(THREE, &["--json"]);
    assert_eq!(first, explore(THREE, &["--json"]));
    assert_ne!(first.stdout, explore(THREE, &["--json", "--seed", "21"]).stdout);
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("lots.toml"), "[lot.spring-wax]\nlike = 'beeswax'\nprice_per_kg = 14.5\n")
        .unwrap();
    let space = "[ingredients]\nspring-wax = '10..40'\n'sunflower oil' = '20..'\n";
    let arguments = ["explore", "-", "--lots", "lots.toml", "--candidates", "9", "--draws", "16", "--show", "1"];
    let without = run_in(folder.path(), &arguments, space.as_bytes());
    assert_eq!(without.stderr, "note: price is not weighed: there is no price of `sunflower-oil`\n");
    let with = run_in(folder.path(), &arguments, format!("{space}[prices]\n'sunflower oil' = 4\n").as_bytes());
    assert!(with.stdout.contains("per kg"), "{}", with.shown());
    assert_eq!(run_with("", &["explore", "-", "--lots", "-"]).status, 2);
}

/// Stopping with Ctrl-C: whether the command listens yet is read from Linux's /proc.
#[cfg(target_os = "linux")]
mod ctrl_c {
    use std::path::Path;
    use std::process::{Child, Stdio};
    use std::time::{Duration, Instant};

    use insta::assert_snapshot;
    use tempfile::TempDir;

    use super::{Run, THREE, run_in};

    /// Waits until the command listens for Ctrl-C, as Linux's /proc has it.
    fn wait_until_it_listens(child: &Child) {
        let started = Instant::now();
        loop {
            let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
            let caught = status.lines().find_map(|line| line.strip_prefix("SigCgt:")).unwrap();
            // Bit n - 1 stands for signal n; SIGINT is 2.
            if u64::from_str_radix(caught.trim(), 16).unwrap() & 0b10 != 0 {
                return;
            }
            assert!(started.elapsed() < Duration::from_secs(60), "it never listened");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    fn interrupted(folder: &Path, arguments: &[&str]) -> Run {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_barwright"));
        let child =
            command.current_dir(folder).args(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        wait_until_it_listens(&child);
        let killed = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
        assert!(killed.success());
        let output = child.wait_with_output().unwrap();
        Run {
            status: output.status.code().unwrap(),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }

    #[test]
    fn ctrl_c_stops_with_what_there_is_and_the_same_command_goes_on() {
        let folder = TempDir::new().unwrap();
        std::fs::write(folder.path().join("s.toml"), THREE).unwrap();
        // More than one chunk, so that there is something left to do.
        let of = |more: &[&'static str]| {
            [&["explore", "s.toml", "--candidates", "6000", "--draws", "16", "--json"], more].concat()
        };
        let stopped = interrupted(folder.path(), &of(&["--resume", "kept.json"]));
        assert_eq!(stopped.json()["finished"], false);
        assert!(stopped.stderr.contains("stopped early, after"), "{}", stopped.stderr);
        assert!(stopped.stderr.contains("the same command goes on from kept.json"), "{}", stopped.stderr);
        let kept = std::fs::read(folder.path().join("kept.json")).unwrap();
        let other = run_in(folder.path(), &of(&["--resume", "kept.json", "--seed", "3"]), b"");
        assert_snapshot!(other.shown(), @"
        exit 1
        stderr:
        error[other-exploration]: --resume: `kept.json`: the earlier exploration is of another space, other demands, another seed or other temperatures
         |
         = hint: Name another file, or take the space and options it was kept with; this one is left
                 as it is.
        ");
        assert_eq!(std::fs::read(folder.path().join("kept.json")).unwrap(), kept);
        let went_on = run_in(folder.path(), &of(&["--resume", "kept.json"]), b"");
        let unbroken = run_in(folder.path(), &of(&[]), b"");
        assert_eq!(went_on, unbroken);
        std::fs::write(folder.path().join("notes.txt"), "my notes").unwrap();
        let refused = run_in(folder.path(), &of(&["--resume", "notes.txt"]), b"");
        assert_snapshot!(refused.shown(), @"
        exit 1
        stderr:
        error[not-kept]: --resume: `notes.txt` is not a kept exploration: expected value at line 1 column 1
         |
         = hint: Name a file that `--resume` has written, or one that is not there yet; this one is
                 left as it is.
        ");
        assert_eq!(std::fs::read_to_string(folder.path().join("notes.txt")).unwrap(), "my notes");
    }
}

/// The bar that is aimed at comes before the trade-offs, with its chance and its parts.
#[test]
fn the_cheapest_of_a_shelf() {
    let answer = run(&["explore", SHELF, "--aim", "cheapest", "--show", "2", "--candidates", "500", "--draws", "64"]);
    assert_snapshot!(answer.shown(), @"
    exit 0
    stdout:
    Fern hand bar, from the shelf  (rested)

    Invented. Which bars could be poured from this shelf for summer?
    The cheapest bar that meets your limits: sunflower oil 65, shea butter 15, candelilla
      wax 12, jojoba oil 5, beeswax 3; 9.95 per kilogram.
    21 of 25 searches from all over the space came out as good (562 more bars tried). No
      exchange of 0.5 % between two ingredients makes it cheaper and still meets your
      limits. In any amounts it would be 9.93 per kilogram.
    Of 19289 bars tried (500 across the space, the others close to the best of these), 10028
      that meet your limits are the best trade-offs: what is better in one way is worse in
      another.
    Weighed by central estimates: firmness, warmth, fine relief, feel on skin and price.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    A representative selection
          kPa at 25 °C      keeps shape     relief, mm              melts, %        on skin     per kg
                            to, °C
     ──────────────────────────────────────────────────────────────────────────────────────────────────
      *   19 (8.4 to 53)    44 (27 to 51)   0.79 (0.26 to 2.2)      88 (87 to 89)   glides        9.95
      A   160 (72 to 420)   50 (42 to 54)   0.091 (0.029 to 0.25)   72 (67 to 73)   uncertain     16.8
      B   93 (38 to 270)    50 (42 to 55)   0.18 (0.064 to 0.41)    72 (70 to 73)   uncertain     13.8
      *: the bar named above. Keeps shape: for a day. Relief: the finest that leaves the
        mould. Melts: share on skin, at 33 °C.

    Chance that each meets your limits
          keeps its shape for a day at 40 °C   leaves a mould with relief of 0.8 mm whole
     ─────────────────────────────────────────────────────────────────────────────────────
      *   75 %                                 52 %
      A   98 %                                 over 99 %
      B   98 %                                 over 99 %
      To be surer of one of them, give it to `adjust` with the same demands.

    Parts, % by mass
      *: sunflower oil 65, shea butter 15, candelilla wax 12, jojoba oil 5, beeswax 3
      A: mango butter 28.5, beeswax 23, cocoa butter 21.5, candelilla wax 12, sunflower oil
        10, jojoba oil 5
      B: sunflower oil 38, beeswax 23, mango butter 22, candelilla wax 12, jojoba oil 5
      Give the one you like to `assess`, as a text in quotes: it has the cautions.

    What this rests on
      In brackets: 90 % intervals from 64 simulated draws (seed 20) over lots, melting
        points and model parameters.
    ");
}

#[test]
fn the_nearest_to_a_formula() {
    let found = explore(THREE, &["--aim", "nearest", "--near", "beeswax 12, castor oil 88", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&found.stdout).unwrap();
    // Castor oil is not on the shelf: all but 12 % is new, in any amounts.
    assert!((json["best"]["value"].as_f64().unwrap() - 88.0).abs() < 1e-6, "{}", json["best"]);
}

#[test]
fn what_to_be_near_to_is_one_formula() {
    for (more, code) in [
        (&["--aim", "nearest"][..], "--near <FORMULA>"),
        (&["--near", "beeswax 1"][..], "`--near` says nothing without `--aim nearest`"),
        (&["--aim", "cheapest"][..], "`--aim cheapest`: there is no price"),
    ] {
        let refused = explore(THREE, more);
        assert!(refused.status != 0 && refused.stderr.contains(code), "{}", refused.shown());
    }
}
