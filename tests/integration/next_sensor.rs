//! Two routes to what is foretold of the next sensor: the SQL of the program, and the statistics called directly.

use std::sync::LazyLock;

use whereworn_stats::prediction::level::next_level;
use whereworn_stats::prediction::usable_days::next_days;

use crate::fixture::{Row, Study, Table, close, close_or_missing};

const EQUAL: f64 = 1e-9;

/// `next_sensor`, `compared_pairs` and `lives` of an invented study of three wearers.
static STUDY: LazyLock<[Table; 3]> = LazyLock::new(|| {
    let study = Study::demo("3", "24", "15", "5");
    ["next_sensor", "compared_pairs", "lives"]
        .map(|table| study.sql(&format!("SELECT * FROM {table}")))
});

/// The rows of a site, of any wearer or of one.
fn of<'a>(table: &'a Table, row: &Row<'_>) -> Vec<Row<'a>> {
    let (site, wearer) = (row.text("site"), row.text("wearer"));
    let mut rows = table.rows_where(&[("site", site)]);
    rows.retain(|row| wearer.is_empty() || row.text("wearer") == wearer);
    rows
}

#[test]
fn each_site_and_wearer() {
    let [table, pairs, lives] = &*STUDY;
    let (mut read, mut worn, mut wearers) = (0, 0, 0);
    for row in table.rows() {
        let what = format!("{} {}", row.text("site"), row.text("wearer"));
        wearers += usize::from(!row.text("wearer").is_empty());
        let own = of(pairs, &row);
        let percent: Vec<f64> = own
            .iter()
            .map(|pair| 100.0 * pair.number("relative_difference"))
            .collect();
        let sensors: Vec<usize> = own
            .iter()
            .map(|pair| pair.number("sensor_no") as usize)
            .collect();
        let next = next_level(&percent, &sensors, 15.0);
        read += usize::from(next.is_some());
        for (name, expected) in [
            ("bias", next.map(|n| n.mean)),
            ("bias_lower", next.map(|n| n.prediction.lower)),
            ("bias_upper", next.map(|n| n.prediction.upper)),
            ("beyond_15", next.map(|n| n.beyond.value)),
            ("beyond_15_lower", next.map(|n| n.beyond.interval.lower)),
            ("beyond_15_upper", next.map(|n| n.beyond.interval.upper)),
            ("tolerance_lower", next.map(|n| n.tolerance.lower)),
            ("tolerance_upper", next.map(|n| n.tolerance.upper)),
            ("other_way", next.map(|n| n.other_way.value)),
            ("other_way_bound", next.map(|n| n.other_way.upper_bound)),
        ] {
            close_or_missing(row.maybe(name), expected, 1e-6, &format!("{what} {name}"));
        }
        let agree = next.map_or("", |n| if n.agree() { "yes" } else { "no" });
        assert_eq!(row.text("agree"), agree, "{what}");
        let own = of(lives, &row);
        close(row.number("sessions"), own.len() as f64, 0.0, &what);
        let days: Vec<f64> = own.iter().map(|life| life.number("day")).collect();
        let ended: Vec<bool> = own
            .iter()
            .map(|life| life.number("any_ending") > 0.0)
            .collect();
        let next = next_days(&days, &ended, 14.0);
        worn += usize::from(next.is_some());
        for (name, expected) in [
            ("days_lower", next.map(|n| n.prediction.lower)),
            ("days_median", next.map(|n| n.median)),
            ("days_upper", next.map(|n| n.prediction.upper)),
            ("reaches_rated", next.map(|n| n.reaches)),
        ] {
            close_or_missing(row.maybe(name), expected, EQUAL, &format!("{what} {name}"));
        }
    }
    assert!(
        read > 3 && worn > 3 && wearers > 3,
        "{read} {worn} {wearers}"
    );
}
