//! How often two sites that do not differ are said to, where chances of a draw change with what was seen: drawn again by those
//! chances, and shuffled as if all arrangements were as likely.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rayon::prelude::*;
use whereworn_simulate::draws::normal;
use whereworn_stats::conclusions::{
    Ending, Measure, Night, Pair, Plan, Primary, Sensor, Study, conclude,
};
use whereworn_stats::resampling::seed::seed;

use super::Line;

/// Rated wear, days; sensors are worn one after the other.
const RATED: f64 = 14.0;

/// Sensors of a wearer, and days of a quarter.
const SENSORS: usize = 60;
const QUARTER: f64 = 91.3;

/// By what the chance of the first site is set.
#[derive(Clone, Copy)]
enum Chances {
    /// One half: nothing changes.
    Even,
    /// 0.8 for the site that lost fewer of its last sensors: the aim to wear what did best.
    TheBest,
    /// From 0.85 to 0.15 over each quarter.
    Falling,
}

impl Chances {
    fn of_first(self, day: f64, sensors: &[Sensor]) -> f64 {
        let lost = |site: usize| {
            let last = sensors.iter().rev().filter(|s| s.site == site).take(4);
            let (lost, all) = last.fold((1.0, 2.0), |(lost, all), sensor| {
                (
                    lost + f64::from(u8::from(sensor.ending == Ending::CameOff)),
                    all + 1.0,
                )
            });
            lost / all
        };
        match self {
            Self::Even => 0.5,
            Self::TheBest if lost(0) < lost(1) => 0.8,
            Self::TheBest if lost(0) > lost(1) => 0.2,
            Self::TheBest => 0.5,
            Self::Falling => 0.85 - 0.7 * (day / QUARTER).fract(),
        }
    }
}

/// What was said of one wearer.
struct Said {
    leans: bool,
    differs: bool,
}

/// Fingersticks of a sensor.
const PAIRS: usize = 12;

/// Sensors of two sites alike, but for how unlike those of the second are, come off, are disturbed at night and read too high more and more over each quarter.
fn sensors(chances: Chances, unlike: f64, number: usize) -> Vec<Sensor> {
    let random = &mut ChaCha8Rng::seed_from_u64(seed(&["drawn again", &number.to_string()]));
    let pairs = &mut ChaCha8Rng::seed_from_u64(seed(&["their pairs", &number.to_string()]));
    let mut sensors: Vec<Sensor> = Vec::new();
    for place in 0..SENSORS {
        let inserted = RATED * place as f64;
        let first = chances.of_first(inserted, &sensors);
        let late = (inserted / QUARTER).fract();
        let lasts = -(1.0 - random.random::<f64>()).ln() / (0.01 * (2.5 * late).exp());
        let days = lasts.min(RATED);
        let night = |night: usize, random: &mut ChaCha8Rng| Night {
            end: inserted + night as f64,
            artefacts: f64::from(u8::from(random.random::<f64>() < 0.03 * (2.5 * late).exp())),
            age: night as f64 - 0.5,
        };
        let site = usize::from(random.random::<f64>() >= first);
        let scatter = if site == 1 { 0.05 * unlike } else { 0.05 };
        let off = scatter * normal(pairs) + 0.2 * late;
        let pair = |at: usize, pairs: &mut ChaCha8Rng| {
            let relative = off + 0.08 * normal(pairs);
            let age = (at as f64 + 0.5) * days / PAIRS as f64;
            Pair {
                time: inserted + age,
                difference: 120.0 * relative,
                relative,
                routine: true,
                age,
                rank: 0.5,
                meter: 0,
                rate: None,
            }
        };
        sensors.push(Sensor {
            site,
            inserted,
            quarter: (inserted / QUARTER) as i32,
            rated_days: RATED,
            known_until: inserted + days,
            ending: if lasts < RATED {
                Ending::CameOff
            } else {
                Ending::Censored
            },
            pairs: (0..PAIRS).map(|at| pair(at, pairs)).collect(),
            nights: (1..=days as usize).map(|at| night(at, random)).collect(),
            chances: vec![first, 1.0 - first],
            ..Sensor::default()
        });
    }
    sensors
}

fn said(measure: Measure, sensors: Vec<Sensor>) -> Said {
    let plan = Plan {
        primary: vec![Primary::Measure(measure)],
        reference: Some("a".to_owned()),
        ..Plan::default()
    };
    let months = (RATED * SENSORS as f64 / 30.4) as usize + 1;
    let study = Study {
        sites: vec!["a", "b"],
        sensors,
        looks: (1..=months).map(|month| 30.4 * month as f64).collect(),
    };
    let rows = conclude(&study, &plan, None);
    let row = rows.iter().find(|row| row.primary);
    Said {
        leans: row.and_then(|row| row.p).is_some_and(|p| p < 0.05),
        differs: row.is_some_and(|row| row.evidence >= 20.0),
    }
}

/// The lines of the page.
pub fn lines(quick: bool) -> Vec<Line> {
    let wearers = if quick { 200 } else { 4000 };
    let limit = 0.05 + 3.0 * (0.05 * 0.95 / wearers as f64).sqrt();
    let mut lines = Vec::new();
    for (measure, of) in [
        (Measure::StaysOn, "stays on"),
        (Measure::QuietAtNight, "quiet at night"),
        (Measure::ReadsTrue, "reads true"),
        (Measure::ReadsHighOrLow, "reads high or low"),
    ] {
        for (chances, unlike, how) in [
            (Chances::Even, 1.0, "even chances"),
            (Chances::TheBest, 1.0, "chances that follow what did best"),
            (Chances::Falling, 1.0, "chances that fall over each quarter"),
            (
                Chances::Even,
                3.0,
                "even chances, one site's sensors three times as unlike",
            ),
            (
                Chances::TheBest,
                3.0,
                "chances that follow what did best, one site's sensors three times as unlike",
            ),
        ]
        .into_iter()
        // Sensors more unlike each other are truly farther from fingersticks.
        .take(if measure == Measure::ReadsHighOrLow {
            5
        } else {
            3
        }) {
            let all: Vec<[Said; 2]> = (0..wearers)
                .into_par_iter()
                .map(|number| {
                    let drawn = sensors(chances, unlike, number);
                    let mut shuffled = drawn.clone();
                    shuffled
                        .iter_mut()
                        .for_each(|sensor| sensor.chances.clear());
                    [drawn, shuffled].map(|sensors| said(measure, sensors))
                })
                .collect();
            let share = |way: usize, of: fn(&Said) -> bool| {
                all.iter().filter(|one| of(&one[way])).count() as f64 / wearers as f64
            };
            let [again, shuffled] = [0, 1].map(|way| {
                (
                    share(way, |said| said.leans),
                    share(way, |said| said.differs),
                )
            });
            let text = |(leans, differs): (f64, f64)| {
                format!("{:.1} % and {:.1} %", 100.0 * leans, 100.0 * differs)
            };
            lines.push(Line {
                what: format!("{of}, {how}: p below 0.05 and evidence above 20 without a difference, drawn again; taking no notice of the chances"),
                got: format!("{}; {}", text(again), text(shuffled)),
                promise: "drawn again at most 5 % each (three Monte-Carlo errors allowed)",
                kept: again.0 <= limit && again.1 <= limit,
            });
        }
    }
    lines
}
