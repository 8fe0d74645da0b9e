//! The rules by which numbers become words.
//!
//! - A site with fewer than [`LEAST_SENSORS`] sensors, or a figure without an interval, is "not enough yet". For how true
//!   a site reads, only sensors with pairs count.
//! - Where none of n sensors came off there is no interval; its upper end is then taken as 3 / n (rule of three, common
//!   practice, no source) to compare sites, and is not shown.
//! - A site is above or below others in a measure where its interval lies wholly on one side of the median of the other
//!   sites' estimates (of those with enough sensors); else it is about the same.
//! - A site reads high or low where the interval of its bias leaves out zero; its sensors agree on that where the spread
//!   between them is smaller than the bias.
//! - Of all sites the best in a measure is named; a site is clearly worse where its interval does not overlap with that of
//!   the best.
//! - Chance hardly explains a difference where p is below 0.01, rarely where below 0.05 (common practice, no source).

use crate::catalogue::fill;
use crate::context::Context;
use crate::view::View;

/// Fewest sensors for a verdict on a site.
pub(crate) const LEAST_SENSORS: f64 = 3.0;

/// Below this, chance hardly explains a difference.
const P_HARDLY: f64 = 0.01;

/// Below this, chance would rarely explain it.
const P_RARELY: f64 = 0.05;

/// What a reader asks of a site.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Measure {
    /// Share that came off: less is better.
    Stay,
    /// Share of pairs within 20/20: more is better.
    True,
    /// Night artefacts per 100 nights: less is better.
    Quiet,
}

/// A site against the others in one measure.
#[derive(Debug, PartialEq)]
pub(crate) enum Against {
    More,
    Less,
    Same,
    Alone,
}

/// The best site in a measure, those that it cannot be told apart from, and those clearly behind it.
pub(crate) struct Best {
    pub row: usize,
    pub overlapping: Vec<String>,
    pub behind: Vec<String>,
}

impl Measure {
    /// The column of the comparison that it is read from.
    pub fn column(self) -> &'static str {
        match self {
            Self::Stay => "came_off",
            Self::True => "within_20_20",
            Self::Quiet => "night_rate",
        }
    }
}

/// The best site in a measure; `None` where fewer than two have enough to judge them.
pub(crate) fn ranked(view: &View, measure: Measure) -> Option<Best> {
    let column = measure.column();
    let sign = if matches!(measure, Measure::True) {
        -1.0
    } else {
        1.0
    };
    let mut sites: Vec<(usize, f64, (f64, f64))> = view
        .rows
        .iter()
        .filter(|&&row| enough(view, row, column))
        .filter_map(|&row| Some((row, view.value(row, column)?, interval(view, row, column)?)))
        .collect();
    sites.sort_by(|a, b| (sign * a.1).total_cmp(&(sign * b.1)));
    let [first, others @ ..] = sites.as_slice() else {
        return None;
    };
    if others.is_empty() {
        return None;
    }
    let named = |wanted: bool| {
        let others = others.iter();
        others
            .filter(|other| (first.2.0 <= other.2.1 && other.2.0 <= first.2.1) == wanted)
            .map(|other| view.text(other.0, "site"))
            .collect()
    };
    Some(Best {
        row: first.0,
        overlapping: named(true),
        behind: named(false),
    })
}

/// The site that is best in a measure, and how sure that is.
pub(crate) fn best(view: &View, measure: Measure) -> String {
    let text = &view.context.text.bottom;
    let template = match measure {
        Measure::Stay => &text.stay_best,
        Measure::True => &text.true_best,
        Measure::Quiet => &text.quiet_best,
    };
    let Some(best) = ranked(view, measure) else {
        return not_enough(view.context);
    };
    let values = [
        ("site", &*view.text(best.row, "site")),
        ("value", &*view.in_words(best.row, measure.column())),
        ("rated", &*rated(view.context)),
    ];
    let mut out = vec![fill(template, &values)];
    if best.overlapping.is_empty() {
        out.push(text.clear.clone());
    } else {
        if !best.behind.is_empty() {
            out.push(fill(&text.behind, &[("sites", &best.behind.join(", "))]));
        }
        out.push(fill(
            &text.overlap,
            &[("others", &best.overlapping.join(", "))],
        ));
    }
    out.join(" ")
}

/// What can be said of one site.
pub(crate) fn site(view: &View, row: usize) -> String {
    let text = &view.context.text.site;
    let sensors = worn(view, row);
    let mut out = vec![fill(
        &text.sensors,
        &[("sensors", &view.context.text.sensors(sensors))],
    )];
    if sensors < LEAST_SENSORS {
        out.push(fill(&text.few, &[("least", &LEAST_SENSORS.to_string())]));
    } else {
        out.extend([stays(view, row), reads(view, row), nights(view, row)]);
    }
    if view.table.text(row, "on_label") == "no" {
        out.push(text.off_label.clone());
    }
    out.join(" ")
}

fn stays(view: &View, row: usize) -> String {
    let text = &view.context.text.site;
    let template = match against(view, row, "came_off") {
        None => &text.wear_unknown,
        Some(Against::More) => &text.wear_more,
        Some(Against::Less) => &text.wear_less,
        Some(Against::Same) => &text.wear_same,
        Some(Against::Alone) => &text.wear_alone,
    };
    let values = [
        ("value", &*view.in_words(row, "came_off")),
        ("rated", &*rated(view.context)),
    ];
    fill(template, &values)
}

fn reads(view: &View, row: usize) -> String {
    let text = &view.context.text.site;
    let found = view.value(row, "bias").zip(view.interval(row, "bias"));
    let Some((bias, (lower, upper))) = found.filter(|_| enough(view, row, "bias")) else {
        return text.reads_unknown.clone();
    };
    let clear = lower > 0.0 || upper < 0.0;
    let steady = view
        .value(row, "sd_between")
        .map(|spread| spread < bias.abs());
    let template = match (clear, bias > 0.0, steady) {
        (false, ..) => &text.reads_even,
        (true, true, Some(true)) => &text.reads_high_steady,
        (true, true, Some(false)) => &text.reads_high_scattered,
        (true, true, None) => &text.reads_high,
        (true, false, Some(true)) => &text.reads_low_steady,
        (true, false, Some(false)) => &text.reads_low_scattered,
        (true, false, None) => &text.reads_low,
    };
    let value = if clear {
        size_of_bias(view, bias, lower, upper)
    } else {
        view.in_words(row, "bias")
    };
    fill(template, &[("value", &value)])
}

/// A bias without its sign, as the words carry it.
pub(crate) fn size_of_bias(view: &View, bias: f64, lower: f64, upper: f64) -> String {
    let interval = if bias < 0.0 {
        (-upper, -lower)
    } else {
        (lower, upper)
    };
    view.quantity("bias", bias.abs(), Some(interval))
}

fn nights(view: &View, row: usize) -> String {
    let text = &view.context.text.site;
    let template = match against(view, row, "night_rate") {
        None => &text.nights_unknown,
        Some(Against::More) => &text.nights_noisy,
        Some(Against::Less) => &text.nights_quiet,
        Some(Against::Same) => &text.nights_same,
        Some(Against::Alone) => &text.nights_alone,
    };
    fill(template, &[("value", &view.in_words(row, "night_rate"))])
}

/// `None` where the site has no estimate with an interval.
pub(crate) fn against(view: &View, row: usize, column: &str) -> Option<Against> {
    let (lower, upper) = interval(view, row, column)?;
    let mut others: Vec<f64> = view
        .rows
        .iter()
        .filter(|&&other| other != row && enough(view, other, column))
        .filter_map(|&other| view.value(other, column))
        .collect();
    others.sort_by(f64::total_cmp);
    let middle = others.len() / 2;
    let median = match (others.is_empty(), others.len() % 2) {
        (true, _) => return Some(Against::Alone),
        (false, 1) => others[middle],
        (false, _) => (others[middle - 1] + others[middle]) / 2.0,
    };
    Some(if lower > median {
        Against::More
    } else if upper < median {
        Against::Less
    } else {
        Against::Same
    })
}

/// Number of sensors worn at a site.
pub(crate) fn worn(view: &View, row: usize) -> f64 {
    let count = view
        .value(row, "sessions")
        .or_else(|| view.value(row, "sensors"));
    count.unwrap_or(0.0)
}

/// Whether a site has enough sensors for a verdict in a measure.
pub(crate) fn enough(view: &View, row: usize, column: &str) -> bool {
    let sensors = match column {
        "bias" | "within_20_20" => view.value(row, "sensors").unwrap_or(0.0),
        _ => worn(view, row),
    };
    sensors >= LEAST_SENSORS
}

fn interval(view: &View, row: usize, column: &str) -> Option<(f64, f64)> {
    match (view.value(row, column)?, view.interval(row, column)) {
        (0.0, None) if column == "came_off" => Some((0.0, 300.0 / worn(view, row))),
        (_, interval) => interval,
    }
}

fn not_enough(context: &Context) -> String {
    fill(
        &context.text.bottom.not_enough,
        &[("least", &LEAST_SENSORS.to_string())],
    )
}

/// The rated days in words.
pub(crate) fn rated(context: &Context) -> String {
    let days = context.input.settings.wear.rated_days;
    context.number(days, if days.fract() == 0.0 { 0 } else { 1 })
}

/// Whether chance alone could explain the differences between sites, for the sections that ask it.
pub(crate) fn chance(context: &Context, section: &str) -> Option<String> {
    let text = &context.text.tests;
    let (name, question) = match section {
        "wear" => ("site_wear_test", &text.wear),
        "nights" => ("site_nights_test", &text.nights),
        _ => return None,
    };
    let found = View::named(context, name).and_then(|view| evidence(&view));
    let answer = match found {
        None => text.unknown.clone(),
        Some((p, words)) => {
            let template = if p < P_HARDLY {
                &text.hardly
            } else if p < P_RARELY {
                &text.rarely
            } else {
                &text.could
            };
            fill(template, &[("evidence", &words)])
        }
    };
    Some(format!("{question} {answer}"))
}

/// The p value to be told, by shuffling where there is one, and how it came about.
fn evidence(view: &View) -> Option<(f64, String)> {
    let text = &view.context.text.tests;
    let of = |column: &str| {
        view.rows
            .iter()
            .find_map(|&row| Some((row, view.value(row, column)?)))
    };
    if let Some((row, p)) = of("p_permutation") {
        let words = fill(&text.shuffled, &[("p", &view.text(row, "p_permutation"))]);
        return Some((p, words));
    }
    let (row, p) = of("p")?;
    let values = [
        ("test", &*view.text(row, "test")),
        ("p", &*view.text(row, "p")),
    ];
    Some((p, fill(&text.formula, &values)))
}
