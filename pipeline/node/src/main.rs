//! Runs the steps of a report that look at each sensor, or at each wearer, by itself, on several machines.
//!
//! One `scheduler`, as many `executor`s as there are machines, and a `submit` for each step, which `whereworn report
//! --engine cluster` starts. All of them are of one version, and see the files of a step under the same name.

mod executor;
mod files;
mod parts;
mod scheduler;
mod session;
mod stores;
mod submit;

use std::io::Write;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Runs steps of a report on several machines
#[derive(Parser)]
#[command(
    version,
    about,
    after_help = "Nothing that comes over the network is authenticated or encrypted: whoever reaches a port can read what the \
process can. Listen on loopback, or in a private network that nobody else reaches.\n\n\
A bucket is reached by what the environment says: AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_REGION, AWS_ENDPOINT_URL; \
AWS_ALLOW_HTTP=true for an endpoint without TLS."
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Hand out parts of steps to executors
    Scheduler(scheduler::Scheduler),
    /// Run parts of steps
    Executor(executor::Executor),
    /// Have a step run, and write its rows
    Submit(submit::Submit),
}

/// Bytes that a thread may use for calls within each other: deep expressions need them.
const STACK: usize = 64 << 20;

fn main() -> ExitCode {
    env_logger::init();
    let arguments = Arguments::parse();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .thread_stack_size(STACK)
        .build();
    let done = runtime
        .map_err(|error| error.to_string())
        // A thread of the runtime has the deep stack, the first one has not.
        .and_then(
            |runtime| match runtime.block_on(runtime.spawn(run(arguments.command))) {
                Ok(done) => done,
                Err(broke) => Err(broke.to_string()),
            },
        );
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            say(&message);
            ExitCode::FAILURE
        }
    }
}

async fn run(command: Command) -> Result<(), String> {
    match command {
        Command::Scheduler(scheduler) => scheduler.run().await,
        Command::Executor(executor) => executor.run().await,
        Command::Submit(submit) => submit.run().await,
    }
}

/// One line to whoever watches.
fn say(line: &str) {
    // Nobody may be watching.
    let _ = writeln!(std::io::stderr(), "{line}");
}
