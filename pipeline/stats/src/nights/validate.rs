//! Validation of the detector on labelled synthetic nights.
//!
//! True events count where their middle, reported ones where their nadir lies in a night. A true event is found where one reported
//! artefact overlaps at least half of it; a reported one is true where it overlaps at least half of
//! some true event, whatever that event's size. Errors of start and end are reported minus true.

use super::second::Second;
use super::simulate::{Kind, Session, session};
use super::{Artefact, Candidate, Evidence, Settings, candidates};
use statrs::distribution::{ContinuousCDF, Gamma};

/// A share or rate with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate; NaN where nothing was counted.
    pub value: f64,
    /// Lower end of the interval.
    pub lower: f64,
    /// Upper end of the interval.
    pub upper: f64,
}

/// Results of one kind of nights.
#[derive(Debug, Clone)]
pub struct KindResult {
    /// Name of the kind.
    pub kind: &'static str,
    /// Nights made.
    pub nights: usize,
    /// Events of 25 mg/dL or more (at 15 min spacing only those of 45 min or more, here and below).
    pub events: usize,
    /// Share found of events of 25 mg/dL or more (Wilson interval).
    pub sensitivity: Estimate,
    /// Share found of events of 40 mg/dL or more (Wilson interval).
    pub sensitivity_40: Estimate,
    /// Share of reported artefacts that are true (Wilson interval).
    pub predictive_value: Estimate,
    /// False artefacts per 100 nights (exact Poisson interval).
    pub false_per_100: Estimate,
    /// Share of true lows called artefacts: a false one covers some of the low (Wilson interval).
    pub lows_called: Estimate,
    /// Reported artefacts over true events of 25 mg/dL or more, of any length.
    pub rate_ratio: f64,
    /// Median absolute error of start, min.
    pub start_error: f64,
    /// Median absolute error of end, min.
    pub end_error: f64,
}

/// Counts over sessions of a kind.
#[derive(Debug, Default)]
struct Tally {
    nights: usize,
    /// Events of 25 mg/dL or more of any length.
    all_events: usize,
    events: [usize; 2],
    found: [usize; 2],
    reported: usize,
    wrong: usize,
    lows: usize,
    lows_called: usize,
    start_errors: Vec<f64>,
    end_errors: Vec<f64>,
}

/// Runs the detector over `sessions` sessions of `nights` nights of a kind, seeds from `seed` on.
#[must_use]
pub fn validate(
    kind: &Kind,
    sessions: u64,
    nights: usize,
    seed: u64,
    settings: &Settings,
) -> KindResult {
    let made = |seed| session(kind, nights, seed);
    run(
        kind.name,
        shortest(kind.spacing),
        seed..seed + sessions,
        made,
        settings,
    )
}

/// The same for a kind of the second generator.
#[must_use]
pub fn validate_second(
    kind: &Second,
    sessions: u64,
    nights: usize,
    seed: u64,
    settings: &Settings,
) -> KindResult {
    let made = |seed| super::second::session(kind, nights, seed);
    run(
        kind.name,
        shortest(kind.spacing),
        seed..seed + sessions,
        made,
        settings,
    )
}

fn run(
    name: &'static str,
    shortest: f64,
    seeds: std::ops::Range<u64>,
    session: impl Fn(u64) -> Session,
    settings: &Settings,
) -> KindResult {
    let mut tally = Tally::default();
    for seed in seeds {
        let made = session(seed);
        let found = super::detect(&made.minutes, &made.glucose, &made.held, settings);
        tally.add(&made, &found, shortest);
    }
    tally.result(name)
}

/// Evidence of every candidate at night of at least the least height, and whether it is a true event.
#[must_use]
pub fn labelled(
    kind: &Kind,
    sessions: u64,
    nights: usize,
    seed: u64,
    settings: &Settings,
) -> Vec<(Evidence, bool)> {
    let mut out = Vec::new();
    for k in 0..sessions {
        let made = session(kind, nights, seed + k);
        for Candidate { artefact, evidence } in
            candidates(&made.minutes, &made.glucose, &made.held, settings)
        {
            if artefact.height >= settings.least_drop && made.at_night(made.minutes[artefact.nadir])
            {
                out.push((evidence, made.matches(&artefact).is_some()));
            }
        }
    }
    out
}

/// Shortest event that counts at a spacing: 45 min from 15 min spacing on.
fn shortest(spacing: f64) -> f64 {
    if spacing >= 15.0 { 45.0 } else { 0.0 }
}

impl Session {
    fn at_night(&self, minute: f64) -> bool {
        self.nights.iter().any(|n| n.0 <= minute && minute < n.1)
    }

    /// Index of the true event that an artefact overlaps by at least half of the event.
    fn matches(&self, a: &Artefact) -> Option<usize> {
        let (start, end) = (self.minutes[a.start], self.minutes[a.end]);
        self.events
            .iter()
            .position(|e| end.min(e.end) - start.max(e.start) >= 0.5 * (e.end - e.start))
    }
}

impl Tally {
    fn add(&mut self, made: &Session, found: &[Artefact], shortest: f64) {
        self.nights += made.nights.len();
        let mut hit = vec![None; made.events.len()];
        for a in found {
            let matched = made.matches(a);
            if let Some(k) = matched {
                hit[k] = Some(a);
            }
            if !made.at_night(made.minutes[a.nadir]) {
                continue;
            }
            self.reported += 1;
            if matched.is_none() {
                self.wrong += 1;
                let (start, end) = (made.minutes[a.start], made.minutes[a.end]);
                self.lows_called += usize::from(made.lows.iter().any(|l| start < l.1 && l.0 < end));
            }
        }
        self.lows += made.lows.len();
        for (event, hit) in made.events.iter().zip(&hit) {
            if !made.at_night(0.5 * (event.start + event.end)) {
                continue;
            }
            self.all_events += usize::from(event.drop >= 25.0);
            if event.end - event.start < shortest {
                continue;
            }
            for (k, least) in [25.0, 40.0].into_iter().enumerate() {
                if event.drop >= least {
                    self.events[k] += 1;
                    self.found[k] += usize::from(hit.is_some());
                }
            }
            if let Some(a) = hit {
                self.start_errors
                    .push((made.minutes[a.start] - event.start).abs());
                self.end_errors
                    .push((made.minutes[a.end] - event.end).abs());
            }
        }
    }

    fn result(mut self, kind: &'static str) -> KindResult {
        let nights = self.nights as f64;
        let rate = poisson(self.wrong as f64);
        KindResult {
            kind,
            nights: self.nights,
            events: self.events[0],
            sensitivity: wilson(self.found[0], self.events[0]),
            sensitivity_40: wilson(self.found[1], self.events[1]),
            predictive_value: wilson(self.reported - self.wrong, self.reported),
            false_per_100: Estimate {
                value: 100.0 * rate.value / nights,
                lower: 100.0 * rate.lower / nights,
                upper: 100.0 * rate.upper / nights,
            },
            lows_called: wilson(self.lows_called, self.lows),
            rate_ratio: self.reported as f64 / self.all_events as f64,
            start_error: super::noise::median(&mut self.start_errors),
            end_error: super::noise::median(&mut self.end_errors),
        }
    }
}

/// Wilson score interval, 95 % (Wilson 1927, J Am Stat Assoc 22:209-212).
fn wilson(count: usize, of: usize) -> Estimate {
    let (n, z2) = (of as f64, 1.959_963_985_f64.powi(2));
    let p = count as f64 / n;
    let middle = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = (z2 * (p * (1.0 - p) / n + z2 / (4.0 * n * n))).sqrt() / (1.0 + z2 / n);
    Estimate {
        value: p,
        lower: middle - half,
        upper: middle + half,
    }
}

/// Exact Poisson interval of a count, 95 % (Garwood 1936, Biometrika 28:437-442).
fn poisson(count: f64) -> Estimate {
    let quantile = |shape: f64, p: f64| Gamma::new(shape, 1.0).map_or(0.0, |g| g.inverse_cdf(p));
    Estimate {
        value: count,
        lower: quantile(count, 0.025),
        upper: quantile(count + 1.0, 0.975),
    }
}
