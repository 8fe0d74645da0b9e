//! Fingersticks that repeat what the sensor showed: of somebody who wrote down the reading, not a measurement.

use std::ops::Range;

use jiff::tz::TimeZone;
use whereworn_model::rows::{Check, FileRows, Reading, SensorReadings, Status};
use whereworn_model::time::{MICROS_PER_MINUTE, Micros};
use whereworn_model::units::MGDL_PER_MMOLL;

use crate::checks::days_off::highest_sum;
use crate::checks::extremes::{SHOWN, shown};
use crate::checks::twice::are_many;
use crate::clocks::meter_words;
use crate::finding::{Finding, OF_PAIRS, Severity};
use crate::log::Log;
use crate::readings::trace::middle_and_scatter;
use crate::words::{checks_from, clock, count, quoted};

/// Share of a stretch that is supposed to be copied, when it is weighed against chance.
const SHARE: f64 = 0.4;

/// Least gain of log-likelihood of a stretch: ten that chance gives one in twelve of, without another between them.
const GAIN: f64 = 18.0;

/// How far a sensor is supposed to be from fingersticks, relative standard deviation: a part of what the meter's are, since one
/// may read better than the others, and at least so much.
const PART: f64 = 0.6;
const LEAST_SCATTER: f64 = 0.04;

/// Fingersticks from which that is told.
const LEAST_OTHERS: usize = 20;

/// Values in wider steps, mg/dL, are equal by chance in most cases and tell nothing.
const WIDEST: f64 = 5.0;

/// Least chance of a value shown.
const LEAST_CHANCE: f64 = 0.02;

/// The chance is a step's part of so many standard deviations; of values without one as of 0.1 mmol/L.
const FULL: f64 = 2.507;
const WITHOUT: f64 = MGDL_PER_MMOLL / 10.0;

/// As many fingersticks before a stretch, or after it, are no reason to keep them.
const EDGE: usize = 5;

/// Steps in which values are written, and to which somebody may round what a display shows, the coarsest first.
const STEPS: [(f64, Option<f64>); 6] = [
    (MGDL_PER_MMOLL, None),
    (10.0, None),
    (MGDL_PER_MMOLL / 2.0, None),
    (5.0, None),
    (MGDL_PER_MMOLL / 10.0, Some(MGDL_PER_MMOLL / 2.0)),
    (1.0, Some(5.0)),
];

/// Share of a meter's values that have its step.
const IN_STEPS: f64 = 0.95;

/// What of a display was copied.
#[derive(Clone, Copy)]
enum Copy {
    /// The reading, as finely as the meter's values are.
    Shown,
    /// That or the one before.
    Before,
    /// The reading, rounded.
    Rounded,
}

const KINDS: [Copy; 3] = [Copy::Shown, Copy::Before, Copy::Rounded];

/// A fingerstick beside what one sensor showed.
#[derive(Clone, Copy)]
struct Beside<'a> {
    check: &'a Check,
    shown: f64,
    before: f64,
}

/// Fingersticks of the wearer whose sensors come in.
#[derive(Default)]
pub(crate) struct Copies<'a>(Vec<Beside<'a>>);

impl<'a> Copies<'a> {
    /// Compares a sensor's readings with the fingersticks taken while it showed them. At its highest and its lowest value a
    /// display may end.
    pub fn sensor(&mut self, log: &Log<'a>, readings: &SensorReadings) {
        let all = &readings.readings;
        let usable = |reading: &&Reading| reading.status == Status::Ok;
        let values = || all.iter().filter(usable).map(|reading| reading.glucose);
        let lowest = values().fold(f64::MAX, f64::min);
        let highest = values().fold(f64::MIN, f64::max);
        for (check, shown) in shown(log.checks_of(&readings.wearer), all) {
            let is_said = ["calibration", "control"].contains(&check.purpose.as_str());
            if is_said || shown.glucose <= lowest || shown.glucose >= highest {
                continue;
            }
            let earlier = all.partition_point(|reading| reading.time < shown.time);
            let before = earlier.checked_sub(1).and_then(|place| all.get(place));
            let before = before.filter(usable);
            let before = before.filter(|before| shown.time - before.time <= SHOWN);
            self.0.push(Beside {
                check,
                shown: shown.glucose,
                before: before.map_or(shown.glucose, |before| before.glucose),
            });
        }
    }

    /// Takes stretches with copies out of the wearer's fingersticks; a finding for each meter and stretch, and the copies, which
    /// comparisons have to leave out.
    pub fn take_out(
        mut self,
        log: &Log<'_>,
        checks: &mut Vec<Check>,
        zone: &TimeZone,
    ) -> Vec<(Finding, Vec<Check>)> {
        self.0
            .sort_by_key(|beside| (beside.check.meter.as_str(), beside.check.time));
        let mut found = Vec::new();
        for own in self.0.chunk_by(|a, b| a.check.meter == b.check.meter) {
            let step = step(own);
            if step.is_some_and(|(step, _)| step > WIDEST) {
                continue;
            }
            let scatter = scatter(own);
            let of_one = own.chunk_by(|a, b| std::ptr::eq(a.check, b.check));
            let mut rows: Vec<Row> = of_one.map(|one| Row::of(one, step, scatter)).collect();
            while let Some(stretch) = Stretch::of(&rows) {
                let copied = stretch.copied(&rows);
                if are_many(copied.iter()) {
                    let told = finding(log, &stretch, &rows, zone);
                    found.extend(told.map(|told| (told, copied)));
                }
                rows.drain(stretch.range);
            }
        }
        // Others of that time may have been copied later than they say.
        checks.retain(|check| {
            let is_of = |told: &Finding| {
                told.meter == *check.meter
                    && told.from <= Some(check.time)
                    && Some(check.time) <= told.to
            };
            !found.iter().any(|(told, _)| is_of(told))
        });
        found
    }
}

/// How far a good sensor would be from a meter, by the fingersticks that have not the value shown.
fn scatter(of_meter: &[Beside<'_>]) -> f64 {
    let others = of_meter.iter();
    let others = others.filter(|own| own.check.glucose != own.shown);
    let off = others.map(|own| (own.check.glucose / own.shown).ln());
    let mut off: Vec<f64> = off.collect();
    let are_many = off.len() >= LEAST_OTHERS;
    let scatter = middle_and_scatter(&mut off).filter(|_| are_many);
    LEAST_SCATTER.max(PART * scatter.map_or(0.0, |(_, scatter)| scatter))
}

/// The coarsest step in which a meter's values are written; `None` where it is none of the usual.
fn step(of_meter: &[Beside<'_>]) -> Option<(f64, Option<f64>)> {
    STEPS.into_iter().find(|(step, _)| {
        let values = of_meter.iter().map(|own| own.check.glucose);
        let inside = values.filter(|value| is_multiple(*value, *step)).count();
        inside as f64 >= IN_STEPS * of_meter.len() as f64
    })
}

fn is_multiple(value: f64, step: f64) -> bool {
    (value - step * (value / step).round()).abs() <= 1e-6 * value
}

/// A fingerstick: what it is alike to, of each kind of copy, and how likely that is by chance.
struct Row<'a> {
    check: &'a Check,
    alike: [bool; KINDS.len()],
    chances: [f64; KINDS.len()],
}

impl<'a> Row<'a> {
    /// Of one fingerstick beside the sensors worn then, of which there is one at least.
    fn of(one: &[Beside<'a>], step: Option<(f64, Option<f64>)>, scatter: f64) -> Self {
        let check = one[0].check;
        let finest = step.map_or(0.0, |(step, _)| step);
        let rounded = step.and_then(|(_, rounded)| rounded);
        let (mut alike, mut chances) = ([false; KINDS.len()], [0.0; KINDS.len()]);
        for (place, kind) in KINDS.iter().enumerate() {
            for own in one {
                let (step, values) = match kind {
                    Copy::Shown => (finest, [Some(own.shown), None]),
                    Copy::Before => {
                        let before = (own.before != own.shown).then_some(own.before);
                        (finest, [Some(own.shown), before])
                    }
                    Copy::Rounded => (rounded.unwrap_or(finest), [Some(own.shown), None]),
                };
                for value in values.into_iter().flatten() {
                    let near = (check.glucose - value).abs() <= step / 2.0 + 1e-6 * value;
                    alike[place] |= near && (step == 0.0 || is_multiple(check.glucose, step));
                    let step = if step == 0.0 { WITHOUT } else { step };
                    chances[place] += step / (FULL * scatter * value);
                }
            }
            chances[place] = chances[place].clamp(LEAST_CHANCE, 1.0);
        }
        Self {
            check,
            alike,
            chances,
        }
    }

    /// What it says for copies against chance.
    fn score(&self, kind: usize) -> f64 {
        match self.alike[kind] {
            true => (SHARE / self.chances[kind] + 1.0 - SHARE).ln(),
            false => (1.0 - SHARE).ln(),
        }
    }
}

/// Fingersticks one after the other, many of which are copies of a kind.
struct Stretch {
    kind: usize,
    range: Range<usize>,
}

impl Stretch {
    /// The one that chance explains least.
    fn of(rows: &[Row<'_>]) -> Option<Self> {
        let best = |kind: usize| {
            let scores: Vec<f64> = rows.iter().map(|row| row.score(kind)).collect();
            let (range, gain) = highest_sum(&scores);
            (Self { kind, range }, gain)
        };
        let all = (0..KINDS.len()).map(best);
        let (stretch, gain) =
            all.max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.kind.cmp(&a.0.kind)))?;
        (gain >= GAIN).then_some(stretch)
    }

    fn copied(&self, rows: &[Row<'_>]) -> Vec<Check> {
        let own = rows[self.range.clone()].iter();
        let alike = own.filter(|row| row.alike[self.kind]);
        alike.map(|row| row.check.clone()).collect()
    }
}

fn finding(log: &Log<'_>, stretch: &Stretch, rows: &[Row<'_>], zone: &TimeZone) -> Option<Finding> {
    let own = &rows[stretch.range.clone()];
    let (first, last) = (own.first()?.check, own.last()?.check);
    let (copied, all) = (stretch.copied(rows).len(), own.len());
    let chance: f64 = own.iter().map(|row| row.chances[stretch.kind]).sum();
    let value = match KINDS[stretch.kind] {
        Copy::Shown => "the value that the sensor showed",
        Copy::Before => "the value that the sensor showed, or the one before it",
        Copy::Rounded => "the value that the sensor showed, rounded",
    };
    let named = match first.meter.as_str() {
        // A file of readings has them too.
        "" => {
            let mut files = log.files.iter();
            let of_readings =
                |file: &FileRows| first.file == *file.name && file.table == "readings";
            (!files.any(of_readings)).then(|| format!("file = {}\n", quoted(&first.file)))
        }
        meter => Some(format!("meter = {}\n", quoted(meter))),
    };
    let bound = |word: &str, at: Micros| format!("{word} = \"{}\"\n", clock(at, zone));
    let from = (stretch.range.start > EDGE).then(|| bound("from", first.time));
    let to =
        (rows.len() - stretch.range.end > EDGE).then(|| bound("to", last.time + MICROS_PER_MINUTE));
    let paste = named.map(|named| {
        let wearer = quoted(&first.wearer);
        let [from, to] = [from, to].map(Option::unwrap_or_default);
        format!("[[corrections]]\nwearer = {wearer}\n{named}{from}{to}leave_out = true\n")
    });
    Some(Finding {
        text: format!(
            "{}, {}: {copied} have {value}, which chance gives {chance:.0} of: they seem to be copied from it and tell nothing of how it reads; no clock or meter is judged by fingersticks of that time, and comparisons leave out those that have it",
            checks_from(first, last, all, zone),
            meter_words(&first.meter),
        ),
        todo: format!(
            "ask how {} came about; if they were copied, {}",
            count(copied, "fingerstick"),
            match paste {
                Some(_) => "paste the lines, which leave out all of that time",
                None => "name their meter, so that a line can leave them out",
            }
        ),
        paste: paste.unwrap_or_default(),
        ..Finding::new("meter", Severity::Doubtful, OF_PAIRS).of_checks(first, last)
    })
}
