//! The studies of a run: where they lie, what they are called among each other, and their rows brought together.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};
use whereworn_engine::Member;
use whereworn_findings::{DoubtedCheck, Finding, LeftOut, Outcome, Severity};
use whereworn_load::files::sha256;
use whereworn_load::{Computed, LoadError, LoadOptions, Settled, Store, Study, Table, load};
use whereworn_model::settings::Settings;
use whereworn_model::store::FOLDER;
use whereworn_model::table::{Cell, ResultTable};
use whereworn_model::tables::sessions;
use whereworn_model::time::Micros;
use whereworn_plan::log::LoggedDraw;

use crate::args::Scope;
use crate::failure::Failure;
use crate::findings;
use crate::kept::KeptResults;
use crate::month::holder;
use crate::plan::{self, DrawLog};
use crate::progress::Progress;
use crate::stop;

/// Before a file that lists studies.
const LIST: char = '@';

/// In the first study's store, the stores of the others.
const POOLED: &str = "pooled";

/// Whether a finding is on the sites of a study as a whole, which need not be so in several: figures of all say it themselves.
fn is_of_sites(kind: &str, severity: Severity) -> bool {
    match kind {
        "side-never-tried" | "site-confounded" => true,
        // Readings that do not move are doubtful, and a sensor's own.
        "thin" => severity == Severity::Thin,
        _ => false,
    }
}

const HEADER: &str = r#"
-- title = "The studies that are pooled"
-- row = "one study"
-- section = "quality"
-- order = 1
-- show = 30
-- note = "Rows of each study are judged by its own settings. Its wearers, sensors and meters bear its name."
-- [columns]
-- study = { label = "Study", class = "identifying" }
-- readings = { label = "Readings accepted", class = "count" }
-- fingersticks = { label = "Fingersticks accepted", class = "count" }
-- events = { label = "Events accepted", class = "count" }
-- unit = { label = "Unit", class = "category" }
-- timezone = { label = "Time zone", class = "identifying" }
-- rated_days = { label = "Rated days", class = "estimate", digits = 1 }
-- warmup_hours = { label = "Warm-up, hours", class = "estimate", digits = 1 }
-- pairing_minutes = { label = "Pairing, minutes", class = "estimate", digits = 1 }
-- night_from = { label = "Night from", class = "category" }
-- night_to = { label = "to", class = "category" }
-- night_coverage = { label = "Night coverage", class = "share" }
"#;

/// Fewest people of a public report on several studies.
const LEAST_PEOPLE: usize = 5;

/// Hexadecimal digits that tell folders and files of the same name apart.
const DIGITS: usize = 8;

/// A study among those of a run, loaded and settled.
pub struct Opened {
    /// What it is called among several; empty where it is alone.
    pub name: String,
    pub study: Study,
    store: Store,
    pub settled: Settled,
    plan_log: DrawLog,
    pub notes: Vec<String>,
    /// Number of its first sensor among those of all.
    first_sensor: i32,
}

/// Folders of studies with their names, in the order given; one without a list has no name.
pub fn places(first: &Path, more: &[PathBuf]) -> Result<Vec<(String, PathBuf)>, Failure> {
    let given = || std::iter::once(first).chain(more.iter().map(PathBuf::as_path));
    let mut folders: Vec<PathBuf> = Vec::new();
    let mut several = !more.is_empty();
    for path in given() {
        match list(path) {
            Some(list) => {
                several = true;
                folders.extend(listed(&list)?);
            }
            None => folders.push(path.to_owned()),
        }
    }
    if !several {
        let alone = folders.into_iter().map(|folder| (String::new(), folder));
        return Ok(alone.collect());
    }
    named(folders)
}

/// The file that lists studies, where a path names one.
fn list(path: &Path) -> Option<PathBuf> {
    let name = path.to_str()?.strip_prefix(LIST)?;
    (!path.is_dir()).then(|| PathBuf::from(name))
}

/// The folders in a list: one a line, `#` before a remark, relative to the list.
fn listed(list: &Path) -> Result<Vec<PathBuf>, Failure> {
    let text = std::fs::read_to_string(list).map_err(Failure::io(list, "reading the list"))?;
    let lines = text.lines().map(str::trim);
    let named = lines.filter(|line| !line.is_empty() && !line.starts_with('#'));
    let beside = list.parent().unwrap_or(Path::new(""));
    let folders: Vec<PathBuf> = named.map(|line| beside.join(line)).collect();
    if folders.is_empty() {
        return Err(Failure::Request(format!(
            "{}: names no study: write the folder of one on each line",
            list.display()
        )));
    }
    Ok(folders)
}

/// Gives each study the name of its folder; where two are called the same, the later ones are counted.
fn named(folders: Vec<PathBuf>) -> Result<Vec<(String, PathBuf)>, Failure> {
    let mut places: BTreeMap<PathBuf, PathBuf> = BTreeMap::new();
    let mut taken = BTreeSet::new();
    let mut studies = Vec::new();
    for folder in folders {
        // What is not there is said when it is opened.
        let place = std::fs::canonicalize(&folder).unwrap_or_else(|_| folder.clone());
        if let Some(other) = places.insert(place.clone(), folder.clone()) {
            return Err(Failure::Request(format!(
                "{} and {} are the same study: name it once",
                other.display(),
                folder.display()
            )));
        }
        let own = place.file_name().map_or("study".to_owned(), |name| {
            let name = name.to_string_lossy();
            name.replace(char::is_control, "_")
        });
        let counted = (2..).map(|n| format!("{own}-{n}"));
        let mut names = std::iter::once(own.clone()).chain(counted);
        let name = names.find(|name| taken.insert(name.clone()));
        studies.push((name.unwrap_or(own), folder));
    }
    Ok(studies)
}

/// Which studies bear another name than their folder's, in words.
pub fn renamed(places: &[(String, PathBuf)]) -> Option<String> {
    let other = |(name, folder): &&(String, PathBuf)| {
        let own = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.clone());
        !name.is_empty() && own.file_name().is_some_and(|own| own != name.as_str())
    };
    let words = places.iter().filter(other);
    let words: Vec<String> = words
        .map(|(name, folder)| format!("{} is called {name}", folder.display()))
        .collect();
    (!words.is_empty()).then(|| format!("studies of the same name: {}", words.join(", ")))
}

/// Opens, loads and settles all studies, sorted by what stands before their names: that is the order in which their sensors
/// are numbered, so that it does not matter in which order they were given.
pub fn open(
    places: &[(String, PathBuf)],
    scope: &Scope,
    as_of: Micros,
    progress: &Progress,
) -> Result<Vec<Opened>, Failure> {
    let pool = places
        .first()
        .map(|(_, first)| first.join(FOLDER).join(POOLED));
    let mut all = Vec::new();
    for (position, (name, folder)) in places.iter().enumerate() {
        let store = pool.as_ref().filter(|_| position > 0);
        let store = store.map(|pool| pool.join(folder_name(name, folder)));
        let opened = open_one(name, folder, store, (scope, as_of), progress);
        all.push(opened.map_err(|failure| of_study(name, failure))?);
    }
    all.sort_by_key(|study| study.prefix());
    let mut next = 0;
    for study in &mut all {
        study.first_sensor = next;
        next += study.settled.sensors.num_rows() as i32;
    }
    Ok(all)
}

/// A failure that names the study among several.
fn of_study(name: &str, failure: Failure) -> Failure {
    match name {
        "" => failure,
        name => Failure::OfStudy {
            study: name.to_owned(),
            source: Box::new(failure),
        },
    }
}

/// A folder's name that any file system and address can hold.
fn folder_name(name: &str, folder: &Path) -> String {
    let place = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.to_owned());
    let hash = sha256(place.as_os_str().as_encoded_bytes());
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '_' };
    let name: String = name.chars().map(plain).take(40).collect();
    format!("{name}-{}", hash.get(..DIGITS).unwrap_or(&hash))
}

/// Bytes for readings while they are loaded: half of what is allowed, in MiB; small tables and the look take the rest.
pub fn for_readings(memory: u32) -> usize {
    memory as usize * (1 << 20) / 2
}

fn open_one(
    name: &str,
    folder: &Path,
    store: Option<PathBuf>,
    (scope, as_of): (&Scope, Micros),
    progress: &Progress,
) -> Result<Opened, Failure> {
    let study = Study::open(folder)?;
    let options = LoadOptions {
        holder: holder(scope.wait),
        scratch: Some(stop::scratch),
        store,
        memory: Some(for_readings(scope.memory)),
    };
    let say = |file: &str| progress.say(&format!("reading {}{file}", prefix(name)));
    let (store, loaded) = load(&study, &options, &say)?;
    let settled = store.settle(&study, as_of)?;
    let plan_log = plan::read_log(&study.dir.join(plan::LOG))?;
    Ok(Opened {
        name: name.to_owned(),
        plan_log,
        notes: loaded.notes,
        // The rows of one study at a time are in memory, and while it is looked at.
        store: store.without_rows(),
        settled,
        study,
        first_sensor: 0,
    })
}

fn prefix(name: &str) -> String {
    match name {
        "" => String::new(),
        name => format!("{name}/"),
    }
}

impl Opened {
    /// What stands before the names of its wearers and sensors.
    pub fn prefix(&self) -> String {
        prefix(&self.name)
    }

    /// What the engine needs of it.
    pub fn member(&self) -> Member<'_> {
        Member {
            prefix: self.prefix(),
            settings: &self.study.settings,
            first_sensor: self.first_sensor,
            readings: self.settled.readings.clone(),
            readings_hash: self.store.hash_of_readings(),
        }
    }

    /// What a look at it finds: as an earlier run found it on the same rows under the same settings, else anew.
    fn look(
        &self,
        results: Option<&KeptResults>,
        (cutoff, month_start): (Micros, Micros),
    ) -> Result<Outcome, LoadError> {
        let (study, settled) = (&self.study, &self.settled);
        let made_from = format!(
            "look {} {cutoff} {month_start} {:?} {:?}",
            self.store.hash(),
            study.settings,
            settled.rejects
        );
        let look = || {
            let store = self.store.rows_again()?;
            findings::look(study, store, settled, cutoff, month_start)
        };
        match results {
            Some(results) => results.outcome(&made_from, look),
            None => look(),
        }
    }

    /// The results of queries that are kept beside its store.
    pub fn computed(&self) -> Computed {
        Computed::beside(&self.store, self.study.access())
    }

    /// Its draws, under its name.
    pub fn draws(&self) -> impl Iterator<Item = LoggedDraw> {
        self.plan_log.draws.iter().map(|draw| LoggedDraw {
            wearer: format!("{}{}", self.prefix(), draw.wearer),
            ..draw.clone()
        })
    }

    /// Bytes of its log of draws, and their SHA-256; `None` where there is no log.
    pub fn log_of_draws(&self) -> Option<&(usize, String)> {
        self.plan_log.file.as_ref()
    }

    /// A folder for what queries put aside, where the store has room for one.
    pub fn spill_folder(&self) -> Option<PathBuf> {
        let access = self.study.access();
        stop::until_the_end(|| self.store.spill_folder(std::process::id(), access)).ok()
    }

    /// What a reader should know of its store, settings and files.
    pub fn warnings(&self) -> Vec<String> {
        let words = self.notes.iter().chain(&self.study.warnings);
        let words = words.chain(&self.settled.warnings);
        words
            .map(|warning| format!("{}{warning}", self.prefix()))
            .collect()
    }
}

/// The rows of all, under their names: of several studies they lie together from now on, and with none of them.
pub fn rows(opened: &mut [Opened]) -> Result<Settled, Failure> {
    let mut named = Vec::new();
    for one in opened {
        if one.name.is_empty() {
            return Ok(one.settled.clone());
        }
        named.push(
            one.settled
                .take_tables()
                .named(&one.name, one.first_sensor)?,
        );
    }
    Settled::joined(named)?.ok_or_else(|| Failure::Request("no study is named".to_owned()))
}

/// What holds for the report as a whole: the first study's settings, with the sites and wearers of all. And in words where
/// studies disagree on a site.
pub fn settings(first: &Settings, opened: &[Opened]) -> (Settings, Vec<String>) {
    let mut pooled = first.clone();
    let mut warnings = Vec::new();
    pooled.wearers.clear();
    for one in opened {
        let own = &one.study.settings;
        for (name, wearer) in &own.wearers {
            pooled
                .wearers
                .insert(format!("{}{name}", one.prefix()), wearer.clone());
        }
        for (key, site) in &own.sites {
            let known = pooled
                .sites
                .entry(key.clone())
                .or_insert_with(|| site.clone());
            known.on_label = known.on_label.or(site.on_label);
            if site.on_label.is_some() && known.on_label != site.on_label {
                warnings.push(format!(
                    "{}: whether {key} is on the device's label is told otherwise in another study: the report says {}",
                    one.name,
                    if known.on_label == Some(true) { "it is" } else { "it is not" }
                ));
            }
        }
    }
    (pooled, warnings)
}

/// The file that keeps what reports on these studies together said of the evidence: another pool is another analysis.
pub fn evidence_file(opened: &[Opened]) -> String {
    let names: Vec<&str> = opened.iter().map(|one| one.name.as_str()).collect();
    let hash = sha256(names.join("\n").as_bytes());
    format!(
        "evidence-pooled-{}.csv",
        hash.get(..DIGITS).unwrap_or(&hash)
    )
}

/// Looks at each study by itself up to a cut-off; what begins from the start of the month on is new.
pub fn look(
    opened: &[Opened],
    results: Option<&KeptResults>,
    (cutoff, month_start): (Micros, Micros),
) -> Result<Outcome, Failure> {
    let mut all = Outcome::default();
    for one in opened {
        let prefix = one.prefix();
        let found = one.look(results, (cutoff, month_start));
        let found = found.map_err(|error| of_study(&one.name, error.into()))?;
        if prefix.is_empty() {
            return Ok(found);
        }
        let named = |text: String| match text.is_empty() {
            true => text,
            false => format!("{prefix}{text}"),
        };
        let own = found.findings.into_iter();
        let own = own.filter(|finding| !is_of_sites(finding.kind, finding.severity));
        all.findings.extend(own.map(|finding| Finding {
            wearer: named(finding.wearer),
            sensor: named(finding.sensor),
            meter: both(&finding.meter, named),
            file: named(finding.file),
            text: format!("{}: {}", one.name, finding.text),
            ..finding
        }));
        all.left_out
            .extend(found.left_out.into_iter().map(|out| LeftOut {
                wearer: named(out.wearer),
                sensor: named(out.sensor),
                ..out
            }));
        all.doubted
            .extend(found.doubted.into_iter().map(|check| DoubtedCheck {
                wearer: named(check.wearer),
                ..check
            }));
    }
    all.findings.sort_by_key(|finding| finding.severity);
    Ok(all)
}

/// Two meters of a finding are joined.
fn both(meters: &str, named: impl Fn(String) -> String) -> String {
    let meters: Vec<String> = meters
        .split(" + ")
        .map(|meter| named(meter.to_owned()))
        .collect();
    meters.join(" + ")
}

/// The studies that are pooled, as a table: what each brings, and the settings in which they may differ. `None` where one
/// stands alone.
pub fn table(opened: &[Opened]) -> Option<ResultTable> {
    if opened.iter().all(|one| one.name.is_empty()) {
        return None;
    }
    let column = |of: &dyn Fn(&Opened) -> Cell| -> Vec<Cell> { opened.iter().map(of).collect() };
    let text = |text: &str| Cell::text(text);
    let accepted = |one: &Opened, table: Table| {
        let counts = one.settled.counts.get(&table);
        Cell::Integer(counts.map_or(0, |counts| counts.accepted as i64))
    };
    let settings = |of: fn(&Settings) -> Cell| move |one: &Opened| of(&one.study.settings);
    Some(findings::table(
        "pooled_studies",
        HEADER,
        vec![
            ("study", column(&|one| text(&one.name))),
            ("readings", column(&|one| accepted(one, Table::Readings))),
            (
                "fingersticks",
                column(&|one| accepted(one, Table::Fingersticks)),
            ),
            ("events", column(&|one| accepted(one, Table::WearEvents))),
            ("unit", column(&settings(|of| Cell::text(of.unit().code())))),
            (
                "timezone",
                column(&settings(|of| {
                    Cell::text(of.study.timezone.as_deref().unwrap_or("UTC"))
                })),
            ),
            (
                "rated_days",
                column(&settings(|of| Cell::number(of.wear.rated_days))),
            ),
            (
                "warmup_hours",
                column(&settings(|of| Cell::number(of.wear.warmup_hours))),
            ),
            (
                "pairing_minutes",
                column(&settings(|of| Cell::number(of.pairing.minutes))),
            ),
            (
                "night_from",
                column(&settings(|of| Cell::text(&*of.night.from))),
            ),
            (
                "night_to",
                column(&settings(|of| Cell::text(&*of.night.to))),
            ),
            (
                "night_coverage",
                column(&settings(|of| Cell::number(of.night.coverage))),
            ),
        ],
    ))
}

/// Whoever wore a sensor.
pub fn wearers(tables: &[ResultTable]) -> BTreeSet<&str> {
    let sessions = tables.iter().find(|table| table.name == sessions::NAME);
    let column = sessions.and_then(|table| table.column(sessions::column::WEARER));
    let cells = column.map_or(&[] as &[Cell], |column| &column.cells);
    cells.iter().filter_map(Cell::as_text).collect()
}

/// Refuses a public report on the people of several studies where these are so few that each could find the others in it.
pub fn large_enough(tables: &[ResultTable]) -> Result<(), Failure> {
    let people = wearers(tables);
    if people.len() >= LEAST_PEOPLE {
        return Ok(());
    }
    Err(Failure::Request(format!(
        "a public report on several studies takes {LEAST_PEOPLE} wearers, so that nobody in it is known by the others: here are {}; add studies, or make one on each",
        people.len()
    )))
}

/// Name and settings of each study that is pooled, for `run.json`; nothing where one stands alone.
pub fn as_json(opened: &[Opened]) -> Map<String, Value> {
    let pooled = opened.iter().filter(|one| !one.name.is_empty());
    pooled
        .map(|one| (one.name.clone(), json!(one.study.settings)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_of_one_studys_sites_is_not_said_of_several() {
        assert!(is_of_sites("thin", Severity::Thin));
        assert!(is_of_sites("side-never-tried", Severity::Thin));
        assert!(is_of_sites("site-confounded", Severity::Doubtful));
        assert!(!is_of_sites("thin", Severity::Doubtful));
        assert!(!is_of_sites("unit", Severity::Wrong));
    }

    #[test]
    fn studies_of_one_name_are_counted() {
        let folders = ["x/kelp", "y/kelp", "kelp-2", "z/kelp"].map(PathBuf::from);
        let names = named(folders.to_vec()).unwrap();
        let names: Vec<&str> = names.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["kelp", "kelp-2", "kelp-2-2", "kelp-3"]);
        assert!(named(vec!["a/b".into(), "a/b".into()]).is_err());
    }
}
