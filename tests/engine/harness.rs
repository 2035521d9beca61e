//! A farm, a clock that the test moves, and the engine between them.

use std::{sync::Arc, time::Duration};

use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use mistwright::{
    advice::{AlertKind, Decision},
    engine::{Effect, Engine, Event, Memory, Snapshot},
    model::{
        Band, Bands, Fan, FanMoves, Farm, Forecast, ForecastPoint, Humidifier, HumidifierMethod, Identifier, Measured,
        Now, OutdoorAir, Place, Quantity, Room, Service, Site, Source, Species, Stage, WaterSupply,
        farm::{Crop, Respiration},
    },
    physics::Curve,
    units::{
        AirFlow, CarbonDioxide, Elevation, Fraction, Mass, Pressure, RelativeHumidity, Temperature, UnitSystem,
        VapourPressure, Volume, WaterFlow, WaterVolume,
    },
    wire::weather::met_norway,
};

pub fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value).unwrap()
}

pub fn percent(value: f64) -> RelativeHumidity {
    RelativeHumidity::from_percent(value).unwrap()
}

pub fn ppm(value: f64) -> CarbonDioxide {
    CarbonDioxide::from_parts_per_million(value).unwrap()
}

pub fn flow(value: f64) -> AirFlow {
    AirFlow::from_cubic_metres_per_hour(value).unwrap()
}

/// 60 m³ with 400 kg of oyster substrate, drawing from outdoors; the humidifier gives 2.7 kg/h of vapour.
pub fn room() -> Room {
    let name = Identifier::new("cellar").unwrap();
    let volume = Volume::from_cubic_metres(60.0).unwrap();
    let bands = Bands {
        temperature: Band { lowest: celsius(12.0), preferred: celsius(16.0), highest: celsius(20.0) },
        relative_humidity: Band { lowest: percent(85.0), preferred: percent(92.0), highest: percent(95.0) },
        carbon_dioxide_limit: ppm(1_000.0),
    };
    Room {
        title: "Cellar".to_owned(),
        crop: Some(Crop {
            species: Species::Oyster,
            stage: Stage::Fruiting,
            substrate: Mass::from_kilograms(400.0).unwrap(),
            respiration: Respiration { middle: 0.2, upper: 0.3 },
        }),
        fan: Fan::plain(FanMoves::Exhaust, [flow(60.0), flow(240.0), flow(480.0)]),
        humidifier: Some(Humidifier {
            evaporated: Fraction::from_ratio(0.9).unwrap(),
            ..Humidifier::plain(
                HumidifierMethod::Ultrasonic,
                WaterFlow::from_kilograms_per_hour(3.0).unwrap(),
                WaterSupply::Tank(WaterVolume::from_litres(60.0).unwrap()),
            )
        }),
        ..Room::bare(name, volume, bands)
    }
}

/// A farm of these rooms at sea level, with outdoor sensors, and in each room every quantity that a room can have.
pub fn farm(rooms: Vec<Room>) -> Farm {
    let source = |place, quantity| Source::new(place, quantity, Duration::from_secs(300));
    let mut sources = vec![
        source(Place::Outdoors, Quantity::Temperature),
        source(Place::Outdoors, Quantity::RelativeHumidity),
        source(Place::Outdoors, Quantity::Pressure),
    ];
    for index in 0..rooms.len() {
        for quantity in [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide] {
            sources.push(source(Place::Room(index), quantity));
        }
    }
    Farm {
        site: Site {
            name: Identifier::new("frosthollow").unwrap(),
            title: "Frosthollow".to_owned(),
            elevation: Elevation::from_metres(0.0).unwrap(),
            latitude: 61.2,
            longitude: 21.3,
            time_zone: TimeZone::UTC,
            units: UnitSystem::Metric,
            hard_frost: celsius(-4.0),
            design_cold: Some(celsius(-25.0)),
        },
        spaces: Vec::new(),
        rooms,
        sources,
    }
}

/// The engine with its farm and the time.
pub struct Bench {
    pub engine: Engine,
    pub farm: Arc<Farm>,
    pub now: Now,
    pub notices: Vec<String>,
}

impl Bench {
    pub fn new(farm: Farm) -> Self {
        Self::with_service(farm, Some(met_norway::SERVICE))
    }

    pub fn with_service(farm: Farm, service: Option<Service>) -> Self {
        let wall = "2027-01-15T18:00:00Z".parse().unwrap();
        let now = Now { elapsed: Duration::from_secs(1_000), wall, trusted: true };
        let farm = Arc::new(farm);
        let mut bench = Self { engine: Engine::new(Arc::clone(&farm), service, &now), farm, now, notices: Vec::new() };
        bench.event(Event::Connected);
        bench
    }

    /// A new run on `farm` with the `memory` of an old one, on a machine that has been started again.
    pub fn restarted(memory: Memory, farm: Farm, wall: Timestamp, trusted: bool) -> Self {
        let now = Now { elapsed: Duration::from_secs(40), wall, trusted };
        let farm = Arc::new(farm);
        let mut engine = Engine::new(Arc::clone(&farm), Some(met_norway::SERVICE), &now);
        let effects = engine.restore(memory, &now);
        let notices = effects.into_iter().filter_map(|effect| match effect {
            Effect::Notify(notice) => Some(notice.sentence),
            Effect::FetchForecast(_) => None,
        });
        let mut bench = Self { engine, farm, now, notices: notices.collect() };
        bench.event(Event::Tick);
        bench
    }

    pub fn event(&mut self, event: Event) -> Vec<Effect> {
        let effects = self.engine.handle(event, &self.now);
        self.notices.extend(effects.iter().filter_map(|effect| match effect {
            Effect::Notify(notice) => Some(notice.sentence.clone()),
            Effect::FetchForecast(_) => None,
        }));
        effects
    }

    /// Lets time pass, calling the engine at each of its own deadlines.
    pub fn pass(&mut self, time: Duration) {
        let end = self.now.elapsed + time;
        while self.tick(end) {}
    }

    /// Goes on to the engine's next deadline, or to `end` if that is sooner. Whether there was still time to pass.
    pub fn tick(&mut self, end: Duration) -> bool {
        if self.now.elapsed >= end {
            return false;
        }
        let next = self.engine.next_deadline(&self.now).min(end);
        assert!(next > self.now.elapsed, "the engine asks to be called in the past");
        let step = next - self.now.elapsed;
        self.now.elapsed = next;
        self.now.wall += SignedDuration::try_from(step).unwrap();
        self.event(Event::Tick);
        true
    }

    /// A reading in the base unit of its quantity.
    pub fn say(&mut self, place: Place, quantity: Quantity, value: f64) {
        let source = self
            .farm
            .sources
            .iter()
            .position(|source| source.place == place && source.quantity == quantity)
            .expect("the farm of the tests has this source");
        let measured = Measured::from_base(quantity, value).unwrap();
        self.event(Event::Reading { source, measured, taken: None });
    }

    /// Temperature in °C and relative humidity in percent.
    pub fn air(&mut self, place: Place, temperature: f64, humidity: f64) {
        self.say(place, Quantity::Temperature, temperature);
        self.say(place, Quantity::RelativeHumidity, humidity / 100.0);
    }

    /// A forecast of one temperature in °C for each hour from now on, at `humidity` percent over water.
    pub fn forecast(&mut self, temperatures: &[f64], humidity: f64) {
        let forecast = hourly(self.now.wall, temperatures, humidity);
        self.event(Event::Forecast {
            service: forecast.service,
            forecast: Some(forecast),
            keep_for: Duration::from_secs(3_600),
        });
    }

    pub fn snapshot(&self) -> Snapshot {
        self.engine.snapshot(&self.now)
    }

    pub fn decision(&self, room: usize) -> Decision {
        self.snapshot().rooms[room].decision.clone()
    }

    pub fn room_alert(&self, room: usize, kind: AlertKind) -> &'static str {
        self.snapshot().rooms[room].alerts.iter().find(|alert| alert.kind == kind).unwrap().published()
    }

    pub fn site_alert(&self, kind: AlertKind) -> &'static str {
        self.snapshot().site.alerts.iter().find(|alert| alert.kind == kind).unwrap().published()
    }
}

/// Hourly points from `start` on.
pub fn hourly(start: Timestamp, temperatures: &[f64], humidity: f64) -> Forecast {
    let sea_level = Pressure::from_pascals(101_325.0).unwrap();
    let points = temperatures.iter().zip(0..).map(|(temperature, hour)| {
        let temperature = celsius(*temperature);
        let saturation = Curve::Water.pressure_in_air(temperature, sea_level).unwrap().pascals();
        ForecastPoint {
            at: start + SignedDuration::from_hours(hour),
            air: OutdoorAir {
                temperature,
                vapour_pressure: VapourPressure::from_pascals(saturation * humidity / 100.0).unwrap(),
            },
            sea_level_pressure: None,
            wind: None,
        }
    });
    Forecast::new(met_norway::SERVICE, None, points.collect()).unwrap()
}
