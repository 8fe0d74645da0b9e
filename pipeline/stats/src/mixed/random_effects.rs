//! Effects of several people, each with an error of its own, around a common mean.

use crate::distributions::{
    chi_square_quantile, chi_square_upper_tail, f_quantile, f_upper_tail, normal_cdf,
};
use crate::interval::Interval;
use crate::zero::{zero_between, zero_of_falling};

/// Fewest people from whom a new one is foretold.
const FEWEST_FOR_A_NEW_ONE: usize = 3;

/// Steps of the plausible spreads between people.
const SPREADS: usize = 400;

/// One person's estimate and the variance of its error, above 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// The estimate.
    pub estimate: f64,
    /// Variance of its error.
    pub variance: f64,
}

/// An estimate with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shrunken {
    /// The estimate.
    pub estimate: f64,
    /// Its interval.
    pub interval: Interval,
}

/// How people differ.
#[derive(Debug, Clone, PartialEq)]
pub struct RandomEffects {
    /// Mean over people: generalised least squares given the spread.
    pub mean: f64,
    /// Its standard error given the spread.
    pub std_error: f64,
    /// Standard deviation between people.
    pub spread: Shrunken,
    /// Cochran's Q: Σ (estimate - mean)² / variance.
    pub q: f64,
    /// p of "all people are alike".
    pub p: f64,
    /// 95 % prediction for a new person; `None` below three people.
    pub new_person: Option<Interval>,
    /// Each person's own effect, drawn towards the mean, in the order given.
    pub people: Vec<Shrunken>,
}

/// Random effects of people: estimate = mean + own effect + error, both normal, errors of known variance.
///
/// `df` are the degrees of freedom that the variances were estimated with together; infinite where they are known. `None` below
/// two people or where a variance is not above 0.
///
/// - spread τ: restricted maximum likelihood; its interval holds the τ² at which Σ (estimate - mean)² / (variance + τ²) lies between
///   the quantiles of (k - 1) F with k - 1 and `df` degrees of freedom, chi-square where that is infinite (Viechtbauer 2007 Stat
///   Med 26:37; with F and k equal variances / n it is Wald 1940 Ann Math Stat 11:96);
/// - p: the same at τ = 0;
/// - each person's estimate: B estimate + (1 - B) mean, B = τ² / (τ² + variance), the best linear unbiased prediction (Robinson 1991
///   Stat Sci 6:15);
/// - intervals of people and of a new one: over plausible τ, weighed by the restricted likelihood (a flat prior of τ and of the mean:
///   Gelman 2006 Bayesian Anal 1:515), since a τ estimated as 0 is no proof that people are alike.
///
/// Sources from memory. Checked by `tests/random_effects.rs`.
#[must_use]
pub fn random_effects(effects: &[Effect], df: f64) -> Option<RandomEffects> {
    let mut all = over_people(effects, df)?;
    let given = Given::new(effects, all.spread.estimate.powi(2));
    let plausible = plausible(effects);
    let person = |effect: &Effect| Shrunken {
        estimate: given.own(effect).0,
        interval: mixture_interval(&plausible, &|given| given.own(effect)),
    };
    all.people = effects.iter().map(person).collect();
    Some(all)
}

/// The same without the effect of each person.
pub(super) fn over_people(effects: &[Effect], df: f64) -> Option<RandomEffects> {
    let Between { spread, q, p, .. } = spread_between(effects, df)?;
    let between = effects.len() as f64 - 1.0;
    let quantile = |p: f64| match df.is_finite() {
        true => between * f_quantile(p, between, df),
        false => chi_square_quantile(p, between),
    };
    let tau2 = spread.powi(2);
    let spread_at = |p: f64| root(effects, |given| given.q - quantile(p)).sqrt();
    let given = Given::new(effects, tau2);
    let new_person = || {
        let of = |given: &Given| (given.mean, (given.tau2 + given.variance_of_mean).sqrt());
        mixture_interval(&plausible(effects), &of)
    };
    Some(RandomEffects {
        mean: given.mean,
        std_error: given.variance_of_mean.sqrt(),
        spread: Shrunken {
            estimate: tau2.sqrt(),
            interval: Interval {
                lower: spread_at(0.975),
                upper: spread_at(0.025),
            },
        },
        q,
        p,
        new_person: (effects.len() >= FEWEST_FOR_A_NEW_ONE).then(new_person),
        people: Vec::new(),
    })
}

/// How far people lie apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Between {
    /// Mean over people.
    pub mean: f64,
    /// Standard deviation between people.
    pub spread: f64,
    /// Cochran's Q.
    q: f64,
    /// p of "all people are alike".
    pub p: f64,
}

/// [`random_effects`] in brief, without intervals.
pub(crate) fn spread_between(effects: &[Effect], df: f64) -> Option<Between> {
    let sound = |e: &Effect| e.variance > 0.0 && e.variance.is_finite() && e.estimate.is_finite();
    if effects.len() < 2 || !effects.iter().all(sound) {
        return None;
    }
    let between = effects.len() as f64 - 1.0;
    let (q, tau2) = (Given::new(effects, 0.0).q, variance_between(effects));
    Some(Between {
        mean: Given::new(effects, tau2).mean,
        spread: tau2.sqrt(),
        q,
        p: match df.is_finite() {
            true => f_upper_tail(q / between, between, df),
            false => chi_square_upper_tail(q, between),
        },
    })
}

/// Variance between people by restricted maximum likelihood.
pub(super) fn variance_between(effects: &[Effect]) -> f64 {
    root(effects, |given| given.score)
}

/// What follows where the variance between people is given.
struct Given {
    tau2: f64,
    mean: f64,
    variance_of_mean: f64,
    /// Σ w (estimate - mean)², w = 1 / (variance + τ²).
    q: f64,
    /// Slope of the restricted log likelihood in τ², twice.
    score: f64,
    /// Restricted log likelihood but for a constant.
    log_likelihood: f64,
}

impl Given {
    fn new(effects: &[Effect], tau2: f64) -> Self {
        let weights: Vec<f64> = effects.iter().map(|e| 1.0 / (e.variance + tau2)).collect();
        let total: f64 = weights.iter().sum();
        let pairs = || weights.iter().zip(effects);
        let mean = pairs().map(|(w, e)| w * e.estimate).sum::<f64>() / total;
        let off = |e: &Effect| (e.estimate - mean).powi(2);
        let q: f64 = pairs().map(|(w, e)| w * off(e)).sum();
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        let pull: f64 = pairs().map(|(w, e)| w * w * off(e)).sum();
        let logs: f64 = weights.iter().map(|w| w.ln()).sum();
        Self {
            tau2,
            mean,
            variance_of_mean: 1.0 / total,
            q,
            score: pull - total + squares / total,
            log_likelihood: 0.5 * (logs - total.ln() - q),
        }
    }

    /// Mean and standard deviation of a person's own effect.
    fn own(&self, effect: &Effect) -> (f64, f64) {
        let kept = self.tau2 / (self.tau2 + effect.variance);
        let mean = kept * effect.estimate + (1.0 - kept) * self.mean;
        let left = kept * effect.variance + (1.0 - kept).powi(2) * self.variance_of_mean;
        (mean, left.sqrt())
    }
}

/// The τ² at which a function that falls from above 0 reaches it; 0 where it is not above 0 to begin with.
fn root(effects: &[Effect], of: impl Fn(&Given) -> f64) -> f64 {
    if of(&Given::new(effects, 0.0)) <= 0.0 {
        return 0.0;
    }
    zero_of_falling(scale(effects).powi(2), |tau2| {
        of(&Given::new(effects, tau2))
    })
}

/// A size that spreads are measured in: errors and scatter together.
fn scale(effects: &[Effect]) -> f64 {
    let k = effects.len() as f64;
    let mean = effects.iter().map(|e| e.estimate).sum::<f64>() / k;
    let scatter = effects
        .iter()
        .map(|e| (e.estimate - mean).powi(2))
        .sum::<f64>()
        / k;
    let error = effects.iter().map(|e| e.variance).sum::<f64>() / k;
    (scatter + error).sqrt()
}

/// Plausible spreads with their weights, which add up to 1: τ from 0 to 400 times [`scale`], more densely where it is small.
fn plausible(effects: &[Effect]) -> Vec<(f64, Given)> {
    let scale = scale(effects);
    let given: Vec<(f64, Given)> = (0..SPREADS)
        .map(|step| {
            let u = (step as f64 + 0.5) / SPREADS as f64;
            let tau = 0.5 * scale * u / (1.0 - u);
            (-2.0 * (1.0 - u).ln(), Given::new(effects, tau * tau))
        })
        .collect();
    let log = |(density, given): &(f64, Given)| density + given.log_likelihood;
    let most = given.iter().map(log).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = given.iter().map(|g| (log(g) - most).exp()).sum();
    let weighed = given
        .into_iter()
        .map(|g| ((log(&g) - most).exp() / total, g.1));
    weighed.collect()
}

/// 95 % interval of a mixture of normal distributions, of which `of` gives mean and standard deviation.
fn mixture_interval(plausible: &[(f64, Given)], of: &dyn Fn(&Given) -> (f64, f64)) -> Interval {
    Interval {
        lower: mixture_quantile(plausible, of, 0.025),
        upper: mixture_quantile(plausible, of, 0.975),
    }
}

/// Quantile of a mixture of normal distributions, of which `of` gives mean and standard deviation.
fn mixture_quantile(plausible: &[(f64, Given)], of: &dyn Fn(&Given) -> (f64, f64), p: f64) -> f64 {
    let parts: Vec<(f64, f64, f64)> = plausible
        .iter()
        .map(|(weight, given)| {
            let (mean, sd) = of(given);
            (*weight, mean, sd)
        })
        .collect();
    let reach = |sign: f64| {
        let ends = parts.iter().map(|(_, mean, sd)| mean + sign * 10.0 * sd);
        ends.fold(parts.first().map_or(0.0, |part| part.1), |a, b| {
            if sign * b > sign * a { b } else { a }
        })
    };
    zero_between(reach(-1.0), reach(1.0), |x| {
        let below = |(weight, mean, sd): &(f64, f64, f64)| weight * normal_cdf((x - mean) / sd);
        parts.iter().map(below).sum::<f64>() - p
    })
}
