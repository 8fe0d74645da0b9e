//! Levels of glucose that a text names.

use whereworn_model::format::number;
use whereworn_model::units::Unit;

const WRITTEN: &str = " mg/dL";

/// A text with the levels that it names in mg/dL in another unit: one decimal, two below 1.
pub(crate) fn in_unit(text: &str, unit: Unit, decimal: &str) -> String {
    if unit == Unit::MgDl {
        return text.to_owned();
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(WRITTEN) {
        let before = &rest[..at];
        let digits = before
            .bytes()
            .rev()
            .take_while(|byte| byte.is_ascii_digit())
            .count();
        let (words, level) = before.split_at(at - digits);
        out.push_str(words);
        match level.parse() {
            Ok(level) => {
                let value = unit.from_mgdl(level);
                let digits = if value < 0.995 { 2 } else { 1 };
                out.push_str(&number(value, digits).replace('.', decimal));
                out.push(' ');
                out.push_str(unit.code());
            }
            Err(_) => out.push_str(WRITTEN),
        }
        rest = &rest[at + WRITTEN.len()..];
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 70, 180 and 1 mg/dL divided by 18.0156: 3.886, 9.991 and 0.0555.
    #[test]
    fn levels_follow_the_unit() {
        let text = "Below 70 mg/dL, up to 180 mg/dL, 1 mg/dL a minute; in mg/dL";
        assert_eq!(in_unit(text, Unit::MgDl, "."), text);
        assert_eq!(
            in_unit(text, Unit::MmolL, ","),
            "Below 3,9 mmol/L, up to 10,0 mmol/L, 0,06 mmol/L a minute; in mg/dL"
        );
    }
}
