//! Aggregates on how sensors read and how often they are pressed at night, each a thin adapter. A sensor in short is the
//! number of its pairs, their mean, and their sum of squares about it.

use whereworn_stats::agreement::method_comparison::clustered_deming;
use whereworn_stats::agreement::steadiness::{Estimate, SteadinessClass, steadiness};
use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::over_wearers::mean_over_wearers;
use whereworn_stats::rates::clustered::{
    Cluster, Headline, clustered_mean, clustered_rate, share_within,
};
use whereworn_stats::rates::heterogeneity::ExposedUnit;
use whereworn_stats::rates::quasi_ratio::quasi_ratio;
use whereworn_stats::rates::study::{StudyValues, mean_in_study, rate_in_study, share_in_study};

use super::arguments::Kind::{Code, Count, Label, Number};
use super::arguments::{plain, with_unit};
use super::collect::{Evaluate, Rows, Statistic};
use Evaluate::One;

type Values = Option<Vec<Option<f64>>>;

/// See [`super::statistics::ALL`]. A `role` is 1 for the first of two sites, 2 for the second and 0 for the others.
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "share_within",
        arguments: &[plain("error", Number), plain("sensor", Label)],
        fields: &["share", "lower", "upper"],
        about: "share of signed errors, in units of their limit, that are within it, with the interval that respects sensors, from three on",
        example: "SELECT site, get_field(share_within(difference / 20, sensor_no), 'share') AS within FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(share_over_sensors),
    },
    Statistic {
        name: "share_within_in_study",
        arguments: &[
            plain("error", Number),
            plain("sensor", Label),
            plain("site", Label),
            plain("own", Number),
        ],
        fields: &["share", "lower", "upper"],
        about: "share_within of the site whose rows have own 1, its lower end held to the spread between sensors of all sites",
        example: "SELECT w.site, get_field(share_within_in_study(p.difference / 20, p.sensor_no, p.site, CASE WHEN p.site = w.site THEN 1.0 ELSE 0.0 END), 'lower') AS least FROM sites AS w CROSS JOIN pair_agreement AS p GROUP BY w.site ORDER BY w.site",
        evaluate: One(share_in_its_study),
    },
    Statistic {
        name: "sensor_mean",
        arguments: &[plain("value", Number), plain("sensor", Label)],
        fields: &["mean", "lower", "upper"],
        about: "mean of values that are not negative with the interval that respects sensors, from three on",
        example: "SELECT site, get_field(sensor_mean(ard, sensor_no), 'mean') AS mard FROM pair_agreement GROUP BY site ORDER BY site",
        evaluate: One(positive_mean),
    },
    Statistic {
        name: "sensor_mean_in_study",
        arguments: &[
            plain("value", Number),
            plain("sensor", Label),
            plain("site", Label),
            plain("own", Number),
        ],
        fields: &["mean", "lower", "upper"],
        about: "sensor_mean of the site whose rows have own 1, its upper end held to the spread between sensors of all sites",
        example: "SELECT w.site, get_field(sensor_mean_in_study(p.ard, p.sensor_no, p.site, CASE WHEN p.site = w.site THEN 1.0 ELSE 0.0 END), 'mean') AS mard FROM sites AS w CROSS JOIN pair_agreement AS p GROUP BY w.site ORDER BY w.site",
        evaluate: One(mean_in_its_study),
    },
    Statistic {
        name: "sensor_rate",
        arguments: &[plain("events", Count), plain("exposure", Number)],
        fields: &["rate", "lower", "upper"],
        about: "events over exposure, a row for each sensor, with an interval that lets sensors differ, from three on",
        example: "SELECT site, get_field(sensor_rate(artefacts, nights), 'rate') AS rate FROM sensor_artefacts GROUP BY site ORDER BY site",
        evaluate: One(rate_over_sensors),
    },
    Statistic {
        name: "sensor_rate_in_study",
        arguments: &[
            plain("events", Count),
            plain("exposure", Number),
            plain("site", Label),
            plain("own", Number),
        ],
        fields: &["rate", "lower", "upper"],
        about: "sensor_rate of the site whose rows have own 1, its upper end held to how unlike sensors of all sites are",
        example: "SELECT w.site, get_field(sensor_rate_in_study(a.artefacts, a.nights, a.site, CASE WHEN a.site = w.site THEN 1.0 ELSE 0.0 END), 'rate') AS rate FROM sites AS w CROSS JOIN sensor_artefacts AS a GROUP BY w.site ORDER BY w.site",
        evaluate: One(rate_in_its_study),
    },
    Statistic {
        name: "mean_over_wearers",
        arguments: &[
            plain("value", Number),
            plain("sensor", Label),
            plain("wearer", Label),
        ],
        fields: &["mean", "std_error", "df", "lower", "upper", "sd_wearers"],
        about: "mean with wearers and sensors random, by REML, with the wider of two t intervals, of wearers and of sensors within them",
        example: "SELECT site, get_field(mean_over_wearers(difference, sensor_no, wearer), 'mean') AS bias FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(over_wearers),
    },
    Statistic {
        name: "steadiness",
        arguments: &[
            plain("difference", Number),
            plain("sensor", Label),
            with_unit("wear_days", Number, "days"),
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
        example: "SELECT site, get_field(steadiness(100 * relative_difference, sensor_no, wear_days), 'drift') AS drift FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(steady_or_scattered),
    },
    Statistic {
        name: "rate_ratio",
        arguments: &[
            plain("events", Count),
            plain("exposure", Number),
            plain("role", Code(2)),
            plain("site", Label),
            plain("stratum", Label),
        ],
        fields: &["ratio", "lower", "upper", "dispersion", "df", "p"],
        about: "rate of the second site over that of the first within strata, a row for each sensor, which may differ beyond chance",
        example: "SELECT get_field(rate_ratio(artefacts, nights, CASE site WHEN 'calf' THEN 1 WHEN 'chest' THEN 2 ELSE 0 END, site, wearer), 'ratio') AS ratio FROM sensor_artefacts",
        evaluate: One(ratio_of_rates),
    },
    Statistic {
        name: "deming",
        arguments: &[
            with_unit("fingerstick", Number, "mg/dL"),
            with_unit("reading", Number, "mg/dL"),
            plain("sensor", Label),
            with_unit(
                "ratio",
                Number,
                "error variance of readings over that of fingersticks",
            ),
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
        example: "SELECT site, get_field(deming(fingerstick, reading, sensor_no, 1.0), 'slope') AS slope FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(line_of_two_methods),
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
    Some(headline(share_within(rows.numbers(0), &rows.labels(1))?))
}

fn positive_mean(rows: &Rows) -> Values {
    Some(headline(clustered_mean(rows.numbers(0), &rows.labels(1))?))
}

fn mean_in_its_study(rows: &Rows) -> Values {
    in_its_study(rows, mean_in_study)
}

fn share_in_its_study(rows: &Rows) -> Values {
    in_its_study(rows, share_in_study)
}

fn in_its_study(rows: &Rows, of: fn(&StudyValues, usize) -> Option<Headline>) -> Values {
    let sites = rows.labels(2);
    let own = rows.numbers(3).iter().position(|own| *own > 0.0)?;
    let study = StudyValues {
        values: rows.numbers(0),
        sensors: &rows.labels(1),
        sites: &sites,
    };
    Some(headline(of(&study, *sites.get(own)?)?))
}

fn rate_over_sensors(rows: &Rows) -> Values {
    Some(headline(clustered_rate(&clusters(rows))?))
}

fn rate_in_its_study(rows: &Rows) -> Values {
    let sites = rows.labels(2);
    let own = rows.numbers(3).iter().position(|own| *own > 0.0)?;
    Some(headline(rate_in_study(
        &clusters(rows),
        &sites,
        *sites.get(own)?,
    )?))
}

fn clusters(rows: &Rows) -> Vec<Cluster> {
    let sensors = rows.numbers(0).iter().zip(rows.numbers(1));
    sensors
        .map(|(sum, size)| Cluster {
            sum: *sum,
            size: *size,
        })
        .collect()
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
