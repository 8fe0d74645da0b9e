//! Night artefacts: readings that fall off faster than blood glucose can, stay down, recover as fast.
//!
//! Method, in four steps:
//!
//! 1. Noise and restlessness of the session from second differences (`noise`).
//! 2. A state model of the undisturbed trace (`model`) whitens the whole session once; two more
//!    recursions give, at every reading, how well a fall or a recovery begins there (`scan`).
//! 3. Each pair of a fall and a recovery is fitted on its own window by generalised least squares:
//!    start, end and time constant of the published shape (first-order linear system driven by a
//!    rectangle, Facchinetti et al. 2016, doi 10.1089/dia.2015.0250). Log likelihood ratios set it
//!    against no event, against the best slow dip that blood glucose can make, and against a slow dip to a
//!    low (`fit`). A small network turns them and the readings around into a probability (`network`).
//! 4. The best candidates that do not overlap are taken, their dips subtracted, and the rest looked
//!    at once more, so that neighbours do not hide each other.
//!
//! The cost is linear in the readings: the fits touch only candidates.

pub mod coarse;
mod fit;
mod model;
mod network;
mod noise;
mod scan;
pub mod settings;
mod weights;
mod window;

use std::f64::consts::LN_10;

use fit::Fit;
pub use network::{FEATURES, HIDDEN, Network};
use scan::{Pair, Series};
use settings::{HALF, SMOOTHED};
pub use settings::{Preset, Settings, Spaced, hardly_told};

/// A run of readings held down by pressure on the sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Artefact {
    /// Index of the first reading of the run.
    pub start: usize,
    /// Index of the last reading before the recovery.
    pub end: usize,
    /// Index of the lowest reading of the run (the first, where several are equal).
    pub nadir: usize,
    /// Expected trace minus reading at the nadir, mg/dL.
    pub drop: f64,
    /// Height of the fitted fall, mg/dL.
    pub height: f64,
    /// Minutes in which 90 % of the fall were done.
    pub fall_minutes: f64,
    /// Minutes in which 90 % of the recovery were done.
    pub recovery_minutes: f64,
    /// Probability that the run is an artefact rather than noise or blood glucose, calibrated on
    /// synthetic nights.
    pub probability: f64,
    /// The strictest preset that still reports it.
    pub strictest: Preset,
}

/// Finds the artefacts of one sensor's whole session.
///
/// `minutes`: times of the readings, ascending, from any origin. `glucose`: readings in mg/dL, as many.
/// `held`: whether a reading is held at the limit of the measuring range; may be empty where none is.
/// Gives artefacts in order of time, not overlapping. Fewer than 8 readings give none.
#[must_use]
pub fn detect(
    minutes: &[f64],
    glucose: &[f64],
    held: &[bool],
    settings: &Settings,
) -> Vec<Artefact> {
    candidates(minutes, glucose, held, settings)
        .into_iter()
        .filter_map(|c| {
            let strictest = settings.strictest(&c.evidence)?;
            (strictest >= settings.preset).then_some(Artefact {
                strictest,
                ..c.artefact
            })
        })
        .collect()
}

/// A candidate with the evidence that its probability was made from.
#[derive(Debug, Clone, Copy)]
pub struct Candidate {
    /// The run.
    pub artefact: Artefact,
    /// What its probability was made from.
    pub evidence: Evidence,
}

/// What is known of a candidate.
#[derive(Debug, Clone, Copy, Default)]
pub struct Evidence {
    /// Log likelihood ratio against no event.
    pub against_none: f64,
    /// Log likelihood ratio against the best slow dip.
    pub against_slow: f64,
    /// Log Bayes factor against a slow dip to a low.
    pub against_low: f64,
    /// Height of the fitted fall, mg/dL.
    pub height: f64,
    /// Height over its standard error.
    pub height_in_errors: f64,
    /// Lowest reading of the run, mg/dL.
    pub bottom: f64,
    /// Mean of the readings shortly before the fall, mg/dL.
    pub before: f64,
    /// Mean of the readings shortly after the recovery less `before`, mg/dL.
    pub after: f64,
    /// Time constant of the fall, min.
    pub fall: f64,
    /// Time constant of the recovery, min.
    pub rise: f64,
    /// Median spacing of the readings, min.
    pub spacing: f64,
    /// Length of the run, min.
    pub minutes: f64,
    /// Differences of readings one step apart, from two steps before the first of the run to one after, and from
    /// one before its last to two after, mg/dL. A step is the spacing, or 5 min where that is longer.
    pub steps: [f64; 6],
    /// Minutes since the reading before the first of the run, and from its last to the next, over the spacing.
    pub gaps: [f64; 2],
    /// Steps in which the readings of the run are written where those are coarse, mg/dL, else 0.
    pub coarse: f64,
}

/// All non-overlapping candidates in order of time, whatever their probability; arguments as of [`detect`].
#[must_use]
pub fn candidates(
    minutes: &[f64],
    glucose: &[f64],
    held: &[bool],
    settings: &Settings,
) -> Vec<Candidate> {
    let n = minutes.len().min(glucose.len());
    if n < 8 {
        return Vec::new();
    }
    let (minutes, glucose) = (&minutes[..n], &glucose[..n]);
    let series = Series::new(minutes, glucose, held, settings);
    let mut taken: Vec<Fit> = Vec::new();
    let first = series.pairs(glucose, settings);
    take(&mut taken, &first, &series, glucose, settings);
    let strong: Vec<Fit> = taken
        .iter()
        .copied()
        .filter(|f| settings.probability(&f.evidence) > HALF && settings.high_enough(&f.evidence))
        .collect();
    if !strong.is_empty() {
        let mut rest = glucose.to_vec();
        strong.iter().for_each(|f| f.subtract(minutes, &mut rest));
        let mut second = series.pairs(&rest, settings);
        second.retain(|pair| fit::reaches(pair, &strong, minutes));
        take(&mut taken, &second, &series, &rest, settings);
    }
    taken
        .iter()
        .filter_map(|f| finish(f, &series, settings))
        .collect()
}

/// Fits `pairs` and adds them to `taken` (in order of time), best first, where they overlap none.
fn take(
    taken: &mut Vec<Fit>,
    pairs: &[Pair],
    series: &Series,
    readings: &[f64],
    settings: &Settings,
) {
    let mut found: Vec<Fit> = pairs
        .iter()
        .filter_map(|p| fit::fit(series, readings, *p, settings))
        .collect();
    found.sort_by(|a, b| b.score(settings).total_cmp(&a.score(settings)));
    for fit in found {
        let apart = settings.least_apart;
        let at = taken.partition_point(|other| other.end + apart <= fit.start);
        if taken
            .get(at)
            .is_none_or(|other| fit.end + apart <= other.start)
        {
            taken.insert(at, fit);
        }
    }
}

/// Turns a fit into indices of readings.
fn finish(f: &Fit, series: &Series, settings: &Settings) -> Option<Candidate> {
    let glucose = series.glucose;
    let (start, end) = f.run(series)?;
    let nadir = (start..=end).min_by(|&a, &b| glucose[a].total_cmp(&glucose[b]))?;
    let drop = expected(f, series, nadir) - glucose[nadir];
    Some(Candidate {
        artefact: Artefact {
            start,
            end,
            nadir,
            drop,
            height: f.evidence.height,
            fall_minutes: f.evidence.fall * LN_10,
            recovery_minutes: f.evidence.rise * LN_10,
            probability: settings.probability(&f.evidence),
            strictest: Preset::Looser,
        },
        evidence: f.evidence,
    })
}

/// Expected trace at a reading: mean of readings with the fitted dip added back, 20 min to each side.
fn expected(f: &Fit, series: &Series, at: usize) -> f64 {
    let minutes = series.minutes;
    let from = minutes.partition_point(|&m| m < minutes[at] - SMOOTHED);
    let to = minutes.partition_point(|&m| m <= minutes[at] + SMOOTHED);
    let sum: f64 = (from..to)
        .map(|i| series.glucose[i] + f.depth(minutes[i]))
        .sum();
    sum / (to - from) as f64
}
