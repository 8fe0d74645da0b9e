//! Reports beside reports: copies that were handed out before, one wearer's of several, one that anybody may see.

use whereworn_model::settings::Language;
use whereworn_model::table::Cell;
use whereworn_model::time::Month;

use crate::fixture::{self, Study};
use crate::{Change, EarlierCopy, Edition, Input, Report, marked_as_earlier, render};

fn report(study: &Study, edition: Edition, earlier: Vec<EarlierCopy>) -> Report {
    let input = Input {
        edition,
        wearer: study.wearer,
        settings: study.settings.clone(),
        month: Month::parse("2026-03").unwrap(),
        cutoff: fixture::cutoff(),
        tables: study.tables.clone(),
        earlier,
        version: "0.1.0",
    };
    render(input).unwrap()
}

#[test]
fn every_change_since_a_copy_is_said() {
    let text = str::to_owned;
    let rows = |site: &str| Change::Rows {
        table: text("pairs"),
        site: text(site),
        added: 1,
        changed: 2,
        gone: 3,
    };
    let input = |then, now| Change::Input {
        file: text("readings/a.csv"),
        then,
        now,
    };
    let changes = vec![
        Change::NoLonger {
            sentence: text("That was so."),
        },
        Change::Said {
            sentence: text("This is so."),
        },
        rows("calf"),
        rows(""),
        input(None, Some(7)),
        input(Some(8), None),
        input(Some(8), Some(9)),
        Change::Settings {
            names: text("wear, night"),
        },
        Change::Version {
            then: text("0.1.0"),
            now: text("0.2.0"),
        },
    ];
    let copy = |file: &str, changes| EarlierCopy {
        file: text(file),
        changes,
    };
    let earlier = vec![
        copy("report-1.html", vec![rows("")]),
        copy("report-2.html", changes),
    ];
    let study = fixture::two_sites();
    let markdown = report(&study, Edition::Clinician, earlier).markdown;
    let from = markdown.find("Since the copy handed out before").unwrap();
    let part = markdown[from..].split("\n## ").next().unwrap();
    let lines: Vec<String> = part
        .lines()
        .skip(1)
        .filter(|line| !line.is_empty())
        .map(|line| line.replace('\u{a0}', " "))
        .collect();
    let what = "was replaced. What page one said and says, and what moved it:";
    assert_eq!(
        lines[..12],
        [
            format!("report-2.html {what}"),
            text("- **No longer said**: That was so."),
            text("- **Now said**: This is so."),
            text("- **Rows**: pairs at Calf: 1 added, 2 changed, 3 gone."),
            text("- **Rows**: pairs: 1 added, 2 changed, 3 gone."),
            text("- **File**: readings/a.csv is new: 7 rows."),
            text("- **File**: readings/a.csv is gone: 8 rows."),
            text("- **File**: readings/a.csv differs: 8 rows then, 9 now."),
            text("- **Settings**: other in study.toml: wear, night."),
            lines[9].clone(),
            format!("report-1.html {what}"),
            text("- **Rows**: pairs: 1 added, 2 changed, 3 gone."),
        ]
    );
    assert!(
        lines[9].contains("0.1.0") && lines[9].contains("0.2.0"),
        "{}",
        lines[9]
    );
    assert!(markdown.contains("This is the later of several copies of this report"));
    let links: Vec<_> = markdown.match_indices("](report-").collect();
    assert_eq!(links.len(), 2);
    let alone = report(&study, Edition::Clinician, Vec::new()).markdown;
    assert!(!alone.contains("copies of this report") && !alone.contains("Since the copy"));
}

#[test]
fn an_earlier_copy_says_so_on_top() {
    let page = report(&fixture::two_sites(), Edition::Wearer, Vec::new()).html;
    let marked = marked_as_earlier(&page, Language::English, Edition::Wearer).unwrap();
    let line = "<a href=\"report.html\">This is an earlier copy. The later one, from corrected rows, is report.html, which says what \
                changed.</a>";
    let (before, after) = marked
        .split_once("<div class=\"callout\" role=\"note\">\n<p><a href")
        .unwrap();
    assert!(
        before.ends_with("<main id=\"report\">\n"),
        "{}",
        &before[before.len() - 40..]
    );
    assert!(marked.contains(line) && page.starts_with(before));
    let rest = after.split_once("</div>\n").unwrap().1;
    assert!(page.ends_with(rest) && before.len() + rest.len() == page.len());
    let bare = marked_as_earlier("<body>\n<p>x</p>", Language::English, Edition::Wearer).unwrap();
    assert!(
        bare.starts_with("<body>\n<div class=\"callout\"") && bare.ends_with("</div>\n<p>x</p>")
    );
}

/// What a report says first is its summary: the lead-in of the first point, then its text.
#[test]
fn the_summary_is_the_first_point() {
    let report = report(&fixture::two_sites(), Edition::Clinician, Vec::new());
    let first = report
        .markdown
        .lines()
        .find(|line| line.starts_with("- **"))
        .unwrap();
    let plain: String = first.chars().filter(|c| !"*\\".contains(*c)).collect();
    let plain = plain.trim_start_matches("- ");
    assert!(!report.summary.is_empty());
    assert!(
        plain.starts_with(&report.summary[..40]),
        "{plain} / {}",
        report.summary
    );
}

/// Where no site can be compared another section's first point is no summary.
#[test]
fn without_a_comparison_there_is_no_summary() {
    let study = fixture::empty();
    for edition in Edition::ALL {
        assert_eq!(report(&study, edition, Vec::new()).summary, "");
    }
}

/// Of a table with a wearer only that wearer's rows and those of nobody stay; a table without one stays whole.
#[test]
fn a_report_of_one_wearer_has_no_row_of_another() {
    let mut study = fixture::full();
    let first = study.table("sessions");
    let wearers = first
        .columns
        .iter_mut()
        .find(|column| column.name == "wearer")
        .unwrap();
    wearers.cells[0] = Cell::Empty;
    let before: Vec<String> = wearers.cells.iter().map(Cell::to_text).collect();
    study.wearer = Some("Keeper Ines");
    let report = report(&study, Edition::Clinician, Vec::new());
    let said = "Sites are compared over all 2 wearers;";
    assert!(
        report.markdown.contains(said),
        "a row of no one is of no other wearer"
    );
    let kept = report.tables;
    let find = |name: &str| kept.iter().find(|table| table.name == name).unwrap();
    let after: Vec<String> = (0..find("sessions").rows())
        .map(|row| find("sessions").text(row, "wearer").to_owned())
        .collect();
    let wanted: Vec<String> = before
        .iter()
        .filter(|name| ["", "Keeper Ines"].contains(&name.as_str()))
        .cloned()
        .collect();
    assert_eq!(after, wanted);
    assert!(wanted.len() < before.len() && wanted.len() > 2);
    let sites = study
        .tables
        .iter()
        .find(|table| table.name == "site_comparison")
        .unwrap()
        .rows();
    assert_eq!(find("site_comparison").rows(), sites);
    let lengths: Vec<usize> = find("sessions")
        .columns
        .iter()
        .map(|column| column.cells.len())
        .collect();
    assert!(
        lengths.iter().all(|length| *length == wanted.len()),
        "{lengths:?}"
    );
}

/// A site of a study's own may say where somebody lives or who they are: anybody sees its number, in the report's language.
#[test]
fn sites_of_ones_own_are_numbered() {
    let mut study = fixture::full();
    for column in study.tables.iter_mut().flat_map(|table| &mut table.columns) {
        for cell in column
            .cells
            .iter_mut()
            .filter(|cell| cell.as_text() == Some("abdomen"))
        {
            *cell = Cell::text("over the harbour tattoo");
        }
    }
    let settings = study.settings.sites.remove("abdomen").unwrap();
    study
        .settings
        .sites
        .insert("over the harbour tattoo".to_owned(), settings);
    for (language, label) in [
        (Language::English, "Own site 1"),
        (Language::German, "Eigene Stelle 1"),
    ] {
        study.settings.study.language = language;
        let report = report(&study, Edition::Public, Vec::new());
        for text in [&report.markdown, &report.html] {
            assert!(text.contains(label) && !text.contains("harbour"), "{label}");
        }
    }
}

/// By hand from the fixture: the calf has two sensors, so nothing of it is left; wearers and sensors are numbered as they began,
/// days count from the first of any table.
#[test]
fn what_anybody_may_see_names_nobody() {
    let study = fixture::full();
    let own = study
        .tables
        .iter()
        .find(|table| table.name == "sessions")
        .unwrap()
        .clone();
    let report = report(&study, Edition::Public, Vec::new());
    let shown = report
        .tables
        .iter()
        .find(|table| table.name == "sessions")
        .unwrap();
    let mut began: Vec<(i64, String, String)> = (0..own.rows())
        .map(|row| {
            let at = own.cell(row, "inserted").as_time().unwrap();
            (
                at,
                own.text(row, "wearer").to_owned(),
                own.text(row, "sensor").to_owned(),
            )
        })
        .collect();
    began.sort();
    let mut wearers: Vec<&String> = Vec::new();
    for (_, wearer, _) in &began {
        if !wearers.contains(&wearer) {
            wearers.push(wearer);
        }
    }
    let day = |at: i64| (at - began[0].0) / 86_400_000_000 + 1;
    let mut rows: Vec<usize> = (0..own.rows())
        .filter(|&row| own.text(row, "site") != "calf")
        .collect();
    // Rows stand by the new numbers: as they came, the order of hidden names would show.
    let as_they_came = rows.clone();
    rows.sort_by_key(|&row| {
        let name = |column| own.text(row, column).to_owned();
        let (wearer, sensor) = (name("wearer"), name("sensor"));
        let sensor = began.iter().position(|b| b.1 == wearer && b.2 == sensor);
        (wearers.iter().position(|known| **known == wearer), sensor)
    });
    assert_ne!(rows, as_they_came, "the fixture tells the two apart");
    assert_eq!(shown.rows(), rows.len());
    assert!(rows.len() < own.rows());
    for (place, &row) in rows.iter().enumerate() {
        let key = (
            own.cell(row, "inserted").as_time().unwrap(),
            own.text(row, "wearer").to_owned(),
            own.text(row, "sensor").to_owned(),
        );
        let same = |b: &(i64, String, String)| (&b.1, &b.2) == (&key.1, &key.2);
        let sensor = began.iter().position(same).unwrap() + 1;
        let wearer = wearers.iter().position(|wearer| **wearer == key.1).unwrap() + 1;
        assert_eq!(shown.text(place, "site"), own.text(row, "site"));
        if shown.column("wearer").is_some() {
            assert_eq!(shown.text(place, "wearer"), format!("wearer {wearer}"));
        }
        if shown.column("sensor").is_some() {
            assert_eq!(shown.text(place, "sensor"), format!("sensor {sensor}"));
        }
        assert_eq!(
            shown.cell(place, "inserted"),
            &Cell::Integer(day(key.0)),
            "{key:?}"
        );
    }
    for table in &report.tables {
        for column in table.columns.iter().filter(|column| column.name == "site") {
            let calf = column
                .cells
                .iter()
                .any(|cell| cell.as_text() == Some("calf"));
            assert!(!calf, "{}", table.name);
        }
        let counts = (0..table.rows()).filter_map(|row| table.number(row, "sensors"));
        assert!(
            counts.into_iter().all(|count| count >= 3.0),
            "{}",
            table.name
        );
    }
    assert!(
        report.markdown.contains("fewer than three sensors: 1 site"),
        "withheld"
    );
}

/// A word of a category that the report has no word for may say anything: anybody sees the others alone.
#[test]
fn words_that_no_catalogue_has_are_left_out() {
    let mut study = fixture::full();
    let texts = |tables: &[whereworn_model::table::ResultTable], word: &str| -> usize {
        let cells = tables.iter().flat_map(|table| &table.columns);
        let texts = cells.flat_map(|column| column.cells.iter().filter_map(Cell::as_text));
        texts.filter(|text| text.contains(word)).count()
    };
    let table = study
        .tables
        .iter_mut()
        .find(|table| table.name == "sessions");
    let columns = &mut table.unwrap().columns;
    let causes = columns.iter_mut().find(|column| column.name == "cause");
    for cell in causes.unwrap().cells.iter_mut().step_by(2) {
        *cell = Cell::text("completed+at the harbour");
    }
    assert!(texts(&study.tables, "harbour") > 3);
    let report = report(&study, Edition::Public, Vec::new());
    assert_eq!(texts(&report.tables, "harbour"), 0);
    assert!(texts(&report.tables, "completed") > 0);
    assert!(!report.markdown.contains("harbour") && !report.html.contains("harbour"));
}
