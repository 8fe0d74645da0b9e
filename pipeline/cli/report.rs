//! `report` and `load`.

use std::io::{BufWriter, Write};

use whereworn_engine::write_parquet;
use whereworn_load::{Reject, Study, load};
use whereworn_model::table::ResultTable;
use whereworn_report::{Edition, Input, Report};

use crate::args::{LoadArguments, ReportArguments};
use crate::evidence;
use crate::failure::Failure;
use crate::findings;
use crate::month::StudyMonth;
use crate::output::Output;
use crate::progress::Progress;
use crate::run_json::{public_run_json, run_json};

/// Writes the report of a month.
pub fn run(arguments: &ReportArguments) -> Result<(), Failure> {
    let open = StudyMonth::open(&arguments.scope)?;
    let edition = arguments.edition;
    let target = arguments.out.clone().unwrap_or_else(|| {
        open.study
            .dir
            .join("reports")
            .join(format!("{}-{}", open.month, edition.name()))
    });
    let mut output = Output::begin(&target)?;
    let engine = open.engine()?;
    let mut tables = engine.run_all(&open.catalog, &|query| {
        open.progress.say(&format!("computed {query}"))
    })?;
    tables.extend(findings::tables(&open.found));
    let said = evidence::of_report(&tables, open.cutoff);
    open.progress.say("writing the report");
    let report = whereworn_report::render(Input {
        edition,
        settings: open.study.settings.clone(),
        month: open.month,
        cutoff: open.cutoff,
        tables,
        version: env!("CARGO_PKG_VERSION"),
    })?;
    write_pages(&mut output, &report)?;
    if edition != Edition::Public {
        let (file, path) = output.create("rejects.csv")?;
        write_rejects(BufWriter::new(file), &open.settled.rejects)
            .map_err(Failure::io(&path, "writing"))?;
    }
    let mut files = output.written().clone();
    files.insert("run.json".to_owned());
    let run = match edition {
        Edition::Public => public_run_json(&open, &report.tables, &files),
        _ => run_json(&open, edition, &report.tables, &files),
    };
    let text = serde_json::to_string_pretty(&run).unwrap_or_default() + "\n";
    output.write("run.json", text.as_bytes())?;
    output.finish()?;
    open.store.keep_evidence(&said)?;
    let rejected = open.settled.rejects.len();
    open.progress.end();
    for warning in open.study.warnings.iter().chain(&open.settled.warnings) {
        eprintln!("warning: {warning}");
    }
    eprintln!("{}", summary(&open.settled));
    if let Some(line) = findings::in_short(&open.found) {
        eprintln!("{line}");
    }
    println!("{}", target.join("report.html").display());
    strictly(arguments.strict, rejected)
}

/// Pages, figures and tables.
fn write_pages(output: &mut Output, report: &Report) -> Result<(), Failure> {
    output.write("report.md", report.markdown.as_bytes())?;
    output.write("report.html", report.html.as_bytes())?;
    if let Some(sheets) = &report.sheets {
        output.write("sheets.html", sheets.as_bytes())?;
    }
    for figure in &report.figures {
        output.write(
            &format!("figures/{}", figure.file_name),
            figure.svg.as_bytes(),
        )?;
    }
    for table in &report.tables {
        write_table(output, table)?;
    }
    Ok(())
}

/// Brings the store up to date.
pub fn run_load(arguments: &LoadArguments) -> Result<(), Failure> {
    let progress = Progress::start();
    let study = Study::open(&arguments.study)?;
    let (store, loaded) = load(&study, &|file| progress.say(&format!("reading {file}")))?;
    let settled = store.settle(&study, i64::MAX)?;
    let cutoff = settled.span.map_or(0, |span| span.1);
    let found = findings::look(&study, &store, &settled, cutoff, cutoff)?;
    progress.end();
    for warning in study.warnings.iter().chain(&settled.warnings) {
        eprintln!("warning: {warning}");
    }
    eprintln!(
        "{} files read, {} unchanged, {} gone",
        loaded.parsed, loaded.unchanged, loaded.gone
    );
    eprintln!("{}", summary(&settled));
    if let Some(line) = findings::in_short(&found) {
        eprintln!("{line}");
    }
    strictly(arguments.strict, settled.rejects.len())
}

/// With `--strict`, rejected rows are a failure.
pub fn strictly(strict: bool, rejected: usize) -> Result<(), Failure> {
    if strict && rejected > 0 {
        return Err(Failure::Rejected(rejected));
    }
    Ok(())
}

fn summary(settled: &whereworn_load::Settled) -> String {
    let parts: Vec<String> = settled
        .counts
        .iter()
        .map(|(table, counts)| {
            format!(
                "{} {}: {} used, {} rejected, {} duplicates, {} without an insert",
                counts.read,
                table.folder(),
                counts.accepted,
                counts.rejected,
                counts.duplicates,
                counts.without_insert
            )
        })
        .collect();
    parts.join("\n")
}

fn write_table(output: &mut Output, table: &ResultTable) -> Result<(), Failure> {
    let name = format!("tables/{}.csv", table.name);
    let (file, path) = output.create(&name)?;
    let mut out = BufWriter::new(file);
    table
        .write_csv(&mut out)
        .and_then(|()| out.flush())
        .map_err(Failure::io(&path, "writing"))?;
    let name = format!("tables/{}.parquet", table.name);
    let (file, _) = output.create(&name)?;
    Ok(write_parquet(table, file, &name)?)
}

fn write_rejects(out: impl Write, rejects: &[Reject]) -> std::io::Result<()> {
    let mut csv = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(out);
    csv.write_record(["file", "line", "column", "reason", "raw"])?;
    for reject in rejects {
        let line = reject.line.to_string();
        csv.write_record([
            &reject.file,
            &line,
            &reject.column,
            &reject.reason,
            &reject.raw,
        ])?;
    }
    csv.flush()
}
