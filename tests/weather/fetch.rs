//! The forecast client against servers that answer as services do on bad days.

use std::time::Duration;

use mistwright::{
    engine::{Event, FetchFailure},
    wire::weather::met_norway,
};
use tokio::net::TcpListener;
use wiremock::{
    Mock, MockServer, Request, ResponseTemplate,
    matchers::{any, header, header_exists, method, path, query_param},
};

use super::{
    body::sample,
    client::{Client, answering, bomb, raw},
};

const PATH: &str = "/weatherapi/locationforecast/2.0/complete";
const MODIFIED: &str = "Fri, 08 Jan 2027 17:38:34 GMT";

fn client(base_url: String) -> Client {
    Client::of(&met_norway::PROTOCOL, base_url)
}

fn forecast() -> ResponseTemplate {
    ResponseTemplate::new(200).set_body_raw(sample(), "application/json")
}

async fn failure_of(response: ResponseTemplate) -> FetchFailure {
    let server = answering(response).await;
    client(server.uri()).failure().await
}

#[tokio::test]
async fn the_request_says_who_asks_and_for_where() {
    let server = MockServer::start().await;
    let agent = format!("mistwright/{} https://frosthollow.example/contact", env!("CARGO_PKG_VERSION"));
    Mock::given(method("GET"))
        .and(path(PATH))
        .and(query_param("lat", "61.2346"))
        .and(query_param("lon", "-10"))
        .and(query_param("altitude", "310"))
        .and(header("User-Agent", agent.as_str()))
        .and(header("Accept-Encoding", "gzip"))
        .respond_with(forecast())
        .expect(1)
        .mount(&server)
        .await;
    assert_eq!(client(server.uri()).success().await.1, Some(9));
}

#[tokio::test]
async fn the_exact_last_modified_goes_back_and_an_unchanged_forecast_is_kept() {
    let server = MockServer::start().await;
    Mock::given(|request: &Request| request.headers.get("If-Modified-Since").is_some_and(|sent| sent == MODIFIED))
        .respond_with(ResponseTemplate::new(304).insert_header("Cache-Control", "max-age=1200"))
        .expect(2)
        .mount(&server)
        .await;
    Mock::given(|request: &Request| !request.headers.contains_key("If-Modified-Since"))
        .respond_with(forecast().insert_header("Last-Modified", MODIFIED))
        .expect(1)
        .mount(&server)
        .await;
    let mut client = client(server.uri());
    assert_eq!(client.success().await.1, Some(9));
    for _ in 0..2 {
        let (keep_for, new) = client.success().await;
        assert_eq!(new, None);
        assert!((1_230..=1_350).contains(&keep_for.as_secs()), "{keep_for:?}");
    }
}

#[tokio::test]
async fn an_answer_that_cannot_be_read_is_not_taken_for_the_last_one() {
    let server = MockServer::start().await;
    Mock::given(header_exists("If-Modified-Since"))
        .respond_with(ResponseTemplate::new(304))
        .expect(0)
        .mount(&server)
        .await;
    Mock::given(any())
        .respond_with(ResponseTemplate::new(200).insert_header("Last-Modified", MODIFIED).set_body_string("{}"))
        .mount(&server)
        .await;
    let mut client = client(server.uri());
    assert_eq!(client.failure().await.word, "not-a-forecast");
    assert_eq!(client.failure().await.word, "not-a-forecast");
}

#[tokio::test]
async fn the_expiry_is_counted_from_the_services_own_clock_and_never_hit_at_once_by_all() {
    let expiring = forecast()
        .insert_header("Date", "Mon, 03 Jan 2000 00:00:00 GMT")
        .insert_header("Expires", "Mon, 03 Jan 2000 00:20:00 GMT");
    let server = answering(expiring).await;
    let mut waits = Vec::new();
    for _ in 0..5 {
        waits.push(client(server.uri()).success().await.0);
    }
    assert!(waits.iter().all(|wait| (1_230..=1_350).contains(&wait.as_secs())), "{waits:?}");
    waits.dedup();
    assert!(waits.len() > 1, "every farm would ask at the same moment: {waits:?}");
}

#[tokio::test]
async fn what_a_service_says_of_keeping_is_kept_within_reason() {
    for (headers, shortest, longest) in [
        (vec![], 1_830, 2_200),
        (vec![("Expires", "0")], 1_830, 2_200),
        (vec![("Cache-Control", "public, max-age=0")], 330, 390),
        (vec![("Date", "Mon, 03 Jan 2000 02:00:00 GMT"), ("Expires", "Mon, 03 Jan 2000 00:00:00 GMT")], 330, 390),
        (vec![("Cache-Control", "max-age=99999999")], 21_630, 24_000),
        (vec![("Cache-Control", "max-age=600"), ("Expires", "Mon, 03 Jan 2033 00:00:00 GMT")], 630, 690),
    ] {
        let response = headers.iter().fold(forecast(), |response, (name, value)| response.insert_header(*name, *value));
        let server = answering(response).await;
        let keep_for = client(server.uri()).success().await.0.as_secs();
        assert!((shortest..=longest).contains(&keep_for), "{headers:?}: {keep_for} s");
    }
}

#[tokio::test]
async fn a_deprecated_product_is_still_read() {
    let server = answering(ResponseTemplate::new(203).set_body_raw(sample(), "application/json")).await;
    assert_eq!(client(server.uri()).success().await.1, Some(9));
}

#[tokio::test]
async fn each_refusal_is_told_in_its_own_words() {
    for (status, word, sentence) in [
        (
            403,
            "forbidden",
            "MET Norway refuses us (403): the contact in the configuration may be missing or blocked, or the address \
             is not the service's.",
        ),
        (404, "not-found", "MET Norway knows nothing at this address (404): check the base URL."),
        (422, "outside-area", "MET Norway does not cover the farm's coordinates (422)."),
        (429, "too-often", "MET Norway finds that we ask too often (429)."),
        (500, "out-of-order", "MET Norway is out of order (500)."),
        (503, "out-of-order", "MET Norway is out of order (503)."),
        (304, "status", "MET Norway answers `not modified` although it was not asked on that condition."),
        (418, "status", "MET Norway answers with the unexpected status 418."),
        (204, "status", "MET Norway answers with the unexpected status 204."),
    ] {
        let failure = failure_of(ResponseTemplate::new(status)).await;
        assert_eq!((failure.word, failure.sentence.as_str()), (word, sentence));
        assert_eq!(failure.retry_after, None);
    }
}

#[tokio::test]
async fn a_wished_pause_is_passed_on_within_a_day() {
    for (status, wish, seconds) in [
        (429, "120", Some(120)),
        (503, " 30 ", Some(30)),
        (503, "Mon, 03 Jan 2000 01:00:00 GMT", Some(3_600)),
        (429, "999999999999", Some(86_400)),
        (429, "Sun, 02 Jan 2000 01:00:00 GMT", Some(0)),
        (429, "soon", None),
        (429, "-5", None),
    ] {
        let response = ResponseTemplate::new(status)
            .insert_header("Date", "Mon, 03 Jan 2000 00:00:00 GMT")
            .insert_header("Retry-After", wish);
        let failure = failure_of(response).await;
        assert_eq!(failure.retry_after, seconds.map(Duration::from_secs), "{status} {wish}");
    }
}

#[tokio::test]
async fn a_web_page_with_status_200_is_no_forecast() {
    let failure = failure_of(ResponseTemplate::new(200).set_body_raw("<html>Log in</html>", "text/html")).await;
    assert_eq!(failure.word, "web-page");
    assert_eq!(failure.sentence, "MET Norway sent no forecast: the answer is a web page, not a forecast.");
}

#[tokio::test]
async fn a_body_that_breaks_off_is_no_forecast() {
    let head = b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n".to_vec();
    let failure = client(raw([head, sample()].concat(), false).await).failure().await;
    assert_eq!(failure.word, "broken", "{}", failure.sentence);
    assert!(failure.sentence.starts_with("MET Norway broke off its answer ("), "{}", failure.sentence);
    // Without a length, only the JSON itself shows it.
    let whole = sample();
    let answer = [b"HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n", &whole[..whole.len() - 40]].concat();
    let failure = client(raw(answer, false).await).failure().await;
    assert_eq!(failure.word, "truncated", "{}", failure.sentence);
}

#[tokio::test]
async fn a_huge_body_is_given_up_at_the_limit() {
    let failure = failure_of(ResponseTemplate::new(200).set_body_bytes(vec![b' '; 3 * 1_024 * 1_024])).await;
    assert_eq!((failure.word, failure.sentence.as_str()), ("too-large", "MET Norway sends more than 2 MiB."));
}

#[tokio::test]
async fn a_body_compressed_a_hundredfold_is_given_up_at_the_limit() {
    let bomb = bomb(200_000);
    assert!(bomb.len() < 400_000, "the bomb itself is small: {}", bomb.len());
    let failure =
        failure_of(ResponseTemplate::new(200).insert_header("Content-Encoding", "gzip").set_body_bytes(bomb)).await;
    assert_eq!(failure.word, "too-large", "{}", failure.sentence);
}

#[tokio::test]
async fn a_circle_of_redirects_ends() {
    let server = MockServer::start().await;
    Mock::given(any())
        .respond_with(ResponseTemplate::new(302).insert_header("Location", format!("{}{PATH}", server.uri())))
        .expect(4)
        .mount(&server)
        .await;
    let failure = client(server.uri()).failure().await;
    assert_eq!(failure.word, "redirects");
    assert_eq!(failure.sentence, "MET Norway redirects more than 3 times, or away from an encrypted address.");
}

#[tokio::test]
async fn three_redirects_are_followed() {
    let server = MockServer::start().await;
    for (from, to) in [(PATH, "/1"), ("/1", "/2"), ("/2", "/3")] {
        Mock::given(path(from))
            .respond_with(ResponseTemplate::new(307).insert_header("Location", to))
            .mount(&server)
            .await;
    }
    Mock::given(path("/3")).respond_with(forecast()).mount(&server).await;
    assert_eq!(client(server.uri()).success().await.1, Some(9));
}

#[tokio::test]
async fn a_service_that_is_not_there_is_told() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base_url = format!("http://{}", listener.local_addr().unwrap());
    drop(listener);
    let failure = client(base_url).failure().await;
    assert_eq!(failure.word, "unreachable");
    assert_eq!(failure.sentence, "MET Norway cannot be reached (Connection refused (os error 111)).");
}

#[tokio::test]
async fn an_answer_that_drips_is_given_up_after_twenty_seconds() {
    let head = b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n{".to_vec();
    let failure = client(raw(head, true).await).failure().await;
    assert_eq!(failure.word, "slow");
    assert_eq!(failure.sentence, "MET Norway did not answer in full within 20 s.");
}

#[tokio::test]
async fn requests_are_answered_one_after_the_other() {
    let server = answering(forecast().set_delay(Duration::from_millis(300))).await;
    let mut client = client(server.uri());
    for _ in 0..3 {
        client.requests.send(met_norway::SERVICE).await.unwrap();
    }
    for answered in 1..=3 {
        assert!(matches!(client.events.recv().await, Some(Event::Forecast { .. })));
        // At most the next one may be under way; were they sent at once, all three would have arrived by now.
        let received = server.received_requests().await.unwrap().len();
        assert!(received <= answered + 1, "{received} requests for {answered} answers");
    }
    assert_eq!(server.received_requests().await.unwrap().len(), 3);
}
