//! Seeded draws that give the same values on every machine.
//!
//! Powers and logarithms come from `libm`, not from the system's mathematics library, whose last digit
//! differs between systems.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// One independent stream of random draws.
pub(crate) struct Dice(ChaCha8Rng);

/// What a stream is for; streams of different purposes are independent.
#[derive(Clone, Copy)]
pub(crate) enum Purpose {
    Profile = 1,
    Plan,
    Nights,
    Blood,
    Artefacts,
    Readings,
    Fingersticks,
    Events,
}

impl Dice {
    /// The stream of `seed` for one wearer, purpose and item (a sensor's index, or 0).
    pub(crate) fn new(seed: u64, wearer: usize, purpose: Purpose, item: usize) -> Self {
        let mut source = ChaCha8Rng::seed_from_u64(seed);
        source.set_stream(((wearer as u64) << 32) | ((purpose as u64) << 24) | item as u64);
        Self(source)
    }

    /// Uniform on [0, 1).
    pub(crate) fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform on [low, high).
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number from low to high, both included.
    pub(crate) fn whole(&mut self, low: i64, high: i64) -> i64 {
        low + (self.unit() * (high - low + 1) as f64) as i64
    }

    /// True with the given probability.
    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Near enough standard normal: the centred sum of twelve uniform draws of 16 bits (mean 0, variance 1,
    /// never beyond 6).
    pub(crate) fn normal(&mut self) -> f64 {
        let mut sum = 0u64;
        for _ in 0..3 {
            let bits = self.0.next_u64();
            sum +=
                (bits & 0xffff) + ((bits >> 16) & 0xffff) + ((bits >> 32) & 0xffff) + (bits >> 48);
        }
        (sum as f64 + 6.0) / 65536.0 - 6.0
    }

    /// Exponential with mean 1.
    pub(crate) fn exponential(&mut self) -> f64 {
        -libm::log(1.0 - self.unit())
    }

    /// How many events of a Poisson process with this mean happen.
    pub(crate) fn poisson(&mut self, mean: f64) -> usize {
        let mut count = 0;
        let mut spent = self.exponential();
        while spent < mean {
            count += 1;
            spent += self.exponential();
        }
        count
    }

    /// One of the items, each as likely as its weight says.
    pub(crate) fn pick<'a, T>(&mut self, items: &'a [T], weight: impl Fn(&T) -> f64) -> &'a T {
        let total: f64 = items.iter().map(&weight).sum();
        let mut left = self.unit() * total;
        let (last, others) = (&items[items.len() - 1], &items[..items.len() - 1]);
        for item in others {
            left -= weight(item);
            if left < 0.0 {
                return item;
            }
        }
        last
    }

    /// Puts the items into random order.
    pub(crate) fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.whole(0, last as i64) as usize);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Moments of the standard normal, exponential and Poisson distributions (any handbook); tolerance four standard
    /// errors of 200,000 draws.
    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        let mut dice = Dice::new(3, 0, Purpose::Plan, 0);
        let count = 200_000;
        let mut moments = |draw: &mut dyn FnMut(&mut Dice) -> f64| {
            let values: Vec<f64> = (0..count).map(|_| draw(&mut dice)).collect();
            let mean = values.iter().sum::<f64>() / count as f64;
            (
                mean,
                values
                    .iter()
                    .map(|value| (value - mean).powi(2))
                    .sum::<f64>()
                    / count as f64,
            )
        };
        let normal = moments(&mut Dice::normal);
        assert!(
            normal.0.abs() < 0.009 && (normal.1 - 1.0).abs() < 0.013,
            "{normal:?}"
        );
        let exponential = moments(&mut Dice::exponential);
        assert!(
            (exponential.0 - 1.0).abs() < 0.009 && (exponential.1 - 1.0).abs() < 0.026,
            "{exponential:?}"
        );
        let poisson = moments(&mut |dice| dice.poisson(0.7) as f64);
        assert!(
            (poisson.0 - 0.7).abs() < 0.0075 && (poisson.1 - 0.7).abs() < 0.012,
            "{poisson:?}"
        );
    }

    #[test]
    fn streams_of_different_sensors_differ() {
        let first = Dice::new(3, 1, Purpose::Readings, 0).unit();
        let second = Dice::new(3, 1, Purpose::Readings, 1).unit();
        assert_ne!(first.to_bits(), second.to_bits());
    }
}
