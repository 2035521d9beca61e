//! The moist-air chart of one room: temperature to the right, humidity ratio upwards.
//!
//! Everything drawn is computed by the physics at the site's pressure; nothing is a picture. The numbers stand in a
//! table below, for those who do not see the drawing.

use jiff::Timestamp;
use maud::{Markup, html};

use super::plot::{Area, Axis, Labels, Placed, number, path, plain, short};
use crate::{
    advice::Voice,
    engine::Snapshot,
    model::{Bands, Intake, Room},
    physics::{BelowFreezing, MoistAir, inlet_fog, mixing},
    units::{Fraction, HumidityRatio, Pressure, RelativeHumidity, Temperature, UnitSystem},
};

const WIDTH: f64 = 400.0;
const HEIGHT: f64 = 312.0;
/// The part of the drawing inside the axes.
const INSIDE: Area = Area { left: 6.0, top: 16.0, right: 356.0, bottom: 280.0 };
/// Curves of equal relative humidity, in percent.
const CURVES: [f64; 4] = [20.0, 40.0, 60.0, 80.0];
/// Pieces of a curve across the chart.
const PIECES: u32 = 40;

/// States of air that the chart shows, as far as they are known.
#[derive(Debug, Clone)]
pub(super) struct Scene {
    outdoors: Option<MoistAir>,
    coldest: Option<(Timestamp, MoistAir)>,
    /// Only where the room does not draw from outdoors.
    intake: Option<MoistAir>,
    room: Option<MoistAir>,
    target: Option<MoistAir>,
    supply: Option<MoistAir>,
    bands: Bands,
    humidified: bool,
    pressure: Pressure,
}

/// A mark of the chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mark {
    Outdoors,
    Coldest,
    Intake,
    Room,
    Target,
}

impl Mark {
    const fn name(self) -> &'static str {
        match self {
            Self::Outdoors => "outdoors",
            Self::Coldest => "coldest",
            Self::Intake => "intake",
            Self::Room => "room",
            Self::Target => "target",
        }
    }

    /// Its outline around (0, 0): a different shape for each, so that colour is never the only sign.
    const fn outline(self) -> &'static str {
        match self {
            Self::Outdoors => "M-5 -5H5V5H-5Z",
            Self::Coldest => "M-6 -5H6L0 6Z",
            Self::Intake => "M0 -7L7 0L0 7L-7 0Z",
            Self::Room => "M-5.5 0A5.5 5.5 0 1 1 5.5 0A5.5 5.5 0 1 1 -5.5 0Z",
            Self::Target => "M-7 0H7M0 -7V7M-4.5 0A4.5 4.5 0 1 1 4.5 0A4.5 4.5 0 1 1 -4.5 0Z",
        }
    }
}

impl Scene {
    /// What is known of a room, by its place in the farm.
    pub fn of(snapshot: &Snapshot, index: usize) -> Option<Self> {
        let (room, state) = (snapshot.farm.rooms.get(index)?, snapshot.rooms.get(index)?);
        let site = &snapshot.site;
        let forecast = site.forecast.as_deref();
        let coldest = site.coldest.and_then(|(at, _)| {
            let air = forecast?.at(at)?.air.at_pressure(site.pressure).ok()?;
            Some((at, air))
        });
        let temperature = state.temperature.fresh();
        let target = state.decision.setpoints.zip(temperature).and_then(|(set, temperature)| {
            let humidity = set.humidity_target;
            MoistAir::from_relative_humidity(temperature, humidity, BelowFreezing::Water, site.pressure).ok()
        });
        Some(Self {
            outdoors: site.outdoors.air,
            coldest,
            intake: state.supply.filter(|_| room.intake != Intake::Outdoors),
            room: state.air,
            target,
            supply: state.supply,
            bands: room.bands,
            humidified: room.humidifier.is_some(),
            pressure: site.pressure,
        })
    }

    /// The known states in the order of the table.
    fn marks(&self) -> Vec<(Mark, MoistAir)> {
        let all = [
            (Mark::Outdoors, self.outdoors),
            (Mark::Coldest, self.coldest.map(|(_, air)| air)),
            (Mark::Intake, self.intake),
            (Mark::Room, self.room),
            (Mark::Target, self.target),
        ];
        all.into_iter().filter_map(|(mark, air)| Some((mark, air?))).collect()
    }

    /// The supply warmed to the target's temperature, with no water added.
    fn heated(&self) -> Option<MoistAir> {
        let (supply, target) = (self.supply?, self.target?);
        supply.at_temperature(target.temperature()).ok().filter(|_| supply.humidity_ratio() < target.humidity_ratio())
    }
}

/// The chart's frame: what is where.
struct Frame {
    units: UnitSystem,
    pressure: Pressure,
    x: Axis,
    y: Axis,
    coldest: f64,
    warmest: f64,
}

impl Frame {
    fn of(scene: &Scene, units: UnitSystem) -> Self {
        let marks = scene.marks();
        let celsius = |air: &MoistAir| air.temperature().celsius();
        let band = &scene.bands.temperature;
        let coldest = marks.iter().map(|(_, air)| celsius(air)).fold(band.lowest.celsius() - 4.0, f64::min) - 3.0;
        let warmest = marks.iter().map(|(_, air)| celsius(air)).fold(band.highest.celsius(), f64::max) + 7.0;
        let corner = saturated(band.highest, scene.pressure) * scene.bands.relative_humidity.highest.ratio();
        let water = |air: &MoistAir| air.humidity_ratio().kilograms_per_kilogram();
        let most = marks.iter().map(|(_, air)| water(air)).fold(corner, f64::max) * 1.12;
        let (coldest, warmest) = (coldest.max(-59.0), warmest.min(79.0));
        let shown = |celsius| units.temperature(Temperature::clamped(celsius)).value;
        let top = units.humidity_ratio(HumidityRatio::clamped(most)).value;
        Self {
            units,
            pressure: scene.pressure,
            x: Axis { from: shown(coldest), to: shown(warmest), start: INSIDE.left, end: INSIDE.right },
            y: Axis { from: 0.0, to: top, start: INSIDE.bottom, end: INSIDE.top },
            coldest,
            warmest,
        }
    }

    fn point(&self, temperature: Temperature, water: HumidityRatio) -> (f64, f64) {
        let x = self.x.at(self.units.temperature(temperature).value);
        (x, self.y.at(self.units.humidity_ratio(water).value))
    }

    fn air(&self, air: &MoistAir) -> (f64, f64) {
        self.point(air.temperature(), air.humidity_ratio())
    }

    /// The curve of a relative humidity between two temperatures in °C, as far as it stays inside the chart.
    fn curve(&self, ratio: f64, from: f64, to: f64) -> Vec<(f64, f64)> {
        let at = |celsius: f64| {
            let temperature = Temperature::clamped(celsius);
            let humidity = RelativeHumidity::clamped(ratio);
            let air = MoistAir::from_relative_humidity(temperature, humidity, BelowFreezing::Water, self.pressure);
            air.ok().map(|air| self.air(&air)).filter(|(_, y)| *y >= INSIDE.top)
        };
        let step = (to - from) / f64::from(PIECES);
        let mut points = Vec::new();
        for index in 0..=PIECES {
            let celsius = from + step * f64::from(index);
            if let Some(point) = at(celsius) {
                points.push(point);
                continue;
            }
            // The last point inside the chart, to a thousandth of a piece.
            let (mut inside, mut outside) = (celsius - step, celsius);
            for _ in 0..10 {
                let middle = 0.5 * (inside + outside);
                if at(middle).is_some() { inside = middle } else { outside = middle }
            }
            points.extend(at(inside));
            break;
        }
        points
    }
}

/// Humidity ratio of saturated air, kg/kg; zero where the equations do not reach.
fn saturated(temperature: Temperature, pressure: Pressure) -> f64 {
    MoistAir::saturated(temperature, pressure).map_or(0.0, |air| air.humidity_ratio().kilograms_per_kilogram())
}

/// The mixing line from supply to room air, and the part of it that is fog.
struct Mixing {
    line: Vec<(f64, f64)>,
    fog: Vec<(f64, f64)>,
}

impl Mixing {
    fn of(scene: &Scene, frame: &Frame) -> Option<Self> {
        let (supply, room) = (scene.supply?, scene.room?);
        let mut mixing = Self { line: Vec::new(), fog: Vec::new() };
        let steps = 2 * PIECES;
        for index in 0..=steps {
            let share = Fraction::clamped(f64::from(index) / f64::from(steps));
            let (temperature, water) = mixing::before_fog(supply, room, share).ok()?;
            let point = frame.point(temperature, water);
            // Every fourth point is enough for the line: it is all but straight.
            if index % 4 == 0 {
                mixing.line.push(point);
            }
            if water.kilograms_per_kilogram() > saturated(temperature, scene.pressure) * (1.0 + 1e-6) {
                mixing.fog.push(point);
            }
        }
        Some(mixing)
    }
}

/// The chart with its caption and its table. `from` and `now` are for the moment of the coldest hour.
pub(super) fn chart(scene: &Scene, room: &Room, voice: &Voice, now: Timestamp) -> Markup {
    let frame = Frame::of(scene, voice.units);
    let marks = scene.marks();
    let mixing = Mixing::of(scene, &frame);
    let labels = labels(scene, &frame, mixing.as_ref());
    html! {
        figure.chart {
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-labelledby="air-title air-text" {
                title id="air-title" { "Moist air of " (room.title) ": temperature to the right, water upwards" }
                desc id="air-text" {
                    @for (mark, air) in &marks { (mark.name()) ": " (state(voice.units, air)) ". " }
                }
                (definitions())
                (curves(&frame))
                (band(&frame, &scene.bands))
                @if let Some(mixing) = &mixing {
                    path.mixed d=(path(mixing.line.iter().copied())) {}
                    @if mixing.fog.len() > 1 { path.inlet-fog d=(path(mixing.fog.iter().copied())) {} }
                }
                (way(scene, &frame))
                @for (mark, air) in &marks {
                    @let (x, y) = frame.air(air);
                    path class={ "mark " (mark.name()) } data-point=(mark.name()) d=(mark.outline())
                        transform={ "translate(" (format!("{x:.2} {y:.2}")) ")" } {}
                }
                @for label in &labels { (self::label(label)) }
                (axes(&frame))
            }
            figcaption { (caption(scene, voice)) }
        }
        (table(scene, &marks, voice, now))
    }
}

fn state(units: UnitSystem, air: &MoistAir) -> String {
    format!(
        "{}, {}, {}",
        units.temperature(air.temperature()),
        units.relative_humidity(air.relative_humidity()),
        units.humidity_ratio(air.humidity_ratio())
    )
}

fn definitions() -> Markup {
    html! {
        defs {
            pattern id="mist" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                path.hatch d="M0 0V7" {}
            }
            marker id="arrow" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="5" markerHeight="5" orient="auto" {
                path.arrow d="M0 0L8 4L0 8Z" {}
            }
        }
    }
}

/// The region of fog, the curve of saturation, and those of equal relative humidity.
fn curves(frame: &Frame) -> Markup {
    let saturation = frame.curve(1.0, frame.coldest, frame.warmest);
    let top = saturation.last().map_or(INSIDE.right, |(x, _)| *x);
    let fog = saturation.iter().copied().chain([(top, INSIDE.top), (INSIDE.left, INSIDE.top)]);
    html! {
        path.fog d={ (path(fog)) "Z" } {}
        @for percent in CURVES {
            path.humidity d=(path(frame.curve(percent / 100.0, frame.coldest, frame.warmest))) {}
        }
        path.saturation d=(path(saturation.iter().copied())) {}
    }
}

fn band(frame: &Frame, bands: &Bands) -> Markup {
    let (cold, warm) = (bands.temperature.lowest.celsius(), bands.temperature.highest.celsius());
    let humidity = &bands.relative_humidity;
    let upper = frame.curve(humidity.highest.ratio(), cold, warm);
    let lower = frame.curve(humidity.lowest.ratio(), cold, warm);
    let outline = lower.into_iter().chain(upper.into_iter().rev());
    html! { path.band data-band="band" d={ (path(outline)) "Z" } {} }
}

/// From the supply to the target: heated, then humidified while the heater gives back what the water takes.
fn way(scene: &Scene, frame: &Frame) -> Markup {
    let (Some(supply), Some(heated), Some(target)) = (scene.supply, scene.heated(), scene.target) else {
        return html! {};
    };
    let (from, corner, to) = (frame.air(&supply), frame.air(&heated), frame.air(&target));
    // The arrow ends before the mark.
    let shortened = if corner.1 - to.1 > 16.0 { (to.0, to.1 + 8.0) } else { to };
    html! {
        path.heated d=(path([from, corner])) marker-end="url(#arrow)" {}
        @if scene.humidified {
            path.humidified d=(path([corner, shortened])) marker-end="url(#arrow)" {}
        } @else {
            path.lacking d=(path([corner, shortened])) {}
        }
    }
}

/// Names of marks, lines and regions, each where it finds room.
fn labels(scene: &Scene, frame: &Frame, mixing: Option<&Mixing>) -> Vec<(&'static str, Placed)> {
    let marks = scene.marks();
    let taken = marks.iter().map(|(_, air)| frame.air(air)).map(|(x, y)| Area::around(x, y, 8.0)).collect();
    let mut labels = Labels::new(INSIDE, taken);
    let way = scene.heated().zip(scene.supply).zip(scene.target);
    if let Some(((heated, supply), target)) = &way {
        let (from, corner, to) = (frame.air(supply), frame.air(heated), frame.air(target));
        labels.avoid(Area { left: from.0, right: corner.0, top: corner.1 - 3.0, bottom: corner.1 + 3.0 });
        labels.avoid(Area { left: corner.0 - 3.0, right: corner.0 + 3.0, top: to.1, bottom: corner.1 });
    }
    let mut placed = Vec::new();
    for (mark, air) in &marks {
        placed.push(("name", labels.place(mark.name(), &[frame.air(air)])));
    }
    if let Some(((heated, supply), target)) = &way {
        let (from, corner, to) = (frame.air(supply), frame.air(heated), frame.air(target));
        let dry = format!("heated: {:.0} %", heated.relative_humidity().percent());
        placed.push(("way", labels.place(&dry, &along(from, corner))));
        let word = if scene.humidified { "humidified" } else { "lacking" };
        placed.push(("way", labels.place(word, &along(corner, to))));
    }
    if let Some(mixing) = mixing {
        let fog = mixing.fog.get(mixing.fog.len() / 2).copied().filter(|_| mixing.fog.len() > 1);
        placed.extend(fog.map(|at| ("way", labels.place("fog at the inlet", &[at]))));
        if let Some((from, to)) = mixing.line.first().zip(mixing.line.last()) {
            placed.push(("way", labels.place("mixed", &along(*from, *to))));
        }
    }
    let band = frame.curve(scene.bands.relative_humidity.lowest.ratio(), frame.coldest, frame.warmest);
    let right = frame.x.at(frame.units.temperature(scene.bands.temperature.highest).value);
    let corner = band.iter().rfind(|(x, _)| *x <= right).copied();
    placed.extend(corner.map(|at| ("region", labels.place("band", &[at]))));
    let (cold, warm) = (scene.bands.temperature.lowest.celsius(), scene.bands.temperature.highest.celsius());
    for ratio in [scene.bands.relative_humidity.lowest, scene.bands.relative_humidity.highest] {
        frame.curve(ratio.ratio(), cold, warm).iter().for_each(|(x, y)| labels.avoid(Area::around(*x, *y, 3.0)));
    }
    placed.push(("region", labels.place("fog", &[(INSIDE.left + 30.0, INSIDE.top + 24.0)])));
    for percent in [100.0].into_iter().chain(CURVES) {
        let curve = frame.curve(percent / 100.0, frame.coldest, frame.warmest);
        placed.extend(labels.place_on(&format!("{percent:.0} %"), &curve).map(|label| ("curve", label)));
    }
    placed
}

/// Points of a line at which it may be named, the middle first.
fn along(from: (f64, f64), to: (f64, f64)) -> [(f64, f64); 3] {
    [0.5, 0.3, 0.7].map(|share| (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1)))
}

fn label((class, label): &(&'static str, Placed)) -> Markup {
    html! {
        @if let Some([from, to]) = label.leader {
            path.leader d=(path([from, to])) {}
        }
        text class=(class) x=(short(label.x)) y=(short(label.y)) { (label.text) }
    }
}

fn axes(frame: &Frame) -> Markup {
    let (temperature, water) = (Temperature::clamped(0.0), HumidityRatio::clamped(0.0));
    html! {
        path.axis d={ "M" (INSIDE.left) " " (INSIDE.bottom) "H" (INSIDE.right) "V" (INSIDE.top) } {}
        @for tick in frame.x.ticks(7) {
            @let x = frame.x.at(tick);
            path.axis data-x=(tick) d={ "M" (format!("{x:.2} {}", INSIDE.bottom)) "v4" } {}
            text.tick text-anchor="middle" x=(short(x)) y=(short(INSIDE.bottom + 20.0)) { (number(tick)) }
        }
        @for tick in frame.y.ticks(6) {
            @let y = frame.y.at(tick);
            path.axis data-y=(tick) d={ "M" (format!("{} {y:.2}", INSIDE.right)) "h4" } {}
            text.tick.upright x=(short(INSIDE.right + 7.0)) y=(short(y)) { (number(tick)) }
        }
        text.unit text-anchor="end" x=(WIDTH - 2.0) y=(HEIGHT - 12.0) { (frame.units.temperature(temperature).unit) }
        text.unit text-anchor="end" x=(WIDTH - 2.0) y="12" { (frame.units.humidity_ratio(water).unit) }
    }
}

/// What one look should show: how little water winter air holds, whatever its relative humidity says.
fn caption(scene: &Scene, voice: &Voice) -> Markup {
    let units = voice.units;
    let mut sentences = Vec::new();
    match (scene.outdoors, scene.target) {
        (Some(outdoors), Some(target)) if outdoors.humidity_ratio() < target.humidity_ratio() => {
            let reads = percent(outdoors.relative_humidity());
            let holds = units.humidity_ratio(outdoors.humidity_ratio());
            let warmed = outdoors.at_temperature(target.temperature()).ok().map(|air| {
                format!(
                    "; brought to {} it would stand at {}",
                    units.temperature(target.temperature()),
                    percent(air.relative_humidity())
                )
            });
            sentences.push(format!(
                "Outdoor air reads {reads}, but holds only {holds} of water{}. The target of {} takes {}.",
                warmed.unwrap_or_default(),
                percent(target.relative_humidity()),
                units.humidity_ratio(target.humidity_ratio())
            ));
        }
        (Some(outdoors), Some(_)) => sentences.push(format!(
            "Outdoor air holds {} of water, as much as the target takes: fresh air dries nothing.",
            units.humidity_ratio(outdoors.humidity_ratio())
        )),
        (None, _) => sentences.push("The outdoor air is not known, so it is not drawn.".to_owned()),
        (Some(_), None) => {
            sentences.push("There is no target, because there is no advice: only the band is drawn.".to_owned());
        }
    }
    if scene.room.is_none() {
        sentences.push(
            "The room's own air is not drawn: it takes a fresh temperature and a fresh humidity to know it.".to_owned(),
        );
    }
    sentences.extend(fog_sentence(scene, units));
    html! { (sentences.join(" ")) }
}

fn fog_sentence(scene: &Scene, units: UnitSystem) -> Option<String> {
    let fog = inlet_fog(scene.supply?, scene.room?).ok()?;
    let worst = fog.worst?;
    let cure = fog.lowest_clear_supply.map(|temperature| {
        format!(" An intake tempered to {} or more would stay clear.", units.temperature(temperature))
    });
    Some(format!(
        "Where the air drawn in meets the room's, it passes through fog: up to {} of droplets.{}",
        units.humidity_ratio(worst.liquid),
        cure.unwrap_or_default()
    ))
}

fn percent(humidity: RelativeHumidity) -> String {
    format!("{:.0} %", humidity.percent())
}

fn table(scene: &Scene, marks: &[(Mark, MoistAir)], voice: &Voice, now: Timestamp) -> Markup {
    let units = voice.units;
    html! {
        table.points {
            caption { "The chart's points" }
            thead {
                tr {
                    th scope="col" { "Air" }
                    th scope="col" { (units.temperature(Temperature::clamped(0.0)).unit) }
                    th scope="col" { "% RH" }
                    th scope="col" { (units.humidity_ratio(HumidityRatio::clamped(0.0)).unit) }
                }
            }
            tbody {
                @for (mark, air) in marks {
                    tr {
                        th scope="row" {
                            svg.key viewBox="-9 -9 18 18" aria-hidden="true" {
                                path class={ "mark " (mark.name()) } d=(mark.outline()) {}
                            }
                            " " (mark.name())
                            @if let (Mark::Coldest, Some((at, _))) = (mark, scene.coldest) { ", " (voice.time(at, now)) }
                            @if *mark == Mark::Outdoors { " now" }
                        }
                        td { (plain(units.temperature(air.temperature()))) }
                        td { (plain(units.relative_humidity(air.relative_humidity()))) }
                        td { (plain(units.humidity_ratio(air.humidity_ratio()))) }
                    }
                }
            }
        }
    }
}
