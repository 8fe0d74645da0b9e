//! Writes a synthetic study: `make DIR WEARERS SENSORS MINUTES SEED [PLAIN]`.
//!
//! PLAIN is how many wearers have plain readings files, the others getting `.csv.gz`; without it, all are plain.
#![allow(clippy::print_stdout)]

use std::error::Error;
use std::path::Path;

use whereworn_demo::{Options, write_study};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [dir, wearers, sensors, minutes, seed, rest @ ..] = arguments.as_slice() else {
        return Err("give DIR WEARERS SENSORS MINUTES SEED [PLAIN]".into());
    };
    let options = Options {
        wearers: wearers.parse()?,
        sensors: sensors.parse()?,
        minutes: minutes.parse()?,
        seed: seed.parse()?,
        plain: rest.first().map(|plain| plain.parse()).transpose()?,
        ..Options::default()
    };
    println!("{:#?}", write_study(Path::new(dir), &options)?);
    Ok(())
}
