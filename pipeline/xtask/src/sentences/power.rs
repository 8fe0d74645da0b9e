//! How often a true difference is said.

use super::conditions::{of_demo, ten_and_sixty, with_effect};
use super::{Line, NAMES, Promise, generator};
use rayon::prelude::*;
use whereworn_simulate::studies::Design;
use whereworn_stats::conclusions::{Conclusion, Measure, Plan, Primary, Verdict, conclude};

/// Effects with which one test at the end finds four of five to nine of ten: measure, sensors a site, wearers, effect.
const EFFECTS: [(Measure, usize, usize, f64); 13] = [
    (Measure::ReadsHighOrLow, 10, 1, 10.5),
    (Measure::ReadsHighOrLow, 16, 4, 8.5),
    (Measure::ReadsHighOrLow, 20, 1, 6.7),
    (Measure::ReadsTrue, 10, 1, 1.8),
    (Measure::ReadsTrue, 16, 4, 1.58),
    (Measure::ReadsTrue, 20, 1, 1.43),
    (Measure::StaysOn, 10, 1, 12.0),
    (Measure::StaysOn, 16, 4, 8.5),
    (Measure::StaysOn, 20, 1, 5.7),
    (Measure::QuietAtNight, 16, 4, 7.0),
    (Measure::QuietAtNight, 20, 1, 5.0),
    (Measure::QuietAtNight, 40, 4, 3.0),
    (Measure::Delay, 20, 1, 7.0),
];

/// Hands over the lines of each condition as they are found, or of the measures whose name holds a word.
pub fn lines(studies: usize, quick: bool, only: Option<&str>, found: &mut dyn FnMut(Vec<Line>)) {
    if !quick && only.is_none() {
        found(demo(studies));
    }
    if only.is_none() {
        found(detached(studies));
    }
    let wanted = |measure: Measure| only.is_none_or(|word| measure.name().contains(word));
    let effects = EFFECTS.into_iter();
    for (measure, sensors, wearers, effect) in effects.filter(|(measure, ..)| wanted(*measure)) {
        if !quick || (sensors, wearers) == (20, 1) {
            found(against_one_test(measure, sensors, wearers, effect, studies).into());
        }
    }
}

fn plan(rows: &[(Measure, &str, &str)]) -> Plan {
    let row = |(measure, site, against): &(Measure, &str, &str)| Primary::Row {
        measure: *measure,
        site: (*site).to_owned(),
        against: (*against).to_owned(),
    };
    Plan {
        primary: rows.iter().map(row).collect(),
        ..Plan::default()
    }
}

/// Two sites that differ in one of three planned rows.
fn against_one_test(
    measure: Measure,
    sensors: usize,
    wearers: usize,
    effect: f64,
    studies: usize,
) -> [Line; 2] {
    let others = [
        Measure::StaysOn,
        Measure::QuietAtNight,
        Measure::ReadsHighOrLow,
    ];
    let others = others.into_iter().filter(|other| *other != measure).take(2);
    let rows: Vec<(Measure, &str, &str)> = std::iter::once(measure)
        .chain(others)
        .map(|of| (of, "a", "b"))
        .collect();
    let design = Design::plain(&with_effect(measure, effect), sensors, wearers);
    let condition = format!(
        "{} sensors a site, {wearers} wearers, effect {effect}",
        sensors
    );
    let found = reports(&design, &plan(&rows), &condition, studies);
    let share = |of: fn(&Conclusion) -> bool| share(&found, measure, [0, 1], of);
    let (once, ever) = (
        share(|row| row.p.is_some_and(|p| p < 0.05)),
        share(|row| row.verdict == Verdict::Differs),
    );
    let wanted = match once {
        once if once >= 0.85 => 0.75,
        once if once >= 0.80 => 0.6,
        _ => 0.0,
    };
    let name = measure.name();
    [
        Line::new(
            format!("{name}: one test at the end"),
            &condition,
            once,
            studies,
            Promise::None,
        ),
        Line::new(
            format!("{name}: `differs`, as a share of that"),
            &condition,
            ever / once,
            studies,
            if wanted > 0.0 {
                Promise::AtLeast(wanted)
            } else {
                Promise::None
            },
        ),
    ]
}

/// The demo's truths, seven sites of 16 sensors over 13 months, and a plan of three rows.
fn demo(studies: usize) -> Vec<Line> {
    let rows = [
        (Measure::QuietAtNight, "a", "b"),
        (Measure::ReadsHighOrLow, "d", "g"),
        (Measure::StaysOn, "c", "g"),
    ];
    let design = Design {
        months: 13,
        second_model: 0.25,
        ..Design::plain(&of_demo(), 16, 4)
    };
    let condition = "the demo's truths, 16 sensors a site of 4 wearers, 13 months, 3 planned rows";
    let found = reports(&design, &plan(&rows), condition, studies);
    let differs = |row: &Conclusion| row.verdict == Verdict::Differs;
    let line = |what: &str, measure, sites, of: fn(&Conclusion) -> bool, least| {
        let got = share(&found, measure, sites, of);
        Line::new(
            what.to_owned(),
            condition,
            got,
            found.len(),
            Promise::AtLeast(least),
        )
    };
    vec![
        line(
            "upper arm against abdomen at night: `differs`",
            Measure::QuietAtNight,
            [0, 1],
            differs,
            0.8,
        ),
        line(
            "thigh against forearm, high or low: `differs`",
            Measure::ReadsHighOrLow,
            [3, 6],
            differs,
            0.8,
        ),
        line(
            "lower back against forearm, stays on: `leans` or better",
            Measure::StaysOn,
            [2, 6],
            leans,
            0.6,
        ),
    ]
}

/// Two sites with 10 and 60 % lost, ten sensors each.
fn detached(studies: usize) -> Vec<Line> {
    let rows =
        [Measure::StaysOn, Measure::ReadsTrue, Measure::QuietAtNight].map(|of| (of, "a", "b"));
    let design = Design::plain(&ten_and_sixty(), 10, 1);
    let condition = "10 and 60 % come off, 10 sensors a site, 3 planned rows";
    let found = reports(&design, &plan(&rows), condition, studies);
    let got = share(&found, Measure::StaysOn, [0, 1], leans);
    vec![Line::new(
        "stays on: `leans` or better".to_owned(),
        condition,
        got,
        studies,
        Promise::AtLeast(0.4),
    )]
}

fn leans(row: &Conclusion) -> bool {
    matches!(row.verdict, Verdict::Differs | Verdict::Leans)
}

/// What is concluded at the end of each study.
fn reports(design: &Design, plan: &Plan, name: &str, studies: usize) -> Vec<Vec<Conclusion>> {
    (0..studies)
        .into_par_iter()
        .map(|number| {
            conclude(
                &design.draw(&NAMES, &mut generator(name, number)),
                plan,
                None,
            )
        })
        .collect()
}

fn share(
    found: &[Vec<Conclusion>],
    measure: Measure,
    [site, against]: [usize; 2],
    of: fn(&Conclusion) -> bool,
) -> f64 {
    let holds = |rows: &&Vec<Conclusion>| {
        let mut rows = rows.iter();
        let row = rows
            .find(|row| row.measure == measure && row.site == site && row.against == Some(against));
        row.is_some_and(of)
    };
    found.iter().filter(holds).count() as f64 / found.len() as f64
}
