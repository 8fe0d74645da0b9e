//! Probabilities of a draw, balanced in blocks.

use whereworn_stats::resampling::seed::seed;

use crate::dice::Dice;

/// The least probability of an open site; with more than ten of them, one over their number.
pub const LEAST: f64 = 0.1;

/// Draws of a block: within it the sites come as often as their weights say, as nearly as the lot allows.
pub const BLOCK: usize = 10;

/// Balls that the urn begins with. With one a draw all but settles the next, and a comparison that draws again has little to
/// draw; with many more sites would not be balanced. Chosen by this project, by simulation: no source.
const BALLS: f64 = 20.0;

/// Shares that add up to 1, none below [`LEAST`]: those below are lifted to it, and the others scaled to make up for it.
///
/// `weights` are not negative; all zero counts as all equal. One weight gives 1, none an empty vector.
#[must_use]
pub fn lifted(weights: &[f64]) -> Vec<f64> {
    let count = weights.len() as f64;
    let least = LEAST.min(1.0 / count);
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return vec![1.0 / count; weights.len()];
    }
    let mut low = vec![false; weights.len()];
    loop {
        let (mut lifted, mut rest) = (0.0, 0.0);
        for (weight, &low) in weights.iter().zip(&low) {
            if low {
                lifted += least;
            } else {
                rest += weight;
            }
        }
        let scale = (1.0 - lifted) / rest;
        let found = (0..weights.len()).find(|&i| !low[i] && weights[i] * scale < least);
        let Some(found) = found else {
            let share = |(weight, low): (&f64, &bool)| if *low { least } else { weight * scale };
            return weights.iter().zip(&low).map(share).collect();
        };
        low[found] = true;
    }
}

/// Probabilities of the next draw, given the weights of the open sites and how often each came up in the block so far.
///
/// The mass weighted urn of Zhao 2015 (Contemp Clin Trials 43:209, from memory): a site's mass is what it should have after twenty more
/// draws less what it has, (i + 20) w - n, not below 0, i being the draws of sites with a weight; the masses are then
/// lifted to [`LEAST`], so that a site without a weight keeps just that. `weights` add up to 1.
#[must_use]
pub fn probabilities(weights: &[f64], drawn: &[usize]) -> Vec<f64> {
    let weighted = weights
        .iter()
        .zip(drawn)
        .filter(|(weight, _)| **weight > 0.0);
    let balls = BALLS + weighted.map(|(_, drawn)| *drawn as f64).sum::<f64>();
    let mass = |(weight, drawn): (&f64, &usize)| (balls * weight - *drawn as f64).max(0.0);
    lifted(&weights.iter().zip(drawn).map(mass).collect::<Vec<f64>>())
}

/// One of the probabilities' places, as likely as they say. `parts` name the draw: same names, same place.
#[must_use]
pub fn draw(probabilities: &[f64], parts: &[&str]) -> usize {
    let mut left = Dice::new(seed(parts)).unit();
    for (place, probability) in probabilities.iter().enumerate() {
        left -= probability;
        if left < 0.0 {
            return place;
        }
    }
    probabilities.len().saturating_sub(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 0.6, 0.3, 0.05, 0.05; the last two are lifted to 0.1, the first two share 0.8 as 2 to 1.
    #[test]
    fn low_shares_are_lifted_and_the_others_keep_their_ratio() {
        let shares = lifted(&[0.6, 0.3, 0.05, 0.05]);
        let expected = [0.8 * 2.0 / 3.0, 0.8 / 3.0, 0.1, 0.1];
        for (share, expected) in shares.iter().zip(expected) {
            assert!((share - expected).abs() < 1e-12, "{shares:?}");
        }
    }

    #[test]
    fn every_open_site_keeps_its_chance() {
        for weights in [
            vec![1.0],
            vec![1.0, 0.0],
            vec![0.0, 0.0, 0.0],
            vec![0.92, 0.04, 0.04],
            vec![1.0; 12],
            vec![5.0, 0.101, 0.1, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        ] {
            let shares = lifted(&weights);
            let least = LEAST.min(1.0 / weights.len() as f64);
            assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            assert!(
                shares.iter().all(|&share| share >= least - 1e-12),
                "{shares:?}"
            );
        }
        assert!(lifted(&[]).is_empty());
    }

    /// By hand: two sites of weight one half after one draw of the first: masses 21/2 - 1 = 19/2 and 21/2; after 21, 41/2 - 21,
    /// none, and 41/2, lifted.
    #[test]
    fn a_site_that_came_up_comes_up_less_often_next() {
        let shares = probabilities(&[0.5, 0.5], &[1, 0]);
        assert!((shares[0] - 19.0 / 40.0).abs() < 1e-12 && (shares[1] - 21.0 / 40.0).abs() < 1e-12);
        let shares = probabilities(&[0.5, 0.5], &[21, 0]);
        assert!((shares[0] - 0.1).abs() < 1e-12 && (shares[1] - 0.9).abs() < 1e-12);
        assert_eq!(probabilities(&[0.5, 0.5], &[0, 0]), [0.5, 0.5]);
    }

    /// By hand: two sites that are compared and two that are not; one of the pair came up once, the others twice. Masses 19/2
    /// and 21/2, and none; lifted.
    #[test]
    fn a_site_without_a_weight_keeps_just_its_chance() {
        let shares = probabilities(&[0.5, 0.5, 0.0, 0.0], &[1, 0, 2, 0]);
        for (share, expected) in shares.iter().zip([0.38, 0.42, 0.1, 0.1]) {
            assert!((share - expected).abs() < 1e-12, "{shares:?}");
        }
    }

    /// Four standard errors of 20,000 draws.
    #[test]
    fn draws_come_as_often_as_they_should() {
        let probabilities = [0.55, 0.1, 0.35];
        let mut counts = [0.0; 3];
        for number in 0..20_000 {
            counts[draw(&probabilities, &["a test", &number.to_string()])] += 1.0;
        }
        for (count, p) in counts.iter().zip(probabilities) {
            let error = (p * (1.0 - p) / 20_000.0_f64).sqrt();
            assert!((count / 20_000.0 - p).abs() < 4.0 * error, "{counts:?}");
        }
    }
}
