//! Query files of people who are new to it, or mean harm, all of them at once.

use crate::fixture::Output;
use crate::own_queries::QUERIES_FAILED;
use crate::small_study::study;

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
        "line 1: `kind`: unknown word `lines`",
        "-- chart = { kind = \"lines\", x = \"a\", y = \"b\" }\nSELECT 1 AS a, 2 AS b",
    ),
    (
        "chart_texts",
        "line 1: its header asks for a chart of the kind `line` over the column `b`",
        "-- chart = { kind = \"line\", x = \"a\", y = \"b\" }\nSELECT 1 AS a, 'y' AS b",
    ),
    (
        "names_twice",
        "two of its columns are called `site`: give one of them another name with AS",
        "SELECT a.site, b.site FROM sites AS a CROSS JOIN sites AS b",
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
