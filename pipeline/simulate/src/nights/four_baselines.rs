//! The first generator, to which the detector's weights were fitted: four baselines, many sorts of lows and noise.
//!
//! An event follows the published shape, a first-order linear system driven by a rectangular input
//! (Facchinetti et al. 2016, Diabetes Technol Ther 18(4), doi 10.1089/dia.2015.0250). Everything is
//! drawn from one seeded generator on a one-minute grid. What is found on these nights says how the
//! detector does on them, not on real ones.

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::Nights;
use super::session::{DAY, Event, NIGHT, Session};
use crate::draws::{normal, uniform};

/// How undisturbed glucose moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Baseline {
    /// Rate of change as an Ornstein-Uhlenbeck process (sd 0.6 mg/dL/min, 30 min), pulled to a mean.
    SmoothWalk,
    /// Noise-driven damped oscillator, an AR(2) on the grid (period 4 h, sd 28 mg/dL).
    Oscillator,
    /// Meals and snacks as gamma-shaped bumps with corrections, and a dawn rise.
    Meals,
    /// Straight drifts with corners every 1 to 3 h.
    Drifts,
}

/// A kind of synthetic night.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    /// Name in tables.
    pub name: &'static str,
    /// Minutes between readings.
    pub spacing: f64,
    /// Dynamics of undisturbed glucose.
    pub baseline: Baseline,
    /// Range of a session's mean glucose, mg/dL.
    pub level: (f64, f64),
    /// Factor on how much glucose moves about.
    pub restless: f64,
    /// Standard deviation of small quick movements of glucose on top (Ornstein-Uhlenbeck, 20 min), mg/dL.
    pub ripple: f64,
    /// Range of the events' time constant at both edges, min.
    pub edge_minutes: (f64, f64),
    /// Standard deviation of the noise as a share of glucose.
    pub noise_cv: f64,
    /// Correlation of the noise over 5 min.
    pub noise_correlation: f64,
    /// Share of nights with a true low.
    pub low_share: f64,
    /// Course of the true lows.
    pub lows: Lows,
    /// Share of true lows after which treatment drives glucose far up.
    pub rebounds: f64,
    /// Signal losses (5 to 40 min) per night.
    pub dropouts: f64,
    /// Keep only the readings from one hour before to one hour after each night.
    pub nights_only: bool,
    /// Mean number of pressure events per night.
    pub events_per_night: f64,
}

/// Course of true lows.
#[derive(Debug, Clone, Copy)]
pub struct Lows {
    /// Range of their glucose, mg/dL.
    pub target: (f64, f64),
    /// Range of the rates at which they fall, mg/dL/min; fast-acting insulin comes to 4.
    pub rate: (f64, f64),
    /// Range of the minutes that they stay low.
    pub stay: (f64, f64),
    /// Range of the minutes in which they recover.
    pub recovery: (f64, f64),
    /// Straight (1) or smooth (0) falls and recoveries, or something between.
    pub straight: f64,
    /// Time constant with which the sensor follows, min.
    pub lag: f64,
}

impl Nights for Kind {
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

fn session(kind: &Kind, nights: usize, seed: u64) -> Session {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut truth = Session::default();
    let mut trace = baseline(kind, (nights + 1) * DAY as usize, &mut rng);
    for night in 0..nights {
        let (from, to) = truth.add_night(night);
        if rng.random::<f64>() < kind.low_share {
            let at = from - NIGHT.0 + uniform(&mut rng, NIGHT.0 - 30.0, NIGHT.1 - 120.0);
            truth.lows.push(true_low(&mut trace, at, kind, &mut rng));
        }
        events(kind, (from, to), &mut truth.events, &mut rng);
    }
    lag(&mut trace, kind.lows.lag);
    let dip = dip(&truth.events, trace.len(), kind.edge_minutes, &mut rng);
    let mut noise = normal(&mut rng);
    let keep = kind.noise_correlation.powf(0.2);
    let mut lost_until = 0.0;
    let mut next = uniform(&mut rng, 0.0, kind.spacing);
    for (t, &glucose) in trace.iter().enumerate() {
        noise = keep * noise + (1.0 - keep * keep).sqrt() * normal(&mut rng);
        if rng.random::<f64>() < kind.dropouts / DAY * 3.0 {
            lost_until = t as f64 + uniform(&mut rng, 5.0, 40.0);
        }
        let minute = t as f64;
        if minute < next {
            continue;
        }
        next += kind.spacing;
        let of_day = (minute - NIGHT.0).rem_euclid(DAY);
        let outside = of_day > NIGHT.1 - NIGHT.0 + 60.0 && of_day < DAY - 60.0;
        if minute < lost_until || kind.nights_only && outside {
            continue;
        }
        truth.read(minute, glucose - dip[t] + kind.noise_cv * glucose * noise);
    }
    truth
}

fn baseline(kind: &Kind, length: usize, rng: &mut impl Rng) -> Vec<f64> {
    let mean = uniform(rng, kind.level.0, kind.level.1);
    let mut trace = vec![mean; length];
    match kind.baseline {
        Baseline::SmoothWalk => {
            let keep = (-1.0_f64 / 30.0).exp();
            let (mut x, mut v) = (0.0, 0.0);
            for value in &mut trace {
                v = keep * v + 0.6 * (1.0 - keep * keep).sqrt() * normal(rng);
                x += v - x / 90.0;
                *value += x;
            }
        }
        Baseline::Oscillator => {
            let (omega, damping) = (std::f64::consts::TAU / 240.0, 0.7);
            let push = 28.0 * (4.0 * damping * omega * omega * omega).sqrt();
            let (mut x, mut v) = (20.0 * normal(rng), 0.0);
            for value in &mut trace {
                v += -2.0 * damping * omega * v - omega * omega * x + push * normal(rng);
                x += v;
                *value += x;
            }
        }
        Baseline::Meals => {
            for day in 0..length / DAY as usize {
                for (hour, chance) in [(7.5, 0.9), (12.5, 0.95), (19.5, 1.0), (22.5, 0.4)] {
                    if rng.random::<f64>() < chance {
                        let at = day as f64 * 1440.0 + 60.0 * hour + 40.0 * normal(rng);
                        bump(
                            &mut trace,
                            at,
                            uniform(rng, 20.0, 110.0),
                            uniform(rng, 35.0, 70.0),
                        );
                        let late = at + uniform(rng, 40.0, 120.0);
                        bump(
                            &mut trace,
                            late,
                            -uniform(rng, 0.0, 60.0),
                            uniform(rng, 50.0, 90.0),
                        );
                    }
                }
                let dawn = day as f64 * 1440.0 + uniform(rng, 240.0, 330.0);
                bump(
                    &mut trace,
                    dawn,
                    uniform(rng, -10.0, 40.0),
                    uniform(rng, 90.0, 150.0),
                );
            }
        }
        Baseline::Drifts => {
            let (mut x, mut slope, mut left) = (0.0, 0.0, 0.0);
            for value in &mut trace {
                if left <= 0.0 {
                    left = uniform(rng, 60.0, 180.0);
                    slope = uniform(rng, -1.0, 1.0) - x / 120.0;
                }
                left -= 1.0;
                x += slope;
                *value += x;
            }
        }
    }
    let keep = (-1.0_f64 / 20.0).exp();
    let mut ripple = 0.0;
    for value in &mut trace {
        *value = mean + kind.restless * (*value - mean);
        if kind.ripple > 0.0 {
            ripple = keep * ripple + kind.ripple * (1.0 - keep * keep).sqrt() * normal(rng);
            *value += ripple;
        }
        let low = 75.0;
        if *value < low + 30.0 {
            *value = low + 30.0 * ((*value - low - 30.0) / 30.0).exp();
        }
        *value = value.min(340.0);
    }
    trace
}

/// Adds height · x e^(1−x), x = time since `at` over `peak`.
fn bump(trace: &mut [f64], at: f64, height: f64, peak: f64) {
    let first = at.max(0.0) as usize;
    for (t, value) in trace
        .iter_mut()
        .enumerate()
        .skip(first)
        .take((peak * 9.0) as usize)
    {
        let x = ((t as f64 - at) / peak).max(0.0);
        *value += height * x * (1.0 - x).exp();
    }
}

fn lag(trace: &mut [f64], minutes: f64) {
    let mut x = trace.first().copied().unwrap_or(0.0);
    for value in trace {
        x += (*value - x) / minutes;
        *value = x;
    }
}

/// Bends the trace to a low of 45 to 65 mg/dL from `at` on; gives begin and end.
fn true_low(trace: &mut [f64], at: f64, kind: &Kind, rng: &mut impl Rng) -> (f64, f64) {
    let Lows { straight, .. } = kind.lows;
    let mut draw = |(low, high): (f64, f64)| uniform(rng, low, high);
    let target = draw(kind.lows.target);
    let depth = (trace[at as usize] - target).max(10.0);
    // The steepest slope of a smooth fall is 1.5 times its mean.
    let steepest = 1.5 - 0.5 * straight;
    let fall = (steepest * depth / draw(kind.lows.rate)).max(25.0 - 10.0 * straight);
    let stay = draw(kind.lows.stay);
    let recovery = draw(kind.lows.recovery);
    let end = at + fall + stay + recovery;
    let smooth = |x: f64| {
        let x = x.clamp(0.0, 1.0);
        straight * x + (1.0 - straight) * x * x * (3.0 - 2.0 * x)
    };
    for (t, value) in trace
        .iter_mut()
        .enumerate()
        .skip(at as usize)
        .take((end - at) as usize + 1)
    {
        let t = t as f64;
        let weight = smooth((t - at) / fall).min(smooth((end - t) / recovery));
        *value += weight * (target - *value);
    }
    if kind.rebounds > 0.0 && rng.random::<f64>() < kind.rebounds {
        let (height, peak) = (uniform(rng, 30.0, 100.0), uniform(rng, 35.0, 60.0));
        bump(trace, end - 0.5 * recovery, height, peak);
    }
    (at, end)
}

fn events(kind: &Kind, (from, to): (f64, f64), events: &mut Vec<Event>, rng: &mut impl Rng) {
    let mut at = from - 30.0;
    loop {
        at -= (1.0 - rng.random::<f64>()).ln() * 480.0 / kind.events_per_night;
        let start = at;
        if start > to {
            return;
        }
        let minutes = (45.0 * (0.5 * normal(rng)).exp()).clamp(18.0, 150.0);
        let (mean, sd) = if rng.random::<bool>() {
            (26.0, 6.0)
        } else {
            (50.0, 8.0)
        };
        let drop = (mean + sd * normal(rng)).max(8.0);
        let end = start + minutes;
        events.push(Event { start, end, drop });
        at = end + 20.0;
    }
}

fn dip(events: &[Event], length: usize, edge: (f64, f64), rng: &mut impl Rng) -> Vec<f64> {
    let mut dip = vec![0.0; length];
    for event in events {
        let (fall, rise) = (uniform(rng, edge.0, edge.1), uniform(rng, edge.0, edge.1));
        let bottom = event.drop * (1.0 - (-(event.end - event.start) / fall).exp());
        for (t, value) in dip
            .iter_mut()
            .enumerate()
            .skip(event.start as usize)
            .take(300)
        {
            let t = t as f64;
            *value += if t < event.end {
                event.drop * (1.0 - (-(t - event.start).max(0.0) / fall).exp())
            } else {
                bottom * (-(t - event.end) / rise).exp()
            };
        }
    }
    dip
}
