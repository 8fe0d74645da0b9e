//! `plan-log.csv`: every draw that was made, only added to.

use jiff::Timestamp;
use whereworn_model::header::{CellKind, ColumnHeader};
use whereworn_model::table::{Cell, ResultTable};

use crate::history::Side;

/// The first line of the file.
pub const HEADER: &str =
    "drawn_at,wearer,number,site,side,block,model,allowed,probability,seed,version,chances\n";

/// A draw as it was written down, before the sensor went in.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedDraw {
    /// When it was drawn.
    pub drawn_at: Timestamp,
    /// Who is to wear it.
    pub wearer: String,
    /// Its number among the wearer's draws, from 1.
    pub number: usize,
    /// Key of the site.
    pub site: String,
    /// The side.
    pub side: Side,
    /// The block within wearer and model, from 1.
    pub block: usize,
    /// The model that was to be worn; empty where none is logged.
    pub model: String,
    /// Keys of the sites that were open.
    pub allowed: Vec<String>,
    /// The probability that the site had.
    pub probability: f64,
    /// The seed.
    pub seed: u64,
    /// The program's version.
    pub version: String,
    /// The probability of each site that was open, in the order of `allowed`; empty where it cannot be told, in a log of a
    /// version that did not write it.
    pub chances: Vec<f64>,
}

/// A row of the log that cannot be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "plan-log.csv line {line}: {message}: it is written by `whereworn plan` and only added to; put back the line as it was"
)]
pub struct LogError {
    /// Line of the file, from 1.
    pub line: u64,
    /// What is wrong.
    pub message: String,
}

/// Reads the text of a log.
///
/// # Errors
/// The first row that cannot be read, by its line.
pub fn parse(text: &str) -> Result<Vec<LoggedDraw>, LogError> {
    let mut reader = csv::ReaderBuilder::new().from_reader(text.as_bytes());
    let broken = |line: u64, message: String| LogError { line, message };
    let headers = reader
        .headers()
        .map_err(|error| broken(1, error.to_string()))?
        .clone();
    let mut draws = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| {
            let line = error.position().map_or(0, csv::Position::line);
            broken(line, "it has not as many fields as the header".to_owned())
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let field = |name: &str| -> Result<&str, LogError> {
            let place = headers.iter().position(|header| header == name);
            place
                .and_then(|place| record.get(place))
                .ok_or_else(|| broken(1, format!("the column `{name}` is missing")))
        };
        draws.push(draw(&field).map_err(|(name, text)| match text {
            Some(text) => broken(line, format!("`{text}` is no {name}")),
            None => broken(1, format!("the column `{name}` is missing")),
        })?);
    }
    Ok(draws)
}

type Fault = (&'static str, Option<String>);

fn draw<'t>(field: &impl Fn(&str) -> Result<&'t str, LogError>) -> Result<LoggedDraw, Fault> {
    let text = |name: &'static str| field(name).map_err(|_| (name, None));
    fn number<T: std::str::FromStr>(name: &'static str, text: &str) -> Result<T, Fault> {
        text.parse().map_err(|_| (name, Some(text.to_owned())))
    }
    let side = text("side")?;
    let site = text("site")?;
    let allowed: Vec<String> = text("allowed")?.split('+').map(str::to_owned).collect();
    let probability = number("probability", text("probability")?)?;
    let chances = match field("chances") {
        Ok(text) if !text.is_empty() => {
            let chances: Result<Vec<f64>, _> = text.split('+').map(str::parse).collect();
            let all = chances
                .ok()
                .filter(|chances| chances.len() == allowed.len());
            all.ok_or(("chances", Some(text.to_owned())))?
        }
        _ => of_two(&allowed, site, probability),
    };
    Ok(LoggedDraw {
        drawn_at: number("drawn_at", text("drawn_at")?)?,
        wearer: text("wearer")?.to_owned(),
        number: number("number", text("number")?)?,
        site: site.to_owned(),
        side: Side::parse(side).ok_or(("side", Some(side.to_owned())))?,
        block: number("block", text("block")?)?,
        model: text("model")?.to_owned(),
        allowed,
        probability,
        seed: number("seed", text("seed")?)?,
        version: text("version")?.to_owned(),
        chances,
    })
}

/// The chances of one or two open sites, of which one is known.
fn of_two(allowed: &[String], site: &str, probability: f64) -> Vec<f64> {
    let of = |open: &String| {
        if open == site {
            probability
        } else {
            1.0 - probability
        }
    };
    match allowed.len() {
        1 | 2 => allowed.iter().map(of).collect(),
        _ => Vec::new(),
    }
}

/// The log as the table `plan_log`, which queries join.
#[must_use]
pub fn table(draws: &[LoggedDraw]) -> ResultTable {
    type Column = (&'static str, CellKind, fn(&LoggedDraw) -> Cell);
    const COLUMNS: [Column; 10] = [
        ("drawn_at", CellKind::Time, |draw| {
            Cell::Time(draw.drawn_at.as_microsecond())
        }),
        ("wearer", CellKind::Text, |draw| Cell::text(&*draw.wearer)),
        ("number", CellKind::Integer, |draw| {
            Cell::Integer(draw.number as i64)
        }),
        ("site", CellKind::Text, |draw| Cell::text(&*draw.site)),
        ("side", CellKind::Text, |draw| Cell::text(draw.side.word())),
        ("block", CellKind::Integer, |draw| {
            Cell::Integer(draw.block as i64)
        }),
        ("model", CellKind::Text, |draw| Cell::text(&*draw.model)),
        ("allowed", CellKind::Text, |draw| {
            Cell::text(draw.allowed.join("+"))
        }),
        ("probability", CellKind::Number, |draw| {
            Cell::Number(draw.probability)
        }),
        ("chances", CellKind::Text, |draw| {
            Cell::text(joined(&draw.chances))
        }),
    ];
    let column = |(name, kind, of): Column| whereworn_model::table::Column {
        name: name.to_owned(),
        kind,
        header: ColumnHeader::default(),
        cells: draws.iter().map(of).collect(),
    };
    ResultTable {
        name: "plan_log".to_owned(),
        columns: COLUMNS.map(column).into(),
        ..ResultTable::default()
    }
}

fn joined(chances: &[f64]) -> String {
    let chances: Vec<String> = chances.iter().map(f64::to_string).collect();
    chances.join("+")
}

/// The lines of draws, as they are added to a file that begins with `header`: one of an earlier version has no `chances`.
#[must_use]
pub fn lines(draws: &[LoggedDraw], header: &str) -> String {
    let columns = header.trim_end().split(',').count();
    let mut writer = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(Vec::new());
    for draw in draws {
        let fields = [
            draw.drawn_at.to_string(),
            draw.wearer.clone(),
            draw.number.to_string(),
            draw.site.clone(),
            draw.side.word().to_owned(),
            draw.block.to_string(),
            draw.model.clone(),
            draw.allowed.join("+"),
            draw.probability.to_string(),
            draw.seed.to_string(),
            draw.version.clone(),
            joined(&draw.chances),
        ];
        // Writing to memory does not fail.
        let _ = writer.write_record(fields.iter().take(columns));
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> LoggedDraw {
        LoggedDraw {
            drawn_at: "2026-04-02T09:30:00Z".parse().unwrap(),
            wearer: "kelp, the \"elder\"".to_owned(),
            number: 7,
            site: "abdomen".to_owned(),
            side: Side::Left,
            block: 2,
            model: String::new(),
            allowed: vec!["abdomen".to_owned(), "upper-arm-back".to_owned()],
            probability: 0.1 + 0.2,
            seed: 42,
            version: "0.1.0".to_owned(),
            chances: vec![0.1 + 0.2, 0.7],
        }
    }

    #[test]
    fn what_is_written_is_read_again() {
        let draws = vec![
            example(),
            LoggedDraw {
                number: 8,
                ..example()
            },
        ];
        let text = HEADER.to_owned() + &lines(&draws, HEADER);
        assert_eq!(parse(&text), Ok(draws));
        assert_eq!(parse(HEADER), Ok(Vec::new()));
    }

    /// Of two sites the other has the rest; of three nobody can tell.
    #[test]
    fn a_log_without_chances_is_read_and_added_to() {
        let header = HEADER.replace(",chances", "");
        let three = ["abdomen", "chest", "calf"].map(str::to_owned);
        let draws = [
            example(),
            LoggedDraw {
                allowed: three.into(),
                ..example()
            },
        ];
        let text = header.clone() + &lines(&draws, &header);
        assert!(
            text.lines()
                .all(|line| line.ends_with("version") || line.ends_with("0.1.0"))
        );
        let read = parse(&text).unwrap();
        assert_eq!(read[0].chances, [0.1 + 0.2, 1.0 - (0.1 + 0.2)]);
        assert!(read[1].chances.is_empty());
    }

    #[test]
    fn a_broken_row_is_named() {
        let row = lines(&[example()], HEADER);
        for (text, line, word) in [
            (
                HEADER.to_owned() + &row + &row.replace("abdomen,left", "abdomen,up"),
                3,
                "`up` is no side",
            ),
            (
                HEADER.to_owned() + &row.replace(",42,", ",many,"),
                2,
                "`many` is no seed",
            ),
            (
                HEADER.to_owned() + &row.replace("+0.7", ""),
                2,
                "is no chances",
            ),
            (
                HEADER.to_owned() + "2026-04-02T09:30:00Z,kelp\n",
                2,
                "as many fields",
            ),
            (
                HEADER.replace(",block", "") + &row.replacen(",2,", ",", 1),
                1,
                "`block` is missing",
            ),
        ] {
            let error = parse(&text).unwrap_err();
            assert_eq!(error.line, line, "{error}");
            assert!(error.to_string().contains(word), "{error}");
        }
    }
}
