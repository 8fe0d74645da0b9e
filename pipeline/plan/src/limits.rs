//! The hard limits: from which day a spot is open, or what stands in the way. No aim and no draw passes them.

use crate::history::{Day, History, Side, Spot, may_be_at};

/// Days after which a look with grade 1 counts as healed.
pub const HEALING_DAYS: Day = 28;

/// Days back from the log's last row in which an injection shows where the wearer injects: common practice, no source.
pub const INJECTION_DAYS: Day = 30;

/// The skin grade from which a spot rests longer, and is closed until a look finds it healed.
pub const ITCHING: u8 = 2;

/// What is allowed, and for how long a spot rests.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rules {
    /// Sites that may be used at all, as places in the study's list of sites.
    pub allowed: Vec<usize>,
    /// Whole days between a sensor's end and the next sensor at its spot.
    pub rest_days: Day,
    /// The same where the skin had grade 2 or more; counted from the last such look where that is later than the end.
    pub rest_days_after_skin: Day,
    /// Days that the next sensors are rated for.
    pub rated_days: Day,
    /// Today, whether or not the log was kept up to it.
    pub today: Day,
    /// The day of the log's last row. Where a wearer injects is judged by it: a log that is behind does not say that they
    /// stopped.
    pub known_until: Day,
}

/// What keeps a spot closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// The site is not on the list.
    NotAllowed,
    /// A sensor is on.
    Worn,
    /// The spot rests after its last sensor.
    Resting,
    /// It rests longer, after itch or worse.
    RestingAfterSkin,
    /// The last look found redness, less than four weeks ago.
    Redness,
    /// The last look found itch or worse: closed until a look finds it healed.
    NotHealed,
    /// The wearer injects on this side of the site and not on the other.
    InjectionSide,
    /// The wearer injects at this site, and a sensor is on its other side.
    InjectionRoom,
}

/// When a spot opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Opening {
    /// From a day on, with the limit that lasts until then; `None` where it is open today.
    From(Day, Option<Limit>),
    /// On no day that can be told today.
    Closed(Limit),
}

/// When a spot opens, as far as the log tells.
///
/// Days are whole days of the wearer's calendar, and a rest of n days leaves n of them untouched between the day of the
/// end and that of the insertion, so that it holds whatever the hour. A side that was not noted counts as any.
#[must_use]
pub fn opening(history: &History, rules: &Rules, spot: Spot) -> Opening {
    if !rules.allowed.contains(&spot.site) {
        return Opening::Closed(Limit::NotAllowed);
    }
    if injects_here_alone(history, rules, spot) {
        return Opening::Closed(Limit::InjectionSide);
    }
    let last_look = history
        .skin
        .iter()
        .rfind(|look| may_be_at(look.site, look.side, spot));
    if last_look.is_some_and(|look| look.grade >= ITCHING) {
        return Opening::Closed(Limit::NotHealed);
    }
    let healing = last_look
        .filter(|look| look.grade == 1)
        .map(|look| (look.day + HEALING_DAYS + 1, Limit::Redness));
    let ends = [
        healing,
        rest(history, rules, spot),
        rest_after_skin(history, rules, spot),
        injection_room(history, rules, spot),
    ];
    let last = ends.into_iter().flatten().max_by_key(|(day, _)| *day);
    match last {
        Some((day, limit)) if day > rules.today => Opening::From(day, Some(limit)),
        _ => Opening::From(rules.today, None),
    }
}

fn rest(history: &History, rules: &Rules, spot: Spot) -> Option<(Day, Limit)> {
    let last = history.worn_at(spot).max_by_key(|worn| worn.until)?;
    let limit = if last.on { Limit::Worn } else { Limit::Resting };
    Some((last.until + rules.rest_days + 1, limit))
}

fn rest_after_skin(history: &History, rules: &Rules, spot: Spot) -> Option<(Day, Limit)> {
    let itched = history
        .skin
        .iter()
        .filter(|look| look.grade >= ITCHING && may_be_at(look.site, look.side, spot));
    let last = itched.map(|look| look.day).max()?;
    // The sensor that itched may have stayed on after the look.
    let end = history
        .worn_at(spot)
        .filter(|worn| worn.from <= last)
        .map(|worn| worn.until)
        .max();
    let from = end.map_or(last, |end| end.max(last));
    Some((
        from + rules.rest_days_after_skin + 1,
        Limit::RestingAfterSkin,
    ))
}

fn recent_injections<'h>(
    history: &'h History,
    rules: &Rules,
    site: usize,
) -> impl Iterator<Item = Option<Side>> + 'h {
    let since = rules.known_until - INJECTION_DAYS;
    history
        .injections
        .iter()
        .filter(move |injection| injection.site == site && injection.day >= since)
        .map(|injection| injection.side)
}

fn injects_here_alone(history: &History, rules: &Rules, spot: Spot) -> bool {
    let mut sides = recent_injections(history, rules, spot.site).peekable();
    sides.peek().is_some() && sides.all(|side| side == Some(spot.side))
}

/// At a site of injections one side stays without a sensor.
fn injection_room(history: &History, rules: &Rules, spot: Spot) -> Option<(Day, Limit)> {
    recent_injections(history, rules, spot.site).next()?;
    let beside = history.worn.iter().filter(|worn| worn.site == spot.site);
    let until = beside.map(|worn| worn.until).max()?;
    Some((until, Limit::InjectionRoom))
}

/// All spots of the sites that may be used.
#[must_use]
pub fn spots(rules: &Rules) -> Vec<Spot> {
    let sides = |&site: &usize| Side::PLANNED.map(|side| Spot { site, side });
    rules.allowed.iter().flat_map(sides).collect()
}
