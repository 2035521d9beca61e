//! The farm that is replayed: as configured, with observations in the place of its outdoor sensors where they are given, and
//! a word on each thing that had to be assumed.

use std::{
    fs,
    sync::{Arc, atomic::AtomicU64},
    time::Duration,
};

use jiff::Timestamp;

use super::{
    Failure, ReplayArguments,
    bad::{At, BadLines},
    course::Services,
    input::{Forecasts, Observations, Sources},
    lines::Unreadable,
};
use crate::{
    config::Config,
    model::{Farm, Identifier, Place, Source},
    units::{TemperatureDifference, UnitSystem},
    wire::{
        hearing::Hearing,
        observations::{self, Observed},
        weather::{Protocol, Spot},
    },
};

/// Observations speak every ten minutes.
const OBSERVED_MAXIMUM_AGE: Duration = Duration::from_secs(1_800);

/// What a replay starts from.
pub(super) struct Setup {
    pub farm: Arc<Farm>,
    pub hearing: Hearing,
    pub domain: Identifier,
    pub services: Services,
    protocols: Vec<&'static Protocol>,
    observed: Option<(Vec<Observed>, [usize; 2])>,
    /// Sentences.
    pub assumed: Vec<String>,
    /// Lines of the observations that hold none.
    pub bad: BadLines,
}

impl Setup {
    pub fn new(config: Config, arguments: &ReplayArguments) -> Result<Self, Failure> {
        let Config { mut farm, mut bindings, broker, forecast, fallback_forecast, .. } = config;
        let mut assumed = Vec::new();
        let mut bad = BadLines::default();
        let observed = match &arguments.observations {
            None => None,
            Some(path) => {
                let observed = observations(path, &mut bad)?;
                let (kept, outdoors): (Vec<_>, Vec<_>) =
                    farm.sources.into_iter().zip(bindings).partition(|(source, _)| source.place != Place::Outdoors);
                (farm.sources, bindings) = kept.into_iter().unzip();
                let measured = observed[0].measured();
                let first = farm.sources.len();
                let sources = measured.map(|one| Source::new(Place::Outdoors, one.quantity(), OBSERVED_MAXIMUM_AGE));
                farm.sources.extend(sources);
                assumed.push(instead_of_sensors(outdoors.len()));
                Some((observed, [first, first + 1]))
            }
        };
        let protocols: Vec<&'static Protocol> =
            [&forecast, &fallback_forecast].into_iter().flatten().map(|service| service.protocol).collect();
        let services = if arguments.forecasts.is_some() {
            [protocols.first().map(|protocol| protocol.service), protocols.get(1).map(|protocol| protocol.service)]
        } else if arguments.foresight {
            [Some(observations::SERVICE), None]
        } else {
            [None, None]
        };
        assumed.push(forecasts_were(arguments, farm.site.units));
        let hearing = Hearing::new(&farm, &bindings, &broker.domain);
        let (farm, domain) = (Arc::new(farm), broker.domain);
        Ok(Self { farm, hearing, domain, services, protocols, observed, assumed, bad })
    }

    /// What is to be read.
    pub fn sources<'a>(
        &'a self,
        arguments: &'a ReplayArguments,
        selected: (Option<Timestamp>, Option<Timestamp>),
        read: Arc<AtomicU64>,
    ) -> Sources<'a> {
        let site = &self.farm.site;
        let forecasts = arguments.forecasts.as_deref();
        Sources {
            logs: &arguments.logs,
            hearing: &self.hearing,
            selected,
            forecasts: forecasts.map(|path| Forecasts { path, spot: Spot::of(site), services: &self.protocols }),
            observations: self.observed.as_ref().map(|(observed, sources)| Observations {
                observed,
                sources: *sources,
                foresight: arguments.foresight,
                elevation: site.elevation,
            }),
            read,
            bad: &self.bad,
        }
    }
}

fn observations(path: &std::path::Path, bad: &mut BadLines) -> Result<Vec<Observed>, Failure> {
    let name = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Unreadable { path: path.to_owned(), error })?;
    let refused = |reason: String| Failure::Observations { path: name.clone(), reason };
    let (observed, refusals) = observations::parse(&text).map_err(|error| refused(error.to_string()))?;
    for (line, why) in refusals {
        bad.add("observation", || At { file: Some(name.clone()), line }, || why.to_string());
    }
    if observed.is_empty() {
        return Err(refused("no hour has a temperature and a moisture".to_owned()));
    }
    Ok(observed)
}

fn instead_of_sensors(outdoors: usize) -> String {
    let of_farm =
        if outdoors == 0 { "The farm has no sensor outdoors" } else { "The farm's own sensors outdoors are not heard" };
    format!(
        "{of_farm}: the observations speak in their place, every ten minutes, as a straight line between two hours."
    )
}

fn forecasts_were(arguments: &ReplayArguments, units: UnitSystem) -> String {
    if arguments.forecasts.is_some() {
        return "Forecasts are those that were recorded, each from the moment at which it came.".to_owned();
    }
    if arguments.foresight {
        return "The observations are taken as a forecast that was always right: warnings come earlier, and water is \
                foretold better, than with any real forecast."
            .to_owned();
    }
    // Computed from two winters of observations: see DEVELOPERS.md.
    let error = units.temperature_difference(TemperatureDifference::clamped(4.0));
    format!(
        "No forecast is given: the hours ahead are the last days of the outdoor sensor carried on, which takes a day of \
         readings, errs by about {error} after a day, and warns of no frost."
    )
}
