//! How much dry air enters a room, and in what state.

use super::{Drive, RoomModel};
use crate::{
    model::equipment::{Fan, FanControl, FanMoves, Recovery, Tempering},
    physics::bare::{DRY_AIR_HEAT_CAPACITY, VAPOUR_HEAT_CAPACITY, specific_volume},
    units::{AirFlow, DryAirFlow, HeatFlow, Volume},
};

/// kJ/h in a watt.
pub(super) const KILOJOULES_PER_HOUR: f64 = 3.6;

/// The ways of air into a room, as configuration fixes them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ways {
    moves: FanMoves,
    /// m³/h.
    capacity: f64,
    /// kJ/h at full command.
    fan_heat: f64,
    /// Period of a timer in hours.
    pub timer: Option<f64>,
    recovery: Option<Recovery>,
    tempering: Option<Tempering>,
    /// m³/h at the room's state.
    infiltration: f64,
}

/// Dry air that enters, kg/h.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flows {
    pub supplied: f64,
    pub leaked: f64,
}

impl Flows {
    pub fn total(self) -> f64 {
        self.supplied + self.leaked
    }
}

/// The supply as it enters, written so that heat and water stay linear in the room's own state.
#[derive(Debug, Clone, Copy)]
pub(super) struct Supply {
    /// Share of the flow that carries the room's own temperature back in, through the exchanger.
    pub heat_back: f64,
    /// Share of the flow that carries the room's own moisture back in.
    pub moisture_back: f64,
    /// Temperature of the rest, °C.
    pub celsius: f64,
    /// Humidity ratio of the rest.
    pub humidity_ratio: f64,
    /// Heat added on the way, kJ/h, where the intake's heater is at its limit; else it is in the temperature.
    pub added: f64,
}

impl Supply {
    /// Temperature as it enters a room of `inside` °C, with `flow` kg/h.
    pub fn temperature(&self, inside: f64, flow: f64) -> f64 {
        let mixed = self.heat_back * inside + (1.0 - self.heat_back) * self.celsius;
        let capacity = flow * self.capacity();
        if capacity > 0.0 { mixed + self.added / capacity } else { mixed }
    }

    /// kJ/K for each kilogram of dry air.
    fn capacity(&self) -> f64 {
        DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * self.humidity_ratio
    }

    /// Humidity ratio as it enters a room of humidity ratio `inside`.
    pub fn moisture(&self, inside: f64) -> f64 {
        self.moisture_back * inside + (1.0 - self.moisture_back) * self.humidity_ratio
    }
}

impl Ways {
    pub fn new(fan: &Fan, tempering: Option<Tempering>, infiltration: f64, volume: Volume) -> Self {
        Self {
            moves: fan.moves,
            capacity: fan.capacity.cubic_metres_per_hour(),
            fan_heat: fan.heat.watts() * KILOJOULES_PER_HOUR,
            timer: match fan.control {
                FanControl::Timer { period } => Some(period.as_secs_f64() / 3_600.0),
                FanControl::Proportional | FanControl::Curve(_) => None,
            },
            recovery: fan.recovery,
            tempering,
            infiltration: infiltration * volume.cubic_metres(),
        }
    }

    /// Flow at full command.
    pub fn full(&self) -> AirFlow {
        AirFlow::clamped(self.capacity)
    }

    /// Share of full flow.
    pub fn share(&self, drive: &Drive) -> f64 {
        if self.capacity > 0.0 { (drive.fresh_air.cubic_metres_per_hour() / self.capacity).min(1.0) } else { 0.0 }
    }

    /// Heat of the fan, kJ/h. By the fan laws power goes with the cube of the flow; a timer's with the time it runs.
    pub fn fan_heat(&self, drive: &Drive) -> f64 {
        let share = self.share(drive);
        self.fan_heat * if self.timer.is_some() { share } else { share * share * share }
    }

    /// What enters a room at `celsius` and `humidity_ratio`.
    ///
    /// A fan moves volume at the state of its own air: an exhaust fan the room's, a supply fan that of the intake, as it
    /// stands before any exchanger and heater. Rooms that draw from this one pull their air through it: past an exhaust
    /// fan beside the fan's own, past a supply fan out of what that pushes in, or more where they want more.
    ///
    /// A leak does not simply add to an unbalanced flow: Q = Q_balanced + √(Q_unbalanced² + Q_leak²), the usual
    /// superposition (ASHRAE Handbook Fundamentals, chapter on ventilation and infiltration; from memory).
    pub fn flows(&self, drive: &Drive, celsius: f64, humidity_ratio: f64) -> Flows {
        let inside = specific_volume(celsius, humidity_ratio, drive.pressure.pascals());
        let intake = drive.supply.air.specific_volume().cubic_metres_per_kilogram();
        let moved = if self.moves == FanMoves::Supply { intake } else { inside };
        let own = drive.fresh_air.cubic_metres_per_hour() / moved;
        self.superposed(own, drive.drawn_by_others.kilograms_per_hour(), self.infiltration / inside)
    }

    /// What enters with `own` kg/h of the fan and nothing drawn by others, in a room of this specific volume.
    pub fn usual(&self, own: f64, inside: f64) -> Flows {
        self.superposed(own, 0.0, self.infiltration / inside)
    }

    fn superposed(&self, own: f64, drawn: f64, leak: f64) -> Flows {
        let (supplied, balanced, unbalanced) = match self.moves {
            FanMoves::Supply => (own.max(drawn), own.min(drawn), (own - drawn).abs()),
            FanMoves::Exhaust => (own + drawn, 0.0, own + drawn),
            FanMoves::Both => (own + drawn, own, drawn),
        };
        Flows { supplied, leaked: (balanced + (unbalanced * unbalanced + leak * leak).sqrt() - supplied).max(0.0) }
    }

    /// The supply after exchanger and intake heater, and the heater's heat in kJ/h.
    pub fn supply(&self, drive: &Drive, celsius: f64, flow: f64) -> (Supply, f64) {
        let air = drive.supply.air;
        let (heat_back, moisture_back) =
            self.recovery.map_or((0.0, 0.0), |recovery| (recovery.heat.ratio(), recovery.moisture.ratio()));
        let humidity_ratio = air.humidity_ratio().kilograms_per_kilogram();
        let plain =
            Supply { heat_back, moisture_back, celsius: air.temperature().celsius(), humidity_ratio, added: 0.0 };
        let Some(Tempering { to, power }) = self.tempering else { return (plain, 0.0) };
        let arriving = plain.temperature(celsius, flow);
        let wanted = to.celsius();
        let needed = flow * plain.capacity() * (wanted - arriving);
        if needed <= 0.0 {
            return (plain, 0.0);
        }
        let most = power.map_or(f64::INFINITY, HeatFlow::watts) * KILOJOULES_PER_HOUR;
        if needed <= most {
            (Supply { heat_back: 0.0, celsius: wanted, ..plain }, needed)
        } else {
            (Supply { added: most, ..plain }, most)
        }
    }
}

impl RoomModel {
    /// Dry air that the room takes through its intake when it is at `standing`: what its anteroom must give.
    pub fn intake(&self, standing: &super::Standing, drive: &Drive) -> DryAirFlow {
        let celsius = standing.temperature.celsius();
        let flows = self.ways.flows(drive, celsius, standing.humidity_ratio.kilograms_per_kilogram());
        DryAirFlow::clamped(flows.supplied)
    }
}
