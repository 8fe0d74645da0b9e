//! What an Observation says: readings or a fingerstick, or why it cannot be used.

use whereworn_model::settings::Settings;
use whereworn_model::time::Micros;
use whereworn_model::units::Unit;

use crate::fields::no_body;
use crate::reject::Fault;
use crate::times::{TimeFormat, TimeReader};

use super::resource::{Concept, Quantity, Resource, SampledData, text};

/// The system of LOINC codes.
const LOINC: &str = "http://loinc.org";

/// The system of UCUM units.
const UCUM: &str = "http://unitsofmeasure.org";

/// Which raw table an observation belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Reading,
    Fingerstick,
}

/// Codes of LOINC (loinc.org) and what they are: mass or substance concentration of glucose in interstitial fluid, and
/// in capillary blood.
const CODES: [(&str, Kind, Unit); 6] = [
    ("99504-3", Kind::Reading, Unit::MgDl),
    ("105272-9", Kind::Reading, Unit::MmolL),
    ("14745-4", Kind::Reading, Unit::MmolL),
    ("41653-7", Kind::Fingerstick, Unit::MgDl),
    ("32016-8", Kind::Fingerstick, Unit::MgDl),
    ("14743-9", Kind::Fingerstick, Unit::MmolL),
];

/// What the code of an observation means, and the unit that it fixes; `None` for another code.
pub(super) fn kind(code: &Concept<'_>, settings: &Settings) -> Option<(Kind, Option<Unit>)> {
    let loinc = code
        .coding
        .iter()
        .filter(|coding| text(&coding.system) == LOINC);
    loinc.map(|coding| text(&coding.code)).find_map(|code| {
        let known = CODES.iter().find(|(known, _, _)| *known == code);
        let own = |codes: &[String]| codes.iter().any(|own| own == code);
        match known {
            Some((_, kind, unit)) => Some((*kind, Some(*unit))),
            None if own(&settings.fhir.readings) => Some((Kind::Reading, None)),
            None if own(&settings.fhir.fingersticks) => Some((Kind::Fingerstick, None)),
            None => None,
        }
    })
}

/// The LOINC code of an observation, to be counted by; its first code where it has none.
pub(super) fn code_name(code: Option<&Concept<'_>>) -> String {
    let codings = || code.iter().flat_map(|code| &code.coding);
    let loinc = codings().find(|coding| text(&coding.system) == LOINC);
    let ours = |code: &str| CODES.iter().any(|(known, _, _)| *known == code);
    if let (None, Some(coding)) = (loinc, codings().find(|coding| ours(text(&coding.code)))) {
        let code = text(&coding.code);
        return format!("Observation {code}, its system is not LOINC, which is {LOINC}");
    }
    match loinc.or(codings().next()) {
        Some(coding) => format!("Observation {}", text(&coding.code)),
        None => "Observation without a code".to_owned(),
    }
}

/// How far an observation is to be believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Standing {
    Preliminary,
    Final,
    /// It takes the place of what was said before.
    Amended,
    /// It and every copy of it are void.
    Withdrawn,
}

/// Standing by `Observation.status`.
pub(super) fn standing(status: &str) -> Result<Standing, Fault> {
    match status {
        "preliminary" => Ok(Standing::Preliminary),
        "final" => Ok(Standing::Final),
        "amended" | "corrected" => Ok(Standing::Amended),
        "entered-in-error" | "cancelled" => Ok(Standing::Withdrawn),
        "" => Err(Fault::new("status", "the observation has no status")),
        "registered" | "unknown" => Err(Fault::new(
            "status",
            format!("status `{status}`: the value does not stand yet"),
        )),
        other => Err(Fault::new("status", format!("unknown status `{other}`"))),
    }
}

/// A sample: microseconds after the observation's time, mg/dL (NaN for none), and the status by code.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sample {
    pub after: Micros,
    pub glucose: f64,
    pub status: u8,
}

/// Codes of [`crate::block::STATUSES`].
pub(super) const OK: u8 = 0;
const LOW: u8 = 1;
const HIGH: u8 = 2;
const ERROR: u8 = 4;

/// The instant of an observation; FHIR wants an offset wherever there is a time of day.
pub(super) fn instant(
    resource: &Resource<'_>,
    times: &mut TimeReader<'_>,
) -> Result<Micros, Fault> {
    let start = resource
        .effective_period
        .as_ref()
        .map_or("", |period| text(&period.start));
    let (single, instant) = (
        text(&resource.effective_date_time),
        text(&resource.effective_instant),
    );
    let written = match (single, instant, start) {
        ("", "", "") => return Err(Fault::new("effective", "the observation has no time")),
        ("", "", start) if resource.value_sampled_data.is_some() => start,
        ("", "", _) => {
            return Err(Fault::new(
                "effective",
                "one value over a period has no instant: only a series has",
            ));
        }
        ("", instant, _) => instant,
        (single, _, _) => single,
    };
    absolute(written, times)
}

/// The instant of a text that has an offset.
pub(super) fn absolute(written: &str, times: &mut TimeReader<'_>) -> Result<Micros, Fault> {
    let fault = |reason: String| Err(Fault::new("effective", reason));
    match times.absolute(written.as_bytes()) {
        Some(Some(at)) if at < 0 => fault("a time before 1970: is the year right?".to_owned()),
        Some(Some(at)) => Ok(at),
        Some(None) => fault(format!(
            "`{written}` has no offset from UTC, which FHIR requires beside a time of day: let the sender write it, as 2026-03-01T08:05:00+01:00"
        )),
        None if written.len() <= 10 => fault(format!("`{written}` has no time of day")),
        None => fault(format!("unparsable time `{written}`")),
    }
}

/// How instants of FHIR are written: ISO 8601 throughout.
pub(super) const FORMAT: TimeFormat = TimeFormat::Iso;

/// The samples of an observation, one unless it is a series, and the unit in which it was written.
pub(super) fn samples(
    resource: &Resource<'_>,
    fixed: Option<Unit>,
    out: &mut Vec<Sample>,
) -> Result<Unit, Fault> {
    out.clear();
    let has_value = resource.value_quantity.is_some() || resource.value_sampled_data.is_some();
    if let (true, Some(reason)) = (has_value, &resource.data_absent_reason) {
        return Err(value_and_absence(reason));
    }
    match (&resource.value_quantity, &resource.value_sampled_data) {
        (Some(quantity), _) => {
            let unit = unit_of(quantity, fixed)?;
            let mut sample = single(quantity, unit)?;
            for code in resource
                .interpretation
                .iter()
                .flat_map(|concept| &concept.coding)
            {
                match text(&code.code) {
                    "<" => sample.status = LOW,
                    ">" => sample.status = HIGH,
                    _ => {}
                }
            }
            out.push(sample);
            Ok(unit)
        }
        (None, Some(series)) => {
            let origin = series.origin.as_ref().ok_or_else(|| missing("origin"))?;
            let unit = unit_of(origin, fixed)?;
            many(series, origin.value.unwrap_or(0.0), unit, out)?;
            Ok(unit)
        }
        (None, None) if resource.data_absent_reason.is_some() => {
            out.push(Sample {
                after: 0,
                glucose: f64::NAN,
                status: ERROR,
            });
            Ok(fixed.unwrap_or(Unit::MgDl))
        }
        (None, None) => Err(Fault::new(
            "value",
            "neither a value nor a reason for its absence",
        )),
    }
}

/// R4 has a reason for the absence of a value only where there is none (Observation, rule obs-6).
fn value_and_absence(reason: &Concept<'_>) -> Fault {
    let code = reason
        .coding
        .first()
        .map_or("", |coding| text(&coding.code));
    let code = match code {
        "" => String::new(),
        code => format!(" (`{}`)", crate::reject::shown(code)),
    };
    Fault::new(
        "dataAbsentReason",
        format!("a value beside a reason why it is absent{code}: which of them holds is not said"),
    )
}

fn missing(element: &str) -> Fault {
    Fault::new("valueSampledData", format!("the series has no `{element}`"))
}

/// The unit that a quantity names: its UCUM code, or where there is none its unit in words.
fn unit_of(quantity: &Quantity<'_>, fixed: Option<Unit>) -> Result<Unit, Fault> {
    let fault = |reason: String| Err(Fault::new("unit", reason));
    let (system, code, words) = (
        text(&quantity.system),
        text(&quantity.code),
        text(&quantity.unit),
    );
    let named = match code {
        "" => words,
        _ if system.is_empty() || system == UCUM => code,
        _ => words,
    };
    match (Unit::parse(named), fixed) {
        (_, _) if named.is_empty() => fault("the value names no unit".to_owned()),
        (None, _) => fault(format!("unknown unit `{named}`: use mg/dL or mmol/L")),
        (Some(unit), Some(fixed)) if unit != fixed => fault(format!(
            "the unit `{named}` contradicts the LOINC code, which is in {}",
            fixed.code()
        )),
        (Some(unit), _) => Ok(unit),
    }
}

fn single(quantity: &Quantity<'_>, unit: Unit) -> Result<Sample, Fault> {
    let value = quantity
        .value
        .ok_or_else(|| Fault::new("value", "the quantity has no value"))?;
    let status = match text(&quantity.comparator) {
        "" => OK,
        "<" | "<=" => LOW,
        ">" | ">=" => HIGH,
        other => return Err(Fault::new("value", format!("unknown comparator `{other}`"))),
    };
    Ok(Sample {
        after: 0,
        glucose: in_body(value, unit)?,
        status,
    })
}

fn in_body(value: f64, unit: Unit) -> Result<f64, Fault> {
    let mgdl = unit.to_mgdl(value);
    if no_body(mgdl) {
        return Err(Fault::new(
            "value",
            format!("glucose that no body has: {value} {}", unit.code()),
        ));
    }
    Ok(mgdl)
}

/// A series: value = origin + factor times number; `E` is an error, `L` and `U` lie off the scale.
fn many(
    series: &SampledData<'_>,
    origin: f64,
    unit: Unit,
    out: &mut Vec<Sample>,
) -> Result<(), Fault> {
    let fault = |reason: String| Err(Fault::new("valueSampledData", reason));
    let period = series.period.ok_or_else(|| missing("period"))?;
    if !(period > 0.0 && period <= 1e12) {
        return fault(format!("a period of {period} ms between samples"));
    }
    if series
        .dimensions
        .is_some_and(|dimensions| dimensions != 1.0)
    {
        return fault("a series of more than one dimension".to_owned());
    }
    let data = series.data.as_ref().ok_or_else(|| missing("data"))?;
    let limit = |limit: Option<f64>| limit.map_or(f64::NAN, |limit| unit.to_mgdl(limit));
    let factor = series.factor.unwrap_or(1.0);
    for (place, word) in data.as_str().split_ascii_whitespace().enumerate() {
        let (glucose, status) = match word {
            "E" => (f64::NAN, ERROR),
            "L" => (limit(series.lower_limit), LOW),
            "U" => (limit(series.upper_limit), HIGH),
            _ => {
                let number: f64 = match word.parse() {
                    Ok(number) => number,
                    Err(_) => {
                        return fault(format!("the series holds `{}`", crate::reject::shown(word)));
                    }
                };
                (in_body(origin + factor * number, unit)?, OK)
            }
        };
        out.push(Sample {
            after: (place as f64 * period * 1000.0) as Micros,
            glucose,
            status,
        });
    }
    Ok(())
}
