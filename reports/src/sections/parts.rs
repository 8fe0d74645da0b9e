//! Points of lists that several sections have.

use whereworn_model::header::Class;
use whereworn_model::table::Column;
use whereworn_model::tables::{night_artefacts, sessions};

use crate::catalogue::fill;
use crate::chart::traces::LOW_MGDL;
use crate::context::Context;
use crate::document::{Block, Item};
use crate::levels::in_unit;
use crate::view::{Group, View};
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

/// Falls at night that no fingerstick checked, and those of them that may have been lows; none where none may.
pub(super) fn unchecked(context: &Context, point: &Point) -> Option<Item> {
    let view = View::named(context, night_artefacts::NAME)?;
    let text = |row, name| view.table.text(row, name);
    let unchecked = view.rows.iter().copied().filter(|&row| {
        text(row, night_artefacts::column::EVIDENCE) == "unchecked"
            && view.table.number(row, night_artefacts::column::COUNTED) == Some(1.0)
    });
    let unchecked: Vec<usize> = unchecked.collect();
    let low = unchecked.iter().filter(|&&row| {
        let nadir = view.table.number(row, night_artefacts::column::NADIR);
        nadir.is_some_and(|nadir| nadir < LOW_MGDL)
    });
    let low = low.count();
    let level = in_unit("{70 mg/dL}", context.unit, &context.text.decimal);
    let values = [
        ("count", &*unchecked.len().to_string()),
        ("low", &*low.to_string()),
        ("level", &*level),
    ];
    (low > 0).then(|| item(point, &values))
}

/// The sites on which most sensors ended for skin trouble.
pub(super) fn skin(context: &Context, point: &Point) -> Option<Item> {
    let view = View::named(context, sessions::NAME)?;
    let sites = most_ended(&view, &ended(&view, &["reaction"]));
    let count = sites.iter().map(|site| site.rows.len()).sum::<usize>();
    let values = [
        ("site", &*labels(&sites)),
        ("sensors", &*context.text.sensors(count as f64)),
    ];
    (count > 0).then(|| item(point, &values))
}

/// Sensors that ended by some causes, as rows of the table of sessions.
pub(super) fn ended(sessions: &View, causes: &[&str]) -> Vec<usize> {
    let rows = sessions.rows.iter().copied();
    let cause = |row| sessions.table.text(row, sessions::column::CAUSE);
    rows.filter(|&row| causes.contains(&cause(row))).collect()
}

/// The sites with most of some sensors, and which they are there.
pub(super) fn most_ended(sessions: &View, rows: &[usize]) -> Vec<Group> {
    let mut sites = sessions.groups_of(rows, Some(sessions::column::SITE));
    let most = sites.iter().map(|site| site.rows.len()).max();
    sites.retain(|site| Some(site.rows.len()) == most);
    sites
}

/// The names of some sites.
pub(super) fn labels(sites: &[Group]) -> String {
    let labels: Vec<&str> = sites.iter().map(|site| site.label.as_str()).collect();
    labels.join(", ")
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
