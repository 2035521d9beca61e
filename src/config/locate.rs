//! Where in the file a key or its value stands.
//!
//! Values that serde_yaml returns carry no position, but its errors do. So the file is read once more by a seed that
//! fails at each key and each single value and takes the failure's position for the place, exactly, even where it was
//! reached through an alias; the reader goes on behind each failure. Where a section or a list starts cannot be found so:
//! the file is read again up to there, which is rare, and done a limited number of times. Another seed finds keys that
//! stand twice in one section.

use std::{
    cell::{Cell, OnceCell},
    collections::HashSet,
    fmt,
};

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

/// How often a file is read again for the start of a section. Behind that, its key's place has to do.
const MOST_READ_AGAIN: usize = 50;

/// The places of everything in a file, looked up when the first is asked for.
#[derive(Debug)]
pub struct Places<'t> {
    text: &'t str,
    root: OnceCell<Node>,
    lines: OnceCell<Vec<&'t str>>,
    read_again: Cell<usize>,
}

impl<'t> Places<'t> {
    /// The places of a file.
    pub const fn new(text: &'t str) -> Self {
        Self { text, root: OnceCell::new(), lines: OnceCell::new(), read_again: Cell::new(0) }
    }

    /// Where `path` stands, or the nearest section around it that does.
    pub fn locate(&self, path: &[String], end: End) -> Option<Location> {
        let root = self.root.get_or_init(|| Node::read(self.text));
        (0..=path.len()).rev().find_map(|length| {
            let node = root.find(&path[..length])?;
            let end = if length == path.len() { end } else { End::Key };
            match (end, node.key, node.value) {
                (End::Key, Some(place), _) | (End::Value, _, Some(place)) => Some(place),
                // Items of a list and the whole file have no key.
                (End::Key, None, Some(place)) => Some(place),
                (End::Key, None, None) | (End::Value, _, None) => self.start(&path[..length]).or(node.key),
            }
        })
    }

    /// Where a section or a list starts.
    fn start(&self, path: &[String]) -> Option<Location> {
        self.read_again.set(self.read_again.get() + 1);
        if self.read_again.get() > MOST_READ_AGAIN {
            return None;
        }
        exactly(self.text, path, End::Value).or_else(|| merged(self.text, path, End::Value))
    }

    /// The comment that starts right behind the unquoted value at `place`, if its `#` has no space behind it: then it
    /// was probably meant as part of the value.
    pub fn swallowed(&self, place: Location) -> Option<String> {
        let lines = self.lines.get_or_init(|| self.text.lines().collect());
        swallowed(lines.get(place.line.checked_sub(1)?)?, place.column)
    }
}

/// A value of the file, where it and its key stand.
#[derive(Debug, Default)]
struct Node {
    key: Option<Location>,
    /// `None` for a section or a list.
    value: Option<Location>,
    /// By key, or by number from 1.
    children: Vec<(String, Node)>,
}

impl Node {
    fn read(text: &str) -> Self {
        // A file that the reader itself fails on has been refused before any place is asked for.
        gathered(Gather.deserialize(serde_yaml::Deserializer::from_str(text))).unwrap_or_default()
    }

    fn find(&self, path: &[String]) -> Option<&Self> {
        let Some((wanted, rest)) = path.split_first() else { return Some(self) };
        let named = |name: &str| self.children.iter().find(|(key, _)| key == name).map(|(_, node)| node);
        let own = named(wanted).and_then(|node| node.find(rest));
        own.or_else(|| {
            // A key that came in through a merge stands one section further in than its path says, or two.
            let merge = named("<<")?;
            merge.find(path).or_else(|| merge.children.iter().find_map(|(_, section)| section.find(path)))
        })
    }
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

/// What a failure of ours carries, and where it happened. `None` for a failure of the reader's own.
fn found(error: &impl fmt::Display) -> Option<(String, Location)> {
    let message = error.to_string();
    let mut parts = message.rsplitn(3, HERE);
    // The reader leaves out where it is the very start of the file.
    let numbers = parts.next()?.strip_prefix(" at line ").unwrap_or("1 column 1");
    let (line, column) = numbers.split_once(" column ")?;
    let place = Location { line: line.parse().ok()?, column: column.parse().ok()? };
    Some((parts.next()?.to_owned(), place)).filter(|_| parts.next().is_some())
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
        while map.next_key_seed(Fresh { seen: &mut seen, always: false })?.is_some() {
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

/// Fails, with the key, on one that has been seen in its section, or always.
struct Fresh<'s> {
    seen: &'s mut HashSet<String>,
    always: bool,
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
        if self.seen.insert(key.clone()) && !self.always { Ok(()) } else { Err(E::custom(format_args!("{HERE}{key}{HERE}"))) }
    });
}

/// Takes in the places of everything in a value; fails on a single one.
struct Gather;

impl<'de> DeserializeSeed<'de> for Gather {
    type Value = Node;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Node, D::Error> {
        deserializer.deserialize_any(self)
    }
}

/// The node of a value that was read, or the one whose failure says where it stands.
fn gathered<E: de::Error>(read: Result<Node, E>) -> Result<Node, E> {
    read.or_else(|error| match found(&error) {
        Some((_, place)) => Ok(Node { value: Some(place), ..Node::default() }),
        None => Err(error),
    })
}

impl<'de> Visitor<'de> for Gather {
    type Value = Node;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("anything")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Node, A::Error> {
        let mut node = Node::default();
        loop {
            match map.next_key_seed(Fresh { seen: &mut HashSet::new(), always: true }) {
                Ok(None) => return Ok(node),
                Ok(Some(())) => drop(map.next_value::<IgnoredAny>()?),
                Err(error) => {
                    let Some((name, place)) = found(&error) else { return Err(error) };
                    let value = gathered(map.next_value_seed(Self))?;
                    node.children.push((name, Node { key: Some(place), ..value }));
                }
            }
        }
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Node, A::Error> {
        let mut node = Node::default();
        loop {
            let item = match list.next_element_seed(Self) {
                Ok(None) => return Ok(node),
                Ok(Some(item)) => item,
                Err(error) => gathered(Err(error))?,
            };
            node.children.push(((node.children.len() + 1).to_string(), item));
        }
    }

    fn visit_enum<A: EnumAccess<'de>>(self, tagged: A) -> Result<Node, A::Error> {
        tagged.variant::<IgnoredAny>()?.1.newtype_variant_seed(self)
    }

    scalars!('de, self, _value => Err(E::custom(format_args!("{HERE}{HERE}"))));
}

/// See [`Places::swallowed`]; `column` counts characters from 1.
fn swallowed(line: &str, column: usize) -> Option<String> {
    let behind: String = line.chars().skip(column.checked_sub(1)?).collect();
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
        Places::new(TEXT).locate(&path, end).map(|place| (place.line, place.column))
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
    fn one_reading_finds_every_place_that_a_reading_of_its_own_finds() {
        let texts = [
            TEXT,
            "a: 1\n'b c': [x, {d: 2, e: [y, z]}, !t w, ]\nf: !u {g: !v 3, h: }\n1: 2\n~: 4\n",
            "- a\n- b: &x\n    c: |\n      text\n  d: *x\n",
            "a: &a {b: {c: 1}}\nd: *a\ne:\n  <<: [*a, {f: 2}]\n  g: 3\n",
            "é: \"ä\"\n? k\n: v\n",
            "single",
        ];
        for text in texts {
            let places = Places::new(text);
            let mut paths = vec![(Vec::new(), places.root.get_or_init(|| Node::read(text)))];
            let mut count = 0;
            while let Some((path, node)) = paths.pop() {
                for end in [End::Key, End::Value] {
                    if end == End::Value || node.key.is_some() {
                        assert_eq!(places.locate(&path, end), exactly(text, &path, end), "{path:?} of {text}");
                        count += 1;
                    }
                }
                paths.extend(
                    node.children.iter().map(|(name, node)| ([&path[..], std::slice::from_ref(name)].concat(), node)),
                );
            }
            assert!(text == "single" && count == 1 || count > 3, "{count} places in {text}");
        }
    }

    #[test]
    fn a_key_of_a_list_of_merged_sections_is_found_where_it_was_written() {
        let places = Places::new("a: &a {b: {c: 1}}\ne:\n  <<: [{f: 2}, *a]\n  g: 3\n");
        let path: Vec<String> = ["e", "b", "c"].map(str::to_owned).into();
        assert_eq!(places.locate(&path, End::Value), Some(Location { line: 1, column: 15 }));
    }

    #[test]
    fn a_file_is_read_again_only_for_starts_of_sections_and_not_without_end() {
        let text: String = (0..1_000).map(|at| format!("k{at}:\n  x: {at}\n")).collect();
        let places = Places::new(&text);
        let place = |keys: &[String], end| places.locate(keys, end).map(|place| (place.line, place.column));
        for at in 0..1_000 {
            let (section, x) = (format!("k{at}"), "x".to_owned());
            assert_eq!(place(&[section.clone(), x.clone()], End::Value), Some((2 * at + 2, 6)));
            assert_eq!(place(&[section.clone(), x], End::Key), Some((2 * at + 2, 3)));
            assert_eq!(place(&[section.clone(), "y".to_owned()], End::Value), Some((2 * at + 1, 1)));
        }
        assert_eq!(places.read_again.get(), 0);
        for at in 0..1_000 {
            let exact = if at < MOST_READ_AGAIN { (2 * at + 2, 3) } else { (2 * at + 1, 1) };
            assert_eq!(place(&[format!("k{at}")], End::Value), Some(exact), "{at}");
        }
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
        let at = |line: &str, column| Places::new(line).swallowed(Location { line: 1, column });
        assert_eq!(at("topic: farm/room #1/air", 8), Some("#1/air".into()));
        assert_eq!(at("topic: farm/room # the hall", 8), None);
        assert_eq!(at("topic: \"farm/room #1\"", 8), None);
        assert_eq!(at("topic: farm/room#1", 8), None);
    }
}
