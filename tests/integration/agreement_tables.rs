//! Agreement by glucose, rate of change, day of wear, month and model: toy studies worked by hand.

use crate::fixture::{IN_UTC, Output, Study, close};

/// Quantile 0.975 of Student's t for two degrees of freedom: 0.95 √2 / √(1 - 0.95²).
const T_2: f64 = 4.302_652_729_911_275;
/// The same for four, printed in any table as 2.776.
const T_4: f64 = 2.776_445_105_197_8;

/// A study of these rows.
pub fn study(
    settings: &str,
    events: &[&str],
    readings: &[String],
    fingersticks: &[String],
) -> Study {
    let study = Study::new(settings);
    study
        .write(
            "wear-events/e.csv",
            format!(
                "sensor,time,event,site,cause,model,lot\n{}\n",
                events.join("\n")
            ),
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

/// A sensor, the time of a pair, its reading and its fingerstick.
pub type Pair<'a> = (&'a str, &'a str, f64, f64);

/// The report on these pairs, in the settings given.
pub fn of_pairs(settings: &str, events: &[&str], pairs: &[Pair<'_>]) -> Output {
    let readings: Vec<String> = pairs
        .iter()
        .map(|(sensor, time, reading, _)| format!("{sensor},{time},{reading},ok"))
        .collect();
    let fingersticks: Vec<String> = pairs
        .iter()
        .map(|(_, time, _, fingerstick)| format!("{time},{fingerstick},"))
        .collect();
    study(settings, events, &readings, &fingersticks).report()
}

/// Sensors `a`, `b` and `c`, one after the other on the calf, three days each.
pub const THREE: [&str; 6] = [
    "a,2026-03-01T00:00:00Z,insert,calf,,,",
    "a,2026-03-03T23:00:00Z,end,,completed,,",
    "b,2026-03-04T00:00:00Z,insert,calf,,,",
    "b,2026-03-06T23:00:00Z,end,,completed,,",
    "c,2026-03-07T00:00:00Z,insert,calf,,,",
    "c,2026-03-09T23:00:00Z,end,,completed,,",
];

#[test]
fn by_glucose_with_both_ends_in_the_middle() {
    let output = of_pairs(
        IN_UTC,
        &THREE,
        &[
            ("a", "2026-03-01T10:00:00Z", 79.0, 69.0),
            ("a", "2026-03-01T11:00:00Z", 70.0, 70.0),
            ("a", "2026-03-01T12:00:00Z", 198.0, 180.0),
            ("a", "2026-03-01T13:00:00Z", 181.0, 181.0),
            ("b", "2026-03-04T10:00:00Z", 64.0, 60.0),
            ("b", "2026-03-04T11:00:00Z", 115.0, 100.0),
            ("c", "2026-03-07T10:00:00Z", 56.0, 50.0),
        ],
    );
    let table = output.table("site_agreement_by_glucose");
    assert_eq!(table.column("range"), ["low", "in range", "high"]);
    let low = table.row(&[("range", "low")]);
    assert_eq!((low.text("sensors"), low.text("pairs")), ("3", "3"));
    // One pair a sensor: 10, 4 and 6 mg/dL, variance (100 + 64 + 4) / 18 = 28 / 3.
    close(low.number("bias"), 20.0 / 3.0, 1e-9, "bias");
    let half_width = T_2 * (28.0_f64 / 9.0).sqrt();
    close(
        low.number("bias_upper"),
        20.0 / 3.0 + half_width,
        1e-6,
        "upper end",
    );
    let relative = [10.0 / 69.0, 4.0 / 60.0, 0.12];
    let mard = relative.iter().sum::<f64>() / 3.0;
    close(low.number("mard"), mard, 1e-12, "mard");
    close(
        low.number("bias_percent"),
        100.0 * mard,
        1e-9,
        "relative bias",
    );
    assert_eq!(low.number("within_15_15"), 1.0);
    assert_eq!(low.number("within_20_percent"), 1.0);
    let middle = table.row(&[("range", "in range")]);
    assert_eq!((middle.text("sensors"), middle.text("pairs")), ("2", "3"));
    close(middle.number("mard"), 0.25 / 3.0, 1e-12, "mard");
    assert_eq!(middle.number("within_15_15"), 1.0, "15 % is within");
    assert_eq!(
        middle.maybe("bias_lower"),
        None,
        "two sensors, no interval here"
    );
    assert_eq!(table.row(&[("range", "high")]).text("pairs"), "1");
}

/// One pair a sensor: limits are the mean ± 1.96 standard deviations of the relative differences 10, 4 and 7 %.
#[test]
fn limits_of_agreement_in_percent() {
    let output = of_pairs(
        IN_UTC,
        &THREE,
        &[
            ("a", "2026-03-01T10:00:00Z", 110.0, 100.0),
            ("b", "2026-03-04T11:00:00Z", 208.0, 200.0),
            ("c", "2026-03-07T10:00:00Z", 53.5, 50.0),
        ],
    );
    let table = output.table("site_accuracy");
    let row = table.row(&[]);
    close(
        row.number("loa_percent_lower"),
        7.0 - 1.96 * 3.0,
        1e-9,
        "lower limit",
    );
    close(
        row.number("loa_percent_upper"),
        7.0 + 1.96 * 3.0,
        1e-9,
        "upper limit",
    );
}

#[test]
fn by_rate_of_change() {
    let at = |minute: i64| format!("2026-03-01T10:{minute:02}:00Z");
    let hour = |hour: i64, minute: i64| format!("2026-03-01T{hour}:{minute:02}:00Z");
    let mut readings: Vec<String> = Vec::new();
    // 1.2 mg/dL a minute; the reading after the paired one does not count.
    for (minute, glucose) in [(0, 100), (5, 106), (10, 112), (15, 118), (20, 400)] {
        readings.push(format!("a,{},{glucose},ok", at(minute)));
    }
    // Two readings 15 minutes apart: exactly 2, just above 2, exactly -1, below -2, and too short a span.
    for (h, from, to) in [
        (11, 100, 130),
        (12, 100, 131),
        (13, 100, 85),
        (14, 140, 100),
    ] {
        readings.push(format!("a,{},{from},ok", hour(h, 0)));
        readings.push(format!("a,{},{to},ok", hour(h, 15)));
    }
    readings.push(format!("a,{},100,ok", hour(15, 10)));
    readings.push(format!("a,{},120,ok", hour(15, 15)));
    let fingersticks: Vec<String> = (10..=15).map(|h| format!("{},100,", hour(h, 15))).collect();
    let output = study(IN_UTC, &THREE, &readings, &fingersticks).report();
    assert_eq!(output.table("pairs").lines.len(), 6);
    let table = output.table("site_agreement_by_rate");
    let found: Vec<(String, String)> = table
        .rows()
        .map(|row| (row.text("rate").to_owned(), row.text("pairs").to_owned()))
        .collect();
    let expected = [
        ("falling fast", "1"),
        ("steady", "1"),
        ("rising", "2"),
        ("rising fast", "1"),
    ];
    let expected: Vec<(String, String)> = expected
        .iter()
        .map(|(a, b)| ((*a).to_owned(), (*b).to_owned()))
        .collect();
    assert_eq!(found, expected);
}

#[test]
fn by_day_of_wear_and_by_local_month() {
    let output = of_pairs(
        "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n",
        &["a,2026-06-29T23:00:00Z,insert,calf,,,"],
        &[
            ("a", "2026-06-30T22:59:00Z", 101.0, 100.0),
            ("a", "2026-06-30T23:00:00Z", 102.0, 100.0),
            ("a", "2026-06-30T23:30:00Z", 103.0, 100.0),
        ],
    );
    let days = output.table("site_agreement_by_wear_day");
    assert_eq!(days.column("wear_day"), ["1", "2"]);
    assert_eq!(days.column("pairs"), ["1", "2"]);
    // Lisbon's midnight is 23:00 UTC in June, and ends the month that it closes.
    let months = output.table("site_agreement_by_month");
    assert_eq!(months.column("month"), ["2026-06", "2026-07"]);
    assert_eq!(months.column("pairs"), ["2", "1"]);
}

/// Relative differences of single pairs, %: on the calf 0 and 2 of the earlier model, 5 and 7 of the newer one; on the
/// chest 1 and 3, 4 and 8.
#[test]
fn models_within_a_site() {
    let mut events = Vec::new();
    let mut pairs = Vec::new();
    let levels = [
        ("K", "calf", 100.0),
        ("K", "calf", 102.0),
        ("K", "chest", 101.0),
        ("K", "chest", 103.0),
        ("M", "calf", 105.0),
        ("M", "calf", 107.0),
        ("M", "chest", 104.0),
        ("M", "chest", 108.0),
    ];
    let names: Vec<String> = (1..=8).map(|n| format!("s{n}")).collect();
    let times: Vec<String> = (1..=8)
        .map(|n| format!("2026-03-{n:02}T12:00:00Z"))
        .collect();
    for (number, (model, site, reading)) in levels.iter().enumerate() {
        let (name, day) = (&names[number], number + 1);
        events.push(format!(
            "{name},2026-03-{day:02}T06:00:00Z,insert,{site},,{model},lot {}",
            number / 2
        ));
        events.push(format!("{name},2026-03-{day:02}T20:00:00Z,end,,chosen,,"));
        pairs.push((name.as_str(), times[number].as_str(), *reading, 100.0));
    }
    let events: Vec<&str> = events.iter().map(String::as_str).collect();
    let output = of_pairs(IN_UTC, &events, &pairs);
    let table = output.table("model_difference");
    assert_eq!(table.column("site"), ["chest", "calf", "every site"]);
    let all = table.row(&[("site", "every site")]);
    assert_eq!((all.text("model"), all.text("earlier")), ("M", "K"));
    assert_eq!(
        (all.text("sensors"), all.text("sensors_earlier")),
        ("4", "4")
    );
    // Weights 1 and 1: (5 + 4) / 2; squares 2 + 2 + 2 + 8 on four degrees of freedom.
    close(all.number("difference"), 4.5, 1e-9, "difference");
    let half_width = T_4 * (3.5_f64 / 2.0).sqrt();
    close(
        all.number("difference_lower"),
        4.5 - half_width,
        1e-9,
        "lower",
    );
    assert_eq!(all.text("finding"), "reads higher");
    let calf = table.row(&[("site", "calf")]);
    close(calf.number("difference"), 5.0, 1e-9, "difference");
    close(
        calf.number("difference_upper"),
        5.0 + T_2 * 2.0_f64.sqrt(),
        1e-6,
        "upper",
    );
    assert_eq!(calf.text("finding"), "not told apart");

    let by_model = output.table("agreement_by_model");
    assert_eq!(by_model.lines.len(), 4);
    let row = by_model.row(&[("site", "calf"), ("model", "M")]);
    assert_eq!((row.text("lot"), row.text("sensors")), ("lot 2", "2"));
    close(row.number("bias_percent"), 6.0, 1e-9, "relative bias");
}
