//! Saturated salt solutions: what relative humidity stands over each in a closed jar.

use crate::units::{OutOfRange, RelativeHumidity, Temperature};

/// A salt that a grower can buy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Salt {
    /// Magnesium chloride: a low point, for the gain.
    MagnesiumChloride,
    /// Table salt.
    SodiumChloride,
    /// Potassium chloride.
    PotassiumChloride,
    /// Potassium sulfate: near saturation, and only as good as the temperature is constant.
    PotassiumSulfate,
}

impl Salt {
    /// Every salt, from dry to wet.
    pub const ALL: [Self; 4] =
        [Self::MagnesiumChloride, Self::SodiumChloride, Self::PotassiumChloride, Self::PotassiumSulfate];
    /// The temperatures of a room in which a jar may stand, in °C.
    pub const TEMPERATURES: (f64, f64) = (5.0, 30.0);

    /// As it is given on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::MagnesiumChloride => "mgcl2",
            Self::SodiumChloride => "nacl",
            Self::PotassiumChloride => "kcl",
            Self::PotassiumSulfate => "k2so4",
        }
    }

    /// As it is said.
    pub const fn words(self) -> &'static str {
        match self {
            Self::MagnesiumChloride => "magnesium chloride",
            Self::SodiumChloride => "sodium chloride (table salt)",
            Self::PotassiumChloride => "potassium chloride",
            Self::PotassiumSulfate => "potassium sulfate",
        }
    }

    /// Relative humidity over the solution with undissolved salt in it, over 5…30 °C.
    ///
    /// Greenspan (1977), J. Res. NBS 81A, 89: polynomials in the temperature, coefficients from memory, and within 0.1
    /// points of the values of that paper where they were read elsewhere (see the tests). Stated there as good to 0.1 to
    /// 0.5 points.
    ///
    /// # Errors
    /// Outside 5…30 °C.
    pub fn humidity(self, temperature: Temperature) -> Result<RelativeHumidity, OutOfRange> {
        let (lowest, highest) = Self::TEMPERATURES;
        let celsius = temperature.celsius();
        if !(lowest..=highest).contains(&celsius) {
            let quantity = "temperature of a jar of salt";
            return Err(OutOfRange { quantity, value: celsius, unit: "°C", lowest, highest });
        }
        let [a, b, c, d] = match self {
            Self::MagnesiumChloride => [33.6686, -0.007_973_97, -0.001_089_88, 0.0],
            Self::SodiumChloride => [75.5164, 0.039_832_1, -0.002_654_59, 0.000_028_48],
            Self::PotassiumChloride => [88.6190, -0.193_340, 0.000_899_706, 0.0],
            Self::PotassiumSulfate => [98.7792, -0.059_050_2, 0.0, 0.0],
        };
        RelativeHumidity::from_percent(a + celsius * (b + celsius * (c + celsius * d)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn percent(salt: Salt, celsius: f64) -> f64 {
        salt.humidity(Temperature::from_celsius(celsius).unwrap()).unwrap().percent()
    }

    #[test]
    fn the_jars_stand_where_the_published_values_say() {
        // Greenspan's values as printed by Padfield (conservation physics, "saturated salt solutions").
        for (salt, celsius, published) in [
            (Salt::MagnesiumChloride, 5.0, 33.6),
            (Salt::MagnesiumChloride, 25.0, 32.8),
            (Salt::SodiumChloride, 5.0, 75.7),
            (Salt::SodiumChloride, 25.0, 75.3),
            (Salt::PotassiumChloride, 10.0, 86.8),
            (Salt::PotassiumChloride, 20.0, 85.1),
            (Salt::PotassiumSulfate, 5.0, 98.5),
            (Salt::PotassiumSulfate, 25.0, 97.3),
        ] {
            let found = percent(salt, celsius);
            assert!((found - published).abs() < 0.1, "{salt:?} at {celsius} °C: {found} instead of {published}");
        }
        // Of another hand: Wexler and Hasegawa (1954), NaCl at most 75.6 at 30 °C; they differ by half a point there.
        assert!((percent(Salt::SodiumChloride, 30.0) - 75.6).abs() < 0.6);
    }

    #[test]
    fn a_jar_outside_the_room_is_refused() {
        assert!(Salt::SodiumChloride.humidity(Temperature::from_celsius(-2.0).unwrap()).is_err());
    }
}
