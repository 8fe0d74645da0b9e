//! Whatever the conclusions, no sentence of a report says more than its row, and no two disagree.

use std::collections::BTreeMap;

use whereworn_model::settings::{Language, Measure};
use whereworn_model::table::ResultTable;

use crate::catalogue::{Catalogue, fill};
use crate::edition::Edition;
use crate::fixture::{self, Study};

/// What a sentence says of two sites in a measure.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Said {
    /// The first is better, or higher; for sure or so far.
    Better {
        so_far: bool,
    },
    Alike,
    Open,
    TakenBack,
}

/// A row of a table of conclusions as this test reads it: what may be said, with the better site first.
#[derive(Debug)]
struct Row {
    better: String,
    other: String,
    may: Option<Said>,
}

/// Numbers that look random: a linear congruential generator (Knuth, MMIX).
struct Draws(u64);

impl Draws {
    fn next(&mut self, most: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (self.0 >> 33) % most
    }
}

const SITES: [&str; 5] = [
    "upper-arm-back",
    "lower-back",
    "abdomen",
    "upper-thigh",
    "calf",
];

/// A table with every pair of sites and every site against the others, verdicts and all else at random.
fn drawn(seed: u64) -> (ResultTable, BTreeMap<(Measure, String, String), Row>) {
    let mut draws = Draws(seed);
    let mut lines = Vec::new();
    let mut rows = BTreeMap::new();
    for measure in Measure::ALL {
        for (at, site) in SITES.iter().enumerate() {
            for other in SITES[at + 1..].iter().copied().chain(["others"]) {
                let pair = other != "others";
                let size = 0.01 * (1 + draws.next(900)) as f64;
                let difference = if draws.next(2) == 0 { size } else { -size };
                let withdrawn = ["", "", "", "model", "season+tape"][draws.next(5) as usize];
                let verdict = match draws.next(4) {
                    _ if !withdrawn.is_empty() => "open",
                    0 if pair => "differs",
                    1 => "leans",
                    2 => "alike",
                    _ => "open",
                };
                let p = [0.001, 0.04, 0.3][draws.next(3) as usize];
                let more = ["", "7", "31"][draws.next(3) as usize];
                lines.push(format!(
                    "{};{site};{other};{difference};{};{};5;6;2;{};{p};{verdict};{withdrawn};{more};{}",
                    measure.name(),
                    difference - 0.2,
                    difference + 0.2,
                    1 + draws.next(40),
                    draws.next(2),
                ));
                let high = measure == Measure::ReadsHighOrLow;
                let straight = (difference > 0.0) == high;
                let may = match verdict {
                    "differs" => Some(Said::Better { so_far: false }),
                    "leans" => Some(Said::Better { so_far: true }),
                    "alike" => Some(Said::Alike),
                    _ if withdrawn.is_empty() => Some(Said::Open),
                    _ if p < 0.05 => Some(Said::TakenBack),
                    _ => None,
                };
                let (better, worse) = if straight {
                    (*site, other)
                } else {
                    (other, *site)
                };
                let row = Row {
                    better: better.to_owned(),
                    other: worse.to_owned(),
                    may,
                };
                rows.insert((measure, (*site).to_owned(), other.to_owned()), row);
            }
        }
    }
    let columns = "measure;site;against;difference;lower;upper;sensors;sensors_against;wearers;evidence;p;verdict;\
                   withdrawn;more_sensors;planned";
    (
        fixture::table("conclusions", fixture::tables::CONCLUSIONS, columns, &lines),
        rows,
    )
}

/// The start of a sentence up to what differs from row to row, the sites filled in.
fn start(template: &str, site: &str, against: &str) -> String {
    let open = [
        "{value}",
        "{interval}",
        "{rated}",
        "{margin}",
        "{unit}",
        "{causes}",
        "{better}",
    ];
    let end = open.iter().filter_map(|name| template.find(name)).min();
    let filled = fill(
        &template[..end.unwrap_or(template.len())],
        &[("site", site), ("against", against)],
    );
    let mut chars = filled.chars();
    chars.next();
    // A sentence may begin with it.
    chars.as_str().to_owned()
}

/// Everything that a line says of two sites, found by the words of the catalogue.
fn claims(
    line: &str,
    text: &Catalogue,
    names: &BTreeMap<&str, String>,
) -> Vec<(Measure, String, String, Said)> {
    let mut out = Vec::new();
    let marker = text
        .claims
        .so_far
        .split("{claim}")
        .next()
        .unwrap()
        .to_lowercase();
    for measure in Measure::ALL {
        let words = &text.claims.measures[measure.name()];
        for (site, label) in names {
            for (other, against) in names {
                if site == other {
                    continue;
                }
                let mut found = |template: &str, said: Said| {
                    let wanted = start(template, label, against);
                    for (at, _) in line.match_indices(&wanted) {
                        let taken_back = start(&words.withdrawn, label, against);
                        if said == Said::Open && line[at..].starts_with(&taken_back) {
                            continue;
                        }
                        let before = line[..at].to_lowercase();
                        let rest = &line[at..];
                        let here = &rest[..rest.find(';').unwrap_or(rest.len())];
                        let lead = format!("**{}**", text.first.leans).to_lowercase();
                        let so_far = before.contains(&marker)
                            || before.contains(&lead)
                            || here
                                .contains(text.claims.mark_so_far.split("{claim}").nth(1).unwrap());
                        let said = match said {
                            Said::Better { .. } => Said::Better { so_far },
                            said => said,
                        };
                        out.push((measure, (*site).to_owned(), (*other).to_owned(), said));
                    }
                };
                let better = Said::Better { so_far: false };
                if *site != "others" {
                    found(&words.claim, better);
                    found(&words.won, better);
                }
                if *site == "others" {
                    found(&words.behind, better);
                }
                if *site != "others" && *other != "others" {
                    found(&words.alike, Said::Alike);
                    found(&words.open, Said::Open);
                    found(&words.withdrawn, Said::TakenBack);
                }
            }
        }
    }
    out
}

fn labels(study: &Study, text: &Catalogue) -> BTreeMap<&'static str, String> {
    let own = |key: &str| {
        study
            .settings
            .sites
            .get(key)
            .and_then(|site| site.label.clone())
    };
    let mut names: BTreeMap<&'static str, String> = SITES
        .into_iter()
        .map(|key| (key, own(key).unwrap_or_else(|| text.sites[key].clone())))
        .collect();
    names.insert("others", text.claims.others.clone());
    names
}

#[test]
fn every_sentence_holds_to_its_row() {
    let mut kinds = [0usize; 4];
    for seed in 0..40 {
        let (table, rows) = drawn(seed);
        let mut study = fixture::full();
        *study.table("conclusions") = table;
        let on_label = |cells: &mut Vec<whereworn_model::table::Cell>| {
            for (at, cell) in cells.iter_mut().enumerate() {
                let yes = at < (seed % 4) as usize + 1;
                *cell = whereworn_model::table::Cell::text(if yes { "yes" } else { "no" });
            }
        };
        let columns = &mut study.table("site_comparison").columns;
        columns
            .iter_mut()
            .filter(|c| c.name == "on_label")
            .for_each(|c| on_label(&mut c.cells));
        let (language, edition) = match seed % 5 {
            0 => (Language::English, Edition::Clinician),
            1 => (Language::German, Edition::Clinician),
            2 => (Language::English, Edition::Wearer),
            3 => (Language::German, Edition::Wearer),
            _ => (Language::English, Edition::Public),
        };
        study.settings.study.language = language;
        let text = Catalogue::read(language, edition).unwrap();
        let names = labels(&study, &text);
        let markdown = study.edition(edition).markdown.replace('\u{a0}', " ");
        let body = markdown
            .lines()
            .filter(|line| !line.starts_with(['|', '!']));
        let mut said_of: BTreeMap<(Measure, String, String), Said> = BTreeMap::new();
        for line in body {
            for (measure, site, against, said) in claims(line, &text, &names) {
                let key = (measure, site.clone(), against.clone());
                let turned = (measure, against.clone(), site.clone());
                let (key, row) = match rows.get(&key) {
                    Some(row) => (key, row),
                    None => (turned.clone(), &rows[&turned]),
                };
                assert_eq!(
                    row.may,
                    Some(said),
                    "seed {seed}: {measure:?} {site} {against}: {line}"
                );
                if let Said::Better { .. } = said {
                    assert_eq!(
                        (&row.better, &row.other),
                        (&site, &against),
                        "seed {seed}: {line}"
                    );
                }
                let before = said_of.insert(key, said);
                assert!(
                    before.is_none_or(|before| before == said),
                    "seed {seed}: {measure:?} {site} {against}"
                );
                kinds[match said {
                    Said::Better { so_far: false } => 0,
                    Said::Better { so_far: true } => 1,
                    Said::Open | Said::Alike => 2,
                    Said::TakenBack => 3,
                }] += 1;
            }
        }
    }
    assert!(kinds.iter().all(|count| *count > 10), "{kinds:?}");
}

/// Numbers with an interval in the tables and in the texts of figures, by site and heading: one interval a figure.
#[test]
fn no_figure_has_two_intervals() {
    for (name, study) in super::all() {
        for edition in Edition::ALL {
            let markdown = study.edition(edition).markdown;
            let mut seen: BTreeMap<(String, String, String), String> = BTreeMap::new();
            let mut heads: Vec<&str> = Vec::new();
            for line in markdown.lines() {
                if !line.starts_with('|') {
                    heads.clear();
                    continue;
                }
                let cells: Vec<&str> = line.trim_matches('|').split(" | ").map(str::trim).collect();
                if heads.is_empty() {
                    heads = cells;
                    continue;
                }
                let words: Vec<&str> = cells
                    .iter()
                    .copied()
                    .filter(|cell| !cell.contains(|c: char| c.is_ascii_digit()))
                    .collect();
                for (head, cell) in heads.iter().zip(&cells) {
                    let Some((value, interval)) = cell.split_once(" (") else {
                        continue;
                    };
                    if !interval.ends_with(')') || value.is_empty() {
                        continue;
                    }
                    let key = (words.join("|"), (*head).to_owned(), value.to_owned());
                    let before = seen.insert(key.clone(), interval.to_owned());
                    assert!(
                        before.is_none_or(|before| before == interval),
                        "{name}, {}: {key:?}",
                        edition.name()
                    );
                }
            }
        }
    }
}

/// Figures of the first screen have their interval there; excerpts show them without the one of their own table.
#[test]
fn excerpts_leave_the_headline_intervals_alone() {
    let headline = [
        "bias",
        "bias_percent",
        "mard",
        "within_20_20",
        "rate_per_100",
        "night_rate",
        "delay_minutes",
        "came_off",
        "survival_rated",
        "usable_days",
        "rmst_days",
    ];
    let plans = crate::edition::Plans::read().unwrap();
    let mut with_intervals = 0;
    for (key, excerpt) in plans.excerpts().iter().filter(|(key, _)| *key != "sites") {
        for column in &excerpt.intervals {
            assert!(!headline.contains(&column.as_str()), "{key}: {column}");
            assert!(excerpt.columns.contains(column), "{key}: {column}");
            with_intervals += 1;
        }
    }
    assert!(with_intervals > 3);
}
