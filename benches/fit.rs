//! What learning from ten unlike trials of odd makers takes. See `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::time::Instant;

use barwright_blend::Model;
use barwright_reference::{Formula, IngredientKind, Library, Part};
use barwright_trials::{Fit, Test, Trial, fit};
use cpu_time::ProcessTime;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Makers, and the seed of the first, unless others are asked for: `-- 60 0`.
const MAKERS: u64 = 60;
const FIRST: u64 = 0;

/// Trials of a maker.
const TRIALS: usize = 10;

/// Longest a fit may take on two cores, s.
const GOAL_S: f64 = 2.0;

/// What is odd about a maker.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Oddity {
    /// Results have nothing to do with the bars, but lie where such bars do.
    Unrelated,
    /// Results as no bar of this kind has them.
    Extreme,
    /// Every second trial is of the same bar, and says something else.
    Contradictory,
    /// Only yeses and noes.
    Censored,
    /// Bars of any ingredients: all wax, no wax.
    Haphazard,
}

const ODDITIES: [Oddity; 6] =
    [Oddity::Unrelated, Oddity::Extreme, Oddity::Contradictory, Oddity::Censored, Oddity::Haphazard, Oddity::Unrelated];

fn bar(library: &Library, random: &mut Pcg64, any: bool) -> Formula {
    use IngredientKind::{Butter, Oil, Wax};
    let mut parts: Vec<Part> = Vec::new();
    for place in 0..random.random_range(3..7) {
        let kind = [Wax, Butter, Oil][if place < 3 { place } else { random.random_range(0..3) }];
        loop {
            let ingredient = library.id_at(random.random_range(0..library.ingredients.len())).unwrap();
            let fits = any || library.get(ingredient).unwrap().kind == kind;
            if fits && parts.iter().all(|part| part.ingredient != ingredient) {
                let most = if kind == Wax { 10.0 } else { 20.0 };
                let percent = 1.0 + most * random.random_range(0.0..1.0_f64).powi(2);
                parts.push(Part { ingredient, percent });
                break;
            }
        }
    }
    let sum: f64 = parts.iter().map(|part| part.percent).sum();
    parts.iter_mut().for_each(|part| part.percent *= 100.0 / sum);
    Formula { name: "bar".to_owned(), parts }
}

fn test(random: &mut Pcg64, oddity: Oddity) -> Test {
    let extreme = oddity == Oddity::Extreme;
    let kind = if oddity == Oddity::Censored { random.random_range(3..5) } else { random.random_range(0..5) };
    let room = if extreme { -10.0..80.0 } else { 15.0..35.0 };
    match kind {
        0 => Test::Tube {
            melt_c: random.random_range(if extreme { -10.0..110.0 } else { 35.0..65.0 }),
            sd_k: [None, Some(0.5), Some(5.0), Some(20.0)][random.random_range(0..4)],
        },
        1 => Test::Needle {
            depth_dmm: if extreme {
                10.0_f64.powf(random.random_range(0.0..2.5))
            } else {
                random.random_range(10.0..80.0)
            },
            at_c: random.random_range(room),
        },
        2 => Test::Rod {
            diameter_mm: 3.0,
            grams: 10.0_f64.powf(random.random_range(if extreme { -1.0..5.0 } else { 1.5..3.5 })),
            at_c: random.random_range(room),
        },
        3 => Test::Shelf {
            at_c: random.random_range(if extreme { 0.0..100.0 } else { 30.0..55.0 }),
            hours: [0.5, 24.0, 240.0][random.random_range(0..3)],
            kept: random.random_bool(0.5),
        },
        _ => {
            let mm = 10.0_f64.powf(random.random_range(-1.0..1.0));
            let survived_mm = random.random_bool(0.5).then_some(mm);
            Test::Relief { survived_mm, broke_mm: Some(0.6 * mm), release_c: random.random_range(5.0..25.0) }
        }
    }
}

fn trials(library: &Library, seed: u64) -> (Oddity, Vec<Trial>) {
    let oddity = ODDITIES[(seed % 6) as usize];
    let mut random = Pcg64::seed_from_u64(seed);
    let usual = bar(library, &mut random, false);
    let one = |number: usize| {
        let again = oddity == Oddity::Contradictory && number % 2 == 1;
        let any = oddity == Oddity::Haphazard;
        let formula = if again { usual.clone() } else { bar(library, &mut random, any) };
        let (days, tempered) = (if random.random_bool(1.0 / 3.0) { 0.5 } else { 7.0 }, random.random_bool(0.25));
        Trial { label: number.to_string(), formula, days, tempered, test: test(&mut random, oddity) }
    };
    (oddity, (0..TRIALS).map(one).collect())
}

fn main() {
    let numbers: Vec<u64> = std::env::args().filter_map(|argument| argument.parse().ok()).collect();
    let (makers, first) = (numbers.first().copied().unwrap_or(MAKERS), numbers.get(1).copied().unwrap_or(FIRST));
    let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let (mut walls_s, mut cpus_s, mut energies) = (Vec::new(), Vec::new(), 0.0);
    let (mut search, mut samples) = (0, 0);
    for seed in first..first + makers {
        let (oddity, trials) = trials(&library, seed);
        let (wall, cpu) = (Instant::now(), ProcessTime::now());
        let found = fit(&library, &model.parameters, &trials);
        let (wall_s, cpu_s) = (wall.elapsed().as_secs_f64(), cpu.elapsed().as_secs_f64());
        walls_s.push(wall_s);
        cpus_s.push(cpu_s);
        let said = match found {
            Ok(Fit { learned, energy, search_readings, sample_readings }) => {
                search += search_readings;
                samples += sample_readings;
                energies += energy;
                format!(
                    "{} scores, {} flagged, {search_readings} readings to the mode, {sample_readings} of samples, U {energy:.6}",
                    learned.names.len(),
                    learned.flagged.len()
                )
            }
            Err(error) => error.to_string(),
        };
        println!("{seed} {oddity:?}: {wall_s:.2} s, {cpu_s:.2} s CPU, {said}");
    }
    let mean = |list: &[f64]| list.iter().sum::<f64>() / list.len() as f64;
    let worst = |list: &[f64]| list.iter().copied().fold(0.0, f64::max);
    let above = walls_s.iter().filter(|wall_s| **wall_s > GOAL_S).count();
    println!(
        "{makers} makers of {TRIALS} trials: wall {:.2} s on average, {:.2} at worst, {above} above {GOAL_S} s; CPU {:.2} and {:.2} s",
        mean(&walls_s),
        worst(&walls_s),
        mean(&cpus_s),
        worst(&cpus_s)
    );
    println!(
        "readings of one quantity off one bar, per maker: {} to the mode, {} of samples; sum of U {energies:.4}",
        search as u64 / makers,
        samples as u64 / makers
    );
}
