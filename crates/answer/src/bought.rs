//! A bar of unknown formula, such as a bought one, in a question: the bench tests made on it, and which formulas are like it.

use std::cmp::Ordering;
use std::ops::Range;
use std::sync::Arc;

use barwright_blend::property::NOTICEABLE_RATIO;
use barwright_blend::{Assessment, Estimate};
use barwright_reference::bought::{BoughtText, TestText, Written};
use barwright_reference::diagnostic::line_column;
use barwright_reference::{Diagnostic, short};
use barwright_reformulate::Demand;
use barwright_reformulate::demand::Likeness;
use barwright_trials::Test;
use barwright_trials::bought::{Alike, AlikeAt, Contradiction, Level, alike, contradictions, levels, slip_point};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::document::{Block, Kind, Section, Table};
use crate::reading::{self, kelvin, model_temperature, needle_depth, rod_diameter};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{count, list, name};
use crate::words::number::{in_hundred, interval, significant, whole};
use crate::words::units::Units;

/// Figures of a test that can be: diameter of a rod, mm; load on it, g; depth of the needle, 0.1 mm; temperature, °C.
const SOUND: (f64, f64, f64, f64) = (3.0, 500.0, 50.0, 20.0);

/// A bar of unknown formula in a question.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct WrittenBar {
    /// Its bench tests as TOML: `[[test]]` with `rod`, `grams` and `at`, or `needle` and `at`, or `tube`.
    pub text: String,
    /// Where it is written, for messages.
    pub origin: String,
    /// What the bar is called where the text does not say.
    pub name: String,
}

/// A bar of unknown formula that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Bought {
    /// Its name.
    pub name: String,
    /// How firm it is at each temperature it was tested at, the coldest first; at one or more.
    pub levels: Vec<Level>,
    /// Slip point, °C, where it was tested.
    pub slip_point_c: Option<Estimate>,
}

/// A bought bar beside formulas.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Beside {
    /// Its name.
    pub name: String,
    /// How firm it is at each temperature it was tested at.
    pub firmness: Vec<Tested>,
    /// Slip point, °C; nowhere else than where it was tested.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slip_point_c: Option<Estimate>,
    /// How like it each formula is.
    pub formulas: Vec<Alike>,
}

/// How firm a bought bar is at one temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Tested {
    /// °C.
    pub temperature_c: f64,
    /// Yield stress, kPa: its interval is that of the tests alone.
    pub yield_stress_kpa: Estimate,
    /// Number of tests.
    pub tests: usize,
}

/// Reads a bar.
///
/// # Errors
/// All its faults.
pub fn read(written: &WrittenBar) -> Result<Bought, Refusal> {
    let text: Arc<str> = Arc::from(written.text.as_str());
    let (read, mut errors) = BoughtText::read(&text);
    let mut tests = Vec::new();
    let mut spans = Vec::new();
    for test in &read.tests {
        if let Some(sound) = sound(test, &mut errors) {
            tests.push(sound);
            spans.push(test.span());
        }
    }
    for found in contradictions(&tests) {
        let (line, _) = line_column(&text, spans[found.earlier].start);
        errors.push(contradiction(&found, line, spans[found.later].clone()));
    }
    if !errors.is_empty() {
        errors.sort_by_key(|error| error.span.start);
        let fault = |error| Fault::from_diagnostic(error, &written.origin, &text);
        return Err(Refusal::input(errors.into_iter().map(fault).collect()));
    }
    Ok(Bought {
        name: read.name.unwrap_or_else(|| written.name.clone()),
        levels: levels(&tests),
        slip_point_c: slip_point(&tests),
    })
}

/// Returns a test that can be, or reports every figure in it that cannot.
fn sound(test: &TestText, errors: &mut Vec<Diagnostic>) -> Option<Test> {
    // Each figure is held against the test it is of, the others being sound.
    let mut figure = |written: &Written, parse: fn(&str) -> Result<f64, String>, of: &dyn Fn(f64) -> Test| {
        let read = parse(&written.text).map_err(|message| ("bad-figure", message));
        let checked = read.and_then(|value| match of(value).check() {
            Ok(()) => Ok(value),
            Err(error) => Err(("trial", error.to_string())),
        });
        checked.map_err(|(code, message)| errors.push(Diagnostic::error(code, message, written.span.clone()))).ok()
    };
    let (wide, load, deep, warm) = SOUND;
    let rod = |diameter_mm, grams, at_c| Test::Rod { diameter_mm, grams, at_c };
    let needle = |depth_dmm, at_c| Test::Needle { depth_dmm, at_c };
    let tube = |melt_c, sd_k| Test::Tube { melt_c, sd_k };
    match test {
        TestText::Rod { diameter, grams, at } => {
            let diameter_mm = figure(diameter, rod_diameter, &|mm| rod(mm, load, warm));
            let grams = figure(grams, reading::grams, &|grams| rod(wide, grams, warm));
            let at_c = figure(at, model_temperature, &|at_c| rod(wide, load, at_c));
            Some(rod(diameter_mm?, grams?, at_c?))
        }
        TestText::Needle { depth, at } => {
            let depth_dmm = figure(depth, needle_depth, &|dmm| needle(dmm, warm));
            let at_c = figure(at, model_temperature, &|at_c| needle(deep, at_c));
            Some(needle(depth_dmm?, at_c?))
        }
        TestText::Tube { melt, spread } => {
            let melt_c = figure(melt, model_temperature, &|melt_c| tube(melt_c, None));
            let sd_k = spread.as_ref().map(|spread| figure(spread, kelvin, &|sd_k| tube(warm, Some(sd_k))));
            Some(tube(melt_c?, sd_k.map_or(Some(None), |sd_k| sd_k.map(Some))?))
        }
    }
}

/// Says that a test contradicts an earlier one.
///
/// # Arguments
/// * `line`: of the earlier.
/// * `span`: of the later.
fn contradiction(found: &Contradiction, line: usize, span: Range<usize>) -> Diagnostic {
    let softer = "A bar gets softer as it warms.";
    let (apart, hint) = match found.temperature {
        Ordering::Equal => ("at the same temperature", "Two tests of one bar rarely differ by more than three times."),
        Ordering::Greater => ("though warmer", softer),
        Ordering::Less => ("though colder", softer),
    };
    let times = short(found.times);
    let message = format!("by this test the bar is {times} times as firm as by the one on line {line}, {apart}");
    Diagnostic::error("contradiction", message, span)
        .hint(format!("{hint} Look for a slip in load, size or temperature, or test again."))
}

impl Bought {
    /// The demands on a bar that is as firm as this one wherever it was tested.
    ///
    /// # Arguments
    /// * `confidence`: share of draws that must meet each, 0 to 1.
    pub fn demands(&self, confidence: f64) -> Vec<Demand> {
        let demands = self
            .levels
            .iter()
            .map(|level| Demand::like(Likeness { measured: level.yield_stress, confidence }, level.temperature_c));
        demands.flatten().collect()
    }

    /// Some temperatures and those it was tested at, °C, each once and in order where any is added.
    pub(crate) fn temperatures(&self, at_c: &[f64]) -> Vec<f64> {
        let mut all = at_c.to_vec();
        let new = self.levels.iter().map(|level| level.temperature_c).filter(|celsius| !at_c.contains(celsius));
        all.extend(new);
        if all.len() > at_c.len() {
            all.sort_by(f64::total_cmp);
        }
        all
    }

    /// The bar beside formulas, assessed at those temperatures.
    pub(crate) fn beside(&self, assessed: &[Assessment], seed: u64) -> Beside {
        let tested = |level: &Level| Tested {
            temperature_c: level.temperature_c,
            yield_stress_kpa: level.yield_stress.estimate(),
            tests: level.tests,
        };
        Beside {
            name: self.name.clone(),
            firmness: self.levels.iter().map(tested).collect(),
            slip_point_c: self.slip_point_c,
            formulas: alike(&self.levels, assessed, seed),
        }
    }
}

impl Beside {
    /// Its yield stress at a temperature, where it was tested.
    pub(crate) fn yield_stress(&self, celsius: f64) -> Option<&Estimate> {
        self.firmness.iter().find(|one| one.temperature_c == celsius).map(|one| &one.yield_stress_kpa)
    }

    /// Which formula comes nearest, and how surely each is as firm.
    ///
    /// # Arguments
    /// * `titles`: of the formulas.
    /// * `most`: formulas side by side, at most.
    pub(crate) fn section(&self, titles: &[String], most: usize, units: Units) -> Section {
        let tests: usize = self.firmness.iter().map(|one| one.tests).sum();
        let small = format!(
            "By {} of its firmness, whose spread its own brackets show; the odds count that of the prediction, too. Within {NOTICEABLE_RATIO} times a \
             hand hardly tells two bars apart.",
            count(tests, "test", "tests")
        );
        let tables = titles.chunks(most).zip(self.formulas.chunks(most)).map(|(titles, formulas)| {
            let mut table = Table::new("").columns(Kind::Words, [""]).columns(Kind::Figure, titles);
            let mut row = |label: String, of: &dyn Fn(&Alike) -> String| {
                table.row(std::iter::once(label).chain(formulas.iter().map(of)));
            };
            if titles.len() > 1 || most < self.formulas.len() {
                row("comes nearest, %".to_owned(), &|one| whole(100.0 * one.probability_nearest));
            }
            for (index, tested) in self.firmness.iter().enumerate() {
                let at = units.given_degrees(tested.temperature_c);
                let of = |one: &Alike, show: &dyn Fn(&AlikeAt) -> String| {
                    one.firmness.get(index).map_or_else(String::new, show)
                };
                row(format!("times as firm at {at}"), &|one| {
                    of(one, &|at| interval(&at.times_as_firm, |times| significant(times, 2)))
                });
                row(format!("within {NOTICEABLE_RATIO} times at {at}, %"), &|one| {
                    of(one, &|at| whole(100.0 * at.probability_alike))
                });
            }
            Block::Table(table)
        });
        let blocks = std::iter::once(Block::said(self.nearest(titles, units))).chain(tables);
        Section::new(format!("As firm as {}?", name(&self.name)), blocks.chain([Block::Small(small)]))
    }

    /// Says which formula comes nearest, how firm it is beside this bar, and the odds that it is as firm.
    fn nearest(&self, titles: &[String], units: Units) -> Option<String> {
        let pairs = titles.iter().zip(&self.formulas);
        let (title, nearest) = pairs
            .reduce(|best, one| if one.1.probability_nearest > best.1.probability_nearest { one } else { best })?;
        let at = |at: &AlikeAt| {
            format!("{} at {}", significant(at.times_as_firm.value, 2), units.given_degrees(at.temperature_c))
        };
        let times =
            list(&nearest.firmness.iter().map(at).collect::<Vec<_>>(), "and").replacen(" at", " times as firm at", 1);
        let odds: Vec<String> = nearest.firmness.iter().map(|at| in_hundred(at.probability_alike)).collect();
        let who = match titles {
            [_] => format!("{title} against {}", name(&self.name)),
            _ => {
                let sure = in_hundred(nearest.probability_nearest);
                format!("{title} comes nearest to {} in firmness ({sure} sure)", name(&self.name))
            }
        };
        let odds = list(&odds, "and");
        Some(format!("{who}: {times}; the odds that it is as firm, to within {NOTICEABLE_RATIO} times, are {odds}."))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_blend::Options;
    use barwright_trials::trial::grams_from_yield;

    use super::*;
    use crate::adjust::{Adjust, adjust};
    use crate::compare::{Compare, compare};
    use crate::engine::{Engine, Recipe};

    fn written(text: &str) -> WrittenBar {
        WrittenBar { text: text.to_owned(), origin: "bought.toml".to_owned(), name: "bought".to_owned() }
    }

    fn rod(grams: f64, at_c: f64) -> String {
        format!("[[test]]\nrod = '3mm'\ngrams = {grams}\nat = '{at_c}C'\n")
    }

    fn recipe(text: &str) -> Recipe {
        let engine = Engine::builtin().unwrap();
        let formula =
            barwright_reference::formula::read_inline(text, "bar", &engine.library).unwrap().formulas.remove(0);
        Recipe::of(&formula, &engine.library)
    }

    #[test]
    fn every_unit_of_a_test_is_read() {
        let text = "name = 'stall'\n[[test]]\nrod = '1/8in'\ngrams = '640 g'\nat = '68F'\n\
            [[test]]\nneedle = '3.2mm'\nat = 25\n[[test]]\ntube = '54.5C'\nspread = '0.8K'\n";
        let bar = read(&written(text)).unwrap();
        assert_eq!(bar.name, "stall");
        assert_eq!(bar.levels.iter().map(|level| level.temperature_c).collect::<Vec<_>>(), [20.0, 25.0]);
        // Rod of 3.175 mm: 640 g over 5.69 times its area.
        assert!((bar.levels[0].yield_stress.kpa - 139.3).abs() < 0.1, "{bar:?}");
        assert!(bar.slip_point_c.is_some_and(|slip| slip.value == 54.5));
        assert_eq!(read(&written(&rod(640.0, 20.0))).unwrap().name, "bought");
    }

    #[test]
    fn every_fault_is_told_at_its_place() {
        let text = "[[test]]\nrod = '3 km'\ngrams = 'much'\nat = '200C'\n\
            [[test]]\nrod = '90mm'\ngrams = 600\nat = '20C'\n[[test]]\nneedle = 300\nat = '20C'\n";
        let refusal = read(&written(text)).unwrap_err().to_string();
        let places: Vec<&str> = refusal.lines().filter_map(|line| line.split(": ").next()).collect();
        assert_eq!(
            places,
            ["bought.toml:2:7", "bought.toml:3:9", "bought.toml:4:6", "bought.toml:6:7", "bought.toml:10:10"]
        );
    }

    #[test]
    fn tests_that_contradict_each_other_are_refused() {
        let of = |text: &str| read(&written(text)).unwrap_err().to_string();
        assert_eq!(
            of(&(rod(100.0, 20.0) + &rod(500.0, 20.0))),
            "bought.toml:7:9: by this test the bar is 5 times as firm as by the one on line 3, at the same temperature"
        );
        assert_eq!(
            of(&(rod(500.0, 30.0) + &rod(100.0, 20.0))),
            "bought.toml:7:9: by this test the bar is 0.2 times as firm as by the one on line 3, though colder"
        );
    }

    /// Readings of one formula, simulated with the scatter of a test, lead from another formula to a bar within that scatter of them.
    #[test]
    fn adjust_comes_to_the_readings_of_another_formula() {
        let engine = Engine::builtin().unwrap();
        let options = Options { at_c: vec![20.0, 30.0], ..Options::default() };
        let hidden = recipe("beeswax 22, mango butter 24, shea butter 12, sunflower oil 42");
        let told = engine.bench(&options).unwrap().assess(&engine.formula(&hidden).unwrap()).unwrap();
        for seed in [1, 2, 3] {
            let scatter = barwright_blend::sampling::Draws::new(seed, 7).dimension("scatter");
            let readings: Vec<f64> = (told.firmness.iter().zip(&scatter))
                .map(|(at, score)| at.yield_stress_kpa.value * (0.3 * score).exp())
                .collect();
            let text: String =
                readings.iter().zip([20.0, 30.0]).map(|(kpa, at_c)| rod(grams_from_yield(3.0, *kpa), at_c)).collect();
            let asked = Adjust {
                formula: recipe("beeswax 36, mango butter 24, shea butter 12, sunflower oil 28"),
                options: options.clone(),
                like: Some(written(&text)),
                ..Adjust::default()
            };
            let found = adjust(&engine, &asked).unwrap().figures;
            assert!(found.feasible && (found.confidence - 0.5).abs() < 1e-12, "seed {seed}: {:?}", found.limits);
            for (at, reading) in found.after.firmness.iter().zip(&readings) {
                let apart = (at.yield_stress_kpa.value / reading).ln().abs();
                assert!(apart < 1.6449 * 0.3, "seed {seed}: {} against {reading} kPa", at.yield_stress_kpa.value);
            }
        }
    }

    /// A surer likeness is asked of a surer test: the spread of the tests decides what can be.
    #[test]
    fn the_spread_of_the_tests_counts() {
        let engine = Engine::builtin().unwrap();
        let bar = recipe("beeswax 22, mango butter 24, shea butter 12, sunflower oil 42");
        let told = engine.bench(&Options::default()).unwrap().assess(&engine.formula(&bar).unwrap()).unwrap();
        let grams = grams_from_yield(3.0, told.firmness[0].yield_stress_kpa.value);
        let odds = |tests: usize| {
            let asked = Adjust {
                formula: bar.clone(),
                like: Some(written(&rod(grams, 20.0).repeat(tests))),
                ..Adjust::default()
            };
            adjust(&engine, &asked).unwrap().figures.limits[0].probability_before
        };
        assert!(odds(20) > odds(1) + 0.005, "{} {}", odds(20), odds(1));
    }

    #[test]
    fn a_comparison_with_one_formula_says_how_like_it_is() {
        let engine = Engine::builtin().unwrap();
        let asked = Compare {
            formulas: vec![recipe("beeswax 22, mango butter 24, shea butter 12, sunflower oil 42")],
            like: Some(written(&rod(450.0, 21.5))),
            ..Compare::default()
        };
        let answer = compare(&engine, &asked).unwrap();
        let like = answer.figures.like.unwrap();
        assert!((like.formulas[0].probability_nearest - 1.0).abs() < 1e-12 && like.firmness[0].tests == 1);
        // Its temperature is one of the table.
        let temperatures: Vec<f64> =
            answer.figures.comparison.formulas[0].firmness.iter().map(|at| at.temperature_c).collect();
        assert_eq!(temperatures, [20.0, 21.5, 25.0, 30.0, 35.0]);
        assert!(answer.document.sections.iter().all(|section| section.heading != "What decides"));
        let alone = Compare { formulas: asked.formulas, ..Compare::default() };
        assert_eq!(compare(&engine, &alone).unwrap_err().faults[0].code, "one-formula");
    }
}
