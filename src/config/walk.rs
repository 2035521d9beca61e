//! Walks a file's values against the key table, and remembers everything that does not fit.

use serde_yaml::{Mapping, Value};

use super::{
    kind::{self, Kind},
    locate::{End, Places},
    problem::{Mistake, Problem, nearest},
    table::{self, ALIASES, Key, Need},
};
use crate::model::Identifier;

/// A mistake that has not been looked up in the text yet.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Keys from the top.
    pub path: Vec<String>,
    /// Which end of the key and its value is meant.
    pub end: End,
    /// What is wrong.
    pub mistake: Mistake,
    /// What may stand there; empty where the mistake says it all.
    pub allowed: String,
    /// What was probably meant.
    pub hint: Option<String>,
}

impl Found {
    /// A mistake in the value at `path`.
    pub fn value(path: Vec<String>, mistake: Mistake) -> Self {
        Self { path, end: End::Value, mistake, allowed: String::new(), hint: None }
    }

    /// A mistake in the key at `path`, or in the section that it opens.
    pub fn key(path: Vec<String>, mistake: Mistake) -> Self {
        Self { path, end: End::Key, mistake, allowed: String::new(), hint: None }
    }

    /// The same with a hint.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// The same with what is allowed.
    #[must_use]
    pub fn allowed(mut self, allowed: impl Into<String>) -> Self {
        self.allowed = allowed.into();
        self
    }

    /// Looks the place up.
    pub fn located(self, places: &Places, root: &Value) -> Problem {
        let location = places.locate(&self.path, self.end);
        let value = (self.end == End::Value).then(|| lookup(root, &self.path).and_then(kind::scalar)).flatten();
        Problem {
            location,
            key: self.path.join("."),
            value,
            mistake: self.mistake,
            allowed: self.allowed,
            hint: self.hint,
        }
    }
}

/// What stands at `path`.
pub fn lookup<'v>(root: &'v Value, path: &[String]) -> Option<&'v Value> {
    path.iter().try_fold(root, |value, key| match value {
        // Items of a list are counted from 1.
        Value::Sequence(items) => items.get(key.parse::<usize>().ok()?.checked_sub(1)?),
        section => section.get(key.as_str()),
    })
}

/// Everything in `root` that does not fit the table. `text` is the file, for what only the text shows.
pub fn walk(text: &str, places: &Places, root: &Value) -> Vec<Found> {
    // Looking places up means reading the file again, so it is done only where there is a comment to be suspicious of.
    let suspicious = text.match_indices(" #").any(|(at, _)| !text[at + 2..].starts_with([' ', '\n', '\r']));
    let mut walker = Walker { places, suspicious, found: Vec::new() };
    match root {
        Value::Mapping(keys) => walker.section("", &[], keys),
        Value::Null => {
            let hint = "start from an example, or take the `#` off the lines of one that is commented out";
            walker.found.push(Found::value(Vec::new(), Mistake::Nothing).hint(hint));
        }
        other => walker.found.push(Found::value(
            Vec::new(),
            Mistake::WrongType { found: kind::found(other), wanted: "sections with keys" },
        )),
    }
    walker.found
}

struct Walker<'p, 't> {
    places: &'p Places<'t>,
    suspicious: bool,
    found: Vec<Found>,
}

impl Walker<'_, '_> {
    fn section(&mut self, pattern: &str, path: &[String], keys: &Mapping) {
        for (name, value) in keys {
            let Some(name) = name.as_str() else {
                let written = kind::scalar(name).unwrap_or_else(|| kind::found(name).to_owned());
                let path = [path, std::slice::from_ref(&written)].concat();
                let hint = format!("keys are words; a name that looks like a number needs quotes: \"{written}\"");
                self.found.push(Found::key(path, Mistake::UnknownKey(written)).hint(hint));
                continue;
            };
            let here = [path, &[name.to_owned()]].concat();
            match table::children(pattern).find(|key| key.takes(name)) {
                Some(key) => self.key(key, here, value),
                None => self.unknown(pattern, here, name),
            }
        }
        for key in table::children(pattern) {
            let missing =
                key.need == Need::Required && !keys.keys().filter_map(Value::as_str).any(|name| key.takes(name));
            if missing {
                let example = match key.kind {
                    kind if kind.holds_keys() => format!("add a section `{}:`", key.name()),
                    _ => format!("for example `{}: {}`", key.name(), key.example),
                };
                let allowed = key.kind.allowed(path.last().map_or("", String::as_str));
                self.found.push(Found::key(path.to_vec(), Mistake::Missing(key.name())).allowed(allowed).hint(example));
            }
        }
    }

    fn key(&mut self, key: &'static Key, path: Vec<String>, value: &Value) {
        match (key.kind, value) {
            (Kind::Section | Kind::Names, Value::Mapping(keys)) => {
                if key.name() == "*"
                    && let Some(name) = path.last()
                    && let Err(error) = Identifier::new(name)
                {
                    let found = Found::key(path.clone(), error.into()).allowed(Kind::Name.allowed(""));
                    let example = slug(name).unwrap_or_else(|| "oyster-hall".to_owned());
                    self.found
                        .push(found.hint(format!("for example `{example}:`; a `title` may say it in any letters")));
                }
                self.section(key.path, &path, keys);
            }
            (Kind::List, Value::Sequence(items)) => {
                for (index, item) in items.iter().enumerate() {
                    self.item(key, [path.as_slice(), &[(index + 1).to_string()]].concat(), item);
                }
            }
            (Kind::List, Value::Mapping(_)) => {
                let mistake = Mistake::WrongType { found: kind::found(value), wanted: "a list" };
                let hint = "write each item on a line of its own, behind `- `";
                self.found.push(Found::value(path, mistake).allowed(key.kind.allowed("")).hint(hint));
            }
            (Kind::Section | Kind::Names | Kind::List, Value::Null) => {
                let hint = "indent its keys below it, or take the key out";
                self.found.push(Found::value(path, Mistake::Empty { comment: false }).hint(hint));
            }
            (Kind::Section | Kind::Names, other) => self.no_section(key, path, other),
            (Kind::List, other) => {
                let mistake = Mistake::WrongType { found: kind::found(other), wanted: "a list" };
                self.found.push(Found::value(path, mistake).allowed(key.kind.allowed("")));
            }
            (kind, value) => self.leaf(key, kind, path, value),
        }
    }

    fn item(&mut self, key: &'static Key, path: Vec<String>, item: &Value) {
        match item {
            Value::Mapping(keys) => self.section(key.path, &path, keys),
            other => self.no_section(key, path, other),
        }
    }

    fn no_section(&mut self, key: &'static Key, path: Vec<String>, found: &Value) {
        let mistake = Mistake::WrongType { found: kind::found(found), wanted: "a section with keys" };
        let keys: Vec<&Key> = table::children(key.path).collect();
        let names = keys.iter().map(|key| key.name()).collect::<Vec<_>>().join(", ");
        let found = Found::value(path, mistake).allowed(names);
        let shown: Vec<_> = keys.iter().filter(|key| key.need == Need::Required && !key.kind.holds_keys()).collect();
        let shown = shown.iter().map(|key| format!("{}: {}", key.name(), key.example)).collect::<Vec<_>>().join(", ");
        self.found.push(if shown.is_empty() { found } else { found.hint(format!("for example `{{{shown}}}`")) });
    }

    fn leaf(&mut self, key: &'static Key, kind: Kind, path: Vec<String>, value: &Value) {
        let section = section_of(&path);
        let swallowed = || self.places.swallowed(self.places.locate(&path, End::Value)?);
        let open = matches!(kind, Kind::Topic | Kind::Text | Kind::File | Kind::Pointer);
        let cut = if open && self.suspicious { swallowed() } else { None };
        let mistake = match (kind.check(value, section), cut) {
            (Err(Mistake::Empty { .. }), Some(_)) => Mistake::Empty { comment: true },
            (Err(mistake), _) => mistake,
            (Ok(()), Some(cut)) => Mistake::CutByComment(cut),
            (Ok(()), None) => return,
        };
        let hint = hint(key, kind, section, value, &mistake);
        let allowed = kind.allowed(section);
        self.found.push(Found { path, end: End::Value, mistake, allowed, hint: Some(hint) });
    }

    fn unknown(&mut self, pattern: &str, path: Vec<String>, name: &str) {
        let names = || table::children(pattern).flat_map(|key| key.name().split('|'));
        let folded = name.to_lowercase().replace(['_', ' '], "-");
        let alias = ALIASES.iter().find(|(word, key)| *word == folded && names().any(|known| known == *key));
        let meant = ALIASES.iter().find(|(word, _)| *word == folded).map_or(folded.as_str(), |(_, key)| *key);
        let elsewhere = || table::KEYS.iter().find(|key| key.takes(meant) && key.name() != "*");
        let hint = if let Some((_, key)) = alias {
            Some(format!("it is called `{key}` here"))
        } else if let Some(near) = nearest(name, names()) {
            Some(format!("did you mean `{near}`?"))
        } else {
            elsewhere().map(|key| format!("is `{}` meant?", shown(key.path)))
        };
        let allowed = names().collect::<Vec<_>>().join(", ");
        let found = Found::key(path, Mistake::UnknownKey(name.to_owned())).allowed(allowed);
        self.found.push(match hint {
            Some(hint) => found.hint(hint),
            None => found,
        });
    }
}

/// The legal name that is nearest to what was written, if there is one.
fn slug(written: &str) -> Option<String> {
    let letters = written.to_lowercase().replace(|c: char| !c.is_ascii_alphanumeric(), " ");
    let name = letters.split_whitespace().collect::<Vec<_>>().join("-");
    Identifier::new(&name).is_ok().then_some(name)
}

/// The section that decides what units a key has: the nearest around it that is named for a quantity, else the nearest.
fn section_of(path: &[String]) -> &str {
    let around = path.split_last().map_or(path, |(_, around)| around);
    let named = around.iter().rev().find(|name| kind::quantity_named(name).is_some());
    named.or(around.last()).map_or("", String::as_str)
}

/// A pattern for people.
pub fn shown(pattern: &str) -> String {
    let named = pattern.replace("spaces.*", "spaces.<space>").replace("surfaces.*", "surfaces.<surface>");
    let named = named.replace("positions.*", "positions.<position>");
    named.replace('*', "<room>").replace('|', " or ")
}

fn hint(key: &Key, kind: Kind, section: &str, value: &Value, mistake: &Mistake) -> String {
    let written = kind::scalar(value).unwrap_or_default();
    match (kind, mistake) {
        (_, Mistake::CutByComment(_) | Mistake::Empty { comment: true }) => {
            format!("put the value in quotes, `{}: \"…\"`, or a space behind the # of a real comment", key.name())
        }
        (Kind::Word(words), Mistake::UnknownWord(_)) if nearest(&written, words()).is_some() => {
            format!("did you mean `{}`?", nearest(&written, words()).unwrap_or_default())
        }
        (Kind::SensorUnit, _) => match kind::quantity_named(section).map(kind::sensor_units) {
            Some([(first, _), ..]) => format!("for example `{}: \"{first}\"`", key.name()),
            _ => format!("for example `{}: {}`", key.name(), key.example),
        },
        (Kind::SensorValue | Kind::SensorDifference, Mistake::Quantity(_)) => "write a number and its unit".into(),
        (Kind::Flag, _) if matches!(written.as_str(), "yes" | "on") => "write `true`".into(),
        (Kind::Flag, _) if matches!(written.as_str(), "no" | "off") => "write `false`".into(),
        (_, Mistake::WrongType { .. }) if !written.is_empty() => format!("`{}: \"{written}\"`", key.name()),
        _ => format!("for example `{}: {}`", key.name(), key.example),
    }
}
