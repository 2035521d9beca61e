//! Frosthollow as it truly is: an anteroom that tempers and moistens the intake, three rooms that draw from it, their
//! sensors, and the relays that the farm's automation switches.

use super::{
    air::Air,
    chance::Chance,
    room::{Build, Drive, Room, STEP},
    tally::Tally,
    weather::Outdoors,
};

/// The rooms in the order of every list here; the anteroom is first, because the others draw from it.
pub(super) const NAMES: [&str; 4] = ["lung", "oyster-hall", "shiitake-loft", "lions-mane-bay"];

/// What the fans' plates say they move at full command, m³/h.
pub(super) const FAN_PLATES: [f64; 4] = [BUILDS[0].fan.0, BUILDS[1].fan.0, BUILDS[2].fan.0, BUILDS[3].fan.0];

/// How long the usual settings have run before dusk, s.
const AFTERNOON: f64 = 2.0 * 3_600.0;

/// Half the humidistat's hysteresis, as a ratio.
const HUMIDISTAT: f64 = 0.01;

/// What the crops (and the anteroom's configuration) bear at least, a ratio: below it a room is truly too dry.
pub(super) const LOWEST: [f64; 4] = [0.62, 0.85, 0.68, 0.90];

/// A room is truly short when its humidifier has run without a pause for this many seconds and its air at the crop is
/// still below [`LOWEST`].
const SHORT_AFTER: f64 = 900.0;

/// What the configuration does not know: leaks are larger, less of the mist evaporates, fans give less than their
/// plates say, and crops breathe differently.
const BUILDS: [Build; 4] = [
    Build {
        volume: 95.0,
        leak: 0.5,
        envelope: 58.0,
        fabric: 4_500.0,
        film: 640.0,
        coldest: (0.88, 5.0),
        heater: (30_000.0, 10.0),
        humidifier: 5.0,
        evaporated: 0.95,
        respiration: 0.0,
        transpiration: 0.0,
        fan: (2_400.0, 0.94),
        exhaust: false,
        mixing: 60.0,
    },
    Build {
        volume: 180.0,
        leak: 0.28,
        envelope: 62.0,
        fabric: 9_000.0,
        film: 950.0,
        coldest: (0.91, 9.0),
        heater: (18_000.0, 16.0),
        humidifier: 14.0,
        evaporated: 0.80,
        respiration: 0.42,
        transpiration: 0.9,
        fan: (1_500.0, 0.93),
        exhaust: true,
        mixing: 45.0,
    },
    Build {
        volume: 140.0,
        leak: 0.45,
        envelope: 48.0,
        fabric: 7_000.0,
        film: 760.0,
        coldest: (0.92, 7.0),
        heater: (10_000.0, 15.0),
        humidifier: 8.0,
        evaporated: 0.84,
        respiration: 0.11,
        transpiration: 0.5,
        fan: (700.0, 0.96),
        exhaust: true,
        mixing: 40.0,
    },
    Build {
        volume: 90.0,
        leak: 0.30,
        envelope: 40.0,
        fabric: 4_500.0,
        film: 560.0,
        coldest: (0.92, 5.0),
        heater: (9_000.0, 15.0),
        humidifier: 7.0,
        evaporated: 0.78,
        respiration: 0.12,
        transpiration: 0.4,
        fan: (800.0, 0.92),
        exhaust: true,
        mixing: 50.0,
    },
];

/// Fans and humidistats of the afternoon, as everybody has them: share of the fan's capacity, and a ratio.
const USUAL: [(f64, f64); 4] = [(0.45, 0.70), (0.40, 0.87), (0.30, 0.75), (0.45, 0.93)];

/// Water in each room's tank at dusk, kg; the anteroom is on the mains.
const TANKS_AT_DUSK: [Option<f64>; 4] = [None, Some(40.0), Some(90.0), Some(80.0)];

/// The air of each room at dusk: °C, RH, ppm.
const AT_DUSK: [(f64, f64, f64); 4] =
    [(10.0, 0.72, 450.0), (16.0, 0.88, 780.0), (15.0, 0.76, 700.0), (15.0, 0.92, 640.0)];

/// A sensor: slow, a little off, and noisy.
#[derive(Debug, Clone, Copy)]
struct Sensor {
    /// What it would show without noise.
    shown: f64,
    /// Time constant, s.
    lag: f64,
    /// How far off it is.
    offset: f64,
    /// Standard deviation of its noise.
    spread: f64,
}

impl Sensor {
    fn follow(&mut self, truth: f64) {
        self.shown += (truth + self.offset - self.shown) * (STEP / self.lag);
    }

    fn read(&self, chance: &mut Chance) -> f64 {
        self.shown + chance.noise(self.spread)
    }
}

/// What a room's sensors say: °C, ratio, ppm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Readings {
    /// °C.
    pub(super) temperature: f64,
    /// Ratio, at most 1.
    pub(super) relative_humidity: f64,
    /// ppm.
    pub(super) carbon_dioxide: f64,
}

/// What the automation wants of a room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Orders {
    /// Share of the fan's capacity.
    pub(super) fan: f64,
    /// Humidity to hold, a ratio; `None` keeps the humidifier off.
    pub(super) humidity: Option<f64>,
}

/// A room with its sensors and relays.
#[derive(Debug, Clone)]
struct Fitted {
    room: Room,
    temperature: Sensor,
    relative_humidity: Sensor,
    carbon_dioxide: Sensor,
    drive: Drive,
    /// Relative humidity at the crop, a ratio.
    humidity: f64,
    /// Seconds for which the humidifier has run in vain.
    in_vain: f64,
    /// Water left in the tank, kg; `None` on the mains.
    tank: Option<f64>,
    /// What a second sensor says, where the humidistat goes by the mean of two.
    second: Option<f64>,
    tally: Tally,
}

/// The whole farm in time.
#[derive(Debug, Clone)]
pub(super) struct Farm {
    rooms: Vec<Fitted>,
    chance: Chance,
    /// Seconds since dusk.
    passed: f64,
}

impl Farm {
    /// The farm at dusk, as the afternoon's usual settings have left it.
    pub(super) fn at_dusk(outdoors: &Outdoors) -> Self {
        let mut farm = Self::new(outdoors);
        farm.pass(AFTERNOON, &USUAL.map(|(fan, humidity)| Orders { fan, humidity: Some(humidity) }), outdoors);
        farm.passed = 0.0;
        for (fitted, tank) in farm.rooms.iter_mut().zip(TANKS_AT_DUSK) {
            fitted.in_vain = 0.0;
            fitted.tank = tank;
        }
        farm.count_anew();
        farm
    }

    /// Counts what the rooms live through from now on.
    pub(super) fn count_anew(&mut self) {
        for fitted in &mut self.rooms {
            fitted.tally = Tally::from(self.passed, fitted.room.ledger().drawn);
        }
    }

    /// Fills a room's tank to so many kilograms.
    pub(super) fn fill(&mut self, room: usize, water: f64) {
        self.rooms[room].tank = Some(water);
    }

    /// Has a room's humidistat go by the mean of its own sensor and one that says `second`, a ratio.
    pub(super) fn go_by_the_mean(&mut self, room: usize, second: f64) {
        self.rooms[room].second = Some(second);
    }

    fn new(outdoors: &Outdoors) -> Self {
        let pressure = outdoors.pressure;
        let rooms = BUILDS.iter().zip(AT_DUSK).enumerate().map(|(number, (build, (celsius, humidity, dioxide)))| {
            let sign = if number % 2 == 0 { 1.0 } else { -1.0 };
            Fitted {
                room: Room::new(*build, Air::new(celsius, humidity, dioxide, pressure), pressure),
                temperature: Sensor { shown: celsius, lag: 40.0, offset: 0.1 * sign, spread: 0.04 },
                relative_humidity: Sensor { shown: humidity, lag: 60.0, offset: 0.008 * sign, spread: 0.003 },
                carbon_dioxide: Sensor { shown: dioxide, lag: 90.0, offset: 15.0 * sign, spread: 6.0 },
                drive: Drive { fan: 0.3, humidifier: false },
                humidity,
                in_vain: 0.0,
                tank: None,
                second: None,
                tally: Tally::from(0.0, 0.0),
            }
        });
        Self { rooms: rooms.collect(), chance: Chance::new(0x5EED_F057), passed: 0.0 }
    }

    /// Lets `seconds` pass under `orders`, in the order of [`NAMES`].
    pub(super) fn pass(&mut self, seconds: f64, orders: &[Orders; 4], outdoors: &Outdoors) {
        for _ in 0..(seconds / STEP).round() as u64 {
            self.switch(orders);
            self.step(outdoors);
            self.passed += STEP;
        }
    }

    fn switch(&mut self, orders: &[Orders; 4]) {
        for ((fitted, orders), lowest) in self.rooms.iter_mut().zip(orders).zip(LOWEST) {
            // The fan's drive takes about 20 s to follow.
            fitted.drive.fan += (orders.fan - fitted.drive.fan) * (STEP / 20.0);
            let own = fitted.relative_humidity.shown;
            let measured = fitted.second.map_or(own, |second| f64::midpoint(own, second));
            fitted.drive.humidifier = match orders.humidity {
                Some(_) if fitted.tank.is_some_and(|water| water <= 0.0) => false,
                Some(target) if measured < target - HUMIDISTAT => true,
                Some(target) if measured > target + HUMIDISTAT => false,
                Some(_) => fitted.drive.humidifier,
                None => false,
            };
            let vain = fitted.drive.humidifier && fitted.humidity < lowest;
            fitted.in_vain = if vain { fitted.in_vain + STEP } else { 0.0 };
        }
    }

    fn step(&mut self, outdoors: &Outdoors) {
        let anteroom = self.rooms[0].room.at_crop();
        let supply = |number: usize| if number == 0 { outdoors.air } else { anteroom };
        let mut flows: Vec<f64> = self
            .rooms
            .iter()
            .enumerate()
            .map(|(number, fitted)| fitted.room.flow(fitted.drive, &supply(number)))
            .collect();
        // What the rooms draw comes in from outdoors whether the anteroom's own fan pushes it or not.
        flows[0] = flows[0].max(flows.iter().skip(1).sum());
        let now = self.passed;
        for (number, fitted) in self.rooms.iter_mut().enumerate() {
            let drawn = fitted.room.ledger().drawn;
            fitted.room.step(fitted.drive, flows[number], &supply(number), &outdoors.air);
            let air = fitted.room.at_crop();
            fitted.temperature.follow(air.temperature);
            fitted.humidity = air.relative_humidity(outdoors.pressure);
            fitted.relative_humidity.follow(fitted.humidity);
            fitted.carbon_dioxide.follow(air.carbon_dioxide);
            let thrown = fitted.room.ledger().drawn;
            fitted.tank = fitted.tank.map(|water| water - (thrown - drawn));
            fitted.tally.live(STEP, fitted.humidity, air.carbon_dioxide);
            fitted.tally.draw(thrown);
            if fitted.in_vain >= SHORT_AFTER {
                // The time after which it is known to be in vain counts as well.
                let known_now = fitted.in_vain < SHORT_AFTER + STEP;
                fitted.tally.fall_short(now - fitted.in_vain, if known_now { SHORT_AFTER } else { STEP });
            }
        }
    }

    /// What the sensors of each room say, in the order of [`NAMES`].
    pub(super) fn read(&mut self) -> Vec<Readings> {
        let chance = &mut self.chance;
        let read = |fitted: &Fitted| Readings {
            temperature: fitted.temperature.read(chance),
            relative_humidity: fitted.relative_humidity.read(chance).clamp(0.0, 1.0),
            carbon_dioxide: fitted.carbon_dioxide.read(chance).max(0.0),
        };
        self.rooms.iter().map(read).collect()
    }

    /// Water that has passed in each room, in the order of [`NAMES`].
    #[cfg(test)]
    fn ledgers(&self) -> Vec<super::room::Ledger> {
        self.rooms.iter().map(|fitted| fitted.room.ledger()).collect()
    }

    /// What each room has lived through since it was counted anew, in the order of [`NAMES`].
    pub(super) fn tallies(&self) -> [Tally; 4] {
        std::array::from_fn(|room| self.rooms[room].tally)
    }

    /// Water in each tank, kg, in the order of [`NAMES`].
    pub(super) fn tanks(&self) -> [Option<f64>; 4] {
        std::array::from_fn(|room| self.rooms[room].tank)
    }
}

/// What the humidistats stood at in the afternoon, as ratios.
pub(super) fn usual_humidity() -> [f64; 4] {
    USUAL.map(|(_, humidity)| humidity)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRESSURE: f64 = 98_500.0;

    fn outdoors(celsius: f64) -> Outdoors {
        Outdoors { air: Air::new(celsius, 0.8, 432.0, PRESSURE), pressure: PRESSURE }
    }

    fn orders() -> [Orders; 4] {
        [
            Orders { fan: 0.4, humidity: Some(0.72) },
            Orders { fan: 0.4, humidity: Some(0.88) },
            Orders { fan: 0.3, humidity: Some(0.76) },
            Orders { fan: 0.45, humidity: Some(0.93) },
        ]
    }

    #[test]
    fn a_mild_evening_is_held_and_the_freeze_leaves_the_anteroom_short() {
        let mut mild = Farm::new(&outdoors(6.0));
        mild.pass(3.0 * 3_600.0, &orders(), &outdoors(6.0));
        for (name, (reading, orders)) in NAMES.iter().zip(mild.read().iter().zip(orders())) {
            let target = orders.humidity.unwrap();
            assert!((reading.relative_humidity - target).abs() < 0.04, "{name}: {reading:?} for {target}");
        }
        assert!(mild.tallies().iter().all(|tally| tally.short_from.is_none()));
        let mut cold = Farm::new(&outdoors(-14.0));
        cold.pass(3.0 * 3_600.0, &orders(), &outdoors(-14.0));
        let read = cold.read();
        assert!(read[0].relative_humidity < 0.62, "{read:?}");
        assert!(cold.tallies()[0].short_from.is_some());
        // The heaters are made for the frost: temperature is held in both.
        for (reading, celsius) in read.iter().zip([10.0, 16.0, 15.0, 15.0]) {
            assert!((reading.temperature - celsius).abs() < 1.2, "{read:?}");
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_night_to_the_last_digit() {
        let night = || {
            let mut farm = Farm::new(&outdoors(-3.0));
            farm.pass(600.0, &orders(), &outdoors(-3.0));
            farm.read()
        };
        assert_eq!(night(), night());
    }

    #[test]
    fn a_tank_goes_down_by_what_is_thrown_and_an_empty_one_throws_nothing() {
        let mut farm = Farm::new(&outdoors(-3.0));
        farm.fill(1, 2.0);
        farm.pass(3_600.0, &orders(), &outdoors(-3.0));
        let drawn = farm.ledgers()[1].drawn;
        assert!((1.9..2.1).contains(&drawn), "{drawn} kg out of 2 kg");
        farm.fill(1, 50.0);
        farm.pass(3_600.0, &orders(), &outdoors(-3.0));
        let left = farm.tanks()[1].unwrap();
        assert!((50.0 - left - (farm.ledgers()[1].drawn - drawn)).abs() < 1e-6 && left < 49.0, "{left} kg left");
    }

    #[test]
    fn a_humidistat_that_goes_by_the_mean_with_a_dry_liar_drowns_the_room() {
        let mut honest = Farm::new(&outdoors(-3.0));
        let mut misled = honest.clone();
        misled.go_by_the_mean(1, 0.4);
        for farm in [&mut honest, &mut misled] {
            farm.pass(7_200.0, &orders(), &outdoors(-3.0));
        }
        let [honest, misled] = [&honest, &misled].map(|farm| farm.tallies()[1].wettest);
        assert!(misled > honest + 0.05, "{misled} against {honest}");
    }

    #[test]
    fn without_humidity_orders_no_water_is_drawn() {
        let mut farm = Farm::new(&outdoors(-3.0));
        farm.pass(1_200.0, &orders().map(|orders| Orders { humidity: None, ..orders }), &outdoors(-3.0));
        assert!(farm.ledgers().iter().all(|ledger| ledger.drawn.abs() < f64::EPSILON));
    }
}
