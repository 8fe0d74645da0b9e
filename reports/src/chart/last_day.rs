//! The last day of one sensor: readings up to its end, fingersticks, and readings marked as errors at the foot.

use whereworn_model::tables::fault_traces::column as trace;

use super::axis::{Scale, covering, tick_texts};
use super::canvas::{Canvas, Drawn, QUIET, SMALL, Stroke, paint};
use super::lettering::{shorten, width as text_width};
use super::shared::Chart;
use super::time_axis;
use super::trace::{Run, broken, thin};
use super::traces;
use crate::catalogue::fill;
use crate::context::Context;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{ACCENT, GHOST, INK, MUTED, RULE, group};
use crate::view::View;

/// Longest time before the end that is drawn, microseconds: a day.
const DAY: f64 = 86_400e6;

/// Time drawn after the end, as a share of that before it.
const AFTER: f64 = 0.03;

const LEFT: f64 = 34.0;
const TOP: f64 = 34.0;
const PLOT: f64 = 112.0;

/// The last day of one sensor.
pub(crate) struct LastDay<'a> {
    context: &'a Context<'a>,
    runs: Vec<Run>,
    points: Run,
    /// Instants of readings that the device marked as errors.
    errors: Vec<f64>,
    x: Scale,
    y: Scale,
    end: f64,
    low: f64,
    mark: usize,
    y_label: String,
    finding: String,
    caption: String,
}

impl<'a> LastDay<'a> {
    /// The picture of a sensor that ended at `end`, from its rows of `fault_traces`; `None` where nothing was read.
    pub fn of(view: &'a View<'a>, rows: &[usize], end: f64) -> Option<Self> {
        let context = view.context;
        let values = |name: &str| -> Run {
            let rows = rows.iter();
            rows.filter_map(|&row| {
                Some((at(view, row)?, view.value_like(row, name, trace::READING)?))
            })
            .collect()
        };
        let (readings, points) = (values(trace::READING), values(trace::FINGERSTICK));
        let errors: Vec<f64> = rows
            .iter()
            .filter(|&&row| view.table.number(row, trace::ERROR) == Some(1.0))
            .filter_map(|&row| at(view, row))
            .collect();
        let times = readings.iter().chain(&points).map(|(at, _)| *at);
        let start = times.chain(errors.iter().copied()).fold(end, f64::min);
        if start >= end {
            return None;
        }
        let low = context.unit.from_mgdl(traces::LOW_MGDL);
        let around_low = [low * 0.7, low * 2.0];
        let values = readings.iter().chain(&points).map(|(_, value)| *value);
        let site = view.table.text(*rows.first()?, trace::SITE);
        let start = start.max(end - DAY);
        let mut chart = Self {
            x: Scale {
                low: start,
                high: end + (end - start) * AFTER,
                from: 0.0,
                to: 1.0,
                whole: false,
            },
            y: covering(values.chain(around_low)),
            runs: broken(&readings).into_iter().map(thin).collect(),
            points,
            errors,
            end,
            low,
            mark: context.site_mark(site),
            y_label: view.heading(trace::READING),
            finding: String::new(),
            caption: String::new(),
            context,
        };
        chart.finding = chart.said(readings.len());
        chart.caption = chart.explained();
        Some(chart)
    }

    fn said(&self, readings: usize) -> String {
        let text = &self.context.text.chart.last_day;
        let values = [
            ("readings", &*readings.to_string()),
            ("points", &*self.points.len().to_string()),
            ("errors", &*self.errors.len().to_string()),
        ];
        fill(&text.finding, &values)
    }

    fn explained(&self) -> String {
        let text = &self.context.text.chart.last_day;
        let zone = [("zone", self.context.zone_name())];
        let mut parts = vec![fill(&text.caption, &zone)];
        if !self.points.is_empty() {
            parts.push(text.caption_points.clone());
        }
        if !self.errors.is_empty() {
            parts.push(text.caption_errors.clone());
        }
        parts.join(" ")
    }

    /// Levels, the line of lows, clock times, and the end.
    fn frame(&self, canvas: &Canvas, x: &Scale, y: &Scale) -> Drawn {
        let levels = y.ticks(4);
        for (level, text) in levels.iter().zip(tick_texts(&levels)) {
            let at = y.map(*level);
            canvas.line(&[(x.from, at), (x.to, at)], Stroke::new(RULE, 0.75))?;
            canvas.number((x.from - 5.0, at), &text, QUIET.end())?;
        }
        let low = y.map(self.low);
        canvas.line(&[(x.from, low), (x.to, low)], Stroke::dashed(MUTED, 1.0))?;
        for tick in time_axis::clock_ticks(self.context, x) {
            let foot = [(tick.at, y.from), (tick.at, y.from + 3.0)];
            canvas.line(&foot, Stroke::new(GHOST, 1.0))?;
            let half = text_width(&tick.text, SMALL) / 2.0;
            if tick.at + half < x.to + 6.0 {
                canvas.text((tick.at, y.from + 11.0), &tick.text, QUIET.middle())?;
            }
        }
        canvas.line(&[(x.from, y.from), (x.to, y.from)], Stroke::new(INK, 1.0))?;
        let end = x.map(self.end);
        canvas.line(
            &[(end, y.to - 4.0), (end, y.from)],
            Stroke::new(ACCENT, 2.0),
        )?;
        let word = &self.context.text.chart.last_day.end;
        canvas.text((x.to, y.to - 12.0), word, QUIET.end())
    }

    fn marks(&self, canvas: &Canvas, x: &Scale, y: &Scale) -> Drawn {
        let place = |(at, value): &(f64, f64)| (x.map(*at), y.map(*value));
        for run in &self.runs {
            let line: Vec<(f64, f64)> = run.iter().map(place).collect();
            match line[..] {
                [only] => canvas.dot(only, 1.5, group(self.mark), 1.0)?,
                _ => canvas.line(&line, Stroke::new(group(self.mark), 1.5))?,
            }
        }
        for error in &self.errors {
            let at = x.map(*error);
            canvas.line(&[(at, y.from - 9.0), (at, y.from)], Stroke::new(INK, 1.25))?;
        }
        let mut points = self.points.iter();
        points.try_for_each(|point| traces::measured(canvas, place(point)))
    }
}

fn at(view: &View, row: usize) -> Option<f64> {
    view.table
        .cell(row, trace::TIME)
        .as_time()
        .map(|at| at as f64)
}

impl Chart for LastDay<'_> {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        paint(decimal, width, TOP + PLOT + 24.0, |canvas| {
            let label = shorten(&self.y_label, SMALL, width - 80.0);
            canvas.text((6.0, 12.0), &label, QUIET)?;
            let x = self.x.at(LEFT, width - 8.0);
            let y = self.y.at(TOP + PLOT, TOP);
            self.frame(canvas, &x, &y)?;
            self.marks(canvas, &x, &y)
        })
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}
