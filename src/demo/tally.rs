//! What a simulated room truly lives through: what the summary compares with what was said.

/// A crop feels the air of about so many seconds, not each breath of the humidifier.
const FELT: f64 = 900.0;

/// The truth of one room since it was last counted anew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tally {
    /// Seconds since dusk at which counting began.
    from: f64,
    drawn_before: f64,
    /// Water drawn, kg.
    pub(super) drawn: f64,
    /// Relative humidity at the crop as it feels it: averaged over about [`FELT`].
    felt: Option<f64>,
    /// Lowest relative humidity so averaged, a ratio.
    pub(super) driest: f64,
    /// Highest relative humidity so averaged, a ratio.
    pub(super) wettest: f64,
    /// Highest carbon dioxide at the crop, ppm.
    pub(super) highest_carbon_dioxide: f64,
    /// Seconds since dusk at which the humidifier first ran in vain.
    pub(super) short_from: Option<f64>,
    /// Hours in which it ran in vain.
    pub(super) hours_short: f64,
}

impl Tally {
    /// Counts from `now` on (seconds since dusk), when `drawn` kg have been drawn already.
    pub(super) const fn from(now: f64, drawn: f64) -> Self {
        Self {
            from: now,
            drawn_before: drawn,
            drawn: 0.0,
            felt: None,
            driest: 1.0,
            wettest: 0.0,
            highest_carbon_dioxide: 0.0,
            short_from: None,
            hours_short: 0.0,
        }
    }

    /// Lives `seconds` in this air: a ratio and ppm.
    pub(super) fn live(&mut self, seconds: f64, humidity: f64, carbon_dioxide: f64) {
        let felt = self.felt.map_or(humidity, |felt| felt + (humidity - felt) * (seconds / FELT));
        self.felt = Some(felt);
        self.driest = self.driest.min(felt);
        self.wettest = self.wettest.max(felt);
        self.highest_carbon_dioxide = self.highest_carbon_dioxide.max(carbon_dioxide);
    }

    /// Has drawn `total` kg since the room's beginning.
    pub(super) const fn draw(&mut self, total: f64) {
        self.drawn = total - self.drawn_before;
    }

    /// Is short for `seconds` more, in a stretch that began at `began` (seconds since dusk).
    pub(super) fn fall_short(&mut self, began: f64, seconds: f64) {
        self.short_from.get_or_insert(began.max(self.from));
        self.hours_short += seconds / 3_600.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_driest_moment_the_water_and_the_hours_of_want_are_counted_from_the_beginning_on() {
        let mut tally = Tally::from(600.0, 20.0);
        tally.live(1.0, 0.7, 500.0);
        tally.live(450.0, 0.6, 450.0);
        tally.draw(23.5);
        tally.fall_short(0.0, 900.0);
        tally.fall_short(5_000.0, 900.0);
        // Half of the way in half of the time that it takes to be felt.
        assert!((tally.driest - 0.65).abs() < 1e-9 && (tally.wettest - 0.7).abs() < 1e-9, "{tally:?}");
        assert!((tally.highest_carbon_dioxide - 500.0).abs() < 1e-9 && (tally.drawn - 3.5).abs() < 1e-9, "{tally:?}");
        assert!((tally.hours_short - 0.5).abs() < 1e-9, "{tally:?}");
        assert_eq!(tally.short_from, Some(600.0));
    }
}
