//! Two routes to the comparisons of sites and the headline intervals: the SQL of the program, and the
//! statistics called directly on what it wrote of sessions, pairs and sensors.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use whereworn_stats::agreement::method_comparison::clustered_deming;
use whereworn_stats::agreement::steadiness::steadiness;
use whereworn_stats::mixed::over_wearers::mean_over_wearers;
use whereworn_stats::mixed::sites::{SensorMean, compare_sites};
use whereworn_stats::multiplicity::holm;
use whereworn_stats::rates::clustered::{Cluster, clustered_mean, share_within};
use whereworn_stats::rates::heterogeneity::ExposedUnit;
use whereworn_stats::rates::quasi_ratio::quasi_ratio;
use whereworn_stats::rates::study::{StudyValues, mean_in_study, rate_in_study, share_in_study};

use crate::fixture::{Output, Row, Study, Table, close, close_or_missing};

const EQUAL: f64 = 1e-9;

/// A synthetic study, its report, and the night artefacts of each of its sensors.
static STUDY: LazyLock<(Output, Table)> = LazyLock::new(|| {
    let study = Study::demo("3", "24", "15", "5");
    let output = study.report();
    (output, study.sql("SELECT * FROM sensor_artefacts"))
});

/// Numbers for texts, in order of the texts.
fn codes<'a>(texts: impl Iterator<Item = &'a str> + Clone) -> BTreeMap<&'a str, usize> {
    let mut names: Vec<&str> = texts.collect();
    names.sort_unstable();
    names.dedup();
    names.into_iter().zip(0..).collect()
}

/// The same for a column of a table.
fn codes_of(table: &Table, column: &str) -> BTreeMap<String, usize> {
    let mut names = table.column(column);
    names.sort_unstable();
    names.dedup();
    names.into_iter().zip(0..).collect()
}

struct Pairs {
    table: Table,
}

impl Pairs {
    fn of(&self, site: &str) -> Vec<Row<'_>> {
        self.table.rows_where(&[("site", site)])
    }
}

fn pairs() -> Pairs {
    Pairs {
        table: STUDY.0.table("pairs"),
    }
}

fn column(rows: &[Row<'_>], name: &str) -> Vec<f64> {
    rows.iter().map(|row| row.number(name)).collect()
}

fn labels(rows: &[Row<'_>], name: &str) -> Vec<usize> {
    let codes = codes(rows.iter().map(|row| row.text(name)));
    rows.iter().map(|row| codes[row.text(name)]).collect()
}

#[test]
fn headline_of_each_site() {
    let (output, artefacts) = &*STUDY;
    let pairs = pairs();
    let table = output.table("site_comparison");
    let all: Vec<Row<'_>> = pairs.table.rows().collect();
    let farness = column(&all, "relative_difference")
        .into_iter()
        .map(f64::abs);
    let (farness, sensors_of_all) = (farness.collect::<Vec<_>>(), labels(&all, "sensor_no"));
    let (places, codes) = (labels(&all, "site"), codes_of(&pairs.table, "site"));
    // In units of the limit: 20 mg/dL below 100 mg/dL, 20 % from there on.
    let in_limits = |row: &Row<'_>| {
        let difference = row.number("difference");
        difference / (0.2 * row.number("fingerstick").max(100.0))
    };
    let errors: Vec<f64> = all.iter().map(in_limits).collect();
    let of_study = |values| StudyValues {
        values,
        sensors: &sensors_of_all,
        sites: &places,
    };
    let cluster = |row: Row<'_>| Cluster {
        sum: row.number("artefacts"),
        size: row.number("nights"),
    };
    let nights: Vec<Cluster> = artefacts.rows().map(cluster).collect();
    let night_sites: Vec<usize> = artefacts
        .rows()
        .map(|row| codes[row.text("site")])
        .collect();
    for row in table.rows() {
        let site = row.text("site");
        let own = pairs.of(site);
        let sensors = labels(&own, "sensor_no");
        let mean = mean_over_wearers(
            &column(&own, "difference"),
            &sensors,
            &labels(&own, "wearer"),
        );
        let interval = mean.unwrap().mean.interval;
        close(row.number("bias_lower"), interval.lower, 1e-6, site);
        close(row.number("bias_upper"), interval.upper, 1e-6, site);
        let own_errors: Vec<f64> = own.iter().map(in_limits).collect();
        let share = share_within(&own_errors, &sensors).unwrap();
        close(row.number("within_20_20"), share.estimate, EQUAL, site);
        let share = share_in_study(&of_study(&errors), codes[site]).unwrap();
        let lower = share.interval.map(|interval| interval.lower);
        close_or_missing(row.maybe("within_20_20_lower"), lower, EQUAL, site);
        let absolute: Vec<f64> = own
            .iter()
            .map(|row| row.number("relative_difference").abs())
            .collect();
        let mard = clustered_mean(&absolute, &sensors).unwrap();
        close(row.number("mard"), mard.estimate, EQUAL, site);
        let mard = mean_in_study(&of_study(&farness), codes[site]).unwrap();
        let upper = mard.interval.map(|interval| interval.upper);
        close_or_missing(row.maybe("mard_upper"), upper, EQUAL, site);
        let rate = rate_in_study(&nights, &night_sites, codes[site]);
        let upper = rate
            .and_then(|rate| rate.interval)
            .map(|rate| 100.0 * rate.upper);
        close_or_missing(row.maybe("night_rate_upper"), upper, EQUAL, site);
    }
}

#[test]
fn steadiness_and_line_of_each_site() {
    let pairs = pairs();
    for row in STUDY.0.table("site_steadiness").rows() {
        let own = pairs.of(row.text("site"));
        let percent: Vec<f64> = own
            .iter()
            .map(|row| 100.0 * row.number("relative_difference"))
            .collect();
        let fit = steadiness(
            &percent,
            &labels(&own, "sensor_no"),
            &column(&own, "wear_days"),
        )
        .unwrap();
        let between = fit.sd_between.unwrap();
        close(row.number("sd_between"), between.value, EQUAL, "between");
        close(
            row.number("sd_between_upper"),
            between.interval.unwrap().upper,
            EQUAL,
            "upper",
        );
        let drift = fit.drift.unwrap();
        close(
            row.number("drift_lower"),
            drift.interval.unwrap().lower,
            EQUAL,
            "drift",
        );
        assert!(!row.text("class").is_empty());
    }
    for row in STUDY.0.table("site_method_comparison").rows() {
        let own = pairs.of(row.text("site"));
        let (x, y) = (column(&own, "fingerstick"), column(&own, "reading"));
        let line = clustered_deming(&x, &y, &labels(&own, "sensor_no"), 4.0).unwrap();
        close(row.number("slope"), line.line.slope, EQUAL, "slope");
        close_or_missing(
            row.maybe("intercept_lower"),
            row.maybe("intercept_lower").map(|_| line.intercept.lower),
            EQUAL,
            "intercept",
        );
    }
}

/// Each sensor in short, of a figure of its pairs, with its row in `sessions`.
fn sensors(figure: impl Fn(&Row<'_>) -> f64) -> Vec<(String, String, SensorMean)> {
    let pairs = pairs();
    let sites = codes_of(&pairs.table, "site");
    let wearers = codes_of(&pairs.table, "wearer");
    let mut values: BTreeMap<(String, String), (usize, usize, Vec<f64>)> = BTreeMap::new();
    for row in pairs.table.rows() {
        let key = (row.text("wearer").to_owned(), row.text("sensor").to_owned());
        let site_wearer = (sites[row.text("site")], wearers[row.text("wearer")]);
        let entry = values
            .entry(key)
            .or_insert((site_wearer.0, site_wearer.1, Vec::new()));
        entry.2.push(figure(&row));
    }
    values
        .into_iter()
        .map(|((wearer, sensor), (site, wearer_no, own))| {
            let mean = own.iter().sum::<f64>() / own.len() as f64;
            let short = SensorMean {
                count: own.len() as f64,
                mean,
                squares: own.iter().map(|value| (value - mean).powi(2)).sum(),
                site,
                wearer: wearer_no,
                covariates: Vec::new(),
            };
            (wearer, sensor, short)
        })
        .collect()
}

/// A figure of a pair.
type Figure = fn(&Row<'_>) -> f64;

fn percent(row: &Row<'_>) -> f64 {
    100.0 * row.number("relative_difference")
}

#[test]
fn pairs_of_sites() {
    let table = STUDY.0.table("site_accuracy_pairs");
    let pairs = pairs();
    let sites = codes_of(&pairs.table, "site");
    let figures: [(&str, Figure); 2] = [
        ("bias", percent),
        ("absolute difference", |row| percent(row).abs()),
    ];
    for (measure, figure) in figures {
        let short: Vec<SensorMean> = sensors(figure).into_iter().map(|sensor| sensor.2).collect();
        let fit = compare_sites(&short).unwrap();
        let rows = table.rows_where(&[("measure", measure)]);
        assert_eq!(rows.len(), sites.len() * (sites.len() - 1) / 2);
        for row in &rows {
            let (a, b) = (sites[row.text("site_a")], sites[row.text("site_b")]);
            let difference = fit.difference(a, b).unwrap();
            close(row.number("percent"), difference.estimate, 1e-6, measure);
            close(
                row.number("percent_lower"),
                difference.interval.lower,
                1e-4,
                measure,
            );
            close(row.number("p"), difference.p, 1e-4, measure);
        }
        let p: Vec<f64> = column(&rows, "p_permutation");
        for (row, adjusted) in rows.iter().zip(holm(&p)) {
            close(row.number("p_holm"), adjusted, EQUAL, "Holm");
        }
        let test = fit.test().unwrap();
        let overall = STUDY.0.table("site_accuracy_test");
        let row = overall.row(&[("measure", measure)]);
        close(row.number("f"), test.f, 1e-4 * test.f, "F");
        close(row.number("p"), test.p, 1e-4, "p of F");
        let adjusted = STUDY.0.table("site_accuracy_adjusted");
        for row in adjusted.rows_where(&[("measure", measure), ("version", "as worn")]) {
            let (a, b) = (sites[row.text("site_a")], sites[row.text("site_b")]);
            let difference = fit.difference(a, b).unwrap();
            close(row.number("percent"), difference.estimate, 1e-6, "as worn");
        }
    }
}

#[test]
fn nights_of_pairs_of_sites() {
    let (output, artefacts) = &*STUDY;
    let rows: Vec<Row<'_>> = artefacts.rows().collect();
    let (sites, wearers) = (labels(&rows, "site"), labels(&rows, "wearer"));
    let units: Vec<ExposedUnit> = (0..rows.len())
        .map(|i| ExposedUnit {
            group: sites[i],
            stratum: wearers[i],
            events: rows[i].number("artefacts"),
            exposure: rows[i].number("nights"),
        })
        .collect();
    let site_codes = codes(rows.iter().map(|row| row.text("site")));
    let table = output.table("site_nights_pairs");
    assert!(table.rows().count() > 5);
    for row in table.rows() {
        let (a, b) = (
            site_codes[row.text("site_a")],
            site_codes[row.text("site_b")],
        );
        let ratio = quasi_ratio(&units, a, b);
        close_or_missing(
            row.maybe("ratio"),
            ratio.and_then(|r| r.ratio),
            EQUAL,
            "ratio",
        );
        close_or_missing(row.maybe("p"), ratio.map(|r| r.p), EQUAL, "p");
    }
}
