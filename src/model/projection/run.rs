//! One run: one room through one weather.

use std::time::Duration;

use jiff::Timestamp;

use super::{
    Course, Feed, Scene, View,
    fog::mixes_foggy,
    tally::{Limits, Moment, Tally},
    weather::{STEP, STEPS_PER_HOUR},
};
use crate::{
    model::{
        Case, Humidifier, Room,
        balance::{OUTDOOR_CARBON_DIOXIDE, carbon_dioxide_at},
        outlook::Run,
        room::{Drive, Emission, EnteringAir, Report, RoomModel, Standing},
    },
    physics::{MoistAir, surface},
    units::{
        AirFlow, CarbonDioxide, CarbonDioxideFlow, DryAirFlow, HeatFlow, Pressure, RelativeHumidity, VapourPressure,
        WaterFlow, WaterVolume,
    },
};

/// Less heat missing than this share of what the heater gives is rounding.
const MISSED_SHARE: f64 = 0.005;
/// Less vapour missing than this share of what the humidifier gives is no shortfall: it dries the air by less than a point.
const SHORT_SHARE: f64 = 0.01;
/// A humidifier that has less left than this share of what it gives is strained: forecasts move demand by two or three
/// hundredths from one to the next.
const STRAINED_SHARE: f64 = 0.03;
/// Steps between two looks at the inlet.
const LOOK_AT_INLET: usize = STEPS_PER_HOUR / 2;

/// Steps the room of `scene` through so many hours of the weather of `case`, as far as it is known. `dawn` is when the
/// coming night ends.
pub(super) fn run(scene: &Scene<'_>, (case, hours): (Case, usize), dawn: Timestamp) -> (Run, Vec<EnteringAir>) {
    let weather = scene.weather.steps(case);
    let weather = &weather[..weather.len().min(hours * STEPS_PER_HOUR)];
    let mut runner = Runner::new(scene, case, dawn, weather.len());
    for (step, outdoors) in weather.iter().enumerate() {
        runner.step(step, outdoors);
    }
    (runner.tally.finish(), runner.trace)
}

struct Runner<'a> {
    scene: &'a Scene<'a>,
    case: Case,
    model: RoomModel,
    pressure: Pressure,
    emission: Emission,
    standing: Standing,
    /// Air of `standing`, and what its vapour pressure lacks to saturation.
    air: MoistAir,
    deficit: VapourPressure,
    course: Course,
    drawn: DryAirFlow,
    /// What is left in a tank that is refilled when it runs out, in litres.
    tank: Option<f64>,
    inlet_fog: bool,
    tally: Tally,
    trace: Vec<EnteringAir>,
}

impl<'a> Runner<'a> {
    fn new(scene: &'a Scene<'a>, case: Case, dawn: Timestamp, steps: usize) -> Self {
        let (room, start) = (scene.room, scene.start);
        let pressure = scene.weather.pressure();
        let emission = start.emission.map_or_else(
            || Emission::of_catalogue(room),
            |grams| Emission { rate: CarbonDioxideFlow::clamped(grams), at: start.air.temperature() },
        );
        let carbon_dioxide = start.carbon_dioxide.unwrap_or_else(|| settled(scene, case, &emission));
        Self {
            scene,
            case,
            model: match start.probe {
                Some((surface, factor)) => RoomModel::new(room, pressure).with_probe(surface, factor),
                None => RoomModel::new(room, pressure),
            },
            pressure,
            emission,
            standing: Standing::new(&start.air, carbon_dioxide, start.tank.filter(|_| !scene.refilled)),
            tank: start.tank.filter(|_| scene.refilled).map(WaterVolume::litres),
            air: start.air,
            deficit: start.air.vapour_pressure_deficit(),
            course: Course { fresh_air: start.fresh_air, humidity_target: room.bands.relative_humidity.preferred },
            drawn: DryAirFlow::clamped(0.0),
            inlet_fog: false,
            tally: Tally::new(scene.weather.start(), limits(room, dawn), steps / STEPS_PER_HOUR),
            trace: Vec::with_capacity(steps),
        }
    }

    fn step(&mut self, step: usize, outdoors: &MoistAir) {
        let start = self.scene.weather.start();
        // Time is reckoned only where it is needed: there are thousands of steps.
        let at = || start + STEP * i32::try_from(step).unwrap_or(i32::MAX);
        let supply = feed(&self.scene.intake, at, self.case, outdoors);
        let around = feed(&self.scene.around, at, self.case, outdoors);
        if step.is_multiple_of(STEPS_PER_HOUR) {
            self.choose(at(), outdoors, supply, around);
        }
        let drive = Drive {
            supply,
            around,
            fresh_air: self.course.fresh_air,
            drawn_by_others: self.drawn,
            humidity_target: self.course.humidity_target,
            humidifier_allowed: true,
            emission: self.emission,
            pressure: self.pressure,
        };
        let (standing, report) =
            self.model.step(&self.standing, &drive, Duration::from_secs(STEP.as_secs().unsigned_abs()));
        (self.air, self.deficit) = standing.air(self.pressure).unwrap_or((self.air, self.deficit));
        self.standing = standing;
        self.tank = self.tank.map(|left| (left - report.water.litres()).max(0.0));
        if step.is_multiple_of(LOOK_AT_INLET) {
            self.inlet_fog = report.supplied.kilograms_per_hour() > 0.0
                && mixes_foggy((report.supply_temperature, report.supply_humidity_ratio), &self.air);
        }
        self.trace.push(EnteringAir { air: self.air, carbon_dioxide: standing.carbon_dioxide });
        let moment = self.moment(*outdoors, &report);
        self.tally.add(&moment);
    }

    /// Asks for the course of the hour that begins.
    fn choose(&mut self, at: Timestamp, outdoors: &MoistAir, supply: EnteringAir, around: EnteringAir) {
        let scene = self.scene;
        self.drawn = (scene.drawn)(at, self.case);
        let volume = self.air.specific_volume().cubic_metres_per_kilogram();
        self.course = (scene.policy)(&View {
            room: scene.room,
            air: self.air,
            carbon_dioxide: scene.start.carbon_dioxide.map(|_| self.standing.carbon_dioxide),
            emission: scene.start.emission.map(|_| self.emission.in_room_at(self.air.temperature()).grams_per_hour()),
            supply,
            around,
            probe: scene.start.probe.map(|(_, factor)| {
                surface::temperature_by_factor(self.air.temperature(), around.air.temperature(), factor)
            }),
            outdoors: *outdoors,
            drawn: AirFlow::clamped(self.drawn.kilograms_per_hour() * volume),
            needed_behind: scene.needed_behind,
            before: self.course.fresh_air,
        });
    }

    fn moment(&self, outdoors: MoistAir, report: &Report) -> Moment {
        let vapour = self.air.vapour_pressure().pascals();
        let relative_humidity = RelativeHumidity::clamped(vapour / (vapour + self.deficit.pascals()));
        Moment {
            outdoors,
            air: self.air,
            relative_humidity,
            vapour_pressure_deficit: self.deficit,
            carbon_dioxide: self.standing.carbon_dioxide,
            fresh_air: self.course.fresh_air,
            humidity_target: self.course.humidity_target,
            duty: report.duty,
            water: report.water.litres(),
            tank: self.tank.map(WaterVolume::clamped).or(self.standing.tank),
            lacking: self.lacking(report, relative_humidity),
            heat: report.heater,
            heat_missing: report.heat_missing,
            dew_margin: report.dew.map(|dew| dew.margin),
            inlet_fog: self.inlet_fog,
            standing_mist: report.standing_mist.map(|mist| mist.kilograms_per_hour() > 0.0),
        }
    }
}

impl Runner<'_> {
    /// Vapour missing for the lowest humidity that the target may be brought down to, in kg/h; negative where the
    /// humidifier has that much left. The target is chosen at the hour's beginning; what is missing for it half an hour
    /// later would be no more than a lower target.
    fn lacking(&self, report: &Report, relative_humidity: RelativeHumidity) -> f64 {
        let room = self.scene.room;
        let Some(humidifier) = room.humidifier else { return f64::NEG_INFINITY };
        let lowest = room.told.hold.humidity_target.unwrap_or(room.bands.relative_humidity.lowest);
        let above = (self.course.humidity_target.ratio() - lowest.ratio()).max(0.0);
        // Humidity ratio is almost proportional to relative humidity over these few points.
        let per_humidity = self.air.humidity_ratio().kilograms_per_kilogram() / relative_humidity.ratio().max(0.01);
        let inflow = report.supplied.kilograms_per_hour() + report.leaked.kilograms_per_hour();
        let left = (1.0 - report.duty.ratio()) * most_vapour(&humidifier);
        report.shortfall.kilograms_per_hour() - left - inflow * above * per_humidity
    }
}

fn feed(feed: &Feed<'_>, at: impl Fn() -> Timestamp, case: Case, outdoors: &MoistAir) -> EnteringAir {
    let weather = EnteringAir { air: *outdoors, carbon_dioxide: CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE) };
    match feed {
        Feed::Outdoors => weather,
        Feed::Still(air) => *air,
        Feed::Room(trace) => trace.at(at(), case).unwrap_or(weather),
    }
}

/// Carbon dioxide at which the room settles with the fresh air that it has now.
fn settled(scene: &Scene<'_>, case: Case, emission: &Emission) -> CarbonDioxide {
    let start = scene.weather.start();
    let outdoors = scene.weather.steps(case).first().copied().unwrap_or(scene.start.air);
    let supply = feed(&scene.intake, || start, case, &outdoors).carbon_dioxide;
    carbon_dioxide_at(emission.rate.grams_per_hour(), scene.start.fresh_air, supply, &scene.start.air)
}

fn most_vapour(humidifier: &Humidifier) -> f64 {
    humidifier.output.kilograms_per_hour() * humidifier.evaporated.ratio()
}

fn limits(room: &Room, dawn: Timestamp) -> Limits {
    let most = room.humidifier.map_or(0.0, |humidifier| most_vapour(&humidifier));
    let [vapour, spare] = [SHORT_SHARE, STRAINED_SHARE].map(|share| WaterFlow::clamped(share * most));
    let heat = room.heater.map_or(0.0, |heater| MISSED_SHARE * heater.power.watts());
    Limits { vapour, spare, heat: HeatFlow::clamped(heat), dawn }
}
