//! Zones of 70 points on which three independent routines agree, given corners from memory
//! (`grid_consensus_type1_points.csv`), and the corners themselves (`grid_consensus_type1_vertices.csv`).

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{number, published};
use whereworn_stats::agreement::error_grid::{Zone, consensus_zone};

fn zone_named(name: &str) -> Zone {
    [Zone::A, Zone::B, Zone::C, Zone::D, Zone::E]
        [name.bytes().next().unwrap() as usize - b'A' as usize]
}

#[test]
fn points_with_known_zones() {
    for row in published("grid_consensus_type1_points") {
        let zone = consensus_zone(
            number(&row, "measured_mg_dl"),
            number(&row, "reference_mg_dl"),
        );
        assert_eq!(zone, zone_named(&row["expected_zone"]), "{row:?}");
    }
}

/// A corner belongs to the better zone; a hair further out is the zone that the border opens.
#[test]
fn corners_take_the_better_zone() {
    for row in published("grid_consensus_type1_vertices") {
        let (x, y) = (
            number(&row, "reference_mg_dl"),
            number(&row, "measured_mg_dl"),
        );
        let entered = zone_named(&row["zone_entered_beyond_line"]);
        assert!(consensus_zone(y, x) < entered, "{row:?}");
        let beyond = match row["side"].as_str() {
            "upper" => consensus_zone(y + 0.01, x),
            _ => consensus_zone(y - 0.01, x + 0.01),
        };
        assert_eq!(beyond, entered, "{row:?}");
    }
}

/// By hand: beyond 550 the A/B border goes on at slope 17/15 above and 10/11 below.
#[test]
fn the_last_segment_goes_straight_on() {
    let above = 550.0 + 170.0 / 150.0 * 300.0;
    assert_eq!(consensus_zone(above - 0.1, 730.0), Zone::A);
    assert_eq!(consensus_zone(above + 0.1, 730.0), Zone::B);
    let below = 450.0 + 150.0 / 165.0 * 330.0;
    assert_eq!(consensus_zone(below + 0.1, 880.0), Zone::A);
    assert_eq!(consensus_zone(below - 0.1, 880.0), Zone::B);
}

#[test]
fn a_reading_equal_to_the_fingerstick_is_in_a() {
    for glucose in [1.0, 40.0, 100.0, 250.0, 549.0, 1500.0] {
        assert_eq!(consensus_zone(glucose, glucose), Zone::A);
    }
}
