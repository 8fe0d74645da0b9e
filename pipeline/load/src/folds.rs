//! Local times that occurred twice, settled by the order of rows in the file.

use whereworn_model::time::Micros;

/// Whose rows keep their order: a count of rising and falling steps, and the last instant.
#[derive(Clone, Copy, Default)]
struct Order {
    rising: i64,
    last: Option<Micros>,
}

/// For each row of `folds` (row and later instant; `time` holds the earlier), takes the first instant after
/// its owner's row before it in the file, else the earlier. A file that lists the newest first is read backwards.
///
/// `owner` numbers, per row, whose order it is: a sensor's.
pub(crate) fn settle_folds(owner: &[u32], time: &mut [Micros], folds: &[(usize, Micros)]) {
    if folds.is_empty() {
        return;
    }
    let owners = owner.iter().max().map_or(0, |most| *most as usize + 1);
    let mut orders = vec![Order::default(); owners];
    let twice: std::collections::HashMap<usize, Micros> = folds.iter().copied().collect();
    for (row, who) in owner
        .iter()
        .enumerate()
        .filter(|(row, _)| !twice.contains_key(row))
    {
        let order = &mut orders[*who as usize];
        if let Some(last) = order.last {
            order.rising += (time[row] - last).signum();
        }
        order.last = Some(time[row]);
    }
    let newest_first: Vec<bool> = orders.iter().map(|order| order.rising < 0).collect();
    let mut settle = |rows: &mut dyn Iterator<Item = usize>, backwards: bool| {
        let mut last: Vec<Option<Micros>> = vec![None; owners];
        for row in rows {
            let who = owner[row] as usize;
            if newest_first[who] != backwards {
                continue;
            }
            if let (Some(later), Some(before)) = (twice.get(&row), last[who])
                && time[row] <= before
                && *later > before
            {
                time[row] = *later;
            }
            last[who] = Some(time[row]);
        }
    };
    settle(&mut (0..owner.len()), false);
    settle(&mut (0..owner.len()).rev(), true);
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: i64 = 3600;

    /// Rows at 00:30, 01:00, 01:30, 01:00, 01:30, 02:00 of a local clock that is put back at 02:00 to 01:00:
    /// worked by hand.
    #[test]
    fn a_fold_in_order_and_backwards() {
        let local = [1800, 3600, 5400, 3600, 5400, 7200 + HOUR];
        let folds: Vec<(usize, i64)> = (1..5).map(|row| (row, local[row] + HOUR)).collect();
        let expected = [1800, 3600, 5400, 7200, 9000, 10800];

        let mut time = local;
        settle_folds(&[0; 6], &mut time, &folds);
        assert_eq!(time, expected);

        let mut time = local;
        time.reverse();
        settle_folds(
            &[0; 6],
            &mut time,
            &folds.iter().map(|(r, t)| (5 - r, *t)).collect::<Vec<_>>(),
        );
        let mut backwards = expected;
        backwards.reverse();
        assert_eq!(time, backwards);
    }

    #[test]
    fn another_sensors_rows_do_not_matter() {
        let mut time = [3600, 9000, 5400];
        settle_folds(&[0, 1, 0], &mut time, &[(2, 9000)]);
        assert_eq!(time, [3600, 9000, 5400]);
    }
}
