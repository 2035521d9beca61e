//! A weather service on this machine: it answers every request with one body, and counts the requests.

use std::{
    io::{BufRead, BufReader, Write},
    net::{TcpListener, TcpStream},
    sync::{
        Arc, Mutex,
        atomic::{AtomicUsize, Ordering},
    },
};

/// A running service. It ends with the test process.
pub struct WeatherService {
    /// Without a slash at the end.
    pub base_url: String,
    requests: Arc<AtomicUsize>,
    last_request: Arc<Mutex<String>>,
}

impl WeatherService {
    /// Starts to serve `body` as JSON under every path.
    pub fn serving(body: String) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let base_url = format!("http://{}", listener.local_addr().unwrap());
        let requests = Arc::new(AtomicUsize::new(0));
        let last_request = Arc::new(Mutex::new(String::new()));
        let (count, last) = (requests.clone(), last_request.clone());
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let request = answer(&stream, &body);
                *last.lock().unwrap() = request;
                count.fetch_add(1, Ordering::SeqCst);
            }
        });
        Self { base_url, requests, last_request }
    }

    /// Requests answered so far.
    pub fn requests(&self) -> usize {
        self.requests.load(Ordering::SeqCst)
    }

    /// Request line and headers of the last request.
    pub fn last_request(&self) -> String {
        self.last_request.lock().unwrap().clone()
    }
}

fn answer(stream: &TcpStream, body: &str) -> String {
    let mut request = String::new();
    let mut reader = BufReader::new(stream);
    while reader.read_line(&mut request).is_ok_and(|read| read > 2) {}
    let mut stream = stream;
    // A client that hangs up early is its own test's business.
    let _ = write!(
        stream,
        "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    );
    request
}
