//! `[plan]`, for the study or a wearer, and `[priorities]`.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Settings;

/// What is compared between sites.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// Share of sensors that came off by the rated day.
    StaysOn,
    /// Mean absolute relative difference from fingersticks.
    ReadsTrue,
    /// Bias against fingersticks.
    ReadsHighOrLow,
    /// Night artefacts per 100 sensor-nights.
    QuietAtNight,
    /// Delay behind fingersticks.
    Delay,
}

impl Measure {
    /// All five, in the order of reports.
    pub const ALL: [Self; 5] = [
        Self::StaysOn,
        Self::ReadsTrue,
        Self::ReadsHighOrLow,
        Self::QuietAtNight,
        Self::Delay,
    ];

    /// Its name in settings and tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::StaysOn => "stays-on",
            Self::ReadsTrue => "reads-true",
            Self::ReadsHighOrLow => "reads-high-or-low",
            Self::QuietAtNight => "quiet-at-night",
            Self::Delay => "delay",
        }
    }

    /// The difference that would not matter where the plan sets none: a share, percentage points, mg/dL, artefacts
    /// per 100 sensor-nights, minutes. Chosen by this project; no source.
    pub fn default_margin(self) -> f64 {
        match self {
            Self::StaysOn => 0.10,
            Self::ReadsTrue => 2.0,
            Self::ReadsHighOrLow => 5.0,
            Self::QuietAtNight => 2.0,
            Self::Delay => 3.0,
        }
    }
}

/// What the wearing is to do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Aim {
    /// Settle the comparisons with as few sensors as can be.
    #[default]
    Learn,
    /// Wear what is likely to be best.
    WearBest,
    /// Half the sensors each.
    HalfHalf,
}

/// A planned comparison.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "a measure belongs here (stays-on, reads-true, quiet-at-night, reads-high-or-low or delay), or a table of measure, site and against"
)]
pub enum Primary {
    /// A measure: every planned site against the reference.
    Measure(Measure),
    /// One row.
    Row(PrimaryRow),
}

/// A planned comparison of two sites.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PrimaryRow {
    /// What is compared.
    pub measure: Measure,
    /// A site.
    pub site: String,
    /// Another one.
    pub against: String,
}

/// `[plan]` as written; of a wearer's own what is absent is the study's.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PlanSettings {
    /// Sites agreed with the clinician.
    pub sites: Option<Vec<String>>,
    /// What the wearing is to do.
    pub aim: Option<Aim>,
    /// The comparisons that the study is for.
    pub primary: Option<Vec<Primary>>,
    /// The site that others are compared with.
    pub reference: Option<String>,
    /// Differences that would not matter, in the units of [`Measure::default_margin`].
    pub margins: BTreeMap<Measure, f64>,
    /// Days that a spot rests.
    pub rest_days: Option<f64>,
    /// Days that a spot rests after skin trouble.
    pub rest_days_after_skin: Option<f64>,
}

/// A plan, defaults filled in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    /// Sites agreed with the clinician; empty where the plan names none.
    pub sites: Vec<String>,
    /// What the wearing is to do.
    pub aim: Aim,
    /// The comparisons that the study is for.
    pub primary: Vec<Primary>,
    /// The site that others are compared with.
    pub reference: Option<String>,
    /// Differences that would not matter, of every measure.
    pub margins: BTreeMap<Measure, f64>,
    /// Days that a spot rests.
    pub rest_days: f64,
    /// Days that a spot rests after skin trouble.
    pub rest_days_after_skin: f64,
}

impl Plan {
    fn of(study: &PlanSettings, own: &PlanSettings) -> Self {
        let margins = Measure::ALL.map(|measure| {
            let set = own.margins.get(&measure).or(study.margins.get(&measure));
            (measure, set.copied().unwrap_or(measure.default_margin()))
        });
        let primary = || {
            let measures = [Measure::StaysOn, Measure::ReadsTrue, Measure::QuietAtNight];
            measures.map(Primary::Measure).to_vec()
        };
        Self {
            sites: first(&own.sites, &study.sites).unwrap_or_default(),
            aim: first(&own.aim, &study.aim).unwrap_or_default(),
            primary: first(&own.primary, &study.primary).unwrap_or_else(primary),
            reference: first(&own.reference, &study.reference),
            margins: margins.into(),
            rest_days: first(&own.rest_days, &study.rest_days).unwrap_or(14.0),
            rest_days_after_skin: first(&own.rest_days_after_skin, &study.rest_days_after_skin)
                .unwrap_or(28.0),
        }
    }
}

fn first<T: Clone>(own: &Option<T>, study: &Option<T>) -> Option<T> {
    own.as_ref().or(study.as_ref()).cloned()
}

impl Settings {
    /// The study's plan, defaults filled in. Whether there is one at all says [`Settings::plan`].
    pub fn study_plan(&self) -> Plan {
        let study = self.plan.clone().unwrap_or_default();
        Plan::of(&study, &PlanSettings::default())
    }

    /// A wearer's plan: what `[wearers.NAME.plan]` leaves open is the study's.
    pub fn wearer_plan(&self, wearer: &str) -> Plan {
        let study = self.plan.clone().unwrap_or_default();
        let own = self.wearers.get(wearer).and_then(|own| own.plan.clone());
        Plan::of(&study, &own.unwrap_or_default())
    }
}

/// How much each thing matters to the wearer, from 0 to 5; 0 where nothing is said.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, rename_all = "kebab-case")]
pub struct Priorities {
    /// That it stays on.
    pub stays_on: f64,
    /// That it reads true.
    pub reads_true: f64,
    /// That one sensor reads like the next.
    pub steady: f64,
    /// That nights are quiet.
    pub quiet_at_night: f64,
    /// That the skin stays well.
    pub skin: f64,
    /// That it is comfortable.
    pub comfort: f64,
    /// That it is out of sight.
    pub out_of_sight: f64,
}

impl Priorities {
    /// Names and weights.
    pub fn weights(&self) -> [(&'static str, f64); 7] {
        [
            ("stays-on", self.stays_on),
            ("reads-true", self.reads_true),
            ("steady", self.steady),
            ("quiet-at-night", self.quiet_at_night),
            ("skin", self.skin),
            ("comfort", self.comfort),
            ("out-of-sight", self.out_of_sight),
        ]
    }
}
