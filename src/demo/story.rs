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

/// Lines are no longer than this.
const WIDTH: usize = 100;

/// Rows between two headings of the running table.
const HEADING_EVERY: u32 = 12;

/// Units that are not parted from their numbers at the end of a line.
const UNITS: [&str; 14] =
    ["%", "°C", "°F", "K", "ppm", "kg/h", "lb/h", "g/kg", "gr/lb", "m³/h", "cfm", "L", "gal", "L/h"];
const HARD_SPACE: char = '\u{a0}';

/// When an alert was raised, and of what.
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
    rows: u32,
    /// Lines told so far.
    pub(super) lines: u64,
    /// Every first raise, in order.
    pub(super) raised: Vec<Raised>,
}

/// The device of a room in the tree.
pub(super) fn device(room: usize) -> String {
    format!("{SITE}-{}", NAMES[room])
}

impl<W: Write> Story<W> {
    /// A story that has not begun.
    pub(super) fn new(out: W, zone: TimeZone) -> Self {
        Self { out, zone, heard: BTreeMap::new(), told_alerts: BTreeMap::new(), rows: 0, lines: 0, raised: Vec::new() }
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

    /// What stands on a device's topic.
    pub(super) fn text(&self, device: &str, property: &str) -> Option<&str> {
        self.heard.get(&format!("{device}/{property}")).map(String::as_str)
    }

    /// A published number of a room, in the published unit.
    pub(super) fn number(&self, room: usize, property: &str) -> Option<f64> {
        self.text(&device(room), property)?.parse().ok()
    }

    /// A published moment of a room.
    pub(super) fn moment(&self, room: usize, property: &str) -> Option<Timestamp> {
        self.text(&device(room), property)?.parse().ok()
    }

    /// A published JSON object of a room.
    pub(super) fn object(&self, room: usize, property: &str) -> Option<Value> {
        serde_json::from_str(self.text(&device(room), property)?).ok()
    }

    /// The unit in which a device's property is published.
    pub(super) fn unit(&self, device: &str, property: &str) -> String {
        let described = self.heard.get(&format!("{device}/$description"));
        let json: Option<Value> = described.and_then(|text| serde_json::from_str(text).ok());
        let pointer = property.replacen('/', "/properties/", 1);
        json.and_then(|json| Some(json.pointer(&format!("/nodes/{pointer}/unit"))?.as_str()?.to_owned()))
            .unwrap_or_default()
    }

    /// What stands on a device's topic, with its unit; a dash where nothing does.
    pub(super) fn shown(&self, device: &str, property: &str) -> String {
        match self.text(device, property) {
            Some(payload) => {
                let number = payload.strip_prefix('-').map_or_else(|| payload.to_owned(), |rest| format!("−{rest}"));
                format!("{number} {}", self.unit(device, property)).trim_end().to_owned()
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
        self.lines += 1;
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

    /// A sentence that stands under the one before it.
    pub(super) fn aside(&mut self, text: &str) -> io::Result<()> {
        self.sentence(&format!("{}{text}", HARD_SPACE.to_string().repeat(7)), 7)
    }

    /// A sentence under the time of day.
    pub(super) fn tell(&mut self, now: Timestamp, text: &str) -> io::Result<()> {
        let line = format!("{}  {text}", self.time(now));
        self.sentence(&line, 7)
    }

    /// The heading of an act.
    pub(super) fn heading(&mut self, title: &str, about: &str) -> io::Result<()> {
        self.rows = 0;
        self.line("")?;
        self.line(&format!("═══ {title} {}", "═".repeat(WIDTH.saturating_sub(title.chars().count() + 5))))?;
        self.sentence(about, 0)?;
        self.line("")
    }

    /// Tells which alerts have been raised, have become more urgent, or are over.
    pub(super) fn tell_alerts(&mut self, now: Timestamp) -> io::Result<()> {
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
            self.told_alerts.insert(topic.clone(), state);
            self.tell(now, &said)?;
        }
        Ok(())
    }

    /// When an alert of a device was first raised.
    pub(super) fn raised_at(&self, device: &str, alert: &str) -> Option<Timestamp> {
        self.raised.iter().find(|raised| raised.device == device && raised.alert == alert).map(|raised| raised.at)
    }

    /// One row of the running table: outdoors, and each room's humidity and the water that its humidifier is asked for.
    pub(super) fn tell_row(&mut self, now: Timestamp) -> io::Result<()> {
        if self.rows.is_multiple_of(HEADING_EVERY) {
            let heads: String = TITLES.iter().map(|title| format!("  {title:>18}")).collect();
            self.line(&format!("         outdoors{heads}"))?;
        }
        self.rows += 1;
        let outdoors = self.shown(SITE, "outdoors/temperature");
        let cells: String = (0..NAMES.len())
            .map(|room| {
                let [humidity, water] = ["air/relative-humidity", "moisture/water-drawn"]
                    .map(|property| self.shown(&device(room), property));
                format!("  {humidity:>7} {water:>10}")
            })
            .collect();
        self.line(&format!("{}  {outdoors:>10}{cells}", self.time(now)))
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
        story.tell_alerts(NOW).unwrap();
        assert_eq!(told(&story), "", "told before its text came");
        story.hear(vec![message("frosthollow/$alert/hard-frost", "Lines may freeze from 21:00.")]);
        story.tell_alerts(NOW).unwrap();
        story.tell_alerts(NOW).unwrap();
        story.hear(vec![message("frosthollow/alerts/hard-frost", "normal")]);
        story.tell_alerts(NOW).unwrap();
        story.tell_alerts(NOW).unwrap();
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
        let mut story = story();
        story.heading("Act 1. Dusk", &text).unwrap();
        story.tell_row(NOW).unwrap();
        assert!(told(&story).lines().all(|line| line.chars().count() <= WIDTH), "{}", told(&story));
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
