//! Noise and restlessness of one session, from second differences at several lags.
//!
//! A second difference y(t+h) − 2y(t) + y(t−h) hardly sees the trend of glucose; of AR(1) noise with
//! standard deviation s it has variance s²(6 − 8ρ(h) + 2ρ(2h)). Its scale is taken from the median of
//! absolute values (times 1.4826), which a few events or meals do not move. The parameters are those
//! of a small grid that fit the scales at all lags best: least squares of logs, weighted by the
//! variance of the log of a median of absolute values, with a normal prior around the usual values.

use super::Settings;
use super::model::Model;
use super::settings::{
    CORRELATIONS, ENOUGH, FARTHEST, LAGS, OF_LOG_MAD, RATES, SAMPLE, SPREAD, TRUSTED,
};

/// What is known of a session before any event is looked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Noise {
    pub model: Model,
    /// Standard deviation of the noise as a share of glucose.
    pub cv: f64,
}

/// Noise of a session with readings about `spacing` minutes apart.
pub(super) fn estimate(minutes: &[f64], glucose: &[f64], spacing: f64, set: &Settings) -> Noise {
    let model = |correlation: f64, rate_sd: f64| Model {
        rate_sd: rate_sd.max(set.at(spacing).rate_sd_least),
        rate_minutes: set.rate_minutes,
        noise_per_minute: correlation.powf(0.2),
    };
    let scales = LAGS.map(|lag| {
        let near = lag as f64 * spacing <= FARTHEST;
        near.then(|| scale(minutes, glucose, spacing, lag))
            .flatten()
    });
    let mut best = (
        f64::INFINITY,
        set.noise_cv,
        set.noise_correlation,
        set.rate_sd,
    );
    for correlation in CORRELATIONS {
        for rate_sd in RATES {
            let model = model(correlation, rate_sd);
            for step in -8..=8 {
                let cv = set.noise_cv * (f64::from(step) * 0.15).exp();
                let mut loss = ((cv / set.noise_cv).ln() / SPREAD.0).powi(2)
                    + ((correlation - set.noise_correlation) / SPREAD.1).powi(2)
                    + ((rate_sd / set.rate_sd).ln() / SPREAD.2).powi(2);
                for (lag, scale) in LAGS.iter().zip(&scales) {
                    let Some((sd, level, count)) = scale else {
                        continue;
                    };
                    let independent = (count / (2.0 * *lag as f64)).min(TRUSTED);
                    let h = *lag as f64 * spacing;
                    let rho = model.noise_per_minute.powf(h);
                    let noise = (cv * level).powi(2) * (6.0 - 8.0 * rho + 2.0 * rho * rho);
                    let expected = noise + model.second_difference_variance(h) + 0.5;
                    let error = (sd.ln() - 0.5 * expected.ln()).powi(2);
                    loss += error * independent / OF_LOG_MAD;
                }
                if loss < best.0 {
                    best = (loss, cv, correlation, rate_sd);
                }
            }
        }
    }
    Noise {
        model: model(best.2, best.3),
        cv: best.1,
    }
}

/// Scale of second differences at a lag (mg/dL), the typical level they were taken at, and their count.
fn scale(minutes: &[f64], glucose: &[f64], spacing: f64, lag: usize) -> Option<(f64, f64, f64)> {
    let last = minutes.len().checked_sub(2 * lag)?;
    let stride = last.div_ceil(SAMPLE).max(1);
    let (mut differences, mut levels) = (Vec::new(), Vec::new());
    for i in (0..last).step_by(stride) {
        let (mid, end) = (i + lag, i + 2 * lag);
        let (h1, h2) = (minutes[mid] - minutes[i], minutes[end] - minutes[mid]);
        let h = lag as f64 * spacing;
        if (h1 - h).abs() > 0.1 * h || (h2 - h).abs() > 0.1 * h {
            continue;
        }
        differences
            .push((glucose[end] - 2.0 * glucose[mid] + glucose[i]).abs() / glucose[mid].max(40.0));
        levels.push(glucose[mid]);
    }
    if differences.len() < ENOUGH {
        return None;
    }
    let level = median(&mut levels);
    let count = differences.len() as f64;
    Some((
        (1.4826 * median(&mut differences) * level).max(0.7),
        level,
        count,
    ))
}

/// Upper median; 0 for none.
pub(super) fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() {
        return 0.0;
    }
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
