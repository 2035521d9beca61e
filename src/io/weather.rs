//! Fetches forecasts over HTTP: one at a time, one for each request, every answer bounded in size and time.
//!
//! The service's wishes are kept: an identifying User-Agent with a contact, compression, the exact `Last-Modified` sent
//! back, no request before the answer's expiry, and a delay of chance on top so that not all farms ask at once.
//! When to ask is the engine's decision; this file says how long the service asks us to keep an answer.

use std::{
    error::Error,
    fmt,
    hash::{BuildHasher, Hasher},
    io,
    net::IpAddr,
    time::Duration,
};

use jiff::{SignedDuration, Timestamp};
use reqwest::{
    Client, Response, StatusCode,
    header::{
        ACCEPT, AGE, CACHE_CONTROL, DATE, EXPIRES, HeaderMap, HeaderName, HeaderValue, IF_MODIFIED_SINCE,
        LAST_MODIFIED, RETRY_AFTER,
    },
    redirect,
};
use tokio::sync::mpsc;

use super::{
    clock::Clock,
    secret::{self, SecretError},
};
use crate::{
    config::{Config, ForecastService},
    engine::{Event, FetchFailure},
    model::{Forecast, Now, Service},
    wire::weather::{BadBody, LeftOut, LookUp, Parsed, Protocol, Spot, reason},
};

/// Largest body that is read, in bytes, after decompression. A forecast has about 90 KiB.
const LARGEST: usize = 2 * 1_024 * 1_024;
/// Longest time for a whole exchange, redirects included.
const LONGEST: Duration = Duration::from_secs(20);
/// Most redirects followed.
const MOST_REDIRECTS: usize = 3;
/// A forecast that was made longer ago than this is a stale copy: every service makes several a day.
const OLDEST: SignedDuration = SignedDuration::from_hours(18);
/// What is read of the body of a refusal, in bytes.
const LARGEST_REFUSAL: usize = 16 * 1_024;
/// What bodies are asked for. Services that know several forms answer by it.
const ACCEPTED: HeaderValue = HeaderValue::from_static("application/geo+json, application/json;q=0.9, */*;q=0.1");
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
    /// The forecasts of the services that are configured, for where the farm stands.
    pub fn all(config: &Config) -> Vec<Self> {
        let services = [&config.forecast, &config.fallback_forecast].into_iter().flatten();
        services.map(|service| Self { service: service.clone(), spot: Spot::of(&config.farm.site) }).collect()
    }
}

/// Fetches a forecast of a service for each request, one after the other, until nobody asks any more. Every request for
/// a service that is set up is answered by exactly one [`Event::Forecast`] or [`Event::ForecastFailed`].
pub async fn run(
    setups: Vec<ForecastSetup>,
    mut requests: mpsc::Receiver<Service>,
    events: mpsc::Sender<Event>,
    clock: Clock,
) {
    let mut fetchers: Vec<Fetcher> = setups.into_iter().map(Fetcher::new).collect();
    while let Some(service) = requests.recv().await {
        let Some(fetcher) = fetchers.iter_mut().find(|fetcher| fetcher.protocol().service == service) else { continue };
        let event = match fetcher.fetch(&clock).await {
            Ok(Answer { forecast, keep_for: wished }) => {
                let wished = wished.unwrap_or(fetcher.protocol().usual_keep);
                Event::Forecast { service, forecast, keep_for: keep_for(wished, &clock.now(), chance()) }
            }
            Err(failure) => Event::ForecastFailed(failure.into_event(service)),
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
    #[error("cannot be asked: {0}")]
    Key(#[from] SecretError),
    #[error("cannot be asked: the API key is no text of one line")]
    KeyNotText,
    #[error("cannot be reached ({0})")]
    Unreachable(String),
    #[error(
        "cannot be reached safely ({0}): check the base URL, this machine's date, and its root certificates (Debian's \
         `ca-certificates`)"
    )]
    Tls(String),
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
         service's{0}"
    )]
    Forbidden(Words),
    #[error("does not accept the API key ({status}){words}")]
    Unauthorised { status: u16, words: Words },
    #[error("knows nothing at this address (404): check the base URL{0}")]
    NotFound(Words),
    #[error("does not cover the farm's coordinates ({status}){words}")]
    OutsideArea { status: u16, words: Words },
    #[error("finds that we ask too often (429){words}")]
    TooOften { retry_after: Option<Duration>, words: Words },
    #[error("is out of order ({status}){words}")]
    OutOfOrder { status: u16, retry_after: Option<Duration>, words: Words },
    #[error("answers with the unexpected status {status}{words}")]
    Status { status: u16, words: Words },
    #[error("sent a stale copy: a forecast that was made at {0}, more than {hours} hours ago", hours = OLDEST.as_hours())]
    Stale(Timestamp),
    #[error("sent a stale copy: a forecast that ended at {0}")]
    RunOut(Timestamp),
    #[error("sent no forecast: {0}")]
    Body(#[from] BadBody),
}

/// The service's own words, if it had any.
#[derive(Debug, Default)]
struct Words(Option<String>);

impl fmt::Display for Words {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.as_ref().map_or(Ok(()), |words| write!(f, ". In its own words: {words}"))
    }
}

impl FetchError {
    const fn word(&self) -> &'static str {
        match self {
            Self::Client(_) => "client",
            Self::Key(_) | Self::KeyNotText | Self::Unauthorised { .. } => "api-key",
            Self::Unreachable(_) => "unreachable",
            Self::Tls(_) => "tls",
            Self::Slow => "slow",
            Self::Redirects => "redirects",
            Self::TooLarge => "too-large",
            Self::Broken(_) => "broken",
            Self::NotModified | Self::Status { .. } => "status",
            Self::Forbidden(_) => "forbidden",
            Self::NotFound(_) => "not-found",
            Self::OutsideArea { .. } => "outside-area",
            Self::TooOften { .. } => "too-often",
            Self::OutOfOrder { .. } => "out-of-order",
            Self::Stale(_) | Self::RunOut(_) => "stale",
            Self::Body(body) => body.word(),
        }
    }

    fn into_event(self, service: Service) -> FetchFailure {
        let retry_after = match &self {
            Self::TooOften { retry_after, .. } | Self::OutOfOrder { retry_after, .. } => *retry_after,
            _ => None,
        };
        FetchFailure { service, word: self.word(), sentence: format!("{} {self}.", service.title()), retry_after }
    }

    /// By what went wrong, with the innermost cause in words: the outer ones repeat the address.
    fn of(error: &reqwest::Error) -> Self {
        let mut cause: &dyn Error = error;
        while let Some(next) = within(cause) {
            cause = next;
            if cause.is::<rustls::Error>() {
                break;
            }
        }
        if let Some(tls) = cause.downcast_ref::<rustls::Error>() {
            Self::Tls(tls.to_string())
        } else if error.is_timeout() {
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

/// What an error wraps. An I/O error shows it only by itself, not as its cause.
fn within<'a>(error: &'a (dyn Error + 'static)) -> Option<&'a (dyn Error + 'static)> {
    match error.downcast_ref::<io::Error>().and_then(io::Error::get_ref) {
        Some(wrapped) => Some(wrapped),
        None => error.source(),
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
    /// Where the service has said that the forecast for this spot stands.
    found: Option<String>,
    /// `Last-Modified` of the last forecast that could be used, byte for byte.
    last_modified: Option<HeaderValue>,
    /// When the newest forecast was made that has come so far.
    newest: Option<Timestamp>,
    /// Whether the log knows already that the product will end.
    deprecated: bool,
    /// What the log knows already to be left out.
    left_out: LeftOut,
}

impl Fetcher {
    fn new(setup: ForecastSetup) -> Self {
        Self {
            setup,
            client: None,
            found: None,
            last_modified: None,
            newest: None,
            deprecated: false,
            left_out: LeftOut::default(),
        }
    }

    fn protocol(&self) -> &'static Protocol {
        self.setup.service.protocol
    }

    async fn fetch(&mut self, clock: &Clock) -> Result<Answer, FetchError> {
        let Some(then) = self.protocol().then else {
            let path = (self.protocol().path)(&self.setup.spot);
            return self.forecast(&path, clock).await;
        };
        if let Some(path) = self.found.clone() {
            match self.forecast(&path, clock).await {
                // The grid has moved: it is looked up again.
                Err(FetchError::NotFound(_)) => self.found = None,
                other => return other,
            }
        }
        let path = self.look_up(then, clock).await?;
        self.last_modified = None;
        self.found = Some(path.clone());
        self.forecast(&path, clock).await
    }

    /// Where the forecast for this spot stands.
    async fn look_up(&mut self, then: LookUp, clock: &Clock) -> Result<String, FetchError> {
        let path = (self.protocol().path)(&self.setup.spot);
        let response = self.get(&path, None).await?;
        match response.status() {
            StatusCode::OK => Ok(then(&body(response).await?)?),
            // A service that looks places up does not know this one.
            StatusCode::NOT_FOUND => Err(FetchError::OutsideArea { status: 404, words: words(response).await }),
            _ => Err(refused(response, clock).await),
        }
    }

    async fn forecast(&mut self, path: &str, clock: &Clock) -> Result<Answer, FetchError> {
        let response = self.get(path, self.last_modified.clone()).await?;
        let keep_for = kept(response.headers(), clock);
        let status = response.status();
        match status {
            StatusCode::OK | StatusCode::NON_AUTHORITATIVE_INFORMATION => {
                self.note_deprecation(status);
                let last_modified = response.headers().get(LAST_MODIFIED).cloned();
                let present = present(response.headers(), clock);
                let body = body(response).await?;
                let parsed = (self.protocol().parse)(&body, &self.setup.spot)?;
                judge(&parsed.forecast, present)?;
                self.note_left_out(&parsed);
                let forecast = self.unless_older(parsed.forecast);
                if forecast.is_some() {
                    self.last_modified = last_modified;
                }
                Ok(Answer { forecast, keep_for })
            }
            StatusCode::NOT_MODIFIED if self.last_modified.is_some() => Ok(Answer { forecast: None, keep_for }),
            StatusCode::NOT_MODIFIED => Err(FetchError::NotModified),
            _ => Err(refused(response, clock).await),
        }
    }

    async fn get(&mut self, path: &str, last_modified: Option<HeaderValue>) -> Result<Response, FetchError> {
        let client = match &self.client {
            Some(client) => client.clone(),
            None => self.client.insert(client(&self.setup.service)?).clone(),
        };
        let mut url = format!("{}{path}", self.setup.service.base_url);
        if let Some((paid, key)) = self.protocol().paid.zip(self.setup.service.api_key.as_ref()) {
            let key = secret::read("forecast.api-key", key)?;
            let key = std::str::from_utf8(&key).map_err(|_| FetchError::KeyNotText)?.trim();
            if key.is_empty() || key.contains(char::is_control) {
                return Err(FetchError::KeyNotText);
            }
            url.push(if path.contains('?') { '&' } else { '?' });
            url.push_str(paid.parameter);
            url.push('=');
            key.bytes().for_each(|byte| url.push_str(&format!("%{byte:02X}")));
        }
        let mut request = client.get(url).header(ACCEPT, ACCEPTED);
        if let Some(last_modified) = last_modified {
            request = request.header(IF_MODIFIED_SINCE, last_modified);
        }
        request.send().await.map_err(|error| FetchError::of(&error))
    }

    /// Nothing where a newer forecast has come before: caches answer in turns, each with its own copy.
    fn unless_older(&mut self, forecast: Forecast) -> Option<Forecast> {
        if forecast.issued.is_some() && forecast.issued < self.newest {
            return None;
        }
        self.newest = forecast.issued;
        Some(forecast)
    }

    fn note_deprecation(&mut self, status: StatusCode) {
        let deprecated = status == StatusCode::NON_AUTHORITATIVE_INFORMATION;
        if deprecated && !self.deprecated {
            tracing::warn!(
                service = self.protocol().service.name(),
                "The service says that this version of its forecast will end (203): look for a new release of this \
                 program."
            );
        }
        self.deprecated = deprecated;
    }

    fn note_left_out(&mut self, parsed: &Parsed) {
        if parsed.left_out != self.left_out && !parsed.left_out.is_nothing() {
            tracing::warn!(
                service = self.protocol().service.name(),
                "Parts of the forecast could not be used: {}.",
                parsed.left_out
            );
        }
        self.left_out = parsed.left_out;
    }
}

/// How long to keep an answer that the service wants kept for `wished`: half a minute longer, and by `chance` (0 to 1)
/// up to a tenth or a minute more, and never into the first minute of an hour, when everybody asks.
fn keep_for(wished: Duration, now: &Now, chance: f64) -> Duration {
    let wished = wished.clamp(SHORTEST_KEEP, LONGEST_KEEP);
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
            .user_agent(match &service.contact {
                Some(contact) => format!("mistwright/{} {contact}", env!("CARGO_PKG_VERSION")),
                None => format!("mistwright/{}", env!("CARGO_PKG_VERSION")),
            })
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

/// Refuses a stale copy, as caches send with status 200.
fn judge(forecast: &Forecast, present: Option<Timestamp>) -> Result<(), FetchError> {
    let Some(present) = present else { return Ok(()) };
    match forecast.issued {
        Some(issued) if present.duration_since(issued) > OLDEST => Err(FetchError::Stale(issued)),
        _ if forecast.ends() <= present => Err(FetchError::RunOut(forecast.ends())),
        _ => Ok(()),
    }
}

/// The present by this machine's clock where it is trusted, else by the answer's `Date` and `Age` (RFC 9111).
fn present(headers: &HeaderMap, clock: &Clock) -> Option<Timestamp> {
    let now = clock.now();
    if now.trusted {
        return Some(now.wall);
    }
    let age = text(headers, &AGE).and_then(|age| age.trim().parse().ok()).unwrap_or(0);
    date(text(headers, &DATE)?)?.checked_add(SignedDuration::from_secs(age)).ok()
}

/// What a status other than success says.
async fn refused(response: Response, clock: &Clock) -> FetchError {
    let (code, retry_after) = (response.status(), retry_after(response.headers(), clock));
    let (status, words) = (code.as_u16(), words(response).await);
    match code {
        StatusCode::FORBIDDEN => FetchError::Forbidden(words),
        StatusCode::UNAUTHORIZED => FetchError::Unauthorised { status, words },
        StatusCode::NOT_FOUND => FetchError::NotFound(words),
        StatusCode::UNPROCESSABLE_ENTITY => FetchError::OutsideArea { status, words },
        StatusCode::TOO_MANY_REQUESTS => FetchError::TooOften { retry_after, words },
        code if code.is_server_error() => FetchError::OutOfOrder { status, retry_after, words },
        _ => FetchError::Status { status, words },
    }
}

/// The service's own words of a refusal. Reading them may fail without changing what the refusal is.
async fn words(mut response: Response) -> Words {
    let mut body = Vec::new();
    while let Ok(Some(chunk)) = response.chunk().await {
        body.extend_from_slice(&chunk);
        if body.len() > LARGEST_REFUSAL {
            return Words(None);
        }
    }
    Words(reason(&body))
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
mod new_service;

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
                let keep = keep_for(wished, &now, chance);
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
