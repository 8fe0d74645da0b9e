//! Markdown events to HTML. Everything that is not Markdown of our own making comes out as text.

use pulldown_cmark::{Alignment, Event, HeadingLevel, Options, Parser, Tag, TagEnd};

use crate::anchors::Anchors;
use crate::escape::{html as escape, slug};

/// A cell of more characters gets room, so that its row does not grow tall.
const LONG: usize = 40;

/// Most columns of a table that fit in half the width of a printed page, in its whole width, and there on one line.
const MOST_COLUMNS: [usize; 3] = [5, 9, 14];

/// What the HTML needs beside the Markdown.
pub(crate) struct Parts<'a> {
    /// The class and the HTML of a figure by the address of its image; `None` for an address that is none of ours.
    pub figure: &'a dyn Fn(&str) -> Option<(&'static str, String)>,
    /// The one heading under which tables are folded.
    pub summary: &'a str,
    /// Names of the lists of links, in their order.
    pub contents: [&'a str; 3],
    /// Heading of the annex.
    pub annex: &'a str,
    /// Heading above the sheets that are handed over one by one.
    pub sheets: &'a str,
}

/// The body of a page.
pub(crate) fn body(markdown: &str, parts: &Parts) -> String {
    let options = Options::ENABLE_TABLES | Options::ENABLE_STRIKETHROUGH;
    let events: Vec<Event> = Parser::new_ext(markdown, options).collect();
    let mut writer = Writer {
        parts,
        out: String::with_capacity(markdown.len() * 2),
        anchors: Anchors::default(),
        caption: None,
        columns: Vec::new(),
        column: 0,
        in_head: false,
        cell: 0,
        in_section: false,
        sheets: Sheets::None,
        lists: 0,
        links: Vec::new(),
    };
    let mut at = 0;
    while at < events.len() {
        at += writer.blocks(&events[at..]);
    }
    writer.close_section();
    writer.out
}

/// Where the writer stands in the section of sheets.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Sheets {
    None,
    Before,
    Within,
}

struct Writer<'a> {
    parts: &'a Parts<'a>,
    out: String,
    anchors: Anchors,
    caption: Option<String>,
    columns: Vec<Alignment>,
    column: usize,
    in_head: bool,
    /// Where the cell begins in what is written.
    cell: usize,
    in_section: bool,
    sheets: Sheets,
    /// Lists of links written so far.
    lists: usize,
    links: Vec<&'static str>,
}

impl Writer<'_> {
    /// Writes what begins here; gives the number of events taken.
    fn blocks(&mut self, events: &[Event]) -> usize {
        if let Some(taken) = self.figure(events) {
            return taken;
        }
        if let Some(taken) = self.table_caption(events) {
            return taken;
        }
        match &events[0] {
            Event::Start(Tag::Heading { level, .. }) => return self.heading(*level, events),
            Event::Start(Tag::Paragraph) if is_contents(events) => {
                let names = &self.parts.contents;
                let name = names[self.lists.min(names.len() - 1)];
                self.lists += 1;
                self.out
                    .push_str(&format!("<nav aria-label=\"{}\"><p>", escape(name)));
                let end = end_of(events);
                events[1..end].iter().for_each(|event| self.event(event));
                self.out.push_str("</p></nav>\n");
                return end + 1;
            }
            event => self.event(event),
        }
        1
    }

    /// A paragraph that is one image of ours: a figure, its caption the paragraph in italics after it.
    fn figure(&mut self, events: &[Event]) -> Option<usize> {
        let [
            Event::Start(Tag::Paragraph),
            Event::Start(Tag::Image { dest_url, .. }),
            ..,
        ] = events
        else {
            return None;
        };
        let (class, svg) = (self.parts.figure)(dest_url)?;
        let end = end_of(events);
        let open = match class {
            "" => "<figure>".to_owned(),
            class => format!("<figure class=\"{class}\">"),
        };
        self.out.push_str(&format!("{open}\n{svg}"));
        let rest = &events[end + 1..];
        let mut taken = end + 1;
        if let [
            Event::Start(Tag::Paragraph),
            Event::Start(Tag::Emphasis),
            ..,
        ] = rest
        {
            let end = end_of(rest);
            self.out.push_str("<figcaption>");
            rest[2..end - 1].iter().for_each(|event| self.event(event));
            self.out.push_str("</figcaption>\n");
            taken += end + 1;
        }
        self.out.push_str("</figure>\n");
        Some(taken)
    }

    /// A paragraph in bold right before a table: its caption.
    fn table_caption(&mut self, events: &[Event]) -> Option<usize> {
        let [Event::Start(Tag::Paragraph), Event::Start(Tag::Strong), ..] = events else {
            return None;
        };
        let end = end_of(events);
        if !matches!(events.get(end + 1), Some(Event::Start(Tag::Table(_)))) {
            return None;
        }
        self.caption = Some(plain(&events[2..end]));
        Some(end + 1)
    }

    fn heading(&mut self, level: HeadingLevel, events: &[Event]) -> usize {
        let end = end_of(events);
        let text = plain(&events[1..end]);
        let anchor = escape(&self.anchors.next(&slug(&text)));
        match level {
            HeadingLevel::H2 => self.open_section(&text, &anchor),
            HeadingLevel::H3 if self.sheets != Sheets::None => self.open_sheet(&anchor),
            _ => {}
        }
        self.out.push_str(&format!(
            "<{level} id=\"{anchor}\">{}</{level}>\n",
            escape(&text)
        ));
        end + 1
    }

    fn open_section(&mut self, title: &str, anchor: &str) {
        self.close_section();
        self.in_section = true;
        let class = match title {
            _ if title == self.parts.annex => " class=\"annex\"",
            _ if title == self.parts.sheets => {
                self.sheets = Sheets::Before;
                " class=\"sheets\""
            }
            _ => "",
        };
        self.out
            .push_str(&format!("<section{class} aria-labelledby=\"{anchor}\">\n"));
    }

    fn open_sheet(&mut self, anchor: &str) {
        if self.sheets == Sheets::Within {
            self.out.push_str("</article>\n");
        }
        self.sheets = Sheets::Within;
        self.out
            .push_str(&format!("<article aria-labelledby=\"{anchor}\">\n"));
    }

    fn close_section(&mut self) {
        if std::mem::replace(&mut self.sheets, Sheets::None) == Sheets::Within {
            self.out.push_str("</article>\n");
        }
        if std::mem::replace(&mut self.in_section, false) {
            self.out.push_str("</section>\n");
        }
    }

    fn event(&mut self, event: &Event) {
        match event {
            Event::Start(tag) => self.start(tag),
            Event::End(tag) => self.end(*tag),
            Event::Text(text) => self.out.push_str(&escape(text)),
            Event::Code(text) => self.out.push_str(&format!("<code>{}</code>", escape(text))),
            Event::Html(text) | Event::InlineHtml(text) => self.raw(text),
            Event::SoftBreak => self.out.push('\n'),
            Event::HardBreak => self.out.push_str("<br>\n"),
            Event::Rule => self.out.push_str("<hr>\n"),
            Event::FootnoteReference(_)
            | Event::TaskListMarker(_)
            | Event::InlineMath(_)
            | Event::DisplayMath(_) => {}
        }
    }

    /// The only HTML that passes: a folded table's own lines, to the letter.
    fn raw(&mut self, text: &str) {
        let line = text.trim_end();
        let summary = format!("<summary>{}</summary>", self.parts.summary);
        if line == "<details>" || line == "</details>" || line == summary {
            self.out.push_str(line);
            self.out.push('\n');
        } else {
            self.out.push_str(&escape(text));
        }
    }

    fn start(&mut self, tag: &Tag) {
        match tag {
            Tag::Paragraph => self.out.push_str("<p>"),
            Tag::BlockQuote(_) => self.out.push_str("<div class=\"callout\" role=\"note\">\n"),
            Tag::List(_) => self.out.push_str("<ul>\n"),
            Tag::Item => self.out.push_str("<li>"),
            Tag::Emphasis => self.out.push_str("<em>"),
            Tag::Strong => self.out.push_str("<strong>"),
            Tag::Strikethrough => self.out.push_str("<s>"),
            Tag::Link { dest_url, .. } if dest_url.starts_with('#') => {
                self.out
                    .push_str(&format!("<a href=\"{}\">", escape(dest_url)));
                self.links.push("</a>");
            }
            Tag::Link { .. } => self.links.push(""),
            Tag::Table(columns) => self.open_table(columns),
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
            TagEnd::BlockQuote(_) => self.out.push_str("</div>\n"),
            TagEnd::List(_) => self.out.push_str("</ul>\n"),
            TagEnd::Item => self.out.push_str("</li>\n"),
            TagEnd::Emphasis => self.out.push_str("</em>"),
            TagEnd::Strong => self.out.push_str("</strong>"),
            TagEnd::Strikethrough => self.out.push_str("</s>"),
            TagEnd::Link => self.out.push_str(self.links.pop().unwrap_or_default()),
            TagEnd::Table => self.out.push_str("</tbody></table></div>\n"),
            TagEnd::TableHead => {
                self.in_head = false;
                self.out.push_str("</tr></thead>\n<tbody>\n");
            }
            TagEnd::TableRow => self.out.push_str("</tr>\n"),
            TagEnd::TableCell => self.close_cell(),
            _ => {}
        }
    }

    fn open_table(&mut self, columns: &[Alignment]) {
        self.columns = columns.to_vec();
        let caption = escape(&self.caption.take().unwrap_or_default());
        let names = [
            "scroll",
            "scroll wide",
            "scroll wide across",
            "scroll wide across dense",
        ];
        let size = MOST_COLUMNS.iter().filter(|most| columns.len() > **most);
        let class = names[size.count()];
        self.out.push_str(&format!(
            "<div class=\"{class}\" role=\"group\" aria-label=\"{caption}\" tabindex=\"0\"><table><caption>{caption}</caption>\n"
        ));
    }

    fn open_cell(&mut self) {
        self.cell = self.out.len();
        let class = match self.columns.get(self.column) {
            Some(Alignment::Right) => " class=\"n\"",
            Some(Alignment::None) => " class=\"t\"",
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
        if self.out[self.cell..].chars().count() > LONG && self.out[self.cell..].starts_with("<td>")
        {
            self.out.insert_str(self.cell + 3, " class=\"long\"");
        }
        self.out.push_str(if heading { "</th>" } else { "</td>" });
        self.column += 1;
    }
}

/// The index of the event that ends the block which the first event begins.
fn end_of(events: &[Event]) -> usize {
    let mut depth = 0usize;
    for (index, event) in events.iter().enumerate() {
        match event {
            Event::Start(_) => depth += 1,
            Event::End(_) => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return index;
        }
    }
    events.len().saturating_sub(1)
}

/// Whether a paragraph begins with a link within the page.
fn is_contents(events: &[Event]) -> bool {
    matches!(events.get(1), Some(Event::Start(Tag::Link { dest_url, .. })) if dest_url.starts_with('#'))
}

fn plain(events: &[Event]) -> String {
    let mut out = String::new();
    for event in events {
        match event {
            Event::Text(text) | Event::Code(text) | Event::Html(text) | Event::InlineHtml(text) => {
                out.push_str(text)
            }
            Event::SoftBreak | Event::HardBreak => out.push(' '),
            _ => {}
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(markdown: &str) -> String {
        let parts = Parts {
            figure: &|address| (address == "figures/a.svg").then(|| ("", "<svg></svg>".to_owned())),
            summary: "Numbers",
            contents: ["Sections", "Sections of the annex", "Sheets"],
            annex: "Annex",
            sheets: "Sheets to hand over",
        };
        body(markdown, &parts)
    }

    #[test]
    fn raw_html_and_foreign_links_become_text() {
        let html = of(
            "a <b>c</b>\n\n<script>alert(1)</script>\n\n[d](javascript:alert(1)) ![e](https://x.invalid/f.png)\n",
        );
        assert!(
            !html.contains("<script") && !html.contains("<b>") && !html.contains("<img"),
            "{html}"
        );
        assert!(
            !html.contains("javascript:") && !html.contains("x.invalid"),
            "{html}"
        );
        assert!(html.contains("&lt;script&gt;"), "{html}");
    }

    #[test]
    fn only_our_fold_passes() {
        let html = of(
            "<details>\n<summary>Numbers</summary>\n\ntext\n\n</details>\n\n<details open>\n<summary>Others</summary>\n",
        );
        assert!(
            html.contains("<details>\n<summary>Numbers</summary>\n"),
            "{html}"
        );
        assert!(
            html.contains("&lt;details open&gt;") && html.contains("&lt;summary&gt;Others"),
            "{html}"
        );
    }

    #[test]
    fn tables_have_caption_and_scope() {
        let html = of("**Of sites**\n\n| Site | Bias |\n| :--- | ---: |\n| A | 1 |\n");
        assert!(html.contains("<caption>Of sites</caption>"), "{html}");
        assert!(
            html.contains("<th scope=\"col\" class=\"n\">Bias</th>"),
            "{html}"
        );
        assert!(
            html.contains("<th scope=\"row\">A</th><td class=\"n\">1</td>"),
            "{html}"
        );
        assert!(!html.contains("<strong>"), "{html}");
    }

    #[test]
    fn sheets_are_articles() {
        let html = of("## Sheets to hand over\n\nw\n\n### A\n\nx\n\n### B\n\ny\n\n## C\n\n### D\n");
        let parts: Vec<&str> = html
            .split(['<', '>'])
            .filter(|tag| tag.contains("article") || tag.contains("section"))
            .map(|tag| tag.split(' ').next().unwrap_or(tag))
            .collect();
        let wanted = [
            "section", "article", "/article", "article", "/article", "/section", "section",
            "/section",
        ];
        assert_eq!(parts, wanted, "{html}");
    }

    #[test]
    fn figures_take_their_caption() {
        let html = of("## H\n\n![alt](figures/a.svg)\n\n*note*\n\nafter\n");
        assert!(
            html.contains(
                "<figure>\n<svg></svg><figcaption>note</figcaption>\n</figure>\n<p>after</p>"
            ),
            "{html}"
        );
        assert!(
            html.contains("<section aria-labelledby=\"h\">") && html.ends_with("</section>\n"),
            "{html}"
        );
    }
}
