//! Faults planted in the raw files, and what must become of them.

use crate::DemoError;
use crate::clock::{Clock, DAY, Stamp, Style, date_text};
use crate::plan::Session;
use crate::table::Table;

/// The list of planted faults: file, line of the first row, rows, what is wrong, what must become of them.
pub(crate) struct Planted {
    pub(crate) rows: Vec<[String; 5]>,
}

impl Planted {
    fn note(&mut self, file: &str, line: u64, rows: u64, fault: &str, outcome: &str) {
        self.rows.push([
            file.to_owned(),
            line.to_string(),
            rows.to_string(),
            fault.to_owned(),
            outcome.to_owned(),
        ]);
    }

    fn plant(
        &mut self,
        table: &mut Table,
        file: &str,
        text: &str,
        fault: &str,
        outcome: &str,
    ) -> Result<(), DemoError> {
        let line = table.raw(text)?;
        self.note(file, line, 1, fault, outcome);
        Ok(())
    }
}

/// Plants faults after the readings of a session that has an end, in a file of local times, mg/dL and the columns
/// sensor, time, glucose, status. `last_row` is the last row of that session.
pub(crate) fn in_readings(
    planted: &mut Planted,
    table: &mut Table,
    file: &str,
    session: &Session,
    last_row: &str,
    clock: &Clock,
) -> Result<(), DemoError> {
    let mut stamp = Stamp::new(clock, Style::Local);
    let sensor = &session.label;
    let middle = stamp.text((session.insert + session.last) / 2)?;
    let rejected = [
        (
            format!("{sensor},2026-13-41T09:61,112,ok"),
            "time that cannot be read",
        ),
        (
            format!("{sensor},{middle},1l2,ok"),
            "number that cannot be read",
        ),
        (
            format!("{sensor},{middle},1612,ok"),
            "glucose that no body has",
        ),
        (
            format!("{sensor},2062-01-05T12:00,112,ok"),
            "time in the far future",
        ),
    ];
    for (row, fault) in rejected {
        plant_rejected(planted, table, file, &row, fault)?;
    }
    if let Some(&skipped) = clock
        .skipped(session.insert - 400 * DAY, session.insert)
        .last()
    {
        let day = String::from_utf8_lossy(&date_text(skipped.div_euclid(DAY))?).into_owned();
        let row = format!(
            "{sensor},{day}T{:02}:30,112,ok",
            skipped.rem_euclid(DAY) / 60
        );
        plant_rejected(
            planted,
            table,
            file,
            &row,
            "local time that the clock change skips",
        )?;
    }
    let line = table.raw(last_row)?;
    table.raw(last_row)?;
    planted.note(
        file,
        line,
        2,
        "exact duplicates of an earlier row",
        "dropped and counted",
    );
    let mut cells: Vec<&str> = last_row.split(',').collect();
    cells[2] = "399";
    plant_rejected(
        planted,
        table,
        file,
        &cells.join(","),
        "another glucose for the same sensor and time",
    )?;
    let late = format!(
        "{sensor},{},120,ok",
        stamp.text(clock.settled(session.last + 95))?
    );
    planted.plant(
        table,
        file,
        &late,
        "reading after the end of its sensor",
        "set aside and counted",
    )?;
    let first = table.line;
    for hour in 0..12 {
        let at = clock.settled(session.insert + 600 + hour * 60);
        table.raw(&format!("s9999,{},{},ok", stamp.text(at)?, 110 + hour))?;
    }
    planted.note(
        file,
        first,
        12,
        "sensor that was never inserted",
        "set aside: one line for the sensor",
    );
    Ok(())
}

fn plant_rejected(
    planted: &mut Planted,
    table: &mut Table,
    file: &str,
    row: &str,
    fault: &str,
) -> Result<(), DemoError> {
    planted.plant(table, file, row, fault, "rejected")
}

/// Plants faults at the end of a fingerstick file with the columns wearer, time, glucose, unit, meter, purpose.
pub(crate) fn in_fingersticks(
    planted: &mut Planted,
    table: &mut Table,
    file: &str,
    wearer: &str,
    session: &Session,
    clock: &Clock,
) -> Result<(), DemoError> {
    let time = Stamp::new(clock, Style::Local).text(session.insert + 301)?;
    let rows = [
        (
            format!("{wearer},{time},112,mg/L,meter A,routine"),
            "unknown unit",
        ),
        (
            format!("{wearer},{time},NaN,mg/dL,meter A,routine"),
            "number that cannot be read",
        ),
    ];
    rows.iter()
        .try_for_each(|(row, fault)| plant_rejected(planted, table, file, row, fault))
}

/// Plants faults at the end of a log whose columns begin with wearer, sensor, time, event, site, side, cause.
pub(crate) fn in_events(
    planted: &mut Planted,
    table: &mut Table,
    file: &str,
    wearer: &str,
    sessions: &[Session],
    clock: &Clock,
) -> Result<(), DemoError> {
    let mut stamp = Stamp::new(clock, Style::Local);
    let first = &sessions[0];
    let later = stamp.text(clock.settled(first.insert + DAY))?;
    let rest = ",".repeat(9);
    let mut rows = vec![
        (
            format!("{wearer},{},{later},insert,chest,left,{rest}", first.label),
            "second insertion of a sensor",
        ),
        (
            format!("{wearer},s9998,{later},insert,lower-bcak,left,{rest}"),
            "unknown site",
        ),
        (
            format!("{wearer},{},{later},bumb,,,{rest}", first.label),
            "unknown event",
        ),
        (
            format!("{wearer},s9997,{later},end,,,chosen{rest}"),
            "end of a sensor that was never inserted",
        ),
    ];
    if let Some(open) = sessions.iter().find(|session| session.cause.is_none()) {
        let before = stamp.text(clock.settled(open.insert - 180))?;
        let after = stamp.text(clock.settled(open.insert + 180))?;
        rows.push((
            format!("{wearer},{},{before},end,,,chosen{rest}", open.label),
            "end before the insertion",
        ));
        rows.push((
            format!("{wearer},{},{after},end,,,slipped{rest}", open.label),
            "unknown cause",
        ));
    }
    rows.iter()
        .try_for_each(|(row, fault)| plant_rejected(planted, table, file, row, fault))
}
