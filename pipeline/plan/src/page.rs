//! The plan as Markdown, to be read on a phone: short lists, no wide table.

use jiff::civil::Date;
use whereworn_model::settings::{Aim, Measure, Settings};
use whereworn_model::sites::STANDS_OUT;

use crate::document::{Made, SensorRow};
use crate::fingersticks::{HALF_WIDTH, MOST};
use crate::gather::Wearer;
use crate::lot;
use crate::reasons::age_words;
use crate::schedule::Planned;
use crate::settle::Comparison;
use crate::words::{Words, plain, say};

/// The page of a plan.
#[must_use]
pub fn markdown(made: &Made, settings: &Settings) -> String {
    let page = Page { made, settings };
    let parts = [
        page.head(),
        page.sensors(),
        page.settle(),
        page.fingersticks(),
        page.best(),
        page.limits(),
    ];
    parts.concat()
}

pub(crate) struct Page<'p> {
    pub made: &'p Made,
    pub settings: &'p Settings,
}

impl Page<'_> {
    pub fn wearer(&self) -> &Wearer {
        &self.made.wearer
    }

    pub fn label(&self, site: usize) -> String {
        plain(&self.wearer().label(site))
    }

    pub fn label_of(&self, key: &str) -> String {
        let place = self.wearer().place(key);
        place.map_or_else(|| plain(key), |site| self.label(site))
    }

    pub fn words(&self) -> &Words {
        &self.wearer().words
    }

    fn date(&self, text: &str) -> String {
        let date = text.parse::<Date>();
        date.map_or_else(|_| text.to_owned(), |date| self.words().date(date))
    }

    fn head(&self) -> String {
        let name = plain(&self.wearer().name);
        say!(
            self.words(),
            "# What to wear next: {name}\n\nThis is evidence from your own log and no advice, and not for treatment decisions. What your clinician and the device's instructions say comes first; where reading and feeling disagree, confirm with a fingerstick.\n\n",
            "# Was als Nächstes getragen wird: {name}\n\nDas sind Anhaltspunkte aus Ihrem eigenen Tagebuch und kein Rat, und nicht für Therapieentscheidungen gedacht. Was Ihr Behandlungsteam und die Anleitung des Geräts sagen, geht vor; wenn ein Messwert nicht zum Befinden passt: mit einer Messung am Finger bestätigen.\n\n"
        )
    }

    fn sensors(&self) -> String {
        let words = self.words();
        let aim = self.aim();
        let mut out = say!(
            words,
            "## The next sensors\n\n{aim}\n\n",
            "## Die nächsten Sensoren\n\n{aim}\n\n"
        );
        let planned = &self.made.schedule.sensors;
        for (row, planned) in self.made.document.sensors.iter().zip(planned) {
            out.push_str(&self.sensor(row, planned));
        }
        out.push_str(&self.given_up());
        let planned = self.made.document.sensors.len();
        if self.made.schedule.is_short {
            out.push_str(&say!(
                words,
                "\nNo more than these {planned} can be planned: the last section says which limit stands in the way.\n",
                "\nMehr als diese {planned} lassen sich nicht planen: der letzte Abschnitt sagt, was im Weg steht.\n"
            ));
        }
        out.push('\n');
        out
    }

    /// Which earlier draws hold no longer; why stands in the last section.
    fn given_up(&self) -> String {
        let dropped = self.made.schedule.dropped.iter();
        let dropped = dropped.map(|dropped| &dropped.pending);
        let draws = self.made.run_out.iter().chain(dropped);
        let numbers: Vec<String> = draws.map(|draw| draw.number.to_string()).collect();
        if numbers.is_empty() {
            return String::new();
        }
        let numbers = numbers.join(", ");
        say!(
            self.words(),
            "\nEarlier draws that are given up: {numbers}; the last section says why.\n",
            "\nFrühere Lose, die entfallen: {numbers}; der letzte Abschnitt sagt, warum.\n"
        )
    }

    fn sensor(&self, row: &SensorRow, planned: &Planned) -> String {
        let words = self.words();
        let (earliest, latest) = (self.date(&row.earliest), self.date(&row.latest));
        let until = if row.drawn {
            say!(
                words,
                ", and by {latest} to count as drawn",
                ", und bis {latest}, damit er als ausgelost zählt"
            )
        } else {
            String::new()
        };
        let (number, site, side) = (row.number, self.label_of(&row.site), words.side(&row.side));
        let reason = capital(&self.made.why(planned));
        say!(
            words,
            "- **{number}. {site}, {side}**: from {earliest}{until}. {reason}.\n",
            "- **{number}. {site}, {side}**: ab {earliest}{until}. {reason}.\n"
        )
    }

    fn aim(&self) -> String {
        let words = self.words();
        let rules = &self.wearer().rules;
        if let [only] = rules.allowed.as_slice() {
            let only = self.label(*only);
            return say!(
                words,
                "{only} is the only site that may be planned, so that nothing is compared with it.",
                "{only} ist die einzige Stelle, die geplant werden darf; verglichen wird daher nichts."
            );
        }
        match self.wearer().plan.aim {
            Aim::Learn if self.made.tilt.open.is_empty() => words.choose(
                "Every question of the plan is settled, so that all sites come up alike: for learning, it does not matter where you wear.",
                "Alle Fragen des Plans sind entschieden, alle Stellen kommen gleich oft: für das Lernen ist es gleich, wo Sie tragen.",
            ).to_owned(),
            Aim::Learn => words.choose(
                "Drawn by lot, so that a comparison of sites is sound: sites that tell most on the open questions come up more often, and each open site keeps a chance of at least one in ten.",
                "Ausgelost, damit sich die Stellen zuverlässig vergleichen lassen: Stellen, die am meisten zu den offenen Fragen sagen, kommen öfter, und jede offene Stelle behält eine Chance von mindestens einem Zehntel.",
            ).to_owned(),
            Aim::WearBest | Aim::HalfHalf => {
                let mix = match self.wearer().plan.aim {
                    Aim::HalfHalf => words.choose(
                        "Half for learning, half for the sites that look best so far.",
                        "Zur Hälfte, um zu lernen, zur Hälfte für die Stellen, die bisher am besten aussehen.",
                    ),
                    _ => words.choose(
                        "For the sites that look best so far.",
                        "Für die Stellen, die bisher am besten aussehen.",
                    ),
                };
                let exploring = self.exploring();
                say!(
                    words,
                    "{mix} {exploring} Drawn by lot with known chances: a later report may compare these sensors.",
                    "{mix} {exploring} Ausgelost mit bekannten Chancen: ein späterer Bericht darf diese Sensoren vergleichen."
                )
            }
        }
    }

    /// The share of draws that does not go to the site that leads.
    fn exploring(&self) -> String {
        let (wearer, allowed) = (self.wearer(), &self.wearer().rules.allowed);
        let mut sensors = vec![0.0; wearer.sites.len()];
        wearer
            .history
            .worn
            .iter()
            .for_each(|worn| sensors[worn.site] += 1.0);
        let shares = lot::lifted(&self.made.tilt.weights(allowed, &sensors));
        let most = shares.iter().copied().fold(0.0, f64::max);
        if shares.iter().all(|share| most - share < 1e-9) {
            return self
                .words()
                .choose(
                    "So far nothing tells the sites apart, and all come up alike.",
                    "Bisher unterscheidet die Stellen nichts, alle kommen gleich oft.",
                )
                .to_owned();
        }
        if most < STANDS_OUT {
            return self.most_explore(&shares);
        }
        let leader = shares.iter().position(|share| *share >= most).unwrap_or(0);
        let leader = allowed
            .get(leader)
            .map_or(String::new(), |site| self.label(*site));
        let words = self.words();
        let (own, rest) = (words.share(most), words.share(1.0 - most));
        say!(
            words,
            "About {own} of the sensors go to {leader}; the other {rest} explore.",
            "Etwa {own} der Sensoren kommen an die Stelle {leader}; die übrigen {rest} erkunden."
        )
    }

    /// The share of each site where none has half of the draws, those on the label first: a site named alone would look chosen.
    fn most_explore(&self, shares: &[f64]) -> String {
        let (wearer, words) = (self.wearer(), self.words());
        let allowed = wearer.rules.allowed.iter().copied().zip(shares);
        let mut sites: Vec<(usize, &f64)> = allowed.collect();
        sites.sort_by_key(|(site, _)| !wearer.is_on_label(*site));
        let named = sites.iter().map(|(site, share)| {
            let (share, site) = (words.share(**share), self.label(*site));
            format!("{site} {share}")
        });
        let named = named.collect::<Vec<String>>().join(", ");
        say!(
            words,
            "Most of the sensors explore, since no site has half of them: {named}.",
            "Die meisten Sensoren erkunden, denn keine Stelle bekommt die Hälfte: {named}."
        )
    }

    fn settle(&self) -> String {
        let words = self.words();
        let comparisons = &self.made.comparisons;
        let title = words.choose(
            "## When it is settled\n\n",
            "## Wann es entschieden ist\n\n",
        );
        if comparisons.is_empty() {
            return title.to_owned()
                + words.choose(
                    "No two sites of the plan are compared: nothing to settle.\n\n",
                    "Der Plan vergleicht keine zwei Stellen: es gibt nichts zu entscheiden.\n\n",
                );
        }
        let mut out = title.to_owned();
        for comparison in comparisons {
            out.push_str(&self.comparison(comparison));
        }
        out.push_str(words.choose(
            "\nSensors until settled are by simulation from this study's own spread, for four of five such studies; months are of your sensors, one at a time, as this plan draws them.\n\n",
            "\nWie viele Sensoren es noch braucht, ist aus der Streuung dieser Studie berechnet, so dass vier von fünf solchen Studien dann entschieden sind; die Monate gelten für Ihre Sensoren, einen nach dem anderen, wie dieser Plan sie auslost.\n\n",
        ));
        out
    }

    fn comparison(&self, comparison: &Comparison) -> String {
        let words = self.words();
        let (site, against) = (self.label(comparison.site), self.label(comparison.against));
        let name = words.measure(comparison.measure);
        let said = match comparison.verdict.as_str() {
            "differs" => words
                .choose(
                    "settled, they differ; the report says how.",
                    "entschieden, sie sind verschieden; der Bericht sagt, wie.",
                )
                .to_owned(),
            "alike" => {
                let margin = self.margin(comparison.measure);
                let amount = words.amount(comparison.measure, margin);
                say!(
                    words,
                    "settled, they are alike within {amount}: for this it does not matter which of the two you wear.",
                    "entschieden, sie sind gleich bis auf {amount}: dafür ist es gleich, welche der beiden Sie tragen."
                )
            }
            leans => self.waiting(comparison, leans == "leans"),
        };
        say!(
            words,
            "- **{name}: {site} against {against}**: {said}\n",
            "- **{name}: {site} gegen {against}**: {said}\n"
        )
    }

    fn waiting(&self, comparison: &Comparison, leans: bool) -> String {
        let words = self.words();
        let state = match leans {
            true => words.choose(
                "leaning, not settled.",
                "sieht bislang verschieden aus, ist aber nicht entschieden.",
            ),
            false => words.choose("open.", "offen."),
        };
        let shown = comparison
            .shown_today
            .filter(|shown| tells(comparison.measure, *shown))
            .map(|shown| words.amount(comparison.measure, shown));
        let shown = match shown {
            None => words
                .choose(
                    "Too few sensors yet to show any difference.",
                    "Noch zu wenige Sensoren, um irgendeinen Unterschied zu zeigen.",
                )
                .to_owned(),
            Some(shown) => say!(
                words,
                "Today's sensors could show a difference of {shown} or more.",
                "Kleinster Unterschied, den die heutigen Sensoren zeigen könnten: {shown}."
            ),
        };
        let more = match (comparison.more_sensors, comparison.months) {
            (Some(more), Some(months)) => {
                let settle = capital(&words.sensors_settle_it(more));
                let months = months_of_wear(words, months);
                say!(
                    words,
                    "{settle}, {months} of your wear.",
                    "{settle}, bei Ihnen {months}."
                )
            }
            _ => words
                .choose(
                    "How many more sensors it takes cannot be told yet.",
                    "Wie viele Sensoren es noch braucht, lässt sich noch nicht sagen.",
                )
                .to_owned(),
        };
        format!("{state} {shown} {more}")
    }

    fn margin(&self, measure: Measure) -> f64 {
        let margins = &self.wearer().plan.margins;
        margins
            .get(&measure)
            .copied()
            .unwrap_or(measure.default_margin())
    }

    fn fingersticks(&self) -> String {
        let words = self.words();
        let mut out = words
            .choose(
                "## Fingersticks that would teach most\n\n",
                "## Messungen am Finger, die am meisten zeigen würden\n\n",
            )
            .to_owned();
        out.push_str(match self.made.asked.is_empty() {
            true => words.choose(
                "None: pairs are too few to tell how far they scatter, or there are enough where your usual day brings them.\n",
                "Keine: es sind noch zu wenige Wertepaare, um ihre Streuung zu kennen, oder genug dort, wo Ihr Alltag sie bringt.\n",
            ),
            false => words.choose(
                "While a sensor is on these sites, and where your day brings it anyway.",
                "Solange ein Sensor an diesen Stellen sitzt, und wo Ihr Tag es ohnehin bringt.",
            ),
        });
        if !self.made.asked.is_empty() {
            let width = words.number(HALF_WIDTH, 0);
            out.push_str(&say!(
                words,
                " So many more tell the mean difference there to {width} % either way; at most {MOST} are asked for in each line.\n\n",
                " So viele weitere zeigen die mittlere Abweichung dort auf {width} % genau; gefragt wird in jeder Zeile nach höchstens {MOST}.\n\n"
            ));
        }
        for (row, asked) in self.made.document.fingersticks.iter().zip(&self.made.asked) {
            let [from, to] = row.hours;
            let (site, age) = (self.label_of(&row.site), age_words(words, asked.cell.age));
            let reason = capital(&self.made.known(asked));
            let (count, range, rate) = (row.count, &row.range, &row.rate);
            out.push_str(&say!(
                words,
                "- **{site}, {age}**: about {count} more, glucose {range} and {rate}, between {from}:00 and {to}:00. {reason}.\n",
                "- **{site}, {age}**: etwa {count} weitere, Glukose {range} und {rate}, zwischen {from} und {to} Uhr. {reason}.\n"
            ));
        }
        out.push_str(words.choose(
            "\nA drop seen live at night: a fingerstick now would settle it. Lows and fast changes are never asked for: there, do what you always do, and log the fingerstick you take anyway.\n\n",
            "\nWenn Sie nachts einen Abfall sehen: eine Messung am Finger in diesem Moment würde es entscheiden. Nach niedrigen Werten und schnellen Änderungen wird nie gefragt: tun Sie dann, was Sie immer tun, und notieren Sie die Messung, die Sie ohnehin machen.\n\n",
        ));
        out
    }

    fn limits(&self) -> String {
        let title = "## What the plan keeps to\n\n";
        let mut out = self
            .words()
            .choose(title, "## Woran sich der Plan hält\n\n")
            .to_owned();
        for text in &self.made.document.limits {
            out.push_str(&format!("- {}\n", plain(text)));
        }
        out
    }
}

/// Whether a difference of this size can be: no more than all sensors come off, and one artefact a night is not seen.
fn tells(measure: Measure, difference: f64) -> bool {
    let most = match measure {
        Measure::StaysOn => 1.0,
        Measure::QuietAtNight => 100.0,
        Measure::ReadsTrue | Measure::ReadsHighOrLow | Measure::Delay => f64::INFINITY,
    };
    difference < most
}

fn months_of_wear(words: &Words, months: f64) -> String {
    let months = words.number(months, 0);
    match months.as_str() {
        "0" | "1" => say!(words, "a month or less", "höchstens ein Monat"),
        _ => say!(words, "some {months} months", "rund {months} Monate"),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(chars).collect()
    })
}
