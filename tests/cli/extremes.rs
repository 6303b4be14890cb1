//! Numbers at the ends of what is taken, and beyond: in options, formulas and files. Whatever is asked, nothing but a fault of the program
//! ends in status 70. What each option takes is held by `crates/cli/command_line/extremes.rs`.

use tempfile::TempDir;

use crate::{demo_folder, run_in};

const BAR: &str = "beeswax 26, mango butter 22, sunflower oil 52";

/// Numbers at the ends of what a computer holds.
const NUMBERS: [&str; 11] =
    ["1e-308", "5e-324", "1e308", "-1e308", "-0", "0", "nan", "inf", "-inf", "1e12", "99999999999999999999"];

/// A folder with the files that the commands below name.
fn folder() -> TempDir {
    let folder = TempDir::new().unwrap();
    let demo = demo_folder();
    for (from, to) in [("../spaces/fern-hand-bar-shelf.toml", "shelf.toml"), ("../moulds/fern-tray.toml", "tray.toml")]
    {
        std::fs::copy(demo.join(from), folder.path().join(to)).unwrap();
    }
    folder
}

/// Runs a command line; it is done, or says in words what is wrong.
fn answered(folder: &TempDir, arguments: &[&str]) -> i32 {
    let answer = run_in(folder.path(), arguments, b"");
    let told = &answer.stderr;
    assert!((0..=2).contains(&answer.status), "{arguments:?}: {}", answer.shown());
    assert!(answer.status == 0 || (answer.stdout.is_empty() && !told.is_empty()), "{arguments:?}: {}", answer.shown());
    assert!(!told.contains("fault of barwright"), "{arguments:?}: {told}");
    answer.status
}

#[test]
fn the_ends_of_what_options_take_are_worked_with() {
    let folder = folder();
    let few = ["--draws", "16"];
    for (command, options) in [
        (
            &["assess", BAR, "--draws", "16"][..],
            &[
                "--at -20,120",
                "--hold -20",
                "--hold 120",
                "--release -20",
                "--release 120",
                "--relief 0.05",
                "--relief 50",
                "--seed 18446744073709551615",
            ][..],
        ),
        (
            &["swap", BAR, "--replace", "beeswax", "--with", "candelilla wax", "--draws", "16"],
            &[
                "--step 0.001",
                "--step 10",
                "--step 0",
                "--step -0",
                "--most 1",
                "--most 100",
                "--hold -20",
                "--relief 50",
            ],
        ),
        (
            &["adjust", BAR, "--skin", "60", "--draws", "16"],
            &[
                "--step 0.001",
                "--step 10",
                "--step 0",
                "--confidence 50",
                "--confidence 99",
                "--hold -20",
                "--hold 120",
                "--detail 0.05",
                "--firmness 0.01kPa@60C",
                "--firmness 200%@-20C",
                "--bound beeswax=0",
                "--bound beeswax=100",
            ],
        ),
        (
            &["batch", BAR, "--draws", "16", "--bars", "1", "--bar", "50g"],
            &[
                "--left 5e-324",
                "--left 0",
                "--left 50",
                "--scale 0.001g",
                "--scale 100g",
                "--split 12",
                "--labour 1e6",
                "--packaging 1e-6",
                "--room -20",
                "--room 120",
                "--humidity 1",
                "--humidity 100",
            ],
        ),
        (
            &["batch", BAR, "--no-plans"],
            &[
                "--bars 1000000 --bar 1g",
                "--bars 1000000 --bar 1000kg",
                "--bars 1 --bar 1g --scale 100g",
                "--mould tray.toml --fillings 10000",
            ],
        ),
        (
            &["pour", BAR, "--draws", "16"],
            &[
                "--mass 1g",
                "--mass 1000kg",
                "--room -20",
                "--room 120",
                "--pour -20",
                "--pour 120",
                "--flash 20",
                "--flash 400",
                "--microwave 50",
                "--microwave 5000",
            ],
        ),
        (
            &["cool", BAR, "--draws", "16"],
            &[
                "--size 2x2x2mm",
                "--size 2x1000mm",
                "--pour -20",
                "--pour 120",
                "--room -20",
                "--room 120",
                "--humidity 1",
                "--humidity 100",
                "--place x=-20 --place y=120",
                "--relief 0.05",
                "--relief 50",
            ],
        ),
    ] {
        for option in options {
            let arguments: Vec<&str> = command.iter().copied().chain(option.split(' ')).collect();
            answered(&folder, &arguments);
        }
    }
    for option in ["--bars 1000", "--start -20", "--start 120", "--insulate 300mm", "--ice 1g", "--ice 1000kg"] {
        let parcel = ["parcel", BAR, "--route", "hot-day", "--cell", "20mm", few[0], few[1]];
        answered(&folder, &parcel.iter().copied().chain(option.split(' ')).collect::<Vec<_>>());
    }
    for option in ["--skin 5e-324", "--skin 0", "--skin 100", "--max-price 1e-6", "--max-price 1e6"] {
        let adjust = ["adjust", BAR, "--hold", "40C", few[0], few[1]];
        answered(&folder, &adjust.iter().copied().chain(option.split(' ')).collect::<Vec<_>>());
    }
    let explore = ["explore", "shelf.toml", few[0], few[1], "--candidates", "1", "--show", "1"];
    for option in ["--firmness-at -20", "--firmness-at 120", "--seed 0"] {
        answered(&folder, &explore.iter().copied().chain(option.split(' ')).collect::<Vec<_>>());
    }
}

#[test]
fn a_step_no_scale_shows_is_refused() {
    let folder = folder();
    for step in ["1e-308", "5e-324", "0.0009", "100.1", "-1", "nan", "inf"] {
        let step = format!("--step={step}");
        assert_eq!(answered(&folder, &["adjust", BAR, "--hold", "45C", "--draws", "16", &step]), 2);
        let swap = ["swap", BAR, "--replace", "beeswax", "--with", "candelilla wax", "--draws", "16", &step];
        assert_eq!(answered(&folder, &swap), 2);
    }
}

#[test]
fn figures_of_bench_tests() {
    let folder = folder();
    for number in NUMBERS {
        for written in [
            "--tube 50C --spread {}K",
            "--needle={} --at 20C",
            "--needle={}mm --at 20C",
            "--rod 3mm --grams={} --at 20C",
            "--rod={}mm --grams 640 --at 20C",
            "--shelf 40C --hours={} --kept",
        ] {
            let written = written.replace("{}", number);
            let all = ["--profile", "bench", "trial", "add", BAR, "--days", "7"].into_iter().chain(written.split(' '));
            let arguments: Vec<&str> = all.collect();
            let answer = run_in(folder.path(), &arguments, b"");
            // A zero with a sign is a zero all the same, and no bench shows these others.
            assert!(matches!(answer.status, 1 | 2), "{arguments:?}: {}", answer.shown());
            let long = answer.stderr.split(|letter: char| !letter.is_ascii_digit()).find(|digits| digits.len() > 30);
            assert_eq!(long, None, "{arguments:?}: a number nobody reads: {}", answer.stderr);
        }
    }
}

#[test]
fn amounts_that_commands_read_themselves() {
    let folder = folder();
    for number in NUMBERS {
        for (command, written) in [
            (&["batch", BAR, "--no-plans", "--bars", "1", "--bar", "50g", "--scent"][..], "castor oil={}g"),
            (&["batch", BAR, "--no-plans", "--bars", "1", "--bar", "50g", "--scent"], "castor oil={}%"),
            (&["batch", BAR, "--no-plans", "--bars", "1", "--bar", "50g", "--scent"], "castor oil={}ml"),
            (&["batch", BAR, "--no-plans", "--bar", "50g", "--have"], "beeswax={}g"),
            (&["adjust", BAR, "--hold", "30C", "--draws", "16", "--poured"], "{}g"),
            (&["adjust", BAR, "--skin", "60", "--draws", "16", "--bound"], "beeswax={}..{}"),
            (&["adjust", BAR, "--skin", "60", "--draws", "16", "--bound"], "beeswax=..{}"),
            (&["assess", "--draws", "16"], "beeswax {}, olive oil 74"),
            (&["assess", "--draws", "16"], "beeswax {} g; olive oil {} kg"),
            (&["assess", "--draws", "16", "--at", "20"], "{} beeswax"),
        ] {
            let written = written.replace("{}", number);
            answered(&folder, &command.iter().copied().chain([written.as_str()]).collect::<Vec<_>>());
        }
    }
}

#[test]
fn numbers_in_files() {
    let folder = folder();
    let assess = &["assess", "my-lot 30, olive oil 70", "--draws", "16", "--lots", "file"][..];
    let batch =
        &["batch", "my-lot 30, olive oil 70", "--no-plans", "--bars", "1", "--bar", "50g", "--lots", "file"][..];
    let lot = |line: &str| format!("[lot.my-lot]\nlike = 'beeswax'\n{line}\n");
    for number in NUMBERS {
        for (command, text) in [
            (assess, lot("melt_c = {}")),
            (assess, lot("needle_dmm = {}")),
            (assess, lot("density_g_ml = {}")),
            (assess, lot("flash_c = {}")),
            (batch, lot("price_per_kg = {}")),
            (batch, lot("limit_percent = {}")),
            (batch, lot("allergens = { Linalool = {} }")),
            (assess, "[lot.my-lot]\nlike = 'cocoa butter'\nspecies = { POP = {}, POS = 39 }\n".to_owned()),
            (&["assess", "file", "--draws", "16"], "[parts]\nbeeswax = {}\n'olive oil' = 3\n".to_owned()),
            (&["assess", "file", "--draws", "16"], "ingredient,percent\nbeeswax,{}\nolive oil,3\n".to_owned()),
            (&["assess", BAR, "--draws", "16", "--mould", "file"], "shape = 'box'\nlength = {}\nwidth = 20\nheight = 20\n".to_owned()),
            (&["assess", BAR, "--draws", "16", "--mould", "file"], "shape = 'round'\ndiameter = 40\nheight = 20\ncavities = {}\n".to_owned()),
            (&["assess", BAR, "--draws", "16", "--mould", "file"], "shape = 'round'\ndiameter = 40\nheight = 20\nvolume = '{}ml'\n".to_owned()),
            (&["explore", "file", "--candidates", "1", "--show", "1", "--draws", "16"], "[ingredients]\nbeeswax = '{}..30'\n'olive oil' = '20..'\n".to_owned()),
            (&["explore", "file", "--candidates", "1", "--show", "1", "--draws", "16"], "[ingredients]\nbeeswax = '5..30'\n'olive oil' = '20..'\n[prices]\nbeeswax = {}\n'olive oil' = {}\n".to_owned()),
            (&["explore", "file", "--candidates", "1", "--show", "1", "--draws", "16"], "[ingredients]\nbeeswax = '5..30'\n'olive oil' = '20..'\n[demands]\nskin = {}\n".to_owned()),
            (&["parcel", BAR, "--draws", "16", "--cell", "20mm", "--route", "file"], "hours,temperature_c\n0,20\n{},30\n".to_owned()),
            (&["parcel", BAR, "--draws", "16", "--cell", "20mm", "--route", "file"], "hours,temperature_c\n0,20\n1,{}\n".to_owned()),
            (&["validate", "--draws", "16", "--table", "file"], "id,study,formula,state,quantity,temperature_c,value,sd,kind,method,source,status,use,reason,note\nA-1,study,beeswax 100,rested,slip_c,,63,{},point,tube,uspnf,read,fit,,\n".to_owned()),
            (&["validate", "--draws", "16", "--table", "file"], "id,study,formula,state,quantity,temperature_c,value,sd,kind,method,source,status,use,reason,note\nA-1,study,beeswax 100,rested,solids_percent,{},{},,point,tube,uspnf,read,fit,,\n".to_owned()),
        ] {
            std::fs::write(folder.path().join("file"), text.replace("{}", number)).unwrap();
            answered(&folder, command);
        }
    }
}
