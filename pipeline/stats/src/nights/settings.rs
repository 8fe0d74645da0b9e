//! Every threshold and constant of the detector, in one place.

use super::Evidence;

/// Thresholds and model constants of the detector.
///
/// "Tuned" below means chosen by results on nights of the first generator ([`super::kinds`]), seeds
/// below 10 000; the weights were fitted on the same. Some gates and time constants were chosen with
/// its seeds from 100 000 on in view too. Figures are reported on seeds from 900 000 on, and on a second
/// generator ([`super::second`]) that nothing was tuned on.
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
    /// Lowest reading of the run (mg/dL) from which on down a true low is as likely an explanation as
    /// can be, and from which on up there is no low to explain: 60 and 85, that is 70 with noise.
    pub low_between: (f64, f64),
    /// Least fitted height of an artefact, mg/dL: falls of 25 are to be found; 20 is that less a
    /// standard error, so that five in six of those at 25 stay.
    pub least_drop: f64,
    /// Lowest reading of the run below which `Score::least_low` holds, mg/dL: 70, the usual limit of a low.
    pub low_limit: f64,
    /// Score of sessions with dense readings, fitted on the kinds at 1 and 5 min spacing.
    pub dense: Score,
    /// Score of sessions with sparse readings, fitted on the kinds at 15 min spacing.
    pub sparse: Score,
    /// Median spacing from which on readings are sparse, min.
    pub sparse_from: f64,
}

/// From evidence to a probability, and how much of it is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// Intercept and weights of the logit of the probability, in the order of
    /// [`Settings::features`]: logistic regression on labelled candidates.
    pub logistic: [f64; 8],
    /// Least probability of an artefact. Tuned: sensitivity levels off, and as many of the smaller and
    /// the false are counted as of the larger are missed, so that rates come out right.
    pub least: f64,
    /// Least probability where the run goes down to a low: so high that at most 1 % of true lows are
    /// called artefacts, even those that fall and recover as fast as glucose can.
    pub least_low: f64,
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
            edge_gate: 1.2,
            pair_gate: 3.8,
            height_gate: 14.0,
            least_gain: 6.0,
            fastest: 4.0,
            edge_minutes: [1.0, 2.5, 5.0, 8.0],
            slow_falls: [25.0, 40.0, 70.0],
            slow_rises: [20.0, 35.0, 60.0],
            low_between: (60.0, 85.0),
            least_drop: 20.0,
            low_limit: 70.0,
            dense: Score {
                logistic: [-6.21, 1.01, 0.8, 0.15, 1.16, -0.79, -1.04, 1.06],
                least: 0.35,
                least_low: 0.88,
            },
            sparse: Score {
                logistic: [-2.56, 0.76, 0.84, -0.46, 0.67, -0.48, -0.05, 0.23],
                least: 0.25,
                least_low: 0.7,
            },
            sparse_from: 9.0,
        }
    }
}

impl Settings {
    /// What the logit of the probability is a weighted sum of: likelihood against slow dips, shared
    /// between candidates that reach a low and others; how low; size; length; slowness of the edges.
    #[must_use]
    pub fn features(&self, e: &Evidence) -> [f64; 7] {
        let (full, none) = self.low_between;
        let low = ((none - e.bottom) / (none - full)).clamp(0.0, 1.0);
        let slow = e.against_slow.clamp(-10.0, 10.0);
        [
            slow * low,
            slow * (1.0 - low),
            low,
            e.height_in_errors.min(10.0),
            e.minutes / 60.0,
            low * (e.edges - 8.0) / 8.0,
            (1.0 - low) * (e.edges - 8.0) / 8.0,
        ]
    }

    /// Probability of an artefact given the evidence.
    #[must_use]
    pub fn probability(&self, e: &Evidence) -> f64 {
        1.0 / (1.0 + (-self.logit(e)).exp())
    }

    /// Logit of the probability.
    pub(super) fn logit(&self, e: &Evidence) -> f64 {
        let weights = self.score(e).logistic;
        weights[0]
            + weights[1..]
                .iter()
                .zip(self.features(e))
                .map(|(w, x)| w * x)
                .sum::<f64>()
    }

    /// Whether a candidate of this height and evidence is an artefact.
    pub(super) fn accepts(&self, height: f64, e: &Evidence) -> bool {
        let score = self.score(e);
        let least = if e.bottom < self.low_limit {
            score.least_low
        } else {
            score.least
        };
        height >= self.least_drop && self.probability(e) >= least
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
        Self::default().asking(22.0, 0.6, 0.95)
    }

    /// More, less sure artefacts: for a sensitivity analysis.
    #[must_use]
    pub fn looser() -> Self {
        Self::default().asking(18.0, 0.2, 0.6)
    }

    fn asking(mut self, drop: f64, least: f64, least_low: f64) -> Self {
        self.least_drop = drop;
        for score in [&mut self.dense, &mut self.sparse] {
            score.least = least;
            score.least_low = least_low;
        }
        self
    }
}
