//! `[wearers.NAME]` and `[sites.NAME]`: what differs for one wearer or one site.

use serde::{Deserialize, Serialize};

use super::plan::PlanSettings;
use super::when::When;

/// What differs for a wearer.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct WearerSettings {
    /// IANA time zone of this wearer's local times.
    pub timezone: Option<String>,
    /// Rated wear, days.
    pub rated_days: Option<f64>,
    /// Hours of warm-up.
    pub warmup_hours: Option<f64>,
    /// Where the wearer travelled, in order of time.
    pub zones: Vec<Journey>,
    /// What differs from `[plan]`.
    pub plan: Option<PlanSettings>,
}

/// From when on a wearer lived by another time zone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Journey {
    /// The first moment, by the clock of the place left.
    pub from: When,
    /// IANA time zone of the place reached.
    pub timezone: String,
}

/// A site of the study.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SiteSettings {
    /// Name shown to a reader.
    pub label: Option<String>,
    /// Whether the site is on the device's label; a site of which nothing is said is not.
    pub on_label: Option<bool>,
}
