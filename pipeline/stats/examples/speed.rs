//! Times the two resamplings that must be fast, on one core: `cargo run --release -p whereworn-stats --example speed`.
#![allow(clippy::print_stdout)]

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::hint::black_box;
use std::time::Instant;
use whereworn_stats::resampling::bootstrap::{cluster_bootstrap_mean, cluster_bootstrap_median};
use whereworn_stats::survival::logrank::{Subjects, log_rank_permutation};

fn main() {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    println!(
        "10,000 permutations of a log-rank over 1,000 sessions, 9 sites, 20 strata: {:.2} s (mark: 1 s)",
        permutations(&mut random)
    );
    println!(
        "10,000 draws of 9 agreement figures over 100 sensors, 50,000 pairs: {:.2} s (mark: 2 s)",
        draws(&mut random)
    );
}

fn permutations(random: &mut ChaCha8Rng) -> f64 {
    const SESSIONS: usize = 1000;
    let times: Vec<f64> = (0..SESSIONS)
        .map(|_| 14.0 * random.random::<f64>())
        .collect();
    let events: Vec<bool> = (0..SESSIONS)
        .map(|_| random.random::<f64>() < 0.6)
        .collect();
    let groups: Vec<usize> = (0..SESSIONS).map(|_| random.random_range(0..9)).collect();
    let strata: Vec<usize> = (0..SESSIONS).map(|_| random.random_range(0..20)).collect();
    let subjects = Subjects {
        times: &times,
        events: &events,
        groups: &groups,
        strata: &strata,
    };
    let start = Instant::now();
    black_box(log_rank_permutation(subjects, &strata, 1));
    start.elapsed().as_secs_f64()
}

/// Eight means (absolute relative difference, shares within seven limits) and a median.
fn draws(random: &mut ChaCha8Rng) -> f64 {
    const PAIRS: usize = 50_000;
    let sensors: Vec<usize> = (0..PAIRS).map(|_| random.random_range(0..100)).collect();
    let errors: Vec<f64> = (0..PAIRS).map(|_| random.random::<f64>().powi(2)).collect();
    let within = |limit: f64| -> Vec<f64> {
        let inside = |error: &f64| f64::from(u8::from(*error <= limit));
        errors.iter().map(inside).collect()
    };
    let shares: Vec<Vec<f64>> = [0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4].map(within).to_vec();
    let start = Instant::now();
    black_box(cluster_bootstrap_median(&errors, &sensors, 1));
    for values in shares.iter().chain([&errors]) {
        black_box(cluster_bootstrap_mean(values, &sensors, 1));
    }
    start.elapsed().as_secs_f64()
}
