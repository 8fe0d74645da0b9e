//! Fingersticks that fit the readings of another day, month or year: their dates are wrong, not the minutes of a clock.
//!
//! A year written wrong in January, or a meter whose date was set wrong, leaves fingersticks that pair with nothing or with
//! readings of another day. Moved to where they belong they fit as others do, and a day beside that they do not.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};
use whereworn_model::rows::Check;
use whereworn_model::time::{MICROS_PER_DAY, MICROS_PER_MINUTE, Micros};

use crate::checks::twice::leave_out;
use crate::finding::{Finding, OF_CLOCKS, Severity};
use crate::log::Session;
use crate::readings::trace::{Trace, micros, middle_and_scatter, minutes};
use crate::words::{checks_from, clock_correction};

/// Years, months and days by which dates are written wrong: by one of each where a single figure is, by two days and a
/// week where a meter's calendar is; and day and month read for each other.
const OFFS: [Off; 13] = [
    Off::SWAPPED,
    Off::new(-1, 0, 0),
    Off::new(1, 0, 0),
    Off::new(-2, 0, 0),
    Off::new(2, 0, 0),
    Off::new(0, -1, 0),
    Off::new(0, 1, 0),
    Off::new(0, 0, -1),
    Off::new(0, 0, 1),
    Off::new(0, 0, -2),
    Off::new(0, 0, 2),
    Off::new(0, 0, -7),
    Off::new(0, 0, 7),
];

const MINUTES_PER_DAY: f64 = 1440.0;

/// Relative noise of a fingerstick against a sensor, its gain and its delay unknown, and degrees of freedom of it.
const NOISE: f64 = 0.12;
const FREEDOM: f64 = 5.0;

/// As far off, in logarithms, as a fingerstick without a reading counts.
const WITHOUT: f64 = 0.35;

/// Least gain of log-likelihood by other dates, least fingersticks with a reading there, and least mean log-likelihood: of runs
/// in 77 clean studies that were best at some other date, those that scattered little had -1.2 and less, planted ones -0.83
/// and more.
const GAIN: f64 = 30.0;
const LEAST: usize = 15;
const LEAST_FIT: f64 = -0.95;

/// Least of them with readings as they stand, which deny their dates.
const LEAST_DENIED: usize = 10;

/// The same where they have no readings as they stand, which denies nothing: between two sensors that is usual, and of some runs
/// there one fits another month or week by chance, of 15 to 27 in 6 of 337 clean studies. So that is asked of years alone, and of
/// day and month that are swapped.
const GAIN_WITHOUT: f64 = 80.0;
const LEAST_WITHOUT: usize = 40;

/// Most robust standard deviation there, and how many times as much it has to be a day or two beside and as they stand, of
/// which two at least have readings: glucose of days at the same hour is alike as well, but less.
const MOST_SCATTER: f64 = 0.16;
const BESIDE: f64 = 1.6;
const MEASURED: usize = 2;

/// It is a sensor's date and not the meter's where so many fit its readings, and so many of those taken while it was worn are
/// among them.
const OF_SENSOR: f64 = 0.7;

/// So near to a run of another month or year lie rows of the same date.
const NEAR: Micros = 14 * MICROS_PER_DAY;

/// How far dates are ahead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Off {
    years: i64,
    months: i64,
    days: i64,
    /// Whether day and month are read for each other, where both can be.
    swapped: bool,
}

impl Off {
    /// Day and month read for each other.
    pub const SWAPPED: Self = Self {
        swapped: true,
        ..Self::new(0, 0, 0)
    };

    const fn new(years: i64, months: i64, days: i64) -> Self {
        Self {
            years,
            months,
            days,
            swapped: false,
        }
    }

    fn and_days(self, days: i64) -> Self {
        Self {
            days: self.days + days,
            ..self
        }
    }

    /// The true instant of a time that was written with the wrong date.
    pub fn true_time(self, at: Micros, zone: &TimeZone) -> Option<Micros> {
        let span = Span::new();
        let span = span.try_years(self.years).ok()?;
        let span = span.try_months(self.months).ok()?;
        let span = span.try_days(self.days).ok()?;
        let written = zone.to_datetime(Timestamp::from_microsecond(at).ok()?);
        let (month, day) = (written.month(), written.day());
        let put_right = match self.swapped && day <= 12 {
            true => written.with().month(day).day(month).build().ok()?,
            false => written,
        };
        let put_right = put_right.checked_sub(span).ok()?;
        if put_right == written {
            // Of an hour that comes twice, it may be the second.
            return Some(at);
        }
        let zoned = put_right.to_zoned_datetime(zone.clone());
        Some(zoned.ok()?.timestamp().as_microsecond())
    }

    /// `a year behind`, as a date is.
    fn words(self) -> String {
        let (count, noun) = match (self.years, self.months, self.days) {
            (0, 0, days) if days % 7 == 0 => (days / 7, "week"),
            (0, 0, days) => (days, "day"),
            (0, months, _) => (months, "month"),
            (years, ..) => (years, "year"),
        };
        let word = if count > 0 { "ahead" } else { "behind" };
        match count.abs() {
            1 => format!("a {noun} {word}"),
            many => format!("{many} {noun}s {word}"),
        }
    }
}

/// What fingersticks of a wearer are set beside.
pub(crate) struct Worn<'a> {
    pub name: &'a str,
    pub sessions: &'a [&'a Session],
    /// As long as `sessions`.
    pub traces: &'a [&'a Trace],
    pub zone: &'a TimeZone,
    pub cutoff: Micros,
}

impl Worn<'_> {
    /// log(fingerstick) less log(reading) where a fingerstick's date is put right, and whose reading; `None` without one.
    fn apart(&self, check: &Check, off: Off) -> Option<(f64, usize)> {
        let at = minutes(off.true_time(check.time, self.zone)?);
        let mut all = self.traces.iter().enumerate();
        all.find_map(|(sensor, trace)| Some((check.glucose.ln() - trace.beside(at)?, sensor)))
    }

    /// The level of a sensor at a time.
    pub fn reading_at(&self, at: Micros) -> Option<f64> {
        self.traces
            .iter()
            .find_map(|trace| trace.beside(minutes(at)))
    }

    /// How long sensors were read between two instants; of those worn at once the longest.
    pub fn days_read(&self, from: Micros, to: Micros) -> Micros {
        let within = self.traces.iter().filter_map(|trace| {
            let (first, last) = (micros(*trace.times.first()?), micros(*trace.times.last()?));
            Some(last.min(to) - first.max(from))
        });
        within.max().unwrap_or(0)
    }

    /// Robust standard deviation of fingersticks against readings, their dates put right, of so many at least.
    fn scatter(&self, checks: &[&Check], off: Off, least: usize) -> Option<f64> {
        let apart = checks.iter().filter_map(|check| self.apart(check, off));
        let mut apart: Vec<f64> = apart.map(|(apart, _)| apart).collect();
        let enough = apart.len() >= least;
        let (_, scatter) = middle_and_scatter(&mut apart).filter(|_| enough)?;
        Some(scatter)
    }
}

/// Log-likelihood of a fingerstick so far from its reading.
fn score(apart: Option<(f64, usize)>) -> f64 {
    let ratio = apart.map_or(WITHOUT, |(apart, _)| apart) / NOISE;
    -(FREEDOM + 1.0) / 2.0 * (ratio * ratio / FREEDOM).ln_1p()
}

/// Fingersticks of one meter, in the order of their rows, that other dates explain.
struct Run {
    off: Off,
    gain: f64,
    /// Their places among the wearer's.
    places: Vec<usize>,
}

/// Takes fingersticks with wrong dates out of a wearer's; a finding for each run of them, and these fingersticks, which
/// comparisons have to leave out where they are at fault and not a sensor.
pub(crate) fn take_out(checks: &mut Vec<Check>, worn: &Worn<'_>) -> Vec<(Finding, Vec<Check>)> {
    let mut found = Vec::new();
    let mut of_dates = BTreeSet::new();
    for places in by_meter(checks) {
        let mut left = places;
        while let Some(run) = best_run(checks, &left, worn) {
            left.retain(|place| !run.places.contains(place));
            found.push(told(checks, &run, worn));
            of_dates.extend(run.places);
        }
    }
    leave_out(checks, &of_dates);
    found
}

/// Places of each meter's fingersticks in the order of their rows, files by their first: a file of another year lies among
/// those of the true one.
pub(crate) fn by_meter(checks: &[Check]) -> Vec<Vec<usize>> {
    let mut first: BTreeMap<&str, Micros> = BTreeMap::new();
    for check in checks {
        let known = first.entry(check.file.as_str()).or_insert(check.time);
        *known = check.time.min(*known);
    }
    let mut by: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (place, check) in checks.iter().enumerate() {
        by.entry(check.meter.as_str()).or_default().push(place);
    }
    let mut all: Vec<Vec<usize>> = by.into_values().collect();
    for places in &mut all {
        places.sort_by_key(|place| {
            let check = &checks[*place];
            let file = check.file.as_str();
            (first.get(file), file, check.line, check.time)
        });
    }
    all
}

/// The run of fingersticks that other dates explain best, where that is beyond doubt.
fn best_run(checks: &[Check], places: &[usize], worn: &Worn<'_>) -> Option<Run> {
    let as_written: Vec<f64> = places
        .iter()
        .map(|place| score(worn.apart(&checks[*place], Off::new(0, 0, 0))))
        .collect();
    let runs = OFFS.iter().filter_map(|off| {
        let moved = places
            .iter()
            .map(|place| score(worn.apart(&checks[*place], *off)));
        let gains: Vec<f64> = moved.zip(&as_written).map(|(own, was)| own - was).collect();
        let (range, gain) = highest_sum(&gains);
        let range = with_those_without(checks, places, range, (*off, worn));
        let mut places = places.get(range)?.to_vec();
        // Those between that read the same either way have the right date.
        places.retain(|place| {
            let time = checks[*place].time;
            off.true_time(time, worn.zone) != Some(time)
        });
        let run = Run {
            off: *off,
            gain,
            places,
        };
        (gain >= GAIN && is_plain(checks, &run, worn)).then_some(run)
    });
    runs.max_by(|a, b| a.gain.total_cmp(&b.gain))
}

/// A run that is off by months and more, with the rows beside it that have a date as it has and no reading here or there.
fn with_those_without(
    checks: &[Check],
    places: &[usize],
    run: Range<usize>,
    (off, worn): (Off, &Worn<'_>),
) -> Range<usize> {
    let times = || places[run.clone()].iter().map(|place| checks[*place].time);
    let (Some(first), Some(last)) = (times().min(), times().max()) else {
        return run;
    };
    if off.years == 0 && off.months == 0 {
        return run;
    }
    let near = first - NEAR..=last + NEAR;
    let is_one = |place: &&usize| {
        let check = &checks[**place];
        let without = |off| worn.apart(check, off).is_none();
        near.contains(&check.time) && without(off) && without(Off::new(0, 0, 0))
    };
    let before = places[..run.start].iter().rev().take_while(is_one).count();
    let after = places[run.end..].iter().take_while(is_one).count();
    run.start - before..run.end + after
}

/// The run of values with the highest sum.
pub(crate) fn highest_sum(values: &[f64]) -> (Range<usize>, f64) {
    let (mut best, mut top) = (0..0, 0.0);
    let (mut start, mut sum) = (0, 0.0);
    for (place, value) in values.iter().enumerate() {
        if sum <= 0.0 {
            (start, sum) = (place, 0.0);
        }
        sum += value;
        if sum > top {
            (best, top) = (start..place + 1, sum);
        }
    }
    (best, top)
}

/// Whether fingersticks fit the readings as a body's own do, and a day or two beside do not.
fn is_plain(checks: &[Check], run: &Run, worn: &Worn<'_>) -> bool {
    let own: Vec<&Check> = run.places.iter().map(|place| &checks[*place]).collect();
    let Some(scatter) = worn.scatter(&own, run.off, LEAST) else {
        return false;
    };
    let fit: f64 = own
        .iter()
        .map(|check| score(worn.apart(check, run.off)))
        .sum();
    let beside = [-2, -1, 1, 2].map(|days| run.off.and_days(days));
    let beside = beside.into_iter().chain([Off::new(0, 0, 0)]);
    let beside: Vec<f64> = beside
        .filter_map(|off| worn.scatter(&own, off, LEAST))
        .collect();
    let as_written = worn.scatter(&own, Off::new(0, 0, 0), LEAST_DENIED);
    let is_denied = as_written.is_some_and(|far| far >= BESIDE * scatter);
    let asked = run.off.years != 0 || run.off.swapped;
    let without =
        asked && run.gain >= GAIN_WITHOUT && worn.scatter(&own, run.off, LEAST_WITHOUT).is_some();
    (is_denied || without)
        && scatter <= MOST_SCATTER
        && fit >= LEAST_FIT * own.len() as f64
        && beside.len() >= MEASURED
        && beside.iter().all(|far| *far >= BESIDE * scatter)
}

fn told(checks: &[Check], run: &Run, worn: &Worn<'_>) -> (Finding, Vec<Check>) {
    let own: Vec<&Check> = run.places.iter().map(|place| &checks[*place]).collect();
    match of_sensor(checks, &own, run, worn) {
        Some(session) => (sensor_finding(session, run, worn), Vec::new()),
        None => {
            let rows = own.iter().map(|check| (*check).clone()).collect();
            (finding(checks, &own, run, worn), rows)
        }
    }
}

/// The sensor whose readings all these fingersticks fit, where they are most of those taken while it was worn and the meter has
/// others: it is the one whose dates are wrong.
fn of_sensor<'a>(
    checks: &[Check],
    own: &[&Check],
    run: &Run,
    worn: &Worn<'a>,
) -> Option<&'a Session> {
    let fitted = own.iter().filter_map(|check| worn.apart(check, run.off));
    let sensors: Vec<usize> = fitted.map(|(_, sensor)| sensor).collect();
    let of = |sensor: usize| sensors.iter().filter(|own| **own == sensor).count();
    let sensor = *sensors.iter().max_by_key(|sensor| of(**sensor))?;
    if (of(sensor) as f64) < OF_SENSOR * sensors.len() as f64 {
        return None;
    }
    let session = worn.sessions.get(sensor)?;
    let while_worn = |check: &&Check| {
        (session.insert..=session.until(worn.cutoff)).contains(&check.time)
            && own.first().is_some_and(|first| first.meter == check.meter)
    };
    let all = checks.iter().filter(while_worn).count();
    let inside = own.iter().copied().filter(while_worn).count();
    let most = inside as f64 >= OF_SENSOR * all.max(own.len()) as f64;
    let others = checks
        .iter()
        .filter(|check| own.first().is_some_and(|first| first.meter == check.meter));
    let others_enough = others.count() >= own.len() + LEAST;
    (most && others_enough && log_says_so(session, run.off)).then_some(session)
}

/// Whether a sensor has no reading over most of the days by which its readings would be late, or early, by its log.
fn log_says_so(session: &Session, off: Off) -> bool {
    let least = (off.days.abs() * MICROS_PER_DAY) as f64 * 0.75;
    let lacks = |from: Micros, to: Micros| (to - from) as f64 >= least;
    let days_only = off.years == 0 && off.months == 0 && !off.swapped;
    let lacking = match off.days > 0 {
        // Fingersticks whose dates seem ahead: the readings are behind.
        true => session
            .seen
            .last
            .zip(session.end)
            .map(|(last, end)| lacks(last, end)),
        false => session.seen.first.map(|first| lacks(session.insert, first)),
    };
    days_only && lacking.unwrap_or(false)
}

/// Minutes by which the date of a fingerstick is ahead: whole days, whatever hour a change of the clocks took in between.
fn size(check: &Check, off: Off, zone: &TimeZone) -> f64 {
    let true_time = off.true_time(check.time, zone).unwrap_or(check.time);
    let days = (minutes(check.time) - minutes(true_time)) / MINUTES_PER_DAY;
    days.round() * MINUTES_PER_DAY
}

fn sensor_finding(session: &Session, run: &Run, worn: &Worn<'_>) -> Finding {
    let ahead = Off::new(-run.off.years, -run.off.months, -run.off.days);
    let days = ahead.days as f64 * MINUTES_PER_DAY;
    let known = ahead.years == 0 && ahead.months == 0;
    Finding {
        wearer: worn.name.to_owned(),
        sensor: session.sensor.clone(),
        site: session.site.clone(),
        file: session.file.clone(),
        line: Some(session.line),
        from: Some(session.insert),
        to: Some(session.until(worn.cutoff)),
        size: known.then_some(days),
        unit: "min",
        text: format!(
            "sensor `{}` of `{}`: its dates are {}: {} fingersticks fit its readings so, and not as they stand; every reading is compared with a fingerstick of another day",
            session.sensor,
            worn.name,
            ahead.words(),
            run.places.len()
        ),
        todo: "look at the date of the device that recorded this sensor, or of its export; if it was off, paste the lines".to_owned(),
        paste: if known {
            clock_correction(worn.name, "sensor", &session.sensor, days, None, None, worn.zone)
        } else {
            String::new()
        },
        ..Finding::new("clock-sensor", Severity::Wrong, OF_CLOCKS)
    }
}

fn finding(checks: &[Check], own: &[&Check], run: &Run, worn: &Worn<'_>) -> Finding {
    let by_time = |check: &&&Check| (check.time, check.line);
    let (Some(first), Some(last)) = (
        own.iter().min_by_key(by_time),
        own.iter().max_by_key(by_time),
    ) else {
        return Finding::new("clock-meter", Severity::Wrong, OF_CLOCKS);
    };
    let unpaired = own
        .iter()
        .filter(|check| worn.apart(check, Off::new(0, 0, 0)).is_none());
    let does = if 2 * unpaired.count() > own.len() {
        "as they stand they make no pairs, and nothing is said of how the sensors of that time read"
    } else {
        "as they stand they would be compared with readings of another day; comparisons leave them out"
    };
    let paste = paste(checks, (first, last), run, worn);
    let words = match run.off.swapped {
        true => "whose day and month are swapped".to_owned(),
        false => format!("that are {}", run.off.words()),
    };
    let todo = match (run.off.swapped, &paste) {
        (true, _) => {
            "write their dates with year, month and day in this order; of an export, name the order in its `time_format`"
        }
        (false, Some(_)) => {
            "look at the date of the meter, or of the rows written by hand; if it was off, correct it in the file or paste the lines"
        }
        (false, None) => {
            "look at the date of the meter, or of the rows written by hand; if it was off, correct it in the file"
        }
    };
    Finding {
        size: (!run.off.swapped).then(|| size(first, run.off, worn.zone)),
        unit: "min",
        text: format!(
            "{} have dates {words}: put right they fit the readings, as they stand or a day beside that they do not; {does}",
            checks_from(first, last, own.len(), worn.zone)
        ),
        todo: todo.to_owned(),
        paste: paste.unwrap_or_default(),
        leaves_out: false,
        ..Finding::new("clock-meter", Severity::Wrong, OF_CLOCKS).of_checks(first, last)
    }
}

/// Lines that put the dates right: where all rows are as far off, and the meter has no others between the first and the last.
fn paste(
    checks: &[Check],
    (first, last): (&Check, &Check),
    run: &Run,
    worn: &Worn<'_>,
) -> Option<String> {
    if run.off.swapped {
        return None;
    }
    let minutes = size(first, run.off, worn.zone);
    let between = first.time..=last.time;
    let others = checks.iter().enumerate().any(|(place, check)| {
        check.meter == first.meter && between.contains(&check.time) && !run.places.contains(&place)
    });
    // What the settings take at most.
    let most = 365.0 * MINUTES_PER_DAY;
    // To the minute after the last one: seconds are not written.
    let after = last.time + MICROS_PER_MINUTE;
    (minutes.abs() <= most && size(last, run.off, worn.zone) == minutes && !others).then(|| {
        let span = (Some(first.time), Some(after));
        clock_correction(
            worn.name,
            "meter",
            &first.meter,
            minutes,
            span.0,
            span.1,
            worn.zone,
        )
    })
}
