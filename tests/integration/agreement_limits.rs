//! Pairs beside a regulation's limits, lows, and what found no pair: toy studies worked by hand.

use crate::agreement_tables::{Pair, THREE, of_pairs, study};
use crate::fixture::{IN_UTC, close, published};

/// `reg_least_passing_count.csv`: 45 of 50 pairs; limits and required shares of `reg_limits.csv`.
#[test]
fn beside_the_regulation() {
    let times: Vec<String> = (0..50)
        .map(|n| format!("2026-03-{:02}T{:02}:00:00Z", 1 + n / 20, 2 + n % 20))
        .collect();
    let mut pairs: Vec<Pair<'_>> = times
        .iter()
        .enumerate()
        .map(|(n, time)| {
            (
                "a",
                time.as_str(),
                if n < 45 { 115.0 } else { 122.0 },
                100.0,
            )
        })
        .collect();
    let more = [
        ("a", "2026-03-03T20:00:00Z", 60.0, 181.0),
        ("a", "2026-03-03T21:00:00Z", 100.0, 200.0),
        ("a", "2026-03-03T21:10:00Z", 115.0, 170.0),
    ];
    pairs.extend(more);
    let output = of_pairs(IN_UTC, &THREE, &pairs);
    let table = output.table("site_regulation_limits");
    assert_eq!(
        table.column("limit"),
        ["A", "B", "D", "E", "G", "H", "J", "K"]
    );
    let counts = |limit: &str| {
        let row = table.row(&[("limit", limit)]);
        format!("{}/{}", row.text("met"), row.text("pairs"))
    };
    // 115 against 170 misses 15 % and is within 40 %, 100 against 200 misses both; 122 against 100 misses 20 %.
    for (limit, expected) in [
        ("A", "0/1"),
        ("B", "45/52"),
        ("D", "0/1"),
        ("E", "51/52"),
        ("G", "45/53"),
        ("H", "0/1"),
        ("J", "0/1"),
        ("K", "1/1"),
    ] {
        assert_eq!(counts(limit), expected, "{limit}");
    }
    let output = of_pairs(IN_UTC, &THREE, &pairs[..50]);
    let table = output.table("site_regulation_limits");
    let published_counts = published("reg_least_passing_count");
    let least = published_counts.row(&[("n_pairs", "50"), ("threshold_pct", "80")]);
    assert_eq!(least.text("least_passing_count"), "45");
    for limit in ["B", "G"] {
        let row = table.row(&[("limit", limit)]);
        close(row.number("share"), 0.9, 1e-12, limit);
        close(
            row.number("bound"),
            least.number("exact_lower_bound_at_that_count"),
            1e-9,
            limit,
        );
        assert_eq!(row.maybe("bound_sensors"), None, "one sensor");
    }
}

/// Shares of three sensors: 4/4, 1/3 and 3/3, so r = 0.8, residuals 0.8, -1.4, 0.6, variance (3/2) 2.96 / 100.
#[test]
fn required_shares_and_the_bound_between_sensors() {
    let output = of_pairs(
        IN_UTC,
        &THREE,
        &[
            ("a", "2026-03-01T10:00:00Z", 100.0, 100.0),
            ("a", "2026-03-01T11:00:00Z", 100.0, 100.0),
            ("a", "2026-03-01T12:00:00Z", 100.0, 100.0),
            ("a", "2026-03-01T13:00:00Z", 100.0, 100.0),
            ("b", "2026-03-04T10:00:00Z", 100.0, 100.0),
            ("b", "2026-03-04T11:00:00Z", 150.0, 100.0),
            ("b", "2026-03-04T12:00:00Z", 150.0, 100.0),
            ("c", "2026-03-07T10:00:00Z", 100.0, 100.0),
            ("c", "2026-03-07T11:00:00Z", 100.0, 100.0),
            ("c", "2026-03-07T12:00:00Z", 100.0, 100.0),
            ("c", "2026-03-07T14:00:00Z", 60.0, 60.0),
            ("c", "2026-03-07T15:00:00Z", 200.0, 200.0),
            ("c", "2026-03-07T15:10:00Z", 200.0, 200.0),
        ],
    );
    let table = output.table("site_regulation_limits");
    let limits = published("reg_limits");
    for letter in ["A", "B", "C", "D", "E", "F", "G", "H", "I", "J", "K"] {
        let limit = limits.row(&[("id", &format!("cgm_special_control_{letter}"))]);
        let figure = limit.number("threshold_pct_or_count");
        let (required, compared) = match letter {
            "H" | "I" => (1.0, "share"),
            "J" | "K" => (1.0 - figure / 100.0, "share"),
            _ => (figure / 100.0, "bound"),
        };
        let row = table.row(&[("limit", letter)]);
        close(row.number("required"), required, 1e-12, letter);
        assert_eq!(row.text("compared"), compared, "{letter}");
    }
    let row = table.row(&[("limit", "B")]);
    assert_eq!((row.text("met"), row.text("pairs")), ("8", "10"));
    // Quantile 0.95 for two degrees of freedom: 0.9 √2 / √(1 - 0.9²).
    let t = 0.9 * (2.0_f64 / 0.19).sqrt();
    let std_error = (1.5_f64 * 2.96 / 100.0).sqrt();
    close(
        row.number("bound_sensors"),
        0.8 - t * std_error,
        1e-9,
        "bound between sensors",
    );
}

/// Lows seen: 60 as 65 and 55 as below the range, not 65 as 75; alone: 68 against 80.
#[test]
fn lows_and_what_found_no_pair() {
    let readings = [
        "a,2026-03-01T00:30:00Z,100,ok",
        "a,2026-03-01T10:00:00Z,65,ok",
        "a,2026-03-01T11:00:00Z,75,ok",
        "a,2026-03-01T12:00:00Z,68,ok",
        "a,2026-03-01T13:00:00Z,40,low",
        "a,2026-03-01T14:00:00Z,400,high",
        "a,2026-03-01T15:00:00Z,100,error",
        "a,2026-03-01T16:00:00Z,100,ok",
    ];
    let fingersticks = [
        "2026-03-01T00:30:00Z,100,",
        "2026-03-01T10:00:00Z,60,",
        "2026-03-01T11:00:00Z,65,",
        "2026-03-01T12:00:00Z,80,",
        "2026-03-01T13:00:00Z,55,",
        "2026-03-01T14:00:00Z,390,",
        "2026-03-01T15:00:00Z,100,",
        "2026-03-01T16:00:00Z,100,control",
        "2026-03-01T17:00:00Z,100,",
        "2026-03-03T23:30:00Z,100,",
        "2026-03-03T23:40:00Z,100,calibration",
        "2026-03-20T12:00:00Z,100,",
    ];
    // Sensor `c` has no end: lost track of once it has no readings.
    let mut events = THREE.to_vec();
    events.pop();
    let text = |rows: &[&str]| rows.iter().map(|row| (*row).to_owned()).collect::<Vec<_>>();
    let output = study(IN_UTC, &events, &text(&readings), &text(&fingersticks)).report();
    let table = output.table("site_low_detection");
    let row = table.row(&[]);
    let counts = ["low_fingersticks", "seen", "low_readings", "alone"].map(|name| row.text(name));
    assert_eq!(counts, ["3", "2", "3", "1"]);
    close(row.number("seen_share"), 2.0 / 3.0, 1e-12, "share seen");
    // Exact ends: two or three of three have 2.5 % at the lower, two or fewer at the upper.
    let lower = row.number("seen_share_lower");
    close(
        3.0 * lower.powi(2) - 2.0 * lower.powi(3),
        0.025,
        1e-9,
        "lower",
    );
    let upper = row.number("seen_share_upper");
    close(1.0 - upper.powi(3), 0.025, 1e-9, "upper");

    let table = output.table("unpaired_fingersticks");
    let found: Vec<String> = table
        .rows()
        .map(|row| {
            format!(
                "{} / {} / {}",
                row.text("site"),
                row.text("reason"),
                row.text("fingersticks")
            )
        })
        .collect();
    assert_eq!(
        found,
        [
            "calf / calibration or control / 1",
            "calf / gap in the readings / 2",
            "calf / reading high / 1",
            "calf / reading low / 1",
            "calf / sensor lost track of / 1",
            "calf / warm-up / 1",
            " / calibration or control / 1",
            " / no sensor worn / 1",
        ]
    );
    let share = table.row(&[("reason", "warm-up")]).number("share");
    close(share, 0.1, 1e-12, "of ten taken there");
    let paired = output.table("pairs").lines.len();
    assert_eq!(paired, 3);
}
