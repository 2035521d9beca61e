//! `mistwright check --connect`: what the farm's peers say, one line each, as it becomes known.

use std::{io::Write, process::ExitCode, time::Duration};

use tokio::sync::mpsc;

use crate::{
    cli::{FAILED, run},
    config::Config,
    engine::Event,
    io::{
        clock::Clock,
        logging,
        mqtt::trial::{self, Finding},
        weather::{self, ForecastSetup},
    },
    model::{Measured, Service},
    units::UnitSystem,
};

/// Exit code when the file is good and something that it names does not answer as it has to.
pub(super) const TROUBLE: u8 = 4;

/// A forecast takes no longer: the client's own limit, and a little.
const FORECAST_WITHIN: Duration = Duration::from_secs(30);

/// Tries everything that the configuration names, for at most `wait` where sensors are awaited.
pub(super) fn connect(config: &Config, wait: Duration) -> ExitCode {
    logging::start_quietly();
    let runtime = match run::runtime() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("mistwright: cannot start the runtime: {error}");
            return ExitCode::from(FAILED);
        }
    };
    let clock = Clock::machine();
    let report = std::cell::RefCell::new(Report::default());
    runtime.block_on(async {
        let broker = trial::run(config, wait, &clock, |finding| report.borrow_mut().finding(config, finding));
        let forecasts = forecasts(config, &clock, |line| report.borrow_mut().line(line));
        tokio::join!(broker, forecasts);
    });
    report.into_inner().end()
}

/// One line of the report.
struct Line {
    good: bool,
    subject: String,
    sentence: String,
}

#[derive(Default)]
struct Report {
    good: usize,
    bad: usize,
}

impl Report {
    fn line(&mut self, line: Line) {
        *if line.good { &mut self.good } else { &mut self.bad } += 1;
        let mark = if line.good { "good" } else { "BAD " };
        // A reader that has gone away does not change what was found.
        let _ = writeln!(std::io::stdout(), "{mark}  {}: {}", line.subject, line.sentence);
    }

    fn finding(&mut self, config: &Config, finding: Finding) {
        if let Some(line) = line(config, finding) {
            self.line(line);
        }
    }

    fn end(self) -> ExitCode {
        let verdict = match self.bad {
            0 => "everything answers as it has to".to_owned(),
            1 => "1 thing does not answer as it has to".to_owned(),
            bad => format!("{bad} things do not answer as they have to"),
        };
        let _ = writeln!(std::io::stdout(), "{} good, {} bad: {verdict}.", self.good, self.bad);
        if self.bad == 0 { ExitCode::SUCCESS } else { ExitCode::from(TROUBLE) }
    }
}

fn line(config: &Config, finding: Finding) -> Option<Line> {
    let good = |subject: String, sentence: String| Some(Line { good: true, subject, sentence });
    let bad = |subject: String, sentence: String| Some(Line { good: false, subject, sentence });
    let named = |source: usize| {
        let there = &config.farm.sources[source];
        let position = there.position.as_ref().map_or_else(String::new, |position| format!(" ({position})"));
        format!("{} of {}{position}", there.quantity.words(), config.farm.place_name(there.place))
    };
    let topic = |source: usize| config.bindings[source].topic.as_str();
    match finding {
        Finding::Connected { address } => good("broker".to_owned(), format!("{address} takes the connection.")),
        Finding::NotConnected { address, why } => bad("broker".to_owned(), format!("{address}: {why}.")),
        // Refusals have lines of their own.
        Finding::Published { count: 0 } | Finding::Subscribed { count: 0 } => None,
        Finding::Published { count } => {
            good("publishing".to_owned(), format!("{count} test messages were taken, and none is kept."))
        }
        Finding::PublishRefused { topic, reason } => {
            bad("publishing".to_owned(), format!("the broker refuses `{topic}`: {reason}."))
        }
        Finding::Subscribed { count } => good("listening".to_owned(), format!("{count} topics may be listened to.")),
        Finding::SubscribeRefused { topic, reason } => {
            bad("listening".to_owned(), format!("the broker refuses `{topic}`: {reason}."))
        }
        Finding::Unanswered { count } => bad("broker".to_owned(), format!("{count} requests were not answered.")),
        Finding::Heard { source, measured } => {
            good(named(source), format!("{} on `{}`.", shown(config.farm.site.units, measured), topic(source)))
        }
        Finding::Nonsense { source, why } => bad(named(source), format!("heard on `{}`, but {why}.", topic(source))),
        Finding::Silent { source, kept: false } => bad(
            named(source),
            format!("nothing on `{}`: look at the sensor, the topic, and the broker's access list.", topic(source)),
        ),
        Finding::Silent { source, kept: true } => bad(
            named(source),
            format!("only an old message that the broker keeps on `{}`, which is no reading.", topic(source)),
        ),
    }
}

fn shown(units: UnitSystem, measured: Measured) -> String {
    match measured {
        Measured::Temperature(value) | Measured::DewPoint(value) | Measured::SurfaceTemperature(value) => {
            units.temperature(value)
        }
        Measured::RelativeHumidity(value) => units.relative_humidity(value),
        Measured::CarbonDioxide(value) => units.carbon_dioxide(value),
        Measured::Pressure(value) => units.pressure(value),
        Measured::FanState(value) | Measured::HumidifierState(value) => units.percent(value),
    }
    .to_string()
}

/// Asks every forecast service that is configured once.
async fn forecasts(config: &Config, clock: &Clock, mut tell: impl FnMut(Line)) {
    let setups = ForecastSetup::all(config);
    let services: Vec<Service> = setups.iter().map(|setup| setup.service.protocol.service).collect();
    let (requests, asked) = mpsc::channel(services.len().max(1));
    let (events, mut answers) = mpsc::channel(services.len().max(1));
    let fetching = weather::run(setups, asked, events, clock.clone());
    let asking = async {
        for service in services {
            let subject = "forecast".to_owned();
            if requests.send(service).await.is_err() {
                return;
            }
            let answer = tokio::time::timeout(FORECAST_WITHIN, answers.recv()).await;
            let (good, sentence) = match answer {
                Ok(Some(Event::Forecast { forecast: Some(forecast), .. })) => {
                    let (points, ends) = (forecast.points().len(), forecast.ends());
                    (true, format!("{} answers: {points} moments until {ends}.", service.title()))
                }
                Ok(Some(Event::ForecastFailed(failure))) => (false, failure.sentence),
                Ok(_) => (false, format!("{} answers without a forecast.", service.title())),
                Err(_) => (false, format!("{} does not answer in time.", service.title())),
            };
            tell(Line { good, subject, sentence });
        }
        drop(requests);
    };
    tokio::join!(fetching, asking);
}
