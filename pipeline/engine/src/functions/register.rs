//! Puts every function of ours into a session, and says what each is for.

use datafusion::logical_expr::{AggregateUDF, ScalarUDF, WindowUDF};
use datafusion::prelude::SessionContext;

use super::arguments::{self, Argument};
use super::artefacts::{self, NightArtefacts};
use super::collect::{Collect, Evaluate, Statistic};
use super::holm::{self, Holm};
use super::scalar::ScalarFunction;
use super::{
    accuracy, conclusions, meta_analysis, prediction, product, scalars, site_differences,
    statistics, survival,
};

/// What a function of ours takes, gives and is for.
pub struct Description {
    /// Name in SQL.
    pub name: &'static str,
    /// What it takes, in order.
    pub arguments: &'static [Argument],
    /// What it gives, in words.
    pub gives: String,
    /// One sentence on what it computes.
    pub about: &'static str,
    /// A query that calls it, over tables of the program.
    pub example: String,
}

impl Description {
    /// The call with the names of its arguments.
    pub fn call(&self) -> String {
        arguments::call(self.name, self.arguments)
    }
}

fn aggregates() -> impl Iterator<Item = &'static Statistic> {
    statistics::ALL
        .iter()
        .chain(survival::ALL)
        .chain(accuracy::ALL)
        .chain(prediction::ALL)
        .chain(meta_analysis::ALL)
        .chain(site_differences::ALL)
        .chain(conclusions::ALL)
}

/// Registers every function of ours.
pub(crate) fn register(context: &SessionContext) {
    for scalar in scalars::ALL {
        context.register_udf(ScalarUDF::new_from_impl(ScalarFunction::new(scalar)));
    }
    for statistic in aggregates() {
        context.register_udaf(AggregateUDF::new_from_impl(Collect::new(statistic)));
    }
    context.register_udaf(product::product());
    context.register_udwf(WindowUDF::new_from_impl(Holm::new()));
    context.register_udaf(AggregateUDF::new_from_impl(NightArtefacts::new()));
}

/// Every function of ours, by name.
pub fn descriptions() -> Vec<Description> {
    let scalars = scalars::ALL.iter().map(|scalar| Description {
        name: scalar.name,
        arguments: scalar.arguments,
        gives: scalar_type(&(scalar.gives)()).to_owned(),
        about: scalar.about,
        example: format!("SELECT {} AS value FROM sessions", scalar.example),
    });
    let statistics = aggregates().map(|statistic| Description {
        name: statistic.name,
        arguments: statistic.arguments,
        gives: struct_of(statistic),
        about: statistic.about,
        example: statistic.example.to_owned(),
    });
    let others = [
        Description {
            name: holm::NAME,
            arguments: &holm::ARGUMENTS,
            gives: "a number, over a window".to_owned(),
            about: "Holm's adjustment of each p value for all of its window; a missing one stays missing",
            example: "SELECT p, holm(p) OVER () AS adjusted FROM (VALUES (0.01), (0.04)) AS t (p) ORDER BY p".to_owned(),
        },
        Description {
            name: product::NAME,
            arguments: &product::ARGUMENTS,
            gives: "a number".to_owned(),
            about: "a product, also a running one over a window; 1 for no rows",
            example: "SELECT site, product(1.0 - event / 10.0) AS value FROM lives GROUP BY site ORDER BY site"
                .to_owned(),
        },
        Description {
            name: artefacts::NAME,
            arguments: &artefacts::ARGUMENTS,
            gives: format!("a list of structs: {}", artefacts::field_names().join(", ")),
            about: "the detector of night artefacts over the readings of one sensor; `strictness` is the strictest setting that reports a run: 1 looser, 2 standard (what the report counts), 3 stricter",
            example: "SELECT sensor_no, UNNEST(night_artefacts_of(time, glucose, status)) AS found FROM readings GROUP BY sensor_no ORDER BY sensor_no"
                .to_owned(),
        },
    ];
    let mut all: Vec<Description> = scalars.chain(statistics).chain(others).collect();
    all.sort_by_key(|description| description.name);
    all
}

fn scalar_type(kind: &datafusion::arrow::datatypes::DataType) -> &'static str {
    use datafusion::arrow::datatypes::DataType;
    match kind {
        DataType::Boolean => "true or false",
        DataType::Utf8 => "a text",
        DataType::Timestamp(_, _) => "an instant",
        DataType::Int64 => "a whole number",
        _ => "a number",
    }
}

fn struct_of(statistic: &Statistic) -> String {
    let fields = statistic.fields.join(", ");
    match statistic.evaluate {
        Evaluate::One(_) => format!("a struct: {fields}"),
        Evaluate::Many(_) => format!("a list of structs: {fields}"),
    }
}
