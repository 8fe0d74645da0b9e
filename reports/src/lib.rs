//! The report: Markdown, the HTML made from it, and its charts.
//!
//! Result tables become a document of plain texts, the document becomes Markdown, and the Markdown
//! becomes HTML. Nothing but this crate knows any of the three formats. Data are untrusted: they are
//! escaped where they are written, and no HTML of theirs survives.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

use whereworn_model::settings::Settings;
use whereworn_model::table::ResultTable;
use whereworn_model::time::{Micros, Month};

use catalogue::Catalogue;
use context::Context;
use edition::Plans;

pub use edition::Edition;

mod anchors;
mod catalogue;
mod chart;
mod context;
mod document;
mod edition;
mod escape;
mod html;
mod languages;
mod levels;
mod markdown;
mod palette;
mod privacy;
mod sections;
mod sentences;
mod serialise;
mod view;
mod words;

#[cfg(test)]
mod fixture;
#[cfg(test)]
mod tests;

/// What a report is made from.
pub struct Input<'a> {
    /// Whom the report is for.
    pub edition: Edition,
    /// The study's settings: title, unit, language, names of sites.
    pub settings: Settings,
    /// The month of the report.
    pub month: Month,
    /// Nothing later than this was used.
    pub cutoff: Micros,
    /// All results, those of the program and the researcher's own; they are shown in this order within
    /// the section that their header names. Glucose is in mg/dL, shares are 0 to 1. A table that came with
    /// the program and names no section is not shown.
    pub tables: Vec<ResultTable>,
    /// Version of the program.
    pub version: &'a str,
}

/// A report, ready to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// GitHub-flavoured Markdown; figures are linked as `figures/NAME.svg`.
    pub markdown: String,
    /// One page that asks nothing of any other file.
    pub html: String,
    /// The figures that the Markdown links.
    pub figures: Vec<Figure>,
    /// The results that may be written beside the report: in the public edition, those that identify no one.
    pub tables: Vec<ResultTable>,
}

/// A figure beside the Markdown.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// File name, `NAME.svg`, of ASCII letters, digits, `-` and `_`.
    pub file_name: String,
    /// The drawing, with title and description.
    pub svg: String,
}

/// The report could not be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The file of words is wrong.
    #[error("the report's words cannot be read: {0}")]
    Catalogue(String),
    /// A chart could not be drawn.
    #[error("a chart cannot be drawn: {0}")]
    Drawing(String),
}

/// Makes the report of a month. Tables that are missing or empty become sentences that say so.
///
/// # Errors
/// [`ReportError`]; no content of a table causes one.
pub fn render(input: Input) -> Result<Report, ReportError> {
    let text = Catalogue::read(input.settings.study.language, input.edition)?;
    let plans = Plans::read()?;
    let (mut input, shared) = match input.edition {
        Edition::Public => {
            let (input, shared) = privacy::strip(input, &text, &plans);
            (input, Some(shared))
        }
        _ => (input, None),
    };
    text.localise(&mut input.tables, input.settings.study.unit);
    let context = Context::new(&input, text, &plans, shared);
    let blocks = sections::blocks(&context)?;
    let pictures: Vec<&document::Picture> = blocks
        .iter()
        .filter_map(|block| match block {
            document::Block::Picture(picture) => Some(picture),
            _ => None,
        })
        .collect();
    let markdown = markdown::write(&blocks);
    let html = html::page(&context, &markdown, &pictures);
    let figures = pictures
        .iter()
        .map(|picture| Figure {
            file_name: format!("{}.svg", picture.name),
            svg: picture.wide.file(picture),
        })
        .collect();
    Ok(Report {
        markdown,
        html,
        figures,
        tables: input.tables,
    })
}
