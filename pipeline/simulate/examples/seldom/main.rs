//! What 95 % intervals hold where few of a site's sensors carry the trouble, by ways of making them.
//!
//! `cargo run --release -p whereworn-simulate --example seldom [-- STUDIES] [rates|means|shares|later]` prints what
//! `pipeline/stats/docs/seldom.md` sums up. No constant of any way was chosen by its results here: each is a printed one, or the
//! site's own interval with the spread or the worst sensor of the study put in. Which way was taken was chosen by the first
//! conditions; those called later were drawn up after that.

#![allow(clippy::print_stdout)]

mod means;
mod rates;
mod shares;
mod ways;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use whereworn_stats::interval::Interval;
use whereworn_stats::resampling::seed::seed;

/// Sensors of a site.
const SIZES: [usize; 4] = [5, 8, 12, 20];

/// Share of sensors that carry the trouble.
const SHARES: [(&str, f64); 4] = [
    ("1 in 20", 0.05),
    ("1 in 10", 0.1),
    ("1 in 8", 0.125),
    ("1 in 5", 0.2),
];

fn generator(condition: &str) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed(&["seldom, first set", condition]))
}

/// What one way came to.
#[derive(Clone, Copy, Default)]
struct Score {
    held: usize,
    above: usize,
    width: f64,
}

/// The scores of all ways in one condition.
struct Line {
    condition: String,
    /// Share of sites whose sensors are all sound.
    unseen: f64,
    truth: f64,
    scores: Vec<Score>,
    shown: usize,
}

impl Line {
    fn new(condition: String, unseen: f64, truth: f64) -> Self {
        Self {
            condition,
            unseen,
            truth,
            scores: Vec::new(),
            shown: 0,
        }
    }

    fn add(&mut self, intervals: &[Interval]) {
        self.scores.resize(intervals.len(), Score::default());
        self.shown += 1;
        for (score, interval) in self.scores.iter_mut().zip(intervals) {
            let (low, high) = (interval.lower <= self.truth, self.truth <= interval.upper);
            score.held += usize::from(low && high);
            score.above += usize::from(!high);
            // An end that is open is as good as one at a hundred times the truth.
            score.width += interval.upper.min(100.0 * self.truth) - interval.lower;
        }
    }

    /// Coverage of each way with its mean width over that of the first.
    fn print(&self, ways: usize) {
        let first = self.scores[0];
        let shown = self.shown as f64;
        print!("| {} | {:.2} |", self.condition, self.unseen);
        for score in self.scores.iter().take(ways) {
            let wide = score.width / first.width;
            print!(" {:.3} ({wide:.2}) |", score.held as f64 / shown);
        }
        println!(
            " {:.3} | {:.2} |",
            first.above as f64 / shown,
            first.width / shown / self.truth
        );
    }
}

/// Prints one table: coverage, and in brackets the mean width over that of the first way.
fn table(ways: &[&str], lines: &[Line]) {
    println!(
        "\n| condition | no such sensor at the site | {} | truth above the first | width of the first over the truth |",
        ways.join(" | ")
    );
    println!(
        "| --- | ---: |{} ---: | ---: |",
        " ---: |".repeat(ways.len())
    );
    lines.iter().for_each(|line| line.print(ways.len()));
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let studies = words
        .iter()
        .find_map(|word| word.parse().ok())
        .unwrap_or(1000);
    let wanted = |name: &str| {
        let number = |word: &String| word.parse::<usize>().is_ok();
        words.iter().all(number) || words.iter().any(|word| word == name)
    };
    if wanted("rates") {
        rates::run(studies);
    }
    if wanted("means") {
        means::run(studies);
    }
    if wanted("shares") {
        shares::run(studies);
    }
    if wanted("later") {
        rates::later(studies);
        means::later(studies);
    }
}
