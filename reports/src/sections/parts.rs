//! Points of lists that several sections have.

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
    let view = View::named(context, "site_nights")?;
    let count = total(&view, "unchecked");
    (count > 0.0).then(|| item(point, &[("count", &context.number(count, 0))]))
}

/// The site on which most sensors ended for skin trouble.
pub(super) fn skin(context: &Context, point: &Point) -> Option<Item> {
    let view = View::named(context, "site_skin")?;
    let (row, count) = most(&view, "reactions")?;
    let values = [
        ("site", &*view.text(row, "site")),
        ("sensors", &*context.text.sensors(count)),
    ];
    Some(item(point, &values))
}

/// The sum of a column.
pub(super) fn total(view: &View, column: &str) -> f64 {
    let values = view.rows.iter().filter_map(|&row| view.value(row, column));
    values.sum()
}

/// The row with the highest value above zero, the first of equals.
pub(super) fn most(view: &View, column: &str) -> Option<(usize, f64)> {
    let mut best: Option<(usize, f64)> = None;
    for &row in &view.rows {
        let value = view.value(row, column).unwrap_or(0.0);
        if value > best.map_or(0.0, |(_, value)| value) {
            best = Some((row, value));
        }
    }
    best
}
