//! `executor`: runs parts of steps.

use std::fs::Permissions;
use std::net::SocketAddr;
use std::os::unix::fs::PermissionsExt;
use std::sync::Arc;

use ballista_core::config::TaskSchedulingPolicy;
use ballista_executor::executor_process::{ExecutorProcessConfig, start_executor_process};
use clap::Args;

use crate::parts::Codec;
use crate::{say, session, stores};

/// Seconds that a scheduler is waited for.
const WAIT: u16 = 30;

/// Arguments of `executor`.
#[derive(Args)]
pub struct Executor {
    /// Host and port of the scheduler
    #[arg(long, value_name = "HOST:PORT", default_value = "127.0.0.1:50050", value_parser = host_and_port)]
    at: (String, u16),
    /// Address and port to listen on, by which submitters and the other executors reach this one
    #[arg(long, default_value = "127.0.0.1:50051")]
    listen: SocketAddr,
    /// Parts that run at once [default: one a core]
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    cores: usize,
    /// Memory for all parts together, MiB
    #[arg(long, value_name = "MIB", default_value_t = 1024)]
    memory: u64,
}

/// Reads `HOST:PORT`.
pub fn host_and_port(text: &str) -> Result<(String, u16), String> {
    let parts = text.rsplit_once(':');
    parts
        .and_then(|(host, port)| Some((host.to_owned(), port.parse().ok()?)))
        .filter(|(host, _)| !host.is_empty())
        .ok_or_else(|| "write a host and a port, for example 127.0.0.1:50050".to_owned())
}

impl Executor {
    /// Runs until it is stopped.
    ///
    /// # Errors
    /// No scheduler, or the port is taken.
    pub async fn run(self) -> Result<(), String> {
        let (scheduler_host, scheduler_port) = self.at;
        // Rows of steps lie here while they wait to be fetched.
        let folder = tempfile::Builder::new()
            .prefix("whereworn-node-")
            .permissions(Permissions::from_mode(0o700))
            .tempdir()
            .map_err(|error| error.to_string())?;
        let path = folder.path().to_string_lossy().into_owned();
        let environment = stores::environment(Some(&path)).map_err(|error| error.to_string())?;
        let functions = session::functions(Arc::clone(&environment));
        let config = ExecutorProcessConfig {
            bind_host: self.listen.ip().to_string(),
            external_host: Some(self.listen.ip().to_string()),
            port: self.listen.port(),
            scheduler_host,
            scheduler_port,
            scheduler_connect_timeout_seconds: WAIT,
            vcores: self.cores,
            task_scheduling_policy: TaskSchedulingPolicy::PullStaged,
            work_dir: Some(path),
            memory_pool_size: Some(self.memory << 20),
            override_function_registry: Some(functions),
            override_physical_codec: Some(Arc::new(Codec::default())),
            override_config_producer: Some(Arc::new(session::config)),
            override_runtime_producer: Some(Arc::new(move |_| Ok(Arc::clone(&environment)))),
            ..ExecutorProcessConfig::default()
        };
        say(&format!("executor: listens on {}", self.listen));
        let ran = start_executor_process(Arc::new(config)).await;
        ran.map_err(|error| error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::host_and_port;

    #[test]
    fn a_host_and_a_port() {
        assert_eq!(host_and_port("a.b:80"), Ok(("a.b".to_owned(), 80)));
        assert_eq!(host_and_port("[::1]:80"), Ok(("[::1]".to_owned(), 80)));
        for wrong in ["", "a", ":80", "a:", "a:b", "a:70000"] {
            assert!(host_and_port(wrong).is_err(), "{wrong}");
        }
    }
}
