//! Whether a plan keeps its promises: sensors until a question is settled, power at the number advised, probabilities of
//! being best.

mod again;
mod best;
mod orders;
mod power;

use std::fmt::Write;

/// The page that holds the results of the full run.
const PAGE: &str = "pipeline/plan/docs/plan.md";

/// A result beside what it has to reach.
pub struct Line {
    /// What was simulated.
    pub what: String,
    /// What came out.
    pub got: String,
    /// What it has to reach; empty where nothing is promised.
    pub promise: &'static str,
    /// Whether it does.
    pub kept: bool,
}

/// Simulates, prints the tables, and writes the page after a full run.
///
/// # Errors
/// Where a promise is not kept, or the page cannot be written.
pub fn run(quick: bool) -> Result<(), String> {
    let parts = [
        ("Sensors until a question is settled", orders::lines(quick)),
        ("Drawing again, and shuffling", again::lines(quick)),
        ("Power at the number advised", power::lines(quick)),
        ("The probability of being best", best::lines(quick)),
    ];
    let mut page = String::new();
    for (title, lines) in &parts {
        let _ = writeln!(
            page,
            "## {title}\n\n| simulated | got | promised |\n| --- | --- | --- |"
        );
        for line in lines {
            let mark = if line.kept { "" } else { " **not kept**" };
            let _ = writeln!(
                page,
                "| {} | {} | {}{mark} |",
                line.what, line.got, line.promise
            );
        }
        page.push('\n');
    }
    print!("{page}");
    if !quick {
        let intro = include_str!("intro.md");
        std::fs::write(PAGE, format!("{intro}\n{}\n", page.trim_end()))
            .map_err(|error| format!("writing {PAGE}: {error}"))?;
    }
    let broken = parts
        .iter()
        .flat_map(|(_, lines)| lines)
        .filter(|line| !line.kept);
    match broken.count() {
        0 => Ok(()),
        count => Err(format!("{count} promises are not kept")),
    }
}
