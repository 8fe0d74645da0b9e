//! The TOML header of a query file: what its table is and how to show it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::readable::readable;

/// Everything a query file says of its table; all of it is optional.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Header {
    /// Heading of the table.
    pub title: Option<String>,
    /// What one row is.
    pub row: Option<String>,
    /// Section of the report in which the table is shown.
    pub section: Option<String>,
    /// Place within the section, from 1; tables without one come last, in the order in which they were made.
    pub order: Option<u32>,
    /// A remark printed below the table.
    pub note: Option<String>,
    /// The chart drawn from the table.
    pub chart: Option<Chart>,
    /// How to show each column, by its name in the result.
    pub columns: BTreeMap<String, ColumnHeader>,
    /// Most rows shown in the report; the files under `tables/` always hold all of them. 0 shows none.
    pub show: Option<usize>,
    /// What the result is for.
    pub role: Role,
    /// Values that the SQL names as `$name`.
    pub parameters: BTreeMap<String, Parameter>,
    /// What has to hold of the result.
    pub expect: Expect,
}

/// A value that the SQL names as `$name`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Parameter {
    /// What it is.
    #[serde(rename = "type")]
    pub kind: CellKind,
    /// Its value, unless another is given when the query is run.
    pub default: toml::Value,
}

/// What has to hold of a result; a query whose result does not hold it has failed.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Expect {
    /// Number of rows: exactly, or between two numbers.
    pub rows: Option<RowCount>,
    /// Columns that have a value in every row.
    pub not_null: Vec<String>,
    /// Columns whose values lie from 0 to 1.
    pub share: Vec<String>,
    /// Columns that together are different in every row.
    pub unique: Vec<String>,
}

impl Expect {
    /// The columns that it names.
    pub fn columns(&self) -> impl Iterator<Item = &String> {
        self.not_null.iter().chain(&self.share).chain(&self.unique)
    }
}

/// A number of rows that is expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub enum RowCount {
    /// So many.
    Exactly(usize),
    /// From the first to the second, both included.
    Between([usize; 2]),
}

/// What the result of a query is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// A table of the report, written to `tables/`.
    #[default]
    Table,
    /// An intermediate result for other queries: computed once, written nowhere.
    Intermediate,
    /// As an intermediate result, of which a row depends on no sensor's rows but those of its own `sensor_no`: computed
    /// for some sensors after the other.
    PerSensor,
    /// As an intermediate result, of which a row depends on no wearer's rows but those of its own `wearer`: computed for
    /// some wearers after the other.
    PerWearer,
    /// A name for other queries: computed as a part of each, written nowhere.
    View,
}

/// What one column holds and how to show it.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ColumnHeader {
    /// Heading of the column, and what it means.
    pub label: Option<String>,
    /// What its values tell; a column without a class reaches no public edition.
    pub class: Option<Class>,
    /// What its cells are, where it is not what its class has by default.
    #[serde(rename = "type")]
    pub kind: Option<CellKind>,
    /// Unit, put into the heading: `mg/dL`, `%`, `min`, `days`. Glucose follows the report's unit.
    pub unit: Option<String>,
    /// Decimals shown.
    pub digits: Option<u8>,
    /// Leaves the column out of the report; it stays in `tables/`.
    pub hidden: bool,
}

impl ColumnHeader {
    /// What the cells of the column are declared to be.
    pub fn declared_kind(&self) -> Option<CellKind> {
        self.kind.or_else(|| self.class.map(Class::default_kind))
    }
}

/// What the cells of a column are where they are not empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CellKind {
    /// Whole numbers.
    Integer,
    /// Numbers.
    Number,
    /// Texts.
    Text,
    /// Instants.
    Time,
    /// Dates.
    Date,
    /// True or false; in a table of the report as text.
    Boolean,
}

/// What the values of a column tell: privacy and the ends of an estimate go by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Class {
    /// A site, by its key.
    Site,
    /// A wearer, by name.
    Wearer,
    /// A sensor, by its label or number.
    Sensor,
    /// An instant or a date.
    Time,
    /// How many of something.
    Count,
    /// A fraction from 0 to 1.
    Share,
    /// A measured or estimated quantity.
    Estimate,
    /// Lower end of an interval.
    Lower,
    /// Upper end of an interval.
    Upper,
    /// A p-value.
    P,
    /// One of few words or codes that the program or the query names.
    Category,
    /// Anything that may tell who wore what: free text, a lot, a meter, a row of a file.
    Identifying,
}

impl Class {
    /// What the cells of a column of this class are, unless its header says otherwise.
    pub fn default_kind(self) -> CellKind {
        match self {
            Self::Site | Self::Wearer | Self::Sensor | Self::Category | Self::Identifying => {
                CellKind::Text
            }
            Self::Time => CellKind::Time,
            Self::Count => CellKind::Integer,
            Self::Share | Self::Estimate | Self::Lower | Self::Upper | Self::P => CellKind::Number,
        }
    }
}

/// A chart: its kind and the columns it draws.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Chart {
    /// The kind of drawing.
    pub kind: ChartKind,
    /// Column along the horizontal axis.
    pub x: String,
    /// Column along the vertical axis.
    pub y: String,
    /// Column of the lower end of an interval.
    pub lower: Option<String>,
    /// Column of the upper end of an interval.
    pub upper: Option<String>,
    /// Column that splits the rows into lines or panels.
    pub series: Option<String>,
    /// Column that tells the panels of a site apart.
    pub panel: Option<String>,
    /// Column that is 1 where a reading belongs to a stretch to be marked.
    pub marked: Option<String>,
    /// Column of single measurements beside the readings, in their unit.
    pub points: Option<String>,
    /// Column that shades a cell.
    pub value: Option<String>,
}

impl Chart {
    /// The columns that it names.
    pub fn columns(&self) -> impl Iterator<Item = &String> {
        let optional = [
            &self.lower,
            &self.upper,
            &self.series,
            &self.panel,
            &self.marked,
            &self.points,
            &self.value,
        ];
        [&self.x, &self.y]
            .into_iter()
            .chain(optional.into_iter().flatten())
    }
}

/// Kinds of chart that a header can ask for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ChartKind {
    /// Points joined by lines, with a band where there is an interval.
    #[default]
    Line,
    /// A step function that keeps its value up to the next point, with a band where there is an interval.
    Steps,
    /// Points, a panel for each series.
    Points,
    /// A dot with an interval for each value of `y`, along a horizontal axis `x`.
    Intervals,
    /// Bars from zero.
    Bars,
    /// Horizontal spans from `lower` to `upper` on a row for each value of `y`.
    Spans,
    /// Readings `y` over time `x`, a small picture for each `panel` of each site; the stretch where `marked` is 1 stands
    /// out, and `points` are drawn as marks. Other columns of text or time that are the same in all rows of a picture
    /// stand above it.
    Traces,
    /// A row of cells for each `y`, a cell for each clock hour `x` from 0 to 23, evening first, shaded by `value`, which
    /// stands in it.
    Strip,
}

impl ChartKind {
    /// The word for it in a header.
    pub fn word(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Steps => "steps",
            Self::Points => "points",
            Self::Intervals => "intervals",
            Self::Bars => "bars",
            Self::Spans => "spans",
            Self::Traces => "traces",
            Self::Strip => "strip",
        }
    }
}

/// The header and the SQL below it could not be read.
#[derive(Debug, thiserror::Error)]
#[error("line {line}: {message}")]
pub struct HeaderError {
    /// Line in the query file, from 1.
    pub line: usize,
    /// What is wrong.
    pub message: String,
}

impl Header {
    /// Reads the leading `--` lines of a query file, up to a blank line, as TOML. Lines without any key are
    /// prose, and no header.
    pub fn parse(sql: &str) -> Result<Self, HeaderError> {
        let lines: Vec<&str> = sql
            .lines()
            .map(str::trim_start)
            .take_while(|line| line.starts_with("--"))
            .map(|line| line.trim_start_matches('-'))
            .collect();
        if !lines.iter().any(|line| line.contains('=')) {
            return Ok(Self::default());
        }
        let text = lines.join("\n");
        toml::from_str(&text).map_err(|error: toml::de::Error| {
            let before = error.span().map_or("", |span| &text[..span.start]);
            let message = readable(error.message());
            let key = key_before(before).filter(|_| message.starts_with("unknown word"));
            HeaderError {
                line: before.matches('\n').count() + 1,
                message: key.map_or_else(|| message.clone(), |key| format!("`{key}`: {message}")),
            }
        })
    }
}

/// The key whose value stands behind a text.
fn key_before(text: &str) -> Option<&str> {
    let keys = text.trim_end().strip_suffix('=')?;
    keys.split([' ', '\n', ',', '{', '.'])
        .rfind(|word| !word.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_header() {
        let header = Header::parse(
            "-- title = \"Bias by day of wear\"\n\
             -- row = \"one site on one day of wear\"\n\
             -- section = \"accuracy\"\n\
             -- chart = { kind = \"line\", x = \"wear_day\", y = \"bias\", lower = \"lower\", upper = \"upper\", series = \"site\" }\n\
             -- [columns]\n\
             -- bias = { label = \"Bias\", unit = \"mg/dL\", digits = 1 }\n\
             SELECT 1 AS bias",
        )
        .unwrap();
        assert_eq!(header.title.as_deref(), Some("Bias by day of wear"));
        assert_eq!(header.chart.unwrap().kind, ChartKind::Line);
        assert_eq!(header.columns["bias"].digits, Some(1));
    }

    #[test]
    fn a_class_says_the_type_unless_the_header_does() {
        let header = Header::parse(
            "-- [columns]\n-- site = { class = \"site\" }\n-- night = { class = \"time\", type = \"date\" }\n-- x = {}",
        )
        .unwrap();
        let kind = |name: &str| header.columns[name].declared_kind();
        assert_eq!(kind("site"), Some(CellKind::Text));
        assert_eq!(kind("night"), Some(CellKind::Date));
        assert_eq!(kind("x"), None);
        assert!(Header::parse("-- [columns]\n-- site = { class = \"place\" }").is_err());
    }

    #[test]
    fn a_chart_names_its_columns() {
        let header = Header::parse(
            "-- chart = { kind = \"traces\", x = \"time\", y = \"reading\", panel = \"panel\", marked = \"in_artefact\", points = \"fingerstick\" }",
        );
        let chart = header.unwrap().chart;
        let names: Vec<&String> = chart.iter().flat_map(Chart::columns).collect();
        assert_eq!(
            names,
            ["time", "reading", "panel", "in_artefact", "fingerstick"]
        );
    }

    #[test]
    fn parameters_and_expectations() {
        let header = Header::parse(
            "-- [parameters]\n-- least = { type = \"integer\", default = 3 }\n\
             -- [expect]\n-- rows = [1, 9]\n-- not_null = [\"site\"]\nSELECT $least AS site",
        )
        .unwrap();
        assert_eq!(header.parameters["least"].default.as_integer(), Some(3));
        assert_eq!(header.expect.rows, Some(RowCount::Between([1, 9])));
        assert!(Header::parse("-- [parameters]\n-- least = { default = 3 }").is_err());
        assert!(Header::parse("-- [expect]\n-- row = 1").is_err());
    }

    #[test]
    fn no_header_is_a_header() {
        assert_eq!(Header::parse("SELECT 1").unwrap(), Header::default());
        assert_eq!(
            Header::parse("-- counts per week\nSELECT 1").unwrap(),
            Header::default()
        );
    }

    #[test]
    fn an_error_names_its_line() {
        let error = Header::parse("-- title = \"a\"\n-- titel = \"b\"\nSELECT 1").unwrap_err();
        assert_eq!(error.line, 2);
        assert!(error.message.contains("titel"), "{error}");
    }

    #[test]
    fn what_is_expected_names_its_columns() {
        let header = Header::parse(
            "-- [expect]\n-- not_null = [\"site\"]\n-- share = [\"came_off\"]\n-- unique = [\"site\", \"wearer\"]",
        );
        let expect = header.unwrap().expect;
        let names: Vec<&String> = expect.columns().collect();
        assert_eq!(names, ["site", "came_off", "site", "wearer"]);
    }

    #[test]
    fn a_kind_of_chart_is_read_by_its_word() {
        use ChartKind::{Bars, Intervals, Line, Points, Spans, Steps, Strip, Traces};
        for kind in [Line, Steps, Points, Intervals, Bars, Spans, Traces, Strip] {
            let word = kind.word();
            let header = Header::parse(&format!("-- chart = {{ kind = \"{word}\" }}"));
            assert_eq!(header.unwrap().chart.unwrap().kind, kind, "{word}");
        }
    }
}
