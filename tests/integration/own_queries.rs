//! A query file of a study that is wrong hurts itself alone: the report is written, says what is wrong and where, and the
//! run ends with status 4.

use crate::fixture::{LATER, Output, Run, Study, repository};
use crate::small_study::study;

/// Exit status of a report without some of the study's own queries.
const QUERIES_FAILED: i32 = 4;

/// The report of a study with one more query file.
fn report_with(study: &Study, name: &str, sql: &[u8], arguments: &[&str]) -> (Run, Output) {
    study.write(&format!("queries/{name}.sql"), sql);
    let run = study.try_report(arguments);
    let output = Output::read(&study.beside("out"));
    (run, output)
}

/// The report is written but for one query, whose message has these words.
fn alone(name: &str, sql: &[u8], arguments: &[&str], words: &[&str]) {
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

/// What someone might write who is new to it, or means harm: file, words of the message, SQL.
const CLUMSY: &[(&str, &str, &str)] = &[
    (
        "outside_copy",
        "line 1: a query file holds a SELECT",
        "COPY (SELECT 1) TO 'leak.csv'",
    ),
    (
        "outside_table",
        "line 1: a query file holds a SELECT",
        "CREATE EXTERNAL TABLE t STORED AS CSV LOCATION '/etc/passwd'",
    ),
    (
        "outside_csv",
        "line 2: there is no table function `read_csv`",
        "SELECT *\nFROM read_csv('/etc/passwd')",
    ),
    (
        "outside_parquet",
        "line 2: there is no table function `read_parquet`",
        "SELECT *\nFROM read_parquet('x.parquet')",
    ),
    // What somebody writes who knows another dialect of SQL.
    (
        "elsewhere_iif",
        "line 1, column 8: there is no function `iif`: write CASE WHEN",
        "SELECT IIF(days > 1, 'a', 'b') AS s FROM sessions",
    ),
    (
        "elsewhere_strftime",
        "write to_char(time,",
        "SELECT strftime(inserted, '%Y') AS y FROM sessions",
    ),
    (
        "elsewhere_top",
        "TOP is not known here: write LIMIT at the end",
        "SELECT TOP 5 site FROM sessions",
    ),
    (
        "elsewhere_brackets",
        "square brackets are no names here",
        "SELECT [site] FROM sessions",
    ),
    (
        "elsewhere_plus",
        "cannot reckon text + text: texts are joined with ||",
        "SELECT site + '-' + sensor AS k FROM sessions",
    ),
    (
        "elsewhere_interval",
        "cannot reckon text - interval: write an instant as TIMESTAMP",
        "SELECT site FROM sessions WHERE inserted > '2026-03-01' - INTERVAL '1 month'",
    ),
    (
        "elsewhere_trunc",
        "`date_trunc` does not take these arguments: its first is the part",
        "SELECT DATE_TRUNC(inserted, 'day') AS d FROM sessions",
    ),
    (
        "elsewhere_one",
        "compares what cannot be compared, truth value = whole number",
        "SELECT site FROM sites WHERE on_label = 1",
    ),
    (
        "elsewhere_group",
        "line 2, column 3: `sensor` stands beside an aggregate: add it to GROUP BY",
        "SELECT site,\n  sensor, AVG(days) AS m\nFROM sessions\nGROUP BY site",
    ),
    (
        "elsewhere_quotes",
        "line 2, column 14: is no SQL that can be read: Expected: an expression, found: ‘; this is a typographic quote",
        "SELECT site FROM sessions\nWHERE site = ‘chest’",
    ),
    (
        "elsewhere_table",
        "line 1, column 15: there is no table `pair`; did you mean `pairs`?",
        "SELECT * FROM pair",
    ),
    (
        "elsewhere_key",
        "`expect`; did you mean `title`?",
        "-- titel = \"x\"\nSELECT 1 AS a",
    ),
    (
        "outside_path",
        "line 1: there is no table `/etc/passwd`",
        "SELECT * FROM '/etc/passwd'",
    ),
    (
        "outside_store",
        "there is no table `.whereworn/x.parquet`",
        "SELECT * FROM \".whereworn/x.parquet\"",
    ),
    (
        "inner_tables",
        "there is no table `information_schema.tables`",
        "SELECT * FROM information_schema.tables",
    ),
    (
        "inner_setting",
        "a query file holds a SELECT",
        "SET datafusion.execution.batch_size = 1",
    ),
    ("inner_show", "a query file holds a SELECT", "SHOW TABLES"),
    (
        "inner_explain",
        "a query file holds a SELECT",
        "EXPLAIN ANALYZE SELECT 1",
    ),
    (
        "write_insert",
        "a query file holds a SELECT",
        "INSERT INTO readings VALUES (1)",
    ),
    (
        "write_drop",
        "a query file holds a SELECT",
        "DROP TABLE readings",
    ),
    (
        "write_into",
        "a query file holds a SELECT",
        "SELECT 1 AS a INTO t",
    ),
    (
        "write_within",
        "a query file holds a SELECT",
        "WITH x AS (INSERT INTO readings VALUES (1) RETURNING *) SELECT * FROM x",
    ),
    (
        "write_prepare",
        "a query file holds a SELECT",
        "PREPARE p AS SELECT 1",
    ),
    ("chain_or", "more than the 2000 that can be planned", "OR"),
    ("chain_plus", "more than the 2000 that can be planned", "+"),
    (
        "chain_brackets",
        "line 1: has brackets within each other too deep",
        "(",
    ),
    (
        "name_twice",
        "two columns are called `a`",
        "SELECT 1 AS a, 2 AS a",
    ),
    (
        "name_alias",
        "line 1, column 8: there is no table or alias `t` here",
        "SELECT t.site FROM sessions AS s",
    ),
    (
        "name_several",
        "`wearer` could be of several tables",
        "SELECT wearer FROM sessions AS s INNER JOIN pairs AS p ON s.sensor = p.sensor",
    ),
    (
        "name_order",
        "line 2: there is no column `dayz`; did you mean `days`?",
        "SELECT site FROM sessions\nORDER BY dayz",
    ),
    (
        "name_join",
        "line 3, column 1: there is no column `senzor`; did you mean `sensor`?",
        "SELECT s.site\nFROM sessions AS s INNER JOIN pairs AS p ON\ns.senzor = p.sensor",
    ),
    (
        "name_case",
        "there is no column `Site`; did you mean `site`?",
        "SELECT \"Site\" FROM sessions",
    ),
    (
        "name_quotes",
        "there is no column `fell-off`; a text stands in 'single quotes'",
        "SELECT site FROM sessions WHERE cause = \"fell-off\"",
    ),
    (
        "name_itself",
        "queries name each other in a circle",
        "SELECT * FROM name_itself",
    ),
    (
        "sql_bracket",
        "line 2, column 4: is no SQL that can be read",
        "SELECT\n(1 AS a",
    ),
    (
        "sql_quote",
        "line 1, column 8: is no SQL that can be read: Unterminated string",
        "SELECT 'abc FROM sessions",
    ),
    ("sql_semicolons", "has no SQL in it", ";;;"),
    (
        "sql_remark",
        "has no SQL in it",
        "-- a remark\n-- and another\n",
    ),
    (
        "group_missing",
        "line 2, column 2: `days` stands beside an aggregate: add it to GROUP BY",
        "SELECT site,\n days FROM sessions GROUP BY site",
    ),
    (
        "group_where",
        "Aggregate functions are not allowed in the WHERE clause",
        "SELECT site FROM sessions WHERE COUNT(*) > 1",
    ),
    (
        "window_missing",
        "`holm` wants a window",
        "SELECT holm(days) AS x FROM sessions",
    ),
    (
        "row_more",
        "Scalar subquery returned more than one row",
        "SELECT (SELECT site FROM sessions) AS s",
    ),
    (
        "row_negative",
        "LIMIT must be >= 0",
        "SELECT site FROM sessions LIMIT -1",
    ),
    (
        "value_cast",
        "Cannot cast string",
        "SELECT CAST(site AS INT) AS n FROM sessions",
    ),
    (
        "value_date",
        "no date of a calendar",
        "SELECT arrow_cast(2147483647, 'Date32') AS d",
    ),
    (
        "value_time",
        "Error parsing timestamp",
        "SELECT to_timestamp('garbage') AS t FROM sessions",
    ),
    (
        "value_zero",
        "divides by zero",
        "SELECT 5 % (detached - detached) AS x FROM sessions",
    ),
    (
        "struct_more",
        "a struct stands where",
        "SELECT random_intercept(difference, sensor_no) > 3 AS x FROM pairs",
    ),
    (
        "struct_dot",
        "get_field(x, 'name')",
        "SELECT (random_intercept(difference, sensor_no)).mean AS x FROM pairs",
    ),
    (
        "struct_field",
        "Field meen not found",
        "SELECT get_field(random_intercept(difference, sensor_no), 'meen') AS x FROM pairs",
    ),
    (
        "argument_few",
        "random_intercept(value, sensor) takes 2 arguments, and is given 1",
        "SELECT random_intercept(difference) AS x FROM pairs",
    ),
    (
        "argument_seed",
        "the argument `seed` (the same text gives the same draws) is a whole number",
        "SELECT get_field(log_rank(days, detached, site, wearer, wearer, 3), 'p') AS p FROM sessions",
    ),
    (
        "argument_time",
        "the argument `sensor` is an instant",
        "SELECT get_field(random_intercept(days, inserted), 'mean') AS x FROM sessions",
    ),
    (
        "argument_low",
        "the argument `events` is -1e308",
        "SELECT get_field(sensor_rate(-1e308, days), 'rate') AS x FROM sessions",
    ),
    (
        "argument_high",
        "the argument `events` is 9e18",
        "SELECT exact_poisson_lower(9e18) AS x",
    ),
    (
        "argument_inf",
        "the argument `exposure` is inf",
        "SELECT get_field(sensor_rate(detached, 1e308 * 10), 'rate') AS x FROM sessions",
    ),
    (
        "clock_day",
        "current_date() gives another value each time",
        "SELECT current_date AS d",
    ),
    (
        "clock_where",
        "now() gives another value each time",
        "SELECT site FROM sessions WHERE inserted > now() - interval '30 days'",
    ),
    (
        "dice_name",
        "uuid() gives another value each time",
        "SELECT uuid() AS u",
    ),
    (
        "fill_repeat",
        "`repeat` is not to be had",
        "SELECT repeat('a', 2000000000) AS a",
    ),
    (
        "fill_pad",
        "`lpad` is not to be had",
        "SELECT lpad('a', 2000000000) AS a",
    ),
    (
        "fill_pattern",
        "Regular expression did not compile",
        "SELECT regexp_like(site, '((a{1,1000}){1,1000}){1,1000}') AS t FROM sessions",
    ),
    (
        "endless_text",
        "longer than 1 s",
        "WITH RECURSIVE n AS (SELECT 1 AS a UNION ALL SELECT a + 1 FROM n) SELECT MAX(a) AS l FROM n",
    ),
    (
        "endless_series",
        "longer than 1 s",
        "SELECT COUNT(*) AS n FROM generate_series(1, 100000000000) AS a, generate_series(1, 1000) AS b",
    ),
    (
        "chart_kind",
        "line 1: unknown variant `lines`",
        "-- chart = { kind = \"lines\", x = \"a\", y = \"b\" }\nSELECT 1 AS a, 2 AS b",
    ),
    (
        "chart_texts",
        "line 1: its header asks for a chart of the kind `line` over the column `b`",
        "-- chart = { kind = \"line\", x = \"a\", y = \"b\" }\nSELECT 1 AS a, 'y' AS b",
    ),
    (
        "chart_ends",
        "needs a column as `lower`",
        "-- chart = { kind = \"intervals\", x = \"a\", y = \"b\" }\nSELECT 1.0 AS a, 'y' AS b",
    ),
];

/// All of them at once cost the report nothing but their own tables, reach no file, and each message has its line.
#[test]
fn clumsy_and_hostile_files_hurt_themselves_alone() {
    let whole = study().report();
    let study = study();
    for (name, _, sql) in CLUMSY {
        let sql = match *sql {
            "OR" => format!(
                "SELECT site FROM sessions WHERE days = 1{}",
                " OR days = 2".repeat(5000)
            ),
            "+" => format!("SELECT 1{} AS a", " + 1".repeat(5000)),
            "(" => format!("SELECT {}1{} AS a", "(".repeat(3000), ")".repeat(3000)),
            sql => (*sql).to_owned(),
        };
        study.write(&format!("queries/{name}.sql"), sql);
    }
    let run = study.try_report(&["--limit", "1", "--memory", "128"]);
    assert_eq!(run.code, QUERIES_FAILED, "{}", run.err);
    let mut other = Vec::new();
    for (name, words, _) in CLUMSY {
        let of = format!("{name}.sql, line ");
        let message = run.err.lines().find(|line| line.contains(&of));
        if !message.is_some_and(|message| message.contains(words)) {
            other.push(format!("{name}: no `{words}` in {message:?}"));
        }
    }
    assert!(other.is_empty(), "{other:#?}");
    for inner in [
        "datafusion",
        "DataFusion",
        "Arrow",
        "panicked",
        "please report",
    ] {
        assert!(!run.err.contains(inner), "{inner} in {}", run.err);
    }
    assert!(!study.dir().join("leak.csv").exists() && !std::path::Path::new("leak.csv").exists());
    let output = Output::read(&study.beside("out"));
    for (name, bytes) in whole
        .files
        .iter()
        .filter(|(name, _)| name.starts_with("tables/"))
    {
        assert!(output.files.get(name) == Some(bytes), "{name} is another");
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

/// A query holds some 24 MB on its way, two at once more than is allowed: the one that found too little memory runs again when
/// the other is done.
#[test]
fn queries_that_crowd_each_other_run_one_after_the_other() {
    let busy = "FROM (SELECT SUM(a.value * b.value) AS n FROM generate_series(1, 3000000) AS a CROSS JOIN generate_series(1, 40) AS b) AS busy WHERE n < 0";
    let allowed = |memory: &str| {
        let study = study();
        study.write(
            "queries/last_readings.sql",
            format!("SELECT CAST(1 AS BIGINT) AS panel, CAST(NULL AS TIMESTAMP) AS time, 1.0 AS glucose, 'ok' AS status {busy}"),
        );
        study.write(
            "queries/site_pairs.sql",
            format!("SELECT 'chest' AS site, 'calf' AS against, CAST(1 AS BIGINT) AS position, CAST(2 AS BIGINT) AS against_position {busy}"),
        );
        study.try_report(&["--memory", memory])
    };
    let each_alone = allowed("40");
    assert_eq!(each_alone.code, 0, "{}", each_alone.err);
    let neither = allowed("20");
    assert_eq!(neither.code, QUERIES_FAILED, "{}", neither.err);
    assert!(neither.err.contains("needs more memory"), "{}", neither.err);
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
