//! Every number of every command at values that no maker writes: each is refused in words that say what is taken, or is a value the
//! command can work with.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout, reason = "a test may stop at the first surprise")]

use clap::error::{ContextKind, ErrorKind};
use clap::{Arg, Command, CommandFactory};

use super::Args;

/// Numbers next to nothing: some options take them for 0, and tests/cli/extremes.rs runs those.
const TINY: [&str; 3] = ["1e-308", "5e-324", "-5e-324"];

/// Numbers at the other end of what a computer holds, and what is none: nothing takes them.
const HUGE: [&str; 9] = [
    "1e308",
    "-1e308",
    "1e999",
    "nan",
    "inf",
    "-inf",
    "99999999999999999999999999",
    "18446744073709551615",
    "-9223372036854775808",
];

/// Ways to write a number as a value of this name; `None` for a name that is no number's.
fn ways(value_name: &str) -> Option<&'static [&'static str]> {
    Some(match value_name {
        "TEMP" => &["{}", "{}C", "{}F"],
        "TEMPS" => &["{}", "20,{}F"],
        "PERCENT" => &["{}", "{}%"],
        "PRICE" | "N" | "DAYS" => &["{}"],
        "LENGTH" => &["{}", "{}mm", "{}in", "1/{}in"],
        "MASS" => &["{}g", "{}kg", "{}oz"],
        "WATTS" => &["{}", "{}W"],
        "FIRMNESS" => &["{}kPa", "{}psi", "{}%@25C", "30%@{}C", "{}..40%"],
        "SIZE" => &["{}x40x20mm", "60x{}mm", "{}x{}in"],
        "BARS" => &["{}", "1-{}"],
        "NAME=TEMP" => &["cellar={}C"],
        // What they may be is for the trial to say: tests/cli/extremes.rs has those.
        "KELVIN" | "DEPTH" | "GRAMS" | "HOURS" => &[],
        // Of a colour. Scents and bounds are read by the command itself: tests/cli/extremes.rs has those.
        "NAME=AMOUNT" => &["green={}g", "green={} tsp@0.35g/ml", "green=1ml@{}g/ml", "green=2g#{}"],
        "NAME=LOW..HIGH" => &[],
        "FILE" | "FOLDER" | "NAME" | "TEXT" | "INGREDIENT" | "INGREDIENT=LOT" | "LOT" | "ROUTE" | "FORMULA"
        | "DATE" | "ADDR" | "WHEN" | "STATE" | "UNITS" | "KIND" | "MARKET" | "AIM" => return None,
        other => panic!("say in this test what a {other} is"),
    })
}

/// Every command that does something, with its options.
fn commands(command: &Command, path: &str, found: &mut Vec<(String, Command)>) {
    if !command.has_subcommands() {
        found.push((path.to_owned(), command.clone()));
    }
    for inner in command.get_subcommands() {
        commands(inner, format!("{path} {}", inner.get_name()).trim(), found);
    }
}

/// What comes of a value of an option: why it is refused, or nothing.
fn refusal(command: &Command, option: &Arg, value: &str) -> Option<String> {
    let written = format!("--{}={value}", option.get_long().unwrap());
    let error = command.clone().try_get_matches_from(["barwright", written.as_str()]).err()?;
    // Values are read before it is seen that something else is missing.
    match error.kind() {
        ErrorKind::ValueValidation | ErrorKind::InvalidValue => {
            assert!(error.get(ContextKind::InvalidValue).is_some(), "{error}");
            Some(error.to_string().lines().next().unwrap_or_default().to_owned())
        }
        ErrorKind::MissingRequiredArgument => None,
        _ => panic!("{written}: {error}"),
    }
}

#[test]
fn numbers_no_maker_writes_are_refused_in_words() {
    let mut all = Vec::new();
    commands(&Args::command(), "", &mut all);
    let mut taken = Vec::new();
    let mut numbers = 0;
    for (path, command) in &all {
        for option in command.get_opts().filter(|option| option.get_action().takes_values() && !option.is_hide_set()) {
            let name = option.get_value_names().and_then(|names| names.first()).map_or("", |name| name.as_str());
            // A scent, and what there is, are read by the command itself: tests/cli/extremes.rs has those.
            let Some(ways) = ways(name).filter(|_| option.get_id() != "scent" && option.get_id() != "have") else {
                continue;
            };
            numbers += 1;
            for (way, extreme) in
                ways.iter().flat_map(|way| TINY.into_iter().chain(HUGE).map(move |extreme| (way, extreme)))
            {
                let value = way.replace("{}", extreme);
                let Some(told) = refusal(command, option, &value) else {
                    // One part of a huge number is next to nothing.
                    if HUGE.contains(&extreme) && !way.starts_with("1/") {
                        taken.push(format!("--{}={value}", option.get_long().unwrap()));
                    }
                    continue;
                };
                let (_, why) = told.split_once("': ").or_else(|| told.split_once(">': ")).unwrap_or(("", &told));
                println!("{path} --{}={value}: {why}", option.get_long().unwrap());
                let says_what =
                    why.replace(&value, "").replace(extreme, "").chars().any(|letter| letter.is_ascii_digit());
                let is_none = ["not a number", "not a temperature", "not finite", "not a finite"];
                assert!(says_what || is_none.iter().any(|words| why.contains(words)), "{path}: {told}");
                assert!(told.len() < 400, "{path}: {} bytes: {told}", told.len());
                assert!(!why.contains("NaN") || extreme == "nan", "{path}: {told}");
            }
        }
    }
    assert!(numbers > 60, "{numbers}");
    // A seed is any number of 64 bits.
    taken.retain(|taken| taken != "--seed=18446744073709551615");
    assert_eq!(taken, [""; 0]);
}
