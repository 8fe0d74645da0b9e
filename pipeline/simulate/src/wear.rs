//! Invented sensors with a known law of how they end.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

/// Horizon of all figures, days.
pub const RATED: f64 = 14.0;

/// How sensors of one site end.
#[derive(Clone, Copy)]
pub struct Law {
    /// Weibull shape of detachment.
    pub shape: f64,
    /// Cumulative hazard of detachment by the rated day.
    pub hazard: f64,
    /// Hazard of faults a day.
    pub fault: f64,
    /// Share that never starts.
    pub failed_start: f64,
    /// Hazard a day of being taken off for another reason (censored).
    pub chosen: f64,
}

/// Laws from few losses to many.
pub const LAWS: [(&str, Law); 3] = [
    (
        "few come off",
        Law {
            shape: 1.3,
            hazard: 0.1,
            fault: 0.004,
            failed_start: 0.03,
            chosen: 0.01,
        },
    ),
    (
        "a third come off",
        Law {
            shape: 1.3,
            hazard: 0.45,
            fault: 0.008,
            failed_start: 0.03,
            chosen: 0.01,
        },
    ),
    (
        "most come off",
        Law {
            shape: 1.5,
            hazard: 1.6,
            fault: 0.004,
            failed_start: 0.01,
            chosen: 0.005,
        },
    ),
];

/// One sensor: how long it was worn, and why it ended.
#[derive(Clone, Copy)]
pub struct Life {
    /// Days worn.
    pub days: f64,
    /// Why it ended.
    pub cause: Cause,
}

/// Why a sensor ended.
#[derive(Clone, Copy, PartialEq)]
pub enum Cause {
    /// It came off.
    Detached,
    /// It failed, or never started.
    Fault,
    /// It was taken off for another reason.
    Chosen,
    /// Reached the rated day, or is still on.
    Still,
}

impl Law {
    /// A sensor whose hazard of detachment is `frailty` times the law's.
    pub fn draw(&self, random: &mut ChaCha8Rng, frailty: f64) -> Life {
        let mut exponential = |rate: f64| -(1.0 - random.random::<f64>()).ln() / rate;
        let detached = RATED * (exponential(frailty * self.hazard)).powf(1.0 / self.shape);
        let (fault, chosen) = (exponential(self.fault), exponential(self.chosen));
        let failed = random.random::<f64>() < self.failed_start;
        let endings = [
            (if failed { 0.02 } else { fault }, Cause::Fault),
            (detached, Cause::Detached),
            (chosen, Cause::Chosen),
            (RATED, Cause::Still),
        ];
        let first = |a: (f64, Cause), b: (f64, Cause)| if b.0 < a.0 { b } else { a };
        let (days, cause) = endings
            .into_iter()
            .fold((f64::INFINITY, Cause::Still), first);
        Life { days, cause }
    }

    fn detachment(&self, day: f64, frailty: f64) -> f64 {
        frailty * self.hazard * (day / RATED).powf(self.shape)
    }

    /// Survival of detachment alone, to the rated day.
    pub fn survival(&self, frailties: &[f64]) -> f64 {
        mean(frailties, |frailty| {
            (-self.detachment(RATED, frailty)).exp()
        })
    }

    /// Share that comes off by the rated day where faults compete and nobody takes one off.
    pub fn incidence(&self, frailties: &[f64]) -> f64 {
        mean(frailties, |frailty| {
            let free = |day: f64| (-self.detachment(day, frailty) - self.fault * day).exp();
            let steps = grid();
            (1.0 - self.failed_start)
                * steps
                    .windows(2)
                    .map(|w| {
                        let middle = 0.5 * (w[0] + w[1]);
                        free(middle)
                            * (self.detachment(w[1], frailty) - self.detachment(w[0], frailty))
                    })
                    .sum::<f64>()
        })
    }

    /// Mean time to any ending, up to the rated day.
    pub fn usable_days(&self, frailties: &[f64]) -> f64 {
        mean(frailties, |frailty| {
            let steps = grid();
            let free = |day: f64| {
                (-self.detachment(day, frailty) - (self.fault + self.chosen) * day).exp()
            };
            let after: f64 = steps
                .windows(2)
                .map(|w| (w[1] - w[0]) * free(0.5 * (w[0] + w[1])))
                .sum();
            after * (1.0 - self.failed_start)
        })
    }
}

fn grid() -> Vec<f64> {
    const STEPS: usize = 4000;
    (0..=STEPS)
        .map(|step| RATED * step as f64 / STEPS as f64)
        .collect()
}

fn mean(values: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    values.iter().map(|value| of(*value)).sum::<f64>() / values.len() as f64
}

/// Cuts the last sensor short: it is still on at the cut-off.
pub fn still_on(lives: &mut [Life], random: &mut ChaCha8Rng) {
    if let Some(last) = lives.last_mut() {
        let age = RATED * random.random::<f64>();
        if last.days > age {
            *last = Life {
                days: age,
                cause: Cause::Still,
            };
        }
    }
}
