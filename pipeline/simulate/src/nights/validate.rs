//! Validation of the detector on labelled synthetic nights.
//!
//! True events count where their middle, reported ones where their nadir lies in a night. A true event is found where one reported
//! artefact overlaps at least half of it; a reported one is true where it overlaps at least half of
//! some true event, whatever that event's size. Errors of start and end are reported minus true.

use whereworn_stats::interval::Interval;
use whereworn_stats::nights::{Artefact, Candidate, Evidence, Settings, candidates, detect};
use whereworn_stats::quantile::median;
use whereworn_stats::rates::poisson::exact_poisson_interval;
use whereworn_stats::rates::proportion::wilson;

use super::{Event, Nights, Session};

/// A share or rate with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// What was counted.
    pub count: usize,
    /// Of how many; nights for a rate.
    pub of: usize,
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
    /// Minutes between readings.
    pub spacing: f64,
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
    /// Reported artefacts.
    pub reported: usize,
    /// True events of 25 mg/dL or more, of any length.
    pub all_events: usize,
    /// Median absolute error of start, min.
    pub start_error: f64,
    /// Median absolute error of end, min.
    pub end_error: f64,
}

impl KindResult {
    /// Reported artefacts over true events of 25 mg/dL or more, of any length.
    #[must_use]
    pub fn rate_ratio(&self) -> f64 {
        self.reported as f64 / self.all_events as f64
    }
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

/// Runs `detect` over sessions of `nights` nights of a kind, one for each seed.
pub fn validate(
    kind: &dyn Nights,
    nights: usize,
    seeds: std::ops::Range<u64>,
    detect: &dyn Fn(&Session) -> Vec<Found>,
) -> KindResult {
    let shortest = if kind.spacing() >= 15.0 { 45.0 } else { 0.0 };
    let mut tally = Tally::default();
    for seed in seeds {
        let made = kind.session(nights, seed);
        tally.add(&made, &detect(&made), shortest);
    }
    tally.result(kind)
}

/// A reported artefact: times of its first, last and lowest reading, min.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// First reading.
    pub start: f64,
    /// Last reading.
    pub end: f64,
    /// Lowest reading.
    pub nadir: f64,
}

impl Found {
    fn of(made: &Session, artefact: &Artefact) -> Self {
        Self {
            start: made.minutes[artefact.start],
            end: made.minutes[artefact.end],
            nadir: made.minutes[artefact.nadir],
        }
    }
}

/// What the detector reports in a session.
#[must_use]
pub fn detected(made: &Session, settings: &Settings) -> Vec<Found> {
    detect(&made.minutes, &made.glucose, &made.held, settings)
        .iter()
        .map(|artefact| Found::of(made, artefact))
        .collect()
}

/// What a plain rule reports: glucose falls by a share within 15 min, and is back at half of the fall within
/// 3 h. A yardstick for how hard a kind of nights is, and for what the detector is worth.
#[must_use]
pub fn plain_rule(made: &Session, share: f64) -> Vec<Found> {
    let (minutes, glucose) = (&made.minutes, &made.glucose);
    let mut found = Vec::new();
    let mut at = 0;
    while at < minutes.len() {
        let before = minutes.partition_point(|&m| m < minutes[at] - 15.5);
        let mut next = at + 1;
        if glucose[at] <= (1.0 - share) * glucose[before] {
            let mut lowest = at;
            let last = minutes.partition_point(|&m| m <= minutes[at] + 180.0);
            for later in at + 1..last {
                if glucose[later] < glucose[lowest] {
                    lowest = later;
                }
                if 2.0 * glucose[later] >= glucose[before] + glucose[lowest] {
                    found.push(Found {
                        start: minutes[before + 1],
                        end: minutes[later - 1],
                        nadir: minutes[lowest],
                    });
                    next = later + 1;
                    break;
                }
            }
        }
        at = next;
    }
    found
}

/// A candidate and what is true about it.
#[derive(Debug, Clone, Copy)]
pub struct Labelled {
    /// What the detector knows of it.
    pub evidence: Evidence,
    /// The true event that it is.
    pub event: Option<Event>,
    /// Whether its nadir lies in a night.
    pub at_night: bool,
}

/// Every candidate of a session, whatever its probability.
#[must_use]
pub fn labelled(made: &Session, settings: &Settings) -> Vec<Labelled> {
    let label = |c: Candidate| {
        let found = Found::of(made, &c.artefact);
        Labelled {
            evidence: c.evidence,
            event: made.matches(&found).map(|k| made.events[k]),
            at_night: made.at_night(found.nadir),
        }
    };
    candidates(&made.minutes, &made.glucose, &made.held, settings)
        .into_iter()
        .map(label)
        .collect()
}

impl Session {
    fn touches_low(&self, a: &Found) -> bool {
        self.lows.iter().any(|l| a.start < l.1 && l.0 < a.end)
    }

    /// Index of the true event that an artefact overlaps by at least half of the event.
    fn matches(&self, a: &Found) -> Option<usize> {
        let shared = |e: &Event| a.end.min(e.end) - a.start.max(e.start);
        self.events
            .iter()
            .position(|e| shared(e) >= 0.5 * (e.end - e.start))
    }
}

impl Tally {
    fn add(&mut self, made: &Session, found: &[Found], shortest: f64) {
        self.nights += made.nights.len();
        let mut hit = vec![None; made.events.len()];
        for a in found {
            let matched = made.matches(a);
            if let Some(k) = matched {
                hit[k] = Some(a);
            }
            if !made.at_night(a.nadir) {
                continue;
            }
            self.reported += 1;
            if matched.is_none() {
                self.wrong += 1;
                self.lows_called += usize::from(made.touches_low(a));
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
                self.start_errors.push((a.start - event.start).abs());
                self.end_errors.push((a.end - event.end).abs());
            }
        }
    }

    fn result(self, kind: &dyn Nights) -> KindResult {
        KindResult {
            kind: kind.name(),
            spacing: kind.spacing(),
            nights: self.nights,
            events: self.events[0],
            sensitivity: share(self.found[0], self.events[0]),
            sensitivity_40: share(self.found[1], self.events[1]),
            predictive_value: share(self.reported - self.wrong, self.reported),
            false_per_100: per_100(self.wrong, self.nights),
            lows_called: share(self.lows_called, self.lows),
            reported: self.reported,
            all_events: self.all_events,
            start_error: median(&self.start_errors).unwrap_or(0.0),
            end_error: median(&self.end_errors).unwrap_or(0.0),
        }
    }
}

/// A share with Wilson's interval.
fn share(count: usize, of: usize) -> Estimate {
    estimate(count, of, 1.0, wilson(count as u64, of as u64, 0.95))
}

/// A rate per 100 with its exact Poisson interval.
fn per_100(count: usize, of: usize) -> Estimate {
    let interval = exact_poisson_interval(count as u64, 0.95);
    let scale = |end: f64| end / of as f64;
    let interval = Interval {
        lower: scale(interval.lower),
        upper: scale(interval.upper),
    };
    estimate(count, of, 100.0, Some(interval))
}

fn estimate(count: usize, of: usize, scale: f64, interval: Option<Interval>) -> Estimate {
    Estimate {
        count,
        of,
        value: scale * count as f64 / of as f64,
        lower: interval.map_or(f64::NAN, |interval| scale * interval.lower),
        upper: interval.map_or(f64::NAN, |interval| scale * interval.upper),
    }
}
