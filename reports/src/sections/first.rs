//! The first screen: all sites side by side, those on the label first, then at most five sentences.

use std::collections::BTreeMap;

use whereworn_model::settings::{Measure, Priorities};
use whereworn_model::tables::site_comparison;

use crate::catalogue::{counted, fill};
use crate::chart::picture;
use crate::chart::side_by_side::{SideBySide, Site, Wanted};
use crate::claims::{Claim, JUDGED, LEAST_SENSORS, Verdict, read};
use crate::context::Context;
use crate::document::{Block, Item};
use crate::error::ReportError;
use crate::sentences::{column, inseparable, joined, open, sentence, trade_off, worn};
use crate::view::View;

/// Most sentences of the first screen.
const MOST_SENTENCES: usize = 5;

/// Most sensors, meters or sites of a finding that are named; more are counted.
const MOST_NAMED: usize = 3;

/// The chance with which trouble that is said to have shown would not have.
const UNSEEN: f64 = 0.05;

/// Most open questions in one sentence.
const MOST_OPEN: usize = 2;

/// The section's blocks.
pub(crate) fn blocks(context: &Context) -> Result<Vec<Block>, ReportError> {
    let Some(view) = View::named(context, site_comparison::NAME) else {
        let missing = context
            .text
            .sections
            .get("first")
            .map(|text| text.missing.clone());
        return Ok(missing.into_iter().map(Block::Paragraph).collect());
    };
    let mut out = Vec::new();
    if let Some(chart) = SideBySide::of(&view, sites(&view), measures(&view)) {
        out.push(Block::Picture(picture(&view, &chart)?));
    }
    out.push(Block::List(sentences(&view)));
    Ok(out)
}

/// Sites on the label first, and among them by what matters most to the wearer, best first.
pub(super) fn order(view: &View) -> Vec<usize> {
    let first = asked(&view.context.input.settings.priorities);
    let by = column(view.table, first);
    let sign = if by == Some(site_comparison::column::WITHIN_20_20) {
        -1.0
    } else {
        1.0
    };
    let value = |row| {
        by.and_then(|by| view.value(row, by))
            .map_or(f64::INFINITY, |v| v * sign)
    };
    let mut rows = view.rows.clone();
    rows.sort_by(|&a, &b| {
        let label = off_label(view, a).cmp(&off_label(view, b));
        label.then(value(a).total_cmp(&value(b)))
    });
    rows
}

/// What matters most to the wearer, of what sites are ordered by; staying on where nothing is said.
fn asked(priorities: &Priorities) -> Measure {
    let weight = |measure: Measure| {
        let weights = priorities.weights();
        weights
            .iter()
            .find(|(name, _)| *name == measure.name())
            .map_or(0.0, |(_, weight)| *weight)
    };
    let mut best = Measure::StaysOn;
    for measure in JUDGED {
        if weight(measure) > weight(best) {
            best = measure;
        }
    }
    best
}

fn on_label(view: &View, row: usize) -> bool {
    view.table.text(row, site_comparison::column::ON_LABEL) == "yes"
}

pub(super) fn off_label(view: &View, row: usize) -> bool {
    view.context.label_is_told() && !on_label(view, row)
}

fn sites(view: &View) -> Vec<Site> {
    let text = &view.context.text.first;
    let told = view.context.label_is_told();
    let rows = order(view);
    let mut last = None;
    rows.into_iter()
        .map(|row| {
            let off = off_label(view, row);
            let begins = last.replace(off) != Some(off);
            let group = if off { &text.off_label } else { &text.on_label };
            Site {
                row,
                group: (begins && told).then(|| group.clone()),
                label: view.text(row, site_comparison::column::SITE),
                mark: view
                    .context
                    .site_mark(view.table.text(row, site_comparison::column::SITE)),
                sensors: view.context.text.sensors(worn(view, row)),
                few: worn(view, row) < LEAST_SENSORS,
            }
        })
        .collect()
}

fn measures(view: &View) -> Vec<Wanted> {
    let text = &view.context.text.first;
    let good = |column: &str| match column {
        site_comparison::column::WITHIN_20_20 => text.more_is_better.clone(),
        site_comparison::column::BIAS => text.zero_is_best.clone(),
        _ => text.less_is_better.clone(),
    };
    let order = [
        Measure::StaysOn,
        Measure::ReadsTrue,
        Measure::ReadsHighOrLow,
        Measure::QuietAtNight,
        Measure::Delay,
    ];
    let columns = order
        .into_iter()
        .filter_map(|measure| column(view.table, measure));
    columns
        .map(|column| Wanted {
            column,
            good: good(column),
        })
        .collect()
}

/// What differs, what leans, the trade-off between sites on the label, what is open, what could not be used, and where
/// there is room what is alike.
fn sentences(view: &View) -> Vec<Item> {
    let context = view.context;
    let text = &context.text.first;
    let claims = read(&context.input.tables);
    let on_label: Vec<&str> = view
        .rows
        .iter()
        .filter(|&&row| on_label(view, row))
        .map(|&row| view.table.text(row, site_comparison::column::SITE))
        .collect();
    let of = |verdict| {
        let pairs = claims.iter().filter(|claim| {
            claim.is_pair() && claim.withdrawn.is_empty() && claim.verdict == verdict
        });
        let mut pairs: Vec<&Claim> = pairs.collect();
        // What holds of sites on the label is said first; what only leans, by the sentence on these sites.
        let holds = verdict == Verdict::Differs;
        pairs.sort_by_key(|claim| (!claim.planned, holds != claim.within(&on_label)));
        joined(context, pairs.into_iter())
    };
    let (differs, leans) = (of(Verdict::Differs), of(Verdict::Leans));
    let told = [&differs, &leans].map(|said| said.as_deref().unwrap_or_default());
    let label = label(view, &claims, &on_label, &told.join("; "));
    let nothing = (differs.is_none() && leans.is_none()).then(|| nothing(view));
    let said = [
        (&text.not_yet, nothing),
        (&text.differs, differs),
        (&text.leans, leans),
        (&text.label, label),
        (&text.open, still_open(context, &claims, &on_label)),
        (&text.unused, unused(context)),
        (&text.alike, alike(context, &claims, of(Verdict::Alike))),
    ];
    let said = said
        .into_iter()
        .filter_map(|(lead, said)| Some((lead, said?)));
    let items = said.take(MOST_SENTENCES).map(|(lead, said)| Item {
        lead: lead.clone(),
        text: sentence(&said),
    });
    items.collect()
}

/// What is alike, and how rare a trouble could have stayed unseen at the site with fewest sensors; of shares the interval
/// allows for that.
fn alike(context: &Context, claims: &[Claim], said: Option<String>) -> Option<String> {
    let alike = claims
        .iter()
        .filter(|claim| claim.verdict == Verdict::Alike && claim.measure != Measure::StaysOn);
    let fewest = alike
        .map(|claim| claim.sensors)
        .fold(f64::INFINITY, f64::min);
    if fewest.is_infinite() {
        return said;
    }
    // A trouble of one sensor in so many shows among these sensors 95 times of 100.
    let shows = 1.0 / (1.0 - UNSEEN.powf(1.0 / fewest));
    let values = [
        ("alike", said.as_deref()?),
        ("sensors", &*context.number(shows.floor(), 0)),
    ];
    Some(fill(&context.text.first.but_rare, &values))
}

/// Why nothing is told apart: too few sites, or nothing shown yet.
fn nothing(view: &View) -> String {
    let text = &view.context.text.first;
    if view.rows.len() == 1 {
        return text.one_site.clone();
    }
    text.nothing.clone()
}

fn label(view: &View, claims: &[Claim], on_label: &[&str], told: &str) -> Option<String> {
    let text = &view.context.text.first;
    match on_label {
        _ if !view.context.label_is_told() => Some(text.label_unknown.clone()),
        [] => Some(text.none_on_label.clone()),
        [one] => {
            let site = view.context.site_label(one);
            Some(fill(&text.one_on_label, &[("site", &site)]))
        }
        _ => trade_off(view, claims, on_label, told),
    }
}

/// Rows taken back, then open ones: planned ones and those of sites on the label first.
fn still_open(context: &Context, claims: &[Claim], on_label: &[&str]) -> Option<String> {
    let text = &context.text.first;
    let pairs = || claims.iter().filter(|claim| claim.is_pair());
    let taken_back = joined(context, pairs().filter(|claim| claim.striking));
    let mut rows: Vec<&Claim> = pairs()
        .filter(|claim| claim.withdrawn.is_empty() && claim.verdict == Verdict::Open)
        .filter(|claim| JUDGED.contains(&claim.measure))
        .collect();
    let known = |claim: &&Claim| claim.sensors >= LEAST_SENSORS;
    if taken_back.is_none() && !rows.iter().any(known) {
        let mut mixed = pairs().filter(|claim| JUDGED.contains(&claim.measure) && known(claim));
        let inseparable = mixed.find_map(|claim| inseparable(context, claim));
        if inseparable.is_some() {
            return inseparable;
        }
    }
    if rows.iter().any(known) {
        rows.retain(|claim| known(claim) || claim.planned);
    }
    rows.sort_by_key(|claim| (!claim.planned, !claim.within(on_label)));
    let said: Vec<String> = rows
        .iter()
        .filter_map(|claim| open(context, claim, claim.within(on_label)))
        .take(MOST_OPEN)
        .collect();
    let rest = (rows.len() - said.len()).to_string();
    let values = [("open", &*said.join("; ")), ("count", &*rest)];
    let open = match (said.is_empty(), rows.len() > said.len()) {
        (true, _) => None,
        (false, true) => Some(fill(&text.open_more, &values)),
        (false, false) => Some(fill(&text.open_all, &values)),
    };
    together(taken_back, open)
}

/// Two parts of one sentence, or the one that there is.
fn together(one: Option<String>, other: Option<String>) -> Option<String> {
    match (one, other) {
        (Some(one), Some(other)) => Some(format!("{one}; {other}")),
        (one, other) => one.or(other),
    }
}

/// Sensors, nights and fingersticks left out, findings that are wrong or doubtful, and which measures they touch.
fn unused(context: &Context) -> Option<String> {
    let text = &context.text.first;
    let mut parts = Vec::new();
    if let Some(view) = View::named(context, "left_out") {
        let reasons = view.rows.iter();
        let (nights, whole): (Vec<&str>, Vec<&str>) = reasons
            .map(|row| view.table.text(*row, "reason"))
            .partition(|reason| *reason == "thin");
        let of = |template: &str, sensors: Vec<&str>| {
            let sensors = (!sensors.is_empty()).then_some(sensors.len() as f64)?;
            Some(fill(
                template,
                &[("sensors", &context.text.sensors(sensors))],
            ))
        };
        parts.extend(of(&text.left_out, whole));
        parts.extend(of(&text.left_out_nights, nights));
    }
    let checks = View::named(context, "doubted_checks").map_or(0, |view| view.rows.len());
    parts.extend(
        (checks > 0).then(|| counted(checks as f64, &text.left_out_check, &text.left_out_checks)),
    );
    if let Some(view) = View::named(context, "findings") {
        parts.extend(found(&view));
    }
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// Findings of which one is about many rows: how many there are says nothing.
const OF_ROWS: [&str; 2] = ["rejected", "set-aside"];

/// Findings by kind, and the measures that they touch.
fn found(view: &View) -> Option<String> {
    let context = view.context;
    let text = &context.text.first;
    let mut kinds: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    let mut touched: Vec<&str> = Vec::new();
    for &row in &view.rows {
        let severe = ["wrong", "doubtful"].contains(&view.table.text(row, "severity"));
        if !severe || view.table.number(row, "seen") == Some(1.0) {
            continue;
        }
        let named = ["sensor", "meter"].map(|column| view.table.text(row, column));
        let named = named.into_iter().find(|name| !name.is_empty());
        let site = view.table.text(row, "site");
        let site = (!site.is_empty()).then(|| context.site_label(site));
        let named = named.map(str::to_owned).or(site).unwrap_or_default();
        kinds
            .entry(view.table.text(row, "kind"))
            .or_default()
            .push(named);
        touched.extend(
            view.table
                .text(row, "touches")
                .split('+')
                .filter(|name| !name.is_empty()),
        );
    }
    if kinds.is_empty() {
        return None;
    }
    let kinds: Vec<String> = kinds
        .iter()
        .map(|(kind, named)| {
            let name = text.kinds.get(*kind).map_or(*kind, String::as_str);
            if OF_ROWS.contains(kind) {
                return name.to_owned();
            }
            let which = if named.len() <= MOST_NAMED && named.iter().all(|name| !name.is_empty()) {
                named.join(", ")
            } else {
                named.len().to_string()
            };
            fill(&text.found_kind, &[("kind", name), ("which", &which)])
        })
        .collect();
    let names = Measure::ALL
        .into_iter()
        .filter(|measure| touched.contains(&measure.name()));
    let names = names.filter_map(|measure| context.text.claims.measures.get(measure.name()));
    let names: Vec<&str> = names.map(|words| words.name.as_str()).collect();
    let values = [
        ("kinds", &*kinds.join(", ")),
        ("measures", &*names.join(", ")),
    ];
    let template = if names.is_empty() {
        &text.found
    } else {
        &text.found_touching
    };
    Some(fill(template, &values))
}
