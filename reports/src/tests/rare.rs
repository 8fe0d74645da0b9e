//! What few studies have: first rows on day 0, ends that nobody wrote down, numbers that are long, values at a limit.

use whereworn_model::table::Cell;

use super::svg::{
    Element, across, close, drawings, drawn, hex, middle, narrow, of_colour, own, place_of,
    strokes, texts, upright,
};
use super::words::line;
use super::{charts, layout};
use crate::Edition;
use crate::chart::lettering::width;
use crate::fixture::{self, Study};
use crate::palette::{GHOST, INK, RULE};

/// A study of one table of its own.
fn study(sql: &str, columns: &str, rows: &[&str]) -> Study {
    let rows: Vec<String> = rows.iter().map(|row| (*row).to_owned()).collect();
    let mut table = fixture::table("own", sql, columns, &rows);
    table.own_query = true;
    let mut study = fixture::empty();
    study.tables = vec![table];
    study
}

fn set(study: &mut Study, table: &str, column: &str, row: usize, cell: Cell) {
    let columns = &mut study.table(table).columns;
    let column = columns.iter_mut().find(|found| found.name == column);
    column.unwrap().cells[row] = cell;
}

/// Sensors that came off on the day they were put on: the share of that day stands, not all of the site before it.
#[test]
fn a_curve_with_a_row_on_day_0_begins_with_it() {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"share\" }\n-- [columns]\n\
               -- day = { unit = \"days\", digits = 0 }\n-- share = { unit = \"share\" }\nSELECT 1";
    let rows = ["0;10;0.8", "5;8;0.4"];
    let all = own(sql, "day;at_risk;share", &rows);
    let first = strokes(&all, 2.25)[0].points[0];
    close(first.1, upright(&all)(80.0), "eight of ten");
}

/// A span whose end nobody wrote down is as long as its days.
#[test]
fn a_span_without_an_end_lasts_its_days() {
    let sql = "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";
    let all = own(sql, "k;a;b;days;cause", &["k;0;12;12;completed", "l;3;;5;"]);
    let x = across(&all, 0.0, 900.0);
    let bars: Vec<_> = all.iter().filter(|e| e.is("opacity", "0.16")).collect();
    close(bars[1].length("x"), x(3.0), "beginning");
    close(bars[1].length("x") + bars[1].length("width"), x(8.0), "end");
}

/// The line of midnight is explained where there is one.
#[test]
fn midnight_is_explained_where_it_is_drawn() {
    let sql =
        "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"rate\" }\nSELECT 1";
    for (rows, told) in [
        (["k;22;1", "k;23;2"], false),
        (["k;0;1", "k;1;2"], false),
        (["k;23;1", "k;0;2"], true),
    ] {
        let study = study(sql, "k;hour;rate", &rows);
        let thick = strokes(&drawn(&study, "own"), 2.0).len();
        let words = "The thick upright line is midnight.";
        let said = study.report().markdown.contains(words);
        assert_eq!((said, thick), (told, usize::from(told)), "{rows:?}");
    }
}

/// Numbers of many digits are written smaller, so that they do not run into the next panel.
#[test]
fn long_numbers_stay_in_their_panels() {
    let mut study = fixture::full();
    for (column, value) in [
        ("bias", -10_400.4),
        ("bias_lower", -1_117_800.5),
        ("bias_upper", 9_797_300.5),
    ] {
        set(
            &mut study,
            "site_comparison",
            column,
            2,
            Cell::Number(value),
        );
    }
    layout::laid_out("long numbers", &study, Edition::Clinician);
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
    assert!(said.contains(": 3 of 40 sensors."), "{said}");
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

/// Nobody is asked about falls at night that were all checked.
#[test]
fn checked_nights_are_no_question() {
    let mut study = fixture::full();
    let asked = |study: &Study| study.report().markdown.contains("- **Unchecked nights**");
    assert!(asked(&study));
    let nights = study.table("site_nights").columns.iter_mut();
    nights
        .filter(|column| column.name == "unchecked")
        .for_each(|column| column.cells.fill(Cell::Integer(0)));
    assert!(!asked(&study));
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

/// Rows of so many groups of a line with a band or without, followed or not.
fn curves(groups: usize, columns: &str, rest: &str) -> Study {
    let sql = "-- chart = { kind = \"steps\", x = \"day\", y = \"v\", series = \"k\" }\nSELECT 1";
    let row = |n: usize, day: usize| format!("k{n};{day};{}{rest}", n + day);
    let rows: Vec<String> = (0..groups).flat_map(|n| [row(n, 1), row(n, 5)]).collect();
    study(
        sql,
        columns,
        &rows.iter().map(String::as_str).collect::<Vec<_>>(),
    )
}

/// What is drawn of curves is explained, and nothing else: others behind up to nine panels, bands, numbers followed, names.
#[test]
fn what_curves_show_is_explained() {
    let words = [
        "The thin grey lines are the other groups.",
        "The band is a 95 % interval.",
        "Below the axis: sensors still followed at that time.",
        "Each line carries its name at its end.",
    ];
    let bands = "k;day;v;v_lower;v_upper";
    let causes = "site;cause;day;v;at_risk";
    let named =
        "-- chart = { kind = \"steps\", x = \"day\", y = \"v\", series = \"site\" }\nSELECT 1";
    for (study, told, behind) in [
        (curves(1, "k;day;v", ""), [false; 4], 0),
        (curves(2, "k;day;v", ""), [true, false, false, false], 2),
        (curves(9, "k;day;v", ""), [true, false, false, false], 72),
        (curves(10, "k;day;v", ""), [false; 4], 0),
        (curves(1, bands, ";0.5;9"), [false, true, false, false], 0),
        (
            curves(1, "k;day;v;at_risk", ";8"),
            [false, false, true, false],
            0,
        ),
        (
            study(named, causes, &["calf;off;1;2;9", "calf;off;5;3;8"]),
            [false, false, false, true],
            0,
        ),
    ] {
        let markdown = study.report().markdown;
        assert_eq!(
            words.map(|words| markdown.contains(words)),
            told,
            "{markdown}"
        );
        let all = drawn(&study, "own");
        let lines = of_colour(&all, "stroke", GHOST).into_iter();
        let lines =
            lines.filter(|e: &&Element| e.points.len() > 2 || e.length("stroke-width") > 1.5);
        assert_eq!(lines.count(), behind, "{told:?}");
    }
}

/// An arrow says that an interval goes on beyond its axis, on either side, and the words below say so; one that ends where the
/// axis does, at 0, has none.
#[test]
fn an_arrow_stands_where_an_interval_goes_on() {
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\", lower = \"low\", upper = \"high\" }\nSELECT 1";
    let words = "An arrow: the interval goes on beyond the axis.";
    for (odd, arrows) in [
        ("d;1;0;3", 0),
        ("d;1;-60;3", 1),
        ("d;1;0;60", 1),
        ("d;1;-60;60", 2),
    ] {
        let study = study(sql, "k;v;low;high", &["a;2;0;4", "b;5;3;7", "c;3;2;6", odd]);
        let all = drawn(&study, "own");
        let tips = strokes(&all, 2.0)
            .into_iter()
            .filter(|e| e.points.len() == 3);
        assert_eq!(tips.count(), arrows, "{odd}");
        assert_eq!(study.report().markdown.contains(words), arrows > 0, "{odd}");
    }
}

/// On the narrowest screen what is said of a site with a long name ends before its neighbour begins.
#[test]
fn a_long_name_leaves_room_for_what_is_said_of_it() {
    let mut study = fixture::full();
    let name = "Calf, the outer side a hand below the knee";
    study.settings.sites.get_mut("calf").unwrap().label = Some(name.to_owned());
    let html = study.edition(Edition::Wearer).html;
    let mut seen = 0;
    for (_, _, all) in drawings(&html)
        .into_iter()
        .filter(|d| d.0.starts_with("best_sites"))
    {
        let begins = |e: &&Element| e.name == "text" && e.text.starts_with("Calf, the");
        let label = all.iter().find(begins).unwrap();
        let remark = all.iter().find(|e| {
            e.is("text-anchor", "end") && (e.length("y") - label.length("y")).abs() < 0.3
        });
        let remark = remark.unwrap();
        let to = label.length("x") + width(&label.text, label.length("font-size"));
        let plain = remark.text.replace("&apos;", "'");
        let from = remark.length("x") - width(&plain, remark.length("font-size"));
        assert!(to + 7.5 <= from, "{} {}", label.text, remark.text);
        seen += 1;
    }
    assert_eq!(seen, 2, "wide and narrow");
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
    let kind = "a meter's clock that is off";
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

/// A line of zero stands within an axis that goes to both sides of it, and at the edge of none.
#[test]
fn an_axis_that_begins_at_zero_has_no_line_of_it() {
    let all = drawn(&fixture::full(), "site_comparison");
    let feet = strokes(&all, 1.0).into_iter();
    let feet: Vec<&Element> = feet.filter(|e| e.is("stroke", &hex(INK))).collect();
    assert_eq!(feet.len(), 5, "panels");
    let zeros = all
        .iter()
        .filter(|e| e.attributes.contains_key("stroke-dasharray"));
    let mut seen = 0;
    for zero in zeros {
        let at = zero.points[0].0;
        let within = |foot: &&&Element| foot.points[0].0 + 2.0 < at && at + 2.0 < foot.points[1].0;
        assert_eq!(feet.iter().filter(within).count(), 1, "{at}");
        seen += 1;
    }
    assert_eq!(seen, 5, "in every row of the bias");
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

/// Words beside the body that need more height than the figure stand below one another, the last at the bottom.
#[test]
fn many_words_beside_the_body_find_room() {
    let front = [
        "chest",
        "upper-arm-inside",
        "abdomen",
        "forearm",
        "upper-thigh",
    ];
    let mut study = layout::crowd(front);
    for site in front {
        let own = study.settings.sites.entry(site.to_owned()).or_default();
        own.label = Some(format!("{site}, a hand beside the middle line"));
    }
    for column in &mut study.table("site_comparison").columns {
        if ["sensors", "sessions"].contains(&column.name.as_str()) {
            column.cells.fill(Cell::Integer(2));
        }
    }
    let all = drawn(&study, "site_body");
    let foot = place_of(&all, "front").1;
    let words = texts(&all).into_iter();
    let words = words.filter(|(_, x, y)| *x < 60.0 && *y > 0.0);
    let mut heights: Vec<f64> = words.map(|(_, _, y)| y).collect();
    heights.sort_by(f64::total_cmp);
    assert_eq!(heights.len(), 20, "a title of two lines and two facts each");
    assert!(
        heights.windows(2).all(|pair| pair[1] - pair[0] > 13.0),
        "{heights:?}"
    );
    assert!(heights[19] < foot + 12.0, "{heights:?} {foot}");
}

/// The slanting lines of an hour of which nothing is known stay within its cell, and those of the legend in theirs.
#[test]
fn hatching_stays_within_its_cell() {
    let sql =
        "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"rate\" }\nSELECT 1";
    let all = own(sql, "k;hour;rate", &["k;22;1", "k;1;2", "l;22;0"]);
    let cells = of_colour(&all, "stroke", GHOST).into_iter();
    let cells: Vec<&Element> = cells.filter(|e| e.points.len() == 5).collect();
    let holds = |cell: &Element, (x, y): (f64, f64)| {
        let (from, to) = (cell.points[0], cell.points[2]);
        (from.0 - 0.3..to.0 + 0.3).contains(&x) && (from.1 - 0.3..to.1 + 0.3).contains(&y)
    };
    let lines = of_colour(&all, "stroke", RULE);
    assert!(lines.len() > 20, "{}", lines.len());
    for line in lines {
        let within = |cell: &&&Element| line.points.iter().all(|at| holds(cell, *at));
        assert!(cells.iter().any(|cell| within(&cell)), "{line:?}");
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

/// No name, however long, leaves its picture, by widths that are guessed on the wide side.
#[test]
fn a_long_name_of_a_site_is_cut_at_the_edge() {
    let mut study = charts::study(&["calf"]);
    let name = "The outer side of the calf a hand below the knee ".repeat(9);
    study.settings.sites.get_mut("calf").unwrap().label = Some(name);
    let mut seen = 0;
    for (name, (edge, _), all) in drawings(&study.report().html) {
        let cut = all
            .iter()
            .filter(|e| e.text.ends_with('…') && e.text.starts_with("The outer"));
        for text in cut.filter(|e| !e.attributes.contains_key("text-anchor")) {
            let to = text.length("x") + width(&text.text, text.length("font-size"));
            assert!(to <= edge, "{name}: {to} of {edge}");
            seen += 1;
        }
    }
    assert!(seen > 3, "{seen}");
}

/// Widths are guessed by the kind of character: accents take no room of their own, and pictures more than letters of East Asia.
#[test]
fn wide_characters_take_more_room() {
    let widths = ["i", "n", "N", "m", "上", "🩹"].map(|text| width(text, 10.0));
    assert!(
        widths.windows(2).all(|pair| pair[0] < pair[1]),
        "{widths:?}"
    );
    assert!(widths[4] >= 10.0 && widths[5] >= 13.0, "{widths:?}");
    assert_eq!(width("e\u{301}\u{FE0F}", 10.0), width("e", 10.0));
}

/// On a narrow screen numbers stand on the outer side of their sites: the inner one has those of others.
#[test]
fn numbers_on_the_figure_stand_outside() {
    let all = narrow(&fixture::full(), "site_body");
    let sides = ["front", "back"].map(|side| place_of(&all, side));
    let discs = all
        .iter()
        .filter(|e| e.name == "circle" && e.is("fill-opacity", "0.22"));
    let plain = all
        .iter()
        .filter(|e| e.name == "circle" && e.is("opacity", "0.22"));
    let mut seen = 0;
    for (x, y) in discs.chain(plain).map(middle) {
        let own = sides.iter().map(|side| side.0);
        let line = own
            .min_by(|a, b| (a - x).abs().total_cmp(&(b - x).abs()))
            .unwrap();
        let beside = |(words, at, height): &&(&str, f64, f64)| {
            words.parse::<usize>().is_ok() && (at - x).abs() < 20.0 && (height - y).abs() < 2.0
        };
        let number = *texts(&all).iter().find(beside).unwrap();
        assert!(
            (number.1 - line).abs() > (x - line).abs(),
            "{number:?} of {x}"
        );
        seen += 1;
    }
    assert_eq!(seen, 5);
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

/// A name stands on a span that has room for it before the sign at its end, and on no other.
#[test]
fn a_name_ends_before_the_sign_of_its_span() {
    let sql = "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";
    // A day is a pixel: bars of 120 to 229 pixels, and one as long as the axis.
    let name = "the old oak by the mill";
    let lengths = (120..230).chain([818]);
    let rows: Vec<String> = lengths.map(|n| format!("{name};0;{n};fell-off")).collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let all = own(sql, "k;a;b;cause", &rows);
    let bars: Vec<&Element> = all.iter().filter(|e| e.is("opacity", "0.16")).collect();
    assert_eq!(bars.len(), rows.len());
    let named = |bar: &&&Element| {
        let top = bar.length("y");
        let here = |e: &&Element| e.name == "text" && (top..top + 16.0).contains(&e.length("y"));
        let Some(name) = all.iter().find(here) else {
            return false;
        };
        let to = name.length("x") + width(&name.text, name.length("font-size"));
        let end = bar.length("x") + bar.length("width");
        assert!(to <= end - 10.0, "{to} of {end}");
        true
    };
    let count = bars.iter().filter(named).count();
    assert!((40..100).contains(&count), "{count}");
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

/// Of more sensors than have room the latest quarters are drawn, and of earlier ones those that the rest has room for: 120 lanes
/// hold the 75 of May and the 30 of November.
#[test]
fn the_latest_quarters_find_room() {
    let sql = "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";
    let months = [("2024-11", 30), ("2025-02", 65), ("2025-05", 75)];
    let rows: Vec<String> = months
        .into_iter()
        .flat_map(|(month, count)| {
            let span = format!("k;{month}-03T00:00:00Z;{month}-09T00:00:00Z;completed");
            std::iter::repeat_n(span, count)
        })
        .collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let study = study(sql, "k;a;b;cause", &rows);
    let all = drawn(&study, "own");
    let bars = all.iter().filter(|e| e.is("opacity", "0.16")).count();
    let words: Vec<&str> = texts(&all).into_iter().map(|text| text.0).collect();
    assert_eq!(bars, 105);
    let quarters = ["Oct 2024", "Jan 2025", "Apr 2025"].map(|words_of| words.contains(&words_of));
    assert_eq!(quarters, [true, false, true], "{words:?}");
    assert!(
        study
            .report()
            .markdown
            .contains(" 65 more are not drawn; see the table.")
    );
}

/// Whatever is too long for a drawing is cut where its room ends, at either side, by widths that are guessed on the wide side.
#[test]
fn words_that_are_cut_end_within_the_drawing() {
    let long =
        "the number of leaves that the old oak by the mill has had since it was planted, by hand ";
    let series = [
        ("line", "x = \"a\", y = \"b\""),
        ("points", "x = \"a\", y = \"b\""),
        ("bars", "x = \"s\", y = \"b\""),
        (
            "spans",
            "x = \"a\", y = \"k\", lower = \"a\", upper = \"b\"",
        ),
        ("strip", "x = \"a\", y = \"k\", value = \"b\""),
    ];
    for (kind, axes) in series {
        let by = if kind == "strip" {
            ""
        } else {
            ", series = \"k\""
        };
        let sql = format!(
            "-- chart = {{ kind = \"{kind}\", {axes}{by} }}\n-- [columns]\n-- a = {{ label = \"{long}{long}\" }}\n\
             -- b = {{ label = \"{long}{long}\" }}\nSELECT 1"
        );
        let name = long.repeat(2);
        let rows = [format!("{name};{name};1;3"), format!("{name} 2;{name};2;7")];
        let study = study(&sql, "k;s;a;b", &rows.each_ref().map(String::as_str));
        let mut seen = 0;
        for (name, (edge, _), all) in drawings(&study.report().html) {
            for text in all
                .iter()
                .filter(|e| e.name == "text" && e.text.ends_with('…'))
            {
                let (x, room) = (
                    text.length("x"),
                    width(&text.text, text.length("font-size")),
                );
                let (from, to) = match text.attributes.get("text-anchor").map(String::as_str) {
                    Some("end") => (x - room, x),
                    Some("middle") => (x - room / 2.0, x + room / 2.0),
                    _ => (x, x + room),
                };
                assert!(
                    from >= 0.0 && to <= edge,
                    "{name}: {from} to {to} of {edge}"
                );
                seen += 1;
            }
        }
        assert!(seen >= 4, "{kind}: {seen}");
    }
}

/// Lines of a long heading stand one below another.
#[test]
fn lines_of_a_heading_stand_apart() {
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\", series = \"s\" }\n-- [columns]\n\
               -- v = { label = \"Mean absolute relative difference of all\" }\nSELECT 1";
    let rows = [
        "oak;one of them;1",
        "elm;one of them;2",
        "oak;another of these;4",
        "elm;another of these;9",
    ];
    let seen = layout::laid_out("headings", &study(sql, "k;s;v", &rows), Edition::Clinician);
    assert!(seen > 50, "{seen}");
}

/// On a narrow screen hours that do not fit beside one another go on below, each once, with a cell in every row.
#[test]
fn hours_go_on_below() {
    let sql =
        "-- chart = { kind = \"strip\", x = \"hour\", y = \"k\", value = \"rate\" }\nSELECT 1";
    let rows: Vec<String> = (0..24)
        .flat_map(|hour| {
            [
                format!("oak;{hour};100"),
                format!("elm;{hour};{}", 200 + hour),
            ]
        })
        .collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let study = study(sql, "k;hour;rate", &rows);
    let all = narrow(&study, "own");
    let hours = texts(&all)
        .into_iter()
        .filter(|(words, _, _)| words.len() == 2);
    let hours: Vec<(&str, f64, f64)> = hours.collect();
    let wanted: Vec<String> = (12..24)
        .chain(0..12)
        .map(|hour| format!("{hour:02}"))
        .collect();
    let told: Vec<&str> = hours.iter().map(|hour| hour.0).collect();
    assert_eq!(told, wanted);
    for (place, hour) in hours.iter().enumerate() {
        let value = (200 + (place + 12) % 24).to_string();
        let below = |(words, x, y): &&(&str, f64, f64)| {
            *words == value && (x - hour.1).abs() < 0.6 && (hour.2..hour.2 + 130.0).contains(y)
        };
        assert_eq!(
            texts(&all).iter().filter(below).count(),
            1,
            "{value} below {}",
            hour.0
        );
    }
    layout::laid_out("hours", &study, Edition::Clinician);
}
