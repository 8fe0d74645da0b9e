//! What sensors without a trouble leave room for. Hanley and Lippman-Hand 1983 JAMA 249:1743 print, as recalled, maximum risks for
//! none of n at 95 %: about 26 % of 10, 14 % of 20, 3 / n from 30 on. Digits: a calculator.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::close;
use whereworn_stats::rates::proportion::clopper_pearson;
use whereworn_stats::rates::unseen::{one_in_unseen, share_unseen};

#[test]
fn share_that_none_of_n_leaves_room_for() {
    close(share_unseen(10), 0.258_865_6, 1e-6, "ten");
    close(share_unseen(20), 0.139_108_3, 1e-6, "twenty");
    close(share_unseen(1), 0.95, 1e-12, "one");
    assert_eq!(share_unseen(0), 1.0);
    for n in 1..60_u64 {
        // The two-sided interval at 90 % has the one-sided bound at 95 % above.
        let exact = clopper_pearson(0, n, 0.9).unwrap().upper;
        close(share_unseen(n as usize), exact, 1e-9, "Clopper and Pearson");
    }
    close(share_unseen(300), 0.01, 1e-4, "rule of three");
}

/// Were the trouble in one sensor of N - 1, n sensors without it would come up in fewer than 5 % of studies, or just so many; in
/// any fewer than one of N, in more.
#[test]
fn the_sentence_says_no_more_than_is_so() {
    for (sensors, one_in) in [(1, 2), (2, 2), (5, 3), (10, 4), (20, 8), (60, 21)] {
        assert_eq!(one_in_unseen(sensors), Some(one_in), "{sensors}");
    }
    assert_eq!(one_in_unseen(0), None);
    for sensors in 1..200_usize {
        let one_in = one_in_unseen(sensors).unwrap() as f64;
        let none = |one_in: f64| (1.0 - 1.0 / one_in).powi(sensors as i32);
        assert!(none(one_in) >= 0.05, "{sensors}");
        assert!(none(one_in - 1.0) < 0.05, "{sensors}");
    }
}
