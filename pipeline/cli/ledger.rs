//! Corrections: what changed since the copy of a report that stands in its place, and which copies are kept.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde_json::Value;
use whereworn_load::files::{read_if_there, sha256};
use whereworn_model::table::ResultTable;
use whereworn_model::time::Month;
use whereworn_report::{Change, EarlierCopy, Edition, Report};

use crate::again::{differing, inputs, members};
use crate::failure::Failure;

/// Tables whose rows are single sensors, pairs and nights, each with the columns that name a row.
const ROWS: [(&str, &[&str]); 4] = [
    ("sessions", &["wearer", "sensor"]),
    ("pairs", &["wearer", "sensor", "fingerstick_time"]),
    ("night_artefacts", &["wearer", "sensor", "start"]),
    (
        "unpaired_fingersticks",
        &["wearer", "fingerstick_time", "sensor"],
    ),
];

/// Columns that number rows: another number is no other row.
const NUMBERS: [&str; 3] = ["sensor_no", "fingerstick_no", "order_of_wear"];

/// The report that stands where one is being written.
pub struct Before {
    run: Value,
    markdown: String,
    html: String,
    /// Tables of single rows, as CSV.
    tables: BTreeMap<&'static str, Vec<u8>>,
    /// Copies that were kept before, and their pages.
    copies: Vec<EarlierCopy>,
    pages: Vec<(String, String)>,
    /// The name for the next copy.
    next: String,
}

impl Before {
    /// Reads the report of the same month, edition and wearer in a folder; `None` where there is none that can be read whole. A
    /// public report keeps no copy: what it once showed may be why it is made again.
    ///
    /// # Errors
    /// A file that is there and cannot be read: the report in its place would neither keep it nor tell what changed.
    pub fn read(
        folder: &Path,
        (month, edition, wearer): (Month, Edition, Option<&str>),
    ) -> Result<Option<Self>, Failure> {
        let [run, markdown, html] =
            ["run.json", "report.md", "report.html"].map(|name| text(folder, name));
        let (Some(run), Some(markdown), Some(html)) = (run?, markdown?, html?) else {
            return Ok(None);
        };
        let Ok(run) = serde_json::from_str::<Value>(&run) else {
            return Ok(None);
        };
        let is = |key: &str, value: &str| run.get(key).and_then(Value::as_str) == Some(value);
        let same = is("month", &month.to_string())
            && is("edition", edition.name())
            && run.get("wearer").and_then(Value::as_str) == wearer;
        if !same || edition == Edition::Public {
            return Ok(None);
        }
        let copies: Vec<EarlierCopy> = run
            .get("earlier_copies")
            .and_then(|copies| serde_json::from_value(copies.clone()).ok())
            .unwrap_or_default();
        let mut pages = Vec::new();
        for copy in &copies {
            pages.extend(text(folder, &copy.file)?.map(|page| (copy.file.clone(), page)));
        }
        let mut tables = BTreeMap::new();
        for (name, _) in ROWS {
            let table = bytes(&folder.join(format!("tables/{name}.csv")))?;
            tables.extend(table.map(|table| (name, table)));
        }
        let free = (1..).find(|number| !folder.join(copy_name(*number)).exists());
        Ok(free.map(|free| Self {
            markdown,
            html,
            tables,
            copies,
            pages,
            next: copy_name(free),
            run,
        }))
    }

    /// Copies that the new report names; with a further one where its tables are others than before.
    pub fn copies(&self, report: &Report, now: &Value) -> Result<Vec<EarlierCopy>, Failure> {
        let mut copies = self.copies.clone();
        if self.differs(report)? {
            copies.push(EarlierCopy {
                file: self.next.clone(),
                changes: self.changes(report, now)?,
            });
        }
        Ok(copies)
    }

    /// The page to keep, with its name, where the new report names it.
    pub fn kept(&self, copies: &[EarlierCopy]) -> Option<(&str, &str)> {
        let kept = copies.iter().any(|copy| copy.file == self.next);
        kept.then_some((self.next.as_str(), self.html.as_str()))
    }

    /// Pages of copies that were kept before.
    pub fn pages(&self) -> &[(String, String)] {
        &self.pages
    }

    /// Whether any table of the program's own is another than before: a question that somebody adds changes no row.
    fn differs(&self, report: &Report) -> Result<bool, Failure> {
        let files = self.run.get("files").and_then(Value::as_object);
        let Some(files) = files else {
            return Ok(true);
        };
        for table in report.tables.iter().filter(|table| !table.own_query) {
            let then = files.get(&format!("tables/{}.csv", table.name));
            if then.and_then(Value::as_str) != Some(&sha256(&csv_of(table)?)) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn changes(&self, report: &Report, now: &Value) -> Result<Vec<Change>, Failure> {
        let (then_said, now_said) = (points(&self.markdown), points(&report.markdown));
        let only = |these: &[String], those: &[String]| -> Vec<String> {
            let new = these.iter().filter(|one| !those.contains(one));
            new.cloned().collect()
        };
        let mut changes: Vec<Change> = only(&then_said, &now_said)
            .into_iter()
            .map(|sentence| Change::NoLonger { sentence })
            .collect();
        let said = only(&now_said, &then_said).into_iter();
        changes.extend(said.map(|sentence| Change::Said { sentence }));
        for (name, key) in ROWS {
            let table = report.tables.iter().find(|table| table.name == name);
            if let (Some(then), Some(table)) = (self.tables.get(name), table) {
                changes.extend(rows(name, key, then, &csv_of(table)?));
            }
        }
        changes.extend(input_changes(&self.run, now));
        changes.extend(settings(&self.run, now));
        let version = |run: &Value| {
            run.get("version")
                .and_then(Value::as_str)
                .map(str::to_owned)
        };
        if let (Some(then), Some(now)) = (version(&self.run), version(now))
            && then != now
        {
            changes.push(Change::Version { then, now });
        }
        Ok(changes)
    }
}

fn bytes(path: &Path) -> Result<Option<Vec<u8>>, Failure> {
    read_if_there(path).map_err(Failure::io(path, "reading"))
}

/// The text of a file in a folder; `None` where there is none in UTF-8.
fn text(folder: &Path, name: &str) -> Result<Option<String>, Failure> {
    let bytes = bytes(&folder.join(name))?;
    Ok(bytes.and_then(|bytes| String::from_utf8(bytes).ok()))
}

fn copy_name(number: usize) -> String {
    format!("report-{number}.html")
}

fn csv_of(table: &ResultTable) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let name = format!("tables/{}.csv", table.name);
    table
        .write_csv(&mut bytes)
        .map_err(Failure::io(Path::new(&name), "writing"))?;
    Ok(bytes)
}

/// What page one says: the points of the first list of a report in Markdown, sentence by sentence, each with its lead-in.
fn points(markdown: &str) -> Vec<String> {
    let mut said = Vec::new();
    let lines = markdown.lines().skip_while(|line| !line.starts_with("- "));
    for line in lines.take_while(|line| line.starts_with("- ")) {
        let line = line
            .trim_start_matches("- ")
            .replace("**", "")
            .replace('\\', "");
        let (lead, rest) = line.split_once(": ").unwrap_or(("", &line));
        let parts = rest.split("; ").filter(|part| !is_count(part));
        said.extend(parts.map(|part| {
            let part = part.trim_end_matches('.');
            match lead {
                "" => part.to_owned(),
                lead => format!("{lead}: {part}"),
            }
        }));
    }
    said
}

/// Whether a part of a point only counts what is not shown: "and 3 more in the annex".
fn is_count(part: &str) -> bool {
    let second = part.split(' ').nth(1);
    second.is_some_and(|word| word.parse::<u32>().is_ok())
}

/// The site of a row, and its cells by column.
type SiteRow = (String, Vec<(String, String)>);

/// Rows of a table by what names them; the site of each, and its cells without numbers of rows.
fn by_key(bytes: &[u8], key: &[&str]) -> BTreeMap<Vec<String>, SiteRow> {
    let mut reader = csv::Reader::from_reader(bytes);
    let header = reader.headers().cloned().unwrap_or_default();
    let records = reader.records().flatten();
    records
        .map(|record| {
            let cell = |name: &str| {
                let place = header.iter().position(|column| column == name);
                place
                    .and_then(|place| record.get(place))
                    .unwrap_or("")
                    .to_owned()
            };
            let named = header.iter().zip(record.iter());
            let cells = named
                .filter(|(name, _)| !NUMBERS.contains(name))
                .map(|(name, cell)| (name.to_owned(), cell.to_owned()));
            (
                key.iter().map(|name| cell(name)).collect(),
                (cell("site"), cells.collect()),
            )
        })
        .collect()
}

/// How many rows of a table were added, changed and went, by site. Columns that only one of the two has are left aside.
fn rows(table: &str, key: &[&str], then: &[u8], now: &[u8]) -> Vec<Change> {
    let (then, now) = (by_key(then, key), by_key(now, key));
    let mut counts: BTreeMap<&str, (usize, usize, usize)> = BTreeMap::new();
    let keys: BTreeSet<_> = then.keys().chain(now.keys()).collect();
    for key in keys {
        match (then.get(key), now.get(key)) {
            (None, Some((site, _))) => counts.entry(site).or_default().0 += 1,
            (Some((site, _)), None) => counts.entry(site).or_default().2 += 1,
            (Some((_, before)), Some((site, after))) => {
                let before: BTreeMap<&str, &str> = before
                    .iter()
                    .map(|(name, cell)| (&**name, &**cell))
                    .collect();
                let other = after
                    .iter()
                    .any(|(name, cell)| before.get(&**name).is_some_and(|then| then != cell));
                counts.entry(site).or_default().1 += usize::from(other);
            }
            (None, None) => {}
        }
    }
    counts
        .into_iter()
        .filter(|(_, (added, changed, gone))| added + changed + gone > 0)
        .map(|(site, (added, changed, gone))| Change::Rows {
            table: table.to_owned(),
            site: site.to_owned(),
            added,
            changed,
            gone,
        })
        .collect()
}

/// Raw files that differ.
fn input_changes(then: &Value, now: &Value) -> Vec<Change> {
    let rows = [then, now].map(|run| inputs(run, "rows"));
    let [then, now] = [then, now].map(|run| inputs(run, "sha256"));
    let change = |file: &String| {
        let count = |rows: &BTreeMap<String, Value>| rows.get(file).and_then(Value::as_u64);
        let [then, now] = [count(&rows[0]), count(&rows[1])];
        Change::Input {
            file: file.clone(),
            then,
            now,
        }
    };
    differing(&then, &now).map(change).collect()
}

/// Sections of the settings that differ.
fn settings(then: &Value, now: &Value) -> Option<Change> {
    let [then, now] = [then, now].map(|run| members(run.get("settings")));
    let names: Vec<&str> = differing(&then, &now).map(String::as_str).collect();
    (!names.is_empty()).then(|| Change::Settings {
        names: names.join(", "),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_of_page_one() {
        let markdown = "# A\n\nText.\n\n- **Differs**: One reads closer, by \\+2.0; and 1 more in the annex.\n- **Open**: Two.\n\nText\n- no\n";
        assert_eq!(
            points(markdown),
            ["Differs: One reads closer, by +2.0", "Open: Two"]
        );
    }

    #[test]
    fn rows_added_changed_and_gone_by_site() {
        let then =
            b"wearer,sensor,site,days,sensor_no\nk,a,calf,3,0\nk,b,calf,4,1\nk,c,chest,5,2\n";
        let now =
            b"wearer,sensor,site,days,sensor_no\nk,b,calf,4.5,0\nk,c,chest,5,1\nk,d,chest,6,2\n";
        let row = |site: &str, added, changed, gone| Change::Rows {
            table: "sessions".to_owned(),
            site: site.to_owned(),
            added,
            changed,
            gone,
        };
        assert_eq!(
            rows("sessions", &["wearer", "sensor"], then, now),
            [row("calf", 0, 1, 1), row("chest", 1, 0, 0)]
        );
        assert_eq!(rows("sessions", &["wearer", "sensor"], then, then), []);
    }

    /// What of the report before cannot be read would not be kept, and its changes would not be told.
    #[test]
    fn a_report_before_that_cannot_be_read_is_no_missing_one() {
        let folder = tempfile::tempdir().unwrap();
        let month = Month::parse("2026-03").unwrap();
        let read = || Before::read(folder.path(), (month, Edition::Clinician, None));
        assert!(read().unwrap().is_none());
        let run = r#"{"month": "2026-03", "edition": "clinician"}"#;
        for (name, text) in [
            ("run.json", run),
            ("report.md", "# A"),
            ("report.html", "A"),
        ] {
            std::fs::write(folder.path().join(name), text).unwrap();
        }
        assert!(read().unwrap().is_some());
        std::fs::create_dir_all(folder.path().join("tables/pairs.csv")).unwrap();
        let failure = read().err().unwrap().to_string();
        assert!(failure.contains("pairs.csv: reading"), "{failure}");
    }
}
