//! Drawings that are crowded or at an edge: long names and numbers, many rows, axes that begin at 0, spans of no length.

use whereworn_model::settings::Settings;
use whereworn_model::table::Cell;

use super::rare::{set, study};
use super::svg::{
    Element, across, close, drawings, drawn, hex, middle, narrow, of_colour, own, place_of,
    strokes, texts, upright,
};
use super::{charts, layout};
use crate::Edition;
use crate::chart::lettering::width;
use crate::fixture::{self, Study};
use crate::palette::{GHOST, INK, RULE};

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
            "x = \"a\", y = \"s\", lower = \"a\", upper = \"b\"",
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

/// A sensor that ended when it began is seen all the same.
#[test]
fn a_span_of_no_length_is_seen() {
    let sql = "-- chart = { kind = \"spans\", x = \"a\", y = \"k\", lower = \"a\", upper = \"b\" }\nSELECT 1";
    let all = own(
        sql,
        "k;a;b;cause",
        &["k;0;9;completed", "l;4;4;sensor-fault"],
    );
    let bars = all.iter().filter(|e| e.is("opacity", "0.16"));
    let widths: Vec<f64> = bars.map(|bar| bar.length("width")).collect();
    assert!(widths.len() == 2 && widths[1] >= 0.75, "{widths:?}");
}

/// A study's own name of a site stands whole on the first picture, on a phone and on a page, and so does the longest heading.
#[test]
fn names_on_the_first_picture_are_whole() {
    let name = "Äußerer Oberschenkel-Übergangsbereich/Hüftknochenvorsprungsnähe";
    let settings = format!(
        "[study]\nlanguage = \"de\"\n[sites.abdomen]\nlabel = \"{name}\"\non_label = true\n"
    );
    let mut study = fixture::full();
    study.settings = Settings::parse(&settings).unwrap();
    for column in &mut study.table("site_comparison").columns {
        if column.name == "within_20_20" {
            column.name = "mard".to_owned();
        }
    }
    let letters = |text: &str| text.replace(['-', ' '], "");
    let html = study.edition(Edition::Wearer).html;
    let first = drawings(&html).into_iter();
    let first = first.filter(|(name, ..)| name.starts_with("site_comparison"));
    let mut seen = 0;
    for (place, _, elements) in first {
        let words: Vec<&str> = texts(&elements)
            .into_iter()
            .map(|(words, ..)| words)
            .collect();
        let all = letters(&words.concat());
        assert!(all.contains(&letters(name)), "{place}: {words:?}");
        assert!(all.contains("Fingermessung"), "{place}: {words:?}");
        assert!(!all.contains('…'), "{place}: {words:?}");
        seen += 1;
    }
    assert_eq!(seen, 2);
}

/// Thirty people take no more height than the page is wide, so that print does not shrink their names; few keep their room.
#[test]
fn many_rows_of_intervals_fit_a_page() {
    let sql = "-- chart = { kind = \"intervals\", x = \"v\", y = \"k\" }\nSELECT 1";
    let size = |count: usize, name: &str| {
        let rows: Vec<String> = (0..count).map(|n| format!("{name}{n};{n}")).collect();
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        let html = study(sql, "k;v", &rows).report().html;
        drawings(&html).remove(0).1
    };
    let (width, height) = size(32, "w");
    assert!(height < width, "{height}");
    assert!(size(12, "w").1 > 12.0 * 30.0, "few rows are not crowded");
    let (_, named) = size(32, "Back of the upper arm of the wearer ");
    assert!(
        named > 32.0 * 28.0,
        "names of two lines do not run into each other"
    );
}
