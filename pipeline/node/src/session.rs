//! What every process of the cluster needs to know of plans: the settings and functions of the engine.

use std::sync::Arc;

use ballista_core::config::BallistaConfig;
use ballista_core::registry::BallistaFunctionRegistry;
use datafusion::error::Result;
use datafusion::execution::SessionStateBuilder;
use datafusion::execution::runtime_env::RuntimeEnv;
use datafusion::execution::session_state::SessionState;
use datafusion::prelude::{SessionConfig, SessionContext};

/// Most bytes of one message: the plan of a step has a part for each few sensors.
pub const MESSAGE: u32 = 256 << 20;

/// Settings under which the engine plans, and a plan is taken as it is: one task for each part.
pub fn config() -> SessionConfig {
    whereworn_engine::session_config()
        .with_option_extension(BallistaConfig::default())
        .set_bool("ballista.planner.adaptive.enabled", false)
        .set_usize("ballista.scheduler.max_partitions_per_task", 1)
        .set_usize("ballista.client.grpc_max_message_size", MESSAGE as usize)
}

/// A session that plans as the engine does.
pub fn context(config: SessionConfig, environment: Arc<RuntimeEnv>) -> SessionContext {
    let context = SessionContext::new_with_config_rt(config, environment);
    whereworn_engine::register_functions(&context);
    context
}

/// The state of such a session.
///
/// # Errors
/// None that a caller can cause.
pub fn state(config: SessionConfig, environment: Arc<RuntimeEnv>) -> Result<SessionState> {
    let state = context(config, environment).state();
    Ok(SessionStateBuilder::new_from_existing(state).build())
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
