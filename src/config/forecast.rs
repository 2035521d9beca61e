//! Who forecasts: the service, and the one that stands in for it.

use super::{ForecastService, build::secret, problem::Mistake, section::Section, walk::Found};
use crate::wire::weather;

/// The outer `None` is a mistake; the inner one is a service that the farm does not want.
pub struct Services {
    /// The one that is asked.
    pub first: Option<Option<ForecastService>>,
    /// The one that is asked while the first is down.
    pub second: Option<Option<ForecastService>>,
}

/// Reads the section `forecast`.
pub fn services(section: &Section, found: &mut Vec<Found>) -> Services {
    let contact = section.text("contact");
    let name = section.text("service");
    let first = match name.as_deref() {
        Some("none") => Some(None),
        Some(name) => service(section, name, None, found).map(Some),
        None => None,
    };
    let fallback = section.section("fallback");
    if !section.has("fallback") {
        return Services { first, second: Some(None) };
    }
    let second = fallback.text("service").and_then(|other| service(&fallback, &other, contact, found)).map(Some);
    if let Some(same) = fallback.text("service").filter(|_| fallback.text("service") == name) {
        let hint = "name another service, or take `fallback` out";
        found.push(Found::value(fallback.path("service"), Mistake::SameService(same)).hint(hint));
    }
    if name.as_deref() == Some("none") {
        let hint = "write it as `service:`, or take `fallback` out";
        found.push(Found::key(fallback.here(), Mistake::FallbackOfNone).hint(hint));
    }
    Services { first, second }
}

fn service(
    section: &Section,
    name: &str,
    first_contact: Option<String>,
    found: &mut Vec<Found>,
) -> Option<ForecastService> {
    let protocol = weather::named(name)?;
    let contact = section.text("contact").or(first_contact);
    if section.exists() && contact.is_none() && protocol.contact && !section.has("contact") {
        let hint = "add `contact:` with an e-mail or web address of yours, or write `service: none`";
        found.push(Found::key(section.here(), Mistake::NoContact).hint(hint));
    }
    let api_key = secret(section, "api-key-file", "api-key-credential", found);
    for key in ["api-key-file", "api-key-credential"].into_iter().filter(|key| section.has(key)) {
        if protocol.paid.is_none() {
            let hint = format!("take `{key}` out");
            found.push(Found::key(section.path(key), Mistake::NoKeyWanted(protocol.service.title())).hint(hint));
        }
    }
    let own = protocol.paid.filter(|_| api_key.is_some()).map_or(protocol.base_url, |paid| paid.base_url);
    let base_url = section.text("base-url").map_or_else(|| own.to_owned(), |url| url.trim_end_matches('/').to_owned());
    let service = ForecastService { protocol, base_url, contact, api_key };
    if let Some(limit) = service.free_use()
        && section.text("use").as_deref() != Some(limit.word)
    {
        let hint = format!(
            "add `use: {}` if that is what you do with it, or `api-key-file:`, or choose another service",
            limit.word
        );
        found.push(Found::key(section.here(), Mistake::FreeUse(limit.sentence)).hint(hint));
    }
    Some(service)
}
