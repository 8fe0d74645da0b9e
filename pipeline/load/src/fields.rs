//! Values of single fields.

use whereworn_model::settings::suggestion;
use whereworn_model::units::{RELATIVE_SLACK, Unit};

use crate::reject::Fault;

/// The highest glucose, in mg/dL, that a row may claim.
const MOST_GLUCOSE: f64 = 1500.0;

/// Whether no body has a glucose, in mg/dL.
pub(crate) fn no_body(mgdl: f64) -> bool {
    !(mgdl > 0.0 && mgdl <= MOST_GLUCOSE * (1.0 + RELATIVE_SLACK))
}

/// What a comma in a number may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Comma {
    /// It separates the decimals: no comma separates the fields.
    Decimal,
    /// A number in quotation marks in a file that commas separate: thousands may be meant, where three digits follow.
    Quoted,
}

/// A finite decimal number, with a point or a comma before its decimals. Where a comma may as well separate
/// thousands, it is none.
pub(crate) fn number(text: &[u8], comma: Comma) -> Option<f64> {
    short_number(text).or_else(|| {
        let text = std::str::from_utf8(text).ok()?;
        let value: f64 = match text.split_once(',') {
            None => text.parse().ok()?,
            Some((_, rest)) if comma == Comma::Quoted && rest.len() == 3 => return None,
            Some((whole, rest)) if !whole.contains('.') && !rest.contains(['.', ',']) => {
                format!("{whole}.{rest}").parse().ok()?
            }
            Some(_) => return None,
        };
        value.is_finite().then_some(value)
    })
}

/// Digits with at most one point, few enough for the quotient to be correctly rounded.
fn short_number(text: &[u8]) -> Option<f64> {
    const POWERS: [f64; 10] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];
    if text.is_empty() || text.len() > 10 {
        return None;
    }
    let (mut mantissa, mut decimals, mut point) = (0_u64, 0, false);
    for byte in text {
        match byte {
            b'0'..=b'9' => {
                mantissa = mantissa * 10 + u64::from(byte - b'0');
                decimals += usize::from(point);
            }
            b'.' if !point => point = true,
            _ => return None,
        }
    }
    if text == b"." {
        return None;
    }
    Some(mantissa as f64 / POWERS[decimals])
}

/// What stands in a glucose column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Glucose {
    /// A value, mg/dL.
    Value(f64),
    /// Below the measuring range; its limit in mg/dL, NaN where the row does not say it.
    Low(f64),
    /// Above the measuring range, likewise.
    High(f64),
}

/// Glucose from a number and its unit; `LO`, `HI`, `<40`, `>=27,8` and their like say that it is off the scale.
pub(crate) fn glucose(text: &[u8], unit: Unit, comma: Comma) -> Result<Glucose, Fault> {
    let off_scale = |words: &[&[u8]]| words.iter().any(|word| text.eq_ignore_ascii_case(word));
    if off_scale(&[b"lo", b"low"]) {
        return Ok(Glucose::Low(f64::NAN));
    }
    if off_scale(&[b"hi", b"high"]) {
        return Ok(Glucose::High(f64::NAN));
    }
    let limit = |rest: &[u8]| {
        let number = rest.strip_prefix(b"=").unwrap_or(rest).trim_ascii();
        in_body(number, unit, comma)
    };
    match text {
        [b'<', rest @ ..] => limit(rest).map(Glucose::Low),
        [b'>', rest @ ..] => limit(rest).map(Glucose::High),
        _ => in_body(text, unit, comma).map(Glucose::Value),
    }
}

/// A value without the unit that stands behind it, and that unit: `120 mg/dL`.
pub(crate) fn own_unit(text: &[u8]) -> (&[u8], Option<Unit>) {
    if !matches!(text.last(), Some(b'L' | b'l')) {
        return (text, None);
    }
    let digit = text.iter().rposition(u8::is_ascii_digit);
    let (value, unit) = text.split_at(digit.map_or(0, |place| place + 1));
    let unit = std::str::from_utf8(unit)
        .ok()
        .and_then(|unit| Unit::parse(unit.trim()));
    match unit {
        Some(_) if !value.is_empty() => (value, unit),
        _ => (text, None),
    }
}

/// The unit of a row: the one that it names, else the default.
///
/// # Errors
/// A unit that is none of ours; none at all.
fn unit(named: &[u8], default: Option<Unit>) -> Result<Unit, Fault> {
    if named.is_empty() {
        return default.ok_or_else(|| Fault::stop("unit", NO_UNIT));
    }
    let known = std::str::from_utf8(named).ok().and_then(Unit::parse);
    known.ok_or_else(|| {
        let named = String::from_utf8_lossy(named);
        Fault::new(
            "unit",
            format!("unknown unit `{named}`: use mg/dL or mmol/L"),
        )
    })
}

/// The unit of a value: the one behind it, which the row's own column may not contradict, else as [`unit`].
///
/// # Errors
/// Two units; a unit that is none of ours; none at all.
pub(crate) fn unit_of(
    behind: Option<Unit>,
    named: &[u8],
    default: Option<Unit>,
) -> Result<Unit, Fault> {
    let Some(behind) = behind else {
        return unit(named, default);
    };
    match named.is_empty() || unit(named, default)? == behind {
        true => Ok(behind),
        false => {
            let named = String::from_utf8_lossy(named);
            let reason = format!(
                "two units: {} behind the value, {named} beside it",
                behind.code()
            );
            Err(Fault::new("unit", reason))
        }
    }
}

/// Why a study that names no unit is refused.
pub(crate) const NO_UNIT: &str = "the unit is named nowhere: set `unit = \"mg/dL\"` or `unit = \"mmol/L\"` under [study] in study.toml";

fn in_body(text: &[u8], unit: Unit, comma: Comma) -> Result<f64, Fault> {
    let Some(number) = number(text, comma) else {
        let reason = match std::str::from_utf8(text) {
            Ok("") => "unparsable number: the field is empty".to_owned(),
            Ok(shown) if shown.contains(',') => {
                format!(
                    "unparsable number `{shown}`: write decimals after a point, thousands without a mark"
                )
            }
            Ok(shown) => format!("unparsable number `{shown}`"),
            Err(_) => "unparsable number".to_owned(),
        };
        return Err(Fault::new("glucose", reason));
    };
    let mgdl = unit.to_mgdl(number);
    if no_body(mgdl) {
        return Err(Fault::new(
            "glucose",
            format!("glucose that no body has: {number} {}", unit.code()),
        ));
    }
    Ok(mgdl)
}

/// One of a list of words; the first where the field is empty and `default` says so.
pub(crate) fn word(
    text: &[u8],
    known: &[&'static str],
    column: &'static str,
) -> Result<&'static str, Fault> {
    known
        .iter()
        .find(|word| word.as_bytes() == text)
        .copied()
        .ok_or_else(|| unknown(text, known.iter().copied(), column))
}

/// The fault of a word that is none of the known ones, with the nearest where one is near.
pub(crate) fn unknown<'a>(
    text: &[u8],
    known: impl Iterator<Item = &'a str>,
    column: &'static str,
) -> Fault {
    if text.is_empty() {
        return Fault::new(column, format!("unknown {column}: the field is empty"));
    }
    let text = String::from_utf8_lossy(text);
    let hint = suggestion(&text, known);
    Fault::new(column, format!("unknown {column} `{text}`{hint}"))
}

/// A field as text.
pub(crate) fn text(field: &[u8]) -> String {
    String::from_utf8_lossy(field).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers() {
        for (text, value) in [
            ("123", 123.0),
            ("5.5", 5.5),
            (".5", 0.5),
            ("-4", -4.0),
            ("1e2", 100.0),
            ("0.1", 0.1),
            ("7.", 7.0),
        ] {
            assert_eq!(
                number(text.as_bytes(), Comma::Quoted),
                Some(value),
                "{text}"
            );
        }
        for (text, quoted, decimal) in [
            ("5,5", Some(5.5), Some(5.5)),
            ("1,234", None, Some(1.234)),
            ("1,234.5", None, None),
            ("1.234,5", None, None),
            ("1,2,3", None, None),
        ] {
            assert_eq!(number(text.as_bytes(), Comma::Quoted), quoted, "{text}");
            assert_eq!(number(text.as_bytes(), Comma::Decimal), decimal, "{text}");
        }
        for text in ["", ".", ",", "NaN", "inf", "-inf", "1 000", "0x1", "12a"] {
            assert_eq!(number(text.as_bytes(), Comma::Decimal), None, "{text}");
        }
    }

    /// 2.2 and 27.8 mmol/L are 39.63 and 500.83 mg/dL, by 18.0156 (molar mass of glucose).
    #[test]
    fn values_off_the_scale() {
        let read = |text: &str, unit| glucose(text.as_bytes(), unit, Comma::Quoted).unwrap();
        for text in ["LO", "lo", "Low"] {
            assert!(matches!(read(text, Unit::MgDl), Glucose::Low(limit) if limit.is_nan()));
        }
        for text in ["HI", "High"] {
            assert!(matches!(read(text, Unit::MgDl), Glucose::High(limit) if limit.is_nan()));
        }
        assert_eq!(read("<40", Unit::MgDl), Glucose::Low(40.0));
        assert_eq!(read("<= 40", Unit::MgDl), Glucose::Low(40.0));
        assert_eq!(read(">400", Unit::MgDl), Glucose::High(400.0));
        let (low, high) = (2.2 * 18.0156, 27.8 * 18.0156);
        assert_eq!(read("<2,2", Unit::MmolL), Glucose::Low(low));
        assert_eq!(read(">27,8", Unit::MmolL), Glucose::High(high));
        assert_eq!(read("112", Unit::MgDl), Glucose::Value(112.0));
        for text in ["<", ">x", "<<40", "LOW 40", "<-5"] {
            let read = glucose(text.as_bytes(), Unit::MgDl, Comma::Quoted);
            assert!(read.is_err(), "{text}");
        }
    }

    #[test]
    fn glucose_that_no_body_has() {
        let read = |value: &str, named: &str| {
            let unit = unit(named.as_bytes(), Some(Unit::MgDl))?;
            glucose(value.as_bytes(), unit, Comma::Quoted)
        };
        assert_eq!(read("1500", "").unwrap(), Glucose::Value(1500.0));
        assert_eq!(read("10", "mmol/L").unwrap(), Glucose::Value(180.156));
        for (value, unit) in [
            ("0", ""),
            ("-5", ""),
            ("1501", ""),
            ("84", "mmol/L"),
            ("5", "g/L"),
            ("x", ""),
        ] {
            assert!(read(value, unit).is_err(), "{value} {unit}");
        }
        let fault = read("5", "g/L").unwrap_err();
        assert!(fault.reason.contains("`g/L`"), "{}", fault.reason);
    }
}
