//! A real Mosquitto with user and password on a port of its own, which can be killed and started again.

use std::{
    fs,
    net::{TcpListener, TcpStream},
    path::PathBuf,
    process::{Child, Command, Stdio},
    sync::atomic::{AtomicU16, Ordering},
};

use super::until;

pub const USER: &str = "grower";
pub const PASSWORD: &str = "a-test-password";

/// A running broker; dropped, it is killed.
pub struct Mosquitto {
    pub port: u16,
    folder: tempfile::TempDir,
    process: Child,
}

impl Mosquitto {
    /// Starts on a free port. Without Mosquitto the test fails: `tests/all.sh` installs it on Debian.
    pub fn start() -> Self {
        Self::with_access_list(&format!("user {USER}\ntopic readwrite #\n"))
    }

    /// The same with an access list in Mosquitto's own notation.
    pub fn with_access_list(access: &str) -> Self {
        Self::with(access, "")
    }

    /// The same with more listeners, in Mosquitto's own notation.
    pub fn with_listeners(listeners: &str) -> Self {
        Self::with(&format!("user {USER}\ntopic readwrite #\n"), listeners)
    }

    fn with(access: &str, listeners: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let passwords = folder.path().join("passwords");
        let made = Command::new(program("mosquitto_passwd"))
            .args(["-c", "-b"])
            .arg(&passwords)
            .args([USER, PASSWORD])
            .output()
            .expect("mosquitto_passwd starts");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let access_list = folder.path().join("access");
        fs::write(&access_list, access).unwrap();
        let port = free_port();
        let configuration = format!(
            // Mosquitto that is started by root turns into another user, who could not read the password file.
            "user root\nlistener {port} 127.0.0.1\nallow_anonymous false\npassword_file {}\nacl_file {}\n\
             persistence false\n{listeners}",
            passwords.display(),
            access_list.display()
        );
        fs::write(folder.path().join("mosquitto.conf"), configuration).unwrap();
        let process = spawn(&folder.path().join("mosquitto.conf"), port);
        Self { port, folder, process }
    }

    /// Kills it without notice: clients see a broken connection, retained messages are gone.
    pub fn kill(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }

    /// Sends a signal by name: `STOP` hangs it with its connections open, `CONT` lets it go on.
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args(["-s", name, &self.process.id().to_string()]).status().unwrap();
        assert!(sent.success());
    }

    /// Starts again, empty, on the same port.
    pub fn restart(&mut self) {
        self.process = spawn(&self.folder.path().join("mosquitto.conf"), self.port);
    }

    /// A file that holds the password, as the daemon wants it.
    pub fn password_file(&self) -> PathBuf {
        let path = self.folder.path().join("password");
        fs::write(&path, PASSWORD).unwrap();
        path
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn spawn(configuration: &std::path::Path, port: u16) -> Child {
    let mut process = Command::new(program("mosquitto"))
        .arg("-c")
        .arg(configuration)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("mosquitto starts");
    until("mosquitto listens", 10, || TcpStream::connect(("127.0.0.1", port)).ok());
    assert_eq!(process.try_wait().unwrap(), None, "mosquitto has ended; somebody else listens on {port}");
    process
}

/// A port that nobody listens on, below the range from which the system takes ports for outgoing connections: one of
/// those must not take the port of a broker that is away for a moment. No port is given twice.
pub fn free_port() -> u16 {
    static NEXT: AtomicU16 = AtomicU16::new(0);
    const FIRST: u16 = 15_000;
    const COUNT: u16 = 15_000;
    // Test binaries that run at the same time start at different places.
    let start = (std::process::id() % u32::from(COUNT)) as u16;
    loop {
        let step = NEXT.fetch_add(1, Ordering::SeqCst);
        assert!(step < COUNT, "no port is free");
        let port = FIRST + (start + step) % COUNT;
        if TcpListener::bind(("127.0.0.1", port)).is_ok() {
            return port;
        }
    }
}

/// Where a peer program is; Debian keeps the broker off the ordinary path.
pub fn program(name: &str) -> PathBuf {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path)
        .chain(["/usr/sbin".into(), "/usr/local/sbin".into()])
        .map(|folder| folder.join(name))
        .find(|file| file.is_file())
        .unwrap_or_else(|| panic!("`{name}` is needed by this test: install it, or run `bash tests/all.sh`"))
}
