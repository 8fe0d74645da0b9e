//! The researcher's own queries, and the command that runs one.

use std::fs;

use crate::fixture::{LATER, Output, Table, close};
use crate::small_study::study;

const BIAS_BY_DAY: &str = "\
-- title = \"Bias by day of wear\"
-- row = \"one site on one day of wear\"
-- section = \"accuracy\"
-- note = \"Days begin at insertion.\"
-- chart = { kind = \"line\", x = \"wear_day\", y = \"bias\", series = \"site\" }
-- [columns]
-- wear_day = { label = \"Day of wear\" }
-- bias = { label = \"Bias of the day\", unit = \"mg/dL\", digits = 1 }
SELECT site, CAST(FLOOR(wear_days) AS INT) AS wear_day, AVG(difference) AS bias
FROM pairs
GROUP BY site, CAST(FLOOR(wear_days) AS INT)
ORDER BY site, wear_day
";

#[test]
fn an_own_query_is_in_the_tables_and_in_the_report() {
    let study = study();
    study.write("queries/bias_by_day.sql", BIAS_BY_DAY);
    let output = study.report();
    output.assert_no_nan();
    let table = output.table("bias_by_day");
    assert_eq!(table.header, ["site", "wear_day", "bias"]);

    // The same means from the pairs.
    let pairs = output.table("pairs");
    for row in table.rows() {
        let differences: Vec<f64> = pairs
            .rows_where(&[("site", row.text("site"))])
            .iter()
            .filter(|pair| pair.number("wear_days").floor() == row.number("wear_day"))
            .map(|pair| pair.number("difference"))
            .collect();
        let mean = differences.iter().sum::<f64>() / differences.len() as f64;
        close(row.number("bias"), mean, 1e-9, "bias");
    }
    assert!(table.lines.len() > 6);

    assert!(output.files["tables/bias_by_day.parquet"].starts_with(b"PAR1"));
    assert!(output.files.contains_key("figures/bias_by_day.svg"));
    assert_eq!(
        output.json()["table_rows"]["bias_by_day"],
        table.lines.len()
    );
    for page in ["report.md", "report.html"] {
        let text = output.text(page);
        for word in [
            "Bias by day of wear",
            "one site on one day of wear",
            "Bias of the day (mg/dL)",
            "Days begin at insertion.",
        ] {
            assert!(text.contains(word), "no `{word}` in {page}");
        }
    }
    let page = output.text("report.html");
    let at = |word: &str| page.find(word).unwrap_or_else(|| panic!("no `{word}`"));
    let title = at(">Bias by day of wear<");
    assert!(
        (at("id=\"how-true-do-they-read\"")..at("id=\"when-do-night-artefacts-happen\""))
            .contains(&title),
        "in its section"
    );
}

#[test]
fn an_own_query_in_one_line() {
    let study = study();
    study.write(
        "queries/count_of_rows.sql",
        "SELECT COUNT(*) AS rows_read FROM readings",
    );
    let output = study.report();
    let readings = output
        .table("exclusions")
        .row(&[("table_name", "readings"), ("what", "accepted")])
        .text("rows")
        .to_owned();
    assert_eq!(
        output.table("count_of_rows").column("rows_read"),
        [readings]
    );
    assert!(output.text("report.md").contains("count of rows"));
}

#[test]
fn what_is_not_a_number_is_no_value() {
    let study = study();
    study.write(
        "queries/odd.sql",
        "SELECT CAST('NaN' AS DOUBLE) AS a, CAST('inf' AS DOUBLE) AS b, 0.5 AS c, CAST(NULL AS TEXT) AS d",
    );
    let output = study.report();
    output.assert_no_nan();
    assert_eq!(output.table("odd").lines, [["", "", "0.5", ""]]);
}

#[test]
fn an_own_query_takes_the_place_of_ours() {
    let study = study();
    let before = study.report();
    study.write(
        "queries/pairs.sql",
        format!("{}\nWHERE sensor <> 'a'", study_pairs(&before)),
    );
    let after = study.report();
    let count = |output: &Output, sensor: &str| {
        output
            .table("pairs")
            .rows_where(&[("sensor", sensor)])
            .len()
    };
    assert!(count(&before, "a") > 0 && count(&after, "a") == 0);
    assert_eq!(count(&before, "c"), count(&after, "c"));
    // Tables made from it follow.
    let sensors = |output: &Output| {
        output
            .table("site_accuracy")
            .row(&[("site", "calf")])
            .text("sensors")
            .to_owned()
    };
    assert_eq!(
        (sensors(&before).as_str(), sensors(&after).as_str()),
        ("2", "1")
    );
}

/// Pairs written out as SQL, so that a query file of the same name needs none of the program's.
fn study_pairs(output: &Output) -> String {
    let pairs = output.table("pairs");
    let rows: Vec<String> = pairs
        .rows()
        .map(|row| {
            let text = |column: &str| format!("'{}'", row.text(column));
            let number = |column: &str| format!("CAST({} AS DOUBLE)", row.text(column));
            let time = |column: &str| {
                format!(
                    "CAST('{}' AS TIMESTAMP)",
                    row.text(column).trim_end_matches('Z')
                )
            };
            let cells = [
                text("wearer"),
                text("sensor"),
                text("site"),
                time("fingerstick_time"),
                time("reading_time"),
                number("fingerstick"),
                number("reading"),
                number("difference"),
                number("relative_difference"),
                number("wear_days"),
                row.text("sensor_no").to_owned(),
                row.text("fingerstick_no").to_owned(),
            ];
            format!("({})", cells.join(", "))
        })
        .collect();
    format!(
        "SELECT * FROM (VALUES {}) AS given (wearer, sensor, site, fingerstick_time, reading_time, fingerstick, \
         reading, difference, relative_difference, wear_days, sensor_no, fingerstick_no)",
        rows.join(", ")
    )
}

#[test]
fn another_folder_of_queries() {
    let study = study();
    let folder = study.beside("more");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("answer.sql"), "SELECT 42 AS answer").unwrap();
    study.write("queries/answer.sql", "SELECT 41 AS answer");
    let folder = folder.display().to_string();
    let output = study.report_with(&["--queries", &folder]);
    assert_eq!(output.table("answer").lines, [["42"]]);
    assert_eq!(study.report().table("answer").lines, [["41"]]);
    study
        .try_report(&["--queries", "/nowhere/at/all"])
        .fails_with(&["/nowhere/at/all"]);
}

#[test]
fn queries_name_each_other_in_any_order() {
    let study = study();
    study
        .write("queries/a.sql", "SELECT n + 1 AS n FROM b")
        .write(
            "queries/b.sql",
            "WITH a AS (SELECT 1 AS n) SELECT c.n + a.n AS n FROM c CROSS JOIN a",
        )
        .write("queries/c.sql", "SELECT COUNT(*) AS n FROM sessions");
    let output = study.report();
    assert_eq!(output.table("c").lines, [["4"]]);
    assert_eq!(output.table("b").lines, [["5"]]);
    assert_eq!(output.table("a").lines, [["6"]]);
}

#[test]
fn sql_that_would_change_something_is_refused() {
    let study = study();
    let target = study.beside("copied.csv");
    for sql in [
        "DROP TABLE readings",
        "CREATE TABLE t AS SELECT 1",
        "INSERT INTO readings SELECT * FROM readings",
        "SET datafusion.execution.batch_size = 1",
        &format!("COPY (SELECT 1) TO '{}'", target.display()),
        &format!(
            "CREATE EXTERNAL TABLE t STORED AS CSV LOCATION '{}'",
            study.dir().join("readings/all.csv").display()
        ),
        "SELECT 1; DROP TABLE readings",
    ] {
        let run = study.run("query", &["--sql", sql]);
        run.fails_with(&[]);
        assert_eq!(run.out, "", "{sql}");
    }
    assert!(!target.exists());
}

#[test]
fn one_query_in_every_format() {
    let study = study();
    let print = |format: &str| {
        let run = study.run(
            "query",
            &["site_wear", "--as-of", LATER, "--format", format],
        );
        assert_eq!((run.code, run.err.as_str()), (0, ""), "{format}");
        run
    };
    let csv = print("csv").out;
    assert_eq!(csv, study.report().text("tables/site_wear.csv"));

    let csv = Table::parse("csv", &csv);
    let json: serde_json::Value = serde_json::from_str(&print("json").out).unwrap();
    let objects = json.as_array().unwrap();
    assert_eq!(objects.len(), csv.lines.len());
    for (object, row) in objects.iter().zip(csv.rows()) {
        let object = object.as_object().unwrap();
        assert!(object.keys().eq(csv.header.iter()));
        for (column, value) in object {
            match value {
                serde_json::Value::Null => assert_eq!(row.text(column), ""),
                serde_json::Value::String(text) => assert_eq!(row.text(column), text),
                number => {
                    let expected = row.number(column);
                    close(
                        number.as_f64().unwrap(),
                        expected,
                        1e-12 * expected.abs(),
                        column,
                    );
                }
            }
        }
    }

    let parquet = print("parquet").bytes;
    assert!(parquet.starts_with(b"PAR1") && parquet.ends_with(b"PAR1"));

    let table = print("table").out;
    let lines: Vec<&str> = table.lines().collect();
    assert!(lines[0].starts_with("site"), "{table}");
    assert_eq!(lines.len(), 1 + csv.lines.len());
}

#[test]
fn sql_from_the_command_line() {
    let study = study();
    let table =
        study.sql("SELECT site, COUNT(*) AS sensors FROM sessions GROUP BY site ORDER BY site");
    assert_eq!(table.lines, [["calf", "2"], ["chest", "2"]]);
    let quoted = study.sql("SELECT 'a \"b\", c' AS text");
    assert_eq!(quoted.lines, [["a \"b\", c"]]);
    let empty = study.sql("SELECT site FROM sessions WHERE site = 'forearm'");
    assert_eq!((empty.header.len(), empty.lines.len()), (1, 0));
    study
        .run("query", &["--sql", "SELECT * FROM site_acuracy"])
        .fails_with(&["site_acuracy"]);
    study
        .run("query", &["--sql", "SELECT bios FROM site_accuracy"])
        .fails_with(&["bios"]);
}

#[test]
fn an_unknown_query_name_suggests_the_nearest() {
    let study = study();
    study
        .run("query", &["site_acuracy"])
        .fails_with(&["site_acuracy", "`site_accuracy`"]);
    let list = study.run("query", &[]);
    assert_eq!(list.code, 0);
    for name in ["site_survival", "site_wear_test", "pairs", "sessions"] {
        assert!(
            list.out
                .lines()
                .any(|line| line.split_whitespace().next() == Some(name)),
            "{name}"
        );
    }
}

/// Asked for by the name of its file, as whoever wrote it knows it.
#[test]
fn a_refused_name_says_why() {
    let study = study();
    study.write("queries/größe.sql", "SELECT 1 AS a");
    let run = study.run("query", &["größe"]);
    run.fails_with(&["use lower-case letters, digits and _"]);
}

/// A query of the month sees nothing later than its cut-off.
#[test]
fn the_month_bounds_what_queries_see() {
    let study = study();
    study.write(
        "wear-events/later.csv",
        "sensor,time,event,site,cause\nz,2026-03-01T08:00:00Z,insert,calf,\n",
    );
    let sensors = |month: &str| {
        let sql = "SELECT COUNT(*) AS n FROM wear_events WHERE sensor = 'z'";
        let run = study.run(
            "query",
            &[
                "--month", month, "--as-of", LATER, "--format", "csv", "--sql", sql,
            ],
        );
        run.out.lines().nth(1).unwrap().to_owned()
    };
    assert_eq!(
        (sensors("2026-01").as_str(), sensors("2026-03").as_str()),
        ("0", "1")
    );
}
