//! Letters that would disturb a terminal, shown as signs.

/// Returns a text with every character that could disturb a terminal shown as a sign.
pub fn visible(text: &str) -> String {
    text.chars().filter_map(visible_letter).collect()
}

/// Returns the sign a character is shown as; `None` for one that has no width and no meaning here.
pub fn visible_letter(letter: char) -> Option<char> {
    match letter {
        '\t' | '\n' => Some(' '),
        '\u{0}'..='\u{1f}' => char::from_u32(0x2400 + u32::from(letter)),
        '\u{7f}' => Some('␡'),
        '\u{feff}' => None,
        // Marks, embeddings and isolates that change the direction of writing, and separators of lines.
        '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' => {
            Some(char::REPLACEMENT_CHARACTER)
        }
        letter if letter.is_control() => Some(char::REPLACEMENT_CHARACTER),
        letter => Some(letter),
    }
}
