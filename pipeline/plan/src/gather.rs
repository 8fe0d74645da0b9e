//! One wearer of a study, read from result tables and settings.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use whereworn_model::settings::{Plan, Settings};
use whereworn_model::sites::{Site, label_is_told};
use whereworn_model::table::{self, ResultTable};
use whereworn_model::time::{Micros, local_date};

use crate::best::{Aspect, Figure};
use crate::fingersticks::{Age, Cell, Pairs, Range, Rate, UsualHour};
use crate::history::{Day, History, Injection, Side, SkinLook, Spot, Worn};
use crate::limits::Rules;
use crate::words::Words;

/// Columns read of each table that a plan needs, besides `wearer`.
pub const TABLES: [&str; 6] = [
    "plan_sensors",
    "plan_spots",
    "plan_figures",
    "plan_cells",
    "plan_day",
    "plan_draws",
];

/// What matters to a wearer, the difference that does where no margin is set (negative where less is better), and in the
/// unit of the figures: losses per rated wear, percentage points, percentage points, artefacts per 100 nights, grades,
/// points of ten. Chosen by this project; no source.
const ASPECTS: [(&str, f64); 7] = [
    ("stays-on", -0.10),
    ("reads-true", -2.0),
    ("steady", -2.0),
    ("quiet-at-night", -2.0),
    ("skin", -0.5),
    ("comfort", 1.0),
    ("out-of-sight", 1.0),
];

/// A study up to its cut-off.
#[derive(Clone, Copy, Debug)]
pub struct Study<'a> {
    /// Its settings.
    pub settings: &'a Settings,
    /// The latest time that is used, microseconds UTC.
    pub cutoff: Micros,
    /// Result tables, [`TABLES`] among them, and `conclusions` where there is one.
    pub tables: &'a [ResultTable],
}

/// Why a study has no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// Nobody of this name wears a sensor.
    #[error("no sensor of a wearer `{wearer}` in the log: choose one of {known} with --wearer")]
    Wearer {
        /// Who was asked for.
        wearer: String,
        /// Who is there.
        known: String,
    },
    /// Nobody wears any.
    #[error(
        "no sensor in the log: write `insert` with its site into wear-events/ for each sensor worn"
    )]
    NoSensor,
    /// There is no site that may be used.
    #[error(
        "no site may be planned for {wearer}: study.toml says of no site that it is on the device's label (`on_label = true` under [sites.NAME]) and `sites` under [plan] names none; \
         agree with the clinician which to use"
    )]
    NoSite {
        /// Whose plan.
        wearer: String,
    },
    /// Every spot is closed: whose plan, and what stands in the way at each, in the study's language. It is what the plan has
    /// to say and no wrong use, and names sites as the plan does.
    #[error("{0}")]
    Closed(String),
    /// The result of a query is missing: a fault of the program.
    #[error("the table `{0}` is missing")]
    Table(&'static str),
    /// A date outside the calendar.
    #[error("the dates of the data are out of the calendar's range")]
    Calendar,
}

/// One wearer, as a plan needs it.
#[derive(Clone, Debug)]
pub struct Wearer {
    /// Who.
    pub name: String,
    /// Settings of the plan.
    pub plan: Plan,
    /// All sites, in the order of the report; other parts name them by their place.
    pub sites: Vec<Site>,
    /// Whether the plan names the sites; else those on the label are allowed.
    pub agreed: bool,
    /// The model last worn; empty where none is logged.
    pub model: String,
    /// What is known of the spots.
    pub history: History,
    /// The hard limits.
    pub rules: Rules,
    /// Mean days that a sensor was worn, of those that ended.
    pub days_worn: Option<f64>,
    /// What matters, with the figures of sensors; sites by their place in `candidates`.
    pub aspects: Vec<Aspect>,
    /// Sites that are allowed or were worn.
    pub candidates: Vec<usize>,
    /// Sensors that each of them had.
    pub sensors: Vec<usize>,
    /// Pairs by cell.
    pub pairs: Vec<Pairs>,
    /// The usual day.
    pub usual: Vec<UsualHour>,
    pub(crate) words: Words,
}

/// The rows of a table that are one wearer's.
pub(crate) struct Rows<'t> {
    table: &'t ResultTable,
    rows: Vec<usize>,
}

impl<'t> Rows<'t> {
    pub(crate) fn of(
        tables: &'t [ResultTable],
        name: &'static str,
        wearer: &str,
    ) -> Result<Self, PlanError> {
        let table = tables.iter().find(|table| table.name == name);
        let table = table.ok_or(PlanError::Table(name))?;
        let rows = table.rows_where("wearer", wearer);
        Ok(Self { table, rows })
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = Row<'t>> + '_ {
        self.rows.iter().map(|&row| Row {
            table: self.table,
            row,
        })
    }
}

#[derive(Clone, Copy)]
pub(crate) struct Row<'t> {
    table: &'t ResultTable,
    row: usize,
}

impl<'t> Row<'t> {
    pub(crate) fn text(&self, column: &str) -> &'t str {
        self.table.text(self.row, column)
    }

    pub(crate) fn number(&self, column: &str) -> Option<f64> {
        self.table.number(self.row, column)
    }

    fn count(&self, column: &str) -> usize {
        self.number(column).map_or(0, |count| count as usize)
    }

    pub(crate) fn time(&self, column: &str) -> Option<Micros> {
        self.table.cell(self.row, column).as_time()
    }
}

/// The day of the calendar, counted from 1970-01-01.
#[must_use]
pub fn day_of(at: Micros, zone: &TimeZone) -> Option<Day> {
    let epoch = Date::constant(1970, 1, 1);
    let days = local_date(at, zone)?.since((jiff::Unit::Day, epoch)).ok()?;
    Some(Day::from(days.get_days()))
}

/// The date of a day.
#[must_use]
pub fn date_of(day: Day) -> Option<Date> {
    let epoch = Date::constant(1970, 1, 1);
    epoch
        .checked_add(jiff::Span::new().try_days(day).ok()?)
        .ok()
}

/// Who the plan is for: the one named, else the study's own wearer, else the only one.
///
/// # Errors
/// [`PlanError::NoSensor`], [`PlanError::Wearer`], [`PlanError::Table`].
pub fn choose_wearer(study: &Study<'_>, named: Option<&str>) -> Result<String, PlanError> {
    let table = study
        .tables
        .iter()
        .find(|table| table.name == "plan_sensors");
    let table = table.ok_or(PlanError::Table("plan_sensors"))?;
    let mut known: Vec<&str> = (0..table.rows())
        .map(|row| table.text(row, "wearer"))
        .collect();
    known.dedup();
    let usual = study.settings.study.wearer.as_str();
    let wanted = match (named, known.as_slice()) {
        (_, []) => return Err(PlanError::NoSensor),
        (Some(named), _) => named,
        (None, [only]) => only,
        (None, _) => usual,
    };
    if known.contains(&wanted) {
        return Ok(wanted.to_owned());
    }
    Err(PlanError::Wearer {
        wearer: wanted.to_owned(),
        known: known.join(", "),
    })
}

/// In words, that the study says of no site whether it is on the device's label.
#[must_use]
pub fn label_not_said(settings: &Settings) -> Option<&'static str> {
    (!label_is_told(&settings.all_sites())).then_some(
        "study.toml says of no site whether it is on the device's label: say it of each, with `on_label = true` or `false` under [sites.NAME]",
    )
}

impl Wearer {
    /// Reads a wearer as of `now`: how long a spot has rested and which draws still hold is a matter of the calendar, also
    /// where the log ends before.
    ///
    /// # Errors
    /// [`PlanError`], [`PlanError::Closed`] excepted.
    pub fn read(study: &Study<'_>, name: &str, now: Timestamp) -> Result<Self, PlanError> {
        let settings = study.settings;
        let (plan, sites, zone) = (
            settings.wearer_plan(name),
            settings.all_sites(),
            settings.zone(),
        );
        let day = |at: Micros| day_of(at, &zone).ok_or(PlanError::Calendar);
        let known_until = day(study.cutoff)?;
        let today = day(now.as_microsecond())?.max(known_until);
        let agreed = !plan.sites.is_empty();
        let allowed = allowed(&plan, &sites);
        if allowed.is_empty() {
            return Err(PlanError::NoSite {
                wearer: name.to_owned(),
            });
        }
        let sensors = Rows::of(study.tables, "plan_sensors", name)?;
        let place = |key: &str| sites.iter().position(|site| site.key == key);
        let reader = Reader {
            place: &place,
            zone: &zone,
            today,
        };
        let model = sensors
            .iter()
            .last()
            .map_or(String::new(), |row| row.text("model").to_owned());
        let history = reader.history(&sensors, &Rows::of(study.tables, "plan_spots", name)?);
        let matters = Matters::read(study, name)?;
        let whole = |days: f64| days.ceil() as Day;
        let rules = Rules {
            rest_days: whole(plan.rest_days),
            rest_days_after_skin: whole(plan.rest_days_after_skin.max(plan.rest_days)),
            rated_days: whole(settings.rated_days(name, &model)).max(1),
            allowed,
            today,
            known_until,
        };
        Ok(Self {
            name: name.to_owned(),
            aspects: matters.aspects,
            pairs: reader.pairs(&Rows::of(study.tables, "plan_cells", name)?),
            usual: usual(&Rows::of(study.tables, "plan_day", name)?),
            days_worn: days_worn(&sensors),
            plan,
            sites,
            agreed,
            model,
            history,
            rules,
            candidates: matters.candidates,
            sensors: matters.sensors,
            words: Words::new(settings),
        })
    }

    /// A site's name as every sentence gives it: off-label is said each time.
    #[must_use]
    pub fn label(&self, site: usize) -> String {
        let site = self.sites.get(site);
        site.map_or(String::new(), |site| self.words.site(site, &self.sites))
    }

    pub(crate) fn is_on_label(&self, site: usize) -> bool {
        self.sites.get(site).is_some_and(Site::is_on_label)
    }

    pub(crate) fn label_remark(&self, site: usize) -> &'static str {
        let site = self.sites.get(site);
        site.map_or("", |site| self.words.label_remark(site, &self.sites))
    }

    /// The key of a site.
    #[must_use]
    pub fn key(&self, site: usize) -> &str {
        self.sites.get(site).map_or("", |site| &site.key)
    }

    /// The place of a site.
    #[must_use]
    pub fn place(&self, key: &str) -> Option<usize> {
        self.sites.iter().position(|site| site.key == key)
    }

    /// A spot in words.
    #[must_use]
    pub fn spot(&self, spot: Spot) -> String {
        let side = self.words.side(spot.side.word());
        format!("{}, {side}", self.label(spot.site))
    }
}

/// Sites that may be planned, as places in a list: those that the plan names, else those on the label.
pub(crate) fn allowed(plan: &Plan, sites: &[Site]) -> Vec<usize> {
    let may = |site: &Site| match plan.sites.is_empty() {
        true => site.is_on_label(),
        false => plan.sites.contains(&site.key),
    };
    (0..sites.len())
        .filter(|&place| may(&sites[place]))
        .collect()
}

/// What matters to a wearer, at the sites that may be planned or were worn.
pub(crate) struct Matters {
    sites: Vec<Site>,
    /// As places in the study's list of sites.
    pub candidates: Vec<usize>,
    /// Sensors that each had.
    pub sensors: Vec<usize>,
    /// With figures of sensors; sites by their place in `candidates`.
    pub aspects: Vec<Aspect>,
}

impl Matters {
    pub fn read(study: &Study<'_>, name: &str) -> Result<Self, PlanError> {
        let (settings, sites) = (study.settings, study.settings.all_sites());
        let plan = settings.wearer_plan(name);
        let place = |key: &str| sites.iter().position(|site| site.key == key);
        let sensors = Rows::of(study.tables, "plan_sensors", name)?;
        let worn: Vec<usize> = sensors
            .iter()
            .filter_map(|row| place(row.text("site")))
            .collect();
        let allowed = allowed(&plan, &sites);
        let candidates: Vec<usize> = (0..sites.len())
            .filter(|site| allowed.contains(site) || worn.contains(site))
            .collect();
        let figures = Rows::of(study.tables, "plan_figures", name)?;
        let count = |site: &usize| worn.iter().filter(|worn| *worn == site).count();
        Ok(Self {
            sensors: candidates.iter().map(count).collect(),
            aspects: aspects(settings, &plan, &figures, &candidates, &place),
            candidates,
            sites,
        })
    }

    /// The key of a candidate, as a cell.
    pub fn key(&self, candidate: usize) -> table::Cell {
        let site = self.candidates.get(candidate);
        let site = site.and_then(|&place| self.sites.get(place));
        site.map_or(table::Cell::Empty, |site| table::Cell::text(&*site.key))
    }
}

struct Reader<'r> {
    place: &'r dyn Fn(&str) -> Option<usize>,
    zone: &'r TimeZone,
    today: Day,
}

impl Reader<'_> {
    fn history(&self, sensors: &Rows<'_>, spots: &Rows<'_>) -> History {
        let mut history = History {
            worn: sensors.iter().filter_map(|row| self.worn(row)).collect(),
            ..History::default()
        };
        for row in spots.iter() {
            let site = (self.place)(row.text("site"));
            let day = row.time("time").and_then(|at| day_of(at, self.zone));
            let Some((site, day)) = site.zip(day) else {
                continue;
            };
            let side = Side::parse(row.text("side"));
            match row.number("grade") {
                Some(grade) => history.skin.push(SkinLook {
                    site,
                    side,
                    day,
                    grade: grade as u8,
                }),
                None => history.injections.push(Injection { site, side, day }),
            }
        }
        history
    }

    /// A sensor without a known end is taken to be on until its rated wear is over, and as long as it was seen today or the
    /// day before.
    fn worn(&self, row: Row<'_>) -> Option<Worn> {
        let from = day_of(row.time("inserted")?, self.zone)?;
        let seen = day_of(row.time("seen_until")?, self.zone)?;
        let rated = from + row.number("rated_days").unwrap_or(0.0).ceil() as Day;
        let (until, on) = match row.text("state") {
            "ended" => (seen, false),
            // By the log's last row, which may be of long ago.
            "still on" if seen >= self.today - 1 => (rated.max(self.today), true),
            _ => (rated.max(seen), rated > self.today),
        };
        Some(Worn {
            site: (self.place)(row.text("site"))?,
            side: Side::parse(row.text("side")),
            from,
            until,
            on,
        })
    }

    fn pairs(&self, rows: &Rows<'_>) -> Vec<Pairs> {
        let of = |row: Row<'_>| {
            Some(Pairs {
                cell: Cell {
                    site: (self.place)(row.text("site"))?,
                    range: range(row.count("level")),
                    rate: rate(row.count("pace")),
                    age: if row.count("first_day") == 1 {
                        Age::FirstDay
                    } else {
                        Age::Later
                    },
                    night: row.count("night") == 1,
                },
                pairs: row.count("pairs"),
                sum: row.number("total")?,
                squares: row.number("squares")?,
            })
        };
        rows.iter().filter_map(of).collect()
    }
}

fn range(level: usize) -> Range {
    match level {
        0 => Range::Low,
        1 => Range::Target,
        _ => Range::High,
    }
}

fn rate(pace: usize) -> Rate {
    match pace {
        0 => Rate::Steady,
        1 => Rate::Moving,
        _ => Rate::Fast,
    }
}

fn usual(rows: &Rows<'_>) -> Vec<UsualHour> {
    let of = |row: Row<'_>| UsualHour {
        hour: row.count("hour"),
        range: range(row.count("level")),
        rate: rate(row.count("pace")),
        readings: row.number("readings").unwrap_or(0.0),
    };
    rows.iter().map(of).collect()
}

fn days_worn(sensors: &Rows<'_>) -> Option<f64> {
    let ended = sensors.iter().filter(|row| row.text("state") == "ended");
    let days: Vec<f64> = ended.filter_map(|row| row.number("days")).collect();
    (!days.is_empty()).then(|| days.iter().sum::<f64>() / days.len() as f64)
}

fn aspects(
    settings: &Settings,
    plan: &Plan,
    figures: &Rows<'_>,
    candidates: &[usize],
    place: &dyn Fn(&str) -> Option<usize>,
) -> Vec<Aspect> {
    let weights = settings.priorities.weights();
    let none = weights.iter().all(|(_, weight)| *weight <= 0.0);
    let priority = |name: &str| {
        let set = weights
            .iter()
            .find(|(of, _)| *of == name)
            .map_or(0.0, |(_, weight)| *weight);
        let usual = ["stays-on", "reads-true", "quiet-at-night"].contains(&name);
        if none {
            f64::from(u8::from(usual))
        } else {
            set
        }
    };
    let margin = |name: &str, usual: f64| {
        let set = plan
            .margins
            .iter()
            .find(|(measure, _)| measure.name() == name);
        set.map_or(usual, |(_, margin)| margin * usual.signum())
    };
    let of_aspect = |name: &str| -> Vec<Figure> {
        let own = figures.iter().filter(|row| row.text("aspect") == name);
        own.filter_map(|row| {
            let site = place(row.text("site"))?;
            Some(Figure {
                site: candidates.iter().position(|candidate| *candidate == site)?,
                value: row.number("value")?,
                weight: row.number("weight").filter(|weight| *weight > 0.0)?,
            })
        })
        .collect()
    };
    let aspect = |(name, scale): (&'static str, f64)| Aspect {
        name,
        priority: priority(name),
        scale: margin(name, scale),
        figures: of_aspect(name),
    };
    ASPECTS.map(aspect).into()
}
