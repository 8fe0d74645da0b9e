use whereworn_model::time::Micros;

use super::*;
use crate::block::STATUSES;
use crate::input::Table;
use crate::wear_events::WearEvent;

/// A folder with files, each of which holds a text.
struct Files {
    folder: tempfile::TempDir,
    names: Vec<String>,
}

impl Files {
    fn new(files: &[(&str, String)]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in files {
            std::fs::write(folder.path().join(name), text).unwrap();
        }
        Self {
            names: files.iter().map(|(name, _)| (*name).to_owned()).collect(),
            folder,
        }
    }

    fn inputs(&self) -> Vec<InputFile> {
        let input = |name: &String| InputFile {
            path: self.folder.path().join(name),
            name: name.clone(),
            table: Table::Readings,
            export: None,
            encoding: None,
        };
        self.names.iter().map(input).collect()
    }

    fn parse(&self, settings: &str) -> Result<Vec<FhirFile>, LoadError> {
        let settings = Settings::parse(settings).unwrap();
        let inputs = self.inputs();
        let files: Vec<&InputFile> = inputs.iter().collect();
        parse_fhir(&files, &settings, &[insert("s9", 0)], &|_| {})
    }
}

fn insert(sensor: &str, time: Micros) -> Placed<WearEvent> {
    Placed {
        row: WearEvent {
            wearer: "wearer-1".to_owned(),
            sensor: sensor.to_owned(),
            event: "insert".to_owned(),
            time,
            ..WearEvent::default()
        },
        file: "wear-events/a.csv".to_owned(),
        line: 2,
        raw: String::new(),
    }
}

/// Readings as `wearer/sensor minute glucose status`, minutes of 2026-03-01 (1 772 323 200 s by `date -u`).
fn readings(file: &FhirFile) -> Vec<String> {
    let block = &file.readings;
    (0..block.time.len())
        .map(|row| {
            let name = &block.sensors[block.sensor[row] as usize];
            let minute = (block.time[row] - 1_772_323_200_000_000) / 60_000_000;
            let (glucose, status) = (block.glucose[row], STATUSES[usize::from(block.status[row])]);
            format!(
                "{}/{} {minute} {glucose} {status}",
                name.wearer, name.sensor
            )
        })
        .collect()
}

fn reasons(file: &FhirFile) -> Vec<String> {
    let rejects = &file.readings.seen.rejects.listed;
    rejects
        .iter()
        .map(|reject| format!("{} {}", reject.column, reject.reason))
        .collect()
}

const MASS: &str = r#""code":{"coding":[{"system":"urn:other","code":"x"},{"system":"http://loinc.org","code":"99504-3"}]}"#;
const DEVICE: &str = r#""device":{"reference":"Device/d1"}"#;
const TIME: &str = r#""effectiveDateTime":"2026-03-01T01:05:00+01:00""#;
const VALUE: &str =
    r#""valueQuantity":{"value":112,"system":"http://unitsofmeasure.org","code":"mg/dL"}"#;

fn observation(parts: &[&str]) -> String {
    let mut all = vec![r#""resourceType":"Observation","status":"final""#];
    all.extend(parts);
    format!("{{{}}}", all.join(","))
}

fn bundle(resources: &[String]) -> String {
    let entries: Vec<String> = resources
        .iter()
        .map(|one| format!("{{\"resource\":{one}}}"))
        .collect();
    format!(
        "{{\"resourceType\":\"Bundle\",\"entry\":[{}],\"type\":\"collection\"}}",
        entries.join(",")
    )
}

const PARTS: &[&str] = &[MASS, DEVICE, TIME, VALUE];

/// The same observation in every wrapping that the standard and bulk export know.
#[test]
fn every_wrapping_of_an_observation() {
    let one = observation(PARTS);
    for (name, text) in [
        ("a.json", bundle(std::slice::from_ref(&one))),
        ("a.json", format!("[{one}]")),
        ("a.json", one.clone()),
        ("a.ndjson", format!("{one}\n\n")),
        ("a.ndjson", one.clone()),
        ("a.ndjson", bundle(std::slice::from_ref(&one))),
    ] {
        let files = Files::new(&[(name, text.clone())]);
        let parsed = files.parse("").unwrap();
        assert_eq!(
            readings(&parsed[0]),
            ["wearer-1/Device/d1 5 112 ok"],
            "{text}"
        );
        assert_eq!(parsed[0].readings.seen.rows, 1);
    }
}

/// 5.6 and 2.2 mmol/L are 100.88736 and 39.63432 mg/dL, by 18.0156.
#[test]
fn values_units_and_what_stands_for_them() {
    let molar = r#""code":{"coding":[{"system":"http://loinc.org","code":"105272-9"}]}"#;
    let quantity = |inner: &str| format!("\"valueQuantity\":{{{inner}}}");
    let case = |code: &str, value: &str| observation(&[code, DEVICE, TIME, value]);
    let good = [
        (
            case(molar, &quantity(r#""value":5.60,"code":"mmol/L""#)),
            format!("{} ok", 5.6 * 18.0156),
        ),
        (
            case(MASS, &quantity(r#""value":1.2e2,"unit":"mg/dl""#)),
            "120 ok".to_owned(),
        ),
        (
            case(
                MASS,
                &quantity(r#""value":40,"comparator":"<","code":"mg/dL""#),
            ),
            "40 low".to_owned(),
        ),
        (
            case(
                MASS,
                &quantity(r#""value":400,"comparator":">=","code":"mg/dL""#),
            ),
            "400 high".to_owned(),
        ),
        (
            case(
                MASS,
                &format!("{VALUE},\"interpretation\":[{{\"coding\":[{{\"code\":\"<\"}}]}}]"),
            ),
            "112 low".to_owned(),
        ),
        (
            case(MASS, r#""dataAbsentReason":{"coding":[{"code":"error"}]}"#),
            "NaN error".to_owned(),
        ),
    ];
    for (text, wanted) in good {
        let parsed = Files::new(&[("a.json", text.clone())]).parse("").unwrap();
        assert_eq!(
            readings(&parsed[0]),
            [format!("wearer-1/Device/d1 5 {wanted}")],
            "{text}"
        );
    }
    let bad = [
        (case(MASS, &quantity(r#""value":112"#)), "names no unit"),
        (
            case(MASS, &quantity(r#""value":5.6,"code":"mmol/L""#)),
            "contradicts the LOINC code",
        ),
        (
            case(MASS, &quantity(r#""value":112,"code":"g/L""#)),
            "`g/L`",
        ),
        (
            case(MASS, &quantity(r#""value":1600,"code":"mg/dL""#)),
            "no body",
        ),
        (
            case(MASS, &quantity(r#""value":1e999,"code":"mg/dL""#)),
            "cannot be read",
        ),
        (case(MASS, &quantity(r#""code":"mg/dL""#)), "no value"),
        (case(MASS, r#""note":[]"#), "neither a value"),
        (
            case(
                MASS,
                &format!("{VALUE},\"dataAbsentReason\":{{\"coding\":[{{\"code\":\"error\"}}]}}"),
            ),
            "a value beside a reason why it is absent (`error`)",
        ),
        (observation(&[MASS, DEVICE, VALUE]), "no time"),
        (
            observation(&[MASS, DEVICE, VALUE, r#""effectiveDateTime":"2026-03-01""#]),
            "no time of day",
        ),
        (
            observation(&[
                MASS,
                DEVICE,
                VALUE,
                r#""effectiveDateTime":"2026-03-01T08:00:00""#,
            ]),
            "no offset",
        ),
        (
            observation(&[
                MASS,
                DEVICE,
                VALUE,
                r#""effectivePeriod":{"start":"2026-03-01T08:00:00Z"}"#,
            ]),
            "over a period",
        ),
        (observation(&[MASS, TIME, VALUE]), "names no device"),
        (
            observation(PARTS).replace("final", "registered"),
            "`registered`",
        ),
        (observation(PARTS).replace("final", "guessed"), "`guessed`"),
        (
            observation(PARTS).replace("\"status\":\"final\",", ""),
            "no status",
        ),
        (
            observation(PARTS).replace("\"status\"", "\"status\":\"final\",\"status\""),
            "duplicate field",
        ),
    ];
    for (text, word) in bad {
        let parsed = Files::new(&[("a.json", bundle(std::slice::from_ref(&text)))])
            .parse("")
            .unwrap();
        assert_eq!(readings(&parsed[0]), [""; 0], "{text}");
        let found = reasons(&parsed[0]);
        assert!(
            found.len() == 1 && found[0].contains(word),
            "{word}: {found:?}"
        );
        assert!(
            found[0].starts_with("Bundle.entry[0].resource "),
            "{found:?}"
        );
    }
}

/// By hand: origin + factor times number, a sample every five minutes.
#[test]
fn a_series() {
    let series = r#""effectivePeriod":{"start":"2026-03-01T00:00:00Z"},"valueSampledData":{"origin":{"value":10,"code":"mg/dL"},
        "period":300000,"factor":2,"lowerLimit":40,"upperLimit":400,"dimensions":1,"data":"50 E  L\tU 51.5"}"#;
    let text = observation(&[MASS, DEVICE, series]);
    let parsed = Files::new(&[("a.json", text.clone())]).parse("").unwrap();
    let row = |rest: &str| format!("wearer-1/Device/d1 {rest}");
    assert_eq!(
        readings(&parsed[0]),
        [
            "0 110 ok",
            "5 NaN error",
            "10 40 low",
            "15 400 high",
            "20 113 ok"
        ]
        .map(row)
    );
    for (from, to) in [
        ("\"dimensions\":1", "\"dimensions\":2"),
        ("51.5", "5x"),
        ("300000", "0"),
    ] {
        let parsed = Files::new(&[("a.json", text.replace(from, to))])
            .parse("")
            .unwrap();
        assert_eq!(parsed[0].readings.seen.rejects.count, 1, "{to}");
    }
}

/// Devices and patients by every form of reference, described before, after, in another file or not at all.
#[test]
fn references_of_every_form() {
    let device =
        r#"{"resourceType":"Device","id":"d1","serialNumber":"SN1","identifier":[{"value":"no"}]}"#;
    let by_identifier = r#"{"resourceType":"Device","id":"d2","identifier":[{"value":"ID2"}]}"#;
    let reading = |minute: u32, device: &str, subject: &str| {
        let time = format!("\"effectiveInstant\":\"2026-03-01T00:{minute:02}:00Z\"");
        let device = format!("\"device\":{{{device}}}");
        let subject = format!("\"subject\":{{{subject}}}");
        observation(&[MASS, &time, VALUE, &device, &subject])
    };
    let contained = observation(&[
        MASS,
        r#""effectiveInstant":"2026-03-01T00:08:00Z""#,
        VALUE,
        r##""contained":[{"resourceType":"Device","id":"c1","serialNumber":"SN3"}],"device":{"reference":"#c1"}"##,
    ]);
    let first = format!(
        "{{\"resourceType\":\"Bundle\",\"entry\":[{},{},{{\"fullUrl\":\"urn:uuid:1\",\"resource\":{}}},{{\"fullUrl\":\"urn:uuid:2\",\"resource\":{{\"resourceType\":\"Patient\",\"id\":\"7\",\"name\":[{{\"family\":\"Zq\"}}]}}}}]}}",
        format_args!(
            "{{\"resource\":{}}}",
            reading(
                1,
                r#""reference":"urn:uuid:1""#,
                r#""reference":"urn:uuid:2""#
            )
        ),
        format_args!(
            "{{\"resource\":{}}}",
            reading(
                2,
                r#""reference":"Device/d2""#,
                r#""reference":"Patient/7""#
            )
        ),
        device,
    );
    let second = [
        reading(
            3,
            r#""reference":"https://example.org/fhir/Device/d1/_history/2""#,
            r#""reference":"https://example.org/fhir/Patient/7""#,
        ),
        reading(
            4,
            r#""reference":"Device/nowhere""#,
            r#""reference":"Patient/8""#,
        ),
        reading(
            5,
            r#""identifier":{"value":"SN5"}"#,
            r#""reference":"Patient/8""#,
        ),
        contained,
        by_identifier.to_owned(),
    ]
    .join("\n");
    let files = Files::new(&[("a.json", first), ("b.ndjson", second)]);
    let parsed = files
        .parse("[fhir.wearers]\n\"Patient/7\" = \"anna\"\n")
        .unwrap();
    assert_eq!(
        readings(&parsed[0]),
        ["anna/SN1 1 112 ok", "anna/ID2 2 112 ok"]
    );
    assert_eq!(
        readings(&parsed[1]),
        [
            "anna/SN1 3 112 ok",
            "Patient/8/Device/nowhere 4 112 ok",
            "Patient/8/SN5 5 112 ok",
            "wearer-1/SN3 8 112 ok"
        ]
    );
    assert!(
        parsed[0].warnings[0].contains("Patient (1)"),
        "{:?}",
        parsed[0].warnings
    );
}

/// Amended, withdrawn and repeated observations, whichever file they come in.
#[test]
fn copies_of_an_observation() {
    let with = |id: &str, status: &str, value: u32, changed: &str| {
        observation(PARTS)
            .replace("\"status\":\"final\"", &format!("\"id\":\"{id}\",\"status\":\"{status}\",\"meta\":{{\"lastUpdated\":\"{changed}\"}}"))
            .replace("112", &value.to_string())
    };
    let (early, late) = ("2026-03-02T00:00:00Z", "2026-03-03T00:00:00Z");
    let kept = |first: &[String], second: &[String]| -> (Vec<String>, u64) {
        let files = Files::new(&[("a.json", bundle(first)), ("b.json", bundle(second))]);
        let parsed = files.parse("").unwrap();
        let values = parsed
            .iter()
            .flat_map(readings)
            .map(|row| row.split(' ').nth(2).unwrap().to_owned());
        (
            values.collect(),
            parsed.iter().map(|file| file.readings.seen.withdrawn).sum(),
        )
    };
    let old = with("1", "final", 100, early);
    let amended = with("1", "amended", 105, late);
    let void = with("1", "entered-in-error", 100, late);
    for order in [[&old, &amended], [&amended, &old]] {
        let (values, withdrawn) = kept(&[order[0].clone()], &[order[1].clone()]);
        assert_eq!(
            (values.as_slice(), withdrawn),
            (["105".to_owned()].as_slice(), 1)
        );
    }
    // Of others the one last changed stands, and of those changed at once the one issued last, in whichever order they come.
    let issued = |value: u32, day: u32| {
        let issued = format!("\"issued\":\"2026-03-0{day}T00:00:00Z\",\"meta\"");
        with("1", "final", value, early).replace("\"meta\"", &issued)
    };
    for (older, newer) in [
        (&old, &with("1", "final", 106, late)),
        (&issued(107, 4), &issued(106, 5)),
    ] {
        for order in [[older, newer], [newer, older]] {
            let (values, _) = kept(&[order[0].clone()], &[order[1].clone()]);
            assert_eq!(values, ["106"], "{older}");
        }
    }
    // What is withdrawn need have neither a value nor a time that can be read.
    let bare = void.replace("\"value\":100,", "");
    let timeless = void.replace("2026-03-01T01:05:00+01:00", "soon");
    assert!(bare != void && timeless != void);
    for order in [
        [&old, &void],
        [&void, &old],
        [&old, &bare],
        [&old, &timeless],
    ] {
        let (values, withdrawn) = kept(&[order[0].clone()], &[order[1].clone()]);
        assert_eq!((values.len(), withdrawn), (0, 2));
    }
    let (values, withdrawn) = kept(
        std::slice::from_ref(&old),
        &[old.clone(), with("2", "final", 130, early)],
    );
    assert_eq!(
        (values.as_slice(), withdrawn),
        (["100", "100", "130"].map(str::to_owned).as_slice(), 0)
    );
    let identified = |status: &str, value: u32, id: &str| {
        with(id, status, value, early).replace(
            "\"id\":",
            "\"identifier\":[{\"system\":\"s\",\"value\":\"k\"}],\"id\":",
        )
    };
    let (values, _) = kept(
        &[identified("final", 100, "3")],
        &[identified("corrected", 101, "4")],
    );
    assert_eq!(values, ["101"], "the same identifier, amended");
    let (values, _) = kept(
        &[identified("final", 100, "3")],
        &[identified("final", 101, "4")],
    );
    assert_eq!(
        values,
        ["100", "101"],
        "an identifier that many share is none"
    );
}

#[test]
fn fingersticks_and_what_is_not_used() {
    let capillary = r#""code":{"coding":[{"system":"http://loinc.org","code":"41653-7"}]}"#;
    let mean = r#""code":{"coding":[{"system":"http://loinc.org","code":"97507-8"}]}"#;
    let own = r#""code":{"coding":[{"system":"http://loinc.org","code":"1-1"}]}"#;
    let texts = [
        observation(&[capillary, DEVICE, TIME, VALUE]),
        observation(&[capillary, TIME, VALUE]),
        observation(&[mean, DEVICE, TIME, VALUE]),
        observation(&[own, DEVICE, TIME, VALUE]),
        r#"{"resourceType":"DiagnosticReport","code":7,"presentedForm":[{"data":"AAAA"}]}"#
            .to_owned(),
    ];
    let parsed = Files::new(&[("a.json", bundle(&texts))])
        .parse("[fhir]\nfingersticks = [\"1-1\"]\n")
        .unwrap();
    let meters: Vec<&str> = parsed[0]
        .fingersticks
        .iter()
        .map(|placed| placed.row.meter.as_str())
        .collect();
    assert_eq!(meters, ["Device/d1", "", "Device/d1"]);
    assert_eq!(
        parsed[0].warnings,
        ["not used: DiagnosticReport (1), Observation 97507-8 (1)"]
    );
    assert_eq!(
        parsed[0].readings.seen.rejects.count + parsed[0].seen.rejects.count,
        0
    );
}

#[test]
fn the_log_of_wear_names_the_sensor() {
    let text = observation(&[MASS, TIME, VALUE]);
    let files = Files::new(&[("a.json", text)]);
    let parsed = files
        .parse("[fhir]\nsensor = \"from wear events\"\n")
        .unwrap();
    assert_eq!(readings(&parsed[0]), ["wearer-1/s9 5 112 ok"]);
    let subject = r#""subject":{"reference":"https://example.org/Patient/7"}"#;
    let files = Files::new(&[("a.json", observation(&[MASS, TIME, VALUE, subject]))]);
    let settings = "[fhir]\nsensor = \"from wear events\"\n";
    let unknown = files.parse(settings).unwrap();
    assert_eq!(
        reasons(&unknown[0]),
        [
            "subject `Patient/7` is not in the log of wear: name it under [fhir.wearers] in study.toml, as \"Patient/7\" = \"wearer-1\""
        ]
    );
    let named = format!("{settings}[fhir.wearers]\n\"Patient/7\" = \"wearer-1\"\n");
    let named = files.parse(&named).unwrap();
    assert_eq!(readings(&named[0]), ["wearer-1/s9 5 112 ok"]);
}

/// A code of ours under another system's name is not taken for LOINC's, and it is said why.
#[test]
fn a_code_of_another_system() {
    let code = r#""code":{"coding":[{"system":"loinc.org","code":"99504-3"}]}"#;
    let text = observation(&[code, DEVICE, TIME, VALUE]);
    let parsed = Files::new(&[("a.json", text)]).parse("").unwrap();
    assert_eq!(
        parsed[0].warnings,
        ["not used: Observation 99504-3, its system is not LOINC, which is http://loinc.org (1)"]
    );
}

#[test]
fn corrections_hold_for_resources_too() {
    let files = Files::new(&[("a.json", observation(PARTS))]);
    let settings = "[[corrections]]\nsensor = \"Device/d1\"\nclock_minutes = 5\n";
    assert_eq!(
        readings(&files.parse(settings).unwrap()[0]),
        ["wearer-1/Device/d1 10 112 ok"]
    );
    let settings = "[[corrections]]\nfile = \"a.json\"\nleave_out = true\n";
    let parsed = files.parse(settings).unwrap();
    assert_eq!(parsed[0].readings.seen.left_out, 1);
}

#[test]
fn a_file_that_was_cut_off_stops() {
    let text = bundle(&[observation(PARTS), observation(PARTS)]);
    for end in [text.len() / 3, text.len() - 1] {
        let error = Files::new(&[("a.json", text[..end].to_owned())])
            .parse("")
            .err()
            .unwrap();
        assert!(
            error.to_string().contains(&format!("byte {end}")),
            "{error}"
        );
    }
    let line = observation(PARTS);
    let cut = format!("{line}\n{}", &line[..40]);
    let error = Files::new(&[("a.ndjson", cut)]).parse("").err().unwrap();
    assert!(error.to_string().contains("cut off"), "{error}");
    let lone = observation(&[MASS, DEVICE, TIME, VALUE, r#""id":"\ud800""#]);
    let parsed = Files::new(&[("a.ndjson", format!("{lone}\n{line}\n"))])
        .parse("")
        .unwrap();
    assert_eq!(
        (
            readings(&parsed[0]).len(),
            parsed[0].readings.seen.rejects.count
        ),
        (1, 1)
    );
}
