//! Simulated studies with a known truth: what the intervals cover and how often the tests reject.

use std::fmt::Write;

mod accuracy;
mod delay;
mod survival;

/// The page that holds the results of the full run.
const PAGE: &str = "pipeline/stats/docs/calibration.md";

/// What a figure promises.
#[derive(Clone, Copy, PartialEq)]
pub enum Promise {
    /// The share of shown intervals that hold the truth is at least this.
    Covers(f64),
    /// A test rejects in at most this share of studies without a difference.
    RejectsAtMost(f64),
    /// A share that is at least this: power against another test's, for one.
    AtLeast(f64),
    /// Reported, nothing promised.
    None,
}

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

    /// Whether the promise is kept, three Monte-Carlo standard errors allowed; where nothing is shown, nothing is promised.
    fn kept(&self) -> bool {
        if self.shown == 0 {
            return true;
        }
        let slack = |p: f64| 3.0 * (p * (1.0 - p) / self.shown.max(1) as f64).sqrt();
        match self.promise {
            Promise::Covers(p) | Promise::AtLeast(p) => self.share() >= p - slack(p),
            Promise::RejectsAtMost(p) => self.share() <= p + slack(p),
            Promise::None => true,
        }
    }
}

/// Simulates, prints the table, and writes the page after a full run.
///
/// # Errors
/// Where a promise is not kept, or the page cannot be written.
pub fn run(quick: bool) -> Result<(), String> {
    let mut rows = survival::rows(quick);
    rows.extend(accuracy::rows(quick));
    rows.extend(delay::rows(quick));
    let table = table(&rows);
    print!("{table}");
    if !quick {
        let intro = include_str!("intro.md");
        std::fs::write(PAGE, format!("{intro}\n{table}"))
            .map_err(|error| format!("writing {PAGE}: {error}"))?;
    }
    match rows.iter().filter(|row| !row.kept()).count() {
        0 => Ok(()),
        broken => Err(format!("{broken} promises are not kept")),
    }
}

fn table(rows: &[Row]) -> String {
    let mut out = String::from(
        "| figure | condition | promise | got | Monte-Carlo error | shown | studies |\n| --- | --- | --- | ---: | ---: | ---: | ---: |\n",
    );
    for row in rows {
        let promise = match row.promise {
            Promise::Covers(p) => format!("covers ≥ {p}"),
            Promise::RejectsAtMost(p) => format!("rejects ≤ {p}"),
            Promise::AtLeast(p) => format!("≥ {p}"),
            Promise::None => "–".to_owned(),
        };
        let (got, error) = (
            row.share(),
            (row.share() * (1.0 - row.share()) / row.shown.max(1) as f64).sqrt(),
        );
        let shown = row.shown as f64 / row.studies.max(1) as f64;
        let mark = if row.kept() { "" } else { " **not kept**" };
        let _ = writeln!(
            out,
            "| {} | {} | {promise}{mark} | {got:.3} | {error:.3} | {shown:.2} | {} |",
            row.figure, row.condition, row.studies
        );
    }
    out
}
