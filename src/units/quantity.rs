//! The macro that makes a quantity: one `f64` in a named unit, with a checked constructor.

/// A number that is no legal value of its quantity: outside the range, or not a finite number.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{quantity} {value} {unit} is outside {lowest} to {highest} {unit}")]
pub struct OutOfRange {
    /// What was to be made, in words.
    pub quantity: &'static str,
    /// The number that was refused, in `unit`.
    pub value: f64,
    /// Unit of the three numbers.
    pub unit: &'static str,
    /// Lowest legal value.
    pub lowest: f64,
    /// Highest legal value.
    pub highest: f64,
}

macro_rules! quantity {
    ($($(#[$doc:meta])* $Name:ident { $words:literal, $unit:literal, $get:ident, $from:ident, $low:literal..=$high:literal })*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $Name(f64);

        impl $Name {
            /// What it is called in messages.
            pub const WORDS: &'static str = $words;
            #[doc = concat!("Lowest legal value, in ", $unit, ".")]
            pub const LOWEST: f64 = $low;
            #[doc = concat!("Highest legal value, in ", $unit, ".")]
            pub const HIGHEST: f64 = $high;

            #[doc = concat!("From a number in ", $unit, ".\n\n# Errors\nOutside ", stringify!($low), " to ", stringify!($high), ", or not a number.")]
            pub fn $from(value: f64) -> Result<Self, $crate::units::OutOfRange> {
                if (Self::LOWEST..=Self::HIGHEST).contains(&value) {
                    Ok(Self(value))
                } else {
                    Err($crate::units::OutOfRange {
                        quantity: $words,
                        value,
                        unit: $unit,
                        lowest: Self::LOWEST,
                        highest: Self::HIGHEST,
                    })
                }
            }

            #[doc = concat!("In ", $unit, ".")]
            #[inline]
            pub fn $get(self) -> f64 {
                self.0
            }

            /// For a result that cannot leave the range, or may be cut to it; NaN becomes the lowest legal value.
            #[allow(dead_code, reason = "the macro makes it for every quantity, not all need it")]
            #[inline]
            pub(crate) fn clamped(value: f64) -> Self {
                if value.is_nan() { Self(Self::LOWEST) } else { Self(value.clamp(Self::LOWEST, Self::HIGHEST)) }
            }

            /// For a result that is inside the range by construction.
            #[allow(dead_code, reason = "the macro makes it for every quantity, not all need it")]
            pub(crate) const fn new_unchecked(value: f64) -> Self {
                Self(value)
            }
        }
    )*};
}

pub(crate) use quantity;

#[cfg(test)]
mod tests {
    use crate::units::{RelativeHumidity, Temperature};

    #[test]
    fn no_quantity_accepts_what_is_not_a_finite_number_in_its_range() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -100.1, 200.1] {
            assert!(Temperature::from_celsius(value).is_err(), "{value} was accepted");
        }
        assert!(Temperature::from_celsius(-100.0).is_ok());
        assert!(RelativeHumidity::from_percent(150.1).is_err());
    }

    #[test]
    fn a_refusal_says_what_was_given_and_what_is_allowed() {
        let error = Temperature::from_celsius(451.0).unwrap_err();
        assert_eq!(error.to_string(), "temperature 451 °C is outside -100 to 200 °C");
    }
}
