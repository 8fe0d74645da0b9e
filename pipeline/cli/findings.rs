//! The look before any query: findings as a table, as lines and as JSON.

use serde_json::{Map, Value, json};
use whereworn_findings::{Finding, LeftOut, Log, Look, Outcome, Severity};
use whereworn_load::{LoadError, Settled, Store, Study, rejected_rows};
use whereworn_model::header::Header;
use whereworn_model::table::{Cell, Column, ResultTable};
use whereworn_model::time::{Micros, format_utc};

const FINDINGS: &str = r#"
-- title = "What the data themselves deny or leave open"
-- row = "one finding"
-- section = "quality"
-- order = 2
-- show = 60
-- note = "Causes before consequences. A finding that is all right can be entered as [[seen]] in study.toml."
-- [columns]
-- kind = { label = "Kind", class = "category" }
-- severity = { label = "Severity", class = "category" }
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- meter = { label = "Meter", class = "identifying" }
-- site = { label = "Site", class = "site" }
-- file = { label = "File", class = "identifying" }
-- line = { label = "Line", class = "count" }
-- from = { label = "From", class = "time" }
-- to = { label = "To", class = "time" }
-- size = { label = "Size", class = "estimate", digits = 2 }
-- unit = { label = "Unit of the size", class = "category" }
-- text = { label = "What was found", class = "identifying" }
-- do = { label = "What to do", class = "identifying" }
-- paste = { label = "Lines for study.toml", class = "identifying", hidden = true }
-- touches = { label = "Measures that it touches", class = "category" }
-- seen = { label = "Seen and all right", class = "category", type = "integer" }
-- new = { label = "New this month", class = "category", type = "integer" }
"#;

const LEFT_OUT: &str = r#"
-- title = "Sensors left out of comparisons"
-- row = "one sensor whose clock, unit or wearer is plainly off, or whose readings are coarse"
-- section = "quality"
-- order = 2
-- note = "Where the kind is `thin` its nights alone are left out. Their sessions still count for how long sensors stayed on. `[study] keep_doubtful = true` keeps them in."
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- sensor = { label = "Sensor", class = "sensor" }
-- reason = { label = "Kind of the finding", class = "category" }
"#;

const DOUBTED_CHECKS: &str = r#"
-- title = "Fingersticks left out of comparisons"
-- row = "one fingerstick whose clock, unit, wearer or date is plainly off, or that was taken of a control solution or beside a reading that did not move"
-- section = "quality"
-- order = 2
-- note = "Glucose as it was read. `[study] keep_doubtful = true` keeps them in."
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- fingerstick_time = { label = "Time", class = "time" }
-- fingerstick = { label = "Fingerstick", unit = "mg/dL", digits = 1, class = "estimate" }
-- reason = { label = "Kind of the finding", class = "category" }
"#;

/// Looks at a study up to a cut-off; what begins from `month_start` on is new.
pub fn look(
    study: &Study,
    store: Store,
    settled: &Settled,
    cutoff: Micros,
    month_start: Micros,
) -> Result<Outcome, LoadError> {
    let (events, refused) = store.events(cutoff)?;
    let (checks, files) = (store.checks(cutoff)?, store.file_rows());
    let store = store.without_rows();
    let rejects = rejected_rows(&settled.rejects);
    let mut look = Look::new(Log {
        settings: &study.settings,
        events: &events,
        refused: &refused,
        checks: &checks,
        files: &files,
        rejects: &rejects,
        cutoff,
        month_start,
    });
    store.each_sensor(cutoff, &mut |sensor| look.sensor(sensor))?;
    Ok(look.finish())
}

/// The tables `findings`, `left_out` and `doubted_checks`.
pub fn tables(outcome: &Outcome) -> Vec<ResultTable> {
    let findings = &outcome.findings;
    let left_out = &outcome.left_out;
    let doubted = outcome.doubted.iter();
    let text = |of: fn(&Finding) -> &str| findings.iter().map(|f| cell(of(f))).collect();
    let time = |of: fn(&Finding) -> Option<Micros>| {
        findings
            .iter()
            .map(|f| of(f).map_or(Cell::Empty, Cell::Time))
            .collect()
    };
    let flag = |of: fn(&Finding) -> bool| {
        findings
            .iter()
            .map(|f| Cell::Integer(i64::from(of(f))))
            .collect()
    };
    let lines = findings.iter().map(|f| {
        f.line
            .map_or(Cell::Empty, |line| Cell::Integer(line as i64))
    });
    let sizes = findings
        .iter()
        .map(|f| f.size.map_or(Cell::Empty, Cell::number));
    let touches = findings.iter().map(|f| cell(&f.touches.join("+")));
    vec![
        table(
            "findings",
            FINDINGS,
            vec![
                ("kind", text(|f| f.kind)),
                ("severity", text(|f| f.severity.word())),
                ("wearer", text(|f| &f.wearer)),
                ("sensor", text(|f| &f.sensor)),
                ("meter", text(|f| &f.meter)),
                ("site", text(|f| &f.site)),
                ("file", text(|f| &f.file)),
                ("line", lines.collect()),
                ("from", time(|f| f.from)),
                ("to", time(|f| f.to)),
                ("size", sizes.collect()),
                ("unit", text(|f| f.unit)),
                ("text", text(|f| &f.text)),
                ("do", text(|f| &f.todo)),
                ("paste", text(|f| &f.paste)),
                ("touches", touches.collect()),
                ("seen", flag(|f| f.seen)),
                ("new", flag(|f| f.new)),
            ],
        ),
        table(
            "left_out",
            LEFT_OUT,
            vec![
                (
                    "wearer",
                    left_out.iter().map(|out| cell(&out.wearer)).collect(),
                ),
                (
                    "sensor",
                    left_out.iter().map(|out| cell(&out.sensor)).collect(),
                ),
                (
                    "reason",
                    left_out.iter().map(|out| cell(out.reason)).collect(),
                ),
            ],
        ),
        table(
            "doubted_checks",
            DOUBTED_CHECKS,
            vec![
                (
                    "wearer",
                    doubted.clone().map(|check| cell(&check.wearer)).collect(),
                ),
                (
                    "fingerstick_time",
                    doubted
                        .clone()
                        .map(|check| Cell::Time(check.time))
                        .collect(),
                ),
                (
                    "fingerstick",
                    doubted
                        .clone()
                        .map(|check| Cell::number(check.glucose))
                        .collect(),
                ),
                ("reason", doubted.map(|check| cell(check.reason)).collect()),
            ],
        ),
    ]
}

fn cell(text: &str) -> Cell {
    if text.is_empty() {
        Cell::Empty
    } else {
        Cell::text(text)
    }
}

/// A table made outside SQL, with the header that it would have in a query file.
pub fn table(name: &str, header: &str, columns: Vec<(&str, Vec<Cell>)>) -> ResultTable {
    let header = Header::parse(header.trim_start()).unwrap_or_default();
    let columns = columns
        .into_iter()
        .map(|(name, cells)| {
            let declared = header.columns.get(name).cloned().unwrap_or_default();
            Column {
                name: name.to_owned(),
                kind: declared
                    .declared_kind()
                    .unwrap_or(whereworn_model::table::CellKind::Text),
                header: declared,
                cells,
            }
        })
        .collect();
    ResultTable {
        name: name.to_owned(),
        header,
        columns,
        own_query: false,
        fault: None,
    }
}

/// Findings as JSON, keys without a value left out. Those seen and all right come last in an array of their own.
pub fn as_json(outcome: &Outcome) -> Value {
    let of = |seen: bool| -> Vec<Value> {
        let all = outcome
            .findings
            .iter()
            .filter(|finding| finding.seen == seen);
        all.map(one_as_json).collect()
    };
    json!({ "version": 1, "findings": of(false), "seen": of(true) })
}

fn one_as_json(finding: &Finding) -> Value {
    let mut object = Map::new();
    let mut put = |key: &str, value: &str| {
        if !value.is_empty() {
            object.insert(key.to_owned(), Value::from(value));
        }
    };
    put("kind", finding.kind);
    put("severity", finding.severity.word());
    put("wearer", &finding.wearer);
    put("sensor", &finding.sensor);
    put("meter", &finding.meter);
    put("site", &finding.site);
    put("file", &finding.file);
    if let Some(line) = finding.line {
        object.insert("line".to_owned(), Value::from(line));
    }
    for (key, at) in [("from", finding.from), ("to", finding.to)] {
        if let Some(at) = at {
            object.insert(key.to_owned(), Value::from(format_utc(at)));
        }
    }
    if let Some(size) = finding.size {
        object.insert("size".to_owned(), Value::from(size));
    }
    let mut put = |key: &str, value: &str| {
        if !value.is_empty() {
            object.insert(key.to_owned(), Value::from(value));
        }
    };
    put("unit", finding.unit);
    put("text", &finding.text);
    put("do", &finding.todo);
    put("paste", &finding.paste);
    object.insert("touches".to_owned(), Value::from(finding.touches.to_vec()));
    object.insert("new".to_owned(), Value::from(finding.new));
    Value::Object(object)
}

/// How many findings there are, in one line; `None` where there are none.
pub fn in_short(outcome: &Outcome) -> Option<String> {
    let count = |severity: Severity| {
        let of = outcome
            .findings
            .iter()
            .filter(|f| f.severity == severity && !f.seen);
        of.count()
    };
    let (wrong, doubtful, thin) = (
        count(Severity::Wrong),
        count(Severity::Doubtful),
        count(Severity::Thin),
    );
    let seen = outcome.findings.iter().filter(|f| f.seen).count();
    if wrong + doubtful + thin + seen == 0 {
        return None;
    }
    let out = outcome.left_out.iter();
    let (nights, whole): (Vec<&LeftOut>, Vec<&LeftOut>) = out.partition(|out| out.reason == "thin");
    let left_out = match whole.len() {
        0 => String::new(),
        1 => "; 1 sensor is left out of comparisons".to_owned(),
        n => format!("; {n} sensors are left out of comparisons"),
    };
    let of_nights = match nights.len() {
        0 => String::new(),
        1 => "; the nights of 1 sensor are left out of comparisons".to_owned(),
        n => format!("; the nights of {n} sensors are left out of comparisons"),
    };
    let of_checks = match outcome.doubted.len() {
        0 => String::new(),
        1 => "; 1 fingerstick is left out of comparisons".to_owned(),
        n => format!("; {n} fingersticks are left out of comparisons"),
    };
    Some(format!(
        "findings: {wrong} wrong, {doubtful} doubtful, {thin} thin, {seen} seen{left_out}{of_nights}{of_checks}; `whereworn check` lists them"
    ))
}

/// The worst severity that is not seen and all right.
pub fn worst(outcome: &Outcome) -> Option<Severity> {
    let open = outcome.findings.iter().filter(|finding| !finding.seen);
    open.map(|finding| finding.severity).min()
}

/// Findings as lines for a reader: by severity, what is new this month first.
pub fn as_text(outcome: &Outcome) -> String {
    let mut out = String::new();
    for (severity, title) in [
        (Severity::Wrong, "Wrong"),
        (Severity::Doubtful, "Doubtful"),
        (Severity::Thin, "Thin"),
    ] {
        let of: Vec<&Finding> = outcome
            .findings
            .iter()
            .filter(|f| f.severity == severity && !f.seen)
            .collect();
        if of.is_empty() {
            out += &format!("{title}: nothing found\n");
            continue;
        }
        for (new, when) in [(true, ", new this month"), (false, "")] {
            let part: Vec<&&Finding> = of.iter().filter(|finding| finding.new == new).collect();
            if !part.is_empty() {
                out += &format!("{title}{when}:\n");
            }
            for finding in part {
                out += &lines(finding);
            }
        }
    }
    let seen: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|finding| finding.seen)
        .collect();
    if !seen.is_empty() {
        out += "Seen, and all right:\n";
        for finding in seen {
            out += &format!("- {}\n", finding.text);
        }
    }
    out
}

fn lines(finding: &Finding) -> String {
    let place = match (finding.file.as_str(), finding.line) {
        ("", _) => String::new(),
        (file, Some(line)) if !finding.text.starts_with(file) => format!(" ({file}, line {line})"),
        (file, None) if !finding.text.starts_with(file) => format!(" ({file})"),
        (_, Some(line)) => format!(" (line {line})"),
        _ => String::new(),
    };
    let mut out = format!("- {}{place}\n", finding.text);
    out += &format!("  To do: {}.\n", finding.todo);
    if !finding.paste.is_empty() {
        out += "  For study.toml:\n";
        for line in finding.paste.lines() {
            out += &format!("    {line}\n");
        }
    }
    if finding.severity != Severity::Thin {
        out += &format!(
            "  If it is all right, in study.toml: {}\n",
            seen_line(finding)
        );
    }
    out
}

/// The entry that takes a finding for seen.
fn seen_line(finding: &Finding) -> String {
    let meter = finding.meter.split(" + ").next().unwrap_or("");
    let named = [
        ("wearer", finding.wearer.as_str()),
        ("sensor", &finding.sensor),
        ("meter", meter),
        ("site", &finding.site),
    ];
    let mut named: Vec<String> = named
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(key, value)| {
            format!(
                "{key} = \"{}\"",
                value.replace('\\', "\\\\").replace('"', "\\\"")
            )
        })
        .collect();
    if named.is_empty() && !finding.file.is_empty() {
        named.push(format!("file = \"{}\"", finding.file));
        // Rows that come into the file later are not looked at yet.
        named.extend(finding.to.map(|to| format!("to = \"{}\"", format_utc(to))));
    }
    format!(
        "[[seen]] with kind = \"{}\", {}",
        finding.kind,
        named.join(", ")
    )
}
