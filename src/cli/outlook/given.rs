//! What people give on the command line: `oyster-hall=16 °C, 90 %, 800 ppm`.

use crate::units::{
    CarbonDioxide, RelativeHumidity, Temperature, WaterVolume,
    parse::{QuantityError, Unit, Written, quantity, unit},
};

/// What is given of a room, or of the air outdoors.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Given {
    pub temperature: Option<Temperature>,
    pub relative_humidity: Option<RelativeHumidity>,
    pub carbon_dioxide: Option<CarbonDioxide>,
    pub tank: Option<WaterVolume>,
}

/// Why values cannot be understood.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(super) enum BadValues {
    /// No name before the values.
    #[error("`{0}` names no room; write it as in `oyster-hall=16 °C, 90 %, 800 ppm`")]
    NoName(String),
    /// Its unit is that of none of the four.
    #[error(
        "`{0}` is none of temperature, relative humidity, carbon dioxide and litres in the tank; write them with their \
         units, as in `16 °C, 90 %, 800 ppm, 60 L`"
    )]
    Unknown(String),
    /// A quantity that is out of range, or that has no number.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// The same quantity again.
    #[error("`{0}` gives a second value of the same kind")]
    Twice(String),
}

/// A room's name and values.
pub(super) fn of_room(text: &str) -> Result<(String, Given), BadValues> {
    let named = text.split_once('=').filter(|(name, _)| !name.trim().is_empty());
    let (name, given) = named.ok_or_else(|| BadValues::NoName(text.to_owned()))?;
    Ok((name.trim().to_owned(), values(given)?))
}

/// Values, separated by commas.
pub(super) fn values(text: &str) -> Result<Given, BadValues> {
    let mut given = Given::default();
    for part in text.split(',').map(str::trim).filter(|part| !part.is_empty()) {
        let start = part.find(|letter: char| !"+-−.0123456789eE_ \u{a0}\u{202f}".contains(letter));
        let spelling = start.map_or("", |start| &part[start..]);
        if is::<Temperature>(spelling) {
            fill(&mut given.temperature, part)?;
        } else if is::<RelativeHumidity>(spelling) {
            // Carbon dioxide may be written in percent as well, but hardly ever is.
            fill(&mut given.relative_humidity, part)?;
        } else if is::<CarbonDioxide>(spelling) {
            fill(&mut given.carbon_dioxide, part)?;
        } else if is::<WaterVolume>(spelling) {
            fill(&mut given.tank, part)?;
        } else {
            return Err(BadValues::Unknown(part.to_owned()));
        }
    }
    Ok(given)
}

fn is<Q: Written>(spelling: &str) -> bool {
    let known: Option<&'static Unit> = unit::<Q>(spelling);
    known.is_some()
}

fn fill<Q: Written>(place: &mut Option<Q>, part: &str) -> Result<(), BadValues> {
    if place.is_some() {
        return Err(BadValues::Twice(part.to_owned()));
    }
    *place = Some(quantity(part)?);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_value_is_known_by_its_unit_in_either_system_and_any_order() {
        let (name, given) = of_room("oyster-hall=16°C,90%,800ppm").unwrap();
        assert_eq!(name, "oyster-hall");
        assert!((given.temperature.unwrap().celsius() - 16.0).abs() < 1e-9);
        assert!((given.relative_humidity.unwrap().percent() - 90.0).abs() < 1e-9);
        assert!((given.carbon_dioxide.unwrap().parts_per_million() - 800.0).abs() < 1e-9);
        let (_, given) = of_room("lung= 15 gal, 46.4 °F").unwrap();
        assert!((given.temperature.unwrap().celsius() - 8.0).abs() < 1e-9);
        assert!((given.tank.unwrap().litres() - 56.78).abs() < 0.01);
        assert!((values("-12 °C, 80 %").unwrap().temperature.unwrap().celsius() + 12.0).abs() < 1e-9);
    }

    #[test]
    fn what_cannot_be_understood_is_quoted_in_a_sentence() {
        for (text, words) in [
            ("16 °C", "names no room"),
            ("=16 °C", "names no room"),
            ("hall=16", "`16` is none of temperature"),
            ("hall=16 °C, 3 furlongs", "`3 furlongs` is none of"),
            ("hall=16 °C, 17 °C", "`17 °C` gives a second value"),
            ("hall=900 °C", "900"),
        ] {
            let error = of_room(text).unwrap_err().to_string();
            assert!(error.contains(words), "{text}: {error}");
        }
    }
}
