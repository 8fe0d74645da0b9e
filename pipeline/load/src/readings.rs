//! Sensor readings from CSV: required `sensor`, `time`, `glucose`; optional `wearer`, `unit`, `status`.

use std::collections::HashMap;

use rayon::prelude::*;
use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;
use whereworn_model::units::Unit;

use crate::block::{Block, STATUSES, SensorName};
use crate::bytes::Print;
use crate::columns::Layout;
use crate::corrections::{Corrected, OfSubject};
use crate::error::LoadError;
use crate::fields::{Glucose, glucose, own_unit, text, unit_of, word};
use crate::folds::settle_folds;
use crate::input::InputFile;
use crate::records::{Row, for_each_row, for_each_segment};
use crate::reject::Fault;
use crate::source::split_blocks;
use crate::times::{Clock, TimeReader};

/// Columns in the order of [`crate::columns::names`].
const SENSOR: usize = 0;
const TIME: usize = 1;
const GLUCOSE: usize = 2;
const WEARER: usize = 3;
const UNIT: usize = 4;
const STATUS: usize = 5;

/// Parses a whole file. Blocks of it are parsed side by side and joined in file order.
pub(crate) fn parse_readings(
    input: &InputFile,
    settings: &Settings,
) -> Result<(Block, Layout, Print), LoadError> {
    let threads = rayon::current_num_threads();
    let mut whole = Block::default();
    let mut folds = Vec::new();
    let (layout, print) = for_each_segment(input, settings, |bytes, first_line, layout| {
        let parts: Vec<Part> = split_blocks(bytes, first_line, threads)
            .into_par_iter()
            .map(|(block, line)| parse_block(&input.name, block, line, layout, settings))
            .collect();
        for part in parts {
            let offset = whole.time.len();
            folds.extend(part.folds.iter().map(|(row, later)| (row + offset, *later)));
            whole.append(part.block);
        }
    })?;
    whole.seen.refuse(&layout)?;
    settle_folds(&whole.sensor, &mut whole.time, &folds);
    Ok((whole, layout, print))
}

/// A parsed block, and the rows whose local time occurred twice: row and later instant.
#[derive(Default)]
struct Part {
    block: Block,
    folds: Vec<(usize, i64)>,
}

fn parse_block(
    file: &str,
    bytes: &[u8],
    first_line: u64,
    layout: &Layout,
    settings: &Settings,
) -> Part {
    let mut part = Part::default();
    let mut sensors = Sensors::new(settings, layout);
    let mut times = TimeReader::new(&layout.time_format);
    let seen = for_each_row(file, bytes, first_line, layout, |row| {
        let sensor = sensors.find(row)?;
        let text = layout.field(row.record, TIME);
        let (at, later) = times.instant(&text, sensors.clock(sensor))?;
        let corrected = sensors.corrected(sensor, at);
        if corrected.leave_out {
            return Err(Fault::left_out());
        }
        let (mgdl, status) = glucose_and_status(row, layout, corrected.unit)?;
        if let Some(later) = later {
            let row = part.block.time.len();
            part.folds.push((row, later + corrected.shift));
        }
        let at = at + corrected.shift;
        part.block.push(sensor, at, mgdl, status, row.line);
        Ok(())
    });
    part.block.sensors = sensors.names;
    part.block.seen = seen;
    part
}

/// Glucose in mg/dL, NaN where there is none, and the status by code. What a sensor shows that has an error or warms
/// up is kept only where it is a glucose.
fn glucose_and_status(
    row: &Row<'_>,
    layout: &Layout,
    corrected: Option<Unit>,
) -> Result<(f64, u8), Fault> {
    let status = layout.field(row.record, STATUS);
    let status = match status.is_empty() {
        true => STATUSES[0],
        false => word(&status, &STATUSES, "status")?,
    };
    let text = layout.field(row.record, GLUCOSE);
    let (text, own) = own_unit(&text);
    let named = || unit_of(own, &layout.field(row.record, UNIT), layout.default_unit);
    let read = || glucose(text, corrected.map_or_else(named, Ok)?, layout.comma);
    let (mgdl, status) = match status {
        "error" | "warmup" => match read() {
            Ok(Glucose::Value(mgdl)) => (mgdl, status),
            _ => (f64::NAN, status),
        },
        "low" | "high" if text.is_empty() => (f64::NAN, status),
        _ => match read()? {
            Glucose::Value(mgdl) => (mgdl, status),
            Glucose::Low(limit) => (limit, "low"),
            Glucose::High(limit) => (limit, "high"),
        },
    };
    let code = STATUSES.iter().position(|known| *known == status);
    Ok((mgdl, code.unwrap_or(0) as u8))
}

/// Sensors met so far in a block, with their wearers' clocks.
struct Sensors<'s> {
    settings: &'s Settings,
    layout: &'s Layout,
    names: Vec<SensorName>,
    corrections: Vec<OfSubject>,
    clock_of: Vec<usize>,
    clocks: Vec<Clock>,
    clock_of_wearer: HashMap<String, usize>,
    known: HashMap<(Vec<u8>, Vec<u8>), u32>,
    last: Option<(Vec<u8>, Vec<u8>, u32)>,
}

impl<'s> Sensors<'s> {
    fn new(settings: &'s Settings, layout: &'s Layout) -> Self {
        Self {
            settings,
            layout,
            names: Vec::new(),
            corrections: Vec::new(),
            clock_of: Vec::new(),
            clocks: Vec::new(),
            clock_of_wearer: HashMap::new(),
            known: HashMap::new(),
            last: None,
        }
    }

    /// The number, within the block, of a row's sensor.
    fn find(&mut self, row: &Row<'_>) -> Result<u32, Fault> {
        let layout = self.layout;
        let wearer = layout.field(row.record, WEARER);
        let sensor = layout.field(row.record, SENSOR);
        if let Some((last_wearer, last_sensor, number)) = &self.last
            && **last_sensor == *sensor
            && **last_wearer == *wearer
        {
            return Ok(*number);
        }
        if sensor.is_empty() {
            return Err(Fault::new("sensor", "the sensor is not named"));
        }
        let key = (wearer.into_owned(), sensor.into_owned());
        let number = match self.known.get(&key) {
            Some(number) => *number,
            None => self.add(&key),
        };
        self.last = Some((key.0.clone(), key.1.clone(), number));
        self.known.entry(key).or_insert(number);
        Ok(number)
    }

    fn add(&mut self, key: &(Vec<u8>, Vec<u8>)) -> u32 {
        let wearer = if key.0.is_empty() {
            self.settings.study.wearer.clone()
        } else {
            text(&key.0)
        };
        let clock = match self.clock_of_wearer.get(&wearer) {
            Some(clock) => *clock,
            None => {
                let own = self.layout.zone.clone().map(Clock::new);
                let clock = own.unwrap_or_else(|| Clock::of_wearer(self.settings, &wearer));
                self.clocks.push(clock);
                self.clock_of_wearer
                    .insert(wearer.clone(), self.clocks.len() - 1);
                self.clocks.len() - 1
            }
        };
        let sensor = text(&key.1);
        if !self.layout.corrections.is_empty() {
            let zone = self.layout.zone.clone();
            let zone = zone.unwrap_or_else(|| self.settings.home_zone(&wearer));
            let own = self.layout.corrections.of(&wearer, &sensor, &zone);
            self.corrections.push(own);
        }
        self.names.push(SensorName { wearer, sensor });
        self.clock_of.push(clock);
        (self.names.len() - 1) as u32
    }

    fn corrected(&self, sensor: u32, at: Micros) -> Corrected {
        let own = self.corrections.get(sensor as usize);
        own.map_or_else(Corrected::default, |own| own.at(at))
    }

    fn clock(&mut self, sensor: u32) -> &mut Clock {
        &mut self.clocks[self.clock_of[sensor as usize]]
    }
}
