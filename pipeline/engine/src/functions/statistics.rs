//! Aggregates from the crate `whereworn-stats`, each a thin adapter.

use whereworn_stats::delay::first_order::{DelayPair, first_order_delay};
use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::random_intercept::random_intercept;
use whereworn_stats::rates::heterogeneity::{ExposedUnit, rate_test};
use whereworn_stats::rates::ratio::ratio_of_sums;
use whereworn_stats::resampling::bootstrap::cluster_bootstrap_mean;
use whereworn_stats::resampling::seed::seed;
use whereworn_stats::survival::logrank::{Subjects, log_rank, log_rank_permutation};

pub use super::collect::{Kind, Rows, Statistic};
use Kind::{Label, Number};

/// Every aggregate of ours that gives a struct of numbers; read a field with `get_field(x, 'name')`.
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "random_intercept",
        arguments: &[("value", Number), ("sensor", Label)],
        fields: &[
            "mean",
            "std_error",
            "df",
            "lower",
            "upper",
            "sd_between",
            "sd_within",
            "loa_lower",
            "loa_upper",
        ],
        about: "mean of a model with a random intercept for each sensor, by REML, with Satterthwaite's degrees of freedom",
        evaluate: mean_over_sensors,
    },
    Statistic {
        name: "sensor_bootstrap",
        arguments: &[("value", Number), ("sensor", Label), ("seed", Label)],
        fields: &["lower", "upper"],
        about: "95 % interval of a mean by a bootstrap that resamples sensors",
        evaluate: bootstrap_over_sensors,
    },
    Statistic {
        name: "sensor_ratio",
        arguments: &[("part", Number), ("whole", Number)],
        fields: &["value", "std_error", "df", "lower", "upper"],
        about: "total of parts over total of wholes, a row for each sensor, with a 95 % interval by t from the spread between sensors",
        evaluate: ratio_over_sensors,
    },
    Statistic {
        name: "log_rank",
        arguments: &[
            ("day", Number),
            ("event", Number),
            ("site", Label),
            ("stratum", Label),
            ("block", Label),
            ("seed", Label),
        ],
        fields: &["chi_square", "df", "p", "p_permutation", "smallest_p"],
        about: "log-rank test between sites within strata, and a permutation p that shuffles sites within blocks",
        evaluate: log_rank_of_sites,
    },
    Statistic {
        name: "rate_test",
        arguments: &[
            ("events", Number),
            ("exposure", Number),
            ("site", Label),
            ("stratum", Label),
            ("seed", Label),
        ],
        fields: &["statistic", "p_permutation"],
        about: "whether rates differ between sites: chi-square of observed against expected, p by permutation within strata",
        evaluate: rates_of_sites,
    },
    Statistic {
        name: "first_order_delay",
        arguments: &[
            ("sensor_no", Number),
            ("fingerstick_no", Number),
            ("fingerstick", Number),
            ("minutes", Number),
            ("glucose", Number),
        ],
        fields: &["minutes", "lower", "upper", "sensors", "pairs"],
        about: "delay of a first-order lag behind fingersticks; a row for each reading around each fingerstick, `minutes` after it",
        evaluate: delay_of_sensors,
    },
];

fn ends(interval: Option<Interval>) -> [Option<f64>; 2] {
    [interval.map(|i| i.lower), interval.map(|i| i.upper)]
}

fn mean_over_sensors(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let fit = random_intercept(rows.numbers(0), &rows.labels(1))?;
    let [lower, upper] = ends(fit.interval);
    let [loa_lower, loa_upper] = ends(fit.limits);
    Some(vec![
        Some(fit.mean),
        fit.std_error,
        fit.df,
        lower,
        upper,
        fit.sd_between,
        fit.sd_within,
        loa_lower,
        loa_upper,
    ])
}

fn bootstrap_over_sensors(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let interval = cluster_bootstrap_mean(rows.numbers(0), &rows.labels(1), seed(&[rows.text(2)]))?;
    Some(ends(Some(interval)).to_vec())
}

fn ratio_over_sensors(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let ratio = ratio_of_sums(rows.numbers(0), rows.numbers(1))?;
    let [lower, upper] = ends(ratio.interval);
    Some(vec![
        Some(ratio.value),
        ratio.std_error,
        Some(ratio.df),
        lower,
        upper,
    ])
}

fn log_rank_of_sites(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let events: Vec<bool> = rows.numbers(1).iter().map(|event| *event > 0.0).collect();
    let (groups, strata) = (rows.labels(2), rows.labels(3));
    let subjects = Subjects {
        times: rows.numbers(0),
        events: &events,
        groups: &groups,
        strata: &strata,
    };
    let test = log_rank(subjects)?;
    let permutation = log_rank_permutation(subjects, &rows.labels(4), seed(&[rows.text(5)]));
    Some(vec![
        Some(test.chi_square),
        Some(test.df as f64),
        Some(test.p),
        permutation.map(|p| p.p),
        permutation.map(|p| p.smallest_p),
    ])
}

fn rates_of_sites(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let (groups, strata) = (rows.labels(2), rows.labels(3));
    let units: Vec<ExposedUnit> = rows
        .numbers(0)
        .iter()
        .zip(rows.numbers(1))
        .zip(groups.into_iter().zip(strata))
        .map(|((events, exposure), (group, stratum))| ExposedUnit {
            group,
            stratum,
            events: *events,
            exposure: *exposure,
        })
        .collect();
    let test = rate_test(&units, seed(&[rows.text(4)]))?;
    Some(vec![Some(test.statistic), test.permutation.map(|p| p.p)])
}

fn delay_of_sensors(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let sensors = rows.numbers(0);
    let (numbers, fingersticks) = (rows.numbers(1), rows.numbers(2));
    let mut pairs: Vec<DelayPair> = Vec::new();
    let mut last = None;
    for row in 0..sensors.len() {
        let this = (sensors[row], numbers[row]);
        if last != Some(this) {
            pairs.push(DelayPair {
                sensor: sensors[row] as usize,
                fingerstick: fingersticks[row],
                minutes: Vec::new(),
                glucose: Vec::new(),
            });
            last = Some(this);
        }
        if let Some(pair) = pairs.last_mut() {
            pair.minutes.push(rows.numbers(3)[row]);
            pair.glucose.push(rows.numbers(4)[row]);
        }
    }
    let delay = first_order_delay(&pairs)?;
    let [lower, upper] = ends(delay.interval);
    Some(vec![
        Some(delay.minutes),
        lower,
        upper,
        Some(delay.sensors as f64),
        Some(delay.pairs as f64),
    ])
}
