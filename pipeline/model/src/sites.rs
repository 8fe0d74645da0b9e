//! Places on the body where a sensor can be worn.

/// A site as the report names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Site {
    /// Key used in files, for example `lower-back`.
    pub key: String,
    /// Name shown to a reader.
    pub label: String,
    /// Whether the study says that the site is on the device's label, or that it is not.
    pub on_label: Option<bool>,
}

impl Site {
    /// Whether the site is on the device's label; one of which the study says nothing is not.
    pub fn is_on_label(&self) -> bool {
        self.on_label == Some(true)
    }
}

/// Fewest sensors for a word on a site; chosen by this project.
pub const LEAST_SENSORS: usize = 3;

/// Least probability of being the best with which a site stands out: more likely the best than not.
pub const STANDS_OUT: f64 = 0.5;

/// Whether it is said of any of these sites that it is on the device's label, or that it is not: else nothing is known of
/// any.
pub fn label_is_told(sites: &[Site]) -> bool {
    sites.iter().any(|site| site.on_label.is_some())
}

/// Sites that come with the program: key and label, in the order in which reports list them.
pub const BUILT_IN: [(&str, &str); 9] = [
    ("upper-arm-back", "Back of the upper arm"),
    ("upper-arm-inside", "Inside of the upper arm"),
    ("forearm", "Forearm"),
    ("chest", "Chest"),
    ("abdomen", "Abdomen"),
    ("lower-back", "Lower back"),
    ("upper-buttock", "Upper buttock"),
    ("upper-thigh", "Upper thigh"),
    ("calf", "Calf"),
];
