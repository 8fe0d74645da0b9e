//! A whole plan from result tables: limits in words, pending draws first, the exact shape of `plan.json`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod best_site;
mod calendar;
mod study;

use whereworn_model::settings::Settings;
use whereworn_plan::frozen;
use whereworn_plan::gather::{PlanError, Study, choose_wearer, label_not_said};
use whereworn_plan::log::{HEADER, lines, parse};
use whereworn_plan::page::markdown;
use whereworn_plan::settle::waiting;

use study::{AGREED, Log, plan_of, usual};

#[test]
fn the_next_sensor_waits_for_the_one_that_is_on() {
    let (made, _) = plan_of(AGREED, &usual(), &[]).unwrap();
    // Inserted on 20 September, rated 14 days.
    assert_eq!(made.document.sensors[0].earliest, "2026-10-04");
    assert_eq!(made.document.sensors[1].earliest, "2026-10-18");
    assert_eq!(made.document.sensors.len(), 6);
    let drawn: Vec<bool> = made
        .document
        .sensors
        .iter()
        .map(|sensor| sensor.drawn)
        .collect();
    // 4 and 18 October are within 23 days of the last row of the log; 1 November is not.
    assert_eq!(drawn, [true, true, false, false, false, false]);
    assert_eq!(made.new_draws.len(), 2);
    assert_eq!(made.document.sensors[0].latest, "2026-10-31");
}

#[test]
fn the_same_study_gives_the_same_plan_and_pending_draws_come_first() {
    let (first, _) = plan_of(AGREED, &usual(), &[]).unwrap();
    let kept = parse(&(HEADER.to_owned() + &lines(&first.new_draws, HEADER))).unwrap();
    let (again, _) = plan_of(AGREED, &usual(), &kept).unwrap();
    assert_eq!(first.document, again.document);
    assert!(
        again.new_draws.is_empty(),
        "what was drawn is not drawn again"
    );
    let mut worn = usual();
    let spot = &first.document.sensors[0];
    worn.worn = vec![(spot.number, "s04")];
    let (later, _) = plan_of(AGREED, &worn, &kept).unwrap();
    assert_eq!(
        later.document.sensors[0].number, 2,
        "a draw that was worn is done"
    );
}

#[test]
fn a_draw_that_a_limit_stops_is_given_up_and_says_why() {
    let (first, _) = plan_of(AGREED, &usual(), &[]).unwrap();
    let spot = first.new_draws[0].clone();
    let mut log = usual();
    let site: &'static str = Box::leak(spot.site.clone().into_boxed_str());
    log.skin = vec![(site, spot.side.word(), "2026-09-29T08:00:00Z", 3.0)];
    let (made, _) = plan_of(AGREED, &log, &first.new_draws).unwrap();
    assert_ne!(made.document.sensors[0].number, spot.number);
    let limits = made.document.limits.join("\n");
    assert!(
        limits.contains("Draw 1 ") && limits.contains("found itch or worse"),
        "{limits}"
    );
}

/// A spot that stays closed is told of among the limits, and stops no plan that the others fill.
#[test]
fn a_plan_that_has_all_that_was_asked_for_says_of_no_limit_to_it() {
    let mut log = usual();
    log.skin = vec![("abdomen", "right", "2026-09-29T08:00:00Z", 3.0)];
    let (made, settings) = plan_of(AGREED, &log, &[]).unwrap();
    let page = markdown(&made, &settings);
    assert_eq!(made.document.sensors.len(), 6);
    assert!(!page.contains("No more than these"), "{page}");
    assert!(page.contains("- Abdomen, right: the last look"), "{page}");
}

#[test]
fn without_a_plan_only_sites_on_the_label_and_it_says_so() {
    let settings = "[study]\nunit = \"mg/dL\"\n[sites.abdomen]\non_label = true\n";
    let (made, _) = plan_of(settings, &usual(), &[]).unwrap();
    assert!(
        made.document
            .sensors
            .iter()
            .all(|sensor| sensor.site == "abdomen")
    );
    assert!(
        made.document.limits[0].contains("only sites on the device's label: Abdomen"),
        "{:?}",
        made.document.limits
    );
    let none = plan_of("[study]\nunit = \"mg/dL\"\n", &usual(), &[]).unwrap_err();
    assert!(matches!(none, PlanError::NoSite { .. }));
    assert!(
        none.to_string().contains("study.toml says of no site"),
        "{none}"
    );
}

#[test]
fn of_a_site_that_nothing_is_said_of_it_is_not_said_that_it_is_off_label() {
    for (language, remark) in [
        ("en", "not said whether on the label"),
        ("de", "nicht angegeben, ob vom Hersteller vorgesehen"),
    ] {
        let settings = AGREED.replace("on_label = true\n", "");
        let settings = settings.replace(
            "[study]\n",
            &format!("[study]\nlanguage = \"{language}\"\n"),
        );
        let (made, settings) = plan_of(&settings, &usual(), &[]).unwrap();
        let page = markdown(&made, &settings);
        let remarked = format!("Chest \\<b\\>\\* ({remark})");
        let all = page.matches("Chest").count();
        assert_eq!((all > 1, all), (true, page.matches(&remarked).count()));
        assert!(
            page.contains(remark) && !page.contains("off-label"),
            "{page}"
        );
        assert!(!page.contains("(vom Hersteller"), "{page}");
    }
}

#[test]
fn that_nothing_is_said_of_the_label_is_told() {
    let said = |settings: &str| label_not_said(&Settings::parse(settings).unwrap());
    assert_eq!(said(AGREED), None);
    let calf = "[study]\nunit = \"mg/dL\"\n[sites.calf]\n";
    assert_eq!(said(&format!("{calf}on_label = false\n")), None);
    let line = said(&format!("{calf}label = \"Calf\"\n")).unwrap();
    assert!(
        line.contains("of no site whether it is on the device's label"),
        "{line}"
    );
}

#[test]
fn an_impossible_request_names_the_limit() {
    let settings = "[study]\nunit = \"mg/dL\"\n[plan]\nsites = [\"abdomen\"]\n";
    let mut log = usual();
    log.skin = vec![("abdomen", "", "2026-09-29T08:00:00Z", 3.0)];
    let error = plan_of(settings, &log, &[]).unwrap_err().to_string();
    assert!(
        error.contains("Abdomen (not said whether on the label), left: the last look at the skin found itch or worse"),
        "{error}"
    );
    assert!(error.contains("right"), "{error}");

    let german = settings.replace("[study]\n", "[study]\nlanguage = \"de\"\n");
    let german = german + "[sites.abdomen]\nlabel = \"Bauch\"\non_label = true\n";
    let error = plan_of(&german, &log, &[]).unwrap_err().to_string();
    let start = "für kelp lässt sich kein Sensor planen: Bauch, links: beim letzten Blick war die Haut gereizt";
    assert!(
        error.starts_with(start) && error.contains("Bauch, rechts: "),
        "{error}"
    );
    assert_eq!(english_words(&error), Vec::<&str>::new(), "{error}");
}

#[test]
fn plan_json_has_exactly_these_keys() {
    let (made, _) = plan_of(AGREED, &usual(), &[]).unwrap();
    let json = serde_json::to_value(&made.document).unwrap();
    let keys = |value: &serde_json::Value| -> Vec<String> {
        value.as_object().unwrap().keys().cloned().collect()
    };
    assert_eq!(
        keys(&json),
        [
            "version",
            "wearer",
            "as_of",
            "seed",
            "sensors",
            "settle",
            "fingersticks",
            "best",
            "limits"
        ]
    );
    assert_eq!(json["version"], 1);
    assert_eq!(json["as_of"], "2026-10-01T07:00:00Z");
    assert_eq!(
        keys(&json["sensors"][0]),
        [
            "number", "site", "side", "earliest", "latest", "drawn", "reason"
        ]
    );
    assert_eq!(
        keys(&json["settle"][0]),
        [
            "measure",
            "site",
            "against",
            "more_sensors",
            "months",
            "power"
        ]
    );
    assert_eq!(
        keys(&json["fingersticks"][0]),
        ["site", "range", "rate", "count", "hours", "reason"]
    );
    assert_eq!(keys(&json["best"][0]), ["site", "probability"]);
    let total: f64 = made.document.best.iter().map(|row| row.probability).sum();
    assert!((total - 1.0).abs() < 1e-9);
}

#[test]
fn what_is_settled_takes_no_more_sensors_and_no_more_draws() {
    let mut log = usual();
    log.conclusions = vec![
        ("stays-on", "upper-arm-back", "chest", "open", Some(12.0)),
        ("stays-on", "upper-arm-back", "abdomen", "alike", None),
    ];
    let (made, settings) = plan_of(AGREED, &log, &[]).unwrap();
    let row = |site: &str| {
        made.document
            .settle
            .iter()
            .find(|row| row.site == site)
            .unwrap()
            .clone()
    };
    assert_eq!(row("abdomen").more_sensors, Some(0.0));
    assert_eq!(row("abdomen").power, None);
    let chest = row("chest");
    assert_eq!((chest.more_sensors, chest.power), (Some(12.0), Some(0.8)));
    // By hand: of the draws 0.9 go to the two sites that are compared, 12 sensors each, 10 days a sensor.
    let months = 24.0 / 0.9 * 10.0 / (365.25 / 12.0);
    assert!((chest.months.unwrap() - months).abs() < 1e-9, "{chest:?}");
    let page = markdown(&made, &settings);
    assert!(
        page.contains("it does not matter which of the two you wear"),
        "{page}"
    );
    assert!(
        page.contains("About 12 more sensors a site settle it, some 9 months of your wear."),
        "{page}"
    );
    // Half the width of the interval is 0.25: 1.43 times that could be shown.
    assert!(
        page.contains("could show a difference of 36 % of the sensors"),
        "{page}"
    );
}

#[test]
fn the_page_says_off_label_each_time_escapes_labels_and_gives_no_advice() {
    let (made, settings) = plan_of(AGREED, &usual(), &[]).unwrap();
    let page = markdown(&made, &settings);
    assert!(page.contains("Chest \\<b\\>\\* (off-label)"), "{page}");
    assert_eq!(
        page.matches("Chest").count(),
        page.matches("\\* (off-label)").count()
    );
    assert!(!page.contains("<b>"));
    for word in [" should ", " must ", " dose", "recommend", " units"] {
        assert!(!page.to_lowercase().contains(word), "{word}: {page}");
    }
    assert!(
        page.contains("evidence from your own log and no advice, and not for treatment decisions")
    );
    assert!(page.contains("the mean difference there to 5 % either way; at most 12"));
    assert!(page.contains("A drop seen live at night: a fingerstick now would settle it."));
}

/// Lines of one site and hour are told apart by how they begin, and the most is of each.
#[test]
fn fingersticks_are_asked_for_by_day_of_wear_first() {
    let (made, settings) = plan_of(AGREED, &usual(), &[]).unwrap();
    let page = markdown(&made, &settings);
    assert!(
        page.contains("at most 12 are asked for in each line."),
        "{page}"
    );
    for line in [
        "- **Abdomen, in a sensor's first day**: about ",
        "- **Abdomen, after a sensor's first day**: about ",
    ] {
        let (_, rest) = page
            .split_once(line)
            .unwrap_or_else(|| panic!("{line}: {page}"));
        let rest = rest.lines().next().unwrap();
        assert!(
            !rest.contains("first day") && rest.contains(" so far; your"),
            "{rest}"
        );
    }
    let reason = &made.document.fingersticks[0].reason;
    assert!(reason.contains("a sensor's first day: "), "{reason}");
}

/// Words that no German page holds; names of files, keys and the study's own texts aside.
const ENGLISH: [&str; 24] = [
    "the",
    "of",
    "and",
    "is",
    "to",
    "for",
    "that",
    "site",
    "sensors",
    "open",
    "drawn",
    "by",
    "lot",
    "left",
    "right",
    "from",
    "with",
    "spread",
    "off-label",
    "settled",
    "stays",
    "skin",
    "October",
    "each",
];

fn english_words(page: &str) -> Vec<&str> {
    let words = page.split(|c: char| !c.is_alphanumeric() && c != '-' && c != '.');
    let words = words.map(|word| word.trim_matches('.'));
    words.filter(|word| ENGLISH.contains(word)).collect()
}

#[test]
fn a_german_page_has_no_english_word_left() {
    let german = |settings: &str| {
        let language = "[study]\nlanguage = \"de\"\ntitle = \"Wo sie sitzen\"\n";
        let named = settings.replace("[study]\n", language);
        named.replace(
            "[sites.upper-arm-back]\n",
            "[sites.upper-arm-back]\nlabel = \"Oberarm hinten\"\n",
        )
    };
    let mut log = usual();
    log.conclusions = vec![
        ("stays-on", "upper-arm-back", "chest", "leans", Some(12.0)),
        ("stays-on", "upper-arm-back", "abdomen", "alike", None),
    ];
    log.skin = vec![("abdomen", "left", "2026-09-29T08:00:00Z", 3.0)];
    for aim in ["learn", "wear-best", "half-half"] {
        let settings = format!("{}aim = \"{aim}\"\n", german(AGREED));
        let settings = settings.replace("mg/dL", "mmol/L");
        let (first, _) = plan_of(&settings, &usual(), &[]).unwrap();
        let (made, settings) = plan_of(&settings, &log, &first.new_draws).unwrap();
        let page = markdown(&made, &settings);
        assert_eq!(english_words(&page), Vec::<&str>::new(), "{page}");
        for words in [
            "Die nächsten Sensoren",
            "3,9 bis 10,0 mmol/L",
            "ab 04.10.2026",
            "(vom Hersteller nicht vorgesehen), rechts",
            "gleich bis auf 10 % der Sensoren",
            "kein Rat, und nicht für Therapieentscheidungen",
        ] {
            assert!(page.contains(words), "{words}: {page}");
        }
        let english = AGREED.replace("[plan]\n", &format!("[plan]\naim = \"{aim}\"\n"));
        let (made, settings) = plan_of(&english, &log, &[]).unwrap();
        let found = english_words(&markdown(&made, &settings)).len();
        assert!(found > 50, "the list of words finds {found}");
    }
    let settings = Settings::parse(&german(AGREED)).unwrap();
    let conclusions = log.tables().pop();
    let page = frozen::markdown(&settings, "0123", "0.1.0", conclusions.as_ref()).unwrap();
    assert_eq!(english_words(&page), Vec::<&str>::new(), "{page}");
}

#[test]
fn a_frozen_plan_says_how_many_sensors_each_question_takes() {
    let mut log = usual();
    log.conclusions = vec![
        ("stays-on", "upper-arm-back", "chest", "open", Some(12.0)),
        ("stays-on", "upper-arm-back", "abdomen", "alike", None),
    ];
    let settings = Settings::parse(AGREED).unwrap();
    let conclusions = log.tables().pop();
    let page = frozen::markdown(&settings, "0123", "0.1.0", conclusions.as_ref()).unwrap();
    assert!(page.contains("Chest \\<b\\>\\* (off-label): about 12 more sensors a site"));
    assert!(page.contains("against Abdomen: settled"), "{page}");
}

/// Three planned sites: the row with the calf is none of the plan's, and of the chest the log has nothing.
#[test]
fn a_frozen_plan_tells_of_planned_sites_alone_and_of_each() {
    let frozen = |settings: &str, conclusions| {
        let log = Log {
            conclusions,
            ..usual()
        };
        let settings = Settings::parse(settings).unwrap();
        let conclusions = log.tables().pop();
        let page = frozen::markdown(&settings, "0123", "0.1.0", conclusions.as_ref()).unwrap();
        page.split_once("## Sample size\n\n").unwrap().1.to_owned()
    };
    let rows = vec![
        ("stays-on", "upper-arm-back", "calf", "open", Some(12.0)),
        ("stays-on", "upper-arm-back", "abdomen", "open", Some(1.2)),
    ];
    let chest = "Chest \\<b\\>\\* (off-label)";
    let expected = [
        "- Stays on: Back of the upper arm against Abdomen: about 1 more sensor a site",
        &format!("- Stays on: {chest} against Back of the upper arm: no data yet"),
    ];
    let unnamed = AGREED.replace("reference = \"upper-arm-back\"\n", "");
    for settings in [AGREED, &unnamed] {
        let page = frozen(settings, rows.clone());
        let lines: Vec<&str> = page.lines().filter(|line| line.starts_with('-')).collect();
        assert_eq!(lines, expected);
    }
    let one = AGREED.replace(
        "[\"stays-on\"]",
        "[{ measure = \"stays-on\", site = \"abdomen\", against = \"upper-arm-back\" }, { measure = \"delay\", site = \"chest\", against = \"abdomen\" }]",
    );
    let page = frozen(&one, rows.clone());
    assert!(
        page.ends_with(&format!(
            "a site\n- Delay: {chest} against Abdomen: no data yet\n"
        )),
        "{page}"
    );
    assert_eq!(page.matches("\n- ").count(), 2, "{page}");
    let none = frozen(AGREED, rows[..1].to_vec());
    assert!(none.ends_with("No data yet tell how many that is.\n"));
}

#[test]
fn one_sensor_and_one_month_are_not_said_of_many() {
    let mut log = usual();
    log.conclusions = vec![("stays-on", "upper-arm-back", "abdomen", "open", Some(0.6))];
    for (settings, line) in [
        (
            AGREED.to_owned(),
            "About 1 more sensor a site settles it, a month or less of your wear.\n",
        ),
        (
            AGREED.replace("[study]\n", "[study]\nlanguage = \"de\"\n"),
            "Etwa 1 weiterer Sensor je Stelle entscheidet es, bei Ihnen höchstens ein Monat.\n",
        ),
    ] {
        let (made, settings) = plan_of(&settings, &log, &[]).unwrap();
        let page = markdown(&made, &settings);
        assert!(page.contains(line), "{page}");
    }
}

#[test]
fn what_waits_is_told_of_sites_that_may_be_planned() {
    let mut log = usual();
    log.conclusions = vec![
        ("stays-on", "upper-arm-back", "abdomen", "open", Some(12.0)),
        (
            "reads-true",
            "upper-arm-back",
            "abdomen",
            "alike",
            Some(3.0),
        ),
        ("quiet-at-night", "upper-arm-back", "abdomen", "leans", None),
        ("stays-on", "upper-arm-back", "chest", "open", Some(9.0)),
    ];
    let conclusions = log.tables().pop().unwrap();
    let on_label = AGREED.split("[plan]").next().unwrap();
    let settings = Settings::parse(on_label).unwrap();
    let line =
        "Stays on, Back of the upper arm against Abdomen: about 12 more sensors a site settle it";
    assert_eq!(waiting(&settings, &conclusions), [line]);
    let agreed = Settings::parse(AGREED).unwrap();
    assert_eq!(waiting(&agreed, &conclusions).len(), 2);
}

#[test]
fn a_wearer_who_is_not_there_is_named_with_those_who_are() {
    let settings = Settings::parse(AGREED).unwrap();
    let tables = usual().tables();
    let study = Study {
        settings: &settings,
        cutoff: 0,
        tables: &tables,
    };
    assert_eq!(choose_wearer(&study, None).unwrap(), "kelp");
    let nobody = Log::default().tables();
    let empty = Study {
        tables: &nobody,
        ..study
    };
    let none = choose_wearer(&empty, Some("kelp"));
    assert!(matches!(none, Err(PlanError::NoSensor)));
    let error = choose_wearer(&study, Some("gorse"))
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("`gorse`") && error.contains("kelp"),
        "{error}"
    );
}
