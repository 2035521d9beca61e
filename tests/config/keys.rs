//! Keys of shell, surfaces and equipment: what they mean, and their mistakes at their places.

use mistwright::{
    config::{self, Config},
    model::{Around, Place, Quantity, SurfaceKind},
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

/// Keys in the room, the key of the only problem, its place, and a part of what is said of it.
type Case = (&'static str, &'static str, (usize, usize), &'static str);

/// Every case has one mistake, and is told it at its place with a hint.
fn told(cases: &[Case]) {
    for (keys, key, place, said) in cases {
        let problems = problems(&room(keys));
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
    told(&[
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
        ("shell: {surfaces: {door: {}}}", "rooms.oyster-room.shell.surfaces.door", (19, 24), "how cold this surface"),
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
    ]);
}
