//! From what each source says to what is believed of each place.

use std::{sync::Arc, time::Duration};

use jiff::Timestamp;

use super::{core::Engine, event::Taken, outdoors, snapshot::SourceState};
use crate::{
    model::{
        Around, BelowFreezing, Case, Farm, Fused, Measured, Now, Place, Quantity, Reading, Room, Service,
        balance::carbon_dioxide_rise,
        detect,
        fusion::{self, Moment, Point},
    },
    physics::MoistAir,
    units::{CarbonDioxide, Pressure, RelativeHumidity, Temperature},
};

/// A fan that reports no more than this share of full speed stands.
const STANDS_BELOW: f64 = 0.02;
/// A sensor's clock may be ahead of ours by this much.
const CLOCKS_APART: Duration = Duration::from_secs(120);

/// When a reading was measured, as [`Now::elapsed`]; `None` where it says that it was measured in the future. A date is
/// of no use to a clock that is wrong itself.
pub(super) fn measured_at(taken: Option<Taken>, now: &Now) -> Option<Duration> {
    let age = match taken {
        Some(Taken::Ago(age)) => age,
        Some(Taken::At(moment)) if now.trusted => age_of(moment, now)?,
        Some(Taken::At(_)) | None => Duration::ZERO,
    };
    Some(now.elapsed.saturating_sub(age))
}

fn age_of(moment: Timestamp, now: &Now) -> Option<Duration> {
    let age = now.wall.duration_since(moment);
    match Duration::try_from(age) {
        Ok(age) => Some(age),
        Err(_) => (age.unsigned_abs() <= CLOCKS_APART).then_some(Duration::ZERO),
    }
}

impl Engine {
    /// What is believed of the air outdoors, and of the pressure at the site.
    pub(super) fn settle_outdoors(&mut self, now: &Now) {
        // The last days carried on say what may come, and are no word on the air that is there now.
        let forecast =
            self.site.corrected().filter(|corrected| now.trusted && corrected.forecast.service != Service::PERSISTENCE);
        let forecast = forecast.and_then(|forecast| forecast.at(now.wall, Case::Expected));
        let pressures = self.at(Place::Outdoors).map(|(_, state)| state.reading.and_then(as_pressure));
        let sensed = fusion::joined(pressures, |values| {
            Pressure::clamped(fusion::middle(values.iter().map(|value| value.pascals())))
        });
        let temperature = self.at(Place::Outdoors).find_map(|(_, state)| as_temperature(state.reading.fresh()?));
        let known = outdoors::Known { pressure: sensed.fresh(), temperature };
        let (pressure, pressure_from) = outdoors::pressure(&self.farm.site, &known, forecast.as_ref());
        self.site.pressure = pressure;
        self.site.pressure_from = pressure_from;
        let fused = self.fuse(Place::Outdoors, now);
        self.site.outdoors = outdoors::air(&fused, forecast.as_ref(), pressure);
    }

    /// What is believed of the air of a room.
    pub(super) fn settle_readings(&mut self, index: usize, now: &Now) {
        let place = Place::Room(index);
        let fused = self.fuse(place, now);
        let limit = self.farm.rooms[index].bands.carbon_dioxide_limit;
        let lives_until = self.lives_until(place, now);
        let fan_runs = self.fan_runs(index);
        let memory = &mut self.rooms[index];
        let state = &mut memory.state;
        state.temperature = fused.temperature;
        state.relative_humidity = fused.relative_humidity;
        state.carbon_dioxide = fused.carbon_dioxide;
        state.air = fused.air;
        state.spread = fused.spread;
        state.reckoned = fused.reckoned;
        state.carbon_dioxide_headroom =
            fused.carbon_dioxide.fresh().map(|ppm| limit.parts_per_million() - ppm.parts_per_million());
        state.moisture = None;
        state.lives_until = lives_until;
        memory.watch_danger();
        memory.watch_fan(fan_runs, now);
        memory.watch_carbon_dioxide(now);
        memory.watch_caps(&self.farm.rooms[index], now);
    }

    /// Whether the fan of a room runs, by what it reports of itself. A fan that claims to run and is not believed is not
    /// heard.
    fn fan_runs(&self, index: usize) -> Option<bool> {
        let reports = self.at(Place::Room(index)).filter_map(|(_, state)| match state.reading.fresh()? {
            Measured::FanState(share) => Some(share.ratio() > STANDS_BELOW),
            _ => None,
        });
        reports.reduce(|a, b| a && b)
    }

    /// What is believed of the air of a space that is only measured; else what it is assumed to be.
    pub(super) fn space_air(&self, index: usize, now: &Now) -> Option<MoistAir> {
        self.fuse(Place::Space(index), now).air.or_else(|| {
            let (temperature, humidity) = self.farm.spaces.get(index)?.assumed?;
            MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, self.site.pressure).ok()
        })
    }

    /// Temperature on the other side of a room's shell, where it is known.
    pub(super) fn shell_faces(&self, index: usize, now: &Now) -> Option<Temperature> {
        let air = match self.farm.rooms[index].shell.around {
            Around::Outdoors => self.site.outdoors.air,
            Around::Room(beside) => self.rooms[beside].state.air,
            Around::Space(space) => self.space_air(space, now),
        };
        air.map(MoistAir::temperature)
    }

    /// The coldest surface of a room that a probe measures.
    pub(super) fn probe(&self, index: usize) -> Option<Temperature> {
        self.coldest_probe(index).map(|(_, temperature)| temperature)
    }

    /// The same with its place in the shell's list of surfaces.
    pub(super) fn coldest_probe(&self, index: usize) -> Option<(usize, Temperature)> {
        let probes = self.within(Place::Room(index)).filter_map(|source| {
            let Place::Surface { surface, .. } = self.farm.sources[source].place else { return None };
            match self.sources[source].reading.fresh()? {
                Measured::SurfaceTemperature(temperature) => Some((surface, temperature)),
                _ => None,
            }
        });
        probes.min_by(|(_, a), (_, b)| a.celsius().total_cmp(&b.celsius()))
    }

    /// Carbon dioxide in a space that is only measured, where it is believed.
    pub(super) fn space_carbon_dioxide(&self, index: usize) -> Option<CarbonDioxide> {
        let readings = self.at(Place::Space(index)).map(|(_, state)| state.reading.and_then(as_carbon_dioxide));
        let fused = fusion::joined(readings, |values| {
            CarbonDioxide::clamped(fusion::middle(values.iter().map(|value| value.parts_per_million())))
        });
        fused.fresh()
    }

    pub(super) fn fuse(&self, place: Place, now: &Now) -> Fused {
        let room = if let Place::Room(index) = place { self.farm.rooms.get(index) } else { None };
        let rise = room.map_or(0.0, |room: &Room| carbon_dioxide_rise(room));
        let moment = Moment { pressure: self.site.pressure, carbon_dioxide_rise: rise, now };
        fusion::fuse(&self.points(place), &moment)
    }

    /// What the sensors of a place say, by position.
    pub(super) fn points(&self, place: Place) -> Vec<Point> {
        let mut points: Vec<Point> = Vec::new();
        for (source, state) in self.at(place) {
            let known = points.iter().position(|point| point.position == source.position);
            let at = known.unwrap_or_else(|| {
                points.push(Point::silent(source.position.clone()));
                points.len() - 1
            });
            let point = &mut points[at];
            match source.quantity {
                Quantity::Temperature => point.temperature = state.reading.and_then(as_temperature),
                Quantity::RelativeHumidity => {
                    point.relative_humidity = state.reading.and_then(as_humidity);
                    point.humidity_refers_to = source.below_freezing;
                }
                Quantity::DewPoint => {
                    point.dew_point = state.reading.and_then(as_dew_point);
                    point.dew_point_refers_to = source.below_freezing;
                }
                Quantity::CarbonDioxide => point.carbon_dioxide = state.reading.and_then(as_carbon_dioxide),
                Quantity::Pressure | Quantity::SurfaceTemperature | Quantity::FanState | Quantity::HumidifierState => {}
            }
        }
        points
    }

    /// Until when what is believed of a place may be taken for the present: the first quantity whose last believed
    /// sensor goes stale.
    fn lives_until(&self, place: Place, now: &Now) -> Duration {
        let ends = Quantity::ALL.into_iter().filter_map(|quantity| {
            let of_it = self.at(place).filter(|(source, _)| source.quantity == quantity);
            of_it
                .filter_map(|(source, state)| {
                    state.reading.fresh().and(state.reading.at()).map(|at| at + source.maximum_age)
                })
                .max()
        });
        ends.min().unwrap_or(now.elapsed)
    }

    /// The sources of a place, and of its surfaces where it is a room.
    pub(super) fn within(&self, place: Place) -> impl Iterator<Item = usize> {
        let room =
            if let Place::Room(index) = place { self.farm.rooms.get(index).map(|room| (index, room)) } else { None };
        let surfaces = room.into_iter().flat_map(|(index, room)| {
            (0..room.shell.surfaces.len()).map(move |surface| Place::Surface { room: index, surface })
        });
        let places = std::iter::once(place).chain(surfaces);
        places.flat_map(|place| self.sources_at.get(&place).map_or(&[][..], Vec::as_slice)).copied()
    }

    /// Sources of a place and its surfaces that are configured and not heard: stale, or never heard for their maximum
    /// age.
    pub(super) fn silent(&self, place: Place, now: &Now) -> Vec<usize> {
        let silent = self.within(place).filter(|index| match self.sources[*index].reading {
            Reading::Never => now.since(self.started) >= self.farm.sources[*index].maximum_age,
            Reading::Stale { .. } => true,
            // Refused messages are messages; another alert tells of them.
            Reading::Rejected { at } => now.since(at) > self.farm.sources[*index].maximum_age,
            Reading::Fresh { .. } | Reading::Ageing { .. } | Reading::Suspect { .. } => false,
        });
        silent.collect()
    }

    /// Lets every reading grow older.
    pub(super) fn age_readings(&mut self, now: &Now) {
        let farm: Arc<Farm> = Arc::clone(&self.farm);
        for (index, source) in farm.sources.iter().enumerate() {
            let state = &mut self.sources[index];
            let before = state.reading;
            state.reading = before.aged(source.maximum_age, now);
            if std::mem::discriminant(&before) != std::mem::discriminant(&state.reading) {
                self.touch(source.place);
            }
        }
    }
}

pub(super) fn as_temperature(measured: Measured) -> Option<Temperature> {
    if let Measured::Temperature(value) = measured { Some(value) } else { None }
}

fn as_humidity(measured: Measured) -> Option<RelativeHumidity> {
    if let Measured::RelativeHumidity(value) = measured { Some(value) } else { None }
}

fn as_dew_point(measured: Measured) -> Option<Temperature> {
    if let Measured::DewPoint(value) = measured { Some(value) } else { None }
}

fn as_carbon_dioxide(measured: Measured) -> Option<CarbonDioxide> {
    if let Measured::CarbonDioxide(value) = measured { Some(value) } else { None }
}

fn as_pressure(measured: Measured) -> Option<Pressure> {
    if let Measured::Pressure(value) = measured { Some(value) } else { None }
}

/// What a source says, put right by its calibration; `None` where that cannot be true. Carbon dioxide above the top of its
/// scale is taken as that top, and found to be over range.
pub(super) fn corrected(source: &crate::model::Source, measured: Measured) -> Option<Measured> {
    let corrected = source.calibration.apply(measured);
    let (lowest, highest) = source.range;
    if detect::tops_out(source) && corrected.base() > highest {
        return Measured::from_base(source.quantity, highest).ok();
    }
    (lowest..=highest).contains(&corrected.base()).then_some(corrected)
}

/// Takes a corrected reading into a source's state; one that is older than the last changes nothing.
pub(super) fn take_in(state: &mut SourceState, value: Measured, at: Duration, now: &Now) -> bool {
    state.accepted += 1;
    if state.reading.last().is_some() && state.reading.at().is_some_and(|last| at < last) {
        return false;
    }
    state.reading = Reading::Fresh { value, at };
    state.last_heard = Some(now.wall);
    true
}
