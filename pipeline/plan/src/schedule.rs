//! The next sensors, one after the other.

use crate::gain::Tilt;
use crate::history::{Day, History, Side, Spot, Worn};
use crate::limits::{Limit, Opening, Rules, opening, spots};
use crate::lot;

/// Days that a draw holds: it belongs to the next insertion at its spot within them.
pub const DRAW_DAYS: Day = 30;

/// Days ahead for which sites are drawn: a sensor that falls due by then leaves a week for going in, before its draw runs out.
pub const DRAWN_AHEAD: Day = DRAW_DAYS - 7;

/// A draw that was made before and has not been worn yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Pending {
    /// Its number among the wearer's draws.
    pub number: usize,
    /// Where the sensor goes.
    pub spot: Spot,
    /// The day on which it was drawn: a sensor that went in before does not belong to it.
    pub drawn: Day,
    /// The last day on which it holds.
    pub latest: Day,
    /// How it was drawn.
    pub draw: Draw,
}

/// How a site was drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Draw {
    /// The block within wearer and model, from 1.
    pub block: usize,
    /// The sites that were open.
    pub allowed: Vec<usize>,
    /// The probability of the site that was drawn.
    pub probability: f64,
    /// The probability of each site that was open, in the same order.
    pub chances: Vec<f64>,
}

/// What a schedule is made from.
#[derive(Clone, Debug)]
pub struct Request<'r> {
    /// The wearer's log.
    pub history: &'r History,
    /// The limits.
    pub rules: &'r Rules,
    /// What the draws are for.
    pub tilt: &'r Tilt,
    /// Draws not worn yet, in the order of their numbers.
    pub pending: &'r [Pending],
    /// Sites drawn so far within this wearer and model, in order, the pending ones included.
    pub drawn: &'r [usize],
    /// The number of the next new draw.
    pub next_number: usize,
    /// How many sensors to schedule.
    pub sensors: usize,
    /// Names the draws, with their numbers: the study's seed, the wearer.
    pub seed: &'r str,
}

/// A sensor of a schedule.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// Its number among the wearer's draws.
    pub number: usize,
    /// Where it goes.
    pub spot: Spot,
    /// The first day on which it may be inserted.
    pub earliest: Day,
    /// The last day, where it was drawn before.
    pub latest: Option<Day>,
    /// How it was drawn.
    pub draw: Draw,
    /// Whether the draw counts, and is kept: those that fall due within [`DRAWN_AHEAD`] days. Later ones are only foreseen.
    pub drawn: bool,
    /// Whether it falls due so soon and is only foreseen, since a draw before it holds its spot: the next insertion there
    /// belongs to that one.
    pub waits: bool,
}

/// A draw that cannot be worn any more, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Dropped {
    /// The draw.
    pub pending: Pending,
    /// What stands in the way; `None` where it runs out before the next sensor is due.
    pub limit: Option<Limit>,
}

/// The next sensors of a wearer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Schedule {
    /// In order.
    pub sensors: Vec<Planned>,
    /// Earlier draws that were given up.
    pub dropped: Vec<Dropped>,
    /// What keeps a spot closed that no rest opens.
    pub closed: Vec<(Spot, Limit)>,
    /// Whether it has fewer sensors than asked for.
    pub is_short: bool,
}

/// Schedules the next sensors: earlier draws first, then new ones, each from the day on which the one before has reached
/// its rated wear and some spot is open.
#[must_use]
pub fn schedule(request: &Request<'_>) -> Schedule {
    let mut state = State {
        history: request.history.clone(),
        drawn: request.drawn.to_vec(),
        due: request.history.free_from().unwrap_or(request.rules.today),
        schedule: Schedule::default(),
    };
    for pending in request.pending.iter().take(request.sensors) {
        state.place_pending(request, pending);
    }
    let mut number = request.next_number;
    while state.schedule.sensors.len() < request.sensors {
        if !state.place_new(request, number) {
            state.schedule.is_short = true;
            break;
        }
        number += 1;
    }
    state.schedule
}

struct State {
    history: History,
    drawn: Vec<usize>,
    due: Day,
    schedule: Schedule,
}

impl State {
    fn place_pending(&mut self, request: &Request<'_>, pending: &Pending) {
        let limit = match opening(&self.history, request.rules, pending.spot) {
            Opening::From(day, _) if day.max(self.due) <= pending.latest => {
                let earliest = day.max(self.due).max(pending.drawn);
                self.place(
                    request,
                    Planned {
                        number: pending.number,
                        spot: pending.spot,
                        earliest,
                        latest: Some(pending.latest),
                        draw: pending.draw.clone(),
                        drawn: true,
                        waits: false,
                    },
                );
                return;
            }
            Opening::From(_, limit) => limit,
            Opening::Closed(limit) => Some(limit),
        };
        self.schedule.dropped.push(Dropped {
            pending: pending.clone(),
            limit,
        });
    }

    /// Draws one more sensor; `false` where no spot will open.
    fn place_new(&mut self, request: &Request<'_>, number: usize) -> bool {
        let mut open = Vec::new();
        self.schedule.closed.clear();
        for spot in spots(request.rules) {
            match opening(&self.history, request.rules, spot) {
                Opening::From(day, _) => open.push((spot, day)),
                Opening::Closed(limit) => self.schedule.closed.push((spot, limit)),
            }
        }
        let Some(first) = open.iter().map(|(_, day)| *day).min() else {
            return false;
        };
        let due = first.max(self.due);
        let due_soon = due <= request.rules.today + DRAWN_AHEAD;
        open.retain(|(_, day)| *day <= due);
        let (site, draw) = self.draw_site(request, &open, number);
        let spot = self.rested_longest(request, &open, site, number);
        let kept_at_spot = |planned: &Planned| planned.drawn && planned.spot == spot;
        let waits = due_soon && self.schedule.sensors.iter().any(kept_at_spot);
        self.drawn.push(site);
        self.place(
            request,
            Planned {
                number,
                spot,
                earliest: due,
                latest: None,
                draw,
                drawn: due_soon && !waits,
                waits,
            },
        );
        true
    }

    fn draw_site(
        &self,
        request: &Request<'_>,
        open: &[(Spot, Day)],
        number: usize,
    ) -> (usize, Draw) {
        let mut allowed: Vec<usize> = open.iter().map(|(spot, _)| spot.site).collect();
        allowed.sort_unstable();
        allowed.dedup();
        let last = allowed.last().copied().unwrap_or(0);
        let mut sensors = vec![0.0; last + 1];
        for worn in &self.history.worn {
            if let Some(count) = sensors.get_mut(worn.site) {
                *count += 1.0;
            }
        }
        let block = self.drawn.len() / lot::BLOCK;
        let in_block = &self.drawn[block * lot::BLOCK..];
        let drawn: Vec<usize> = allowed
            .iter()
            .map(|site| in_block.iter().filter(|drawn| *drawn == site).count())
            .collect();
        let weights = request.tilt.weights(&allowed, &sensors);
        let probabilities = lot::probabilities(&weights, &drawn);
        let place = lot::draw(&probabilities, &[request.seed, &number.to_string(), "site"]);
        let draw = Draw {
            block: block + 1,
            probability: probabilities[place],
            chances: probabilities,
            allowed,
        };
        (draw.allowed[place], draw)
    }

    /// The open spot of a site that was left alone the longest; by lot where both were as long.
    fn rested_longest(
        &self,
        request: &Request<'_>,
        open: &[(Spot, Day)],
        site: usize,
        number: usize,
    ) -> Spot {
        let last_end = |spot: Spot| self.history.worn_at(spot).map(|worn| worn.until).max();
        let own = open
            .iter()
            .map(|(spot, _)| *spot)
            .filter(|spot| spot.site == site);
        let rested: Vec<(Spot, Option<Day>)> = own.map(|spot| (spot, last_end(spot))).collect();
        let longest = rested.iter().map(|(_, end)| *end).min().flatten();
        let tied: Vec<Spot> = rested
            .iter()
            .filter(|(_, end)| *end == longest)
            .map(|(spot, _)| *spot)
            .collect();
        let alike = vec![1.0 / tied.len() as f64; tied.len()];
        let place = lot::draw(&alike, &[request.seed, &number.to_string(), "side"]);
        tied.get(place).copied().unwrap_or(Spot {
            site,
            side: Side::Left,
        })
    }

    fn place(&mut self, request: &Request<'_>, planned: Planned) {
        let until = planned.earliest + request.rules.rated_days;
        self.history.worn.push(Worn {
            site: planned.spot.site,
            side: Some(planned.spot.side),
            from: planned.earliest,
            until,
            on: false,
        });
        self.due = until;
        self.schedule.sensors.push(planned);
    }
}
