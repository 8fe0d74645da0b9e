//! The report before it is Markdown. All text here is plain: it is escaped when it is written. What only one form of the
//! report needs, such as the part of the page that a heading opens, stands here too, so that no form has to guess it.

use crate::anchors::Anchors;
use crate::drawing::{Drawing, ROOT};
use crate::escape::{clean, html as escape, slug};

/// One piece of the report.
pub(crate) enum Block {
    /// A heading.
    Title(Title),
    /// A paragraph.
    Paragraph(String),
    /// Lines that stand out.
    Callout(Vec<String>),
    /// A list of points.
    List(Vec<Item>),
    /// Links to headings that follow.
    Contents(Contents),
    /// Links to files beside the report.
    Files(Files),
    /// A table.
    Table(Table),
    /// A figure.
    Picture(Picture),
}

/// A heading of level 1 to 6, and the part of the page that one of level 2 opens.
pub(crate) struct Title {
    pub level: u8,
    pub text: String,
    pub part: Part,
    /// Set by [`finish`].
    pub anchor: String,
}

/// Parts of a page, which differ on paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Part {
    Body,
    Annex,
    /// A page of its own.
    Sheet,
}

/// Links to the headings of a level that follow, up to one of a higher level.
pub(crate) struct Contents {
    /// Name of the list for who cannot see it.
    pub label: String,
    pub level: u8,
    /// Set by [`finish`].
    pub links: Vec<Link>,
}

/// Files beside the report, after a word on what is in them.
pub(crate) struct Files {
    pub lead: String,
    pub links: Vec<Link>,
}

/// A link within the page or to a file beside it.
pub(crate) struct Link {
    pub text: String,
    pub address: String,
}

/// A point of a list, with a lead-in in bold.
pub(crate) struct Item {
    pub lead: String,
    pub text: String,
}

/// A table of finished texts.
pub(crate) struct Table {
    pub caption: String,
    pub headings: Vec<Heading>,
    pub rows: Vec<Vec<String>>,
}

/// Heading of a column, and what its cells are.
pub(crate) struct Heading {
    pub text: String,
    pub kind: Kind,
}

/// What the cells of a column are, which sets how they are aligned and broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Text,
    Number,
    Time,
}

/// A chart for a page and for a narrow screen.
pub(crate) struct Picture {
    /// File name without extension; unique in a report.
    pub name: String,
    pub title: String,
    /// What the figure shows, for who cannot see it.
    pub alt: String,
    pub caption: String,
    pub wide: Drawing,
    /// None where the other serves both.
    pub narrow: Option<Drawing>,
}

impl Block {
    /// A heading in the body.
    pub fn title(level: u8, text: &str) -> Self {
        Self::in_part(level, text, Part::Body)
    }

    /// A heading that opens a part of the page.
    pub fn in_part(level: u8, text: &str, part: Part) -> Self {
        Self::Title(Title {
            level,
            text: text.to_owned(),
            part,
            anchor: String::new(),
        })
    }

    /// A list of links to headings that follow.
    pub fn contents(label: &str, level: u8) -> Self {
        Self::Contents(Contents {
            label: label.to_owned(),
            level,
            links: Vec::new(),
        })
    }
}

/// Gives every heading its anchor, and every list of links the headings that it leads to.
pub(crate) fn finish(blocks: &mut [Block]) {
    let mut seen = Anchors::default();
    for block in blocks.iter_mut() {
        if let Block::Title(title) = block {
            title.anchor = seen.next(&slug(clean(&title.text).trim()));
        }
    }
    for at in 0..blocks.len() {
        let (before, after) = blocks.split_at_mut(at + 1);
        if let Some(Block::Contents(contents)) = before.last_mut() {
            contents.links = links(after, contents.level);
        }
    }
}

fn links(blocks: &[Block], level: u8) -> Vec<Link> {
    let titles = blocks.iter().filter_map(|block| match block {
        Block::Title(title) => Some(title),
        _ => None,
    });
    titles
        .take_while(|title| title.level >= level)
        .filter(|title| title.level == level)
        .map(|title| Link {
            text: title.text.clone(),
            address: format!("#{}", title.anchor),
        })
        .collect()
}

impl Picture {
    /// The wide drawing as a file of its own.
    pub fn file(&self) -> String {
        let size = format!(
            " xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.0}\" height=\"{:.0}\"",
            self.wide.width, self.wide.height
        );
        self.element(&self.wide, "file", &size)
    }

    /// A drawing as part of a page.
    pub fn inline(&self, drawing: &Drawing, class: &str) -> String {
        self.element(drawing, class, &format!(" class=\"{class}\""))
    }

    fn element(&self, drawing: &Drawing, suffix: &str, attributes: &str) -> String {
        let id = format!("{}-{suffix}", self.name);
        format!(
            "<svg role=\"img\" {ROOT} aria-labelledby=\"{id}-title {id}-desc\" viewBox=\"0 0 {:.0} {:.0}\"{attributes}>\n\
             <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n{}\n</svg>\n",
            drawing.width * drawing.scale,
            drawing.height * drawing.scale,
            escape(&clean(&self.title)),
            escape(&clean(&self.alt)),
            drawing.body,
        )
    }
}
