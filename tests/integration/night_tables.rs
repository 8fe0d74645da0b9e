//! The tables on nights, worked by hand on six nights of two sensors (see `night_study`): sensor `a` on the calf, left,
//! with an artefact in nights 0, 2 and 4 and a gap in night 3; sensor `b` on the chest, right, with one in night 5 and a
//! slow true low in night 1.

use crate::fixture::{Output, Row, Table, close, published};
use crate::night_study::{BOTTOM, in_night, instant, readings, study};

/// Readings of a sensor within an artefact of `night_artefacts.csv`.
fn within(row: &Row<'_>) -> Vec<(String, f64)> {
    let (start, end) = (row.text("start"), row.text("end"));
    readings(row.text("sensor"))
        .into_iter()
        .filter(|(time, _)| time.as_str() >= start && time.as_str() <= end)
        .collect()
}

fn low_count(readings: &[(String, f64)]) -> f64 {
    readings
        .iter()
        .filter(|(_, glucose)| *glucose < 70.0)
        .count() as f64
}

fn minutes_between(from: &str, to: &str) -> f64 {
    let at = |text: &str| text.parse::<jiff::Timestamp>().unwrap().as_second() as f64;
    (at(to) - at(from)) / 60.0
}

/// The four artefacts as found: all there, each at most one reading off at either end.
fn artefacts(output: &Output) -> Table {
    let found = output.table("night_artefacts");
    let expected = [("a", 0, 2), ("a", 2, 2), ("a", 4, 2), ("b", 5, 4)];
    assert_eq!(found.lines.len(), expected.len(), "{found:?}");
    for (row, (sensor, night, hour)) in found.rows().zip(expected) {
        assert_eq!(row.text("sensor"), sensor);
        let off = minutes_between(&instant(in_night(night, hour, 0)), row.text("start"));
        assert!(off.abs() <= 5.0, "start of {sensor} in night {night}");
        let off = minutes_between(&instant(in_night(night, hour, 45)), row.text("end"));
        assert!(off.abs() <= 5.0, "end of {sensor} in night {night}");
    }
    found
}

#[test]
fn rates_shares_and_minutes() {
    let output = study().report();
    output.assert_no_nan();
    let found = artefacts(&output);
    let table = output.table("site_nights");
    // Five counted nights on the calf, six on the chest.
    for (site, nights, count) in [("calf", 5.0, 3.0), ("chest", 6.0, 1.0)] {
        let row = table.row(&[("site", site)]);
        assert_eq!(row.number("nights"), nights);
        assert_eq!(row.number("artefacts"), count);
        close(row.number("share_of_nights"), count / nights, 1e-12, site);
        let of_site = found.rows_where(&[("site", site)]);
        let minutes: f64 = of_site
            .iter()
            .map(|row| minutes_between(row.text("start"), row.text("end")))
            .sum();
        close(row.number("artefact_minutes"), minutes / nights, 1e-9, site);
        assert_eq!(
            row.number("judged_rate_per_100"),
            row.number("rate_per_100")
        );
        assert_eq!(
            row.number("judged_rate_per_100_upper"),
            row.number("rate_upper")
        );
    }
    // On the calf nothing else is below 70 mg/dL; on the chest the slow low is.
    let share = |site: &str| {
        table
            .row(&[("site", site)])
            .number("low_share_in_artefacts")
    };
    let inside: f64 = found
        .rows_where(&[("sensor", "a")])
        .iter()
        .map(|row| low_count(&within(row)))
        .sum();
    close(
        share("calf"),
        inside / low_count(&readings("a")),
        1e-12,
        "calf",
    );
    let inside = low_count(&within(&found.row(&[("sensor", "b")])));
    let all = low_count(&readings("b"));
    assert!(all > 2.0 * inside && inside >= 9.0, "{inside} of {all}");
    close(share("chest"), inside / all, 1e-12, "chest");
}

/// Site, way to split, group, nights, artefacts.
const GROUPS: [(&str, &str, &str, f64, f64); 16] = [
    ("calf", "side slept on", "the sensor's side", 2.0, 2.0),
    ("calf", "side slept on", "the other side", 2.0, 0.0),
    ("calf", "posture in bed", "left", 2.0, 2.0),
    ("calf", "posture in bed", "right", 2.0, 0.0),
    ("calf", "day of wear", "1", 1.0, 1.0),
    ("calf", "day of wear", "2-3", 2.0, 1.0),
    ("calf", "day of wear", "4-7", 2.0, 1.0),
    ("calf", "tape", "ring", 5.0, 3.0),
    ("chest", "side slept on", "the sensor's side", 2.0, 1.0),
    ("chest", "side slept on", "the other side", 2.0, 0.0),
    ("chest", "posture in bed", "back", 1.0, 0.0),
    ("chest", "day of wear", "1", 1.0, 0.0),
    ("chest", "day of wear", "2-3", 2.0, 0.0),
    ("chest", "day of wear", "4-7", 3.0, 1.0),
    // The cover was put on over it at noon before the fourth night.
    ("chest", "tape", "none", 3.0, 0.0),
    ("chest", "tape", "cover", 3.0, 1.0),
];

#[test]
fn groups_of_nights() {
    let table = study().report().table("site_nights_by");
    // Garwood 1936 Biometrika 28:437.
    let limits = published("rate_poisson_exact_expected");
    for (site, split, level, nights, artefacts) in GROUPS {
        let row = table.row(&[("site", site), ("split", split), ("level", level)]);
        let what = format!("{site}, {split}, {level}");
        assert_eq!(row.number("sensors"), 1.0, "{what}");
        assert_eq!(row.number("nights"), nights, "{what}");
        assert_eq!(row.number("artefacts"), artefacts, "{what}");
        // One sensor tells nothing about how sensors differ.
        assert_eq!(row.text("sensor_rate_upper"), "", "{what}");
        close(
            row.number("rate_per_100"),
            100.0 * artefacts / nights,
            1e-9,
            &what,
        );
        let count = artefacts.to_string();
        let limits = limits.row(&[("count", &count), ("level", "0.95")]);
        for (ours, theirs) in [("lower", "lower_exact"), ("upper", "upper_exact")] {
            let limit = 100.0 * limits.number(theirs) / nights;
            close(
                row.number(&format!("rate_per_100_{ours}")),
                limit,
                1e-7,
                &what,
            );
        }
    }
    // Besides, the chest's left and right; no group for the night that was not noted, nor for the gap on the back.
    assert_eq!(table.lines.len(), GROUPS.len() + 2);
}

#[test]
fn signal_by_day_and_night() {
    let table = study().report().table("site_night_signal");
    // Six nights of 96 readings, of which 48 are missing; by day all are there from the end of the warm-up.
    let calf = table.row(&[("site", "calf")]);
    assert_eq!(calf.number("day_share"), 1.0);
    close(calf.number("night_share"), 528.0 / 576.0, 1e-12, "night");
    assert_eq!(calf.number("nights_worn"), 6.0);
    assert_eq!(calf.number("nights_lost"), 1.0);
    close(calf.number("lost_share"), 1.0 / 6.0, 1e-12, "lost");
    let chest = table.row(&[("site", "chest")]);
    assert_eq!(chest.number("night_share"), 1.0);
    assert_eq!(chest.number("nights_lost"), 0.0);
}

#[test]
fn only_confirmed_artefacts_are_taken_off_lows() {
    let output = study().report();
    let found = artefacts(&output);
    let table = output.table("site_night_lows");
    let calf = table.row(&[("site", "calf")]);
    // Three artefacts of ten readings at 60 mg/dL in five nights of 96 readings.
    assert_eq!(low_count(&readings("a")), 30.0);
    close(calf.number("low_share"), 30.0 / 480.0, 1e-12, "share");
    close(calf.number("low_minutes"), 30.0, 1e-9, "minutes");
    let confirmed = found.row(&[("evidence", "confirmed")]);
    let left = 30.0 - low_count(&within(&confirmed));
    assert!((20.0..=21.0).contains(&left), "{left}");
    close(
        calf.number("low_share_less_confirmed"),
        left / 480.0,
        1e-12,
        "share left",
    );
    close(
        calf.number("low_minutes_less_confirmed"),
        left,
        1e-9,
        "minutes left",
    );
    // Nobody checked the one on the chest: nothing is taken off.
    let chest = table.row(&[("site", "chest")]);
    let low = low_count(&readings("b"));
    close(chest.number("low_minutes"), 5.0 * low / 6.0, 1e-9, "chest");
    for figure in ["low_share", "low_minutes"] {
        let less = chest.number(&format!("{figure}_less_confirmed"));
        assert_eq!(chest.number(figure), less, "{figure}");
    }
}

#[test]
fn accuracy_with_and_without_artefacts() {
    let output = study().report();
    let table = output.table("site_accuracy_artefacts");
    let pairs = output.table("pairs");
    let whole = output.table("site_accuracy");
    let in_artefact = instant(in_night(0, 2, 20));
    for (site, all, outside) in [("calf", 7.0, 6.0), ("chest", 7.0, 7.0)] {
        let row = table.row(&[("site", site), ("pairs_used", "all")]);
        assert_eq!(row.number("pairs"), all, "{site}");
        for figure in ["bias", "mard", "within_20_20"] {
            let same = whole.row(&[("site", site)]).number(figure);
            assert_eq!(row.number(figure), same, "{figure} of {site}");
        }
        let row = table.row(&[("site", site), ("pairs_used", "outside night artefacts")]);
        assert_eq!(row.number("pairs"), outside, "{site}");
        let kept: Vec<_> = pairs
            .rows_where(&[("site", site)])
            .into_iter()
            .filter(|pair| site == "chest" || pair.text("fingerstick_time") != in_artefact)
            .collect();
        let mean = |column: &str, of: fn(f64) -> f64| {
            kept.iter().map(|pair| of(pair.number(column))).sum::<f64>() / outside
        };
        // One sensor: the bias is the mean of its pairs.
        let bias = mean("difference", |d| d);
        close(row.number("bias"), bias, 1e-9, "bias");
        let mard = mean("relative_difference", f64::abs);
        close(row.number("mard"), mard, 1e-12, "mard");
        // The fingersticks by day are 110 to 135 mg/dL, the readings 118 to 122.
        assert_eq!(row.number("within_20_20"), 1.0, "{site}");
    }
    // A reading of 60 against 120 mg/dL.
    let row = table.row(&[("site", "calf"), ("pairs_used", "all")]);
    close(row.number("within_20_20"), 6.0 / 7.0, 1e-12, "with it");
}

#[test]
fn hours_of_the_clock() {
    let study = study();
    let table = study.report().table("night_clock");
    // The eight hours from 23 to 7; the lowest reading is the first of the run.
    assert_eq!(table.lines.len(), 16);
    for (site, nights, peak, artefacts) in [("calf", 5.0, "2", 3.0), ("chest", 6.0, "4", 1.0)] {
        for hour in ["23", "0", "1", "2", "3", "4", "5", "6"] {
            let row = table.row(&[("site", site), ("hour", hour)]);
            let expected = if hour == peak { artefacts } else { 0.0 };
            assert_eq!(row.number("nights"), nights, "{site} at {hour}");
            assert_eq!(row.number("artefacts"), expected, "{site} at {hour}");
            let rate = 100.0 * expected / nights;
            close(row.number("rate"), rate, 1e-9, "rate");
        }
    }
    // 20:45 UTC is 02:15 half past five hours east; 23:30 UTC is past midnight in Lisbon's summer, and not in its winter.
    for (time, zone, hour) in [
        ("2026-03-01T20:45:00Z", "Asia/Kolkata", "2"),
        ("2026-07-01T23:30:00Z", "Europe/Lisbon", "0"),
        ("2026-01-01T23:30:00Z", "Europe/Lisbon", "23"),
    ] {
        let sql = format!("SELECT clock_hour(CAST('{time}' AS TIMESTAMP), '{zone}') AS hour");
        assert_eq!(study.sql(&sql).column("hour"), [hour], "{time} {zone}");
    }
}

#[test]
fn nights_and_events_to_look_at() {
    let output = study().report();
    let found = artefacts(&output);
    let nights = output.table("night_traces");
    let panel = |site: &'static str, panel: &'static str| {
        nights.rows_where(&[("site", site), ("panel", panel)])
    };
    // The confirmed one comes first; then by how far they fell. The chest has one.
    let first = panel("calf", "1");
    assert_eq!(first[0].text("night"), "2026-03-01");
    assert!(first.iter().all(|row| row.text("evidence") == "confirmed"));
    let drop = |number: &'static str| {
        let night = panel("calf", number)[0].text("night").to_owned();
        found
            .row(&[("sensor", "a"), ("night", &night)])
            .number("drop")
    };
    assert!(drop("2") >= drop("3"));
    assert!(panel("calf", "4").is_empty() && panel("chest", "2").is_empty());
    // From 23:00 to 07:00, both included, and the fingerstick.
    assert_eq!(first.len(), 97 + 1);
    assert_eq!(panel("chest", "1").len(), 97);
    let stick = nights.row(&[("time", &instant(in_night(0, 2, 20))), ("reading", "")]);
    assert_eq!(
        (stick.number("fingerstick"), stick.text("in_artefact")),
        (120.0, "1")
    );
    let marked: Vec<_> = first
        .iter()
        .filter(|row| row.text("in_artefact") == "1" && row.text("fingerstick").is_empty())
        .map(|row| row.number("reading"))
        .collect();
    assert_eq!(
        marked.len(),
        within(&found.row(&[("evidence", "confirmed")])).len()
    );
    assert!(marked.iter().filter(|reading| **reading == BOTTOM).count() >= 9);

    let events = output.table("event_traces");
    for (number, row) in (1..).zip(found.rows()) {
        let number = number.to_string();
        let drawn = events.rows_where(&[("event", &number), ("fingerstick", "")]);
        let minutes = minutes_between(row.text("start"), row.text("end")) + 180.0;
        assert_eq!(drawn.len() as f64, minutes / 5.0 + 1.0, "event {number}");
        for column in ["wearer", "sensor", "site", "night", "start", "evidence"] {
            assert_eq!(drawn[0].text(column), row.text(column), "event {number}");
        }
        let marked = drawn.iter().filter(|row| row.text("in_artefact") == "1");
        assert_eq!(marked.count(), within(&row).len(), "event {number}");
    }
}

#[test]
fn reasons_in_words() {
    for (unit, per_mgdl, digits) in [("mg/dL", 1.0, 0), ("mmol/L", 18.0156, 1)] {
        let study = study();
        let settings = format!("[study]\ntimezone = \"UTC\"\nunit = \"{unit}\"\n");
        study.write("study.toml", settings);
        if unit == "mmol/L" {
            convert(&study, per_mgdl);
        }
        let found = artefacts(&study.report());
        for row in found.rows() {
            let check = match row.text("evidence") {
                "confirmed" => "a fingerstick was well above",
                _ => "no fingerstick",
            };
            let fell = row.number("drop") / per_mgdl;
            let (down, up) = (row.number("fall_minutes"), row.number("recovery_minutes"));
            assert_eq!(
                row.text("reasons"),
                format!(
                    "fell {fell:.digits$} {unit} in {down:.0} min, recovered in {up:.0} min, {check}"
                )
            );
        }
    }
}

/// Of readings 15 min apart that get near a low the reasons say that they hardly tell, but where a fingerstick did; a fall
/// that stays high needs no such words.
#[test]
fn sparse_readings_hardly_tell() {
    let study = study();
    let text = std::fs::read_to_string(study.dir().join("readings/r.csv")).unwrap();
    let quarter = |line: &&str| {
        let minutes = line.split(':').nth(1).and_then(|m| m.parse::<u32>().ok());
        minutes.is_none_or(|m| m % 15 == 0)
    };
    let raise = |line: &str| match line.rsplit_once(',') {
        Some((rest, glucose)) if line.starts_with("b,") => {
            format!("{rest},{}\n", glucose.parse::<f64>().unwrap() + 60.0)
        }
        _ => format!("{line}\n"),
    };
    let kept: String = text.lines().filter(quarter).map(raise).collect();
    study.write("readings/r.csv", kept);
    let found = study.report().table("night_artefacts");
    let doubt = "but readings 15 min apart hardly tell it from a fast true low";
    for (sensor, count, in_doubt) in [("a", 3, true), ("b", 1, false)] {
        let rows = found.rows_where(&[("sensor", sensor)]);
        assert_eq!(rows.len(), count, "{sensor}");
        for row in rows {
            let told = row.text("evidence") == "confirmed";
            assert_eq!(row.text("reasons").ends_with(doubt), in_doubt && !told);
        }
    }
}

/// Writes readings and fingersticks again in mmol/L.
fn convert(study: &crate::fixture::Study, per_mgdl: f64) {
    for name in ["readings/r.csv", "fingersticks/f.csv"] {
        let text = std::fs::read_to_string(study.dir().join(name)).unwrap();
        let lines = text.lines().map(|line| {
            let (rest, glucose) = line.rsplit_once(',').unwrap();
            match glucose.parse::<f64>() {
                Ok(glucose) => format!("{rest},{}\n", glucose / per_mgdl),
                Err(_) => format!("{line}\n"),
            }
        });
        study.write(name, lines.collect::<String>());
    }
}

/// Falls of 60 mg/dL are found under every setting; the calf has the higher rate.
#[test]
fn ranks_under_other_settings() {
    let table = study().report().table("site_nights_sensitivity");
    assert_eq!(table.lines.len(), 6);
    for setting in ["looser", "standard", "stricter"] {
        for (site, nights, artefacts, rank) in [("calf", 5.0, 3.0, "2"), ("chest", 6.0, 1.0, "1")] {
            let row = table.row(&[("site", site), ("setting", setting)]);
            assert_eq!(row.number("artefacts"), artefacts, "{site}, {setting}");
            let rate = 100.0 * artefacts / nights;
            close(row.number("rate_per_100"), rate, 1e-9, setting);
            assert_eq!(row.text("rank"), rank, "{site}, {setting}");
        }
    }
}
