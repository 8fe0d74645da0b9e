//! Which fingersticks would teach most.
//!
//! Nothing here asks for a low or for glucose that changes fast: those cells are left out, however thin they are, and so
//! are nights. What is asked for is what the wearer's usual day brings anyway.

use whereworn_stats::distributions::normal_quantile;

/// Half the width that the 95 % interval of a mean relative difference is to reach, percent: a choice; no source.
pub const HALF_WIDTH: f64 = 5.0;

/// Most fingersticks asked for in one cell: more than these are not taken in the days of a sensor.
pub const MOST: usize = 12;

/// Most cells shown.
const CELLS: usize = 6;

/// Hours of a stretch of the day.
const STRETCH: usize = 3;

/// The least share of a stretch's readings that lie in a cell for it to count as usual.
const USUAL: f64 = 0.05;

/// Where the glucose is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Range {
    /// Below 70 mg/dL; never asked for.
    Low,
    /// 70 to 180 mg/dL.
    Target,
    /// Above 180 mg/dL.
    High,
}

/// How fast it changes, either way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rate {
    /// At most 1 mg/dL a minute.
    Steady,
    /// 1 to 2 mg/dL a minute.
    Moving,
    /// Faster; never asked for.
    Fast,
}

/// How long the sensor has been worn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Age {
    /// Less than a day.
    FirstDay,
    /// Longer.
    Later,
}

/// Where pairs may be thin.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    /// The site.
    pub site: usize,
    /// Where the glucose is.
    pub range: Range,
    /// How fast it changes.
    pub rate: Rate,
    /// How long the sensor has been worn.
    pub age: Age,
    /// Whether at night.
    pub night: bool,
}

/// What is known of a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pairs {
    /// Which.
    pub cell: Cell,
    /// Pairs so far.
    pub pairs: usize,
    /// Sum and sum of squares of their relative differences, percent.
    pub sum: f64,
    /// See `sum`.
    pub squares: f64,
}

/// Readings of the wearer's last weeks in one hour of the day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsualHour {
    /// 0 to 23.
    pub hour: usize,
    /// Where the glucose was.
    pub range: Range,
    /// How fast it changed.
    pub rate: Rate,
    /// How many.
    pub readings: f64,
}

/// Fingersticks that would teach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// Where.
    pub cell: Cell,
    /// Pairs so far.
    pub pairs: usize,
    /// How many more bring the interval to [`HALF_WIDTH`], at most [`MOST`].
    pub count: usize,
    /// From and to which hour of the usual day they fall.
    pub hours: [usize; 2],
    /// The share of that stretch's readings that lie there.
    pub share: f64,
}

/// The thinnest cells of some sites, those that the usual day brings most often first.
///
/// A cell takes n pairs for an interval of mean ± h: n = (1.96 s / h)², s the standard deviation of single relative
/// differences within cells, pooled over all. `awake` are the first and last hour in which a fingerstick is no burden.
/// Empty where fewer than three pairs tell no spread.
#[must_use]
pub fn asked(
    sites: &[usize],
    known: &[Pairs],
    usual: &[UsualHour],
    awake: [usize; 2],
) -> Vec<Asked> {
    let Some(sd) = spread(known) else {
        return Vec::new();
    };
    let needed = (normal_quantile(0.975) * sd / HALF_WIDTH).powi(2).ceil() as usize;
    let mut asked: Vec<Asked> = cells(sites)
        .filter_map(|cell| {
            let pairs = known
                .iter()
                .find(|pairs| pairs.cell == cell)
                .map_or(0, |p| p.pairs);
            let count = needed.saturating_sub(pairs).min(MOST);
            let (hours, share) = stretch(cell, usual, awake)?;
            (count > 0).then_some(Asked {
                cell,
                pairs,
                count,
                hours,
                share,
            })
        })
        .collect();
    asked.sort_by(|a, b| {
        let worth = |asked: &Asked| asked.count as f64 * asked.share;
        worth(b).total_cmp(&worth(a)).then(a.cell.cmp(&b.cell))
    });
    asked.truncate(CELLS);
    asked
}

/// The cells that may be asked for.
fn cells(sites: &[usize]) -> impl Iterator<Item = Cell> + '_ {
    let of = |site: usize| {
        [Range::Target, Range::High]
            .into_iter()
            .flat_map(move |range| {
                [Rate::Steady, Rate::Moving]
                    .into_iter()
                    .flat_map(move |rate| {
                        [Age::FirstDay, Age::Later]
                            .into_iter()
                            .map(move |age| Cell {
                                site,
                                range,
                                rate,
                                age,
                                night: false,
                            })
                    })
            })
    };
    sites.iter().flat_map(move |&site| of(site))
}

fn spread(known: &[Pairs]) -> Option<f64> {
    let several = || known.iter().filter(|pairs| pairs.pairs > 1);
    let df: f64 = several().map(|pairs| pairs.pairs as f64 - 1.0).sum();
    let squares: f64 = several()
        .map(|pairs| pairs.squares - pairs.sum * pairs.sum / pairs.pairs as f64)
        .sum();
    (df >= 2.0 && squares > 0.0).then(|| (squares / df).sqrt())
}

/// The waking stretch of the day in which readings lie in the cell most often; `None` where they hardly ever do.
fn stretch(cell: Cell, usual: &[UsualHour], awake: [usize; 2]) -> Option<([usize; 2], f64)> {
    let [from, to] = awake;
    let share = |start: usize| {
        let within = usual
            .iter()
            .filter(|u| (start..start + STRETCH).contains(&u.hour));
        let (mut own, mut all) = (0.0, 0.0);
        for hour in within {
            all += hour.readings;
            if hour.range == cell.range && hour.rate == cell.rate {
                own += hour.readings;
            }
        }
        if all > 0.0 { own / all } else { 0.0 }
    };
    let starts = from..=to.checked_sub(STRETCH)?;
    let best = starts
        .map(|start| (start, share(start)))
        .reduce(|best, next| if next.1 > best.1 { next } else { best })?;
    (best.1 >= USUAL).then_some(([best.0, best.0 + STRETCH], best.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(range: Range, rate: Rate, age: Age) -> Cell {
        Cell {
            site: 0,
            range,
            rate,
            age,
            night: false,
        }
    }

    /// A spread of 10 %: pairs of +10 and -10.
    fn pairs(cell: Cell, count: usize) -> Pairs {
        Pairs {
            cell,
            pairs: count,
            sum: 0.0,
            squares: 100.0 * (count as f64 - 1.0),
        }
    }

    fn day() -> Vec<UsualHour> {
        let mut day = Vec::new();
        for hour in 0..24 {
            for (range, rate, readings) in [
                (Range::Target, Rate::Steady, 8.0),
                (
                    Range::Target,
                    Rate::Moving,
                    if hour == 13 { 6.0 } else { 0.0 },
                ),
                (Range::Low, Rate::Steady, 50.0),
                (Range::High, Rate::Fast, 50.0),
            ] {
                day.push(UsualHour {
                    hour,
                    range,
                    rate,
                    readings,
                });
            }
        }
        day
    }

    /// By hand: (1.959964 × 10 / 5)² = 15.4, so 16 pairs; with 12 known 4 more, with none 12 at most.
    #[test]
    fn thin_cells_get_what_brings_their_interval_to_its_width() {
        let known = [pairs(cell(Range::Target, Rate::Steady, Age::Later), 12)];
        let asked = asked(&[0], &known, &day(), [7, 22]);
        let count = |age| {
            asked
                .iter()
                .find(|a| a.cell == cell(Range::Target, Rate::Steady, age))
                .unwrap()
                .count
        };
        assert_eq!((count(Age::Later), count(Age::FirstDay)), (4, 12));
    }

    #[test]
    fn hours_are_those_of_the_usual_day() {
        let known = [pairs(cell(Range::Target, Rate::Steady, Age::Later), 100)];
        let mut day = day();
        day.iter_mut()
            .filter(|u| u.range == Range::Low)
            .for_each(|u| u.readings = 0.0);
        day.iter_mut()
            .filter(|u| u.rate == Rate::Fast)
            .for_each(|u| u.readings = 0.0);
        let asked = asked(&[0], &known, &day, [7, 22]);
        let moving = asked.iter().find(|a| a.cell.rate == Rate::Moving).unwrap();
        assert_eq!(
            moving.hours,
            [11, 14],
            "the first stretch that holds hour 13"
        );
        assert!((moving.share - 6.0 / 30.0).abs() < 1e-12);
    }

    /// Lows and fast changes fill most of this day and have no pair at all: they are not asked for.
    #[test]
    fn a_low_or_a_fast_change_is_never_asked_for() {
        let known = [pairs(cell(Range::Target, Rate::Steady, Age::Later), 5)];
        let asked = asked(&[0, 1], &known, &day(), [0, 24]);
        assert!(!asked.is_empty());
        for a in &asked {
            assert!(
                a.cell.range != Range::Low && a.cell.rate != Rate::Fast && !a.cell.night,
                "{a:?}"
            );
        }
    }

    #[test]
    fn without_a_spread_nothing_is_asked() {
        assert!(asked(&[0], &[], &day(), [7, 22]).is_empty());
    }
}
