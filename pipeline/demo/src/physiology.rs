//! Blood glucose of a wearer, minute by minute.

use crate::clock::{DAY, Minute};
use crate::nights::Night;
use crate::random::{Dice, Purpose};
use crate::scenario::Wearer;

/// Blood glucose in mg/dL at each minute from `start`.
pub(crate) struct Blood {
    pub(crate) start: Minute,
    pub(crate) values: Vec<f32>,
}

/// A run of blood glucose below 70 mg/dL of 15 minutes or more.
pub(crate) struct TrueLow {
    pub(crate) start: Minute,
    pub(crate) end: Minute,
    /// Lowest value, mg/dL.
    pub(crate) nadir: f64,
}

impl Blood {
    /// The value at a minute; the nearest one outside the period.
    pub(crate) fn at(&self, minute: Minute) -> f64 {
        let index = (minute - self.start).clamp(0, self.values.len() as i64 - 1);
        f64::from(self.values[index as usize])
    }

    /// Draws blood glucose over the days of the given nights, up to `end`.
    pub(crate) fn draw(wearer: &Wearer, nights: &[Night], end: Minute, seed: u64) -> Self {
        let mut dice = Dice::new(seed, wearer.index, Purpose::Blood, 0);
        let start = nights.first().map_or(end - DAY, |night| night.bed);
        let mut blood = Self {
            start,
            values: slow_course(wearer.basal, (end - start) as usize, &mut dice),
        };
        for pair in nights.windows(2) {
            blood.add_day(pair[0].rise, pair[1].bed, &mut dice);
        }
        for value in &mut blood.values {
            *value = softly_limited(*value);
        }
        for night in nights {
            blood.add_excursions(night, &mut dice);
        }
        blood
    }

    /// Meals between rising and bedtime, and the rise of glucose around dawn.
    fn add_day(&mut self, rise: Minute, bed: Minute, dice: &mut Dice) {
        let awake = (bed - rise) as f64;
        self.add_meal(rise - 120, 12.0, 100.0);
        for share in [0.04, 0.38, 0.75] {
            let at = rise + (awake * share) as Minute + dice.whole(-25, 35);
            self.add_meal(at, dice.between(40.0, 120.0), dice.between(60.0, 95.0));
            self.add_meal(
                at + 110,
                -dice.between(10.0, 40.0),
                dice.between(60.0, 95.0),
            );
        }
        if dice.chance(0.5) {
            self.add_meal(
                rise + (awake * 0.55) as Minute,
                dice.between(20.0, 50.0),
                55.0,
            );
        }
    }

    /// Adds height · (t/peak)² · exp(2 - 2t/peak), which has its top `height` after `peak` minutes.
    fn add_meal(&mut self, at: Minute, height: f64, peak: f64) {
        let decay = libm::exp(-2.0 / peak);
        let mut scale = height * libm::exp(2.0) / (peak * peak);
        for step in 0..(6.0 * peak) as i64 {
            let index = at - self.start + step;
            if let Some(value) = usize::try_from(index)
                .ok()
                .and_then(|index| self.values.get_mut(index))
            {
                *value += (scale * (step * step) as f64) as f32;
            }
            scale *= decay;
        }
    }

    /// Now and then a true low at night or by day, and a missed injection.
    fn add_excursions(&mut self, night: &Night, dice: &mut Dice) {
        if dice.chance(0.09) {
            let at = dice.whole(night.bed, (night.rise - 150).max(night.bed));
            self.pull(
                at,
                dice.between(44.0, 63.0),
                dice.between(0.4, 1.3),
                dice.whole(8, 35),
                dice.between(1.0, 1.7),
            );
        }
        if dice.chance(0.06) {
            let at = night.rise + dice.whole(120, 700);
            self.pull(
                at,
                dice.between(48.0, 64.0),
                dice.between(0.7, 1.6),
                dice.whole(5, 15),
                dice.between(1.2, 1.9),
            );
        }
        if dice.chance(0.02) {
            let at = night.rise + dice.whole(60, 500);
            self.pull(
                at,
                dice.between(300.0, 430.0),
                dice.between(1.0, 2.0),
                dice.whole(40, 120),
                1.2,
            );
        }
    }

    /// Pulls the course smoothly to `level`, holds it there and lets it go; mean rates in mg/dL per minute.
    fn pull(&mut self, at: Minute, level: f64, rate: f64, hold: i64, rate_back: f64) {
        let way = (self.at(at) - level).abs();
        let fall = (way / rate).max(40.0) as i64;
        let back = ((self.at(at + fall + hold + 60) - level).abs() / rate_back).max(25.0) as i64;
        for step in 0..fall + hold + back {
            let weight = if step < fall {
                smooth(step as f64 / fall as f64)
            } else {
                smooth(((fall + hold + back - step) as f64 / back as f64).min(1.0))
            };
            let index = at - self.start + step;
            if let Some(value) = usize::try_from(index)
                .ok()
                .and_then(|index| self.values.get_mut(index))
            {
                *value += (weight * (level - f64::from(*value))) as f32;
            }
        }
    }

    /// The true lows, in order.
    pub(crate) fn lows(&self) -> Vec<TrueLow> {
        let mut lows = Vec::new();
        let mut begun: Option<TrueLow> = None;
        for (index, &value) in self.values.iter().enumerate() {
            let minute = self.start + index as Minute;
            match begun.as_mut() {
                Some(low) if value < 70.0 => low.nadir = low.nadir.min(f64::from(value)),
                Some(low) => {
                    low.end = minute;
                    lows.extend(begun.take().filter(|low| low.end - low.start >= 15));
                }
                None if value < 70.0 => {
                    begun = Some(TrueLow {
                        start: minute,
                        end: minute,
                        nadir: f64::from(value),
                    })
                }
                None => {}
            }
        }
        let end = self.start + self.values.len() as Minute;
        lows.extend(
            begun
                .map(|low| TrueLow { end, ..low })
                .filter(|low| low.end - low.start >= 15),
        );
        lows
    }
}

/// Smooth step from 0 at 0 to 1 at 1.
fn smooth(x: f64) -> f64 {
    x * x * (3.0 - 2.0 * x)
}

/// The wearer's basal level with a slow wander: an autoregressive course (150 min) behind a lag of 40 min.
fn slow_course(basal: f64, minutes: usize, dice: &mut Dice) -> Vec<f32> {
    let keep = libm::exp(-5.0 / 150.0);
    let kick = 27.0 * libm::sqrt(1.0 - keep * keep);
    let (mut target, mut wander) = (0.0, 0.0);
    (0..minutes)
        .map(|minute| {
            if minute % 5 == 0 {
                target = keep * target + kick * dice.normal();
            }
            wander += (target - wander) / 40.0;
            (basal + wander) as f32
        })
        .collect()
}

/// Counter-regulation below 82 mg/dL and excretion above 260 mg/dL slow the course down.
fn softly_limited(value: f32) -> f32 {
    match value {
        low if low < 82.0 => 82.0 - (82.0 - low) * 0.3,
        high if high > 260.0 => 260.0 + (high - 260.0) * 0.4,
        usual => usual,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::nights::nights;
    use crate::scenario::{ZONE, wearer};

    /// Glucose in persons with type 1 diabetes seldom changes by more than 2 to 3 mg/dL a minute (common practice, no
    /// source).
    #[test]
    fn blood_moves_as_blood_can() {
        let clock = Clock::new(ZONE).unwrap();
        for index in 0..4 {
            let wearer = wearer(index, 9);
            let nights = nights(&wearer, &clock, 20_000, 20_200, 9);
            let blood = Blood::draw(&wearer, &nights, 20_200 * DAY, 9);
            assert!(
                blood
                    .values
                    .iter()
                    .all(|&value| value > 40.0 && value < 450.0)
            );
            let fast = blood
                .values
                .windows(2)
                .filter(|pair| (pair[1] - pair[0]).abs() > 2.5)
                .count();
            assert!(
                fast * 50 < blood.values.len(),
                "{fast} of {}",
                blood.values.len()
            );
            let lows = blood.lows();
            assert!(lows.len() > 10);
            assert!(
                lows.iter()
                    .all(|low| low.end - low.start >= 15 && low.nadir < 70.0 && low.nadir > 40.0)
            );
        }
    }
}
