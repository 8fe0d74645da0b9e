//! Conclusions on studies small enough to be followed by hand.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod settle;
mod told;
mod went;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use whereworn_stats::conclusions::{
    Conclusion, Confounder, Ending, Measure, Night, Pair, Plan, Primary, RowKey, Sensor, Study,
    Verdict, conclude, conclude_each,
};
use whereworn_stats::delay::SensorDelay;
use whereworn_stats::survival::pseudo::pseudo_incidence;

/// A sensor worn for ten days to its end, one pair at half time whose reading is so far off.
fn sensor(site: usize, inserted: f64, difference: f64) -> Sensor {
    Sensor {
        site,
        inserted,
        rated_days: 10.0,
        known_until: inserted + 10.0,
        ending: Ending::Censored,
        pairs: vec![Pair {
            time: inserted + 5.0,
            difference,
            relative: difference / 100.0,
            routine: true,
            age: 5.0,
            rank: 0.5,
            meter: 0,
            rate: None,
        }],
        nights: vec![Night {
            end: inserted + 1.0,
            artefacts: 0.0,
            age: 0.5,
        }],
        ..Sensor::default()
    }
}

fn study(sensors: Vec<Sensor>, looks: &[f64]) -> Study<'static> {
    Study {
        sites: vec!["arm", "belly"],
        sensors,
        looks: looks.to_vec(),
    }
}

/// One planned row.
fn plan(measure: Measure) -> Plan {
    Plan {
        primary: vec![Primary::Measure(measure)],
        reference: Some("arm".to_owned()),
        ..Plan::default()
    }
}

fn row(conclusions: &[Conclusion], measure: Measure) -> &Conclusion {
    conclusions
        .iter()
        .find(|one| one.measure == measure && one.against == Some(1))
        .expect("a row")
}

/// Student's sleep data (Cushny and Peebles 1905, from memory), as R has them; its manual prints t = -1.8608, df = 17.776, p = 0.07939 for
/// Welch's test.
const SLEEP: [[f64; 10]; 2] = [
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
];

fn two_sites(values: [&[f64]; 2]) -> Vec<Sensor> {
    let mut sensors = Vec::new();
    for (site, values) in values.into_iter().enumerate() {
        for (place, value) in values.iter().enumerate() {
            sensors.push(sensor(site, (2 * place + site) as f64, *value));
        }
    }
    sensors
}

#[test]
fn one_block_of_alike_sensors_is_welchs_test() {
    let study = study(two_sites([&SLEEP[0], &SLEEP[1]]), &[100.0]);
    let plan = Plan {
        margins: vec![(Measure::ReadsHighOrLow, 1.0)],
        ..plan(Measure::ReadsHighOrLow)
    };
    let found = conclude(&study, &plan, None);
    let row = row(&found, Measure::ReadsHighOrLow);
    // 80 % of the error lies on the one planned row.
    assert!((row.p.expect("p") * 0.8 - 0.07939).abs() < 5e-6);
    assert!((row.difference.expect("difference") + 1.58).abs() < 1e-12);
    // 1.58 / 1.8608 is the standard error; t of 17.776 degrees of freedom at 0.98 is 2.21587 (its density summed up by
    // Simpson's rule).
    let interval = row.interval.expect("interval");
    assert!((interval.lower + 1.58 + 2.21587 * 1.58 / 1.8608).abs() < 2e-4);
    assert!((interval.upper - (2.21587 * 1.58 / 1.8608 - 1.58)).abs() < 2e-4);
    assert_eq!(row.sensors, [10, 10]);
    assert_eq!(row.verdict, Verdict::Open);
}

/// None of ten comes off against eight of ten, one a day: of 184,756 ways to lay out the sites 66 are as far apart one way
/// (which ten of the twelve that stayed on), and 66 the other.
#[test]
fn staying_on_is_judged_by_shuffled_sites() {
    let mut sensors = two_sites([&[0.0; 10], &[0.0; 10]]);
    let of_second = sensors.iter_mut().filter(|sensor| sensor.site == 1);
    for (day, sensor) in of_second.take(8).enumerate() {
        sensor.known_until = sensor.inserted + 1.0 + day as f64;
        sensor.ending = Ending::CameOff;
    }
    let found = conclude(&study(sensors, &[100.0]), &plan(Measure::StaysOn), None);
    let p = row(&found, Measure::StaysOn).p.expect("p");
    let counted = 2.0 * 66.0 / 184_756.0;
    assert!((0.8 * p / counted - 1.0).abs() < 1e-6, "{p}");
}

#[test]
fn the_other_way_round_is_the_same_with_other_signs() {
    let straight = conclude(
        &study(two_sites([&SLEEP[0], &SLEEP[1]]), &[100.0]),
        &Plan::default(),
        None,
    );
    let turned = conclude(
        &study(two_sites([&SLEEP[1], &SLEEP[0]]), &[100.0]),
        &Plan::default(),
        None,
    );
    for (one, other) in straight.iter().zip(&turned) {
        assert_eq!(
            one.difference.map(f64::to_bits),
            other.difference.map(|d| (0.0 - d).to_bits())
        );
        let close = |a: f64, b: f64| (a - b).abs() < 1e-9 * (1.0 + a.abs());
        assert!(close(one.evidence, other.evidence));
        assert!(close(one.p.unwrap_or(2.0), other.p.unwrap_or(2.0)));
    }
}

#[test]
fn nothing_compared_has_evidence_of_one_and_is_open() {
    let few = vec![
        sensor(0, 0.0, 5.0),
        sensor(0, 20.0, 6.0),
        sensor(1, 40.0, 90.0),
    ];
    let found = conclude(&study(few, &[100.0]), &Plan::default(), None);
    let row = row(&found, Measure::ReadsHighOrLow);
    assert_eq!((row.evidence, row.p, row.interval), (1.0, None, None));
    assert_eq!(row.verdict, Verdict::Open);
    assert!((row.difference.expect("difference") + 84.5).abs() < 1e-9);
    // What nobody measured at all was not taken away by anything.
    let mut bare = vec![sensor(0, 0.0, 5.0), sensor(1, 20.0, 6.0)];
    bare.iter_mut().for_each(|s| s.pairs.clear());
    let without = conclude(&study(bare, &[100.0]), &Plan::default(), None);
    let without = without.iter().find(|one| one.measure == Measure::ReadsTrue);
    assert_eq!(without.expect("a row").withdrawn, []);
    // No `others` where there are two sites, no delay where no sensor tells one.
    assert_eq!(found.len(), 4);
}

/// Sensors far apart, as a study that settles the matter.
fn far_apart() -> Vec<Sensor> {
    let jitter = [0.3, -0.6, 0.1, 0.8, -0.2, -0.9, 0.5, 0.2, -0.4, 0.7];
    let at = |level: f64| -> Vec<f64> { jitter.iter().map(|j| level + 3.0 * j).collect() };
    two_sites([&at(0.0), &at(20.0)])
}

#[test]
fn a_plain_difference_differs_and_more_data_never_take_back_what_was_said() {
    let looks: Vec<f64> = (1..=12).map(|look| 3.0 * f64::from(look)).collect();
    let study = study(far_apart(), &looks);
    let plan = plan(Measure::ReadsHighOrLow);
    let each = conclude_each(&study, &plan);
    assert_eq!(conclude(&study, &plan, None), *each.last().expect("looks"));
    let mut said = 0.0;
    for (place, report) in each.iter().enumerate() {
        let row = row(report, Measure::ReadsHighOrLow);
        assert!(row.evidence >= said);
        said = if row.sensors.iter().all(|n| *n >= 3) {
            row.evidence
        } else {
            said
        };
        // What a look gives does not depend on what came after it.
        let until = Study {
            looks: looks[..=place].to_vec(),
            sensors: study
                .sensors
                .iter()
                .filter(|sensor| sensor.inserted <= looks[place])
                .cloned()
                .collect(),
            ..study.clone()
        };
        let alone = conclude(&until, &plan, None);
        assert_eq!(alone, *report);
    }
    let last = row(each.last().expect("looks"), Measure::ReadsHighOrLow);
    assert_eq!(last.verdict, Verdict::Differs);
    assert!(last.interval.expect("interval").upper < 0.0);
    assert_eq!(last.more_sensors, None);
}

#[test]
fn tight_sensors_are_alike_within_the_margin_and_not_within_a_smaller_one() {
    let jitter = [0.3, -0.6, 0.1, 0.8, -0.2, -0.9, 0.5, 0.2, -0.4, 0.7];
    let shifted: Vec<f64> = jitter.iter().rev().map(|j| j + 0.1).collect();
    let study = study(two_sites([&jitter, &shifted]), &[100.0]);
    let mut plan = plan(Measure::ReadsHighOrLow);
    let verdict = |plan: &Plan| row(&conclude(&study, plan, None), Measure::ReadsHighOrLow).verdict;
    assert_eq!(verdict(&plan), Verdict::Alike);
    plan.margins = vec![(Measure::ReadsHighOrLow, 0.3)];
    assert_eq!(verdict(&plan), Verdict::Open);
}

/// Two people, in whom sites read as far apart one way and the other: their mean is 0, the margin 5. Where they differ by more than
/// chance, and by so much that others would lie beyond the margin, the sites are not alike, and no number of sensors is named.
#[test]
fn people_of_whom_no_two_are_alike_are_not_alike() {
    let jitter = [0.3, -0.6, 0.1, 0.8, -0.2, -0.9, 0.5, 0.2, -0.4, 0.7];
    let said = |apart: f64, scatter: f64| {
        let of_person = |person: usize| {
            let sign = if person == 0 { 0.5 } else { -0.5 };
            let arm = jitter.map(|j| scatter * j + sign * apart);
            let mut belly = jitter.map(|j| scatter * j - sign * apart);
            belly.reverse();
            let mut sensors = two_sites([&arm, &belly]);
            sensors.iter_mut().for_each(|s| s.wearer = person);
            sensors
        };
        let sensors: Vec<Sensor> = [0, 1].into_iter().flat_map(of_person).collect();
        let found = conclude(
            &study(sensors, &[100.0]),
            &plan(Measure::ReadsHighOrLow),
            None,
        );
        let row = row(&found, Measure::ReadsHighOrLow).clone();
        assert!(row.difference.expect("difference").abs() < 1e-9);
        (row.verdict, row.withdrawn, row.more_sensors)
    };
    let withdrawn = (Verdict::Open, vec![Confounder::Wearer], None);
    assert_eq!(said(0.5, 1.0), (Verdict::Alike, vec![], None));
    // 2.6 either way, with standard errors of 2: Q is 3.3, p 0.08.
    assert_eq!(said(2.6, 8.0), (Verdict::Alike, vec![], None));
    // The spread is 2.68: 1.96 of it are beyond the margin of 5, 1.64 are not.
    assert_eq!(said(1.9, 1.0), withdrawn);
    assert_eq!(said(8.0, 1.0), withdrawn);
    assert!(said(0.5, 14.0).2.is_some());
    assert_eq!(said(12.0, 14.0), (Verdict::Open, vec![], None));
}

#[test]
fn a_claim_is_withdrawn_for_what_went_with_the_site() {
    let with = |change: fn(&mut Sensor)| -> Conclusion {
        let mut sensors = far_apart();
        sensors.iter_mut().filter(|s| s.site == 1).for_each(change);
        let found = conclude(
            &study(sensors, &[100.0]),
            &plan(Measure::ReadsHighOrLow),
            None,
        );
        row(&found, Measure::ReadsHighOrLow).clone()
    };
    let reasons = |change: fn(&mut Sensor)| with(change).withdrawn;
    assert_eq!(reasons(|_| ()), []);
    assert_eq!(reasons(|s| s.tape = 1), [Confounder::Tape]);
    assert_eq!(reasons(|s| s.lot = 1), [Confounder::Lot]);
    assert_eq!(reasons(|s| s.model = 1), [Confounder::Model]);
    assert_eq!(reasons(|s| s.wearer = 1), [Confounder::Wearer]);
    assert_eq!(reasons(|s| s.quarter = 1), [Confounder::Season]);
    assert_eq!(reasons(|s| s.clock_doubted = true), [Confounder::Clock]);
    assert_eq!(reasons(|s| s.unit_doubted = true), [Confounder::Unit]);
    assert_eq!(
        reasons(|s| s.pairs[0].routine = false),
        [Confounder::Purpose]
    );
    assert_eq!(reasons(|s| s.pairs[0].age = 0.5), [Confounder::Age]);
    assert_eq!(with(|s| s.tape = 1).verdict, Verdict::Open);
    // Lots of one sensor each went with no site.
    let mut sensors = far_apart();
    sensors.iter_mut().for_each(|s| s.lot = s.inserted as usize);
    let found = conclude(
        &study(sensors, &[100.0]),
        &plan(Measure::ReadsHighOrLow),
        None,
    );
    assert_eq!(row(&found, Measure::ReadsHighOrLow).withdrawn, []);
}

/// Five sensors a quarter for two years: the arm in winter, the belly in summer, but for one sensor in each of some quarters. What the season does is no claim on sites, also where it is not all of what they differ by on average; a difference
/// that is there within quarters is.
#[test]
fn a_claim_that_went_with_the_seasons_has_to_hold_within_them() {
    let reasons = |crossed: usize, of_site: f64, of_season: f64| {
        let sensors = (0..40).map(|place| {
            let (quarter, in_quarter) = (place / 5, place % 5);
            let summer = quarter % 2 == 1;
            let site = usize::from(summer != (in_quarter == 2 && quarter < crossed));
            let scatter = [1.0, -2.0, 0.5, 2.5, -2.0, 1.5, -1.5][place % 7];
            let level = of_site * site as f64 + if summer { of_season } else { 0.0 };
            let mut one = sensor(site, 18.0 * place as f64, level + scatter);
            one.quarter = quarter as i32;
            one
        });
        let found = conclude(
            &study(sensors.collect(), &[1000.0]),
            &plan(Measure::ReadsHighOrLow),
            None,
        );
        let row = row(&found, Measure::ReadsHighOrLow);
        (row.verdict, row.withdrawn.clone())
    };
    let withdrawn = (Verdict::Open, vec![Confounder::Season]);
    assert_eq!(reasons(8, 0.0, 10.0), withdrawn);
    assert_eq!(reasons(2, 0.0, 10.0), withdrawn);
    assert_eq!(reasons(4, 1.5, 3.0), withdrawn);
    assert_eq!(reasons(8, 10.0, 0.0), (Verdict::Differs, vec![]));
}

#[test]
fn a_claim_falls_where_a_shared_tape_explains_it() {
    // Nine of ten at the second site under another tape, which all of the difference goes with.
    let sensors = |explained: bool| -> Vec<Sensor> {
        let mut sensors = far_apart();
        for (place, sensor) in sensors.iter_mut().enumerate() {
            let taped = (place % 10 == 0) != (sensor.site == 1);
            sensor.tape = usize::from(taped);
            if explained && place % 10 == 0 {
                let level = if taped { 20.0 } else { -20.0 };
                sensor.pairs[0].difference += level;
            }
        }
        sensors
    };
    let withdrawn = |explained| {
        let found = conclude(
            &study(sensors(explained), &[100.0]),
            &plan(Measure::ReadsHighOrLow),
            None,
        );
        let row = row(&found, Measure::ReadsHighOrLow);
        assert!(explained || row.verdict == Verdict::Differs);
        row.withdrawn.clone()
    };
    assert_eq!(withdrawn(false), []);
    assert_eq!(withdrawn(true), [Confounder::Tape]);
}

#[test]
fn sensors_are_compared_within_wearers() {
    // Each wearer reads 50 apart from the other; within each, the belly reads 2 higher.
    let mut sensors = Vec::new();
    for place in 0..12 {
        let (wearer, site) = (place / 6, place % 2);
        let level = 50.0 * wearer as f64 + 2.0 * site as f64 + 0.2 * (place % 3) as f64;
        sensors.push(Sensor {
            wearer,
            ..sensor(site, place as f64, level)
        });
    }
    let found = conclude(
        &study(sensors, &[100.0]),
        &plan(Measure::ReadsHighOrLow),
        None,
    );
    let row = row(&found, Measure::ReadsHighOrLow);
    assert_eq!(row.wearers, 2);
    assert!((row.difference.expect("difference") + 2.0).abs() < 0.2);
    assert_eq!(row.verdict, Verdict::Differs);
}

#[test]
fn what_is_told_of_coming_off_and_nights_is_what_was_seen() {
    let mut sensors = far_apart();
    for (place, sensor) in sensors.iter_mut().enumerate() {
        let off = if sensor.site == 1 {
            place % 10 < 7
        } else {
            place % 10 < 2
        };
        if off {
            (sensor.known_until, sensor.ending) = (sensor.inserted + 4.0, Ending::CameOff);
        }
        sensor.nights[0].artefacts = f64::from(u8::from(off));
    }
    let found = conclude(&study(sensors, &[100.0]), &Plan::default(), None);
    // 2 of 10 against 7 of 10 came off; 20 against 70 artefacts per 100 nights of one night a sensor.
    let stays = row(&found, Measure::StaysOn);
    assert!((stays.difference.expect("difference") + 0.5).abs() < 1e-12);
    let quiet = row(&found, Measure::QuietAtNight);
    assert!((quiet.difference.expect("difference") + 50.0).abs() < 1e-9);
    let interval = stays.interval.expect("interval");
    assert!(interval.lower > -1.0 && interval.lower < -0.7 && interval.upper >= 0.0);
}

#[test]
fn families_follow_the_plan() {
    let sites = ["arm", "belly", "back"];
    let none = Plan::default();
    assert_eq!(none.hash(), "");
    assert_eq!(none.reference(&sites, &[3, 7, 7]), Some(1));
    assert_eq!(none.reference(&sites, &[0, 0, 0]), None);
    let usual = none.primary_rows(&sites, Some(1));
    assert_eq!(usual.len(), 6);
    assert!(usual.contains(&RowKey::new(Measure::StaysOn, 1, 0)));
    assert!(!usual.contains(&RowKey::new(Measure::ReadsHighOrLow, 1, 0)));
    let planned = Plan {
        primary: vec![
            Primary::Measure(Measure::ReadsHighOrLow),
            Primary::Row {
                measure: Measure::QuietAtNight,
                site: "back".to_owned(),
                against: "arm".to_owned(),
            },
        ],
        reference: Some("back".to_owned()),
        margins: vec![(Measure::StaysOn, 0.2)],
    };
    assert_eq!(planned.reference(&sites, &[9, 7, 1]), Some(2));
    let rows = planned.primary_rows(&sites, Some(2));
    assert_eq!(rows.len(), 3);
    assert!(rows.contains(&RowKey::new(Measure::QuietAtNight, 0, 2)));
    assert_eq!(planned.margin(Measure::StaysOn), 0.2);
    assert_eq!(planned.margin(Measure::Delay), 3.0);
    // The order in which a plan is written is no other plan; another margin is.
    let mut other = planned.clone();
    other.primary.reverse();
    assert_eq!(planned.hash(), other.hash());
    assert_eq!(planned.hash().len(), 16);
    other.margins[0].1 = 0.3;
    assert_ne!(planned.hash(), other.hash());
}

#[test]
fn planned_means_before_the_first_data() {
    let study = study(far_apart(), &[100.0]);
    let plan = plan(Measure::ReadsHighOrLow);
    let planned = |since: Option<f64>| {
        let found = conclude(&study, &plan, since);
        (
            row(&found, Measure::ReadsHighOrLow).planned,
            row(&found, Measure::StaysOn).planned,
        )
    };
    assert_eq!(planned(None), (false, false));
    assert_eq!(planned(Some(-1.0)), (true, false));
    assert_eq!(planned(Some(5.0)), (false, false));
}

/// Ten observations by hand: without censoring, pseudo-observations are what happened; with it, their mean is near the
/// Aalen-Johansen estimate (Andersen, Klein and Rosthøj 2003).
#[test]
fn pseudo_observations_are_what_happened_where_nothing_is_censored() {
    let (days, causes) = ([1.0, 2.0, 3.0, 4.0], [Some(0), Some(1), Some(0), None]);
    let values = pseudo_incidence(&days, &causes, 0);
    for (value, expected) in values.iter().zip([1.0, 0.0, 1.0, 0.0]) {
        assert!((value - expected).abs() < 1e-12);
    }
    // Censored on day 1, one of two left comes off on day 2: F = 1/2; without each in turn 1/2, 0, 1.
    let values = pseudo_incidence(&[1.0, 2.0, 3.0], &[None, Some(0), None], 0);
    for (value, expected) in values.iter().zip([0.5, 1.5, -0.5]) {
        assert!((value - expected).abs() < 1e-12);
    }
}

/// Four sensors at the arm came off one after the other, three at the belly stayed on: the most extreme way they could have gone.
/// By hand: drawn with a chance of 2 in 3 of the arm, p = 2 (2/3)^4 (1/3)^3; where the lot could give one site only nothing
/// was drawn, and 2 of 35 ways to shuffle them are as extreme; each over the share of the primary row, 0.8.
#[test]
fn what_was_drawn_is_drawn_again_by_the_chances_it_had() {
    let p = |chances: [[f64; 2]; 2]| {
        let one = |number: usize| {
            let site = usize::from(number % 2 == 1);
            let mut one = sensor(site, 12.0 * number as f64, 0.0);
            if site == 0 {
                one.ending = Ending::CameOff;
                one.known_until = one.inserted + 2.0 + number as f64 / 2.0;
            }
            one.chances = chances[site].to_vec();
            one
        };
        let study = study((0..7).map(one).collect(), &[100.0]);
        let said = conclude(&study, &plan(Measure::StaysOn), None);
        row(&said, Measure::StaysOn).p.unwrap()
    };
    let near = |found: f64, expected: f64| {
        let expected = expected / 0.8;
        assert!((found / expected - 1.0).abs() < 1e-3, "{found} {expected}");
    };
    let odds = [2.0 / 3.0, 1.0 / 3.0];
    near(p([odds; 2]), 2.0 * odds[0].powi(4) * odds[1].powi(3));
    // A third site that was open takes nothing from the odds of the two.
    near(p([[0.4, 0.2]; 2]), 2.0 * odds[0].powi(4) * odds[1].powi(3));
    near(p([[1.0, 0.0], [0.0, 1.0]]), 2.0 / 35.0);
}

/// Sensors of both sites come off alike, but four in five of the belly's are taken off on day 4: shuffling takes sites for alike
/// in every way, so this could have passed for a difference. At most 7 % of reports may say so, as everywhere.
#[test]
fn sensors_taken_off_early_at_one_site_are_no_difference() {
    for (arm, belly) in [(10, 30), (30, 10)] {
        let said = (0..1000).filter(|study| {
            let random = &mut ChaCha8Rng::seed_from_u64(*study);
            taken_off_early(arm, belly, random) < 0.05
        });
        let share = said.count() as f64 / 1000.0;
        assert!(share < 0.07, "{arm} and {belly} sensors: {share}");
    }
}

fn taken_off_early(arm: usize, belly: usize, random: &mut ChaCha8Rng) -> f64 {
    let one = |number: usize| {
        let site = usize::from(number >= arm);
        let lasts = -(1.0 - random.random::<f64>()).ln() / 0.04;
        let early = site == 1 && random.random::<f64>() < 0.8;
        let on = if early { 4.0 } else { 10.0 };
        let mut one = sensor(site, 400.0 * random.random::<f64>(), 0.0);
        one.known_until = one.inserted + lasts.min(on);
        if lasts < on {
            one.ending = Ending::CameOff;
        }
        one
    };
    let study = study((0..arm + belly).map(one).collect(), &[500.0]);
    let said = conclude(&study, &plan(Measure::StaysOn), None);
    row(&said, Measure::StaysOn).p.unwrap()
}

/// By hand: a pair's noise of 7 % and sensors that differ by 3 minutes give a sensor of weight 0.07² / 9 half of what one has whose
/// noise is next to nothing, (10 + 4 / 2 + 4 / 2) / 2 = 7; weighed by noise alone the first would speak for its site, with 10.
#[test]
fn a_sensor_that_was_checked_often_does_not_speak_for_its_site() {
    let mut sensors = two_sites([&[0.0; 3], &[0.0; 3]]);
    let half = 0.07 * 0.07 / 9.0;
    let delays = [10.0, 4.0, 4.0, 0.0, 0.0, 0.0];
    for ((sensor, minutes), weight) in sensors
        .iter_mut()
        .zip(delays)
        .zip([1e9, half, half].repeat(2))
    {
        sensor.delay = Some(SensorDelay { minutes, weight });
    }
    let found = conclude(&study(sensors, &[100.0]), &plan(Measure::Delay), None);
    let difference = row(&found, Measure::Delay).difference.expect("difference");
    assert!((difference - 7.0).abs() < 1e-6, "{difference}");
}
