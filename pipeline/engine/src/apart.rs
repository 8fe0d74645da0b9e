//! Queries that look at each sensor, or at each wearer, by itself: that they do, and their plans on some of them at a time.

use std::collections::BTreeMap;

use datafusion::arrow::array::RecordBatch;
use datafusion::common::cast::as_string_array;
use datafusion::common::tree_node::{Transformed, TreeNode, TreeNodeRecursion};
use datafusion::common::{Column, ScalarValue};
use datafusion::error::DataFusionError;
use datafusion::logical_expr::expr::Alias;
use datafusion::logical_expr::{Cast, Expr, LogicalPlan, LogicalPlanBuilder, TableScan};
use datafusion::prelude::{col, lit};
use whereworn_model::header::Role;

/// Memory for each sensor whose rows are looked at at a time, bytes: one that reads every five minutes for two weeks has four
/// thousand.
const A_SENSOR: usize = 1 << 19;

/// Sensors that are looked at at a time within so many bytes.
pub(crate) fn at_once(memory: usize) -> usize {
    (memory / A_SENSOR).max(1)
}

/// How many sensors with readings each wearer has; sensors are numbered from 0.
#[derive(Default)]
pub(crate) struct Worn(BTreeMap<String, usize>);

impl Worn {
    /// From the table of sensors.
    ///
    /// # Errors
    /// It has no wearers.
    pub fn new(sensors: &RecordBatch) -> Result<Self, DataFusionError> {
        let wearers = sensors.schema().index_of(WEARERS.column)?;
        let mut worn = Self::default();
        for wearer in as_string_array(sensors.column(wearers))?.iter().flatten() {
            *worn.0.entry(wearer.to_owned()).or_default() += 1;
        }
        Ok(worn)
    }

    /// How many sensors have readings.
    pub fn sensors(&self) -> usize {
        self.0.values().sum()
    }

    /// The first sensor of each part after the first.
    fn first_sensors(&self, at_once: usize) -> Vec<String> {
        let firsts = (0..self.sensors()).step_by(at_once).skip(1);
        firsts.map(|first| first.to_string()).collect()
    }

    /// The first wearer of each part after the first: one may have more sensors than are looked at at a time.
    fn first_wearers(&self, at_once: usize) -> Vec<String> {
        let mut firsts = Vec::new();
        let mut room = 0;
        for (wearer, sensors) in &self.0 {
            if *sensors > room {
                firsts.push(wearer.clone());
                room = at_once;
            }
            room = room.saturating_sub(*sensors);
        }
        firsts.into_iter().skip(1).collect()
    }
}

/// Whose rows a query keeps apart.
pub(crate) struct Apart {
    role: &'static str,
    /// The column that says whose a row is.
    column: &'static str,
    /// What they are called.
    several: &'static str,
    /// The first of each part after the first, of so many sensors at a time.
    firsts: fn(&Worn, usize) -> Vec<String>,
    /// One of them as a value of the column.
    value: fn(&str) -> Option<ScalarValue>,
}

const SENSORS: Apart = Apart {
    role: "per-sensor",
    column: "sensor_no",
    several: "several sensors",
    firsts: Worn::first_sensors,
    value: |text| text.parse::<i32>().ok().map(ScalarValue::from),
};

const WEARERS: Apart = Apart {
    role: "per-wearer",
    column: "wearer",
    several: "several wearers",
    firsts: Worn::first_wearers,
    value: |text| Some(ScalarValue::from(text)),
};

impl Apart {
    /// What a role keeps apart, if anything.
    pub fn of(role: Role) -> Option<Self> {
        match role {
            Role::PerSensor => Some(SENSORS),
            Role::PerWearer => Some(WEARERS),
            Role::Table | Role::Intermediate | Role::View => None,
        }
    }

    /// The first of each part after the first, of so many sensors at a time.
    pub fn firsts(&self, worn: &Worn, at_once: usize) -> Vec<String> {
        (self.firsts)(worn, at_once)
    }

    /// Plans on some sensors or wearers each, in their order: the first up to the first of `firsts`, the last from the last
    /// of them on.
    ///
    /// # Errors
    /// Those of the engine.
    pub fn parts(
        &self,
        plan: &LogicalPlan,
        firsts: &[String],
    ) -> Result<Vec<LogicalPlan>, DataFusionError> {
        let values = firsts.iter().filter_map(|first| (self.value)(first));
        let firsts: Vec<ScalarValue> = values.collect();
        let nexts = firsts.iter().map(Some).chain([None]);
        let parts = [None].into_iter().chain(firsts.iter().map(Some)).zip(nexts);
        parts
            .map(|(first, next)| self.between(plan, first, next))
            .collect()
    }

    /// A plan without rows that are of no one: there are none of them in its parts.
    ///
    /// # Errors
    /// Those of the engine.
    pub fn of_someone(&self, plan: LogicalPlan) -> Result<LogicalPlan, DataFusionError> {
        if !plan.schema().has_column_with_unqualified_name(self.column) {
            return Ok(plan);
        }
        LogicalPlanBuilder::from(plan)
            .filter(col(self.column).is_not_null())?
            .build()
    }

    /// A plan on the rows from one up to another, of all tables that say whose a row is.
    fn between(
        &self,
        plan: &LogicalPlan,
        first: Option<&ScalarValue>,
        next: Option<&ScalarValue>,
    ) -> Result<LogicalPlan, DataFusionError> {
        let restricted = |node: LogicalPlan| {
            let LogicalPlan::TableScan(scan) = &node else {
                return Ok(Transformed::no(node));
            };
            if !self.says(scan) {
                return Ok(Transformed::no(node));
            }
            let whose = Expr::Column(Column::new(Some(scan.table_name.clone()), self.column));
            let from = first.map(|first| whose.clone().gt_eq(lit(first.clone())));
            let until = next.map(|next| whose.lt(lit(next.clone())));
            let Some(within) = from.into_iter().chain(until).reduce(Expr::and) else {
                return Ok(Transformed::no(node));
            };
            let rows = LogicalPlanBuilder::from(node).filter(within)?.build()?;
            Ok(Transformed::yes(rows))
        };
        Ok(plan.clone().transform_up_with_subqueries(restricted)?.data)
    }

    fn says(&self, scan: &TableScan) -> bool {
        scan.source.schema().field_with_name(self.column).is_ok()
    }

    /// Holds an optimized plan to what its role says: no row depends on the rows of several sensors, or wearers.
    ///
    /// # Errors
    /// What it does to rows of several, in words.
    pub fn check(&self, plan: &LogicalPlan) -> Result<(), String> {
        let Self { role, column, .. } = self;
        if !plan.schema().has_column_with_unqualified_name(column) {
            return Err(format!(
                "its role is `{role}`, and it does not give `{column}`"
            ));
        }
        let mut wrong = None;
        let _ = plan.apply_with_subqueries(|node| {
            wrong = wrong.take().or_else(|| self.brings_together(node));
            Ok(match wrong {
                Some(_) => TreeNodeRecursion::Stop,
                None => TreeNodeRecursion::Continue,
            })
        });
        wrong.map_or(Ok(()), |what| {
            Err(format!("its role is `{role}`, and it {what} `{column}`"))
        })
    }

    /// What a step of a plan does to rows of several, in words to be followed by the column that it lacks.
    fn brings_together(&self, node: &LogicalPlan) -> Option<String> {
        let several = self.several;
        match node {
            LogicalPlan::Aggregate(of) if self.reads(&of.input) => {
                let apart = of.group_expr.iter().any(|by| self.is_whose(by));
                (!apart).then(|| format!("groups rows of {several}: group them by"))
            }
            LogicalPlan::Window(of) if self.reads(&of.input) => {
                let apart = of.window_expr.iter().all(|window| self.is_within(window));
                (!apart).then(|| format!("has a window over rows of {several}: partition it by"))
            }
            LogicalPlan::Join(of) if self.reads(&of.left) && self.reads(&of.right) => {
                let mut on = of.on.iter();
                let apart = on.any(|(left, right)| self.is_whose(left) && self.is_whose(right));
                (!apart).then(|| format!("joins rows of {several}: join them on"))
            }
            LogicalPlan::Limit(of) if self.reads(&of.input) => {
                Some(format!("takes some rows of {several}: number them within"))
            }
            LogicalPlan::Sort(of) if of.fetch.is_some() && self.reads(&of.input) => {
                Some(format!("takes some rows of {several}: number them within"))
            }
            _ => None,
        }
    }

    /// Whether a plan reads a table that says whose a row is.
    fn reads(&self, plan: &LogicalPlan) -> bool {
        let is = |node: &LogicalPlan| match node {
            LogicalPlan::TableScan(scan) => self.says(scan),
            _ => false,
        };
        plan.exists(|node| Ok(is(node))).unwrap_or(true)
    }

    fn is_whose(&self, expression: &Expr) -> bool {
        match expression {
            Expr::Column(column) => column.name == self.column,
            Expr::Alias(Alias { expr, .. }) | Expr::Cast(Cast { expr, .. }) => self.is_whose(expr),
            _ => false,
        }
    }

    fn is_within(&self, expression: &Expr) -> bool {
        match expression {
            Expr::Alias(Alias { expr, .. }) => self.is_within(expr),
            Expr::WindowFunction(call) => {
                let by = &call.params.partition_by;
                by.iter().any(|by| self.is_whose(by))
            }
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wearer_stays_whole() {
        let wearers = [("a", 2), ("b", 3), ("c", 9), ("d", 1), ("e", 1)];
        let worn = Worn(
            wearers
                .map(|(name, sensors)| (name.to_owned(), sensors))
                .into(),
        );
        assert_eq!(worn.first_wearers(5), ["c", "d"]);
        assert_eq!(worn.first_wearers(1), ["b", "c", "d", "e"]);
        assert!(worn.first_wearers(99).is_empty());
        assert_eq!(worn.first_sensors(7), ["7", "14"]);
        assert!(Worn::default().first_wearers(5).is_empty());
        assert!(Worn::default().first_sensors(5).is_empty());
    }
}
