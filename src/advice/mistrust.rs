//! What is said of sensors that are not believed, that disagree, or that want a check.

use super::Voice;
use crate::{
    model::{Apart, Fault, Identifier, Quantity, Sensor, farm::spoken},
    units::TemperatureDifference,
};

/// Why sensors are not believed, and what to do.
pub(super) fn suspect(sensors: &[(Sensor, Fault)]) -> String {
    let each = sensors.iter().map(|(sensor, fault)| {
        // A machine's report is told of the machine.
        let name = match sensor.quantity {
            Quantity::FanState | Quantity::HumidifierState => sensor.quantity.words().to_owned(),
            _ => sensor.words(),
        };
        format!("The {name} {}.", fault.reason())
    });
    let rest = if sensors.len() == 1 { "It is left out until then." } else { "They are left out until then." };
    each.chain([rest.to_owned()]).collect::<Vec<_>>().join(" ")
}

/// Which part of the room differs from which, and what that means.
pub(super) fn apart(quantities: &[(Quantity, Apart)], voice: &Voice) -> String {
    let mut said =
        quantities.iter().map(|(quantity, apart)| one(*quantity, apart, voice)).collect::<Vec<_>>().join("; ");
    if let Some(first) = said.get(..1) {
        said.replace_range(..1, &first.to_uppercase());
    }
    let disputed = quantities.iter().any(|(_, apart)| apart.pair);
    let rest = if disputed {
        "Of two sensors nobody can say which is right: each decision takes the careful one. Compare them side by side; \
         if both are right, move the air."
    } else {
        "Move the air between them, or compare the sensors side by side."
    };
    format!("{said}. {rest}")
}

fn one(quantity: Quantity, apart: &Apart, voice: &Voice) -> String {
    let (high, low) = (position(apart.highest_at.as_ref()), position(apart.lowest_at.as_ref()));
    match quantity {
        Quantity::RelativeHumidity => {
            format!("{high} is {:.0} points moister than {low}", apart.difference * 100.0)
        }
        Quantity::CarbonDioxide => {
            format!("{high} has {:.0} % more carbon dioxide than {low}", apart.difference * 100.0)
        }
        _ => {
            let difference = TemperatureDifference::clamped(apart.difference);
            format!("{high} is {} warmer than {low}", voice.units.temperature_difference(difference))
        }
    }
}

fn position(name: Option<&Identifier>) -> String {
    name.map_or_else(|| "the sensor without a position".to_owned(), |name| format!("the {}", spoken(name)))
}

/// Whose last check is how old.
pub(super) fn calibration(sensors: &[(Sensor, i64)]) -> String {
    let each: Vec<_> =
        sensors.iter().map(|(sensor, days)| format!("that of {} is {days} days old", sensor.words())).collect();
    format!(
        "Calibrations are older than they are good for: {}. Check the sensor against a good one or over a salt, and \
         write down what `mistwright calibrate` prints.",
        each.join("; ")
    )
}
