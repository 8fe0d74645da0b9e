//! `demo`: an invented study with a known truth.

use whereworn_demo::{Options, write_study_with_progress};

use crate::args::DemoArguments;
use crate::failure::Failure;
use crate::progress::Progress;
use crate::terminal::{emit, say};

/// Writes the study and says what to do with it.
pub fn run(arguments: &DemoArguments) -> Result<(), Failure> {
    let options = Options {
        wearers: arguments.wearers,
        sensors: arguments.sensors,
        minutes: arguments.minutes,
        seed: arguments.seed,
        ..Options::default()
    };
    let progress = Progress::start();
    let summary = write_study_with_progress(&arguments.dir, &options, &mut |done| {
        progress.say(&format!("wrote {done} of {} wearers", options.wearers));
    })?;
    progress.clear();
    say(&format!(
        "an invented study: {} sensors, {} readings, {} fingersticks, {} wear events; what is true of it stands in {}",
        summary.sensors,
        summary.readings,
        summary.fingersticks,
        summary.events,
        arguments.dir.join("truth").display()
    ));
    say(&format!(
        "next: whereworn report {}",
        arguments.dir.display()
    ));
    emit(format!("{}\n", arguments.dir.display()).as_bytes())
}
