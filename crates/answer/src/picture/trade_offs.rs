//! Trade-offs of a space of formulas against each other.

use barwright_blend::Property;
use barwright_reformulate::explore::{Candidate, FirmnessAim, Properties};

use super::chart::{Axis, Chart, Marker, Naming, Picture, Series};
use crate::words::units::PSI_KPA;
use crate::words::units::Units;

/// What is softer is not drawn, kPa.
const SOFTEST_KPA: f64 = 1e-6;

/// Charts side by side.
const BESIDE: usize = 2;

/// Reads one figure off the properties of a bar.
type Figure = Box<dyn Fn(&Properties) -> Option<f64>>;

/// A property, as one axis shows it.
struct Shown {
    label: String,
    logarithmic: bool,
    lower_is_better: bool,
    of: Figure,
}

impl Shown {
    /// Its axis, which says in the direction of an arrow which way is better.
    fn axis(&self, [lower, higher]: [char; 2]) -> Axis {
        let arrow = if self.lower_is_better { lower } else { higher };
        Axis { logarithmic: self.logarithmic, ..Axis::linear(format!("{}; better {arrow}", self.label)) }
    }
}

/// Arrows to less and to more, across and upwards.
const ACROSS: [char; 2] = ['←', '→'];
const UPWARDS: [char; 2] = ['↓', '↑'];

/// The letter of a trade-off that is shown: `A`, `B`, ...
pub fn letter(number: usize) -> String {
    char::from(b'A' + u8::try_from(number % 26).unwrap_or(0)).to_string()
}

/// Describes firmness and warmth, relief and skin feel, and price and both where there are prices.
///
/// # Arguments
/// * `front`: all of them, small dots.
/// * `shown`: those shown by letter, squares.
/// * `firmness`: which way it is better, and its temperature, °C.
/// * `units`: shown.
pub fn picture(front: &[Candidate], shown: &[Candidate], firmness: (FirmnessAim, f64), units: Units) -> Picture {
    let (aim, firmness_at_c) = firmness;
    let property =
        |label: String, lower_is_better, of: Figure| Shown { label, logarithmic: false, lower_is_better, of };
    let hold = || {
        let label = format!("keeps its shape up to, {}", units.degree());
        property(
            label,
            Property::Hold.lowest_first(),
            Box::new(move |one| one.hold_c.map(|celsius| units.scaled(celsius))),
        )
    };
    let relief = || {
        let label = format!("finest relief, {}", units.length_unit());
        property(
            label,
            Property::FinestFeature.lowest_first(),
            Box::new(move |one| Some(units.scaled_length(one.finest_mm))),
        )
    };
    let price = || property("price of a kilogram".to_owned(), true, Box::new(|one| one.price));
    let pressure = match units {
        Units::Metric => 1.0,
        Units::Us => 1.0 / PSI_KPA,
    };
    let label = format!("yield stress at {}, {}", units.given_degrees(firmness_at_c), units.stress());
    let kpa = move |one: &Properties| Some(one.firmness_kpa).filter(|kpa| *kpa > SOFTEST_KPA).map(|kpa| pressure * kpa);
    let firmness = Shown { logarithmic: true, ..property(label, aim == FirmnessAim::Softer, Box::new(kpa)) };
    let skin = property(
        "near smearing or dragging (ln; glides below 0)".to_owned(),
        true,
        Box::new(|one| Some(one.skin_ln_off)),
    );
    let mut charts = vec![
        chart("Firmness and warmth", &hold(), &firmness, front, shown),
        chart("Relief and skin feel", &relief(), &skin, front, shown),
    ];
    if front.iter().any(|one| one.properties.price.is_some()) {
        charts.push(chart("Price and warmth", &hold(), &price(), front, shown));
        charts.push(chart("Price and relief", &relief(), &price(), front, shown));
    }
    Picture {
        title: "Trade-offs".to_owned(),
        charts,
        beside: BESIDE,
        caption: "Central estimates. Nothing shown is better in all respects than anything else shown; skin feel and relief are rules of thumb.".to_owned(),
    }
}

fn chart(title: &str, x: &Shown, y: &Shown, front: &[Candidate], shown: &[Candidate]) -> Chart {
    let place = |of: &Properties| (x.of)(of).zip((y.of)(of));
    let all = front.iter().filter_map(|one| place(&one.properties)).collect();
    let (letters, chosen) =
        (shown.iter().enumerate()).filter_map(|(number, one)| Some((letter(number), place(&one.properties)?))).unzip();
    Chart {
        title: title.to_owned(),
        x: x.axis(ACROSS),
        y: y.axis(UPWARDS),
        series: vec![
            Series::points("all trade-offs", 0, Marker::Dot, all),
            Series::points("those shown, by letter", 0, Marker::Square, chosen).named(Naming::Each(letters)),
        ],
        places: Vec::new(),
    }
}
