//! What `[[corrections]]` say of the rows of a file.

use jiff::tz::TimeZone;
use whereworn_model::settings::{Correction, Settings, When};
use whereworn_model::time::{MICROS_PER_SECOND, Micros};
use whereworn_model::units::Unit;

use crate::input::{InputFile, Table, matches};

/// Corrections that may concern rows of a file.
#[derive(Clone, Debug, Default)]
pub(crate) struct Corrections {
    table: Option<Table>,
    all: Vec<Correction>,
}

/// A correction of the rows of one sensor or meter, from one instant up to another, by the times as they are written.
#[derive(Clone, Debug)]
struct Applied {
    from: Micros,
    until: Micros,
    /// To be added to the times.
    shift: Micros,
    unit: Option<Unit>,
    leave_out: bool,
}

/// All corrections of one sensor or meter.
#[derive(Clone, Debug, Default)]
pub(crate) struct OfSubject(Vec<Applied>);

/// What corrections make of a row.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Corrected {
    /// To be added to its time.
    pub shift: Micros,
    /// Its unit, whatever it names.
    pub unit: Option<Unit>,
    pub leave_out: bool,
}

impl Corrections {
    /// Those that name the file, or something that the rows of its table are about.
    pub fn of_file(settings: &Settings, input: &InputFile) -> Self {
        let concerns = |correction: &&Correction| {
            let file = correction.file.as_deref();
            let here = file.is_none_or(|file| matches(file.as_bytes(), input.name.as_bytes()));
            let about = (&correction.sensor, &correction.meter);
            here && match about {
                (Some(_), _) => input.table == Table::Readings,
                (_, Some(_)) => input.table == Table::Fingersticks,
                _ => true,
            }
        };
        Self {
            table: Some(input.table),
            all: settings
                .corrections
                .iter()
                .filter(concerns)
                .cloned()
                .collect(),
        }
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    /// Those of a wearer's sensor or meter; dates are meant by the clock of the zone.
    pub fn of(&self, wearer: &str, subject: &str, zone: &TimeZone) -> OfSubject {
        let named = |correction: &&Correction| {
            let own = match self.table {
                Some(Table::Fingersticks) => &correction.meter,
                _ => &correction.sensor,
            };
            let same =
                |name: &Option<String>, is: &str| name.as_deref().is_none_or(|name| name == is);
            same(&correction.wearer, wearer) && same(own, subject)
        };
        let applied = |correction: &Correction| Applied {
            from: bound(&correction.from, |when| when.first(zone)).unwrap_or(Micros::MIN),
            until: bound(&correction.to, |when| when.after(zone)).unwrap_or(Micros::MAX),
            shift: (correction.clock_minutes.unwrap_or(0.0) * 60.0 * MICROS_PER_SECOND as f64)
                as Micros,
            unit: correction.unit,
            leave_out: correction.leave_out,
        };
        OfSubject(self.all.iter().filter(named).map(applied).collect())
    }
}

fn bound(when: &Option<When>, at: impl Fn(&When) -> Option<Micros>) -> Option<Micros> {
    when.as_ref().and_then(at)
}

impl OfSubject {
    /// What becomes of a row with this written time. Clocks that overlap add up; of units the last stands.
    pub fn at(&self, time: Micros) -> Corrected {
        let mut corrected = Corrected::default();
        for one in self
            .0
            .iter()
            .filter(|one| (one.from..one.until).contains(&time))
        {
            corrected.shift += one.shift;
            corrected.unit = one.unit.or(corrected.unit);
            corrected.leave_out |= one.leave_out;
        }
        corrected
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str, table: Table, name: &str, wearer: &str, subject: &str) -> OfSubject {
        let settings = Settings::parse(text).unwrap();
        let input = InputFile {
            path: name.into(),
            name: name.to_owned(),
            table,
            export: None,
            encoding: None,
        };
        Corrections::of_file(&settings, &input).of(wearer, subject, &TimeZone::UTC)
    }

    /// By hand: a day has 86 400 s, an hour 3 600.
    #[test]
    fn a_correction_holds_for_its_sensor_and_days() {
        let text = "[[corrections]]\nsensor = \"s1\"\nwearer = \"a\"\nfrom = \"1970-01-02\"\nto = \"1970-01-03\"\nclock_minutes = -60\n";
        let one = |wearer, subject| of(text, Table::Readings, "readings/a.csv", wearer, subject);
        let (day, hour) = (86_400 * MICROS_PER_SECOND, 3600 * MICROS_PER_SECOND);
        let shift = |at| one("a", "s1").at(at).shift;
        assert_eq!(
            [day - 1, day, 3 * day - 1, 3 * day].map(shift),
            [0, -hour, -hour, 0]
        );
        assert_eq!(one("b", "s1").at(day).shift, 0);
        assert_eq!(one("a", "s2").at(day).shift, 0);
        let other = of(text, Table::Fingersticks, "fingersticks/a.csv", "a", "s1");
        assert_eq!(other.at(day).shift, 0, "a sensor is no meter");
    }

    #[test]
    fn files_meters_and_units() {
        let text = "[[corrections]]\nfile = \"readings/*.csv\"\nunit = \"mmol/L\"\n\
            [[corrections]]\nmeter = \"m\"\nleave_out = true\n\
            [[corrections]]\nfile = \"exports/a.csv\"\nclock_minutes = 1.5\n";
        let readings = of(text, Table::Readings, "readings/a.csv", "w", "s");
        assert_eq!(readings.at(0).unit, Some(Unit::MmolL));
        assert!(!readings.at(0).leave_out);
        assert!(
            of(text, Table::Fingersticks, "fingersticks/a.csv", "w", "m")
                .at(0)
                .leave_out
        );
        assert!(
            !of(text, Table::Fingersticks, "fingersticks/a.csv", "w", "n")
                .at(0)
                .leave_out
        );
        let export = of(text, Table::WearEvents, "exports/a.csv", "w", "s").at(0);
        assert_eq!(export.shift, 90 * MICROS_PER_SECOND);
    }
}
