//! A second generator of studies, which nothing was tuned to: other bodies, other noise, other habits than the demo's.
//!
//! Glucose is a mean-reverting course whose rate of change is itself correlated, with gamma-shaped meals and falls under
//! exertion. A sensor follows it through a dead time and two lags in a row. Its gain, its offset, the size and memory of
//! its noise, its spacing and its gaps are its own; the wearer checks once to eight times a day, mostly around meals.

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_model::rows::{Check, Reading, SensorReadings, Status, WearEvent};
use whereworn_model::time::Micros;

use super::study::{MINUTE, Rows};

/// What a study is to be like.
#[derive(Clone, Copy, Debug)]
pub struct Shape {
    pub wearers: usize,
    pub sensors: usize,
    /// Checks a day; drawn from 1 to 8 for each wearer where absent.
    pub checks: Option<f64>,
    /// Meters of each wearer; drawn from 1 to 3 where absent.
    pub meters: Option<usize>,
    /// Minutes between readings; drawn where absent.
    pub spacing: Option<i64>,
    /// By how much meters differ, relative standard deviation.
    pub meter_spread: f64,
    /// Least days of a sensor that ends early.
    pub least_days: f64,
}

/// Names of sites, with the mean delay behind the blood, minutes.
const SITES: [(&str, f64); 6] = [
    ("abdomen", 7.0),
    ("upper-arm-back", 5.5),
    ("lower-back", 10.0),
    ("upper-thigh", 12.0),
    ("forearm", 16.5),
    ("chest", 8.0),
];

const RATED: f64 = 14.0;

/// 1 September 2026, 00:00 UTC, in minutes.
const START: i64 = 1_788_220_800 / 60;

pub fn normal(dice: &mut impl Rng) -> f64 {
    let (u, v): (f64, f64) = (dice.random::<f64>().max(1e-12), dice.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

fn between(dice: &mut impl Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * dice.random::<f64>()
}

/// Makes a study.
pub fn study(shape: Shape, seed: u64) -> Rows {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let mut rows = Rows {
        settings: format!(
            "[study]\ntitle = \"Invented\"\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n\n[wear]\nrated_days = {RATED}\nwarmup_hours = 1\n"
        ),
        ..Rows::default()
    };
    for wearer in 0..shape.wearers {
        wear(&mut rows, shape, &format!("p{wearer:02}"), &mut dice);
    }
    rows
}

fn wear(rows: &mut Rows, shape: Shape, wearer: &str, dice: &mut ChaCha8Rng) {
    let spacing = shape
        .spacing
        .unwrap_or_else(|| [1, 5, 5, 5, 10, 15, 15][dice.random_range(0..7)]);
    let meters = shape.meters.unwrap_or_else(|| dice.random_range(1..=3));
    let per_day = shape.checks.unwrap_or_else(|| between(dice, 1.0, 8.0));
    let meter_bias: Vec<f64> = (0..meters)
        .map(|_| shape.meter_spread * normal(dice))
        .collect();
    let meter_noise = between(dice, 0.03, 0.07);
    let mut at = START + (between(dice, 0.0, 20.0) * 1440.0) as i64;
    let begin = at - 300;
    let mut worn: Vec<(i64, i64)> = Vec::new();
    for _ in 0..shape.sensors {
        let days = if dice.random::<f64>() < 0.6 {
            RATED
        } else {
            between(dice, shape.least_days, RATED)
        };
        let end = at + (days * 1440.0) as i64;
        worn.push((at, end));
        at = if dice.random::<f64>() < 0.2 {
            at + ((end - at) as f64 * between(dice, 0.3, 0.9)) as i64
        } else {
            end + (between(dice, 0.01, 2.0) * 1440.0) as i64
        };
    }
    let last = worn.iter().map(|span| span.1).max().unwrap_or(at);
    let blood = course((last - begin) as usize + 600, dice);
    let glucose = |minute: i64| blood[(minute - begin).clamp(0, blood.len() as i64 - 1) as usize];
    for (number, (from, to)) in worn.iter().enumerate() {
        let (site, delay) = SITES[dice.random_range(0..SITES.len())];
        let sensor = format!("{wearer}-n{number:02}");
        let event = |event: &str, minute: i64| WearEvent {
            wearer: wearer.into(),
            sensor: sensor.as_str().into(),
            time: minute * MINUTE,
            event: event.into(),
            ..WearEvent::default()
        };
        let side = ["left", "right"][dice.random_range(0..2)].to_owned();
        let tape = ["none", "ring", "cover"][dice.random_range(0..3)].to_owned();
        rows.events.push(WearEvent {
            site: site.into(),
            side: side.into(),
            tape: tape.into(),
            model: ["model A", "model B"][usize::from(dice.random::<f64>() < 0.3)].into(),
            lot: format!("L{}", number / 4).into(),
            ..event("insert", *from)
        });
        let cause = if (to - from) as f64 >= RATED * 1440.0 - 1.0 {
            "completed"
        } else {
            "fell-off"
        };
        rows.events.push(WearEvent {
            cause: cause.into(),
            ..event("end", *to)
        });
        rows.readings.push(SensorReadings {
            wearer: wearer.into(),
            sensor: sensor.as_str().into(),
            readings: readings(&glucose, (*from, *to), delay, spacing, dice),
        });
    }
    let mut day = begin;
    while day < last {
        for _ in 0..poisson(per_day, dice) {
            // Three meals and bedtime, most checks just before one of them.
            let meal = [450.0, 780.0, 1140.0, 1370.0][dice.random_range(0..4)];
            let minute = if dice.random::<f64>() < 0.7 {
                meal + between(dice, -25.0, 20.0)
            } else {
                between(dice, 400.0, 1400.0)
            };
            let minute = (day / 1440) * 1440 + minute as i64;
            let meter = dice.random_range(0..meters);
            let value = glucose(minute) * (1.0 + meter_bias[meter] + meter_noise * normal(dice));
            let purpose = if dice.random::<f64>() < 0.05 {
                "doubt"
            } else {
                "routine"
            };
            rows.checks.push(Check {
                wearer: wearer.into(),
                time: minute * MINUTE,
                glucose: value.clamp(25.0, 590.0).round(),
                meter: format!("m{meter}").into(),
                purpose: purpose.into(),
                ..Check::default()
            });
        }
        day += 1440;
    }
}

fn poisson(mean: f64, dice: &mut impl Rng) -> usize {
    let (mut product, mut count) = (dice.random::<f64>(), 0);
    while product > (-mean).exp() {
        product *= dice.random::<f64>();
        count += 1;
    }
    count
}

/// Glucose minute by minute.
fn course(minutes: usize, dice: &mut impl Rng) -> Vec<f64> {
    let mut values = Vec::with_capacity(minutes);
    let (mut level, mut rate) = (between(dice, 110.0, 150.0), 0.0);
    let target = between(dice, 115.0, 150.0);
    // What meals and exertion add to the rate: gamma-shaped, by its two compartments.
    let (mut gut, mut uptake) = (0.0, 0.0);
    for minute in 0..minutes {
        let clock = minute as f64 % 1440.0;
        for meal in [460.0, 790.0, 1150.0] {
            if (clock - meal).abs() < 0.5 {
                gut += between(dice, 20.0, 75.0);
                uptake -= between(dice, 10.0, 45.0);
            }
        }
        if dice.random::<f64>() < 0.5 / 1440.0 {
            uptake -= between(dice, 15.0, 40.0);
        }
        rate += -rate / 25.0 + 0.11 * normal(dice);
        let (in_flow, out_flow) = (gut / 30.0, uptake / 70.0);
        gut -= in_flow;
        uptake -= out_flow;
        level += rate + 1.6 * in_flow + out_flow + (target - level) / 180.0;
        level = if level < 75.0 {
            level + (75.0 - level) / 25.0
        } else {
            level
        };
        level = level.clamp(42.0, 430.0);
        values.push(level);
    }
    values
}

fn readings(
    glucose: &dyn Fn(i64) -> f64,
    (from, to): (i64, i64),
    delay: f64,
    spacing: i64,
    dice: &mut ChaCha8Rng,
) -> Vec<Reading> {
    let dead = 0.3 * delay;
    let lag = (delay - dead) / 2.0;
    let gain = 1.0 + 0.06 * normal(dice);
    let offset = 4.0 * normal(dice);
    let (noise, memory) = (between(dice, 0.025, 0.07), between(dice, 8.0, 60.0));
    let white = between(dice, 0.005, 0.025);
    let keep = (-(spacing as f64) / memory).exp();
    let dip = between(dice, 0.0, 0.12);
    let drift = 0.003 * normal(dice);
    let jitter = dice.random::<f64>() < 0.3;
    let (mut first, mut second) = (glucose(from), glucose(from));
    let (mut wobble, mut next, mut silent) = (0.0, from + dice.random_range(1..=spacing), 0);
    let mut pressed: Option<(i64, f64)> = None;
    let mut out = Vec::new();
    for minute in from..=to {
        first += (glucose(minute - dead.round() as i64) - first) / lag.max(1.0);
        second += (first - second) / lag.max(1.0);
        let clock = minute.rem_euclid(1440);
        if pressed.is_none() && !(420..1380).contains(&clock) && dice.random::<f64>() < 0.0003 {
            pressed = Some((
                minute + dice.random_range(25..90),
                between(dice, 15.0, 60.0),
            ));
        }
        if pressed.is_some_and(|(until, _)| minute > until) {
            pressed = None;
        }
        if dice.random::<f64>() < 0.4 / 1440.0 {
            silent = minute
                + if dice.random::<f64>() < 0.15 {
                    dice.random_range(90..500)
                } else {
                    dice.random_range(6..40)
                };
        }
        if minute < next {
            continue;
        }
        next += spacing;
        wobble = keep * wobble + noise * (1.0 - keep * keep).sqrt() * normal(dice);
        if minute < silent {
            continue;
        }
        let age = (minute - from) as f64 / 1440.0;
        let own = gain - dip * (-age / 0.5).exp() + drift * age;
        let value = (own * second + offset) * (1.0 + wobble + white * normal(dice))
            - pressed.map_or(0.0, |(_, drop)| drop);
        let status = match value {
            _ if minute < from + 60 => Status::Warmup,
            low if low < 40.0 => Status::Low,
            high if high > 400.0 => Status::High,
            _ => Status::Ok,
        };
        let late: Micros = if jitter {
            (20e6 * dice.random::<f64>()) as Micros
        } else {
            0
        };
        out.push(Reading {
            time: minute * MINUTE + late,
            glucose: value.clamp(40.0, 400.0).round(),
            status,
            file: 0,
            line: 0,
        });
    }
    out
}
