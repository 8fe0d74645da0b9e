//! Sites that cannot be compared for want of a design.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::super::study::Rows;
use super::{Expected, Planting, Worn, between, checks_of, pick};

/// Plants a fault of these kinds; `None` where the study has no place for it.
pub(super) fn plant(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    match planting.fault {
        "site-confounded" => site_confounded(planting, rows, dice),
        "checks-by-alarm" => checks_by_alarm(planting, rows, dice),
        "side-never-tried" => side_never_tried(planting, rows, dice),
        _ => None,
    }
}

fn site_confounded(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let sites = with_sensors(planting.all, 4, None);
    let (site, _) = pick(&sites, dice)?;
    for event in rows
        .events
        .iter_mut()
        .filter(|e| e.event == "insert" && e.site == site)
    {
        event.model = "model Z".into();
    }
    Some(Expected {
        site: Some(site),
        ..planting.expected()
    })
}

fn checks_by_alarm(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let sites: Vec<(String, Vec<Worn>)> = with_sensors(planting.all, 2, None)
        .into_iter()
        .filter(|(_, own)| {
            own.iter()
                .map(|one| checks_of(rows, one, None))
                .sum::<usize>()
                >= 20
        })
        .collect();
    let (site, own) = pick(&sites, dice)?;
    let share = between(dice, 0.65, 0.95);
    for check in &mut rows.checks {
        let worn = own
            .iter()
            .any(|one| check.wearer == one.wearer && (one.from..=one.to).contains(&check.time));
        if worn && dice.random::<f64>() < share {
            check.purpose = ["alarm", "doubt"][dice.random_range(0..2)].into();
        }
    }
    Some(Expected {
        site: Some(site),
        ..planting.expected()
    })
}

fn side_never_tried(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let wearer = pick(planting.all, dice)?.wearer;
    let (site, _) = pick(&with_sensors(planting.all, 3, Some(&wearer)), dice)?;
    for event in rows
        .events
        .iter_mut()
        .filter(|e| e.event == "insert" && e.site == site && e.wearer == wearer)
    {
        event.side = "left".into();
    }
    Some(Expected {
        site: Some(site),
        wearer: Some(wearer),
        ..planting.expected()
    })
}

/// Sites with so many sensors, of one wearer or of all.
fn with_sensors(all: &[Worn], least: usize, wearer: Option<&str>) -> Vec<(String, Vec<Worn>)> {
    let mut sites: Vec<String> = all.iter().map(|one| one.site.clone()).collect();
    sites.sort();
    sites.dedup();
    sites
        .into_iter()
        .map(|site| {
            let own = all
                .iter()
                .filter(|one| one.site == site && wearer.is_none_or(|w| one.wearer == w));
            let own: Vec<Worn> = own.cloned().collect();
            (site, own)
        })
        .filter(|(_, own)| own.len() >= least)
        .collect()
}
