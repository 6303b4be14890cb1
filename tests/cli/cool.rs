//! `cool`, and `assess --mould`: the answer, the plot, and what is refused.

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, demo_folder, run, run_in, run_on};

/// The demonstration mould.
const TRAY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/moulds/fern-tray.toml");

const BAR: &str = "beeswax 26, mango butter 32, sunflower oil 42";

fn cool(more: &[&str]) -> Run {
    run(&[&["cool", BAR, "--draws", "16"], more].concat())
}

#[test]
fn the_fern_bar_in_its_tray() {
    let arguments = ["cool", "fern-hand-bar-winter.toml", "--mould", TRAY, "--draws", "16"];
    assert_snapshot!(run_in(demo_folder(), &arguments, b"").shown(), @"
    exit 0
    stdout:
    Fern hand bar, winter  (setting)

    Best in the fridge at 5 °C: out of the mould after 72 min (40 to 120), with relief of
      0.7 mm whole.
    Fern tray: 6 bars of 57 g, 343 g in all, 68 mm × 46 mm × 22 mm; poured at 65 °C.

    Where it cools
      place            skin             set through        out of the mould          grain   dew
     ────────────────────────────────────────────────────────────────────────────────────────────
      room 20 °C       1 min (0 to 1)   15 min (9 to 20)   3.2 h (0.95 to over 24)   low     no
      fridge 5 °C      0 min (0 to 1)   13 min (8 to 17)   72 min (40 to 120)        low     no
      freezer -18 °C   0 min            11 min (7 to 14)   47 min (30 to 61)         low     yes
      It sets below 56 °C; its relief of 0.7 mm comes out whole below 21 °C, at its warmest
        spot.
      Dew settles below 9 °C in your room: let a cold bar warm up in its mould or in a bag
        first.

    Shrinkage
      From the pour to your room it gives up 4.9 % (3.9 to 6.1) of its volume, some 1.6 % of
        its length: fill again when the skin forms, or pour a little over the rim.

    What this rests on
      Heat conduction with the melting curve of this blend; still air unless a fan is named;
        a silicone mould on a board, apart from others. Currents in the melt and late
        crystals are left out. When it can leave the mould, and grain, are rules of thumb.
      In brackets: 90 % intervals from 16 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions
      Nuts: Nut-derived: shea butter. Say so plainly on the label.
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.
    ");
}

#[test]
fn places_of_ones_own_in_us_units() {
    let arguments = ["--place", "cellar=54F", "--room", "75F", "--humidity", "60", "--fan", "--units", "us"];
    assert_snapshot!(cool(&arguments).shown(), @"
    exit 0
    stdout:
    Sunflower oil 42 / mango butter 32 / beeswax 26  (setting)

    In the cellar at 54 °F: out of the mould after 54 min (28 to 1200) (94 %), with relief
      of 0.031 in whole; dew will settle on it.
    No mould was named, so a palm-sized bar is taken: one bar of 1.6 oz, 2.4 in × 1.6 in ×
      0.79 in; poured at 153 °F.

    Where it cools
      place          skin    set through        out of the mould      grain   dew
     ─────────────────────────────────────────────────────────────────────────────
      cellar 54 °F   0 min   10 min (8 to 14)   54 min (28 to 1200)   low     yes
      It sets below 135 °F; its relief of 0.031 in comes out whole below 72 °F, at its
        warmest spot.
      Dew settles below 60 °F in your room: let a cold bar warm up in its mould or in a bag
        first.

    Shrinkage
      From the pour to your room it gives up 4.4 % (3.6 to 5.2) of its volume, some 1.5 % of
        its length: fill again when the skin forms, or pour a little over the rim.

    What this rests on
      Heat conduction with the melting curve of this blend; still air unless a fan is named;
        a silicone mould on a board, apart from others. Currents in the melt and late
        crystals are left out. When it can leave the mould, and grain, are rules of thumb.
      In brackets: 90 % intervals from 16 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.
    ");
}

#[test]
fn a_bar_that_is_never_firm_enough() {
    assert_snapshot!(run(&["cool", "beeswax 2, sunflower oil 98", "--draws", "16", "--place", "room=20C"]).shown(), @"
    exit 0
    stdout:
    Sunflower oil 98 / beeswax 2  (setting)

    Relief of 0.8 mm does not come out whole from any of these places within a day: it is
      too soft at any temperature.
    No mould was named, so a palm-sized bar is taken: one bar of 44 g, 60 mm × 40 mm × 20 mm;
      poured at 53 °C.

    Where it cools
      place        skin               set through        out of the mould   grain   dew
     ───────────────────────────────────────────────────────────────────────────────────
      room 20 °C   not within a day   not within a day   not within a day   low     no
      It sets below -11 °C; its relief of 0.8 mm comes out whole below -20 °C, at its
        warmest spot.
      Dew settles below 9 °C in your room: let a cold bar warm up in its mould or in a bag
        first.

    Shrinkage
      From the pour to your room it gives up 2.4 % (2.4 to 2.5) of its volume, some 0.81 %
        of its length: fill again when the skin forms, or pour a little over the rim.

    What this rests on
      Heat conduction with the melting curve of this blend; still air unless a fan is named;
        a silicone mould on a board, apart from others. Currents in the melt and late
        crystals are left out. When it can leave the mould, and grain, are rules of thumb.
      In brackets: 90 % intervals from 16 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.
    ");
}

#[test]
fn json_has_every_place_and_colder_is_sooner() {
    let answer = cool(&["--json", "--place", "room=20C", "--place", "fridge=5C", "--place", "freezer=-18C"]).json();
    let minutes = |at: usize, what: &str| answer["places"][at][what]["value"].as_f64().unwrap();
    for what in ["skin_min", "set_min", "release_min"] {
        assert!(minutes(0, what) >= minutes(1, what) && minutes(1, what) >= minutes(2, what), "{what}");
    }
    for place in 0..3 {
        assert!(minutes(place, "skin_min") <= minutes(place, "set_min"));
        assert!(minutes(place, "set_min") <= minutes(place, "release_min"));
    }
    assert_eq!(answer["places"][2]["dew"], true);
    assert_eq!(cool(&["--json"]).stdout, cool(&["--json"]).stdout);
}

#[test]
fn the_plot_has_a_line_for_middle_and_surface_of_each_place() {
    let folder = TempDir::new().unwrap();
    let done = run_in(folder.path(), &["cool", BAR, "--draws", "16", "--plot", "c.svg"], b"");
    assert_eq!(done.stderr, "note: drawn into c.svg\n");
    let drawn = std::fs::read_to_string(folder.path().join("c.svg")).unwrap();
    for words in ["room, middle", "room, surface", "freezer, surface", "time, h", "temperature, °C"] {
        assert!(drawn.contains(words), "{words}");
    }
}

#[test]
fn what_cannot_be_is_refused() {
    for (more, status, words) in [
        (["--place", "oven=90C"], 1, "air of 90.0 °C does not cool a melt"),
        (["--pour", "30C"], 1, "30.0 °C is below"),
        (["--size", "60x0x20mm"], 2, "0 mm is outside 2 to 1000 mm"),
        (["--size", "60x40x20"], 0, "one bar of 44 g"),
        (["--size", "1x1x1m"], 0, "one bar of 927 kg"),
        (["--place", "cellar"], 2, "write a name and a temperature"),
        (["--place", "=5C"], 2, "the place has no name"),
        (["--humidity", "0"], 2, "outside 1 to 100 %"),
        (["--room", "-300C"], 2, "absolute zero"),
        (["--mould", "none.toml"], 1, "there is no file `none.toml`"),
    ] {
        let done = cool(&more);
        assert_eq!(done.status, status, "{more:?}: {}", done.shown());
        assert!(done.shown().contains(words), "{more:?}: {}", done.shown());
    }
}

#[test]
fn a_mould_reports_every_error_and_refuses_a_melt_too_hot_for_it() {
    let wrong = "shape = 'box'\nlength = '6 km'\nwidht = 40\nheight = 20\ncavities = 2.5\n";
    assert_snapshot!(run_on("m.toml", wrong, &["cool", BAR, "--mould", "m.toml"]).shown(), @r#"
    exit 1
    stderr:
    error[size-missing]: a mould of shape `box` needs `width`
     --> m.toml:1:9
      |
    1 | shape = 'box'
      |         ^^^^^
      |
      = hint: Measure the bar and write such as `width = "40mm"`.

    error[bad-size]: `length`: a length is a number with mm, cm or in, such as `0.8mm` or `1/32in`
     --> m.toml:2:10
      |
    2 | length = '6 km'
      |          ^^^^^^

    error[unknown-key]: `widht` is not a key here
     --> m.toml:3:1
      |
    3 | widht = 40
      | ^^^^^
      |
      = hint: The nearest key is `width`; `name`, `note`, `shape`, `length`, `width`, `height`,
              `diameter`, `cavities`, `relief`, `wall`, `volume` and `most` can be written here.

    error[bad-size]: `cavities`: `2.5` is not a number of cavities from 1 to 1000
     --> m.toml:5:12
      |
    5 | cavities = 2.5
      |            ^^^

    4 errors in all
    "#);
    let tin = "shape = 'round'\ndiameter = 60\nheight = 20\nmost = '60C'\n";
    assert_snapshot!(run_on("m.toml", tin, &["cool", BAR, "--mould", "m.toml", "--pour", "80C"]).shown(), @"
    exit 1
    stderr:
    error[too-hot]: a melt of 80 °C is too hot for the mould, which takes 60 °C
     |
     = hint: Pour cooler with `--pour`, or take another mould.
    ");
}

#[test]
fn assess_speaks_of_the_mould() {
    let done = run(&["assess", BAR, "--draws", "16", "--mould", TRAY]);
    assert!(done.stdout.contains("Relief of 0.7 mm"), "{}", done.shown());
    assert!(
        done.stdout.contains("Fern tray: 6 bars of 57 g, 345 g in all, 68 mm × 46 mm × 22 mm."),
        "{}",
        done.shown()
    );
    let wins = run(&["assess", BAR, "--draws", "16", "--mould", TRAY, "--relief", "1mm"]);
    assert!(wins.stdout.contains("Relief of 1 mm"), "{}", wins.shown());
    let json = run(&["assess", BAR, "--draws", "16", "--mould", TRAY, "--json"]).json();
    assert_eq!(json["mould"]["cavities"], 6);
    assert_eq!(json["detail"]["relief_mm"], 0.7);
}
