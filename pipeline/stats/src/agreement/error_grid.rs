//! The consensus error grid for type 1 diabetes.

use crate::comparison::{at_least, at_most};

/// A zone of the grid, from no effect on what one does (A) to dangerous (E).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Zone {
    /// No effect on what one does.
    A,
    /// Altered, with little or no effect on the outcome.
    B,
    /// Altered, likely to affect the outcome.
    C,
    /// Altered, could have significant medical risk.
    D,
    /// Altered, could have dangerous consequences.
    E,
}

/// A border as (fingerstick, reading) corners in mg/dL, and the zone beyond it.
type Border = (Zone, &'static [(f64, f64)]);

/// Borders above the diagonal, the outermost first.
const UPPER: [Border; 4] = [
    (Zone::E, &[(0.0, 150.0), (35.0, 155.0), (50.0, 550.0)]),
    (
        Zone::D,
        &[
            (0.0, 100.0),
            (25.0, 100.0),
            (50.0, 125.0),
            (80.0, 215.0),
            (125.0, 550.0),
        ],
    ),
    (
        Zone::C,
        &[
            (0.0, 60.0),
            (30.0, 60.0),
            (50.0, 80.0),
            (70.0, 110.0),
            (260.0, 550.0),
        ],
    ),
    (
        Zone::B,
        &[
            (0.0, 50.0),
            (30.0, 50.0),
            (140.0, 170.0),
            (280.0, 380.0),
            (430.0, 550.0),
        ],
    ),
];

/// Borders below the diagonal, the outermost first; each rises straight from reading 0 to its first corner.
const LOWER: [Border; 3] = [
    (Zone::D, &[(250.0, 40.0), (550.0, 150.0)]),
    (Zone::C, &[(120.0, 30.0), (260.0, 130.0), (550.0, 250.0)]),
    (
        Zone::B,
        &[(50.0, 30.0), (170.0, 145.0), (385.0, 300.0), (550.0, 450.0)],
    ),
];

/// The zone of a pair, both in mg/dL and above 0.
///
/// A pair on a border takes the better zone; the last segment of each border goes straight on. The corners are those
/// of the type 1 grid (Parkes et al. 2000 Diabetes Care 23:1143; tabulated by Pfützner et al. 2013 J Diabetes Sci
/// Technol 7:1275), given from memory: the paper's full text could not be had. Checked by `tests/error_grid.rs`.
#[must_use]
pub fn consensus_zone(reading: f64, fingerstick: f64) -> Zone {
    let above = UPPER
        .iter()
        .find(|(_, border)| !at_most(reading, height(border, fingerstick)));
    let below = LOWER.iter().find(|(_, border)| {
        !at_most(fingerstick, border[0].0) && !at_least(reading, height(border, fingerstick))
    });
    above.or(below).map_or(Zone::A, |&(zone, _)| zone)
}

/// The border's reading at a fingerstick, on the segment that holds it or, beyond the ends, on the nearest segment.
fn height(border: &[(f64, f64)], fingerstick: f64) -> f64 {
    let right = border
        .iter()
        .position(|&(x, _)| fingerstick <= x)
        .unwrap_or(border.len() - 1)
        .max(1);
    let ((x0, y0), (x1, y1)) = (border[right - 1], border[right]);
    y0 + (fingerstick - x0) / (x1 - x0) * (y1 - y0)
}
