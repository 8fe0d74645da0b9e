//! Words that several pages share.

use whereworn_model::format::{glucose, number, share};
use whereworn_model::settings::{Measure, Settings};

/// Text of the study's own, so that it stays text in Markdown.
pub(crate) fn plain(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            c if c.is_control() => out.push(' '),
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '#' | '|' | '~' | '&' | '!' | '$' => {
                out.push('\\');
                out.push(c);
            }
            c => out.push(c),
        }
    }
    out
}

/// A difference in a measure, with its unit.
pub(crate) fn amount(settings: &Settings, measure: Measure, value: f64) -> String {
    match measure {
        Measure::StaysOn => format!("{} of the sensors", share(value, 0)),
        Measure::ReadsTrue => format!("{} percentage points", number(value, 1)),
        Measure::ReadsHighOrLow => {
            let unit = settings.unit();
            format!("{} {}", glucose(value, unit, 1), unit.code())
        }
        Measure::QuietAtNight => format!("{} in 100 nights", number(value, 1)),
        Measure::Delay => format!("{} minutes", number(value, 1)),
    }
}

/// What a measure is called.
pub(crate) fn measure_words(measure: Measure) -> &'static str {
    match measure {
        Measure::StaysOn => "Stays on",
        Measure::ReadsTrue => "Reads true",
        Measure::ReadsHighOrLow => "Reads high or low",
        Measure::QuietAtNight => "Quiet at night",
        Measure::Delay => "Delay",
    }
}
