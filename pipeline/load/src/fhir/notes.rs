//! What is counted and said of a file of FHIR.

use std::collections::BTreeMap;

/// What is counted and said of a file.
#[derive(Default)]
pub(super) struct Notes {
    /// Resources that are of no use here, by what they are.
    pub(super) unused: BTreeMap<String, u64>,
    pub(super) preliminary: u64,
}

/// Kinds of unused resources that are named.
const NAMED: usize = 12;

impl Notes {
    pub(super) fn warnings(&mut self) -> Vec<String> {
        let mut warnings = Vec::new();
        if !self.unused.is_empty() {
            let named = self.unused.iter().take(NAMED);
            let mut named: Vec<String> = named
                .map(|(what, count)| format!("{what} ({count})"))
                .collect();
            if self.unused.len() > NAMED {
                named.push(format!("and {} other kinds", self.unused.len() - NAMED));
            }
            warnings.push(format!("not used: {}", named.join(", ")));
        }
        if self.preliminary > 0 {
            warnings.push(format!(
                "{} of the observations used are preliminary",
                self.preliminary
            ));
        }
        warnings
    }
}
