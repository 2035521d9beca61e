//! Secrets: from a file, or from the service manager's credentials. They are read at each use, so that a changed
//! one counts without a restart, and no error shows what was read.

use std::{env, fs, io, path::PathBuf};

use crate::config::Secret;

/// The folder in which systemd shows a service its credentials.
const DIRECTORY: &str = "CREDENTIALS_DIRECTORY";

/// Why a secret is not at hand.
#[derive(Debug, thiserror::Error)]
pub enum SecretError {
    /// A file that cannot be read.
    #[error(
        "the file {path} cannot be read ({source}): check `{key}-file`, and that this user may read the file",
        path = path.display()
    )]
    File {
        /// Configuration key without its end.
        key: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A credential outside a service.
    #[error(
        "the service manager hands out no credentials, so `{key}-credential: {name}` stands for nothing: put \
         `LoadCredential={name}:` and the file's path into the service's unit, or use `{key}-file`"
    )]
    NoCredentials {
        /// Configuration key without its end.
        key: &'static str,
        /// The credential.
        name: String,
    },
    /// A credential that is not there.
    #[error(
        "the service manager hands out no readable credential `{name}` ({source}): put `LoadCredential={name}:` and the \
         file's path into the service's unit, or check `{key}-credential`"
    )]
    Credential {
        /// Configuration key without its end.
        key: &'static str,
        /// The credential.
        name: String,
        /// What the system said.
        source: io::Error,
    },
}

/// The bytes of a secret; `key` is its configuration key without `-file` or `-credential`.
///
/// # Errors
/// When it is not at hand.
pub fn read(key: &'static str, secret: &Secret) -> Result<Vec<u8>, SecretError> {
    match secret {
        Secret::File(path) => fs::read(path).map_err(|source| SecretError::File { key, path: path.clone(), source }),
        Secret::Credential(name) => {
            let name = name.to_string();
            let Some(directory) = env::var_os(DIRECTORY) else {
                return Err(SecretError::NoCredentials { key, name });
            };
            fs::read(PathBuf::from(directory).join(&name)).map_err(|source| SecretError::Credential {
                key,
                name,
                source,
            })
        }
    }
}
