//! What the user wrote is wrong: exit status 1, nothing on standard output, and a message that helps.

use std::fs::File;
use std::path::{Path, PathBuf};

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{run, run_in, run_on, run_with};

#[test]
fn unknown_ingredient() {
    assert_snapshot!(run(&["assess", "beeswax 26, mango buter 22, olive oil 52"]).shown(), @"
    exit 1
    stderr:
    error[unknown-ingredient]: no ingredient is called `mango buter`
     --> formula 1:1:13
      |
    1 | beeswax 26, mango buter 22, olive oil 52
      |             ^^^^^^^^^^^ not in the table
      |
      = hint: The nearest names are `mango-butter`, `mowrah-butter` and `cocoa-butter`.
    ");
}

#[test]
fn amounts_that_are_none() {
    assert_snapshot!(
        run(&["assess", "beeswax -3; shea butter 0; mango butter NaN; cocoa butter inf; olive oil 1e999; jojoba oil some"]).shown(),
        @"
    exit 1
    stderr:
    error[negative-amount]: `-3` is negative
     --> formula 1:1:9
      |
    1 | beeswax -3; shea butter 0; mango butter NaN; cocoa butter inf; olive oil 1e999; jojoba oil some
      |         ^^
      |
      = hint: Write an amount above 0.

    error[zero-amount]: `0` is zero
     --> formula 1:1:25
      |
    1 | beeswax -3; shea butter 0; mango butter NaN; cocoa butter inf; olive oil 1e999; jojoba oil some
      |                         ^
      |
      = hint: Leave the ingredient out, or write an amount above 0.

    error[amount-not-finite]: `NaN` is not a finite amount
     --> formula 1:1:41
      |
    1 | beeswax -3; shea butter 0; mango butter NaN; cocoa butter inf; olive oil 1e999; jojoba oil some
      |                                         ^^^
      |
      = hint: Write one plain number with an optional unit, such as `26`, `1.5 %` or `26 g`.

    error[amount-not-finite]: `inf` is not a finite amount
     --> formula 1:1:59
      |
    1 | beeswax -3; shea butter 0; mango butter NaN; cocoa butter inf; olive oil 1e999; jojoba oil some
      |                                                           ^^^
      |
      = hint: Write one plain number with an optional unit, such as `26`, `1.5 %` or `26 g`.

    error[amount-too-large]: `1e999` is above the largest amount taken, 1e12
     --> formula 1:1:74
      |
    1 | beeswax -3; shea butter 0; mango butter NaN; cocoa butter inf; olive oil 1e999; jojoba oil some
      |                                                                          ^^^^^
      |
      = hint: Check the number and the unit.

    error[amount-missing]: `jojoba oil some` has no amount
     --> formula 1:1:81
      |
    1 | beeswax -3; shea butter 0; mango butter NaN; cocoa butter inf; olive oil 1e999; jojoba oil some
      |                                                                                 ^^^^^^^^^^^^^^^ how much?
      |
      = hint: Write the amount by mass after the name, such as `beeswax 26`.

    6 errors in all
    "
    );
}

#[test]
fn volumes_with_the_mass() {
    assert_snapshot!(run(&["assess", "beeswax 26 g, sunflower oil 30 ml, olive oil 2 tbsp"]).shown(), @"
    exit 1
    stderr:
    error[volume]: `30 ml` is a volume, and parts are weighed
     --> formula 1:1:29
      |
    1 | beeswax 26 g, sunflower oil 30 ml, olive oil 2 tbsp
      |                             ^^^^^
      |
      = hint: Weigh it: 30 ml of sunflower oil is about 27.6 g at 20 °C.

    error[volume]: `2 tbsp` is a volume, and parts are weighed
     --> formula 1:1:46
      |
    1 | beeswax 26 g, sunflower oil 30 ml, olive oil 2 tbsp
      |                                              ^^^^^^
      |
      = hint: Weigh it: 2 tbsp of olive oil is about 26.9 g at 20 °C.

    2 errors in all
    ");
}

#[test]
fn temperature_as_amount() {
    assert_snapshot!(run(&["assess", "beeswax 95F, olive oil 5"]).shown(), @"
    exit 1
    stderr:
    error[temperature-as-amount]: `95F` is a temperature, not an amount
     --> formula 1:1:9
      |
    1 | beeswax 95F, olive oil 5
      |         ^^^
      |
      = hint: Write an amount by mass here; a temperature is given to the command, such as `--at
              25`.
    ");
}

#[test]
fn masses_and_shares_mixed() {
    assert_snapshot!(run(&["assess", "beeswax 26 g, olive oil 74 %"]).shown(), @"
    exit 1
    stderr:
    error[mixed-units]: `26 g` of `beeswax` in line 1, column 9 is a mass, but `74 %` of `olive oil` in line 1, column 25 is a share
     --> formula 1:1:25
      |
    1 | beeswax 26 g, olive oil 74 %
      |                         ^^^^ the other kind of amount
      |
      = hint: Write every amount as a mass, or every amount as a share.
    ");
}

#[test]
fn nothing_in_it() {
    for text in ["", " \n\t", "\u{feff}"] {
        let answer = run(&["assess", text]);
        assert_eq!(answer.status, 1, "{text:?}");
        assert!(answer.stderr.contains("error[empty]: formula 1 is empty"), "{}", answer.stderr);
    }
    assert_snapshot!(run_on("bar.toml", "", &["assess", "bar.toml"]).shown(), @"
    exit 1
    stderr:
    error[empty]: `bar.toml` is empty
    --> bar.toml
     = hint: Write each ingredient with its amount by mass, such as `beeswax 26, sunflower oil
             74`.
    ");
    assert_snapshot!(run_with("", &["assess", "-"]).shown(), @"
    exit 1
    stderr:
    error[empty]: standard input is empty
    --> standard input
     = hint: Write each ingredient with its amount by mass, such as `beeswax 26, sunflower oil
             74`.
    ");
}

#[test]
fn no_parts() {
    assert_snapshot!(run_on("bar.toml", "name = 'x'\n[parts]\n", &["assess", "bar.toml"]).shown(), @"
    exit 1
    stderr:
    error[no-parts]: the formula `x` has no parts
     --> bar.toml:2:2
      |
    2 | [parts]
      |  ^^^^^
      |
      = hint: Write each ingredient with its amount by mass, such as `beeswax 26, sunflower oil
              74`.
    ");
    assert_snapshot!(run_on("bar.csv", "ingredient,percent\n", &["assess", "bar.csv"]).shown(), @"
    exit 1
    stderr:
    error[no-parts]: the table has no parts below its header
     --> bar.csv:1:1
      |
    1 | ingredient,percent
      | ^^^^^^^^^^^^^^^^^^
      |
      = hint: Write a header line such as `ingredient,percent` and one line for each ingredient.
    ");
}

#[test]
fn a_word_that_may_be_a_file() {
    assert_snapshot!(run(&["assess", "winterbar"]).shown(), @"
    exit 1
    stderr:
    error[amount-missing]: `winterbar` has no amount
     --> formula 1:1:1
      |
    1 | winterbar
      | ^^^^^^^^^ how much?
      |
      = hint: Write the amount by mass after the name, such as `beeswax 26`.
      = hint: This was read as a formula; to name a file, write its ending too, such as `.toml`.
    ");
    assert_snapshot!(run(&["assess", "beeswax"]).shown(), @"
    exit 1
    stderr:
    error[amount-missing]: `beeswax` has no amount
     --> formula 1:1:1
      |
    1 | beeswax
      | ^^^^^^^ how much?
      |
      = hint: Write the amount by mass after the name, such as `beeswax 26`.
    ");
}

#[test]
fn missing_file() {
    assert_snapshot!(run_on("winter.toml", "", &["assess", "wintr.toml"]).shown(), @"
    exit 1
    stderr:
    error[no-file]: there is no file `wintr.toml`
    --> wintr.toml
     = hint: The nearest file there is `winter.toml`.
     = hint: A formula can be written in place of a file: 'beeswax 26, sunflower oil 74'.
    ");
    assert_snapshot!(run(&["assess", "winter.toml"]).shown(), @"
    exit 1
    stderr:
    error[no-file]: there is no file `winter.toml`
    --> winter.toml
     = hint: There is no formula file in that folder.
     = hint: A formula can be written in place of a file: 'beeswax 26, sunflower oil 74'.
    ");
    assert_snapshot!(run(&["assess", "none/winter.toml"]).shown(), @"
    exit 1
    stderr:
    error[no-file]: there is no file `none/winter.toml`
    --> none/winter.toml
     = hint: There is no folder `none`.
     = hint: A formula can be written in place of a file: 'beeswax 26, sunflower oil 74'.
    ");
}

#[test]
fn folder() {
    let folder = TempDir::new().unwrap();
    std::fs::create_dir(folder.path().join("bars")).unwrap();
    assert_snapshot!(run_in(folder.path(), &["assess", "bars"], b"").shown(), @"
    exit 1
    stderr:
    error[directory]: `bars` is a folder, not a file
    --> bars
     = hint: Write the name of a formula file in it.
    ");
}

#[test]
fn not_utf8() {
    assert_snapshot!(run_on("bar.txt", b"beeswax 26\noil \xe9 74\n", &["assess", "bar.txt"]).shown(), @"
    exit 1
    stderr:
    error[not-utf8]: `bar.txt` is not UTF-8 text: the byte at offset 15 is 0xE9
    --> bar.txt:2:5
     = hint: Save it again as UTF-8.
    ");
    assert_snapshot!(run_on("bar.txt", b"\xff\xfeb\0e\0e\0", &["assess", "bar.txt"]).shown(), @"
    exit 1
    stderr:
    error[not-utf8]: `bar.txt` is not UTF-8 text: the byte at offset 0 is 0xFF
    --> bar.txt:1:1
     = hint: It is UTF-16; save it again as UTF-8.
    ");
}

#[test]
fn a_very_large_file_is_refused_by_its_size() {
    let folder = TempDir::new().unwrap();
    File::create(folder.path().join("bar.toml")).unwrap().set_len(200_000_000).unwrap();
    let start = std::time::Instant::now();
    let answer = run_in(folder.path(), &["assess", "bar.toml"], b"");
    assert!(start.elapsed().as_secs() < 2, "it was read");
    assert_snapshot!(answer.shown(), @"
    exit 1
    stderr:
    error[too-large]: `bar.toml` has 200.0 MB, above the 1 MB taken
    --> bar.toml
     = hint: A formula has a few lines; check that this is the right file.
    ");
}

#[test]
fn standard_input_without_end_is_cut() {
    let answer = run_with(vec![b'x'; 3_000_000], &["assess", "-"]);
    assert_snapshot!(answer.shown(), @"
    exit 1
    stderr:
    error[too-large]: standard input goes on, above the 1 MB taken
    --> standard input
     = hint: A formula has a few lines; check that this is the right file.
    ");
}

#[cfg(unix)]
#[test]
fn a_device_without_end_is_cut() {
    let answer = run(&["assess", "/dev/zero"]);
    assert_eq!(answer.status, 1);
    assert!(answer.stderr.contains("error[too-large]"), "{}", answer.stderr);
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_read() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    /// A user that owns no file.
    const NOBODY: u32 = 65_534;
    let folder = TempDir::new().unwrap();
    let mode = |path: &std::path::Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    // Where the superuser runs the tests, somebody else has to run the command, who may not look into the folder it was built in.
    let program = folder.path().join("barwright");
    std::fs::copy(env!("CARGO_BIN_EXE_barwright"), &program).unwrap();
    std::fs::create_dir(folder.path().join("locked")).unwrap();
    for (name, hidden) in [("bar.toml", 0o000), ("bar", 0o000), ("locked/bar", 0o644)] {
        let path = folder.path().join(name);
        std::fs::write(&path, "[parts]\nbeeswax = 1\n").unwrap();
        mode(&path, hidden);
    }
    mode(&folder.path().join("locked"), 0o000);
    mode(folder.path(), 0o755);
    for name in ["bar.toml", "bar", "locked/bar"] {
        let mut command = std::process::Command::new(&program);
        command.current_dir(folder.path()).args(["assess", name]).env_remove("BARWRIGHT_PROFILE");
        if std::fs::metadata(folder.path()).unwrap().uid() == 0 {
            command.uid(NOBODY).gid(NOBODY);
        }
        let output = command.output().unwrap();
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{told}");
        assert!(told.starts_with(&format!("error[no-permission]: `{name}` may not be read")), "{told}");
    }
    mode(&folder.path().join("locked"), 0o755);
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_to_no_file_is_told_and_no_formula() {
    use std::os::unix::fs::symlink;
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name);
    for (to, name) in [("other", "bar"), ("bar", "other"), ("gone", "summer"), ("gone.toml", "winter.toml")] {
        symlink(to, at(name)).unwrap();
    }
    assert_snapshot!(run_in(folder.path(), &["assess", "bar"], b"").shown(), @"
    exit 1
    stderr:
    error[link]: `bar` cannot be read: it is a link that leads in a circle
    --> bar
     = hint: Name the file itself, or make the link anew.
    ");
    assert_snapshot!(run_in(folder.path(), &["assess", "bar/x.toml"], b"").shown(), @"
    exit 1
    stderr:
    error[link]: `bar/x.toml` cannot be read: it is a link that leads in a circle
    --> bar/x.toml
     = hint: Name the file itself, or make the link anew.
    ");
    assert_snapshot!(run_in(folder.path(), &["assess", "summer"], b"").shown(), @"
    exit 1
    stderr:
    error[link]: `summer` cannot be read: it is a link to `gone`, and there is no such file
    --> summer
     = hint: Name the file itself, or make the link anew.
    ");
    assert_snapshot!(run_in(folder.path(), &["assess", "winter.toml"], b"").shown(), @"
    exit 1
    stderr:
    error[link]: `winter.toml` cannot be read: it is a link to `gone.toml`, and there is no such file
    --> winter.toml
     = hint: Name the file itself, or make the link anew.
    ");
}

#[cfg(unix)]
#[test]
fn a_name_with_a_line_end_is_that_of_a_file_where_there_is_one() {
    let name = "beeswax 1\nolive oil 2";
    let inline = run(&["assess", name, "--draws", "16"]);
    assert_eq!(inline.status, 0, "{}", inline.stderr);
    let file = run_on(name, "[parts]\nbeeswax = 26\n'olive oil' = 74\n", &["assess", name, "--draws", "16"]);
    assert_eq!(file.status, 0, "{}", file.stderr);
    assert!(file.stderr.contains("read as a .toml file, going by its content"), "{}", file.stderr);
}

#[test]
fn a_name_longer_than_any_file_has() {
    let name = format!("{}.toml", "x".repeat(300));
    let answer = run(&["assess", &name]);
    assert_eq!(answer.status, 1, "{}", answer.shown());
    assert!(
        answer.stderr.contains("xxx.toml`: its name of 305 bytes is longer than the system takes"),
        "{}",
        answer.stderr
    );
    // Without an ending it is a formula, and a wrong one.
    let answer = run(&["assess", &"beeswax 26, olive oil 74, ".repeat(20)]);
    assert_eq!(answer.status, 0, "{}", answer.stderr);
}

#[test]
fn how_a_file_of_unknown_ending_was_read_is_said() {
    let note = |name: &str, text: &str| {
        let answer = run_on(name, text, &["assess", name, "--draws", "16"]);
        assert_eq!(answer.status, 0, "{}", answer.stderr);
        answer.stderr
    };
    let (toml, csv, text) = ("[parts]\nbeeswax = 26\n", "ingredient,percent\nbeeswax,100\n", "beeswax 26\n");
    assert_eq!(note("bar", toml), "note: bar: read as a .toml file, going by its content\n");
    assert_eq!(note("bar.dat", csv), "note: bar.dat: read as a .csv file, going by its content\n");
    assert_eq!(note("bar.txt", csv), "note: bar.txt: read as a .csv file, going by its content\n");
    assert_eq!(note("bar.md", text), "note: bar.md: read as plain text, going by its content\n");
    for (name, text) in [("bar.toml", toml), ("bar.CSV", csv), ("bar.txt", text)] {
        assert_eq!(note(name, text), "", "{name}");
    }
    // Where it cannot be read, how it was read says why.
    let answer = run_on("bar.dat", "[parts\nbeeswax 26\n", &["assess", "bar.dat"]);
    assert!(answer.stderr.starts_with("note: bar.dat: read as a .toml file"), "{}", answer.stderr);
}

#[test]
fn deep_nest() {
    let text = format!("[parts]\nx = {}{}\n", "[".repeat(100_000), "]".repeat(100_000));
    let answer = run_on("bar.toml", text, &["assess", "bar.toml"]);
    assert_eq!(answer.status, 1);
    assert!(answer.stderr.contains("error[toml-syntax]"), "{}", answer.stderr);
    assert!(answer.stderr.len() < 20_000, "{} bytes", answer.stderr.len());
}

#[test]
fn duplicate_and_unknown_keys() {
    let text = "nmae = 'x'\nbeeswax = 3\n[parts]\nbeeswax = 26\nbeeswax = 20\n\"olive oil\" = 5\n";
    assert_snapshot!(run_on("bar.toml", text, &["assess", "bar.toml"]).shown(), @"
    exit 1
    stderr:
    error[unknown-key]: `nmae` is not a key here
     --> bar.toml:1:1
      |
    1 | nmae = 'x'
      | ^^^^
      |
      = hint: The nearest key is `name`; `name`, `note` and `parts` can be written here.

    error[unknown-key]: `beeswax` is not a key here
     --> bar.toml:2:1
      |
    2 | beeswax = 3
      | ^^^^^^^
      |
      = hint: The nearest key is `name`; `name`, `note` and `parts` can be written here.
      = hint: An ingredient belongs below a line `[parts]`.

    error[duplicate-key]: the key `beeswax` is written twice
     --> bar.toml:5:1
      |
    5 | beeswax = 20
      | ^^^^^^^
      |
      = hint: Keep one of them.

    3 errors in all
    ");
}

#[test]
fn ragged_table() {
    let text = "ingredient,winter,summer\nbeeswax,20,26\nolive oil,80\nshea buter,1,2\n";
    assert_snapshot!(run_on("bars.csv", text, &["compare", "bars.csv"]).shown(), @"
    exit 1
    stderr:
    error[ragged-row]: line 3 has 2 fields, the header has 3; column 3 is the first that does not match
     --> bars.csv:3:11
      |
    3 | olive oil,80
      |           ^^
      |
      = hint: Give every row as many fields as the header; put a field with the delimiter in it
              into quotes.

    error[unknown-ingredient]: no ingredient is called `shea buter`
     --> bars.csv:4:1
      |
    4 | shea buter,1,2
      | ^^^^^^^^^^ not in the table
      |
      = hint: The nearest names are `shea-butter`, `sal-butter` and `soy-butter`.

    2 errors in all
    ");
}

#[test]
fn every_error_of_every_file_at_once() {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("a.toml"), "[parts]\nbeeswx = 3\n\"olive oil\" = -1\n").unwrap();
    std::fs::write(folder.path().join("b.csv"), "ingredient,percent\nshea buter,3\n").unwrap();
    std::fs::write(folder.path().join("lots.toml"), "[lot.mine]\nlik = 'beeswax'\n").unwrap();
    let answer = run_in(folder.path(), &["compare", "a.toml", "b.csv", "wax 3", "--lots", "lots.toml"], b"");
    // With the lots unread, a name that is not in the table may be a lot's and is no error yet.
    assert_snapshot!(answer.shown(), @r#"
    exit 1
    stderr:
    error[like-missing]: the lot `mine` has no key `like`
     --> lots.toml:1:6
      |
    1 | [lot.mine]
      |      ^^^^
      |
      = hint: Write the ingredient the lot is a delivery of, such as `like = "cocoa-butter"`; for
              what the table lacks its `kind`, such as `kind = "scent"`.

    error[unknown-key]: `lik` is not a key here
     --> lots.toml:2:1
      |
    2 | lik = 'beeswax'
      | ^^^
      |
      = hint: The nearest key is `like`; `like`, `kind`, `grain_um`, `name`, `species`, `melt_c`,
              `needle_dmm`, `price_per_kg`, `density_g_ml`, `nut_origin`, `animal_origin`,
              `flash_c`, `inci`, `limit_percent`, `allergens` and `best_before` can be written
              here.

    error[negative-amount]: `-1` is negative
     --> a.toml:3:15
      |
    3 | "olive oil" = -1
      |               ^^
      |
      = hint: Write an amount above 0.

    3 errors in all
    "#);
    let answer = run_in(folder.path(), &["compare", "a.toml", "b.csv", "c.toml"], b"");
    assert_eq!(answer.status, 1);
    for seen in ["a.toml:2:1", "a.toml:3:15", "b.csv:2:1", "c.toml", "4 errors in all"] {
        assert!(answer.stderr.contains(seen), "{seen}: {}", answer.stderr);
    }
}

#[test]
fn long_lines_are_cut() {
    let answer = run(&["assess", &format!("beeswax 26, {} 3", "x".repeat(90_000))]);
    assert_eq!(answer.status, 1);
    assert!(answer.stderr.len() < 1000, "{} bytes", answer.stderr.len());
    let line = format!("beeswax 26, olive oil 70{}, waxx 4", " ".repeat(50_000));
    assert_snapshot!(run_with(line, &["assess", "-"]).shown(), @"
    exit 1
    stderr:
    error[unknown-ingredient]: no ingredient is called `waxx`
     --> standard input:1:50027
      |
     ::: 
    1 | …                            , waxx 4
      |                                ^^^^ not in the table
      |
      = hint: The nearest name is `emulsifying-wax`.
    ");
}

#[test]
fn control_characters_are_shown_as_signs() {
    let text = "beeswax 26, \u{1b}[31mred\u{1b}[0m\u{7}\u{202e} 4";
    for answer in [run(&["assess", text]), run_with(text, &["assess", "-"])] {
        assert_eq!(answer.status, 1);
        assert!(
            answer.stderr.chars().all(|letter| letter == '\n' || !letter.is_control() && letter != '\u{202e}'),
            "{:?}",
            answer.stderr
        );
    }
    let answer = run_on(
        "a.toml",
        "name = \"a\\u001b[31mb\"\nnote = \"c\\u001bd\"\n[parts]\nbeeswax = 1\n",
        &["assess", "a.toml"],
    );
    assert_eq!(answer.status, 0);
    assert!(answer.stdout.starts_with("A␛[31mb  (rested)\nc␛d\n"), "{}", answer.stdout);
    let answer = run(&["ingredients", "\u{1b}[31m\u{9b}x"]);
    assert!(!answer.stderr.contains(['\u{1b}', '\u{9b}']), "{:?}", answer.stderr);
    let answer = run(&["assess", "\u{1b}[31m.toml"]);
    assert!(!answer.stderr.contains('\u{1b}'), "{:?}", answer.stderr);
}

#[test]
fn several_formulas_for_one() {
    let text = "ingredient,winter,summer\nbeeswax,20,26\nolive oil,80,74\n";
    assert_snapshot!(run_on("bars.csv", text, &["assess", "bars.csv"]).shown(), @"
    exit 1
    stderr:
    error[several-formulas]: there are 2 formulas, and `assess` takes one
     |
     = hint: To see them side by side, use `barwright compare`.
     = hint: To pick one, add `--formula NAME`; the names are `winter` and `summer`.
    ");
    assert_snapshot!(run_on("bars.csv", text, &["assess", "bars.csv", "--formula", "sumer"]).shown(), @"
    exit 1
    stderr:
    error[unknown-formula]: no formula is called `sumer`
     |
     = hint: The nearest names are `summer` and `winter`.
    ");
}

#[test]
fn one_formula_for_several() {
    assert_snapshot!(run(&["compare", "beeswax 30, olive oil 70"]).shown(), @"
    exit 1
    stderr:
    error[one-formula]: there is one formula, and `compare` takes two or more
     |
     = hint: Name a second formula, or use `barwright assess`.
    ");
}

#[test]
fn bad_lots() {
    let folder = TempDir::new().unwrap();
    let lots = "[lot.my-cocoa]\nlike = 'coco butter'\nprice = 3\n";
    std::fs::write(folder.path().join("lots.toml"), lots).unwrap();
    assert_snapshot!(
        run_in(folder.path(), &["assess", "my-cocoa 30, olive oil 70", "--lots", "lots.toml"], b"").shown(),
        @"
    exit 1
    stderr:
    error[unknown-ingredient]: no ingredient is called `coco butter`
     --> lots.toml:2:8
      |
    2 | like = 'coco butter'
      |        ^^^^^^^^^^^^^ not in the table
      |
      = hint: The nearest names are `cocoa-butter`, `coconut-oil-76` and `cupuacu-butter`.

    error[unknown-key]: `price` is not a key here
     --> lots.toml:3:1
      |
    3 | price = 3
      | ^^^^^
      |
      = hint: The nearest key is `price_per_kg`; `like`, `kind`, `grain_um`, `name`, `species`,
              `melt_c`, `needle_dmm`, `price_per_kg`, `density_g_ml`, `nut_origin`,
              `animal_origin`, `flash_c`, `inci`, `limit_percent`, `allergens` and `best_before`
              can be written here.

    2 errors in all
    "
    );
    assert_snapshot!(run_in(folder.path(), &["assess", "lots.toml"], b"").shown(), @"
    exit 1
    stderr:
    error[unknown-key]: `lot` is not a key here
     --> lots.toml:1:2
      |
    1 | [lot.my-cocoa]
      |  ^^^
      |
      = hint: The nearest key is `note`; `name`, `note` and `parts` can be written here.
      = hint: A file of lots is named behind `--lots`.
    ");
}

#[test]
fn nothing_makes_it_panic() {
    let texts = ["\0", "💧 3", "beeswax 26,,,,", "=", "[parts", "a\u{0}b 3", "ingredient", ",", "-0", "∞ 1", "\"", "#"];
    for text in texts {
        for name in ["bar.toml", "bar.csv", "bar.txt"] {
            let answer = run_on(name, text, &["assess", name]);
            assert_eq!((answer.status, answer.stdout.as_str()), (1, ""), "{text:?} in {name}");
        }
    }
}

/// A negative scent is refused in a formula file at its place, and behind `--scent` however it is written.
#[test]
fn a_scent_of_less_than_nothing() {
    let bar = "[parts]\nbeeswax = 26\n'olive oil' = 74\n'lavender oil' = '-3 %'\n'kaolin' = -1\n";
    assert_snapshot!(run_on("bar.toml", bar, &["assess", "bar.toml"]).shown(), @"
    exit 1
    stderr:
    error[negative-amount]: `-3 %` is negative
     --> bar.toml:4:18
      |
    4 | 'lavender oil' = '-3 %'
      |                  ^^^^^^
      |
      = hint: Write an amount above 0.

    error[negative-amount]: `-1` is negative
     --> bar.toml:5:12
      |
    5 | 'kaolin' = -1
      |            ^^
      |
      = hint: Write an amount above 0.

    2 errors in all
    ");
    let batch = ["batch", "beeswax 26, olive oil 74", "--bars", "4", "--bar", "50g"];
    assert_snapshot!(run(&[&batch[..], &["--scent", "lavender oil=-3%"]].concat()).shown(), @"
    exit 1
    stderr:
    error[bad-scent]: --scent: `-3%` is negative
     |
     = hint: Write a name and an amount: `spring-scent=6ml` or `spring-scent=5.5g`.
     = hint: A share of the bar in % belongs in the formula.
    ");
    assert_snapshot!(run(&[&batch[..], &["--scent", "-3%"]].concat()).shown(), @"
    exit 1
    stderr:
    error[bad-scent]: --scent: `-3%` has no `=`
     |
     = hint: Write a name and an amount: `spring-scent=6ml` or `spring-scent=5.5g`.
    ");
    let share = run(&[&batch[..], &["--scent", "lavender oil=3%"]].concat());
    assert!(share.status == 1 && share.stderr.contains("belongs in the formula"), "{}", share.shown());
}

/// No part of a bar is more than the bar: in a text, a file and a table.
#[test]
fn a_powder_of_more_than_the_whole_bar() {
    let bar = "[parts]\nbeeswax = '26 %'\nkaolin = '120 %'\n'green clay' = '101%'\n";
    assert_snapshot!(run_on("bar.toml", bar, &["assess", "bar.toml"]).shown(), @"
    exit 1
    stderr:
    error[over-whole]: 120 % is more than the whole bar, 100 %
     --> bar.toml:3:10
      |
    3 | kaolin = '120 %'
      |          ^^^^^^^
      |
      = hint: Write a share of the bar in %, or parts by mass without `%`: those may have any sum.

    error[over-whole]: 101 % is more than the whole bar, 100 %
     --> bar.toml:4:16
      |
    4 | 'green clay' = '101%'
      |                ^^^^^^
      |
      = hint: Write a share of the bar in %, or parts by mass without `%`: those may have any sum.

    2 errors in all
    ");
    let table = "ingredient,percent\nbeeswax,26\nkaolin,120\n";
    let answer = run_on("bar.csv", table, &["assess", "bar.csv"]);
    assert!(answer.status == 1 && answer.stderr.contains("bar.csv:3:8"), "{}", answer.shown());
    let inline = run(&["pour", "beeswax 26 %, kaolin 120 %", "--mass", "100g"]);
    assert!(inline.status == 1 && inline.stderr.contains("over-whole"), "{}", inline.shown());
    // Parts by mass may have any sum.
    assert_eq!(run(&["assess", "beeswax 126, kaolin 120, olive oil 300", "--draws", "16"]).status, 0);
}

#[test]
fn what_a_certificate_cannot_say_in_a_lot() {
    let lots = "[lot.may-wax]\nkind = 'buter'\nmelt_c = 35\n\
        [lot.old-wax]\nclass = 'wax'\nlike = 'beeswax'\n\
        [lot.spring-scent]\nlike = 'sunflower oil'\nflash_c = 15\nlimit_percent = 120\nallergens = { Linalool = 130 }\n";
    assert_snapshot!(run_on("lots.toml", lots, &["assess", "beeswax 1, olive oil 3", "--lots", "lots.toml"]).shown(), @r#"
    exit 1
    stderr:
    error[unknown-kind]: `buter` is not a kind
     --> lots.toml:2:8
      |
    2 | kind = 'buter'
      |        ^^^^^^^
      |
      = hint: The nearest kind is `butter`. Write `wax`, `butter`, `oil`, `ester`,
              `fatty-alcohol`, `fatty-acid`, `hydrocarbon`, `scent`, `powder` or `other`.

    error[unknown-key]: `class` is not a key here
     --> lots.toml:5:1
      |
    5 | class = 'wax'
      | ^^^^^
      |
      = hint: What the table lacks is described by its `kind`, such as `kind = "wax"`.

    error[out-of-range]: `flash_c` is 15, outside 20 to 400 °C
     --> lots.toml:9:11
      |
    9 | flash_c = 15
      |           ^^
      |
      = hint: Write the flash point of its data sheet in °C; what flashes in a room does not go
              into a melt.

    error[out-of-range]: `limit_percent` is 120, outside 0.0001 to 100 mass %
      --> lots.toml:10:17
       |
    10 | limit_percent = 120
       |                 ^^^
       |
       = hint: Write the most that its certificate allows, in % of the bar.

    error[out-of-range]: `Linalool` is 130, outside 0 to 100 mass %
      --> lots.toml:11:26
       |
    11 | allergens = { Linalool = 130 }
       |                          ^^^
       |
       = hint: Check the number and its unit.

    5 errors in all
    "#);
}

/// The bytes of every file of a folder; none of one that is not there.
fn bytes(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<_> =
        entries.map(|entry| entry.unwrap().path()).map(|path| (path.clone(), std::fs::read(path).unwrap())).collect();
    files.sort();
    files
}

/// Stock never falls below nothing, and whoever tries changes no byte of the profile.
#[test]
fn stock_below_nothing_changes_no_byte() {
    let folder = TempDir::new().unwrap();
    let (path, profile) = (folder.path(), folder.path().join("p"));
    let at = |arguments: &[&str]| run_in(path, &[&["--profile", "p"], arguments].concat(), b"");
    let lot = ["records", "lot", "W-1", "--like", "beeswax"];
    let negative = at(&[&lot[..], &["--mass", "-5g"]].concat());
    assert_eq!(negative.status, 2);
    assert!(negative.stderr.contains("`-5g` is negative; write such as `350g`"), "{}", negative.shown());
    assert!(!profile.exists(), "a profile was made for nothing");

    assert_eq!(at(&[&lot[..], &["--mass", "100g"]].concat()).status, 0);
    let before = bytes(&profile);
    assert!(!before.is_empty());
    let batch = ["batch", "beeswax 26, olive oil 74", "--bar", "50g", "--no-plans", "--bars"];
    let record = ["20", "--number", "B-1", "--record", "--from"];
    for (arguments, status, words) in [
        (
            [&batch[..], &record[..], &["beeswax=W-1"]].concat(),
            1,
            "of the lot `W-1` 100 g are left, and the batch takes 274 g",
        ),
        ([&batch[..], &record[..], &["beeswax=W-1:-5g"]].concat(), 1, "--from: `-5g` is negative"),
        ([&batch[..], &["4", "--have", "beeswax=-3g"]].concat(), 1, "--have: `-3g` is negative"),
        ([&batch[..], &["4", "--have", "-3g"]].concat(), 1, "--have: `-3g` has no `=`"),
        ([&batch[..], &["4", "--labour", "-3"]].concat(), 2, "`-3` is outside"),
        (vec!["records", "lot", "W-2", "--like", "beeswax", "--mass", "-5g"], 2, "`-5g` is negative"),
        (vec!["records", "lot", "W-2", "--like", "beeswax", "--mass", "0g"], 2, "`0g` is zero"),
        (vec!["records", "lot", "W-2", "--like", "beeswax", "--price", "-3"], 2, "`-3` is outside"),
    ] {
        let refused = at(&arguments);
        assert_eq!((refused.status, refused.stdout.as_str()), (status, ""), "{arguments:?}: {}", refused.shown());
        assert!(refused.stderr.contains(words), "{arguments:?}: {}", refused.shown());
        assert!(bytes(&profile) == before, "{arguments:?} changed the profile");
    }
}
