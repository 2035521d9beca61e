//! What all of it rests on: sensors, forecast, broker and clock.

use std::time::Duration;

use jiff::Timestamp;
use maud::{Markup, html};

use super::Look;
use crate::{
    engine::{SourceState, snapshot::PressureFrom},
    model::{Measured, Place, Reading, farm::spoken},
    units::TemperatureDifference,
};

/// The moment of what is shown, in the farm's time; says so where the date cannot be believed.
pub(super) fn as_of(look: &Look<'_>) -> String {
    let now = &look.snapshot.now;
    if !now.trusted {
        return "The date of the daemon's machine is wrong: no time here can be believed.".to_owned();
    }
    let local = now.wall.to_zoned_datetime(look.voice.time_zone.clone());
    format!("{}.", local.strftime("%A %-d %B, %H:%M:%S"))
}

/// Each sensor's value, age and state, place by place.
pub(super) fn sensors(look: &Look<'_>) -> Markup {
    let places = std::iter::once(Place::Outdoors)
        .chain((0..look.snapshot.farm.spaces.len()).map(Place::Space))
        .filter(|_| look.view.room.is_none())
        .chain((0..look.rooms().len()).filter(|room| look.shows(*room)).map(Place::Room));
    let groups = places.filter_map(|place| {
        let sources: Vec<_> = look.snapshot.sources.iter().filter(|source| source.place == place).collect();
        (!sources.is_empty()).then_some((place, sources))
    });
    let groups: Vec<_> = groups.collect();
    html! {
        section.sensors aria-labelledby="sensors" {
            h2 id="sensors" { "Sensors" }
            @if groups.is_empty() { p { "No sensor is configured here." } }
            @else {
                table {
                    thead {
                        tr { th scope="col" { "Sensor" } th scope="col" { "Value" } th scope="col" { "Age" }
                            th scope="col" { "State" } }
                    }
                    @for (place, sources) in groups {
                        tbody {
                            tr { th.place colspan="4" scope="rowgroup" { (place_title(look, place)) } }
                            @for source in sources { (sensor(look, source)) }
                            (spread(look, place))
                        }
                    }
                }
            }
        }
    }
}

fn place_title<'a>(look: &'a Look<'_>, place: Place) -> &'a str {
    match place {
        Place::Outdoors => "Outdoors",
        Place::Room(_) | Place::Space(_) | Place::Surface { .. } => look.snapshot.farm.title(place),
    }
}

fn sensor(look: &Look<'_>, source: &SourceState) -> Markup {
    let rejected: u64 = source.rejected.values().sum();
    html! {
        tr class=(source.reading.state()) {
            th scope="row" {
                (source.quantity.words())
                @if let Some(position) = &source.position { ", " (spoken(position)) }
            }
            td { @match source.reading {
                Reading::Never => i { "no data yet" },
                Reading::Rejected { .. } => i { "refused" },
                Reading::Stale { value, .. } => { "last " (measured(look, value)) }
                Reading::Fresh { value, .. } | Reading::Ageing { value, .. } | Reading::Suspect { value, .. } => {
                    (measured(look, value))
                }
            } }
            td { @if let Some(at) = source.reading.at() { (age(look.snapshot.now.since(at))) } }
            td {
                @match source.reading { Reading::Never => "silent", _ => (source.reading.state()) }
                @if rejected > 0 { ", " (rejected) " refused" }
            }
        }
        @if let Some(fault) = source.reading.fault() {
            tr { td.why colspan="4" { "The " (source.quantity.words()) " " (fault.reason()) "." } }
        }
    }
}

/// How far apart the believed sensors of a room are, and where it is most and least.
fn spread(look: &Look<'_>, place: Place) -> Markup {
    let Place::Room(index) = place else { return html! {} };
    let (spread, units) = (&look.snapshot.rooms[index].spread, look.voice.units);
    let kelvins = |apart: f64| units.temperature_difference(TemperatureDifference::clamped(apart)).to_string();
    let all = [
        ("temperature", &spread.temperature, &kelvins as &dyn Fn(f64) -> String),
        ("humidity", &spread.relative_humidity, &|apart| format!("{:.1} points", 100.0 * apart)),
        ("carbon dioxide", &spread.carbon_dioxide, &|apart| format!("{:.0} %", 100.0 * apart)),
    ];
    html! {
        @for (name, apart, text) in all {
            @if let Some(apart) = apart {
                tr { td.why colspan="4" {
                    @if apart.wide { b { "Far apart: " } } @else { "Apart: " }
                    (name) " by " (text(apart.difference))
                    @if let (Some(low), Some(high)) = (&apart.lowest_at, &apart.highest_at) {
                        ", least at the " (spoken(low)) ", most at the " (spoken(high))
                    }
                    "."
                } }
            }
        }
    }
}

fn measured(look: &Look<'_>, value: Measured) -> String {
    let units = look.voice.units;
    match value {
        Measured::Temperature(value) | Measured::DewPoint(value) | Measured::SurfaceTemperature(value) => {
            units.temperature(value)
        }
        Measured::RelativeHumidity(value) => units.relative_humidity(value),
        Measured::CarbonDioxide(value) => units.carbon_dioxide(value),
        Measured::Pressure(value) => units.pressure(value),
        Measured::FanState(value) | Measured::HumidifierState(value) => units.percent(value),
    }
    .to_string()
}

/// A length of time in its largest sensible unit.
pub(super) fn age(age: Duration) -> String {
    let seconds = age.as_secs();
    match seconds {
        0..=119 => format!("{seconds} s"),
        120..=7_199 => format!("{} min", seconds / 60),
        7_200..=172_799 => format!("{} h", seconds / 3_600),
        _ => format!("{} days", seconds / 86_400),
    }
}

/// The air outdoors, who forecasts it, the broker and the clock, as sentences.
pub(super) fn section(look: &Look<'_>) -> Markup {
    let now = &look.snapshot.now;
    html! {
        section.sources aria-labelledby="sources" {
            h2 id="sources" { "What this rests on" }
            dl {
                dt { "Outdoors" } dd { (outdoors(look)) }
                dt { "Forecast" } dd { (forecast(look)) }
                dt { "Air pressure" } dd { (pressure(look)) }
                dt { "Broker" } dd {
                    @if look.snapshot.site.connected { "Connected." }
                    @else { b { "Not connected." } " Readings do not arrive, and advice does not leave. Look at the broker and \
                        at the network between." }
                }
                dt { "Clock" } dd {
                    @if now.trusted { "Believed." }
                    @else { b { "Wrong." } " Advice and warnings are withheld until it has the network's time." }
                }
            }
        }
    }
}

fn outdoors(look: &Look<'_>) -> String {
    let (site, units) = (&look.snapshot.site, look.voice.units);
    let Some(air) = site.outdoors.air else {
        return "Not known: neither a sensor nor a forecast speaks.".to_owned();
    };
    let from = if site.outdoors.from_sensor { "by the farm's own sensor" } else { "by the forecast" };
    let coldest = site.coldest.map_or_else(String::new, |(at, temperature)| {
        format!(
            " The coldest of the next 24 hours: {} at {}.",
            units.temperature(temperature),
            look.voice.time(at, look.snapshot.now.wall)
        )
    });
    format!(
        "{}, {}, {}, {from}.{coldest}",
        units.temperature(air.temperature()),
        units.relative_humidity(air.relative_humidity()),
        units.humidity_ratio(air.humidity_ratio())
    )
}

fn forecast(look: &Look<'_>) -> Markup {
    let site = &look.snapshot.site;
    let used = site.forecast.as_ref().map(|forecast| forecast.service);
    let Some(service) = used.or(site.forecast_service) else {
        return html! { "None: no service is configured." };
    };
    let now = look.snapshot.now.wall;
    let since = |at: Timestamp| Duration::try_from(now.duration_since(at)).unwrap_or_default();
    let failed: u64 = site.services.iter().flat_map(|state| state.failures.values()).sum();
    html! {
        @match site.forecast_fetched {
            None => { b { "No data yet" } " from " (service.title()) "." }
            Some(fetched) => {
                (service.title()) ", fetched " (age(since(fetched))) " ago"
                @if let Some(forecast) = &site.forecast { ", up to " (look.voice.time(forecast.ends(), now)) }
                "."
                @if !service.attribution().is_empty() { " " (service.attribution()) "." }
            }
        }
        @if let Some(first) = site.forecast_service.filter(|first| *first != service) {
            " It stands in, because " (first.title().replacen("The ", "the ", 1)) " is down."
        }
        @if failed > 0 {
            " Failed fetches since the start: " (failed) "."
        }
    }
}

fn pressure(look: &Look<'_>) -> String {
    let site = &look.snapshot.site;
    let from = match site.pressure_from {
        PressureFrom::Sensor => "by the farm's own sensor",
        PressureFrom::Forecast => "by the forecast, brought to the farm's elevation",
        PressureFrom::StandardAtmosphere => "that of the standard atmosphere at the farm's elevation",
    };
    format!("{}, {from}.", look.voice.units.pressure(site.pressure))
}
