//! The command line is wrong: exit status 2. Help and version: exit status 0.

use insta::assert_snapshot;

use crate::{command, run};

#[test]
fn wrong_command_lines() {
    for arguments in [
        &[][..],
        &["asess", "x"],
        &["assess"],
        &["compare"],
        &["assess", "beeswax 1", "--colour"],
        &["assess", "beeswax 1", "--at", "warm"],
        &["assess", "beeswax 1", "--at", "20,,25"],
        &["assess", "beeswax 1", "--at", "500"],
        &["assess", "beeswax 1", "--at", "nan"],
        &["assess", "beeswax 1", "--at"],
        &["assess", "beeswax 1", "--hold", "-300"],
        &["assess", "beeswax 1", "--release", "121"],
        &["assess", "beeswax 1", "--relief", "0"],
        &["assess", "beeswax 1", "--relief", "1e999"],
        &["assess", "beeswax 1", "--relief", "3 km"],
        &["assess", "beeswax 1", "--draws", "15"],
        &["assess", "beeswax 1", "--draws", "4097"],
        &["assess", "beeswax 1", "--draws", "many"],
        &["assess", "beeswax 1", "--seed", "-1"],
        &["assess", "beeswax 1", "--state", "molten"],
        &["assess", "beeswax 1", "--units", "imperial"],
        &["assess", "beeswax 1", "olive oil 2"],
        &["compare", "-", "-"],
        &["compare", "-", "beeswax 1", "--lots", "-"],
        &["ingredients", "--kind", "metal"],
        &["--color", "pink", "ingredients"],
    ] {
        let answer = run(arguments);
        assert_eq!((answer.status, answer.stdout.as_str()), (2, ""), "{arguments:?}: {}", answer.stderr);
        assert!(!answer.stderr.is_empty(), "{arguments:?}");
    }
}

/// Pigment and the colour of the screen: neither is taken for the other.
#[test]
fn what_colours_a_bar_is_a_pigment() {
    let bar = ["batch", "beeswax 1, olive oil 3", "--bars", "4", "--bar", "50g", "--no-plans"];
    let batch = |more: &[&str]| run(&[&bar[..], more].concat());
    assert_snapshot!(batch(&["--colour", "CI 77491=2g"]).shown(), @"
    exit 2
    stderr:
    error: unexpected argument '--colour <colour>' found

      tip: a similar argument exists: '--pigment'
      tip: `--color` is for this screen

    Usage: barwright batch [OPTIONS] <FORMULA>

    For more information, try '--help'.
    ");
    let both = batch(&["--pigment", "CI 77491=2g", "--color", "never"]);
    assert!(both.status == 0 && both.stdout.contains("CI 77491"), "{}", both.shown());
    assert_eq!(batch(&["--color", "CI 77491=2g"]).status, 2);
}

#[test]
fn an_empty_profile_is_none_in_the_environment_and_a_mistake_on_the_command_line() {
    let in_environment = |arguments: &[&str]| {
        let output = command().env("BARWRIGHT_PROFILE", "").args(arguments).output().unwrap();
        (output.status.code().unwrap(), String::from_utf8(output.stderr).unwrap())
    };
    assert_eq!(in_environment(&["assess", "beeswax 1", "--draws", "16"]), (0, String::new()));
    assert_eq!(in_environment(&["ingredients"]), (0, String::new()));
    let (status, told) = in_environment(&["records", "list"]);
    assert_eq!(status, 2);
    assert!(told.starts_with("error[no-profile]: no folder was named to keep records in"), "{told}");
    assert_snapshot!(run(&["--profile", "", "assess", "beeswax 1"]).shown(), @"
    exit 2
    stderr:
    error: a value is required for '--profile <FOLDER>' but none was supplied

    For more information, try '--help'.
    ");
    assert_eq!(run(&["assess", "beeswax 1", "--profile="]).status, 2);
    // The command line goes before the environment.
    let (status, told) = in_environment(&["--profile", "no such folder", "assess", "beeswax 1"]);
    assert_eq!(status, 1);
    assert!(told.contains("no such folder"), "{told}");
}

#[test]
fn messages_say_what_to_write() {
    assert_snapshot!(run(&["assess", "beeswax 1", "--at", "20,warm,25,-300"]).shown(), @"
    exit 2
    stderr:
    error: invalid value '20,warm,25,-300' for '--at <TEMPS>': `warm` is not a temperature; `-300` is -300 °C, below absolute zero at -273.15 °C; write temperatures such as `20,25,95F`

    For more information, try '--help'.
    ");
    assert_snapshot!(run(&["assess", "beeswax 1", "--relief", "3 km"]).shown(), @"
    exit 2
    stderr:
    error: invalid value '3 km' for '--relief <LENGTH>': a length is a number with mm, cm or in, such as `0.8mm` or `1/32in`

    For more information, try '--help'.
    ");
    assert_snapshot!(run(&["compare", "-", "-"]).shown(), @"
    exit 2
    stderr:
    error[stdin-twice]: `-` is written more than once, and standard input can be read only once
     |
     = hint: Put the other text into a file and write its name.
    ");
}

#[test]
fn help_and_version() {
    for arguments in [
        &["--help"][..],
        &["-h"],
        &["assess", "--help"],
        &["compare", "-h"],
        &["ingredients", "--help"],
        &["--version"],
    ] {
        let answer = run(arguments);
        assert_eq!((answer.status, answer.stderr.as_str()), (0, ""), "{arguments:?}");
        assert!(answer.stdout.lines().all(|line| line.chars().count() <= 100), "{}", answer.stdout);
    }
    for subcommand in ["assess", "compare", "ingredients"] {
        let help = run(&[subcommand, "--help"]).stdout;
        let examples = help.matches(&format!("\n  barwright {subcommand} ")).count();
        assert!((2..=3).contains(&examples), "{subcommand}: {examples} examples");
    }
}

#[test]
fn help_of_assess() {
    assert_snapshot!(run(&["assess", "-h"]).stdout, @"
    Predict one formula: firmness, fine detail, warmth, feel on skin, risk of grain

    Usage: barwright assess [OPTIONS] <FORMULA>

    Arguments:
      <FORMULA>  The formula: a file, `-` for standard input, or a text

    Options:
          --formula <NAME>   Assess the formula of this name, when the file holds several
          --mould <FILE>     Your mould: the verdict is about its finest relief, and the mass of a bar
                             is worked out
          --why              Show what one more percent of each ingredient does: what makes this bar
                             soft, or firm
          --at <TEMPS>       Temperatures in the tables: include those of your coldest store and hottest
                             van [default: 20,25,30,35]
          --state <STATE>    Crystal state of the bar in use: `fresh` if it is used within hours,
                             `tempered` if you temper [default: rested] [possible values: fresh, rested,
                             tempered]
          --lots <FILE>      Your own deliveries, when a lot differs from the usual; its lots can be
                             used by name
          --release <TEMP>   Temperature of the bar when it leaves the mould: lower it if you unmould
                             from a fridge [default: 20]
          --relief <LENGTH>  Finest relief of your mould, in mm or in: the thinnest raised line that
                             must come out whole. Without it, 0.8 mm
          --hold <TEMP>      Temperature the bar must keep its shape at for a day: raise it for summer
                             post [default: 40]
      -h, --help             Print help (see more with '--help')

    Output:
          --plot <FILE>    Save the picture to a file: SVG or PNG, by its extension
          --draw           Draw the picture below the answer, in text
          --units <UNITS>  Units shown: `us` for °F, oz, psi and inches; JSON is always metric [default:
                           metric] [possible values: metric, us]
          --json           Print one JSON document and nothing else, for scripts
          --cautions       Show every caution in full: heat, scent, nuts, labels

    Precision:
          --draws <N>  Simulated draws behind each interval, 16 to 4096: more make its ends steadier
                       [default: 256]
          --seed <N>   Random seed: change it to see how much of an interval is luck of the draw
                       [default: 20]

    Every command:
          --color <WHEN>      Use colour: `never` when another program reads the output, `always` to
                              keep it through a pager [default: auto] [possible values: auto, always,
                              never]
          --profile <FOLDER>  Your folder: your deliveries (`lots.toml`), your records, and what your
                              bench tests taught

    A FORMULA is one of:
      a text            'beeswax 26, mango butter 22, sunflower oil 52'
      a .toml file      a [parts] table with one `ingredient = amount` a line
      a .csv file       one formula a column, or columns formula, ingredient, percent
      -                 any of these from standard input
    Amounts are parts by mass of any total, percent, or masses (g, oz, ...); volumes are not taken.

    Examples:
      barwright assess 'beeswax 26, mango butter 22, shea butter 10, sunflower oil 42'
      barwright assess winter.toml --at 5,20,95F --hold 45
      barwright assess season.csv --formula summer --lots my-lots.toml --json
    ");
}
