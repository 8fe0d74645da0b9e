//! What sites are compared in.

/// A measure in which sites are compared, in the order of the report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Measure {
    /// Share of sensors that came off by the rated day, 0 to 1.
    StaysOn,
    /// Mean absolute relative difference from fingersticks, percentage points.
    ReadsTrue,
    /// Mean difference from fingersticks, mg/dL.
    ReadsHighOrLow,
    /// Night artefacts per 100 sensor-nights.
    QuietAtNight,
    /// Delay behind the blood, minutes.
    Delay,
}

impl Measure {
    /// All of them, in order.
    pub const ALL: [Self; 5] = [
        Self::StaysOn,
        Self::ReadsTrue,
        Self::ReadsHighOrLow,
        Self::QuietAtNight,
        Self::Delay,
    ];

    /// The name that tables and `study.toml` use.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::StaysOn => "stays-on",
            Self::ReadsTrue => "reads-true",
            Self::ReadsHighOrLow => "reads-high-or-low",
            Self::QuietAtNight => "quiet-at-night",
            Self::Delay => "delay",
        }
    }

    /// The measure of a name.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|measure| measure.name() == name)
    }

    /// The difference that matters unless a plan says otherwise: a tenth of the sensors, 2 percentage points, 5 mg/dL, 2
    /// artefacts per 100 nights, 3 minutes.
    #[must_use]
    pub fn default_margin(self) -> f64 {
        match self {
            Self::StaysOn => 0.10,
            Self::ReadsTrue | Self::QuietAtNight => 2.0,
            Self::ReadsHighOrLow => 5.0,
            Self::Delay => 3.0,
        }
    }
}
