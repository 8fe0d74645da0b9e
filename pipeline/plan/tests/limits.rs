//! The hard limits over random logs: each is looked up again here, day by day, from the raw log.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use whereworn_plan::gain::Tilt;
use whereworn_plan::history::{Day, History, Injection, Side, SkinLook, Spot, Worn};
use whereworn_plan::limits::{Limit, Opening, Rules, opening};
use whereworn_plan::schedule::{Draw, Pending, Planned, Request, Schedule, schedule};

const TODAY: Day = 20_000;
const SITES: usize = 6;

struct Dice(ChaCha8Rng);

impl Dice {
    fn below(&mut self, bound: i64) -> i64 {
        (self.0.next_u64() % bound as u64) as i64
    }
    fn chance(&mut self, in_ten: i64) -> bool {
        self.below(10) < in_ten
    }
    fn side(&mut self) -> Option<Side> {
        [
            Some(Side::Left),
            Some(Side::Right),
            Some(Side::Middle),
            None,
        ][self.below(4) as usize]
    }
    fn site(&mut self) -> usize {
        self.below(SITES as i64) as usize
    }
}

fn random_log(dice: &mut Dice) -> (History, Rules) {
    let rules = Rules {
        allowed: (0..SITES).filter(|_| dice.chance(6)).collect(),
        rest_days: dice.below(30),
        rest_days_after_skin: 20 + dice.below(40),
        rated_days: 1 + dice.below(15),
        today: TODAY,
        known_until: TODAY,
    };
    let mut history = History::default();
    for _ in 0..dice.below(14) {
        let from = TODAY - dice.below(120);
        let on = dice.chance(1);
        let until = from + dice.below(16);
        history.worn.push(Worn {
            site: dice.site(),
            side: dice.side(),
            from,
            until: if on {
                until.max(TODAY)
            } else {
                until.min(TODAY)
            },
            on,
        });
    }
    for _ in 0..dice.below(5) {
        let grade = dice.below(10).min(4) as u8;
        history.skin.push(SkinLook {
            site: dice.site(),
            side: dice.side(),
            day: TODAY - dice.below(80),
            grade: if dice.chance(5) { 0 } else { grade },
        });
    }
    history.skin.sort_by_key(|look| look.day);
    for _ in 0..dice.below(4) {
        history.injections.push(Injection {
            site: dice.site(),
            side: dice.side(),
            day: TODAY - dice.below(50),
        });
    }
    (history, rules)
}

fn random_pending(dice: &mut Dice) -> Vec<Pending> {
    // Also after the last row of the log, where that is behind.
    let one = |number: usize, dice: &mut Dice| {
        let drawn = TODAY + dice.below(46) - 30;
        Pending {
            number,
            spot: Spot {
                site: dice.site(),
                side: Side::PLANNED[dice.below(2) as usize],
            },
            drawn,
            latest: drawn + 30,
            draw: Draw {
                block: 1,
                allowed: vec![0],
                probability: 1.0,
                chances: vec![1.0],
            },
        }
    };
    (1..=dice.below(3) as usize)
        .map(|number| one(number, dice))
        .collect()
}

/// Whether something at `site` and `side` touches a spot; what has no side touches all.
fn touches(site: usize, side: Option<Side>, spot: Spot) -> bool {
    site == spot.site && (side.is_none() || side == Some(spot.side))
}

/// The first limit that a sensor at this spot on this day would break.
fn broken(history: &History, rules: &Rules, spot: Spot, day: Day) -> Option<&'static str> {
    let there = |worn: &&Worn| touches(worn.site, worn.side, spot);
    if !rules.allowed.contains(&spot.site) {
        return Some("a site that is not allowed");
    }
    if day < TODAY {
        return Some("in the past");
    }
    if history.worn.iter().any(|worn| worn.on && worn.until > day) {
        return Some("another sensor still within its rated wear");
    }
    for worn in history.worn.iter().filter(there) {
        // Days that the spot was left alone.
        let alone = (worn.until + 1..day).count() as Day;
        if alone < rules.rest_days || worn.until >= day {
            return Some("too short a rest");
        }
    }
    let looks: Vec<&SkinLook> = history
        .skin
        .iter()
        .filter(|look| touches(look.site, look.side, spot))
        .collect();
    if let Some(last) = looks.last() {
        let healed = last.grade == 0 || last.grade == 1 && day - last.day > 28;
        if !healed {
            return Some("not healed");
        }
    }
    for look in looks.iter().filter(|look| look.grade >= 2) {
        let ended = history
            .worn
            .iter()
            .filter(there)
            .filter(|worn| worn.from <= look.day);
        let from = ended
            .map(|worn| worn.until)
            .chain([look.day])
            .max()
            .unwrap();
        if ((from + 1..day).count() as Day) < rules.rest_days_after_skin {
            return Some("too short a rest after itch");
        }
    }
    let injected: Vec<&Injection> = history
        .injections
        .iter()
        .filter(|injection| injection.site == spot.site && TODAY - injection.day <= 30)
        .collect();
    if !injected.is_empty() {
        if injected
            .iter()
            .all(|injection| injection.side == Some(spot.side))
        {
            return Some("the only side of injections");
        }
        if history
            .worn
            .iter()
            .any(|worn| worn.site == spot.site && worn.until > day)
        {
            return Some("no side left for injections");
        }
    }
    None
}

fn hold(history: &History, rules: &Rules, plan: &Schedule, case: u64) {
    let mut history = history.clone();
    let mut before: Option<&Planned> = None;
    for planned in &plan.sensors {
        let found = broken(&history, rules, planned.spot, planned.earliest);
        assert_eq!(
            found, None,
            "log {case}: {planned:?}\n{rules:?}\n{history:?}"
        );
        assert!(matches!(planned.spot.side, Side::Left | Side::Right));
        if let Some(before) = before {
            assert!(
                planned.earliest >= before.earliest + rules.rated_days,
                "log {case}: rated wear"
            );
        }
        if let Some(latest) = planned.latest {
            assert!(
                planned.earliest <= latest,
                "log {case}: a draw that ran out"
            );
        } else {
            let least = 0.1_f64.min(1.0 / planned.draw.allowed.len() as f64);
            assert!(
                planned.draw.probability >= least - 1e-12,
                "log {case}: {planned:?}"
            );
            let place = planned
                .draw
                .allowed
                .iter()
                .position(|site| *site == planned.spot.site);
            let chances = &planned.draw.chances;
            assert_eq!(chances.len(), planned.draw.allowed.len(), "log {case}");
            assert!(
                (chances.iter().sum::<f64>() - 1.0).abs() < 1e-9,
                "log {case}"
            );
            assert_eq!(
                place.map(|place| chances[place]),
                Some(planned.draw.probability)
            );
        }
        history.worn.push(Worn {
            site: planned.spot.site,
            side: Some(planned.spot.side),
            from: planned.earliest,
            until: planned.earliest + rules.rated_days,
            on: false,
        });
        before = Some(planned);
    }
}

/// What went in before it was drawn does not count as drawn, and a week is left before a new draw runs out after 30 days.
fn draws_can_be_worn(request: &Request<'_>, plan: &Schedule, case: u64) {
    for planned in plan.sensors.iter().filter(|planned| planned.drawn) {
        let pending = request.pending.iter();
        let from = match pending.clone().find(|p| p.number == planned.number) {
            Some(pending) => pending.drawn,
            None => {
                assert!(planned.earliest <= TODAY + 23, "log {case}");
                TODAY
            }
        };
        assert!(planned.earliest >= from, "log {case}: {planned:?}");
    }
}

#[test]
fn no_limit_is_broken_over_ten_thousand_random_logs() {
    let (mut planned, mut short) = (0, 0);
    for case in 0..10_000 {
        let mut dice = Dice(ChaCha8Rng::seed_from_u64(case));
        let (history, rules) = random_log(&mut dice);
        let pending = random_pending(&mut dice);
        let tilt = Tilt {
            learn: dice.below(3) as f64 / 2.0,
            open: vec![vec![1.0, -1.0, 0.0, 0.0, 0.0, 0.0]],
            best: vec![0.5, 0.1, 0.1, 0.1, 0.1, 0.1],
        };
        let request = Request {
            history: &history,
            rules: &rules,
            tilt: &tilt,
            pending: &pending,
            drawn: &[],
            next_number: pending.len() + 1,
            sensors: 6,
            seed: &case.to_string(),
        };
        let plan = schedule(&request);
        hold(&history, &rules, &plan, case);
        draws_can_be_worn(&request, &plan, case);
        assert_eq!(
            plan,
            schedule(&request),
            "log {case}: the same log gives the same plan"
        );
        planned += plan.sensors.len();
        assert_eq!(plan.is_short, plan.sensors.len() < 6, "log {case}");
        if plan.sensors.len() < 6 {
            short += 1;
            assert_eq!(
                plan.closed.len(),
                2 * rules.allowed.len(),
                "log {case}: each spot says why"
            );
            // Far ahead, nothing but what no rest ends keeps a spot closed.
            for (spot, limit) in &plan.closed {
                assert!(
                    broken(&history, &rules, *spot, TODAY + 5000).is_some(),
                    "log {case}"
                );
                assert!(
                    matches!(limit, Limit::NotHealed | Limit::InjectionSide),
                    "log {case}: {limit:?}"
                );
            }
        }
    }
    assert!(
        planned > 40_000 && short > 10,
        "{planned} sensors, {short} short: the logs test little"
    );
}

/// A day earlier some limit would be broken, or the sensor before would be on: sensors are not put off without a reason.
#[test]
fn a_sensor_goes_in_as_early_as_the_limits_allow() {
    let mut reasons = std::collections::BTreeMap::<&str, usize>::new();
    for case in 0..2_000 {
        let mut dice = Dice(ChaCha8Rng::seed_from_u64(case));
        let (history, rules) = random_log(&mut dice);
        let request = Request {
            history: &history,
            rules: &rules,
            tilt: &Tilt::default(),
            pending: &[],
            drawn: &[],
            next_number: 1,
            sensors: 1,
            seed: "early",
        };
        let Some(first) = schedule(&request).sensors.first().cloned() else {
            continue;
        };
        for &site in &rules.allowed {
            for side in Side::PLANNED {
                let found = broken(&history, &rules, Spot { site, side }, first.earliest - 1);
                let why = found.unwrap_or_else(|| {
                    panic!("log {case}: {side:?} of {site} was open a day before")
                });
                *reasons.entry(why).or_default() += 1;
            }
        }
    }
    assert!(reasons.len() >= 5, "{reasons:?}");
}

const LEFT: Spot = Spot {
    site: 0,
    side: Side::Left,
};
const RIGHT: Spot = Spot {
    site: 0,
    side: Side::Right,
};

fn rules(rest_days: Day, rated_days: Day) -> Rules {
    Rules {
        allowed: vec![0],
        rest_days,
        rest_days_after_skin: 28,
        rated_days,
        today: TODAY,
        known_until: TODAY,
    }
}

/// A sensor that came off.
fn worn(spot: Spot, from: Day, until: Day) -> Worn {
    Worn {
        site: spot.site,
        side: Some(spot.side),
        from,
        until,
        on: false,
    }
}

/// By hand: after a rest of 5 days the sixth day is open, and on that day nothing stands in the way any more.
#[test]
fn on_the_day_after_its_rest_nothing_keeps_a_spot_closed() {
    let ended = |days: Day| History {
        worn: vec![worn(LEFT, TODAY - 20, TODAY - days)],
        ..History::default()
    };
    let found = [5, 6].map(|days| opening(&ended(days), &rules(5, 10), LEFT));
    let resting = Opening::From(TODAY + 1, Some(Limit::Resting));
    assert_eq!(found, [resting, Opening::From(TODAY, None)]);
}

/// Who injects on both sides keeps one of them free: while a sensor is on the left, the right is none for a second.
#[test]
fn a_sensor_on_one_side_leaves_the_other_to_injections() {
    let mut history = History {
        worn: vec![worn(LEFT, TODAY - 1, TODAY + 9)],
        ..History::default()
    };
    let open = Opening::From(TODAY, None);
    assert_eq!(opening(&history, &rules(5, 10), RIGHT), open);
    history.injections = Side::PLANNED
        .map(|side| Injection {
            site: 0,
            side: Some(side),
            day: TODAY - 3,
        })
        .to_vec();
    let room = Opening::From(TODAY + 9, Some(Limit::InjectionRoom));
    assert_eq!(opening(&history, &rules(5, 10), RIGHT), room);
}

/// The skin itched 60 days ago and healed; the sensor of the last weeks was put on afterwards and rests as any other.
#[test]
fn a_sensor_after_the_itch_rests_no_longer_for_it() {
    let look = |days: Day, grade: u8| SkinLook {
        site: 0,
        side: Some(Side::Left),
        day: TODAY - days,
        grade,
    };
    let history = History {
        worn: vec![
            worn(LEFT, TODAY - 70, TODAY - 61),
            worn(LEFT, TODAY - 20, TODAY - 10),
        ],
        skin: vec![look(60, 2), look(25, 0)],
        ..History::default()
    };
    let open = Opening::From(TODAY, None);
    assert_eq!(opening(&history, &rules(5, 10), LEFT), open);
}

fn next_sensors(history: &History, rules: &Rules, sensors: usize) -> Vec<Planned> {
    let request = Request {
        history,
        rules,
        tilt: &Tilt::default(),
        pending: &[],
        drawn: &[],
        next_number: 1,
        sensors,
        seed: "next",
    };
    schedule(&request).sensors
}

/// Sensors wander between the sides: the next one goes to the side that was left alone the longer, or never worn at all.
#[test]
fn the_side_that_rested_longest_is_next() {
    for (left, right, next) in [
        (Some(100), Some(50), LEFT),
        (Some(50), Some(100), RIGHT),
        (None, Some(100), LEFT),
        (Some(100), None, RIGHT),
    ] {
        let one = |spot: Spot, days: Option<Day>| {
            days.map(|days| worn(spot, TODAY - days - 10, TODAY - days))
        };
        let both = [one(LEFT, left), one(RIGHT, right)];
        let history = History {
            worn: both.into_iter().flatten().collect(),
            ..History::default()
        };
        let first = &next_sensors(&history, &rules(5, 10), 1)[0];
        assert_eq!(first.spot, next, "{left:?} {right:?}");
    }
}

/// Draws hold for 30 days and leave a week for going in: what falls due in 23 days is drawn, a day later it is only foreseen.
#[test]
fn what_is_due_in_23_days_is_drawn() {
    for (rated, drawn) in [(23, true), (24, false)] {
        let next = next_sensors(&History::default(), &rules(5, rated), 2);
        assert_eq!(next[1].earliest, TODAY + rated);
        assert_eq!(next[1].drawn, drawn, "{rated}");
    }
}
