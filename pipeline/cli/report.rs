//! `report` and `load`.

use std::io;
use std::path::Path;

use serde_json::Value;
use whereworn_engine::write_parquet;
use whereworn_load::{Evidence, LoadOptions, Reject, Study, load};
use whereworn_model::settings::Language;
use whereworn_model::table::{ResultTable, inert};
use whereworn_model::text::plain;
use whereworn_report::{EarlierCopy, Edition, Input, Report, ReportError};

use crate::again::Earlier;
use crate::args::{LoadArguments, ReportArguments};
use crate::evidence;
use crate::failure::Failure;
use crate::findings;
use crate::ledger::Before;
use crate::month::{StudyMonth, Unasked, holder};
use crate::output::{Files, Output, recover};
use crate::plan;
use crate::progress::Progress;
use crate::run_json::{public_run_json, run_json};
use crate::studies;
use crate::terminal::{emit, say};

/// Writes the report of a month.
pub fn run(arguments: &ReportArguments) -> Result<(), Failure> {
    let mut arguments = arguments.clone();
    let earlier = arguments.from.as_deref().map(Earlier::read).transpose()?;
    if let Some(earlier) = &earlier {
        earlier.apply(&mut arguments);
    }
    let cluster = arguments.steps.cluster()?;
    let open = StudyMonth::open_all(&arguments.scope, &arguments.more, Unasked::LastOver)?;
    let edition = arguments.edition;
    let target = arguments.out.clone().unwrap_or_else(|| {
        let again = if earlier.is_some() { "-again" } else { "" };
        let pooled = if open.is_pooled() { "-pooled" } else { "" };
        let name = format!("{}-{}{pooled}{again}", open.month, edition.name());
        open.study.dir.join("reports").join(name)
    });
    let mut output = Output::begin(
        &target,
        open.study.access(),
        "name another folder with --out, or move it away",
    )?;
    let mut engine = open.engine()?;
    if let Some(cluster) = cluster {
        engine.run_elsewhere(cluster.elsewhere(open.limits.spill.as_deref())?);
    }
    let for_wearer = edition == Edition::Wearer;
    let catalog = match for_wearer {
        true => plan::with_figures(&open.catalog)?,
        false => open.catalog.clone(),
    };
    let mut tables = engine.run_all(&catalog, &|query| {
        open.progress.say(&format!("computed {query}"))
    })?;
    tables.extend(findings::tables(&open.found));
    tables.extend(studies::table(&open.opened));
    let faults: Vec<String> = tables
        .iter()
        .filter_map(|table| table.fault.clone())
        .collect();
    let said = evidence::of_report(&tables, open.cutoff, &open.plan_hash());
    open.progress.say("writing the report");
    let wearer = own_wearer(&arguments, &tables)?;
    if for_wearer {
        plan::standing(&open, &mut tables, wearer.as_deref())?;
    }
    if edition == Edition::Public && open.is_pooled() {
        studies::large_enough(&tables)?;
    }
    let before = Before::read(&target, (open.month, edition, wearer.as_deref()))?;
    let render = |tables: Vec<ResultTable>, copies: &[EarlierCopy]| {
        whereworn_report::render(Input {
            edition,
            wearer: wearer.as_deref(),
            settings: open.study.settings.clone(),
            month: open.month,
            cutoff: open.cutoff,
            tables,
            earlier: copies.to_vec(),
            version: env!("CARGO_PKG_VERSION"),
        })
    };
    let of_run = |report: &Report, files: &Files| match edition {
        Edition::Public => public_run_json(&open, &report.tables, files),
        _ => run_json(&open, (edition, wearer.as_deref()), &report.tables, files),
    };
    let run_of = |report: &Report| of_run(report, output.written());
    let (report, copies) = made(before.as_ref(), tables, render, run_of)?;
    write_pages(&mut output, &report)?;
    // Rejected rows may be anybody's.
    if edition != Edition::Public && wearer.is_none() {
        output.write("rejects.csv", &rejects_csv(&open.settled.rejects)?)?;
    }
    let mut run = of_run(&report, output.written());
    if let (Some(object), false) = (run.as_object_mut(), copies.is_empty()) {
        object.insert("earlier_copies".to_owned(), serde_json::json!(copies));
    }
    let text = serde_json::to_string_pretty(&run).unwrap_or_default() + "\n";
    output.write("run.json", text.as_bytes())?;
    let language = (open.study.settings.study.language, edition);
    let kept = match &before {
        Some(before) => write_copies(&mut output, before, &copies, language)?,
        None => None,
    };
    Evidence::append(&open.study, &holder(arguments.scope.wait), &said)?;
    output.finish()?;
    if let Some(results) = &open.results {
        results.0.remove_others();
    }
    let rejected = open.settled.rejects.len();
    open.progress.clear();
    warn(open.warnings());
    if arguments.wearer.is_some() && !for_wearer {
        say("warning: this report is of all wearers: --wearer is for --for wearer alone");
    }
    say(&summary(&open.settled));
    say(&open.why);
    if let Some(earlier) = &earlier {
        earlier.differences(&run).iter().for_each(|line| say(line));
    }
    if let Some(name) = kept {
        say(&format!(
            "rows changed since the report that stood here: it is kept as {name}, and report.html says what changed"
        ));
    }
    if let Some(line) = findings::in_short(&open.found) {
        say(&line);
    }
    emit(format!("{}\n", plain(&target.join("report.html").to_string_lossy())).as_bytes())?;
    let summary = match report.summary.as_str() {
        "" => "nothing to compare yet",
        summary => summary,
    };
    say(&format!("{}: {summary}", open.month));
    for fault in &faults {
        say(&format!("warning: {}", plain(fault)));
    }
    strictly(arguments.strict, rejected)?;
    match faults.len() {
        0 => Ok(()),
        failed => Err(Failure::Queries(failed)),
    }
}

/// The report with the copies that it names: made twice where there are any, since what it says of the last one follows from
/// what it says itself.
fn made(
    before: Option<&Before>,
    tables: Vec<ResultTable>,
    render: impl Fn(Vec<ResultTable>, &[EarlierCopy]) -> Result<Report, ReportError>,
    run_of: impl Fn(&Report) -> Value,
) -> Result<(Report, Vec<EarlierCopy>), Failure> {
    let Some(before) = before else {
        return Ok((render(tables, &[])?, Vec::new()));
    };
    let report = render(tables.clone(), &[])?;
    let copies = before.copies(&report, &run_of(&report))?;
    if copies.is_empty() {
        return Ok((report, copies));
    }
    Ok((render(tables, &copies)?, copies))
}

/// Writes the pages of all copies; gives the name of the one that is new.
fn write_copies<'b>(
    output: &mut Output,
    before: &'b Before,
    copies: &[EarlierCopy],
    (language, edition): (Language, Edition),
) -> Result<Option<&'b str>, Failure> {
    for (name, page) in before.pages() {
        output.write(name, page.as_bytes())?;
    }
    let Some((name, html)) = before.kept(copies) else {
        return Ok(None);
    };
    let page = whereworn_report::marked_as_earlier(html, language, edition)?;
    output.write(name, page.as_bytes())?;
    Ok(Some(name))
}

/// Whose report it is: of several wearers one has to be named for a report to a wearer.
fn own_wearer(
    arguments: &ReportArguments,
    tables: &[ResultTable],
) -> Result<Option<String>, Failure> {
    let names = studies::wearers(tables);
    let all = names.iter().copied().collect::<Vec<_>>().join(", ");
    match &arguments.wearer {
        _ if arguments.edition != Edition::Wearer || names.len() < 2 => Ok(None),
        Some(name) if names.contains(name.as_str()) => Ok(Some(name.clone())),
        Some(name) => Err(Failure::Request(format!(
            "--wearer {name}: the study has no such wearer; it has {all}"
        ))),
        None => Err(Failure::Request(format!(
            "the study has several wearers: say whose report it is with --wearer NAME, one of {all}"
        ))),
    }
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
    for table in report
        .tables
        .iter()
        .filter(|table| !table.columns.is_empty())
    {
        write_table(output, table)?;
    }
    Ok(())
}

/// Brings the store up to date.
pub fn run_load(arguments: &LoadArguments) -> Result<(), Failure> {
    let progress = Progress::start();
    let study = Study::open(&arguments.study)?;
    recover(&study.dir.join("reports"));
    let options = LoadOptions {
        holder: holder(arguments.wait),
        scratch: None,
        store: None,
        memory: Some(studies::for_readings(arguments.memory)),
    };
    let reading = |file: &str| progress.say(&format!("reading {file}"));
    let (store, loaded) = load(&study, &options, &reading)?;
    let settled = store.settle(&study, i64::MAX)?;
    progress.clear();
    warn(
        loaded
            .notes
            .iter()
            .chain(&study.warnings)
            .chain(&settled.warnings),
    );
    say(&format!(
        "{} files read, {} unchanged, {} gone",
        loaded.parsed, loaded.unchanged, loaded.gone
    ));
    say(&summary(&settled));
    strictly(arguments.strict, settled.rejects.len())
}

fn warn<'w>(warnings: impl Iterator<Item = &'w String>) {
    for warning in warnings {
        say(&format!("warning: {warning}"));
    }
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
            let seldom = [
                (counts.without_insert, "without an insert"),
                (counts.after_second_insert, "after a second insert"),
                (counts.left_out, "left out by corrections"),
                (counts.withdrawn, "withdrawn"),
                (counts.untaken, "left out by exports"),
            ];
            let seldom = seldom.into_iter().filter(|(count, _)| *count > 0);
            let seldom: String = seldom
                .map(|(count, what)| format!(", {count} {what}"))
                .collect();
            format!(
                "{} {}: {} accepted, {} rejected, {} duplicates{seldom}",
                counts.read,
                table.folder(),
                counts.accepted,
                counts.rejected,
                counts.duplicates
            )
        })
        .collect();
    parts.join("\n")
}

fn write_table(output: &mut Output, table: &ResultTable) -> Result<(), Failure> {
    let name = format!("tables/{}.csv", table.name);
    output.write_by(&name, |out| table.write_csv(out))?;
    let name = format!("tables/{}.parquet", table.name);
    output.write_by(&name, |out| {
        write_parquet(table, out, &name).map_err(io::Error::other)
    })
}

fn rejects_csv(rejects: &[Reject]) -> Result<Vec<u8>, Failure> {
    let mut csv = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(Vec::new());
    let write = |csv: &mut csv::Writer<Vec<u8>>| {
        csv.write_record(["file", "line", "column", "reason", "raw"])?;
        for reject in rejects {
            let line = reject.line.to_string();
            csv.write_record([
                &*inert(&reject.file),
                line.as_str(),
                &*inert(&reject.column),
                &*inert(&reject.reason),
                &*inert(&reject.raw),
            ])?;
        }
        csv.flush()
    };
    let failed = Failure::io(Path::new("rejects.csv"), "writing");
    write(&mut csv).map_err(failed)?;
    Ok(csv.into_inner().unwrap_or_default())
}
