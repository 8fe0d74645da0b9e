//! Claims that fall, or hold, beside what went with a site: meters, sides of the body, trends and lost nights.

use super::{plan, row, sensor, study, two_sites};
use whereworn_stats::conclusions::{
    BodySide, Confounder, Ending, Measure, Night, Pair, Sensor, Verdict, conclude,
};

/// Verdict, and what it was withdrawn for.
fn said(sensors: Vec<Sensor>, measure: Measure) -> (Verdict, Vec<Confounder>) {
    let found = conclude(&study(sensors, &[1000.0]), &plan(measure), None);
    let row = row(&found, measure);
    (row.verdict, row.withdrawn.clone())
}

/// Twelve sensors a site of ten pairs each, made from the site, the sensor's place and the pair's.
fn of_pairs(pair: impl Fn(usize, usize, usize) -> Pair) -> Vec<Sensor> {
    let mut sensors = two_sites([&[0.0; 12], &[0.0; 12]]);
    for (place, sensor) in sensors.iter_mut().enumerate() {
        let own = [1.0, -2.0, 0.5, 2.5, -2.0, 1.5, -1.5][place % 7];
        let first = sensor.pairs[0];
        let pairs = (0..10).map(|at| {
            let made = pair(sensor.site, place, at);
            let difference = made.difference + own + 0.1 * at as f64;
            Pair {
                time: first.time + 0.1 * at as f64,
                difference,
                relative: difference / 100.0,
                ..made
            }
        });
        sensor.pairs = pairs.collect();
    }
    sensors
}

fn plain() -> Pair {
    sensor(0, 0.0, 0.0).pairs[0]
}

const APART: (Verdict, Vec<Confounder>) = (Verdict::Differs, vec![]);

/// Two people with a meter each, who wore one sensor at one site and eleven at the other: each is compared with themselves, and
/// no meter goes with a site.
#[test]
fn a_meter_of_each_person_goes_with_no_site() {
    let mut sensors = of_pairs(|site, _, _| Pair {
        difference: 10.0 * site as f64,
        ..plain()
    });
    let mut alone = [false; 2];
    for sensor in &mut sensors {
        let first = !std::mem::replace(&mut alone[sensor.site], true);
        sensor.wearer = if first { 1 - sensor.site } else { sensor.site };
        for pair in &mut sensor.pairs {
            pair.meter = sensor.wearer;
        }
    }
    assert_eq!(said(sensors, Measure::ReadsHighOrLow).1, []);
}

/// One of two meters reads 10 mg/dL higher, and most fingersticks of the belly are taken with it.
#[test]
fn a_difference_that_goes_with_the_meter() {
    let checked = |of_site: f64, of_meter: f64, crossed: fn(usize, usize) -> bool| {
        let sensors = of_pairs(|site, place, at| {
            let meter = if crossed(place, at) { 1 - site } else { site };
            Pair {
                difference: of_site * site as f64 + of_meter * meter as f64,
                meter,
                ..plain()
            }
        });
        said(sensors, Measure::ReadsHighOrLow)
    };
    let withdrawn = (Verdict::Open, vec![Confounder::Meter]);
    let [never, some_pairs, some_sensors]: [fn(usize, usize) -> bool; 3] = [
        |_, _| false,
        |place, at| (at + place) % 5 == 0,
        |place, _| place % 8 < 2,
    ];
    assert_eq!(checked(10.0, 0.0, never), withdrawn);
    assert_eq!(checked(0.0, -10.0, some_pairs), withdrawn);
    assert_eq!(checked(10.0, 0.0, some_pairs), APART);
    assert_eq!(checked(0.0, -10.0, some_sensors), withdrawn);
    assert_eq!(checked(10.0, 0.0, some_sensors), APART);
    // Nor is it told by a sensor at either site.
    let one: fn(usize, usize) -> bool = |place, at| place % 12 == 0 && at == 4;
    assert_eq!(checked(10.0, 0.0, one), withdrawn);
}

/// Meters that read alike, each with seven of ten fingersticks of one site, take nothing from a difference of sites.
#[test]
fn meters_that_most_sensors_were_checked_with() {
    let sensors = of_pairs(|site, place, at| Pair {
        difference: 8.0 * site as f64 + [4.0, -4.0, 2.0, 0.0, -2.0][(at + place) % 5],
        meter: if (at + place) % 10 < 3 {
            1 - site
        } else {
            site
        },
        ..plain()
    });
    assert_eq!(said(sensors, Measure::ReadsHighOrLow), APART);
}

/// That meters read alike is told by six pairs, which scatter so that they might read 10 mg/dL apart as well.
#[test]
fn a_difference_that_goes_with_the_meter_but_for_a_few_pairs() {
    let sensors = of_pairs(|site, place, at| {
        let crossed = place % 12 < 3 && at == 4;
        let scatter = [15.0, -15.0, 10.0, -10.0, 0.0, 20.0, -20.0, 5.0, -5.0, 0.0];
        Pair {
            difference: 10.0 * site as f64 + scatter[at],
            meter: if crossed { 1 - site } else { site },
            ..plain()
        }
    });
    let withdrawn = (Verdict::Open, vec![Confounder::Meter]);
    assert_eq!(said(sensors, Measure::ReadsHighOrLow), withdrawn);
}

/// Meters that either site used, as often as chance allows: what they read apart is still no difference of sites.
#[test]
fn a_difference_of_meters_that_fell_so_by_chance() {
    let used = [
        [2, 6, 4, 3, 5, 2, 6, 4, 3, 5, 4, 4],
        [4, 6, 5, 5, 6, 3, 7, 5, 5, 6, 4, 6],
    ];
    let checked = |of_site: f64, of_meter: f64| {
        let sensors = of_pairs(|site, place, at| {
            let meter = usize::from(at < used[site][place % 12]);
            Pair {
                difference: of_site * site as f64 + of_meter * meter as f64,
                meter,
                ..plain()
            }
        });
        said(sensors, Measure::ReadsHighOrLow)
    };
    assert_eq!(checked(0.0, 40.0), (Verdict::Open, vec![Confounder::Meter]));
    assert_eq!(checked(9.0, 0.0), APART);
}

/// Sensors ten minutes behind, at the belly checked while glucose rises by a mg/dL a minute more, in noise as large.
#[test]
fn a_difference_that_goes_with_how_glucose_moves() {
    let checked = |difference: f64, rises: f64| {
        let sensors = of_pairs(|site, place, at| Pair {
            difference: difference * site as f64,
            rate: Some(rises * site as f64 + (0.7 * (7 * place + 3 * at) as f64).sin()),
            ..plain()
        });
        said(sensors, Measure::ReadsHighOrLow)
    };
    let withdrawn = (Verdict::Open, vec![Confounder::Trend]);
    assert_eq!(checked(-10.0, 1.0), withdrawn);
    assert_eq!(checked(-10.0, 0.0), APART);
    // A sensor that is behind reads low while glucose rises, not high; and 15 minutes explain less than half of this.
    assert_eq!(checked(10.0, 1.0), APART);
    assert_eq!(checked(-31.0, 1.0), APART);
    // What rises is off by more, too.
    let off = |site: usize| if site == 1 { 9.0 } else { 3.0 };
    let further = |rises: f64| {
        let sensors = of_pairs(|site, _, at| Pair {
            difference: off(site) * if at % 2 == 0 { 1.0 } else { -1.0 },
            rate: Some(rises * site as f64 + 0.1 * (at % 3) as f64),
            ..plain()
        });
        said(sensors, Measure::ReadsTrue)
    };
    assert_eq!(further(0.0), APART);
    assert_eq!(further(0.5), withdrawn);
}

/// Ten nights a sensor: artefacts and lost nights made from the site and the sensor's place.
fn of_nights(make: impl Fn(usize, usize, &mut Sensor) -> [usize; 2]) -> Vec<Sensor> {
    let mut sensors = two_sites([&[0.0; 16], &[0.0; 16]]);
    for (place, sensor) in sensors.iter_mut().enumerate() {
        let [artefacts, lost] = make(sensor.site, place, sensor);
        let end = |night: usize| sensor.inserted + 1.0 + night as f64;
        let night = |night: usize| Night {
            end: end(night),
            artefacts: f64::from(u8::from(night < artefacts)),
            age: night as f64,
        };
        sensor.nights = (0..10 - lost).map(night).collect();
        sensor.lost_nights = (10 - lost..10).map(end).collect();
    }
    sensors
}

/// Whoever lies on the left disturbs what is worn there: at the arm in three of four sensors, at the belly in one.
#[test]
fn nights_that_go_with_the_side_of_the_body() {
    // Nor do sensors stay on longer at a side that knocks against nothing.
    let mut knocked = of_nights(|_, _, _| [0, 0]);
    for (place, sensor) in knocked.iter_mut().enumerate() {
        sensor.side = Some(if sensor.site == 0 {
            BodySide::Left
        } else {
            BodySide::Right
        });
        if sensor.site == 1 && place % 8 > 0 {
            sensor.known_until = sensor.inserted + 1.0 + 0.1 * place as f64;
            sensor.ending = Ending::CameOff;
        }
    }
    let side = vec![Confounder::Side];
    assert_eq!(said(knocked, Measure::StaysOn), (Verdict::Open, side));
    let lain_on = |left: usize, right: usize, belly: usize, known: bool| {
        let sensors = of_nights(|site, place, sensor| {
            let is_left = (place / 2 % 4 != 0) == (site == 0);
            let side = if is_left {
                BodySide::Left
            } else {
                BodySide::Right
            };
            sensor.side = known.then_some(side);
            let disturbed = if is_left { left } else { right } + belly * site;
            [disturbed + place / 2 % 3, 0]
        });
        said(sensors, Measure::QuietAtNight)
    };
    let withdrawn = (Verdict::Open, vec![Confounder::Side]);
    assert_eq!(lain_on(6, 0, 0, true), withdrawn);
    assert_eq!(lain_on(6, 0, 0, false).1, []);
    assert_eq!(lain_on(0, 0, 6, true), APART);
    // What a sensor reads knows no side: there sites may be worn on one each.
    let mut read = of_pairs(|site, _, _| Pair {
        difference: 10.0 * site as f64,
        ..plain()
    });
    for sensor in &mut read {
        sensor.side = Some(if sensor.site == 0 {
            BodySide::Left
        } else {
            BodySide::Right
        });
    }
    assert_eq!(said(read, Measure::ReadsHighOrLow), APART);
    // The middle of the body is neither.
    let middle = of_nights(|site, place, sensor| {
        sensor.side = (site == 0).then_some(BodySide::Left);
        [6 * site + place / 2 % 3, 0]
    });
    assert_eq!(said(middle, Measure::QuietAtNight), APART);
}

/// Sensors of the belly come off after three nights; the first two of any are the bad ones.
#[test]
fn nights_that_go_with_the_age_of_wear() {
    let young = |of_site: usize, of_age: usize, alike: bool| {
        let mut sensors = of_nights(|_, _, _| [0, 0]);
        for (place, sensor) in sensors.iter_mut().enumerate() {
            if sensor.site == 1 && (alike || place % 4 > 0) {
                sensor.nights.truncate(3);
            }
            let site = sensor.site;
            for (night, of) in sensor.nights.iter_mut().enumerate() {
                let bad = of_age * usize::from(night < 2) + of_site * site;
                of.artefacts = (bad + usize::from((place / 2 + night) % 5 == 0)) as f64;
            }
        }
        said(sensors, Measure::QuietAtNight)
    };
    let withdrawn = (Verdict::Open, vec![Confounder::Age]);
    assert_eq!(young(0, 3, false), withdrawn);
    assert_eq!(young(0, 3, true), withdrawn);
    assert_eq!(young(1, 0, false), APART);
}

/// Where pressure cuts the signal, the worst nights are the missing ones.
#[test]
fn nights_that_were_lost_where_it_seems_quiet() {
    let lost = |arm: [usize; 2], belly: [usize; 2]| {
        let of = [arm, belly];
        let sensors = of_nights(|site, place, _| {
            let [artefacts, lost] = of[site];
            [artefacts + place / 2 % 2, lost]
        });
        said(sensors, Measure::QuietAtNight)
    };
    let withdrawn = (Verdict::Open, vec![Confounder::Gaps]);
    assert_eq!(lost([4, 0], [0, 0]), APART);
    assert_eq!(lost([4, 0], [0, 4]), withdrawn);
    assert_eq!(lost([4, 1], [0, 1]), APART);
    assert_eq!(lost([4, 4], [0, 0]), APART);
    assert_eq!(lost([4, 0], [0, 2]), APART);
}
