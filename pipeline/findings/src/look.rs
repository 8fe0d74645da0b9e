//! The look itself: readings come one sensor at a time, sensors of one wearer one after the other.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use rayon::prelude::*;
use whereworn_model::rows::{Check, Reading, RejectedRow, SensorReadings, Status};
use whereworn_model::settings::FINDING_KINDS;
use whereworn_model::time::{MICROS_PER_DAY, Micros, local_date, start_of_day};
use whereworn_model::units::Unit;

use crate::checks::beside::Beside;
use crate::checks::control;
use crate::checks::copies::Copies;
use crate::checks::days_off::{self, Worn};
use crate::checks::doubles;
use crate::checks::extremes::Routine;
use crate::checks::half_days;
use crate::checks::lost_dates;
use crate::checks::lost_minutes;
use crate::checks::odd_units::OddUnits;
use crate::checks::shared_checks::SharedChecks;
use crate::checks::shared_meter;
use crate::checks::stopped;
use crate::checks::twice;
use crate::clocks::{self, Wearer};
use crate::finding::{ChecksOut, DoubtedCheck, Finding, LeftOut, Severity};
use crate::log::{FURTHEST_OUT, Log, Seen, Session, sessions};
use crate::meters::bias;
use crate::meters::steady::Steps;
use crate::readings::coarse::{self, Coarse};
use crate::readings::cut_times::CutTimes;
use crate::readings::flat::{self, flat};
use crate::readings::repeated::{self, Repeated};
use crate::readings::swapped_dates::SwappedDates;
use crate::readings::trace::{Trace, median_step, minutes};
use crate::sessions as wear;
use crate::sessions::moved_log::{self, Moved};
use crate::sessions::nights;
use crate::sessions::rows::Tallies;
use crate::sessions::sites;
use crate::sessions::swapped_ids;
use crate::sessions::swapped_log::SwappedLog;
use crate::sessions::two_ids;
use crate::units::{self, Levels};

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    /// The worst first, causes before consequences, the newest first.
    pub findings: Vec<Finding>,
    /// Sensors that comparisons leave out, each once.
    pub left_out: Vec<LeftOut>,
    /// Fingersticks that comparisons leave out, by wearer and time.
    pub doubted: Vec<DoubtedCheck>,
}

/// Readings whose sensor was never inserted under its wearer's name.
#[derive(Clone, Debug)]
pub(crate) struct Orphan {
    pub wearer: String,
    pub sensor: String,
    pub rows: u64,
    pub from: Micros,
    pub to: Micros,
    pub file: usize,
    pub line: u64,
    pub tallies: Tallies,
}

/// By file and line of a reading, the line in the same file of one that contradicts it.
pub(crate) type Contradicted = HashMap<(usize, u64), u64>;

fn contradicted(log: &Log<'_>) -> Contradicted {
    let place = |name: &str| log.files.iter().position(|file| file.name == name);
    let own = log.rejects.iter().filter_map(|reject| {
        let (file, line) = reject.contradicted()?;
        (file == reject.file).then_some(((place(file)?, line), reject.line))
    });
    own.collect()
}

/// Traces of a wearer's sensors, by the places of their sessions.
type Traces = BTreeMap<usize, Trace>;

/// A wearer, traces of the sensors, and the fingersticks beside what they showed.
type Waiting<'a> = (String, Traces, Copies<'a>);

/// Wearers wait until their traces hold so many readings (16 bytes each), to be looked at side by side.
const SIDE_BY_SIDE: usize = 1 << 20;

/// What clocks and meters of a wearer show, how many checks each session has, and those that comparisons leave out.
type OfWearer = (Vec<Finding>, BTreeMap<usize, u32>, Vec<DoubtedCheck>);

/// A look under way.
pub struct Look<'a> {
    log: Log<'a>,
    sessions: Vec<Session>,
    place: BTreeMap<(String, String), usize>,
    /// The wearer whose sensors are coming in, and their traces.
    wearer: String,
    traces: Traces,
    /// Wearers whose sensors have come in, and the readings in their traces.
    waiting: Vec<Waiting<'a>>,
    waiting_readings: usize,
    levels: Levels,
    copies: Copies<'a>,
    odd_units: OddUnits,
    shared: SharedChecks<'a>,
    beside: Beside,
    tallies: Tallies,
    contradicted: Contradicted,
    coarse: Vec<Coarse>,
    repeated: Vec<repeated::Told>,
    cut_times: CutTimes,
    swapped_dates: SwappedDates,
    swapped_log: SwappedLog<'a>,
    orphans: Vec<Orphan>,
    findings: Vec<Finding>,
    doubted: Vec<DoubtedCheck>,
}

impl<'a> Look<'a> {
    /// Begins a look.
    pub fn new(log: Log<'a>) -> Self {
        let sessions = sessions(&log);
        let place = sessions
            .iter()
            .enumerate()
            .map(|(place, session)| ((session.wearer.clone(), session.sensor.clone()), place))
            .collect();
        let (odd_units, shared) = (OddUnits::new(&log), SharedChecks::new(&log));
        Self {
            tallies: Tallies::new(&log),
            contradicted: contradicted(&log),
            beside: Beside::new(odd_units.places().chain(shared.places())),
            swapped_log: SwappedLog::new(&log),
            odd_units,
            shared,
            log,
            sessions,
            place,
            wearer: String::new(),
            traces: Traces::new(),
            waiting: Vec::new(),
            waiting_readings: 0,
            levels: Levels::default(),
            copies: Copies::default(),
            coarse: Vec::new(),
            repeated: Vec::new(),
            cut_times: CutTimes::default(),
            swapped_dates: SwappedDates::default(),
            orphans: Vec::new(),
            findings: Vec::new(),
            doubted: Vec::new(),
        }
    }

    /// Looks at the readings of one sensor. Sensors of a wearer come one after the other.
    pub fn sensor(&mut self, mut readings: SensorReadings) {
        readings
            .readings
            .retain(|reading| reading.time <= self.log.cutoff);
        self.cut_times.sensor(&readings);
        if readings.wearer != self.wearer {
            self.end_wearer();
            self.wearer.clone_from(&readings.wearer);
        }
        let place = self.place_of(&readings);
        let Some((placed, session)) =
            place.and_then(|place| Some((place, self.sessions.get_mut(place)?)))
        else {
            self.orphan(&readings);
            return;
        };
        session.seen = seen(&self.log, session, &readings);
        self.copies.sensor(&self.log, &readings);
        self.swapped_dates.sensor(&self.log, session, &readings);
        let until = session.readings_until(self.log.cutoff);
        if let Some(second) = session.second {
            // What follows a second `insert` is told with it.
            readings.readings.retain(|reading| reading.time < second);
        }
        self.tallies
            .readings(&self.log, &readings, Some(session.insert..=until));
        let repeated = Repeated::of(&readings);
        if let Some(repeated) = &repeated {
            session.seen.spacing = 0.0;
            self.repeated.push(repeated.told(&self.log, session));
        }
        // Two sensors under one id tell of no clock and no meter, nor does one under two clocks.
        let is_two = |found: Finding| found.severity == Severity::Wrong;
        let two = wear::too_long(&self.log, session).is_some_and(is_two)
            || repeated.is_some_and(|repeated| repeated.is_of_two_clocks());
        let factors = self.levels.readings(&self.log, session, &readings);
        for (reading, factor) in readings.readings.iter_mut().zip(factors) {
            reading.glucose *= factor;
        }
        self.coarse.extend(Coarse::of(placed, &readings));
        self.beside.sensor(&self.log, &readings);
        let warm = session.insert + self.log.warm_up(&session.wearer);
        if let Some((finding, rows)) = flat(&readings, warm, until)
            .map(|flat| flat.told(&self.log, &self.sessions[placed], &readings))
        {
            self.findings.push(finding);
            self.doubted.extend(rows);
        }
        if let Some(place) = place.filter(|_| !two) {
            let trace = Trace::new(&readings, warm, until, &self.contradicted);
            self.traces.insert(place, trace);
        }
    }

    /// The place of a sensor's session, day and month of its rows in the log put right where they are swapped.
    fn place_of(&mut self, readings: &SensorReadings) -> Option<usize> {
        let key = (readings.wearer.clone(), readings.sensor.clone());
        let place = self.place.get(&key).copied();
        let known = place.and_then(|place| self.sessions.get(place));
        let Some(session) = self.swapped_log.put_right(&self.log, known, readings) else {
            return place;
        };
        match place.and_then(|place| self.sessions.get_mut(place)) {
            Some(known) => *known = session,
            None => self.sessions.push(session),
        }
        place.or(self.sessions.len().checked_sub(1))
    }

    fn orphan(&mut self, readings: &SensorReadings) {
        self.swapped_dates.orphan(readings);
        let mut tallies = Tallies::default();
        tallies.readings(&self.log, readings, None);
        let (Some(first), Some(last)) = (readings.readings.first(), readings.readings.last())
        else {
            return;
        };
        let place = readings
            .readings
            .iter()
            .map(|reading| (reading.file, reading.line))
            .min();
        let (file, line) = place.unwrap_or_default();
        self.orphans.push(Orphan {
            wearer: readings.wearer.clone(),
            sensor: readings.sensor.clone(),
            rows: readings.readings.len() as u64,
            from: first.time,
            to: last.time,
            file,
            line,
            tallies,
        });
    }

    /// All sensors of a wearer have come in.
    fn end_wearer(&mut self) {
        let traces = std::mem::take(&mut self.traces);
        let copies = std::mem::take(&mut self.copies);
        if traces.is_empty() {
            return;
        }
        self.waiting_readings += traces
            .values()
            .map(|trace| trace.times.len())
            .sum::<usize>();
        self.waiting.push((self.wearer.clone(), traces, copies));
        if self.waiting_readings >= SIDE_BY_SIDE {
            self.look_at_waiting();
        }
    }

    /// Looks at clocks and meters of the wearers who wait, side by side; what is found comes in their order.
    fn look_at_waiting(&mut self) {
        let waiting = std::mem::take(&mut self.waiting);
        self.waiting_readings = 0;
        let one = |(wearer, traces, copies): Waiting<'_>| self.of_wearer(&wearer, &traces, copies);
        let found: Vec<OfWearer> = waiting.into_par_iter().map(one).collect();
        for (findings, pairs, doubted) in found {
            self.findings.extend(findings);
            self.doubted.extend(doubted);
            for (place, pairs) in pairs {
                if let Some(session) = self.sessions.get_mut(place) {
                    session.seen.pairs = pairs;
                }
            }
        }
    }

    /// Looks at clocks and meters of a wearer.
    fn of_wearer(&self, wearer: &str, traces: &Traces, copies: Copies<'_>) -> OfWearer {
        let mut known: Vec<(usize, &Session, &Trace)> = traces
            .iter()
            .filter_map(|(place, trace)| Some((*place, self.sessions.get(*place)?, trace)))
            .collect();
        known.sort_by_key(|(_, session, _)| session.insert);
        let zone = self.log.home(wearer);
        let mut checks = units::cured(&self.log, wearer);
        self.odd_units
            .take_out(&self.log, &self.beside, wearer, &mut checks);
        self.shared.take_out(&self.log, wearer, &mut checks);
        flat::take_out(&self.doubted, wearer, &mut checks);
        let (mut of_rows, mut doubted) = (Vec::new(), Vec::new());
        let of_copies = copies.take_out(&self.log, &mut checks, &zone);
        let of_doubles = doubles::take_out(&mut checks, self.log.checks_of(wearer), &zone);
        let of_stopped = stopped::take_out(&mut checks, &zone);
        let of_minutes = lost_minutes::take_out(&mut checks, &zone);
        let all = of_copies.into_iter().chain(of_doubles).chain(of_stopped);
        for (finding, rows) in all.chain(of_minutes) {
            doubted.extend(self.doubted_rows(&finding, &rows));
            of_rows.push(finding);
        }
        of_rows.extend(twice::take_out(&mut checks, &zone));
        let as_read: Vec<&Trace> = known.iter().map(|(_, _, trace)| *trace).collect();
        let steps: Vec<Steps> = as_read.iter().map(|own| Steps::of(own, &checks)).collect();
        let steady: Vec<Option<Trace>> = steps
            .iter()
            .zip(&as_read)
            .map(|(steps, own)| (!steps.is_none()).then(|| steps.off(own)))
            .collect();
        let traces: Vec<&Trace> = steady
            .iter()
            .zip(&as_read)
            .map(|(steady, own)| steady.as_ref().unwrap_or(own))
            .collect();
        let sessions: Vec<&Session> = known.iter().map(|(_, session, _)| *session).collect();
        let worn = Worn {
            name: wearer,
            sessions: &sessions,
            traces: &traces,
            zone: &zone,
            cutoff: self.log.cutoff,
        };
        for (finding, rows) in days_off::take_out(&mut checks, &worn) {
            doubted.extend(self.doubted_rows(&finding, &rows));
            of_rows.push(finding);
        }
        of_rows.extend(lost_dates::findings(&checks, &worn));
        of_rows.extend(half_days::take_out(&mut checks, &zone, &traces));
        let unit = self.log.settings.study.unit.unwrap_or(Unit::MgDl);
        let of_others = shared_meter::take_out(&mut checks, &worn);
        let of_solutions = control::take_out(&mut checks, &traces, unit);
        for (finding, rows) in of_others.into_iter().chain(of_solutions) {
            doubted.extend(self.doubted_rows(&finding, &rows));
            of_rows.push(finding);
        }
        let mut meters: Vec<&str> = checks.iter().map(|check| check.meter.as_str()).collect();
        meters.sort_unstable();
        meters.dedup();
        let wearer = Wearer {
            name: wearer,
            sessions,
            traces,
            checks: checks.iter().collect(),
            meters,
            zone,
            warm_up: minutes(self.log.warm_up(wearer)),
            cutoff: self.log.cutoff,
        };
        let found = clocks::clocks(&wearer);
        for finding in &found.findings {
            doubted.extend(self.doubted_rows(finding, &of_meter(finding, &checks)));
        }
        let bias = bias::findings(&wearer, &found, &steps);
        let mut pairs: BTreeMap<usize, u32> = BTreeMap::new();
        for item in &found.profiles.items {
            if let Some((place, _, _)) = known.get(item.sensor) {
                *pairs.entry(*place).or_default() += 1;
            }
        }
        let mut findings = found.findings;
        findings.extend(bias);
        findings.extend(of_rows);
        findings.extend(two_ids::findings(&self.log, &wearer.sessions, &as_read));
        (findings, pairs, doubted)
    }

    /// Fingersticks that a finding doubts, as they were read; none where the settings say that they are all right.
    fn doubted_rows(&self, finding: &Finding, rows: &[Check]) -> Vec<DoubtedCheck> {
        if self.log.is_seen(finding) {
            return Vec::new();
        }
        let row = |check: &Check| (check.time, check.meter.to_string());
        let rows: BTreeSet<(Micros, String)> = rows.iter().map(row).collect();
        let own = self.log.checks_of(&finding.wearer).iter();
        own.filter(|check| rows.contains(&row(check)))
            .map(|check| DoubtedCheck::new(check, finding.kind))
            .collect()
    }

    /// Ends the look.
    pub fn finish(mut self) -> Outcome {
        self.end_wearer();
        self.look_at_waiting();
        let log = &self.log;
        let mut findings = std::mem::take(&mut self.findings);
        findings.extend(repeated::findings(log, std::mem::take(&mut self.repeated)));
        let mut doubted = std::mem::take(&mut self.doubted);
        let (of_groups, of_units, mut told) = self.levels.findings(log);
        findings.extend(of_groups);
        doubted.extend(of_units);
        for (found, rows) in [
            self.odd_units.findings(log, &self.beside),
            self.shared.findings(log, &self.beside),
        ] {
            findings.extend(found);
            doubted.extend(rows);
        }
        findings.extend(coarse::findings(log, &self.sessions, &self.coarse));
        // Those put right have another place.
        self.sessions
            .sort_by(|a, b| (&a.wearer, a.insert).cmp(&(&b.wearer, b.insert)));
        findings.extend(wear::findings(log, &self.sessions, &self.orphans));
        // Where fingersticks say that a sensor's dates are off its log is not.
        let is_of_clock = |moved: &Finding| {
            let same = |clock: &Finding| {
                clock.kind == "clock-sensor"
                    && (&clock.wearer, &clock.sensor) == (&moved.wearer, &moved.sensor)
            };
            findings.iter().any(same)
        };
        let mut of_logs = moved_log::findings(log, &self.sessions);
        of_logs.retain(|moved| !is_of_clock(moved));
        findings.extend(of_logs);
        findings.extend(swapped_ids::findings(log, &self.sessions));
        findings.extend(nights::findings(log, &self.sessions));
        findings.extend(sites::findings(log, &self.sessions));
        let of_log: Vec<(usize, &RejectedRow)> = log
            .rejects
            .iter()
            .enumerate()
            .filter(|(_, reject)| self.swapped_log.explains(reject))
            .collect();
        told.extend(of_log.iter().map(|(place, _)| *place));
        // Sensors named in a rejected row.
        let is_of_log = |sensor: &str| {
            let mut fields = of_log.iter().flat_map(|(_, reject)| {
                let fields = reject.raw.split([',', ';', '\t']);
                fields.map(|field| field.trim_matches([' ', '"']))
            });
            fields.any(|field| field == sensor)
        };
        findings.retain(|finding| {
            let is_open = ["no-end", "lost"].contains(&finding.kind);
            !is_open || !is_of_log(&finding.sensor)
        });
        // Rows under the wrong wearer are told as that.
        for orphan in std::mem::take(&mut self.orphans) {
            if !is_of_log(&orphan.sensor)
                && wear::wrong_wearer(log, &self.sessions, &orphan).is_none()
            {
                self.tallies.merge(orphan.tallies);
            }
        }
        if let Some((finding, rejects)) = self.cut_times.finding(log) {
            findings.push(finding);
            told.extend(rejects);
        }
        let of_dates = self.swapped_dates.findings(log);
        // What a file's dates explain is not told by month as well.
        let is_told = |finding: &Finding| {
            let same = |dates: &Finding| (dates.kind, &dates.file) == (finding.kind, &finding.file);
            of_dates.iter().any(same)
        };
        let of_rows = self.tallies.findings(log, &told).into_iter();
        findings.extend(of_rows.filter(|finding| !is_told(finding)));
        findings.extend(of_dates);
        findings.extend(self.swapped_log.findings());
        for finding in &mut findings {
            finding.seen = log.is_seen(finding);
            finding.new = finding.from.is_some_and(|from| from >= log.month_start);
        }
        findings.sort_by(|a, b| a.order(b, &FINDING_KINDS));
        let left_out = left_out(log, &findings, &self.sessions);
        if log.settings.study.keep_doubtful {
            doubted.clear();
        }
        doubted.sort_by(DoubtedCheck::order);
        doubted.dedup_by(|a, b| DoubtedCheck::order(a, b).is_eq());
        Outcome {
            findings,
            left_out,
            doubted,
        }
    }
}

/// Fingersticks that comparisons leave out for the clock of a meter.
fn of_meter(finding: &Finding, checks: &[Check]) -> Vec<Check> {
    let (from, to) = (
        finding.from.unwrap_or(Micros::MIN),
        finding.to.unwrap_or(Micros::MAX),
    );
    let of = |check: &&Check| {
        let its = match finding.leaves_out_checks {
            ChecksOut::None => false,
            ChecksOut::OfMeter => check.meter == finding.meter,
            ChecksOut::All => true,
        };
        its && (from..=to).contains(&check.time)
    };
    checks.iter().filter(of).cloned().collect()
}

/// Sensors whose clock, unit, wearer or id is plainly off.
fn left_out(log: &Log<'_>, findings: &[Finding], sessions: &[Session]) -> Vec<LeftOut> {
    if log.settings.study.keep_doubtful {
        return Vec::new();
    }
    let mut left_out: BTreeMap<(&str, &str), &'static str> = BTreeMap::new();
    for finding in findings.iter().filter(|f| f.leaves_out && !f.seen) {
        let (from, to) = (
            finding.from.unwrap_or(Micros::MIN),
            finding.to.unwrap_or(Micros::MAX),
        );
        for session in sessions
            .iter()
            .filter(|session| session.wearer == finding.wearer)
        {
            let (begun, ended) = (session.insert, session.until(log.cutoff));
            let meets = begun <= to && ended > from;
            let is_its = match finding.sensors.as_slice() {
                [] => meets && (finding.sensor.is_empty() || finding.sensor == session.sensor),
                several => several.contains(&session.sensor),
            };
            if is_its {
                left_out
                    .entry((&session.wearer, &session.sensor))
                    .or_insert(finding.kind);
            }
        }
    }
    left_out
        .into_iter()
        .map(|((wearer, sensor), reason)| LeftOut {
            wearer: wearer.to_owned(),
            sensor: sensor.to_owned(),
            reason,
        })
        .collect()
}

/// What the readings of a session show of its course.
fn seen(log: &Log<'_>, session: &Session, readings: &SensorReadings) -> Seen {
    let until = session.readings_until(log.cutoff);
    let inside: Vec<_> = readings
        .readings
        .iter()
        .filter(|reading| (session.insert..=until).contains(&reading.time))
        .collect();
    let times: Vec<f64> = inside.iter().map(|reading| minutes(reading.time)).collect();
    let spacing = median_step(&times);
    // A clock that is off puts some of the readings before the insertion, or after the end.
    let own = session.insert - FURTHEST_OUT..=until.saturating_add(FURTHEST_OUT);
    let mut own = readings
        .readings
        .iter()
        .map(|reading| reading.time)
        .filter(|time| session.second.is_none() && own.contains(time));
    let gap = inside
        .iter()
        .zip(inside.iter().skip(1))
        .map(|(a, b)| (a.time, b.time))
        .max_by_key(|(a, b)| b - a);
    let told: Vec<Micros> = inside
        .iter()
        .filter(|reading| matches!(reading.status, Status::Ok | Status::Low | Status::High))
        .map(|reading| reading.time)
        .collect();
    let span = inside.first().zip(inside.last());
    let span = span.map(|(a, b)| (a.time, b.time));
    let warm_up = log.warm_up(&session.wearer);
    Seen {
        first: own.next(),
        last: own.next_back(),
        most: most(&readings.readings),
        span,
        run: span.map(|span| run(&readings.readings, span, warm_up)),
        gap,
        moved: Moved::of(session, &readings.readings, log.checks_of(&session.wearer))
            .filter(|_| session.second.is_none()),
        spacing,
        nights: nights::counted(log, session, &told, spacing),
        routine: Routine::of(log.checks_of(&session.wearer), &readings.readings),
        pairs: 0,
    }
}

/// Between what times nine in ten of some readings lie; `None` of a few.
fn most(readings: &[Reading]) -> Option<(Micros, Micros)> {
    const LEAST: usize = 50;
    if readings.len() < LEAST {
        return None;
    }
    let few = readings.len() / 20;
    let (first, last) = (readings.get(few)?, readings.iter().rev().nth(few)?);
    Some((first.time, last.time))
}

/// A span of readings with those before and after it that follow without a pause: another sensor of the same id would begin
/// with a warm-up.
fn run(readings: &[Reading], (first, last): (Micros, Micros), pause: Micros) -> (Micros, Micros) {
    let told = readings.iter();
    let told = told.filter(|reading| reading.status != Status::Warmup);
    let times = told.map(|reading| reading.time);
    let before = times.clone().rev().filter(|time| *time < first);
    let after = times.filter(|time| *time > last);
    (
        without_pause(first, before, pause),
        without_pause(last, after, pause),
    )
}

/// The last of some times each of which lies within a pause of the one before.
fn without_pause(from: Micros, times: impl Iterator<Item = Micros>, pause: Micros) -> Micros {
    let mut at = from;
    for time in times {
        if (time - at).abs() >= pause {
            break;
        }
        at = time;
    }
    at
}

/// The local month of an instant; the one at which a month ends is its last.
pub(crate) fn month_of(
    log: &Log<'_>,
    at: Micros,
    cache: &mut Option<(Micros, Micros, String)>,
) -> String {
    if let Some((from, to, name)) = cache
        && is_within(at, *from, *to)
    {
        return name.clone();
    }
    let zone = log.settings.zone();
    let Some(date) = local_date(at - 1, &zone) else {
        return String::new();
    };
    let name = format!("{:04}-{:02}", date.year(), date.month());
    let from = start_of_day(date.first_of_month(), &zone).unwrap_or(at);
    let to = date
        .last_of_month()
        .tomorrow()
        .ok()
        .and_then(|next| start_of_day(next, &zone))
        .unwrap_or(at + MICROS_PER_DAY);
    *cache = Some((from, to, name.clone()));
    name
}

/// Whether an instant lies in a month that begins and ends at two.
pub(crate) fn is_within(at: Micros, from: Micros, to: Micros) -> bool {
    from < at && at <= to
}
