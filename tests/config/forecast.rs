//! Who forecasts: each service by its own name, and a second one that stands in.

use mistwright::{
    config::{Mistake, Secret},
    wire::weather::PROTOCOLS,
};

use super::{problems, with};

const LINE: &str = "  contact: grower@small-barn.example\n";

fn config(section: &str) -> mistwright::config::Config {
    let text = with(LINE, section);
    mistwright::config::parse(&text, "farm.yaml").unwrap_or_else(|problems| panic!("{section}\n{problems}"))
}

fn mistakes(section: &str) -> Vec<Mistake> {
    problems(&with(LINE, section)).list.into_iter().map(|problem| problem.mistake).collect()
}

#[test]
fn each_service_is_chosen_by_its_name_and_asked_at_its_own_address() {
    for protocol in PROTOCOLS {
        let name = protocol.service.name();
        let usage = protocol.free_use.map_or_else(String::new, |limit| format!("  use: {}\n", limit.word));
        let service = config(&format!("  service: {name}\n{LINE}{usage}")).forecast.unwrap();
        assert_eq!((service.protocol.service, service.base_url.as_str()), (protocol.service, protocol.base_url));
        let proxy = config(&format!("  service: {name}\n{LINE}  base-url: http://proxy.example:8080/x/\n{usage}"));
        assert_eq!(proxy.forecast.unwrap().base_url, "http://proxy.example:8080/x");
    }
    assert!(config("  service: none\n").forecast.is_none());
    assert_eq!(config(LINE).forecast.unwrap().protocol.service.name(), "met-norway", "without a word");
}

#[test]
fn a_contact_is_required_where_the_service_asks_for_one() {
    for protocol in PROTOCOLS {
        let usage = protocol.free_use.map_or_else(String::new, |limit| format!("  use: {}\n", limit.word));
        let section = format!("  service: {}\n{usage}", protocol.service.name());
        if protocol.contact {
            assert_eq!(mistakes(&section), [Mistake::NoContact], "{section}");
        } else {
            assert_eq!(config(&section).forecast.unwrap().contact, None);
        }
    }
}

#[test]
fn a_host_for_non_commercial_use_is_used_only_by_a_farm_that_says_so_or_pays() {
    let sentence = "Open-Meteo's free host is for non-commercial use only.";
    assert_eq!(mistakes("  service: open-meteo\n"), [Mistake::FreeUse(sentence)]);
    let free = config("  service: open-meteo\n  use: non-commercial\n").forecast.unwrap();
    assert!(free.free_use().is_some());
    let paid = config("  service: open-meteo\n  api-key-file: /etc/key\n").forecast.unwrap();
    assert_eq!(paid.api_key, Some(Secret::File("/etc/key".into())));
    assert_eq!((paid.base_url.as_str(), paid.free_use()), ("https://customer-api.open-meteo.com", None));
    let own = config("  service: open-meteo\n  base-url: http://weather.farm.example\n").forecast.unwrap();
    assert_eq!(own.free_use(), None, "a server of one's own");
    assert_eq!(
        mistakes("  service: open-meteo\n  base-url: https://api.open-meteo.com/\n"),
        [Mistake::FreeUse(sentence)],
        "the same host, written out"
    );
    let mistakes = mistakes(&format!("{LINE}  api-key-file: /etc/key\n"));
    assert_eq!(mistakes, [Mistake::NoKeyWanted("MET Norway")]);
}

#[test]
fn a_second_service_takes_the_first_ones_contact_and_is_another_one() {
    let both = config(&format!("  service: weather-gov\n{LINE}  fallback: {{service: met-norway}}\n"));
    let second = both.fallback_forecast.unwrap();
    assert_eq!(second.protocol.service.name(), "met-norway");
    assert_eq!(second.contact.as_deref(), Some("grower@small-barn.example"));
    assert!(config(LINE).fallback_forecast.is_none());
    assert_eq!(
        mistakes(&format!("{LINE}  fallback: {{service: met-norway}}\n")),
        [Mistake::SameService("met-norway".into())]
    );
    assert_eq!(
        mistakes("  service: none\n  fallback: {service: met-norway, contact: a@b.example}\n"),
        [Mistake::FallbackOfNone]
    );
    assert_eq!(
        mistakes(&format!("{LINE}  fallback: {{service: open-meteo}}\n")),
        [Mistake::FreeUse("Open-Meteo's free host is for non-commercial use only.")]
    );
}

#[test]
fn the_check_says_who_forecasts_and_what_the_farm_has_agreed_to() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("farm.yaml");
    let said = |section: &str| {
        std::fs::write(&file, with(LINE, section)).unwrap();
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_mistwright")).arg("check").arg(&file).output();
        String::from_utf8(output.unwrap().stdout).unwrap()
    };
    let both = format!("  service: weather-gov\n{LINE}  fallback: {{service: open-meteo, use: non-commercial}}\n");
    let text = said(&both);
    assert!(
        text.contains("forecast from the US National Weather Service, and from Open-Meteo while that is down"),
        "{text}"
    );
    assert!(text.contains("for non-commercial use only. You have said that your use is non-commercial."), "{text}");
    assert!(said("  service: none\n").contains("no forecast: the last days of the outdoor sensor"));
}
