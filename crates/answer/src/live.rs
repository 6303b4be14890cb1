//! One bar or two while their amounts move: the figures of curves and the sentences of each at once; at rest also what decides between them.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use barwright_blend::assess::Workbench;
use barwright_blend::{Assessment, BlendError, Options, Property, compare_on};
use serde::{Deserialize, Serialize};

use crate::assess::{interval_words, sentences};
use crate::compare::{self, View};
use crate::document::{Block, Document, Sentence};
use crate::engine::{Engine, Recipe};
use crate::refusal::{Fault, Refusal};
use crate::words::names::titles;
use crate::words::units::Units;
use crate::{Answered, cautions};

/// Draws while an amount moves: enough for a steady curve, few enough for the hand not to wait.
pub const MOVING_DRAWS: usize = 32;

/// Bars at once, at most.
const MAX_BARS: usize = 2;

/// Temperatures of the curves, °C: first, last and step. Those that the sentences speak of come on top.
const CURVE_C: (f64, f64, f64) = (0.0, 84.0, 1.5);

/// Workbenches kept: two numbers of draws for a few sets of conditions.
const MAX_BENCHES: usize = 8;

/// What are these bars like, as they are now?
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Live {
    /// One bar or two.
    pub formulas: Vec<Recipe>,
    /// What is asked of them, and how it is computed at rest.
    pub options: Options,
    /// Whether an amount is moving: few draws, and no document.
    pub moving: bool,
    /// Units of the words.
    pub units: Units,
}

/// What the bars are like.
#[derive(Debug, Clone, Serialize)]
pub struct Seen {
    /// The figures of each, at the temperatures of a curve.
    pub bars: Vec<Assessment>,
    /// The sentences on each.
    pub words: Vec<Vec<Sentence>>,
}

/// An engine that keeps its workbenches from one question to the next.
#[derive(Debug)]
pub struct LiveEngine<'a> {
    /// Tables and model.
    pub engine: &'a Engine,
    /// The workbenches, the last used one last.
    benches: Mutex<Vec<(Options, Shared<'a>)>>,
}

/// A workbench that several threads may want while one makes it.
type Shared<'a> = Arc<OnceLock<Result<Workbench<'a>, BlendError>>>;

impl<'a> LiveEngine<'a> {
    /// Starts without a workbench.
    pub fn new(engine: &'a Engine) -> Self {
        LiveEngine { engine, benches: Mutex::default() }
    }

    /// Answers [`Live`]. The lead of the document is what decides between two; its sections are what to take care of, and what it rests on.
    ///
    /// # Errors
    /// There is no bar or there are too many, one is none, or the options are outside the model.
    pub fn look(&self, asked: &Live) -> Result<Answered<Seen>, Refusal> {
        if asked.formulas.is_empty() || asked.formulas.len() > MAX_BARS {
            return Err(Fault::new("bars", "the page has one bar or two").into());
        }
        let formulas = self.engine.formulas(&asked.formulas)?;
        let draws = if asked.moving { MOVING_DRAWS } else { asked.options.draws };
        let options = Options { at_c: curve_c(&asked.options.at_c), draws, ..asked.options.clone() };
        let shared = self.bench(&options);
        let bench = shared.get_or_init(|| Workbench::new(&self.engine.library, &self.engine.model, options.clone()));
        let mut comparison = compare_on(bench.as_ref().map_err(Clone::clone)?, &formulas)?;
        let words = comparison.formulas.iter().map(|answer| sentences(answer, &options, asked.units)).collect();
        let mut document = Document::default();
        if !asked.moving {
            // The sentences speak of the temperatures asked, not of every point of the curves.
            comparison.differences.retain(
                |one| !matches!(one.property, Property::YieldStress { at_c } if !asked.options.at_c.contains(&at_c)),
            );
            let (library, titles) = (&self.engine.library, titles(&formulas, &self.engine.library));
            if formulas.len() > 1 {
                let (comparison, formulas) = (&comparison, formulas.as_slice());
                let view = View {
                    comparison,
                    formulas,
                    library,
                    options: &options,
                    units: asked.units,
                    titles: &titles,
                    like: None,
                };
                document = document
                    .lead([Block::Under("What decides between them".to_owned())])
                    .lead(compare::deciding(&view));
            }
            let answers: Vec<&Assessment> = comparison.formulas.iter().collect();
            let rests_on = answers.first().map(|answer| interval_words(answer));
            document = document.ending(rests_on, cautions::section(&answers, &titles));
        }
        Ok(Answered { figures: Seen { bars: comparison.formulas, words }, document, picture: None })
    }

    /// The place of the workbench for some options.
    fn bench(&self, options: &Options) -> Shared<'a> {
        let mut benches = self.benches.lock().unwrap_or_else(PoisonError::into_inner);
        let kept = benches.iter().position(|(of, _)| of == options).map(|at| benches.remove(at));
        let (of, shared) = kept.unwrap_or_else(|| (options.clone(), Shared::default()));
        if benches.len() == MAX_BENCHES {
            benches.remove(0);
        }
        benches.push((of, Arc::clone(&shared)));
        shared
    }
}

/// Temperatures of the curves, those asked among them, °C.
fn curve_c(asked: &[f64]) -> Vec<f64> {
    let (first, last, step) = CURVE_C;
    let grid = std::iter::successors(Some(first), |next| Some(next + step)).take_while(|next| *next <= last);
    let mut all: Vec<f64> = asked.iter().copied().chain(grid).collect();
    all.sort_by(f64::total_cmp);
    all.dedup();
    all
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn workbenches_are_kept_and_the_oldest_goes() {
        let engine = Engine::builtin().unwrap();
        let live = LiveEngine::new(&engine);
        let options = |hold_c: f64| Options { draws: 0, hold_c, ..Options::default() };
        let first = live.bench(&options(0.0));
        for hold_c in 1..MAX_BENCHES {
            live.bench(&options(hold_c as f64));
        }
        assert!(Arc::ptr_eq(&first, &live.bench(&options(0.0))), "used again, it is the last to go");
        live.bench(&options(-1.0));
        assert!(Arc::ptr_eq(&first, &live.bench(&options(0.0))));
        assert_eq!(live.benches.lock().unwrap().len(), MAX_BENCHES);
    }
}
