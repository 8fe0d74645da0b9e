//! Readings of all files brought into the store's order, each instant of a sensor once.

use std::collections::BTreeMap;

use rayon::prelude::*;
use whereworn_model::time::Micros;
use whereworn_model::units::RELATIVE_SLACK;

use crate::block::{Block, SensorName};

/// Rows of one file, known by its number in the manifest.
pub(crate) struct FileRows {
    pub file: u32,
    /// Its path relative to the study folder.
    pub name: String,
    pub block: Block,
}

/// A row's place: index of its file among those merged, and its row there.
type Place = (u32, u32);

/// Readings of all files in order of wearer, sensor, time.
pub(crate) struct Merged<'f> {
    pub files: &'f [FileRows],
    pub sensors: Vec<SensorRows>,
}

/// Rows of one sensor.
pub(crate) struct SensorRows {
    pub name: SensorName,
    /// Rows that count, by time.
    pub kept: Vec<Place>,
    /// Rows equal to a kept one.
    pub duplicates: Vec<Place>,
    /// Rows that contradict a kept one, which follows.
    pub contradictions: Vec<(Place, Place)>,
}

impl SensorRows {
    /// Rows that do not count.
    pub fn aside(&self) -> Vec<Place> {
        let contradicting = self.contradictions.iter().map(|(place, _)| *place);
        self.duplicates
            .iter()
            .copied()
            .chain(contradicting)
            .collect()
    }

    /// All rows.
    pub fn all(&self) -> Vec<Place> {
        self.kept.iter().copied().chain(self.aside()).collect()
    }
}

impl<'f> Merged<'f> {
    /// Merges files that come in the order of their names' bytes.
    pub fn new(files: &'f [FileRows]) -> Self {
        let mut numbers: BTreeMap<&SensorName, usize> = BTreeMap::new();
        for name in files.iter().flat_map(|file| &file.block.sensors) {
            numbers.insert(name, 0);
        }
        for (number, slot) in numbers.values_mut().enumerate() {
            *slot = number;
        }
        let mut rows: Vec<Vec<Place>> = vec![Vec::new(); numbers.len()];
        for (index, file) in files.iter().enumerate() {
            let local: Vec<usize> = file
                .block
                .sensors
                .iter()
                .map(|name| numbers[name])
                .collect();
            for (row, sensor) in file.block.sensor.iter().enumerate() {
                rows[local[*sensor as usize]].push((index as u32, row as u32));
            }
        }
        let sensors = numbers
            .into_keys()
            .zip(rows)
            .collect::<Vec<_>>()
            .into_par_iter()
            .filter(|(_, rows)| !rows.is_empty())
            .map(|(name, rows)| settle_sensor(files, name.clone(), rows))
            .collect();
        Self { files, sensors }
    }
}

fn settle_sensor(files: &[FileRows], name: SensorName, mut rows: Vec<Place>) -> SensorRows {
    let time = |place: &Place| files[place.0 as usize].block.time[place.1 as usize];
    let in_order = rows.windows(2).all(|pair| time(&pair[0]) < time(&pair[1]));
    if !in_order {
        rows.sort_by_key(|place| {
            (
                time(place),
                place.0,
                files[place.0 as usize].block.line[place.1 as usize],
            )
        });
    }
    let mut settled = SensorRows {
        name,
        kept: rows,
        duplicates: Vec::new(),
        contradictions: Vec::new(),
    };
    if in_order {
        return settled;
    }
    let mut kept: Vec<Place> = Vec::with_capacity(settled.kept.len());
    for place in std::mem::take(&mut settled.kept) {
        match kept.last() {
            Some(first) if time(first) == time(&place) => {
                if same_reading(files, first, &place) {
                    settled.duplicates.push(place);
                } else {
                    settled.contradictions.push((place, *first));
                }
            }
            _ => kept.push(place),
        }
    }
    settled.kept = kept;
    settled
}

fn same_reading(files: &[FileRows], a: &Place, b: &Place) -> bool {
    let of = |place: &Place| {
        let block = &files[place.0 as usize].block;
        (
            block.glucose[place.1 as usize],
            block.status[place.1 as usize],
        )
    };
    let ((glucose_a, status_a), (glucose_b, status_b)) = (of(a), of(b));
    let neither = glucose_a.is_nan() && glucose_b.is_nan();
    let alike = (glucose_a - glucose_b).abs() <= RELATIVE_SLACK * glucose_a.abs();
    status_a == status_b && (neither || alike)
}

impl Merged<'_> {
    /// The instant of a row.
    pub fn time(&self, place: Place) -> Micros {
        self.files[place.0 as usize].block.time[place.1 as usize]
    }

    /// The manifest's number of a row's file, and its line there.
    pub fn origin(&self, place: Place) -> (u32, u32) {
        let file = &self.files[place.0 as usize];
        (file.file, file.block.line[place.1 as usize])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(number: u32, rows: &[(i64, f64)]) -> FileRows {
        let name = SensorName {
            wearer: "w".into(),
            sensor: "s".into(),
        };
        let mut block = Block {
            sensors: vec![name],
            ..Block::default()
        };
        for (line, (time, glucose)) in rows.iter().enumerate() {
            block.push(0, *time, *glucose, 0, line as u64 + 2);
        }
        FileRows {
            file: number,
            name: format!("{number}.csv"),
            block,
        }
    }

    /// By hand: instant 2 stands three times, once with another value; the first file's row stays.
    #[test]
    fn the_first_of_contradicting_rows_stays() {
        let files = [
            file(7, &[(3, 130.0), (2, 120.0)]),
            file(8, &[(2, 121.0), (2, 120.0), (1, 110.0)]),
        ];
        let merged = Merged::new(&files);
        let sensor = &merged.sensors[0];
        let times: Vec<i64> = sensor.kept.iter().map(|p| merged.time(*p)).collect();
        assert_eq!(times, [1, 2, 3]);
        assert_eq!(merged.origin(sensor.kept[1]), (7, 3));
        assert_eq!(sensor.duplicates, [(1, 1)]);
        assert_eq!(sensor.contradictions, [((1, 0), (0, 1))]);
    }
}
