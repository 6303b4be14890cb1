//! `batch --record`: the pour goes into the records, with the deliveries weighed in.

use std::path::Path;

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, run_in};

const LOTS: &str = "[lot.my-wax]\nlike = 'beeswax'\n[lot.spring-scent]\nlike = 'isopropyl myristate'\n\
                    density_g_ml = 0.92\nlimit_percent = 2\n";

/// A profile with deliveries, and a bar made from one of them.
fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    std::fs::create_dir(folder.path().join("bench")).unwrap();
    std::fs::write(folder.path().join("bench/lots.toml"), LOTS).unwrap();
    let bar = "name = 'Fern bar'\n[parts]\nmy-wax = 30\n'cocoa butter' = 30\n'sunflower oil' = 40\n";
    std::fs::write(folder.path().join("bar.toml"), bar).unwrap();
    folder
}

/// A recall tells a scent from the oil whose density it has, and what is kept of it is no nut.
#[test]
fn a_recall_tells_a_scent_from_an_oil() {
    let folder = workshop();
    let path = folder.path();
    let lots = "[lot.my-wax]\nlike = 'beeswax'\n[lot.spice]\nlike = 'sweet almond oil'\nlimit_percent = 2\n\
                [lot.mild]\nlike = 'sweet almond oil'\n";
    std::fs::write(path.join("bench/lots.toml"), lots).unwrap();
    let poured = pour(path, "S-1", &["--scent", "spice=6g", "--scent", "mild=2g"]);
    assert_eq!(poured.status, 0, "{}", poured.shown());
    let traced = at(path, &["records", "trace", "S-1"]).stdout;
    assert!(traced.contains("scent (like sweet-almond-oil)"), "{traced}");
    assert!(at(path, &["records", "trace", "spice"]).stdout.contains("scent (like sweet-almond-oil)"));
    let kept = at(path, &["records", "list", "lots", "--json"]).json();
    let kept = kept.to_string();
    assert_eq!(kept.matches(r#""nut_origin":"no""#).count(), 2, "{kept}");
}

fn at(folder: &Path, arguments: &[&str]) -> Run {
    run_in(folder, &[&["--profile", "bench"], arguments].concat(), b"")
}

/// Records a batch of 12 bars of 50 g.
fn pour(folder: &Path, number: &str, more: &[&str]) -> Run {
    let arguments = ["batch", "bar.toml", "--bars", "12", "--bar", "50g", "--left", "0", "--no-plans", "--record"];
    at(folder, &[&arguments[..], &["--number", number, "--date", "2026-10-02"], more].concat())
}

#[test]
fn what_was_poured_is_in_the_records_with_its_deliveries() {
    let folder = workshop();
    let path = folder.path();
    let more = [
        "--from",
        "cocoa butter=C-17/2:100g",
        "--from",
        "cocoa butter=C-18",
        "--scent",
        "spring-scent=6ml",
        "--pigment",
        "CI 77491=2g",
        "--note",
        "relief of the third bar soft",
    ];
    let poured = pour(path, "F-0007", &more);
    assert_snapshot!(poured.stderr, @"
    note: batch F-0007 is in the records as Fern bar: 12 bars, 4 deliveries
    note: no delivery was named for sunflower-oil: `--from 'sunflower-oil=WHAT STANDS ON THE BAG'` lets a recall find it
    ");
    assert!(poured.stdout.contains("600"), "{}", poured.shown());
    assert_snapshot!(at(path, &["records", "trace", "F-0007"]).shown(), @"
    exit 0
    stdout:
    Batch F-0007  (poured on 2026-10-02)

    Fern bar: 600 g, 12 bars.
    Note: relief of the third bar soft Colour: CI 77491 2 g.

    Formula as poured, % by mass
      ingredient      part
     ──────────────────────
      my-wax          29.7
      cocoa-butter    29.7
      sunflower-oil   39.6
      spring-scent     0.9

    Lots weighed in
      lot            a delivery of           mass   delivered on   best before   certificate
     ────────────────────────────────────────────────────────────────────────────────────────
      my-wax         beeswax                178 g
      C-17/2         cocoa-butter           100 g
      C-18           cocoa-butter            78 g
      spring-scent   scent (like              6 g
                     isopropyl-myristate)

    Where the bars went
      Nothing was written down.
    ");
    // A recall of each delivery finds the batch.
    for lot in ["my-wax", "C-17/2", "C-18", "spring-scent"] {
        let traced = at(path, &["records", "trace", lot, "--json"]).json();
        assert_eq!(traced["lot"]["batches"][0]["batch"], "F-0007", "{lot}");
    }
    // The same bar again is the same formula; JSON on standard output stays one document.
    let again = pour(path, "F-0008", &["--json"]);
    assert_eq!(again.json()["number"], "F-0008");
    assert_eq!(pour(path, "F-0009", &[]).status, 0);
    let formulas = at(path, &["records", "list", "formulas", "--json"]).json();
    let names: std::collections::BTreeSet<&str> =
        formulas.as_array().unwrap().iter().filter_map(|row| row["formula"].as_str()).collect();
    assert_eq!(names.into_iter().collect::<Vec<_>>(), ["Fern bar", "Fern bar (2)"]);
}

#[test]
fn what_cannot_be_kept_is_refused_before_anything_is() {
    let folder = workshop();
    let path = folder.path();
    let refused: [&[&str]; 9] = [
        &["--from", "cocoa butter"],
        &["--from", "cocoa buter=C-17"],
        &["--from", "shea butter=C-17"],
        &["--from", "my-wax=W-1"],
        &["--from", "cocoa butter="],
        &["--from", "cocoa butter=C-17:-5g"],
        &["--from", "cocoa butter=C-17:100g"],
        &["--from", "cocoa butter=A", "--from", "cocoa butter=B"],
        &["--from", "cocoa butter=A:100g", "--from", "cocoa butter=B:100g"],
    ];
    let said: Vec<String> = refused
        .iter()
        .map(|more| {
            let run = pour(path, "F-0001", more);
            assert_eq!(run.stdout, "");
            run.shown()
        })
        .collect();
    assert_snapshot!(said.join("\n"), @"
    exit 1
    stderr:
    error[bad-lot]: --from: `cocoa butter` has no `=`
     |
     = hint: Write the ingredient and what stands on the bag, and the mass where it is a part:
             `beeswax=W-2311:120g`.

    exit 1
    stderr:
    error[unknown-ingredient]: --from: no ingredient is called `cocoa buter`
     |
     = hint: The nearest names are `cocoa-butter`, `coconut-oil-76` and `cupuacu-butter`.

    exit 1
    stderr:
    error[bad-lot]: --from: the bar has no shea butter
     |
     = hint: Write the ingredient and what stands on the bag, and the mass where it is a part:
             `beeswax=W-2311:120g`.

    exit 1
    stderr:
    error[bad-lot]: --from: My-wax is a delivery of your lot file already
     |
     = hint: Write the ingredient and what stands on the bag, and the mass where it is a part:
             `beeswax=W-2311:120g`.

    exit 1
    stderr:
    error[bad-lot]: --from: `cocoa butter=` names no delivery
     |
     = hint: Write the ingredient and what stands on the bag, and the mass where it is a part:
             `beeswax=W-2311:120g`.

    exit 1
    stderr:
    error[bad-lot]: --from: `-5g` is negative
     |
     = hint: Write the ingredient and what stands on the bag, and the mass where it is a part:
             `beeswax=W-2311:120g`.

    exit 1
    stderr:
    error[lot-masses]: --from: cocoa-butter is weighed in with 180 g, and its deliveries make 100 g
     |
     = hint: Write the mass of each, as `--from 'cocoa-butter=A:120g' --from
             'cocoa-butter=B:66g'`; one may go without, and takes the rest.

    exit 1
    stderr:
    error[lot-masses]: --from: cocoa-butter is weighed in with 180 g, and its deliveries do not say how much of each
     |
     = hint: Write the mass of each, as `--from 'cocoa-butter=A:120g' --from
             'cocoa-butter=B:66g'`; one may go without, and takes the rest.

    exit 1
    stderr:
    error[lot-masses]: --from: cocoa-butter is weighed in with 180 g, and its deliveries make 200 g
     |
     = hint: Write the mass of each, as `--from 'cocoa-butter=A:120g' --from
             'cocoa-butter=B:66g'`; one may go without, and takes the rest.
    ");
    let future = at(
        path,
        &["batch", "bar.toml", "--bars", "2", "--bar", "50g", "--record", "--number", "1", "--date", "2999-01-01"],
    );
    assert!(future.stderr.contains("2999-01-01, is in the future"), "{}", future.shown());
    assert!(!path.join("bench/records.sqlite").exists());

    assert_eq!(pour(path, "F-0001", &[]).status, 0);
    assert_snapshot!(pour(path, "F-0001", &[]).shown(), @r#"
    exit 1
    stderr:
    error[records]: batch "F-0001" is kept already, and nothing kept is replaced
     |
     = hint: Give the new one a name of its own.
    "#);
    assert_snapshot!(pour(path, "F-0002", &["--from", "cocoa butter=my-wax"]).shown(), @"
    exit 1
    stderr:
    error[other-lot]: --from: the records keep the lot `my-wax` as a delivery of beeswax, not of cocoa-butter
     |
     = hint: Check what stands on the bag.
    ");
    let nowhere = run_in(path, &["batch", "bar.toml", "--bars", "2", "--bar", "50g", "--record"], b"");
    assert_eq!(nowhere.status, 2);
    assert!(nowhere.stderr.contains("--number"), "{}", nowhere.shown());
}

#[test]
fn a_delivery_that_was_changed_is_told() {
    let folder = workshop();
    let path = folder.path();
    assert_eq!(pour(path, "F-0001", &[]).status, 0);
    std::fs::write(path.join("bench/lots.toml"), LOTS.replace("'beeswax'\n", "'beeswax'\nprice_per_kg = 20\n"))
        .unwrap();
    assert_snapshot!(pour(path, "F-0002", &[]).stderr, @"
    note: the records keep the lot `my-wax` with other figures, and nothing kept is replaced: a new delivery needs a key of its own
    note: batch F-0002 is in the records as Fern bar: 12 bars, 1 delivery
    note: no delivery was named for cocoa-butter and sunflower-oil: `--from 'cocoa-butter=WHAT STANDS ON THE BAG'` lets a recall find it
    ");
}
