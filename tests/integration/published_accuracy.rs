//! Published method comparisons as study folders: subjects are sensors, their pairs fingersticks with a reading at
//! the same minute.

use crate::fixture::{IN_UTC, Study, close, published, quantity};

/// A pair of one sensor.
struct Pair {
    sensor: String,
    reading: f64,
    fingerstick: f64,
}

/// Sensors one after the other, so that no fingerstick belongs to two of them; pairs an hour apart.
fn study(pairs: &[Pair]) -> Study {
    let mut events = "sensor,time,event,site,cause\n".to_owned();
    let mut readings = "sensor,time,glucose\n".to_owned();
    let mut fingersticks = "time,glucose\n".to_owned();
    let start: jiff::Timestamp = "2026-01-01T00:00:00Z".parse().unwrap();
    let mut at = start.as_second();
    let text = |second: i64| jiff::Timestamp::from_second(second).unwrap().to_string();
    for (number, pair) in pairs.iter().enumerate() {
        let sensor = &pair.sensor;
        if number == 0 || pairs[number - 1].sensor != *sensor {
            at += 3600;
            events += &format!("{sensor},{},insert,calf,\n", text(at));
            at += 3600;
        }
        at += 3600;
        readings += &format!("{sensor},{},{}\n", text(at), pair.reading);
        fingersticks += &format!("{},{}\n", text(at), pair.fingerstick);
        if pairs
            .get(number + 1)
            .is_none_or(|next| next.sensor != *sensor)
        {
            at += 3600;
            events += &format!("{sensor},{},end,,completed\n", text(at));
        }
    }
    let study = Study::new(IN_UTC);
    study
        .write("wear-events/all.csv", events)
        .write("readings/all.csv", readings)
        .write("fingersticks/all.csv", fingersticks);
    study
}

/// Bland and Altman 1986 Lancet i:307, first readings of 17 subjects on two peak flow meters: one pair a sensor.
#[test]
fn peak_flow() {
    let data = published("ba_pefr_data");
    let pairs: Vec<Pair> = data
        .rows()
        .map(|row| Pair {
            sensor: row.text("subject").to_owned(),
            reading: row.number("wright_1"),
            fingerstick: row.number("mini_1"),
        })
        .collect();
    let expected = published("ba_pefr_expected");
    let output = study(&pairs).report();
    let table = output.table("site_accuracy");
    let row = table.row(&[]);
    assert_eq!((row.text("sensors"), row.text("pairs")), ("17", "17"));
    for (column, name) in [
        ("bias", "mean_difference_first_wright_minus_first_mini"),
        ("bias_lower", "mean_ci_lower_t"),
        ("bias_upper", "mean_ci_upper_t"),
    ] {
        close(row.number(column), quantity(&expected, name), 1e-9, column);
    }
    // The file's limits were computed with 1.959964 for 1.96.
    let half_width = 1.96 * quantity(&expected, "sd_difference");
    close(
        row.number("bias") - row.number("loa_lower"),
        half_width,
        1e-9,
        "lower limit",
    );
    close(
        row.number("loa_upper") - row.number("bias"),
        half_width,
        1e-9,
        "upper limit",
    );
    assert_eq!(row.number("bias_df"), 16.0);
    assert_eq!(
        (row.maybe("sd_between"), row.maybe("sd_within")),
        (None, None)
    );
    // Printed in the paper.
    close(row.number("bias"), -2.1, 0.05, "printed bias");
    let sd = (row.number("loa_upper") - row.number("bias")) / 1.96;
    close(sd, 38.8, 0.05, "printed standard deviation");
}

/// Bland and Altman 1999 Stat Methods Med Res 8:135, cardiac output of 12 subjects by two methods, 60 pairs; the
/// random-intercept fit by lme4, nlme and direct maximisation. Twenty-fold, to be glucose in mg/dL.
#[test]
fn cardiac_output() {
    const SCALE: f64 = 20.0;
    let data = published("ba_cardiac_data");
    let pairs: Vec<Pair> = data
        .rows()
        .map(|row| Pair {
            sensor: row.text("subject").to_owned(),
            reading: SCALE * row.number("rv"),
            fingerstick: SCALE * row.number("ic"),
        })
        .collect();
    let expected = published("ba_cardiac_expected");
    let value = |name| quantity(&expected, name);
    let output = study(&pairs).report();
    let table = output.table("site_accuracy");
    let row = table.row(&[]);
    let ours = |column| row.number(column) / SCALE;
    assert_eq!((row.text("sensors"), row.text("pairs")), ("12", "60"));
    close(ours("bias"), value("reml_mean"), 1e-6, "bias");
    close(
        ours("sd_between").powi(2),
        value("reml_between_var"),
        1e-6,
        "between",
    );
    close(
        ours("sd_within").powi(2),
        value("reml_within_var"),
        1e-6,
        "within",
    );
    let half_width = 1.96 * value("reml_total_sd");
    close(
        ours("loa_lower"),
        value("reml_mean") - half_width,
        1e-6,
        "lower limit",
    );
    close(
        ours("loa_upper"),
        value("reml_mean") + half_width,
        1e-6,
        "upper limit",
    );

    let df = row.number("bias_df");
    assert!((1.0..=11.0).contains(&df), "{df}");
    let factor = (ours("bias_upper") - ours("bias")) / value("reml_mean_se");
    // t quantiles of 0.975 at 11 and 1 degrees of freedom, from tables of the t distribution.
    assert!((2.200..=12.707).contains(&factor), "{factor}");
}

/// Differences from a fingerstick of 100 mg/dL.
fn differences(groups: &[(String, f64)]) -> Vec<Pair> {
    groups
        .iter()
        .map(|(group, difference)| Pair {
            sensor: group.clone(),
            reading: 100.0 + difference,
            fingerstick: 100.0,
        })
        .collect()
}

/// The yields of dyestuff less 1500.
fn dyestuff(dropped: &[&str]) -> Vec<Pair> {
    let data = published("vc_dyestuff_data");
    let rows: Vec<(String, f64)> = data
        .rows()
        .filter(|row| !dropped.contains(&row.text("row")))
        .map(|row| (row.text("batch").to_owned(), row.number("yield") - 1500.0))
        .collect();
    differences(&rows)
}

/// The t quantile of 0.975 at 5 degrees of freedom, from tables of the t distribution.
const T_5: f64 = 2.570_581_836;

/// Davies and Goldsmith 1972, yields of six batches: lme4, nlme and statsmodels agree to 1e-5.
#[test]
fn dyestuff_balanced() {
    let expected = published("vc_dyestuff_expected");
    let value = |name| quantity(&expected, name);
    let output = study(&dyestuff(&[])).report();
    let table = output.table("site_accuracy");
    let row = table.row(&[]);
    let relative = |column: &str, power: i32, target: f64| {
        let actual = row.number(column).powi(power);
        close(actual, target, 1e-5 * target.abs(), column);
    };
    let mean = value("reml_mean") - 1500.0;
    relative("bias", 1, mean);
    relative("sd_between", 2, value("reml_between_var"));
    relative("sd_within", 2, value("reml_within_var"));
    assert_eq!(row.number("bias_df"), 5.0);
    relative("bias_lower", 1, mean - T_5 * value("reml_mean_se"));
    relative("bias_upper", 1, mean + T_5 * value("reml_mean_se"));
}

#[test]
fn dyestuff_unbalanced() {
    let expected = published("vc_dyestuff_expected");
    let dropped = expected.row(&[("quantity", "unbalanced_rows_dropped")]);
    let dropped: Vec<&str> = dropped.text("value").split_whitespace().collect();
    let value = |name| quantity(&expected, name);
    let output = study(&dyestuff(&dropped)).report();
    let table = output.table("site_accuracy");
    let row = table.row(&[]);
    assert_eq!(row.text("pairs"), "22");
    let relative = |actual: f64, target: f64, what| {
        close(actual, target, 1e-5 * target.abs(), what);
    };
    relative(
        row.number("bias"),
        value("unbalanced_reml_mean") - 1500.0,
        "bias",
    );
    let between = row.number("sd_between").powi(2);
    relative(between, value("unbalanced_reml_between_var"), "between");
    let within = row.number("sd_within").powi(2);
    relative(within, value("unbalanced_reml_within_var"), "within");
}

/// Box and Tiao 1973, made so that the batches differ less than chance would have it: no variance between them.
#[test]
fn dyestuff_without_variance_between() {
    let data = published("vc_dyestuff2_data");
    let rows: Vec<(String, f64)> = data
        .rows()
        .map(|row| (row.text("batch").to_owned(), row.number("yield")))
        .collect();
    let expected = published("vc_dyestuff2_expected");
    let value = |name| quantity(&expected, name);
    let output = study(&differences(&rows)).report();
    let table = output.table("site_accuracy");
    let row = table.row(&[]);
    close(row.number("bias"), value("reml_mean"), 1e-5, "bias");
    assert_eq!(row.number("sd_between"), 0.0);
    let within = value("reml_within_var");
    close(
        row.number("sd_within").powi(2),
        within,
        1e-5 * within,
        "within",
    );
    assert_eq!(row.number("bias_df"), 5.0, "sensors less one");
    let half_width = T_5 * value("reml_mean_se");
    close(
        row.number("bias_upper") - row.number("bias"),
        half_width,
        1e-4,
        "half width",
    );
    close(
        row.number("loa_upper") - row.number("bias"),
        1.96 * within.sqrt(),
        1e-4,
        "limits",
    );
}
