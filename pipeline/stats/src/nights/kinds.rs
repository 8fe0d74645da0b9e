//! Kinds of synthetic nights: some to tune on, others to report on.

use super::second::Second;
use super::simulate::{Baseline, Kind};
use super::third::Third;

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
    rebounds: 0.0,
    dropouts: 0.0,
    nights_only: false,
    events_per_night: 0.15,
};

/// Kinds of the first generator: the weights were fitted to their nights with seeds below 10 000,
/// results are reported on seeds from 5 000 000 on.
pub const KINDS: [Kind; 21] = [
    Kind {
        name: "calm",
        restless: 0.6,
        level: (95.0, 125.0),
        ..PLAIN
    },
    Kind {
        name: "calm-noise-short",
        restless: 0.6,
        level: (95.0, 125.0),
        noise_correlation: 0.5,
        ..PLAIN
    },
    Kind {
        name: "calm-noise-long",
        restless: 0.6,
        level: (95.0, 125.0),
        noise_correlation: 0.9,
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
        name: "sharp-edges",
        edge_minutes: (0.2, 2.0),
        ..PLAIN
    },
    Kind {
        name: "rebounds",
        low_share: 0.3,
        rebounds: 0.7,
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
        name: "15-min-calm",
        spacing: 15.0,
        restless: 0.6,
        level: (95.0, 125.0),
        ..PLAIN
    },
    Kind {
        name: "15-min-meals",
        spacing: 15.0,
        baseline: Baseline::Meals,
        ..PLAIN
    },
    Kind {
        name: "15-min-fast-lows",
        spacing: 15.0,
        low_share: 0.3,
        fast_lows: true,
        baseline: Baseline::Meals,
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

const SECOND: Second = Second {
    name: "second",
    spacing: 5.0,
    noise_cv: 0.035,
    white: 0.0,
    correlation: 0.7,
};

/// Kinds of the second generator, for reports only.
pub const SECOND_KINDS: [Second; 6] = [
    SECOND,
    Second {
        name: "second-2-percent",
        noise_cv: 0.02,
        white: 0.3,
        ..SECOND
    },
    Second {
        name: "second-5-percent",
        noise_cv: 0.05,
        white: 0.3,
        ..SECOND
    },
    Second {
        name: "second-noise-long",
        correlation: 0.9,
        white: 0.2,
        ..SECOND
    },
    Second {
        name: "second-1-min",
        spacing: 1.0,
        ..SECOND
    },
    Second {
        name: "second-15-min",
        spacing: 15.0,
        ..SECOND
    },
];

const THIRD: Third = Third {
    name: "third",
    spacing: 5.0,
    correlation: (0.5, 0.9),
};

/// Kinds of the third generator, for reports only.
pub const THIRD_KINDS: [Third; 5] = [
    THIRD,
    Third {
        name: "third-noise-short",
        correlation: (0.3, 0.5),
        ..THIRD
    },
    Third {
        name: "third-noise-long",
        correlation: (0.9, 0.97),
        ..THIRD
    },
    Third {
        name: "third-1-min",
        spacing: 1.0,
        ..THIRD
    },
    Third {
        name: "third-15-min",
        spacing: 15.0,
        ..THIRD
    },
];
