//! A log of wear as the result tables that a plan is made from.

use jiff::Timestamp;
use whereworn_model::header::ColumnHeader;
use whereworn_model::settings::Settings;
use whereworn_model::table::{Cell, CellKind, Column, ResultTable};
use whereworn_model::time::{Micros, parse_instant};
use whereworn_plan::document::{Made, Order, make};
use whereworn_plan::gather::{PlanError, Study, choose_wearer};
use whereworn_plan::log::LoggedDraw;

pub const CUTOFF: &str = "2026-09-30T20:00:00Z";

fn at(text: &str) -> Cell {
    Cell::Time(parse_instant(text).unwrap())
}

fn text(text: &str) -> Cell {
    if text.is_empty() {
        Cell::Empty
    } else {
        Cell::text(text)
    }
}

fn table(name: &str, columns: &[&str], rows: Vec<Vec<Cell>>) -> ResultTable {
    let column = |(place, name): (usize, &&str)| Column {
        name: (*name).to_owned(),
        cells: rows.iter().map(|row| row[place].clone()).collect(),
        kind: CellKind::Text,
        header: ColumnHeader::default(),
    };
    ResultTable {
        name: name.to_owned(),
        columns: columns.iter().enumerate().map(column).collect(),
        ..ResultTable::default()
    }
}

/// A log: sensors as (site, side, inserted, seen until, state), looks and injections, conclusions, draws that were worn.
#[derive(Default)]
pub struct Log {
    pub sensors: Vec<[&'static str; 5]>,
    pub skin: Vec<(&'static str, &'static str, &'static str, f64)>,
    pub injections: Vec<(&'static str, &'static str, &'static str)>,
    pub conclusions: Vec<(
        &'static str,
        &'static str,
        &'static str,
        &'static str,
        Option<f64>,
    )>,
    pub worn: Vec<(usize, &'static str)>,
    /// A site without figures.
    pub without: &'static str,
}

impl Log {
    pub fn tables(&self) -> Vec<ResultTable> {
        let sensors = self.sensors.iter().map(|[site, side, from, until, state]| {
            vec![
                text("kelp"),
                text(site),
                text(side),
                at(from),
                at(until),
                text(state),
                text("model K"),
                Cell::Number(14.0),
                Cell::Number(10.0),
            ]
        });
        let skin = self.skin.iter().map(|(site, side, day, grade)| {
            vec![
                text("kelp"),
                text(site),
                text(side),
                at(day),
                Cell::Number(*grade),
            ]
        });
        let injections = self.injections.iter().map(|(site, side, day)| {
            let spot = [text("kelp"), text(site), text(side), at(day)];
            [spot.to_vec(), vec![Cell::Empty]].concat()
        });
        let conclusions = self
            .conclusions
            .iter()
            .map(|(measure, site, against, verdict, more)| {
                vec![
                    text(measure),
                    text(site),
                    text(against),
                    text(verdict),
                    Cell::Number(-0.2),
                    Cell::Number(0.3),
                    more.map_or(Cell::Empty, Cell::Number),
                    Cell::Integer(1),
                ]
            });
        let worn = self.worn.iter().map(|(number, sensor)| {
            vec![text("kelp"), Cell::Integer(*number as i64), text(sensor)]
        });
        vec![
            table(
                "plan_sensors",
                &[
                    "wearer",
                    "site",
                    "side",
                    "inserted",
                    "seen_until",
                    "state",
                    "model",
                    "rated_days",
                    "days",
                ],
                sensors.collect(),
            ),
            table(
                "plan_spots",
                &["wearer", "site", "side", "time", "grade"],
                skin.chain(injections).collect(),
            ),
            table(
                "plan_figures",
                &["wearer", "site", "aspect", "value", "weight"],
                figures(self.without),
            ),
            table(
                "plan_cells",
                &[
                    "wearer",
                    "site",
                    "level",
                    "pace",
                    "first_day",
                    "night",
                    "pairs",
                    "total",
                    "squares",
                ],
                cells(),
            ),
            table(
                "plan_day",
                &["wearer", "hour", "level", "pace", "readings"],
                day(),
            ),
            table(
                "plan_draws",
                &["wearer", "number", "sensor"],
                worn.collect(),
            ),
            table(
                "conclusions",
                &[
                    "measure",
                    "site",
                    "against",
                    "verdict",
                    "lower",
                    "upper",
                    "more_sensors",
                    "primary",
                ],
                conclusions.collect(),
            ),
        ]
    }
}

fn figures(without: &str) -> Vec<Vec<Cell>> {
    let mut rows = Vec::new();
    for (site, value) in [
        ("abdomen", 0.0),
        ("abdomen", 1.0),
        ("upper-arm-back", 0.0),
        ("chest", 0.0),
    ]
    .into_iter()
    .filter(|(site, _)| *site != without)
    {
        let figure = [Cell::Number(value), Cell::Number(1.0)];
        rows.push(
            [
                vec![text("kelp"), text(site), text("stays-on")],
                figure.to_vec(),
            ]
            .concat(),
        );
    }
    rows
}

fn cells() -> Vec<Vec<Cell>> {
    let numbers = [1.0, 0.0, 0.0, 0.0, 6.0, 6.0, 500.0].map(Cell::Number);
    vec![[vec![text("kelp"), text("abdomen")], numbers.to_vec()].concat()]
}

fn day() -> Vec<Vec<Cell>> {
    (0..24)
        .map(|hour| {
            [
                vec![text("kelp")],
                [f64::from(hour), 1.0, 0.0, 12.0].map(Cell::Number).to_vec(),
            ]
            .concat()
        })
        .collect()
}

pub fn usual() -> Log {
    Log {
        sensors: vec![
            [
                "abdomen",
                "left",
                "2026-08-20T08:00:00Z",
                "2026-09-03T08:00:00Z",
                "ended",
            ],
            [
                "upper-arm-back",
                "left",
                "2026-09-03T08:00:00Z",
                "2026-09-17T08:00:00Z",
                "ended",
            ],
            [
                "chest",
                "right",
                "2026-09-20T08:00:00Z",
                "2026-09-30T20:00:00Z",
                "still on",
            ],
        ],
        ..Log::default()
    }
}

/// Each of the usual sensors, and two more at its site a year and two before.
pub fn three_a_site() -> Log {
    let mut log = usual();
    let usual = log.sensors.clone();
    for [site, side, ..] in usual {
        for (from, until) in [
            ("2024-05-01T08:00:00Z", "2024-05-15T08:00:00Z"),
            ("2025-05-01T08:00:00Z", "2025-05-15T08:00:00Z"),
        ] {
            log.sensors.insert(0, [site, side, from, until, "ended"]);
        }
    }
    log
}

pub const AGREED: &str = r#"
[study]
unit = "mg/dL"
[sites.upper-arm-back]
on_label = true
[sites.abdomen]
on_label = true
[sites.chest]
label = "Chest <b>*"
[plan]
sites = ["upper-arm-back", "abdomen", "chest"]
reference = "upper-arm-back"
primary = ["stays-on"]
"#;

pub fn plan_of(
    settings: &str,
    log: &Log,
    draws: &[LoggedDraw],
) -> Result<(Made, Settings), PlanError> {
    plan_at(settings, log, draws, "2026-10-01T07:00:00Z")
}

pub fn plan_at(
    settings: &str,
    log: &Log,
    draws: &[LoggedDraw],
    now: &str,
) -> Result<(Made, Settings), PlanError> {
    planned(settings, log, draws, (now, None), 6)
}

/// So many sensors of one who may have worn none yet.
pub fn plan_in(settings: &str, log: &Log, sensors: usize) -> (Made, Settings) {
    let now = ("2026-10-01T07:00:00Z", Some("kelp"));
    planned(settings, log, &[], now, sensors).unwrap()
}

fn planned(
    settings: &str,
    log: &Log,
    draws: &[LoggedDraw],
    (now, wearer): (&str, Option<&str>),
    sensors: usize,
) -> Result<(Made, Settings), PlanError> {
    let settings = Settings::parse(settings).unwrap();
    let tables = log.tables();
    let study = Study {
        settings: &settings,
        cutoff: parse_instant(CUTOFF).unwrap() as Micros,
        tables: &tables,
    };
    let wearer = match wearer {
        Some(wearer) => wearer.to_owned(),
        None => choose_wearer(&study, None)?,
    };
    let made = make(&Order {
        study,
        wearer: &wearer,
        sensors,
        seed: 7,
        log: draws,
        now: now.parse::<Timestamp>().unwrap(),
        version: "0.1.0",
    })?;
    Ok((made, settings))
}
