//! What outlives a restart: the file, its accidents, and what the engine makes of it.

mod daemon;
mod file;
mod kill;
mod memory;

use std::{collections::BTreeSet, sync::Arc};

use jiff::Timestamp;
use mistwright::{
    advice::{AlertKind, Priority, alert::Message},
    engine::{
        kept_inputs::{KeptInputs, KeptStage, KeptTank},
        memory::{KeptAlert, KeptEmission, KeptForecast, KeptLearned, KeptRoom, Memory},
    },
    model::{
        Hold, Identifier, Presence, Quantity, Sensor, Service, Stage,
        persistence::{History, HourMean},
        room_score::{AirSaid, AirScore, Errors, Meter, RoomScore, Scorer, WaterSaid, WaterScore},
        score::{Expectation, LeadScore, Score, ServiceScore},
    },
    units::{AirFlow, CarbonDioxide, RelativeHumidity, Temperature, WaterFlow, WaterVolume},
    wire::{state_file::State, weather::met_norway},
};

use crate::engine::harness::hourly;

pub fn moment(second: i64) -> Timestamp {
    Timestamp::from_second(second).unwrap()
}

fn alert(kind: AlertKind, message: Message) -> KeptAlert {
    KeptAlert { kind, priority: Priority::Critical, message }
}

pub fn learned(start: Timestamp) -> KeptLearned {
    let hour = |hour: i64| HourMean {
        hour: moment(1_799_996_400 + 3_600 * hour),
        celsius: -4.125,
        log_vapour: 5.8765,
        samples: 60,
    };
    let lead = LeadScore {
        samples: 400,
        bias: -0.25,
        absolute: 1.125,
        moisture_bias: 0.000_125,
        moisture_absolute: 0.000_25,
        vapour_share: 0.0625,
        frost_samples: 120,
        frost_bias: 0.5,
    };
    let said = Expectation {
        service: Service::PERSISTENCE,
        lead: 24,
        moment: start,
        celsius: -7.5,
        pascals: 300.25,
        humidity_ratio: 0.001_875,
    };
    let score = ServiceScore { service: met_norway::SERVICE, leads: [lead; 6] };
    KeptLearned {
        history: History::new(vec![hour(0), hour(1)]),
        score: Score::new(vec![score], vec![said]),
        latitude: 61.2,
        longitude: 21.3,
    }
}

pub fn outlooks(start: Timestamp) -> Scorer {
    let errors = |samples| Errors { samples, bias: -0.25, absolute: 0.5 };
    let air = AirScore { temperature: errors(9), relative_humidity: errors(7) };
    let score = RoomScore { air: [air; 5], water: [WaterScore { errors: errors(4), drawn: 60.5 }; 2] };
    let said = AirSaid { lead: 24, moment: start, celsius: Some(15.75), humidity: None };
    let heard = AirSaid { celsius: None, humidity: Some(0.875), ..said };
    let water = WaterSaid { lead: 12, moment: start, litres: 55.5, meter: 1_234.5, unheard: 0.25 };
    Scorer::new(score, Meter::at(1_240.25, 0.5), vec![said, heard], vec![water])
}

/// A state in which everything is used that can be kept.
pub fn full() -> State {
    let ppm = |value| CarbonDioxide::from_parts_per_million(value).unwrap();
    let celsius = |value| Temperature::from_celsius(value).unwrap();
    let start = moment(1_800_000_000);
    let hall = vec![
        alert(AlertKind::CarbonDioxidePeople, Message::CarbonDioxide { measured: ppm(16_000.5), limit: ppm(15_000.0) }),
        alert(
            AlertKind::SensorStale,
            Message::Stale { sensors: Quantity::ALL.map(|quantity| Sensor { quantity, position: None }).to_vec() },
        ),
        alert(
            AlertKind::HumidifierShortfall,
            Message::Shortfall {
                from: start,
                to: Some(moment(1_800_003_600)),
                worst_at: moment(1_800_001_800),
                worst: WaterFlow::from_kilograms_per_hour(1.25).unwrap(),
                water: Some(WaterVolume::from_litres(61.5).unwrap()),
            },
        ),
    ];
    let frost =
        Message::HardFrost { measured: Some(celsius(-4.5)), from: start, coldest_at: start, coldest: celsius(-23.4) };
    State {
        memory: Memory {
            newest: Some(start),
            forecast: Some(KeptForecast {
                forecast: Arc::new(hourly(start, &[-4.0, -5.5, -12.25], 100.0)),
                fetched: moment(1_799_999_000),
                latitude: 61.2,
                longitude: 21.3,
            }),
            learned: Some(learned(start)),
            alerts: vec![
                alert(AlertKind::HardFrost, frost),
                alert(AlertKind::ForecastOld, Message::ForecastOld { fetched: None }),
            ],
            rooms: vec![KeptRoom {
                name: Identifier::new("oyster-hall").unwrap(),
                fresh_air: Some(AirFlow::from_cubic_metres_per_hour(312.5).unwrap()),
                danger: true,
                emission: Some(KeptEmission { grams_per_hour: 91.125, at: start }),
                alerts: hall,
                inputs: KeptInputs {
                    stage: Some(KeptStage { told: Stage::Pinning, configured: Stage::Fruiting }),
                    presence: Some((Presence::Absent, moment(1_800_010_000))),
                    hold: Some((
                        Hold {
                            fresh_air: Some(AirFlow::from_cubic_metres_per_hour(240.5).unwrap()),
                            humidity_target: Some(RelativeHumidity::from_percent(88.5).unwrap()),
                        },
                        moment(1_800_020_000),
                    )),
                    tank: Some(KeptTank {
                        volume: WaterVolume::from_litres(41.25).unwrap(),
                        draw: WaterFlow::from_kilograms_per_hour(2.125).unwrap(),
                        told_at: moment(1_799_990_000),
                        at: start,
                    }),
                    shelved: vec![(AlertKind::HumidifierShortfall, moment(1_800_030_000))],
                },
                outlooks: Some((outlooks(start), 0xfedc_ba98_7654_3210)),
            }],
            inputs: KeptInputs {
                shelved: vec![(AlertKind::HardFrost, moment(1_800_040_000))],
                ..KeptInputs::default()
            },
        },
        topics: ["homie/5/frosthollow/$state", "homie/5/frosthollow-cellar/air/temperature"]
            .map(str::to_owned)
            .into_iter()
            .collect::<BTreeSet<_>>(),
    }
}
