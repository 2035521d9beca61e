//! The state of moist air and everything that follows from it.
//!
//! Humidity ratio W = ε·p_v/(p − p_v) with ε = 0.621 945; enthalpy h = 1.006 t + W (2501 + 1.86 t); specific volume
//! v = 287.042 T (1 + 1.607 858 W)/p: ASHRAE Handbook Fundamentals, chapter 1, equations 20, 26 and 30. The real-gas
//! part is in the saturation curves (see [`super::saturation`]). Against the real-gas virial equations of ASHRAE
//! RP-1485 (CoolProp 8.0.0), over −40…50 °C and 70…105 kPa: humidity ratio 0.065 %, enthalpy 0.35 kJ/kg, volume
//! 0.14 %.

use super::bare;
use super::saturation::{BelowFreezing, Curve, SaturationError};
use super::solve::increasing_root;
use super::water::{
    DRY_AIR_HEAT_CAPACITY, ICE_AT_ZERO, ICE_HEAT_CAPACITY, LIQUID_HEAT_CAPACITY, VAPOUR_AT_ZERO, VAPOUR_HEAT_CAPACITY,
    vapour_enthalpy,
};
use crate::units::{
    Enthalpy, HumidityRatio, OutOfRange, Pressure, RelativeHumidity, SpecificVolume, Temperature, VapourPressure,
};

/// Molar mass of water over that of dry air.
pub(crate) const MASS_RATIO: f64 = 0.621_945;
/// Gas constant of dry air, J/(kg·K).
pub(super) const DRY_AIR_GAS_CONSTANT: f64 = 287.042;
/// Coldest and warmest air that the equations are used for, °C: the ends of the supercooled-water curve and of the
/// enhancement factor.
const COLDEST: f64 = -60.0;
const WARMEST: f64 = 80.0;
/// Saturation pressure may be at most this share of the air's pressure: nearer to boiling, air is mostly vapour.
const BOILING_SHARE: f64 = 0.9;
/// Supersaturation below this share is rounding, and is cut to saturation.
const ROUNDING: f64 = 1e-9;

/// A state of clear (not fogged) moist air: −60…80 °C, 10…120 kPa, at most saturated over liquid water.
///
/// Below 0 °C it may be supersaturated over ice, as real air often is. Small and `Copy`; everything else about the
/// air is computed from the three numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MoistAir {
    temperature: Temperature,
    pressure: Pressure,
    humidity_ratio: HumidityRatio,
}

/// Why given quantities describe no state of moist air. Temperatures in °C.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum MoistAirError {
    /// Outside the range of the equations.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A vapour pressure that no temperature on the saturation curve gives.
    #[error(transparent)]
    Saturation(#[from] SaturationError),
    /// At this pressure the air is near the boiling point of water.
    #[error("at {celsius:.1} °C and {pascals:.0} Pa water is at or near boiling")]
    NearBoiling {
        /// The temperature.
        celsius: f64,
        /// The air's pressure.
        pascals: f64,
    },
    /// More vapour than the air can hold as vapour.
    #[error("the air would be at {percent:.1} % relative humidity at {celsius:.2} °C: more than saturated")]
    Supersaturated {
        /// The air temperature.
        celsius: f64,
        /// Relative humidity over liquid water.
        percent: f64,
    },
    /// Air cannot have its dew point above its temperature.
    #[error("the dew point, {dew_point:.2} °C, is above the temperature, {celsius:.2} °C")]
    DewPointAboveTemperature {
        /// The dew point, or frost point where the convention says so.
        dew_point: f64,
        /// The air temperature.
        celsius: f64,
    },
    /// The air would be supersaturated.
    #[error("the wet bulb, {wet_bulb:.2} °C, is too high for air at {celsius:.2} °C: more than saturated")]
    WetBulbTooHigh {
        /// The wet bulb.
        wet_bulb: f64,
        /// The air temperature.
        celsius: f64,
    },
    /// Even wholly dry air has a higher wet bulb.
    #[error("the wet bulb, {wet_bulb:.2} °C, is too low for air at {celsius:.2} °C: wholly dry air has a higher one")]
    WetBulbTooLow {
        /// The wet bulb.
        wet_bulb: f64,
        /// The air temperature.
        celsius: f64,
    },
    /// Moister than saturated air at the wet bulb.
    #[error("the wet bulb, {wet_bulb:.2} °C, is below the dew point")]
    WetBulbBelowDewPoint {
        /// The wet bulb.
        wet_bulb: f64,
    },
    /// Any temperature has relative humidity zero when the air is dry.
    #[error("relative humidity of 0 % with no temperature says nothing about the temperature")]
    DryWithoutTemperature,
    /// Two ways to say the same thing.
    #[error(
        "dew point and humidity ratio are the same quantity at a given pressure: give a temperature, a relative \
         humidity or a wet bulb beside one of them"
    )]
    SameQuantity,
    /// One quantity given twice.
    #[error("{quantity} is given twice: give two different quantities")]
    Repeated {
        /// What it is called.
        quantity: &'static str,
    },
}

impl MoistAir {
    /// From temperature and relative humidity. Below 0 °C, `below_freezing` says which surface the humidity refers to.
    ///
    /// # Errors
    /// Outside −60…80 °C, near boiling, or above saturation over liquid water (see [`Self::from_sensor`]).
    pub fn from_relative_humidity(
        temperature: Temperature,
        relative_humidity: RelativeHumidity,
        below_freezing: BelowFreezing,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        let saturation = saturation_pressure(temperature, pressure)?;
        let reference = match below_freezing.curve(temperature) {
            Curve::Water => saturation,
            Curve::Ice => Curve::Ice.at(temperature.celsius(), pressure.pascals()).pressure,
        };
        Self::checked(temperature, relative_humidity.ratio() * reference, saturation, pressure)
    }

    /// From what a humidity sensor says: like [`Self::from_relative_humidity`], but a value above saturation becomes
    /// saturation, because capacitive sensors in wet rooms read up to 105 %. Whether such a reading is plausible
    /// is for the caller to judge.
    ///
    /// # Errors
    /// Outside −60…80 °C, or near boiling.
    pub fn from_sensor(
        temperature: Temperature,
        relative_humidity: RelativeHumidity,
        below_freezing: BelowFreezing,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        match Self::from_relative_humidity(temperature, relative_humidity, below_freezing, pressure) {
            Err(MoistAirError::Supersaturated { .. }) => Self::saturated(temperature, pressure),
            other => other,
        }
    }

    /// Air saturated over liquid water.
    ///
    /// # Errors
    /// Outside −60…80 °C, or near boiling.
    pub fn saturated(temperature: Temperature, pressure: Pressure) -> Result<Self, MoistAirError> {
        let saturation = saturation_pressure(temperature, pressure)?;
        Ok(Self::unchecked(temperature, saturation, pressure))
    }

    /// From temperature and vapour pressure (mole fraction × pressure).
    ///
    /// # Errors
    /// Outside −60…80 °C, near boiling, below zero, or above saturation over liquid water.
    pub fn from_vapour_pressure(
        temperature: Temperature,
        vapour_pressure: VapourPressure,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        let saturation = saturation_pressure(temperature, pressure)?;
        let vapour = vapour_pressure.pascals();
        if vapour < 0.0 {
            let quantity = "vapour pressure of air";
            return Err(OutOfRange { quantity, value: vapour, unit: "Pa", lowest: 0.0, highest: saturation }.into());
        }
        Self::checked(temperature, vapour, saturation, pressure)
    }

    /// From temperature and humidity ratio.
    ///
    /// # Errors
    /// Outside −60…80 °C, near boiling, or above saturation over liquid water.
    pub fn from_humidity_ratio(
        temperature: Temperature,
        humidity_ratio: HumidityRatio,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        let saturation = saturation_pressure(temperature, pressure)?;
        let vapour = vapour_pressure(humidity_ratio.kilograms_per_kilogram(), pressure.pascals());
        Self::checked(temperature, vapour, saturation, pressure)?;
        Ok(Self { temperature, pressure, humidity_ratio })
    }

    /// From temperature and humidity ratio, cut to saturation, with the vapour-pressure deficit; by the table, for the inner
    /// loops of models. `None` outside −60…80 °C and near boiling.
    pub(crate) fn cut_to_saturation(
        temperature: Temperature,
        humidity_ratio: HumidityRatio,
        pressure: Pressure,
    ) -> Option<(Self, VapourPressure)> {
        let (celsius, pascals) = (temperature.celsius(), pressure.pascals());
        let saturation = bare::saturation(Curve::Water, celsius, pascals).0;
        if !(COLDEST..=WARMEST).contains(&celsius) || saturation > BOILING_SHARE * pascals {
            return None;
        }
        let vapour = vapour_pressure(humidity_ratio.kilograms_per_kilogram(), pascals);
        // The table may lie above the equation by a millionth; what is saturated stays below both.
        let most = saturation * (1.0 - 2e-6);
        if vapour > most {
            return Some((Self::unchecked(temperature, most, pressure), VapourPressure::clamped(0.0)));
        }
        Some((Self { temperature, pressure, humidity_ratio }, VapourPressure::clamped(saturation - vapour)))
    }

    /// From temperature and dew point; with [`BelowFreezing::Ice`] a dew point below 0 °C is a frost point.
    ///
    /// # Errors
    /// Outside −60…80 °C (a frost point may be as low as −100 °C), near boiling, or a dew point above the temperature.
    /// A frost point may be above the temperature as far as the air is not supersaturated over liquid water.
    pub fn from_dew_point(
        temperature: Temperature,
        dew_point: Temperature,
        below_freezing: BelowFreezing,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        let saturation = saturation_pressure(temperature, pressure)?;
        let above =
            MoistAirError::DewPointAboveTemperature { dew_point: dew_point.celsius(), celsius: temperature.celsius() };
        let curve = below_freezing.curve(dew_point);
        if curve == Curve::Water && dew_point > temperature {
            return Err(above);
        }
        let vapour = curve.pressure_in_air(dew_point, pressure)?;
        Self::checked(temperature, vapour.pascals(), saturation, pressure).map_err(|error| match error {
            MoistAirError::Supersaturated { .. } => above,
            other => other,
        })
    }

    /// From temperature and thermodynamic wet bulb; a wet bulb below 0 °C is that of an ice-covered bulb.
    ///
    /// # Errors
    /// Outside −60…80 °C, near boiling, or a wet bulb that no clear air at this temperature has. An ice-covered bulb
    /// may be a little warmer than air that is supersaturated over ice.
    pub fn from_wet_bulb(
        temperature: Temperature,
        wet_bulb: Temperature,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        let saturation = saturation_pressure(temperature, pressure)?;
        let (celsius, bulb) = (temperature.celsius(), wet_bulb.celsius());
        let too_high = MoistAirError::WetBulbTooHigh { wet_bulb: bulb, celsius };
        if bulb >= 0.0 && bulb > celsius {
            return Err(too_high);
        }
        let humidity_ratio = humidity_ratio_at_bulb(celsius, bulb, pressure)?;
        if humidity_ratio < -ROUNDING {
            return Err(MoistAirError::WetBulbTooLow { wet_bulb: bulb, celsius });
        }
        let vapour = vapour_pressure(humidity_ratio.max(0.0), pressure.pascals());
        Self::checked(temperature, vapour, saturation, pressure).map_err(|error| match error {
            MoistAirError::Supersaturated { .. } => too_high,
            other => other,
        })
    }

    /// The same water at another temperature: heating, or cooling that does not reach saturation.
    ///
    /// # Errors
    /// Outside −60…80 °C, near boiling, or when the air would be supersaturated.
    pub fn at_temperature(self, temperature: Temperature) -> Result<Self, MoistAirError> {
        Self::from_humidity_ratio(temperature, self.humidity_ratio, self.pressure)
    }

    fn checked(
        temperature: Temperature,
        vapour: f64,
        saturation: f64,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        if vapour > saturation * (1.0 + ROUNDING) {
            let percent = 100.0 * vapour / saturation;
            return Err(MoistAirError::Supersaturated { celsius: temperature.celsius(), percent });
        }
        Ok(Self::unchecked(temperature, vapour.min(saturation), pressure))
    }

    /// `vapour` is known to be at most the saturation pressure.
    fn unchecked(temperature: Temperature, vapour: f64, pressure: Pressure) -> Self {
        let humidity_ratio = HumidityRatio::clamped(humidity_ratio(vapour, pressure.pascals()));
        Self { temperature, pressure, humidity_ratio }
    }

    /// Dry-bulb temperature.
    pub fn temperature(self) -> Temperature {
        self.temperature
    }

    /// Pressure of the air as a whole.
    pub fn pressure(self) -> Pressure {
        self.pressure
    }

    /// Water vapour per dry air.
    pub fn humidity_ratio(self) -> HumidityRatio {
        self.humidity_ratio
    }

    /// Mole fraction of the vapour × pressure.
    pub fn vapour_pressure(self) -> VapourPressure {
        VapourPressure::clamped(self.vapour())
    }

    /// Over liquid water at any temperature, 0…1.
    pub fn relative_humidity(self) -> RelativeHumidity {
        RelativeHumidity::clamped((self.vapour() / self.saturation()).min(1.0))
    }

    /// Over ice, as some sources give it below 0 °C; above 1 where the air is supersaturated over ice.
    ///
    /// `None` above 0 °C, and where it exceeds 150 % (only below −40 °C).
    pub fn relative_humidity_over_ice(self) -> Option<RelativeHumidity> {
        let celsius = self.temperature.celsius();
        if celsius > 0.0 {
            return None;
        }
        let saturation = Curve::Ice.at(celsius, self.pressure.pascals()).pressure;
        RelativeHumidity::from_ratio(self.vapour() / saturation).ok()
    }

    /// Humidity ratio that the air would have if it were saturated over liquid water at its temperature.
    pub fn saturation_humidity_ratio(self) -> HumidityRatio {
        HumidityRatio::clamped(humidity_ratio(self.saturation(), self.pressure.pascals()))
    }

    /// Saturation pressure over liquid water at the air's temperature, less the vapour pressure.
    pub fn vapour_pressure_deficit(self) -> VapourPressure {
        VapourPressure::clamped((self.saturation() - self.vapour()).max(0.0))
    }

    /// Temperature at which this vapour saturates over liquid water, supercooled below 0 °C.
    ///
    /// # Errors
    /// Too dry: a dew point below −60 °C.
    pub fn dew_point(self) -> Result<Temperature, SaturationError> {
        self.vapour_saturates_at(Curve::Water)
    }

    /// Temperature at which this vapour saturates over ice. It is above the dew point, by about a tenth of its
    /// distance from 0 °C.
    ///
    /// `None` where it would be above 0 °C, and for air too dry: below −100 °C.
    pub fn frost_point(self) -> Option<Temperature> {
        self.vapour_saturates_at(Curve::Ice).ok()
    }

    fn vapour_saturates_at(self, curve: Curve) -> Result<Temperature, SaturationError> {
        curve.invert(self.vapour(), self.pressure.pascals()).map(Temperature::clamped)
    }

    /// Thermodynamic wet bulb: where evaporation into this air saturates it adiabatically, the water being added at
    /// the wet bulb's own temperature.
    ///
    /// Near 0 °C there are two roots, a liquid-covered bulb and an ice-covered one. This is the liquid root where
    /// it is at or above 0 °C, else the ice root, which is always below 0 °C then. Air supersaturated over ice has an
    /// ice bulb slightly warmer than itself.
    pub fn wet_bulb(self) -> Temperature {
        let (celsius, pascals) = (self.temperature.celsius(), self.pressure.pascals());
        let w = self.humidity_ratio.kilograms_per_kilogram();
        let enthalpy = enthalpy(celsius, w);
        // A liquid bulb at 0 °C adds water of no enthalpy.
        let at_zero = humidity_ratio(Curve::Water.at_zero(pascals), pascals) * VAPOUR_AT_ZERO;
        let (curve, bracket) =
            if at_zero <= enthalpy { (Curve::Water, (0.0, celsius.max(0.0))) } else { (Curve::Ice, (-100.0, 0.0)) };
        let root = increasing_root(bracket, celsius, BULB_TOLERANCE, |bulb| {
            let (value, slope, curvature) = bulb_balance(curve, bulb, w, pascals);
            let value = value - enthalpy;
            // Halley's step: Newton's with the slope half-way.
            (value, slope - 0.5 * value * curvature / slope)
        });
        Temperature::clamped(root)
    }

    /// Enthalpy per kilogram of dry air; zero for dry air at 0 °C and for liquid water at 0 °C.
    pub fn enthalpy(self) -> Enthalpy {
        Enthalpy::clamped(enthalpy(self.temperature.celsius(), self.humidity_ratio.kilograms_per_kilogram()))
    }

    /// Volume of the air that holds one kilogram of dry air.
    pub fn specific_volume(self) -> SpecificVolume {
        let w = self.humidity_ratio.kilograms_per_kilogram();
        let dry = DRY_AIR_GAS_CONSTANT * self.temperature.kelvins() / self.pressure.pascals();
        SpecificVolume::clamped(dry * (1.0 + w / MASS_RATIO))
    }

    fn vapour(self) -> f64 {
        vapour_pressure(self.humidity_ratio.kilograms_per_kilogram(), self.pressure.pascals())
    }

    fn saturation(self) -> f64 {
        Curve::Water.at(self.temperature.celsius(), self.pressure.pascals()).pressure
    }
}

/// The wet bulb's last step, in K. Halley's method leaves about a thousandth of the step's cube: 3e-8 K.
const BULB_TOLERANCE: f64 = 0.03;

/// Enthalpy of air saturated at `bulb` less that of the water it took up: equal to the enthalpy of the air where
/// `bulb` is its wet bulb. With two derivatives, kJ/kg; infinite at and beyond boiling.
fn bulb_balance(curve: Curve, bulb: f64, humidity_ratio: f64, pascals: f64) -> (f64, f64, f64) {
    let (saturated, slope, curvature) = saturated_humidity_ratio(curve, bulb, pascals);
    let (water, heat_capacity) = condensed_enthalpy(curve, bulb);
    let evaporation = vapour_enthalpy(bulb) - water;
    let evaporation_slope = VAPOUR_HEAT_CAPACITY - heat_capacity;
    (
        DRY_AIR_HEAT_CAPACITY * bulb + saturated * evaporation + humidity_ratio * water,
        DRY_AIR_HEAT_CAPACITY + slope * evaporation + saturated * evaporation_slope + humidity_ratio * heat_capacity,
        curvature * evaporation + 2.0 * slope * evaporation_slope,
    )
}

/// Enthalpy and heat capacity of the water or ice on a bulb.
fn condensed_enthalpy(curve: Curve, celsius: f64) -> (f64, f64) {
    match curve {
        Curve::Water => (LIQUID_HEAT_CAPACITY * celsius, LIQUID_HEAT_CAPACITY),
        Curve::Ice => (ICE_AT_ZERO + ICE_HEAT_CAPACITY * celsius, ICE_HEAT_CAPACITY),
    }
}

/// Humidity ratio of air whose wet bulb is `bulb`; negative where none is dry enough.
pub(super) fn humidity_ratio_at_bulb(celsius: f64, bulb: f64, pressure: Pressure) -> Result<f64, MoistAirError> {
    let (curve, saturated) = saturated_at_bulb(bulb, pressure)?;
    let (water, _) = condensed_enthalpy(curve, bulb);
    let given = saturated * (vapour_enthalpy(bulb) - water) - DRY_AIR_HEAT_CAPACITY * (celsius - bulb);
    Ok(given / (vapour_enthalpy(celsius) - water))
}

/// Temperature of air whose wet bulb is `bulb`.
pub(super) fn temperature_at_bulb(
    humidity_ratio: f64,
    bulb: Temperature,
    pressure: Pressure,
) -> Result<Temperature, MoistAirError> {
    let wet_bulb = bulb.celsius();
    let (curve, saturated) = saturated_at_bulb(wet_bulb, pressure)?;
    let (water, _) = condensed_enthalpy(curve, wet_bulb);
    let given = saturated * (vapour_enthalpy(wet_bulb) - water) + DRY_AIR_HEAT_CAPACITY * wet_bulb
        - humidity_ratio * (VAPOUR_AT_ZERO - water);
    let celsius = given / (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * humidity_ratio);
    if curve == Curve::Water && celsius < wet_bulb - 1e-6 {
        return Err(MoistAirError::WetBulbBelowDewPoint { wet_bulb });
    }
    Ok(Temperature::from_celsius(celsius)?)
}

/// The surface of a bulb at this temperature, and the humidity ratio of air saturated over it.
fn saturated_at_bulb(bulb: f64, pressure: Pressure) -> Result<(Curve, f64), MoistAirError> {
    let curve = if bulb < 0.0 { Curve::Ice } else { Curve::Water };
    let vapour = curve.pressure_in_air(Temperature::from_celsius(bulb)?, pressure)?.pascals();
    if vapour > BOILING_SHARE * pressure.pascals() {
        return Err(MoistAirError::NearBoiling { celsius: bulb, pascals: pressure.pascals() });
    }
    Ok((curve, humidity_ratio(vapour, pressure.pascals())))
}

/// Saturation pressure over liquid water in air at this state, after checking that the equations hold there.
fn saturation_pressure(temperature: Temperature, pressure: Pressure) -> Result<f64, MoistAirError> {
    let (celsius, pascals) = (temperature.celsius(), pressure.pascals());
    if !(COLDEST..=WARMEST).contains(&celsius) {
        let quantity = "air temperature";
        return Err(OutOfRange { quantity, value: celsius, unit: "°C", lowest: COLDEST, highest: WARMEST }.into());
    }
    let saturation = Curve::Water.at(celsius, pascals).pressure;
    if saturation > BOILING_SHARE * pascals {
        return Err(MoistAirError::NearBoiling { celsius, pascals });
    }
    Ok(saturation)
}

#[inline]
pub(crate) fn humidity_ratio(vapour: f64, pascals: f64) -> f64 {
    MASS_RATIO * vapour / (pascals - vapour)
}

#[inline]
pub(crate) fn vapour_pressure(humidity_ratio: f64, pascals: f64) -> f64 {
    pascals * humidity_ratio / (MASS_RATIO + humidity_ratio)
}

/// kJ per kilogram of dry air.
#[inline]
pub(crate) fn enthalpy(celsius: f64, humidity_ratio: f64) -> f64 {
    DRY_AIR_HEAT_CAPACITY * celsius + humidity_ratio * vapour_enthalpy(celsius)
}

/// Humidity ratio of saturated air with its first two derivatives by temperature; infinite at and beyond boiling.
pub(super) fn saturated_humidity_ratio(curve: Curve, celsius: f64, pascals: f64) -> (f64, f64, f64) {
    let point = curve.at(celsius, pascals);
    let dry = pascals - point.pressure;
    if dry <= 0.0 {
        return (f64::INFINITY, f64::NAN, f64::NAN);
    }
    let by_pressure = MASS_RATIO * pascals / (dry * dry);
    let slope = by_pressure * point.slope;
    let curvature = by_pressure * (point.curvature + 2.0 * point.slope * point.slope / dry);
    (MASS_RATIO * point.pressure / dry, slope, curvature)
}
