//! Glucose units.

use serde::{Deserialize, Serialize};

/// mg/dL in one mmol/L of glucose, from its molar mass of 180.156 g/mol (IUPAC atomic weights).
pub const MGDL_PER_MMOLL: f64 = 18.0156;

/// Slack of every comparison with a limit, relative: decimal limits are not exact in binary.
pub const RELATIVE_SLACK: f64 = 1e-9;

/// A glucose unit, by its UCUM code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Milligrams per decilitre.
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

    /// `tests/published/unit_facts.csv`: the factor exactly, conversions to the digits that the consensus prints
    /// (Battelino et al. 2019 Diabetes Care 42:1593), 0.05 mmol/L.
    #[test]
    fn consensus_ranges_in_both_units() {
        let facts = include_str!("../../../tests/published/unit_facts.csv");
        let mut seen = 0;
        for line in facts.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let value: f64 = cells[1].parse().unwrap();
            if cells[0] == "mg_dl_per_mmol_l" {
                assert_eq!(Unit::MmolL.to_mgdl(1.0), value);
            }
            if let Some(mgdl) = cells[0].strip_prefix("mmol_for_") {
                let mmoll = Unit::MmolL.from_mgdl(mgdl.parse().unwrap());
                assert!((mmoll - value).abs() < 0.05, "{line}");
                seen += 1;
            }
        }
        assert_eq!(seen, 6);
    }

    #[test]
    fn only_ucum_codes_are_units() {
        assert_eq!(Unit::parse("MG/DL"), Some(Unit::MgDl));
        assert_eq!(Unit::parse("mmol/L"), Some(Unit::MmolL));
        assert_eq!(Unit::parse("mmol"), None);
        assert_eq!(Unit::parse(""), None);
    }
}
