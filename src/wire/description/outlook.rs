//! Rows of the rooms' hours ahead.

use super::{Kind, Life, RELATIVE_HUMIDITY, RoomRow, RoomView, TEMPERATURE, VAPOUR_FLOW, Value, WATER_VOLUME, row};
use crate::{
    model::outlook::Findings,
    units::{HeatFlow, TemperatureDifference, people::Shown},
};

const TEMPERATURE_DIFFERENCE: Kind =
    Kind::Number(|units| units.temperature_difference(TemperatureDifference::clamped(0.0)));
const HEAT: Kind = Kind::Number(|_| heat(HeatFlow::clamped(0.0)));

/// What stands out in the weather that is expected.
fn expected<'a>(view: &RoomView<'a>) -> Option<&'a Findings> {
    Some(&view.state.outlook.as_deref()?.expected.findings)
}

fn heat(value: HeatFlow) -> Shown {
    Shown { value: value.watts(), unit: "W", decimals: 0 }
}

/// Properties of the node `outlook`. All but the water are absent where they do not happen within the hours looked at.
pub(super) const ROWS: &[RoomRow] = &[
    (
        row("outlook", "lowest-relative-humidity", "Lowest relative humidity ahead", RELATIVE_HUMIDITY, Life::Turn),
        |view| Some(Value::Number(view.units.relative_humidity(expected(view)?.driest?.1))),
    ),
    (row("outlook", "lowest-relative-humidity-at", "When it is driest", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.driest?.0))
    }),
    (row("outlook", "shortfall-from", "Humidifier falls short from", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.shortfall?.from))
    }),
    (row("outlook", "shortfall-to", "Humidifier falls short until", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.shortfall?.to?))
    }),
    (row("outlook", "shortfall-worst", "Vapour missing at the worst", VAPOUR_FLOW, Life::Turn), |view| {
        Some(Value::Number(view.units.vapour_flow(expected(view)?.shortfall?.worst)))
    }),
    (row("outlook", "dawn", "End of the coming night", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.dawn?))
    }),
    (row("outlook", "water-to-dawn", "Water to the end of the night", WATER_VOLUME, Life::Turn), |view| {
        Some(Value::Number(view.units.water_volume(expected(view)?.water_to_dawn?)))
    }),
    (row("outlook", "water-to-dawn-colder", "Water to the end of a colder night", WATER_VOLUME, Life::Turn), |view| {
        let water = view.state.outlook.as_deref()?.colder.findings.water_to_dawn?;
        Some(Value::Number(view.units.water_volume(water)))
    }),
    (row("outlook", "water-next-12-hours", "Water for the next 12 hours", WATER_VOLUME, Life::Turn), |view| {
        Some(Value::Number(view.units.water_volume(expected(view)?.water_12_hours?)))
    }),
    (row("outlook", "water-next-24-hours", "Water for the next 24 hours", WATER_VOLUME, Life::Turn), |view| {
        Some(Value::Number(view.units.water_volume(expected(view)?.water_24_hours?)))
    }),
    (row("outlook", "tank-empty-at", "Tank runs out", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.tank_empty?))
    }),
    (row("outlook", "coldest", "Coldest outdoors", TEMPERATURE, Life::Turn), |view| {
        Some(Value::Number(view.units.temperature(expected(view)?.coldest?.1)))
    }),
    (row("outlook", "coldest-at", "When it is coldest", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.coldest?.0))
    }),
    (row("outlook", "heat-short-from", "Heater falls short from", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.heat_short?.from))
    }),
    (row("outlook", "heat-short-worst", "Heat missing at the worst", HEAT, Life::Turn), |view| {
        Some(Value::Number(heat(expected(view)?.heat_short?.worst)))
    }),
    (
        row("outlook", "lowest-dew-margin", "Lowest dew margin of a surface", TEMPERATURE_DIFFERENCE, Life::Turn),
        |view| Some(Value::Number(view.units.temperature_difference(expected(view)?.dew_margin?.1))),
    ),
    (row("outlook", "lowest-dew-margin-at", "When a surface is nearest to dew", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.dew_margin?.0))
    }),
    (row("outlook", "inlet-fog-at", "First fog at the inlet", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.inlet_fog?))
    }),
    (row("outlook", "standing-mist-at", "First standing mist", Kind::Moment, Life::Turn), |view| {
        Some(Value::Moment(expected(view)?.standing_mist?))
    }),
    (row("outlook", "caveats", "What it rests on, or why there is none", Kind::Text, Life::Turn), |view| {
        match (&view.state.outlook, view.state.no_outlook) {
            (Some(outlook), _) => {
                let sentences = outlook.caveats.iter().map(|caveat| caveat.sentence(view.voice, view.now));
                Some(Value::Text(sentences.collect::<Vec<_>>().join(" ")))
            }
            (None, Some(reason)) => Some(Value::Text(reason.sentence().to_owned())),
            (None, None) => None,
        }
    }),
    (row("outlook", "best-lever", "What would help most", Kind::Text, Life::Turn), |view| {
        Some(Value::Text(view.state.levers.first()?.sentence(view.voice, view.now)))
    }),
    (row("outlook", "levers", "What would help", Kind::Object, Life::Turn), |view| {
        Some(Value::Object(view.ahead?.levers.clone()))
    }),
    (row("outlook", "hourly", "Hour by hour", Kind::Object, Life::Turn), |view| {
        Some(Value::Object(view.ahead?.hourly.clone()))
    }),
    (row("outlook", "score", "How its outlooks have turned out", Kind::Object, Life::Turn), |view| {
        Some(Value::Object(crate::wire::outlook_score::object(&view.state.outlook_score)?.to_string()))
    }),
];
