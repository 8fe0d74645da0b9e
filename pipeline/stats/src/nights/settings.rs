//! Every threshold and constant of the detector, in one place.

use super::Evidence;

/// Thresholds and model constants of the detector.
///
/// "Tuned" below means chosen by results on nights of the first generator ([`super::kinds`]), seeds
/// below 10 000; the weights were fitted on the same (`cargo xtask nights --fit`). Some gates and time
/// constants were chosen with its seeds from 100 000 on in view too. Figures are reported on seeds from
/// 5 000 000 on, and on two more generators ([`super::second`], [`super::third`]) that nothing was tuned on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Usual standard deviation of sensor noise as a share of glucose; a session's own estimate is
    /// pulled towards it. 3.5 %: common practice, no source.
    pub noise_cv: f64,
    /// Usual correlation of the noise over 5 min, likewise. Common practice, no source.
    pub noise_correlation: f64,
    /// Usual standard deviation of glucose's rate of change, mg/dL/min, likewise. Common practice,
    /// no source: nearly all rates lie within ±2 mg/dL/min.
    pub rate_sd: f64,
    /// Least standard deviation of the rate of change, mg/dL/min, however still a session is: nights
    /// with a low move more than a session's median. Tuned; results hardly depend on it (0.4 to 0.8).
    pub rate_sd_least: f64,
    /// Time constant of the rate of change, min. Tuned; results hardly depend on it (25 to 70).
    pub rate_minutes: f64,
    /// Weight of the usual values above against a session's own. Tuned; small, so that a session with
    /// a few hundred readings speaks for itself.
    pub prior_weight: f64,
    /// Shortest and longest run, min: 18 to 150 min are to be found, with room for the error of start
    /// and end. Published: median 45, 5th to 95th percentile 30 to 70 (Facchinetti et al. 2016, doi
    /// 10.1089/dia.2015.0250).
    pub length: (f64, f64),
    /// Least time between two artefacts, min: what lies nearer to one is a remnant of its edge, which
    /// takes 8 min time constant to be two thirds done.
    pub least_apart: f64,
    /// Least standardised fall, and recovery, of a candidate. Low: the pair decides.
    pub edge_gate: f64,
    /// Least standardised fall and recovery together: a fitted log likelihood ratio of about 7.
    pub pair_gate: f64,
    /// Least height that the scan may see in a candidate, mg/dL: `least_drop` less about 1.5 times
    /// the standard error of a fitted height (4 to 5 mg/dL at 3.5 % noise). Saves time only.
    pub height_gate: f64,
    /// Least log likelihood ratio of the fitted shape against no event. Below it no candidate comes to
    /// half the probability. Saves time only.
    pub least_gain: f64,
    /// Fastest that blood glucose moves, mg/dL/min: 4, the upper end of what is seen after
    /// fast-acting insulin. From memory.
    pub fastest: f64,
    /// Time constants tried at each edge, min; validation makes edges of up to 8 min.
    pub edge_minutes: [f64; 4],
    /// Minutes in which 90 % of a slow fall are done. Tuned.
    pub slow_falls: [f64; 3],
    /// The same for a slow recovery; shorter, since a treated low recovers fast. Tuned.
    pub slow_rises: [f64; 3],
    /// Median length of published events, min, which lengths are scored against: 45 (Facchinetti et al.
    /// 2016, doi 10.1089/dia.2015.0250).
    pub usual_length: f64,
    /// Most that the log likelihood ratio against slow dips counts for or against: e¹⁰ is beyond doubt
    /// already, and a model is not right that far out.
    pub most_slow: f64,
    /// Most standard errors that a height counts for.
    pub most_errors: f64,
    /// Lowest reading of the run (mg/dL) from which on down a true low is as likely an explanation as
    /// can be, and from which on up there is no low to explain: 60 and 85, that is 70 with noise.
    pub low_between: (f64, f64),
    /// Least fitted height of an artefact, mg/dL: falls of 25 are to be found; 20 is that less a
    /// standard error, so that five in six of those at 25 stay.
    pub least_drop: f64,
    /// Lowest reading of the run below which `Score::least_low` holds, mg/dL: 70, the usual limit of a low. From
    /// there up to the end of `low_between` it fades into `Score::least`: a low may be read too high.
    pub low_limit: f64,
    /// Score of sessions with dense readings, fitted on the kinds at 1 and 5 min spacing.
    pub dense: Score,
    /// Score of sessions with sparse readings, fitted on the kinds at 15 min spacing.
    pub sparse: Score,
    /// Median spacing from which on readings are sparse, min.
    pub sparse_from: f64,
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

/// From evidence to a probability, and how much of it is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// Weights of [`Settings::features`] in the logit of the probability of a run that does not come
    /// near a low. Logistic regression on labelled candidates.
    pub high: [f64; 8],
    /// The same for a run that goes down to a low.
    pub low: [f64; 8],
    /// Least probability of an artefact by preset, the loosest first. Tuned: sensitivity levels off, and as
    /// many of the smaller and the false are counted as of the larger are missed, so that rates come
    /// out right.
    pub least: [f64; 3],
    /// Least probability where the run goes down to a low: so high that at most 1 % of true lows are
    /// called artefacts, even those that fall and recover as fast as glucose can.
    pub least_low: [f64; 3],
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            noise_cv: 0.035,
            noise_correlation: 0.7,
            rate_sd: 0.8,
            rate_sd_least: 0.5,
            rate_minutes: 30.0,
            prior_weight: 0.25,
            length: (14.0, 200.0),
            least_apart: 15.0,
            edge_gate: 1.2,
            pair_gate: 3.8,
            height_gate: 14.0,
            least_gain: 6.0,
            fastest: 4.0,
            edge_minutes: [1.0, 2.5, 5.0, 8.0],
            slow_falls: [25.0, 40.0, 70.0],
            slow_rises: [20.0, 35.0, 60.0],
            usual_length: 45.0,
            most_slow: 10.0,
            most_errors: 10.0,
            low_between: (60.0, 85.0),
            least_drop: 20.0,
            low_limit: 70.0,
            dense: Score {
                high: [-12.47, 0.90, 1.96, -0.36, -1.90, 0.27, 0.92, 0.15],
                low: [-1.12, 0.94, 1.13, 1.04, -0.26, -1.72, -0.04, -3.50],
                least: [0.15, 0.3, 0.55],
                least_low: [0.4, 0.62, 0.85],
            },
            sparse: Score {
                high: [-2.39, 0.79, 0.85, 0.68, -1.64, -0.34, 0.09, -0.42],
                low: [0.56, 0.62, 0.50, 2.21, -0.83, -1.12, 0.04, -2.46],
                least: [0.15, 0.3, 0.55],
                least_low: [0.65, 0.82, 0.93],
            },
            sparse_from: 9.0,
            preset: Preset::Standard,
        }
    }
}

impl Settings {
    /// What the logit of the probability is a weighted sum of, beside a constant: likelihood against slow
    /// dips; height in standard errors; log of the length over the published median, and its square;
    /// logs of the edges' time constants; glucose before the fall (the higher, the larger the fall
    /// to a low).
    #[must_use]
    pub fn features(&self, e: &Evidence) -> [f64; 8] {
        let length = (e.minutes / self.usual_length).ln();
        [
            1.0,
            e.against_slow.clamp(-self.most_slow, self.most_slow),
            e.height_in_errors.min(self.most_errors),
            length,
            length * length,
            e.fall.ln_1p(),
            e.rise.ln_1p(),
            e.before / 100.0,
        ]
    }

    /// How far a run goes down to a low: 0 where there is no low to explain, 1 where there is.
    #[must_use]
    pub fn low(&self, e: &Evidence) -> f64 {
        let (full, none) = self.low_between;
        ((none - e.bottom) / (none - full)).clamp(0.0, 1.0)
    }

    /// Probability of an artefact given the evidence.
    #[must_use]
    pub fn probability(&self, e: &Evidence) -> f64 {
        1.0 / (1.0 + (-self.logit(e)).exp())
    }

    /// Logit of the probability: from that of runs that stay high to that of runs that reach a low.
    pub(super) fn logit(&self, e: &Evidence) -> f64 {
        let low = self.low(e);
        let score = self.score(e);
        let weights = score.high.iter().zip(&score.low);
        weights
            .zip(self.features(e))
            .map(|((high, by_low), x)| (high + low * (by_low - high)) * x)
            .sum()
    }

    /// The strictest preset that still reports a candidate with this evidence; `None` where none does.
    #[must_use]
    pub fn strictest(&self, e: &Evidence) -> Option<Preset> {
        let score = self.score(e);
        let near = (self.low_between.1 - e.bottom) / (self.low_between.1 - self.low_limit);
        let near = near.clamp(0.0, 1.0);
        let p = self.probability(e);
        let least = score.least.iter().zip(score.least_low);
        let enough = least.map(|(least, low)| p >= least + near * (low - least));
        Preset::ALL
            .into_iter()
            .zip(enough)
            .rfind(|(_, enough)| *enough && e.height >= self.least_drop)
            .map(|(preset, _)| preset)
    }

    fn score(&self, e: &Evidence) -> &Score {
        if e.spacing >= self.sparse_from {
            &self.sparse
        } else {
            &self.dense
        }
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
pub(super) const RATES: [f64; 4] = [0.4, 0.6, 0.9, 1.3];
/// Least count of second differences whose scale is trusted; most that are looked at.
pub(super) const ENOUGH: usize = 60;
pub(super) const SAMPLE: usize = 1500;
