//! What a wearer writes down: insertions, ends, nights, skin, ratings, injections and notes.

use crate::clock::{Clock, DAY, Minute};
use crate::nights::Night;
use crate::plan::Session;
use crate::random::{Dice, Purpose};
use crate::scenario::Wearer;

/// One row of the log: its cells by column name, without wearer and time.
pub(crate) struct Event {
    pub(crate) minute: Minute,
    pub(crate) cells: Vec<(&'static str, String)>,
}

/// Columns of the log after `wearer`, `sensor`, `time` and `event`.
pub(crate) const COLUMNS: [&str; 12] = [
    "site",
    "side",
    "cause",
    "tape",
    "model",
    "lot",
    "grade",
    "aspect",
    "score",
    "posture",
    "distance_cm",
    "note",
];

/// Notes of the scenario; some hold what would break a careless page or spreadsheet.
const NOTES: [&str; 12] = [
    "slept on the ferry, bench was hard",
    "<script>alert(\"high tide\")</script>",
    "sensor | edge | lifting a little",
    "=SUM(A1:A9)",
    "two trays of rye, sleeve kept catching",
    "[lamp room](javascript:alert(1))",
    "salt water all day\nrinsed it at home",
    "*itches* less than `last` time",
    "\"quoted\", with a comma; and <b>bold</b>",
    "# not a heading",
    "fog horn from 03:00, hardly slept",
    "naïve – Größe 5 – مرحبا – 潮",
];

/// The log of one wearer in order of time.
pub(crate) fn events(
    wearer: &Wearer,
    sessions: &[Session],
    nights: &[Night],
    clock: &Clock,
    seed: u64,
) -> Vec<Event> {
    let mut log = Log {
        clock,
        events: Vec::new(),
        dice: Dice::new(seed, wearer.index, Purpose::Events, 0),
    };
    for session in sessions {
        log.add_insertion(session);
        log.add_wear(session);
        if let Some(cause) = session.cause {
            log.add_end(session, cause);
        }
    }
    for night in nights.iter().filter(|night| night.recorded) {
        if sessions
            .iter()
            .any(|session| session.covers(night.bed, night.rise))
        {
            let posture = if log.dice.chance(0.85) {
                night.posture
            } else {
                ""
            };
            log.add(night.bed, "", "bed", &[("posture", posture)]);
            log.add(night.rise, "", "rise", &[]);
        }
    }
    log.events.sort_by_key(|event| event.minute);
    log.events
}

struct Log<'a> {
    clock: &'a Clock,
    events: Vec<Event>,
    dice: Dice,
}

impl Log<'_> {
    fn add(&mut self, minute: Minute, sensor: &str, event: &str, cells: &[(&'static str, &str)]) {
        let named = [("sensor", sensor), ("event", event)];
        let cells = named
            .iter()
            .chain(cells)
            .map(|(column, value)| (*column, (*value).to_owned()))
            .collect();
        self.events.push(Event {
            minute: self.clock.settled(minute),
            cells,
        });
    }

    fn add_insertion(&mut self, session: &Session) {
        let cells = [
            ("site", session.site.key),
            ("side", session.side),
            ("tape", session.tape.key),
            ("model", session.model.name),
            ("lot", &session.lot),
        ];
        self.add(session.insert, &session.label, "insert", &cells);
        self.add_rating(
            session.insert,
            session,
            "insertion",
            session.site.comfort + 1.0,
        );
        self.add_rating(session.insert, session, "pain", session.site.comfort + 0.5);
    }

    fn add_rating(&mut self, minute: Minute, session: &Session, aspect: &str, mean: f64) {
        if self.dice.chance(0.85) {
            let score = (mean + 1.3 * self.dice.normal() + 0.5).clamp(0.0, 10.0) as u8;
            self.add(
                minute,
                &session.label,
                "rating",
                &[("aspect", aspect), ("score", &score.to_string())],
            );
        }
    }

    /// Bumps, water, injections, notes and later tape while the sensor is worn.
    fn add_wear(&mut self, session: &Session) {
        for minute in self.times(session, 0.04) {
            self.add(minute, &session.label, "bump", &[]);
        }
        for minute in self.times(session, 0.4) {
            self.add(minute, &session.label, "water", &[]);
        }
        for minute in self.times(session, 0.3) {
            self.add_injection(minute, session);
        }
        for minute in self.times(session, 0.05) {
            let note = NOTES[self.dice.whole(0, NOTES.len() as i64 - 1) as usize];
            self.add(minute, &session.label, "note", &[("note", note)]);
        }
        let (late_tape, day) = (self.dice.chance(0.12), self.dice.whole(3, 8));
        let minute = session.insert + day * DAY;
        if late_tape && minute < session.last {
            self.add(minute, &session.label, "tape", &[("tape", "cover")]);
        }
    }

    /// Random times of waking hours within a session, at a rate per day and night.
    fn times(&mut self, session: &Session, per_day: f64) -> Vec<Minute> {
        let days = (session.last - session.insert) as f64 / DAY as f64;
        let count = self.dice.poisson(days * per_day);
        let times: Vec<Minute> = (0..count)
            .map(|_| self.dice.whole(session.insert + 1, session.last - 1))
            .collect();
        times
            .into_iter()
            .filter(|&minute| (7 * 60..22 * 60).contains(&(self.clock.local(minute) % DAY)))
            .collect()
    }

    fn add_injection(&mut self, minute: Minute, session: &Session) {
        let sites = ["abdomen", "upper-thigh", "upper-buttock"];
        let site = sites[self.dice.whole(0, 2) as usize];
        let near = site == session.site.key;
        let distance = if near {
            self.dice.between(2.0, 12.0)
        } else {
            self.dice.between(15.0, 70.0)
        };
        if self.dice.chance(0.8) {
            let distance = (distance as i64).to_string();
            self.add(
                minute,
                &session.label,
                "injection",
                &[("site", site), ("distance_cm", &distance)],
            );
        } else {
            self.add(minute, "", "injection", &[("site", site)]);
        }
    }

    fn add_end(&mut self, session: &Session, cause: &'static str) {
        if cause == "knocked-off" && self.dice.chance(0.7) {
            self.add(session.last, &session.label, "bump", &[]);
        }
        self.add(session.last, &session.label, "end", &[("cause", cause)]);
        let grade = match (cause, self.dice.unit()) {
            ("reaction", p) if p < 0.2 => "4",
            ("reaction", p) if p < 0.5 => "3",
            ("reaction", _) => "2",
            (_, p) if p < 10.0 * session.site.reaction.share_14 / 4.0 => "1",
            (_, p) if p > 0.97 => "2",
            _ => "0",
        };
        if grade != "0" || self.dice.chance(0.8) {
            self.add(session.last, &session.label, "skin", &[("grade", grade)]);
        }
        for (aspect, more) in [
            ("comfort", 0.0),
            ("visibility", 0.7),
            ("sleep", -session.site.artefacts / 12.0),
        ] {
            self.add_rating(session.last, session, aspect, session.site.comfort + more);
        }
    }
}
