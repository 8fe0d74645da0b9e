//! A standing person, drawn by hand: the outline from the front or from behind, and where on it the built-in sites lie.
//!
//! Lengths are hundredths of the person's height: `x` from the middle line to the right of whoever looks, `y` from the top
//! of the head down.

use super::canvas::{Canvas, Drawn, Stroke};
use crate::palette::{GHOST, MUTED, RULE};

/// Half of a figure's greatest width.
pub(crate) const HALF_WIDTH: f64 = 19.5;

/// The side of the body that is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Side {
    Front,
    Back,
}

/// Where the built-in sites lie; the sides that callouts stand on are free of crossing leaders.
const SPOTS: [(&str, Side, (f64, f64)); 9] = [
    ("upper-arm-inside", Side::Front, (-11.4, 29.5)),
    ("forearm", Side::Front, (-14.9, 44.0)),
    ("chest", Side::Front, (-4.8, 24.5)),
    ("abdomen", Side::Front, (-4.3, 41.5)),
    ("upper-thigh", Side::Front, (-6.2, 61.0)),
    ("upper-arm-back", Side::Back, (12.8, 28.5)),
    ("lower-back", Side::Back, (4.4, 41.5)),
    ("upper-buttock", Side::Back, (5.2, 49.0)),
    ("calf", Side::Back, (5.4, 81.5)),
];

/// The right half of the outline, from the top of the head to between the legs.
const OUTLINE: [(f64, f64); 47] = [
    (0.0, 0.3),
    (2.5, 1.0),
    (4.1, 3.2),
    (4.5, 6.2),
    (4.1, 9.0),
    (3.0, 11.2),
    (2.5, 12.4),
    (2.6, 14.4),
    (3.6, 15.8),
    (6.6, 16.9),
    (9.8, 18.0),
    (11.9, 20.2),
    (12.9, 23.5),
    (13.6, 28.0),
    (14.3, 33.0),
    (15.2, 37.5),
    (16.3, 42.0),
    (17.2, 47.0),
    (17.8, 50.5),
    (18.9, 54.0),
    (19.1, 57.5),
    (18.2, 60.4),
    (16.9, 59.6),
    (16.2, 56.0),
    (15.4, 52.0),
    (14.2, 47.0),
    (12.8, 42.0),
    (11.8, 37.5),
    (10.9, 32.5),
    (9.9, 28.0),
    (9.2, 25.6),
    (8.8, 29.5),
    (8.1, 34.0),
    (7.7, 38.0),
    (8.2, 43.0),
    (9.4, 48.0),
    (10.0, 53.0),
    (9.9, 60.0),
    (9.0, 68.0),
    (8.0, 75.0),
    (8.1, 80.0),
    (7.3, 87.0),
    (6.2, 93.5),
    (7.9, 97.6),
    (6.6, 99.2),
    (3.9, 98.4),
    (3.7, 93.5),
];

/// The inner side of the leg, from the ankle up.
const INNER_LEG: [(f64, f64); 5] = [
    (3.1, 87.0),
    (2.8, 80.0),
    (2.6, 74.0),
    (1.5, 65.0),
    (0.5, 55.5),
];

/// Lines within the outline, drawn on both halves.
const FRONT_LINES: [&[(f64, f64)]; 2] = [
    &[(1.2, 17.9), (4.0, 17.5), (7.4, 18.4)],
    &[(1.4, 28.6), (4.2, 29.4), (7.0, 28.2)],
];

const BACK_LINES: [&[(f64, f64)]; 2] = [
    &[(0.0, 18.5), (0.0, 30.0), (0.0, 45.5)],
    &[(0.6, 54.8), (3.6, 55.8), (6.8, 54.6)],
];

/// The side and place of a site that comes with the program.
pub(crate) fn spot(site: &str) -> Option<(Side, (f64, f64))> {
    let found = SPOTS.iter().find(|(key, _, _)| *key == site)?;
    Some((found.1, found.2))
}

/// A figure whose middle line stands at `middle`, below `top`, `height` high.
#[derive(Clone, Copy)]
pub(crate) struct Figure {
    pub side: Side,
    pub middle: f64,
    pub top: f64,
    pub height: f64,
}

impl Figure {
    /// A place of the figure on the canvas.
    pub fn place(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let unit = self.height / 100.0;
        (self.middle + x * unit, self.top + y * unit)
    }

    pub fn draw(&self, canvas: &Canvas) -> Drawn {
        let half: Vec<(f64, f64)> = OUTLINE.iter().chain(&INNER_LEG).copied().collect();
        let mirrored = half.iter().rev().map(|&(x, y)| (-x, y));
        let whole: Vec<(f64, f64)> = half.iter().copied().chain(mirrored).collect();
        let mut outline: Vec<(f64, f64)> = smooth(&whole, true)
            .into_iter()
            .map(|at| self.place(at))
            .collect();
        canvas.area(&outline, RULE, 0.4)?;
        outline.extend(outline.first().copied());
        canvas.line(&outline, Stroke::new(MUTED, 1.25))?;
        let lines = match self.side {
            Side::Front => FRONT_LINES,
            Side::Back => BACK_LINES,
        };
        for line in lines {
            for turn in [1.0, -1.0] {
                let curve = smooth(line, false).into_iter();
                let curve: Vec<(f64, f64)> =
                    curve.map(|(x, y)| self.place((x * turn, y))).collect();
                canvas.line(&curve, Stroke::new(GHOST, 1.0))?;
            }
        }
        Ok(())
    }
}

/// A smooth curve through points: cubic pieces whose slope at each point is that between its neighbours (Catmull and Rom).
fn smooth(points: &[(f64, f64)], closed: bool) -> Vec<(f64, f64)> {
    const PIECES: usize = 4;
    let count = points.len();
    let at = |index: isize| {
        let last = count as isize - 1;
        let index = if closed {
            index.rem_euclid(count as isize)
        } else {
            index.clamp(0, last)
        };
        points[index as usize]
    };
    let stretches = if closed { count } else { count - 1 };
    let mut out = Vec::new();
    for index in 0..stretches as isize {
        let (before, from, to, after) = (at(index - 1), at(index), at(index + 1), at(index + 2));
        let along = |a: f64, b: f64, c: f64, d: f64, t: f64| {
            let (t2, t3) = (t * t, t * t * t);
            0.5 * (2.0 * b
                + (c - a) * t
                + (2.0 * a - 5.0 * b + 4.0 * c - d) * t2
                + (3.0 * b - a - 3.0 * c + d) * t3)
        };
        out.extend((0..PIECES).map(|piece| {
            let t = piece as f64 / PIECES as f64;
            (
                along(before.0, from.0, to.0, after.0, t),
                along(before.1, from.1, to.1, after.1, t),
            )
        }));
    }
    if !closed {
        out.extend(points.last().copied());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use whereworn_model::sites::BUILT_IN;

    /// A point lies within a polygon where a ray from it crosses the border an odd number of times.
    fn within((x, y): (f64, f64), border: &[(f64, f64)]) -> bool {
        let next = border.iter().cycle().skip(1);
        let crossings = border.iter().zip(next).filter(|(a, b)| {
            (a.1 > y) != (b.1 > y) && x < a.0 + (y - a.1) / (b.1 - a.1) * (b.0 - a.0)
        });
        crossings.count() % 2 == 1
    }

    #[test]
    fn every_built_in_site_lies_on_the_body() {
        let half: Vec<(f64, f64)> = OUTLINE.iter().chain(&INNER_LEG).copied().collect();
        let mut border = half.clone();
        border.extend(half.iter().rev().map(|&(x, y)| (-x, y)));
        for (site, _) in BUILT_IN {
            let (_, at) = spot(site).unwrap();
            assert!(within(at, &border), "{site}");
        }
        assert!(!within((12.0, 55.0), &border), "beside the hip");
        assert_eq!(spot("left-ear"), None);
    }

    #[test]
    fn a_curve_goes_through_its_points() {
        let points = [(0.0, 0.0), (1.0, 2.0), (3.0, 1.0)];
        let curve = smooth(&points, false);
        assert!(
            points.iter().all(|point| curve.contains(point)),
            "{curve:?}"
        );
    }
}
