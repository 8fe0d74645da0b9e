//! What a look is given, and the sessions that the log tells of.

use std::collections::BTreeMap;
use std::ops::Range;

use jiff::tz::TimeZone;
use whereworn_model::rows::{Check, FileRows, RejectedRow, WearEvent};
use whereworn_model::settings::Settings;
use whereworn_model::time::{MICROS_PER_DAY, MICROS_PER_SECOND, Micros};

use crate::checks::extremes::Routine;
use crate::finding::Finding;
use crate::sessions::moved_log::Moved;

/// An hour.
pub(crate) const HOUR: Micros = 3600 * MICROS_PER_SECOND;

/// Readings further before an insertion, or after an end, are another's, or the log is off: no clock is off by more.
pub(crate) const FURTHEST_OUT: Micros = 14 * HOUR;

/// Everything but the readings, which come one sensor at a time.
#[derive(Clone, Copy, Debug)]
pub struct Log<'a> {
    /// The study's settings.
    pub settings: &'a Settings,
    /// Wear events that count, by wearer and time.
    pub events: &'a [WearEvent],
    /// `insert` and `end` rows refused because their sensor was inserted or had ended already.
    pub refused: &'a [WearEvent],
    /// Capillary checks, by wearer and time.
    pub checks: &'a [Check],
    /// The input files; a reading's `file` is a position among them.
    pub files: &'a [FileRows],
    /// Rows that could not be used.
    pub rejects: &'a [RejectedRow],
    /// Nothing later is looked at.
    pub cutoff: Micros,
    /// What begins from here on is new.
    pub month_start: Micros,
}

impl<'a> Log<'a> {
    /// The checks of a wearer, by time.
    pub(crate) fn checks_of(&self, wearer: &str) -> &'a [Check] {
        self.checks.get(self.places_of(wearer)).unwrap_or_default()
    }

    /// Their places.
    pub(crate) fn places_of(&self, wearer: &str) -> Range<usize> {
        let checks = self.checks;
        let from = checks.partition_point(|check| check.wearer.as_str() < wearer);
        let to = checks.partition_point(|check| check.wearer.as_str() <= wearer);
        from..to
    }

    /// Whether the settings say of a finding that it is all right.
    pub(crate) fn is_seen(&self, finding: &Finding) -> bool {
        let zone = self.settings.zone();
        let mut seen = self.settings.seen.iter();
        seen.any(|seen| finding.is_about(seen, &zone))
    }

    /// Warm-up of a wearer's sensors.
    pub(crate) fn warm_up(&self, wearer: &str) -> Micros {
        (self.settings.warmup_hours(wearer) * HOUR as f64) as Micros
    }

    /// The time zone that a wearer lives in, journeys aside.
    pub(crate) fn home(&self, wearer: &str) -> TimeZone {
        let zones = self.settings.wearer_zones(wearer);
        zones
            .into_iter()
            .next()
            .map_or(TimeZone::UTC, |first| first.zone)
    }
}

/// One sensor from its `insert` on.
#[derive(Clone, Debug, Default)]
pub(crate) struct Session {
    pub wearer: String,
    pub sensor: String,
    pub site: String,
    pub side: String,
    pub model: String,
    pub lot: String,
    pub tape: String,
    pub insert: Micros,
    pub end: Option<Micros>,
    /// The row of `end`; empty without one.
    pub ending: WearEvent,
    /// Whether it was taken off for a reaction, or itched or worse.
    pub troubled: bool,
    /// A second `insert` of the same id: readings from then on are another sensor's.
    pub second: Option<Micros>,
    pub file: String,
    pub line: u64,
    pub seen: Seen,
}

/// What its readings show.
#[derive(Clone, Debug, Default)]
pub(crate) struct Seen {
    /// Its first reading, before its insertion too, and its last, after its end too; of one id for one sensor.
    pub first: Option<Micros>,
    pub last: Option<Micros>,
    /// Between what times nine in ten of its readings lie, wherever that is.
    pub most: Option<(Micros, Micros)>,
    /// First and last reading from the insertion on.
    pub span: Option<(Micros, Micros)>,
    /// The same with what goes on before the insertion and after the end without a pause as long as a warm-up.
    pub run: Option<(Micros, Micros)>,
    /// The longest time without a reading inside, before and after it.
    pub gap: Option<(Micros, Micros)>,
    /// How they lie to the days of the log.
    pub moved: Option<Moved>,
    /// Median minutes between readings.
    pub spacing: f64,
    /// Whole nights worn, and those with too few readings.
    pub nights: (u32, u32),
    /// What its fingersticks followed.
    pub routine: Routine,
    /// Fingersticks that have a usable reading.
    pub pairs: u32,
}

impl Session {
    /// What an `insert` begins.
    pub fn inserted(event: &WearEvent) -> Self {
        Self {
            wearer: event.wearer.to_string(),
            sensor: event.sensor.to_string(),
            site: event.site.to_string(),
            side: event.side.to_string(),
            model: event.model.to_string(),
            lot: event.lot.to_string(),
            tape: event.tape.to_string(),
            insert: event.time,
            file: event.file.to_string(),
            line: event.line,
            ..Self::default()
        }
    }

    /// Until when its readings are its own.
    pub fn readings_until(&self, cutoff: Micros) -> Micros {
        let until = self.end.unwrap_or(cutoff).min(cutoff);
        self.second.map_or(until, |second| until.min(second - 1))
    }

    /// When it was last known to be worn.
    pub fn until(&self, cutoff: Micros) -> Micros {
        self.end
            .or(self.seen.span.map(|span| span.1))
            .unwrap_or(self.insert)
            .min(self.readings_until(cutoff))
    }

    /// Whether nobody logged an `end` although it is no longer worn.
    pub fn is_lost(&self, cutoff: Micros) -> bool {
        let last = self.seen.span.map_or(self.insert, |span| span.1);
        self.end.is_none() && cutoff - last >= MICROS_PER_DAY
    }
}

/// The skin grade from which on nobody is asked to wear more there.
const ITCHING: u8 = 2;

/// Sessions by wearer and insertion.
pub(crate) fn sessions(log: &Log<'_>) -> Vec<Session> {
    let mut sessions: Vec<Session> = Vec::new();
    let mut known: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for event in log.events.iter().filter(|event| event.time <= log.cutoff) {
        let key = (event.wearer.as_str(), event.sensor.as_str());
        match event.event.as_str() {
            "insert" => {
                known.insert(key, sessions.len());
                sessions.push(Session::inserted(event));
            }
            kind => {
                let Some(session) = known.get(&key).and_then(|place| sessions.get_mut(*place))
                else {
                    continue;
                };
                if kind == "end" {
                    session.end = Some(event.time);
                    session.ending = event.clone();
                    session.troubled |= event.cause == "reaction";
                }
                session.troubled |= event.grade.is_some_and(|grade| grade >= ITCHING);
            }
        }
    }
    for refused in log.refused.iter().filter(|event| event.event == "insert") {
        let key = (refused.wearer.as_str(), refused.sensor.as_str());
        if let Some(session) = known.get(&key).and_then(|place| sessions.get_mut(*place)) {
            let first = session
                .second
                .map_or(refused.time, |second| second.min(refused.time));
            session.second = Some(first).filter(|second| *second > session.insert);
        }
    }
    sessions
}
