//! A study up to the cut-off of a month: loaded, settled and in the engine.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use whereworn_engine::{Catalog, Engine, Limits, Results, StudyTables, plan_of};
use whereworn_findings::Outcome;
use whereworn_load::{Evidence, Holder, Reject, Said, Settled, Study, Table};
use whereworn_model::table::ResultTable;
use whereworn_model::time::{Micros, Month, format_utc};
use whereworn_plan::log::{self, LoggedDraw};

use crate::args::Scope;
use crate::failure::Failure;
use crate::findings;
use crate::kept::KeptResults;
use crate::output::recover;
use crate::progress::Progress;
use crate::stop::undisturbed;
use crate::studies::{self, Opened};

/// A study, or several pooled, up to the cut-off of a month.
pub struct StudyMonth {
    /// The study; of several the first, with the settings that hold for all.
    pub study: Study,
    /// All studies of the run. While they live, no other run removes the files that are read.
    pub opened: Vec<Opened>,
    pub evidence: Evidence,
    warnings: Vec<String>,
    pub plan_log: Vec<LoggedDraw>,
    pub settled: Settled,
    pub found: Outcome,
    pub month: Month,
    /// Which month was taken and why, in words.
    pub why: String,
    pub cutoff: Micros,
    pub as_of: Micros,
    pub catalog: Catalog,
    pub progress: Progress,
    pub limits: Limits,
    /// Results of queries kept between runs, in the store of the first study.
    pub results: Option<Arc<KeptResults>>,
}

impl StudyMonth {
    /// Opens, loads and settles a study, and chooses the month.
    pub fn open(scope: &Scope, unasked: Unasked) -> Result<Self, Failure> {
        Self::open_all(scope, &[], unasked)
    }

    /// Opens, loads and settles a study and `more` that are pooled with it, and chooses the month.
    pub fn open_all(scope: &Scope, more: &[PathBuf], unasked: Unasked) -> Result<Self, Failure> {
        let progress = Progress::start();
        let places = studies::places(&scope.study, more)?;
        let first = places.first().map_or(&scope.study, |(_, folder)| folder);
        let mut study = Study::open(first)?;
        recover(&study.dir.join("reports"));
        let own = study.dir.join("queries");
        let more = scope.queries.as_deref();
        if let Some(folder) = more.filter(|folder| !folder.is_dir()) {
            return Err(Failure::Request(format!(
                "{}: no such folder of queries",
                folder.display()
            )));
        }
        let folders: Vec<&Path> = [Some(own.as_path()), more].into_iter().flatten().collect();
        let catalog = Catalog::read(&folders)?;
        let as_of = scope
            .as_of
            .unwrap_or_else(|| jiff::Timestamp::now().as_microsecond());
        let mut opened = studies::open(&places, scope, as_of, &progress)?;
        let mut warnings: Vec<String> = studies::renamed(&places).into_iter().collect();
        warnings.extend(opened.iter().flat_map(Opened::warnings));
        if opened.iter().any(|one| !one.name.is_empty()) {
            let (settings, differing) = studies::settings(&study.settings, &opened);
            study.settings = settings;
            study.evidence = studies::evidence_file(&opened);
            warnings.extend(differing);
        }
        let settled = studies::rows(&mut opened)?;
        let evidence = Evidence::read(&study)?;
        warnings.extend(evidence.warnings.iter().cloned());
        let own = opened.iter().find(|one| one.study.dir == *first);
        let results = own.map(|one| Arc::new(KeptResults(one.computed())));
        let plan_log = opened.iter().flat_map(Opened::draws).collect();
        let (month, why) = choose_month(&study, &settled, scope.month, (unasked, as_of))?;
        let cutoff = match is_new(&settled) {
            true => as_of,
            false => cutoff(&study, &settled, month)?,
        };
        progress.say("looking at clocks, units and meters");
        let start = month.start(&study.settings.zone()).unwrap_or(cutoff);
        let found = studies::look(&opened, results.as_deref(), (cutoff, start))?;
        let spill = opened.first().and_then(Opened::spill_folder);
        Ok(Self {
            study,
            opened,
            evidence,
            warnings,
            plan_log,
            settled,
            found,
            month,
            why,
            cutoff,
            as_of,
            catalog,
            progress,
            limits: Limits {
                memory: scope.memory as usize * (1 << 20),
                time: Duration::from_secs(scope.limit.into()),
                spill,
            },
            results,
        })
    }

    /// Whether several studies are pooled, or one under its name.
    pub fn is_pooled(&self) -> bool {
        self.opened.iter().any(|one| !one.name.is_empty())
    }

    /// Whether nothing was written into the study yet.
    pub fn is_new(&self) -> bool {
        is_new(&self.settled)
    }

    /// What a reader should know of the store, the settings, the input files and the kept evidence.
    pub fn warnings(&self) -> impl Iterator<Item = &String> {
        self.warnings.iter()
    }

    /// Tables made outside SQL.
    fn made_tables(&self) -> Vec<ResultTable> {
        let mut made = findings::tables(&self.found);
        made.extend(studies::table(&self.opened));
        made.push(log::table(&self.plan_log));
        made
    }

    /// Hash of the study's plan; empty where it has none.
    pub fn plan_hash(&self) -> String {
        plan_of(&self.study.settings).hash()
    }

    /// The cut-off of the first report under the study's plan, this one included, or that of an earlier report that had seen
    /// more; `None` without a plan.
    pub fn planned_since(&self) -> Option<Micros> {
        let hash = self.plan_hash();
        if hash.is_empty() {
            return None;
        }
        let said = &self.evidence.said;
        let first = said.iter().position(|said| said.plan_hash == hash);
        let until = first.map_or(said.len(), |first| first + 1);
        let looks = said.iter().take(until).map(|said| said.look);
        looks.chain(first.is_none().then_some(self.cutoff)).max()
    }

    /// Starts the engine on the study's tables.
    pub fn engine(&self) -> Result<Engine, Failure> {
        self.progress.say("starting the query engine");
        let tables = StudyTables {
            settings: &self.study.settings,
            members: self.opened.iter().map(Opened::member).collect(),
            month: self.month,
            cutoff: self.cutoff,
            sensors: self.settled.sensors.clone(),
            used_until: self.settled.used_until.clone(),
            fingersticks: self.settled.fingersticks.clone(),
            wear_events: self.settled.wear_events.clone(),
            judgements: self.settled.judgements.clone(),
            row_counts: row_counts(&self.settled),
            kept_evidence: self.evidence.said.iter().map(kept).collect(),
            planned_since: self.planned_since(),
            made: self.made_tables(),
            results: self
                .results
                .clone()
                .map(|results| results as Arc<dyn Results>),
        };
        // It makes a folder below the one for what queries put aside.
        Ok(undisturbed(|| Engine::start(&tables, self.limits.clone()))?)
    }
}

/// Who works on a study, for others that find it locked.
pub fn holder(wait: u64) -> Holder {
    let now = jiff::Timestamp::now().as_microsecond();
    Holder {
        name: format!("process {} since {}", std::process::id(), format_utc(now)),
        wait: Duration::from_secs(wait),
    }
}

fn kept(row: &Said) -> whereworn_engine::KeptEvidence<'_> {
    whereworn_engine::KeptEvidence {
        look: row.look,
        measure: &row.measure,
        site: &row.site,
        against: &row.against,
        evidence: row.evidence,
        verdict: &row.verdict,
    }
}

/// The month that is taken where none is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unasked {
    /// The last that is over and has data.
    LastOver,
    /// The latest that has data, over or not: what there is to know now.
    Latest,
    /// The same, and of a study that has no row yet the month that is.
    LatestOrNow,
}

/// Whether nothing was written into a study yet.
fn is_new(settled: &Settled) -> bool {
    settled.months.is_empty() && settled.rejects.is_empty()
}

/// The month asked for, else the one taken unasked, and why.
fn choose_month(
    study: &Study,
    settled: &Settled,
    asked: Option<Month>,
    (unasked, as_of): (Unasked, Micros),
) -> Result<(Month, String), Failure> {
    let zone = study.settings.zone();
    let now = Month::of(as_of, &zone).filter(|_| unasked == Unasked::LatestOrNow);
    if let Some(now) = now.filter(|_| is_new(settled)) {
        return Ok((now, format!("month {now}: there is no row yet")));
    }
    let (Some(first), Some(last)) = (settled.months.first(), settled.months.last()) else {
        let dir = study.dir.display();
        return Err(Failure::Request(match settled.rejects.first() {
            None => format!(
                "{dir}: there is no row yet: files belong into readings, fingersticks and wear-events, or into an export that `whereworn map` makes known"
            ),
            Some(Reject {
                file, line, reason, ..
            }) => format!(
                "{dir}: no row can be used ({} rejected); the first: {file}, line {line}: {reason}",
                settled.rejects.len()
            ),
        }));
    };
    if let Some(asked) = asked {
        if settled.months.contains(&asked) {
            return Ok((asked, format!("month {asked}, as asked for")));
        }
        return Err(Failure::Request(format!(
            "{asked} has no data: the months with data go from {first} to {last}; choose one of them with --month"
        )));
    }
    if unasked != Unasked::LastOver {
        return Ok((*last, format!("month {last}: the latest that has data")));
    }
    let is_over = |month: &&Month| month.end(&zone).is_some_and(|end| end <= as_of);
    Ok(match settled.months.iter().rev().find(is_over) {
        Some(month) => (
            *month,
            format!("month {month}: the last that is over and has data"),
        ),
        None => (
            *first,
            format!("month {first}: none is over yet, this is what there is so far"),
        ),
    })
}

/// Nothing later is used: the midnight that ends the month, or the latest row where that is earlier.
fn cutoff(study: &Study, settled: &Settled, month: Month) -> Result<Micros, Failure> {
    let end = month.end(&study.settings.zone());
    let last = settled.span.map(|(_, last)| last);
    end.zip(last)
        .map(|(end, last)| end.min(last))
        .ok_or_else(|| {
            Failure::Request("the dates of the data are out of the calendar's range".to_owned())
        })
}

/// What became of the rows, in words.
fn row_counts(settled: &Settled) -> Vec<(String, String, u64)> {
    let mut rows = Vec::new();
    for table in Table::ALL {
        let counts = settled.counts.get(&table).copied().unwrap_or_default();
        if table == Table::Judgements && counts.read == 0 {
            continue;
        }
        let mut step =
            |what: &str, count: u64| rows.push((what.to_owned(), table.folder().to_owned(), count));
        step("read from files", counts.read);
        step(
            "rejected, each with its reason in rejects.csv",
            counts.rejected,
        );
        step("dropped as exact duplicates", counts.duplicates);
        if table == Table::Readings {
            step(
                "set aside: their sensor has no valid insert",
                counts.without_insert,
            );
        }
        if counts.after_second_insert > 0 {
            step(
                "set aside: from a second insert of their sensor on",
                counts.after_second_insert,
            );
        }
        if counts.withdrawn > 0 {
            step("withdrawn or replaced by their sender", counts.withdrawn);
        }
        if counts.left_out > 0 {
            step("left out by corrections in study.toml", counts.left_out);
        }
        if counts.untaken > 0 {
            step(
                "left out by exports: of another kind, or without a time of their event",
                counts.untaken,
            );
        }
        step("accepted", counts.accepted);
    }
    rows
}
