//! Coverage of what is foretold of the next sensor.

use super::accuracy::Count;
use super::{Promise, Row};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use whereworn_simulate::accuracy::{Counts, Errors, FAR, Spread, USUAL};
use whereworn_simulate::wear::{Cause, LAWS, Law, Life, RATED, still_on};
use whereworn_stats::prediction::level::next_level;
use whereworn_stats::prediction::usable_days::next_days;
use whereworn_stats::resampling::seed::seed;

/// Sensors of a site.
const SIZES: [usize; 5] = [3, 4, 5, 10, 20];
const QUICK_SIZES: [usize; 3] = [3, 5, 10];

/// Off by more than this, percent.
const LIMIT: f64 = 15.0;

/// Standard deviations between and within sensors, percent, and the mean.
const LEVELS: [(f64, f64, f64); 5] = [
    (5.0, 9.0, 3.0),
    (8.0, 8.0, 3.0),
    (10.0, 5.0, 8.0),
    (4.0, 9.0, 8.0),
    (3.0, 6.0, 10.0),
];

/// The lines of the page.
pub fn rows(quick: bool) -> Vec<Row> {
    let studies = if quick { 300 } else { 3000 };
    // Many sensors take most of the time, and show a fault no sooner.
    let (sizes, laws) = if quick {
        (&QUICK_SIZES[..], 3)
    } else {
        (&SIZES[..], LEVELS.len())
    };
    let mut rows = Vec::new();
    for &sensors in sizes {
        for (sd_between, sd_within, bias) in LEVELS.into_iter().take(laws) {
            let law = Errors {
                bias,
                sd_between,
                sd_within,
                ..USUAL
            };
            rows.extend(levels(sensors, law, studies));
        }
        rows.push(with_an_outlier(sensors, studies));
        for (name, law) in LAWS {
            rows.push(days(sensors, name, law, studies));
        }
    }
    rows
}

fn generator(condition: &str) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed(&["next", condition]))
}

fn few(sensors: usize, many: Promise) -> Promise {
    if sensors < 5 {
        Promise::Covers(0.90)
    } else {
        many
    }
}

fn levels(sensors: usize, law: Errors, studies: usize) -> Vec<Row> {
    let Errors {
        bias,
        sd_between,
        sd_within,
        ..
    } = law;
    let condition = format!(
        "{sensors} sensors, bias {bias} %, SD {sd_between} % between and {sd_within} % within"
    );
    let mut random = generator(&condition);
    let truth = share_of_levels(law, &mut random);
    let [mut level, mut beyond, mut agree] = [Count::default(); 3];
    for _ in 0..studies {
        let pairs = law.site(sensors, &[0.0], &mut random);
        let next = next_level(&pairs.errors, &pairs.sensors, LIMIT);
        let one = law.level(&mut random);
        level.add(next.map(|n| n.prediction.lower <= one && one <= n.prediction.upper));
        let share = next.map(|n| n.beyond.interval);
        beyond.add(share.map(|i| i.lower <= truth.beyond && truth.beyond <= i.upper));
        agree.add(next.map(|n| n.agree()));
    }
    let wrong = truth.other_way > 0.05;
    vec![
        level.row(
            "reading of the next sensor",
            &condition,
            few(sensors, Promise::Between(0.93, 0.97)),
            studies,
        ),
        beyond.row(
            "share of sensors beyond 15 %",
            &condition,
            Promise::Covers(0.90),
            studies,
        ),
        agree.row(
            if wrong {
                "sensors said to agree where more than one in twenty reads the other way"
            } else {
                "sensors said to agree where at most one in twenty reads the other way"
            },
            &condition,
            if wrong {
                Promise::RejectsAtMost(0.05)
            } else {
                Promise::None
            },
            studies,
        ),
    ]
}

/// Shares of all sensors there could be.
struct Truth {
    beyond: f64,
    other_way: f64,
}

fn share_of_levels(law: Errors, random: &mut ChaCha8Rng) -> Truth {
    const DRAWS: usize = 400_000;
    let levels: Vec<f64> = (0..DRAWS).map(|_| law.level(random)).collect();
    let share = |of: &dyn Fn(f64) -> bool| {
        levels.iter().filter(|level| of(**level)).count() as f64 / DRAWS as f64
    };
    Truth {
        beyond: share(&|level| level.abs() > LIMIT),
        other_way: share(&|level| level * law.mean() < 0.0),
    }
}

/// One of the sensors is far off, and one in ten that come.
fn with_an_outlier(sensors: usize, studies: usize) -> Row {
    let condition = format!("{sensors} sensors, one of them and one in ten that come {FAR} % off");
    let mut random = generator(&condition);
    let usual = Errors {
        counts: Counts::FiveToFifty,
        ..USUAL
    };
    let far = Errors {
        spread: Spread::OneInTenFarOff,
        ..USUAL
    };
    let mut count = Count::default();
    for study in 0..studies {
        let mut pairs = usual.site(sensors, &[0.0], &mut random);
        let shift = if study % 2 == 0 { FAR } else { -FAR };
        for (error, sensor) in pairs.errors.iter_mut().zip(&pairs.sensors) {
            *error += if *sensor == 0 { shift } else { 0.0 };
        }
        let one = far.level(&mut random);
        let next = next_level(&pairs.errors, &pairs.sensors, LIMIT);
        count.add(next.map(|n| n.prediction.lower <= one && one <= n.prediction.upper));
    }
    count.row(
        "reading of the next sensor",
        &condition,
        Promise::Covers(0.90),
        studies,
    )
}

fn days(sensors: usize, name: &str, law: Law, studies: usize) -> Row {
    let condition = format!("{sensors} sensors, {name}");
    let mut random = generator(&condition);
    let mut count = Count::default();
    for _ in 0..studies {
        let mut lives: Vec<Life> = (0..sensors).map(|_| law.draw(&mut random, 1.0)).collect();
        still_on(&mut lives, &mut random);
        let days: Vec<f64> = lives.iter().map(|life| life.days).collect();
        let ended: Vec<bool> = lives.iter().map(|l| l.cause != Cause::Still).collect();
        let one = law.draw(&mut random, 1.0).days;
        let next = next_days(&days, &ended, RATED);
        count.add(next.map(|n| n.prediction.lower <= one && one <= n.prediction.upper));
    }
    count.row(
        "usable days of the next sensor",
        &condition,
        few(sensors, Promise::Covers(0.93)),
        studies,
    )
}
