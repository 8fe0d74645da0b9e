//! The report: Markdown, the HTML made from it, and its charts.
