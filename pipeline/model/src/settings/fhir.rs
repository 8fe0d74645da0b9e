//! `[fhir]`: how resources of HL7 FHIR R4 are read.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// How resources of HL7 FHIR R4 are read.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Fhir {
    /// Further LOINC codes of readings.
    pub readings: Vec<String>,
    /// Further LOINC codes of fingersticks.
    pub fingersticks: Vec<String>,
    /// What becomes of readings that name no device; rejected where absent.
    pub sensor: Option<SensorFrom>,
    /// Reference of a patient to the wearer's name.
    pub wearers: BTreeMap<String, String>,
}

/// Where the sensor of a reading is told from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum SensorFrom {
    /// The one sensor that the log of wear says was worn.
    #[serde(rename = "from wear events")]
    WearEvents,
}
