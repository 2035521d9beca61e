//! The page that a grower looks at before bed, as HTML from one snapshot.
//!
//! What is asked first stands first: a sentence for each room, the water to fill, what is wrong; then the drawings, and
//! below them what all of it rests on. It is whole without script; the script only fetches it again when something has
//! changed, and says so when it has lost the daemon. Every value is escaped by the templates. What is not known is said
//! to be not known: no dash stands for it and no zero.

use maud::{DOCTYPE, Markup, html};

use crate::{advice::Voice, engine::Snapshot, model::Room, units::UnitSystem};

mod night;
mod outlook;
mod plot;
mod psychrometric;
mod sections;
mod sources;
mod sun;

/// The page's look; served as it is.
pub const STYLE: &str = include_str!("page.css");
/// Fetches the page anew when the daemon says that something has changed; served as it is.
pub const SCRIPT: &str = include_str!("page.js");

/// What of the snapshot is looked at, and how.
#[derive(Debug, Clone, Copy, Default)]
pub struct View {
    /// One room by its place in the farm, or the whole farm.
    pub room: Option<usize>,
    /// Other units than the farm's own.
    pub units: Option<UnitSystem>,
}

/// A view with everything that its sections need.
struct Look<'a> {
    snapshot: &'a Snapshot,
    voice: Voice,
    view: View,
}

impl Look<'_> {
    /// Asks for the same units where they are not the farm's.
    fn query(&self) -> &'static str {
        self.view.units.map_or("", query)
    }

    fn rooms(&self) -> &[Room] {
        &self.snapshot.farm.rooms
    }

    /// Whether a room is shown here.
    fn shows(&self, room: usize) -> bool {
        self.view.room.is_none_or(|only| only == room)
    }

    fn room_link(&self, room: &Room) -> Markup {
        html! { a href={ "/rooms/" (room.name) (self.query()) } { (room.title) } }
    }
}

const fn query(units: UnitSystem) -> &'static str {
    match units {
        UnitSystem::Metric => "?units=metric",
        UnitSystem::Us => "?units=us",
    }
}

/// The whole page. A view of a room that is not there is the view of the farm.
pub fn page(snapshot: &Snapshot, view: View) -> String {
    let room = view.room.filter(|room| *room < snapshot.rooms.len());
    let units = view.units.filter(|units| *units != snapshot.farm.site.units);
    let mut voice = snapshot.voice();
    voice.units = units.unwrap_or(voice.units);
    let look = Look { snapshot, voice, view: View { room, units } };
    let verdicts = night::verdicts(snapshot, &look.voice);
    html! {
        (DOCTYPE)
        html lang="en" data-version=(env!("CARGO_PKG_VERSION")) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title(&look, &verdicts)) }
                link rel="stylesheet" href="/page.css";
                script src="/page.js" defer {}
            }
            body {
                (header(&look))
                main id="main" { (content(&look, &verdicts)) }
                (footer(&look))
            }
        }
    }
    .into_string()
}

/// What a tab of the browser can say: how many rooms ask for something.
fn title(look: &Look<'_>, verdicts: &[night::Verdict]) -> String {
    let site = &look.snapshot.farm.site.title;
    if let Some(room) = look.view.room.and_then(|index| look.rooms().get(index)) {
        return format!("{}, {site}", room.title);
    }
    match verdicts.iter().filter(|verdict| verdict.urgency < night::Urgency::Well).count() {
        0 if verdicts.is_empty() => site.clone(),
        0 => format!("All well, {site}"),
        1 => format!("1 room to look at, {site}"),
        count => format!("{count} rooms to look at, {site}"),
    }
}

fn header(look: &Look<'_>) -> Markup {
    let other = match look.voice.units {
        UnitSystem::Metric => UnitSystem::Us,
        UnitSystem::Us => UnitSystem::Metric,
    };
    let words = match other {
        UnitSystem::Metric => "Show in metric units",
        UnitSystem::Us => "Show in US units",
    };
    html! {
        header {
            a.skip href="#main" { "Skip to tonight" }
            p.site { a href={ "/" (look.query()) } { (look.snapshot.farm.site.title) } }
            p.when {
                span id="as-of" { (sources::as_of(look)) }
                " " a id="units" href=(query(other)) { (words) }
            }
            p id="link" role="status" { "This page does not follow the farm by itself here: load it again to see what is new." }
        }
    }
}

fn content(look: &Look<'_>, verdicts: &[night::Verdict]) -> Markup {
    let Some(worst) = verdicts.first() else {
        return html! {
            h1 { "Tonight" }
            p.empty { "No room is configured yet. The file examples/one-room.yaml shows how to write one down." }
            (sources::section(look))
        };
    };
    let room = look.view.room.unwrap_or(worst.room);
    html! {
        h1 {
            @match look.view.room { Some(room) => (look.rooms()[room].title), None => "Tonight" }
        }
        (sections::verdicts(look, verdicts))
        (sections::water(look))
        (sections::alerts(look))
        (sections::air(look, room))
        (sections::ahead(look, room))
        (sections::levers(look, room))
        (sections::advice(look, verdicts))
        (sources::sensors(look))
        (sources::section(look))
    }
}

/// What nobody may forget, on every page.
fn footer(look: &Look<'_>) -> Markup {
    html! {
        footer {
            h2 { "Cautions" }
            ul {
                li { "This is advice. It is not a safety device: fit independent gas alarms and hard-wired interlocks." }
                li { "The crop's carbon dioxide limit is not people's. Nothing here means that a room is safe to enter." }
                li { "Spores harm lungs: wear a respirator at harvest. Humidifiers spread what lives in them: keep them "
                    "clean against " i { "Legionella" } ", and use water low in minerals." }
                li { "Wet rooms: mind electricity and slips. No heater without a flue." }
                li { "Relative humidity near saturation is uncertain by several points, and forecasts err, most of all on "
                    "frosty nights." }
                li { "Local codes and licensed practice decide." }
            }
            p {
                "Mistwright " (env!("CARGO_PKG_VERSION")) ". "
                @if look.view.room.is_some() { a href={ "/" (look.query()) } { "The whole farm" } ". " }
                "For machines: " a href="/metrics" { "metrics" } ", " a href="/snapshot.json" { "everything as JSON" } ", "
                a href="/readyz" { "readiness" } ", " a href="/healthz" { "health" } "."
            }
        }
    }
}
