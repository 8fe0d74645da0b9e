//! Every comparison at the cut-off, before families and verdicts.

use super::blocks::{Member, Within, by_lot};
use super::compare::{Comparison, Known, compare};
use super::contrast::{Contrast, Side, contrast, joined_df};
use super::followed::{seen_until, share_seen, shares};
use super::intervals::Scale;
use super::measure::Measure;
use super::scores::{Order, Score, Sides, members};
use super::study::Study;
use std::collections::BTreeSet;

/// One comparison as the data give it.
pub(super) struct Row {
    pub measure: Measure,
    pub site: usize,
    /// `None`: the equally weighted mean of the other sites.
    pub against: Option<usize>,
    /// The sensors compared, with the scores that are tested.
    pub members: Vec<Member>,
    /// Within what they are compared.
    pub within: Within,
    /// The test; `None` with too few sensors.
    pub tested: Option<Comparison>,
    /// The difference in the unit of the measure.
    pub estimate: Option<Contrast>,
    pub scale: Scale,
    /// The day by which sensors came off that are told of; `None` for the rated one.
    pub until: Option<f64>,
}

/// What is known at the cut-off in one measure.
pub(super) struct Facts<'a> {
    pub study: &'a Study<'a>,
    pub measure: Measure,
    pub known: Known,
    /// What is told, sensor by sensor, where that is not what is tested: the share that came off, the rate of artefacts.
    told: Option<Vec<Option<Score>>>,
}

/// The order of sensors for each way of comparing them.
pub(super) struct Orders([Order; 3]);

const WAYS: [Within; 3] = [Within::WearerAndModel, Within::Wearer, Within::Nothing];

impl Orders {
    pub fn new(study: &Study<'_>) -> Self {
        Self(WAYS.map(|within| Order::new(study, within)))
    }

    pub fn of(&self, within: Within) -> &Order {
        let [strict, wearers, all] = &self.0;
        match within {
            Within::WearerAndModel => strict,
            Within::Wearer => wearers,
            Within::Nothing => all,
        }
    }
}

impl<'a> Facts<'a> {
    pub fn new(study: &'a Study<'a>, orders: &Orders, measure: Measure, now: f64) -> Self {
        let known = Known::new(study, measure, now);
        let told = match &known {
            Known::Lives(lives) => {
                let all = 0..study.sites.len();
                Some(shares(study, orders.of(Within::Nothing), lives, all, None))
            }
            Known::Rates(rates) => Some(rates.clone()),
            Known::Scores(_) => None,
        };
        Self {
            study,
            measure,
            known,
            told,
        }
    }

    /// Two sites. Where no wearer wore a model at both, models are compared with each other, and where none wore both sites,
    /// wearers; what that does to the row is for [`super::confounders`].
    pub fn pair(&self, orders: &Orders, site: usize, against: usize) -> Row {
        let sides = Sides {
            site,
            against: &[against],
        };
        let way = |within: Within| {
            let members = self
                .known
                .members(self.study, orders.of(within), within, sides);
            let tested = compare(self.measure, &members);
            (within, members, tested)
        };
        let mut best = way(Within::WearerAndModel);
        for within in [Within::Wearer, Within::Nothing] {
            if best.2.is_some() {
                break;
            }
            let next = way(within);
            if next.2.is_some() || best.1.is_empty() {
                best = next;
            }
        }
        let (within, members, tested) = best;
        let until = match &self.known {
            Known::Lives(lives) => {
                let order = orders.of(Within::Nothing);
                seen_until(self.study, order, lives, [site, against])
            }
            _ => None,
        };
        let told = self.told(orders, within, sides, &members, until);
        Row {
            measure: self.measure,
            site,
            against: Some(against),
            scale: self.scale(orders, sides, &told, until),
            estimate: contrast(&told).map(|contrast| self.in_bounds(contrast)),
            members,
            within,
            tested,
            until,
        }
    }

    /// The same sensors with what is told of them, as far as it was seen.
    fn told(
        &self,
        orders: &Orders,
        within: Within,
        sides: Sides<'_>,
        tested: &[Member],
        until: Option<f64>,
    ) -> Vec<Member> {
        let (study, order) = (self.study, orders.of(within));
        match (&self.known, &self.told) {
            (Known::Lives(lives), _) if until.is_some() => {
                let sites = std::iter::once(sides.site).chain(sides.against.iter().copied());
                let told = shares(study, orders.of(Within::Nothing), lives, sites, until);
                members(study, order, within, sides, &told)
            }
            (_, Some(told)) => members(study, order, within, sides, told),
            (_, None) => tested.to_vec(),
        }
    }

    /// What is told of shares, kept between 0 and 1: with few sensors pseudo-observations of the censored can leave that.
    fn in_bounds(&self, told: Contrast) -> Contrast {
        if self.measure != Measure::StaysOn {
            return told;
        }
        let sides = told.sides.map(|side| Side {
            mean: side.mean.clamp(0.0, 1.0),
            ..side
        });
        Contrast {
            difference: sides[0].mean - sides[1].mean,
            sides,
            ..told
        }
    }

    fn scale(
        &self,
        orders: &Orders,
        sides: Sides<'_>,
        told: &[Member],
        until: Option<f64>,
    ) -> Scale {
        match &self.known {
            Known::Lives(lives) => {
                let order = orders.of(Within::Nothing);
                let seen = |site: usize| share_seen(self.study, order, lives, site, until);
                let others: f64 = sides.against.iter().map(|site| seen(*site)).sum();
                Scale::Share([seen(sides.site), others / sides.against.len() as f64])
            }
            Known::Rates(_) => Scale::Rate(nights(told)),
            Known::Scores(_) => Scale::Mean,
        }
    }

    /// A site against the equally weighted mean of the others that it could be tested against; `None` with fewer than two.
    pub fn others(&self, orders: &Orders, pairs: &[Row], site: usize) -> Option<Row> {
        let of_site = |row: &&Row| {
            row.within == Within::WearerAndModel
                && row.tested.is_some()
                && row.estimate.is_some()
                && (row.site == site || row.against == Some(site))
        };
        let rows: Vec<&Row> = pairs.iter().filter(of_site).collect();
        if rows.len() < 2 {
            return None;
        }
        let against: Vec<usize> = rows
            .iter()
            .filter_map(|row| {
                if row.site == site {
                    row.against
                } else {
                    Some(row.site)
                }
            })
            .collect();
        let turned = |contrast: Contrast, row: &Row| {
            if row.site == site {
                contrast
            } else {
                contrast.turned()
            }
        };
        let until = rows.iter().filter_map(|row| row.until).reduce(f64::min);
        let estimates = rows
            .iter()
            .filter_map(|row| Some(turned(self.estimate(orders, row, until)?, row)));
        let tests = rows
            .iter()
            .filter_map(|row| Some(turned(row.tested.as_ref()?.contrast, row)));
        let estimate = mean_contrast(&estimates.collect::<Vec<_>>());
        let within = Within::WearerAndModel;
        let sides = Sides {
            site,
            against: &against,
        };
        let members = self
            .known
            .members(self.study, orders.of(within), within, sides);
        let mut tested = compare(self.measure, &members)?;
        let contrast = mean_contrast(&tests.collect::<Vec<_>>());
        let p = contrast.p()?;
        // Shuffled, the others count by their sensors; that guards a lopsided measure alone, and what a lot drew.
        let lopsided = matches!(self.measure, Measure::StaysOn | Measure::QuietAtNight);
        tested.p = if lopsided || by_lot(&members) {
            p.max(tested.p)
        } else {
            p
        };
        tested.z = super::bet::normal_score(tested.p, contrast.difference);
        tested.contrast = contrast;
        Some(Row {
            measure: self.measure,
            site,
            against: None,
            scale: self.scale(
                orders,
                sides,
                &self.told(orders, within, sides, &members, until),
                until,
            ),
            members,
            within,
            tested: Some(tested),
            estimate: Some(estimate),
            until,
        })
    }

    /// The difference of a pair by a day that all pairs beside it were seen to.
    fn estimate(&self, orders: &Orders, row: &Row, until: Option<f64>) -> Option<Contrast> {
        if row.until == until {
            return row.estimate;
        }
        let sides = Sides {
            site: row.site,
            against: &[row.against?],
        };
        let told = self.told(orders, row.within, sides, &row.members, until);
        contrast(&told).map(|contrast| self.in_bounds(contrast))
    }
}

impl Row {
    /// Sensors compared at the site and at the other.
    pub fn sensors(&self) -> [usize; 2] {
        let first = self.members.iter().filter(|member| member.first).count();
        [first, self.members.len() - first]
    }

    /// Wearers among them.
    pub fn wearers(&self, study: &Study<'_>) -> usize {
        let wearers = self
            .members
            .iter()
            .map(|member| study.sensors[member.sensor].wearer);
        wearers.collect::<BTreeSet<usize>>().len()
    }
}

/// Nights of Poisson events that make the variance of either site's mean, weighted as it is: 1 / Σ (c² / n).
fn nights(members: &[Member]) -> [f64; 2] {
    let mut total = 0.0;
    let mut sums = [0.0; 2];
    for block in members.chunk_by(|a, b| a.block == b.block) {
        let weight = |first: bool| -> f64 {
            let of_side = block.iter().filter(|m| m.first == first);
            of_side.map(|m| m.weight).sum()
        };
        let sides = [weight(true), weight(false)];
        let share = sides[0] * sides[1] / (sides[0] + sides[1]);
        total += share;
        for member in block {
            let side = usize::from(!member.first);
            sums[side] += (share * member.weight / sides[side]).powi(2) / member.size;
        }
    }
    sums.map(|sum| total * total / sum)
}

/// The mean of differences between one site and several. The site's sensors are the same in each, so that their means move
/// together.
fn mean_contrast(contrasts: &[Contrast]) -> Contrast {
    let count = contrasts.len() as f64;
    let mean = |of: &dyn Fn(&Contrast) -> f64| contrasts.iter().map(of).sum::<f64>() / count;
    let site = Side {
        sensors: contrasts
            .iter()
            .map(|c| c.sides[0].sensors)
            .max()
            .unwrap_or(0),
        mean: mean(&|c| c.sides[0].mean),
        variance: mean(&|c| c.sides[0].variance.sqrt()).powi(2),
        spread: mean(&|c| c.sides[0].spread.sqrt()).powi(2),
        df: contrasts
            .iter()
            .map(|c| c.sides[0].df)
            .fold(f64::INFINITY, f64::min),
    };
    let parts: Vec<(f64, f64)> = contrasts
        .iter()
        .map(|c| (c.sides[1].variance / (count * count), c.sides[1].df))
        .collect();
    let others = Side {
        sensors: contrasts.iter().map(|c| c.sides[1].sensors).sum(),
        mean: mean(&|c| c.sides[1].mean),
        variance: parts.iter().map(|(variance, _)| variance).sum(),
        spread: mean(&|c| c.sides[1].spread) / count,
        df: joined_df(&parts),
    };
    let mut all = vec![(site.variance, site.df)];
    all.extend(parts);
    Contrast {
        sides: [site, others],
        information: 1.0 / (site.spread + others.spread),
        difference: site.mean - others.mean,
        std_error: (site.variance + others.variance).sqrt(),
        df: joined_df(&all),
    }
}
