//! The analysis plan as one page with its hash, so that a protocol can cite it.

use whereworn_model::settings::{Aim, Measure, Plan, Primary, Settings};
use whereworn_model::table::ResultTable;

use crate::gather::allowed;
use crate::lot::LEAST;
use crate::settle::POWER;
use crate::words::{Words, plain, say};

/// The page of a study's plan, in Markdown and the study's language. `hash` is the one that reports and `evidence.csv` carry;
/// `conclusions` is the table of that name, whose primary rows between planned sites say how many sensors each question still takes. `None` where the
/// study has no plan.
#[must_use]
pub fn markdown(
    settings: &Settings,
    hash: &str,
    version: &str,
    conclusions: Option<&ResultTable>,
) -> Option<String> {
    settings.plan.as_ref()?;
    let plan = settings.study_plan();
    let words = Words::new(settings);
    let page = Page {
        settings,
        plan: &plan,
        words: &words,
    };
    let (title, head) = (plain(&settings.study.title), page.hash(hash, version));
    let (questions, measures, rules, sample_size) = (
        page.questions(),
        page.measures(),
        page.rules(),
        page.sample_size(conclusions),
    );
    Some(say!(
        words,
        "# Analysis plan: {title}\n\n{head}\n\n## Questions\n\n{questions}\n## Measures and margins\n\n{measures}\n## Rules\n\n{rules}\n## Sample size\n\n{sample_size}",
        "# Auswertungsplan: {title}\n\n{head}\n\n## Fragen\n\n{questions}\n## Maße und Spannen\n\n{measures}\n## Regeln\n\n{rules}\n## Zahl der Sensoren\n\n{sample_size}"
    ))
}

struct Page<'p> {
    settings: &'p Settings,
    plan: &'p Plan,
    words: &'p Words,
}

impl Page<'_> {
    fn hash(&self, hash: &str, version: &str) -> String {
        say!(
            self.words,
            "Plan hash `{hash}`, whereworn {version}. The hash changes with the questions, the reference site and the margins, and with nothing else; results of reports with this hash say of each comparison whether it was planned before its first data, or is exploratory.",
            "Prüfsumme des Plans `{hash}`, whereworn {version}. Sie ändert sich mit den Fragen, der Bezugsstelle und den Spannen, und mit nichts sonst; Berichte mit dieser Prüfsumme sagen von jedem Vergleich, ob er vor seinen ersten Daten geplant war oder erkundend ist."
        )
    }

    fn label(&self, key: &str) -> String {
        let sites = self.settings.all_sites();
        let Some(site) = sites.iter().find(|site| site.key == key) else {
            return plain(key);
        };
        plain(&self.words.site(site, &sites))
    }

    fn questions(&self) -> String {
        let words = self.words;
        let reference = self.plan.reference.as_deref().map_or_else(
            || {
                words
                    .choose(
                        "the site with most sensors",
                        "die Stelle mit den meisten Sensoren",
                    )
                    .to_owned()
            },
            |key| self.label(key),
        );
        let line = |primary: &Primary| match primary {
            Primary::Measure(measure) => {
                let measure = words.measure(*measure);
                say!(
                    words,
                    "- {measure}: each site against {reference}\n",
                    "- {measure}: jede Stelle gegen {reference}\n"
                )
            }
            Primary::Row(row) => {
                let measure = words.measure(row.measure);
                self.line(measure, &row.site, &row.against) + "\n"
            }
        };
        self.plan.primary.iter().map(line).collect()
    }

    /// A measure and two sites.
    fn line(&self, measure: &str, site: &str, against: &str) -> String {
        let (site, against) = (self.label(site), self.label(against));
        say!(
            self.words,
            "- {measure}: {site} against {against}",
            "- {measure}: {site} gegen {against}"
        )
    }

    fn measures(&self) -> String {
        let words = self.words;
        let line = |measure: Measure| {
            let set = self.plan.margins.get(&measure).copied();
            let margin = set.unwrap_or(measure.default_margin());
            let (name, definition) = (words.measure(measure), definition(words, measure));
            let amount = words.amount(measure, margin);
            say!(
                words,
                "- {name}: {definition}. Alike within {amount}\n",
                "- {name}: {definition}. Gleich bis auf {amount}\n"
            )
        };
        Measure::ALL.map(line).concat()
    }

    fn rules(&self) -> String {
        let words = self.words;
        let sites: Vec<String> = self.plan.sites.iter().map(|key| self.label(key)).collect();
        let sites = match sites.is_empty() {
            true => words
                .choose(
                    "those on the device's label",
                    "die vom Hersteller vorgesehenen",
                )
                .to_owned(),
            false => sites.join("; "),
        };
        let aim = match self.plan.aim {
            Aim::Learn => words.choose("to settle the questions", "um die Fragen zu entscheiden"),
            Aim::WearBest => words.choose(
                "to wear what looks best so far",
                "um zu tragen, was bisher am besten aussieht",
            ),
            Aim::HalfHalf => words.choose(
                "half to settle the questions, half to wear what looks best so far",
                "zur Hälfte, um die Fragen zu entscheiden, zur Hälfte, um zu tragen, was bisher am besten aussieht",
            ),
        };
        let least = words.number(LEAST, 1);
        let (rest, skin) = (
            words.number(self.plan.rest_days, 0),
            words.number(self.plan.rest_days_after_skin, 0),
        );
        say!(
            words,
            "- Sites: {sites}. Drawn by lot before insertion, {aim}, each open site with a chance of at least {least}, in blocks within wearer and model; every draw is kept in plan-log.csv.\n\
             - A spot rests {rest} days after a sensor, {skin} after itch or worse.\n\
             - One sensor is one observation; sensors are compared within wearer, model and neighbouring quarters of a year.\n\
             - The data may be looked at at every month's end. Sites differ where the evidence (the capital of a bet against no difference) reaches 20, which without a difference happens in at most one study of twenty over all looks; they are alike where the simultaneous 95 % interval lies within the margin.\n\
             - The questions above have four fifths of the allowed error, all other comparisons together one fifth.\n",
            "- Stellen: {sites}. Vor dem Setzen ausgelost, {aim}, jede offene Stelle mit einer Chance von mindestens {least}, in Blöcken je Person und Modell; jedes Los steht in plan-log.csv.\n\
             - Ein Platz (Stelle und Seite) ruht {rest} Tage nach einem Sensor, {skin} nach Juckreiz oder Schlimmerem.\n\
             - Ein Sensor ist eine Beobachtung; verglichen werden Sensoren derselben Person, desselben Modells und benachbarter Vierteljahre.\n\
             - Die Daten dürfen an jedem Monatsende angesehen werden. Stellen sind verschieden, wenn die Evidenz (das Kapital einer Wette gegen „kein Unterschied“) 20 erreicht, was ohne Unterschied über alle Blicke in höchstens einer von zwanzig Studien vorkommt; sie sind gleich, wenn das gemeinsame 95-%-Intervall innerhalb der Spanne liegt.\n\
             - Auf die Fragen oben entfallen vier Fünftel des erlaubten Fehlers, auf alle anderen Vergleiche zusammen ein Fünftel.\n"
        )
    }

    fn sample_size(&self, conclusions: Option<&ResultTable>) -> String {
        let words = self.words;
        let power = words.share(POWER);
        let rule = say!(
            words,
            "Sensors are worn until each question is settled; the number is given so that {power} of such studies are settled by then, by simulation from the study's own spread.\n",
            "Sensoren werden getragen, bis jede Frage entschieden ist; die Zahl gilt so, dass {power} solcher Studien dann entschieden sind, berechnet aus der Streuung der Studie selbst.\n"
        );
        let all = conclusions.map_or(Vec::new(), primary_rows);
        let (rows, other): (Vec<Row>, Vec<Row>) =
            all.into_iter().partition(|row| self.is_planned(row));
        if rows.is_empty() {
            let none = words.choose(
                "No data yet tell how many that is.\n",
                "Noch sagen keine Daten, wie viele das sind.\n",
            );
            return format!("{rule}\n{none}");
        }
        let lines = conclusions.into_iter().flat_map(|table| {
            let told = rows.iter();
            told.map(|row| self.more_sensors(table, row))
        });
        let (lines, missing) = (lines.collect::<String>(), self.missing(&rows, &other));
        format!("{rule}\n{lines}{missing}")
    }

    fn planned(&self) -> Vec<String> {
        let sites = self.settings.all_sites();
        let planned = allowed(self.plan, &sites);
        planned.iter().map(|&at| sites[at].key.clone()).collect()
    }

    /// Whether a sensor of the plan tells on a row: both its sites are planned.
    fn is_planned(&self, row: &Row) -> bool {
        let planned = self.planned();
        planned.contains(&row.site) && planned.contains(&row.against)
    }

    /// Questions of the plan that the conclusions have no row of: a site of theirs has no data.
    fn missing(&self, rows: &[Row], other: &[Row]) -> String {
        let planned = self.planned();
        let reference = self.plan.reference.clone();
        let reference = reference.or_else(|| reference_of(rows, other));
        let asked = self.asked(&planned, reference.as_deref());
        let missing = asked.into_iter().filter(|(measure, site, against)| {
            let there = rows.iter().any(|row| row.is_of(*measure, site, against));
            site != against && planned.contains(site) && planned.contains(against) && !there
        });
        let none = self.words.choose("no data yet", "noch keine Daten");
        let line = |(measure, site, against): (Measure, String, String)| {
            let line = self.line(self.words.measure(measure), &site, &against);
            format!("{line}: {none}\n")
        };
        missing.map(line).collect()
    }

    /// Measure and sites of each question, a site against itself included.
    fn asked(&self, planned: &[String], reference: Option<&str>) -> Vec<(Measure, String, String)> {
        let of = |primary: &Primary| match (primary, reference) {
            (Primary::Row(row), _) => vec![(row.measure, row.site.clone(), row.against.clone())],
            (Primary::Measure(_), None) => Vec::new(),
            (Primary::Measure(measure), Some(reference)) => {
                let pair = |site: &String| (*measure, site.clone(), reference.to_owned());
                planned.iter().map(pair).collect()
            }
        };
        self.plan.primary.iter().flat_map(of).collect()
    }

    /// What a primary row says of the sensors that it still takes.
    fn more_sensors(&self, table: &ResultTable, row: &Row) -> String {
        let words = self.words;
        let line = self.line(words.measure(row.measure), &row.site, &row.against);
        let row = row.at;
        let settled = ["differs", "alike"].contains(&table.text(row, "verdict"));
        let more = match table.number(row, "more_sensors") {
            _ if settled => words.choose("settled", "entschieden").to_owned(),
            Some(more) => words.more_sensors(more),
            None => words
                .choose("cannot be told yet", "lässt sich noch nicht sagen")
                .to_owned(),
        };
        format!("{line}: {more}\n")
    }
}

/// A primary row of the conclusions.
struct Row {
    at: usize,
    measure: Measure,
    site: String,
    against: String,
}

impl Row {
    fn is_of(&self, measure: Measure, site: &str, against: &str) -> bool {
        let sites = [&*self.site, &*self.against];
        self.measure == measure && (sites == [site, against] || sites == [against, site])
    }
}

/// The primary rows of the conclusions.
fn primary_rows(table: &ResultTable) -> Vec<Row> {
    let row = |at: usize| {
        let of = |measure: &Measure| measure.name() == table.text(at, "measure");
        (table.number(at, "primary") == Some(1.0)).then_some(Row {
            at,
            measure: Measure::ALL.into_iter().find(of)?,
            site: table.text(at, "site").to_owned(),
            against: table.text(at, "against").to_owned(),
        })
    };
    (0..table.rows()).filter_map(row).collect()
}

/// The site that most of all rows have: the one that the others are compared with, where the plan names none.
fn reference_of(rows: &[Row], other: &[Row]) -> Option<String> {
    let all = rows.iter().chain(other);
    let sites: Vec<&String> = all.flat_map(|row| [&row.site, &row.against]).collect();
    let times = |site: &&&String| sites.iter().filter(|other| other == site).count();
    sites.iter().max_by_key(times).map(|site| (*site).clone())
}

fn definition(words: &Words, measure: Measure) -> &'static str {
    let (english, german) = match measure {
        Measure::StaysOn => (
            "share of sensors that came off by the rated day, other endings competing",
            "Anteil der Sensoren, die bis zum vorgesehenen Tag abgingen, andere Enden konkurrierend",
        ),
        Measure::ReadsTrue => (
            "mean absolute relative difference from fingersticks",
            "mittlere absolute relative Abweichung von Messungen am Finger",
        ),
        Measure::ReadsHighOrLow => (
            "mean difference from fingersticks, reading less fingerstick",
            "mittlere Abweichung von Messungen am Finger, Messwert minus Messung am Finger",
        ),
        Measure::QuietAtNight => (
            "night artefacts that no fingerstick refuted, per 100 sensor-nights",
            "nächtliche Artefakte, die keine Messung am Finger widerlegt hat, je 100 Sensornächte",
        ),
        Measure::Delay => (
            "delay behind fingersticks of a first-order lag",
            "Verzögerung hinter Messungen am Finger, als Verzögerung erster Ordnung",
        ),
    };
    words.choose(english, german)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_holds_questions_margins_rules_and_the_hash() {
        let settings = Settings::parse(
            "[study]\ntitle = \"Two <sites>\"\nunit = \"mmol/L\"\n[sites.abdomen]\non_label = true\n[plan]\nsites = [\"abdomen\", \"chest\"]\nreference = \"abdomen\"\n\
             primary = [\"stays-on\", { measure = \"delay\", site = \"chest\", against = \"calf\" }]\nmargins = { stays-on = 0.15 }\n",
        )
        .unwrap();
        let page = markdown(&settings, "0123456789abcdef", "0.1.0", None).unwrap();
        for words in [
            "# Analysis plan: Two \\<sites\\>",
            "`0123456789abcdef`",
            "- Stays on: each site against Abdomen",
            "- Delay: Chest (off-label) against Calf (off-label)",
            "Alike within 15 % of the sensors",
            // 5 mg/dL / 18.0156
            "Alike within 0.28 mmol/L",
            "at least 0.1",
            "rests 14 days after a sensor, 28 after itch",
            "No data yet tell how many that is.",
        ] {
            assert!(page.contains(words), "{words}: {page}");
        }
        let none = Settings::parse("[study]\nunit = \"mg/dL\"\n").unwrap();
        assert_eq!(markdown(&none, "", "0.1.0", None), None);
    }
}
