//! Lines that could not be used: the first of each kind with their numbers, and how many there were.

use std::collections::BTreeMap;

/// Lines of each kind that are told by number.
const TOLD: usize = 10;

/// Where a line stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct At {
    /// The file, where there are several.
    pub file: Option<String>,
    /// Its number, from 1.
    pub line: u64,
}

impl std::fmt::Display for At {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.file {
            Some(file) => write!(f, "{file}, line {}", self.line),
            None => write!(f, "line {}", self.line),
        }
    }
}

/// Lines of one kind.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Kind {
    pub count: u64,
    /// Where the first of them stand, and why each is bad.
    pub first: Vec<(At, String)>,
}

/// All of them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct BadLines(pub BTreeMap<&'static str, Kind>);

impl BadLines {
    /// Counts a line, and keeps it where it is among the first of its kind.
    pub fn add(&mut self, word: &'static str, at: impl FnOnce() -> At, why: impl FnOnce() -> String) {
        let kind = self.0.entry(word).or_default();
        kind.count += 1;
        if kind.first.len() < TOLD {
            kind.first.push((at(), why()));
        }
    }

    /// How many there are.
    pub fn count(&self) -> u64 {
        self.0.values().map(|kind| kind.count).sum()
    }
}
