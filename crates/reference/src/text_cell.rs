//! Text that a spreadsheet takes as text, and the way back.

/// Characters that make a spreadsheet compute a cell; the wide ones count in some languages' versions.
const FORMULA_STARTS: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];
/// Put before a cell so that it is text.
const GUARD: char = '\'';

/// Returns a text cell; one that a spreadsheet would compute gets an apostrophe before it.
///
/// Source: OWASP, "CSV Injection" (recalled).
///
/// ```
/// use barwright_reference::text_cell::{guard, unguard};
/// assert_eq!(guard("=1+1"), "'=1+1");
/// assert_eq!(unguard("'=1+1"), "=1+1");
/// ```
pub fn guard(text: &str) -> String {
    if is_computed(text) { format!("{GUARD}{text}") } else { text.to_owned() }
}

/// Takes away the apostrophe that [`guard`] put there, and no other.
pub fn unguard(cell: &str) -> &str {
    cell.strip_prefix(GUARD).filter(|text| is_computed(text)).unwrap_or(cell)
}

/// Whether a spreadsheet might compute a text.
///
/// Apostrophes and blanks before it do not count: an apostrophe more or less changes nothing about the answer, which is
/// what makes [`unguard`] exact.
fn is_computed(text: &str) -> bool {
    text.trim_start_matches([GUARD, ' ']).starts_with(FORMULA_STARTS)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_would_be_computed_is_text() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "'=1", "＝1"] {
            assert_eq!(guard(text), format!("'{text}"), "{text:?}");
        }
        for text in ["beeswax", "'beeswax'", "a=b", "''", ""] {
            assert_eq!(guard(text), text);
            assert_eq!(unguard(text), text);
        }
        assert_eq!(unguard("'=1+1"), "=1+1");
    }

    proptest! {
        #[test]
        fn every_text_comes_back(text in "[=+@ '\\-\t\r\na\"＝]{0,6}") {
            let cell = guard(&text);
            prop_assert_eq!(unguard(&cell), &text);
            prop_assert!(!cell.starts_with(FORMULA_STARTS));
        }
    }
}
