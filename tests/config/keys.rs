//! Keys of shell, surfaces and equipment: what they mean, and their mistakes at their places.

use mistwright::{
    config::{self, Config},
    model::{Around, Place, Quantity, Room, SurfaceKind, WaterSupply, equipment::FanControl},
};

use super::{problems, with};

/// The smallest example with more keys in its room, each line indented by four.
fn room(keys: &str) -> String {
    let keys: String = keys.lines().map(|line| format!("    {line}\n")).collect();
    with("    volume: 62 m³\n", &format!("    volume: 62 m³\n{keys}"))
}

fn good(text: &str) -> Config {
    config::parse(text, "farm.yaml").unwrap_or_else(|problems| panic!("{problems}"))
}

/// The smallest example with other keys in its fan.
fn fan(keys: &str) -> String {
    let keys: String = keys.lines().map(|line| format!("      {line}\n")).collect();
    with("      capacity: 600 m³/h\n", &keys)
}

fn only(text: &str) -> Room {
    good(text).farm.rooms.remove(0)
}

/// Keys in the room, the key of the only problem, its place, and a part of what is said of it.
type Case = (&'static str, &'static str, (usize, usize), &'static str);

/// Every case has one mistake, and is told it at its place with a hint.
fn told(file: fn(&str) -> String, cases: &[Case]) {
    for (keys, key, place, said) in cases {
        let problems = problems(&file(keys));
        let [problem] = problems.list.as_slice() else { panic!("{keys}: {problems}") };
        let found = problem.location.map(|place| (place.line, place.column)).unwrap();
        assert_eq!((problem.key.as_str(), found), (*key, *place), "{keys}: {problems}");
        assert!(problem.to_string().contains(said) && problem.hint.is_some(), "{keys}: {problems}");
    }
}

#[test]
fn a_shells_heat_loss_is_written_whole_or_as_a_transmittance_and_an_area() {
    let loss = |keys: &str| good(&room(keys)).farm.rooms[0].shell.loss.map(|loss| loss.watts_per_kelvin());
    assert_eq!(loss("title: Hall"), None);
    assert_eq!(loss("shell: {}"), None);
    assert_eq!(loss("shell: {heat-loss: 180 W/K}"), Some(180.0));
    assert!((loss("shell: {heat-loss: 95 Btu/h·°F}").unwrap() - 50.115).abs() < 0.001);
    assert!((loss("shell: {u-value: 0.25 W/m²K, area: 96 m²}").unwrap() - 24.0).abs() < 1e-9);
    let shell = good(&room("shell: {fabric: 6 MJ/K}")).farm.rooms[0].shell.clone();
    assert!((shell.fabric.kilojoules_per_kelvin() - 6_000.0).abs() < 1e-9);
}

#[test]
fn around_a_room_lies_what_is_written_or_else_the_space_that_it_draws_from() {
    let around = |intake: &str, keys: &str| {
        let text = room(&format!("intake: {intake}\n{keys}"));
        let spaces = "spaces: {barn: {assumed: {temperature: 18 °C, relative-humidity: 35 %}}}\nrooms:\n";
        let config = good(&format!("{}  lung: {{volume: 30 m³}}\n", text.replacen("rooms:\n", spaces, 1)));
        config.farm.rooms.iter().find(|room| room.name.as_str() == "oyster-room").unwrap().shell.around
    };
    assert_eq!(around("outdoors", ""), Around::Outdoors);
    assert_eq!(around("barn", ""), Around::Space(0));
    assert_eq!(around("barn", "shell: {heat-loss: 9 W/K}"), Around::Space(0));
    assert_eq!(around("barn", "shell: {around: outdoors}"), Around::Outdoors);
    // The anteroom is placed before the room that draws from it, and behind one that does not.
    assert_eq!(around("lung", "shell: {around: lung}"), Around::Room(0));
    assert_eq!(around("outdoors", "shell: {around: lung}"), Around::Room(1));
    assert_eq!(around("outdoors", "shell: {around: barn}"), Around::Space(0));
}

#[test]
fn a_surface_is_known_by_a_probe_by_its_wall_or_by_its_temperature_factor() {
    let keys = "shell:\n  surfaces:\n    door: {temperature-factor: 0.81}\n    \
                panel: {title: North panel, wall: {area: 130 ft², u-value: 0.27 W/m²K}}\n    \
                corner: {probe: {topic: barn/corner, unit: °F, maximum-age: 20 min}}";
    let farm = good(&room(keys)).farm;
    let [door, panel, corner] = farm.rooms[0].shell.surfaces.as_slice() else { panic!("{:?}", farm.rooms[0].shell) };
    assert_eq!((door.name.as_str(), door.title.as_str()), ("door", "Door"));
    assert!(matches!(door.kind, SurfaceKind::Factor(factor) if (factor.ratio() - 0.81).abs() < 1e-9));
    let SurfaceKind::Wall { area, transmittance, convective } = panel.kind else { panic!("{panel:?}") };
    assert!((area.square_metres() - 12.077_395).abs() < 1e-6);
    assert!((transmittance.watts_per_square_metre_kelvin() - 0.27).abs() < 1e-9);
    assert!((convective.watts_per_square_metre_kelvin() - 3.0).abs() < 1e-9);
    assert_eq!((panel.title.as_str(), &corner.kind), ("North panel", &SurfaceKind::Probe));
    let probe: Vec<_> = farm.sources.iter().filter(|s| s.quantity == Quantity::SurfaceTemperature).collect();
    let [probe] = probe.as_slice() else { panic!("{probe:?}") };
    assert_eq!(probe.place, Place::Surface { room: 0, surface: 2 });
    assert_eq!((farm.title(probe.place), farm.place_name(probe.place)), ("Corner", "oyster-room"));
    assert_eq!(probe.sensor().words(), "surface temperature at the corner");
}

#[test]
fn mistakes_in_a_shell_are_told_at_their_places() {
    told(
        room,
        &[
            ("shell: {heat-loss: 180}", "rooms.oyster-room.shell.heat-loss", (19, 24), "has no unit"),
            ("shell: {heat-loss: 180 W}", "rooms.oyster-room.shell.heat-loss", (19, 24), "no unit of heat loss"),
            ("shell: {u-value: 0.3 W/m²K}", "rooms.oyster-room.shell.u-value", (19, 22), "of no use without `area`"),
            ("shell: {area: 90 m²}", "rooms.oyster-room.shell.area", (19, 19), "of no use without `u-value`"),
            (
                "shell: {heat-loss: 9 W/K, u-value: 0.3 W/m²K}",
                "rooms.oyster-room.shell.u-value",
                (19, 31),
                "`u-value` stands beside `heat-loss`",
            ),
            ("shell: {around: hall}", "rooms.oyster-room.shell.around", (19, 21), "no room or space `hall`"),
            ("shell: {around: oyster-room}", "rooms.oyster-room.shell.around", (19, 21), "does not stand in itself"),
            ("shell: {ua: 180 W/K}", "rooms.oyster-room.shell.ua", (19, 13), "it is called `heat-loss` here"),
            (
                "shell: {surfaces: {door: {}}}",
                "rooms.oyster-room.shell.surfaces.door",
                (19, 24),
                "how cold this surface",
            ),
            (
                "shell: {surfaces: {door: {temperature-factor: 94}}}",
                "rooms.oyster-room.shell.surfaces.door.temperature-factor",
                (19, 51),
                "not a number from 0 to 1",
            ),
            (
                "shell: {surfaces: {door: {temperature-factor: 0.9, wall: {area: 2 m², u-value: 2 W/m²K}}}}",
                "rooms.oyster-room.shell.surfaces.door.temperature-factor",
                (19, 31),
                "stands beside `wall`",
            ),
            (
                "shell: {surfaces: {door: {wall: {area: 0 m², u-value: 2 W/m²K}}}}",
                "rooms.oyster-room.shell.surfaces.door.wall.area",
                (19, 44),
                "not more than zero",
            ),
            (
                "shell: {surfaces: {door: {probe: {topic: barn/door, unit: \"%\"}}}}",
                "rooms.oyster-room.shell.surfaces.door.probe.unit",
                (19, 63),
                "°C, °F, K",
            ),
            (
                "shell: {surfaces: {Door: {temperature-factor: 0.9}}}",
                "rooms.oyster-room.shell.surfaces.Door",
                (19, 24),
                "contains `D`",
            ),
        ],
    );
}

#[test]
fn a_fan_follows_a_measured_curve_whose_end_is_its_capacity() {
    let curve = "curve:\n  - {command: 15 %, flow: 0.5 /h}\n  - {command: 40 %, flow: 210 m³/h}\n  - {command: 100 %, \
                 flow: 350 cfm}";
    let fan = only(&fan(curve)).fan;
    let FanControl::Curve(points) = &fan.control else { panic!("{fan:?}") };
    let read: Vec<_> = points.iter().map(|p| (p.command.ratio(), p.flow.cubic_metres_per_hour())).collect();
    // Half an air change of 62 m³; 350 cfm by the exact foot.
    assert_eq!((read.len(), read[0], read[1]), (3, (0.15, 31.0), (0.4, 210.0)));
    assert!((read[2].1 - 594.653_778).abs() < 1e-5 && read[2].0 >= 1.0);
    assert_eq!(fan.capacity, points[2].flow);
}

#[test]
fn a_fan_may_have_a_timer_leave_heat_and_give_some_back() {
    let plain = only(&fan("capacity: 600 m³/h")).fan;
    assert_eq!((plain.control, plain.heat.watts(), plain.recovery), (FanControl::Proportional, 0.0, None));
    let keys = "capacity: 600 m³/h\ntimer: {period: 20 min}\nheat: 90 W\nrecovery: {heat: 65 %}";
    let fan = only(&fan(keys)).fan;
    assert_eq!(fan.control, FanControl::Timer { period: std::time::Duration::from_secs(1_200) });
    let recovery = fan.recovery.unwrap();
    assert_eq!((fan.heat.watts(), recovery.heat.ratio(), recovery.moisture.ratio()), (90.0, 0.65, 0.0));
}

#[test]
fn a_humidifier_may_have_times_of_its_own_a_sentence_about_mist_and_an_unknown_tank() {
    let keys = "minimum-on: 30 s\nminimum-off: 2 min\nmist: {stands-at: 92 %, outdoors: 50 °F}";
    let keys: String = keys.lines().map(|line| format!("      {line}\n")).collect();
    let text = with("      water: 120 L\n", &format!("      water: unknown\n{keys}"));
    let humidifier = only(&text).humidifier.unwrap();
    assert_eq!((humidifier.water, humidifier.tank()), (WaterSupply::Unknown, None));
    assert_eq!((humidifier.minimum_on.as_secs(), humidifier.minimum_off.as_secs()), (30, 120));
    let mist = humidifier.mist.unwrap();
    assert!((mist.at.percent() - 92.0).abs() < 1e-9 && (mist.outdoors.celsius() - 10.0).abs() < 1e-9);
    let plain = only(&with("rooms:", "rooms:")).humidifier.unwrap();
    assert_eq!((plain.minimum_on.as_secs(), plain.mist, plain.evaporated_known), (0, None, false));
}

#[test]
fn a_room_may_be_heated_cooled_tempered_wetted_by_a_pan_and_have_a_measured_air_speed() {
    let bare = only(&with("rooms:", "rooms:"));
    assert!(bare.heater.is_none() && bare.cooler.is_none() && bare.tempering.is_none() && bare.pan.is_none());
    let keys = "heater: {power: 4 100 Btu/h}\ncooler: {power: 1.2 kW, setting: 19 °C, latent: 30 %}\n\
                tempering: {to: 12 °C}\npan: {area: 12 ft², warmer: 9 °F}\nair-speed: 20 fpm";
    let full = only(&room(keys));
    let (heater, cooler) = (full.heater.unwrap(), full.cooler.unwrap());
    assert!((heater.power.watts() - 1_201.591).abs() < 0.001 && heater.setting.is_none());
    assert!(cooler.setting.is_some_and(|setting| (setting.celsius() - 19.0).abs() < 1e-9));
    assert_eq!((heater.latent.ratio(), cooler.latent.ratio(), cooler.power.watts()), (0.0, 0.3, 1_200.0));
    let tempering = full.tempering.unwrap();
    assert!((tempering.to.celsius() - 12.0).abs() < 1e-9 && tempering.power.is_none());
    let pan = full.pan.unwrap();
    assert!((pan.area.square_metres() - 1.114_836).abs() < 1e-5 && (pan.warmer.kelvins() - 5.0).abs() < 1e-9);
    assert!((full.air_speed.unwrap().metres_per_second() - 0.101_6).abs() < 1e-9);
}

#[test]
fn mistakes_in_a_fans_flows_and_curve_are_told_at_their_places() {
    let at = "rooms.oyster-room.fan";
    let point = |number: usize, name: &str| -> &'static str { format!("{at}.curve.{number}.{name}").leak() };
    told(
        fan,
        &[
            ("moves: exhaust", at, (23, 5), "`capacity` is missing"),
            (
                "capacity: 600 m³/h\ncurve: [{command: 20 %, flow: 60 m³/h}, {command: 100 %, flow: 600 m³/h}]",
                "rooms.oyster-room.fan.capacity",
                (24, 7),
                "stands beside `curve`",
            ),
            (
                "curve: [{command: 20 %, flow: 60 m³/h}, {command: 100 %, flow: 600 m³/h}]\ntimer: {period: 9 min}",
                "rooms.oyster-room.fan.timer",
                (25, 7),
                "stands beside `curve`",
            ),
            (
                "curve: [{command: 100 %, flow: 600 m³/h}]",
                "rooms.oyster-room.fan.curve",
                (24, 14),
                "at least two points",
            ),
            (
                "curve: [{command: 20 %, flow: 60 m³/h}, {command: 90 %, flow: 600 m³/h}]",
                point(2, "command"),
                (24, 57),
                "ends at `90 %`",
            ),
            (
                "curve:\n- {command: 20 %, flow: 60 m³/h}\n- {command: 50 %, flow: 40 m³/h}\n- {command: 100 %, \
             flow: 600 m³/h}",
                point(2, "flow"),
                (26, 31),
                "`40 m³/h` is not more than `60 m³/h`",
            ),
            (
                "curve:\n- {command: 20 %, flow: 60 m³/h}\n- {command: 20 %, flow: 70 m³/h}\n- {command: 100 %, \
             flow: 600 m³/h}",
                point(2, "command"),
                (26, 19),
                "`20 %` is not more than `20 %`",
            ),
            (
                "curve: [{command: 20 %, flow: 60 m³/h}, {command: 1, flow: 600 m³/h}]",
                point(2, "command"),
                (24, 57),
                "has no unit",
            ),
            (
                "curve: [{command: 20 %, flow: 60 m³/h}, {command: 100 %}]",
                "rooms.oyster-room.fan.curve.2",
                (24, 47),
                "`flow` is missing",
            ),
            (
                "curve: [{command: 20 %, flow: 60 m³/h}, 600 m³/h]",
                "rooms.oyster-room.fan.curve.2",
                (24, 47),
                "text stands here, but a section",
            ),
            (
                "curve: {20 %: 60 m³/h, 100 %: 600 m³/h}",
                "rooms.oyster-room.fan.curve",
                (24, 14),
                "but a list is wanted",
            ),
        ],
    );
}

#[test]
fn mistakes_in_what_a_fan_may_have_beside_its_flows_are_told_at_their_places() {
    told(
        fan,
        &[
            (
                "capacity: 600 m³/h\ntimer: {period: 0 min}",
                "rooms.oyster-room.fan.timer.period",
                (25, 23),
                "not more than",
            ),
            ("capacity: 600 m³/h\ntimer: {}", "rooms.oyster-room.fan.timer", (25, 7), "`period` is missing"),
            ("capacity: 600 m³/h\nheat: -5 W", "rooms.oyster-room.fan.heat", (25, 13), "less than zero"),
            ("capacity: 0 m³/h", "rooms.oyster-room.fan.capacity", (24, 17), "not more than zero"),
            (
                "capacity: 600 m³/h\nrecovery: {heat: 0.65}",
                "rooms.oyster-room.fan.recovery.heat",
                (25, 24),
                "has no unit",
            ),
            (
                "capacity: 600 m³/h\nrecovery: {moisture: 5 %}",
                "rooms.oyster-room.fan.recovery",
                (25, 7),
                "`heat` is missing",
            ),
        ],
    );
}

#[test]
fn mistakes_in_heating_cooling_and_wetting_are_told_at_their_places() {
    told(
        room,
        &[
            ("heater: {power: 0 W}", "rooms.oyster-room.heater.power", (19, 21), "not more than zero"),
            ("heater: {power: 4 100 BTU}", "rooms.oyster-room.heater.power", (19, 21), "no unit of heat flow"),
            (
                "heater: {setpoint: 16 °C, power: 3 kW}",
                "rooms.oyster-room.heater.setpoint",
                (19, 14),
                "called `setting`",
            ),
            (
                "heater: {power: 3 kW, setting: 20 °C}\ncooler: {power: 3 kW, setting: 18 °C}",
                "rooms.oyster-room.heater.setting",
                (19, 36),
                "what the heater holds (20.0 °C) is more than what the cooler holds (18.0 °C)",
            ),
            ("cooler: {power: 3 kW, latent: 1.5 ratio}", "rooms.oyster-room.cooler.latent", (19, 35), "out of range"),
            ("tempering: {power: 3 kW}", "rooms.oyster-room.tempering", (19, 5), "`to` is missing"),
            ("pan: {area: 12}", "rooms.oyster-room.pan.area", (19, 17), "has no unit"),
            ("pan: {area: 1 m², warmer: -2 K}", "rooms.oyster-room.pan.warmer", (19, 31), "less than zero"),
            ("air-speed: 0.1", "rooms.oyster-room.air-speed", (19, 16), "has no unit"),
            ("air-speed: 0 m/s", "rooms.oyster-room.air-speed", (19, 16), "not more than zero"),
        ],
    );
}
