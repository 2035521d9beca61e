//! The forecast client under test, and servers for it.

use std::time::Duration;

use mistwright::{
    config::ForecastService,
    engine::{Event, FetchFailure},
    io::{
        clock::Clock,
        weather::{self, ForecastSetup},
    },
    model::{Forecast, Service},
    wire::weather::Protocol,
};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::{TcpListener, TcpStream},
    sync::mpsc,
    time::timeout,
};
use wiremock::{Mock, MockServer, ResponseTemplate, matchers::any};

use super::body::spot;

/// Half past an hour, so that no wait of less than 25 minutes ends at a full hour.
pub const NOW: &str = "2027-01-08T18:30:00Z";

/// A client that waits for requests, at a scenario's standing time.
pub struct Client {
    pub requests: mpsc::Sender<Service>,
    pub events: mpsc::Receiver<Event>,
    service: Service,
}

/// A service as a configuration would have it, at another address.
pub fn configured(protocol: &'static Protocol, base_url: String) -> ForecastService {
    let contact = Some("https://frosthollow.example/contact".to_owned());
    ForecastService { protocol, base_url, contact, api_key: None }
}

impl Client {
    pub fn of(protocol: &'static Protocol, base_url: String) -> Self {
        Self::at(NOW, configured(protocol, base_url))
    }

    pub fn at(now: &str, service: ForecastService) -> Self {
        let (requests, receiver) = mpsc::channel(4);
        let (sender, events) = mpsc::channel(4);
        let (clock, handle) = Clock::scenario(now.parse().unwrap(), 1.0);
        let asked = service.protocol.service;
        let setup = ForecastSetup { service, spot: spot() };
        tokio::spawn(async move {
            weather::run(vec![setup], receiver, sender, clock).await;
            drop(handle);
        });
        Self { requests, events, service: asked }
    }

    pub async fn ask(&mut self) -> Event {
        self.requests.send(self.service).await.unwrap();
        timeout(Duration::from_secs(45), self.events.recv()).await.expect("no answer within 45 s").unwrap()
    }

    pub async fn failure(&mut self) -> FetchFailure {
        match self.ask().await {
            Event::ForecastFailed(failure) if failure.service == self.service => failure,
            other => panic!("{other:?}"),
        }
    }

    /// What came; `None` if nothing new did.
    pub async fn forecast(&mut self) -> Option<Forecast> {
        match self.ask().await {
            Event::Forecast { service, forecast, .. } if service == self.service => forecast,
            other => panic!("{other:?}"),
        }
    }

    /// How long to keep what came, and how many moments came; `None` if nothing new did.
    pub async fn success(&mut self) -> (Duration, Option<usize>) {
        match self.ask().await {
            Event::Forecast { forecast, keep_for, .. } => (keep_for, forecast.map(|forecast| forecast.points().len())),
            other => panic!("{other:?}"),
        }
    }
}

pub async fn answering(response: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(any()).respond_with(response).mount(&server).await;
    server
}

/// A server that answers each connection's first request with `answer`, byte for byte, and then hangs up or holds on.
pub async fn raw(answer: Vec<u8>, hold: bool) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base_url = format!("http://{}", listener.local_addr().unwrap());
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            tokio::spawn(answer_raw(stream, answer.clone(), hold));
        }
    });
    base_url
}

async fn answer_raw(mut stream: TcpStream, answer: Vec<u8>, hold: bool) {
    let mut request = [0; 4_096];
    let _ = stream.read(&mut request).await;
    // A client that has seen enough hangs up.
    let _ = stream.write_all(&answer).await;
    if hold {
        std::future::pending::<()>().await;
    }
}

/// Blanks, compressed about a thousandfold: a gzip member of one DEFLATE block with a fixed code (RFC 1951, 3.2.6),
/// which repeats one blank in runs of 258 bytes, each written in 8 + 5 bits.
pub fn bomb(runs: usize) -> Vec<u8> {
    let mut bits: Vec<bool> = vec![true, true, false];
    // The blank (0x20) as a literal: the code 0x30 + 0x20 in eight bits, highest first.
    bits.extend((0..8).rev().map(|bit| (0x50 >> bit) & 1 == 1));
    for _ in 0..runs {
        // Length 258 is symbol 285, code 0xC5 in eight bits; distance 1 is code 0 in five bits.
        bits.extend((0..8).rev().map(|bit| (0xC5 >> bit) & 1 == 1));
        bits.extend([false; 5]);
    }
    // The end of the block is symbol 256, code 0 in seven bits. The checksum is left out: nobody may read so far.
    bits.extend([false; 7]);
    let mut bytes = vec![0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255];
    bytes.extend(
        bits.chunks(8).map(|byte| byte.iter().enumerate().fold(0, |sum, (place, bit)| sum | (u8::from(*bit) << place))),
    );
    bytes
}
