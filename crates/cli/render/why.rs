//! What one more percent of each ingredient does.

use std::io;

use barwright_blend::sensitivity::Effect;
use barwright_blend::{Assessment, Options};

use super::number::signed;
use super::table::Sheet;
use crate::args::Units;
use crate::output::Output;

/// Writes the effects, those that firm the bar most first.
pub fn write(
    output: &mut Output<'_>,
    answer: &Assessment,
    effects: &[Effect],
    options: &Options,
    units: Units,
) -> io::Result<()> {
    output.heading("Why: one more percent of it, all else scaled down")?;
    let degree = units.degree();
    let mut header = vec!["ingredient".to_owned(), "% now".to_owned()];
    header.extend(options.at_c.iter().map(|&celsius| format!("firmness {} {degree}", units.given(celsius))));
    header.extend([format!("shape kept, {degree}"), "finest relief".to_owned(), "melted on skin".to_owned()]);
    let columns: Vec<usize> = (1..header.len()).collect();
    let mut sheet = Sheet::new(&header).right(&columns).whole(&[0]);
    let mut order: Vec<&Effect> = effects.iter().collect();
    let firms = |effect: &Effect| effect.firmness_percent.first().copied().unwrap_or(0.0);
    order.sort_by(|a, b| firms(b).total_cmp(&firms(a)));
    for effect in order {
        let mut row = vec![effect.ingredient.clone(), format!("{:.1}", effect.percent)];
        row.extend(effect.firmness_percent.iter().map(|rate| format!("{} %", signed(*rate, 1))));
        row.push(effect.hold_k.map_or_else(|| "–".to_owned(), |rate| units.signed_difference(rate)));
        row.push(effect.finest_feature_percent.map_or_else(|| "–".to_owned(), |rate| format!("{} %", signed(rate, 1))));
        row.push(signed(effect.melted_points, 2));
        sheet.row(&row);
    }
    sheet.write(output)?;
    if answer.warmth.hold_c.is_none() {
        output.text("  It keeps its shape at no temperature, so nothing moves that.", 2)?;
    }
    output.text(
        "  Firmness and relief: change in % of what they are; a smaller relief is finer. Melted on skin: points of %. Central values, \
         exact for a small change; far from it, ask `assess` again.",
        2,
    )
}
