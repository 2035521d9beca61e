//! What encloses a room: from checked keys to a [`Shell`].

use std::collections::HashMap;

use super::{
    problem::{Mistake, nearest},
    rooms::title,
    section::Section,
    walk::Found,
};
use crate::{
    model::{Around, Identifier, Intake, Shell, Surface, SurfaceKind},
    units::{Area, Fraction, HeatLoss, HeatTransferCoefficient, Transmittance},
};

/// The ways in which a surface is known.
pub const SURFACE_WAYS: [&str; 3] = ["probe", "wall", "temperature-factor"];

/// Which place in the farm's lists a name stands for.
#[derive(Debug, Default)]
pub struct Places<'v> {
    rooms: HashMap<&'v str, usize>,
    spaces: HashMap<&'v str, usize>,
}

impl<'v> Places<'v> {
    /// Places of rooms, in the order of their air, and of spaces, in the file's order.
    pub fn new(rooms: impl Iterator<Item = &'v str>, spaces: impl Iterator<Item = &'v str>) -> Self {
        let places = |names: &mut dyn Iterator<Item = &'v str>| names.zip(0..).collect();
        Self { rooms: places(&mut { rooms }), spaces: places(&mut { spaces }) }
    }

    fn around(&self, name: &str) -> Option<Around> {
        if name == "outdoors" {
            return Some(Around::Outdoors);
        }
        let space = || self.spaces.get(name).copied().map(Around::Space);
        self.rooms.get(name).copied().map(Around::Room).or_else(space)
    }

    fn names(&self) -> impl Iterator<Item = &'v str> {
        // A map has no order, and a message must have the same one each time.
        let mut names: Vec<&str> = self.rooms.keys().chain(self.spaces.keys()).copied().collect();
        names.sort_unstable();
        names.dedup();
        std::iter::once("outdoors").chain(names)
    }
}

/// A room's shell. `None` where something did not fit, which has been reported.
pub fn shell(room: &Section, intake: Intake, places: &Places, found: &mut Vec<Found>) -> Option<Shell> {
    let section = room.section("shell");
    let usual = match intake {
        Intake::Space(space) => Around::Space(space),
        Intake::Outdoors | Intake::Room(_) => Around::Outdoors,
    };
    if !section.exists() {
        // What is there and is no section has been reported.
        return (!room.has("shell")).then(|| Shell { around: usual, ..Shell::unknown() });
    }
    let loss = loss(&section, found);
    let around = if section.has("around") { around(room, &section, places, found) } else { Some(usual) };
    let surfaces: Vec<_> =
        section.section("surfaces").named().map(|(name, section)| surface(name, &section, found)).collect();
    let surfaces = if section.has("surfaces") && !section.section("surfaces").exists() { None } else { Some(surfaces) };
    Some(Shell {
        loss: loss?,
        fabric: section.quantity("fabric")?,
        around: around?,
        surfaces: surfaces?.into_iter().collect::<Option<Vec<_>>>()?,
    })
}

/// The outer `None` is a mistake; the inner one is a loss that nobody has given.
fn loss(section: &Section, found: &mut Vec<Found>) -> Option<Option<HeatLoss>> {
    let (whole, u_value, area) = ("heat-loss", "u-value", "area");
    for here in [u_value, area] {
        let other = if here == area { u_value } else { area };
        if section.has(here) && section.has(whole) {
            let mistake = Mistake::TwoWays { here, other: whole };
            found.push(
                Found::key(section.path(here), mistake).hint(format!("keep `{whole}`, or `{u_value}` and `{area}`")),
            );
        } else if section.has(here) && !section.has(other) {
            let hint = format!("add `{other}:`, or give the whole `{whole}`");
            found.push(Found::value(section.path(here), Mistake::HalfOfPair { here, other }).hint(hint));
        }
    }
    if section.has(whole) {
        return Some(Some(section.quantity(whole)?));
    }
    if !section.has(u_value) && !section.has(area) {
        return Some(None);
    }
    let (u_value, area) = (section.quantity::<Transmittance>(u_value)?, section.quantity::<Area>(area)?);
    Some(Some(HeatLoss::clamped(u_value.watts_per_square_metre_kelvin() * area.square_metres())))
}

fn around(room: &Section, section: &Section, places: &Places, found: &mut Vec<Found>) -> Option<Around> {
    let name = section.text("around")?;
    Identifier::new(&name).ok()?;
    let own = room.here().last() == Some(&name);
    if let Some(around) = places.around(&name).filter(|_| !own) {
        return Some(around);
    }
    let mistake = if own { Mistake::AroundItself } else { Mistake::UnknownRoom(name.clone()) };
    let allowed: Vec<_> =
        places.names().filter(|known| Some(*known) != room.here().last().map(String::as_str)).collect();
    let hint = match nearest(&name, allowed.iter().copied()) {
        Some(near) if !own => format!("did you mean `{near}`?"),
        _ => "write `outdoors`, or the name of another room or of a space".to_owned(),
    };
    found.push(Found::value(section.path("around"), mistake).allowed(allowed.join(", ")).hint(hint));
    None
}

fn surface(name: &str, section: &Section, found: &mut Vec<Found>) -> Option<Surface> {
    let ways: Vec<&'static str> = SURFACE_WAYS.into_iter().filter(|way| section.has(way)).collect();
    match ways.as_slice() {
        [] if section.exists() => {
            let hint = "add a `probe`, a `wall` with `area` and `u-value`, or a `temperature-factor`";
            found.push(Found::key(section.here(), Mistake::UnknownSurface).hint(hint));
        }
        [other, rest @ ..] => {
            for here in rest {
                let mistake = Mistake::TwoWays { here, other };
                let hint = format!("keep one of {}", ways.join(", "));
                found.push(Found::key(section.path(here), mistake).hint(hint));
            }
        }
        [] => {}
    }
    let kind = match ways.as_slice() {
        ["probe"] => section.section("probe").exists().then_some(SurfaceKind::Probe),
        ["wall"] => wall(&section.section("wall"), found),
        ["temperature-factor"] => section
            .parsed("temperature-factor")
            .and_then(|factor| Fraction::from_ratio(factor).ok())
            .map(SurfaceKind::Factor),
        _ => None,
    };
    let title = section.text("title").unwrap_or_else(|| title(name));
    Some(Surface { name: Identifier::new(name).ok()?, title, kind: kind? })
}

fn wall(section: &Section, found: &mut Vec<Found>) -> Option<SurfaceKind> {
    let area = section.more_than_nothing("area", Area::square_metres, "leave out what has no area", found);
    let convective = section.more_than_nothing(
        "convective",
        HeatTransferCoefficient::watts_per_square_metre_kelvin,
        "still air has about `3 W/m²K`",
        found,
    );
    let transmittance = section.more_than_nothing(
        "u-value",
        Transmittance::watts_per_square_metre_kelvin,
        "no wall keeps all heat; an 80 mm insulated panel has about `0.27 W/m²K`",
        found,
    );
    Some(SurfaceKind::Wall { area: area?, transmittance: transmittance?, convective: convective? })
}
