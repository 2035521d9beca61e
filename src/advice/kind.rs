//! The kinds of alerts: one row each.

use std::time::Duration;

/// Every kind of alert. A kind is one row of `AlertKind::row`, one condition in the engine and one sentence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AlertKind {
    /// Lines may freeze in the next 24 hours (site).
    HardFrost,
    /// The forecast is missing or too old to warn from (site).
    ForecastOld,
    /// The date is wrong (site).
    ClockNotTrusted,
    /// There is no connection to the broker (site): nobody hears this over MQTT, but page, metrics and log say it.
    BrokerLost,
    /// The connection to the broker keeps breaking (site).
    BrokerFlapping,
    /// The state cannot be written (site).
    StorageFailing,
    /// A configured source is silent (room, or outdoors on the site).
    SensorStale,
    /// A sensor speaks and is not believed (room, or outdoors on the site).
    SensorSuspect,
    /// Sensors of one air are too far apart (room, or outdoors on the site).
    SensorsDisagree,
    /// A calibration is older than it is good for (room, or outdoors on the site).
    CalibrationOld,
    /// The humidifier will not keep up in the next 24 hours (room).
    HumidifierShortfall,
    /// The tank will run out (room).
    TankEmpty,
    /// The heater will not hold the temperature (room).
    HeatShort,
    /// The humidifier's water line may freeze at its own place (room).
    LineFreezing,
    /// The coldest surface is wetted, or soon will be (room).
    SurfaceWet,
    /// Fog where the supply mixes in, or soon (room).
    InletFog,
    /// The caps have stayed wet (room).
    CapsWet,
    /// The air is too dry (room).
    TooDry,
    /// Carbon dioxide above the crop's limit (room).
    CarbonDioxideCrop,
    /// Carbon dioxide rises though the advised air should bring it down (room).
    CarbonDioxideRising,
    /// Carbon dioxide at a limit for people (room).
    CarbonDioxidePeople,
    /// The cold outlasts the equipment (room).
    ColdSpell,
}

/// On-delay and off-delay of an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Delays {
    /// From the condition's start to the alert.
    pub on: Duration,
    /// From the condition's end to normal.
    pub off: Duration,
}

/// What is fixed about a kind.
#[derive(Debug, Clone, Copy)]
struct Row {
    name: &'static str,
    title: &'static str,
    on: u64,
    off: u64,
}

impl AlertKind {
    /// Alerts of the whole site.
    pub const OF_SITE: [Self; 10] = [
        Self::HardFrost,
        Self::ForecastOld,
        Self::SensorStale,
        Self::SensorSuspect,
        Self::SensorsDisagree,
        Self::CalibrationOld,
        Self::ClockNotTrusted,
        Self::BrokerLost,
        Self::BrokerFlapping,
        Self::StorageFailing,
    ];
    /// Alerts of each room.
    pub const OF_ROOM: [Self; 16] = [
        Self::HumidifierShortfall,
        Self::TankEmpty,
        Self::HeatShort,
        Self::LineFreezing,
        Self::SurfaceWet,
        Self::InletFog,
        Self::CapsWet,
        Self::TooDry,
        Self::ColdSpell,
        Self::SensorStale,
        Self::SensorSuspect,
        Self::SensorsDisagree,
        Self::CalibrationOld,
        Self::CarbonDioxideCrop,
        Self::CarbonDioxideRising,
        Self::CarbonDioxidePeople,
    ];

    const fn row(self) -> Row {
        const fn row(name: &'static str, title: &'static str, on: u64, off: u64) -> Row {
            Row { name, title, on, off }
        }
        match self {
            // Forecasts jump at each new run; half an hour of agreement keeps an alert from flapping between two runs.
            Self::HardFrost => row("hard-frost", "Hard frost ahead", 0, 1_800),
            Self::ForecastOld => row("forecast-old", "Forecast missing or old", 60, 0),
            // Network time needs a few minutes after a start.
            Self::ClockNotTrusted => row("clock-not-trusted", "Date of the machine not trusted", 300, 0),
            // A restart of the broker takes seconds.
            Self::BrokerLost => row("broker-lost", "No connection to the broker", 60, 0),
            Self::BrokerFlapping => row("broker-flapping", "Connection to the broker keeps breaking", 0, 600),
            Self::StorageFailing => row("storage-failing", "State cannot be written", 0, 0),
            // The maximum age of the source is the delay.
            Self::SensorStale => row("sensor-stale", "Sensor silent", 0, 30),
            // One odd value that is taken back is no alert; a sensor that recovers must show it for a while.
            Self::SensorSuspect => row("sensor-suspect", "Sensor not believed", 120, 600),
            // A door that opens parts the sensors of a room for some minutes.
            Self::SensorsDisagree => row("sensors-disagree", "Sensors disagree", 900, 1_800),
            Self::CalibrationOld => row("calibration-old", "Calibration old", 0, 0),
            Self::HumidifierShortfall => row("humidifier-shortfall", "Humidifier cannot keep up", 0, 1_800),
            Self::TankEmpty => row("tank-empty", "Tank runs out", 0, 1_800),
            Self::HeatShort => row("heat-short", "Room cannot hold its temperature", 0, 1_800),
            Self::LineFreezing => row("line-freezing", "Water line may freeze", 0, 1_800),
            // A gust through the door wets a window for minutes.
            Self::SurfaceWet => row("surface-wet", "Coldest surface below the dew point", 600, 1_800),
            Self::InletFog => row("inlet-fog", "Fog at the inlet", 600, 1_800),
            // Commonly taught: dry within two to three hours (from memory, no source). A notice comes an hour before.
            Self::CapsWet => row("caps-wet", "Caps staying wet", 3_600, 1_800),
            Self::TooDry => row("too-dry", "Air too dry for the crop", 600, 600),
            // A door that stands open for a minute, or a person who breathes on the sensor, is no alert.
            Self::CarbonDioxideCrop => row("carbon-dioxide-crop", "Carbon dioxide above the crop's limit", 300, 300),
            Self::CarbonDioxideRising => {
                row("carbon-dioxide-rising", "Carbon dioxide rises against the advised air", 300, 600)
            }
            // Never delayed: people are at stake.
            Self::CarbonDioxidePeople => row("carbon-dioxide-people", "Carbon dioxide at a limit for people", 0, 600),
            Self::ColdSpell => row("cold-spell", "Cold spell beyond the equipment", 1_800, 7_200),
        }
    }

    /// As it is written in topics and labels.
    pub const fn name(self) -> &'static str {
        self.row().name
    }

    /// For people.
    pub const fn title(self) -> &'static str {
        self.row().title
    }

    /// How long a condition must hold before the alert is raised, and how long it must be gone before it is cleared.
    pub const fn delays(self) -> Delays {
        let Row { on, off, .. } = self.row();
        Delays { on: Duration::from_secs(on), off: Duration::from_secs(off) }
    }
}
