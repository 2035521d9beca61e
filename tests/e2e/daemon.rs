//! The real binary in a process of its own.

use std::{
    ffi::OsStr,
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    process::{Child, Command, ExitStatus, Stdio},
    sync::{Arc, Mutex},
    time::Duration,
};

use super::until;

/// A running daemon; dropped, it is killed.
pub struct Daemon {
    process: Child,
    log: Arc<Mutex<Vec<String>>>,
    http_port: u16,
    _folder: tempfile::TempDir,
}

impl Daemon {
    /// Runs it on a configuration; waits for nothing.
    pub fn run(configuration: &str, http_port: u16) -> Self {
        Self::run_with(configuration, http_port, &[])
    }

    /// The same with more in its environment.
    pub fn run_with(configuration: &str, http_port: u16, environment: &[(&str, &OsStr)]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("mistwright.yaml");
        fs::write(&file, configuration).unwrap();
        let mut process = Command::new(env!("CARGO_BIN_EXE_mistwright"))
            .args(["run", "--config"])
            .arg(&file)
            .current_dir(folder.path())
            .envs(environment.iter().copied())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let log = Arc::<Mutex<Vec<String>>>::default();
        collect(process.stdout.take().unwrap(), &log);
        collect(process.stderr.take().unwrap(), &log);
        Self { process, log, http_port, _folder: folder }
    }

    /// Where it serves.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.http_port)
    }

    /// Everything it has written so far.
    pub fn log(&self) -> String {
        self.log.lock().unwrap().join("\n")
    }

    /// Sends a signal by name.
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args(["-s", name, &self.process.id().to_string()]).status().unwrap();
        assert!(sent.success());
    }

    /// Waits for its end.
    pub fn ended(&mut self, seconds: u64) -> ExitStatus {
        let process = &mut self.process;
        until("the daemon ends", seconds, || process.try_wait().unwrap())
    }

    /// Where it serves.
    pub const fn port(&self) -> u16 {
        self.http_port
    }

    /// Status code and body of a GET.
    pub fn get(&self, path: &str) -> Option<(u16, String)> {
        fetch(self.http_port, path)
    }

    /// The exposition, once it is served.
    pub fn metrics(&self) -> String {
        until("metrics are served", 20, || self.get("/metrics").filter(|(code, _)| *code == 200)).1
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
        if std::thread::panicking() {
            eprintln!("the daemon wrote:\n{}", self.log());
        }
    }
}

/// Status code and body of a GET on this machine.
pub fn fetch(port: u16, path: &str) -> Option<(u16, String)> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    write!(stream, "GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").ok()?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).ok()?;
    let (head, body) = answer.split_once("\r\n\r\n")?;
    Some((head.split(' ').nth(1)?.parse().ok()?, body.to_owned()))
}

fn collect(from: impl Read + Send + 'static, log: &Arc<Mutex<Vec<String>>>) {
    let log = log.clone();
    std::thread::spawn(move || {
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            log.lock().unwrap().push(line);
        }
    });
}

/// The value of a series, by its name and labels exactly as exposed.
pub fn sample(metrics: &str, series: &str) -> Option<f64> {
    metrics.lines().find_map(|line| line.strip_prefix(series)?.strip_prefix(' ')?.trim().parse().ok())
}
