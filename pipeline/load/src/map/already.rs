//! Whether a study has a mapping of a file's rows: two would read each of them twice.

use std::collections::BTreeMap;

use whereworn_model::settings::Export;

use crate::input::fits_path;

/// The name of an export of a study that takes rows of the same files for the same table as another; `None` where none
/// does. Exports that take rows by different columns, or give them different constants, are none of the same.
pub fn mapped_already<'s>(
    exports: &'s BTreeMap<String, Export>,
    other: &Export,
) -> Option<&'s str> {
    let same = |own: &Export| {
        own.table == other.table
            && fits_path(&own.files, &other.files)
            && own.constants == other.constants
            && share_rows(&own.rows, &other.rows)
    };
    let mut found = exports.iter().filter(|(_, own)| same(own));
    found.next().map(|(name, _)| name.as_str())
}

/// Texts of rows by their column.
type Rows = BTreeMap<String, Vec<String>>;

fn share_rows(own: &Rows, other: &Rows) -> bool {
    if own.is_empty() || other.is_empty() {
        return true;
    }
    let common = |(title, texts): (&String, &Vec<String>)| {
        let others = other.get(title)?;
        Some(texts.iter().any(|text| others.contains(text)))
    };
    let common: Vec<bool> = own.iter().filter_map(common).collect();
    !common.is_empty() && common.iter().all(|shared| *shared)
}
