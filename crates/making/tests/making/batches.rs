//! Weigh sheets close, and labels follow them, for any batch.
#![allow(clippy::unwrap_used, missing_docs)]

use barwright_making::batch::{BatchError, BatchTask, Scent, batch};
use barwright_making::declaration::{Declaration, LabelTask};
use barwright_reference::{Formula, Library, Market, Part};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Whatever the scale: the % of the sheet are those of the recipe; with a scent all of them are less by its share.
#[test]
fn the_percent_are_the_recipes() {
    let library = Library::builtin().unwrap();
    let read =
        |text: &str| barwright_reference::formula::read_inline(text, "bar", &library).unwrap().formulas.remove(0);
    for (text, expected) in [
        ("beeswax 26, mango butter 22, sunflower oil 52", [26.0, 22.0, 52.0]),
        ("beeswax 22.25 %, mango butter 11.1 %, sunflower oil 66.65 %", [22.25, 11.1, 66.65]),
    ] {
        let formula = read(text);
        for (bars, scale_g) in [(6, 1.0), (7, 5.0), (3, 0.1)] {
            let task = BatchTask {
                formula: &formula,
                bars,
                bar_g: 57.3,
                left_share: 0.05,
                scale_g,
                scents: &[],
                colours: &[],
                jugs: 1,
                labour: None,
                packaging: None,
            };
            let sheet = batch(&library, &task).unwrap();
            assert_eq!(sheet.lines.iter().map(|line| line.percent).collect::<Vec<_>>(), expected, "{scale_g}");
            let scents = [Scent { ingredient: library.id_of("olive-oil").unwrap(), mass_g: 0.1 * sheet.melt_g }];
            let scented = batch(&library, &BatchTask { scents: &scents, ..task }).unwrap();
            for (line, percent) in scented.lines.iter().zip(expected.map(|percent| 0.9 * percent)) {
                assert!((line.percent - percent).abs() < 1e-9, "{line:?}");
            }
            assert!((scented.lines[3].percent - 10.0).abs() < 1e-9);
        }
    }
}

#[test]
fn ten_thousand_random_batches_close_within_the_last_digit_of_the_scale() {
    let library = Library::builtin().unwrap();
    let mut random = Pcg64::seed_from_u64(1);
    let mut too_coarse = 0;
    for _ in 0..10_000 {
        let count = random.random_range(1..12);
        let weights: Vec<f64> = (0..count).map(|_| random.random_range(0.01..1.0_f64).powi(2)).collect();
        let sum: f64 = weights.iter().sum();
        let parts = weights.iter().map(|weight| Part {
            ingredient: library.id_at(random.random_range(0..library.ingredients.len())).unwrap(),
            percent: 100.0 * weight / sum,
        });
        let formula = Formula { name: String::new(), parts: parts.collect() };
        let scale_g = [0.01, 0.1, 0.5, 1.0, 5.0][random.random_range(0..5)];
        let (bars, bar_g, left_share) =
            (random.random_range(1..200), random.random_range(5.0..150.0), random.random_range(0.0..0.2));
        let task = BatchTask {
            formula: &formula,
            bars,
            bar_g,
            left_share,
            scale_g,
            scents: &[],
            colours: &[],
            jugs: 1,
            labour: None,
            packaging: None,
        };
        let sheet = match batch(&library, &task) {
            Ok(sheet) => sheet,
            Err(BatchError::TooCoarse { mass_g, .. }) => {
                assert!(mass_g < scale_g, "{mass_g} on {scale_g}");
                too_coarse += 1;
                continue;
            }
            Err(error) => unreachable!("{error}"),
        };
        let wanted_g = f64::from(bars) * bar_g / (1.0 - left_share);
        let weighed_g: f64 = sheet.lines.iter().map(|line| line.mass_g).sum();
        assert!((weighed_g - wanted_g).abs() <= scale_g, "{weighed_g} for {wanted_g} on {scale_g}");
        assert!((sheet.lines.last().unwrap().running_g - weighed_g).abs() < 1e-6);
        let market = Market::ALL[random.random_range(0..2)];
        let task = LabelTask { whole: &sheet.whole, scents: &[], colours: &[], market };
        let label = Declaration::of(&library, &task);
        assert!(label.ingredients.windows(2).all(|pair| pair[0].percent >= pair[1].percent));
        let declared: f64 = label.ingredients.iter().map(|one| one.percent).sum();
        assert!((declared - 100.0).abs() < 1e-6, "{declared}");
    }
    assert!(too_coarse > 100 && too_coarse < 5000, "{too_coarse}");
}
