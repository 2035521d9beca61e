//! What will happen and what to do: verdicts, water, alerts, air and advice.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::{
    Look,
    night::{self, Verdict},
    outlook::{self, Frame},
    psychrometric::{self, Scene},
};
use crate::{
    advice::{Alert, AlertState, Decision, Mode, Priority},
    engine::RoomState,
    model::{Place, Quantity, Reading, Room, equipment::WaterSupply},
    units::{UnitSystem, WaterVolume},
};

/// The sentence of each room that is shown.
pub(super) fn verdicts(look: &Look<'_>, verdicts: &[Verdict]) -> Markup {
    let shown = verdicts.iter().filter(|verdict| look.shows(verdict.room));
    html! {
        ol.night {
            @for verdict in shown {
                @let room = &look.rooms()[verdict.room];
                li class=(verdict.urgency.class()) {
                    @if look.view.room.is_none() { h2 { (look.room_link(room)) } }
                    p { b.lead { (verdict.urgency.word()) } " " (verdict.sentence) }
                }
            }
        }
    }
}

/// Water for the coming night, room by room and in all.
pub(super) fn water(look: &Look<'_>) -> Markup {
    let units = look.voice.units;
    let rows: Vec<_> = look
        .rooms()
        .iter()
        .zip(&look.snapshot.rooms)
        .enumerate()
        .filter(|(index, _)| look.shows(*index))
        .filter_map(|(_, (room, state))| Some((room, state, room.humidifier?.water, night::water(state))))
        .collect();
    let known: f64 = rows.iter().filter_map(|(.., water)| Some((*water)?.litres())).sum();
    let unknown = rows.iter().filter(|(.., water)| water.is_none()).count();
    let all = units.water_volume(WaterVolume::clamped(known));
    html! {
        @if !rows.is_empty() {
            section.water aria-labelledby="water" {
                h2 id="water" { "Water to fill tonight" }
                table {
                    thead {
                        tr { th scope="col" { "Room" } th scope="col" { "Takes" } th scope="col" { "In the tank" }
                            th scope="col" { "To fill" } }
                    }
                    tbody {
                        @for (room, state, supply, water) in &rows {
                            tr {
                                th scope="row" { (room.title) }
                                td { @match water {
                                    Some(water) => (units.water_volume(*water)),
                                    None => i { "not known" },
                                } }
                                (tank(units, *supply, state, *water))
                            }
                        }
                    }
                    @if rows.len() > 1 {
                        tfoot {
                            tr {
                                th scope="row" { "In all" }
                                td { @if unknown == rows.len() { i { "not known" } }
                                    @else if unknown > 0 { "at least " (all) } @else { (all) } }
                                td {}
                                td {}
                            }
                        }
                    }
                }
                p.note {
                    @match night::dawn(look.snapshot) {
                        Some(dawn) => { "What is taken until the end of the night, "
                            (look.voice.time(dawn, look.snapshot.now.wall)) "." }
                        None => "What the next 12 hours take.",
                    }
                    @if unknown > 0 { " Where it is not known, the room's temperature, the air it draws in or a forecast \
                        for the night is missing." }
                }
            }
        }
    }
}

/// What is in a tank, and what has to be filled into it before the night.
fn tank(units: UnitSystem, supply: WaterSupply, state: &RoomState, takes: Option<WaterVolume>) -> Markup {
    let level = state.tank.map(|level| level.volume);
    let shown = |volume: WaterVolume| units.water_volume(volume);
    match (supply, level) {
        (WaterSupply::Mains, _) => html! { td { "mains" } td { "nothing" } },
        (WaterSupply::Unknown, None) => html! { td { i { "not known" } } td { i { "not known" } } },
        (WaterSupply::Tank(size), None) => html! {
            td { i { "not told" } ", of " (shown(size)) }
            td { "to the top" @if takes.is_some_and(|takes| takes > size) { ", and again" } }
        },
        (_, Some(level)) => {
            let missing = takes.map(|takes| WaterVolume::clamped((takes.litres() - level.litres()).max(0.0)));
            html! {
                td { "about " (shown(level)) }
                td { @match missing {
                    Some(missing) if missing.litres() > 0.0 => b { (shown(missing)) },
                    Some(_) => "nothing",
                    None => i { "not known" },
                } }
            }
        }
    }
}

/// Everything that is raised, with what to do about it.
pub(super) fn alerts(look: &Look<'_>) -> Markup {
    let site = look.snapshot.site.alerts.iter().map(|alert| ("Farm", alert));
    let rooms = look.rooms().iter().zip(&look.snapshot.rooms).enumerate();
    let rooms = rooms
        .filter(|(index, _)| look.shows(*index))
        .flat_map(|(_, (room, state))| state.alerts.iter().map(|alert| (room.title.as_str(), alert)));
    let all: Vec<(&str, &Alert)> = site.chain(rooms).collect();
    let mut raised: Vec<_> = all.iter().filter(|(_, alert)| alert.is_raised()).collect();
    raised.sort_by_key(|(_, alert)| std::cmp::Reverse(night::priority(alert)));
    let shelved: Vec<_> = all.iter().filter(|(_, alert)| alert.shelf.is_some() && alert.stands()).collect();
    let blind: Vec<_> = all.iter().filter(|(_, alert)| matches!(alert.state, AlertState::Suppressed)).collect();
    html! {
        section.alerts aria-labelledby="alerts" {
            h2 id="alerts" { "Alerts" }
            @if raised.is_empty() { p { "None is raised." } }
            @else {
                ul {
                    @for (place, alert) in raised {
                        li class=(priority(alert)) {
                            p { b { (place) ": " (alert.kind.title()) } " " span.state { (priority(alert)) } }
                            p { (night::sentence(alert, &look.voice, look.snapshot.now.wall)) }
                        }
                    }
                }
            }
            @for (place, alert) in &shelved {
                @if let Some(shelf) = alert.shelf {
                    p.note {
                        "Shelved until " (look.voice.time(shelf.ends_at, look.snapshot.now.wall)) ": " (place) ", "
                        (alert.kind.title()) "."
                    }
                }
            }
            @if !blind.is_empty() {
                p.note { "Cannot be judged, because what it rests on is missing: " (by_place(&blind)) "." }
            }
        }
    }
}

/// Titles behind the place that they are of, each place once.
fn by_place(alerts: &[&(&str, &Alert)]) -> String {
    let mut text = String::new();
    let mut before = None;
    for (place, alert) in alerts {
        // Writing to a string cannot fail.
        let _ = match before {
            Some(same) if same == place => write!(text, ", {}", night::lower(alert.kind.title())),
            Some(_) => write!(text, "; {place}: {}", night::lower(alert.kind.title())),
            None => write!(text, "{place}: {}", night::lower(alert.kind.title())),
        };
        before = Some(place);
    }
    text
}

const fn priority(alert: &Alert) -> &'static str {
    match (&alert.state, night::priority(alert)) {
        (AlertState::Unknown { .. }, _) => "no longer known",
        (AlertState::Clearing { .. }, _) => "clearing",
        (_, Some(Priority::Critical)) => "critical",
        (_, Some(Priority::Warning)) => "warning",
        (_, Some(Priority::Notice)) => "notice",
        (_, None) => "normal",
    }
}

/// The moist-air chart of one room.
pub(super) fn air(look: &Look<'_>, index: usize) -> Markup {
    let room = &look.rooms()[index];
    html! {
        @if let Some(scene) = Scene::of(look.snapshot, index) {
            section.air aria-labelledby="air" {
                h2 id="air" {
                    "What the air holds"
                    @if look.view.room.is_none() { ": " (room.title) }
                }
                (psychrometric::chart(&scene, room, &look.voice, look.snapshot.now.wall))
            }
        }
    }
}

/// The next 48 hours of one room, with what they rest on.
pub(super) fn ahead(look: &Look<'_>, index: usize) -> Markup {
    let (room, state, now) = (&look.rooms()[index], &look.snapshot.rooms[index], look.snapshot.now.wall);
    let place = (look.snapshot.farm.site.latitude, look.snapshot.farm.site.longitude);
    html! {
        section.ahead aria-labelledby="ahead" {
            h2 id="ahead" {
                "The next 48 hours"
                @if look.view.room.is_none() { ": " (room.title) }
            }
            @match (state.outlook.as_deref(), state.no_outlook) {
                (Some(outlook), _) => {
                    (outlook::chart(&Frame { outlook, room, place, voice: &look.voice, now }))
                    @if !outlook.caveats.is_empty() {
                        h3 { "What it rests on" }
                        ul.caveats { @for caveat in &outlook.caveats { li { (caveat.sentence(&look.voice, now)) } } }
                    }
                }
                (None, Some(why)) => p { (why.sentence()) },
                (None, None) => p { "The outlook is being made." },
            }
        }
    }
}

/// What would help in the hours ahead of one room, best first, each with what it is worth.
pub(super) fn levers(look: &Look<'_>, index: usize) -> Markup {
    let (room, levers) = (&look.rooms()[index], &look.snapshot.rooms[index].levers);
    html! {
        @if !levers.is_empty() {
            section.levers aria-labelledby="levers" {
                h2 id="levers" {
                    "What would help"
                    @if look.view.room.is_none() { ": " (room.title) }
                }
                ol { @for lever in levers { li { (lever.sentence(&look.voice, look.snapshot.now.wall)) } } }
                p.note { "Each is the outlook made again with this one change; what it is worth is the difference." }
            }
        }
    }
}

/// What was set from outside and holds still.
fn held(look: &Look<'_>, index: usize) -> Markup {
    let (inputs, units, now) = (&look.snapshot.rooms[index].inputs, look.voice.units, look.snapshot.now.wall);
    html! {
        @if let Some(stage) = inputs.stage { p.note { "You have set the stage to " (stage.words()) "." } }
        @if let Some(presence) = inputs.presence {
            p.note {
                "You have said that people are " (presence.value.name()) ", until "
                (look.voice.time(presence.ends_at, now)) "."
            }
        }
        @if let Some(hold) = inputs.hold {
            p.note {
                "You hold "
                @if let Some(air) = hold.value.fresh_air { "fresh air at " (units.air_flow(air)) }
                @if hold.value.fresh_air.is_some() && hold.value.humidity_target.is_some() { " and " }
                @if let Some(target) = hold.value.humidity_target { "humidity at " (units.relative_humidity(target)) }
                ", until " (look.voice.time(hold.ends_at, now)) "."
            }
        }
    }
}

/// Every shown room's values and what is advised for it, in the order of the verdicts.
pub(super) fn advice(look: &Look<'_>, verdicts: &[Verdict]) -> Markup {
    html! {
        section.advice aria-labelledby="advice" {
            h2 id="advice" { "Now, and what is advised" }
            @for verdict in verdicts.iter().filter(|verdict| look.shows(verdict.room)) {
                @let room = &look.rooms()[verdict.room];
                @let state = &look.snapshot.rooms[verdict.room];
                article {
                    @if look.view.room.is_none() { h3 { (look.room_link(room)) } }
                    p.values { (values(look, verdict.room)) }
                    (held(look, verdict.room))
                    p { (setpoints(look, room, &state.decision)) }
                    p { (state.decision.sentence(&look.voice)) }
                }
            }
        }
    }
}

/// What the room's sensors say; a quantity that no sensor is configured for is left out.
fn values(look: &Look<'_>, index: usize) -> Markup {
    let (units, state) = (look.voice.units, &look.snapshot.rooms[index]);
    let measured = |quantity: Quantity| {
        look.snapshot.sources.iter().any(|source| source.place == Place::Room(index) && source.quantity == quantity)
    };
    let temperature = reading("temperature", state.temperature, |value| units.temperature(value).to_string());
    let humidity = reading("humidity", state.relative_humidity, |value| units.relative_humidity(value).to_string());
    let carbon = reading("carbon dioxide", state.carbon_dioxide, |value| units.carbon_dioxide(value).to_string());
    let all = [
        (Quantity::Temperature, temperature),
        (Quantity::RelativeHumidity, humidity),
        (Quantity::CarbonDioxide, carbon),
    ];
    let shown: Vec<Markup> =
        all.into_iter().filter(|(quantity, _)| measured(*quantity)).map(|(_, text)| text).collect();
    html! {
        @if shown.is_empty() { "No sensor is configured in this room." }
        @for (index, text) in shown.iter().enumerate() {
            @if index > 0 { ", " }
            (text)
            @if index + 1 == shown.len() { "." }
        }
    }
}

/// A value that may be acted on stands alone; any other says what it is.
fn reading<T: Copy>(name: &str, reading: Reading<T>, text: impl Fn(T) -> String) -> Markup {
    html! {
        @match reading {
            Reading::Fresh { value, .. } | Reading::Ageing { value, .. } => {
                span.value { (text(value)) } " " (name)
                @if matches!(reading, Reading::Ageing { .. }) { " (" i { "ageing" } ")" }
            },
            Reading::Stale { value, .. } => { (name) " " i { "stale" } " (last " (text(value)) ")" },
            Reading::Suspect { value, .. } => { (name) " " i { "not believed" } " (" (text(value)) ")" },
            Reading::Rejected { .. } => { (name) ": " i { "every message is refused" } },
            Reading::Never => { (name) ": " i { "no data yet" } },
        }
    }
}

fn setpoints(look: &Look<'_>, room: &Room, decision: &Decision) -> Markup {
    let units = look.voice.units;
    let Some(set) = decision.setpoints else {
        return html! {
            b { "Advice is withheld." } " Use the fallbacks: fresh air of " (units.air_flow(room.fan.fallback))
            @if room.humidifier.is_some() { ", humidifier off" } "."
        };
    };
    html! {
        @if decision.mode == Mode::Degraded { b { "Careful settings, because something is missing:" } } @else { "Set" }
        " fresh air to " b { (units.air_flow(set.fresh_air)) } " (" (format!("{:.1}", set.air_changes.per_hour()))
        " changes an hour, the fan at " (units.percent(set.fan_command)) "), humidity to "
        b { (units.relative_humidity(set.humidity_target)) }
        @if room.humidifier.is_some() { ", the humidifier at " b { (units.percent(set.humidifier_duty)) } }
        ". Valid until " (look.voice.time(decision.valid_until, look.snapshot.now.wall)) "."
    }
}
