//! What can go wrong.

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
