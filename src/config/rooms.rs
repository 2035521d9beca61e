//! Rooms: from a checked section to a [`Room`], in the order in which air goes through them.

use std::collections::HashMap;

use super::{
    equipment, fan, kind,
    overrides::overrides,
    problem::{Mistake, nearest},
    section::Section,
    shell::{Places, shell},
    walk::Found,
};
use crate::{
    model::{
        Band, Bands, Identifier, Intake, Room, Species, Stage,
        crop::{Entry, WITHOUT_CROP},
        farm::Crop,
    },
    units::{
        CarbonDioxide, Mass, RelativeHumidity, Speed, Temperature, UnitSystem, Volume, parse::Written, people::Shown,
    },
};

const AIR_SPEED_HINT: &str = "measure it at the crop with the fan at its usual rate, as in `air-speed: 0.1 m/s`";

/// A room's section, with its place in the file's order of rooms.
pub struct Draft<'v> {
    /// Its name as written.
    pub name: &'v str,
    /// Its keys.
    pub section: Section<'v>,
}

/// The rooms in the order of their air, each after the one that it draws from; and behind them the rooms that have no
/// legal place in that order, which are reported, so that their other mistakes are found in the same run.
pub fn ordered<'v>(
    rooms: &Section<'v>,
    spaces: &Section<'v>,
    found: &mut Vec<Found>,
) -> (Vec<(Draft<'v>, Intake)>, Vec<Draft<'v>>) {
    let mut waiting: Vec<Draft> = rooms.named().map(|(name, section)| Draft { name, section }).collect();
    let spaces: Vec<&str> = spaces.named().map(|(name, _)| name).collect();
    let names: Vec<&str> = waiting.iter().map(|draft| draft.name).chain(spaces.iter().copied()).collect();
    let mut placed: Vec<(Draft, Intake)> = Vec::new();
    let mut lost = Vec::new();
    for draft in std::mem::take(&mut waiting) {
        let intake = draft.section.text("intake").unwrap_or_default();
        let known = intake == "outdoors" || names.contains(&intake.as_str());
        if !known && Identifier::new(&intake).is_ok() {
            let hint = nearest(&intake, names.iter().copied().chain(["outdoors"])).map_or_else(
                || "write `outdoors`, or the name of another room or of a space".to_owned(),
                |near| format!("did you mean `{near}`?"),
            );
            let mistake = Mistake::UnknownRoom(intake.clone());
            let allowed = ["outdoors"]
                .into_iter()
                .chain(names.iter().copied().filter(|name| *name != draft.name && *name != "outdoors"));
            let allowed = allowed.collect::<Vec<_>>().join(", ");
            found.push(Found::value(draft.section.path("intake"), mistake).allowed(allowed).hint(hint));
        }
        if known { &mut waiting } else { &mut lost }.push(draft);
    }
    // One pass places every room whose source is placed already; a pass that places none leaves only circles.
    let mut places: HashMap<&str, usize> = HashMap::new();
    loop {
        let before = waiting.len();
        for draft in std::mem::take(&mut waiting) {
            match source(&draft, &places, &spaces) {
                Some(intake) => {
                    places.insert(draft.name, placed.len());
                    placed.push((draft, intake));
                }
                None => waiting.push(draft),
            }
        }
        if waiting.len() == before {
            break;
        }
    }
    circles(&waiting, found);
    lost.append(&mut waiting);
    (placed, lost)
}

fn source(draft: &Draft, places: &HashMap<&str, usize>, spaces: &[&str]) -> Option<Intake> {
    let intake = draft.section.text("intake")?;
    if intake == "outdoors" {
        return Some(Intake::Outdoors);
    }
    let space = || spaces.iter().position(|name| *name == intake).map(Intake::Space);
    places.get(intake.as_str()).copied().map(Intake::Room).or_else(space)
}

/// Reports each circle once; rooms that only hang on one are not to blame.
fn circles(waiting: &[Draft], found: &mut Vec<Found>) {
    let next = |name: &str| {
        let draft = waiting.iter().find(|draft| draft.name == name)?;
        draft.section.text("intake")
    };
    let mut told: Vec<String> = Vec::new();
    for draft in waiting {
        if told.iter().any(|name| name == draft.name) {
            continue;
        }
        let mut round = vec![draft.name.to_owned()];
        while let Some(name) = round.last().and_then(|last| next(last)) {
            let closed = name == draft.name;
            let seen = round.contains(&name);
            round.push(name);
            if closed {
                told.extend(round.iter().cloned());
                let hint = "one of these rooms must draw its air from outdoors";
                found.push(Found::value(draft.section.path("intake"), Mistake::Circle(round.join(" ← "))).hint(hint));
            }
            if seen {
                break;
            }
        }
    }
}

/// A room from its section. `None` where something was missing or did not fit, which has been reported.
/// `seen` is what it is read with: the units for messages, and what the names of places stand for.
pub fn room(draft: &Draft, intake: Intake, seen: (UnitSystem, &Places), found: &mut Vec<Found>) -> Option<Room> {
    let (units, places) = seen;
    let section = &draft.section;
    let crop_section = section.section("crop");
    let volume = section.quantity::<Volume>("volume");
    let crop = crop(&crop_section, found);
    let entry = entry(&crop_section);
    let bands = bands(&section.section("bands"), entry, units, found);
    let fan = fan::fan(section, volume, found);
    let humidifier = equipment::humidifier(&section.section("humidifier"), found);
    let heat = equipment::heat(section, bands.as_ref(), units, found);
    let pan = equipment::pan(&section.section("pan"), found);
    let air_speed = section.more_than_nothing("air-speed", Speed::metres_per_second, AIR_SPEED_HINT, found);
    let shell = shell(section, intake, places, found);
    let name = Identifier::new(draft.name).ok()?;
    // A section that exists must have been understood whole.
    let crop = if crop_section.exists() { Some(crop?) } else { None };
    let humidifier = if section.has("humidifier") { Some(humidifier?) } else { None };
    let pan = if section.has("pan") { Some(pan?) } else { None };
    let air_speed = if section.has("air-speed") { Some(air_speed?) } else { None };
    let equipment::Heat { heater, cooler, tempering } = heat?;
    Some(Room {
        title: section.text("title").unwrap_or_else(|| title(draft.name)),
        intake,
        infiltration: section.quantity("infiltration")?,
        crop,
        fan: fan?,
        humidifier,
        heater,
        cooler,
        tempering,
        pan,
        air_speed,
        shell: shell?,
        burner: section.parsed("burner")?,
        overrides: overrides(section),
        ..Room::bare(name, volume?, bands?)
    })
}

/// A name as people would write it: `oyster-hall` is `Oyster hall`.
pub fn title(name: &str) -> String {
    let words = name.replace('-', " ");
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn species_and_stage(section: &Section) -> Option<(Species, Stage)> {
    let species = section.text("species")?;
    let stage = section.text("stage")?;
    let species = Species::ALL.into_iter().find(|known| known.name() == species)?;
    let stage = Stage::ALL.into_iter().find(|known| known.name() == stage)?;
    Some((species, stage))
}

fn entry(crop: &Section) -> Option<Entry> {
    if crop.exists() {
        species_and_stage(crop).map(|(species, stage)| species.entry(stage))
    } else {
        Some(WITHOUT_CROP)
    }
}

fn crop(section: &Section, found: &mut Vec<Found>) -> Option<Crop> {
    let substrate = section.quantity::<Mass>("substrate");
    if substrate.is_some_and(|mass| mass.kilograms() <= 0.0) {
        let hint = "an empty room has no `crop`, or one at stage `empty` with the substrate it will hold";
        let mistake = Mistake::NotPositive(section.text("substrate").unwrap_or_default());
        found.push(Found::value(section.path("substrate"), mistake).hint(hint));
    }
    let (species, stage) = species_and_stage(section)?;
    let mut respiration = species.entry(stage).respiration();
    let written = section.section("respiration");
    if let Some(kind::GasRate(middle)) = written.quantity("middle") {
        respiration.middle = middle;
    }
    if let Some(kind::GasRate(upper)) = written.quantity("upper") {
        respiration.upper = upper;
    }
    if respiration.middle > respiration.upper {
        let at = if written.has("middle") { "middle" } else { "upper" };
        let [lower_value, upper_value] = [respiration.middle, respiration.upper].map(|rate| format!("{rate} g/kg/h"));
        let mistake = Mistake::Order { lower: "the middle", lower_value, upper: "the upper end", upper_value };
        found.push(Found::value(written.path(at), mistake).hint("give both, the smaller as `middle`"));
    }
    Some(Crop { species, stage, substrate: substrate?, respiration })
}

fn bands(section: &Section, entry: Option<Entry>, show: UnitSystem, found: &mut Vec<Found>) -> Option<Bands> {
    let temperature = section.section("temperature");
    let humidity = section.section("relative-humidity");
    for name in ["lowest", "preferred", "highest"] {
        let wet = humidity.quantity::<RelativeHumidity>(name).filter(|value| value.percent() > Entry::WETTEST + 1e-9);
        if wet.is_some() {
            let mistake = Mistake::TooWet(humidity.text(name).unwrap_or_default());
            let hint = format!("`{name}: {} %` or less", Entry::WETTEST);
            found.push(Found::value(humidity.path(name), mistake).allowed("at most 95 %").hint(hint));
        }
    }
    let usual = entry?.bands();
    Some(Bands {
        temperature: band::<Temperature>(&temperature, usual.temperature, |value| show.temperature(value), found),
        relative_humidity: band::<RelativeHumidity>(
            &humidity,
            usual.relative_humidity,
            |v| show.relative_humidity(v),
            found,
        ),
        carbon_dioxide_limit: section
            .quantity::<CarbonDioxide>("carbon-dioxide-limit")
            .unwrap_or(usual.carbon_dioxide_limit),
    })
}

/// The usual band with what was written in its place.
fn band<Q: Written + Copy + PartialOrd>(
    section: &Section,
    usual: Band<Q>,
    show: impl Fn(Q) -> Shown,
    found: &mut Vec<Found>,
) -> Band<Q> {
    let take = |name, usual| section.quantity(name).unwrap_or(usual);
    let band = Band {
        lowest: take("lowest", usual.lowest),
        preferred: take("preferred", usual.preferred),
        highest: take("highest", usual.highest),
    };
    let pairs =
        [("lowest", band.lowest, "preferred", band.preferred), ("preferred", band.preferred, "highest", band.highest)];
    for (lower, low, upper, high) in pairs {
        if low > high {
            let at = if section.has(lower) { lower } else { upper };
            let other = if at == lower { upper } else { lower };
            let say = |name: &str, value| section.text(name).unwrap_or_else(|| show(value).to_string());
            let (lower_value, upper_value) = (say(lower, low), say(upper, high));
            let mistake = Mistake::Order { lower, lower_value, upper, upper_value };
            let hint = if section.has(other) {
                format!("put `{lower}` and `{upper}` in rising order")
            } else {
                format!("`{other}` is the catalogue's; give it too")
            };
            found.push(Found::value(section.path(at), mistake).hint(hint));
        }
    }
    band
}
