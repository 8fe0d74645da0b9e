//! The times of a file of which nothing is known: their form, their clock, and which of two columns.

use super::maps::{blocks, told};
use super::*;
use std::fmt::Write;

/// A quarter of an hour apart, so that days taken for months leap at every midnight: three tell which is which, two do not.
#[test]
fn rows_that_follow_tell_day_from_month() {
    let text = |days: usize, day_first: bool| {
        let mut text = "When;Sensor;Value\n".to_owned();
        for n in 0..96 * days {
            let day = format!("{:02}", 3 + n / 96);
            let date = if day_first {
                [&*day, "05"]
            } else {
                ["05", &*day]
            };
            writeln!(
                text,
                "{}/2026 {:02}:{:02};k;{}",
                date.join("/"),
                n / 4 % 24,
                n % 4 * 15,
                90 + n % 7
            )
            .unwrap();
        }
        // One row in many may be no row: a footer.
        text += "end of the list;k;95\n";
        told(&text, &Known::default()).1
    };
    for (day_first, format) in [(true, "%d/%m/%Y %H:%M"), (false, "%m/%d/%Y %H:%M")] {
        let mapping = text(4, day_first);
        assert_eq!(mapping.export.time_format.as_deref(), Some(format));
        assert!(mapping.open.is_empty(), "{:?}", mapping.open);
        let mapping = text(3, day_first);
        assert!(
            mapping.open[0].starts_with("day and month can be read either way"),
            "{:?}",
            mapping.open
        );
    }
}

/// Of two columns of milliseconds since 1970 the one called UTC is an instant, whichever stands first.
#[test]
fn milliseconds_of_utc_are_preferred() {
    for titles in ["local_ms,utc_ms", "utc_ms,local_ms"] {
        let mut text = format!("{titles},Device,Glucose\n");
        for n in 0..30_i64 {
            let utc = 1_785_592_140_000 + 300_000 * n;
            let local = utc + 7_200_000;
            let (a, b) = if titles.starts_with("utc") {
                (utc, local)
            } else {
                (local, utc)
            };
            writeln!(text, "{a},{b},K,{}", 100 + n).unwrap();
        }
        let (_, mapping) = told(&text, &Known::default());
        assert_eq!(mapping.export.columns["time"].names(), ["utc_ms"]);
        let said = "time: `utc_ms` is called UTC; `local_ms` holds seconds since 1970 too";
        assert!(
            mapping.told.iter().any(|told| told == said),
            "{:?}",
            mapping.told
        );
    }
}

/// Instants by hand: at +02:00 it is 10:00 when UTC has 08:00; 1 772 352 000 s after 1970 it is 2026-03-01T08:00:00Z.
#[test]
fn clocks_that_a_file_names() {
    let file = |titles: &str, row: &dyn Fn(i64) -> String| {
        let rows: Vec<String> = (0..30).map(row).collect();
        format!("{titles}\n{}\n", rows.join("\n"))
    };
    let clock = |n: i64, hour: i64| format!("{:02}:{:02}", hour + n / 12, n % 12 * 5);
    let cases: [(String, &str); 9] = [
        (
            file("Local time,Time (UTC),Sensor,Glucose", &|n| {
                format!(
                    "2026-03-01 {},2026-03-01 {},a,{}",
                    clock(n, 10),
                    clock(n, 8),
                    100 + n % 7
                )
            }),
            "",
        ),
        (
            file("Time [GMT+2],Sensor,Glucose", &|n| {
                format!("2026-03-01 {},a,{}", clock(n, 10), 100 + n % 7)
            }),
            "",
        ),
        (
            file("Time,Zone,Sensor,Glucose", &|n| {
                format!("2026-03-01 {},+02:00,a,{}", clock(n, 10), 100 + n % 7)
            }),
            "%Y-%m-%d %H:%M %:z",
        ),
        (
            file("ts,id,v", &|n| {
                format!("{},a,{}", 1_772_352_000 + 300 * n, 100 + n % 7)
            }),
            "%s",
        ),
        (
            file("ts,id,v", &|n| {
                format!("{}000,a,{}", 1_772_352_000 + 300 * n, 100 + n % 7)
            }),
            "milliseconds",
        ),
        (
            file("Stamp,Sensor,Glucose", &|n| {
                format!("2026-03-01 {}:00 GMT+02:00,a,{}", clock(n, 10), 100 + n % 7)
            }),
            "%Y-%m-%d %H:%M:%S GMT%:z",
        ),
        (
            file("Stamp,Sensor,Glucose", &|n| {
                let day = if n < 29 { "01/03" } else { "13/03" };
                format!("{day}/2026 {}:00+02:00,a,{}", clock(n, 10), 100 + n % 7)
            }),
            "%d/%m/%Y %H:%M:%S%:z",
        ),
        (
            file("Datum,Uhrzeit,BZ,Sensor", &|n| {
                let day = if n < 29 { "01" } else { "13" };
                format!(
                    "{day}.03.26,{},{},a",
                    clock(n, 8).replace(':', "."),
                    100 + n % 7
                )
            }),
            "%d.%m.%y %H.%M",
        ),
        (
            file("Stamp,Sensor,Glucose", &|n| {
                let day = if n < 29 { "1" } else { "13" };
                format!("3/{day}/2026 {} a.m.,a,{}", clock(n, 8), 100 + n % 7)
            }),
            "%m/%d/%Y %I:%M %p",
        ),
    ];
    for (text, format) in cases {
        let (place, mapping) = told(&text, &Known::default());
        assert_eq!(mapping.open, Vec::<String>::new(), "{text}");
        assert_eq!(
            mapping.export.time_format.as_deref().unwrap_or(""),
            format,
            "{text}"
        );
        place.write(
            "study.toml",
            &format!(
                "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n{}",
                blocks(&mapping)
            ),
        );
        let rows = super::readings(&place.load().0);
        assert_eq!(
            (rows.len(), rows[0].1.as_str()),
            (30, "2026-03-01T08:00:00Z"),
            "{text}"
        );
    }
    let (_, mapping) = told(
        &file("Local time,Time (UTC),Sensor,Glucose", &|n| {
            format!(
                "2026-03-01 {},2026-03-01 {},a,{}",
                clock(n, 10),
                clock(n, 8),
                100 + n % 7
            )
        }),
        &Known::default(),
    );
    assert_eq!(mapping.export.timezone.as_deref(), Some("UTC"));
    assert!(
        mapping
            .told
            .iter()
            .any(|told| told.contains("`Time (UTC)` (UTC has no hour twice")),
        "{:?}",
        mapping.told
    );
    // Numbers of ten digits that do not change are a sensor's.
    let (_, mapping) = told(
        &file("Time,Sensor,v", &|n| {
            format!("2026-03-01 {},1772352000,{}", clock(n, 8), 100 + n % 7)
        }),
        &Known::default(),
    );
    assert_eq!(mapping.export.columns["sensor"].names(), ["Sensor"]);
}
