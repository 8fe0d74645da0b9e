//! Evidence between two sites over 24 monthly looks.

use super::{Count, SIZES, generator};
use crate::calibrate::{Promise, Row};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::accuracy::{Errors, Nights, USUAL};
use whereworn_simulate::draws::normal;
use whereworn_stats::distributions::t_two_sided;
use whereworn_stats::mixed::evidence as means;
use whereworn_stats::rates::evidence::{self as rates, NightlySensor};
use whereworn_stats::survival::evidence::{Look, log_e};

const MONTHS: u32 = 24;

pub fn rows(studies: usize) -> Vec<Row> {
    let mut rows = Vec::new();
    for sensors in SIZES {
        for people in [1, 2] {
            rows.push(of_means(sensors, people, studies));
        }
        rows.push(of_rates(sensors, studies));
    }
    rows.extend(power(studies));
    rows
}

/// A sensor's mean error and what it belongs to.
struct Ended {
    month: u32,
    mean: f64,
    site: usize,
    wearer: usize,
}

/// Sensors of two sites in turn over 24 months, each with five to fifty pairs; wearers take turns of four.
fn study(difference: f64, sensors: usize, people: usize, random: &mut ChaCha8Rng) -> Vec<Ended> {
    let law: Errors = USUAL;
    (0..2 * sensors)
        .map(|place| {
            let site = (place + place / 2) % 2;
            let pairs = f64::from(random.random_range(5..=50));
            let level = difference * site as f64 + law.sd_between * normal(random);
            Ended {
                month: 1 + (place as u32 * MONTHS) / (2 * sensors as u32),
                mean: level + law.sd_within / pairs.sqrt() * normal(random),
                site,
                wearer: place / 4 % people,
            }
        })
        .collect()
}

/// Whether the evidence ever reached 20.
fn reached(looks: impl Iterator<Item = Look>) -> bool {
    let mut so_far = Vec::new();
    looks.into_iter().any(|look| {
        so_far.push(look);
        log_e(&so_far) >= 20.0_f64.ln()
    })
}

fn means_reach(study: &[Ended]) -> bool {
    reached((1..=MONTHS).map(|month| {
        let seen: Vec<&Ended> = study.iter().filter(|one| one.month <= month).collect();
        let values: Vec<f64> = seen.iter().map(|one| one.mean).collect();
        let sites: Vec<usize> = seen.iter().map(|one| one.site).collect();
        let wearers: Vec<usize> = seen.iter().map(|one| one.wearer).collect();
        means::look(&values, &sites, &wearers, &wearers, month, u64::from(month))
    }))
}

fn of_means(sensors: usize, people: usize, studies: usize) -> Row {
    let condition =
        format!("{sensors} sensors a site, {people} wearers, no difference, 24 monthly looks");
    let mut random = generator(&condition);
    let mut count = Count::default();
    for _ in 0..studies {
        count.add(Some(means_reach(&study(0.0, sensors, people, &mut random))));
    }
    count.row(
        "evidence on bias (headline)",
        &condition,
        Promise::RejectsAtMost(0.05),
        studies,
    )
}

/// Power by month 24 beside that of a t test at one look, bias apart by one standard deviation between sensors.
fn power(studies: usize) -> Vec<Row> {
    let condition = "10 sensors a site, bias apart by one SD between sensors";
    // Other studies than those by which the schedule of the evidence was once chosen.
    let mut random = generator("bias apart by one SD: studies that nothing was chosen by");
    let (mut single, mut monthly) = (Count::default(), Count::default());
    for number in 0..studies {
        let side = if number % 2 == 0 { 1.0 } else { -1.0 };
        let study = study(side * USUAL.sd_between, 10, 1, &mut random);
        single.add(Some(t_test(&study) <= 0.05));
        monthly.add(Some(means_reach(&study)));
    }
    let relative = Count {
        held: monthly.held,
        shown: single.held,
    };
    let name = "evidence on bias (headline)";
    vec![
        single.row(
            "t test of sensor means",
            &format!("{condition}, power at one look"),
            Promise::None,
            studies,
        ),
        monthly.row(
            name,
            &format!("{condition}, power by month 24"),
            Promise::None,
            studies,
        ),
        relative.row(
            name,
            &format!(
                "{condition}, its power by month 24 as a share of that of the t test at one look"
            ),
            Promise::AtLeast(0.7),
            studies,
        ),
    ]
}

fn t_test(study: &[Ended]) -> f64 {
    let of = |site: usize| -> (f64, f64, f64) {
        let values: Vec<f64> = study
            .iter()
            .filter(|one| one.site == site)
            .map(|one| one.mean)
            .collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        (
            n,
            mean,
            values.iter().map(|value| (value - mean).powi(2)).sum(),
        )
    };
    let ((n, mean, squares), (m, other, more)) = (of(0), of(1));
    let df = n + m - 2.0;
    let error = ((squares + more) / df * (1.0 / n + 1.0 / m)).sqrt();
    t_two_sided((other - mean) / error, df)
}

fn of_rates(sensors: usize, studies: usize) -> Row {
    let condition = format!(
        "{sensors} sensors a site, 10 per 100 nights, sensors differ, no difference, 24 monthly looks"
    );
    let mut random = generator(&condition);
    let law = Nights {
        rate: 0.1,
        shape: 1.5,
    };
    let mut count = Count::default();
    for _ in 0..studies {
        let worn: Vec<NightlySensor> = (0..2 * sensors)
            .map(|place| NightlySensor {
                group: (place + place / 2) % 2,
                stratum: 0,
                ended: 1.0 + (place as u32 * MONTHS / (2 * sensors as u32)) as f64,
                nights: law.sensor(&mut random),
            })
            .collect();
        count.add(Some(reached((1..=MONTHS).map(|month| {
            let seen: Vec<NightlySensor> = worn
                .iter()
                .filter(|one| one.ended <= f64::from(month))
                .cloned()
                .collect();
            rates::look(&seen, month, u64::from(month))
        }))));
    }
    count.row(
        "evidence on rates (headline)",
        &condition,
        Promise::RejectsAtMost(0.05),
        studies,
    )
}
