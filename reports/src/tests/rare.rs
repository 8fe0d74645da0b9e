//! What few studies have, and what is said of it: values at a limit, sites of one name, months without wear, questions that
//! were planned.

use whereworn_model::table::Cell;

use super::charts;
use super::svg::{drawn, texts};
use super::words::line;
use crate::Edition;
use crate::fixture::{self, Study};

/// A study of one table of its own.
pub(super) fn study(sql: &str, columns: &str, rows: &[&str]) -> Study {
    let rows: Vec<String> = rows.iter().map(|row| (*row).to_owned()).collect();
    let mut table = fixture::table("own", sql, columns, &rows);
    table.own_query = true;
    let mut study = fixture::empty();
    study.tables = vec![table];
    study
}

pub(super) fn set(study: &mut Study, table: &str, column: &str, row: usize, cell: Cell) {
    let columns = &mut study.table(table).columns;
    let column = columns.iter_mut().find(|found| found.name == column);
    column.unwrap().cells[row] = cell;
}

/// Fewer than five are few: five are not, and a sensor beside which there is none counts.
#[test]
fn sensors_with_few_fingersticks_are_counted() {
    let mut study = fixture::full();
    let pairs = &mut study.table("sensor_accuracy").columns;
    let pairs = pairs.iter_mut().find(|column| column.name == "pairs");
    let cells = &mut pairs.unwrap().cells;
    cells.fill(Cell::Integer(5));
    let told = |study: &Study| {
        let markdown = study.edition(Edition::Wearer).markdown;
        let found = markdown
            .lines()
            .find(|line| line.starts_with("- **Fingersticks**"));
        found.map(|line| line.replace('\u{a0}', " "))
    };
    assert_eq!(told(&study), None);
    for (row, pairs) in [0, 3, 4].into_iter().enumerate() {
        set(
            &mut study,
            "sensor_accuracy",
            "pairs",
            row,
            Cell::Integer(pairs),
        );
    }
    let said = told(&study).unwrap();
    assert!(said.contains(": On 3 of 40 sensors,"), "{said}");
}

/// All that the log has of a sensor stands on its sheet, for whoever asks.
#[test]
fn a_sheet_has_all_that_is_known_of_its_sensor() {
    let mut study = fixture::full();
    let sheet = study.table("fault_sheet").clone();
    let html = study.report().sheets.unwrap();
    let first = html.split("<h2").nth(1).unwrap();
    for column in sheet.columns.iter().filter(|column| column.name != "panel") {
        let label = column.header.label.as_deref().unwrap_or(&column.name);
        assert!(first.contains(label), "{label}: {first}");
    }
}

/// Whose night a picture shows stands on it where there are several people, and is left out where it would say nothing.
#[test]
fn a_picture_names_its_wearer_among_several() {
    let mut study = charts::study(&["calf"]);
    let named = |study: &Study| {
        let all = drawn(study, "night_traces");
        let words = texts(&all);
        words
            .iter()
            .filter(|(words, _, _)| words.contains("Keeper Ines"))
            .count()
    };
    assert_eq!(named(&study), 3, "on each picture");
    let wearers = study.table("sessions").columns.iter_mut();
    wearers
        .filter(|column| column.name == "wearer")
        .for_each(|column| column.cells.fill(Cell::text("Keeper Ines")));
    assert_eq!(named(&study), 0);
}

/// Nobody is asked about falls at night that were all checked, nor about those that were no lows.
#[test]
fn checked_nights_are_no_question() {
    let study = fixture::full();
    let asked = |study: &Study| study.report().markdown.contains("- **Unchecked nights**");
    assert!(asked(&study));
    for (name, cell) in [
        ("evidence", Cell::text("confirmed")),
        ("nadir", Cell::Number(70.0)),
    ] {
        let mut study = fixture::full();
        let columns = study.table("night_artefacts").columns.iter_mut();
        columns
            .filter(|column| column.name == name)
            .for_each(|column| column.cells.fill(cell.clone()));
        assert!(!asked(&study), "{name}");
    }
}

/// A word that is also the key of a site is one only where the column has sites.
#[test]
fn keys_of_sites_are_names_in_columns_of_sites() {
    let sql = "-- [columns]\n-- place = { class = \"site\" }\n-- site = { class = \"category\" }\nSELECT 1";
    let study = study(sql, "word;place;site", &["calf;calf;calf"]);
    let markdown = study.report().markdown;
    assert!(
        markdown.contains("\n| calf | Calf | calf |\n"),
        "{markdown}"
    );
    let plain = self::study("SELECT 1", "word;site", &["calf;calf"]);
    let markdown = plain.report().markdown;
    assert!(markdown.contains("\n| calf | Calf |\n"), "{markdown}");
}

/// Every month is told within its quarter.
#[test]
fn a_sensor_is_counted_in_the_quarter_it_was_put_on() {
    let quarters = ["Jan–Mar", "Apr–Jun", "Jul–Sep", "Oct–Dec"];
    for month in 1..=12 {
        let mut study = fixture::two_sites();
        let sessions = study.table("sessions");
        let rows = sessions.rows();
        let inserted = sessions.columns.iter_mut().find(|c| c.name == "inserted");
        let day = |month: usize| {
            let at = format!("2025-{month:02}-15T12:00:00Z");
            Cell::Time(whereworn_model::time::parse_instant(&at).unwrap())
        };
        let cells = &mut inserted.unwrap().cells;
        cells.fill(day(month));
        cells[0] = day((month + 5) % 12 + 1);
        let markdown = study.report().markdown.replace('\u{a0}', " ");
        let counts = |words: &str| -> usize {
            let words = format!("{words}: ");
            let found = markdown.split(&words).skip(1);
            let digits = |rest: &str| {
                rest.chars()
                    .take_while(char::is_ascii_digit)
                    .collect::<String>()
            };
            found
                .map(|rest| digits(rest).parse::<usize>().unwrap())
                .sum()
        };
        let own = (month - 1) / 3;
        let found = quarters.map(counts);
        let mut wanted = [0; 4];
        (wanted[own], wanted[(own + 2) % 4]) = (rows - 1, 1);
        assert_eq!(found, wanted, "month {month}");
    }
}

fn with(name: &str, columns: &str, rows: &[&str]) -> Study {
    let mut study = fixture::full();
    study.tables.retain(|table| table.name != name);
    let rows: Vec<String> = rows.iter().map(|row| (*row).to_owned()).collect();
    study.tables.push(fixture::table(name, "", columns, &rows));
    study
}

/// A month in which something ended is told also where nothing was put on, and one without either is not.
#[test]
fn a_month_without_wear_is_not_told() {
    let columns = "site;inserted;ended;came_off;pairs;nights;artefacts";
    let told = |rows: &[&str]| {
        let markdown = with("site_month", columns, rows).report().markdown;
        let found = markdown
            .lines()
            .find(|line| line.starts_with("This month: "));
        found.map(|line| line.split(';').take(2).collect::<Vec<_>>().join(";"))
    };
    let ended = told(&["calf;0;1;0;0;0;0", "abdomen;0;2;0;4;1;0"]).unwrap();
    assert_eq!(
        ended,
        "This month: no sensor put on; ended: 3, of these by coming off: 0"
    );
    let put_on = told(&["calf;0;0;0;0;0;0", "abdomen;1;0;0;4;1;0"]).unwrap();
    assert!(
        put_on.ends_with("put on (Abdomen: 1); ended: 0, of these by coming off: 0"),
        "{put_on}"
    );
    assert_eq!(told(&["calf;0;0;0;4;1;0"]), None);
}

/// What moved by more than chance stands alone; else how many figures were compared, of which those of too few sensors are none.
#[test]
fn what_moved_is_told_or_how_much_was_compared() {
    let columns = "site;measure;unit;this_month;before;difference;finding";
    let row = |finding: &str| format!("calf;stays on;%;1;2;-1;{finding}");
    let said = |findings: &[&str]| {
        let rows: Vec<String> = findings.iter().map(|finding| row(finding)).collect();
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        let markdown = with("since_last_month", columns, &rows).report().markdown;
        let (_, part) = markdown.split_once("## Since last month\n").unwrap();
        part.split("\n## ").next().unwrap().to_owned()
    };
    let nothing = "There is nothing to set beside earlier months yet.";
    assert!(said(&["too few sensors", ""]).contains(nothing));
    let none = said(&["too few sensors", "", "may be chance", "may be chance"]);
    assert!(none.contains("in 2 figures: none differs"), "{none}");
    let none = said(&["too few sensors", "may be chance"]);
    assert!(none.contains("in one figure: it does not differ"), "{none}");
    for finding in ["up, more than chance", "down, more than chance"] {
        let moved = said(&["may be chance", finding]);
        assert_eq!(moved.matches("- **Calf, ").count(), 1, "{moved}");
        assert!(
            moved.contains(finding) && !moved.contains("figures:"),
            "{moved}"
        );
    }
}

/// Tables of a study's own stand in the order that they ask for, those that ask for none last, and a failed one says why.
#[test]
fn own_tables_stand_in_their_order() {
    let mut study = fixture::empty();
    study.tables.clear();
    for (name, order) in [
        ("last", ""),
        ("second", "-- order = 7\n"),
        ("first", "-- order = 2\n"),
    ] {
        let sql = format!("{order}SELECT 1");
        let mut table = fixture::table(name, &sql, "k", &["oak".to_owned()]);
        table.own_query = true;
        table.fault = (name == "second").then(|| "no such column".to_owned());
        study.tables.push(table);
    }
    let markdown = study.report().markdown;
    let at =
        ["first", "second", "last"].map(|name| markdown.find(&format!("#### {name}\n")).unwrap());
    assert!(at[0] < at[1] && at[1] < at[2], "{at:?}");
    let fault = "This query file of the study failed: no such column";
    let said = markdown.find(fault).unwrap();
    assert!(at[1] < said && said < at[2], "{markdown}");
    assert_eq!(markdown.matches(fault).count(), 1);
    assert_eq!(markdown.matches("| oak |").count(), 3, "earlier rows stay");
}

/// Site against site: what came to something first, then what is open, then what was taken back; planned questions lead each.
#[test]
fn pairs_stand_by_what_came_of_them() {
    let columns = "measure;site;against;difference;lower;upper;sensors;sensors_against;evidence;p;verdict;withdrawn;more_sensors;planned";
    let row = |site: &str, evidence: u32, rest: &str| {
        format!("stays-on;{site};lower-back;0.3;0.1;0.5;14;11;{evidence};0.3;{rest}")
    };
    let rows = [
        row("calf", 9, "open;model;;0"),
        row("abdomen", 2, "open;;12;0"),
        row("chest", 1, "open;;;1"),
        row("forearm", 3, "alike;;;0"),
        row("upper-thigh", 30, "differs;;;0"),
        row("upper-arm-back", 4, "leans;;;1"),
    ];
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let markdown = with("conclusions", columns, &rows).report().markdown;
    let (_, table) = markdown.split_once("| In | Site | against |").unwrap();
    let lines: Vec<&str> = table
        .lines()
        .skip(2)
        .take_while(|l| l.starts_with('|'))
        .collect();
    let found: Vec<String> = lines
        .iter()
        .map(|line| {
            let cells: Vec<&str> = line.split(" | ").collect();
            format!(
                "{}: {}, {}",
                cells[2],
                cells[5],
                cells[6].trim_end_matches(" |")
            )
        })
        .collect();
    assert_eq!(
        found,
        [
            "Back of the upper arm: so far, planned, –",
            "Upper thigh: differs, –",
            "Forearm: alike, –",
            "Chest: open, planned, –",
            "Abdomen: open, 12",
            "Calf: cannot be told, –",
        ]
    );
}

/// Of findings of one kind up to three are named, more are counted; what is light, or was seen and all right, is left out.
#[test]
fn findings_are_named_up_to_three() {
    let row = |meter: &str| format!("clock-meter;doubtful;0;;{meter}");
    let said = |meters: &[&str], more: &[&str]| {
        let rows: Vec<String> = meters.iter().map(|meter| row(meter)).collect();
        let mut rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        rows.extend(more);
        let study = with("findings", "kind;severity;seen;touches;meter", &rows);
        line(&study.report().markdown, "- **The data**")
    };
    let kind = "a meter's clock or date that is off";
    let three = said(
        &["a", "b", "c"],
        &["clock-meter;thin;0;;d", "clock-meter;wrong;1;;e"],
    );
    assert!(three.contains(&format!("{kind} (a, b, c)")), "{three}");
    let four = said(&["a", "b", "c", "d"], &[]);
    assert!(four.contains(&format!("{kind} (4)")), "{four}");
    let unnamed = said(&["a", ""], &[]);
    assert!(unnamed.contains(&format!("{kind} (2)")), "{unnamed}");
    assert!(!unnamed.contains("this touches"), "{unnamed}");
    let rows = said(&["a"], &["rejected;wrong;0;;"]);
    assert!(
        rows.contains("rows rejected") && !rows.contains("rejected ("),
        "{rows}"
    );
    let site = "kind;severity;seen;touches;site";
    let study = with("findings", site, &["site-confounded;doubtful;0;;calf"]);
    let said = line(&study.report().markdown, "- **The data**");
    assert!(said.contains("(Calf)"), "{said}");
}

/// The next sensor's limits carry their signs, also above 0; what is 0 has none.
#[test]
fn limits_of_the_next_sensor_have_signs() {
    let mut study = fixture::full();
    let ends = [
        (0, "bias_lower", 0.2),
        (0, "bias_upper", 4.0),
        (1, "bias_lower", -3.0),
        (1, "bias_upper", 10.0),
    ];
    for (row, column, value) in ends {
        set(&mut study, "next_sensor", column, row, Cell::Number(value));
    }
    let markdown = study.report().markdown.replace('\u{a0}', " ");
    for range in ["| 0 to +4 % |", "| −3 to +10 % |"] {
        assert!(markdown.contains(range), "{range}: {markdown}");
    }
}

/// What differs between a site and all others is no sentence of the first screen, which sets one site beside another.
#[test]
fn a_site_against_the_others_is_not_said_first() {
    let columns = "measure;site;against;difference;lower;upper;sensors;sensors_against;evidence;p;verdict;withdrawn;planned";
    let row = "stays-on;calf;others;0.3;0.1;0.5;14;11;31;0.001;differs;;0";
    let markdown = with("conclusions", columns, &[row]).report().markdown;
    assert!(!markdown.contains("- **Differs**"), "{markdown}");
    line(&markdown, "- **Nothing settled yet**");
    let pair = row.replace("others", "abdomen");
    for verdict in ["differs", "leans"] {
        let row = pair.replace("differs", verdict);
        let markdown = with("conclusions", columns, &[&row]).report().markdown;
        assert!(!markdown.contains("Nothing settled yet"), "{verdict}");
    }
}

/// Three sensors of a site are enough for a word on it, two are not.
#[test]
fn two_sensors_are_too_few_for_a_word() {
    let few = "That is too few to judge. It takes 3.";
    for (sensors, told) in [(2, true), (3, false)] {
        let mut study = fixture::full();
        study.tables.retain(|table| table.name != "next_sensor");
        set(
            &mut study,
            "site_comparison",
            "sessions",
            2,
            Cell::Integer(sensors),
        );
        let markdown = study.edition(Edition::Wearer).markdown;
        assert_eq!(
            line(&markdown, "- **Abdomen**").contains(few),
            told,
            "{sensors}"
        );
    }
}

/// A hundred sheets are drawn, and where there are more how many.
#[test]
fn a_hundred_sheets_are_drawn() {
    for count in [100, 101] {
        let mut study = fixture::full();
        let sheet = study.table("fault_sheet");
        for column in &mut sheet.columns {
            column.cells = vec![column.cells[1].clone(); count];
        }
        let html = study.report().sheets.unwrap();
        assert_eq!(html.matches("<section class=\"sheet\"").count(), 100);
        let more = html.contains(&format!("First 100 of {count} rows"));
        assert_eq!(more, count > 100, "{count}");
    }
}

/// Two sites of one name are told apart by their keys.
#[test]
fn sites_of_one_name_are_told_apart() {
    let mut study = fixture::full();
    for site in ["abdomen", "calf"] {
        let own = study.settings.sites.get_mut(site).unwrap();
        own.label = Some("Soft side".to_owned());
    }
    let markdown = study.report().markdown;
    for (name, count) in [
        ("| Soft side (abdomen) |", 1),
        ("| Soft side (calf) |", 1),
        ("| Soft side |", 0),
        ("| Upper thigh (upper-thigh) |", 0),
    ] {
        assert_eq!(markdown.matches(name).count().min(1), count, "{name}");
    }
}

/// Of open questions those that were planned stand first, whatever site they are of.
#[test]
fn a_planned_question_is_open_first() {
    let columns = "measure;site;against;difference;lower;upper;sensors;sensors_against;evidence;p;verdict;withdrawn;planned";
    let row = |site: &str, measure: &str, planned: u8| {
        format!("{measure};{site};lower-back;0.1;-0.1;0.3;14;11;1;0.4;open;;{planned}")
    };
    let rows = [
        row("abdomen", "stays-on", 0),
        row("calf", "stays-on", 0),
        row("upper-thigh", "quiet-at-night", 1),
    ];
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let open = line(
        &with("conclusions", columns, &rows).report().markdown,
        "- **Still open**",
    );
    assert!(
        open.starts_with("- **Still open**: Which of Lower back and Upper thigh"),
        "{open}"
    );
    assert!(open.ends_with("More such comparisons: 1."), "{open}");
}

/// That no site is on the label is said, and nothing is traded off.
/// Settings that name no site as on the label say nothing of any: nothing is called off the label.
#[test]
fn a_label_that_nobody_told_is_not_made_up() {
    let mut study = fixture::full();
    let sites = study.settings.sites.values_mut();
    sites.for_each(|site| site.on_label = None);
    for cells in &mut study.table("site_comparison").columns {
        if cells.name == "on_label" {
            cells.cells.fill(Cell::text("no"));
        }
    }
    let markdown = study.report().markdown;
    let said = line(&markdown, "- **On the label**: The settings");
    assert_eq!(
        said,
        "- **On the label**: The settings do not say which sites are on the device's label."
    );
    assert!(markdown.contains("Which of these sites are, and are the others agreed"));
    let alleged = [
        "off the device's label",
        "Off the device's label",
        "off the label",
        "off-label",
    ];
    for alleged in alleged {
        assert!(!markdown.contains(alleged), "{alleged}");
    }
}

/// Settings that say of every site that it is off the label tell the label: the better of two is marked, and the clinician
/// asked about all.
#[test]
fn sites_said_to_be_off_the_label_are_marked() {
    let mut study = fixture::full();
    let sites = study.settings.sites.values_mut();
    sites.for_each(|site| site.on_label = Some(false));
    for cells in &mut study.table("site_comparison").columns {
        if cells.name == "on_label" {
            cells.cells.fill(Cell::text("no"));
        }
    }
    let markdown = study.report().markdown;
    let differs = line(&markdown, "- **Differs**");
    let marked = "Back of the upper arm (off the label) keeps more sensors on than Upper thigh";
    assert!(differs.contains(marked), "{differs}");
    line(&markdown, "- **On the label**: No site of this study");
    assert!(!markdown.contains("Which of these sites are, and are the others agreed"));
}

/// Two sites with one sensor each had two.
#[test]
fn sensors_that_the_skin_ended_are_counted_over_all_sites_named() {
    let mut study = fixture::full();
    let causes = study.table("sessions").columns.iter_mut();
    let causes = causes.filter(|column| column.name == "cause");
    causes.for_each(|column| column.cells.fill(Cell::text("completed")));
    let sites = study.table("sessions");
    let at = |site: &str| sites.rows_where("site", site)[0];
    let rows = ["upper-arm-back", "upper-thigh"].map(at);
    for row in rows {
        set(&mut study, "sessions", "cause", row, Cell::text("reaction"));
    }
    let said = line(&study.report().markdown, "- **Skin**");
    assert!(
        said.contains(
            "At Back of the upper arm, Upper thigh, skin trouble, pain or bleeding ended 2 sensors."
        ),
        "{said}"
    );
}

/// What matters and nothing is known of counts for nothing, and is named.
#[test]
fn a_priority_without_data_is_named() {
    let mut study = fixture::full();
    let markdown = study.edition(Edition::Wearer).markdown;
    assert!(!markdown.contains("Nothing is known yet of"));
    set(&mut study, "best_priorities", "known", 1, Cell::Integer(0));
    let markdown = study.edition(Edition::Wearer).markdown;
    let said = "Nothing is known yet of: skin. It counts for nothing so far.";
    assert!(markdown.contains(said), "{markdown}");
}

#[test]
fn no_site_on_the_label_is_said() {
    let mut study = fixture::full();
    set(
        &mut study,
        "site_comparison",
        "on_label",
        0,
        Cell::text("no"),
    );
    let said = line(&study.report().markdown, "- **On the label**");
    assert_eq!(
        said,
        "- **On the label**: No site of this study is on the device's label."
    );
}
