//! A real Mosquitto with user and password on a port of its own, which can be killed and started again.

use std::{
    fs,
    net::{TcpListener, TcpStream},
    path::PathBuf,
    process::{Child, Command, Stdio},
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
        let folder = tempfile::tempdir().unwrap();
        let passwords = folder.path().join("passwords");
        let made = Command::new(program("mosquitto_passwd"))
            .args(["-c", "-b"])
            .arg(&passwords)
            .args([USER, PASSWORD])
            .output()
            .expect("mosquitto_passwd starts");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let port = free_port();
        let configuration = format!(
            // Mosquitto that is started by root turns into another user, who could not read the password file.
            "user root\nlistener {port} 127.0.0.1\nallow_anonymous false\npassword_file {}\npersistence false\n",
            passwords.display()
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
    let process = Command::new(program("mosquitto"))
        .arg("-c")
        .arg(configuration)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("mosquitto starts");
    until("mosquitto listens", 10, || TcpStream::connect(("127.0.0.1", port)).ok());
    process
}

/// A port that nobody listens on. Another process may take it before it is used; the test then fails with that reason.
pub fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
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
