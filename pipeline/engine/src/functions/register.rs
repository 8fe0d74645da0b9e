//! Puts every function of ours into a session.

use datafusion::logical_expr::AggregateUDF;
use datafusion::prelude::SessionContext;

use super::artefacts::NightArtefacts;
use super::collect::Collect;
use super::{
    accuracy, conclusions, prediction, product, scalars, site_differences, statistics, survival,
};

/// Registers every function of ours.
pub(crate) fn register(context: &SessionContext) {
    for function in scalars::all() {
        context.register_udf(function);
    }
    for statistic in statistics::ALL
        .iter()
        .chain(survival::ALL)
        .chain(accuracy::ALL)
        .chain(prediction::ALL)
        .chain(site_differences::ALL)
        .chain(conclusions::ALL)
    {
        context.register_udaf(AggregateUDF::new_from_impl(Collect::new(statistic)));
    }
    context.register_udaf(product::product());
    context.register_udaf(AggregateUDF::new_from_impl(NightArtefacts::new()));
}
