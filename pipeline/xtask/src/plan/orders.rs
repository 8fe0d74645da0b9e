//! Sensors until a question is settled: the planned order against rotation in a fixed order, and against leaving a site
//! that is behind.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rayon::prelude::*;
use whereworn_plan::gain::{Contrast, Tilt};
use whereworn_plan::history::{Day, History, SkinLook, Worn};
use whereworn_plan::limits::Rules;
use whereworn_plan::schedule::{Request, schedule};
use whereworn_simulate::studies::{Design, MONTH, SiteLaw, USUAL};
use whereworn_stats::conclusions::{
    Ending, Measure, Plan, Primary, Sensor, Study, Verdict, conclude,
};
use whereworn_stats::resampling::seed::seed;

use super::Line;

/// Keys of the sites.
const NAMES: [&str; 6] = ["a", "b", "c", "d", "e", "f"];

/// Sensors after which a question counts as not settled.
const MOST: usize = 100;

/// Standard errors behind the best site at which one is left.
const BEHIND: f64 = 1.0;

/// In which order sites are worn.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Order {
    /// As a plan draws them.
    Planned,
    /// One after the other, round and round.
    Rotation,
    /// The same, but a site that is behind is worn no more.
    LeaveBehind,
}

/// What a wearer asks.
#[derive(Clone)]
struct Question {
    name: &'static str,
    measure: Measure,
    laws: Vec<SiteLaw>,
    /// Whether the first site is compared with the second alone, else with each other one.
    pair: bool,
}

impl Question {
    fn plan(&self) -> Plan {
        let primary = if self.pair {
            Primary::Row {
                measure: self.measure,
                site: NAMES[0].to_owned(),
                against: NAMES[1].to_owned(),
            }
        } else {
            Primary::Measure(self.measure)
        };
        Plan {
            primary: vec![primary],
            reference: Some(NAMES[0].to_owned()),
            ..Plan::default()
        }
    }

    fn contrasts(&self) -> Vec<Contrast> {
        let others = if self.pair { 1..2 } else { 1..self.laws.len() };
        others
            .map(|other| {
                let mut contrast = vec![0.0; self.laws.len()];
                contrast[0] = 1.0;
                contrast[other] = -1.0;
                contrast
            })
            .collect()
    }

    /// The same without any difference.
    fn null(&self) -> Self {
        Self {
            laws: vec![USUAL; self.laws.len()],
            ..self.clone()
        }
    }
}

/// What one wearer found.
#[derive(Clone, Copy)]
struct Found {
    /// Sensors inserted until every primary row was settled, each at some look; none within [`MOST`].
    settled: Option<usize>,
    /// Whether a primary row ever said `differs`.
    differs: bool,
}

/// What a wearer is run for.
#[derive(Clone, Copy, PartialEq)]
enum Until {
    /// The look at which every primary row is settled.
    Settled,
    /// [`MOST`] sensors: whether `differs` is ever said.
    TheEnd,
}

/// A wearer who looks at the report at every month's end, and whose plan then leaves out what is settled.
fn run_wearer(question: &Question, order: Order, until: Until, number: usize) -> Found {
    let mut wearer = Wearer::new(question, order, number);
    let mut rows = vec![None; question.contrasts().len()];
    let mut found = Found {
        settled: None,
        differs: false,
    };
    let mut look = 0.0;
    while wearer.sensors.len() < MOST || look < wearer.free {
        look += MONTH;
        wearer.wear_until(look);
        for (row, verdict) in wearer.verdicts(look).into_iter().enumerate() {
            found.differs |= verdict == Verdict::Differs;
            if matches!(verdict, Verdict::Differs | Verdict::Alike) {
                rows[row].get_or_insert(look);
            }
        }
        wearer.turn.tilt.open = question
            .contrasts()
            .into_iter()
            .zip(&rows)
            .filter_map(|(contrast, settled)| settled.is_none().then_some(contrast))
            .collect();
        if found.settled.is_none() && rows.iter().all(Option::is_some) {
            let inserted = wearer.sensors.iter().filter(|s| s.inserted <= look);
            found.settled = Some(inserted.count());
            if until == Until::Settled {
                break;
            }
        }
    }
    found
}

struct Wearer<'q> {
    question: &'q Question,
    design: Design,
    turn: Turn,
    sensors: Vec<Sensor>,
    /// When the last sensor ended.
    free: f64,
    random: ChaCha8Rng,
}

impl<'q> Wearer<'q> {
    /// The same wearer in every order.
    fn new(question: &'q Question, order: Order, number: usize) -> Self {
        let sites = question.laws.len();
        Self {
            question,
            design: Design {
                sites: question.laws.iter().map(|law| (*law, 0)).collect(),
                ..Design::plain(&question.laws, 0, 1)
            },
            turn: Turn {
                order,
                tilt: Tilt {
                    learn: 1.0,
                    open: question.contrasts(),
                    best: Vec::new(),
                },
                history: History::default(),
                drawn: Vec::new(),
                seed: number.to_string() + question.name,
                sites,
            },
            sensors: Vec::new(),
            free: 0.0,
            random: ChaCha8Rng::seed_from_u64(seed(&[question.name, &number.to_string()])),
        }
    }

    /// One sensor after the other, up to the look or to [`MOST`].
    fn wear_until(&mut self, look: f64) {
        while self.free < look && self.sensors.len() < MOST {
            let (site, from, chances) = self.turn.next(self.free, &self.sensors);
            let mut sensor = self
                .design
                .sensor(from, site, 0, [0.0; 3], &mut self.random);
            self.free = sensor.known_until.max(from + 0.01);
            self.turn.note(site, from, self.free, &mut self.random);
            sensor.chances = chances;
            self.sensors.push(keep_only(self.question.measure, sensor));
        }
    }

    /// What this look alone says of each primary row, in the order of the contrasts. That a row was settled at an earlier look
    /// is kept by whoever asks.
    fn verdicts(&self, look: f64) -> Vec<Verdict> {
        // Sites that are not asked about change nothing for the primary rows but the time it takes.
        let asked = if self.question.pair {
            2
        } else {
            self.question.laws.len()
        };
        let sensors = self.sensors.iter().filter(|sensor| sensor.site < asked);
        let study = Study {
            sites: NAMES.iter().take(asked).copied().collect(),
            sensors: sensors.cloned().collect(),
            looks: vec![look],
        };
        let said = conclude(&study, &self.question.plan(), None);
        said.iter()
            .filter(|row| row.primary)
            .map(|row| row.verdict)
            .collect()
    }
}

/// What other measures would show costs time and changes nothing for the primary rows.
fn keep_only(measure: Measure, mut sensor: Sensor) -> Sensor {
    if measure != Measure::QuietAtNight {
        sensor.nights.clear();
    }
    if ![Measure::ReadsTrue, Measure::ReadsHighOrLow].contains(&measure) {
        sensor.pairs.clear();
    }
    if measure != Measure::StaysOn {
        sensor.ending = Ending::Censored;
    }
    sensor
}

struct Turn {
    order: Order,
    tilt: Tilt,
    history: History,
    drawn: Vec<usize>,
    seed: String,
    sites: usize,
}

impl Turn {
    /// Where the next sensor goes, when, the last one having ended at `free`, and the chance that each site had, where it is
    /// drawn.
    fn next(&mut self, free: f64, sensors: &[Sensor]) -> (usize, f64, Vec<f64>) {
        let number = sensors.len();
        match self.order {
            Order::Planned => self.planned(free, number),
            Order::Rotation => (number % self.sites, free, Vec::new()),
            Order::LeaveBehind => {
                let left: Vec<usize> = (0..self.sites)
                    .filter(|&site| !behind(sensors, site, self.sites))
                    .collect();
                (left[number % left.len()], free, Vec::new())
            }
        }
    }

    fn planned(&mut self, free: f64, number: usize) -> (usize, f64, Vec<f64>) {
        let today = free.floor() as Day;
        let rules = Rules {
            allowed: (0..self.sites).collect(),
            rest_days: 14,
            rest_days_after_skin: 28,
            rated_days: 14,
            today,
            known_until: today,
        };
        let plan = schedule(&Request {
            history: &self.history,
            rules: &rules,
            tilt: &self.tilt,
            pending: &[],
            drawn: &self.drawn,
            next_number: number + 1,
            sensors: 1,
            seed: &self.seed,
        });
        let planned = &plan.sensors[0];
        self.drawn.push(planned.spot.site);
        self.history.worn.push(Worn {
            site: planned.spot.site,
            side: Some(planned.spot.side),
            from: planned.earliest,
            until: planned.earliest,
            on: false,
        });
        let mut chances = vec![0.0; self.sites];
        for (site, chance) in planned.draw.allowed.iter().zip(&planned.draw.chances) {
            chances[*site] = *chance;
        }
        (
            planned.spot.site,
            free.max(planned.earliest as f64),
            chances,
        )
    }

    /// One sensor in ten leaves itch behind, which is seen to have healed two weeks later.
    fn note(&mut self, site: usize, from: f64, until: f64, random: &mut ChaCha8Rng) {
        let itched = random.random::<f64>() < 0.1;
        let Some(worn) = self
            .history
            .worn
            .last_mut()
            .filter(|_| self.order == Order::Planned)
        else {
            return;
        };
        worn.until = until.floor() as Day;
        if itched {
            let look = |day: f64, grade: u8| SkinLook {
                site,
                side: worn.side,
                day: day.floor() as Day,
                grade,
            };
            self.history.skin.extend([look(from, 2), look(until, 0)]);
        }
    }
}

/// Whether a site lags behind the best one in the mean of what its sensors showed; with fewer than three sensors of a site
/// nothing is said, and the first two are never left both.
fn behind(sensors: &[Sensor], site: usize, sites: usize) -> bool {
    let moments = |site: usize| -> Option<(f64, f64)> {
        let values: Vec<f64> = sensors
            .iter()
            .filter(|s| s.site == site)
            .map(shown)
            .collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        (values.len() >= 3).then(|| (mean, squares / (n * (n - 1.0))))
    };
    let Some((own, error)) = moments(site) else {
        return false;
    };
    let others = (0..sites)
        .filter(|other| *other != site)
        .filter_map(moments);
    let best = others.reduce(|a, b| if b.0 < a.0 { b } else { a });
    best.is_some_and(|(mean, other)| {
        own - mean > BEHIND * (error + other).sqrt() && error + other > 0.0
    })
}

/// What a sensor showed, less being better.
fn shown(sensor: &Sensor) -> f64 {
    let pairs = sensor
        .pairs
        .iter()
        .map(|pair| pair.relative.abs())
        .sum::<f64>()
        / sensor.pairs.len().max(1) as f64;
    let nights = sensor
        .nights
        .iter()
        .map(|night| night.artefacts)
        .sum::<f64>()
        / sensor.nights.len().max(1) as f64;
    let off = f64::from(u8::from(sensor.ending == Ending::CameOff));
    if sensor.pairs.is_empty() && sensor.nights.is_empty() {
        off
    } else {
        pairs + nights
    }
}

fn many(question: &Question, order: Order, until: Until, wearers: usize) -> Vec<Found> {
    (0..wearers)
        .into_par_iter()
        .map(|number| run_wearer(question, order, until, number))
        .collect()
}

/// The median with those not settled above all others; [`MOST`] + 1 where it is one of them.
fn median(found: &[Found]) -> f64 {
    let mut counts: Vec<f64> = found
        .iter()
        .map(|f| f.settled.map_or(MOST as f64 + 1.0, |count| count as f64))
        .collect();
    counts.sort_by(f64::total_cmp);
    0.5 * (counts[(counts.len() - 1) / 2] + counts[counts.len() / 2])
}

fn share(found: &[Found], of: impl Fn(&Found) -> bool) -> f64 {
    found.iter().filter(|f| of(f)).count() as f64 / found.len() as f64
}

fn questions() -> Vec<(Question, f64)> {
    let with = |measure: Measure, sites: usize| {
        let mut laws = vec![USUAL; sites];
        match measure {
            Measure::StaysOn => laws[1].life.hazard *= 5.0,
            Measure::QuietAtNight => laws[1].rate *= 6.0,
            _ => (laws[1].sd_between, laws[1].sd_within) = (8.0, 14.4),
        }
        laws
    };
    let pair = |name, measure, sites, most| {
        let laws = with(measure, sites);
        (
            Question {
                name,
                measure,
                laws,
                pair: true,
            },
            most,
        )
    };
    let mut all = vec![
        pair("four sites, one pair, stays on", Measure::StaysOn, 4, 0.75),
        pair(
            "four sites, one pair, reads true",
            Measure::ReadsTrue,
            4,
            0.75,
        ),
        pair(
            "five sites, one pair, quiet at night",
            Measure::QuietAtNight,
            5,
            0.75,
        ),
        pair("two sites, reads true", Measure::ReadsTrue, 2, 1.0),
    ];
    let mut laws = with(Measure::ReadsTrue, 4);
    laws[2] = laws[1];
    laws[3] = laws[1];
    all.push((
        Question {
            name: "four sites, a reference against all, reads true",
            measure: Measure::ReadsTrue,
            laws,
            pair: false,
        },
        1.0,
    ));
    all
}

/// Where medians of discrete numbers of sensors, a month's look apart, count as no worse: a month is two to three sensors.
const LOOK: f64 = 3.0;

/// The lines of the page.
pub fn lines(quick: bool) -> Vec<Line> {
    // A thousand wearers with four sites or more and one pair, over three measures.
    let wearers = if quick { 30 } else { 334 };
    let mut lines = Vec::new();
    let mut pairs = [Vec::new(), Vec::new()];
    for (question, most) in questions() {
        let planned = many(&question, Order::Planned, Until::Settled, wearers);
        let rotation = many(&question, Order::Rotation, Until::Settled, wearers);
        let behind = many(&question, Order::LeaveBehind, Until::Settled, wearers);
        let (one, other) = (median(&planned), median(&rotation));
        // A quick run has few wearers, whose medians scatter by a look or two more.
        let slack = LOOK * f64::from(u8::from(most >= 1.0) + u8::from(quick) * 2);
        let text = |found: &[Found]| {
            let median = median(found);
            let median = if median > MOST as f64 {
                format!("> {MOST}")
            } else {
                format!("{median:.0}")
            };
            format!(
                "{median} ({:.0} % settled)",
                100.0 * share(found, |f| f.settled.is_some())
            )
        };
        lines.push(Line {
            what: format!(
                "{}: median sensors, planned; rotation; leaving a site that is behind",
                question.name
            ),
            got: format!("{}; {}; {}", text(&planned), text(&rotation), text(&behind)),
            promise: if most < 1.0 {
                "planned at most 0.75 of rotation"
            } else {
                "planned no worse than rotation"
            },
            kept: one <= most * other + slack,
        });
        lines.push(errors(&question, wearers));
        if most < 1.0 {
            pairs[0].extend(planned);
            pairs[1].extend(rotation);
        }
    }
    let [planned, rotation] = pairs.map(|found| median(&found));
    lines.push(Line {
        what: format!(
            "four sites or five, one pair, all {} wearers: median sensors, planned; rotation",
            3 * wearers
        ),
        got: format!("{planned:.0}; {rotation:.0}"),
        promise: "planned at most 0.75 of rotation",
        kept: planned <= 0.75 * rotation + 2.0 * LOOK * f64::from(u8::from(quick)),
    });
    lines
}

/// How often a primary row says `differs` though nothing does, over all looks.
fn errors(question: &Question, wearers: usize) -> Line {
    let null = question.null();
    let wrong = |order: Order| share(&many(&null, order, Until::TheEnd, wearers), |f| f.differs);
    let (planned, rotation, behind) = (
        wrong(Order::Planned),
        wrong(Order::Rotation),
        wrong(Order::LeaveBehind),
    );
    let limit = 0.05 + 3.0 * (0.05 * 0.95 / wearers as f64).sqrt();
    Line {
        what: format!(
            "{}, no difference: `differs` ever said, planned; rotation; leaving",
            question.name
        ),
        got: format!(
            "{:.1} %; {:.1} %; {:.1} %",
            100.0 * planned,
            100.0 * rotation,
            100.0 * behind
        ),
        promise: "planned at most 5 % (three Monte-Carlo errors allowed)",
        kept: planned <= limit,
    }
}
