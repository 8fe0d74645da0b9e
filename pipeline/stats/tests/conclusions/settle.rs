//! How many more sensors it takes.

use super::*;
use whereworn_stats::conclusions::{Outlook, chance, more_sensors};
use whereworn_stats::delay::SensorDelay;

const OUTLOOK: Outlook = Outlook {
    difference: 10.0,
    sd: 10.0,
    df: f64::INFINITY,
    sensors: [0.0, 0.0],
    score: 0.0,
    margin: 1.0,
    capital: 75.0,
    tail: 0.025 * 0.8 / 3.0,
    reach: None,
};

#[test]
fn more_sensors_settle_with_a_rising_chance() {
    let chances: Vec<f64> = (1..60).map(|more| chance(&OUTLOOK, more)).collect();
    assert!(chances.windows(2).all(|pair| pair[1] >= pair[0] - 1e-12));
    let more = more_sensors(&OUTLOOK).expect("settles");
    assert!(chance(&OUTLOOK, more) >= 0.8 && chance(&OUTLOOK, more - 1) < 0.8);
    // By hand: it takes a z of about 3.3 and 0.84 more for four of five, so (4.15 / 1)² · 2 = 34 sensors a site.
    assert!((30..=40).contains(&more), "{more}");
    // Half the spread takes about a quarter of them; an unsure one takes more.
    let half = Outlook { sd: 5.0, ..OUTLOOK };
    assert!((6..=12).contains(&more_sensors(&half).expect("settles")));
    let unsure = Outlook { df: 4.0, ..OUTLOOK };
    assert!(more_sensors(&unsure).expect("settles") > more);
    // No difference: alike within a margin of one SD, never within a hundredth.
    let none = Outlook {
        difference: 0.0,
        margin: 10.0,
        ..OUTLOOK
    };
    assert!(more_sensors(&none).is_some());
    assert_eq!(
        more_sensors(&Outlook {
            margin: 0.1,
            ..none
        }),
        None
    );
}

/// By hand: no difference, margin 2 and an interval that reaches 3 with ten sensors a site (I = 5). Four times as many bring it to
/// 1.5, and leave 0.5 for the difference, which scatters with an sd of 1 / √20: 2.2 of those, or 0.97; with twice as many
/// it still reaches 2.1.
#[test]
fn an_interval_shrinks_from_where_it_ends() {
    let so_far = Outlook {
        difference: 0.0,
        sd: 1.0,
        sensors: [10.0; 2],
        margin: 2.0,
        reach: Some(3.0),
        ..OUTLOOK
    };
    let at = |more| chance(&so_far, more);
    assert!(at(10) < 0.01, "{}", at(10));
    // Of those 20 of information 5 are past: what is to come scatters by √15 / 20.
    let by_hand = 1.0 - 2.0 * 0.004_9;
    assert!((at(30) - by_hand).abs() < 0.001, "{}", at(30));
}

/// A unit of weight is no sensor: the same delays with other weights take as many more.
#[test]
fn weights_of_delays_have_no_unit() {
    let asked = |unit: f64| {
        let minutes = [5.0, 9.0, 3.0, 8.0, 6.0];
        let mut sensors = two_sites([&[0.0; 5], &[0.0; 5]]);
        for (place, sensor) in sensors.iter_mut().enumerate() {
            sensor.delay = Some(SensorDelay {
                minutes: minutes[place % 5] + 4.0 * sensor.site as f64,
                weight: unit,
            });
        }
        let found = conclude(&study(sensors, &[100.0]), &plan(Measure::Delay), None);
        row(&found, Measure::Delay).more_sensors
    };
    assert!(asked(1.0).is_some());
    assert_eq!(asked(1.0), asked(50.0));
}
