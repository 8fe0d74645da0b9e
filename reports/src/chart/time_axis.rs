//! A horizontal axis of dates.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use whereworn_model::time::{Micros, local_date, start_of_day};

use super::axis::{Scale, Tick};
use crate::catalogue::fill;
use crate::context::Context;

/// Room for a date below an axis, CSS pixels.
const LABEL: f64 = 62.0;

/// Ticks at local midnights, days apart at first, months apart over longer times.
pub(crate) fn ticks(context: &Context, x: &Scale) -> Vec<Tick> {
    let most = ((x.to - x.from) / LABEL).floor().max(1.0);
    let days = (x.high - x.low) / 86_400e6;
    let (Some(first), Some(last)) = (
        date_of(x.low, &context.zone),
        date_of(x.high, &context.zone),
    ) else {
        return Vec::new();
    };
    let dates = match [1i64, 2, 7, 14]
        .into_iter()
        .find(|&step| days / step as f64 <= most)
    {
        Some(step) => every_days(first, last, step),
        None => {
            let months = [1i64, 2, 3, 6, 12, 24, 60, 120];
            let step = months
                .into_iter()
                .find(|&step| days / 30.4 / step as f64 <= most)
                .unwrap_or(1200);
            every_months(first, last, step)
        }
    };
    dates
        .into_iter()
        .filter_map(|date| Some((date, start_of_day(date, &context.zone)? as f64)))
        .filter(|(_, at)| (x.low..=x.high).contains(at))
        .map(|(date, at)| Tick {
            at: x.map(at),
            text: day_month(context, date),
        })
        .collect()
}

/// Room for a clock time below an axis, CSS pixels.
const CLOCK_LABEL: f64 = 46.0;

/// Ticks at round local clock times; dates where the scale is longer than a few days.
pub(crate) fn clock_ticks(context: &Context, x: &Scale) -> Vec<Tick> {
    const QUARTER: Micros = 900_000_000;
    let minutes = (x.high - x.low) / 60e6;
    let most = ((x.to - x.from) / CLOCK_LABEL).floor().max(1.0);
    let steps = [15i64, 30, 60, 120, 180, 240, 360, 720, 1440];
    let Some(step) = steps
        .into_iter()
        .find(|&step| minutes / step as f64 <= most)
    else {
        return ticks(context, x);
    };
    let (first, last) = (x.low / QUARTER as f64, x.high / QUARTER as f64);
    (first.ceil() as i64..=last.floor() as i64)
        .map(|n| n * QUARTER)
        .filter_map(|at| {
            let local = Timestamp::from_microsecond(at).ok()?;
            let local = local.to_zoned_datetime(context.zone.clone());
            let minute = i64::from(local.hour()) * 60 + i64::from(local.minute());
            (minute % step == 0).then(|| Tick {
                at: x.map(at as f64),
                text: local.strftime("%H:%M").to_string(),
            })
        })
        .collect()
}

fn date_of(micros: f64, zone: &TimeZone) -> Option<Date> {
    Timestamp::from_microsecond(micros as Micros).ok()?;
    local_date(micros as Micros, zone)
}

fn every_days(first: Date, last: Date, step: i64) -> Vec<Date> {
    let mut out = Vec::new();
    let mut date = first;
    while date <= last {
        out.push(date);
        match date.checked_add(step.days()) {
            Ok(next) => date = next,
            Err(_) => break,
        }
    }
    out
}

fn every_months(first: Date, last: Date, step: i64) -> Vec<Date> {
    let mut out = Vec::new();
    let mut date = first.first_of_month();
    while date <= last {
        out.push(date);
        match date.checked_add(step.months()) {
            Ok(next) => date = next,
            Err(_) => break,
        }
    }
    out
}

fn month_name<'c>(context: &'c Context<'_>, date: Date) -> &'c str {
    let month = usize::try_from(date.month()).unwrap_or(1);
    let name = context.text.months_short.get(month.wrapping_sub(1));
    name.map_or("", String::as_str)
}

fn day_month(context: &Context, date: Date) -> String {
    let name = month_name(context, date);
    fill(
        &context.text.chart.day_month,
        &[("day", &date.day().to_string()), ("month", name)],
    )
}

/// The quarters of a year that times lie in, from midnight to midnight.
pub(crate) fn quarters(context: &Context, low: f64, high: f64) -> Vec<(f64, f64)> {
    /// Ten years of them: older spans are not drawn.
    const MOST: usize = 40;
    let (Some(first), Some(last)) = (date_of(low, &context.zone), date_of(high, &context.zone))
    else {
        return Vec::new();
    };
    let back = i64::from((first.month() - 1) % 3);
    let Ok(begin) = first.first_of_month().checked_sub(back.months()) else {
        return Vec::new();
    };
    let starts = every_months(begin, last, 3);
    let skipped = starts.len().saturating_sub(MOST);
    let ends = |date: &Date| {
        let next = date.checked_add(3.months()).ok()?;
        let at = |date| Some(start_of_day(date, &context.zone)? as f64);
        Some((at(*date)?, at(next)?))
    };
    starts[skipped..].iter().filter_map(ends).collect()
}

/// The months that begin on a scale, by their instants; the first one carries its year.
pub(crate) fn months(context: &Context, x: &Scale) -> Vec<Tick> {
    let (Some(first), Some(last)) = (
        date_of(x.low, &context.zone),
        date_of(x.high, &context.zone),
    ) else {
        return Vec::new();
    };
    let dates = every_months(first, last, 1).into_iter();
    dates
        .filter_map(|date| Some((date, start_of_day(date, &context.zone)? as f64)))
        .filter(|(_, at)| (x.low..x.high).contains(at))
        .enumerate()
        .map(|(index, (date, at))| Tick {
            at,
            text: if index == 0 {
                let year = date.year().to_string();
                let values = [("month", month_name(context, date)), ("year", &*year)];
                fill(&context.text.page.month, &values)
            } else {
                month_name(context, date).to_owned()
            },
        })
        .collect()
}
