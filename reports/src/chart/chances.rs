//! How likely each site is the best for a wearer: a bar for each on a track from never to surely.

use super::canvas::{PLAIN, QUIET, SMALL, TEXT, paint};
use super::lettering::{shorten, width as text_width};
use super::shared::{Chart, listing};
use crate::catalogue::fill;
use crate::drawing::Drawing;
use crate::error::ReportError;
use crate::palette::{RULE, group};
use crate::view::View;

/// A site's name above its bar.
const ROW: f64 = 36.0;

const MARGIN: f64 = 8.0;

/// Room for the number at the end.
const NUMBER: f64 = 44.0;

struct Site {
    label: String,
    /// How many sensors it had, and that it is off the label where it is.
    remark: String,
    mark: usize,
    share: f64,
    text: String,
}

/// Sites, the likeliest first.
pub(crate) struct Chances {
    sites: Vec<Site>,
    finding: String,
    caption: String,
}

impl Chances {
    /// The chart of the table `best_sites`.
    pub fn of(view: &View) -> Self {
        let context = view.context;
        let text = &context.text.best;
        let site = |&row: &usize| {
            let key = view.table.text(row, "site");
            let sensors = view.value(row, "sensors").unwrap_or(0.0);
            let counted = context.text.sensors(sensors);
            let remark = match context.off_label(key) {
                true => fill(&context.text.chart.body.off_label, &[("sensors", &counted)]),
                false => counted,
            };
            let share = view.table.number(row, "probability").unwrap_or(0.0);
            Site {
                label: view.text(row, "site"),
                remark,
                mark: context.site_mark(key),
                share,
                text: format!("{} %", context.number(100.0 * share, 0)),
            }
        };
        let sites: Vec<Site> = view.rows.iter().map(site).collect();
        let item = |site: &Site| {
            let values = [
                ("site", &*site.label),
                ("remark", &*site.remark),
                ("share", &*site.text),
            ];
            fill(&text.item, &values)
        };
        let items: Vec<String> = sites.iter().map(item).collect();
        Self {
            finding: fill(&text.finding, &[("list", &listing(&items))]),
            caption: text.caption.clone(),
            sites,
        }
    }
}

impl Chart for Chances {
    fn draw(&self, width: f64, decimal: &str) -> Result<Drawing, ReportError> {
        let height = self.sites.len() as f64 * ROW + 2.0 * MARGIN;
        let end = width - MARGIN - NUMBER;
        let length = end - MARGIN;
        paint(decimal, width, height, |canvas| {
            for (place, site) in self.sites.iter().enumerate() {
                let top = MARGIN + place as f64 * ROW;
                let label = shorten(&site.label, TEXT, 0.55 * width);
                canvas.text((MARGIN, top + 8.0), &label, PLAIN)?;
                let from = MARGIN + text_width(&label, TEXT) + 8.0;
                let remark = shorten(&site.remark, SMALL, width - MARGIN - from);
                canvas.text((width - MARGIN, top + 8.0), &remark, QUIET.end())?;
                let bar = |to: f64, colour| {
                    canvas.rectangle((MARGIN, top + 18.0), (to, top + 28.0), colour, 1.0)
                };
                bar(end, RULE)?;
                bar(MARGIN + length * site.share, group(site.mark))?;
                canvas.text((end + 6.0, top + 23.0), &site.text, PLAIN)?;
            }
            Ok(())
        })
    }

    fn finding(&self) -> &str {
        &self.finding
    }

    fn caption(&self) -> &str {
        &self.caption
    }
}
