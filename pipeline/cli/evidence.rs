//! The evidence between sites that a report gave, to be kept.

use whereworn_load::Said;
use whereworn_model::table::ResultTable;
use whereworn_model::time::Micros;

/// The most that a bet may have won: beyond it the logarithm says no more than "very much".
const MOST_LOG: f64 = 700.0;

/// What a report says at its cut-off: the rows of the table `conclusions`, else of the table `evidence`.
pub fn of_report(tables: &[ResultTable], cutoff: Micros, plan_hash: &str) -> Vec<Said> {
    let named = |name: &str| tables.iter().find(|table| table.name == name);
    let mut said = match (named("conclusions"), named("evidence")) {
        (Some(table), _) => rows(table, |cells| concluded(cells, cutoff)),
        (None, Some(table)) => rows(table, |cells| computed(cells, cutoff)),
        (None, None) => Vec::new(),
    };
    for row in &mut said {
        row.version = env!("CARGO_PKG_VERSION").to_owned();
        row.plan_hash = plan_hash.to_owned();
    }
    said
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

fn rows(table: &ResultTable, of: impl Fn(&Cells<'_>) -> Option<Said>) -> Vec<Said> {
    (0..table.rows())
        .filter_map(|row| of(&Cells { table, row }))
        .collect()
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

fn computed(cells: &Cells<'_>, cutoff: Micros) -> Option<Said> {
    let look = cells.table.column("look")?.cells.get(cells.row)?.as_time();
    Some(Said {
        look: look.filter(|look| *look == cutoff)?,
        measure: cells.text("measure")?,
        site: cells.text("site_a")?,
        against: cells.text("site_b")?,
        evidence: cells.number("log_e")?.min(MOST_LOG).exp(),
        ..Said::default()
    })
}
