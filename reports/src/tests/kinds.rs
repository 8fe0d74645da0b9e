//! Every kind of cell, of mark-up and of character, in words and signs worked by hand.

use whereworn_model::units::Unit;

use crate::document::Kind;
use crate::escape;
use crate::fixture;
use crate::serialise::{html, inner};

/// Lines of the table of a study's own, without its headings.
fn cells(unit: Unit) -> (Vec<String>, String) {
    const SQL: &str = "-- show = 2\n-- note = \"By hand.\"\n-- [columns]\n-- whole = { unit = \"mg/dL\" }\n-- level = { unit = \"mg/dL\" }\n-- fine = { unit = \"mg/dL\", digits = 0 }\n\
        -- rise = { unit = \"mg/dL/min\", digits = 1 }\n-- part = { unit = \"share\" }\n-- parts = { unit = \"share\", digits = 1 }\nSELECT 1";
    let rows = [
        "100;100.26;99.6;1.5;0.256;0.256;7;3.14159;0.0004;2026-03-04T22:05:00Z;2026-03-05;12.5;10;15.25;red",
        "80;;70.4;-2.5;1;1;12;0.5;0.04;2026-03-29T02:30:00Z;2026-03-06;2.5;;;",
        "90;;70.4;-2.5;1;1;12;0.5;0.04;2026-03-29T02:30:00Z;2026-03-06;2.5;;;",
    ]
    .map(str::to_owned);
    let columns = "whole;level;fine;rise;part;parts;n;x;p;at;day;v;v_lower;v_upper;word";
    let mut table = fixture::table("own", SQL, columns, &rows);
    table.own_query = true;
    let mut study = fixture::full();
    study.settings.study.unit = Some(unit);
    study.tables = vec![table];
    let markdown = study.report().markdown;
    let lines = markdown
        .lines()
        .skip_while(|line| !line.starts_with("| whole"));
    let table = lines.clone().take_while(|line| line.starts_with('|'));
    let table = table.map(|line| line.replace('\u{a0}', " ")).collect();
    (table, markdown)
}

/// By hand: 100 mg/dL are 5.551 mmol/L, 100.26 are 5.565, 99.6 are 5.529, 80 are 4.441, 1.5 mg/dL/min are 0.0833 (18.0156 mg/dL
/// each). Lisbon is an hour ahead of UTC from 29 March 2026, 01:00 UTC, on.
#[test]
fn a_cell_is_written_in_its_unit_and_digits() {
    let (lines, markdown) = cells(Unit::MgDl);
    assert_eq!(
        lines,
        [
            "| whole (mg/dL) | level (mg/dL) | fine (mg/dL) | rise (mg/dL/min) | part (%) | parts (%) | n | x | p | at | day | v | word |",
            "| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | --- | --- | ---: | :--- |",
            "| 100 | 100.3 | 100 | 1.5 | 26 | 25.6 | 7 | 3.14 | \\< 0.001 | 2026-03-04 22:05 | 2026-03-05 | 12.50 (10.00 to 15.25) | red |",
            "| 80 | – | 70 | −2.5 | 100 | 100.0 | 12 | 0.50 | 0.040 | 2026-03-29 03:30 | 2026-03-06 | 2.50 | – |",
        ]
    );
    for words in [
        "A figure without brackets has no interval: there was too little to compute one from. – means that there was nothing to \
         compute a value from. By hand.",
        "First 2 of 3 rows; all are in",
    ] {
        assert!(markdown.contains(words), "{words}: {markdown}");
    }
    let (lines, _) = cells(Unit::MmolL);
    assert_eq!(
        lines[0],
        "| whole (mmol/L) | level (mmol/L) | fine (mmol/L) | rise (mmol/L/min) | part (%) | parts (%) | n | x | p | at | day | v | word |"
    );
    assert!(
        lines[2].starts_with("| 5.6 | 5.57 | 5.5 | 0.08 | 26 | 25.6 | 7 | 3.14 |"),
        "{}",
        lines[2]
    );
    assert!(
        lines[3].starts_with("| 4.4 | – | 3.9 | −0.14 | 100 |"),
        "{}",
        lines[3]
    );
}

/// What Markdown would take for a mark is escaped, and nothing else (CommonMark 0.31; autolinks by GitHub's extension).
#[test]
fn only_what_has_a_meaning_is_escaped() {
    for (text, written) in [
        ("a-b+c#d=e", "a-b+c#d=e"),
        ("-a", "\\-a"),
        ("#a", "\\#a"),
        ("=a", "\\=a"),
        ("+a", "\\+a"),
        ("!a", "!a"),
        ("![a](b)", "\\!\\[a\\](b)"),
        ("a: b", "a: b"),
        ("http://x.org", "http\\://x.org"),
        ("www.x.org", "www\\.x.org"),
        ("ww.x", "ww.x"),
        ("3.5", "3.5"),
        (".5", ".5"),
        ("a. b", "a. b"),
        ("12. x", "12\\. x"),
        ("12)", "12\\)"),
        ("a) b", "a) b"),
        ("snake_case", "snake_case"),
        ("_a", "\\_a"),
        ("a_", "a\\_"),
        ("a _b", "a \\_b"),
        ("\\`*[]<>&|~${}", "\\\\\\`\\*\\[\\]\\<\\>\\&\\|\\~\\$\\{\\}"),
        (" a\u{2028}b\u{2029}c\u{7}d ", "a b c d"),
        (
            "a\u{202A}b\u{2066}c\u{2069}d\u{FEFF}e\u{FFFE}f\u{FFFF}g",
            "abcdefg",
        ),
    ] {
        assert_eq!(escape::markdown(text), written, "{text}");
    }
    assert_eq!(escape::slug("A_b-C, d!"), "a_b-c-d");
    assert_eq!(escape::file_stem("a_b-c.d"), "a_b-c-d");
}

#[test]
fn every_element_has_its_mark_up() {
    let long = "forty characters and one more make it long";
    let table = format!(
        "| k | l | m |\n|---|---|---|\n| n | o | {long} |\n| p | q | {} |\n",
        &long[..29]
    );
    let text = "## A\n\n> **b** *c* ~~d~~ `e<`\n\n- f\n- g\n\nh  \ni\nj\n\n---\n";
    assert_eq!(
        html(text, &[]),
        "<h2>A</h2>\n<div class=\"callout\" role=\"note\">\n<p><strong>b</strong> <em>c</em> <s>d</s> <code>e&lt;</code></p>\n</div>\n\
         <ul>\n<li>f</li>\n<li>g</li>\n</ul>\n<p>h<br>\ni\nj</p>\n<hr>\n"
    );
    let head = "<thead><tr><th scope=\"col\">k</th><th scope=\"col\">l</th><th scope=\"col\">m</th></tr></thead>\n<tbody>\n";
    let short = &long[..29];
    assert_eq!(
        html(&table, &[]),
        format!(
            "<table>{head}<tr><th scope=\"row\">n</th><td>o</td><td class=\"long\">{long}</td></tr>\n\
             <tr><th scope=\"row\">p</th><td>q</td><td>{short}</td></tr>\n</tbody></table>\n"
        )
    );
    let kinds = [Kind::Text, Kind::Time, Kind::Number];
    let timed = html(&table, &kinds);
    assert!(
        !timed.contains("<table>") && timed.ends_with("</tr>\n</tbody>"),
        "{timed}"
    );
    assert!(
        timed.contains("<td class=\"t\">o</td><td class=\"n\">forty"),
        "{timed}"
    );
    assert_eq!(inner("a *b*\n"), "a <em>b</em>");
    assert_eq!(inner(""), "");
}

/// A query of the study's own that asks for the worst first has the worst first.
#[test]
fn rows_of_an_own_query_stand_in_its_order() {
    let rows = ["upper-arm-back;3", "abdomen;2", "forearm;1"].map(str::to_owned);
    let mut table = fixture::table("own", "-- show = 2\nSELECT 1", "site;bias", &rows);
    table.own_query = true;
    let mut study = fixture::full();
    study.tables = vec![table];
    let markdown = study.report().markdown;
    let at = |words: &str| markdown.find(&format!("| {words}"));
    assert!(at("Back of the upper arm") < at("Abdomen"), "{markdown}");
    assert!(at("Back of the upper arm").is_some() && at("Forearm").is_none());
}
