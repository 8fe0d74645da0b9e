//! Site by site, and what the next sensor there will do.

use whereworn_model::tables::site_comparison::{self, column as comparison};
use whereworn_model::tables::{next_sensor, sessions};

use super::first::{off_label, order};
use crate::catalogue::fill;
use crate::chart::body::Body;
use crate::chart::titled;
use crate::claims::{Claim, LEAST_SENSORS, Verdict, read};
use crate::context::Context;
use crate::document::{Block, Heading, Item, Kind, Table};
use crate::error::ReportError;
use crate::sentences::{claim, sentence, worn};
use crate::view::View;
use crate::words::NextText;

/// The section's blocks: a table, the sites on the body, and where the edition has it a point for each site.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let Some(view) = View::named(context, site_comparison::NAME) else {
        return Ok(Vec::new());
    };
    let mut out = Vec::new();
    if context.plan().points {
        out.push(Block::List(points(&view)));
    } else {
        out.push(Block::Table(table(&view)));
        if View::named(context, next_sensor::NAME).is_some() {
            out.push(Block::Paragraph(context.text.next.explain.clone()));
            let of_one = context.everyone.map(|_| &context.text.next.explain_own);
            out.extend(of_one.cloned().map(Block::Paragraph));
        }
    }
    if let Some(body) = Body::of(&view) {
        let title = context.text.chart.body.title.clone();
        out.push(Block::Picture(titled(&view, &body, "site_body", title)?));
    }
    Ok(out)
}

/// Whose sensors a forecast rests on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Whose {
    /// Of all who wear here, in a report that is no one's own.
    Everyone,
    Own,
    /// Of others, where the wearer whose report it is has worn none.
    Others,
}

/// The row of a site in the table of next sensors, and whose sensors it is of.
fn next_row(next: &View, site: &str) -> Option<(usize, Whose)> {
    let rows = next.table.rows_where(next_sensor::column::SITE, site);
    let of = |wearer: &str| {
        let mut rows = rows.iter().copied();
        rows.find(|&row| next.table.text(row, next_sensor::column::WEARER) == wearer)
    };
    if next.context.everyone.is_none() {
        return of("").map(|row| (row, Whose::Everyone));
    }
    let own = next.context.input.wearer.and_then(of);
    let others = || of("").filter(|_| own_worn(next.context, site) == 0);
    own.map(|row| (row, Whose::Own))
        .or_else(|| others().map(|row| (row, Whose::Others)))
}

/// Sensors of a site in a report for one of several, whose tables hold that wearer's sensors alone.
fn own_worn(context: &Context, site: &str) -> usize {
    let sessions = View::named(context, sessions::NAME);
    sessions.map_or(0, |own| {
        own.table.rows_where(sessions::column::SITE, site).len()
    })
}

/// The two ends of a range in a row.
fn range(view: &View, row: usize, lower: &str, upper: &str) -> Option<(String, String)> {
    let ends = view.value(row, lower).zip(view.value(row, upper))?;
    Some((view.write(lower, ends.0), view.write(upper, ends.1)))
}

/// A number with its sign, a plus as well.
fn signed(number: String) -> String {
    match number.starts_with(|c: char| c.is_ascii_digit())
        && number.contains(|c: char| ('1'..='9').contains(&c))
    {
        true => format!("+{number}"),
        false => number,
    }
}

/// What the next sensor of a site will do: how it reads, how often it is far off, and how long it lasts.
struct Next {
    whose: Option<Whose>,
    /// Sensors that it rests on.
    sensors: Option<f64>,
    reads: Option<(String, String)>,
    beyond: Option<String>,
    days: Option<String>,
    lasts: Option<(String, String)>,
}

/// The share of sensors that are far off, with its interval where there is one.
fn share_beyond(view: &View, row: usize) -> Option<String> {
    const BEYOND: &str = next_sensor::column::BEYOND_15;
    view.value(row, BEYOND)?;
    let share = view.short(row, BEYOND);
    let Some((lower, upper)) = view.interval(row, BEYOND) else {
        return Some(share);
    };
    let (lower, upper) = (view.write(BEYOND, lower), view.write(BEYOND, upper));
    let values = [("value", &*share), ("lower", &*lower), ("upper", &*upper)];
    Some(fill(&view.context.text.next.with_range, &values))
}

fn next(view: Option<&View>, site: &str) -> Next {
    let row = view.and_then(|view| next_row(view, site));
    let found = view.zip(row.map(|(row, _)| row));
    let cell = |name| {
        let (view, row) = found?;
        view.value(row, name).map(|_| view.short(row, name))
    };
    Next {
        whose: row.map(|(_, whose)| whose),
        sensors: found.and_then(|(view, row)| view.value(row, next_sensor::column::SESSIONS)),
        reads: found
            .and_then(|(view, row)| {
                range(
                    view,
                    row,
                    next_sensor::column::BIAS_LOWER,
                    next_sensor::column::BIAS_UPPER,
                )
            })
            .map(|(lower, upper)| (signed(lower), signed(upper))),
        beyond: found.and_then(|(view, row)| share_beyond(view, row)),
        days: cell(next_sensor::column::DAYS_MEDIAN),
        lasts: found.and_then(|(view, row)| {
            range(
                view,
                row,
                next_sensor::column::DAYS_LOWER,
                next_sensor::column::DAYS_UPPER,
            )
        }),
    }
}

impl Next {
    /// The cells of the table.
    fn cells(self, text: &NextText) -> [String; 3] {
        let none = || whereworn_model::format::NO_VALUE.to_owned();
        let between =
            |ends: (String, String)| fill(&text.range, &[("lower", &ends.0), ("upper", &ends.1)]);
        let days = match (self.days, self.lasts) {
            (Some(days), Some((lower, upper))) => {
                let values = [("value", &*days), ("lower", &*lower), ("upper", &*upper)];
                fill(&text.with_range, &values)
            }
            (days, _) => days.unwrap_or_else(none),
        };
        [
            self.reads.map_or_else(none, between),
            self.beyond.unwrap_or_else(none),
            days,
        ]
    }
}

fn table(view: &View) -> Table {
    let context = view.context;
    let text = &context.text.next;
    let found = View::named(context, next_sensor::NAME);
    let heading = |text: &str, kind| Heading {
        text: text.to_owned(),
        kind,
    };
    let mut headings = vec![
        heading(&view.heading(comparison::SITE), Kind::Text),
        heading(&text.on_label, Kind::Text),
        heading(&text.sensors, Kind::Number),
        heading(&text.pairs, Kind::Number),
        heading(&view.heading(comparison::SD_BETWEEN), Kind::Number),
    ];
    if found.is_some() {
        let next = [&text.reads, &text.beyond, &text.days];
        headings.extend(next.map(|text| heading(text, Kind::Number)));
    }
    let rows = order(view).into_iter().map(|row| {
        let label = match off_label(view, row) {
            _ if !context.label_is_told() => whereworn_model::format::NO_VALUE,
            true => "no",
            false => "yes",
        };
        let mut cells = vec![
            view.text(row, comparison::SITE),
            context
                .text
                .value("on_label", label)
                .unwrap_or(label)
                .to_owned(),
            context.number(worn(view, row), 0),
            view.text(row, comparison::PAIRS),
            view.text(row, comparison::SD_BETWEEN),
        ];
        if found.is_some() {
            cells.extend(next(found.as_ref(), view.table.text(row, comparison::SITE)).cells(text));
        }
        cells
    });
    Table {
        caption: text.caption.clone(),
        headings,
        rows: rows.collect(),
    }
}

fn points(view: &View) -> Vec<Item> {
    let context = view.context;
    let claims = read(&context.input.tables);
    let found = View::named(context, next_sensor::NAME);
    let rows = order(view).into_iter();
    rows.map(|row| Item {
        lead: view.text(row, comparison::SITE),
        text: point(view, row, found.as_ref(), &claims),
    })
    .collect()
}

fn point(view: &View, row: usize, found: Option<&View>, claims: &[Claim]) -> String {
    let context = view.context;
    let text = &context.text.next;
    let site = view.table.text(row, comparison::SITE);
    let next = next(found, site);
    let sensors = match (next.whose, context.everyone) {
        (None, Some(_)) => own_worn(context, site) as f64,
        _ => next.sensors.unwrap_or_else(|| worn(view, row)),
    };
    let counted = match next.whose {
        Some(Whose::Others) => &text.of_others,
        _ if context.everyone.is_some() => &text.of_own,
        _ => &text.of_all,
    };
    let mut out = vec![fill(
        counted,
        &[("sensors", &context.text.sensors(sensors))],
    )];
    if sensors < LEAST_SENSORS {
        out.push(fill(&text.few, &[("least", &LEAST_SENSORS.to_string())]));
    }
    if let Some((lower, upper)) = next.reads {
        let beyond = next.beyond.unwrap_or_default();
        let values = [("lower", &*lower), ("upper", &*upper), ("beyond", &*beyond)];
        let reads = match next.whose {
            Some(Whose::Others) => &text.point_reads_others,
            _ => &text.point_reads,
        };
        out.push(fill(reads, &values));
    }
    if let (Some(days), Some((lower, upper))) = (next.days, next.lasts) {
        let values = [("days", &*days), ("lower", &*lower), ("upper", &*upper)];
        out.push(fill(&text.point_days, &values));
    }
    let against_others = claims.iter().filter(|claim| claim.is_of(site));
    let told = against_others.filter(|claim| claim.verdict != Verdict::Alike);
    out.extend(
        told.filter_map(|row| claim(context, row))
            .map(|said| sentence(&said)),
    );
    if off_label(view, row) {
        out.push(text.off_label.clone());
    }
    out.join(" ")
}
