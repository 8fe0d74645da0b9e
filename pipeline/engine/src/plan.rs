//! The plan of a study's settings in the terms of the statistics.

use whereworn_model::settings::{self, Settings};
use whereworn_stats::conclusions::{Measure, Plan, Primary};

/// What a study set out to compare; the default where its settings hold no plan.
#[must_use]
pub fn plan_of(settings: &Settings) -> Plan {
    if settings.plan.is_none() {
        return Plan::default();
    }
    let plan = settings.study_plan();
    Plan {
        primary: plan.primary.iter().map(primary).collect(),
        reference: plan.reference,
        margins: plan
            .margins
            .into_iter()
            .map(|(of, margin)| (measure(of), margin))
            .filter(|(of, margin)| *margin != of.default_margin())
            .collect(),
    }
}

fn primary(primary: &settings::Primary) -> Primary {
    match primary {
        settings::Primary::Measure(of) => Primary::Measure(measure(*of)),
        settings::Primary::Row(row) => Primary::Row {
            measure: measure(row.measure),
            site: row.site.clone(),
            against: row.against.clone(),
        },
    }
}

fn measure(of: settings::Measure) -> Measure {
    match of {
        settings::Measure::StaysOn => Measure::StaysOn,
        settings::Measure::ReadsTrue => Measure::ReadsTrue,
        settings::Measure::ReadsHighOrLow => Measure::ReadsHighOrLow,
        settings::Measure::QuietAtNight => Measure::QuietAtNight,
        settings::Measure::Delay => Measure::Delay,
    }
}
