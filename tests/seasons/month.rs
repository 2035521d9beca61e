//! A month of following the advice, against a fixed fan at the usual rate in the same room with the same humidity target.

use std::thread;

use jiff::Timestamp;
use mistwright::model::Species;

use super::{
    live::{Living, Orders},
    place::{Drawn, LIMIT, Layout, Mistakes},
};
use crate::nights::{
    chance::Chance,
    truth::Simulated,
    weather::{Place, Station},
};

/// The whole of January 2015: 0 °C on its mildest days, −22 °C on its coldest night.
const BEGINS: &str = "2015-01-01T00:00:00Z";
const HOURS: u32 = 31 * 24;
/// An hour whose mean humidity lies further below the band's low end than this is below the band: what humidity sensors
/// are good for, and what a humidistat swings by. Points.
const OFF_BAND: f64 = 2.0;

/// What a room has been through.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    water: f64,
    hours_below: u32,
    hours_under_low_end: u32,
    /// The longest stretch above the crop's carbon dioxide limit, and the one that is going on, min.
    longest: u32,
    above: u32,
    minutes_above: u32,
    highest: f64,
    ppm: f64,
    air: f64,
    hour: f64,
}

impl Sums {
    fn minute(&mut self, room: &Simulated, minute: u32, low_end: f64) {
        let ppm = room.lower.ppm().max(room.upper.ppm());
        self.highest = self.highest.max(ppm);
        self.above = if ppm > LIMIT { self.above + 1 } else { 0 };
        self.minutes_above += u32::from(ppm > LIMIT);
        self.longest = self.longest.max(self.above);
        self.air += room.set.flow;
        self.ppm += ppm / f64::from(HOURS * 60);
        self.hour += room.lower.between(room.upper).humidity();
        if minute % 60 == 59 {
            let mean = self.hour / 60.0;
            self.hours_below += u32::from(mean < low_end - OFF_BAND);
            self.hours_under_low_end += u32::from(mean < low_end);
            self.hour = 0.0;
        }
        self.water = room.thrown;
    }
}

struct Month {
    advised: Sums,
    fixed: Sums,
    /// With the least that a fixed fan could give.
    lean: Sums,
    /// Times that the fan was moved by more than one percent of its capacity.
    moves: u32,
    target: f64,
}

/// Lives the month twice: by the advice, and with the fan fixed, holding in each minute the target that is advised.
fn month(station: &Station, drawn: Drawn, mistakes: &Mistakes, chance: Chance) -> Month {
    let begins: Timestamp = BEGINS.parse().unwrap();
    let low_end = Species::Oyster.entry(mistwright::model::Stage::Fruiting).relative_humidity[0].value;
    let mut living = Living::new(station, drawn, mistakes, begins, chance);
    let (mut twins, usual) = ([living.twin(); 2], drawn.facts.flow / drawn.fan_true);
    let flows = [usual, drawn.lean / drawn.fan_true];
    let (mut advised, mut fixed) = (Sums::default(), [Sums::default(); 2]);
    let (mut moves, mut before, mut target) = (0, drawn.facts.flow, 0.0);
    for minute in 0..HOURS * 60 {
        let (snapshot, orders) = living.minute();
        for (((twin, front), flow), sums) in twins.iter_mut().zip(flows).zip(&mut fixed) {
            if let Some(front) = front {
                let ahead = living.orders(&snapshot, 0);
                (front.set.humid, front.set.mist) = (ahead.humid, true);
            }
            living.pass(twin, front, &Orders { flow, mist: true, ..orders });
            sums.minute(twin, minute, low_end);
        }
        advised.minute(&living.room, minute, low_end);
        if (orders.flow - before).abs() > 0.016 * usual {
            (moves, before) = (moves + 1, orders.flow);
        }
        target += orders.humid / f64::from(HOURS * 60);
    }
    Month { advised, fixed: fixed[0], lean: fixed[1], moves, target }
}

/// The rooms: three straight from outdoors, two tents, one behind an anteroom, each once with a right description and once
/// with a wrong one.
fn rooms() -> Vec<(Drawn, Mistakes, u64)> {
    let layouts = [Layout::Outdoors, Layout::Outdoors, Layout::Outdoors, Layout::Tent, Layout::Tent, Layout::Anteroom];
    let drawn = layouts.into_iter().zip(1..).flat_map(|(layout, seed)| {
        let mut chance = Chance::new(7_000 + seed);
        let right = Drawn::new(layout, (0.95, 1.7), &mut chance);
        let wrong = Drawn { fan_true: chance.between(0.75, 1.1), ..right };
        let mistakes = Mistakes::draw(&mut chance);
        [(right, Mistakes::NONE, seed), (wrong, mistakes, 100 + seed)]
    });
    drawn.collect()
}

#[test]
fn a_month_of_following_the_advice_keeps_the_crop_and_saves_water() {
    let station = Station::read(Place::Chicago);
    let rooms = rooms();
    let live = |(drawn, mistakes, seed): &(Drawn, Mistakes, u64)| month(&station, *drawn, mistakes, Chance::new(*seed));
    let (first, second) = rooms.split_at(rooms.len() / 2);
    let months: Vec<Month> = thread::scope(|scope| {
        let other = scope.spawn(|| second.iter().map(live).collect::<Vec<_>>());
        let own: Vec<_> = first.iter().map(live).collect();
        own.into_iter().chain(other.join().unwrap()).collect()
    });
    print(&rooms, &months);
    for ((drawn, _, seed), Month { advised, fixed, .. }) in rooms.iter().zip(&months) {
        let room = format!("{:?} {seed}", drawn.layout);
        assert!(advised.longest <= 10, "{room}: {} minutes above the crop's limit", advised.longest);
        assert!(advised.water < fixed.water, "{room}: {} L, fixed {} L", advised.water, fixed.water);
        assert!(advised.hours_below <= fixed.hours_below, "{room}: more hours below the band");
    }
}

fn print(rooms: &[(Drawn, Mistakes, u64)], months: &[Month]) {
    println!("A month by the advice / with a fan fixed at the usual rate / with the leanest fixed fan,");
    println!("all three at the humidity target that is advised.");
    println!(
        "{:<15} {:>19} {:>11} {:>12} {:>14} {:>15} {:>9} {:>11} {:>6} {:>6}",
        "room as told",
        "water, L",
        "saved, %",
        "air, 1/h",
        "mean ppm",
        "highest ppm",
        "min > limit",
        "h below",
        "target",
        "moves"
    );
    for ((drawn, _, seed), month) in rooms.iter().zip(months) {
        let all = [&month.advised, &month.fixed, &month.lean];
        let three = |value: &dyn Fn(&Sums) -> f64, decimals: usize| {
            all.map(|sums| format!("{:.decimals$}", value(sums))).join("/")
        };
        let saved = |other: &Sums| 100.0 * (1.0 - month.advised.water / other.water);
        println!(
            "{:<15} {:>19} {:>11} {:>12} {:>14} {:>15} {:>9} {:>11} {:>6.1} {:>6.2}",
            format!("{:?} {}", drawn.layout, if *seed < 100 { "right" } else { "wrong" }),
            three(&|sums| sums.water, 0),
            format!("{:.0} / {:.0}", saved(&month.fixed), saved(&month.lean)),
            three(&|sums| sums.air / f64::from(HOURS * 60) / drawn.facts.volume, 1),
            three(&|sums| sums.ppm, 0),
            three(&|sums| sums.highest, 0),
            three(&|sums| f64::from(sums.minutes_above), 0),
            three(&|sums| f64::from(sums.hours_below), 0),
            month.target,
            f64::from(month.moves) / f64::from(HOURS),
        );
    }
    println!(
        "h below: hours whose mean lies over {OFF_BAND} points below the band's low end; moves: of the fan, in an hour"
    );
    let strictly: Vec<String> = months
        .iter()
        .map(|month| {
            [month.advised, month.fixed, month.lean].map(|sums| sums.hours_under_low_end.to_string()).join("/")
        })
        .collect();
    println!("hours under the low end at all: {}", strictly.join(", "));
}
