//! What the detector has to reach, and whether it does.

use std::fmt::Write as _;

use statrs::distribution::{Binomial, DiscreteCDF, Poisson};
use whereworn_simulate::nights::validate::{Estimate, KindResult};

use What::{Edges, False, Found25, Found40, Lows, PredictiveValue, RateHigh, RateLow};

/// Chance that a run in which every mark is just reached names one as broken.
const LEVEL: f64 = 0.05;

/// What is missed at 15 min spacing where glucose is restless or true lows are not slow.
const SPARSE: &[What] = &[Found25, Found40, Lows, RateLow];
/// Marks that are known to be missed: the run does not fail for them.
const KNOWN: [(&str, &[What]); 15] = [
    ("high", &[Found25]),
    ("noisy", &[Found25]),
    ("noise-short", &[Found25]),
    ("sharp-edges", &[RateHigh]),
    ("rebounds", &[Found25, Found40]),
    ("many-lows", &[Found25]),
    ("dropouts", &[Found25, Found40]),
    ("second-5-percent", &[Found25, Found40, Lows]),
    ("third-noise-short", &[Found25]),
    ("15-min", SPARSE),
    ("15-min-calm", &[Lows]),
    ("15-min-meals", SPARSE),
    (
        "15-min-fast-lows",
        &[Found25, Found40, PredictiveValue, False, Lows, RateHigh],
    ),
    ("second-15-min", &[False, Lows]),
    ("third-15-min", SPARSE),
];
/// What a mark is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Found25,
    Found40,
    PredictiveValue,
    False,
    Lows,
    RateHigh,
    RateLow,
    Edges,
}

/// A mark on one kind of nights.
struct Mark {
    what: What,
    text: String,
    /// Whether the estimate keeps it.
    kept: bool,
    /// Probability of a count as bad as this, or worse, where the mark is just kept.
    tail: f64,
}

fn marks(r: &KindResult) -> Vec<Mark> {
    let spacing = r.spacing;
    // At 1 and 15 min at most 5 points less are found than at 5 min.
    let less = if spacing == 5.0 { 0.0 } else { 0.05 };
    let at_least = |what, e: &Estimate, least: f64, name: &str| Mark {
        what,
        text: format!("{name} below {least:.2}"),
        kept: e.value >= least,
        tail: Binomial::new(least, e.of as u64).map_or(1.0, |b| b.cdf(e.count as u64)),
    };
    let events = r.all_events as f64;
    let error = r.start_error.max(r.end_error);
    vec![
        at_least(Found25, &r.sensitivity, 0.90 - less, "found ≥25"),
        at_least(Found40, &r.sensitivity_40, 0.97 - less, "found ≥40"),
        at_least(
            PredictiveValue,
            &r.predictive_value,
            0.90 - less,
            "predictive value",
        ),
        Mark {
            what: False,
            text: "more than 1 false per 100 nights".into(),
            kept: r.false_per_100.value <= 1.0,
            tail: poisson_from(r.nights as f64 / 100.0, r.false_per_100.count),
        },
        Mark {
            what: Lows,
            text: "true lows called above 1 %".into(),
            kept: r.lows_called.value <= 0.01,
            tail: binomial_from(0.01, &r.lows_called),
        },
        Mark {
            what: RateHigh,
            text: "rate more than 10 % too high".into(),
            kept: r.rate_ratio() <= 1.1,
            tail: poisson_from(1.1 * events, r.reported),
        },
        Mark {
            what: RateLow,
            text: "rate more than 10 % too low".into(),
            kept: r.rate_ratio() >= 0.9,
            tail: Poisson::new(0.9 * events).map_or(1.0, |p| p.cdf(r.reported as u64)),
        },
        Mark {
            what: Edges,
            text: "start or end off by more than a reading".into(),
            kept: error <= spacing,
            tail: if error <= spacing { 1.0 } else { 0.0 },
        },
    ]
}

/// Probability of a count or more under a Poisson distribution.
fn poisson_from(mean: f64, count: usize) -> f64 {
    let below = count.checked_sub(1);
    below.map_or(1.0, |below| {
        Poisson::new(mean).map_or(1.0, |p| p.sf(below as u64))
    })
}

fn binomial_from(share: f64, e: &Estimate) -> f64 {
    let below = e.count.checked_sub(1);
    below.map_or(1.0, |below| {
        Binomial::new(share, e.of as u64).map_or(1.0, |b| b.sf(below as u64))
    })
}

fn known(kind: &str, what: What) -> bool {
    let listed = |(of, marks): &(&str, &[What])| *of == kind && marks.contains(&what);
    KNOWN.iter().any(listed)
}

/// All marks that the estimates miss, and which of them are known to be.
pub fn missed(results: &[&KindResult]) -> String {
    let mut text = String::from("## Marks missed by the estimates\n\n");
    for r in results {
        let missed = marks(r).into_iter().filter(|mark| !mark.kept);
        let names: Vec<String> = missed
            .map(|mark| {
                let star = if known(r.kind, mark.what) { "*" } else { "" };
                mark.text + star
            })
            .collect();
        if !names.is_empty() {
            let _ = writeln!(text, "- {}: {}", r.kind, names.join(", "));
        }
    }
    text + "\n"
}

/// Fails where a mark that is not known to be missed is broken: by exact tail, below the level over the number
/// of marks (Bonferroni).
pub fn check(results: &[&KindResult]) -> Result<(), String> {
    let promised: Vec<(&str, Mark)> = results
        .iter()
        .flat_map(|r| marks(r).into_iter().map(|mark| (r.kind, mark)))
        .filter(|(kind, mark)| !known(kind, mark.what))
        .collect();
    let level = LEVEL / promised.len() as f64;
    let broken: Vec<String> = promised
        .iter()
        .filter(|(_, mark)| mark.tail < level)
        .map(|(kind, mark)| format!("{kind}: {}", mark.text))
        .collect();
    if broken.is_empty() {
        Ok(())
    } else {
        Err(broken.join("; "))
    }
}
