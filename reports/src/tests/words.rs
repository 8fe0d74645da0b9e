//! What the report says, by the rules of the sentences.

use whereworn_model::table::Cell;

use crate::fixture::{self, Study};

/// A line of the Markdown, blanks that do not break made plain.
fn line(markdown: &str, start: &str) -> String {
    let found = markdown.lines().find(|line| line.starts_with(start));
    found
        .unwrap_or_else(|| panic!("{start}: {markdown}"))
        .replace('\u{a0}', " ")
}

#[test]
fn sites_are_judged_by_their_intervals() {
    let report = fixture::full().report();
    let back = line(&report.markdown, "- **Lower back**");
    assert!(
        back.contains("Comes off less often than other sites: 9 % (4 to 14) by day 14."),
        "{back}"
    );
    assert!(
        back.contains("Reads low by 9.6 mg/dL (7.1 to 12.1), and its sensors agree on it."),
        "{back}"
    );
    assert!(back.contains("Off the device's label"), "{back}");
    let arm = line(&report.markdown, "- **Back of the upper arm**");
    assert!(
        arm.contains("No clear tendency to read high or low: 2.1 mg/dL (\u{2212}1.5 to 5.7)."),
        "{arm}"
    );
    assert!(
        arm.contains("Noisier nights") && !arm.contains("label"),
        "{arm}"
    );
    let belly = line(&report.markdown, "- **Abdomen**");
    assert!(
        belly.contains("Reads high by 6.4 mg/dL (0.5 to 12.3) on average, but its sensors differ"),
        "{belly}"
    );
    let calf = line(&report.markdown, "- **Calf**");
    assert!(
        calf.contains("2 sensors. Not enough yet to judge this site"),
        "{calf}"
    );
}

#[test]
fn the_first_lines_say_what_is_worse_and_what_is_off_the_label() {
    let report = fixture::full().report();
    let quiet = line(&report.markdown, "- **Quiet at night**");
    assert!(
        quiet.ends_with(
            "Clearly worse: Back of the upper arm. Intervals overlap with its own, so no order yet: Lower back, Upper thigh."
        ),
        "{quiet}"
    );
    line(
        &report.markdown,
        "- **On the device's label**: Back of the upper arm. Off it: Abdomen, Lower back, Upper thigh, Calf.",
    );
}

#[test]
fn several_wearers_are_named_as_such() {
    let report = fixture::full().report();
    assert!(
        report
            .markdown
            .contains("For these 2 wearers: 40 sensors on 5 sites.")
    );
    let alone = fixture::one_site().report();
    assert!(alone.markdown.contains("sites cannot be compared"));
    assert!(!alone.markdown.contains("than other sites"));
}

#[test]
fn chance_is_asked_about() {
    let report = fixture::full().report();
    line(
        &report.markdown,
        "Could chance alone explain the differences between sites in how long sensors stay on? It would rarely do so: with sites shuffled among sensors at random, differences as large as these come up with a probability of 0.031.",
    );
    line(
        &report.markdown,
        "Could chance alone explain the differences between sites at night? Hardly: ",
    );
    let mut study = fixture::full();
    study.table("site_wear_test").columns[4].cells[0] = Cell::Empty;
    assert!(study.report().markdown.contains(
        "by the log-rank test, differences as large as these have a probability of 0.045"
    ));
}

#[test]
fn a_site_that_lost_no_sensor_is_not_unknown() {
    let mut study = fixture::full();
    for name in ["came_off", "came_off_lower", "came_off_upper"] {
        let column = study
            .table("site_comparison")
            .columns
            .iter_mut()
            .find(|c| c.name == name)
            .unwrap();
        column.cells[1] = if name == "came_off" {
            Cell::Number(0.0)
        } else {
            Cell::Empty
        };
    }
    let report = study.report();
    let back = line(&report.markdown, "- **Lower back**");
    assert!(
        back.contains("Comes off less often than other sites: 0 % by day 14."),
        "{back}"
    );
    line(
        &report.markdown,
        "- **Stay on**: Fewest sensors came off at Lower back: 0 % by day 14. Intervals overlap",
    );
}

#[test]
fn sites_without_fingersticks_still_have_wear_and_nights() {
    let mut study = fixture::full();
    for column in &mut study.table("site_comparison").columns {
        let paired = ["sensors", "pairs", "bias", "within", "delay", "sd_"];
        if paired.iter().any(|start| column.name.starts_with(start)) {
            column.cells.fill(Cell::Empty);
        }
    }
    let report = study.report();
    let back = line(&report.markdown, "- **Lower back**");
    assert!(
        back.contains("11 sensors. Comes off less often")
            && back.contains("How true it reads: not enough yet."),
        "{back}"
    );
    line(&report.markdown, "- **Read true**: Not enough yet");
}

#[test]
fn glucose_follows_the_study() {
    let mut study = fixture::full();
    study.settings.study.unit = Some(whereworn_model::units::Unit::MmolL);
    let report = study.report();
    // 9.6 / 18.0156 = 0.533
    let back = line(&report.markdown, "- **Lower back**");
    assert!(
        back.contains("Reads low by 0.53 mmol/L (0.39 to 0.67)"),
        "{back}"
    );
    assert!(
        !report
            .markdown
            .replace("18.0156 mg/dL", "")
            .replace("keep mg/dL", "")
            .contains("Bias (mg/dL)")
    );
}

#[test]
fn what_is_missing_is_said() {
    let empty = fixture::empty().report();
    for (part, name) in [
        (
            "\n### How true they read\n",
            "no fingerstick could be paired",
        ),
        ("\n### Nights\n", "no night had enough readings"),
        ("\n## Bottom line\n", "There is nothing to compare yet"),
    ] {
        let (_, section) = empty.markdown.split_once(part).unwrap();
        let end = section.find("\n##").unwrap();
        assert!(section[..end].contains(name), "{part}");
    }
    assert!(empty.figures.is_empty());
    assert_eq!(empty.html.matches("<svg").count(), 0);
}

#[test]
fn long_tables_name_their_file() {
    let mut study = fixture::full();
    study.table("sessions").header.show = Some(5);
    let report = study.report();
    assert!(
        report
            .markdown
            .contains("First 5 of 40 rows; all rows are in tables/sessions.csv.")
    );
    assert!(
        report
            .markdown
            .contains("The 800 rows behind this figure are in tables/pairs.csv.")
    );
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
    let (annex, skin) = (
        markdown.find("### The study's own tables").unwrap(),
        markdown.find("### Skin").unwrap(),
    );
    let (idea, quality) = (
        markdown.find("#### My idea").unwrap(),
        markdown.find("### Data quality").unwrap(),
    );
    assert!(skin < annex && annex < idea && idea < quality);
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
            "## Bottom line",
            "## Since last month",
            "## Questions to discuss",
            "## Cautions",
            "## Annex",
            "### How long sensors stay on",
            "### How true they read",
            "### Nights",
            "### Delay",
            "### Spread between sensors of one site",
            "### Skin",
            "### Data quality",
            "### Method",
        ] {
            let at = markdown
                .find(&format!("\n{title}\n"))
                .unwrap_or_else(|| panic!("{title}"));
            assert!(at > last, "{title}");
            last = at;
        }
    }
}
