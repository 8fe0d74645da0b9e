//! The only formatting of numbers for readers.

use crate::units::Unit;

/// Shown where there is no value.
pub const NO_VALUE: &str = "–";

/// A number with a fixed number of decimals, a true minus sign, and no negative zero.
pub fn number(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A number that may not exist.
pub fn maybe(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| NO_VALUE.to_owned(), |value| number(value, digits))
}

/// A share between 0 and 1 as a percentage, with its sign.
pub fn share(value: f64, digits: usize) -> String {
    format!("{} %", number(value * 100.0, digits))
}

/// A p value: three decimals, and `< 0.001` below that.
pub fn p_value(value: f64) -> String {
    if value < 0.001 {
        "< 0.001".to_owned()
    } else {
        number(value, 3)
    }
}

/// Decimals of glucose in a unit: none in mg/dL and one in mmol/L.
pub fn glucose_digits(unit: Unit) -> usize {
    match unit {
        Unit::MgDl => 0,
        Unit::MmolL => 1,
    }
}

/// Glucose, given in mg/dL, in the reader's unit, with more decimals for differences than for levels.
pub fn glucose(value_mgdl: f64, unit: Unit, extra_digits: usize) -> String {
    number(
        unit.from_mgdl(value_mgdl),
        glucose_digits(unit) + extra_digits,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_and_zeros() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-0.06, 1), "\u{2212}0.1");
        assert_eq!(number(12.34, 0), "12");
        assert_eq!(maybe(None, 1), "–");
        assert_eq!(share(0.305, 1), "30.5 %");
        assert_eq!(p_value(0.0004), "< 0.001");
        assert_eq!(p_value(0.001), "0.001");
        assert_eq!(p_value(0.25), "0.250");
    }

    #[test]
    fn glucose_in_both_units() {
        assert_eq!(glucose(180.156, Unit::MmolL, 0), "10.0");
        assert_eq!(glucose(180.156, Unit::MgDl, 0), "180");
        assert_eq!(glucose(9.0078, Unit::MmolL, 1), "0.50");
        assert_eq!(glucose(9.0078, Unit::MgDl, 1), "9.0");
    }
}
