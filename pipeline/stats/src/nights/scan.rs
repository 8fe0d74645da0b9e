//! One pass over a session: where may a fall or a recovery begin?

use super::model::{Step, smooth, whiten};
use super::noise::{self, Noise};
use super::settings::{BEFORE, HELD, ROUNDING, SCAN_TAU};
use super::{Settings, coarse};

/// A session's readings with their variances.
pub(super) struct Series<'a> {
    pub minutes: &'a [f64],
    pub glucose: &'a [f64],
    /// Standard deviation of the correlated noise per reading, mg/dL.
    pub scale: Vec<f64>,
    /// White variance per reading, (mg/dL)².
    pub white: Vec<f64>,
    /// Step in which each reading is written where it is coarse, mg/dL, else 0.
    pub coarse: Vec<f64>,
    pub noise: Noise,
    /// Median spacing, min.
    pub spacing: f64,
    /// Filter of the whole session.
    steps: Vec<Step>,
    edges: Edges,
}

/// A fall and a recovery that may be one event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pair {
    /// Index of the first reading after the fall began.
    pub fall: usize,
    /// Index of the first reading after the recovery began.
    pub rise: usize,
}

impl<'a> Series<'a> {
    pub fn new(minutes: &'a [f64], glucose: &'a [f64], held: &[bool], set: &Settings) -> Self {
        let mut differences: Vec<f64> = minutes.windows(2).map(|w| w[1] - w[0]).collect();
        let spacing = noise::median(&mut differences).max(0.25);
        let noise = noise::estimate(minutes, glucose, spacing, set);
        let mut scale = level(minutes, glucose);
        scale.iter_mut().for_each(|s| *s *= noise.cv);
        let coarse = coarse::steps(minutes, glucose);
        let white = coarse
            .iter()
            .enumerate()
            .map(|(i, step)| match held.get(i) {
                Some(true) => HELD,
                _ => ROUNDING.max(step * step / 12.0),
            })
            .collect::<Vec<_>>();
        let mut steps = Vec::with_capacity(minutes.len());
        noise.model.gains(minutes, &scale, &white, &mut steps);
        let edges = Edges::new(&noise, spacing);
        Self {
            minutes,
            glucose,
            scale,
            white,
            coarse,
            noise,
            spacing,
            steps,
            edges,
        }
    }

    /// Mean of the readings in the last minutes before a time, or the last one where there is none in them.
    pub fn before(&self, minute: f64) -> f64 {
        let to = self.minutes.partition_point(|&m| m < minute).max(1);
        let from = self
            .minutes
            .partition_point(|&m| m < minute - BEFORE)
            .min(to - 1);
        self.glucose[from..to].iter().sum::<f64>() / (to - from) as f64
    }

    /// Pairs of a fall and a recovery worth a fit: for each fall the best recovery, and the reverse.
    pub fn pairs(&self, readings: &[f64], set: &Settings) -> Vec<Pair> {
        let z = self.evidence(readings);
        let gates = set.at(self.spacing);
        let peaks = |sign: f64| -> Vec<usize> {
            let high = |i: usize| {
                let v = sign * z[i];
                v > gates.edge_gate
                    && v >= sign * z[i - 1]
                    && z.get(i + 1).is_none_or(|next| v > sign * next)
            };
            (1..z.len()).filter(|&i| high(i)).collect()
        };
        let (falls, rises) = (peaks(-1.0), peaks(1.0));
        let shortest = set.length.0.min(0.9 * self.spacing);
        let mut pairs = Vec::new();
        let mut best_fall = vec![(gates.pair_gate, usize::MAX); rises.len()];
        let mut first = 0;
        for &fall in &falls {
            let mut best = (gates.pair_gate, usize::MAX);
            while first < rises.len() && rises[first] < fall {
                first += 1;
            }
            for (k, &rise) in rises.iter().enumerate().skip(first) {
                let length = self.minutes[rise] - self.minutes[fall];
                if length > set.length.1 {
                    break;
                }
                if length < shortest {
                    continue;
                }
                let factor = self.edges.pair_factor(rise - fall);
                let joint = (z[rise] - z[fall]) * factor;
                let height = joint * factor / self.edges.sd(self.scale[fall]);
                if height < gates.height_gate {
                    continue;
                }
                if joint > best.0 {
                    best = (joint, rise);
                }
                if joint > best_fall[k].0 {
                    best_fall[k] = (joint, fall);
                }
            }
            pairs.push(Pair { fall, rise: best.1 });
        }
        pairs.extend(
            best_fall
                .iter()
                .zip(&rises)
                .map(|(b, &rise)| Pair { fall: b.1, rise }),
        );
        pairs.retain(|p| p.fall < usize::MAX && p.rise < usize::MAX);
        pairs.sort_by_key(|p| (p.fall, p.rise));
        pairs.dedup();
        pairs
    }

    /// Standardised evidence that the trace steps up (positive) or down just before each reading.
    fn evidence(&self, readings: &[f64]) -> Vec<f64> {
        let mut u = vec![0.0; readings.len()];
        let origin = readings[0];
        whiten(&self.steps, 0, |i| readings[i] - origin, &mut u);
        smooth(&self.steps, &mut u);
        let half = (-0.5 * self.spacing / SCAN_TAU).exp();
        let usual = half * half;
        let (mut sum, mut decayed) = (0.0, 0.0);
        for i in (0..u.len()).rev() {
            let gap = self
                .minutes
                .get(i + 1)
                .map_or(self.spacing, |m| m - self.minutes[i]);
            let fade = if (gap - self.spacing).abs() < 1e-6 {
                usual
            } else {
                (-gap / SCAN_TAU).exp()
            };
            sum += u[i];
            decayed = decayed * fade + u[i];
            u[i] = (sum - half * decayed) / self.edges.sd(self.scale[i]);
        }
        u
    }
}

/// Scale of the edge statistic far from both ends of a session.
struct Edges {
    /// Standard deviation at a few noise levels: (scale, sd).
    sds: Vec<(f64, f64)>,
    /// 1 / sqrt(2 − 2 r), r the correlation of the statistic at two readings, by their distance.
    pair_factors: Vec<f64>,
}

impl Edges {
    fn new(noise: &Noise, spacing: f64) -> Self {
        let count = ((240.0 / spacing) as usize).clamp(8, 600);
        let minutes: Vec<f64> = (0..2 * count).map(|i| i as f64 * spacing).collect();
        let mut steps = Vec::new();
        let mut out = vec![0.0; minutes.len()];
        let mut pair_factors = Vec::new();
        let mut sds = Vec::new();
        for level in [40.0, 80.0, 130.0, 200.0, 300.0, 450.0] {
            let scale = vec![level * noise.cv; minutes.len()];
            noise
                .model
                .gains(&minutes, &scale, &vec![ROUNDING; minutes.len()], &mut steps);
            let begin = minutes[count] - 0.5 * spacing;
            whiten(
                &steps,
                count,
                |i| 1.0 - (-(minutes[i] - begin) / SCAN_TAU).exp(),
                &mut out,
            );
            let own = &out[count..];
            let product = |lag: usize| own.iter().zip(&own[lag..]).map(|(a, b)| a * b).sum::<f64>();
            let variance = product(0);
            sds.push((level * noise.cv, variance.sqrt()));
            if level == 130.0 {
                pair_factors = (0..count)
                    .map(|lag| {
                        (2.0 - 2.0 * product(lag) / variance)
                            .max(0.05)
                            .sqrt()
                            .recip()
                    })
                    .collect();
            }
        }
        Self { sds, pair_factors }
    }

    fn sd(&self, scale: f64) -> f64 {
        let k = self
            .sds
            .partition_point(|e| e.0 < scale)
            .clamp(1, self.sds.len() - 1);
        let ((s0, v0), (s1, v1)) = (self.sds[k - 1], self.sds[k]);
        v0 + (v1 - v0) * ((scale - s0) / (s1 - s0)).clamp(0.0, 1.0)
    }

    fn pair_factor(&self, lag: usize) -> f64 {
        self.pair_factors
            .get(lag)
            .copied()
            .unwrap_or(std::f64::consts::FRAC_1_SQRT_2)
    }
}

/// Level of the undisturbed trace, roughly: the higher of the reading and its slow average.
fn level(minutes: &[f64], glucose: &[f64]) -> Vec<f64> {
    let n = glucose.len();
    let mut slow = vec![0.0; n];
    let mut x = glucose[0];
    let mut fade = (f64::NAN, 0.0);
    let mut keep = |gap: f64| {
        if gap != fade.0 {
            fade = (gap, (-gap / 60.0).exp());
        }
        fade.1
    };
    for i in 0..n {
        let k = if i == 0 {
            1.0
        } else {
            keep(minutes[i] - minutes[i - 1])
        };
        x = k * x + (1.0 - k) * glucose[i];
        slow[i] = x;
    }
    x = glucose[n - 1];
    for i in (0..n).rev() {
        let k = if i + 1 == n {
            1.0
        } else {
            keep(minutes[i + 1] - minutes[i])
        };
        x = k * x + (1.0 - k) * glucose[i];
        slow[i] = glucose[i].max(0.5 * (slow[i] + x)).clamp(40.0, 450.0);
    }
    slow
}
