//! The course of each hour ahead: the same decisions as now, on projected air.

use super::decide::{self, AirSituation, MoistureSituation};
use crate::model::{
    balance::Inflow,
    projection::{Course, View},
    supply::as_it_enters,
};

/// What would be advised in the hour that begins with `view`.
pub fn course(view: &View<'_>) -> Course {
    let room = view.room;
    let upper = room.crop.as_ref().map_or(0.0, |crop| crop.substrate.kilograms() * crop.respiration.upper);
    let air = decide::fresh_air(&AirSituation {
        room,
        inside: &view.air,
        carbon_dioxide: view.carbon_dioxide,
        doubted: false,
        supply_carbon_dioxide: view.supply.carbon_dioxide,
        emission: view.emission.unwrap_or(upper),
        settled: true,
        drawn_by_others: view.drawn,
        last: Some(view.before),
        supply: Some(view.supply.air),
        cooling: None,
    });
    let supplied = Inflow::new(room, air.flow, &view.air, &view.supply.air).supplied;
    let supply = as_it_enters(room, view.supply.air, view.air, supplied);
    let moisture = decide::moisture(&MoistureSituation {
        room,
        inside: &view.air,
        last_target: None,
        reached_lately: None,
        relative_humidity: None,
        wettest: None,
        fan_off: false,
        caps_wet: false,
        coldest: None,
        carbon_dioxide: view.carbon_dioxide,
        supply: &supply,
        supply_known: true,
        outdoors: view.outdoors.humidity_ratio(),
        around: Some(view.around.air.temperature()),
        probe: view.probe,
        needed_behind: view.needed_behind,
        outlook: None,
        air,
    });
    Course { fresh_air: air.flow, humidity_target: moisture.target }
}
