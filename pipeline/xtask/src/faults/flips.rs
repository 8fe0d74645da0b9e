//! Bits flipped in the files of the store: the store is built again, or what is read is what was written.

use std::fs;
use std::path::{Path, PathBuf};

use whereworn_load::{LoadOptions, Study, load};

use super::bench::{Bench, State};
use super::{Extent, Tally};

/// Flips a bit in each byte of small files of the store, and in as many places of large ones as are wanted.
pub fn run(bench: &Bench, extent: Extent) -> Result<Tally, String> {
    let case = bench.case(State::Idle)?;
    let store = case.study.join(".whereworn");
    let sound = read(&case.study)?.0;
    let mut tally = Tally::default();
    for number in 0..files(&store)?.len() {
        let length = bytes(&store, number)?.1.len();
        let step = length.div_ceil(extent.bytes).max(1);
        for at in (0..length).step_by(step) {
            let (path, mut bytes) = bytes(&store, number)?;
            let Some(byte) = bytes.get_mut(at) else {
                continue;
            };
            *byte ^= 1 << (at % 8);
            fs::write(&path, bytes).map_err(|error| error.to_string())?;
            let name = path
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            let outcome = match read(&case.study) {
                Err(error) => Err(error),
                Ok((rows, _)) if rows != sound => Err("other rows were read".to_owned()),
                Ok((_, 0)) if name != "manifest.json" => Err("nobody noticed".to_owned()),
                Ok(_) => Ok(()),
            };
            tally.add(&format!("byte {at} of {name}"), outcome);
        }
    }
    Ok(tally)
}

/// What a load gives, and how many notes it has on the store.
fn read(study: &Path) -> Result<(String, usize), String> {
    let study = Study::open(study).map_err(|error| error.to_string())?;
    let loaded = load(&study, &LoadOptions::default(), &|_| {});
    let (store, loaded) = loaded.map_err(|error| error.to_string())?;
    let settled = store
        .settle(&study, i64::MAX)
        .map_err(|error| error.to_string())?;
    let mut rows = String::new();
    for path in &settled.readings {
        rows += &whereworn_load::files::sha256(&fs::read(path).map_err(|error| error.to_string())?);
    }
    let tables = [
        &settled.sensors,
        &settled.fingersticks,
        &settled.wear_events,
    ];
    rows += &format!("{tables:?}{:?}{:?}", settled.rejects, settled.counts);
    Ok((rows, loaded.notes.len()))
}

/// Files of the store in the order of their names without the number of its state.
fn files(store: &Path) -> Result<Vec<PathBuf>, String> {
    let entries = fs::read_dir(store).map_err(|error| error.to_string())?;
    let mut files: Vec<PathBuf> = entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some())
        .collect();
    files.sort();
    Ok(files)
}

fn bytes(store: &Path, number: usize) -> Result<(PathBuf, Vec<u8>), String> {
    let path = files(store)?
        .into_iter()
        .nth(number)
        .ok_or("a file of the store is gone")?;
    let bytes = fs::read(&path).map_err(|error| error.to_string())?;
    Ok((path, bytes))
}
