//! Which site is best for one wearer, as a probability.

use whereworn_model::sites::LEAST_SENSORS;

use crate::dice::Dice;

/// The spread between sites that is expected before any sensor, relative to that between sensors of a site: half a normal
/// distribution with this standard deviation. A choice; no source.
pub const SITE_SPREAD: f64 = 0.7;

/// Draws of the posterior.
pub const DRAWS: usize = 4_000;

/// Probability below which a site is not said to be unbeaten: it may be ahead in something by chance alone. A choice.
const LEAST_CHANCE: f64 = 0.05;

/// Worths this near to each other are the same but for rounding, in differences that matter.
const ROUNDING: f64 = 1e-9;

/// Steps of the grid of spreads between sites, and its end.
const STEPS: usize = 60;
const WIDEST: f64 = 3.0;

/// One sensor's figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    /// Its site, as its place among the candidates.
    pub site: usize,
    /// The figure.
    pub value: f64,
    /// How much it weighs, above 0: its variance is that of the measure over this weight.
    pub weight: f64,
}

/// One thing that matters.
#[derive(Clone, Debug, PartialEq)]
pub struct Aspect {
    /// Its name in the priorities.
    pub name: &'static str,
    /// How much it matters, 0 to 5.
    pub priority: f64,
    /// The difference that matters, in the unit of the figures: a priority counts for each of it. Negative where less is
    /// better.
    pub scale: f64,
    /// The figures of sensors, in any order.
    pub figures: Vec<Figure>,
}

impl Aspect {
    /// Decimals that its priority is written with.
    pub(crate) fn digits(&self) -> usize {
        usize::from(self.priority.fract() != 0.0)
    }
}

/// What is said of a candidate.
#[derive(Clone, Debug, PartialEq)]
pub struct Chance {
    /// The sensors that it had.
    pub sensors: usize,
    /// The probability that it is the best of those that were worn; 0 where it was not.
    pub probability: f64,
    /// For each aspect, its shrunken mean in the unit of the figures; `None` where no sensor of any candidate has one.
    pub means: Vec<Option<f64>>,
    /// Whether another candidate is at least as good in everything that matters and better in something, by these means; both
    /// having [`LEAST_SENSORS`].
    pub beaten: bool,
}

impl Chance {
    /// Whether it had any sensor: of one that had none nothing is known, and nothing is said.
    #[must_use]
    pub fn is_worn(&self) -> bool {
        self.sensors > 0
    }

    /// Whether it had sensors enough for a word on it.
    #[must_use]
    pub fn is_told(&self) -> bool {
        self.sensors >= LEAST_SENSORS
    }

    /// Whether it had sensors enough, may well be the best, and none beats it.
    #[must_use]
    pub fn is_unbeaten(&self) -> bool {
        self.is_told() && !self.beaten && self.probability >= LEAST_CHANCE
    }
}

/// How far a priority must move before another candidate leads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// Which aspect.
    pub aspect: usize,
    /// The nearest priority, 0 to 5, at which another leads.
    pub to: f64,
    /// Who leads then.
    pub leader: usize,
}

/// The answer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Best {
    /// One a candidate, in their order.
    pub chances: Vec<Chance>,
    /// The aspects whose priority would have to move, each by itself, for another to lead.
    pub moves: Vec<Move>,
}

impl Best {
    /// Whether any sensor has a figure of an aspect.
    #[must_use]
    pub fn is_known(&self, aspect: usize) -> bool {
        let mean = |chance: &Chance| chance.means.get(aspect).copied().flatten();
        self.chances.iter().any(|chance| mean(chance).is_some())
    }

    /// The candidate with the greatest shrunken sum of priorities; `None` where none was worn.
    #[must_use]
    pub fn leader(&self, aspects: &[Aspect]) -> Option<usize> {
        leader(&self.chances, &priorities(aspects), aspects)
    }
}

/// The probability that each candidate is the best of those that had a sensor, all aspects together; `sensors` are those that
/// each had.
///
/// A candidate that had none takes no part: the spread of the others alone would put it ahead of one that is known to do
/// poorly.
/// A sensor's figure is its site's mean plus an error of variance σ² / weight; site means are normal about a common mean
/// with standard deviation ρ σ. Flat priors for the common mean and ln σ, half-normal for ρ ([`SITE_SPREAD`]). A site
/// with few sensors is drawn towards the others by as much as the others are alike.
/// Given ρ all integrals are closed (Gelman et al. 2013, Bayesian Data Analysis, section 5.4, from memory); ρ is summed over a grid. A
/// candidate's worth is the sum of priority times mean over scale; its probability is the share of [`DRAWS`] draws in
/// which its worth is the greatest. Aspects are independent given the sites. Checked by `tests/best.rs`, and by `cargo xtask
/// plan`: of those given 75 to 85 %, 75 to 85 % are best.
#[must_use]
pub fn best(aspects: &[Aspect], sensors: &[usize], seed: u64) -> Best {
    let candidates = sensors.len();
    let mut dice = Dice::new(seed);
    let models: Vec<Option<Model>> = aspects
        .iter()
        .map(|aspect| Model::new(&aspect.figures, candidates))
        .collect();
    let mut wins = vec![0.0; candidates];
    for _ in 0..DRAWS {
        let mut worth = vec![0.0; candidates];
        for (aspect, model) in aspects.iter().zip(&models) {
            let Some(model) = model.as_ref().filter(|_| aspect.priority > 0.0) else {
                continue;
            };
            let means = model.draw(&mut dice);
            for (worth, mean) in worth.iter_mut().zip(means) {
                *worth += aspect.priority * mean / aspect.scale;
            }
        }
        let worn = || (0..candidates).filter(|&site| sensors[site] > 0);
        let most = worn()
            .map(|site| worth[site])
            .fold(f64::NEG_INFINITY, f64::max);
        let first: Vec<usize> = worn()
            .filter(|&site| worth[site] >= most - ROUNDING)
            .collect();
        for &site in &first {
            wins[site] += 1.0 / (first.len() * DRAWS) as f64;
        }
    }
    let means = |site: usize| -> Vec<Option<f64>> {
        let mean = |model: &Option<Model>| model.as_ref().map(|model| model.mean(site));
        models.iter().map(mean).collect()
    };
    let mut chances: Vec<Chance> = (0..candidates)
        .map(|site| Chance {
            sensors: sensors[site],
            probability: wins[site],
            means: means(site),
            beaten: false,
        })
        .collect();
    let beaten: Vec<bool> = (0..candidates)
        .map(|site| (0..candidates).any(|other| beats(&chances[other], &chances[site], aspects)))
        .collect();
    for (chance, beaten) in chances.iter_mut().zip(beaten) {
        chance.beaten = beaten;
    }
    let moves = moves(&chances, aspects);
    Best { chances, moves }
}

fn priorities(aspects: &[Aspect]) -> Vec<f64> {
    aspects.iter().map(|aspect| aspect.priority).collect()
}

/// The mean of an aspect in units of the difference that matters, more being better.
fn scaled<'a>(chance: &'a Chance, aspects: &'a [Aspect]) -> impl Iterator<Item = f64> + 'a {
    let means = chance.means.iter().zip(aspects);
    means.map(|(mean, aspect)| mean.map_or(0.0, |mean| mean / aspect.scale))
}

fn beats(one: &Chance, other: &Chance, aspects: &[Aspect]) -> bool {
    let matters = aspects.iter().map(|aspect| aspect.priority > 0.0);
    let pairs = scaled(one, aspects)
        .zip(scaled(other, aspects))
        .zip(matters);
    let gaps: Vec<f64> = pairs
        .filter(|(_, matters)| *matters)
        .map(|((one, other), _)| one - other)
        .collect();
    let told = one.is_told() && other.is_told();
    told && gaps.iter().all(|gap| *gap >= 0.0) && gaps.iter().any(|gap| *gap > 0.0)
}

fn worth(chance: &Chance, priorities: &[f64], aspects: &[Aspect]) -> f64 {
    scaled(chance, aspects)
        .zip(priorities)
        .map(|(mean, priority)| mean * priority)
        .sum()
}

fn leader(chances: &[Chance], priorities: &[f64], aspects: &[Aspect]) -> Option<usize> {
    let worths: Vec<f64> = chances
        .iter()
        .map(|chance| worth(chance, priorities, aspects))
        .collect();
    (0..chances.len())
        .rev()
        .filter(|&site| chances[site].is_worn())
        .max_by(|&a, &b| worths[a].total_cmp(&worths[b]))
}

/// Worths are linear in a priority: the leader changes where another's line crosses.
fn moves(chances: &[Chance], aspects: &[Aspect]) -> Vec<Move> {
    let priorities = priorities(aspects);
    let Some(first) = leader(chances, &priorities, aspects) else {
        return Vec::new();
    };
    let slope =
        |site: usize, aspect: usize| scaled(&chances[site], aspects).nth(aspect).unwrap_or(0.0);
    let lead = |site: usize| {
        worth(&chances[first], &priorities, aspects) - worth(&chances[site], &priorities, aspects)
    };
    let nearest = |aspect: usize| -> Option<Move> {
        let crossings = (0..chances.len())
            .filter(|&site| site != first && chances[site].is_worn())
            .filter_map(|site| {
                let steeper = slope(site, aspect) - slope(first, aspect);
                let to = priorities[aspect] + lead(site) / steeper;
                (to > 0.0 && to < 5.0).then_some(Move {
                    aspect,
                    to,
                    leader: site,
                })
            });
        crossings.min_by(|a, b| {
            let distance = |m: &Move| (m.to - priorities[aspect]).abs();
            distance(a).total_cmp(&distance(b))
        })
    };
    (0..aspects.len()).filter_map(nearest).collect()
}

/// The posterior of the sites' means of one aspect.
struct Model {
    /// Sum of weights and weighted mean of each candidate; weight 0 without a sensor.
    sites: Vec<(f64, f64)>,
    /// Degrees of freedom of σ².
    df: usize,
    grid: Vec<Point>,
}

/// One value of ρ, the spread between sites over that between sensors.
struct Point {
    ratio: f64,
    /// Its posterior probability, together with those before it.
    cumulative: f64,
    probability: f64,
    /// The common mean, its variance over σ², and the weighted squares left.
    mean: f64,
    mean_variance: f64,
    squares: f64,
}

impl Model {
    /// `None` where fewer than two figures leave no spread to learn from.
    fn new(figures: &[Figure], candidates: usize) -> Option<Self> {
        if figures.len() < 2 {
            return None;
        }
        let mut sites = vec![(0.0, 0.0); candidates];
        for figure in figures {
            let site = sites.get_mut(figure.site)?;
            site.0 += figure.weight;
            site.1 += figure.weight * figure.value;
        }
        for site in sites.iter_mut().filter(|site| site.0 > 0.0) {
            site.1 /= site.0;
        }
        let within: f64 = figures
            .iter()
            .map(|figure| figure.weight * (figure.value - sites[figure.site].1).powi(2))
            .sum();
        let df = figures.len() - 1;
        let logs: Vec<(Point, f64)> = (0..STEPS)
            .map(|step| {
                point(
                    &sites,
                    within,
                    df,
                    (step as f64 + 0.5) * WIDEST / STEPS as f64,
                )
            })
            .collect();
        let most = logs
            .iter()
            .map(|(_, log)| *log)
            .fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = logs.iter().map(|(_, log)| (log - most).exp()).sum();
        let mut sum = 0.0;
        let grid = logs
            .into_iter()
            .map(|(mut point, log)| {
                point.probability = (log - most).exp() / total;
                sum += point.probability;
                point.cumulative = sum;
                point
            })
            .collect();
        Some(Self { sites, df, grid })
    }

    /// Mean of a site's mean.
    fn mean(&self, site: usize) -> f64 {
        let (weight, mean) = self.sites[site];
        let at = |point: &Point| {
            let own = own_share(point.ratio, weight);
            point.probability * (own * mean + (1.0 - own) * point.mean)
        };
        self.grid.iter().map(at).sum()
    }

    /// One draw of all sites' means.
    fn draw(&self, dice: &mut Dice) -> Vec<f64> {
        let at = dice.unit();
        let place = self.grid.partition_point(|point| point.cumulative <= at);
        let Some(point) = self.grid.get(place).or(self.grid.last()) else {
            return Vec::new();
        };
        let sd = (point.squares / dice.chi_square(self.df)).sqrt();
        let common = point.mean + sd * point.mean_variance.sqrt() * dice.normal();
        self.sites
            .iter()
            .map(|&(weight, mean)| {
                let own = own_share(point.ratio, weight);
                let left = point.ratio * (1.0 - own).sqrt();
                own * mean + (1.0 - own) * common + sd * left * dice.normal()
            })
            .collect()
    }
}

/// How much of a site's mean comes from its own sensors.
fn own_share(ratio: f64, weight: f64) -> f64 {
    let between = ratio * ratio;
    between * weight / (1.0 + between * weight)
}

/// The common mean and what is left, given ρ, and the logarithm of ρ's posterior but for a constant.
fn point(sites: &[(f64, f64)], within: f64, df: usize, ratio: f64) -> (Point, f64) {
    let seen = || sites.iter().filter(|(weight, _)| *weight > 0.0);
    let variance = |weight: f64| ratio * ratio + 1.0 / weight;
    let precision: f64 = seen().map(|(weight, _)| 1.0 / variance(*weight)).sum();
    let mean = seen()
        .map(|(weight, mean)| mean / variance(*weight))
        .sum::<f64>()
        / precision;
    let between: f64 = seen()
        .map(|(weight, own)| (own - mean).powi(2) / variance(*weight))
        .sum();
    let squares = within + between;
    let volume: f64 = seen().map(|(weight, _)| variance(*weight).ln()).sum();
    // All figures equal but for rounding: nothing tells the spreads apart.
    let size: f64 = seen().map(|(weight, own)| weight * own * own).sum();
    let squares = if squares > ROUNDING * ROUNDING * size {
        squares
    } else {
        0.0
    };
    let fit = if squares > 0.0 {
        0.5 * df as f64 * squares.ln()
    } else {
        0.0
    };
    let prior = -0.5 * (ratio / SITE_SPREAD).powi(2);
    let log = prior - 0.5 * (volume + precision.ln()) - fit;
    let point = Point {
        ratio,
        cumulative: 0.0,
        probability: 0.0,
        mean,
        mean_variance: 1.0 / precision,
        squares,
    };
    (point, log)
}
