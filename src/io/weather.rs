//! Fetches forecasts over HTTP: one at a time, one for each request, every answer bounded in size and time.
//!
//! The service's wishes are kept: an identifying User-Agent with a contact, compression, the exact `Last-Modified` sent
//! back, no request before the answer's expiry, and a delay of chance on top so that not all farms ask at once.
//! When to ask is the engine's decision; this file says how long the service asks us to keep an answer.

use std::{
    hash::{BuildHasher, Hasher},
    net::IpAddr,
    time::Duration,
};

use jiff::Timestamp;
use reqwest::{
    Client, Response, StatusCode,
    header::{CACHE_CONTROL, DATE, EXPIRES, HeaderMap, HeaderName, IF_MODIFIED_SINCE, LAST_MODIFIED, RETRY_AFTER},
    redirect,
};
use tokio::sync::mpsc;

use super::clock::Clock;
use crate::{
    config::ForecastService,
    engine::{Event, FetchFailure},
    model::{Forecast, Now, Service, Site},
    wire::weather::{BadBody, LeftOut, Parsed, Spot, protocol},
};

/// Largest body that is read, in bytes, after decompression. A forecast has about 90 KiB.
const LARGEST: usize = 2 * 1_024 * 1_024;
/// Longest time for a whole exchange, redirects included.
const LONGEST: Duration = Duration::from_secs(20);
/// Most redirects followed.
const MOST_REDIRECTS: usize = 3;
/// Kept when the service does not say for how long. MET Norway makes a new forecast about once an hour.
const USUAL_KEEP: Duration = Duration::from_secs(1_800);
/// An answer is kept at least this long, whatever the service says.
const SHORTEST_KEEP: Duration = Duration::from_secs(300);
/// An answer is kept at most this long: by then a frost may have moved.
const LONGEST_KEEP: Duration = Duration::from_secs(6 * 3_600);
/// Longest wait that a service can ask for.
const LONGEST_RETRY: Duration = Duration::from_secs(24 * 3_600);

/// What to fetch.
#[derive(Debug, Clone)]
pub struct ForecastSetup {
    /// Whose forecast, from where, and whom the service's keepers can reach.
    pub service: ForecastService,
    /// Where the farm stands.
    pub spot: Spot,
}

impl ForecastSetup {
    /// The forecast of `service` for where the farm stands.
    pub fn new(service: &ForecastService, site: &Site) -> Self {
        Self { service: service.clone(), spot: Spot::of(site) }
    }
}

/// Fetches a forecast for each request, one after the other, until nobody asks any more. Every request is answered by
/// exactly one [`Event::Forecast`] or [`Event::ForecastFailed`].
pub async fn run(setup: ForecastSetup, mut requests: mpsc::Receiver<()>, events: mpsc::Sender<Event>, clock: Clock) {
    let mut fetcher = Fetcher::new(setup);
    while requests.recv().await.is_some() {
        let event = match fetcher.fetch(&clock).await {
            Ok(Answer { forecast, keep_for: wished }) => {
                Event::Forecast { forecast, keep_for: keep_for(wished, &clock.now(), chance()) }
            }
            Err(failure) => Event::ForecastFailed(failure.into_event(fetcher.setup.service.service)),
        };
        if events.send(event).await.is_err() {
            return;
        }
    }
}

/// A number from 0 to 1 that differs between farms and between fetches.
#[expect(clippy::cast_precision_loss, reason = "53 bits of chance are enough")]
fn chance() -> f64 {
    let bits = std::hash::RandomState::new().build_hasher().finish();
    (bits >> 11) as f64 / (1_u64 << 53) as f64
}

/// Why there is no forecast. Each sentence goes on after the service's name.
#[derive(Debug, thiserror::Error)]
enum FetchError {
    #[error("cannot be asked: no HTTP client can be made ({0})")]
    Client(String),
    #[error("cannot be reached ({0})")]
    Unreachable(String),
    #[error("did not answer in full within {seconds} s", seconds = LONGEST.as_secs())]
    Slow,
    #[error("redirects more than {MOST_REDIRECTS} times, or away from an encrypted address")]
    Redirects,
    #[error("sends more than {mebibytes} MiB", mebibytes = LARGEST / 1_024 / 1_024)]
    TooLarge,
    #[error("broke off its answer ({0})")]
    Broken(String),
    #[error("answers `not modified` although it was not asked on that condition")]
    NotModified,
    #[error(
        "refuses us (403): the contact in the configuration may be missing or blocked, or the address is not the \
         service's"
    )]
    Forbidden,
    #[error("knows nothing at this address (404): check the base URL")]
    NotFound,
    #[error("does not cover the farm's coordinates (422)")]
    OutsideArea,
    #[error("finds that we ask too often (429)")]
    TooOften { retry_after: Option<Duration> },
    #[error("is out of order ({status})")]
    OutOfOrder { status: u16, retry_after: Option<Duration> },
    #[error("answers with the unexpected status {0}")]
    Status(u16),
    #[error("sent no forecast: {0}")]
    Body(#[from] BadBody),
}

impl FetchError {
    const fn word(&self) -> &'static str {
        match self {
            Self::Client(_) => "client",
            Self::Unreachable(_) => "unreachable",
            Self::Slow => "slow",
            Self::Redirects => "redirects",
            Self::TooLarge => "too-large",
            Self::Broken(_) => "broken",
            Self::NotModified | Self::Status(_) => "status",
            Self::Forbidden => "forbidden",
            Self::NotFound => "not-found",
            Self::OutsideArea => "outside-area",
            Self::TooOften { .. } => "too-often",
            Self::OutOfOrder { .. } => "out-of-order",
            Self::Body(body) => body.word(),
        }
    }

    fn into_event(self, service: Service) -> FetchFailure {
        let retry_after = match &self {
            Self::TooOften { retry_after } | Self::OutOfOrder { retry_after, .. } => *retry_after,
            _ => None,
        };
        FetchFailure { word: self.word(), sentence: format!("{} {self}.", service.title()), retry_after }
    }

    /// By what went wrong, with the innermost cause in words: the outer ones repeat the address.
    fn of(error: &reqwest::Error) -> Self {
        let mut cause: &dyn std::error::Error = error;
        while let Some(inner) = cause.source() {
            cause = inner;
        }
        if error.is_timeout() {
            Self::Slow
        } else if error.is_redirect() {
            Self::Redirects
        } else if error.is_builder() {
            Self::Client(cause.to_string())
        } else if error.is_body() || error.is_decode() {
            Self::Broken(cause.to_string())
        } else {
            Self::Unreachable(cause.to_string())
        }
    }
}

struct Answer {
    forecast: Option<Forecast>,
    /// As the service says; `None` if it does not.
    keep_for: Option<Duration>,
}

struct Fetcher {
    setup: ForecastSetup,
    /// Made at the first request, and again after it could not be made.
    client: Option<Client>,
    /// `Last-Modified` of the last forecast that could be used, byte for byte.
    last_modified: Option<reqwest::header::HeaderValue>,
    /// Whether the log knows already that the product will end.
    deprecated: bool,
    /// What the log knows already to be left out.
    left_out: LeftOut,
}

impl Fetcher {
    fn new(setup: ForecastSetup) -> Self {
        Self { setup, client: None, last_modified: None, deprecated: false, left_out: LeftOut::default() }
    }

    async fn fetch(&mut self, clock: &Clock) -> Result<Answer, FetchError> {
        let client = match &self.client {
            Some(client) => client.clone(),
            None => self.client.insert(client(&self.setup.service)?).clone(),
        };
        let url =
            format!("{}{}", self.setup.service.base_url, (protocol(self.setup.service.service).path)(&self.setup.spot));
        let mut request = client.get(url);
        if let Some(last_modified) = &self.last_modified {
            request = request.header(IF_MODIFIED_SINCE, last_modified.clone());
        }
        let response = request.send().await.map_err(|error| FetchError::of(&error))?;
        let keep_for = kept(response.headers(), clock);
        let status = response.status();
        match status {
            StatusCode::OK | StatusCode::NON_AUTHORITATIVE_INFORMATION => {
                self.note_deprecation(status);
                let last_modified = response.headers().get(LAST_MODIFIED).cloned();
                let body = body(response).await?;
                let parsed = (protocol(self.setup.service.service).parse)(&body, &self.setup.spot)?;
                self.last_modified = last_modified;
                self.note_left_out(&parsed);
                Ok(Answer { forecast: Some(parsed.forecast), keep_for })
            }
            StatusCode::NOT_MODIFIED if self.last_modified.is_some() => Ok(Answer { forecast: None, keep_for }),
            StatusCode::NOT_MODIFIED => Err(FetchError::NotModified),
            StatusCode::FORBIDDEN => Err(FetchError::Forbidden),
            StatusCode::NOT_FOUND => Err(FetchError::NotFound),
            StatusCode::UNPROCESSABLE_ENTITY => Err(FetchError::OutsideArea),
            StatusCode::TOO_MANY_REQUESTS => {
                Err(FetchError::TooOften { retry_after: retry_after(response.headers(), clock) })
            }
            status if status.is_server_error() => Err(FetchError::OutOfOrder {
                status: status.as_u16(),
                retry_after: retry_after(response.headers(), clock),
            }),
            status => Err(FetchError::Status(status.as_u16())),
        }
    }

    fn note_deprecation(&mut self, status: StatusCode) {
        let deprecated = status == StatusCode::NON_AUTHORITATIVE_INFORMATION;
        if deprecated && !self.deprecated {
            tracing::warn!(
                service = self.setup.service.service.name(),
                "The service says that this version of its forecast will end (203): look for a new release of this \
                 program."
            );
        }
        self.deprecated = deprecated;
    }

    fn note_left_out(&mut self, parsed: &Parsed) {
        if parsed.left_out != self.left_out && !parsed.left_out.is_nothing() {
            tracing::warn!(
                service = self.setup.service.service.name(),
                "Parts of the forecast could not be used: {}.",
                parsed.left_out
            );
        }
        self.left_out = parsed.left_out;
    }
}

/// How long to keep an answer that the service wants kept for `wished`: half a minute longer, and by `chance` (0 to 1)
/// up to a tenth or a minute more, and never into the first minute of an hour, when everybody asks.
fn keep_for(wished: Option<Duration>, now: &Now, chance: f64) -> Duration {
    let wished = wished.unwrap_or(USUAL_KEEP).clamp(SHORTEST_KEEP, LONGEST_KEEP);
    let most = (wished / 10).max(Duration::from_secs(60));
    let keep = wished + Duration::from_secs(30) + most.mul_f64(chance.clamp(0.0, 1.0));
    let into_the_hour = now.wall_after(keep).as_second().rem_euclid(3_600);
    if into_the_hour < 60 { keep + Duration::from_secs(60) } else { keep }
}

fn client(service: &ForecastService) -> Result<Client, FetchError> {
    // The program installs it at its start; a test or an embedding may not have. Losing the race is as good.
    if rustls::crypto::CryptoProvider::get_default().is_none() {
        let _ = rustls::crypto::ring::default_provider().install_default();
    }
    // A service on this machine is never asked through a proxy of the environment.
    let local = reqwest::Url::parse(&service.base_url).is_ok_and(|url| {
        url.host_str().is_some_and(|host| {
            let host = host.trim_matches(['[', ']']);
            host == "localhost" || host.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
        })
    });
    let builder = || {
        let builder = if local { Client::builder().no_proxy() } else { Client::builder() };
        builder
            .user_agent(format!("mistwright/{} {}", env!("CARGO_PKG_VERSION"), service.contact))
            .timeout(LONGEST)
            .connect_timeout(LONGEST / 2)
            .pool_max_idle_per_host(0)
            .gzip(true)
            .referer(false)
            .redirect(redirect::Policy::custom(|attempt| {
                let downgrade = attempt.url().scheme() != "https"
                    && attempt.previous().last().is_some_and(|from| from.scheme() == "https");
                if attempt.previous().len() > MOST_REDIRECTS || downgrade {
                    attempt.error("too many redirects, or one to an address without encryption")
                } else {
                    attempt.follow()
                }
            }))
    };
    match builder().build() {
        Ok(client) => Ok(client),
        // A machine without any root certificate can still ask a service on its own network without encryption.
        Err(_) if service.base_url.starts_with("http://") => {
            builder().tls_certs_only([]).build().map_err(|error| FetchError::of(&error))
        }
        Err(error) => Err(FetchError::of(&error)),
    }
}

async fn body(mut response: Response) -> Result<Vec<u8>, FetchError> {
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await.map_err(|error| FetchError::of(&error))? {
        if body.len() + chunk.len() > LARGEST {
            return Err(FetchError::TooLarge);
        }
        body.extend_from_slice(&chunk);
    }
    Ok(body)
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

/// An HTTP date (RFC 9110): `Sun, 06 Nov 1994 08:49:37 GMT`.
fn date(text: &str) -> Option<Timestamp> {
    jiff::fmt::rfc2822::DateTimeParser::new().parse_timestamp(text).ok()
}

/// How long an answer holds by its own headers: `max-age` before `Expires` (RFC 9111), the latter counted from the
/// service's own `Date`, so that a wrong clock here does no harm.
fn kept(headers: &HeaderMap, clock: &Clock) -> Option<Duration> {
    let max_age = text(headers, &CACHE_CONTROL).and_then(|directives| {
        directives.split(',').find_map(|directive| directive.trim().strip_prefix("max-age=")?.parse().ok())
    });
    if let Some(seconds) = max_age {
        return Some(Duration::from_secs(seconds));
    }
    let expires = date(text(headers, &EXPIRES)?)?;
    Some(until(expires, headers, clock))
}

/// How long the service asks us to wait: seconds or a date.
fn retry_after(headers: &HeaderMap, clock: &Clock) -> Option<Duration> {
    let wait = text(headers, &RETRY_AFTER)?.trim();
    let wait = match wait.parse() {
        Ok(seconds) => Duration::from_secs(seconds),
        Err(_) => until(date(wait)?, headers, clock),
    };
    Some(wait.min(LONGEST_RETRY))
}

/// From the answer's `Date`, or from now without one, to `moment`; zero if it has passed.
fn until(moment: Timestamp, headers: &HeaderMap, clock: &Clock) -> Duration {
    let from = text(headers, &DATE).and_then(date).unwrap_or_else(|| clock.now().wall);
    Duration::try_from(moment.duration_since(from)).unwrap_or(Duration::ZERO)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_next_request_never_falls_into_the_first_minute_of_an_hour() {
        for minute in 0..60 {
            let wall = Timestamp::from_second(1_799_431_200 + 60 * minute + 17).unwrap();
            let now = Now { elapsed: Duration::ZERO, wall, trusted: true };
            for chance in [0.0, 0.2, 0.4, 0.6, 0.8, 1.0] {
                let wished = Duration::from_secs(1_500);
                let keep = keep_for(Some(wished), &now, chance);
                assert!(keep > wished, "asked before the expiry");
                assert!(now.wall_after(keep).as_second() % 3_600 >= 60, "{minute} {chance}");
            }
        }
    }

    #[test]
    fn chance_differs_from_fetch_to_fetch_and_stays_a_share() {
        let drawn: Vec<f64> = (0..20).map(|_| chance()).collect();
        assert!(drawn.iter().all(|share| (0.0..1.0).contains(share)), "{drawn:?}");
        assert!(drawn.windows(2).any(|pair| (pair[0] - pair[1]).abs() > 0.01), "{drawn:?}");
    }
}
