//! Levels of glucose in a text: they stand in braces with their unit, as `{70 mg/dL}`, and so does the unit alone, `{mg/dL}`.

use whereworn_model::format::number;
use whereworn_model::units::Unit;

/// A text with the levels that it has in braces written in a unit: in another than mg/dL with one decimal, two below 1.
/// What else stands in braces stays.
pub(crate) fn in_unit(text: &str, unit: Unit, decimal: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        let level = after
            .split_once('}')
            .and_then(|(inner, rest)| Some((level(inner, unit, decimal)?, rest)));
        match level {
            Some((level, after)) => {
                out.push_str(&level);
                rest = after;
            }
            None => {
                out.push('{');
                rest = after;
            }
        }
    }
    out + rest
}

/// `70 mg/dL`, `2 mg/dL/min` or `mg/dL` in a unit; `None` for anything else.
fn level(text: &str, unit: Unit, decimal: &str) -> Option<String> {
    if text == Unit::MgDl.code() {
        return Some(unit.code().to_owned());
    }
    let (value, written) = text.split_once(' ')?;
    let after = written.strip_prefix("mg/dL")?;
    let level: f64 = value.parse().ok()?;
    let value = unit.from_mgdl(level);
    let digits = match unit {
        Unit::MgDl => 0,
        _ if value < 0.995 => 2,
        _ => 1,
    };
    let value = number(value, digits).replace('.', decimal);
    Some(format!("{value} {}{after}", unit.code()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 70, 180 and 1 mg/dL divided by 18.0156: 3.886, 9.991 and 0.0555. A level that stands in no braces is prose.
    #[test]
    fn levels_follow_the_unit() {
        let text =
            "Below {70 mg/dL}, up to {180 mg/dL}, {1 mg/dL/min}; in {mg/dL}, 70 mg/dL, {site} {";
        assert_eq!(
            in_unit(text, Unit::MgDl, "."),
            "Below 70 mg/dL, up to 180 mg/dL, 1 mg/dL/min; in mg/dL, 70 mg/dL, {site} {"
        );
        assert_eq!(
            in_unit(text, Unit::MmolL, ","),
            "Below 3,9 mmol/L, up to 10,0 mmol/L, 0,06 mmol/L/min; in mmol/L, 70 mg/dL, {site} {"
        );
    }
}
