//! A small study with something in every table: two sites, four sensors, a fortnight.

use crate::fixture::Study;

/// Settings without a unit line.
const SETTINGS: &str = "[study]\ntitle = \"Small\"\ntimezone = \"Europe/Lisbon\"\n\
    [sites.calf]\nlabel = \"Calf\"\non_label = false\n\
    [sites.chest]\nlabel = \"Chest\"\non_label = true\n";

/// Sensors: name, site, first and last day, cause of the end.
const SENSORS: [(&str, &str, i64, i64, &str); 4] = [
    ("a", "calf", 0, 5, "fell-off"),
    ("b", "chest", 0, 6, "completed"),
    ("c", "calf", 7, 13, "completed"),
    ("d", "chest", 7, 10, "knocked-off"),
];

/// The rows of a small study, glucose in mg/dL.
pub struct Rows {
    pub wear_events: Vec<String>,
    /// Wearer's sensor, time, glucose.
    pub readings: Vec<(String, f64)>,
    pub fingersticks: Vec<(String, f64)>,
}

pub const EVENT_COLUMNS: &str = "sensor,time,event,site,cause,note\n";

/// An instant so many minutes after 5 January 2026, 10:00 UTC.
fn minute(minutes: i64) -> String {
    let start: jiff::Timestamp = "2026-01-05T10:00:00Z".parse().unwrap();
    jiff::Timestamp::from_second(start.as_second() + 60 * minutes)
        .unwrap()
        .to_string()
}

/// Glucose that swings between 80 and 180 mg/dL every six hours or so.
fn blood(minutes: i64) -> f64 {
    let t = minutes as f64;
    130.0 + 40.0 * (t / 57.0).sin() + 10.0 * (t / 23.0).cos()
}

/// The rows, made by rule and without chance.
pub fn rows() -> Rows {
    let mut rows = Rows {
        wear_events: Vec::new(),
        readings: Vec::new(),
        fingersticks: Vec::new(),
    };
    for (number, (sensor, site, first, last, cause)) in SENSORS.iter().enumerate() {
        let (first, last) = (first * 1440, last * 1440 + 7 * number as i64);
        rows.wear_events
            .push(format!("{sensor},{},insert,{site},,", minute(first)));
        rows.wear_events
            .push(format!("{sensor},{},end,,{cause},", minute(last)));
        for at in (first + 15..last).step_by(15) {
            let wobble = 4.0 * (at as f64 * 0.37 + number as f64).sin();
            let level = 0.94 + 0.05 * number as f64;
            let glucose = (blood(at - 10) * level + wobble).round();
            rows.readings
                .push((format!("{sensor},{}", minute(at)), glucose));
        }
    }
    for at in (400..13 * 1440).step_by(313) {
        rows.fingersticks.push((minute(at), blood(at).round()));
    }
    rows
}

/// Lines of readings or fingersticks.
pub fn lines(rows: &[(String, f64)]) -> String {
    rows.iter()
        .map(|(start, glucose)| format!("{start},{glucose}\n"))
        .collect()
}

/// Settings with the unit of raw files that name none.
pub fn settings(unit: &str) -> String {
    SETTINGS.replace("timezone", &format!("unit = \"{unit}\"\ntimezone"))
}

/// The study in one file a table.
pub fn study() -> Study {
    let rows = rows();
    let study = Study::new(&settings("mg/dL"));
    study
        .write(
            "wear-events/all.csv",
            EVENT_COLUMNS.to_owned() + &rows.wear_events.join("\n") + "\n",
        )
        .write(
            "readings/all.csv",
            "sensor,time,glucose\n".to_owned() + &lines(&rows.readings),
        )
        .write(
            "fingersticks/all.csv",
            "time,glucose\n".to_owned() + &lines(&rows.fingersticks),
        );
    study
}
