//! Figures on accuracy and on rates of night artefacts.

mod comparisons;
mod intervals;
mod study;

use super::{Promise, Row};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use whereworn_stats::resampling::seed::seed;

/// Sensors of a site.
const SIZES: [usize; 5] = [2, 3, 5, 10, 20];

/// Intervals of one site.
pub fn intervals(quick: bool) -> Vec<Row> {
    intervals::rows(quick)
}

/// The same where other sites have a say.
pub fn study(quick: bool) -> Vec<Row> {
    study::rows(quick)
}

/// Comparisons of sites.
pub fn comparisons(quick: bool) -> Vec<Row> {
    comparisons::rows(if quick { 60 } else { 1500 })
}

/// Other studies than those after which methods were last changed.
fn generator(condition: &str) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed(&["accuracy, fourth set", condition]))
}

/// How often something held among the studies that could show it.
#[derive(Default, Clone, Copy)]
pub struct Count {
    held: usize,
    shown: usize,
}

impl Count {
    pub fn add(&mut self, held: Option<bool>) {
        self.held += usize::from(held == Some(true));
        self.shown += usize::from(held.is_some());
    }

    pub fn row(
        self,
        figure: &'static str,
        condition: &str,
        promise: Promise,
        studies: usize,
    ) -> Row {
        Row {
            figure,
            condition: condition.to_owned(),
            promise,
            held: self.held,
            shown: self.shown,
            studies,
        }
    }
}

/// What an interval of a mean that the report leads with promises for so many sensors: no more either, since an interval that
/// is too wide hides what is known.
fn mean(sensors: usize) -> Promise {
    if sensors < 5 {
        Promise::Covers(0.90)
    } else {
        Promise::Between(0.93, 0.98)
    }
}

/// What one of a share, a count or a mean over few wearers promises, whose coverage goes up and down with the truth.
fn count(sensors: usize) -> Promise {
    if sensors < 5 {
        Promise::Covers(0.90)
    } else {
        Promise::OnAverage(0.90)
    }
}

/// What any other interval promises for so many sensors a site.
fn headline(sensors: usize) -> Promise {
    Promise::Covers(if sensors < 5 { 0.90 } else { 0.93 })
}
