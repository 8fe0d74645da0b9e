//! Queries that look at each sensor by itself: that they do, and their plans on some sensors at a time.

use datafusion::common::Column;
use datafusion::common::tree_node::{Transformed, TreeNode, TreeNodeRecursion};
use datafusion::error::DataFusionError;
use datafusion::logical_expr::expr::Alias;
use datafusion::logical_expr::{Cast, Expr, LogicalPlan, LogicalPlanBuilder, TableScan};
use datafusion::prelude::{col, lit};

/// The column that says whose a row is.
const SENSOR: &str = "sensor_no";

/// Memory for each sensor whose rows are looked at at a time, bytes: one that reads every five minutes for two weeks has four
/// thousand.
const A_SENSOR: usize = 1 << 19;

/// Sensors that are looked at at a time within so many bytes.
pub(crate) fn at_once(memory: usize) -> usize {
    (memory / A_SENSOR).max(1)
}

/// Plans on so many sensors each, in the order of their numbers, which are counted from 0.
///
/// # Errors
/// Those of the engine.
pub(crate) fn parts(
    plan: &LogicalPlan,
    sensors: usize,
    at_once: usize,
) -> Result<Vec<LogicalPlan>, DataFusionError> {
    let firsts = (0..sensors).step_by(at_once);
    firsts
        .map(|first| of_sensors(plan, first, first + at_once))
        .collect()
}

/// A plan without rows that are of no sensor with a number: there are none of them in its parts.
///
/// # Errors
/// Those of the engine.
pub(crate) fn of_numbered(plan: LogicalPlan) -> Result<LogicalPlan, DataFusionError> {
    if !plan.schema().has_column_with_unqualified_name(SENSOR) {
        return Ok(plan);
    }
    LogicalPlanBuilder::from(plan)
        .filter(col(SENSOR).is_not_null())?
        .build()
}

/// A plan on the rows of the sensors from one number up to another, of all tables that have a sensor's number.
fn of_sensors(
    plan: &LogicalPlan,
    first: usize,
    until: usize,
) -> Result<LogicalPlan, DataFusionError> {
    let restricted = |node: LogicalPlan| {
        let LogicalPlan::TableScan(scan) = &node else {
            return Ok(Transformed::no(node));
        };
        if !is_of_sensors(scan) {
            return Ok(Transformed::no(node));
        }
        let number = Expr::Column(Column::new(Some(scan.table_name.clone()), SENSOR));
        let from = number.clone().gt_eq(lit(first as i32));
        let rows = LogicalPlanBuilder::from(node)
            .filter(from.and(number.lt(lit(until as i32))))?
            .build()?;
        Ok(Transformed::yes(rows))
    };
    Ok(plan.clone().transform_up_with_subqueries(restricted)?.data)
}

fn is_of_sensors(scan: &TableScan) -> bool {
    scan.source.schema().field_with_name(SENSOR).is_ok()
}

/// Holds an optimized plan to what its role says: no row depends on the rows of several sensors.
///
/// # Errors
/// What it does to rows of several sensors, in words.
pub(crate) fn check(plan: &LogicalPlan) -> Result<(), String> {
    if !plan.schema().has_column_with_unqualified_name(SENSOR) {
        return Err(format!(
            "its role is `per-sensor`, and it does not give `{SENSOR}`"
        ));
    }
    let mut wrong = None;
    let _ = plan.apply_with_subqueries(|node| {
        wrong = wrong.or_else(|| brings_sensors_together(node));
        Ok(match wrong {
            Some(_) => TreeNodeRecursion::Stop,
            None => TreeNodeRecursion::Continue,
        })
    });
    wrong.map_or(Ok(()), |what| {
        Err(format!(
            "its role is `per-sensor`, and it {what} `{SENSOR}`"
        ))
    })
}

/// What a step of a plan does to rows of several sensors, in words to be followed by the column that it lacks.
fn brings_sensors_together(node: &LogicalPlan) -> Option<&'static str> {
    match node {
        LogicalPlan::Aggregate(of) if reads_sensors(&of.input) => {
            let apart = of.group_expr.iter().any(is_sensor);
            (!apart).then_some("groups rows of several sensors: group them by")
        }
        LogicalPlan::Window(of) if reads_sensors(&of.input) => {
            let apart = of.window_expr.iter().all(is_within_sensor);
            (!apart).then_some("has a window over rows of several sensors: partition it by")
        }
        LogicalPlan::Join(of) if reads_sensors(&of.left) && reads_sensors(&of.right) => {
            let mut on = of.on.iter();
            let apart = on.any(|(left, right)| is_sensor(left) && is_sensor(right));
            (!apart).then_some("joins rows of several sensors: join them on")
        }
        LogicalPlan::Limit(of) if reads_sensors(&of.input) => {
            Some("takes some rows of several sensors: number them within")
        }
        LogicalPlan::Sort(of) if of.fetch.is_some() && reads_sensors(&of.input) => {
            Some("takes some rows of several sensors: number them within")
        }
        _ => None,
    }
}

/// Whether a plan reads a table that has a sensor's number.
fn reads_sensors(plan: &LogicalPlan) -> bool {
    let is = |node: &LogicalPlan| match node {
        LogicalPlan::TableScan(scan) => is_of_sensors(scan),
        _ => false,
    };
    plan.exists(|node| Ok(is(node))).unwrap_or(true)
}

fn is_sensor(expression: &Expr) -> bool {
    match expression {
        Expr::Column(column) => column.name == SENSOR,
        Expr::Alias(Alias { expr, .. }) | Expr::Cast(Cast { expr, .. }) => is_sensor(expr),
        _ => false,
    }
}

fn is_within_sensor(expression: &Expr) -> bool {
    match expression {
        Expr::Alias(Alias { expr, .. }) => is_within_sensor(expr),
        Expr::WindowFunction(call) => call.params.partition_by.iter().any(is_sensor),
        _ => false,
    }
}
