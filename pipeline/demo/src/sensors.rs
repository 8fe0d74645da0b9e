//! What a sensor reports: blood glucose behind a lag, times a gain, with noise, artefacts and gaps.

use crate::clock::{DAY, Minute};
use crate::nights::Artefact;
use crate::physiology::Blood;
use crate::plan::Session;
use crate::random::Dice;
use crate::scenario::{FIRST_DAY_HOURS, NOISE_MINUTES, RANGE, WARMUP_MINUTES, WHITE_NOISE};

/// Status of a reading as it is written.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Status {
    Ok,
    Low,
    High,
    Warmup,
    Error,
}

impl Status {
    /// The word in the raw file.
    pub(crate) fn word(self) -> &'static [u8] {
        match self {
            Self::Ok => b"ok",
            Self::Low => b"low",
            Self::High => b"high",
            Self::Warmup => b"warmup",
            Self::Error => b"error",
        }
    }
}

/// One reading; glucose in mg/dL before rounding.
#[derive(Clone, Copy)]
pub(crate) struct Reading {
    pub(crate) minute: Minute,
    pub(crate) glucose: f64,
    pub(crate) status: Status,
}

/// Calls `emit` for each reading of a sensor, in order of time.
pub(crate) fn readings<E>(
    session: &Session,
    blood: &Blood,
    artefacts: &[Artefact],
    spacing: i64,
    dice: &mut Dice,
    mut emit: impl FnMut(Reading) -> Result<(), E>,
) -> Result<(), E> {
    let phase = dice.whole(1, spacing);
    let mut gaps = gaps(session, artefacts, dice).into_iter().peekable();
    let mut pressure = Pressure {
        artefacts,
        attenuation: 0.0,
    };
    let mut noise = Noise::new(session.site.noise, spacing);
    let failing_from = failing_from(session, dice);
    let lag = 1.0 - libm::exp(-1.0 / session.site.delay);
    let mut tissue = blood.at(session.insert - 1);
    let mut dip = session.first_day_dip;
    let dip_kept = libm::exp(-(spacing as f64) / (60.0 * FIRST_DAY_HOURS));
    let mut next = session.insert + phase;
    for minute in session.insert..=session.last {
        tissue += lag * (blood.at(minute) - tissue);
        pressure.step(minute);
        if minute < next {
            continue;
        }
        next += spacing;
        dip *= dip_kept;
        let age = minute - session.insert;
        let wobble = noise.step(1.0 + 12.0 * dip, dice);
        while gaps.next_if(|gap| gap.1 <= minute).is_some() {}
        if gaps.peek().is_some_and(|gap| gap.0 <= minute) {
            continue;
        }
        let days = age as f64 / DAY as f64;
        let gain = session.gain + session.site.drift * days - dip;
        let glucose = gain * tissue * (1.0 + wobble) - pressure.attenuation;
        emit(limited(minute, glucose, age, minute >= failing_from))?;
    }
    Ok(())
}

/// Applies the measuring range and the status.
fn limited(minute: Minute, glucose: f64, age: i64, failing: bool) -> Reading {
    let (glucose, range) = match glucose {
        low if low < RANGE.0 => (RANGE.0, Status::Low),
        high if high > RANGE.1 => (RANGE.1, Status::High),
        inside => (inside, Status::Ok),
    };
    let status = match (failing, age < WARMUP_MINUTES) {
        (true, _) => Status::Error,
        (false, true) => Status::Warmup,
        (false, false) => range,
    };
    Reading {
        minute,
        glucose,
        status,
    }
}

/// From when a sensor that fails reports errors only.
fn failing_from(session: &Session, dice: &mut Dice) -> Minute {
    let before = dice.whole(60, 240);
    match session.cause {
        Some("sensor-fault") => (session.last - before).max(session.insert + 90),
        Some("not-started") => session.insert + 30,
        _ => Minute::MAX,
    }
}

/// Times without readings, in order: mostly under 20 minutes, sometimes hours; pressure cuts the signal too.
fn gaps(session: &Session, artefacts: &[Artefact], dice: &mut Dice) -> Vec<(Minute, Minute)> {
    let mut gaps = Vec::new();
    let mut at = session.insert + (2.0 * DAY as f64 * dice.exponential()) as Minute;
    while at < session.last {
        let long = dice.chance(0.1);
        let minutes = if long {
            60.0 + 160.0 * dice.exponential()
        } else {
            6.0 + 8.0 * dice.exponential()
        };
        gaps.push((at, at + minutes as Minute));
        at += 1 + minutes as Minute + (1.5 * DAY as f64 * dice.exponential()) as Minute;
    }
    for artefact in artefacts {
        if dice.chance(0.12) {
            let from = dice.whole(artefact.start, artefact.end);
            gaps.push((from, from + dice.whole(8, 25)));
        }
    }
    gaps.sort_unstable();
    gaps
}

/// The attenuation by pressure, mg/dL: a first-order system behind a rectangular input.
struct Pressure<'a> {
    /// Those not yet past.
    artefacts: &'a [Artefact],
    attenuation: f64,
}

impl Pressure<'_> {
    fn step(&mut self, minute: Minute) {
        let Some(artefact) = self.artefacts.first() else {
            return;
        };
        if minute < artefact.start {
            return;
        }
        let target = if minute < artefact.end {
            artefact.size
        } else {
            0.0
        };
        self.attenuation += (target - self.attenuation) / artefact.edge;
        if minute >= artefact.end + 35 {
            self.attenuation = 0.0;
            self.artefacts = &self.artefacts[1..];
        }
    }
}

/// Relative noise of one sensor: one part correlated from reading to reading, one not.
struct Noise {
    keep: f64,
    kick: f64,
    level: f64,
}

impl Noise {
    fn new(sd: f64, spacing: i64) -> Self {
        let keep = libm::exp(-(spacing as f64) / NOISE_MINUTES);
        Self {
            keep,
            kick: sd * libm::sqrt(1.0 - keep * keep),
            level: 0.0,
        }
    }

    fn step(&mut self, factor: f64, dice: &mut Dice) -> f64 {
        self.level = self.keep * self.level + self.kick * dice.normal();
        factor * self.level + WHITE_NOISE * dice.normal()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Purpose;
    use crate::scenario::{Hazard, MODELS, Site, TAPES};

    const NEVER: Hazard = Hazard {
        share_14: 0.0,
        shape: 1.0,
    };
    static QUIET: Site = Site {
        key: "forearm",
        label: "",
        on_label: false,
        sides: &["left"],
        gain: 1.0,
        gain_sd: 0.0,
        noise: 0.0,
        drift: 0.0,
        delay: 12.0,
        detach: NEVER,
        causes: [1.0, 0.0, 0.0],
        not_started: 0.0,
        fault: NEVER,
        reaction: NEVER,
        artefacts: 0.0,
        comfort: 5.0,
    };

    fn session(gain: f64) -> Session {
        Session {
            label: "s01".to_owned(),
            site: &QUIET,
            side: "left",
            model: &MODELS[0],
            lot: String::new(),
            tape: &TAPES[0],
            insert: 0,
            last: 1000,
            cause: None,
            lost: false,
            gain,
            first_day_dip: 0.0,
            artefact_factor: 1.0,
        }
    }

    /// Mean reading at each minute over 400 sensors, whose white noise of 1 % remains.
    fn mean_readings(gain: f64, blood: &Blood, artefacts: &[Artefact]) -> Vec<f64> {
        let (mut sums, mut counts) = (vec![0.0; 1001], vec![0.0; 1001]);
        for sensor in 0..400 {
            let mut dice = Dice::new(5, 0, Purpose::Readings, sensor);
            readings::<()>(&session(gain), blood, artefacts, 1, &mut dice, |reading| {
                sums[reading.minute as usize] += reading.glucose;
                counts[reading.minute as usize] += 1.0;
                Ok(())
            })
            .unwrap();
        }
        sums.iter()
            .zip(&counts)
            .map(|(sum, count)| sum / count)
            .collect()
    }

    /// A first-order lag has gone 1 - 1/e of a step after one time constant (any handbook of control); discrete
    /// minutes count the step's own minute.
    #[test]
    fn a_step_in_blood_arrives_with_the_delay_of_the_site() {
        let blood = Blood {
            start: -10,
            values: (-10..1001)
                .map(|m| if m < 500 { 100.0 } else { 200.0 })
                .collect(),
        };
        let mean = mean_readings(1.1, &blood, &[]);
        assert!((mean[499] - 110.0).abs() < 0.4, "{}", mean[499]);
        let expected = 110.0 + 110.0 * (1.0 - (-1.0f64).exp());
        assert!(
            (mean[511] - expected).abs() < 0.6,
            "{} {expected}",
            mean[511]
        );
        assert!((mean[700] - 220.0).abs() < 0.6, "{}", mean[700]);
    }

    #[test]
    fn an_artefact_takes_its_size_off_and_goes() {
        let blood = Blood {
            start: -10,
            values: vec![150.0; 1011],
        };
        let artefact = Artefact {
            night: 0,
            start: 500,
            end: 560,
            size: 40.0,
            edge: 4.0,
        };
        let mean = mean_readings(1.0, &blood, &[artefact]);
        assert!((mean[499] - 150.0).abs() < 0.4, "{}", mean[499]);
        assert!((mean[555] - 110.0).abs() < 0.4, "{}", mean[555]);
        assert!((mean[600] - 150.0).abs() < 0.4, "{}", mean[600]);
    }

    #[test]
    fn values_outside_the_measuring_range_hold_its_limit() {
        let low = limited(100, 31.0, 100, false);
        assert!(low.glucose == 40.0 && low.status == Status::Low);
        let high = limited(100, 431.0, 100, false);
        assert!(high.glucose == 400.0 && high.status == Status::High);
        assert!(limited(10, 120.0, 59, false).status == Status::Warmup);
        assert!(limited(10, 120.0, 60, false).status == Status::Ok);
        assert!(limited(10, 120.0, 600, true).status == Status::Error);
    }
}
