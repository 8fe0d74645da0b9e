//! Which site is best for a wearer, as tables for a report.

use whereworn_model::header::Header;
use whereworn_model::table::{Cell, CellKind, Column, ResultTable};
use whereworn_stats::resampling::seed::seed;

use crate::best::{Aspect, Best, best};
use crate::gather::{Matters, PlanError, Study};

/// The queries that these tables are made from.
pub const NEEDED: [&str; 2] = ["plan_sensors", "plan_figures"];

const SITES: &str = r#"
-- title = "How likely each site is the best for a wearer"
-- row = "one site that was worn"
-- note = "By the wearer's own sensors and priorities; evidence, no advice."
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- site = { label = "Site", class = "site" }
-- sensors = { label = "Sensors", class = "count", type = "integer" }
-- probability = { label = "Probability of being the best", class = "share", type = "number" }
-- unbeaten = { label = "May be the best, and not beaten on everything", class = "count", type = "integer" }
"#;

const PRIORITIES: &str = r#"
-- title = "What matters to a wearer, and how far it must move for another site to lead"
-- row = "one priority"
-- [columns]
-- wearer = { label = "Wearer", class = "wearer" }
-- priority = { label = "Priority", class = "category" }
-- weight = { label = "Weight", class = "estimate", type = "number" }
-- known = { label = "Known of any sensor", class = "count", type = "integer" }
-- leader = { label = "Site that leads", class = "site" }
-- moved_to = { label = "Weight at which another leads", class = "estimate", type = "number" }
-- then = { label = "Site that leads then", class = "site" }
"#;

/// The tables `best_sites`, the likeliest first, and `best_priorities`; without rows where not two sites were worn.
///
/// # Errors
/// [`PlanError::Table`].
pub fn tables(study: &Study<'_>, wearer: &str) -> Result<[ResultTable; 2], PlanError> {
    let matters = Matters::read(study, wearer)?;
    let found = best(&matters.aspects, &matters.sensors, seed(&["best", wearer]));
    let worn = |place: &usize| found.chances[*place].is_worn();
    let mut shown: Vec<usize> = (0..found.chances.len()).filter(worn).collect();
    if shown.len() < 2 {
        shown.clear();
    }
    let compared = !shown.is_empty();
    Ok([
        sites(&matters, &found, wearer, shown),
        priorities(&matters, &found, wearer, compared),
    ])
}

fn sites(matters: &Matters, found: &Best, wearer: &str, mut order: Vec<usize>) -> ResultTable {
    let probability = |place: usize| found.chances[place].probability;
    order.sort_by(|&a, &b| probability(b).total_cmp(&probability(a)));
    let cells = |of: &dyn Fn(usize) -> Cell| order.iter().map(|&place| of(place)).collect();
    let whole = |count: usize| Cell::Integer(count as i64);
    table(
        "best_sites",
        SITES,
        vec![
            ("wearer", cells(&|_| Cell::text(wearer))),
            ("site", cells(&|place| matters.key(place))),
            ("sensors", cells(&|place| whole(matters.sensors[place]))),
            (
                "probability",
                cells(&|place| Cell::Number(probability(place))),
            ),
            (
                "unbeaten",
                cells(&|place| whole(usize::from(found.chances[place].is_unbeaten()))),
            ),
        ],
    )
}

fn priorities(matters: &Matters, found: &Best, wearer: &str, compared: bool) -> ResultTable {
    let leader = found
        .leader(&matters.aspects)
        .map_or(Cell::Empty, |place| matters.key(place));
    let moved = |aspect: usize| found.moves.iter().find(|moved| moved.aspect == aspect);
    let counts = |place: &usize| matters.aspects[*place].priority > 0.0 || moved(*place).is_some();
    let rows: Vec<usize> = (0..matters.aspects.len())
        .filter(|place| compared && counts(place))
        .collect();
    let aspect = |place: usize| -> &Aspect { &matters.aspects[place] };
    let cells = |of: &dyn Fn(usize) -> Cell| rows.iter().map(|&place| of(place)).collect();
    table(
        "best_priorities",
        PRIORITIES,
        vec![
            ("wearer", cells(&|_| Cell::text(wearer))),
            ("priority", cells(&|place| Cell::text(aspect(place).name))),
            (
                "weight",
                cells(&|place| Cell::Number(aspect(place).priority)),
            ),
            (
                "known",
                cells(&|place| Cell::Integer(i64::from(found.is_known(place)))),
            ),
            ("leader", cells(&|_| leader.clone())),
            (
                "moved_to",
                cells(&|place| moved(place).map_or(Cell::Empty, |moved| Cell::Number(moved.to))),
            ),
            (
                "then",
                cells(&|place| moved(place).map_or(Cell::Empty, |moved| matters.key(moved.leader))),
            ),
        ],
    )
}

fn table(name: &str, header: &str, columns: Vec<(&str, Vec<Cell>)>) -> ResultTable {
    let header = Header::parse(header.trim_start()).unwrap_or_default();
    let columns = columns.into_iter().map(|(name, cells)| {
        let declared = header.columns.get(name).cloned().unwrap_or_default();
        Column {
            name: name.to_owned(),
            kind: declared.declared_kind().unwrap_or(CellKind::Text),
            header: declared,
            cells,
        }
    });
    ResultTable {
        name: name.to_owned(),
        columns: columns.collect(),
        header,
        own_query: false,
        fault: None,
    }
}
