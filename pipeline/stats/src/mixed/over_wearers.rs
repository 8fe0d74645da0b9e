//! A site's mean where several people wore it.

use super::contrast::Contrast;
use super::model::{RandomTerms, Row, mixed_model};
use super::sensor_means::{mean_of_sensors, sensor_means};
use std::collections::{BTreeMap, BTreeSet};

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
    let rows = in_short(values, sensors, wearers);
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

/// The values of each sensor of each wearer: their number, mean and squares about it. Source: Welford 1962 Technometrics 4:419.
fn in_short(values: &[f64], sensors: &[usize], wearers: &[usize]) -> Vec<Row> {
    let mut rows = BTreeMap::<(usize, usize), Row>::new();
    for ((&value, &sensor), &wearer) in values.iter().zip(sensors).zip(wearers) {
        let row = rows.entry((wearer, sensor)).or_insert_with(|| Row {
            count: 0.0,
            ..Row::new(vec![1.0], 0.0, sensor, wearer)
        });
        row.count += 1.0;
        let apart = value - row.value;
        row.value += apart / row.count;
        row.squares += apart * (value - row.value);
    }
    rows.into_values().collect()
}

fn one_wearer(values: &[f64], sensors: &[usize]) -> Option<MeanOverWearers> {
    Some(MeanOverWearers {
        wearers: 1,
        mean: mean_of_sensors(&sensor_means(values, sensors))?,
        sd_wearers: None,
    })
}
