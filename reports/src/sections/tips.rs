//! Tips from the study's own log: how sensors ended, and where.

use std::collections::BTreeMap;

use whereworn_model::tables::{sensor_accuracy, sessions};

use super::excerpts::link;
use super::parts::{self, item, labels, most_ended, skin};
use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Files, Item};
use crate::view::View;
use crate::words::{Point, SectionText};

/// Pairs of a sensor below which its own level is hardly known: common practice, no source.
const FEW_PAIRS: f64 = 5.0;

/// How sensors end that came loose.
const LOOSE: [&str; 2] = ["fell-off", "lifted"];

/// The section's blocks.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let words = &context.text.tips;
    let mut items = Vec::new();
    let mut tapes = None;
    if let Some(view) = View::named(context, sessions::NAME) {
        items.extend(ended(&view, &["knocked-off"], &words.knocked));
        let noted = tape_is_noted(&view);
        let point = if noted { &words.taped } else { &words.loose };
        let loose = ended(&view, &LOOSE, point);
        tapes = loose.as_ref().and_then(|_| tapes_of(context, noted));
        items.extend(loose);
    }
    items.extend(skin(context, &words.skin));
    items.extend(checks(context));
    match items.is_empty() {
        true => vec![Block::Paragraph(text.missing.clone())],
        false => std::iter::once(Block::List(items)).chain(tapes).collect(),
    }
}

/// Whether the log has the tape, or that there was none, of every sensor that came loose.
fn tape_is_noted(view: &View) -> bool {
    let noted = |&row: &usize| !view.table.text(row, sessions::column::TAPE).is_empty();
    parts::ended(view, &LOOSE).iter().all(noted)
}

/// A link to the table that sets tape against none.
fn tapes_of(context: &Context, noted: bool) -> Option<Block> {
    let view = View::named(context, "site_tape").filter(|_| noted)?;
    Some(Block::Files(Files {
        lead: context.text.tips.tapes.clone(),
        links: vec![link(view.table)],
    }))
}

/// Sensors that ended by some causes, of all that were worn, and the sites with most of them.
fn ended(view: &View, causes: &[&str], point: &Point) -> Option<Item> {
    let context = view.context;
    let of_causes = parts::ended(view, causes);
    let top = most_ended(view, &of_causes);
    let at_top = top.iter().map(|site| site.rows.len()).sum::<usize>();
    let here = match at_top == of_causes.len() {
        true => &context.text.tips.at,
        false => &context.text.tips.most_at,
    };
    let values = [
        ("count", &*of_causes.len().to_string()),
        ("sensors", &*context.text.sensors(view.rows.len() as f64)),
        ("where", &*fill(here, &[("site", &labels(&top))])),
    ];
    (at_top > 0).then(|| item(point, &values))
}

/// Sensors on which few fingersticks met a reading; those without any need it most, and have no row among the paired.
fn checks(context: &Context) -> Option<Item> {
    let paired = View::named(context, sensor_accuracy::NAME)?;
    let worn = View::named(context, sessions::NAME)?;
    let name = |view: &View, row| {
        let text = |column| view.table.text(row, column).to_owned();
        let columns = [
            sessions::column::WEARER,
            sessions::column::SENSOR,
            sessions::column::SITE,
        ];
        columns.map(text)
    };
    let pairs: BTreeMap<_, _> = paired
        .rows
        .iter()
        .filter_map(|&row| {
            let pairs = paired.value(row, sensor_accuracy::column::PAIRS)?;
            Some((name(&paired, row), pairs))
        })
        .collect();
    let of = |&&row: &&usize| pairs.get(&name(&worn, row)).copied().unwrap_or(0.0) < FEW_PAIRS;
    let few = worn.rows.iter().filter(of).count();
    let values = [
        ("count", &*few.to_string()),
        ("sensors", &*context.text.sensors(worn.rows.len() as f64)),
    ];
    let any = pairs.values().any(|pairs| *pairs > 0.0);
    (few > 0 && any).then(|| item(&context.text.tips.checks, &values))
}
