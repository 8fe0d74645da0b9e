//! Every threshold and constant of the detector, in one place.

use super::Evidence;

/// Thresholds and model constants of the detector.
///
/// "Tuned" below means chosen by results on synthetic nights. The weights were fitted on the tuning
/// kinds of [`super::kinds`], seeds below 10 000. Thresholds and the choice of features were made with
/// the reported kinds in view too (seeds below 10 000 and from 100 000 on): only seeds from 900 000 on
/// were not looked at before, and figures on other generators are the only fully independent ones.
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
    /// Expected lowest glucose (mg/dL) from which on down a true low is as likely an explanation as
    /// can be, and from which on up there is no low to explain: 65 and 90, that is 70 with noise.
    pub low_between: (f64, f64),
    /// Least fitted height of an artefact, mg/dL: falls of 25 are to be found; 20 is that less a
    /// standard error, so that five in six of those at 25 stay.
    pub least_drop: f64,
    /// Least probability of an artefact. Tuned: where sensitivity levels off and the false are still
    /// about 1 per 100 nights.
    pub least_probability: f64,
    /// Least probability where the run goes down to a low (`low_limit`): a true low explained away
    /// costs more than an artefact missed, so it must be more likely than not.
    pub least_probability_low: f64,
    /// Expected lowest glucose below which `least_probability_low` holds, mg/dL: 70 with room for noise.
    pub low_limit: f64,
    /// Intercept and weights of the logit of the probability, in the order of
    /// [`Settings::features`]. Fitted by logistic regression to the labelled candidates of the tuning
    /// kinds at 1 and 5 min spacing.
    pub logistic: [f64; 7],
    /// The same for sparse readings, fitted to the tuning kind at 15 min spacing.
    pub logistic_sparse: [f64; 7],
    /// Median spacing from which on readings are sparse, min.
    pub sparse_from: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            noise_cv: 0.035,
            noise_correlation: 0.7,
            rate_sd: 0.8,
            rate_sd_least: 0.5,
            rate_minutes: 30.0,
            prior_weight: 0.1,
            length: (14.0, 200.0),
            edge_gate: 1.2,
            pair_gate: 3.8,
            height_gate: 14.0,
            least_gain: 6.0,
            fastest: 4.0,
            low_between: (65.0, 90.0),
            least_drop: 20.0,
            least_probability: 0.35,
            least_probability_low: 0.5,
            low_limit: 75.0,
            logistic: [-4.3, 1.2, 0.69, -2.05, 1.06, -1.17, -0.85],
            logistic_sparse: [-1.55, 0.67, 0.37, -0.28, 0.61, -0.9, -0.5],
            sparse_from: 9.0,
        }
    }
}

impl Settings {
    /// What the logit of the probability is a weighted sum of: likelihood against slow dips, shared
    /// between candidates that reach a low and others; how low; size; length; slowness of the edges.
    #[must_use]
    pub fn features(&self, e: &Evidence) -> [f64; 6] {
        let (full, none) = self.low_between;
        let low = ((none - e.bottom) / (none - full)).clamp(0.0, 1.0);
        let slow = e.against_slow.clamp(-10.0, 10.0);
        [
            slow * low,
            slow * (1.0 - low),
            low,
            e.height_in_errors.min(10.0),
            e.minutes / 60.0,
            (e.edges - 8.0) / 8.0,
        ]
    }

    /// Probability of an artefact given the evidence.
    #[must_use]
    pub fn probability(&self, e: &Evidence) -> f64 {
        1.0 / (1.0 + (-self.logit(e)).exp())
    }

    /// Logit of the probability.
    pub(super) fn logit(&self, e: &Evidence) -> f64 {
        let sparse = e.spacing >= self.sparse_from;
        let weights = if sparse {
            &self.logistic_sparse
        } else {
            &self.logistic
        };
        weights[0]
            + weights[1..]
                .iter()
                .zip(self.features(e))
                .map(|(w, x)| w * x)
                .sum::<f64>()
    }

    /// Whether a candidate of this height and evidence is an artefact.
    pub(super) fn accepts(&self, height: f64, e: &Evidence) -> bool {
        let low = e.bottom < self.low_limit;
        let least = if low {
            self.least_probability_low
        } else {
            self.least_probability
        };
        height >= self.least_drop && self.probability(e) >= least
    }
}
