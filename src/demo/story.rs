//! The night's story, told from what any client hears on MQTT.

use std::{
    collections::BTreeMap,
    io::{self, Write},
};

use jiff::{Timestamp, tz::TimeZone};
use serde_json::Value;

use super::{configuration::SITE, farm::NAMES, link::Message};

/// What people call the rooms, in the order of [`NAMES`].
pub(super) const TITLES: [&str; 4] = ["Anteroom", "Oyster hall", "Shiitake loft", "Lion's mane bay"];

/// Columns of the table: heading, width, and the property that fills it.
const COLUMNS: [(&str, usize, &str); 8] = [
    ("air", 8, "air/temperature"),
    ("RH", 7, "air/relative-humidity"),
    ("CO2", 9, "air/carbon-dioxide"),
    ("ratio", 10, "air/humidity-ratio"),
    ("fresh air", 11, "advice/fresh-air"),
    ("target", 7, "advice/humidity-target"),
    ("duty", 6, "advice/humidifier-duty"),
    ("water", 9, "moisture/water-drawn"),
];

/// Hours between two headings.
const HEADING_EVERY: i64 = 6;

/// Lines are no longer than this.
const WIDTH: usize = 100;

/// A change of what limits the advice is told when it has stood for so many batches of readings.
const STANDS: u32 = 5;

/// Units that are not parted from their numbers at the end of a line.
const UNITS: [&str; 10] = ["%", "°C", "°F", "ppm", "kg/h", "lb/h", "g/kg", "m³/h", "cfm", "L"];
const HARD_SPACE: char = '\u{a0}';

/// When an alert was raised, and what it said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Raised {
    /// When it was first raised.
    pub(super) at: Timestamp,
    /// The device of the tree, `frosthollow-oyster-hall`.
    pub(super) device: String,
    /// Which alert.
    pub(super) alert: String,
}

/// Tells the story to `out`.
pub(super) struct Story<W> {
    out: W,
    zone: TimeZone,
    /// The latest payload of every topic, without `homie/5/`.
    heard: BTreeMap<String, String>,
    told_alerts: BTreeMap<String, String>,
    limits: Vec<Limit>,
    hours: i64,
    /// Every first raise, in order.
    pub(super) raised: Vec<Raised>,
}

/// What limits a room's advice, and whether that was told.
#[derive(Debug, Clone, Default)]
struct Limit {
    told: String,
    coming: String,
    stood: u32,
}

impl<W: Write> Story<W> {
    /// A story that has not begun.
    pub(super) fn new(out: W, zone: TimeZone) -> Self {
        Self {
            out,
            zone,
            heard: BTreeMap::new(),
            told_alerts: BTreeMap::new(),
            limits: vec![Limit::default(); NAMES.len()],
            hours: 0,
            raised: Vec::new(),
        }
    }

    /// What the story listens to.
    pub(super) fn filters() -> Vec<String> {
        // One subscription for each device: the embedded broker hands at most a hundred retained messages to each.
        let devices = NAMES.iter().map(|name| format!("homie/5/{SITE}-{name}/#"));
        std::iter::once(format!("homie/5/{SITE}/#")).chain(devices).collect()
    }

    /// Takes in what arrived.
    pub(super) fn hear(&mut self, messages: Vec<Message>) {
        for message in messages {
            if let Some(topic) = message.topic.strip_prefix("homie/5/") {
                if message.payload.is_empty() {
                    self.heard.remove(topic);
                } else {
                    self.heard.insert(topic.to_owned(), message.payload);
                }
            }
        }
    }

    /// A published number of a room, in the published unit.
    pub(super) fn number(&self, room: usize, property: &str) -> Option<f64> {
        self.heard.get(&format!("{SITE}-{}/{property}", NAMES[room]))?.parse().ok()
    }

    /// The unit in which a room's property is published.
    pub(super) fn unit(&self, room: usize, property: &str) -> String {
        self.unit_of(&format!("{SITE}-{}", NAMES[room]), property)
    }

    fn unit_of(&self, device: &str, property: &str) -> String {
        let described = self.heard.get(&format!("{device}/$description"));
        let json: Option<Value> = described.and_then(|text| serde_json::from_str(text).ok());
        let pointer = property.replacen('/', "/properties/", 1);
        json.and_then(|json| Some(json.pointer(&format!("/nodes/{pointer}/unit"))?.as_str()?.to_owned()))
            .unwrap_or_default()
    }

    fn shown(&self, device: &str, property: &str) -> String {
        match self.heard.get(&format!("{device}/{property}")) {
            Some(payload) => {
                let number = payload.strip_prefix('-').map_or_else(|| payload.clone(), |rest| format!("−{rest}"));
                format!("{number} {}", self.unit_of(device, property)).trim_end().to_owned()
            }
            None => "–".to_owned(),
        }
    }

    /// The farm's time of day.
    pub(super) fn time(&self, moment: Timestamp) -> String {
        moment.to_zoned_datetime(self.zone.clone()).strftime("%H:%M").to_string()
    }

    /// A line of its own.
    pub(super) fn line(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.out, "{text}")?;
        self.out.flush()
    }

    /// A sentence, broken at [`WIDTH`] and indented under its first line by `indent`.
    pub(super) fn sentence(&mut self, text: &str, indent: usize) -> io::Result<()> {
        for line in wrapped(text, indent) {
            self.line(&line)?;
        }
        Ok(())
    }

    /// Tells what has changed since it was last told.
    pub(super) fn tell_changes(&mut self, now: Timestamp) -> io::Result<()> {
        self.tell_alerts(now)?;
        for room in 0..NAMES.len() {
            self.tell_limit(room, now)?;
        }
        Ok(())
    }

    fn tell_alerts(&mut self, now: Timestamp) -> io::Result<()> {
        let states: Vec<(String, String)> = self
            .heard
            .iter()
            .filter(|(topic, _)| topic.contains("/alerts/"))
            .map(|(topic, state)| (topic.clone(), state.clone()))
            .collect();
        for (topic, state) in states {
            let Some((device, alert)) = topic.split_once("/alerts/") else { continue };
            let raised = is_raised(&state);
            let before = self.told_alerts.get(&topic).map_or("normal", String::as_str).to_owned();
            if before == state || !(raised || is_raised(&before)) {
                self.told_alerts.insert(topic.clone(), state);
                continue;
            }
            let text = self.heard.get(&format!("{device}/$alert/{alert}")).cloned();
            let said = match (raised, text) {
                (true, Some(text)) => format!("{} {}, {alert}: {text}", state.to_uppercase(), title(device)),
                // The text is on its way.
                (true, None) => continue,
                (false, _) => format!("over: {}, {alert} ({state})", title(device)),
            };
            let first = !self.raised.iter().any(|raised| raised.device == device && raised.alert == alert);
            if raised && first {
                self.raised.push(Raised { at: now, device: device.to_owned(), alert: alert.to_owned() });
            }
            let line = format!("{}  {said}", self.time(now));
            self.told_alerts.insert(topic.clone(), state);
            self.sentence(&line, 7)?;
        }
        Ok(())
    }

    fn tell_limit(&mut self, room: usize, now: Timestamp) -> io::Result<()> {
        let device = format!("{SITE}-{}", NAMES[room]);
        let heard = |property: &str| self.heard.get(&format!("{device}/advice/{property}")).cloned();
        let (Some(mode), Some(reason)) = (heard("mode"), heard("reason")) else { return Ok(()) };
        let present = format!("{mode}, {}", heard("limited-by").unwrap_or_default());
        let limit = &mut self.limits[room];
        if limit.coming == present {
            limit.stood += 1;
        } else {
            *limit = Limit { told: std::mem::take(&mut limit.told), coming: present, stood: 1 };
        }
        if limit.stood < STANDS || limit.told == limit.coming {
            return Ok(());
        }
        limit.told.clone_from(&limit.coming);
        let line = format!("{}  {}: {reason}", self.time(now), TITLES[room]);
        self.sentence(&line, 7)
    }

    /// The table of one hour.
    pub(super) fn tell_hour(&mut self, now: Timestamp) -> io::Result<()> {
        if self.hours % HEADING_EVERY == 0 {
            let heads: String = COLUMNS.iter().map(|(head, width, _)| format!(" {head:>width$}")).collect();
            self.line("")?;
            self.line(format!("       {:<15}{heads}", "room").trim_end())?;
        }
        self.hours += 1;
        let outdoors = ["temperature", "relative-humidity", "humidity-ratio"]
            .map(|property| self.shown(SITE, &format!("outdoors/{property}")))
            .join(", ");
        self.line(&format!("{}  outdoors {outdoors}", self.time(now)))?;
        for (name, title) in NAMES.iter().zip(TITLES) {
            let device = format!("{SITE}-{name}");
            let cells: String = COLUMNS
                .iter()
                .map(|(_, width, property)| format!(" {:>width$}", self.shown(&device, property)))
                .collect();
            self.line(&format!("       {title:<15}{cells}"))?;
        }
        Ok(())
    }
}

fn is_raised(state: &str) -> bool {
    matches!(state, "notice" | "warning" | "critical" | "unknown")
}

/// What people call a device of the tree.
pub(super) fn title(device: &str) -> &str {
    let room = device.strip_prefix(SITE).and_then(|rest| rest.strip_prefix('-'));
    let number = room.and_then(|room| NAMES.iter().position(|name| *name == room));
    number.map_or("Farm", |number| TITLES[number])
}

/// Breaks a text between words.
fn wrapped(text: &str, indent: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    // A number stays with its unit.
    let glued = UNITS
        .iter()
        .fold(text.to_owned(), |text, unit| text.replace(&format!(" {unit}"), &format!("{HARD_SPACE}{unit}")));
    for word in glued.split(' ') {
        let last = lines.len() - 1;
        let length = lines[last].chars().count();
        if length + 1 + word.chars().count() > WIDTH && length > indent {
            lines.push(format!("{}{word}", " ".repeat(indent)));
        } else {
            if !lines[last].is_empty() {
                lines[last].push(' ');
            }
            lines[last].push_str(word);
        }
    }
    lines.iter().map(|line| line.replace(HARD_SPACE, " ")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Timestamp = Timestamp::constant(1_800_000_000, 0);

    fn message(topic: &str, payload: &str) -> Message {
        Message { topic: format!("homie/5/{topic}"), payload: payload.to_owned() }
    }

    fn story() -> Story<Vec<u8>> {
        Story::new(Vec::new(), TimeZone::UTC)
    }

    fn told(story: &Story<Vec<u8>>) -> String {
        String::from_utf8(story.out.clone()).unwrap()
    }

    #[test]
    fn an_alert_is_told_once_when_it_is_raised_with_its_text_and_once_when_it_is_over() {
        let mut story = story();
        story.hear(vec![message("frosthollow/alerts/hard-frost", "warning")]);
        story.tell_changes(NOW).unwrap();
        assert_eq!(told(&story), "", "told before its text came");
        story.hear(vec![message("frosthollow/$alert/hard-frost", "Lines may freeze from 21:00.")]);
        story.tell_changes(NOW).unwrap();
        story.tell_changes(NOW).unwrap();
        story.hear(vec![message("frosthollow/alerts/hard-frost", "normal")]);
        story.tell_changes(NOW).unwrap();
        story.tell_changes(NOW).unwrap();
        assert_eq!(
            told(&story),
            "08:00  WARNING Farm, hard-frost: Lines may freeze from 21:00.\n\
             08:00  over: Farm, hard-frost (normal)\n"
        );
        assert_eq!(story.raised.len(), 1);
    }

    #[test]
    fn no_line_is_wider_than_a_hundred_columns_and_no_word_is_lost() {
        let text = "water ".repeat(60);
        let lines = wrapped(text.trim_end(), 7);
        assert!(lines.iter().all(|line| line.chars().count() <= WIDTH), "{lines:?}");
        assert_eq!(lines.join(" ").split_whitespace().count(), 60);
        let heading: usize = 7 + 15 + COLUMNS.iter().map(|(_, width, _)| width + 1).sum::<usize>();
        assert!(heading <= WIDTH, "{heading}");
    }

    #[test]
    fn values_carry_the_unit_of_the_description_and_a_missing_value_is_a_dash() {
        let mut story = story();
        let described = r#"{"nodes":{"air":{"properties":{"temperature":{"unit":"°F"}}}}}"#;
        story.hear(vec![
            message("frosthollow-oyster-hall/$description", described),
            message("frosthollow-oyster-hall/air/temperature", "-3.5"),
        ]);
        assert_eq!(story.shown("frosthollow-oyster-hall", "air/temperature"), "−3.5 °F");
        assert_eq!(story.shown("frosthollow-oyster-hall", "air/carbon-dioxide"), "–");
    }
}
