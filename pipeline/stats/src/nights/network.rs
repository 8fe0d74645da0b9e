//! From evidence to the logit of a probability: a network of one hidden layer.

use super::Evidence;

/// Count of features.
pub const FEATURES: usize = 18;
/// Count of hidden units.
pub const HIDDEN: usize = 24;

/// Weights: the logit is `constant` plus the sum over units of `out` times tanh(`bias` + `hidden` · features).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Network {
    /// Weights of the features, by unit.
    pub hidden: [[f64; FEATURES]; HIDDEN],
    /// Constants of the units.
    pub bias: [f64; HIDDEN],
    /// Weights of the units.
    pub out: [f64; HIDDEN],
    /// Constant of the logit.
    pub constant: f64,
}

impl Network {
    /// Logit of the probability of an artefact.
    #[must_use]
    pub fn logit(&self, features: &[f64; FEATURES]) -> f64 {
        let units = self.hidden.iter().zip(&self.bias).zip(&self.out);
        let unit = |weights: &[f64; FEATURES], bias: f64| {
            let sum: f64 = weights.iter().zip(features).map(|(w, x)| w * x).sum();
            (bias + sum).tanh()
        };
        self.constant
            + units
                .map(|((weights, bias), out)| out * unit(weights, *bias))
                .sum::<f64>()
    }
}

impl Evidence {
    /// What the network sees, each of the order of 1.
    #[must_use]
    pub fn features(&self) -> [f64; FEATURES] {
        let ratio = |value: f64, usual: f64| (value.max(0.1 * usual) / usual).ln();
        let ten = |value: f64| value.clamp(-15.0, 15.0) / 10.0;
        let change = |value: f64| value.clamp(-120.0, 120.0) / 30.0;
        let [a, b, c, d, e, f] = self.steps.map(change);
        [
            ten(self.against_slow),
            ten(self.against_low),
            self.height_in_errors.min(12.0) / 5.0,
            ratio(self.minutes, 45.0),
            ratio(self.bottom, 70.0),
            ratio(self.before, 110.0),
            self.fall.ln_1p(),
            self.rise.ln_1p(),
            ratio(self.height, 30.0),
            a,
            b,
            c,
            d,
            e,
            f,
            change(self.after),
            self.gaps[0].ln(),
            self.gaps[1].ln(),
        ]
    }
}
