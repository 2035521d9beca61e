//! Keys of what the daemon speaks to: broker, monitoring, disk.

use super::{Key, Need, row, section};
use crate::config::kind::Kind;

/// In the order of the reference page.
pub(super) const KEYS: &[Key] = &[
    section("broker", Need::Required, "The MQTT broker that the sensors publish to. It must speak MQTT 5."),
    row(
        "broker.host",
        Kind::Host,
        Need::Computed("nothing; required unless there is a `socket`"),
        "Host name or address. With `tls`, the broker's certificate has to be made out to it.",
        "localhost",
    ),
    row("broker.port", Kind::Port, Need::Computed("1883, or 8883 with `tls`"), "TCP port.", "1883"),
    row(
        "broker.socket",
        Kind::File,
        Need::Optional,
        "Unix socket of a broker on this machine, instead of `host`, `port` and `tls`.",
        "/run/mosquitto/mosquitto.sock",
    ),
    row("broker.user", Kind::Text, Need::Optional, "User name, if the broker wants one.", "mistwright"),
    row(
        "broker.password-file",
        Kind::File,
        Need::Optional,
        "File that holds the password and nothing else. It is read at each connection and never shown.",
        "/etc/mistwright/broker-password",
    ),
    row(
        "broker.password-credential",
        Kind::Name,
        Need::Optional,
        "Instead of `password-file`: name of the credential under which systemd hands the password to the service \
         (`LoadCredential=` in its unit).",
        "broker-password",
    ),
    row(
        "broker.client-id",
        Kind::Text,
        Need::Computed("`mistwright-` and the site's name"),
        "MQTT client identifier. Two clients with the same one throw each other out.",
        "mistwright-frosthollow",
    ),
    row(
        "broker.domain",
        Kind::Name,
        Need::Default("homie"),
        "First level of the published topics. Controllers that know the Homie convention look for `homie`.",
        "homie",
    ),
    section(
        "broker.tls",
        Need::Computed("no encryption"),
        "TLS to the broker; `tls: {}` trusts the system's root certificates. All files are in PEM form and are read \
         anew at each connection, so that a renewed certificate counts without a restart.",
    ),
    row(
        "broker.tls.ca-file",
        Kind::File,
        Need::Computed("the system's root certificates"),
        "Certificates of the authorities that may vouch for the broker: with this, only these.",
        "/etc/mistwright/broker-ca.pem",
    ),
    row(
        "broker.tls.client-certificate-file",
        Kind::File,
        Need::Optional,
        "Certificate of this client, for a broker that asks for one; intermediates follow in the same file.",
        "/etc/mistwright/client.pem",
    ),
    row(
        "broker.tls.client-key-file",
        Kind::File,
        Need::Optional,
        "Private key of that certificate, without a passphrase. It is never shown.",
        "/etc/mistwright/client-key.pem",
    ),
    row(
        "broker.tls.client-key-credential",
        Kind::Name,
        Need::Optional,
        "Instead of `client-key-file`: name of the credential under which systemd hands the key to the service.",
        "broker-key",
    ),
];

/// Monitoring and disk.
pub const SERVING: &[Key] = &[
    section("http", Need::Optional, "Metrics and health for a monitoring system."),
    row(
        "http.listen",
        Kind::Listen,
        Need::Default("127.0.0.1:9417"),
        "Address and port to serve on, or `off`. There is no password: let it listen on an outside address only in a \
         network that you trust.",
        "127.0.0.1:9417",
    ),
    section("state", Need::Optional, "What outlives a restart: forecast, alerts, dangers and what was advised last."),
    row(
        "state.directory",
        Kind::File,
        Need::Computed("the service manager's state directory; without one, nothing is kept"),
        "Folder that holds `state.json`. It must exist, and the daemon must be allowed to write in it.",
        "/var/lib/mistwright",
    ),
];
