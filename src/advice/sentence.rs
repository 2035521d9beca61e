//! Decisions and alerts as a grower would say them.

use jiff::{Timestamp, tz::TimeZone};

use crate::units::UnitSystem;

/// How this farm's people are spoken to: their units and their clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Voice {
    /// Units of every number.
    pub units: UnitSystem,
    /// For every time of day.
    pub time_zone: TimeZone,
}

impl Voice {
    /// A moment as people say it: `02:00`, or `02:00 on Friday` from a day ahead.
    pub fn time(&self, moment: Timestamp, now: Timestamp) -> String {
        let local = moment.to_zoned_datetime(self.time_zone.clone());
        let today = now.to_zoned_datetime(self.time_zone.clone());
        let clock = local.strftime("%H:%M").to_string();
        let far = moment.duration_since(now).as_hours().abs() >= 18;
        if far && local.date() != today.date() { format!("{clock} on {}", local.strftime("%A")) } else { clock }
    }
}
