//! Text that a spreadsheet takes as text.

/// Characters that make a spreadsheet compute a cell.
const FORMULA_STARTS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Returns a text cell; one that a spreadsheet would compute gets an apostrophe before it.
///
/// Source: OWASP, "CSV Injection" (recalled).
pub fn text_cell(text: &str) -> String {
    if text.starts_with(FORMULA_STARTS) { format!("'{text}") } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::text_cell;

    #[test]
    fn what_would_be_computed_is_text() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"] {
            assert_eq!(text_cell(text), format!("'{text}"));
        }
        assert_eq!(text_cell("beeswax"), "beeswax");
    }
}
