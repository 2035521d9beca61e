//! Crops: what they need from the air, and what they give to it.
//!
//! [`Species::entry`] is the catalogue: one row for each species and stage. Every figure says where it comes from
//! ([`Origin`]), because most of what growers pass on has no measurement behind it; every figure can be overridden.

use super::farm::Respiration;
use crate::units::{CarbonDioxide, RelativeHumidity, Temperature};

/// Lowest and highest acceptable value, and the one to prefer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band<T> {
    /// Below this the crop suffers.
    pub lowest: T,
    /// What to aim for where nothing forbids it.
    pub preferred: T,
    /// Above this the crop suffers.
    pub highest: T,
}

/// What a crop needs at a stage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bands {
    /// Air temperature.
    pub temperature: Band<Temperature>,
    /// Relative humidity.
    pub relative_humidity: Band<RelativeHumidity>,
    /// The crop's own limit. It is not a limit for people.
    pub carbon_dioxide_limit: CarbonDioxide,
}

/// Where a room's crop is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stage {
    /// Mycelium grows through the substrate.
    SpawnRun,
    /// Pins form.
    Pinning,
    /// Fruit bodies grow.
    Fruiting,
    /// Between flushes.
    Resting,
    /// No crop in the room.
    Empty,
}

impl Stage {
    /// Every stage, in the order of a crop's life.
    pub const ALL: [Self; 5] = [Self::SpawnRun, Self::Pinning, Self::Fruiting, Self::Resting, Self::Empty];

    /// As it is written in configuration and topics.
    pub const fn name(self) -> &'static str {
        match self {
            Self::SpawnRun => "spawn-run",
            Self::Pinning => "pinning",
            Self::Fruiting => "fruiting",
            Self::Resting => "resting",
            Self::Empty => "empty",
        }
    }

    /// As it is said in a sentence.
    pub const fn words(self) -> &'static str {
        match self {
            Self::SpawnRun => "spawn run",
            Self::Pinning => "pinning",
            Self::Fruiting => "fruiting",
            Self::Resting => "resting",
            Self::Empty => "empty",
        }
    }
}

/// What is grown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Species {
    /// *Pleurotus ostreatus*.
    Oyster,
    /// *Pleurotus eryngii*.
    KingOyster,
    /// *Lentinula edodes*.
    Shiitake,
    /// *Hericium erinaceus*.
    LionsMane,
    /// *Agaricus bisporus*.
    Button,
    /// *Ganoderma lucidum*.
    Reishi,
    /// *Flammulina velutipes*.
    Enoki,
}

impl Species {
    /// Every species of the catalogue.
    pub const ALL: [Self; 7] =
        [Self::Oyster, Self::KingOyster, Self::Shiitake, Self::LionsMane, Self::Button, Self::Reishi, Self::Enoki];

    /// As it is written in configuration and topics.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Oyster => "oyster",
            Self::KingOyster => "king-oyster",
            Self::Shiitake => "shiitake",
            Self::LionsMane => "lions-mane",
            Self::Button => "button",
            Self::Reishi => "reishi",
            Self::Enoki => "enoki",
        }
    }

    /// As it is said in a sentence.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Oyster => "oyster",
            Self::KingOyster => "king oyster",
            Self::Shiitake => "shiitake",
            Self::LionsMane => "lion's mane",
            Self::Button => "button mushroom",
            Self::Reishi => "reishi",
            Self::Enoki => "enoki",
        }
    }
}

/// Where a figure of the catalogue comes from, the most solid first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Origin {
    /// Read in a source text, mostly an abstract or a first page.
    Read,
    /// Read in a weak or secondary source: a grower's site, a forum, a table at second hand.
    WeakSource,
    /// Calculated from figures that were read.
    Calculated,
    /// From memory, unchecked.
    Memory,
    /// A judgement between or beyond the sources.
    Judgement,
}

impl Origin {
    /// As it is said to people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Read => "read in a source",
            Self::WeakSource => "read in a weak or secondary source",
            Self::Calculated => "calculated from figures that were read",
            Self::Memory => "from memory, unchecked",
            Self::Judgement => "judgement, no source",
        }
    }
}

/// A number of the catalogue and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// In the unit that the figure's field says.
    pub value: f64,
    /// Where it comes from.
    pub origin: Origin,
}

/// One row of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Lowest, preferred and highest air temperature, in °C.
    pub temperature: [Figure; 3],
    /// Lowest, preferred and highest relative humidity, in percent. No more than [`Entry::WETTEST`] anywhere: sources
    /// that ask for 95–100 % are cut there, because sensors cannot tell such air from fog.
    pub relative_humidity: [Figure; 3],
    /// The crop's carbon dioxide limit, in ppm.
    pub carbon_dioxide_limit: Figure,
    /// Middle and upper carbon dioxide given off, in g per kg of moist substrate and hour.
    pub respiration: [Figure; 2],
}

impl Entry {
    /// No band goes above this relative humidity, in percent.
    pub const WETTEST: f64 = 95.0;

    /// The row's bands as quantities.
    pub fn bands(&self) -> Bands {
        let [coldest, mild, warmest] = self.temperature.map(|figure| Temperature::clamped(figure.value));
        let [driest, moist, wettest] =
            self.relative_humidity.map(|figure| RelativeHumidity::clamped(figure.value / 100.0));
        Bands {
            temperature: Band { lowest: coldest, preferred: mild, highest: warmest },
            relative_humidity: Band { lowest: driest, preferred: moist, highest: wettest },
            carbon_dioxide_limit: CarbonDioxide::clamped(self.carbon_dioxide_limit.value),
        }
    }

    /// The row's carbon dioxide output.
    pub fn respiration(&self) -> Respiration {
        let [middle, upper] = self.respiration;
        Respiration { middle: middle.value, upper: upper.value }
    }
}

const fn read(value: f64) -> Figure {
    Figure { value, origin: Origin::Read }
}

const fn weak(value: f64) -> Figure {
    Figure { value, origin: Origin::WeakSource }
}

const fn calc(value: f64) -> Figure {
    Figure { value, origin: Origin::Calculated }
}

const fn memo(value: f64) -> Figure {
    Figure { value, origin: Origin::Memory }
}

const fn judge(value: f64) -> Figure {
    Figure { value, origin: Origin::Judgement }
}

const fn row(
    temperature: [Figure; 3],
    relative_humidity: [Figure; 3],
    carbon_dioxide_limit: Figure,
    respiration: [Figure; 2],
) -> Entry {
    Entry { temperature, relative_humidity, carbon_dioxide_limit, respiration }
}

/// What a room without a crop should be: frost-free, no damper than the 80 % at which mould starts on the surfaces of
/// ordinary buildings, and with air that people may work in for eight hours (5,000 ppm, the limit of many countries).
pub const WITHOUT_CROP: Entry = row(
    [judge(2.0), judge(8.0), judge(25.0)],
    [judge(40.0), judge(70.0), read(80.0)],
    read(5_000.0),
    [judge(0.0), judge(0.0)],
);

impl Species {
    /// Fruit bodies on average over a stage, in kg per kg of moist substrate: they transpire, the substrate in its bag
    /// hardly does.
    ///
    /// A flush gives about 0.15 kg per kg of moist substrate (76–107 % of the dry substrate over three or four flushes,
    /// oyster, read; a third of moist substrate is dry); growing as they do, fruit bodies weigh about a third of that on
    /// average over the days of fruiting. Shiitake and reishi yield about half of it.
    pub const fn fruit_bodies(self, stage: Stage) -> Figure {
        match (self, stage) {
            (Self::Shiitake | Self::Reishi, Stage::Fruiting) => judge(0.025),
            (_, Stage::Fruiting) => judge(0.05),
            (_, Stage::Pinning) => judge(0.005),
            (_, Stage::SpawnRun | Stage::Resting | Stage::Empty) => judge(0.0),
        }
    }

    /// The catalogue's row for this species at `stage`.
    ///
    /// Temperatures, humidities and limits of the weak sources: a well-known growers' table at second hand, notes after
    /// an extension service, growers' sites. Respiration: oyster from a fresh-air sizing rule of 300 m³/h per tonne of
    /// substrate at 1,000 ppm; button mushroom from a forum's quotation of a measurement; shiitake a fifth of oyster in
    /// fruiting and half in the spawn run (ratios read in an abstract of 2023); the others judged from a published
    /// ranking of mycelium (enoki, oyster, lion's mane, reishi).
    pub const fn entry(self, stage: Stage) -> Entry {
        match self {
            Self::Oyster => oyster(stage),
            Self::KingOyster => king_oyster(stage),
            Self::Shiitake => shiitake(stage),
            Self::LionsMane => lions_mane(stage),
            Self::Button => button(stage),
            Self::Reishi => reishi(stage),
            Self::Enoki => enoki(stage),
        }
    }
}

/// Other notes ask for less than 700 ppm in pinning. Highest humidity in fruiting lies between the growers' 90 % and
/// the 96 % at which the least evaporation that was published against blotch is just kept, at 16 °C and 0.1 m/s.
const fn oyster(stage: Stage) -> Entry {
    match stage {
        Stage::SpawnRun => row(
            [weak(18.0), weak(24.0), judge(26.0)],
            [weak(85.0), judge(90.0), weak(95.0)],
            weak(20_000.0),
            [judge(0.15), judge(0.3)],
        ),
        Stage::Pinning => row(
            [weak(10.0), judge(13.0), weak(15.6)],
            [judge(90.0), judge(94.0), judge(95.0)],
            weak(1_000.0),
            [judge(0.2), calc(0.3)],
        ),
        Stage::Fruiting => row(
            [weak(10.0), judge(16.0), weak(21.0)],
            [weak(85.0), judge(88.0), judge(92.0)],
            weak(1_000.0),
            [calc(0.2), calc(0.3)],
        ),
        Stage::Resting => row(
            [judge(10.0), judge(16.0), judge(21.0)],
            [judge(80.0), judge(85.0), judge(92.0)],
            judge(2_000.0),
            [judge(0.15), judge(0.25)],
        ),
        Stage::Empty => WITHOUT_CROP,
    }
}

/// The sources disagree on temperature in fruiting (14–18 °C, 15–21 °C). Caps stop spreading at 3,000–9,000 ppm (read).
const fn king_oyster(stage: Stage) -> Entry {
    match stage {
        Stage::SpawnRun => row(
            [judge(20.0), weak(24.0), judge(26.0)],
            [weak(90.0), judge(92.0), weak(95.0)],
            weak(20_000.0),
            [judge(0.12), judge(0.25)],
        ),
        Stage::Pinning => row(
            [weak(10.0), judge(13.0), weak(15.0)],
            [judge(90.0), judge(94.0), judge(95.0)],
            weak(1_000.0),
            [judge(0.15), judge(0.2)],
        ),
        Stage::Fruiting => row(
            [weak(14.0), weak(15.0), weak(18.0)],
            [weak(85.0), judge(88.0), weak(90.0)],
            weak(2_000.0),
            [judge(0.15), judge(0.2)],
        ),
        Stage::Resting => row(
            [judge(10.0), judge(15.0), judge(20.0)],
            [judge(80.0), judge(85.0), judge(92.0)],
            judge(2_000.0),
            [judge(0.1), judge(0.15)],
        ),
        Stage::Empty => WITHOUT_CROP,
    }
}

/// Sources give anything from 60 to 98 % in fruiting: strain and the wanted cap decide; drier air gives firmer caps.
const fn shiitake(stage: Stage) -> Entry {
    match stage {
        Stage::SpawnRun => row(
            [weak(21.0), judge(24.0), weak(27.0)],
            [judge(80.0), judge(90.0), weak(95.0)],
            memo(10_000.0),
            [judge(0.08), judge(0.15)],
        ),
        Stage::Pinning => row(
            [weak(10.0), weak(16.0), weak(21.0)],
            [weak(90.0), judge(93.0), memo(95.0)],
            memo(1_000.0),
            [judge(0.05), judge(0.08)],
        ),
        Stage::Fruiting => row(
            [weak(10.0), judge(16.0), weak(21.0)],
            [weak(65.0), judge(75.0), weak(85.0)],
            memo(1_000.0),
            [judge(0.05), judge(0.08)],
        ),
        Stage::Resting => row(
            [judge(10.0), judge(18.0), judge(24.0)],
            [judge(50.0), judge(65.0), judge(80.0)],
            judge(2_000.0),
            [judge(0.03), judge(0.06)],
        ),
        Stage::Empty => WITHOUT_CROP,
    }
}

/// Some ask for less than 800 ppm in fruiting. Below 12 °C fruit bodies redden, above 25 °C there are none.
const fn lions_mane(stage: Stage) -> Entry {
    match stage {
        Stage::SpawnRun => row(
            [judge(18.0), weak(25.0), judge(28.0)],
            [judge(80.0), judge(88.0), judge(95.0)],
            weak(10_000.0),
            [judge(0.1), judge(0.2)],
        ),
        Stage::Pinning => row(
            [memo(10.0), judge(14.0), memo(16.0)],
            [judge(90.0), judge(94.0), memo(95.0)],
            memo(700.0),
            [judge(0.12), judge(0.2)],
        ),
        Stage::Fruiting => row(
            [weak(16.0), judge(18.0), weak(20.0)],
            [weak(85.0), judge(90.0), weak(95.0)],
            weak(1_000.0),
            [judge(0.15), judge(0.2)],
        ),
        Stage::Resting => row(
            [judge(12.0), judge(18.0), judge(22.0)],
            [judge(75.0), judge(85.0), judge(92.0)],
            judge(2_000.0),
            [judge(0.1), judge(0.15)],
        ),
        Stage::Empty => WITHOUT_CROP,
    }
}

/// Fruiting is the trade's cropping; 16 °C, 93 % and 1,000 ppm as quoted in conference proceedings of 1989.
const fn button(stage: Stage) -> Entry {
    match stage {
        Stage::SpawnRun => row(
            [judge(23.0), weak(25.0), judge(27.0)],
            [judge(90.0), judge(94.0), weak(95.0)],
            judge(10_000.0),
            [weak(0.09), judge(0.12)],
        ),
        Stage::Pinning => row(
            [memo(16.0), judge(17.0), memo(18.0)],
            [memo(92.0), weak(94.0), judge(95.0)],
            memo(1_500.0),
            [judge(0.05), judge(0.08)],
        ),
        Stage::Fruiting => row(
            [weak(14.0), read(16.0), weak(18.0)],
            [weak(85.0), weak(90.0), read(93.0)],
            read(1_000.0),
            [judge(0.045), weak(0.06)],
        ),
        Stage::Resting => row(
            [judge(14.0), judge(17.0), judge(20.0)],
            [judge(85.0), judge(90.0), judge(93.0)],
            judge(2_000.0),
            [judge(0.03), judge(0.06)],
        ),
        Stage::Empty => WITHOUT_CROP,
    }
}

/// Pinning is the antler stage, fruiting the conk. Above 1,000 ppm antlers form; at 10,000 ppm they are malformed.
const fn reishi(stage: Stage) -> Entry {
    match stage {
        Stage::SpawnRun => row(
            [judge(22.0), judge(26.0), judge(30.0)],
            [judge(80.0), judge(90.0), judge(95.0)],
            judge(20_000.0),
            [judge(0.06), judge(0.12)],
        ),
        Stage::Pinning => row(
            [judge(24.0), judge(26.0), judge(29.0)],
            [judge(90.0), judge(94.0), memo(95.0)],
            judge(5_000.0),
            [judge(0.06), judge(0.12)],
        ),
        Stage::Fruiting => row(
            [weak(25.0), judge(26.0), weak(28.0)],
            [weak(90.0), judge(92.0), weak(95.0)],
            weak(1_000.0),
            [judge(0.06), judge(0.12)],
        ),
        Stage::Resting => row(
            [judge(20.0), judge(25.0), judge(28.0)],
            [judge(75.0), judge(85.0), judge(92.0)],
            judge(2_000.0),
            [judge(0.04), judge(0.08)],
        ),
        Stage::Empty => WITHOUT_CROP,
    }
}

/// The long stems are grown at 1,000–2,000 ppm and more; the fruiting limit is the highest that a source allows.
const fn enoki(stage: Stage) -> Entry {
    match stage {
        Stage::SpawnRun => row(
            [weak(23.0), judge(24.0), weak(25.0)],
            [weak(60.0), judge(63.0), weak(65.0)],
            judge(5_000.0),
            [judge(0.2), judge(0.4)],
        ),
        Stage::Pinning => row(
            [judge(10.0), judge(13.0), judge(15.0)],
            [judge(85.0), judge(90.0), judge(95.0)],
            judge(2_000.0),
            [judge(0.2), judge(0.35)],
        ),
        Stage::Fruiting => row(
            [weak(8.0), judge(12.0), weak(15.0)],
            [weak(80.0), judge(86.0), weak(90.0)],
            weak(5_000.0),
            [judge(0.2), judge(0.35)],
        ),
        Stage::Resting => row(
            [judge(8.0), judge(12.0), judge(15.0)],
            [judge(75.0), judge(82.0), judge(90.0)],
            judge(2_000.0),
            [judge(0.15), judge(0.3)],
        ),
        Stage::Empty => WITHOUT_CROP,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_band_of_the_catalogue_rises_and_none_is_wetter_than_the_cap() {
        for species in Species::ALL {
            for stage in Stage::ALL {
                let entry = species.entry(stage);
                for [lowest, preferred, highest] in [entry.temperature, entry.relative_humidity] {
                    assert!(lowest.value < preferred.value, "{species:?} {stage:?}");
                    assert!(preferred.value < highest.value, "{species:?} {stage:?}");
                }
                assert!(entry.relative_humidity[2].value <= Entry::WETTEST, "{species:?} {stage:?}");
                let [middle, upper] = entry.respiration;
                let growing = stage != Stage::Empty;
                assert!(middle.value < upper.value || !growing, "{species:?} {stage:?}");
                assert_eq!(middle.value > 0.0, growing, "{species:?} {stage:?}");
                // Outdoor air is at about 430 ppm: a limit below 600 could not be kept by any fan.
                assert!((600.0..=20_000.0).contains(&entry.carbon_dioxide_limit.value), "{species:?} {stage:?}");
            }
        }
    }

    #[test]
    fn quantities_of_a_row_are_the_row_itself() {
        let bands = Species::Oyster.entry(Stage::Fruiting).bands();
        assert!((bands.temperature.preferred.celsius() - 16.0).abs() < 1e-9);
        assert!((bands.relative_humidity.lowest.percent() - 85.0).abs() < 1e-9);
        assert!((bands.carbon_dioxide_limit.parts_per_million() - 1_000.0).abs() < 1e-9);
    }

    #[test]
    fn no_two_species_or_stages_share_a_name() {
        let mut names: Vec<_> = Species::ALL.map(Species::name).to_vec();
        names.extend(Stage::ALL.map(Stage::name));
        let count = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), count);
    }
}
