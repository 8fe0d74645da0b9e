//! `evidence.csv` beside `study.toml`: what each report said of the evidence between sites. It is not built from
//! anything, so it is only added to, each line carries a checksum, and a damaged line is named and never used.

use std::fs;
use std::io::ErrorKind;
use std::path::PathBuf;

use whereworn_model::store::FOLDER;
use whereworn_model::time::{Micros, format_utc, parse_instant};

use crate::error::LoadError;
use crate::files;
use crate::store::Holder;
use crate::study::Study;

/// The file of a study.
pub(crate) const FILE: &str = "evidence.csv";

const HEADER: &str = "look,measure,site,against,evidence,verdict,version,plan_hash,checksum";

/// Columns before the checksum.
const FIELDS: usize = 8;

/// Hexadecimal digits of the checksum, the first of a line's SHA-256.
const CHECKSUM_DIGITS: usize = 16;

/// Damaged lines that are named one by one.
const NAMED: usize = 5;

/// Two values of evidence that differ by less are the same statement.
const SAME: f64 = 1e-9;

/// What a report said of two sites.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    /// Cut-off of the report, microseconds UTC.
    pub look: Micros,
    /// What was compared.
    pub measure: String,
    /// One site.
    pub site: String,
    /// The other.
    pub against: String,
    /// Capital of a bet against "no difference", from 0.
    pub evidence: f64,
    /// What was concluded; empty for reports made before conclusions had names.
    pub verdict: String,
    /// Version of the program.
    pub version: String,
    /// Hash of the plan; empty where there was none.
    pub plan_hash: String,
}

/// All that was said.
#[derive(Debug, Default)]
pub struct Evidence {
    /// In the order in which it was said.
    pub said: Vec<Said>,
    /// Lines that cannot be used, in words.
    pub warnings: Vec<String>,
    /// The file as it is.
    bytes: Vec<u8>,
    /// An older place of the file, from which the rows were taken over.
    old: Option<PathBuf>,
}

impl Said {
    fn subject(&self) -> (Micros, &str, &str, &str) {
        (self.look, &self.measure, &self.site, &self.against)
    }

    fn same(&self, other: &Self) -> bool {
        self.verdict == other.verdict
            && (self.evidence - other.evidence).abs() <= SAME * self.evidence.abs()
    }

    fn line(&self) -> Result<String, csv::Error> {
        let evidence = self.evidence.to_string();
        let look = format_utc(self.look);
        let fields = [
            &look,
            &self.measure,
            &self.site,
            &self.against,
            &evidence,
            &self.verdict,
            &self.version,
            &self.plan_hash,
        ];
        let mut out = csv::Writer::from_writer(Vec::new());
        // A line of the file is a line of text.
        out.write_record(fields.map(|field| field.replace(char::is_control, " ")))?;
        let bytes = out.into_inner().map_err(|error| error.into_error())?;
        let text = String::from_utf8_lossy(&bytes);
        let text = text.trim_end();
        Ok(format!("{text},{}\n", checksum(text)))
    }

    fn parse(line: &[u8]) -> Option<Self> {
        let line = std::str::from_utf8(line).ok()?;
        let (text, sum) = line.rsplit_once(',')?;
        if checksum(text) != sum {
            return None;
        }
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(text.as_bytes());
        let record = reader.records().next()?.ok()?;
        let own = |index: usize| record.get(index).map(str::to_owned);
        let evidence: f64 = record.get(4)?.parse().ok()?;
        if record.len() != FIELDS || !(evidence.is_finite() && evidence >= 0.0) {
            return None;
        }
        Some(Self {
            look: parse_instant(record.get(0)?)?,
            measure: own(1)?,
            site: own(2)?,
            against: own(3)?,
            evidence,
            verdict: own(5)?,
            version: own(6)?,
            plan_hash: own(7)?,
        })
    }
}

fn checksum(text: &str) -> String {
    let mut sum = files::sha256(text.as_bytes());
    sum.truncate(CHECKSUM_DIGITS);
    sum
}

impl Evidence {
    /// Reads what was said; nothing where there is no file.
    ///
    /// # Errors
    /// The file cannot be read, or is there and empty.
    pub fn read(study: &Study) -> Result<Self, LoadError> {
        let path = study.dir.join(&study.evidence);
        match fs::read(&path) {
            Ok(bytes) if bytes.is_empty() => Err(LoadError::Study(format!(
                "{}: the file is empty, so what earlier reports said is lost: restore it from a backup; where no report was ever made, move it elsewhere",
                path.display()
            ))),
            Ok(bytes) => Ok(Self::parse(bytes)),
            Err(error) if error.kind() == ErrorKind::NotFound && study.evidence != FILE => {
                Ok(Self::default())
            }
            Err(error) if error.kind() == ErrorKind::NotFound => Self::read_old(study),
            Err(error) => Err(LoadError::io(&path, "reading")(error)),
        }
    }

    fn parse(bytes: Vec<u8>) -> Self {
        let mut said = Vec::new();
        let mut damaged = Vec::new();
        for (number, line) in (1..).zip(bytes.split(|byte| *byte == b'\n')) {
            let line = line.trim_ascii_end();
            if (number == 1 && line == HEADER.as_bytes()) || (number > 1 && line.is_empty()) {
                continue;
            }
            match Said::parse(line) {
                Some(row) => said.push(row),
                None => damaged.push(number),
            }
        }
        Self {
            said,
            warnings: named(FILE, &damaged),
            bytes,
            old: None,
        }
    }

    /// What programs before this one kept in the store: look, measure, two sites, logarithm of the evidence.
    fn read_old(study: &Study) -> Result<Self, LoadError> {
        let path = study.dir.join(FOLDER).join(FILE);
        let bytes = files::read_if_there(&path).map_err(LoadError::io(&path, "reading"))?;
        let Some(bytes) = bytes else {
            return Ok(Self::default());
        };
        let mut old = Self::default();
        let mut damaged = Vec::new();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        for (number, record) in (2..).zip(reader.records()) {
            let row = record.ok().and_then(|record| {
                let log_e: f64 = record.get(4)?.parse().ok()?;
                Some(Said {
                    look: parse_instant(record.get(0)?)?,
                    measure: record.get(1)?.to_owned(),
                    site: record.get(2)?.to_owned(),
                    against: record.get(3)?.to_owned(),
                    evidence: log_e.exp(),
                    ..Said::default()
                })
            });
            match row.filter(|row| row.evidence.is_finite()) {
                Some(row) => old.said.push(row),
                None => damaged.push(number),
            }
        }
        old.warnings = named(&format!("{FOLDER}/{FILE}"), &damaged);
        old.bytes = format!("{HEADER}\n").into_bytes();
        for row in &old.said {
            old.bytes
                .extend(row.line().map_err(LoadError::store(&path))?.bytes());
        }
        old.old = Some(path);
        Ok(old)
    }

    /// Adds what a report says, synced before this returns. What was said last of a look, measure and pair of sites
    /// is not said again.
    ///
    /// # Errors
    /// The file cannot be read or written; it is then as it was.
    pub fn append(study: &Study, holder: &Holder, rows: &[Said]) -> Result<(), LoadError> {
        if !Self::read(study)?.lacks(rows) {
            return Ok(());
        }
        let _lock = study.lock_kept(holder)?;
        // Another run may have added to it.
        let known = Self::read(study)?;
        let new: Vec<&Said> = rows.iter().filter(|row| known.is_new(row)).collect();
        let mut bytes = known.bytes;
        if bytes.is_empty() {
            bytes.extend(HEADER.bytes());
        }
        // Damaged lines stay as they are, for whoever wants to mend them.
        if bytes.last() != Some(&b'\n') {
            bytes.push(b'\n');
        }
        let path = study.dir.join(&study.evidence);
        for row in new {
            bytes.extend(row.line().map_err(LoadError::store(&path))?.bytes());
        }
        files::replace(&path, &bytes, study.access()).map_err(LoadError::io(&path, "writing"))?;
        if let Some(old) = known.old {
            // Left behind it does no harm: it is not looked at where the new one is.
            let _ = fs::remove_file(old);
        }
        Ok(())
    }

    fn lacks(&self, rows: &[Said]) -> bool {
        self.old.is_some() || rows.iter().any(|row| self.is_new(row))
    }

    fn is_new(&self, row: &Said) -> bool {
        let last = self
            .said
            .iter()
            .rev()
            .find(|said| said.subject() == row.subject());
        !last.is_some_and(|last| last.same(row))
    }
}

/// A warning for each of the first damaged lines of a file, and one for the others.
fn named(file: &str, lines: &[usize]) -> Vec<String> {
    let what = "not used; restore the file from a backup, what is said there cannot be made again";
    let each = |line: &usize| format!("{file}, line {line}: damaged, {what}");
    let mut warnings: Vec<String> = lines.iter().take(NAMED).map(each).collect();
    let more = lines.len().saturating_sub(NAMED);
    if more > 0 {
        warnings.push(format!("{file}: {more} more lines are damaged, {what}"));
    }
    warnings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(look: Micros, evidence: f64) -> Said {
        Said {
            look,
            measure: "stays-on".to_owned(),
            site: "calf, \"left\"".to_owned(),
            against: "others".to_owned(),
            evidence,
            verdict: "open".to_owned(),
            version: "0.1.0".to_owned(),
            plan_hash: String::new(),
        }
    }

    fn study() -> (tempfile::TempDir, Study) {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("readings")).unwrap();
        fs::write(
            folder.path().join("readings/r.csv"),
            "sensor,time,glucose\n",
        )
        .unwrap();
        fs::write(
            folder.path().join("study.toml"),
            "[study]\ntimezone = \"UTC\"\nunit = \"mg/dL\"\n",
        )
        .unwrap();
        let study = Study::open(folder.path()).unwrap();
        (folder, study)
    }

    #[test]
    fn what_was_said_is_read_back_and_said_once() {
        let (_folder, study) = study();
        let holder = Holder::default();
        assert!(Evidence::read(&study).unwrap().said.is_empty());
        Evidence::append(&study, &holder, &[said(0, 0.1 + 0.2), said(1, 20.0)]).unwrap();
        Evidence::append(&study, &holder, &[said(1, 20.0), said(2, 1.0)]).unwrap();
        // Another value at a look that was reported before is a second statement, not a correction of the first.
        Evidence::append(&study, &holder, &[said(1, 21.0)]).unwrap();
        let all = Evidence::read(&study).unwrap();
        assert_eq!(
            all.said,
            [
                said(0, 0.1 + 0.2),
                said(1, 20.0),
                said(2, 1.0),
                said(1, 21.0)
            ]
        );
        assert_eq!(all.warnings, [""; 0]);
    }

    /// Every single bit of the file: a row comes back as it was written or is named as damaged.
    #[test]
    fn no_flipped_bit_is_evidence() {
        let (_folder, study) = study();
        let rows = [said(0, 3.5), said(1, 20.0), said(2, 0.25)];
        Evidence::append(&study, &Holder::default(), &rows).unwrap();
        let path = study.dir.join(&study.evidence);
        let bytes = fs::read(&path).unwrap();
        for (at, bit) in (0..bytes.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))) {
            let mut flipped = bytes.clone();
            flipped[at] ^= 1 << bit;
            let read = Evidence::parse(flipped);
            assert!(
                read.said.iter().all(|row| rows.contains(row)),
                "byte {at}, bit {bit}"
            );
            let lost = rows.len() - read.said.len();
            assert!(
                lost == 0 || !read.warnings.is_empty(),
                "byte {at}, bit {bit}"
            );
        }
    }

    #[test]
    fn damaged_lines_stay_and_are_named() {
        let (_folder, study) = study();
        Evidence::append(&study, &Holder::default(), &[said(0, 3.5), said(1, 20.0)]).unwrap();
        let path = study.dir.join(&study.evidence);
        let text = fs::read_to_string(&path).unwrap().replace("3.5", "4.5");
        fs::write(&path, text.trim_end()).unwrap();
        Evidence::append(&study, &Holder::default(), &[said(2, 1.0)]).unwrap();
        let all = Evidence::read(&study).unwrap();
        assert_eq!(all.said, [said(1, 20.0), said(2, 1.0)]);
        assert!(
            all.warnings[0].starts_with("evidence.csv, line 2: damaged"),
            "{:?}",
            all.warnings
        );
        fs::write(&path, "").unwrap();
        let empty = Evidence::read(&study).err().unwrap().to_string();
        assert!(
            empty.contains("empty") && !empty.contains("delete"),
            "{empty}"
        );
    }

    #[test]
    fn the_file_of_older_programs_is_taken_over_once() {
        let (folder, mut study) = study();
        let old = folder.path().join(".whereworn");
        fs::create_dir(&old).unwrap();
        let text = "look,measure,site_a,site_b,log_e\n1970-01-01T00:00:00Z,nights,calf,chest,0.0\n";
        fs::write(old.join(FILE), text).unwrap();
        let read = Evidence::read(&study).unwrap();
        let wanted = Said {
            measure: "nights".to_owned(),
            site: "calf".to_owned(),
            against: "chest".to_owned(),
            evidence: 1.0,
            ..Said::default()
        };
        assert_eq!(read.said, [wanted]);
        // It is of this study alone, not of what several said together.
        study.evidence = "evidence-of-all.csv".into();
        assert!(Evidence::read(&study).unwrap().said.is_empty());
        study.evidence = FILE.into();
        Evidence::append(&study, &Holder::default(), &[]).unwrap();
        assert!(!old.join(FILE).exists());
        assert_eq!(Evidence::read(&study).unwrap().said, read.said);
    }
}
