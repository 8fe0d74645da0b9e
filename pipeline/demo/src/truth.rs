//! What is true of a study, as JSON.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::DemoError;
use crate::Options;
use crate::clock::{Clock, DAY, Stamp, Style};
use crate::nights::Night;
use crate::plan::Session;
use crate::scenario::{
    CHOSEN, DETACH_CAUSES, FIRST_DAY_DIP, FIRST_DAY_HOURS, Hazard, LOST, MODELS, NOISE_MINUTES,
    RANGE, RATED_DAYS, SITES, Site, TAPES, WARMUP_MINUTES, WHITE_NOISE, Wearer, ZONE,
};

/// Collects, wearer by wearer, what is true of the study.
pub(crate) struct Truth {
    wearers: Vec<Value>,
    hazards: Vec<f64>,
    sensors: Vec<Value>,
    tallies: BTreeMap<&'static str, Tally>,
}

/// What the draws came to at one site.
#[derive(Default)]
struct Tally {
    gains: Vec<f64>,
    detached: usize,
    nights: usize,
    artefacts: usize,
}

impl Truth {
    pub(crate) fn new() -> Self {
        Self {
            wearers: Vec::new(),
            hazards: Vec::new(),
            sensors: Vec::new(),
            tallies: BTreeMap::new(),
        }
    }

    /// Adds a wearer; the sensors follow with [`Truth::add_sensor`].
    pub(crate) fn add_wearer(&mut self, wearer: &Wearer) {
        self.hazards.push(wearer.hazard);
        self.wearers.push(json!({
            "wearer": wearer.handle,
            "basal_mgdl": rounded(wearer.basal),
            "detachment_hazard_factor": rounded(wearer.hazard),
            "meter": wearer.meter,
            "meter_noise_sd": wearer.meter_noise,
            "raw_unit": if wearer.mmoll { "mmol/L" } else { "mg/dL" },
        }));
    }

    /// Adds a sensor with the number of its night artefacts.
    pub(crate) fn add_sensor(
        &mut self,
        wearer: &Wearer,
        session: &Session,
        nights: &[Night],
        artefacts: usize,
        clock: &Clock,
    ) -> Result<(), DemoError> {
        let worn = nights.partition_point(|night| night.bed < session.insert);
        let nights = nights[worn..]
            .iter()
            .take_while(|night| night.rise <= session.last)
            .count();
        let mut stamp = Stamp::new(clock, Style::Utc);
        let ended = session
            .cause
            .map(|_| stamp.text(session.last))
            .transpose()?;
        let tally = self.tallies.entry(session.site.key).or_default();
        tally.gains.push(session.gain);
        tally.detached += usize::from(
            session
                .cause
                .is_some_and(|cause| DETACH_CAUSES.contains(&cause)),
        );
        tally.nights += nights;
        tally.artefacts += artefacts;
        self.sensors.push(json!({
            "wearer": wearer.handle,
            "sensor": session.label,
            "site": session.site.key,
            "side": session.side,
            "model": session.model.name,
            "lot": session.lot,
            "tape": session.tape.key,
            "inserted": stamp.text(session.insert)?,
            "ended": ended,
            "cause": session.cause,
            "last_worn": stamp.text(session.last)?,
            "lost_track_of": session.lost,
            "days": rounded((session.last - session.insert) as f64 / DAY as f64),
            "gain": rounded(session.gain),
            "first_day_dip": rounded(session.first_day_dip),
            "artefact_factor": rounded(session.artefact_factor),
            "whole_nights": nights,
            "artefacts": artefacts,
        }));
        Ok(())
    }

    /// The whole truth.
    pub(crate) fn into_json(self, options: &Options) -> Value {
        let sites: serde_json::Map<String, Value> = SITES
            .iter()
            .map(|site| {
                (
                    site.key.to_owned(),
                    site_truth(site, &self.hazards, self.tallies.get(site.key)),
                )
            })
            .collect();
        json!({
            "invented": true,
            "options": {
                "wearers": options.wearers,
                "sensors": options.sensors,
                "minutes": options.minutes,
                "seed": options.seed,
            },
            "timezone": ZONE,
            "rated_days": RATED_DAYS,
            "warmup_minutes": WARMUP_MINUTES,
            "measuring_range_mgdl": [RANGE.0, RANGE.1],
            "noise_minutes": NOISE_MINUTES,
            "white_noise_sd": WHITE_NOISE,
            "first_day": { "mean_dip_of_gain": FIRST_DAY_DIP, "time_constant_hours": FIRST_DAY_HOURS },
            "meter_clock_offset_minutes": 0,
            "chosen": hazard(&CHOSEN),
            "lost_track_of": hazard(&LOST),
            "models": MODELS.iter().map(|model| json!({
                "model": model.name, "rated_days": model.rated_days, "gain_factor": model.gain, "share": model.share,
            })).collect::<Vec<_>>(),
            "tapes": TAPES.iter().map(|tape| json!({
                "tape": tape.key, "detachment_hazard_factor": tape.hazard, "share": tape.share,
            })).collect::<Vec<_>>(),
            "sites": sites,
            "wearers": self.wearers,
            "sensors": self.sensors,
        })
    }
}

fn site_truth(site: &Site, wearer_hazards: &[f64], tally: Option<&Tally>) -> Value {
    let expected = Expected::of(site, wearer_hazards);
    json!({
        "label": site.label,
        "gain": site.gain,
        "gain_sd_between_sensors": site.gain_sd,
        "noise_sd": site.noise,
        "gain_drift_per_day": site.drift,
        "delay_minutes": site.delay,
        "detachment": hazard(&site.detach),
        "detachment_causes": DETACH_CAUSES.iter().zip(site.causes)
            .map(|(cause, share)| ((*cause).to_owned(), json!(share))).collect::<serde_json::Map<_, _>>(),
        "sensor_fault": hazard(&site.fault),
        "reaction": hazard(&site.reaction),
        "not_started": site.not_started,
        "artefacts_per_100_nights": site.artefacts,
        "expected": {
            "survival_of_adhesion_7": rounded(expected.survival[0]),
            "survival_of_adhesion_10": rounded(expected.survival[1]),
            "survival_of_adhesion_14": rounded(expected.survival[2]),
            "restricted_mean_days_14": rounded(expected.restricted_mean),
            "share_detached_14": rounded(expected.detached),
        },
        "drawn": tally.map(drawn),
    })
}

fn drawn(tally: &Tally) -> Value {
    let count = tally.gains.len() as f64;
    let mean = tally.gains.iter().sum::<f64>() / count;
    let squares: f64 = tally
        .gains
        .iter()
        .map(|gain| (gain - mean) * (gain - mean))
        .sum();
    let sd = (tally.gains.len() > 1).then(|| rounded(libm::sqrt(squares / (count - 1.0))));
    json!({
        "sensors": tally.gains.len(),
        "detached": tally.detached,
        "mean_gain": rounded(mean),
        "sd_gain": sd,
        "whole_nights": tally.nights,
        "artefacts": tally.artefacts,
    })
}

/// What the hazards of a site amount to over the tapes and the wearers of the study.
struct Expected {
    /// At 7, 10 and 14 days.
    survival: [f64; 3],
    restricted_mean: f64,
    /// Cumulative incidence of coming off by 14 days, beside faults, reactions and failed starts.
    detached: f64,
}

impl Expected {
    fn of(site: &Site, wearer_hazards: &[f64]) -> Self {
        let mut sum = Self {
            survival: [0.0; 3],
            restricted_mean: 0.0,
            detached: 0.0,
        };
        for wearer_hazard in wearer_hazards {
            for tape in &TAPES {
                let weight = tape.share / wearer_hazards.len() as f64;
                sum.add(site, wearer_hazard * tape.hazard, weight);
            }
        }
        sum
    }

    /// Adds one stratum, integrated in steps of a hundredth of a day.
    fn add(&mut self, site: &Site, factor: f64, weight: f64) {
        let survival = |days: f64| libm::exp(-factor * site.detach.cumulative(days));
        for (total, days) in self.survival.iter_mut().zip([7.0, 10.0, 14.0]) {
            *total += weight * survival(days);
        }
        for step in 0..1400 {
            let (from, to) = (f64::from(step) / 100.0, f64::from(step + 1) / 100.0);
            let middle = (from + to) / 2.0;
            let others =
                libm::exp(-site.fault.cumulative(middle) - site.reaction.cumulative(middle));
            self.restricted_mean += weight * 0.01 * survival(middle);
            self.detached +=
                weight * (1.0 - site.not_started) * others * (survival(from) - survival(to));
        }
    }
}

fn hazard(hazard: &Hazard) -> Value {
    json!({ "share_by_14_days_alone": hazard.share_14, "weibull_shape": hazard.shape })
}

/// Six decimals.
fn rounded(value: f64) -> f64 {
    libm::round(value * 1e6) / 1e6
}
