//! Doubts about a design night: twelve hours of the coldest outdoor air that the site should be built for, at 80 %.
//!
//! Every room is held at its preferred temperature, or what its heater is set to, with the fresh air that keeps carbon
//! dioxide at 80 % of the crop's limit by the catalogue's middle output. Water that crop and pan give off is left out:
//! it is not known well enough to build on.

use super::{Drying, Winter, breathes, ceiling, fresh_air_needed, held};
use crate::{
    model::{
        Around, Farm, HumidifierMethod, Intake, Room, SurfaceKind, WaterSupply, balance::Inflow, supply::as_it_enters,
    },
    physics::{BelowFreezing, MoistAir, atmosphere, flow, surface},
    units::{
        AirFlow, CarbonDioxide, Fraction, HeatFlow, RelativeHumidity, Temperature, ThermalResistance, Transmittance,
        WaterFlow, WaterVolume,
    },
};

/// Hours between dusk and dawn that a tank has to last.
const NIGHT: f64 = 12.0;
/// Relative humidity of cold outdoor air (common practice, no source).
const OUTDOORS: f64 = 0.8;
/// Share of the carbon dioxide limit that fresh air is planned to.
const PLANNED: f64 = 0.8;
/// Inner film of a wall, in m²K/W (ISO 6946, from memory).
const INNER_FILM: f64 = 0.13;
/// Heat that evaporation takes from the air, in W per kg/h at 10 to 20 °C.
const EVAPORATION: f64 = 683.0;
/// Heat that a crop gives off for each gram of carbon dioxide per hour, in W (from the heat of burning sugar).
const BREATH: f64 = 2.95;

/// What is known of a design night.
struct Night<'f> {
    farm: &'f Farm,
    outdoors: MoistAir,
    /// Fresh air of each room.
    fresh_air: Vec<AirFlow>,
}

/// Judges every room. What lies outside the range of the equations is not judged.
pub(super) fn doubts(farm: &Farm) -> Vec<(usize, Winter)> {
    let pressure = atmosphere::standard_pressure(farm.site.elevation);
    let humidity = RelativeHumidity::clamped(OUTDOORS);
    let Ok(outdoors) = MoistAir::from_sensor(farm.site.coldest(), humidity, BelowFreezing::Water, pressure) else {
        return Vec::new();
    };
    let night = Night { farm, outdoors, fresh_air: fresh_air(farm) };
    let judged = |(index, room)| {
        let single = [night.drying(index, room), night.tank(index, room), night.heating(index, room)];
        single.into_iter().flatten().chain(night.surfaces(room)).map(move |what| (index, what)).collect::<Vec<_>>()
    };
    farm.rooms.iter().enumerate().flat_map(judged).collect()
}

/// From the rooms at the back to those that they draw from.
fn fresh_air(farm: &Farm) -> Vec<AirFlow> {
    let mut drawn = vec![0.0; farm.rooms.len()];
    let mut flows = vec![AirFlow::clamped(0.0); farm.rooms.len()];
    for (index, room) in farm.rooms.iter().enumerate().rev() {
        let limit = CarbonDioxide::clamped(PLANNED * ceiling(room).parts_per_million());
        let inside = held(room, farm, room.bands.relative_humidity.preferred);
        let middle = room.crop.as_ref().map_or(0.0, |crop| crop.respiration.middle);
        let needed = inside.and_then(|inside| fresh_air_needed(room, middle, limit, &inside));
        let (floor, capacity) = (room.fan.floor.cubic_metres_per_hour(), room.fan.capacity.cubic_metres_per_hour());
        let own = needed.map_or(floor, AirFlow::cubic_metres_per_hour).clamp(floor, capacity.max(floor));
        let flow = own.max(drawn[index]);
        if let Intake::Room(from) = room.intake {
            drawn[from] += flow;
        }
        flows[index] = AirFlow::clamped(flow);
    }
    flows
}

impl Night<'_> {
    /// Fresh air as the room's intake finds it; `None` where a space is only measured.
    fn found(&self, intake: Intake) -> Option<MoistAir> {
        match intake {
            Intake::Outdoors => Some(self.outdoors),
            Intake::Room(from) => {
                let room = self.farm.rooms.get(from)?;
                held(room, self.farm, room.bands.relative_humidity.preferred)
            }
            Intake::Space(from) => {
                let (temperature, humidity) = self.farm.spaces.get(from)?.assumed?;
                MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, self.outdoors.pressure()).ok()
            }
        }
    }

    fn around(&self, around: Around) -> Option<Temperature> {
        match around {
            Around::Outdoors => Some(self.farm.site.coldest()),
            Around::Room(other) => self.farm.rooms.get(other).map(|room| room.bands.temperature.preferred),
            Around::Space(space) => Some(self.farm.spaces.get(space)?.assumed?.0),
        }
    }

    /// What enters a room that holds `inside`, the fresh air as it enters, and the vapour that holds it.
    fn entering(&self, index: usize, room: &Room, inside: &MoistAir) -> Option<(Inflow, MoistAir, WaterFlow)> {
        let found = self.found(room.intake)?;
        let fan = *self.fresh_air.get(index)?;
        let supply = as_it_enters(room, found, *inside, flow::dry_air_flow(fan, *inside));
        let inflow = Inflow::new(room, fan, inside, &found);
        let entering = inflow.mixed(supply.humidity_ratio(), self.outdoors.humidity_ratio());
        Some((inflow, supply, inflow.vapour_to(inside.humidity_ratio(), entering)))
    }

    fn lowest(&self, room: &Room) -> Option<MoistAir> {
        held(room, self.farm, room.bands.relative_humidity.lowest)
    }

    fn drying(&self, index: usize, room: &Room) -> Option<Winter> {
        let (_, _, needed) = self.entering(index, room, &self.lowest(room)?)?;
        let against = Drying {
            needed,
            humidity: room.bands.relative_humidity.lowest,
            fresh_air: *self.fresh_air.get(index)?,
            outdoors: self.farm.site.coldest(),
        };
        match gives(room) {
            None if breathes(room) && needed.kilograms_per_hour() > 0.0 => Some(Winter::NoHumidifier(against)),
            Some(gives) if needed > gives => Some(Winter::HumidifierTooSmall { gives, against }),
            _ => None,
        }
    }

    fn tank(&self, index: usize, room: &Room) -> Option<Winter> {
        let humidifier = room.humidifier?;
        let WaterSupply::Tank(holds) = humidifier.water else { return None };
        let (_, _, needed) = self.entering(index, room, &self.lowest(room)?)?;
        let vapour = needed.kilograms_per_hour().min(gives(room)?.kilograms_per_hour());
        // A kilogram of cold water is a litre, near enough for a tank.
        let draws = WaterVolume::clamped(vapour / humidifier.evaporated.ratio() * NIGHT);
        (draws > holds).then_some(Winter::TankTooSmall { holds, draws, outdoors: self.farm.site.coldest() })
    }

    /// Whether the room holds the low end of its temperature band, with crop and fan helping and evaporation taking.
    fn heating(&self, index: usize, room: &Room) -> Option<Winter> {
        let loss = room.shell.loss?.watts_per_kelvin();
        let coldest = room.bands.temperature.lowest;
        let (humidity, pressure) = (room.bands.relative_humidity.lowest, self.outdoors.pressure());
        let inside = MoistAir::from_sensor(coldest, humidity, BelowFreezing::Water, pressure).ok()?;
        let (inflow, supply, vapour) = self.entering(index, room, &inside)?;
        // Moist air's heat capacity for each kilogram of dry air, in Wh/K.
        let carried = |air: &MoistAir| {
            let capacity = 1.006 + 1.86 * air.humidity_ratio().kilograms_per_kilogram();
            capacity / 3.6 * coldest.minus(air.temperature()).kelvins()
        };
        let air = inflow.supplied.kilograms_per_hour() * carried(&supply)
            + inflow.leaked.kilograms_per_hour() * carried(&self.outdoors);
        let cold = room.humidifier.is_some_and(|humidifier| humidifier.method != HumidifierMethod::Steam);
        let given = gives(room).map_or(0.0, WaterFlow::kilograms_per_hour);
        let evaporation = if cold { EVAPORATION * vapour.kilograms_per_hour().clamp(0.0, given) } else { 0.0 };
        let breath = room.crop.as_ref().filter(|_| breathes(room));
        let breath = breath.map_or(0.0, |crop| BREATH * crop.substrate.kilograms() * crop.respiration.middle);
        let share =
            self.fresh_air.get(index)?.cubic_metres_per_hour() / room.fan.capacity.cubic_metres_per_hour().max(1.0);
        let fan = room.fan.heat.watts() * share.min(1.0);
        let shell = loss * coldest.minus(self.around(room.shell.around)?).kelvins();
        let needed = HeatFlow::clamped(shell + air + evaporation - breath - fan);
        let gives = room.heater.map(|heater| heater.power);
        let outdoors = self.farm.site.coldest();
        (needed.watts() > gives.map_or(0.0, HeatFlow::watts)).then_some(Winter::HeaterTooSmall {
            gives,
            needed,
            held: coldest,
            outdoors,
        })
    }

    /// Surfaces that are wet at any humidity of the band. What a probe will show is not known yet.
    fn surfaces(&self, room: &Room) -> Vec<Winter> {
        let wet = || {
            let inside = self.lowest(room)?;
            let around = self.around(room.shell.around)?;
            let lowest = room.bands.relative_humidity.lowest;
            let factor = surface::lowest_dry_factor(inside, around).ok()?;
            let wet = room.shell.surfaces.iter().filter_map(move |watched| {
                let film = ThermalResistance::clamped(INNER_FILM);
                let (own, wall) = match watched.kind {
                    SurfaceKind::Wall { transmittance, .. } => (surface::factor_of_wall(transmittance, film), true),
                    SurfaceKind::Factor(factor) => (factor, false),
                    SurfaceKind::Probe => return None,
                };
                let cold = surface::temperature_by_factor(inside.temperature(), around, own);
                let dry_up_to = surface::highest_dry_humidity(cold, inside.temperature(), inside.pressure()).ok()?;
                let transmittance =
                    wall.then(|| Transmittance::clamped(((1.0 - factor.ratio()) / INNER_FILM * 100.0).floor() / 100.0));
                let surface = watched.title.clone();
                (dry_up_to < lowest).then_some(Winter::WetSurface {
                    surface,
                    dry_up_to,
                    lowest,
                    factor,
                    transmittance,
                    around,
                })
            });
            Some(wet.collect())
        };
        wet().unwrap_or_default()
    }
}

/// Vapour that a room's humidifier gives at full duty.
fn gives(room: &Room) -> Option<WaterFlow> {
    let humidifier = room.humidifier?;
    let share: Fraction = humidifier.evaporated;
    Some(WaterFlow::clamped(humidifier.output.kilograms_per_hour() * share.ratio()))
}
