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
    /// Its standard error from the counting process, larger in small sets.
    pub counting_error: f64,
}

/// Aalen-Johansen cumulative incidence of causes `0..cause_count`: one curve per cause, each with a point at every
/// distinct time (any cause or censoring).
///
/// F_c(t) = Σ S(t-) d_c / n over times up to t, S the survival free of all causes. Standard error by the delta method
/// (Dinse and Larson 1986 Biometrika 73:379; Marubini and Valsecchi 1995, eq. 10.12, from memory):
/// Σ (F(t) - F)² d / (n (n - d)) + Σ S(t-)² d_c (n - d_c) / n³ - 2 Σ (F(t) - F) S(t-) d_c / n².
/// The second error is Aalen's, with ties as in a hypergeometric draw: an event of the cause adds
/// (1 - (F(t) - F) / S)² S(t-)² d_c (n - d_c) / (n² (n - 1)), other events the same without the 1 and with their own
/// count (Aalen 1978 Ann Stat 6:534; Gray 1988 Ann Stat 16:1141; from memory). `causes[i]` is `None` where subject i was censored, as long as `times`; a cause number of `cause_count` or more
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

/// Σ (a - F(t) b)² w over events so far, as its three sums.
#[derive(Default)]
struct CountingSums {
    own: f64,
    cross: f64,
    later: f64,
}

impl CountingSums {
    fn add(
        &mut self,
        row: &RiskRow,
        events: f64,
        before: f64,
        after: f64,
        incidence: f64,
        direct: f64,
    ) {
        let at_risk = row.at_risk as f64;
        let ties = if events > 1.0 {
            (at_risk - events) / (at_risk - 1.0)
        } else {
            1.0
        };
        let weight = before * before * ties * events / (at_risk * at_risk);
        let later = if after > 0.0 { 1.0 / after } else { 0.0 };
        let effect = direct + later * incidence;
        self.own += effect * effect * weight;
        self.cross += later * effect * weight;
        self.later += later * later * weight;
    }

    fn std_error(&self, incidence: f64) -> f64 {
        let variance = self.own - 2.0 * incidence * self.cross + incidence * incidence * self.later;
        variance.max(0.0).sqrt()
    }
}

fn curve(rows: &[RiskRow], cause: usize) -> Vec<IncidencePoint> {
    let (mut survival, mut incidence) = (1.0, 0.0);
    let mut sums = VarianceSums::default();
    let mut counting = CountingSums::default();
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
            let after = survival * (at_risk - all) / at_risk;
            counting.add(row, all - own, survival, after, incidence, 0.0);
            counting.add(row, own, survival, after, incidence, 1.0);
            survival = after;
            IncidencePoint {
                time: row.time,
                at_risk: row.at_risk,
                events: row.events[cause],
                incidence,
                std_error: sums.variance().sqrt(),
                counting_error: counting.std_error(incidence),
            }
        })
        .collect()
}
