//! A report for one of several wearers: rows of other people, and of files that may be theirs, are taken out of every table
//! that has a wearer.

use std::collections::BTreeSet;

use whereworn_model::header::Class;

use crate::input::Input;

/// Keeps the rows of the wearer whose report it is, and those of no one and no file, and says how many wearers there were; nothing
/// where it is no one's own report, or there is no one else.
pub(crate) fn keep(input: &mut Input) -> Option<usize> {
    let own = input.wearer?;
    let mut everyone = BTreeSet::new();
    for table in &mut input.tables {
        let of_wearer = |class: Option<Class>| class == Some(Class::Wearer);
        let Some(column) = table
            .columns
            .iter()
            .find(|column| of_wearer(column.header.class))
        else {
            continue;
        };
        let names: Vec<String> = column
            .cells
            .iter()
            .map(|cell| cell.as_text().unwrap_or_default().to_owned())
            .collect();
        // A file of no one may hold rows of other people.
        let of_file = |row: usize| !table.text(row, "file").is_empty();
        let kept: Vec<bool> = (0..)
            .zip(&names)
            .map(|(row, name)| name == own || name.is_empty() && !of_file(row))
            .collect();
        for column in &mut table.columns {
            let mut row = kept.iter();
            column.cells.retain(|_| row.next().copied().unwrap_or(true));
        }
        everyone.extend(names.into_iter().filter(|name| !name.is_empty()));
    }
    let others = everyone.iter().any(|name| name != own);
    others.then_some(everyone.len())
}
