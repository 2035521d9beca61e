//! What was set, in the state file.

use serde::{Deserialize, Serialize};

use super::{BadState, Moment, all, rounded};
use crate::{
    advice::AlertKind,
    engine::kept_inputs::{KeptInputs, KeptStage, KeptTank},
    model::{Hold, Presence, Stage},
    units::{AirFlow, RelativeHumidity, WaterFlow, WaterVolume},
};

#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub(super) struct InputsBody {
    #[serde(skip_serializing_if = "Option::is_none")]
    stage: Option<StageBody>,
    #[serde(skip_serializing_if = "Option::is_none")]
    people: Option<PeopleBody>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hold: Option<HoldBody>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tank: Option<TankBody>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    shelved: Vec<ShelfBody>,
}

#[derive(Debug, Serialize, Deserialize)]
struct StageBody {
    told: String,
    configured: String,
}

#[derive(Debug, Serialize, Deserialize)]
struct PeopleBody {
    presence: String,
    until: Moment,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct HoldBody {
    fresh_air_cubic_metres_per_hour: Option<f64>,
    humidity_target_ratio: Option<f64>,
    until: Moment,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
struct TankBody {
    litres: f64,
    kilograms_per_hour: f64,
    told_at: Moment,
    at: Moment,
}

#[derive(Debug, Serialize, Deserialize)]
struct ShelfBody {
    alert: String,
    until: Moment,
}

impl InputsBody {
    pub(super) fn of(kept: &KeptInputs) -> Self {
        Self {
            stage: kept.stage.map(|stage| StageBody {
                told: stage.told.name().to_owned(),
                configured: stage.configured.name().to_owned(),
            }),
            people: kept
                .presence
                .map(|(presence, until)| PeopleBody { presence: presence.name().to_owned(), until: Moment(until) }),
            hold: kept.hold.map(|(hold, until)| HoldBody {
                fresh_air_cubic_metres_per_hour: hold.fresh_air.map(|flow| rounded(flow.cubic_metres_per_hour(), 2)),
                humidity_target_ratio: hold.humidity_target.map(|target| rounded(target.ratio(), 4)),
                until: Moment(until),
            }),
            tank: kept.tank.map(|tank| TankBody {
                litres: rounded(tank.volume.litres(), 2),
                kilograms_per_hour: rounded(tank.draw.kilograms_per_hour(), 3),
                told_at: Moment(tank.told_at),
                at: Moment(tank.at),
            }),
            shelved: kept
                .shelved
                .iter()
                .map(|(kind, until)| ShelfBody { alert: kind.name().to_owned(), until: Moment(*until) })
                .collect(),
        }
    }

    pub(super) fn into_kept(self) -> Result<KeptInputs, BadState> {
        let stage = |body: StageBody| {
            Ok::<_, BadState>(KeptStage { told: stage(body.told)?, configured: stage(body.configured)? })
        };
        let people = |body: PeopleBody| Ok::<_, BadState>((presence(body.presence)?, body.until.0));
        let hold = |body: HoldBody| {
            let hold = Hold {
                fresh_air: body.fresh_air_cubic_metres_per_hour.map(AirFlow::from_cubic_metres_per_hour).transpose()?,
                humidity_target: body.humidity_target_ratio.map(RelativeHumidity::from_ratio).transpose()?,
            };
            Ok::<_, BadState>((hold, body.until.0))
        };
        let tank = |body: TankBody| {
            Ok::<_, BadState>(KeptTank {
                volume: WaterVolume::from_litres(body.litres)?,
                draw: WaterFlow::from_kilograms_per_hour(body.kilograms_per_hour)?,
                told_at: body.told_at.0,
                at: body.at.0,
            })
        };
        Ok(KeptInputs {
            stage: self.stage.map(stage).transpose()?,
            presence: self.people.map(people).transpose()?,
            hold: self.hold.map(hold).transpose()?,
            tank: self.tank.map(tank).transpose()?,
            shelved: all(self.shelved, |body| Ok((alert(body.alert)?, body.until.0)))?,
        })
    }
}

fn stage(word: String) -> Result<Stage, BadState> {
    Stage::ALL.into_iter().find(|stage| stage.name() == word).ok_or(BadState::Word(word))
}

fn presence(word: String) -> Result<Presence, BadState> {
    [Presence::Present, Presence::Absent]
        .into_iter()
        .find(|presence| presence.name() == word)
        .ok_or(BadState::Word(word))
}

/// The kind of alert of this name.
pub(super) fn alert(word: String) -> Result<AlertKind, BadState> {
    AlertKind::OF_SITE
        .into_iter()
        .chain(AlertKind::OF_ROOM)
        .find(|kind| kind.name() == word)
        .ok_or(BadState::Word(word))
}
