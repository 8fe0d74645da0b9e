//! Cumulative incidence of several causes that compete.

use super::risk_table::{RiskRow, risk_table};

/// Cumulative incidence of one cause at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IncidencePoint {
    /// A distinct time at which something ended.
    pub time: f64,
    /// Subjects under watch just before `time`.
    pub at_risk: usize,
    /// Events of this cause at `time`.
    pub events: usize,
    /// Share that has had this cause by `time`.
    pub incidence: f64,
    /// Its standard error by the delta method.
    pub std_error: f64,
}

/// Aalen-Johansen cumulative incidence of causes `0..cause_count`: one curve per cause, each with a point at every
/// distinct time (any cause or censoring).
///
/// F_c(t) = Σ S(t-) d_c / n over times up to t, S the survival free of all causes. Standard error by the delta method
/// (Dinse and Larson 1986 Biometrika 73:379; Marubini and Valsecchi 1995, eq. 10.12):
/// Σ (F(t) - F)² d / (n (n - d)) + Σ S(t-)² d_c (n - d_c) / n³ - 2 Σ (F(t) - F) S(t-) d_c / n².
/// `causes[i]` is `None` where subject i was censored, as long as `times`; a cause number of `cause_count` or more
/// is taken as censored. Checked by `tests/incidence.rs`.
#[must_use]
pub fn cumulative_incidence(
    times: &[f64],
    causes: &[Option<usize>],
    cause_count: usize,
) -> Vec<Vec<IncidencePoint>> {
    let known = causes
        .iter()
        .map(|cause| cause.filter(|&cause| cause < cause_count));
    let rows = risk_table(times, known, cause_count);
    (0..cause_count).map(|cause| curve(&rows, cause)).collect()
}

/// The three sums of the variance, kept up as F grows: with F = F(t) at the current time,
/// `spread` = Σ (F - F_i)² g_i, `spread_slope` = Σ (F - F_i) g_i, `weight` = Σ g_i with g = d / (n (n - d)), and the
/// same for the cross term with h = S d_c / n².
#[derive(Default)]
struct VarianceSums {
    weight: f64,
    spread_slope: f64,
    spread: f64,
    cross_weight: f64,
    cross: f64,
    own: f64,
}

impl VarianceSums {
    fn rise(&mut self, step: f64) {
        self.spread += step * (2.0 * self.spread_slope + step * self.weight);
        self.spread_slope += step * self.weight;
        self.cross += step * self.cross_weight;
    }

    fn variance(&self) -> f64 {
        (self.spread + self.own - 2.0 * self.cross).max(0.0)
    }
}

fn curve(rows: &[RiskRow], cause: usize) -> Vec<IncidencePoint> {
    let (mut survival, mut incidence) = (1.0, 0.0);
    let mut sums = VarianceSums::default();
    rows.iter()
        .map(|row| {
            let (at_risk, all) = (row.at_risk as f64, row.all_events() as f64);
            let own = row.events[cause] as f64;
            let step = survival * own / at_risk;
            incidence += step;
            sums.rise(step);
            sums.own += survival * survival * own * (at_risk - own) / at_risk.powi(3);
            sums.cross_weight += survival * own / (at_risk * at_risk);
            if all < at_risk {
                sums.weight += all / (at_risk * (at_risk - all));
            }
            survival *= (at_risk - all) / at_risk;
            IncidencePoint {
                time: row.time,
                at_risk: row.at_risk,
                events: row.events[cause],
                incidence,
                std_error: sums.variance().sqrt(),
            }
        })
        .collect()
}
