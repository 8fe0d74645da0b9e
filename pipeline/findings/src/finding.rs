//! What a look finds.

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use whereworn_model::rows::Check;
use whereworn_model::settings::SeenFinding;
use whereworn_model::time::Micros;

/// How bad it is, worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The data cannot be right as they stand.
    Wrong,
    /// The data contradict each other; which of them is right has to be looked up.
    Doubtful,
    /// Too little to say much.
    Thin,
}

impl Severity {
    /// The word in tables and JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Wrong => "wrong",
            Self::Doubtful => "doubtful",
            Self::Thin => "thin",
        }
    }
}

/// Fingersticks of its wearer that a finding leaves out of comparisons.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ChecksOut {
    /// None.
    None,
    /// Those of its meter, which may have no label.
    OfMeter,
    /// Those of every meter.
    All,
}

/// One finding; empty text and `None` where it names no such thing.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What kind it is, one of the model's `FINDING_KINDS`.
    pub kind: &'static str,
    /// How bad.
    pub severity: Severity,
    /// Whose data.
    pub wearer: String,
    /// Which sensor.
    pub sensor: String,
    /// Which sensors, where it is about several; `sensor` is empty then.
    pub sensors: Vec<String>,
    /// Which meter; the two of a pair are joined by ` + `, the one that `size` is about first.
    pub meter: String,
    /// Which site.
    pub site: String,
    /// Which file, relative to the study folder.
    pub file: String,
    /// The line there to look at first.
    pub line: Option<u64>,
    /// From when on.
    pub from: Option<Micros>,
    /// Until when.
    pub to: Option<Micros>,
    /// How much, in `unit`. Minutes of clocks are positive where the clock is ahead, fractions of meters where it reads
    /// high; of units it is the factor.
    pub size: Option<f64>,
    /// Unit of `size`; of a factor, the unit that the values seem to have.
    pub unit: &'static str,
    /// What was found, and what it does to the figures.
    pub text: String,
    /// What to do about it.
    pub todo: String,
    /// Lines for `study.toml` that cure it; empty where none would.
    pub paste: String,
    /// Measures whose sentences it touches.
    pub touches: &'static [&'static str],
    /// Whether comparisons leave out the sensors that it names, or where it names none, its wearer's.
    pub leaves_out: bool,
    /// Whose fingersticks of its time comparisons leave out.
    pub leaves_out_checks: ChecksOut,
    /// Whether the settings say that it was seen and is all right.
    pub seen: bool,
    /// Whether it began in the month looked at.
    pub new: bool,
}

/// Measures that pairs of readings and fingersticks tell of.
pub(crate) const OF_PAIRS: &[&str] = &["reads-true", "reads-high-or-low", "delay"];
/// Measures that glucose tells of.
pub(crate) const OF_GLUCOSE: &[&str] =
    &["reads-true", "reads-high-or-low", "quiet-at-night", "delay"];
/// Measures that clocks tell of.
pub(crate) const OF_CLOCKS: &[&str] = &["reads-true", "quiet-at-night", "delay"];
/// The measure that sessions tell of.
pub(crate) const OF_WEAR: &[&str] = &["stays-on"];
/// The measure that nights tell of.
pub(crate) const OF_NIGHTS: &[&str] = &["quiet-at-night"];
/// Every measure.
pub(crate) const OF_ALL: &[&str] = &[
    "stays-on",
    "reads-true",
    "reads-high-or-low",
    "quiet-at-night",
    "delay",
];

/// Kinds that say of whole sensors that they cannot be compared.
const LEAVE_OUT: [&str; 4] = ["unit", "clock-sensor", "clock-change", "wrong-wearer"];

impl Finding {
    /// A finding that names nothing yet.
    pub(crate) fn new(
        kind: &'static str,
        severity: Severity,
        touches: &'static [&'static str],
    ) -> Self {
        Self {
            kind,
            severity,
            wearer: String::new(),
            sensor: String::new(),
            sensors: Vec::new(),
            meter: String::new(),
            site: String::new(),
            file: String::new(),
            line: None,
            from: None,
            to: None,
            size: None,
            unit: "",
            text: String::new(),
            todo: String::new(),
            paste: String::new(),
            touches,
            leaves_out: LEAVE_OUT.contains(&kind),
            leaves_out_checks: ChecksOut::None,
            seen: false,
            new: false,
        }
    }

    /// The same of a meter's fingersticks from one to another.
    pub(crate) fn of_checks(self, first: &Check, last: &Check) -> Self {
        Self {
            wearer: first.wearer.to_string(),
            meter: first.meter.to_string(),
            file: first.file.to_string(),
            line: Some(first.line),
            from: Some(first.time),
            to: Some(last.time),
            ..self
        }
    }

    /// The same of one sensor, or of several together.
    pub(crate) fn of_sensors(self, names: &[&str]) -> Self {
        match names {
            [one] => Self {
                sensor: (*one).to_owned(),
                ..self
            },
            several => Self {
                sensor: String::new(),
                site: String::new(),
                sensors: several.iter().map(|name| (*name).to_owned()).collect(),
                ..self
            },
        }
    }

    /// Whether an entry of the settings is about this finding: the same kind, and everything that the entry names is
    /// named here too. One that names a wearer and no sensor or meter is about all of the wearer's together, and about
    /// none of them alone. One that names an end, by the clock of a zone, is about nothing that goes on after it.
    pub(crate) fn is_about(&self, seen: &SeenFinding, zone: &TimeZone) -> bool {
        let after = seen.to.as_ref().and_then(|to| to.after(zone));
        let same =
            |asked: &Option<String>, own: &str| asked.as_ref().is_none_or(|asked| asked == own);
        let device = |asked: &Option<String>, own: &str| match asked {
            Some(asked) => own == asked || own.split(" + ").any(|one| one == asked),
            None => seen.wearer.is_none() || own.is_empty(),
        };
        seen.kind == self.kind
            && same(&seen.wearer, &self.wearer)
            && same(&seen.site, &self.site)
            && same(&seen.file, &self.file)
            && device(&seen.sensor, &self.sensor)
            && device(&seen.meter, &self.meter)
            && after.is_none_or(|after| self.to.is_some_and(|to| to < after))
    }

    /// Order of lists: the worst first, causes before consequences, the newest first.
    pub(crate) fn order(&self, other: &Self, kinds: &[&str]) -> std::cmp::Ordering {
        let rank = |finding: &Self| kinds.iter().position(|kind| *kind == finding.kind);
        let names = |f: &Self| {
            [&f.wearer, &f.sensor, &f.meter, &f.site, &f.file].map(|name| name.as_bytes().to_vec())
        };
        self.severity
            .cmp(&other.severity)
            .then(other.from.cmp(&self.from))
            .then(rank(self).cmp(&rank(other)))
            .then_with(|| names(self).cmp(&names(other)))
            .then(self.line.cmp(&other.line))
    }
}

/// A sensor that comparisons leave out.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct LeftOut {
    /// Whose.
    pub wearer: String,
    /// Which.
    pub sensor: String,
    /// Kind of the finding that doubts it.
    pub reason: &'static str,
}

/// A fingerstick that comparisons leave out.
#[derive(Clone, Debug, PartialEq)]
pub struct DoubtedCheck {
    /// Whose.
    pub wearer: String,
    /// When.
    pub time: Micros,
    /// mg/dL, as it was read.
    pub glucose: f64,
    /// Kind of the finding that doubts it.
    pub reason: &'static str,
}

impl DoubtedCheck {
    pub(crate) fn new(check: &Check, reason: &'static str) -> Self {
        Self {
            wearer: check.wearer.to_string(),
            time: check.time,
            glucose: check.glucose,
            reason,
        }
    }

    pub(crate) fn order(&self, other: &Self) -> std::cmp::Ordering {
        self.wearer
            .cmp(&other.wearer)
            .then(self.time.cmp(&other.time))
            .then(self.glucose.total_cmp(&other.glucose))
    }
}
