//! What to take care of, each caution told once.

use barwright_blend::Assessment;

use crate::document::{Block, Caution, Section};

/// The heading of cautions.
pub(crate) const HEADING: &str = "Cautions";

/// The cautions of answers, as a section.
///
/// # Arguments
/// * `titles`: of the formulas, where there are several.
pub(crate) fn section(answers: &[&Assessment], titles: &[String]) -> Section {
    Section::new(HEADING, [Block::Cautions(merged(answers, titles))])
}

/// Every caution once, with the formulas it is for unless it is for all; what is particular to one comes first.
pub(crate) fn merged(answers: &[&Assessment], titles: &[String]) -> Vec<Caution> {
    let mut merged: Vec<(&'static str, &str, Vec<usize>)> = Vec::new();
    for (index, answer) in answers.iter().enumerate() {
        // Whether it sets at all is said in the answer itself.
        for caution in answer.cautions.iter().filter(|caution| caution.about != "setting") {
            match merged.iter_mut().find(|(about, text, _)| *about == caution.about && *text == caution.text) {
                Some((_, _, owners)) => owners.push(index),
                None => merged.push((caution.about, &caution.text, vec![index])),
            }
        }
    }
    merged.sort_by_key(|(_, _, owners)| owners.len() == answers.len());
    let all = merged.into_iter().map(|(about, text, owners)| {
        let of = if owners.len() == answers.len() { &[] } else { owners.as_slice() };
        let of = of.iter().filter_map(|index| titles.get(*index).cloned());
        Caution { about, of: of.collect(), text: text.to_owned() }
    });
    all.collect()
}
