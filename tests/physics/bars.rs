//! What must hold of a bar as the maker sees it, over ten thousand random blends.

use barwright_blend::equilibrium::Solver;
use barwright_blend::{Assessment, Estimate, Options, assess};
use barwright_reference::{CrystalState, Formula, IngredientKind, Part};

use crate::kit::random;
use crate::{LIBRARY, MODEL};

const BLENDS: usize = 10_000;
const AT_C: [f64; 8] = [-10.0, 5.0, 15.0, 20.0, 25.0, 35.0, 45.0, 60.0];
const ROOM: usize = 3;

/// How far two landmarks may be out of order, K: twice what each is found to.
const LANDMARK_K: f64 = 2e-4;

/// What dents under a finger is no bar, kPa: 100 kPa over the bearing factor of a round punch.
const NO_BAR_KPA: f64 = 18.0;

fn central(formula: &Formula, state: CrystalState) -> Assessment {
    let options = Options { draws: 0, state, at_c: AT_C.to_vec(), ..Options::default() };
    assess(&LIBRARY, &MODEL, formula, &options).unwrap()
}

fn kpa(answer: &Assessment) -> impl Iterator<Item = f64> {
    answer.firmness.iter().map(|one| one.yield_stress_kpa.value)
}

/// The same blend with a tenth of it replaced by sunflower oil.
fn with_more_liquid(formula: &Formula) -> Formula {
    let oil = LIBRARY.id_of("sunflower-oil").unwrap();
    let mut parts: Vec<Part> =
        formula.parts.iter().map(|part| Part { percent: 0.9 * part.percent, ..part.clone() }).collect();
    match parts.iter_mut().find(|part| part.ingredient == oil) {
        Some(part) => part.percent += 10.0,
        None => parts.push(Part { ingredient: oil, percent: 10.0 }),
    }
    Formula { name: formula.name.clone(), parts }
}

/// Mass fraction of the bar that is crystals of one family in both states, over the solids of the state that has more, at 20 °C.
fn in_the_same_family(formula: &Formula) -> f64 {
    let [rested, fresh] = [CrystalState::Rested, CrystalState::Fresh].map(|state| {
        let problem = random::problem(&LIBRARY, &MODEL, formula, state).unwrap();
        let mut solver = Solver::new(&problem);
        let (mut fractions, mut melt_k) = (Vec::new(), Vec::new());
        solver.solve(&problem, 293.15).unwrap().family_solids(&mut fractions, &mut melt_k);
        fractions
    });
    let both: f64 = rested.iter().zip(&fresh).map(|(one, other)| one.min(*other)).sum();
    both / rested.iter().sum::<f64>().max(fresh.iter().sum())
}

/// Whether a formula holds neither powder nor scent.
fn is_fat_alone(formula: &Formula) -> bool {
    let mut kinds = formula.parts.iter().filter_map(|part| LIBRARY.get(part.ingredient)).map(|one| one.kind);
    kinds.all(|kind| !matches!(kind, IngredientKind::Powder | IngredientKind::Scent))
}

/// Looks at one blend; true when it was compared rested with fresh.
fn look_at(number: usize, formula: &Formula) -> bool {
    let said = || format!("blend {number}: {formula:?}");
    let rested = central(formula, CrystalState::Rested);
    let fresh = central(formula, CrystalState::Fresh);
    for answer in [&rested, &fresh] {
        let melt = &answer.melt;
        let value = |one: Option<Estimate>| one.map(|one| one.value);
        let order = [melt.softening_c, melt.slip_point_c, melt.drop_point_c, melt.clear_point_c].map(value);
        let found: Vec<f64> = order.into_iter().flatten().collect();
        assert!(found.is_sorted_by(|lower, higher| *lower <= higher + LANDMARK_K), "{order:?}, {}", said());
        let solids: Vec<f64> = answer.solids.iter().map(|one| one.percent.value).collect();
        assert!(solids.is_sorted_by(|colder, warmer| *warmer <= colder + 1e-7), "{solids:?}, {}", said());
        let firmness: Vec<f64> = kpa(answer).collect();
        assert!(firmness.iter().all(|one| one.is_finite() && *one >= 0.0), "{firmness:?}, {}", said());
        assert!(firmness.is_sorted_by(|colder, warmer| *warmer <= colder * (1.0 + 1e-7)), "{firmness:?}, {}", said());
    }
    let softer = central(&with_more_liquid(formula), CrystalState::Rested);
    // In the room and warmer: in the cold the oil itself sets, and another may not.
    for (before, after) in kpa(&rested).zip(kpa(&softer)).skip(ROOM) {
        assert!(after <= before * (1.0 + 1e-6) + 1e-9, "{after} kPa with more oil, {before} before, {}", said());
    }
    let [now, then] = [&rested, &fresh].map(|answer| kpa(answer).nth(ROOM).unwrap());
    // Powder and scent shift how much solid there is in each state; what rests is the fat.
    let compared = then > NO_BAR_KPA && in_the_same_family(formula) > 0.5 && is_fat_alone(formula);
    assert!(!compared || (0.6..=3.0).contains(&(now / then)), "{now} kPa rested, {then} fresh, {}", said());
    compared
}

#[test]
fn bars_melt_in_order_soften_as_they_warm_and_with_oil_and_rest_to_no_other_bar() {
    let mut generator = random::generator(77);
    let blends: Vec<Formula> = (0..BLENDS).map(|_| random::formula(&mut generator, &LIBRARY, 8)).collect();
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let numbered: Vec<(usize, &Formula)> = blends.iter().enumerate().collect();
    let compared: usize = std::thread::scope(|scope| {
        let look = |part: &[(usize, &Formula)]| part.iter().filter(|(number, one)| look_at(*number, one)).count();
        let parts: Vec<_> =
            numbered.chunks(BLENDS.div_ceil(threads)).map(|part| scope.spawn(move || look(part))).collect();
        parts.into_iter().map(|part| part.join().unwrap()).sum()
    });
    println!("{compared} of {BLENDS} compared rested with fresh");
    assert!(compared > BLENDS / 20, "{compared}");
}
