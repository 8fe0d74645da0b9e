//! The plan of a wearer, as `plan.json` holds it.

use jiff::Timestamp;
use serde::Serialize;
use whereworn_model::settings::Aim;
use whereworn_model::time::format_utc;
use whereworn_stats::resampling::seed::seed;

use crate::best::{Best, best};
use crate::fingersticks::{self, Asked};
use crate::gain::Tilt;
use crate::gather::{PlanError, Rows, Study, Wearer, date_of, day_of};
use crate::history::{Day, Spot};
use crate::log::LoggedDraw;
use crate::reasons;
use crate::schedule::{DRAW_DAYS, Draw, Pending, Planned, Request, Schedule, schedule};
use crate::settle::{self, Comparison, POWER};

/// Hours between which a fingerstick is no burden: common practice, no source.
const AWAKE: [usize; 2] = [7, 22];

/// `plan.json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Document {
    /// Of the file's shape: 1.
    pub version: u32,
    /// Who.
    pub wearer: String,
    /// The time that dates and draws are reckoned from; the log may end before.
    pub as_of: String,
    /// What the draws are seeded with.
    pub seed: u64,
    /// The next sensors.
    pub sensors: Vec<SensorRow>,
    /// The primary comparisons.
    pub settle: Vec<SettleRow>,
    /// Fingersticks that would teach most.
    pub fingersticks: Vec<FingerstickRow>,
    /// The probability that each site that was worn is the best of them.
    pub best: Vec<BestRow>,
    /// What the plan kept to, and what stood in its way.
    pub limits: Vec<String>,
}

/// One of the next sensors.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SensorRow {
    /// Its number among the wearer's draws.
    pub number: usize,
    /// Key of the site.
    pub site: String,
    /// `left` or `right`.
    pub side: String,
    /// First date.
    pub earliest: String,
    /// Last date.
    pub latest: String,
    /// Whether the draw is made and kept; else it is only foreseen.
    pub drawn: bool,
    /// Why there and then.
    pub reason: String,
}

/// How far a primary comparison is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SettleRow {
    /// What is compared.
    pub measure: String,
    /// Key of a site.
    pub site: String,
    /// Key of the other.
    pub against: String,
    /// Sensors a site until it is settled; none where that cannot be told.
    pub more_sensors: Option<f64>,
    /// The same in months of this wearer's sensors.
    pub months: Option<f64>,
    /// The share of such studies in which it is settled by then.
    pub power: Option<f64>,
}

/// Fingersticks that would teach.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FingerstickRow {
    /// Key of the site.
    pub site: String,
    /// Where the glucose is.
    pub range: String,
    /// How fast it changes.
    pub rate: String,
    /// How many.
    pub count: usize,
    /// From and to which hour.
    pub hours: [usize; 2],
    /// Why.
    pub reason: String,
}

/// A site's chance.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BestRow {
    /// Key of the site.
    pub site: String,
    /// Its probability of being the best.
    pub probability: f64,
}

/// What a plan is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Order<'a> {
    /// The study.
    pub study: Study<'a>,
    /// Who; see [`crate::gather::choose_wearer`].
    pub wearer: &'a str,
    /// How many sensors.
    pub sensors: usize,
    /// The seed.
    pub seed: u64,
    /// The log of draws.
    pub log: &'a [LoggedDraw],
    /// Now: when new draws are made.
    pub now: Timestamp,
    /// The program's version, for the log.
    pub version: &'a str,
}

/// A plan with all that its pages say.
#[derive(Clone, Debug)]
pub struct Made {
    /// `plan.json`.
    pub document: Document,
    /// Draws to be added to the log.
    pub new_draws: Vec<LoggedDraw>,
    pub(crate) wearer: Wearer,
    pub(crate) tilt: Tilt,
    pub(crate) schedule: Schedule,
    pub(crate) comparisons: Vec<Comparison>,
    pub(crate) asked: Vec<Asked>,
    pub(crate) best: Best,
    /// Draws that were not worn in their time.
    pub(crate) run_out: Vec<Pending>,
}

/// Makes the plan of a wearer.
///
/// # Errors
/// [`PlanError`]: an impossible request says which limit stands in the way.
pub fn make(order: &Order<'_>) -> Result<Made, PlanError> {
    let wearer = Wearer::read(&order.study, order.wearer, order.now)?;
    let named = |name: &str| order.study.tables.iter().find(|table| table.name == name);
    let mut comparisons = settle::comparisons(&wearer, named("conclusions"));
    let best = best(
        &wearer.aspects,
        &wearer.sensors,
        seed(&["best", &wearer.name]),
    );
    let tilt = tilt(&wearer, &comparisons, &best);
    settle::in_months(&wearer, &tilt, &mut comparisons);
    let draws = Draws::read(order, &wearer)?;
    let seed_text = format!("{} {}", order.seed, wearer.name);
    let schedule = schedule(&Request {
        history: &wearer.history,
        rules: &wearer.rules,
        tilt: &tilt,
        pending: &draws.pending,
        drawn: &draws.drawn,
        next_number: draws.next_number,
        sensors: order.sensors,
        seed: &seed_text,
    });
    if schedule.sensors.is_empty() && order.sensors > 0 {
        return Err(PlanError::Closed(reasons::closed(&wearer, &schedule)));
    }
    let sites: Vec<usize> = scheduled_sites(&schedule);
    let asked = fingersticks::asked(&sites, &wearer.pairs, &wearer.usual, AWAKE);
    let mut made = Made {
        document: Document {
            version: 1,
            wearer: wearer.name.clone(),
            as_of: format_utc(order.now.as_microsecond()),
            seed: order.seed,
            sensors: Vec::new(),
            settle: comparisons.iter().map(|c| settle_row(&wearer, c)).collect(),
            fingersticks: Vec::new(),
            best: Vec::new(),
            limits: Vec::new(),
        },
        new_draws: Vec::new(),
        wearer,
        tilt,
        schedule,
        comparisons,
        asked,
        best,
        run_out: draws.run_out,
    };
    made.new_draws = made.log_rows(order);
    made.document.sensors = made.sensor_rows()?;
    made.document.fingersticks = made
        .asked
        .iter()
        .map(|asked| made.fingerstick(asked))
        .collect();
    made.document.best = made.best_rows();
    made.document.limits = made.limit_texts();
    Ok(made)
}

fn tilt(wearer: &Wearer, comparisons: &[Comparison], best: &Best) -> Tilt {
    let mut probabilities = vec![0.0; wearer.sites.len()];
    for (&site, chance) in wearer.candidates.iter().zip(&best.chances) {
        probabilities[site] = chance.probability;
    }
    Tilt {
        learn: match wearer.plan.aim {
            Aim::Learn => 1.0,
            Aim::WearBest => 0.0,
            Aim::HalfHalf => 0.5,
        },
        open: settle::open(wearer, comparisons),
        best: probabilities,
    }
}

fn scheduled_sites(schedule: &Schedule) -> Vec<usize> {
    let mut sites: Vec<usize> = schedule
        .sensors
        .iter()
        .map(|planned| planned.spot.site)
        .collect();
    sites.sort_unstable();
    sites.dedup();
    sites
}

/// Earlier draws of the wearer.
#[derive(Default)]
struct Draws {
    pending: Vec<Pending>,
    /// Those that nobody wore in their time, and that no plan has told of yet.
    run_out: Vec<Pending>,
    drawn: Vec<usize>,
    next_number: usize,
}

impl Draws {
    /// A draw is pending where no sensor was worn as drawn and its days are not over.
    fn read(order: &Order<'_>, wearer: &Wearer) -> Result<Self, PlanError> {
        let zone = order.study.settings.zone();
        let day = |at: Timestamp| day_of(at.as_microsecond(), &zone).ok_or(PlanError::Calendar);
        let today = wearer.rules.today;
        let worn = Rows::of(order.study.tables, "plan_draws", &wearer.name)?;
        let worn: Vec<usize> = worn
            .iter()
            .filter(|row| !row.text("sensor").is_empty())
            .filter_map(|row| row.number("number").map(|number| number as usize))
            .collect();
        let mut draws = Self {
            next_number: 1,
            ..Self::default()
        };
        let mut drew_before = Day::MIN;
        for logged in order
            .log
            .iter()
            .filter(|logged| logged.wearer == wearer.name)
        {
            draws.next_number = draws.next_number.max(logged.number + 1);
            let Some(site) = wearer.place(&logged.site) else {
                continue;
            };
            if logged.model == wearer.model {
                draws.drawn.push(site);
            }
            let drawn = day(logged.drawn_at)?;
            if drawn < today {
                drew_before = drew_before.max(drawn);
            }
            if worn.contains(&logged.number) {
                continue;
            }
            let pending = pending(wearer, logged, site, drawn);
            if pending.latest < today {
                draws.run_out.push(pending);
            } else {
                draws.pending.push(pending);
            }
        }
        // What ran out before an earlier day's plan drew was told there.
        draws.run_out.retain(|draw| draw.latest >= drew_before);
        Ok(draws)
    }
}

fn pending(wearer: &Wearer, logged: &LoggedDraw, site: usize, drawn: Day) -> Pending {
    let place = |key: &String| wearer.place(key);
    Pending {
        number: logged.number,
        spot: Spot {
            site,
            side: logged.side,
        },
        drawn,
        latest: drawn + DRAW_DAYS,
        draw: Draw {
            block: logged.block,
            allowed: logged.allowed.iter().filter_map(place).collect(),
            probability: logged.probability,
            chances: logged.chances.clone(),
        },
    }
}

fn settle_row(wearer: &Wearer, comparison: &Comparison) -> SettleRow {
    SettleRow {
        measure: comparison.measure.name().to_owned(),
        site: wearer.key(comparison.site).to_owned(),
        against: wearer.key(comparison.against).to_owned(),
        more_sensors: comparison.more_sensors,
        months: comparison.months,
        power: comparison
            .more_sensors
            .filter(|more| *more > 0.0)
            .map(|_| POWER),
    }
}

impl Made {
    fn log_rows(&self, order: &Order<'_>) -> Vec<LoggedDraw> {
        let new = self
            .schedule
            .sensors
            .iter()
            .filter(|planned| planned.drawn && planned.latest.is_none());
        new.map(|planned| LoggedDraw {
            drawn_at: order.now,
            wearer: self.wearer.name.clone(),
            number: planned.number,
            site: self.wearer.key(planned.spot.site).to_owned(),
            side: planned.spot.side,
            block: planned.draw.block,
            model: self.wearer.model.clone(),
            allowed: planned
                .draw
                .allowed
                .iter()
                .map(|&site| self.wearer.key(site).to_owned())
                .collect(),
            probability: planned.draw.probability,
            seed: order.seed,
            version: order.version.to_owned(),
            chances: planned.draw.chances.clone(),
        })
        .collect()
    }

    fn sensor_rows(&self) -> Result<Vec<SensorRow>, PlanError> {
        let date = |day: Day| {
            date_of(day)
                .map(|date| date.to_string())
                .ok_or(PlanError::Calendar)
        };
        let row = |planned: &Planned| {
            let latest = match planned.latest {
                Some(latest) => latest,
                None if planned.drawn => self.wearer.rules.today + DRAW_DAYS,
                None => planned.earliest + DRAW_DAYS,
            };
            Ok(SensorRow {
                number: planned.number,
                site: self.wearer.key(planned.spot.site).to_owned(),
                side: planned.spot.side.word().to_owned(),
                earliest: date(planned.earliest)?,
                latest: date(latest)?,
                drawn: planned.drawn,
                reason: self.reason(planned),
            })
        };
        self.schedule.sensors.iter().map(row).collect()
    }

    fn best_rows(&self) -> Vec<BestRow> {
        let rows = self.wearer.candidates.iter().zip(&self.best.chances);
        let mut rows: Vec<BestRow> = rows
            .filter(|(_, chance)| chance.is_worn())
            .map(|(&site, chance)| BestRow {
                site: self.wearer.key(site).to_owned(),
                probability: chance.probability,
            })
            .collect();
        rows.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        rows
    }
}
