//! What is learned of a maker's bench tests.

use arbitrary::{Result, Unstructured};
use barwright_blend::BlendError;
use barwright_reference::{Formula, Library};
use barwright_trials::{Expected, LearnError, Learned, Test, Trial};

use crate::claims;
use crate::task::{self, MODEL};

/// Trials of one input.
const MAX_TRIALS: usize = 5;

/// Trials of most inputs.
const FEW_TRIALS: usize = 2;

/// Formulas of one maker.
const MAX_FORMULAS: usize = 2;

/// Parts of one formula.
const MAX_PARTS: usize = 3;

/// Draws behind an expectation.
const DRAWS: usize = 8;

/// A score may be known worse than before any trial, where the posterior is curved; never by this factor of its variance.
const LARGEST_VARIANCE: f64 = 4.0;

/// Bench tests, alike or contradicting, of a few bars.
pub fn learn(data: &[u8]) -> u64 {
    learn_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn learn_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let formulas = (0..bytes.int_in_range(1..=MAX_FORMULAS)?)
        .map(|_| task::formula(bytes, library, MAX_PARTS))
        .collect::<Result<Vec<_>>>()?;
    // Many cost seconds.
    let count =
        if bytes.ratio(1, 8)? { bytes.int_in_range(0..=MAX_TRIALS)? } else { bytes.int_in_range(0..=FEW_TRIALS)? };
    let mut trials: Vec<Trial> = Vec::with_capacity(count);
    for number in 0..count {
        trials.push(trial(bytes, number, &formulas)?);
    }
    task::show(&trials);
    let learned = match barwright_trials::learn(library, &MODEL.parameters, &trials) {
        Ok(learned) => learned,
        Err(error @ LearnError::Trial { .. }) => {
            claims::sentence(&error.to_string());
            return Ok(1);
        }
        Err(error) => panic!("nothing is learned of {count} trials: {error}"),
    };
    sound(&learned, &trials);
    let taught = learned.applied(&MODEL.parameters).expect("what was learned is taken");
    let mut more = Vec::new();
    for trial in &trials {
        let before = match barwright_trials::predict(library, &MODEL, trial, DRAWS, 20) {
            Ok(before) => before,
            // Nothing can be said of a test on powder alone.
            Err(LearnError::Blend(BlendError::OnlyPowder)) => return Ok(1),
            Err(error) => panic!("a trial is expected: {error}"),
        };
        let after = barwright_trials::predict(library, &taught, trial, DRAWS, 20).expect("a trial is expected");
        expected(library, trial, &before);
        expected(library, trial, &after);
        assert_eq!((before.trials, after.trials), (0, learned.trials));
        more.push(after.value.value > before.value.value);
    }
    Ok(claims::digest((
        (
            learned.trials,
            learned.untaught,
            learned.flagged.len(),
            learned.samples.is_empty(),
            learned.names.len().min(40),
        ),
        trials.iter().map(|one| std::mem::discriminant(&one.test)).collect::<Vec<_>>(),
        more,
    )))
}

/// Draws a bench test of one of the bars.
fn trial(bytes: &mut Unstructured<'_>, number: usize, formulas: &[Formula]) -> Result<Trial> {
    let formula = formulas[bytes.choose_index(formulas.len())?].clone();
    let at_c = |bytes: &mut Unstructured<'_>| {
        if bytes.ratio(3, 4)? { task::figure(bytes, 5.0, 60.0) } else { task::figure(bytes, -20.0, 120.0) }
    };
    let maybe = |bytes: &mut Unstructured<'_>, low: f64, high: f64| -> Result<Option<f64>> {
        Ok(if bytes.arbitrary()? { Some(task::magnitude(bytes, low, high)?) } else { None })
    };
    let test = match bytes.int_in_range(0..=11_u8)? {
        0..=2 => Test::Tube { melt_c: at_c(bytes)?, sd_k: maybe(bytes, 0.001, 20.0)? },
        3..=4 => Test::Needle { depth_dmm: task::magnitude(bytes, 0.001, 250.0)?, at_c: at_c(bytes)? },
        5..=6 => Test::Rod {
            diameter_mm: task::magnitude(bytes, 0.5, 30.0)?,
            grams: task::magnitude(bytes, 0.001, 1e5)?,
            at_c: at_c(bytes)?,
        },
        7..=8 => {
            Test::Shelf { at_c: at_c(bytes)?, hours: task::magnitude(bytes, 0.001, 1440.0)?, kept: bytes.arbitrary()? }
        }
        9..=10 => Test::Relief {
            survived_mm: maybe(bytes, 0.001, 100.0)?,
            broke_mm: maybe(bytes, 0.001, 100.0)?,
            release_c: at_c(bytes)?,
        },
        _ => Test::Grain { seen: bytes.arbitrary()? },
    };
    let days = task::figure(bytes, 0.0, 14.0)?;
    Ok(Trial { label: format!("trial {}", number + 1), formula, days, tempered: bytes.ratio(1, 6)?, test })
}

fn sound(learned: &Learned, trials: &[Trial]) {
    assert_eq!(learned.trials + learned.untaught, trials.len());
    assert!(learned.names.is_sorted(), "{:?}", learned.names);
    assert!(learned.mean.iter().all(|mean| mean.is_finite()), "{:?}", learned.mean);
    assert!(learned.covariance.iter().flatten().all(|one| one.is_finite()), "{:?}", learned.covariance);
    for one in learned.told() {
        assert!(one.sd > 0.0 && one.sd.powi(2) <= LARGEST_VARIANCE, "{one:?}");
    }
    let full = learned.samples.iter().all(|one| one.len() == learned.names.len());
    assert!(full && learned.samples.iter().flatten().all(|score| score.is_finite()), "a sample with a hole");
    for flag in &learned.flagged {
        assert!(flag.trial < trials.len() && flag.surprise.is_finite(), "{flag:?}");
        assert!(flag.weight > 0.0 && flag.weight < 1.0, "{flag:?}");
    }
}

fn expected(library: &Library, trial: &Trial, expected: &Expected) {
    let value = &expected.value;
    assert!(library.ingredients.len() > trial.formula.parts.len());
    assert!(value.low <= value.value && value.value <= value.high, "{expected:?} of {trial:?}");
    assert!(value.low.is_finite() && value.high.is_finite(), "{expected:?} of {trial:?}");
    if let Some(probability) = expected.probability {
        claims::within("a probability", probability, 0.0, 1.0);
    }
}
