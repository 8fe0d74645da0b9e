//! Whether sensors read differently at different sites: a row for each sensor in short (the number of its pairs, their mean,
//! and their sum of squares about it), its site as a number.

use whereworn_stats::interval::Interval;
use whereworn_stats::mixed::sites::{
    SensorMean, SiteComparison, SiteRefusal, compare_sites, permute_sites,
};
use whereworn_stats::resampling::seed::seed;

use super::arguments::Kind::{Count, Label, Number};
use super::arguments::{SEED, plain, with_unit};
use super::collect::{Evaluate, Rows, Statistic};
use Evaluate::{Many, One};

/// See [`super::statistics::ALL`]. `refusal` is 0, or 1 one site, 2 too few sensors, 3 sites cannot be told apart from what
/// is adjusted for.
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "site_test",
        arguments: &[
            plain("pairs", Count),
            plain("mean", Number),
            plain("squares", Number),
            plain("position", Count),
            plain("wearer", Label),
            SEED,
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
        about: "whether means differ between sites: mixed model (wearer and sensor random), and sites shuffled within wearers",
        example: "SELECT get_field(site_test(pairs, mean, squares, position, wearer, 'my test'), 'p') AS p FROM sensor_errors WHERE measure = 'bias'",
        evaluate: One(test_of_sites),
    },
    Statistic {
        name: "site_differences",
        arguments: &[
            plain("pairs", Count),
            plain("mean", Number),
            plain("squares", Number),
            plain("position", Count),
            plain("wearer", Label),
            SEED,
        ],
        fields: &[
            "position_a",
            "position_b",
            "sensors",
            "difference",
            "std_error",
            "df",
            "lower",
            "upper",
            "p",
            "refusal",
            "p_permutation",
            "smallest_p",
        ],
        about: "a list, one a pair of sites: the second less the first in the model of `site_test`; the permutation is among sensors of the two",
        example: "SELECT UNNEST(site_differences(pairs, mean, squares, position, wearer, 'my test')) AS difference FROM sensor_errors WHERE measure = 'bias'",
        evaluate: Many(differences_of_sites),
    },
    Statistic {
        name: "adjusted_site_differences",
        arguments: &[
            plain("pairs", Count),
            plain("mean", Number),
            plain("squares", Number),
            plain("position", Count),
            plain("wearer", Label),
            plain("tape", Label),
            plain("side", Label),
            plain("model", Label),
            with_unit("calendar", Number, "days"),
            plain("order_of_wear", Number),
        ],
        fields: &[
            "position_a",
            "position_b",
            "sensors",
            "difference",
            "std_error",
            "df",
            "lower",
            "upper",
            "p",
            "refusal",
            "covariates",
        ],
        about: "`site_differences` without permutation, adjusted for three labels and two numbers, as far as they vary",
        example: "SELECT UNNEST(adjusted_site_differences(pairs, mean, squares, position, wearer, tape, side, model, 0.0, order_of_wear)) AS difference FROM sensor_errors WHERE measure = 'bias'",
        evaluate: Many(adjusted_differences),
    },
];

type Values = Option<Vec<Option<f64>>>;

/// Sensors from the first five arguments.
fn sensors(rows: &Rows) -> Vec<SensorMean> {
    let wearers = rows.labels(4);
    (0..wearers.len())
        .map(|row| SensorMean {
            count: rows.numbers(0)[row],
            mean: rows.numbers(1)[row],
            squares: rows.numbers(2)[row],
            site: rows.numbers(3)[row] as usize,
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
    let sensors = sensors(rows);
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

/// Pairs of the sites that sensors were worn at, each in order.
fn pairs(sensors: &[SensorMean]) -> Vec<[usize; 2]> {
    let mut sites: Vec<usize> = sensors.iter().map(|sensor| sensor.site).collect();
    sites.sort_unstable();
    sites.dedup();
    let later = |(place, &a): (usize, &usize)| -> Vec<[usize; 2]> {
        sites[place + 1..].iter().map(|&b| [a, b]).collect()
    };
    sites.iter().enumerate().flat_map(later).collect()
}

/// The sites of a pair, their sensors, and the difference or why there is none.
fn contrast(
    fit: &Result<SiteComparison, SiteRefusal>,
    [a, b]: [usize; 2],
    sensors: &[SensorMean],
) -> Vec<Option<f64>> {
    let found = fit.as_ref().ok().and_then(|fit| fit.difference(a, b));
    let refusal = fit.as_ref().err().map_or(0.0, |refusal| code(*refusal));
    let interval: Option<Interval> = found.map(|c| c.interval);
    let worn = sensors.iter().filter(|s| [a, b].contains(&s.site)).count();
    vec![
        Some(a as f64),
        Some(b as f64),
        Some(worn as f64),
        found.map(|c| c.estimate),
        found.map(|c| c.std_error),
        found.map(|c| c.df),
        interval.map(|i| i.lower),
        interval.map(|i| i.upper),
        found.map(|c| c.p),
        Some(refusal),
    ]
}

fn differences_of_sites(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let sensors = sensors(rows);
    let fit = compare_sites(&sensors);
    let row = |pair: [usize; 2]| {
        let of_pair = sensors.iter().filter(|s| pair.contains(&s.site));
        let two: Vec<SensorMean> = of_pair.cloned().collect();
        let [a, b] = pair.map(|site| site.to_string());
        let permuted = permute_sites(&two, seed(&[rows.text(5), &a, &b]));
        let mut values = contrast(&fit, pair, &sensors);
        values.extend([permuted.map(|p| p.p), permuted.map(|p| p.smallest_p)]);
        values
    };
    pairs(&sensors).into_iter().map(row).collect()
}

fn adjusted_differences(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let mut sensors = sensors(rows);
    for position in 5..8 {
        let levels = rows.labels(position);
        for level in 1..=levels.iter().copied().max().unwrap_or(0) {
            for (sensor, of) in sensors.iter_mut().zip(&levels) {
                sensor.covariates.push(f64::from(u8::from(*of == level)));
            }
        }
    }
    for position in 8..10 {
        for (sensor, value) in sensors.iter_mut().zip(rows.numbers(position)) {
            sensor.covariates.push(*value);
        }
    }
    let fit = compare_sites(&sensors);
    let covariates = fit.as_ref().ok().map(|fit| fit.covariates as f64);
    let row = |pair: [usize; 2]| {
        let mut values = contrast(&fit, pair, &sensors);
        values.push(covariates);
        values
    };
    pairs(&sensors).into_iter().map(row).collect()
}
