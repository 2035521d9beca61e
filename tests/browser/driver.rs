//! A headless Chromium, driven over the WebDriver protocol in plain HTTP.

use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::Duration,
};

use serde_json::{Value, json};

use crate::e2e::{
    broker::{free_port, program},
    until,
};

/// How a page is looked at.
#[derive(Debug, Clone, Copy)]
pub struct Screen {
    pub width: u32,
    pub dark: bool,
}

impl Screen {
    /// A small phone and a desk, by day and by night.
    pub const ALL: [Self; 4] = [
        Self { width: 320, dark: false },
        Self { width: 320, dark: true },
        Self { width: 1_100, dark: false },
        Self { width: 1_100, dark: true },
    ];
    pub const PHONE: Self = Self { width: 320, dark: false };

    pub fn name(self) -> String {
        format!("{}-{}", self.width, if self.dark { "dark" } else { "light" })
    }
}

/// A running browser with one window; dropped, it is killed.
pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _folder: tempfile::TempDir,
}

impl Browser {
    /// Without Chromium and its driver the test fails: `tests/all.sh` installs both on Debian.
    pub fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let port = free_port();
        let driver = Command::new(program("chromedriver"))
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts");
        until("chromedriver listens", 20, || TcpStream::connect(("127.0.0.1", port)).ok());
        let mut arguments = vec![
            "--headless=new".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--hide-scrollbars".to_owned(),
            format!("--user-data-dir={}", folder.path().display()),
        ];
        // Chromium refuses to sandbox itself for the superuser.
        let user = Command::new("id").arg("-u").output().unwrap().stdout;
        if String::from_utf8_lossy(&user).trim() == "0" {
            arguments.push("--no-sandbox".to_owned());
        }
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "browserName": "chrome",
            "goog:loggingPrefs": { "browser": "ALL" },
            "goog:chromeOptions": { "args": arguments, "binary": program("chromium") },
        } } });
        let mut browser = Self { driver, port, session: String::new(), _folder: folder };
        let session = browser.call("/session", &wanted);
        browser.session = session["sessionId"].as_str().unwrap().to_owned();
        browser
    }

    /// One command; its value, or a failed test with what the driver said.
    fn call(&self, path: &str, body: &Value) -> Value {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let body = body.to_string();
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n",
            self.port,
            body.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(body.as_bytes()).unwrap();
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            assert!(reader.read_line(&mut line).unwrap() > 0, "the driver closed in the middle of a head");
            if line.trim().is_empty() {
                break;
            }
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().unwrap();
            }
        }
        let mut answer = vec![0; length];
        reader.read_exact(&mut answer).unwrap();
        let answer: Value = serde_json::from_slice(&answer).unwrap();
        assert!(answer["value"]["error"].is_null(), "{path}: {}", answer["value"]);
        answer["value"].clone()
    }

    fn command(&self, path: &str, body: &Value) -> Value {
        self.call(&format!("/session/{}/{path}", self.session), body)
    }

    fn devtools(&self, command: &str, parameters: &Value) -> Value {
        self.command("goog/cdp/execute", &json!({ "cmd": command, "params": parameters }))
    }

    /// Loads an address and waits until it has loaded.
    pub fn open(&self, address: &str) {
        self.command("url", &json!({ "url": address }));
    }

    /// Runs a function body in the page; a promise is waited for.
    pub fn run(&self, script: &str) -> Value {
        self.command("execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// Waits until an expression is true.
    pub fn wait(&self, what: &str, seconds: u64, expression: &str) {
        until(what, seconds, || self.run(&format!("return Boolean({expression})")).as_bool().filter(|is| *is));
    }

    /// The text of the first element that a selector finds, as it is seen.
    pub fn text(&self, selector: &str) -> String {
        self.run(&format!("return document.querySelector({})?.innerText ?? ''", json!(selector)))
            .as_str()
            .unwrap()
            .into()
    }

    /// Presses a key once.
    pub fn press(&self, key: char) {
        let keys = json!([{ "type": "keyDown", "value": key }, { "type": "keyUp", "value": key }]);
        self.command("actions", &json!({ "actions": [{ "type": "key", "id": "keys", "actions": keys }] }));
    }

    /// Looks through another screen from now on.
    pub fn through(&self, screen: Screen) {
        let size = json!({
            "width": screen.width, "height": 800, "deviceScaleFactor": if screen.width < 500 { 2 } else { 1 },
            "mobile": screen.width < 500,
        });
        self.devtools("Emulation.setDeviceMetricsOverride", &size);
        let scheme = if screen.dark { "dark" } else { "light" };
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        self.devtools("Emulation.setEmulatedMedia", &json!({ "features": features }));
    }

    /// Keeps a picture of the whole page among the build's artefacts.
    pub fn picture(&self, name: &str) {
        let size = self.run("const all = document.documentElement; return [all.clientWidth, all.scrollHeight]");
        self.picture_of(name, (size[0].as_u64().unwrap(), size[1].as_u64().unwrap()));
    }

    /// Keeps a picture of the page's top left, so many pixels wide and high.
    pub fn picture_of(&self, name: &str, (width, height): (u64, u64)) {
        let clip = json!({ "x": 0, "y": 0, "width": width, "height": height, "scale": 1 });
        let shot = self.devtools("Page.captureScreenshot", &json!({ "captureBeyondViewport": true, "clip": clip }));
        let folder = pictures();
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join(format!("{name}.png")), base64(shot["data"].as_str().unwrap())).unwrap();
    }

    /// What the browser complained of since the last call: refused scripts and styles, errors, failed requests.
    pub fn complaints(&self) -> Vec<String> {
        let log = self.command("se/log", &json!({ "type": "browser" }));
        let entries = log.as_array().unwrap().iter();
        let texts = entries.map(|entry| format!("{} {}", entry["level"], entry["message"]));
        // Browsers ask for an icon unasked.
        texts.filter(|text| !text.contains("favicon.ico")).collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The driver takes the browser with it only where it is asked to; where it does not answer, nothing is lost.
        if let Ok(mut stream) = TcpStream::connect(("127.0.0.1", self.port)) {
            let request = format!("DELETE /session/{} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", self.session, self.port);
            let _ = stream.set_read_timeout(Some(Duration::from_secs(10)));
            let _ = stream.write_all(request.as_bytes());
            let _ = stream.read(&mut [0; 1_024]);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// Where pictures are kept.
pub fn pictures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("target/browser")
}

/// Bytes of a text in base 64 (RFC 4648).
fn base64(text: &str) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3);
    let (mut held, mut bits) = (0_u32, 0);
    for letter in text.bytes().take_while(|letter| *letter != b'=') {
        let value = match letter {
            b'A'..=b'Z' => letter - b'A',
            b'a'..=b'z' => letter - b'a' + 26,
            b'0'..=b'9' => letter - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => panic!("no base 64: {letter}"),
        };
        held = (held << 6) | u32::from(value);
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push((held >> bits) as u8);
        }
    }
    bytes
}

#[test]
fn base_64_is_read_as_its_standard_says() {
    // The test vectors of RFC 4648, section 10.
    for (text, bytes) in [("Zg==", "f"), ("Zm8=", "fo"), ("Zm9v", "foo"), ("Zm9vYmFy", "foobar")] {
        assert_eq!(base64(text), bytes.as_bytes());
    }
}
