//! Sites that cannot be told apart from something else, and those with too little.

use std::collections::{BTreeMap, BTreeSet};

use whereworn_model::sites::{LEAST_SENSORS, label_is_told};
use whereworn_model::time::{Micros, local_date};

use crate::checks::extremes::Routine;
use crate::finding::{Finding, OF_ALL, OF_PAIRS, OF_WEAR, Severity};
use crate::log::{Log, Session};
use crate::words::count;

/// Probability of such a pattern if sensors were dealt to sites at random, from which on it is none of chance.
const CHANCE: f64 = 0.01;

/// Least sensors of a site that is said to be mixed up with something.
const SENSORS: usize = 3;

/// Checks of a site, and the share of them by alarm or in doubt, from which on they tell little of the rest of the day.
const CHECKS: usize = 10;
const BY_ALARM: f64 = 0.5;

/// Fingersticks of a site said to be routine, and the share of them beside the lowest tenth of readings, or the highest, from
/// which on that is no habit of the day: four times as many as by chance.
const ROUTINE: usize = 20;
const BY_READING: f64 = 0.4;

/// Pairs of a sensor below which its own level is hardly known: common practice, no source.
const FEW_PAIRS: u32 = 5;

/// Findings on sites.
pub(crate) fn findings(log: &Log<'_>, sessions: &[Session]) -> Vec<Finding> {
    let mut by: BTreeMap<&str, Vec<&Session>> = BTreeMap::new();
    for session in sessions {
        by.entry(&session.site).or_default().push(session);
    }
    let labels: BTreeMap<String, String> = log
        .settings
        .all_sites()
        .into_iter()
        .map(|site| (site.key, site.label))
        .collect();
    let mut findings = Vec::new();
    for (site, own) in &by {
        let label = labels.get(*site).map_or(*site, String::as_str);
        let others: Vec<&Session> = sessions
            .iter()
            .filter(|other| other.site != *site)
            .collect();
        let mixed_up = confounded(log, label, own, &others);
        if mixed_up.is_empty() {
            findings.extend(of_its_own_time(log, label, own, &others));
        }
        findings.extend(mixed_up);
        findings.extend(by_alarm(log, label, own, &others).or_else(|| by_reading(log, label, own)));
        findings.extend(one_side(log, label, own));
        findings.extend(few_sensors(log, label, own));
    }
    findings.extend(few_pairs(log, sessions));
    findings.extend(missing_tables(log));
    findings
}

fn of_site(
    log: &Log<'_>,
    own: &[&Session],
    kind: &'static str,
    severity: Severity,
    touches: &'static [&'static str],
) -> Finding {
    let wearers: BTreeSet<&str> = own.iter().map(|session| session.wearer.as_str()).collect();
    let first = own.first();
    Finding {
        site: first
            .map(|session| session.site.clone())
            .unwrap_or_default(),
        wearer: match wearers.iter().collect::<Vec<_>>()[..] {
            [only] => (*only).to_owned(),
            _ => String::new(),
        },
        file: first
            .map(|session| session.file.clone())
            .unwrap_or_default(),
        line: first.map(|session| session.line),
        from: own.iter().map(|session| session.insert).min(),
        to: own.iter().map(|session| session.until(log.cutoff)).max(),
        ..Finding::new(kind, severity, touches)
    }
}

/// Meteorological season of an instant.
fn season(log: &Log<'_>, at: Micros) -> String {
    let date = local_date(at, &log.settings.zone());
    let (year, month) = date.map_or((0, 0), |date| (date.year(), date.month()));
    let year = year + i16::from(month == 12);
    let name = match month {
        3..=5 => "spring",
        6..=8 => "summer",
        9..=11 => "autumn",
        _ => "winter",
    };
    format!("{name} {year}")
}

/// A site that shares its model, lot, tape, season or wearer with no other site.
fn confounded(log: &Log<'_>, label: &str, own: &[&Session], others: &[&Session]) -> Vec<Finding> {
    type Of = fn(&Log<'_>, &Session) -> String;
    let traits: [(&str, &str, Of); 5] = [
        ("model", "model", |_, s| s.model.clone()),
        ("lot", "lot", |_, s| s.lot.clone()),
        ("tape", "tape", |_, s| s.tape.clone()),
        ("season", "season", |log, s| season(log, s.insert)),
        ("wearer", "wearer", |_, s| s.wearer.clone()),
    ];
    let mut found: Vec<(&str, String)> = Vec::new();
    for (_, word, of) in traits {
        let known = |of_sessions: &[&Session]| -> Vec<String> {
            of_sessions
                .iter()
                .map(|s| of(log, s))
                .filter(|value| !value.is_empty())
                .collect()
        };
        let (mine, theirs) = (known(own), known(others));
        let elsewhere: BTreeSet<&String> = theirs.iter().collect();
        let apart = mine.iter().all(|value| !elsewhere.contains(value));
        if !apart
            || mine.len() < SENSORS
            || mine.len() < own.len()
            || theirs.len() < others.len()
            || theirs.is_empty()
        {
            continue;
        }
        let values: BTreeSet<String> = mine.iter().cloned().collect();
        // Lots follow each other in time, and a wearer's few sensors may well be at one site.
        let usual = match word {
            "lot" => values.len() * 2 <= mine.len(),
            "wearer" => mine.len() > SENSORS,
            _ => true,
        };
        if usual && chance(mine.len(), mine.len() + theirs.len()) <= CHANCE {
            found.push((word, values.into_iter().collect::<Vec<_>>().join(", ")));
        }
    }
    // A model brings its lots with it, and a wearer everything that only they use.
    if let Some(cause) = found
        .iter()
        .find(|(word, _)| *word == "wearer")
        .or(found.iter().find(|(word, _)| *word == "model"))
        .cloned()
    {
        found.retain(|(word, _)| *word == cause.0 || (cause.0 == "model" && *word != "lot"));
    }
    found
        .into_iter()
        .map(|(word, values)| Finding {
            size: Some(own.len() as f64),
            unit: "sensors",
            text: format!(
                "{label}: its {} have a {word} ({values}) that no other site has: what the site does and what the {word} does cannot be told apart",
                count(own.len(), "sensor"),
            ),
            todo: match own.iter().any(|session| session.troubled) {
                true => format!("wear the same {word} at another site on the label"),
                false => more(
                    log,
                    own,
                    &format!("the same {word} at another site on the label, or another {word} here"),
                ),
            },
            ..of_site(log, own, "site-confounded", Severity::Doubtful, OF_ALL)
        })
        .collect()
}

/// A site that was worn at a time of its own: all of its sensors before or after those of every other site, by everybody who wore
/// it and another. A meter, its strips or a habit that changed in between then went with the site.
fn of_its_own_time(
    log: &Log<'_>,
    label: &str,
    own: &[&Session],
    others: &[&Session],
) -> Option<Finding> {
    let sites: BTreeSet<&str> = others.iter().map(|other| other.site.as_str()).collect();
    let wearers: BTreeSet<&str> = own.iter().map(|session| session.wearer.as_str()).collect();
    let times = |of: &[&Session], wearer: &str| -> Vec<Micros> {
        let worn = of.iter().filter(|session| session.wearer == wearer);
        worn.map(|session| session.insert).collect()
    };
    let (mut odds, mut sides) = (1.0, BTreeSet::new());
    for wearer in wearers {
        let mine = times(own, wearer);
        let (first, last) = (*mine.iter().min()?, *mine.iter().max()?);
        let theirs = times(others, wearer);
        if theirs.iter().any(|time| (first..=last).contains(time)) {
            return None;
        }
        let worn = others.iter().filter(|other| other.wearer == wearer);
        sides.extend(worn.map(|other| (other.site.as_str(), other.insert < first)));
        odds *= (theirs.len() as f64 + 1.0) * chance(mine.len(), mine.len() + theirs.len());
    }
    // One of two sites is told, the later.
    let is_first = sides.iter().all(|(_, before)| !before);
    let is_other = sites.len() == 1 && is_first && others.len() >= SENSORS;
    let apart = sides.len() == sites.len() && own.len() >= SENSORS && odds <= CHANCE;
    (apart && !is_other).then(|| Finding {
        size: Some(own.len() as f64),
        unit: "sensors",
        text: format!(
            "{label}: its {} were all worn before or after those of every other site: what the site does and what changed in between, as a meter, its strips or the season may, cannot be told apart",
            count(own.len(), "sensor"),
        ),
        todo: more(log, own, "sites in turn from now on"),
        ..of_site(log, own, "site-confounded", Severity::Doubtful, OF_ALL)
    })
}

/// One over the number of ways to deal so many sensors of all to a site.
fn chance(own: usize, all: usize) -> f64 {
    (0..own.min(all - own))
        .map(|k| (k as f64 + 1.0) / (all - k) as f64)
        .product()
}

/// A site whose fingersticks were mostly made because the sensor alarmed or felt wrong.
fn by_alarm(log: &Log<'_>, label: &str, own: &[&Session], others: &[&Session]) -> Option<Finding> {
    let (all, alarmed) = alarmed_of(log, own);
    let share = alarmed as f64 / all.max(1) as f64;
    let (all_others, alarmed_others) = alarmed_of(log, others);
    let alone = (alarmed_others as f64) < BY_ALARM * all_others as f64;
    let against = match alone {
        true => ", and the site against others that were mostly checked otherwise",
        false => "",
    };
    (all >= CHECKS && share >= BY_ALARM).then(|| Finding {
        size: Some((share * 1000.0).round() / 1000.0),
        unit: "fraction",
        text: format!(
            "{label}: {alarmed} of {all} fingersticks were made because of an alarm or a doubt: they show the sensor at its worst{against}"
        ),
        todo: "check at fixed times too, the same way at every site".to_owned(),
        ..of_site(log, own, "checks-by-alarm", Severity::Doubtful, OF_PAIRS)
    })
}

/// Fingersticks while sensors were worn, and those of them that followed an alarm or a doubt.
fn alarmed_of(log: &Log<'_>, worn: &[&Session]) -> (usize, usize) {
    let (mut all, mut alarmed) = (0, 0);
    for session in worn {
        let until = session.until(log.cutoff);
        let checks = log.checks_of(&session.wearer).iter();
        let during = checks.skip_while(|check| check.time < session.insert);
        for check in during.take_while(|check| check.time <= until) {
            match check.purpose.as_str() {
                "alarm" | "doubt" => {
                    all += 1;
                    alarmed += 1;
                }
                "calibration" | "control" => {}
                _ => all += 1,
            }
        }
    }
    (all, alarmed)
}

/// A site whose fingersticks are said to be routine and followed what the sensor showed.
fn by_reading(log: &Log<'_>, label: &str, own: &[&Session]) -> Option<Finding> {
    let routine = own.iter().map(|session| session.seen.routine);
    let routine = routine.fold(Routine::default(), Routine::and);
    let (most, which) = match routine.lowest >= routine.highest {
        true => (routine.lowest, "lowest"),
        false => (routine.highest, "highest"),
    };
    let share = most as f64 / routine.all.max(1) as f64;
    (routine.all >= ROUTINE && share >= BY_READING).then(|| Finding {
        size: Some((share * 1000.0).round() / 1000.0),
        unit: "fraction",
        text: format!(
            "{label}: {most} of {} fingersticks that are said to be routine were made while the reading was in the {which} tenth of its sensor's: what scatters more looks as if it read otherwise",
            routine.all
        ),
        todo: "say in the column purpose which followed an alarm or a doubt, and check at fixed times too".to_owned(),
        ..of_site(log, own, "checks-by-alarm", Severity::Doubtful, OF_PAIRS)
    })
}

fn one_side(log: &Log<'_>, label: &str, own: &[&Session]) -> Vec<Finding> {
    let mut by: BTreeMap<&str, Vec<&Session>> = BTreeMap::new();
    for session in own.iter().filter(|s| s.side == "left" || s.side == "right") {
        by.entry(&session.wearer).or_default().push(session);
    }
    let mut findings = Vec::new();
    for (wearer, worn) in by {
        let sides: BTreeSet<&str> = worn.iter().map(|s| s.side.as_str()).collect();
        if worn.len() < SENSORS || sides.len() > 1 {
            continue;
        }
        let (tried, other) = if sides.contains("left") {
            ("left", "right")
        } else {
            ("right", "left")
        };
        findings.push(Finding {
            size: Some(worn.len() as f64),
            unit: "sensors",
            text: format!("{label}: `{wearer}` wore all {} on the {tried}: what the site does and what that side does cannot be told apart", count(worn.len(), "sensor")),
            todo: more(log, &worn, &format!("one on the {other}")),
            ..of_site(log, &worn, "side-never-tried", Severity::Thin, OF_WEAR)
        });
    }
    findings
}

/// What to do where more sensors would tell: nobody is urged to wear one off the label, or where the skin was troubled.
fn more(log: &Log<'_>, own: &[&Session], what: &str) -> String {
    if own.iter().any(|session| session.troubled) {
        return "leave it: a sensor here was taken off for a reaction, or itched or worse"
            .to_owned();
    }
    let sites = log.settings.all_sites();
    let mut on_label = sites.iter().filter(|site| site.is_on_label());
    if on_label.any(|site| own.iter().any(|session| session.site == site.key)) {
        return format!("wear {what}");
    }
    let planned = |session: &&Session| {
        let plan = log.settings.wearer_plan(&session.wearer);
        plan.sites.contains(&session.site)
    };
    if own.iter().any(planned) {
        return format!(
            "{what} would tell; the plan names this site, which is not said to be on the label"
        );
    }
    match label_is_told(&sites) {
        true => "leave it: this site is off the label".to_owned(),
        false => format!(
            "say in study.toml whether this site is on the device's label; if it is, wear {what}"
        ),
    }
}

fn few_sensors(log: &Log<'_>, label: &str, own: &[&Session]) -> Option<Finding> {
    (own.len() < LEAST_SENSORS).then(|| Finding {
        size: Some(own.len() as f64),
        unit: "sensors",
        text: format!(
            "{label}: {} worn: too few to judge",
            count(own.len(), "sensor")
        ),
        todo: more(log, own, "at least three"),
        ..of_site(log, own, "thin", Severity::Thin, OF_ALL)
    })
}

fn few_pairs(log: &Log<'_>, sessions: &[Session]) -> Vec<Finding> {
    let mut by: BTreeMap<&str, Vec<&Session>> = BTreeMap::new();
    for session in sessions
        .iter()
        .filter(|s| s.seen.span.is_some() && s.seen.pairs < FEW_PAIRS)
    {
        by.entry(&session.wearer).or_default().push(session);
    }
    by.into_iter()
        .map(|(wearer, few)| {
            let names: Vec<String> = few.iter().map(|s| format!("`{}`", s.sensor)).collect();
            Finding {
                wearer: wearer.to_owned(),
                sensor: match &few[..] {
                    [only] => only.sensor.clone(),
                    _ => String::new(),
                },
                from: few.iter().map(|s| s.insert).max(),
                to: few.iter().map(|s| s.until(log.cutoff)).max(),
                size: Some(few.len() as f64),
                unit: "sensors",
                text: format!(
                    "`{wearer}`: {} with fewer than {FEW_PAIRS} fingersticks: {}; their own level is hardly known",
                    count(few.len(), "sensor"),
                    names.join(", ")
                ),
                todo: "check by fingerstick more often, also while glucose rises and falls".to_owned(),
                ..Finding::new("thin", Severity::Thin, OF_PAIRS)
            }
        })
        .collect()
}

fn missing_tables(log: &Log<'_>) -> Vec<Finding> {
    let has = |table: &str| {
        log.files
            .iter()
            .any(|file| file.table == table && file.rows > 0)
    };
    let needed = [
        (
            "readings",
            has("readings"),
            "nothing can be said of accuracy, nights or delay",
        ),
        (
            "fingersticks",
            !log.checks.is_empty(),
            "nothing can be said of accuracy or delay, and no night artefact can be told from a true low",
        ),
        (
            "wear-events",
            !log.events.is_empty(),
            "no reading can be given to a site: log at least `insert` with its site for every sensor",
        ),
    ];
    needed
        .into_iter()
        .filter(|(_, has, _)| !has)
        .map(|(table, _, lost)| Finding {
            text: format!("no usable row in {table}/: {lost}"),
            todo: format!("put files into {table}/, or map an export in study.toml"),
            ..Finding::new("thin", Severity::Thin, OF_ALL)
        })
        .collect()
}
