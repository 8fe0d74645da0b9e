//! What a wearer is told, and of whom.

use whereworn_model::settings::Language;
use whereworn_model::table::{Cell, ResultTable};

use super::words::line;
use crate::Edition;
use crate::catalogue::Catalogue;
use crate::fixture::{self, Study};

/// In the report of one of several wearers what the next sensor may do rests on that person's sensors, and says how many.
#[test]
fn a_forecast_for_one_person_counts_their_sensors() {
    let mut study = fixture::full();
    study.wearer = Some("kelp");
    for column in &mut study.table("next_sensor").columns {
        match column.name.as_str() {
            "wearer" => column.cells.fill(Cell::text("kelp")),
            "sensors" => {
                column.name = "sessions".to_owned();
                column.cells.fill(Cell::Number(4.0));
            }
            _ => {}
        }
    }
    let markdown = study.edition(Edition::Wearer).markdown;
    let item = line(&markdown, "- **Abdomen**");
    assert!(
        item.starts_with("- **Abdomen**: You wore 4 sensors here. Your next one"),
        "{item}"
    );
}

/// Where the wearer of a report has worn no sensor, the sensors of others are called theirs.
#[test]
fn a_forecast_from_others_says_so() {
    let mut study = fixture::full();
    study.wearer = Some("kelp");
    let markdown = study.edition(Edition::Wearer).markdown;
    let item = line(&markdown, "- **Upper thigh**");
    assert!(
        item.starts_with("- **Upper thigh**: You have not worn one here yet. Others wore"),
        "{item}"
    );
    assert!(
        item.contains("Their next one will") && !item.contains("Your next one"),
        "{item}"
    );
    let table = study.edition(Edition::Clinician).markdown;
    assert!(table.contains("where they wore any, else from everyone's."));
    study.settings.study.language = Language::German;
    let markdown = study.edition(Edition::Wearer).markdown;
    let item = line(&markdown, "- **Oberschenkel");
    assert!(
        item.contains("Sie haben hier noch keinen getragen. Andere trugen")
            && item.contains("Der nächste der anderen zeigt"),
        "{item}"
    );
}

/// Sensors of one's own that are too few for a forecast are not made up for by those of others.
#[test]
fn a_site_of_ones_own_is_not_foretold_from_others() {
    let mut study = fixture::full();
    study.wearer = Some("Keeper Ines");
    let markdown = study.edition(Edition::Wearer).markdown;
    let item = line(&markdown, "- **Upper thigh**");
    assert!(
        item.contains("You wore ") && !item.contains("next one"),
        "{item}"
    );
}

/// Tables of sites count everyone, and say so in a report to one of several; what goes by sensors is the wearer's own.
#[test]
fn a_report_to_one_of_several_says_who_is_counted() {
    let study = |wearer| Study {
        wearer,
        ..fixture::full()
    };
    let all = study(None).edition(Edition::Wearer).markdown;
    assert!(!all.contains("is counted,"), "{all}");
    let own = study(Some("Keeper Odd")).edition(Edition::Wearer).markdown;
    let section = |title: &str| {
        let (_, rest) = own.split_once(title).unwrap();
        rest.split("\n##").next().unwrap().to_owned()
    };
    let told = "Everyone here is counted, ";
    assert!(section("## Everyone's nights\n").contains(told));
    assert!(section("## Everyone's skin\n").contains(told));
    let next = section("## What your next sensor may do\n");
    let (points, picture) = next.split_once("![").unwrap();
    assert!(!points.contains(told) && picture.contains(told), "{next}");
    assert!(section("## In short\n").contains("whoever wore them"));
    let sensors = |markdown: &str| {
        let line = line(markdown, "- **Knocks**");
        let (_, rest) = line.split_once(" of ").unwrap();
        rest.split(' ').next().unwrap().parse::<usize>().unwrap()
    };
    assert!(sensors(&own) < sensors(&all));
}

/// By hand: of five sensors one has twenty fingersticks, one has four and three have none, so that they have no row beside
/// fingersticks.
#[test]
fn sensors_that_no_fingerstick_met_are_counted() {
    let mut study = fixture::full();
    let sessions: Vec<String> = (1..=5)
        .map(|n| format!("w;s{n};abdomen;left;2026-03-0{n}T09:00:00Z;completed;ring"))
        .collect();
    let columns = "wearer;sensor;site;side;inserted;cause;tape";
    *study.table("sessions") = fixture::table("sessions", "SELECT 1", columns, &sessions);
    let pairs = ["w;s1;abdomen;20", "w;s2;abdomen;4"].map(str::to_owned);
    let columns = "wearer;sensor;site;pairs";
    *study.table("sensor_accuracy") =
        fixture::table("sensor_accuracy", "SELECT 1", columns, &pairs);
    let tip = |study: &Study, start| line(&study.edition(Edition::Wearer).markdown, start);
    let said = tip(&study, "- **Fingersticks**");
    let wanted =
        "- **Fingersticks**: On 4 of 5 sensors, fewer than five fingersticks met a reading.";
    assert!(said.starts_with(wanted), "{said}");
    study.settings.study.language = Language::German;
    let said = tip(&study, "- **Messungen am Finger**");
    assert!(
        said.contains("Bei 4 von 5 Sensoren trafen weniger als fünf"),
        "{said}"
    );
}

/// No one is asked to note the tape that they noted: the table of tapes is there instead.
#[test]
fn a_tape_that_was_noted_is_not_asked_for() {
    let mut study = fixture::full();
    let columns = "site;tape;sensors;days;came_off;per_100_days";
    let rows = ["every site;with tape;15;99;3;3.0".to_owned()];
    let tapes = fixture::table(
        "site_tape",
        "-- title = \"Tapes\"\nSELECT 1",
        columns,
        &rows,
    );
    study.tables.push(tapes);
    let asked = "Note the tape you use each time.";
    let link = "Loose edges and tape: [Tapes](tables/site_tape.csv)";
    let noted = study.edition(Edition::Wearer).markdown;
    let said = line(&noted, "- **Loose edges**");
    assert!(
        said.ends_with("You noted the tape each time.") && !noted.contains(asked),
        "{said}"
    );
    assert!(noted.contains(link));
    let sessions = study.table("sessions");
    let loose = |table: &ResultTable, row: &usize| table.text(*row, "cause") == "fell-off";
    let row = (0..sessions.rows())
        .find(|row| loose(sessions, row))
        .unwrap();
    let tape = sessions
        .columns
        .iter_mut()
        .find(|column| column.name == "tape");
    tape.unwrap().cells[row] = Cell::Empty;
    let markdown = study.edition(Edition::Wearer).markdown;
    assert!(markdown.contains(asked) && !markdown.contains(link));
}

/// One word for one thing in the wearer's edition: a site shows more, whatever becomes of the claim, and lags less.
#[test]
fn a_wearer_reads_one_word_for_one_measure() {
    let mut study = fixture::two_sites();
    for column in &mut study.table("site_comparison").columns {
        if column.name == "on_label" {
            column.cells.fill(Cell::text("yes"));
        }
    }
    let markdown = study.edition(Edition::Wearer).markdown;
    let label = line(&markdown, "- **On the maker's list**");
    assert!(
        label.contains(" shows more than ") && !label.contains("reads higher"),
        "{label}"
    );
    for language in [Language::English, Language::German] {
        let text = Catalogue::read(language, Edition::Wearer).unwrap();
        for measure in ["reads-high-or-low", "delay"] {
            let words = &text.claims.measures[measure];
            for said in [
                &words.claim,
                &words.alike,
                &words.open,
                &words.withdrawn,
                &words.won,
            ] {
                for other in ["higher", "behind", "höhere", "hohe"] {
                    assert!(!said.contains(other), "{said}");
                }
            }
        }
    }
}

/// By hand: all sensors, not all people or all readings, were on one site.
#[test]
fn one_site_is_said_of_sensors() {
    let mut study = fixture::one_site();
    assert!(
        study
            .edition(Edition::Wearer)
            .markdown
            .contains("All sensors were on one site")
    );
    study.settings.study.language = Language::German;
    assert!(
        study
            .edition(Edition::Wearer)
            .markdown
            .contains("Alle Sensoren saßen an einer Stelle")
    );
}
