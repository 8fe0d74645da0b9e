//! Files whose rows are of several kinds: a column that tells them apart, or two columns of values of which a row fills one.

use std::collections::{BTreeMap, BTreeSet};

use crate::input::Table;

use super::columns::{Look, MOST_KINDS, names_any, names_kinds, unit_in};
use super::guess::{DENSE_SECONDS, usual_spacing};
use super::lines::Lines;
use super::{DateOrder, Known};
use whereworn_model::units::Unit;

/// What becomes of the rows of a kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Readings,
    Fingersticks,
    /// Doses, meals, remarks: of no use here.
    Neither,
}

impl Role {
    fn table(self) -> Option<Table> {
        match self {
            Self::Readings => Some(Table::Readings),
            Self::Fingersticks => Some(Table::Fingersticks),
            Self::Neither => None,
        }
    }
}

/// Words that tell what rows are of; common speech in English and German, no source. Short ones have to stand alone.
const ROLES: [(Role, &[&str], &[&str]); 3] = [
    (
        Role::Readings,
        &["sensor", "interstitial", "gewebe", "continuous"],
        &["cgm", "fgm"],
    ),
    (
        Role::Fingersticks,
        &[
            "finger",
            "strip",
            "capillar",
            "kapillar",
            "blutzucker",
            "glucometer",
            "blood glucose",
        ],
        &["bg", "bgm", "smbg", "bz", "meter", "blood", "blut"],
    ),
    (
        Role::Neither,
        &[
            "insulin",
            "bolus",
            "carb",
            "kohlenhydrat",
            "meal",
            "mahlzeit",
            "exercise",
            "ketone",
            "weight",
        ],
        &[
            "basal", "food", "note", "notes", "notiz", "sport", "alarm", "alert", "event",
        ],
    ),
];

/// What a text says of the role of its rows; `None` where it says nothing, or two things.
fn role_in(text: &str) -> Option<Role> {
    let lower = text.to_lowercase();
    let alone: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).collect();
    let says = |(_, within, short): &&(Role, &[&str], &[&str])| {
        within.iter().any(|word| lower.contains(word))
            || short.iter().any(|word| alone.contains(word))
    };
    let mut said = ROLES.iter().filter(says).map(|(role, _, _)| *role);
    said.next().filter(|_| said.next().is_none())
}

/// Rows to be mapped by themselves.
#[derive(Clone, Debug, Default)]
pub(super) struct Part {
    pub rows: BTreeMap<String, Vec<String>>,
    pub table: Option<Table>,
    pub constants: BTreeMap<String, String>,
    /// The columns of its glucose and of its time, where several would do.
    pub glucose: Option<usize>,
    pub time: Option<usize>,
    /// The order of day and month, where other columns tell it.
    pub dates: Option<DateOrder>,
    /// What is added to the name of its export.
    pub suffix: String,
}

/// A file cut into parts; what was told of it, and what has to be asked.
#[derive(Clone, Debug, Default)]
pub(super) struct Split {
    pub parts: Vec<Part>,
    pub told: Vec<String>,
    pub open: Vec<String>,
}

impl Split {
    /// All rows that have some texts, as one part.
    pub fn of(rows: &BTreeMap<String, Vec<String>>) -> Self {
        let part = Part {
            rows: rows.clone(),
            ..Part::default()
        };
        Self {
            parts: vec![part],
            ..Self::default()
        }
    }
}

/// The texts of a column that are one kind of rows.
struct Kind {
    text: String,
    rows: usize,
    /// The column of its glucose.
    glucose: Option<usize>,
    role: Option<Role>,
    /// Usual seconds between its rows.
    spacing: Option<i64>,
    /// What stands in the column of devices.
    devices: BTreeSet<String>,
}

impl Kind {
    fn is_sparse(&self) -> bool {
        self.spacing.is_some_and(|seconds| seconds > DENSE_SECONDS)
    }

    fn is_dense(&self) -> bool {
        self.spacing.is_some_and(|seconds| seconds <= DENSE_SECONDS)
    }

    fn described(&self) -> String {
        let rows = if self.rows == 1 { "row" } else { "rows" };
        let apart = match (self.glucose, self.spacing) {
            (None, _) => ", without glucose".to_owned(),
            (_, Some(seconds)) if self.is_dense() => format!(", one every {seconds} s"),
            (_, Some(_)) => ", hours apart".to_owned(),
            (_, None) => String::new(),
        };
        format!("`{}` ({} {rows}{apart})", self.text, self.rows)
    }
}

/// What the title of a column of devices says.
const DEVICES: &[&str] = &["serial", "device", "serien", "gerät"];

/// What is asked of kinds of which neither text nor data tell what they are.
fn asked(title: &str, kinds: &[Kind]) -> Option<String> {
    let unknown = || kinds.iter().filter(|kind| kind.role.is_none());
    let first = unknown().next()?;
    let described: Vec<String> = unknown().map(Kind::described).collect();
    let readings = kinds.iter().find(|kind| kind.role == Some(Role::Readings));
    Some(format!(
        "`{title}`: what are the rows with {}? Map each kind by itself: --rows \"{title}={}\" --table fingersticks if they are checks by fingerstick, and --rows \"{title}={}\" --table readings for readings",
        described.join(", "),
        first.text,
        readings.map_or("…", |kind| kind.text.as_str())
    ))
}

/// What is asked of kinds that have values by their text, and none in any column.
fn without_values(title: &str, kinds: &[Kind]) -> Vec<String> {
    let lacks = |kind: &&Kind| {
        kind.glucose.is_none() && kind.role.is_some_and(|role| role != Role::Neither)
    };
    let open = |kind: &Kind| {
        format!(
            "`{title}`: no column looks like the glucose of {}: map them by themselves with --rows \"{title}={}\"",
            kind.described(),
            kind.text
        )
    };
    kinds.iter().filter(lacks).map(open).collect()
}

/// A file of which something is looked for; `seconds` is the clock of each row.
pub(super) struct Kinds<'l> {
    pub lines: &'l Lines,
    pub looks: &'l [Look],
    pub known: &'l Known,
    pub seconds: &'l [Option<i64>],
}

impl Kinds<'_> {
    pub(super) fn title(&self, index: usize) -> &str {
        self.lines.titles.get(index).map_or("", String::as_str)
    }

    /// How to cut the file into parts; `None` where all its rows are of one kind.
    pub fn split(&self) -> Option<Split> {
        let glucose = match self.known.table {
            Some(Table::WearEvents) => Vec::new(),
            None if self.known.constants.contains_key("event") => Vec::new(),
            _ => self.glucose_columns(),
        };
        if glucose.is_empty() {
            return self.two_ends();
        }
        let rows = self.lines.rows.len();
        let candidate = |look: &&Look| {
            let words = (2..=MOST_KINDS).contains(&look.words.len());
            let sensor = names_any(self.title(look.index), DEVICES);
            let of_units = look.words.keys().all(|word| Unit::parse(word).is_some());
            let other = look.is_time || look.is_date || look.is_clock || sensor || of_units;
            words && !other && look.filled * 20 >= rows * 19 && !glucose.contains(&look.index)
        };
        let columns = self.looks.iter().filter(candidate);
        let split = columns.filter_map(|look| self.by_column(look, &glucose));
        split
            .min_by_key(|(rank, _)| *rank)
            .map_or_else(|| self.either(&glucose), |(_, split)| Some(split))
    }

    /// The column most like glucose, and those of such numbers that are filled where it is not: a few of them may well rise.
    fn glucose_columns(&self) -> Vec<usize> {
        let rows = self.lines.rows.len();
        let useful = |look: &&Look| role_in(self.title(look.index)) != Some(Role::Neither);
        let score = |look: &Look| look.glucose_score(self.title(look.index), rows);
        let likely = self.looks.iter().filter(useful);
        let best = likely.clone().filter(|look| score(look) > 0.0);
        let Some(best) = best.max_by(|a, b| score(a).total_cmp(&score(b))) else {
            return Vec::new();
        };
        let apart = |look: &&Look| {
            let both = self.filled(look.index).zip(self.filled(best.index));
            let both = both.filter(|(one, other)| *one && *other).count();
            look.index != best.index && look.of_a_body() && both * 20 <= look.filled
        };
        let others = likely.filter(apart).map(|look| look.index);
        [best.index].into_iter().chain(others).collect()
    }

    fn filled(&self, index: usize) -> impl Iterator<Item = bool> {
        self.lines.column(index).map(|value| !value.is_empty())
    }

    fn kinds(&self, look: &Look, glucose: &[usize]) -> Vec<Kind> {
        let kind = |text: &String| {
            let own = self.lines.column(look.index).map(|value| value == text);
            let own: Vec<bool> = own.collect();
            let rows = own.iter().filter(|own| **own).count();
            let share = |index: &&usize| {
                let filled = self
                    .filled(**index)
                    .zip(&own)
                    .filter(|(filled, own)| *filled && **own);
                filled.count() * 2 > rows
            };
            let times = self.seconds.iter().zip(&own).filter(|(_, own)| **own);
            let seconds: Vec<i64> = times.filter_map(|(at, _)| *at).collect();
            let glucose = glucose.iter().find(share).copied();
            let by_title = || glucose.and_then(|index| role_in(self.title(index)));
            Kind {
                text: text.clone(),
                rows,
                glucose,
                role: role_in(text).or_else(by_title),
                spacing: usual_spacing(seconds),
                devices: self.devices(look.index, &own),
            }
        };
        look.words
            .keys()
            .filter(|text| !text.is_empty())
            .map(kind)
            .collect()
    }

    /// What stands in the column of devices of some rows; nothing where there is no such column beside another.
    fn devices(&self, beside: usize, own: &[bool]) -> BTreeSet<String> {
        let device = self.looks.iter().find(|look| {
            let named = names_any(self.title(look.index), DEVICES);
            named && !look.words.is_empty() && !look.is_time && look.index != beside
        });
        let Some(device) = device else {
            return BTreeSet::new();
        };
        let cells = self.lines.column(device.index).zip(own);
        let cells = cells.filter(|(cell, own)| **own && !cell.is_empty());
        cells.map(|(cell, _)| cell.to_owned()).collect()
    }

    /// Whether a column whose title does not say so tells kinds of rows by what goes with its texts: codes of rows hours apart
    /// beside those of rows minutes apart, or rows hours apart that are all of other devices. The state of a reading and its
    /// trend are codes too, and some of theirs are rare.
    fn goes_apart(&self, look: &Look, with: &[&Kind]) -> bool {
        let title = self.title(look.index);
        let mut sparse = with.iter().filter(|kind| kind.is_sparse());
        let dense: Vec<&&Kind> = with.iter().filter(|kind| kind.is_dense()).collect();
        let states = [
            "trend",
            "arrow",
            "pfeil",
            "status",
            "state",
            "quality",
            "flag",
            "sensor",
            "transmitter",
        ];
        let codes = look.has_few_numbers() && !names_any(title, &states);
        let other_devices = |kind: &&Kind| {
            let apart = |dense: &&&Kind| dense.devices.is_disjoint(&kind.devices);
            !kind.devices.is_empty() && dense.iter().all(apart)
        };
        !dense.is_empty() && sparse.any(|kind| codes || other_devices(kind))
    }

    /// The parts by the texts of a column, and how little says that it tells kinds of rows; `None` where it tells none.
    fn by_column(&self, look: &Look, glucose: &[usize]) -> Option<(u8, Split)> {
        let title = self.title(look.index);
        let mut kinds = self.kinds(look, glucose);
        let rank = self.rank(look, &kinds)?;
        // A kind that has a value every few minutes is readings, unless its text says otherwise; one without values is neither.
        for kind in &mut kinds {
            let by_data = match (kind.glucose, kind.is_dense()) {
                (None, _) => Some(Role::Neither),
                (Some(_), true) => Some(Role::Readings),
                (Some(_), false) => None,
            };
            kind.role = kind.role.or(by_data);
        }
        let all: Vec<String> = kinds.iter().map(Kind::described).collect();
        let mut split = Split {
            told: vec![format!(
                "`{title}` tells kinds of rows apart: {}",
                all.join(", ")
            )],
            ..Split::default()
        };
        for role in [Role::Readings, Role::Fingersticks] {
            let own = |kind: &&Kind| kind.role == Some(role) && kind.glucose.is_some();
            let own = kinds.iter().filter(own).collect();
            self.add(&mut split, title, own, role.table());
        }
        let with = kinds.iter().filter(|kind| kind.glucose.is_some()).count();
        let unknown: Vec<&Kind> = kinds.iter().filter(|kind| kind.role.is_none()).collect();
        if with == 1 && split.parts.is_empty() {
            self.add(&mut split, title, unknown, None);
        } else {
            split.open.extend(asked(title, &kinds));
        }
        split.open.extend(without_values(title, &kinds));
        split.told.extend(self.left_out(look, &kinds));
        let one = |part: &Part| part.rows.values().map(Vec::len).sum::<usize>() == kinds.len();
        let whole = split.open.is_empty() && split.parts.iter().all(one);
        if split.parts.is_empty() {
            split.parts = Split::of(&BTreeMap::new()).parts;
        }
        (!whole).then_some((rank, split))
    }

    /// How little says that a column tells these kinds of rows apart; `None` where it tells none.
    fn rank(&self, look: &Look, kinds: &[Kind]) -> Option<u8> {
        let told = kinds.iter().any(|kind| match role_in(&kind.text) {
            Some(Role::Fingersticks) => true,
            Some(Role::Neither) => kind.glucose.is_none(),
            _ => false,
        });
        let with: Vec<&Kind> = kinds.iter().filter(|kind| kind.glucose.is_some()).collect();
        let dense = with.iter().filter(|kind| kind.is_dense()).count();
        let differ = (1..with.len()).contains(&dense) || with.len() < kinds.len();
        let columns: BTreeSet<Option<usize>> = with.iter().map(|kind| kind.glucose).collect();
        let apart = columns.len() > 1;
        match (
            told,
            names_kinds(self.title(look.index)) && (differ || apart),
            apart,
        ) {
            (true, _, _) => Some(0),
            (_, true, _) => Some(1),
            (_, _, true) => Some(2),
            _ => self.goes_apart(look, &with).then_some(3),
        }
    }

    /// What is said of rows that nothing reads: those of no use, and those that name no kind.
    fn left_out(&self, look: &Look, kinds: &[Kind]) -> Vec<String> {
        let title = self.title(look.index);
        let neither = kinds.iter().filter(|kind| kind.role == Some(Role::Neither));
        let neither: Vec<String> = neither.map(|kind| format!("`{}`", kind.text)).collect();
        let nameless = self.filled(look.index).filter(|filled| !filled).count();
        let neither = (!neither.is_empty())
            .then(|| format!("left out: rows with {} in `{title}`", neither.join(", ")));
        let nameless = (nameless > 0)
            .then(|| format!("left out: rows with nothing in `{title}` ({nameless})"));
        neither.into_iter().chain(nameless).collect()
    }

    /// Adds the kinds of a table, those with values in one column together.
    fn add(&self, split: &mut Split, title: &str, kinds: Vec<&Kind>, table: Option<Table>) {
        let mut by_column: BTreeMap<Option<usize>, Vec<String>> = BTreeMap::new();
        for kind in kinds {
            by_column
                .entry(kind.glucose)
                .or_default()
                .push(kind.text.clone());
        }
        for (glucose, texts) in by_column {
            if self.known.table.is_some() && table.is_some() && table != self.known.table {
                continue;
            }
            let suffix = match split.parts.last().map(|part| part.table) {
                None => String::new(),
                Some(before) if before != table => table.map_or("", Table::folder).to_owned(),
                Some(_) => format!("{}", split.parts.len() + 1),
            };
            if let Some(table) = table {
                let kinds: Vec<String> = texts.iter().map(|text| format!("`{text}`")).collect();
                split.told.push(format!(
                    "{}: the rows with {}",
                    table.folder(),
                    kinds.join(", ")
                ));
            }
            split.parts.push(Part {
                rows: [(title.to_owned(), texts)].into(),
                table,
                glucose,
                suffix,
                ..Part::default()
            });
        }
    }

    /// Columns of values of which each row fills one: each is read where the others are empty.
    fn either(&self, glucose: &[usize]) -> Option<Split> {
        let rows = 0..self.lines.rows.len();
        let filled = |row: usize| {
            let cells = self.lines.rows.get(row)?;
            let filled = |index: &&usize| cells.get(**index).is_some_and(|value| !value.is_empty());
            Some(glucose.iter().filter(filled).count())
        };
        let counts: Vec<usize> = rows.filter_map(filled).collect();
        let exactly = counts.iter().filter(|count| **count == 1).count();
        // A row without any value would be taken by all.
        if glucose.len() < 2 || exactly * 20 < counts.len() * 19 || counts.contains(&0) {
            return None;
        }
        let titles: Vec<&str> = glucose.iter().map(|index| self.title(*index)).collect();
        let units: Vec<Option<Unit>> = titles.iter().map(|title| unit_in(title)).collect();
        let by_unit =
            !units.contains(&None) && units.windows(2).all(|pair| pair.first() != pair.last());
        let quoted: Vec<String> = titles.iter().map(|title| format!("`{title}`")).collect();
        let several = counts.len() - exactly;
        let several = (several > 0)
            .then(|| format!("left out: rows with values in several of these columns ({several})"));
        let told = format!(
            "each row has its value in one of {}: each column is read where the others are empty",
            quoted.join(", ")
        );
        let mut split = Split {
            told: [told].into_iter().chain(several).collect(),
            ..Split::default()
        };
        for (number, (index, title)) in glucose.iter().zip(&titles).enumerate() {
            let others = titles.iter().filter(|other| *other != title);
            let rows = others.map(|other| ((*other).to_owned(), vec![String::new()]));
            let table = role_in(title).filter(|_| !by_unit).and_then(Role::table);
            if table.is_some() && self.known.table.is_some_and(|known| table != Some(known)) {
                continue;
            }
            if number > 0 && table.is_none() && !by_unit {
                let rows = self
                    .lines
                    .column(*index)
                    .filter(|value| !value.is_empty())
                    .count();
                split.open.push(format!(
                    "what are the {rows} rows with a value in `{title}` alone? Map the others by --rows \"{title}=\", and these by --rows with the other columns of values and --table readings or --table fingersticks"
                ));
                continue;
            }
            let suffix = match (number, table) {
                (0, _) => String::new(),
                (_, Some(Table::Fingersticks)) => Table::Fingersticks.folder().to_owned(),
                _ => format!("{}", number + 1),
            };
            split.parts.push(Part {
                rows: rows.collect(),
                glucose: Some(*index),
                table,
                suffix,
                ..Part::default()
            });
        }
        Some(split)
    }
}
