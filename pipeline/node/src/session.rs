//! What every process of the cluster needs to know of plans: the settings and functions of the engine.

use std::sync::Arc;

use ballista_core::config::BallistaConfig;
use ballista_core::registry::BallistaFunctionRegistry;
use datafusion::execution::runtime_env::RuntimeEnv;
use datafusion::prelude::{SessionConfig, SessionContext};

/// Settings under which the engine plans, and a plan is taken as it is: one task for each part.
pub fn config() -> SessionConfig {
    whereworn_engine::session_config()
        .with_option_extension(BallistaConfig::default())
        .set_bool("ballista.planner.adaptive.enabled", false)
        .set_usize("ballista.scheduler.max_partitions_per_task", 1)
}

/// A session that plans as the engine does.
pub fn context(config: SessionConfig, environment: Arc<RuntimeEnv>) -> SessionContext {
    let context = SessionContext::new_with_config_rt(config, environment);
    whereworn_engine::register_functions(&context);
    context
}

/// The functions that plans call, the engine's own among them.
pub fn functions(environment: Arc<RuntimeEnv>) -> Arc<BallistaFunctionRegistry> {
    let state = context(config(), environment).state();
    Arc::new(BallistaFunctionRegistry {
        scalar_functions: state.scalar_functions().clone(),
        aggregate_functions: state.aggregate_functions().clone(),
        window_functions: state.window_functions().clone(),
        ..BallistaFunctionRegistry::default()
    })
}
