//! Drawing in CSS pixels, over plotters' SVG backend.

use std::cell::RefCell;

use plotters::coord::Shift;
use plotters::prelude::{
    Circle, DrawingArea, IntoDrawingArea, PathElement, Polygon, Rectangle, SVGBackend, Text,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, ShapeStyle, TextStyle};

use super::compact::compact;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::escape::clean;
use crate::palette::{Colour, INK, MUTED, PANEL};

/// plotters has whole coordinates: a finer grid below the CSS pixel keeps curves smooth.
const FINE: f64 = 4.0;

/// plotters divides the size of a font by this before it writes it.
const FONT_FACTOR: f64 = 1.24;

/// Size of most text, CSS pixels.
pub(crate) const TEXT: f64 = 12.0;

/// Size of numbers along an axis, CSS pixels.
pub(crate) const SMALL: f64 = 11.0;

pub(crate) type Drawn = Result<(), ReportError>;

/// Where a text stands against its point.
#[derive(Clone, Copy)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text looks.
#[derive(Clone, Copy)]
pub(crate) struct Lettering {
    pub size: f64,
    pub colour: Colour,
    pub bold: bool,
    pub anchor: Anchor,
}

/// Numbers along an axis and remarks.
pub(crate) const QUIET: Lettering = Lettering {
    size: SMALL,
    colour: MUTED,
    bold: false,
    anchor: Anchor::Start,
};

/// Names of rows.
pub(crate) const PLAIN: Lettering = Lettering {
    size: TEXT,
    colour: INK,
    bold: false,
    anchor: Anchor::Start,
};

/// Names of panels.
pub(crate) const STRONG: Lettering = Lettering {
    bold: true,
    ..PLAIN
};

impl Lettering {
    pub const fn middle(self) -> Self {
        Self {
            anchor: Anchor::Middle,
            ..self
        }
    }

    pub const fn end(self) -> Self {
        Self {
            anchor: Anchor::End,
            ..self
        }
    }
}

/// How a line looks.
#[derive(Clone, Copy)]
pub(crate) struct Stroke {
    pub colour: Colour,
    pub width: f64,
    /// Lengths of dash and gap.
    pub dash: Option<(f64, f64)>,
}

impl Stroke {
    pub const fn new(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: None,
        }
    }

    pub const fn dashed(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: Some((4.0, 3.0)),
        }
    }
}

/// A panel to draw on; points count from its upper left corner.
pub(crate) struct Canvas<'a> {
    area: DrawingArea<SVGBackend<'a>, Shift>,
    decimal: &'a str,
    dashes: RefCell<Vec<Dash>>,
}

/// Width of a line, and lengths of dash and gap. plotters would write an element for each dash: a dashed line is drawn
/// with a width that stands for its place in the list, and gets its own afterwards.
type Dash = (u32, i32, i32);

/// Widths from here on stand for dashes.
const DASHES_FROM: u32 = 10_000;

/// A drawing of a size in CSS pixels, with the mark before decimals.
pub(crate) fn paint(
    decimal: &str,
    width: f64,
    height: f64,
    draw: impl FnOnce(&Canvas) -> Drawn,
) -> Result<Drawing, ReportError> {
    let mut svg = String::new();
    let dashes = {
        let size = (fine(width).unsigned_abs(), fine(height).unsigned_abs());
        let canvas = Canvas {
            area: SVGBackend::with_string(&mut svg, size).into_drawing_area(),
            decimal,
            dashes: RefCell::default(),
        };
        canvas.rectangle((0.0, 0.0), (width, height), PANEL, 1.0)?;
        draw(&canvas)?;
        canvas.area.present().map_err(failed)?;
        canvas.dashes.take()
    };
    let open = svg.find('>').map_or(0, |at| at + 1);
    let close = svg.rfind("</svg>").unwrap_or(svg.len());
    let mut body = compact(&svg[open..close]);
    for (place, (width, dash, gap)) in (DASHES_FROM..).zip(dashes) {
        body = body.replace(
            &format!(" stroke-width=\"{place}\""),
            &format!(" stroke-width=\"{width}\" stroke-dasharray=\"{dash} {gap}\""),
        );
    }
    Ok(Drawing {
        width,
        height,
        scale: FINE,
        body,
    })
}

fn fine(value: f64) -> i32 {
    (value * FINE).round() as i32
}

fn place((x, y): (f64, f64)) -> (i32, i32) {
    (fine(x), fine(y))
}

/// The places of a line without those that lie on a level or upright stretch between two others.
fn corners(places: impl Iterator<Item = (i32, i32)>) -> Vec<(i32, i32)> {
    let mut out: Vec<(i32, i32)> = Vec::new();
    for next in places {
        if let [.., a, b] = out[..] {
            let level = a.1 == b.1 && b.1 == next.1 && (a.0 <= b.0) == (b.0 <= next.0);
            let upright = a.0 == b.0 && b.0 == next.0 && (a.1 <= b.1) == (b.1 <= next.1);
            if level || upright {
                out.pop();
            }
        }
        if out.last() != Some(&next) {
            out.push(next);
        }
    }
    out
}

fn failed(error: impl std::fmt::Display) -> ReportError {
    ReportError::Drawing(error.to_string())
}

impl Canvas<'_> {
    pub fn line(&self, points: &[(f64, f64)], stroke: Stroke) -> Drawn {
        let places = corners(points.iter().copied().map(place));
        let width = fine(stroke.width).unsigned_abs().max(1);
        let stroke_width = match stroke.dash {
            None => width,
            Some((dash, gap)) => self.dashed((width, fine(dash), fine(gap))),
        };
        let style = ShapeStyle {
            color: stroke.colour.drawn().to_rgba(),
            filled: false,
            stroke_width,
        };
        self.area
            .draw(&PathElement::new(places, style))
            .map_err(failed)
    }

    /// The width that stands for a dash.
    fn dashed(&self, dash: Dash) -> u32 {
        let mut dashes = self.dashes.borrow_mut();
        let place = dashes.iter().position(|known| *known == dash);
        let place = place.unwrap_or_else(|| {
            dashes.push(dash);
            dashes.len() - 1
        });
        DASHES_FROM + u32::try_from(place).unwrap_or(0)
    }

    pub fn area(&self, points: &[(f64, f64)], colour: Colour, opacity: f64) -> Drawn {
        let places: Vec<(i32, i32)> = points.iter().copied().map(place).collect();
        self.area
            .draw(&Polygon::new(places, colour.drawn().mix(opacity).filled()))
            .map_err(failed)
    }

    pub fn rectangle(
        &self,
        from: (f64, f64),
        to: (f64, f64),
        colour: Colour,
        opacity: f64,
    ) -> Drawn {
        self.area
            .draw(&Rectangle::new(
                [place(from), place(to)],
                colour.drawn().mix(opacity).filled(),
            ))
            .map_err(failed)
    }

    pub fn dot(&self, at: (f64, f64), radius: f64, colour: Colour, opacity: f64) -> Drawn {
        self.area
            .draw(&Circle::new(
                place(at),
                fine(radius),
                colour.drawn().mix(opacity).filled(),
            ))
            .map_err(failed)
    }

    /// A text with its middle at the height of the point.
    pub fn text(&self, at: (f64, f64), text: &str, lettering: Lettering) -> Drawn {
        let style = if lettering.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        };
        let font = FontDesc::new(
            FontFamily::SansSerif,
            lettering.size * FINE * FONT_FACTOR,
            style,
        );
        let across = match lettering.anchor {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        let colour = lettering.colour.drawn();
        let style = TextStyle::from(font)
            .color(&colour)
            .pos(Pos::new(across, VPos::Center));
        self.area
            .draw(&Text::new(clean(text), place(at), style))
            .map_err(failed)
    }

    /// A number along an axis, formatted but for the mark before its decimals.
    pub fn number(&self, at: (f64, f64), number: &str, lettering: Lettering) -> Drawn {
        self.text(at, &number.replace('.', self.decimal), lettering)
    }

    /// The mark of the n-th group around a point.
    pub fn mark(&self, (x, y): (f64, f64), index: usize, size: f64, colour: Colour) -> Drawn {
        let r = size;
        let shape = |points: &[(f64, f64)]| {
            let points: Vec<(f64, f64)> = points
                .iter()
                .map(|(dx, dy)| (x + dx * r, y + dy * r))
                .collect();
            self.area(&points, colour, 1.0)
        };
        match index % 12 {
            0 => self.dot((x, y), r, colour, 1.0),
            1 => shape(&[(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)]),
            2 => shape(&[(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)]),
            3 => shape(&[(0.0, -1.2), (1.15, 0.9), (-1.15, 0.9)]),
            4 => shape(&[(0.0, 1.2), (1.15, -0.9), (-1.15, -0.9)]),
            5 => shape(&[(-0.5, -1.1), (0.5, -1.1), (0.5, 1.1), (-0.5, 1.1)]),
            6 => shape(&[
                (-0.4, -1.1),
                (0.4, -1.1),
                (0.4, -0.4),
                (1.1, -0.4),
                (1.1, 0.4),
                (0.4, 0.4),
                (0.4, 1.1),
                (-0.4, 1.1),
                (-0.4, 0.4),
                (-1.1, 0.4),
                (-1.1, -0.4),
                (-0.4, -0.4),
            ]),
            7 => shape(&[(-1.0, -1.1), (1.0, -1.1), (-1.0, 1.1), (1.0, 1.1)]),
            8 => shape(&[(-1.2, -0.5), (1.2, -0.5), (1.2, 0.5), (-1.2, 0.5)]),
            9 => shape(&[(-1.1, -1.0), (-1.1, 1.0), (1.1, -1.0), (1.1, 1.0)]),
            10 => shape(&[(-1.0, -1.1), (1.1, 0.0), (-1.0, 1.1), (-0.3, 0.0)]),
            _ => shape(&[
                (-0.9, -1.1),
                (0.9, -1.1),
                (0.9, -0.4),
                (-0.2, -0.4),
                (-0.2, 1.1),
                (-0.9, 1.1),
            ]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dashed_line_is_one_element() {
        let drawing = paint(".", 90.0, 20.0, |canvas| {
            canvas.line(&[(0.0, 5.0), (90.0, 5.0)], Stroke::dashed(INK, 1.0))?;
            canvas.line(&[(0.0, 9.0), (90.0, 9.0)], Stroke::dashed(INK, 1.5))
        });
        let body = drawing.unwrap().body;
        assert_eq!(body.matches("<path").count(), 2, "{body}");
        assert!(body.contains("stroke-width=\"4\" stroke-dasharray=\"16 12\""));
        assert!(body.contains("stroke-width=\"6\" stroke-dasharray=\"16 12\""));
    }

    #[test]
    fn only_corners_are_kept() {
        let line = [
            (0, 0),
            (1, 0),
            (2, 0),
            (2, 5),
            (2, 5),
            (2, 9),
            (3, 9),
            (1, 9),
        ];
        assert_eq!(
            corners(line.into_iter()),
            [(0, 0), (2, 0), (2, 9), (3, 9), (1, 9)]
        );
    }
}
