//! The list of limits for `tests/mutate.sh` is in step with the source.

use std::{collections::BTreeSet, fs, path::Path};

/// One entry of the list: the limit, the file, the text there, and what removes the limit.
struct Entry {
    limit: String,
    file: String,
    old: String,
    new: String,
}

fn entries() -> Vec<Entry> {
    let list = include_str!("limits.txt");
    let mut lines = list.lines().filter(|line| !line.is_empty() && !line.starts_with('#'));
    let mut entries = Vec::new();
    while let Some(limit) = lines.next() {
        let mut next = || lines.next().unwrap_or_else(|| panic!("{limit}: four lines each")).replace("\\n", "\n");
        let [file, old, new] = [next(), next(), next()];
        entries.push(Entry { limit: limit.to_owned(), file, old, new });
    }
    entries
}

#[test]
fn every_limit_to_be_removed_stands_in_the_source_once() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let entries = entries();
    assert!(entries.len() >= 15, "{} limits", entries.len());
    for Entry { limit, file, old, new } in &entries {
        let source = fs::read_to_string(root.join(file)).unwrap_or_else(|error| panic!("{limit}: {file}: {error}"));
        assert_eq!(source.matches(old.as_str()).count(), 1, "{limit}: in {file}, this should stand once:\n{old}");
        assert_ne!(old, new, "{limit}");
    }
    let limits: BTreeSet<&str> = entries.iter().map(|entry| entry.limit.as_str()).collect();
    assert_eq!(limits.len(), entries.len(), "two entries for one limit");
}
