//! Mistyped words, and what may have been meant.

/// The known word at most two letters off a mistyped one, where there is one.
pub fn nearest_word<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let length = name.chars().count();
    known
        .map(|word| (edit_distance(name, word), word))
        .min()
        .filter(|(distance, _)| *distance <= 2 && *distance < length)
        .map(|(_, word)| word)
}

/// What to do about a mistyped word, to follow a message: the word that was probably meant, else all that there are.
pub fn suggestion<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> String {
    let known: Vec<&str> = known.collect();
    if let Some(word) = nearest_word(name, known.iter().copied()) {
        return format!("; did you mean `{word}`?");
    }
    let quoted: Vec<String> = known.iter().map(|word| format!("`{word}`")).collect();
    match quoted.split_last() {
        None => String::new(),
        Some((only, [])) => format!("; use {only}"),
        Some((last, others)) => format!("; use {} or {last}", others.join(", ")),
    }
}

/// Levenshtein's distance between two words.
fn edit_distance(a: &str, b: &str) -> usize {
    let mut row: Vec<usize> = (0..=b.chars().count()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = i;
        let mut left = i + 1;
        for (cell, cb) in row.iter_mut().skip(1).zip(b.chars()) {
            let substitute = diagonal + usize::from(ca != cb);
            diagonal = *cell;
            left = substitute.min(*cell + 1).min(left + 1);
            *cell = left;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.last().copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Kitten to sitting takes three edits: common practice, no source.
    #[test]
    fn distances() {
        for (a, b, edits) in [
            ("kitten", "sitting", 3),
            ("", "abc", 3),
            ("abc", "", 3),
            ("flaw", "lawn", 2),
            ("same", "same", 0),
        ] {
            assert_eq!(edit_distance(a, b), edits, "{a} {b}");
        }
    }

    #[test]
    fn a_suggestion_is_at_most_two_letters_off() {
        let causes = ["fell-off", "chosen", "completed"];
        let suggest = |name: &str| suggestion(name, causes.into_iter());
        assert_eq!(suggest("fel-of"), "; did you mean `fell-off`?");
        assert_eq!(
            suggest("shower"),
            "; use `fell-off`, `chosen` or `completed`",
            "three letters off is another word"
        );
        assert_eq!(nearest_word("ab", ["xy"].into_iter()), None);
        assert_eq!(nearest_word("abc", ["xyc"].into_iter()), Some("xyc"));
        assert_eq!(
            suggestion("x", ["only-one"].into_iter()),
            "; use `only-one`"
        );
        assert_eq!(suggestion("x", [].into_iter()), "");
    }
}
