//! The first rows of a file, as they stand there and as a mapping reads them.

use std::collections::BTreeMap;
use std::path::Path;

use whereworn_model::settings::Settings;
use whereworn_model::time::{Micros, format_utc};

use crate::block::STATUSES;
use crate::error::LoadError;
use crate::fingersticks::parse_fingerstick;
use crate::input::{InputFile, Table};
use crate::readings::parse_readings;
use crate::wear_events::{parse_rows, parse_wear_event};

use super::text::read_text;
use super::{Mapping, alone};

/// A row as it stands in the file and as it is understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PreviewRow {
    /// Line of the file, from 1.
    pub line: u64,
    /// The line's text.
    pub raw: String,
    /// What is understood, or why it is not: names and values.
    pub understood: String,
}

/// The first rows of a file, read by a mapping.
///
/// # Errors
/// A file that the mapping does not fit.
pub fn preview(path: &Path, mapping: &Mapping, rows: usize) -> Result<Vec<PreviewRow>, LoadError> {
    let Some((input, settings)) = alone(path, mapping) else {
        return Ok(Vec::new());
    };
    let lines = match input.table {
        Table::Readings => readings(&input, &settings)?,
        Table::Fingersticks => {
            let parsed = parse_rows(&input, &settings, parse_fingerstick, |row| &mut row.time)?;
            let understood = parsed.rows.iter().map(|placed| {
                let row = &placed.row;
                let meter = if row.meter.is_empty() { "" } else { ", meter " };
                let text = format!(
                    "{}, {} mg/dL{meter}{}",
                    clock(row.time),
                    short(row.glucose),
                    row.meter
                );
                (placed.line, text)
            });
            with_rejects(understood.collect(), &parsed.seen)
        }
        Table::WearEvents | Table::Judgements => {
            let parsed = parse_rows(&input, &settings, parse_wear_event, |row| &mut row.time)?;
            let understood = parsed.rows.iter().map(|placed| {
                let row = &placed.row;
                let words = [&row.sensor, &row.event, &row.site, &row.side, &row.cause];
                let words: Vec<&str> = words
                    .into_iter()
                    .map(String::as_str)
                    .filter(|word| !word.is_empty())
                    .collect();
                (
                    placed.line,
                    format!("{}, {}", clock(row.time), words.join(", ")),
                )
            });
            with_rejects(understood.collect(), &parsed.seen)
        }
    };
    let (text, _) = read_text(path)?;
    let raw: Vec<&str> = text.lines().collect();
    let row = |(line, understood): (u64, String)| PreviewRow {
        line,
        raw: raw
            .get((line as usize).saturating_sub(1))
            .copied()
            .unwrap_or_default()
            .to_owned(),
        understood,
    };
    Ok(lines.into_iter().take(rows).map(row).collect())
}

fn readings(input: &InputFile, settings: &Settings) -> Result<BTreeMap<u64, String>, LoadError> {
    let (block, _, _) = parse_readings(input, settings)?;
    let columns = block.line.iter().zip(&block.time).zip(&block.glucose);
    let columns = columns.zip(&block.status).zip(&block.sensor);
    let understood = columns.map(|((((line, time), glucose), status), sensor)| {
        let sensor = block
            .sensors
            .get(*sensor as usize)
            .map_or("", |name| name.sensor.as_str());
        let status = STATUSES
            .get(usize::from(*status))
            .copied()
            .unwrap_or_default();
        let glucose = if glucose.is_nan() {
            String::new()
        } else {
            format!(" {} mg/dL,", short(*glucose))
        };
        (
            u64::from(*line),
            format!("sensor {sensor}, {},{glucose} {status}", clock(*time)),
        )
    });
    Ok(with_rejects(understood.collect(), &block.seen))
}

fn with_rejects(
    mut rows: BTreeMap<u64, String>,
    seen: &crate::records::Seen,
) -> BTreeMap<u64, String> {
    let rejected = seen
        .rejects
        .listed
        .iter()
        .map(|reject| (reject.line, format!("not read: {}", reject.reason)));
    rows.extend(rejected);
    rows
}

/// The local time as it was written: the mapping is read as if all clocks showed UTC.
fn clock(at: Micros) -> String {
    format_utc(at).trim_end_matches('Z').replace('T', " ")
}

fn short(mgdl: f64) -> f64 {
    (mgdl * 10.0).round() / 10.0
}
