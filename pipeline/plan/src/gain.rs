//! How an aim tilts the lot.

/// A comparison that is still open: one weight a site of the study, adding up to 0, such as 1 for a site and -1 for
/// another.
pub type Contrast = Vec<f64>;

/// What the draws are for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tilt {
    /// Share of the aim `learn`: 1, 0 for `wear-best`, 0.5 for half of each.
    pub learn: f64,
    /// The primary comparisons that are not settled yet.
    pub open: Vec<Contrast>,
    /// The probability that each site of the study is the best for this wearer.
    pub best: Vec<f64>,
}

impl Tilt {
    /// Weights of these sites that add up to 1, given how many sensors each site of the study has had.
    #[must_use]
    pub fn weights(&self, sites: &[usize], sensors: &[f64]) -> Vec<f64> {
        let learn = shares(&learning(&self.open, sites, sensors));
        let best: Vec<f64> = sites.iter().map(|&site| at(&self.best, site)).collect();
        let best = shares(&best);
        let mix = |(learn, best): (&f64, &f64)| self.learn * learn + (1.0 - self.learn) * best;
        learn.iter().zip(&best).map(mix).collect()
    }
}

fn at(values: &[f64], place: usize) -> f64 {
    values.get(place).copied().unwrap_or(0.0)
}

fn shares(weights: &[f64]) -> Vec<f64> {
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return vec![1.0 / weights.len() as f64; weights.len()];
    }
    weights.iter().map(|weight| weight / total).collect()
}

/// Sensors over which one site catches up with another: over few of them draws would be far from even, which a comparison
/// that draws again learns little from.
const AHEAD: usize = 40;

/// How many of the next [`AHEAD`] sensors would go to each site if each went where it takes most off the sum of the variances
/// of the open comparisons.
///
/// A comparison's variance is v Σ c² / (n + 1), one sensor's variance v being taken as equal everywhere: the tilt looks
/// at how many sensors a site has had and never at how they did, so that it cannot favour a difference. One sensor is
/// added to each n for sites without any. Over several comparisons the root of a site's Σ c² counts, which lies between the best
/// allocation of equally noisy sites and equal shares: a reference that happens to scatter less than the others would else
/// get too many. All zero where nothing is open.
fn learning(open: &[Contrast], sites: &[usize], sensors: &[f64]) -> Vec<f64> {
    let mut given = vec![0.0; sites.len()];
    for _ in 0..AHEAD {
        let gain = |place: usize| {
            let n = at(sensors, sites[place]) + given[place] + 1.0;
            let squares: f64 = open.iter().map(|c| at(c, sites[place]).powi(2)).sum();
            squares.sqrt() / (n * (n + 1.0))
        };
        let gains: Vec<f64> = (0..sites.len()).map(gain).collect();
        let most = gains.iter().copied().fold(0.0, f64::max);
        if most <= 0.0 {
            break;
        }
        let tied: Vec<usize> = (0..sites.len())
            .filter(|&place| gains[place] >= most * (1.0 - 1e-9))
            .collect();
        for &place in &tied {
            given[place] += 1.0 / tied.len() as f64;
        }
    }
    given
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tilt(open: Vec<Contrast>) -> Tilt {
        Tilt {
            learn: 1.0,
            open,
            best: vec![0.7, 0.2, 0.1, 0.0],
        }
    }

    #[test]
    fn a_pair_shares_the_sensors_and_the_one_behind_catches_up() {
        let pair = tilt(vec![vec![1.0, -1.0, 0.0, 0.0]]);
        let sites = [0, 1, 2, 3];
        assert_eq!(pair.weights(&sites, &[0.0; 4]), [0.5, 0.5, 0.0, 0.0]);
        let weights = pair.weights(&sites, &[10.0, 6.0, 0.0, 0.0]);
        assert_eq!(weights, [0.45, 0.55, 0.0, 0.0]);
    }

    /// Dunnett 1955 (J Am Stat Assoc 50:1096, from memory): with k equally noisy others a reference does best with the square root of k
    /// times as many; half way to equal shares, by the fourth root, four others give 1.41 times.
    #[test]
    fn a_reference_against_all_gets_more_than_each_other_site() {
        let against = |site: usize| {
            let mut contrast = vec![0.0; 5];
            contrast[0] = -1.0;
            contrast[site] = 1.0;
            contrast
        };
        let all = tilt((1..5).map(against).collect());
        let (mut counts, sites) = (vec![0.0; 5], [0, 1, 2, 3, 4]);
        for _ in 0..40 {
            let weights = all.weights(&sites, &counts);
            for (count, weight) in counts.iter_mut().zip(weights) {
                *count += 10.0 * weight;
            }
        }
        let ratio = counts[0] / counts[1];
        assert!((ratio - 2.0_f64.sqrt()).abs() < 0.05, "{counts:?}");
    }

    #[test]
    fn an_aim_for_the_best_site_goes_by_its_probabilities() {
        let mut best = tilt(vec![vec![1.0, -1.0, 0.0, 0.0]]);
        best.learn = 0.0;
        let weights = best.weights(&[0, 1], &[3.0, 3.0]);
        assert!((weights[0] - 7.0 / 9.0).abs() < 1e-12);
        best.learn = 0.5;
        let weights = best.weights(&[0, 1], &[3.0, 3.0]);
        assert!((weights[0] - 0.5 * (0.5 + 7.0 / 9.0)).abs() < 1e-12);
    }

    #[test]
    fn where_nothing_is_open_all_sites_are_alike() {
        assert_eq!(tilt(Vec::new()).weights(&[1, 2], &[0.0; 4]), [0.5, 0.5]);
    }
}
