//! The page around the body: one file, without script and without any request.

use crate::catalogue::fill;
use crate::context::Context;
use crate::document::Picture;
use crate::escape::{clean, html as escape};
use crate::palette;
use crate::serialise::{Parts, body};

const STYLE: &str = include_str!("style.css");

/// The HTML of a report's Markdown, its figures drawn into it.
pub(crate) fn page(context: &Context, markdown: &str, pictures: &[&Picture]) -> String {
    let figure = |address: &str| {
        let name = address.strip_prefix("figures/")?.strip_suffix(".svg")?;
        let picture = pictures.iter().find(|picture| picture.name == name)?;
        Some(figure(picture))
    };
    let page = &context.text.page;
    let sheets = context.text.sections.get("sheets");
    let parts = Parts {
        figure: &figure,
        summary: &context.text.table.figure_numbers,
        contents: [&page.contents, &page.contents_annex, &page.contents_sheets],
        annex: &page.annex,
        sheets: sheets.map_or("", |text| &text.title),
    };
    let title = format!(
        "{}, {}",
        context.input.settings.study.title,
        context.period()
    );
    format!(
        "<!DOCTYPE html>\n<html lang=\"{lang}\" dir=\"{dir}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>\n{colours}{STYLE}{paper}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#report\">{skip}</a>\n<main id=\"report\">\n{body}</main>\n</body>\n</html>\n",
        lang = escape(&context.text.language),
        dir = escape(&context.text.direction),
        title = escape(&clean(&title)),
        colours = palette::css(),
        paper = paper(context),
        skip = escape(&context.text.page.skip),
        body = body(markdown, &parts),
    )
}

/// A figure's drawings, and whether it takes less paper in half the width.
fn figure(picture: &Picture) -> (&'static str, String) {
    /// Height of a drawing on paper as a share of its own, over a page's width and in a column of half of it.
    const ON_PAPER: (f64, f64) = (0.83, 1.02);
    /// Highest that fits in a column, CSS pixels.
    const COLUMN: f64 = 1150.0;
    /// From here on a drawing over a page's width is too high to be made smaller, CSS pixels.
    const TALL: f64 = 400.0;
    let wide = picture.wide.inline(picture, "wide");
    match &picture.narrow {
        None => ("", picture.wide.inline(picture, "small")),
        Some(narrow) => {
            let in_column = narrow.height * ON_PAPER.1;
            let less = in_column < COLUMN && in_column < 2.0 * picture.wide.height * ON_PAPER.0;
            let class = match (less, picture.wide.height > TALL) {
                (false, _) => "",
                (true, false) => "half",
                (true, true) => "half tall",
            };
            (class, wide + &narrow.inline(picture, "narrow"))
        }
    }
}

/// What stands on every printed page: whose report, of when, what it is not for, and the page's number.
fn paper(context: &Context) -> String {
    let page = &context.text.page;
    let wearers = context.wearers();
    let who = match wearers.as_slice() {
        _ if context.shared.is_some() => None,
        [] => None,
        [one] => Some((*one).to_owned()),
        many => Some(fill(&page.wearers, &[("count", &many.len().to_string())])),
    };
    let title = &context.input.settings.study.title;
    let identity = match who {
        Some(who) => format!("{title} · {who}"),
        None => title.clone(),
    };
    let number = page.page_number.replace('"', "");
    let number = number
        .replace("{page}", "\" counter(page) \"")
        .replace("{pages}", "\" counter(pages) \"");
    format!(
        "@page {{ @top-left {{ content: {} }} @top-right {{ content: {} }} @bottom-left {{ content: {} }} \
         @bottom-right {{ content: \"{number}\" }} }}\n",
        css_text(&identity),
        css_text(&context.period()),
        css_text(&page.on_paper),
    )
}

/// Longest text in the margin of a page.
const MARGIN_TEXT: usize = 60;

/// Text as a string of a style sheet: all but letters, digits and blanks as escapes (CSS Syntax Level 3, section 4.3.7).
fn css_text(text: &str) -> String {
    let mut out = String::from("\"");
    let text = clean(text);
    for c in text.chars().take(MARGIN_TEXT) {
        if c.is_alphanumeric() || c == ' ' {
            out.push(c);
        } else {
            out.push_str(&format!("\\{:X} ", u32::from(c)));
        }
    }
    if text.chars().count() > MARGIN_TEXT {
        out.push('…');
    }
    out.push('"');
    out
}
