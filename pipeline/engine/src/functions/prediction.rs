//! Aggregates on what the next sensor will do and on how people differ, each a thin adapter.

use whereworn_stats::mixed::people::{Effects, of_means, of_rates, of_shares};
use whereworn_stats::mixed::random_effects::random_effects;
use whereworn_stats::prediction::level::next_level;
use whereworn_stats::prediction::usable_days::next_days;
use whereworn_stats::rates::clustered::Cluster;

use super::arguments::Kind::{Label, Number};
use super::arguments::plain;
use super::collect::{Evaluate, Rows, Statistic};
use Evaluate::{Many, One};

type Values = Option<Vec<Option<f64>>>;

/// See [`super::statistics::ALL`].
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "next_level",
        arguments: &[
            plain("value", Number),
            plain("sensor", Label),
            plain("limit", Number),
        ],
        fields: &[
            "sensors",
            "mean",
            "lower",
            "upper",
            "tolerance_lower",
            "tolerance_upper",
            "beyond",
            "beyond_lower",
            "beyond_upper",
            "other_way",
            "other_way_bound",
            "agree",
        ],
        about: "what the next sensor reads on average: 95 % prediction, limits that hold 95 of 100 sensors, share of sensors beyond the limit either way and on the other side of 0 than the mean, and whether they agree; from three sensors on",
        example: "SELECT site, get_field(next_level(100 * relative_difference, sensor_no, 15), 'lower') AS lower FROM pairs GROUP BY site ORDER BY site",
        evaluate: One(level_of_next),
    },
    Statistic {
        name: "next_days",
        arguments: &[
            plain("day", Number),
            plain("ended", Number),
            plain("horizon", Number),
        ],
        fields: &["sensors", "lower", "median", "upper", "reaches"],
        about: "days up to any ending (`ended` is 1, or 0 where censored) that the next sensor reaches, with a 95 % prediction, and its chance to reach the horizon; from three sensors on",
        example: "SELECT site, get_field(next_days(day, any_ending, rated_days), 'median') AS days FROM lives GROUP BY site ORDER BY site",
        evaluate: One(days_of_next),
    },
    Statistic {
        name: "people_means",
        arguments: &[plain("person_no", Number), plain("value", Number)],
        fields: OF_PEOPLE,
        about: "a list, one a person: mean of values, one a sensor, drawn towards the mean over people, with how much people differ and what a new one would have",
        example: "SELECT UNNEST(people_means(person_no, value)) AS found FROM (VALUES (1, 2.0), (1, 3.0), (2, 4.0)) AS t (person_no, value)",
        evaluate: Many(means_of_people),
    },
    Statistic {
        name: "people_rates",
        arguments: &[
            plain("person_no", Number),
            plain("events", Number),
            plain("exposure", Number),
        ],
        fields: OF_PEOPLE,
        about: "the same of events per 100 of exposure, a row for each sensor",
        example: "SELECT UNNEST(people_rates(person_no, events, exposure)) AS found FROM (VALUES (1, 2, 10.0), (1, 3, 12.0), (2, 4, 9.0)) AS t (person_no, events, exposure)",
        evaluate: Many(rates_of_people),
    },
    Statistic {
        name: "people_shares",
        arguments: &[
            plain("person_no", Number),
            plain("day", Number),
            plain("ending", Number),
            plain("horizon", Number),
        ],
        fields: OF_PEOPLE,
        about: "the same of the share with the ending by the horizon",
        example: "SELECT UNNEST(people_shares(person_no, day, ending, horizon)) AS found FROM (VALUES (1, 1, 1, 1), (0, 0, 0, 0)) AS t (person_no, day, ending, horizon)",
        evaluate: Many(shares_of_people),
    },
];

fn level_of_next(rows: &Rows) -> Values {
    let limit = *rows.numbers(2).first()?;
    let next = next_level(rows.numbers(0), &rows.labels(1), limit)?;
    Some(vec![
        Some(next.sensors as f64),
        Some(next.mean),
        Some(next.prediction.lower),
        Some(next.prediction.upper),
        Some(next.tolerance.lower),
        Some(next.tolerance.upper),
        Some(next.beyond.value),
        Some(next.beyond.interval.lower),
        Some(next.beyond.interval.upper),
        Some(next.other_way.value),
        Some(next.other_way.upper_bound),
        Some(f64::from(u8::from(next.agree()))),
    ])
}

fn days_of_next(rows: &Rows) -> Values {
    let ended: Vec<bool> = rows.numbers(1).iter().map(|ended| *ended > 0.0).collect();
    let horizon = *rows.numbers(2).first()?;
    let next = next_days(rows.numbers(0), &ended, horizon)?;
    Some(vec![
        Some(next.sensors as f64),
        Some(next.prediction.lower),
        Some(next.median),
        Some(next.prediction.upper),
        Some(next.reaches),
    ])
}

/// What a list of people has in each row: the person's own figures, then those over people, the same in every row.
const OF_PEOPLE: &[&str] = &[
    "person",
    "estimate",
    "lower",
    "upper",
    "shrunken",
    "shrunken_lower",
    "shrunken_upper",
    "mean",
    "spread",
    "spread_lower",
    "spread_upper",
    "p",
    "new_lower",
    "new_upper",
];

/// People's effects around their mean, times a factor that turns them into the unit of the table.
fn around_the_mean(effects: Option<Effects>, factor: f64) -> Vec<Vec<Option<f64>>> {
    let Some(effects) = effects else {
        return Vec::new();
    };
    let fit = random_effects(&effects.effects, effects.df);
    let scaled = |value: f64| Some(factor * value);
    let over_people: Vec<Option<f64>> = match &fit {
        Some(fit) => vec![
            scaled(fit.mean),
            scaled(fit.spread.estimate),
            scaled(fit.spread.interval.lower),
            scaled(fit.spread.interval.upper),
            Some(fit.p),
            fit.new_person.and_then(|new| scaled(new.lower)),
            fit.new_person.and_then(|new| scaled(new.upper)),
        ],
        None => vec![None; OF_PEOPLE.len() - 7],
    };
    let shrunken = |place: usize| fit.as_ref().and_then(|fit| fit.people.get(place));
    let people = effects.people.iter().zip(&effects.effects).enumerate();
    people
        .map(|(place, (&person, effect))| {
            let own = shrunken(place);
            let interval = effects.interval(effect);
            let mut row = vec![
                Some(person as f64),
                scaled(effect.estimate),
                scaled(interval.lower),
                scaled(interval.upper),
                own.and_then(|own| scaled(own.estimate)),
                own.and_then(|own| scaled(own.interval.lower)),
                own.and_then(|own| scaled(own.interval.upper)),
            ];
            row.extend(&over_people);
            row
        })
        .collect()
}

fn numbers_of_people(numbers: &[f64]) -> Vec<usize> {
    numbers.iter().map(|number| *number as usize).collect()
}

fn means_of_people(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let people = numbers_of_people(rows.numbers(0));
    around_the_mean(of_means(rows.numbers(1), &people), 1.0)
}

fn rates_of_people(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let people = numbers_of_people(rows.numbers(0));
    let sensors = rows.numbers(1).iter().zip(rows.numbers(2));
    let sensors: Vec<Cluster> = sensors.map(|(&sum, &size)| Cluster { sum, size }).collect();
    around_the_mean(of_rates(&sensors, &people), 100.0)
}

fn shares_of_people(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let people = numbers_of_people(rows.numbers(0));
    let cause = |ending: &f64| (*ending > 0.0).then_some(usize::from(*ending > 1.0));
    let causes: Vec<Option<usize>> = rows.numbers(2).iter().map(cause).collect();
    let Some(&horizon) = rows.numbers(3).first() else {
        return Vec::new();
    };
    around_the_mean(of_shares(rows.numbers(1), &causes, &people, horizon), 1.0)
}
