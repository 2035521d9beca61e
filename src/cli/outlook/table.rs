//! The table: one line for each room, then what else is to be known.

use std::io::{self, Write};

use jiff::Timestamp;

use crate::{
    advice::Voice,
    cli::text::{WIDTH, fitted, wrapped},
    model::outlook::{Findings, Stretch},
    units::{WaterVolume, people::Shown},
};

/// The coming night of a farm.
pub(super) struct Night {
    pub farm: String,
    pub voice: Voice,
    pub now: Timestamp,
    pub rooms: Vec<RoomNight>,
}

pub(super) struct RoomNight {
    pub title: String,
    /// Or why nothing was found.
    pub found: Result<Box<Found>, String>,
}

/// What was found of a room.
pub(super) struct Found {
    pub expected: Findings,
    pub colder: Findings,
    /// What would help most, as a sentence.
    pub lever: Option<String>,
    pub caveats: Vec<String>,
}

impl Night {
    /// A moment in a cell: `02:00` in the next 18 hours, `Sat 02:00` beyond them.
    fn short(&self, moment: Timestamp) -> String {
        let local = moment.to_zoned_datetime(self.voice.time_zone.clone());
        let far = moment.duration_since(self.now).as_hours() >= 18;
        local.strftime(if far { "%a %H:%M" } else { "%H:%M" }).to_string()
    }
}

const HEADS: [[&str; 2]; 7] = [
    ["", "Room"],
    ["Driest", "RH at"],
    ["Water to", "dawn"],
    ["if", "colder"],
    ["Tank", "empty at"],
    ["Humidifier short", "by, from–to"],
    ["Heater short", "by, from–to"],
];

/// Writes the table, no wider than 100 columns.
pub(super) fn write(night: &Night, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{}", head(night))?;
    writeln!(out)?;
    let mut rows: Vec<[String; 7]> = (0..2).map(|line| HEADS.map(|head| head[line].to_owned())).collect();
    rows.extend(night.rooms.iter().map(|room| row(room, night)));
    let mut widths = [0; 7];
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    // The room's name gives way where the rest leaves it too little.
    let others: usize = widths[1..].iter().map(|width| width + 2).sum();
    widths[0] = widths[0].min(WIDTH.saturating_sub(others).max(8));
    for row in &rows {
        writeln!(out, "{}", line(row, &widths))?;
    }
    notes(night, out)
}

fn line(row: &[String; 7], widths: &[usize; 7]) -> String {
    let mut text = fitted(&row[0], widths[0]);
    for (cell, width) in row[1..].iter().zip(&widths[1..]) {
        text.push_str(&format!("  {cell:<width$}"));
    }
    text.trim_end().to_owned()
}

/// Farm, moment, dawn and the coldest hour: they are the same for all rooms.
fn head(night: &Night) -> String {
    let voice = &night.voice;
    let first = night.rooms.iter().find_map(|room| room.found.as_ref().ok());
    let at = |moment| voice.time(moment, night.now);
    let mut text = format!("{}, {}", night.farm, clock(night.now, voice));
    if let Some(Found { expected, .. }) = first.map(Box::as_ref) {
        if let Some(dawn) = expected.dawn {
            text.push_str(&format!(": the night to {}", at(dawn)));
        }
        if let Some((when, coldest)) = expected.coldest {
            text.push_str(&format!("; coldest {} at {}", voice.units.temperature(coldest), at(when)));
        }
    }
    text
}

fn clock(moment: Timestamp, voice: &Voice) -> String {
    moment.to_zoned_datetime(voice.time_zone.clone()).strftime("%A %H:%M").to_string()
}

fn row(room: &RoomNight, night: &Night) -> [String; 7] {
    let voice = &night.voice;
    let Ok(Found { expected, colder, .. }) = room.found.as_deref() else {
        let mut cells = ["?"; 7].map(str::to_owned);
        cells[0].clone_from(&room.title);
        return cells;
    };
    let at = |moment| night.short(moment);
    let dash = || "–".to_owned();
    let water = |found: &Findings| match found.water_to_dawn {
        Some(water) if water.litres() < 0.05 => dash(),
        Some(water) => litres(voice, water),
        None => "?".to_owned(),
    };
    [
        room.title.clone(),
        expected.driest.map_or_else(dash, |(when, lowest)| format!("{:.0} % at {}", lowest.percent(), at(when))),
        water(expected),
        water(colder),
        expected.tank_empty.map_or_else(dash, at),
        expected.shortfall.map_or_else(dash, |short| stretch(&short, voice.units.vapour_flow(short.worst), at)),
        expected.heat_short.map_or_else(dash, |short| {
            stretch(&short, Shown { value: short.worst.watts() / 1_000.0, unit: "kW", decimals: 1 }, at)
        }),
    ]
}

fn litres(voice: &Voice, water: WaterVolume) -> String {
    let shown = voice.units.water_volume(water);
    Shown { decimals: usize::from(shown.value < 10.0), ..shown }.to_string()
}

fn stretch<T>(stretch: &Stretch<T>, worst: Shown, at: impl Fn(Timestamp) -> String) -> String {
    let to = stretch.to.map_or_else(String::new, |to| format!("–{}", at(to)));
    format!("{worst} {}{to}", at(stretch.from))
}

/// Fog, mist and wet surfaces, and rooms without an outlook; then what the figures rest on. What is true of several
/// rooms is said once.
fn notes(night: &Night, out: &mut impl Write) -> io::Result<()> {
    let mut events = Said::default();
    let mut levers = Said::default();
    let mut caveats = Said::default();
    for room in &night.rooms {
        match &room.found {
            Ok(found) => {
                happenings(&found.expected, night).into_iter().for_each(|sentence| events.add(&room.title, sentence));
                found.lever.iter().for_each(|lever| levers.add(&room.title, lever.clone()));
                found.caveats.iter().for_each(|caveat| caveats.add(&room.title, caveat.clone()));
            }
            Err(reason) => events.add(&room.title, reason.clone()),
        }
    }
    events.write("Besides:", night.rooms.len(), out)?;
    levers.write("Would help most:", night.rooms.len(), out)?;
    caveats.write("Not certain:", night.rooms.len(), out)
}

fn happenings(expected: &Findings, night: &Night) -> Vec<String> {
    let at = |moment| night.voice.time(moment, night.now);
    let fog = expected.inlet_fog.map(|when| format!("Fog forms at the inlet from {}.", at(when)));
    let mist = expected.standing_mist.map(|when| format!("Mist stands in the room from {}.", at(when)));
    let wet = expected.dew_margin.filter(|(_, margin)| margin.kelvins() <= 0.0);
    let wet = wet.map(|(when, _)| format!("The coldest surface gets wet; it is at its worst at {}.", at(when)));
    [fog, mist, wet].into_iter().flatten().collect()
}

/// Sentences, each with the rooms that it is said of.
#[derive(Default)]
struct Said(Vec<(String, Vec<String>)>);

impl Said {
    fn add(&mut self, room: &str, sentence: String) {
        match self.0.iter_mut().find(|(known, _)| *known == sentence) {
            Some((_, rooms)) => rooms.push(room.to_owned()),
            None => self.0.push((sentence, vec![room.to_owned()])),
        }
    }

    fn write(&self, title: &str, rooms: usize, out: &mut impl Write) -> io::Result<()> {
        if self.0.is_empty() {
            return Ok(());
        }
        writeln!(out, "\n{title}")?;
        for (sentence, of) in &self.0 {
            let text = if of.len() == rooms && rooms > 1 {
                sentence.clone()
            } else {
                format!("{}: {sentence}", of.join(", "))
            };
            for (line, number) in wrapped(&text, WIDTH - 2).iter().zip(0..) {
                writeln!(out, "{}{line}", if number == 0 { "- " } else { "  " })?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use jiff::{SignedDuration, tz::TimeZone};

    use super::*;
    use crate::units::{RelativeHumidity, Temperature, UnitSystem, WaterFlow};

    fn night(units: UnitSystem, title: &str) -> Night {
        let now: Timestamp = "2027-01-15T18:00:00Z".parse().unwrap();
        let after = |minutes| now + SignedDuration::from_mins(minutes);
        let expected = Findings {
            driest: Some((after(600), RelativeHumidity::from_percent(83.4).unwrap())),
            coldest: Some((after(720), Temperature::from_celsius(-14.2).unwrap())),
            dawn: Some(after(811)),
            water_to_dawn: WaterVolume::from_litres(38.24).ok(),
            tank_empty: Some(after(550)),
            shortfall: Some(Stretch {
                from: after(500),
                to: Some(after(900)),
                worst_at: after(720),
                worst: WaterFlow::from_kilograms_per_hour(0.82).unwrap(),
            }),
            inlet_fog: Some(after(120)),
            ..Findings::default()
        };
        let colder = Findings { water_to_dawn: WaterVolume::from_litres(44.0).ok(), ..Findings::default() };
        let caveats = vec!["The forecast is 4 hours old.".to_owned()];
        let lever = Some("Warm the fresh air to 3.2 °C.".to_owned());
        let found = Ok(Box::new(Found { expected, colder, lever, caveats }));
        let silent = RoomNight { title: "Lung".to_owned(), found: Err("Nothing is given of it.".to_owned()) };
        Night {
            farm: "Frosthollow".to_owned(),
            voice: Voice { units, time_zone: TimeZone::UTC },
            now,
            rooms: vec![RoomNight { title: title.to_owned(), found }, silent],
        }
    }

    fn written(night: &Night) -> String {
        let mut out = Vec::new();
        write(night, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn the_table_says_for_each_room_what_the_night_takes_and_what_fails() {
        let expected = "\
Frosthollow, Friday 18:00: the night to 07:31; coldest -14.2 °C at 06:00

             Driest         Water to  if      Tank      Humidifier short       Heater short
Room         RH at          dawn      colder  empty at  by, from–to            by, from–to
Oyster hall  83 % at 04:00  38 L      44 L    03:10     0.82 kg/h 02:20–09:00  –
Lung         ?              ?         ?       ?         ?                      ?

Besides:
- Oyster hall: Fog forms at the inlet from 20:00.
- Lung: Nothing is given of it.

Would help most:
- Oyster hall: Warm the fresh air to 3.2 °C.

Not certain:
- Oyster hall: The forecast is 4 hours old.
";
        assert_eq!(written(&night(UnitSystem::Metric, "Oyster hall")), expected);
    }

    #[test]
    fn the_table_speaks_us_units_and_stays_within_a_hundred_columns_whatever_rooms_are_called() {
        let text = written(&night(UnitSystem::Us, &"Very long hall ".repeat(12)));
        assert!(text.contains("10 gal") && text.contains("1.81 lb/h") && text.contains("6.4 °F"), "{text}");
        for line in text.lines() {
            assert!(line.chars().count() <= WIDTH, "{line}");
        }
    }
}
