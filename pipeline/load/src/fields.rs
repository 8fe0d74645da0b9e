//! Values of single fields.

use whereworn_model::settings::suggestion;
use whereworn_model::units::{RELATIVE_SLACK, Unit};

use crate::reject::Fault;

/// The highest glucose, in mg/dL, that a row may claim.
const MOST_GLUCOSE: f64 = 1500.0;

/// A finite decimal number. With `decimal_comma`, a comma separates the decimals.
pub(crate) fn number(text: &[u8], decimal_comma: bool) -> Option<f64> {
    short_number(text).or_else(|| {
        let text = std::str::from_utf8(text).ok()?;
        let value: f64 = if decimal_comma {
            text.replace(',', ".").parse().ok()?
        } else {
            text.parse().ok()?
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

/// Glucose in mg/dL from a number and its unit.
pub(crate) fn glucose(
    value: &[u8],
    unit: &[u8],
    default: Unit,
    decimal_comma: bool,
) -> Result<f64, Fault> {
    let Some(number) = number(value, decimal_comma) else {
        return Err(Fault::new("glucose", "unparsable number"));
    };
    let unit = if unit.is_empty() {
        default
    } else {
        std::str::from_utf8(unit)
            .ok()
            .and_then(Unit::parse)
            .ok_or_else(|| Fault::new("unit", "unknown unit: use mg/dL or mmol/L"))?
    };
    let mgdl = unit.to_mgdl(number);
    if mgdl <= 0.0 || mgdl > MOST_GLUCOSE * (1.0 + RELATIVE_SLACK) {
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
            assert_eq!(number(text.as_bytes(), false), Some(value), "{text}");
        }
        assert_eq!(number(b"5,5", true), Some(5.5));
        for text in ["", ".", "NaN", "inf", "-inf", "5,5", "1 000", "0x1", "12a"] {
            assert_eq!(number(text.as_bytes(), false), None, "{text}");
        }
    }

    #[test]
    fn glucose_that_no_body_has() {
        let read =
            |value: &str, unit: &str| glucose(value.as_bytes(), unit.as_bytes(), Unit::MgDl, false);
        assert_eq!(read("1500", "").unwrap(), 1500.0);
        assert_eq!(read("10", "mmol/L").unwrap(), 180.156);
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
    }
}
