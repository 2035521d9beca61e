//! The next 48 hours of a room, as projected: what the grower is warned by, and what the page draws.

use jiff::Timestamp;

use super::Case;
use crate::units::{
    AirFlow, CarbonDioxide, Fraction, HeatFlow, HumidityRatio, RelativeHumidity, Temperature, TemperatureDifference,
    VapourPressure, WaterFlow, WaterVolume,
};

/// A room's outlook: three runs of the same room through three weathers.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// When it was made.
    pub made: Timestamp,
    /// By the forecast, corrected by the local sensor.
    pub expected: Run,
    /// Colder and drier, by the forecast's usual error.
    pub colder: Run,
    /// Milder and moister, by the same error.
    pub milder: Run,
    /// What it rests on that is not certain, most important first.
    pub caveats: Vec<Caveat>,
}

impl Outlook {
    /// The run through one weather.
    pub const fn run(&self, case: Case) -> &Run {
        match case {
            Case::Expected => &self.expected,
            Case::ColderAndDrier => &self.colder,
            Case::Milder => &self.milder,
        }
    }

    /// Fresh air that is to be advised at a moment ahead; `None` outside the hours that were looked at.
    pub fn fresh_air(&self, moment: Timestamp, case: Case) -> Option<AirFlow> {
        let ahead = usize::try_from(moment.duration_since(self.made).as_hours()).ok()?;
        self.run(case).hours.get(ahead).map(|hour| hour.fresh_air)
    }
}

/// One run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Run {
    /// Hour by hour from now on; at most 48, fewer where the forecast ends early.
    pub hours: Vec<Hour>,
    /// What stands out.
    pub findings: Findings,
}

/// One hour of a run: means, and the hour's worst where that is what hurts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hour {
    /// When it begins.
    pub start: Timestamp,
    /// Outdoor temperature, mean.
    pub outdoor_temperature: Temperature,
    /// Outdoor humidity ratio, mean.
    pub outdoor_humidity_ratio: HumidityRatio,
    /// Room temperature, mean.
    pub temperature: Temperature,
    /// Room relative humidity, mean.
    pub relative_humidity: RelativeHumidity,
    /// Room relative humidity, lowest.
    pub lowest_relative_humidity: RelativeHumidity,
    /// Room humidity ratio, mean.
    pub humidity_ratio: HumidityRatio,
    /// Room vapour-pressure deficit, highest.
    pub vapour_pressure_deficit: VapourPressure,
    /// Room carbon dioxide, highest.
    pub carbon_dioxide: CarbonDioxide,
    /// Fresh air that is advised.
    pub fresh_air: AirFlow,
    /// Humidity target that is advised.
    pub humidity_target: RelativeHumidity,
    /// Humidifier duty, mean.
    pub humidifier_duty: Fraction,
    /// Water drawn in the hour.
    pub water: WaterVolume,
    /// Water left in the tank at the hour's end; `None` without a tank whose content is known.
    pub tank: Option<WaterVolume>,
    /// Vapour missing to hold the lowest humidity that the target may come down to, worst; zero where nothing is missing
    /// and where there is no humidifier.
    pub shortfall: WaterFlow,
    /// Heat that the heater gives, mean; `None` without a heater or without a known shell.
    pub heat: Option<HeatFlow>,
    /// Heat missing to hold the temperature, worst.
    pub heat_missing: HeatFlow,
    /// Coldest surface's temperature minus the dew point (below 0 °C the frost point), lowest; `None` where no
    /// surface is known.
    pub dew_margin: Option<TemperatureDifference>,
    /// Whether fog forms where the supply mixes into the room.
    pub inlet_fog: bool,
    /// Whether mist stands in the room; `None` where the room's power to take it up is not known.
    pub standing_mist: Option<bool>,
}

/// What stands out in a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Findings {
    /// Lowest relative humidity, and when.
    pub driest: Option<(Timestamp, RelativeHumidity)>,
    /// The first stretch in which the humidifier cannot give what even the lowest target takes.
    pub shortfall: Option<Stretch<WaterFlow>>,
    /// The first stretch in which that takes more than 97 % of what the humidifier can give, and by how much more: who was
    /// warned of a shortfall is not told that it is over while so little is left. It is not published.
    pub strained: Option<Stretch<WaterFlow>>,
    /// Water from now to the end of the coming night.
    pub water_to_dawn: Option<WaterVolume>,
    /// When that night ends: the next sunrise, or 08:00 local time where the sun does not rise.
    pub dawn: Option<Timestamp>,
    /// Water of the next 12 hours.
    pub water_12_hours: Option<WaterVolume>,
    /// Water of the next 24 hours.
    pub water_24_hours: Option<WaterVolume>,
    /// When the tank runs out.
    pub tank_empty: Option<Timestamp>,
    /// Coldest outdoor moment.
    pub coldest: Option<(Timestamp, Temperature)>,
    /// The first stretch in which the heater cannot hold the temperature.
    pub heat_short: Option<Stretch<HeatFlow>>,
    /// Lowest dew margin, and when.
    pub dew_margin: Option<(Timestamp, TemperatureDifference)>,
    /// First fog at the inlet.
    pub inlet_fog: Option<Timestamp>,
    /// First standing mist.
    pub standing_mist: Option<Timestamp>,
}

/// A stretch of time in which something is missing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch<T> {
    /// Its start.
    pub from: Timestamp,
    /// Its end; `None` where it goes on for as far as was looked.
    pub to: Option<Timestamp>,
    /// When it is worst.
    pub worst_at: Timestamp,
    /// How much is missing then.
    pub worst: T,
}

/// Something that an outlook rests on and that is not certain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caveat {
    /// No forecast: the last day's weather is carried on.
    NoForecast,
    /// The forecast was fetched this many hours ago.
    ForecastOld {
        /// Its age.
        hours: u32,
    },
    /// The forecast ends before the 48 hours do.
    ForecastEnds {
        /// When.
        at: Timestamp,
    },
    /// No carbon dioxide is measured: the catalogue's figures stand in.
    NoCarbonDioxideSensor,
    /// No relative humidity is measured: the room is taken to start at its target.
    NoHumiditySensor,
    /// The tank runs out, and is taken to be refilled then.
    TankRefilled,
    /// The tank's size is not known: when it runs out cannot be said.
    TankUnknown,
    /// Nobody has told how much is in the tank: it is taken as full now.
    TankTakenAsFull,
    /// Nobody has said how the room loses heat: its temperature is taken as held.
    ShellUnknown,
    /// The fan does not report: the advised fresh air is taken as given.
    NoFanFeedback,
    /// A space that the room draws from, or stands in, is not measured: an assumed state stands in.
    SpaceAssumed,
    /// How such a space follows the air outdoors has not been seen for a day: it is taken to follow as usual.
    SpaceUnlearned,
    /// What lies around the room's shell is not heard, and nothing is assumed of it: outdoor air is taken to.
    SurroundingsUnknown,
    /// The evaporated fraction is the method's usual one, not measured.
    EvaporatedFractionAssumed,
    /// No sentence about standing mist: no mist limit is known.
    MistUnknown,
}

/// Why nothing is said of a room's hours ahead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoOutlook {
    /// The wall clock is wrong: there is no telling which hours of a forecast lie ahead.
    ClockNotTrusted,
    /// Neither a forecast nor an outdoor sensor that has been heard for long enough.
    NoWeather,
    /// The room's temperature is not heard.
    NoRoomTemperature,
    /// Nothing is known of the room or space that it draws its air from.
    NoSupplyAir,
}
