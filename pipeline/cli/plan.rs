//! `plan`: what to wear next, and how many sensors a conclusion still needs.

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use whereworn_engine::Catalog;
use whereworn_load::Holder;
use whereworn_load::files::{self, Access};
use whereworn_model::settings::Settings;
use whereworn_model::table::ResultTable;
use whereworn_model::text::plain;
use whereworn_plan::document::{Made, Order, make};
use whereworn_plan::frozen;
use whereworn_plan::gather::{self, PlanError, Study};
use whereworn_plan::log::{self, LoggedDraw};
use whereworn_plan::page::markdown;
use whereworn_plan::standing;
use whereworn_report::{in_language, page_of_markdown};
use whereworn_stats::resampling::seed::seed;

use crate::args::Scope;
use crate::failure::Failure;
use crate::month::{StudyMonth, Unasked, holder};
use crate::output::Output;
use crate::terminal;

/// The log of draws, in the study's folder.
pub const LOG: &str = "plan-log.csv";

const ONE_STUDY: &str = "a plan is of the wearers of one study: name its folder, not a list";

/// Queries of a plan alone.
const QUERIES: [(&str, &str); 6] = [
    ("plan_sensors", include_str!("plan/plan_sensors.sql")),
    ("plan_spots", include_str!("plan/plan_spots.sql")),
    ("plan_figures", include_str!("plan/plan_figures.sql")),
    ("plan_cells", include_str!("plan/plan_cells.sql")),
    ("plan_day", include_str!("plan/plan_day.sql")),
    ("plan_draws", "SELECT * FROM draws ORDER BY wearer, number"),
];

/// What is concluded, with the sensors that it still takes.
const CONCLUSIONS: &str = "conclusions";

/// A plan may not overlook a sensor that is on.
const WHOLE_LOG: &str = "a plan needs the whole log, since its limits do: leave out --month";

/// Whole numbers up to this stay exact in JSON as others read it (RFC 8259, section 6).
const MOST_EXACT: u64 = 1 << 53;

/// Arguments of `plan`.
#[derive(Args)]
pub struct PlanArguments {
    #[command(flatten)]
    pub scope: Scope,
    /// Whose plan; the study's own wearer by default
    #[arg(long, value_name = "NAME")]
    pub wearer: Option<String>,
    /// How many sensors
    #[arg(long, default_value_t = 6, value_parser = clap::value_parser!(u64).range(1..=100))]
    pub sensors: u64,
    /// What the draws are seeded with; made from the study's content by default
    #[arg(long)]
    pub seed: Option<u64>,
    /// Write `[plan]` with its hash as one page for a protocol to cite (HTML where it ends in .html, else Markdown), and draw nothing
    #[arg(long, value_name = "FILE")]
    pub freeze: Option<PathBuf>,
}

/// Draws, keeps and prints a plan.
pub fn run(arguments: &PlanArguments) -> Result<(), Failure> {
    if arguments.scope.month.is_some() {
        return Err(Failure::Request(WHOLE_LOG.to_owned()));
    }
    if let Some(file) = &arguments.freeze {
        return freeze(file, arguments);
    }
    let open = StudyMonth::open(&arguments.scope, Unasked::LatestOrNow)?;
    if open.is_pooled() {
        return Err(Failure::Request(ONE_STUDY.to_owned()));
    }
    let settings = in_language(&open.study.settings)?;
    let made = made(&open, &settings, arguments)?;
    let page = markdown(&made, &settings);
    open.progress.say("writing the plan");
    write(&open, &made, &page, &holder(arguments.scope.wait))?;
    open.progress.clear();
    let at = open.study.dir.join("reports/plan/plan.html");
    let mut text: String = page.lines().map(|line| plain(line) + "\n").collect();
    text.push_str(&format!("\n{}\n", at.display()));
    terminal::emit(text.as_bytes())
}

/// The plan, nothing of it kept yet.
fn made(
    open: &StudyMonth,
    settings: &Settings,
    arguments: &PlanArguments,
) -> Result<Made, Failure> {
    let now = Timestamp::from_microsecond(open.as_of).map_err(|_| PlanError::Calendar)?;
    let tables = tables(open, &QUERIES)?;
    let study = Study {
        settings,
        cutoff: open.cutoff,
        tables: &tables,
    };
    let named = arguments.wearer.as_deref();
    // Before the first sensor there is nobody in the log to choose from.
    let wearer = match open.is_new() {
        true => named.unwrap_or(&settings.study.wearer).to_owned(),
        false => gather::choose_wearer(&study, named)?,
    };
    Ok(make(&Order {
        study,
        wearer: &wearer,
        sensors: arguments.sensors as usize,
        seed: arguments.seed.unwrap_or_else(|| seed_of(open)),
        log: &open.plan_log,
        now,
        version: env!("CARGO_PKG_VERSION"),
    })?)
}

/// Writes the analysis plan; a study without data has one too.
fn freeze(file: &Path, arguments: &PlanArguments) -> Result<(), Failure> {
    let settings = whereworn_load::Study::settings(&arguments.scope.study)?;
    let conclusions = match StudyMonth::open(&arguments.scope, Unasked::Latest) {
        Ok(open) => {
            let tables = tables(&open, &[])?;
            open.progress.clear();
            tables.into_iter().find(|table| table.name == CONCLUSIONS)
        }
        Err(Failure::Request(_) | Failure::Load(whereworn_load::LoadError::NoInput(_))) => None,
        Err(failure) => return Err(failure),
    };
    let hash = whereworn_engine::plan_of(&settings).hash();
    let version = env!("CARGO_PKG_VERSION");
    let named = in_language(&settings)?;
    let page = frozen::markdown(&named, &hash, version, conclusions.as_ref()).ok_or_else(|| {
        Failure::Request("study.toml has no [plan]: there is nothing to freeze".to_owned())
    })?;
    let text = match file
        .extension()
        .is_some_and(|extension| extension == "html")
    {
        true => page_of_markdown(settings.study.language, &page),
        false => page,
    };
    match fs::read_to_string(file) {
        Ok(there) if there == text => return Ok(()),
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        _ => {
            return Err(Failure::Request(format!(
                "{} is there and holds something else: name a new file",
                file.display()
            )));
        }
    }
    files::replace(file, text.as_bytes(), Access::Shared).map_err(Failure::io(file, "writing"))
}

/// The tables of these queries, and what is concluded, computed together.
fn tables(open: &StudyMonth, queries: &[(&str, &str)]) -> Result<Vec<ResultTable>, Failure> {
    let mut catalog: Catalog = open.catalog.clone();
    for (name, sql) in queries {
        catalog = catalog.with(name, sql)?;
    }
    let mut names: Vec<&str> = queries.iter().map(|(name, _)| *name).collect();
    if catalog
        .queries()
        .iter()
        .any(|query| query.name == CONCLUSIONS)
    {
        names.push(CONCLUSIONS);
    }
    let needed = catalog.needed_for_all(&names)?;
    let engine = open.engine()?;
    Ok(engine.run_all(&needed, &|query| {
        open.progress.say(&format!("computed {query}"))
    })?)
}

/// The queries of a report, and those that [`mod@standing`] needs.
pub fn with_figures(catalog: &Catalog) -> Result<Catalog, Failure> {
    let needed = |(name, _): &&(&str, &str)| standing::NEEDED.contains(name);
    let mut catalog = catalog.clone();
    for (name, sql) in QUERIES.iter().filter(needed) {
        catalog = catalog.with(name, sql)?;
    }
    Ok(catalog)
}

/// Puts the tables on which site is best for a wearer in the place of the results that they are made from.
pub fn standing(
    open: &StudyMonth,
    tables: &mut Vec<ResultTable>,
    wearer: Option<&str>,
) -> Result<(), Failure> {
    let study = Study {
        settings: &open.study.settings,
        cutoff: open.cutoff,
        tables,
    };
    let made = match gather::choose_wearer(&study, wearer) {
        Ok(wearer) => standing::tables(&study, &wearer)?.into(),
        Err(_) => Vec::new(),
    };
    tables.retain(|table| !standing::NEEDED.contains(&table.name.as_str()));
    tables.extend(made);
    Ok(())
}

/// A seed from the raw files and the settings: the same study, the same draws.
fn seed_of(open: &StudyMonth) -> u64 {
    let settings = serde_json::to_string(&open.study.settings).unwrap_or_default();
    let inputs = open.settled.inputs.iter();
    let mut parts: Vec<&str> = inputs
        .flat_map(|input| [input.name.as_str(), input.sha256.as_str()])
        .collect();
    parts.push(&settings);
    seed(&parts) % MOST_EXACT
}

/// Keeps the new draws, then shows the pages: a draw that is shown is always in the log.
fn write(open: &StudyMonth, made: &Made, page: &str, holder: &Holder) -> Result<(), Failure> {
    let folder = open.study.dir.join("reports/plan");
    let mut output = Output::begin(&folder, open.study.access(), "move it away")?;
    let json = serde_json::to_string_pretty(&made.document).unwrap_or_default() + "\n";
    let html = page_of_markdown(open.study.settings.study.language, page);
    for (name, text) in [
        ("plan.json", json.as_str()),
        ("plan.md", page),
        ("plan.html", &html),
    ] {
        output.write(name, text.as_bytes())?;
    }
    let run = serde_json::json!({
        "program": "whereworn",
        "version": env!("CARGO_PKG_VERSION"),
        "files": output.written(),
    });
    output.write(
        "run.json",
        (serde_json::to_string_pretty(&run).unwrap_or_default() + "\n").as_bytes(),
    )?;
    append(&open.study.dir.join(LOG), open, &made.new_draws, holder)?;
    output.finish()
}

/// The log of draws as it was read.
#[derive(Default)]
pub struct DrawLog {
    pub draws: Vec<LoggedDraw>,
    /// Its bytes, and their SHA-256; `None` where there is no log.
    pub file: Option<(usize, String)>,
}

/// Reads the log; none is an empty one.
pub fn read_log(path: &Path) -> Result<DrawLog, Failure> {
    let Some(text) = text_of_log(path)? else {
        return Ok(DrawLog::default());
    };
    Ok(DrawLog {
        draws: log::parse(&text)?,
        file: Some((text.len(), files::sha256(text.as_bytes()))),
    })
}

fn text_of_log(path: &Path) -> Result<Option<String>, Failure> {
    let bytes = files::read_if_there(path).map_err(Failure::io(path, "reading"))?;
    let text = bytes.map(String::from_utf8).transpose();
    text.map_err(|_| Failure::Request(format!("{}: not UTF-8: save it as UTF-8", path.display())))
}

/// Adds draws to the log, unless another run has added some since this one read it.
fn append(
    path: &Path,
    open: &StudyMonth,
    draws: &[LoggedDraw],
    holder: &Holder,
) -> Result<(), Failure> {
    if draws.is_empty() {
        return Ok(());
    }
    // Between the look at the log and the new one nobody else may add to it.
    let _lock = open.study.lock_kept(holder)?;
    let mut text = text_of_log(path)?.unwrap_or_else(|| log::HEADER.to_owned());
    if log::parse(&text)? != open.plan_log {
        return Err(Failure::Request(format!(
            "{}: another run drew in the meantime: run this one again",
            path.display()
        )));
    }
    if !text.ends_with('\n') {
        text.push('\n');
    }
    let added = log::lines(draws, text.lines().next().unwrap_or(log::HEADER));
    text.push_str(&added);
    files::replace(path, text.as_bytes(), open.study.access()).map_err(Failure::io(path, "writing"))
}
