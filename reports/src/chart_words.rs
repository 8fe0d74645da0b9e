//! Words of the charts.

use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ChartText {
    pub alt: String,
    pub day_month: String,
    pub panel_count: String,
    pub more_rows: String,
    pub thinned: String,
    pub curves: CurvesText,
    pub intervals: IntervalsText,
    pub points: PointsText,
    pub bars: BarsText,
    pub spans: SpansText,
    pub traces: TracesText,
    pub last_day: LastDayText,
    pub strip: StripText,
    pub body: BodyText,
    pub side_by_side: SideBySideText,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct CurvesText {
    pub caption: String,
    pub caption_lines: String,
    pub caption_ghosts: String,
    pub caption_band: String,
    pub caption_at_risk: String,
    pub at_risk: String,
    pub finding: String,
    pub item: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct IntervalsText {
    pub caption: String,
    pub caption_zero: String,
    pub finding: String,
    pub item: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PointsText {
    pub caption: String,
    pub caption_limits: String,
    pub caption_interval: String,
    pub bias: String,
    pub limits: String,
    pub finding: String,
    pub item: String,
    pub item_bias: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BarsText {
    pub caption: String,
    pub finding: String,
    pub item: String,
    pub item_series: String,
}

/// Words of the figure.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BodyText {
    pub title: String,
    pub front: String,
    pub back: String,
    pub off_label: String,
    pub few: String,
    pub caption: String,
    pub caption_elsewhere: String,
    pub finding: String,
    pub item: String,
}

/// Words of this chart.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct LastDayText {
    pub caption: String,
    pub caption_points: String,
    pub caption_errors: String,
    pub end: String,
    pub finding: String,
}

/// Words of this kind of chart.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SpansText {
    pub caption: String,
    /// Of a table that does not say how spans ended.
    pub caption_rows: String,
    pub caption_month: String,
    pub finding: String,
    pub item: String,
    pub ended: String,
    pub legend_bar: String,
    pub legend_cross: String,
    pub legend_ring: String,
    pub legend_zigzag: String,
    pub legend_arrow: String,
}

/// Words of this kind of chart.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct StripText {
    pub caption: String,
    pub caption_midnight: String,
    pub hours: String,
    /// Of a query of the study's own, which may have counted hours by any clock.
    pub own_hours: String,
    pub none: String,
    pub few: String,
    pub unknown: String,
    pub to: String,
    pub above: String,
    pub finding: String,
    pub item: String,
    pub item_none: String,
}

/// Words of this kind of chart.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TracesText {
    pub caption: String,
    pub finding: String,
    pub item: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SideBySideText {
    pub caption: String,
    pub caption_beyond: String,
    pub caption_few: String,
    pub caption_people: String,
    /// In a study of one person.
    pub caption_sensors: String,
    pub finding: String,
}
