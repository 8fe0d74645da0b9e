//! Which site is best, in words and bars.

use whereworn_model::sites::{LEAST_SENSORS, STANDS_OUT};

use crate::document::BestRow;
use crate::page::Page;
use crate::words::{plain, say};

/// Blocks of a bar of 100 %.
const BAR: f64 = 20.0;

impl Page<'_> {
    pub fn best(&self) -> String {
        let words = self.words();
        let mut out = words
            .choose(
                "## Which site is best for me?\n\n",
                "## Welche Stelle ist für mich die beste?\n\n",
            )
            .to_owned();
        if let Some(nothing) = self.nothing_to_compare() {
            out.push_str(&format!("{nothing}\n\n"));
            out.push_str(&self.never_worn());
            return out;
        }
        out.push_str(&self.priorities());
        out.push_str(&self.bars());
        out.push_str(&self.never_worn());
        let leads = self.moves();
        if leads.is_empty() {
            out.push_str(words.choose(
                "No site stands out so far.\n\n",
                "Bisher sticht keine Stelle hervor.\n\n",
            ));
        }
        out.push_str(&self.unbeaten());
        out.push_str(&leads);
        out
    }

    /// Why nothing can be said of which site is best.
    fn nothing_to_compare(&self) -> Option<String> {
        let words = self.words();
        let chances = &self.made.best.chances;
        if chances.len() < 2 {
            return Some(say!(
                words,
                "One site only: there is nothing to compare it with.",
                "Nur eine Stelle: es gibt nichts, womit sie zu vergleichen wäre."
            ));
        }
        if self.told().is_empty() {
            return Some(say!(
                words,
                "No site has had {LEAST_SENSORS} of your sensors yet. That is too few to say which is best.",
                "An keiner Stelle saßen bisher {LEAST_SENSORS} Ihrer Sensoren. Das ist zu wenig, um zu sagen, welche die beste ist."
            ));
        }
        if let [only] = self.made.document.best.as_slice() {
            let only = self.label_of(&only.site);
            return Some(say!(
                words,
                "All your sensors were at one site, {only}: there is nothing yet to compare it with.",
                "Alle Ihre Sensoren saßen an einer Stelle, {only}: es gibt noch nichts, womit sie zu vergleichen wäre."
            ));
        }
        let mut aspects = self.wearer().aspects.iter().enumerate();
        let known =
            aspects.any(|(place, aspect)| aspect.priority > 0.0 && self.made.best.is_known(place));
        if known {
            return None;
        }
        let names = self.weights();
        Some(say!(
            words,
            "Nothing is known yet of what matters to you ({names}), so that no site can be called best.",
            "Über das, was Ihnen wichtig ist ({names}), ist noch nichts bekannt; daher lässt sich keine Stelle die beste nennen."
        ))
    }

    /// The sites that may be planned and had no sensor: they have no bar, since a bar would be a guess.
    fn never_worn(&self) -> String {
        let wearer = self.wearer();
        let chances = wearer.candidates.iter().zip(&self.made.best.chances);
        let never = chances.filter(|(_, chance)| !chance.is_worn());
        let names: Vec<String> = never.map(|(&site, _)| self.label(site)).collect();
        if names.is_empty() || names.len() == wearer.candidates.len() {
            return String::new();
        }
        let names = names.join("; ");
        say!(
            self.words(),
            "Never worn, nothing is known: {names}.\n\n",
            "Nie getragen, nichts bekannt: {names}.\n\n"
        )
    }

    /// What matters, each with its weight.
    fn weights(&self) -> String {
        let words = self.words();
        let set = self.wearer().aspects.iter();
        let set = set.filter(|aspect| aspect.priority > 0.0);
        let names: Vec<String> = set
            .map(|aspect| {
                let weight = words.number(aspect.priority, aspect.digits());
                format!("{} {weight}", words.priority(aspect.name))
            })
            .collect();
        names.join(", ")
    }

    /// The candidates with sensors enough for a word on them, those on the label first.
    fn told(&self) -> Vec<usize> {
        let (wearer, chances) = (self.wearer(), &self.made.best.chances);
        let told = |candidate: &usize| chances[*candidate].is_told();
        let mut told: Vec<usize> = (0..chances.len()).filter(told).collect();
        told.sort_by_key(|&candidate| !wearer.is_on_label(wearer.candidates[candidate]));
        told
    }

    /// A bar for each site, the likeliest first; those off the label after the others.
    fn bars(&self) -> String {
        let words = self.words();
        let on_label = |row: &&BestRow| {
            let place = self.wearer().place(&row.site);
            place.is_some_and(|place| self.wearer().is_on_label(place))
        };
        let bar = |row: &BestRow| {
            let filled = (row.probability * BAR).round() as usize;
            let bar = "█".repeat(filled) + &"░".repeat(BAR as usize - filled.min(BAR as usize));
            let (share, site) = (words.share(row.probability), self.label_of(&row.site));
            format!("- {bar} {share}: {site}\n")
        };
        let rows = self.made.document.best.iter();
        let (first, after): (Vec<&BestRow>, Vec<&BestRow>) = rows.partition(on_label);
        let [first, after] =
            [first, after].map(|rows| rows.into_iter().map(bar).collect::<String>());
        if first.is_empty() || after.is_empty() {
            return format!("{first}{after}\n");
        }
        let apart = words.choose(
            "Off the device's label, to be agreed with the clinician before it is worn:",
            "Vom Hersteller nicht vorgesehen, vor dem Tragen mit dem Behandlungsteam abzusprechen:",
        );
        format!("{first}\n{apart}\n\n{after}\n")
    }

    fn priorities(&self) -> String {
        let words = self.words();
        let names = self.weights();
        let weights = self.settings.priorities.weights();
        let lead = if weights.iter().any(|(_, weight)| *weight > 0.0) {
            say!(
                words,
                "By your priorities ({names}).",
                "Nach dem, was Ihnen wichtig ist ({names})."
            )
        } else {
            say!(
                words,
                "No priorities are set in study.toml, so that three count alike ({names}).",
                "In study.toml steht nicht, was Ihnen wichtig ist, daher zählen drei gleich ({names})."
            )
        };
        let meaning = words.choose(
            "The bars show the probability that each site is the best of those you have worn. Sites with few sensors are drawn towards the others, so that luck does not win. It is what the log says so far, and no advice.",
            "Die Balken zeigen, wie wahrscheinlich jede Stelle die beste von denen ist, die Sie schon getragen haben. Stellen mit wenigen Sensoren rücken an die anderen heran, damit nicht der Zufall gewinnt. Das sagt Ihr Tagebuch bisher, und es ist kein Rat.",
        );
        format!("{}{} {meaning}\n\n", plain(&lead), self.not_known())
    }

    /// What matters and no sensor tells anything of.
    fn not_known(&self) -> String {
        let words = self.words();
        let aspects = self.wearer().aspects.iter().enumerate();
        let unknown = aspects
            .filter(|(place, aspect)| aspect.priority > 0.0 && !self.made.best.is_known(*place));
        let names: Vec<&str> = unknown
            .map(|(_, aspect)| words.priority(aspect.name))
            .collect();
        if names.is_empty() {
            return String::new();
        }
        let names = names.join(", ");
        say!(
            words,
            " Nothing is known yet of: {names}. It counts for nothing so far.",
            " Noch nichts bekannt ist über: {names}. Das zählt bisher nicht."
        )
    }

    fn unbeaten(&self) -> String {
        let told = self.told();
        if told.len() < 2 {
            return String::new();
        }
        let unbeaten = told
            .into_iter()
            .filter(|&candidate| self.made.best.chances[candidate].is_unbeaten());
        let names: Vec<String> = unbeaten
            .map(|candidate| self.label(self.wearer().candidates[candidate]))
            .collect();
        if names.is_empty() {
            return String::new();
        }
        let names = names.join("; ");
        say!(
            self.words(),
            "Of the sites with {LEAST_SENSORS} sensors or more, beaten by no other on everything that matters to you: {names}.\n\n",
            "Von den Stellen mit mindestens {LEAST_SENSORS} Sensoren in allem, was Ihnen wichtig ist, von keiner anderen übertroffen: {names}.\n\n"
        )
    }

    fn moves(&self) -> String {
        let (wearer, words) = (self.wearer(), self.words());
        let told = self.told();
        let likely = |&leader: &usize| {
            let chance = self.made.best.chances.get(leader);
            let likely = chance.is_some_and(|chance| chance.probability >= STANDS_OUT);
            likely && told.len() > 1 && told.contains(&leader)
        };
        let leader = self.made.best.leader(&wearer.aspects);
        let Some(leader) = leader.filter(likely) else {
            return String::new();
        };
        let site = |candidate: usize| {
            let site = wearer.candidates.get(candidate);
            site.map_or(String::new(), |&site| self.label(site))
        };
        let to_told = self.made.best.moves.iter();
        let to_told = to_told.filter(|m| told.contains(&m.leader));
        let moves = to_told.filter_map(|m| {
            let aspect = wearer.aspects.get(m.aspect)?;
            let name = words.priority(aspect.name);
            let (from, to) = (words.number(aspect.priority, 1), words.number(m.to, 1));
            let other = site(m.leader);
            Some(say!(
                words,
                "- {name} from {from} to {to}: {other}\n",
                "- {name} von {from} auf {to}: {other}\n"
            ))
        });
        let moves: String = moves.collect();
        let leader = site(leader);
        if moves.is_empty() && !self.made.best.moves.is_empty() {
            return say!(
                words,
                "{leader} leads so far.\n\n",
                "{leader} liegt bisher vorn.\n\n"
            );
        }
        if moves.is_empty() {
            return say!(
                words,
                "{leader} leads so far, whatever one priority you change.\n\n",
                "{leader} liegt bisher vorn, gleich welches einzelne Gewicht Sie ändern.\n\n"
            );
        }
        say!(
            words,
            "{leader} leads so far. Another would lead if one weight were moved so far:\n\n{moves}\n",
            "{leader} liegt bisher vorn. Eine andere läge vorn, wenn ein Gewicht so weit verschoben würde:\n\n{moves}\n"
        )
    }
}
