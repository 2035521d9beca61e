//! A service that was added by its file and its row is configured, fetched, published, measured and kept.

#[cfg(test)]
mod tests {
    use std::{collections::BTreeSet, sync::Arc};

    use tokio::{
        io::{AsyncReadExt, AsyncWriteExt},
        net::TcpListener,
        sync::mpsc,
    };

    use super::super::{Clock, ForecastSetup, run};
    use crate::{
        config::{self, Config},
        engine::{Engine, Event, Snapshot},
        view::exposition,
        wire::{
            state_file::{self, State},
            tree,
            weather::test_only::SERVICE,
        },
    };

    const FARM: &str = "
site: {name: frosthollow, latitude: 61.35, longitude: 25.28, elevation: 95 m, time-zone: Europe/Helsinki}
broker: {host: localhost}
forecast: {service: test-only, base-url: 'http://ADDRESS'}
rooms:
  lung: {volume: 95 m³, fan: {capacity: 600 m³/h, floor: 100 m³/h, usual: 300 m³/h}, bands: {temperature: {lowest: 6 °C,
    preferred: 10 °C, highest: 18 °C}, relative-humidity: {lowest: 62 %, preferred: 72 %, highest: 80 %}}}
";
    const BODY: &str = r#"[{"at":"2027-01-08T18:00:00Z","celsius":-4.0,"percent":80},
    {"at":"2027-01-08T19:00:00Z","celsius":-5.5,"percent":82}]"#;

    /// A server that answers the one request that it is meant to get.
    async fn server() -> String {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap().to_string();
        tokio::spawn(async move {
            let (mut stream, _) = listener.accept().await.unwrap();
            let mut request = [0; 2_048];
            let read = stream.read(&mut request).await.unwrap();
            let asked = String::from_utf8_lossy(&request[..read]).starts_with("GET /air?at=61.35,25.28 HTTP/1.1\r\n");
            let status = if asked { "200 OK" } else { "404 Not Found" };
            let answer = format!("HTTP/1.1 {status}\r\nContent-Length: {}\r\n\r\n{BODY}", BODY.len());
            stream.write_all(answer.as_bytes()).await.unwrap();
        });
        address
    }

    async fn fetched(config: &Config, clock: &Clock) -> Event {
        let (requests, receiver) = mpsc::channel(1);
        let (sender, mut events) = mpsc::channel(1);
        tokio::spawn(run(ForecastSetup::all(config), receiver, sender, clock.clone()));
        requests.send(config.forecast.as_ref().unwrap().protocol.service).await.unwrap();
        events.recv().await.unwrap()
    }

    fn published(snapshot: &Snapshot, config: &Config, topic: &str) -> Option<String> {
        let tree = tree::render(snapshot, &config.broker.domain);
        tree.get(&format!("homie/5/frosthollow/{topic}")).map(|entry| entry.payload.clone())
    }

    #[tokio::test]
    async fn a_new_service_is_configured_fetched_published_measured_and_kept_by_its_file_and_its_row_alone() {
        let text = FARM.replace("ADDRESS", &server().await);
        let config = config::parse(&text, "farm.yaml").unwrap_or_else(|problems| panic!("{problems}"));
        let (clock, _handle) = Clock::scenario("2027-01-08T18:30:00Z".parse().unwrap(), 1.0);
        let now = clock.now();
        let mut engine = Engine::new(Arc::new(config.farm.clone()), Some(SERVICE), &now);
        let event = fetched(&config, &clock).await;
        assert!(matches!(&event, Event::Forecast { service: SERVICE, forecast: Some(_), .. }), "{event:?}");
        engine.handle(event, &now);

        let snapshot = engine.snapshot(&now);
        assert_eq!(published(&snapshot, &config, "forecast/service").as_deref(), Some("test-only"));
        assert_eq!(published(&snapshot, &config, "forecast/credit").as_deref(), Some("Made up for a test"));
        assert_eq!(published(&snapshot, &config, "outdoors/from").as_deref(), Some("forecast"));
        assert_eq!(published(&snapshot, &config, "outdoors/temperature").as_deref(), Some("-4.8"));
        let metrics = exposition::text(&exposition::metrics(&snapshot)).unwrap();
        assert!(metrics.contains("mistwright_forecast_in_use{service=\"test-only\"} 1"), "{metrics}");

        let state = State { memory: engine.memory(&now), topics: BTreeSet::new() };
        let back = state_file::read(&state_file::write(&state).unwrap()).unwrap();
        assert_eq!(back.memory.forecast.map(|kept| kept.forecast.service), Some(SERVICE));
    }
}
