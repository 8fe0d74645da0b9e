//! Simulated studies with a known truth: what the intervals cover and how often the tests reject.

use std::fmt::Write;

use rayon::prelude::*;
use statrs::distribution::{Binomial, DiscreteCDF};

mod accuracy;
mod delay;
mod next;
mod survival;

/// The page that holds the results of the full run.
const PAGE: &str = "pipeline/stats/docs/calibration.md";

/// The tail beyond three standard errors.
const LEVEL: f64 = 0.001_35;

/// What a figure promises.
#[derive(Clone, Copy, PartialEq)]
pub enum Promise {
    /// The share of shown intervals that hold the truth is at least this.
    Covers(f64),
    /// That share is between these.
    Between(f64, f64),
    /// It is at least this, and between [`AVERAGE`] over all conditions with five sensors or more.
    OnAverage(f64),
    /// A test rejects in at most this share of studies without a difference.
    RejectsAtMost(f64),
    /// A share that is at least this: power against another test's, for one.
    AtLeast(f64),
    /// Reported, nothing promised.
    None,
}

/// What a share or a count has to cover on average over the truths that were drawn.
const AVERAGE: (f64, f64) = (0.93, 0.98);

/// One line of the page.
pub struct Row {
    /// Which interval or test.
    pub figure: &'static str,
    /// Number of sensors a site, looks, truth.
    pub condition: String,
    /// What it promises.
    pub promise: Promise,
    /// Studies in which it held (covered, rejected).
    pub held: usize,
    /// Studies in which there was something to show.
    pub shown: usize,
    /// Studies simulated.
    pub studies: usize,
}

impl Row {
    fn share(&self) -> f64 {
        self.held as f64 / self.shown.max(1) as f64
    }

    /// Probability of a count as bad as this one, or worse, where the promise is just kept; none where nothing is promised
    /// or shown.
    fn tail(&self) -> Option<f64> {
        let count = |p: f64| Binomial::new(p, self.shown as u64).ok();
        let held = self.held as u64;
        match self.promise {
            _ if self.shown == 0 => None,
            Promise::Between(low, high) => {
                let below = count(low)?.cdf(held);
                let above = held
                    .checked_sub(1)
                    .map_or(Some(1.0), |h| Some(count(high)?.sf(h)))?;
                Some(below.min(above))
            }
            Promise::Covers(p) | Promise::OnAverage(p) | Promise::AtLeast(p) if p < 1.0 => {
                Some(count(p)?.cdf(held))
            }
            Promise::Covers(_) | Promise::OnAverage(_) | Promise::AtLeast(_) => {
                Some(f64::from(u8::from(self.held == self.shown)))
            }
            Promise::RejectsAtMost(_) if held == 0 => Some(1.0),
            Promise::RejectsAtMost(p) => Some(count(p)?.sf(held - 1)),
            Promise::None => None,
        }
    }
}

/// Which promises are broken: the tail of a row below [`LEVEL`], in a quick run below 0.05 over the number of promises
/// (Bonferroni), since its studies are few and one row in a thousand would fail by chance.
fn broken(rows: &[Row], quick: bool) -> Vec<bool> {
    let tails: Vec<Option<f64>> = rows.iter().map(Row::tail).collect();
    let level = if quick {
        0.05 / tails.iter().flatten().count().max(1) as f64
    } else {
        LEVEL
    };
    tails
        .into_iter()
        .map(|tail| tail.is_some_and(|tail| tail < level))
        .collect()
}

/// The parts that can be run alone.
type Part = fn(bool) -> Vec<Row>;
const PARTS: [(&str, Part); 6] = [
    ("survival", survival::rows),
    ("intervals", accuracy::intervals),
    ("study", accuracy::study),
    ("comparisons", accuracy::comparisons),
    ("delay", delay::rows),
    ("next", next::rows),
];

/// Simulates and prints the table; `--quick` makes fewer studies, names of parts run these alone. Writes the page after a full
/// run of all parts.
///
/// # Errors
/// Where a word is not known, a promise is not kept, or the page cannot be written.
pub fn run(words: &[&str]) -> Result<(), String> {
    let quick = words.contains(&"--quick");
    let wanted: Vec<&str> = words.iter().copied().filter(|w| *w != "--quick").collect();
    let known = |word: &&str| PARTS.iter().any(|(name, _)| name == word);
    if let Some(word) = wanted.iter().find(|word| !known(word)) {
        return Err(format!("no part of the calibration is called {word}"));
    }
    let parts: Vec<&(&str, Part)> = PARTS
        .iter()
        .filter(|(name, _)| wanted.is_empty() || wanted.contains(name))
        .collect();
    let mut rows: Vec<Row> = parts.par_iter().flat_map(|(_, part)| part(quick)).collect();
    if quick {
        rows.retain(|row| row.promise != Promise::None);
    }
    rows.extend(pooled(&rows));
    let broken = broken(&rows, quick);
    let table = table(&rows, &broken);
    print!("{table}");
    if !quick && wanted.is_empty() {
        let intro = include_str!("intro.md");
        std::fs::write(PAGE, format!("{intro}\n{table}"))
            .map_err(|error| format!("writing {PAGE}: {error}"))?;
    }
    match broken.into_iter().filter(|broken| *broken).count() {
        0 => Ok(()),
        count => Err(format!("{count} promises are not kept")),
    }
}

/// Each figure over all its conditions with one promise and five sensors or more: faults too small for one condition to show.
fn pooled(rows: &[Row]) -> Vec<Row> {
    const FROM_SENSORS: usize = 5;
    let sensors = |row: &Row| row.condition.split(' ').next()?.parse::<usize>().ok();
    let mut pooled: Vec<(Row, usize)> = Vec::new();
    for row in rows {
        let kind = !matches!(row.promise, Promise::AtLeast(_) | Promise::None);
        if !kind || sensors(row).is_none_or(|count| count < FROM_SENSORS) {
            continue;
        }
        let alike =
            |(sum, _): &(Row, usize)| sum.figure == row.figure && sum.promise == row.promise;
        let place = pooled.iter().position(alike).unwrap_or_else(|| {
            let empty = Row {
                condition: String::new(),
                held: 0,
                shown: 0,
                studies: 0,
                ..*row
            };
            pooled.push((empty, 0));
            pooled.len() - 1
        });
        let (sum, conditions) = &mut pooled[place];
        sum.held += row.held;
        sum.shown += row.shown;
        sum.studies += row.studies;
        *conditions += 1;
        sum.condition =
            format!("all {conditions} conditions with {FROM_SENSORS} sensors or more together");
    }
    let several = pooled.into_iter().filter(|(_, conditions)| *conditions > 1);
    several
        .map(|(row, _)| match row.promise {
            Promise::OnAverage(_) => Row {
                promise: Promise::Between(AVERAGE.0, AVERAGE.1),
                ..row
            },
            _ => row,
        })
        .collect()
}

fn table(rows: &[Row], broken: &[bool]) -> String {
    let mut out = String::from(
        "| figure | condition | promise | got | Monte-Carlo error | shown | studies |\n| --- | --- | --- | ---: | ---: | ---: | ---: |\n",
    );
    for (row, &broken) in rows.iter().zip(broken) {
        let promise = match row.promise {
            Promise::Covers(p) => format!("covers ≥ {p}"),
            Promise::Between(low, high) => format!("covers {low} to {high}"),
            Promise::OnAverage(p) => format!("covers ≥ {p}"),
            Promise::RejectsAtMost(p) => format!("rejects ≤ {p}"),
            Promise::AtLeast(p) => format!("≥ {p}"),
            Promise::None => "–".to_owned(),
        };
        let (got, error) = (
            row.share(),
            (row.share() * (1.0 - row.share()) / row.shown.max(1) as f64).sqrt(),
        );
        let shown = row.shown as f64 / row.studies.max(1) as f64;
        let mark = if broken { " **not kept**" } else { "" };
        let _ = writeln!(
            out,
            "| {} | {} | {promise}{mark} | {got:.3} | {error:.3} | {shown:.2} | {} |",
            row.figure, row.condition, row.studies
        );
    }
    out
}
