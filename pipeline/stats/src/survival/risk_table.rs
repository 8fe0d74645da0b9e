//! The table of distinct times that every survival estimate starts from.

/// One distinct time at which something ended.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct RiskRow {
    pub time: f64,
    /// Subjects still under watch just before `time`.
    pub at_risk: usize,
    /// Events of each cause at `time`.
    pub events: Vec<usize>,
    /// Censored at `time`, after the events.
    pub censored: usize,
}

impl RiskRow {
    pub fn all_events(&self) -> usize {
        self.events.iter().sum()
    }
}

/// Distinct times in order, with counts; `causes[i]` is `None` where subject i was censored.
pub(super) fn risk_table(
    times: &[f64],
    causes: impl Iterator<Item = Option<usize>>,
    cause_count: usize,
) -> Vec<RiskRow> {
    let mut subjects: Vec<(f64, Option<usize>)> = times.iter().copied().zip(causes).collect();
    subjects.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut rows: Vec<RiskRow> = Vec::new();
    for (index, &(time, cause)) in subjects.iter().enumerate() {
        if rows.last().is_none_or(|row| row.time != time) {
            rows.push(RiskRow {
                time,
                at_risk: subjects.len() - index,
                events: vec![0; cause_count],
                censored: 0,
            });
        }
        if let Some(row) = rows.last_mut() {
            match cause {
                Some(cause) => row.events[cause] += 1,
                None => row.censored += 1,
            }
        }
    }
    rows
}
