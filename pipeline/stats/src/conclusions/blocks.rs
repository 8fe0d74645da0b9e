//! Sensors that are compared with each other: of one wearer and one model, and of neighbouring calendar quarters.

use super::study::Sensor;

/// Sensors that either site has to have before a block closes: with fewer, calendar blocks would cost much of what a small
/// study can tell; with more they would let seasons in.
const FEWEST: usize = 4;

/// Within what sensors are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Within {
    /// Wearer, model and calendar.
    WearerAndModel,
    /// Wearer and calendar: no wearer wore a model at both sites.
    Wearer,
    /// Calendar alone: no wearer wore both sites.
    Nothing,
}

/// One sensor of two sites in a comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Member {
    /// Index of the sensor in the study.
    pub sensor: usize,
    /// Whether it was worn at the first site of the row.
    pub first: bool,
    /// Sensors of one block are compared with each other. Blocks are numbered from 0 without a gap, and members stand in
    /// their order.
    pub block: usize,
    /// What was measured.
    pub score: f64,
    /// Its weight, above 0.
    pub weight: f64,
    /// Pairs or nights behind it.
    pub size: f64,
    /// How often it came off, or its artefacts; 0 in other measures.
    pub seen: f64,
    /// What sensors of both sites together let expect of that.
    pub expected: f64,
    /// The chance that the lot gave the first site, either of both being drawn; `None` where the site was chosen.
    pub chance: Option<f64>,
}

/// The weighted mean of a block's scores.
pub(super) fn level(block: &[Member]) -> f64 {
    let weight: f64 = block.iter().map(|member| member.weight).sum();
    let sum: f64 = block
        .iter()
        .map(|member| member.weight * member.score)
        .sum();
    sum / weight
}

/// Whether a lot drew the site of any of them.
pub(super) fn by_lot(members: &[Member]) -> bool {
    members.iter().any(|member| member.chance.is_some())
}

/// The key by which sensors are put in order.
pub(super) fn stratum(sensor: &Sensor, within: Within) -> (usize, usize) {
    match within {
        Within::WearerAndModel => (sensor.wearer, sensor.model),
        Within::Wearer => (sensor.wearer, 0),
        Within::Nothing => (0, 0),
    }
}

/// Puts members into blocks, and drops those of blocks that hold one site only.
///
/// `members` stand in the order of stratum and insertion. A block is a run of whole calendar quarters of one stratum, and
/// closes where either site has [`FEWEST`] sensors in it; what is left at a stratum's end joins the block before. That
/// depends on when and where sensors were worn alone, never on what they showed.
pub(super) fn in_blocks(sensors: &[Sensor], within: Within, members: &mut Vec<Member>) {
    let mut next = 0;
    let mut from = 0;
    while from < members.len() {
        let of = stratum(&sensors[members[from].sensor], within);
        let length = members[from..]
            .iter()
            .take_while(|member| stratum(&sensors[member.sensor], within) == of)
            .count();
        next = cut(sensors, &mut members[from..from + length], next);
        from += length;
    }
    members.retain(|member| member.block != usize::MAX);
}

/// Numbers the blocks of one stratum from `next`; the number after the last. Those of a stratum with one site get none.
fn cut(sensors: &[Sensor], members: &mut [Member], next: usize) -> usize {
    let mixed = members.iter().any(|m| m.first) && members.iter().any(|m| !m.first);
    if !mixed {
        members.iter_mut().for_each(|m| m.block = usize::MAX);
        return next;
    }
    let mut block = next;
    let mut counts = [0, 0];
    let mut left: [usize; 2] = [0, 1].map(|side| {
        let of_side = members.iter().filter(|m| usize::from(m.first) == side);
        of_side.count()
    });
    let mut last_quarter = i32::MIN;
    for member in members {
        let quarter = sensors[member.sensor].quarter;
        let full = |counts: [usize; 2]| counts.iter().all(|count| *count >= FEWEST);
        if quarter != last_quarter && full(counts) && full(left) {
            block += 1;
            counts = [0, 0];
        }
        last_quarter = quarter;
        member.block = block;
        let side = usize::from(member.first);
        counts[side] += 1;
        left[side] -= 1;
    }
    block + 1
}
