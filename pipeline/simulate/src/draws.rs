//! Variates.
//!
//! Written out rather than taken from a library of distributions: the detector's weights were fitted, and the pages of
//! results written, on what these lines make of a seed. Another way to a normal variate is another set of nights.

use rand::{Rng, RngExt};

/// Uniform between two ends.
pub fn uniform(random: &mut impl Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * random.random::<f64>()
}

/// Standard normal, by Box and Muller 1958 Ann Math Stat 29:610, from memory.
pub fn normal(random: &mut impl Rng) -> f64 {
    let radius = (-2.0 * (1.0 - random.random::<f64>()).ln()).sqrt();
    radius * (std::f64::consts::TAU * random.random::<f64>()).cos()
}

/// Gamma of mean 1, by Marsaglia and Tsang 2000 ACM Trans Math Softw 26:363; a shape below 1 by their section 6. From memory.
pub fn gamma(random: &mut impl Rng, shape: f64) -> f64 {
    if shape < 1.0 {
        let more = shape + 1.0;
        let u: f64 = random.random();
        return gamma(random, more) * more / shape * u.powf(1.0 / shape);
    }
    let d = shape - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = normal(random);
        let v = (1.0 + c * x).powi(3);
        let u: f64 = random.random();
        if v > 0.0 && u.ln() < 0.5 * x * x + d - d * v + d * v.ln() {
            return d * v / shape;
        }
    }
}

/// Poisson, by multiplying uniform variates (Knuth 1997, Seminumerical Algorithms, 3.4.1, from memory): for means of some tens.
pub fn poisson(random: &mut impl Rng, mean: f64) -> f64 {
    let (limit, mut product, mut count) = ((-mean).exp(), random.random::<f64>(), 0.0);
    while product > limit {
        product *= random.random::<f64>();
        count += 1.0;
    }
    count
}
