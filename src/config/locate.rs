//! Where in the file a key or its value stands.
//!
//! Values that serde_yaml returns carry no position, but its errors do. So the file is read again by a seed that walks
//! to the wanted place and fails there: the failure's position is the place, exactly, even where it was reached through
//! an alias. A second seed finds keys that stand twice in one section in the same way.

use std::{collections::HashSet, fmt};

use serde::de::{
    self, DeserializeSeed, Deserializer, EnumAccess, IgnoredAny, MapAccess, SeqAccess, VariantAccess, Visitor,
};

/// A place in the file, both counted from 1; columns in characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Location {
    /// The line.
    pub line: usize,
    /// The column.
    pub column: usize,
}

/// Which end of `key: value` is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Where the key starts.
    Key,
    /// Where the value starts.
    Value,
}

/// The text of the failure that stands for success. No other error of the reader contains it.
const HERE: &str = "\u{1}here\u{1}";

/// Where `path` stands, or the nearest section around it that does.
pub fn locate(text: &str, path: &[String], end: End) -> Option<Location> {
    (0..=path.len()).rev().find_map(|length| {
        let end = if length == path.len() { end } else { End::Key };
        exactly(text, &path[..length], end).or_else(|| merged(text, &path[..length], end))
    })
}

/// A key that came in through a merge (`<<`) stands one section further in than its path says.
fn merged(text: &str, path: &[String], end: End) -> Option<Location> {
    (0..path.len()).rev().find_map(|at| {
        let mut longer = path.to_vec();
        longer.insert(at, "<<".to_owned());
        exactly(text, &longer, end)
    })
}

fn exactly(text: &str, path: &[String], end: End) -> Option<Location> {
    let finder = Finder { path, end };
    let error = finder.deserialize(serde_yaml::Deserializer::from_str(text)).err()?;
    error.to_string().contains(HERE).then(|| at(&error)).flatten()
}

/// Where the reader failed.
pub fn at(error: &serde_yaml::Error) -> Option<Location> {
    error.location().map(|place| Location { line: place.line(), column: place.column() })
}

/// The first key that stands twice in one section, and where it does so for the second time.
pub fn duplicate(text: &str) -> Option<(String, Option<Location>)> {
    let error = Unique.deserialize(serde_yaml::Deserializer::from_str(text)).err()?;
    let message = error.to_string();
    let key = message.split(HERE).nth(1)?.to_owned();
    Some((key, at(&error)))
}

/// Implements the visits of a visitor that does not care which scalar it meets.
macro_rules! scalars {
    ($de:lifetime, $self:ident, $value:ident => $body:expr) => {
        fn visit_bool<E: de::Error>($self, $value: bool) -> Result<Self::Value, E> { $body }
        fn visit_i64<E: de::Error>($self, $value: i64) -> Result<Self::Value, E> { $body }
        fn visit_u64<E: de::Error>($self, $value: u64) -> Result<Self::Value, E> { $body }
        fn visit_i128<E: de::Error>($self, $value: i128) -> Result<Self::Value, E> { $body }
        fn visit_u128<E: de::Error>($self, $value: u128) -> Result<Self::Value, E> { $body }
        fn visit_f64<E: de::Error>($self, $value: f64) -> Result<Self::Value, E> { $body }
        fn visit_str<E: de::Error>($self, $value: &str) -> Result<Self::Value, E> { $body }
        fn visit_none<E: de::Error>($self) -> Result<Self::Value, E> { let $value = ""; $body }
        fn visit_unit<E: de::Error>($self) -> Result<Self::Value, E> { let $value = ""; $body }
    };
}

struct Finder<'p> {
    path: &'p [String],
    end: End,
}

impl<'de> DeserializeSeed<'de> for Finder<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        if self.path.is_empty() { deserializer.deserialize_any(Stop) } else { deserializer.deserialize_any(self) }
    }
}

impl<'de> Visitor<'de> for Finder<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("anything")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let Some((wanted, rest)) = self.path.split_first() else {
            return Err(de::Error::custom(HERE));
        };
        let stop = rest.is_empty() && self.end == End::Key;
        while let Some(found) = map.next_key_seed(Name { wanted, stop })? {
            if found {
                return map.next_value_seed(Finder { path: rest, end: self.end });
            }
            map.next_value::<IgnoredAny>()?;
        }
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        let Some((wanted, rest)) = self.path.split_first() else {
            return Err(de::Error::custom(HERE));
        };
        // Items of a list are counted from 1.
        let before = wanted.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        for _ in 0..before.unwrap_or(usize::MAX) {
            if list.next_element::<IgnoredAny>()?.is_none() {
                return Ok(());
            }
        }
        list.next_element_seed(Finder { path: rest, end: self.end }).map(drop)
    }

    fn visit_enum<A: EnumAccess<'de>>(self, tagged: A) -> Result<(), A::Error> {
        let (_, behind) = tagged.variant::<IgnoredAny>()?;
        behind.newtype_variant_seed(self)
    }

    scalars!('de, self, _value => Ok(()));
}

/// Fails on anything.
struct Stop;

impl<'de> Visitor<'de> for Stop {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("anything")
    }

    fn visit_map<A: MapAccess<'de>>(self, _map: A) -> Result<(), A::Error> {
        Err(de::Error::custom(HERE))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, _list: A) -> Result<(), A::Error> {
        Err(de::Error::custom(HERE))
    }

    fn visit_enum<A: EnumAccess<'de>>(self, _tagged: A) -> Result<(), A::Error> {
        Err(de::Error::custom(HERE))
    }

    scalars!('de, self, _value => Err(E::custom(HERE)));
}

/// Says whether a key is the wanted one; fails on it where it is the place itself.
struct Name<'p> {
    wanted: &'p str,
    stop: bool,
}

impl<'de> DeserializeSeed<'de> for Name<'_> {
    type Value = bool;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<bool, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Name<'_> {
    type Value = bool;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a key")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<bool, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(false)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<bool, A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(false)
    }

    fn visit_enum<A: EnumAccess<'de>>(self, tagged: A) -> Result<bool, A::Error> {
        tagged.variant::<IgnoredAny>()?.1.newtype_variant::<IgnoredAny>()?;
        Ok(false)
    }

    scalars!('de, self, value => {
        let written: String = value.to_string();
        let found = written == self.wanted;
        if found && self.stop { Err(E::custom(HERE)) } else { Ok(found) }
    });
}

/// Fails where a key stands a second time.
struct Unique;

impl<'de> DeserializeSeed<'de> for Unique {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Unique {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("anything")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let mut seen = HashSet::new();
        while map.next_key_seed(Fresh { seen: &mut seen })?.is_some() {
            map.next_value_seed(Unique)?;
        }
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        while list.next_element_seed(Unique)?.is_some() {}
        Ok(())
    }

    fn visit_enum<A: EnumAccess<'de>>(self, tagged: A) -> Result<(), A::Error> {
        tagged.variant::<IgnoredAny>()?.1.newtype_variant_seed(Unique)
    }

    scalars!('de, self, _value => Ok(()));
}

/// A key that has not been seen in its section.
struct Fresh<'s> {
    seen: &'s mut HashSet<String>,
}

impl<'de> DeserializeSeed<'de> for Fresh<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Fresh<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a key")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(())
    }

    fn visit_enum<A: EnumAccess<'de>>(self, tagged: A) -> Result<(), A::Error> {
        tagged.variant::<IgnoredAny>()?.1.newtype_variant::<IgnoredAny>().map(drop)
    }

    scalars!('de, self, value => {
        let key = value.to_string();
        if self.seen.insert(key.clone()) { Ok(()) } else { Err(E::custom(format_args!("{HERE}{key}{HERE}"))) }
    });
}

/// The comment that starts right behind the unquoted value at `place`, if its `#` has no space behind it: then it was
/// probably meant as part of the value.
pub fn swallowed(text: &str, place: Location) -> Option<String> {
    let line = text.lines().nth(place.line.checked_sub(1)?)?;
    let behind: String = line.chars().skip(place.column.checked_sub(1)?).collect();
    if behind.starts_with(['"', '\'', '|', '>', '*', '&']) {
        return None;
    }
    // An empty value: the comment itself starts here, or behind spaces.
    let comment = match behind.strip_prefix('#') {
        Some(rest) => rest,
        None => behind.split_once(" #")?.1,
    };
    let word: String = comment.chars().take_while(|c| !c.is_whitespace()).collect();
    let meant = word.chars().next().is_some_and(|c| c.is_alphanumeric() || matches!(c, '/' | '-' | '_'));
    meant.then(|| format!("#{word}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "\
site:
  name: frosthollow
rooms:
  oyster-hall: &hall
    volume: 180 m³
    crop: {species: oyster, stage: fruiting}
  second: *hall
  third:
    <<: *hall
    title: Third
";

    fn place(path: &str, end: End) -> Option<(usize, usize)> {
        let path: Vec<String> = path.split('.').map(str::to_owned).collect();
        locate(TEXT, &path, end).map(|place| (place.line, place.column))
    }

    #[test]
    fn a_place_is_found_by_line_and_column_in_blocks_and_in_braces() {
        assert_eq!(place("site.name", End::Key), Some((2, 3)));
        assert_eq!(place("site.name", End::Value), Some((2, 9)));
        assert_eq!(place("rooms.oyster-hall.crop.stage", End::Key), Some((6, 29)));
        assert_eq!(place("rooms.oyster-hall.crop.stage", End::Value), Some((6, 36)));
    }

    #[test]
    fn an_alias_and_a_merge_lead_to_where_the_value_was_written() {
        assert_eq!(place("rooms.second.volume", End::Value), Some((5, 13)));
        assert_eq!(place("rooms.third.volume", End::Value), Some((5, 13)));
        assert_eq!(place("rooms.third.title", End::Value), Some((10, 12)));
    }

    #[test]
    fn what_is_not_there_is_placed_at_the_section_around_it() {
        assert_eq!(place("site.elevation", End::Key), Some((1, 1)));
        assert_eq!(place("rooms.oyster-hall.fan.floor", End::Value), Some((4, 3)));
    }

    #[test]
    fn a_key_that_stands_twice_is_found_where_it_stands_again() {
        let text = "a: 1\nb:\n  c: 1\n  d: 2\n  c: 3\n";
        assert_eq!(duplicate(text), Some(("c".into(), Some(Location { line: 5, column: 3 }))));
        assert_eq!(duplicate("a: 1\nb: {a: 1}\n"), None);
    }

    #[test]
    fn only_a_comment_that_looks_like_part_of_the_value_counts_as_swallowed() {
        let at = |line: &str, column| swallowed(line, Location { line: 1, column });
        assert_eq!(at("topic: farm/room #1/air", 8), Some("#1/air".into()));
        assert_eq!(at("topic: farm/room # the hall", 8), None);
        assert_eq!(at("topic: \"farm/room #1\"", 8), None);
        assert_eq!(at("topic: farm/room#1", 8), None);
    }
}
