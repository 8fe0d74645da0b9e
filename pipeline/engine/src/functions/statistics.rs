//! Aggregates from the crate `whereworn-stats`, each a thin adapter.

use std::collections::BTreeMap;

use whereworn_stats::delay::difference::delay_difference;
use whereworn_stats::delay::first_order::first_order_delay;
use whereworn_stats::delay::point::{DelayPair, DelayPoint, delay_point};
use whereworn_stats::delay::sensor_delay;
use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::random_intercept::random_intercept;
use whereworn_stats::rates::heterogeneity::{ExposedUnit, rate_test};
use whereworn_stats::rates::ratio::ratio_of_sums;
use whereworn_stats::resampling::bootstrap::{cluster_bootstrap_mean, cluster_bootstrap_median};
use whereworn_stats::resampling::seed::seed;
use whereworn_stats::simultaneous::pair_mean::{SensorPair, pair_mean};
use whereworn_stats::simultaneous::two_sensors::{CommonReading, two_sensors};
use whereworn_stats::survival::logrank::{Subjects, log_rank, log_rank_permutation};

use super::arguments::Kind::{Code, Count, Label, Number};
use super::arguments::{SEED, plain, with_unit};
pub use super::collect::{Evaluate, Rows, Statistic};
use Evaluate::{Many, One};

/// Every aggregate of ours that gives a struct of numbers; read a field with `get_field(x, 'name')`.
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "random_intercept",
        arguments: &[plain("value", Number), plain("sensor", Label)],
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
        example: "SELECT site, get_field(random_intercept(difference, sensor_no), 'mean') AS bias FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(mean_over_sensors),
    },
    Statistic {
        name: "sensor_bootstrap",
        arguments: &[plain("value", Number), plain("sensor", Label), SEED],
        fields: &["lower", "upper"],
        about: "95 % interval of a mean by a bootstrap that resamples sensors",
        example: "SELECT site, get_field(sensor_bootstrap(difference, sensor_no, 'my bias'), 'lower') AS lower FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(bootstrap_over_sensors),
    },
    Statistic {
        name: "sensor_bootstrap_median",
        arguments: &[plain("value", Number), plain("sensor", Label), SEED],
        fields: &["lower", "upper"],
        about: "the same of a median",
        example: "SELECT site, get_field(sensor_bootstrap_median(difference, sensor_no, 'my median'), 'lower') AS lower FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(median_over_sensors),
    },
    Statistic {
        name: "sensor_ratio",
        arguments: &[plain("part", Number), plain("whole", Number)],
        fields: &["value", "std_error", "df", "lower", "upper"],
        about: "total of parts over total of wholes, a row for each sensor, with a 95 % interval by t from the spread between sensors",
        example: "SELECT get_field(sensor_ratio(hits, pairs), 'value') AS share FROM (SELECT sensor_no, SUM(in_20_20) AS hits, COUNT(*) AS pairs FROM pair_agreement GROUP BY sensor_no) AS s",
        evaluate: One(ratio_over_sensors),
    },
    Statistic {
        name: "log_rank",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("event", Code(1)),
            plain("site", Label),
            plain("stratum", Label),
            plain("block", Label),
            SEED,
        ],
        fields: &["chi_square", "df", "p", "p_permutation", "smallest_p"],
        about: "log-rank test between sites within strata, and a permutation p that shuffles sites within blocks",
        example: "SELECT get_field(log_rank(day, event, site, wearer, block, 'my test'), 'p') AS p FROM lives",
        evaluate: One(log_rank_of_sites),
    },
    Statistic {
        name: "rate_test",
        arguments: &[
            plain("events", Count),
            plain("exposure", Number),
            plain("site", Label),
            plain("stratum", Label),
            SEED,
        ],
        fields: &["statistic", "p_permutation", "smallest_p"],
        about: "whether rates differ between sites: chi-square of observed against expected, p by permutation within strata",
        example: "SELECT get_field(rate_test(artefacts, nights, site, wearer, 'my test'), 'p_permutation') AS p FROM sensor_artefacts",
        evaluate: One(rates_of_sites),
    },
    Statistic {
        name: "delay_point",
        arguments: &[
            with_unit("minutes", Number, "min"),
            with_unit("glucose", Number, "mg/dL"),
        ],
        fields: &["level", "slope", "wide_slope"],
        about: "one sensor around a fingerstick, from readings `minutes` after it: level, and over it the slope and the slope between readings long before and after",
        example: "SELECT fingerstick_no, sensor_no, get_field(delay_point(minutes, glucose), 'slope') AS slope FROM around_checks WHERE ABS(minutes) <= 45 GROUP BY fingerstick_no, sensor_no ORDER BY fingerstick_no, sensor_no",
        evaluate: One(point_of_delay),
    },
    Statistic {
        name: "first_order_delay",
        arguments: &[
            plain("sensor_no", Count),
            with_unit("level", Number, "mg/dL"),
            plain("ratio", Number),
            plain("slope", Number),
            plain("wide_slope", Number),
        ],
        fields: &["minutes", "lower", "upper", "sensors", "pairs"],
        about: "delay of a first-order lag behind fingersticks; a row for each `delay_point`",
        example: "SELECT site, get_field(first_order_delay(sensor_no, level, ratio, slope, wide_slope), 'minutes') AS minutes FROM delay_points GROUP BY site ORDER BY site",
        evaluate: One(delay_of_sensors),
    },
    Statistic {
        name: "sensor_delay",
        arguments: &[
            plain("sensor_no", Count),
            with_unit("level", Number, "mg/dL"),
            plain("ratio", Number),
            plain("slope", Number),
            plain("wide_slope", Number),
        ],
        fields: &["minutes", "weight"],
        about: "delay of one sensor, and one over its variance up to a factor that all sensors have; a row for each `delay_point`",
        example: "SELECT sensor_no, get_field(sensor_delay(sensor_no, level, ratio, slope, wide_slope), 'minutes') AS minutes FROM delay_points GROUP BY sensor_no ORDER BY sensor_no",
        evaluate: One(delay_of_one),
    },
    Statistic {
        name: "delay_differences",
        arguments: &[
            plain("position", Count),
            plain("wearer", Label),
            plain("sensor_no", Count),
            with_unit("level", Number, "mg/dL"),
            plain("ratio", Number),
            plain("slope", Number),
            plain("wide_slope", Number),
        ],
        fields: &[
            "position_a",
            "position_b",
            "minutes",
            "lower",
            "upper",
            "p",
            "sensors",
            "wearers",
        ],
        about: "a list, one a pair of sites: the delay of the first less that of the second, within wearers; a row for each `delay_point`",
        example: "SELECT UNNEST(delay_differences(s.position, d.wearer, d.sensor_no, d.level, d.ratio, d.slope, d.wide_slope)) AS difference FROM delay_points AS d INNER JOIN sites AS s ON s.site = d.site",
        evaluate: Many(delays_between_sites),
    },
    Statistic {
        name: "two_sensors",
        arguments: &[
            with_unit("minutes", Number, "min"),
            with_unit("first", Number, "mg/dL"),
            with_unit("offset", Number, "min"),
            with_unit("second", Number, "mg/dL"),
        ],
        fields: &[
            "readings",
            "difference",
            "percent",
            "sd",
            "absolute_relative",
            "lag",
        ],
        about: "two sensors worn at once, first less second; a row for each reading of the first and one of the second, `offset` minutes later",
        example: "SELECT get_field(two_sensors(minutes, first, later, second), 'difference') AS difference FROM (VALUES (0.0, 100.0, 0.5, 104.0), (5.0, 110.0, 0.5, 113.0)) AS r (minutes, first, later, second)",
        evaluate: One(difference_of_two),
    },
    Statistic {
        name: "pair_mean",
        arguments: &[
            plain("value", Number),
            plain("first_no", Count),
            plain("second_no", Count),
            plain("wearer", Label),
        ],
        fields: &["mean", "lower", "upper", "p"],
        about: "mean of a figure over pairs of sensors worn at once; pairs that share a sensor are correlated, wearers random",
        example: "SELECT get_field(pair_mean(difference, first_no, second_no, wearer), 'mean') AS mean FROM simultaneous_sensors",
        evaluate: One(mean_over_pairs),
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

fn median_over_sensors(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let (sensors, seed) = (rows.labels(1), seed(&[rows.text(2)]));
    let interval = cluster_bootstrap_median(rows.numbers(0), &sensors, seed)?;
    Some(ends(Some(interval)).to_vec())
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
    Some(vec![
        Some(test.statistic),
        test.permutation.map(|p| p.p),
        test.permutation.map(|p| p.smallest_p),
    ])
}

fn point_of_delay(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let point = delay_point(&DelayPair {
        sensor: 0,
        fingerstick: 1.0,
        minutes: rows.numbers(0).to_vec(),
        glucose: rows.numbers(1).to_vec(),
    })?;
    Some(vec![
        Some(point.level),
        Some(point.slope),
        Some(point.wide_slope),
    ])
}

/// Points from the arguments sensor, level, ratio, slope and wide slope, the first of which is at `from`.
fn delay_points(rows: &Rows, from: usize) -> impl Iterator<Item = DelayPoint> {
    (0..rows.numbers(from).len()).map(move |row| DelayPoint {
        sensor: rows.numbers(from)[row] as usize,
        level: rows.numbers(from + 1)[row],
        ratio: rows.numbers(from + 2)[row],
        slope: rows.numbers(from + 3)[row],
        wide_slope: rows.numbers(from + 4)[row],
    })
}

fn delay_of_sensors(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let delay = first_order_delay(&delay_points(rows, 0).collect::<Vec<_>>())?;
    let [lower, upper] = ends(delay.interval);
    Some(vec![
        Some(delay.minutes),
        lower,
        upper,
        Some(delay.sensors as f64),
        Some(delay.pairs as f64),
    ])
}

fn delay_of_one(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let delay = sensor_delay(&delay_points(rows, 0).collect::<Vec<_>>())?;
    Some(vec![Some(delay.minutes), Some(delay.weight)])
}

fn delays_between_sites(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let points: Vec<DelayPoint> = delay_points(rows, 2).collect();
    let sensors = points.iter().map(|point| point.sensor);
    let wearer_of: BTreeMap<usize, usize> = sensors.zip(rows.labels(1)).collect();
    let wearer_of = |sensor| wearer_of.get(&sensor).copied().unwrap_or_default();
    // Rows are in the order of their arguments, the first of which is the site's position.
    let mut sites = Vec::new();
    let mut rest = points.as_slice();
    for site in rows.numbers(0).chunk_by(|a, b| a == b) {
        let (own, later) = rest.split_at(site.len());
        sites.extend(site.first().map(|position| (*position, own)));
        rest = later;
    }
    let mut differences = Vec::new();
    for (place, (a, first)) in sites.iter().enumerate() {
        for (b, second) in sites.iter().skip(place + 1) {
            let Some(difference) = delay_difference(first, second, wearer_of) else {
                continue;
            };
            let [lower, upper] = ends(difference.interval);
            differences.push(vec![
                Some(*a),
                Some(*b),
                Some(difference.minutes),
                lower,
                upper,
                difference.p,
                Some(difference.sensors as f64),
                Some(difference.wearers as f64),
            ]);
        }
    }
    differences
}

fn difference_of_two(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let readings: Vec<CommonReading> = (0..rows.numbers(0).len())
        .map(|row| CommonReading {
            minutes: rows.numbers(0)[row],
            first: rows.numbers(1)[row],
            offset: rows.numbers(2)[row],
            second: rows.numbers(3)[row],
        })
        .collect();
    let two = two_sensors(&readings)?;
    Some(vec![
        Some(two.readings as f64),
        Some(two.difference),
        Some(two.percent),
        two.sd,
        Some(two.absolute_relative),
        two.lag,
    ])
}

fn mean_over_pairs(rows: &Rows) -> Option<Vec<Option<f64>>> {
    let pairs: Vec<SensorPair> = rows
        .labels(3)
        .into_iter()
        .enumerate()
        .map(|(row, wearer)| SensorPair {
            value: rows.numbers(0)[row],
            first: rows.numbers(1)[row] as usize,
            second: rows.numbers(2)[row] as usize,
            wearer,
        })
        .collect();
    let mean = pair_mean(&pairs)?;
    let [lower, upper] = ends(mean.interval());
    Some(vec![Some(mean.mean), lower, upper, mean.p()])
}
