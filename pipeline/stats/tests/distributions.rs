//! Quantiles against 40-digit values (mpmath; `quantiles_expected.csv`), tolerance 1e-10 relative.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close_relative, number, published};
use whereworn_stats::distributions::{
    beta_quantile, chi_square_quantile, normal_quantile, t_quantile,
};

#[test]
fn quantiles_of_five_families() {
    for row in published("quantiles_expected") {
        let p = number(&row, "lower_tail_p");
        let first = || number(&row, "par1");
        let second = || number(&row, "par2");
        let actual = match row["family"].as_str() {
            "normal" => normal_quantile(p),
            "t" => t_quantile(p, first()),
            "chisq" => chi_square_quantile(p, first()),
            "beta" => beta_quantile(p, first(), second()),
            // F with m and n degrees of freedom is (n / m) b / (1 - b), b a beta variate of shapes m / 2, n / 2.
            "f" => {
                let share = beta_quantile(p, first() / 2.0, second() / 2.0);
                second() / first() * share / (1.0 - share)
            }
            other => panic!("unknown family {other}"),
        };
        close_relative(
            actual,
            number(&row, "quantile_20_digits_mpmath"),
            1e-10,
            &format!("{row:?}"),
        );
    }
}
