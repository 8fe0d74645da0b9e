//! Aggregates on how sensors read and how often they are pressed at night, each a thin adapter. A sensor in short is the
//! number of its pairs, their mean, and their sum of squares about it.

use whereworn_stats::agreement::method_comparison::clustered_deming;
use whereworn_stats::agreement::steadiness::{Estimate, SteadinessClass, steadiness};
use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::evidence as evidence_of_means;
use whereworn_stats::mixed::over_wearers::mean_over_wearers;
use whereworn_stats::mixed::sites::{
    SensorMean, SiteComparison, SiteRefusal, compare_sites, permute_sites,
};
use whereworn_stats::rates::clustered::{
    Cluster, Headline, clustered_mean, clustered_rate, clustered_share,
};
use whereworn_stats::rates::evidence::{self as evidence_of_rates, NightlySensor};
use whereworn_stats::rates::heterogeneity::ExposedUnit;
use whereworn_stats::rates::quasi_ratio::quasi_ratio;
use whereworn_stats::resampling::seed::seed;
use whereworn_stats::survival::evidence::Look;

use super::collect::{Kind, Rows, Statistic};
use Kind::{Label, Number};

type Values = Option<Vec<Option<f64>>>;

/// See [`super::statistics::ALL`]. A `role` is 1 for the first of two sites, 2 for the second and 0 for the others;
/// `refusal` is 0, or 1 one site, 2 too few sensors, 3 sites cannot be told apart from what is adjusted for.
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "sensor_share",
        arguments: &[("hit", Number), ("sensor", Label)],
        fields: &["share", "lower", "upper", "lower_bound"],
        about: "share of hits (1 against 0) with the interval that respects sensors, from three on, and its one-sided bound",
        evaluate: share_over_sensors,
    },
    Statistic {
        name: "sensor_mean",
        arguments: &[("value", Number), ("sensor", Label)],
        fields: &["mean", "lower", "upper"],
        about: "mean of values that are not negative with the interval that respects sensors, from three on",
        evaluate: positive_mean,
    },
    Statistic {
        name: "sensor_rate",
        arguments: &[("events", Number), ("exposure", Number)],
        fields: &["rate", "lower", "upper"],
        about: "events over exposure, a row for each sensor, with an interval that lets sensors differ, from three on",
        evaluate: rate_over_sensors,
    },
    Statistic {
        name: "mean_over_wearers",
        arguments: &[("value", Number), ("sensor", Label), ("wearer", Label)],
        fields: &["mean", "std_error", "df", "lower", "upper", "sd_wearers"],
        about: "mean with wearers and sensors random, by REML",
        evaluate: over_wearers,
    },
    Statistic {
        name: "steadiness",
        arguments: &[
            ("difference", Number),
            ("sensor", Label),
            ("wear_days", Number),
        ],
        fields: &[
            "sensors",
            "bias",
            "bias_lower",
            "bias_upper",
            "sd_between",
            "sd_between_lower",
            "sd_between_upper",
            "sd_within",
            "sd_within_lower",
            "sd_within_upper",
            "drift",
            "drift_lower",
            "drift_upper",
            "class",
        ],
        about: "bias, spread and drift of a site; `class` of percent differences: 0 too few sensors, 1 not clear yet, 2 scattered, 3 steady, 4 steady but high, 5 steady but low",
        evaluate: steady_or_scattered,
    },
    Statistic {
        name: "site_test",
        arguments: &[
            ("pairs", Number),
            ("mean", Number),
            ("squares", Number),
            ("site", Label),
            ("wearer", Label),
            ("seed", Label),
        ],
        fields: &[
            "f",
            "df",
            "df_error",
            "p",
            "p_permutation",
            "smallest_p",
            "refusal",
        ],
        about: "whether means differ between sites, a row for each sensor in short: mixed model (wearer and sensor random), and sites shuffled within wearers",
        evaluate: test_of_sites,
    },
    Statistic {
        name: "site_difference",
        arguments: &[
            ("pairs", Number),
            ("mean", Number),
            ("squares", Number),
            ("role", Number),
            ("site", Label),
            ("wearer", Label),
            ("seed", Label),
        ],
        fields: &[
            "difference",
            "std_error",
            "df",
            "lower",
            "upper",
            "p",
            "p_permutation",
            "smallest_p",
            "refusal",
        ],
        about: "second site less the first in the model of `site_test`; the permutation is among sensors of the two",
        evaluate: difference_of_sites,
    },
    Statistic {
        name: "adjusted_site_difference",
        arguments: &[
            ("pairs", Number),
            ("mean", Number),
            ("squares", Number),
            ("role", Number),
            ("site", Label),
            ("wearer", Label),
            ("tape", Label),
            ("side", Label),
            ("model", Label),
            ("calendar", Number),
            ("order_of_wear", Number),
        ],
        fields: &[
            "difference",
            "std_error",
            "df",
            "lower",
            "upper",
            "p",
            "covariates",
            "refusal",
        ],
        about: "`site_difference` adjusted for three labels and two numbers, as far as they vary",
        evaluate: adjusted_difference,
    },
    Statistic {
        name: "rate_ratio",
        arguments: &[
            ("events", Number),
            ("exposure", Number),
            ("role", Number),
            ("site", Label),
            ("stratum", Label),
        ],
        fields: &["ratio", "lower", "upper", "dispersion", "df", "p"],
        about: "rate of the second site over that of the first within strata, a row for each sensor, which may differ beyond chance",
        evaluate: ratio_of_rates,
    },
    Statistic {
        name: "mean_evidence",
        arguments: &[
            ("value", Number),
            ("in_b", Number),
            ("block", Label),
            ("month", Number),
            ("seed", Label),
        ],
        fields: &["safe_log_e", "payoff", "p"],
        about: "one monthly look at the means of two sites, a row for each sensor that has ended; built for one standard deviation between sensors",
        evaluate: look_at_means,
    },
    Statistic {
        name: "rate_evidence",
        arguments: &[
            ("sensor_no", Number),
            ("ended", Number),
            ("nights", Label),
            ("in_b", Number),
            ("block", Label),
            ("month", Number),
            ("seed", Label),
        ],
        fields: &["safe_log_e", "payoff", "p"],
        about: "one monthly look at the rates of two sites, a row for each sensor that has ended; `nights` has a digit for each night, the events in it; built for a rate ratio of 2",
        evaluate: look_at_rates,
    },
    Statistic {
        name: "deming",
        arguments: &[
            ("fingerstick", Number),
            ("reading", Number),
            ("sensor", Label),
            ("ratio", Number),
        ],
        fields: &[
            "intercept",
            "intercept_lower",
            "intercept_upper",
            "slope",
            "slope_lower",
            "slope_upper",
        ],
        about: "line of readings on fingersticks where both err, `ratio` the error variance of readings over that of fingersticks; intervals leave out a sensor at a time, from five on",
        evaluate: line_of_two_methods,
    },
];

fn ends(interval: Option<Interval>) -> [Option<f64>; 2] {
    [interval.map(|i| i.lower), interval.map(|i| i.upper)]
}

fn headline(figure: Headline) -> Vec<Option<f64>> {
    let [lower, upper] = ends(figure.interval);
    vec![Some(figure.estimate), lower, upper]
}

fn share_over_sensors(rows: &Rows) -> Values {
    let share = clustered_share(rows.numbers(0), &rows.labels(1))?;
    let mut values = headline(share);
    values.push(share.lower_bound);
    Some(values)
}

fn positive_mean(rows: &Rows) -> Values {
    Some(headline(clustered_mean(rows.numbers(0), &rows.labels(1))?))
}

fn rate_over_sensors(rows: &Rows) -> Values {
    let sensors = rows.numbers(0).iter().zip(rows.numbers(1));
    let clusters: Vec<Cluster> = sensors
        .map(|(sum, size)| Cluster {
            sum: *sum,
            size: *size,
        })
        .collect();
    Some(headline(clustered_rate(&clusters)?))
}

fn over_wearers(rows: &Rows) -> Values {
    let fit = mean_over_wearers(rows.numbers(0), &rows.labels(1), &rows.labels(2))?;
    let [lower, upper] = ends(Some(fit.mean.interval));
    Some(vec![
        Some(fit.mean.estimate),
        Some(fit.mean.std_error),
        Some(fit.mean.df),
        lower,
        upper,
        fit.sd_wearers,
    ])
}

fn steady_or_scattered(rows: &Rows) -> Values {
    let figures = steadiness(rows.numbers(0), &rows.labels(1), rows.numbers(2))?;
    let class = match figures.class() {
        SteadinessClass::TooFewSensors => 0.0,
        SteadinessClass::NotClearYet => 1.0,
        SteadinessClass::Scattered => 2.0,
        SteadinessClass::Steady => 3.0,
        SteadinessClass::SteadyHigh => 4.0,
        SteadinessClass::SteadyLow => 5.0,
    };
    let three = |figure: Option<Estimate>| {
        let [lower, upper] = ends(figure.and_then(|figure| figure.interval));
        [figure.map(|figure| figure.value), lower, upper]
    };
    let figures = [
        Some(figures.bias),
        figures.sd_between,
        figures.sd_within,
        figures.drift,
    ]
    .map(three)
    .into_iter()
    .flatten();
    let sensors = rows.labels(1).iter().max().map_or(0, |last| last + 1);
    let values = std::iter::once(Some(sensors as f64)).chain(figures);
    Some(values.chain([Some(class)]).collect())
}

/// Sensors from the arguments `pairs`, `mean`, `squares`, and the places of `site` and `wearer`.
fn sensors(rows: &Rows, site: usize, wearer: usize) -> Vec<SensorMean> {
    let (sites, wearers) = (rows.labels(site), rows.labels(wearer));
    (0..sites.len())
        .map(|row| SensorMean {
            count: rows.numbers(0)[row],
            mean: rows.numbers(1)[row],
            squares: rows.numbers(2)[row],
            site: sites[row],
            wearer: wearers[row],
            covariates: Vec::new(),
        })
        .collect()
}

fn code(refusal: SiteRefusal) -> f64 {
    match refusal {
        SiteRefusal::OneSite => 1.0,
        SiteRefusal::TooFewSensors => 2.0,
        SiteRefusal::NotTellable => 3.0,
    }
}

fn test_of_sites(rows: &Rows) -> Values {
    let sensors = sensors(rows, 3, 4);
    let permuted = permute_sites(&sensors, seed(&[rows.text(5)]));
    let (test, refusal) = match compare_sites(&sensors) {
        Ok(fit) => (fit.test(), 0.0),
        Err(refusal) => (None, code(refusal)),
    };
    Some(vec![
        test.map(|t| t.f),
        test.map(|t| t.df_numerator),
        test.map(|t| t.df_denominator),
        test.map(|t| t.p),
        permuted.map(|p| p.p),
        permuted.map(|p| p.smallest_p),
        Some(refusal),
    ])
}

/// The difference of the sites with roles 1 and 2, or why there is none.
fn contrast(
    fit: Result<SiteComparison, SiteRefusal>,
    roles: &[f64],
    sensors: &[SensorMean],
) -> (Vec<Option<f64>>, f64) {
    let site_of = |role: f64| {
        let place = roles.iter().position(|&known| known == role)?;
        Some(sensors[place].site)
    };
    let both = site_of(1.0).zip(site_of(2.0));
    let found = fit.map(|fit| both.and_then(|(a, b)| fit.difference(a, b)));
    let (contrast, refusal) = match found {
        Ok(contrast) => (contrast, if contrast.is_some() { 0.0 } else { 1.0 }),
        Err(refusal) => (None, code(refusal)),
    };
    let [lower, upper] = ends(contrast.map(|c| c.interval));
    let values = vec![
        contrast.map(|c| c.estimate),
        contrast.map(|c| c.std_error),
        contrast.map(|c| c.df),
        lower,
        upper,
        contrast.map(|c| c.p),
    ];
    (values, refusal)
}

fn difference_of_sites(rows: &Rows) -> Values {
    let (sensors, roles) = (sensors(rows, 4, 5), rows.numbers(3));
    let two: Vec<SensorMean> = sensors
        .iter()
        .zip(roles)
        .filter(|(_, role)| **role > 0.0)
        .map(|(sensor, _)| sensor.clone())
        .collect();
    let permuted = permute_sites(&two, seed(&[rows.text(6)]));
    let (mut values, refusal) = contrast(compare_sites(&sensors), roles, &sensors);
    values.extend([
        permuted.map(|p| p.p),
        permuted.map(|p| p.smallest_p),
        Some(refusal),
    ]);
    Some(values)
}

fn adjusted_difference(rows: &Rows) -> Values {
    let mut sensors = sensors(rows, 4, 5);
    for position in 6..9 {
        let levels = rows.labels(position);
        for level in 1..=levels.iter().copied().max().unwrap_or(0) {
            for (sensor, of) in sensors.iter_mut().zip(&levels) {
                sensor.covariates.push(f64::from(u8::from(*of == level)));
            }
        }
    }
    for position in 9..11 {
        for (sensor, value) in sensors.iter_mut().zip(rows.numbers(position)) {
            sensor.covariates.push(*value);
        }
    }
    let fit = compare_sites(&sensors);
    let covariates = fit.as_ref().ok().map(|fit| fit.covariates as f64);
    let (mut values, refusal) = contrast(fit, rows.numbers(3), &sensors);
    values.extend([covariates, Some(refusal)]);
    Some(values)
}

fn ratio_of_rates(rows: &Rows) -> Values {
    let (sites, strata) = (rows.labels(3), rows.labels(4));
    let units: Vec<ExposedUnit> = (0..sites.len())
        .map(|row| ExposedUnit {
            group: sites[row],
            stratum: strata[row],
            events: rows.numbers(0)[row],
            exposure: rows.numbers(1)[row],
        })
        .collect();
    let site_of = |role: f64| {
        let place = rows.numbers(2).iter().position(|&known| known == role)?;
        Some(sites[place])
    };
    let ratio = quasi_ratio(&units, site_of(1.0)?, site_of(2.0)?)?;
    Some(vec![
        ratio.ratio,
        Some(ratio.interval.lower),
        Some(ratio.interval.upper),
        Some(ratio.dispersion),
        Some(ratio.df),
        Some(ratio.p),
    ])
}

fn groups(numbers: &[f64]) -> Vec<usize> {
    let group = |in_b: &f64| usize::from(*in_b > 0.0);
    numbers.iter().map(group).collect()
}

fn seen(look: Look) -> Values {
    Some(vec![Some(look.safe_log_e), Some(look.payoff), look.p])
}

fn look_at_means(rows: &Rows) -> Values {
    let (groups, blocks) = (groups(rows.numbers(1)), rows.labels(2));
    let month = *rows.numbers(3).first()? as u32;
    let seed = seed(&[rows.text(4)]);
    seen(evidence_of_means::look(
        rows.numbers(0),
        &groups,
        &blocks,
        &blocks,
        month,
        seed,
    ))
}

fn look_at_rates(rows: &Rows) -> Values {
    let (groups, blocks) = (groups(rows.numbers(3)), rows.labels(4));
    let digits = |nights: &str| -> Vec<f64> {
        let digit = |night: char| night.to_digit(10).map(f64::from);
        nights.chars().filter_map(digit).collect()
    };
    let sensors: Vec<NightlySensor> = rows
        .texts(2)
        .into_iter()
        .enumerate()
        .map(|(row, nights)| NightlySensor {
            group: groups[row],
            stratum: blocks[row],
            ended: rows.numbers(1)[row],
            nights: digits(nights),
        })
        .collect();
    let month = *rows.numbers(5).first()? as u32;
    seen(evidence_of_rates::look(
        &sensors,
        month,
        seed(&[rows.text(6)]),
    ))
}

fn line_of_two_methods(rows: &Rows) -> Values {
    let ratio = *rows.numbers(3).first()?;
    let sensors = rows.labels(2);
    let line = clustered_deming(rows.numbers(0), rows.numbers(1), &sensors, ratio)?;
    let enough = sensors.iter().max()? + 1 >= 5;
    let [intercept_lower, intercept_upper] = ends(enough.then_some(line.intercept));
    let [slope_lower, slope_upper] = ends(enough.then_some(line.slope));
    Some(vec![
        Some(line.line.intercept),
        intercept_lower,
        intercept_upper,
        Some(line.line.slope),
        slope_lower,
        slope_upper,
    ])
}
