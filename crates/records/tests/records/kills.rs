//! A command killed at any moment loses nothing it acknowledged.

use std::collections::HashMap;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::thread;
use std::time::Duration;

use barwright_records::{Batch, FILE_NAME, Kind, Store};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use crate::support::{acknowledge, acknowledged, again, batch, other_command, store, today, trial};

/// Kills.
const KILLS: u32 = 200;
/// Kills before a fresh folder, so that some of them fall while records are being made.
const KILLS_A_FOLDER: u32 = 10;
/// The longest a command lives, microseconds.
const LONGEST_US: u64 = 60_000;
/// The longest the first command of a folder lives, microseconds: it is to be killed while it makes the records.
const LONGEST_FIRST_US: u64 = 25_000;
/// Batches of one import.
const IMPORTED: usize = 200;

/// The batch that a command of this tag adds in this step.
fn added(tag: &str, step: u32) -> Batch {
    batch(&format!("{tag}-{step}"), &[("wax 1", 225.0 + f64::from(step)), ("oil 1", 375.0)])
}

/// The name of one imported batch.
fn imported(name: &str, index: usize) -> String {
    format!("{name}/{index}")
}

/// Adds records for ever and says so after each.
fn add_for_ever(folder: &Path, tag: &str) {
    let mut store = store(folder);
    for step in 0.. {
        let name = format!("{tag}-{step}");
        match step % 3 {
            0 => {
                store.add_batch(&added(tag, step), today()).unwrap();
                acknowledge(&format!("batch {name}"));
            }
            1 => {
                let id = store.add_trial(&trial(&name), today()).unwrap();
                acknowledge(&format!("trial {id} {name}"));
            }
            _ => {
                let rows: String = (0..IMPORTED)
                    .map(|index| format!("{},2026-11-20,hand bar,600,wax 1,225\n", imported(&name, index)))
                    .collect();
                let table = format!("batch,poured_on,formula,mass_g,lot,lot_mass_g\n{rows}");
                store.import_csv(Kind::Batches, &table, today()).unwrap();
                acknowledge(&format!("import {name}"));
            }
        }
    }
}

/// Compares the records with every acknowledgement so far and returns how many records there are.
fn compare(store: &Store, acks: &[String]) -> usize {
    store.check(today()).unwrap();
    let batches: HashMap<String, Batch> =
        store.batches().unwrap().into_iter().map(|batch| (batch.number.clone(), batch)).collect();
    let trials: HashMap<i64, String> =
        store.trials(None).unwrap().into_iter().map(|kept| (kept.id, kept.record.note.unwrap_or_default())).collect();
    for ack in acks {
        match ack.split(' ').collect::<Vec<_>>()[..] {
            ["batch", name] => {
                let (tag, step) = name.split_once('-').unwrap();
                assert_eq!(batches[name], added(tag, step.parse().unwrap()));
            }
            ["trial", id, name] => assert_eq!(trials[&id.parse::<i64>().unwrap()], name),
            ["import", name] => {
                assert!((0..IMPORTED).all(|index| batches.contains_key(&imported(name, index))), "{name}");
            }
            _ => panic!("{ack}"),
        }
    }
    // What was not acknowledged is there whole or not at all.
    let mut of_import: HashMap<&str, usize> = HashMap::new();
    for (name, _) in batches.keys().filter_map(|number| number.split_once('/')) {
        *of_import.entry(name).or_default() += 1;
    }
    assert!(of_import.values().all(|count| *count == IMPORTED), "{of_import:?}");
    let single = batches.len() - of_import.len() * IMPORTED;
    single + of_import.len() + trials.len()
}

#[test]
fn two_hundred_kills_lose_nothing_acknowledged() {
    if let Some((folder, tag)) = other_command() {
        return add_for_ever(&folder, &tag);
    }
    let mut random = Pcg64::seed_from_u64(6);
    let (mut all, mut halfway, mut making, mut unsaid) = (0, 0, 0, 0);
    let mut folder = tempfile::tempdir().unwrap();
    let mut acks: Vec<String> = Vec::new();
    for kill in 0..KILLS {
        let is_first = kill % KILLS_A_FOLDER == 0;
        if is_first {
            folder = tempfile::tempdir().unwrap();
            acks.clear();
        }
        let longest_us = if is_first { LONGEST_FIRST_US } else { LONGEST_US };
        let test = "kills::two_hundred_kills_lose_nothing_acknowledged";
        let mut child = again(test, folder.path(), &format!("k{kill}")).spawn().unwrap();
        let mut stdout = BufReader::new(child.stdout.take().unwrap());
        let mut output = String::new();
        // The first of a folder may be killed before it gets to work; the others are given the time to begin.
        while !is_first && acknowledged(&output).is_empty() {
            assert!(stdout.read_line(&mut output).unwrap() > 0, "{output}");
        }
        thread::sleep(Duration::from_micros(random.random_range(0..longest_us)));
        child.kill().unwrap();
        assert!(!child.wait().unwrap().success(), "it should have been killed");
        stdout.read_to_string(&mut output).unwrap();
        let said = acknowledged(&output);
        all += said.len();
        acks.extend(said.into_iter().map(str::to_owned));
        halfway += usize::from(folder.path().join(format!("{FILE_NAME}-journal")).exists());
        making += usize::from(!folder.path().join(FILE_NAME).exists());
        let there = compare(&Store::open(folder.path()).unwrap(), &acks);
        // Each killed command may have added one record it had no time to acknowledge.
        let rounds = usize::try_from(kill % KILLS_A_FOLDER + 1).unwrap();
        assert!((acks.len()..=acks.len() + rounds).contains(&there), "{there} records, {} said", acks.len());
        unsaid = there - acks.len();
    }
    println!(
        "{KILLS} kills: {all} records acknowledged, all there; {halfway} kills left a half-done transaction, {making} \
         came before there were records; {unsaid} records of the last folder were kept but not yet acknowledged"
    );
    assert!(all >= usize::try_from(KILLS - KILLS / KILLS_A_FOLDER).unwrap(), "{all}");
    assert!(halfway > 0, "some kills should fall into a transaction");
}
