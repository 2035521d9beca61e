//! The keys of the forecast: the service, and the one that stands in for it.

use super::{Key, Need, row, section};
use crate::config::kind::{self, Kind};

/// How a service is reached: the same keys for the first and for the second.
macro_rules! access {
    ($section:literal) => {
        [
            row(
                concat!($section, ".base-url"),
                Kind::Url,
                Need::Computed("the service's own address; with an API key, its address for those who pay"),
                "Where the service's interface starts; change it for a proxy or a server of your own.",
                "https://api.met.no",
            ),
            row(
                concat!($section, ".contact"),
                Kind::Contact,
                Need::Computed("nothing; required by `met-norway` and `weather-gov`; the second service takes the first's"),
                "An e-mail or web address of yours, sent with each request. Services ask for it, so that they can reach \
                 you before they block you.",
                "grower@frosthollow.example",
            ),
            row(
                concat!($section, ".use"),
                Kind::Word(kind::uses),
                Need::Computed("nothing; required by `open-meteo` on its free host"),
                "Open-Meteo's free host is for non-commercial use only: `non-commercial` says that yours is. A farm that \
                 sells its crop needs an API key, a server of its own, or another service.",
                "non-commercial",
            ),
            row(
                concat!($section, ".api-key-file"),
                Kind::File,
                Need::Optional,
                "File that holds the API key of a service that is paid for, and nothing else. It is read at each request \
                 and never shown.",
                "/etc/mistwright/forecast-key",
            ),
            row(
                concat!($section, ".api-key-credential"),
                Kind::Name,
                Need::Optional,
                "Instead of `api-key-file`: name of the credential under which systemd hands the key to the service.",
                "forecast-key",
            ),
        ]
    };
}

const FIRST: [Key; 5] = access!("forecast");
const SECOND: [Key; 5] = access!("forecast.fallback");

/// In the table's order.
pub(super) const KEYS: &[Key] = {
    let [base_url, contact, usage, key_file, credential] = FIRST;
    let [second_base_url, second_contact, second_usage, second_key_file, second_credential] = SECOND;
    &[
        section("forecast", Need::Required, "Who forecasts the outdoor air."),
        row(
            "forecast.service",
            Kind::Word(kind::services),
            Need::Default("met-norway"),
            "`met-norway` covers the world, `weather-gov` (the US National Weather Service) the United States, `open-meteo` \
             the world. `none` for a farm without internet: the hours ahead are then the last days of its own outdoor \
             sensor carried on, and are marked as such.",
            "met-norway",
        ),
        base_url,
        contact,
        usage,
        key_file,
        credential,
        section(
            "forecast.fallback",
            Need::Optional,
            "A second service, asked only while the first is down. What it says is marked as its own.",
        ),
        row(
            "forecast.fallback.service",
            Kind::Word(kind::fallback_services),
            Need::Required,
            "Another one than `forecast.service`.",
            "open-meteo",
        ),
        second_base_url,
        second_contact,
        second_usage,
        second_key_file,
        second_credential,
    ]
};
