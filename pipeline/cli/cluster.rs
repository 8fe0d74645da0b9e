//! Steps of a report that run on several machines, through the program `whereworn-node`.

use std::env;
use std::net::{TcpStream, ToSocketAddrs};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use clap::{Args, ValueEnum};
use whereworn_engine::Elsewhere;
use whereworn_model::step::Step;
use whereworn_model::text::plain;

use crate::failure::Failure;

/// Where the steps of a report run that look at each sensor, or at each wearer, by itself.
#[derive(Args, Clone)]
pub struct Where {
    /// Where steps run that look at each sensor by itself: here, or on the machines of a cluster
    #[arg(long, value_enum, value_name = "WHERE", default_value = "here")]
    pub engine: Engine,
    /// The cluster's scheduler
    #[arg(long, value_name = "HOST:PORT", required_if_eq("engine", "cluster"))]
    pub at: Option<String>,
    /// Bucket and folder through which the cluster reads, where its machines do not see the study under the same name
    #[arg(long, value_name = "s3://BUCKET/FOLDER", requires = "at")]
    pub through: Option<String>,
}

/// Where steps run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Engine {
    Here,
    Cluster,
}

/// The program that submits steps.
const PROGRAM: &str = "whereworn-node";

/// How long a scheduler may take to answer.
const ANSWER: Duration = Duration::from_secs(3);

/// A cluster that can be reached.
pub struct Cluster {
    program: PathBuf,
    at: String,
    through: Option<String>,
}

impl Where {
    /// The cluster that is asked for, if one is, once its scheduler has answered.
    pub fn cluster(&self) -> Result<Option<Cluster>, Failure> {
        let at = match (self.engine, &self.at) {
            (Engine::Cluster, Some(at)) => at,
            (Engine::Here, Some(_)) => {
                let message = "--at names a cluster: say --engine cluster too, or leave it out";
                return Err(Failure::Request(message.to_owned()));
            }
            (_, None) => return Ok(None),
        };
        let program = program().ok_or_else(|| {
            Failure::Request(format!(
                "{PROGRAM} is not there: build it with `cargo install --locked --path pipeline/node` in a clone, and put it beside \
                 whereworn or into a folder of PATH"
            ))
        })?;
        answers(at)?;
        Ok(Some(Cluster {
            program,
            at: at.clone(),
            through: self.through.clone(),
        }))
    }
}

impl Cluster {
    /// What runs steps in place of this program; `folder` takes what they read and give.
    pub fn elsewhere(self, folder: Option<&Path>) -> Result<Elsewhere, Failure> {
        let folder = folder.ok_or_else(|| {
            Failure::Request("a cluster needs a study that can be written to".to_owned())
        })?;
        let folder = folder
            .canonicalize()
            .map_err(Failure::io(folder, "finding"))?;
        let within = folder.clone();
        Ok(Elsewhere {
            folder,
            run: Box::new(move |step| {
                let mut submit = Command::new(&self.program);
                submit.args(["submit", "--at", &self.at]);
                submit.args(self.through.iter().flat_map(|url| ["--through", url]));
                submitted(submit, step, &within)
            }),
        })
    }
}

/// The program beside this one, else in a folder of `PATH`.
fn program() -> Option<PathBuf> {
    let own = env::current_exe().ok();
    let beside = own.as_deref().and_then(Path::parent).map(Path::to_owned);
    let path = env::var_os("PATH").unwrap_or_default();
    let folders = beside.into_iter().chain(env::split_paths(&path));
    let name = format!("{PROGRAM}{}", env::consts::EXE_SUFFIX);
    folders
        .map(|folder| folder.join(&name))
        .find(|file| file.is_file())
}

fn answers(at: &str) -> Result<(), Failure> {
    let addresses = at
        .to_socket_addrs()
        .map_err(|error| Failure::Request(format!("--at {}: {error}", plain(at))))?;
    let mut answers = addresses.map(|address| TcpStream::connect_timeout(&address, ANSWER));
    match answers.any(|answer| answer.is_ok()) {
        true => Ok(()),
        false => Err(Failure::Request(format!(
            "{}: no scheduler answers there: start one with `{PROGRAM} scheduler`, or leave out --engine cluster",
            plain(at)
        ))),
    }
}

/// Has a step run, and gives the file of its rows.
fn submitted(mut submit: Command, step: &Step, folder: &Path) -> Result<PathBuf, String> {
    let file = |ending: &str| folder.join(format!("{}.{ending}", step.name));
    let (said, rows) = (file("json"), file("arrow"));
    let text = serde_json::to_vec(step).map_err(|error| error.to_string())?;
    std::fs::write(&said, text).map_err(|error| format!("{}: {error}", said.display()))?;
    submit.arg("--step").arg(&said).arg("--rows").arg(&rows);
    let ended = submit.output();
    let ended = ended.map_err(|error| format!("{PROGRAM}: {error}"))?;
    if ended.status.success() {
        return Ok(rows);
    }
    let words = String::from_utf8_lossy(&ended.stderr);
    let last = words.lines().rfind(|line| !line.trim().is_empty());
    let status = ended.status.to_string();
    Err(format!("{PROGRAM}: {}", plain(last.unwrap_or(&status))))
}
