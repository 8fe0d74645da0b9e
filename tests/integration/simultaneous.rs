//! Delay and sensors worn at once: worked by hand, and by two routes.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use whereworn_stats::delay::difference::delay_difference;
use whereworn_stats::delay::first_order::first_order_delay;
use whereworn_stats::delay::point::DelayPoint;
use whereworn_stats::multiplicity::holm;
use whereworn_stats::simultaneous::pair_mean::{SensorPair, pair_mean};

use crate::fixture::{IN_UTC, Output, Row, Study, Table, close, close_or_missing};

const EQUAL: f64 = 1e-9;

/// Day of January 2026, minutes after midnight.
fn instant(day: i64, minutes: i64) -> String {
    format!(
        "2026-01-{day:02}T{:02}:{:02}:00Z",
        minutes / 60,
        minutes % 60
    )
}

/// On two days a sensor on the chest and one on the calf, from 8 to 20 o'clock; the calf reads 2 min later. On the first
/// day 110 against 90 and 100 by turns, on the second 105 against 100.
fn two_days() -> Study {
    let mut events = String::from("sensor,time,event,site,cause\n");
    let mut readings = String::from("sensor,time,glucose,status\n");
    for (day, chest, calf) in [(5, 110, [90, 100]), (6, 105, [100, 100])] {
        for (site, offset) in [("chest", 0), ("calf", 2)] {
            let sensor = format!("{site}{day}");
            events += &format!("{sensor},{},insert,{site},\n", instant(day, 480));
            events += &format!("{sensor},{},end,,completed\n", instant(day, 1200));
            for (number, minutes) in (480 + offset..=1200).step_by(5).enumerate() {
                let glucose = if site == "chest" {
                    chest
                } else {
                    calf[number % 2]
                };
                let status = if minutes == 600 { "low" } else { "ok" };
                readings += &format!("{sensor},{},{glucose},{status}\n", instant(day, minutes));
            }
        }
    }
    let study = Study::new(IN_UTC);
    study
        .write("wear-events/all.csv", events)
        .write("readings/all.csv", readings);
    study
}

/// The hour of warm-up is left out: 132 readings of the chest from 9:00 to 19:55 have one of the calf 2 min later, that at
/// 10:00 is `low`, so 131 remain, 65 of them against 90 (20 % of the mean of the two) and 66 against 100 (10 / 105).
#[test]
fn two_sensors_at_once_by_hand() {
    let output = two_days().report();
    let table = output.table("simultaneous_sensors");
    assert_eq!(table.lines.len(), 2);
    let first = table.rows().next().unwrap();
    let sign = if first.text("first_site") == "chest" {
        1.0
    } else {
        -1.0
    };
    let mean = (65.0 * 20.0 + 66.0 * 10.0) / 131.0;
    assert_eq!(first.number("readings"), 131.0);
    close(first.number("hours"), 131.0 / 12.0, EQUAL, "hours");
    close(first.number("difference"), sign * mean, EQUAL, "difference");
    let percent = (65.0 * 20.0 + 66.0 * 1000.0 / 105.0) / 131.0;
    close(first.number("percent"), sign * percent, EQUAL, "percent");
    close(
        first.number("absolute_relative"),
        percent / 100.0,
        EQUAL,
        "absolute",
    );
    let squares: f64 = 65.0 * (20.0_f64 - mean).powi(2) + 66.0 * (10.0_f64 - mean).powi(2);
    close(
        first.number("sd_differences"),
        (squares / 130.0).sqrt(),
        EQUAL,
        "deviation",
    );
    assert_eq!(first.maybe("lag_minutes"), None, "glucose does not move");

    // Two pairs, (mean + 5) / 2 ± t(0.975; 1) (mean - 5) / 2 with t = 12.7062047361747 (tan 0.475 π).
    let sites = output.table("simultaneous_sites");
    let row = sites.row(&[("sensor_pairs", "2")]);
    close(
        row.number("difference"),
        sign * (mean + 5.0) / 2.0,
        EQUAL,
        "site difference",
    );
    let half = row.number("difference_upper") - row.number("difference");
    close(
        half,
        12.706_204_736_174_7 * (mean - 5.0) / 2.0,
        1e-8,
        "half-width",
    );
}

/// One pair of sensors has no interval; sensors that follow each other are no pair.
#[test]
fn one_pair_has_no_interval() {
    let study = two_days();
    let path = study.dir().join("wear-events/all.csv");
    let events = std::fs::read_to_string(&path).unwrap();
    let kept: Vec<&str> = events
        .lines()
        .filter(|line| !line.starts_with("calf6"))
        .collect();
    std::fs::write(path, kept.join("\n") + "\n").unwrap();
    let output = study.report();
    assert_eq!(output.table("simultaneous_sensors").lines.len(), 1);
    let sites = output.table("simultaneous_sites");
    let row = sites.row(&[("sensor_pairs", "1")]);
    assert_eq!((row.maybe("percent_lower"), row.maybe("p")), (None, None));
    row.number("percent");
}

/// A synthetic study and its report.
static KNOWN: LazyLock<(Study, Output)> = LazyLock::new(|| {
    let study = Study::demo("4", "24", "15", "7");
    let output = study.report();
    (study, output)
});

fn holm_agrees(table: &Table) {
    let rows: Vec<Row> = table
        .rows()
        .filter(|row| row.maybe("p").is_some())
        .collect();
    assert!(rows.len() > 2);
    let p_values: Vec<f64> = rows.iter().map(|row| row.number("p")).collect();
    for (row, adjusted) in rows.iter().zip(holm(&p_values)) {
        close(row.number("p_holm"), adjusted, EQUAL, "Holm");
    }
}

#[test]
fn delays_and_their_differences() {
    let (study, output) = &*KNOWN;
    let table = study.sql(
        "SELECT site, wearer, sensor_no, level, ratio, slope, wide_slope FROM delay_points ORDER BY sensor_no, fingerstick_no",
    );
    let mut sites = BTreeMap::<String, Vec<DelayPoint>>::new();
    let mut wearers = BTreeMap::new();
    for row in table.rows() {
        let sensor = row.number("sensor_no") as usize;
        let wearer: u32 = row.text("wearer").bytes().map(u32::from).sum();
        wearers.insert(sensor, wearer as usize);
        sites
            .entry(row.text("site").to_owned())
            .or_default()
            .push(DelayPoint {
                sensor,
                level: row.number("level"),
                ratio: row.number("ratio"),
                slope: row.number("slope"),
                wide_slope: row.number("wide_slope"),
            });
    }
    let delays = output.table("site_delay");
    assert!(delays.lines.len() >= 5);
    for row in delays.rows() {
        let delay = first_order_delay(&sites[row.text("site")]);
        let interval = delay.and_then(|d| d.interval);
        close_or_missing(
            row.maybe("delay_minutes"),
            delay.map(|d| d.minutes),
            1e-7,
            "delay",
        );
        close_or_missing(row.maybe("lower"), interval.map(|i| i.lower), 1e-7, "lower");
        close_or_missing(row.maybe("upper"), interval.map(|i| i.upper), 1e-7, "upper");
    }
    let differences = output.table("site_delay_differences");
    holm_agrees(&differences);
    for row in differences.rows() {
        let points = |column: &str| &sites[row.text(column)];
        let apart = delay_difference(points("first_site"), points("second_site"), |sensor| {
            wearers[&sensor]
        })
        .unwrap();
        close(
            row.number("difference_minutes"),
            apart.minutes,
            1e-7,
            "difference",
        );
        close_or_missing(
            row.maybe("lower"),
            apart.interval.map(|i| i.lower),
            1e-7,
            "lower",
        );
        close_or_missing(row.maybe("p"), apart.p, 1e-7, "p");
    }
}

#[test]
fn means_over_pairs_of_sensors() {
    let output = &KNOWN.1;
    let pairs = output.table("simultaneous_sensors");
    let sites = output.table("simultaneous_sites");
    assert!(pairs.lines.len() > 5 && sites.lines.len() > 3);
    let mut used = 0;
    for row in sites.rows() {
        let wanted = ["first_site", "second_site"].map(|column| (column, row.text(column)));
        let mut rows = pairs.rows_where(&wanted);
        rows.retain(|pair| pair.number("hours") >= 6.0);
        used += rows.len();
        let values: Vec<SensorPair> = rows
            .iter()
            .map(|pair| SensorPair {
                value: pair.number("percent"),
                first: pair.number("first_no") as usize,
                second: pair.number("second_no") as usize,
                wearer: pair.text("wearer").bytes().map(usize::from).sum(),
            })
            .collect();
        let mean = pair_mean(&values).unwrap();
        close(row.number("percent"), mean.mean, EQUAL, "mean");
        close_or_missing(
            row.maybe("percent_upper"),
            mean.interval().map(|i| i.upper),
            1e-8,
            "upper",
        );
    }
    assert!(used > 5);
}
