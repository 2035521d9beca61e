//! The equipment of a room, as it is configured: what moves, heats, cools and moistens its air.

use std::time::Duration;

use crate::units::{
    AirFlow, Fraction, HeatFlow, RelativeHumidity, Temperature, TemperatureDifference, WaterFlow, WaterVolume,
};

/// The fan that brings fresh air, and how little of it is allowed.
#[derive(Debug, Clone, PartialEq)]
pub struct Fan {
    /// Flow at full command, at the state of the air it moves. With a timer: while it runs.
    pub capacity: AirFlow,
    /// Which air it moves.
    pub moves: FanMoves,
    /// How flow follows the command.
    pub control: FanControl,
    /// Advice never goes below this.
    pub floor: AirFlow,
    /// What the grower runs when nothing is known; advice without a carbon dioxide sensor is at least this.
    pub usual: AirFlow,
    /// Stands on a topic that never expires, for rules whose advice has run out. At least the floor.
    pub fallback: AirFlow,
    /// Heat that the running fan leaves in the room's air at full command.
    pub heat: HeatFlow,
    /// What part of the difference between room and fresh air an exchanger gives back, if there is one.
    pub recovery: Option<Recovery>,
}

impl Fan {
    /// A proportional fan without an exchanger, of which only the flows are known. The fallback is the usual rate.
    pub fn plain(moves: FanMoves, [floor, usual, capacity]: [AirFlow; 3]) -> Self {
        Self {
            capacity,
            moves,
            control: FanControl::Proportional,
            floor,
            usual,
            fallback: usual,
            heat: HeatFlow::clamped(0.0),
            recovery: None,
        }
    }

    /// The command that brings `flow`: with a curve, between its points; with a timer, the share of time that it runs.
    /// Below the first point of a curve no flow can be relied on, so that point's command is the least above none.
    pub fn command(&self, flow: AirFlow) -> Fraction {
        let wanted = flow.cubic_metres_per_hour();
        let capacity = self.capacity.cubic_metres_per_hour();
        if wanted <= 0.0 || capacity <= 0.0 {
            return Fraction::clamped(0.0);
        }
        let FanControl::Curve(points) = &self.control else {
            return Fraction::clamped(wanted / capacity);
        };
        let at = |point: &CurvePoint| (point.flow.cubic_metres_per_hour(), point.command.ratio());
        let above = points.iter().position(|point| at(point).0 >= wanted);
        let command = match above {
            None => 1.0,
            Some(0) => points[0].command.ratio(),
            Some(index) => {
                let ((low, from), (high, to)) = (at(&points[index - 1]), at(&points[index]));
                from + (to - from) * (wanted - low) / (high - low)
            }
        };
        Fraction::clamped(command)
    }
}

/// Which air a fan moves: the flow it makes is at that air's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FanMoves {
    /// It pushes supply air in.
    Supply,
    /// It pulls room air out.
    Exhaust,
    /// One pushes in as much as another pulls out, so that a leak simply adds to it.
    Both,
}

/// How a fan's flow follows its command.
#[derive(Debug, Clone, PartialEq)]
pub enum FanControl {
    /// Flow is proportional to the command.
    Proportional,
    /// Flow at commands measured on the spot: rising in both, from a command that just moves air to full command.
    /// Between two points it is linear; below the first there is no flow to rely on.
    Curve(Vec<CurvePoint>),
    /// A timer switches the fan fully on and off; the command is the share of each period that it runs.
    Timer {
        /// One on and one off together.
        period: Duration,
    },
}

/// One measured point of a fan's curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Command.
    pub command: Fraction,
    /// Flow at that command.
    pub flow: AirFlow,
}

/// An exchanger between exhaust and fresh air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recovery {
    /// Share of the temperature difference that it gives back.
    pub heat: Fraction,
    /// Share of the humidity-ratio difference that it gives back; zero for a plain heat exchanger.
    pub moisture: Fraction,
}

/// A heater in the intake: fresh air is brought to a temperature before it enters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tempering {
    /// Temperature that fresh air is brought to.
    pub to: Temperature,
    /// The most heat it can give; `None` where it is not known and taken as enough.
    pub power: Option<HeatFlow>,
}

/// A heater or a cooler in the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thermostat {
    /// The most heat it can give or take.
    pub power: HeatFlow,
    /// Temperature that it holds; `None` means the preferred temperature of the room's band for a heater, and the
    /// highest for a cooler.
    pub setting: Option<Temperature>,
    /// For a cooler: share of its power that goes into water condensed on its coil. Zero for a heater.
    pub latent: Fraction,
}

/// The humidifier of a room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Humidifier {
    /// How it makes mist or vapour.
    pub method: HumidifierMethod,
    /// Water thrown at full duty.
    pub output: WaterFlow,
    /// Share of the water thrown that ends as vapour in the air; the rest wets the room and drains.
    pub evaporated: Fraction,
    /// Whether the evaporated fraction was measured by the grower, or is the method's usual one.
    pub evaporated_known: bool,
    /// Where its water comes from.
    pub water: WaterSupply,
    /// Shortest time that it may run.
    pub minimum_on: Duration,
    /// Shortest time that it must stand.
    pub minimum_off: Duration,
    /// The grower's own sentence about standing mist, if there is one.
    pub mist: Option<MistSeen>,
}

/// Where a humidifier's water comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WaterSupply {
    /// The mains: it does not run out.
    Mains,
    /// A tank of this usable volume when full.
    Tank(WaterVolume),
    /// A tank, or nobody knows: how long it lasts cannot be said.
    Unknown,
}

/// "Mist stands in the room at `at` when it is `outdoors` outside": what a grower has seen, with the fan at its usual
/// rate. From it the room's power to take up mist is reckoned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MistSeen {
    /// Relative humidity of the room above which mist stands.
    pub at: RelativeHumidity,
    /// Outdoor temperature then. Its relative humidity is taken as 80 %.
    pub outdoors: Temperature,
}

/// How a humidifier works: all but steam draw the heat of evaporation from the room's air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HumidifierMethod {
    /// Vibrating disc in a tank.
    Ultrasonic,
    /// High-pressure nozzles.
    Nozzle,
    /// Spinning disc.
    Disc,
    /// Pad or wick in an air stream.
    WettedMedia,
    /// Steam.
    Steam,
}

impl HumidifierMethod {
    /// Every method.
    pub const ALL: [Self; 5] = [Self::Ultrasonic, Self::Nozzle, Self::Disc, Self::WettedMedia, Self::Steam];

    /// As it is written in configuration.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ultrasonic => "ultrasonic",
            Self::Nozzle => "nozzle",
            Self::Disc => "disc",
            Self::WettedMedia => "wetted-media",
            Self::Steam => "steam",
        }
    }

    /// Whether it draws the heat of evaporation from the room's air; steam brings its own.
    pub const fn draws_heat(self) -> bool {
        !matches!(self, Self::Steam)
    }

    /// Evaporated fraction to assume until the grower has compared the tank's draw with the vapour gained.
    ///
    /// Chosen inside ranges that are from memory, unchecked: 0.85–0.95 for ultrasonic mist that is well mixed and
    /// 0.6–0.8 in still, nearly saturated air; 0.7–0.95 from nozzles; 0.6–0.9 from discs; 0.9–1 for steam. What wetted
    /// media do not evaporate stays in them, but for the bleed-off.
    pub fn usual_evaporated(self) -> Fraction {
        Fraction::clamped(match self {
            Self::Ultrasonic => 0.85,
            Self::Nozzle => 0.8,
            Self::Disc => 0.75,
            Self::WettedMedia => 1.0,
            Self::Steam => 0.95,
        })
    }
}

impl Humidifier {
    /// A humidifier with the usual evaporated fraction of its method, free to switch as it likes.
    pub fn plain(method: HumidifierMethod, output: WaterFlow, water: WaterSupply) -> Self {
        Self {
            method,
            output,
            evaporated: method.usual_evaporated(),
            evaporated_known: false,
            water,
            minimum_on: Duration::ZERO,
            minimum_off: Duration::ZERO,
            mist: None,
        }
    }

    /// Usable water of a full tank; `None` where there is none or its size is not known.
    pub const fn tank(&self) -> Option<WaterVolume> {
        match self.water {
            WaterSupply::Tank(volume) => Some(volume),
            WaterSupply::Mains | WaterSupply::Unknown => None,
        }
    }
}

/// A pan, cloth or wet floor that gives off water by itself.
///
/// Formulas for open water disagree two- to threefold (Shah 2002: the best has a mean deviation of 18 %), so what it
/// gives is a band, not a figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pan {
    /// Wet area.
    pub area: crate::units::Area,
    /// How much warmer than the room's air its water is kept; zero where nothing heats it.
    pub warmer: TemperatureDifference,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flow(value: f64) -> AirFlow {
        AirFlow::from_cubic_metres_per_hour(value).unwrap()
    }

    #[test]
    fn a_command_follows_the_measured_curve_and_never_asks_for_less_than_moves_air() {
        let point = |command, at| CurvePoint { command: Fraction::from_ratio(command).unwrap(), flow: flow(at) };
        let plain = Fan::plain(FanMoves::Supply, [flow(60.0), flow(240.0), flow(500.0)]);
        let curve = FanControl::Curve(vec![point(0.2, 50.0), point(0.5, 200.0), point(1.0, 500.0)]);
        let curved = Fan { control: curve, ..plain.clone() };
        for (wanted, proportional, by_curve) in [
            (0.0, 0.0, 0.0),
            (10.0, 0.02, 0.2),
            (50.0, 0.1, 0.2),
            (125.0, 0.25, 0.35),
            (350.0, 0.7, 0.75),
            (900.0, 1.0, 1.0),
        ] {
            assert!((plain.command(flow(wanted)).ratio() - proportional).abs() < 1e-12, "{wanted}");
            assert!((curved.command(flow(wanted)).ratio() - by_curve).abs() < 1e-12, "{wanted}");
        }
        let none = Fan::plain(FanMoves::Supply, [flow(0.0), flow(0.0), flow(0.0)]);
        assert!(none.command(flow(5.0)).ratio() <= 0.0);
    }
}
