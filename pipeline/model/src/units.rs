//! Glucose units.

use serde::{Deserialize, Serialize};

/// mg/dL in one mmol/L of glucose, from its molar mass of 180.156 g/mol (IUPAC atomic weights).
pub const MGDL_PER_MMOLL: f64 = 18.0156;

/// Slack of every comparison with a limit, relative: decimal limits are not exact in binary.
pub const RELATIVE_SLACK: f64 = 1e-9;

/// A glucose unit, by its UCUM code.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Milligrams per decilitre.
    #[default]
    #[serde(rename = "mg/dL")]
    MgDl,
    /// Millimoles per litre.
    #[serde(rename = "mmol/L")]
    MmolL,
}

impl Unit {
    /// The unit of a UCUM code; letter case is not held against it. `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        if text.eq_ignore_ascii_case("mg/dL") {
            Some(Self::MgDl)
        } else if text.eq_ignore_ascii_case("mmol/L") {
            Some(Self::MmolL)
        } else {
            None
        }
    }

    /// The UCUM code.
    pub fn code(self) -> &'static str {
        match self {
            Self::MgDl => "mg/dL",
            Self::MmolL => "mmol/L",
        }
    }

    /// A value of this unit in mg/dL.
    pub fn to_mgdl(self, value: f64) -> f64 {
        match self {
            Self::MgDl => value,
            Self::MmolL => value * MGDL_PER_MMOLL,
        }
    }

    /// A value in mg/dL in this unit.
    pub fn from_mgdl(self, value: f64) -> f64 {
        match self {
            Self::MgDl => value,
            Self::MmolL => value / MGDL_PER_MMOLL,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Conversions printed in `unit_facts.csv` of the published checks (70, 180 and 54 mg/dL of the
    /// consensus ranges are 3.9, 10.0 and 3.0 mmol/L; Battelino et al. 2019 Diabetes Care 42:1593).
    #[test]
    fn consensus_ranges_in_both_units() {
        for (mgdl, mmoll) in [(70.0, 3.9), (180.0, 10.0), (54.0, 3.0), (250.0, 13.9)] {
            assert!((Unit::MmolL.from_mgdl(mgdl) - mmoll).abs() < 0.05);
        }
        assert_eq!(Unit::MmolL.to_mgdl(1.0), 18.0156);
    }

    #[test]
    fn only_ucum_codes_are_units() {
        assert_eq!(Unit::parse("MG/DL"), Some(Unit::MgDl));
        assert_eq!(Unit::parse("mmol/L"), Some(Unit::MmolL));
        assert_eq!(Unit::parse("mmol"), None);
        assert_eq!(Unit::parse(""), None);
    }
}
