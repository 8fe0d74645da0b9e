//! Units that are not what they are said to be.

use rand_chacha::ChaCha8Rng;

use super::super::study::Rows;
use super::{Expected, Planting, pick};

/// From mg/dL to mmol/L.
const TO_MMOL: f64 = 1.0 / 18.0156;

/// Plants a fault of these kinds; `None` where the study has no place for it.
pub(super) fn plant(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
) -> Option<Expected> {
    match planting.fault {
        "unit, a sensor" => unit_of_sensor(planting, rows, dice, (TO_MMOL, "mg/dL")),
        "unit, fingersticks" => unit_of_fingersticks(planting, rows, dice),
        "unit, mg/dL as mmol/L" => unit_of_sensor(planting, rows, dice, (1.0, "mmol/L")),
        _ => None,
    }
}

/// Readings of a sensor by this factor, under that unit.
fn unit_of_sensor(
    planting: &Planting<'_>,
    rows: &mut Rows,
    dice: &mut ChaCha8Rng,
    (factor, unit): (f64, &'static str),
) -> Option<Expected> {
    let one = planting.longer(2, dice)?;
    rows.units
        .push((one.wearer.clone(), one.sensor.clone(), factor, unit));
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
        .map(|c| c.meter.to_string())
        .collect();
    for meter in meters {
        if !rows
            .units
            .iter()
            .any(|unit| check.wearer == unit.0 && unit.1 == meter)
        {
            rows.units
                .push((check.wearer.to_string(), meter, TO_MMOL, "mg/dL"));
        }
    }
    Some(Expected {
        wearer: Some(check.wearer.to_string()),
        size: Some((18.0, 0.1)),
        ..planting.expected()
    })
}
