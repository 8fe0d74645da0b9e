//! The edges of wear and of pairing, each worked by hand.

use crate::fixture::{IN_UTC, Study, close};

/// A sensor worn for a day from 10:00, with these readings and fingersticks.
fn day(settings: &str, readings: &[&str], fingersticks: &[&str]) -> Study {
    let study = Study::new(&format!("{IN_UTC}{settings}"));
    study
        .write(
            "wear-events/e.csv",
            "sensor,time,event,site,cause\n\
             a,2026-03-01T10:00:00Z,insert,calf,\n\
             a,2026-03-02T10:00:00Z,end,,chosen\n\
             z,2026-03-03T10:00:00Z,insert,chest,\n",
        )
        .write(
            "readings/r.csv",
            format!("sensor,time,glucose,status\n{}\n", readings.join("\n")),
        )
        .write(
            "fingersticks/f.csv",
            format!("time,glucose,purpose\n{}\n", fingersticks.join("\n")),
        );
    study
}

/// Fingerstick and reading times of the pairs, by their clock.
fn pairs(study: &Study) -> Vec<(String, String)> {
    let pairs = study.report().table("pairs");
    let clock = |text: &str| text[11..].trim_end_matches('Z').to_owned();
    pairs
        .rows()
        .map(|row| {
            (
                clock(row.text("fingerstick_time")),
                clock(row.text("reading_time")),
            )
        })
        .collect()
}

fn assert_pairs(study: &Study, expected: &[(&str, &str)]) {
    let found = pairs(study);
    let found: Vec<(&str, &str)> = found
        .iter()
        .map(|(a, b)| (a.as_str(), b.as_str()))
        .collect();
    assert_eq!(found, expected);
}

#[test]
fn warm_up_is_over_after_an_hour() {
    let study = day(
        "",
        &[
            "a,2026-03-01T10:30:00Z,100,ok",
            "a,2026-03-01T10:59:59Z,100,ok",
            "a,2026-03-01T11:04:00Z,100,ok",
        ],
        &["2026-03-01T10:30:00Z,90,", "2026-03-01T11:00:00Z,90,"],
    );
    assert_pairs(&study, &[("11:00:00", "11:04:00")]);
    let exactly = day(
        "",
        &["a,2026-03-01T11:00:00Z,100,ok"],
        &["2026-03-01T10:58:00Z,90,"],
    );
    assert_pairs(&exactly, &[("10:58:00", "11:00:00")]);
    let longer = "[wear]\nwarmup_hours = 2\n";
    let study = day(
        longer,
        &["a,2026-03-01T11:59:00Z,100,ok"],
        &["2026-03-01T11:59:00Z,90,"],
    );
    assert_pairs(&study, &[]);
    let own = "[wearers.wearer-1]\nwarmup_hours = 0\n";
    let study = day(
        own,
        &["a,2026-03-01T10:00:00Z,100,ok"],
        &["2026-03-01T10:00:00Z,90,"],
    );
    assert_pairs(&study, &[("10:00:00", "10:00:00")]);
}

#[test]
fn the_nearest_reading_and_of_two_as_near_the_earlier() {
    let study = day(
        "",
        &[
            "a,2026-03-01T11:57:00Z,100,ok",
            "a,2026-03-01T12:03:00Z,110,ok",
            "a,2026-03-01T12:58:00Z,100,ok",
            "a,2026-03-01T13:01:59Z,110,ok",
        ],
        &["2026-03-01T12:00:00Z,90,", "2026-03-01T13:00:00Z,90,"],
    );
    assert_pairs(
        &study,
        &[("12:00:00", "11:57:00"), ("13:00:00", "13:01:59")],
    );
}

#[test]
fn a_reading_five_minutes_away_still_pairs() {
    let readings = [
        "a,2026-03-01T13:05:00Z,100,ok",
        "a,2026-03-01T14:05:01Z,100,ok",
        "a,2026-03-01T15:09:00Z,100,ok",
    ];
    let fingersticks = [
        "2026-03-01T13:00:00Z,90,",
        "2026-03-01T14:00:00Z,90,",
        "2026-03-01T15:00:00Z,90,",
    ];
    assert_pairs(
        &day("", &readings, &fingersticks),
        &[("13:00:00", "13:05:00")],
    );
    let wider = day("[pairing]\nminutes = 9\n", &readings, &fingersticks);
    assert_eq!(pairs(&wider).len(), 3);
}

#[test]
fn only_good_readings_and_only_drops_of_blood_pair() {
    let study = day(
        "",
        &[
            "a,2026-03-01T15:00:00Z,40,low",
            "a,2026-03-01T15:01:00Z,400,high",
            "a,2026-03-01T15:02:00Z,100,error",
            "a,2026-03-01T15:03:00Z,100,warmup",
            "a,2026-03-01T15:04:00Z,100,",
            "a,2026-03-01T16:00:00Z,100,ok",
        ],
        &[
            "2026-03-01T15:00:00Z,90,routine",
            "2026-03-01T15:59:00Z,90,calibration",
            "2026-03-01T16:00:00Z,90,control",
            "2026-03-01T16:01:00Z,90,doubt",
            "2026-03-01T16:02:00Z,90,alarm",
            "2026-03-01T16:03:00Z,90,",
        ],
    );
    assert_pairs(
        &study,
        &[
            ("15:00:00", "15:04:00"),
            ("16:01:00", "16:00:00"),
            ("16:02:00", "16:00:00"),
            ("16:03:00", "16:00:00"),
        ],
    );
}

#[test]
fn worn_to_the_end_and_no_longer() {
    let study = day(
        "",
        &[
            "a,2026-03-02T09:56:00Z,100,ok",
            "a,2026-03-02T10:01:00Z,120,ok",
        ],
        &["2026-03-02T10:00:00Z,90,", "2026-03-02T10:00:01Z,90,"],
    );
    assert_pairs(&study, &[("10:00:00", "09:56:00")]);
}

#[test]
fn a_fingerstick_pairs_with_every_sensor_that_its_wearer_wears() {
    let study = Study::new(IN_UTC);
    study
        .write(
            "wear-events/e.csv",
            "wearer,sensor,time,event,site\n\
             ana,a,2026-03-01T10:00:00Z,insert,calf\n\
             ana,b,2026-03-01T10:00:00Z,insert,chest\n\
             rui,a,2026-03-01T10:00:00Z,insert,forearm\n",
        )
        .write(
            "readings/r.csv",
            "wearer,sensor,time,glucose\n\
             ana,a,2026-03-01T12:01:00Z,100\n\
             ana,b,2026-03-01T12:02:00Z,110\n\
             rui,a,2026-03-01T12:00:00Z,120\n",
        )
        .write(
            "fingersticks/f.csv",
            "wearer,time,glucose\nana,2026-03-01T12:00:00Z,80\n",
        );
    let pairs = study.report().table("pairs");
    let row = |site: &str| {
        let row = pairs.row(&[("site", site)]);
        (
            row.text("wearer").to_owned(),
            row.number("difference"),
            row.number("relative_difference"),
        )
    };
    assert_eq!(pairs.lines.len(), 2);
    assert_eq!(row("calf"), ("ana".to_owned(), 20.0, 0.25));
    assert_eq!(row("chest"), ("ana".to_owned(), 30.0, 0.375));
}

/// Within 20/20: 20 mg/dL below 100 mg/dL, 20 % from there on; a pair exactly at the limit is within.
#[test]
fn shares_at_their_limits() {
    let settings = "";
    let cases = [
        (99.0, 119.0, true),
        (99.0, 119.1, false),
        (100.0, 120.0, true),
        (100.0, 80.0, true),
        (150.0, 180.0, true),
        (150.0, 180.1, false),
        (60.0, 80.0, true),
    ];
    let mut readings = Vec::new();
    let mut fingersticks = Vec::new();
    for (number, (fingerstick, reading, _)) in cases.iter().enumerate() {
        readings.push(format!(
            "a,2026-03-01T12:{:02}:00Z,{reading},ok",
            8 * number
        ));
        fingersticks.push(format!(
            "2026-03-01T12:{:02}:00Z,{fingerstick},",
            8 * number
        ));
    }
    let text = |rows: &[String]| rows.join("\n");
    let study = day(settings, &[&text(&readings)], &[&text(&fingersticks)]);
    let accuracy = study.report().table("site_accuracy");
    let row = accuracy.row(&[]);
    close(row.number("within_20_20"), 5.0 / 7.0, 1e-12, "within 20/20");
    // Plain 20 %: 99 by 119 is 20.2 %, 60 by 80 a third.
    close(
        row.number("within_20_percent"),
        3.0 / 7.0,
        1e-12,
        "within 20 %",
    );
    close(row.number("within_40_40"), 1.0, 1e-12, "within 40/40");
    // 15/15 none: every case but none lies at least 20 off.
    close(row.number("within_15_15"), 0.0, 1e-12, "within 15/15");
}

#[test]
fn sessions_without_an_end() {
    let study = Study::new(IN_UTC);
    study
        .write(
            "wear-events/e.csv",
            "sensor,time,event,site,cause\n\
             on,2026-03-01T00:00:00Z,insert,calf,\n\
             lost,2026-03-01T00:00:00Z,insert,calf,\n\
             silent,2026-03-01T00:00:00Z,insert,chest,\n\
             brief,2026-03-01T00:00:00Z,insert,chest,\n\
             brief,2026-03-01T00:00:00Z,end,,not-started\n",
        )
        .write(
            "readings/r.csv",
            "sensor,time,glucose\n\
             on,2026-03-05T00:00:00Z,100\n\
             lost,2026-03-04T00:00:00Z,100\n\
             on,2026-03-04T00:00:01Z,100\n",
        );
    let output = study.report();
    let sessions = output.table("sessions");
    let days = |sensor: &str| sessions.row(&[("sensor", sensor)]).number("days");
    assert_eq!(
        (days("on"), days("lost"), days("silent"), days("brief")),
        (4.0, 3.0, 0.0, 0.0)
    );
    for sensor in ["on", "lost", "silent"] {
        let row = sessions.row(&[("sensor", sensor)]);
        assert_eq!(
            (row.text("ended"), row.text("cause"), row.text("detached")),
            ("", "", "0")
        );
    }
    // The last reading of `lost` is exactly 24 h before the cut-off.
    assert_eq!(
        output.table("lost_sensors").column("sensor"),
        ["lost", "silent"]
    );
}

/// Cut-off on 1 April 2026, 00:00 UTC: an end then counts, one a second later has not happened yet.
#[test]
fn the_cut_off_itself_is_used() {
    let study = Study::new(IN_UTC);
    study
        .write(
            "wear-events/e.csv",
            "sensor,time,event,site,cause\n\
             a,2026-03-30T00:00:00Z,insert,calf,\n\
             a,2026-04-01T00:00:00Z,end,,lifted\n\
             b,2026-03-30T00:00:00Z,insert,chest,\n\
             b,2026-04-01T00:00:01Z,end,,lifted\n",
        )
        .write(
            "readings/r.csv",
            "sensor,time,glucose\n\
             b,2026-03-31T12:00:00Z,100\n\
             b,2026-04-01T00:00:00Z,101\n\
             b,2026-04-01T00:00:01Z,102\n",
        )
        .write(
            "fingersticks/f.csv",
            "time,glucose\n2026-04-01T00:00:00Z,90\n2026-04-01T00:00:01Z,90\n",
        );
    let output = study.report_with(&["--month", "2026-03"]);
    let sessions = output.table("sessions");
    let a = sessions.row(&[("sensor", "a")]);
    assert_eq!(
        (a.text("cause"), a.number("days"), a.text("detached")),
        ("lifted", 2.0, "1")
    );
    let b = sessions.row(&[("sensor", "b")]);
    assert_eq!(
        (b.text("cause"), b.text("ended"), b.number("days")),
        ("", "", 2.0)
    );
    let pairs = output.table("pairs");
    assert_eq!(pairs.column("reading_time"), ["2026-04-01T00:00:00Z"]);
    assert_eq!(pairs.column("fingerstick_time"), ["2026-04-01T00:00:00Z"]);
}

/// Rated wear of 14 days, of model `Ten` 10: a sensor that comes off later is no event any more.
#[test]
fn detached_after_the_rated_days() {
    let study = Study::new(&format!("{IN_UTC}[models.\"Ten\"]\nrated_days = 10\n"));
    study.write(
        "wear-events/e.csv",
        "sensor,time,event,site,cause,model\n\
         a,2026-03-01T00:00:00Z,insert,calf,,\n\
         a,2026-03-15T00:00:00Z,end,,fell-off,\n\
         b,2026-03-01T00:00:00Z,insert,calf,,\n\
         b,2026-03-15T00:00:01Z,end,,fell-off,\n\
         c,2026-03-01T00:00:00Z,insert,calf,,Ten\n\
         c,2026-03-13T00:00:00Z,end,,fell-off,\n\
         d,2026-03-01T00:00:00Z,insert,calf,,Other\n\
         d,2026-03-13T00:00:00Z,end,,fell-off,\n",
    );
    let output = study.report();
    assert_eq!(output.table("sessions").column("detached"), ["1"; 4]);
    let survival = output.table("site_survival");
    let points: Vec<(f64, f64, f64, f64)> = survival
        .rows()
        .map(|row| {
            (
                row.number("day"),
                row.number("at_risk"),
                row.number("detached"),
                row.number("censored"),
            )
        })
        .collect();
    assert_eq!(
        points,
        [
            (10.0, 4.0, 0.0, 1.0),
            (12.0, 3.0, 1.0, 0.0),
            (14.0, 2.0, 1.0, 1.0)
        ]
    );
    let values: Vec<f64> = survival.rows().map(|row| row.number("survival")).collect();
    // 1, then 2/3, then 2/3 of one half.
    for (value, expected) in values.iter().zip([1.0, 2.0 / 3.0, 1.0 / 3.0]) {
        close(*value, expected, 1e-12, "survival");
    }
    let wear = output.table("site_wear");
    let row = wear.row(&[]);
    assert_eq!((row.text("sessions"), row.text("detached")), ("4", "2"));
    close(row.number("survival_10"), 1.0, 1e-12, "day 10");
    assert_eq!(
        (
            row.maybe("survival_10_lower"),
            row.maybe("survival_10_upper")
        ),
        (None, None)
    );
    close(row.number("survival_rated"), 1.0 / 3.0, 1e-12, "rated");
    close(
        row.number("rmst_days"),
        12.0 + 2.0 * 2.0 / 3.0,
        1e-12,
        "restricted mean",
    );
    let incidence = output.table("site_incidence");
    let steps: Vec<(f64, f64)> = incidence
        .rows()
        .map(|row| (row.number("day"), row.number("incidence")))
        .collect();
    assert_eq!(steps.len(), 2);
    close(steps[1].1, 2.0 / 3.0, 1e-12, "incidence at 14");
}

#[test]
fn tests_that_have_nothing_to_compare() {
    let study = Study::new(IN_UTC);
    let events = |site: &str| {
        format!(
            "sensor,time,event,site,cause\n\
             a,2026-03-01T00:00:00Z,insert,calf,\na,2026-03-05T00:00:00Z,end,,fell-off\n\
             b,2026-03-01T00:00:00Z,insert,{site},\nb,2026-03-07T00:00:00Z,end,,completed\n"
        )
    };
    study.write("wear-events/e.csv", events("calf"));
    assert_eq!(
        study.report().table("site_wear_test").lines.len(),
        0,
        "one site"
    );
    study.write(
        "wear-events/e.csv",
        events("chest").replace("fell-off", "completed"),
    );
    assert_eq!(
        study.report().table("site_wear_test").lines.len(),
        0,
        "no event"
    );

    // Two wearers, a site each: neither can tell their site from themselves.
    let apart = |text: &str| {
        text.replace("sensor,", "wearer,sensor,")
            .replace("\na,", "\nana,a,")
            .replace("\nb,", "\nrui,b,")
    };
    study.write("wear-events/e.csv", apart(&events("chest")));
    assert_eq!(
        study.report().table("site_wear_test").lines.len(),
        0,
        "two strata of one site each"
    );

    // Of one wearer, by hand: one event among two at risk, expected 1/2, variance 1/4, chi-square 1, p 0.3173.
    study.write("wear-events/e.csv", events("chest"));
    let test = study.report().table("site_wear_test");
    let row = test.row(&[]);
    close(row.number("chi_square"), 1.0, 1e-12, "chi-square");
    close(
        row.number("p"),
        0.317_310_507_862_914,
        1e-9,
        "p of a normal deviate beyond one",
    );
    // Both arrangements of two labels are as extreme.
    close(row.number("p_permutation"), 1.0, 1e-12, "all arrangements");
}
