//! Every question as one type, for callers outside the process or the language: a page, a script, another language. Its JSON names the question by its key:
//! `{"assess": {"formula": ...}}`.

use std::ops::ControlFlow;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use crate::{Answered, Control, Engine, Refusal};
use crate::{adjust, assess, batch, compare, cool, explore, ingredients, parcel, pour, report, swap, trial, validate};

/// Makes everything that there is one of a question: its request, its figures, its answer, its schema.
macro_rules! questions {
    ($($(#[$what:meta])* $kind:ident($request:ty) -> $figures:ty, $name:literal, $answer:expr;)*) => {
        /// A question.
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum Request {
            $($(#[$what])* $kind(Box<$request>),)*
        }

        /// The figures of an answer, as with `--json`; the schemas of `docs/schema` say what each key is.
        #[derive(Debug, Clone, Serialize, JsonSchema)]
        #[serde(untagged)]
        pub enum Figures {
            $(#[doc = concat!("Of [`Request::", stringify!($kind), "`].")] $kind(Box<$figures>),)*
        }

        fn answered(engine: &Engine, request: &Request, control: Control<'_>) -> Result<Answered<Figures>, Refusal> {
            match request {
                $(Request::$kind(asked) => {
                    let answer: fn(&Engine, &$request, Control<'_>) -> Result<Answered<$figures>, Refusal> = $answer;
                    Ok(answer(engine, asked, control)?.map(Figures::$kind))
                })*
            }
        }

        /// What has a schema: the answers of the subcommands by their names, and `request`, every question.
        pub const SCHEMAS: &[&str] = &[$($name,)* "request"];

        /// Returns the JSON Schema (draft 2020-12) of one of [`SCHEMAS`]; `None` for any other name.
        pub fn schema(name: &str) -> Option<Schema> {
            match name {
                $($name => Some(schema_for!($figures)),)*
                "request" => Some(schema_for!(Request)),
                _ => None,
            }
        }
    };
}

questions! {
    /// Which is the smallest change that meets these targets?
    Adjust(adjust::Adjust) -> adjust::Adjusted, "adjust", |engine, asked, _| adjust::adjust(engine, asked);
    /// What is one bar like?
    Assess(assess::Assess) -> assess::Assessed, "assess", |engine, asked, _| assess::assess(engine, asked);
    /// What goes on the scale?
    Batch(batch::Batch) -> batch::Batched, "batch", batch::batch;
    /// Which of several bars is what?
    Compare(compare::Compare) -> compare::Compared, "compare", |engine, asked, _| compare::compare(engine, asked);
    /// How long until it can leave the mould, and where should it cool?
    Cool(cool::Cool) -> cool::Cooled, "cool", cool::cool;
    /// Which bars of a space are the best trade-offs?
    Explore(explore::Explore) -> explore::Explored, "explore", explored;
    /// What is an ingredient made of, and where is each figure from?
    Ingredients(ingredients::Ingredients) -> ingredients::Found, "ingredients",
        |engine, asked, _| ingredients::ingredients(&engine.library, asked);
    /// What do bench tests teach?
    Learn(trial::Learn) -> trial::Taught, "trial-fit", |engine, asked, _| trial::learn(engine, asked);
    /// What does a hot route do to it in the post, and what would help?
    Parcel(parcel::Parcel) -> parcel::Sent, "parcel", parcel::parcel;
    /// What to melt first, how hot, when to pour?
    Pour(pour::Pour) -> pour::Poured, "pour", pour::pour;
    /// What is there to keep of one bar, or of several?
    Report(report::Report) -> report::Reported, "report", report::report;
    /// What can stand in for an ingredient?
    Swap(swap::Swap) -> swap::Swapped, "swap", |engine, asked, _| swap::swap(engine, asked);
    /// How far do predictions lie from what was published?
    Validate(validate::Validate) -> barwright_calibration::published::Report, "validate",
        |engine, asked, _| validate::validate(engine, asked);
}

/// Searches a space from its start to its end.
fn explored(
    engine: &Engine,
    asked: &explore::Explore,
    control: Control<'_>,
) -> Result<Answered<explore::Explored>, Refusal> {
    let go_on = |progress: barwright_reformulate::explore::Progress| -> ControlFlow<()> {
        let count = |candidates: u64| usize::try_from(candidates).unwrap_or(usize::MAX);
        control(count(progress.done), count(progress.total))
    };
    let found = explore::search(engine, asked, None, &go_on)?;
    explore::explore(engine, asked, &found)
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
    answered(engine, request, control)
}

impl<F> Answered<F> {
    /// The same answer, its figures as one of all kinds.
    fn map(self, kind: impl Fn(Box<F>) -> Figures) -> Answered<Figures> {
        Answered { figures: kind(Box::new(self.figures)), document: self.document, picture: self.picture }
    }
}
