//! Shifts of everybody's lag from a moment on that the times of the readings show.
//!
//! A clock that several sensors share (a phone's, an export's) leaves a gap where it is put forward and two runs of
//! readings that interleave where it is put back; from then on the readings of every sensor are shifted by as much.

use crate::clocks::causes::{Cause, Scope};
use crate::clocks::lag::{Profiles, STEP};
use crate::clocks::sensor_shifts::{chances, worth};
use crate::clocks::stretches::{BOTH_ENDS, Search, gain};
use crate::readings::trace::{Break, Sign, Trace};

/// Least gain of log-likelihood by sensors other than those that show the moment.
const OTHERS: f64 = 5.0;

/// Minutes by which two breaks may differ, of which the second undoes the first.
const UNDOES: f64 = 1.0;

/// A span of time at whose ends the readings of sensors show breaks.
struct Span {
    from: Option<f64>,
    to: Option<f64>,
    minutes: f64,
    sign: Sign,
    price: f64,
    shown_by: [usize; 2],
}

/// The best shift of all sensors from a break on, until one, or between two of which the second undoes the first.
pub(crate) fn shared_break(
    profiles: &Profiles,
    search: &Search,
    traces: &[&Trace],
) -> Option<Cause> {
    let breaks: Vec<(usize, Break)> = traces
        .iter()
        .enumerate()
        .flat_map(|(sensor, trace)| trace.breaks.iter().map(move |found| (sensor, *found)))
        .filter(|(sensor, found)| !is_explained(profiles, *sensor, found.at))
        .collect();
    let chances = chances(breaks.iter().map(|(_, found)| found));
    spans(&breaks)
        .into_iter()
        .filter_map(|span| cause(profiles, search, &span, &chances))
        .max_by(|a, b| a.net.total_cmp(&b.net))
}

/// Whether what was found so far shifts a sensor at a moment.
fn is_explained(profiles: &Profiles, sensor: usize, at: f64) -> bool {
    let items = profiles
        .of_sensor
        .get(sensor)
        .map_or(&[][..], Vec::as_slice);
    let split = items.partition_point(|item| profiles.items[*item].time <= at);
    let around = items.get(split.saturating_sub(1)..=split);
    around.is_some_and(|two| matches!(two, [a, b] if profiles.shift[*a] != profiles.shift[*b]))
}

fn spans(breaks: &[(usize, Break)]) -> Vec<Span> {
    let mut spans = Vec::new();
    for (sensor, first) in breaks {
        let one_sided = |from, to, minutes| Span {
            from,
            to,
            minutes,
            sign: first.sign,
            price: first.price,
            shown_by: [*sensor; 2],
        };
        spans.push(one_sided(Some(first.at), None, first.minutes));
        spans.push(one_sided(None, Some(first.at), -first.minutes));
        for (other, second) in breaks {
            if second.at > first.at && (first.minutes + second.minutes).abs() <= UNDOES {
                spans.push(Span {
                    from: Some(first.at),
                    to: Some(second.at),
                    minutes: first.minutes,
                    sign: first.sign.vaguer(second.sign),
                    price: first.price + second.price + BOTH_ENDS,
                    shown_by: [*sensor, *other],
                });
            }
        }
    }
    spans
}

fn cause(
    profiles: &Profiles,
    search: &Search,
    span: &Span,
    chances: impl Fn(Sign) -> f64,
) -> Option<Cause> {
    let inside = |item: &usize| {
        let time = profiles.items[*item].time;
        span.from.is_none_or(|from| time > from) && span.to.is_none_or(|to| time <= to)
    };
    let items: Vec<usize> = (0..profiles.items.len()).filter(inside).collect();
    let others: Vec<usize> = items
        .iter()
        .copied()
        .filter(|item| !span.shown_by.contains(&profiles.items[*item].sensor))
        .collect();
    let steps = (span.minutes / STEP).round() as i32;
    if items.len() == profiles.items.len() || gain(profiles, search, &others, steps) < OTHERS {
        return None;
    }
    let by_log = profiles.edges_gain(None, [span.from, span.to], span.minutes);
    let gained = gain(profiles, search, &items, steps) + by_log;
    Some(Cause {
        scope: Scope::All,
        items,
        whole: false,
        minutes: span.minutes,
        error: 1.0,
        lag: None,
        net: worth(span.sign, gained - span.price, chances)?,
        begins: span.from,
        ends: span.to,
        steps,
        shown: true,
        by_log,
        edges: Vec::new(),
    })
}
