//! Tables on how long sensors stay on: published data through the whole program, and two routes to one number.

use std::sync::LazyLock;

use whereworn_stats::survival::beta_product::BetaProduct;
use whereworn_stats::survival::kaplan_meier::truncate;

use crate::fixture::{IN_UTC, Output, Row, Study, close, close_or_missing, published, quantity};

const EQUAL: f64 = 1e-9;
const RATED_DAYS: f64 = 14.0;

/// Sensors of published follow-ups, one a row: site, days, cause of the end.
fn report_of(lives: impl Iterator<Item = (&'static str, f64, &'static str)>) -> Output {
    let study = Study::new(&format!("{IN_UTC}[wear]\nrated_days = 100\n"));
    let start: jiff::Timestamp = "2026-01-01T00:00:00Z".parse().unwrap();
    let mut events = "sensor,time,event,site,cause\n".to_owned();
    for (number, (site, days, cause)) in lives.enumerate() {
        let end =
            jiff::Timestamp::from_second(start.as_second() + (days * 86_400.0) as i64).unwrap();
        events += &format!("s{number},{start},insert,{site},\ns{number},{end},end,,{cause}\n");
    }
    study.write("wear-events/all.csv", events);
    study.report()
}

/// Freireich et al. 1963 Blood 21:699: hazard ratio by Cox's model with Efron's ties, R survival and lifelines agree.
#[test]
fn remission_hazard_ratio() {
    let data = published("km_freireich_data");
    let output = report_of(data.rows().map(|row| {
        let site = if row.text("arm") == "6-MP" {
            "forearm"
        } else {
            "chest"
        };
        let cause = if row.text("event") == "1" {
            "fell-off"
        } else {
            "chosen"
        };
        (site, row.number("time"), cause)
    }));
    let expected = published("km_freireich_expected_tests");
    let pairs = output.table("site_wear_pairs");
    let row = pairs.row(&[("site_a", "forearm"), ("site_b", "chest")]);
    close(
        row.number("hazard_ratio"),
        quantity(&expected, "cox_efron_hr_placebo_vs_6MP"),
        1e-6,
        "hazard ratio",
    );
    let error = (row.number("upper") / row.number("lower")).ln() / (2.0 * 1.959_963_984_540_054);
    close(
        error,
        quantity(&expected, "cox_efron_se"),
        1e-6,
        "standard error",
    );
    close(row.number("p"), quantity(&expected, "logrank_p"), 1e-8, "p");
    assert_eq!(
        (
            row.text("sensors"),
            row.text("detached"),
            row.text("refused")
        ),
        ("42", "30", "")
    );
}

/// Transplant data of Scrucca et al. 2007: Gray's test by R cmprsk.
#[test]
fn transplant_gray_test() {
    let data = published("cr_bmt_data");
    let output = report_of(data.rows().map(|row| {
        let site = if row.text("disease") == "0" {
            "forearm"
        } else {
            "chest"
        };
        let cause = match row.text("status") {
            "1" => "fell-off",
            "2" => "sensor-fault",
            _ => "chosen",
        };
        (site, row.number("time"), cause)
    }));
    let tests = output.table("site_incidence_test");
    for expected in published("cr_bmt_expected_gray").rows() {
        let cause = if expected.text("cause") == "1" {
            "detached"
        } else {
            "sensor-fault"
        };
        let row = tests.row(&[("cause", cause)]);
        close(
            row.number("chi_square"),
            expected.number("gray_stat"),
            1e-6,
            cause,
        );
        close(row.number("p"), expected.number("p"), 1e-6, cause);
    }
}

/// The report on a synthetic study.
static OUTPUT: LazyLock<Output> = LazyLock::new(|| Study::demo("3", "21", "15", "11").report());

/// Days up to the rated wear, and 1 for came off, 2 for another ending that competes, 0 for none.
fn life(row: &Row<'_>) -> (f64, Option<usize>) {
    let (day, ended) = truncate(
        row.number("days"),
        !row.text("cause").is_empty(),
        row.number("rated_days"),
    );
    let cause = match row.text("cause") {
        "fell-off" | "knocked-off" | "lifted" => Some(0),
        "sensor-fault" | "reaction" | "not-started" => Some(1),
        _ => None,
    };
    (day, cause.filter(|_| ended))
}

#[test]
fn headline_intervals() {
    let (sessions, comparison) = (OUTPUT.table("sessions"), OUTPUT.table("site_comparison"));
    for row in comparison.rows() {
        let site = row.text("site");
        let worn = sessions.rows_where(&[("site", site)]);
        let (days, causes): (Vec<f64>, Vec<Option<usize>>) = worn.iter().map(life).unzip();
        let free = BetaProduct::new(&days, &causes)
            .free_at(RATED_DAYS)
            .unwrap();
        let any = worn.iter().map(|row| {
            truncate(
                row.number("days"),
                !row.text("ended").is_empty(),
                row.number("rated_days"),
            )
            .1
            .then_some(0)
        });
        let usable = BetaProduct::new(&days, &any.collect::<Vec<_>>())
            .restricted_mean(RATED_DAYS)
            .unwrap();
        for (estimate, lower, upper, smallest) in [
            ("came_off", 1.0 - free.upper, 1.0 - free.lower, 2),
            ("usable_days", usable.lower, usable.upper, 3),
        ] {
            let shown = worn.len() >= smallest;
            let [low, high] = ["lower", "upper"].map(|end| row.maybe(&format!("{estimate}_{end}")));
            close_or_missing(
                low,
                shown.then_some(lower),
                EQUAL,
                &format!("{estimate} of {site}"),
            );
            close_or_missing(
                high,
                shown.then_some(upper),
                EQUAL,
                &format!("{estimate} of {site}"),
            );
            let value = row.number(estimate);
            assert!(
                !shown || (lower <= value && value <= upper),
                "{estimate} of {site}: {value} in {lower} to {upper}"
            );
        }
    }
}

/// Lost sensors only ever widen: bounds hold the estimate, and are one number where none was lost.
#[test]
fn lost_sensors_bound_the_estimate() {
    let (bounds, comparison) = (
        OUTPUT.table("site_lost_bounds"),
        OUTPUT.table("site_comparison"),
    );
    let lost = OUTPUT.table("lost_sensors");
    for row in bounds.rows() {
        let site = row.text("site");
        let estimate = comparison.row(&[("site", site)]).number("came_off");
        let (lower, upper) = (row.number("lower"), row.number("upper"));
        assert!(
            lower <= estimate + EQUAL && estimate <= upper + EQUAL,
            "{site}: {estimate} in {lower} to {upper}"
        );
        assert!(row.number("lost") as usize <= lost.rows_where(&[("site", site)]).len());
        if row.number("lost") == 0.0 {
            close(lower, upper, EQUAL, site);
        }
    }
}
