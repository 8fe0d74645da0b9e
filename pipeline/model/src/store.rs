//! Names of the tables and columns of the study's Parquet store, shared by what writes and what reads it.

/// Folder of the store inside the study folder.
pub const FOLDER: &str = ".whereworn";

/// Version of the store's layout; a store of another version is built again.
pub const VERSION: u32 = 5;

/// Sensor readings, sorted by wearer, sensor, time.
pub const READINGS: &str = "readings";

/// Capillary checks, sorted by wearer, time.
pub const FINGERSTICKS: &str = "fingersticks";

/// What happened to a sensor or its wearer, sorted by wearer, time.
pub const WEAR_EVENTS: &str = "wear_events";

/// A person's own verdicts on night artefacts, sorted by wearer, sensor, start.
pub const JUDGEMENTS: &str = "judgements";

/// The raw tables.
pub const RAW_TABLES: [&str; 4] = [READINGS, FINGERSTICKS, WEAR_EVENTS, JUDGEMENTS];
