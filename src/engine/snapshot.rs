//! The engine's state after a turn, immutable: topics, metrics and pages are pure renderings of it.

use std::{collections::BTreeMap, sync::Arc, time::Duration};

use jiff::Timestamp;

use super::forecasts::ServiceState;
use super::inputs::{InputCounts, Inputs, TankLevel};
use crate::{
    advice::{Alert, Decision, lever::Lever},
    model::{
        Farm, Forecast, Identifier, Measured, Now, Offset, Outlook, Place, Quantity, Reading, Reckoned, Service,
        Source, Spread, fusion::Spreads, outlook::NoOutlook, room_score::RoomScore, score::ServiceScore,
    },
    physics::MoistAir,
    units::{CarbonDioxide, HumidityRatioDifference, Pressure, RelativeHumidity, Temperature, WaterFlow},
};

/// Everything there is to show.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// The farm as configured.
    pub farm: Arc<Farm>,
    /// When it was taken.
    pub now: Now,
    /// The whole site.
    pub site: SiteState,
    /// The rooms, in the order of [`Farm::rooms`].
    pub rooms: Vec<RoomState>,
    /// The sources, in the order of [`Farm::sources`].
    pub sources: Vec<SourceState>,
    /// Events taken in since the start; a reader can tell from it that its message was taken in.
    pub turns: u64,
}

/// What is known of the whole site.
#[derive(Debug, Clone)]
pub struct SiteState {
    /// The air outdoors.
    pub outdoors: OutdoorsState,
    /// Who is asked first for a forecast; `None` for a farm that has only its own sensor. Whose forecast is in use stands
    /// in [`Forecast::service`].
    pub forecast_service: Option<Service>,
    /// The last good forecast.
    pub forecast: Option<Arc<Forecast>>,
    /// When it was fetched or last confirmed.
    pub forecast_fetched: Option<Timestamp>,
    /// What the farm's own sensor differs from it, where both are known.
    pub offset: Option<Offset>,
    /// How far the truth may lie from it.
    pub spread: Arc<Spread>,
    /// How forecasts have turned out here, of each service that was in use.
    pub scores: Arc<[ServiceScore]>,
    /// The services that can be asked, the first one first.
    pub services: Vec<ServiceState>,
    /// Coldest forecast temperature of the next 24 hours, and when.
    pub coldest: Option<(Timestamp, Temperature)>,
    /// Air pressure at the site, and where it is known from.
    pub pressure: Pressure,
    /// Where the pressure is known from.
    pub pressure_from: PressureFrom,
    /// Whether the broker is connected.
    pub connected: bool,
    /// Connections to the broker since the start.
    pub connections: u64,
    /// Alerts of the whole site.
    pub alerts: Vec<Alert>,
    /// What was set over MQTT, and what was refused.
    pub inputs: InputCounts,
}

/// Where the air pressure is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PressureFrom {
    /// A sensor at the site.
    Sensor,
    /// The forecast's sea-level pressure, brought to the site's elevation.
    Forecast,
    /// The standard atmosphere at the site's elevation.
    StandardAtmosphere,
}

/// The air outdoors now.
#[derive(Debug, Clone, Default)]
pub struct OutdoorsState {
    /// Its state; `None` where neither a sensor nor a forecast speaks.
    pub air: Option<MoistAir>,
    /// Whether it comes from the farm's own sensor rather than from the forecast.
    pub from_sensor: bool,
    /// The coldest that the farm's own sensors let it be.
    pub coldest: Option<Temperature>,
    /// How far apart the farm's own sensors are.
    pub spread: Spreads,
}

/// What is known of one room.
#[derive(Debug, Clone)]
pub struct RoomState {
    /// Temperature, fused from the room's sensors.
    pub temperature: Reading<Temperature>,
    /// Relative humidity over water, fused as humidity ratio.
    pub relative_humidity: Reading<RelativeHumidity>,
    /// Carbon dioxide, fused.
    pub carbon_dioxide: Reading<CarbonDioxide>,
    /// The state of the room's air; `None` unless temperature and humidity are believed.
    pub air: Option<MoistAir>,
    /// How far apart its sensors are.
    pub spread: Spreads,
    /// The worst that each decision has to reckon with, by disagreement and by age.
    pub reckoned: Reckoned,
    /// The state of the air supplied; `None` where it is not known.
    pub supply: Option<MoistAir>,
    /// What the air lacks and what that costs; `None` unless the room's temperature and the supply are known.
    pub moisture: Option<Moisture>,
    /// The hours ahead; `None` where nothing can be said of them.
    pub outlook: Option<Arc<Outlook>>,
    /// What would help in the hours ahead, best first.
    pub levers: Vec<Lever>,
    /// Why nothing can be said of the hours ahead. For some seconds after a start there may be neither.
    pub no_outlook: Option<NoOutlook>,
    /// How far carbon dioxide is below the crop's limit (negative: above it), in ppm.
    pub carbon_dioxide_headroom: Option<f64>,
    /// What is advised.
    pub decision: Decision,
    /// Alerts of this room.
    pub alerts: Vec<Alert>,
    /// What was set and still holds.
    pub inputs: Inputs,
    /// Water in the tank; `None` until somebody has told it.
    pub tank: Option<TankLevel>,
    /// How its outlooks have turned out.
    pub outlook_score: RoomScore,
    /// How long the values above may be taken for the present, as [`Now::elapsed`].
    pub lives_until: Duration,
}

/// What the air lacks and what that costs, at the advised fresh air and humidity target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moisture {
    /// Humidity ratio at the target minus that of the supply.
    pub deficit: HumidityRatioDifference,
    /// Vapour needed now; zero where the supply is moister than the target.
    pub vapour: WaterFlow,
    /// Water drawn now: vapour over evaporated fraction, at most the humidifier's output. `None` without a humidifier.
    pub drawn: Option<WaterFlow>,
}

/// What is known of one source.
#[derive(Debug, Clone)]
pub struct SourceState {
    /// Where it stands.
    pub place: Place,
    /// Which part of the place, where there are several.
    pub position: Option<Identifier>,
    /// What it measures.
    pub quantity: Quantity,
    /// What it said last, put right by its calibration.
    pub reading: Reading<Measured>,
    /// Calendar time of its last reading.
    pub last_heard: Option<Timestamp>,
    /// Readings taken in since the start.
    pub accepted: u64,
    /// Messages refused since the start, by the refusal's word.
    pub rejected: BTreeMap<&'static str, u64>,
}

impl SourceState {
    /// A source that has said nothing yet.
    pub fn new(source: &Source) -> Self {
        Self {
            place: source.place,
            position: source.position.clone(),
            quantity: source.quantity,
            reading: Reading::Never,
            last_heard: None,
            accepted: 0,
            rejected: BTreeMap::new(),
        }
    }
}

impl Snapshot {
    /// How this farm's people are spoken to.
    pub fn voice(&self) -> crate::advice::Voice {
        crate::advice::Voice { units: self.farm.site.units, time_zone: self.farm.site.time_zone.clone() }
    }
}
