//! How bytes travel to the broker: plain, by TLS, or through a socket of this machine; and what a failure of TLS means.

use std::{
    fs, io,
    path::{Path, PathBuf},
    sync::Arc,
};

use rumqttc::{
    TlsConfiguration, TlsError, Transport,
    v5::{ConnectionError, StateError, mqttbytes::Error as Malformed},
};
use rustls::{
    AlertDescription, CertificateError, ClientConfig, RootCertStore,
    pki_types::{CertificateDer, PrivateKeyDer, pem::PemObject},
};

use crate::{
    config::{Link, Secret, Tls},
    io::secret::{self, SecretError},
};

/// Why there is no link, and what to do about it.
#[derive(Debug, thiserror::Error)]
pub(crate) enum LinkError {
    #[error(
        "the file {path} cannot be read ({source}): check `broker.tls.{key}`, and that this user may read the file",
        path = path.display()
    )]
    Unreadable { key: &'static str, path: PathBuf, source: io::Error },
    // The parser's own words would show a line of the file, and the file may be a private key.
    #[error("the file {path} holds no {wanted} in PEM form: check `broker.tls.{key}`", path = path.display())]
    Content { key: &'static str, path: PathBuf, wanted: &'static str },
    #[error("{0} holds no private key without a passphrase, in PEM form: check `broker.tls`")]
    NoKey(Secret),
    #[error(
        "the client certificate {certificate} and the private key {key} cannot be used together: {source}",
        certificate = certificate.display()
    )]
    Pair { certificate: PathBuf, key: Secret, source: rustls::Error },
    #[error(transparent)]
    Secret(#[from] SecretError),
    #[error(
        "this system has no root certificates: install them (Debian's `ca-certificates`), or name the broker's \
         authority in `broker.tls.ca-file`"
    )]
    NoRoots,
    #[error(
        "the broker's certificate is signed by nobody who is trusted here: `broker.tls.ca-file` has to hold the \
         certificate of the broker's authority"
    )]
    Issuer,
    #[error("the broker's certificate is not made out to `{0}`: write `broker.host` as it stands in the certificate")]
    Name(String),
    #[error("the broker's certificate is not valid at this machine's date: renew it, or set the clock")]
    Date,
    #[error("the broker's certificate cannot be judged before this machine's clock is set")]
    ClockNotSet,
    #[error(
        "the broker refused the TLS connection ({0:?}): check `broker.tls.client-certificate-file`, and that the broker \
         trusts its authority"
    )]
    Refused(AlertDescription),
    #[error("nobody answers by TLS at {0}: `broker.port` has to be the broker's port for TLS")]
    NoTls(String),
    #[error("the TLS connection failed: {0}")]
    Other(rustls::Error),
}

/// The one place that chooses how bytes travel. Files are read anew.
pub(super) fn transport(link: &Link) -> Result<Transport, LinkError> {
    Ok(match link {
        Link::Tcp { .. } => Transport::tcp(),
        Link::Tls { tls, .. } => Transport::tls_with_config(TlsConfiguration::Rustls(Arc::new(client(tls)?))),
        Link::Socket(_) => Transport::unix(),
    })
}

fn client(tls: &Tls) -> Result<ClientConfig, LinkError> {
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(LinkError::Other)?
        .with_root_certificates(roots(tls.ca_file.as_deref())?);
    let Some((certificate, key)) = &tls.client else { return Ok(builder.with_no_client_auth()) };
    let chain = certificates("client-certificate-file", certificate)?;
    let secret = secret::read("broker.tls.client-key", key)?;
    let secret = PrivateKeyDer::from_pem_slice(&secret).map_err(|_| LinkError::NoKey(key.clone()))?;
    builder.with_client_auth_cert(chain, secret).map_err(|source| LinkError::Pair {
        certificate: certificate.clone(),
        key: key.clone(),
        source,
    })
}

/// Who may vouch for the broker: those in the file alone, or those whom the system trusts.
fn roots(file: Option<&Path>) -> Result<RootCertStore, LinkError> {
    let mut roots = RootCertStore::empty();
    match file {
        Some(path) => {
            for certificate in certificates("ca-file", path)? {
                roots.add(certificate).map_err(|_| no_certificate("ca-file", path))?;
            }
        }
        None => {
            // A system's collection may hold old ones that cannot be read; they vouch for nobody.
            roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
            if roots.is_empty() {
                return Err(LinkError::NoRoots);
            }
        }
    }
    Ok(roots)
}

fn certificates(key: &'static str, path: &Path) -> Result<Vec<CertificateDer<'static>>, LinkError> {
    let found = CertificateDer::pem_slice_iter(&read(key, path)?).collect::<Result<Vec<_>, _>>();
    found.ok().filter(|found| !found.is_empty()).ok_or_else(|| no_certificate(key, path))
}

fn no_certificate(key: &'static str, path: &Path) -> LinkError {
    LinkError::Content { key, path: path.to_owned(), wanted: "certificate" }
}

fn read(key: &'static str, path: &Path) -> Result<Vec<u8>, LinkError> {
    fs::read(path).map_err(|source| LinkError::Unreadable { key, path: path.to_owned(), source })
}

/// What a failed connection says about TLS; `None` where something else has failed.
pub(super) fn failure(error: &ConnectionError, link: &Link, clock_trusted: bool) -> Option<LinkError> {
    let Link::Tls { host, .. } = link else { return None };
    let io = match error {
        ConnectionError::Tls(TlsError::TLS(error)) => return Some(meaning(error, host, clock_trusted)),
        ConnectionError::Tls(TlsError::Io(error))
        | ConnectionError::Io(error)
        | ConnectionError::MqttState(StateError::Io(error) | StateError::Deserialization(Malformed::Io(error))) => {
            error
        }
        _ => return None,
    };
    match io.get_ref().and_then(|inner| inner.downcast_ref::<rustls::Error>()) {
        Some(rustls::Error::InvalidMessage(_)) => Some(LinkError::NoTls(link.to_string())),
        Some(error) => Some(meaning(error, host, clock_trusted)),
        None if matches!(error, ConnectionError::Tls(_)) => Some(LinkError::NoTls(link.to_string())),
        None => None,
    }
}

fn meaning(error: &rustls::Error, host: &str, clock_trusted: bool) -> LinkError {
    use CertificateError as Bad;
    match error {
        rustls::Error::InvalidCertificate(
            Bad::Expired | Bad::ExpiredContext { .. } | Bad::NotValidYet | Bad::NotValidYetContext { .. },
        ) if clock_trusted => LinkError::Date,
        rustls::Error::InvalidCertificate(
            Bad::Expired | Bad::ExpiredContext { .. } | Bad::NotValidYet | Bad::NotValidYetContext { .. },
        ) => LinkError::ClockNotSet,
        // A signature that does not fit is an authority's of the same name, but with another key.
        rustls::Error::InvalidCertificate(Bad::UnknownIssuer | Bad::BadSignature) => LinkError::Issuer,
        rustls::Error::InvalidCertificate(Bad::NotValidForName | Bad::NotValidForNameContext { .. }) => {
            LinkError::Name(host.to_owned())
        }
        rustls::Error::AlertReceived(alert) => LinkError::Refused(*alert),

        other => LinkError::Other(other.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A failed handshake, as the client hands it out.
    fn failed(why: CertificateError) -> ConnectionError {
        let error = rustls::Error::InvalidCertificate(why);
        ConnectionError::Tls(TlsError::Io(io::Error::new(io::ErrorKind::InvalidData, error)))
    }

    #[test]
    fn a_date_that_does_not_fit_is_the_clocks_fault_until_the_clock_is_set_and_then_the_certificates() {
        let link = Link::Tls { host: "broker".to_owned(), port: 8883, tls: Tls::default() };
        for why in [CertificateError::NotValidYet, CertificateError::Expired] {
            let error = failed(why);
            assert!(matches!(failure(&error, &link, false), Some(LinkError::ClockNotSet)), "{error}");
            assert!(matches!(failure(&error, &link, true), Some(LinkError::Date)), "{error}");
        }
    }

    #[test]
    fn a_failure_that_has_nothing_to_do_with_tls_is_not_blamed_on_it() {
        let link = Link::Tls { host: "broker".to_owned(), port: 8883, tls: Tls::default() };
        let refused = ConnectionError::Io(io::ErrorKind::ConnectionRefused.into());
        assert!(failure(&refused, &link, true).is_none());
        let plain = Link::Tcp { host: "broker".to_owned(), port: 1883 };
        assert!(failure(&failed(CertificateError::Expired), &plain, true).is_none());
    }
}
