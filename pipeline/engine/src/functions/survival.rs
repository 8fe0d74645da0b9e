//! Aggregates on how long sensors stay on, each a thin adapter. An ending is 0 (censored), 1 (the ending in question) or 2
//! (another one, that competes).

use whereworn_stats::interval::Interval;
use whereworn_stats::survival::beta_product::BetaProduct;
use whereworn_stats::survival::cox::CoxRefusal;
use whereworn_stats::survival::cox::exposed::exposed_hazard;
use whereworn_stats::survival::gray::stratified_gray_test;
use whereworn_stats::survival::incidence::cumulative_incidence;
use whereworn_stats::survival::kaplan_meier::{
    IntervalScale, KaplanMeier, Survival, SurvivalPoint,
};
use whereworn_stats::survival::lost::lost_bounds;

use super::arguments::Kind::{Code, Label, Number};
use super::arguments::{plain, with_unit};
use super::collect::{Evaluate, Rows, Statistic};
use Evaluate::{Many, One};

type Values = Option<Vec<Option<f64>>>;

/// See [`super::statistics::ALL`].
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "kaplan_meier",
        arguments: &[with_unit("day", Number, "days"), plain("event", Code(1))],
        fields: &[
            "day",
            "at_risk",
            "events",
            "censored",
            "survival",
            "std_error",
            "lower",
            "upper",
        ],
        about: "the Kaplan-Meier curve, one struct a day on which something happened, with Greenwood's error and 95 % intervals on the log(-log) scale",
        example: "SELECT site, UNNEST(kaplan_meier(day, event)) AS at FROM lives GROUP BY site ORDER BY site",
        evaluate: Many(curve),
    },
    Statistic {
        name: "survival_at",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("event", Code(1)),
            with_unit("at", Number, "days"),
        ],
        fields: &["survival", "lower", "upper"],
        about: "survival just after a day; empty past the last follow-up of a curve that has not reached 0",
        example: "SELECT site, get_field(survival_at(day, event, 7.0), 'survival') AS still_on FROM lives GROUP BY site ORDER BY site",
        evaluate: One(survival_on_day),
    },
    Statistic {
        name: "survival_summary",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("event", Code(1)),
            with_unit("horizon", Number, "days"),
        ],
        fields: &["median", "mean", "mean_error"],
        about: "median day of the event, and mean days without it up to the horizon with their standard error",
        example: "SELECT site, get_field(survival_summary(day, any_ending, rated_days), 'mean') AS usable FROM lives GROUP BY site ORDER BY site",
        evaluate: One(median_and_mean),
    },
    Statistic {
        name: "cumulative_incidence",
        arguments: &[with_unit("day", Number, "days"), plain("ending", Code(2))],
        fields: &["day", "incidence", "std_error"],
        about: "share that has had the ending (1) where another one (2) competes, one struct a day on which it happened; error by the delta method",
        example: "SELECT site, UNNEST(cumulative_incidence(day, ending)) AS at FROM lives GROUP BY site ORDER BY site",
        evaluate: Many(incidence),
    },
    Statistic {
        name: "survival_interval",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("ending", Code(2)),
            with_unit("horizon", Number, "days"),
        ],
        fields: &["lower", "upper", "mean_lower", "mean_upper"],
        about: "95 % intervals by mid-p beta products: of the share without the ending at the horizon, and of the mean days up to it",
        example: "SELECT site, get_field(survival_interval(day, ending, rated_days), 'lower') AS still_on FROM lives GROUP BY site ORDER BY site",
        evaluate: One(beta_product),
    },
    Statistic {
        name: "gray_test",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("ending", Code(2)),
            plain("site", Label),
            plain("stratum", Label),
        ],
        fields: &["chi_square", "df", "p"],
        about: "Gray's test of equal cumulative incidence of an ending between sites within strata, where others compete",
        example: "SELECT get_field(gray_test(day, ending, site, wearer), 'p') AS p FROM lives",
        evaluate: One(gray_of_sites),
    },
    Statistic {
        name: "hazard_ratio",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("event", Code(1)),
            plain("exposed", Code(1)),
            plain("stratum", Label),
        ],
        fields: &HAZARD_FIELDS,
        about: "Cox's hazard ratio of the exposed (1) to the rest (0) within strata, with Firth's penalty where one side has all events; `refusal`: 1 no events, 2 too few, 3 no contrast, 4 not settled",
        example: "SELECT get_field(hazard_ratio(day, event, CASE WHEN tape = 'none' THEN 0 ELSE 1 END, site), 'hazard_ratio') AS ratio FROM lives",
        evaluate: One(plain_hazard),
    },
    Statistic {
        name: "adjusted_hazard_ratio",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("event", Code(1)),
            plain("exposed", Code(1)),
            plain("stratum", Label),
            plain("tape", Label),
            plain("side", Label),
            plain("model", Label),
            with_unit("calendar", Number, "days"),
            plain("order_of_wear", Number),
        ],
        fields: &HAZARD_FIELDS,
        about: "`hazard_ratio` adjusted for three labels and two numbers, as far as they vary; five events for each coefficient, or refused",
        example: "SELECT get_field(adjusted_hazard_ratio(day, event, CASE WHEN site = 'chest' THEN 1 ELSE 0 END, wearer, tape, side, model, days_between(TIMESTAMP '2026-01-01T00:00:00Z', inserted), order_of_wear), 'hazard_ratio') AS ratio FROM lives",
        evaluate: One(adjusted_hazard),
    },
    Statistic {
        name: "lost_bounds",
        arguments: &[
            with_unit("day", Number, "days"),
            plain("ending", Code(2)),
            plain("lost", Code(1)),
            with_unit("horizon", Number, "days"),
        ],
        fields: &["lower", "upper"],
        about: "incidence of the ending by the horizon if none, or all, of the lost sensors had it when last seen",
        example: "SELECT site, get_field(lost_bounds(day, ending, lost, rated_days), 'upper') AS worst FROM lives GROUP BY site ORDER BY site",
        evaluate: One(bounds_of_lost),
    },
];

const HAZARD_FIELDS: [&str; 7] = [
    "hazard_ratio",
    "lower",
    "upper",
    "p",
    "penalised",
    "coefficients",
    "refusal",
];

fn first(numbers: &[f64]) -> Option<f64> {
    numbers.first().copied()
}

fn causes(rows: &Rows, position: usize) -> Vec<Option<usize>> {
    let cause = |ending: &f64| (*ending > 0.0).then_some(usize::from(*ending > 1.0));
    rows.numbers(position).iter().map(cause).collect()
}

fn flags(rows: &Rows, position: usize) -> Vec<bool> {
    rows.numbers(position)
        .iter()
        .map(|flag| *flag > 0.0)
        .collect()
}

fn fitted(rows: &Rows) -> KaplanMeier {
    KaplanMeier::fit(rows.numbers(0), &flags(rows, 1), IntervalScale::LogLog)
}

fn curve(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let row = |point: &SurvivalPoint| {
        let Survival {
            survival,
            std_error,
            interval,
        } = point.estimate;
        vec![
            Some(point.time),
            Some(point.at_risk as f64),
            Some(point.events as f64),
            Some(point.censored as f64),
            Some(survival),
            std_error,
            interval.map(|i| i.lower),
            interval.map(|i| i.upper),
        ]
    };
    fitted(rows).points.iter().map(row).collect()
}

fn survival_on_day(rows: &Rows) -> Values {
    let found = fitted(rows).at(first(rows.numbers(2))?)?;
    let interval = found.interval;
    Some(vec![
        Some(found.survival),
        interval.map(|i| i.lower),
        interval.map(|i| i.upper),
    ])
}

fn median_and_mean(rows: &Rows) -> Values {
    let curve = fitted(rows);
    let mean = curve.restricted_mean(first(rows.numbers(2))?)?;
    Some(vec![
        curve.median().value,
        Some(mean.mean),
        Some(mean.std_error),
    ])
}

fn incidence(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let curves = cumulative_incidence(rows.numbers(0), &causes(rows, 1), 2);
    let own = curves.into_iter().next().unwrap_or_default();
    let happened = own.iter().filter(|point| point.events > 0);
    happened
        .map(|point| {
            [point.time, point.incidence, point.std_error]
                .map(Some)
                .to_vec()
        })
        .collect()
}

fn beta_product(rows: &Rows) -> Values {
    let horizon = first(rows.numbers(2))?;
    let product = BetaProduct::new(rows.numbers(0), &causes(rows, 1));
    let (share, mean) = (product.free_at(horizon)?, product.restricted_mean(horizon)?);
    Some(
        [share.lower, share.upper, mean.lower, mean.upper]
            .map(Some)
            .to_vec(),
    )
}

fn gray_of_sites(rows: &Rows) -> Values {
    let (sites, strata) = (rows.labels(2), rows.labels(3));
    let test = stratified_gray_test(rows.numbers(0), &causes(rows, 1), &sites, &strata, 0)?;
    Some(vec![
        Some(test.chi_square),
        Some(test.df as f64),
        Some(test.p),
    ])
}

fn plain_hazard(rows: &Rows) -> Values {
    hazard(rows, Vec::new())
}

fn adjusted_hazard(rows: &Rows) -> Values {
    let mut others = Vec::new();
    for position in 4..7 {
        let levels = rows.labels(position);
        for level in 1..=levels.iter().copied().max().unwrap_or(0) {
            others.push(
                levels
                    .iter()
                    .map(|l| f64::from(u8::from(*l == level)))
                    .collect(),
            );
        }
    }
    for position in 7..9 {
        let numbers = rows.numbers(position);
        let most = numbers.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        others.push(numbers.iter().map(|number| number / most).collect());
    }
    hazard(rows, others)
}

fn hazard(rows: &Rows, others: Vec<Vec<f64>>) -> Values {
    let exposed = rows.numbers(2).to_vec();
    let fit = exposed_hazard(
        rows.numbers(0),
        &flags(rows, 1),
        exposed,
        others,
        &rows.labels(3),
    );
    Some(match fit {
        Ok(fit) => {
            let Interval { lower, upper } = fit.interval;
            let penalised = f64::from(u8::from(fit.penalised));
            let values = [
                fit.log_hazard_ratio.exp(),
                lower.exp(),
                upper.exp(),
                fit.p,
                penalised,
            ];
            let coefficients = fit.coefficients as f64;
            values
                .into_iter()
                .chain([coefficients, 0.0])
                .map(Some)
                .collect()
        }
        Err(refusal) => {
            let code = match refusal {
                CoxRefusal::NoEvents => 1.0,
                CoxRefusal::TooFewEvents => 2.0,
                CoxRefusal::NoContrast => 3.0,
                CoxRefusal::Separation | CoxRefusal::NotConverged => 4.0,
            };
            vec![None, None, None, None, None, None, Some(code)]
        }
    })
}

fn bounds_of_lost(rows: &Rows) -> Values {
    let horizon = first(rows.numbers(3))?;
    let bounds = lost_bounds(rows.numbers(0), &causes(rows, 1), &flags(rows, 2), horizon)?;
    Some(vec![Some(bounds.lower), Some(bounds.upper)])
}
