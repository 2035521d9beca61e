//! Names that become part of topics, labels and addresses.

use std::{fmt, sync::Arc};

/// Lower-case letters, digits and single hyphens inside, at most 40 characters: legal as a topic level of the Homie
/// convention, as a metric label and as part of a web address.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Identifier(Arc<str>);

/// Why a name cannot be an [`Identifier`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadIdentifier {
    /// Nothing was written.
    #[error("the name is empty")]
    Empty,
    /// Longer than [`Identifier::LONGEST`] characters.
    #[error("the name `{0}` is longer than {longest} characters", longest = Identifier::LONGEST)]
    TooLong(String),
    /// A character outside `a`–`z`, `0`–`9` and `-`.
    #[error("the name `{name}` contains `{character}`; only a to z, 0 to 9 and - are allowed")]
    Character {
        /// The name as written.
        name: String,
        /// The first character that is not allowed.
        character: char,
    },
    /// A hyphen at an end, or two together.
    #[error("the name `{0}` starts or ends with a hyphen, or has two together")]
    Hyphen(String),
}

impl Identifier {
    /// The longest name, in characters.
    pub const LONGEST: usize = 40;

    /// Checks a name.
    ///
    /// # Errors
    /// See [`BadIdentifier`].
    pub fn new(name: &str) -> Result<Self, BadIdentifier> {
        if name.is_empty() {
            return Err(BadIdentifier::Empty);
        }
        if name.chars().count() > Self::LONGEST {
            return Err(BadIdentifier::TooLong(name.to_owned()));
        }
        if let Some(character) = name.chars().find(|c| !matches!(c, 'a'..='z' | '0'..='9' | '-')) {
            return Err(BadIdentifier::Character { name: name.to_owned(), character });
        }
        if name.starts_with('-') || name.ends_with('-') || name.contains("--") {
            return Err(BadIdentifier::Hyphen(name.to_owned()));
        }
        Ok(Self(name.into()))
    }

    /// The name itself.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Identifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_that_would_break_a_topic_is_refused() {
        for bad in ["", "a b", "A", "a/b", "a+", "#", "-a", "a-", "a--b", "ä", &"x".repeat(41)] {
            assert!(Identifier::new(bad).is_err(), "`{bad}` was accepted");
        }
        assert_eq!(Identifier::new("oyster-hall-2").unwrap().as_str(), "oyster-hall-2");
    }
}
