//! The plan as Markdown, to be read on a phone: short lists, no wide table.

use jiff::civil::Date;
use whereworn_model::format::{maybe, number, share};
use whereworn_model::settings::{Aim, Measure, Settings};

use crate::document::{Made, SensorRow};
use crate::gather::Wearer;
use crate::lot;
use crate::settle::Comparison;
use crate::words::{amount, measure_words, plain};

/// The least probability with which a site is more likely best than not.
const STANDS_OUT: f64 = 0.5;

/// Blocks of a bar of 100 %.
const BAR: f64 = 20.0;

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

struct Page<'p> {
    made: &'p Made,
    settings: &'p Settings,
}

impl Page<'_> {
    fn wearer(&self) -> &Wearer {
        &self.made.wearer
    }

    fn label(&self, site: usize) -> String {
        plain(&self.wearer().label(site))
    }

    fn label_of(&self, key: &str) -> String {
        let place = self.wearer().place(key);
        place.map_or_else(|| plain(key), |site| self.label(site))
    }

    fn date(&self, text: &str) -> String {
        let own = self.settings.study.date_format.as_ref();
        let pattern = own.map_or("%-d %B %Y", |format| format.pattern());
        let date = text.parse::<Date>().ok();
        date.map_or_else(
            || text.to_owned(),
            |date| plain(&date.strftime(pattern).to_string()),
        )
    }

    fn head(&self) -> String {
        format!(
            "# What to wear next: {}\n\nThis is evidence from your own log and no advice. What your clinician and the device's instructions say comes first; where reading and feeling disagree, confirm with a fingerstick.\n\n",
            plain(&self.wearer().name)
        )
    }

    fn sensors(&self) -> String {
        let mut out = format!("## The next sensors\n\n{}\n\n", self.aim());
        for row in &self.made.document.sensors {
            out.push_str(&self.sensor(row));
        }
        let asked = self.made.document.sensors.len();
        if !self.made.schedule.closed.is_empty() && asked > 0 {
            out.push_str(&format!("\nNo more than these {asked} can be planned: the last section says which limit stands in the way.\n"));
        }
        out.push('\n');
        out
    }

    fn sensor(&self, row: &SensorRow) -> String {
        let until = if row.drawn {
            format!(", and by {} to count as drawn", self.date(&row.latest))
        } else {
            String::new()
        };
        format!(
            "- **{}. {}, {}**: from {}{until}. {}.\n",
            row.number,
            self.label_of(&row.site),
            row.side,
            self.date(&row.earliest),
            capital(&row.reason)
        )
    }

    fn aim(&self) -> String {
        let rules = &self.wearer().rules;
        if let [only] = rules.allowed.as_slice() {
            return format!(
                "{} is the only site that may be planned, so that nothing is compared with it.",
                self.label(*only)
            );
        }
        let learn = "Drawn by lot, so that a comparison of sites is sound: sites that tell most on the open questions come up more often, and each open site keeps a chance of at least one in ten.";
        match self.wearer().plan.aim {
            Aim::Learn if self.made.tilt.open.is_empty() => {
                "Every question of the plan is settled, so that all sites come up alike: for learning, it does not matter where you wear.".to_owned()
            }
            Aim::Learn => learn.to_owned(),
            Aim::WearBest | Aim::HalfHalf => {
                let mix = match self.wearer().plan.aim {
                    Aim::HalfHalf => "Half for learning, half for the sites that look best so far.",
                    _ => "For the sites that look best so far.",
                };
                format!("{mix} {} Drawn by lot with known chances: a later report may compare these sensors.", self.exploring())
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
        let leader = shares.iter().position(|share| *share >= most).unwrap_or(0);
        let leader = allowed
            .get(leader)
            .map_or(String::new(), |site| self.label(*site));
        format!(
            "About {} of the sensors go to {leader}; the other {} explore.",
            share(most, 0),
            share(1.0 - most, 0)
        )
    }

    fn settle(&self) -> String {
        let comparisons = &self.made.comparisons;
        if comparisons.is_empty() {
            return "## When it is settled\n\nNo two sites of the plan are compared: nothing to settle.\n\n".to_owned();
        }
        let mut out = "## When it is settled\n\n".to_owned();
        for comparison in comparisons {
            out.push_str(&self.comparison(comparison));
        }
        out.push_str("\nSensors until settled are by simulation from this study's own spread, for four of five such studies; months are of your sensors, one at a time, as this plan draws them.\n\n");
        out
    }

    fn comparison(&self, comparison: &Comparison) -> String {
        let (site, against) = (self.label(comparison.site), self.label(comparison.against));
        let name = measure_words(comparison.measure);
        let said = match comparison.verdict.as_str() {
            "differs" => "settled, they differ; the report says how.".to_owned(),
            "alike" => format!(
                "settled, they are alike within {}: for this it does not matter which of the two you wear.",
                amount(
                    self.settings,
                    comparison.measure,
                    self.margin(comparison.measure)
                )
            ),
            leans => self.waiting(comparison, leans == "leans"),
        };
        format!("- **{name}: {site} against {against}**: {said}\n")
    }

    fn waiting(&self, comparison: &Comparison, leans: bool) -> String {
        let state = if leans {
            "leaning, not settled. "
        } else {
            "open. "
        };
        let shown = comparison.shown_today.map_or_else(
            || "Too few sensors yet to show any difference. ".to_owned(),
            |shown| {
                format!(
                    "Today's sensors could show a difference of {}. ",
                    amount(self.settings, comparison.measure, shown)
                )
            },
        );
        let more = match (comparison.more_sensors, comparison.months) {
            (Some(more), Some(months)) => format!(
                "About {} more sensors a site settle it, some {} months of your wear.",
                number(more, 0),
                number(months.max(1.0), 0)
            ),
            _ => "How many more sensors it takes cannot be told yet.".to_owned(),
        };
        format!("{state}{shown}{more}")
    }

    fn margin(&self, measure: Measure) -> f64 {
        let margins = &self.wearer().plan.margins;
        margins
            .get(&measure)
            .copied()
            .unwrap_or(measure.default_margin())
    }

    fn fingersticks(&self) -> String {
        let mut out = "## Fingersticks that would teach most\n\n".to_owned();
        if self.made.asked.is_empty() {
            out.push_str("None: pairs are too few to tell how far they scatter, or there are enough where your usual day brings them.\n");
        } else {
            out.push_str(
                "While a sensor is on these sites, and where your day brings it anyway:\n\n",
            );
        }
        for row in &self.made.document.fingersticks {
            let [from, to] = row.hours;
            out.push_str(&format!(
                "- **{}**: about {} more, glucose {} and {}, between {from}:00 and {to}:00. {}.\n",
                self.label_of(&row.site),
                row.count,
                row.range,
                row.rate,
                capital(&row.reason)
            ));
        }
        out.push_str("\nA drop seen live at night: a fingerstick now would settle it. Lows and fast changes are never asked for: there, do what you always do, and log the fingerstick you take anyway.\n\n");
        out
    }

    fn best(&self) -> String {
        let made = self.made;
        let mut out = "## Which site is best for me?\n\n".to_owned();
        out.push_str(&self.priorities());
        for row in &made.document.best {
            let filled = (row.probability * BAR).round() as usize;
            let bar = "█".repeat(filled) + &"░".repeat(BAR as usize - filled.min(BAR as usize));
            out.push_str(&format!(
                "- {bar} {}: {}\n",
                share(row.probability, 0),
                self.label_of(&row.site)
            ));
        }
        let most = made
            .document
            .best
            .first()
            .map_or(0.0, |row| row.probability);
        if most < STANDS_OUT {
            out.push_str(
                "\nNo site stands out: by what the log says so far, the choice hardly matters.\n",
            );
        }
        out.push('\n');
        out.push_str(&self.unbeaten());
        out.push_str(&self.moves());
        out
    }

    fn priorities(&self) -> String {
        let set = self
            .wearer()
            .aspects
            .iter()
            .filter(|aspect| aspect.priority > 0.0);
        let words: Vec<String> = set
            .map(|aspect| format!("{} {}", aspect.name, maybe(Some(aspect.priority), 0)))
            .collect();
        let own = self
            .settings
            .priorities
            .weights()
            .iter()
            .any(|(_, weight)| *weight > 0.0);
        let whose = if own {
            "By your priorities"
        } else {
            "No [priorities] are set, so that three count alike"
        };
        format!(
            "{whose} ({}), the probability that each site is the best of these for you. Few sensors are drawn towards the others, so that luck does not win. It is what the log says so far, and no advice.\n\n",
            words.join(", ")
        )
    }

    fn unbeaten(&self) -> String {
        let sites = self.wearer().candidates.iter().zip(&self.made.best.chances);
        let names: Vec<String> = sites
            .filter(|(_, chance)| !chance.beaten)
            .map(|(&site, _)| self.label(site))
            .collect();
        format!(
            "No other site beats these on everything that matters to you: {}.\n\n",
            names.join("; ")
        )
    }

    fn moves(&self) -> String {
        let wearer = self.wearer();
        let Some(leader) = self.made.best.leader(&wearer.aspects) else {
            return String::new();
        };
        let site = |candidate: usize| {
            wearer
                .candidates
                .get(candidate)
                .map_or(String::new(), |&site| self.label(site))
        };
        let moves = self.made.best.moves.iter().filter_map(|m| {
            let aspect = wearer.aspects.get(m.aspect)?;
            let text = format!(
                "- {} from {} to {}: {}\n",
                aspect.name,
                number(aspect.priority, 1),
                number(m.to, 1),
                site(m.leader)
            );
            Some(text)
        });
        let moves: String = moves.collect();
        if moves.is_empty() {
            return format!(
                "{} leads so far, whatever one priority you change.\n\n",
                site(leader)
            );
        }
        format!(
            "{} leads so far. Another would lead if you moved one priority so far:\n\n{moves}\n",
            site(leader)
        )
    }

    fn limits(&self) -> String {
        let mut out = "## What the plan keeps to\n\n".to_owned();
        for text in &self.made.document.limits {
            out.push_str(&format!("- {}\n", plain(text)));
        }
        out
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(chars).collect()
    })
}
