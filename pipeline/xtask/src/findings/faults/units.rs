//! Units that are not what they are said to be.

use rand_chacha::ChaCha8Rng;

use super::super::study::{DAY, Rows};
use super::{Expected, Planting, pick};

/// Plants a fault of these kinds; `None` where the study has no place for it.
pub(super) fn plant(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    match planting.fault {
        "unit, a sensor" => unit_of_sensor(planting, rows, dice),
        "unit, fingersticks" => unit_of_fingersticks(planting, rows, dice),
        "unit, mg/dL as mmol/L" => unit_refused(planting, rows, dice),
        _ => None,
    }
}

fn unit_of_sensor(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let one = pick(
        &planting
            .all
            .iter()
            .filter(|one| one.to - one.from > 2 * DAY)
            .cloned()
            .collect::<Vec<_>>(),
        dice,
    )?;
    rows.units.push((
        one.wearer.clone(),
        one.sensor.clone(),
        1.0 / 18.0156,
        "mg/dL",
    ));
    Some(Expected {
        size: Some((18.0, 0.1)),
        ..planting.of(&one)
    })
}

fn unit_of_fingersticks(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let check = pick(&rows.checks, dice)?;
    let meters: Vec<String> = rows
        .checks
        .iter()
        .filter(|c| c.wearer == check.wearer)
        .map(|c| c.meter.clone())
        .collect();
    for meter in meters {
        if !rows
            .units
            .iter()
            .any(|unit| unit.0 == check.wearer && unit.1 == meter)
        {
            rows.units
                .push((check.wearer.clone(), meter, 1.0 / 18.0156, "mg/dL"));
        }
    }
    Some(Expected {
        kind: planting.kind,
        wearer: Some(check.wearer),
        size: Some((18.0, 0.1)),
        ..Expected::default()
    })
}

fn unit_refused(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    let one = pick(
        &planting
            .all
            .iter()
            .filter(|one| one.to - one.from > 2 * DAY)
            .cloned()
            .collect::<Vec<_>>(),
        dice,
    )?;
    rows.units
        .push((one.wearer.clone(), one.sensor.clone(), 1.0, "mmol/L"));
    Some(Expected {
        size: Some((18.0, 0.1)),
        ..planting.of(&one)
    })
}
