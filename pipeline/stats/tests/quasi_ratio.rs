//! Rate ratios with over-dispersion: without any they are those of the fluoroscopy cohort (Rothman, Epidemiology: An
//! Introduction; `rate_ratio_expected`), up to what a score interval differs from an exact one.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, number, published};
use whereworn_stats::rates::heterogeneity::ExposedUnit;
use whereworn_stats::rates::quasi_ratio::quasi_ratio;

fn unit(group: usize, stratum: usize, events: f64, exposure: f64) -> ExposedUnit {
    ExposedUnit {
        group,
        stratum,
        events,
        exposure,
    }
}

/// Each group cut into 400 equal parts, so that there is no scatter, and t is all but normal.
#[test]
fn without_over_dispersion() {
    for row in published("rate_ratio_expected") {
        let of = |column: &str| number(&row, column);
        let part = |group: usize, which: &str| {
            unit(
                group,
                0,
                of(&format!("events{which}")) / 400.0,
                of(&format!("time{which}")) / 400.0,
            )
        };
        let units: Vec<ExposedUnit> = (0..400)
            .flat_map(|_| [part(1, "1"), part(0, "2")])
            .collect();
        let ratio = quasi_ratio(&units, 0, 1).unwrap();
        assert_eq!(ratio.dispersion, 1.0);
        close_relative(ratio.ratio.unwrap(), of("rate_ratio"), 1e-9, "ratio");
        close_relative(
            ratio.interval.lower,
            of("exact_conditional_lower"),
            0.06,
            "lower",
        );
        close_relative(
            ratio.interval.upper,
            of("exact_conditional_upper"),
            0.06,
            "upper",
        );
        // The exact p adds up what is less likely than the data; a score p doubles a tail.
        close(ratio.p, of("exact_p_two_sided"), 0.012, "p");
    }
}

/// Pearson's chi-square by hand: group 0 has 0 and 8, group 1 has 4 and 4, all in 10 nights: 16 / 4 + 16 / 4 = 8 on two
/// degrees of freedom.
#[test]
fn dispersion_by_hand() {
    let units = [
        unit(0, 0, 0.0, 10.0),
        unit(0, 0, 8.0, 10.0),
        unit(1, 0, 4.0, 10.0),
        unit(1, 0, 4.0, 10.0),
    ];
    let ratio = quasi_ratio(&units, 0, 1).unwrap();
    close(ratio.dispersion, 4.0, 1e-12, "dispersion");
    assert_eq!((ratio.df, ratio.p), (2.0, 1.0));
    close(ratio.ratio.unwrap(), 1.0, 1e-12, "ratio");
    close(
        ratio.interval.lower,
        1.0 / ratio.interval.upper,
        1e-9,
        "symmetric",
    );
}

/// A wearer with ten times the rate of the other: within each the second site has twice the first's.
#[test]
fn wearers_are_strata() {
    let units = [
        unit(0, 0, 10.0, 100.0),
        unit(1, 0, 2.0, 10.0),
        unit(0, 1, 10.0, 10.0),
        unit(1, 1, 200.0, 100.0),
        unit(0, 0, 10.0, 100.0),
    ];
    close(
        quasi_ratio(&units, 0, 1).unwrap().ratio.unwrap(),
        2.0,
        1e-9,
        "ratio",
    );
    close(
        quasi_ratio(&units, 1, 0).unwrap().ratio.unwrap(),
        0.5,
        1e-9,
        "swapped",
    );
}

#[test]
fn empty_sides() {
    let units = |a: f64, b: f64| {
        vec![
            unit(0, 0, a, 10.0),
            unit(0, 0, a, 10.0),
            unit(1, 0, b, 10.0),
            unit(1, 0, b, 10.0),
        ]
    };
    let none = quasi_ratio(&units(3.0, 0.0), 0, 1).unwrap();
    assert_eq!((none.ratio, none.interval.lower), (None, 0.0));
    assert!(none.interval.upper.is_finite() && none.interval.upper > 1.0);
    let mirror = quasi_ratio(&units(3.0, 0.0), 1, 0).unwrap();
    assert_eq!(mirror.interval.upper, f64::INFINITY);
    close_relative(
        mirror.interval.lower,
        1.0 / none.interval.upper,
        1e-9,
        "mirror",
    );
    assert_eq!(quasi_ratio(&units(0.0, 0.0), 0, 1), None);
    assert_eq!(quasi_ratio(&units(1.0, 1.0)[1..3], 0, 1), None);
    assert_eq!(quasi_ratio(&units(1.0, 1.0), 0, 5), None);
}
