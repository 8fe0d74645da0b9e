//! `check`: what is wrong, doubtful or thin in the data, and what to do about it.

use std::process::ExitCode;

use whereworn_findings::Severity;
use whereworn_load::Table;
use whereworn_model::table::ResultTable;
use whereworn_model::text::plain;
use whereworn_plan::gather::label_not_said;
use whereworn_plan::settle::waiting;

use crate::args::{CheckArguments, CheckFormat};
use crate::failure::Failure;
use crate::findings;
use crate::month::{StudyMonth, Unasked};
use crate::report::strictly;
use crate::terminal::emit;

/// Exit status where something is doubtful, and where something is wrong.
const DOUBTFUL: u8 = 5;
const WRONG: u8 = 6;

/// Prints findings, what is wrong first.
pub fn run(arguments: &CheckArguments) -> Result<ExitCode, Failure> {
    let open = StudyMonth::open_all(&arguments.scope, &arguments.more, Unasked::Latest)?;
    match arguments.format {
        CheckFormat::Json => {
            open.progress.clear();
            let text = serde_json::to_string_pretty(&findings::as_json(&open.found));
            emit((text.unwrap_or_default() + "\n").as_bytes())?;
        }
        CheckFormat::Text => {
            let remarks = remarks(&open)?;
            open.progress.clear();
            let mut text = findings::as_text(&open.found);
            if !remarks.is_empty() {
                text.push_str("Besides:\n");
            }
            for remark in remarks {
                text.push_str(&format!("- {remark}\n"));
            }
            let lines: Vec<String> = text.lines().map(plain).collect();
            emit((lines.join("\n") + "\n").as_bytes())?;
        }
    }
    strictly(arguments.strict, open.settled.rejects.len())?;
    Ok(match findings::worst(&open.found) {
        Some(Severity::Wrong) => ExitCode::from(WRONG),
        Some(Severity::Doubtful) => ExitCode::from(DOUBTFUL),
        _ => ExitCode::SUCCESS,
    })
}

/// Most planned comparisons that settle soon; chosen by this project.
const MOST_PRIMARY: usize = 8;

/// What is no finding on the data: words about files and settings, and what only the figures show.
fn remarks(open: &StudyMonth) -> Result<Vec<String>, Failure> {
    let mut remarks: Vec<String> = open.warnings().cloned().collect();
    remarks.extend(label_not_said(&open.study.settings).map(str::to_owned));
    let has = |table: Table| {
        let counts = open.settled.counts.get(&table);
        counts.is_some_and(|counts| counts.accepted > 0)
    };
    if has(Table::Readings) && has(Table::WearEvents) {
        let engine = open.engine()?;
        let results = engine.run_all(&open.catalog, &|query| {
            open.progress.say(&format!("computed {query}"))
        })?;
        remarks.extend(of_artefacts(&results));
        let conclusions = results.iter().find(|table| table.name == "conclusions");
        if let Some(conclusions) = conclusions {
            let settings = &open.study.settings;
            let plan = settings.plan.as_ref();
            if plan.is_some_and(|plan| plan.primary.is_some()) {
                let primary = |row: &usize| conclusions.number(*row, "primary") == Some(1.0);
                remarks.extend(many_primary(
                    (0..conclusions.rows()).filter(primary).count(),
                ));
            }
            remarks.extend(waiting(settings, conclusions));
        }
    }
    Ok(remarks)
}

/// Judgements that are of nothing, and night artefacts that nobody checked.
fn of_artefacts(results: &[ResultTable]) -> Vec<String> {
    let table = |name: &str| results.iter().find(|table| table.name == name);
    let mut remarks = Vec::new();
    if let Some(steps) = table("exclusions") {
        let rows = |what: &str| {
            let mut rows = steps.rows_where("table_name", "judgements").into_iter();
            rows.find(|&row| steps.text(row, "what") == what)
                .and_then(|row| steps.number(row, "rows"))
                .unwrap_or(0.0)
        };
        let astray = rows("up to the cut-off") - rows("of a night artefact");
        if astray > 0.0 {
            remarks.push(format!(
                "{} of no night artefact: take wearer, sensor and start from night_artefacts.csv",
                count(astray as usize, "judgement")
            ));
        }
    }
    if let Some(artefacts) = table("night_artefacts") {
        // As in the report, of nights that count.
        let unchecked = artefacts.rows_where("evidence", "unchecked").into_iter();
        let counted = |row: &usize| artefacts.number(*row, "counted") == Some(1.0);
        let unchecked = unchecked.filter(counted).count();
        if unchecked > 0 {
            remarks.push(format!(
                "{} unchecked: only a fingerstick at the time can tell a false low from a true one",
                count(unchecked, "night artefact")
            ));
        }
    }
    remarks
}

/// That a plan names so many rows that each takes long to settle.
fn many_primary(rows: usize) -> Option<String> {
    (rows > MOST_PRIMARY).then(|| {
        format!(
            "[plan] primary stands for {rows} comparisons: they share what may be claimed by chance, so that more than \
             {MOST_PRIMARY} settle late; name single rows that matter most"
        )
    })
}

/// A count with its noun.
fn count(n: usize, noun: &str) -> String {
    if n == 1 {
        format!("1 {noun}")
    } else {
        format!("{n} {noun}s")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use whereworn_model::header::{CellKind, ColumnHeader};
    use whereworn_model::table::{Cell, Column};

    #[test]
    fn more_than_eight_planned_comparisons_are_many() {
        assert_eq!(many_primary(8), None);
        assert!(many_primary(9).is_some_and(|said| said.contains("9 comparisons")));
    }

    #[test]
    fn night_artefacts_of_nights_that_do_not_count_are_not_asked_about() {
        let column = |name: &str, cells: Vec<Cell>| Column {
            name: name.to_owned(),
            kind: CellKind::Text,
            header: ColumnHeader::default(),
            cells,
        };
        let evidence = ["unchecked", "unchecked", "confirmed"].map(Cell::text);
        let counted = [1, 0, 1].map(Cell::Integer);
        let artefacts = ResultTable {
            name: "night_artefacts".to_owned(),
            columns: vec![
                column("evidence", evidence.into()),
                column("counted", counted.into()),
            ],
            ..ResultTable::default()
        };
        let remarks = of_artefacts(&[artefacts]);
        assert!(
            remarks[0].starts_with("1 night artefact unchecked:"),
            "{remarks:?}"
        );
    }
}
