//! Result tables: what a query gives and what the report shows.

use std::borrow::Cow;
use std::io::{self, Write};
use std::sync::Arc;

pub use crate::header::CellKind;
use crate::header::{ColumnHeader, Header};
use crate::time::{self, Micros};

/// One value of a result table.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// No value.
    Empty,
    /// A whole number.
    Integer(i64),
    /// A finite number.
    Number(f64),
    /// Text, untrusted. Cells share it: there are many more of them than sites or sensors.
    Text(Arc<String>),
    /// An instant in UTC.
    Time(Micros),
    /// A calendar date, local to the study.
    Date(jiff::civil::Date),
}

impl Cell {
    /// A text.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(Arc::new(text.into()))
    }

    /// A number; what is not finite is no value.
    pub fn number(value: f64) -> Self {
        if value.is_finite() {
            Self::Number(value)
        } else {
            Self::Empty
        }
    }

    /// The value as a number, where it is one.
    pub fn as_number(&self) -> Option<f64> {
        match self {
            Self::Integer(value) => Some(*value as f64),
            Self::Number(value) => Some(*value),
            _ => None,
        }
    }

    /// The value as text, where it is one.
    pub fn as_text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }

    /// The value as an instant, where it is one.
    pub fn as_time(&self) -> Option<Micros> {
        match self {
            Self::Time(at) => Some(*at),
            _ => None,
        }
    }

    /// The value as it stands in a CSV file: empty for no value, numbers with every digit that
    /// distinguishes them, times in UTC with `Z`.
    pub fn to_text(&self) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Integer(value) => value.to_string(),
            Self::Number(value) => plain_number(*value),
            Self::Text(text) => inert(text).into_owned(),
            Self::Time(at) => time::format_utc(*at),
            Self::Date(date) => date.to_string(),
        }
    }
}

fn plain_number(value: f64) -> String {
    if value == 0.0 {
        "0".to_owned()
    } else {
        value.to_string()
    }
}

/// Text that a spreadsheet shows and does not compute: with an apostrophe before a sign with which formulas begin.
/// Numbers stay numbers.
pub fn inert(text: &str) -> Cow<'_, str> {
    let formula =
        text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err();
    if formula {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// A column of a result table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Name in the result.
    pub name: String,
    /// What its cells are, also where all are empty.
    pub kind: CellKind,
    /// How to show it.
    pub header: ColumnHeader,
    /// One cell a row.
    pub cells: Vec<Cell>,
}

impl Column {
    /// Heading of the column: its label, else its name with blanks for underscores.
    pub fn label(&self) -> String {
        match &self.header.label {
            Some(label) => label.clone(),
            None => self.name.replace('_', " "),
        }
    }
}

/// The result of one query: cells by column, and what its header says of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ResultTable {
    /// Name of the query.
    pub name: String,
    /// The query file's header.
    pub header: Header,
    /// Columns of equal length.
    pub columns: Vec<Column>,
    /// Whether the query came with the study and not with the program.
    pub own_query: bool,
    /// What is wrong with the query file of the study that should have made the table, and where; without columns where
    /// nothing else could be shown in its place.
    pub fault: Option<String>,
}

impl ResultTable {
    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.cells.len())
    }

    /// Heading of the table: its title, else its name.
    pub fn title(&self) -> String {
        match &self.header.title {
            Some(title) => title.clone(),
            None => self.name.replace('_', " "),
        }
    }

    /// A column by its name.
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|column| column.name == name)
    }

    /// A cell by row and column name; [`Cell::Empty`] where there is no such cell.
    pub fn cell(&self, row: usize, column: &str) -> &Cell {
        self.column(column)
            .and_then(|column| column.cells.get(row))
            .unwrap_or(&Cell::Empty)
    }

    /// A number by row and column name.
    pub fn number(&self, row: usize, column: &str) -> Option<f64> {
        self.cell(row, column).as_number()
    }

    /// A text by row and column name; empty where there is none.
    pub fn text(&self, row: usize, column: &str) -> &str {
        self.cell(row, column).as_text().unwrap_or("")
    }

    /// Rows in which a column holds a text.
    pub fn rows_where(&self, column: &str, value: &str) -> Vec<usize> {
        (0..self.rows())
            .filter(|&row| self.text(row, column) == value)
            .collect()
    }

    /// Writes the table as CSV: a header line, then a line a row, `\n` line ends.
    ///
    /// # Errors
    /// Those of the writer.
    pub fn write_csv(&self, out: &mut impl Write) -> io::Result<()> {
        let mut csv = csv::Writer::from_writer(out);
        csv.write_record(self.columns.iter().map(|column| &column.name))?;
        for row in 0..self.rows() {
            let cells = self
                .columns
                .iter()
                .filter_map(|column| column.cells.get(row));
            csv.write_record(cells.map(Cell::to_text))?;
        }
        csv.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> ResultTable {
        let column = |name: &str, cells| Column {
            name: name.to_owned(),
            kind: CellKind::Text,
            header: ColumnHeader::default(),
            cells,
        };
        ResultTable {
            name: "t".to_owned(),
            columns: vec![
                column("site", vec![Cell::text("a,\"b\""), Cell::text("c")]),
                column(
                    "bias",
                    vec![Cell::number(0.1 + 0.2), Cell::number(f64::NAN)],
                ),
                column("at", vec![Cell::Time(0), Cell::Empty]),
            ],
            ..ResultTable::default()
        }
    }

    /// Quoting by RFC 4180, section 2.
    #[test]
    fn csv_keeps_every_digit_and_quotes() {
        let mut out = Vec::new();
        table().write_csv(&mut out).unwrap();
        assert_eq!(
            String::from_utf8(out).unwrap(),
            "site,bias,at\n\"a,\"\"b\"\"\",0.30000000000000004,1970-01-01T00:00:00Z\nc,,\n"
        );
    }

    /// A line without anything on it is no row to a reader (RFC 4180 leaves it open; common practice).
    #[test]
    fn a_row_of_one_empty_cell_is_no_blank_line() {
        let mut table = table();
        table.columns.drain(..2);
        let mut out = Vec::new();
        table.write_csv(&mut out).unwrap();
        assert_eq!(out, b"at\n1970-01-01T00:00:00Z\n\"\"\n");
        let rows = csv::Reader::from_reader(out.as_slice())
            .into_records()
            .count();
        assert_eq!(rows, 2);
    }

    #[test]
    fn formulas_are_text() {
        assert_eq!(Cell::text("=1+2").to_text(), "'=1+2");
        assert_eq!(Cell::text("@a,b").to_text(), "'@a,b");
        for text in ["-5.5", "a=b", "", "+1e3"] {
            assert_eq!(inert(text), text);
        }
    }

    #[test]
    fn missing_cells_are_empty() {
        let table = table();
        assert_eq!(table.number(1, "bias"), None);
        assert_eq!(table.number(0, "nothing"), None);
        assert_eq!(table.rows_where("site", "c"), [1]);
    }

    #[test]
    fn a_value_is_what_it_is_and_nothing_else() {
        let all = [
            Cell::Empty,
            Cell::Integer(-3),
            Cell::Number(0.5),
            Cell::text("7"),
            Cell::Time(8),
        ];
        assert_eq!(
            all.each_ref().map(Cell::as_number),
            [None, Some(-3.0), Some(0.5), None, None]
        );
        assert_eq!(
            all.each_ref().map(Cell::as_text),
            [None, None, None, Some("7"), None]
        );
        assert_eq!(
            all.each_ref().map(Cell::as_time),
            [None, None, None, None, Some(8)]
        );
        let zeros = [Cell::Number(-0.0), Cell::Number(0.0), Cell::Integer(0)];
        assert_eq!(zeros.each_ref().map(Cell::to_text), ["0", "0", "0"]);
        assert_eq!(Cell::Number(-1.5).to_text(), "-1.5");
        let day = jiff::civil::date(2026, 3, 4);
        assert_eq!(Cell::Date(day).to_text(), "2026-03-04");
    }

    #[test]
    fn headings_are_what_the_query_says_else_the_names() {
        let mut table = table();
        table.name = "night_rates".to_owned();
        assert_eq!((table.title(), table.rows()), ("night rates".to_owned(), 2));
        table.header.title = Some("Nights".to_owned());
        assert_eq!(table.title(), "Nights");
        let column = &mut table.columns[1];
        column.name = "mean_bias".to_owned();
        assert_eq!(column.label(), "mean bias");
        column.header.label = Some("Bias".to_owned());
        assert_eq!(column.label(), "Bias");
        assert_eq!(table.rows_where("site", "a,\"b\""), [0]);
        assert_eq!(ResultTable::default().rows(), 0);
    }
}
