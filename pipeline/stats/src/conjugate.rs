//! Systems of equations too large to be written down.

use crate::linear::{add, dot};

/// Left over of the right side, relative to it, in the measure of the method, where it ends.
const TOLERANCE: f64 = 1e-12;

/// Solves M x = b by conjugate gradients, M symmetric, positive definite and known by its diagonal and by what
/// `multiply` makes of a vector.
///
/// `None` where as many steps as there are unknowns, and a hundred for what rounding costs, do not suffice. Source, from memory: Hestenes
/// and Stiefel 1952 J Res Nat Bur Stand 49:409, preconditioned by the diagonal.
pub(crate) fn conjugate_gradient(
    diagonal: &[f64],
    right: &[f64],
    multiply: impl Fn(&[f64]) -> Vec<f64>,
) -> Option<Vec<f64>> {
    let conditioned = |rest: &[f64]| -> Vec<f64> {
        let cells = rest.iter().zip(diagonal);
        cells.map(|(cell, diagonal)| cell / diagonal).collect()
    };
    let mut solution = vec![0.0; right.len()];
    let mut rest = right.to_vec();
    let mut direction = conditioned(&rest);
    let mut left = dot(&rest, &direction);
    let enough = TOLERANCE * TOLERANCE * left;
    for _ in 0..right.len() + 100 {
        if left <= enough {
            return Some(solution);
        }
        let along = multiply(&direction);
        let step = left / dot(&direction, &along);
        add(&mut solution, step, &direction);
        add(&mut rest, -step, &along);
        let next = conditioned(&rest);
        let before = std::mem::replace(&mut left, dot(&rest, &next));
        for (cell, next) in direction.iter_mut().zip(next) {
            *cell = next + left / before * *cell;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::Square;

    /// 4 x + y = 1, x + 3 y = 2: x = 1 / 11, y = 7 / 11.
    #[test]
    fn two_equations() {
        let matrix = Square::from_rows(&[vec![4.0, 1.0], vec![1.0, 3.0]]);
        let multiply = |v: &[f64]| (0..2).map(|i| dot(matrix.row(i), v)).collect();
        let solution = conjugate_gradient(&[4.0, 3.0], &[1.0, 2.0], multiply).unwrap();
        assert!((solution[0] - 1.0 / 11.0).abs() < 1e-14);
        assert!((solution[1] - 7.0 / 11.0).abs() < 1e-14);
    }

    #[test]
    fn what_has_no_solution_is_not_sought_for_ever() {
        let turned = |v: &[f64]| vec![-v[1], v[0]];
        assert_eq!(conjugate_gradient(&[1.0, 1.0], &[1.0, 2.0], turned), None);
        assert_eq!(
            conjugate_gradient(&[1.0], &[0.0], |v| v.to_vec()),
            Some(vec![0.0])
        );
    }
}
