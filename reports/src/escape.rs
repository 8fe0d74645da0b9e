//! Untrusted text made safe for Markdown and for HTML or SVG.

/// Text on one line, without control characters and without marks that reorder what follows them.
pub(crate) fn clean(text: &str) -> String {
    text.chars()
        .filter(|c| !matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}' | '\u{FFFE}' | '\u{FFFF}'))
        .map(|c| if c.is_control() || matches!(c, '\u{2028}' | '\u{2029}') { ' ' } else { c })
        .collect()
}

/// Text that Markdown shows as it is, in a paragraph, a heading, a list or a table cell.
pub(crate) fn markdown(text: &str) -> String {
    let chars: Vec<char> = clean(text).trim().chars().collect();
    let mut out = String::with_capacity(chars.len() + 8);
    for (index, &c) in chars.iter().enumerate() {
        if has_meaning(&chars, index) {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

fn has_meaning(chars: &[char], index: usize) -> bool {
    let next = chars.get(index + 1).copied();
    match chars[index] {
        '\\' | '`' | '*' | '[' | ']' | '<' | '>' | '&' | '|' | '~' | '$' | '{' | '}' => true,
        '_' => {
            let word = |at: Option<&char>| at.is_some_and(|c| c.is_alphanumeric());
            !(word(index.checked_sub(1).and_then(|i| chars.get(i))) && word(chars.get(index + 1)))
        }
        '#' | '+' | '-' | '=' => index == 0,
        '!' => next == Some('['),
        ':' => next == Some('/'),
        '.' if chars[..index].ends_with(&['w', 'w', 'w']) => true,
        '.' | ')' => {
            index > 0
                && chars[..index].iter().all(char::is_ascii_digit)
                && next.is_none_or(|c| c == ' ')
        }
        _ => false,
    }
}

/// Text as content or attribute value of HTML and of SVG.
pub(crate) fn html(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// The anchor of a heading: letters and digits in lower case, hyphens for blanks, nothing else.
pub(crate) fn slug(text: &str) -> String {
    text.to_lowercase()
        .chars()
        .filter_map(|c| match c {
            ' ' => Some('-'),
            c if c.is_alphanumeric() || c == '-' || c == '_' => Some(c),
            _ => None,
        })
        .collect()
}

/// A file name without its extension: ASCII letters, digits, `-` and `_`.
pub(crate) fn file_stem(name: &str) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() || c == '_' {
            c
        } else {
            '-'
        }
    };
    name.chars().map(plain).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulldown_cmark::{Event, Parser, Tag};

    /// CommonMark 0.31, section 2.4: a backslash before ASCII punctuation makes it plain text.
    #[test]
    fn escaped_text_reads_back_as_it_was() {
        for text in [
            "<script>alert(1)</script>",
            "a|b `c` *d* _e_ __f__ [g](javascript:h) ![i](j) &amp; \\ ~~k~~",
            "# not a heading",
            "- not a list",
            "1. not a list",
            "12) not a list",
            "+ no",
            "= no",
            "snake_case",
            "<https://example.org>",
            "$x$ {y}",
        ] {
            let mut seen = String::new();
            for event in Parser::new(&markdown(text)) {
                match event {
                    Event::Text(part) => seen.push_str(&part),
                    Event::Start(Tag::Paragraph) | Event::End(_) => {}
                    other => panic!("{text}: {other:?}"),
                }
            }
            assert_eq!(seen, text);
        }
    }

    #[test]
    fn one_line_and_no_reordering() {
        assert_eq!(markdown("a\nb\u{202E}c\0"), "a bc");
        assert_eq!(html("<a b='c'>&\""), "&lt;a b=&#39;c&#39;&gt;&amp;&quot;");
        assert_eq!(slug("How long, sensors?"), "how-long-sensors");
        assert_eq!(file_stem("../a b"), "---a-b");
    }
}
