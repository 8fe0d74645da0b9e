//! Aggregates on how long sensors stay on, each a thin adapter. An ending is 0 (censored), 1 (the ending in question) or 2
//! (another one, that competes).

use whereworn_stats::interval::Interval;
use whereworn_stats::survival::beta_product::BetaProduct;
use whereworn_stats::survival::cox::CoxRefusal;
use whereworn_stats::survival::cox::exposed::exposed_hazard;
use whereworn_stats::survival::gray::stratified_gray_test;
use whereworn_stats::survival::lost::lost_bounds;

use super::collect::{Evaluate, Kind, Rows, Statistic};
use Evaluate::One;
use Kind::{Label, Number};

type Values = Option<Vec<Option<f64>>>;

/// See [`super::statistics::ALL`].
pub const ALL: &[Statistic] = &[
    Statistic {
        name: "survival_interval",
        arguments: &[("day", Number), ("ending", Number), ("horizon", Number)],
        fields: &["lower", "upper", "mean_lower", "mean_upper"],
        about: "95 % intervals by beta products: of the share without the ending at the horizon, and of the mean days up to it",
        evaluate: One(beta_product),
    },
    Statistic {
        name: "gray_test",
        arguments: &[
            ("day", Number),
            ("ending", Number),
            ("site", Label),
            ("stratum", Label),
        ],
        fields: &["chi_square", "df", "p"],
        about: "Gray's test of equal cumulative incidence of an ending between sites within strata, where others compete",
        evaluate: One(gray_of_sites),
    },
    Statistic {
        name: "hazard_ratio",
        arguments: &[
            ("day", Number),
            ("event", Number),
            ("exposed", Number),
            ("stratum", Label),
        ],
        fields: &HAZARD_FIELDS,
        about: "Cox's hazard ratio of the exposed (1) to the rest (0) within strata, with Firth's penalty where one side has all events; `refusal`: 1 no events, 2 too few, 3 no contrast, 4 not settled",
        evaluate: One(plain_hazard),
    },
    Statistic {
        name: "adjusted_hazard_ratio",
        arguments: &[
            ("day", Number),
            ("event", Number),
            ("exposed", Number),
            ("stratum", Label),
            ("tape", Label),
            ("side", Label),
            ("model", Label),
            ("calendar", Number),
            ("order_of_wear", Number),
        ],
        fields: &HAZARD_FIELDS,
        about: "`hazard_ratio` adjusted for three labels and two numbers, as far as they vary; five events for each coefficient, or refused",
        evaluate: One(adjusted_hazard),
    },
    Statistic {
        name: "lost_bounds",
        arguments: &[
            ("day", Number),
            ("ending", Number),
            ("lost", Number),
            ("horizon", Number),
        ],
        fields: &["lower", "upper"],
        about: "incidence of the ending by the horizon if none, or all, of the lost sensors had it when last seen",
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
