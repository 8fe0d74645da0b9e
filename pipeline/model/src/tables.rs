//! The tables of the program's own queries, one module a table, with a method for each declared column.
//!
//! The headers of the query files are the only declaration: `build.rs` makes everything below from them, so that a
//! column renamed there no longer compiles here. [`check`] says which declared column a set of tables lacks.

use crate::header::{CellKind, Class};
use crate::table::{Cell, Column, ResultTable};
use crate::time::Micros;

/// A table as its query file declares it.
#[derive(Clone, Copy, Debug)]
pub struct Declaration {
    /// Name of the query.
    pub name: &'static str,
    /// Its columns, by name.
    pub columns: &'static [DeclaredColumn],
}

/// A column as its query file declares it.
#[derive(Clone, Copy, Debug)]
pub struct DeclaredColumn {
    /// Name in the result.
    pub name: &'static str,
    /// What its cells are.
    pub kind: CellKind,
    /// What its values tell.
    pub class: Class,
}

/// A table lacks a column that its query file declares, or holds cells of another type there.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the table `{table}` {problem} `{column}`")]
pub struct BrokenTable {
    /// The table.
    pub table: String,
    /// The column.
    pub column: String,
    problem: &'static str,
}

/// Holds tables to their declarations; those that no query file of the program declares are passed over.
///
/// # Errors
/// The first column that is missing or of another type.
pub fn check(tables: &[ResultTable]) -> Result<(), BrokenTable> {
    for table in tables {
        let declared = ALL.iter().find(|declared| declared.name == table.name);
        for column in declared.map_or(&[][..], |declared| declared.columns) {
            let problem = match table.column(column.name) {
                None => "lacks the column",
                Some(found) if !fits(found.kind, column.kind) => {
                    "has cells of another type in the column"
                }
                Some(_) => continue,
            };
            return Err(BrokenTable {
                table: table.name.clone(),
                column: column.name.to_owned(),
                problem,
            });
        }
    }
    Ok(())
}

/// Whether cells of one kind can stand where another is declared: whole numbers are numbers, and a result table holds
/// booleans as words.
fn fits(found: CellKind, declared: CellKind) -> bool {
    use CellKind::{Boolean, Integer, Number, Text};
    found == declared || matches!((found, declared), (Integer, Number) | (Text, Boolean))
}

/// A figure with its interval: each empty where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: Option<f64>,
    /// Lower end of its interval.
    pub lower: Option<f64>,
    /// Upper end of its interval.
    pub upper: Option<f64>,
}

/// One row of a table with `N` declared columns.
#[derive(Clone, Copy, Debug)]
struct Record<'t, const N: usize> {
    columns: [&'t Column; N],
    row: usize,
}

impl<'t, const N: usize> Record<'t, N> {
    fn cell(&self, column: usize) -> &'t Cell {
        let cells = self.columns.get(column).map(|column| &column.cells);
        cells
            .and_then(|cells| cells.get(self.row))
            .unwrap_or(&Cell::Empty)
    }

    fn text(&self, column: usize) -> &'t str {
        self.cell(column).as_text().unwrap_or("")
    }

    fn integer(&self, column: usize) -> Option<i64> {
        match self.cell(column) {
            Cell::Integer(value) => Some(*value),
            _ => None,
        }
    }

    fn number(&self, column: usize) -> Option<f64> {
        self.cell(column).as_number()
    }

    fn time(&self, column: usize) -> Option<Micros> {
        self.cell(column).as_time()
    }

    fn date(&self, column: usize) -> Option<jiff::civil::Date> {
        match self.cell(column) {
            Cell::Date(date) => Some(*date),
            _ => None,
        }
    }

    fn estimate(&self, value: usize, lower: usize, upper: usize) -> Estimate {
        Estimate {
            value: self.number(value),
            lower: self.number(lower),
            upper: self.number(upper),
        }
    }
}

/// The columns of a declaration in a result, where all are there.
fn columns<'t, const N: usize>(
    table: &'t ResultTable,
    declared: &[DeclaredColumn; N],
) -> Option<[&'t Column; N]> {
    let found: Vec<&Column> = declared
        .iter()
        .map_while(|declared| table.column(declared.name))
        .collect();
    found.try_into().ok()
}

fn named<'t>(tables: &'t [ResultTable], name: &str) -> Option<&'t ResultTable> {
    tables.iter().find(|table| table.name == name)
}

include!(concat!(env!("OUT_DIR"), "/tables.rs"));

#[cfg(test)]
mod tests {
    use super::*;
    use crate::header::ColumnHeader;

    /// The table `site_comparison` with one row of numbers that tell the columns apart.
    fn comparison() -> ResultTable {
        let cell = |place: usize, kind| match kind {
            CellKind::Text => Cell::text("chest"),
            CellKind::Boolean => Cell::text("true"),
            CellKind::Integer => Cell::Integer(place as i64),
            _ => Cell::Number(place as f64 + 0.5),
        };
        let column = |(place, declared): (usize, &DeclaredColumn)| Column {
            name: declared.name.to_owned(),
            kind: declared.kind,
            header: ColumnHeader::default(),
            cells: vec![cell(place, declared.kind), Cell::Empty],
        };
        ResultTable {
            name: site_comparison::NAME.to_owned(),
            columns: site_comparison::COLUMNS
                .iter()
                .enumerate()
                .map(column)
                .collect(),
            ..ResultTable::default()
        }
    }

    #[test]
    fn a_row_is_read_by_method() {
        let tables = [comparison()];
        let table = site_comparison::Table::of(&tables).unwrap();
        let rows: Vec<_> = table.rows().collect();
        assert_eq!(rows.len(), 2);
        let expected = |name: &str| tables[0].number(0, name);
        let came_off = Estimate {
            value: expected("came_off"),
            lower: expected("came_off_lower"),
            upper: expected("came_off_upper"),
        };
        assert!(came_off.lower.is_some());
        assert_eq!(rows[0].came_off(), came_off);
        assert_eq!((rows[0].site(), rows[0].on_label()), ("chest", "chest"));
        assert_eq!(rows[0].sessions().map(|n| n as f64), expected("sessions"));
        assert_eq!(rows[0].sd_between(), expected("sd_between"));
        assert_eq!(rows[1].came_off(), Estimate::default());
        assert_eq!((rows[1].site(), rows[1].sessions()), ("", None));
        assert!(site_comparison::Table::of(&[]).is_none());
    }

    #[test]
    fn a_column_that_is_missing_is_named() {
        assert_eq!(check(&[comparison()]), Ok(()));
        let mut table = comparison();
        table.columns.retain(|column| column.name != "came_off");
        let message = check(std::slice::from_ref(&table)).unwrap_err().to_string();
        assert_eq!(
            message,
            "the table `site_comparison` lacks the column `came_off`"
        );
        assert!(site_comparison::Table::of(&[table]).is_none());

        let mut table = comparison();
        let found = table
            .columns
            .iter_mut()
            .find(|column| column.name == "came_off");
        found.unwrap().kind = CellKind::Text;
        let message = check(&[table]).unwrap_err().to_string();
        assert!(
            message.contains("another type in the column `came_off`"),
            "{message}"
        );
    }

    #[test]
    fn tables_that_nobody_declared_are_passed_over() {
        let mut table = comparison();
        table.name = "my_own".to_owned();
        table.columns.clear();
        assert_eq!(check(&[table]), Ok(()));
    }

    #[test]
    fn times_and_dates_are_read_as_such() {
        let column = |kind, cells| Column {
            name: "when".to_owned(),
            kind,
            header: ColumnHeader::default(),
            cells,
        };
        let day = jiff::civil::date(2026, 3, 4);
        let times = column(CellKind::Time, vec![Cell::Time(5), Cell::Empty]);
        let dates = column(CellKind::Date, vec![Cell::Date(day), Cell::Time(5)]);
        let record = |row| Record {
            columns: [&times, &dates],
            row,
        };
        assert_eq!((record(0).time(0), record(1).time(0)), (Some(5), None));
        assert_eq!((record(0).date(1), record(1).date(1)), (Some(day), None));
        assert_eq!(record(2).time(0), None, "beyond the rows");
    }

    /// Whole numbers are numbers, and words stand for booleans; not the other way round.
    #[test]
    fn what_may_stand_for_what() {
        use CellKind::{Boolean, Integer, Number, Text, Time};
        for kind in [Boolean, Integer, Number, Text, Time] {
            assert!(fits(kind, kind), "{kind:?}");
        }
        assert!(fits(Integer, Number) && fits(Text, Boolean));
        assert!(!fits(Number, Integer) && !fits(Boolean, Text) && !fits(Text, Number));
    }
}
