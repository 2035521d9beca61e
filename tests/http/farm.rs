//! The invented farm, and snapshots of it that a real engine made.

use std::{sync::Arc, time::Duration};

use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use mistwright::{
    engine::{
        Command, Engine, Event, FetchFailure, Rejection, Snapshot,
        kept_inputs::KeptInputs,
        memory::{KeptLearned, KeptRoom, Memory},
    },
    model::{
        Fan, FanMoves, Farm, Forecast, ForecastPoint, Humidifier, HumidifierMethod, Identifier, Measured, Now,
        OutdoorAir, Place, Quantity, Room, Site, Source, Species, Stage, WaterSupply, farm::Crop,
    },
    units::{
        AirChanges, AirFlow, Elevation, Fraction, Mass, RelativeHumidity, Temperature, UnitSystem, Volume, WaterFlow,
        WaterVolume,
    },
    wire::weather::met_norway,
};

/// 8 January 2027, 18:00 UTC: after every possible release date of the daemon that is tested.
pub const DUSK: i64 = 1_799_431_200;

fn room(name: &str, title: &str) -> Room {
    let crop = Crop {
        species: Species::Oyster,
        stage: Stage::Fruiting,
        substrate: Mass::from_kilograms(2_400.0).unwrap(),
        respiration: Species::Oyster.entry(Stage::Fruiting).respiration(),
    };
    let volume = Volume::from_cubic_metres(240.0).unwrap();
    Room {
        title: title.to_owned(),
        infiltration: AirChanges::from_per_hour(0.1).unwrap(),
        crop: Some(crop),
        fan: Fan {
            fallback: AirFlow::from_cubic_metres_per_hour(960.0).unwrap(),
            ..Fan::plain(
                FanMoves::Exhaust,
                [240.0, 1_200.0, 2_400.0].map(|flow| AirFlow::from_cubic_metres_per_hour(flow).unwrap()),
            )
        },
        humidifier: Some(Humidifier {
            evaporated: Fraction::from_ratio(0.8).unwrap(),
            ..Humidifier::plain(
                HumidifierMethod::Ultrasonic,
                WaterFlow::from_kilograms_per_hour(12.0).unwrap(),
                WaterSupply::Tank(WaterVolume::from_litres(200.0).unwrap()),
            )
        }),
        ..Room::bare(Identifier::new(name).unwrap(), volume, Species::Oyster.entry(Stage::Fruiting).bands())
    }
}

/// Two rooms; the second has two thermometers and nothing else.
pub fn farm() -> Farm {
    let source = |place, quantity| Source::new(place, quantity, Duration::from_secs(300));
    Farm {
        site: Site {
            name: Identifier::new("frosthollow").unwrap(),
            title: "Frosthollow".to_owned(),
            elevation: Elevation::from_metres(310.0).unwrap(),
            latitude: 61.234_567,
            longitude: -10.000_04,
            time_zone: TimeZone::UTC,
            units: UnitSystem::Metric,
            hard_frost: Temperature::from_celsius(-5.0).unwrap(),
            design_cold: None,
        },
        spaces: Vec::new(),
        rooms: vec![room("oyster-hall", "Oyster hall"), room("shiitake-loft", "Shiitake loft")],
        sources: vec![
            source(Place::Room(0), Quantity::Temperature),
            source(Place::Room(0), Quantity::RelativeHumidity),
            source(Place::Room(0), Quantity::CarbonDioxide),
            source(Place::Room(1), Quantity::Temperature),
            source(Place::Room(1), Quantity::Temperature),
        ],
    }
}

/// `seconds` after dusk.
pub fn at(seconds: u64) -> Now {
    let wall = Timestamp::from_second(DUSK).unwrap() + SignedDuration::from_secs(i64::try_from(seconds).unwrap());
    Now { elapsed: Duration::from_secs(86_400 + seconds), wall, trusted: true }
}

/// Two days that fall from 2 °C to −12 °C in the first night and stay there.
fn forecast() -> Forecast {
    let elevation = Elevation::from_metres(310.0).unwrap();
    let points = (0_u8..49).map(|hour| {
        let temperature = Temperature::from_celsius((2.0 - f64::from(hour)).max(-12.0)).unwrap();
        let humidity = RelativeHumidity::from_percent(80.0).unwrap();
        ForecastPoint {
            at: Timestamp::from_second(DUSK + 3_600 * i64::from(hour)).unwrap(),
            air: OutdoorAir::from_relative_humidity(temperature, humidity, elevation).unwrap(),
            sea_level_pressure: None,
            wind: None,
        }
    });
    Forecast::new(met_norway::SERVICE, None, points.collect()).unwrap()
}

/// The farm before anything has arrived.
pub fn engine() -> Engine {
    Engine::new(Arc::new(farm()), Some(met_norway::SERVICE), &at(0))
}

/// Takes in one of everything: what an earlier run has learned, readings, a refusal, a forecast, a failure, a connection.
pub fn feed(engine: &mut Engine) {
    let reading = |source, quantity, value| Event::Reading {
        source,
        measured: Measured::from_base(quantity, value).unwrap(),
        taken: None,
    };
    let failure = FetchFailure {
        service: met_norway::SERVICE,
        word: "slow",
        sentence: "It was slow.".to_owned(),
        retry_after: None,
    };
    let learned = KeptLearned {
        latitude: farm().site.latitude,
        longitude: farm().site.longitude,
        ..crate::store::learned("2027-01-09T00:00:00Z".parse().unwrap())
    };
    let room = KeptRoom {
        name: farm().rooms[0].name.clone(),
        fresh_air: None,
        danger: false,
        emission: None,
        alerts: Vec::new(),
        inputs: KeptInputs::default(),
        outlooks: Some((crate::store::outlooks("2027-01-09T00:00:00Z".parse().unwrap()), 0)),
    };
    engine.restore(Memory { learned: Some(learned), rooms: vec![room], ..Memory::default() }, &at(0));
    engine.handle_all(
        [
            Event::Connected,
            Event::Command { room: Some(0), command: Command::TankVolume(WaterVolume::from_litres(30.0).unwrap()) },
            Event::ForecastFailed(failure),
            Event::Forecast {
                service: met_norway::SERVICE,
                forecast: Some(forecast()),
                keep_for: Duration::from_secs(1_800),
            },
            reading(0, Quantity::Temperature, 16.0),
            reading(1, Quantity::RelativeHumidity, 0.9),
            reading(2, Quantity::CarbonDioxide, 850.0),
            reading(3, Quantity::Temperature, 14.0),
            reading(4, Quantity::Temperature, 15.0),
            Event::Rejected { source: 0, rejection: Rejection { word: "empty", sentence: "It is empty.".to_owned() } },
        ],
        &at(10),
    );
}

/// The farm after [`feed`], seen ten seconds after dusk.
pub fn fed() -> Snapshot {
    let mut engine = engine();
    feed(&mut engine);
    engine.snapshot(&at(10))
}

/// The same with sensors at two heights of the oyster hall.
pub fn fed_at_two_heights() -> Snapshot {
    let mut farm = farm();
    let first = farm.sources.len();
    let quantities = [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide];
    for position in ["top-shelf", "floor"] {
        for quantity in quantities {
            let source = Source::new(Place::Room(0), quantity, Duration::from_secs(300));
            farm.sources.push(Source { position: Some(Identifier::new(position).unwrap()), ..source });
        }
    }
    let mut engine = Engine::new(Arc::new(farm), Some(met_norway::SERVICE), &at(0));
    feed(&mut engine);
    for (index, value) in [17.0, 0.88, 800.0, 15.5, 0.93, 900.0].into_iter().enumerate() {
        let measured = Measured::from_base(quantities[index % 3], value).unwrap();
        engine.handle(Event::Reading { source: first + index, measured, taken: None }, &at(10));
    }
    engine.snapshot(&at(10))
}
