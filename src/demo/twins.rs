//! The same farm lived more than once, under the same weather: what would have been without the advice, or without
//! belief in it. Each twin differs from the farm in one thing.

use std::time::Duration;

use super::{
    farm::{FAN_PLATES, Farm, Orders, Readings, usual_humidity},
    lies::{BROKEN, Believer, HALL, SECOND},
    weather::Outdoors,
};

/// The farm whose sensors the daemon hears, and its twins, which it never hears.
pub(super) struct Twins {
    /// The farm itself.
    pub(super) farm: Farm,
    /// As the farm, but for the lever: the oyster hall's fan does what was foreseen without it, and the anteroom's fan
    /// pushes in as much more, as the advice for it follows what the rooms draw.
    pub(super) without_lever: Farm,
    /// Never hears the daemon: the fallback's fresh air, and the humidistats of the afternoon.
    pub(super) unadvised: Farm,
    /// From the first lie on: as the farm, but that its rules believe the sensors.
    pub(super) believing: Option<(Farm, Believer)>,
}

/// What is ordered for a while.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ordered {
    /// By the advice.
    pub(super) advised: [Orders; 4],
    /// Shares of the fans by the fallbacks.
    pub(super) fallback: [f64; 4],
    /// While the lever is pulled, the share of the oyster hall's fan without it.
    pub(super) hall_without_lever: Option<f64>,
}

impl Twins {
    /// All the same at dusk.
    pub(super) fn at_dusk(outdoors: &Outdoors) -> Self {
        let farm = Farm::at_dusk(outdoors);
        Self { without_lever: farm.clone(), unadvised: farm.clone(), farm, believing: None }
    }

    /// Lets `step` pass for everybody, up to `passed` after dusk. `readings` are what the farm's sensors have said.
    pub(super) fn pass(&mut self, step: Duration, passed: Duration, ordered: &Ordered, outdoors: &Outdoors) {
        let seconds = step.as_secs_f64();
        let Ordered { advised, fallback, hall_without_lever } = ordered;
        self.farm.pass(seconds, advised, outdoors);
        let mut without = *advised;
        if let Some(fan) = hall_without_lever {
            without[0].fan += (fan - without[HALL].fan) * FAN_PLATES[HALL] / FAN_PLATES[0];
            without[HALL].fan = *fan;
        }
        self.without_lever.pass(seconds, &without, outdoors);
        let humidity = usual_humidity();
        let unadvised = std::array::from_fn(|room| Orders { fan: fallback[room], humidity: Some(humidity[room]) });
        self.unadvised.pass(seconds, &unadvised, outdoors);
        if let Some((farm, rule)) = &mut self.believing {
            let readings: Vec<Readings> = farm.read();
            if passed >= SECOND {
                farm.go_by_the_mean(HALL, BROKEN);
            }
            let orders = rule.orders(advised, &readings, passed);
            farm.pass(seconds, &orders, outdoors);
        }
    }

    /// Begins the third act: one more twin, which believes its sensors.
    pub(super) fn begin_to_believe(&mut self) {
        self.count_anew();
        self.believing = Some((self.farm.clone(), Believer::default()));
    }

    /// Counts anew what all live through.
    pub(super) fn count_anew(&mut self) {
        for farm in [&mut self.farm, &mut self.without_lever, &mut self.unadvised] {
            farm.count_anew();
        }
    }

    /// Fills a tank to so many kilograms: everybody's, so that water is no difference between them.
    pub(super) fn fill(&mut self, room: usize, water: f64) {
        for farm in [&mut self.farm, &mut self.without_lever, &mut self.unadvised] {
            farm.fill(room, water);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::air::Air;

    #[test]
    fn twins_differ_by_the_lever_and_the_advice_alone() {
        let outdoors = Outdoors { air: Air::new(-6.0, 0.8, 432.0, 98_500.0), pressure: 98_500.0 };
        let mut twins = Twins::at_dusk(&outdoors);
        let mut ordered = Ordered {
            advised: usual_humidity().map(|humidity| Orders { fan: 0.4, humidity: Some(humidity) }),
            fallback: [0.4; 4],
            hall_without_lever: None,
        };
        twins.pass(Duration::from_secs(1_800), Duration::from_secs(1_800), &ordered, &outdoors);
        assert_eq!(twins.farm.tallies(), twins.without_lever.tallies());
        assert_eq!(twins.farm.tallies(), twins.unadvised.tallies());
        ordered.hall_without_lever = Some(0.6);
        twins.pass(Duration::from_secs(1_800), Duration::from_secs(3_600), &ordered, &outdoors);
        assert!(twins.without_lever.tallies()[HALL].drawn > twins.farm.tallies()[HALL].drawn);
        assert_eq!(twins.farm.tallies(), twins.unadvised.tallies());
    }
}
