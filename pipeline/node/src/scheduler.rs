//! `scheduler`: hands out parts of steps.

use std::net::SocketAddr;
use std::sync::Arc;

use ballista_core::config::TaskSchedulingPolicy;
use ballista_scheduler::cluster::BallistaCluster;
use ballista_scheduler::config::SchedulerConfig;
use ballista_scheduler::scheduler_process::start_server;
use clap::Args;

use crate::parts::Codec;
use crate::{say, session, stores};

/// Seconds without a sign of life after which an executor counts as gone: its parts are handed out again.
const GONE: u64 = 10;

/// Seconds after which the rows of a step that is done are removed from the executors.
const KEPT: u64 = 120;

/// Arguments of `scheduler`.
#[derive(Args)]
pub struct Scheduler {
    /// Address and port to listen on
    #[arg(long, default_value = "127.0.0.1:50050")]
    listen: SocketAddr,
}

impl Scheduler {
    /// Runs until it is stopped.
    ///
    /// # Errors
    /// The port is taken.
    pub async fn run(self) -> Result<(), String> {
        let environment = stores::environment(None).map_err(|error| error.to_string())?;
        let config = SchedulerConfig {
            bind_host: self.listen.ip().to_string(),
            external_host: self.listen.ip().to_string(),
            bind_port: self.listen.port(),
            scheduling_policy: TaskSchedulingPolicy::PullStaged,
            executor_timeout_seconds: GONE,
            expire_dead_executor_interval_seconds: 2,
            no_executors_grace_period_seconds: GONE,
            finished_job_data_clean_up_interval_seconds: KEPT,
            finished_job_state_clean_up_interval_seconds: 2 * KEPT,
            override_physical_codec: Some(Arc::new(Codec::default())),
            override_config_producer: Some(Arc::new(session::config)),
            override_session_builder: Some(Arc::new(move |config| {
                Ok(session::context(config, Arc::clone(&environment)).state())
            })),
            ..SchedulerConfig::default()
        };
        let cluster = BallistaCluster::new_from_config(&config).await;
        let cluster = cluster.map_err(|error| error.to_string())?;
        say(&format!("scheduler: listens on {}", self.listen));
        let served = start_server(cluster, self.listen, Arc::new(config)).await;
        served.map_err(|error| format!("{}: {error}", self.listen))
    }
}
