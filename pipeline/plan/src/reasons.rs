//! Why a sensor goes where it goes, which fingersticks are asked for, and what the plan keeps to, in words.

use whereworn_model::settings::Aim;

use crate::document::{FingerstickRow, Made};
use crate::fingersticks::{Age, Asked, Range, Rate};
use crate::gather::{Wearer, date_of};
use crate::limits::Limit;
use crate::schedule::{DRAWN_AHEAD, Pending, Planned, Schedule};
use crate::words::{Words, say};

impl Made {
    /// Why a sensor goes there, and what is to be known of the site.
    pub(crate) fn reason(&self, planned: &Planned) -> String {
        let why = self.why(planned);
        match self.wearer.label_remark(planned.spot.site) {
            "" => why,
            remark => format!("{why}; {remark}"),
        }
    }

    /// Why a sensor goes there.
    pub(crate) fn why(&self, planned: &Planned) -> String {
        let words = &self.wearer.words;
        let (chance, open) = (
            words.share(planned.draw.probability),
            planned.draw.allowed.len(),
        );
        let lot = match (planned.drawn, open) {
            (true, 1) => say!(
                words,
                "the only site open then",
                "die einzige Stelle, die dann offen ist"
            ),
            (true, _) => say!(
                words,
                "drawn by lot, with a chance of {chance} among {open} open sites",
                "ausgelost, mit einer Chance von {chance} unter {open} offenen Stellen"
            ),
            (false, _) if planned.waits => say!(
                words,
                "foreseen only: it is drawn when the sensor drawn for this spot before is in",
                "nur vorgesehen: ausgelost wird erst, wenn der Sensor sitzt, der für diesen Platz davor ausgelost ist"
            ),
            (false, _) => say!(
                words,
                "foreseen only: it is drawn when it falls due within {DRAWN_AHEAD} days",
                "nur vorgesehen: ausgelost wird erst, wenn der Sensor binnen {DRAWN_AHEAD} Tagen an der Reihe ist"
            ),
        };
        let tells = match open {
            1 => String::new(),
            _ => self.tells(planned.spot.site),
        };
        lot + &tells
    }

    /// On how many open questions a sensor there tells.
    fn tells(&self, site: usize) -> String {
        let words = &self.wearer.words;
        if self.wearer.plan.aim == Aim::WearBest {
            return String::new();
        }
        let tells = self.comparisons.iter().filter(|comparison| {
            !comparison.settled() && [comparison.site, comparison.against].contains(&site)
        });
        match tells.count() {
            0 if self.tilt.open.is_empty() => String::new(),
            0 if self.wearer.plan.aim == Aim::HalfHalf => say!(
                words,
                "; it takes part in no open question",
                "; diese Stelle gehört zu keiner offenen Frage"
            ),
            0 => say!(
                words,
                "; it takes part in no open question, and keeps its tenth of the draws",
                "; diese Stelle gehört zu keiner offenen Frage und behält ihr Zehntel der Lose"
            ),
            1 => say!(
                words,
                "; a sensor there helps to settle one open question",
                "; diese Stelle trägt zu einer offenen Frage bei"
            ),
            many => say!(
                words,
                "; a sensor there helps to settle {many} open questions",
                "; diese Stelle trägt zu {many} offenen Fragen bei"
            ),
        }
    }

    pub(crate) fn fingerstick(&self, asked: &Asked) -> FingerstickRow {
        let words = &self.wearer.words;
        let (age, known) = (age_words(words, asked.cell.age), self.known(asked));
        FingerstickRow {
            site: self.wearer.key(asked.cell.site).to_owned(),
            range: range_words(words, asked.cell.range),
            rate: match asked.cell.rate {
                Rate::Steady => words.choose("steady", "gleichbleibend"),
                Rate::Moving => words.choose("moving", "in Bewegung"),
                Rate::Fast => words.choose("fast", "schnell"),
            }
            .to_owned(),
            count: asked.count,
            hours: asked.hours,
            reason: format!("{age}: {known}"),
        }
    }

    /// What is known there so far, and how often the wearer's day brings it.
    pub(crate) fn known(&self, asked: &Asked) -> String {
        let words = &self.wearer.words;
        let (pairs, share) = (asked.pairs, words.share(asked.share));
        say!(
            words,
            "{pairs} so far; your glucose is there anyway in {share} of these hours",
            "Wertepaare bisher {pairs}; in {share} dieser Stunden liegt Ihre Glukose ohnehin so"
        )
    }

    /// What the plan kept to, and what stood in its way.
    pub(crate) fn limit_texts(&self) -> Vec<String> {
        let wearer = &self.wearer;
        let words = &wearer.words;
        let mut texts = keeps_to(wearer);
        if wearer.history.worn.is_empty() {
            texts.push(
                words
                    .choose(
                        "Nothing is in the log yet: log each sensor as it goes in, or the next plan does not know of it.",
                        "Noch steht nichts im Tagebuch: notieren Sie jeden Sensor beim Setzen, sonst weiß der nächste Plan nichts davon.",
                    )
                    .to_owned(),
            );
        } else if let Some(last) = date_of(wearer.rules.known_until) {
            let last = words.date(last);
            texts.push(say!(
                words,
                "The last row of the log is of {last}: what was worn since is not known to the plan.",
                "Die letzte Zeile des Tagebuchs ist vom {last}: was seither getragen wurde, kennt der Plan nicht."
            ));
        }
        texts.extend(self.run_out.iter().map(|draw| run_out(wearer, draw)));
        for dropped in &self.schedule.dropped {
            let (number, spot) = (dropped.pending.number, wearer.spot(dropped.pending.spot));
            let late = words.choose(
                "it runs out before the next sensor is due",
                "es verfällt, bevor der nächste Sensor an der Reihe ist",
            );
            let why = dropped
                .limit
                .map_or(late, |limit| limit_words(words, limit));
            texts.push(say!(
                words,
                "Draw {number} ({spot}) is given up: {why}.",
                "Los {number} ({spot}) entfällt: {why}."
            ));
        }
        let closed = self.schedule.closed.iter();
        texts.extend(closed.map(|(spot, limit)| {
            format!("{}: {}.", wearer.spot(*spot), limit_words(words, *limit))
        }));
        texts
    }
}

/// That a draw was not worn in its time.
fn run_out(wearer: &Wearer, draw: &Pending) -> String {
    let words = &wearer.words;
    let (number, spot) = (draw.number, wearer.spot(draw.spot));
    let latest = date_of(draw.latest).map_or(String::new(), |date| words.date(date));
    say!(
        words,
        "Draw {number} ({spot}) is given up: it held until {latest}, and by the log no sensor went in at that site and side in that time.",
        "Los {number} ({spot}) entfällt: es galt bis {latest}, und laut Tagebuch wurde an dieser Stelle und Seite in dieser Zeit kein Sensor gesetzt."
    )
}

/// The rules, in words.
fn keeps_to(wearer: &Wearer) -> Vec<String> {
    let (words, rules) = (&wearer.words, &wearer.rules);
    let names: Vec<String> = rules
        .allowed
        .iter()
        .map(|&site| wearer.label(site))
        .collect();
    let names = names.join("; ");
    let (rest, skin, rated) = (
        rules.rest_days,
        rules.rest_days_after_skin,
        rules.rated_days,
    );
    vec![
        if wearer.agreed {
            say!(
                words,
                "Sites: only those that the plan in study.toml names, to be agreed with the clinician: {names}.",
                "Stellen: nur die, die der Plan in study.toml nennt, mit dem Behandlungsteam abzusprechen: {names}."
            )
        } else {
            say!(
                words,
                "Sites: no plan in study.toml names any, so only sites on the device's label: {names}.",
                "Stellen: kein Plan in study.toml nennt welche, daher nur die vom Hersteller vorgesehenen: {names}."
            )
        },
        say!(
            words,
            "A spot (site and side) rests {rest} full days after a sensor, {skin} after itch or worse (grade 2 and above), and stays closed until a look at the skin finds it healed.",
            "Ein Platz (Stelle und Seite) ruht {rest} volle Tage nach einem Sensor, {skin} nach Juckreiz oder Schlimmerem (ab Grad 2), und bleibt gesperrt, bis die Haut dort als verheilt notiert ist."
        ),
        say!(
            words,
            "One sensor at a time, each for its rated {rated} days; where you inject, one side stays free.",
            "Immer nur ein Sensor, jeder für seine vorgesehenen {rated} Tage; wo Sie spritzen, bleibt eine Seite frei."
        ),
    ]
}

/// That no sensor can be planned, and what stands in the way at each spot.
pub(crate) fn closed(wearer: &Wearer, schedule: &Schedule) -> String {
    let words = &wearer.words;
    let spots = schedule.closed.iter();
    let limits = spots
        .map(|(spot, limit)| format!("{}: {}", wearer.spot(*spot), limit_words(words, *limit)));
    let (name, limits) = (&wearer.name, limits.collect::<Vec<String>>().join("; "));
    say!(
        words,
        "no sensor can be planned for {name}: {limits}",
        "für {name} lässt sich kein Sensor planen: {limits}"
    )
}

/// How long a sensor has been worn when a fingerstick is asked for.
pub(crate) fn age_words(words: &Words, age: Age) -> &'static str {
    match age {
        Age::FirstDay => words.choose("in a sensor's first day", "am ersten Tag eines Sensors"),
        Age::Later => words.choose(
            "after a sensor's first day",
            "nach dem ersten Tag eines Sensors",
        ),
    }
}

fn range_words(words: &Words, range: Range) -> String {
    let (low, high, unit) = (words.level(70.0), words.level(180.0), words.unit());
    match range {
        Range::Low => say!(words, "below {low} {unit}", "unter {low} {unit}"),
        Range::Target => say!(words, "{low} to {high} {unit}", "{low} bis {high} {unit}"),
        Range::High => say!(words, "above {high} {unit}", "über {high} {unit}"),
    }
}

/// What keeps a spot closed, and what opens it.
fn limit_words(words: &Words, limit: Limit) -> &'static str {
    let (english, german) = match limit {
        Limit::NotAllowed => (
            "the site is not on the list",
            "die Stelle steht nicht auf der Liste",
        ),
        Limit::Worn => ("a sensor is on", "dort sitzt ein Sensor"),
        Limit::Resting => (
            "it rests after its last sensor",
            "er ruht nach dem letzten Sensor",
        ),
        Limit::RestingAfterSkin => (
            "it rests longer after itch or worse",
            "er ruht länger, nach Juckreiz oder Schlimmerem",
        ),
        Limit::Redness => (
            "the last look at the skin found redness, less than four weeks ago",
            "beim letzten Blick war die Haut gerötet, vor weniger als vier Wochen",
        ),
        Limit::NotHealed => (
            "the last look at the skin found itch or worse; it may open once a later look with grade 0 or 1 is logged",
            "beim letzten Blick war die Haut gereizt (ab Grad 2); er kann frei werden, sobald ein späterer Blick mit Grad 0 oder 1 notiert ist",
        ),
        Limit::InjectionSide => (
            "you inject on this side and not on the other",
            "Sie spritzen auf dieser Seite und nicht auf der anderen",
        ),
        Limit::InjectionRoom => (
            "you inject at this site and a sensor is on its other side",
            "Sie spritzen an dieser Stelle, und auf der anderen Seite sitzt ein Sensor",
        ),
    };
    words.choose(english, german)
}
