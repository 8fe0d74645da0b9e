//! What moved since last month, worked by hand.

use crate::fixture::{IN_UTC, Output, Study, close};

/// Half width of a mean of three values two apart: 4.3027 · 2 / √3.
const HALF_WIDTH: f64 = 4.302_652_729_911_275 * 2.0 / 1.732_050_807_568_877_2;

/// Sensors of one day each with one fingerstick of 100 mg/dL: site, day, reading, cause of the end.
const SENSORS: [(&str, &str, &str, f64, &str); 12] = [
    ("calf", "03", "01", 100.0, "fell-off"),
    ("calf", "03", "03", 102.0, "chosen"),
    ("calf", "03", "05", 104.0, "chosen"),
    ("calf", "04", "01", 120.0, "chosen"),
    ("calf", "04", "03", 122.0, "chosen"),
    ("calf", "04", "05", 124.0, "chosen"),
    ("chest", "03", "07", 100.0, "chosen"),
    ("chest", "03", "09", 102.0, "chosen"),
    ("chest", "03", "11", 104.0, "chosen"),
    ("chest", "04", "07", 108.0, "chosen"),
    ("chest", "04", "09", 110.0, "chosen"),
    ("chest", "04", "11", 112.0, "chosen"),
];

fn output() -> Output {
    let mut events = "sensor,time,event,site,cause\n".to_owned();
    let (mut readings, mut fingersticks) = (String::new(), String::new());
    for (number, (site, month, day, reading, cause)) in SENSORS.iter().enumerate() {
        let noon = format!("2026-{month}-{day}T12:00Z");
        events += &format!("s{number},2026-{month}-{day}T02:00Z,insert,{site},\n");
        let next: u32 = day.parse::<u32>().unwrap() + 1;
        events += &format!("s{number},2026-{month}-{next:02}T02:00Z,end,,{cause}\n");
        readings += &format!("s{number},{noon},{reading}\n");
        fingersticks += &format!("{noon},100\n");
    }
    // Worn two days of each month.
    events += "x,2026-03-30T00:00Z,insert,forearm,\nx,2026-04-03T00:00Z,end,,lifted\n";
    let study = Study::new(IN_UTC);
    study
        .write("wear-events/e.csv", events)
        .write("readings/r.csv", format!("sensor,time,glucose\n{readings}"))
        .write(
            "fingersticks/f.csv",
            format!("time,glucose\n{fingersticks}"),
        );
    study.report()
}

#[test]
fn a_month_against_all_before() {
    let table = output().table("since_last_month");
    let row = |site, measure| table.row(&[("site", site), ("measure", measure)]);

    let worn = row("calf", "sensors worn");
    let counts = ["now", "before", "this_month"].map(|name| worn.text(name));
    assert_eq!(counts, ["6", "3", "3"]);
    assert_eq!(worn.text("finding"), "");

    let bias = row("calf", "bias");
    close(bias.number("before"), 2.0, 1e-9, "before");
    close(bias.number("this_month"), 22.0, 1e-9, "this month");
    close(bias.number("now"), 12.0, 1e-9, "all");
    let half_width = HALF_WIDTH * 2.0_f64.sqrt();
    close(
        bias.number("difference_lower"),
        20.0 - half_width,
        1e-6,
        "lower end",
    );
    // With six differences the quantile for two degrees of freedom at 1 - 0.025 / 6 is 10.89 in place of 4.30.
    assert!(half_width * 10.89 / 4.30 < 20.0);
    assert_eq!(bias.text("finding"), "up, more than chance");

    // Eight is beyond zero by itself, and not with so many differences looked at.
    let bias = row("chest", "bias");
    close(bias.number("difference"), 8.0, 1e-9, "difference");
    close(
        bias.number("difference_lower"),
        8.0 - half_width,
        1e-6,
        "lower end",
    );
    assert!(bias.number("difference_lower") > 0.0);
    assert_eq!(bias.text("finding"), "may be chance");

    let within = row("calf", "within 20/20");
    close(within.number("before"), 100.0, 1e-9, "all within");
    close(
        within.number("this_month"),
        100.0 / 3.0,
        1e-9,
        "one of three",
    );
    // Exact ends: none out of three below at 2.5 %, and one out of three at the upper end.
    assert!(within.number("difference_upper") > 0.0);
}

#[test]
fn wear_is_split_at_the_turn_of_the_month() {
    let table = output().table("since_last_month");
    let row = |site, measure| table.row(&[("site", site), ("measure", measure)]);
    let off = row("forearm", "came off");
    assert_eq!(off.number("before"), 0.0);
    close(off.number("this_month"), 50.0, 1e-9, "one in two days");
    close(off.number("now"), 25.0, 1e-9, "one in four days");
    assert_eq!(off.maybe("difference_lower"), None);
    assert_eq!(off.text("finding"), "too few sensors");
    let worn = row("forearm", "sensors worn");
    assert_eq!((worn.text("before"), worn.text("this_month")), ("1", "0"));

    // One of three days against none of three: limits of Garwood for 1 and 0, 5.571643 and 3.688879.
    let off = row("calf", "came off");
    close(off.number("before"), 100.0 / 3.0, 1e-9, "before");
    let below = (0.0 + (5.571_643_f64 - 1.0).powi(2)).sqrt() / 3.0 * 100.0;
    let above = (3.688_879_f64.powi(2) + (1.0 - 0.025_318_f64).powi(2)).sqrt() / 3.0 * 100.0;
    close(
        off.number("difference_lower"),
        -100.0 / 3.0 - below,
        1e-3,
        "lower end",
    );
    close(
        off.number("difference_upper"),
        -100.0 / 3.0 + above,
        1e-3,
        "upper end",
    );
    assert_eq!(off.text("finding"), "may be chance");
}

/// A sensor a site: nothing can be set beside earlier months, and the report does not say that nothing moved.
#[test]
fn too_few_sensors_to_say() {
    let report = Study::demo("1", "6", "15", "3").report().text("report.md");
    assert!(report.contains(
        "There are too few sensors of this month or before it to set one beside the other."
    ));
    assert!(!report.contains("no difference is more than chance"));
}

/// Who wears sensors at which site of which month, with their readings of fingersticks of 100 mg/dL.
type Worn = (&'static str, &'static str, &'static str, [f64; 3]);

/// All that was worn at the calf before was worn by one person, and in the month by another who reads 20 higher. At the chest both
/// wore sensors before and after, and all read 20 higher in the month.
#[test]
fn other_people_are_no_change_of_a_site() {
    const WORN: [Worn; 6] = [
        ("calf", "fern", "03", [100.0, 102.0, 104.0]),
        ("calf", "moss", "04", [120.0, 122.0, 124.0]),
        ("chest", "fern", "03", [100.0, 102.0, 104.0]),
        ("chest", "moss", "03", [100.0, 102.0, 104.0]),
        ("chest", "fern", "04", [120.0, 122.0, 124.0]),
        ("chest", "moss", "04", [120.0, 122.0, 124.0]),
    ];
    let mut events = "wearer,sensor,time,event,site,cause\n".to_owned();
    let (mut readings, mut fingersticks) = (String::new(), String::new());
    for (number, (site, wearer, month, values)) in WORN.iter().enumerate() {
        for (place, reading) in values.iter().enumerate() {
            let day = 1 + 2 * place + if *site == "chest" { 10 } else { 0 };
            let (sensor, next) = (format!("s{number}{place}"), day + 1);
            let noon = format!("2026-{month}-{day:02}T12:00Z");
            events += &format!("{wearer},{sensor},2026-{month}-{day:02}T02:00Z,insert,{site},\n");
            events += &format!("{wearer},{sensor},2026-{month}-{next:02}T02:00Z,end,,chosen\n");
            readings += &format!("{wearer},{sensor},{noon},{reading}\n");
            fingersticks += &format!("{wearer},{noon},100\n");
        }
    }
    let study = Study::new(IN_UTC);
    study
        .write("wear-events/e.csv", events)
        .write(
            "readings/r.csv",
            format!("wearer,sensor,time,glucose\n{readings}"),
        )
        .write(
            "fingersticks/f.csv",
            format!("wearer,time,glucose\n{fingersticks}"),
        );
    let table = study.report().table("since_last_month");
    let found = |site| {
        let row = table.row(&[("site", site), ("measure", "bias")]);
        close(row.number("difference"), 20.0, 1e-6, site);
        row.text("finding").to_owned()
    };
    assert_eq!(found("calf"), "other people wore it");
    assert_eq!(found("chest"), "up, more than chance");
}
