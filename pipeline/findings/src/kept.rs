//! An outcome as bytes, to be kept between runs.

use serde::{Deserialize, Serialize};
use whereworn_model::settings::FINDING_KINDS;
use whereworn_model::time::Micros;

use crate::finding::{
    ChecksOut, DoubtedCheck, Finding, LeftOut, OF_ALL, OF_CLOCKS, OF_GLUCOSE, OF_NIGHTS, OF_PAIRS,
    OF_WEAR, Severity,
};
use crate::look::Outcome;

const SEVERITIES: [Severity; 3] = [Severity::Wrong, Severity::Doubtful, Severity::Thin];

const UNITS: [&str; 11] = [
    "", "fraction", "min", "nights", "inserts", "days", "rows", "sensors", "mg/dL", "mmol/L",
    "pairs",
];

const TOUCHES: [&[&str]; 7] = [
    &[],
    OF_ALL,
    OF_CLOCKS,
    OF_GLUCOSE,
    OF_NIGHTS,
    OF_PAIRS,
    OF_WEAR,
];

/// A finding whose words own their letters; a size is kept bit by bit.
#[derive(Serialize, Deserialize)]
struct Row {
    kind: String,
    severity: String,
    names: [String; 5],
    sensors: Vec<String>,
    line: Option<u64>,
    from: Option<Micros>,
    to: Option<Micros>,
    size: Option<u64>,
    unit: String,
    words: [String; 3],
    touches: Vec<String>,
    leaves_out: bool,
    leaves_out_checks: ChecksOut,
    seen: bool,
    new: bool,
}

/// Wearer, time, the bits of the glucose and the reason of a fingerstick.
type Doubted = (String, Micros, u64, String);

impl Outcome {
    /// The outcome as bytes; `None` where it could not be read back as it is.
    pub fn to_bytes(&self) -> Option<Vec<u8>> {
        let rows: Vec<Row> = self.findings.iter().map(row).collect();
        let left_out: Vec<[&str; 3]> = self
            .left_out
            .iter()
            .map(|out| [out.wearer.as_str(), &out.sensor, out.reason])
            .collect();
        let doubted: Vec<Doubted> = self.doubted.iter().map(doubted).collect();
        let bytes = serde_json::to_vec(&(rows, left_out, doubted)).ok()?;
        (Self::from_bytes(&bytes).as_ref() == Some(self)).then_some(bytes)
    }

    /// What [`Self::to_bytes`] made bytes of; `None` of other bytes.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (rows, left_out, doubted): (Vec<Row>, Vec<[String; 3]>, Vec<Doubted>) =
            serde_json::from_slice(bytes).ok()?;
        let left_out = left_out.into_iter().map(|[wearer, sensor, reason]| {
            let reason = known(&FINDING_KINDS, &reason)?;
            Some(LeftOut {
                wearer,
                sensor,
                reason,
            })
        });
        Some(Self {
            findings: rows.into_iter().map(finding).collect::<Option<_>>()?,
            left_out: left_out.collect::<Option<_>>()?,
            doubted: doubted.into_iter().map(check).collect::<Option<_>>()?,
        })
    }
}

fn doubted(of: &DoubtedCheck) -> Doubted {
    let glucose = of.glucose.to_bits();
    (of.wearer.clone(), of.time, glucose, of.reason.to_owned())
}

fn check((wearer, time, glucose, reason): Doubted) -> Option<DoubtedCheck> {
    Some(DoubtedCheck {
        wearer,
        time,
        glucose: f64::from_bits(glucose),
        reason: known(&FINDING_KINDS, &reason)?,
    })
}

fn row(of: &Finding) -> Row {
    Row {
        kind: of.kind.to_owned(),
        severity: of.severity.word().to_owned(),
        names: [&of.wearer, &of.sensor, &of.meter, &of.site, &of.file].map(Clone::clone),
        sensors: of.sensors.clone(),
        line: of.line,
        from: of.from,
        to: of.to,
        size: of.size.map(f64::to_bits),
        unit: of.unit.to_owned(),
        words: [&of.text, &of.todo, &of.paste].map(Clone::clone),
        touches: of.touches.iter().map(|word| (*word).to_owned()).collect(),
        leaves_out: of.leaves_out,
        leaves_out_checks: of.leaves_out_checks,
        seen: of.seen,
        new: of.new,
    }
}

fn finding(row: Row) -> Option<Finding> {
    let [wearer, sensor, meter, site, file] = row.names;
    let [text, todo, paste] = row.words;
    let mut severities = SEVERITIES.into_iter();
    Some(Finding {
        kind: known(&FINDING_KINDS, &row.kind)?,
        severity: severities.find(|severity| severity.word() == row.severity)?,
        wearer,
        sensor,
        sensors: row.sensors,
        meter,
        site,
        file,
        line: row.line,
        from: row.from,
        to: row.to,
        size: row.size.map(f64::from_bits),
        unit: known(&UNITS, &row.unit)?,
        text,
        todo,
        paste,
        touches: TOUCHES.into_iter().find(|words| row.touches == **words)?,
        leaves_out: row.leaves_out,
        leaves_out_checks: row.leaves_out_checks,
        seen: row.seen,
        new: row.new,
    })
}

/// The same word among those that the program has.
fn known(words: &[&'static str], word: &str) -> Option<&'static str> {
    words.iter().copied().find(|known| *known == word)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outcome(unit: &'static str) -> Outcome {
        let mut finding = Finding::new("thin", Severity::Thin, OF_WEAR);
        finding.wearer = "kelp".to_owned();
        finding.paste = "[[seen]]\n".to_owned();
        finding.size = Some(0.1 + 0.2);
        finding.unit = unit;
        finding.from = Some(-1);
        finding.line = Some(7);
        finding.new = true;
        finding.sensors = vec!["s01".to_owned(), "s02".to_owned()];
        Outcome {
            findings: vec![finding],
            left_out: vec![LeftOut {
                wearer: "kelp".to_owned(),
                sensor: "s01".to_owned(),
                reason: "unit",
            }],
            doubted: vec![DoubtedCheck {
                wearer: "kelp".to_owned(),
                time: 3,
                glucose: 7.2 * 0.1,
                reason: "unit",
            }],
        }
    }

    #[test]
    fn an_outcome_is_read_back_to_the_last_bit() {
        let bytes = outcome("sensors").to_bytes().unwrap();
        assert_eq!(Outcome::from_bytes(&bytes), Some(outcome("sensors")));
        assert_eq!(Outcome::from_bytes(&bytes[1..]), None);
    }

    /// A word that is not read back is no harm: such an outcome is not kept.
    #[test]
    fn an_outcome_with_an_unknown_word_is_not_kept() {
        assert_eq!(outcome("furlongs").to_bytes(), None);
    }
}
