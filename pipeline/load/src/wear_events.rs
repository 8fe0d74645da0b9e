//! What happened to a sensor or its wearer, from CSV: required `time`, `event`; the rest depends on the event.

use std::collections::{BTreeSet, HashMap};

use csv::ByteRecord;
use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;
use whereworn_model::units::Unit;

use crate::bytes::Print;
use crate::columns::Layout;
use crate::corrections::Corrected;
use crate::error::LoadError;
use crate::fields::{number, text, unknown, word};
use crate::folds::settle_folds;
use crate::input::InputFile;
use crate::records::{Seen, for_each_row, for_each_segment};
use crate::reject::{Fault, shown};
use crate::times::{Clock, TimeReader};

/// Columns in the order of [`crate::columns::names`].
const TIME: usize = 0;
const EVENT: usize = 1;
const WEARER: usize = 2;
const SENSOR: usize = 3;
const SITE: usize = 4;
const SIDE: usize = 5;
const CAUSE: usize = 6;
const TAPE: usize = 7;
const MODEL: usize = 8;
const LOT: usize = 9;
const GRADE: usize = 10;
const ASPECT: usize = 11;
const SCORE: usize = 12;
const POSTURE: usize = 13;
const DISTANCE: usize = 14;
const NOTE: usize = 15;

pub(crate) const EVENTS: [&str; 11] = [
    "insert",
    "end",
    "bed",
    "rise",
    "bump",
    "skin",
    "rating",
    "tape",
    "water",
    "injection",
    "note",
];
const SENSORLESS: [&str; 3] = ["bed", "rise", "injection"];
pub(crate) const CAUSES: [&str; 8] = [
    "fell-off",
    "knocked-off",
    "lifted",
    "not-started",
    "sensor-fault",
    "reaction",
    "completed",
    "chosen",
];
pub(crate) const SIDES: [&str; 3] = ["left", "right", "middle"];
pub(crate) const TAPES: [&str; 3] = ["none", "ring", "cover"];
const ASPECTS: [&str; 5] = ["insertion", "pain", "comfort", "visibility", "sleep"];
const POSTURES: [&str; 5] = ["back", "left", "right", "front", "mixed"];

/// One event; empty text and `None` where the row says nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct WearEvent {
    pub wearer: String,
    pub sensor: String,
    pub time: Micros,
    pub event: String,
    pub site: String,
    pub side: String,
    pub cause: String,
    pub tape: String,
    pub model: String,
    pub lot: String,
    pub grade: Option<f64>,
    pub aspect: String,
    pub score: Option<f64>,
    pub posture: String,
    pub distance_cm: Option<f64>,
    pub note: String,
}

/// A row with the place it came from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Placed<T> {
    pub row: T,
    pub file: String,
    pub line: u64,
    pub raw: String,
}

/// Parsed rows of a file, in file order.
pub(crate) struct Parsed<T> {
    pub rows: Vec<Placed<T>>,
    pub seen: Seen,
    /// Size and hash of the file.
    pub print: Print,
    /// Words left out, and columns that are none of ours, in words.
    pub warnings: Vec<String>,
}

/// Gives the fields of a row their meaning, wearer and time first.
pub(crate) struct RowReader<'a> {
    pub layout: &'a Layout,
    pub record: &'a ByteRecord,
    settings: &'a Settings,
    state: &'a mut FileState,
    times: TimeReader<'a>,
    row: usize,
    /// Whose order of time the row stands in, and its other instant where its local time occurred twice.
    placed: Option<(u32, Option<Micros>)>,
}

/// What the rows of a file share.
#[derive(Default)]
struct FileState {
    clocks: HashMap<String, Clock>,
    owners: HashMap<(String, String), u32>,
    owner: Vec<u32>,
    folds: Vec<(usize, Micros)>,
    ignored: BTreeSet<String>,
    sites: BTreeSet<String>,
}

impl RowReader<'_> {
    /// The row's wearer, else the study's.
    pub fn wearer(&self, column: usize) -> String {
        let wearer = self.layout.field(self.record, column);
        if wearer.is_empty() {
            self.settings.study.wearer.clone()
        } else {
            text(&wearer)
        }
    }

    /// The row's instant, and its unit where a correction sets one. The subject is the sensor or meter that the row
    /// is about; rows of one wearer and owner stand in the order of time in their file.
    pub fn time(
        &mut self,
        column: usize,
        wearer: &str,
        owner: &str,
        subject: &str,
    ) -> Result<(Micros, Option<Unit>), Fault> {
        let of_wearer = || Clock::of_wearer(self.settings, wearer);
        let own = self.layout.zone.clone();
        let clock = self
            .state
            .clocks
            .entry(wearer.to_owned())
            .or_insert_with(|| own.map_or_else(of_wearer, Clock::new));
        let text = self.layout.field(self.record, column);
        let (at, later) = self.times.instant(&text, clock)?;
        let corrected = self.corrected(wearer, subject, at);
        if corrected.leave_out {
            return Err(Fault::left_out());
        }
        let next = self.state.owners.len() as u32;
        let owner = self
            .state
            .owners
            .entry((wearer.to_owned(), owner.to_owned()))
            .or_insert(next);
        self.placed = Some((*owner, later.map(|later| later + corrected.shift)));
        Ok((at + corrected.shift, corrected.unit))
    }

    fn corrected(&self, wearer: &str, subject: &str, at: Micros) -> Corrected {
        if self.layout.corrections.is_empty() {
            return Corrected::default();
        }
        let zone = self.layout.zone.clone();
        let zone = zone.unwrap_or_else(|| self.settings.home_zone(wearer));
        self.layout.corrections.of(wearer, subject, &zone).at(at)
    }

    /// Notes the row as accepted.
    fn accept(self) {
        let Some((owner, later)) = self.placed else {
            return;
        };
        self.state.owner.push(owner);
        if let Some(later) = later {
            self.state.folds.push((self.row, later));
        }
    }

    /// One of a list of words. Another one is left out and noted: the row says more than that.
    fn one_of(&mut self, column: usize, known: &[&'static str], name: &'static str) -> String {
        let field = self.layout.field(self.record, column);
        match word(&field, known, name) {
            Ok(word) => word.to_owned(),
            Err(fault) => {
                if !field.is_empty() {
                    self.state.ignored.insert(fault.reason);
                }
                String::new()
            }
        }
    }

    fn number_in(
        &self,
        column: usize,
        name: &'static str,
        least: f64,
        most: f64,
    ) -> Result<Option<f64>, Fault> {
        let field = self.layout.field(self.record, column);
        if field.is_empty() {
            return Ok(None);
        }
        match number(&field, self.layout.comma) {
            Some(value) if (least..=most).contains(&value) => Ok(Some(value)),
            Some(value) => Err(Fault::new(
                name,
                format!("{name} {value} is outside {least} to {most}"),
            )),
            None => Err(Fault::new(name, "unparsable number")),
        }
    }
}

/// Parses one event.
pub(crate) fn parse_wear_event(reader: &mut RowReader<'_>) -> Result<WearEvent, Fault> {
    let (layout, record) = (reader.layout, reader.record);
    let plain = |column| text(&layout.field(record, column));
    let event = word(&layout.field(record, EVENT), &EVENTS, "event")?.to_owned();
    let sensor = plain(SENSOR);
    if sensor.is_empty() && !SENSORLESS.contains(&event.as_str()) {
        return Err(Fault::new(
            "sensor",
            format!("the sensor is not named: `{event}` needs one"),
        ));
    }
    let site = site(reader, &event)?;
    let cause = match event.as_str() {
        "end" => word(&layout.field(record, CAUSE), &CAUSES, "cause")?.to_owned(),
        _ => String::new(),
    };
    let aspect = match event.as_str() {
        "rating" => word(&layout.field(record, ASPECT), &ASPECTS, "aspect")?.to_owned(),
        _ => String::new(),
    };
    let numeric = |wanted: &str, value: Result<Option<f64>, Fault>| {
        if event == wanted { value } else { Ok(None) }
    };
    let grade = numeric("skin", reader.number_in(GRADE, "grade", 0.0, 4.0))?;
    if grade.is_some_and(|grade| grade.fract() != 0.0) {
        return Err(Fault::new(
            "grade",
            "grade is not a whole number from 0 to 4",
        ));
    }
    let mut parsed = WearEvent {
        site,
        cause,
        grade,
        aspect,
        side: reader.one_of(SIDE, &SIDES, "side"),
        tape: reader.one_of(TAPE, &TAPES, "tape"),
        score: numeric("rating", reader.number_in(SCORE, "score", 0.0, 10.0))?,
        posture: reader.one_of(POSTURE, &POSTURES, "posture"),
        distance_cm: numeric(
            "injection",
            reader.number_in(DISTANCE, "distance_cm", 0.0, 300.0),
        )?,
        model: plain(MODEL),
        lot: plain(LOT),
        note: plain(NOTE),
        wearer: reader.wearer(WEARER),
        sensor,
        event,
        time: 0,
    };
    let (wearer, sensor) = (&parsed.wearer, &parsed.sensor);
    (parsed.time, _) = reader.time(TIME, wearer, sensor, sensor)?;
    Ok(parsed)
}

/// The site, which `insert` must name and `injection` may.
fn site(reader: &RowReader<'_>, event: &str) -> Result<String, Fault> {
    let field = reader.layout.field(reader.record, SITE);
    let needed = event == "insert" || (event == "injection" && !field.is_empty());
    if !needed {
        return Ok(String::new());
    }
    let sites = &reader.state.sites;
    if std::str::from_utf8(&field).is_ok_and(|site| sites.contains(site)) {
        return Ok(text(&field));
    }
    Err(unknown(&field, sites.iter().map(String::as_str), "site"))
}

/// Parses a whole file of small rows.
pub(crate) fn parse_rows<T>(
    input: &InputFile,
    settings: &Settings,
    parse: impl Fn(&mut RowReader<'_>) -> Result<T, Fault>,
    set_time: impl Fn(&mut T) -> &mut Micros,
) -> Result<Parsed<T>, LoadError> {
    let mut rows: Vec<Placed<T>> = Vec::new();
    let mut seen = Seen::default();
    let mut state = FileState {
        sites: settings
            .all_sites()
            .into_iter()
            .map(|site| site.key)
            .collect(),
        ..FileState::default()
    };
    let (layout, print) = for_each_segment(input, settings, |bytes, first_line, layout| {
        let part = for_each_row(&input.name, bytes, first_line, layout, |row| {
            let mut reader = RowReader {
                layout,
                record: row.record,
                settings,
                state: &mut state,
                times: TimeReader::new(&layout.time_format),
                row: rows.len(),
                placed: None,
            };
            let parsed = parse(&mut reader)?;
            reader.accept();
            rows.push(Placed {
                row: parsed,
                file: input.name.clone(),
                line: row.line,
                raw: shown(&text(row.raw)),
            });
            Ok(())
        });
        seen.append(part);
    })?;
    seen.refuse(&layout)?;
    let mut times: Vec<Micros> = rows
        .iter_mut()
        .map(|placed| *set_time(&mut placed.row))
        .collect();
    settle_folds(&state.owner, &mut times, &state.folds);
    for (placed, at) in rows.iter_mut().zip(times) {
        *set_time(&mut placed.row) = at;
    }
    let warnings = layout.warnings().into_iter().chain(state.ignored).collect();
    Ok(Parsed {
        rows,
        seen,
        print,
        warnings,
    })
}
