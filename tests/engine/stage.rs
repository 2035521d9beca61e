//! A room whose sensors speak each minute, some of which can be made to lie.

use std::time::Duration;

use jiff::SignedDuration;
use mistwright::{
    advice::{AlertKind, alert::Message},
    engine::{Event, Rejection, Snapshot},
    model::{Fault, Identifier, Measured, Place, Quantity, Source},
};

use super::harness::{Bench, farm, hourly, room};

/// What a sensor sends this minute.
#[derive(Debug, Clone, Copy)]
pub enum Says {
    Value(f64),
    Nonsense,
    Nothing,
}

/// What is true this minute, by which honest sensors speak.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    /// Indoors, °C.
    pub celsius: f64,
    /// Indoors, ratio.
    pub humidity: f64,
    /// Indoors.
    pub ppm: f64,
    /// Outdoors, °C.
    pub outdoors: f64,
    /// What the fan reports.
    pub fan: f64,
    /// What the humidifier reports.
    pub humidifier: f64,
}

impl Default for Truth {
    fn default() -> Self {
        Self { celsius: 16.0, humidity: 0.90, ppm: 800.0, outdoors: 8.0, fan: 0.4, humidifier: 0.4 }
    }
}

/// The engine, its sensors, and the time in minutes since they began.
pub struct Stage {
    pub bench: Bench,
    pub minute: u64,
    pub truth: Truth,
    /// Minutes between two readings.
    pub every: u64,
    /// What is forecast for outdoors, where somebody forecasts.
    pub forecast: Option<f64>,
}

/// The source of a quantity at a position of the room.
pub fn at(position: &str, quantity: Quantity) -> Source {
    let source = Source::new(Place::Room(0), quantity, Duration::from_secs(900));
    Source { position: (!position.is_empty()).then(|| Identifier::new(position).unwrap()), ..source }
}

/// The source of a quantity outdoors.
pub fn outdoors(quantity: Quantity) -> Source {
    Source::new(Place::Outdoors, quantity, Duration::from_secs(900))
}

/// The three positions of the room, from its top to its floor, and how their air differs: °C, ratio, share.
pub const POSITIONS: [(&str, f64, f64, f64); 3] =
    [("top-shelf", 0.25, -0.006, -0.03), ("middle", 0.0, 0.0, 0.0), ("floor", -0.2, 0.008, 0.04)];

/// Temperature, humidity and carbon dioxide at all three positions.
pub fn three_of_each() -> Vec<Source> {
    let inside = POSITIONS.iter().flat_map(|(position, ..)| {
        [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide].map(|of| at(position, of))
    });
    inside.collect()
}

impl Stage {
    /// A farm that nobody forecasts for.
    pub fn new(sources: Vec<Source>) -> Self {
        Self::with_forecast(sources, None)
    }

    /// A farm for which this temperature is forecast at all hours.
    pub fn with_forecast(sources: Vec<Source>, forecast: Option<f64>) -> Self {
        let mut room = room();
        room.bands.carbon_dioxide_limit = super::harness::ppm(2_000.0);
        let mut farm = farm(vec![room]);
        farm.sources = sources;
        let service = forecast.is_some().then_some(mistwright::wire::weather::met_norway::SERVICE);
        let bench = Bench::with_service(farm, service);
        Self {
            bench,
            minute: 0,
            truth: Truth { outdoors: forecast.unwrap_or(8.0), ..Truth::default() },
            every: 1,
            forecast,
        }
    }

    /// What an honest source would say now: the truth, where it stands, and a little of its own.
    pub fn honest(&self, source: &Source) -> f64 {
        let position = source.position.as_ref().map_or("middle", Identifier::as_str);
        let (_, warmer, moister, more) = POSITIONS.into_iter().find(|(name, ..)| *name == position).unwrap();
        let minute = self.minute as f64;
        let swing = |period: f64| (minute / period * std::f64::consts::TAU).sin();
        // Every sensor rustles in its own rhythm.
        let own = swing(7.0 + 3.0 * warmer);
        match (source.quantity, source.place) {
            (Quantity::Temperature, Place::Outdoors) => self.truth.outdoors + 0.6 * swing(300.0) + 0.03 * own,
            // Three kelvins between temperature and dew point: 79 % at −10 °C, 82 % at 8 °C.
            (Quantity::RelativeHumidity, Place::Outdoors) => 0.79 + 0.002 * swing(290.0) + 0.001 * own,
            (Quantity::DewPoint, Place::Outdoors) => self.truth.outdoors - 3.0 + 0.6 * swing(300.0) + 0.03 * own,
            (Quantity::Temperature, _) => self.truth.celsius + 0.55 * swing(120.0) + warmer + 0.02 * own,
            (Quantity::RelativeHumidity, _) => self.truth.humidity + 0.018 * swing(100.0) + moister + 0.001 * own,
            (Quantity::DewPoint, _) => self.truth.celsius - 1.8 + 0.4 * swing(120.0) + 0.02 * own,
            (Quantity::CarbonDioxide, _) => (self.truth.ppm + 40.0 * swing(90.0)) * (1.0 + more) + own,
            (Quantity::Pressure, _) => 101_000.0 + 100.0 * swing(400.0),
            (Quantity::FanState, _) => self.truth.fan,
            (Quantity::HumidifierState, _) => self.truth.humidifier,
            (Quantity::SurfaceTemperature, _) => self.truth.celsius - 2.0 + 0.02 * own,
        }
    }

    /// Lets the next readings come in, with what `lie` makes of each.
    pub fn step(&mut self, lie: impl Fn(&Source, f64) -> Says) {
        self.minute += self.every;
        let step = Duration::from_secs(60 * self.every);
        self.bench.now.elapsed += step;
        self.bench.now.wall += SignedDuration::try_from(step).unwrap();
        if let Some(celsius) = self.forecast.filter(|_| self.minute % 30 < self.every) {
            let forecast = hourly(self.bench.now.wall, &[celsius; 48], 80.0);
            let keep_for = Duration::from_secs(3_600);
            self.bench.event(Event::Forecast { service: forecast.service, forecast: Some(forecast), keep_for });
        }
        let farm = std::sync::Arc::clone(&self.bench.farm);
        let mut events = Vec::new();
        for (index, source) in farm.sources.iter().enumerate() {
            match lie(source, self.honest(source)) {
                Says::Value(value) => {
                    let measured = Measured::from_base(source.quantity, value).unwrap();
                    events.push(Event::Reading { source: index, measured, taken: None });
                }
                Says::Nonsense => {
                    let rejection = Rejection { word: "not-a-number", sentence: "it is not a number".to_owned() };
                    events.push(Event::Rejected { source: index, rejection });
                }
                Says::Nothing => {}
            }
        }
        let effects = self.bench.engine.handle_all(events, &self.bench.now);
        self.bench.notices.extend(effects.iter().filter_map(|effect| match effect {
            mistwright::engine::Effect::Notify(notice) => Some(notice.sentence.clone()),
            mistwright::engine::Effect::FetchForecast(_) => None,
        }));
    }

    /// Lets honest readings come in for a while.
    pub fn honestly(&mut self, minutes: u64) {
        let end = self.minute + minutes;
        while self.minute < end {
            self.step(|_, honest| Says::Value(honest));
        }
    }

    /// What the believed honest sensors of a quantity say now: lowest and highest.
    pub fn honest_spread(&self, quantity: Quantity, is_liar: impl Fn(&Source) -> bool) -> (f64, f64) {
        let honest = self
            .bench
            .farm
            .sources
            .iter()
            .filter(|source| source.place == Place::Room(0) && source.quantity == quantity && !is_liar(source))
            .map(|source| self.honest(source));
        honest.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
    }
}

/// The alerts that are raised, of the room and of the site.
pub fn raised(snapshot: &Snapshot) -> Vec<AlertKind> {
    let alerts = snapshot.site.alerts.iter().chain(snapshot.rooms.iter().flat_map(|room| &room.alerts));
    alerts.filter(|alert| ["notice", "warning", "critical"].contains(&alert.published())).map(|a| a.kind).collect()
}

/// The faults that the raised alerts tell of, with the sensor's words.
pub fn told(snapshot: &Snapshot) -> Vec<(Fault, String)> {
    let alerts = snapshot.site.alerts.iter().chain(snapshot.rooms.iter().flat_map(|room| &room.alerts));
    let messages = alerts.filter_map(|alert| alert.message());
    messages
        .filter_map(|message| if let Message::Suspect { sensors } = message { Some(sensors.clone()) } else { None })
        .flatten()
        .map(|(sensor, fault)| (fault, sensor.to_string()))
        .collect()
}
