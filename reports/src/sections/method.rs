//! How the figures came about, with the settings of the study.

use whereworn_model::format::number;

use super::points;
use crate::context::Context;
use crate::document::Block;

/// The method, point by point.
pub(crate) fn block(context: &Context) -> Block {
    let settings = context.input.settings;
    let plain = |value: f64| number(value, if value.fract() == 0.0 { 0 } else { 1 });
    let values = [
        ("zone", settings.study.timezone.as_deref().unwrap_or("UTC")),
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
