//! Writes the files of a study, wearer by wearer.

use std::fs;
use std::path::Path;

use jiff::civil::Date;

use crate::clock::{Clock, DAY, Stamp, Style, date_text, day_number};
use crate::events::{COLUMNS, Event, events};
use crate::faults::{self, Planted};
use crate::fingersticks::{Fingerstick, fingersticks, is_at_night};
use crate::nights::{Artefact, Night, artefact_dice, artefacts, nights};
use crate::page;
use crate::physiology::{Blood, TrueLow};
use crate::plan::{Session, sessions};
use crate::random::{Dice, Purpose};
use crate::rows::{ReadingRow, push_glucose, readings_columns};
use crate::scenario::{Wearer, ZONE, wearer};
use crate::sensors::readings;
use crate::table::Table;
use crate::truth::Truth;
use crate::{DemoError, Options, Summary};

/// Writes all files of a study into an empty folder.
pub(crate) fn write_all(
    dir: &Path,
    options: &Options,
    progress: &mut dyn FnMut(usize),
) -> Result<Summary, DemoError> {
    for folder in ["readings", "fingersticks", "wear-events", "truth"] {
        create_folder(&dir.join(folder))?;
    }
    let clock = Clock::new(ZONE)?;
    let mut study = Study {
        dir,
        options,
        clock: &clock,
        end_day: day_number(Date::new(2026, 10, 1)?)?,
        truth: Truth::new(),
        artefacts: Table::create(
            &dir.join("truth/artefacts.csv"),
            &[
                "wearer",
                "sensor",
                "site",
                "night",
                "start",
                "end",
                "size_mgdl",
                "edge_minutes",
            ],
        )?,
        lows: Table::create(
            &dir.join("truth/true_lows.csv"),
            &["wearer", "start", "end", "nadir_mgdl", "at_night", "worn"],
        )?,
        planted: Planted { rows: Vec::new() },
        summary: Summary::default(),
    };
    for index in 0..options.wearers {
        study.write_wearer(index)?;
        progress(index + 1);
    }
    study.finish()
}

/// A study in the making.
struct Study<'a> {
    dir: &'a Path,
    options: &'a Options,
    clock: &'a Clock,
    /// Local day (number since 1970) at whose first minute the study ends.
    end_day: i64,
    truth: Truth,
    artefacts: Table,
    lows: Table,
    planted: Planted,
    summary: Summary,
}

/// All that happens to one wearer.
struct Course {
    wearer: Wearer,
    sessions: Vec<Session>,
    nights: Vec<Night>,
    blood: Blood,
    lows: Vec<TrueLow>,
    /// For each session.
    artefacts: Vec<Vec<Artefact>>,
}

impl Study<'_> {
    fn course(&self, index: usize) -> Course {
        let seed = self.options.seed;
        let wearer = wearer(index, seed);
        let sessions = sessions(
            &wearer,
            self.options.sensors,
            self.clock,
            self.end_day,
            seed,
        );
        let first_day = self.clock.local(sessions[0].insert).div_euclid(DAY) - 1;
        let nights = nights(&wearer, self.clock, first_day, self.end_day, seed);
        let blood = Blood::draw(&wearer, &nights, self.clock.utc(self.end_day * DAY), seed);
        let lows = blood.lows();
        let artefacts = sessions
            .iter()
            .enumerate()
            .map(|(number, session)| {
                artefacts(session, &nights, &mut artefact_dice(seed, index, number))
            })
            .collect();
        Course {
            wearer,
            sessions,
            nights,
            blood,
            lows,
            artefacts,
        }
    }

    fn write_wearer(&mut self, index: usize) -> Result<(), DemoError> {
        let course = self.course(index);
        self.write_readings(&course)?;
        self.write_fingersticks(&course)?;
        self.write_events(&course)?;
        self.write_truth(&course)
    }

    /// Faults are planted in the files of the first wearer.
    fn is_faulty(&self, course: &Course) -> bool {
        course.wearer.index == 0 && self.options.plants_faults()
    }

    fn write_readings(&mut self, course: &Course) -> Result<(), DemoError> {
        let wearer = &course.wearer;
        let plain = self.options.plain.is_none_or(|plain| wearer.index < plain);
        let file = format!(
            "readings/{}.csv{}",
            wearer.handle,
            if plain { "" } else { ".gz" }
        );
        let mut table = Table::create(&self.dir.join(&file), &readings_columns(wearer))?;
        let faulty = course
            .sessions
            .iter()
            .position(|session| session.cause.is_some());
        for (number, session) in course.sessions.iter().enumerate() {
            let mut row = ReadingRow::new(wearer, session, self.clock);
            let mut last_row = Vec::new();
            let mut dice = Dice::new(self.options.seed, wearer.index, Purpose::Readings, number);
            let spacing = i64::from(self.options.minutes);
            readings(
                session,
                &course.blood,
                &course.artefacts[number],
                spacing,
                &mut dice,
                |reading| {
                    row.build(reading, &mut table.row)?;
                    last_row.clone_from(&table.row);
                    table.end_row()
                },
            )?;
            if self.is_faulty(course) && faulty == Some(number) {
                let last_row = String::from_utf8_lossy(&last_row);
                faults::in_readings(
                    &mut self.planted,
                    &mut table,
                    &file,
                    session,
                    &last_row,
                    self.clock,
                )?;
            }
        }
        self.summary.sensors += course.sessions.len();
        self.summary.readings += table.finish()?;
        Ok(())
    }

    fn write_fingersticks(&mut self, course: &Course) -> Result<(), DemoError> {
        let wearer = &course.wearer;
        let file = format!("fingersticks/{}.csv", wearer.handle);
        let columns = ["wearer", "time", "glucose", "unit", "meter", "purpose"];
        let mut table = Table::create(&self.dir.join(&file), &columns)?;
        let mut stamp = Stamp::new(self.clock, wearer.style);
        let all: Vec<Artefact> = course.artefacts.iter().flatten().copied().collect();
        let checks = fingersticks(
            wearer,
            &course.nights,
            &course.blood,
            &all,
            &course.lows,
            self.clock,
            self.options.seed,
        );
        for Fingerstick {
            minute,
            glucose,
            purpose,
        } in checks
        {
            let mut value = Vec::new();
            let unit = push_glucose(glucose, wearer, &mut value);
            let value = String::from_utf8_lossy(&value);
            table.cells(&[
                &wearer.handle,
                &stamp.text(minute)?,
                &value,
                unit,
                wearer.meter,
                purpose,
            ])?;
        }
        if self.is_faulty(course) {
            let session = &course.sessions[0];
            faults::in_fingersticks(
                &mut self.planted,
                &mut table,
                &file,
                &wearer.handle,
                session,
                self.clock,
            )?;
        }
        self.summary.fingersticks += table.finish()?;
        Ok(())
    }

    fn write_events(&mut self, course: &Course) -> Result<(), DemoError> {
        let wearer = &course.wearer;
        let file = format!("wear-events/{}.csv", wearer.handle);
        let columns: Vec<&str> = ["wearer", "sensor", "time", "event"]
            .into_iter()
            .chain(COLUMNS)
            .collect();
        let mut table = Table::create(&self.dir.join(&file), &columns)?;
        let mut stamp = Stamp::new(self.clock, wearer.style);
        for Event { minute, cells } in events(
            wearer,
            &course.sessions,
            &course.nights,
            self.clock,
            self.options.seed,
        ) {
            let time = stamp.text(minute)?;
            let row: Vec<&str> = columns
                .iter()
                .map(|&column| match column {
                    "wearer" => &wearer.handle,
                    "time" => &time,
                    _ => cells
                        .iter()
                        .find(|cell| cell.0 == column)
                        .map_or("", |cell| &cell.1),
                })
                .collect();
            table.cells(&row)?;
        }
        if self.is_faulty(course) {
            let sessions = &course.sessions;
            faults::in_events(
                &mut self.planted,
                &mut table,
                &file,
                &wearer.handle,
                sessions,
                self.clock,
            )?;
        }
        self.summary.events += table.finish()?;
        Ok(())
    }

    fn write_truth(&mut self, course: &Course) -> Result<(), DemoError> {
        let handle = &course.wearer.handle;
        let mut stamp = Stamp::new(self.clock, Style::Utc);
        self.truth.add_wearer(&course.wearer);
        for (session, found) in course.sessions.iter().zip(&course.artefacts) {
            self.truth.add_sensor(
                &course.wearer,
                session,
                &course.nights,
                found.len(),
                self.clock,
            )?;
            for artefact in found {
                let night = String::from_utf8_lossy(&date_text(artefact.night)?).into_owned();
                let (start, end) = (stamp.text(artefact.start)?, stamp.text(artefact.end)?);
                let (size, edge) = (
                    format!("{:.1}", artefact.size),
                    format!("{:.2}", artefact.edge),
                );
                self.artefacts.cells(&[
                    handle,
                    &session.label,
                    session.site.key,
                    &night,
                    &start,
                    &end,
                    &size,
                    &edge,
                ])?;
            }
        }
        for low in &course.lows {
            let (start, end) = (stamp.text(low.start)?, stamp.text(low.end)?);
            let at_night = flag(is_at_night(low.start, &course.nights));
            let worn = flag(
                course
                    .sessions
                    .iter()
                    .any(|session| session.covers(low.start, low.end)),
            );
            self.lows.cells(&[
                handle,
                &start,
                &end,
                &format!("{:.1}", low.nadir),
                at_night,
                worn,
            ])?;
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Summary, DemoError> {
        let json = self.truth.into_json(self.options);
        write_text(&self.dir.join("truth/truth.json"), &format!("{json:#}\n"))?;
        if self.options.plants_faults() {
            let columns = ["file", "line", "rows", "fault", "outcome"];
            let mut table = Table::create(&self.dir.join("truth/planted_faults.csv"), &columns)?;
            for row in &self.planted.rows {
                table.cells(&row.each_ref().map(String::as_str))?;
            }
            self.summary.planted_faults = table.finish()?;
        }
        self.summary.artefacts = self.artefacts.finish()?;
        self.summary.true_lows = self.lows.finish()?;
        let first = wearer(0, self.options.seed).handle;
        write_text(&self.dir.join("study.toml"), &page::study_toml(&first))?;
        write_text(
            &self.dir.join("README.md"),
            &page::readme(self.options, &first, &self.summary),
        )?;
        Ok(self.summary)
    }
}

fn flag(yes: bool) -> &'static str {
    if yes { "1" } else { "0" }
}

/// Creates a folder and those above it.
pub(crate) fn create_folder(path: &Path) -> Result<(), DemoError> {
    fs::create_dir_all(path).map_err(|source| DemoError::io(path, source))
}

fn write_text(path: &Path, text: &str) -> Result<(), DemoError> {
    fs::write(path, text).map_err(|source| DemoError::io(path, source))
}
