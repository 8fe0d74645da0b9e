//! The analysis plan as one page with its hash, so that a protocol can cite it.

use whereworn_model::format::{number, share};
use whereworn_model::settings::{Aim, Measure, Plan, Primary, Settings};

use crate::lot::LEAST;
use crate::settle::POWER;
use crate::words::{amount, measure_words, plain};

/// The page of a study's plan, in Markdown. `hash` is the one that reports and `evidence.csv` carry; `more_sensors` says what is known
/// of the number of sensors, a line a comparison. `None` where the study has no plan.
#[must_use]
pub fn markdown(
    settings: &Settings,
    hash: &str,
    version: &str,
    more_sensors: &[String],
) -> Option<String> {
    settings.plan.as_ref()?;
    let plan = settings.study_plan();
    let page = Page {
        settings,
        plan: &plan,
    };
    Some(format!(
        "# Analysis plan: {}\n\nPlan hash `{hash}`, whereworn {version}. The hash changes with the questions, the reference site and the margins, and with nothing else; results of \
         reports with this hash say of each comparison whether it was planned before its first data, or is exploratory.\n\n\
         ## Questions\n\n{}\n## Measures and margins\n\n{}\n## Rules\n\n{}\n## Sample size\n\n{}",
        plain(&settings.study.title),
        page.questions(),
        page.measures(),
        page.rules(),
        sample_size(more_sensors),
    ))
}

struct Page<'p> {
    settings: &'p Settings,
    plan: &'p Plan,
}

impl Page<'_> {
    fn label(&self, key: &str) -> String {
        let sites = self.settings.all_sites();
        let site = sites.iter().find(|site| site.key == key);
        site.map_or_else(
            || plain(key),
            |site| {
                format!(
                    "{}{}",
                    plain(&site.label),
                    if site.on_label { "" } else { " (off-label)" }
                )
            },
        )
    }

    fn questions(&self) -> String {
        let reference = self.plan.reference.as_deref().map_or_else(
            || "the site with most sensors".to_owned(),
            |key| self.label(key),
        );
        let line = |primary: &Primary| match primary {
            Primary::Measure(measure) => format!(
                "- {}: each site against {reference}\n",
                measure_words(*measure)
            ),
            Primary::Row(row) => format!(
                "- {}: {} against {}\n",
                measure_words(row.measure),
                self.label(&row.site),
                self.label(&row.against)
            ),
        };
        self.plan.primary.iter().map(line).collect()
    }

    fn measures(&self) -> String {
        let line = |measure: Measure| {
            let margin = self
                .plan
                .margins
                .get(&measure)
                .copied()
                .unwrap_or(measure.default_margin());
            format!(
                "- {}: {}. Alike within {}\n",
                measure_words(measure),
                definition(measure),
                amount(self.settings, measure, margin)
            )
        };
        Measure::ALL.map(line).concat()
    }

    fn rules(&self) -> String {
        let sites: Vec<String> = self.plan.sites.iter().map(|key| self.label(key)).collect();
        let sites = if sites.is_empty() {
            "those on the device's label".to_owned()
        } else {
            sites.join("; ")
        };
        let aim = match self.plan.aim {
            Aim::Learn => "to settle the questions",
            Aim::WearBest => "to wear what looks best so far",
            Aim::HalfHalf => "half to settle the questions, half to wear what looks best so far",
        };
        format!(
            "- Sites: {sites}. Drawn by lot before insertion, {aim}, each open site with a chance of at least {LEAST}, in blocks within wearer and model; every draw is kept in plan-log.csv.\n\
             - A spot rests {} days after a sensor, {} after itch or worse.\n\
             - One sensor is one observation; sensors are compared within wearer, model and neighbouring quarters of a year.\n\
             - The data may be looked at at every month's end. Sites differ where the evidence (the capital of a bet against no difference) reaches 20, which without a difference happens in at most one study of twenty over all looks; they are alike where the simultaneous 95 % interval lies within the margin.\n\
             - The questions above have four fifths of the allowed error, all other comparisons together one fifth.\n",
            number(self.plan.rest_days, 0),
            number(self.plan.rest_days_after_skin, 0)
        )
    }
}

fn definition(measure: Measure) -> &'static str {
    match measure {
        Measure::StaysOn => {
            "share of sensors that came off by the rated day, other endings competing"
        }
        Measure::ReadsTrue => "mean absolute relative difference from fingersticks",
        Measure::ReadsHighOrLow => "mean difference from fingersticks, reading less fingerstick",
        Measure::QuietAtNight => {
            "night artefacts that no fingerstick refuted, per 100 sensor-nights"
        }
        Measure::Delay => "delay behind fingersticks of a first-order lag",
    }
}

fn sample_size(more_sensors: &[String]) -> String {
    let rule = format!(
        "Sensors are worn until each question is settled; the number is given so that {} of such studies are settled by then, by simulation from the study's own spread.\n",
        share(POWER, 0)
    );
    if more_sensors.is_empty() {
        return rule + "\nNo data yet tell how many that is.\n";
    }
    let lines: String = more_sensors
        .iter()
        .map(|line| format!("- {line}\n"))
        .collect();
    format!("{rule}\n{lines}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_holds_questions_margins_rules_and_the_hash() {
        let settings = Settings::parse(
            "[study]\ntitle = \"Two <sites>\"\nunit = \"mmol/L\"\n[plan]\nsites = [\"abdomen\", \"chest\"]\nreference = \"abdomen\"\n\
             primary = [\"stays-on\", { measure = \"delay\", site = \"chest\", against = \"calf\" }]\nmargins = { stays-on = 0.15 }\n",
        )
        .unwrap();
        let page = markdown(&settings, "0123456789abcdef", "0.1.0", &[]).unwrap();
        for words in [
            "# Analysis plan: Two \\<sites\\>",
            "`0123456789abcdef`",
            "- Stays on: each site against Abdomen (off-label)",
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
        assert_eq!(markdown(&none, "", "0.1.0", &[]), None);
    }
}
