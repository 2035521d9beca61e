//! An outlook as one JSON object: on the topic `outlook/hourly`, and in `/snapshot.json`.
//!
//! Keys name their base unit; times are ISO 8601 in UTC. Each list has one number for each hour, the first hour beginning
//! at `made_at`: means, or where the name says so the hour's highest or lowest. What is not known is `null`, in a list
//! and in place of one.
//!
//! ```text
//! made_at, hours
//! expected, colder, milder    the three weathers, each with
//!   findings                  lowest_relative_humidity {at, ratio}, coldest {at, celsius}, dawn_at,
//!                             water_to_dawn_litres, water_12_hours_litres, water_24_hours_litres, tank_empty_at,
//!                             shortfall and heat_short {from, to, worst_at, worst_…},
//!                             lowest_dew_margin {at, kelvins}, inlet_fog_at, standing_mist_at
//!   outdoor_temperature_celsius[], temperature_celsius[], lowest_relative_humidity_ratio[], water_litres[],
//!   highest_shortfall_kilograms_per_hour[]
//! expected also with          outdoor_humidity_ratio_grams_per_kilogram[], relative_humidity_ratio[],
//!                             humidity_ratio_grams_per_kilogram[], highest_vapour_pressure_deficit_pascals[],
//!                             highest_carbon_dioxide_parts_per_million[], fresh_air_cubic_metres_per_hour[],
//!                             humidity_target_ratio[], humidifier_duty_ratio[], tank_litres[], heat_watts[],
//!                             highest_heat_missing_watts[], lowest_dew_margin_kelvins[], inlet_fog[], standing_mist[]
//! caveats[]                   sentences
//! ```

use jiff::{Timestamp, tz::TimeZone};
use serde_json::{Map, Number, Value, json};

use crate::{
    advice::Voice,
    model::{
        Outlook,
        outlook::{Findings, Hour, Run, Stretch},
    },
    units::{HeatFlow, RelativeHumidity, Temperature, TemperatureDifference, WaterFlow, WaterVolume},
};

/// A list's name, its decimals, and its number for an hour.
type Column = (&'static str, i32, fn(&Hour) -> Option<f64>);

const EVERY_RUN: &[Column] = &[
    ("outdoor_temperature_celsius", 1, |hour| Some(hour.outdoor_temperature.celsius())),
    ("temperature_celsius", 1, |hour| Some(hour.temperature.celsius())),
    ("lowest_relative_humidity_ratio", 3, |hour| Some(hour.lowest_relative_humidity.ratio())),
    ("water_litres", 2, |hour| Some(hour.water.litres())),
    ("highest_shortfall_kilograms_per_hour", 2, |hour| Some(hour.shortfall.kilograms_per_hour())),
];

const EXPECTED_RUN: &[Column] = &[
    ("outdoor_humidity_ratio_grams_per_kilogram", 2, |hour| Some(hour.outdoor_humidity_ratio.grams_per_kilogram())),
    ("relative_humidity_ratio", 3, |hour| Some(hour.relative_humidity.ratio())),
    ("humidity_ratio_grams_per_kilogram", 2, |hour| Some(hour.humidity_ratio.grams_per_kilogram())),
    ("highest_vapour_pressure_deficit_pascals", 0, |hour| Some(hour.vapour_pressure_deficit.pascals())),
    ("highest_carbon_dioxide_parts_per_million", 0, |hour| Some(hour.carbon_dioxide.parts_per_million())),
    ("fresh_air_cubic_metres_per_hour", 1, |hour| Some(hour.fresh_air.cubic_metres_per_hour())),
    ("humidity_target_ratio", 3, |hour| Some(hour.humidity_target.ratio())),
    ("humidifier_duty_ratio", 2, |hour| Some(hour.humidifier_duty.ratio())),
    ("tank_litres", 1, |hour| Some(hour.tank?.litres())),
    ("heat_watts", 0, |hour| Some(hour.heat?.watts())),
    ("highest_heat_missing_watts", 0, |hour| Some(hour.heat_missing.watts())),
    ("lowest_dew_margin_kelvins", 1, |hour| Some(hour.dew_margin?.kelvins())),
];

/// The object. Its sentences speak from when the outlook was made.
pub fn object(outlook: &Outlook, voice: &Voice) -> Value {
    let caveats: Vec<_> = outlook.caveats.iter().map(|caveat| caveat.sentence(voice, outlook.made)).collect();
    json!({
        "made_at": outlook.made.to_string(),
        "hours": outlook.expected.hours.len(),
        "expected": expected(&outlook.expected),
        "colder": run(&outlook.colder, EVERY_RUN),
        "milder": run(&outlook.milder, EVERY_RUN),
        "caveats": caveats,
    })
}

fn expected(expected: &Run) -> Value {
    let mut object = run(expected, EVERY_RUN);
    for (name, decimals, number) in EXPECTED_RUN {
        object[*name] = list(&expected.hours, |hour| number(hour).map(|number| rounded(number, *decimals)));
    }
    object["inlet_fog"] = list(&expected.hours, |hour| Some(Value::from(hour.inlet_fog)));
    object["standing_mist"] = list(&expected.hours, |hour| hour.standing_mist.map(Value::from));
    object
}

fn run(run: &Run, columns: &[Column]) -> Value {
    let mut object = Map::new();
    object.insert("findings".to_owned(), findings(&run.findings));
    for (name, decimals, number) in columns {
        let list = list(&run.hours, |hour| number(hour).map(|number| rounded(number, *decimals)));
        object.insert((*name).to_owned(), list);
    }
    Value::Object(object)
}

/// A list that is `null` where none of its hours is known.
fn list(hours: &[Hour], value: impl Fn(&Hour) -> Option<Value>) -> Value {
    let values: Vec<_> = hours.iter().map(value).collect();
    if values.iter().all(Option::is_none) {
        return Value::Null;
    }
    values.into_iter().map(Option::unwrap_or_default).collect()
}

/// As short as its decimals allow: the object is bounded in size.
fn rounded(number: f64, decimals: i32) -> Value {
    let scale = 10_f64.powi(decimals);
    let rounded = (number * scale).round() / scale;
    if decimals == 0 && rounded.abs() < 1e15 {
        return Value::from(rounded as i64);
    }
    Number::from_f64(rounded + 0.0).map_or(Value::Null, Value::Number)
}

fn findings(found: &Findings) -> Value {
    let litres = |water: Option<WaterVolume>| water.map(|water| rounded(water.litres(), 2));
    json!({
        "lowest_relative_humidity": found.driest.map(|(at, lowest)| json!({ "at": second(at), "ratio": rounded(lowest.ratio(), 3) })),
        "coldest": found.coldest.map(|(at, coldest)| json!({ "at": second(at), "celsius": rounded(coldest.celsius(), 1) })),
        "dawn_at": found.dawn.map(second),
        "water_to_dawn_litres": litres(found.water_to_dawn),
        "water_12_hours_litres": litres(found.water_12_hours),
        "water_24_hours_litres": litres(found.water_24_hours),
        "tank_empty_at": found.tank_empty.map(second),
        "shortfall": found.shortfall.map(|shortfall| {
            stretch(&shortfall, "worst_kilograms_per_hour", rounded(shortfall.worst.kilograms_per_hour(), 3))
        }),
        "heat_short": found.heat_short.map(|short| stretch(&short, "worst_watts", rounded(short.worst.watts(), 0))),
        "lowest_dew_margin": found.dew_margin.map(|(at, margin)| {
            json!({ "at": second(at), "kelvins": rounded(margin.kelvins(), 2) })
        }),
        "inlet_fog_at": found.inlet_fog.map(second),
        "standing_mist_at": found.standing_mist.map(second),
    })
}

fn stretch<T>(stretch: &Stretch<T>, name: &str, worst: Value) -> Value {
    let mut object = json!({
        "from": second(stretch.from),
        "to": stretch.to.map(second),
        "worst_at": second(stretch.worst_at),
    });
    object[name] = worst;
    object
}

fn second(moment: Timestamp) -> String {
    moment.to_zoned_datetime(TimeZone::UTC).strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

/// Reads the findings of a run back. What is missing or is none of this is absent.
pub fn read_findings(findings: &Value) -> Findings {
    let pair = |name: &str, unit: &str| Some((moment(&findings[name]["at"])?, findings[name][unit].as_f64()?));
    let litres = |name: &str| WaterVolume::from_litres(findings[name].as_f64()?).ok();
    Findings {
        driest: pair("lowest_relative_humidity", "ratio")
            .and_then(|(at, ratio)| Some((at, RelativeHumidity::from_ratio(ratio).ok()?))),
        coldest: pair("coldest", "celsius")
            .and_then(|(at, celsius)| Some((at, Temperature::from_celsius(celsius).ok()?))),
        dawn: moment(&findings["dawn_at"]),
        water_to_dawn: litres("water_to_dawn_litres"),
        water_12_hours: litres("water_12_hours_litres"),
        water_24_hours: litres("water_24_hours_litres"),
        tank_empty: moment(&findings["tank_empty_at"]),
        shortfall: read_stretch(&findings["shortfall"], "worst_kilograms_per_hour", |flow| {
            WaterFlow::from_kilograms_per_hour(flow).ok()
        }),
        // It is not published.
        strained: None,
        heat_short: read_stretch(&findings["heat_short"], "worst_watts", |watts| HeatFlow::from_watts(watts).ok()),
        dew_margin: pair("lowest_dew_margin", "kelvins")
            .and_then(|(at, kelvins)| Some((at, TemperatureDifference::from_kelvins(kelvins).ok()?))),
        inlet_fog: moment(&findings["inlet_fog_at"]),
        standing_mist: moment(&findings["standing_mist_at"]),
    }
}

fn read_stretch<T>(value: &Value, name: &str, worst: fn(f64) -> Option<T>) -> Option<Stretch<T>> {
    Some(Stretch {
        from: moment(&value["from"])?,
        to: moment(&value["to"]),
        worst_at: moment(&value["worst_at"])?,
        worst: worst(value[name].as_f64()?)?,
    })
}

fn moment(value: &Value) -> Option<Timestamp> {
    value.as_str()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;
    use crate::{
        model::outlook::Caveat,
        units::{AirFlow, CarbonDioxide, Fraction, HumidityRatio, UnitSystem, VapourPressure},
    };

    fn start() -> Timestamp {
        "2027-01-15T18:07:00Z".parse().unwrap()
    }

    /// Every number as long as it can get in a room.
    fn hour(index: i64) -> Hour {
        Hour {
            start: start() + SignedDuration::from_hours(index),
            outdoor_temperature: Temperature::clamped(-32.17),
            outdoor_humidity_ratio: HumidityRatio::clamped(0.012_345),
            temperature: Temperature::clamped(-11.17),
            relative_humidity: RelativeHumidity::clamped(0.876_54),
            lowest_relative_humidity: RelativeHumidity::clamped(0.876_54),
            humidity_ratio: HumidityRatio::clamped(0.012_345),
            vapour_pressure_deficit: VapourPressure::clamped(1_234.5),
            carbon_dioxide: CarbonDioxide::clamped(12_345.6),
            fresh_air: AirFlow::clamped(12_345.67),
            humidity_target: RelativeHumidity::clamped(0.876_54),
            humidifier_duty: Fraction::clamped(0.876_54),
            water: WaterVolume::clamped(123.456),
            tank: Some(WaterVolume::clamped(1_234.56)),
            shortfall: WaterFlow::clamped(123.456),
            heat: Some(HeatFlow::clamped(123_456.7)),
            heat_missing: HeatFlow::clamped(123_456.7),
            dew_margin: Some(TemperatureDifference::clamped(-12.34)),
            inlet_fog: false,
            standing_mist: Some(false),
        }
    }

    fn outlook() -> Outlook {
        let at = |hours| start() + SignedDuration::from_hours(hours);
        let findings = Findings {
            driest: Some((at(3), RelativeHumidity::clamped(0.715))),
            shortfall: Some(Stretch { from: at(1), to: None, worst_at: at(2), worst: WaterFlow::clamped(1.25) }),
            strained: None,
            water_to_dawn: Some(WaterVolume::clamped(38.25)),
            dawn: Some(at(13)),
            water_12_hours: Some(WaterVolume::clamped(35.5)),
            water_24_hours: None,
            tank_empty: Some(at(9)),
            coldest: Some((at(12), Temperature::clamped(-14.5))),
            heat_short: Some(Stretch {
                from: at(4),
                to: Some(at(6)),
                worst_at: at(5),
                worst: HeatFlow::clamped(850.0),
            }),
            dew_margin: Some((at(12), TemperatureDifference::clamped(-1.25))),
            inlet_fog: Some(at(0)),
            standing_mist: None,
        };
        let run = Run { hours: (0..48).map(hour).collect(), findings };
        let caveats = vec![
            Caveat::ForecastOld { hours: 9 },
            Caveat::TankRefilled,
            Caveat::NoCarbonDioxideSensor,
            Caveat::NoHumiditySensor,
            Caveat::TankTakenAsFull,
            Caveat::ShellUnknown,
            Caveat::NoFanFeedback,
            Caveat::SpaceAssumed,
            Caveat::SurroundingsUnknown,
            Caveat::EvaporatedFractionAssumed,
            Caveat::MistUnknown,
        ];
        Outlook { made: start(), expected: run.clone(), colder: run.clone(), milder: run, caveats }
    }

    #[test]
    fn the_longest_object_stays_below_sixteen_kilobytes_and_lists_every_hour() {
        let voice = Voice { units: UnitSystem::Metric, time_zone: TimeZone::UTC };
        let object = object(&outlook(), &voice);
        let text = object.to_string();
        assert!(text.len() < 16_000, "{} bytes", text.len());
        for (_, list) in object["expected"].as_object().unwrap().iter().filter(|(name, _)| *name != "findings") {
            assert_eq!(list.as_array().map(Vec::len), Some(48), "{list}");
        }
        assert_eq!(object["expected"]["temperature_celsius"][0], -11.2);
        assert_eq!(object["colder"]["water_litres"][47], 123.46);
    }

    #[test]
    fn findings_that_were_written_are_read_back_as_they_were() {
        let voice = Voice { units: UnitSystem::Metric, time_zone: TimeZone::UTC };
        let object = object(&outlook(), &voice);
        assert_eq!(read_findings(&object["expected"]["findings"]), outlook().expected.findings);
        assert_eq!(read_findings(&Value::Null), Findings::default());
    }
}
