//! The ways to a broker: TLS with certificates, a Unix socket, and an access list in between.

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use mistwright::{
    config::{Link, Secret, Tls},
    units::UnitSystem,
};

use super::{
    bridge::{Running, config, until_standing},
    conformance::published,
    snowed_in,
};
use crate::e2e::{
    broker::{Mosquitto, USER, free_port, program},
    client::{Outside, retained},
    daemon::Daemon,
    farm::{Farm, site},
    until,
};

/// What OpenSSL writes into the certificates, by section. One server certificate is for a name, one for an address.
const EXTENSIONS: &str = "\
[req]
distinguished_name = empty
[empty]
[authority]
basicConstraints = critical, CA:TRUE
keyUsage = critical, keyCertSign
[name]
basicConstraints = CA:FALSE
extendedKeyUsage = serverAuth
subjectAltName = DNS:localhost
[address]
basicConstraints = CA:FALSE
extendedKeyUsage = serverAuth
subjectAltName = IP:127.0.0.1
[client]
basicConstraints = CA:FALSE
extendedKeyUsage = clientAuth
";

/// An authority of the farm with what it has signed, and a stranger; each as `NAME.pem` and `NAME-key.pem`.
pub(super) struct Papers(tempfile::TempDir);

impl Papers {
    pub(super) fn new() -> Self {
        let papers = Self(tempfile::tempdir().unwrap());
        fs::write(papers.path("openssl.cnf"), EXTENSIONS).unwrap();
        papers.make("farm", "authority", None);
        papers.make("stranger", "authority", None);
        for name in ["name", "address", "client"] {
            papers.make(name, name, Some("farm"));
        }
        papers
    }

    pub(super) fn path(&self, file: &str) -> PathBuf {
        self.0.path().join(file)
    }

    fn make(&self, name: &str, extensions: &str, authority: Option<&str>) {
        let mut command = Command::new(program("openssl"));
        command.current_dir(self.0.path()).args(["req", "-x509", "-newkey", "ec", "-pkeyopt"]);
        command.args(["ec_paramgen_curve:prime256v1", "-nodes", "-days", "2", "-config", "openssl.cnf"]);
        command.args(["-extensions", extensions, "-subj", &format!("/CN={name}")]);
        command.args(["-out", &format!("{name}.pem"), "-keyout", &format!("{name}-key.pem")]);
        if let Some(authority) = authority {
            command.args(["-CA", &format!("{authority}.pem"), "-CAkey", &format!("{authority}-key.pem")]);
        }
        let output = command.output().unwrap();
        assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
    }

    /// A listener that shows the certificate `name`, and asks every client for one of the farm's.
    pub(super) fn listener(&self, port: u16, name: &str) -> String {
        format!(
            "listener {port} 127.0.0.1\ncafile {}\ncertfile {}\nkeyfile {}\nrequire_certificate true\n",
            self.path("farm.pem").display(),
            self.path(&format!("{name}.pem")).display(),
            self.path(&format!("{name}-key.pem")).display(),
        )
    }

    fn tls(&self) -> Tls {
        let client = (self.path("client.pem"), Secret::File(self.path("client-key.pem")));
        Tls { ca_file: Some(self.path("farm.pem")), client: Some(client) }
    }
}

/// The farm's configuration with another way to the broker.
pub(super) fn configuration(broker: &Mosquitto, http_port: u16, link: &str) -> String {
    let plain = format!("  host: 127.0.0.1\n  port: {}\n", broker.port);
    let whole = Farm::default().configuration(broker, http_port);
    assert!(whole.contains(&plain), "{whole}");
    whole.replace(&plain, link)
}

pub(super) fn run(broker: &Mosquitto, link: &str) -> Daemon {
    let http_port = free_port();
    Daemon::run(&configuration(broker, http_port, link), http_port)
}

#[test]
fn every_topic_arrives_by_tls_with_a_client_certificate_whether_the_broker_is_a_name_or_an_address() {
    let papers = Papers::new();
    let (by_name, by_address) = (free_port(), free_port());
    let listeners = papers.listener(by_name, "name") + &papers.listener(by_address, "address");
    let broker = Mosquitto::with_listeners(&listeners);
    let bench = snowed_in(UnitSystem::Metric);
    for (host, port) in [("localhost", by_name), ("127.0.0.1", by_address)] {
        let mut config = config(&broker, &bench.farm);
        config.broker.link = Link::Tls { host: host.to_owned(), port, tls: papers.tls() };
        let running = Running::with(config, &bench, 1_000);
        until_standing(&broker, &published(&bench.snapshot()));
        running.stop();
    }
}

#[test]
fn the_binary_connects_by_tls_from_its_configuration_file() {
    let papers = Papers::new();
    let port = free_port();
    let broker = Mosquitto::with_listeners(&papers.listener(port, "address"));
    let outside = Outside::connect("outside", broker.port);
    let daemon = run(&broker, &link("127.0.0.1", port, &files(&papers, "farm", Some(("client", "client")))));
    outside.until_is(&site("$state"), "ready", 20);
    drop(daemon);
}

pub(super) fn link(host: &str, port: u16, files: &str) -> String {
    format!("  host: {host}\n  port: {port}\n  tls: {{{files}}}\n")
}

/// The keys of a `tls` section: whom to trust, and whose certificate and key to show.
pub(super) fn files(papers: &Papers, authority: &str, client: Option<(&str, &str)>) -> String {
    let shown = |path: &Path| path.display().to_string();
    let authority = format!("ca-file: {}", shown(&papers.path(&format!("{authority}.pem"))));
    match client {
        None => authority,
        Some((certificate, key)) => format!(
            "{authority}, client-certificate-file: {}, client-key-file: {}",
            shown(&papers.path(&format!("{certificate}.pem"))),
            shown(&papers.path(&format!("{key}-key.pem"))),
        ),
    }
}

#[test]
fn wrong_files_and_wrong_names_never_connect_and_the_log_says_what_to_put_right() {
    let papers = Papers::new();
    let port = free_port();
    let broker = Mosquitto::with_listeners(&papers.listener(port, "address"));
    let outside = Outside::connect("outside", broker.port);
    let client = Some(("client", "client"));
    let right = files(&papers, "farm", client);
    for (link, expected) in [
        (link("127.0.0.1", port, &files(&papers, "stranger", client)), "signed by nobody who is trusted here"),
        // The system's authorities do not know the farm's.
        (link("127.0.0.1", port, ""), "no root certificates|signed by nobody who is trusted here"),
        (link("localhost", port, &right), "is not made out to `localhost`"),
        (link("127.0.0.1", broker.port, &right), "`broker.port` has to be the broker's port for TLS"),
        (link("127.0.0.1", port, &files(&papers, "farm", None)), "broker.tls.client-certificate-file"),
        (link("127.0.0.1", port, &files(&papers, "farm", Some(("stranger", "stranger")))), "client-certificate-file"),
        (link("127.0.0.1", port, &files(&papers, "farm", Some(("client", "name")))), "cannot be used together"),
        (link("127.0.0.1", port, &files(&papers, "absent", client)), "absent.pem cannot be read"),
        (link("127.0.0.1", port, &files(&papers, "farm-key", client)), "farm-key.pem holds no certificate"),
    ] {
        let daemon = run(&broker, &link);
        let log = until(expected, 20, || {
            let log = daemon.log();
            expected.split('|').any(|words| log.contains(words)).then_some(log)
        });
        // Long enough for more attempts: the trouble is told once, and nothing is ever connected.
        std::thread::sleep(std::time::Duration::from_secs(2));
        assert!(!daemon.log().contains("Connected to the broker"), "{link}{log}");
        let log = daemon.log();
        let troubles: Vec<&str> = log.split("No connection to the broker").skip(1).collect();
        let troubles: Vec<&str> = troubles.iter().map(|rest| rest.lines().next().unwrap()).collect();
        assert!(troubles.windows(2).all(|pair| pair[0] != pair[1]), "{log}");
        assert!(!daemon.log().contains("PRIVATE KEY"), "{}", daemon.log());
    }
    let heard: Vec<_> = outside.messages().into_keys().filter(|topic| topic.starts_with("homie/")).collect();
    assert!(heard.is_empty(), "{heard:?}");
}

#[test]
fn a_certificate_that_is_put_right_counts_without_a_restart() {
    let papers = Papers::new();
    let port = free_port();
    let broker = Mosquitto::with_listeners(&papers.listener(port, "address"));
    let outside = Outside::connect("outside", broker.port);
    fs::copy(papers.path("stranger.pem"), papers.path("trusted.pem")).unwrap();
    let daemon = run(&broker, &link("127.0.0.1", port, &files(&papers, "trusted", Some(("client", "client")))));
    until("the wrong authority is told", 20, || daemon.log().contains("signed by nobody").then_some(()));
    fs::copy(papers.path("farm.pem"), papers.path("trusted.pem")).unwrap();
    outside.until_is(&site("$state"), "ready", 30);
}

#[test]
fn every_topic_arrives_through_a_unix_socket() {
    let folder = tempfile::tempdir().unwrap();
    let socket = folder.path().join("broker.sock");
    let broker = Mosquitto::with_listeners(&format!("listener 0 {}\n", socket.display()));
    let bench = snowed_in(UnitSystem::Metric);
    let mut config = config(&broker, &bench.farm);
    config.broker.link = Link::Socket(socket.clone());
    let running = Running::with(config, &bench, 1_000);
    until_standing(&broker, &published(&bench.snapshot()));
    running.stop();
    let outside = Outside::connect("outside", broker.port);
    let daemon = run(&broker, &format!("  socket: {}\n", socket.display()));
    outside.until_is(&site("$state"), "ready", 20);
    assert!(daemon.log().contains(&format!("Connected to the broker {}", socket.display())), "{}", daemon.log());
}

/// Topics of the convention's tree that stand at the broker. Texts of alerts come and go with the time.
fn tree(broker: &Mosquitto) -> BTreeSet<String> {
    let topics = retained(broker.port).into_keys();
    topics.filter(|topic| topic.starts_with("homie/") && !topic.contains("/$alert/")).collect()
}

#[test]
fn an_access_list_that_refuses_half_the_topics_leaves_the_other_half_and_each_refusal_is_told_once() {
    let nodes = ["alerts", "advice", "moisture"];
    let refused = |topic: &str| nodes.iter().any(|node| topic.split('/').nth(3) == Some(node));
    let link = |broker: &Mosquitto| format!("  host: 127.0.0.1\n  port: {}\n", broker.port);
    let whole = {
        let broker = Mosquitto::start();
        let outside = Outside::connect("outside", broker.port);
        let _daemon = run(&broker, &link(&broker));
        outside.until_is(&site("$state"), "ready", 20);
        tree(&broker)
    };
    let (missing, expected): (BTreeSet<_>, BTreeSet<_>) = whole.into_iter().partition(|topic| refused(topic));

    let denied: String = nodes.iter().map(|node| format!("topic deny +/5/+/{node}/#\n")).collect();
    let mut broker = Mosquitto::with_access_list(&format!("user {USER}\ntopic readwrite #\n{denied}"));
    let daemon = run(&broker, &link(&broker));
    // What is not known now is refused too: the daemon clears its topic.
    let told = |daemon: &Daemon| -> Vec<String> {
        let log = daemon.log();
        let lines = log.lines().filter_map(|line| line.split_once("does not let this client publish `"));
        lines.filter_map(|(_, rest)| Some(rest.split_once('`')?.0.to_owned())).collect()
    };
    until("the permitted topics stand", 30, || (tree(&broker) == expected).then_some(()));
    until("every refusal is told", 30, || {
        let told: BTreeSet<String> = told(&daemon).into_iter().collect();
        missing.is_subset(&told).then_some(())
    });
    assert_eq!(daemon.log().matches("Connected to the broker").count(), 1, "{}", daemon.log());
    assert!(!daemon.log().contains("No connection to the broker"), "{}", daemon.log());
    // A new connection asks again, but what is known is not told again.
    broker.kill();
    until("the daemon notices", 20, || daemon.log().contains("No connection to the broker").then_some(()));
    broker.restart();
    until("the permitted topics stand again", 30, || (tree(&broker) == expected).then_some(()));
    let told = told(&daemon);
    let distinct: BTreeSet<&String> = told.iter().collect();
    println!("{} topics are refused, {} stand", distinct.len(), expected.len());
    assert!(distinct.len() >= expected.len() && told.iter().all(|topic| refused(topic)), "{told:?}");
    assert_eq!(told.len(), distinct.len(), "{}", daemon.log());
}
