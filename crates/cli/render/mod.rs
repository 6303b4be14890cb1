//! Answers as text for people: the answer first, then the tables, then what to mind.

pub mod lot;
pub mod table;
pub mod trial;

pub use barwright_answer::words::group::Group;
pub use barwright_answer::words::names::{capital, count, cut, in_text, list, name};
pub use barwright_answer::words::number;

/// Writes what to mind of one formula.
pub fn write_cautions(
    output: &mut crate::output::Output<'_>,
    answer: &barwright_blend::Assessment,
) -> std::io::Result<()> {
    output.heading("Cautions")?;
    for caution in answer.cautions.iter().filter(|caution| caution.about != "setting") {
        output.item(&capital(caution.about), &barwright_answer::words::visible::visible(&caution.text))?;
    }
    Ok(())
}
