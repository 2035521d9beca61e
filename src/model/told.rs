//! What the grower tells the daemon while it runs, beside the configuration: the stage of the crop, whether people are
//! in a room, and settings that are to be held.

use super::{Band, Bands, Room, Stage, farm::Respiration};
use crate::units::{AirFlow, CarbonDioxide, RelativeHumidity, Temperature};

/// Whether people are in a room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// Somebody is in it.
    Present,
    /// Nobody is in it, and nobody will enter without saying so.
    Absent,
}

impl Presence {
    /// As it is written in topics.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Present => "present",
            Self::Absent => "absent",
        }
    }
}

/// Settings that the grower holds, whatever the advice would be. Every hard limit comes before them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Hold {
    /// Fresh air to advise.
    pub fresh_air: Option<AirFlow>,
    /// Humidity target to advise.
    pub humidity_target: Option<RelativeHumidity>,
}

/// What was told of a room and holds now.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Told {
    /// Whether people are in it; `None` where nobody says, or where it was said too long ago.
    pub presence: Option<Presence>,
    /// What is held; `None` of anything where nothing is.
    pub hold: Hold,
    /// Whether nothing is left in the tank, by what was told and drawn since. Unknown is not empty.
    pub tank_empty: bool,
}

/// Figures that the configuration puts in the place of the catalogue's, at every stage of the crop.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Overrides {
    /// Lowest, preferred and highest air temperature.
    pub temperature: [Option<Temperature>; 3],
    /// Lowest, preferred and highest relative humidity.
    pub relative_humidity: [Option<RelativeHumidity>; 3],
    /// The crop's carbon dioxide limit.
    pub carbon_dioxide_limit: Option<CarbonDioxide>,
    /// Middle of the crop's carbon dioxide output, in grams per kilogram of substrate and hour.
    pub respiration_middle: Option<f64>,
    /// Its upper end.
    pub respiration_upper: Option<f64>,
}

impl Room {
    /// The room with its crop at another stage: bands and carbon dioxide output by the catalogue, with what the
    /// configuration overrides. An empty room has no crop to override anything for. `None` without a crop.
    pub fn at_stage(&self, stage: Stage) -> Option<Self> {
        let mut room = self.clone();
        let crop = room.crop.as_mut()?;
        crop.stage = stage;
        let entry = crop.species.entry(stage);
        (room.bands, crop.respiration) = (entry.bands(), entry.respiration());
        if stage != Stage::Empty {
            room.bands = self.overrides.bands(room.bands);
            crop.respiration = self.overrides.respiration(crop.respiration);
        }
        Some(room)
    }
}

impl Overrides {
    fn bands(&self, usual: Bands) -> Bands {
        Bands {
            temperature: band(usual.temperature, self.temperature),
            relative_humidity: band(usual.relative_humidity, self.relative_humidity),
            carbon_dioxide_limit: self.carbon_dioxide_limit.unwrap_or(usual.carbon_dioxide_limit),
        }
    }

    fn respiration(&self, usual: Respiration) -> Respiration {
        let middle = self.respiration_middle.unwrap_or(usual.middle);
        let upper = self.respiration_upper.unwrap_or(usual.upper);
        match self.respiration_upper {
            // What was not written makes room for what was.
            Some(upper) => Respiration { middle: middle.min(upper), upper },
            None => Respiration { middle, upper: upper.max(middle) },
        }
    }
}

/// The usual band with what is written in its place. What is not written makes room for what is.
fn band<Q: Copy + PartialOrd>(usual: Band<Q>, written: [Option<Q>; 3]) -> Band<Q> {
    let mut fixed = written.map(|value| value.is_some());
    let mut values = [usual.lowest, usual.preferred, usual.highest];
    for (value, written) in values.iter_mut().zip(written) {
        *value = written.unwrap_or(*value);
    }
    for (low, high) in [(0, 1), (1, 2), (0, 1)] {
        if values[low] > values[high] {
            let (moved, stays) = if fixed[high] && !fixed[low] { (low, high) } else { (high, low) };
            values[moved] = values[stays];
            fixed[moved] = fixed[stays];
        }
    }
    let [lowest, preferred, highest] = values;
    Band { lowest, preferred, highest }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_written_makes_room_for_what_is_and_the_band_stays_in_order() {
        let usual = Band { lowest: 85, preferred: 90, highest: 95 };
        for (written, expected) in [
            ([None, None, None], [85, 90, 95]),
            ([Some(80), None, None], [80, 90, 95]),
            ([Some(92), None, None], [92, 92, 95]),
            ([None, Some(70), None], [70, 70, 95]),
            ([None, Some(97), None], [85, 97, 97]),
            ([None, None, Some(80)], [80, 80, 80]),
            ([Some(96), None, None], [96, 96, 96]),
            ([Some(60), Some(65), Some(70)], [60, 65, 70]),
        ] {
            let band = band(usual, written);
            assert_eq!([band.lowest, band.preferred, band.highest], expected, "{written:?}");
        }
    }
}
