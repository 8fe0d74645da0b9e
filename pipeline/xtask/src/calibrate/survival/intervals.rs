//! Coverage of the intervals of one site.

use super::{SEVERAL, SIZES, generator};
use crate::calibrate::{Promise, Row};
use rand::RngExt;
use whereworn_simulate::wear::{Cause, LAWS, Law, Life, RATED, still_on};
use whereworn_stats::interval::Interval;
use whereworn_stats::survival::beta_product::BetaProduct;
use whereworn_stats::survival::incidence::cumulative_incidence;
use whereworn_stats::survival::interval_scale::share_interval;
use whereworn_stats::survival::kaplan_meier::{IntervalScale, KaplanMeier};

const FIGURES: [&str; 6] = [
    "came off by the rated day, beta product (headline)",
    "came off by the rated day, log(-log)",
    "still attached on the rated day, beta product",
    "still attached on the rated day, log(-log)",
    "usable days, beta product (headline)",
    "usable days, normal",
];

pub fn rows(quick: bool) -> Vec<Row> {
    let studies = if quick { 400 } else { 3000 };
    let mut rows = Vec::new();
    for (name, law) in LAWS {
        for sensors in SIZES {
            rows.extend(coverage(
                law,
                sensors,
                &[1.0],
                studies,
                &format!("{sensors} sensors, {name}"),
            ));
        }
        let condition = format!("10 sensors of four wearers drawn at random, {name}");
        rows.extend(coverage(law, 10, &SEVERAL, studies, &condition));
    }
    rows
}

fn coverage(
    law: Law,
    sensors: usize,
    frailties: &[f64],
    studies: usize,
    condition: &str,
) -> Vec<Row> {
    let mut random = generator(condition);
    let truths = [
        law.incidence(frailties),
        law.survival(frailties),
        law.usable_days(frailties),
    ];
    let mut counts = [(0, 0); FIGURES.len()];
    for _ in 0..studies {
        // As many wearers as there are frailties, each drawn from them: sensors of one wearer are alike.
        let wearers: Vec<f64> = frailties
            .iter()
            .map(|_| frailties[random.random_range(0..frailties.len())])
            .collect();
        let mut lives: Vec<Life> = (0..sensors)
            .map(|sensor| law.draw(&mut random, wearers[sensor % wearers.len()]))
            .collect();
        still_on(&mut lives, &mut random);
        for (place, interval) in intervals(&lives).into_iter().enumerate() {
            let Some(interval) = interval else { continue };
            let truth = truths[place / 2];
            counts[place].0 += usize::from(interval.lower <= truth && truth <= interval.upper);
            counts[place].1 += 1;
        }
    }
    let promise = |place: usize| match (place % 2, sensors) {
        // Days are shown from three sensors on.
        (0, ..3) if place > 2 => Promise::None,
        (0, ..5) => Promise::Covers(0.90),
        (0, _) => Promise::OnAverage(0.90),
        _ => Promise::None,
    };
    FIGURES
        .iter()
        .zip(counts)
        .enumerate()
        .map(|(place, (figure, (held, shown)))| Row {
            figure,
            condition: condition.to_owned(),
            promise: promise(place),
            held,
            shown,
            studies,
        })
        .collect()
}

/// In the order of [`FIGURES`].
fn intervals(lives: &[Life]) -> [Option<Interval>; 6] {
    let days: Vec<f64> = lives.iter().map(|life| life.days).collect();
    let causes: Vec<Option<usize>> = lives
        .iter()
        .map(|life| match life.cause {
            Cause::Detached => Some(0),
            Cause::Fault => Some(1),
            Cause::Chosen | Cause::Still => None,
        })
        .collect();
    let came_off: Vec<Option<usize>> = causes
        .iter()
        .map(|cause| cause.filter(|&cause| cause == 0))
        .collect();
    let any: Vec<Option<usize>> = lives
        .iter()
        .map(|life| (life.cause != Cause::Still).then_some(0))
        .collect();
    let flags =
        |causes: &[Option<usize>]| causes.iter().map(Option::is_some).collect::<Vec<bool>>();

    let free = BetaProduct::new(&days, &causes).free_at(RATED);
    let incidence = cumulative_incidence(&days, &causes, 2)[0].last().copied();
    let curve = KaplanMeier::fit(&days, &flags(&came_off), IntervalScale::LogLog);
    let usable =
        KaplanMeier::fit(&days, &flags(&any), IntervalScale::LogLog).restricted_mean(RATED);
    [
        free.map(|free| Interval {
            lower: 1.0 - free.upper,
            upper: 1.0 - free.lower,
        }),
        incidence.and_then(|at| share_interval(at.incidence, at.std_error, IntervalScale::LogLog)),
        BetaProduct::new(&days, &came_off).free_at(RATED),
        curve.at(RATED).and_then(|at| at.interval),
        BetaProduct::new(&days, &any).restricted_mean(RATED),
        usable
            .filter(|mean| mean.std_error > 0.0)
            .map(|mean| Interval::around(mean.mean, 1.96 * mean.std_error)),
    ]
}
