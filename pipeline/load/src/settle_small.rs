//! What counts of fingersticks, wear events and judgements up to an instant, some wearers at a time.

use std::collections::{BTreeMap, HashSet};

use arrow::array::RecordBatch;
use whereworn_model::time::Micros;

use crate::error::LoadError;
use crate::fingersticks::Fingerstick;
use crate::input::Table;
use crate::judgements::{Judgement, same_judgement, settle_verdicts};
use crate::reject::Reject;
use crate::reused::SecondInsert;
use crate::settle::{RowCounts, late_reject};
use crate::store::{Kind, SmallTables, Store, Wearers};
use crate::wear_events::{Placed, WearEvent};

/// What became of the rows of the small tables.
#[derive(Default)]
pub(crate) struct SettledSmall {
    pub counts: BTreeMap<Table, RowCounts>,
    pub rejects: Vec<Reject>,
    pub any_late: bool,
    /// Wearers and sensors of the `insert` rows that count.
    pub inserted: HashSet<(String, String)>,
    pub seconds: Vec<SecondInsert>,
    /// Instants of the fingersticks and events that count.
    pub instants: Vec<Micros>,
    pub fingersticks: Vec<RecordBatch>,
    pub wear_events: Vec<RecordBatch>,
    pub judgements: Vec<RecordBatch>,
}

impl SettledSmall {
    /// Adds what became of some rows of a table that has any.
    fn note(&mut self, table: Table, kept: usize, duplicates: u64, rejects: Vec<Reject>) {
        if let Some(counts) = self.counts.get_mut(&table) {
            counts.accepted += kept as u64;
            counts.duplicates += duplicates;
            counts.rejected += rejects.len() as u64;
        }
        self.rejects.extend(rejects);
    }
}

impl Store {
    /// Settles the small tables, some wearers at a time: rows of different wearers have nothing to do with each other.
    pub(crate) fn settle_small(&self, as_of: Micros) -> Result<SettledSmall, LoadError> {
        let mut small = SettledSmall::default();
        for (table, kind) in [
            (Table::WearEvents, Kind::WearEvents),
            (Table::Fingersticks, Kind::Fingersticks),
            (Table::Judgements, Kind::Judgements),
        ] {
            if table != Table::Judgements || !self.small.is_empty(kind) {
                small.counts.insert(table, RowCounts::default());
            }
        }
        for wearers in self.groups()? {
            self.settle_wearers(&wearers, as_of, &mut small)?;
        }
        Ok(small)
    }

    fn settle_wearers(
        &self,
        wearers: &Wearers,
        as_of: Micros,
        into: &mut SettledSmall,
    ) -> Result<(), LoadError> {
        let events = self.rows_of::<WearEvent>(wearers)?;
        let events = settle_rows(&events, as_of, |e| e.time, |a, b| a == b);
        let (kept, mut rejects, seconds) = settle_sensor_lives(events.kept);
        rejects.extend(events.late.iter().cloned());
        into.seconds.extend(seconds);
        into.instants.extend(kept.iter().map(|e| e.row.time));
        let inserts = kept.iter().filter(|e| e.row.event == "insert");
        let inserts = inserts.map(|e| (e.row.wearer.clone(), e.row.sensor.clone()));
        into.inserted.extend(inserts);
        into.note(Table::WearEvents, kept.len(), events.duplicates, rejects);
        let batch = SmallTables::settled_batch(kept, |e: &WearEvent| (e.wearer.clone(), e.time));
        into.wear_events
            .push(batch.map_err(LoadError::store(&self.dir))?);

        let checks = self.rows_of::<Fingerstick>(wearers)?;
        let checks = settle_rows(&checks, as_of, |f| f.time, same_check);
        into.instants.extend(checks.kept.iter().map(|f| f.row.time));
        let (kept, duplicates) = (checks.kept, checks.duplicates);
        into.any_late |= !events.late.is_empty() || !checks.late.is_empty();
        into.note(Table::Fingersticks, kept.len(), duplicates, checks.late);
        let batch = SmallTables::settled_batch(kept, |f: &Fingerstick| (f.wearer.clone(), f.time));
        into.fingersticks
            .push(batch.map_err(LoadError::store(&self.dir))?);

        let verdicts = self.rows_of::<Judgement>(wearers)?;
        let verdicts = settle_rows(&verdicts, as_of, |j| j.start, same_judgement);
        let (kept, mut rejects) = settle_verdicts(verdicts.kept);
        into.any_late |= !verdicts.late.is_empty();
        rejects.extend(verdicts.late.into_iter().map(|late| Reject {
            column: "start".to_owned(),
            ..late
        }));
        into.note(Table::Judgements, kept.len(), verdicts.duplicates, rejects);
        let of = |j: &Judgement| (j.wearer.clone(), j.sensor.clone(), j.start);
        let batch = SmallTables::settled_batch(kept, of);
        into.judgements
            .push(batch.map_err(LoadError::store(&self.dir))?);
        Ok(())
    }
}

/// Rows of a small table up to an instant, each once.
pub(crate) struct SettledRows<'r, T> {
    pub kept: Vec<&'r Placed<T>>,
    duplicates: u64,
    late: Vec<Reject>,
}

pub(crate) fn settle_rows<T>(
    rows: &[Placed<T>],
    as_of: Micros,
    time: impl Fn(&T) -> Micros,
    same: impl Fn(&T, &T) -> bool,
) -> SettledRows<'_, T> {
    let mut settled = SettledRows {
        kept: Vec::new(),
        duplicates: 0,
        late: Vec::new(),
    };
    let mut at: BTreeMap<Micros, Vec<&Placed<T>>> = BTreeMap::new();
    for placed in rows {
        let when = time(&placed.row);
        if when > as_of {
            settled.late.push(late_reject(
                &placed.file,
                placed.line,
                placed.raw.clone(),
                as_of,
            ));
            continue;
        }
        let here = at.entry(when).or_default();
        if here.iter().any(|other| same(&other.row, &placed.row)) {
            settled.duplicates += 1;
        } else {
            here.push(placed);
            settled.kept.push(placed);
        }
    }
    settled
}

pub(crate) fn same_check(a: &Fingerstick, b: &Fingerstick) -> bool {
    a.wearer == b.wearer
        && a.meter == b.meter
        && a.purpose == b.purpose
        && (a.glucose - b.glucose).abs() <= whereworn_model::units::RELATIVE_SLACK * a.glucose
}

/// Lets each sensor be inserted once and end at most once, after its insertion. Rows come by file and line. Gives
/// the rows kept, those rejected, and of these the second insertions.
pub(crate) fn settle_sensor_lives(
    rows: Vec<&Placed<WearEvent>>,
) -> (Vec<&Placed<WearEvent>>, Vec<Reject>, Vec<SecondInsert>) {
    let mut seconds = Vec::new();
    let mut inserted: BTreeMap<(&str, &str), &Placed<WearEvent>> = BTreeMap::new();
    let mut ended: BTreeMap<(&str, &str), &Placed<WearEvent>> = BTreeMap::new();
    let mut faults: BTreeMap<(&str, u64), (&'static str, String)> = BTreeMap::new();
    for placed in rows.iter().filter(|placed| placed.row.event == "insert") {
        let key = (placed.row.wearer.as_str(), placed.row.sensor.as_str());
        match inserted.get(&key) {
            None => {
                inserted.insert(key, placed);
            }
            Some(first) => {
                let reason = format!(
                    "second `insert` of this sensor: the first is in {}, line {}",
                    first.file, first.line
                );
                faults.insert((&placed.file, placed.line), ("event", reason));
                if placed.row.time > first.row.time {
                    seconds.push(SecondInsert {
                        wearer: placed.row.wearer.clone(),
                        sensor: placed.row.sensor.clone(),
                        time: placed.row.time,
                        file: placed.file.clone(),
                        line: placed.line,
                    });
                }
            }
        }
    }
    for placed in rows.iter().filter(|placed| placed.row.event == "end") {
        let key = (placed.row.wearer.as_str(), placed.row.sensor.as_str());
        let fault = match (inserted.get(&key), ended.get(&key)) {
            (None, _) => Some((
                "sensor",
                "`end` of a sensor that was never inserted".to_owned(),
            )),
            (Some(insert), _) if placed.row.time < insert.row.time => Some((
                "time",
                format!(
                    "`end` before `insert`, which is in {}, line {}",
                    insert.file, insert.line
                ),
            )),
            (_, Some(first)) => Some((
                "event",
                format!(
                    "second `end` of this sensor: the first is in {}, line {}",
                    first.file, first.line
                ),
            )),
            _ => None,
        };
        match fault {
            Some(fault) => {
                faults.insert((&placed.file, placed.line), fault);
            }
            None => {
                ended.insert(key, placed);
            }
        }
    }
    let mut rejects = Vec::new();
    let mut kept = Vec::new();
    for placed in &rows {
        match faults.get(&(placed.file.as_str(), placed.line)) {
            None => kept.push(*placed),
            Some((column, reason)) => rejects.push(Reject {
                file: placed.file.clone(),
                line: placed.line,
                column: (*column).to_owned(),
                reason: reason.clone(),
                raw: placed.raw.clone(),
            }),
        }
    }
    (kept, rejects, seconds)
}
