//! Warnings that the humidifier will not keep up, against what then truly came, over nights of real winters.

use std::thread;

use jiff::{SignedDuration, Timestamp};
use mistwright::{
    advice::AlertKind,
    model::{Species, Stage},
};

use super::{
    live::Living,
    place::{Drawn, Layout, Mistakes},
};
use crate::nights::{chance::Chance, weather::Station};

/// The daemon starts in the morning, 11 hours before dusk, and lives until the next morning.
const BEFORE_DUSK: SignedDuration = SignedDuration::from_hours(11);
const MINUTES: usize = 26 * 60;
/// A warning is judged from here on, in minutes after the start.
const UP: usize = 8 * 60;
const LEAD: usize = 6 * 60;
/// Output of the humidifiers, over what a fixed fan's air takes at −12 °C: from far too weak to just enough, so that there is
/// something to warn of.
const STRENGTH: (f64, f64) = (0.3, 1.2);
/// A true shortfall is an hour that asks for this share of the output; a quiet night has no hour that asks for that.
const SHORT: f64 = 1.1;
const QUIET: f64 = 0.9;

/// What came of a night, and what was said of it.
#[derive(Debug, Clone, Copy)]
struct Night {
    coldest: f64,
    /// The hour that asked for most, as a share of the output.
    most: f64,
    /// Minute in which the first hour of a true shortfall begins.
    short_from: Option<usize>,
    /// How long before that the warning has stood without a break, min; `None` where it did not stand then.
    lead: Option<usize>,
    /// Whether it was ever warned.
    warned: bool,
}

impl Night {
    /// A true shortfall that began when the daemon had been up for long enough.
    fn counts(&self) -> bool {
        self.short_from.is_some_and(|minute| minute >= UP)
    }

    fn is_quiet(&self) -> bool {
        self.most < QUIET
    }

    fn in_time(&self) -> bool {
        self.lead.is_some_and(|lead| lead >= LEAD)
    }
}

fn night(station: &Station, drawn: Drawn, mistakes: &Mistakes, (dusk, chance): (Timestamp, Chance)) -> Night {
    let low_end = Species::Oyster.entry(Stage::Fruiting).relative_humidity[0].value;
    let mut living = Living::new(station, drawn, mistakes, dusk - BEFORE_DUSK, chance);
    let (mut loads, mut stands) = (Vec::new(), Vec::new());
    for _ in 0..MINUTES {
        let (snapshot, _) = living.minute();
        loads.push(living.room.load(low_end, living.faces.0, living.faces.1));
        stands.push(Living::raised(&snapshot, AlertKind::HumidifierShortfall));
    }
    let hours = || loads.windows(60).map(|hour| hour.iter().sum::<f64>() / 60.0);
    let short_from = hours().position(|mean| mean >= SHORT);
    let lead = short_from.map(|minute| stands[..minute].iter().rev().take_while(|stands| **stands).count());
    Night {
        coldest: station.coldest(dusk, 16),
        most: hours().fold(0.0, f64::max),
        short_from,
        lead: lead.filter(|lead| *lead > 0),
        warned: stands.contains(&true),
    }
}

/// All nights whose weather is known, in as many rooms, of which every third is a tent or has an anteroom.
fn nights(station: &Station, right: bool) -> Vec<Night> {
    let layouts =
        [Layout::Outdoors, Layout::Outdoors, Layout::Tent, Layout::Outdoors, Layout::Outdoors, Layout::Anteroom];
    let dusks: Vec<Timestamp> = station.dusks().into_iter().skip(1).collect();
    let live = |index: usize| {
        let mut chance = Chance::new(40_000 + index as u64);
        let mut drawn = Drawn::new(layouts[index % layouts.len()], STRENGTH, &mut chance);
        let mut mistakes = Mistakes::NONE;
        if !right {
            drawn.fan_true = chance.between(0.75, 1.1);
            mistakes = Mistakes::draw(&mut chance);
        }
        night(station, drawn, &mistakes, (dusks[index], chance))
    };
    let half = dusks.len() / 2;
    thread::scope(|scope| {
        let other = scope.spawn(|| (half..dusks.len()).map(live).collect::<Vec<_>>());
        (0..half).map(live).chain(other.join().unwrap()).collect()
    })
}

fn print(title: &str, nights: &[Night]) {
    println!("{title}");
    println!(
        "{:<22} {:>6} {:>15} {:>15} {:>14} {:>12} {:>13}",
        "coldest of the night",
        "nights",
        "true shortfalls",
        "warned in time",
        "median lead",
        "quiet nights",
        "warned quietly"
    );
    let ends = [f64::NEG_INFINITY, -12.0, -6.0, 0.0, f64::INFINITY];
    let names = ["below −12 °C", "−12 to −6 °C", "−6 to 0 °C", "above 0 °C"];
    let row = |name: &str, nights: &[&Night]| {
        let count = |of: &dyn Fn(&Night) -> bool| nights.iter().filter(|night| of(night)).count();
        let mut leads: Vec<usize> =
            nights.iter().filter(|night| night.counts()).map(|night| night.lead.unwrap_or(0)).collect();
        leads.sort_unstable();
        let median =
            leads.get(leads.len() / 2).map_or_else(String::new, |lead| format!("{:.1} h", *lead as f64 / 60.0));
        println!(
            "{name:<22} {:>6} {:>15} {:>15} {median:>14} {:>12} {:>13}",
            nights.len(),
            count(&Night::counts),
            count(&|night| night.counts() && night.in_time()),
            count(&Night::is_quiet),
            count(&|night| night.is_quiet() && night.warned),
        );
    };
    for (name, ends) in names.iter().zip(ends.windows(2)) {
        let those: Vec<&Night> = nights.iter().filter(|night| (ends[0]..ends[1]).contains(&night.coldest)).collect();
        row(name, &those);
    }
    row("all", &nights.iter().collect::<Vec<_>>());
    for night in nights.iter().filter(|night| night.counts() && !night.in_time()) {
        println!("  not in time: {night:?}");
    }
    for night in nights.iter().filter(|night| night.is_quiet() && night.warned) {
        println!("  for nothing: {night:?}");
    }
}

#[test]
fn shortfalls_are_warned_of_six_hours_ahead_and_quiet_nights_are_not() {
    let station = Station::read();
    let right = nights(&station, true);
    print("Shortfalls of at least 10 % for an hour, and their warnings; rooms as described:", &right);
    let wrong = nights(&station, false);
    print("The same in rooms whose leak, shell, crop, fan and evaporated fraction are wrongly described:", &wrong);
    let count = |of: &dyn Fn(&Night) -> bool| right.iter().filter(|night| of(night)).count();
    let (short, in_time) = (count(&Night::counts), count(&|night| night.counts() && night.in_time()));
    let quiet = count(&Night::is_quiet);
    assert!(short >= 30 && quiet >= 30, "{short} true shortfalls and {quiet} quiet nights prove little");
    assert!(in_time as f64 >= 0.9 * short as f64, "{in_time} of {short} in time");
    assert_eq!(count(&|night| night.is_quiet() && night.warned), 0, "warnings on quiet nights");
}
