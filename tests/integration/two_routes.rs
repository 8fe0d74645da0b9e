//! Two routes to one number: the SQL of the program, and the statistics called directly on its sessions and pairs.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use whereworn_stats::agreement::error_grid::{Zone, consensus_zone};
use whereworn_stats::agreement::limits::{within_limit, within_percent};
use whereworn_stats::mixed::random_intercept::random_intercept;
use whereworn_stats::survival::kaplan_meier::{IntervalScale, KaplanMeier, truncate};
use whereworn_stats::survival::logrank::{Subjects, log_rank};

use crate::fixture::{Output, Row, Study, Table, close, close_or_missing};

const EQUAL: f64 = 1e-9;
const RATED_DAYS: f64 = 14.0;

/// The report on a synthetic study of some size.
static OUTPUT: LazyLock<Output> = LazyLock::new(|| Study::demo("4", "24", "15", "7").report());

/// Rows of a table by site.
fn by_site(table: &Table) -> BTreeMap<String, Vec<Row<'_>>> {
    let mut sites: BTreeMap<String, Vec<Row<'_>>> = BTreeMap::new();
    for row in table.rows() {
        sites
            .entry(row.text("site").to_owned())
            .or_default()
            .push(row);
    }
    sites
}

/// Days, and whether the sensor came off, up to the rated wear of its model.
fn life(row: &Row<'_>) -> (f64, bool) {
    truncate(
        row.number("days"),
        row.text("detached") == "1",
        row.number("rated_days"),
    )
}

fn numbers(table: &Table, column: &str) -> Vec<usize> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    table
        .rows()
        .map(|row| {
            let next = seen.len();
            *seen.entry(row.text(column).to_owned()).or_insert(next)
        })
        .collect()
}

#[test]
fn survival() {
    let output = &OUTPUT;
    let sessions = output.table("sessions");
    let (survival, wear) = (output.table("site_survival"), output.table("site_wear"));
    let sites = by_site(&sessions);
    assert!(sites.len() >= 5);
    for (site, rows) in sites {
        let (times, events): (Vec<f64>, Vec<bool>) = rows.iter().map(life).unzip();
        let curve = KaplanMeier::fit(&times, &events, IntervalScale::LogLog);
        let points = survival.rows_where(&[("site", &site)]);
        assert_eq!(points.len(), curve.points.len(), "{site}");
        for (row, point) in points.iter().zip(&curve.points) {
            close(row.number("day"), point.time, EQUAL, "day");
            assert_eq!(row.number("at_risk"), point.at_risk as f64);
            assert_eq!(row.number("detached"), point.events as f64);
            assert_eq!(row.number("censored"), point.censored as f64);
            let estimate = &point.estimate;
            close(row.number("survival"), estimate.survival, EQUAL, "survival");
            close_or_missing(
                row.maybe("std_error"),
                estimate.std_error,
                EQUAL,
                "std_error",
            );
            let (lower, upper) = (row.maybe("lower"), row.maybe("upper"));
            close_or_missing(lower, estimate.interval.map(|i| i.lower), EQUAL, "lower");
            close_or_missing(upper, estimate.interval.map(|i| i.upper), EQUAL, "upper");
        }
        let row = wear.row(&[("site", &site)]);
        for (column, day) in [
            ("survival_7", 7.0),
            ("survival_10", 10.0),
            ("survival_rated", RATED_DAYS),
        ] {
            let expected = curve.at(day).map(|at| at.survival);
            close_or_missing(
                row.maybe(column),
                expected,
                EQUAL,
                &format!("{column} of {site}"),
            );
        }
        close_or_missing(
            row.maybe("median_days"),
            curve.median().value,
            EQUAL,
            "median",
        );
        let mean = curve.restricted_mean(RATED_DAYS).unwrap();
        close(row.number("rmst_days"), mean.mean, EQUAL, "restricted mean");
        close(row.number("rmst_se"), mean.std_error, EQUAL, "its error");
        let came_off = events.iter().filter(|event| **event).count();
        assert_eq!(row.number("detached"), came_off as f64);

        let ended = rows.iter().map(|row| {
            truncate(
                row.number("days"),
                !row.text("ended").is_empty(),
                row.number("rated_days"),
            )
        });
        let (times, events): (Vec<f64>, Vec<bool>) = ended.unzip();
        let any_end = KaplanMeier::fit(&times, &events, IntervalScale::LogLog);
        let usable = any_end.restricted_mean(RATED_DAYS).unwrap().mean;
        close(row.number("usable_days"), usable, EQUAL, "usable days");
    }
}

#[test]
fn log_rank_test() {
    let output = &OUTPUT;
    let sessions = output.table("sessions");
    let (times, events): (Vec<f64>, Vec<bool>) = sessions.rows().map(|row| life(&row)).unzip();
    let expected = log_rank(Subjects {
        times: &times,
        events: &events,
        groups: &numbers(&sessions, "site"),
        strata: &numbers(&sessions, "wearer"),
    })
    .unwrap();
    let test = output.table("site_wear_test");
    let row = test.row(&[]);
    close(
        row.number("chi_square"),
        expected.chi_square,
        EQUAL,
        "chi-square",
    );
    close(row.number("p"), expected.p, EQUAL, "p");
    assert_eq!(row.number("df"), expected.df as f64);
}

/// The middle of sorted values, by the definition of the median.
fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    (values[(n - 1) / 2] + values[n / 2]) / 2.0
}

fn assert_accuracy(row: &Row<'_>, pairs: &[&Row<'_>]) {
    let (mut sensors, mut groups) = (BTreeMap::new(), Vec::new());
    for pair in pairs {
        let next = sensors.len();
        let key = (
            pair.text("wearer").to_owned(),
            pair.text("sensor").to_owned(),
        );
        groups.push(*sensors.entry(key).or_insert(next));
    }
    assert_eq!(row.number("sensors"), sensors.len() as f64);
    assert_eq!(row.number("pairs"), pairs.len() as f64);
    let values = |column: &str| {
        pairs
            .iter()
            .map(|pair| pair.number(column))
            .collect::<Vec<f64>>()
    };

    let fit = random_intercept(&values("difference"), &groups).unwrap();
    close(row.number("bias"), fit.mean, EQUAL, "bias");
    close_or_missing(
        row.maybe("bias_lower"),
        fit.interval.map(|i| i.lower),
        EQUAL,
        "bias_lower",
    );
    close_or_missing(
        row.maybe("bias_upper"),
        fit.interval.map(|i| i.upper),
        EQUAL,
        "bias_upper",
    );
    close_or_missing(row.maybe("bias_df"), fit.df, EQUAL, "bias_df");
    close_or_missing(row.maybe("sd_between"), fit.sd_between, EQUAL, "sd_between");
    close_or_missing(row.maybe("sd_within"), fit.sd_within, EQUAL, "sd_within");
    close_or_missing(
        row.maybe("loa_lower"),
        fit.limits.map(|l| l.lower),
        EQUAL,
        "loa_lower",
    );
    close_or_missing(
        row.maybe("loa_upper"),
        fit.limits.map(|l| l.upper),
        EQUAL,
        "loa_upper",
    );
    let percents: Vec<f64> = values("relative_difference")
        .iter()
        .map(|r| 100.0 * r)
        .collect();
    let percent = random_intercept(&percents, &groups).unwrap();
    close(
        row.number("bias_percent"),
        percent.mean,
        EQUAL,
        "bias_percent",
    );

    let absolute: Vec<f64> = values("relative_difference")
        .iter()
        .map(|r| r.abs())
        .collect();
    let n = absolute.len() as f64;
    close(
        row.number("mard"),
        absolute.iter().sum::<f64>() / n,
        EQUAL,
        "mard",
    );
    close(
        row.number("median_ard"),
        median(absolute),
        EQUAL,
        "median_ard",
    );
    let share = |test: &dyn Fn(f64, f64) -> bool| {
        let good = pairs
            .iter()
            .filter(|pair| test(pair.number("reading"), pair.number("fingerstick")));
        good.count() as f64 / n
    };
    for (column, limit) in [
        ("within_15_15", 15.0),
        ("within_20_20", 20.0),
        ("within_40_40", 40.0),
    ] {
        close(
            row.number(column),
            share(&|r, f| within_limit(r, f, limit)),
            EQUAL,
            column,
        );
    }
    close(
        row.number("within_20_percent"),
        share(&|r, f| within_percent(r, f, 20.0)),
        EQUAL,
        "20 %",
    );
    for (column, zone) in [
        ("zone_a", Zone::A),
        ("zone_b", Zone::B),
        ("zone_c", Zone::C),
        ("zone_d", Zone::D),
        ("zone_e", Zone::E),
    ] {
        close(
            row.number(column),
            share(&|r, f| consensus_zone(r, f) == zone),
            EQUAL,
            column,
        );
    }
    let (lower, mard, upper) = (
        row.maybe("mard_lower"),
        row.number("mard"),
        row.maybe("mard_upper"),
    );
    if sensors.len() > 1 {
        assert!(
            lower.unwrap() <= mard && mard <= upper.unwrap(),
            "interval of mard"
        );
    } else {
        assert_eq!((lower, upper), (None, None));
    }
}

#[test]
fn accuracy() {
    let output = &OUTPUT;
    let pairs = output.table("pairs");
    let (whole, parts) = (
        output.table("site_accuracy"),
        output.table("site_first_day"),
    );
    let sites = by_site(&pairs);
    assert_eq!(sites.len(), whole.lines.len());
    for (site, rows) in sites {
        let all: Vec<&Row<'_>> = rows.iter().collect();
        assert_accuracy(&whole.row(&[("site", &site)]), &all);
        let (first, later): (Vec<&Row<'_>>, Vec<&Row<'_>>) =
            rows.iter().partition(|pair| pair.number("wear_days") < 1.0);
        for (period, rows) in [("first-day", first), ("later", later)] {
            if !rows.is_empty() {
                assert_accuracy(&parts.row(&[("site", &site), ("period", period)]), &rows);
            }
        }
    }
}

/// Differences of pairs are what their names say.
#[test]
fn pairs_hold_their_arithmetic() {
    let output = &OUTPUT;
    let pairs = output.table("pairs");
    assert!(pairs.lines.len() > 500);
    for row in pairs.rows() {
        let (reading, fingerstick) = (row.number("reading"), row.number("fingerstick"));
        close(
            row.number("difference"),
            reading - fingerstick,
            EQUAL,
            "difference",
        );
        let relative = (reading - fingerstick) / fingerstick;
        close(
            row.number("relative_difference"),
            relative,
            EQUAL,
            "relative difference",
        );
        let at = |column: &str| {
            row.text(column)
                .parse::<jiff::Timestamp>()
                .unwrap()
                .as_microsecond()
        };
        assert!((at("fingerstick_time") - at("reading_time")).abs() <= 300_000_000);
    }
}
