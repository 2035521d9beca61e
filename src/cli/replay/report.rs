//! The summary: for people within a hundred columns, and for machines.

use std::collections::BTreeSet;

use jiff::{Timestamp, civil::Date};
use serde_json::{Value, json};

use super::{
    input::Counts,
    tally::{Episode, Hours, RoomTally, SourceTally, Tally},
};
use crate::{
    advice::{LimitedBy, Mode},
    cli::text::{WIDTH, item, table},
    model::{Farm, Measured},
    units::{UnitSystem, WaterVolume},
};

/// Alerts of one kind and room that are listed one by one.
const LISTED: usize = 12;

/// What a summary is made of.
pub(super) struct Replayed<'a> {
    pub farm: &'a Farm,
    pub tally: &'a Tally,
    pub counts: &'a Counts,
    /// Sentences.
    pub assumed: &'a [String],
}

impl Replayed<'_> {
    fn local(&self, moment: Timestamp) -> String {
        moment.to_zoned_datetime(self.farm.site.time_zone.clone()).strftime("%a %d %b %Y %H:%M").to_string()
    }

    fn short(&self, moment: Timestamp) -> String {
        moment.to_zoned_datetime(self.farm.site.time_zone.clone()).strftime("%d %b %H:%M").to_string()
    }

    fn titled(&self, room: Option<usize>) -> &str {
        room.and_then(|room| self.farm.rooms.get(room)).map_or(&self.farm.site.title, |room| &room.title)
    }
}

/// Why nothing could be replayed.
pub(super) fn why_nothing(counts: &Counts) -> String {
    if counts.lines == 0 {
        return "the log is empty.".to_owned();
    }
    let others = [
        (counts.bad.count(), "could not be read"),
        (counts.outside, "lie outside of --from and --to"),
        (counts.retained, "were kept by the broker, and are no news"),
        (counts.own, "are the daemon's own"),
        (counts.foreign, "are of topics that the configuration does not name"),
    ];
    let others: Vec<String> =
        others.iter().filter(|(count, _)| *count > 0).map(|(count, why)| format!("{count} {why}")).collect();
    format!("of {} lines none is heard: {}.", counts.lines, others.join(", "))
}

/// For people.
pub(super) fn text(replayed: &Replayed<'_>) -> String {
    let mut out = head(replayed);
    for (title, lines) in [
        ("Alerts", alerts(replayed)),
        (&*water_title(replayed.farm.site.units), water(replayed)),
        ("Hours outside the bands", hours(replayed)),
        ("Advice", advice(replayed)),
        ("Sources", sources(replayed)),
        ("Bad lines", bad(replayed)),
        ("What this rests on", replayed.assumed.iter().map(|sentence| item("- ", sentence)).collect()),
    ] {
        if !lines.is_empty() {
            out.push_str(&format!("\n{title}\n"));
            lines.iter().for_each(|line| out.push_str(&format!("{line}\n")));
        }
    }
    out
}

fn head(replayed: &Replayed<'_>) -> String {
    let Replayed { farm, tally, counts, .. } = replayed;
    let mut sentences = Vec::new();
    if let Some((began, ended)) = tally.began.zip(tally.ended) {
        let hours = ended.since(began.elapsed).as_secs_f64() / 3_600.0;
        let length = if hours < 72.0 { format!("{hours:.1} hours") } else { format!("{:.1} days", hours / 24.0) };
        sentences.push(format!(
            "{}: {length}, from {} to {} ({}).",
            farm.site.title,
            replayed.local(began.wall),
            replayed.local(ended.wall),
            farm.site.time_zone.iana_name().unwrap_or("local time")
        ));
    }
    let passed_over = [
        (counts.outside, "outside of what was selected"),
        (counts.retained, "kept by the broker, so that they are no news"),
        (counts.own, "of the daemon's own"),
        (counts.foreign, "of topics that the configuration does not name"),
    ];
    let passed_over: Vec<String> =
        passed_over.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!("{count} {what}")).collect();
    let over =
        if passed_over.is_empty() { String::new() } else { format!(" Passed over: {}.", passed_over.join(", ")) };
    sentences.push(format!(
        "{} lines were read: {} readings, {} settings and {} forecasts were heard.{over}",
        counts.lines, counts.readings, counts.settings, counts.forecasts
    ));
    sentences.iter().map(|sentence| item("", sentence) + "\n").collect()
}

fn alerts(replayed: &Replayed<'_>) -> Vec<String> {
    let episodes = &replayed.tally.episodes;
    let kinds: BTreeSet<_> = episodes.iter().map(|episode| (episode.room, episode.kind)).collect();
    let mut lines = Vec::new();
    for (room, kind) in kinds {
        let of_kind: Vec<&Episode> = episodes.iter().filter(|e| (e.room, e.kind) == (room, kind)).collect();
        lines.push(item("", &format!("{}: {}.", replayed.titled(room), kind.title())));
        for episode in of_kind.iter().take(LISTED) {
            let to = episode.to.map_or_else(|| "the end".to_owned(), |to| replayed.short(to));
            lines.push(item(
                "  - ",
                &format!("{} to {to}, {}. {}", replayed.short(episode.from), episode.word, episode.said),
            ));
        }
        if of_kind.len() > LISTED {
            lines.push(format!("  - and {} more; `--json` has them all.", of_kind.len() - LISTED));
        }
    }
    if lines.is_empty() {
        lines.push("None was raised.".to_owned());
    }
    if replayed.tally.uncounted > 0 {
        lines.push(format!("{} more were raised, and their times are not kept.", replayed.tally.uncounted));
    }
    lines
}

fn water_title(units: UnitSystem) -> String {
    format!("Water drawn by the advised duty, {}", units.water_volume(WaterVolume::clamped(0.0)).unit)
}

/// One line for each day, the rooms beside each other, in as many tables as they need.
fn water(replayed: &Replayed<'_>) -> Vec<String> {
    let units = replayed.farm.site.units;
    let shown = |litres: f64| format!("{:.1}", units.water_volume(WaterVolume::clamped(litres)).value + 0.0);
    let rooms: Vec<(&str, &RoomTally)> = replayed
        .farm
        .rooms
        .iter()
        .zip(&replayed.tally.rooms)
        .filter(|(room, _)| room.humidifier.is_some())
        .map(|(room, tally)| (room.title.as_str(), tally))
        .collect();
    let days: BTreeSet<Date> = rooms.iter().flat_map(|(_, tally)| tally.water.keys().copied()).collect();
    let mut lines = Vec::new();
    for beside in side_by_side(&rooms) {
        if !lines.is_empty() {
            lines.push(String::new());
        }
        let mut rows = vec![vec!["Day".to_owned()]];
        rows[0].extend(beside.iter().map(|(title, _)| short_title(title)));
        for day in &days {
            let mut row = vec![day.strftime("%a %d %b %Y").to_string()];
            row.extend(beside.iter().map(|(_, tally)| shown(tally.water.get(day).copied().unwrap_or(0.0))));
            rows.push(row);
        }
        let mut all = vec!["All".to_owned()];
        all.extend(beside.iter().map(|(_, tally)| shown(tally.water.values().sum())));
        rows.push(all);
        lines.extend(table(&rows));
    }
    lines
}

/// Longest title at the head of a column.
const TITLE: usize = 16;

fn short_title(title: &str) -> String {
    if title.chars().count() <= TITLE {
        return title.to_owned();
    }
    title.chars().take(TITLE - 1).collect::<String>() + "…"
}

/// As many rooms as fit beside a date.
fn side_by_side<'a, 'b>(rooms: &'b [(&'a str, &'a RoomTally)]) -> Vec<&'b [(&'a str, &'a RoomTally)]> {
    let (mut groups, mut from, mut used) = (Vec::new(), 0, 0);
    const DATE: usize = 15;
    for (index, (title, _)) in rooms.iter().enumerate() {
        let width = short_title(title).chars().count().max(8) + 2;
        if index > from && DATE + used + width > WIDTH {
            groups.push(&rooms[from..index]);
            (from, used) = (index, 0);
        }
        used += width;
    }
    groups.push(&rooms[from..]);
    groups.retain(|group| !group.is_empty());
    groups
}

fn hours(replayed: &Replayed<'_>) -> Vec<String> {
    let heads = ["Room", "Too cold", "Too warm", "Too dry", "Too moist", "CO2 above", "Not known"];
    let mut rows = vec![heads.map(str::to_owned).to_vec()];
    for (room, tally) in replayed.farm.rooms.iter().zip(&replayed.tally.rooms) {
        let Hours { cold, warm, dry, moist, gas, .. } = tally.hours;
        let unknown = tally.hours.temperature_unknown.max(tally.hours.humidity_unknown);
        let mut row = vec![room.title.clone()];
        row.extend([cold, warm, dry, moist, gas, unknown].map(|hours| format!("{hours:.1}")));
        rows.push(row);
    }
    table(&rows)
}

fn advice(replayed: &Replayed<'_>) -> Vec<String> {
    let rooms = replayed.farm.rooms.iter().zip(&replayed.tally.rooms);
    let line = |title: &str, tally: &RoomTally| {
        let modes = Mode::ALL.iter().zip(tally.modes).filter(|(_, hours)| *hours > 0.05);
        let modes: Vec<String> = modes.map(|(mode, hours)| format!("{} {hours:.1} h", mode.name())).collect();
        let mut limits: Vec<(LimitedBy, f64)> = LimitedBy::ALL.into_iter().zip(tally.limits).collect();
        limits.retain(|(limit, hours)| *hours > 0.05 && *limit != LimitedBy::Nothing);
        limits.sort_by(|a, b| b.1.total_cmp(&a.1));
        let limits: Vec<String> =
            limits.iter().take(4).map(|(limit, hours)| format!("{} {hours:.1} h", limit.name())).collect();
        let limits =
            if limits.is_empty() { String::new() } else { format!(" It was limited by {}.", limits.join(", ")) };
        let times = if tally.changes == 1 { "once" } else { "times" };
        let changed = if tally.changes == 1 { times.to_owned() } else { format!("{} {times}", tally.changes) };
        let modes = if modes.is_empty() { String::new() } else { format!("; {}", modes.join(", ")) };
        item("- ", &format!("{title}: changed {changed}{modes}.{limits}"))
    };
    rows_or_none(rooms.map(|(room, tally)| line(&room.title, tally)).collect())
}

fn rows_or_none(lines: Vec<String>) -> Vec<String> {
    if lines.is_empty() { vec!["None.".to_owned()] } else { lines }
}

fn sources(replayed: &Replayed<'_>) -> Vec<String> {
    let mut rows =
        vec![["Source", "First heard", "", "Last heard", "", "Readings", "Refused"].map(str::to_owned).to_vec()];
    let units = replayed.farm.site.units;
    for (source, tally) in replayed.farm.sources.iter().zip(&replayed.tally.sources) {
        let SourceTally { first, last, accepted, refused } = tally;
        let name = format!("{}, {}", source.sensor().words(), replayed.farm.title(source.place));
        let cells = |at: &Option<(Timestamp, Measured)>| match at {
            Some((at, measured)) => [replayed.short(*at), shown(units, *measured)],
            None => ["never".to_owned(), String::new()],
        };
        let mut row = vec![name];
        row.extend(cells(first));
        row.extend(cells(last));
        row.extend([accepted.to_string(), refused.to_string()]);
        rows.push(row);
    }
    table(&rows)
}

fn shown(units: UnitSystem, measured: Measured) -> String {
    match measured {
        Measured::Temperature(value) | Measured::DewPoint(value) | Measured::SurfaceTemperature(value) => {
            units.temperature(value).to_string()
        }
        Measured::RelativeHumidity(value) => units.relative_humidity(value).to_string(),
        Measured::CarbonDioxide(value) => units.carbon_dioxide(value).to_string(),
        Measured::Pressure(value) => units.pressure(value).to_string(),
        Measured::FanState(value) | Measured::HumidifierState(value) => units.percent(value).to_string(),
    }
}

fn bad(replayed: &Replayed<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for (word, kind) in &replayed.counts.bad.0 {
        for (at, why) in &kind.first {
            lines.push(item("- ", &format!("{at}: {why}.")));
        }
        let more = kind.count - kind.first.len() as u64;
        if more > 0 {
            lines.push(format!("- and {more} more of this kind ({word})."));
        }
    }
    lines
}

/// For machines: base units, times in UTC, days by the farm's calendar.
pub(super) fn json(replayed: &Replayed<'_>) -> Value {
    let Replayed { farm, tally, counts, assumed } = replayed;
    let moment = |at: Option<crate::model::Now>| at.map(|now| now.wall.to_string());
    let rooms: Vec<Value> =
        farm.rooms.iter().zip(&tally.rooms).map(|(room, tally)| room_json(&room.name, tally)).collect();
    let alerts: Vec<Value> = tally.episodes.iter().map(|episode| episode_json(farm, episode)).collect();
    let sources: Vec<Value> = farm.sources.iter().zip(&tally.sources).map(|(source, tally)| {
        let heard = |at: &Option<(Timestamp, Measured)>| {
            at.map(|(at, measured)| json!({ "at": at.to_string(), "value": measured.base() }))
        };
        json!({
            "place": farm.place_name(source.place), "sensor": source.sensor().to_string(), "first": heard(&tally.first),
            "last": heard(&tally.last), "readings": tally.accepted, "refused": tally.refused,
        })
    }).collect();
    let bad = counts.bad.0.iter().map(|(word, kind)| {
        let lines = kind.first.iter();
        let lines: Vec<Value> =
            lines.map(|(at, why)| json!({ "file": at.file, "line": at.line, "why": why })).collect();
        ((*word).to_owned(), json!({ "count": kind.count, "first": lines }))
    });
    json!({
        "farm": farm.site.name.as_str(),
        "from": moment(tally.began),
        "to": moment(tally.ended),
        "lines": {
            "read": counts.lines, "readings": counts.readings, "settings": counts.settings,
            "forecasts": counts.forecasts, "retained": counts.retained, "own": counts.own, "foreign": counts.foreign,
            "outside": counts.outside, "bad": counts.bad.count(),
        },
        "bad_lines": bad.collect::<serde_json::Map<_, _>>(),
        "rooms": rooms,
        "alerts": alerts,
        "alerts_not_kept": tally.uncounted,
        "sources": sources,
        "assumed": assumed,
    })
}

fn room_json(name: &crate::model::Identifier, tally: &RoomTally) -> Value {
    let named = |hours: &[f64], names: Vec<&str>| {
        let hours = names.into_iter().zip(hours).filter(|(_, hours)| **hours > 0.0);
        hours.map(|(name, hours)| (name.to_owned(), json!(rounded(*hours)))).collect::<serde_json::Map<_, _>>()
    };
    let water = tally.water.iter().map(|(day, litres)| (day.to_string(), json!(rounded(*litres))));
    let hours = &tally.hours;
    json!({
        "room": name.as_str(),
        "water_litres": water.collect::<serde_json::Map<_, _>>(),
        "water_litres_total": rounded(tally.water.values().sum()),
        "hours": {
            "all": rounded(hours.all), "too_cold": rounded(hours.cold), "too_warm": rounded(hours.warm),
            "temperature_unknown": rounded(hours.temperature_unknown), "too_dry": rounded(hours.dry),
            "too_moist": rounded(hours.moist), "humidity_unknown": rounded(hours.humidity_unknown),
            "carbon_dioxide_above_limit": rounded(hours.gas), "carbon_dioxide_unknown": rounded(hours.gas_unknown),
        },
        "advice": {
            "changes": tally.changes,
            "hours_by_mode": named(&tally.modes, Mode::ALL.map(Mode::name).to_vec()),
            "hours_by_limit": named(&tally.limits, LimitedBy::ALL.map(LimitedBy::name).to_vec()),
        },
    })
}

fn episode_json(farm: &Farm, episode: &Episode) -> Value {
    let room = episode.room.and_then(|room| farm.rooms.get(room)).map(|room| room.name.as_str());
    json!({
        "alert": episode.kind.name(), "room": room, "priority": episode.word, "from": episode.from.to_string(),
        "to": episode.to.map(|to| to.to_string()), "said": episode.said,
    })
}

/// To a thousandth: sums of floats have no meaning behind it.
pub(super) fn rounded(value: f64) -> f64 {
    (value * 1_000.0).round() / 1_000.0
}
