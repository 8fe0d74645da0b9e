//! Small invented result tables, with the headers of the program's own queries. No real person, no real sensor.

use jiff::civil::Date;
use whereworn_model::header::Header;
use whereworn_model::settings::Settings;
use whereworn_model::table::{Cell, CellKind, Column, ResultTable};
use whereworn_model::time::{Micros, Month, parse_instant};

use crate::{Edition, Input, Report, render};

/// Names that try to break out of every format.
pub(crate) const HOSTILE: [&str; 6] = [
    "<script>alert(\"x\")</script>",
    "a|b `c` *d* _e_ [f](javascript:alert(1)) & 'g'",
    "ظهر الذراع العلوي",
    "上腕の背面 🩹",
    "# heading\n<details open>",
    "![i](https://tracker.invalid/p.png) --> ]]>",
];

/// A study's settings and tables.
pub(crate) struct Study {
    pub settings: Settings,
    pub tables: Vec<ResultTable>,
}

impl Study {
    pub fn report(&self) -> Report {
        self.edition(Edition::Clinician)
    }

    pub fn edition(&self, edition: Edition) -> Report {
        let input = Input {
            edition,
            settings: self.settings.clone(),
            month: Month::parse("2026-03").unwrap(),
            cutoff: cutoff(),
            tables: self.tables.clone(),
            version: "0.1.0",
        };
        render(input).unwrap()
    }

    pub fn table(&mut self, name: &str) -> &mut ResultTable {
        self.tables
            .iter_mut()
            .find(|table| table.name == name)
            .unwrap()
    }
}

pub(crate) fn cutoff() -> Micros {
    parse_instant("2026-03-31T22:00:00Z").unwrap()
}

macro_rules! query {
    ($path:literal) => {
        include_str!(concat!("../../queries/", $path, ".sql"))
    };
}

/// Semicolon-separated text as a table: numbers, instants and dates become what they are, nothing is no value.
pub(crate) fn table(name: &str, sql: &str, columns: &str, rows: &[String]) -> ResultTable {
    let header = Header::parse(sql).unwrap();
    let columns = columns.split(';').enumerate().map(|(index, column)| {
        let cells: Vec<Cell> = rows
            .iter()
            .map(|row| cell(row.split(';').nth(index).unwrap()))
            .collect();
        Column {
            name: column.to_owned(),
            kind: kind(&cells),
            header: header.columns.get(column).cloned().unwrap_or_default(),
            cells,
        }
    });
    ResultTable {
        name: name.to_owned(),
        columns: columns.collect(),
        header,
        own_query: false,
    }
}

fn cell(text: &str) -> Cell {
    if text.is_empty() {
        return Cell::Empty;
    }
    if let Ok(whole) = text.parse() {
        return Cell::Integer(whole);
    }
    if let Ok(number) = text.parse::<f64>() {
        return Cell::Number(number);
    }
    if let Some(at) = parse_instant(text) {
        return Cell::Time(at);
    }
    text.parse::<Date>()
        .map_or_else(|_| Cell::Text(text.to_owned()), Cell::Date)
}

fn kind(cells: &[Cell]) -> CellKind {
    let has = |test: fn(&Cell) -> bool| cells.iter().any(test);
    if has(|cell| cell.as_text().is_some()) {
        CellKind::Text
    } else if has(|cell| matches!(cell, Cell::Number(_))) {
        CellKind::Number
    } else if has(|cell| cell.as_time().is_some()) {
        CellKind::Time
    } else if has(|cell| matches!(cell, Cell::Date(_))) {
        CellKind::Date
    } else {
        CellKind::Integer
    }
}

/// What one invented site is like.
struct Site {
    key: &'static str,
    sensors: usize,
    bias: f64,
    spread: f64,
    off: f64,
    rate: f64,
}

const SITES: [Site; 5] = [
    Site {
        key: "upper-arm-back",
        sensors: 14,
        bias: 2.1,
        spread: 6.0,
        off: 0.21,
        rate: 9.4,
    },
    Site {
        key: "lower-back",
        sensors: 11,
        bias: -9.6,
        spread: 4.2,
        off: 0.09,
        rate: 2.2,
    },
    Site {
        key: "abdomen",
        sensors: 8,
        bias: 6.4,
        spread: 9.8,
        off: 0.38,
        rate: 1.1,
    },
    Site {
        key: "upper-thigh",
        sensors: 5,
        bias: 0.4,
        spread: 7.7,
        off: 0.55,
        rate: 3.8,
    },
    Site {
        key: "calf",
        sensors: 2,
        bias: 12.5,
        spread: 0.0,
        off: 0.5,
        rate: 0.0,
    },
];

/// Five sites of two invented wearers.
pub(crate) fn full() -> Study {
    study(SITES.len())
}

/// Two sites.
pub(crate) fn two_sites() -> Study {
    study(2)
}

/// One site alone.
pub(crate) fn one_site() -> Study {
    study(1)
}

/// Every table there, none with a row.
pub(crate) fn empty() -> Study {
    let mut study = full();
    for column in study.tables.iter_mut().flat_map(|table| &mut table.columns) {
        column.cells.clear();
    }
    study
}

/// Rows, but nothing in any column that is not text.
pub(crate) fn blank() -> Study {
    let mut study = full();
    for cell in study
        .tables
        .iter_mut()
        .flat_map(|t| &mut t.columns)
        .flat_map(|c| &mut c.cells)
    {
        if cell.as_text().is_none() {
            *cell = Cell::Empty;
        }
    }
    study
}

/// Names from outside that are not to be trusted, everywhere a name can stand.
pub(crate) fn hostile() -> Study {
    let mut study = full();
    let sites = SITES
        .iter()
        .zip(HOSTILE)
        .map(|(site, name)| format!("[sites.{}]\nlabel = {name:?}\non_label = false\n", site.key));
    let text = format!(
        "[study]\ntitle = {:?}\n{}",
        HOSTILE[0],
        sites.collect::<String>()
    );
    study.settings = Settings::parse(&text).unwrap();
    let mut next = HOSTILE.iter().cycle();
    for column in study.tables.iter_mut().flat_map(|table| &mut table.columns) {
        if ["wearer", "sensor", "what", "test", "lot", "model"].contains(&column.name.as_str()) {
            for cell in &mut column.cells {
                *cell = Cell::Text((*next.next().unwrap()).to_owned());
            }
        }
    }
    for table in &mut study.tables {
        table.header.title = Some(format!("{} {}", HOSTILE[0], table.name));
        table.header.note = Some(HOSTILE[5].to_owned());
        table.header.row = Some(HOSTILE[1].to_owned());
    }
    study.table("sessions").name = HOSTILE[5].to_owned();
    study
}

fn study(sites: usize) -> Study {
    let sites = &SITES[..sites];
    let settings = Settings::parse(
        "[study]\ntitle = \"The lighthouse keepers\"\ntimezone = \"Europe/Lisbon\"\n\
         [sites.upper-arm-back]\non_label = true\n[sites.lower-back]\non_label = false\n\
         [sites.abdomen]\non_label = false\n[sites.calf]\non_label = false\n",
    );
    let mut tables = wear(sites);
    tables.extend(accuracy(sites));
    tables.extend(nights(sites));
    tables.extend(quality(sites));
    tables.push(comparison(sites));
    Study {
        settings: settings.unwrap(),
        tables,
    }
}

fn rows(sites: &[Site], row: impl Fn(&Site) -> String) -> Vec<String> {
    sites.iter().map(row).collect()
}

/// A value and its interval, or the value alone for a site with too few sensors.
fn around(site: &Site, value: f64, half: f64) -> String {
    if site.sensors < 3 {
        format!("{value};;")
    } else {
        format!("{value};{};{}", value - half, value + half)
    }
}

fn comparison(sites: &[Site]) -> ResultTable {
    let columns = "site;on_label;sensors;sessions;wearers;usable_days;usable_days_lower;usable_days_upper;came_off;\
                   came_off_lower;came_off_upper;pairs;bias;bias_lower;bias_upper;within_20_20;within_20_20_lower;\
                   within_20_20_upper;nights;night_rate;night_rate_lower;night_rate_upper;delay_minutes;\
                   delay_minutes_lower;delay_minutes_upper;sd_between";
    let row = |s: &Site| {
        let label = if s.key == "upper-arm-back" {
            "yes"
        } else {
            "no"
        };
        format!(
            "{};{label};{};{};2;{};{};{};{};{};{};{};{};{}",
            s.key,
            s.sensors,
            s.sensors,
            around(s, 14.0 - 9.0 * s.off, 1.3),
            around(s, s.off, s.off * 0.6),
            s.sensors * 40,
            around(s, s.bias, s.spread * 0.6),
            around(s, 0.93 - s.spread / 100.0, 0.05),
            s.sensors * 11,
            around(s, s.rate, s.rate * 0.7),
            around(s, 4.0 + s.spread / 2.0, 2.5),
            if s.sensors < 3 {
                String::new()
            } else {
                s.spread.to_string()
            },
        )
    };
    table(
        "site_comparison",
        query!("tables/site_comparison"),
        columns,
        &rows(sites, row),
    )
}

const CAUSES: [&str; 6] = [
    "completed",
    "fell-off",
    "completed",
    "sensor-fault",
    "knocked-off",
    "reaction",
];

/// Day and cause of the n-th sensor of a site.
fn ending(site: &Site, n: usize) -> (f64, &'static str) {
    let cause = CAUSES[(n + site.key.len()) % CAUSES.len()];
    let day = if cause == "completed" {
        14.0
    } else {
        1.0 + ((n * 37 + site.key.len() * 11) % 125) as f64 / 10.0
    };
    (day, cause)
}

fn wear(sites: &[Site]) -> Vec<ResultTable> {
    let (mut sessions, mut survival, mut incidence, mut endings) = (vec![], vec![], vec![], vec![]);
    for site in sites {
        let mut lives: Vec<(f64, &str)> = (0..site.sensors).map(|n| ending(site, n)).collect();
        for (n, (days, cause)) in lives.iter().enumerate() {
            sessions.extend(session(site, n, *days, cause));
        }
        lives.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut share, mut off) = (1.0f64, 0.0);
        for (n, (day, cause)) in lives.iter().enumerate() {
            let left = (lives.len() - n) as f64;
            let event = cause.ends_with("off");
            if event {
                share *= 1.0 - 1.0 / left;
                off += 1.0 / lives.len() as f64;
                incidence.push(format!("{};detached;{day};{off};{}", site.key, off / 3.0));
            } else if *cause != "completed" {
                incidence.push(format!(
                    "{};{cause};{day};{};0.04",
                    site.key,
                    1.0 / lives.len() as f64
                ));
            }
            let (lower, upper) = (share.powf(2.2), share.powf(0.5));
            let band = if share < 1.0 {
                format!("{lower};{upper}")
            } else {
                ";".to_owned()
            };
            survival.push(format!(
                "{};{day};{left};{};{};{share};0.1;{band}",
                site.key,
                u8::from(event),
                u8::from(!event)
            ));
        }
        for cause in ["completed", "fell-off", "sensor-fault"] {
            let count = lives.iter().filter(|life| life.1 == cause).count();
            endings.push(format!("{};{cause};{count}", site.key));
        }
    }
    let wear = rows(sites, |s| {
        let at = |share: f64| around(s, 1.0 - s.off * share, s.off * share * 0.5);
        format!(
            "{};{};3;{};{};{};;{};0.4;{}",
            s.key,
            s.sensors,
            at(0.3),
            at(0.6),
            at(1.0),
            13.0 - s.off,
            12.0 - s.off
        )
    });
    vec![
        table(
            "sessions",
            query!("tables/sessions"),
            "wearer;sensor;site;side;inserted;ended;days;cause;detached;model;lot;tape;state;seen_until",
            &sessions,
        ),
        table(
            "site_survival",
            query!("tables/site_survival"),
            "site;day;at_risk;detached;censored;survival;std_error;lower;upper",
            &survival,
        ),
        table(
            "site_wear",
            query!("tables/site_wear"),
            "site;sessions;detached;survival_7;survival_7_lower;survival_7_upper;survival_10;survival_10_lower;\
             survival_10_upper;survival_rated;survival_rated_lower;survival_rated_upper;median_days;rmst_days;rmst_se;usable_days",
            &wear,
        ),
        table(
            "site_wear_test",
            query!("tables/site_wear_test"),
            "test;chi_square;df;p;p_permutation",
            &["log-rank;9.71;4;0.0455;0.0312".to_owned()],
        ),
        table(
            "site_endings",
            query!("tables/site_endings"),
            "site;cause;sessions",
            &endings,
        ),
        table(
            "site_incidence",
            query!("tables/site_incidence"),
            "site;cause;day;incidence;std_error",
            &incidence,
        ),
    ]
}

fn session(site: &Site, n: usize, days: f64, cause: &str) -> Option<String> {
    let begin = parse_instant("2025-12-02T09:00:00Z").unwrap()
        + ((n * 7 + site.key.len() * 2) as i64) * 86_400_000_000;
    let end = begin + (days * 86_400e6) as i64;
    let utc = whereworn_model::time::format_utc;
    let wearer = if n % 3 == 2 {
        "Keeper Ines"
    } else {
        "Keeper Odd"
    };
    let side = if n.is_multiple_of(2) { "left" } else { "right" };
    let (ended, cause, state) = if end > cutoff() {
        (String::new(), "", "still on")
    } else {
        (utc(end), cause, "ended")
    };
    let row = format!(
        "{wearer};{}-{n:02};{};{side};{};{ended};{days};{cause};0;M1;L{n};ring;{state};{}",
        &site.key[..2],
        site.key,
        utc(begin),
        utc(end.min(cutoff())),
    );
    (begin < cutoff()).then_some(row)
}

const ACCURACY: &str = "sensors;pairs;bias;bias_lower;bias_upper;bias_df;bias_percent;bias_percent_lower;bias_percent_upper;\
    sd_between;sd_within;loa_lower;loa_upper;mard;mard_lower;mard_upper;median_ard;within_15_15;within_20_20;\
    within_20_20_lower;within_20_20_upper;within_40_40;within_20_percent;zone_a;zone_b;zone_c;zone_d;zone_e";

fn agreement(s: &Site, pairs: usize, shift: f64) -> String {
    let few = s.sensors < 3;
    let limits = if few {
        ";".to_owned()
    } else {
        format!("{};{}", s.bias - 31.5, s.bias + 31.5)
    };
    format!(
        "{};{pairs};{};3.2;{};{};14.1;{limits};{};0.081;0.74;{};0.99;0.85;0.9;0.09;0.01;0;0",
        s.sensors,
        around(s, s.bias + shift, s.spread * 0.6),
        around(s, (s.bias + shift) / 1.4, s.spread * 0.4),
        if few {
            String::new()
        } else {
            s.spread.to_string()
        },
        around(s, 0.094, 0.011),
        around(s, 0.93 - s.spread / 100.0, 0.05),
    )
}

fn accuracy(sites: &[Site]) -> Vec<ResultTable> {
    let (mut pairs, mut sensors, mut first_day) = (vec![], vec![], vec![]);
    for site in sites {
        for n in 0..site.sensors {
            let own = site.bias + site.spread * ((n * 7 % 5) as f64 - 2.0) / 2.0;
            for k in 0..20 {
                let stick = 62 + (n * 53 + k * 29) % 210;
                let difference = own + ((n * 31 + k * 17) % 41) as f64 - 20.0;
                pairs.push(format!(
                    "Keeper Odd;{}-{n:02};{};2026-01-05T0{}:00:00Z;2026-01-05T0{}:02:00Z;{stick};{};{difference};{}",
                    &site.key[..2], site.key, k % 10, k % 10, stick as f64 + difference, difference / stick as f64
                ));
            }
            let interval = format!("{own};{};{}", own - 4.4, own + 4.4);
            sensors.push(format!(
                "Keeper Odd;{}-{n:02};{};{};20;{interval}",
                &site.key[..2],
                site.key,
                n + 1
            ));
        }
        first_day.push(format!(
            "{};first-day;{}",
            site.key,
            agreement(site, 22, -4.0)
        ));
        first_day.push(format!(
            "{};later;{}",
            site.key,
            agreement(site, site.sensors * 20, 0.3)
        ));
    }
    let by_site = rows(sites, |s| {
        format!("{};{}", s.key, agreement(s, s.sensors * 20, 0.0))
    });
    let delay = rows(sites, |s| {
        format!(
            "{};{};{}",
            s.key,
            s.sensors * 20,
            around(s, 4.0 + s.spread / 2.0, 2.5)
        )
    });
    vec![
        table(
            "pairs",
            query!("tables/pairs"),
            "wearer;sensor;site;fingerstick_time;reading_time;fingerstick;reading;difference;relative_difference",
            &pairs,
        ),
        table(
            "site_accuracy",
            query!("tables/site_accuracy"),
            &format!("site;{ACCURACY}"),
            &by_site,
        ),
        table(
            "site_first_day",
            query!("tables/site_first_day"),
            &format!("site;period;{ACCURACY}"),
            &first_day,
        ),
        table(
            "site_delay",
            query!("tables/site_delay"),
            "site;pairs;delay_minutes;lower;upper",
            &delay,
        ),
        table(
            "sensor_accuracy",
            query!("tables/sensor_accuracy"),
            "wearer;sensor;site;wear_order;pairs;mean_difference;mean_difference_lower;mean_difference_upper",
            &sensors,
        ),
    ]
}

fn nights(sites: &[Site]) -> Vec<ResultTable> {
    let by_site = rows(sites, |s| {
        let nights = s.sensors * 11;
        let count = (nights as f64 * s.rate / 100.0).round();
        format!(
            "{};{};{nights};{count};1;0;{};1;{}",
            s.key,
            s.sensors,
            count - 1.0,
            around(s, s.rate, s.rate * 0.7)
        )
    });
    let artefacts = rows(sites, |s| {
        format!(
            "Keeper Ines;{}-02;{};2026-03-0{};2026-03-04T01:10:00Z;2026-03-04T02:05:00Z;54;38.5;unchecked;1",
            &s.key[..2],
            s.key,
            s.key.len() % 9 + 1
        )
    });
    vec![
        table(
            "site_nights",
            query!("tables/site_nights"),
            "site;sensors;nights;artefacts;confirmed;undecided;unchecked;refuted;rate_per_100;rate_lower;rate_upper",
            &by_site,
        ),
        table(
            "site_nights_test",
            query!("tables/site_nights_test"),
            "test;statistic;p_permutation",
            &["rates of night artefacts;12.8;0.0007".to_owned()],
        ),
        table(
            "night_artefacts",
            query!("tables/night_artefacts"),
            "wearer;sensor;site;night;start;end;nadir;drop;evidence;counted",
            &artefacts,
        ),
    ]
}

fn quality(sites: &[Site]) -> Vec<ResultTable> {
    let skin = rows(sites, |s| {
        format!("{};{};{};2;1;0;0;1", s.key, s.sensors, s.sensors - 2)
    });
    let steps = [
        "1;readings;rows read;48210",
        "2;readings;rejected;12",
        "3;readings;used;47103",
        "4;pairs;used;800",
    ];
    let steps: Vec<String> = steps.iter().map(|step| (*step).to_owned()).collect();
    vec![
        table(
            "site_skin",
            query!("tables/site_skin"),
            "site;checks;grade_0;grade_1;grade_2;grade_3;grade_4;reactions",
            &skin,
        ),
        table(
            "exclusions",
            query!("tables/exclusions"),
            "step;table_name;what;rows",
            &steps,
        ),
        table(
            "lost_sensors",
            query!("tables/lost_sensors"),
            "wearer;sensor;site;inserted;last_reading",
            &[],
        ),
    ]
}
