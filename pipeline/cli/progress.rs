//! Progress of a run, on a terminal and only where it takes more than a second.

use std::io::IsTerminal;
use std::time::{Duration, Instant};

use indicatif::ProgressBar;

/// Says what is being done.
pub struct Progress {
    started: Instant,
    bar: Option<ProgressBar>,
}

impl Progress {
    /// Starts the clock.
    pub fn start() -> Self {
        let bar = std::io::stderr()
            .is_terminal()
            .then(ProgressBar::new_spinner);
        Self {
            started: Instant::now(),
            bar,
        }
    }

    /// What is being done now.
    pub fn say(&self, text: &str) {
        if let Some(bar) = &self.bar
            && self.started.elapsed() > Duration::from_secs(1)
        {
            bar.set_message(text.to_owned());
            bar.tick();
        }
    }

    /// Takes the line away.
    pub fn clear(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
