//! The evidence between sites that a report gave, to be kept.

use whereworn_load::Said;
use whereworn_model::table::ResultTable;
use whereworn_model::time::Micros;

/// What a report says at its cut-off: the rows of the table `conclusions`.
pub fn of_report(tables: &[ResultTable], cutoff: Micros, plan_hash: &str) -> Vec<Said> {
    let Some(table) = tables.iter().find(|table| table.name == "conclusions") else {
        return Vec::new();
    };
    let rows = (0..table.rows()).filter_map(|row| concluded(&Cells { table, row }, cutoff));
    rows.map(|said| Said {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        plan_hash: plan_hash.to_owned(),
        ..said
    })
    .collect()
}

/// The cells of one row.
struct Cells<'t> {
    table: &'t ResultTable,
    row: usize,
}

impl Cells<'_> {
    fn text(&self, name: &str) -> Option<String> {
        let column = self.table.column(name)?;
        Some(column.cells.get(self.row)?.as_text()?.to_owned())
    }

    fn number(&self, name: &str) -> Option<f64> {
        let column = self.table.column(name)?;
        column.cells.get(self.row)?.as_number()
    }
}

fn concluded(cells: &Cells<'_>, cutoff: Micros) -> Option<Said> {
    Some(Said {
        look: cutoff,
        measure: cells.text("measure")?,
        site: cells.text("site")?,
        against: cells.text("against")?,
        evidence: cells.number("evidence")?,
        verdict: cells.text("verdict")?,
        ..Said::default()
    })
}
