//! Acceptance limits against the text of 21 CFR 862.1355 and ISO 15197:2013 (`reg_limits.csv`,
//! `reg_reporting_ranges.csv`, `consensus_ranges.csv`), exact.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{maybe, number, published};
use std::collections::BTreeMap;
use whereworn_stats::agreement::acceptance::{
    AcceptanceLimit, BinnedBy, Closeness, Demand, Range, limit, reporting_range,
};

fn ours(row: &BTreeMap<String, String>) -> Option<&'static AcceptanceLimit> {
    match row["id"].as_str() {
        "iso15197_2013_low" => limit("meters-low"),
        "iso15197_2013_high" => limit("meters-high"),
        id => limit(id.strip_prefix("cgm_special_control_")?),
    }
}

#[test]
fn limits_as_written() {
    let mut seen = 0;
    for row in published("reg_limits") {
        let Some(limit) = ours(&row) else { continue };
        seen += 1;
        assert_eq!(limit.source, row["source_section"], "{row:?}");
        let (low, high) = (
            maybe(&row, "range_low_mg_dl"),
            maybe(&row, "range_high_mg_dl"),
        );
        let range = match (row["range_edges"].as_str(), low, high) {
            ("lt", None, Some(high)) => Range::Below(high),
            ("both inclusive", Some(low), Some(high)) => Range::Between(low, high),
            ("gt", Some(low), None) => Range::Above(low),
            ("ge", Some(low), None) => Range::From(low),
            ("all", None, None) => Range::Whole,
            other => panic!("{other:?}"),
        };
        assert_eq!(limit.range, range, "{row:?}");
        let by = match row["range_variable"].as_str() {
            "sensor reading" => BinnedBy::Reading,
            "reference" => BinnedBy::Fingerstick,
            _ => BinnedBy::Nothing,
        };
        assert_eq!(limit.by, by, "{row:?}");
        let size = number(&row, "limit");
        let share = number(&row, "threshold_pct_or_count") / 100.0;
        let (closeness, demand) = match (row["limit_kind"].as_str(), row["rule"].as_str()) {
            ("abs", "lower one-sided 95% bound of share exceeds") => {
                (Closeness::Within(size), Demand::LowerBoundAbove(share))
            }
            ("rel", "lower one-sided 95% bound of share exceeds") => (
                Closeness::WithinPercent(size),
                Demand::LowerBoundAbove(share),
            ),
            ("abs", "share at least") => (Closeness::Within(size), Demand::ShareAtLeast(share)),
            ("rel", "share at least") => {
                (Closeness::WithinPercent(size), Demand::ShareAtLeast(share))
            }
            (_, "count of pairs with blood above limit equals") => {
                (Closeness::FingerstickNotAbove(size), Demand::All)
            }
            (_, "count of pairs with blood below limit equals") => {
                (Closeness::FingerstickNotBelow(size), Demand::All)
            }
            other => panic!("{other:?}"),
        };
        assert_eq!(
            (limit.closeness, limit.demand),
            (closeness, demand),
            "{row:?}"
        );
    }
    assert_eq!(seen, 11);
}

#[test]
fn ranges_of_labelling() {
    for row in published("reg_reporting_ranges") {
        let low = maybe(&row, "low_mg_dl");
        let high = maybe(&row, "high_mg_dl");
        let (low_in, high_in) = match row["edges"].as_str() {
            "below" | "above" => (false, false),
            "both in" => (true, true),
            // A quoted cell with a comma, of which the plain split leaves the first half.
            "\"low edge in" => (true, false),
            "\"low edge out" => (false, true),
            other => panic!("{other}"),
        };
        let name = row["range"].as_str();
        if let Some(low) = low {
            assert_eq!(reporting_range(low) == name, low_in, "{row:?}");
            assert_eq!(reporting_range(low + 0.01), name, "{row:?}");
        }
        if let Some(high) = high {
            assert_eq!(reporting_range(high) == name, high_in, "{row:?}");
            assert_eq!(reporting_range(high - 0.01), name, "{row:?}");
        }
    }
}

/// The band of the consensus targets is the middle range of the regulation: both ends in.
#[test]
fn the_band_of_the_consensus() {
    let bands = published("consensus_ranges");
    let band = bands.iter().find(|row| row["band"] == "tir").unwrap();
    assert_eq!(band["edges"], "both inclusive");
    let range = Range::Between(number(band, "low_mg_dl"), number(band, "high_mg_dl"));
    assert_eq!(limit("B").unwrap().range, range);
    for (value, inside) in [(69.9, false), (70.0, true), (180.0, true), (180.1, false)] {
        assert_eq!(range.holds(value), inside);
    }
}

/// The bands of the consensus are unions of the ranges of labelling, whole mg/dL by whole mg/dL.
#[test]
fn bands_of_the_consensus() {
    let below = ["lt54", "54_to_lt70"];
    let above = ["gt180_to_250", "gt250"];
    for band in published("consensus_ranges") {
        let ranges: &[&str] = match band["band"].as_str() {
            "tbr_level2" => &below[..1],
            "tbr_level1" => &below[1..],
            "tbr_total_below_70" => &below,
            "tir" => &["70_to_180"],
            "tar_level1" => &above[..1],
            "tar_level2" => &above[1..],
            "tar_total_above_180" => &above,
            other => panic!("{other}"),
        };
        let open = matches!(band["edges"].as_str(), "lt" | "gt");
        for reading in (20..=500).map(f64::from) {
            let low = maybe(&band, "low_mg_dl")
                .is_none_or(|low| reading > low || (reading == low && !open));
            let high = maybe(&band, "high_mg_dl")
                .is_none_or(|high| reading < high || (reading == high && !open));
            assert_eq!(
                ranges.contains(&reporting_range(reading)),
                low && high,
                "{reading} {band:?}"
            );
        }
    }
}

#[test]
fn pairs_at_a_limit() {
    let met = |id, reading, fingerstick| limit(id).unwrap().met(reading, fingerstick);
    assert_eq!(met("A", 69.0, 84.0), Some(true));
    assert_eq!(met("A", 69.0, 84.1), Some(false));
    assert_eq!(met("A", 70.0, 84.0), None);
    assert_eq!(met("B", 115.0, 100.0), Some(true));
    assert_eq!(met("C", 180.0, 180.0), None);
    assert_eq!(met("G", 72.5, 60.0), Some(false));
    assert_eq!(met("H", 60.0, 180.5), Some(false));
    assert_eq!(met("I", 200.0, 70.0), Some(true));
    assert_eq!(met("meters-low", 84.0, 99.0), Some(true));
    assert_eq!(met("meters-high", 115.1, 100.0), Some(false));
    assert_eq!(limit("meters-high").unwrap().share(), 0.95);
    assert_eq!(limit("Z"), None);
}
