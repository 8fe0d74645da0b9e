//! Published survival data as study folders: the groups are sites, the subjects sensors, the times days.

use crate::fixture::{
    IN_UTC, Output, Row, Study, Table, close, close_or_missing, published, quantity,
};

/// Digits of the published curves, as `tests/published/README.md` says.
const CURVE: f64 = 1e-9;

/// Digits of the published log-rank chi-squares.
const CHI_SQUARE: f64 = 1e-8;

/// A follow-up: site, days, cause of the end.
struct Life {
    site: String,
    days: f64,
    cause: &'static str,
}

/// The instant so many days after 1 January 2026, to the microsecond.
fn after(days: f64) -> String {
    let start: jiff::Timestamp = "2026-01-01T00:00:00Z".parse().unwrap();
    let micros = start.as_microsecond() + (days * 86_400e6).round() as i64;
    jiff::Timestamp::from_microsecond(micros)
        .unwrap()
        .to_string()
}

fn study(rated_days: f64, sites: &[&str], lives: &[Life]) -> Study {
    let mut settings = format!("{IN_UTC}[wear]\nrated_days = {rated_days}\n");
    for site in sites {
        settings += &format!("[sites.{site}]\n");
    }
    let mut events = "sensor,time,event,site,cause\n".to_owned();
    for (number, life) in lives.iter().enumerate() {
        events += &format!("s{number},{},insert,{},\n", after(0.0), life.site);
        events += &format!("s{number},{},end,,{}\n", after(life.days), life.cause);
    }
    let study = Study::new(&settings);
    study.write("wear-events/all.csv", events);
    study
}

/// Lives from a published file: `event` of 1 comes off, all else is censored.
fn lives(data: &Table, group: &str, site_of: impl Fn(&str) -> String) -> Vec<Life> {
    data.rows()
        .map(|row| Life {
            site: site_of(row.text(group)),
            days: row.number("time"),
            cause: if row.text("event") == "1" {
                "fell-off"
            } else {
                "chosen"
            },
        })
        .collect()
}

fn assert_curve(output: &Output, expected: &Table, group: &str, site_of: impl Fn(&str) -> String) {
    let curve = output.table("site_survival");
    assert_eq!(curve.lines.len(), expected.lines.len());
    for row in expected.rows() {
        let site = site_of(row.text(group));
        let day = row.number("time");
        let what = format!("{site} at {day}");
        let found: Vec<Row<'_>> = curve
            .rows_where(&[("site", &site)])
            .into_iter()
            .filter(|found| (found.number("day") - day).abs() < CURVE)
            .collect();
        assert_eq!(found.len(), 1, "{what}");
        let found = &found[0];
        for (ours, theirs) in [
            ("at_risk", "n_risk"),
            ("detached", "n_event"),
            ("censored", "n_censor"),
        ] {
            assert_eq!(found.number(ours), row.number(theirs), "{ours} of {what}");
        }
        for (ours, theirs) in [
            ("survival", "surv"),
            ("std_error", "std_err_greenwood"),
            ("lower", "lower_loglog"),
            ("upper", "upper_loglog"),
        ] {
            let message = format!("{ours} of {what}");
            close_or_missing(found.maybe(ours), row.maybe(theirs), CURVE, &message);
        }
    }
}

fn assert_log_rank(output: &Output, expected: &Table) {
    let test = output.table("site_wear_test");
    let row = test.row(&[]);
    let chi_square = quantity(expected, "logrank_chisq");
    close(
        row.number("chi_square"),
        chi_square,
        CHI_SQUARE,
        "chi-square",
    );
    close(
        row.number("p"),
        quantity(expected, "logrank_p"),
        CHI_SQUARE,
        "p",
    );
    assert_eq!(row.text("df"), "1");
}

fn freireich_site(arm: &str) -> String {
    match arm {
        "6-MP" => "forearm",
        "placebo" => "chest",
        other => panic!("{other}"),
    }
    .to_owned()
}

fn freireich(rated_days: f64) -> Output {
    let data = published("km_freireich_data");
    study(rated_days, &[], &lives(&data, "arm", freireich_site)).report()
}

/// Freireich et al. 1963 Blood 21:699, remission in weeks: 42 patients, R survival and lifelines agree.
#[test]
fn remission_curve_and_log_rank() {
    let output = freireich(40.0);
    assert_curve(
        &output,
        &published("km_freireich_expected_curve"),
        "group",
        freireich_site,
    );
    let tests = published("km_freireich_expected_tests");
    assert_log_rank(&output, &tests);

    let wear = output.table("site_wear");
    for (arm, sessions, events) in [("6-MP", "21", "9"), ("placebo", "21", "21")] {
        let row = wear.row(&[("site", &freireich_site(arm))]);
        assert_eq!(
            (row.text("sessions"), row.text("detached")),
            (sessions, events)
        );
    }
}

/// The exact permutation p of the log-rank scores is 2.6e-5 to 3.3e-5 (R coin): of 10,000 draws, more than five
/// as extreme have a probability under 1e-5.
#[test]
fn remission_permutation_p() {
    let output = freireich(40.0);
    let p = output
        .table("site_wear_test")
        .row(&[])
        .number("p_permutation");
    assert!(
        (1.0 / 10_001.0..=6.0 / 10_001.0).contains(&(p * (1.0 + 1e-12))),
        "{p}"
    );
}

#[test]
fn remission_median_and_survival_at_days() {
    let output = freireich(40.0);
    let wear = output.table("site_wear");
    let quantiles = published("km_freireich_expected_quantiles");
    let curve = published("km_freireich_expected_curve");
    for arm in ["6-MP", "placebo"] {
        let row = wear.row(&[("site", &freireich_site(arm))]);
        let median = quantiles.row(&[("group", arm), ("conf_type", "log-log"), ("prob", "0.5")]);
        close(
            row.number("median_days"),
            median.number("quantile"),
            CURVE,
            arm,
        );
        for day in [7.0, 10.0] {
            let last = curve
                .rows_where(&[("group", arm)])
                .into_iter()
                .rfind(|point| point.number("time") <= day)
                .unwrap();
            for (suffix, theirs) in [
                ("", "surv"),
                ("_lower", "lower_loglog"),
                ("_upper", "upper_loglog"),
            ] {
                let column = format!("survival_{day}{suffix}");
                close(row.number(&column), last.number(theirs), CURVE, &column);
            }
        }
    }
    let placebo = wear.row(&[("site", "chest")]);
    close(
        placebo.number("survival_rated"),
        0.0,
        0.0,
        "all placebo remissions ended",
    );
    assert_eq!(placebo.maybe("survival_rated_lower"), None);
    let treated = wear.row(&[("site", "forearm")]);
    assert_eq!(
        treated.maybe("survival_rated"),
        None,
        "follow-up ends at 35"
    );
}

fn assert_restricted_mean(output: &Output, site: &str, expected: &Row<'_>) {
    let wear = output.table("site_wear");
    let row = wear.row(&[("site", site)]);
    let what = format!("{site} to {}", expected.text("tau"));
    close(
        row.number("rmst_days"),
        expected.number("rmst"),
        CURVE,
        &what,
    );
    close(
        row.number("rmst_se"),
        expected.number("se_rmst"),
        CURVE,
        &what,
    );
}

#[test]
fn remission_restricted_means() {
    let expected = published("km_freireich_expected_rmst");
    for tau in [10.0, 20.0, 23.0, 35.0] {
        let output = freireich(tau);
        for row in expected.rows().filter(|row| row.number("tau") == tau) {
            assert_restricted_mean(&output, &freireich_site(row.text("group")), &row);
        }
    }
}

/// With rated wear of 20 days the curve is the published one up to there, and the rest is censored at 20.
#[test]
fn remission_ends_at_rated_wear() {
    let output = freireich(20.0);
    let curve = output.table("site_survival");
    let expected = published("km_freireich_expected_curve");
    let published_point = expected
        .rows_where(&[("group", "6-MP")])
        .into_iter()
        .rfind(|row| row.number("time") < 20.0)
        .unwrap();
    let rows = curve.rows_where(&[("site", "forearm")]);
    let last = rows.last().unwrap();
    close(last.number("day"), 20.0, CURVE, "last day");
    close(
        last.number("survival"),
        published_point.number("surv"),
        CURVE,
        "survival",
    );
    // At risk from 20 weeks on: the times 20, 22, 23, 25, 32, 32, 34 and 35 of the published list.
    assert_eq!(
        (last.number("at_risk"), last.number("censored")),
        (8.0, 8.0)
    );
}

fn aml_site(arm: &str) -> String {
    match arm {
        "Maintained" => "calf",
        "Nonmaintained" => "abdomen",
        other => panic!("{other}"),
    }
    .to_owned()
}

/// Miller 1981, as in R survival: 23 patients with acute myelogenous leukaemia.
#[test]
fn maintenance_curve_log_rank_and_means() {
    let data = published("km_aml_data");
    let output = study(161.0, &[], &lives(&data, "arm", aml_site)).report();
    assert_curve(
        &output,
        &published("km_aml_expected_curve"),
        "group",
        aml_site,
    );
    assert_log_rank(&output, &published("km_aml_expected_tests"));
    let wear = output.table("site_wear");
    for arm in ["Maintained", "Nonmaintained"] {
        let quantiles = published("km_aml_expected_quantiles");
        let median = quantiles.row(&[("group", arm), ("conf_type", "log-log"), ("prob", "0.5")]);
        let row = wear.row(&[("site", &aml_site(arm))]);
        close(
            row.number("median_days"),
            median.number("quantile"),
            CURVE,
            arm,
        );
    }
    let means = published("km_aml_expected_rmst");
    let whole = means.row(&[("group", "Maintained"), ("tau", "161")]);
    assert_restricted_mean(&output, "calf", &whole);
}

fn edge_site(case: &str) -> String {
    case.replace('_', "-")
}

/// Eight cases that can be checked by hand (R survival): plateaus at one half, ties, nothing but censoring.
#[test]
fn tiny_cases() {
    let data = published("km_edge_data");
    let means = published("km_edge_expected_rmst");
    let mut sites: Vec<String> = data.rows().map(|row| edge_site(row.text("case"))).collect();
    sites.dedup();
    let sites: Vec<&str> = sites.iter().map(String::as_str).collect();
    assert_eq!(sites.len(), 8);
    let lives = lives(&data, "case", edge_site);

    let output = study(40.0, &sites, &lives).report();
    assert_curve(
        &output,
        &published("km_edge_expected_curve"),
        "case",
        edge_site,
    );
    let wear = output.table("site_wear");
    for row in published("km_edge_expected_quantiles").rows_where(&[("prob", "0.5")]) {
        let site = edge_site(row.text("case"));
        let ours = wear.row(&[("site", &site)]).maybe("median_days");
        close_or_missing(ours, row.maybe("quantile"), CURVE, &site);
    }

    let mut taus: Vec<f64> = means.rows().map(|row| row.number("tau")).collect();
    taus.sort_by(f64::total_cmp);
    taus.dedup();
    for tau in taus {
        let output = study(tau, &sites, &lives).report();
        for row in means.rows().filter(|row| row.number("tau") == tau) {
            assert_restricted_mean(&output, &edge_site(row.text("case")), &row);
        }
    }
}

fn assert_incidence(data: &str, group: &str, expected: &str, sites: &[(&str, &str)]) {
    let site_of = |name: &str| {
        let found = sites.iter().find(|(theirs, _)| *theirs == name);
        found.unwrap_or_else(|| panic!("{name}")).1.to_owned()
    };
    let cause_of = |code: &str| match code {
        "1" => ("lifted", "detached"),
        "2" => ("sensor-fault", "sensor-fault"),
        _ => ("completed", ""),
    };
    let data = published(data);
    let lives: Vec<Life> = data
        .rows()
        .map(|row| Life {
            site: site_of(row.text(group)),
            days: row.number("time"),
            cause: cause_of(row.text("status")).0,
        })
        .collect();
    let longest = lives.iter().map(|life| life.days).fold(0.0, f64::max);
    let output = study(longest + 1.0, &[], &lives).report();
    let incidence = output.table("site_incidence");
    let mut compared = 0;
    for row in published(expected).rows() {
        if row.number("n_event_cause") == 0.0 {
            continue;
        }
        compared += 1;
        let (site, cause) = (site_of(row.text("group")), cause_of(row.text("cause")).1);
        let day = row.number("time");
        let what = format!("{cause} at {site} on {day}");
        let found = incidence
            .rows_where(&[("site", &site), ("cause", cause)])
            .into_iter()
            .find(|found| (found.number("day") - day).abs() < CURVE);
        let found = found.unwrap_or_else(|| panic!("{what} is missing"));
        close(found.number("incidence"), row.number("cif"), CURVE, &what);
        close(
            found.number("std_error"),
            row.number("std_err"),
            CURVE,
            &what,
        );
    }
    assert_eq!(incidence.lines.len(), compared, "rows at other times");
}

/// Scrucca, Santucci, Aversa 2007 Bone Marrow Transplant 40:381: relapse and death after transplant; incidence and
/// delta-method errors by two libraries.
#[test]
fn incidence_after_transplant() {
    let sites = [("0", "upper-thigh"), ("1", "lower-back")];
    assert_incidence(
        "cr_bmt_data",
        "disease",
        "cr_bmt_expected_cif_survival",
        &sites,
    );
}

/// The first 200 subjects of `mgus2` of R survival, by sex: progression and death.
#[test]
fn incidence_of_progression() {
    let sites = [("F", "upper-thigh"), ("M", "lower-back")];
    let expected = "cr_mgus2first200_expected_cif_survival";
    assert_incidence("cr_mgus2first200_data", "sex", expected, &sites);
}
