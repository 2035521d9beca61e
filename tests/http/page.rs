//! The page of a snapshot: what it says, what it must never say, and how large it gets.

use std::time::Duration;

use mistwright::{
    advice::AlertKind,
    engine::{Event, Snapshot},
    model::{Identifier, Place, Quantity, Room, equipment::WaterSupply},
    units::{UnitSystem, WaterFlow},
    view::page::{self, View},
};

use crate::engine::harness::{self, Bench};

fn named(name: &str, title: &str) -> Room {
    let mut room = harness::room();
    room.name = Identifier::new(name).unwrap();
    room.title = title.to_owned();
    room.humidifier.as_mut().unwrap().water = WaterSupply::Mains;
    room
}

/// Rooms in a mild night whose sensors have all spoken.
pub fn spoken(rooms: Vec<Room>) -> Bench {
    let count = rooms.len();
    let mut bench = Bench::new(harness::farm(rooms));
    bench.event(Event::Connected);
    bench.forecast(&[-8.0; 60], 80.0);
    bench.air(Place::Outdoors, -6.0, 80.0);
    for room in 0..count {
        bench.air(Place::Room(room), 16.0, 90.0);
        bench.say(Place::Room(room), Quantity::CarbonDioxide, 700.0);
    }
    bench
}

fn farm_page(snapshot: &Snapshot) -> String {
    page::page(snapshot, View::default())
}

fn room_page(snapshot: &Snapshot, room: usize) -> String {
    page::page(snapshot, View { room: Some(room), units: None })
}

/// The text of a page as it is read, without tags.
fn text(page: &str) -> String {
    let mut text = String::new();
    for piece in page.split('<') {
        text.push_str(piece.split_once('>').map_or(piece, |(_, rest)| rest));
    }
    text
}

/// What stands between two marks.
fn between<'a>(page: &'a str, start: &str, end: &str) -> &'a str {
    let rest = page.split_once(start).unwrap_or_else(|| panic!("no `{start}` in {page}")).1;
    rest.split_once(end).unwrap().0
}

#[test]
fn every_room_has_its_sentence_and_the_worst_room_stands_first() {
    let mut bench = spoken(vec![named("a", "Aldernook"), named("b", "Birchnook"), named("c", "Cedarnook")]);
    bench.say(Place::Room(1), Quantity::CarbonDioxide, 16_000.0);
    let page = farm_page(&bench.snapshot());
    let night = between(&page, "<ol class=\"night\">", "</ol>");
    let at = |title: &str| night.find(title).unwrap_or_else(|| panic!("no {title} in {night}"));
    assert!(at("Birchnook") < at("Aldernook") && at("Aldernook") < at("Cedarnook"), "{night}");
    assert!(text(night).contains("Danger Carbon dioxide is at 16000 ppm"), "{night}");
    assert!(page.contains("<title>1 room to look at, Frosthollow</title>"), "{page}");
    let chart = between(&page, "<section class=\"air\"", "</section>");
    assert!(chart.contains("Birchnook"), "the chart is not of the worst room");
}

#[test]
fn a_night_that_the_humidifier_cannot_hold_is_told_drawn_and_answered() {
    let mut weak = named("weak", "Weaknook");
    weak.humidifier.as_mut().unwrap().output = WaterFlow::from_kilograms_per_hour(1.0).unwrap();
    let mut bench = spoken(vec![named("a", "Aldernook"), weak]);
    bench.pass(Duration::from_secs(120));
    let page = farm_page(&bench.snapshot());
    let night = text(between(&page, "<ol class=\"night\">", "</ol>"));
    assert!(night.starts_with("WeaknookTo do The humidifier cannot keep up from "), "{night}");
    assert!(night.contains("AldernookAll well Humidity stays at "), "{night}");
    let ahead = between(&page, "<section class=\"ahead\"", "</section>");
    assert!(ahead.contains("humidifier short ") && ahead.contains("<rect class=\"worst\""), "{ahead}");
    assert_eq!(ahead.matches("<tbody>").count(), 1);
    assert_eq!(between(ahead, "<tbody>", "</tbody>").matches("<tr>").count(), 48);
    assert!(text(ahead).contains("The fan does not report back"), "the caveats are not told: {ahead}");
    let levers = text(between(&page, "<section class=\"levers\"", "</section>"));
    assert!(levers.contains("What would help: Weaknook"), "{levers}");
    let first = bench.snapshot().rooms[1].levers[0].sentence(&bench.snapshot().voice(), bench.now.wall);
    assert!(levers.contains(&first), "{levers}");
}

#[test]
fn without_an_outlook_its_place_says_why() {
    let mut bench = Bench::with_service(harness::farm(vec![named("a", "Aldernook")]), None);
    bench.pass(Duration::from_secs(60));
    let why = bench.snapshot().rooms[0].no_outlook.expect("nothing is known of the room").sentence();
    let page = farm_page(&bench.snapshot());
    assert!(text(between(&page, "<section class=\"ahead\"", "</section>")).contains(why), "{page}");
    assert!(!page.contains("data-strip"), "{page}");
}

#[test]
fn a_room_page_speaks_of_its_room_alone() {
    let snapshot = spoken(vec![named("a", "Aldernook"), named("b", "Birchnook")]).snapshot();
    let page = room_page(&snapshot, 1);
    assert!(page.contains("<h1>Birchnook</h1>") && !page.contains("Aldernook"), "{page}");
    assert_eq!(room_page(&snapshot, 7), farm_page(&snapshot), "a room that is not there");
}

#[test]
fn names_that_are_markup_are_only_read() {
    let hostile = "<script>alert(1)</script>\"'&";
    let mut farm = harness::farm(vec![named("a", hostile)]);
    farm.site.title = hostile.to_owned();
    let mut bench = Bench::new(farm);
    bench.air(Place::Room(0), 16.0, 90.0);
    for page in [farm_page(&bench.snapshot()), room_page(&bench.snapshot(), 0)] {
        assert!(!page.contains("<script>") && !page.contains("alert(1)</script>"), "{page}");
        assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;&quot;"), "{page}");
        assert_eq!(page.matches("<script").count(), 1, "only the page's own script");
    }
}

#[test]
fn nothing_is_loaded_from_elsewhere_and_nothing_stands_in_the_page_that_its_policy_forbids() {
    let page = farm_page(&spoken(vec![named("a", "Aldernook")]).snapshot());
    assert!(!page.contains("://"), "an address elsewhere");
    for forbidden in [" style=", "<style", "<form", "<input", "<iframe", "<img", " on", "javascript:"] {
        let tags: Vec<&str> = page.split('<').filter_map(|piece| piece.split_once('>').map(|(tag, _)| tag)).collect();
        let found = tags.iter().find(|tag| format!("<{tag}").contains(forbidden));
        assert!(found.is_none(), "`{forbidden}` in {found:?}");
    }
    assert!(page.contains("<script src=\"/page.js\" defer></script>"), "{page}");
    assert!(!page::STYLE.contains("url(h") && !page::STYLE.contains("@import"), "the style loads something");
}

#[test]
fn before_anything_is_heard_the_page_says_so_and_invents_nothing() {
    let mut bench = Bench::new(harness::farm(vec![named("a", "Aldernook")]));
    bench.event(Event::Disconnected);
    let page = farm_page(&bench.snapshot());
    let said = text(&page);
    for words in [
        "Not known There is no advice, because the room's temperature is not known",
        "temperature: no data yet, humidity: no data yet, carbon dioxide: no data yet.",
        "Advice is withheld. Use the fallbacks: fresh air of 240 m³/h, humidifier off.",
        "No data yet from MET Norway.",
        "Not connected.",
        "Not known: neither a sensor nor a forecast speaks.",
        "The outdoor air is not known, so it is not drawn.",
        "; Aldernook: humidifier cannot keep up, tank runs out",
    ] {
        assert!(said.contains(words), "`{words}` is missing in {said}");
    }
    assert!(!page.contains("data-point="), "a point is drawn of air that nobody knows");
    assert!(page.contains("data-band="), "the band is known from the start");
    assert!(!said.contains("NaN") && !said.contains("inf"), "{said}");
}

#[test]
fn a_stale_value_is_said_to_be_stale_and_its_point_is_gone() {
    let mut bench = spoken(vec![named("a", "Aldernook")]);
    bench.pass(Duration::from_secs(200));
    bench.say(Place::Room(0), Quantity::Temperature, 15.5);
    bench.pass(Duration::from_secs(150));
    let page = farm_page(&bench.snapshot());
    let said = text(&page);
    assert!(said.contains("15.5 °C temperature, humidity stale (last 90.0 %)"), "{said}");
    assert!(said.contains("relative humiditylast 90.0 %5 minstale"), "{said}");
    assert!(said.contains("Look in Nothing is heard of relative humidity"), "{said}");
    assert!(said.contains("Careful settings, because something is missing:"), "{said}");
    assert!(!page.contains("data-point=\"room\""), "the room's air is not known");
    assert!(said.contains("The room's own air is not drawn"), "{said}");
}

#[test]
fn a_quantity_without_a_sensor_is_not_waited_for() {
    let mut farm = harness::farm(vec![named("a", "Aldernook")]);
    farm.sources.retain(|source| source.quantity != Quantity::CarbonDioxide);
    let mut bench = Bench::new(farm);
    bench.air(Place::Room(0), 16.0, 90.0);
    let said = text(&farm_page(&bench.snapshot()));
    assert!(said.contains("16.0 °C temperature, 90.0 % humidity."), "{said}");
}

#[test]
fn a_date_that_cannot_be_believed_is_not_shown() {
    let mut bench = spoken(vec![named("a", "Aldernook")]);
    bench.now.trusted = false;
    bench.event(Event::ClockStepped);
    let said = text(&farm_page(&bench.snapshot()));
    assert!(said.contains("The date of the daemon's machine is wrong"), "{said}");
    assert!(said.contains("Not known There is no advice, because the date of this machine is wrong"), "{said}");
    assert!(!said.contains("2027") && !said.contains("Friday") && !said.contains("Valid until"), "{said}");
}

#[test]
fn an_old_forecast_is_an_alert_with_what_to_do() {
    let mut bench = spoken(vec![named("a", "Aldernook")]);
    bench.pass(Duration::from_secs(9 * 3_600));
    assert_eq!(bench.site_alert(AlertKind::ForecastOld), "warning");
    let said = text(&farm_page(&bench.snapshot()));
    assert!(said.contains("Farm: Forecast missing or old warning"), "{said}");
    assert!(said.contains("Look at the network, and at a forecast elsewhere."), "{said}");
    assert!(said.contains("MET Norway, fetched 9 h ago"), "{said}");
    assert!(said.contains("Data from MET Norway"), "{said}");
}

#[test]
fn a_farm_without_rooms_is_told_how_to_begin() {
    let bench = Bench::new(harness::farm(Vec::new()));
    let said = text(&farm_page(&bench.snapshot()));
    assert!(said.contains("No room is configured yet."), "{said}");
    assert!(said.contains("This is advice. It is not a safety device"), "{said}");
}

#[test]
fn the_units_of_the_view_are_those_of_every_number_and_only_of_the_view() {
    let snapshot = spoken(vec![named("a", "Aldernook")]).snapshot();
    let metric = text(&farm_page(&snapshot));
    let us = page::page(&snapshot, View { room: None, units: Some(UnitSystem::Us) });
    for unit in ["°C", "g/kg", "m³/h", "hPa", "kg/h"] {
        assert!(metric.contains(unit), "{unit}");
        assert!(!text(&us).contains(unit), "{unit} in {us}");
    }
    for unit in ["°F", "gr/lb", "cfm", "inHg", "lb/h"] {
        assert!(!metric.contains(unit) && text(&us).contains(unit), "{unit}");
    }
    assert!(us.contains("href=\"/rooms/a?units=us\""), "the switch is lost on the way to a room");
    assert!(us.contains("href=\"?units=metric\""), "{us}");
    // Asking for the farm's own units asks for nothing.
    assert_eq!(page::page(&snapshot, View { room: None, units: Some(UnitSystem::Metric) }), farm_page(&snapshot));
}

#[test]
fn twenty_rooms_take_at_most_a_hundred_kilobytes() {
    let rooms = (0..20).map(|index| named(&format!("fruiting-room-{index}"), &format!("Fruiting room {index}")));
    let mut bench = spoken(rooms.collect());
    let calm = farm_page(&bench.snapshot()).len();
    for room in 0..20 {
        bench.say(Place::Room(room), Quantity::CarbonDioxide, 16_000.0);
    }
    let alarmed = farm_page(&bench.snapshot()).len();
    bench.pass(Duration::from_secs(700));
    let silent = farm_page(&bench.snapshot()).len();
    println!("the page of twenty rooms takes {calm} bytes, {alarmed} in alarm, {silent} when every sensor is silent");
    assert!(alarmed > calm && calm > 20_000, "{calm} {alarmed}");
    assert!(calm.max(alarmed).max(silent) <= 100_000, "{calm} {alarmed} {silent}");
    assert!(page::STYLE.len() + page::SCRIPT.len() <= 16_000);
}

#[test]
fn every_page_ends_with_the_cautions() {
    let snapshot = spoken(vec![named("a", "Aldernook")]).snapshot();
    for page in [farm_page(&snapshot), room_page(&snapshot, 0)] {
        let footer = text(between(&page, "<footer>", "</footer>"));
        for words in ["not a safety device", "respirator", "Legionella", "heater without a flue", "forecasts err"] {
            assert!(footer.contains(words), "{words}");
        }
    }
}
