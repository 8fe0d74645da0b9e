//! The two texts at the top of a study folder.

use crate::scenario::{MODELS, RATED_DAYS, SITES, WARMUP_MINUTES, ZONE};
use crate::{Options, Summary};

/// The settings of the study.
pub(crate) fn study_toml(wearer: &str) -> String {
    let mut text = format!(
        "# An invented study: see README.md.\n\n[study]\ntitle = \"Brumal Rock, an invented study\"\nwearer = \"{wearer}\"\n\
         timezone = \"{ZONE}\"\nunit = \"mg/dL\"\n\n[wear]\nrated_days = {RATED_DAYS}\nwarmup_hours = {}\n",
        WARMUP_MINUTES / 60
    );
    for model in MODELS
        .iter()
        .filter(|model| model.rated_days as f64 != RATED_DAYS)
    {
        text += &format!(
            "\n[models.\"{}\"]\nrated_days = {}\n",
            model.name, model.rated_days
        );
    }
    text +=
        "\n[night]\nfrom = \"23:00\"\nto = \"07:00\"\ncoverage = 0.70\n\n[pairing]\nminutes = 5\n";
    for site in &SITES {
        text += &format!(
            "\n[sites.{}]\nlabel = \"{}\"\non_label = {}\n",
            site.key, site.label, site.on_label
        );
    }
    text
}

/// The page that says what the study is, where it comes from and what is true of it.
pub(crate) fn readme(options: &Options, first: &str, summary: &Summary) -> String {
    let site_rows: String = SITES
        .iter()
        .map(|site| {
            format!(
                "| {} | {:+.0} | {:.1} | {:.1} | {:.0} | {:.0} | {:.0} |\n",
                site.label,
                100.0 * (site.gain - 1.0),
                100.0 * site.gain_sd,
                100.0 * site.noise,
                site.delay,
                100.0 * site.detach.share_14,
                site.artefacts
            )
        })
        .collect();
    let faults = match summary.planted_faults {
        0 => "No faults are planted in the raw files.".to_owned(),
        count => format!(
            "{count} faults are planted in the files of `{first}`; `truth/planted_faults.csv` lists each with its file, \
             line, number of rows and what must become of it."
        ),
    };
    let plain = match options.plain {
        Some(plain) if plain < options.wearers => {
            format!(
                "Readings files from wearer {} on are compressed.\n",
                plain + 1
            )
        }
        _ => String::new(),
    };
    let values = [
        ("{wearers}", options.wearers.to_string()),
        ("{sensors_each}", options.sensors.to_string()),
        ("{minutes}", options.minutes.to_string()),
        ("{seed}", options.seed.to_string()),
        ("{sensors}", summary.sensors.to_string()),
        ("{readings}", summary.readings.to_string()),
        ("{fingersticks}", summary.fingersticks.to_string()),
        ("{events}", summary.events.to_string()),
        ("{artefacts}", summary.artefacts.to_string()),
        ("{true_lows}", summary.true_lows.to_string()),
        ("{first}", first.to_owned()),
        ("{site_rows}", site_rows),
        ("{faults}", faults),
        ("{plain}", plain),
    ];
    values.iter().fold(
        include_str!("readme.md").to_owned(),
        |text, (name, value)| text.replace(name, value),
    )
}
