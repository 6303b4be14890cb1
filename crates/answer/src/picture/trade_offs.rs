//! Trade-offs of a space of formulas against each other.

use barwright_reformulate::explore::{Candidate, Properties};

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
struct Property {
    label: String,
    logarithmic: bool,
    of: Figure,
}

/// The letter of a trade-off that is shown: `A`, `B`, ...
pub fn letter(number: usize) -> String {
    char::from(b'A' + u8::try_from(number % 26).unwrap_or(0)).to_string()
}

/// Describes firmness and warmth, relief and skin feel, and price and both where there are prices.
///
/// # Arguments
/// * `front`: all of them, small dots.
/// * `shown`: those shown by letter, squares.
/// * `firmness_at_c`: temperature of the firmness.
/// * `units`: shown.
pub fn picture(front: &[Candidate], shown: &[Candidate], firmness_at_c: f64, units: Units) -> Picture {
    let property = |label: String, logarithmic, of: Figure| Property { label, logarithmic, of };
    let hold = || {
        let label = format!("keeps its shape up to, {}", units.degree());
        property(label, false, Box::new(move |one| one.hold_c.map(|celsius| units.scaled(celsius))))
    };
    let relief = || {
        let label = format!("finest relief, {}", units.length_unit());
        property(label, false, Box::new(move |one| Some(units.scaled_length(one.finest_mm))))
    };
    let price = || property("price of a kilogram".to_owned(), false, Box::new(|one| one.price));
    let pressure = match units {
        Units::Metric => 1.0,
        Units::Us => 1.0 / PSI_KPA,
    };
    let firmness = property(
        format!("yield stress at {}, {}", units.given_degrees(firmness_at_c), units.stress()),
        true,
        Box::new(move |one| Some(one.firmness_kpa).filter(|kpa| *kpa > SOFTEST_KPA).map(|kpa| pressure * kpa)),
    );
    let skin = property(
        "near smearing or dragging (ln; glides below 0)".to_owned(),
        false,
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

fn chart(title: &str, x: &Property, y: &Property, front: &[Candidate], shown: &[Candidate]) -> Chart {
    let place = |of: &Properties| (x.of)(of).zip((y.of)(of));
    let all = front.iter().filter_map(|one| place(&one.properties)).collect();
    let (letters, chosen) =
        (shown.iter().enumerate()).filter_map(|(number, one)| Some((letter(number), place(&one.properties)?))).unzip();
    let axis = |one: &Property| Axis { label: one.label.clone(), logarithmic: one.logarithmic, range: None };
    Chart {
        title: title.to_owned(),
        x: axis(x),
        y: axis(y),
        series: vec![
            Series::points("all trade-offs", 0, Marker::Dot, all),
            Series::points("those shown, by letter", 0, Marker::Square, chosen).named(Naming::Each(letters)),
        ],
        places: Vec::new(),
    }
}
