//! What can be typed.

use std::path::PathBuf;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand, ValueEnum};
use whereworn_model::time::{Micros, Month, parse_instant};
use whereworn_report::Edition;

use crate::cluster::Where;
use crate::map::MapArguments;
use crate::plan::PlanArguments;
use crate::start::StartArguments;

/// Where did sensors stay on, read true and stay quiet at night?
#[derive(Parser)]
#[command(
    version,
    about = "Where did sensors stay on, read true and stay quiet at night?",
    long_about = "Compares the places on the body where glucose sensors were worn, from your own readings, \
fingerstick checks and a log of what happened to each sensor. A study is a folder:\n\n  \
study.toml               settings: time zone, unit, rated days\n  \
readings/*.csv           sensor, time, glucose\n  \
fingersticks/*.csv       time, glucose\n  \
wear-events/*.csv        sensor, time, event (insert with site, end with cause, ...)\n  \
judgements.csv           sensor, start, verdict (your own, on night artefacts)\n\n\
`whereworn demo DIR` writes one to look at, `whereworn start DIR` begins yours, `whereworn map FILE` finds out how to read \
an export; then `whereworn check STUDY` and `whereworn report STUDY`.\n\
Not for treatment decisions.",
    after_help = "Exit status: 0 done; 1 failed; 2 wrong use; 3 rows were rejected and --strict was given; 4 the report is written, but a query of the study's own failed; 5 check found something doubtful, 6 something wrong."
)]
pub struct Arguments {
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Subcommand)]
pub enum Command {
    /// Load what is new, run every query, write the month's report
    #[command(
        after_help = "Writes report.html, report.md, figures/, tables/, rejects.csv and run.json, all or nothing; the public \
edition and one for a wearer among several have no rejects.csv. Results are cumulative: a month's report uses every row up to its end.\n\n\
Examples:\n  whereworn report my-study --month 2026-09 --out september\n  whereworn report my-study --for wearer"
    )]
    Report(ReportArguments),
    /// Bring the study's Parquet store up to date with its raw files, nothing else
    #[command(
        after_help = "Only new or changed files are parsed. `report`, `check` and `query` do this by themselves."
    )]
    Load(LoadArguments),
    /// Say what is wrong, doubtful or thin in the data, and what to do about it
    #[command(
        after_help = "Looks at files, sensors, meters and clocks against each other; every finding comes with what to do and, where \
they cure it, the lines for study.toml. Exit status: 0 nothing wrong or doubtful, 5 something doubtful, 6 something wrong."
    )]
    Check(CheckArguments),
    /// Run one query and print its table
    #[command(
        after_help = "Queries name each other and the tables readings, fingersticks, wear_events, judgements, settings and \
sites. Put a file into the study's folder queries/ to have its table in every report.\n\n\
Examples:\n  whereworn query my-study site_accuracy\n  \
whereworn query my-study --sql \"SELECT site, COUNT(*) AS sensors FROM sessions GROUP BY site ORDER BY site\" --format csv"
    )]
    Query(QueryArguments),
    /// Say what to wear next, drawn by lot within what is allowed, and how many sensors a conclusion still needs
    #[command(
        mut_arg("study", |arg| arg.help("The study's folder")),
        mut_arg("month", |arg| arg.hide(true)),
        after_help = "Writes plan.json, plan.md and plan.html into reports/plan in the study, and keeps each draw in plan-log.csv, which is only \
added to. Sites: `sites` under [plan], agreed with the clinician; without it, only those on the device's label.\n\n\
Examples:\n  whereworn plan my-study\n  whereworn plan my-study --wearer kelp --sensors 3"
    )]
    Plan(PlanArguments),
    /// Find out how to read an export: print the `[exports]` block and ten rows as understood
    #[command(
        after_help = "It looks at the data: separator, header, dates, unit, sensors and words. What it cannot tell it asks for.\n\n\
Examples:\n  whereworn map export.csv\n  whereworn map export.csv --set sensor=s01 --dates day-first --write my-study\n  whereworn map exports/*.csv --write my-study"
    )]
    Map(MapArguments),
    /// Begin a new study: study.toml and an empty log
    #[command(
        after_help = "Example:\n  whereworn start my-study --timezone Europe/Lisbon --unit mg/dL"
    )]
    Start(StartArguments),
    /// Write an invented study with a known truth, to try things on
    Demo(DemoArguments),
    /// Print what makes a shell complete commands and options, for example `whereworn completions bash`
    #[command(hide = true)]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page, for man(1)
    #[command(hide = true)]
    Man,
}

/// Which rows are used.
#[derive(Args, Clone)]
pub struct Scope {
    /// The study's folder, or `@FILE` that lists several to be pooled, one a line
    pub study: PathBuf,
    /// Month to report on, YYYY-MM; by default the last that is over and has data
    #[arg(long, value_parser = month)]
    pub month: Option<Month>,
    /// Reject rows later than this instant (ISO 8601 with offset); now by default
    #[arg(long, value_name = "TIME", value_parser = instant)]
    pub as_of: Option<Micros>,
    /// Seconds to wait where another run works on the study
    #[arg(long, value_name = "SECONDS", default_value_t = 0)]
    pub wait: u64,
    /// Another folder of query files; one of the same name takes the place of ours
    #[arg(long, value_name = "DIR")]
    pub queries: Option<PathBuf>,
    /// Memory for all queries together; what sorts and groups beyond it goes to temporary files
    #[arg(long, value_name = "MiB", default_value_t = 1024, value_parser = clap::value_parser!(u32).range(16..))]
    pub memory: u32,
    /// Seconds for one query of the study's own
    #[arg(long, value_name = "SECONDS", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..))]
    pub limit: u32,
}

/// Arguments of `report`.
#[derive(Args, Clone)]
pub struct ReportArguments {
    #[command(flatten)]
    pub scope: Scope,
    /// Further studies, pooled with the first: each with its own settings, its people apart from those of the others
    #[arg(value_name = "MORE")]
    pub more: Vec<PathBuf>,
    /// Folder to write; reports/YYYY-MM-EDITION in the study by default
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Whom the report is for: clinician; wearer, in plain words; public, with nothing that identifies
    #[arg(long = "for", value_name = "READER", default_value = "clinician", value_parser = edition())]
    pub edition: Edition,
    /// Make the report again that this run.json is of, into reports/YYYY-MM-EDITION-again, and say what differs
    #[arg(long, value_name = "RUN.JSON", conflicts_with_all = ["month", "edition"])]
    pub from: Option<PathBuf>,
    /// Whose report `--for wearer` is, where a study has several wearers
    #[arg(long, value_name = "NAME")]
    pub wearer: Option<String>,
    #[command(flatten)]
    pub steps: Where,
    /// End with status 3 where rows were rejected (the report is written all the same)
    #[arg(long)]
    pub strict: bool,
}

/// Arguments of `load`.
#[derive(Args)]
pub struct LoadArguments {
    /// The study's folder
    pub study: PathBuf,
    /// Seconds to wait where another run works on the study
    #[arg(long, value_name = "SECONDS", default_value_t = 0)]
    pub wait: u64,
    /// Memory, about; of more readings than lie in half of it the rest goes to temporary files
    #[arg(long, value_name = "MiB", default_value_t = 1024, value_parser = clap::value_parser!(u32).range(16..))]
    pub memory: u32,
    /// End with status 3 where rows were rejected
    #[arg(long)]
    pub strict: bool,
}

/// Arguments of `check`.
#[derive(Args)]
pub struct CheckArguments {
    #[command(flatten)]
    pub scope: Scope,
    /// Further studies, looked at with the first as `report` pools them
    #[arg(value_name = "MORE")]
    pub more: Vec<PathBuf>,
    /// How to print the findings
    #[arg(long, default_value = "text")]
    pub format: CheckFormat,
    /// End with status 3 where rows were rejected
    #[arg(long)]
    pub strict: bool,
}

/// How findings are printed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum CheckFormat {
    /// Lines, with what to do
    Text,
    /// One object
    Json,
}

/// Arguments of `query`.
#[derive(Args)]
pub struct QueryArguments {
    #[command(flatten)]
    pub scope: Scope,
    /// Name of the query or table; without one, SQL is read from standard input, or the names are listed
    #[arg(conflicts_with = "sql")]
    pub name: Option<String>,
    /// SQL to run instead
    #[arg(long, value_name = "TEXT")]
    pub sql: Option<String>,
    /// Value of a parameter that the query's header declares
    #[arg(long, value_name = "NAME=VALUE", value_parser = assignment)]
    pub set: Vec<(String, String)>,
    /// List all tables, or the columns and the SQL of one
    #[arg(long, value_name = "NAME", num_args = 0..=1, default_missing_value = "", conflicts_with_all = ["name", "sql"])]
    pub tables: Option<String>,
    /// List the functions of ours, or tell of one
    #[arg(long, value_name = "NAME", num_args = 0..=1, default_missing_value = "", conflicts_with_all = ["name", "sql", "tables"])]
    pub functions: Option<String>,
    /// Tell what is computed in which order, with rows and time of each, and the plan of the last
    #[arg(long)]
    pub explain: bool,
    /// How to print the table
    #[arg(long, default_value = "table")]
    pub format: Format,
}

/// How a table is printed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Columns in line, for the eye
    Table,
    /// Comma separated, every digit
    Csv,
    /// An array of objects
    Json,
    /// One object a line
    Ndjson,
    /// Apache Parquet, to a file or a pipe
    Parquet,
    /// Apache Arrow, as a stream, to a file or a pipe
    Arrow,
    /// A table in Markdown
    Markdown,
}

/// Arguments of `demo`.
#[derive(Args)]
pub struct DemoArguments {
    /// Folder to write; it must not exist, or be empty
    pub dir: PathBuf,
    /// Wearers
    #[arg(long, default_value_t = 4)]
    pub wearers: usize,
    /// Sensors of each wearer
    #[arg(long, default_value_t = 21)]
    pub sensors: usize,
    /// Minutes between readings
    #[arg(long, default_value_t = 5)]
    pub minutes: u32,
    /// The same seed gives the same study
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

fn edition() -> impl TypedValueParser<Value = Edition> {
    PossibleValuesParser::new(Edition::ALL.map(Edition::name))
        .map(|word| Edition::parse(&word).unwrap_or(Edition::Clinician))
}

fn assignment(text: &str) -> Result<(String, String), String> {
    let (name, value) = text.split_once('=').ok_or("write NAME=VALUE")?;
    Ok((name.trim().to_owned(), value.to_owned()))
}

fn month(text: &str) -> Result<Month, String> {
    Month::parse(text).ok_or_else(|| "write a month as YYYY-MM, for example 2026-09".to_owned())
}

fn instant(text: &str) -> Result<Micros, String> {
    parse_instant(text)
        .ok_or_else(|| "write a time with its offset, for example 2026-09-30T12:00:00Z".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_arguments_are_consistent() {
        Arguments::command().debug_assert();
    }
}
