//! A minimum of a function of a few numbers.

use crate::linear::Square;

/// Relative steps of the differences for slopes and curvatures: small enough for the next term not to count, large enough
/// for rounding not to.
const SLOPE_STEP: f64 = 2e-3;
const BEND_STEP: f64 = 5e-3;

/// The farthest that a coordinate is moved by polishing, as a share of itself.
const FARTHEST: f64 = 0.01;

/// The point where `f` is least near `start`, by the simplex method of Nelder and Mead 1965 Comput J 7:308 (from memory), started
/// again from its result until nothing is gained.
pub(crate) fn minimise(start: &[f64], step: f64, f: &mut impl FnMut(&[f64]) -> f64) -> Vec<f64> {
    let mut best = start.to_vec();
    let mut value = f(&best);
    let mut step = step;
    for _ in 0..4 {
        let next = simplex(&best, step, f);
        let reached = f(&next);
        let gain = value - reached;
        if reached <= value {
            best = next;
            value = reached;
        }
        if gain.abs() < 1e-9 {
            break;
        }
        step *= 0.3;
    }
    best
}

fn simplex(start: &[f64], step: f64, f: &mut impl FnMut(&[f64]) -> f64) -> Vec<f64> {
    let n = start.len();
    let mut corners: Vec<(f64, Vec<f64>)> = (0..=n)
        .map(|i| {
            let mut point = start.to_vec();
            if i > 0 {
                point[i - 1] += step * point[i - 1].abs().max(0.3);
            }
            (f(&point), point)
        })
        .collect();
    for _ in 0..200 * n {
        corners.sort_by(|a, b| a.0.total_cmp(&b.0));
        if finished(&corners) {
            break;
        }
        let centre: Vec<f64> = (0..n)
            .map(|k| corners[..n].iter().map(|(_, p)| p[k]).sum::<f64>() / n as f64)
            .collect();
        let along = |factor: f64| -> Vec<f64> {
            let worst = &corners[n].1;
            (0..n)
                .map(|k| centre[k] + factor * (worst[k] - centre[k]))
                .collect()
        };
        let mut at = |factor: f64| {
            let point = along(factor);
            (f(&point), point)
        };
        let reflected = at(-1.0);
        let replacement = if reflected.0 < corners[0].0 {
            let further = at(-2.0);
            Some(if further.0 < reflected.0 {
                further
            } else {
                reflected
            })
        } else if reflected.0 < corners[n - 1].0 {
            Some(reflected)
        } else {
            let inside = reflected.0 >= corners[n].0;
            let drawn_in = at(if inside { 0.5 } else { -0.5 });
            (drawn_in.0 < corners[n].0.min(reflected.0)).then_some(drawn_in)
        };
        match replacement {
            Some(corner) => corners[n] = corner,
            None => shrink(&mut corners, f),
        }
    }
    corners.sort_by(|a, b| a.0.total_cmp(&b.0));
    corners.swap_remove(0).1
}

fn finished(corners: &[(f64, Vec<f64>)]) -> bool {
    let best = &corners[0].1;
    let near = |point: &[f64]| {
        let mut pairs = point.iter().zip(best);
        pairs.all(|(a, b)| (a - b).abs() <= 1e-8 + 1e-7 * b.abs())
    };
    corners.iter().all(|(_, point)| near(point))
}

fn shrink(corners: &mut [(f64, Vec<f64>)], f: &mut impl FnMut(&[f64]) -> f64) {
    let best = corners[0].1.clone();
    for (value, point) in &mut corners[1..] {
        for (x, b) in point.iter_mut().zip(&best) {
            *x = b + 0.5 * (*x - b);
        }
        *value = f(point);
    }
}

/// The same minimum to more digits, by Newton's method: where the slope is 0 shows sharper than where `f` is least, so
/// that rounding of `f` hardly moves it. Coordinates that are 0 stay so. Slopes and curvatures are by central differences
/// over steps relative to the point; a step that would leave the neighbourhood is not made.
pub(crate) fn polish(start: &[f64], f: &mut impl FnMut(&[f64]) -> f64) -> Vec<f64> {
    let mut best = start.to_vec();
    let free: Vec<usize> = (0..best.len()).filter(|&k| best[k] != 0.0).collect();
    for _ in 0..3 {
        let mut at = |moves: &[(usize, f64)]| {
            let mut point = best.clone();
            for &(k, by) in moves {
                point[k] += by * best[k];
            }
            f(&point)
        };
        let here = at(&[]);
        let mut bends = Square::zero(free.len());
        let mut slopes = vec![0.0; free.len()];
        for (a, &k) in free.iter().enumerate() {
            let h = SLOPE_STEP;
            let near = at(&[(k, h)]) - at(&[(k, -h)]);
            let far = at(&[(k, 2.0 * h)]) - at(&[(k, -2.0 * h)]);
            slopes[a] = (8.0 * near - far) / (12.0 * h);
            let g = BEND_STEP;
            *bends.at_mut(a, a) = (at(&[(k, g)]) - 2.0 * here + at(&[(k, -g)])) / (g * g);
            for (b, &l) in free.iter().enumerate().take(a) {
                let mut corner = |s: f64, t: f64| at(&[(k, s * g), (l, t * g)]);
                let both =
                    corner(1.0, 1.0) - corner(1.0, -1.0) - corner(-1.0, 1.0) + corner(-1.0, -1.0);
                *bends.at_mut(a, b) = both / (4.0 * g * g);
                *bends.at_mut(b, a) = *bends.at_mut(a, b);
            }
        }
        let Some(factor) = bends.cholesky(1e-12) else {
            break;
        };
        factor.solve_lower(&mut slopes);
        factor.solve_upper(&mut slopes);
        if !slopes.iter().all(|step| step.abs() < FARTHEST) {
            break;
        }
        for (&k, step) in free.iter().zip(&slopes) {
            best[k] *= 1.0 - step;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosenbrock's valley, least at (1, 1).
    #[test]
    fn finds_the_bottom_of_a_bent_valley() {
        let mut f = |p: &[f64]| 100.0 * (p[1] - p[0] * p[0]).powi(2) + (1.0 - p[0]).powi(2);
        let found = minimise(&[-1.2, 1.0], 0.5, &mut f);
        assert!((found[0] - 1.0).abs() < 1e-5 && (found[1] - 1.0).abs() < 1e-5);
    }
    /// The simplex leaves it about 1e-6 off, Newton's steps no further than rounding.
    #[test]
    fn polishes_it() {
        let mut f = |p: &[f64]| {
            1000.0 + 100.0 * (p[1] - p[0] * p[0]).powi(2) + (1.0 - p[0]).powi(2) + p[2] * p[2]
        };
        let found = polish(&[1.000_03, 1.000_05, 0.0], &mut f);
        assert!((found[0] - 1.0).abs() < 1e-8 && (found[1] - 1.0).abs() < 1e-8);
        assert_eq!(found[2], 0.0);
    }
}
