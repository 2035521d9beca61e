//! What outlives a restart, to bytes and back.
//!
//! One line of JSON: its version, a checksum of the state, and the state. The line starts the same way in every
//! version, so that an older program can tell a newer file from a damaged one. The checksum is against torn and
//! rotten storage, not against hands.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use jiff::Timestamp;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

mod inputs;
mod learned;
mod outlooks;

use inputs::InputsBody;
use learned::LearnedBody;
use outlooks::OutlooksBody;

use super::{description, weather};
use crate::{
    advice::{Priority, alert::Message},
    engine::memory::{KeptAlert, KeptEmission, KeptForecast, KeptRoom, Memory},
    model::{
        Farm, Forecast, ForecastPoint, Identifier, OutdoorAir, Quantity, Sensor, forecast::BadForecast,
        identifier::BadIdentifier,
    },
    units::{AirFlow, CarbonDioxide, OutOfRange, Pressure, Speed, Temperature, VapourPressure, WaterFlow, WaterVolume},
};

/// The version that this program writes, and the only one that it reads.
pub const VERSION: u64 = 1;
/// No state is larger, in bytes. A farm of a hundred rooms needs a tenth of it.
pub const LARGEST: usize = 4 << 20;

const START: &str = r#"{"mistwright-state":"#;
const CHECK: &str = r#","check":""#;
const BODY: &str = r#"","state":"#;
const END: &str = "}\n";

/// Everything that is kept.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct State {
    /// What the engine keeps.
    pub memory: Memory,
    /// Topics that may stand at the broker, those of rooms that have since been removed among them.
    pub topics: BTreeSet<String>,
}

/// Why bytes are no state that can be used.
#[derive(Debug, thiserror::Error)]
pub enum BadState {
    /// More than [`LARGEST`].
    #[error("it is larger than {LARGEST} bytes")]
    TooLarge,
    /// Something else, or its beginning is damaged.
    #[error("it does not start as a state file does")]
    Foreign,
    /// Written by a newer program.
    #[error("it is of version {0}, and this program reads version {VERSION}: a newer one has written it")]
    Newer(u64),
    /// Cut off or damaged.
    #[error("it is cut off or damaged: its checksum does not fit")]
    Damaged,
    /// Whole, and yet not what this program writes.
    #[error("it is whole, but not as this program writes it: {0}")]
    Shape(#[from] serde_json::Error),
    /// A number that its quantity cannot have.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A room with an impossible name.
    #[error(transparent)]
    Name(#[from] BadIdentifier),
    /// A forecast that is none.
    #[error(transparent)]
    Forecast(#[from] BadForecast),
    /// A word that stands for nothing.
    #[error("the word `{0}` is unknown")]
    Word(String),
    /// A topic that could not have been published.
    #[error("`{0}` is no topic of this program")]
    Topic(String),
}

/// Every topic that this farm may leave at the broker.
pub fn topics_of(farm: &Farm, domain: &Identifier) -> BTreeSet<String> {
    let devices = description::devices(farm, domain);
    let about =
        devices.iter().flat_map(|device| ["$state", "$description"].map(|end| format!("{}/{end}", device.topic)));
    description::topics(farm, domain).into_iter().chain(about).collect()
}

/// The state as bytes.
///
/// # Errors
/// When it would be larger than [`LARGEST`], or cannot be written as JSON.
pub fn write(state: &State) -> Result<Vec<u8>, BadState> {
    let body = serde_json::to_string(&Body::of(state))?;
    let text = format!("{START}{VERSION}{CHECK}{}{BODY}{body}{END}", checksum(&body));
    if text.len() > LARGEST { Err(BadState::TooLarge) } else { Ok(text.into_bytes()) }
}

/// The state from bytes.
///
/// # Errors
/// See [`BadState`].
pub fn read(bytes: &[u8]) -> Result<State, BadState> {
    if bytes.len() > LARGEST {
        return Err(BadState::TooLarge);
    }
    let rest = bytes.strip_prefix(START.as_bytes()).ok_or(BadState::Foreign)?;
    let digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let version = std::str::from_utf8(&rest[..digits]).ok().and_then(|text| text.parse().ok());
    match version.ok_or(BadState::Foreign)? {
        VERSION => {}
        version if version > VERSION => return Err(BadState::Newer(version)),
        _ => return Err(BadState::Foreign),
    }
    let text = std::str::from_utf8(&rest[digits..]).map_err(|_| BadState::Damaged)?;
    let (check, body) = text
        .strip_prefix(CHECK)
        .and_then(|text| text.strip_suffix(END))
        .and_then(|text| text.split_once(BODY))
        .ok_or(BadState::Damaged)?;
    if check != checksum(body) {
        return Err(BadState::Damaged);
    }
    serde_json::from_str::<Body>(body)?.into_state()
}

/// FNV-1a over 64 bits, by its published definition, in sixteen hexadecimal digits.
fn checksum(text: &str) -> String {
    let hash = text
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3));
    format!("{hash:016x}")
}

/// Rounded to so many decimals, far finer than any sensor: such numbers come back exactly.
fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale
}

/// A moment, written in UTC.
#[derive(Debug, Clone, Copy)]
struct Moment(Timestamp);

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map(Self).map_err(serde::de::Error::custom)
    }
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct Body {
    newest: Option<Moment>,
    forecast: Option<ForecastBody>,
    alerts: Vec<AlertBody>,
    rooms: Vec<RoomBody>,
    #[serde(default)]
    inputs: InputsBody,
    /// What stands behind each device's topic.
    topics: BTreeMap<String, Vec<String>>,
    /// What the outdoor sensor has taught.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    learned: Option<LearnedBody>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct ForecastBody {
    service: String,
    fetched: Moment,
    issued: Option<Moment>,
    latitude: f64,
    longitude: f64,
    points: Vec<PointBody>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct PointBody {
    at: Moment,
    celsius: f64,
    vapour_pascals: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    sea_level_pascals: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wind_metres_per_second: Option<f64>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct RoomBody {
    name: String,
    fresh_air_cubic_metres_per_hour: Option<f64>,
    danger: bool,
    emission: Option<EmissionBody>,
    alerts: Vec<AlertBody>,
    #[serde(default)]
    inputs: InputsBody,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    outlooks: Option<OutlooksBody>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct EmissionBody {
    grams_per_hour: f64,
    at: Moment,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct AlertBody {
    alert: String,
    priority: PriorityBody,
    message: MessageBody,
}

#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum PriorityBody {
    Notice,
    Warning,
    Critical,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "kebab-case")]
enum MessageBody {
    HardFrost {
        from: Moment,
        coldest_at: Moment,
        celsius: f64,
        measured_celsius: Option<f64>,
    },
    ForecastOld {
        fetched: Option<Moment>,
    },
    Shortfall {
        from: Moment,
        to: Option<Moment>,
        worst_at: Moment,
        kilograms_per_hour: f64,
        litres: Option<f64>,
    },
    Stale {
        sensors: Vec<String>,
    },
    CarbonDioxide {
        measured_ppm: f64,
        limit_ppm: f64,
    },
    /// A warning whose numbers are reckoned anew within minutes: only that it stood is kept.
    BeforeRestart,
}

impl Body {
    fn of(state: &State) -> Self {
        let memory = &state.memory;
        let mut topics = BTreeMap::<String, Vec<String>>::new();
        for topic in &state.topics {
            if let Some((device, rest)) = split(topic) {
                topics.entry(device.to_owned()).or_default().push(rest.to_owned());
            }
        }
        Self {
            newest: memory.newest.map(Moment),
            forecast: memory.forecast.as_ref().map(ForecastBody::of),
            alerts: memory.alerts.iter().map(AlertBody::of).collect(),
            rooms: memory.rooms.iter().map(RoomBody::of).collect(),
            inputs: InputsBody::of(&memory.inputs),
            learned: memory.learned.as_ref().map(LearnedBody::of),
            topics,
        }
    }

    fn into_state(self) -> Result<State, BadState> {
        let mut topics = BTreeSet::new();
        for (device, ends) in self.topics {
            for end in ends {
                let topic = format!("{device}/{end}");
                if !publishable(&topic) {
                    return Err(BadState::Topic(topic));
                }
                topics.insert(topic);
            }
        }
        let memory = Memory {
            newest: self.newest.map(|moment| moment.0),
            forecast: self.forecast.map(ForecastBody::into_kept).transpose()?,
            alerts: all(self.alerts, AlertBody::into_kept)?,
            rooms: all(self.rooms, RoomBody::into_kept)?,
            inputs: self.inputs.into_kept()?,
            learned: self.learned.map(LearnedBody::into_kept).transpose()?,
        };
        Ok(State { memory, topics })
    }
}

/// A sensor as [`Sensor`] displays it.
fn sensor(text: &str) -> Result<Sensor, BadState> {
    let (name, position) = text.split_once('@').map_or((text, None), |(name, position)| (name, Some(position)));
    let quantity = Quantity::ALL.into_iter().find(|quantity| quantity.name() == name);
    Ok(Sensor {
        quantity: quantity.ok_or_else(|| BadState::Word(name.to_owned()))?,
        position: position.map(Identifier::new).transpose()?,
    })
}

fn all<A, B>(from: Vec<A>, into: impl Fn(A) -> Result<B, BadState>) -> Result<Vec<B>, BadState> {
    from.into_iter().map(into).collect()
}

/// Device and what comes behind it: `homie/5/frosthollow` and `outdoors/temperature`.
fn split(topic: &str) -> Option<(&str, &str)> {
    let (third_slash, _) = topic.match_indices('/').nth(2)?;
    Some((&topic[..third_slash], &topic[third_slash + 1..]))
}

/// Whether a topic is one that this program could have published; it will be cleared at the broker.
fn publishable(topic: &str) -> bool {
    topic.len() <= 250
        && topic.split('/').nth(1) == Some("5")
        && (4..=5).contains(&topic.split('/').count())
        && topic.split('/').all(|level| !level.is_empty())
        && topic.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || b"/-$".contains(&byte))
        && !topic.starts_with('$')
}

impl ForecastBody {
    fn of(kept: &KeptForecast) -> Self {
        Self {
            service: kept.forecast.service.name().to_owned(),
            fetched: Moment(kept.fetched),
            issued: kept.forecast.issued.map(Moment),
            latitude: rounded(kept.latitude, 4),
            longitude: rounded(kept.longitude, 4),
            points: kept.forecast.points().iter().map(PointBody::of).collect(),
        }
    }

    fn into_kept(self) -> Result<KeptForecast, BadState> {
        let service = weather::named(&self.service).ok_or(BadState::Word(self.service))?.service;
        let points = all(self.points, PointBody::into_point)?;
        let forecast = Forecast::new(service, self.issued.map(|moment| moment.0), points)?;
        Ok(KeptForecast {
            forecast: Arc::new(forecast),
            fetched: self.fetched.0,
            latitude: self.latitude,
            longitude: self.longitude,
        })
    }
}

impl PointBody {
    fn of(point: &ForecastPoint) -> Self {
        Self {
            at: Moment(point.at),
            celsius: rounded(point.air.temperature.celsius(), 3),
            vapour_pascals: rounded(point.air.vapour_pressure.pascals(), 3),
            sea_level_pascals: point.sea_level_pressure.map(|pressure| rounded(pressure.pascals(), 1)),
            wind_metres_per_second: point.wind.map(|wind| rounded(wind.metres_per_second(), 2)),
        }
    }

    fn into_point(self) -> Result<ForecastPoint, BadState> {
        Ok(ForecastPoint {
            at: self.at.0,
            air: OutdoorAir {
                temperature: Temperature::from_celsius(self.celsius)?,
                vapour_pressure: VapourPressure::from_pascals(self.vapour_pascals)?,
            },
            sea_level_pressure: self.sea_level_pascals.map(Pressure::from_pascals).transpose()?,
            wind: self.wind_metres_per_second.map(Speed::from_metres_per_second).transpose()?,
        })
    }
}

impl RoomBody {
    fn of(kept: &KeptRoom) -> Self {
        Self {
            name: kept.name.to_string(),
            fresh_air_cubic_metres_per_hour: kept.fresh_air.map(|flow| rounded(flow.cubic_metres_per_hour(), 2)),
            danger: kept.danger,
            emission: kept.emission.map(|emission| EmissionBody {
                grams_per_hour: rounded(emission.grams_per_hour, 3),
                at: Moment(emission.at),
            }),
            alerts: kept.alerts.iter().map(AlertBody::of).collect(),
            inputs: InputsBody::of(&kept.inputs),
            outlooks: kept.outlooks.as_ref().map(OutlooksBody::of),
        }
    }

    fn into_kept(self) -> Result<KeptRoom, BadState> {
        let emission =
            self.emission.map(|emission| KeptEmission { grams_per_hour: emission.grams_per_hour, at: emission.at.0 });
        Ok(KeptRoom {
            name: Identifier::new(&self.name)?,
            fresh_air: self.fresh_air_cubic_metres_per_hour.map(AirFlow::from_cubic_metres_per_hour).transpose()?,
            danger: self.danger,
            emission,
            alerts: all(self.alerts, AlertBody::into_kept)?,
            inputs: self.inputs.into_kept()?,
            outlooks: self.outlooks.map(OutlooksBody::into_kept),
        })
    }
}

impl AlertBody {
    fn of(kept: &KeptAlert) -> Self {
        Self {
            alert: kept.kind.name().to_owned(),
            priority: match kept.priority {
                Priority::Notice => PriorityBody::Notice,
                Priority::Warning => PriorityBody::Warning,
                Priority::Critical => PriorityBody::Critical,
            },
            message: MessageBody::of(&kept.message),
        }
    }

    fn into_kept(self) -> Result<KeptAlert, BadState> {
        let kind = inputs::alert(self.alert)?;
        let priority = match self.priority {
            PriorityBody::Notice => Priority::Notice,
            PriorityBody::Warning => Priority::Warning,
            PriorityBody::Critical => Priority::Critical,
        };
        Ok(KeptAlert { kind, priority, message: self.message.into_message()? })
    }
}

impl MessageBody {
    fn of(message: &Message) -> Self {
        match message {
            Message::HardFrost { from, coldest_at, coldest, measured } => Self::HardFrost {
                from: Moment(*from),
                coldest_at: Moment(*coldest_at),
                celsius: rounded(coldest.celsius(), 3),
                measured_celsius: measured.map(|measured| rounded(measured.celsius(), 3)),
            },
            Message::ForecastOld { fetched } => Self::ForecastOld { fetched: fetched.map(Moment) },
            Message::Shortfall { from, to, worst_at, worst, water } => Self::Shortfall {
                from: Moment(*from),
                to: to.map(Moment),
                worst_at: Moment(*worst_at),
                kilograms_per_hour: rounded(worst.kilograms_per_hour(), 3),
                litres: water.map(|water| rounded(water.litres(), 2)),
            },
            Message::Stale { sensors } => Self::Stale { sensors: sensors.iter().map(Sensor::to_string).collect() },
            Message::CarbonDioxide { measured, limit } => Self::CarbonDioxide {
                measured_ppm: rounded(measured.parts_per_million(), 1),
                limit_ppm: rounded(limit.parts_per_million(), 1),
            },
            Message::Warning(_)
            | Message::Suspect { .. }
            | Message::Apart { .. }
            | Message::CalibrationOld { .. }
            | Message::BeforeRestart => Self::BeforeRestart,
        }
    }

    fn into_message(self) -> Result<Message, BadState> {
        Ok(match self {
            Self::HardFrost { from, coldest_at, celsius, measured_celsius } => Message::HardFrost {
                from: from.0,
                coldest_at: coldest_at.0,
                coldest: Temperature::from_celsius(celsius)?,
                measured: measured_celsius.map(Temperature::from_celsius).transpose()?,
            },
            Self::ForecastOld { fetched } => Message::ForecastOld { fetched: fetched.map(|moment| moment.0) },
            Self::Shortfall { from, to, worst_at, kilograms_per_hour, litres } => Message::Shortfall {
                from: from.0,
                to: to.map(|moment| moment.0),
                worst_at: worst_at.0,
                worst: WaterFlow::from_kilograms_per_hour(kilograms_per_hour)?,
                water: litres.map(WaterVolume::from_litres).transpose()?,
            },
            Self::Stale { sensors } => Message::Stale { sensors: all(sensors, |name| sensor(&name))? },
            Self::CarbonDioxide { measured_ppm, limit_ppm } => Message::CarbonDioxide {
                measured: CarbonDioxide::from_parts_per_million(measured_ppm)?,
                limit: CarbonDioxide::from_parts_per_million(limit_ppm)?,
            },
            Self::BeforeRestart => Message::BeforeRestart,
        })
    }
}
