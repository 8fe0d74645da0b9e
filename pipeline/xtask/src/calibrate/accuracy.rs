//! Figures on accuracy and on rates of night artefacts.

mod comparisons;
mod evidence;
mod intervals;

use super::{Promise, Row};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use whereworn_stats::resampling::seed::seed;

/// Sensors of a site.
const SIZES: [usize; 5] = [2, 3, 5, 10, 20];

/// The lines of the page.
pub fn rows(quick: bool) -> Vec<Row> {
    let mut rows = intervals::rows(if quick { 150 } else { 2000 });
    rows.extend(comparisons::rows(if quick { 60 } else { 1500 }));
    rows.extend(evidence::rows(if quick { 100 } else { 1500 }));
    rows
}

/// Other studies than those after which methods were last changed.
fn generator(condition: &str) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed(&["accuracy, fourth set", condition]))
}

/// How often something held among the studies that could show it.
#[derive(Default, Clone, Copy)]
struct Count {
    held: usize,
    shown: usize,
}

impl Count {
    fn add(&mut self, held: Option<bool>) {
        self.held += usize::from(held == Some(true));
        self.shown += usize::from(held.is_some());
    }

    fn row(self, figure: &'static str, condition: &str, promise: Promise, studies: usize) -> Row {
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

/// What the report leads with promises for so many sensors a site.
fn headline(sensors: usize) -> Promise {
    Promise::Covers(if sensors < 5 { 0.90 } else { 0.93 })
}
