//! What went together with a site: models, tape, sides, seasons and wearers, by number of sensors. Where a site was worn with
//! another model than the others, its figures may be the model's.

use std::collections::BTreeMap;

use jiff::Timestamp;
use whereworn_model::table::Cell;
use whereworn_model::tables::sessions;

use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Heading, Kind, Table};
use crate::view::View;

/// Most values of a thing that are told one by one.
const MOST_LEVELS: usize = 6;

/// Sensors by value of one thing, for each site.
struct Thing {
    heading: String,
    levels: Vec<String>,
    counts: BTreeMap<(usize, usize), usize>,
}

/// The table; nothing where nothing was worn or nothing differed.
pub(crate) fn blocks(context: &Context) -> Vec<Block> {
    let text = &context.text.together;
    let Some(view) = View::named(context, sessions::NAME) else {
        return Vec::new();
    };
    let sites = view.groups(Some(sessions::column::SITE));
    let of_row: Vec<Option<usize>> = (0..view.table.rows())
        .map(|row| sites.iter().position(|site| site.rows.contains(&row)))
        .collect();
    let by_column = |name: &'static str| {
        let view = &view;
        move |row: usize| {
            let known = !view.table.text(row, name).is_empty();
            known.then(|| (view.table.text(row, name).to_owned(), view.text(row, name)))
        }
    };
    let of = |heading: &str, column| thing(heading, &of_row, by_column(column));
    let season = |row| quarter(context, view.table.cell(row, sessions::column::INSERTED));
    let things: Vec<Thing> = [
        of(&text.model, sessions::column::MODEL),
        of(&text.tape, sessions::column::TAPE),
        of(&text.side, sessions::column::SIDE),
        thing(&text.season, &of_row, season),
        of(&text.wearer, sessions::column::WEARER),
    ]
    .into_iter()
    .filter(|thing| (2..=MOST_LEVELS).contains(&thing.levels.len()))
    .collect();
    if things.is_empty() || sites.len() < 2 {
        return Vec::new();
    }
    let heading = |text: &str| Heading {
        text: text.to_owned(),
        kind: Kind::Text,
    };
    let mut headings = vec![heading(&view.heading(sessions::column::SITE))];
    headings.extend(things.iter().map(|thing| heading(&thing.heading)));
    let rows = sites.iter().enumerate().map(|(at, site)| {
        let mut cells = vec![site.label.clone()];
        cells.extend(things.iter().map(|thing| thing.cell(at, &text.count)));
        cells
    });
    vec![
        Block::Table(Table {
            caption: text.caption.clone(),
            headings,
            rows: rows.collect(),
        }),
        Block::Paragraph(text.explain.clone()),
    ]
}

impl Thing {
    fn cell(&self, site: usize, template: &str) -> String {
        let parts = self.levels.iter().enumerate().filter_map(|(at, level)| {
            let count = self.counts.get(&(site, at))?.to_string();
            Some(fill(template, &[("level", level), ("count", &count)]))
        });
        parts.collect::<Vec<_>>().join(" · ")
    }
}

/// Counts rows of each site by a value: its key, by which values are ordered, and its words.
fn thing(
    heading: &str,
    of_row: &[Option<usize>],
    level: impl Fn(usize) -> Option<(String, String)>,
) -> Thing {
    let found: Vec<(usize, (String, String))> = of_row
        .iter()
        .enumerate()
        .filter_map(|(row, site)| Some(((*site)?, level(row)?)))
        .collect();
    let levels = found.iter().map(|(_, (key, word))| (key, word));
    let levels: BTreeMap<&String, &String> = levels.collect();
    let mut counts = BTreeMap::new();
    for (site, (key, _)) in &found {
        let at = levels.keys().position(|known| *known == key).unwrap_or(0);
        *counts.entry((*site, at)).or_insert(0) += 1;
    }
    Thing {
        heading: heading.to_owned(),
        levels: levels.into_values().cloned().collect(),
        counts,
    }
}

/// The quarter of the year in which a sensor was put on.
fn quarter(context: &Context, cell: &Cell) -> Option<(String, String)> {
    let date = match cell {
        Cell::Time(at) => Timestamp::from_microsecond(*at)
            .ok()?
            .to_zoned_datetime(context.zone.clone())
            .date(),
        Cell::Date(date) => *date,
        _ => return None,
    };
    let first = (date.month() as usize - 1) / 3 * 3;
    let names = &context.text.months_short;
    let words = format!("{}–{}", names.get(first)?, names.get(first + 2)?);
    Some((first.to_string(), words))
}
