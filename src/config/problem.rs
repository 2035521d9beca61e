//! What is wrong with a configuration, said so that a grower can put it right: where, what stands there, what may stand
//! there, and what was probably meant.

use std::fmt;

use super::locate::Location;
use crate::{
    model::{calibration::BadPoints, identifier::BadIdentifier},
    units::parse::QuantityError,
    wire::topic::BadTopic,
};

/// Everything that is wrong with a file, in the order of its lines.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub struct Problems {
    /// The file's name, as it was given.
    pub file: String,
    /// At least one.
    pub list: Vec<Problem>,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Line and column, both from 1. `None` where the file has no such place.
    pub location: Option<Location>,
    /// The key's path from the top, with points between; empty where the whole file is meant.
    pub key: String,
    /// What stands there, where it is short and one value.
    pub value: Option<String>,
    /// What is wrong.
    pub mistake: Mistake,
    /// What may stand there, in words; empty where the mistake says it all.
    pub allowed: String,
    /// What was probably meant, or a worked example.
    pub hint: Option<String>,
}

/// What can be wrong at a place.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Mistake {
    /// No YAML at all. It is reported alone, since nothing behind it can be trusted.
    #[error("this is not valid YAML: {0}")]
    Syntax(String),
    /// The same key twice in one section. Reported alone, since nobody knows which is meant.
    #[error("the key `{0}` stands here a second time in the same section")]
    DuplicateKey(String),
    /// Nothing but comments.
    #[error("the file holds no configuration")]
    Nothing,
    /// A key that the table does not have at this place.
    #[error("there is no key `{0}` here")]
    UnknownKey(String),
    /// A required key is not there.
    #[error("`{0}` is missing")]
    Missing(&'static str),
    /// A key with nothing behind it.
    #[error("nothing stands behind the key{}", if *.comment { "; ` #` starts a comment" } else { "" })]
    Empty {
        /// Whether a comment took the place of the value.
        comment: bool,
    },
    /// A list where a word is wanted, and the like.
    #[error("{found} stands here, but {wanted} is wanted")]
    WrongType {
        /// What stands there, in words.
        found: &'static str,
        /// What is wanted, in words.
        wanted: &'static str,
    },
    /// No quantity, or one out of range.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// No legal name.
    #[error(transparent)]
    Identifier(#[from] BadIdentifier),
    /// No legal topic.
    #[error(transparent)]
    Topic(#[from] BadTopic),
    /// Not one of the words that are allowed.
    #[error("`{0}` is none of the words that are known here")]
    UnknownWord(String),
    /// Not a number of degrees, or too many.
    #[error("`{text}` is not a number of degrees between -{limit} and {limit}")]
    Degrees {
        /// As written.
        text: String,
        /// The largest, in either direction.
        limit: f64,
    },
    /// No TCP port.
    #[error("`{0}` is not a port: a whole number from 1 to 65535")]
    Port(String),
    /// No time zone of the database.
    #[error("`{0}` is no name in the IANA time zone database")]
    TimeZone(String),
    /// No address with a port.
    #[error("`{0}` is no address with a port")]
    Listen(String),
    /// No web address to build requests on.
    #[error("`{0}` is no web address: it starts with http:// or https://, and has no space, `?` or `#`")]
    Url(String),
    /// Nothing at which the farm can be reached.
    #[error("`{0}` is neither an e-mail address nor a web address")]
    Contact(String),
    /// A pointer that RFC 6901 does not allow.
    #[error("`{0}` is no JSON Pointer")]
    Pointer(String),
    /// A name that no host can have, such as a whole web address.
    #[error("`{0}` is no host name: leave out the scheme, the port and spaces")]
    Host(String),
    /// Text with a control character, or far too long.
    #[error("the text has a line break or another control character, or more than 200 characters")]
    Text,
    /// An unquoted value that ends where a comment starts without a space behind the `#`.
    #[error("the value ends before `{0}`, which YAML takes for a comment")]
    CutByComment(String),
    /// A room or a space that does not exist, to breathe through or to stand in.
    #[error("there is no room or space `{0}`")]
    UnknownRoom(String),
    /// A room that has itself on the other side of its walls.
    #[error("a room does not stand in itself")]
    AroundItself,
    /// A surface of which nothing is known.
    #[error("nothing says how cold this surface is")]
    UnknownSurface,
    /// One thing said in two ways.
    #[error("`{here}` stands beside `{other}`, but only one of them can hold")]
    TwoWays {
        /// The second way.
        here: &'static str,
        /// The first.
        other: &'static str,
    },
    /// No share between nothing and all.
    #[error("`{0}` is not a number from 0 to 1")]
    Share(String),
    /// A space without the sensors that would say what its air is, and without an assumption.
    #[error("nothing says what the air of this space is")]
    UnknownAir,
    /// Rooms that draw their air from each other in a circle.
    #[error("the air goes round in a circle: {0}")]
    Circle(String),
    /// A name that would be taken for something else.
    #[error("a {what} cannot be called `{name}`: {why}")]
    NameTaken {
        /// A room or a space.
        what: &'static str,
        /// The name.
        name: String,
        /// What else it means.
        why: &'static str,
    },
    /// No rooms at all.
    #[error("there is no room")]
    NoRooms,
    /// A floor of nothing where a crop breathes.
    #[error("the floor is zero, but a crop breathes in this room")]
    ZeroFloor,
    /// A room with a crop and no fan.
    #[error("a room with a crop needs a `fan`")]
    NoFan,
    /// Something that must be more than nothing.
    #[error("`{0}` is not more than zero")]
    NotPositive(String),
    /// Something that cannot be less than nothing.
    #[error("`{0}` is less than zero")]
    Negative(String),
    /// A relative humidity of fog.
    #[error("`{0}` is more than 100 %")]
    Supersaturated(String),
    /// A point of a curve that is not above the one before it.
    #[error("the {name} `{here}` is not more than `{before}` of the point before")]
    NotRising {
        /// Which of the point's keys.
        name: &'static str,
        /// As written at this point.
        here: String,
        /// As written at the point before.
        before: String,
    },
    /// A curve of one point or none.
    #[error("a curve needs at least two points")]
    ShortCurve,
    /// A curve that does not say what the fan does at full command.
    #[error("the curve ends at `{0}`, short of full command")]
    OpenCurve(String),
    /// Two values in the wrong order.
    #[error("{lower} ({lower_value}) is more than {upper} ({upper_value})")]
    Order {
        /// What should be the smaller.
        lower: &'static str,
        /// Its value, with its unit.
        lower_value: String,
        /// What should be the larger.
        upper: &'static str,
        /// Its value, with its unit.
        upper_value: String,
    },
    /// A band that sensors cannot tell from fog.
    #[error("`{0}` is above 95 %, where sensors cannot tell moist air from fog")]
    TooWet(String),
    /// Two sources at the same place of the same topic.
    #[error("`{0}` already reads the same topic and pointer")]
    SameSource(String),
    /// A source in the tree that the daemon itself publishes.
    #[error("the topic `{0}` lies in the tree that this daemon publishes itself")]
    OwnTopic(String),
    /// Relative humidity without the temperature that gives it a meaning.
    #[error("relative humidity says nothing without the temperature at the same place")]
    HumidityAlone,
    /// A forecast service without the address that it asks for.
    #[error("the forecast service asks for a contact")]
    NoContact,
    /// The service whose place it should take.
    #[error("`{0}` is the first service already")]
    SameService(String),
    /// A second service without a first.
    #[error("there is no service to stand in for")]
    FallbackOfNone,
    /// A key for a service that is free.
    #[error("{0} takes no API key")]
    NoKeyWanted(&'static str),
    /// A host that not everybody may use, and nothing that says that this farm may.
    #[error("{0}")]
    FreeUse(&'static str),
    /// Two ways to the same broker.
    #[error("`{0}` stands beside `socket`, but there is one way to the broker")]
    BesideSocket(&'static str),
    /// A certificate without its key, or the other way round.
    #[error("`{here}` is of no use without `{other}`")]
    HalfOfPair {
        /// The key that is there.
        here: &'static str,
        /// The key that is not.
        other: &'static str,
    },
    /// A decoder without the key that it cannot do without.
    #[error("the decoder `{decoder}` needs `{key}`")]
    Needs {
        /// The decoder's name.
        decoder: &'static str,
        /// The key.
        key: &'static str,
    },
    /// A key that nobody would look at.
    #[error("`{key}` is of no use here: {why}")]
    OfNoUse {
        /// The key.
        key: &'static str,
        /// Why nobody looks at it.
        why: &'static str,
    },
    /// Two points of a calibration that make no line.
    #[error(transparent)]
    Points(#[from] BadPoints),
    /// No factor of a calibration.
    #[error("`{0}` is not a factor from 0.5 to 2: a sensor that needs more is broken")]
    Factor(String),
    /// No day.
    #[error("`{0}` is not a day of the calendar")]
    Date(String),
    /// One secret in two places.
    #[error("`{here}` stands beside `{other}`, but there is one secret")]
    TwoPlaces {
        /// The second place.
        here: &'static str,
        /// The first.
        other: &'static str,
    },
    /// A password for nobody.
    #[error("a password without a user")]
    PasswordWithoutUser,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        write!(f, "{}", self.mistake)?;
        if !self.allowed.is_empty() {
            write!(f, "\n    allowed: {}", self.allowed)?;
        }
        if let Some(hint) = &self.hint {
            write!(f, "\n    hint: {hint}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for problem in &self.list {
            write!(f, "{}", self.file)?;
            if let Some(Location { line, column }) = problem.location {
                write!(f, ":{line}:{column}")?;
            }
            writeln!(f, ": {problem}")?;
        }
        let (count, s) = (self.list.len(), if self.list.len() == 1 { "" } else { "s" });
        write!(f, "{count} problem{s} in {}", self.file)
    }
}

/// The known word that is nearest to `written`, if it is near enough to be meant.
pub fn nearest<'a>(written: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let folded = written.to_lowercase().replace(['_', ' '], "-");
    let allowance = (folded.chars().count() / 3).clamp(1, 4);
    known
        .into_iter()
        .map(|word| (distance(&folded, word), word))
        .filter(|(edits, _)| *edits <= allowance)
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, word)| word)
}

/// Edits that turn one word into the other: a letter put in, left out or exchanged, or two neighbours swapped.
fn distance(left: &str, right: &str) -> usize {
    // Longer words are no keys of ours, and a table of their size would only cost time.
    const LONGEST: usize = 64;
    let (left, right): (Vec<char>, Vec<char>) = (left.chars().collect(), right.chars().collect());
    if left.len() > LONGEST || right.len() > LONGEST {
        return usize::MAX;
    }
    let mut rows = vec![vec![0; right.len() + 1]; left.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    for (j, cell) in rows[0].iter_mut().enumerate() {
        *cell = j;
    }
    for i in 1..=left.len() {
        for j in 1..=right.len() {
            let exchanged = rows[i - 1][j - 1] + usize::from(left[i - 1] != right[j - 1]);
            let mut best = exchanged.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
            if i > 1 && j > 1 && left[i - 1] == right[j - 2] && left[i - 2] == right[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[left.len()][right.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_fingers_finds_the_word_that_was_meant_and_another_word_finds_none() {
        let known = ["latitude", "longitude", "elevation", "time-zone", "units"];
        for (written, meant) in [
            ("lattitude", Some("latitude")),
            ("logitude", Some("longitude")),
            ("time_zone", Some("time-zone")),
            ("unist", Some("units")),
            ("Elevation", Some("elevation")),
            ("elvaton", Some("elevation")),
            ("colour", None),
            ("x", None),
        ] {
            assert_eq!(nearest(written, known), meant, "{written}");
        }
    }
}
