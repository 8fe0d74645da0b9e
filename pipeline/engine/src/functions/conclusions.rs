//! Conclusions from one table of facts.

use std::collections::BTreeMap;

use whereworn_stats::conclusions::{
    BodySide, Conclusion, Ending, Measure, Night, Pair, Plan, Primary, Sensor, Study, conclude,
};
use whereworn_stats::delay::SensorDelay;

use super::arguments::Kind::{Count, Label, Number};
use super::arguments::plain;
use super::collect::{Evaluate, Rows, Statistic};

/// See [`super::statistics::ALL`]. The query `compared` says what the arguments hold. `measure` and `verdict` count from 0 in
/// the order of the statistics, `withdrawn` has a bit for each reason, `position_against` is missing for the mean of the
/// others.
pub const ALL: &[Statistic] = &[Statistic {
    name: "conclude",
    arguments: &[
        plain("fact", Label),
        plain("of_sensor", Count),
        plain("text_1", Label),
        plain("text_2", Label),
        plain("text_3", Label),
        plain("text_4", Label),
        plain("text_5", Label),
        plain("text_6", Label),
        plain("number_1", Number),
        plain("number_2", Number),
        plain("number_3", Number),
        plain("number_4", Number),
        plain("number_5", Number),
        plain("number_6", Number),
    ],
    fields: &[
        "place",
        "measure",
        "position",
        "position_against",
        "difference",
        "lower",
        "upper",
        "sensors",
        "sensors_against",
        "wearers",
        "evidence",
        "p",
        "verdict",
        "withdrawn",
        "more_sensors",
        "planned",
        "primary",
        "until",
    ],
    about: "a list, one a measure and comparison: what can be said of the sites of a study, from the rows of `compared`",
    example: "SELECT UNNEST(conclude(fact, of_sensor, text_1, text_2, text_3, text_4, text_5, text_6, number_1, number_2, number_3, number_4, number_5, number_6)) AS found FROM compared",
    evaluate: Evaluate::Many(conclusions),
}];

/// The arguments as columns.
struct Facts<'a> {
    facts: (&'a [u32], &'a [String]),
    of_sensor: &'a [f64],
    texts: [(&'a [u32], &'a [String]); 6],
    numbers: [&'a [f64]; 6],
}

impl<'a> Facts<'a> {
    fn new(rows: &'a Rows) -> Self {
        Self {
            facts: rows.named(0),
            of_sensor: rows.numbers(1),
            texts: [2, 3, 4, 5, 6, 7].map(|place| rows.named(place)),
            numbers: [8, 9, 10, 11, 12, 13].map(|place| rows.numbers(place)),
        }
    }

    fn fact(&self, row: usize) -> &'a str {
        let (places, names) = self.facts;
        &names[places[row] as usize]
    }

    fn text(&self, text: usize, row: usize) -> &'a str {
        let (places, names) = self.texts[text];
        &names[places[row] as usize]
    }

    /// The place of a text among the different ones of its column.
    fn label(&self, text: usize, row: usize) -> usize {
        self.texts[text].0[row] as usize
    }

    /// The rows of one kind of fact.
    fn of(&self, fact: &'static str) -> impl Iterator<Item = usize> {
        (0..self.of_sensor.len()).filter(move |row| self.fact(*row) == fact)
    }

    /// The sensor that a row is of, as a key.
    fn sensor(&self, row: usize) -> u64 {
        self.of_sensor[row] as u64
    }

    fn plan(&self) -> Plan {
        let measure = |row: usize| Measure::of_name(self.text(0, row));
        let text = |place: usize, row: usize| self.text(place, row).to_owned();
        let measures = self.of("plan measure").filter_map(measure);
        let rows = self.of("plan row").filter_map(|row| {
            Some(Primary::Row {
                measure: measure(row)?,
                site: text(1, row),
                against: text(2, row),
            })
        });
        let margin = |row: usize| Some((measure(row)?, self.numbers[0][row]));
        Plan {
            primary: measures.map(Primary::Measure).chain(rows).collect(),
            reference: self.of("plan reference").next().map(|row| text(1, row)),
            margins: self.of("plan margin").filter_map(margin).collect(),
        }
    }

    /// Keys of the sites with their positions among all sites, in order.
    fn sites(&self) -> Vec<(f64, &'a str)> {
        let mut sites: Vec<(f64, &str)> = self
            .of("site")
            .map(|row| (self.numbers[0][row], self.text(1, row)))
            .collect();
        sites.sort_by(|a, b| a.0.total_cmp(&b.0));
        sites
    }

    fn study(&self, sites: &[(f64, &'a str)]) -> Study<'a> {
        let mut sensors = BTreeMap::new();
        for row in self.of("sensor") {
            let key = self.text(1, row);
            if let Some(site) = sites.iter().position(|(_, site)| *site == key) {
                sensors.insert(self.sensor(row), self.bare_sensor(row, site));
            }
        }
        // Two people's meters are two, though they bear one name.
        let wearers = self.texts[0].1.len();
        for row in 0..self.of_sensor.len() {
            let [one, two, three, four, five, six] = self.numbers.map(|column| column[row]);
            let Some(sensor) = sensors.get_mut(&self.sensor(row)) else {
                continue;
            };
            match self.fact(row) {
                "pair" => sensor.pairs.push(Pair {
                    time: one,
                    difference: two,
                    relative: three,
                    routine: self.text(0, row) == "routine",
                    age: four,
                    rank: five,
                    meter: self.label(1, row) * wearers + sensor.wearer,
                    rate: (!self.text(2, row).is_empty()).then_some(six),
                }),
                "night" => sensor.nights.push(Night {
                    end: one,
                    artefacts: two,
                    age: three,
                }),
                "lost night" => sensor.lost_nights.push(one),
                // Of two draws of one spot the first counts.
                "draw" if sensor.chances.is_empty() => sensor.chances = self.chances(row, sites),
                "delay" => {
                    sensor.delay = Some(SensorDelay {
                        minutes: one,
                        weight: two,
                    });
                }
                _ => {}
            }
        }
        for sensor in sensors.values_mut() {
            sensor.pairs.sort_by(|a, b| a.time.total_cmp(&b.time));
            sensor.nights.sort_by(|a, b| a.end.total_cmp(&b.end));
            sensor.lost_nights.sort_by(f64::total_cmp);
        }
        let mut looks: Vec<f64> = self.of("look").map(|row| self.numbers[0][row]).collect();
        looks.sort_by(f64::total_cmp);
        Study {
            sites: sites.iter().map(|(_, site)| *site).collect(),
            sensors: sensors.into_values().collect(),
            looks,
        }
    }

    /// The chance that each site had in a draw; of sites that were never worn nothing is asked.
    fn chances(&self, row: usize, sites: &[(f64, &str)]) -> Vec<f64> {
        let mut chances = vec![0.0; sites.len()];
        let [allowed, all] = [0, 1].map(|text| self.text(text, row).split('+'));
        for (site, chance) in allowed.zip(all) {
            let place = sites.iter().position(|(_, key)| *key == site);
            if let Some((place, chance)) = place.zip(chance.parse().ok()) {
                chances[place] = chance;
            }
        }
        chances
    }

    /// A sensor without its pairs, nights and delay.
    fn bare_sensor(&self, row: usize, site: usize) -> Sensor {
        let [inserted, quarter, rated_days, known_until, ending, _] =
            self.numbers.map(|column| column[row]);
        Sensor {
            wearer: self.label(0, row),
            site,
            model: self.label(2, row),
            lot: self.label(3, row),
            tape: self.label(4, row),
            side: match self.text(5, row) {
                "left" => Some(BodySide::Left),
                "right" => Some(BodySide::Right),
                _ => None,
            },
            clock_doubted: ending as i64 & 4 > 0,
            unit_doubted: ending as i64 & 8 > 0,
            inserted,
            quarter: quarter as i32,
            rated_days,
            known_until,
            ending: match ending as i64 & 3 {
                1 => Ending::CameOff,
                2 => Ending::Competing,
                _ => Ending::Censored,
            },
            ..Sensor::default()
        }
    }
}

fn conclusions(rows: &Rows) -> Vec<Vec<Option<f64>>> {
    let facts = Facts::new(rows);
    let sites = facts.sites();
    let study = facts.study(&sites);
    let since = facts
        .of("plan since")
        .next()
        .map(|row| facts.numbers[0][row]);
    conclude(&study, &facts.plan(), since)
        .iter()
        .enumerate()
        .map(|(place, one)| values(place, one, &sites))
        .collect()
}

fn values(place: usize, one: &Conclusion, sites: &[(f64, &str)]) -> Vec<Option<f64>> {
    let position = |site: usize| sites.get(site).map(|(position, _)| *position);
    let count = |count: usize| Some(count as f64);
    let bits = one
        .withdrawn
        .iter()
        .map(|reason| f64::from(1_u32 << (*reason as u32)));
    vec![
        count(place),
        count(one.measure as usize),
        position(one.site),
        one.against.and_then(position),
        one.difference,
        one.interval.map(|interval| interval.lower),
        one.interval.map(|interval| interval.upper),
        count(one.sensors[0]),
        count(one.sensors[1]),
        count(one.wearers),
        Some(one.evidence),
        one.p,
        count(one.verdict as usize),
        Some(bits.sum()),
        one.more_sensors.and_then(count),
        Some(f64::from(u8::from(one.planned))),
        Some(f64::from(u8::from(one.primary))),
        one.until,
    ]
}
