//! Which sensor somebody wore at an instant, by the log of wear.

use std::collections::BTreeMap;

use whereworn_model::time::Micros;

use crate::reject::Fault;
use crate::wear_events::{Placed, WearEvent};

/// Sensors of each wearer with the time from their insertion to their end.
#[derive(Default)]
pub(super) struct Worn(BTreeMap<String, Vec<(Micros, Micros, String)>>);

impl Worn {
    /// By the events of the log, whatever their order.
    pub fn new(events: &[Placed<WearEvent>]) -> Self {
        let mut worn = Self::default();
        for insert in events
            .iter()
            .map(|placed| &placed.row)
            .filter(|row| row.event == "insert")
        {
            let ends = events.iter().map(|placed| &placed.row).filter(|row| {
                row.event == "end"
                    && (&row.wearer, &row.sensor) == (&insert.wearer, &insert.sensor)
                    && row.time >= insert.time
            });
            let end = ends.map(|row| row.time).min().unwrap_or(Micros::MAX);
            let own = worn.0.entry(insert.wearer.clone()).or_default();
            own.push((insert.time, end, insert.sensor.clone()));
        }
        worn
    }

    /// The one sensor worn.
    ///
    /// # Errors
    /// None, or several.
    pub fn sensor(&self, wearer: &str, at: Micros) -> Result<&str, Fault> {
        if !self.0.contains_key(wearer)
            && let Some(other) = self.0.keys().next()
        {
            let shown = crate::reject::shown(wearer);
            return Err(Fault::new(
                "subject",
                format!(
                    "`{shown}` is not in the log of wear: name it under [fhir.wearers] in study.toml, as \"{shown}\" = \"{other}\""
                ),
            ));
        }
        let own = self.0.get(wearer).into_iter().flatten();
        let here: Vec<&str> = own
            .filter(|(from, until, _)| (*from..=*until).contains(&at))
            .map(|(_, _, sensor)| sensor.as_str())
            .collect();
        match here.as_slice() {
            [one] => Ok(one),
            [] => Err(Fault::new(
                "device",
                "the reading names no device, and the log of wear no sensor worn then",
            )),
            several => Err(Fault::new(
                "device",
                format!(
                    "the reading names no device, and the log of wear several sensors worn then: {}",
                    several.join(", ")
                ),
            )),
        }
    }
}
