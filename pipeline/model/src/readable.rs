//! What a parser says, in words of who wrote the file.

/// What the TOML parser says of a value, on one line and without names of types of this program.
pub(crate) fn readable(message: &str) -> String {
    let message = message.trim_end().replace('\n', " ");
    if message.starts_with("data did not match any variant") {
        return "it has none of the forms that may stand here".to_owned();
    }
    if message == "wanted string or table" {
        return "a text in quotation marks belongs here".to_owned();
    }
    for (begin, plain) in [
        ("missing field ", "missing key "),
        ("unknown field ", "unknown key "),
        ("unknown variant ", "unknown word "),
    ] {
        if let Some(rest) = message.strip_prefix(begin) {
            return plain.to_owned() + rest;
        }
    }
    let Some((value, wanted)) = message.rsplit_once(", expected ") else {
        return message;
    };
    // A date arrives as a map with a key of the parser's own.
    let value = value.replace("invalid type: map", "invalid type: a table or a date");
    let wanted = match wanted {
        "f64" => "a number",
        "usize" | "u8" | "u32" | "u64" => "a whole number, 0 or more",
        "a map" => "a table of keys",
        "a sequence" => "an array in [ ]",
        _ if wanted.starts_with("struct ") => "a table of keys",
        other => other,
    };
    format!("{value}, expected {wanted}")
}

#[cfg(test)]
mod tests {
    use super::readable;

    /// Names of types of this program mean nothing to whoever wrote the file.
    #[test]
    fn no_type_of_ours_is_named() {
        for (said, plain) in [
            (
                "invalid type: string \"x\", expected f64",
                "invalid type: string \"x\", expected a number",
            ),
            (
                "invalid value: integer `-1`, expected usize",
                "invalid value: integer `-1`, expected a whole number, 0 or more",
            ),
            (
                "invalid type: integer `3`, expected struct ColumnHeader",
                "invalid type: integer `3`, expected a table of keys",
            ),
            (
                "invalid type: map, expected a string\n",
                "invalid type: a table or a date, expected a string",
            ),
            (
                "data did not match any variant of untagged enum Primary",
                "it has none of the forms that may stand here",
            ),
            ("missing field `files`", "missing key `files`"),
            ("unknown field `file`", "unknown key `file`"),
            (
                "wanted string or table",
                "a text in quotation marks belongs here",
            ),
            (
                "invalid type: string \"x\", expected a map",
                "invalid type: string \"x\", expected a table of keys",
            ),
            (
                "invalid type: string \"x\", expected a sequence",
                "invalid type: string \"x\", expected an array in [ ]",
            ),
            (
                "invalid type: integer `3`, expected a string",
                "invalid type: integer `3`, expected a string",
            ),
            ("two\nlines", "two lines"),
        ] {
            assert_eq!(readable(said), plain);
        }
    }
}
