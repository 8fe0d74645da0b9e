//! What is known of a wearer's spots.

/// A day of the wearer's calendar, counted from 1970-01-01.
pub type Day = i64;

/// Where on a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
    /// In the middle: a spot of its own, which no plan uses.
    Middle,
}

impl Side {
    /// The sides that a plan uses.
    pub const PLANNED: [Self; 2] = [Self::Left, Self::Right];

    /// The word of the log.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
            Self::Middle => "middle",
        }
    }

    /// The side that a word of the log means; `None` for any other word.
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        [Self::Left, Self::Right, Self::Middle]
            .into_iter()
            .find(|side| side.word() == word)
    }
}

/// A site and a side: no two sensors at one spot, and a rest between them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Spot {
    /// The site, as its place in the study's list of sites.
    pub site: usize,
    /// The side.
    pub side: Side,
}

/// A sensor that is or was worn, or is planned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Worn {
    /// Its site.
    pub site: usize,
    /// Its side; `None` where it was not noted, so that it may have been at any spot of the site.
    pub side: Option<Side>,
    /// The day of its insertion.
    pub from: Day,
    /// The day on which it ended, or has to be taken to end: at its rated wear, or later where it is still on.
    pub until: Day,
    /// Whether it is still on.
    pub on: bool,
}

/// A look at the skin of a spot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SkinLook {
    /// The site.
    pub site: usize,
    /// The side; `None` where the sensor's was not noted.
    pub side: Option<Side>,
    /// When.
    pub day: Day,
    /// 0 none to 4 broken skin.
    pub grade: u8,
}

/// An injection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Injection {
    /// The site.
    pub site: usize,
    /// The side; `None` where it was not noted.
    pub side: Option<Side>,
    /// When.
    pub day: Day,
}

/// All that the limits ask of one wearer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct History {
    /// Sensors, in any order.
    pub worn: Vec<Worn>,
    /// Looks at the skin, in order of time.
    pub skin: Vec<SkinLook>,
    /// Injections, in any order.
    pub injections: Vec<Injection>,
}

/// Whether something noted at `site` and `side` may have been at a spot.
pub(crate) fn may_be_at(site: usize, side: Option<Side>, spot: Spot) -> bool {
    site == spot.site && side.is_none_or(|side| side == spot.side)
}

impl History {
    /// Sensors that are or were, or may have been, at a spot.
    pub fn worn_at(&self, spot: Spot) -> impl Iterator<Item = &Worn> {
        self.worn
            .iter()
            .filter(move |worn| may_be_at(worn.site, worn.side, spot))
    }

    /// The first day on which no sensor of the log is on: the next may go in. `None` where none is on.
    #[must_use]
    pub fn free_from(&self) -> Option<Day> {
        let on = self.worn.iter().filter(|worn| worn.on);
        on.map(|worn| worn.until).max()
    }
}
