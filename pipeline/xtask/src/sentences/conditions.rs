//! The studies that sentences are tried on.

use whereworn_simulate::delay::{Checks, Noise, World};
use whereworn_simulate::studies::{Along, Design, SiteLaw, USUAL};
use whereworn_simulate::wear::Law;
use whereworn_stats::conclusions::{Measure, Plan, Primary};

/// A kind of study, and what is true in it.
pub struct Condition {
    pub name: &'static str,
    pub design: Design,
    /// Whether sites that differ are exactly as far apart as the margin.
    pub at_margin: bool,
    pub plan: Plan,
}

impl Condition {
    fn new(name: &'static str, design: Design) -> Self {
        Self {
            name,
            design,
            at_margin: false,
            plan: Plan::default(),
        }
    }

    /// One whose plan asks for delay first.
    fn of_delay(name: &'static str, design: Design) -> Self {
        Self {
            plan: Plan {
                primary: vec![Primary::Measure(Measure::Delay)],
                ..Plan::default()
            },
            ..Self::new(name, design)
        }
    }

    /// Whether two sites are alike in a measure.
    pub fn alike(&self, measure: Measure, one: usize, other: usize) -> bool {
        let [a, b] = [one, other].map(|site| self.design.sites[site].0);
        let total = |law: &SiteLaw| law.sd_between.powi(2) + law.sd_within.powi(2);
        let same = |x: f64, y: f64| (x - y).abs() < 1e-9;
        match measure {
            Measure::StaysOn => same(a.life.hazard, b.life.hazard),
            Measure::ReadsTrue => same(a.bias, b.bias) && same(total(&a), total(&b)),
            Measure::ReadsHighOrLow => same(a.bias, b.bias),
            Measure::QuietAtNight => same(a.rate, b.rate),
            Measure::Delay => match (a.delay, b.delay) {
                (Some(a), Some(b)) => same(a.delay, b.delay),
                _ => true,
            },
        }
    }

    /// Whether a site is as the mean of all others in a measure.
    pub fn as_others(&self, measure: Measure, site: usize) -> bool {
        (0..self.design.sites.len()).all(|other| self.alike(measure, site, other))
    }
}

/// A site that differs in everything.
pub const OTHER: SiteLaw = SiteLaw {
    life: Law {
        hazard: 1.2,
        ..USUAL.life
    },
    bias: 8.0,
    rate: 0.25,
    ..USUAL
};

/// Without a difference, or with one site that differs.
pub fn without_difference() -> Vec<Condition> {
    // Spread between sensors against within them, so that the mean absolute difference is the same.
    let wide = SiteLaw {
        sd_between: 9.0,
        sd_within: 5.0,
        shape: 1.0,
        pairs: [3, 15],
        ..USUAL
    };
    let narrow = SiteLaw {
        sd_between: 3.0,
        sd_within: (106.0_f64 - 9.0).sqrt(),
        shape: 6.0,
        pairs: [20, 60],
        ..USUAL
    };
    let plain =
        |sites: usize, sensors, wearers| Design::plain(&vec![USUAL; sites], sensors, wearers);
    let with_one_other = |sites: usize, sensors, wearers| {
        let mut laws = vec![USUAL; sites];
        laws[1] = OTHER;
        Design::plain(&laws, sensors, wearers)
    };
    let sized = |sizes: &[usize]| Design {
        sites: sizes.iter().map(|size| (USUAL, *size)).collect(),
        ..plain(1, 1, 1)
    };
    let disturbed = SiteLaw {
        rate: 0.25,
        ..USUAL
    };
    let with = |law: SiteLaw, along| Design {
        along: Some(along),
        ..Design::plain(&[law; 2], 20, 1)
    };
    vec![
        Condition::new("1 wearer, 2 sites, 3 sensors each", plain(2, 3, 1)),
        Condition::new("1 wearer, 2 sites, 10 sensors each", plain(2, 10, 1)),
        Condition::new("1 wearer, 3 sites, 6 sensors each", plain(3, 6, 1)),
        Condition::new("3 wearers, 4 sites, 20 sensors each", plain(4, 20, 3)),
        Condition::new("10 wearers, 7 sites, 20 sensors each", plain(7, 20, 10)),
        Condition::new(
            "1 wearer, 5 sites with 20, 20, 3, 3 and 3 sensors",
            sized(&[20, 20, 3, 3, 3]),
        ),
        Condition::new(
            "1 wearer, sites that scatter unlike, with unequal pairs and 4, 12 and 12 sensors",
            Design {
                sites: vec![(wide, 4), (narrow, 12), (wide, 12)],
                ..plain(1, 1, 1)
            },
        ),
        Condition::new(
            "1 wearer, 3 sites, 10 sensors each, one in a hundred 40 % off",
            Design {
                outlier: 40.0,
                ..plain(3, 10, 1)
            },
        ),
        Condition::new(
            "3 wearers, 4 sites, 12 sensors each, a site dropped when one standard error behind",
            Design {
                drops_behind: Some(1.0),
                ..plain(4, 12, 3)
            },
        ),
        Condition::new(
            "1 wearer, 3 sites, 12 sensors each, the third from month 12 on, seasons",
            Design {
                season: 4.0,
                starts: vec![0, 0, 12],
                ..plain(3, 12, 1)
            },
        ),
        Condition::new(
            "1 wearer, 2 sites, 40 sensors each, as many come off, early at one and late at the other",
            Design::plain(&[0.4, 5.0].map(coming_off), 40, 1),
        ),
        Condition::new(
            "1 wearer, 2 sites, 20 sensors each, one meter goes with one site",
            with(USUAL, Along::Meter),
        ),
        Condition::new(
            "1 wearer, 2 sites, 20 sensors each, one checked while glucose rises",
            with(USUAL, Along::Trend),
        ),
        Condition::new(
            "1 wearer, 2 sites, 20 sensors each, one worn on the side slept on",
            with(disturbed, Along::Side),
        ),
        Condition::new(
            "1 wearer, 2 sites, 20 sensors each, bad nights lost at one",
            with(disturbed, Along::Gaps),
        ),
        Condition::new(
            "1 wearer, 3 sites, 10 sensors each, the second differs",
            with_one_other(3, 10, 1),
        ),
        Condition::new(
            "3 wearers, 5 sites, 15 sensors each, the second differs",
            with_one_other(5, 15, 3),
        ),
    ]
}

/// Two sites that differ in one measure: by a factor of the hazard, of the scatter or of the rate, or by percent of glucose.
pub fn with_effect(measure: Measure, effect: f64) -> [SiteLaw; 2] {
    let mut other = USUAL;
    match measure {
        Measure::StaysOn => other.life.hazard *= effect,
        Measure::ReadsTrue => (other.sd_between, other.sd_within) = (5.0 * effect, 9.0 * effect),
        Measure::ReadsHighOrLow => other.bias += effect,
        Measure::QuietAtNight => other.rate *= effect,
        Measure::Delay => {
            return [0.0, effect].map(|more| {
                lagging(World {
                    delay: LAG.delay + more,
                    ..LAG
                })
            });
        }
    }
    [USUAL, other]
}

/// Sensors 8 minutes behind, more or less by 2, with gains and offsets of their own (common practice, no source).
const LAG: World = World {
    delay: 8.0,
    delay_sd: 2.0,
    gain_sd: 0.08,
    gain: 0.0,
    offset: 5.0,
    offset_sd: 8.0,
    spacing: 5,
    noise: Noise {
        coloured: 0.03,
        minutes: 15.0,
        white: 0.01,
    },
    meals: None,
};

fn lagging(world: World) -> SiteLaw {
    SiteLaw {
        delay: Some(world),
        ..USUAL
    }
}

/// Without a difference in delay, or with one site that differs.
pub fn of_delay() -> Vec<Condition> {
    let usual = lagging(LAG);
    let paired = |pairs, world| SiteLaw {
        pairs,
        ..lagging(world)
    };
    let plain =
        |sites: usize, sensors, wearers| Design::plain(&vec![usual; sites], sensors, wearers);
    let sized = |sites: &[(SiteLaw, usize)]| Design {
        sites: sites.to_vec(),
        ..plain(1, 1, 1)
    };
    let spread = |delay_sd| World { delay_sd, ..LAG };
    let [few, many] = [[12, 20], [40, 70]];
    let checked = |checks| {
        paired(
            many,
            World {
                meals: Some(checks),
                ..LAG
            },
        )
    };
    let noisy = World {
        offset: 25.0,
        noise: Noise {
            coloured: 0.05,
            minutes: 60.0,
            white: 0.01,
        },
        ..LAG
    };
    let hardly = World {
        delay: 1.0,
        delay_sd: 1.0,
        ..LAG
    };
    let mut second_late = vec![usual; 4];
    second_late[1].delay = Some(World { delay: 14.0, ..LAG });
    // Three minutes apart, the default margin.
    let apart = [0.0, 3.0].map(|more| {
        paired(
            many,
            World {
                delay: LAG.delay + more,
                ..LAG
            },
        )
    });
    vec![
        Condition::of_delay("delay: 1 wearer, 2 sites, 10 sensors each", plain(2, 10, 1)),
        Condition::of_delay(
            "delay: 3 wearers, 4 sites, 20 sensors each",
            plain(4, 20, 3),
        ),
        Condition::of_delay(
            "delay: 1 wearer, 5 sites with 20, 20, 3, 3 and 3 sensors",
            sized(&[20, 20, 3, 3, 3].map(|sensors| (usual, sensors))),
        ),
        Condition::of_delay(
            "delay: 3 wearers, 4 sites, 12 sensors each, a site dropped when one standard error behind",
            Design {
                drops_behind: Some(1.0),
                ..plain(4, 12, 3)
            },
        ),
        Condition::of_delay(
            "delay: 1 wearer, 3 sites, sensors that differ much and little, with few and many pairs, 6, 20 and 20 sensors",
            sized(&[
                (paired(few, spread(5.0)), 6),
                (paired(many, spread(0.0)), 20),
                (paired([12, 70], spread(5.0)), 20),
            ]),
        ),
        Condition::of_delay(
            "delay: 1 wearer, 2 sites, 20 sensors each, that differ by 5 min, with 10 to 70 pairs",
            sized(&[(paired([10, 70], spread(5.0)), 20); 2]),
        ),
        Condition::of_delay(
            "delay: 1 wearer, 2 sites, 40 sensors each, few pairs at one and many at the other",
            sized(&[(paired(few, LAG), 40), (paired(many, LAG), 40)]),
        ),
        Condition::of_delay(
            "delay: 1 wearer, 2 sites, 40 sensors each with 40 to 70 pairs, one checked after meals, the other at random",
            Design::plain(&[Checks::AfterMeals, Checks::Random].map(checked), 40, 1),
        ),
        Condition::of_delay(
            "delay: 1 wearer, 2 sites, 40 sensors each with 40 to 70 pairs, one checked after meals, the other before",
            Design::plain(
                &[Checks::AfterMeals, Checks::BeforeMeals].map(checked),
                40,
                1,
            ),
        ),
        Condition::of_delay(
            "delay: 1 wearer, 2 sites, 40 sensors each, hardly behind, few pairs at one and many at the other",
            sized(&[(paired(few, hardly), 40), (paired(many, hardly), 40)]),
        ),
        Condition::of_delay(
            "delay: 1 wearer, 2 sites, 40 sensors each with 40 to 70 pairs, one noisier and 20 mg/dL higher",
            sized(&[(paired(many, LAG), 40), (paired(many, noisy), 40)]),
        ),
        Condition::of_delay(
            "delay: 3 wearers, 4 sites, 15 sensors each, the second 6 min later",
            Design::plain(&second_late, 15, 3),
        ),
        Condition {
            at_margin: true,
            ..Condition::of_delay(
                "delay: 1 wearer, 2 sites at the margin, 30 sensors each with 40 to 70 pairs",
                Design::plain(&apart, 30, 1),
            )
        },
    ]
}

/// A site of which six in ten sensors come off, with this shape of the hazard.
fn coming_off(shape: f64) -> SiteLaw {
    SiteLaw {
        life: Law {
            shape,
            hazard: -0.4_f64.ln(),
            fault: 0.0,
            failed_start: 0.0,
            chosen: 0.0,
        },
        ..USUAL
    }
}

/// The sites of the invented demo study, as its scenario has them: upper arm, abdomen, lower back, thigh, buttock, chest,
/// forearm. Fingersticks scatter by 5 %; tapes take a fifth off the hazard.
pub fn of_demo() -> Vec<SiteLaw> {
    const METER: f64 = 5.0;
    let site = |gain: f64, between: f64, noise: f64, share: f64, shape: f64, rate: f64| SiteLaw {
        life: Law {
            shape,
            hazard: -0.8 * (1.0 - share).ln(),
            fault: 0.008,
            failed_start: 0.025,
            chosen: 0.005,
        },
        bias: 100.0 * (gain - 1.0),
        sd_between: 100.0 * between,
        sd_within: (1e4 * noise * noise + METER * METER).sqrt(),
        rate,
        shape: 12.0,
        pairs: [20, 50],
        delay: None,
    };
    vec![
        site(1.00, 0.035, 0.045, 0.20, 1.3, 0.26),
        site(1.01, 0.090, 0.055, 0.30, 1.2, 0.07),
        site(1.01, 0.035, 0.040, 0.12, 1.4, 0.14),
        site(1.06, 0.015, 0.045, 0.36, 1.5, 0.05),
        site(1.00, 0.040, 0.050, 0.16, 1.3, 0.12),
        site(0.98, 0.035, 0.050, 0.42, 1.1, 0.09),
        site(0.96, 0.055, 0.070, 0.62, 1.2, 0.06),
    ]
}

/// Two sites of which 10 and 60 % of the sensors come off.
pub fn ten_and_sixty() -> [SiteLaw; 2] {
    [0.1_f64, 0.6].map(|share| SiteLaw {
        life: Law {
            hazard: -(1.0 - share).ln(),
            fault: 0.0,
            failed_start: 0.0,
            chosen: 0.0,
            ..USUAL.life
        },
        ..USUAL
    })
}

/// Two sites as far apart as the default margins.
pub fn at_margin() -> Vec<Condition> {
    let apart = SiteLaw {
        life: Law {
            hazard: 0.525,
            ..USUAL.life
        },
        // 5 mg/dL at a mean of 160; that alone moves the mean absolute difference, the scatter does the rest.
        bias: 3.125,
        sd_between: 5.0,
        sd_within: 11.4,
        rate: 0.1,
        ..USUAL
    };
    [(30, 1), (60, 3)]
        .map(|(sensors, wearers)| Condition {
            name: if wearers == 1 {
                "1 wearer, 2 sites at the margin, 30 sensors each"
            } else {
                "3 wearers, 2 sites at the margin, 60 sensors each"
            },
            design: Design::plain(&[USUAL, apart], sensors, wearers),
            at_margin: true,
            plan: Plan::default(),
        })
        .into_iter()
        .collect()
}
