//! The evidence between sites that a report gave, to be kept.

use whereworn_load::KeptEvidence;
use whereworn_model::table::ResultTable;
use whereworn_model::time::Micros;

/// The rows of the table `evidence` at the report's cut-off.
pub fn of_report(tables: &[ResultTable], cutoff: Micros) -> Vec<KeptEvidence> {
    let Some(table) = tables.iter().find(|table| table.name == "evidence") else {
        return Vec::new();
    };
    (0..table.rows())
        .filter_map(|row| {
            let cell = |name: &str| table.column(name).and_then(|column| column.cells.get(row));
            let text = |name: &str| Some(cell(name)?.as_text()?.to_owned());
            Some(KeptEvidence {
                look: cell("look")?.as_time().filter(|look| *look == cutoff)?,
                measure: text("measure")?,
                site_a: text("site_a")?,
                site_b: text("site_b")?,
                log_e: cell("log_e")?.as_number()?,
            })
        })
        .collect()
}
