//! The public edition: results turned into what identifies no one, before anything is rendered or written.
//!
//! - Tables: those named for the edition, and none that came with the study.
//! - Columns go by the class that their header declares, never by their name: sites keep the program's own names, sites of
//!   the study's own, wearers and sensors become numbers, times and dates the number of the day, the first day of the study
//!   being 1; numbers stay, categories as far as the catalogue has a word for them. A column that identifies, or of no class,
//!   is left out.
//! - Rows of a site with fewer than [`LEAST_SENSORS`] sensors, or with a smaller number of sensors of their own, are left out.
//! - Settings: numbers and choices; no text but times of day.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use whereworn_model::header::{CellKind, Class};
use whereworn_model::settings::{Settings, SiteSettings};
use whereworn_model::sites::BUILT_IN;
use whereworn_model::table::{Cell, Column, ResultTable};
use whereworn_model::tables::sessions;
use whereworn_model::time::{Month, local_date};

use crate::catalogue::{Catalogue, fill};
use crate::claims::OTHERS;
use crate::edition::Plans;
use crate::input::Input;

/// Fewest sensors of a group that is shown.
const LEAST_SENSORS: f64 = 3.0;

/// Columns that count the sensors of their row.
const COUNTS: [&str; 2] = ["sensors", "sessions"];

/// The unit of a day's number.
const DAY: &str = "day";

/// What was taken out.
#[derive(Clone, Copy)]
pub(crate) struct Shared {
    /// Days from the first to the last.
    pub days: i64,
    /// Sites left out, having too few sensors.
    pub withheld: usize,
}

/// What names and days become.
struct Replacement<'a> {
    text: &'a Catalogue,
    zone: TimeZone,
    first: Option<Date>,
    /// New keys of the sites that are shown.
    sites: BTreeMap<String, String>,
    wearers: Vec<String>,
    sensors: Vec<(String, String)>,
}

/// The input of the public edition.
pub(crate) fn strip<'a>(
    mut input: Input<'a>,
    text: &Catalogue,
    plans: &Plans,
) -> (Input<'a>, Shared) {
    input.tables.retain(|table| plans.is_published(table));
    let counts = sensors_by_site(&input.tables);
    let zone = input.settings.zone();
    let (wearers, sensors) = in_order_of_wear(&input.tables);
    let replacement = Replacement {
        text,
        first: first_day(&input.tables, &zone),
        sites: shown_sites(&counts, &input.settings),
        wearers,
        sensors,
        zone,
    };
    for table in &mut input.tables {
        replacement.apply(table);
    }
    let last = local_date(input.cutoff, &replacement.zone);
    let shared = Shared {
        days: last.and_then(|day| replacement.day(day)).unwrap_or(0),
        withheld: counts.len() - replacement.sites.len(),
    };
    input.settings = replacement.settings(&input.settings);
    input.month = Month::default();
    input.cutoff = 0;
    (input, shared)
}

fn sensors_by_site(tables: &[ResultTable]) -> BTreeMap<String, usize> {
    let mut counts = BTreeMap::new();
    for table in tables.iter().filter(|table| table.name == sessions::NAME) {
        for row in 0..table.rows() {
            *counts
                .entry(table.text(row, sessions::column::SITE).to_owned())
                .or_insert(0) += 1;
        }
    }
    counts
}

/// The sites with enough sensors and what they are called: those of the program keep their key.
fn shown_sites(counts: &BTreeMap<String, usize>, settings: &Settings) -> BTreeMap<String, String> {
    let enough = |key: &&String| counts.get(*key).copied().unwrap_or(0) as f64 >= LEAST_SENSORS;
    let known = |key: &&String| BUILT_IN.iter().any(|(built_in, _)| built_in == key);
    let known_to_study = settings
        .sites
        .keys()
        .filter(|key| counts.contains_key(*key));
    let own = known_to_study.filter(|key| !known(key)).filter(enough);
    let renamed = own
        .enumerate()
        .map(|(n, key)| (key.clone(), format!("own-site-{}", n + 1)));
    let kept = counts.keys().filter(known).filter(enough);
    kept.map(|key| (key.clone(), key.clone()))
        .chain(renamed)
        .collect()
}

/// The earliest local day of any table.
fn first_day(tables: &[ResultTable], zone: &TimeZone) -> Option<Date> {
    let cells = tables
        .iter()
        .flat_map(|table| &table.columns)
        .flat_map(|column| &column.cells);
    cells.filter_map(|cell| date_of(cell, zone)).min()
}

fn date_of(cell: &Cell, zone: &TimeZone) -> Option<Date> {
    match cell {
        Cell::Time(at) => local_date(*at, zone),
        Cell::Date(date) => Some(*date),
        _ => None,
    }
}

/// Wearers and sensors in the order in which they began.
fn in_order_of_wear(tables: &[ResultTable]) -> (Vec<String>, Vec<(String, String)>) {
    let mut begun = Vec::new();
    for table in tables.iter().filter(|table| table.name == sessions::NAME) {
        for row in 0..table.rows() {
            let at = table.cell(row, sessions::column::INSERTED).as_time();
            let name = |column| table.text(row, column).to_owned();
            begun.push((
                at,
                name(sessions::column::WEARER),
                name(sessions::column::SENSOR),
            ));
        }
    }
    begun.sort();
    let mut wearers: Vec<String> = Vec::new();
    for (_, wearer, _) in &begun {
        if !wearers.contains(wearer) {
            wearers.push(wearer.clone());
        }
    }
    let sensors = begun
        .into_iter()
        .map(|(_, wearer, sensor)| (wearer, sensor));
    (wearers, sensors.collect())
}

/// Whether a column holds keys of sites.
fn holds_sites(column: &Column) -> bool {
    column.header.class == Some(Class::Site)
}

impl Replacement<'_> {
    fn apply(&self, table: &mut ResultTable) {
        let mut shown: Vec<usize> = (0..table.rows())
            .filter(|&row| self.is_shown(table, row))
            .collect();
        // By the numbers that names become: the order of hidden names tells of them.
        shown.sort_by_key(|&row| {
            let (wearer, sensor) = (table.text(row, "wearer"), table.text(row, "sensor"));
            (self.place_of(wearer), self.place_of_sensor(wearer, sensor))
        });
        let sensors: Vec<Cell> = (0..table.rows())
            .map(|row| self.sensor(table.text(row, "wearer"), table.text(row, "sensor")))
            .collect();
        let columns = std::mem::take(&mut table.columns);
        table.columns = columns
            .into_iter()
            .filter_map(|column| self.column(column, &sensors))
            .map(|mut column| {
                column.cells = shown.iter().map(|&row| column.cells[row].clone()).collect();
                column
            })
            .collect();
        let there: Vec<&str> = table.columns.iter().map(|c| c.name.as_str()).collect();
        table
            .header
            .columns
            .retain(|name, _| there.contains(&name.as_str()));
    }

    fn is_shown(&self, table: &ResultTable, row: usize) -> bool {
        let sites = table.columns.iter().filter(|column| holds_sites(column));
        let mut keys = sites.filter_map(|column| column.cells[row].as_text());
        let counts = COUNTS.iter().filter_map(|name| table.number(row, name));
        keys.all(|key| key == OTHERS || self.sites.contains_key(key))
            && counts.into_iter().all(|count| count >= LEAST_SENSORS)
    }

    /// A column without anything that identifies; `None` where its class leaves nothing.
    fn column(&self, mut column: Column, sensors: &[Cell]) -> Option<Column> {
        let number = matches!(column.kind, CellKind::Integer | CellKind::Number);
        column.cells = match column.header.class? {
            Class::Identifying => return None,
            Class::Time => return Some(self.days(column)),
            Class::Site => self.replaced(&column, |key| match key {
                OTHERS => Cell::text(key),
                key => self
                    .sites
                    .get(key)
                    .map_or(Cell::Empty, |site| Cell::text(&**site)),
            }),
            Class::Wearer => self.replaced(&column, |name| self.wearer(name)),
            Class::Sensor if number => return None,
            Class::Sensor => sensors.to_vec(),
            _ if number => return Some(column),
            Class::Category => {
                let words = self.text.values.get(&column.name);
                // Several words of a cell are joined by a plus.
                let known = |word: &str| words.is_some_and(|words| words.contains_key(word));
                self.replaced(&column, |text| match text.split('+').all(known) {
                    true => Cell::text(text),
                    false => Cell::Empty,
                })
            }
            _ => return None,
        };
        Some(column)
    }

    fn replaced(&self, column: &Column, with: impl Fn(&str) -> Cell) -> Vec<Cell> {
        let cells = column.cells.iter();
        cells
            .map(|cell| cell.as_text().map_or(Cell::Empty, &with))
            .collect()
    }

    fn days(&self, mut column: Column) -> Column {
        let day = |cell: &Cell| self.day(date_of(cell, &self.zone)?);
        column.cells = column
            .cells
            .iter()
            .map(|cell| day(cell).map_or(Cell::Empty, Cell::Integer))
            .collect();
        column.kind = CellKind::Integer;
        column.header.unit = Some(DAY.to_owned());
        column
    }

    /// The number of a day, the first being 1.
    fn day(&self, date: Date) -> Option<i64> {
        let since = date.since(self.first?).ok()?;
        Some(i64::from(since.get_days()) + 1)
    }

    fn wearer(&self, name: &str) -> Cell {
        self.numbered(&self.text.page.wearer, self.place_of(name))
    }

    fn place_of(&self, wearer: &str) -> Option<usize> {
        self.wearers.iter().position(|known| known == wearer)
    }

    fn place_of_sensor(&self, wearer: &str, name: &str) -> Option<usize> {
        let is_it = |(w, s): &(String, String)| w == wearer && s == name;
        self.sensors.iter().position(is_it)
    }

    fn sensor(&self, wearer: &str, name: &str) -> Cell {
        self.numbered(&self.text.page.sensor, self.place_of_sensor(wearer, name))
    }

    fn numbered(&self, template: &str, place: Option<usize>) -> Cell {
        place.map_or(Cell::Empty, |place| {
            Cell::text(fill(template, &[("number", &(place + 1).to_string())]))
        })
    }

    /// Numbers and choices of the settings, with sites under their new keys.
    fn settings(&self, of: &Settings) -> Settings {
        let mut settings = Settings::default();
        settings.study.title.clone_from(&self.text.page.title);
        settings.study.wearer.clear();
        settings.study.unit = Some(of.unit());
        settings.study.language = of.study.language;
        settings.wear = of.wear.clone();
        settings.pairing = of.pairing.clone();
        let (from, to) = of.clock_night();
        settings.night.from = from.strftime("%H:%M").to_string();
        settings.night.to = to.strftime("%H:%M").to_string();
        settings.night.coverage = of.night.coverage;
        for (key, new) in &self.sites {
            let number = new.strip_prefix("own-site-").filter(|_| new != key);
            let label = number.map(|n| fill(&self.text.page.own_site, &[("number", n)]));
            let on_label = of.sites.get(key).and_then(|site| site.on_label);
            settings
                .sites
                .insert(new.clone(), SiteSettings { label, on_label });
        }
        settings
    }
}
