//! The annex: one question, one picture, one short table. All else stays in the files beside the report, linked by name.

use whereworn_model::header::Class;
use whereworn_model::table::{Cell, ResultTable};

use crate::catalogue::fill;
use crate::chart;
use crate::context::Context;
use crate::document::{Block, Files, Heading, Link, Table};
use crate::edition::Excerpt;
use crate::error::ReportError;
use crate::escape::file_stem;
use crate::view::{Shown, View};
use crate::words::SectionText;

use super::parts;

/// The answer to one question; nothing where the study holds nothing on it, save what the catalogue says of that.
pub(crate) fn blocks(
    context: &Context,
    text: &SectionText,
    excerpt: &Excerpt,
) -> Result<Vec<Block>, ReportError> {
    let view = |name: &Option<String>| View::named(context, name.as_deref()?);
    let (picture, table) = (view(&excerpt.picture), view(&excerpt.table));
    let of_none = |table: &View| {
        let of = excerpt.of.as_ref();
        of.is_some_and(|of| parts::total(table, of) == 0.0)
    };
    if (picture.is_none() && table.is_none()) || table.as_ref().is_some_and(of_none) {
        let missing = Some(text.missing.clone()).filter(|text| !text.is_empty());
        return Ok(missing.into_iter().map(Block::Paragraph).collect());
    }
    let of_picture = picture.iter().flat_map(|_| &text.of_picture);
    let intro = text.intro.iter().chain(of_picture).cloned();
    let mut out: Vec<Block> = intro.map(Block::Paragraph).collect();
    let counted_all = |view: &View| parts::of_all(context, &[view]);
    let of_all = picture.as_ref().and_then(counted_all);
    // Said once, and not above a picture of the wearer's own sensors.
    let of_table = table.as_ref().filter(|_| of_all.is_none());
    let of_table = of_table.and_then(counted_all);
    out.extend(of_all);
    if let Some(view) = picture {
        out.extend(chart::of_table(&view)?.map(Block::Picture));
    }
    out.extend(of_table);
    if let Some(view) = table {
        let said = text.of_table.iter().map(|said| counted(&view, said));
        out.extend(said.map(Block::Paragraph));
        out.push(Block::Table(short(&view, excerpt)));
        out.extend(view.table.header.note.clone().map(Block::Paragraph));
    }
    out.extend(files(context, &excerpt.sections));
    Ok(out)
}

/// A text with the sums of the columns of counts that it names.
fn counted(view: &View, text: &str) -> String {
    let counts = view.table.columns.iter();
    let counts = counts.filter(|column| column.header.class == Some(Class::Count));
    let sum = |name: &str| view.context.number(parts::total(view, name), 0);
    let sums: Vec<(&str, String)> = counts.map(|c| (&*c.name, sum(&c.name))).collect();
    let values: Vec<(&str, &str)> = sums.iter().map(|(name, sum)| (*name, &**sum)).collect();
    fill(text, &values)
}

/// Links to all tables of some sections, for who wants the whole of it.
pub(crate) fn files(context: &Context, sections: &[String]) -> Option<Block> {
    let of_sections = |table: &&ResultTable| {
        let section = table.header.section.as_ref();
        !table.own_query && section.is_some_and(|section| sections.contains(section))
    };
    let tables = context.input.tables.iter().filter(of_sections);
    let mut links: Vec<Link> = tables.map(link).collect();
    links.sort_by(|a, b| a.address.cmp(&b.address));
    (!links.is_empty()).then(|| {
        Block::Files(Files {
            lead: context.text.table.files.clone(),
            links,
        })
    })
}

/// A link to a table's file.
pub(super) fn link(table: &ResultTable) -> Link {
    Link {
        text: table.title(),
        address: format!("tables/{}.csv", file_stem(&table.name)),
    }
}

/// The rows that matter of the columns wanted, wearers only where there are several: the newest or largest first where the excerpt names a column for that.
fn short(view: &View, excerpt: &Excerpt) -> Table {
    let alone = view.context.wearers().len() < 2;
    let columns: Vec<Shown> = excerpt
        .columns
        .iter()
        .filter_map(|name| {
            let column = view.table.column(name)?;
            if alone && column.header.class == Some(Class::Wearer) {
                return None;
            }
            let bounds = view
                .bounds(name)
                .filter(|_| excerpt.intervals.contains(name));
            Some(Shown { column, bounds })
        })
        .collect();
    let mut rows = view.rows.clone();
    if let Some(by) = &excerpt.first {
        let key = |row| match view.table.cell(row, by) {
            Cell::Time(at) => *at as f64,
            cell => cell.as_number().unwrap_or(f64::NEG_INFINITY),
        };
        rows.sort_by(|&a, &b| key(b).total_cmp(&key(a)));
    }
    let all = rows.len();
    rows.truncate(excerpt.rows);
    let mut table = of_columns(view, &columns, &rows);
    if rows.len() < all {
        table.caption = some_rows(view.context, &table.caption, (rows.len(), all));
    }
    table
}

/// A caption that says how many rows of how many are shown.
pub(super) fn some_rows(context: &Context, caption: &str, (shown, all): (usize, usize)) -> String {
    let counts = [shown.to_string(), all.to_string()];
    let values = [
        ("caption", caption),
        ("shown", &*counts[0]),
        ("rows", &*counts[1]),
    ];
    fill(&context.text.table.some_rows, &values)
}

/// Some columns of some rows.
pub(super) fn of_columns(view: &View, columns: &[Shown], rows: &[usize]) -> Table {
    let headings = columns.iter().map(|shown| Heading {
        text: view.heading(&shown.column.name),
        kind: view.kind(shown.column),
    });
    let cells = |row: usize| {
        let cell = |shown: &Shown| match shown.bounds {
            Some(_) => view.estimate(row, &shown.column.name),
            None => view.text(row, &shown.column.name),
        };
        columns.iter().map(cell).collect()
    };
    Table {
        caption: match &view.table.header.row {
            Some(row) => fill(&view.context.text.table.row, &[("row", row)]),
            None => view.table.title(),
        },
        headings: headings.collect(),
        rows: rows.iter().map(|&row| cells(row)).collect(),
    }
}
