//! Warnings that the humidifier will not keep up, against what then truly came, over two real winters.

use std::{env, thread};

use jiff::{SignedDuration, Timestamp};
use mistwright::model::{Species, Stage};

use super::{
    live::Living,
    place::{Drawn, Layout, Mistakes},
};
use crate::nights::{
    chance::Chance,
    weather::{Place, Station},
};

/// First days of the stretches that rooms live through, each this long: together all of the station's winters.
const STRETCHES: [&str; 9] = [
    "2015-01-01",
    "2015-01-15",
    "2015-01-30",
    "2015-02-13",
    "2015-12-02",
    "2015-12-16",
    "2015-12-31",
    "2016-01-15",
    "2016-01-30",
];
const DAYS: usize = 14;
/// Warnings are judged from so long after the start on, and have to come so long ahead, h.
const UP: usize = 8;
const LEAD: usize = 6;
/// An hour that asks for this share of the output is a true shortfall; it begins anew after six hours that the humidifier could
/// give. A quiet night has no hour that asks for that share.
const SHORT: f64 = 1.1;
const GIVEN: f64 = 1.0;
const QUIET: f64 = 0.9;
/// Output of the humidifiers, over what a fixed fan's air takes at −12 °C: too weak for most of that air, so that there is
/// something to warn of.
const STRENGTH: (f64, f64) = (0.25, 0.8);
/// Night by the station's clock: 17:00 to 07:00, in hours of the day, UTC.
const NIGHT: (usize, usize) = (23, 13);

/// What came, and what was said of it, hour by hour.
struct Course {
    /// Mean vapour that the low end of the band took, as a share of what the humidifier gives.
    loads: Vec<f64>,
    /// What stood of a shortfall at the end of each hour; `None` where nothing did.
    said: Vec<Option<Said>>,
    outdoors: Vec<f64>,
}

/// What an alert says of a shortfall.
#[derive(Clone, Copy)]
struct Said {
    /// From when on it comes, as hours after the start.
    from: f64,
    /// A warning, not yet only a notice.
    warning: bool,
}

/// One true shortfall.
struct Shortfall {
    coldest: f64,
    /// How long the warning had stood without a break when it began, h.
    lead: usize,
}

/// One night.
struct Night {
    coldest: f64,
    quiet: bool,
    /// Whether at dusk or in the night a shortfall before dawn was warned of.
    warned: bool,
    /// The same, with mere notices.
    told: bool,
}

impl Course {
    fn lived(station: &Station, drawn: Drawn, mistakes: &Mistakes, (begins, chance): (Timestamp, Chance)) -> Self {
        let low_end = Species::Oyster.entry(Stage::Fruiting).relative_humidity[0].value;
        let mut living = Living::new(station, drawn, mistakes, begins, chance);
        let mut course = Self { loads: Vec::new(), said: Vec::new(), outdoors: Vec::new() };
        for hour in 0..DAYS * 24 {
            let mut load = 0.0;
            for _ in 0..60 {
                living.minute();
                load += living.room.load(low_end, living.faces.0, living.faces.1) / 60.0;
            }
            course.loads.push(load);
            course.said.push(living.shortfall_from().map(|(from, warning)| {
                let from = from.duration_since(begins).as_secs_f64() / 3_600.0;
                Said { from, warning }
            }));
            course.outdoors.push(station.lately(begins + SignedDuration::from_hours(hour as i64)).unwrap().0);
        }
        course
    }

    fn shortfalls(&self) -> Vec<Shortfall> {
        let begins = |hour: &usize| {
            self.loads[*hour] >= SHORT && self.loads[hour.saturating_sub(6)..*hour].iter().all(|load| *load < GIVEN)
        };
        // An hour on the way up, between what can be given and a true shortfall, belongs to what comes after it.
        let rises = |hour: &usize| {
            let given = (0..*hour).rev().find(|before| self.loads[*before] < GIVEN);
            self.loads[*hour] >= SHORT
                && given.is_some_and(|given| {
                    self.loads[given + 1..*hour].iter().all(|load| *load < SHORT)
                        && self.loads[given.saturating_sub(5)..=given].iter().all(|load| *load < GIVEN)
                })
        };
        let found = (UP..self.loads.len()).filter(|hour| begins(hour) || rises(hour));
        let shortfalls = found.map(|hour| Shortfall {
            coldest: self.coldest(hour, 12),
            lead: self.said[..hour].iter().rev().take_while(|said| said.is_some_and(|said| said.warning)).count(),
        });
        shortfalls.collect()
    }

    fn nights(&self) -> Vec<Night> {
        let dusks = (NIGHT.0..self.loads.len().saturating_sub(24)).step_by(24);
        let length = NIGHT.1 + 24 - NIGHT.0;
        let nights = dusks.map(|dusk| {
            let dawn = dusk + length;
            let said = || self.said[dusk - 1..dawn].iter().flatten().filter(|said| said.from < dawn as f64);
            Night {
                coldest: self.coldest(dusk, length),
                quiet: self.loads[dusk..dawn].iter().all(|load| *load < QUIET),
                warned: said().any(|said| said.warning),
                told: said().next().is_some(),
            }
        });
        nights.collect()
    }

    fn coldest(&self, from: usize, hours: usize) -> f64 {
        self.outdoors[from..(from + hours).min(self.outdoors.len())].iter().copied().fold(f64::INFINITY, f64::min)
    }
}

/// So many rooms, from `seed` on, through all stretches, of which every third is a tent or has an anteroom.
fn courses(station: &Station, (seed, rooms): (usize, usize), right: bool) -> Vec<Course> {
    let layouts =
        [Layout::Outdoors, Layout::Outdoors, Layout::Tent, Layout::Outdoors, Layout::Outdoors, Layout::Anteroom];
    let live = |index: usize| {
        let mut chance = Chance::new((seed + index) as u64);
        let mut drawn = Drawn::new(layouts[index % layouts.len()], STRENGTH, &mut chance);
        let mut mistakes = Mistakes::NONE;
        if !right {
            drawn.fan_true = chance.between(0.75, 1.1);
            mistakes = Mistakes::draw(&mut chance);
        }
        let begins = format!("{}T00:00:00Z", STRETCHES[index % STRETCHES.len()]).parse().unwrap();
        Course::lived(station, drawn, &mistakes, (begins, chance))
    };
    thread::scope(|scope| {
        let other = scope.spawn(|| (rooms / 2..rooms).map(live).collect::<Vec<_>>());
        let own: Vec<_> = (0..rooms / 2).map(live).collect();
        own.into_iter().chain(other.join().unwrap()).collect()
    })
}

/// True shortfalls, those warned of in time, quiet nights, those warned of, and those with a notice or a warning.
fn print(title: &str, courses: &[Course]) -> [usize; 5] {
    println!("{title}");
    println!(
        "{:<14} {:>15} {:>15} {:>13} {:>7} {:>13} {:>16} {:>10}",
        "coldest",
        "true shortfalls",
        "warned in time",
        "median lead",
        "nights",
        "quiet nights",
        "of these warned",
        "or noticed"
    );
    let shortfalls: Vec<Shortfall> = courses.iter().flat_map(Course::shortfalls).collect();
    let nights: Vec<Night> = courses.iter().flat_map(Course::nights).collect();
    let row = |name: &str, low: f64, high: f64| {
        let short: Vec<_> = shortfalls.iter().filter(|shortfall| (low..high).contains(&shortfall.coldest)).collect();
        let those: Vec<_> = nights.iter().filter(|night| (low..high).contains(&night.coldest)).collect();
        let mut leads: Vec<usize> = short.iter().map(|shortfall| shortfall.lead).collect();
        leads.sort_unstable();
        let median = leads.get(leads.len() / 2).map_or_else(String::new, |lead| format!("{lead} h"));
        let in_time = leads.iter().filter(|lead| **lead >= LEAD).count();
        let quiet = those.iter().filter(|night| night.quiet).count();
        let idle = those.iter().filter(|night| night.quiet && night.warned).count();
        let told = those.iter().filter(|night| night.quiet && night.told).count();
        println!(
            "{name:<14} {:>15} {in_time:>15} {median:>13} {:>7} {quiet:>13} {idle:>16} {told:>10}",
            short.len(),
            those.len()
        );
        [short.len(), in_time, quiet, idle, told]
    };
    row("below −12 °C", f64::NEG_INFINITY, -12.0);
    row("−12 to −6 °C", -12.0, -6.0);
    row("−6 to 0 °C", -6.0, 0.0);
    row("above 0 °C", 0.0, f64::INFINITY);
    let all = row("all", f64::NEG_INFINITY, f64::INFINITY);
    let late = shortfalls.iter().filter(|shortfall| shortfall.lead < LEAD);
    println!("leads of those not in time, h: {:?}", late.map(|shortfall| shortfall.lead).collect::<Vec<_>>());
    all
}

/// Nine of ten true shortfalls are warned of six hours ahead, and no quiet night is. `SEASON_SEED` takes other rooms, and
/// `SEASON_ROOMS` more or fewer of them; see DEVELOPERS.md.
#[test]
fn shortfalls_are_warned_of_six_hours_ahead_and_no_quiet_night_is() {
    let station = Station::read(Place::Chicago);
    let [seed, rooms] = [("SEASON_SEED", 40_000), ("SEASON_ROOMS", 36)]
        .map(|(name, usual)| env::var(name).map_or(usual, |text| text.parse().unwrap()));
    let title = "Shortfalls of at least 10 % for an hour, and their warnings, in rooms as they are described:";
    let [short, in_time, quiet, idle, _] = print(title, &courses(&station, (seed, rooms), true));
    print(
        "The same where leak, shell, crop, fan and evaporated fraction are wrongly described:",
        &courses(&station, (seed, rooms / 4), false),
    );
    assert!(short >= 20 && quiet >= 30, "{short} true shortfalls and {quiet} quiet nights prove little");
    assert!(in_time as f64 >= 0.9 * short as f64, "{in_time} of {short} in time");
    assert_eq!(idle, 0, "so many of {quiet} quiet nights were warned of");
}
