//! Tables made from the settings and the calendar, which SQL joins like any other.

use std::collections::BTreeSet;
use std::sync::Arc;

use datafusion::arrow::array::{
    ArrayRef, AsArray, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch,
    StringArray, TimestampMicrosecondArray,
};
use datafusion::arrow::compute::min;
use datafusion::arrow::datatypes::{DataType, Field, Schema, TimeUnit, TimestampMicrosecondType};
use datafusion::arrow::error::ArrowError;
use jiff::ToSpan;
use jiff::tz::TimeZone;
use whereworn_model::settings::ZoneFrom;
use whereworn_model::time::{self, Micros, Month};

use whereworn_stats::conclusions::Primary;

use crate::error::EngineError;
use crate::plan::plan_of;
use crate::session::StudyTables;

/// The type of instants.
pub(crate) fn instant() -> DataType {
    DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into()))
}

/// Names of the tables that are made from the study itself; no query file may take one.
pub(crate) const NAMES: [&str; 23] = [
    "readings",
    "fingersticks",
    "wear_events",
    "judgements",
    "sensors",
    "settings",
    "sites",
    "wearer_models",
    "wearer_limits",
    "clock_nights",
    "clock_months",
    "row_counts",
    "looks",
    "kept_evidence",
    "findings",
    "left_out",
    "doubted_checks",
    "plan_rows",
    "wearer_zones",
    "plan_log",
    "pooled_studies",
    // Made after all queries, for the wearer's edition.
    "best_sites",
    "best_priorities",
];

/// A table of readings without rows.
pub(crate) fn no_readings() -> RecordBatch {
    RecordBatch::new_empty(Arc::new(Schema::new(vec![
        Field::new("sensor_no", DataType::Int32, false),
        Field::new("wearer", DataType::Utf8, false),
        Field::new("sensor", DataType::Utf8, false),
        Field::new("time", instant(), false),
        Field::new("glucose", DataType::Float64, true),
        Field::new("status", DataType::Utf8, false),
    ])))
}

/// All tables of this kind with their names.
pub(crate) fn all(
    study: &StudyTables<'_>,
) -> Result<Vec<(&'static str, RecordBatch)>, EngineError> {
    let made: Result<_, ArrowError> = (|| {
        Ok(vec![
            ("settings", settings(study)?),
            ("sites", sites(study)?),
            ("wearer_models", wearer_models(study)?),
            ("wearer_limits", wearer_limits(study)?),
            ("clock_nights", clock_nights(study)?),
            ("wearer_zones", wearer_zones(study)?),
            ("clock_months", clock_months(study)?),
            ("row_counts", row_counts(study)?),
            ("looks", looks(study)?),
            ("plan_rows", plan_rows(study)?),
            ("kept_evidence", kept_evidence(study)?),
        ])
    })();
    made.map_err(|error| EngineError::Start(error.to_string()))
}

fn batch(columns: Vec<(&str, ArrayRef)>) -> Result<RecordBatch, ArrowError> {
    RecordBatch::try_from_iter_with_nullable(
        columns.into_iter().map(|(name, array)| (name, array, true)),
    )
}

fn texts<'t>(values: impl IntoIterator<Item = &'t str>) -> ArrayRef {
    Arc::new(StringArray::from_iter_values(values))
}

fn numbers(values: impl IntoIterator<Item = f64>) -> ArrayRef {
    Arc::new(Float64Array::from_iter_values(values))
}

fn instants(values: impl IntoIterator<Item = Option<Micros>>) -> ArrayRef {
    let array: TimestampMicrosecondArray = values.into_iter().collect();
    Arc::new(array.with_timezone("UTC"))
}

/// One row: the settings that queries need.
fn settings(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let settings = study.settings;
    let zone = settings.zone();
    batch(vec![
        ("title", texts([settings.study.title.as_str()])),
        (
            "timezone",
            texts([settings.study.timezone.as_deref().unwrap_or("UTC")]),
        ),
        ("unit", texts([settings.unit().code()])),
        ("rated_days", numbers([settings.wear.rated_days])),
        ("warmup_hours", numbers([settings.wear.warmup_hours])),
        ("pairing_minutes", numbers([settings.pairing.minutes])),
        ("night_coverage", numbers([settings.night.coverage])),
        ("month_start", instants([study.month.start(&zone)])),
        ("month_end", instants([study.month.end(&zone)])),
        ("cutoff", instants([Some(study.cutoff)])),
    ])
}

/// One row a site, in the order of reports.
fn sites(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let sites = study.settings.all_sites();
    let on_label: BooleanArray = sites.iter().map(|site| Some(site.is_on_label())).collect();
    batch(vec![
        ("site", texts(sites.iter().map(|site| site.key.as_str()))),
        ("label", texts(sites.iter().map(|site| site.label.as_str()))),
        ("on_label", Arc::new(on_label)),
        (
            "position",
            Arc::new(Int64Array::from_iter_values(0..sites.len() as i64)),
        ),
    ])
}

/// One row a wearer and model: rated wear and warm-up.
fn wearer_models(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let text = |name: &str| {
        study
            .wear_events
            .column_by_name(name)
            .and_then(|column| column.as_string_opt::<i32>())
    };
    let mut pairs = BTreeSet::new();
    if let (Some(wearers), Some(models)) = (text("wearer"), text("model")) {
        pairs.extend(
            wearers
                .iter()
                .zip(models)
                .filter_map(|(wearer, model)| Some((wearer?, model))),
        );
    }
    let rated_days = pairs.iter().map(|(wearer, model)| {
        let (settings, wearer) = study.settings_of(wearer);
        settings.rated_days(wearer, model.unwrap_or_default())
    });
    let warmup_hours = pairs.iter().map(|(wearer, _)| {
        let (settings, wearer) = study.settings_of(wearer);
        settings.warmup_hours(wearer)
    });
    let models: StringArray = pairs.iter().map(|(_, model)| *model).collect();
    batch(vec![
        ("wearer", texts(pairs.iter().map(|(wearer, _)| *wearer))),
        ("model", Arc::new(models)),
        ("rated_days", numbers(rated_days)),
        ("warmup_hours", numbers(warmup_hours)),
    ])
}

/// One row a wearer: what their fingersticks and nights are held to.
fn wearer_limits(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let wearers = wearers(study);
    let settings = || wearers.iter().map(|wearer| study.settings_of(wearer).0);
    batch(vec![
        ("wearer", texts(wearers.iter().map(String::as_str))),
        (
            "pairing_minutes",
            numbers(settings().map(|of| of.pairing.minutes)),
        ),
        (
            "night_coverage",
            numbers(settings().map(|of| of.night.coverage)),
        ),
    ])
}

fn first_event(study: &StudyTables<'_>) -> Option<Micros> {
    let times = study.wear_events.column_by_name("time")?;
    min(times.as_primitive_opt::<TimestampMicrosecondType>()?)
}

/// The calendar months of the study's time zone, from the first wear event to the month of the report.
fn months(study: &StudyTables<'_>, zone: &TimeZone) -> Vec<Month> {
    let mut months = Vec::new();
    let mut next = first_event(study).and_then(|first| Month::of(first, zone));
    while let Some(month) = next.filter(|month| *month <= study.month) {
        months.push(month);
        next = month.end(zone).and_then(|end| Month::of(end + 1, zone));
    }
    months
}

/// One row a calendar month: the time after `month_start` up to and including `month_end`.
fn clock_months(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let zone = study.settings.zone();
    let months = months(study, &zone);
    let names: Vec<String> = months.iter().map(Month::to_string).collect();
    let starts = months.iter().map(|month| month.start(&zone));
    let ends = months.iter().map(|month| month.end(&zone));
    batch(vec![
        ("month", texts(names.iter().map(String::as_str))),
        ("month_start", instants(starts)),
        ("month_end", instants(ends)),
    ])
}

/// Everyone in the log of wear.
fn wearers(study: &StudyTables<'_>) -> BTreeSet<String> {
    let column = study.wear_events.column_by_name("wearer");
    let names = column.and_then(|column| column.as_string_opt::<i32>());
    names
        .into_iter()
        .flatten()
        .flatten()
        .map(str::to_owned)
        .collect()
}

/// One row a time zone that a wearer lived by, from one instant up to another; empty where it has no bound.
fn wearer_zones(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let mut rows = Vec::new();
    for wearer in wearers(study) {
        let (settings, own_name) = study.settings_of(&wearer);
        let zones = settings.wearer_zones(own_name);
        let ends: Vec<Option<Micros>> = zones.iter().skip(1).map(|next| next.from).collect();
        for (zone, until) in zones.into_iter().zip(ends.into_iter().chain([None])) {
            rows.push((wearer.clone(), zone.name, zone.from, until));
        }
    }
    batch(vec![
        ("wearer", texts(rows.iter().map(|row| row.0.as_str()))),
        ("timezone", texts(rows.iter().map(|row| row.1.as_str()))),
        ("zone_from", instants(rows.iter().map(|row| row.2))),
        ("zone_until", instants(rows.iter().map(|row| row.3))),
    ])
}

/// One row a wearer and night by the clock of where the wearer was, from the day before the first wear event to the
/// cut-off.
fn clock_nights(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let first = first_event(study).unwrap_or(study.cutoff);
    let mut nights = Vec::new();
    for wearer in wearers(study) {
        let (settings, own_name) = study.settings_of(&wearer);
        let (from, to) = settings.clock_night();
        let zone = settings.zone();
        let (first, last) = (
            time::local_date(first, &zone),
            time::local_date(study.cutoff, &zone),
        );
        let zones = settings.wearer_zones(own_name);
        let mut next = first.map(|first| first.saturating_sub(1_i64.days()));
        while let Some(date) = next.filter(|date| last.is_some_and(|last| *date <= last)) {
            let tomorrow = date.saturating_add(1_i64.days());
            let start = ZoneFrom::at_clock(&zones, date, from);
            let end = ZoneFrom::at_clock(&zones, if to > from { date } else { tomorrow }, to);
            if start < end {
                nights.push((wearer.clone(), date, start, end));
            }
            next = Some(tomorrow);
        }
    }
    let epoch = jiff::civil::date(1970, 1, 1);
    let days = nights
        .iter()
        .map(|night| (night.1.duration_since(epoch).as_hours() / 24) as i32);
    batch(vec![
        ("wearer", texts(nights.iter().map(|night| night.0.as_str()))),
        ("night", Arc::new(Date32Array::from_iter_values(days))),
        ("night_start", instants(nights.iter().map(|night| night.2))),
        ("night_end", instants(nights.iter().map(|night| night.3))),
    ])
}

/// What became of the rows that were read.
fn row_counts(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let counts = &study.row_counts;
    batch(vec![
        (
            "step",
            Arc::new(Int64Array::from_iter_values(0..counts.len() as i64)),
        ),
        (
            "table_name",
            texts(counts.iter().map(|(_, table, _)| table.as_str())),
        ),
        (
            "what",
            texts(counts.iter().map(|(what, _, _)| what.as_str())),
        ),
        (
            "rows",
            Arc::new(Int64Array::from_iter_values(
                counts.iter().map(|(_, _, rows)| *rows as i64),
            )),
        ),
    ])
}

/// One row an instant at which evidence is reckoned: the ends of months before the cut-off, and the cut-off.
fn looks(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let zone = study.settings.zone();
    let ends = months(study, &zone)
        .into_iter()
        .filter_map(|month| month.end(&zone))
        .filter(|end| *end < study.cutoff);
    let looks = ends.chain([study.cutoff]).map(Some);
    batch(vec![("look", instants(looks))])
}

/// The plan, a line each: `measure` (a primary measure), `row` (a primary row), `reference`, `margin`, and `since`, when the
/// plan was first used (days since the epoch).
fn plan_rows(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    const DAY: f64 = 86_400.0 * time::MICROS_PER_SECOND as f64;
    let plan = plan_of(study.settings);
    let mut rows: Vec<(&str, &str, &str, &str, f64)> = Vec::new();
    for primary in &plan.primary {
        rows.push(match primary {
            Primary::Measure(measure) => ("measure", measure.name(), "", "", 0.0),
            Primary::Row {
                measure,
                site,
                against,
            } => ("row", measure.name(), site, against, 0.0),
        });
    }
    rows.extend(
        plan.reference
            .iter()
            .map(|site| ("reference", "", site.as_str(), "", 0.0)),
    );
    rows.extend(
        plan.margins
            .iter()
            .map(|(of, margin)| ("margin", of.name(), "", "", *margin)),
    );
    rows.extend(
        study
            .planned_since
            .map(|since| ("since", "", "", "", since as f64 / DAY)),
    );
    batch(vec![
        ("what", texts(rows.iter().map(|row| row.0))),
        ("measure", texts(rows.iter().map(|row| row.1))),
        ("site", texts(rows.iter().map(|row| row.2))),
        ("against", texts(rows.iter().map(|row| row.3))),
        ("value", numbers(rows.iter().map(|row| row.4))),
    ])
}

/// What earlier reports said of the evidence between sites.
fn kept_evidence(study: &StudyTables<'_>) -> Result<RecordBatch, ArrowError> {
    let kept = &study.kept_evidence;
    batch(vec![
        ("look", instants(kept.iter().map(|row| Some(row.look)))),
        ("measure", texts(kept.iter().map(|row| row.measure))),
        ("site", texts(kept.iter().map(|row| row.site))),
        ("against", texts(kept.iter().map(|row| row.against))),
        ("evidence", numbers(kept.iter().map(|row| row.evidence))),
        ("verdict", texts(kept.iter().map(|row| row.verdict))),
    ])
}
