//! Whether the raw files show what the truth says.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::collections::BTreeMap;

use common::{Reading, Sensor, Study, small};
use whereworn_demo::Options;

fn clean(options: Options) -> Study {
    Study::new(&Options {
        faults: Some(false),
        ..options
    })
}

/// The reading nearest to an instant, at most five minutes away.
fn near(readings: &[Reading], instant: i64) -> Option<&Reading> {
    let nearest = readings
        .iter()
        .min_by_key(|reading| (reading.instant - instant).abs())?;
    ((nearest.instant - instant).abs() <= 300).then_some(nearest)
}

#[test]
fn artefacts_lie_within_their_sensor_and_take_their_size_off() {
    let study = clean(Options {
        wearers: 6,
        sensors: 14,
        minutes: 5,
        ..small()
    });
    let readings = study.readings();
    let (mut drops, mut sizes, mut count) = (0.0, 0.0, 0);
    for row in study.table("truth/artefacts.csv") {
        let key = (row["wearer"].clone(), row["sensor"].clone());
        let (start, end) = (study.instant(&row["start"]), study.instant(&row["end"]));
        let sensor = study.sensor(&key);
        assert_eq!(sensor.site, row["site"]);
        assert!(
            sensor.inserted <= start && start < end && end <= sensor.last_worn,
            "{row:?}"
        );
        assert!((15..=151).contains(&((end - start) / 60)), "{row:?}");
        let around =
            [start - 180, end - 180, end + 1500].map(|instant| near(&readings[&key], instant));
        if let [Some(before), Some(during), Some(after)] = around {
            drops += (before.glucose + after.glucose) / 2.0 - during.glucose;
            sizes += row["size_mgdl"].parse::<f64>().unwrap();
            count += 1;
        }
    }
    assert!(count > 60, "{count}");
    // Glucose itself moves by some 12 mg/dL (standard deviation) over such a while: four standard errors and rounding.
    let tolerance = 4.0 * 12.0 / f64::from(count).sqrt() + 1.0;
    assert!(
        (drops - sizes).abs() / f64::from(count) < tolerance,
        "{drops} {sizes} {count}"
    );
}

#[test]
fn fingersticks_in_true_lows_are_low_and_some_sound_the_alarm() {
    let study = clean(Options {
        wearers: 4,
        sensors: 14,
        ..small()
    });
    let lows = study.table("truth/true_lows.csv");
    let (mut inside, mut alarms) = (0, 0);
    for check in study
        .rows("fingersticks")
        .iter()
        .filter(|check| check["purpose"] != "control")
    {
        let at = study.instant(&check["time"]);
        let low = lows.iter().find(|low| {
            low["wearer"] == check["wearer"]
                && study.instant(&low["start"]) <= at
                && at < study.instant(&low["end"])
        });
        if low.is_some() {
            let factor = if check["unit"] == "mmol/L" {
                18.0156
            } else {
                1.0
            };
            // Below 70 mg/dL, by a meter that is off by at most six standard deviations of 4.5 %.
            assert!(
                check["glucose"].parse::<f64>().unwrap() * factor < 70.0 * 1.27 + 1.0,
                "{check:?}"
            );
            inside += 1;
            alarms += usize::from(check["purpose"] == "alarm");
        }
    }
    assert!(inside > 30 && alarms > 20, "{inside} {alarms}");
}

/// The mean ratio of readings to fingersticks after the first day is the sensor's own gain: mean over sensors of the
/// difference within 1 %, apart from the forearm, whose gain drifts.
#[test]
fn readings_show_the_gain_of_their_sensor() {
    let study = clean(Options {
        wearers: 6,
        sensors: 14,
        minutes: 5,
        ..small()
    });
    let readings = study.readings();
    let mut errors = Vec::new();
    for sensor in study
        .sensors()
        .iter()
        .filter(|sensor| sensor.site != "forearm")
    {
        let Some(own) = readings.get(&(sensor.wearer.clone(), sensor.sensor.clone())) else {
            continue;
        };
        let ratios = ratios(&study, sensor, own);
        if ratios.len() >= 20 {
            errors.push(ratios.iter().sum::<f64>() / ratios.len() as f64 - sensor.gain);
        }
    }
    assert!(errors.len() > 40, "{}", errors.len());
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    assert!(mean.abs() < 0.01, "{mean}");
    assert!(errors.iter().all(|error| error.abs() < 0.06), "{errors:?}");
}

fn ratios(study: &Study, sensor: &Sensor, readings: &[Reading]) -> Vec<f64> {
    let checks = study.table(&format!("fingersticks/{}.csv", sensor.wearer));
    let routine = checks.iter().filter(|check| check["purpose"] == "routine");
    let ratio = |check: &common::Row| {
        let at = study.instant(&check["time"]);
        let factor = if check["unit"] == "mmol/L" {
            18.0156
        } else {
            1.0
        };
        let reading = (at > sensor.inserted + 86_400)
            .then(|| near(readings, at))
            .flatten()?;
        (reading.status == "ok")
            .then(|| reading.glucose / (check["glucose"].parse::<f64>().unwrap() * factor))
    };
    routine.filter_map(ratio).collect()
}

/// Kaplan-Meier over many sessions against the survival that the hazards amount to; four standard errors (Greenwood).
#[test]
fn sensors_come_off_as_the_hazards_say() {
    let study = clean(Options {
        wearers: 40,
        sensors: 42,
        minutes: 60,
        ..small()
    });
    let mut by_site: BTreeMap<String, Vec<(f64, bool)>> = BTreeMap::new();
    for sensor in study.sensors() {
        let detached = matches!(
            sensor.cause.as_deref(),
            Some("fell-off" | "knocked-off" | "lifted")
        );
        by_site
            .entry(sensor.site)
            .or_default()
            .push((sensor.days, detached));
    }
    assert_eq!(by_site.len(), 7);
    for (site, mut sessions) in by_site {
        sessions.sort_by(|one, other| one.0.total_cmp(&other.0));
        for (horizon, name) in [
            (7.0, "survival_of_adhesion_7"),
            (14.0, "survival_of_adhesion_14"),
        ] {
            let (mut survival, mut greenwood) = (1.0, 0.0);
            for (index, (days, detached)) in sessions.iter().enumerate() {
                let at_risk = (sessions.len() - index) as f64;
                if *detached && *days <= horizon {
                    survival *= 1.0 - 1.0 / at_risk;
                    greenwood += 1.0 / (at_risk * (at_risk - 1.0));
                }
            }
            let expected = study.truth["sites"][&site]["expected"][name]
                .as_f64()
                .unwrap();
            let error = survival * f64::sqrt(greenwood);
            assert!(
                (survival - expected).abs() < 4.0 * error,
                "{site} {name}: {survival} {expected} {error}"
            );
        }
    }
}

/// Artefacts per whole night, against the rate of the site; four standard errors of a count, and a tenth of the rate for
/// those that overlap or do not fit in.
#[test]
fn artefacts_are_as_frequent_as_the_site_says() {
    let study = clean(Options {
        wearers: 40,
        sensors: 42,
        minutes: 60,
        ..small()
    });
    for (site, truth) in study.truth["sites"].as_object().unwrap() {
        let nights = truth["drawn"]["whole_nights"].as_f64().unwrap();
        let count = truth["drawn"]["artefacts"].as_f64().unwrap();
        let expected = truth["artefacts_per_100_nights"].as_f64().unwrap() / 100.0 * nights;
        let tolerance = 4.0 * (1.5 * expected).sqrt() + 0.1 * expected;
        assert!(
            (count - expected).abs() < tolerance,
            "{site}: {count} {expected}"
        );
    }
}
