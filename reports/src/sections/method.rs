//! How the figures came about, with the settings of the study.

use super::points;
use crate::context::Context;
use crate::document::Block;

/// The method, point by point.
pub(crate) fn block(context: &Context) -> Block {
    let settings = &context.input.settings;
    let plain = |value: f64| context.number(value, if value.fract() == 0.0 { 0 } else { 1 });
    let values = [
        ("zone", context.zone_name()),
        ("unit", context.unit.code()),
        ("rated", &*plain(settings.wear.rated_days)),
        ("pairing", &*plain(settings.pairing.minutes)),
        ("warmup", &*plain(settings.wear.warmup_hours)),
        ("from", &*settings.night.from),
        ("to", &*settings.night.to),
        ("coverage", &*plain(settings.night.coverage * 100.0)),
    ];
    points(&context.text.method, &values)
}
