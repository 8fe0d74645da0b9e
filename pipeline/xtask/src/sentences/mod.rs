//! How often sentences are wrong, and how often they are there where they should be.

mod conditions;
mod power;

use conditions::Condition;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rayon::prelude::*;
use std::fmt::Write as _;
use whereworn_stats::conclusions::{Conclusion, ENOUGH, Verdict, conclude_each};
use whereworn_stats::resampling::seed::seed;

const NAMES: [&str; 7] = ["a", "b", "c", "d", "e", "f", "g"];

/// Written after a full run.
const PAGE: &str = "pipeline/stats/docs/sentences.md";

/// Studies of a condition, unless told otherwise.
const STUDIES: usize = 1000;
const QUICK_STUDIES: usize = 40;

/// What is to hold.
#[derive(Clone, Copy, PartialEq)]
enum Promise {
    AtMost(f64),
    AtLeast(f64),
    None,
}

/// One line of the page.
struct Line {
    figure: String,
    condition: String,
    got: f64,
    studies: usize,
    promise: Promise,
}

impl Line {
    fn new(figure: String, condition: &str, got: f64, studies: usize, promise: Promise) -> Self {
        Self {
            figure,
            condition: condition.to_owned(),
            got,
            studies,
            promise,
        }
    }

    /// Whether chance is no excuse: so many standard errors beyond the promise.
    fn broken(&self, errors: f64) -> bool {
        let room = |p: f64| errors * (p * (1.0 - p) / self.studies as f64).sqrt();
        match self.promise {
            Promise::AtMost(p) => self.got > p + room(p) + 1e-12,
            Promise::AtLeast(p) => self.got < p - room(p),
            Promise::None => false,
        }
    }
}

/// The generator of one study: the same whatever runs beside it.
fn generator(name: &str, study: usize) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed(&[name, &study.to_string()]))
}

/// What one study said wrongly over its looks.
#[derive(Default, Clone, Copy)]
struct Wrong {
    differs: bool,
    alike: bool,
    /// Reports with a false `leans`, with sentences that disagree, and all.
    leans: usize,
    contradictions: usize,
    reports: usize,
}

/// Reads one study month by month.
fn read(condition: &Condition, number: usize) -> Wrong {
    let mut random = generator(condition.name, number);
    let study = condition.design.draw(&NAMES, &mut random);
    let mut wrong = Wrong::default();
    for report in conclude_each(&study, &condition.plan) {
        let alike = |row: &&Conclusion| match row.against {
            Some(against) => condition.alike(row.measure, row.site, against),
            None => condition.as_others(row.measure, row.site),
        };
        let says = |verdict: Verdict| report.iter().filter(move |row| row.verdict == verdict);
        wrong.differs |= says(Verdict::Differs).any(|row| alike(&row));
        wrong.alike |= condition.at_margin && says(Verdict::Alike).any(|row| !alike(&row));
        wrong.leans += usize::from(says(Verdict::Leans).any(|row| alike(&row)));
        wrong.contradictions += usize::from(contradicts_itself(&report));
        wrong.reports += 1;
    }
    wrong
}

/// Whether an interval speaks against its verdict, or three differences go round in a circle.
fn contradicts_itself(report: &[Conclusion]) -> bool {
    let claims = |row: &Conclusion| matches!(row.verdict, Verdict::Differs | Verdict::Leans);
    let odd = |row: &Conclusion| {
        let Some(interval) = row.interval else {
            return row.verdict != Verdict::Open;
        };
        let off_zero = interval.lower >= 0.0 || interval.upper <= 0.0;
        let claimed = row.evidence >= ENOUGH || row.p.is_some_and(|p| p < 0.05);
        let holds = row
            .difference
            .is_some_and(|d| interval.lower <= d && d <= interval.upper);
        (claims(row) && !off_zero) || (!claimed && interval.lower * interval.upper > 0.0) || !holds
    };
    let less = |row: &Conclusion| {
        let (site, against) = (row.site, row.against?);
        let above = row.difference? > 0.0;
        claims(row).then_some((
            row.measure,
            if above {
                (against, site)
            } else {
                (site, against)
            },
        ))
    };
    let steps: Vec<_> = report.iter().filter_map(less).collect();
    let circle = steps.iter().any(|(of, (a, b))| {
        let follows = |c: &usize| steps.contains(&(*of, (*c, *a)));
        steps
            .iter()
            .any(|(other, (from, c))| other == of && from == b && follows(c))
    });
    report.iter().any(odd) || circle
}

fn wrong(condition: &Condition, studies: usize) -> Vec<Line> {
    let found: Vec<Wrong> = (0..studies)
        .into_par_iter()
        .map(|number| read(condition, number))
        .collect();
    let share = |count: usize, of: usize| count as f64 / of as f64;
    let ever = |of: fn(&Wrong) -> bool| share(found.iter().filter(|one| of(one)).count(), studies);
    let sum = |of: fn(&Wrong) -> usize| found.iter().map(of).sum::<usize>();
    let reports = sum(|one| one.reports);
    let line = |figure: &str, got: f64, promise: Promise| {
        Line::new(figure.to_owned(), condition.name, got, studies, promise)
    };
    let contradictions = line(
        "reports that contradict themselves",
        share(sum(|one| one.contradictions), reports),
        Promise::AtMost(0.0),
    );
    if condition.at_margin {
        let alike = ever(|one| one.alike);
        return vec![
            line("ever a false `alike`", alike, Promise::AtMost(0.05)),
            contradictions,
        ];
    }
    vec![
        line(
            "ever a false `differs`",
            ever(|one| one.differs),
            Promise::AtMost(0.05),
        ),
        line(
            "reports with a false `leans`",
            share(sum(|one| one.leans), reports),
            Promise::AtMost(0.07),
        ),
        contradictions,
    ]
}

/// Runs everything, or the conditions whose name holds a word; after a full run of everything the page is written anew.
///
/// # Errors
/// The promises that are not kept.
pub fn run(quick: bool, studies: Option<usize>, only: Option<&str>) -> Result<(), String> {
    let studies = studies.unwrap_or(if quick { QUICK_STUDIES } else { STUDIES });
    let mut conditions = conditions::without_difference();
    conditions.extend(conditions::of_delay());
    conditions.extend(conditions::at_margin());
    conditions.retain(|condition| only.is_none_or(|word| condition.name.contains(word)));
    if quick {
        conditions.retain(|condition| condition.design.wearers == 1);
    }
    // Two standard errors are what 6.4 % of 1,000 studies is above 5 %; few studies need more room.
    let errors = if quick { 3.5 } else { 2.0 };
    let mut lines = Vec::new();
    for condition in &conditions {
        show(wrong(condition, studies), errors, &mut lines);
    }
    power::lines(studies, quick, only, &mut |found| {
        show(found, errors, &mut lines);
    });
    if !quick && only.is_none() {
        let text = format!(
            "{}\n{HEAD}{}",
            include_str!("intro.md"),
            table(&lines, errors)
        );
        std::fs::write(PAGE, text).map_err(|error| format!("{PAGE}: {error}"))?;
    }
    let broken: Vec<String> = lines
        .iter()
        .filter(|line| line.broken(errors))
        .map(|line| format!("{} ({}): {:.3}", line.figure, line.condition, line.got))
        .collect();
    if broken.is_empty() {
        Ok(())
    } else {
        Err(format!("not kept:\n{}", broken.join("\n")))
    }
}

const HEAD: &str =
    "| figure | condition | promise | got | studies |\n| --- | --- | --- | ---: | ---: |\n";

/// Prints lines as soon as they are there: a full run takes its time.
fn show(found: Vec<Line>, errors: f64, lines: &mut Vec<Line>) {
    print!("{}", table(&found, errors));
    lines.extend(found);
}

fn table(lines: &[Line], errors: f64) -> String {
    let mut out = String::new();
    for line in lines {
        let promise = match line.promise {
            Promise::AtMost(p) => format!("≤ {p}"),
            Promise::AtLeast(p) => format!("≥ {p}"),
            Promise::None => "–".to_owned(),
        };
        let mark = if line.broken(errors) {
            " **not kept**"
        } else {
            ""
        };
        let _ = writeln!(
            out,
            "| {} | {} | {promise}{mark} | {:.3} | {} |",
            line.figure, line.condition, line.got, line.studies
        );
    }
    out
}
