//! `mistwright calibrate`: watches a humidity sensor in a jar over a saturated salt, and prints its correction.

use std::{path::PathBuf, process::ExitCode, time::Duration};

use clap::Args;
use jiff::{civil::Date, tz::TimeZone};
use tokio::sync::mpsc;

use super::{BAD_INPUT, FAILED, run::runtime};
use crate::{
    config::{self, Config},
    io::{
        clock::Clock,
        mqtt::listen::{Heard, listen},
    },
    model::{
        Calibration, Measured, Quantity,
        calibration::BadPoints,
        salts::Salt,
        settling::{Settling, Verdict},
    },
    units::{OutOfRange, RelativeHumidity, Temperature, parse},
    wire::topic::Binding,
};

/// Check a humidity sensor over a saturated salt, and print the correction to paste.
///
/// Stir table salt (or potassium chloride, potassium sulfate, magnesium chloride) with too little water to dissolve it
/// all, in a jar that just holds the sensor above the slurry; close it, and keep it where the temperature is steady, out
/// of the sun. This command watches what the sensor sends, says when it has come to rest, and prints the calibration.
#[derive(Debug, Args)]
pub(super) struct CalibrateArguments {
    /// Configuration file: where the broker is, and how the sensor is heard.
    #[arg(long, value_name = "FILE", default_value = "/etc/mistwright/mistwright.yaml")]
    config: PathBuf,
    /// The sensor, as `oyster-hall/relative-humidity` or `oyster-hall/relative-humidity@top-shelf`.
    #[arg(long, value_name = "PLACE/SENSOR")]
    sensor: String,
    /// The salt in the jar: nacl, kcl, k2so4 or mgcl2.
    #[arg(long, value_parser = salt)]
    salt: Salt,
    /// Temperature in the jar, where no sensor in it says so.
    #[arg(long, value_name = "QUANTITY", value_parser = quantity::<Temperature>)]
    temperature: Option<Temperature>,
    /// For how long it must not move any more.
    #[arg(long, value_name = "TIME", default_value = "20 min", value_parser = quantity::<Duration>)]
    hold: Duration,
    /// When to give up.
    #[arg(long, value_name = "TIME", default_value = "6 h", value_parser = quantity::<Duration>)]
    give_up: Duration,
    /// What the sensor read over another salt, for a correction by two points.
    #[arg(long, value_name = "QUANTITY", value_parser = quantity::<RelativeHumidity>, requires = "other_truth")]
    other_reads: Option<RelativeHumidity>,
    /// What the humidity over that other salt was.
    #[arg(long, value_name = "QUANTITY", value_parser = quantity::<RelativeHumidity>, requires = "other_reads")]
    other_truth: Option<RelativeHumidity>,
}

fn salt(text: &str) -> Result<Salt, NoSalt> {
    Salt::ALL.into_iter().find(|salt| salt.name() == text).ok_or(NoSalt)
}

fn quantity<Q: parse::Written>(text: &str) -> Result<Q, parse::QuantityError> {
    parse::quantity(text)
}

#[derive(Debug, thiserror::Error)]
#[error("the salts are nacl, kcl, k2so4 and mgcl2")]
struct NoSalt;

/// Why there is no correction.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error("there is no sensor `{0}`; those for relative humidity are: {1}")]
    NoSensor(String, String),
    #[error("nothing was heard of the sensor: look at its topic, its power and its network")]
    Silent,
    #[error(
        "it has not come to rest: look for a leak of the jar, for sun or draught on it, and give it more time \
         (`--give-up`)"
    )]
    Restless,
    #[error("no temperature is heard from the jar: give it with `--temperature`")]
    NoTemperature,
    #[error(transparent)]
    Jar(#[from] OutOfRange),
    #[error(transparent)]
    Points(#[from] BadPoints),
    #[error("{0}")]
    Connection(String),
}

pub(super) fn run(arguments: &CalibrateArguments) -> ExitCode {
    let file = arguments.config.display().to_string();
    let text = match std::fs::read_to_string(&arguments.config) {
        Ok(text) => text,
        Err(error) => {
            eprintln!("mistwright: cannot read {file}: {error}");
            return ExitCode::from(BAD_INPUT);
        }
    };
    let config = match config::parse(&text, &file) {
        Ok(config) => config,
        Err(problems) => {
            eprintln!("{problems}");
            return ExitCode::from(BAD_INPUT);
        }
    };
    let sources = match sources(&config, &arguments.sensor) {
        Ok(sources) => sources,
        Err(failure) => {
            eprintln!("mistwright: {failure}");
            return ExitCode::from(BAD_INPUT);
        }
    };
    let runtime = match runtime() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("mistwright: {error}");
            return ExitCode::from(FAILED);
        }
    };
    match runtime.block_on(settled(&config, &sources, arguments)).and_then(|rest| report(&rest, arguments, &config)) {
        Ok(text) => {
            println!("{text}");
            ExitCode::SUCCESS
        }
        Err(failure) => {
            eprintln!("mistwright: {failure}");
            ExitCode::from(FAILED)
        }
    }
}

/// How the sensor is heard, and the thermometer beside it if there is one.
fn sources(config: &Config, wanted: &str) -> Result<Vec<(Binding, Quantity)>, Failure> {
    let farm = &config.farm;
    let name = |index: usize| {
        let source = &farm.sources[index];
        format!("{}/{}", farm.place_name(source.place), source.sensor())
    };
    let humid = (0..farm.sources.len()).filter(|index| farm.sources[*index].quantity == Quantity::RelativeHumidity);
    let Some(sensor) = humid.clone().find(|index| name(*index) == wanted) else {
        let known: Vec<_> = humid.map(name).collect();
        return Err(Failure::NoSensor(wanted.to_owned(), known.join(", ")));
    };
    let source = &farm.sources[sensor];
    let beside = farm.sources.iter().position(|other| {
        (other.place, &other.position, other.quantity) == (source.place, &source.position, Quantity::Temperature)
    });
    Ok([Some(sensor), beside]
        .into_iter()
        .flatten()
        .map(|i| (config.bindings[i].clone(), farm.sources[i].quantity))
        .collect())
}

/// A sensor at rest.
struct AtRest {
    reads: RelativeHumidity,
    within: f64,
    temperature: Temperature,
    date: Date,
}

async fn settled(
    config: &Config,
    sources: &[(Binding, Quantity)],
    arguments: &CalibrateArguments,
) -> Result<AtRest, Failure> {
    let clock = Clock::machine();
    let (sender, mut receiver) = mpsc::channel::<Heard>(16);
    let began = clock.now().elapsed;
    println!("Watching {} over {}.", arguments.sensor, arguments.salt.words());
    tokio::select! {
        watched = listen(&config.broker, sources, &sender) => match watched {
            // The listener ends with its receiver, which is still here.
            Ok(()) => Err(Failure::Silent),
            Err(lost) => Err(Failure::Connection(lost.to_string())),
        },
        rest = judge(&clock, &mut receiver, arguments) => rest,
        () = clock.sleep_until(began + arguments.give_up) => Err(Failure::Restless),
    }
}

async fn judge(
    clock: &Clock,
    receiver: &mut mpsc::Receiver<Heard>,
    arguments: &CalibrateArguments,
) -> Result<AtRest, Failure> {
    let mut settling = Settling::new(arguments.hold);
    let mut temperature = arguments.temperature;
    let mut told: Option<Duration> = None;
    while let Some((_, heard)) = receiver.recv().await {
        let now = clock.now();
        let verdict = match heard {
            Ok(decoded) => match decoded.measured {
                // What the grower has measured counts more than a sensor outside the jar.
                Measured::Temperature(value) if arguments.temperature.is_none() => {
                    temperature = Some(value);
                    continue;
                }
                Measured::RelativeHumidity(humidity) => (humidity, settling.take(now.elapsed, humidity)),
                _ => continue,
            },
            Err(bad) => {
                println!("A message was refused: {bad}.");
                continue;
            }
        };
        let (humidity, verdict) = verdict;
        if let Verdict::Settled { mean, within } = verdict {
            let Some(temperature) = temperature else { return Err(Failure::NoTemperature) };
            let date = now.wall.to_zoned_datetime(TimeZone::UTC).date();
            return Ok(AtRest { reads: mean, within, temperature, date });
        }
        if told.is_none_or(|at| now.since(at) >= arguments.hold / 10) {
            told = Some(now.elapsed);
            let moving = match verdict {
                Verdict::Moving { points_per_hour } => format!(", moving by {points_per_hour:+.1} points an hour"),
                Verdict::Waiting | Verdict::Settled { .. } => String::new(),
            };
            println!("{:6.1} %{moving}", humidity.percent());
        }
    }
    Err(Failure::Silent)
}

fn report(rest: &AtRest, arguments: &CalibrateArguments, config: &Config) -> Result<String, Failure> {
    let truth = arguments.salt.humidity(rest.temperature)?;
    let units = config.farm.site.units;
    let said = format!(
        "At rest: it reads {:.1} % (± {:.1}) at {}, where {} gives {:.1} %.",
        rest.reads.percent(),
        rest.within,
        units.temperature(rest.temperature),
        arguments.salt.words(),
        truth.percent()
    );
    let care = if arguments.salt == Salt::PotassiumSulfate {
        "\nSo near saturation a tenth of a kelvin between sensor and slurry is half a point: trust it only where the \
         temperature was constant."
    } else {
        ""
    };
    let other = arguments.other_reads.zip(arguments.other_truth);
    Ok(format!(
        "{said}{care}\nPaste this under the sensor, in place of the calibration that it has:\n\n{}",
        snippet(rest, truth, other)?
    ))
}

/// The section of the configuration.
fn snippet(
    rest: &AtRest,
    truth: RelativeHumidity,
    other: Option<(RelativeHumidity, RelativeHumidity)>,
) -> Result<String, Failure> {
    let Some(other) = other else {
        let offset = truth.percent() - rest.reads.percent();
        return Ok(format!("calibration:\n  date: {}\n  offset: {offset:.1} %", rest.date));
    };
    let mut points = [other, (rest.reads, truth)];
    points.sort_by(|a, b| a.0.ratio().total_cmp(&b.0.ratio()));
    let [low, high] = points;
    // What the daemon would refuse is not printed.
    Calibration::through((low.0.ratio(), low.1.ratio()), (high.0.ratio(), high.1.ratio()))?;
    let point = |(reads, truth): (RelativeHumidity, RelativeHumidity)| {
        format!("{{reads: {:.1} %, truth: {:.1} %}}", reads.percent(), truth.percent())
    };
    Ok(format!("calibration:\n  date: {}\n  low: {}\n  high: {}", rest.date, point(low), point(high)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn percent(value: f64) -> RelativeHumidity {
        RelativeHumidity::from_percent(value).unwrap()
    }

    fn rest(reads: f64) -> AtRest {
        let temperature = Temperature::from_celsius(20.0).unwrap();
        AtRest { reads: percent(reads), within: 0.1, temperature, date: jiff::civil::date(2026, 10, 4) }
    }

    /// The calibration that the daemon makes of a snippet.
    fn pasted(snippet: &str) -> Calibration {
        let text = include_str!("../../examples/one-room.yaml");
        let line = "      relative-humidity: {topic: \"barn/oyster-room/humidity\", unit: \"%\"}\n";
        assert!(text.contains(line));
        let indented: String = snippet.lines().map(|line| format!("        {line}\n")).collect();
        let section = format!(
            "      relative-humidity:\n        topic: \"barn/oyster-room/humidity\"\n        unit: \"%\"\n{indented}"
        );
        let config = config::parse(&text.replace(line, &section), "farm.yaml").unwrap_or_else(|bad| panic!("{bad}"));
        config.farm.sources[1].calibration
    }

    #[test]
    fn what_is_printed_can_be_pasted_and_puts_the_sensor_right() {
        let right = |calibration: Calibration, reads: f64| {
            calibration.apply(Measured::RelativeHumidity(percent(reads))).base() * 100.0
        };
        let one = pasted(&snippet(&rest(76.8), percent(75.5), None).unwrap());
        assert!((right(one, 76.8) - 75.5).abs() < 0.06);
        assert_eq!(one.made, Some(jiff::civil::date(2026, 10, 4)));
        let two = snippet(&rest(98.4), percent(97.6), Some((percent(76.8), percent(75.5)))).unwrap();
        let two = pasted(&two);
        assert!((right(two, 98.4) - 97.6).abs() < 0.06 && (right(two, 76.8) - 75.5).abs() < 0.06);
    }

    #[test]
    fn two_points_that_no_sensor_has_are_not_printed() {
        assert!(snippet(&rest(76.9), percent(97.6), Some((percent(76.8), percent(75.5)))).is_err());
    }
}
