//! Blocks to Markdown, the one source of every rendering.

use crate::document::{Block, Item, Kind, Picture, Table};
use crate::escape::{clean, markdown as escape, slug};

/// The Markdown of a report.
pub(crate) fn write(blocks: &[Block]) -> String {
    let mut out = String::new();
    for (at, block) in blocks.iter().enumerate() {
        match block {
            Block::Heading(level, text) => {
                out.push_str(&"#".repeat(usize::from(*level)));
                out.push(' ');
                out.push_str(&escape(text));
                out.push_str("\n\n");
            }
            Block::Paragraph(text) => paragraph(&mut out, &escape(text)),
            Block::Callout(lines) => {
                let lines: Vec<String> = lines
                    .iter()
                    .map(|line| format!("> {}", escape(line)))
                    .collect();
                paragraph(&mut out, &lines.join("\n>\n"));
            }
            Block::List(items) => list(&mut out, items),
            Block::Contents(level) => paragraph(&mut out, &contents(blocks, at, *level)),
            Block::Table(inner) => table(&mut out, inner),
            Block::Folded(summary, inner) => {
                paragraph(
                    &mut out,
                    &format!("<details>\n<summary>{summary}</summary>"),
                );
                table(&mut out, inner);
                paragraph(&mut out, "</details>");
            }
            Block::Picture(inner) => picture(&mut out, inner),
        }
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}

fn paragraph(out: &mut String, markdown: &str) {
    if !markdown.is_empty() {
        out.push_str(markdown);
        out.push_str("\n\n");
    }
}

fn list(out: &mut String, items: &[Item]) {
    for item in items {
        out.push_str(&format!(
            "- **{}**: {}\n",
            escape(&item.lead),
            escape(&item.text)
        ));
    }
    out.push('\n');
}

/// Links to the headings of a level that follow, up to one of a higher level. Anchors follow the usual rule: a repeated one gets a number.
fn contents(blocks: &[Block], from: usize, wanted: u8) -> String {
    let mut seen = crate::anchors::Anchors::default();
    let mut links = Vec::new();
    for (at, block) in blocks.iter().enumerate() {
        if let Block::Heading(level, text) = block {
            let anchor = seen.next(&slug(clean(text).trim()));
            if at > from && *level < wanted {
                break;
            }
            if at > from && *level == wanted {
                links.push(format!("[{}](#{anchor})", escape(text)));
            }
        }
    }
    links.join(" · ")
}

fn table(out: &mut String, table: &Table) {
    paragraph(out, &format!("**{}**", escape(&table.caption)));
    row(out, table.headings.iter().map(|h| escape(&h.text)));
    row(out, table.headings.iter().map(|h| rule(h.kind).to_owned()));
    for cells in &table.rows {
        row(out, cells.iter().map(|cell| escape(cell)));
    }
    out.push('\n');
}

/// The alignment of a column; times have none, which keeps them on one line.
fn rule(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => ":---",
        Kind::Number => "---:",
        Kind::Time => "---",
    }
}

fn row(out: &mut String, cells: impl Iterator<Item = String>) {
    out.push('|');
    for cell in cells {
        out.push_str(&format!(" {cell} |"));
    }
    out.push('\n');
}

fn picture(out: &mut String, picture: &Picture) {
    paragraph(
        out,
        &format!("![{}](figures/{}.svg)", escape(&picture.alt), picture.name),
    );
    if !picture.caption.is_empty() {
        paragraph(out, &format!("*{}*", escape(&picture.caption)));
    }
}
