//! Which sensor is worn where and when, and how it ends.

use crate::clock::{Clock, DAY, Minute};
use crate::random::{Dice, Purpose};
use crate::scenario::{
    CHOSEN, DETACH_CAUSES, FIRST_DAY_DIP, LOST, MODELS, Model, SITES, Site, TAPES, Tape, Wearer,
};

/// One sensor from insertion to the last minute in which it is worn.
pub(crate) struct Session {
    pub(crate) label: String,
    pub(crate) site: &'static Site,
    pub(crate) side: &'static str,
    pub(crate) model: &'static Model,
    pub(crate) lot: String,
    pub(crate) tape: &'static Tape,
    pub(crate) insert: Minute,
    /// Last minute in which it is worn.
    pub(crate) last: Minute,
    /// Cause of the end; none where the log has no end.
    pub(crate) cause: Option<&'static str>,
    /// No end in the log although it is not worn at the end of the study.
    pub(crate) lost: bool,
    /// Own gain of the sensor once the first day is over.
    pub(crate) gain: f64,
    /// Own dip of the gain at insertion.
    pub(crate) first_day_dip: f64,
    /// Multiplies the rate of night artefacts.
    pub(crate) artefact_factor: f64,
}

impl Session {
    /// Whether the sensor is worn throughout the given minutes.
    pub(crate) fn covers(&self, from: Minute, to: Minute) -> bool {
        self.insert <= from && to <= self.last
    }
}

/// A session before it has a place in the calendar; minutes count from the wearer's first day.
struct Draft {
    session: Session,
    duration: Minute,
    ending: &'static str,
}

/// The sessions of one wearer, by insertion; the last begins one to four days before `end_day`, the local
/// day (number since 1970) at whose midnight the study ends.
pub(crate) fn sessions(
    wearer: &Wearer,
    sensors: usize,
    clock: &Clock,
    end_day: i64,
    seed: u64,
) -> Vec<Session> {
    let mut dice = Dice::new(seed, wearer.index, Purpose::Plan, 0);
    let sites = site_order(sensors, &mut dice);
    let mut drafts: Vec<Draft> = Vec::with_capacity(sensors);
    let mut free = 0;
    for (number, site) in sites.into_iter().enumerate() {
        let insert = next_insert(drafts.last(), &mut free, &mut dice);
        drafts.push(draft(number, site, insert, wearer, &mut dice));
    }
    let last_day = drafts.last().map_or(0, |draft| draft.session.insert / DAY);
    let shift = end_day - dice.whole(1, 4) - last_day;
    let study_end = clock.utc(end_day * DAY);
    drafts
        .into_iter()
        .map(|draft| place(draft, shift, study_end, clock))
        .collect()
}

/// Sites in blocks that hold each once, so that every wearer wears every site about as often.
fn site_order(sensors: usize, dice: &mut Dice) -> Vec<&'static Site> {
    let mut order: Vec<&'static Site> = Vec::with_capacity(sensors + SITES.len());
    while order.len() < sensors {
        let mut block: Vec<&'static Site> = SITES.iter().collect();
        dice.shuffle(&mut block);
        if order.last().is_some_and(|last| last.key == block[0].key) {
            block.rotate_left(1);
        }
        order.extend(block);
    }
    order.truncate(sensors);
    order
}

/// When the next sensor goes on: in waking hours, while the last one is still worn (never two such in a row), on
/// the day when the last one ended, or after a break. `free` is when the earlier ones have all ended.
fn next_insert(previous: Option<&Draft>, free: &mut Minute, dice: &mut Dice) -> Minute {
    let Some(previous) = previous else {
        return dice.whole(9 * 60, 20 * 60);
    };
    let (begun, ended) = (
        previous.session.insert,
        previous.session.insert + previous.duration,
    );
    let worn_alone = begun >= *free;
    *free = ended.max(*free);
    if worn_alone && previous.duration > 4 * DAY && dice.chance(0.25) {
        let day = dice.whole(begun / DAY + 1, ended / DAY - 1);
        return day * DAY + dice.whole(9 * 60, 20 * 60);
    }
    let wait = match dice.unit() {
        p if p < 0.5 => 0,
        p if p < 0.8 => dice.whole(1, 4),
        _ => dice.whole(5, 16),
    };
    let earliest = (*free % DAY + 15).max(9 * 60);
    match (wait, earliest < 20 * 60) {
        (0, true) => *free - *free % DAY + dice.whole(earliest, 20 * 60 + 30),
        _ => (*free / DAY + wait.max(1)) * DAY + dice.whole(9 * 60, 20 * 60),
    }
}

fn draft(
    number: usize,
    site: &'static Site,
    insert: Minute,
    wearer: &Wearer,
    dice: &mut Dice,
) -> Draft {
    let model = dice.pick(&MODELS, |model| model.share);
    let tape = dice.pick(&TAPES, |tape| tape.share);
    let (duration, ending) = ending(site, model, tape.hazard * wearer.hazard, dice);
    let session = Session {
        label: format!("s{:02}", number + 1),
        site,
        side: site.sides[dice.whole(0, site.sides.len() as i64 - 1) as usize],
        model,
        lot: format!("{}-{:02}", model.lot_prefix, 3 + number / 5),
        tape,
        insert,
        last: 0,
        cause: None,
        lost: false,
        gain: model.gain * (site.gain + site.gain_sd * dice.normal()),
        first_day_dip: FIRST_DAY_DIP * dice.between(0.4, 1.6),
        artefact_factor: dice.between(0.5, 1.5),
    };
    Draft {
        session,
        duration,
        ending,
    }
}

/// The ending that comes first, in minutes from insertion: all of them compete.
fn ending(site: &Site, model: &Model, hazard: f64, dice: &mut Dice) -> (Minute, &'static str) {
    let detached = DETACH_CAUSES[*dice.pick(&[0, 1, 2], |&cause| site.causes[cause])];
    let rated = model.rated_days as f64 + dice.between(0.0, 0.4);
    let candidates = [
        (site.detach.draw(hazard, dice), detached),
        (site.fault.draw(1.0, dice), "sensor-fault"),
        (site.reaction.draw(1.0, dice), "reaction"),
        (CHOSEN.draw(1.0, dice), "chosen"),
        (LOST.draw(1.0, dice), "lost"),
        (rated, "completed"),
    ];
    let starts = !dice.chance(site.not_started);
    let failed_start = dice.whole(40, 200);
    if !starts {
        return (failed_start, "not-started");
    }
    let first = candidates
        .into_iter()
        .fold((f64::INFINITY, ""), |best, next| {
            if next.0 < best.0 { next } else { best }
        });
    let minutes = (first.0 * DAY as f64) as Minute;
    (minutes.max(90), first.1)
}

fn place(draft: Draft, shift: i64, study_end: Minute, clock: &Clock) -> Session {
    let Draft {
        mut session,
        duration,
        ending,
    } = draft;
    session.insert = clock.utc(session.insert + shift * DAY);
    session.last = clock.settled(session.insert + duration);
    session.lost = ending == "lost" && session.last < study_end;
    if session.last >= study_end {
        session.last = study_end - 1;
    } else if !session.lost {
        session.cause = Some(ending);
    }
    session
}
