//! Site against site: the rows of the conclusions that tell most, in each measure's scale.

use whereworn_model::tables::conclusions;

use crate::catalogue::fill;
use crate::claims::{Claim, LEAST_SENSORS, Verdict, read};
use crate::context::Context;
use crate::document::{Block, Files, Heading, Kind, Table};
use crate::sentences::{compared, name};
use crate::words::SectionText;

use super::excerpts::{files, link, some_rows};

/// Most rows shown.
const MOST_ROWS: usize = 16;

/// Fifty times what makes a difference: by how much more says nothing to anyone.
const MOST_EVIDENCE: f64 = 1000.0;

/// The rows that came to something, then open ones, then those taken back; of each planned ones first. A row of few sensors
/// or without an interval is left to the file.
pub(crate) fn blocks(context: &Context, text: &SectionText) -> Vec<Block> {
    let mut claims = read(&context.input.tables);
    claims.retain(|claim| {
        claim.is_pair() && claim.sensors >= LEAST_SENSORS && claim.interval.is_some()
    });
    claims.sort_by_key(|claim| {
        (
            !claim.withdrawn.is_empty(),
            claim.verdict == Verdict::Open,
            !claim.planned,
        )
    });
    if claims.is_empty() {
        return vec![Block::Paragraph(text.missing.clone())];
    }
    let mut out: Vec<Block> = text.intro.iter().cloned().map(Block::Paragraph).collect();
    out.push(Block::Table(table(context, &claims)));
    out.extend(files(context, &["compare".to_owned()]));
    out
}

/// The rows shown, in their order: the first of each measure, then the second of each, and so on, so that no measure is
/// missing.
fn shown<'c, 't>(claims: &'c [Claim<'t>]) -> Vec<&'c Claim<'t>> {
    let turn = |at: usize| {
        let before = claims[..at].iter();
        before
            .filter(|other| other.measure == claims[at].measure)
            .count()
    };
    let mut chosen: Vec<usize> = (0..claims.len()).collect();
    chosen.sort_by_key(|&at| turn(at));
    chosen.truncate(MOST_ROWS);
    chosen.sort_unstable();
    chosen.into_iter().map(|at| &claims[at]).collect()
}

/// A link to all rows for an edition without this section, whose sentences say how many more there are.
pub(super) fn all(context: &Context) -> Option<Block> {
    let plan = context.plan();
    let shown = plan
        .body
        .iter()
        .chain(&plan.annex)
        .any(|key| key == "pairs");
    let any = read(&context.input.tables).iter().any(Claim::is_pair);
    let mut tables = context.input.tables.iter();
    let table = tables.find(|table| table.name == conclusions::NAME)?;
    (any && !shown).then(|| {
        Block::Files(Files {
            lead: context.text.claims.all.clone(),
            links: vec![link(table)],
        })
    })
}

fn table(context: &Context, claims: &[Claim]) -> Table {
    let text = &context.text.pairs;
    let heads = [
        (&text.measure, Kind::Text),
        (&text.site, Kind::Text),
        (&text.against, Kind::Text),
        (&text.difference, Kind::Number),
        (&text.evidence, Kind::Number),
        (&text.verdict, Kind::Text),
        (&text.more, Kind::Number),
    ];
    let headings = heads.map(|(heading, kind)| Heading {
        text: heading.clone(),
        kind,
    });
    let shown = shown(claims);
    let caption = match shown.len() < claims.len() {
        true => some_rows(context, &text.caption, (shown.len(), claims.len())),
        false => text.caption.clone(),
    };
    let rows = shown.into_iter().map(|claim| {
        let measure = context.text.claims.measures.get(claim.measure.name());
        let more = claim.more_sensors.map(|more| context.number(more, 0));
        vec![
            measure.map_or(String::new(), |words| words.name.clone()),
            name(context, claim.site),
            name(context, claim.against),
            compared(context, claim),
            evidence(context, claim.evidence),
            verdict(context, claim),
            more.unwrap_or_else(|| whereworn_model::format::NO_VALUE.to_owned()),
        ]
    });
    Table {
        caption,
        headings: headings.into(),
        rows: rows.collect(),
    }
}

/// Evidence with one decimal, up to where more of it settles nothing more.
fn evidence(context: &Context, evidence: f64) -> String {
    if evidence <= MOST_EVIDENCE {
        return context.number(evidence, 1);
    }
    let most = context.number(MOST_EVIDENCE, 0);
    fill(&context.text.pairs.evidence_above, &[("most", &most)])
}

/// The verdict in a word, what it was withdrawn for, and whether it was planned.
fn verdict(context: &Context, claim: &Claim) -> String {
    let text = &context.text.pairs;
    let word = match claim.verdict {
        _ if !claim.withdrawn.is_empty() => &text.withdrawn,
        Verdict::Differs => &text.differs,
        Verdict::Leans => &text.leans,
        Verdict::Alike => &text.alike,
        Verdict::Open => &text.open,
    };
    match claim.planned {
        true => format!("{word}, {}", text.planned),
        false => word.clone(),
    }
}
