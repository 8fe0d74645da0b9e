//! The probability of being best: closed cases, luck of small samples, calibration on truths drawn from the prior.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use whereworn_plan::best::{Aspect, Chance, Figure, SITE_SPREAD, best};
use whereworn_stats::distributions::normal_quantile;

struct Dice(ChaCha8Rng);

impl Dice {
    fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }
    fn normal(&mut self) -> f64 {
        normal_quantile(((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64)
    }
}

/// Sensors at each site about the site's mean, with a standard deviation of 1.
fn figures(means: &[f64], sensors: &[usize], dice: &mut Dice) -> Vec<Figure> {
    let mut figures = Vec::new();
    for (site, (mean, &sensors)) in means.iter().zip(sensors).enumerate() {
        for _ in 0..sensors {
            figures.push(Figure {
                site,
                value: mean + dice.normal(),
                weight: 1.0,
            });
        }
    }
    figures
}

fn aspect(name: &'static str, priority: f64, scale: f64, figures: Vec<Figure>) -> Aspect {
    Aspect {
        name,
        priority,
        scale,
        figures,
    }
}

/// With hundreds of sensors and a difference of five standard deviations there is no doubt; with equal figures none is
/// ahead.
#[test]
fn clear_cases_are_clear() {
    let mut dice = Dice::new(1);
    let far = best(
        &[aspect(
            "steady",
            1.0,
            1.0,
            figures(&[0.0, 5.0], &[200, 200], &mut dice),
        )],
        &[200, 200],
        1,
    );
    assert!(far.chances[1].probability > 0.999);
    assert!(far.chances[0].beaten && !far.chances[1].beaten);
    let less = best(
        &[aspect(
            "skin",
            1.0,
            -1.0,
            figures(&[0.0, 5.0], &[200, 200], &mut dice),
        )],
        &[200, 200],
        1,
    );
    assert!(less.chances[0].probability > 0.999, "less is better");
    let alike = |site| Figure {
        site,
        value: 3.0,
        weight: 1.0,
    };
    let none = best(
        &[aspect("skin", 1.0, 1.0, (0..3).map(alike).collect())],
        &[1; 3],
        1,
    );
    assert!(
        none.chances
            .iter()
            .all(|chance| (chance.probability - 1.0 / 3.0).abs() < 1e-9)
    );
}

/// Two sites, n sensors each with hardly any doubt about the spread: the shrunken difference is d τ² / (τ² + σ² / n), by
/// hand for a known ratio; here only that the posterior lies between none and all of it, and nears all with n.
#[test]
fn few_sensors_are_drawn_towards_the_others() {
    let at = |sensors: usize| {
        let mut values = Vec::new();
        for number in 0..sensors {
            let wobble = if number % 2 == 0 { 1.0 } else { -1.0 };
            values.push(Figure {
                site: 0,
                value: wobble,
                weight: 1.0,
            });
            values.push(Figure {
                site: 1,
                value: 1.0 + wobble,
                weight: 1.0,
            });
        }
        let said = best(&[aspect("steady", 1.0, 1.0, values)], &[sensors; 2], 3);
        said.chances[1].means[0].unwrap() - said.chances[0].means[0].unwrap()
    };
    let (few, many) = (at(2), at(200));
    assert!(
        (0.05..0.7).contains(&few) && (0.97..1.0).contains(&many),
        "{few} {many}"
    );
}

/// Plain means name one of the three small sites best in three of four such studies. Here a small site is given three
/// chances in four or more in few of them.
#[test]
fn three_sensors_do_not_win_by_luck() {
    let mut dice = Dice::new(5);
    let (mut plain, mut said) = (0, 0);
    let studies = 200;
    for study in 0..studies {
        let figures = figures(&[0.0; 5], &[20, 20, 3, 3, 3], &mut dice);
        let mean = |site: usize| {
            let own: Vec<f64> = figures
                .iter()
                .filter(|f| f.site == site)
                .map(|f| f.value)
                .collect();
            own.iter().sum::<f64>() / own.len() as f64
        };
        let first = (0..5).max_by(|&a, &b| mean(a).total_cmp(&mean(b))).unwrap();
        plain += usize::from(first >= 2);
        let answer = best(
            &[aspect("steady", 1.0, 1.0, figures)],
            &[20, 20, 3, 3, 3],
            study,
        );
        said += usize::from(
            answer.chances[2..]
                .iter()
                .any(|chance| chance.probability >= 0.75),
        );
    }
    let share = |count: usize| count as f64 / studies as f64;
    assert!(
        (0.68..0.82).contains(&share(plain)),
        "plain means: {}",
        share(plain)
    );
    assert!(share(said) < 0.03, "given three in four: {}", share(said));
}

/// Truths from the prior: those given a probability are best that often. Three standard errors.
#[test]
fn probabilities_are_calibrated() {
    let mut dice = Dice::new(9);
    let (mut given, mut held) = ([0.0; 10], [0.0; 10]);
    let mut counts = [0.0; 10];
    for study in 0..400 {
        let mut aspects = Vec::new();
        let mut truth = [0.0; 4];
        for (name, priority) in [("stays-on", 2.0), ("skin", 1.0)] {
            let ratio = (SITE_SPREAD * dice.normal()).abs();
            let means: Vec<f64> = (0..4).map(|_| 7.0 + ratio * dice.normal()).collect();
            for (truth, mean) in truth.iter_mut().zip(&means) {
                *truth += priority * mean / 2.0;
            }
            aspects.push(aspect(
                name,
                priority,
                2.0,
                figures(&means, &[8, 5, 3, 2], &mut dice),
            ));
        }
        let first = (0..4)
            .max_by(|&a, &b| truth[a].total_cmp(&truth[b]))
            .unwrap();
        for (site, chance) in best(&aspects, &[8, 5, 3, 2], study)
            .chances
            .iter()
            .enumerate()
        {
            let bin = ((chance.probability * 10.0) as usize).min(9);
            counts[bin] += 1.0;
            given[bin] += chance.probability;
            held[bin] += f64::from(u8::from(site == first));
        }
    }
    for bin in 0..10 {
        let n: f64 = counts[bin];
        let (p, share) = (given[bin] / n, held[bin] / n);
        let error = (p * (1.0 - p) / n).sqrt();
        assert!(
            (share - p).abs() < 3.0 * error + 0.005,
            "given {p:.2}, best {share:.2} of {n}"
        );
    }
}

/// By hand: site 0 is worth 3 a + 1 b, site 1 worth 1 a + 2 b; at priorities 1 and 1 the first leads by 1. Site 1 leads
/// where b > 2 a: from b = 2, or a = 0.5.
#[test]
fn how_far_a_priority_must_move() {
    // The first place is a site that nobody wore: it lies between the others and would lead from the same weights on.
    let many = |values: [f64; 2]| {
        let mut figures = Vec::new();
        for number in 0..4_000 {
            let wobble = if number % 2 == 0 { 1e-3 } else { -1e-3 };
            for (site, value) in values.iter().enumerate() {
                figures.push(Figure {
                    site: site + 1,
                    value: value + wobble,
                    weight: 1.0,
                });
            }
        }
        figures
    };
    let aspects = [
        aspect("stays-on", 1.0, 1.0, many([3.0, 1.0])),
        aspect("comfort", 1.0, 1.0, many([1.0, 2.0])),
    ];
    let answer = best(&aspects, &[0, 4_000, 4_000], 1);
    assert_eq!(answer.leader(&aspects), Some(1));
    let to: Vec<f64> = answer.moves.iter().map(|m| m.to).collect();
    assert!(
        (to[0] - 0.5).abs() < 1e-3 && (to[1] - 2.0).abs() < 1e-3,
        "{to:?}"
    );
    assert!(answer.moves.iter().all(|m| m.leader == 2));
    assert!(answer.chances.iter().all(|chance| !chance.beaten));
}

/// A site with two sensors beats none and is beaten by none, however far it is ahead or behind.
#[test]
fn no_site_beats_another_before_both_had_three_sensors() {
    for (sensors, beaten) in [([200, 2], false), ([2, 200], false), ([200, 3], true)] {
        let figures = figures(&[0.0, 5.0], &sensors, &mut Dice::new(1));
        let answer = best(&[aspect("steady", 1.0, 1.0, figures)], &sensors, 1);
        assert_eq!(answer.chances[0].beaten, beaten, "{sensors:?}");
        assert!(!answer.chances[1].beaten);
    }
}

/// A site without a sensor has the spread of the others, and so a chance before one that is known to do poorly: it takes no
/// part, and what is said of the others is what is said without it.
#[test]
fn a_site_without_a_sensor_takes_no_part() {
    let figures = figures(&[2.0, 0.0], &[20, 3], &mut Dice::new(4));
    let aspects = [aspect("steady", 1.0, 1.0, figures)];
    let answer = best(&aspects, &[20, 3, 0], 1);
    let chances: Vec<f64> = answer.chances.iter().map(|c| c.probability).collect();
    assert_eq!(chances[2], 0.0);
    assert!((chances[0] + chances[1] - 1.0).abs() < 1e-9, "{chances:?}");
    let alone = best(&aspects, &[20, 3], 1);
    assert!((alone.chances[0].probability - chances[0]).abs() < 0.03);
    assert_eq!(answer.leader(&aspects), Some(0));
    // Were the others bad at it, the mean of all would lead.
    let worse = [aspect("skin", 1.0, -1.0, aspects[0].figures.clone())];
    let answer = best(&worse, &[0, 3, 0], 1);
    assert_eq!(answer.leader(&worse), Some(1));
    assert_eq!(best(&aspects, &[0, 0], 1).leader(&aspects), None);
}

/// Five sensors at two sites. The numbers come from the covariance matrix of the five figures, inverted for 400 spreads between
/// sites, and from integrals of Student's t: none of the closed forms of the program is in them.
#[test]
fn few_sensors_say_what_integration_says() {
    let figures = [
        (0, 0.0, 1.0),
        (0, 1.0, 1.0),
        (0, 2.0, 1.0),
        (1, 1.5, 2.0),
        (1, 3.0, 1.0),
    ];
    let figures = figures.map(|(site, value, weight)| Figure {
        site,
        value,
        weight,
    });
    let said = best(&[aspect("steady", 1.0, 1.0, figures.to_vec())], &[3, 2], 1);
    for (chance, mean) in said.chances.iter().zip([1.310_487, 1.689_513]) {
        let own = chance.means[0].unwrap();
        assert!((own - mean).abs() < 1e-3, "{own}");
    }
    // Three standard errors of 4,000 draws.
    let probability = said.chances[1].probability;
    assert!((probability - 0.716).abs() < 0.022, "{probability}");
}

/// By hand: at priorities 1 and 1 the sites are worth 2 a + 2 b, 4 a - 0.6 b and 2.4 b. The second leads from a = 1.3 on and the
/// third up to a = 0.2: 1.3 is the nearer to 1.
#[test]
fn the_nearest_move_is_told() {
    let many = |values: [f64; 3]| {
        let figure = |number: usize| Figure {
            site: number % 3,
            value: values[number % 3]
                + if number.is_multiple_of(2) {
                    1e-3
                } else {
                    -1e-3
                },
            weight: 1.0,
        };
        (0..12_000).map(figure).collect()
    };
    let aspects = [
        aspect("stays-on", 1.0, 1.0, many([2.0, 4.0, 0.0])),
        aspect("comfort", 1.0, 1.0, many([2.0, -0.6, 2.4])),
    ];
    let answer = best(&aspects, &[4_000; 3], 1);
    let first = answer.moves.iter().find(|m| m.aspect == 0).unwrap();
    assert!(
        (first.to - 1.3).abs() < 0.01 && first.leader == 1,
        "{first:?}"
    );
}

/// Ahead in something by chance alone, a site that is hardly ever the best is not said to be unbeaten.
#[test]
fn what_is_hardly_ever_the_best_is_not_unbeaten() {
    for (probability, unbeaten) in [(0.04, false), (0.06, true)] {
        let chance = Chance {
            sensors: 3,
            probability,
            means: Vec::new(),
            beaten: false,
        };
        assert_eq!(chance.is_unbeaten(), unbeaten, "{probability}");
    }
}
