//! Kinds of synthetic nights: some to tune on, others to report on.

use super::simulate::{Baseline, Kind};

const PLAIN: Kind = Kind {
    name: "plain",
    spacing: 5.0,
    baseline: Baseline::SmoothWalk,
    level: (95.0, 140.0),
    restless: 1.0,
    edge_minutes: (2.0, 8.0),
    noise_cv: 0.035,
    noise_correlation: 0.7,
    low_share: 0.12,
    fast_lows: false,
    dropouts: 0.0,
    nights_only: false,
    events_per_night: 0.15,
};

/// Kinds that the weights of the score were fitted on, seeds below 10 000.
pub const TUNING: [Kind; 5] = [
    Kind {
        name: "tuning-quarter",
        spacing: 15.0,
        ..PLAIN
    },
    PLAIN,
    Kind {
        name: "tuning-meals",
        baseline: Baseline::Meals,
        noise_correlation: 0.85,
        ..PLAIN
    },
    Kind {
        name: "tuning-minute",
        spacing: 1.0,
        ..PLAIN
    },
    Kind {
        name: "tuning-fast-lows",
        low_share: 0.25,
        fast_lows: true,
        noise_correlation: 0.6,
        ..PLAIN
    },
];

/// Kinds that results are reported on, seeds from 900 000 on. `plain` is a tuning kind as well.
pub const REPORTED: [Kind; 14] = [
    Kind {
        name: "calm",
        restless: 0.6,
        level: (95.0, 125.0),
        ..PLAIN
    },
    Kind {
        name: "high",
        level: (150.0, 200.0),
        ..PLAIN
    },
    Kind {
        name: "plain",
        ..PLAIN
    },
    Kind {
        name: "clean",
        noise_cv: 0.015,
        ..PLAIN
    },
    Kind {
        name: "noisy",
        noise_cv: 0.05,
        ..PLAIN
    },
    Kind {
        name: "noise-short",
        noise_correlation: 0.5,
        baseline: Baseline::Oscillator,
        ..PLAIN
    },
    Kind {
        name: "noise-long",
        noise_correlation: 0.95,
        baseline: Baseline::Oscillator,
        ..PLAIN
    },
    Kind {
        name: "meals",
        baseline: Baseline::Meals,
        ..PLAIN
    },
    Kind {
        name: "drifts",
        baseline: Baseline::Drifts,
        noise_correlation: 0.8,
        ..PLAIN
    },
    Kind {
        name: "1-min",
        spacing: 1.0,
        baseline: Baseline::Oscillator,
        ..PLAIN
    },
    Kind {
        name: "15-min",
        spacing: 15.0,
        baseline: Baseline::Oscillator,
        ..PLAIN
    },
    Kind {
        name: "many-lows",
        low_share: 0.6,
        baseline: Baseline::Oscillator,
        ..PLAIN
    },
    Kind {
        name: "fast-lows",
        low_share: 0.3,
        fast_lows: true,
        baseline: Baseline::Meals,
        ..PLAIN
    },
    Kind {
        name: "dropouts",
        dropouts: 1.5,
        nights_only: true,
        baseline: Baseline::Meals,
        ..PLAIN
    },
];
