//! Surfaces that get wet or frosted, and what that does to the air.
//!
//! For each square metre (h in kJ/m²hK, β in kg/m²h):
//! (h_c + h_r)(T − T_s) + λβ(W − W_sat(T_s)) = h_o (T_s − T_o), with the convective film alone in β = h_c/(0.9·c_p): the
//! analogy of heat and mass transfer, with 0.9 for the Lewis number's power (0.87^⅔; textbook value, from memory).
//! Radiation warms the surface, but carries no vapour.

use crate::{
    model::shell::{Shell, SurfaceKind},
    physics::{
        Curve,
        bare::{
            DRY_AIR_HEAT_CAPACITY, MASS_RATIO, ice_enthalpy, liquid_enthalpy, saturated_humidity_ratio, saturates_at,
            saturation, vapour_enthalpy,
        },
    },
    units::{Fraction, Temperature, TemperatureDifference},
};

use super::{flows::KILOJOULES_PER_HOUR, report::Dew};

/// Inner film with which a transmittance is defined, m²K/W (ISO 6946).
const STANDARD_FILM: f64 = 0.13;
/// Radiation between ordinary surfaces at about 20 °C and an emissivity of 0.9: 0.9·4σT³, W/m²K.
const RADIATION: f64 = 5.1;
/// From the surface outwards no wall passes more than this, W/m²K: bare film in wind.
const MOST_OUTWARDS: f64 = 100.0;
const LEWIS: f64 = 0.9;

/// A wall that takes part in the balances.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Wall {
    surface: usize,
    area: f64,
    /// Of the temperature difference between inside and around, the part that the dry surface keeps.
    factor: f64,
    /// h_c + h_r + h_o, kJ/m²hK.
    films: f64,
    /// β, kg/m²h.
    transfer: f64,
}

/// A surface that is only watched.
#[derive(Debug, Clone, PartialEq)]
struct Watched {
    surface: usize,
    factor: f64,
}

/// All surfaces of a room.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Surfaces {
    pub walls: Vec<Wall>,
    watched: Vec<Watched>,
}

/// How one wall takes vapour during a stretch: flow (kg/h) = `rate` · (W − `onset` − `by_temperature` · ΔT).
#[derive(Debug, Clone, Copy)]
pub(super) struct Wetting {
    pub rate: f64,
    /// Humidity ratio above which the wall gets wet.
    pub onset: f64,
    /// Rise of the onset with the room's temperature.
    pub by_temperature: f64,
    /// Heat that each kilogram gives to the surface, kJ/kg.
    latent: f64,
    /// Heat that comes back to the air for each kilogram, kJ/kg: the share of the latent heat that does not go outwards.
    pub returned: f64,
    /// Below 0 °C.
    pub frozen: bool,
    /// Whether it takes vapour now.
    pub wet: bool,
}

/// Heat given off by a kilogram of vapour that condenses, or freezes, kJ/kg.
fn latent_heat(curve: Curve, celsius: f64) -> f64 {
    let rest = match curve {
        Curve::Water => liquid_enthalpy(celsius),
        Curve::Ice => ice_enthalpy(celsius),
    };
    vapour_enthalpy(celsius) - rest
}

/// Ice below freezing, water above.
fn curve_at(celsius: f64) -> Curve {
    if celsius < 0.0 { Curve::Ice } else { Curve::Water }
}

fn saturated(celsius: f64, pascals: f64) -> (f64, f64) {
    saturated_humidity_ratio(curve_at(celsius), celsius, pascals)
}

impl Wall {
    /// `None` for a wall of no area.
    fn new(surface: usize, kind: SurfaceKind) -> Option<Self> {
        let SurfaceKind::Wall { area, transmittance, convective } = kind else { return None };
        let area = area.square_metres();
        let whole = transmittance.watts_per_square_metre_kelvin();
        let beyond = 1.0 / whole - STANDARD_FILM;
        // A transmittance above what the film alone would pass is that of a surface as cold as the air outside.
        let outwards = if beyond > 1.0 / MOST_OUTWARDS { 1.0 / beyond } else { MOST_OUTWARDS };
        let convective = convective.watts_per_square_metre_kelvin();
        let inwards = convective + RADIATION;
        (area > 0.0).then(|| Self {
            surface,
            area,
            factor: inwards / (inwards + outwards),
            films: (inwards + outwards) * KILOJOULES_PER_HOUR,
            transfer: convective * KILOJOULES_PER_HOUR / (LEWIS * DRY_AIR_HEAT_CAPACITY),
        })
    }

    /// Temperature of the dry surface.
    fn dry(&self, inside: f64, around: f64) -> f64 {
        around + self.factor * (inside - around)
    }

    /// How the wall takes vapour from air near this state.
    pub fn wetting(&self, inside: f64, humidity_ratio: f64, around: f64, pascals: f64) -> Wetting {
        let dry = self.dry(inside, around);
        let curve = curve_at(dry);
        let (onset, slope) = saturated(dry, pascals);
        let by_temperature = slope * self.factor;
        let latent = latent_heat(curve, dry);
        let excess = humidity_ratio - onset;
        let wet = excess > 0.0;
        let carried = latent * self.transfer;
        // The surface's temperature above the dry one, by two steps of Newton's method on its balance, which is smooth: the
        // second ends within a thousandth of a kelvin. A surface that condensation warms to 0 °C stays there.
        let warmer = carried * excess / (self.films + carried * slope);
        let mut at_surface = onset + slope * warmer;
        if excess > 1e-5 {
            let (first, first_slope) = saturated_humidity_ratio(curve, dry + warmer, pascals);
            let step =
                (self.films * warmer - carried * (humidity_ratio - first)) / (self.films + carried * first_slope);
            at_surface = first - first_slope * step;
        }
        // Through the onset and the present state, so that the flow vanishes exactly where the wall dries.
        let whole = self.transfer * self.area;
        let rate = if excess > 1e-5 {
            whole * ((humidity_ratio - at_surface) / excess).clamp(0.0, 1.0)
        } else {
            whole * self.films / (self.films + carried * slope)
        };
        Wetting { rate, onset, by_temperature, latent, returned: latent * self.factor, frozen: dry < 0.0, wet }
    }

    /// How much the vapour that it takes warms the surface, K.
    fn warmed(&self, wetting: &Wetting, humidity_ratio: f64) -> f64 {
        let flow = wetting.rate * (humidity_ratio - wetting.onset).max(0.0);
        wetting.latent * flow / (self.area * self.films)
    }
}

impl Surfaces {
    pub fn new(shell: &Shell) -> Self {
        let listed = || shell.surfaces.iter().map(|surface| surface.kind).enumerate();
        let watched = |(surface, kind)| match kind {
            SurfaceKind::Factor(factor) => Some(Watched { surface, factor: factor.ratio() }),
            SurfaceKind::Wall { .. } | SurfaceKind::Probe => None,
        };
        Self {
            walls: listed().filter_map(|(surface, kind)| Wall::new(surface, kind)).collect(),
            watched: listed().filter_map(watched).collect(),
        }
    }

    /// Has a probe's surface carried on by the temperature factor that it shows now.
    pub fn probe(&mut self, surface: usize, factor: Fraction) {
        self.watched.retain(|watched| watched.surface != surface);
        self.watched.push(Watched { surface, factor: factor.ratio() });
    }

    /// The coldest surface, and how far it is from getting wet. Walls in the balance are taken as warm as condensation
    /// makes them.
    pub fn dew(&self, air: (f64, f64), around: f64, pascals: f64) -> Option<Dew> {
        let (inside, humidity_ratio) = air;
        let factors = self.walls.iter().map(|wall| (wall.surface, wall.factor));
        let factors = factors.chain(self.watched.iter().map(|watched| (watched.surface, watched.factor)));
        let at = |factor: f64| around + factor * (inside - around);
        let (surface, factor) = factors.min_by(|a, b| at(a.1).total_cmp(&at(b.1)))?;
        let mut celsius = at(factor);
        if let Some(wall) = self.walls.iter().find(|wall| wall.surface == surface) {
            celsius += wall.warmed(&wall.wetting(inside, humidity_ratio, around, pascals), humidity_ratio);
        }
        let vapour = crate::physics::bare::vapour_pressure(humidity_ratio, pascals);
        let wets_at = saturates_at(vapour, pascals, celsius)?;
        Some(Dew {
            surface,
            temperature: Temperature::clamped(celsius),
            margin: TemperatureDifference::clamped(celsius - wets_at),
        })
    }
}

/// Humidity ratio at a relative humidity over liquid water, with its slope by temperature; cut short of boiling.
#[inline]
pub(super) fn at_humidity(relative: f64, celsius: f64, pascals: f64) -> (f64, f64) {
    let (pressure, slope) = saturation(Curve::Water, celsius, pascals);
    let vapour = (relative * pressure).min(0.9 * pascals);
    let by_dry = 1.0 / (pascals - vapour);
    let ratio = MASS_RATIO * vapour * by_dry;
    (ratio, MASS_RATIO * pascals * relative * slope * by_dry * by_dry)
}
