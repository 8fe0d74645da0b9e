//! Bounds over what became of lost sensors, by hand.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::survival::lost::lost_bounds;

/// Five sensors: one came off at 2, one was lost at 5, one failed at 6, two lasted to 14. All lost off: 2 of 5; none: 1 of 5.
#[test]
fn bounds_by_hand() {
    let times = [2.0, 5.0, 6.0, 14.0, 14.0];
    let causes = [Some(0), None, Some(1), None, None];
    let bounds = lost_bounds(&times, &causes, &[false, true, false, false, false], 14.0).unwrap();
    close(bounds.lower, 0.2, 1e-12, "lower");
    close(bounds.upper, 0.4, 1e-12, "upper");
    // Before anyone was lost there is nothing to bound.
    let early = lost_bounds(&times, &causes, &[false, true, false, false, false], 4.0).unwrap();
    assert_eq!((early.lower, early.upper), (0.2, 0.2));
    // A known ending is not lost, whatever the flag says.
    let known = lost_bounds(&times, &causes, &[true, false, true, false, false], 14.0).unwrap();
    close(known.lower, known.upper, 1e-12, "nobody lost");
}

#[test]
fn all_lost_and_nobody() {
    let all = lost_bounds(&[3.0, 4.0], &[None, None], &[true, true], 14.0).unwrap();
    assert_eq!((all.lower, all.upper), (0.0, 1.0));
    assert_eq!(lost_bounds(&[], &[], &[], 14.0), None);
}
