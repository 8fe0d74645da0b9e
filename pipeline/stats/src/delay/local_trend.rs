//! Level and slope of a sensor's readings around one moment.

/// Readings that each side of the moment needs at least: four in all, as many as a cubic takes.
const FEWEST_PER_SIDE: usize = 2;

/// Half-widths of the window in minutes; the first that holds enough readings is used. None is wider than readings 15 min
/// apart need, since a cubic smooths the turn that glucose takes at a meal.
pub const HALF_WIDTHS: [f64; 2] = [25.0, 30.0];

/// A local cubic fit to a sensor's readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocalTrend {
    /// Fitted glucose at the moment, in the unit of the readings.
    pub level: f64,
    /// Fitted rate of change at the moment, per minute.
    pub slope: f64,
}

/// Fits a cubic by least squares to the readings within 25 min of a moment (30 where they are sparse).
///
/// `minutes` are offsets from the moment (negative before it), in any order; `glucose` is as long. A cubic, because a
/// straight line or parabola flattens the slope of a meal's rise by a tenth. `None` unless some window holds
/// 2 readings on each side, and 4 distinct times. Checked by `tests/delay.rs`.
#[must_use]
pub fn local_trend(minutes: &[f64], glucose: &[f64]) -> Option<LocalTrend> {
    let (minutes, glucose) = HALF_WIDTHS
        .iter()
        .map(|&half_width| within(minutes, glucose, half_width))
        .find(|(minutes, _)| enough(minutes))?;
    let mut trend = LocalTrend {
        level: 0.0,
        slope: 0.0,
    };
    for polynomial in orthonormal_cubics(&minutes)? {
        let share = dot(&polynomial.values, &glucose);
        trend.level += share * polynomial.value_at_zero;
        trend.slope += share * polynomial.slope_at_zero;
    }
    Some(trend)
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// A polynomial by its values at the readings, and its value and slope at the moment itself.
struct Polynomial {
    values: Vec<f64>,
    value_at_zero: f64,
    slope_at_zero: f64,
}

/// Polynomials up to the cubic, orthonormal on `minutes`, by Gram-Schmidt; `None` with fewer than four distinct times.
fn orthonormal_cubics(minutes: &[f64]) -> Option<Vec<Polynomial>> {
    let scale = HALF_WIDTHS[0];
    let power = |exponent: i32, value_at_zero: f64, slope_at_zero: f64| Polynomial {
        values: minutes.iter().map(|t| (t / scale).powi(exponent)).collect(),
        value_at_zero,
        slope_at_zero,
    };
    let powers = [
        power(0, 1.0, 0.0),
        power(1, 0.0, 1.0 / scale),
        power(2, 0.0, 0.0),
        power(3, 0.0, 0.0),
    ];
    let mut basis: Vec<Polynomial> = Vec::with_capacity(powers.len());
    for mut polynomial in powers {
        for earlier in &basis {
            let share = dot(&earlier.values, &polynomial.values);
            for (value, earlier) in polynomial.values.iter_mut().zip(&earlier.values) {
                *value -= share * earlier;
            }
            polynomial.value_at_zero -= share * earlier.value_at_zero;
            polynomial.slope_at_zero -= share * earlier.slope_at_zero;
        }
        let length = dot(&polynomial.values, &polynomial.values).sqrt();
        if length < 1e-6 {
            return None;
        }
        polynomial
            .values
            .iter_mut()
            .for_each(|value| *value /= length);
        polynomial.value_at_zero /= length;
        polynomial.slope_at_zero /= length;
        basis.push(polynomial);
    }
    Some(basis)
}

fn within(minutes: &[f64], glucose: &[f64], half_width: f64) -> (Vec<f64>, Vec<f64>) {
    minutes
        .iter()
        .zip(glucose)
        .filter(|(t, _)| t.abs() <= half_width)
        .map(|(&t, &g)| (t, g))
        .unzip()
}

fn enough(minutes: &[f64]) -> bool {
    let before = minutes.iter().filter(|&&t| t < 0.0).count();
    let after = minutes.iter().filter(|&&t| t > 0.0).count();
    before.min(after) >= FEWEST_PER_SIDE
}
