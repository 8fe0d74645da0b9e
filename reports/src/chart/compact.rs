//! Elements of a drawing made short: most of a large report is drawings.

use std::fmt::Write;

/// What the root element says for all of them, or no one needs to say.
const DEFAULTS: [&str; 6] = [
    " fill=\"none\"",
    " stroke=\"none\"",
    " stroke-width=\"1\"/",
    " opacity=\"1\"",
    " font-family=\"sans-serif\"",
    " text-anchor=\"start\"",
];

/// plotters' elements, each on a line of its own: lines and polygons become paths from point to point, circles that look
/// alike one group, and texts lose the blanks around them.
pub(crate) fn compact(elements: &str) -> String {
    let mut out = String::with_capacity(elements.len() / 2);
    let mut circles = Circles::default();
    for line in elements.lines() {
        let line = without_defaults(line.trim());
        if let Some(rest) = line.strip_prefix("<circle ") {
            circles.add(rest, &mut out);
            continue;
        }
        circles.close(&mut out);
        match path(&line) {
            Some(path) => out.push_str(&path),
            None => out.push_str(&line),
        }
        if line.ends_with("/>") || line == "</text>" {
            out.push('\n');
        }
    }
    circles.close(&mut out);
    out.truncate(out.trim_end().len());
    out
}

fn without_defaults(line: &str) -> String {
    if !line.starts_with('<') {
        return line.to_owned();
    }
    let short = DEFAULTS.iter().fold(line.to_owned(), |line, default| {
        let kept = if default.ends_with('/') { "/" } else { "" };
        line.replace(default, kept)
    });
    short.replace(" \"/>", "\"/>")
}

/// Circles not written yet, and what all of them look like.
#[derive(Default)]
struct Circles {
    look: String,
    places: Vec<String>,
}

impl Circles {
    /// Takes the attributes of a circle: its centre and radius, then its look.
    fn add(&mut self, attributes: &str, out: &mut String) {
        let attributes = attributes.trim_end_matches("/>");
        let look = ["opacity=", "fill=", "stroke="]
            .iter()
            .filter_map(|name| attributes.find(name))
            .min()
            .unwrap_or(attributes.len());
        let (place, look) = attributes.split_at(look);
        if look != self.look {
            self.close(out);
            self.look = look.to_owned();
        }
        self.places.push(place.trim_end().to_owned());
    }

    fn close(&mut self, out: &mut String) {
        let look = std::mem::take(&mut self.look);
        match &*std::mem::take(&mut self.places) {
            [] => {}
            [place] => {
                let _ = writeln!(out, "<circle {place} {look}/>");
            }
            places => {
                // Opacity of a group would be that of all together.
                let look = look.replace("opacity=", "fill-opacity=");
                let _ = writeln!(out, "<g {look}>");
                for place in places {
                    let _ = write!(out, "<circle {place}/>");
                }
                out.push_str("\n</g>\n");
            }
        }
    }
}

/// A line or a polygon as a path; `None` for any other element.
fn path(element: &str) -> Option<String> {
    let closed = element.starts_with("<polygon");
    let inner = element.strip_prefix(if closed { "<polygon" } else { "<polyline" })?;
    let (before, rest) = inner.split_once(" points=\"")?;
    let (points, after) = rest.split_once('"')?;
    let places: Vec<(i64, i64)> = points
        .split_whitespace()
        .map(|point| {
            let (x, y) = point.split_once(',')?;
            Some((x.parse().ok()?, y.parse().ok()?))
        })
        .collect::<Option<_>>()?;
    let end = if closed { "z" } else { "" };
    Some(format!(
        "<path{before} d=\"{}{end}\"{after}",
        from_point_to_point(&places)
    ))
}

/// SVG 1.1, section 8.3: `h` and `v` go level and upright, `l` any way, each by so much; a repeated `l` need not be said.
fn from_point_to_point(places: &[(i64, i64)]) -> String {
    let mut out = String::new();
    let mut last: Option<((i64, i64), char)> = None;
    for &(x, y) in places {
        let Some((from, command)) = last else {
            let _ = write!(out, "M{x} {y}");
            last = Some(((x, y), 'M'));
            continue;
        };
        let (dx, dy) = (x - from.0, y - from.1);
        let next = match (dx, dy) {
            (_, 0) => 'h',
            (0, _) => 'v',
            _ => 'l',
        };
        let gap = |number: i64| if number < 0 { "" } else { " " };
        let _ = match (next, command) {
            ('h', _) => write!(out, "h{dx}"),
            ('v', _) => write!(out, "v{dy}"),
            (_, 'l') => write!(out, "{}{dx}{}{dy}", gap(dx), gap(dy)),
            _ => write!(out, "l{dx}{}{dy}", gap(dy)),
        };
        last = Some(((x, y), next));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand, after SVG 1.1, section 8.3.
    #[test]
    fn lines_become_paths() {
        let line = "<polyline fill=\"none\" opacity=\"1\" stroke=\"#000000\" stroke-width=\"4\" points=\"10,20 30,20 30,5 25,9 20,2 28,1 \"/>";
        assert_eq!(
            compact(line),
            "<path stroke=\"#000000\" stroke-width=\"4\" d=\"M10 20h20v-15l-5 4-5-7 8-1\"/>"
        );
        let area = "<polygon opacity=\"0.4\" fill=\"#FFFFFF\" points=\"0,0 5,0 5,5 \"/>";
        assert_eq!(
            compact(area),
            "<path opacity=\"0.4\" fill=\"#FFFFFF\" d=\"M0 0h5v5z\"/>"
        );
    }

    #[test]
    fn like_circles_are_grouped_and_texts_are_joined() {
        let circle = |x: i64, colour: &str| {
            format!(
                "<circle cx=\"{x}\" cy=\"1\" r=\"2\" opacity=\"0.5\" fill=\"{colour}\" stroke=\"none\" stroke-width=\"1\"/>\n"
            )
        };
        let drawn = circle(1, "#111111") + &circle(2, "#111111") + &circle(3, "#222222");
        let text = "<text x=\"1\" y=\"2\" font-family=\"sans-serif\" font-size=\"44\">\na  fill=\"none\" b\n</text>\n";
        assert_eq!(
            compact(&(drawn + text)),
            "<g fill-opacity=\"0.5\" fill=\"#111111\">\n<circle cx=\"1\" cy=\"1\" r=\"2\"/><circle cx=\"2\" cy=\"1\" r=\"2\"/>\n</g>\n\
             <circle cx=\"3\" cy=\"1\" r=\"2\" opacity=\"0.5\" fill=\"#222222\"/>\n\
             <text x=\"1\" y=\"2\" font-size=\"44\">a  fill=\"none\" b</text>"
        );
    }
}
