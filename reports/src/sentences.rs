//! The rules by which claims become words. Nothing is said of two sites that is not a row of the table of conclusions:
//!
//! - `differs` is said as it is, `leans` after "so far", `alike` with the margin that it lies within, all else is open.
//! - A row that was withdrawn says what it cannot be told from, in the sentence itself.
//! - How many more sensors would settle an open row is said of pairs of sites on the label alone: no one is urged to wear a
//!   sensor off it.

use whereworn_model::settings::Measure;
use whereworn_model::table::ResultTable;
use whereworn_model::tables::site_comparison::{self, column as comparison};

use crate::catalogue::fill;
use crate::claims::{Claim, JUDGED, OTHERS, Verdict};
use crate::context::Context;
use crate::view::View;
use crate::words::ClaimWords;

/// A difference of shares that says nothing: all sensors at one site and none at the other.
const ALL_OF_THEM: f64 = 0.995;

/// Most claims in one sentence.
const MOST_CLAIMS: usize = 2;

/// The words of a measure; every measure has some, by a test.
fn words<'c>(context: &'c Context, measure: Measure) -> Option<&'c ClaimWords> {
    context.text.claims.measures.get(measure.name())
}

/// A site, or the others, by name.
pub(crate) fn name(context: &Context, site: &str) -> String {
    match site {
        OTHERS => context.text.claims.others.clone(),
        site => context.site_label(site),
    }
}

/// A site's name, with a mark where it is off the label.
pub(crate) fn site_marked(context: &Context, site: &str) -> String {
    let label = context.site_label(site);
    match context.off_label(site) {
        true => fill(&context.text.claims.site_off_label, &[("site", &label)]),
        false => label,
    }
}

/// The site of a claim; the better of two is marked where it is off the label, so that nobody is urged to wear it.
fn ahead(context: &Context, claim: &Claim) -> String {
    let better = claim.is_difference() && JUDGED.contains(&claim.measure);
    match better && claim.site != OTHERS {
        true => site_marked(context, claim.site),
        false => name(context, claim.site),
    }
}

/// A size in the measure's scale for readers: sensors in ten, percentage points, glucose, artefacts in 100 nights, minutes.
fn size(context: &Context, measure: Measure, value: f64) -> String {
    match measure {
        Measure::StaysOn => context.number(value * 10.0, 1),
        Measure::ReadsHighOrLow => {
            let extra = whereworn_model::format::glucose_digits(context.unit);
            context.number(context.unit.from_mgdl(value), extra + 1)
        }
        _ => context.number(value, 1),
    }
}

/// The size of a claim with its interval and the measure's scale in words.
pub(crate) fn compared(context: &Context, claim: &Claim) -> String {
    let scale = words(context, claim.measure).map_or("{value} {interval}", |words| &words.scale);
    filled(context, scale, claim)
}

/// What fills the words of a claim.
fn filled(context: &Context, template: &str, claim: &Claim) -> String {
    let ends = claim.interval.map(|(lower, upper)| {
        let [mut from, to] = [lower, upper].map(|end| size(context, claim.measure, end));
        // A claim leaves out 0, however little its interval does.
        if claim.is_difference() && from == size(context, claim.measure, 0.0) {
            from.clone_from(&context.text.claims.above_zero);
        }
        fill(
            &context.text.claims.interval,
            &[("lower", &from), ("upper", &to)],
        )
    });
    let margin = context.margins.get(&claim.measure).copied();
    let margin = margin.unwrap_or(claim.measure.default_margin());
    let values = [
        ("site", &*ahead(context, claim)),
        ("against", &*name(context, claim.against)),
        ("value", &*size(context, claim.measure, claim.size)),
        ("interval", ends.as_deref().unwrap_or_default()),
        ("unit", context.unit.code()),
        ("rated", &*until(context, claim)),
        ("margin", &*size(context, claim.measure, margin)),
        ("causes", &*causes(context, &claim.withdrawn)),
    ];
    fill(template, &values).trim_end().to_owned()
}

fn causes(context: &Context, withdrawn: &[&str]) -> String {
    let known = &context.text.claims.causes;
    let causes: Vec<&str> = withdrawn
        .iter()
        .map(|code| known.get(*code).map_or(*code, String::as_str))
        .collect();
    causes.join(&context.text.claims.and)
}

/// A claim in words, without a full stop and without how sure it is; `None` for a row on which nothing is said.
fn core(context: &Context, claim: &Claim) -> Option<String> {
    let words = words(context, claim.measure)?;
    let template = match claim.verdict {
        _ if claim.striking && claim.is_pair() => &words.withdrawn,
        _ if !claim.withdrawn.is_empty() => return None,
        Verdict::Differs | Verdict::Leans if claim.site == OTHERS => &words.behind,
        Verdict::Differs | Verdict::Leans => &words.claim,
        Verdict::Alike => &words.alike,
        Verdict::Open => return None,
    };
    let said = filled(context, template, claim);
    let against =
        claim.is_difference() && claim.withdrawn.is_empty() && against_figures(context, claim);
    Some(match against {
        true => fill(&context.text.claims.other_way, &[("claim", &said)]),
        false => said,
    })
}

/// Whether the figures of all sensors, which the first screen draws, point the other way than a difference within people.
fn against_figures(context: &Context, claim: &Claim) -> bool {
    let view = View::named(context, site_comparison::NAME);
    let figures = view.and_then(|view| figures(&view, claim));
    claim.until.is_none() && figures.is_some_and(|figures| figures.points == Points::OtherWay)
}

/// Where the figures of two sites point, as shown.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Points {
    SameWay,
    Nowhere,
    OtherWay,
}

/// The figures of all sensors at the two sites of a claim, and where they point beside it. Those of coming off are of the rated day,
/// and nothing to set beside a claim about an earlier one.
struct Figures {
    site: String,
    against: String,
    points: Points,
}

fn figures(view: &View, claim: &Claim) -> Option<Figures> {
    let column = column(view.table, claim.measure)?;
    let figure = |site: &str| {
        let rows = view.table.rows_where(comparison::SITE, site);
        view.value(*rows.first()?, column)
    };
    let (site, against) = (figure(claim.site)?, figure(claim.against)?);
    let more_is_said =
        claim.measure == Measure::ReadsHighOrLow || column == comparison::WITHIN_20_20;
    let [site_shown, against_shown] = [site, against].map(|value| view.quantity(column, value));
    let points = match (
        site_shown == against_shown,
        (site > against) == more_is_said,
    ) {
        (true, _) => Points::Nowhere,
        (false, true) => Points::SameWay,
        (false, false) => Points::OtherWay,
    };
    Some(Figures {
        site: site_shown,
        against: against_shown,
        points,
    })
}

/// That two sites cannot be told apart from what went with one of them.
pub(crate) fn inseparable(context: &Context, claim: &Claim) -> Option<String> {
    let words = words(context, claim.measure)?;
    (!claim.withdrawn.is_empty()).then(|| filled(context, &words.withdrawn, claim))
}

/// A claim in words, what holds for now marked as such; without a full stop.
pub(crate) fn claim(context: &Context, claim: &Claim) -> Option<String> {
    let said = core(context, claim)?;
    Some(match (claim.verdict, claim.withdrawn.is_empty()) {
        (Verdict::Leans, true) => fill(&context.text.claims.so_far, &[("claim", &said)]),
        _ => said,
    })
}

/// Some claims as one, all of them equally sure, and how many more there are; without a full stop.
pub(crate) fn joined<'a, 't: 'a>(
    context: &Context,
    claims: impl Iterator<Item = &'a Claim<'t>>,
) -> Option<String> {
    let said: Vec<String> = claims.filter_map(|claim| core(context, claim)).collect();
    let shown = said.iter().take(MOST_CLAIMS).map(String::as_str);
    let shown = shown.collect::<Vec<_>>().join("; ");
    let rest = said.len().saturating_sub(MOST_CLAIMS).to_string();
    match said.len() {
        0 => None,
        1..=MOST_CLAIMS => Some(shown),
        _ => Some(fill(
            &context.text.claims.rest,
            &[("claims", &shown), ("count", &rest)],
        )),
    }
}

/// A text that begins with a capital letter.
pub(crate) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string());
    let end = if text.ends_with(['.', '?', '!']) {
        ""
    } else {
        "."
    };
    format!("{}{}{end}", first.unwrap_or_default(), chars.as_str())
}

/// What is open between two sites, how far apart they are at most, and how many more sensors a site would settle it where
/// that may be said.
pub(crate) fn open(context: &Context, claim: &Claim, countable: bool) -> Option<String> {
    let words = words(context, claim.measure)?;
    let said = filled(context, &words.open, claim);
    let text = &context.text.claims;
    let tells = |from: &f64| claim.measure != Measure::StaysOn || *from < ALL_OF_THEM;
    let apart = claim.alike_from.filter(tells).map(|from| {
        let values = [
            ("value", &*size(context, claim.measure, from)),
            ("interval", ""),
            ("unit", context.unit.code()),
        ];
        let most = fill(&words.scale, &values);
        let template = match claim.until {
            Some(_) => &text.at_most_until,
            None => &text.at_most,
        };
        let day = until(context, claim);
        fill(template, &[("most", most.trim_end()), ("day", &day)])
    });
    let more = claim.more_sensors.filter(|_| countable).map(|more| {
        let more = context.text.sensors(more);
        fill(&text.settled_by, &[("more", &more)])
    });
    let known: Vec<String> = apart.into_iter().chain(more).collect();
    if known.is_empty() {
        return Some(said);
    }
    let known = known.join("; ");
    Some(fill(
        &text.open_known,
        &[("open", &said), ("known", &known)],
    ))
}

/// The trade-off between sites on the label: what each has over another of them, with the figures of both. `None` with
/// fewer than two such sites, and where all of it has been told.
pub(crate) fn trade_off(
    view: &View,
    claims: &[Claim],
    on_label: &[&str],
    told: &str,
) -> Option<String> {
    let context = view.context;
    let words = &context.text.claims;
    let names: Vec<String> = on_label
        .iter()
        .map(|site| context.site_label(site))
        .collect();
    let names = [("sites", &*names.join(&words.and))];
    if on_label.len() < 2 {
        return None;
    }
    let shown = claims
        .iter()
        .filter(|claim| claim.is_difference() && claim.within(on_label));
    let shown: Vec<&Claim> = shown.collect();
    if shown.is_empty() {
        return Some(fill(&words.none_told, &names));
    }
    let won: Vec<String> = shown.iter().filter_map(|c| won(view, c, told)).collect();
    (!won.is_empty()).then(|| won.join("; "))
}

/// What a site has over another, with the figures of both where they say so, else in the claim's own words unless those have
/// been told.
fn won(view: &View, claim: &Claim, told: &str) -> Option<String> {
    let context = view.context;
    let words = words(context, claim.measure)?;
    let figures = figures(view, claim)?;
    let said = match figures.points {
        Points::SameWay if claim.until.is_none() => {
            let values = [
                ("site", &*context.site_label(claim.site)),
                ("against", &*context.site_label(claim.against)),
                ("better", &*figures.site),
                ("worse", &*figures.against),
            ];
            fill(&words.won, &values)
        }
        _ => core(context, claim).filter(|said| !told.contains(said))?,
    };
    Some(match claim.verdict {
        Verdict::Leans => fill(&context.text.claims.mark_so_far, &[("claim", &said)]),
        _ => said,
    })
}

/// The column of the comparison of sites in which a measure is shown.
pub(crate) fn column(comparison: &ResultTable, measure: Measure) -> Option<&'static str> {
    let names: &[&str] = match measure {
        Measure::StaysOn => &[comparison::CAME_OFF],
        Measure::ReadsTrue => &[comparison::MARD, comparison::WITHIN_20_20],
        Measure::QuietAtNight => &[comparison::NIGHT_RATE],
        Measure::ReadsHighOrLow => &[comparison::BIAS],
        Measure::Delay => &[comparison::DELAY_MINUTES],
    };
    names
        .iter()
        .copied()
        .find(|name| comparison.column(name).is_some())
}

/// Number of sensors worn at a site.
pub(crate) fn worn(view: &View, row: usize) -> f64 {
    let count = view
        .value(row, comparison::SESSIONS)
        .or_else(|| view.value(row, "sensors"));
    count.unwrap_or(0.0)
}

/// The day by which sensors came off that a claim is about.
fn until(context: &Context, claim: &Claim) -> String {
    let day = claim.until.map(|day| context.number(day, 0));
    day.unwrap_or_else(|| rated(context))
}

/// The rated days in words.
pub(crate) fn rated(context: &Context) -> String {
    let days = context.input.settings.wear.rated_days;
    context.number(days, if days.fract() == 0.0 { 0 } else { 1 })
}
