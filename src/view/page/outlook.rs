//! The next 48 hours of one room as small charts under each other, over one axis of time.
//!
//! Each strip has one quantity, one unit and its own scale, so that no line has to be told from another by its colour.
//! The three runs are drawn as what they are: the expected one as a line, the space between the others as a wash.

use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use maud::{Markup, html};

use super::{
    plot::{Axis, number, path, plain, short},
    sun,
};
use crate::{
    advice::Voice,
    model::{
        Room,
        outlook::{Hour, Outlook, Run},
    },
    units::{AirFlow, Temperature, WaterFlow, WaterVolume, people::Shown},
};

const WIDTH: f64 = 400.0;
const LEFT: f64 = 4.0;
const RIGHT: f64 = 346.0;
/// Height of a strip's drawing, and of the line of its title above it.
const STRIP: f64 = 42.0;
const TITLE: f64 = 21.0;
/// Above the first strip: the name of the worst window.
const HEAD: f64 = 20.0;
/// Below the last strip: hours and days.
const FOOT: f64 = 42.0;

/// What an outlook is drawn with.
pub(super) struct Frame<'a> {
    pub outlook: &'a Outlook,
    pub room: &'a Room,
    /// Degrees north and east, for the nights.
    pub place: (f64, f64),
    pub voice: &'a Voice,
    pub now: Timestamp,
}

/// A stretch of time that is marked through all strips.
struct Window {
    from: Timestamp,
    to: Timestamp,
    label: String,
}

/// One quantity over time.
struct Strip {
    name: &'static str,
    title: String,
    /// Lowest and highest value of its scale.
    scale: (f64, f64),
    /// Values that are acceptable, where there are such.
    band: Option<(f64, f64)>,
    /// Lowest and highest of the three runs.
    spread: Vec<(f64, f64, f64)>,
    line: Vec<(f64, f64)>,
    /// Drawn as a step for each hour, not from middle to middle.
    steps: bool,
}

/// The chart, its caption, and the same hour by hour as a table.
pub(super) fn chart(frame: &Frame<'_>) -> Markup {
    let hours = &frame.outlook.expected.hours;
    let (Some(first), Some(last)) = (hours.first(), hours.last()) else {
        return html! { p { "The outlook holds no hour: it takes a forecast, and the room's temperature." } };
    };
    let end = last.start + SignedDuration::from_hours(1);
    let strips = strips(frame);
    let height = HEAD + FOOT + (STRIP + TITLE) * strips.len() as f64;
    let x = Axis { from: 0.0, to: hours_between(first.start, end), start: LEFT, end: RIGHT };
    let at = |moment: Timestamp| x.at(hours_between(first.start, moment)).clamp(LEFT, RIGHT);
    let window = window(frame);
    let bottom = height - FOOT;
    html! {
        figure.chart.outlook {
            svg viewBox=(format!("0 0 {WIDTH} {height}")) role="img" aria-labelledby="outlook-title outlook-text" {
                title id="outlook-title" { "The next " (hours.len()) " hours of " (frame.room.title) }
                desc id="outlook-text" {
                    @for strip in &strips { (strip.title) ": " (summary(strip)) ". " }
                    @if let Some(window) = &window { (window.label) "." }
                }
                @for (from, to) in sun::nights(first.start, end, frame.place.0, frame.place.1) {
                    rect.dark x=(short(at(from))) y=(HEAD) width=(short(at(to) - at(from))) height=(bottom - HEAD) {}
                }
                @for (index, strip) in strips.iter().enumerate() {
                    (draw(strip, &x, HEAD + (STRIP + TITLE) * index as f64))
                }
                @if let Some(window) = &window { (mark(window, (at(window.from), at(window.to)), bottom)) }
                @if frame.now >= first.start && frame.now <= end {
                    path.now d={ "M" (short(at(frame.now))) " " (HEAD) "V" (bottom) } {}
                    text.now x=(short(at(frame.now) + 3.0)) y=(bottom - 3.0) { "now" }
                }
                (time(&frame.voice.time_zone, (first.start, end), &at, bottom))
            }
            figcaption {
                "The line is what is expected; the wash around it is what a colder or milder night would bring. Dark "
                "columns are the night"
                @if window.is_some() { ", the frame is the worst window" }
                "."
            }
        }
        (table(frame))
    }
}

fn hours_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64() / 3_600.0
}

/// The quantities, from the weather through the room to what it costs.
fn strips(frame: &Frame<'_>) -> Vec<Strip> {
    let (outlook, units) = (frame.outlook, frame.voice.units);
    let of = |name, title, value: &dyn Fn(&Hour) -> Option<Shown>| Strip::of(outlook, name, title, value);
    let band = &frame.room.bands.relative_humidity;
    let mut strips = vec![
        of("outdoor-temperature", "outdoor temperature", &|hour| Some(units.temperature(hour.outdoor_temperature))),
        of("outdoor-moisture", "outdoor moisture", &|hour| Some(units.humidity_ratio(hour.outdoor_humidity_ratio)))
            .reaching(0.0),
        of("humidity", "room humidity and its band", &|hour| Some(units.relative_humidity(hour.relative_humidity)))
            .with_band((band.lowest.percent(), band.highest.percent())),
    ];
    if frame.room.humidifier.is_some() {
        let duty = of("duty", "humidifier duty", &|hour| Some(units.percent(hour.humidifier_duty)));
        strips.push(duty.reaching(0.0).reaching(100.0).in_steps());
        let drawn = |hour: &Hour| units.liquid_flow(WaterFlow::clamped(hour.water.litres()));
        strips.push(of("water", "water drawn", &|hour| Some(drawn(hour))).reaching(0.0).in_steps());
        let left = of("tank", "left in the tank", &|hour| hour.tank.map(|tank| units.water_volume(tank)));
        strips.push(left.reaching(0.0));
    }
    let air = of("fresh-air", "fresh air advised", &|hour| Some(units.air_flow(hour.fresh_air)));
    strips.push(air.reaching(0.0).in_steps());
    // A quantity that no hour knows has no strip.
    strips.retain(|strip| !strip.line.is_empty());
    strips
}

impl Strip {
    fn of(outlook: &Outlook, name: &'static str, title: &str, value: &dyn Fn(&Hour) -> Option<Shown>) -> Self {
        let values = |run: &Run| run.hours.iter().map(|hour| value(hour).map(|shown| shown.value)).collect::<Vec<_>>();
        let runs = [&outlook.expected, &outlook.colder, &outlook.milder].map(values);
        let mut strip = Self {
            name,
            title: title.to_owned(),
            scale: (f64::INFINITY, f64::NEG_INFINITY),
            band: None,
            spread: Vec::new(),
            line: Vec::new(),
            steps: false,
        };
        for (index, expected) in runs[0].iter().enumerate() {
            let Some(expected) = expected else { continue };
            let at = index as f64;
            let others = runs.iter().filter_map(|run| run.get(index).copied().flatten());
            let (low, high) =
                others.fold((*expected, *expected), |(low, high), value| (low.min(value), high.max(value)));
            strip.line.push((at, *expected));
            strip.spread.push((at, low, high));
            strip = strip.reaching(low).reaching(high);
        }
        if let Some(shown) = outlook.expected.hours.iter().find_map(value) {
            strip.title = format!("{title}, {}", shown.unit);
        }
        strip
    }

    /// Widens the scale to a value.
    fn reaching(mut self, value: f64) -> Self {
        self.scale = (self.scale.0.min(value), self.scale.1.max(value));
        self
    }

    fn with_band(mut self, band: (f64, f64)) -> Self {
        self.band = Some(band);
        self.reaching(band.0 - 3.0).reaching(band.1 + 3.0)
    }

    /// For what is set hour by hour.
    fn in_steps(mut self) -> Self {
        self.steps = true;
        self
    }

    /// The points of the expected run, from hour to hour.
    fn points(&self, x: &Axis, y: &Axis) -> Vec<(f64, f64)> {
        let ends = |(at, value): &(f64, f64)| {
            let y = y.at(*value);
            if self.steps { vec![(x.at(*at), y), (x.at(at + 1.0), y)] } else { vec![(x.at(at + 0.5), y)] }
        };
        self.line.iter().flat_map(ends).collect()
    }
}

/// Lowest and highest of the expected run, for those who do not see the drawing.
fn summary(strip: &Strip) -> String {
    let values = strip.line.iter().map(|(_, value)| *value);
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    format!("{} to {}", number(round(low)), number(round(high)))
}

fn round(value: f64) -> f64 {
    let step = if value.abs() < 10.0 { 0.1 } else { 1.0 };
    (value / step).round() * step
}

/// A strip below `top`, with its title over it.
fn draw(strip: &Strip, x: &Axis, top: f64) -> Markup {
    let (start, end) = (top + TITLE + STRIP, top + TITLE);
    let (low, high) = strip.scale;
    let margin = if high > low { 0.0 } else { 1.0 };
    let y = Axis { from: low - margin, to: high + margin, start, end };
    let spread = |edge: fn(&(f64, f64, f64)) -> (f64, f64)| {
        strip.spread.iter().map(move |point| {
            let (at, value) = edge(point);
            (x.at(at + 0.5), y.at(value))
        })
    };
    let upper = spread(|(at, _, high)| (*at, *high));
    let lower: Vec<_> = spread(|(at, low, _)| (*at, *low)).collect();
    html! {
        g data-strip=(strip.name) {
            @if let Some((lowest, highest)) = strip.band {
                rect.band x=(LEFT) y=(short(y.at(highest))) width=(RIGHT - LEFT)
                    height=(short(y.at(lowest) - y.at(highest))) {}
            }
            @if !strip.steps { path.spread d={ (path(upper.chain(lower.into_iter().rev()))) "Z" } {} }
            path.axis d={ "M" (LEFT) " " (start) "H" (RIGHT) } {}
            @for tick in ticks(&y) {
                path.grid d={ "M" (LEFT) " " (short(y.at(tick))) "H" (RIGHT + 3.0) } {}
                text.tick.upright x=(RIGHT + 5.0) y=(short(y.at(tick))) { (number(tick)) }
            }
            path.expected d=(path(strip.points(x, &y))) {}
            text.strip x=(LEFT + 1.0) y=(top + TITLE - 6.0) { (strip.title) }
        }
    }
}

/// At most three ticks, so that their numbers do not touch on the narrowest screen.
fn ticks(y: &Axis) -> Vec<f64> {
    let ticks = y.ticks(3);
    if ticks.len() > 3 { y.ticks(2) } else { ticks }
}

/// The worst that the expected run holds: water first, then heat, then humidity below the band.
fn window(frame: &Frame<'_>) -> Option<Window> {
    let findings = &frame.outlook.expected.findings;
    let time = |at| frame.voice.time(at, frame.now);
    let end = frame.outlook.expected.hours.last()?.start + SignedDuration::from_hours(1);
    let stretch = |what: &str, from, to: Option<Timestamp>| Window {
        from,
        to: to.unwrap_or(end),
        label: match to {
            Some(to) => format!("{what} {}–{}", time(from), time(to)),
            None => format!("{what} from {} on", time(from)),
        },
    };
    let water = findings.shortfall.map(|short| stretch("humidifier short", short.from, short.to));
    let empty = || findings.tank_empty.map(|at| stretch("tank empty", at, None));
    let heat = || findings.heat_short.map(|short| stretch("heater short", short.from, short.to));
    water.or_else(empty).or_else(heat)
}

fn mark(window: &Window, (from, to): (f64, f64), bottom: f64) -> Markup {
    let middle = 0.5 * (from + to);
    // The name keeps inside the drawing.
    let (anchor, at) = match middle {
        left if left < 0.35 * WIDTH => ("start", from),
        right if right > 0.65 * WIDTH => ("end", to),
        _ => ("middle", middle),
    };
    html! {
        rect.worst x=(short(from)) y=(HEAD - 3.0) width=(short((to - from).max(2.0))) height=(bottom - HEAD + 3.0) {}
        text.worst text-anchor=(anchor) x=(short(at)) y=(HEAD - 7.0) { (window.label) }
    }
}

/// Hours and days below the strips, in the farm's time.
fn time(zone: &TimeZone, (from, to): (Timestamp, Timestamp), at: &dyn Fn(Timestamp) -> f64, top: f64) -> Markup {
    let marks: Vec<_> = (0..=48)
        .filter_map(|hour| {
            // Whole local hours, also where the zone is half an hour off.
            let local = (from + SignedDuration::from_hours(hour)).to_zoned_datetime(zone.clone());
            let whole =
                local.checked_sub(SignedDuration::new(i64::from(local.minute()) * 60 + i64::from(local.second()), 0));
            whole.ok().filter(|whole| whole.hour() % 6 == 0)
        })
        .filter(|whole| whole.timestamp() >= from && whole.timestamp() <= to)
        .collect();
    html! {
        @for whole in &marks {
            @let x = at(whole.timestamp());
            path.axis d={ "M" (short(x)) " " (top) "v" (if whole.hour() == 0 { 9 } else { 4 }) } {}
            @if x > LEFT + 8.0 && x < RIGHT + 20.0 {
                text.tick text-anchor="middle" x=(short(x)) y=(top + 19.0) { (whole.strftime("%H")) }
                @if whole.hour() == 12 || whole.hour() == 0 && marks.len() < 4 {
                    text.unit text-anchor="middle" x=(short(x)) y=(top + 37.0) { (whole.strftime("%A")) }
                }
            }
        }
    }
}

/// The same hour by hour, for those who want numbers.
fn table(frame: &Frame<'_>) -> Markup {
    let units = frame.voice.units;
    let zone = &frame.voice.time_zone;
    let humidifier = frame.room.humidifier.is_some();
    html! {
        details {
            summary { "Hour by hour" }
            table.hours {
                thead {
                    tr {
                        th scope="col" { "From" }
                        th scope="col" { "Outdoors " (units.temperature(Temperature::clamped(0.0)).unit) }
                        th scope="col" { "Room %" }
                        @if humidifier {
                            th scope="col" { "Duty %" }
                            th scope="col" { "Water " (units.water_volume(WaterVolume::clamped(0.0)).unit) }
                        }
                        th scope="col" { "Air " (units.air_flow(AirFlow::clamped(0.0)).unit) }
                    }
                }
                tbody {
                    @for hour in &frame.outlook.expected.hours {
                        tr {
                            th scope="row" { (hour.start.to_zoned_datetime(zone.clone()).strftime("%a %H:%M")) }
                            td { (plain(units.temperature(hour.outdoor_temperature))) }
                            td { (plain(units.relative_humidity(hour.relative_humidity))) }
                            @if humidifier {
                                td { (plain(units.percent(hour.humidifier_duty))) }
                                td { (plain(units.water_volume(hour.water))) }
                            }
                            td { (plain(units.air_flow(hour.fresh_air))) }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::{
        model::{
            Band, Bands, Humidifier, HumidifierMethod, Identifier,
            equipment::WaterSupply,
            outlook::{Findings, Stretch},
        },
        physics::{BelowFreezing, MoistAir},
        units::{
            CarbonDioxide, Fraction, HeatFlow, Pressure, RelativeHumidity, TemperatureDifference, UnitSystem,
            VapourPressure, Volume,
        },
    };

    pub fn start() -> Timestamp {
        "2027-01-15T16:00:00Z".parse().unwrap()
    }

    fn room() -> Room {
        let bands = Bands {
            temperature: Band {
                lowest: Temperature::clamped(12.0),
                preferred: Temperature::clamped(16.0),
                highest: Temperature::clamped(20.0),
            },
            relative_humidity: Band {
                lowest: RelativeHumidity::clamped(0.85),
                preferred: RelativeHumidity::clamped(0.9),
                highest: RelativeHumidity::clamped(0.95),
            },
            carbon_dioxide_limit: CarbonDioxide::clamped(1_000.0),
        };
        let mut room = Room::bare(Identifier::new("hall").unwrap(), Volume::clamped(180.0), bands);
        let supply = WaterSupply::Tank(WaterVolume::clamped(300.0));
        room.humidifier = Some(Humidifier::plain(HumidifierMethod::Ultrasonic, WaterFlow::clamped(12.0), supply));
        room
    }

    fn run(off: f64, tank: bool) -> Run {
        let pressure = Pressure::clamped(101_325.0);
        let hours = (0..48_u8).map(|index| {
            let hour = f64::from(index);
            let cold = -4.0 + off - 9.0 * ((hour - 13.0) / 24.0 * std::f64::consts::TAU).cos();
            let outdoor = MoistAir::from_relative_humidity(
                Temperature::clamped(cold),
                RelativeHumidity::clamped(0.8),
                BelowFreezing::Water,
                pressure,
            );
            let outdoor = outdoor.unwrap();
            let short = (-9.0 - cold).max(0.0);
            let humidity = RelativeHumidity::clamped(0.9 - 0.02 * short);
            Hour {
                start: start() + SignedDuration::from_hours(i64::from(index)),
                outdoor_temperature: outdoor.temperature(),
                outdoor_humidity_ratio: outdoor.humidity_ratio(),
                temperature: Temperature::clamped(16.0),
                relative_humidity: humidity,
                lowest_relative_humidity: humidity,
                humidity_ratio: outdoor.humidity_ratio(),
                vapour_pressure_deficit: VapourPressure::clamped(180.0),
                carbon_dioxide: CarbonDioxide::clamped(780.0),
                fresh_air: AirFlow::clamped(400.0 + 4.0 * hour),
                humidity_target: RelativeHumidity::clamped(0.9),
                humidifier_duty: Fraction::clamped(0.55 - 0.05 * cold),
                water: WaterVolume::clamped(6.0 - 0.4 * cold),
                tank: tank.then(|| WaterVolume::clamped(300.0 - 6.0 * hour)),
                shortfall: WaterFlow::clamped(short),
                heat: None,
                heat_missing: HeatFlow::clamped(0.0),
                dew_margin: Some(TemperatureDifference::clamped(1.0)),
                inlet_fog: false,
                standing_mist: None,
            }
        });
        Run { hours: hours.collect(), findings: Findings::default() }
    }

    fn outlook(tank: bool) -> Outlook {
        let mut expected = run(0.0, tank);
        expected.findings.shortfall = Some(Stretch {
            from: start() + SignedDuration::from_hours(10),
            to: Some(start() + SignedDuration::from_hours(16)),
            worst_at: start() + SignedDuration::from_hours(13),
            worst: WaterFlow::clamped(4.0),
        });
        Outlook { made: start(), expected, colder: run(-2.0, tank), milder: run(2.0, tank), caveats: Vec::new() }
    }

    fn drawn(outlook: &Outlook, units: UnitSystem) -> String {
        let voice = Voice { units, time_zone: TimeZone::UTC };
        let now = start() + SignedDuration::from_mins(30);
        chart(&Frame { outlook, room: &room(), place: (61.35, 25.28), voice: &voice, now }).into_string()
    }

    #[test]
    fn each_quantity_has_its_strip_and_what_no_hour_knows_has_none() {
        let all = drawn(&outlook(true), UnitSystem::Metric);
        let strips = ["outdoor-temperature", "outdoor-moisture", "humidity", "duty", "water", "tank", "fresh-air"];
        let places: Vec<_> = strips.iter().map(|name| all.find(&format!("data-strip=\"{name}\""))).collect();
        assert!(places.windows(2).all(|pair| pair[0] < pair[1]) && places[0].is_some(), "{places:?}");
        assert!(!drawn(&outlook(false), UnitSystem::Metric).contains("data-strip=\"tank\""));
        assert!(!all.contains("NaN") && !all.contains("inf"), "{all}");
    }

    #[test]
    fn the_worst_window_is_framed_between_its_hours_and_named() {
        let all = drawn(&outlook(true), UnitSystem::Metric);
        assert!(all.contains("humidifier short 02:00–08:00"), "{all}");
        let frame = all.split("<rect class=\"worst\"").nth(1).unwrap();
        let number = |name: &str| -> f64 {
            frame.split(&format!("{name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
        };
        // The tenth to the sixteenth hour of 48 across 342 units.
        assert!((number("x") - (4.0 + 10.0 / 48.0 * 342.0)).abs() < 0.1, "{}", number("x"));
        assert!((number("width") - 6.0 / 48.0 * 342.0).abs() < 0.1, "{}", number("width"));
        let calm = Outlook { expected: run(0.0, true), ..outlook(true) };
        assert!(!drawn(&calm, UnitSystem::Metric).contains("class=\"worst\""));
    }

    #[test]
    fn the_spread_of_the_runs_lies_around_the_expected_one() {
        let strips = strips_of(&outlook(true));
        for strip in strips {
            for ((at, low, high), (same, expected)) in strip.spread.iter().zip(&strip.line) {
                assert!((at - same).abs() < 1e-9 && low <= expected && expected <= high, "{}", strip.name);
            }
            assert!(strip.scale.0 <= strip.line[0].1 && strip.scale.1 >= strip.line[0].1);
        }
    }

    fn strips_of(outlook: &Outlook) -> Vec<Strip> {
        let voice = Voice { units: UnitSystem::Metric, time_zone: TimeZone::UTC };
        strips(&Frame { outlook, room: &room(), place: (61.35, 25.28), voice: &voice, now: start() })
    }

    #[test]
    fn american_units_are_used_in_every_strip() {
        let all = drawn(&outlook(true), UnitSystem::Us);
        for unit in ["°F", "gr/lb", "gal/h", "gal", "cfm"] {
            assert!(all.contains(unit), "{unit}");
        }
        for unit in ["°C", "g/kg", "m³/h", "L/h"] {
            assert!(!all.contains(unit), "{unit}");
        }
    }

    #[test]
    fn an_outlook_without_hours_says_what_it_takes() {
        let empty = Outlook { expected: Run::default(), ..outlook(true) };
        assert!(drawn(&empty, UnitSystem::Metric).contains("holds no hour"));
    }
}
