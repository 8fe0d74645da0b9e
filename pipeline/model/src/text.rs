//! Text of others that is shown on a line.

/// Text without what breaks a line or steers a terminal: control and direction characters stand as their code points.
pub fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        if steers(character) {
            out.extend(character.escape_unicode());
        } else {
            out.push(character);
        }
    }
    out
}

/// Whether a character does something else than standing in its place. Unicode 16.0, chapter 23: control codes,
/// embeddings, overrides, isolates and marks of direction, line and paragraph separators, the byte order mark.
fn steers(character: char) -> bool {
    character.is_control()
        || matches!(
            character,
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}'
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_a_terminal_is_spelt_out() {
        assert_eq!(plain("s1 ä 血糖 5.5"), "s1 ä 血糖 5.5");
        assert_eq!(plain("\u{1b}[2J\u{202e}"), "\\u{1b}[2J\\u{202e}");
        assert_eq!(plain("a\r\u{9b}b\u{7f}"), "a\\u{d}\\u{9b}b\\u{7f}");
    }
}
