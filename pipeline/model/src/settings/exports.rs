//! `[exports.NAME]`: other people's files, read through a mapping of their columns.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::units::Unit;

/// Tables that an export's rows may belong to.
pub const TABLES: [&str; 3] = ["readings", "fingersticks", "wear-events"];

/// An export with other column names than ours.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Export {
    /// Table that the rows belong to: `readings`, `fingersticks` or `wear-events`.
    pub table: String,
    /// Which files, relative to the study folder; `*` and `?` stand for any characters.
    pub files: String,
    /// Our column to theirs; several of theirs are joined with a blank (date and time apart).
    #[serde(default)]
    pub columns: BTreeMap<String, Columns>,
    /// Our column to what it holds in every row.
    #[serde(default)]
    pub constants: BTreeMap<String, String>,
    /// Our column to their words and what those mean among ours.
    #[serde(default)]
    pub values: BTreeMap<String, BTreeMap<String, String>>,
    /// Their column to the texts of the rows that the export takes; all rows where absent.
    #[serde(default)]
    pub rows: BTreeMap<String, Vec<String>>,
    /// Format of times in the notation of `strftime`; ISO 8601 where absent.
    #[serde(default)]
    pub time_format: Option<String>,
    /// IANA time zone of the clock that wrote the times, whoever the wearer is.
    #[serde(default)]
    pub timezone: Option<String>,
    /// Offset of that clock from UTC where it never changes, as `+01:00`.
    #[serde(default)]
    pub offset: Option<String>,
    /// Unit of rows that name none.
    #[serde(default)]
    pub unit: Option<Unit>,
    /// Lines before the header.
    #[serde(default)]
    pub skip_lines: usize,
    /// Encoding of the text: UTF-8 where absent.
    #[serde(default)]
    pub encoding: Option<Encoding>,
}

impl Export {
    /// The export as it is written in a settings file, under a name.
    pub fn block(&self, name: &str) -> String {
        let text = |text: &str| toml::Value::from(text).to_string();
        let mut lines = vec![format!("[exports.{}]", key(name))];
        let mut set = |key: &str, value: Option<String>| {
            lines.extend(value.map(|value| format!("{key} = {value}")));
        };
        let table = |pairs: Vec<(&String, String)>| {
            let pairs: Vec<String> = pairs
                .into_iter()
                .map(|(name, value)| format!("{} = {value}", key(name)))
                .collect();
            (!pairs.is_empty()).then(|| format!("{{ {} }}", pairs.join(", ")))
        };
        let columns = |columns: &Columns| match columns.names() {
            [one] => text(one),
            several => toml::Value::from(several.to_vec()).to_string(),
        };
        set("table", Some(text(&self.table)));
        set("files", Some(text(&self.files)));
        set(
            "columns",
            table(
                self.columns
                    .iter()
                    .map(|(ours, theirs)| (ours, columns(theirs)))
                    .collect(),
            ),
        );
        set(
            "constants",
            table(
                self.constants
                    .iter()
                    .map(|(ours, value)| (ours, text(value)))
                    .collect(),
            ),
        );
        let values = self.values.iter().filter_map(|(ours, words)| {
            let words = words.iter().map(|(theirs, meant)| (theirs, text(meant)));
            Some((ours, table(words.collect())?))
        });
        set("values", table(values.collect()));
        let rows = self.rows.iter();
        let rows = rows.map(|(title, texts)| (title, toml::Value::from(texts.clone()).to_string()));
        set("rows", table(rows.collect()));
        set("time_format", self.time_format.as_deref().map(text));
        set("timezone", self.timezone.as_deref().map(text));
        set("offset", self.offset.as_deref().map(text));
        set("unit", self.unit.map(|unit| text(unit.code())));
        set(
            "skip_lines",
            (self.skip_lines > 0).then(|| self.skip_lines.to_string()),
        );
        set(
            "encoding",
            self.encoding.map(|encoding| text(encoding.name())),
        );
        lines.join("\n") + "\n"
    }
}

/// A key as it is written: bare where it may be, on one line.
fn key(name: &str) -> String {
    let mut line = toml::Table::from_iter([(name.to_owned(), 0.into())]).to_string();
    line.truncate(line.trim_end_matches(" = 0\n").len());
    line
}

/// One or several columns of an export.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Columns {
    /// One column.
    One(String),
    /// Several, joined with a blank.
    Several(Vec<String>),
}

impl Columns {
    /// The names, in order.
    pub fn names(&self) -> &[String] {
        match self {
            Self::One(name) => std::slice::from_ref(name),
            Self::Several(names) => names,
        }
    }
}

/// How the bytes of a file stand for text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Encoding {
    /// UTF-8.
    #[serde(rename = "utf-8")]
    Utf8,
    /// UTF-16, its byte order told by the mark at the start, else the low byte first.
    #[serde(rename = "utf-16")]
    Utf16,
    /// One byte a character, with the characters that Windows adds to ISO 8859-1 (WHATWG's reading of the name).
    #[serde(rename = "latin-1")]
    Latin1,
}

impl Encoding {
    /// All three.
    pub const ALL: [Self; 3] = [Self::Utf8, Self::Utf16, Self::Latin1];

    /// Its name in the settings.
    pub fn name(self) -> &'static str {
        match self {
            Self::Utf8 => "utf-8",
            Self::Utf16 => "utf-16",
            Self::Latin1 => "latin-1",
        }
    }
}
