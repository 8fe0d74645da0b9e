//! Which sensor-nights count, worked by hand: readings every 12 minutes, so that a night of eight hours expects 40.

use crate::fixture::{IN_UTC, Study};

/// One night of one wearer on a site of their own.
struct Night {
    site: &'static str,
    events: &'static [(&'static str, &'static str)],
    /// First and last reading after the daytime, by minutes after noon; the daytime ends at `day_until`.
    day_until: i64,
    night: (i64, i64),
    status: &'static str,
    counts: bool,
}

/// Minutes from noon to a clock time of the evening or the morning after.
const fn after_noon(hours: i64, minutes: i64) -> i64 {
    let since = (hours - 12) * 60 + minutes;
    if since < 0 { since + 1440 } else { since }
}

const DUSK: i64 = after_noon(22, 48);

fn plain(site: &'static str, night: (i64, i64), counts: bool) -> Night {
    Night {
        site,
        events: &[],
        day_until: DUSK,
        night,
        status: "",
        counts,
    }
}

/// The instant so many minutes after noon of the first day.
fn instant(noon: &str, minutes: i64) -> String {
    let noon: jiff::Timestamp = noon.parse().unwrap();
    jiff::Timestamp::from_second(noon.as_second() + 60 * minutes)
        .unwrap()
        .to_string()
}

fn assert_nights(settings: &str, noon: &str, nights: &[Night]) {
    let study = Study::new(settings);
    let mut events = "wearer,sensor,time,event,site,cause\n".to_owned();
    let mut readings = "wearer,sensor,time,glucose,status\n".to_owned();
    for night in nights {
        let site = night.site;
        events += &format!("{site},s,{},insert,{site},\n", instant(noon, 0));
        events += &format!("{site},s,{},end,,chosen\n", instant(noon, 1440));
        for (event, minutes) in night.events {
            events += &format!(
                "{site},,{},{event},,\n",
                instant(noon, minutes.parse().unwrap())
            );
        }
        let times = (12..=night.day_until)
            .step_by(12)
            .chain((night.night.0..=night.night.1).step_by(12));
        for minutes in times.chain((after_noon(8, 12)..1440).step_by(12)) {
            let status = if minutes == night.night.0 {
                night.status
            } else {
                ""
            };
            readings += &format!("{site},s,{},100,{status}\n", instant(noon, minutes));
        }
    }
    study
        .write("wear-events/e.csv", events)
        .write("readings/r.csv", readings);
    let table = study.report().table("site_nights");
    for night in nights {
        let row = table.row(&[("site", night.site)]);
        let counted = f64::from(u8::from(night.counts));
        assert_eq!(row.number("nights"), counted, "nights of {}", night.site);
        assert_eq!(row.number("sensors"), counted, "sensors of {}", night.site);
        assert_eq!(row.number("artefacts"), 0.0, "artefacts of {}", night.site);
        let rate = night.counts.then_some(0.0);
        assert_eq!(row.maybe("rate_per_100"), rate, "rate of {}", night.site);
    }
}

const NOON: &str = "2026-03-01T12:00:00Z";

#[test]
fn coverage_of_seven_tenths_is_enough() {
    let eleven = after_noon(23, 0);
    assert_nights(
        IN_UTC,
        NOON,
        &[
            plain("calf", (eleven, after_noon(6, 48)), true),
            // 28 of 40 readings, then 27.
            plain("chest", (eleven, after_noon(4, 24)), true),
            plain("forearm", (eleven, after_noon(4, 12)), false),
            // 28 readings of which the last, at 07:00, is past the night.
            plain("abdomen", (after_noon(1, 36), after_noon(7, 0)), false),
        ],
    );
    let lower = format!("{IN_UTC}[night]\ncoverage = 0.675\n");
    assert_nights(
        &lower,
        NOON,
        &[plain("forearm", (eleven, after_noon(4, 12)), true)],
    );
    let later = format!("{IN_UTC}[night]\nfrom = \"00:00\"\nto = \"08:00\"\n");
    assert_nights(
        &later,
        NOON,
        &[plain("forearm", (eleven, after_noon(4, 24)), false)],
    );
}

#[test]
fn readings_that_count_towards_coverage() {
    let night = (after_noon(23, 0), after_noon(4, 24));
    let with = |site, status, counts| Night {
        status,
        ..plain(site, night, counts)
    };
    assert_nights(
        IN_UTC,
        NOON,
        &[
            with("calf", "low", true),
            with("chest", "high", true),
            with("forearm", "error", false),
            with("abdomen", "warmup", false),
        ],
    );
}

#[test]
fn nights_from_bed_to_rise() {
    let recorded = |site, events, day_until, night, counts| Night {
        events,
        day_until,
        ..plain(site, night, counts)
    };
    // By minutes after noon: 480 is 20:00, 960 is 04:00, 600 is 22:00, 1080 is 06:00.
    assert_nights(
        IN_UTC,
        NOON,
        &[
            // From 20:00 to 04:00: 28 readings up to 01:24, of the clock's night only 13.
            recorded(
                "calf",
                &[("bed", "480"), ("rise", "960")],
                468,
                (480, after_noon(1, 24)),
                true,
            ),
            recorded(
                "chest",
                &[("bed", "480"), ("rise", "960")],
                468,
                (480, after_noon(1, 12)),
                false,
            ),
            // Two spells make one night from 22:00 to 06:00.
            recorded(
                "forearm",
                &[
                    ("bed", "600"),
                    ("rise", "690"),
                    ("bed", "1050"),
                    ("rise", "1080"),
                ],
                588,
                (600, after_noon(3, 24)),
                true,
            ),
            // No rise within 24 hours: the clock's night.
            recorded(
                "abdomen",
                &[("bed", "-20"), ("rise", "1440")],
                DUSK,
                (after_noon(23, 0), after_noon(4, 24)),
                true,
            ),
            // An afternoon nap is no night, and takes the place of none.
            recorded(
                "lower-back",
                &[("bed", "120"), ("rise", "240")],
                DUSK,
                (0, -1),
                false,
            ),
            recorded(
                "upper-thigh",
                &[("bed", "120"), ("rise", "240")],
                DUSK,
                (after_noon(23, 0), after_noon(4, 24)),
                true,
            ),
        ],
    );
}

/// Europe/Lisbon puts its clocks forward in the night of 28 to 29 March 2026, which lasts seven hours and expects 35
/// readings, and back in that of 24 to 25 October, which lasts nine and expects 45.
#[test]
fn nights_in_which_the_clocks_are_changed() {
    let lisbon = "[study]\ntimezone = \"Europe/Lisbon\"\nunit = \"mg/dL\"\n";
    let eleven = after_noon(23, 0);
    let readings =
        |site, count: i64, counts| plain(site, (eleven, eleven + 12 * (count - 1)), counts);
    assert_nights(
        lisbon,
        "2026-03-28T12:00:00Z",
        &[readings("calf", 25, true), readings("chest", 24, false)],
    );
    // Noon by the clock is 11:00 UTC in October.
    assert_nights(
        lisbon,
        "2026-10-24T11:00:00Z",
        &[readings("calf", 32, true), readings("chest", 31, false)],
    );
}
