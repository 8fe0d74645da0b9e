//! The report before it is Markdown. All text here is plain: it is escaped when it is written.

/// One piece of the report.
pub(crate) enum Block {
    /// A heading of level 1 to 6.
    Heading(u8, String),
    /// A paragraph.
    Paragraph(String),
    /// Lines that stand out.
    Callout(Vec<String>),
    /// A list of points.
    List(Vec<Item>),
    /// Links to the headings of this level that follow, up to one of a higher level.
    Contents(u8),
    /// A table.
    Table(Table),
    /// A table that a reader opens, under this heading.
    Folded(String, Table),
    /// A figure.
    Picture(Picture),
}

impl Block {
    /// The same block, a heading one level lower.
    pub fn lower(self) -> Self {
        match self {
            Self::Heading(level, text) => Self::Heading(level + 1, text),
            other => other,
        }
    }
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
    pub wide: crate::chart::Drawing,
    /// None where the other serves both.
    pub narrow: Option<crate::chart::Drawing>,
}
