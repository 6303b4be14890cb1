//! The parameter file is what the calibration writes from the priors and the fitting rows.

use barwright_blend::Parameters;
use barwright_calibration::{calibrate, write};
use barwright_validation::{Use, measurement};

use crate::LIBRARY;

const PRIORS: &str = include_str!("../../data/priors.toml");
const MODEL: &str = include_str!("../../data/model.toml");

#[test]
fn a_rerun_writes_the_same_bytes_and_never_sees_an_unseen_row() {
    let mut table = measurement::read(measurement::BUILTIN, &LIBRARY).unwrap();
    // Without the unseen rows: had one been used, the bytes would differ.
    table.retain(|row| row.use_as == Use::Fit);
    let calibration = calibrate(&LIBRARY, &Parameters::from_toml(PRIORS).unwrap(), &table).unwrap();
    let written = write::model_toml(PRIORS, &calibration).unwrap();
    let differing = written.lines().zip(MODEL.lines()).find(|(now, then)| now != then);
    assert!(
        written == MODEL,
        "data/model.toml is not what `cargo run --release -p barwright-calibration` writes: {differing:?}"
    );
    let before: f64 = calibration.scores.iter().map(|(before, _)| before * before).sum();
    let after: f64 = calibration.scores.iter().map(|(_, after)| after * after).sum();
    println!("{} rows: sum of squared scores {before:.1} before, {after:.1} after", calibration.observations.len());
    assert!(after < before);
}
