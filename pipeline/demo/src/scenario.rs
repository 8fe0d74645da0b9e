//! The invented people, sites, sensors and tapes: every number that the truth rests on.

use crate::clock::Style;
use crate::random::{Dice, Purpose};

/// IANA zone of the study.
pub(crate) const ZONE: &str = "Atlantic/Azores";
/// Days that survival is judged over.
pub(crate) const RATED_DAYS: f64 = 14.0;
/// Minutes from insertion in which readings carry the status `warmup`.
pub(crate) const WARMUP_MINUTES: i64 = 60;
/// Measuring range of the sensors, mg/dL.
pub(crate) const RANGE: (f64, f64) = (40.0, 400.0);
/// mg/dL in one mmol/L (molar mass of glucose 180.156 g/mol).
pub(crate) const MGDL_PER_MMOLL: f64 = 18.0156;
/// By how much the gain of an average sensor is low at insertion.
pub(crate) const FIRST_DAY_DIP: f64 = 0.06;
/// Time constant with which that goes, hours.
pub(crate) const FIRST_DAY_HOURS: f64 = 9.0;
/// Time constant of the sensors' correlated noise, minutes.
pub(crate) const NOISE_MINUTES: f64 = 30.0;
/// Relative standard deviation of the noise that one reading does not share with the next.
pub(crate) const WHITE_NOISE: f64 = 0.01;

/// A hazard of Weibull shape: cumulative hazard at 14 days and shape (above 1 it grows with wear).
#[derive(Clone, Copy)]
pub(crate) struct Hazard {
    /// Probability of the ending within 14 days, were it the only one.
    pub(crate) share_14: f64,
    /// Weibull shape.
    pub(crate) shape: f64,
}

impl Hazard {
    /// Cumulative hazard after some days.
    pub(crate) fn cumulative(&self, days: f64) -> f64 {
        -libm::log(1.0 - self.share_14) * libm::pow(days / RATED_DAYS, self.shape)
    }

    /// A time of this ending, days, with the hazard multiplied by `factor`.
    pub(crate) fn draw(&self, factor: f64, dice: &mut Dice) -> f64 {
        let at_14 = -libm::log(1.0 - self.share_14) * factor;
        RATED_DAYS * libm::pow(dice.exponential() / at_14, 1.0 / self.shape)
    }
}

/// What is true of a body site.
pub(crate) struct Site {
    pub(crate) key: &'static str,
    pub(crate) label: &'static str,
    pub(crate) on_label: bool,
    /// Sides that it is worn on.
    pub(crate) sides: &'static [&'static str],
    /// Mean gain of its sensors.
    pub(crate) gain: f64,
    /// Standard deviation of the gain between its sensors.
    pub(crate) gain_sd: f64,
    /// Relative standard deviation of the correlated noise.
    pub(crate) noise: f64,
    /// Change of the gain per day of wear.
    pub(crate) drift: f64,
    /// Time constant of the lag behind blood, minutes.
    pub(crate) delay: f64,
    /// Coming off, whatever the cause, without tape.
    pub(crate) detach: Hazard,
    /// Shares of fell-off, knocked-off and lifted among those.
    pub(crate) causes: [f64; 3],
    /// Share of failed starts.
    pub(crate) not_started: f64,
    pub(crate) fault: Hazard,
    pub(crate) reaction: Hazard,
    /// Night artefacts per 100 nights.
    pub(crate) artefacts: f64,
    /// Mean comfort rating, 0 to 10.
    pub(crate) comfort: f64,
}

const BOTH: &[&str] = &["left", "right"];

const fn hazard(share_14: f64, shape: f64) -> Hazard {
    Hazard { share_14, shape }
}

#[rustfmt::skip]
pub(crate) const SITES: [Site; 7] = [
    Site { key: "upper-arm-back", label: "Back of the upper arm", on_label: true, sides: BOTH,
        gain: 1.00, gain_sd: 0.035, noise: 0.045, drift: 0.0, delay: 6.0,
        detach: hazard(0.20, 1.3), causes: [0.3, 0.5, 0.2], not_started: 0.02,
        fault: hazard(0.07, 0.9), reaction: hazard(0.04, 1.4), artefacts: 26.0, comfort: 8.0 },
    Site { key: "abdomen", label: "Abdomen", on_label: true, sides: BOTH,
        gain: 1.01, gain_sd: 0.090, noise: 0.055, drift: 0.0, delay: 8.0,
        detach: hazard(0.30, 1.2), causes: [0.4, 0.2, 0.4], not_started: 0.03,
        fault: hazard(0.08, 0.9), reaction: hazard(0.06, 1.4), artefacts: 7.0, comfort: 7.0 },
    Site { key: "lower-back", label: "Lower back", on_label: false, sides: &["left", "right", "middle"],
        gain: 1.01, gain_sd: 0.035, noise: 0.040, drift: 0.0, delay: 7.0,
        detach: hazard(0.12, 1.4), causes: [0.4, 0.3, 0.3], not_started: 0.02,
        fault: hazard(0.06, 0.9), reaction: hazard(0.04, 1.4), artefacts: 14.0, comfort: 7.5 },
    Site { key: "upper-thigh", label: "Upper thigh", on_label: false, sides: BOTH,
        gain: 1.06, gain_sd: 0.015, noise: 0.045, drift: 0.0, delay: 10.0,
        detach: hazard(0.36, 1.5), causes: [0.3, 0.5, 0.2], not_started: 0.02,
        fault: hazard(0.07, 0.9), reaction: hazard(0.05, 1.4), artefacts: 5.0, comfort: 7.0 },
    Site { key: "upper-buttock", label: "Upper buttock", on_label: false, sides: BOTH,
        gain: 1.00, gain_sd: 0.040, noise: 0.050, drift: 0.0, delay: 9.0,
        detach: hazard(0.16, 1.3), causes: [0.4, 0.3, 0.3], not_started: 0.02,
        fault: hazard(0.07, 0.9), reaction: hazard(0.03, 1.4), artefacts: 12.0, comfort: 6.5 },
    Site { key: "chest", label: "Chest", on_label: false, sides: BOTH,
        gain: 0.98, gain_sd: 0.035, noise: 0.050, drift: 0.0, delay: 4.0,
        detach: hazard(0.42, 1.1), causes: [0.6, 0.1, 0.3], not_started: 0.03,
        fault: hazard(0.07, 0.9), reaction: hazard(0.10, 1.4), artefacts: 9.0, comfort: 6.0 },
    Site { key: "forearm", label: "Forearm", on_label: false, sides: BOTH,
        gain: 0.96, gain_sd: 0.055, noise: 0.070, drift: -0.004, delay: 14.0,
        detach: hazard(0.62, 1.2), causes: [0.2, 0.6, 0.2], not_started: 0.04,
        fault: hazard(0.09, 0.9), reaction: hazard(0.06, 1.4), artefacts: 6.0, comfort: 5.0 },
];

/// Taken off early by choice, at every site.
pub(crate) const CHOSEN: Hazard = hazard(0.05, 1.0);
/// Lost track of (the log has no end), at every site.
pub(crate) const LOST: Hazard = hazard(0.02, 1.0);
/// Causes of detachment, in the order of [`Site::causes`].
pub(crate) const DETACH_CAUSES: [&str; 3] = ["fell-off", "knocked-off", "lifted"];

/// A sensor model of the scenario.
pub(crate) struct Model {
    pub(crate) name: &'static str,
    pub(crate) lot_prefix: &'static str,
    pub(crate) rated_days: i64,
    /// Multiplies the gain of its sensors.
    pub(crate) gain: f64,
    /// Share of sensors that are of this model.
    pub(crate) share: f64,
}

#[rustfmt::skip]
pub(crate) const MODELS: [Model; 2] = [
    Model { name: "model K", lot_prefix: "K", rated_days: 14, gain: 1.0, share: 0.75 },
    Model { name: "model M", lot_prefix: "M", rated_days: 10, gain: 1.02, share: 0.25 },
];

/// A tape put on with the sensor.
pub(crate) struct Tape {
    pub(crate) key: &'static str,
    /// Multiplies the hazard of coming off.
    pub(crate) hazard: f64,
    /// Share of sensors taped so.
    pub(crate) share: f64,
}

#[rustfmt::skip]
pub(crate) const TAPES: [Tape; 3] = [
    Tape { key: "none", hazard: 1.0, share: 0.4 },
    Tape { key: "ring", hazard: 0.8, share: 0.3 },
    Tape { key: "cover", hazard: 0.55, share: 0.3 },
];

/// One invented wearer.
pub(crate) struct Wearer {
    pub(crate) index: usize,
    pub(crate) handle: String,
    /// Level that blood glucose returns to, mg/dL.
    pub(crate) basal: f64,
    /// Usual bedtime and time of rising, minutes after local midnight.
    pub(crate) bed: i64,
    pub(crate) rise: i64,
    /// Share of nights whose bed and rise are written down.
    pub(crate) records_nights: f64,
    /// Multiplies the hazard of coming off.
    pub(crate) hazard: f64,
    pub(crate) meter: &'static str,
    /// Relative standard deviation of the fingersticks.
    pub(crate) meter_noise: f64,
    /// Whether the raw files are in mmol/L.
    pub(crate) mmoll: bool,
    pub(crate) style: Style,
}

/// Words for the wearers of the scenario: shore plants, seaweeds and rocks.
#[rustfmt::skip]
const HANDLES: [&str; 24] = [
    "tuff", "kelp", "gorse", "dulse", "marram", "thrift", "basalt", "pumice", "samphire", "sedge", "schist", "lichen",
    "gneiss", "bracken", "obsidian", "marl", "sundew", "chert", "spurrey", "breccia", "bladderwrack", "dolerite", "vetch",
    "gabbro",
];

/// The wearer with this index: the third writes mmol/L and offsets, every fourth goes to bed before the early
/// shift of the bakery.
pub(crate) fn wearer(index: usize, seed: u64) -> Wearer {
    let mut dice = Dice::new(seed, index, Purpose::Profile, 0);
    let word = HANDLES[index % HANDLES.len()];
    let round = index / HANDLES.len();
    let early = index % 4 == 3;
    let meter = dice.whole(0, 1) as usize;
    Wearer {
        index,
        handle: if round == 0 {
            word.to_owned()
        } else {
            format!("{word}-{}", round + 1)
        },
        basal: dice.between(100.0, 128.0),
        bed: if early {
            20 * 60 + 40
        } else {
            dice.whole(22 * 60 + 20, 23 * 60 + 40)
        },
        rise: if early {
            4 * 60 + 20
        } else {
            dice.whole(6 * 60 + 20, 7 * 60 + 40)
        },
        records_nights: dice.between(0.7, 0.95),
        hazard: libm::exp(0.25 * dice.normal()),
        meter: ["meter A", "meter B"][meter],
        meter_noise: [0.035, 0.045][meter],
        mmoll: index == 2,
        style: if index == 2 {
            Style::Offset
        } else {
            Style::Local
        },
    }
}
