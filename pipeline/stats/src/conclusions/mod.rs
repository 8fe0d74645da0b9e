//! What can be said of sites compared with each other: the one place that every sentence is made from.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `study`, `measure`, `plan` | what goes in: sensors, measures, primary rows and margins |
//! | `scores`, `blocks` | what each sensor adds, and which sensors are compared with each other |
//! | `contrast`, `shuffle` | the difference of two sites and its p |
//! | `bet`, `laws`, `evidence` | evidence that holds over all looks |
//! | `rows`, `intervals`, `confounders` | all comparisons at the cut-off, and what else went with a site |
//! | `conclude` | families, verdicts |
//! | `settle` | how many more sensors it takes |
//!
//! The unit is the sensor. Sensors of one wearer, one model and neighbouring calendar quarters are compared with each other,
//! and the differences averaged. How well sentences hold: `pipeline/stats/docs/sentences.md`.

mod bet;
mod blocks;
mod compare;
mod conclude;
mod confounders;
mod contrast;
mod evidence;
mod followed;
mod intervals;
mod laws;
mod measure;
mod plan;
mod rows;
mod scores;
mod settle;
mod shuffle;
mod study;

pub use bet::{ENOUGH, PRIMARY_SHARE};
pub use conclude::{Conclusion, Verdict, conclude, conclude_each};
pub use confounders::Confounder;
pub use measure::Measure;
pub use plan::{Plan, Primary, RowKey};
pub use settle::{MOST_SENSORS, OFTEN, Outlook, chance, more_sensors};
pub use study::{BodySide, Ending, Night, Pair, Sensor, Study};
