//! Error rates and power of the comparisons of two sites at one look; over many looks: `cargo xtask sentences`.

use super::{SEVERAL, SIZES, generator};
use crate::calibrate::{Promise, Row};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_simulate::wear::{Cause, Law, Life, RATED};
use whereworn_stats::distributions::chi_square_upper_tail;
use whereworn_stats::survival::cox::firth::firth_cox;
use whereworn_stats::survival::cox::{CoxData, Ties, cox};
use whereworn_stats::survival::gray::{gray_test, stratified_gray_test};
use whereworn_stats::survival::logrank::{Subjects, log_rank, log_rank_permutation};

const MONTHS: u32 = 24;
const MONTH: f64 = 30.4;

/// Half come off by the rated day at either site.
const SAME: Law = Law {
    shape: 1.3,
    hazard: 0.7,
    fault: 0.005,
    failed_start: 0.02,
    chosen: 0.01,
};
/// Four of ten come off; three times the hazard at the other site.
const BETTER: Law = Law {
    hazard: 0.5,
    ..SAME
};
const WORSE: Law = Law {
    hazard: 1.5,
    ..SAME
};

/// One sensor of a study of two sites.
struct Worn {
    inserted: f64,
    life: Life,
    site: usize,
    wearer: usize,
}

/// Sensors of two sites in turn, spread over 24 months; wearers, whose hazards relate as `wearers`, take turns of four.
fn study(laws: [Law; 2], sensors: usize, wearers: &[f64], random: &mut ChaCha8Rng) -> Vec<Worn> {
    let gap = (f64::from(MONTHS) * MONTH - RATED) / (2 * sensors) as f64;
    (0..2 * sensors)
        .map(|place| {
            let site = (place + place / 2) % 2;
            let wearer = place / 4 % wearers.len();
            Worn {
                inserted: gap * (place as f64 + random.random::<f64>()),
                life: laws[site].draw(random, wearers[wearer]),
                site,
                wearer,
            }
        })
        .collect()
}

/// What is known at an instant.
#[derive(Default)]
struct Seen {
    days: Vec<f64>,
    causes: Vec<Option<usize>>,
    sites: Vec<usize>,
    blocks: Vec<usize>,
}

impl Seen {
    fn at(worn: &[Worn], now: f64) -> Self {
        let mut seen = Self::default();
        for one in worn.iter().filter(|one| one.inserted < now) {
            let age = now - one.inserted;
            let cause = match one.life.cause {
                Cause::Detached => Some(0),
                Cause::Fault => Some(1),
                Cause::Chosen | Cause::Still => None,
            };
            seen.days.push(one.life.days.min(age));
            seen.causes.push(cause.filter(|_| one.life.days <= age));
            seen.sites.push(one.site);
            seen.blocks.push(one.wearer);
        }
        seen
    }

    fn events(&self) -> Vec<bool> {
        self.causes.iter().map(|cause| *cause == Some(0)).collect()
    }

    fn subjects<'a>(&'a self, events: &'a [bool]) -> Subjects<'a> {
        Subjects {
            times: &self.days,
            events,
            groups: &self.sites,
            strata: &self.blocks,
        }
    }
}

/// Rejections of each test, and studies in which it could be made.
#[derive(Default, Clone, Copy)]
struct Count {
    held: usize,
    shown: usize,
}

impl Count {
    fn add(&mut self, rejected: Option<bool>) {
        self.held += usize::from(rejected == Some(true));
        self.shown += usize::from(rejected.is_some());
    }
}

const AT_ONE_LOOK: [(&str, Promise); 6] = [
    (
        "log-rank by permutation (headline)",
        Promise::RejectsAtMost(0.05),
    ),
    ("log-rank, chi-square", Promise::None),
    ("Cox, likelihood ratio", Promise::None),
    ("Cox with Firth's penalty, likelihood ratio", Promise::None),
    ("Gray", Promise::None),
    ("Gray, within wearers", Promise::None),
];

fn at_one_look(seen: &Seen) -> [Option<bool>; 6] {
    let events = seen.events();
    let subjects = seen.subjects(&events);
    let covariates = [seen
        .sites
        .iter()
        .map(|&site| site as f64)
        .collect::<Vec<f64>>()];
    let data = CoxData {
        times: &seen.days,
        events: &events,
        covariates: &covariates,
        strata: &seen.blocks,
    };
    let reject = |p: f64| p <= 0.05;
    [
        log_rank_permutation(subjects, &seen.blocks, 1).map(|test| reject(test.p)),
        log_rank(subjects).map(|test| reject(test.p)),
        cox(data, Ties::Efron)
            .ok()
            .map(|fit| reject(chi_square_upper_tail(fit.likelihood_ratio_test, 1.0))),
        firth_cox(data).ok().and_then(|fit| fit.p(0)).map(reject),
        gray_test(&seen.days, &seen.causes, &seen.sites, 0).map(|test| reject(test.p)),
        stratified_gray_test(&seen.days, &seen.causes, &seen.sites, &seen.blocks, 0)
            .map(|test| reject(test.p)),
    ]
}

pub fn rows(quick: bool) -> Vec<Row> {
    let studies = if quick { 200 } else { 2000 };
    let mut rows = Vec::new();
    for sensors in SIZES {
        let condition = format!("{sensors} sensors a site, no difference");
        rows.extend(without_difference(sensors, &[1.0], studies, &condition));
    }
    let condition = "10 sensors a site on wearers of unequal hazard, no difference";
    rows.extend(without_difference(10, &SEVERAL, studies, condition));
    rows.extend(power(studies));
    rows
}

/// Studies in which each test rejects.
#[derive(Default)]
struct Counts([Count; 6]);

impl Counts {
    fn add(&mut self, worn: &[Worn]) {
        let last = Seen::at(worn, MONTH * f64::from(MONTHS));
        for (count, rejected) in self.0.iter_mut().zip(at_one_look(&last)) {
            count.add(rejected);
        }
    }

    fn rows(&self, condition: &str, promised: bool, studies: usize) -> Vec<Row> {
        let row = |(&(figure, promise), count): (&(&'static str, Promise), Count)| Row {
            figure,
            condition: condition.to_owned(),
            promise: if promised { promise } else { Promise::None },
            held: count.held,
            shown: count.shown,
            studies,
        };
        AT_ONE_LOOK.iter().zip(self.0).map(row).collect()
    }
}

fn without_difference(
    sensors: usize,
    wearers: &[f64],
    studies: usize,
    condition: &str,
) -> Vec<Row> {
    let mut random = generator(condition);
    let mut counts = Counts::default();
    for _ in 0..studies {
        counts.add(&study([SAME; 2], sensors, wearers, &mut random));
    }
    counts.rows(condition, true, studies)
}

fn power(studies: usize) -> Vec<Row> {
    let condition = "10 sensors a site, hazard ratio 3, power";
    let mut random = generator(condition);
    let mut counts = Counts::default();
    for study_no in 0..studies {
        let laws = if study_no % 2 == 0 {
            [BETTER, WORSE]
        } else {
            [WORSE, BETTER]
        };
        counts.add(&study(laws, 10, &[1.0], &mut random));
    }
    counts.rows(condition, false, studies)
}
