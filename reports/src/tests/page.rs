//! The page and its figures as documents.

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use whereworn_model::table::Cell;

use super::all;
use crate::fixture;
use crate::{Edition, Report};

/// Every study in every edition.
fn every_edition() -> Vec<(String, Report)> {
    let mut out = Vec::new();
    for (name, study) in all() {
        for edition in Edition::ALL {
            let name = format!("{name}, {}", edition.name());
            out.push((name, study.edition(edition)));
        }
    }
    out
}

/// No number that is none, no placeholder, no request, no script.
pub(super) fn no_nonsense(name: &str, report: &Report) {
    let svgs: String = report
        .figures
        .iter()
        .map(|figure| figure.svg.as_str())
        .collect();
    for text in [&report.html, &report.markdown, &svgs] {
        let words = text.split(|c: char| !c.is_alphanumeric());
        for word in words {
            assert!(
                !["NaN", "nan", "inf", "Infinity"].contains(&word),
                "{name}: {word}"
            );
        }
    }
    for part in [
        "<script", "<link", "<img", "<iframe", "url(", "@import", "src=", "<object",
    ] {
        assert!(!report.html.contains(part), "{name}: {part}");
    }
    for link in report.html.split("href=\"").skip(1) {
        let address = link.split('"').next().unwrap_or_default();
        let file = address.starts_with("tables/") || address == "sheets.html";
        assert!(file || address.starts_with('#'), "{name}: {address}");
    }
}

#[test]
fn nothing_that_is_no_number_and_no_request() {
    for (name, report) in every_edition() {
        no_nonsense(&name, &report);
    }
}

#[test]
fn no_placeholder_is_left() {
    for (name, report) in every_edition() {
        if name.starts_with("hostile") {
            continue;
        }
        assert!(
            !report.markdown.contains(['{', '}']),
            "{name}: {}",
            report.markdown
        );
    }
}

/// Text content of markup, its elements taken out.
pub(super) fn text_of(html: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in html.chars() {
        match c {
            '<' => {
                inside = true;
                out.push(' ');
            }
            '>' => inside = false,
            c if !inside => out.push(c),
            _ => {}
        }
    }
    out
}

/// Digits with what belongs to them, in order.
fn numbers(text: &str) -> Vec<String> {
    let part = |c: char| c.is_ascii_digit() || c == '.' || c == '\u{2212}';
    let trimmed = |word: &str| word.trim_matches('.').to_owned();
    text.split(|c| !part(c))
        .filter(|word| word.bytes().any(|b| b.is_ascii_digit()))
        .map(trimmed)
        .collect()
}

fn markdown_text(markdown: &str) -> String {
    let mut out = String::new();
    let mut image = false;
    for event in Parser::new_ext(markdown, Options::ENABLE_TABLES) {
        match event {
            Event::Start(Tag::Image { .. }) => image = true,
            Event::End(TagEnd::Image) => image = false,
            Event::Text(text) if !image => out.push_str(&text),
            Event::End(_) => out.push(' '),
            _ => {}
        }
    }
    out
}

/// The page has every number of the Markdown and no other, figures and repeated labels left aside.
#[test]
fn page_and_markdown_have_the_same_numbers() {
    for (name, report) in every_edition() {
        let mut body = report.html[report.html.find("<main").unwrap()..].to_owned();
        while let (Some(open), Some(close)) = (body.find("<svg"), body.find("</svg>")) {
            body.replace_range(open..close + 6, " ");
        }
        for (entity, character) in [("&#39;", "'"), ("&quot;", "\""), ("&amp;", "&")] {
            body = body.replace(entity, character);
        }
        let (page, source) = (
            numbers(&text_of(&body)),
            numbers(&markdown_text(&report.markdown)),
        );
        assert_eq!(page, source, "{name}");
        assert!(
            name != "full, clinician" || source.len() > 400,
            "{name}: {}",
            source.len()
        );
    }
}

#[test]
fn every_figure_says_what_it_shows() {
    for (name, report) in every_edition() {
        let mut drawn = 0;
        for figure in &report.figures {
            let stem = figure.file_name.strip_suffix(".svg").unwrap();
            let svg = &figure.svg;
            assert!(svg.starts_with("<svg role=\"img\" "), "{name}: {stem}");
            assert!(
                svg.contains("<title ") && svg.contains("<desc "),
                "{name}: {stem}"
            );
            assert!(
                report.markdown.contains(&format!("](figures/{stem}.svg)")),
                "{name}: {stem}"
            );
            for drawing in ["wide", "narrow"] {
                let id = format!("id=\"{stem}-{drawing}-title\"");
                assert!(report.html.contains(&id), "{name}: {id}");
            }
            drawn += 2;
        }
        assert_eq!(report.html.matches("<svg").count(), drawn, "{name}");
    }
}

/// Elements that open close in order, as XML asks (XML 1.0, section 3).
#[test]
fn figures_are_well_formed() {
    for (name, report) in every_edition() {
        for figure in report.figures {
            let mut open: Vec<String> = Vec::new();
            for tag in figure.svg.split('<').skip(1) {
                let inner = tag.split('>').next().unwrap();
                let word = inner
                    .trim_start_matches('/')
                    .split([' ', '/', '\n'])
                    .next()
                    .unwrap()
                    .to_owned();
                if inner.starts_with('/') {
                    assert_eq!(open.pop(), Some(word), "{name}: {}", figure.file_name);
                } else if !inner.ends_with('/') {
                    open.push(word);
                }
            }
            assert!(open.is_empty(), "{name}: {}", figure.file_name);
        }
    }
}

/// Headings go down by one level at a time, and the page has one of the first level.
#[test]
fn headings_are_in_order() {
    for (name, report) in every_edition() {
        let html = report.html;
        let body = &html[html.find("<main").unwrap()..];
        let levels: Vec<u32> = body
            .match_indices("<h")
            .filter_map(|(at, _)| body[at + 2..].chars().next()?.to_digit(10))
            .collect();
        assert_eq!(
            levels.iter().filter(|&&level| level == 1).count(),
            1,
            "{name}"
        );
        assert!(
            levels.windows(2).all(|pair| pair[1] <= pair[0] + 1),
            "{name}: {levels:?}"
        );
    }
}

#[test]
fn anchors_are_unique_and_reached() {
    for (name, report) in every_edition() {
        let html = report.html;
        let mut ids: Vec<&str> = html
            .split(" id=\"")
            .skip(1)
            .map(|rest| rest.split('"').next().unwrap())
            .collect();
        for link in html.split("href=\"#").skip(1) {
            let target = link.split('"').next().unwrap();
            assert!(ids.contains(&target), "{name}: {target}");
        }
        let count = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), count, "{name}");
    }
}

/// What stands in the margin of a printed page is a string of a style sheet, whatever a title holds (CSS Syntax Level 3,
/// section 4.3.7: a character by its code in hexadecimal digits, which a blank ends), and no longer than 60 characters.
#[test]
fn a_title_stays_in_the_margin_of_paper() {
    let margin = |study: &fixture::Study| {
        let html = study.report().html;
        let (_, rule) = html.split_once("@top-left { content: \"").unwrap();
        let (found, rest) = rule.split_once("\" }").unwrap();
        let period = " @top-right { content: \"March 2026\" }";
        assert!(rest.starts_with(period), "{rest:.80}");
        found.to_owned()
    };
    let long = "a".repeat(60);
    for (title, wanted) in [
        ("Elm 7", "Elm 7".to_owned()),
        ("a\"b\\c}", "a\\22 b\\5C c\\7D ".to_owned()),
        (&*long, long.clone()),
        (&*format!("{long}b"), format!("{long}…")),
    ] {
        let mut study = fixture::empty();
        study.settings.study.title = title.to_owned();
        assert_eq!(margin(&study), wanted);
    }
    // Beside the title, of whom the report is: one by name, several by how many.
    let mut study = fixture::full();
    assert_eq!(margin(&study), "The lighthouse keepers \\B7  2 wearers");
    let sessions = study.table("sessions");
    let wearer = sessions.columns.iter_mut().find(|c| c.name == "wearer");
    wearer.unwrap().cells.fill(Cell::text("Keeper Odd"));
    assert_eq!(margin(&study), "The lighthouse keepers \\B7  Keeper Odd");
}
