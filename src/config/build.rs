//! From checked values to a [`Config`], with the mistakes that only show when keys are seen together.

use std::{net::SocketAddr, path::PathBuf};

use jiff::tz::TimeZone;
use serde_yaml::Value;

use super::{
    Broker, Config, Link, Secret, Tls, forecast,
    kind::{self, Kind},
    problem::Mistake,
    rooms::{self, Draft},
    section::Section,
    sensors,
    shell::Places,
    spaces::{names, spaces},
    walk::Found,
};
use crate::model::{Farm, Identifier, Intake, Site};

/// The ports that are registered for MQTT, without and with TLS.
const TCP_PORT: u16 = 1883;
const TLS_PORT: u16 = 8883;

/// Builds the configuration. `None` where something was missing or did not fit: the walk, or `found`, says what.
pub fn config(root: &Value, found: &mut Vec<Found>) -> Option<Config> {
    let top = Section::top(root);
    let site = site(&top.section("site"));
    let broker = broker(&top.section("broker"), site.as_ref(), found);
    let forecast = forecast::services(&top.section("forecast"), found);
    let listen = top.section("http").text("listen").map(|text| text.parse::<SocketAddr>().ok());

    let rooms_section = top.section("rooms");
    if rooms_section.is_empty() {
        let hint = "add a room: `oyster-hall:` and its keys, indented";
        found.push(Found::key(rooms_section.here(), Mistake::NoRooms).hint(hint));
    }
    let spaces_section = top.section("spaces");
    names(&rooms_section, &spaces_section, top.section("site").text("name").as_deref(), found);
    let spaces = spaces(&spaces_section, found);
    // For messages alone: where the units are a mistake themselves, metric ones will do.
    let units = site.as_ref().map(|site| site.units).unwrap_or_default();
    let (mut drafts, lost) = rooms::ordered(&rooms_section, &spaces_section, found);
    let whole = lost.is_empty();
    drafts.extend(lost.into_iter().map(|draft| (draft, Intake::Outdoors)));
    let room_names = drafts.iter().map(|(draft, _)| draft.name);
    let places = Places::new(room_names, spaces_section.named().map(|(name, _)| name));
    let rooms: Vec<_> =
        drafts.iter().map(|(draft, intake)| rooms::room(draft, *intake, (units, &places), found)).collect();
    let heard = sensors::sources(&top.section("outdoors"), &spaces_section, &drafts, found);
    sensors::own_topics(&heard, &own_roots(site.as_ref(), broker.as_ref(), &drafts), found);

    let (sources, bindings) = heard.into_iter().map(|heard| (heard.source, heard.binding)).unzip();
    let rooms = rooms.into_iter().collect::<Option<Vec<_>>>()?;
    whole.then_some(())?;
    Some(Config {
        farm: Farm { site: site?, spaces: spaces?, rooms, sources },
        bindings,
        broker: broker?,
        forecast: forecast.first?,
        fallback_forecast: forecast.second?,
        http_listen: listen?,
        state_directory: top.section("state").text("directory").map(PathBuf::from),
    })
}

fn site(section: &Section) -> Option<Site> {
    let name = section.text("name")?;
    Some(Site {
        title: section.text("title").unwrap_or_else(|| rooms::title(&name)),
        name: Identifier::new(&name).ok()?,
        elevation: section.quantity("elevation")?,
        latitude: section.parsed("latitude")?,
        design_cold: if section.has("design-cold") { Some(section.quantity("design-cold")?) } else { None },
        longitude: section.parsed("longitude")?,
        time_zone: TimeZone::get(&section.text("time-zone")?).ok()?,
        units: kind::unit_system(&section.text("units")?)?,
        hard_frost: section.quantity("hard-frost")?,
    })
}

fn broker(section: &Section, site: Option<&Site>, found: &mut Vec<Found>) -> Option<Broker> {
    let link = link(section, found);
    let user = section.text("user");
    let password = secret(section, "password-file", "password-credential", found);
    for key in ["password-file", "password-credential"].into_iter().filter(|key| section.has(key)) {
        if !section.has("user") {
            let hint = format!("add `user:`, or take `{key}` out");
            found.push(Found::value(section.path(key), Mistake::PasswordWithoutUser).hint(hint));
        }
    }
    let client_id = match section.text("client-id") {
        Some(written) => written,
        None => format!("mistwright-{}", site?.name),
    };
    Some(Broker { link: link?, user, password, client_id, domain: Identifier::new(&section.text("domain")?).ok()? })
}

fn link(section: &Section, found: &mut Vec<Found>) -> Option<Link> {
    let tls_section = section.section("tls");
    let tls = tls_section.exists().then(|| tls(&tls_section, found));
    if section.has("socket") {
        for key in ["host", "port", "tls"].into_iter().filter(|key| section.has(key)) {
            let hint = "keep `socket` for a broker on this machine, or `host` for one in the network";
            found.push(Found::key(section.path(key), Mistake::BesideSocket(key)).hint(hint));
        }
        return section.text("socket").map(|path| Link::Socket(path.into()));
    }
    if section.exists() && !section.has("host") {
        let missing = Found::key(section.here(), Mistake::Missing("host")).allowed(Kind::Host.allowed(""));
        found.push(missing.hint("for example `host: localhost`; or `socket:` for a broker on this machine"));
    }
    let host = section.text("host")?;
    let default = if tls.is_some() { TLS_PORT } else { TCP_PORT };
    let port = if section.has("port") { section.parsed("port")? } else { default };
    Some(match tls {
        Some(tls) => Link::Tls { host, port, tls },
        None => Link::Tcp { host, port },
    })
}

fn tls(section: &Section, found: &mut Vec<Found>) -> Tls {
    let file = |key| section.text(key).map(PathBuf::from);
    let (certificate, key, credential) = ("client-certificate-file", "client-key-file", "client-key-credential");
    let pairs =
        [(certificate, key, credential), (key, certificate, certificate), (credential, certificate, certificate)];
    for (here, other, instead) in pairs {
        if section.has(here) && !section.has(other) && !section.has(instead) {
            let hint = format!("add `{other}:`, or take `{here}` out");
            found.push(Found::value(section.path(here), Mistake::HalfOfPair { here, other }).hint(hint));
        }
    }
    Tls { ca_file: file("ca-file"), client: file(certificate).zip(secret(section, key, credential, found)) }
}

/// A secret that stands in a file or comes from the service manager, but not both.
pub(super) fn secret(
    section: &Section,
    file: &'static str,
    credential: &'static str,
    found: &mut Vec<Found>,
) -> Option<Secret> {
    if section.has(file) && section.has(credential) {
        let mistake = Mistake::TwoPlaces { here: credential, other: file };
        found.push(Found::value(section.path(credential), mistake).hint(format!("keep `{file}` or `{credential}`")));
    }
    match section.text(credential) {
        Some(name) => Some(Secret::Credential(Identifier::new(&name).ok()?)),
        None => section.text(file).map(|path| Secret::File(path.into())),
    }
}

/// The devices that this daemon publishes: the site's, and one for each room.
fn own_roots(site: Option<&Site>, broker: Option<&Broker>, drafts: &[(Draft, Intake)]) -> Vec<String> {
    let (Some(site), Some(broker)) = (site, broker) else { return Vec::new() };
    let root = format!("{}/5/{}", broker.domain, site.name);
    let rooms = drafts.iter().map(|(draft, _)| format!("{root}-{}", draft.name)).collect::<Vec<_>>();
    [vec![root], rooms].concat()
}
