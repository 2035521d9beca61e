//! The night reckoned without a daemon: the engine itself, given a configuration, a forecast and present values.

use std::{path::Path, sync::Arc, time::Duration};

use jiff::Timestamp;

use super::{
    given::Given,
    table::{Found, Night, RoomNight},
};
use crate::{
    advice::Voice,
    config::Config,
    engine::{Engine, Event, Snapshot, command::Command},
    io::clock::Clock,
    model::{self, Forecast, Measured, Place, Source, outlook::NoOutlook},
    units::UnitSystem,
    wire::weather::{self, Protocol, Spot, lines},
};

/// What is given beside the configuration.
pub(super) struct Now<'a> {
    /// Path and text of the forecast.
    pub forecast: Option<(&'a Path, String)>,
    /// The rooms by name.
    pub rooms: &'a [(String, Given)],
    /// The air outdoors.
    pub outdoors: Option<Given>,
    /// When to begin; now, where nothing is said.
    pub at: Option<Timestamp>,
    /// Units, where they are not the farm's own.
    pub units: Option<UnitSystem>,
}

/// Why there is no night to show.
#[derive(Debug, thiserror::Error)]
pub(super) enum Refused {
    #[error("`{name}` is no room of this farm; its rooms are {rooms}.")]
    UnknownRoom { name: String, rooms: String },
    #[error("{path} holds no forecast that can be used: {reason}.")]
    Forecast { path: String, reason: String },
    #[error(
        "The forecast in {path} speaks of {from} to {to}, and not of {now}. Give a newer one, or the moment with --at."
    )]
    OtherDay { path: String, from: Timestamp, to: Timestamp, now: Timestamp },
    #[error("Nothing is known of the weather: give a forecast with --forecast.")]
    NoWeather,
}

/// Reckons the night.
pub(super) fn night(config: Config, given: &Now<'_>) -> Result<Night, Refused> {
    let own = config.forecast.as_ref().map_or(weather::PROTOCOLS[0], |forecast| forecast.protocol);
    let mut farm = config.farm;
    let now = now(given.at);
    let forecast =
        given.forecast.as_ref().map(|(path, text)| forecast(path, text, &Spot::of(&farm.site), own)).transpose()?;
    if let Some((path, forecast)) = given.forecast.as_ref().map(|(path, _)| path).zip(forecast.as_ref()) {
        let (from, to) = (forecast.points()[0].at, forecast.ends());
        if to <= now.wall || from > now.wall + jiff::SignedDuration::from_hours(1) {
            return Err(Refused::OtherDay { path: path.display().to_string(), from, to, now: now.wall });
        }
    }
    if forecast.is_none() {
        return Err(Refused::NoWeather);
    }
    let (readings, tanks) = readings(&mut farm, given)?;
    let units = given.units.unwrap_or(farm.site.units);
    let rooms = farm.rooms.len();
    let service = forecast.as_ref().map(|forecast| forecast.service);
    let mut engine = Engine::new(Arc::new(farm), service, &now);
    let forecast = service.map(|service| Event::Forecast { service, forecast, keep_for: Duration::ZERO });
    engine.handle_all(forecast.into_iter().chain(readings).chain(tanks), &now);
    // One room a turn; an anteroom is looked at twice, because what is drawn from it is known only then.
    for _ in 0..3 * rooms {
        engine.handle(Event::Tick, &now);
    }
    Ok(shown(&engine.snapshot(&now), units))
}

fn now(at: Option<Timestamp>) -> model::Now {
    let now = Clock::machine().now();
    // A moment that was asked for is right by definition.
    model::Now { elapsed: Duration::ZERO, wall: at.unwrap_or(now.wall), trusted: true }
}

/// What sensors say, and what is in the tanks. The sensors of the farm are those whose values were given, and no others.
fn readings(farm: &mut model::Farm, given: &Now<'_>) -> Result<(Vec<Event>, Vec<Event>), Refused> {
    let (mut measured, mut tanks) = (Vec::new(), Vec::new());
    for (name, values) in given.rooms {
        let index = farm.rooms.iter().position(|room| room.name.as_str() == name).ok_or_else(|| {
            let names: Vec<_> = farm.rooms.iter().map(|room| room.name.as_str()).collect();
            Refused::UnknownRoom { name: name.clone(), rooms: names.join(", ") }
        })?;
        of(Place::Room(index), values, &mut measured);
        let command = values.tank.map(Command::TankVolume);
        tanks.extend(command.map(|command| Event::Command { room: Some(index), command }));
    }
    if let Some(values) = &given.outdoors {
        of(Place::Outdoors, values, &mut measured);
    }
    farm.sources = measured
        .iter()
        .map(|(place, measured)| Source::new(*place, measured.quantity(), Duration::from_secs(3_600)))
        .collect();
    let readings = measured.into_iter().enumerate();
    let readings = readings.map(|(source, (_, measured))| Event::Reading { source, measured, taken: None });
    Ok((readings.collect(), tanks))
}

fn of(place: Place, values: &Given, measured: &mut Vec<(Place, Measured)>) {
    let all = [
        values.temperature.map(Measured::Temperature),
        values.relative_humidity.map(Measured::RelativeHumidity),
        values.carbon_dioxide.map(Measured::CarbonDioxide),
    ];
    measured.extend(all.into_iter().flatten().map(|value| (place, value)));
}

/// A service's answer, or lines of our own. The configured service is tried first; what it finds wrong is told where the
/// text is no other service's answer either.
fn forecast(path: &Path, text: &str, spot: &Spot, own: &'static Protocol) -> Result<Forecast, Refused> {
    let refused = |reason: String| Refused::Forecast { path: path.display().to_string(), reason };
    if text.trim_start().starts_with("{\"at\"") {
        return lines::parse(text, spot).map_err(|error| refused(error.to_string()));
    }
    let read = |protocol: &Protocol| (protocol.parse)(text.as_bytes(), spot).map(|parsed| parsed.forecast);
    read(own).or_else(|error| {
        let others = weather::PROTOCOLS.iter().find_map(|protocol| read(protocol).ok());
        others.ok_or_else(|| refused(error.to_string()))
    })
}

fn shown(snapshot: &Snapshot, units: UnitSystem) -> Night {
    let voice = Voice { units, ..snapshot.voice() };
    let now = snapshot.now.wall;
    let rooms = snapshot.farm.rooms.iter().zip(&snapshot.rooms).map(|(room, state)| {
        let found = match state.outlook.as_deref() {
            Some(outlook) => {
                let caveats = outlook.caveats.iter().map(|caveat| caveat.sentence(&voice, now)).collect();
                let lever = state.levers.first().map(|lever| lever.sentence(&voice, now));
                let (expected, colder) = (outlook.expected.findings.clone(), outlook.colder.findings.clone());
                Ok(Box::new(Found { expected, colder, lever, caveats }))
            }
            None => Err(why_none(room, state.no_outlook)),
        };
        RoomNight { title: room.title.clone(), found }
    });
    Night { farm: snapshot.farm.site.title.clone(), rooms: rooms.collect(), voice, now }
}

fn why_none(room: &model::Room, reason: Option<NoOutlook>) -> String {
    match reason {
        Some(NoOutlook::NoRoomTemperature) => {
            format!("Nothing is given of it: --room \"{}=16 °C, 90 %\" would.", room.name)
        }
        Some(reason) => reason.sentence().to_owned(),
        None => "There is no outlook.".to_owned(),
    }
}
