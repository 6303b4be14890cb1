//! What to take care of, each caution told once.

use barwright_blend::Assessment;
use barwright_blend::cautions::Caution as Told;

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
    let mut merged: Vec<(&Told, Vec<usize>)> = Vec::new();
    for (index, answer) in answers.iter().enumerate() {
        // Whether it sets at all is said in the answer itself.
        for caution in answer.cautions.iter().filter(|caution| caution.about != "setting") {
            match merged.iter_mut().find(|(known, _)| *known == caution) {
                Some((_, owners)) => owners.push(index),
                None => merged.push((caution, vec![index])),
            }
        }
    }
    merged.sort_by_key(|(_, owners)| owners.len() == answers.len());
    let all = merged.into_iter().map(|(caution, owners)| {
        let for_some = if owners.len() == answers.len() { &[] } else { owners.as_slice() };
        let formulas = for_some.iter().filter_map(|index| titles.get(*index).cloned()).collect();
        Caution { formulas, ..caution.clone().into() }
    });
    all.collect()
}
