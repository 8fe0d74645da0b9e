//! One span: where it begins and ends, what it is called, and how it ended.

use whereworn_model::table::Cell;

use crate::view::{Group, View};

const DAY: f64 = 86_400e6;

/// How a span ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum End {
    Planned,
    CameOff,
    Fault,
    Skin,
    Open,
}

/// Ends in the order of the legend.
pub(crate) const ENDS: [End; 5] = [End::CameOff, End::Fault, End::Skin, End::Planned, End::Open];

#[derive(Clone)]
pub(crate) struct Span {
    pub from: f64,
    pub to: f64,
    pub end: End,
    pub mark: usize,
    pub label: String,
    /// What may stand on it, the longest first.
    pub names: Vec<String>,
    /// Whether it began before the stretch that is drawn, and whether it outlasts it.
    pub goes_on_from: bool,
    pub goes_on_to: bool,
}

impl Span {
    /// The part of the span that lies within a stretch; of a scale that is not cut, all of it.
    pub fn within(&self, from: f64, to: f64, cut: bool) -> Option<Self> {
        if !cut {
            return Some(self.clone());
        }
        let touches = self.from < to && (self.to > from || self.from >= from);
        touches.then(|| Self {
            from: self.from.max(from),
            to: self.to.min(to),
            goes_on_from: self.from < from,
            goes_on_to: self.to > to,
            ..self.clone()
        })
    }
}

/// The spans of a group of rows.
pub(crate) fn collect(view: &View, group: &Group, y: &str, ends: (&str, &str)) -> Vec<Span> {
    let mut spans = Vec::new();
    for (place, part) in view.groups_of(&group.rows, Some(y)).iter().enumerate() {
        let mark = view.mark(Some(y), &part.key, place);
        let rows = part.rows.iter();
        spans.extend(rows.filter_map(|&row| span(view, row, ends, (mark, &part.label))));
    }
    spans
}

fn span(
    view: &View,
    row: usize,
    (lower, upper): (&str, &str),
    (mark, label): (usize, &str),
) -> Option<Span> {
    let at = |name: &str| match view.table.cell(row, name) {
        Cell::Time(at) => Some(*at as f64),
        other => other.as_number(),
    };
    let from = at(lower)?;
    let of_time = matches!(view.table.cell(row, lower), Cell::Time(_));
    let (day, last) = if of_time {
        (DAY, view.context.input.cutoff as f64)
    } else {
        (1.0, from)
    };
    let days = view.table.number(row, "days");
    let to = at(upper)
        .or_else(|| days.map(|days| from + days * day))
        .unwrap_or(last);
    let end = match view.table.text(row, "cause") {
        "" if view.table.column("cause").is_some() => End::Open,
        "fell-off" | "knocked-off" | "lifted" => End::CameOff,
        "sensor-fault" | "not-started" => End::Fault,
        "reaction" => End::Skin,
        _ => End::Planned,
    };
    Some(Span {
        from,
        to: to.max(from),
        end,
        mark,
        label: label.to_owned(),
        names: names(view, row, label),
        goes_on_from: false,
        goes_on_to: false,
    })
}

/// Site and sensor, then the sensor alone.
fn names(view: &View, row: usize, label: &str) -> Vec<String> {
    if view.table.column("sensor").is_none() {
        return vec![label.to_owned()];
    }
    let sensor = view.text(row, "sensor");
    vec![format!("{label}, {sensor}"), sensor]
}

/// Spreads spans over as few lanes as keep them apart, where each takes `least` for the sign at its end.
pub(crate) fn stack(mut spans: Vec<Span>, least: f64) -> Vec<Vec<Span>> {
    spans.sort_by(|a, b| a.from.total_cmp(&b.from).then(a.to.total_cmp(&b.to)));
    let mut lanes: Vec<Vec<Span>> = Vec::new();
    for span in spans {
        let free = lanes.iter_mut().find(|lane| {
            lane.last()
                .is_none_or(|last| last.to.max(last.from + least) <= span.from)
        });
        match free {
            Some(lane) => lane.push(span),
            None => lanes.push(vec![span]),
        }
    }
    lanes
}

/// A row for each name, in the order in which they come; more where its spans overlap.
pub(crate) fn rows(spans: Vec<Span>) -> Vec<Vec<Span>> {
    spans
        .chunk_by(|a, b| a.label == b.label)
        .flat_map(|own| stack(own.to_vec(), 0.0))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worn(from: f64, to: f64) -> Span {
        Span {
            from,
            to,
            end: End::Planned,
            mark: 0,
            label: String::new(),
            names: Vec::new(),
            goes_on_from: false,
            goes_on_to: false,
        }
    }

    #[test]
    fn each_name_has_a_row_and_another_where_its_spans_overlap() {
        let named = |label: &str, from, to| Span {
            label: label.to_owned(),
            ..worn(from, to)
        };
        let spans = vec![
            named("b", 5.0, 9.0),
            named("b", 0.0, 3.0),
            named("b", 1.0, 2.0),
            named("a", 10.0, 12.0),
        ];
        let rows = rows(spans);
        let labels = rows.iter().map(|row| (&*row[0].label, row.len()));
        assert_eq!(labels.collect::<Vec<_>>(), [("b", 2), ("b", 1), ("a", 1)]);
    }

    #[test]
    fn a_span_is_cut_at_the_ends_of_a_stretch() {
        let span = worn(3.0, 12.0);
        let first = span.within(0.0, 10.0, true).unwrap();
        let second = span.within(10.0, 20.0, true).unwrap();
        assert_eq!((first.from, first.to), (3.0, 10.0));
        assert_eq!((second.from, second.to), (10.0, 12.0));
        assert!(first.goes_on_to && !first.goes_on_from);
        assert!(second.goes_on_from && !second.goes_on_to);
        assert!(span.within(12.0, 20.0, true).is_none());
        assert!(worn(12.0, 12.0).within(12.0, 20.0, true).is_some());
    }

    #[test]
    fn spans_that_overlap_stand_in_lanes_of_their_own() {
        let lanes = |least| {
            let spans = vec![worn(0.0, 5.0), worn(4.0, 6.0), worn(5.0, 9.0)];
            let lanes = stack(spans, least);
            lanes.iter().map(Vec::len).collect::<Vec<_>>()
        };
        assert_eq!(lanes(0.0), [2, 1]);
        assert_eq!(lanes(6.0), [1, 1, 1]);
    }
}
