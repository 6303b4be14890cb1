//! What one more percent of each ingredient does, in words.

use barwright_blend::sensitivity::Effect;
use barwright_blend::{Assessment, Options};

use crate::document::{Block, Kind, Section, Table};
use crate::words::number::signed;
use crate::words::units::Units;

/// Shows the effects, those that firm the bar most first.
pub(crate) fn section(answer: &Assessment, effects: &[Effect], options: &Options, units: Units) -> Section {
    let degree = units.degree();
    let firmness = options.at_c.iter().map(|&celsius| format!("firmness {} {degree}", units.given(celsius)));
    let mut table = Table::new("")
        .columns(Kind::Figure, ["ingredient"])
        .columns(Kind::Number, ["% now"])
        .columns(Kind::Number, firmness)
        .columns(
            Kind::Number,
            [format!("shape kept, {degree}"), "finest relief".to_owned(), "melted on skin".to_owned()],
        );
    let mut order: Vec<&Effect> = effects.iter().collect();
    let firms = |effect: &Effect| effect.firmness_percent.first().copied().unwrap_or(0.0);
    order.sort_by(|a, b| firms(b).total_cmp(&firms(a)));
    for effect in order {
        let mut row = vec![effect.ingredient.clone(), format!("{:.1}", effect.percent)];
        row.extend(effect.firmness_percent.iter().map(|rate| format!("{} %", signed(*rate, 1))));
        row.push(effect.hold_k.map_or_else(|| "–".to_owned(), |rate| units.signed_difference(rate)));
        row.push(effect.finest_feature_percent.map_or_else(|| "–".to_owned(), |rate| format!("{} %", signed(rate, 1))));
        row.push(signed(effect.melted_points, 2));
        table.row(row);
    }
    let never = "It keeps its shape at no temperature, so nothing moves that.".to_owned();
    let small = "Firmness and relief: change in % of what they are; a smaller relief is finer. Melted on skin: points of %. Central \
                 values, exact for a small change; far from it, ask `assess` again.";
    let never = answer.warmth.hold_c.is_none().then_some(Block::Small(never));
    let blocks = std::iter::once(Block::Table(table)).chain(never).chain([Block::Small(small.to_owned())]);
    Section::new("Why: one more percent of it, all else scaled down", blocks)
}
