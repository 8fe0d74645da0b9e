//! Every threshold and constant of the detector, in one place.

use super::{Evidence, Network, weights};

/// Thresholds and model constants of the detector.
///
/// "Tuned" below means chosen by results on nights with seeds below 1 000 000. The weights were fitted to drawn
/// kinds of the first generator (`kinds::drawn` of the crate of simulations, `cargo xtask nights --fit`), seeds from 10 000 000 on.
/// Figures are reported on seeds from 60 000 000 on. Nothing was fitted to the two other generators
/// (`mean_reverting`, `cosines`); the least probabilities were chosen with their nights in view too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Usual standard deviation of sensor noise as a share of glucose; a session's own estimate is
    /// pulled towards it. 3.5 %: common practice, no source.
    pub noise_cv: f64,
    /// Usual correlation of the noise over 5 min, likewise. Common practice, no source.
    pub noise_correlation: f64,
    /// Usual standard deviation of glucose's rate of change, mg/dL/min, likewise. Common practice,
    /// no source: at night nearly all rates lie within ±1.5 mg/dL/min.
    pub rate_sd: f64,
    /// Time constant of the rate of change, min. Tuned; results hardly depend on it (25 to 70).
    pub rate_minutes: f64,
    /// Shortest and longest run, min: 18 to 150 min are to be found, with room for the error of start
    /// and end. Published: median 45, 5th to 95th percentile 30 to 70 (Facchinetti et al. 2016, doi
    /// 10.1089/dia.2015.0250).
    pub length: (f64, f64),
    /// Least time between two artefacts, min: what lies nearer to one is a remnant of its edge, which
    /// takes 8 min time constant to be two thirds done.
    pub least_apart: f64,
    /// Usual height of an artefact and its standard deviation, mg/dL: half of published ones are below 24 and
    /// one in twenty above 48 (Facchinetti et al. 2016); those to be found begin at 25.
    pub usual_height: (f64, f64),
    /// Usual lowest glucose of a true low and its standard deviation, mg/dL: common practice, no source.
    pub usual_low: (f64, f64),
    /// Fastest that blood glucose moves, mg/dL/min: 4, the upper end of what is seen after
    /// fast-acting insulin. From memory.
    pub fastest: f64,
    /// Time constants tried at each edge, min. Tuned: published ones were not to be had.
    pub edge_minutes: [f64; 4],
    /// Minutes in which 90 % of a slow fall are done. Tuned.
    pub slow_falls: [f64; 3],
    /// The same for a slow recovery; shorter, since a treated low recovers fast. Tuned.
    pub slow_rises: [f64; 3],
    /// Least height of an artefact, mg/dL: falls of 25 are to be found.
    pub least_height: f64,
    /// Lowest reading of the run (mg/dL) below which [`Spaced::least_low`] holds, and above which [`Spaced::least`]
    /// does; one fades into the other between them. 70 is the usual limit of a low, which may be read too high.
    pub low_between: (f64, f64),
    /// For sessions with dense readings, fitted at 1 to 5 min spacing.
    pub dense: Spaced,
    /// For sessions with sparse readings, fitted at 10 and 15 min spacing.
    pub sparse: Spaced,
    /// What is reported: all that this preset or a stricter one reports.
    pub preset: Preset,
}

/// How sure an artefact has to be. The presets differ in the probability asked for and in nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Preset {
    /// More, less sure artefacts.
    Looser,
    /// What the report counts.
    Standard,
    /// Fewer, surer artefacts.
    Stricter,
}

impl Preset {
    /// All, from the loosest on.
    pub const ALL: [Self; 3] = [Self::Looser, Self::Standard, Self::Stricter];
}

/// What depends on the spacing of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spaced {
    /// Least standard deviation of the rate of change, mg/dL/min, however still a session is: nights
    /// with a low move more than a session's median. Tuned.
    pub rate_sd_least: f64,
    /// Least standardised fall, and recovery, of a candidate. Low: the pair decides.
    pub edge_gate: f64,
    /// Least standardised fall and recovery together.
    pub pair_gate: f64,
    /// Least height that the scan may see in a candidate, mg/dL. Saves time only.
    pub height_gate: f64,
    /// Least log likelihood ratio of the fitted shape against no event. Saves time only.
    pub least_gain: f64,
    /// Standard errors by which a fitted height may be below the least: about as many smaller falls are counted as
    /// larger ones are missed. Tuned, so that rates come out right.
    pub height_errors: f64,
    /// Weights from evidence to a probability (`cargo xtask nights --fit`).
    pub network: &'static Network,
    /// Least probability of an artefact by preset, the loosest first. Tuned: sensitivity levels off, and as
    /// many of the smaller and the false are counted as of the larger are missed, so that rates come
    /// out right.
    pub least: [f64; 3],
    /// Least probability where the run goes down to a low: so high that at most 1 % of true lows are
    /// called artefacts, of sparse readings at most 1 % of those that do not fall fast.
    pub least_low: [f64; 3],
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            noise_cv: 0.035,
            noise_correlation: 0.7,
            rate_sd: 0.6,
            rate_minutes: 30.0,
            length: (14.0, 200.0),
            least_apart: 15.0,
            usual_height: (36.0, 16.0),
            usual_low: (55.0, 10.0),
            fastest: 4.0,
            edge_minutes: [1.2, 3.0, 6.0, 10.0],
            slow_falls: [25.0, 40.0, 70.0],
            slow_rises: [20.0, 35.0, 60.0],
            least_height: 25.0,
            low_between: (70.0, 85.0),
            dense: Spaced {
                rate_sd_least: 0.5,
                edge_gate: 1.3,
                pair_gate: 4.1,
                height_gate: 14.0,
                least_gain: 7.0,
                height_errors: 0.5,
                network: &weights::DENSE,
                least: [0.28, 0.5, 0.78],
                least_low: [0.68, 0.9, 0.96],
            },
            sparse: Spaced {
                rate_sd_least: 0.3,
                edge_gate: 1.1,
                pair_gate: 3.4,
                height_gate: 12.0,
                least_gain: 5.0,
                height_errors: 1.5,
                network: &weights::SPARSE,
                least: [0.4, 0.62, 0.83],
                least_low: [0.45, 0.68, 0.86],
            },
            preset: Preset::Standard,
        }
    }
}

impl Settings {
    /// What holds at a median spacing of the readings, min.
    #[must_use]
    pub fn at(&self, spacing: f64) -> &Spaced {
        if spacing >= SPARSE {
            &self.sparse
        } else {
            &self.dense
        }
    }

    /// Probability of an artefact given the evidence.
    #[must_use]
    pub fn probability(&self, e: &Evidence) -> f64 {
        1.0 / (1.0 + (-self.logit(e)).exp())
    }

    pub(super) fn logit(&self, e: &Evidence) -> f64 {
        self.at(e.spacing).network.logit(&e.features())
    }

    /// The strictest preset that still reports a candidate with this evidence; `None` where none does.
    #[must_use]
    pub fn strictest(&self, e: &Evidence) -> Option<Preset> {
        let spaced = self.at(e.spacing);
        let (low, high) = self.low_between;
        let near = ((high - e.bottom) / (high - low)).clamp(0.0, 1.0);
        let p = self.probability(e);
        let least = spaced.least.iter().zip(spaced.least_low);
        let enough = least.map(|(least, low)| p >= least + near * (low - least));
        Preset::ALL
            .into_iter()
            .zip(enough)
            .rfind(|(_, enough)| *enough && self.high_enough(e))
            .map(|(preset, _)| preset)
    }

    /// Whether a candidate is large enough to be reported: rounding to coarse steps makes one of them of next to nothing.
    #[must_use]
    pub fn high_enough(&self, e: &Evidence) -> bool {
        if e.coarse > 0.0 {
            return e.height >= self.least_height + e.coarse;
        }
        let error = e.height / e.height_in_errors;
        e.height + self.at(e.spacing).height_errors * error >= self.least_height
    }

    /// Fewer, surer artefacts: for a sensitivity analysis.
    #[must_use]
    pub fn stricter() -> Self {
        Self {
            preset: Preset::Stricter,
            ..Self::default()
        }
    }

    /// More, less sure artefacts: for a sensitivity analysis. One pass with these gives what every preset
    /// reports: see [`super::Artefact::strictest`].
    #[must_use]
    pub fn looser() -> Self {
        Self {
            preset: Preset::Looser,
            ..Self::default()
        }
    }
}

/// Whether readings are so far apart (median spacing, min) that a fast fall to a low looks like pressure, and the nadir
/// (mg/dL) so near a low that it may be one.
#[must_use]
pub fn hardly_told(spacing: f64, nadir: f64) -> bool {
    spacing >= SPARSE && nadir < Settings::default().low_between.1
}

/// Median spacing from which on readings are sparse, min.
pub(super) const SPARSE: f64 = 9.0;
/// Least minutes between the readings whose differences are evidence.
pub(super) const STEP: f64 = 5.0;
/// Readings before and after an event that the baseline is drawn through, min.
pub(super) const MARGIN: f64 = 100.0;
/// Shares of a slow ramp that may lie before the edge it stands for.
pub(super) const PARTS: [f64; 4] = [0.0, 0.25, 0.5, 0.75];
/// Factors on the best time constant of an edge that the finer grid tries: about thirds of the coarse steps.
pub(super) const FINER: [f64; 3] = [0.8, 1.0, 1.25];
/// Time constants after which a recovery is over (e⁻⁸ is left).
pub(super) const TAIL: f64 = 8.0;
/// Weight of the likelihood in the choice between candidates that overlap. Tuned.
pub(super) const EXPLAINED: f64 = 0.2;
/// Probability from which on a candidate's dip is taken off before the second look.
pub(super) const HALF: f64 = 0.5;
/// Minutes to each side of a nadir that its expected trace is the mean of.
pub(super) const SMOOTHED: f64 = 20.0;
/// Time constant of the edges in the scan, min: the middle of the range that is fitted later.
pub(super) const SCAN_TAU: f64 = 4.0;
/// White variance of a reading, (mg/dL)²: rounding to whole mg/dL is 1/12, the rest for mmol/L with one decimal.
pub(super) const ROUNDING: f64 = 0.3;
/// White variance of a reading held at a limit, (mg/dL)².
pub(super) const HELD: f64 = 9.0;
/// Minutes before a fall that count as shortly before.
pub(super) const BEFORE: f64 = 25.0;
/// Lags of the second differences, in readings.
pub(super) const LAGS: [usize; 5] = [1, 2, 3, 4, 6];
/// Longest lag that still tells more of noise than of glucose, min.
pub(super) const FARTHEST: f64 = 45.0;
/// Correlations of the noise over 5 min that are tried.
pub(super) const CORRELATIONS: [f64; 8] = [0.3, 0.5, 0.6, 0.7, 0.8, 0.87, 0.92, 0.96];
/// Standard deviations of the rate of change that are tried, mg/dL/min.
pub(super) const RATES: [f64; 7] = [0.15, 0.25, 0.35, 0.5, 0.7, 0.9, 1.3];
/// Least count of second differences whose scale is trusted; most that are looked at.
pub(super) const ENOUGH: usize = 60;
pub(super) const SAMPLE: usize = 1500;
/// Standard deviations, around the usual values, of the log of the noise's share, of its correlation and of the
/// log of the rate's standard deviation. Common practice, no source.
pub(super) const SPREAD: (f64, f64, f64) = (0.3, 0.25, 0.7);
/// Most independent differences that a scale counts for: the model is not right beyond that.
pub(super) const TRUSTED: f64 = 200.0;
/// Variance of the log of a normal sample's median absolute value, times its size: 1 / (2 · 0.37), 37 % being the
/// efficiency of the median absolute deviation (Rousseeuw and Croux 1993, J Am Stat Assoc 88:1273-1283, from memory).
pub(super) const OF_LOG_MAD: f64 = 1.35;
