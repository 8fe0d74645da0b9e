//! The synthetic study: what the report says is in the tables, and the tables find the truth that was put in.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::sync::LazyLock;

use serde_json::Value;
use whereworn_model::format;
use whereworn_model::header::Header;
use whereworn_model::settings::Settings;

use crate::fixture::{Output, Row, Study, Table, repository, whereworn};

/// After the study's last row and before the one planted in the far future.
const AS_OF: &str = "2026-10-31T00:00:00Z";

fn data_demo() -> (Study, Output) {
    let study = Study::copy_of(&repository("data-demo"));
    let output = study.report_with(&["--as-of", AS_OF]);
    (study, output)
}

fn decoded(cell: &str) -> String {
    let text = cell
        .split('>')
        .skip(1)
        .map(|part| part.split('<').next().unwrap());
    let text: String = text.collect();
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&amp;", "&")
        .replace('\u{a0}', " ")
}

/// The cells of the first table after a heading of `report.html`.
fn table_after(page: &str, id: &str) -> Vec<Vec<String>> {
    let start = page
        .find(&format!("id=\"{id}\""))
        .unwrap_or_else(|| panic!("no heading {id}"));
    let table = &page[start..];
    let table = &table[table.find("<table").unwrap()..];
    let table = &table[..table.find("</table>").unwrap()];
    let cells = |row: &str| {
        let row = row.replace("<th", "<td").replace("</th>", "</td>");
        let cells = row
            .split("</td>")
            .filter_map(|cell| Some(&cell[cell.find("<td")?..]));
        cells.map(decoded).collect()
    };
    table.split("<tr>").skip(1).map(cells).collect()
}

/// A cell of the bottom line as its CSV cells and its query's header have it.
fn shown(row: &Row<'_>, name: &str, header: &Header) -> String {
    let column = &header.columns[name];
    let percent = column.unit.as_deref() == Some("share");
    let digits = usize::from(column.digits.unwrap_or(0));
    let write = |value: f64| format::number(if percent { 100.0 * value } else { value }, digits);
    let text = row.text(name);
    let Ok(value) = text.parse::<f64>() else {
        return if text.is_empty() {
            format::NO_VALUE.to_owned()
        } else {
            text.to_owned()
        };
    };
    let bound = |end: &str| {
        let bound = format!("{name}_{end}");
        header
            .columns
            .contains_key(&bound)
            .then(|| row.maybe(&bound))
            .flatten()
    };
    match (bound("lower"), bound("upper")) {
        (Some(lower), Some(upper)) => {
            format!("{} ({} to {})", write(value), write(lower), write(upper))
        }
        _ => write(value),
    }
}

#[test]
fn the_bottom_line_is_in_the_tables() {
    let (study, output) = data_demo();
    let header = fs::read_to_string(repository("queries/tables/site_comparison.sql")).unwrap();
    let header = Header::parse(&header).unwrap();
    let settings = fs::read_to_string(study.dir().join("study.toml")).unwrap();
    let sites = Settings::parse(&settings).unwrap().all_sites();
    let comparison = output.table("site_comparison");

    let heading = |name: &str| {
        let column = header.columns.get(name)?;
        let label = column.label.clone()?;
        if column.hidden {
            return None;
        }
        Some(match column.unit.as_deref() {
            None => label,
            Some("share") => format!("{label} (%)"),
            Some(unit) => format!("{label} ({unit})"),
        })
    };
    let columns: Vec<(&String, String)> = comparison
        .header
        .iter()
        // The spread stands on the first pages, and no figure is printed twice.
        .filter(|name| *name != "sd_between")
        .filter_map(|name| Some((name, heading(name)?)))
        .collect();
    for word in [
        "usable_days",
        "came_off",
        "bias",
        "within_20_20",
        "night_rate",
        "delay_minutes",
    ] {
        assert!(
            columns.iter().any(|(name, _)| *name == word),
            "{word} is not shown"
        );
    }

    let table = table_after(&output.text("report.html"), "sites-side-by-side");
    let headings: Vec<&String> = columns.iter().map(|(_, heading)| heading).collect();
    assert_eq!(table[0].iter().collect::<Vec<_>>(), headings);
    assert_eq!(table.len(), 1 + comparison.lines.len());
    for line in &table[1..] {
        let site = sites.iter().find(|site| site.label == line[0]);
        let site = site.unwrap_or_else(|| panic!("{}", line[0]));
        let row = comparison.row(&[("site", &site.key)]);
        for ((name, _), cell) in columns.iter().zip(line).skip(1) {
            assert_eq!(*cell, shown(&row, name, &header), "{name} of {}", site.key);
        }
    }
}

/// The comparison repeats the estimates in the tables of its subjects (the bias with wearers random as well); its intervals
/// are of its own and hold the estimates.
#[test]
fn the_comparison_repeats_the_other_tables() {
    let (_, output) = data_demo();
    let comparison = output.table("site_comparison");
    assert!(comparison.lines.len() >= 5);
    for (ours, table, theirs) in [
        ("usable_days", "site_wear", "usable_days"),
        ("sessions", "site_wear", "sessions"),
        ("within_20_20", "site_accuracy", "within_20_20"),
        ("night_rate", "site_nights", "rate_per_100"),
        ("delay_minutes", "site_delay", "delay_minutes"),
    ] {
        let other = output.table(table);
        for row in comparison.rows() {
            let site = row.text("site");
            assert_eq!(
                row.text(ours),
                other.row(&[("site", site)]).text(theirs),
                "{ours} of {site}"
            );
        }
    }
    for row in comparison.rows() {
        for name in [
            "usable_days",
            "came_off",
            "bias",
            "within_20_20",
            "night_rate",
        ] {
            let [lower, upper] = ["lower", "upper"].map(|end| row.number(&format!("{name}_{end}")));
            let value = row.number(name);
            assert!(
                lower <= value && value <= upper && lower < upper,
                "{name} of {}",
                row.text("site")
            );
        }
    }
    let incidence = output.table("site_incidence");
    for row in comparison.rows() {
        let steps = incidence.rows_where(&[("site", row.text("site")), ("cause", "detached")]);
        let last = steps.last().map_or(0.0, |step| step.number("incidence"));
        assert_eq!(row.number("came_off"), last, "{}", row.text("site"));
    }
}

/// What was planted in the raw files is found, at its line, and nothing else is.
#[test]
fn planted_faults_are_found() {
    let (study, output) = data_demo();
    let planted = fs::read_to_string(study.dir().join("truth/planted_faults.csv")).unwrap();
    let planted = Table::parse("planted_faults", &planted);
    let mut expected: Vec<String> = planted
        .rows()
        .filter(|row| {
            row.text("outcome").starts_with("rejected") || row.text("outcome").contains("one line")
        })
        .map(|row| format!("{}:{}", row.text("file"), row.text("line")))
        .collect();
    expected.sort();
    // What follows from a second insertion has one line beside that of the insertion.
    let (follows, of_rows): (Vec<_>, Vec<_>) = output
        .rejects()
        .into_iter()
        .partition(|(_, reason)| reason.contains("inserted a second time"));
    assert_eq!(follows.len(), 1, "{follows:?}");
    let mut found: Vec<String> = of_rows
        .into_iter()
        .map(|(place, _)| place.rsplit_once(':').unwrap().0.to_owned())
        .collect();
    found.sort();
    assert!(expected.len() > 10);
    assert_eq!(found, expected);

    let rows_of = |word: &str| -> u64 {
        let faults = planted
            .rows()
            .filter(|row| row.text("outcome").contains(word));
        faults
            .map(|row| row.text("rows").parse::<u64>().unwrap())
            .sum()
    };
    let run = output.json();
    assert_eq!(
        run["rows"]["readings"]["duplicates"],
        rows_of("dropped and counted")
    );
    assert_eq!(
        run["rows"]["readings"]["without_insert"],
        rows_of("one line for the sensor")
    );
    output.assert_no_nan();
}

/// A larger study with its truth.
struct Known {
    truth: Value,
    output: Output,
}

fn known(arguments: &[&str]) -> Known {
    let place = Study::new("");
    let folder = place.beside("demo");
    let mut all: Vec<&OsStr> = vec!["demo".as_ref(), folder.as_ref()];
    all.extend(arguments.iter().map(OsStr::new));
    assert_eq!(whereworn(&all).code, 0);
    let truth = fs::read_to_string(folder.join("truth/truth.json")).unwrap();
    Known {
        truth: serde_json::from_str(&truth).unwrap(),
        output: Study::copy_of(&folder).report(),
    }
}

/// Some seventy sensors a site.
static MANY_WEARERS: LazyLock<Known> = LazyLock::new(|| {
    known(&[
        "--wearers",
        "24",
        "--sensors",
        "21",
        "--minutes",
        "15",
        "--seed",
        "3",
    ])
});

impl Known {
    fn sites(&self) -> &serde_json::Map<String, Value> {
        self.truth["sites"].as_object().unwrap()
    }
}

/// A standard error from the ends of an interval of 95 %; wide enough also where it is by t.
fn std_error(row: &Row<'_>, lower: &str, upper: &str) -> f64 {
    (row.number(upper) - row.number(lower)) / (2.0 * 1.96)
}

/// Minutes since 1970 of an instant written with or without seconds.
fn minute(text: &str) -> i64 {
    let clock = text.trim_end_matches('Z');
    let seconds = if clock.len() == "2026-01-01T00:00".len() {
        ":00"
    } else {
        ""
    };
    let instant: jiff::Timestamp = format!("{clock}{seconds}Z").parse().unwrap();
    instant.as_second().div_euclid(60)
}

/// Each sensor as the truth has it, whatever files, local times and zones it went through.
#[test]
fn sessions_are_those_of_the_truth() {
    let known = &MANY_WEARERS;
    let sessions = known.output.table("sessions");
    let sensors = known.truth["sensors"].as_array().unwrap();
    assert_eq!(sessions.lines.len(), sensors.len());
    let rows: BTreeMap<(&str, &str), Row<'_>> = known.truth["sensors"]
        .as_array()
        .unwrap()
        .iter()
        .map(|sensor| {
            (
                sensor["wearer"].as_str().unwrap(),
                sensor["sensor"].as_str().unwrap(),
            )
        })
        .map(|key| (key, sessions.row(&[("wearer", key.0), ("sensor", key.1)])))
        .collect();
    let mut ended = 0;
    for sensor in sensors {
        let text = |key: &str| sensor[key].as_str().unwrap_or("");
        let row = &rows[&(text("wearer"), text("sensor"))];
        for column in ["site", "side", "cause", "model", "lot", "tape"] {
            assert_eq!(row.text(column), text(column), "{column} of {sensor}");
        }
        assert_eq!(
            minute(row.text("inserted")),
            minute(text("inserted")),
            "{sensor}"
        );
        if !text("ended").is_empty() {
            ended += 1;
            assert_eq!(minute(row.text("ended")), minute(text("ended")), "{sensor}");
            assert!(
                (row.number("days") - sensor["days"].as_f64().unwrap()).abs() < 1e-6,
                "{sensor}"
            );
        }
    }
    assert!(ended > 400);
}

/// Four standard errors, so that one of seven sites strays by chance less than once in two thousand seeds.
#[test]
fn detachment_is_found() {
    let known = &MANY_WEARERS;
    let wear = known.output.table("site_wear");
    for (site, truth) in known.sites() {
        let row = wear.row(&[("site", site)]);
        let expected = |name: &str| truth["expected"][name].as_f64().unwrap();
        for (column, name) in [
            ("survival_7", "survival_of_adhesion_7"),
            ("survival_10", "survival_of_adhesion_10"),
            ("survival_rated", "survival_of_adhesion_14"),
        ] {
            let error = std_error(&row, &format!("{column}_lower"), &format!("{column}_upper"));
            let (actual, expected) = (row.number(column), expected(name));
            assert!(
                (actual - expected).abs() < 4.0 * error,
                "{site} {column}: {actual} {expected} {error}"
            );
        }
        let (mean, error) = (row.number("rmst_days"), row.number("rmst_se"));
        let expected = expected("restricted_mean_days_14");
        assert!(
            (mean - expected).abs() < 4.0 * error,
            "{site}: {mean} {expected} {error}"
        );
    }
}

/// Sites differ in bias as their sensors' gains do, after the first day, whose dip the gain leaves out. The forearm is
/// left out: its gain drifts.
#[test]
fn gain_differences_are_found() {
    let known = &MANY_WEARERS;
    let accuracy = known.output.table("site_first_day");
    let sites: Vec<(f64, f64, f64, &String)> = known
        .sites()
        .iter()
        .filter(|(site, _)| *site != "forearm")
        .map(|(site, truth)| {
            let row = accuracy.row(&[("site", site), ("period", "later")]);
            let error = std_error(&row, "bias_percent_lower", "bias_percent_upper");
            let gain = 100.0 * truth["drawn"]["mean_gain"].as_f64().unwrap();
            (row.number("bias_percent"), gain, error, site)
        })
        .collect();
    for (number, first) in sites.iter().enumerate() {
        for second in &sites[..number] {
            let found = first.0 - second.0;
            let truth = first.1 - second.1;
            let error = first.2.hypot(second.2);
            assert!(
                (found - truth).abs() < 4.0 * error,
                "{} and {}: {found} {truth} {error}",
                first.3,
                second.3
            );
        }
    }
    let bias = |site: &str| sites.iter().find(|entry| entry.3 == site).unwrap().0;
    assert!(
        bias("upper-thigh") > 4.0 + bias("upper-arm-back"),
        "a difference of six percent is seen"
    );
}

#[test]
fn delay_is_found() {
    let known = &MANY_WEARERS;
    let delay = known.output.table("site_delay");
    for (site, truth) in known.sites() {
        let row = delay.row(&[("site", site)]);
        let (actual, expected) = (
            row.number("delay_minutes"),
            truth["delay_minutes"].as_f64().unwrap(),
        );
        let error = std_error(&row, "lower", "upper");
        assert!(error < 1.0, "{site}: an interval that says something");
        assert!(
            (actual - expected).abs() < 4.0 * error,
            "{site}: {actual} {expected} {error}"
        );
    }
}

/// Of the artefacts found, at least four in five were put in; of those put in that are 30 mg/dL deep or more, at least
/// four in five are found: the project's own marks, no source.
#[test]
fn night_artefacts_are_found() {
    let (study, output) = data_demo();
    let truth = fs::read_to_string(study.dir().join("truth/artefacts.csv")).unwrap();
    let truth = Table::parse("artefacts", &truth);
    let found = output.table("night_artefacts");
    let overlap = |a: &Row<'_>, b: &Row<'_>| {
        let same = |column: &str| a.text(column) == b.text(column);
        let start = minute(a.text("start")).max(minute(b.text("start")));
        let end = minute(a.text("end")).min(minute(b.text("end")));
        same("wearer") && same("sensor") && start <= end + 10
    };
    let true_ones = found
        .rows()
        .filter(|row| truth.rows().any(|other| overlap(row, &other)))
        .count();
    let share = true_ones as f64 / found.lines.len() as f64;
    assert!(
        found.lines.len() > 50 && share >= 0.8,
        "{share} of {}",
        found.lines.len()
    );
    let deep: Vec<Row<'_>> = truth
        .rows()
        .filter(|row| row.number("size_mgdl") >= 30.0)
        .collect();
    let seen = deep
        .iter()
        .filter(|row| found.rows().any(|other| overlap(row, &other)))
        .count();
    assert!(
        deep.len() > 30 && seen as f64 >= 0.8 * deep.len() as f64,
        "{seen} of {}",
        deep.len()
    );
}

#[test]
fn the_same_seed_writes_the_same_study() {
    let place = Study::new("");
    let write = |name: &str, seed: &str| {
        let folder = place.beside(name);
        let arguments = [
            "--wearers",
            "2",
            "--sensors",
            "4",
            "--minutes",
            "15",
            "--seed",
            seed,
        ];
        let mut all: Vec<&OsStr> = vec!["demo".as_ref(), folder.as_ref()];
        all.extend(arguments.iter().map(OsStr::new));
        let run = whereworn(&all);
        assert_eq!(
            (run.code, run.out.trim_end()),
            (0, &*folder.display().to_string())
        );
        Output::read(&folder)
    };
    let first = write("one", "5");
    assert!(write("two", "5") == first);
    assert!(write("three", "6") != first);
    assert!(first.text("README.md").contains("invented"));
}
