//! A minimum of a function of a few numbers.

/// The point where `f` is least near `start`, by the simplex method of Nelder and Mead 1965 Comput J 7:308, started
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
}
