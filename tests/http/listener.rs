//! The listener on a real socket, asked in raw bytes.

use std::{sync::Arc, time::Duration};

use mistwright::{engine::Snapshot, io::http};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::{TcpListener, TcpStream},
    sync::{oneshot, watch},
    task::JoinHandle,
    time::timeout,
};

use super::farm;

struct Served {
    port: u16,
    snapshots: Option<watch::Sender<Arc<Snapshot>>>,
    stop: oneshot::Sender<()>,
    task: JoinHandle<()>,
}

async fn served(snapshot: Snapshot) -> Served {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let (snapshots, receiver) = watch::channel(Arc::new(snapshot));
    let (stop, stopped) = oneshot::channel::<()>();
    let task = tokio::spawn(http::serve(listener, receiver, async move {
        let _ = stopped.await;
    }));
    Served { port, snapshots: Some(snapshots), stop, task }
}

impl Served {
    async fn connect(&self) -> TcpStream {
        TcpStream::connect(("127.0.0.1", self.port)).await.unwrap()
    }

    /// Everything that comes back until the other side closes.
    async fn raw(&self, request: &str) -> String {
        let mut stream = self.connect().await;
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut answer = Vec::new();
        timeout(Duration::from_secs(10), stream.read_to_end(&mut answer)).await.expect("no end").unwrap();
        String::from_utf8(answer).unwrap()
    }

    async fn get(&self, path: &str) -> String {
        self.raw(&format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n", self.port)).await
    }

    async fn host(&self, host: &str) -> String {
        self.raw(&format!("GET /healthz HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n")).await
    }
}

fn status(answer: &str) -> &str {
    answer.split(' ').nth(1).unwrap_or("nothing")
}

fn body(answer: &str) -> &str {
    answer.split_once("\r\n\r\n").unwrap().1
}

#[tokio::test]
async fn metrics_of_the_snapshot_and_of_the_process_are_served() {
    let served = served(farm::fed()).await;
    let answer = served.get("/metrics").await;
    assert_eq!(status(&answer), "200");
    assert!(answer.to_lowercase().contains("content-type: text/plain; version=0.0.4"), "{answer}");
    assert!(body(&answer).contains("\nmistwright_room_temperature_celsius{room=\"oyster-hall\"} 16\n"), "{answer}");
    assert!(body(&answer).contains("\nprocess_resident_memory_bytes "), "{answer}");
}

#[tokio::test]
async fn the_document_is_served_as_json_and_follows_the_engine() {
    let served = served(farm::engine().snapshot(&farm::at(0))).await;
    let turns = |answer: &str| serde_json::from_str::<serde_json::Value>(body(answer)).unwrap()["turns"].clone();
    assert_eq!(turns(&served.get("/snapshot.json").await), 0);
    served.snapshots.as_ref().unwrap().send_replace(Arc::new(farm::fed()));
    assert_eq!(turns(&served.get("/snapshot.json").await), 10);
}

#[tokio::test]
async fn readiness_says_what_is_missing() {
    let served = served(farm::engine().snapshot(&farm::at(0))).await;
    let answer = served.get("/readyz").await;
    assert_eq!(status(&answer), "503");
    assert!(body(&answer).starts_with("Nothing has been worked out yet."), "{answer}");
    let mut cut_off = farm::fed();
    cut_off.site.connected = false;
    served.snapshots.as_ref().unwrap().send_replace(Arc::new(cut_off));
    let answer = served.get("/readyz").await;
    assert_eq!(status(&answer), "503");
    assert!(body(&answer).starts_with("The broker is not connected"), "{answer}");
    served.snapshots.as_ref().unwrap().send_replace(Arc::new(farm::fed()));
    assert_eq!(status(&served.get("/readyz").await), "200");
}

#[tokio::test]
async fn health_fails_when_the_engine_is_gone() {
    let mut served = served(farm::fed()).await;
    assert_eq!(status(&served.get("/healthz").await), "200");
    served.snapshots = None;
    let answer = served.get("/healthz").await;
    assert_eq!(status(&answer), "503");
    assert_eq!(body(&answer), "The engine has stopped.\n");
    assert_eq!(status(&served.get("/readyz").await), "503");
}

#[tokio::test]
async fn nothing_but_reading_is_answered() {
    let served = served(farm::fed()).await;
    for method in ["POST", "PUT", "DELETE", "OPTIONS", "TRACE"] {
        let request = format!("{method} /metrics HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n");
        let answer = served.raw(&request).await;
        assert_eq!(status(&answer), "405", "{method}");
        assert!(answer.to_lowercase().contains("\r\nallow: get, head\r\n"), "{answer}");
    }
    let answer = served.raw("HEAD /metrics HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n").await;
    assert_eq!(status(&answer), "200");
    assert_eq!(body(&answer), "");
    assert_eq!(status(&served.get("/nothing").await), "404");
    assert_eq!(status(&served.get("/").await), "200");
}

#[tokio::test]
async fn every_answer_carries_the_security_headers() {
    let served = served(farm::fed()).await;
    for answer in [served.get("/").await, served.get("/nothing").await, served.host("stranger.example").await] {
        let head = answer.split("\r\n\r\n").next().unwrap().to_lowercase();
        for header in [
            "x-content-type-options: nosniff",
            "x-frame-options: deny",
            "referrer-policy: no-referrer",
            "content-security-policy: default-src 'none'",
            "cache-control: no-store",
        ] {
            assert!(head.contains(header), "{header} is missing in {head}");
        }
    }
}

#[tokio::test]
async fn the_page_its_style_and_its_script_are_served_and_nothing_sets_a_cookie() {
    let served = served(farm::fed()).await;
    for (path, kind, words) in [
        ("/", "text/html; charset=utf-8", "<h1>Tonight</h1>"),
        ("/?units=us", "text/html; charset=utf-8", "°F"),
        ("/?units=furlongs", "text/html; charset=utf-8", "°C"),
        ("/rooms/shiitake-loft", "text/html; charset=utf-8", "<h1>Shiitake loft</h1>"),
        ("/page.css", "text/css; charset=utf-8", "--paper"),
        ("/page.js", "text/javascript; charset=utf-8", "EventSource"),
    ] {
        let answer = served.get(path).await;
        assert_eq!(status(&answer), "200", "{path}");
        assert!(answer.to_lowercase().contains(&format!("content-type: {kind}\r\n")), "{path}: {answer}");
        assert!(body(&answer).contains(words), "{path}");
        assert!(!answer.to_lowercase().contains("set-cookie"), "{path}");
    }
    for path in ["/rooms/", "/rooms/nowhere", "/rooms/oyster-hall/more", "/rooms/..%2f"] {
        assert_eq!(status(&served.get(path).await), "404", "{path}");
    }
    let answer = served.get("/").await;
    let policy = answer.split("content-security-policy: ").nth(1).unwrap().split("\r\n").next().unwrap();
    assert!(!policy.contains("unsafe") && !policy.contains('*') && !policy.contains("http"), "{policy}");
}

/// What a stream says until it has said `words`.
async fn heard(stream: &mut TcpStream, within: u64, words: &str) -> String {
    let mut all = String::new();
    let mut bytes = [0; 1_024];
    let said = timeout(Duration::from_secs(within), async {
        while !all.contains(words) {
            let count = stream.read(&mut bytes).await.unwrap();
            assert!(count > 0, "the stream ended after {all}");
            all.push_str(std::str::from_utf8(&bytes[..count]).unwrap());
        }
    });
    said.await.unwrap_or_else(|_| panic!("no `{words}` within {within} s"));
    all
}

#[tokio::test]
async fn an_open_page_is_told_of_changes_at_once_then_spaced_and_never_left_without_a_word() {
    let served = served(farm::fed()).await;
    let mut stream = served.connect().await;
    stream.write_all(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n").await.unwrap();
    let head = heard(&mut stream, 2, "event: changed").await;
    assert!(head.to_lowercase().contains("content-type: text/event-stream"), "{head}");
    // Many changes at once are one word.
    let sender = served.snapshots.as_ref().unwrap();
    (0..50).for_each(|_| drop(sender.send_replace(Arc::new(farm::fed()))));
    assert_eq!(heard(&mut stream, 4, "event: changed").await.matches("event: changed").count(), 1);
    // The farm is silent from here on; a stream of its own, because each lasts only as long as its connection.
    let mut stream = served.connect().await;
    stream.write_all(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n").await.unwrap();
    heard(&mut stream, 12, "event: alive").await;
}

#[tokio::test]
async fn pages_beyond_the_bound_are_told_to_ask_by_themselves_while_everything_else_is_answered() {
    let served = served(farm::fed()).await;
    let mut open = Vec::new();
    for _ in 0..16 {
        let mut stream = served.connect().await;
        stream.write_all(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n").await.unwrap();
        let mut first = [0; 12];
        timeout(Duration::from_secs(5), stream.read_exact(&mut first)).await.unwrap().unwrap();
        assert_eq!(&first, b"HTTP/1.1 200");
        open.push(stream);
    }
    assert_eq!(status(&served.get("/events").await), "503");
    assert_eq!(status(&served.get("/").await), "200");
    // A page that is closed makes room.
    open.clear();
    let mut stream = served.connect().await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    stream.write_all(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n").await.unwrap();
    let mut first = [0; 12];
    timeout(Duration::from_secs(5), stream.read_exact(&mut first)).await.unwrap().unwrap();
    assert_eq!(&first, b"HTTP/1.1 200");
}

#[tokio::test]
async fn a_stream_of_changes_ends_in_good_order_before_its_connection_is_cut() {
    let served = served(farm::fed()).await;
    let request = "GET /events HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n";
    let mut stream = served.connect().await;
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    timeout(Duration::from_secs(22), stream.read_to_string(&mut answer)).await.expect("no end").unwrap();
    assert!(answer.ends_with("0\r\n\r\n"), "cut in the middle: {answer}");
    assert!(answer.matches("event: alive").count() >= 2, "{answer}");
}

#[tokio::test]
async fn a_name_that_a_stranger_points_here_is_refused() {
    let served = served(farm::fed()).await;
    for host in ["localhost", "LOCALHOST:9090", "127.0.0.1", "[::1]:9090", "192.0.2.7:80", "localhost."] {
        assert_eq!(status(&served.host(host).await), "200", "{host}");
    }
    for host in ["stranger.example", "stranger.example:9090", "127.0.0.1.stranger.example", "localhost.example", "::"] {
        assert_eq!(status(&served.host(host).await), "421", "{host}");
    }
    let absolute = "GET http://stranger.example/healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n";
    assert_eq!(status(&served.raw(absolute).await), "421");
    let none = "GET /healthz HTTP/1.1\r\nConnection: close\r\n\r\n";
    assert_eq!(status(&served.raw(none).await), "400");
    let two = "GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: stranger.example\r\nConnection: close\r\n\r\n";
    assert_eq!(status(&served.raw(two).await), "400");
}

#[tokio::test]
async fn a_huge_head_is_refused() {
    let served = served(farm::fed()).await;
    let request = format!("GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: {}\r\n\r\n", "x".repeat(20_000));
    assert_eq!(status(&served.raw(&request).await), "431");
}

#[tokio::test]
async fn slow_clients_are_cut_off_and_hold_nobody_else_for_long() {
    let served = served(farm::fed()).await;
    let mut slow = Vec::new();
    for _ in 0..40 {
        let mut stream = served.connect().await;
        stream.write_all(b"GET / HTTP/1.1\r\nHost:").await.unwrap();
        slow.push(stream);
    }
    // All places are taken: this one waits until the slow ones have been cut off.
    let answer = timeout(Duration::from_secs(9), served.get("/healthz")).await.expect("held for more than 9 s");
    assert_eq!(status(&answer), "200");
    let mut rest = Vec::new();
    let cut = timeout(Duration::from_secs(9), slow[0].read_to_end(&mut rest)).await;
    assert!(cut.is_ok(), "a slow client was not cut off");
}

#[tokio::test]
async fn stopping_lets_nobody_hold_the_daemon() {
    let served = served(farm::fed()).await;
    let mut holding = served.connect().await;
    holding.write_all(b"GET / HTTP/1.1\r\nHost:").await.unwrap();
    let _ = served.get("/").await;
    served.stop.send(()).unwrap();
    timeout(Duration::from_secs(4), served.task).await.expect("still serving after 4 s").unwrap();
    assert!(TcpStream::connect(("127.0.0.1", served.port)).await.is_err(), "the socket is still open");
}
