//! Points of lists that several sections have.

use whereworn_model::header::Class;
use whereworn_model::table::Column;
use whereworn_model::tables::{sessions, site_nights};

use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Item};
use crate::view::View;
use crate::words::Point;

/// Points of the catalogue as a list.
pub(super) fn points(points: &[Point], values: &[(&str, &str)]) -> Block {
    Block::List(
        points
            .iter()
            .map(|point| Item {
                lead: point.lead.clone(),
                text: fill(&point.text, values),
            })
            .collect(),
    )
}

/// A point with its text filled in.
pub(super) fn item(point: &Point, values: &[(&str, &str)]) -> Item {
    Item {
        lead: fill(&point.lead, values),
        text: fill(&point.text, values),
    }
}

/// Runs of low readings at night that no fingerstick checked.
pub(super) fn unchecked(context: &Context, point: &Point) -> Option<Item> {
    let view = View::named(context, site_nights::NAME)?;
    let count = total(&view, site_nights::column::UNCHECKED);
    (count > 0.0).then(|| item(point, &[("count", &context.number(count, 0))]))
}

/// The sites on which most sensors ended for skin trouble.
pub(super) fn skin(context: &Context, point: &Point) -> Option<Item> {
    let view = View::named(context, sessions::NAME)?;
    let (sites, count) = most_ended(&view, &ended(&view, &["reaction"]))?;
    let values = [
        ("site", &*sites),
        ("sensors", &*context.text.sensors(count)),
    ];
    Some(item(point, &values))
}

/// Sensors that ended by some causes, as rows of the table of sessions.
pub(super) fn ended(sessions: &View, causes: &[&str]) -> Vec<usize> {
    let rows = sessions.rows.iter().copied();
    let cause = |row| sessions.table.text(row, sessions::column::CAUSE);
    rows.filter(|&row| causes.contains(&cause(row))).collect()
}

/// The sites with most of some sensors, and how many they are there.
pub(super) fn most_ended(sessions: &View, rows: &[usize]) -> Option<(String, f64)> {
    let sites = sessions.groups_of(rows, Some(sessions::column::SITE));
    most(
        sites
            .iter()
            .map(|site| (site.label.clone(), site.rows.len() as f64)),
    )
}

/// Who is counted, where a table has all people and the report is one person's.
pub(super) fn of_all(context: &Context, tables: &[&View]) -> Option<Block> {
    let of_group = |view: &&View| {
        let class = |column: &Column| column.header.class == Some(Class::Wearer);
        !view.table.columns.iter().any(class)
    };
    let count = context.everyone?.to_string();
    let said = fill(&context.text.page.of_all, &[("count", &count)]);
    tables
        .iter()
        .any(of_group)
        .then_some(Block::Paragraph(said))
}

/// The sum of a column.
pub(super) fn total(view: &View, column: &str) -> f64 {
    let values = view.rows.iter().filter_map(|&row| view.value(row, column));
    values.sum()
}

/// The name with the highest count above zero, or all names that share it, and the count.
pub(super) fn most(counts: impl Iterator<Item = (String, f64)>) -> Option<(String, f64)> {
    let mut best: (Vec<String>, f64) = (Vec::new(), 0.0);
    for (name, count) in counts.filter(|(_, count)| *count > 0.0) {
        if count > best.1 {
            best = (vec![name], count);
        } else if count == best.1 {
            best.0.push(name);
        }
    }
    (!best.0.is_empty()).then(|| (best.0.join(", "), best.1))
}
