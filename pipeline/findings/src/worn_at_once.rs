//! Clocks of sensors worn at once, against each other.

use crate::clocks::{Clocks, Wearer};
use crate::finding::Finding;

/// Findings on sensors that contradict each other beyond what fingersticks showed.
pub(crate) fn findings(_wearer: &Wearer<'_>, _clocks: &mut Clocks) -> Vec<Finding> {
    Vec::new()
}
