//! The outlook against simulated rooms that are not the model, over real winter nights: how much water the night takes, as
//! said at dusk, and as it then turned out.

use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use mistwright::{
    model::{
        CorrectedForecast, FanMoves, Humidifier, HumidifierMethod, Identifier, Offset, Room, Site, Species, Spread,
        Stage, WaterSupply,
        equipment::{Fan, Thermostat},
        farm::Crop,
        outlook::Run,
        projection::{Course, Feed, Scene, Start, Weather, project},
    },
    physics::{BelowFreezing, MoistAir},
    units::{
        AirChanges, AirFlow, CarbonDioxide, DryAirFlow, Elevation, Fraction, HeatCapacity, HeatFlow, HeatLoss, Mass,
        Pressure, RelativeHumidity, Temperature, UnitSystem, Volume, WaterFlow,
    },
};

pub mod chance;
pub mod truth;
pub mod weather;

use chance::Chance;
use truth::{Facts, Simulated};
use weather::{Place, Station, outdoor_air};

const NIGHTS: usize = 100;

/// Where Chicago's hours were observed: 200 m above the sea.
pub fn site() -> Site {
    Site {
        name: Identifier::new("frosthollow").unwrap(),
        title: "Frosthollow farm".to_owned(),
        elevation: Elevation::from_metres(200.0).unwrap(),
        latitude: 41.98,
        longitude: -87.9,
        time_zone: TimeZone::UTC,
        units: UnitSystem::Metric,
        hard_frost: Temperature::from_celsius(-4.0).unwrap(),
        design_cold: None,
    }
}

/// The room as its grower would describe it.
fn described(facts: &Facts) -> Room {
    let volume = Volume::from_cubic_metres(facts.volume).unwrap();
    let mut bands = Species::Oyster.entry(Stage::Fruiting).bands();
    bands.temperature.preferred = Temperature::from_celsius(facts.warm).unwrap();
    let mut room = Room::bare(Identifier::new("oyster-hall").unwrap(), volume, bands);
    let flow = AirFlow::from_cubic_metres_per_hour(facts.flow).unwrap();
    room.fan = Fan::plain(FanMoves::Exhaust, [flow, flow, flow]);
    room.infiltration = AirChanges::from_per_hour(facts.leak / facts.volume).unwrap();
    let output = WaterFlow::from_kilograms_per_hour(facts.output).unwrap();
    let mut humidifier = Humidifier::plain(HumidifierMethod::Ultrasonic, output, WaterSupply::Mains);
    humidifier.evaporated = Fraction::from_ratio(facts.evaporated.min(1.0)).unwrap();
    room.humidifier = Some(humidifier);
    room.heater = Some(Thermostat {
        power: HeatFlow::from_watts(facts.heater).unwrap(),
        setting: Some(bands.temperature.preferred),
        latent: Fraction::from_ratio(0.0).unwrap(),
    });
    room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(facts.loss).unwrap());
    room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(facts.fabric).unwrap();
    room.crop = Some(Crop {
        species: Species::Oyster,
        stage: Stage::Fruiting,
        substrate: Mass::from_kilograms(facts.crop_heat / (0.2 * 2.95 * 0.8)).unwrap(),
        respiration: Species::Oyster.entry(Stage::Fruiting).respiration(),
    });
    room
}

/// What is said at dusk: water to dawn, in litres, in three cases, colder, expected, milder.
fn said(
    room: &Room,
    facts: &Facts,
    reading: (f64, f64),
    forecast: &CorrectedForecast<'_>,
    dusk: Timestamp,
) -> [f64; 3] {
    let pressure = forecast.pressure;
    let weather = Weather::new(dusk, pressure, |moment, case| forecast.at(moment, case).map(|point| point.air));
    let air = MoistAir::from_sensor(
        Temperature::from_celsius(reading.0).unwrap(),
        RelativeHumidity::from_percent(reading.1).unwrap(),
        BelowFreezing::Water,
        pressure,
    );
    let flow = AirFlow::from_cubic_metres_per_hour(facts.flow).unwrap();
    let humidity_target = RelativeHumidity::from_percent(facts.humid).unwrap();
    let site = site();
    let projected = project(&Scene {
        site: &site,
        room,
        weather: &weather,
        start: Start {
            air: air.unwrap(),
            carbon_dioxide: Some(CarbonDioxide::from_parts_per_million(800.0).unwrap()),
            fresh_air: flow,
            emission: None,
            tank: None,
            probe: None,
        },
        intake: Feed::Outdoors,
        around: Feed::Outdoors,
        drawn: &|_, _| DryAirFlow::from_kilograms_per_hour(0.0).unwrap(),
        refilled: false,
        needed_behind: None,
        policy: &|_| Course { fresh_air: flow, humidity_target },
    });
    let water = |run: &Run| run.findings.water_to_dawn.unwrap().litres();
    let outlook = &projected.outlook;
    [&outlook.colder, &outlook.expected, &outlook.milder].map(water)
}

/// One night in one room.
struct Night {
    coldest: f64,
    truth: f64,
    perfect: f64,
    forecast: [f64; 3],
    /// Leak and evaporated fraction 20–40 % off, each to either side.
    wrong: f64,
    /// Half or one and a half times the fruit bodies.
    crop: f64,
    /// Drawn, and said with a perfect forecast, where the controls are sluggish.
    sluggish: [f64; 2],
}

impl Night {
    fn error(&self, said: f64) -> f64 {
        (said / self.truth - 1.0).abs()
    }

    fn bracketed(&self) -> bool {
        let [low, high] = [f64::min, f64::max].map(|pick| self.forecast.into_iter().reduce(pick).unwrap());
        (low..=high).contains(&self.truth)
    }
}

/// Lives a room through evening and night: what its sensor says at dusk, and the water drawn from then to dawn.
fn lived(station: &Station, facts: Facts, dusk: Timestamp, dawn: Timestamp) -> ((f64, f64), f64) {
    let evening = dusk - SignedDuration::from_hours(5);
    let mut room = Simulated::new(facts, station.at(evening).unwrap().0);
    let live = |room: &mut Simulated, from: Timestamp, to: Timestamp| {
        for minute in 0..to.duration_since(from).as_mins() {
            let moment = from + SignedDuration::from_mins(minute) + SignedDuration::from_secs(30);
            room.pass(60.0, station.at(moment).unwrap());
        }
    };
    live(&mut room, evening, dusk);
    let (reading, before) = (room.reading(), room.thrown);
    live(&mut room, dusk, dawn);
    (reading, room.thrown - before)
}

fn night(station: &Station, dusk: Timestamp, seed: u64) -> Night {
    let mut chance = Chance::new(seed);
    let facts = Facts::draw(&mut chance);
    let dawn = mistwright::model::projection::dawn(&site(), dusk);
    let (reading, truth) = lived(station, facts, dusk, dawn);
    let leak = facts.leak * chance.off(0.2, 0.4);
    let wrong = Facts { leak, evaporated: facts.evaporated * chance.off(0.2, 0.4), ..facts };
    let crop = Facts { crop_heat: facts.crop_heat * chance.off(0.5, 0.5), ..facts };
    let sluggish = facts.sluggish(&mut chance);
    let (sluggish_reading, sluggish_truth) = lived(station, sluggish, dusk, dawn);

    let pressure = Pressure::from_pascals(98_950.0).unwrap();
    let spread = Spread::published();
    let corrected = |forecast, offset| CorrectedForecast { forecast, offset, spread: &spread, made: dusk, pressure };
    let (perfect, erring) = (station.perfect(dusk), station.erring(dusk, &mut chance));
    let (temperature, dew_point) = station.at(dusk).unwrap();
    let offset = Offset::between(outdoor_air(temperature, dew_point), erring.at(dusk).unwrap().air, dusk);
    let knowing = corrected(&perfect, None);
    let described_as = |facts: &Facts, reading| said(&described(facts), facts, reading, &knowing, dusk)[1];
    Night {
        coldest: station.coldest(dusk, 16),
        truth,
        perfect: described_as(&facts, reading),
        forecast: said(&described(&facts), &facts, reading, &corrected(&erring, Some(offset)), dusk),
        wrong: described_as(&wrong, reading),
        crop: described_as(&crop, reading),
        sluggish: [sluggish_truth, described_as(&sluggish, sluggish_reading)],
    }
}

/// The value below which this share of the values lies.
fn quantile(values: impl Iterator<Item = f64>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share).round() as usize]
}

fn share(count: usize, of: usize) -> f64 {
    100.0 * count as f64 / of as f64
}

#[test]
fn the_water_of_a_winter_night_is_known_at_dusk() {
    let station = Station::read(Place::Chicago);
    let dusks = station.dusks();
    let nights: Vec<Night> =
        (0..NIGHTS).map(|index| night(&station, dusks[index * dusks.len() / NIGHTS], 1_000 + index as u64)).collect();
    let frost: Vec<&Night> = nights.iter().filter(|night| night.coldest < 0.0).collect();
    let print = |what: &str, error: &dyn Fn(&Night) -> f64| {
        let all = |share| 100.0 * quantile(nights.iter().map(error), share);
        let cold = |share| 100.0 * quantile(frost.iter().map(|night| error(night)), share);
        println!("{what:<46} {:>7.1} {:>7.1} {:>14.1} {:>7.1}", all(0.5), all(0.9), cold(0.5), cold(0.9));
    };
    let drawn = |share| quantile(nights.iter().map(|night| night.truth), share);
    println!("Water to dawn, said at dusk: error in percent of what was drawn.");
    let (count, cold) = (nights.len(), frost.len());
    println!("{count} nights, {cold} of them below 0 °C; {:.0} to {:.0} L were drawn", drawn(0.0), drawn(1.0));
    println!("{:<46} {:>7} {:>7} {:>14} {:>7}", "", "median", "90 %", "frost: median", "90 %");
    print("right parameters, perfect forecast", &|night| night.error(night.perfect));
    print("right parameters, published forecast errors", &|night| night.error(night.forecast[1]));
    print("leak and evaporated fraction 20–40 % off", &|night| night.error(night.wrong));
    print("fruit bodies 50 % off", &|night| night.error(night.crop));
    print("right parameters, sluggish controls", &|night| (night.sluggish[1] / night.sluggish[0] - 1.0).abs());
    let bracketed = share(frost.iter().filter(|night| night.bracketed()).count(), frost.len());
    println!("three runs bracket the truth on {bracketed:.0} % of the nights below 0 °C");

    assert!(frost.len() >= 50, "{} nights below 0 °C", frost.len());
    let perfect = quantile(nights.iter().map(|night| night.error(night.perfect)), 0.5);
    assert!(perfect <= 0.03, "median error with a perfect forecast: {perfect}");
    let forecast = quantile(frost.iter().map(|night| night.error(night.forecast[1])), 0.9);
    assert!(forecast <= 0.10, "error on nine of ten nights below 0 °C: {forecast}");
    assert!(bracketed >= 80.0, "bracketed on {bracketed} % of the nights below 0 °C");
    // What is wrongly described must show, or this test would not see anything.
    let wrong = quantile(nights.iter().map(|night| night.error(night.wrong)), 0.5);
    assert!(wrong > 3.0 * perfect, "wrong parameters err by {wrong}, right ones by {perfect}");
}
