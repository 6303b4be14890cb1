//! One batch worked by hand: masses, running total, shares, limits, cost.
#![allow(clippy::unwrap_used, missing_docs)]

use barwright_making::batch::{Batch, BatchError, BatchTask, Scent, batch, uses};
use barwright_reference::{Formula, Library, formula};

const LOTS: &str = "[lot.wax]\nlike = 'beeswax'\nprice_per_kg = 20\n\
                    [lot.oil]\nlike = 'sunflower-oil'\nprice_per_kg = 5\n\
                    [lot.rose]\nlike = 'sunflower-oil'\nprice_per_kg = 100\nlimit_percent = 2\n\
                    [lot.mint]\nlike = 'sunflower-oil'\n";

fn library() -> Library {
    Library::builtin().unwrap().with_lots(LOTS).unwrap().0
}

fn bar(library: &Library, text: &str) -> Formula {
    formula::read_inline(text, "bar", library).unwrap().formulas.remove(0)
}

fn scent(library: &Library, key: &str, mass_g: f64) -> Scent {
    Scent { ingredient: library.id_of(key).unwrap(), mass_g }
}

/// Ten bars of 95 g, 5 % of the melt left in the jug: 1000 g of melt.
fn ten_bars(library: &Library, formula: &Formula, scents: &[Scent]) -> Result<Batch, BatchError> {
    let task = BatchTask {
        formula,
        bars: 10,
        bar_g: 95.0,
        left_share: 0.05,
        scale_g: 1.0,
        scents,
        colours: &[],
        jugs: 1,
        labour: Some(12.0),
        packaging: Some(0.5),
    };
    batch(library, &task)
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * b.abs()
}

#[test]
fn masses_shares_and_cost_are_those_worked_by_hand() {
    let library = library();
    let formula = bar(&library, "wax 25, oil 75");
    let sheet = ten_bars(&library, &formula, &[scent(&library, "rose", 30.0)]).unwrap();
    // 970 g beside the rose: 242.5 and 727.5 g, of which the first takes the last gram.
    assert_eq!(sheet.melt_g, 1000.0);
    let column = |of: fn(&barwright_making::batch::WeighLine) -> f64| sheet.lines.iter().map(of).collect::<Vec<_>>();
    assert_eq!(column(|line| line.mass_g), [243.0, 727.0, 30.0]);
    assert_eq!(column(|line| line.running_g), [243.0, 970.0, 1000.0]);
    // The recipe's, before the last gram.
    for (percent, wanted) in column(|line| line.percent).into_iter().zip([24.25, 72.75, 3.0]) {
        assert!(close(percent, wanted), "{percent}");
    }
    // 0.243 kg at 20, 0.727 kg at 5, 0.030 kg at 100.
    for (line, wanted) in sheet.lines.iter().zip([4.86, 3.635, 3.0]) {
        assert!(close(line.price.unwrap(), wanted), "{:?}", line.price);
    }
    let cost = sheet.cost.unwrap();
    for (found, wanted) in [
        (cost.ingredients, 11.495),
        (cost.packaging, 5.0),
        (cost.labour, 12.0),
        (cost.batch, 28.495),
        (cost.bar, 2.8495),
        (cost.gram, 2.8495 / 95.0),
    ] {
        assert!(close(found, wanted), "{found} for {wanted}");
    }
    assert!(sheet.without_price.is_empty());
    // 3 % where the certificate allows 2.
    assert_eq!(sheet.over.iter().map(|one| (one.percent, one.limit_percent)).collect::<Vec<_>>(), [(3.0, 2.0)]);
    assert!(sheet.unlimited.is_empty());
}

#[test]
fn a_scent_at_its_limit_is_not_above_it_and_one_without_a_limit_or_a_price_is_told() {
    let library = library();
    let formula = bar(&library, "wax 25, oil 75");
    let (rose, mint) = (scent(&library, "rose", 20.0), scent(&library, "mint", 10.0));
    let sheet = ten_bars(&library, &formula, &[rose, mint]).unwrap();
    assert_eq!(sheet.over, []);
    assert_eq!(
        (sheet.unlimited.as_slice(), sheet.without_price.as_slice()),
        (&[mint.ingredient][..], &[mint.ingredient][..])
    );
    assert_eq!(sheet.cost, None);
}

#[test]
fn what_is_added_twice_is_two_lines_and_one_share() {
    let library = library();
    let formula = bar(&library, "wax 25, oil 75");
    let sheet = ten_bars(&library, &formula, &[10.0, 15.0].map(|mass_g| scent(&library, "rose", mass_g))).unwrap();
    // 975 g: 243.75 and 731.25 g beside 10 and 15 g.
    assert_eq!(sheet.lines.iter().map(|line| line.mass_g).collect::<Vec<_>>(), [244.0, 731.0, 10.0, 15.0]);
    assert_eq!(uses(&sheet.lines).iter().map(|(_, mass_g)| *mass_g).collect::<Vec<_>>(), [244.0, 731.0, 25.0]);
    assert_eq!(sheet.whole.parts.iter().map(|part| part.percent).collect::<Vec<_>>(), [24.375, 73.125, 2.5]);
    // Each is below the limit, both together are not.
    assert_eq!(sheet.over.len(), 1);
}

#[test]
fn a_scent_of_the_formula_is_not_added_again_and_another_is_on_top() {
    let lots = "[lot.A]\nlike = 'lavender-oil'\nlimit_percent = 2\n[lot.B]\nlike = 'lavender-oil'\n\
                [lot.rose]\nlike = 'isopropyl-myristate'\ninci = 'Parfum'\nlimit_percent = 2\n";
    let library = Library::builtin().unwrap().with_lots(lots).unwrap().0;
    let sheet = |text: &str, key: &str| ten_bars(&library, &bar(&library, text), &[scent(&library, key, 15.0)]);
    for (text, key) in [
        ("beeswax 25, olive oil 74, lavender-oil 1", "lavender-oil"),
        ("beeswax 25, olive oil 74, lavender-oil 1", "A"),
        ("beeswax 25, olive oil 74, A 1", "lavender-oil"),
        ("beeswax 25, olive oil 74, A 1", "A"),
        ("beeswax 25, olive oil 74, rose 1", "rose"),
    ] {
        assert!(matches!(sheet(text, key), Err(BatchError::ScentTwice { percent: 1.0, .. })), "{text}: {key}");
    }
    // Two deliveries are one scent to the limit of either: 10 g in the formula, 15 on top.
    let both = sheet("beeswax 25, olive oil 74, A 1", "B").unwrap();
    assert_eq!(both.over.iter().map(|one| (one.percent, one.limit_percent)).collect::<Vec<_>>(), [(2.5, 2.0)]);
    assert_eq!(both.scents.iter().map(|(_, percent)| *percent).collect::<Vec<_>>(), [0.985, 1.5]);
    // What a scent is like is none.
    let other = sheet("beeswax 25, isopropyl-myristate 74, lavender-oil 1", "rose").unwrap();
    assert_eq!((other.over.as_slice(), other.scents.len()), (&[][..], 2));
    assert_eq!(other.unlimited, [library.id_of("lavender-oil").unwrap()]);
}

#[test]
fn the_melt_is_more_than_its_scents() {
    let library = library();
    let formula = bar(&library, "wax 25, oil 75");
    let of = |mass_g| ten_bars(&library, &formula, &[scent(&library, "rose", mass_g)]);
    assert_eq!(of(1000.0).unwrap_err(), BatchError::AllScent { scents_g: 1000.0, melt_g: 1000.0 });
    assert_eq!(of(990.0).unwrap().lines.iter().map(|line| line.mass_g).collect::<Vec<_>>(), [3.0, 7.0, 990.0]);
}
