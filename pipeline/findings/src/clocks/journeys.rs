//! Shifts of whole hours that begin or end within the data, as on a journey: whose clock it was, and one finding for one journey.

use whereworn_model::time::{MICROS_PER_DAY, Micros};

use crate::clocks::causes::{Cause, Scope};
use crate::clocks::lag::{Profiles, STEP};
use crate::clocks::{Wearer, since};
use crate::finding::{Finding, Severity};
use crate::log::Session;
use crate::readings::trace::{Sign, Trace};
use crate::words::{clock_correction, signed_minutes};

/// Log-likelihood by which the log has to say that readings are not shifted.
const LOG: f64 = 3.0;

/// Minutes by which a break may differ from the shift that it explains, and around a moment in which one is looked for.
const NEAR: f64 = 30.0;
const AROUND: f64 = 720.0;

/// Between two sensors that were shifted on one journey lies no longer time.
const APART: Micros = 3 * MICROS_PER_DAY;

/// Whether readings or the log show that a shift is none of the readings, and so is the meters'.
pub(crate) fn is_denied(wearer: &Wearer<'_>, profiles: &Profiles, cause: &Cause) -> bool {
    let [begins, ends] = [(cause.begins, cause.minutes), (cause.ends, -cause.minutes)];
    let moments = [begins, ends].into_iter();
    let mut moments = moments.filter_map(|(at, minutes)| Some((at?, minutes)));
    let shows_none = |(at, minutes): (f64, f64)| {
        let mut traces = wearer.traces.iter();
        let span = around(profiles, cause, at);
        traces.any(|trace| runs_on(trace, span, minutes))
    };
    moments.any(shows_none) || log_denies(profiles, cause)
}

/// Half a day more than from the last fingerstick before a moment to the first one after it.
fn around(profiles: &Profiles, cause: &Cause, at: f64) -> (f64, f64) {
    let own = || {
        profiles
            .items
            .iter()
            .filter(|item| cause.scope.has_item(item))
    };
    let before = own().rev().find(|item| item.time <= at);
    let after = own().find(|item| item.time > at);
    let [from, to] = [before, after].map(|item| item.map_or(at, |item| item.time));
    (from - AROUND, to + AROUND)
}

/// Whether readings run on over a span of time as no clock would that was put forward by some minutes in it: without a gap as long,
/// or, put back, without two runs that overlap.
fn runs_on(trace: &Trace, (from, to): (f64, f64), minutes: f64) -> bool {
    let ends = trace.times.first().zip(trace.times.last());
    if !ends.is_some_and(|(first, last)| *first < from && *last > to) {
        return false;
    }
    if minutes > 0.0 {
        let steps = trace.times.iter().zip(trace.times.iter().skip(1));
        let mut within = steps.filter(|(before, after)| **after > from && **before < to);
        return within.all(|(before, after)| after - before < minutes - NEAR);
    }
    let mut breaks = trace.breaks.iter();
    let is_it = |own: f64| (own - minutes).abs() <= NEAR;
    !breaks.any(|found| {
        (from + minutes..=to - minutes).contains(&found.at)
            && found.sign == Sign::Overlap
            && is_it(found.minutes)
    })
}

/// Whether first and last reading of shifted sensors come when the log has them, as those of a shifted clock would not.
pub(crate) fn log_denies(profiles: &Profiles, cause: &Cause) -> bool {
    let own = profiles.edges.iter().filter(|edge| cause.scope.has(edge));
    let own = own.filter(|edge| edge.is_in(None, [cause.begins, cause.ends]));
    // What was found explains it already: taken back, it fits the log better.
    let back = -f64::from(cause.steps) * STEP;
    own.map(|edge| edge.gain(back)).sum::<f64>() >= LOG && !matches!(cause.scope, Scope::Meter(_))
}

/// Findings of one sensor each, by the same whole hours and one after the other, as one.
pub(crate) fn joined(wearer: &Wearer<'_>, findings: Vec<Finding>) -> Vec<Finding> {
    let (mut own, mut all): (Vec<Finding>, Vec<Finding>) = findings.into_iter().partition(is_hours);
    own.sort_by_key(|finding| finding.from);
    let own = undone(wearer, own);
    let mut last: Option<(Finding, Micros)> = None;
    for next in own {
        let until = next
            .to
            .or(session(wearer, &next).map(|own| own.until(wearer.cutoff)));
        let until = until.unwrap_or(wearer.cutoff);
        last = match last {
            Some((first, to)) if follows(&first, to, &next) => {
                let to = to.max(until);
                Some((together(wearer, first, next, to), to))
            }
            Some((first, _)) => {
                all.push(first);
                Some((next, until))
            }
            None => Some((next, until)),
        };
    }
    all.extend(last.map(|(finding, _)| finding));
    all
}

/// Of two shifts of one sensor the second of which takes back the first, from some moment on or until one, what is left of both.
fn undone(wearer: &Wearer<'_>, mut own: Vec<Finding>) -> Vec<Finding> {
    let mut place = 1;
    while place < own.len() {
        let left =
            (0..place).find_map(|other| Some((other, rest(wearer, &own[other], &own[place])?)));
        match left {
            Some((other, rest)) => {
                own.remove(place);
                own[other] = rest;
            }
            None => place += 1,
        }
    }
    own
}

fn rest(wearer: &Wearer<'_>, one: &Finding, other: &Finding) -> Option<Finding> {
    let opposite = one.size.zip(other.size).is_some_and(|(a, b)| a == -b);
    if one.sensor != other.sensor || !opposite {
        return None;
    }
    let (from, to, size) = match (one.from == other.from, one.to == other.to) {
        (true, false) if one.to < other.to => (one.to, other.to, other.size),
        (true, false) => (other.to, one.to, one.size),
        (false, true) => (one.from, other.from, one.size),
        _ => return None,
    };
    let (sensor, size) = (one.sensor.as_str(), size?);
    let whose = format!("sensor `{sensor}` of `{}`", wearer.name);
    Some(Finding {
        kind: "clock-change",
        severity: Severity::Wrong,
        from,
        to,
        size: Some(size),
        text: text(wearer, &whose, [from, to], size),
        paste: clock_correction(wearer.name, "sensor", sensor, size, from, to, &wearer.zone),
        ..one.clone()
    })
}

/// What is told of a journey.
fn text(wearer: &Wearer<'_>, whose: &str, [from, to]: [Option<Micros>; 2], size: f64) -> String {
    format!(
        "{whose}: {} the clock is about {} that of the meter: a journey or a change of the clocks that one device did not follow would explain it; readings are compared with fingersticks of another time",
        since(wearer, from, to),
        signed_minutes(size, "ahead of", "behind"),
    )
}

/// Whether a finding is of whole hours and of one sensor.
fn is_hours(finding: &Finding) -> bool {
    let is_hours = finding.size.is_some_and(|size| size % 60.0 == 0.0);
    is_hours
        && !finding.sensor.is_empty()
        && ["clock-change", "clock-sensor"].contains(&finding.kind)
}

fn session<'a>(wearer: &Wearer<'a>, finding: &Finding) -> Option<&'a Session> {
    let mut all = wearer.sessions.iter();
    all.find(|session| session.sensor == finding.sensor)
        .copied()
}

/// Whether one shift goes on with the next sensor: one of them at least begins or ends while it is worn.
fn follows(first: &Finding, to: Micros, next: &Finding) -> bool {
    let is_change = |finding: &Finding| finding.kind == "clock-change";
    let near = next.from.is_some_and(|from| from <= to + APART);
    near && first.size == next.size && (is_change(first) || is_change(next))
}

fn together(wearer: &Wearer<'_>, first: Finding, next: Finding, to: Micros) -> Finding {
    let size = first.size.unwrap_or(0.0);
    let whose = format!("the sensors of `{}`", wearer.name);
    Finding {
        kind: "clock-change",
        severity: Severity::Wrong,
        sensor: String::new(),
        site: String::new(),
        text: text(wearer, &whose, [first.from, Some(to)], size),
        to: Some(to),
        todo: "look at the clocks of both devices; if one was off, paste the lines".to_owned(),
        paste: first.paste.clone() + &next.paste,
        ..first
    }
}
