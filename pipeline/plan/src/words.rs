//! Words that several pages share, in the study's language.

use jiff::civil::Date;
use whereworn_model::format::{glucose, number, share};
use whereworn_model::settings::{DateFormat, Language, Measure, Settings};
use whereworn_model::sites::{Site, label_is_told};
use whereworn_model::units::Unit;

/// A text in the language of the page; both stand beside each other, so that the compiler holds them to the same values.
macro_rules! say {
    ($words:expr, $english:literal, $german:literal $(,)?) => {
        match $words.language {
            whereworn_model::settings::Language::English => format!($english),
            whereworn_model::settings::Language::German => format!($german),
        }
    };
}
pub(crate) use say;

/// How a study's pages are written.
#[derive(Clone, Debug)]
pub(crate) struct Words {
    pub language: Language,
    unit: Unit,
    date: Option<DateFormat>,
}

impl Words {
    pub fn new(settings: &Settings) -> Self {
        Self {
            language: settings.study.language,
            unit: settings.unit(),
            date: settings.study.date_format.clone(),
        }
    }

    /// For errors.
    pub fn english() -> Self {
        Self {
            language: Language::English,
            unit: Unit::MgDl,
            date: None,
        }
    }

    /// One of two texts without anything to fill in.
    pub fn choose(&self, english: &'static str, german: &'static str) -> &'static str {
        match self.language {
            Language::English => english,
            Language::German => german,
        }
    }

    fn decimal(&self, text: String) -> String {
        match self.language {
            Language::English => text,
            Language::German => text.replace('.', ","),
        }
    }

    pub fn number(&self, value: f64, digits: usize) -> String {
        self.decimal(number(value, digits))
    }

    pub fn share(&self, value: f64) -> String {
        share(value, 0)
    }

    /// A level of glucose with its unit left out.
    pub fn level(&self, mgdl: f64) -> String {
        self.decimal(glucose(mgdl, self.unit, 0))
    }

    pub fn unit(&self) -> &'static str {
        self.unit.code()
    }

    /// A date as the study writes it.
    pub fn date(&self, date: Date) -> String {
        let usual = self.choose("%-d %B %Y", "%d.%m.%Y");
        let pattern = self.date.as_ref().map_or(usual, DateFormat::pattern);
        plain(&date.strftime(pattern).to_string())
    }

    /// A side of the body.
    pub fn side<'w>(&self, word: &'w str) -> &'w str {
        match (self.language, word) {
            (Language::German, "left") => "links",
            (Language::German, "right") => "rechts",
            (Language::German, "middle") => "Mitte",
            _ => word,
        }
    }

    /// What goes with the name of one of a study's sites that is not on the label; else empty.
    pub fn label_remark(&self, site: &Site, sites: &[Site]) -> &'static str {
        match (site.is_on_label(), label_is_told(sites)) {
            (true, _) => "",
            (false, true) => self.choose("off-label", "vom Hersteller nicht vorgesehen"),
            (false, false) => self.choose(
                "not said whether on the label",
                "nicht angegeben, ob vom Hersteller vorgesehen",
            ),
        }
    }

    /// A site's name as every sentence gives it, with that remark each time.
    pub fn site(&self, site: &Site, sites: &[Site]) -> String {
        let label = &site.label;
        match self.label_remark(site, sites) {
            "" => label.clone(),
            remark => format!("{label} ({remark})"),
        }
    }

    /// What a measure is called.
    pub fn measure(&self, measure: Measure) -> &'static str {
        let (english, german) = match measure {
            Measure::StaysOn => ("Stays on", "Haftung"),
            Measure::ReadsTrue => ("Reads true", "Messgenauigkeit"),
            Measure::ReadsHighOrLow => ("Reads high or low", "Zu hohe oder zu niedrige Werte"),
            Measure::QuietAtNight => ("Quiet at night", "Ruhige Nächte"),
            Measure::Delay => ("Delay", "Verzögerung"),
        };
        self.choose(english, german)
    }

    /// What a priority is called, from its key.
    pub fn priority<'w>(&self, key: &'w str) -> &'w str {
        match key {
            "stays-on" => self.choose("stays on", "Haftung"),
            "reads-true" => self.choose("reads true", "Messgenauigkeit"),
            "steady" => self.choose(
                "steady from sensor to sensor",
                "gleichmäßig von Sensor zu Sensor",
            ),
            "quiet-at-night" => self.choose("quiet at night", "ruhige Nächte"),
            "skin" => self.choose("skin", "Haut"),
            "comfort" => self.choose("comfort", "Tragegefühl"),
            "out-of-sight" => self.choose("out of sight", "nicht zu sehen"),
            other => other,
        }
    }

    /// So many sensors that a comparison still takes.
    pub fn more_sensors(&self, more: f64) -> String {
        let count = self.number(more, 0);
        match count.as_str() {
            "1" => say!(
                self,
                "about 1 more sensor a site",
                "etwa 1 weiterer Sensor je Stelle"
            ),
            _ => say!(
                self,
                "about {count} more sensors a site",
                "etwa {count} weitere Sensoren je Stelle"
            ),
        }
    }

    /// The same, as a sentence that goes on.
    pub fn sensors_settle_it(&self, more: f64) -> String {
        let (sensors, is_one) = (self.more_sensors(more), self.number(more, 0) == "1");
        match is_one {
            true => say!(self, "{sensors} settles it", "{sensors} entscheidet es"),
            false => say!(self, "{sensors} settle it", "{sensors} entscheiden es"),
        }
    }

    /// A difference in a measure, with its unit.
    pub fn amount(&self, measure: Measure, value: f64) -> String {
        let digits = self.number(value, 1);
        match measure {
            Measure::StaysOn => {
                let share = self.share(value);
                say!(self, "{share} of the sensors", "{share} der Sensoren")
            }
            Measure::ReadsTrue => {
                say!(self, "{digits} percentage points", "{digits} Prozentpunkte")
            }
            Measure::ReadsHighOrLow => {
                let level = self.decimal(glucose(value, self.unit, 1));
                format!("{level} {}", self.unit.code())
            }
            Measure::QuietAtNight => {
                say!(self, "{digits} in 100 nights", "{digits} in 100 Nächten")
            }
            Measure::Delay => say!(self, "{digits} minutes", "{digits} Minuten"),
        }
    }
}

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
