//! Markdown to HTML. Everything that is not Markdown of our own making comes out as text.

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};

use crate::document::Kind;
use crate::escape::html as escape;

/// A cell of more characters gets room, so that its row does not grow tall.
const LONG: usize = 40;

/// The HTML of the Markdown of one block; `kinds` says what the columns of its table hold. Without any,
/// a table comes with the element around it.
pub(crate) fn html(markdown: &str, kinds: &[Kind]) -> String {
    written(&events(markdown), kinds)
}

/// The same without the element that encloses it.
pub(crate) fn inner(markdown: &str) -> String {
    match events(markdown).as_slice() {
        [_, within @ .., _] => written(within, &[]),
        _ => String::new(),
    }
}

fn events(markdown: &str) -> Vec<Event<'_>> {
    Parser::new_ext(
        markdown,
        Options::ENABLE_TABLES | Options::ENABLE_STRIKETHROUGH,
    )
    .collect()
}

fn written(events: &[Event], kinds: &[Kind]) -> String {
    let mut writer = Writer {
        kinds,
        out: String::new(),
        column: 0,
        in_head: false,
        cell: 0,
        links: Vec::new(),
    };
    events.iter().for_each(|event| writer.event(event));
    writer.out
}

struct Writer<'a> {
    kinds: &'a [Kind],
    out: String,
    column: usize,
    in_head: bool,
    /// Where the cell begins in what is written.
    cell: usize,
    links: Vec<&'static str>,
}

/// Whether an address is within the page or one of the files written beside it.
fn is_ours(address: &str) -> bool {
    let plain = |text: &str| {
        let mut bytes = text.bytes();
        bytes.all(|b| b.is_ascii_alphanumeric() || b"-_".contains(&b))
    };
    let table = address
        .strip_prefix("tables/")
        .and_then(|rest| rest.strip_suffix(".csv"));
    let page = address.strip_suffix(".html");
    address.starts_with('#') || table.or(page).is_some_and(plain)
}

impl Writer<'_> {
    fn event(&mut self, event: &Event) {
        match event {
            Event::Start(tag) => self.start(tag),
            Event::End(tag) => self.end(*tag),
            Event::Text(text) | Event::Html(text) | Event::InlineHtml(text) => {
                self.out.push_str(&escape(text));
            }
            Event::Code(text) => self.out.push_str(&format!("<code>{}</code>", escape(text))),
            Event::SoftBreak => self.out.push('\n'),
            Event::HardBreak => self.out.push_str("<br>\n"),
            Event::Rule => self.out.push_str("<hr>\n"),
            Event::FootnoteReference(_)
            | Event::TaskListMarker(_)
            | Event::InlineMath(_)
            | Event::DisplayMath(_) => {}
        }
    }

    fn start(&mut self, tag: &Tag) {
        match tag {
            Tag::Paragraph => self.out.push_str("<p>"),
            Tag::Heading { level, .. } => self.out.push_str(&format!("<{level}>")),
            Tag::Table(_) if self.kinds.is_empty() => self.out.push_str("<table>"),
            Tag::BlockQuote(_) => self.out.push_str("<div class=\"callout\" role=\"note\">\n"),
            Tag::List(_) => self.out.push_str("<ul>\n"),
            Tag::Item => self.out.push_str("<li>"),
            Tag::Emphasis => self.out.push_str("<em>"),
            Tag::Strong => self.out.push_str("<strong>"),
            Tag::Strikethrough => self.out.push_str("<s>"),
            Tag::Link { dest_url, .. } if is_ours(dest_url) => {
                self.out
                    .push_str(&format!("<a href=\"{}\">", escape(dest_url)));
                self.links.push("</a>");
            }
            Tag::Link { .. } => self.links.push(""),
            Tag::TableHead => {
                self.in_head = true;
                self.column = 0;
                self.out.push_str("<thead><tr>");
            }
            Tag::TableRow => {
                self.column = 0;
                self.out.push_str("<tr>");
            }
            Tag::TableCell => self.open_cell(),
            _ => {}
        }
    }

    fn end(&mut self, tag: TagEnd) {
        match tag {
            TagEnd::Paragraph => self.out.push_str("</p>\n"),
            TagEnd::Heading(level) => self.out.push_str(&format!("</{level}>\n")),
            TagEnd::Table if self.kinds.is_empty() => self.out.push_str("</tbody></table>\n"),
            TagEnd::BlockQuote(_) => self.out.push_str("</div>\n"),
            TagEnd::List(_) => self.out.push_str("</ul>\n"),
            TagEnd::Item => self.out.push_str("</li>\n"),
            TagEnd::Emphasis => self.out.push_str("</em>"),
            TagEnd::Strong => self.out.push_str("</strong>"),
            TagEnd::Strikethrough => self.out.push_str("</s>"),
            TagEnd::Link => self.out.push_str(self.links.pop().unwrap_or_default()),
            TagEnd::Table => self.out.push_str("</tbody>"),
            TagEnd::TableHead => {
                self.in_head = false;
                self.out.push_str("</tr></thead>\n<tbody>\n");
            }
            TagEnd::TableRow => self.out.push_str("</tr>\n"),
            TagEnd::TableCell => self.close_cell(),
            _ => {}
        }
    }

    fn open_cell(&mut self) {
        self.cell = self.out.len();
        let class = match self.kinds.get(self.column) {
            Some(Kind::Number) => " class=\"n\"",
            Some(Kind::Time) => " class=\"t\"",
            _ => "",
        };
        self.out.push_str(&match (self.in_head, self.column) {
            (true, _) => format!("<th scope=\"col\"{class}>"),
            (false, 0) => format!("<th scope=\"row\"{class}>"),
            (false, _) => format!("<td{class}>"),
        });
    }

    fn close_cell(&mut self) {
        let heading = self.in_head || self.column == 0;
        let written = &self.out[self.cell..];
        if written.chars().count() > LONG && written.starts_with("<td>") {
            self.out.insert_str(self.cell + 3, " class=\"long\"");
        }
        self.out.push_str(if heading { "</th>" } else { "</td>" });
        self.column += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn raw_html_and_foreign_links_become_text() {
        let html = html(
            "a <b>c</b>\n\n<script>alert(1)</script>\n\n[d](javascript:alert(1)) ![e](https://x.invalid/f.png) [g](//x.invalid/h.html)\n",
            &[],
        );
        for open in [
            "<script",
            "<b>",
            "<img",
            "javascript:",
            "x.invalid",
            "<details",
        ] {
            assert!(!html.contains(open), "{open}: {html}");
        }
        assert!(html.contains("&lt;script&gt;"), "{html}");
    }

    #[test]
    fn links_lead_within_the_page_and_to_its_files() {
        let html = html(
            "[a](#b) [c](tables/d_e.csv) [f](sheets.html) [g](tables/../h.csv)",
            &[],
        );
        assert_eq!(
            html,
            "<p><a href=\"#b\">a</a> <a href=\"tables/d_e.csv\">c</a> <a href=\"sheets.html\">f</a> g</p>\n"
        );
    }

    #[test]
    fn cells_have_scope_and_the_class_of_their_column() {
        let html = html(
            "| Site | Bias |\n| :--- | ---: |\n| A | 1 |\n",
            &[Kind::Text, Kind::Number],
        );
        assert!(
            html.contains("<th scope=\"col\" class=\"n\">Bias</th>"),
            "{html}"
        );
        assert!(
            html.contains("<th scope=\"row\">A</th><td class=\"n\">1</td>"),
            "{html}"
        );
    }
}
