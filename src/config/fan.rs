//! Fans: from checked keys to a [`Fan`].

use std::time::Duration;

use super::{
    kind::{self, Air},
    problem::Mistake,
    section::Section,
    table,
    walk::Found,
};
use crate::{
    model::{
        Fan, FanMoves,
        equipment::{CurvePoint, FanControl, Recovery},
    },
    units::{AirFlow, Fraction, HeatFlow, Volume},
};

/// A room's fan, or no fan at all for a room without a crop. `None` where something was missing or did not fit, which has
/// been reported.
pub fn fan(room: &Section, volume: Option<Volume>, found: &mut Vec<Found>) -> Option<Fan> {
    let section = room.section("fan");
    let crop = room.section("crop").exists();
    if !section.exists() {
        if crop && !room.has("fan") {
            let hint = "add a section `fan:` with `capacity`, `floor` and `usual`";
            found.push(Found::key(room.here(), Mistake::NoFan).hint(hint));
        }
        let none = AirFlow::from_cubic_metres_per_hour(0.0).ok()?;
        return (!crop).then(|| Fan::plain(FanMoves::Supply, [none, none, none]));
    }
    let flows = Flows { section: &section, volume };
    let control = flows.control(found);
    let capacity = flows.capacity(control.as_ref(), found);
    let (floor, usual) = (flows.read("floor"), flows.read("usual"));
    let fallback = if section.has("fallback") { flows.read("fallback") } else { usual };
    flows.orders([floor, usual, capacity], fallback, found);
    if crop && section.air("floor").is_some_and(Air::is_zero) {
        let hint =
            format!("for example `floor: {}`", table::key("rooms.*.fan.floor").map_or("1 /h", |key| key.example));
        found.push(Found::value(section.path("floor"), Mistake::ZeroFloor).allowed("more than nothing").hint(hint));
    }
    let moves = kind::fan_moving(&section.text("moves")?)?;
    let heat = section.at_least_nothing("heat", HeatFlow::watts, found);
    let recovery = recovery(&section.section("recovery"));
    // A section that exists must have been understood whole.
    let recovery = if section.has("recovery") { Some(recovery?) } else { None };
    let (fallback, control, heat) = (fallback?, control?, heat?);
    Some(Fan { fallback, control, heat, recovery, ..Fan::plain(moves, [floor?, usual?, capacity?]) })
}

fn recovery(section: &Section) -> Option<Recovery> {
    Some(Recovery { heat: section.quantity("heat")?, moisture: section.quantity("moisture")? })
}

/// The flows of a fan's section, in a room of this volume.
struct Flows<'s, 'v> {
    section: &'s Section<'v>,
    volume: Option<Volume>,
}

impl Flows<'_, '_> {
    fn read(&self, name: &str) -> Option<AirFlow> {
        Some(self.section.air(name)?.flow(self.volume?))
    }

    /// Flow at full command: as written, or the end of the curve.
    fn capacity(&self, control: Option<&FanControl>, found: &mut Vec<Found>) -> Option<AirFlow> {
        let section = self.section;
        if section.has("curve") {
            if section.has("capacity") {
                let mistake = Mistake::TwoWays { here: "capacity", other: "curve" };
                let hint = "take `capacity` out: the last point of the curve says it";
                found.push(Found::key(section.path("capacity"), mistake).hint(hint));
            }
            let Some(FanControl::Curve(points)) = control else { return None };
            return points.last().map(|point| point.flow);
        }
        if !section.has("capacity") {
            let allowed = kind::Kind::Air.allowed("");
            let missing = Found::key(section.here(), Mistake::Missing("capacity")).allowed(allowed);
            found.push(missing.hint("for example `capacity: 1 500 m³/h`; or a measured `curve`"));
        }
        if section.air("capacity").is_some_and(Air::is_zero) {
            let mistake = Mistake::NotPositive(section.text("capacity").unwrap_or_default());
            let hint = "a room without a fan has no `fan` section";
            found.push(Found::value(section.path("capacity"), mistake).hint(hint));
            return None;
        }
        self.read("capacity")
    }

    fn control(&self, found: &mut Vec<Found>) -> Option<FanControl> {
        let section = self.section;
        if section.has("curve") && section.has("timer") {
            let mistake = Mistake::TwoWays { here: "timer", other: "curve" };
            let hint = "a fan that a timer switches fully on and off has a `capacity` and no `curve`";
            found.push(Found::key(section.path("timer"), mistake).hint(hint));
        }
        if section.has("timer") {
            let hint = "one on and one off together, as in `period: 15 min`";
            let timer = section.section("timer");
            let period = timer.more_than_nothing("period", |period: Duration| period.as_secs_f64(), hint, found)?;
            return Some(FanControl::Timer { period });
        }
        if !section.has("curve") {
            return Some(FanControl::Proportional);
        }
        self.curve(found).map(FanControl::Curve)
    }

    fn curve(&self, found: &mut Vec<Found>) -> Option<Vec<CurvePoint>> {
        let rows = self.section.list("curve")?;
        let point = |row: &Section| {
            let (command, flow) = (row.quantity::<Fraction>("command")?, row.air("flow")?.flow(self.volume?));
            Some(CurvePoint { command, flow })
        };
        let points: Vec<_> = rows.iter().map(point).collect();
        let before = found.len();
        for ((row, pair), last) in rows.iter().skip(1).zip(points.windows(2)).zip(&rows) {
            let [Some(low), Some(high)] = pair else { continue };
            for (name, falls) in [("command", high.command <= low.command), ("flow", high.flow <= low.flow)] {
                if falls {
                    let written = |row: &Section| row.text(name).unwrap_or_default();
                    let mistake = Mistake::NotRising { name, here: written(row), before: written(last) };
                    let hint = "list the points from the least command to 100 %, each with more flow than the last";
                    found.push(Found::value(row.path(name), mistake).hint(hint));
                }
            }
        }
        if rows.len() < 2 {
            let hint = "measure at least two, such as `[{command: 20 %, flow: 150 m³/h}, {command: 100 %, flow: 900 \
                        m³/h}]`";
            found.push(Found::value(self.section.path("curve"), Mistake::ShortCurve).hint(hint));
        } else if let (Some(row), Some(Some(end))) = (rows.last(), points.last())
            && end.command.ratio() < 1.0
        {
            let mistake = Mistake::OpenCurve(row.text("command").unwrap_or_default());
            found.push(Found::value(row.path("command"), mistake).hint("add the flow at `command: 100 %`"));
        }
        let whole = found.len() == before;
        points.into_iter().collect::<Option<Vec<_>>>().filter(|_| whole)
    }

    /// Reports flows in the wrong order: floor, usual and fallback, capacity.
    fn orders(
        &self,
        [floor, usual, capacity]: [Option<AirFlow>; 3],
        fallback: Option<AirFlow>,
        found: &mut Vec<Found>,
    ) {
        let section = self.section;
        let written = |name: &str| match section.text(name) {
            Some(text) => text,
            None => section.list("curve").and_then(|rows| rows.last()?.text("flow")).unwrap_or_default(),
        };
        let mut order = |lower: &'static str, low: Option<AirFlow>, upper: &'static str, high: Option<AirFlow>| {
            if let (Some(low), Some(high)) = (low, high)
                && low > high
            {
                let mistake = Mistake::Order { lower, lower_value: written(lower), upper, upper_value: written(upper) };
                let hint =
                    "the floor is the least, the capacity the most, the usual and the fallback rate lie between them";
                found.push(Found::value(section.path(lower), mistake).hint(hint));
            }
        };
        order("floor", floor, "usual", usual);
        order("usual", usual, "capacity", capacity);
        if section.has("fallback") {
            order("floor", floor, "fallback", fallback);
            order("fallback", fallback, "capacity", capacity);
        }
    }
}
