//! The page around the body: one file, without script and without any request.

use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Kind, Part, Picture, Table};
use crate::escape::{clean, html as escape};
use crate::serialise::{html, inner};
use crate::{markdown, palette};

pub(crate) const STYLE: &str = include_str!("style.css");

/// Nothing may be asked of any server, and no script run (Content Security Policy Level 3).
pub(crate) const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// Most columns of a table that fit in half the width of a printed page, in its whole width, and there on one line.
const MOST_COLUMNS: [usize; 3] = [5, 9, 14];

/// The page of a document.
pub(crate) fn page(context: &Context, title: &str, blocks: &[Block]) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"{lang}\" dir=\"{dir}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>\n{colours}{STYLE}{paper}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#report\">{skip}</a>\n<main id=\"report\">\n{body}</main>\n</body>\n</html>\n",
        lang = escape(&context.text.language),
        dir = escape(&context.text.direction),
        title = escape(&clean(title)),
        colours = palette::css(),
        paper = paper(context),
        skip = escape(&context.text.page.skip),
        body = body(blocks),
    )
}

fn body(blocks: &[Block]) -> String {
    let mut out = String::new();
    let mut open = false;
    for block in blocks {
        if let Block::Title(title) = block
            && title.level == 2
        {
            out.push_str(if open { "</section>\n" } else { "" });
            open = true;
            let class = match title.part {
                Part::Body => "",
                Part::Annex => " class=\"annex\"",
                Part::Sheet => " class=\"sheet\"",
            };
            let anchor = escape(&title.anchor);
            out.push_str(&format!("<section{class} aria-labelledby=\"{anchor}\">\n"));
        }
        out.push_str(&element(block));
    }
    out.push_str(if open { "</section>\n" } else { "" });
    out
}

/// The HTML of a block: its Markdown, dressed in what the block knows of itself.
fn element(block: &Block) -> String {
    let markdown = markdown::block(block);
    match block {
        Block::Title(title) => {
            let (level, anchor) = (title.level, escape(&title.anchor));
            format!(
                "<h{level} id=\"{anchor}\">{}</h{level}>\n",
                inner(&markdown)
            )
        }
        Block::Contents(contents) => {
            let label = escape(&contents.label);
            format!(
                "<nav aria-label=\"{label}\">{}</nav>\n",
                html(&markdown, &[])
            )
        }
        Block::Files(_) => format!("<div class=\"files\">{}</div>\n", html(&markdown, &[])),
        Block::Table(table) => self::table(table),
        Block::Picture(picture) => figure(picture),
        _ => html(&markdown, &[]),
    }
}

fn table(table: &Table) -> String {
    let kinds: Vec<Kind> = table.headings.iter().map(|heading| heading.kind).collect();
    let names = [
        "scroll",
        "scroll wide",
        "scroll wide across",
        "scroll wide across dense",
    ];
    let size = MOST_COLUMNS.iter().filter(|most| kinds.len() > **most);
    let class = names.get(size.count()).unwrap_or(&"scroll");
    let caption = escape(clean(&table.caption).trim());
    format!(
        "<div class=\"{class}\" role=\"group\" aria-label=\"{caption}\" tabindex=\"0\"><table><caption>{caption}</caption>\n{}</table></div>\n",
        html(&markdown::table(table), &kinds)
    )
}

/// A figure with its drawings, for a page and for a narrow screen.
fn figure(picture: &Picture) -> String {
    let drawings = match &picture.narrow {
        None => picture.inline(&picture.wide, "small"),
        Some(narrow) => picture.inline(&picture.wide, "wide") + &picture.inline(narrow, "narrow"),
    };
    let caption = inner(&markdown::block(&Block::Paragraph(picture.caption.clone())));
    format!("<figure>\n{drawings}<figcaption>{caption}</figcaption>\n</figure>\n")
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
