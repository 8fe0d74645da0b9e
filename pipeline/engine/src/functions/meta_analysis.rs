//! Aggregates on differences within people, brought together over people, each a thin adapter.

use whereworn_stats::mixed::meta_analysis::{
    Mean, differences, meta_analysis, of_mean_differences, without_each,
};
use whereworn_stats::mixed::people::{Effects, of_rates, of_shares};
use whereworn_stats::rates::clustered::Cluster;

use super::arguments::Kind::Number;
use super::arguments::plain;
use super::collect::{Evaluate, Rows, Statistic};
use Evaluate::Many;

/// Most people of whom each is left out in turn: where there are more, no single one moves the mean, and it would take long.
const MOST_LEFT_OUT: usize = 100;

/// See [`super::statistics::ALL`]. `second` is 1 at the site whose figure the other's is taken from, 0 at the other.
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "within_people_means",
        arguments: &[
            plain("person_no", Number),
            plain("second", Number),
            plain("value", Number),
        ],
        fields: WITHIN,
        about: "a list, one a person with sensors at both of two sites: difference of means of values, one a sensor, its share in the mean over people and that mean without the person; and over people the mean, how much people differ and what a new one would have",
        example: "SELECT UNNEST(within_people_means(person_no, second, value)) AS found FROM (VALUES (1, 0, 2.0), (1, 1, 3.0), (1, 1, 3.5), (2, 0, 4.0), (2, 1, 5.0)) AS t (person_no, second, value)",
        evaluate: Many(means),
    },
    Statistic {
        name: "within_people_rates",
        arguments: &[
            plain("person_no", Number),
            plain("second", Number),
            plain("events", Number),
            plain("exposure", Number),
        ],
        fields: WITHIN,
        about: "the same of events per 100 of exposure, a row for each sensor",
        example: "SELECT UNNEST(within_people_rates(person_no, second, events, exposure)) AS found FROM (VALUES (1, 0, 2, 10.0), (1, 1, 3, 12.0), (2, 0, 4, 9.0), (2, 1, 4, 8.0)) AS t (person_no, second, events, exposure)",
        evaluate: Many(rates),
    },
    Statistic {
        name: "within_people_shares",
        arguments: &[
            plain("person_no", Number),
            plain("second", Number),
            plain("day", Number),
            plain("ending", Number),
            plain("horizon", Number),
        ],
        fields: WITHIN,
        about: "the same of the share with the ending by the horizon",
        example: "SELECT UNNEST(within_people_shares(person_no, second, day, ending, horizon)) AS found FROM (VALUES (1, 0, 3.0, 1, 10.0), (1, 1, 10.0, 0, 10.0), (2, 0, 4.0, 1, 10.0), (2, 1, 8.0, 1, 10.0)) AS t (person_no, second, day, ending, horizon)",
        evaluate: Many(shares),
    },
];

/// What a list of people has in each row: the person's own figures, then those over people, the same in every row.
const WITHIN: &[&str] = &[
    "person",
    "difference",
    "lower",
    "upper",
    "weight",
    "without",
    "without_lower",
    "without_upper",
    "mean",
    "mean_lower",
    "mean_upper",
    "p",
    "spread",
    "spread_lower",
    "spread_upper",
    "p_alike",
    "new_lower",
    "new_upper",
];

/// Fields of a row that are the person's own.
const OWN: usize = 8;

/// A list of differences, times a factor that turns them into the unit of the table.
fn listed(effects: Option<Effects>, factor: f64) -> Vec<Vec<Option<f64>>> {
    let Some(effects) = effects else {
        return Vec::new();
    };
    let scaled = |value: f64| Some(factor * value);
    let summary = meta_analysis(&effects.effects, effects.df);
    let over_people = match &summary {
        Some(summary) => vec![
            scaled(summary.effects.mean),
            scaled(summary.interval.lower),
            scaled(summary.interval.upper),
            Some(summary.p),
            scaled(summary.effects.spread.estimate),
            scaled(summary.effects.spread.interval.lower),
            scaled(summary.effects.spread.interval.upper),
            Some(summary.effects.p),
            summary.effects.new_person.and_then(|new| scaled(new.lower)),
            summary.effects.new_person.and_then(|new| scaled(new.upper)),
        ],
        None => vec![None; WITHIN.len() - OWN],
    };
    let weight = |place: usize| summary.as_ref()?.weights.get(place).copied();
    let without = match effects.people.len() {
        0..=MOST_LEFT_OUT => without_each(&effects.effects),
        _ => Vec::new(),
    };
    let without = |place: usize| -> Option<Mean> { without.get(place).copied().flatten() };
    let people = effects.people.iter().zip(&effects.effects).enumerate();
    let row = |(place, (person, effect)): (usize, (&usize, _))| {
        let interval = effects.interval(effect);
        let without = without(place);
        let mut row = vec![
            Some(*person as f64),
            scaled(effect.estimate),
            scaled(interval.lower),
            scaled(interval.upper),
            weight(place),
            without.and_then(|mean| scaled(mean.estimate)),
            without.and_then(|mean| scaled(mean.interval.lower)),
            without.and_then(|mean| scaled(mean.interval.upper)),
        ];
        row.extend(&over_people);
        row
    };
    people.map(row).collect()
}

fn people(rows: &Rows) -> Vec<usize> {
    let numbers = rows.numbers(0).iter();
    numbers.map(|number| *number as usize).collect()
}

fn seconds(rows: &Rows) -> Vec<bool> {
    rows.numbers(1).iter().map(|second| *second > 0.0).collect()
}

/// The places of the rows at one of the two sites.
fn places(rows: &Rows, second: bool) -> Vec<usize> {
    let sides = seconds(rows).into_iter().enumerate();
    let own = sides.filter(|(_, side)| *side == second);
    own.map(|(place, _)| place).collect()
}

fn of<T: Copy>(values: &[T], places: &[usize]) -> Vec<T> {
    let own = places.iter().filter_map(|place| values.get(*place));
    own.copied().collect()
}

/// The second less the first, each estimated from its own rows.
fn less(rows: &Rows, estimate: impl Fn(&[usize]) -> Option<Effects>) -> Option<Effects> {
    let [first, second] = [false, true].map(|second| estimate(&places(rows, second)));
    Some(differences(&first?, &second?))
}

fn means(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let found = of_mean_differences(rows.numbers(2), &people(rows), &seconds(rows));
    listed(found, 1.0)
}

fn rates(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let sensors = rows.numbers(2).iter().zip(rows.numbers(3));
    let sensors: Vec<Cluster> = sensors.map(|(&sum, &size)| Cluster { sum, size }).collect();
    let people = people(rows);
    let at = |places: &[usize]| of_rates(&of(&sensors, places), &of(&people, places));
    listed(less(rows, at), 100.0)
}

fn shares(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let Some(&horizon) = rows.numbers(4).first() else {
        return Vec::new();
    };
    let cause = |ending: &f64| (*ending > 0.0).then_some(usize::from(*ending > 1.0));
    let causes: Vec<Option<usize>> = rows.numbers(3).iter().map(cause).collect();
    let (days, people) = (rows.numbers(2), people(rows));
    let at = |places: &[usize]| {
        let people = of(&people, places);
        of_shares(&of(days, places), &of(&causes, places), &people, horizon)
    };
    listed(less(rows, at), 1.0)
}
