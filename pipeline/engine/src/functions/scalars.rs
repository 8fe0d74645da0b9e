//! Functions of single rows.

use std::sync::Arc;

use datafusion::arrow::array::{
    ArrayRef, BooleanArray, Float64Array, Int64Array, StringArray, TimestampMicrosecondArray,
};
use datafusion::arrow::datatypes::DataType;
use datafusion::error::Result;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_model::settings::nearest_word;
use whereworn_model::time::{MICROS_PER_MINUTE, MICROS_PER_SECOND, days_between};
use whereworn_stats::agreement::acceptance::{
    AcceptanceLimit, LIMITS, limit, one_sided_lower_bound,
};
use whereworn_stats::agreement::error_grid::consensus_zone;
use whereworn_stats::agreement::limits::{within_limit, within_percent};
use whereworn_stats::comparison::{at_least, at_most};
use whereworn_stats::conclusions::Confounder;
use whereworn_stats::distributions::t_quantile;
use whereworn_stats::nights::hardly_told;
use whereworn_stats::rates::poisson::exact_poisson_interval;
use whereworn_stats::rates::proportion::clopper_pearson;

use super::arguments::Kind::{Count, Level, Number, Text, Time};
use super::arguments::{Argument, plain, with_unit};
use super::scalar::{Given, Scalar};
use crate::base_tables::instant;

const FROM_TO: [Argument; 2] = [plain("from", Time), plain("to", Time)];
const HITS: [Argument; 2] = [plain("hits", Count), plain("total", Count)];
const LIMITED: [Argument; 2] = [plain("value", Number), plain("limit", Number)];
const READING: Argument = with_unit("reading", Number, "mg/dL");
const FINGERSTICK: Argument = with_unit("fingerstick", Number, "mg/dL");

const fn number() -> DataType {
    DataType::Float64
}

const fn boolean() -> DataType {
    DataType::Boolean
}

/// Every function of single rows.
pub const ALL: &[Scalar] = &[
    Scalar {
        name: "days_between",
        arguments: &FROM_TO,
        gives: number,
        about: "elapsed days of 86 400 s",
        example: "days_between(inserted, seen_until)",
        compute: |given| elapsed(given, days_between),
    },
    Scalar {
        name: "minutes_between",
        arguments: &FROM_TO,
        gives: number,
        about: "elapsed minutes",
        example: "minutes_between(inserted, seen_until)",
        compute: |given| {
            elapsed(given, |from, to| {
                (to - from) as f64 / MICROS_PER_MINUTE as f64
            })
        },
    },
    Scalar {
        name: "plus_hours",
        arguments: &[plain("time", Time), with_unit("hours", Number, "h")],
        gives: instant,
        about: "an instant some hours later",
        example: "plus_hours(inserted, 24)",
        compute: plus_hours,
    },
    Scalar {
        name: "clock_hour",
        arguments: &[
            plain("time", Time),
            with_unit("zone", Text, "an IANA time zone"),
        ],
        gives: || DataType::Int64,
        about: "hour of the local clock, 0 to 23",
        example: "clock_hour(inserted, 'Europe/Lisbon')",
        compute: clock_hour,
    },
    Scalar {
        name: "at_most",
        arguments: &LIMITED,
        gives: boolean,
        about: "whether a value is at its limit or below, up to rounding (a relative 1e-9)",
        example: "at_most(days, rated_days)",
        compute: |given| compared(given, at_most),
    },
    Scalar {
        name: "at_least",
        arguments: &LIMITED,
        gives: boolean,
        about: "whether a value is at its limit or above, up to rounding",
        example: "at_least(days, 7)",
        compute: |given| compared(given, at_least),
    },
    Scalar {
        name: "below",
        arguments: &LIMITED,
        gives: boolean,
        about: "whether a value is below its limit by more than rounding",
        example: "below(days, 1)",
        compute: |given| compared(given, |value, limit| !at_least(value, limit)),
    },
    Scalar {
        name: "above",
        arguments: &LIMITED,
        gives: boolean,
        about: "whether a value is above its limit by more than rounding",
        example: "above(days, rated_days)",
        compute: |given| compared(given, |value, limit| !at_most(value, limit)),
    },
    Scalar {
        name: "clamp",
        arguments: &[
            plain("value", Number),
            plain("least", Number),
            plain("most", Number),
        ],
        gives: number,
        about: "a value, the bound where it lies beyond one; empty where the value is (`GREATEST` and `LEAST` give the bound there), and an empty bound is none",
        example: "clamp(days, 0, rated_days)",
        compute: clamp,
    },
    Scalar {
        name: "within_limit",
        arguments: &[
            READING,
            FINGERSTICK,
            with_unit("limit", Number, "mg/dL, percent from 100 mg/dL on"),
        ],
        gives: boolean,
        about: "whether a reading is within so many mg/dL of a fingerstick below 100 mg/dL, so many percent of one from 100 on",
        example: "within_limit(84, 99, 15)",
        compute: |given| agreed(given, within_limit),
    },
    Scalar {
        name: "within_percent",
        arguments: &[READING, FINGERSTICK, with_unit("limit", Number, "percent")],
        gives: boolean,
        about: "whether a reading is within so many percent of a fingerstick",
        example: "within_percent(120, 100, 20)",
        compute: |given| agreed(given, within_percent),
    },
    Scalar {
        name: "hardly_told",
        arguments: &[
            with_unit("spacing_minutes", Number, "min"),
            with_unit("nadir", Number, "mg/dL"),
        ],
        gives: boolean,
        about: "whether readings are so far apart, and a nadir so near a low, that the detector hardly tells pressure from a fast true low",
        example: "hardly_told(15, 62)",
        compute: |given| compared(given, hardly_told),
    },
    Scalar {
        name: "withdrawn_for",
        arguments: &[plain("reasons", Count)],
        gives: || DataType::Utf8,
        about: "what else went with a site, joined by +; no value for 0. `conclude` gives `reasons` as a bit for each",
        example: "withdrawn_for(192)",
        compute: withdrawn_for,
    },
    Scalar {
        name: "error_grid_zone",
        arguments: &[READING, FINGERSTICK],
        gives: || DataType::Utf8,
        about: "zone `A` to `E` of the consensus error grid, type 1",
        example: "error_grid_zone(180, 60)",
        compute: error_grid_zone,
    },
    Scalar {
        name: "exact_poisson_lower",
        arguments: &[plain("events", Count)],
        gives: number,
        about: "lower end of the exact 95 % interval of a count (Garwood 1936)",
        example: "exact_poisson_lower(10)",
        compute: |given| of_count(given, |count| exact_poisson_interval(count, 0.95).lower),
    },
    Scalar {
        name: "exact_poisson_upper",
        arguments: &[plain("events", Count)],
        gives: number,
        about: "its upper end",
        example: "exact_poisson_upper(10)",
        compute: |given| of_count(given, |count| exact_poisson_interval(count, 0.95).upper),
    },
    Scalar {
        name: "exact_share_lower",
        arguments: &HITS,
        gives: number,
        about: "lower end of the exact 95 % interval of a share (Clopper and Pearson 1934); empty for a total of 0",
        example: "exact_share_lower(3, 10)",
        compute: |given| {
            of_share(given, |hits, total| {
                clopper_pearson(hits, total, 0.95).map(|i| i.lower)
            })
        },
    },
    Scalar {
        name: "exact_share_upper",
        arguments: &HITS,
        gives: number,
        about: "its upper end",
        example: "exact_share_upper(3, 10)",
        compute: |given| {
            of_share(given, |hits, total| {
                clopper_pearson(hits, total, 0.95).map(|i| i.upper)
            })
        },
    },
    Scalar {
        name: "one_sided_lower",
        arguments: &HITS,
        gives: number,
        about: "exact one-sided 95 % lower bound of a share, pairs taken as independent",
        example: "one_sided_lower(95, 100)",
        compute: |given| of_share(given, one_sided_lower_bound),
    },
    Scalar {
        name: "student_t",
        arguments: &[plain("p", Level), plain("df", Number)],
        gives: number,
        about: "lower-tail quantile of Student's t; empty for degrees of freedom that are not above 0",
        example: "student_t(0.975, 4)",
        compute: student_t,
    },
    Scalar {
        name: "acceptance_met",
        arguments: &[
            with_unit("limit", Text, "its letter or name"),
            READING,
            FINGERSTICK,
        ],
        gives: number,
        about: "1 where a pair keeps to an acceptance limit, 0 where not, empty where it is not about the pair; limits `A` to `I` of 21 CFR 862.1355(b)(1)(v), `meters-low` and `meters-high` of ISO 15197:2013",
        example: "acceptance_met('C', 120, 110)",
        compute: acceptance_met,
    },
    Scalar {
        name: "acceptance_share",
        arguments: &[with_unit("limit", Text, "its letter or name")],
        gives: number,
        about: "the share of pairs that an acceptance limit demands",
        example: "acceptance_share('C')",
        compute: acceptance_share,
    },
];

fn elapsed(given: &Given<'_>, between: fn(i64, i64) -> f64) -> Result<ArrayRef> {
    let (from, to) = (given.times(0)?, given.times(1)?);
    let values = from
        .iter()
        .zip(to)
        .map(|(from, to)| Some(between(from?, to?)));
    Ok(Arc::new(values.collect::<Float64Array>()))
}

fn plus_hours(given: &Given<'_>) -> Result<ArrayRef> {
    let later = |time: i64, hours: f64| {
        time.saturating_add((hours * 3600.0 * MICROS_PER_SECOND as f64).round() as i64)
    };
    let (times, hours) = (given.times(0)?, given.numbers(1)?);
    let values = times
        .iter()
        .zip(hours)
        .map(|(time, hours)| Some(later(time?, hours?)));
    let array: TimestampMicrosecondArray = values.collect();
    Ok(Arc::new(array.with_timezone("UTC")))
}

fn clock_hour(given: &Given<'_>) -> Result<ArrayRef> {
    let mut known: Option<(String, TimeZone)> = None;
    let mut hour = |(time, name): (Option<i64>, Option<&str>)| -> Result<Option<i64>> {
        let (Some(time), Some(name)) = (time, name) else {
            return Ok(None);
        };
        let zone = match &known {
            Some((of, zone)) if of == name => zone.clone(),
            _ => {
                let found = TimeZone::get(name).map_err(|_| {
                    given.refused(1, &format!("`{name}`"), "a known one, as `Europe/Lisbon`")
                })?;
                known = Some((name.to_owned(), found.clone()));
                found
            }
        };
        let local = Timestamp::from_microsecond(time)
            .ok()
            .map(|at| at.to_zoned_datetime(zone));
        Ok(local.map(|local| i64::from(local.hour())))
    };
    let rows = given.times(0)?.iter().zip(given.texts(1)?);
    let hours: Int64Array = rows.map(&mut hour).collect::<Result<_>>()?;
    Ok(Arc::new(hours))
}

fn compared(given: &Given<'_>, holds: fn(f64, f64) -> bool) -> Result<ArrayRef> {
    let (values, limits) = (given.numbers(0)?, given.numbers(1)?);
    let holds = values
        .iter()
        .zip(limits)
        .map(|(value, limit)| Some(holds(value?, limit?)));
    Ok(Arc::new(holds.collect::<BooleanArray>()))
}

fn clamp(given: &Given<'_>) -> Result<ArrayRef> {
    let bounds = given.numbers(1)?.iter().zip(given.numbers(2)?);
    let rows = given.numbers(0)?.iter().zip(bounds);
    let clamped = rows.map(|(value, (least, most))| {
        let value = value?.max(least.unwrap_or(f64::NEG_INFINITY));
        Some(value.min(most.unwrap_or(f64::INFINITY)))
    });
    Ok(Arc::new(clamped.collect::<Float64Array>()))
}

fn agreed(given: &Given<'_>, within: fn(f64, f64, f64) -> bool) -> Result<ArrayRef> {
    let pairs = given.numbers(0)?.iter().zip(given.numbers(1)?);
    let rows = pairs.zip(given.numbers(2)?);
    let within =
        rows.map(|((reading, fingerstick), limit)| Some(within(reading?, fingerstick?, limit?)));
    Ok(Arc::new(within.collect::<BooleanArray>()))
}

fn error_grid_zone(given: &Given<'_>) -> Result<ArrayRef> {
    let pairs = given.numbers(0)?.iter().zip(given.numbers(1)?);
    let zone = |(reading, fingerstick): (Option<f64>, Option<f64>)| {
        Some(format!("{:?}", consensus_zone(reading?, fingerstick?)))
    };
    Ok(Arc::new(pairs.map(zone).collect::<StringArray>()))
}

fn withdrawn_for(given: &Given<'_>) -> Result<ArrayRef> {
    let names = |reasons: Option<f64>| {
        let reasons = reasons? as u64;
        let of = Confounder::ALL.into_iter();
        let of = of.filter(|confounder| reasons >> (*confounder as u32) & 1 == 1);
        let names: Vec<&str> = of.map(Confounder::name).collect();
        (!names.is_empty()).then(|| names.join("+"))
    };
    Ok(Arc::new(
        given.numbers(0)?.iter().map(names).collect::<StringArray>(),
    ))
}

fn of_count(given: &Given<'_>, compute: fn(u64) -> f64) -> Result<ArrayRef> {
    let values = given
        .numbers(0)?
        .iter()
        .map(|count| Some(compute(count? as u64)));
    Ok(Arc::new(values.collect::<Float64Array>()))
}

fn of_share(given: &Given<'_>, compute: fn(u64, u64) -> Option<f64>) -> Result<ArrayRef> {
    let share = |(hits, total): (Option<f64>, Option<f64>)| -> Result<Option<f64>> {
        let (Some(hits), Some(total)) = (hits, total) else {
            return Ok(None);
        };
        if hits > total {
            let wanted = format!("no more than `total`, which is {total}");
            return Err(given.refused(0, &hits.to_string(), &wanted));
        }
        Ok(compute(hits as u64, total as u64))
    };
    let rows = given.numbers(0)?.iter().zip(given.numbers(1)?);
    Ok(Arc::new(rows.map(share).collect::<Result<Float64Array>>()?))
}

fn student_t(given: &Given<'_>) -> Result<ArrayRef> {
    let rows = given.numbers(0)?.iter().zip(given.numbers(1)?);
    let quantile = |(p, df): (Option<f64>, Option<f64>)| {
        let (p, df) = (p?, df?);
        (df > 0.0).then(|| t_quantile(p, df))
    };
    Ok(Arc::new(rows.map(quantile).collect::<Float64Array>()))
}

/// The acceptance limit of a name in the first argument.
fn known_limit(given: &Given<'_>, name: &str) -> Result<&'static AcceptanceLimit> {
    limit(name).ok_or_else(|| {
        let known = LIMITS.iter().map(|limit| limit.id);
        let names: Vec<&str> = known.clone().collect();
        let hint = nearest_word(name, known)
            .map_or(String::new(), |word| format!("; did you mean `{word}`?"));
        given.refused(
            0,
            &format!("`{name}`"),
            &format!("one of {}{hint}", names.join(", ")),
        )
    })
}

fn acceptance_met(given: &Given<'_>) -> Result<ArrayRef> {
    let pairs = given.numbers(1)?.iter().zip(given.numbers(2)?);
    let rows = given.texts(0)?.iter().zip(pairs);
    let met = |(name, (reading, fingerstick)): (Option<&str>, (Option<f64>, Option<f64>))| {
        let (Some(name), Some(reading), Some(fingerstick)) = (name, reading, fingerstick) else {
            return Ok(None);
        };
        let met = known_limit(given, name)?.met(reading, fingerstick);
        Ok(met.map(|met| f64::from(u8::from(met))))
    };
    Ok(Arc::new(rows.map(met).collect::<Result<Float64Array>>()?))
}

fn acceptance_share(given: &Given<'_>) -> Result<ArrayRef> {
    let share = |name: Option<&str>| {
        name.map(|name| Ok(known_limit(given, name)?.share()))
            .transpose()
    };
    let shares = given.texts(0)?.iter().map(share);
    Ok(Arc::new(shares.collect::<Result<Float64Array>>()?))
}
