//! The third generator, for reports: no weight was fitted to it.
//!
//! Baselines are sums of cosines with periods from 80 min to a day. Events are as published (Facchinetti
//! et al. 2016, doi 10.1089/dia.2015.0250): one first-order system for both edges, driven by a rectangle; heights
//! lognormal around 26 or 50 mg/dL, lengths lognormal around 45 min. One night in eight has a true low: a
//! fall of logistic course, a stay, a logistic recovery, overshooting now and then. Noise is AR(1) from reading to
//! reading, its correlation over 5 min another in each session.

use std::f64::consts::TAU;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::Nights;
use super::session::{DAY, Event, Session};
use crate::draws::{normal, uniform};

/// A kind of nights of the third generator.
#[derive(Debug, Clone, Copy)]
pub struct Cosines {
    /// Name in tables.
    pub name: &'static str,
    /// Minutes between readings.
    pub spacing: f64,
    /// Range of the sessions' noise correlations over 5 min.
    pub correlation: (f64, f64),
}

const NOISE: f64 = 0.035;
const LOW_SHARE: f64 = 0.12;
const EVENTS_PER_NIGHT: f64 = 0.14;

/// A true low: begin of the fall, times at which fall and recovery are half done, their time constants, end, min;
/// target and overshoot, mg/dL.
struct Low {
    begin: f64,
    fall: (f64, f64),
    recovery: (f64, f64),
    end: f64,
    target: f64,
    overshoot: f64,
}

impl Nights for Cosines {
    fn name(&self) -> &'static str {
        self.name
    }

    fn spacing(&self) -> f64 {
        self.spacing
    }

    fn session(&self, nights: usize, seed: u64) -> Session {
        session(self, nights, seed)
    }
}

fn session(kind: &Cosines, nights: usize, seed: u64) -> Session {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let baseline = Baseline::draw(&mut rng);
    let mut truth = Session::default();
    let mut lows = Vec::new();
    let mut edges = Vec::new();
    for night in 0..nights {
        let (from, to) = truth.add_night(night);
        if rng.random::<f64>() < LOW_SHARE {
            let begin = uniform(&mut rng, from, to - 120.0);
            lows.push(Low::draw(begin, &mut rng));
        }
        let mut at = from - 30.0;
        loop {
            at -= (1.0 - rng.random::<f64>()).ln() * (to - from) / EVENTS_PER_NIGHT;
            if at > to {
                break;
            }
            let event = event(at, &mut rng);
            at = event.end + 30.0;
            truth.events.push(event);
            edges.push(uniform(&mut rng, 2.0, 8.0));
        }
    }
    truth.lows = lows.iter().map(|low| (low.begin, low.end)).collect();
    let correlation = uniform(&mut rng, kind.correlation.0, kind.correlation.1);
    let keep = correlation.powf(kind.spacing / 5.0);
    let mut noise = normal(&mut rng);
    let mut minute = uniform(&mut rng, 0.0, kind.spacing);
    while minute < (nights + 1) as f64 * DAY {
        let calm = baseline.at(minute);
        let bent: f64 = lows.iter().map(|low| low.change(minute, calm)).sum();
        let dip: f64 = truth
            .events
            .iter()
            .zip(&edges)
            .map(|(e, tau)| depth(e, *tau, minute))
            .sum();
        let glucose = calm + bent;
        truth.read(minute, glucose * (1.0 + NOISE * noise) - dip);
        noise = keep * noise + (1.0 - keep * keep).sqrt() * normal(&mut rng);
        minute += kind.spacing;
    }
    truth
}

fn event(start: f64, rng: &mut impl Rng) -> Event {
    let minutes = (45.0 * (0.45 * normal(rng)).exp()).clamp(18.0, 150.0);
    let middle = if rng.random::<bool>() { 26.0 } else { 50.0 };
    Event {
        start,
        end: start + minutes,
        drop: middle * (0.18 * normal(rng)).exp(),
    }
}

/// Depth of an event's dip, mg/dL.
fn depth(event: &Event, tau: f64, minute: f64) -> f64 {
    let done = |since: f64| 1.0 - (-since.max(0.0) / tau).exp();
    if minute > event.end + 20.0 * tau {
        return 0.0;
    }
    event.drop * (done(minute - event.start) - done(minute - event.end))
}

/// Cosines: amplitude, mg/dL, angular frequency, per min, and phase.
struct Baseline {
    level: f64,
    waves: Vec<(f64, f64, f64)>,
}

impl Baseline {
    fn draw(rng: &mut impl Rng) -> Self {
        let level = (118.0 * (0.12 * normal(rng)).exp()).clamp(95.0, 170.0);
        let waves = (0..24)
            .map(|_| {
                let period = (uniform(rng, 80.0_f64.ln(), DAY.ln())).exp();
                let amplitude = 7.0 * (period / 400.0).powf(0.7) * uniform(rng, 0.5, 1.5);
                (amplitude, TAU / period, uniform(rng, 0.0, TAU))
            })
            .collect();
        Self { level, waves }
    }

    fn at(&self, minute: f64) -> f64 {
        let wave = |(a, omega, phase): &(f64, f64, f64)| a * (omega * minute + phase).cos();
        let raw = self.level + self.waves.iter().map(wave).sum::<f64>();
        // Softly no lower than 78 mg/dL: lows are made apart.
        78.0 + 12.0 * ((raw - 78.0) / 12.0).exp().ln_1p()
    }
}

impl Low {
    fn draw(begin: f64, rng: &mut impl Rng) -> Self {
        let target = (55.0 * (0.12 * normal(rng)).exp()).clamp(41.0, 68.0);
        let (down, up) = (uniform(rng, 6.0, 14.0), uniform(rng, 5.0, 12.0));
        let fall = (begin + 4.0 * down, down);
        let recovery = (fall.0 + uniform(rng, 45.0, 95.0), up);
        let overshoot = if rng.random::<f64>() < 0.3 {
            uniform(rng, 15.0, 50.0)
        } else {
            0.0
        };
        Self {
            begin,
            fall,
            recovery,
            end: recovery.0 + 4.0 * up,
            target,
            overshoot,
        }
    }

    /// What it adds to a baseline, mg/dL: bent to the target, then over the baseline for a while.
    fn change(&self, minute: f64, baseline: f64) -> f64 {
        let done = |(half, tau): (f64, f64)| 1.0 / (1.0 + (-(minute - half) / tau).exp());
        let after = ((minute - self.recovery.0) / 40.0).max(0.0);
        let back = self.overshoot * after * (1.0 - after).exp();
        back + (done(self.fall) - done(self.recovery)) * (self.target - baseline)
    }
}
