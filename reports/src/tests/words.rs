//! What the report says, by the rules of the sentences.

use whereworn_model::table::Cell;

use crate::Edition;
use crate::fixture::{self, Study};

/// A line of the Markdown, blanks that do not break made plain.
pub(super) fn line(markdown: &str, start: &str) -> String {
    let found = markdown.lines().find(|line| line.starts_with(start));
    found
        .unwrap_or_else(|| panic!("{start}: {markdown}"))
        .replace('\u{a0}', " ")
}

/// By hand from the fixture: 14 and 5 sensors, 0.21 and 0.55 came off, a margin of 0.1 on either side.
#[test]
fn what_differs_and_what_leans_is_said() {
    let report = fixture::full().report();
    let differs = line(&report.markdown, "- **Differs**");
    assert!(
        differs.contains("Back of the upper arm keeps more sensors on than Upper thigh, 3.4 more of ten by day 14 (2.4 to 4.4)"),
        "{differs}"
    );
    assert!(differs.ends_with("and 3 more in the annex."), "{differs}");
    let leans = line(&report.markdown, "- **So far**");
    assert!(
        leans.starts_with(
            "- **So far**: Lower back (off the label) keeps more sensors on than Abdomen"
        ),
        "{leans}"
    );
    line(
        &report.markdown,
        "- **On the label**: Back of the upper arm is the only site on the label.",
    );
    line(&report.markdown, "- **Still open**: Which of ");
}

/// Two sites on the label: what each has over the other, with the figures of both; so far where it only leans.
#[test]
fn the_trade_off_has_both_figures() {
    let mut study = fixture::full();
    for column in &mut study.table("site_comparison").columns {
        if column.name == "on_label" {
            column.cells[1] = Cell::text("yes");
            column.cells[2] = Cell::text("yes");
        }
    }
    let markdown = study.report().markdown;
    let label = line(&markdown, "- **On the label**");
    for part in [
        "Lower back keeps more sensors on than Abdomen (9 % against 38 % came off), so far",
        "Lower back is quieter at night than Back of the upper arm (2.2 against 9.4 artefacts in 100 nights)",
        "Abdomen is quieter at night than Back of the upper arm (1.1 against 9.4 artefacts in 100 nights)",
    ] {
        assert!(label.contains(part), "{label}");
    }
}

/// Sites are compared within people: where the figures of all of them point the other way, the difference is told instead.
#[test]
fn figures_that_point_the_other_way_stand_beside_no_claim() {
    let mut study = fixture::full();
    for column in &mut study.table("site_comparison").columns {
        match column.name.as_str() {
            "on_label" => column.cells.fill(Cell::text("yes")),
            "night_rate" => column.cells.reverse(),
            _ => {}
        }
    }
    let markdown = study.report().markdown;
    let label = line(&markdown, "- **On the label**");
    assert!(
        label.contains("is quieter at night than Back of the upper arm, "),
        "{label}"
    );
    assert!(!label.contains(" artefacts in 100 nights)"), "{label}");
}

/// Where the figures of both sites are alike, the sentence on the label could only say again what has been said.
#[test]
fn what_differs_is_said_once() {
    let mut study = fixture::two_sites();
    for column in &mut study.table("site_comparison").columns {
        match column.name.as_str() {
            "on_label" => column.cells.fill(Cell::text("yes")),
            "night_rate" => column.cells.fill(Cell::Number(5.0)),
            _ => {}
        }
    }
    study
        .settings
        .sites
        .entry("lower-back".to_owned())
        .or_default()
        .on_label = Some(true);
    let markdown = study.report().markdown;
    let first = markdown.split("\n## ").nth(1).unwrap();
    let said = "Lower back is quieter at night than Back of the upper arm";
    assert_eq!(first.matches(said).count(), 1, "{first}");
    assert!(line(first, "- **On the label**").contains("reads higher"));
}

/// How many more sensors would settle a question is said of sites on the label alone.
#[test]
fn no_one_is_urged_off_the_label() {
    let more = "; about 12 sensors more on each";
    assert!(!fixture::full().report().markdown.contains(more));
    let mut study = fixture::full();
    for column in &mut study.table("site_comparison").columns {
        if column.name == "on_label" {
            column.cells.fill(Cell::text("yes"));
        }
    }
    assert!(study.report().markdown.contains(more));
}

/// By hand from the fixture: a difference of 0.17 of 1 that came off and a margin of 0.1 are 2.7 in ten at most.
#[test]
fn what_is_open_says_how_far_apart_at_most() {
    let open = line(&fixture::full().report().markdown, "- **Still open**");
    assert!(open.contains("in ten apart at most)"), "{open}");
}

/// Sites on the label stand first, then those with fewer sensors lost.
#[test]
fn rows_stand_in_the_order_that_a_reader_asks_for() {
    let report = fixture::full().report();
    let at = |name: &str| report.markdown.find(&format!("\n| {name} |")).unwrap();
    let order = [
        "Back of the upper arm",
        "Lower back",
        "Abdomen",
        "Calf",
        "Upper thigh",
    ]
    .map(at);
    assert!(order.windows(2).all(|pair| pair[0] < pair[1]), "{order:?}");
    let mut study = fixture::full();
    study.settings.priorities.quiet_at_night = 3.0;
    let report = study.report();
    let at = |name: &str| report.markdown.find(&format!("\n| {name} |")).unwrap();
    let order = [
        "Back of the upper arm",
        "Calf",
        "Abdomen",
        "Lower back",
        "Upper thigh",
    ]
    .map(at);
    assert!(order.windows(2).all(|pair| pair[0] < pair[1]), "{order:?}");
}

#[test]
fn what_every_figure_rests_on_stands_first() {
    let report = fixture::full().report();
    line(
        &report.markdown,
        "Recorded from 2025-12-10 on: 2 wearers, 40 sensors on 5 sites, 1600 readings beside fingersticks, 440 sensor-nights. Models: M1. These figures are of 2 wearers; other bodies may differ.",
    );
    let alone = fixture::one_site().report();
    assert!(alone.markdown.contains("All sensors were on one site"));
    assert!(!alone.markdown.contains("than the other sites"));
}

/// One row for each finding by the rules of the findings; what was seen and all right is left out.
#[test]
fn what_could_not_be_used_is_said() {
    let mut study = fixture::full();
    let rows = [
        "clock-meter;doubtful;0;stays-on+reads-true;kitchen",
        "clock-meter;doubtful;0;reads-true;bag",
        "unit;wrong;0;reads-true;",
        "lost;doubtful;1;stays-on;",
        "thin;thin;0;quiet-at-night;",
    ];
    let rows = rows.map(str::to_owned);
    study.tables.push(fixture::table(
        "findings",
        "",
        "kind;severity;seen;touches;meter",
        &rows,
    ));
    let left_out = ["Keeper Odd;up-01;clock", "Keeper Odd;up-02;thin"].map(str::to_owned);
    study.tables.push(fixture::table(
        "left_out",
        "",
        "wearer;sensor;reason",
        &left_out,
    ));
    let checks = ["Keeper Odd;date", "Keeper Odd;date"].map(str::to_owned);
    study.tables.push(fixture::table(
        "doubted_checks",
        "",
        "wearer;reason",
        &checks,
    ));
    line(
        &study.report().markdown,
        "- **The data**: 1 sensor left out of all comparisons, clock, unit, wearer or id being plainly off; nights of 1 sensor left out, their readings being rounded to coarse steps; 2 fingersticks left out, as they or the readings beside them are plainly off; wrong or doubtful: a meter's clock or date that is off (kitchen, bag), readings in another unit (1); this touches staying on, reading true.",
    );
}

/// 9.6 + 2.1 = 11.7 mg/dL; divided by 18.0156 that is 0.649.
#[test]
fn glucose_follows_the_study() {
    let mut study = fixture::full();
    study.settings.study.unit = Some(whereworn_model::units::Unit::MmolL);
    let markdown = study.report().markdown;
    let row = line(
        &markdown,
        "| reading high or low | Back of the upper arm | Lower back |",
    );
    assert!(row.contains("0.65 mmol/L (0.37 to 0.93)"), "{row}");
}

/// What stands in a month's own rows is said in one sentence.
#[test]
fn this_month_is_told() {
    let mut study = fixture::full();
    let rows = ["abdomen;2;1;1;31;20;3", "calf;0;1;0;4;12;0"].map(str::to_owned);
    let columns = "site;inserted;ended;came_off;pairs;nights;artefacts";
    study
        .tables
        .push(fixture::table("site_month", "", columns, &rows));
    line(
        &study.report().markdown,
        "This month: 2 sensors put on (Abdomen: 2); ended: 2, of these by coming off: 1; readings beside fingersticks: 35; night artefacts: 3, with 32 sensor-nights counted.",
    );
}

#[test]
fn what_is_missing_is_said() {
    let empty = fixture::empty().report();
    for (part, name) in [
        (
            "\n### How true do they read?\n",
            "no fingerstick could be paired",
        ),
        (
            "\n### When do night artefacts happen?\n",
            "no night had enough readings",
        ),
        (
            "\n## What can be said so far\n",
            "There is nothing to compare yet",
        ),
    ] {
        let (_, section) = empty.markdown.split_once(part).unwrap();
        let end = section.find("\n##").unwrap();
        assert!(section[..end].contains(name), "{part}");
    }
    // A list of contents without a link is none.
    for edition in Edition::ALL {
        let mut study = fixture::empty();
        study.tables.clear();
        assert!(
            !study.edition(edition).html.contains("\"></nav>"),
            "{}",
            edition.name()
        );
    }
    assert!(empty.figures.is_empty());
    assert_eq!(empty.html.matches("<svg").count(), 0);
}

/// An excerpt names how many rows it leaves out, newest first, and links the whole.
#[test]
fn excerpts_say_what_they_leave_out() {
    let mut study = fixture::full();
    let rows: Vec<String> = (1..=20)
        .map(|n| format!("Keeper Ines;ab-02;abdomen;2026-03-{n:02}T01:10:00Z;54;38.5;unchecked"))
        .collect();
    let artefacts = study.table("night_artefacts");
    let header = artefacts.header.clone();
    *artefacts = fixture::table(
        "night_artefacts",
        "",
        "wearer;sensor;site;start;nadir;drop;evidence",
        &rows,
    );
    for column in &mut artefacts.columns {
        column.header = header
            .columns
            .get(&column.name)
            .cloned()
            .unwrap_or_default();
    }
    artefacts.header = header;
    let markdown = study.report().markdown;
    let (_, section) = markdown
        .split_once("### What does a night artefact look like?")
        .unwrap();
    let section = &section[..section.find("\n###").unwrap()];
    assert!(section.contains("8 of 20 rows."), "{section}");
    let days: Vec<&str> = section
        .match_indices("2026-03-")
        .map(|(at, _)| &section[at + 8..at + 10])
        .collect();
    assert_eq!(days, ["20", "19", "18", "17", "16", "15", "14", "13"]);
    assert!(markdown.contains("](tables/night_artefacts.csv)"));
    // One name for a sensor of each of several people needs theirs; that of the only one would say nothing.
    assert!(section.contains("| Keeper Ines | ab-02 |"), "{section}");
    let sessions = &mut study.table("sessions").columns;
    let wearers = sessions.iter_mut().find(|column| column.name == "wearer");
    wearers.unwrap().cells.fill(Cell::text("Keeper Ines"));
    let markdown = study.report().markdown;
    let (_, section) = markdown
        .split_once("### What does a night artefact look like?")
        .unwrap();
    let section = section.split("\n###").next().unwrap();
    assert!(section.contains("| ab-02 |") && !section.contains("| Keeper Ines |"));
}

#[test]
fn own_tables_have_a_place() {
    let mut study = fixture::full();
    let mut own = study.table("site_nights").clone();
    own.own_query = true;
    own.name = "my_idea".to_owned();
    own.header.title = Some("My idea".to_owned());
    own.header.section = Some("elsewhere".to_owned());
    study.tables.push(own);
    let markdown = study.report().markdown;
    assert!(markdown.contains("\n### The study's own tables\n\n#### My idea\n"));
    assert!(!fixture::full().report().markdown.contains("own tables"));
}

#[test]
fn sections_come_in_order() {
    for study in [
        fixture::full(),
        fixture::empty(),
        Study {
            tables: vec![],
            ..fixture::full()
        },
    ] {
        let markdown = study.report().markdown;
        let mut last = 0;
        for title in [
            "## What can be said so far",
            "## Since last month",
            "## Questions to discuss",
            "## Cautions",
            "## Annex",
            "### Which sites differ, pair by pair?",
            "### How long do sensors stay on?",
            "### How true do they read?",
            "### When do night artefacts happen?",
            "### What did the skin look like?",
            "### What was read, and what was used?",
            "### How are the figures made?",
        ] {
            let at = markdown
                .find(&format!("\n{title}\n"))
                .unwrap_or_else(|| panic!("{title}"));
            assert!(at > last, "{title}");
            last = at;
        }
    }
}

/// Sites of which too few sensors were worn to be shown were worn all the same.
#[test]
fn what_was_left_out_was_not_missing() {
    let mut study = fixture::full();
    let sessions = &mut study.table("sessions").columns;
    sessions
        .iter_mut()
        .for_each(|column| column.cells.truncate(2));
    let public = study.edition(Edition::Public).markdown;
    assert!(
        public.contains("Left out, having fewer than three sensors"),
        "{public}"
    );
    for denied in [
        "No wear has been recorded",
        "no sensor with a known site",
        "could be paired",
    ] {
        assert!(!public.contains(denied), "{denied}: {public}");
    }
    assert!(public.contains("There is nothing to show here that rests on three sensors or more."));
}

/// A sensor that came off is no fault of its maker's: it has no sheet.
#[test]
fn sheets_are_of_sensors_that_failed() {
    let sheets = |study: &Study| {
        let html = study.report().sheets.unwrap();
        [": sensor up-07</h2>", ": sensor up-05</h2>"].map(|title| html.contains(title))
    };
    let mut study = fixture::full();
    assert_eq!(sheets(&study), [true, true]);
    let columns = &mut study.table("fault_sheet").columns;
    let cause = columns.iter_mut().find(|column| column.name == "cause");
    cause.unwrap().cells[0] = Cell::text("fell-off");
    assert_eq!(sheets(&study), [false, true]);
}

#[test]
fn a_hidden_column_stays_in_the_files() {
    let sql = "-- [columns]\n-- secret = { label = \"Secret\", hidden = true }\n-- open = { label = \"Open\" }\nSELECT 1";
    let mut table = fixture::table("own", sql, "open;secret", &["1;31415".to_owned()]);
    table.own_query = true;
    let mut study = fixture::full();
    study.tables.push(table);
    let report = study.report();
    assert!(report.markdown.contains("| Open |"), "{}", report.markdown);
    assert!(!report.markdown.contains("Secret") && !report.markdown.contains("31415"));
    let own = report.tables.iter().find(|table| table.name == "own");
    assert!(own.unwrap().column("secret").is_some());
}

/// Sensors of each site stand beside what went with them where there are two sites, and something that has from two to six
/// values.
#[test]
fn what_went_with_a_site_needs_two_of_both() {
    let caption = "**Sensors of each site, by what went with them.**";
    assert!(!fixture::one_site().report().markdown.contains(caption));
    let mut study = fixture::two_sites();
    let sessions = study.table("sessions");
    let rows = sessions.rows();
    assert!(rows > 7, "{rows}");
    let alike = ["wearer", "tape", "side", "inserted"];
    for column in &mut sessions.columns {
        if alike.contains(&column.name.as_str()) {
            column.cells = vec![column.cells[0].clone(); rows];
        }
    }
    assert!(!study.report().markdown.contains(caption));
    for (models, told) in [(2, true), (6, true), (7, false)] {
        let sessions = study.table("sessions");
        let model = sessions.columns.iter_mut().find(|c| c.name == "model");
        for (row, cell) in model.unwrap().cells.iter_mut().enumerate() {
            *cell = Cell::text(format!("M{}", row % models));
        }
        let markdown = study.report().markdown;
        assert_eq!(markdown.contains(caption), told, "{models}");
        let Some((_, table)) = markdown.split_once(caption) else {
            continue;
        };
        let (table, _) = table.split_once("Where a site went").unwrap();
        assert!(table.trim().starts_with("| Site | Model |"), "{table}");
        let counts = table.split(":\u{a0}").skip(1).map(|count| {
            let end = count.find(|c: char| !c.is_ascii_digit()).unwrap();
            count[..end].parse::<usize>().unwrap()
        });
        assert_eq!(counts.sum::<usize>(), rows, "{table}");
    }
}

/// What a dash and a figure without brackets mean is said below a table that has one, and below no other.
#[test]
fn a_gap_is_explained_where_it_is() {
    let sql = "-- [columns]\n-- v = { label = \"V\", digits = 1 }\n-- v_lower = { class = \"lower\" }\n\
               -- v_upper = { class = \"upper\" }\n-- k = { label = \"K\" }\nSELECT 1";
    let (dash, bare) = (
        "– means that there was nothing",
        "A figure without brackets",
    );
    for (rows, dashed, without) in [
        (["oak;1.5;1;2", ";2.5;2;3"], false, false),
        (["oak;1.5;1;2", "elm;2.5;;"], false, true),
        (["oak;1.5;1;2", "elm;;;"], true, false),
        (["oak;1.5;;", "elm;;;"], true, true),
        (["oak;1.5;1;2", "elm;;1;2"], true, false),
    ] {
        let given = rows.map(str::to_owned);
        let mut table = fixture::table("own", sql, "k;v;v_lower;v_upper", &given);
        table.own_query = true;
        let mut study = fixture::empty();
        study.tables = vec![table];
        let markdown = study.report().markdown;
        assert_eq!(markdown.contains(dash), dashed, "{rows:?}\n{markdown}");
        assert_eq!(markdown.contains(bare), without, "{rows:?}\n{markdown}");
        assert!(
            markdown.contains("| oak | 1.5") && !markdown.contains("– ("),
            "{markdown}"
        );
    }
}

/// A query may ask for so many rows, or for none: then its picture stands alone, and the file has the rows.
#[test]
fn so_many_rows_are_shown_as_a_query_asks_for() {
    let rows: Vec<String> = (1..=5).map(|n| format!("oak {n};{n}")).collect();
    for (show, lead) in [
        (0, Some("First 0 of 5 rows")),
        (3, Some("First 3 of 5 rows")),
        (5, None),
    ] {
        let sql = format!(
            "-- show = {show}\n-- chart = {{ kind = \"bars\", x = \"k\", y = \"n\" }}\n-- [columns]\n\
             -- k = {{ label = \"Tree\" }}\nSELECT 1"
        );
        let mut table = fixture::table("own", &sql, "k;n", &rows);
        table.own_query = true;
        let mut study = fixture::empty();
        study.tables = vec![table];
        let report = study.report();
        let shown = report.markdown.matches("\n| oak ").count();
        assert_eq!(
            (shown, report.figures.len()),
            (show, 1),
            "{}",
            report.markdown
        );
        assert_eq!(report.markdown.contains("| Tree |"), show > 0);
        assert_eq!(report.markdown.contains("First "), lead.is_some());
        assert!(report.markdown.contains(lead.unwrap_or_default()));
    }
}

/// The interval of a figure stands behind it, by the names of its ends or as the chart says; that of a table stands with its
/// first estimate.
#[test]
fn an_interval_stands_behind_its_figure() {
    let chart = "-- chart = { kind = \"points\", x = \"w\", y = \"v\", lower = \"from\", upper = \"to\" }\n";
    for (chart, ends) in [
        ("", "v_lower;v_upper"),
        ("", "lower;upper"),
        (chart, "from;to"),
    ] {
        let sql = format!(
            "{chart}-- [columns]\n-- v = {{ digits = 1, class = \"estimate\" }}\n-- w = {{ digits = 1, class = \"estimate\" }}\nSELECT 1"
        );
        let columns = format!("k;v;w;{ends}");
        let mut table = fixture::table("own", &sql, &columns, &["oak;1.5;7;1;2".to_owned()]);
        table.own_query = true;
        let mut study = fixture::empty();
        study.tables = vec![table];
        let markdown = study.report().markdown.replace('\u{a0}', " ");
        assert!(
            markdown.contains("| oak | 1.5 (1.0 to 2.0) | 7 |\n"),
            "{ends}\n{markdown}"
        );
    }
}

/// What n sensors without a trouble leave room for at 95 %: 1 - 0.05^(1/n) of sensors, the exact bound of Clopper and Pearson 1934
/// Biometrika 26:404 with none of n (the rule of three: Hanley and Lippman-Hand 1983 JAMA 249:1743, from memory).
#[test]
fn a_trouble_that_is_seldom_may_not_have_shown() {
    let percent = |sensors: f64| (100.0 * (1.0 - 0.05_f64.powf(1.0 / sensors))).round();
    assert_eq!([5.0, 10.0, 20.0].map(percent), [45.0, 26.0, 14.0]);
    let study = fixture::full();
    let clinician = study.report().markdown;
    assert!(clinician.contains("5 sensors were without it, 45 % of sensors may still have it; after 10 it is 26 %, after 20 it is 14 %"));
}
