//! The end of the story: what was said against what truly happened, each within a bound that is told beside it.
//!
//! The bounds were written before the first result was seen, from what is said elsewhere of the daemon: forecasts of a
//! frosty night miss by about a kelvin, leaks and humidifiers are not what their owner writes down, and a room's only
//! sensor errs by a point or two. Two were widened after it, from 2 and 3 hours: the anteroom dries by about a point an
//! hour, and where four points may be missed, the hour of one level cannot be told to two hours.

use std::io::Write;

use jiff::Timestamp;

use super::{
    DemoError,
    acts::{Air, Dawn, Noted, percent},
    configuration::{self, HALL_LIMIT, SITE},
    lies::{self, BAY, HALL},
    night::Play,
    rules::Pull,
    story::{TITLES, device},
};

/// Water of a room: a share of the truth, or so many litres where that is more.
const WATER_SHARE: f64 = 0.30;
const WATER_LITRES: f64 = 10.0;
/// Water of the whole farm, a share of the truth.
const FARM_SHARE: f64 = 0.25;
/// Why the rooms do not draw what was said.
const WHY_WATER: &str = "    The rooms leak more, and their humidifiers waste more, than their owner has written down.";
/// What a tank holds at dawn, litres.
const TANK_LITRES: f64 = 25.0;
/// Least warnings before what they warn of, hours.
const FROST_LEAD: f64 = 2.0;
const SHORTFALL_LEAD: f64 = 6.0;
/// The first hour of want, hours: four points at a point an hour and a little.
const SHORT_FROM: f64 = 3.5;
/// How long the want lasts, hours: missed at both ends, of which the morning's is the steeper.
const SHORT_FOR: f64 = 5.5;
/// Driest air, as a ratio: four points.
const DRIEST: f64 = 0.04;
/// Water that a lever saves, as a share of that without it: eight points.
const SAVED: f64 = 0.08;
/// Carbon dioxide that a lever leads to, ppm.
const LEVER_CARBON_DIOXIDE: f64 = 100.0;
/// How long a lie may go unnoticed, minutes.
const FIRST_LIE: f64 = 60.0;
const SECOND_LIE: f64 = 20.0;
/// Air that a humidifier makes which runs after a liar, a ratio: above the highest humidity that is ever advised.
const WETTEST: f64 = 0.95;

/// Something that was said, and the truth.
#[derive(Debug, Clone, PartialEq)]
struct Check {
    what: String,
    said: String,
    truly: String,
    bound: String,
    holds: bool,
}

impl Check {
    fn line(&self) -> String {
        let mark = if self.holds { ' ' } else { '!' };
        format!("  {mark} {:<38} {:>13} {:>13}   {}", self.what, self.said, self.truly, self.bound)
    }

    fn told(&self) -> String {
        format!("{}: said {}, truly {}, bound: {}", self.what, self.said, self.truly, self.bound)
    }
}

impl<W: Write> Play<W> {
    /// Tells what turned out how, and returns what is outside its bound. A story that was cut short is not judged by
    /// what it has not reached.
    pub(super) fn tell_summary(&mut self) -> Result<Vec<String>, DemoError> {
        let now = self.now();
        let at = self.story.time(now);
        let whole = self.noted.lied_to.is_some();
        let about = if whole {
            format!(
                "It is {at}. What the daemon said, what truly happened in the simulation, and how far apart they may be:"
            )
        } else {
            format!("The story was ended at {at} of the farm; what it had reached by then:")
        };
        self.story.heading("Summary", &about)?;
        let parts = [
            ("Water from 18:00, without the lever", self.water()),
            ("Warnings of the night", self.warnings()),
            ("The lever", self.lever_checks()),
            ("The lies", self.lies()),
        ];
        let mut outside = Vec::new();
        let mut count = 0;
        for (title, checks) in parts.iter().filter(|(_, checks)| !checks.is_empty()) {
            self.story.line(&format!("    {title:<38} {:>13} {:>13}   bound", "said", "truly"))?;
            for check in checks {
                self.story.line(&check.line())?;
            }
            if checks.iter().any(|check| check.what == TITLES[HALL]) {
                self.story.line(WHY_WATER)?;
            }
            self.story.line("")?;
            count += checks.len();
            outside.extend(checks.iter().filter(|check| !check.holds).map(Check::told));
        }
        let verdict = match (count, outside.len()) {
            (0, _) => "Nothing to compare yet.".to_owned(),
            (_, 0) => format!("All {count} are within their bounds."),
            (_, missed) => format!("{missed} of {count} are outside their bounds, marked with an exclamation mark."),
        };
        self.story.line(&verdict)?;
        Ok(outside)
    }

    fn water(&self) -> Vec<Check> {
        let Noted { dawn: Some(Dawn { without_lever, tank, .. }), water, .. } = &self.noted else {
            return Vec::new();
        };
        let per_kilogram = self.per_kilogram();
        let unit = if per_kilogram < 1.0 { "gal" } else { "L" };
        let shown = |published: f64| format!("{published:.1} {unit}");
        let mut checks = Vec::new();
        for (room, said) in water.iter().enumerate() {
            let truly = without_lever[room].drawn * per_kilogram;
            let most = (truly * WATER_SHARE).max(WATER_LITRES * per_kilogram);
            checks.push(Check {
                what: TITLES[room].to_owned(),
                said: said.map_or_else(|| "–".to_owned(), shown),
                truly: shown(truly),
                bound: format!("{} or {}", percent(WATER_SHARE), shown(WATER_LITRES * per_kilogram)),
                holds: said.is_some_and(|said| (said - truly).abs() <= most),
            });
        }
        let said: Option<f64> = water.iter().copied().sum();
        let truly: f64 = without_lever.iter().map(|tally| tally.drawn * per_kilogram).sum();
        checks.push(Check {
            what: "The whole farm".to_owned(),
            said: said.map_or_else(|| "–".to_owned(), shown),
            truly: shown(truly),
            bound: percent(FARM_SHARE),
            holds: said.is_some_and(|said| (said / truly - 1.0).abs() <= FARM_SHARE),
        });
        let (said, truly) = (tank.0, tank.1 * per_kilogram);
        let most = TANK_LITRES * per_kilogram;
        checks.push(Check {
            what: "Left in the oyster hall's tank at dawn".to_owned(),
            said: said.map_or_else(|| "–".to_owned(), shown),
            truly: shown(truly),
            bound: shown(most),
            holds: said.is_some_and(|said| (said - truly).abs() <= most),
        });
        checks
    }

    fn warnings(&self) -> Vec<Check> {
        let frost = self.cast.night.first_at_or_below(configuration::HARD_FROST).filter(|at| *at <= self.now());
        let mut checks: Vec<Check> =
            frost.map(|frost| self.warned("hard-frost", SITE, frost, FROST_LEAD)).into_iter().collect();
        let Some(Dawn { without_lever, .. }) = &self.noted.dawn else { return checks };
        let truth = &without_lever[0];
        let short_from = truth.short_from.and_then(|seconds| self.moment(seconds));
        if let Some(short) = short_from {
            checks.push(self.warned("humidifier-shortfall", &device(0), short, SHORTFALL_LEAD));
        }
        let before = self.noted.before;
        let shown = |at: Option<Timestamp>| at.map_or_else(|| "never".to_owned(), |at| self.story.time(at));
        let said = before.and_then(|night| night.short_from);
        checks.push(Check {
            what: "Anteroom short from".to_owned(),
            said: shown(said),
            truly: shown(short_from),
            bound: format!("{SHORT_FROM:.1} h"),
            holds: match (said, short_from) {
                (Some(said), Some(truly)) => hours_between(said, truly).abs() <= SHORT_FROM,
                (said, truly) => said == truly,
            },
        });
        let hours = before.map(|night| night.hours_short);
        checks.push(Check {
            what: "Anteroom short for".to_owned(),
            said: hours.map_or_else(|| "–".to_owned(), |hours| format!("{hours:.0} h")),
            truly: format!("{:.1} h", truth.hours_short),
            bound: format!("{SHORT_FOR:.1} h"),
            holds: hours.is_some_and(|hours| (hours - truth.hours_short).abs() <= SHORT_FOR),
        });
        checks.push(driest("Anteroom's driest air", before.map(|night| night.driest), truth.driest));
        checks
    }

    fn warned(&self, alert: &str, device: &str, happened: Timestamp, least: f64) -> Check {
        let raised = self.story.raised_at(device, alert);
        let lead = raised.map(|raised| hours_between(raised, happened));
        let lead_shown = lead.map_or_else(|| "unwarned".to_owned(), |lead| format!("{lead:.1} h before"));
        Check {
            what: format!("{alert}: given, came"),
            said: raised.map_or_else(|| "–".to_owned(), |raised| self.story.time(raised)),
            truly: self.story.time(happened),
            bound: format!("{lead_shown}; at least {least:.0} h"),
            holds: lead.is_some_and(|lead| lead >= least),
        }
    }

    fn lever_checks(&self) -> Vec<Check> {
        let Some(Dawn { farm, without_lever, .. }) = &self.noted.dawn else { return Vec::new() };
        let Some(Pull { saves, carbon_dioxide, .. }) = &self.noted.pull else {
            return vec![Check {
                what: "A lever for the oyster hall".to_owned(),
                said: "none".to_owned(),
                truly: "–".to_owned(),
                bound: "one that helps".to_owned(),
                holds: false,
            }];
        };
        let [with, without] = [farm, without_lever].map(|tallies| tallies[HALL].drawn - self.noted.drawn_before);
        let saved = 1.0 - with / without;
        let highest = farm[HALL].highest_carbon_dioxide;
        vec![
            Check {
                what: "Less water for the oyster hall".to_owned(),
                said: percent(*saves),
                truly: percent(saved),
                bound: format!("{:.0} points", SAVED * 100.0),
                holds: (saves - saved).abs() <= SAVED,
            },
            Check {
                what: "Its highest carbon dioxide".to_owned(),
                said: format!("{carbon_dioxide:.0} ppm"),
                truly: format!("{highest:.0} ppm"),
                bound: format!("{LEVER_CARBON_DIOXIDE:.0} ppm, below {HALL_LIMIT:.0}"),
                holds: (carbon_dioxide - highest).abs() <= LEVER_CARBON_DIOXIDE && highest < HALL_LIMIT,
            },
            driest("Anteroom's driest air with it", self.noted.after.map(|night| night.driest), farm[0].driest),
        ]
    }

    fn lies(&self) -> Vec<Check> {
        let Some((farm, _)) = &self.noted.lied_to else { return Vec::new() };
        let found = |what: &str, room: usize, since: f64, most: f64| {
            let began = self.moment(since);
            let raised = self.story.raised_at(&device(room), "sensor-suspect");
            let after = began.zip(raised).map(|(began, raised)| hours_between(began, raised) * 60.0);
            let shown = |at: Option<Timestamp>| at.map_or_else(|| "–".to_owned(), |at| self.story.time(at));
            let after_shown = after.map_or_else(|| "never".to_owned(), |after| format!("after {after:.0} min"));
            Check {
                what: what.to_owned(),
                said: shown(raised),
                truly: shown(began),
                bound: format!("{after_shown}; at most {most:.0}"),
                holds: after.is_some_and(|after| (0.0..=most).contains(&after)),
            }
        };
        let mut checks = vec![
            found("Bay's carbon dioxide: told, began", BAY, lies::FIRST.as_secs_f64(), FIRST_LIE),
            found("Hall's humidity: told, began", HALL, lies::SECOND.as_secs_f64(), SECOND_LIE),
        ];
        let liars = [BAY, HALL].map(device);
        let other = self.story.raised.iter().filter(|raised| raised.alert == "sensor-suspect");
        let innocent = other.filter(|raised| !liars.contains(&raised.device)).count();
        checks.push(Check {
            what: "Rooms whose sensors are suspected".to_owned(),
            said: (innocent
                + liars.iter().filter(|liar| self.story.raised_at(liar, "sensor-suspect").is_some()).count())
            .to_string(),
            truly: liars.len().to_string(),
            bound: "the same".to_owned(),
            holds: innocent == 0,
        });
        if let Some(Air { before, known, .. }) = self.noted.air {
            let unit = self.story.unit(&device(BAY), "advice/fresh-air");
            let shown = |air: Option<f64>| air.map_or_else(|| "–".to_owned(), |air| format!("{air:.1} {unit}"));
            checks.push(Check {
                what: "Bay's least air since told, and before".to_owned(),
                said: shown(known),
                truly: shown(Some(before)),
                bound: "never less".to_owned(),
                holds: known.is_some_and(|known| known >= before),
            });
        }
        let highest = farm[BAY].highest_carbon_dioxide;
        checks.push(Check {
            what: "Bay's highest carbon dioxide".to_owned(),
            said: "in its limit".to_owned(),
            truly: format!("{highest:.0} ppm"),
            bound: format!("below {:.0} ppm", configuration::BAY_LIMIT),
            holds: highest < configuration::BAY_LIMIT,
        });
        let wettest = farm[HALL].wettest;
        checks.push(Check {
            what: "Hall's wettest air".to_owned(),
            said: "not soaked".to_owned(),
            truly: percent(wettest),
            bound: format!("below {}", percent(WETTEST)),
            holds: wettest < WETTEST,
        });
        checks
    }
}

fn driest(what: &str, said: Option<f64>, truly: f64) -> Check {
    Check {
        what: what.to_owned(),
        said: said.map_or_else(|| "–".to_owned(), percent),
        truly: percent(truly),
        bound: format!("{:.0} points", DRIEST * 100.0),
        holds: said.is_some_and(|said| (said - truly).abs() <= DRIEST),
    }
}

fn hours_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64() / 3_600.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_check_that_fails_is_marked_and_says_all_that_it_rests_on_and_no_line_is_too_wide() {
        let check = |said: Option<f64>| driest("Anteroom's driest air with it", said, 0.55);
        assert!(check(Some(0.58)).holds && !check(Some(0.60)).holds && !check(None).holds);
        assert!(check(Some(0.60)).line().starts_with("  ! Anteroom's"));
        let told = check(Some(0.60)).told();
        assert_eq!(told, "Anteroom's driest air with it: said 60 %, truly 55 %, bound: 4 points");
        let widest = Check {
            what: "Left in the oyster hall's tank at dawn".to_owned(),
            said: "unwarned".to_owned(),
            truly: "1000.0 m³/h".to_owned(),
            bound: "10.2 h before; at least 6 h".to_owned(),
            holds: true,
        };
        assert!(widest.line().chars().count() <= 100, "{}", widest.line().chars().count());
    }
}
