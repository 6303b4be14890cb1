//! The judge against `assess`: the same figures, the same odds, and tangents that are those of its own margins.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::sync::LazyLock;

use barwright_blend::{MeasuredYield, Model, Options, Parameters, assess};
use barwright_reference::{CrystalState, Formula, IngredientId, Library, formula};
use barwright_reformulate::demand::Likeness;
use barwright_reformulate::judge::{Judge, Standing};
use barwright_reformulate::{Demand, DemandError, Firmness};

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().expect("built-in tables are sound"));
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().expect("the built-in model is sound"));

/// Bars of each kind: wax and butter, a wax of alkanes, a butter alone, a soft gel.
const BARS: [&str; 4] = [
    "beeswax 26, mango butter 22, shea butter 10, sunflower oil 42",
    "candelilla wax 14, cocoa butter 40, jojoba oil 46",
    "cocoa butter 70, olive oil 30",
    "carnauba wax 6, sunflower oil 94",
];

fn bar(text: &str) -> Formula {
    formula::read_inline(text, "bar", &LIBRARY).expect(text).formulas.remove(0)
}

fn split(bar: &Formula) -> (Vec<IngredientId>, Vec<f64>) {
    (bar.parts.iter().map(|part| part.ingredient).collect(), bar.parts.iter().map(|part| part.percent).collect())
}

fn options(draws: usize) -> Options {
    Options { draws, ..Options::default() }
}

fn judge<'a>(options: &Options, ingredients: &[IngredientId], demands: &[Demand], confidence: f64) -> Judge<'a> {
    Judge::new(&LIBRARY, &MODEL, options, ingredients, demands, confidence).expect("sound")
}

fn standings(options: &Options, bar: &Formula, demands: &[Demand], confidence: f64) -> Vec<Standing> {
    let (ingredients, percent) = split(bar);
    judge(options, &ingredients, demands, confidence).judge(&percent, false).expect("an equilibrium")
}

/// One of each kind, none of them far from the bars.
fn demands() -> Vec<Demand> {
    vec![
        Demand::Hold { temperature_c: 31.0 },
        Demand::Detail { relief_mm: 1.5 },
        Demand::Melts { percent: 55.0 },
        Demand::Firmer { than: Firmness::Kpa(30.0), temperature_c: 22.0 },
        Demand::Softer { than: Firmness::Kpa(30.0), temperature_c: 22.0 },
        Demand::Firmer { than: Firmness::BeeswaxPercent(12.0), temperature_c: 24.0 },
        Demand::Softer { than: Firmness::BeeswaxPercent(9.0), temperature_c: 18.0 },
    ]
    .into_iter()
    .chain(like(25.0, 0.3, 0.7))
    .collect()
}

/// As firm as a bar that was measured at 22 °C.
fn like(kpa: f64, ln_sd: f64, confidence: f64) -> [Demand; 2] {
    Demand::like(Likeness { measured: MeasuredYield { kpa, ln_sd }, confidence }, 22.0)
}

#[track_caller]
fn near(what: &str, found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-6 * expected.abs().max(1.0), "{what}: {found} is not {expected}");
}

/// Margins are the logarithms of what `assess` shows over what is asked, melted share in steps of 20 points.
#[test]
fn central_margins_are_the_figures_of_assess() {
    for state in [CrystalState::Rested, CrystalState::Tempered] {
        let mut options = Options { at_c: vec![22.0], state, ..options(0) };
        let demands = demands();
        for text in BARS {
            let start = bar(text);
            let told = assess(&LIBRARY, &MODEL, &start, &options).unwrap();
            let margins: Vec<f64> = standings(&options, &start, &demands, 0.9).iter().map(|one| one.margin).collect();
            let tau = told.firmness[0].yield_stress_kpa.value;
            near(text, margins[3], (tau / 30.0).ln());
            near(text, margins[4], -(tau / 30.0).ln());
            near(text, margins[7], (1.3 * tau / 25.0).ln());
            near(text, margins[8], -(tau / 25.0 / 1.3).ln());
            near(text, margins[2], (told.skin.melted_percent.value - 55.0) / 20.0);
            if let Some(finest) = told.detail.finest_feature_mm {
                near(text, margins[1], (1.5 / finest.value).ln());
            }
        }
        options.at_c.clear();
    }
}

/// Where a bar just holds, and where it is as firm as so much beeswax, the margin is nothing; on either side it has its sign.
#[test]
fn margins_change_sign_where_assess_says() {
    for text in BARS {
        let start = bar(text);
        let at_c = 24.0;
        let options = Options { at_c: vec![at_c], ..options(0) };
        let told = assess(&LIBRARY, &MODEL, &start, &options).unwrap();
        let hold_c = told.warmth.hold_c.expect(text).value;
        let hold = [-1.0, 0.0, 1.0].map(|off| Demand::Hold { temperature_c: hold_c + off });
        let margins: Vec<f64> = standings(&options, &start, &hold, 0.9).iter().map(|one| one.margin).collect();
        assert!(margins[0] > 0.0 && margins[2] < 0.0 && margins[1].abs() < 2e-2, "{text}: {margins:?}");

        let Some(percent) = told.firmness[0].beeswax_equivalent.percent().map(|one| one.value) else { continue };
        let firmer = |of: f64| Demand::Firmer { than: Firmness::BeeswaxPercent(percent * of), temperature_c: at_c };
        let softer = |of: f64| Demand::Softer { than: Firmness::BeeswaxPercent(percent * of), temperature_c: at_c };
        // The cool one before them is measured on a scale of its own.
        let cool = Demand::Firmer { than: Firmness::BeeswaxPercent(5.0), temperature_c: 5.0 };
        let asked = [cool, firmer(0.9), firmer(1.0), firmer(1.1), softer(0.9), softer(1.0), softer(1.1)];
        let margins: Vec<f64> = standings(&options, &start, &asked, 0.9).iter().map(|one| one.margin).collect();
        assert!(margins[1] > 0.0 && margins[3] < 0.0 && margins[2].abs() < 5e-3, "{text}: {margins:?}");
        assert!(margins[4] < 0.0 && margins[6] > 0.0 && margins[5].abs() < 5e-3, "{text}: {margins:?}");
    }
}

/// A wax that bleeds holds as long as it holds its oil, not as long as it stands.
#[test]
fn the_worse_of_load_and_bleeding_decides() {
    let start = bar("carnauba wax 6, sunflower oil 94");
    let asked = [Demand::Hold { temperature_c: 31.0 }];
    let plain = standings(&options(0), &start, &asked, 0.9)[0].margin;
    let with = |change: fn(&mut Parameters)| {
        let mut model = MODEL.clone();
        change(&mut model.parameters);
        let (ingredients, percent) = split(&start);
        let judge = Judge::new(&LIBRARY, &model, &options(0), &ingredients, &asked, 0.9).unwrap();
        judge.judge(&percent, false).unwrap()[0].margin
    };
    let heavier = with(|parameters| parameters.warmth.load_kpa *= std::f64::consts::E);
    let looser = with(|parameters| parameters.warmth.weep_below *= std::f64::consts::E);
    // One of the two limits decides; raised by a factor of e it takes 1 off the margin, and the other nothing more than it must.
    assert!(heavier <= plain && looser <= plain, "{plain} {heavier} {looser}");
    let lost = [plain - heavier, plain - looser];
    assert!(lost.iter().any(|lost| (lost - 1.0).abs() < 1e-6), "{lost:?}");
    assert!(lost.iter().all(|lost| *lost <= 1.0 + 1e-6), "{lost:?}");
    // Far above what the load asks for, holding alone decides, and so does the load far above holding.
    let bleeds = [
        with(|parameters| parameters.warmth.weep_below *= 1e3),
        with(|parameters| parameters.warmth.weep_below *= 1e3 * std::f64::consts::E),
    ];
    assert!((bleeds[0] - bleeds[1] - 1.0).abs() < 1e-6, "{bleeds:?}");
    let sags = [
        with(|parameters| parameters.warmth.load_kpa *= 1e3),
        with(|parameters| parameters.warmth.load_kpa *= 1e3 * std::f64::consts::E),
    ];
    assert!((sags[0] - sags[1] - 1.0).abs() < 1e-6, "{sags:?}");
}

/// The margin at a confidence is that of one draw in order: asked for every share of 16, they are the 16 margins, from the best down.
#[test]
fn odds_are_counted_in_draws() {
    const DRAWS: usize = 16;
    let start = bar(BARS[0]);
    let demands = [Demand::Hold { temperature_c: 40.0 }, Demand::Melts { percent: 79.0 }];
    let at = |confidence: f64| standings(&options(DRAWS), &start, &demands, confidence);
    for demand in 0..demands.len() {
        let margins: Vec<f64> = (1..=DRAWS).map(|met| at(met as f64 / DRAWS as f64)[demand].margin).collect();
        assert!(margins.is_sorted_by(|a, b| a >= b) && margins[0] > margins[DRAWS - 1], "{margins:?}");
        let share = margins.iter().filter(|margin| **margin >= 0.0).count() as f64 / DRAWS as f64;
        assert!(share > 0.0 && share < 1.0, "{margins:?}: nothing to count");
        for confidence in [0.0, 0.3, 1.0] {
            assert_eq!(at(confidence)[demand].probability, share);
        }
        // The best of all is all that confidence 0 asks for; between two shares the higher is asked for.
        assert_eq!(at(0.0)[demand].margin, margins[0]);
        assert_eq!(at(0.51)[demand].margin, margins[8]);
    }
}

/// The same draws decide: the share that `assess` gives for the same question.
#[test]
fn odds_are_those_of_assess() {
    let start = bar(BARS[0]);
    let options = Options { hold_c: 40.0, relief_mm: 1.0, ..options(64) };
    let told = assess(&LIBRARY, &MODEL, &start, &options).unwrap();
    let asked = [Demand::Hold { temperature_c: 40.0 }, Demand::Detail { relief_mm: 1.0 }];
    let found = standings(&options, &start, &asked, 0.9);
    near("holds", found[0].probability, told.warmth.probability);
    near("relief", found[1].probability, told.detail.probability);
    assert!(found.iter().all(|one| one.tangents.is_empty()));
}

/// Each draw has its own measured yield stress: the odds are counted here from the draws of `assess` and of the measurement.
#[test]
fn odds_of_a_likeness_count_both_spreads() {
    let start = bar(BARS[0]);
    let options = Options { at_c: vec![22.0], ..options(256) };
    let told = assess(&LIBRARY, &MODEL, &start, &options).unwrap();
    let draws = barwright_blend::sampling::Draws::new(options.seed, 256);
    for ln_sd in [0.0, 0.3, 1.5] {
        let measured = MeasuredYield { kpa: 45.0, ln_sd };
        let drawn = measured.spread(22.0, &draws).drawn;
        let ratio: Vec<f64> = told.outcomes().iter().zip(&drawn).map(|(one, kpa)| one.yield_kpa[0] / kpa).collect();
        let share = |met: &dyn Fn(f64) -> bool| ratio.iter().filter(|one| met(**one)).count() as f64 / 256.0;
        let found = standings(&options, &start, &like(45.0, ln_sd, 0.5), 0.9);
        near("firm enough", found[0].probability, share(&|ratio| ratio >= 1.0 / 1.3));
        near("soft enough", found[1].probability, share(&|ratio| ratio <= 1.3));
    }
}

/// A likeness is judged at its own confidence, whatever is asked of the others.
#[test]
fn a_likeness_has_a_confidence_of_its_own() {
    let start = bar(BARS[0]);
    let at = |own: f64, asked: f64| standings(&options(16), &start, &like(45.0, 0.3, own), asked)[0].margin;
    assert_eq!(at(0.5, 0.9), at(0.5, 0.6));
    assert!(at(0.5, 0.9) > at(0.8, 0.9));
}

/// Central differences along exchanges of two ingredients, which keep the sum at 100 %.
#[test]
fn tangents_are_the_slopes_of_the_margins() {
    for text in BARS {
        let start = bar(text);
        let (ingredients, percent) = split(&start);
        let demands = demands();
        // Where oil weeps out before the bar sags, its holding decides.
        let mut weeping = MODEL.clone();
        weeping.parameters.warmth.weep_below *= 100.0;
        for model in [&*MODEL, &weeping] {
            slopes_agree(text, model, &ingredients, &percent, &demands);
        }
    }
}

fn slopes_agree(text: &str, model: &Model, ingredients: &[IngredientId], percent: &[f64], demands: &[Demand]) {
    const STEP: f64 = 1e-3;
    let judge = Judge::new(&LIBRARY, model, &options(0), ingredients, demands, 0.9).unwrap();
    let here = judge.judge(percent, true).unwrap();
    for from in 0..percent.len() {
        let to = (from + 1) % percent.len();
        let moved = |by: f64| {
            let mut moved = percent.to_vec();
            moved[from] -= by;
            moved[to] += by;
            judge.judge(&moved, false).unwrap()
        };
        let (more, less) = (moved(STEP), moved(-STEP));
        for (number, standing) in here.iter().enumerate() {
            let [tangent] = standing.tangents.as_slice() else { panic!("{text}: one draw, one tangent") };
            assert_eq!(tangent.margin, standing.margin);
            let slope = tangent.gradient[to] - tangent.gradient[from];
            let expected = (more[number].margin - less[number].margin) / (2.0 * STEP);
            assert!(
                (slope - expected).abs() <= 1e-3 * expected.abs() + 1e-4,
                "{text}, {:?}: {slope} is not {expected}",
                demands[number]
            );
        }
    }
}

/// Of 16 draws at nine in ten the second lowest decides, and it and three more have tangents; of 128, the thirteenth and four more.
#[test]
fn the_draw_that_decides_and_those_next_to_it_have_tangents() {
    let start = bar(BARS[0]);
    let (ingredients, percent) = split(&start);
    let asked = [Demand::Hold { temperature_c: 40.0 }];
    for (draws, confidence, count) in [(16, 0.9, 4), (128, 0.9, 5), (16, 0.01, 1), (2, 1.0, 2)] {
        let found = judge(&options(draws), &ingredients, &asked, confidence).judge(&percent, true).unwrap();
        let margins: Vec<f64> = found[0].tangents.iter().map(|one| one.margin).collect();
        assert_eq!(margins.len(), count, "{draws} draws");
        assert_eq!(margins[0], found[0].margin);
        assert!(margins.is_sorted());
    }
}

/// A liquid has no strength; one nearer to its first crystal is nearer to having some, and more wax brings it there.
#[test]
fn a_melt_is_as_far_off_as_its_first_crystal() {
    let (oil, wax) = (bar("sunflower oil 98, beeswax 2"), bar("sunflower oil 60, beeswax 40"));
    let asked =
        [Demand::Hold { temperature_c: 75.0 }, Demand::Softer { than: Firmness::Kpa(5.0), temperature_c: 75.0 }];
    let at = |bar: &Formula| {
        let (ingredients, percent) = split(bar);
        judge(&options(0), &ingredients, &asked, 0.9).judge(&percent, true).unwrap()
    };
    let (thin, thick) = (at(&oil), at(&wax));
    assert!(thin[0].margin < thick[0].margin && thick[0].margin <= -10.0, "{thin:?} {thick:?}");
    assert_eq!(thin[1].margin, -thin[0].margin);
    let gradient = &thin[0].tangents[0].gradient;
    assert!(gradient[1] > 0.0 && gradient[1] > gradient[0], "{gradient:?}");
    let (mut ingredients, percent) = split(&oil);
    // Positions are those of the ingredients as given.
    ingredients.reverse();
    let turned = judge(&options(0), &ingredients, &asked, 0.9).judge(&[percent[1], percent[0]], true).unwrap();
    assert_eq!(turned[0].margin, thin[0].margin);
    near("turned", turned[0].tangents[0].gradient[0], gradient[1]);
}

/// In a melt, too, the slope is that of the margin: of an exchange of wax and oil, by central differences.
#[test]
fn the_slope_in_a_melt_is_that_of_its_margin() {
    const STEP: f64 = 0.01;
    let asked =
        [Demand::Hold { temperature_c: 75.0 }, Demand::Softer { than: Firmness::Kpa(5.0), temperature_c: 75.0 }];
    for text in ["beeswax 40, sunflower oil 60", "beeswax 12, cocoa butter 30, sunflower oil 58"] {
        let (ingredients, percent) = split(&bar(text));
        let judge = judge(&options(0), &ingredients, &asked, 0.9);
        let here = judge.judge(&percent, true).unwrap();
        let last = percent.len() - 1;
        let exchanged = |by: f64| {
            let mut moved = percent.clone();
            moved[0] += by;
            moved[last] -= by;
            judge.judge(&moved, false).unwrap()
        };
        let (more, less) = (exchanged(STEP), exchanged(-STEP));
        for (number, standing) in here.iter().enumerate() {
            let gradient = &standing.tangents[0].gradient;
            let slope = gradient[0] - gradient[last];
            let expected = (more[number].margin - less[number].margin) / (2.0 * STEP);
            assert!(standing.margin.abs() > 10.0 && expected.abs() > 1e-3, "{text}: {standing:?}");
            assert!((slope / expected - 1.0).abs() < 0.02, "{text}: {slope} is not {expected}");
        }
    }
}

#[test]
fn what_is_not_there_and_the_order_of_the_rest_change_nothing() {
    let demands = demands();
    for text in BARS {
        let start = bar(text);
        let plain = standings(&options(8), &start, &demands, 0.9);
        let (mut ingredients, mut percent) = split(&start);
        ingredients.reverse();
        percent.reverse();
        let extra = LIBRARY.id_of("rice-bran-wax").unwrap();
        ingredients.insert(1, extra);
        percent.insert(1, 0.0);
        let more = judge(&options(8), &ingredients, &demands, 0.9).judge(&percent, false).unwrap();
        for (one, other) in plain.iter().zip(&more) {
            assert_eq!(one.probability, other.probability, "{text}");
            assert!((one.margin - other.margin).abs() < 1e-4, "{text}: {one:?} {other:?}");
        }
    }
}

#[test]
fn what_no_bar_is_measured_against_is_refused() {
    let (ingredients, _) = split(&bar(BARS[0]));
    let check = |percent: f64| {
        let demand = Demand::Firmer { than: Firmness::BeeswaxPercent(percent), temperature_c: 25.0 };
        judge(&options(0), &ingredients, &[demand], 0.9).check()
    };
    assert_eq!(check(20.0), Ok(()));
    assert_eq!(check(0.0), Err(DemandError::NoPercentage { percent: 0.0 }));
    let measured = |kpa, ln_sd| judge(&options(0), &ingredients, &like(kpa, ln_sd, 0.5), 0.9).check();
    assert_eq!(measured(45.0, 0.3), Ok(()));
    assert_eq!(measured(-3.0, 0.3), Err(DemandError::NoYieldStress { kpa: -3.0, ln_sd: 0.3 }));
    assert!(measured(45.0, f64::NAN).is_err());
}

/// Half a kelvin above its first crystal a melt is off by hardly more than the least.
#[test]
fn a_melt_just_above_its_first_crystal_is_hardly_further_off() {
    let start = bar(BARS[0]);
    let told = assess(&LIBRARY, &MODEL, &start, &options(0)).unwrap();
    let clear_c = told.melt.clear_point_c.unwrap().value;
    let margin = |above_k: f64| {
        standings(&options(0), &start, &[Demand::Hold { temperature_c: clear_c + above_k }], 0.9)[0].margin
    };
    let (near, far) = (margin(0.5), margin(20.0));
    assert!(near < -10.0 && near > -10.2, "{near}");
    assert!(far < -10.5, "{far}");
}

/// Judging stops early only where a margin is missing more than it may, whatever was judged before.
#[test]
fn a_formula_is_found_wanting_early_or_judged_in_full() {
    let (ingredients, percent) = split(&bar(BARS[0]));
    let judge = judge(&options(80), &ingredients, &demands()[..3], 0.8);
    let (mut stopped, mut full) = (0, 0);
    for step in 0..12 {
        let moved = 2.0 * f64::from(step) - 10.0;
        let percent = [percent[0] + moved, percent[1], percent[2], percent[3] - moved];
        let standings = judge.judge(&percent, true).unwrap();
        let worst = standings.iter().map(|one| one.margin).fold(f64::INFINITY, f64::min);
        for allowed in [0.0, 0.3, -worst - 1e-9, -worst + 1e-9] {
            let within = judge.judge_within(&percent, allowed, true).unwrap();
            let expected = (worst >= -allowed).then_some(&standings);
            assert_eq!(within.as_ref(), expected, "{percent:?} {allowed}");
            *(if within.is_some() { &mut full } else { &mut stopped }) += 1;
        }
    }
    assert!(stopped > 12 && full > 12, "{stopped} {full}");
}

/// Near a formula judged in full the draws around the one that decides give the margin that all of them give, to the last bit, and the same tangents.
#[test]
fn near_a_formula_judged_in_full_few_draws_decide_the_same() {
    let mut looked_at = 0;
    for text in BARS {
        let (ingredients, percent) = split(&bar(text));
        let last = percent.len() - 1;
        for confidence in [0.5, 0.9, 1.0] {
            let near = judge(&options(256), &ingredients, &demands(), confidence);
            near.judge(&percent, false).unwrap();
            for moved in [-2.5, -0.4, 0.01, 0.7, 2.9] {
                let mut percent = percent.clone();
                percent[0] += moved;
                percent[last] -= moved;
                let full = judge(&options(256), &ingredients, &demands(), confidence).judge(&percent, true).unwrap();
                let few = near.judge_within(&percent, f64::INFINITY, true).unwrap().unwrap();
                for (few, full) in few.iter().zip(&full) {
                    assert_eq!(few.margin, full.margin, "{text} {moved} at {confidence}");
                    assert_eq!(few.tangents[0], full.tangents[0], "{text} {moved} at {confidence}");
                    assert!((few.probability - full.probability).abs() < 0.1, "{few:?} {full:?}");
                    looked_at += 1;
                }
            }
        }
    }
    assert!(looked_at > 50, "{looked_at}");
}
