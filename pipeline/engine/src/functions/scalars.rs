//! Functions of single rows.

use std::sync::Arc;

use datafusion::arrow::array::{ArrayRef, AsArray, Float64Array, Int64Array, StringArray};
use datafusion::arrow::datatypes::{DataType, Float64Type, Int64Type, TimestampMicrosecondType};
use datafusion::error::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use whereworn_model::time::{MICROS_PER_SECOND, days_between};
use whereworn_stats::agreement::acceptance::{limit, one_sided_lower_bound};
use whereworn_stats::agreement::error_grid::consensus_zone;
use whereworn_stats::distributions::t_quantile;
use whereworn_stats::rates::poisson::exact_poisson_interval;
use whereworn_stats::rates::proportion::clopper_pearson;

use crate::base_tables::instant;

/// All of them:
///
/// - `days_between(from, to)`: elapsed days of 86 400 s.
/// - `minutes_between(from, to)`: elapsed minutes.
/// - `plus_hours(time, hours)`: an instant some hours later.
/// - `clock_hour(time, zone)`: hour of the day, 0 to 23, in an IANA time zone; UTC where the zone is none.
/// - `error_grid_zone(reading, fingerstick)`: zone `A` to `E` of the consensus error grid, type 1; mg/dL.
/// - `exact_poisson_lower(events)`, `exact_poisson_upper(events)`: exact 95 % interval of a count (Garwood 1936).
/// - `exact_share_lower(hits, total)`, `exact_share_upper(hits, total)`: exact 95 % interval of a share (Clopper and
///   Pearson 1934); empty for a total of 0.
/// - `student_t(p, df)`: lower-tail quantile of Student's t; empty for a `df` that is not above 0.
/// - `one_sided_lower(hits, total)`: exact one-sided 95 % lower bound of a share.
/// - `acceptance_met(limit, reading, fingerstick)`: 1 where a pair (mg/dL) keeps to a limit of
///   [`whereworn_stats::agreement::acceptance::LIMITS`], 0 where not, empty where the limit is not about it.
/// - `acceptance_share(limit)`: the share that the limit demands.
pub fn all() -> Vec<ScalarUDF> {
    vec![
        of_instants("days_between", days_between),
        of_instants("minutes_between", |from, to| {
            (to - from) as f64 / (60 * MICROS_PER_SECOND) as f64
        }),
        plus_hours(),
        clock_hour(),
        error_grid_zone(),
        of_count("exact_poisson_lower", |count| {
            exact_poisson_interval(count, 0.95).lower
        }),
        of_count("exact_poisson_upper", |count| {
            exact_poisson_interval(count, 0.95).upper
        }),
        of_share("exact_share_lower", |hits, total| {
            clopper_pearson(hits, total, 0.95).map(|interval| interval.lower)
        }),
        of_share("exact_share_upper", |hits, total| {
            clopper_pearson(hits, total, 0.95).map(|interval| interval.upper)
        }),
        of_share("one_sided_lower", one_sided_lower_bound),
        student_t(),
        acceptance_met(),
        acceptance_share(),
    ]
}

fn function(
    name: &str,
    takes: Vec<DataType>,
    gives: DataType,
    compute: impl Fn(&[ArrayRef]) -> Result<ArrayRef> + Send + Sync + 'static,
) -> ScalarUDF {
    let compute = move |arguments: &[ColumnarValue]| -> Result<ColumnarValue> {
        let arrays = ColumnarValue::values_to_arrays(arguments)?;
        Ok(ColumnarValue::Array(compute(&arrays)?))
    };
    create_udf(name, takes, gives, Volatility::Immutable, Arc::new(compute))
}

fn of_instants(name: &str, compute: fn(i64, i64) -> f64) -> ScalarUDF {
    function(
        name,
        vec![instant(), instant()],
        DataType::Float64,
        move |arrays| {
            let from = arrays[0].as_primitive::<TimestampMicrosecondType>();
            let to = arrays[1].as_primitive::<TimestampMicrosecondType>();
            let values = from
                .iter()
                .zip(to.iter())
                .map(|(from, to)| Some(compute(from?, to?)));
            Ok(Arc::new(values.collect::<Float64Array>()))
        },
    )
}

fn plus_hours() -> ScalarUDF {
    function(
        "plus_hours",
        vec![instant(), DataType::Float64],
        instant(),
        |arrays| {
            let time = arrays[0].as_primitive::<TimestampMicrosecondType>();
            let hours = arrays[1].as_primitive::<Float64Type>();
            let later = |time: i64, hours: f64| {
                time + (hours * 3600.0 * MICROS_PER_SECOND as f64).round() as i64
            };
            let values = time
                .iter()
                .zip(hours.iter())
                .map(|(time, hours)| Some(later(time?, hours?)));
            let array: datafusion::arrow::array::TimestampMicrosecondArray = values.collect();
            Ok(Arc::new(array.with_timezone("UTC")))
        },
    )
}

fn clock_hour() -> ScalarUDF {
    function(
        "clock_hour",
        vec![instant(), DataType::Utf8],
        DataType::Int64,
        |arrays| {
            let time = arrays[0].as_primitive::<TimestampMicrosecondType>();
            let mut zone = (String::new(), TimeZone::UTC);
            let hour = |(time, name): (Option<i64>, Option<&str>)| {
                let (time, name) = (time?, name?);
                if zone.0 != name {
                    let found = TimeZone::get(name).unwrap_or(TimeZone::UTC);
                    zone = (name.to_owned(), found);
                }
                let local = Timestamp::from_microsecond(time)
                    .ok()?
                    .to_zoned_datetime(zone.1.clone());
                Some(i64::from(local.hour()))
            };
            let names = arrays[1].as_string::<i32>();
            let hours = time.iter().zip(names.iter()).map(hour);
            Ok(Arc::new(hours.collect::<Int64Array>()))
        },
    )
}

fn error_grid_zone() -> ScalarUDF {
    function(
        "error_grid_zone",
        vec![DataType::Float64; 2],
        DataType::Utf8,
        |arrays| {
            let reading = arrays[0].as_primitive::<Float64Type>();
            let fingerstick = arrays[1].as_primitive::<Float64Type>();
            let zone = |(reading, fingerstick): (Option<f64>, Option<f64>)| {
                Some(format!("{:?}", consensus_zone(reading?, fingerstick?)))
            };
            Ok(Arc::new(
                reading
                    .iter()
                    .zip(fingerstick.iter())
                    .map(zone)
                    .collect::<StringArray>(),
            ))
        },
    )
}

fn of_count(name: &str, compute: fn(u64) -> f64) -> ScalarUDF {
    function(
        name,
        vec![DataType::Int64],
        DataType::Float64,
        move |arrays| {
            let counts = arrays[0].as_primitive::<Int64Type>();
            let values = counts
                .iter()
                .map(|count| Some(compute(count?.max(0) as u64)));
            Ok(Arc::new(values.collect::<Float64Array>()))
        },
    )
}

fn of_share(name: &str, compute: fn(u64, u64) -> Option<f64>) -> ScalarUDF {
    function(
        name,
        vec![DataType::Int64; 2],
        DataType::Float64,
        move |arrays| {
            let hits = arrays[0].as_primitive::<Int64Type>();
            let total = arrays[1].as_primitive::<Int64Type>();
            let bound = |(hits, total): (Option<i64>, Option<i64>)| {
                compute(hits?.max(0) as u64, total?.max(0) as u64)
            };
            let values = hits.iter().zip(total.iter()).map(bound);
            Ok(Arc::new(values.collect::<Float64Array>()))
        },
    )
}

fn student_t() -> ScalarUDF {
    function(
        "student_t",
        vec![DataType::Float64; 2],
        DataType::Float64,
        |arrays| {
            let p = arrays[0].as_primitive::<Float64Type>().iter();
            let df = arrays[1].as_primitive::<Float64Type>().iter();
            let quantile = |(p, df): (Option<f64>, Option<f64>)| {
                let (p, df) = (p?, df?);
                (p > 0.0 && p < 1.0 && df > 0.0).then(|| t_quantile(p, df))
            };
            Ok(Arc::new(p.zip(df).map(quantile).collect::<Float64Array>()))
        },
    )
}

fn acceptance_met() -> ScalarUDF {
    function(
        "acceptance_met",
        vec![DataType::Utf8, DataType::Float64, DataType::Float64],
        DataType::Float64,
        |arrays| {
            let ids = arrays[0].as_string::<i32>();
            let reading = arrays[1].as_primitive::<Float64Type>();
            let fingerstick = arrays[2].as_primitive::<Float64Type>();
            let values = ids.iter().zip(reading.iter().zip(fingerstick.iter())).map(
                |(id, (reading, fingerstick))| {
                    limit(id?)?
                        .met(reading?, fingerstick?)
                        .map(|met| f64::from(u8::from(met)))
                },
            );
            Ok(Arc::new(values.collect::<Float64Array>()))
        },
    )
}

fn acceptance_share() -> ScalarUDF {
    function(
        "acceptance_share",
        vec![DataType::Utf8],
        DataType::Float64,
        |arrays| {
            let ids = arrays[0].as_string::<i32>();
            let values = ids.iter().map(|id| Some(limit(id?)?.share()));
            Ok(Arc::new(values.collect::<Float64Array>()))
        },
    )
}
