//! Blocks to Markdown, the one source of every rendering.

use crate::document::{Block, Files, Item, Kind, Link, Picture, Table};
use crate::escape::markdown as escape;

/// The Markdown of a report.
pub(crate) fn write(blocks: &[Block]) -> String {
    let pieces = blocks.iter().map(block);
    let pieces: Vec<String> = pieces.filter(|piece| !piece.is_empty()).collect();
    pieces.join("\n\n") + "\n"
}

/// The Markdown of one block, without a line end; empty where it has nothing to say.
pub(crate) fn block(block: &Block) -> String {
    match block {
        Block::Title(title) => {
            let marks = "#".repeat(usize::from(title.level));
            format!("{marks} {}", escape(&title.text))
        }
        Block::Paragraph(text) => escape(text),
        Block::Callout(lines) => {
            let lines = lines.iter().map(|line| format!("> {}", escape(line)));
            lines.collect::<Vec<_>>().join("\n>\n")
        }
        Block::List(items) => items.iter().map(item).collect::<Vec<_>>().join("\n"),
        Block::Contents(contents) => links(&contents.links, " · "),
        Block::Files(inner) => files(inner),
        Block::Table(inner) => format!("**{}**\n\n{}", escape(&inner.caption), table(inner)),
        Block::Picture(inner) => picture(inner),
    }
}

fn item(item: &Item) -> String {
    match item.lead.is_empty() {
        true => format!("- {}", escape(&item.text)),
        false => format!("- **{}**: {}", escape(&item.lead), escape(&item.text)),
    }
}

fn links(links: &[Link], between: &str) -> String {
    let links = links
        .iter()
        .map(|link| format!("[{}]({})", escape(&link.text), link.address));
    links.collect::<Vec<_>>().join(between)
}

fn files(files: &Files) -> String {
    format!("{} {}", escape(&files.lead), links(&files.links, ", "))
}

/// The rows of a table, its headings first.
pub(crate) fn table(table: &Table) -> String {
    let heads = &table.headings;
    let mut out = vec![
        row(heads.iter().map(|heading| escape(&heading.text))),
        row(heads.iter().map(|heading| rule(heading.kind).to_owned())),
    ];
    out.extend(
        table
            .rows
            .iter()
            .map(|cells| row(cells.iter().map(|cell| escape(cell)))),
    );
    out.join("\n")
}

fn rule(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => ":---",
        Kind::Number => "---:",
        Kind::Time => "---",
    }
}

fn row(cells: impl Iterator<Item = String>) -> String {
    let cells: String = cells.map(|cell| format!(" {cell} |")).collect();
    format!("|{cells}")
}

fn picture(picture: &Picture) -> String {
    let image = format!("![{}](figures/{}.svg)", escape(&picture.alt), picture.name);
    match picture.caption.is_empty() {
        true => image,
        false => format!("{image}\n\n*{}*", escape(&picture.caption)),
    }
}
