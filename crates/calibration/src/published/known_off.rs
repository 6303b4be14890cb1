//! What the residuals say the model gets wrong of a neat ingredient.

use std::collections::BTreeMap;

use barwright_blend::known_off::{KnownOff, OffQuantity};
use barwright_reference::{CrystalState, Library};

use super::measurement::{Bound, Measurement, Quantity, Use};
use super::predict::Scored;

/// Solids further off than this are told, points: twice the error that published curves of one kind of fat leave.
const SOLIDS_OFF_POINTS: f64 = 10.0;

/// Melting further off than this is told, K: twice the spread of slip points between methods (2.4 to 2.7 °C, read).
const MELTING_OFF_K: f64 = 5.0;

/// Figures that must agree before they are told: one sample may be an odd one.
const MIN_FIGURES: usize = 2;

/// Temperature, °C, and error of each figure, by temperature in tenths of a degree.
type Bins = BTreeMap<i64, Vec<(f64, f64)>>;

/// Returns what is known to be off, by ingredient, state, quantity and temperature: mean errors of neat ingredients beyond what is usual, of two figures at least. Solids
/// that are off the same way at neighbouring temperatures are one entry. Rows left out or scored apart say nothing here.
///
/// # Arguments
/// * `library`: reference table.
/// * `table`: the measurements.
/// * `scored`: their predictions, from [`super::predict()`]; central values are enough.
pub fn known_off(library: &Library, table: &[Measurement], scored: &[Scored]) -> Vec<KnownOff> {
    // All melting points of an ingredient are one bin.
    let mut errors: BTreeMap<(&str, CrystalState, OffQuantity), Bins> = BTreeMap::new();
    for one in scored {
        let row = &table[one.row];
        let [part] = row.formula.parts.as_slice() else { continue };
        let (Some(ingredient), Some(found)) = (library.get(part.ingredient), one.predicted) else {
            continue;
        };
        if row.kind != Bound::Point || matches!(row.use_as, Use::LeftOut | Use::Apart) {
            continue;
        }
        let (quantity, at_c) = match row.quantity {
            Quantity::SolidsPercent => (OffQuantity::Solids, row.temperature_c.unwrap_or(f64::NAN)),
            Quantity::SlipC | Quantity::DropC | Quantity::MeltEndC | Quantity::MeltPeakC | Quantity::ClearC => {
                (OffQuantity::Melting, row.value)
            }
            _ => continue,
        };
        let bin = if quantity == OffQuantity::Solids { (10.0 * at_c).round() as i64 } else { 0 };
        // A published sample tells of the ingredient it is a sample of.
        let of = ingredient.lot_of.and_then(|index| library.get(index)).unwrap_or(ingredient);
        let bins = errors.entry((&of.key, row.state, quantity)).or_default();
        bins.entry(bin).or_default().push((at_c, found.value - row.value));
    }
    let mut known = Vec::new();
    for ((ingredient, state, quantity), bins) in errors {
        let limit = if quantity == OffQuantity::Solids { SOLIDS_OFF_POINTS } else { MELTING_OFF_K };
        let mean = |found: &[(f64, f64)]| found.iter().map(|one| one.1).sum::<f64>() / found.len() as f64;
        let mut together: Vec<(f64, f64)> = Vec::new();
        let mut close = |together: &mut Vec<(f64, f64)>| {
            if together.len() < MIN_FIGURES {
                return together.clear();
            }
            let low_c = together.iter().map(|one| one.0).fold(f64::INFINITY, f64::min);
            let high_c = together.iter().map(|one| one.0).fold(f64::NEG_INFINITY, f64::max);
            known.push(KnownOff {
                ingredient: ingredient.to_owned(),
                quantity,
                state,
                range_c: [low_c, high_c],
                bias: mean(together),
                figures: together.len(),
            });
            together.clear();
        };
        for found in bins.into_values() {
            let off = mean(&found);
            if off.abs() < limit || together.first().is_some_and(|first| first.1.signum() != off.signum()) {
                close(&mut together);
            }
            if off.abs() >= limit {
                together.extend(found);
            }
        }
        close(&mut together);
    }
    known
}
