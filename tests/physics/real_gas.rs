//! Every point of `real_gas.csv` (its header names library, version and call) within the promised tolerances.

use mistwright::physics::{BelowFreezing, MoistAir};

use super::{celsius, near, pascals, percent, within};

struct Row {
    temperature: f64,
    relative_humidity: f64,
    pressure: f64,
    humidity_ratio: f64,
    dew_point: f64,
    wet_bulb: f64,
    enthalpy: f64,
    volume: f64,
    vapour_pressure: f64,
}

fn rows() -> Vec<Row> {
    let rows: Vec<Row> = include_str!("real_gas.csv")
        .lines()
        .filter(|line| !line.starts_with(['#', 't']))
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
            let [temperature, relative_humidity, pressure, humidity_ratio, dew_point, wet_bulb, enthalpy, volume, p_v] =
                cells[..]
            else {
                panic!("not nine cells: {line}")
            };
            Row {
                temperature,
                relative_humidity,
                pressure,
                humidity_ratio,
                dew_point,
                wet_bulb,
                enthalpy,
                volume,
                vapour_pressure: p_v,
            }
        })
        .collect();
    assert_eq!(rows.len(), 200);
    rows
}

impl Row {
    /// The same state, made from the two quantities that the library was given.
    fn air(&self) -> MoistAir {
        let (t, rh) = (celsius(self.temperature), percent(self.relative_humidity));
        MoistAir::from_relative_humidity(t, rh, BelowFreezing::Ice, pascals(self.pressure)).unwrap()
    }

    fn name(&self) -> String {
        format!("{} °C, {} %, {} Pa", self.temperature, self.relative_humidity, self.pressure)
    }
}

#[test]
fn humidity_ratio_is_within_a_thousandth_of_real_gas() {
    for row in rows() {
        within(&row.name(), row.air().humidity_ratio().kilograms_per_kilogram(), row.humidity_ratio, 1e-3);
    }
}

#[test]
fn vapour_pressure_is_mole_fraction_times_pressure() {
    for row in rows() {
        within(&row.name(), row.air().vapour_pressure().pascals(), row.vapour_pressure, 1e-3);
    }
}

#[test]
fn dew_and_frost_points_are_within_two_hundredths_of_a_kelvin_of_real_gas() {
    for row in rows() {
        let air = row.air();
        let found = if row.dew_point < 0.0 { air.frost_point().unwrap() } else { air.dew_point().unwrap() };
        near(&row.name(), found.celsius(), row.dew_point, 0.02);
    }
}

#[test]
fn wet_bulb_is_within_a_twentieth_of_a_kelvin_of_real_gas() {
    // Near 0 °C a liquid and an ice-covered bulb are both right; no row here lies where this choice differs.
    for row in rows() {
        near(&row.name(), row.air().wet_bulb().celsius(), row.wet_bulb, 0.05);
    }
}

#[test]
fn enthalpy_is_within_its_tolerance_of_real_gas() {
    for row in rows() {
        let tolerance = if row.temperature <= 30.0 { 0.3 } else { 1.4 };
        near(&row.name(), row.air().enthalpy().kilojoules_per_kilogram(), row.enthalpy, tolerance);
    }
}

#[test]
fn specific_volume_is_within_its_tolerance_of_real_gas() {
    for row in rows() {
        within(&row.name(), row.air().specific_volume().cubic_metres_per_kilogram(), row.volume, 1.5e-3);
    }
}
