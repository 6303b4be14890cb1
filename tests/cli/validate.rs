//! `validate`: the score, its JSON, its plot, and tables that stop it.

use std::path::Path;

use crate::{run, run_in, run_on};

/// A small sound table.
fn table(rows: &[&str]) -> String {
    let header = "id,study,formula,state,quantity,temperature_c,value,sd,kind,method,source,status,use,reason,note";
    [&[header], rows].concat().join("\n") + "\n"
}

const SLIP: &str = "A-1,one,beeswax 100,rested,slip_c,,63.5,0.5,point,open tube,uspnf,read,unseen,,";

const LEFT_OUT: &str =
    "A-2,one,shea-butter 100,rested,force_n,25,3,,point,probe not seen,uspnf,read,left-out,no probe,";

#[test]
fn a_table_of_ones_own_is_scored() {
    let found = run_on("mine.csv", table(&[SLIP, LEFT_OUT]), &["validate", "--table", "mine.csv", "--draws", "16"]);
    assert_eq!((found.status, found.stderr.as_str()), (0, ""), "{}", found.shown());
    for wanted in ["Of 1 unseen values read in their publication", "melting,", "neat, °C", "A-1", "1 row is left out"]
    {
        assert!(found.stdout.contains(wanted), "{wanted}: {}", found.shown());
    }
}

#[test]
fn json_has_every_figure_of_the_score() {
    let arguments = ["validate", "--table", "mine.csv", "--draws", "16", "--json"];
    let found = run_on("mine.csv", table(&[SLIP, LEFT_OUT]), &arguments).json();
    let errors = &found["errors"][0];
    assert_eq!((errors["group"].as_str(), errors["use"].as_str()), (Some("melting"), Some("unseen")));
    for key in [
        "points",
        "bias",
        "mean_absolute",
        "rmse",
        "rmse_error",
        "p75",
        "p95",
        "largest",
        "inside_share",
        "inside_with_test_share",
        "mean_width",
    ] {
        assert!(errors[key].is_number(), "{key}: {errors}");
    }
    assert_eq!(found["unseen_by_status"][0]["status"].as_str(), Some("read"));
    let row = &found["rows"][0];
    assert_eq!((row["use"].as_str(), row["status"].as_str()), (Some("unseen"), Some("read")));
    assert_eq!(row["measured"].as_f64(), Some(63.5));
    assert!(row["predicted"]["low"].as_f64() <= row["predicted"]["high"].as_f64());
    assert_eq!(found["left_out"][0][1].as_str(), Some("no probe"));
}

#[test]
fn a_plot_is_written_whole_and_the_same_each_time() {
    let folder = tempfile::TempDir::new().unwrap();
    std::fs::write(folder.path().join("mine.csv"), table(&[SLIP])).unwrap();
    let draw = |name: &str| {
        let arguments = ["validate", "--table", "mine.csv", "--draws", "16", "--plot", name];
        let found = run_in(folder.path(), &arguments, b"");
        assert_eq!((found.status, found.stderr), (0, format!("note: drawn into {name}\n")));
        std::fs::read_to_string(folder.path().join(name)).unwrap()
    };
    let (one, other) = (draw("one.svg"), draw("other.svg"));
    assert_eq!(one, other);
    for wanted in ["<svg", "</svg>", "measured, °C", "predicted, °C", "unseen"] {
        assert!(one.contains(wanted), "{wanted}");
    }
    let mut names: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["mine.csv", "one.svg", "other.svg"]);
}

#[test]
fn faulty_rows_stop_it_all_at_once_with_their_lines() {
    let rows = [
        SLIP,
        "B-1,one,beeswax 100,rested,slip_c,,336,,point,open tube,uspnf,read,unseen,,",
        "B-2,one,beeswax 100,rested,slip_c,,63,,point,open tube,,read,unseen,,",
    ];
    let found = run_on("mine.csv", table(&rows), &["validate", "--table", "mine.csv"]);
    assert_eq!((found.status, found.stdout.as_str()), (1, ""), "{}", found.shown());
    for wanted in ["mine.csv:3:1", "is the unit right", "mine.csv:4:1", "not in sources.bib", "2 errors in all"] {
        assert!(found.stderr.contains(wanted), "{wanted}: {}", found.shown());
    }
}

#[test]
fn a_missing_table_and_an_unwritable_plot_are_named() {
    let missing = run(&["validate", "--table", "none.csv"]);
    assert_eq!(missing.status, 1);
    assert!(missing.stderr.contains("none.csv"), "{}", missing.shown());
    let arguments = ["validate", "--table", "mine.csv", "--draws", "16", "--plot", "no/such/folder.svg"];
    let unwritable = run_on("mine.csv", table(&[SLIP]), &arguments);
    assert_eq!(unwritable.status, 1, "{}", unwritable.shown());
    assert!(unwritable.stderr.contains("cannot be written"), "{}", unwritable.shown());
    assert!(!Path::new("no/such").exists());
}

/// The README opens with the figures that `validate` prints in the guide, which the test of its commands holds to the program.
#[test]
fn the_readme_opens_with_the_figures_of_validate() {
    let readme: Vec<&str> = include_str!("../../README.md").split_whitespace().collect();
    let guide: Vec<&str> = include_str!("../../docs/guide/src/trust.md").split_whitespace().collect();
    // The word before and the word after.
    let around = |words: &[&'static str], of: &[&str]| {
        let at = words.windows(of.len()).position(|some| some == of).unwrap();
        (words[at - 1], words[at + of.len()])
    };
    let told = around(&guide, &["unseen", "values", "read", "in", "their", "publication,"]);
    assert_eq!(
        around(&readme, &["values", "read", "in", "publications", "that", "nothing", "was", "fitted", "to,"]),
        told
    );
    assert!(told.0.parse::<usize>().unwrap() >= told.1.parse::<usize>().unwrap(), "{told:?}");
}
