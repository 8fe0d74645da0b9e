//! `start`: a new study.

use std::fs;
use std::io::{IsTerminal, stdin};
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::tz::TimeZone;
use whereworn_model::settings::Settings;
use whereworn_model::units::Unit;

use crate::failure::Failure;
use crate::map::unit;
use crate::terminal::say;

/// Arguments of `start`.
#[derive(Args)]
pub struct StartArguments {
    /// Folder to write; it must not exist, or be empty
    pub dir: PathBuf,
    /// Time zone of the study, an IANA name such as Europe/Lisbon; asked for at a terminal
    #[arg(long, value_parser = timezone)]
    pub timezone: Option<String>,
    /// Unit of your readings and of the report, mg/dL or mmol/L; asked for at a terminal
    #[arg(long, value_parser = unit)]
    pub unit: Option<Unit>,
    /// Days that a sensor is rated for
    #[arg(long, value_name = "DAYS", value_parser = days)]
    pub rated_days: Option<f64>,
    /// Who wears the sensors: any short name
    #[arg(long, value_name = "NAME")]
    pub wearer: Option<String>,
}

fn timezone(text: &str) -> Result<String, String> {
    match TimeZone::get(text) {
        Ok(_) => Ok(text.to_owned()),
        Err(_) => Err("use an IANA name such as Europe/Lisbon".to_owned()),
    }
}

fn days(text: &str) -> Result<f64, String> {
    let days = text.trim().parse::<f64>().ok();
    days.filter(|days| (0.5..=3650.0).contains(days))
        .ok_or_else(|| "write a number of days, for example 14".to_owned())
}

fn name(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("write a short name".to_owned()),
        name => Ok(name.to_owned()),
    }
}

/// Rated wear where nobody says another, days.
const RATED_DAYS: f64 = 14.0;

/// Writes a new study: settings and an empty log.
pub fn run(arguments: &StartArguments) -> Result<(), Failure> {
    let dir = &arguments.dir;
    refuse_full(dir)?;
    let asks = stdin().is_terminal();
    if !asks {
        refuse_unsaid(arguments)?;
    }
    let timezone = match &arguments.timezone {
        Some(given) => given.clone(),
        None => ask("Time zone, for example Europe/Lisbon", None, timezone)?,
    };
    let unit = match arguments.unit {
        Some(given) => given,
        None => ask("Unit of your readings, mg/dL or mmol/L", None, unit)?,
    };
    let rated_days = match arguments.rated_days {
        Some(given) => given,
        None if asks => ask("Days that a sensor is rated for", Some("14"), days)?,
        None => RATED_DAYS,
    };
    let wearer = match &arguments.wearer {
        Some(given) => name(given).map_err(Failure::Request)?,
        None if asks => ask("Who wears the sensors", Some("wearer-1"), name)?,
        None => "wearer-1".to_owned(),
    };
    let settings = settings(&timezone, unit, rated_days, &wearer);
    Settings::parse(&settings).map_err(|error| Failure::Request(format!("study.toml, {error}")))?;
    for (file, text) in [
        ("study.toml", settings.as_str()),
        ("fingersticks/log.csv", "time,glucose,meter,purpose\n"),
        (
            "wear-events/log.csv",
            "sensor,time,event,site,side,cause,model,lot,tape,grade,aspect,score,note\n",
        ),
    ] {
        let path = dir.join(file);
        let folder = path.parent().unwrap_or(dir);
        fs::create_dir_all(folder).map_err(Failure::io(folder, "creating"))?;
        fs::write(&path, text).map_err(Failure::io(&path, "writing"))?;
    }
    let readings = dir.join("readings");
    fs::create_dir_all(&readings).map_err(Failure::io(&readings, "creating"))?;
    say(&format!(
        "{dir}: a new study. study.toml has an example of every kind of row.\n\
         1. Log in wear-events/log.csv where each sensor was worn (insert) and how it ended (end).\n\
         2. Put readings into readings/, or let `whereworn map FILE --write {dir}` find out how to read an export.\n\
         3. `whereworn check {dir}` says what is wrong or missing, `whereworn report {dir}` writes the report.",
        dir = dir.display()
    ));
    Ok(())
}

/// What has no usual value has to be said where nobody can be asked: all of it is named at once.
fn refuse_unsaid(arguments: &StartArguments) -> Result<(), Failure> {
    let unsaid = [
        ("--timezone", arguments.timezone.is_none()),
        ("--unit", arguments.unit.is_none()),
    ];
    let unsaid: Vec<&str> = unsaid
        .into_iter()
        .filter_map(|(option, unsaid)| unsaid.then_some(option))
        .collect();
    if unsaid.is_empty() {
        return Ok(());
    }
    Err(Failure::Request(format!(
        "say {}, for example --timezone Europe/Lisbon --unit mg/dL (at a terminal they are asked for)",
        unsaid.join(" and ")
    )))
}

fn refuse_full(dir: &Path) -> Result<(), Failure> {
    let full = dir.exists()
        && fs::read_dir(dir)
            .map_err(Failure::io(dir, "listing"))?
            .next()
            .is_some();
    if full {
        return Err(Failure::Request(format!(
            "{}: is not empty: name a new folder",
            dir.display()
        )));
    }
    Ok(())
}

/// Times that a question is asked again.
const TRIES: usize = 5;

/// Asks at the terminal until the answer can be read.
fn ask<T>(
    question: &str,
    usual: Option<&str>,
    read: fn(&str) -> Result<T, String>,
) -> Result<T, Failure> {
    for _ in 0..TRIES {
        match usual {
            Some(usual) => say(&format!("{question} [{usual}]:")),
            None => say(&format!("{question}:")),
        }
        let mut line = String::new();
        let got = stdin().read_line(&mut line).map_err(|source| Failure::Io {
            what: "standard input".to_owned(),
            source,
        })?;
        let answer = match (line.trim(), usual) {
            ("", Some(usual)) => usual,
            (answer, _) => answer,
        };
        match read(answer) {
            Ok(value) => return Ok(value),
            Err(hint) => say(&hint),
        }
        if got == 0 {
            break;
        }
    }
    Err(Failure::Request(format!("no answer to: {question}")))
}

fn settings(timezone: &str, unit: Unit, rated_days: f64, wearer: &str) -> String {
    let (check, reading) = match unit {
        Unit::MgDl => ("118", "112"),
        Unit::MmolL => ("6.5", "6.2"),
    };
    let quoted = |text: &str| serde_json::Value::from(text).to_string();
    format!(
        "# Settings of the study. Lines that begin with # are examples: nothing reads them.

[study]
title = \"Where my sensors were worn\"
wearer = {wearer}
timezone = {timezone}
unit = \"{unit}\"

[wear]
rated_days = {rated_days}

# Is a site on your device's label? What is not said is taken for no.
# [sites.upper-arm-back]
# on_label = true

# wear-events/log.csv, one row for everything that happened:
#   sensor,time,event,site,side,cause,model,lot,tape,grade,aspect,score,note
#   s01,2026-03-01T19:30,insert,lower-back,left,,,,none,,,,
#   s01,2026-03-09T07:10,end,,,knocked-off,,,,,,,door frame
#   s01,2026-03-09T07:15,skin,,,,,,,1,,,
#   s01,2026-03-09T07:20,rating,,,,,,,,comfort,8,
#
# fingersticks/log.csv, one row a check:
#   time,glucose,meter,purpose
#   2026-03-02T08:06,{check},kitchen,routine
#
# readings/s01.csv, one row a reading:
#   sensor,time,glucose
#   s01,2026-03-02T08:05,{reading}
",
        wearer = quoted(wearer),
        timezone = quoted(timezone),
        unit = unit.code(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_stand_in_the_settings() {
        let text = settings("Atlantic/Azores", Unit::MmolL, 10.5, "o\"neill \\ kelp");
        let settings = Settings::parse(&text).unwrap();
        assert_eq!(settings.study.wearer, "o\"neill \\ kelp");
        assert_eq!(settings.study.timezone.as_deref(), Some("Atlantic/Azores"));
        assert_eq!(settings.study.unit, Some(Unit::MmolL));
        assert_eq!(settings.wear.rated_days, 10.5);
    }

    /// 118 and 112 mg/dL are 6.5 and 6.2 mmol/L, by 18.0156.
    #[test]
    fn examples_are_in_the_unit_of_the_study() {
        let text = |unit| settings("UTC", unit, 10.0, "kelp");
        for (unit, check, reading) in [
            (Unit::MgDl, ",118,", ",112\n"),
            (Unit::MmolL, ",6.5,", ",6.2\n"),
        ] {
            let text = text(unit);
            assert!(text.contains(check) && text.contains(reading), "{text}");
        }
    }

    #[test]
    fn everything_unsaid_is_named_at_once() {
        let arguments = |timezone: Option<&str>, unit| StartArguments {
            dir: PathBuf::new(),
            timezone: timezone.map(str::to_owned),
            unit,
            rated_days: None,
            wearer: None,
        };
        let said = |arguments| refuse_unsaid(&arguments).map_err(|error| error.to_string());
        let both = said(arguments(None, None)).unwrap_err();
        assert!(both.starts_with("say --timezone and --unit,"), "{both}");
        let one = said(arguments(Some("UTC"), None)).unwrap_err();
        assert!(one.starts_with("say --unit,"), "{one}");
        assert_eq!(said(arguments(Some("UTC"), Some(Unit::MgDl))), Ok(()));
    }

    #[test]
    fn an_answer_that_cannot_be_read() {
        assert!(timezone("Lisbon").is_err());
        assert!(days("two weeks").is_err() && days("0").is_err());
        assert!(name("  ").is_err());
    }
}
