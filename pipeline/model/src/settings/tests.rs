use super::*;
use crate::sites::label_is_told;
use crate::time::format_utc;

#[test]
fn defaults_are_those_of_the_definitions() {
    let settings = Settings::parse("").unwrap();
    assert_eq!(settings.wear.rated_days, 14.0);
    assert_eq!(settings.pairing.minutes, 5.0);
    assert_eq!(settings.night.coverage, 0.70);
    assert_eq!(settings.study.wearer, "wearer-1");
    assert_eq!(settings.study.unit, None, "a unit has no default");
    assert_eq!(settings.all_sites().len(), 9);
    assert!(
        settings
            .all_sites()
            .iter()
            .all(|site| site.on_label.is_none())
    );
    assert!(!label_is_told(&settings.all_sites()));
    let plan = settings.study_plan();
    assert_eq!((plan.rest_days, plan.rest_days_after_skin), (14.0, 28.0));
    assert_eq!(plan.aim, Aim::Learn);
    let margins: Vec<f64> = plan.margins.into_values().collect();
    assert_eq!(margins, [0.10, 2.0, 5.0, 2.0, 3.0]);
    assert_eq!(settings.plan, None);
}

/// A file of several sections that share their keys: each error names the line of its own.
#[test]
fn an_error_names_its_own_line_and_key() {
    let good = "[study]\n\
        timezone = \"Europe/Lisbon\"\n\
        unit = \"mg/dL\"\n\
        [wear]\n\
        rated_days = 14\n\
        [wearers.kelp]\n\
        timezone = \"Europe/Berlin\"\n\
        rated_days = 10\n\
        zones = [{ from = \"2026-04-02\", timezone = \"Asia/Tokyo\" }]\n\
        [wearers.moss]\n\
        rated_days = 7\n\
        [models.\"M 1\"]\n\
        rated_days = 7\n\
        [night]\n\
        from = \"23:00\"\n\
        [exports.a]\n\
        table = \"readings\"\n\
        files = \"a/*.csv\"\n\
        unit = \"mg/dL\"\n\
        offset = \"+01:00\"\n\
        [exports.b]\n\
        table = \"fingersticks\"\n\
        files = \"b/*.csv\"\n\
        unit = \"mmol/L\"\n\
        [[corrections]]\n\
        sensor = \"s1\"\n\
        from = \"2026-03-01\"\n\
        clock_minutes = -60\n\
        [[corrections]]\n\
        meter = \"m1\"\n\
        unit = \"mmol/L\"\n\
        [[seen]]\n\
        kind = \"meter\"\n\
        [plan]\n\
        sites = [\"chest\", \"calf\"]\n\
        primary = [\"stays-on\", { measure = \"delay\", site = \"calf\", against = \"chest\" }]\n\
        margins = { stays-on = 0.2 }\n\
        [priorities]\n\
        skin = 3\n";
    Settings::parse(good).unwrap();
    for (line, from, to, word) in [
        (3, "mg/dL", "mg", "study.unit"),
        (5, "14", "0", "wear.rated_days"),
        (7, "Berlin", "Berlyn", "wearers.kelp.timezone"),
        (8, "10", "-1", "wearers.kelp.rated_days"),
        (8, "10", "\"ten\"", "wearers.kelp.rated_days"),
        (
            8,
            "rated_days",
            "rated_day",
            "`wearers.kelp.rated_day`; did you mean `rated_days`?",
        ),
        (9, "Tokyo", "Edo", "wearers.kelp.zones[1]"),
        (
            9,
            "from",
            "form",
            "`wearers.kelp.zones.form`; did you mean `from`?",
        ),
        (9, "2026-04-02", "April", "April"),
        (11, "7", "4000", "wearers.moss.rated_days"),
        (13, "7", "0", "models.M 1.rated_days"),
        (15, "23:00", "25:00", "night.from"),
        (19, "mg/dL", "mg", "exports.a.unit"),
        (20, "+01:00", "1 hour", "exports.a.offset"),
        (
            22,
            "fingersticks",
            "fingerstick",
            "did you mean `fingersticks`?",
        ),
        (
            22,
            "fingersticks",
            "meals",
            "use `readings`, `fingersticks` or `wear-events`",
        ),
        (
            22,
            "fingersticks",
            "finger\\nsticks",
            "unknown table `finger\\u{a}sticks`",
        ),
        (24, "mmol/L", "g/L", "exports.b.unit"),
        (27, "2026-03-01", "2026-03-32", "2026-03-32"),
        (27, "from", "since", "use `wearer`, `sensor`,"),
        (28, "-60", "600000", "corrections[1].clock_minutes"),
        (31, "mmol/L", "mmol", "corrections"),
        (
            29,
            "unit = \"mmol/L\"",
            "from = \"2026-01-01\"",
            "corrections[2]: a correction sets one of",
        ),
        (33, "meter", "meters", "did you mean `meter`?"),
        (
            35,
            "calf",
            "calv",
            "plan.sites: unknown site `calv`; did you mean `calf`?",
        ),
        (36, "stays-on", "stay-on", "primary"),
        (
            36,
            "against = \"chest\"",
            "against = \"calf\"",
            "compared with itself",
        ),
        (37, "0.2", "0", "plan.margins.stays-on"),
        (37, "0.2", "\"much\"", "plan.margins.stays-on: invalid type"),
        (39, "3", "9", "priorities.skin"),
    ] {
        let text = replace_in_line(good, if line == 29 { 31 } else { line }, from, to);
        let error = Settings::parse(&text).unwrap_err();
        assert_eq!(error.line, line, "{from} -> {to}: {error}");
        assert!(error.message.contains(word), "{from} -> {to}: {error}");
    }
    assert_eq!(Settings::parse("[study\n").unwrap_err().line, 1);
}

fn replace_in_line(text: &str, line: usize, from: &str, to: &str) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    assert!(lines[line - 1].contains(from), "line {line}: {from}");
    lines[line - 1] = lines[line - 1].replacen(from, to, 1);
    lines.join("\n")
}

#[test]
fn every_known_key_is_read() {
    let text = r#"
        [study]
        title = "t"
        wearer = "w"
        timezone = "Europe/Lisbon"
        unit = "mmol/L"
        language = "de"
        date_format = "%d/%m/%Y"
        keep_doubtful = true
        [wear]
        rated_days = 14
        warmup_hours = 1
        [wearers.a]
        timezone = "UTC"
        rated_days = 10
        warmup_hours = 2
        zones = [{ from = "2026-04-02", timezone = "Asia/Tokyo" }]
        [wearers.a.plan]
        sites = ["calf"]
        rest_days = 20
        margins = { delay = 4 }
        [models."M 1"]
        rated_days = 7
        [night]
        from = "22:30"
        to = "06:00"
        coverage = 0.5
        [pairing]
        minutes = 7
        [sites.lower-back]
        label = "Back"
        on_label = true
        [sites.hip]
        [exports.x]
        table = "readings"
        files = "exports/*.csv"
        columns = { time = ["Day", "Clock"], glucose = "G" }
        constants = { wearer = "kelp" }
        values = { status = { "ERR" = "error" } }
        rows = { "Row kind" = ["0", ""] }
        time_format = "%d/%m/%Y %H:%M"
        offset = "-03:30"
        unit = "mmol/L"
        skip_lines = 1
        encoding = "latin-1"
        [exports.y]
        table = "readings"
        files = "y.csv"
        timezone = "Asia/Tokyo"
        [[corrections]]
        wearer = "a"
        sensor = "s12"
        file = "readings/*.csv"
        from = 2026-03-01
        to = 2026-03-05T12:00:00Z
        clock_minutes = -60
        [[corrections]]
        meter = "kitchen"
        unit = "mmol/L"
        [[corrections]]
        file = "a.csv"
        leave_out = true
        [[seen]]
        kind = "meter"
        wearer = "a"
        sensor = "s"
        meter = "kitchen"
        site = "calf"
        file = "f"
        to = 2026-03-31
        [plan]
        sites = ["calf", "chest"]
        aim = "half-half"
        primary = ["stays-on", { measure = "quiet-at-night", site = "calf", against = "chest" }]
        reference = "chest"
        margins = { stays-on = 0.2 }
        rest_days = 10
        rest_days_after_skin = 30
        [priorities]
        stays-on = 3
        reads-true = 1
        steady = 2
        quiet-at-night = 5
        skin = 4
        comfort = 0
        out-of-sight = 0.5
        [fhir]
        readings = ["1"]
        fingersticks = ["2"]
        sensor = "from wear events"
        wearers = { "Patient/7" = "anna" }
    "#;
    let settings = Settings::parse(text).unwrap();
    assert!(settings.study.keep_doubtful);
    assert_eq!(settings.rated_days("a", "M 1"), 7.0);
    assert_eq!(settings.rated_days("a", ""), 10.0);
    assert_eq!(settings.warmup_hours("a"), 2.0);
    assert_eq!(settings.warmup_hours("b"), 1.0);
    let format = settings.study.date_format.as_ref().unwrap();
    assert_eq!(format.pattern(), "%d/%m/%Y");
    let sites = settings.all_sites();
    let back = sites.iter().find(|s| s.key == "lower-back").unwrap();
    assert_eq!((back.label.as_str(), back.on_label), ("Back", Some(true)));
    assert!(label_is_told(&sites));
    assert_eq!(sites.last().unwrap().label, "hip");
    let export = &settings.exports["x"];
    assert_eq!(export.columns["time"].names(), ["Day", "Clock"]);
    assert_eq!(export.values["status"]["ERR"], "error");
    assert_eq!(export.rows["Row kind"], ["0", ""]);
    assert_eq!(export.encoding, Some(Encoding::Latin1));
    let correction = &settings.corrections[0];
    assert_eq!(correction.from, When::parse("2026-03-01"));
    assert_eq!(correction.to, When::parse("2026-03-05T12:00:00Z"));
    assert_eq!(settings.seen[0].site.as_deref(), Some("calf"));
    assert_eq!(settings.seen[0].to, When::parse("2026-03-31"));
    assert_eq!(settings.priorities.weights()[6], ("out-of-sight", 0.5));
    assert_eq!(settings.fhir.sensor, Some(SensorFrom::WearEvents));
    let own = settings.wearer_plan("a");
    assert_eq!(
        (own.sites.as_slice(), own.rest_days),
        (["calf".to_owned()].as_slice(), 20.0)
    );
    assert_eq!(
        (own.margins[&Measure::StaysOn], own.margins[&Measure::Delay]),
        (0.2, 4.0)
    );
    assert_eq!(own.primary.len(), 2);
    assert_eq!(settings.wearer_plan("b"), settings.study_plan());
    assert_eq!(settings.study_plan().aim, Aim::HalfHalf);
}

/// What is written out is read again: `run.json` holds the settings of a run.
#[test]
fn settings_survive_being_written() {
    let text = "[study]\ndate_format = \"%d.%m.%Y\"\n[[corrections]]\nfile = \"a\"\nfrom = 2026-03-01\nleave_out = true\n\
        [plan]\nprimary = [{ measure = \"delay\", site = \"calf\", against = \"chest\" }]\n";
    let settings = Settings::parse(text).unwrap();
    let written = toml::to_string(&settings).unwrap();
    assert_eq!(Settings::parse(&written).unwrap(), settings, "{written}");
}

/// Lisbon is an hour ahead of UTC in April, Tokyo nine hours all year (IANA time zone database).
#[test]
fn a_journey_begins_by_the_clock_of_the_place_left() {
    let text = "[study]\ntimezone = \"Europe/Lisbon\"\n[wearers.a]\nzones = [\n\
        { from = \"2026-04-02\", timezone = \"Asia/Tokyo\" },\n\
        { from = \"2026-04-12T18:00\", timezone = \"Europe/Lisbon\" }]\n";
    let zones = Settings::parse(text).unwrap().wearer_zones("a");
    let from: Vec<String> = zones
        .iter()
        .filter_map(|z| z.from.map(format_utc))
        .collect();
    assert_eq!(from, ["2026-04-01T23:00:00Z", "2026-04-12T09:00:00Z"]);
    let names: Vec<&str> = zones.iter().map(|zone| zone.name.as_str()).collect();
    assert_eq!(names, ["Europe/Lisbon", "Asia/Tokyo", "Europe/Lisbon"]);
    let clock = |date: &str, clock: &str| {
        let at = ZoneFrom::at_clock(&zones, date.parse().unwrap(), clock.parse().unwrap());
        format_utc(at.unwrap())
    };
    assert_eq!(clock("2026-04-01", "23:00"), "2026-04-01T22:00:00Z");
    assert_eq!(
        clock("2026-04-02", "07:00"),
        "2026-04-01T23:00:00Z",
        "passed over in flight"
    );
    assert_eq!(clock("2026-04-05", "23:00"), "2026-04-05T14:00:00Z");
    assert_eq!(clock("2026-04-12", "23:00"), "2026-04-12T22:00:00Z");
    assert_eq!(
        clock("2026-04-12", "18:00"),
        "2026-04-12T17:00:00Z",
        "at the very time of the change it is the new clock's"
    );
    let backwards = text.replace("2026-04-12T18:00", "2026-04-01T18:00");
    assert!(
        Settings::parse(&backwards)
            .unwrap_err()
            .message
            .contains("in order of time")
    );
}

#[test]
fn a_date_format_writes_a_whole_date() {
    for (pattern, fits) in [
        ("%d.%m.%Y", true),
        ("%Y-%m-%d", true),
        ("%-d %B %Y", true),
        ("%d.%m.", false),
        ("DD.MM.YYYY", false),
        ("%q", false),
        ("", false),
    ] {
        let text = format!("[study]\ndate_format = \"{pattern}\"\n");
        assert_eq!(Settings::parse(&text).is_ok(), fits, "{pattern}");
    }
}

#[test]
fn a_block_of_an_export_is_read_as_it_was() {
    let words = |pairs: &[(&str, &str)]| -> BTreeMap<String, String> {
        pairs
            .iter()
            .map(|(a, b)| ((*a).to_owned(), (*b).to_owned()))
            .collect()
    };
    let export = Export {
        table: "readings".to_owned(),
        files: "exports/a \"b\".csv".to_owned(),
        columns: [
            (
                "time".to_owned(),
                Columns::Several(vec!["Tag".to_owned(), "Uhr [h]".to_owned()]),
            ),
            ("glucose".to_owned(), Columns::One("Wert\\x".to_owned())),
        ]
        .into(),
        constants: words(&[("wearer", "kelp")]),
        values: [(
            "status".to_owned(),
            words(&[("ERR = 4", "error"), ("'x'", "ok")]),
        )]
        .into(),
        rows: [(
            "Art = 'x'".to_owned(),
            vec!["CGM".to_owned(), "a \"b\"".to_owned()],
        )]
        .into(),
        time_format: Some("%d/%m/%Y %H:%M".to_owned()),
        timezone: None,
        offset: Some("+01:00".to_owned()),
        unit: Some(Unit::MmolL),
        skip_lines: 2,
        encoding: Some(Encoding::Latin1),
    };
    let block = export.block("my file");
    let settings = Settings::parse(&block).unwrap();
    assert_eq!(settings.exports["my file"], export, "{block}");
}

/// The sites of the study are not looked through for each other: with 200,000 that took minutes.
#[test]
fn many_sites_take_no_time() {
    let started = std::time::Instant::now();
    let settings = Settings {
        sites: (0..200_000)
            .map(|number| (format!("site-{number}"), SiteSettings::default()))
            .collect(),
        ..Settings::default()
    };
    assert_eq!(settings.all_sites().len(), 200_009);
    assert!(started.elapsed().as_secs() < 30);
}

/// The study's own unit, else that of an export, else mg/dL.
#[test]
fn the_unit_of_the_report() {
    let unit = |text: &str| Settings::parse(text).unwrap().unit();
    let export = "[exports.a]\ntable = \"readings\"\nfiles = \"a\"\nunit = \"mmol/L\"\n";
    assert_eq!(unit(""), Unit::MgDl);
    assert_eq!(unit(export), Unit::MmolL);
    let study = format!("[study]\nunit = \"mg/dL\"\n{export}");
    assert_eq!(unit(&study), Unit::MgDl);
}

/// In January Lisbon is at UTC and Tokyo nine hours ahead (IANA time zone database); offsets are by hand.
#[test]
fn whose_clock_wrote_a_time() {
    let text = "[study]\ntimezone = \"Asia/Tokyo\"\n[wearers.a]\ntimezone = \"Europe/Lisbon\"\n\
        [exports.a]\ntable = \"readings\"\nfiles = \"a\"\ntimezone = \"Asia/Tokyo\"\n\
        [exports.b]\ntable = \"readings\"\nfiles = \"b\"\noffset = \"-03:30\"\n\
        [exports.c]\ntable = \"readings\"\nfiles = \"c\"\n";
    let settings = Settings::parse(text).unwrap();
    let hours = |zone: TimeZone| {
        let at = jiff::Timestamp::from_second(1_767_225_600).unwrap();
        f64::from(zone.to_offset(at).seconds()) / 3600.0
    };
    assert_eq!(hours(settings.zone()), 9.0);
    assert_eq!(hours(settings.home_zone("a")), 0.0);
    assert_eq!(hours(settings.home_zone("b")), 9.0);
    assert_eq!(settings.exports["a"].zone().map(hours), Some(9.0));
    assert_eq!(settings.exports["b"].zone().map(hours), Some(-3.5));
    assert_eq!(settings.exports["c"].zone(), None);
    assert_eq!(hours(Settings::default().zone()), 0.0);
}

/// Offsets as ISO 8601-1:2019 writes them; at most 23 hours and 59 minutes.
#[test]
fn offsets_from_utc() {
    let seconds = |text: &str| check::parse_offset(text).map(|offset| offset.seconds());
    for (text, wanted) in [
        ("Z", Some(0)),
        ("+00:00", Some(0)),
        ("+01:00", Some(3_600)),
        ("-05:45", Some(-20_700)),
        ("+23:59", Some(86_340)),
        ("+23:60", None),
        ("+24:00", None),
        ("+24:60", None),
        ("+1:00", None),
        ("+01:0", None),
        ("01:00", None),
        ("", None),
    ] {
        assert_eq!(seconds(text), wanted, "{text}");
    }
}

#[test]
fn nights_without_bed_and_rise_go_by_the_clock() {
    let settings = Settings::parse("[night]\nfrom = \"22:30\"\nto = \"6:05\"\n").unwrap();
    let clock = jiff::civil::time;
    let night = (clock(22, 30, 0, 0), clock(6, 5, 0, 0));
    assert_eq!(settings.clock_night(), night);
}

#[test]
fn a_correction_is_about_one_thing_and_sets_one() {
    let fits = |keys: &str| Settings::parse(&format!("[[corrections]]\n{keys}\n")).is_ok();
    for keys in [
        "sensor = \"s\"\nclock_minutes = 525600",
        "sensor = \"s\"\nclock_minutes = -525600",
        "file = \"f\"\nsensor = \"s\"\nleave_out = true",
        "meter = \"m\"\nunit = \"mg/dL\"",
    ] {
        assert!(fits(keys), "{keys}");
    }
    for keys in [
        "sensor = \"s\"\nclock_minutes = 525601",
        "sensor = \"s\"\nclock_minutes = -525601",
        "sensor = \"s\"\nclock_minutes = nan",
        "sensor = \"s\"\nmeter = \"m\"\nleave_out = true",
        "sensor = \"s\"",
        "sensor = \"s\"\nclock_minutes = 5\nleave_out = true",
        "leave_out = true",
    ] {
        assert!(!fits(keys), "{keys}");
    }
}

/// The first journey may begin whenever it likes; two at once have no order.
#[test]
fn journeys_do_not_begin_together() {
    let zones = |second: &str| {
        let text = format!(
            "[wearers.a]\nzones = [{{ from = \"2026-04-02T00:00Z\", timezone = \"Asia/Tokyo\" }}, \
             {{ from = \"{second}\", timezone = \"UTC\" }}]\n"
        );
        Settings::parse(&text).is_ok()
    };
    assert!(zones("2026-04-02T00:01Z"));
    assert!(!zones("2026-04-02T00:00Z"));
}

#[test]
fn limits_of_values_are_allowed_themselves() {
    for (text, fits) in [
        ("[night]\ncoverage = 0\n", true),
        ("[night]\ncoverage = 1\n", true),
        ("[night]\ncoverage = 1.01\n", false),
        ("[pairing]\nminutes = 60\n", true),
        ("[pairing]\nminutes = 61\n", false),
        ("[wear]\nwarmup_hours = -1\n", false),
        ("[priorities]\nskin = 5\n", true),
        ("[priorities]\nskin = -1\n", false),
    ] {
        assert_eq!(Settings::parse(text).is_ok(), fits, "{text}");
    }
    let error = Settings::parse("[wear]\nrated_days = 0\n").unwrap_err();
    let words = "`rated_days` is 0: it goes from more than 0 to 3650";
    assert!(error.message.contains(words), "{error}");
    let error = Settings::parse("[pairing]\nminutes = -1\n").unwrap_err();
    assert!(error.message.contains("from 0 to 60"), "{error}");
}

/// A name of letters, digits, `-` and `_` needs no quotation marks (TOML 1.0, bare keys), and what is not set is not written.
#[test]
fn a_block_of_an_export_says_no_more_than_it_has_to() {
    let export = Export {
        table: "readings".to_owned(),
        files: "a.csv".to_owned(),
        ..Export::default()
    };
    assert_eq!(
        export.block("pump-2_b"),
        "[exports.pump-2_b]\ntable = \"readings\"\nfiles = \"a.csv\"\n"
    );
    assert!(export.block("a b").starts_with("[exports.\"a b\"]\n"));
    assert!(export.block("").starts_with("[exports.\"\"]\n"));
    for name in [
        "two\nlines",
        "a \"\"\" b\r",
        "x = 0\n",
        "\u{7f}\u{0}",
        "'\\",
    ] {
        let block = export.block(name);
        let settings = Settings::parse(&block).unwrap();
        assert!(settings.exports.contains_key(name), "{block}");
        assert!(block.lines().next().unwrap().ends_with("\"]"), "{block}");
    }
}
