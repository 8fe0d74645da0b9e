//! Whole studies of several sites, of known truth, for the conclusions that are drawn from them.

use crate::delay::{World, of_sensor};
use crate::draws::{gamma, normal, poisson};
use crate::wear::{Cause, Law};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_stats::conclusions::{BodySide, Ending, Night, Pair, Sensor, Study};
use whereworn_stats::delay::point::{DelayPoint, delay_point};
use whereworn_stats::delay::sensor_delay;

/// Days in a month.
pub const MONTH: f64 = 365.25 / 12.0;

/// What is true of a site.
#[derive(Clone, Copy)]
pub struct SiteLaw {
    /// How its sensors end.
    pub life: Law,
    /// Mean error, percent of glucose.
    pub bias: f64,
    /// Standard deviation of that between sensors.
    pub sd_between: f64,
    /// Standard deviation of the pairs of a sensor.
    pub sd_within: f64,
    /// Night artefacts per night.
    pub rate: f64,
    /// Shape of the gamma law by which sensors differ in that.
    pub shape: f64,
    /// Fewest and most pairs of a sensor that stays on to the end.
    pub pairs: [usize; 2],
    /// How its readings lag behind blood glucose, each sensor's delay being told from as many checks as it has pairs; `None`:
    /// nobody can tell.
    pub delay: Option<World>,
}

/// A site as it usually is (common practice, no source): three in ten sensors come off, a mean absolute relative difference of
/// 8 %, 8 artefacts per 100 nights.
pub const USUAL: SiteLaw = SiteLaw {
    life: Law {
        shape: 1.3,
        hazard: 0.36,
        fault: 0.005,
        failed_start: 0.02,
        chosen: 0.005,
    },
    bias: 0.0,
    sd_between: 5.0,
    sd_within: 9.0,
    rate: 0.08,
    shape: 1.5,
    pairs: [5, 50],
    delay: None,
};

/// What goes with a site without being the site's.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// One meter takes 17 of 20 fingersticks at the second site, the other as many at the rest; it reads 10 % lower.
    Meter,
    /// Sensors are ten minutes behind, and the second site is checked while glucose rises by 1 mg/dL a minute more, in rates whose noise is as large.
    Trend,
    /// Four of five sensors of the second site are worn on the left, one in five of the rest; that side has eight times the artefacts.
    Side,
    /// At the second site four of five nights with an artefact are lost.
    Gaps,
}

/// Readings over fingersticks of the meter that reads lower, percent.
const METERS_APART: f64 = 10.0;
const BEHIND_MINUTES: f64 = 10.0;
const LEFT_OVER_RIGHT: f64 = 8.0;

/// How a study is made.
#[derive(Clone)]
pub struct Design {
    /// The sites, and how many sensors are worn at each, over all wearers.
    pub sites: Vec<(SiteLaw, usize)>,
    /// People, who take turns.
    pub wearers: usize,
    /// Months over which sensors are inserted.
    pub months: usize,
    /// Month from which on each site is worn; empty: all from the start.
    pub starts: Vec<usize>,
    /// How far seasons move errors (percent), and hazards and rates (their logarithm).
    pub season: f64,
    /// A sensor in a hundred reads so much higher, percent.
    pub outlier: f64,
    /// A site is worn no longer from when on its mean error, survival, nights or delay lag this many standard errors behind the others'.
    pub drops_behind: Option<f64>,
    /// Share of sensors of a second model, which reads 2 % higher.
    pub second_model: f64,
    /// What goes with the second site, if anything does.
    pub along: Option<Along>,
}

impl Along {
    /// Puts what goes with the second site into a sensor of either.
    fn put(self, sensor: &mut Sensor, random: &mut ChaCha8Rng) {
        let second = sensor.site == 1;
        let mostly =
            |often: f64, random: &mut ChaCha8Rng| (random.random::<f64>() < often) == second;
        match self {
            Self::Meter => {
                for pair in &mut sensor.pairs {
                    pair.meter = usize::from(mostly(0.85, random));
                    shift(pair, METERS_APART * pair.meter as f64);
                }
            }
            Self::Trend => {
                for pair in &mut sensor.pairs {
                    let rate = f64::from(u8::from(second)) + 0.5 * normal(random);
                    pair.rate = Some(rate + normal(random));
                    let fingerstick = pair.difference / pair.relative;
                    shift(pair, -100.0 * BEHIND_MINUTES * rate / fingerstick);
                }
            }
            Self::Side => {
                let left = mostly(0.8, random);
                sensor.side = Some(if left {
                    BodySide::Left
                } else {
                    BodySide::Right
                });
                for night in &mut sensor.nights {
                    let quiet = 1.0 / LEFT_OVER_RIGHT;
                    if !left && random.random::<f64>() > quiet {
                        night.artefacts = 0.0;
                    }
                }
            }
            Self::Gaps => {
                let lost = |night: &Night, random: &mut ChaCha8Rng| {
                    second && night.artefacts > 0.0 && random.random::<f64>() < 0.8
                };
                let (gone, left) = std::mem::take(&mut sensor.nights)
                    .into_iter()
                    .partition(|night| lost(night, random));
                sensor.nights = left;
                sensor.lost_nights = Vec::from_iter(gone)
                    .iter()
                    .map(|night: &Night| night.end)
                    .collect();
            }
        }
    }
}

/// Moves a reading by so many percent of its fingerstick.
fn shift(pair: &mut Pair, percent: f64) {
    let fingerstick = pair.difference / pair.relative;
    pair.relative += percent / 100.0;
    pair.difference = pair.relative * fingerstick;
}

impl Design {
    /// Sites alike in design, without anything special.
    #[must_use]
    pub fn plain(laws: &[SiteLaw], sensors: usize, wearers: usize) -> Self {
        Self {
            sites: laws.iter().map(|law| (*law, sensors)).collect(),
            wearers,
            months: 24,
            starts: Vec::new(),
            season: 0.0,
            outlier: 0.0,
            drops_behind: None,
            second_model: 0.0,
            along: None,
        }
    }

    /// A study; sites are named by their place.
    pub fn draw<'a>(&self, names: &[&'a str], random: &mut ChaCha8Rng) -> Study<'a> {
        let people: Vec<[f64; 3]> = (0..self.wearers)
            .map(|_| [normal(random), normal(random), normal(random)])
            .collect();
        let slots = self.slots(random);
        let mut sensors: Vec<Sensor> = Vec::new();
        let mut dropped = vec![false; self.sites.len()];
        let mut month = 0;
        for (turn, (time, site)) in slots.into_iter().enumerate() {
            while (month + 1) as f64 * MONTH <= time {
                month += 1;
                self.drop(&sensors, month as f64 * MONTH, &mut dropped);
            }
            // What was meant for a site that is worn no longer goes to one that is.
            let site = if dropped[site] {
                match (0..self.sites.len())
                    .cycle()
                    .skip(turn)
                    .take(self.sites.len())
                    .find(|s| !dropped[*s])
                {
                    Some(other) => other,
                    None => continue,
                }
            } else {
                site
            };
            let wearer = turn % self.wearers;
            sensors.push(self.sensor(time, site, wearer, people[wearer], random));
        }
        Study {
            sites: names.iter().take(self.sites.len()).copied().collect(),
            sensors,
            looks: (1..=self.months)
                .map(|month| month as f64 * MONTH)
                .collect(),
        }
    }

    /// When a sensor is inserted, and where: each site's sensors spread over its months, in an order drawn anew.
    fn slots(&self, random: &mut ChaCha8Rng) -> Vec<(f64, usize)> {
        let mut slots = Vec::new();
        for (site, (_, sensors)) in self.sites.iter().enumerate() {
            let from = self.starts.get(site).copied().unwrap_or(0) as f64;
            let months = self.months as f64 - 0.5 - from;
            for place in 0..*sensors {
                let at = (place as f64 + random.random::<f64>()) / *sensors as f64;
                slots.push(((from + months * at) * MONTH, site));
            }
        }
        slots.sort_by(|a, b| a.0.total_cmp(&b.0));
        slots
    }

    /// One sensor of a person, whose deviates move hazard, errors and night artefacts.
    pub fn sensor(
        &self,
        inserted: f64,
        site: usize,
        wearer: usize,
        person: [f64; 3],
        random: &mut ChaCha8Rng,
    ) -> Sensor {
        let law = &self.sites[site].0;
        let wave = self.season * (std::f64::consts::TAU * inserted / 365.25).sin();
        let log_scale = 0.2 * wave;
        let life = law.life.draw(random, (0.4 * person[0] + log_scale).exp());
        let end = inserted + life.days;
        let mut level = law.bias + 2.0 * person[1] + wave + law.sd_between * normal(random);
        if random.random::<f64>() < 0.01 {
            level += self.outlier;
        }
        // Drawn only where there is one, so that other studies stay as they were.
        let second = self.second_model > 0.0 && random.random::<f64>() < self.second_model;
        if second {
            level += 2.0;
        }
        let [fewest, most] = law.pairs;
        let count = random.random_range(fewest..=most) as f64 * life.days / law_days();
        let mut pairs: Vec<Pair> = (0..count.ceil() as usize)
            .map(|_| {
                let age = life.days * random.random::<f64>();
                let relative = (level + law.sd_within * normal(random)) / 100.0;
                Pair {
                    time: inserted + age,
                    difference: relative * (60.0 + 200.0 * random.random::<f64>()),
                    relative,
                    routine: true,
                    age,
                    rank: 0.5,
                    meter: 0,
                    rate: None,
                }
            })
            .collect();
        pairs.sort_by(|a, b| a.time.total_cmp(&b.time));
        let rate = law.rate * (0.3 * person[2] + log_scale).exp() * gamma(random, law.shape);
        let nights: Vec<Night> = (1..=life.days.floor() as usize)
            .map(|night| Night {
                end: inserted + night as f64,
                artefacts: poisson(random, rate),
                age: night as f64 - 0.5,
            })
            .collect();
        let mut sensor = Sensor {
            wearer,
            site,
            model: usize::from(second),
            inserted,
            quarter: (inserted / (3.0 * MONTH)).floor() as i32,
            rated_days: law_days(),
            known_until: end,
            ending: match life.cause {
                Cause::Detached => Ending::CameOff,
                Cause::Fault => Ending::Competing,
                Cause::Chosen | Cause::Still => Ending::Censored,
            },
            pairs,
            nights,
            ..Sensor::default()
        };
        if let Some(along) = self.along {
            along.put(&mut sensor, random);
        }
        if let Some(world) = law.delay {
            let of_wearer = World {
                delay: world.delay + 1.5 * person[1],
                ..world
            };
            let checks = of_sensor(&of_wearer, life.days, sensor.pairs.len(), random);
            let points: Vec<DelayPoint> = checks.iter().filter_map(delay_point).collect();
            sensor.delay = sensor_delay(&points);
        }
        sensor
    }

    /// Marks sites that are behind in anything at a month's end, as long as two are left.
    fn drop(&self, sensors: &[Sensor], now: f64, dropped: &mut [bool]) {
        let Some(limit) = self.drops_behind else {
            return;
        };
        let values: [Shown; 4] = [
            |s| Some(f64::from(u8::from(s.ending == Ending::CameOff))),
            |s| mean(s.pairs.iter().map(|p| p.difference).sum(), s.pairs.len()),
            |s| mean(s.nights.iter().map(|n| n.artefacts).sum(), s.nights.len()),
            |s| s.delay.map(|delay| delay.minutes),
        ];
        for site in 0..dropped.len() {
            if dropped[site] || dropped.iter().filter(|gone| !**gone).count() <= 2 {
                continue;
            }
            let behind = values.iter().any(|of| {
                let known = sensors.iter().filter(|s| s.known_until <= now);
                let (own, others): (Vec<&Sensor>, Vec<&Sensor>) =
                    known.partition(|s| s.site == site);
                lag(&own, &others, of).is_some_and(|lag| lag > limit)
            });
            dropped[site] = behind;
        }
    }
}

/// What a sensor showed, where it did.
type Shown = fn(&Sensor) -> Option<f64>;

fn mean(sum: f64, count: usize) -> Option<f64> {
    Some(sum / count.max(1) as f64)
}

fn law_days() -> f64 {
    crate::wear::RATED
}

/// By how many standard errors one group's mean is above another's; `None` with fewer than three in either.
fn lag(own: &[&Sensor], others: &[&Sensor], of: impl Fn(&Sensor) -> Option<f64>) -> Option<f64> {
    let moments = |group: &[&Sensor]| {
        let values: Vec<f64> = group.iter().filter_map(|s| of(s)).collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        (values.len() >= 3).then(|| (mean, squares / (n * (n - 1.0))))
    };
    let ((mean, error), (others, more)) = (moments(own)?, moments(others)?);
    let error = (error + more).sqrt();
    (error > 0.0).then(|| (mean - others) / error)
}
