//! The second generator, for reports: no weight was fitted to it.
//!
//! Other functional forms than the first generator: a mean-reverting level (Ornstein-Uhlenbeck) passed
//! through a slow lag, evening meals, a dawn rise; events with sharp or first-order edges of their own
//! time constants, sloped bottoms, partial recovery or two steps; true lows as straight falls with a
//! rounded corner, some with a rebound; noise of AR(1) and white parts.

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::Nights;
use super::session::{DAY, Event, Session};
use crate::draws::{normal, uniform};

/// A kind of nights of the second generator.
#[derive(Debug, Clone, Copy)]
pub struct MeanReverting {
    /// Name in tables.
    pub name: &'static str,
    /// Minutes between readings.
    pub spacing: f64,
    /// Standard deviation of the noise as a share of the reading.
    pub noise_cv: f64,
    /// Share of its variance that is white.
    pub white: f64,
    /// Correlation of the rest over 5 min.
    pub correlation: f64,
}

impl Nights for MeanReverting {
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

fn session(kind: &MeanReverting, nights: usize, seed: u64) -> Session {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut truth = Session::default();
    let length = (nights + 1) * DAY as usize;
    let mut glucose = baseline(length, &mut rng);
    let mut dip = vec![0.0; length];
    for night in 0..nights {
        let (from, to) = truth.add_night(night);
        if rng.random::<f64>() < 0.12 {
            let at = uniform(&mut rng, from, to - 130.0);
            truth.lows.push(low(&mut glucose, at as usize, &mut rng));
        }
        let mut at = from - 40.0;
        while rng.random::<f64>() < 0.14 {
            let minutes = (45.0 * (0.45 * normal(&mut rng)).exp()).clamp(18.0, 150.0);
            let start = at + uniform(&mut rng, 0.0, (to - at).max(1.0));
            let middle = if rng.random::<bool>() { 26.0 } else { 50.0 };
            let drop = middle + uniform(&mut rng, -9.0, 9.0);
            let end = start + minutes;
            press(&mut dip, start, end, drop, &mut rng);
            truth.events.push(Event { start, end, drop });
            at = end + 30.0;
            if at > to {
                break;
            }
        }
    }
    read(kind, &glucose, &dip, &mut truth, &mut rng);
    truth
}

fn read(
    kind: &MeanReverting,
    glucose: &[f64],
    dip: &[f64],
    truth: &mut Session,
    rng: &mut impl Rng,
) {
    let keep = kind.correlation.powf(0.2);
    let mut slow = normal(rng);
    let mut next = uniform(rng, 0.0, kind.spacing);
    for (t, (g, d)) in glucose.iter().zip(dip).enumerate() {
        slow = keep * slow + (1.0 - keep * keep).sqrt() * normal(rng);
        if (t as f64) < next {
            continue;
        }
        next += kind.spacing;
        let noise = (1.0 - kind.white).sqrt() * slow + kind.white.sqrt() * normal(rng);
        truth.read(t as f64, (g - d) * (1.0 + kind.noise_cv * noise));
    }
}

fn baseline(length: usize, rng: &mut impl Rng) -> Vec<f64> {
    let mean = uniform(rng, 100.0, 150.0);
    let (mut x, mut y) = (0.0, 0.0);
    let meals: Vec<(f64, f64)> = (0..length / DAY as usize)
        .map(|day| {
            let evening = day as f64 * DAY + uniform(rng, 1080.0, 1260.0);
            (evening, uniform(rng, 20.0, 90.0))
        })
        .collect();
    (0..length)
        .map(|t| {
            x += -x / 150.0 + 20.0 * (2.0_f64 / 150.0).sqrt() * normal(rng);
            y += (x - y) / 25.0;
            let t = t as f64;
            let meal: f64 = meals
                .iter()
                .map(|(at, height)| {
                    let since = ((t - at) / 90.0).max(0.0);
                    height * 4.0 * since * (-2.0 * since).exp()
                })
                .sum();
            let dawn = 15.0 * (-((t.rem_euclid(DAY) - 390.0) / 90.0).powi(2)).exp();
            (mean + y + meal + dawn).max(78.0)
        })
        .collect()
}

/// A straight fall at 1 to 3 mg/dL/min to 45 to 65 mg/dL, a stay, a recovery; a lag rounds the corners.
fn low(glucose: &mut [f64], at: usize, rng: &mut impl Rng) -> (f64, f64) {
    let target = uniform(rng, 45.0, 65.0);
    let depth = glucose[at] - target;
    let fall = depth / uniform(rng, 1.0, 3.0);
    let stay = uniform(rng, 5.0, 40.0);
    let recovery = depth / uniform(rng, 1.0, 3.0);
    let rebound = if rng.random::<f64>() < 0.3 {
        uniform(rng, 20.0, 60.0)
    } else {
        0.0
    };
    let end = fall + stay + recovery;
    let mut change = 0.0;
    for (k, value) in glucose[at..].iter_mut().enumerate().take(400) {
        let k = k as f64;
        let down = (k / fall).min(1.0) - ((k - fall - stay) / recovery).clamp(0.0, 1.0);
        let up = ((k - end) / 40.0).max(0.0);
        let wanted = rebound * up * (1.0 - up).exp() - down * depth;
        change += (wanted - change) / 7.0;
        *value = (*value + change).max(41.0);
    }
    (at as f64, at as f64 + end + 15.0)
}

/// Adds one event: sharp or first-order edges, level, sloped or two-step bottom, full or partial recovery.
fn press(dip: &mut [f64], start: f64, end: f64, drop: f64, rng: &mut impl Rng) {
    let edge = |rng: &mut _| uniform(rng, 2.0, 8.0);
    let sharp = rng.random::<f64>() < 0.3;
    let (fall, rise) = if sharp {
        (0.3, 0.3)
    } else {
        (edge(rng), edge(rng))
    };
    let form = rng.random::<f64>();
    let left = if rng.random::<f64>() < 0.15 {
        0.15
    } else {
        0.0
    };
    let mut depth = 0.0;
    for (t, value) in dip
        .iter_mut()
        .enumerate()
        .skip(start.ceil() as usize)
        .take(400)
    {
        let t = t as f64;
        let part = (t - start) / (end - start);
        let form = match form {
            f if f < 0.2 => 0.85 + 0.3 * part,
            f if f < 0.35 && part < 0.3 => 0.6,
            _ => 1.0,
        };
        let (wanted, tau) = if t < end {
            (drop * form, fall)
        } else {
            (drop * left * (-(t - end) / 60.0).exp(), rise)
        };
        depth += (wanted - depth) * (1.0 - (-1.0 / tau).exp());
        *value += depth;
    }
}
