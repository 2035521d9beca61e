//! Every fault that any service can have, with every service: what is published of it is one word and one sentence.

use std::{
    net::TcpListener,
    process::{Child, Command, Stdio},
    time::Duration,
};

use mistwright::wire::weather::PROTOCOLS;
use wiremock::{Mock, MockServer, ResponseTemplate, matchers::any};

use super::client::{Client, bomb, raw};

fn chunk(body: &[u8]) -> Vec<u8> {
    [format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n", body.len() + 1_000).as_bytes(), body].concat()
}

#[tokio::test]
async fn each_fault_of_each_service_has_its_word() {
    let json = |text: &str| ResponseTemplate::new(200).set_body_raw(text.to_owned(), "application/json");
    let status = ResponseTemplate::new;
    let faults: Vec<(&str, ResponseTemplate, &str)> = vec![
        ("an empty body", json(""), "empty"),
        ("half a body", json(r#"{"properties":{"timeser"#), "truncated"),
        ("another JSON", json(r#"{"hello":"world"}"#), "not-a-forecast"),
        ("JSON of another type", json("[1,2,3]"), "not-a-forecast"),
        ("a web page with 200", status(200).set_body_raw("<!doctype html>Log in", "text/html"), "web-page"),
        ("a bomb", status(200).insert_header("Content-Encoding", "gzip").set_body_bytes(bomb(200_000)), "too-large"),
        ("a huge body", status(200).set_body_bytes(vec![b' '; 3 << 20]), "too-large"),
        ("not gzip", status(200).insert_header("Content-Encoding", "gzip").set_body_bytes("{}"), "broken"),
        ("304 unasked", status(304), "status"),
        ("a refusal", status(403), "forbidden"),
        ("outside", status(422), "outside-area"),
        ("too often", status(429).insert_header("Retry-After", "77"), "too-often"),
        ("an error", status(500), "out-of-order"),
        ("a bad gateway with a page", status(502).set_body_string("<html>"), "out-of-order"),
        ("maintenance", status(503).insert_header("Retry-After", "77"), "out-of-order"),
        ("a huge refusal", status(503).set_body_bytes(vec![b'x'; 3 << 20]), "out-of-order"),
    ];
    for protocol in PROTOCOLS {
        for (what, response, word) in &faults {
            let server = MockServer::start().await;
            Mock::given(any()).respond_with(response.clone()).mount(&server).await;
            let failure = Client::of(protocol, server.uri()).failure().await;
            let who = protocol.service.name();
            assert_eq!(failure.word, *word, "{who}, {what}: {}", failure.sentence);
            assert!(failure.sentence.starts_with(protocol.service.title()), "{}", failure.sentence);
            assert!(failure.sentence.len() < 400, "{who}, {what}");
            let asks = matches!(*what, "too often" | "maintenance");
            assert_eq!(failure.retry_after, asks.then(|| Duration::from_secs(77)), "{who}, {what}");
        }
    }
}

#[tokio::test]
async fn no_service_can_hold_the_client_with_a_drip_a_break_or_a_circle() {
    let mut waiting = Vec::new();
    for protocol in PROTOCOLS {
        waiting.push((raw(chunk(b"{\"properties\""), true).await, *protocol, "slow"));
        waiting.push((raw(Vec::new(), true).await, *protocol, "slow"));
        waiting.push((raw(chunk(b"{\"properties\""), false).await, *protocol, "broken"));
        waiting.push((raw(b"SMTP ready\r\n".to_vec(), false).await, *protocol, "unreachable"));
    }
    let tasks: Vec<_> = waiting
        .into_iter()
        .map(|(url, protocol, word)| {
            tokio::spawn(async move {
                let failure = Client::of(protocol, url).failure().await;
                assert_eq!(failure.word, word, "{}", failure.sentence);
            })
        })
        .collect();
    for task in tasks {
        task.await.unwrap();
    }
    for protocol in PROTOCOLS {
        let server = MockServer::start().await;
        let circle = ResponseTemplate::new(302).insert_header("Location", format!("{}/again", server.uri()));
        Mock::given(any()).respond_with(circle).expect(4).mount(&server).await;
        assert_eq!(Client::of(protocol, server.uri()).failure().await.word, "redirects");
    }
}

/// A TLS server of OpenSSL, with a certificate that it has signed itself.
struct SelfSigned {
    server: Child,
    port: u16,
    _folder: tempfile::TempDir,
}

impl SelfSigned {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (key, certificate) = (folder.path().join("key.pem"), folder.path().join("certificate.pem"));
        let made = Command::new("openssl")
            .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"])
            .args(["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"])
            .args(["-addext", "basicConstraints=critical,CA:FALSE", "-keyout"])
            .arg(&key)
            .arg("-out")
            .arg(&certificate)
            .output()
            .expect("openssl must be installed");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let server = Command::new("openssl")
            .args(["s_server", "-www", "-quiet", "-accept", &format!("127.0.0.1:{port}"), "-key"])
            .arg(&key)
            .arg("-cert")
            .arg(&certificate)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let listening = (0..100).any(|_| {
            std::thread::sleep(Duration::from_millis(50));
            std::net::TcpStream::connect(("127.0.0.1", port)).is_ok()
        });
        assert!(listening, "openssl's server does not listen");
        Self { server, port, _folder: folder }
    }
}

impl Drop for SelfSigned {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

#[tokio::test]
async fn a_certificate_that_nobody_vouches_for_and_a_server_without_tls_are_told_apart_from_a_network_that_is_down() {
    let server = SelfSigned::start();
    for protocol in PROTOCOLS {
        let failure = Client::of(protocol, format!("https://127.0.0.1:{}", server.port)).failure().await;
        assert_eq!(failure.word, "tls", "{}", failure.sentence);
        let plain = MockServer::start().await;
        let failure = Client::of(protocol, plain.uri().replacen("http:", "https:", 1)).failure().await;
        assert_eq!(failure.word, "tls", "{}", failure.sentence);
    }
}
