//! The three acts: what happens and is told when, and what is noted for the summary.

use std::{io::Write, time::Duration};

use jiff::{SignedDuration, Timestamp};

use super::{
    DemoError,
    configuration::{self, SITE},
    farm::{LOWEST, NAMES},
    lies::{self, BAY, HALL},
    night::Play,
    rules::Pull,
    story::{TITLES, device},
    tally::Tally,
};

/// What happens at a fixed hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scene {
    Dusk,
    Gauges,
    Tonight,
    Filled,
    Lever,
    LeverTaken,
    Morning,
    FirstLie,
    FirstLieKnown,
    SecondLie,
    SecondLieKnown,
    End,
}

const fn minutes(count: u64) -> Duration {
    Duration::from_secs(60 * count)
}

/// When each scene is, after dusk.
const SCENES: [(Duration, Scene); 12] = [
    (minutes(0), Scene::Dusk),
    (minutes(3), Scene::Gauges),
    // The daemon has heard for an hour by then what the crops breathe.
    (minutes(60), Scene::Tonight),
    (minutes(65), Scene::Filled),
    (minutes(120), Scene::Lever),
    // The anteroom's outlook is made from what its rooms' outlooks say that they will draw, ten minutes later.
    (minutes(150), Scene::LeverTaken),
    (minutes(990), Scene::Morning),
    (lies::FIRST, Scene::FirstLie),
    (lies::FIRST.saturating_add(minutes(59)), Scene::FirstLieKnown),
    (lies::SECOND, Scene::SecondLie),
    (lies::SECOND.saturating_add(minutes(29)), Scene::SecondLieKnown),
    (STORY, Scene::End),
];

/// The whole story, from dusk to the noon after the night.
pub(super) const STORY: Duration = minutes(1_170);

/// A row of the running table is told this often.
pub(super) const ROW_EVERY: u64 = 1_800;

/// Oyster hall's tank, full: litres, which are kilograms.
const FULL: f64 = 300.0;

/// What the outlook says of the anteroom's night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Night {
    /// First hour with a shortfall.
    pub(super) short_from: Option<Timestamp>,
    /// Hours with a shortfall, to dawn.
    pub(super) hours_short: f64,
    /// Driest air to dawn, a ratio.
    pub(super) driest: f64,
}

/// What has truly been by dawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dawn {
    pub(super) farm: [Tally; 4],
    pub(super) without_lever: [Tally; 4],
    pub(super) unadvised: [Tally; 4],
    /// Oyster hall's tank: as published, in the published unit, and truly, kg.
    pub(super) tank: (Option<f64>, f64),
}

/// Fresh air advised in the bay, in the published unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Air {
    /// Before its sensor began to lie.
    pub(super) before: f64,
    /// The least while nobody knew.
    pub(super) unknown: f64,
    /// The least since the lie was told.
    pub(super) known: Option<f64>,
}

/// What was said, and when.
#[derive(Debug, Clone, Default)]
pub(super) struct Noted {
    /// End of the night, as said an hour after dusk.
    pub(super) dawn_at: Option<Timestamp>,
    /// Water of each room to dawn as said an hour after dusk, in the published unit.
    pub(super) water: [Option<f64>; NAMES.len()],
    /// The anteroom's night before the lever was pulled.
    pub(super) before: Option<Night>,
    /// The lever that was pulled.
    pub(super) pull: Option<Pull>,
    /// Oyster hall's water until then: with and without the lever the same, kg.
    pub(super) drawn_before: f64,
    /// The anteroom's night with the lever.
    pub(super) after: Option<Night>,
    pub(super) dawn: Option<Dawn>,
    /// Fresh air advised in the bay.
    pub(super) air: Option<Air>,
    /// What the rooms have truly lived through in the third act: the farm, and the one that believed its sensors.
    pub(super) lied_to: Option<([Tally; 4], [Tally; 4])>,
}

impl<W: Write> Play<W> {
    /// Whether the story is over.
    pub(super) fn is_over(&self) -> bool {
        self.passed > STORY
    }

    /// Plays what belongs to the present minute.
    pub(super) async fn play_scenes(&mut self) -> Result<(), DemoError> {
        self.note();
        let passed = self.passed;
        for (_, scene) in SCENES.into_iter().filter(|(at, _)| *at == passed) {
            match scene {
                Scene::Dusk => self.dusk()?,
                Scene::Gauges => self.gauges().await?,
                Scene::Tonight => self.tonight()?,
                Scene::Filled => self.filled().await?,
                Scene::Lever => self.lever().await?,
                Scene::LeverTaken => self.lever_taken()?,
                Scene::Morning => self.morning()?,
                Scene::FirstLie => self.first_lie()?,
                Scene::FirstLieKnown => self.first_lie_known()?,
                Scene::SecondLie => self.second_lie()?,
                Scene::SecondLieKnown => self.tell_reason(HALL)?,
                Scene::End => self.end()?,
            }
        }
        Ok(())
    }

    /// Notes what no scene waits for.
    fn note(&mut self) {
        let now = self.now();
        if self.noted.dawn.is_none() && self.noted.dawn_at.is_some_and(|dawn| now >= dawn) {
            let twins = &self.twins;
            self.noted.dawn = Some(Dawn {
                farm: twins.farm.tallies(),
                without_lever: twins.without_lever.tallies(),
                unadvised: twins.unadvised.tallies(),
                tank: (self.story.number(HALL, "inputs/tank-volume"), twins.farm.tanks()[HALL].unwrap_or_default()),
            });
        }
        let known = self.story.raised_at(&device(BAY), "sensor-suspect").is_some_and(|raised| raised < now);
        let advised = self.story.number(BAY, "advice/fresh-air");
        if let (Some(air), Some(advised)) = (&mut self.noted.air, advised) {
            if known {
                air.known = Some(air.known.map_or(advised, |least| least.min(advised)));
            } else {
                air.unknown = air.unknown.min(advised);
            }
        }
    }

    fn dusk(&mut self) -> Result<(), DemoError> {
        self.story.heading(
            "Act 1. Dusk",
            "Three fruiting rooms draw their air through one anteroom. A front has passed, the sky clears, and the \
             daemon has just been started: what will this night take?",
        )?;
        Ok(())
    }

    /// What the gauges say of the tanks.
    async fn gauges(&mut self) -> Result<(), DemoError> {
        let mut told = Vec::new();
        for (room, water) in self.twins.farm.tanks().into_iter().enumerate() {
            let Some(water) = water else { continue };
            self.publish_level(room, water).await?;
            told.push(format!("{} {}", TITLES[room], self.litres(water)));
        }
        let now = self.now();
        let told = told.join(", ");
        Ok(self.story.tell(now, &format!("The tanks' gauges tell the daemon (inputs/tank-volume/set): {told}."))?)
    }

    async fn publish_level(&mut self, room: usize, water: f64) -> Result<(), DemoError> {
        let (topic, payload) = self.rules.gauge(room, water * self.per_kilogram());
        Ok(self.automation.publish(&topic, payload).await?)
    }

    fn tonight(&mut self) -> Result<(), DemoError> {
        let now = self.now();
        self.twins.count_anew();
        self.noted.dawn_at = self.story.moment(0, "outlook/dawn");
        self.noted.water = std::array::from_fn(|room| self.story.number(room, "outlook/water-to-dawn"));
        let dawn = self.noted.dawn_at.map_or_else(|| "–".to_owned(), |dawn| self.story.time(dawn));
        self.story.line("")?;
        self.story.tell(
            now,
            &format!("What tonight will take, to its end at {dawn}, after an hour of hearing what the crops breathe:"),
        )?;
        self.story.line(&format!(
            "       {:<16} {:>12} {:>18} {:>12} {:>12}  {}",
            "", "water", "on a colder night", "in the tank", "driest air", "the tank runs out"
        ))?;
        for (room, title) in TITLES.iter().enumerate() {
            let shown = |property: &str| self.story.shown(&device(room), property);
            let [water, colder] = ["outlook/water-to-dawn", "outlook/water-to-dawn-colder"].map(shown);
            let tank = if room == 0 { "mains".to_owned() } else { shown("inputs/tank-volume") };
            let driest = self.foreseen(room).map_or_else(|| "–".to_owned(), |night| percent(night.driest));
            let empty = self.story.moment(room, "outlook/tank-empty-at").filter(|at| Some(*at) < self.noted.dawn_at);
            let empty = empty.map_or_else(|| "not tonight".to_owned(), |at| format!("at {}", self.story.time(at)));
            let empty = if room == 0 { "–" } else { empty.as_str() };
            let row = format!("       {title:<16} {water:>12} {colder:>18} {tank:>12} {driest:>12}  {empty}");
            self.story.line(&row)?;
        }
        let coldest = self.story.shown(SITE, "forecast/coldest");
        let at = self.story.text(SITE, "forecast/coldest-at").and_then(|at| at.parse().ok());
        let at = at.map_or_else(|| "–".to_owned(), |at| self.story.time(at));
        self.story.aside(&format!("Coldest: {coldest} at {at}, by the forecast."))?;
        Ok(self.story.line("")?)
    }

    /// The tank is filled to the brim: what it has not to give shows in the alert before.
    async fn filled(&mut self) -> Result<(), DemoError> {
        self.twins.fill(HALL, FULL);
        self.publish_level(HALL, FULL).await?;
        let (now, full) = (self.now(), self.litres(FULL));
        self.story.tell(now, &format!("Oyster hall's tank is filled to the brim; its gauge says {full}."))?;
        Ok(self.story.aside("Act 1 ends: what the night takes, and from where, is known before it is cold.")?)
    }

    async fn lever(&mut self) -> Result<(), DemoError> {
        let now = self.now();
        self.story.heading(
            "Act 2. The freeze",
            "The farm's automation follows advice/decision until its valid-until. Its evening rule looks at the anteroom, \
             through which all rooms breathe: where that will fall short, the oyster hall takes the lever `less-air`.",
        )?;
        self.noted.before = self.foreseen(0);
        self.noted.drawn_before = self.twins.farm.tallies()[HALL].drawn;
        self.tell_foreseen("The outlook of the anteroom", self.noted.before)?;
        self.noted.pull = self.rules.evening(HALL, now);
        let Some(Pull { topic, payload, sentence, .. }) = self.noted.pull.clone() else {
            return Ok(self.story.tell(now, "No lever is published that the rule knows, so it does nothing.")?);
        };
        self.automation.publish(&topic, payload.clone()).await?;
        self.story.tell(now, &format!("Oyster hall, outlook/levers: {sentence}"))?;
        self.story.tell(now, "The rule pulls it until dawn, and publishes")?;
        self.story.line(&format!("         {topic}"))?;
        self.story.line(&format!("         {payload}"))?;
        Ok(())
    }

    fn lever_taken(&mut self) -> Result<(), DemoError> {
        self.tell_reason(HALL)?;
        self.noted.after = self.foreseen(0);
        self.tell_foreseen("With the lever, the outlook of the anteroom", self.noted.after)?;
        Ok(self.story.line("")?)
    }

    /// What the outlook says hour by hour of a room, to dawn.
    fn foreseen(&self, room: usize) -> Option<Night> {
        let hourly = self.story.object(room, "outlook/hourly")?;
        let made: Timestamp = hourly["made_at"].as_str()?.parse().ok()?;
        let dawn = self.noted.dawn_at?;
        let list = |name: &str| -> Option<Vec<f64>> {
            hourly["expected"][name].as_array()?.iter().map(serde_json::Value::as_f64).collect()
        };
        let hours = usize::try_from(dawn.duration_since(made).as_hours()).ok()? + 1;
        let driest = list("lowest_relative_humidity_ratio")?.into_iter().take(hours).fold(1.0, f64::min);
        let missing = list("highest_shortfall_kilograms_per_hour")?;
        let short: Vec<usize> = (0..hours.min(missing.len())).filter(|hour| missing[*hour] > 0.0).collect();
        let after = |hour: usize| made.checked_add(SignedDuration::from_hours(i64::try_from(hour).ok()?)).ok();
        Some(Night { short_from: short.first().and_then(|hour| after(*hour)), hours_short: short.len() as f64, driest })
    }

    fn tell_foreseen(&mut self, of: &str, night: Option<Night>) -> Result<(), DemoError> {
        let now = self.now();
        let said = match night {
            None => "is not published".to_owned(),
            Some(Night { short_from: Some(from), hours_short, driest }) => format!(
                "to dawn: its humidifier is short in {hours_short:.0} hours, from {} on, and the air comes down to {}",
                self.story.time(from),
                percent(driest)
            ),
            Some(Night { driest, .. }) => format!("to dawn: never short, {} at the driest", percent(driest)),
        };
        Ok(self.story.tell(now, &format!("{of} {said}."))?)
    }

    /// The reason that stands on a room's advice.
    fn tell_reason(&mut self, room: usize) -> Result<(), DemoError> {
        let reason = self.story.text(&device(room), "advice/reason").unwrap_or("nothing is advised").to_owned();
        let (now, title) = (self.now(), TITLES[room]);
        Ok(self.story.tell(now, &format!("{title}, advice/reason: {reason}"))?)
    }

    fn morning(&mut self) -> Result<(), DemoError> {
        let Some(Dawn { farm, without_lever, unadvised, .. }) = self.noted.dawn else { return Ok(()) };
        self.story.line("")?;
        let from = self.noted_from();
        self.story.aside(&format!(
            "Act 2 ends. Three farms have lived this night, from {from} to dawn, alike but for what they were \
                 told; this is the truth of the simulation, which the daemon never sees:"
        ))?;
        self.story
            .line(&format!("       {:<42} {:>14} {:>14} {:>14}", "", "advice, lever", "advice alone", "no advice"))?;
        let row = |what: String, of: &dyn Fn(&[Tally; 4]) -> String| {
            let [a, b, c] = [&farm, &without_lever, &unadvised].map(of);
            format!("       {what:<42} {a:>14} {b:>14} {c:>14}")
        };
        let lowest = percent(LOWEST[0]);
        let mut rows = vec![
            row("Anteroom: driest air".to_owned(), &|farm| percent(farm[0].driest)),
            row(format!("Anteroom: hours below {lowest}, humidifier full"), &|farm| {
                format!("{:.1} h", farm[0].hours_short)
            }),
        ];
        for room in 1..NAMES.len() {
            rows.push(row(format!("{}: driest air", TITLES[room]), &|farm| percent(farm[room].driest)));
        }
        rows.push(row("Oyster hall: highest carbon dioxide".to_owned(), &|farm| {
            format!("{:.0} ppm", farm[HALL].highest_carbon_dioxide)
        }));
        rows.push(row("Oyster hall: water".to_owned(), &|farm| self.litres(farm[HALL].drawn)));
        rows.push(row("The whole farm: water".to_owned(), &|farm| {
            self.litres(farm.iter().map(|tally| tally.drawn).sum())
        }));
        for row in rows {
            self.story.line(&row)?;
        }
        Ok(())
    }

    fn first_lie(&mut self) -> Result<(), DemoError> {
        self.story.heading(
            "Act 3. A fault",
            "Two sensors begin to lie. A fourth farm, the same until now, believes them: its fan follows the bay's carbon \
             dioxide, and its humidistat the mean of the hall's two humidity sensors, as many rules do.",
        )?;
        self.twins.begin_to_believe();
        let advised = self.story.number(BAY, "advice/fresh-air");
        self.noted.air = advised.map(|air| Air { before: air, unknown: air, known: None });
        let (now, air) = (self.now(), self.story.shown(&device(BAY), "advice/fresh-air"));
        Ok(self.story.tell(
            now,
            &format!(
                "(Nobody sees it: the carbon dioxide sensor of Lion's mane bay fogs up, and begins to sink to 300 ppm. \
                 Advised are {air} of fresh air.)"
            ),
        )?)
    }

    fn first_lie_known(&mut self) -> Result<(), DemoError> {
        if let Some(Air { before, unknown, .. }) = self.noted.air {
            let unit = self.story.unit(&device(BAY), "advice/fresh-air");
            let highest = self.twins.farm.tallies()[BAY].highest_carbon_dioxide;
            let now = self.now();
            let followed = if unknown < before {
                format!("followed it down to {unknown:.1} {unit}")
            } else {
                "did not follow it: three hours of findings say what the crop gives off".to_owned()
            };
            let text = format!(
                "(While the reading sank through what could be true, the advice {followed}; the crop truly breathed \
                 {highest:.0} ppm at most.)"
            );
            self.story.tell(now, &text)?;
        }
        self.tell_reason(BAY)
    }

    fn second_lie(&mut self) -> Result<(), DemoError> {
        let now = self.now();
        Ok(self.story.tell(
            now,
            "(Nobody sees it: a contact of the oyster hall's humidity sensor at the top shelf breaks; it says 40 % from \
             now on.)",
        )?)
    }

    fn end(&mut self) -> Result<(), DemoError> {
        let Some((believing, _)) = &self.twins.believing else { return Ok(()) };
        let (farm, believing) = (self.twins.farm.tallies(), believing.tallies());
        self.noted.lied_to = Some((farm, believing));
        self.story.line("")?;
        self.story.aside(
            "Act 3 ends. What the crops truly breathed since the first lie, here and where the sensors were believed:",
        )?;
        let limit = configuration::BAY_LIMIT;
        let bay = [&farm, &believing].map(|tallies| format!("{:.0} ppm", tallies[BAY].highest_carbon_dioxide));
        self.story.line(&format!("       {:<58} {:>14} {:>14}", "", "advice", "believed"))?;
        let what = format!("Lion's mane bay: highest carbon dioxide (it bears {limit:.0} ppm)");
        self.story.line(&format!("       {what:<58} {:>14} {:>14}", bay[0], bay[1]))?;
        let hall = [&farm, &believing].map(|tallies| percent(tallies[HALL].wettest.min(1.0)));
        self.story.line(&format!("       {:<58} {:>14} {:>14}", "Oyster hall: wettest air", hall[0], hall[1]))?;
        let water = [&farm, &believing].map(|tallies| self.litres(tallies[HALL].drawn));
        let row = format!("       {:<58} {:>14} {:>14}", "Oyster hall: water", water[0], water[1]);
        Ok(self.story.line(&row)?)
    }

    /// When counting for the night began.
    fn noted_from(&self) -> String {
        self.moment(SCENES[2].0.as_secs_f64()).map(|moment| self.story.time(moment)).unwrap_or_default()
    }

    /// The share of the oyster hall's fan as it was foreseen without the lever, while it is pulled.
    pub(super) fn hall_without_lever(&self) -> Option<f64> {
        let now = self.now();
        let pull = self.noted.pull.as_ref().filter(|pull| now < pull.until)?;
        let (made, fans) = &pull.fan_without;
        let hour = usize::try_from(now.duration_since(*made).as_hours()).ok()?;
        fans.get(hour).copied()
    }

    /// What is published of a kilogram of water: a litre of cold water weighs one.
    pub(super) fn per_kilogram(&self) -> f64 {
        match self.cast.units {
            crate::units::UnitSystem::Metric => 1.0,
            crate::units::UnitSystem::Us => 1.0 / crate::units::people::LITRES_PER_GALLON,
        }
    }

    /// Kilograms of water as people read them.
    pub(super) fn litres(&self, kilograms: f64) -> String {
        let unit = if self.per_kilogram() < 1.0 { "gal" } else { "L" };
        format!("{:.1} {unit}", kilograms * self.per_kilogram())
    }
}

/// A ratio for people.
pub(super) fn percent(ratio: f64) -> String {
    format!("{:.0} %", ratio * 100.0)
}
