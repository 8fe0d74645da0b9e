//! What was parsed in a run.

use std::collections::BTreeMap;
use std::path::PathBuf;

use whereworn_model::settings::Settings;

use super::changes::Changed;
use super::manifest::InputRecord;
use super::small_tables::SmallTables;
use super::write::Target;
use crate::block::{Block, SensorName};
use crate::bytes::Print;
use crate::error::LoadError;
use crate::fhir::parse_fhir;
use crate::fingersticks::parse_fingerstick;
use crate::input::{InputFile, Table};
use crate::judgements::parse_judgement;
use crate::parquet_io::write_readings;
use crate::readings::parse_readings;
use crate::records::Seen;
use crate::reject::{Reject, Rejects, not_listed};
use crate::settle_readings::{FileRows, Merged, SensorRows};
use crate::wear_events::{Placed, WearEvent, parse_rows, parse_wear_event};

/// What was parsed in a run.
#[derive(Default)]
pub(super) struct Parsed {
    pub records: Vec<InputRecord>,
    /// Readings by the numbers of their files.
    pub readings: BTreeMap<u32, Block>,
    pub small: SmallTables,
    pub rejects: Vec<Reject>,
    /// Files of readings that were put aside, and how many each sensor has there.
    pub runs: Vec<PathBuf>,
    pub put_aside_of: BTreeMap<SensorName, usize>,
}

impl Parsed {
    /// Readings in memory.
    pub fn readings_held(&self) -> usize {
        self.readings.values().map(|block| block.time.len()).sum()
    }

    /// Puts the readings into a file of their own, in the order of the store, where there are more of them than so many.
    pub fn put_aside(&mut self, to: &Target<'_>, most: usize) -> Result<(), LoadError> {
        if self.readings_held() <= most {
            return Ok(());
        }
        let blocks = std::mem::take(&mut self.readings).into_iter();
        let named = |(file, block)| FileRows {
            file,
            name: String::new(),
            block,
        };
        let files: Vec<FileRows> = blocks.map(named).collect();
        let merged = Merged::new(&files);
        let (path, sensors) = (to.run(self.runs.len()), (0..merged.sensors.len(), 0));
        write_readings(&path, &merged, sensors, SensorRows::all, to.access)?;
        self.runs.push(path);
        for sensor in &merged.sensors {
            let rows = self.put_aside_of.entry(sensor.name.clone()).or_default();
            *rows += sensor.all().len();
        }
        Ok(())
    }

    /// Parses a file.
    pub fn add(&mut self, input: &Changed<'_>, settings: &Settings) -> Result<(), LoadError> {
        match input.file.table {
            Table::Readings => {
                let (mut block, layout, print) = parse_readings(input.file, settings)?;
                let seen = std::mem::take(&mut block.seen);
                block.shrink();
                self.readings.insert(input.number, block);
                self.record(input, seen, print, layout.warnings());
            }
            Table::Fingersticks => {
                let parsed =
                    parse_rows(input.file, settings, parse_fingerstick, |row| &mut row.time)?;
                self.small.add(parsed.rows)?;
                self.record(input, parsed.seen, parsed.print, parsed.warnings);
            }
            Table::Judgements => {
                let parsed =
                    parse_rows(input.file, settings, parse_judgement, |row| &mut row.start)?;
                self.small.add(parsed.rows)?;
                self.record(input, parsed.seen, parsed.print, parsed.warnings);
            }
            Table::WearEvents => {
                let parsed =
                    parse_rows(input.file, settings, parse_wear_event, |row| &mut row.time)?;
                self.small.add(parsed.rows)?;
                self.record(input, parsed.seen, parsed.print, parsed.warnings);
            }
        }
        Ok(())
    }

    /// Parses all files of FHIR, each of which stands among the inputs for its readings and for its fingersticks.
    pub fn add_fhir(
        &mut self,
        group: &[&Changed<'_>],
        settings: &Settings,
        log: &[Placed<WearEvent>],
        progress: &dyn Fn(&str),
    ) -> Result<(), LoadError> {
        let of = |table: Table| {
            group
                .iter()
                .copied()
                .filter(move |input| input.file.table == table)
        };
        let files: Vec<&InputFile> = of(Table::Readings).map(|input| input.file).collect();
        let found = parse_fhir(&files, settings, log, progress)?;
        for (input, mut file) in of(Table::Readings).zip(found) {
            let seen = std::mem::take(&mut file.readings.seen);
            self.readings.insert(input.number, file.readings);
            self.record(input, seen, file.print.clone(), file.warnings);
            let same = |other: &&Changed| other.file.name == input.file.name;
            if let Some(checks) = of(Table::Fingersticks).find(same) {
                self.small.add(file.fingersticks)?;
                self.record(checks, file.seen, file.print, Vec::new());
            }
        }
        Ok(())
    }

    fn record(&mut self, input: &Changed<'_>, seen: Seen, print: Print, mut warnings: Vec<String>) {
        let (size, sha256) = print;
        let export = input.file.export.clone();
        warnings.extend(seen.untaken.in_words(export.as_deref().unwrap_or_default()));
        self.records.push(InputRecord {
            number: input.number,
            name: input.file.name.clone(),
            table: input.file.table,
            export,
            size,
            sha256,
            rows: seen.rows,
            rejected: seen.rejects.count,
            left_out: seen.left_out,
            withdrawn: seen.withdrawn,
            untaken: seen.untaken.rows,
            warnings,
        });
        self.rejects
            .extend(all_listed(&input.file.name, seen.rejects));
    }
}

/// Rejects with a line for those that are too many to be listed.
pub(super) fn all_listed(file: &str, rejects: Rejects) -> Vec<Reject> {
    let more = rejects.count - rejects.listed.len() as u64;
    let mut listed = rejects.listed;
    if more > 0 {
        let line = listed.last().map_or(1, |reject| reject.line);
        listed.push(not_listed(file, line, more));
    }
    listed
}
