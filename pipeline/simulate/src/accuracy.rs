//! Invented sensors with known laws of their errors and night artefacts. Errors are in percent of glucose.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use whereworn_stats::mixed::sites::SensorMean;
use whereworn_stats::rates::clustered::Cluster;

use crate::draws::{gamma, normal, poisson};

/// Error of the pairs of a site's sensors.
#[derive(Clone, Copy)]
pub struct Errors {
    /// Mean over all sensors there could be.
    pub bias: f64,
    /// Standard deviation between wearers.
    pub sd_wearers: f64,
    /// Between sensors of a wearer.
    pub sd_between: f64,
    /// Of pairs of a sensor.
    pub sd_within: f64,
    /// Change per day of wear.
    pub drift: f64,
    /// How sensors, and pairs about them, are spread.
    pub spread: Spread,
    /// How many pairs a sensor has.
    pub counts: Counts,
}

/// The law of sensors' levels and of pairs.
#[derive(Clone, Copy, PartialEq)]
pub enum Spread {
    /// Normal.
    Normal,
    /// Normal, but one sensor in ten is [`FAR`] percent further off, either way.
    OneInTenFarOff,
    /// The same, always upwards.
    OneInTenFarUp,
    /// Student's t with 5 degrees of freedom, of levels and of pairs.
    HeavyTails,
}

/// How far off a sensor is that is far off, percent.
pub const FAR: f64 = 25.0;

/// The law of the number of pairs of a sensor.
#[derive(Clone, Copy, PartialEq)]
pub enum Counts {
    /// Five to fifty.
    FiveToFifty,
    /// One to four, and sixty of three sensors in ten.
    FewOrSixty,
}

/// Sensors as they usually are (common practice, no source).
pub const USUAL: Errors = Errors {
    bias: 3.0,
    sd_wearers: 0.0,
    sd_between: 5.0,
    sd_within: 9.0,
    drift: 0.0,
    spread: Spread::Normal,
    counts: Counts::FiveToFifty,
};

/// The pairs of some sensors.
#[derive(Default)]
pub struct Pairs {
    /// Reading less fingerstick, percent.
    pub errors: Vec<f64>,
    /// Days since insertion.
    pub days: Vec<f64>,
    /// mg/dL.
    pub readings: Vec<f64>,
    /// By a meter whose errors have half the standard deviation of a sensor's, mg/dL.
    pub fingersticks: Vec<f64>,
    /// Whose pair it is; ascending.
    pub sensors: Vec<usize>,
    /// Who wore that sensor.
    pub wearers: Vec<usize>,
    /// Where.
    pub sites: Vec<usize>,
}

impl Spread {
    /// A variate of mean 0 and variance 1.
    fn unit(self, random: &mut ChaCha8Rng) -> f64 {
        let z = normal(random);
        match self {
            // t = z / √(chi-square / 5), its variance 5 / 3.
            Spread::HeavyTails => z / gamma(random, 2.5).sqrt() / (5.0_f64 / 3.0).sqrt(),
            _ => z,
        }
    }
}

impl Counts {
    fn draw(self, random: &mut ChaCha8Rng) -> usize {
        match self {
            Counts::FiveToFifty => random.random_range(5..=50),
            Counts::FewOrSixty if random.random::<f64>() < 0.3 => 60,
            Counts::FewOrSixty => random.random_range(1..=4),
        }
    }
}

impl Errors {
    /// Adds a site: so many sensors, spread over wearers in turn, five to fifty pairs a sensor on up to fourteen days.
    pub fn add(
        &self,
        pairs: &mut Pairs,
        site: usize,
        sensors: usize,
        wearers: &[f64],
        random: &mut ChaCha8Rng,
    ) {
        let first = pairs.sensors.last().map_or(0, |last| last + 1);
        for sensor in 0..sensors {
            let wearer = sensor % wearers.len();
            let level = self.level(random) + self.sd_wearers * wearers[wearer];
            let slope = self.drift + 0.1 * self.sd_between * normal(random) * 0.5;
            for _ in 0..self.counts.draw(random) {
                let day = 14.0 * random.random::<f64>();
                let scatter = self.sd_within * self.spread.unit(random);
                let error = level + slope * (day - 7.0) + scatter;
                let glucose = 60.0 + 200.0 * random.random::<f64>();
                let meter = 0.5 * self.sd_within * normal(random);
                pairs.errors.push(error);
                pairs.days.push(day);
                pairs.readings.push(glucose * (1.0 + error / 100.0));
                pairs.fingersticks.push(glucose * (1.0 + meter / 100.0));
                pairs.sensors.push(first + sensor);
                pairs.wearers.push(wearer);
                pairs.sites.push(site);
            }
        }
    }

    /// One site.
    pub fn site(&self, sensors: usize, wearers: &[f64], random: &mut ChaCha8Rng) -> Pairs {
        let mut pairs = Pairs::default();
        self.add(&mut pairs, 0, sensors, wearers, random);
        pairs
    }

    /// A sensor's level.
    pub fn level(&self, random: &mut ChaCha8Rng) -> f64 {
        let level = self.bias + self.sd_between * self.spread.unit(random);
        let further = match self.spread {
            Spread::Normal | Spread::HeavyTails => return level,
            Spread::OneInTenFarOff if random.random::<bool>() => -FAR,
            Spread::OneInTenFarOff | Spread::OneInTenFarUp => FAR,
        };
        if random.random::<f64>() < 0.1 {
            level + further
        } else {
            level
        }
    }

    /// Mean over all sensors there could be.
    pub fn mean(&self) -> f64 {
        match self.spread {
            Spread::OneInTenFarUp => self.bias + 0.1 * FAR,
            _ => self.bias,
        }
    }

    /// Standard deviation of sensors' levels.
    pub fn sd_of_levels(&self) -> f64 {
        let more = match self.spread {
            Spread::Normal | Spread::HeavyTails => 0.0,
            Spread::OneInTenFarOff => 0.1 * FAR * FAR,
            Spread::OneInTenFarUp => 0.1 * 0.9 * FAR * FAR,
        };
        (self.sd_between.powi(2) + more).sqrt()
    }

    /// The mean of a figure of the error over all sensors there could be, from a million of them.
    pub fn truth(&self, figure: impl Fn(f64) -> f64, random: &mut ChaCha8Rng) -> f64 {
        const DRAWS: usize = 1_000_000;
        let sum: f64 = (0..DRAWS)
            .map(|_| {
                let day = 14.0 * random.random::<f64>();
                let slope = self.drift + 0.1 * self.sd_between * normal(random) * 0.5;
                let level = self.level(random);
                figure(level + slope * (day - 7.0) + self.sd_within * self.spread.unit(random))
            })
            .sum();
        sum / DRAWS as f64
    }
}

impl Pairs {
    /// Each sensor in short, of a figure of its errors.
    pub fn sensor_means(&self, figure: impl Fn(f64) -> f64) -> Vec<SensorMean> {
        let mut means: Vec<SensorMean> = Vec::new();
        let mut last = None;
        for (place, &error) in self.errors.iter().enumerate() {
            let value = figure(error);
            if last != Some(self.sensors[place]) {
                last = Some(self.sensors[place]);
                means.push(SensorMean {
                    count: 0.0,
                    mean: 0.0,
                    squares: 0.0,
                    site: self.sites[place],
                    wearer: self.wearers[place],
                    covariates: Vec::new(),
                });
            }
            if let Some(sensor) = means.last_mut() {
                // Welford's running mean and squares.
                sensor.count += 1.0;
                let step = value - sensor.mean;
                sensor.mean += step / sensor.count;
                sensor.squares += step * (value - sensor.mean);
            }
        }
        means
    }
}

/// Night artefacts of a site.
#[derive(Clone, Copy)]
pub struct Nights {
    /// Per night.
    pub rate: f64,
    /// Shape of the gamma law by which sensors differ: coefficient of variation 1 / √shape.
    pub shape: f64,
}

impl Nights {
    /// Events night by night of one sensor, three to fourteen nights.
    pub fn sensor(&self, random: &mut ChaCha8Rng) -> Vec<f64> {
        let rate = self.rate * gamma(random, self.shape);
        (0..random.random_range(3..=14))
            .map(|_| poisson(random, rate))
            .collect()
    }

    /// One sensor's events and nights.
    pub fn cluster(&self, random: &mut ChaCha8Rng) -> Cluster {
        let nights = self.sensor(random);
        Cluster {
            sum: nights.iter().sum(),
            size: nights.len() as f64,
        }
    }
}

/// Wearers who differ, in standard deviations.
pub fn wearers(count: usize, random: &mut ChaCha8Rng) -> Vec<f64> {
    (0..count).map(|_| normal(random)).collect()
}
