//! Values that a settings file may not have, though they are of the right type.

use jiff::tz::{Offset, TimeZone};

use super::plan::{PlanSettings, Primary};
use super::{Correction, Export, FINDING_KINDS, Settings, exports, parse_clock, suggestion};

/// A value that cannot be used: the path of its key, and what is wrong.
pub(super) struct Problem {
    pub path: Vec<String>,
    pub message: String,
}

type Checked = Result<(), Problem>;

fn problem(path: &[&str], message: impl Into<String>) -> Problem {
    Problem {
        path: path.iter().map(|part| (*part).to_owned()).collect(),
        message: message.into(),
    }
}

pub(super) fn check(settings: &Settings) -> Checked {
    zone(settings.study.timezone.as_deref(), &["study", "timezone"])?;
    rated(Some(settings.wear.rated_days), &["wear", "rated_days"])?;
    warm_up(Some(settings.wear.warmup_hours), &["wear", "warmup_hours"])?;
    for (name, model) in &settings.models {
        rated(model.rated_days, &["models", name, "rated_days"])?;
    }
    in_range(settings.night.coverage, 0.0..=1.0, &["night", "coverage"])?;
    in_range(
        settings.pairing.minutes,
        0.0..=60.0,
        &["pairing", "minutes"],
    )?;
    for (key, clock) in [("from", &settings.night.from), ("to", &settings.night.to)] {
        if parse_clock(clock).is_none() {
            return Err(problem(
                &["night", key],
                format!("`{clock}` is no time of day: write it as \"23:00\""),
            ));
        }
    }
    wearers(settings)?;
    for (name, own) in &settings.exports {
        export(name, own)?;
    }
    for (index, correction) in settings.corrections.iter().enumerate() {
        check_correction(correction).map_err(|(key, message)| {
            problem(&["corrections", &index.to_string(), key], message)
        })?;
    }
    for (index, seen) in settings.seen.iter().enumerate() {
        if !FINDING_KINDS.contains(&seen.kind.as_str()) {
            let hint = suggestion(&seen.kind, FINDING_KINDS.into_iter());
            return Err(problem(
                &["seen", &index.to_string(), "kind"],
                format!("unknown kind of finding `{}`{hint}", seen.kind),
            ));
        }
    }
    if let Some(own) = &settings.plan {
        plan(settings, own, &["plan"])?;
    }
    for (name, weight) in settings.priorities.weights() {
        in_range(weight, 0.0..=5.0, &["priorities", name])?;
    }
    Ok(())
}

fn wearers(settings: &Settings) -> Checked {
    for (name, own) in &settings.wearers {
        zone(own.timezone.as_deref(), &["wearers", name, "timezone"])?;
        rated(own.rated_days, &["wearers", name, "rated_days"])?;
        warm_up(own.warmup_hours, &["wearers", name, "warmup_hours"])?;
        for (index, journey) in own.zones.iter().enumerate() {
            let index = index.to_string();
            let path = ["wearers", name, "zones", &index];
            zone(Some(&journey.timezone), &path)?;
        }
        let stretches = settings.wearer_zones(name);
        let ordered = stretches.windows(2).position(|pair| match pair {
            [before, after] => before.from.is_some() && before.from >= after.from,
            _ => false,
        });
        if let Some(index) = ordered {
            return Err(problem(
                &["wearers", name, "zones", &index.to_string()],
                "each journey begins after the one before: put them in order of time",
            ));
        }
        if let Some(own) = &own.plan {
            plan(settings, own, &["wearers", name, "plan"])?;
        }
    }
    Ok(())
}

fn export(name: &str, export: &Export) -> Checked {
    let at = |key: &str, message: String| problem(&["exports", name, key], message);
    if !exports::TABLES.contains(&export.table.as_str()) {
        let hint = suggestion(&export.table, exports::TABLES.into_iter());
        return Err(at(
            "table",
            format!("unknown table `{}`{hint}", export.table),
        ));
    }
    zone(export.timezone.as_deref(), &["exports", name, "timezone"])?;
    if let Some(offset) = &export.offset {
        if parse_offset(offset).is_none() {
            return Err(at(
                "offset",
                format!("`{offset}` is no offset from UTC: write it as \"+01:00\""),
            ));
        }
        if export.timezone.is_some() {
            return Err(at(
                "offset",
                "an export has a `timezone` or an `offset`, not both".to_owned(),
            ));
        }
    }
    let twice = export
        .constants
        .keys()
        .find(|key| export.columns.contains_key(*key));
    if let Some(key) = twice {
        return Err(at(
            "constants",
            format!("`{key}` stands in `columns` too: keep one of them"),
        ));
    }
    if let Some((title, _)) = export.rows.iter().find(|(_, texts)| texts.is_empty()) {
        return Err(at(
            "rows",
            format!(
                "`{title}` names no text, so no row would be read: name one, or leave the column out"
            ),
        ));
    }
    Ok(())
}

fn check_correction(correction: &Correction) -> Result<(), (&'static str, String)> {
    let about = [&correction.sensor, &correction.meter, &correction.file];
    if about.iter().all(|one| one.is_none()) {
        return Err((
            "",
            "a correction names a `sensor`, a `meter` or a `file`".to_owned(),
        ));
    }
    if correction.sensor.is_some() && correction.meter.is_some() {
        return Err((
            "meter",
            "a correction names a `sensor` or a `meter`, not both: write two".to_owned(),
        ));
    }
    let what = [
        correction.clock_minutes.is_some(),
        correction.unit.is_some(),
        correction.leave_out,
    ];
    if what.iter().filter(|set| **set).count() != 1 {
        return Err((
            "",
            "a correction sets one of `clock_minutes`, `unit` and `leave_out = true`".to_owned(),
        ));
    }
    match correction.clock_minutes {
        Some(minutes) if minutes.is_nan() || minutes.abs() > MOST_CLOCK_MINUTES => Err((
            "clock_minutes",
            format!("`clock_minutes` is {minutes}: it goes from -525600 to 525600 (a year)"),
        )),
        _ => Ok(()),
    }
}

/// A year: a clock may have been set to another one.
const MOST_CLOCK_MINUTES: f64 = 525_600.0;

fn plan(settings: &Settings, plan: &PlanSettings, at: &[&str]) -> Checked {
    let sites = settings.all_sites();
    let site = |name: &str, key: &[&str]| {
        if sites.iter().any(|site| site.key == name) {
            return Ok(());
        }
        let hint = suggestion(name, sites.iter().map(|site| site.key.as_str()));
        Err(problem(
            &under(at, key),
            format!("unknown site `{name}`{hint}"),
        ))
    };
    for name in plan.sites.iter().flatten() {
        site(name, &["sites"])?;
    }
    if let Some(name) = &plan.reference {
        site(name, &["reference"])?;
    }
    for (index, primary) in plan.primary.iter().flatten().enumerate() {
        let key = ["primary", &index.to_string()];
        if let Primary::Row(row) = primary {
            site(&row.site, &key)?;
            site(&row.against, &key)?;
            if row.site == row.against {
                return Err(problem(
                    &under(at, &key),
                    format!("`{}` is compared with itself", row.site),
                ));
            }
        }
    }
    for (measure, margin) in &plan.margins {
        in_range(
            *margin,
            MORE_THAN_0..=1e3,
            &under(at, &["margins", measure.name()]),
        )?;
    }
    for (key, days) in [
        ("rest_days", plan.rest_days),
        ("rest_days_after_skin", plan.rest_days_after_skin),
    ] {
        in_range(days.unwrap_or(0.0), 0.0..=366.0, &under(at, &[key]))?;
    }
    Ok(())
}

fn under<'a>(at: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    [at, more].concat()
}

fn zone(name: Option<&str>, path: &[&str]) -> Checked {
    match name {
        Some(name) if TimeZone::get(name).is_err() => Err(problem(
            path,
            format!("unknown time zone `{name}`: use an IANA name such as \"Europe/Lisbon\""),
        )),
        _ => Ok(()),
    }
}

/// An offset from UTC as `+01:00`, `-03:30` or `Z`.
pub(super) fn parse_offset(text: &str) -> Option<Offset> {
    if text == "Z" {
        return Some(Offset::UTC);
    }
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    if hours.len() != 2 || minutes.len() != 2 {
        return None;
    }
    let (hours, minutes): (u8, u8) = (hours.parse().ok()?, minutes.parse().ok()?);
    if hours > 23 || minutes > 59 {
        return None;
    }
    let seconds = (i32::from(hours) * 60 + i32::from(minutes)) * 60;
    Offset::from_seconds(sign * seconds).ok()
}

const MORE_THAN_0: f64 = f64::MIN_POSITIVE;

fn rated(days: Option<f64>, path: &[&str]) -> Checked {
    in_range(days.unwrap_or(1.0), MORE_THAN_0..=3650.0, path)
}

fn warm_up(hours: Option<f64>, path: &[&str]) -> Checked {
    in_range(hours.unwrap_or(0.0), 0.0..=240.0, path)
}

fn in_range(value: f64, range: std::ops::RangeInclusive<f64>, path: &[&str]) -> Checked {
    if range.contains(&value) {
        return Ok(());
    }
    let least = if *range.start() == MORE_THAN_0 {
        "more than 0".to_owned()
    } else {
        range.start().to_string()
    };
    let key = path.last().copied().unwrap_or_default();
    Err(problem(
        path,
        format!(
            "`{key}` is {value}: it goes from {least} to {}",
            range.end()
        ),
    ))
}
