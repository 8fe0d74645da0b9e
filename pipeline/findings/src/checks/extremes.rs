//! Fingersticks that followed what the sensor showed, whatever they are said to be for.

use whereworn_model::rows::{Check, Reading, Status};
use whereworn_model::time::{MICROS_PER_MINUTE, Micros};

/// A display shows the reading that came last, for no longer than this.
pub(crate) const SHOWN: Micros = 16 * MICROS_PER_MINUTE;

/// The part of a sensor's readings that is its lowest, and its highest.
const PART: usize = 10;

/// Fingersticks of a wearer with the usable reading that one sensor showed; both by time.
pub(crate) fn shown<'c, 'r>(
    checks: &'c [Check],
    readings: &'r [Reading],
) -> impl Iterator<Item = (&'c Check, &'r Reading)> {
    let first = readings.first().map_or(Micros::MAX, |first| first.time);
    let last = readings.last().map_or(Micros::MIN, |last| last.time);
    let from = checks.partition_point(|check| check.time < first);
    let worn = checks.iter().skip(from);
    let worn = worn.take_while(move |check| check.time - SHOWN <= last);
    worn.filter_map(|check| {
        let next = readings.partition_point(|reading| reading.time <= check.time);
        let shown = readings.get(next.checked_sub(1)?)?;
        let usable = shown.status == Status::Ok && check.time - shown.time <= SHOWN;
        usable.then_some((check, shown))
    })
}

/// Fingersticks said to be routine, taken while a reading was shown, and how many of them while that was in the lowest tenth of its
/// sensor's and in the highest.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Routine {
    pub all: usize,
    pub lowest: usize,
    pub highest: usize,
}

impl Routine {
    /// Of a wearer's fingersticks those while one sensor was worn; both by time.
    pub fn of(checks: &[Check], readings: &[Reading]) -> Self {
        let usable = readings
            .iter()
            .filter(|reading| reading.status == Status::Ok);
        let mut levels: Vec<f64> = usable.map(|reading| reading.glucose).collect();
        levels.sort_unstable_by(f64::total_cmp);
        let part = levels.len() / PART;
        let (Some(low), Some(high)) = (levels.get(part), levels.iter().nth_back(part)) else {
            return Self::default();
        };
        let said = |check: &Check| ["", "routine"].contains(&check.purpose.as_str());
        let routine = shown(checks, readings).filter(|(check, _)| said(check));
        routine.fold(Self::default(), |sum, (_, shown)| {
            sum.and(Self {
                all: 1,
                lowest: usize::from(shown.glucose < *low),
                highest: usize::from(shown.glucose > *high),
            })
        })
    }

    /// Those of another sensor as well.
    pub fn and(self, other: Self) -> Self {
        Self {
            all: self.all + other.all,
            lowest: self.lowest + other.lowest,
            highest: self.highest + other.highest,
        }
    }
}
