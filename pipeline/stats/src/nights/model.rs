//! The undisturbed trace as a linear Gaussian state: glucose, its rate of change, sensor noise.
//!
//! ```text
//! reading(t) = b(t) + s(t) n(t) + e(t)      mg/dL
//! db/dt = v                                 v: Ornstein-Uhlenbeck, sd `rate_sd`, time constant `rate_minutes`
//! n: AR(1) in continuous time, unit variance, correlation `noise_per_minute` over one minute
//! e: white, variance given per reading (rounding; large where the reading is held at a limit)
//! ```
//!
//! The filter gains depend on times and variances only, so one pass of them whitens the readings and
//! any number of template columns: products of whitened columns are products under the inverse of
//! the readings' covariance (Harvey 1989, Forecasting, Structural Time Series Models, 3.4, from memory).

/// Parameters of the undisturbed trace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Model {
    /// Standard deviation of glucose's rate of change, mg/dL/min.
    pub rate_sd: f64,
    /// Time constant of the rate of change, min.
    pub rate_minutes: f64,
    /// Correlation of the sensor noise over one minute.
    pub noise_per_minute: f64,
}

/// One reading's part in the filter.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Step {
    gain: [f64; 3],
    inverse_sd: f64,
    scale: f64,
    drift: f64,
    rate: f64,
    noise: f64,
}

#[derive(Clone, Copy)]
struct Transition {
    minutes: f64,
    drift: f64,
    rate: f64,
    noise: f64,
    q_bb: f64,
    q_bv: f64,
    q_vv: f64,
    q_nn: f64,
}

/// Prior variance of the level, (mg/dL)²: wide against any glucose, small enough for f64.
const LEVEL_VARIANCE: f64 = 1e5;

impl Model {
    fn transition(&self, minutes: f64) -> Transition {
        let (sd2, tc) = (self.rate_sd * self.rate_sd, self.rate_minutes);
        let rate = (-minutes / tc).exp();
        let noise = self.noise_per_minute.powf(minutes);
        let shape = 2.0 * minutes / tc - 3.0 + 4.0 * rate - rate * rate;
        Transition {
            minutes,
            drift: tc * (1.0 - rate),
            rate,
            noise,
            q_bb: sd2 * tc * tc * shape,
            q_bv: sd2 * tc * (1.0 - rate) * (1.0 - rate),
            q_vv: sd2 * (1.0 - rate * rate),
            q_nn: 1.0 - noise * noise,
        }
    }

    /// Variance (mg/dL)² of the second difference b(t+h) − 2b(t) + b(t−h).
    pub fn second_difference_variance(&self, h: f64) -> f64 {
        let increment = |h: f64| {
            let x = h / self.rate_minutes;
            2.0 * (self.rate_sd * self.rate_minutes).powi(2) * (x - 1.0 + (-x).exp())
        };
        4.0 * increment(h) - increment(2.0 * h)
    }

    /// Filter gains for readings at `minutes` (sorted) with noise standard deviations `scale` and
    /// white variances `white`; `steps` is cleared first.
    pub fn gains(&self, minutes: &[f64], scale: &[f64], white: &[f64], steps: &mut Vec<Step>) {
        steps.clear();
        let [mut bb, mut bv, mut bn] = [LEVEL_VARIANCE, 0.0, 0.0];
        let [mut vv, mut vn, mut nn] = [self.rate_sd * self.rate_sd, 0.0, 1.0];
        let mut move_on = self.transition(1.0);
        for (i, (&s, &r)) in scale.iter().zip(white).enumerate() {
            let next = minutes
                .get(i + 1)
                .map_or(move_on.minutes, |m| m - minutes[i]);
            if (next - move_on.minutes).abs() > 1e-6 {
                move_on = self.transition(next);
            }
            let (hb, hv, hn) = (bb + s * bn, bv + s * vn, bn + s * nn);
            let f = hb + s * hn + r;
            let inverse = 1.0 / f;
            let gain = [hb * inverse, hv * inverse, hn * inverse];
            steps.push(Step {
                gain,
                inverse_sd: inverse.sqrt(),
                scale: s,
                drift: move_on.drift,
                rate: move_on.rate,
                noise: move_on.noise,
            });
            bb -= gain[0] * hb;
            bv -= gain[0] * hv;
            bn -= gain[0] * hn;
            vv -= gain[1] * hv;
            vn -= gain[1] * hn;
            nn -= gain[2] * hn;
            let (g, p, c) = (move_on.drift, move_on.rate, move_on.noise);
            bb += g * (2.0 * bv + g * vv) + move_on.q_bb;
            bv = p * (bv + g * vv) + move_on.q_bv;
            bn = c * (bn + g * vn);
            vv = p * p * vv + move_on.q_vv;
            vn *= p * c;
            nn = c * c * nn + move_on.q_nn;
        }
    }
}

/// Whitens a column that is zero before index `from`; `out` gets the whitened values from there on.
pub(super) fn whiten(steps: &[Step], from: usize, column: impl Fn(usize) -> f64, out: &mut [f64]) {
    let [mut b, mut v, mut n] = [0.0; 3];
    out[..from].fill(0.0);
    for (i, step) in steps.iter().enumerate().skip(from) {
        let e = column(i) - b - step.scale * n;
        out[i] = e * step.inverse_sd;
        let (fb, fv, fn_) = (
            b + step.gain[0] * e,
            v + step.gain[1] * e,
            n + step.gain[2] * e,
        );
        b = fb + step.drift * fv;
        v = step.rate * fv;
        n = step.noise * fn_;
    }
}

/// Inverse covariance times the readings, given the whitened readings; written over them.
pub(super) fn smooth(steps: &[Step], whitened: &mut [f64]) {
    let [mut rb, mut rv, mut rn] = [0.0; 3];
    for (step, value) in steps.iter().zip(whitened.iter_mut()).rev() {
        let (wb, wv, wn) = (rb, step.drift * rb + step.rate * rv, step.noise * rn);
        let u =
            *value * step.inverse_sd - step.gain[0] * wb - step.gain[1] * wv - step.gain[2] * wn;
        (rb, rv, rn) = (wb + u, wv, wn + step.scale * u);
        *value = u;
    }
}
