//! Keys of a room's equipment.

use std::time::Duration;

use super::{Key, Need, row, section};
use crate::{
    config::kind::{self, Kind},
    units::{Area, Fraction, HeatFlow, RelativeHumidity, Speed, Temperature, TemperatureDifference, WaterFlow},
};

/// The fan, in the order of the reference page.
pub(super) const FAN: &[Key] = &[
    section(
        "rooms.*.fan",
        Need::Computed("no fan of its own; a room with a crop must have one"),
        "The fan that brings fresh air. Each flow may be written as a flow or as air changes per hour.",
    ),
    row(
        "rooms.*.fan.capacity",
        Kind::Air,
        Need::Computed("the end of the `curve`; required without one"),
        "Flow at full command; with a `timer`, while it runs. Ducts and filters leave 50–75 % of what is printed on the \
         fan (from memory, unchecked).",
        "1 500 m³/h",
    ),
    row(
        "rooms.*.fan.moves",
        Kind::Word(kind::fan_moves),
        Need::Default("supply"),
        "`supply` where the fan pushes fresh air in, `exhaust` where it pulls room air out (warm air is thinner), `both` \
         where two fans do both.",
        "exhaust",
    ),
    row(
        "rooms.*.fan.floor",
        Kind::Air,
        Need::Required,
        "Advice never goes below this. Not zero where a crop breathes.",
        "1 /h",
    ),
    row(
        "rooms.*.fan.usual",
        Kind::Air,
        Need::Required,
        "What you run when nothing is known. Without a carbon dioxide reading advice is at least this.",
        "5 /h",
    ),
    row(
        "rooms.*.fan.fallback",
        Kind::Air,
        Need::Computed("the usual rate"),
        "Stands on a topic that never expires, for rules whose advice has run out.",
        "5 /h",
    ),
    row(
        "rooms.*.fan.heat",
        kind::quantity::<HeatFlow>(),
        Need::Default("0 W"),
        "Heat that the fan leaves in the room's air at full command: nearly all the power of a fan that pushes air in, \
         none of one that pulls it out.",
        "90 W",
    ),
    Key {
        path: "rooms.*.fan.curve",
        kind: Kind::List,
        need: Need::Computed("the flow is proportional to the command"),
        doc: "Flow at commands that were measured on the spot, instead of `capacity`: at least two points, both rising, \
              the last one at 100 %.",
        example: "",
    },
    row("rooms.*.fan.curve.command", kind::quantity::<Fraction>(), Need::Required, "Command.", "40 %"),
    row("rooms.*.fan.curve.flow", Kind::Air, Need::Required, "Flow at that command.", "350 m³/h"),
    section(
        "rooms.*.fan.timer",
        Need::Computed("the fan runs all the time, as fast as it is told"),
        "A timer that switches the fan fully on and off: the advised command is the share of each period that it runs.",
    ),
    row(
        "rooms.*.fan.timer.period",
        kind::quantity::<Duration>(),
        Need::Required,
        "One on and one off together. The longer it is, the more the air swings.",
        "15 min",
    ),
    section("rooms.*.fan.recovery", Need::Optional, "An exchanger between exhaust and fresh air."),
    row(
        "rooms.*.fan.recovery.heat",
        kind::quantity::<Fraction>(),
        Need::Required,
        "Share of the difference in temperature that it gives back.",
        "65 %",
    ),
    row(
        "rooms.*.fan.recovery.moisture",
        kind::quantity::<Fraction>(),
        Need::Default("0 %"),
        "Share of the difference in humidity ratio that it gives back; nothing for a plain heat exchanger.",
        "0 %",
    ),
];

/// What moistens, heats and cools, in the order of the reference page.
pub(super) const KEYS: &[Key] = &[
    section("rooms.*.humidifier", Need::Optional, "The room's humidifier, if it has one."),
    row(
        "rooms.*.humidifier.method",
        Kind::Word(kind::methods),
        Need::Required,
        "How it makes mist or vapour. All but steam draw the heat of evaporation from the room.",
        "ultrasonic",
    ),
    row(
        "rooms.*.humidifier.output",
        kind::quantity::<WaterFlow>(),
        Need::Required,
        "Water thrown at full duty.",
        "12 L/h",
    ),
    row(
        "rooms.*.humidifier.evaporated-fraction",
        kind::quantity::<Fraction>(),
        Need::Computed("by method: ultrasonic 85 %, nozzle 80 %, disc 75 %, wetted-media 100 %, steam 95 %"),
        "Share of the water thrown that ends as vapour in the air; the rest wets the room and drains.",
        "85 %",
    ),
    row(
        "rooms.*.humidifier.water",
        Kind::Water,
        Need::Required,
        "Usable water of a full tank; `mains`; or `unknown`, and then nothing is said of how long it lasts.",
        "300 L",
    ),
    row(
        "rooms.*.humidifier.minimum-on",
        kind::quantity::<Duration>(),
        Need::Default("0 s"),
        "Shortest time that it may run, in a cycle of 15 minutes: nozzles 20–60 s, steam longer (from memory, \
         unchecked). Shorter runs are not advised.",
        "30 s",
    ),
    row(
        "rooms.*.humidifier.minimum-off",
        kind::quantity::<Duration>(),
        Need::Default("0 s"),
        "Shortest time that it must stand, in a cycle of 15 minutes: nozzles 1–3 min, steam longer (from memory, \
         unchecked). Shorter pauses are not advised.",
        "90 s",
    ),
    section(
        "rooms.*.humidifier.mist",
        Need::Computed("no limit by standing mist is reckoned, and the outlook says so"),
        "What you have seen of standing mist: \"mist stands in the room at 92 % when it is +10 °C outside\", with the fan \
         at its usual rate. From it follows how fast the room's air can take mist up.",
    ),
    row(
        "rooms.*.humidifier.mist.stands-at",
        kind::quantity::<RelativeHumidity>(),
        Need::Required,
        "Relative humidity of the room above which mist stands.",
        "92 %",
    ),
    row(
        "rooms.*.humidifier.mist.outdoors",
        kind::quantity::<Temperature>(),
        Need::Required,
        "Outdoor temperature then; its relative humidity is taken as 80 %.",
        "10 °C",
    ),
    section("rooms.*.heater", Need::Optional, "Heater in the room."),
    row("rooms.*.heater.power", kind::quantity::<HeatFlow>(), Need::Required, "The most heat it can give.", "6 kW"),
    row(
        "rooms.*.heater.setting",
        kind::quantity::<Temperature>(),
        Need::Computed("the preferred temperature of the room's band"),
        "Temperature that its thermostat holds.",
        "16 °C",
    ),
    section("rooms.*.cooler", Need::Optional, "Cooler in the room."),
    row("rooms.*.cooler.power", kind::quantity::<HeatFlow>(), Need::Required, "The most heat it can take.", "4 kW"),
    row(
        "rooms.*.cooler.setting",
        kind::quantity::<Temperature>(),
        Need::Computed("the highest temperature of the room's band"),
        "Temperature that its thermostat holds.",
        "20 °C",
    ),
    row(
        "rooms.*.cooler.latent",
        kind::quantity::<Fraction>(),
        Need::Default("50 %"),
        "Share of its power that goes into water condensed on its coil: about half where the room's air is near \
         saturation (calculated for 16 °C, 90 % and a coil at 8 °C), none on a dry coil.",
        "50 %",
    ),
    section("rooms.*.tempering", Need::Optional, "Heater in the intake: fresh air is warmed before it enters."),
    row(
        "rooms.*.tempering.to",
        kind::quantity::<Temperature>(),
        Need::Required,
        "Temperature that fresh air is brought to.",
        "12 °C",
    ),
    row(
        "rooms.*.tempering.power",
        kind::quantity::<HeatFlow>(),
        Need::Computed("taken as enough"),
        "The most heat it can give.",
        "9 kW",
    ),
    section("rooms.*.pan", Need::Optional, "A pan, cloth or wet floor that gives off water by itself."),
    row("rooms.*.pan.area", kind::quantity::<Area>(), Need::Required, "Wet area.", "1.5 m²"),
    row(
        "rooms.*.pan.warmer",
        kind::quantity::<TemperatureDifference>(),
        Need::Default("0 K"),
        "How much warmer than the room's air its water is kept.",
        "4 K",
    ),
    row(
        "rooms.*.air-speed",
        kind::quantity::<Speed>(),
        Need::Optional,
        "Air speed at the crop, measured with the fan at its usual rate. Vapour-pressure deficit times air speed is what \
         the crop feels.",
        "0.1 m/s",
    ),
];
