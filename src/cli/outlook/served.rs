//! The night as a running daemon serves it.

use std::time::Duration;

use jiff::{Timestamp, tz::TimeZone};
use serde_json::Value;

use super::table::{Found, Night, RoomNight};
use crate::{advice::Voice, cli::run::runtime, units::UnitSystem, wire::outlook::read_findings};

/// A daemon on the same machine answers in milliseconds, one on a farm's network in less than this.
const PATIENCE: Duration = Duration::from_secs(10);

/// Why a daemon's outlook cannot be shown.
#[derive(Debug, thiserror::Error)]
pub(super) enum Unserved {
    #[error("the runtime cannot be started: {0}")]
    Runtime(std::io::Error),
    #[error("no daemon answers at {url}: {reason}. Is it running, and does `http.listen` say this address?")]
    Unreachable { url: String, reason: String },
    #[error("{url} answers with status {status}, and not with a snapshot.")]
    Status { url: String, status: u16 },
    #[error("{url} does not answer as Mistwright does: {reason}.")]
    NotASnapshot { url: String, reason: String },
}

/// Asks the daemon at `from`.
pub(super) fn night(from: &str, units: Option<UnitSystem>) -> Result<Night, Unserved> {
    let url = format!("{}/snapshot.json", from.trim_end_matches('/').trim_end_matches("/snapshot.json"));
    let body = runtime().map_err(Unserved::Runtime)?.block_on(fetch(&url))?;
    let not_one = |reason: String| Unserved::NotASnapshot { url: url.clone(), reason };
    let document: Value = serde_json::from_slice(&body).map_err(|error| not_one(error.to_string()))?;
    read(&document, units).ok_or_else(|| not_one("members of its snapshot are missing".to_owned()))
}

async fn fetch(url: &str) -> Result<Vec<u8>, Unserved> {
    let unreachable = |error: reqwest::Error| {
        let mut reason: &dyn std::error::Error = &error;
        while let Some(source) = reason.source() {
            reason = source;
        }
        Unserved::Unreachable { url: url.to_owned(), reason: reason.to_string() }
    };
    let client = reqwest::Client::builder().no_proxy().timeout(PATIENCE).build().map_err(unreachable)?;
    let answer = client.get(url).send().await.map_err(unreachable)?;
    if !answer.status().is_success() {
        return Err(Unserved::Status { url: url.to_owned(), status: answer.status().as_u16() });
    }
    Ok(answer.bytes().await.map_err(unreachable)?.to_vec())
}

/// Reads a snapshot's document.
pub(super) fn read(document: &Value, units: Option<UnitSystem>) -> Option<Night> {
    let site = &document["site"];
    let own = if site["units"].as_str()? == "us" { UnitSystem::Us } else { UnitSystem::Metric };
    let time_zone = site["time_zone"].as_str().and_then(|name| TimeZone::get(name).ok()).unwrap_or(TimeZone::UTC);
    let now: Timestamp = document["taken_at"].as_str()?.parse().ok()?;
    let rooms = document["rooms"].as_array()?.iter().map(room).collect::<Option<Vec<_>>>()?;
    Some(Night {
        farm: site["title"].as_str()?.to_owned(),
        voice: Voice { units: units.unwrap_or(own), time_zone },
        now,
        rooms,
    })
}

fn room(room: &Value) -> Option<RoomNight> {
    let title = room["title"].as_str()?.to_owned();
    let outlook = &room["outlook"];
    if outlook.is_null() {
        let reason = room["no_outlook"].as_str().unwrap_or("The outlook is being made; ask again in some seconds.");
        return Some(RoomNight { title, found: Err(reason.to_owned()) });
    }
    let caveats = outlook["caveats"].as_array()?.iter().filter_map(Value::as_str).map(str::to_owned).collect();
    let findings = |run: &str| read_findings(&outlook[run]["findings"]);
    let lever = room["levers"][0]["sentence"].as_str().map(str::to_owned);
    let found = Found { expected: findings("expected"), colder: findings("colder"), lever, caveats };
    Some(RoomNight { title, found: Ok(Box::new(found)) })
}
