//! How many rows of a file a mapping does not read.

use std::collections::BTreeMap;
use std::path::Path;

use crate::error::LoadError;
use crate::fingersticks::parse_fingerstick;
use crate::input::Table;
use crate::readings::parse_readings;
use crate::records::Seen;
use crate::reject::Reject;
use crate::wear_events::{parse_rows, parse_wear_event};

use super::{Mapping, alone};

/// Share of rows from which on it has to be said before a mapping is written.
const TOO_MANY: f64 = 0.1;

/// Reasons that are told one by one.
const REASONS: usize = 5;

/// What is said of rows that a mapping does not read.
pub(super) enum Unread {
    Few(String),
    /// A question: the mapping may be wrong.
    Many(String),
}

/// What is to say of the rows of its own that a mapping does not read, where there are any.
pub(super) fn unread(path: &Path, mapping: &Mapping) -> Option<Unread> {
    let seen = match seen(path, mapping)? {
        Ok(seen) => seen,
        Err(error) => return Some(Unread::Many(error.to_string())),
    };
    let rows = seen.rows - seen.untaken.rows;
    if seen.rejects.count == 0 {
        return None;
    }
    let mut reasons: BTreeMap<(&str, &str), (u64, &Reject)> = BTreeMap::new();
    for reject in &seen.rejects.listed {
        let kind = reject.reason.split(['`', ':']).next().unwrap_or_default();
        let reason = reasons.entry((&reject.column, kind));
        reason.or_insert((0, reject)).0 += 1;
    }
    let mut reasons: Vec<(u64, &Reject)> = reasons.into_values().collect();
    reasons.sort_by_key(|(count, reject)| (std::cmp::Reverse(*count), reject.line));
    let named = reasons.iter().take(REASONS).map(|(count, reject)| {
        let Reject {
            line,
            reason,
            column,
            ..
        } = reject;
        let column = if column.is_empty() { "row" } else { column };
        format!("{count} for their {column} (line {line}: {reason})")
    });
    let named: Vec<String> = named.collect();
    let said = format!(
        "{} of {rows} rows are not read: {}",
        seen.rejects.count,
        named.join("; ")
    );
    Some(match seen.rejects.count as f64 >= TOO_MANY * rows as f64 {
        false => Unread::Few(said),
        true => Unread::Many(format!(
            "{said}. Correct the mapping, or leave such rows out by `rows`; where they are no loss, put it into study.toml by hand"
        )),
    })
}

fn seen(path: &Path, mapping: &Mapping) -> Option<Result<Seen, LoadError>> {
    let (input, settings) = alone(path, mapping)?;
    Some(match input.table {
        Table::Readings => parse_readings(&input, &settings).map(|(block, _, _)| block.seen),
        Table::Fingersticks => {
            let parsed = parse_rows(&input, &settings, parse_fingerstick, |row| &mut row.time);
            parsed.map(|parsed| parsed.seen)
        }
        Table::WearEvents | Table::Judgements => {
            let parsed = parse_rows(&input, &settings, parse_wear_event, |row| &mut row.time);
            parsed.map(|parsed| parsed.seen)
        }
    })
}
