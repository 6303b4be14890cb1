//! Every question as one type, for callers outside the process or the language: a page, a script, another language. Its JSON names the question by its key:
//! `{"assess": {"formula": ...}}`.

use std::ops::ControlFlow;

use barwright_blend::Comparison;
use barwright_calibration::published::Report as Score;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::adjust::{Adjust, Adjusted, adjust};
use crate::assess::{Assess, Assessed, assess};
use crate::batch::{Batch, Batched, batch};
use crate::compare::{Compare, compare};
use crate::cool::{Cool, Cooled, cool};
use crate::explore::{Explore, Explored, explore, search};
use crate::ingredients::{Found, Ingredients, ingredients};
use crate::parcel::{Parcel, Sent, parcel};
use crate::pour::{Pour, Poured, pour};
use crate::report::{Report, Reported, report};
use crate::swap::{Swap, Swapped, swap};
use crate::trial::{Learn, Taught, learn};
use crate::validate::{Validate, validate};
use crate::{Answered, Control, Engine, Refusal};

/// A question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Request {
    /// What is one bar like?
    Assess(Box<Assess>),
    /// Which of several bars is what?
    Compare(Compare),
    /// Which is the smallest change that meets these targets?
    Adjust(Box<Adjust>),
    /// What can stand in for an ingredient?
    Swap(Swap),
    /// Which bars of a space are the best trade-offs?
    Explore(Explore),
    /// What goes on the scale?
    Batch(Box<Batch>),
    /// What to melt first, how hot, when to pour?
    Pour(Box<Pour>),
    /// How long until it can leave the mould, and where should it cool?
    Cool(Box<Cool>),
    /// What does a hot route do to it in the post, and what would help?
    Parcel(Box<Parcel>),
    /// What is there to keep of one bar, or of several?
    Report(Box<Report>),
    /// What is an ingredient made of, and where is each figure from?
    Ingredients(Ingredients),
    /// How far do predictions lie from what was published?
    Validate(Validate),
    /// What do bench tests teach?
    Learn(Learn),
}

/// The figures of an answer, as with `--json`; the schemas of `docs/schema` say what each key is.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum Figures {
    /// Of [`Request::Assess`].
    Assess(Box<Assessed>),
    /// Of [`Request::Compare`].
    Compare(Box<Comparison>),
    /// Of [`Request::Adjust`].
    Adjust(Box<Adjusted>),
    /// Of [`Request::Swap`].
    Swap(Box<Swapped>),
    /// Of [`Request::Explore`].
    Explore(Box<Explored>),
    /// Of [`Request::Batch`].
    Batch(Box<Batched>),
    /// Of [`Request::Pour`].
    Pour(Box<Poured>),
    /// Of [`Request::Cool`].
    Cool(Box<Cooled>),
    /// Of [`Request::Parcel`].
    Parcel(Box<Sent>),
    /// Of [`Request::Report`].
    Report(Box<Reported>),
    /// Of [`Request::Ingredients`].
    Ingredients(Box<Found>),
    /// Of [`Request::Validate`].
    Validate(Box<Score>),
    /// Of [`Request::Learn`].
    Learn(Box<Taught>),
}

/// Answers a question.
///
/// # Arguments
/// * `control`: asked whether to go on, while a long answer is worked out.
///
/// # Errors
/// Those of the question.
///
/// ```
/// use barwright_answer::question::{Request, answer};
/// use barwright_answer::Engine;
/// use std::ops::ControlFlow;
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let asked = r#"{"assess": {
///     "formula": {"name": "Leaf bar", "parts": [{"ingredient": "beeswax", "amount": 26}, {"ingredient": "olive oil", "amount": 74}]},
///     "options": {"draws": 16}}}"#;
/// let request: Request = serde_json::from_str(asked)?;
/// let answer = answer(&Engine::builtin()?, &request, &|_, _| ControlFlow::Continue(()))?;
/// let figures = serde_json::to_value(&answer.figures)?;
/// assert!(figures["melt"]["slip_point_c"]["value"].as_f64().is_some_and(|slip_c| (55.0..65.0).contains(&slip_c)));
/// assert_eq!(answer.document.title, "Leaf bar");
/// # Ok(())
/// # }
/// ```
pub fn answer(engine: &Engine, request: &Request, control: Control<'_>) -> Result<Answered<Figures>, Refusal> {
    Ok(match request {
        Request::Assess(asked) => assess(engine, asked)?.map(Figures::Assess),
        Request::Compare(asked) => compare(engine, asked)?.map(Figures::Compare),
        Request::Adjust(asked) => adjust(engine, asked)?.map(Figures::Adjust),
        Request::Swap(asked) => swap(engine, asked)?.map(Figures::Swap),
        Request::Explore(asked) => {
            let go_on = |progress: barwright_reformulate::explore::Progress| -> ControlFlow<()> {
                let count = |candidates: u64| usize::try_from(candidates).unwrap_or(usize::MAX);
                control(count(progress.done), count(progress.total))
            };
            let found = search(engine, asked, None, &go_on)?;
            explore(engine, asked, &found)?.map(Figures::Explore)
        }
        Request::Batch(asked) => batch(engine, asked, control)?.map(Figures::Batch),
        Request::Pour(asked) => pour(engine, asked, control)?.map(Figures::Pour),
        Request::Cool(asked) => cool(engine, asked, control)?.map(Figures::Cool),
        Request::Parcel(asked) => parcel(engine, asked, control)?.map(Figures::Parcel),
        Request::Report(asked) => report(engine, asked, control)?.map(Figures::Report),
        Request::Ingredients(asked) => ingredients(&engine.library, asked)?.map(Figures::Ingredients),
        Request::Validate(asked) => validate(engine, asked)?.map(Figures::Validate),
        Request::Learn(asked) => learn(engine, asked)?.map(Figures::Learn),
    })
}

impl<F> Answered<F> {
    /// The same answer, its figures as one of all kinds.
    fn map(self, kind: impl Fn(Box<F>) -> Figures) -> Answered<Figures> {
        Answered { figures: kind(Box::new(self.figures)), document: self.document, picture: self.picture }
    }
}
