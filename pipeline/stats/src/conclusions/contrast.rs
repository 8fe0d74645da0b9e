//! The difference between two sites, studentised, within blocks.

use super::blocks::Member;
use crate::distributions::t_two_sided;

/// Degrees of freedom from which on a site's scatter is taken from its own sensors.
const LEAST_DF: f64 = 1.5;

/// A site's variance may be this many times its estimate: where it is too small by chance, t is too large and its degrees
/// of freedom are too many at once.
const DOUBT: f64 = 2.0;

/// Degrees of freedom below which a variance is doubted so.
const DOUBTED_BELOW: f64 = 6.0;

/// Sensors of either site below which nothing is tested.
pub(super) const FEWEST: usize = 3;

/// One of the two sites.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Side {
    /// Sensors compared.
    pub sensors: usize,
    /// Mean over blocks, weighted as the difference is.
    pub mean: f64,
    /// Its variance.
    pub variance: f64,
    /// Its variance where a sensor of mean weight has a variance of 1: one over an effective number of sensors.
    pub spread: f64,
    /// Degrees of freedom of the variance.
    pub df: f64,
}

/// A site less another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Contrast {
    /// The site, and the other.
    pub sides: [Side; 2],
    /// Effective number of sensors behind the difference, n m / (n + m) for n and m sensors of one block.
    pub information: f64,
    /// The site's mean less the other's.
    pub difference: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Degrees of freedom.
    pub df: f64,
}

impl Contrast {
    /// The other site less this one.
    pub fn turned(self) -> Self {
        let [site, other] = self.sides;
        Self {
            sides: [other, site],
            difference: -self.difference,
            ..self
        }
    }

    /// Two-sided p of no difference by t; `None` with fewer than [`FEWEST`] sensors of a site.
    pub fn p(&self) -> Option<f64> {
        let enough = self.sides.iter().all(|side| side.sensors >= FEWEST);
        if !enough || self.df < 1.0 {
            return None;
        }
        if self.std_error <= 0.0 {
            return Some(if self.difference == 0.0 { 1.0 } else { 0.0 });
        }
        Some(t_two_sided(self.t(), self.df))
    }

    /// The difference in standard errors; 0 for none, whatever its error.
    pub fn t(&self) -> f64 {
        if self.difference == 0.0 {
            0.0
        } else {
            self.difference / self.std_error
        }
    }
}

/// Sums over a block.
#[derive(Clone, Copy, Default)]
struct Block {
    weight: f64,
    first: f64,
    score: f64,
    first_score: f64,
}

/// The first site less the second: weighted least squares with a level for each block and a variance for each site.
///
/// With w the weight of a sensor, x 1 at the first site, and both x and the score y taken about their block's weighted
/// mean: difference = Σ w x y / Σ w x². A site's variance is Σ w e² / ν over its sensors, e the residual, ν its sensors less their
/// leverages; with ν below 1.5 both sites together stand in, unless the site's own is larger. Degrees of freedom
/// (Σ V)² / Σ (V² / ν), the fewest that come out with either V doubled. For one block and equal weights that is Welch's t
/// test but for that doubling. Sources, from memory: Welch 1938 Biometrika 29:350; Satterthwaite 1946 Biometrics Bull 2:110. `None` where
/// no block holds both sites. Members stand in the order of their blocks.
pub(super) fn contrast(members: &[Member]) -> Option<Contrast> {
    let blocks = blocks(members)?;
    let (mut total, mut difference, mut means) = (0.0, 0.0, [0.0; 2]);
    for block in &blocks {
        let second = block.weight - block.first;
        let share = block.first * second / block.weight;
        let of = [
            block.first_score / block.first,
            (block.score - block.first_score) / second,
        ];
        total += share;
        difference += share * (of[0] - of[1]);
        for (mean, of) in means.iter_mut().zip(of) {
            *mean += share * of;
        }
    }
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    difference /= total;
    let (mut sides, mut squares) = ([Side::default(); 2], [0.0; 2]);
    for member in members {
        let block = &blocks[member.block];
        let own = f64::from(u8::from(member.first)) - block.first / block.weight;
        let residual = member.score - block.score / block.weight - difference * own;
        let side = usize::from(!member.first);
        sides[side].sensors += 1;
        sides[side].df += 1.0 - member.weight * (1.0 / block.weight + own * own / total);
        sides[side].spread += member.weight * own * own / (total * total);
        squares[side] += member.weight * residual * residual;
    }
    let pooled_df = sides[0].df + sides[1].df;
    let pooled = (squares[0] + squares[1]) / pooled_df;
    let weight = members.iter().map(|member| member.weight).sum::<f64>() / members.len() as f64;
    for (place, side) in sides.iter_mut().enumerate() {
        side.mean = means[place] / total;
        let own = squares[place] / side.df.max(1.0);
        side.variance = side.spread
            * if side.df >= LEAST_DF {
                squares[place] / side.df
            } else {
                pooled.max(own)
            };
        if side.df < LEAST_DF {
            side.df = pooled_df;
        }
        side.spread *= weight;
    }
    Some(Contrast {
        sides,
        information: total / weight,
        difference,
        std_error: (sides[0].variance + sides[1].variance).sqrt(),
        df: joined_df(&sides.map(|side| (side.variance, side.df))).min(pooled_df),
    })
}

/// What the score of each member adds to the difference of [`contrast`], which is linear in them; empty where there is none.
pub(super) fn coefficients(members: &[Member]) -> Vec<f64> {
    let blocks = blocks(members).unwrap_or_default();
    let share = |block: &Block| block.first * (block.weight - block.first) / block.weight;
    let total: f64 = blocks.iter().map(share).sum();
    let of = |member: &Member| {
        let block = &blocks[member.block];
        let side = if member.first {
            block.first
        } else {
            block.first - block.weight
        };
        share(block) * member.weight / side / total
    };
    members.iter().map(of).collect()
}

fn blocks(members: &[Member]) -> Option<Vec<Block>> {
    let mut blocks = vec![Block::default(); members.last()?.block + 1];
    for member in members {
        let block = &mut blocks[member.block];
        block.weight += member.weight;
        block.score += member.weight * member.score;
        if member.first {
            block.first += member.weight;
            block.first_score += member.weight * member.score;
        }
    }
    Some(blocks)
}

/// Degrees of freedom of a sum of variances: the fewest there would be if one of them were truly [`DOUBT`] times its
/// estimate, or all as estimated; infinite where none is above 0.
pub(super) fn joined_df(variances: &[(f64, f64)]) -> f64 {
    let df_if = |doubted: Option<usize>| {
        let parts = variances.iter().enumerate();
        let (sum, uncertain) = parts.fold((0.0, 0.0), |(sum, uncertain), (place, (v, df))| {
            let v = if doubted == Some(place) && *df < DOUBTED_BELOW {
                DOUBT * v
            } else {
                *v
            };
            (sum + v, uncertain + v * v / df.max(1e-9))
        });
        if uncertain > 0.0 {
            sum * sum / uncertain
        } else {
            f64::INFINITY
        }
    };
    (0..variances.len())
        .map(|place| df_if(Some(place)))
        .fold(df_if(None), f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: Welch and Satterthwaite's (1 + 1)² / (1/3 + 1/12) = 9.6; the first variance, of 3 degrees of freedom, doubled,
    /// (2 + 1)² / (4/3 + 1/12) = 108/17. With 6 and 12 none is doubted: 4 / (1/6 + 1/12) = 16.
    #[test]
    fn a_variance_of_few_sensors_may_be_twice_its_estimate() {
        let doubted = joined_df(&[(1.0, 3.0), (1.0, 12.0)]);
        assert!((doubted - 108.0 / 17.0).abs() < 1e-12, "{doubted}");
        let known = joined_df(&[(1.0, 6.0), (1.0, 12.0)]);
        assert!((known - 16.0).abs() < 1e-12, "{known}");
        assert_eq!(joined_df(&[(0.0, 3.0), (0.0, 4.0)]), f64::INFINITY);
    }
}
