//! What is legal in a configuration and doubtful all the same, judged before the first reading arrives.
//!
//! Two kinds: what will go wrong in the room ([`Weight::Warning`]), most of it judged for the coldest night that the
//! site should be built for (`winter`); and what is assumed because nobody has said ([`Weight::Note`]).

use std::time::Duration;

use crate::{
    model::{
        Farm, HumidifierMethod, Intake, Place, Quantity, Room, Species, Stage, balance::OUTDOOR_CARBON_DIOXIDE,
        balance::flow_for_carbon_dioxide, equipment::FanControl,
    },
    physics::{BelowFreezing, MoistAir, atmosphere},
    units::{
        AirFlow, CarbonDioxide, Fraction, HeatFlow, RelativeHumidity, Temperature, Transmittance, WaterFlow,
        WaterVolume,
    },
};

mod sentence;
mod winter;

/// The crop's limit counts up to here only: the workplace limit over eight hours in many countries, in ppm.
const PEOPLE_LIMIT: f64 = 5_000.0;
/// Longest period of a timer fan that leaves the air fairly even: trade advice is 15 to 20 minutes (a judgement from
/// the rise of carbon dioxide and from swings of 1 K in 5 minutes that harm oyster mushrooms).
const LONGEST_PERIOD: Duration = Duration::from_secs(20 * 60);

/// One doubt.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubt {
    /// What it is about; `None` for the whole site.
    pub place: Option<Place>,
    /// What is doubtful.
    pub what: Doubtful,
}

/// How much a doubt matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Something is assumed, or cannot be reckoned.
    Note,
    /// Something will go wrong.
    Warning,
}

impl Weight {
    /// As it stands before the sentence.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
        }
    }
}

/// What can be doubtful.
#[derive(Debug, Clone, PartialEq)]
pub enum Doubtful {
    /// Something is assumed, or cannot be reckoned.
    Assumed(Assumed),
    /// Something is missing or too small in any season.
    Lacking(Lacking),
    /// Something will fail on a design night.
    Winter(Winter),
}

/// What is assumed because nobody has said.
#[derive(Debug, Clone, PartialEq)]
pub enum Assumed {
    /// A space whose air is only assumed.
    OnlyAssumed,
    /// The design cold is that of the rule for all sites.
    DesignColdGuessed(Temperature),
    /// Figures that the catalogue gives, because the grower has not.
    Catalogue {
        /// In words.
        figures: Vec<&'static str>,
        /// Whose; `None` for a room without a crop.
        crop: Option<(Species, Stage)>,
    },
    /// The evaporated fraction is the method's usual one.
    EvaporatedAssumed {
        /// How the humidifier works.
        method: HumidifierMethod,
        /// What is assumed.
        share: Fraction,
    },
    /// A humidifier makes droplets, and nobody has said when they stand.
    MistUnknown,
    /// Nobody has said how the room loses heat.
    ShellUnknown,
    /// No surface is watched.
    NoSurface,
    /// The room draws its air from a space of which nothing is assumed, so that its design night is not judged.
    WinterNotJudged,
    /// The crop's limit is above that for people, which then counts.
    PeopleLimit(CarbonDioxide),
}

/// What is missing or too small in any season.
#[derive(Debug, Clone, PartialEq)]
pub enum Lacking {
    /// A quantity that no sensor tells of.
    NoSensor(Quantity),
    /// Neither a forecast nor sensors tell of the air outdoors.
    NothingOutdoors,
    /// The fan cannot bring what the crop may need.
    FanTooSmall(Shortage),
    /// The rate that is used where nothing is known is less than the crop needs.
    UsualTooLow(Shortage),
    /// The rate that rules fall back to is less than the crop needs.
    FallbackTooLow(Shortage),
    /// A timer of so long a period that the air swings.
    LongTimer(Duration),
    /// Rooms that draw more through this one than its fan brings.
    IntakeShort {
        /// What its fan brings.
        brings: AirFlow,
        /// What the rooms usually draw together.
        drawn: AirFlow,
    },
    /// A burner that gives its fumes to the room.
    Burner,
}

/// What will fail on a design night.
#[derive(Debug, Clone, PartialEq)]
pub enum Winter {
    /// No humidifier, and the fresh air of a design night dries the room.
    NoHumidifier(Drying),
    /// A humidifier that cannot keep up on a design night.
    HumidifierTooSmall {
        /// Vapour that it gives at full duty.
        gives: WaterFlow,
        /// What it would have to hold.
        against: Drying,
    },
    /// A tank that a design night empties.
    TankTooSmall {
        /// What it holds.
        holds: WaterVolume,
        /// What the night draws.
        draws: WaterVolume,
        /// Outdoor temperature of that night.
        outdoors: Temperature,
    },
    /// A surface that is wet at any humidity of the band on a design night.
    WetSurface {
        /// What people call it.
        surface: String,
        /// Highest humidity that leaves it dry.
        dry_up_to: RelativeHumidity,
        /// The band's low end.
        lowest: RelativeHumidity,
        /// Temperature factor that would do.
        factor: Fraction,
        /// Transmittance that would do, for a wall.
        transmittance: Option<Transmittance>,
        /// Temperature on its other side.
        around: Temperature,
    },
    /// Heating that does not hold the band on a design night.
    HeaterTooSmall {
        /// What the heater in the room gives; `None` where there is none.
        gives: Option<HeatFlow>,
        /// What it would have to.
        needed: HeatFlow,
        /// To hold this temperature.
        held: Temperature,
        /// Outdoor temperature of that night.
        outdoors: Temperature,
    },
}

/// Less fresh air than carbon dioxide asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shortage {
    /// What there is.
    pub is: AirFlow,
    /// What the crop needs.
    pub needed: AirFlow,
    /// To stay at this.
    pub limit: CarbonDioxide,
    /// Carbon dioxide that the crop gives off, in grams per kilogram of substrate and hour.
    pub respiration: f64,
}

/// What fresh air takes from a room on a design night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drying {
    /// Vapour that holds the band's low end.
    pub needed: WaterFlow,
    /// The band's low end.
    pub humidity: RelativeHumidity,
    /// Fresh air that the crop needs then.
    pub fresh_air: AirFlow,
    /// Outdoor temperature.
    pub outdoors: Temperature,
}

impl Doubt {
    /// How much it matters.
    pub const fn weight(&self) -> Weight {
        match self.what {
            Doubtful::Assumed(_) => Weight::Note,
            Doubtful::Lacking(_) | Doubtful::Winter(_) => Weight::Warning,
        }
    }
}

/// Everything doubtful about a farm: first the site, then spaces and rooms in their order, in each the warnings first.
pub fn doubts(farm: &Farm, has_forecast: bool) -> Vec<Doubt> {
    let mut found = Vec::new();
    let mut take = |place, what| found.push(Doubt { place, what });
    let outdoors = [Quantity::Temperature, Quantity::RelativeHumidity];
    if !has_forecast && !unheard(farm, Place::Outdoors, &outdoors).is_empty() {
        take(None, Doubtful::Lacking(Lacking::NothingOutdoors));
    }
    if farm.site.design_cold.is_none() {
        take(None, Doubtful::Assumed(Assumed::DesignColdGuessed(farm.site.coldest())));
    }
    for place in (0..farm.spaces.len()).map(Place::Space) {
        if !unheard(farm, place, &outdoors).is_empty() {
            take(Some(place), Doubtful::Assumed(Assumed::OnlyAssumed));
        }
    }
    let winter = winter::doubts(farm);
    for (index, room) in farm.rooms.iter().enumerate() {
        let place = Place::Room(index);
        let wanted = [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide];
        let wanted = if breathes(room) { &wanted[..] } else { &wanted[..2] };
        let unheard = unheard(farm, place, wanted).into_iter().map(Lacking::NoSensor);
        let lacking = unheard.chain(air(room, farm)).chain(intake_short(farm, index)).map(Doubtful::Lacking);
        let winter = winter.iter().filter(|(of, _)| *of == index).map(|(_, what)| Doubtful::Winter(what.clone()));
        let nothing = |from: usize| farm.spaces.get(from).is_none_or(|space| space.assumed.is_none());
        let unjudged = matches!(room.intake, Intake::Space(from) if nothing(from)).then_some(Assumed::WinterNotJudged);
        let assumed = assumptions(room).into_iter().chain(unjudged).map(Doubtful::Assumed);
        lacking.chain(winter).chain(assumed).for_each(|what| take(Some(place), what));
    }
    found
}

/// Which of these quantities no sensor of a place tells of. A dew point is as good as a relative humidity.
fn unheard(farm: &Farm, place: Place, wanted: &[Quantity]) -> Vec<Quantity> {
    let heard = |quantity| farm.sources.iter().any(|s| (s.place, s.quantity) == (place, quantity));
    let known = |quantity| heard(quantity) || quantity == Quantity::RelativeHumidity && heard(Quantity::DewPoint);
    wanted.iter().copied().filter(|quantity| !known(*quantity)).collect()
}

/// Whether a crop in the room gives off carbon dioxide.
fn breathes(room: &Room) -> bool {
    room.crop.as_ref().is_some_and(|crop| crop.stage != Stage::Empty)
}

/// The limit that fresh air is planned by.
fn ceiling(room: &Room) -> CarbonDioxide {
    CarbonDioxide::clamped(room.bands.carbon_dioxide_limit.parts_per_million().min(PEOPLE_LIMIT))
}

/// Fresh air that holds carbon dioxide at `limit` when the crop gives off `respiration` g/kg/h and fresh air carries
/// what outdoor air does. `None` without a crop that breathes.
fn fresh_air_needed(room: &Room, respiration: f64, limit: CarbonDioxide, inside: &MoistAir) -> Option<AirFlow> {
    let crop = room.crop.as_ref().filter(|_| breathes(room))?;
    let outdoors = CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE);
    Some(flow_for_carbon_dioxide(crop.substrate.kilograms() * respiration, limit, outdoors, inside))
}

/// The room's air at its preferred temperature and this humidity, at the site's standard pressure.
fn held(room: &Room, farm: &Farm, humidity: RelativeHumidity) -> Option<MoistAir> {
    let setting = room.heater.and_then(|heater| heater.setting);
    let temperature = setting.unwrap_or(room.bands.temperature.preferred);
    let pressure = atmosphere::standard_pressure(farm.site.elevation);
    MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, pressure).ok()
}

fn air(room: &Room, farm: &Farm) -> Vec<Lacking> {
    let fan = &room.fan;
    let long = match fan.control {
        FanControl::Timer { period } if period > LONGEST_PERIOD => Some(Lacking::LongTimer(period)),
        FanControl::Timer { .. } | FanControl::Proportional | FanControl::Curve(_) => None,
    };
    let burner = room.burner.then_some(Lacking::Burner);
    let breath = || {
        let inside = held(room, farm, room.bands.relative_humidity.preferred)?;
        let (limit, respiration) = (ceiling(room), room.crop.as_ref()?.respiration);
        let short = |is: AirFlow, respiration| {
            let needed = fresh_air_needed(room, respiration, limit, &inside)?;
            (needed > is).then_some(Shortage { is, needed, limit, respiration })
        };
        Some([
            short(fan.capacity, respiration.upper).map(Lacking::FanTooSmall),
            short(fan.usual, respiration.middle).map(Lacking::UsualTooLow),
            short(fan.fallback, respiration.middle).filter(|_| fan.fallback != fan.usual).map(Lacking::FallbackTooLow),
        ])
    };
    breath().into_iter().flatten().chain([long, burner]).flatten().collect()
}

fn intake_short(farm: &Farm, index: usize) -> Option<Lacking> {
    let brings = farm.rooms.get(index)?.fan.capacity;
    let drawing = farm.rooms.iter().filter(|room| room.intake == Intake::Room(index));
    let drawn = AirFlow::clamped(drawing.map(|room| room.fan.usual.cubic_metres_per_hour()).sum());
    (brings.cubic_metres_per_hour() > 0.0 && drawn > brings).then_some(Lacking::IntakeShort { brings, drawn })
}

fn assumptions(room: &Room) -> Vec<Assumed> {
    let limit = room.bands.carbon_dioxide_limit;
    let people = breathes(room) && limit.parts_per_million() > PEOPLE_LIMIT;
    let written = &room.overrides;
    let breath = written.respiration_middle.is_some() && written.respiration_upper.is_some();
    let figures = [
        ("temperature band", written.temperature.iter().all(Option::is_some)),
        ("humidity band", written.relative_humidity.iter().all(Option::is_some)),
        ("carbon dioxide limit", written.carbon_dioxide_limit.is_some() || room.crop.is_none()),
        ("carbon dioxide output", breath || !breathes(room)),
    ];
    let figures: Vec<_> = figures.into_iter().filter(|(_, written)| !written).map(|(words, _)| words).collect();
    let crop = room.crop.as_ref().map(|crop| (crop.species, crop.stage));
    let share = room.humidifier.filter(|humidifier| !humidifier.evaporated_known);
    let droplets = room
        .humidifier
        .filter(|humidifier| !matches!(humidifier.method, HumidifierMethod::Steam | HumidifierMethod::WettedMedia));
    [
        people.then_some(Assumed::PeopleLimit(limit)),
        (!figures.is_empty()).then_some(Assumed::Catalogue { figures, crop }),
        share.map(|humidifier| Assumed::EvaporatedAssumed { method: humidifier.method, share: humidifier.evaporated }),
        droplets.filter(|humidifier| humidifier.mist.is_none()).map(|_| Assumed::MistUnknown),
        room.shell.loss.is_none().then_some(Assumed::ShellUnknown),
        (room.shell.surfaces.is_empty() && breathes(room)).then_some(Assumed::NoSurface),
    ]
    .into_iter()
    .flatten()
    .collect()
}
