//! The sections of the report, in order.

use whereworn_model::tables::sessions::column as session;
use whereworn_model::tables::{self, site_comparison};

use crate::catalogue::fill;
use crate::context::Context;
use crate::document::{Block, Files, Link, Part, finish};
use crate::error::ReportError;
use crate::ledger;
use crate::sentences::worn;
use crate::view::View;

mod best;
mod changes;
mod excerpts;
mod first;
mod method;
mod next;
mod own;
mod pairs;
mod parts;
mod questions;
mod sheets;
mod tips;
mod together;

/// The whole report: the body, then the annex, its headings a level below.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let plan = context.plan();
    let page = &context.text.page;
    let mut out = opening(context);
    for key in &plan.body {
        section(context, key, &mut out)?;
    }
    out.extend(ledger::blocks(context));
    let mut annex = Vec::new();
    for key in &plan.annex {
        section(context, key, &mut annex)?;
    }
    if !annex.is_empty() {
        out.push(Block::in_part(2, &page.annex, Part::Annex));
        out.push(Block::Paragraph(page.annex_intro.clone()));
        out.push(Block::contents(&page.contents_annex, 3));
        out.extend(annex.into_iter().map(lower));
    }
    if sheets::any(context) {
        let links = vec![Link {
            text: text_of_sheets(context),
            address: "sheets.html".to_owned(),
        }];
        out.push(Block::Files(Files {
            lead: page.sheets.clone(),
            links,
        }));
    }
    let version = [("version", context.input.version)];
    out.push(Block::Paragraph(fill(&page.made_by, &version)));
    finish(&mut out);
    Ok(out)
}

fn text_of_sheets(context: &Context) -> String {
    context.text.sheets.page.clone()
}

/// The same block, a heading one level lower.
fn lower(block: Block) -> Block {
    match block {
        Block::Title(title) => Block::title(title.level + 1, &title.text),
        other => other,
    }
}

/// The page of sheets, where the edition has one and there is a sensor for it.
pub(crate) fn sheet_blocks(context: &Context) -> Result<Option<Vec<Block>>, ReportError> {
    let text = context.text.sections.get("sheets");
    let Some(text) = text.filter(|_| context.plan().sheets) else {
        return Ok(None);
    };
    let mut out = vec![Block::title(1, &text.title)];
    out.extend(sheets::blocks(context, &text.intro)?);
    finish(&mut out);
    Ok((out.len() > 1).then_some(out))
}

fn opening(context: &Context) -> Vec<Block> {
    let page = &context.text.page;
    let settings = &context.input.settings;
    let values = [
        ("period", &*context.period()),
        ("cutoff", &*context.instant(context.input.cutoff)),
        ("zone", context.zone_name()),
        ("unit", context.unit.code()),
    ];
    let mut out = vec![
        Block::title(1, &settings.study.title),
        Block::Paragraph(fill(&page.opening, &values)),
    ];
    out.extend(records(context).map(Block::Paragraph));
    if let Some(shared) = context.shared.filter(|shared| shared.withheld > 0) {
        let sites = context.text.sites_counted(shared.withheld as f64);
        out.push(Block::Paragraph(fill(&page.withheld, &[("sites", &sites)])));
    }
    out.extend(ledger::opening(context));
    out.push(Block::Callout(page.cautions.clone()));
    out
}

/// Since when, who, how many sensors, where, and of which models: what every figure rests on.
fn records(context: &Context) -> Option<String> {
    let page = &context.text.page;
    let view = View::named(context, site_comparison::NAME)?;
    let total = |name| context.number(parts::total(&view, name), 0);
    let sessions = View::named(context, tables::sessions::NAME);
    let models = sessions
        .as_ref()
        .map(|sessions| known(sessions, session::MODEL))
        .unwrap_or_default();
    let first = sessions.as_ref().and_then(|sessions| {
        let row = *sessions
            .rows
            .iter()
            .min_by_key(|&&row| sessions.table.cell(row, session::INSERTED).as_time())?;
        let at = sessions.table.cell(row, session::INSERTED).as_time()?;
        whereworn_model::time::local_date(at, &context.zone)
    });
    let wearers = context.wearers().len();
    let (sensors, sites) = match (context.everyone, &sessions) {
        (Some(_), Some(own)) => (own.rows.len() as f64, own.groups(Some(session::SITE)).len()),
        _ => (
            view.rows.iter().map(|&row| worn(&view, row)).sum(),
            view.rows.len(),
        ),
    };
    let values = [
        (
            "first",
            &*first.map_or_else(String::new, |date| context.date(date)),
        ),
        ("wearers", &*context.text.wearers(wearers as f64)),
        ("sensors", &*context.text.sensors(sensors)),
        ("sites", &*context.text.sites_counted(sites as f64)),
        ("pairs", &*total(site_comparison::column::PAIRS)),
        (
            "nights",
            &*context
                .text
                .nights(parts::total(&view, site_comparison::column::NIGHTS)),
        ),
        (
            "models",
            &*match models.is_empty() {
                true => String::new(),
                false => fill(&page.models, &[("models", &models.join(", "))]),
            },
        ),
    ];
    let mut said = fill(&page.records, &values);
    if let Some(studies) = View::named(context, "pooled_studies") {
        let names = known(&studies, "study").join(", ");
        said = format!("{said} {}", fill(&page.pooled, &[("studies", &names)]));
    }
    let bodies = match context.everyone {
        Some(everyone) => fill(&page.own, &[("count", &everyone.to_string())]),
        None if wearers > 1 => fill(&page.bodies, &[("count", &wearers.to_string())]),
        None => return Some(said),
    };
    Some(format!("{said} {bodies}"))
}

/// The texts of a column, each once.
fn known(view: &View, column: &str) -> Vec<String> {
    let texts: std::collections::BTreeSet<&str> = view
        .rows
        .iter()
        .map(|&row| view.table.text(row, column))
        .filter(|text| !text.is_empty())
        .collect();
    texts
        .into_iter()
        .map(|text| view.context.name(text))
        .collect()
}

fn section(context: &Context, key: &str, part: &mut Vec<Block>) -> Result<(), ReportError> {
    let Some(text) = context.text.sections.get(key) else {
        return Ok(());
    };
    let mut inner = match (key, context.plans.excerpt(key)) {
        (_, Some(excerpt)) => excerpts::blocks(context, text, excerpt)?,
        ("first", _) => {
            let mut inner = first::blocks(context)?;
            inner.extend(pairs::all(context));
            inner
        }
        ("next", _) => next::blocks(context)?,
        ("together", _) => together::blocks(context),
        ("changes", _) => changes::blocks(context, text),
        ("questions", _) => questions::blocks(context, text),
        ("pairs", _) => pairs::blocks(context, text),
        ("best", _) => best::blocks(context)?,
        ("tips", _) => tips::blocks(context, text),
        ("method", _) => method::blocks(context),
        ("cautions", _) => vec![parts::points(&context.text.cautions, &[])],
        _ => Vec::new(),
    };
    inner.extend(own::blocks(context, key)?);
    if !inner.is_empty() {
        part.push(Block::title(2, &text.title));
        part.extend(inner);
    }
    Ok(())
}
