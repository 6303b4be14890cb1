//! A bar of unknown formula, such as a bought one, known by bench tests alone: how firm it is, how surely, and which formulas are like it.
//!
//! A rod or a needle reads `ln τ` with the standard deviation `s` of one test, and a part `t` of it is the tool's own: the measure of the rod, the thermometer,
//! the rule by which a depth is read as a stress. Tests with one tool at one temperature share that part, however many there are:
//!
//! ```text
//! one tool, n tests    mean of ln τ,  variance t² + (s² − t²) / n
//! both tools           mean weighted by the inverse of their variances
//! ```
//!
//! | figure | one test | part that stays |
//! |---|---|---|
//! | yield stress, logarithm | [`FIRMNESS_LN_SD`] | [`TOOL_LN_SD`] |
//! | slip point, K | [`TUBE_SD_K`], or what is stated | [`MIN_TUBE_SD_K`] |
//!
//! # Source
//! Means of errors of which one part is shared (textbook; recalled).

use std::cmp::Ordering;

use barwright_blend::property::NOTICEABLE_RATIO;
use barwright_blend::sampling::Draws;
use barwright_blend::{Assessment, Estimate, MeasuredYield, Spread};
use schemars::JsonSchema;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

use crate::trial::{FIRMNESS_LN_SD, MIN_TUBE_SD_K, TUBE_SD_K, Test, measured_kpa};

/// Standard deviation of the logarithm of a yield stress that more tests with one tool do not lessen: half of that of one test, as for published tests
/// (judgement; `barwright_calibration::published::reproducibility::test_sd`).
pub const TOOL_LN_SD: f64 = 0.5 * FIRMNESS_LN_SD;

/// Two tests contradict each other when they lie so many standard deviations of their difference apart: 1 in 400 does by chance.
const CONTRADICTION_SD: f64 = 3.0;

/// Upper end of a 90 % interval, as a probability.
const UPPER_END: f64 = 0.95;

/// Smallest yield stress that is compared, kPa: less is a liquid.
const SMALLEST_KPA: f64 = 1e-9;

/// How firm a bar is at one temperature, by its tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Temperature of the tests, °C.
    pub temperature_c: f64,
    /// Yield stress with its spread.
    pub yield_stress: MeasuredYield,
    /// Number of tests.
    pub tests: usize,
}

/// Two tests of one bar that cannot both be right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contradiction {
    /// Position of one.
    pub earlier: usize,
    /// Position of the other.
    pub later: usize,
    /// How many times as firm the bar is by the later.
    pub times: f64,
    /// Temperature of the later beside that of the earlier.
    pub temperature: Ordering,
}

/// How like a bought bar a formula is.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Alike {
    /// Probability that of all formulas compared it comes nearest in firmness, all temperatures together.
    pub probability_nearest: f64,
    /// At each temperature.
    pub firmness: Vec<AlikeAt>,
}

/// How like a bought bar a formula is at one temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct AlikeAt {
    /// °C.
    pub temperature_c: f64,
    /// How many times as firm as the bought bar.
    pub times_as_firm: Estimate,
    /// Probability that it is firmer.
    pub probability_firmer: f64,
    /// Probability that the difference would not be noticed: within [`NOTICEABLE_RATIO`] either way.
    pub probability_alike: f64,
}

/// Temperature and logarithm of the yield stress, kPa, of a test of firmness.
fn firmness(test: &Test) -> Option<(f64, f64)> {
    match *test {
        Test::Needle { at_c, .. } | Test::Rod { at_c, .. } => Some((at_c, measured_kpa(test)?.ln())),
        _ => None,
    }
}

/// Mean of some tests, and its variance, of which a part does not fall with their number.
fn mean(values: &[f64], one: f64, stays: f64) -> Option<(f64, f64)> {
    let count = values.len() as f64;
    let variance = stays * stays + (one * one - stays * stays) / count;
    (!values.is_empty()).then(|| (values.iter().sum::<f64>() / count, variance))
}

/// Returns how firm a bar is at each temperature it was tested at, the coldest first.
///
/// # Arguments
/// * `tests`: of one bar, sound ([`Test::check`]); those that are not of firmness are passed over.
///
/// # Example
/// ```
/// use barwright_trials::{Test, bought::levels};
/// let rod = |grams| Test::Rod { diameter_mm: 3.0, grams, at_c: 20.0 };
/// let (one, both) = (levels(&[rod(300.0)]), levels(&[rod(300.0), rod(340.0)]));
/// assert_eq!((one[0].yield_stress.ln_sd, both[0].tests), (0.3, 2));
/// assert!(both[0].yield_stress.ln_sd < 0.3 && both[0].yield_stress.kpa > one[0].yield_stress.kpa);
/// ```
///
/// # Source
/// See [the module](self).
pub fn levels(tests: &[Test]) -> Vec<Level> {
    let mut temperatures: Vec<f64> = tests.iter().filter_map(firmness).map(|(at_c, _)| at_c).collect();
    temperatures.sort_by(f64::total_cmp);
    temperatures.dedup();
    let level = |temperature_c: f64| {
        let here = |rod: bool| -> Vec<f64> {
            let of_tool = tests.iter().filter(|test| matches!(test, Test::Rod { .. }) == rod);
            let here = of_tool.filter_map(firmness).filter(|(at_c, _)| *at_c == temperature_c);
            here.map(|(_, ln_kpa)| ln_kpa).collect()
        };
        let tools = [here(true), here(false)];
        let means = tools.iter().filter_map(|logs| mean(logs, FIRMNESS_LN_SD, TOOL_LN_SD));
        let (sum, weight) = means
            .fold((0.0, 0.0), |(sum, weight), (ln_kpa, variance)| (sum + ln_kpa / variance, weight + 1.0 / variance));
        let yield_stress = MeasuredYield { kpa: (sum / weight).exp(), ln_sd: 1.0 / f64::sqrt(weight) };
        Level { temperature_c, yield_stress, tests: tools.iter().map(Vec::len).sum() }
    };
    temperatures.into_iter().map(level).collect()
}

/// Returns the slip point of a bar by its open tubes, °C; `None` where there are none.
///
/// # Arguments
/// * `tests`: of one bar, sound; those that are not open tubes are passed over.
///
/// # Source
/// See [the module](self); several tubes count as the least sure of them.
pub fn slip_point(tests: &[Test]) -> Option<Estimate> {
    let tubes: Vec<(f64, f64)> = (tests.iter())
        .filter_map(|test| match *test {
            Test::Tube { melt_c, sd_k } => Some((melt_c, sd_k.unwrap_or(TUBE_SD_K).max(MIN_TUBE_SD_K))),
            _ => None,
        })
        .collect();
    let melts: Vec<f64> = tubes.iter().map(|(melt_c, _)| *melt_c).collect();
    let one = tubes.iter().map(|(_, sd_k)| *sd_k).fold(0.0, f64::max);
    let (value, variance) = mean(&melts, one, MIN_TUBE_SD_K)?;
    let reach = variance.sqrt() * Normal::standard().inverse_cdf(UPPER_END);
    Some(Estimate { value, low: value - reach, high: value + reach })
}

/// Returns the tests of firmness that contradict an earlier one: apart beyond their scatter at one temperature, or firmer though warmer.
///
/// # Arguments
/// * `tests`: of one bar, sound.
pub fn contradictions(tests: &[Test]) -> Vec<Contradiction> {
    let read: Vec<(usize, (f64, f64))> =
        tests.iter().enumerate().filter_map(|(index, test)| Some((index, firmness(test)?))).collect();
    let most = CONTRADICTION_SD * FIRMNESS_LN_SD.hypot(FIRMNESS_LN_SD);
    let contradicted = |place: usize| {
        let (later, (later_c, later_ln)) = read[place];
        read[..place].iter().find_map(|&(earlier, (earlier_c, earlier_ln))| {
            let rise = later_ln - earlier_ln;
            let temperature = later_c.total_cmp(&earlier_c);
            let apart = match temperature {
                Ordering::Equal => rise.abs(),
                Ordering::Greater => rise,
                Ordering::Less => -rise,
            };
            (apart > most).then(|| Contradiction { earlier, later, times: rise.exp(), temperature })
        })
    };
    (0..read.len()).filter_map(contradicted).collect()
}

/// Returns how like a bought bar some formulas are, draw by draw.
///
/// `r = τ / τ_bought`; the nearest has the least `Σ ln² r` over the temperatures
///
/// # Arguments
/// * `levels`: how firm the bought bar is.
/// * `assessed`: formulas, assessed at those temperatures in draws of one seed and number.
/// * `seed`: that seed.
///
/// # Returns
/// One answer for each formula. Temperatures that were not assessed are left out.
///
/// # Validity
/// As [`barwright_blend::assess()`]; the bought bar is taken to be in the state of the formulas.
pub fn alike(levels: &[Level], assessed: &[Assessment], seed: u64) -> Vec<Alike> {
    let count = assessed.iter().map(|one| one.outcomes().len()).min().unwrap_or(0);
    let draws = Draws::new(seed, count);
    let bought: Vec<Spread<f64>> =
        levels.iter().map(|level| level.yield_stress.spread(level.temperature_c, &draws)).collect();
    // Of each formula at each temperature: the logarithm of how many times as firm it is.
    let ratios: Vec<Vec<Option<Spread<f64>>>> = (assessed.iter())
        .map(|one| levels.iter().zip(&bought).map(|(level, bought)| ln_times(one, level, bought)).collect())
        .collect();
    let distance = |of: &[Option<Spread<f64>>], draw: Option<usize>| -> f64 {
        let at = |ratio: &Spread<f64>| draw.map_or(ratio.central, |draw| ratio.drawn[draw]);
        of.iter().flatten().map(|ratio| at(ratio).powi(2)).sum()
    };
    let nearest = |draw: Option<usize>| {
        let distances = ratios.iter().map(|of| distance(of, draw)).enumerate();
        distances.min_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(index, _)| index)
    };
    let nearest = Spread { central: nearest(None), drawn: (0..count).map(|draw| nearest(Some(draw))).collect() };
    let noticed = NOTICEABLE_RATIO.ln();
    let at = |(level, ratio): (&Level, &Option<Spread<f64>>)| {
        ratio.as_ref().map(|ratio| AlikeAt {
            temperature_c: level.temperature_c,
            times_as_firm: ratio.estimate(|ln_times| ln_times.exp()),
            probability_firmer: ratio.probability(|ln_times| *ln_times > 0.0),
            probability_alike: ratio.probability(|ln_times| ln_times.abs() <= noticed),
        })
    };
    let one = |(index, of): (usize, &Vec<Option<Spread<f64>>>)| Alike {
        probability_nearest: nearest.probability(|first| *first == index),
        firmness: levels.iter().zip(of).filter_map(at).collect(),
    };
    ratios.iter().enumerate().map(one).collect()
}

/// Logarithm of how many times as firm a formula is; `None` where it was not assessed at that temperature.
fn ln_times(assessed: &Assessment, level: &Level, bought: &Spread<f64>) -> Option<Spread<f64>> {
    let place = assessed.firmness.iter().position(|one| one.temperature_c == level.temperature_c)?;
    let ln = |kpa: f64, bought: f64| (kpa.max(SMALLEST_KPA) / bought).ln();
    let drawn = assessed.outcomes().iter().zip(&bought.drawn);
    Some(Spread {
        central: ln(assessed.firmness[place].yield_stress_kpa.value, bought.central),
        drawn: drawn.map(|(outcome, &bought)| ln(outcome.yield_kpa[place], bought)).collect(),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test may stop at the first surprise")]

    use barwright_blend::{Model, Options};
    use barwright_reference::{Library, formula};

    use super::*;
    use crate::trial::grams_from_yield;

    fn rod(kpa: f64, at_c: f64) -> Test {
        Test::Rod { diameter_mm: 3.0, grams: grams_from_yield(3.0, kpa), at_c }
    }

    fn needle(depth_dmm: f64, at_c: f64) -> Test {
        Test::Needle { depth_dmm, at_c }
    }

    /// Against normal draws of the two errors, made here one by one: the spread of the mean is that of the module.
    #[test]
    fn the_spread_of_several_tests_is_that_of_simulated_ones() {
        let simulated = |count: usize| {
            let draws = Draws::new(5, 4096);
            let own = (FIRMNESS_LN_SD.powi(2) - TOOL_LN_SD.powi(2)).sqrt();
            let tool = draws.dimension("tool");
            let tests: Vec<Vec<f64>> = (0..count).map(|test| draws.dimension(&format!("test {test}"))).collect();
            let mean = |draw: usize| {
                let sum: f64 = tests.iter().map(|of| own * of[draw]).sum();
                TOOL_LN_SD * tool[draw] + sum / count as f64
            };
            ((0..4096).map(|draw| mean(draw).powi(2)).sum::<f64>() / 4096.0).sqrt()
        };
        for count in [1, 2, 5] {
            let level = levels(&vec![rod(80.0, 20.0); count])[0];
            assert!((level.yield_stress.kpa - 80.0).abs() < 1e-9 && level.tests == count);
            let ratio = level.yield_stress.ln_sd / simulated(count);
            assert!((ratio - 1.0).abs() < 0.03, "{count} tests: {ratio}");
        }
    }

    /// Two tools know more than two tests with one; each counts by what it knows.
    #[test]
    fn two_tools_are_surer_than_one_twice() {
        let (one, twice) = (levels(&[rod(80.0, 20.0)])[0], levels(&[rod(80.0, 20.0), rod(80.0, 20.0)])[0]);
        let depth = barwright_blend::penetration::needle_dmm_from_yield(80.0).unwrap();
        let both = levels(&[rod(80.0, 20.0), needle(depth, 20.0)])[0];
        assert!(
            both.yield_stress.ln_sd < twice.yield_stress.ln_sd && twice.yield_stress.ln_sd < one.yield_stress.ln_sd
        );
        let softer = levels(&[rod(80.0, 20.0), rod(80.0, 20.0), rod(80.0, 20.0), needle(2.0 * depth, 20.0)])[0];
        let needle_kpa = levels(&[needle(2.0 * depth, 20.0)])[0].yield_stress.kpa;
        assert!((80.0 * needle_kpa).sqrt() < softer.yield_stress.kpa && softer.yield_stress.kpa < 80.0, "{softer:?}");
    }

    #[test]
    fn each_temperature_stands_alone_and_other_tests_are_passed_over() {
        let tests =
            [rod(20.0, 30.0), rod(70.0, 20.0), Test::Tube { melt_c: 55.0, sd_k: None }, Test::Grain { seen: true }];
        let found: Vec<f64> = levels(&tests).iter().map(|level| level.temperature_c).collect();
        assert_eq!(found, [20.0, 30.0]);
        assert!(levels(&tests[2..]).is_empty());
    }

    #[test]
    fn more_tubes_are_surer_but_never_surer_than_a_laboratory() {
        let tube = |melt_c| Test::Tube { melt_c, sd_k: None };
        let (one, many) = (slip_point(&[tube(55.0)]).unwrap(), slip_point(&vec![tube(55.0); 1000]).unwrap());
        assert!((one.high - one.value - 1.645 * TUBE_SD_K).abs() < 1e-3, "{one:?}");
        let stays = (MIN_TUBE_SD_K.powi(2) + (TUBE_SD_K.powi(2) - MIN_TUBE_SD_K.powi(2)) / 1000.0).sqrt();
        assert!((many.high - many.value - 1.645 * stays).abs() < 1e-3 && stays > MIN_TUBE_SD_K, "{many:?}");
        assert_eq!(slip_point(&[tube(54.0), tube(56.0)]).unwrap().value, 55.0);
        assert_eq!(slip_point(&[rod(70.0, 20.0)]), None);
    }

    /// 3 standard deviations of a difference are a ratio of 3.57.
    #[test]
    fn tests_that_cannot_both_be_right_are_named() {
        let of = |tests: &[Test]| -> Vec<(usize, usize, Ordering)> {
            let found = contradictions(tests);
            found.iter().map(|one| (one.earlier, one.later, one.temperature)).collect()
        };
        assert_eq!(of(&[rod(70.0, 20.0), rod(230.0, 20.0)]), []);
        assert_eq!(of(&[rod(70.0, 20.0), rod(260.0, 20.0)]), [(0, 1, Ordering::Equal)]);
        assert_eq!(of(&[rod(260.0, 20.0), rod(70.0, 20.0)]), [(0, 1, Ordering::Equal)]);
        assert_eq!(of(&[rod(70.0, 20.0), rod(10.0, 30.0)]), []);
        assert_eq!(of(&[rod(70.0, 30.0), rod(10.0, 20.0)]), [(0, 1, Ordering::Less)]);
        let warm = contradictions(&[rod(10.0, 20.0), rod(70.0, 30.0)])[0];
        assert!((warm.times - 7.0).abs() < 1e-9 && warm.temperature == Ordering::Greater, "{warm:?}");
    }

    /// A formula is like its own expected readings; the odds are those of the two spreads together.
    #[test]
    fn a_bar_is_nearest_to_its_own_readings() {
        let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
        let bar = |text| formula::read_inline(text, "bar", &library).unwrap().formulas.remove(0);
        let options = Options { at_c: vec![20.0, 30.0], ..Options::default() };
        let texts = ["beeswax 30, shea butter 30, sunflower oil 40", "beeswax 14, shea butter 30, sunflower oil 56"];
        let assessed = texts.map(|text| barwright_blend::assess(&library, &model, &bar(text), &options).unwrap());
        for (own, other) in [(0, 1), (1, 0)] {
            let expected = &assessed[own].firmness;
            let tests: Vec<Test> = expected.iter().map(|at| rod(at.yield_stress_kpa.value, at.temperature_c)).collect();
            let found = alike(&levels(&tests), &assessed, options.seed);
            assert!(found[own].probability_nearest > 0.6, "{found:?}");
            assert!((found[own].probability_nearest + found[other].probability_nearest - 1.0).abs() < 1e-12);
            for at in &found[own].firmness {
                assert!(
                    (at.times_as_firm.value - 1.0).abs() < 1e-9 && (at.probability_firmer - 0.5).abs() < 0.12,
                    "{at:?}"
                );
                assert!(at.probability_alike > 0.2 && at.probability_alike < 0.6, "{at:?}");
            }
            // Tested over and over with both tools it is known better, and so is how like it is.
            let surer: Vec<Test> = (0..20).flat_map(|_| tests.clone()).collect();
            let known = alike(&levels(&surer), &assessed, options.seed);
            let width = |of: &[Alike]| of[own].firmness[0].times_as_firm.high / of[own].firmness[0].times_as_firm.low;
            assert!(width(&known) < width(&found));
        }
    }
}
