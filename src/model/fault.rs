//! Why a sensor that speaks is not believed.

/// Each way in which a source can be found out. A fault is found by one row of the table in
/// [`detect`](super::detect), which says what is looked at and for how long.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// Message after message is refused: no number, or one that cannot be true.
    OutOfRange,
    /// Carbon dioxide at or above the top of what the sensor can truthfully say.
    OverRange,
    /// The value jumped further than air can change.
    ImpossibleStep,
    /// The very same number, again and again, while others move.
    Stuck,
    /// A humidity sensor that rests at the top of its scale.
    Pinned,
    /// A humidity sensor that leapt to saturation alone: its element is wet.
    Wetted,
    /// It has moved away from the others of its room.
    Drift,
    /// An outdoor thermometer that the sun warms.
    InTheSun,
    /// An outdoor thermometer far from what is forecast for this hour.
    ContradictsForecast,
    /// A dew point above the temperature of the same air.
    DewPointAboveTemperature,
    /// Humidity and dew point agree only by the other reading of what they mean below 0 °C.
    BelowFreezingConvention,
    /// Carbon dioxide that rests below what outdoor air holds.
    BelowOutdoorAir,
    /// A carbon dioxide sensor that sets its own zero by fresh air, and never meets any; or one outdoors that says more
    /// than outdoor air holds.
    NeverNearOutdoorAir,
    /// The fan reports that it runs, and carbon dioxide does not answer.
    FanWithoutResponse,
    /// The humidifier reports that it runs, and the air does not answer.
    HumidifierWithoutResponse,
}

impl Fault {
    /// Every fault, in the order in which the first that holds is blamed.
    pub const ALL: [Self; 15] = [
        Self::OutOfRange,
        Self::OverRange,
        Self::DewPointAboveTemperature,
        Self::BelowFreezingConvention,
        Self::BelowOutdoorAir,
        Self::Wetted,
        Self::ImpossibleStep,
        Self::Drift,
        Self::Stuck,
        Self::Pinned,
        Self::InTheSun,
        Self::ContradictsForecast,
        Self::NeverNearOutdoorAir,
        Self::FanWithoutResponse,
        Self::HumidifierWithoutResponse,
    ];

    /// As it is written in documents and labels.
    pub const fn name(self) -> &'static str {
        match self {
            Self::OutOfRange => "out-of-range",
            Self::OverRange => "over-range",
            Self::ImpossibleStep => "impossible-step",
            Self::Stuck => "stuck",
            Self::Pinned => "pinned",
            Self::Wetted => "wetted",
            Self::Drift => "drift",
            Self::InTheSun => "in-the-sun",
            Self::ContradictsForecast => "contradicts-forecast",
            Self::DewPointAboveTemperature => "dew-point-above-temperature",
            Self::BelowFreezingConvention => "below-freezing-convention",
            Self::BelowOutdoorAir => "below-outdoor-air",
            Self::NeverNearOutdoorAir => "never-near-outdoor-air",
            Self::FanWithoutResponse => "fan-without-response",
            Self::HumidifierWithoutResponse => "humidifier-without-response",
        }
    }

    /// What is wrong and what to do, behind the sensor's name: "The temperature at the top shelf …".
    pub const fn reason(self) -> &'static str {
        match self {
            Self::OutOfRange => "says only what cannot be true: look at the sensor, its wiring and its settings",
            Self::OverRange => {
                "is at the top of its scale, so there may be any amount more: ventilate from outside, and stay out until a \
                 gas alarm has cleared"
            }
            Self::ImpossibleStep => "jumped further than air can change: see whether it was moved, or is failing",
            Self::Stuck => "repeats the very same number while others move: restart or replace the sensor",
            Self::Pinned => "rests at the top of its scale: dry the sensor in room air and check it with salt",
            Self::Wetted => "leapt to saturation alone, so its element is wet: dry it and move it out of the mist",
            Self::Drift => "has moved away from the other sensors of its room: check it, and calibrate or replace it",
            Self::InTheSun => "is far above the forecast while the sun is up: put the sensor in the shade",
            Self::ContradictsForecast => "is far from what is forecast for this hour: look at it, and at its place",
            Self::DewPointAboveTemperature => "is above the temperature of the same air, which cannot be: check both",
            Self::BelowFreezingConvention => {
                "agrees with the dew point only when taken the other way below 0 °C: change its `below-freezing` setting"
            }
            Self::BelowOutdoorAir => "rests below what outdoor air holds: let the sensor set its zero in fresh air",
            Self::NeverNearOutdoorAir => {
                "has not come near outdoor air for days, so its zero cannot be right: show it outdoor air"
            }
            Self::FanWithoutResponse => {
                "says that it runs, and carbon dioxide does not answer: look at belt, damper and filter"
            }
            Self::HumidifierWithoutResponse => {
                "says that it runs, and the air grows no moister: look at its water, its nozzles and its power"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn no_two_faults_share_a_name_and_each_is_listed_once() {
        let names: BTreeSet<_> = Fault::ALL.iter().map(|fault| fault.name()).collect();
        assert_eq!(names.len(), Fault::ALL.len());
    }
}
