//! Anchors of headings.

use std::collections::BTreeMap;

/// Hands out anchors, a number added to those that came before.
#[derive(Default)]
pub(crate) struct Anchors {
    seen: BTreeMap<String, usize>,
}

impl Anchors {
    /// The anchor of the next heading with this slug.
    pub fn next(&mut self, slug: &str) -> String {
        let count = self.seen.entry(slug.to_owned()).or_insert(0);
        *count += 1;
        if *count == 1 {
            slug.to_owned()
        } else {
            format!("{slug}-{}", *count - 1)
        }
    }
}
