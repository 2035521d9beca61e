//! A whole step: stretch after stretch, cut where something switches, and the report of it.

use std::time::Duration;

use super::{
    Books, Drive, EnergyBook, MaterialBook, Report, RoomModel, Standing, Swing,
    flows::{Flows, KILOJOULES_PER_HOUR},
    linear::Exact,
    sources::{self, PAN_BAND},
    stretch::{Air, Given, Moisture, Solved, Throw},
};
use crate::{
    physics::bare::{
        DRY_AIR_HEAT_CAPACITY, VAPOUR_HEAT_CAPACITY, enthalpy, liquid_enthalpy, specific_volume, vapour_enthalpy,
    },
    units::{
        CarbonDioxide, DryAirFlow, Fraction, Heat, HeatFlow, HumidityRatio, Mass, Temperature, WaterFlow, WaterVolume,
    },
};

/// Kilograms of carbon dioxide for each kilogram of dry air and ppm (molar masses 44.01 and 28.96 g/mol).
const KILOGRAMS_PER_PPM: f64 = 1e-6 * 44.01 / 28.96;
/// Stretches and repetitions in one step, at most; after that the rest is taken in one go.
const MOST_CUTS: usize = 16;
/// The humidistat has arrived within this share of its target.
const ARRIVED: f64 = 2e-3;
/// What gives and takes vapour is taken as linear in the temperature over this many kelvins.
const LINEAR: f64 = 0.7;
/// While fog forms, the air is brought to saturation this often, hours.
const FOG_STRETCH: f64 = 1.0 / 60.0;

/// Sums over the stretches of a step: kg, kJ and hours.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    hours: f64,
    running: f64,
    vapour: f64,
    crop: f64,
    pan: f64,
    condensed: f64,
    coil: f64,
    fog: f64,
    heater: f64,
    cooler: f64,
    frozen: f64,
    water_left: f64,
    heat_left: f64,
    shell: f64,
    brought: f64,
    with_condensate: f64,
}

impl RoomModel {
    /// Moves the room on by `length`. The drive holds for all of it.
    ///
    /// Whatever the inputs, the result is a number inside its range: temperatures beyond −60…80 °C, which no room
    /// survives, are cut off there.
    pub fn step(&self, standing: &Standing, drive: &Drive, length: Duration) -> (Standing, Report) {
        let (after, report, ()) = self.stepped(standing, drive, length, |_, _| ());
        (after, report)
    }

    /// [`Self::step`], with everything that came and went.
    pub fn step_with_books(&self, standing: &Standing, drive: &Drive, length: Duration) -> (Standing, Report, Books) {
        self.stepped(standing, drive, length, |step, after| step.books(standing, drive, after))
    }

    fn stepped<B>(
        &self,
        standing: &Standing,
        drive: &Drive,
        length: Duration,
        books: impl FnOnce(&Stepped<'_>, &Standing) -> B,
    ) -> (Standing, Report, B) {
        let hours = length.as_secs_f64().max(1e-3) / 3_600.0;
        let start =
            (standing.temperature.celsius().clamp(-60.0, 80.0), standing.humidity_ratio.kilograms_per_kilogram());
        let emission = sources::breathing(&drive.emission, start.0);
        let (mut given, tempering) = self.given(drive, start, emission);
        let mut tank = standing.tank.map(WaterVolume::litres);
        let mut sum = Sum::default();
        let mut air = start;
        let mut left = hours;
        let mut cuts = 0;
        let (mut last, mut moisture) = (Solved::default(), None);
        while left > 1e-7 {
            let may_cut = cuts < MOST_CUTS;
            let (stretch, solved, around) = self.next_stretch(&mut given, air, (left, may_cut), &mut tank);
            cuts += 1;
            left -= stretch;
            let (settled, fog) = sum.add(&given, &solved, stretch, &around);
            air = (settled.0.clamp(-60.0, 80.0), settled.1.max(0.0));
            sum.fog += fog;
            (last, moisture) = (solved, Some(around));
        }
        let supplied = Stepped { given: &given, sum: &sum, last: &last, start, end: air, emission, tempering };
        let frozen = moisture.as_ref().is_some_and(|moisture| moisture.walls.iter().any(|wall| wall.frozen));
        let standing_after = self.stand(standing, drive, &supplied, (tank, frozen));
        let shortfall = moisture.map_or(0.0, |moisture| supplied.shortfall(&moisture));
        let report = self.report(drive, &supplied, shortfall);
        let books = books(&supplied, &standing_after);
        (standing_after, report, books)
    }

    /// What holds for the step, and the heat of the intake's heater.
    fn given(&self, drive: &Drive, (celsius, ratio): Air, emission: f64) -> (Given<'_>, f64) {
        let pascals = drive.pressure.pascals();
        let flows = self.ways.flows(drive, celsius, ratio);
        let (supply, tempering) = self.ways.supply(drive, celsius, flows.supplied);
        let mass = self.volume / specific_volume(celsius, ratio, pascals);
        let around = drive.around.air;
        let around_ratio = around.humidity_ratio().kilograms_per_kilogram();
        let capacity = |ratio: f64| DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * ratio;
        let moist_flow = flows.supplied * (1.0 - supply.moisture_back);
        let dry_flow = flows.supplied * (1.0 - supply.heat_back);
        let supply_capacity =
            DRY_AIR_HEAT_CAPACITY * dry_flow + VAPOUR_HEAT_CAPACITY * moist_flow * supply.humidity_ratio;
        let leak_capacity = flows.leaked * capacity(around_ratio);
        let loss = self.loss.unwrap_or(0.0);
        let outside = around.temperature().celsius();
        let given = Given {
            model: self,
            pascals,
            mass,
            flows,
            supply,
            dry_rate: dry_flow + flows.leaked,
            moisture_in: moist_flow * supply.humidity_ratio + flows.leaked * around_ratio,
            moisture_rate: moist_flow + flows.leaked,
            heat_in: supply_capacity * supply.celsius
                + supply.added
                + (leak_capacity + loss) * outside
                + self.ways.fan_heat(drive)
                + sources::crop_heat(emission),
            heat_rate: supply_capacity + leak_capacity + loss,
            loss,
            around: outside,
            capacity: self.loss.map(|_| mass * capacity(ratio) + self.fabric),
            target: drive.humidity_target.ratio(),
            most: self.humidifier.filter(|_| drive.humidifier_allowed).map_or(0.0, |thrower| thrower.most()),
        };
        (given, tempering)
    }

    /// The next stretch, no longer than up to where something switches.
    fn next_stretch(
        &self,
        given: &mut Given<'_>,
        air: Air,
        (left, may_cut): (f64, bool),
        tank: &mut Option<f64>,
    ) -> (f64, Solved, Moisture) {
        if tank.is_some_and(|litres| litres <= 0.0) {
            given.most = 0.0;
        }
        let mut moisture = Moisture::around(given, air);
        let (mut hours, mut throw) = (left, Throw::Held);
        let mut solved = moisture.solve(given, hours, throw);
        if may_cut {
            for _ in 0..5 {
                let again = moisture.correct(&solved)
                    || drifts(&moisture, &solved, &mut hours)
                    || wets(&mut moisture, given, &solved, &mut hours)
                    || arrives(&moisture, given, &solved, (&mut hours, &mut throw))
                    || fogs(given, &solved, &mut hours);
                if !again {
                    break;
                }
                solved = moisture.solve(given, hours, throw);
            }
        }
        while moisture.correct(&solved) {
            solved = moisture.solve(given, hours, throw);
        }
        if let (Some(litres), Some(thrower)) = (tank.as_ref(), self.humidifier) {
            let rate = solved.duty * thrower.output;
            if given.most > 0.0 && rate * hours > *litres {
                (hours, throw) = (*litres / rate, Throw::Fixed(solved.duty));
                solved = moisture.solve(given, hours, throw);
            }
        }
        while moisture.correct(&solved) {
            solved = moisture.solve(given, hours, throw);
        }
        if let (Some(litres), Some(thrower)) = (tank.as_mut(), self.humidifier) {
            *litres -= solved.duty * thrower.output * hours;
            // What rounding leaves in an empty tank is no water.
            if *litres < 1e-9 {
                *litres = 0.0;
            }
        }
        (hours, solved, moisture)
    }

    /// The room after the step.
    fn stand(
        &self,
        before: &Standing,
        drive: &Drive,
        step: &Stepped<'_>,
        (tank, frozen): (Option<f64>, bool),
    ) -> Standing {
        let Stepped { sum, end, emission, .. } = step;
        let carbon_dioxide = step.carbon_dioxide(drive, before.carbon_dioxide.parts_per_million(), *emission).0;
        let thrown = self.humidifier.map_or(0.0, |thrower| thrower.output * sum.running);
        let frost = before.frost.kilograms();
        let (frost, thawed) = if frozen { (frost + sum.frozen, 0.0) } else { (0.0, frost + sum.frozen) };
        let ran_off = (thrown - sum.vapour).max(0.0) + sum.fog + sum.coil + sum.condensed - sum.frozen + thawed;
        Standing {
            temperature: Temperature::clamped(end.0.clamp(-60.0, 80.0)),
            humidity_ratio: HumidityRatio::clamped(end.1),
            carbon_dioxide: CarbonDioxide::clamped(carbon_dioxide),
            tank: tank.map(WaterVolume::clamped),
            drained: WaterVolume::clamped(before.drained.litres() + ran_off),
            frost: Mass::clamped(frost),
        }
    }

    fn report(&self, drive: &Drive, step: &Stepped<'_>, shortfall: f64) -> Report {
        let Stepped { given, sum, last, end, .. } = step;
        let rate = |amount: f64| amount / sum.hours;
        let watts = |amount: f64| HeatFlow::clamped(rate(amount) / KILOJOULES_PER_HOUR);
        let pan = rate(sum.pan);
        let vapour = last.vapour;
        let held = given.capacity.is_none();
        Report {
            duty: Fraction::clamped(rate(sum.running)),
            water: WaterVolume::clamped(self.humidifier.map_or(0.0, |thrower| thrower.output * sum.running)),
            vapour: WaterFlow::clamped(rate(sum.vapour)),
            shortfall: WaterFlow::clamped(shortfall),
            heater: self.heater.filter(|_| !held).map(|_| watts(sum.heater)),
            heat_missing: HeatFlow::clamped(self.heater.filter(|_| !held).map_or(0.0, |heater| {
                let missing = last.heat_needed - heater.power;
                if missing > 1e-6 * heater.power { step.heat_missing(heater.setting, heater.power) } else { 0.0 }
            })),
            cooler: watts(sum.cooler),
            tempering: HeatFlow::clamped(step.tempering / KILOJOULES_PER_HOUR),
            supply_temperature: Temperature::clamped(given.supply.temperature(end.0, given.flows.supplied)),
            supply_humidity_ratio: HumidityRatio::clamped(given.supply.moisture(end.1)),
            supplied: DryAirFlow::clamped(given.flows.supplied),
            leaked: DryAirFlow::clamped(given.flows.leaked),
            dew: self.surfaces.dew(*end, given.around, given.pascals),
            condensed: Mass::clamped(sum.condensed),
            fog: Mass::clamped(sum.fog),
            standing_mist: self
                .humidifier
                .and_then(|thrower| thrower.standing(vapour, *end, given.pascals))
                .map(WaterFlow::clamped),
            pan: [PAN_BAND[0] * pan, pan, PAN_BAND[1] * pan].map(WaterFlow::clamped),
            transpiration: WaterFlow::clamped(rate(sum.crop)),
            swing: self.ways.timer.map(|period| self.swing(drive, step, period)),
        }
    }

    /// What a timer does around the mean, once every period is like the one before.
    fn swing(&self, drive: &Drive, step: &Stepped<'_>, period: f64) -> Swing {
        let Stepped { given, sum, start, .. } = step;
        let share = self.ways.share(drive);
        let full = Drive { fresh_air: self.ways.full(), ..*drive };
        let none = Drive { fresh_air: crate::units::AirFlow::clamped(0.0), ..*drive };
        let [on, off] = [full, none].map(|drive| self.ways.flows(&drive, start.0, start.1));
        let between = |supply: f64, leak: f64, inside: f64| {
            let phase = |flows: Flows, hours: f64| {
                let exact = Exact::new(given.mass, flows.total(), hours);
                (exact.keeps, exact.gains * (flows.supplied * supply + flows.leaked * leak + inside))
            };
            let (on, off) = (phase(on, share * period), phase(off, (1.0 - share) * period));
            // highest = lowest·keeps_off + gained_off and lowest = highest·keeps_on + gained_on.
            let turns = 1.0 - on.0 * off.0;
            if turns <= 1e-12 {
                return 0.0;
            }
            let after_on = (off.1 * on.0 + on.1) / turns;
            ((after_on * off.0 + off.1) - after_on).abs()
        };
        let emitted = step.emission * 1e-3 / KILOGRAMS_PER_PPM;
        let ppm = between(
            drive.supply.carbon_dioxide.parts_per_million(),
            drive.around.carbon_dioxide.parts_per_million(),
            emitted,
        );
        let ratio = between(
            drive.supply.air.humidity_ratio().kilograms_per_kilogram(),
            drive.around.air.humidity_ratio().kilograms_per_kilogram(),
            (sum.vapour + sum.crop + sum.pan) / sum.hours,
        );
        Swing { carbon_dioxide: CarbonDioxide::clamped(ppm), humidity_ratio: HumidityRatio::clamped(ratio) }
    }
}

/// A temperature that moves far is followed in smaller stretches, where anything gives or takes vapour by it.
fn drifts(moisture: &Moisture, solved: &Solved, hours: &mut f64) -> bool {
    let moved = (solved.end.0 - moisture.from().0).abs();
    if moved < LINEAR || !moisture.is_alive() || *hours < 0.01 {
        return false;
    }
    *hours *= 0.7 * LINEAR / moved;
    true
}

/// A wall that the air gets moist enough for on the way: the stretch ends there, and the next has it wet.
fn wets(moisture: &mut Moisture, given: &Given<'_>, solved: &Solved, hours: &mut f64) -> bool {
    let Some((wall, onset)) = moisture.onset(solved) else { return false };
    match moisture.crossing(given, solved, solved.vapour, onset) {
        Some(at) if at > 0.01 * *hours && at < 0.99 * *hours => *hours = at,
        _ => moisture.walls[wall].wet = true,
    }
    true
}

/// A humidistat that runs at full duty, or not at all, until the target is reached, and holds it from there.
fn arrives(moisture: &Moisture, given: &Given<'_>, solved: &Solved, (hours, throw): (&mut f64, &mut Throw)) -> bool {
    let partly = *throw == Throw::Held && solved.duty > 0.0 && solved.duty < 1.0;
    let from = moisture.from().1;
    if !partly || (from - solved.target).abs() < ARRIVED * solved.target {
        return false;
    }
    let now = moisture.target_now(given);
    if (from - now).abs() < ARRIVED * now {
        return false;
    }
    let full = if from < now { 1.0 } else { 0.0 };
    match moisture.crossing(given, solved, full * given.most, solved.target) {
        Some(at) if at > 1e-4 && at < 0.95 * *hours => {
            (*hours, *throw) = (at, Throw::Fixed(full));
            true
        }
        _ => false,
    }
}

/// Air that ends above saturation is looked at more often.
fn fogs(given: &Given<'_>, solved: &Solved, hours: &mut f64) -> bool {
    let fogs = *hours > 1.01 * FOG_STRETCH && given.fogs(solved);
    if fogs {
        *hours = FOG_STRETCH;
    }
    fogs
}

impl Sum {
    /// Adds a stretch; gives the air after it and the fog that settled out of it.
    fn add(&mut self, given: &Given<'_>, solved: &Solved, hours: f64, moisture: &Moisture) -> (Air, f64) {
        let start = moisture.from();
        self.hours += hours;
        self.running += solved.duty * hours;
        self.vapour += solved.vapour * hours;
        self.crop += solved.crop * hours;
        self.pan += solved.pan * hours;
        self.condensed += solved.condensed * hours;
        self.coil += solved.coil * hours;
        self.heater += solved.heater * hours;
        self.cooler += solved.cooler * hours;
        self.frozen += solved.frozen * hours;
        self.water_left += given.moisture_rate * solved.mean.1 * hours;
        let carried = vapour_enthalpy(solved.mean.0);
        self.heat_left += given.leaving(solved.mean) * hours;
        self.shell += given.loss * (solved.mean.0 - given.around) * hours;
        let thrown = given.model.humidifier.map_or(0.0, |thrower| thrower.enthalpy(start.0) * solved.vapour);
        let pan = if given.model.pan.is_some_and(|pan| pan.heated()) { carried } else { liquid_enthalpy(start.0) };
        self.brought += (thrown + liquid_enthalpy(start.0) * solved.crop + pan * solved.pan) * hours;
        self.with_condensate += (carried * solved.condensed - solved.returned) * hours;
        if given.fogs(solved) {
            let (air, fog) = given.settle(solved.end);
            self.with_condensate += fog * liquid_enthalpy(solved.end.0);
            (air, fog)
        } else {
            (solved.end, 0.0)
        }
    }
}

/// A step that is done, on its way to the report.
struct Stepped<'a> {
    given: &'a Given<'a>,
    sum: &'a Sum,
    last: &'a Solved,
    start: Air,
    end: Air,
    /// Of the crop, g/h.
    emission: f64,
    /// kJ/h.
    tempering: f64,
}

impl Stepped<'_> {
    /// At the end and on average, ppm.
    fn carbon_dioxide(&self, drive: &Drive, before: f64, emission: f64) -> (f64, f64) {
        let Given { flows, mass, .. } = self.given;
        let exact = Exact::new(*mass, flows.total(), self.sum.hours);
        let inflow = flows.supplied * drive.supply.carbon_dioxide.parts_per_million()
            + flows.leaked * drive.around.carbon_dioxide.parts_per_million()
            + emission * 1e-3 / KILOGRAMS_PER_PPM;
        (exact.end(before, inflow), exact.mean(before, inflow))
    }

    fn shortfall(&self, moisture: &Moisture) -> f64 {
        let missing = moisture.holding(self.given, self.last) - self.last.vapour;
        if self.last.end.1 < self.last.target * (1.0 - 1e-4) { missing.max(0.0) } else { 0.0 }
    }

    /// Heat that would hold the setting for good, less what the heater can, W.
    fn heat_missing(&self, setting: f64, power: f64) -> f64 {
        let Given { heat_in, heat_rate, .. } = self.given;
        let air = heat_in + self.last.returned - self.last.latent;
        ((heat_rate * setting - air - power) / KILOJOULES_PER_HOUR).max(0.0)
    }

    fn books(&self, before: &Standing, drive: &Drive, after: &Standing) -> Books {
        let Self { given, sum, start, end, emission, .. } = self;
        let hours = sum.hours;
        let mass_after = given.model.volume / specific_volume(end.0, end.1, given.pascals);
        // Warming air swells out of the room; what cooling air draws in is taken to be like it.
        let (out, inward) = ((given.mass - mass_after).max(0.0), (mass_after - given.mass).max(0.0));
        let water = MaterialBook {
            before: Mass::clamped(given.mass * start.1),
            after: Mass::clamped(mass_after * end.1),
            entered: Mass::clamped(given.moisture_in * hours + inward * end.1),
            left: Mass::clamped(sum.water_left + out * end.1),
            given: Mass::clamped(sum.vapour + sum.crop + sum.pan),
            taken: Mass::clamped(sum.condensed + sum.coil + sum.fog),
        };
        let (ppm_before, ppm_after) =
            (before.carbon_dioxide.parts_per_million(), after.carbon_dioxide.parts_per_million());
        let (_, ppm) = self.carbon_dioxide(drive, ppm_before, *emission);
        let kilograms = |flow: f64| Mass::clamped(flow * KILOGRAMS_PER_PPM);
        let flows = given.flows;
        let brought = flows.supplied * drive.supply.carbon_dioxide.parts_per_million()
            + flows.leaked * drive.around.carbon_dioxide.parts_per_million();
        let carbon_dioxide = MaterialBook {
            before: kilograms(given.mass * ppm_before),
            after: kilograms(mass_after * ppm_after),
            entered: kilograms(brought * hours + inward * ppm_after),
            left: kilograms(flows.total() * ppm * hours + out * ppm_after),
            given: Mass::clamped(emission * 1e-3 * hours),
            taken: Mass::clamped(0.0),
        };
        let swollen = enthalpy(end.0, end.1);
        let inside = given.model.ways.fan_heat(drive) + sources::crop_heat(*emission);
        let energy = EnergyBook {
            before: Heat::clamped(given.enthalpy(given.mass, *start)),
            after: Heat::clamped(given.enthalpy(mass_after, *end)),
            entered: Heat::clamped(given.entering(inside) * hours + inward * swollen),
            left: Heat::clamped(sum.heat_left + out * swollen),
            given: Heat::clamped(sum.heater - sum.cooler + inside * hours + sum.brought),
            lost: Heat::clamped(sum.shell + sum.with_condensate + sum.coil * liquid_enthalpy(start.0)),
        };
        Books { water, carbon_dioxide, energy }
    }
}
