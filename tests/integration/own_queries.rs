//! A query file of a study that is wrong hurts itself alone: the report is written, says what is wrong and where, and the
//! run ends with status 4.

use crate::fixture::{LATER, Output, Run, Study, repository};
use crate::small_study::study;

/// Exit status of a report without some of the study's own queries.
pub const QUERIES_FAILED: i32 = 4;

/// The report of a study with one more query file.
pub fn report_with(study: &Study, name: &str, sql: &[u8], arguments: &[&str]) -> (Run, Output) {
    study.write(&format!("queries/{name}.sql"), sql);
    let run = study.try_report(arguments);
    let output = Output::read(&study.beside("out"));
    (run, output)
}

/// The report is written but for one query, whose message has these words.
pub fn alone(name: &str, sql: &[u8], arguments: &[&str], words: &[&str]) {
    let study = study();
    study.write("queries/answer.sql", "SELECT 42 AS answer");
    let (run, output) = report_with(&study, name, sql, arguments);
    assert_eq!(run.code, QUERIES_FAILED, "{name}: {}", run.err);
    assert_eq!(output.table("answer").lines, [["42"]], "{name}");
    assert_eq!(output.table("site_wear").lines.len(), 2, "{name}");
    let page = output.text("report.html");
    for word in words {
        assert!(run.err.contains(word), "{name}: no `{word}` in {}", run.err);
        let shown = word.replace('\'', "&#39;").replace('>', "&gt;");
        assert!(
            page.contains(&shown) || page.contains(word),
            "{name}: no `{word}` in the report"
        );
    }
    for inner in ["datafusion", "DataFusion", "Arrow", "backtrace", "panicked"] {
        assert!(!run.err.contains(inner), "{name}: {}", run.err);
    }
}

#[test]
fn a_file_that_cannot_be_read_as_a_query() {
    let cases: [(&str, &[u8], &[&str]); 9] = [
        (
            "header",
            b"-- title = \"x\"\n-- row = \"y\nSELECT 1",
            &["header.sql", "line 2"],
        ),
        (
            "key",
            b"-- title = \"x\"\n-- titel = \"y\"\nSELECT 1",
            &["key.sql", "line 2", "titel"],
        ),
        (
            "typo",
            b"SELECT 1 AS a\nFORM readings x y",
            &["typo.sql, line 2, column"],
        ),
        (
            "ddl",
            b"CREATE TABLE t AS SELECT 1",
            &["ddl.sql", "holds a SELECT"],
        ),
        ("two", b"SELECT 1; SELECT 2", &["two.sql", "one query"]),
        ("empty", b" \n", &["empty.sql", "is empty"]),
        (
            "nothing",
            b"-- title = \"x\"\n",
            &["nothing.sql", "has no SQL in it"],
        ),
        (
            "latin",
            b"SELECT 1 AS a\n-- M\xfcnchen",
            &["latin.sql", "line 2", "UTF-8"],
        ),
        (
            "Bad-Name",
            b"SELECT 1 AS a",
            &["Bad-Name.sql", "lower-case"],
        ),
    ];
    for (name, sql, words) in cases {
        alone(name, sql, &[], words);
    }
}

#[test]
fn a_query_that_cannot_be_planned() {
    let cases: [(&str, &str, &[&str]); 14] = [
        (
            "column",
            "SELECT site,\n  colour\nFROM sessions",
            &["column.sql, line 2, column 3", "`colour`"],
        ),
        (
            "table",
            "SELECT *\nFROM session",
            &["table.sql, line 2, column 6", "`session`", "`sessions`"],
        ),
        (
            "function",
            "SELECT day_between(inserted, ended) AS d FROM sessions",
            &["function.sql", "`day_between`", "`days_between`"],
        ),
        (
            "structs",
            "SELECT random_intercept(difference, sensor_no) AS fit FROM pairs",
            &["structs.sql", "get_field(fit, 'mean')"],
        ),
        (
            "swapped",
            "SELECT get_field(random_intercept(sensor, difference), 'mean') AS m FROM pairs",
            &["swapped.sql", "`value` is a text"],
        ),
        (
            "clock",
            "SELECT now() AS a",
            &["clock.sql", "now() gives another value each time"],
        ),
        (
            "dice",
            "SELECT random() AS a",
            &["dice.sql", "random() gives another value each time"],
        ),
        (
            "chart",
            "-- chart = { kind = \"line\", x = \"a\", y = \"b\" }\nSELECT 1 AS a",
            &["chart.sql", "`b`"],
        ),
        (
            "typed",
            "-- [columns]\n-- a = { class = \"time\" }\nSELECT 1 AS a",
            &["typed.sql", "declares `a` as instants"],
        ),
        (
            "parameter",
            "SELECT $most AS a",
            &["parameter.sql", "`most`", "[parameters]"],
        ),
        (
            "readings",
            "SELECT 1 AS a",
            &["readings.sql", "choose another"],
        ),
        (
            "pooled_studies",
            "SELECT 1 AS a",
            &["pooled_studies.sql", "choose another"],
        ),
        (
            "plan_log",
            "SELECT 1 AS a",
            &["plan_log.sql", "choose another"],
        ),
        (
            "best_sites",
            "SELECT 1 AS a",
            &["best_sites.sql", "choose another"],
        ),
    ];
    for (name, sql, words) in cases {
        alone(name, sql.as_bytes(), &[], words);
    }
}

#[test]
fn a_query_that_fails_as_it_runs() {
    let cases: [(&str, &str, &[&str]); 3] = [
        (
            "zero",
            "SELECT 1 / CAST(detached - detached AS BIGINT) AS a FROM sessions",
            &["zero.sql", "NULLIF"],
        ),
        (
            "level",
            "SELECT student_t(days, 3) AS a FROM sessions",
            &["level.sql", "`p` is", "above 0 and below 1"],
        ),
        (
            "share",
            "SELECT exact_share_lower(5, detached) AS a FROM sessions",
            &["share.sql", "no more than `total`"],
        ),
    ];
    for (name, sql, words) in cases {
        alone(name, sql.as_bytes(), &[], words);
    }
}

/// Neither memory nor time is used without bound.
#[test]
fn a_query_without_end() {
    let endless = "WITH RECURSIVE n AS (SELECT 1 AS a UNION ALL SELECT a + 1 FROM n) SELECT COUNT(*) AS c FROM n";
    alone(
        "endless",
        endless.as_bytes(),
        &["--limit", "1"],
        &["endless.sql", "longer than 1 s", "--limit"],
    );
    let count = "SELECT COUNT(*) AS c FROM range(1, 100000000000)";
    alone(
        "counted",
        count.as_bytes(),
        &["--limit", "1"],
        &["counted.sql", "longer than 1 s"],
    );
    let cross = "SELECT a.time, b.glucose, c.sensor FROM readings AS a CROSS JOIN readings AS b CROSS JOIN readings AS c";
    alone(
        "cross",
        cross.as_bytes(),
        &["--memory", "64"],
        &["cross.sql", "memory", "--memory"],
    );
}

/// What a query reads that holds some 24 MB on its way, and gives no rows.
const BUSY: &str = "FROM (SELECT SUM(a.value * b.value) AS n FROM generate_series(1, 3000000) AS a CROSS JOIN generate_series(1, 40) AS b) AS busy WHERE n < 0";

/// A query holds some 24 MB on its way, two at once more than is allowed: the one that found too little memory runs again when
/// the other is done.
#[test]
fn queries_that_crowd_each_other_run_one_after_the_other() {
    let allowed = |memory: &str| {
        let study = study();
        study.write(
            "queries/last_readings.sql",
            format!("SELECT CAST(1 AS BIGINT) AS panel, CAST(NULL AS TIMESTAMP) AS time, 1.0 AS glucose, 'ok' AS status {BUSY}"),
        );
        study.write(
            "queries/site_pairs.sql",
            format!("SELECT 'chest' AS site, 'calf' AS against, CAST(1 AS BIGINT) AS position, CAST(2 AS BIGINT) AS against_position {BUSY}"),
        );
        study.try_report(&["--memory", memory])
    };
    let each_alone = allowed("40");
    assert_eq!(each_alone.code, 0, "{}", each_alone.err);
    let neither = allowed("20");
    assert_eq!(neither.code, QUERIES_FAILED, "{}", neither.err);
    assert!(neither.err.contains("needs more memory"), "{}", neither.err);
}

/// One result of more than 10 MB is held until two tables are made of it; queries that need some 24 MB each wait for that.
#[test]
fn queries_wait_until_results_have_given_back_their_memory() {
    let study = study();
    study.write(
        "queries/last_readings.sql",
        "-- role = \"intermediate\"\nSELECT value - value + 1 AS panel, CAST(NULL AS TIMESTAMP) AS time, CAST(value AS DOUBLE) AS glucose, 'none' AS status FROM generate_series(1, 450000)",
    );
    study.write(
        "queries/site_pairs.sql",
        format!("SELECT 'chest' AS site, 'calf' AS against, CAST(1 AS BIGINT) AS position, CAST(2 AS BIGINT) AS against_position {BUSY}"),
    );
    study.write(
        "queries/numbered_people.sql",
        format!("SELECT 'a' AS wearer, CAST(1 AS BIGINT) AS person_no {BUSY}"),
    );
    let run = study.try_report(&["--memory", "32"]);
    assert_eq!(run.code, 0, "{}", run.err);
}

#[test]
fn what_a_header_expects_is_held() {
    let cases = [
        (
            "rows",
            "-- [expect]\n-- rows = 3\nSELECT 1 AS a",
            "expects 3 rows, and gives 1",
        ),
        (
            "there",
            "-- [expect]\n-- not_null = [\"a\"]\nSELECT CAST(NULL AS BIGINT) AS a",
            "a value of `a`",
        ),
        (
            "shares",
            "-- [expect]\n-- share = [\"a\"]\nSELECT 1.5 AS a",
            "`a` from 0 to 1, and row 1 has 1.5",
        ),
        (
            "different",
            "-- [expect]\n-- unique = [\"site\"]\nSELECT site FROM sessions",
            "site different in every row",
        ),
    ];
    for (name, sql, words) in cases {
        alone(name, sql.as_bytes(), &[], &[words]);
    }
    let study = study();
    let held = "-- [expect]\n-- rows = [1, 9]\n-- unique = [\"site\"]\nSELECT DISTINCT site FROM sessions ORDER BY site";
    let (run, output) = report_with(&study, "held", held.as_bytes(), &[]);
    assert_eq!(
        (run.code, output.table("held").lines.len()),
        (0, 2),
        "{}",
        run.err
    );
}

#[test]
fn what_names_a_query_that_failed_fails_with_it() {
    let study = study();
    study.write("queries/second.sql", "SELECT a FROM first");
    let (run, _) = report_with(&study, "first", b"SELECT nothing AS a FROM sessions", &[]);
    assert_eq!(run.code, QUERIES_FAILED);
    let second = run.err.lines().find(|line| line.contains("second.sql"));
    let second = second.unwrap_or_default();
    assert!(
        second.contains("second.sql, line 1: needs `first`, which failed: ")
            && second.contains("first.sql, line 1, column 8: there is no column `nothing`"),
        "{}",
        run.err
    );
    // Pages say it the same wherever the study lies.
    assert!(
        second.starts_with("warning: queries/second.sql, line 1"),
        "{second}"
    );
    let run = study.run("query", &["second", "--as-of", LATER]);
    assert!(
        run.code == 1 && run.err.contains("first.sql"),
        "{}",
        run.err
    );
}

/// A file that takes the name of a table of the study is refused; the table stands.
#[test]
fn the_table_of_a_refused_name_stands() {
    let study = study();
    study.write("queries/readings.sql", "SELECT 1 AS a");
    let run = study.run("query", &["readings", "--as-of", LATER]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.contains("glucose"), "{}", run.out);
}

#[test]
fn a_circle_hurts_nobody_else() {
    let study = study();
    study
        .write("queries/one.sql", "SELECT * FROM two")
        .write("queries/two.sql", "SELECT * FROM (SELECT * FROM three)");
    let (run, output) = report_with(&study, "three", b"SELECT * FROM one", &[]);
    assert_eq!(run.code, QUERIES_FAILED);
    let names = [
        "one -> two -> three -> one",
        "two -> three -> one -> two",
        "three -> one -> two -> three",
    ];
    assert!(
        names.iter().any(|circle| run.err.contains(circle)),
        "{}",
        run.err
    );
    assert_eq!(output.table("site_wear").lines.len(), 2);
}

/// A query in place of one of the program gives every column that this one has; else the program's own stands.
#[test]
fn a_replacement_that_lacks_a_column_is_refused() {
    let whole = study().report();
    for (sql, words) in [
        (
            "SELECT wearer, sensor, site FROM sessions",
            "lacks what others read of it: `difference`",
        ),
        ("SELECT bios FROM sessions", "`bios`"),
        ("SELEC 1", "no SQL that can be read"),
    ] {
        let (run, output) = report_with(&study(), "pairs", sql.as_bytes(), &[]);
        assert_eq!(run.code, QUERIES_FAILED, "{}", run.err);
        assert!(
            run.err.contains("pairs.sql") && run.err.contains(words),
            "{}",
            run.err
        );
        assert_eq!(
            output.text("tables/pairs.csv"),
            whole.text("tables/pairs.csv")
        );
        assert_eq!(
            output.text("tables/site_accuracy.csv"),
            whole.text("tables/site_accuracy.csv")
        );
    }
}

/// A mark of byte order in front of a file is no part of it.
#[test]
fn a_byte_order_mark_is_passed_over() {
    let (run, output) = report_with(
        &study(),
        "marked",
        b"\xef\xbb\xbf-- title = \"Marked\"\nSELECT 1 AS a",
        &[],
    );
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(output.text("report.md").contains("Marked"));
}

#[test]
fn a_parameter_has_a_default_and_can_be_set() {
    let study = study();
    study.write(
        "queries/most.sql",
        "-- [parameters]\n-- most = { type = \"integer\", default = 3 }\nSELECT $most + 1 AS a",
    );
    let print = |more: &[&str]| {
        let mut all = vec!["most", "--format", "ndjson"];
        all.extend(more);
        study.run("query", &all)
    };
    assert_eq!(print(&[]).out, "{\"a\":4}\n");
    assert_eq!(print(&["--set", "most=9"]).out, "{\"a\":10}\n");
    print(&["--set", "mist=9"]).fails_with(&["`mist`", "`most`"]);
    print(&["--set", "most=x"]).fails_with(&["`x`", "another type"]);
}

#[test]
fn tables_and_functions_are_listed() {
    let study = study();
    let list = study.run("query", &["--tables"]);
    assert_eq!(list.code, 0, "{}", list.err);
    for name in ["readings", "sessions", "lives", "site_wear"] {
        assert!(
            list.out
                .lines()
                .any(|line| line.split_whitespace().next() == Some(name)),
            "{name}"
        );
    }
    let one = study.run("query", &["--tables", "site_wear"]).out;
    for words in [
        "A row is one site.",
        "Usable days (days)",
        "lower end of: Still attached on day 7",
        "FROM curves AS c",
    ] {
        assert!(one.contains(words), "no `{words}` in {one}");
    }
    study
        .run("query", &["--tables", "site_were"])
        .fails_with(&["`site_wear`"]);
    study
        .run("query", &["--tables", "nothing_of_the_kind"])
        .fails_with(&["there is no", "`--tables` lists what there is"]);
    let draws = study.run("query", &["--tables", "plan_log"]).out;
    assert!(
        draws.contains("chances") && draws.contains("Chance of each open site"),
        "{draws}"
    );
    let one = study
        .run("query", &["--functions", "night_artefacts_of"])
        .out;
    for words in [
        "night_artefacts_of(time, glucose, status)",
        "glucose  a number (mg/dL)",
        "strictness",
        "SELECT sensor_no",
    ] {
        assert!(one.contains(words), "no `{words}` in {one}");
    }
    let explained = study.run("query", &["site_wear", "--explain"]).out;
    assert!(
        explained.contains("sessions") && explained.contains(" ms"),
        "{explained}"
    );
}

#[test]
fn the_guide_names_every_function() {
    let guide = std::fs::read_to_string(repository("queries/README.md")).unwrap();
    for function in whereworn_engine::functions::descriptions() {
        assert!(
            guide.contains(&format!("`{}`", function.name)),
            "{}",
            function.name
        );
    }
}

/// Every function's example runs.
#[test]
fn examples_of_functions_run() {
    let study = study();
    let failed: Vec<String> = std::thread::scope(|scope| {
        let started: Vec<_> = whereworn_engine::functions::descriptions()
            .into_iter()
            .map(|function| {
                let study = &study;
                scope.spawn(move || {
                    // A struct is taken apart before it is printed.
                    let sql = format!(
                        "SELECT COUNT(*) AS n FROM ({}) AS example",
                        function.example
                    );
                    let run = study.run("query", &["--wait", "100", "--sql", &sql]);
                    (run.code != 0).then(|| format!("{}: {}", function.name, run.err))
                })
            })
            .collect();
        started
            .into_iter()
            .filter_map(|one| one.join().unwrap())
            .collect()
    });
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

/// A reading without glucose is no reading of 0 mg/dL: leaving it empty or leaving it out is the same to the detector.
#[test]
fn an_empty_glucose_is_no_low() {
    let study = study();
    let count = |readings: &str| {
        let sql = format!(
            "SELECT COUNT(*) AS n FROM (SELECT sensor_no, UNNEST(night_artefacts_of(time, glucose, 'ok')) AS run \
             FROM ({readings}) AS r GROUP BY sensor_no) AS t"
        );
        study.sql(&sql).lines
    };
    let emptied = "SELECT sensor_no, time, CASE WHEN glucose NOT BETWEEN 100 AND 120 THEN glucose END AS glucose FROM readings";
    let left_out =
        "SELECT sensor_no, time, glucose FROM readings WHERE glucose NOT BETWEEN 100 AND 120";
    assert_eq!(count(emptied), count(left_out));
}

/// A literal has nanoseconds; what reads it finds microseconds, as in every table of the program. 2026-01-01 is 20,454 days
/// after 1970-01-01.
#[test]
fn instants_of_own_queries_are_in_the_unit_of_the_program() {
    let study = study();
    study.write(
        "queries/moments.sql",
        "SELECT TIMESTAMP '2026-01-01T00:00:00Z' AS moment, 1 AS number",
    );
    study.write(
        "queries/since.sql",
        "SELECT CAST(moment AS BIGINT) AS micros, number FROM moments",
    );
    let run = study.try_report(&[]);
    assert_eq!(run.code, 0, "{}", run.err);
    let output = Output::read(&study.beside("out"));
    assert_eq!(output.table("since").lines, [["1767225600000000", "1"]]);
    assert_eq!(
        output.table("moments").lines,
        [["2026-01-01T00:00:00Z", "1"]]
    );
}
