//! A site's mean where several people wore it.

use super::contrast::Contrast;
use super::model::{RandomTerms, Row, mixed_model};
use super::sensor_means::{mean_of_sensors, sensor_means};
use std::collections::BTreeSet;

/// A mean over wearers and sensors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanOverWearers {
    /// Number of wearers.
    pub wearers: usize,
    /// The mean and its t interval.
    pub mean: Contrast,
    /// Standard deviation between wearers; `None` with one.
    pub sd_wearers: Option<f64>,
}

/// The mean of values of sensors of wearers, both random, by REML.
///
/// With several wearers t has Satterthwaite's degrees of freedom, held to 1 to wearers - 1: a variance between few wearers
/// that is estimated as 0 is no proof that there is none. With one wearer this is [`mean_of_sensors`]. `None` with one
/// sensor or where the model cannot be fitted. Checked by `tests/site_means.rs`.
#[must_use]
pub fn mean_over_wearers(
    values: &[f64],
    sensors: &[usize],
    wearers: &[usize],
) -> Option<MeanOverWearers> {
    let distinct = |groups: &[usize]| groups.iter().collect::<BTreeSet<_>>().len();
    if distinct(sensors) < 2 {
        return None;
    }
    let people = distinct(wearers);
    if people < 2 {
        return one_wearer(values, sensors);
    }
    let rows: Vec<Row> = (0..values.len())
        .map(|i| Row::new(vec![1.0], values[i], sensors[i], wearers[i]))
        .collect();
    let terms = RandomTerms {
        slope: false,
        outer: true,
    };
    let model = mixed_model(&rows, terms).ok()?;
    Some(MeanOverWearers {
        wearers: people,
        mean: model.contrast(&[1.0], people as f64 - 1.0),
        sd_wearers: model.sd_outer(),
    })
}

fn one_wearer(values: &[f64], sensors: &[usize]) -> Option<MeanOverWearers> {
    Some(MeanOverWearers {
        wearers: 1,
        mean: mean_of_sensors(&sensor_means(values, sensors))?,
        sd_wearers: None,
    })
}
