//! Quantiles against 40-digit values (mpmath; `quantiles_expected.csv`, and `quantiles_fractional.csv` at small fractional
//! degrees of freedom), tolerance 1e-10 relative; tails as their inverse.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{close, close_relative, number, published};
use whereworn_stats::distributions::{
    beta_quantile, chi_square_quantile, f_quantile, f_upper_tail, normal_quantile, t_quantile,
    t_two_sided,
};

#[test]
fn quantiles_of_five_families() {
    let mut rows = published("quantiles_expected");
    rows.extend(published("quantiles_fractional"));
    for row in rows {
        let p = number(&row, "lower_tail_p");
        let first = || number(&row, "par1");
        let second = || number(&row, "par2");
        let actual = match row["family"].as_str() {
            "normal" => normal_quantile(p),
            "t" => t_quantile(p, first()),
            "chisq" => chi_square_quantile(p, first()),
            "beta" => beta_quantile(p, first(), second()),
            "f" => f_quantile(p, first(), second()),
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

#[test]
fn tails_undo_quantiles() {
    for df in [0.3, 1.0, 2.5, 40.0] {
        let t = t_quantile(0.975, df);
        close(t_two_sided(t, df), 0.05, 1e-12, "t");
        close(f_upper_tail(t * t, 1.0, df), 0.05, 1e-12, "F of one");
        close(
            f_upper_tail(f_quantile(0.9, 3.0, df), 3.0, df),
            0.1,
            1e-12,
            "F",
        );
    }
    assert_eq!(
        (t_two_sided(0.0, 3.0), f_upper_tail(0.0, 2.0, 3.0)),
        (1.0, 1.0)
    );
    assert_eq!(
        (
            t_two_sided(f64::INFINITY, 3.0),
            f_upper_tail(f64::INFINITY, 2.0, 3.0)
        ),
        (0.0, 0.0)
    );
}
